"""Reprint: recorded markers again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from labeler.catalogue import default_settings, load_catalogue
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.model import Harness, Sheet, Stock
from labeler.pipeline.files import Names, folder_problems
from labeler.pipeline.handing import Drawing, Output, hand_over
from labeler.pipeline.numbering import numbered
from labeler.pipeline.printing import Places, Printed, known_used, printer_from_text, printer_text, version
from labeler.pipeline.worklist import work_list
from labeler.printers import AS_DRAWN, Printer, printer_problems

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job, Recorded


def reprint(
    record: Record,
    items: Sequence[Recorded],
    folder: Path,
    *,
    reason: str,
    stock: str = "",
    start: Mapping[str, str] | None = None,
    used: Mapping[str, Sequence[str]] | None = None,
    go_on: bool = False,
    same_places: bool = False,
    with_numbers: bool = False,
    force: bool = False,
    who: str = "",
    date: str = "",
    paper: str = "A4",
    printer: Printer = AS_DRAWN,
    out: Output | None = None,
) -> Printed:
    """Print recorded markers of one unit again, from the record alone.

    They go to the stock they were on, or to ``stock``, from the cell ``start`` on (by the stock's
    name), past the cells that are ``used``; with ``same_places`` to the very cells they were in (a
    spoiled sheet); ``with_numbers`` writes R1 or R2 beside their text. A work list goes with them.
    Raises `LabelerError`.
    """
    from labeler.layout import used_after
    from labeler.record import canonical_sheet
    from labeler.record.used import keep_used
    from labeler.send import queue_problems

    refuse(folder_problems(folder))
    out = replace(out or Output(folder), folder=folder, force=force, printer=printer)
    drawn = _drawn(items)
    refuse(_not_reprinted(drawn))
    first = {item.stock.name: item.stock for item in drawn if item.stock}
    stocks = {stock: _other_stock(stock, drawn)} if stock else first
    known = known_used(record, stocks, start or {}) if go_on else {}
    places = Places(start or {}, {**known, **(used or {})})
    sheets = _same_sheets(record, drawn) if same_places else _new_sheets(drawn, stock, stocks, places)
    numbers = {item.row.id: item.printed for item in drawn} if with_numbers else {}
    if numbers:
        sheets = tuple(map(canonical_sheet, (_with_numbers(sheet, numbers) for sheet in sheets)))
    refuse(printer_problems(printer, sheets))
    refuse(queue_problems(filter(None, (out.queue(sheet.stock.name) for sheet in sheets))))
    left = {} if same_places else used_after(sheets, places.taken(stocks))
    about: dict[str, Any] = {"reason": reason, "who": who, "version": version(), "date": date, "paper": paper}
    about |= {"fonts": _fonts_at_hand(sheets), "printer": printer_text(printer), "numbers": numbers}
    (job,), files = hand_over(
        record,
        [partial(record.prepare_reprint, drawn, sheets, **about)],
        lambda jobs: _drawing(jobs[0], drawn, sheets, out),
        lambda job: keep_used(record, job.id, left),
        who=who,
    )
    return Printed(job, files, sheets, left=left, begun=() if same_places else places.begun(sheets))


def _other_stock(name: str, items: Sequence[Recorded]) -> Stock:
    """Return another stock than the first time; raises `LabelerError` where it does not serve."""
    other = load_catalogue().stock(name, Where("--stock"))
    refuse(_stock_problems(items, other))
    return other


def _new_sheets(
    items: Sequence[Recorded], stock: str, stocks: Mapping[str, Stock], places: Places
) -> tuple[Sheet, ...]:
    """Return markers laid out on the stocks they were on, or on another one."""
    from labeler.layout import lay_out

    pieces = [item.piece() for item in items]
    if stock:
        pieces = [replace(piece, stock=stock) for piece in pieces]
    return lay_out(pieces, stocks, places.start, used=places.used)


def _drawn(items: Sequence[Recorded]) -> list[Recorded]:
    """Return the markers that were printed; raises `LabelerError` where none was."""
    drawn = [item for item in items if item.face is not None]
    if not drawn:
        states = sorted({item.state for item in items})
        why = f"nothing to print: {', '.join(states) or 'no marker'}"
        fix = "see labeler record show"
        if "left out" in states:
            fix = "mend the file under a new revision, and print what that changes: labeler print FILE --changed-since"
        raise LabelerError(Problem(Where("reprint"), why, fix))
    return drawn


def _drawing(job: Job, items: Sequence[Recorded], sheets: Sequence[Sheet], out: Output) -> Drawing:
    """Return the files of a job as the record has it, with a work list."""
    from labeler.draw.bench import draw_bench_sheet

    harness = Harness(job.harness, job.part_number, job.revision)
    word = {"reprint": f"-reprint-{job.id}", "revision": f"-changes-{job.id}"}.get(job.kind, "")
    names = Names(out.folder, harness)

    def work() -> bytes:
        target = BytesIO()
        draw_bench_sheet(work_list(job, items, sheets), target, page=job.paper or "A4")
        return target.getvalue()

    out = replace(out, dpi=out.printer.dpi or default_settings().printer_dpi)
    return Drawing(
        harness, (job,), names.parts((job.unit,), sheets, word), out, {names.bench_sheet(job.unit, word): work}
    )


def resume(record: Record, job_id: int, folder: Path | None = None, *, force: bool = False, who: str = "") -> Printed:
    """Finish a job that was broken off: draw its files again from the record alone, and confirm it.

    They go to the folder that they were on their way to, or to another one; files there that are
    already as they are to be stay. The bench sheet of a print is drawn
    without pins: the record does not keep them. Of units that shared sheets it draws this one's markers
    alone, each in its own cell. Raises `LabelerError` where the job is not prepared, a font has changed,
    or a file cannot be written; the job stays prepared then.
    """
    from labeler.record import changed_fonts

    story = record.show(job_id)
    job = story.jobs[0]
    if job.state != "prepared":
        fix = "reprint what is missing" if job.state == "printed" else "print the unit, or what is missing, anew"
        raise LabelerError(Problem(Where(f"job {job_id}"), f"there is nothing to resume: it is {job.state}", fix))
    if folder is None:
        folder = next((Path(name).parent for name in record.digests(job_id)), Path("out"))
    refuse(folder_problems(folder))
    sheets = record.sheets(job_id)
    refuse(changed_fonts(story.markers, _fonts_at_hand(sheets)))
    printer = printer_from_text(job.printer)
    refuse(printer_problems(printer, sheets))
    out = Output(folder, force, printer)
    drawing = _drawing(job, story.markers, sheets, out)
    (job,), files = hand_over(record, [lambda: job], lambda _: drawing, who=who, again=True)
    return Printed(job, files, sheets)


SAME_MM = 0.01  # measures of two stocks that differ by less are the same: the last digit of the stock files


def _stock_problems(items: Iterable[Recorded], other: Stock) -> Iterator[Problem]:
    """Yield what keeps markers that were drawn for one stock from another; whether they go in is seen in laying out."""
    for item in items:
        where, was = Where(f"--stock {other.name}"), item.stock
        if other.takes != item.row.kind:
            what = f"it takes {other.takes}s, {item.row.id} at {item.row.at} is a {item.row.kind}"
            yield Problem(where, what, "choose a stock of the same kind: labeler stock")
        elif was is not None and other.name != was.name:
            for key, now, then in _measures_that_matter(other, was):
                what = f"its {key} is {now:g}, {item.row.id} at {item.row.at} was drawn for {then:g} ({was.name})"
                yield Problem(where, what, "choose a stock of the same measures, or leave --stock out")


def _measures_that_matter(other: Stock, was: Stock) -> Iterator[tuple[str, float, float]]:
    """Yield the measures by which a marker would not sit, wrap or read as it was worked out to."""
    keys = {
        "wrap": ("cell_width_mm", "cell_height_mm", "print_around_mm", "film_mm"),
        "flag": ("cell_width_mm", "cell_height_mm", "film_mm"),
        "insert": ("film_mm",),
    }
    for key in keys.get(other.takes, ()):
        now, then = getattr(other, key), getattr(was, key)
        if abs(now - then) > SAME_MM:
            yield key, now, then
    if other.takes == "tag" and _hole_edge(other) > _hole_edge(was) + SAME_MM:
        yield "punch hole's far edge, mm", _hole_edge(other), _hole_edge(was)


def _hole_edge(stock: Stock) -> float:
    """Return how far from the left edge of a tag its punch hole reaches, mm; 0 without one."""
    return stock.hole_inset_mm + stock.hole_mm / 2 if stock.hole_mm else 0.0


def _not_reprinted(items: Iterable[Recorded]) -> Iterator[Problem]:
    """Yield the markers that are not to be printed again: those of a job that was broken off, and those taken off."""
    for item in items:
        where = Where(f"unit {item.unit}, {item.row.id}")
        if item.state == "prepared" and not item.printed:
            fix = f"finish it (labeler record resume {item.job}) or withdraw it (labeler record withdraw {item.job})"
            yield Problem(where, f"job {item.job}, which was to print it, is prepared", fix)
        elif item.state == "taken off":
            yield Problem(where, f"it was {item.reason}", "reprint what stands there now: labeler record show")


def _with_numbers(sheet: Sheet, numbers: Mapping[str, int]) -> Sheet:
    pieces = [(placed, numbered(placed.piece, numbers[placed.piece.marker])) for placed in sheet.placed]
    return replace(sheet, placed=tuple(replace(placed, piece=piece) for placed, piece in pieces))


def _same_sheets(record: Record, items: Sequence[Recorded]) -> tuple[Sheet, ...]:
    """Return the sheet that the markers were on, each in its own cell."""
    first, wanted = items[0], {item.row.id for item in items}
    whole = next(sheet for sheet in record.sheets(first.job) if sheet.number == first.sheet)
    return (replace(whole, placed=tuple(p for p in whole.placed if p.piece.marker in wanted)),)


def _fonts_at_hand(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digests of the fonts that are here; one that cannot be loaded is left out."""
    from labeler.text import load_font

    found = {}
    for name in {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}:
        with suppress(LabelerError):
            found[name] = load_font(name).digest
    return found
