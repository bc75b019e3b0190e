"""Reprint: recorded markers again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from io import BytesIO
from math import floor
from pathlib import Path
from typing import TYPE_CHECKING, Any

from labeler.codes.symbols import QUIET_ZONE_MODULES
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.job.deliver import Drawing, Names, Output, folder_problems, hand_over, output_from_text, output_text
from labeler.job.revising import compare, remark
from labeler.job.run import (
    Places,
    Printed,
    notes_on_feeding,
    notes_on_stocks,
    own,
    partly_used,
    printer_from_text,
    printer_text,
    together,
    version,
)
from labeler.job.work_list import only_cut, work_list
from labeler.model import Face, Harness, Piece, Run, Sheet, Stock, Symbol
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.tables.printers import AS_DRAWN, Printer, printer_problems
from labeler.text import load_font

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job, NewReprint, Recorded
    from labeler.record.write import JobAbout
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
    quiet = QUIET_ZONE_MODULES.get(symbol.kind, max(QUIET_ZONE_MODULES.values()))
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


def reprint(record: Record, items: Sequence[Recorded], folder: Path, **how: Any) -> Printed:
    """Print recorded markers of one unit again; see `reprint_units`. Raises `LabelerError` for several units."""
    units = _by_unit(items)
    if len(units) > 1:
        names = ", ".join(f"{each[0].part_number or each[0].harness} {each[0].unit}" for each in units)
        raise LabelerError(
            Problem(Where("reprint"), f"these markers are of several units: {names}", "name one of them")
        )
    return reprint_units(record, items, folder, **how)[0]


def reprint_units(
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
) -> tuple[Printed, ...]:
    """Print recorded markers again, from the record alone; units that share sheets are jobs of one run.

    They go to the stock they were on, or to ``stock``, from the cell ``start`` on (by the stock's
    name), past the cells that are ``used``; with ``same_places`` to the very cells they were in (a
    spoiled sheet); ``with_numbers`` writes R1 or R2 beside their text. A work list goes with each unit.
    Raises `LabelerError`.
    """
    from labeler.layout.place import used_after

    refuse(folder_problems(folder))
    out = replace(out or Output(folder), folder=folder, force=force, printer=printer)
    out = replace(out, dpi=printer.dpi or default_settings().printer_dpi)
    drawn = _drawn(items)
    listed = [item for item in items if item.face is not None or item.state == "plain"]  # plain ones are only cut
    refuse(_not_reprinted(drawn))
    first = {item.stock.name: item.stock for item in drawn if item.stock}
    stocks = {stock: _other_stock(stock, drawn)} if stock else first
    known = partly_used(record, stocks, {**(start or {}), **(used or {})}) if go_on else {}
    places = Places(start or {}, {**known, **(used or {})})
    laid_out = _same_sheets(record, drawn) if same_places else _new_sheets(drawn, stock, stocks, places)
    units = [_unit(mine, on, with_numbers) for mine, on in zip(_by_unit(drawn), laid_out, strict=True)]
    sheets = together(unit.sheets for unit in units)
    notes = notes_on_stocks(places.start, used or {}, out.send, sheets) + notes_on_feeding(printer, sheets)
    refuse(out.problems(sheets))
    left = {} if same_places else used_after(sheets, places.taken(stocks))
    about = _about(reason, who, date, paper, out)
    jobs, files = hand_over(
        record,
        lambda: record.prepare_reprints(units, _fonts_at_hand(sheets), about, left),
        lambda jobs: _drawing(jobs, [_of_unit(listed, unit.items) for unit in units], [u.sheets for u in units], out),
        who=who,
    )
    begun = () if same_places else places.begun(sheets)
    return tuple(
        Printed(job, files, tuple(unit.sheets), notes=notes, left=left, begun=begun)
        for job, unit in zip(jobs, units, strict=True)
    )


def _about(reason: str, who: str, date: str, paper: str, out: Output) -> JobAbout:
    from labeler.record.write import JobAbout

    return JobAbout(who, version(), reason, date, paper, printer_text(out.printer), output_text(out))


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


def _unit(items: Sequence[Recorded], sheets: Sequence[Sheet], with_numbers: bool) -> NewReprint:
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
    items: Sequence[Recorded], stock: str, stocks: Mapping[str, Stock], places: Places
) -> list[tuple[Sheet, ...]]:
    """Return markers laid out on the stocks they were on, or on another one; for each unit its own of the sheets."""
    from labeler.layout.place import lay_out

    per_unit = [[item.piece() for item in mine] for mine in _by_unit(items)]
    if stock:
        per_unit = [[replace(piece, stock=stock) for piece in pieces] for pieces in per_unit]
    sheets = lay_out([piece for pieces in per_unit for piece in pieces], stocks, places.start, used=places.used)
    if len(per_unit) == 1:
        return [sheets]
    return [own(sheets, set(map(id, pieces)), first=pieces is per_unit[0]) for pieces in per_unit]


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


def _drawing(
    jobs: Sequence[Job],
    items: Sequence[Sequence[Recorded]],
    sheets: Sequence[Sequence[Sheet]],
    out: Output,
    take_off: Sequence[Remark] = (),
) -> Drawing:
    """Return the files of a run as the record has it, unit by unit, with a work list for each."""
    from labeler.draw.bench import draw_bench_sheet

    first = jobs[0]
    harness = Harness(first.harness, first.part_number, first.revision, settings=default_settings())
    names, word = Names(out.folder, harness), _word(first)

    def work(job: Job, mine: Sequence[Recorded], on: Sequence[Sheet]) -> bytes:
        target = BytesIO()
        listed = replace(work_list(job, mine, on), take_off=tuple(take_off))
        draw_bench_sheet(listed, target, page=job.paper or "A4")
        return target.getvalue()

    beside = {
        names.bench_sheet(job.unit, _word(job)): partial(work, job, mine, on)
        for job, mine, on in zip(jobs, items, sheets, strict=True)
    }
    return Drawing(harness, tuple(jobs), names.parts([job.unit for job in jobs], together(sheets), word), out, beside)


def _word(job: Job) -> str:
    """Return what stands behind the unit in the names of a job's files."""
    return {"reprint": f"-reprint-{job.id}", "revision": f"-changes-{job.id}"}.get(job.kind, "")


def resume(record: Record, job_id: int, folder: Path | None = None, *, force: bool = False, who: str = "") -> Printed:
    """Finish a job that was broken off; see `resume_run`."""
    run = resume_run(record, job_id, folder, force=force, who=who)
    return next(printed for printed in run if printed.job.id == job_id)


def resume_run(
    record: Record, job_id: int, folder: Path | None = None, *, force: bool = False, who: str = ""
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
    sheets = together(per_job)
    refuse(changed_fonts([item for mine in items for item in mine], _fonts_at_hand(sheets)))
    refuse(printer_problems(out.printer, sheets))
    drawing = _drawing(run, items, per_job, replace(out, send={}), _take_off(record, job, items[0]))
    prepared = [one for one in run if one.state == "prepared"]
    done, files = hand_over(record, lambda: prepared, lambda _: drawing, who=who, again=True)
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
    from labeler.work.bench_sheet import Remark

    off = set(record.taken_off_by(job.id))
    if not off:
        return ()
    unit = f"{job.part_number or job.harness} {job.unit}"
    old = [item.row for item in record.find("", unit=unit) if item.row.id in off]
    found = (one for one in compare(old, [item.row for item in made]) if one.old)
    told = map(remark, found)
    return tuple(Remark(place, text, "take off", (why,)) for place, text, why in told)


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
