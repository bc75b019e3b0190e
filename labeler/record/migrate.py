"""From an older schema of the record to today's, in one transaction with nothing lost.

The old tables get other names, the new ones are made, the rows carried over and the old ones dropped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, MetaData, Row, Table, bindparam, insert, inspect, select, text, update

from labeler.errors import LabelerError, Problem, Where
from labeler.record import schema
from labeler.record.faces import damaged, digest_of
from labeler.record.jobs import number_of
from labeler.record.marker_names import plain
from labeler.record.rows import Page, Shared, content_digest, keep_pages, marker_digest
from labeler.record.values import MarkerRow

Line = Row[Any]
OLD = "_old"  # behind the name of a table while its rows are carried over
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
TABLES_2 = (*TABLES_1, "content", "piece")
USED = "partly_used"  # was made when it was first needed
NEW_IN_4 = ("partly_used", "sheet_about")


def upgrade(connection: Connection, version: int) -> None:
    """Bring a record from an older schema to today's.

    Raises LabelerError where it is damaged, or on a server, where there never was one older than schema 3.
    """
    if connection.dialect.name != "sqlite" and version == 3:
        _on_server(connection)
    elif connection.dialect.name != "sqlite":
        problem = "a record of an older schema can be upgraded in a file only"
        raise LabelerError(Problem(Where("build record"), problem, "use the version that made it"))
    else:
        STEPS[version](connection)
    connection.execute(insert(schema.schema_version), {"version": schema.VERSION})


def _from_1(connection: Connection) -> None:
    """What units share is kept once now, and the heating and threading of sleeves too; jobs have names of their own."""
    with _old_tables(connection, TABLES_1) as old:
        _carry(connection, old["harness"], schema.harness, {})
        _carry(connection, old["unit"], schema.unit, {}, _unit_names)
        first = _first_prints(connection, old)

        def more(row: Line) -> Mapping[str, object]:
            uid = _uid(row)
            return {"of_job": first.get(row.id), "date": row.at[:10], "uid": uid, "run": uid}

        _carry(connection, old["job"], schema.job, {"paper": "", "printer": "", "output": ""}, more)
        _carry(connection, old["job_event"], schema.job_event, {"who": ""})
        _carry(connection, old["job_font"], schema.job_font, {})
        for job_id in connection.scalars(select(old["job"].c.id).order_by(old["job"].c.id)).all():
            _carry_sheets(connection, old, job_id)
        _carry(connection, old["void"], schema.void, {"by_job": None, **ALL_COPIES}, lambda row: {"uid": _uid(row)})
        _carry_used(connection, old)


def _from_2(connection: Connection) -> None:
    """Jobs and voids have names of their own now, and digests are taken of another text."""
    with _old_tables(connection, TABLES_2) as old:
        digests = {row.digest: marker_digest(tuple(row)[1:]) for row in connection.execute(select(old["marker"]))}
        lines: dict[int, list[tuple[Any, ...]]] = {}
        order = old["piece"].c.content_id, old["piece"].c.line
        for row in connection.execute(select(old["piece"]).order_by(*order)):
            lines.setdefault(row.content_id, []).append((digests[row.marker], row.cell, row.x_mm, row.y_mm))

        def content(row: Line) -> Mapping[str, object]:
            about = (row.stock, row.width_mm, row.height_mm, row.group_name)
            return {"digest": content_digest(about, lines.get(row.id, []))}

        more: dict[str, Callable[[Line], Mapping[str, object]]] = {
            "job": lambda row: {"uid": (uid := _uid(row)), "run": uid, "output": ""},
            "void": lambda row: {"uid": _uid(row), "by_job": None, **ALL_COPIES},
            "marker": lambda row: {"digest": digests[row.digest]},
            "piece": lambda row: {"marker": digests[row.marker]},
            "content": content,
        }
        _carry_all(connection, old, more)


def _from_3(connection: Connection) -> None:
    """Jobs that were printed together are known as a run now, and cells that are used belong to their job."""
    with _old_tables(connection, TABLES_2) as old:
        runs = _runs(connection, old["job"], old["job_event"])
        job: Callable[[Line], Mapping[str, object]] = lambda row: {"run": runs[row.id], "output": ""}  # noqa: E731
        _carry_all(connection, old, {"job": job, "void": lambda _row: ALL_COPIES})


ALL_COPIES: Mapping[str, object] = {"of_job": None, "of_sheet": None}


def _carry_all(
    connection: Connection, old: Mapping[str, Table], more: Mapping[str, Callable[[Line], Mapping[str, object]]]
) -> None:
    for table in schema.metadata.sorted_tables:
        if table is not schema.schema_version and table.name not in NEW_IN_4:
            _carry(connection, old[table.name], table, {}, more.get(table.name, lambda _row: {}))
    _carry_used(connection, old)


def _carry_used(connection: Connection, old: Mapping[str, Table]) -> None:
    if USED in old:
        _carry(connection, old[USED], schema.partly_used, {})


def _runs(connection: Connection, job: Table, event: Table) -> dict[int, str]:
    """Return the run of every job, by the uid of its first: those printed together had all files in common."""
    note_of = select(event.c.job_id, event.c.note).where(event.c.state == "drawn")
    notes = {row.job_id: row.note for row in connection.execute(note_of)}
    first: dict[str, str] = {}
    rows = connection.execute(select(job.c.id, job.c.uid).order_by(job.c.id))
    return {row.id: first.setdefault(notes[row.id], row.uid) if row.id in notes else row.uid for row in rows}


def _on_server(connection: Connection) -> None:
    """Bring a record of schema 3 on a server to today's, in its place: a server adds columns to a table."""
    job, event = (Table(name, MetaData(), autoload_with=connection) for name in ("job", "job_event"))
    runs = _runs(connection, job, event)
    for words in ("job ADD run TEXT", "job ADD output TEXT NOT NULL DEFAULT ''", "job ALTER output DROP DEFAULT"):
        connection.execute(text(f"ALTER TABLE {words}"))
    run_of = update(schema.job).where(schema.job.c.id == bindparam("of")).values(run=bindparam("called"))
    if runs:
        connection.execute(run_of, [{"of": job_id, "called": run} for job_id, run in runs.items()])
    for words in (
        "job ALTER run SET NOT NULL",
        "void ADD of_job INTEGER REFERENCES job (id)",
        "void ADD of_sheet INTEGER",
    ):
        connection.execute(text(f"ALTER TABLE {words}"))
    connection.execute(text("CREATE INDEX ix_job_run ON job (run)"))
    used = inspect(connection).has_table(USED)
    rows = [dict(row._mapping) for row in connection.execute(text(f"SELECT * FROM {USED} ORDER BY id"))] if used else []
    if used:
        connection.execute(text(f"DROP TABLE {USED}"))
    schema.metadata.create_all(connection)
    if rows:
        kept = [{name: row[name] for name in ("job_id", "stock", "cells")} for row in rows]
        connection.execute(insert(schema.partly_used), kept)


@contextmanager
def _old_tables(connection: Connection, names: Sequence[str]) -> Iterator[dict[str, Table]]:
    """Put the old tables aside, make the new ones, and drop the old at the end.

    Raises LabelerError where one is missing.
    """
    inspector = inspect(connection)
    known = set(inspector.get_table_names())
    missing = [name for name in names if name not in known]
    if missing:
        raise damaged(f"the table {missing[0]}", "it is missing")
    names = [*names, *({USED} & known)]
    for name in names:
        for index in inspector.get_indexes(name):
            connection.execute(text(f"DROP INDEX {index['name']}"))
    for name in names:
        connection.execute(text(f"ALTER TABLE {name} RENAME TO {name}{OLD}"))
    schema.metadata.create_all(connection)
    old = {name: Table(f"{name}{OLD}", MetaData(), autoload_with=connection) for name in names}
    yield old
    for table in reversed(_by_reference(old.values())):
        connection.execute(text(f"DROP TABLE {table.name}"))


def _by_reference(tables: Iterable[Table]) -> list[Table]:
    """Return tables so that each comes after those it refers to."""
    left = {table.name: {key.target_fullname.partition(".")[0] for key in table.foreign_keys} for table in tables}
    named = {table.name: table for table in tables}
    ordered: list[Table] = []
    while left:
        free = [name for name, others in left.items() if not (others - {name}) & left.keys()]
        ordered += [named[name] for name in free]
        left = {name: others for name, others in left.items() if name not in free}
    return ordered


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


STEPS: Mapping[int, Callable[[Connection], None]] = {1: _from_1, 2: _from_2, 3: _from_3}
