"""Verifying a whole record: digests, references, states, and that every face can be read."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, Row, Table, func, select

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.model import Face
from labeler.record import schema
from labeler.record.database import name_of
from labeler.record.faces import digest_of, face_from_text, stock_from_text
from labeler.record.jobs import cancelled_jobs
from labeler.record.write import content_digest, marker_digest

RESTORE = "restore the record from its latest copy"
KNOWN = {"pending", "drawn", "printed", "cancelled"}


def problems(connection: Connection) -> tuple[Problem, ...]:
    """Return everything that is wrong in a record: what does not read back, and what refers to nothing."""
    name = name_of(connection.engine.url)
    checks = (_file, _references, _harnesses, _texts, _markers, _contents, _jobs, _units)
    return tuple(
        Problem(SourceLocation(f"{name}: {where}"), message, RESTORE)
        for check in checks
        for where, message in check(connection)
    )


Found = Iterator[tuple[str, str]]  # where it is, what is wrong


def _file(connection: Connection) -> Found:
    if connection.dialect.name == "sqlite":
        for (line,) in connection.exec_driver_sql("PRAGMA integrity_check(20)"):
            if line != "ok":
                yield "the file", " ".join(str(line).split())


def _references(connection: Connection) -> Found:
    """Look for rows that refer to nothing: a server does not let them in, nor does SQLite when it is asked to."""
    for table in schema.metadata.sorted_tables:
        for constraint in table.foreign_keys:
            own, other = constraint.parent, constraint.column
            lost = select(func.count()).where(own.is_not(None), own.not_in(select(other)))
            number = connection.scalar(lost.select_from(table))
            if number:
                yield f"table {table.name}", f"{number} rows refer to no {other.table.name}"


def _harnesses(connection: Connection) -> Found:
    for row in connection.execute(select(schema.harness)):
        where = f"harness {row.id} ({row.name})"
        try:
            read = zlib.decompress(row.text)
        except zlib.error as error:
            yield where, f"what was read cannot be unpacked ({error})"
        else:
            if sha256(read).hexdigest() != row.sha256:
                yield where, "what was read has another digest"


def _texts(connection: Connection) -> Found:
    readers: dict[Table, Callable[[str], object]] = {schema.stock: stock_from_text, schema.face: face_from_text}
    for table, read in readers.items():
        for row in connection.execute(select(table)):
            where = f"{table.name} {row.digest.hex()}"
            if digest_of(row.text) != row.digest:
                yield where, "its digest is another one"
            try:
                read(row.text)
            except LabelerError as error:
                yield where, error.problems[0].message


def _markers(connection: Connection) -> Found:
    for row in connection.execute(select(schema.marker)):
        if marker_digest(tuple(row)[1:]) != row.digest:
            yield f"marker {row.marker}", "its digest is another one"


def _contents(connection: Connection) -> Found:
    pieces: dict[int, list[Row[Any]]] = {}
    for row in connection.execute(select(schema.piece).order_by(schema.piece.c.content_id, schema.piece.c.line)):
        pieces.setdefault(row.content_id, []).append(row)
    for row in connection.execute(select(schema.content)):
        lines = [(p.marker, p.cell, p.x_mm, p.y_mm) for p in pieces.get(row.id, ())]
        if content_digest((row.stock, row.width_mm, row.height_mm, row.load), lines) != row.digest:
            yield f"content {row.id} of sheets", "its digest is another one"


def _jobs(connection: Connection) -> Found:
    states: dict[int, set[str]] = {}
    for event in connection.execute(select(schema.job_event)):
        states.setdefault(event.job_id, set()).add(event.state)
        if event.state == "printed" and not _is_list(event.note):
            yield f"job {event.job_id}", "its list of files cannot be read"
    numbers: dict[int, set[int]] = {}
    for sheet in connection.execute(select(schema.sheet)):
        numbers.setdefault(sheet.job_id, set()).add(sheet.number)
    for job in connection.execute(select(schema.job)):
        known = states.get(job.id, set())
        if "pending" not in known or not known <= KNOWN:
            yield f"job {job.id}", f"its states are {', '.join(sorted(known)) or 'none'}"
        if not numbers.get(job.id) and job.kind != "revision":  # one of those may only take markers off
            yield f"job {job.id}", "it has no sheet and no marker"
        if job.kind == "reprint" and job.repeats_job is None:
            yield f"job {job.id}", "it is a reprint of no job"


def _is_list(note: str) -> bool:
    try:
        files = json.loads(note)
    except ValueError:
        return False
    return isinstance(files, list) and all(isinstance(name, str) for name in files)


def _units(connection: Connection) -> Found:
    """Look for serials that were given twice: two prints of one unit of which neither was cancelled."""
    job, prints = schema.job.c, func.count().label("prints")
    live = select(job.unit_id, prints).where(job.kind == "print", job.id.not_in(cancelled_jobs()))
    twice = live.group_by(job.unit_id).having(func.count() > 1).subquery()
    unit = schema.unit
    for row in connection.execute(select(unit, twice.c.prints).join(twice, twice.c.unit_id == unit.c.id)):
        yield f"unit {row.part_number} {row.serial}", f"it was printed {row.prints} times as new"


def faces(connection: Connection) -> tuple[Face, ...]:
    """Return every distinct face that was ever drawn and reads back; `problems` has those that do not."""
    found = []
    for text in connection.scalars(select(schema.face.c.text)):
        with suppress(LabelerError):
            found.append(face_from_text(text))
    return tuple(found)


def fonts(connection: Connection) -> dict[tuple[str, str], int]:
    """Return every font that was drawn with, by name and digest of its file, and in how many jobs."""
    font = schema.job_font.c
    rows = connection.execute(select(font.font, font.digest, func.count()).group_by(font.font, font.digest))
    return {(row[0], row[1]): row[2] for row in rows}
