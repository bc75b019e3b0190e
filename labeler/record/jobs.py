"""Reading the record, rows to values: markers with their states, sheets, jobs, units, and partial sheets."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from operator import attrgetter
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Connection, Row, Select, Table, and_, literal, or_, select

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.model import Face, Placed, Sheet, Stock
from labeler.record.faces import damaged, digest_of, face_from_text, stock_from_text
from labeler.record.marker_names import normalised
from labeler.record.schema import (
    content,
    face,
    harness,
    job,
    job_event,
    job_font,
    marker,
    partial_sheet,
    piece,
    sheet,
    sheet_about,
    stock,
    unit,
    void,
)
from labeler.record.values import Job, JobAbout, MarkerRow, PartialSheet, Recorded, Unit, piece_of

Line = Row[Any]
Value = TypeVar("Value")
MOST_VALUES = 500  # in one IN list: every database takes as many


def rows_in(
    connection: Connection, statement: Select[Any], column: ColumnElement[Any], values: Iterable[Any]
) -> Iterator[Line]:
    """Yield the rows of a statement whose column is one of the values, a part of the sorted values at a time."""
    ordered = sorted(values)
    for start in range(0, len(ordered), MOST_VALUES):
        yield from connection.execute(statement.where(column.in_(ordered[start : start + MOST_VALUES])))


# ---------------------------------------------------------------- markers


def marker_lines() -> Select[Any]:
    """Return the statement for every piece of every job, and all that is known of it; those on no sheet last."""
    source = (
        jobs_with_states()
        .join(sheet, sheet.c.job_id == job.c.id)
        .join(content, content.c.id == sheet.c.content_id)
        .join(piece, piece.c.content_id == content.c.id)
        .join(marker, marker.c.digest == piece.c.marker)
    )
    names = (harness.c.name, harness.c.part_number, harness.c.revision, unit.c.serial, job.c.unit_id)
    place = (sheet.c.job_id, sheet.c.number.label("sheet"), content.c.stock)
    cell = (piece.c.line, piece.c.cell, piece.c.x_mm, piece.c.y_mm)
    states = (
        printed.c.state.is_not(None).label("confirmed"),
        cancelled.c.state.is_not(None).label("gone"),
    )
    statement = select(marker, *place, *cell, *names, unit.c.full_name, *states).select_from(source)
    return statement.order_by(job.c.unit_id, job.c.id, sheet.c.number == 0, sheet.c.number, piece.c.line)


def assemble(
    connection: Connection, lines: Iterable[Line], wanted: Callable[[Line], bool] | None = None
) -> tuple[Recorded, ...]:
    """Make one value of all the rows of one marker of one unit.

    Markers of which every job was cancelled are omitted; with ``wanted``, those of which no
    row is wanted, and the first wanted row says where it stood.
    """
    groups: dict[tuple[int, str], list[Line]] = {}
    for line in lines:
        groups.setdefault((line.unit_id, line.marker), []).append(line)
    chosen = [(rows, first) for rows in groups.values() if (first := _first(rows, wanted)) is not None]
    faces = _known(connection, face, face_from_text, {first.face for _rows, first in chosen if first.face})
    stocks = _known(connection, stock, stock_from_text, {first.stock for _rows, first in chosen if first.stock})
    fonts: dict[int, dict[str, str]] = {}
    for row in rows_in(connection, select(job_font), job_font.c.job_id, {first.job_id for _rows, first in chosen}):
        fonts.setdefault(row.job_id, {})[row.font] = row.digest
    voids: dict[tuple[int, str], list[Line]] = {}
    for row in rows_in(
        connection, select(void).order_by(void.c.id), void.c.unit_id, {first.unit_id for _rows, first in chosen}
    ):
        voids.setdefault((row.unit_id, row.marker), []).append(row)
    return tuple(
        _recorded(rows, first, faces, stocks, fonts.get(first.job_id, {}), voids.get((first.unit_id, first.marker), []))
        for rows, first in chosen
    )


def _first(rows: list[Line], wanted: Callable[[Line], bool] | None) -> Line | None:
    if wanted is not None:
        return next(filter(wanted, rows), None)
    live = [row for row in rows if not row.gone]
    return next((row for row in live if row.face), live[0] if live else None)


def _recorded(
    rows: list[Line],
    first: Line,
    faces: Mapping[bytes, Face],
    stocks: Mapping[bytes, Stock],
    fonts: Mapping[str, str],
    voids: Sequence[Line],
) -> Recorded:
    drawn = faces.get(first.face)
    used = sorted({run.font for run in drawn.runs}) if drawn else []
    state = _state(rows, first, voids)
    why = (str(row.reason) for row in reversed(voids) if state == "void" or row.by_job is not None)
    return Recorded(
        row=marker_of(first),
        **{name: getattr(first, name) for name in ("part_number", "revision", "sheet", "cell", "x_mm", "y_mm")},
        unit=first.serial,
        harness=first.name,
        job=first.job_id,
        state=state,
        print_count=sum(bool(row.face and row.confirmed and not row.gone) for row in rows),
        void_count=len(voids),
        face=drawn,
        stock=stocks.get(first.stock),
        load=first.load,
        reason=next(why, "") if state in ("void", "removed") else first.omit_reason or "",
        fonts=tuple((name, fonts.get(name, "")) for name in used),
    )


_OF_LINE = attrgetter("marker", *(field.name for field in fields(MarkerRow) if field.name != "id"))


def marker_of(line: Line) -> MarkerRow:
    """Return what a row says about its marker: the other columns are called as the fields."""
    return MarkerRow(*_OF_LINE(line))


def _state(rows: list[Line], first: Line, voids: Sequence[Line]) -> str:
    """Return the state of all the copies there are: it is printed as long as one of them is good."""
    if first.gone:
        return "cancelled"
    last_void = next((row for row in reversed(voids) if row.of_job is None), None)
    spoiled = {(row.of_job, row.of_sheet) for row in voids if row.of_job is not None}
    later = [row for row in rows if not row.gone and row.job_id > (last_void.after_job if last_void else 0)]
    if last_void is not None and last_void.by_job is not None and not later:
        return "removed"
    if not first.face:
        return "blank" if first.omit_reason is None else "omitted"
    good = [row for row in later if row.face and (row.job_id, row.sheet) not in spoiled]
    if not good:
        return "void"
    return "printed" if any(row.confirmed for row in good) else "pending"


def _known(
    connection: Connection, table: Table, read: Callable[[str], Value], digests: set[bytes]
) -> dict[bytes, Value]:
    """Return the values of a table with these digests. Raises LabelerError if one is damaged or missing."""
    found = {}
    for row in rows_in(connection, select(table), table.c.digest, digests):
        if digest_of(row.text) != row.digest:
            raise damaged(f"a {table.name}", "its digest is another one")
        found[row.digest] = read(row.text)
    if len(found) < len(digests):
        raise damaged(f"a {table.name}", "it is missing")
    return found


# ---------------------------------------------------------------- sheets


def sheets_of(connection: Connection, job_id: int) -> tuple[Sheet, ...]:
    """Return the sheets of a job as they were drawn. Raises LabelerError if there is no such job."""
    state_of(connection, job_id)
    about = (content.c.stock, content.c.width_mm, content.c.height_mm, content.c.load)
    rows = connection.execute(
        select(sheet.c.number, *about, sheet_about.c.about)
        .join(content, content.c.id == sheet.c.content_id)
        .outerjoin(sheet_about, and_(sheet_about.c.job_id == job_id, sheet_about.c.number == sheet.c.number))
        .where(sheet.c.job_id == job_id, sheet.c.number > 0)
        .order_by(sheet.c.number)
    ).all()
    lines = [line for line in connection.execute(marker_lines().where(job.c.id == job_id)) if line.sheet]
    faces = _known(connection, face, face_from_text, {line.face for line in lines})
    stocks = _known(connection, stock, stock_from_text, {row.stock for row in rows})
    placed: dict[int, list[Placed]] = {}
    for line in lines:
        piece = piece_of(marker_of(line), faces[line.face], stocks[line.stock], line.load)
        placed.setdefault(line.sheet, []).append(Placed(piece, line.cell, line.x_mm, line.y_mm))
    return tuple(
        Sheet(
            stock=stocks[row.stock],
            number=row.number,
            width_mm=row.width_mm,
            height_mm=row.height_mm,
            load=row.load,
            placed=tuple(placed.get(row.number, ())),
            about=row.about or "",
        )
        for row in rows
    )


def partial_sheet_list(connection: Connection) -> tuple[PartialSheet, ...]:
    """Return the last sheet of every stock that has cells left, in the order in which they were last printed on.

    Those of a job that was broken off count until it is cancelled.
    """
    c = partial_sheet.c
    statement = select(c.stock, c.used_cells, job.c.id, job.c.time).join(job, job.c.id == c.job_id)
    latest: dict[str, PartialSheet] = {}
    for row in connection.execute(statement.where(c.job_id.not_in(cancelled_jobs())).order_by(c.id)):
        latest.pop(row.stock, None)
        latest[row.stock] = PartialSheet(row.stock, tuple(row.used_cells.split()), row.id, row.time)
    return tuple(sheet for sheet in latest.values() if sheet.used_cells)


# ---------------------------------------------------------------- jobs


printed = job_event.alias("printed")
cancelled = job_event.alias("cancelled")


def jobs_with_states() -> Any:
    """Return jobs joined with unit, harness and, where there are such, their two later states."""
    return (
        job.join(unit, unit.c.id == job.c.unit_id)
        .join(harness, harness.c.id == job.c.harness_id)
        .outerjoin(printed, and_(printed.c.job_id == job.c.id, printed.c.state == "printed"))
        .outerjoin(cancelled, and_(cancelled.c.job_id == job.c.id, cancelled.c.state == "cancelled"))
    )


def cancelled_jobs() -> Select[Any]:
    """Return the statement for the numbers of all jobs that were cancelled."""
    return select(job_event.c.job_id).where(job_event.c.state == "cancelled")


def run_of(job_id: int) -> ColumnElement[bool]:
    """Return the condition that a job was printed together with another one, or is that one."""
    other = job.alias("other")
    return job.c.run == select(other.c.run).where(other.c.id == job_id).scalar_subquery()


def job_list(connection: Connection, *where: ColumnElement[bool]) -> tuple[Job, ...]:
    """Return the jobs, oldest first. One that is still "pending" was broken off before the end."""
    names = (harness.c.name, harness.c.part_number, harness.c.revision, unit.c.serial)
    notes = (printed.c.note.label("files"), cancelled.c.note.label("cancel_reason"))
    statement = (
        select(job, *names, *notes, _revision_before()).select_from(jobs_with_states()).where(*where).order_by(job.c.id)
    )
    return tuple(_job(row) for row in connection.execute(statement))


def run_jobs(connection: Connection, job_id: int) -> tuple[Job, ...]:
    """Return a job with all that were printed together with it; what they have on a sheet is on one sheet."""
    return job_list(connection, run_of(job_id))


def _revision_before() -> Any:
    """Return the revision that a job's unit was at before it: of the last print, or change, that was not cancelled."""
    earlier, other = job.alias("earlier"), harness.alias("other_harness")
    gone = cancelled_jobs().where(job_event.c.job_id == earlier.c.id)
    return (
        select(other.c.revision)
        .join_from(earlier, other, other.c.id == earlier.c.harness_id)
        .where(earlier.c.unit_id == job.c.unit_id, earlier.c.id < job.c.id, earlier.c.kind != "reprint")
        .where(~gone.exists())
        .order_by(earlier.c.id.desc())
        .limit(1)
        .correlate(job)
        .scalar_subquery()
        .label("unit_revision")
    )


_SAME = ("id", "kind", "part_number", "revision", "time", *(field.name for field in fields(JobAbout)))
"""The fields of a job that are called as the columns."""


def _job(row: Line) -> Job:
    done = "printed" if row.files is not None else "pending"
    try:
        files = tuple(str(name) for name in json.loads(row.files or "[]"))
    except (ValueError, TypeError) as error:
        raise damaged("the list of files of a job", str(error)) from error
    return Job(
        **{name: getattr(row, name) for name in _SAME},
        state="cancelled" if row.cancel_reason is not None else done,
        unit=row.serial,
        harness=row.name,
        files=files,
        cancel_reason=row.cancel_reason or "",
        repeats_job=row.repeats_job or 0,
        unit_revision=row.unit_revision or "",
    )


def state_of(connection: Connection, job_id: int) -> str:
    """Return the state of a job. Raises LabelerError if there is no such job."""
    c = job_event.c
    states = set(connection.scalars(select(c.state).where(c.job_id == job_id)))
    for state in ("cancelled", "printed", "pending"):
        if state in states:
            return state
    raise LabelerError(Problem(SourceLocation(f"job {job_id}"), "there is no such job", "look at the list of jobs"))


def digests_of(connection: Connection, job_id: int) -> dict[str, str]:
    """Return the SHA-256 of each file of a job by its path; nothing where they were not drawn yet.

    Raises LabelerError where that is damaged.
    """
    note = _note(connection, job_id, "drawn")
    try:
        return {str(name): str(digest) for name, digest in json.loads(note or "{}").items()}
    except (ValueError, AttributeError) as error:
        raise damaged("the files of a job", str(error)) from error


def removed_markers(connection: Connection, job_id: int) -> tuple[str, ...]:
    """Return the ids of the markers that a job of a newer revision takes off its unit."""
    return tuple(str(marker) for marker in json.loads(_note(connection, job_id, "pending") or "[]"))


def _note(connection: Connection, job_id: int, state: str) -> str | None:
    c = job_event.c
    return connection.scalar(select(c.note).where(c.job_id == job_id, c.state == state))


# ---------------------------------------------------------------- units and harnesses


COUNTED_DIGITS = 15
"""Serials of more digits are names, no numbers: project choice, a date and time to the second has 14."""


def number_of(serial: str) -> int | None:
    """Return the number that a serial reads as, or None where it is none, or one that is not counted."""
    digits = serial.lstrip("0") or "0"
    return int(digits) if serial.isascii() and serial.isdigit() and len(digits) <= COUNTED_DIGITS else None


def is_unit(text: str) -> ColumnElement[bool]:
    """Return the condition that a unit is the one named: its serial, with or without its part number.

    Capitals do not matter, nor do zeros in front of a number.
    """
    wanted = normalised(text)
    ways = [unit.c.name == wanted, unit.c.full_name == wanted]
    number = number_of(wanted)
    if number is not None:
        ways.append(unit.c.number == number)
    part_number, blank, serial = wanted.rpartition(" ")
    number = number_of(serial)
    if blank and number is not None:
        ways.append(and_(unit.c.number == number, unit.c.full_name == literal(part_number + blank) + unit.c.name))
    return or_(*ways)


def reads_like(part_number: str, serial: str) -> ColumnElement[bool]:
    """Return the condition that a unit's serial is taken for this one: by capitals, blanks, or zeros in front."""
    same = unit.c.name == normalised(serial)  # file systems and people take capitals for the same
    number = number_of(serial)
    return and_(unit.c.part_number == part_number, same if number is None else same | (unit.c.number == number))


def of_unit(text: str) -> ColumnElement[bool]:
    """Return the condition that a job is of the unit named; a query of its own, so that only its jobs are read."""
    return job.c.unit_id.in_(select(unit.c.id).where(is_unit(text)))


def harness_ids(connection: Connection, text: str) -> list[int]:
    """Return the harnesses named by part number or name, every revision."""
    wanted = normalised(text)
    rows = connection.execute(select(harness.c.id, harness.c.part_number, harness.c.name))
    return [row.id for row in rows if wanted in (normalised(row.part_number), normalised(row.name))]


def unit_list(connection: Connection) -> tuple[Unit, ...]:
    """Return the units by part number and serial, reserved and never printed ones too."""
    units = {row.id: row.unit_id for row in connection.execute(select(job.c.id, job.c.unit_id))}
    by_unit: dict[int, list[Job]] = {}
    for one in job_list(connection):
        by_unit.setdefault(units.get(one.id, 0), []).append(one)
    rows = sorted(connection.execute(select(unit)), key=lambda row: (row.part_number, row.number or 0, row.serial))
    return tuple(_unit(row, by_unit.get(row.id, [])) for row in rows)


def _unit(row: Line, jobs: list[Job]) -> Unit:
    live = [one for one in jobs if one.state != "cancelled"]
    states = {one.state for one in live} or {one.state for one in jobs} or {"reserved"}
    last = (live or jobs)[-1] if jobs else None
    return Unit(
        serial=row.serial,
        part_number=row.part_number,
        harness=last.harness if last else "",
        revision=last.revision if last else "",
        state="printed" if "printed" in states else states.pop(),
        time=row.time,
        jobs=tuple(one.id for one in jobs),
    )
