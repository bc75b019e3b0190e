"""A unit as one self-contained JSON value, out of a record and into another; and the copy of a whole record."""

from __future__ import annotations

import base64
import json
import sqlite3
import zlib
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, Engine, Table, func, insert, select

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.record import schema
from labeler.record.database import make_file, new_file
from labeler.record.faces import digest_of, face_from_text, stock_from_text
from labeler.record.find import NAMED
from labeler.record.jobs import is_unit, reads_like, rows_in
from labeler.record.values import Imported
from labeler.record.write import (
    Page,
    Shared,
    add,
    add_unit,
    add_used_cells,
    added,
    harness_id,
    keep_pages,
    live_prints,
    marker_digest,
    words_of,
)

SCHEMA = "unit 1"
LARGEST_BYTES = 1 << 28  # of a harness file: what is packed smaller than it is shall not fill the memory
MARKER = tuple(c.name for c in schema.marker.columns if c.name not in ("digest", "words"))
FACE = MARKER.index("face")
JOB = ("uid", "kind", "time", "user", "version", "reason", "date", "paper", "printer", "run", "output")
EVENT = ("state", "time", "user", "note")
VOID = ("uid", "marker", "time", "user", "reason")
HARNESS = ("name", "part_number", "revision", "sha256")
PIECE = ("marker", "cell", "x_mm", "y_mm")


# ---------------------------------------------------------------- out


def export_unit(connection: Connection, named: str) -> dict[str, Any]:
    """Return all of a unit as a value that JSON can hold. Raises LabelerError if there is no such unit, or several."""
    units = connection.execute(select(schema.unit).where(is_unit(named))).all()
    if len(units) != 1:
        known = ", ".join(sorted(f"{unit.part_number} {unit.serial}" for unit in units))
        what = f"it is one of {len(units)} units: {known}" if units else "it is not in the record"
        raise LabelerError(Problem(SourceLocation(f"unit {named}"), what, "name it by part number and serial"))
    unit = units[0]
    jobs = _rows(connection, schema.job.c.unit_id, {unit.id})
    harnesses = _rows(connection, schema.harness.c.id, {job.harness_id for job in jobs})
    sheets = _rows(connection, schema.sheet.c.job_id, {job.id for job in jobs})
    contents = {row.id: row for row in _rows(connection, schema.content.c.id, {sheet.content_id for sheet in sheets})}
    uids = {job.id: job.uid for job in jobs}
    places = {harness.id: place for place, harness in enumerate(harnesses)}
    return {
        "schema": SCHEMA,
        "unit": _out(unit, ("part_number", "serial", "time")),
        "harnesses": [_out(h, HARNESS) | {"text": base64.b64encode(h.text).decode("ascii")} for h in harnesses],
        **_shared_out(connection, contents),
        "jobs": [
            _job_out(
                connection, job, {s.number: contents[s.content_id].digest.hex() for s in sheets if s.job_id == job.id}
            )
            | {"harness": places[job.harness_id], "repeats_job": uids.get(job.repeats_job)}
            for job in jobs
        ],
        "voids": [
            _out(void, (*VOID, "of_sheet")) | {"by_job": uids.get(void.by_job), "of_job": uids.get(void.of_job)}
            for void in _rows(connection, schema.void.c.unit_id, {unit.id})
        ],
    }


def _shared_out(connection: Connection, contents: Mapping[int, Any]) -> dict[str, Any]:
    pieces = _rows(connection, schema.piece.c.content_id, contents)
    markers = _rows(connection, schema.marker.c.digest, {piece.marker for piece in pieces})
    faces = _rows(connection, schema.face.c.digest, {m.face for m in markers if m.face})
    stocks = _rows(connection, schema.stock.c.digest, {c.stock for c in contents.values() if c.stock})
    by_content: dict[int, list[Any]] = {}
    for piece in pieces:
        by_content.setdefault(piece.content_id, []).append([*_out(piece, PIECE).values()])
    return {
        "stocks": {row.digest.hex(): row.text for row in stocks},
        "faces": {row.digest.hex(): row.text for row in faces},
        "markers": {m.digest.hex(): _out(m, MARKER) for m in markers},
        "contents": {
            c.digest.hex(): _out(c, ("stock", "width_mm", "height_mm"))
            | {"load": c.load, "pieces": by_content.get(c.id, [])}
            for c in contents.values()
        },
    }


def _job_out(connection: Connection, job: Any, sheets: Mapping[int, str]) -> dict[str, Any]:
    def own(table: Table) -> list[Any]:
        return _rows(connection, table.c.job_id, {job.id})

    return _out(job, JOB) | {
        "fonts": {font.font: font.digest for font in own(schema.job_font)},
        "events": [_out(event, EVENT) for event in own(schema.job_event)],
        "sheets": {str(number): content for number, content in sheets.items()},
        "about": {str(row.number): row.about for row in own(schema.sheet_about)},
        "used_cells": [[row.stock, row.used_cells] for row in own(schema.partial_sheet)],
    }


def _rows(connection: Connection, column: Column[Any], wanted: Iterable[Any]) -> list[Any]:
    """Return the rows of a table of which a column has one of the values, in the order of its key."""
    statement = select(column.table).order_by(*column.table.primary_key)
    return list(rows_in(connection, statement, column, set(wanted)))


def _out(row: Any, names: Iterable[str]) -> dict[str, Any]:
    """Return columns of a row as JSON holds them."""
    values = ((name, getattr(row, name)) for name in names)
    return {name: value.hex() if isinstance(value, bytes) else value for name, value in values}


# ---------------------------------------------------------------- in


def import_unit(connection: Connection, exported: object, where: SourceLocation) -> Imported:
    """Add what an exported unit says and the record does not hold yet; the same again adds nothing.

    Raises LabelerError where it does not read back, or the record has another unit of that serial.
    """
    try:
        return _import(connection, _read(exported, where))
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, RecursionError, zlib.error) as error:
        why = f"{type(error).__name__}: {' '.join(str(error).split())[:120]}"
        raise _not_read(where, f"it does not read as an exported unit ({why})") from error


def _not_read(where: SourceLocation, what: str) -> LabelerError:
    return LabelerError(Problem(where, what, "export the unit again; nothing was added"))


@dataclass(frozen=True, slots=True)
class _Exported:
    """An exported unit whose digests hold; every value is asked for with its type where it is used."""

    where: SourceLocation
    unit: Mapping[str, Any]
    jobs: Sequence[Any]
    voids: Sequence[Any]
    harnesses: Sequence[Mapping[str, Any]]
    contents: Mapping[str, Any]
    shared: Shared


def _read(value: object, where: SourceLocation) -> _Exported:
    if not isinstance(value, Mapping):
        raise TypeError("it is no object")
    if value.get("schema") != SCHEMA:
        message = f"its schema is {value.get('schema')!r}; this version reads {SCHEMA!r}"
        raise LabelerError(
            Problem(where, message, "export the unit with this version, or import it with the version that exported it")
        )
    for name in ("harnesses", "jobs", "voids"):
        if not isinstance(value[name], list):
            raise TypeError(f"{name} is no list")
    harnesses = [_harness_of(row) for row in value["harnesses"]]
    for texts, reads_back in ((value["stocks"], stock_from_text), (value["faces"], face_from_text)):
        for text in texts.values():
            reads_back(_text(text))
    stocks, faces = ({digest_of(text): text for text in value[name].values()} for name in ("stocks", "faces"))
    markers = {marker_digest(line): line for line in map(_marker_of, value["markers"].values())}
    digests: dict[str, Iterable[bytes]] = {"stocks": stocks, "faces": faces, "markers": markers}
    for name, known in digests.items():
        if {digest.hex() for digest in known} != set(value[name]):
            raise _not_read(where, f"{name} in it do not have the digests they are known by")
    lost = {line[FACE] for line in markers.values()} - {None} - set(faces)
    if lost:
        raise _not_read(where, f"{len(lost)} faces that its markers have are not in it")
    shared = Shared(stocks, faces, markers)
    return _Exported(where, value["unit"], value["jobs"], value["voids"], harnesses, value["contents"], shared)


def _page(exported: _Exported, number: int, name: str) -> Page:
    """Return a sheet of a job, of the content of this name."""
    row = exported.contents[name]
    lines = tuple((bytes.fromhex(m), _text(cell), _number(x), _number(y)) for m, cell, x, y in row["pieces"])
    stock = bytes.fromhex(row["stock"]) if row["stock"] else None
    size = _number(row["width_mm"]), _number(row["height_mm"])
    page = Page(number, stock, *size, _text(row["load"]), lines)
    if page.digest.hex() != name or not {line[0] for line in lines} <= set(exported.shared.markers):
        raise _not_read(exported.where, f"sheet content {name} is not what it is known by")
    return page


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


def _texts(row: Mapping[str, Any], names: Iterable[str]) -> dict[str, Any]:
    return {name: _text(row[name]) for name in names}


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
        raise TypeError(f"{value!r} is no length")
    return float(value)


def _harness_of(row: Mapping[str, Any]) -> dict[str, Any]:
    packed = base64.b64decode(_text(row["text"]), validate=True)
    unpacking = zlib.decompressobj()
    read = unpacking.decompress(packed, LARGEST_BYTES)
    if not unpacking.eof or sha256(read).hexdigest() != row["sha256"]:
        raise ValueError("what was read of the harness has another digest, or is too large")
    return _texts(row, HARNESS) | {"text": packed}


def _marker_of(row: Mapping[str, Any]) -> tuple[Any, ...]:
    values = _texts(row, (name for name in MARKER if name not in ("cut_length_mm", "face", "omit_reason")))
    names = tuple(values[name] for name in NAMED)
    values["cut_length_mm"] = _number(row["cut_length_mm"])
    values["face"] = bytes.fromhex(row["face"]) if row["face"] else None
    values["omit_reason"] = None if row["omit_reason"] is None else _text(row["omit_reason"])
    return (*(values[name] for name in MARKER), words_of(names))


def _import(connection: Connection, exported: _Exported) -> Imported:
    part_number, serial = _text(exported.unit["part_number"]), _text(exported.unit["serial"])
    name, unit_id = f"{part_number} {serial}", _unit_id(connection, exported, part_number, serial)
    c = schema.job.c
    known = {row.uid: row.id for row in connection.execute(select(c.uid, c.id).where(c.unit_id == unit_id))}
    before, states = len(known), 0
    for job in exported.jobs:
        if job["uid"] not in known:
            known[job["uid"]] = _add_job(connection, exported, job, unit_id, known)
        states += _add_states(connection, known[job["uid"]], job["events"])
    prints = live_prints(connection, unit_id)
    if len(prints) > 1:
        message = f"unit {name} is another one here: job {prints[0].id} printed it on {prints[0].time[:10]}"
        raise LabelerError(Problem(exported.where, message, "one serial is one unit: keep them in two records"))
    voids = _add_voids(connection, exported, unit_id)
    return Imported(name, len(known) - before, states, voids)


def _unit_id(connection: Connection, exported: _Exported, part_number: str, serial: str) -> int:
    """Return the unit here, made where there is none. Raises LabelerError where a serial reads like it."""
    found = connection.execute(select(schema.unit).where(reads_like(part_number, serial))).first()
    if found is None:
        return add_unit(connection, part_number, serial, _text(exported.unit["time"]))
    if found.serial != serial:
        message = f"the serial {serial} reads like {found.serial}, which this record has"
        raise LabelerError(Problem(exported.where, message, "they are two units: keep them in two records"))
    return int(found.id)


def _add_job(
    connection: Connection, exported: _Exported, job: Mapping[str, Any], unit_id: int, known: Mapping[str, int]
) -> int:
    row = _texts(job, JOB)
    if row["kind"] not in KINDS:
        raise ValueError(f"a job of kind {row['kind']!r}")
    repeats_job = known[job["repeats_job"]] if job["repeats_job"] is not None else None
    harness = dict(exported.harnesses[job["harness"]])
    packed = harness.pop("text")
    known_harness = harness_id(connection, harness, lambda: packed)
    job_id = added(
        connection, schema.job, {**row, "unit_id": unit_id, "harness_id": known_harness, "repeats_job": repeats_job}
    )
    sheets = job["sheets"]
    pages = [_page(exported, int(number), sheets[number]) for number in sorted(sheets, key=int)]
    keep_pages(connection, job_id, pages, exported.shared)
    add(connection, schema.job_font, ((job_id, _text(name), _text(digest)) for name, digest in job["fonts"].items()))
    abouts = job["about"].items()
    add(connection, schema.sheet_about, ((job_id, int(number), _text(about)) for number, about in abouts))
    add_used_cells(connection, job_id, {_text(stock): _text(cells).split() for stock, cells in job["used_cells"]})
    return job_id


KINDS = ("print", "reprint", "revision")
NOTES: dict[str, type] = {"pending": str, "drawn": dict, "printed": list, "cancelled": str}


def _add_states(connection: Connection, job_id: int, events: Iterable[Mapping[str, Any]]) -> int:
    c = schema.job_event.c
    known = set(connection.scalars(select(c.state).where(c.job_id == job_id)))
    new = [_texts(event, EVENT) for event in events if event["state"] not in known]
    for row in new:
        kind = NOTES.get(row["state"])
        if kind is None:
            raise ValueError(f"a state {row['state']!r}")
        if kind is not str and not isinstance(json.loads(row["note"]), kind):
            raise ValueError("files that cannot be read")
        connection.execute(insert(schema.job_event), {"job_id": job_id, **row})
    return len(new)


def _add_voids(connection: Connection, exported: _Exported, unit_id: int) -> int:
    v, j = schema.void.c, schema.job.c
    known = set(connection.scalars(select(v.uid).where(v.unit_id == unit_id)))
    jobs = {row.uid: row.id for row in connection.execute(select(j.uid, j.id).where(j.unit_id == unit_id))}
    new = [void for void in exported.voids if void["uid"] not in known]
    for void in new:
        row, of_sheet = _texts(void, VOID), void["of_sheet"]
        before = select(func.max(j.id)).where(j.unit_id == unit_id, j.time <= row["time"])
        row |= {"unit_id": unit_id, "after_job": connection.scalar(before) or 0, "of_sheet": of_sheet}
        row["by_job"] = None if void["by_job"] is None else jobs[void["by_job"]]
        row["of_job"] = None if of_sheet is None else jobs[void["of_job"]]
        if of_sheet is not None and type(of_sheet) is not int:
            raise TypeError(f"{of_sheet!r} is no number of a sheet")
        connection.execute(insert(schema.void), row)
    return len(new)


# ---------------------------------------------------------------- backup


ROWS = 10_000  # carried over at a time


def back_up(engine: Engine, target: Path) -> None:
    """Copy a record, as it is at one moment, into a new SQLite file, while others go on using it.

    Raises LabelerError where the file exists or cannot be written.
    """
    make_file(target, partial(_copy_file if engine.dialect.name == "sqlite" else _copy_rows, engine))


def _copy_file(engine: Engine, draft: Path) -> None:
    with engine.connect() as connection, closing(sqlite3.connect(draft)) as made:
        connection.connection.driver_connection.backup(made)  # type: ignore[union-attr]


def _copy_rows(engine: Engine, draft: Path) -> None:
    with new_file(draft) as other, engine.begin() as source, other.begin() as made:
        for table in schema.metadata.sorted_tables:
            rows = source.execution_options(yield_per=ROWS).execute(select(table))
            for some in rows.partitions(ROWS):
                if table is not schema.schema_version:
                    made.execute(insert(table), [dict(row._mapping) for row in some])
