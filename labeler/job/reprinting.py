"""Reprint: recorded markers again, from the record alone."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from math import floor
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.codes.symbols import SYMBOLOGIES
from labeler.draw.bench import draw_bench_sheet
from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.job.deliver import UnitName, folder_problems, hand_over, output_from_text
from labeler.job.order import Output, Reprint
from labeler.job.revising import compare, remark
from labeler.job.run import (
    Printed,
    RunUnit,
    carry_out,
    drawing_of,
    font_digests,
    job_about,
    merged_sheets,
    notes_on_sheets,
    places_of,
)
from labeler.job.work_list import only_cut, work_list
from labeler.model import Face, Piece, Placed, Run, Sheet, Stock, Symbol
from labeler.record.faces import canonical_sheet
from labeler.record.values import Job, NewReprint, Recorded, changed_fonts
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.tables.kinds import KINDS
from labeler.tables.printers import AS_DRAWN, Printer, printer_problems
from labeler.text import load_font
from labeler.work.bench_sheet import Remark

if TYPE_CHECKING:
    from labeler.record.store import Record


# ---------------------------------------------------------------- The number of a reprint beside its text


CAPITAL_MM = 1.27  # of the number, as printed: project choice, the least capital that markers have by default (0.05 in)
APART_MM = 0.5  # between the number and what else is printed: project choice
EDGE_MM = (
    1.0  # between the number and the end of the piece, where it is cut: project choice, half of sleeve.end_margin_mm
)
Area = tuple[float, float, float, float]  # left, lower, right, upper


def numbered(piece: Piece, number: int) -> Piece:
    """Return the piece with R and the number at the right end of its first line, or else at its left end.

    Raises `LabelerError` where neither end has room for it: nothing of the text moves or shrinks.
    """
    face, text = piece.face, f"R{number}"
    first = face.runs[0] if face.runs else None
    if first is None or first.turn:
        raise _no_room(piece, text, "its lines are not along the piece")
    font = load_font(first.font)
    size = CAPITAL_MM / font.capital
    width = font.width(text) * size
    taken = list(_taken(face))
    for x in (floor((face.width_mm - EDGE_MM - width) * 1e4) / 1e4, EDGE_MM):
        run = Run(text, first.font, size, x, first.y_mm, first.stretch)
        inside = x >= EDGE_MM - 1e-6 and x + width <= face.width_mm - EDGE_MM + 1e-6
        copies = [(left - APART_MM, low, right + APART_MM, high) for left, low, right, high in _copies(face, run)]
        if inside and not any(_meet(copy, area) for copy in copies for area in taken):
            return replace(piece, face=replace(face, runs=(*face.runs, run)))
    left = max(0.0, min(area[0] for area in taken))
    right = max(0.0, face.width_mm - max(area[2] for area in taken))
    asked = width + APART_MM + EDGE_MM
    raise _no_room(piece, text, f"{left:.1f} and {right:.1f} mm are free at its ends, {asked:.1f} mm are asked")


def _no_room(piece: Piece, text: str, why: str) -> LabelerError:
    fix = "leave --reprint-mark out: the reprint is recorded all the same"
    return LabelerError(
        Problem(SourceLocation(piece.marker), f"{piece.label}: there is no room for {text}: {why}", fix)
    )


def _taken(face: Face) -> Iterator[Area]:
    """Yield what is printed already, with all its copies."""
    for run in face.runs:
        yield from _copies(face, run)
    for box in face.boxes:
        yield box.x_mm, box.y_mm, box.x_mm + box.width_mm, box.y_mm + box.height_mm
    if face.symbol is not None:
        yield from _codes(face.symbol)


def _copies(face: Face, run: Run) -> Iterator[Area]:
    """Yield the area of a text and of each of its copies, which lie lower than the first."""
    font = load_font(run.font)
    high, low = (side(run.text) * run.size_mm * run.stretch for side in (font.above, font.below))
    right = run.x_mm + font.width(run.text) * run.size_mm
    for copy in range(face.repeats):
        y = run.y_mm - copy * face.repeat_pitch_mm
        yield run.x_mm, y - low, right, y + high


def _codes(symbol: Symbol) -> Iterator[Area]:
    """Yield every copy of a code with its quiet zone: of bars that lies at both ends."""
    known = SYMBOLOGIES.get(symbol.symbology)
    quiet = known.quiet if known else max(each.quiet for each in SYMBOLOGIES.values())
    beside = quiet * symbol.module_x_mm
    above = quiet * symbol.module_y_mm if len(symbol.rows) > 1 else 0.0
    wide, high = len(symbol.rows[0]) * symbol.module_x_mm, len(symbol.rows) * symbol.module_y_mm
    for x, y in symbol.corners():
        yield x - beside, y - above, x + wide + beside, y + high + above


def _meet(a: Area, b: Area) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


# ---------------------------------------------------------------- reprinting


def reprint(record: Record, items: Sequence[Recorded], how: Reprint) -> tuple[Printed, ...]:
    """Print recorded markers again, from the record alone; units that share sheets are jobs of one run.

    They go to the stock they were on, or to the one that is named, or with ``same_cells`` to the very cells
    they were in. A work list goes with each unit. Raises `LabelerError`.
    """
    output = replace(how.output, dpi=how.output.printer.dpi or default_settings().print.dpi)
    refuse(folder_problems(output.folder))
    refuse(_not_reprinted(items))
    listed = _by_unit(item for item in items if item.face is not None or item.state == "blank")  # plain: only cut
    listed = [unit for unit in listed if any(item.face is not None for item in unit)]
    drawn = [[item for item in unit if item.face is not None] for unit in listed]
    stocks = {item.stock.name: item.stock for unit in drawn for item in unit if item.stock}
    pieces = [[item.piece() for item in unit] for unit in drawn]
    for name in how.loading.stocks[:1]:
        other = load_catalogue().stock(name, SourceLocation("--stock"))
        refuse(problem for unit in drawn for problem in _stock_problems(unit, other))
        stocks, pieces = {other.name: other}, [[replace(piece, stock=other.name) for piece in unit] for unit in pieces]
    places = places_of(how.loading, record, stocks)
    laid_out = [_same_sheet(record, unit) for unit in drawn] if how.same_cells else places.lay_out(pieces, stocks)
    units = [_new_reprint(mine, on, how.numbered) for mine, on in zip(drawn, laid_out, strict=True)]
    sheets = merged_sheets(unit.sheets for unit in units)
    notes = notes_on_sheets(how.loading, output, sheets)
    refuse(output.problems(sheets))
    fonts, about = font_digests(sheets), job_about(how, output, how.reason)
    printed = carry_out(
        record,
        [_run_unit(mine, unit.sheets) for mine, unit in zip(listed, units, strict=True)],
        lambda left: record.prepare_reprints(units, fonts, about, left),
        None if how.same_cells else places,
        output,
        how.user,
    )
    return tuple(replace(one, notes=notes) for one in printed)


def _by_unit(items: Iterable[Recorded]) -> list[list[Recorded]]:
    """Return the markers unit by unit, in the order in which the units come."""
    units: dict[tuple[str, str, str], list[Recorded]] = {}
    for item in items:
        units.setdefault((item.part_number, "" if item.part_number else item.harness, item.unit), []).append(item)
    return list(units.values())


def _new_reprint(items: Sequence[Recorded], sheets: Sequence[Sheet], with_numbers: bool) -> NewReprint:
    """Return what is printed again of one unit, with the numbers of its reprints where they are asked for."""
    if not with_numbers:
        return NewReprint(items, sheets)
    numbers = {item.row.id: item.print_count for item in items}

    def with_number(placed: Placed) -> Placed:
        return replace(placed, piece=numbered(placed.piece, numbers[placed.piece.marker]))

    on = (replace(sheet, placed=tuple(map(with_number, sheet.placed))) for sheet in sheets)
    return NewReprint(items, tuple(map(canonical_sheet, on)), numbers)


def _run_unit(items: Sequence[Recorded], sheets: Sequence[Sheet], take_off: tuple[Remark, ...] = ()) -> RunUnit:
    """Return a unit of a run as the record has it, with a work list for it."""

    def draw(job: Job) -> bytes:
        return draw_bench_sheet(work_list(job, items, sheets, take_off), job.paper or "A4")

    return RunUnit(UnitName(items[0].part_number or items[0].harness, items[0].unit), tuple(sheets), draw)


def finish_job(
    record: Record, job_id: int, folder: Path | None = None, *, force: bool = False, user: str = ""
) -> tuple[Printed, ...]:
    """Finish a job that was broken off, with all that was printed together with it, from the record alone.

    The sheets are drawn again as they were, those of several units as one; their jobs are confirmed together.
    They go to the folder that they were on their way to, or to another one; files there that are
    already as they are to be stay. The bench sheet of a print is drawn without pins: the record does not
    keep them. Nothing is sent to a printer: what was to be is told in ``notes``. Raises `LabelerError`
    where the job is not pending, a font has changed, or a file cannot be written; the jobs stay pending then.
    """
    job = record.show(job_id).jobs[0]
    if job.state != "pending":
        fix = "reprint what is missing" if job.state == "printed" else "print the unit, or what is missing, anew"
        raise LabelerError(
            Problem(SourceLocation(f"job {job_id}"), f"there is nothing to finish: it is {job.state}", fix)
        )
    out = _output_of(record, job, folder, force)
    refuse(folder_problems(out.folder))
    run = [one for one in record.run(job_id) if one.state != "cancelled"]
    items = [record.show(one.id).markers for one in run]
    per_job = [record.sheets(one.id) for one in run]
    sheets = merged_sheets(per_job)
    refuse(changed_fonts([item for mine in items for item in mine], font_digests(sheets)))
    refuse(printer_problems(out.printer, sheets))
    off = _take_off(record, job, items[0])
    units = [_run_unit(mine, on, off) for mine, on in zip(items, per_job, strict=True)]
    drawing = drawing_of(units, run, replace(out, send={}))
    pending = [one for one in run if one.state == "pending"]
    done, files = hand_over(record, lambda: pending, lambda _: drawing, user=user, again=True)
    notes = tuple(_not_sent(str(part.path), out.queue(part.stock)) for part in drawing.parts if out.queue(part.stock))
    on = {one.id: on for one, on in zip(run, per_job, strict=True)}
    return tuple(Printed(one, files, on[one.id], notes=notes) for one in done)


def _output_of(record: Record, job: Job, folder: Path | None, force: bool) -> Output:
    """Return where a job was on its way to, and in which form."""
    drawn = next((Path(name).parent for name in record.digests(job.id)), None)
    kept = output_from_text(job.output, folder or drawn)
    printer = Printer(**json.loads(job.printer)) if job.printer else AS_DRAWN
    return replace(kept, force=force, printer=printer, dpi=kept.dpi or default_settings().print.dpi)


def _not_sent(file: str, queue: str) -> Problem:
    """Return a note on a file that was to be sent to a printer: whether it was, nobody can know."""
    what = f"it was to be sent to {queue}, and was not sent now"
    return Problem(SourceLocation(file), what, "see whether it has come out; if not, send it by hand")


def _take_off(record: Record, job: Job, made: Sequence[Recorded]) -> tuple[Remark, ...]:
    """Return what a job of a newer revision takes off its unit, for the list."""
    off = set(record.removed_by(job.id))
    unit = f"{job.part_number or job.harness} {job.unit}"
    old = [item.row for item in record.find("", unit=unit) if item.row.id in off] if off else []
    return tuple(remark(one) for one in compare(old, [item.row for item in made]) if one.old)


SAME_MM = 0.01  # measures of two stocks that differ by less are the same: the last digit of the stock files


def _stock_problems(items: Iterable[Recorded], other: Stock) -> Iterator[Problem]:
    """Yield what keeps markers that were drawn for one stock from another; whether they go in is seen in laying out."""
    for item in items:
        where, was = SourceLocation(f"--stock {other.name}"), item.stock
        if other.marker != item.row.kind:
            what = f"it takes {other.marker}s, {item.row.id} at {item.row.place} is a {item.row.kind}"
            yield Problem(where, what, "choose a stock of the same kind: labeler list stock")
        elif was is not None and other.name != was.name:
            for key, now, then in _measures_that_matter(other, was):
                what = f"its {key} is {now:g}, {item.row.id} at {item.row.place} was drawn for {then:g} ({was.name})"
                yield Problem(where, what, "choose a stock of the same measures, or leave --stock out")


def _measures_that_matter(other: Stock, was: Stock) -> Iterator[tuple[str, float, float]]:
    """Yield the measures by which a marker would not sit, wrap or read as it was worked out to."""
    for key in KINDS[other.marker].measures:
        now, then = getattr(other, key), getattr(was, key)
        if abs(now - then) > SAME_MM:
            yield key, now, then
    now, then = (
        one.hole_from_left_mm + one.hole_diameter_mm / 2 if one.hole_diameter_mm else 0.0 for one in (other, was)
    )
    if other.marker == "tag" and now > then + SAME_MM:
        yield "punch hole's far edge, mm", now, then


def _not_reprinted(items: Sequence[Recorded]) -> Iterator[Problem]:
    """Yield why there is nothing to print, and the markers of a job that was broken off, or that were taken off."""
    states = sorted({item.state for item in items})
    if all(item.face is None for item in items):
        yield from only_cut(items)
        fix = "see labeler record show"
        if "omitted" in states:
            fix = "mend the file under a new revision, and print what that changes: labeler print FILE --changed-since"
        if "blank" not in states:
            yield Problem(SourceLocation("reprint"), f"nothing to print: {', '.join(states) or 'no marker'}", fix)
    for item in items:
        where = SourceLocation(f"unit {item.unit}, {item.row.id}")
        if item.face is None:
            continue
        if item.state == "pending" and not item.print_count:
            fix = f"finish it (labeler record finish {item.job}) or cancel it (labeler record cancel {item.job})"
            yield Problem(where, f"job {item.job}, which was to print it, is pending", fix)
        elif item.state == "removed":
            yield Problem(where, f"it was {item.reason}", "reprint what stands there now: labeler record show")


def _same_sheet(record: Record, items: Sequence[Recorded]) -> tuple[Sheet, ...]:
    """Return the sheet that markers of one unit were on, each in its own cell."""
    wanted = {item.row.id for item in items}
    whole = next(sheet for sheet in record.sheets(items[0].job) if sheet.number == items[0].sheet)
    placed = tuple(p for p in whole.placed if p.piece.marker in wanted)
    cut = whole.about if len(placed) == len(whole.placed) and whole.stock.kind != "reel" else ""
    return (replace(whole, placed=placed, about=cut),)
