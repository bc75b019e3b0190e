"""Print: check, fit for each unit, lay out, record, draw, hand over; all of a run, or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from labeler.draw.bench import draw_bench_sheet
from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.files import refused_target
from labeler.job.check import Checked, check, no_collecting, order_of
from labeler.job.deliver import UnitName, folder_problems
from labeler.job.fitting import code_problems, fit_markers
from labeler.job.order import SHARED, Order
from labeler.job.run import (
    Places,
    Printed,
    RunUnit,
    carry_out,
    drawing_of,
    font_digests,
    job_about,
    merged_sheets,
    misfit_problem,
    notes_on_sheets,
    notes_on_tags,
    pieces_of,
    places_of,
    with_dots,
)
from labeler.job.work_list import about_job, bare_row, kept_rows
from labeler.model import FAIL, Fit, Harness, Sheet
from labeler.record.values import Job, NewJob, OmittedMarker
from labeler.wording import sentences
from labeler.work.bench_sheet import Remark, bench_sheet

if TYPE_CHECKING:
    from labeler.record.store import Record


@dataclass(frozen=True, slots=True)
class UnitFits:
    """One unit of an order: its harness, its serial (None: the next one), and what is printed for it or left out."""

    checked: Checked
    serial: str | None
    fits: tuple[Fit, ...]
    omitted: tuple[Fit, ...] = ()
    sheets: tuple[Sheet, ...] = ()

    @property
    def name(self) -> UnitName:
        """Return what files call the unit."""
        harness = self.checked.harness
        return UnitName(harness.part_number or harness.name, self.serial or "")


def unit_fits(checked: Checked, serial: str | None, fits: Iterable[Fit]) -> UnitFits:
    """Return a unit with what fits of it, and what does not."""
    fits = tuple(fits)
    omitted = tuple(fit for fit in fits if fit.result == FAIL)
    return UnitFits(checked, serial, tuple(fit for fit in fits if fit.result != FAIL), omitted)


def print_order(order: Order, record: Record) -> Iterator[tuple[Printed, ...]]:
    """Print an order, recorded before the sheets are handed over: a run for each unit, or one where they share sheets.

    Nothing is printed, and nothing recorded, while a marker does not fit; with ``omit_failed`` the
    others are printed and the missing ones stand on the bench sheet and in the record. What can be known to
    stop a later run stops the first. The notes of all are with the first job.

    Raises `LabelerError` with all problems at once.
    """
    with no_collecting():
        order, checked = _checked(order, record)
        units = [
            unit_fits(one, serial, one.fits)
            for one, asked in zip(checked, order.harnesses, strict=True)
            for serial in asked.serials
        ]
        runs = [units] if order.sharing else [[unit] for unit in units]
        places = places_of(order.loading, record, checked[0].stocks.by_name())
        trial = _laid_out(runs[0], places, order)  # fails before a serial is given
        sheets = merged_sheets(unit.sheets for unit in trial)
        notes = (
            *(note for one in checked for note in one.notes),
            *notes_on_tags(f for one in checked for f in one.fits),
        )
        notes += notes_on_sheets(order.loading, order.output, sheets)
        _look_ahead(order, record, trial, runs[1:])
    for run in runs:
        with no_collecting():
            printed = _print_run(order, record, run, places, trial)
        yield (replace(printed[0], notes=notes), *printed[1:])
        places, notes, trial = Places({}, {}), (), []  # every further run begins on new sheets


def _checked(order: Order, record: Record) -> tuple[Order, tuple[Checked, ...]]:
    """Return the answers for every harness file, and the order with the dots that pictures have.

    Raises `LabelerError` where something does not fit and shall not be left out, or a serial or the folder cannot be.
    """
    from labeler.record.write import serial_problems

    refuse(folder_problems(order.output.folder))
    named = [serial for units in order.harnesses for serial in units.serials if serial is not None]
    refuse(problem for serial in named for problem in serial_problems(serial.strip()))
    checked = tuple(
        check(
            units.file.for_printer(order.output.printer),
            order.loading,
            unit=units.serials[0] or record.serial_to_come,
            only=order.roles,
            track=order.output.track,
            date=order.date,
        )
        for units in order.harnesses
    )
    if not order.omit_failed:
        refuse(misfit_problem(fit) for one in checked for fit in one.misfits)
    outputs = {output.dpi: output for output in (with_dots(order.output, one) for one in checked)}
    if len(outputs) > 1 and order.output.png:
        found = " and ".join(f"{dpi:g}" for dpi in outputs)
        fix = "name a printer whose profile has its dpi (--printer)"
        raise LabelerError(Problem(SourceLocation("--png"), f"the harness files are for printers of {found} dpi", fix))
    return replace(order, output=next(iter(outputs.values()))), checked


def _laid_out(units: Sequence[UnitFits], places: Places, order: Order) -> list[UnitFits]:
    """Return the units with their sheets, which they share where there are several."""
    stocks = {name: stock for unit in units for name, stock in unit.checked.stocks.by_name().items()}
    pieces = [pieces_of(unit.fits, unit.checked.stocks) for unit in units]
    sheets = places.lay_out(pieces, stocks, order.sharing == SHARED[1])
    return [replace(unit, sheets=own) for unit, own in zip(units, sheets, strict=True)]


def _look_ahead(order: Order, record: Record, trial: Sequence[UnitFits], later: Sequence[Sequence[UnitFits]]) -> None:
    """Refuse what would fail: a printer that must not be fed this, units that are printed, files that exist.

    Of the runs that come later, with sheets of their own, as much as can be known now.
    """
    refuse(order.output.problems(merged_sheets(unit.sheets for unit in trial)))
    units = [*trial, *(unit for run in later for unit in run)]
    by_harness: dict[int, list[UnitFits]] = {}
    for unit in units:
        by_harness.setdefault(id(unit.checked), []).append(unit)
    named: list[UnitFits] = []
    for same in by_harness.values():
        checked = same[0].checked
        refuse(record.serial_clashes(checked.harness, [unit.serial for unit in same if unit.serial is not None]))
        serials = _expected(checked.harness, [unit.serial for unit in same], record)
        refuse(p for s in serials if s != checked.unit for p in code_problems(checked.of_unit, checked.harness, s))
        alone = _laid_out(same[:1], Places({}, {}), order)[0].sheets if later else ()
        own = [unit.sheets or alone for unit in same]
        named += [replace(u, serial=s, sheets=on) for u, s, on in zip(same, serials, own, strict=True)]
    runs = [named[: len(trial)], *([unit] for unit in named[len(trial) :])]
    for run in runs:
        paths = drawing_of([run_unit(unit, order) for unit in run], (), order.output).paths()
        refuse(problem for path in paths for problem in refused_target(path, order.output.force))


def _expected(harness: Harness, serials: Sequence[str | None], record: Record) -> list[str]:
    """Return the serials that units would be given now."""
    next_one = record.serial_to_come(harness) if None in serials else ""
    given: list[str] = []
    for serial in serials:
        given.append(serial if serial is not None else next_one)
        if serial is None and next_one.isdecimal():
            next_one = f"{int(next_one) + 1:0{len(next_one)}d}"
    return given


def _print_run(
    order: Order, record: Record, run: Sequence[UnitFits], places: Places, trial: Sequence[UnitFits]
) -> tuple[Printed, ...]:
    """Print the units that share sheets: give them serials, lay them out unless the trial's sheets hold, hand over."""
    units = [_numbered(unit, order, record) for unit in order.output.track(run, "units")]
    same = [unit.fits for unit in units] == [unit.fits for unit in trial]
    placed = trial if same else _laid_out(units, places, order)
    units = [replace(unit, sheets=on.sheets) for unit, on in zip(units, placed, strict=True)]
    return carry_out(
        record,
        [run_unit(unit, order) for unit in units],
        lambda left: record.prepare_run([new_job(unit, order) for unit in units], left),
        places,
        order.output,
        order.user,
    )


def _numbered(unit: UnitFits, order: Order, record: Record) -> UnitFits:
    """Return a unit with its serial, and the markers that name it fitted anew."""
    serial = record.reserve_serial(unit.checked.harness, unit.serial)
    unit = unit_fits(unit.checked, serial, _with_serial(unit.checked, serial, order.date))
    if not order.omit_failed:
        refuse(map(misfit_problem, unit.omitted))
    return unit


def _with_serial(checked: Checked, serial: str, date: str) -> tuple[Fit, ...]:
    """Return the fits with the markers that name the unit written for this one."""
    if serial == checked.unit or not checked.of_unit:
        return checked.fits
    anew = {marker.id for marker in checked.of_unit}
    stand = [fit for fit in checked.fits if fit.marker.id not in anew]
    fits = fit_markers(checked.sizing, checked.of_unit, checked.stocks, serial, date=date, beside=stand)
    written = {fit.marker.id: fit for fit in fits}
    known = {fit.marker.id for fit in checked.fits}
    kept = (fit for fit in checked.fits if fit.marker.id in written or fit.marker.id not in anew)
    second = (fit for fit in fits if fit.marker.id not in known)  # a longer serial may ask for a second tag
    return (*(written.get(fit.marker.id, fit) for fit in kept), *second)


def run_unit(unit: UnitFits, order: Order, take_off: tuple[Remark, ...] = ()) -> RunUnit:
    """Return a unit as `carry_out` takes it, with its bench sheet; see `bench_pdf`."""
    draw = partial(bench_pdf, unit, order, take_off)
    return RunUnit(unit.name, unit.sheets, draw, unit.fits, unit.omitted)


def new_job(unit: UnitFits, order: Order, reason: str = "") -> NewJob:
    """Return what the record is told of a unit: its markers, its sheets, what is left out, the fonts, who and how."""
    harness = unit.checked.harness
    return NewJob(
        harness,
        unit.sheets,
        {row.id: row for row in kept_rows(harness, unit.fits)},
        tuple(OmittedMarker(bare_row(fit), "; ".join(sentences(fit.reasons))) for fit in unit.omitted),
        font_digests(unit.sheets),
        unit.serial,
        **asdict(job_about(order, order.output, reason)),
    )


CHANGES = "CHANGES TO A UNIT THAT IS BUILT: a sleeve must pass what is on its end by now, or the end is made anew"


def bench_pdf(unit: UnitFits, order: Order, take_off: tuple[Remark, ...], job: Job) -> bytes:
    """Return the bench sheet of a job, with its pages of branches unless the order is for a short one.

    ``take_off`` is what a new revision takes away from a unit that is built.
    """
    sizing = unit.checked.sizing
    steps = order_of(sizing, (*unit.fits, *unit.omitted))
    built = job.kind == "revision"  # only what has changed is made: no branch is built anew
    steps = tuple(step for step in steps if step.place or not built)
    pages = bool(sizing.index.harness.branches) and not (built or order.short_bench_sheet)
    made = bench_sheet(sizing, unit.fits, unit.omitted, unit.sheets, steps, pages=pages)
    made = replace(made, unit=job.unit, date=job.date, job=str(job.id), about=about_job(job), take_off=take_off)
    if built:
        made = replace(made, title=CHANGES, connectors=(), coverings=())
    return draw_bench_sheet(made, order.loading.paper)
