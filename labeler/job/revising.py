"""Revisions: what differs between two harnesses, printed for a unit that was built, and what must come off it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.job.check import PLACEHOLDER_UNIT, Checked, check
from labeler.job.deliver import folder_problems
from labeler.job.order import HarnessFile, Order
from labeler.job.printing import UnitFits, new_job, run_unit, unit_fits
from labeler.job.run import (
    Printed,
    carry_out,
    misfit_problem,
    notes_on_sheets,
    pieces_of,
    places_of,
    with_dots,
)
from labeler.job.work_list import bare_row
from labeler.readers.import_report import AS_IT_STANDS
from labeler.record.values import MarkerRow, Recorded
from labeler.work.bench_sheet import Remark

if TYPE_CHECKING:
    from labeler.record.store import Record

Key = tuple[str, str, str, str]
TOLD = ("kind", "text", "tube", "colour", "cut_length_mm")
"""What makes a marker another one: the rest (its id, how it is threaded) does not show on the harness."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One place in two harnesses. ``old`` or ``new`` is None where there is no marker."""

    change: str  # added | removed | changed | unchanged
    old: MarkerRow | None
    new: MarkerRow | None
    changed_fields: tuple[str, ...] = ()  # of a changed one: text, tube, cut_length_mm …

    @property
    def row(self) -> MarkerRow:
        """Return the marker that says where it is."""
        row = self.new or self.old
        assert row is not None
        return row


def compare(
    old: Iterable[MarkerRow], new: Iterable[MarkerRow], own: tuple[Sequence[str], Sequence[str]] = ((), ())
) -> tuple[Difference, ...]:
    """Return what became of every marker, in the order of the new ones, those removed last.

    A marker is the same one where its role and place are: ids differ from revision to revision. ``own`` is what
    is merely the unit's on each side, its serial and its dates: a text does not differ by that.
    """
    before, after = ({_key(row): row for row in rows} for rows in (old, new))
    found = [_difference(before.get(key), row, own) for key, row in after.items()]
    return (*found, *(Difference("removed", row, None) for key, row in before.items() if key not in after))


def _key(row: MarkerRow) -> Key:
    return row.role, row.branch if row.role == "branch end" else "", row.place, row.circuit


def _difference(old: MarkerRow | None, new: MarkerRow, own: tuple[Sequence[str], Sequence[str]]) -> Difference:
    if old is None:
        return Difference("added", None, new)
    differ = {name for name in TOLD if getattr(old, name) != getattr(new, name)}
    if not old.colour:  # a version of the program did not record it
        differ.discard("colour")
    if "text" in differ and _without(old.text, own[0]) == _without(new.text, own[1]):
        differ.remove("text")
    return Difference("changed" if differ else "unchanged", old, new, tuple(name for name in TOLD if name in differ))


LONG = 3  # signs: a serial that is shorter may well be a part of a place: project choice


def _without(label: str, own: Iterable[str]) -> str:
    """Return a text without what is the unit's own: whole words, of a short serial only what has blanks around it."""
    for word in own:
        before, after = (r"(?<!\w)", r"(?!\w)") if len(word) >= LONG else (r"(?<!\S)", r"(?!\S)")
        label = re.sub(f"{before}{re.escape(word)}{after}", " ", label, flags=re.IGNORECASE)
    return " ".join(label.split())


# ---------------------------------------------------------------- the two sides


def diff(old: str, new: str, record: Record | None, how: HarnessFile) -> tuple[Difference, ...]:
    """Compare two files, or what the record has of a unit ("0001") or a revision ("RSB-210 B").

    The settings and choices of ``how`` hold for both files; a harness file beside a list or an export leaves
    nothing open, and is read as it stands. What stands for a unit is written for it on the other side too; of two
    units the serials and the dates are no difference. Raises `LabelerError`, also where a serial is that of units
    of several harnesses.
    """
    sides = {name: None if Path(name).exists() or name == "-" else _recorded(name, record) for name in (old, new)}
    serial = next((items[0].unit for items in sides.values() if items), PLACEHOLDER_UNIT)
    files = [name for name, items in sides.items() if items is None]
    open_ones = [name for name in files if not name.casefold().endswith(".toml")] or files
    rows: dict[str, list[MarkerRow]] = {}
    own: dict[str, tuple[str, ...]] = {}
    for name, items in sides.items():
        if items is None:
            file = replace(how, path=name, reading=how.reading if name in open_ones else AS_IT_STANDS)
            rows[name], own[name] = _rows_of(check(file, unit=serial)), (serial,)
        else:
            rows[name], own[name] = [item.row for item in items], _own_words(record, items, serial)
    return compare(rows[old], rows[new], (own[old], own[new]))


def _own_words(record: Record | None, items: Sequence[Recorded], serial: str) -> tuple[str, ...]:
    """Return what is merely the unit's: its serial, and the dates on which it was printed."""
    if record is None or not items:
        return (serial,)
    dates = {job.date for number in {item.job for item in items} for job in record.show(number).jobs}
    return (items[0].unit, *sorted(dates - {""}))


def _rows_of(checked: Checked) -> list[MarkerRow]:
    return [bare_row(fit) for fit in checked.fits]


def _recorded(name: str, record: Record | None) -> tuple[Recorded, ...]:
    """Return what stands on a unit now, or on the last unit of a revision. Raises `LabelerError`."""
    if record is None:
        raise LabelerError(
            Problem(SourceLocation(name), "there is no such file, and no build record", "check the name")
        )
    items = record.find("", unit=name)
    found = standing(items)
    harnesses = sorted({item.part_number or item.harness for item in items})
    if len(harnesses) > 1:
        message = f"units of {len(harnesses)} harnesses have this serial: {', '.join(harnesses)}"
        raise LabelerError(
            Problem(SourceLocation(name), message, f'name one by part number too ("{harnesses[0]} {name}")')
        )
    if found:
        return found
    wanted = " ".join(name.casefold().split())
    for job in reversed(record.jobs()):
        named = {f"{part} {job.revision}".casefold() for part in (job.part_number, job.harness)}
        if wanted in named and job.kind != "reprint" and job.state == "printed":
            return standing(record.find("", unit=f"{job.part_number or job.harness} {job.unit}"), job.revision)
    fix = 'name a file, a unit ("0001"), or part number and revision ("RSB-210 B")'
    raise LabelerError(
        Problem(SourceLocation(name), f"there is no such file, and {record.name} has none of the name", fix)
    )


def standing(items: Iterable[Recorded], revision: str | None = None) -> tuple[Recorded, ...]:
    """Return what is on a unit: at each place the marker that was printed last and is not void."""
    last: dict[Key, Recorded] = {}
    for item in sorted(items, key=lambda item: item.job):
        if item.state in ("printed", "blank", "pending") and revision in (None, item.revision):
            last[_key(item.row)] = item
    return tuple(last.values())


# ---------------------------------------------------------------- printing what has changed


@dataclass(frozen=True, slots=True)
class Revised:
    """What was printed of a new revision; ``printed`` is None where nothing had to be."""

    printed: Printed | None
    take_off: tuple[Difference, ...]
    unchanged: int


def print_changes(order: Order, record: Record) -> Revised:
    """Print for the one unit of an order, built at revision ``since``, what a file of a newer one changes.

    What is replaced or has gone must be taken off: it is declared void when the job is confirmed.
    Raises `LabelerError` with all problems at once.
    """
    refuse(folder_problems(order.output.folder))
    unit, built, found = _changes(order, record)
    if not order.omit_failed:
        refuse(map(misfit_problem, unit.omitted))
    take_off = tuple(one for one in found if one.change in ("changed", "removed"))
    unchanged = sum(one.change == "unchanged" for one in found)
    if not (unit.fits or unit.omitted or take_off):
        return Revised(None, (), unchanged)
    stocks = unit.checked.stocks
    places = places_of(order.loading, record, stocks.by_name())
    (sheets,) = places.lay_out([pieces_of(unit.fits, stocks)], stocks.by_name())
    unit = replace(unit, sheets=sheets)
    output = with_dots(order.output, unit.checked)
    notes = (*unit.checked.notes, *notes_on_sheets(order.loading, output, sheets))
    refuse(output.problems(sheets))
    new = replace(
        new_job(unit, replace(order, output=output), f"changes since revision {order.since}"),
        revises=built.job,
        removed=tuple(one.old.id for one in take_off if one.old),
    )
    run = run_unit(unit, order, tuple(map(remark, take_off)))
    (printed,) = carry_out(record, [run], lambda left: record.prepare_run((new,), left), places, output, order.user)
    return Revised(replace(printed, notes=notes), take_off, unchanged)


def _changes(order: Order, record: Record) -> tuple[UnitFits, Recorded, tuple[Difference, ...]]:
    """Return what is made or left out, a marker of the unit as it was built, and what became of every marker of it.

    The file is checked again with the unit's serial, and with the date of its first print: a tag does not differ
    because another date would stand on it today.
    """
    (asked,) = order.harnesses
    (serial,) = asked.serials
    assert serial is not None
    assert order.since is not None
    checking = partial(check, asked.file.for_printer(order.output.printer), order.loading)
    built = _built(record, checking(), order.since, serial)
    serial, printed = built[0].unit, record.show(built[0].job).jobs[0].date
    checked = checking(unit=serial, date=order.date)
    then = checked if order.date == printed else checking(unit=serial, date=printed)
    found = compare([item.row for item in built], _rows_of(then))
    wanted = {one.row.id for one in found if one.change in ("added", "changed")}
    return unit_fits(checked, serial, (fit for fit in checked.fits if fit.marker.id in wanted)), built[0], found


def remark(one: Difference) -> Remark:
    """Return what must come off, for the bench sheet."""
    assert one.old is not None
    row = one.old
    place = f"{row.kind} {row.branch} at {row.place}" if row.role == "branch end" else f"{row.kind} {row.place}"
    text = row.text if row.role != "bag" else ""  # all of a tag's text would be a page
    return Remark(place, text, "take off", ("it is replaced" if one.new else "the new revision has none here",))


def _built(record: Record, checked: Checked, since: str, unit: str) -> tuple[Recorded, ...]:
    """Return what stands on the unit at the older revision. Raises `LabelerError` where it is not that."""
    harness = checked.harness
    name = harness.part_number or harness.name

    def refused(message: str, fix: str) -> LabelerError:
        return LabelerError(Problem(SourceLocation(f"unit {unit}"), message, fix))

    if since == harness.revision:
        raise refused(f"the file is of revision {since or 'none'} itself", "give the revision that was built")
    items = record.find("", unit=unit, harness=name)
    built = standing(items, since)
    if not items:
        raise refused(f"nothing of {name} was printed for it", "see labeler record list, or print the unit")
    if not built:
        known = ", ".join(sorted({item.revision or "none" for item in items}))
        message = f"nothing of {name} was printed for it at revision {since or 'none'}, but {known}"
        raise refused(message, "name the revision that was built (--changed-since)")
    serials = sorted({item.unit for item in built})
    if len(serials) > 1:
        raise refused(f"it names several units: {', '.join(serials)}", "name one by its whole serial")
    newer = [item for item in standing(items) if item.revision != since and item.revision == harness.revision]
    if newer:
        message = f"it was brought to revision {harness.revision} by job {newer[0].job}"
        raise refused(message, "reprint what is missing")
    return built
