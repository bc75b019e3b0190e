"""Hand over: draw the files, write them, send them, confirm the jobs; all of it or nothing."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field, replace
from hashlib import blake2b, sha256
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from labeler import send
from labeler.draw.pdf import draw_sheets, pages_of
from labeler.draw.pens import Page
from labeler.draw.raster import page_pictures, piece_pictures, png
from labeler.draw.sheet_frame import Header
from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.files import drawn, uninterrupted, written
from labeler.job.order import Output
from labeler.job.work_list import about_job
from labeler.model import Sheet
from labeler.record.values import Job
from labeler.tables.printers import printer_of

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.write import NotOf


# ---------------------------------------------------------------- Where the files of a job go


ELSEWHERE = "choose another folder (--output)"
MOST_PAGES = 500  # of one file: a longer job is several files, so that viewers and printers take it: project choice


class UnitName(NamedTuple):
    """What files call a unit: the part number of its harness, or the name of one without, and the serial."""

    harness: str
    serial: str

    @classmethod
    def of(cls, job: Job) -> UnitName:
        """Return the unit of a job."""
        return cls(job.part_number or job.harness, job.unit)


@dataclass(frozen=True, slots=True)
class Part:
    """A PDF of one stock, on a reel also of one tube, and the sheets on it."""

    path: Path
    sheets: tuple[Sheet, ...]

    @property
    def stock(self) -> str:
        """Return the name of its stock."""
        return self.sheets[0].stock.name


def unit_path(folder: Path, unit: UnitName, ending: str = "") -> Path:
    """Return the path of a file that is all of one unit's."""
    return folder / f"{_stem(unit)}{ending}"


def bench_sheet_path(folder: Path, unit: UnitName, word: str = "") -> Path:
    """Return the path of a unit's bench sheet, or with a ``word`` behind the unit that of a work list."""
    return folder / f"{_stem(unit, word)}-{'work-list' if word else 'bench-sheet'}.pdf"


def parts_of(folder: Path, units: Sequence[UnitName], sheets: Iterable[Sheet], word: str = "") -> tuple[Part, ...]:
    """Return the files of sheets, stock by stock, of flat tube on a reel also tube by tube.

    ``word`` is put behind the units. Raises `LabelerError` where two files would share a name.
    """
    together: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in sheets:
        tube = sheet.load if sheet.stock.kind == "reel" else ""
        together.setdefault((sheet.stock.name, tube), []).append(sheet)
    stem = _stem(_span_name(units), word)
    named = {key: "-".join(filter(None, map(_readable, key))) for key in together}
    if len(set(named.values())) < len(named):
        named = {key: "-".join(_file_name(word) for word in key if word) for key in together}
    if len(set(named.values())) < len(named):
        text = f"the stocks {', '.join(dict.fromkeys(name for name, _ in named))} would share a file name"
        raise LabelerError(Problem(SourceLocation("layouts"), text, "rename one of the stock files"))
    return tuple(
        Part(folder / f"{stem}-{named[key]}{which}.pdf", those)
        for key, all_of_it in together.items()
        for which, those in _chunks(all_of_it)
    )


def _span_name(units: Sequence[UnitName]) -> UnitName:
    """Return the one unit, or a name from the first to the last, with the harness of the last where that is another."""
    first, last = units[0], units[-1]
    if len(units) == 1:
        return first
    other = "" if last.harness == first.harness else f"{last.harness}-"
    return UnitName(first.harness, f"{first.serial}-to-{other}{last.serial}")


def _stem(unit: UnitName, word: str = "") -> str:
    return _file_name(f"{unit.harness}-{unit.serial}{word}")


def _chunks(sheets: Sequence[Sheet]) -> Iterator[tuple[str, tuple[Sheet, ...]]]:
    """Yield what is put behind the name and the sheets of it, so many that no file has too many pages."""
    twice = [any(placed.piece.face.passes > 1 for placed in sheet.placed) for sheet in sheets]
    if sheets[0].stock.kind == "reel":  # the whole tube passes again
        twice = [any(twice)] * len(sheets)
    chunks: list[list[Sheet]] = []
    pages = MOST_PAGES
    for sheet, again in zip(sheets, twice, strict=True):
        pages += 1 + again
        if pages > MOST_PAGES:
            chunks.append([])
            pages = 1 + again
        chunks[-1].append(sheet)
    for number, chunk in enumerate(chunks, 1):
        yield (f"-{number}-of-{len(chunks)}" if len(chunks) > 1 else ""), tuple(chunk)


def _readable(text: str) -> str:
    """Return the name of a stock or tube for a file; those of one job are compared with one another."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in text)
    return re.sub("-+", "-", kept).strip("-")


def _file_name(text: str) -> str:
    """Keep ASCII letters, digits, dash and underscore: a name every file system takes.

    Where a sign is replaced, a digest of the whole text follows, so that two texts never share a name.
    """
    kept = _readable(text)
    if kept == text:
        return kept
    return f"{kept or 'harness'}-{blake2b(text.encode('utf-8', 'replace'), digest_size=4).hexdigest()}"


def folder_problems(folder: Path) -> Iterator[Problem]:
    """Yield a problem for a folder that cannot be made or written to, as far as that can be known before it is tried.

    Nor may its name be no text: the record could not name the files in it.
    """
    try:
        str(folder).encode()
    except UnicodeEncodeError:
        shown = str(folder).encode("utf-8", "backslashreplace").decode()
        yield Problem(SourceLocation(shown), "the folder's name is not valid text (UTF-8)", ELSEWHERE)
        return
    there = next(path for path in (folder, *folder.absolute().parents) if os.path.lexists(path))
    if not os.path.isdir(there):
        yield Problem(SourceLocation(str(there)), "is a file" if os.path.isfile(there) else "is no folder", ELSEWHERE)
    elif not os.access(there, os.W_OK | os.X_OK):
        yield Problem(SourceLocation(str(there)), "the folder cannot be written to", ELSEWHERE)


def make_folder(folder: Path, fix: str = ELSEWHERE) -> None:
    """Make a folder; raises `LabelerError`, with the next step as ``fix``, where that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = "is a file" if folder.is_file() else f"cannot be made ({error.strerror})"
        raise LabelerError(Problem(SourceLocation(str(folder)), why, fix)) from error


# ---------------------------------------------------------------- handing


def output_text(out: Output) -> str:
    """Return where a job's files go, and in which form, as the record keeps it: JSON."""
    pictures = {"png": out.png, "dpi": out.dpi} if out.png else {}
    sent = {"send": dict(out.send)} if out.send else {}
    return json.dumps({"folder": str(out.folder.resolve()), **pictures, **sent})


def output_from_text(text: str, folder: Path | None = None) -> Output:
    """Return the output that `output_text` wrote, to be written to another folder where one is given."""
    kept: dict[str, Any] = json.loads(text) if text else {}
    png, send = tuple(map(str, kept.get("png", ()))), kept.get("send", {})
    return Output(folder or Path(kept.get("folder", "out")), png=png, dpi=float(kept.get("dpi", 0.0)), send=send)


@dataclass(frozen=True, slots=True)
class Drawing:
    """The sheets of one or several jobs as files, and further files beside them (bench sheets)."""

    jobs: tuple[Job, ...]  # none: a trial, before any is recorded
    parts: tuple[Part, ...]
    out: Output
    beside: Mapping[Path, Callable[[], bytes]] = field(default_factory=dict)

    def paths(self) -> tuple[Path, ...]:
        """Return every file, in the order in which they are handed over."""
        pictures = (path for part in self.parts for page in self._pictures(part) for path in page.values())
        return (*self.beside, *(part.path for part in self.parts), *pictures)

    def not_of(self, named: Callable[[Path], Path] = Path) -> dict[int, frozenset[str]]:
        """Return for each of several jobs the files that are another one's alone: their bench sheets."""
        if len(self.jobs) < 2:
            return {}
        beside = [str(named(path)) for path in self.beside]
        return {job.id: frozenset(beside) - {own} for job, own in zip(self.jobs, beside, strict=True)}

    def contents(self) -> Iterator[tuple[Path, bytes]]:
        """Yield every file with what is in it, drawn one at a time."""
        for path, draw in self.out.track(tuple(self.beside.items()), "bench sheets"):
            yield path, draw()
        for part in self.parts:
            pdf = self.pdf(part)
            yield part.path, pdf
            if self.out.png:
                yield from self._drawn_pictures(part, pdf)

    def pdf(self, part: Part) -> bytes:
        """Return the PDF of a part."""
        header, printer = self.header(), printer_of(self.out.printer, part.sheets)
        dpi = self.out.dpi if self.out.png else None
        sheets = self.out.track(part.sheets, part.stock)
        return draw_sheets(sheets, title=f"{header.words}, {part.stock}", header=header, printer=printer, dpi=dpi)

    def header(self) -> Header:
        """Return what every sheet says: harness, part number, revision, unit, job, date, and what is repeated."""
        harnesses = dict.fromkeys((job.part_number, job.revision) for job in self.jobs)
        parts = (" ".join(filter(None, (part, revision and f"rev {revision}"))) for part, revision in harnesses)
        units, jobs = _span("unit", [job.unit for job in self.jobs]), _span("job", [job.id for job in self.jobs])
        first = self.jobs[0]
        words = filter(None, (", ".join(filter(None, parts)), units, jobs, first.date or first.time[:10]))
        name = ", ".join(dict.fromkeys(job.harness for job in self.jobs))
        return Header(" · ".join(words), name=name, about=about_job(*self.jobs))

    def _pictures(self, part: Part) -> Iterator[dict[str, Path]]:
        """Yield for each page the paths of its pictures by the cell of the piece on it ("": all of the page)."""
        for sheet, turned in pages_of(part.sheets):
            name = f"{part.path.stem}-{sheet.number:03d}{'-turned' if turned else ''}"
            names = {"": name} if "sheets" in self.out.png else {}
            if "markers" in self.out.png:
                names |= {placed.cell: f"{name}-{placed.cell}-{placed.piece.marker}" for placed in sheet.placed}
            yield {cell: part.path.with_name(f"{each}.png") for cell, each in names.items()}

    def _drawn_pictures(self, part: Part, pdf: bytes) -> Iterator[tuple[Path, bytes]]:
        dpi, printer = self.out.dpi, printer_of(self.out.printer, part.sheets)
        pages = self.out.track(pages_of(part.sheets), f"{part.stock}, pictures")
        for (sheet, _), paths, picture in zip(pages, self._pictures(part), page_pictures(pdf, dpi), strict=True):
            if "" in paths:
                yield paths[""], png(picture, dpi)
            if "markers" in self.out.png:
                for placed, cut in piece_pictures(picture, sheet, dpi, printer):
                    yield paths[placed.cell], png(cut, dpi)


def _span(what: str, names: Sequence[object]) -> str:
    return f"{what} {names[0]}" if len(names) == 1 else f"{what}s {names[0]} to {names[-1]}"


def hand_over(
    record: Record,
    prepare: Callable[[], Sequence[Job]],
    draw: Callable[[Sequence[Job]], Drawing],
    *,
    user: str = "",
    again: bool = False,
) -> tuple[tuple[Job, ...], tuple[Path, ...]]:
    """Record jobs as pending, write all files, send what is to be sent, confirm the jobs; return them and the files.

    The jobs are one run: they are confirmed, or cancelled, in one transaction. Where anything of that fails,
    or is broken off, no file is left, what was sent is taken back, and the jobs are cancelled.
    ``again``: the jobs were broken off before; files that are there as they are to be stay, and where this
    fails too they stay pending.
    """
    jobs: list[Job] = []
    sent: list[str] = []
    done, sure = False, False
    try:
        with uninterrupted():
            jobs += prepare()
        drawing = draw(jobs)
        paths = drawing.paths()
        dry_run = drawing.out.dry_run
        for folder in {path.parent for path in paths if not dry_run}:
            make_folder(folder)
        wanted, contents = _to_write(record, jobs, drawing, again)
        write = drawn if dry_run else written
        with ExitStack() as files:
            files.enter_context(write(wanted, _noted(record, drawing, jobs, contents), force=drawing.out.force))
            for part in drawing.parts if not dry_run else ():
                _send(drawing, part, sent)
            with uninterrupted():
                names = [str(path) for path in paths]
                sure, done = _confirm(record, jobs[0], (names, user, drawing.not_of())), True
                files.close()  # from here on the files stay, whatever comes
    except BaseException as error:
        if not (again or done):
            with uninterrupted(), suppress(LabelerError):
                send.take_back(sent)
                for job in jobs[:1]:  # and its run
                    record.cancel_pending_jobs(job.id, f"not handed over: {error or 'broken off'}", user)
        raise
    if not sure:
        raise LabelerError(_lost(record, jobs))
    gone = drawing.not_of()
    own = {job.id: tuple(name for name in names if name not in gone.get(job.id, ())) for job in jobs}
    return tuple(replace(job, state="printed", files=own[job.id]) for job in jobs), paths


def _to_write(
    record: Record, jobs: Sequence[Job], drawing: Drawing, again: bool
) -> tuple[Sequence[Path], Iterable[tuple[Path, bytes]]]:
    """Return what is to be written: all of it, or of jobs that were broken off what is not there already."""
    if not again:
        return drawing.paths(), drawing.contents()
    known = {Path(name).name: digest for job in jobs for name, digest in record.digests(job.id).items()}
    missing = [(path, data) for path, data in drawing.contents() if not _holds(path, data, known)]
    return [path for path, _ in missing], missing


def _noted(
    record: Record, drawing: Drawing, jobs: Sequence[Job], contents: Iterable[tuple[Path, bytes]]
) -> Iterator[tuple[Path, bytes]]:
    """Yield the files; once all are written, and before they are named, the record is told their digests."""
    digests: dict[str, str] = {}
    for path, data in contents:
        digests[str(path.resolve())] = sha256(data).hexdigest()
        yield path, data
    record.add_digests(jobs[0].id, digests, drawing.not_of(Path.resolve))


def _confirm(record: Record, job: Job, about: tuple[Sequence[str], str, NotOf]) -> bool:
    """Confirm a job with its run; False where nobody can know whether it is, as the record is gone in the middle of it.

    The files must stay then: a job that is printed in the record would have lost them.
    """
    try:
        record.confirm(job.id, *about)
    except LabelerError:
        try:
            now = record.show(job.id).jobs[0]
        except LabelerError:
            return False
        if now.state != "printed":
            raise
    return True


def _lost(record: Record, jobs: Sequence[Job]) -> Problem:
    first, span = jobs[0].id, _span("job", [job.id for job in jobs])
    what = f"the files are written, but the record was lost before it said that {span} is confirmed"
    fix = f"once it is there again, see labeler record list; if it is pending, labeler record finish {first}"
    return Problem(SourceLocation(record.name), what, fix)


def _holds(path: Path, data: bytes, known: Mapping[str, str]) -> bool:
    """Whether a file is there as it is to be: as it would be drawn now, or as it was drawn the first time."""
    try:
        there = path.read_bytes() if path.is_file() else None
    except OSError:
        return False
    return there is not None and (there == data or sha256(there).hexdigest() == known.get(path.name))


def _send(drawing: Drawing, part: Part, sent: list[str]) -> None:
    """Send a part to its printer, if it has one, pages of one size at a time; note the service's names of the jobs."""
    queue = drawing.out.queue(part.stock)
    if not queue:
        return
    data, done = part.path.read_bytes(), 0
    printer = printer_of(drawing.out.printer, part.sheets)
    sizes = [Page.of(sheet).drawn(printer) for sheet, _ in pages_of(part.sheets)]
    for size, run in groupby(sizes):
        count = len(list(run))
        some = data if count == len(sizes) else _pages(data, done, count)
        with uninterrupted():
            sent.append(send.send(some, queue, f"{drawing.header().words}, {part.stock}", *size))
        done += count


def _pages(pdf: bytes, first: int, count: int) -> bytes:
    """Return a PDF with some pages of another."""
    import pypdfium2

    whole, some = pypdfium2.PdfDocument(pdf), pypdfium2.PdfDocument.new()
    some.import_pages(whole, list(range(first, first + count)))
    target = BytesIO()
    some.save(target)
    return target.getvalue()
