"""Reprint: recorded markers again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from math import floor
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.codes.symbols import SYMBOLOGIES
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.job.deliver import Drawing, Output, UnitName, folder_problems, hand_over, output_from_text, output_text
from labeler.job.order import Reprint
from labeler.job.revising import compare, remark
from labeler.job.run import (
    Places,
    Printed,
    RunUnit,
    carry_out,
    drawing_of,
    merged_sheets,
    notes_on_sheets,
    places_of,
    printer_from_text,
    printer_text,
    unit_sheets,
    version,
)
from labeler.job.work_list import only_cut, work_list
from labeler.model import Face, Piece, Run, Sheet, Stock, Symbol
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.tables.kinds import KINDS
from labeler.tables.printers import printer_problems
from labeler.text import load_font

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job, NewReprint, Recorded
    from labeler.work.bench_sheet import Remark


# ---------------------------------------------------------------- The number of a reprint beside its text


CAPITAL_MM = 1.27  # of the number, as printed: project choice, the least capital that markers have by default (0.05 in)
APART_MM = 0.5  # between the number and what else is printed: project choice
EDGE_MM = 1.0  # between the number and the end of the piece, where it is cut: project choice, half of end_margin_mm
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
        left, low, right, high = _area(run)
        inside = left >= EDGE_MM - 1e-6 and right <= face.width_mm - EDGE_MM + 1e-6
        copies = [(left - APART_MM, low - down, right + APART_MM, high - down) for down in _steps_down(face)]
        if inside and not any(_meet(copy, area) for copy in copies for area in taken):
            return replace(piece, face=replace(face, runs=(*face.runs, run)))
    left = max(0.0, min(area[0] for area in taken))
    right = max(0.0, face.width_mm - max(area[2] for area in taken))
    asked = width + APART_MM + EDGE_MM
    raise _no_room(piece, text, f"{left:.1f} and {right:.1f} mm are free at its ends, {asked:.1f} mm are asked")


def _no_room(piece: Piece, text: str, why: str) -> LabelerError:
    fix = "leave --numbered out: the reprint is recorded all the same"
    return LabelerError(Problem(Where(piece.marker), f"{piece.label}: there is no room for {text}: {why}", fix))


def _taken(face: Face) -> Iterator[Area]:
    """Yield what is printed already, with all its copies."""
    for run in face.runs:
        left, low, right, high = _area(run)
        yield from ((left, low - down, right, high - down) for down in _steps_down(face))
    for box in face.boxes:
        yield box.x_mm, box.y_mm, box.x_mm + box.width_mm, box.y_mm + box.height_mm
    if face.symbol is not None:
        yield from _codes(face.symbol)


def _steps_down(face: Face) -> tuple[float, ...]:
    """Return by how much each copy of the text lies lower than the first."""
    return tuple(copy * face.copy_pitch_mm for copy in range(face.copies))


def _codes(symbol: Symbol) -> Iterator[Area]:
    """Yield every copy of a code with its quiet zone: of bars that lies at both ends."""
    known = SYMBOLOGIES.get(symbol.kind)
    quiet = known.quiet if known else max(each.quiet for each in SYMBOLOGIES.values())
    beside = quiet * symbol.module_x_mm
    above = quiet * symbol.module_y_mm if len(symbol.rows) > 1 else 0.0
    wide, high = len(symbol.rows[0]) * symbol.module_x_mm, len(symbol.rows) * symbol.module_y_mm
    for x, y in symbol.corners():
        yield x - beside, y - above, x + wide + beside, y + high + above


def _area(run: Run) -> Area:
    font = load_font(run.font)
    high, low = (side(run.text) * run.size_mm * run.stretch for side in (font.above, font.below))
    return run.x_mm, run.y_mm - low, run.x_mm + font.width(run.text) * run.size_mm, run.y_mm + high


def _meet(a: Area, b: Area) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


# ---------------------------------------------------------------- reprinting


def reprint(record: Record, items: Sequence[Recorded], how: Reprint) -> tuple[Printed, ...]:
    """Print recorded markers again, from the record alone; units that share sheets are jobs of one run.

    They go to the stock they were on, or to the one that is named, or with ``same_cells`` to the very cells
    they were in. A work list goes with each unit. Raises `LabelerError`.
    """
    from labeler.record.values import JobAbout

    output = replace(how.output, dpi=how.output.printer.dpi or default_settings().printer_dpi)
    refuse(folder_problems(output.folder))
    drawn = _drawn(items)
    listed = [item for item in items if item.face is not None or item.state == "plain"]  # plain ones are only cut
    refuse(_not_reprinted(drawn))
    stocks = {item.stock.name: item.stock for item in drawn if item.stock}
    other = _other_stock(how.loading.stocks[0], drawn) if how.loading.stocks else None
    places = places_of(how.loading, record, {other.name: other} if other else stocks)
    laid_out = _same_sheets(record, drawn) if how.same_cells else _new_sheets(drawn, other, stocks, places)
    units = [_new_reprint(mine, on, how.numbered) for mine, on in zip(_by_unit(drawn), laid_out, strict=True)]
    sheets = merged_sheets(unit.sheets for unit in units)
    notes = notes_on_sheets(how.loading, output, sheets)
    refuse(output.problems(sheets))
    about = JobAbout(
        who=how.user,
        version=version(),
        reason=how.reason,
        date=how.date,
        paper=how.loading.paper,
        printer=printer_text(output.printer),
        output=output_text(output),
    )
    fonts = _fonts_at_hand(sheets)
    printed = carry_out(
        record,
        [_run_unit(_of_unit(listed, unit.items), unit.sheets) for unit in units],
        lambda left: record.prepare_reprints(units, fonts, about, left),
        None if how.same_cells else places,
        output,
        how.user,
    )
    return tuple(replace(one, notes=notes) for one in printed)


def _by_unit(items: Sequence[Recorded]) -> list[list[Recorded]]:
    """Return the markers unit by unit, in the order in which the units come."""
    units: dict[tuple[str, str, str], list[Recorded]] = {}
    for item in items:
        units.setdefault((item.part_number, "" if item.part_number else item.harness, item.unit), []).append(item)
    return list(units.values())


def _of_unit(listed: Sequence[Recorded], items: Sequence[Recorded]) -> list[Recorded]:
    """Return what the work list of the items' unit says: with its sleeves that are only cut."""
    first = items[0]
    return [x for x in listed if (x.part_number, x.harness, x.unit) == (first.part_number, first.harness, first.unit)]


def _new_reprint(items: Sequence[Recorded], sheets: Sequence[Sheet], with_numbers: bool) -> NewReprint:
    """Return what is printed again of one unit, with the numbers of its reprints where they are asked for."""
    from labeler.record.faces import canonical_sheet
    from labeler.record.values import NewReprint

    numbers = {item.row.id: item.printed for item in items} if with_numbers else {}
    if numbers:
        sheets = tuple(map(canonical_sheet, (_with_numbers(sheet, numbers) for sheet in sheets)))
    return NewReprint(items, sheets, numbers)


def _other_stock(name: str, items: Sequence[Recorded]) -> Stock:
    """Return another stock than the first time; raises `LabelerError` where it does not serve."""
    other = load_catalogue().stock(name, Where("--stock"))
    refuse(_stock_problems(items, other))
    return other


def _new_sheets(
    items: Sequence[Recorded], other: Stock | None, stocks: Mapping[str, Stock], places: Places
) -> list[tuple[Sheet, ...]]:
    """Return markers laid out on the stocks they were on, or on another one; for each unit its own of the sheets."""
    per_unit = [[item.piece() for item in mine] for mine in _by_unit(items)]
    if other:
        per_unit = [[replace(piece, stock=other.name) for piece in pieces] for pieces in per_unit]
        stocks = {other.name: other}
    return unit_sheets(places.lay_out([piece for pieces in per_unit for piece in pieces], stocks), per_unit)


def _drawn(items: Sequence[Recorded]) -> list[Recorded]:
    """Return the markers that were printed; raises `LabelerError` where none was."""
    drawn = [item for item in items if item.face is not None]
    if not drawn:
        refuse(only_cut(items))
        states = sorted({item.state for item in items})
        why = f"nothing to print: {', '.join(states) or 'no marker'}"
        fix = "see labeler record show"
        if "left out" in states:
            fix = "mend the file under a new revision, and print what that changes: labeler print FILE --changed-since"
        raise LabelerError(Problem(Where("reprint"), why, fix))
    return drawn


def _run_unit(items: Sequence[Recorded], sheets: Sequence[Sheet], take_off: Sequence[Remark] = ()) -> RunUnit:
    """Return a unit of a run as the record has it, with a work list for it."""
    from labeler.draw.bench import draw_bench_sheet

    def work(job: Job) -> bytes:
        listed = replace(work_list(job, items, sheets), take_off=tuple(take_off))
        return draw_bench_sheet(listed, job.paper or "A4")

    first = items[0]
    return RunUnit(UnitName(first.part_number or first.harness, first.unit), tuple(sheets), work)


def resume(
    record: Record, job_id: int, folder: Path | None = None, *, force: bool = False, user: str = ""
) -> tuple[Printed, ...]:
    """Finish a job that was broken off, with all that was printed together with it, from the record alone.

    The sheets are drawn again as they were, those of several units as one; their jobs are confirmed together.
    They go to the folder that they were on their way to, or to another one; files there that are
    already as they are to be stay. The bench sheet of a print is drawn without pins: the record does not
    keep them. Nothing is sent to a printer: what was to be is told in ``notes``. Raises `LabelerError`
    where the job is not prepared, a font has changed, or a file cannot be written; the jobs stay prepared then.
    """
    from labeler.record.values import changed_fonts

    job = record.show(job_id).jobs[0]
    if job.state != "prepared":
        fix = "reprint what is missing" if job.state == "printed" else "print the unit, or what is missing, anew"
        raise LabelerError(Problem(Where(f"job {job_id}"), f"there is nothing to resume: it is {job.state}", fix))
    out = _output_of(record, job, folder, force)
    refuse(folder_problems(out.folder))
    run = [one for one in record.run(job_id) if one.state != "withdrawn"]
    items = [record.show(one.id).markers for one in run]
    per_job = [record.sheets(one.id) for one in run]
    sheets = merged_sheets(per_job)
    refuse(changed_fonts([item for mine in items for item in mine], _fonts_at_hand(sheets)))
    refuse(printer_problems(out.printer, sheets))
    off = _take_off(record, job, items[0])
    units = [_run_unit(mine, on, off) for mine, on in zip(items, per_job, strict=True)]
    drawing = drawing_of(units, run, replace(out, send={}))
    prepared = [one for one in run if one.state == "prepared"]
    done, files = hand_over(record, lambda: prepared, lambda _: drawing, who=user, again=True)
    notes, left = tuple(_to_send(drawing, out)), record.used_by(run[-1].id)
    on = {one.id: on for one, on in zip(run, per_job, strict=True)}
    return tuple(Printed(one, files, on[one.id], notes=notes, left=left) for one in done)


def _output_of(record: Record, job: Job, folder: Path | None, force: bool) -> Output:
    """Return where a job was on its way to, and in which form."""
    drawn = next((Path(name).parent for name in record.digests(job.id)), None)
    kept = output_from_text(job.output, folder or drawn)
    dpi = kept.dpi or default_settings().printer_dpi
    return replace(kept, force=force, printer=printer_from_text(job.printer), dpi=dpi)


def _to_send(drawing: Drawing, out: Output) -> Iterator[Problem]:
    """Yield what was to be sent to a printer: whether it was, nobody can know."""
    for part in drawing.parts:
        queue = out.queue(part.stock)
        if queue:
            what = f"it was to be sent to {queue}, and was not sent now"
            yield Problem(Where(str(part.path)), what, "see whether it has come out; if not, send it by hand")


def _take_off(record: Record, job: Job, made: Sequence[Recorded]) -> tuple[Remark, ...]:
    """Return what a job of a newer revision takes off its unit, for the list."""
    off = set(record.taken_off_by(job.id))
    if not off:
        return ()
    unit = f"{job.part_number or job.harness} {job.unit}"
    old = [item.row for item in record.find("", unit=unit) if item.row.id in off]
    return tuple(remark(one) for one in compare(old, [item.row for item in made]) if one.old)


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
    for key in KINDS[other.takes].measures:
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


def _same_sheets(record: Record, items: Sequence[Recorded]) -> list[tuple[Sheet, ...]]:
    """Return the sheet that the markers were on, each in its own cell; for each unit its own part of it."""
    found: list[tuple[Sheet, ...]] = []
    for mine in _by_unit(items):
        first, wanted = mine[0], {item.row.id for item in mine}
        whole = next(sheet for sheet in record.sheets(first.job) if sheet.number == first.sheet)
        placed = tuple(p for p in whole.placed if p.piece.marker in wanted)
        cut = whole.about if len(placed) == len(whole.placed) and whole.stock.kind != "reel" else ""
        found.append((replace(whole, placed=placed, about=cut),))
    return found


def _fonts_at_hand(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digests of the fonts that are here; one that cannot be loaded is left out."""
    from labeler.text import load_font

    found = {}
    for name in {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}:
        with suppress(LabelerError):
            found[name] = load_font(name).digest
    return found
