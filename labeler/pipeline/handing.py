"""Hand over: draw the files, write them, send them, confirm the jobs; all of it or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from labeler.errors import LabelerError
from labeler.model import Harness
from labeler.pipeline.files import Part, make_folder
from labeler.printers import AS_DRAWN, Printer

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job

Track = Callable[[Sequence[Any], str], Iterable[Any]]
"""Yields what it is given, and may show how far it has come; the words say what is done."""


def untracked(items: Sequence[Any], _: str) -> Iterable[Any]:
    """Show nothing."""
    return items


@dataclass(frozen=True, slots=True)
class Output:
    """Where the sheets go, and in which form.

    ``png``: also pictures at the printer's dots (``dpi``), of whole ``sheets``, of single ``pieces``.
    ``send``: printers of the system's print service by the name of the stock, "" for all others.
    """

    folder: Path
    force: bool = False
    printer: Printer = AS_DRAWN
    png: tuple[str, ...] = ()
    dpi: float = 0.0
    send: Mapping[str, str] = field(default_factory=dict)
    track: Track = untracked

    def queue(self, stock: str) -> str:
        """Return the printer that a stock is sent to, "" for none."""
        return self.send.get(stock, self.send.get("", ""))


@dataclass(frozen=True, slots=True)
class Drawing:
    """The sheets of one or several jobs as files, and further files beside them (bench sheets)."""

    harness: Harness
    units: tuple[str, ...]
    parts: tuple[Part, ...]
    out: Output
    beside: Mapping[Path, Callable[[], bytes]] = field(default_factory=dict)

    def paths(self) -> tuple[Path, ...]:
        """Return every file, in the order in which they are handed over."""
        pictures = (path for part in self.parts for path, _, _ in self._pictures(part))
        return (*self.beside, *(part.path for part in self.parts), *pictures)

    def contents(self) -> Iterator[tuple[Path, bytes]]:
        """Yield every file with what is in it, drawn one at a time."""
        for path, draw in self.beside.items():
            yield path, draw()
        for part in self.parts:
            pdf = self.pdf(part)
            yield part.path, pdf
            if self.out.png:
                yield from self._drawn_pictures(part, pdf)

    def pdf(self, part: Part) -> bytes:
        """Return the PDF of a part."""
        from labeler.draw.pdf import Header, draw_sheets

        target = BytesIO()
        job = self.title()
        sheets = self.out.track(part.sheets, part.stock)
        dpi = self.out.dpi if self.out.png else None
        title = f"{job}, {part.stock}"
        draw_sheets(sheets, target, title=title, header=Header(job), printer=self.out.printer, dpi=dpi)
        return target.getvalue()

    def title(self) -> str:
        """Return harness, part number, revision and unit, for people."""
        part = " ".join(filter(None, (self.harness.part_number, self.harness.revision)))
        unit = f"unit {self.units[0]}" if len(self.units) == 1 else f"units {self.units[0]} to {self.units[-1]}"
        return " · ".join(filter(None, (self.harness.name, part, unit)))

    def _pictures(self, part: Part) -> Iterator[tuple[Path, int, str]]:
        """Yield the path of each picture, the page it is of, and the piece on it ("": all of the page)."""
        from labeler.draw.pdf import pages_of

        if not self.out.png:
            return
        for page, (sheet, turned) in enumerate(pages_of(part.sheets)):
            name = f"{part.path.stem}-{sheet.number:03d}{'-turned' if turned else ''}"
            if "sheets" in self.out.png:
                yield part.path.with_name(f"{name}.png"), page, ""
            if "pieces" in self.out.png:
                for placed in sheet.placed:
                    yield part.path.with_name(f"{name}-{placed.cell}-{placed.piece.marker}.png"), page, placed.cell

    def _drawn_pictures(self, part: Part, pdf: bytes) -> Iterator[tuple[Path, bytes]]:
        from labeler.draw.pdf import pages_of
        from labeler.draw.raster import page_pictures, piece_pictures, png

        dpi = self.out.dpi
        wanted: dict[int, dict[str, Path]] = {}
        for path, page, cell in self._pictures(part):
            wanted.setdefault(page, {})[cell] = path
        pages = self.out.track(pages_of(part.sheets), f"{part.stock}, pictures")
        for page, ((sheet, _), picture) in enumerate(zip(pages, page_pictures(pdf, dpi), strict=True)):
            paths = wanted.get(page, {})
            if "" in paths:
                yield paths[""], png(picture, dpi)
            if "pieces" in self.out.png:
                for placed, cut in piece_pictures(picture, sheet, dpi, self.out.printer):
                    yield paths[placed.cell], png(cut, dpi)


def hand_over(
    record: Record,
    prepare: Sequence[Callable[[], Job]],
    draw: Callable[[Sequence[Job]], Drawing],
    keep: Callable[[Job], None] = lambda _: None,
) -> tuple[tuple[Job, ...], tuple[Path, ...]]:
    """Record jobs as prepared, write all files, send what is to be sent, confirm the jobs.

    Where anything of that fails, or is broken off, no file is left, what was sent is taken back, and
    the jobs are withdrawn. ``keep`` records what else there is to, with the last of the jobs.
    """
    from labeler.draw.files import uninterrupted, written
    from labeler.send import take_back

    jobs: list[Job] = []
    sent: list[str] = []
    try:
        for each in prepare:
            with uninterrupted():
                jobs.append(each())
        drawing = draw(jobs)
        paths = drawing.paths()
        for folder in {path.parent for path in paths}:
            make_folder(folder)
        with written(paths, drawing.contents(), force=drawing.out.force):
            for part in drawing.parts:
                _send(drawing, part, sent)
            with uninterrupted():
                for job in jobs:
                    record.confirm(job.id, [str(path) for path in paths])
                keep(jobs[-1])
    except BaseException as error:
        with uninterrupted():
            take_back(sent)
            _withdraw(record, jobs, error)
        raise
    return tuple(jobs), paths


def _withdraw(record: Record, jobs: Sequence[Job], error: BaseException) -> None:
    for job in jobs:
        with suppress(LabelerError):
            record.withdraw(job.id, f"not handed over: {error or 'broken off'}")


def _send(drawing: Drawing, part: Part, sent: list[str]) -> None:
    """Send a part to its printer, if it has one, pages of one size at a time; note the service's names of the jobs."""
    from labeler.draw.files import uninterrupted
    from labeler.draw.pdf import pages_of
    from labeler.send import send

    queue = drawing.out.queue(part.stock)
    if not queue:
        return
    data, done = part.path.read_bytes(), 0
    sizes = [(sheet.width_mm, sheet.height_mm) for sheet, _ in pages_of(part.sheets)]
    for size, run in groupby(sizes):
        count = len(list(run))
        some = data if count == len(sizes) else _pages(data, done, count)
        with uninterrupted():
            sent.append(send(some, queue, f"{drawing.title()}, {part.stock}", *size))
        done += count


def _pages(pdf: bytes, first: int, count: int) -> bytes:
    """Return a PDF with some pages of another."""
    import pypdfium2

    whole, some = pypdfium2.PdfDocument(pdf), pypdfium2.PdfDocument.new()
    some.import_pages(whole, list(range(first, first + count)))
    target = BytesIO()
    some.save(target)
    return target.getvalue()
