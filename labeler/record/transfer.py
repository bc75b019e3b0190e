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

from sqlalchemy import Connection, Engine, func, insert, select

from labeler.errors import LabelerError, Problem, Where
from labeler.record import schema
from labeler.record.database import make_file, new_file
from labeler.record.faces import digest_of, face_from_text, stock_from_text
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

FORM = 2
READ = (1, 2)  # forms
LARGEST_BYTES = 1 << 28  # of a harness file: what is packed smaller than it is shall not fill the memory
MARKER = tuple(c.name for c in schema.marker.columns if c.name not in ("digest", "words"))
FACE = MARKER.index("face")
JOB = ("uid", "kind", "at", "who", "version", "reason", "date", "paper", "printer", "run", "output")
EVENT = ("state", "at", "who", "note")
VOID = ("uid", "marker", "at", "who", "reason")


# ---------------------------------------------------------------- out


def export_unit(connection: Connection, named: str) -> dict[str, Any]:
    """Return all of a unit as a value that JSON can hold. Raises LabelerError if there is no such unit, or several."""
    units = connection.execute(select(schema.unit).where(is_unit(named))).all()
    if len(units) != 1:
        known = ", ".join(sorted(f"{unit.part_number} {unit.serial}" for unit in units))
        what = f"it is one of {len(units)} units: {known}" if units else "it is not in the record"
        raise LabelerError(Problem(Where(f"unit {named}"), what, "name it by part number and serial"))
    unit = units[0]
    j, v = schema.job.c, schema.void.c
    jobs = connection.execute(select(schema.job).where(j.unit_id == unit.id).order_by(j.id)).all()
    voids = connection.execute(select(schema.void).where(v.unit_id == unit.id).order_by(v.id))
    harnesses = _rows(connection, schema.harness, schema.harness.c.id, {job.harness_id for job in jobs})
    sheets = _rows(connection, schema.sheet, schema.sheet.c.job_id, {job.id for job in jobs})
    contents = _rows(connection, schema.content, schema.content.c.id, {sheet.content_id for sheet in sheets})
    return {
        "form": FORM,
        "unit": {"part_number": unit.part_number, "serial": unit.serial, "at": unit.at},
        "harnesses": [_harness_out(harness) for harness in harnesses],
        **_shared_out(connection, contents),
        "jobs": _jobs_out(connection, jobs, sheets, harnesses, contents),
        "voids": [_void_out(void, {job.id: job.uid for job in jobs}) for void in voids],
    }


def _shared_out(connection: Connection, contents: list[Any]) -> dict[str, Any]:
    pieces = _rows(connection, schema.piece, schema.piece.c.content_id, {content.id for content in contents})
    markers = _rows(connection, schema.marker, schema.marker.c.digest, {piece.marker for piece in pieces})
    faces = _rows(connection, schema.face, schema.face.c.digest, {m.face for m in markers if m.face})
    stocks = _rows(connection, schema.stock, schema.stock.c.digest, {c.stock for c in contents if c.stock})
    by_content: dict[int, list[Any]] = {}
    for piece in pieces:
        by_content.setdefault(piece.content_id, []).append(piece)
    return {
        "stocks": {row.digest.hex(): row.text for row in stocks},
        "faces": {row.digest.hex(): row.text for row in faces},
        "markers": {m.digest.hex(): {name: _plain(getattr(m, name)) for name in MARKER} for m in markers},
        "contents": {c.digest.hex(): _content_out(c, by_content.get(c.id, [])) for c in contents},
    }


def _jobs_out(
    connection: Connection, jobs: Sequence[Any], sheets: list[Any], harnesses: list[Any], contents: list[Any]
) -> list[dict[str, Any]]:
    ids = {job.id for job in jobs}
    events = _rows(connection, schema.job_event, schema.job_event.c.job_id, ids)
    fonts = _rows(connection, schema.job_font, schema.job_font.c.job_id, ids)
    abouts = _rows(connection, schema.sheet_about, schema.sheet_about.c.job_id, ids)
    used = _rows(connection, schema.partly_used, schema.partly_used.c.job_id, ids)
    uids = {job.id: job.uid for job in jobs}
    place_of = {harness.id: place for place, harness in enumerate(harnesses)}
    digest_of_content = {content.id: content.digest.hex() for content in contents}
    return [
        {name: getattr(job, name) for name in JOB}
        | {
            "harness": place_of[job.harness_id],
            "of_job": uids.get(job.of_job),
            "fonts": {font.font: font.digest for font in fonts if font.job_id == job.id},
            "events": [{name: getattr(event, name) for name in EVENT} for event in events if event.job_id == job.id],
            "sheets": {str(s.number): digest_of_content[s.content_id] for s in sheets if s.job_id == job.id},
            "about": {str(a.number): a.about for a in abouts if a.job_id == job.id},
            "used": [[one.stock, one.cells] for one in used if one.job_id == job.id],
        }
        for job in jobs
    ]


def _rows(connection: Connection, table: Any, column: Any, wanted: Iterable[Any]) -> list[Any]:
    return list(rows_in(connection, select(table).order_by(*table.primary_key.columns), column, set(wanted)))


def _plain(value: object) -> object:
    return value.hex() if isinstance(value, bytes) else value


def _harness_out(row: Any) -> dict[str, Any]:
    about = {name: getattr(row, name) for name in ("name", "part_number", "revision", "sha256")}
    return about | {"text": base64.b64encode(row.text).decode("ascii")}


def _void_out(row: Any, uids: Mapping[int, str]) -> dict[str, Any]:
    about = {"by_job": uids.get(row.by_job), "of_job": uids.get(row.of_job), "of_sheet": row.of_sheet}
    return {name: getattr(row, name) for name in VOID} | about


def _content_out(row: Any, pieces: Iterable[Any]) -> dict[str, Any]:
    about = {"stock": _plain(row.stock), "width_mm": row.width_mm, "height_mm": row.height_mm, "group": row.group_name}
    return about | {"pieces": [[p.marker.hex(), p.cell, p.x_mm, p.y_mm] for p in pieces]}


# ---------------------------------------------------------------- in


def import_unit(connection: Connection, exported: object, where: Where) -> Imported:
    """Add what an exported unit says and the record does not hold yet; the same again adds nothing.

    Raises LabelerError where it does not read back, or the record has another unit of that serial.
    """
    try:
        return _import(connection, _read(exported, where))
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, RecursionError, zlib.error) as error:
        why = f"{type(error).__name__}: {' '.join(str(error).split())[:120]}"
        raise _not_read(where, f"it does not read as an exported unit ({why})") from error


def _not_read(where: Where, what: str) -> LabelerError:
    return LabelerError(Problem(where, what, "export the unit again; nothing was added"))


@dataclass(frozen=True, slots=True)
class _Exported:
    """An exported unit whose digests hold; every value is asked for with its type where it is used."""

    where: Where
    unit: Mapping[str, Any]
    jobs: Sequence[Any]
    voids: Sequence[Any]
    harnesses: Sequence[Mapping[str, Any]]
    contents: Mapping[str, Any]
    shared: Shared


def _read(value: object, where: Where) -> _Exported:
    if not isinstance(value, Mapping):
        raise TypeError("it is no object")
    if value["form"] not in READ:
        message = f"it is of form {value['form']!r}, this version reads forms 1 to {FORM}"
        raise LabelerError(Problem(where, message, "use the version that exported it, or a newer one"))
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
    page = Page(number, stock, *size, _text(row["group"]), lines)
    if page.digest.hex() != name or not {line[0] for line in lines} <= set(exported.shared.markers):
        raise _not_read(exported.where, f"sheet content {name} is not what it is known by")
    return page


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


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
    return {name: _text(row[name]) for name in ("name", "part_number", "revision", "sha256")} | {"text": packed}


def _marker_of(row: Mapping[str, Any]) -> tuple[Any, ...]:
    texts = {name: _text(row[name]) for name in MARKER if name not in ("cut_length_mm", "face", "left_out")}
    values: dict[str, Any] = {**texts, "cut_length_mm": _number(row["cut_length_mm"])}
    values["face"] = bytes.fromhex(row["face"]) if row["face"] else None
    values["left_out"] = None if row["left_out"] is None else _text(row["left_out"])
    names = (texts[name] for name in ("marker", "at", "branch", "circuit", "label"))
    return (*(values[name] for name in MARKER), words_of(tuple(names)))


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
        message = f"unit {name} is another one here: job {prints[0].id} printed it on {prints[0].at[:10]}"
        raise LabelerError(Problem(exported.where, message, "one serial is one unit: keep them in two records"))
    voids = _add_voids(connection, exported, unit_id)
    return Imported(name, len(known) - before, states, voids)


def _unit_id(connection: Connection, exported: _Exported, part_number: str, serial: str) -> int:
    """Return the unit here, made where there is none. Raises LabelerError where a serial reads like it."""
    found = connection.execute(select(schema.unit).where(reads_like(part_number, serial))).first()
    if found is None:
        return add_unit(connection, part_number, serial, _text(exported.unit["at"]))
    if found.serial != serial:
        message = f"the serial {serial} reads like {found.serial}, which this record has"
        raise LabelerError(Problem(exported.where, message, "they are two units: keep them in two records"))
    return int(found.id)


def _add_job(
    connection: Connection, exported: _Exported, job: Mapping[str, Any], unit_id: int, known: Mapping[str, int]
) -> int:
    older = {"run": job["uid"], "output": ""}
    row = {name: _text(job.get(name, older.get(name))) for name in JOB}
    if row["kind"] not in KINDS:
        raise ValueError(f"a job of kind {row['kind']!r}")
    of_job = known[job["of_job"]] if job["of_job"] is not None else None
    harness = dict(exported.harnesses[job["harness"]])
    packed = harness.pop("text")
    known_harness = harness_id(connection, harness, lambda: packed)
    job_id = added(connection, schema.job, {**row, "unit_id": unit_id, "harness_id": known_harness, "of_job": of_job})
    sheets = job["sheets"]
    pages = [_page(exported, int(number), sheets[number]) for number in sorted(sheets, key=int)]
    keep_pages(connection, job_id, pages, exported.shared)
    fonts = [{"job_id": job_id, "font": _text(n), "digest": _text(d)} for n, d in job["fonts"].items()]
    if fonts:
        connection.execute(insert(schema.job_font), fonts)
    abouts = [(job_id, int(number), _text(about)) for number, about in job.get("about", {}).items()]
    add(connection, schema.sheet_about, abouts)
    add_used_cells(connection, job_id, {_text(stock): _text(cells).split() for stock, cells in job.get("used", ())})
    return job_id


KINDS = ("print", "reprint", "revision")
NOTES: dict[str, type] = {"prepared": str, "drawn": dict, "printed": list, "withdrawn": str}


def _add_states(connection: Connection, job_id: int, events: Iterable[Mapping[str, Any]]) -> int:
    c = schema.job_event.c
    known = set(connection.scalars(select(c.state).where(c.job_id == job_id)))
    new = [{name: _text(event[name]) for name in EVENT} for event in events if event["state"] not in known]
    for row in new:
        if row["state"] not in NOTES:
            raise ValueError(f"a state {row['state']!r}")
        kind = NOTES[row["state"]]
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
        row: dict[str, Any] = {name: _text(void[name]) for name in VOID}
        before = select(func.max(j.id)).where(j.unit_id == unit_id, j.at <= row["at"])
        by_job = None if void["by_job"] is None else jobs[void["by_job"]]
        last = connection.scalar(before) or 0
        of_sheet = void.get("of_sheet")
        copy = {"of_job": None if of_sheet is None else jobs[void["of_job"]], "of_sheet": of_sheet}
        if of_sheet is not None and type(of_sheet) is not int:
            raise TypeError(f"{of_sheet!r} is no number of a sheet")
        row |= {"unit_id": unit_id, "after_job": last, "by_job": by_job, **copy}
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
