"""Reading the record: jobs with their states, and units."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, and_, literal, or_, select

from labeler.naming import plain
from labeler.record.faces import damaged
from labeler.record.schema import harness, job, job_event, unit
from labeler.record.values import Job, Unit

Line = Row[Any]

printed = job_event.alias("printed")
withdrawn = job_event.alias("withdrawn")


def jobs_with_states() -> Any:
    """Return jobs joined with unit, harness and, where there are such, their two later states."""
    return (
        job.join(unit, unit.c.id == job.c.unit_id)
        .join(harness, harness.c.id == job.c.harness_id)
        .outerjoin(printed, and_(printed.c.job_id == job.c.id, printed.c.state == "printed"))
        .outerjoin(withdrawn, and_(withdrawn.c.job_id == job.c.id, withdrawn.c.state == "withdrawn"))
    )


def number_of(serial: str) -> int | None:
    """Return the number that a serial reads as, or None where it is none, or one that is not counted."""
    digits = serial.lstrip("0") or "0"
    return int(digits) if serial.isascii() and serial.isdigit() and len(digits) <= COUNTED_DIGITS else None


COUNTED_DIGITS = 15
"""Serials of more digits are names, no numbers: project choice, a date and time to the second has 14."""


def is_unit(text: str) -> ColumnElement[bool]:
    """Return the condition that a unit is the one named: its serial, with or without its part number.

    Capitals do not matter, nor do zeros in front of a number.
    """
    wanted = plain(text)
    ways = [unit.c.name == wanted, unit.c.full_name == wanted]
    number = number_of(wanted)
    if number is not None:
        ways.append(unit.c.number == number)
    part_number, blank, serial = wanted.rpartition(" ")
    number = number_of(serial)
    if blank and number is not None:
        ways.append(and_(unit.c.number == number, unit.c.full_name == literal(part_number + blank) + unit.c.name))
    return or_(*ways)


def harness_ids(connection: Connection, text: str) -> list[int]:
    """Return the harnesses named by part number or name, every revision."""
    wanted = plain(text)
    rows = connection.execute(select(harness.c.id, harness.c.part_number, harness.c.name))
    return [row.id for row in rows if wanted in (plain(row.part_number), plain(row.name))]


def of_unit(text: str) -> ColumnElement[bool]:
    """Return the condition that a job is of the unit named; asked apart, so that only its jobs are read."""
    return job.c.unit_id.in_(select(unit.c.id).where(is_unit(text)))


def run_of(job_id: int) -> ColumnElement[bool]:
    """Return the condition that a job was printed together with another one, or is that one."""
    other = job.alias("other")
    return job.c.run == select(other.c.run).where(other.c.id == job_id).scalar_subquery()


def job_list(connection: Connection, *where: ColumnElement[bool]) -> tuple[Job, ...]:
    """Return the jobs in the order in which they were made."""
    names = (harness.c.name, harness.c.part_number, harness.c.revision, unit.c.serial)
    notes = (printed.c.note.label("files"), withdrawn.c.note.label("withdrawn_because"))
    statement = (
        select(job, *names, *notes, _revision_before()).select_from(jobs_with_states()).where(*where).order_by(job.c.id)
    )
    return tuple(_job(row) for row in connection.execute(statement))


def _revision_before() -> Any:
    """Return the revision that a job's unit was at before it: of the last print, or change, that was not withdrawn."""
    earlier, other = job.alias("earlier"), harness.alias("other_harness")
    gone = select(job_event.c.job_id).where(job_event.c.job_id == earlier.c.id, job_event.c.state == "withdrawn")
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


def _job(row: Line) -> Job:
    done = "printed" if row.files is not None else "prepared"
    return Job(
        id=row.id,
        kind=row.kind,
        state="withdrawn" if row.withdrawn_because is not None else done,
        unit=row.serial,
        harness=row.name,
        part_number=row.part_number,
        revision=row.revision,
        at=row.at,
        who=row.who,
        version=row.version,
        reason=row.reason,
        files=_files(row.files),
        withdrawn_because=row.withdrawn_because or "",
        of_job=row.of_job or 0,
        date=row.date,
        paper=row.paper,
        printer=row.printer,
        output=row.output,
        unit_revision=row.unit_revision or "",
    )


def _files(note: str | None) -> tuple[str, ...]:
    try:
        return tuple(str(name) for name in json.loads(note or "[]"))
    except (ValueError, TypeError) as error:
        raise damaged("the list of files of a job", str(error)) from error


def digests_of(connection: Connection, job_id: int) -> dict[str, str]:
    """Return the SHA-256 of each file of a job by its path, as it was drawn. Raises LabelerError if damaged."""
    c = job_event.c
    note = connection.scalar(select(c.note).where(c.job_id == job_id, c.state == "drawn"))
    try:
        return {str(name): str(digest) for name, digest in json.loads(note or "{}").items()}
    except (ValueError, AttributeError) as error:
        raise damaged("the files of a job", str(error)) from error


def unit_list(connection: Connection) -> tuple[Unit, ...]:
    """Return the units by part number and serial, reserved and never printed ones too."""
    made = job_list(connection)
    units = {row.id: row.unit_id for row in connection.execute(select(job.c.id, job.c.unit_id))}
    by_unit: dict[int, list[Job]] = {}
    for one in made:
        by_unit.setdefault(units.get(one.id, 0), []).append(one)
    rows = sorted(connection.execute(select(unit)), key=lambda row: (row.part_number, row.number or 0, row.serial))
    return tuple(_unit(row, by_unit.get(row.id, [])) for row in rows)


def _unit(row: Line, jobs: list[Job]) -> Unit:
    live = [one for one in jobs if one.state != "withdrawn"]
    states = {one.state for one in live} or {one.state for one in jobs} or {"reserved"}
    last = (live or jobs)[-1] if jobs else None
    return Unit(
        serial=row.serial,
        part_number=row.part_number,
        harness=last.harness if last else "",
        revision=last.revision if last else "",
        state="printed" if "printed" in states else states.pop(),
        at=row.at,
        jobs=tuple(one.id for one in jobs),
    )
