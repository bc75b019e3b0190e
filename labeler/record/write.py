"""Everything that adds to the record. Each function works inside one write transaction."""

from __future__ import annotations

import json
import zlib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from secrets import token_hex
from typing import Any

from sqlalchemy import Connection, func, insert, select

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.model import Harness, Sheet
from labeler.record import schema
from labeler.record.jobs import COUNTED_DIGITS, number_of, run_of
from labeler.record.marker_names import plain
from labeler.record.rows import add, added, fonts_in, keep
from labeler.record.values import NewJob, Recorded

SERIAL_DIGITS = 4  # "0001": project choice, ten thousand units sort as text
LONGEST_SERIAL = 40  # has to stand on a tag: project choice


def now() -> str:
    """Return the time, UTC, as the record writes it: 2026-03-01T08:15:30.250Z."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def new_uid() -> str:
    """Return a name that no other job and no other void has, in this record or another."""
    return token_hex(16)


def part_number_of(harness: Harness) -> str:
    """Return the number under which serials are counted: the part number, or else the name."""
    return harness.part_number or harness.name


# ---------------------------------------------------------------- units


def take_serial(connection: Connection, harness: Harness, wanted: str | None) -> tuple[int, str]:
    """Return id and serial of the unit: a new one, or the wanted one if it was never printed.

    Raises LabelerError for a serial that was printed, reads like another one, or is no serial.
    """
    part_number = part_number_of(harness)
    if wanted is None:
        serial = next_serial(connection, part_number)
    else:
        serial = " ".join(wanted.split())
        refuse(serial_problems(serial))
        found = _unit_like(connection, part_number, serial)
        if found is not None:
            return _take_reserved(connection, found, part_number, serial)
    names = {"name": plain(serial), "full_name": plain(f"{part_number} {serial}")}
    row = {"part_number": part_number, "serial": serial, "number": number_of(serial), "at": now(), **names}
    return added(connection, schema.unit, row), serial


def next_serial(connection: Connection, part_number: str) -> str:
    """Return the number after the highest that was given for a part number.

    Raises LabelerError where the next one would have more digits than are counted.
    """
    c = schema.unit.c
    last = connection.scalar(select(func.max(c.number)).where(c.part_number == part_number))
    serial = f"{(last or 0) + 1:0{SERIAL_DIGITS}d}"
    if number_of(serial) is None:
        message = f"the highest serial is {last}, serials are counted up to {COUNTED_DIGITS} digits"
        raise LabelerError(Problem(Where(part_number), message, "name the next serial (--unit)"))
    return serial


def serial_problems(serial: str) -> Iterator[Problem]:
    """Yield what is wrong with a serial before any is taken."""
    if not serial:
        yield Problem(Where("serial"), "the serial is empty", "leave it out to get the next number")
    if len(serial) > LONGEST_SERIAL:
        message = f"the serial has {len(serial)} characters, the limit is {LONGEST_SERIAL}"
        yield Problem(Where("serial"), message, "use a shorter one")
    if not serial.isprintable():
        yield Problem(Where("serial"), f"the serial {serial!r} has unprintable characters", "remove them")


def _unit_like(connection: Connection, part_number: str, serial: str) -> Any:
    c = schema.unit.c
    same = c.name == plain(serial)  # file systems and people take capitals for the same
    number = number_of(serial)
    if number is not None:
        same = same | (c.number == number)
    return connection.execute(select(c.id, c.serial).where(c.part_number == part_number, same)).first()


def _take_reserved(connection: Connection, found: Any, part_number: str, serial: str) -> tuple[int, str]:
    refuse(_clash(connection, found, part_number, serial))
    return int(found.id), serial


def serial_clashes(connection: Connection, harness: Harness, serials: Iterable[str]) -> Iterator[Problem]:
    """Yield why units of these serials could not be printed now: they were, or read like others."""
    part_number = part_number_of(harness)
    for serial in (" ".join(serial.split()) for serial in serials):
        found = _unit_like(connection, part_number, serial)
        if found is not None:
            yield from _clash(connection, found, part_number, serial)


def _clash(connection: Connection, found: Any, part_number: str, serial: str) -> Iterator[Problem]:
    where = Where(f"{part_number} {serial}")
    if found.serial != serial:
        message = f"the serial {serial} reads like {found.serial}, which was given before"
        yield Problem(where, message, "leave the serial out to get the next number")
    else:
        yield from _print_problems(connection, found.id, where)


def _print_problems(connection: Connection, unit_id: int, where: Where) -> Iterator[Problem]:
    job, event = schema.job.c, schema.job_event.c
    gone = select(event.job_id).where(event.state == "withdrawn")
    live = connection.execute(
        select(job.id, job.at).where(job.unit_id == unit_id, job.kind == "print", job.id.not_in(gone))
    ).first()
    if live is None:
        return
    if state_of(connection, live.id) == "prepared":
        what = f"job {live.id} of {live.at[:10]} is printing the unit, or was broken off"
        fix = f"finish it (labeler record resume {live.id}) or withdraw it (labeler record withdraw {live.id})"
        yield Problem(where, what, fix)
    else:
        fix = "reprint what is missing, or leave the serial out to get the next number"
        yield Problem(where, f"the unit was printed by job {live.id} on {live.at[:10]}", fix)


# ---------------------------------------------------------------- jobs


def prepare(connection: Connection, new: NewJob, run: str = "") -> int:
    """Write a whole print in the state "prepared" and return its job number; jobs of one ``run`` share sheets.

    Raises LabelerError for a marker that is not described, a font without a digest, nothing
    to record, or a unit that was printed already.
    """
    refuse(_new_job_problems(new))
    about = JobAbout(new.who, new.version, new.reason, new.date, new.paper, new.printer, new.output, run)
    if new.revises:
        refuse(_withdrawn_problems(connection, {new.revises}))
        c = schema.job.c
        unit_id = connection.execute(select(c.unit_id).where(c.id == new.revises)).scalar_one()
        kind, of_job = "revision", new.revises
    else:
        unit_id, serial = take_serial(connection, new.harness, new.serial)
        refuse(_print_problems(connection, unit_id, Where(f"{part_number_of(new.harness)} {serial}")))
        kind, of_job = "print", None
    job_id = _new_job(connection, kind, unit_id, _harness_id(connection, new.harness), about, of_job, new.take_off)
    keep(connection, job_id, new.sheets, new.markers, new.left_out, new.fonts)
    _add_abouts(connection, job_id, new.sheets)
    return job_id


def _add_abouts(connection: Connection, job_id: int, sheets: Iterable[Sheet]) -> None:
    add(connection, schema.sheet_about, ((job_id, sheet.number, sheet.about) for sheet in sheets if sheet.about))


def prepare_reprint(
    connection: Connection,
    job_of_print: int,
    items: Sequence[Recorded],
    sheets: Sequence[Sheet],
    fonts: Mapping[str, str],
    about: JobAbout,
) -> int:
    """Write a reprint of the items in the state "prepared" and return its job number.

    Raises LabelerError for an item of a job that was withdrawn.
    """
    refuse(_withdrawn_problems(connection, {item.job for item in items}))
    c = schema.job.c
    first = connection.execute(select(c.unit_id, c.harness_id, c.kind, c.of_job).where(c.id == job_of_print)).one()
    of_job = first.of_job if first.kind == "reprint" else job_of_print
    job_id = _new_job(connection, "reprint", first.unit_id, first.harness_id, about, of_job)
    keep(connection, job_id, sheets, {item.row.id: item.row for item in items}, (), fonts)
    _add_abouts(connection, job_id, sheets)
    return job_id


def _withdrawn_problems(connection: Connection, jobs: Iterable[int]) -> Iterator[Problem]:
    for job_id in sorted(jobs):
        if state_of(connection, job_id) == "withdrawn":
            fix = "reprint from the print that took its place, or print the unit"
            yield Problem(Where(f"job {job_id}"), "it was withdrawn: what it printed does not count", fix)


def _new_job_problems(new: NewJob) -> Iterator[Problem]:
    where = Where(new.harness.name)
    if not (new.sheets or new.markers or new.left_out or new.take_off):
        yield Problem(where, "there is nothing to record: no sheet and no marker", "check the harness file")
    placed = {piece.piece.marker for sheet in new.sheets for piece in sheet.placed}
    for marker in sorted(placed - new.markers.keys()):
        yield Problem(where, f"{marker} stands on a sheet and is not described", "describe every marker")
    for left in new.left_out:
        if left.row.id in placed:
            yield Problem(where, f"{left.row.id} is left out and stands on a sheet", "settle which it is")
    for font in sorted(fonts_in(new.sheets) - new.fonts.keys()):
        yield Problem(where, f'the font "{font}" has no digest', "give the digest of every font file")


def _harness_id(connection: Connection, harness: Harness) -> int:
    digest = sha256(harness.text).hexdigest()
    key = {
        "name": harness.name,
        "part_number": harness.part_number,
        "revision": harness.revision,
        "sha256": digest,
    }
    same = [schema.harness.c[name] == value for name, value in key.items()]
    found = connection.scalar(select(schema.harness.c.id).where(*same))
    if found is not None:
        return int(found)
    return added(connection, schema.harness, {**key, "text": zlib.compress(harness.text, 3)})


@dataclass(frozen=True, slots=True)
class JobAbout:
    """What is kept of any job, beside its unit and its sheets."""

    who: str = ""
    version: str = ""
    reason: str = ""
    date: str = ""
    paper: str = ""
    printer: str = ""
    output: str = ""
    run: str = ""  # "": a job by itself


def _new_job(
    connection: Connection,
    kind: str,
    unit_id: int,
    harness_id: int,
    about: JobAbout,
    of_job: int | None = None,
    take_off: Sequence[str] = (),
) -> int:
    row = {"kind": kind, "unit_id": unit_id, "harness_id": harness_id, "of_job": of_job, "at": now()}
    uid = new_uid()
    job_id = added(connection, schema.job, {**row, **asdict(about), "uid": uid, "run": about.run or uid})
    add_event(connection, job_id, "prepared", json.dumps(take_off) if take_off else "", about.who)
    return job_id


def add_event(connection: Connection, job_id: int, state: str, note: str, who: str = "") -> None:
    """Add a state to a job; the database refuses a state that it has already."""
    row = {"job_id": job_id, "state": state, "at": now(), "who": who, "note": note}
    connection.execute(insert(schema.job_event), row)


NotOf = Mapping[int, Collection[str]]
"""Files of a run that hold nothing of a job, by the job's number: the bench sheets of the others."""


def drawn(connection: Connection, job_id: int, digests: Mapping[str, str], not_of: NotOf) -> None:
    """Say what the files of a run are, before they get their names; the first time counts."""
    c = schema.job_event.c
    run = select(schema.job.c.id).where(run_of(job_id))
    known = set(connection.scalars(select(c.job_id).where(c.job_id.in_(run), c.state != "prepared")))
    for one in connection.scalars(run.order_by(schema.job.c.id)).all():
        if one not in known:
            own = {name: digest for name, digest in digests.items() if name not in not_of.get(one, ())}
            add_event(connection, one, "drawn", json.dumps(own, ensure_ascii=True))


def confirm(connection: Connection, job_id: int, files: Sequence[str], who: str, not_of: NotOf) -> None:
    """Say that the files of a prepared job and all of its run were handed over.

    Raises LabelerError if the job is not prepared.
    """
    state = state_of(connection, job_id)
    if state != "prepared":
        fix = "look at the job; print or reprint what is needed as a new job"
        raise LabelerError(Problem(Where(f"job {job_id}"), f"it cannot be confirmed: it is {state}", fix))
    for one in _prepared(connection, job_id):
        own = [name for name in files if name not in not_of.get(one, ())]
        add_event(connection, one, "printed", json.dumps(own, ensure_ascii=False), who)
        _take_off(connection, one, who)


def _prepared(connection: Connection, job_id: int) -> list[int]:
    """Return the jobs of a run that are prepared, and neither printed nor withdrawn."""
    c, job = schema.job_event.c, schema.job.c
    done = select(c.job_id).where(c.state.in_(("printed", "withdrawn")))
    return list(connection.scalars(select(job.id).where(run_of(job_id), job.id.not_in(done)).order_by(job.id)))


def taken_off_by(connection: Connection, job_id: int) -> tuple[str, ...]:
    """Return the ids of the markers that a job of a newer revision takes off its unit."""
    c = schema.job_event.c
    note = connection.scalar(select(c.note).where(c.job_id == job_id, c.state == "prepared"))
    return tuple(str(marker) for marker in json.loads(note or "[]"))


def _take_off(connection: Connection, job_id: int, who: str) -> None:
    """Declare void what a job takes away from its unit, now that it is printed."""
    unit_id = connection.scalar(select(schema.job.c.unit_id).where(schema.job.c.id == job_id))
    for marker in taken_off_by(connection, job_id):
        add_void(connection, int(unit_id or 0), marker, who, f"taken off by job {job_id}", by_job=job_id)


def withdraw(connection: Connection, job_id: int, reason: str, who: str = "") -> None:
    """Say that a job's sheets do not count. Raises LabelerError without a reason, or the second time."""
    refuse(reason_problems(reason, Where(f"job {job_id}")))
    if state_of(connection, job_id) == "withdrawn":
        message = "it was withdrawn before"
        raise LabelerError(Problem(Where(f"job {job_id}"), message, "nothing is left to be done"))
    add_event(connection, job_id, "withdrawn", reason, who)


def withdraw_prepared(connection: Connection, job_id: int, reason: str, who: str = "") -> None:
    """Withdraw a job that was broken off, and all of its run. Raises LabelerError as `withdraw`, and if printed."""
    if state_of(connection, job_id) == "printed":
        fix = f"declare void what must not be used: labeler record void --sheet {job_id}:1"
        raise LabelerError(Problem(Where(f"job {job_id}"), "its sheets were handed over, they may be in use", fix))
    run = _prepared(connection, job_id)
    for one in run if job_id in run else [job_id]:
        withdraw(connection, one, reason, who)


def state_of(connection: Connection, job_id: int) -> str:
    """Return the state of a job. Raises LabelerError if there is no such job."""
    c = schema.job_event.c
    states = set(connection.scalars(select(c.state).where(c.job_id == job_id)))
    for state in ("withdrawn", "printed", "prepared"):
        if state in states:
            return state
    raise LabelerError(Problem(Where(f"job {job_id}"), "there is no such job", "look at the list of jobs"))


def void_problems(items: Iterable[Recorded]) -> Iterator[Problem]:
    """Yield why a marker cannot be declared void: there is no print of it that could be used."""
    fixes = {
        "void": "print it again first; nothing is left to be declared",
        "prepared": "finish its job first (labeler record resume) or withdraw it (labeler record withdraw)",
    }
    for item in items:
        if item.state != "printed":
            where = Where(f"unit {item.unit}, {item.row.id}")
            why = f"job {item.job} is prepared" if item.state == "prepared" else f"it is {item.state}"
            yield Problem(where, f"it cannot be declared void: {why}", fixes.get(item.state, "it was never printed"))


def add_void(
    connection: Connection,
    unit_id: int,
    marker: str,
    who: str,
    reason: str,
    *,
    by_job: int | None = None,
    of_sheet: tuple[int, int] | None = None,
) -> None:
    """Declare a marker of a unit void, or only its copy on a sheet of a job; a print made later is good again."""
    last = connection.scalar(select(func.max(schema.job.c.id))) or 0
    row = {"uid": new_uid(), "unit_id": unit_id, "marker": marker, "at": now(), "after_job": last, "by_job": by_job}
    row["of_job"], row["of_sheet"] = of_sheet or (None, None)
    connection.execute(insert(schema.void), {**row, "who": who, "reason": reason})


def reason_problems(reason: str, where: Where) -> Iterator[Problem]:
    """Yield a problem if the reason is blank."""
    if not reason.strip():
        yield Problem(where, "this asks for a reason, and there is none", "say why in a few words")
