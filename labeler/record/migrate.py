"""From one schema of the record to the next, step by step, each in one transaction with nothing lost.

A step renames the tables it changes, makes the new ones, carries the rows over and drops the old.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, MetaData, Row, Table, insert, inspect, select, text

from labeler.naming import plain
from labeler.record import schema
from labeler.record.faces import damaged, digest_of
from labeler.record.jobs import number_of
from labeler.record.rows import Page, Shared, keep_pages
from labeler.record.values import MarkerRow

Line = Row[Any]
OLD = "_1"  # behind the name of a table of schema 1 while its rows are carried over
TABLES_1 = (
    "schema_version",
    "harness",
    "unit",
    "job",
    "job_event",
    "job_font",
    "stock",
    "face",
    "sheet",
    "marker",
    "void",
)
INDEXES_1 = ("ix_job_unit_id", "ix_void_unit_id")


def upgrade(connection: Connection, version: int) -> None:
    """Bring a record from an older schema to today's. Raises LabelerError where it is damaged."""
    for older in range(version, schema.VERSION):
        STEPS[older](connection)


def _from_1(connection: Connection) -> None:
    """Schema 2 keeps what units share once, and the heating and threading of sleeves."""
    known = set(inspect(connection).get_table_names())
    missing = [name for name in TABLES_1 if name not in known]
    if missing:
        raise damaged(f"the table {missing[0]}", "it is missing")
    for name in INDEXES_1:
        connection.execute(text(f"DROP INDEX IF EXISTS {name}"))
    for name in TABLES_1:
        connection.execute(text(f"ALTER TABLE {name} RENAME TO {name}{OLD}"))
    schema.metadata.create_all(connection)
    old = {name: Table(f"{name}{OLD}", MetaData(), autoload_with=connection) for name in TABLES_1}
    _carry(connection, old["harness"], schema.harness, {})
    _carry(connection, old["unit"], schema.unit, {}, _unit_names)
    first = _first_prints(connection, old)
    about = {"paper": "", "printer": ""}

    def more(row: Line) -> Mapping[str, object]:
        return {"of_job": first.get(row.id), "date": row.at[:10], "uid": _uid(row)}

    _carry(connection, old["job"], schema.job, about, more)
    _carry(connection, old["job_event"], schema.job_event, {"who": ""})
    _carry(connection, old["job_font"], schema.job_font, {})
    for job_id in connection.scalars(select(old["job"].c.id).order_by(old["job"].c.id)).all():
        _carry_sheets(connection, old, job_id)
    _carry(connection, old["void"], schema.void, {"by_job": None}, lambda row: {"uid": _uid(row)})
    for name in reversed(TABLES_1):
        connection.execute(text(f"DROP TABLE {name}{OLD}"))
    connection.execute(insert(schema.schema_version), {"version": 2})


def _carry(
    connection: Connection,
    old: Table,
    new: Table,
    more: Mapping[str, object],
    of_row: Callable[[Line], Mapping[str, object]] = lambda _row: {},
) -> None:
    rows = [{**row._mapping, **more, **of_row(row)} for row in connection.execute(select(old))]
    if rows:
        connection.execute(insert(new), rows)


def _unit_names(row: Line) -> Mapping[str, object]:
    names = {"name": plain(row.serial), "full_name": plain(f"{row.part_number} {row.serial}")}
    return {**names, "number": number_of(row.serial)}


def _uid(row: Line) -> str:
    """Return a name for a row that had none, the same wherever a copy of the record is upgraded."""
    return digest_of(repr(tuple(row))).hex()


def _first_prints(connection: Connection, old: Mapping[str, Table]) -> dict[int, int]:
    """Return for every reprint the last print of its unit before it."""
    last: dict[int, int] = {}
    found: dict[int, int] = {}
    for row in connection.execute(select(old["job"]).order_by(old["job"].c.id)):
        if row.kind == "print":
            last[row.unit_id] = row.id
        elif row.unit_id in last:
            found[row.id] = last[row.unit_id]
    return found


def _carry_sheets(connection: Connection, old: Mapping[str, Table], job_id: int) -> None:
    shared = Shared()
    marker, sheet, face, stock = (old[name] for name in ("marker", "sheet", "face", "stock"))
    lines = connection.execute(
        select(marker, face.c.text.label("face_text"))
        .select_from(marker.outerjoin(face, face.c.digest == marker.c.face))
        .where(marker.c.job_id == job_id)
        .order_by(marker.c.sheet, marker.c.line)
    ).all()
    sheets = {
        row.number: row
        for row in connection.execute(
            select(sheet, stock.c.text.label("stock_text"))
            .select_from(sheet.join(stock, stock.c.digest == sheet.c.stock))
            .where(sheet.c.job_id == job_id)
        )
    }
    by_sheet = {number: list(group) for number, group in groupby(lines, key=lambda line: line.sheet or 0)}
    try:
        pages = [_page(sheets.get(number), by_sheet.get(number, []), shared) for number in sorted({*sheets, *by_sheet})]
    except (TypeError, AttributeError) as error:
        raise damaged(f"job {job_id}", str(error)) from error
    keep_pages(connection, job_id, pages, shared)


def _page(sheet: Line | None, lines: Sequence[Line], shared: Shared) -> Page:
    if sheet is None:
        rest = tuple((shared.marker(_row(line), "", None, line.left_out), "", 0.0, 0.0) for line in lines)
        return Page(0, None, 0.0, 0.0, "", rest)
    kept = []
    for line in lines:
        group = sheet.group_name if line.group_name is None else line.group_name
        kept.append((shared.marker(_row(line, group), group, line.face_text, None), line.cell, line.x_mm, line.y_mm))
    stock = shared.stock(sheet.stock_text)
    return Page(sheet.number, stock, sheet.width_mm, sheet.height_mm, sheet.group_name, tuple(kept))


def _row(line: Line, group: str = "") -> MarkerRow:
    """Return what schema 1 kept of a marker; a sleeve's group names the colour of its tube behind its size."""
    colour = group.rpartition(", ")[2] if line.tube and group.startswith(line.tube) else ""
    info = (line.marker, line.kind, line.role, line.at, line.label, line.branch, line.circuit, line.tube)
    return MarkerRow(*info, line.cut_length_mm, colour)


STEPS: Mapping[int, Callable[[Connection], None]] = {1: _from_1}
