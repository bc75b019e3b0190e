"""Print: lay out, record, draw, hand over; all of a unit, or of several, or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.errors import LabelerError, refuse
from labeler.job.check import Checked, check, no_collecting
from labeler.job.deliver import Drawing, Names, Output, folder_problems, hand_over, output_text, untracked
from labeler.job.fitting import code_problems, fit_markers
from labeler.job.run import (
    Places,
    Printed,
    bench_pdf,
    font_digests,
    for_printer,
    misfit_problem,
    notes_on_feeding,
    notes_on_stocks,
    notes_on_tags,
    own,
    partly_used,
    pieces_of,
    printer_text,
    together,
    version,
    with_dots,
)
from labeler.job.work_list import kept_rows
from labeler.model import DOES_NOT_FIT, Fit, Piece, Sheet
from labeler.read.import_report import AS_IT_STANDS, Wanted
from labeler.tables.catalogue import load_catalogue
from labeler.tables.printers import AS_DRAWN, Printer

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job, NewJob


@dataclass(frozen=True, slots=True)
class _Unit:
    """One unit of a run: its serial, what is printed for it, and what is not."""

    serial: str
    fits: tuple[Fit, ...]
    left_out: tuple[Fit, ...]
    sheets: tuple[Sheet, ...] = ()


def print_harness(file: str, folder: Path, record: Record, *, unit: str | None = None, **how: object) -> Printed:
    """Print the whole set of one unit; see `print_units`."""
    return print_units(file, folder, record, units=(unit,), **how)[0]  # type: ignore[arg-type]


@no_collecting()
def print_units(
    file: str,
    folder: Path,
    record: Record,
    *,
    units: Sequence[str | None] = (None,),
    later: Sequence[str | None] = (),
    grouped: bool = False,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    start: Mapping[str, str] | None = None,
    used: Mapping[str, Sequence[str]] | None = None,
    go_on: bool = False,
    only: Sequence[str] = (),
    leave_out: bool = False,
    who: str = "",
    date: str = "",
    printer: Printer = AS_DRAWN,
    out: Output | None = None,
    force: bool = False,
    wanted: Wanted = AS_IT_STANDS,
    bench: str = "full",
) -> tuple[Printed, ...]:
    """Print the whole set (or some roles ``only``) of one or several units, recorded before the sheets are handed over.

    Nothing is printed, and nothing recorded, while a marker does not fit; with ``leave_out`` the
    others are printed and the missing ones stand on the bench sheet and in the record.

    Parameters
    ----------
    units : the serials, None for the next one. Several share their sheets: every stock and tube is
        loaded once, in it come all markers of the first unit, then of the next.
    later : the units that are printed next, with sheets of their own: what can be known to stop them
        stops this print too.
    grouped : marker by marker instead: the first marker of every unit, then the second.
    start, used : where the first sheet of a stock begins; with ``go_on`` on the sheet that the
        record knows to be partly used, where neither is given.
    printer : gives the dots, refuses what it must not be fed, and corrects lengths.
    out : pictures, and printers to send to; ``folder``, ``force`` and ``printer`` hold in any case.
    wanted : what was chosen where the file leaves something open.
    bench : ``full``, or ``short``: the bench sheet without its pages of branches.

    Raises `LabelerError` with all problems at once.
    """
    from labeler.record.write import serial_problems

    refuse(folder_problems(folder))
    named = [serial for serial in (*units, *later) if serial is not None]
    refuse(problem for serial in named for problem in serial_problems(serial.strip()))
    out = replace(out or Output(folder), folder=folder, force=force, printer=printer)
    settings = for_printer(settings or {}, printer)
    first = units[0] or record.serial_to_come
    checked = check(
        file,
        settings=settings,
        paper=paper,
        stock=stock,
        unit=first,
        only=only,
        track=out.track,
        date=date,
        wanted=wanted,
    )
    if checked.misfits and not leave_out:
        raise LabelerError(*map(misfit_problem, checked.misfits))
    known = partly_used(record, checked.stocks.by_name(), {**(start or {}), **(used or {})}) if go_on else {}
    places = Places(start or {}, {**known, **(used or {})})
    names = Names(folder, checked.harness)
    run = _Run(record, checked, places, with_dots(out, checked), names, grouped, paper, date, bench == "short")
    fitting = tuple(fit for fit in checked.fits if fit.verdict != DOES_NOT_FIT)
    trial = run.laid_out([_Unit("", fitting, ()) for _ in units])  # fails before a serial is given
    sheets = together(unit.sheets for unit in trial)
    notes = notes_on_stocks(places.start, used or {}, out.send, sheets)
    notes += notes_on_feeding(printer, sheets)
    run = replace(run, checked=replace(checked, notes=(*checked.notes, *notes_on_tags(fitting), *notes)))
    run.look_ahead(trial, units, later)
    return run.print(run.numbered(units, leave_out), trial, who)


@dataclass(frozen=True, slots=True)
class _Run:
    """One run: the checked harness, and what the units of it share."""

    record: Record
    checked: Checked
    places: Places
    out: Output
    names: Names
    grouped: bool
    paper: str
    date: str
    short: bool  # the bench sheet without its pages of branches

    def laid_out(self, units: Sequence[_Unit]) -> list[_Unit]:
        """Return the units with their sheets, which they share where there are several."""
        from labeler.layout.place import lay_out

        stocks = self.checked.stocks.by_name()
        per_unit = [pieces_of(unit.fits, self.checked.stocks) for unit in units]
        pieces = _marker_by_marker(per_unit) if self.grouped else [p for pieces in per_unit for p in pieces]
        sheets = lay_out(pieces, stocks, self.places.start, used=self.places.used)
        if len(units) == 1:
            return [replace(units[0], sheets=sheets)]
        owners = [{id(piece) for piece in pieces} for pieces in per_unit]
        return [
            replace(unit, sheets=own(sheets, pieces, first=unit is units[0]))
            for unit, pieces in zip(units, owners, strict=True)
        ]

    def look_ahead(self, trial: Sequence[_Unit], units: Sequence[str | None], later: Sequence[str | None]) -> None:
        """Refuse what would fail: a printer that must not be fed this, units that are printed, files that exist.

        Of the units that come ``later``, with sheets of their own, as much as can be known now.
        """
        from labeler.files import refused_target

        sheets = together(unit.sheets for unit in trial)
        refuse(self.out.problems(sheets))
        checked = self.checked
        refuse(self.record.serial_clashes(checked.harness, [s for s in (*units, *later) if s is not None]))
        serials = self._expected((*units, *later))
        refuse(p for s in serials if s != checked.unit for p in code_problems(checked.of_unit, checked.harness, s))
        own = replace(self, places=Places({}, {})).laid_out(trial) if later else []
        drawings = (
            self.drawing([replace(unit, serial=s) for unit, s in zip(trial, serials, strict=False)], sheets, ()),
            *(self.drawing([replace(own[0], serial=s)], own[0].sheets, ()) for s in serials[len(units) :]),
        )
        paths = (path for drawing in drawings for path in drawing.paths())
        refuse(problem for path in paths for problem in refused_target(path, self.out.force))

    def _expected(self, units: Sequence[str | None]) -> list[str]:
        """Return the serials that the units would be given now."""
        next_one = self.record.serial_to_come(self.checked.harness) if None in units else ""
        given: list[str] = []
        for unit in units:
            given.append(unit if unit is not None else next_one)
            if unit is None and next_one.isdecimal():
                next_one = f"{int(next_one) + 1:0{len(next_one)}d}"
        return given

    def numbered(self, units: Sequence[str | None], leave_out: bool) -> list[_Unit]:
        """Return the units with their serials, each with the markers that name it fitted anew."""
        made = []
        for unit in self.out.track(units, "units"):
            serial = self.record.reserve_serial(self.checked.harness, unit)
            fits = _with_serial(self.checked, serial, self.date)
            missing = tuple(fit for fit in fits if fit.verdict == DOES_NOT_FIT)
            if missing and not leave_out:
                raise LabelerError(*map(misfit_problem, missing))
            made.append(_Unit(serial, tuple(fit for fit in fits if fit.verdict != DOES_NOT_FIT), missing))
        return made

    def print(self, units: list[_Unit], trial: list[_Unit], who: str) -> tuple[Printed, ...]:
        """Lay out, record as prepared, hand over; the jobs are confirmed together."""
        from labeler.layout.place import used_after
        from labeler.record.faces import canonical_sheet

        same = all(unit.fits == old.fits for unit, old in zip(units, trial, strict=True))
        placed = trial if same else self.laid_out(units)
        done = [
            replace(unit, sheets=tuple(map(canonical_sheet, on.sheets))) for unit, on in zip(units, placed, strict=True)
        ]
        sheets = together(unit.sheets for unit in done)
        left = used_after(sheets, self.places.taken({sheet.stock.name: sheet.stock for sheet in sheets}))
        begun = self.places.begun(sheets)
        jobs, files = hand_over(
            self.record,
            lambda: self.record.prepare_run([self._new_job(unit, who) for unit in done], left),
            lambda jobs: self.drawing(done, sheets, jobs),
            who=who,
        )
        return tuple(
            Printed(job, files, unit.sheets, unit.fits, unit.left_out, self.checked.notes, left, begun)
            for job, unit in zip(jobs, done, strict=True)
        )

    def drawing(self, units: Sequence[_Unit], sheets: Sequence[Sheet], jobs: Sequence[Job]) -> Drawing:
        """Return the files of the units: a bench sheet for each, and the sheets they share; no jobs: a trial."""
        beside = {
            self.names.bench_sheet(unit.serial): partial(self._bench, unit, job)
            for unit, job in zip_longest(units, jobs)
        }
        parts = self.names.parts([unit.serial for unit in units], sheets)
        return Drawing(self.checked.harness, tuple(jobs), parts, self.out, beside)

    def _new_job(self, unit: _Unit, who: str) -> NewJob:
        from labeler.record.values import NewJob, OmittedMarker, marker_row

        harness = self.checked.harness
        return NewJob(
            harness,
            unit.sheets,
            {row.id: row for row in kept_rows(harness, unit.fits)},
            tuple(OmittedMarker(marker_row(fit), "; ".join(fit.reasons)) for fit in unit.left_out),
            font_digests(unit.sheets),
            unit.serial,
            who,
            version(),
            date=self.date,
            paper=self.paper,
            printer=printer_text(self.out.printer),
            output=output_text(self.out),
        )

    def _bench(self, unit: _Unit, job: Job) -> bytes:
        short = self.short
        return bench_pdf(self.checked.harness, job, unit.fits, unit.left_out, unit.sheets, self.paper, short=short)


def _marker_by_marker(per_unit: Sequence[Sequence[Piece]]) -> list[Piece]:
    together: dict[str, list[Piece]] = {}
    for pieces in per_unit:
        for piece in pieces:
            together.setdefault(piece.marker, []).append(piece)
    return [piece for same in together.values() for piece in same]


def _with_serial(checked: Checked, serial: str, date: str) -> tuple[Fit, ...]:
    """Return the fits with the markers that name the unit written for this one."""
    if serial == checked.unit or not checked.of_unit:
        return checked.fits
    catalogue = load_catalogue()
    anew = {marker.id for marker in checked.of_unit}
    stand = [fit for fit in checked.fits if fit.marker.id not in anew]
    fits = fit_markers(checked.harness, checked.of_unit, catalogue, checked.stocks, serial, untracked, date, stand)
    written = {fit.marker.id: fit for fit in fits}
    known = {fit.marker.id for fit in checked.fits}
    kept = (fit for fit in checked.fits if fit.marker.id in written or fit.marker.id not in anew)
    second = (fit for fit in fits if fit.marker.id not in known)  # a longer serial may ask for a second tag
    return (*(written.get(fit.marker.id, fit) for fit in kept), *second)
