"""Everything that adds to the record. Each function works inside one write transaction."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from hashlib import sha256
from importlib import import_module
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.model import Harness, Sheet
from labeler.record import schema
from labeler.record.faces import digest_of, face_to_text, rounded, stock_to_text
from labeler.record.jobs import COUNTED_DIGITS, number_of
from labeler.record.values import LeftOut, MarkerRow, NewJob, Recorded

SERIAL_DIGITS = 4  # "0001": project choice, ten thousand units sort as text
LONGEST_SERIAL = 40  # has to stand on a tag: project choice
Line = tuple[Any, ...]


def now() -> str:
    """Return the time, UTC, as the record writes it: 2026-03-01T08:15:30.250Z."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


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
        refuse(_serial_problems(serial))
        found = _unit_like(connection, part_number, serial)
        if found is not None:
            return _take_reserved(connection, found, part_number, serial)
    row = {"part_number": part_number, "serial": serial, "number": number_of(serial), "at": now()}
    return _added(connection, schema.unit, row), serial


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


def _serial_problems(serial: str) -> Iterator[Problem]:
    if not serial:
        yield Problem(Where("serial"), "the serial is empty", "leave it out to get the next number")
    if len(serial) > LONGEST_SERIAL:
        message = f"the serial has {len(serial)} characters, the limit is {LONGEST_SERIAL}"
        yield Problem(Where("serial"), message, "use a shorter one")
    if not serial.isprintable():
        yield Problem(Where("serial"), f"the serial {serial!r} has unprintable characters", "remove them")


def _unit_like(connection: Connection, part_number: str, serial: str) -> Any:
    c = schema.unit.c
    same = func.lower(c.serial) == serial.lower()  # file systems and people take them for the same
    number = number_of(serial)
    if number is not None:
        same = same | (c.number == number)
    return connection.execute(select(c.id, c.serial).where(c.part_number == part_number, same)).first()


def _take_reserved(connection: Connection, found: Any, part_number: str, serial: str) -> tuple[int, str]:
    where = Where(f"{part_number} {serial}")
    if found.serial != serial:
        message = f"the serial {serial} reads like {found.serial}, which was given before"
        raise LabelerError(Problem(where, message, "leave the serial out to get the next number"))
    refuse(_print_problems(connection, found.id, where))
    return int(found.id), serial


def _print_problems(connection: Connection, unit_id: int, where: Where) -> Iterator[Problem]:
    job, event = schema.job.c, schema.job_event.c
    gone = select(event.job_id).where(event.state == "withdrawn")
    live = connection.execute(
        select(job.id, job.at).where(job.unit_id == unit_id, job.kind == "print", job.id.not_in(gone))
    ).first()
    if live is not None:
        yield Problem(
            where,
            f"the unit was printed by job {live.id} on {live.at[:10]}",
            f"reprint what is missing, withdraw job {live.id} if its sheets were never used, "
            "or leave the serial out to get the next number",
        )


# ---------------------------------------------------------------- jobs


def prepare(connection: Connection, new: NewJob) -> int:
    """Write a whole print in the state "prepared" and return its job number.

    Raises LabelerError for a marker that is not described, a font without a digest, nothing
    to record, or a unit that was printed already.
    """
    refuse(_new_job_problems(new))
    unit_id, serial = take_serial(connection, new.harness, new.serial)
    refuse(_print_problems(connection, unit_id, Where(f"{part_number_of(new.harness)} {serial}")))
    harness_id = _harness_id(connection, new.harness)
    job_id = _new_job(connection, "print", unit_id, harness_id, new.who, new.version, new.reason)
    _keep(connection, job_id, new.sheets, new.markers, new.left_out, new.fonts)
    return job_id


def prepare_reprint(
    connection: Connection,
    job_of_first_print: int,
    items: Sequence[Recorded],
    sheets: Sequence[Sheet],
    fonts: Mapping[str, str],
    who: str,
    version: str,
    reason: str,
) -> int:
    """Write a reprint of the items in the state "prepared" and return its job number.

    Raises LabelerError for an item of a job that was withdrawn.
    """
    refuse(_withdrawn_problems(connection, {item.job for item in items}))
    c = schema.job.c
    first = connection.execute(select(c.unit_id, c.harness_id).where(c.id == job_of_first_print)).one()
    job_id = _new_job(connection, "reprint", first.unit_id, first.harness_id, who, version, reason)
    _keep(connection, job_id, sheets, {item.row.id: item.row for item in items}, (), fonts)
    return job_id


def _withdrawn_problems(connection: Connection, jobs: Iterable[int]) -> Iterator[Problem]:
    for job_id in sorted(jobs):
        if state_of(connection, job_id) == "withdrawn":
            fix = "reprint from the print that took its place, or print the unit"
            yield Problem(Where(f"job {job_id}"), "it was withdrawn: what it printed does not count", fix)


def _new_job_problems(new: NewJob) -> Iterator[Problem]:
    where = Where(new.harness.name)
    if not new.sheets and not new.markers and not new.left_out:
        yield Problem(where, "there is nothing to record: no sheet and no marker", "check the harness file")
    placed = {piece.piece.marker for sheet in new.sheets for piece in sheet.placed}
    for marker in sorted(placed - new.markers.keys()):
        yield Problem(where, f"{marker} stands on a sheet and is not described", "describe every marker")
    for left in new.left_out:
        if left.row.id in placed:
            yield Problem(where, f"{left.row.id} is left out and stands on a sheet", "settle which it is")
    for font in sorted(fonts_in(new.sheets) - new.fonts.keys()):
        yield Problem(where, f'the font "{font}" has no digest', "give the digest of every font file")


def fonts_in(sheets: Iterable[Sheet]) -> set[str]:
    """Return the names of the fonts that are drawn on the sheets."""
    return {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}


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
    return _added(connection, schema.harness, {**key, "text": zlib.compress(harness.text, 3)})


def _new_job(
    connection: Connection, kind: str, unit_id: int, harness_id: int, who: str, version: str, reason: str
) -> int:
    row = {"kind": kind, "unit_id": unit_id, "harness_id": harness_id, "at": now()}
    job_id = _added(connection, schema.job, {**row, "who": who, "version": version, "reason": reason})
    add_event(connection, job_id, "prepared", "")
    return job_id


def add_event(connection: Connection, job_id: int, state: str, note: str) -> None:
    """Add a state to a job; the database refuses a state that it has already."""
    row = {"job_id": job_id, "state": state, "at": now(), "note": note}
    connection.execute(insert(schema.job_event), row)


def confirm(connection: Connection, job_id: int, files: Sequence[str]) -> None:
    """Say that the files of a prepared job were handed over. Raises LabelerError if it is not prepared."""
    state = state_of(connection, job_id)
    if state != "prepared":
        fix = "look at the job; print or reprint what is needed as a new job"
        raise LabelerError(Problem(Where(f"job {job_id}"), f"it cannot be confirmed: it is {state}", fix))
    add_event(connection, job_id, "printed", json.dumps(list(files), ensure_ascii=False))


def withdraw(connection: Connection, job_id: int, reason: str) -> None:
    """Say that a job's sheets do not count. Raises LabelerError without a reason, or the second time."""
    refuse(reason_problems(reason, Where(f"job {job_id}")))
    if state_of(connection, job_id) == "withdrawn":
        message = "it was withdrawn before"
        raise LabelerError(Problem(Where(f"job {job_id}"), message, "nothing is left to be done"))
    add_event(connection, job_id, "withdrawn", reason)


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


def add_void(connection: Connection, unit_id: int, marker: str, who: str, reason: str) -> None:
    """Declare a marker of a unit void; a print made later is good again."""
    last = connection.scalar(select(func.max(schema.job.c.id))) or 0
    row = {"unit_id": unit_id, "marker": marker, "at": now(), "after_job": last}
    connection.execute(insert(schema.void), {**row, "who": who, "reason": reason})


def reason_problems(reason: str, where: Where) -> Iterator[Problem]:
    """Yield a problem if the reason is blank."""
    if not reason.strip():
        yield Problem(where, "this asks for a reason, and there is none", "say why in a few words")


# ---------------------------------------------------------------- rows


def _keep(
    connection: Connection,
    job_id: int,
    sheets: Sequence[Sheet],
    markers: Mapping[str, MarkerRow],
    left_out: Sequence[LeftOut],
    fonts: Mapping[str, str],
) -> None:
    texts = {stock: stock_to_text(stock) for stock in {sheet.stock for sheet in sheets}}
    stocks = [texts[sheet.stock] for sheet in sheets]
    faces: dict[bytes, str] = {}
    lines = _lines(job_id, sheets, markers, left_out, faces)
    _add_new(connection, schema.stock, {digest_of(text): text for text in stocks})
    _add_new(connection, schema.face, faces)
    _add(connection, schema.sheet, (_sheet_line(job_id, *pair) for pair in zip(sheets, stocks, strict=True)))
    _add(connection, schema.marker, lines)
    used = fonts_in(sheets)
    _add(connection, schema.job_font, ((job_id, n, digest) for n, digest in fonts.items() if n in used))


def _sheet_line(job_id: int, sheet: Sheet, stock: str) -> Line:
    return (job_id, sheet.number, digest_of(stock), sheet.width_mm, sheet.height_mm, sheet.group)


def _lines(
    job_id: int,
    sheets: Sequence[Sheet],
    markers: Mapping[str, MarkerRow],
    left_out: Sequence[LeftOut],
    faces: dict[bytes, str],
) -> list[Line]:
    """Return the rows of `schema.marker`; the text of every face goes into ``faces``."""
    lines: list[Line] = []
    placed: set[str] = set()
    for sheet in sheets:
        for p in sheet.placed:
            piece = p.piece
            text = face_to_text(piece.face)
            digest = digest_of(text)
            faces[digest] = text
            group = None if piece.group == sheet.group else piece.group
            place = (digest, sheet.number, p.cell, rounded(p.x_mm), rounded(p.y_mm), group, None)
            lines.append((job_id, len(lines), *_info(markers[piece.marker]), *place))
            placed.add(piece.marker)
    reasons = {left.row.id: (left.row, left.reason) for left in left_out}
    plain = {name: (row, None) for name, row in markers.items() if name not in placed}
    for row, reason in {**plain, **reasons}.values():
        lines.append((job_id, len(lines), *_info(row), None, None, None, None, None, None, reason))
    return lines


def _info(row: MarkerRow) -> Line:
    info = (row.id, row.kind, row.role, row.at, row.branch, row.circuit, row.label, row.tube)
    return (*info, rounded(row.cut_length_mm))


def _added(connection: Connection, table: Table, row: Mapping[str, object]) -> int:
    key = connection.execute(insert(table), row).inserted_primary_key
    return int(key[0]) if key else 0


def _add(connection: Connection, table: Table, lines: Iterable[Line]) -> None:
    _add_many(connection, insert(table), table, list(lines))


def _add_new(connection: Connection, table: Table, texts: Mapping[bytes, str]) -> None:
    """Add the texts that are not there yet, in the order of their digests, which is the table's own."""
    dialect: Any = import_module(f"sqlalchemy.dialects.{connection.dialect.name}")
    _add_many(connection, dialect.insert(table).on_conflict_do_nothing(), table, sorted(texts.items()))


def _add_many(connection: Connection, statement: Any, table: Table, lines: list[Line]) -> None:
    """Insert many rows, bound as tuples where the driver takes them: half the time of dictionaries."""
    if not lines:
        return
    names = [column.name for column in table.columns]
    compiled = statement.compile(dialect=connection.dialect, column_keys=names)
    if compiled.positional:
        connection.exec_driver_sql(str(compiled), lines)
    else:
        connection.execute(statement, [dict(zip(names, line, strict=True)) for line in lines])
