"""Revisions: what differs between two harnesses, printed for a unit that was built, and what must come off it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.job.check import PLACEHOLDER_UNIT, Checked, check
from labeler.job.deliver import Drawing, Names, Output, folder_problems, hand_over, output_text
from labeler.job.run import (
    Places,
    Printed,
    bench_pdf,
    font_digests,
    for_printer,
    misfit_problem,
    notes_on_feeding,
    notes_on_stocks,
    partly_used,
    pieces_of,
    printer_text,
    version,
    with_dots,
)
from labeler.job.work_list import kept_rows
from labeler.model import DOES_NOT_FIT
from labeler.read.import_report import AS_IT_STANDS, Wanted
from labeler.tables.printers import AS_DRAWN, Printer

if TYPE_CHECKING:
    from labeler.model import Fit, Sheet
    from labeler.record.store import Record
    from labeler.record.values import Job, MarkerRow, NewJob, Recorded


Key = tuple[str, str, str, str]
TOLD = ("kind", "label", "tube", "colour", "cut_length_mm")
"""What makes a marker another one: the rest (its id, how it is threaded) does not show on the harness."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One place in two harnesses. ``old`` or ``new`` is None where there is no marker."""

    what: str  # added | removed | changed | unchanged
    old: MarkerRow | None
    new: MarkerRow | None
    fields: tuple[str, ...] = ()  # of a changed one: text, tube, cut length …

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
    return row.role, row.branch if row.role == "branch end" else "", row.at, row.circuit


def _difference(
    old: MarkerRow | None, new: MarkerRow, own: tuple[Sequence[str], Sequence[str]] = ((), ())
) -> Difference:
    if old is None:
        return Difference("added", None, new)
    differ = [name for name in TOLD if getattr(old, name) != getattr(new, name) and not _unknown(old, name)]
    if "label" in differ and _without(old.label, own[0]) == _without(new.label, own[1]):
        differ.remove("label")
    return Difference("changed" if differ else "unchanged", old, new, tuple(differ))


LONG = 3  # signs: a serial that is shorter may well be a part of a place: project choice


def _without(label: str, own: Iterable[str]) -> str:
    """Return a text without what is the unit's own: whole words, of a short serial only what has blanks around it."""
    for word in own:
        before, after = (r"(?<!\w)", r"(?!\w)") if len(word) >= LONG else (r"(?<!\S)", r"(?!\S)")
        label = re.sub(f"{before}{re.escape(word)}{after}", " ", label, flags=re.IGNORECASE)
    return " ".join(label.split())


def _unknown(old: MarkerRow, name: str) -> bool:
    """Return whether a version of the program did not record this of the older one."""
    return name == "colour" and not old.colour


# ---------------------------------------------------------------- the two sides


def diff(
    old: str,
    new: str,
    record: Record | None,
    *,
    settings: Mapping[str, str] | None = None,
    wanted: Wanted = AS_IT_STANDS,
) -> tuple[Difference, ...]:
    """Compare two files, or what the record has of a unit ("0001") or a revision ("RSB-210 B").

    ``settings`` and what is ``wanted`` of a file hold for both; a harness file beside a list or an export leaves
    nothing open, and is read as it stands. What stands for a unit is written for it on the other side too; of two
    units the serials and the dates are no difference. Raises `LabelerError`, also where a serial is that of units
    of several harnesses.
    """
    sides = [None if Path(name).exists() or name == "-" else _recorded(name, record) for name in (old, new)]
    serial = next((items[0].unit for items in sides if items), PLACEHOLDER_UNIT)
    files = [name for name, items in zip((old, new), sides, strict=True) if items is None]
    open_ones = [name for name in files if not name.casefold().endswith(".toml")] or files

    def rows_of(name: str) -> list[MarkerRow]:
        how = wanted if name in open_ones else AS_IT_STANDS
        return _rows_of(check(name, unit=serial, settings=settings, wanted=how))

    before, after = (
        rows_of(name) if items is None else [item.row for item in items]
        for name, items in zip((old, new), sides, strict=True)
    )
    return compare(before, after, (_own_words(record, sides[0], serial), _own_words(record, sides[1], serial)))


def _own_words(record: Record | None, items: Sequence[Recorded] | None, serial: str) -> tuple[str, ...]:
    """Return what is merely the unit's: its serial, and the dates on which it was printed."""
    if record is None or not items:
        return (serial,)
    jobs = [job for number in {item.job for item in items} for job in record.show(number).jobs]
    return (items[0].unit, *sorted({job.date for job in jobs} - {""}))


def _rows_of(checked: Checked) -> list[MarkerRow]:
    from labeler.record.values import marker_row

    return [marker_row(fit) for fit in checked.fits]


def _recorded(name: str, record: Record | None) -> tuple[Recorded, ...]:
    """Return what stands on a unit now, or on the last unit of a revision. Raises `LabelerError`."""
    if record is None:
        raise LabelerError(Problem(Where(name), "there is no such file, and no build record", "check the name"))
    items = record.find("", unit=name)
    found = standing(items)
    harnesses = sorted({item.part_number or item.harness for item in items})
    if len(harnesses) > 1:
        message = f"units of {len(harnesses)} harnesses have this serial: {', '.join(harnesses)}"
        raise LabelerError(Problem(Where(name), message, f'name one by part number too ("{harnesses[0]} {name}")'))
    if found:
        return found
    wanted = " ".join(name.casefold().split())
    for job in reversed(record.jobs()):
        named = {f"{part} {job.revision}".casefold() for part in (job.part_number, job.harness)}
        if wanted in named and job.kind != "reprint" and job.state == "printed":
            return standing(record.find("", unit=f"{job.part_number or job.harness} {job.unit}"), job.revision)
    fix = 'name a file, a unit ("0001"), or part number and revision ("RSB-210 B")'
    raise LabelerError(Problem(Where(name), f"there is no such file, and {record.name} has none of the name", fix))


def standing(items: Iterable[Recorded], revision: str | None = None) -> tuple[Recorded, ...]:
    """Return what is on a unit: at each place the marker that was printed last and is not void."""
    last: dict[Key, Recorded] = {}
    for item in sorted(items, key=lambda item: item.job):
        if item.state in ("printed", "plain", "prepared") and revision in (None, item.revision):
            last[_key(item.row)] = item
    return tuple(last.values())


# ---------------------------------------------------------------- printing what has changed


@dataclass(frozen=True, slots=True)
class Revised:
    """What was printed of a new revision; ``printed`` is None where nothing had to be."""

    printed: Printed | None
    take_off: tuple[Difference, ...]
    unchanged: int


def print_changes(
    file: str,
    folder: Path,
    record: Record,
    *,
    since: str,
    unit: str,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    start: Mapping[str, str] | None = None,
    used: Mapping[str, Sequence[str]] | None = None,
    go_on: bool = False,
    leave_out: bool = False,
    force: bool = False,
    who: str = "",
    date: str = "",
    printer: Printer = AS_DRAWN,
    out: Output | None = None,
    wanted: Wanted = AS_IT_STANDS,
) -> Revised:
    """Print for a unit that was built at revision ``since`` what a file of a newer one changes.

    What is replaced or has gone must be taken off: it is declared void when the job is confirmed.
    Raises `LabelerError` with all problems at once.
    """
    from labeler.layout.place import lay_out, used_after
    from labeler.record.faces import canonical_sheet

    refuse(folder_problems(folder))
    out = replace(out or Output(folder), folder=folder, force=force, printer=printer)
    settings = for_printer(settings or {}, printer)
    checking = partial(check, file, settings=settings, paper=paper, stock=stock, wanted=wanted)
    changes = _changes(record, checking, since, unit, date)
    if changes.left_out and not leave_out:
        raise LabelerError(*(misfit_problem(fit) for fit in changes.left_out))
    if not (changes.kept or changes.left_out or changes.take_off):
        return Revised(None, (), changes.unchanged)
    checked = changes.checked
    stocks = checked.stocks.by_name()
    known = partly_used(record, stocks, {**(start or {}), **(used or {})}) if go_on else {}
    places = Places(start or {}, {**known, **(used or {})})
    pieces = pieces_of(changes.kept, checked.stocks)
    sheets = tuple(map(canonical_sheet, lay_out(pieces, stocks, places.start, used=places.used)))
    notes = (*checked.notes, *notes_on_stocks(places.start, used or {}, out.send, sheets))
    notes += notes_on_feeding(printer, sheets)
    out = with_dots(out, checked)
    refuse(out.problems(sheets))
    left = used_after(sheets, places.taken({sheet.stock.name: sheet.stock for sheet in sheets}))
    about = {"who": who, "version": version(), "date": date, "paper": paper, "printer": printer_text(printer)}
    about["output"] = output_text(out)
    new = replace(_new_job(changes, sheets, f"changes since revision {since}"), **about)  # type: ignore[arg-type]
    (job,), files = hand_over(
        record,
        lambda: record.prepare_run((new,), left),
        lambda jobs: _drawing(changes, jobs[0], sheets, out, paper),
        who=who,
    )
    printed = Printed(job, files, sheets, changes.kept, changes.left_out, notes, left, places.begun(sheets))
    return Revised(printed, changes.take_off, changes.unchanged)


@dataclass(frozen=True, slots=True)
class _Changes:
    """What a newer file changes on a unit: what is made, what is not, and what must come off."""

    checked: Checked
    built: Recorded
    kept: tuple[Fit, ...]
    left_out: tuple[Fit, ...]
    take_off: tuple[Difference, ...]
    unchanged: int


def _changes(record: Record, checking: Callable[..., Checked], since: str, unit: str, date: str) -> _Changes:
    """Return the changes; the file is checked again with the unit's serial, and with the date of its first print.

    A tag does not differ because another date would stand on it today.
    """
    built = _built(record, checking(), since, unit)
    serial, printed = built[0].unit, record.show(built[0].job).jobs[0].date
    checked = checking(unit=serial, date=date)
    then = checked if date == printed else checking(unit=serial, date=printed)
    found = compare([item.row for item in built], _rows_of(then))
    wanted = {one.row.id for one in found if one.what in ("added", "changed")}
    fits = [fit for fit in checked.fits if fit.marker.id in wanted]
    return _Changes(
        checked,
        built[0],
        tuple(fit for fit in fits if fit.verdict != DOES_NOT_FIT),
        tuple(fit for fit in fits if fit.verdict == DOES_NOT_FIT),
        tuple(one for one in found if one.old and one.what in ("changed", "removed")),
        sum(one.what == "unchanged" for one in found),
    )


def _new_job(changes: _Changes, sheets: tuple[Sheet, ...], reason: str) -> NewJob:
    from labeler.record.values import NewJob, OmittedMarker, marker_row

    return NewJob(
        changes.checked.harness,
        sheets,
        {row.id: row for row in kept_rows(changes.checked.harness, changes.kept)},
        tuple(OmittedMarker(marker_row(fit), "; ".join(fit.reasons)) for fit in changes.left_out),
        font_digests(sheets),
        changes.built.unit,
        reason=reason,
        revises=changes.built.job,
        take_off=tuple(one.old.id for one in changes.take_off if one.old),
    )


def _drawing(changes: _Changes, job: Job, sheets: tuple[Sheet, ...], out: Output, paper: str) -> Drawing:
    harness, off = changes.checked.harness, tuple(map(remark, changes.take_off))
    names, word = Names(out.folder, harness), f"-changes-{job.id}"
    bench = partial(bench_pdf, harness, job, changes.kept, changes.left_out, sheets, paper, off)
    return Drawing(
        harness, (job,), names.parts((job.unit,), sheets, word), out, {names.bench_sheet(job.unit, word): bench}
    )


def remark(one: Difference) -> tuple[str, str, str]:
    """Return place, text and reason of what must come off, for the bench sheet."""
    assert one.old is not None
    row = one.old
    place = f"{row.kind} {row.branch} at {row.at}" if row.role == "branch end" else f"{row.kind} {row.at}"
    text = row.label if row.role != "bag" else ""  # all of a tag's text would be a page
    return place, text, "it is replaced" if one.new else "the new revision has none here"


def _built(record: Record, checked: Checked, since: str, unit: str) -> tuple[Recorded, ...]:
    """Return what stands on the unit at the older revision. Raises `LabelerError` where it is not that."""
    harness = checked.harness
    where = Where(f"unit {unit}")
    if since == harness.revision:
        message = f"the file is of revision {since or 'none'} itself"
        raise LabelerError(Problem(where, message, "give the revision that was built"))
    items = record.find("", unit=unit, harness=harness.part_number or harness.name)
    built = standing(items, since)
    if not built:
        known = ", ".join(sorted({item.revision or "none" for item in items}))
        message = f"nothing of {harness.part_number or harness.name} was printed for it"
        if not known:
            raise LabelerError(Problem(where, message, "see labeler record list, or print the unit"))
        message += f" at revision {since or 'none'}, but {known}"
        raise LabelerError(Problem(where, message, "name the revision that was built (--changed-since)"))
    serials = sorted({item.unit for item in built})
    if len(serials) > 1:
        message = f"it names several units: {', '.join(serials)}"
        raise LabelerError(Problem(where, message, "name one by its whole serial"))
    newer = [item for item in standing(items) if item.revision != since and item.revision == harness.revision]
    if newer:
        message = f"it was brought to revision {harness.revision} by job {newer[0].job}"
        raise LabelerError(Problem(where, message, "reprint what is missing"))
    return built
