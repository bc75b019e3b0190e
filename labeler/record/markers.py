"""Reading the record: the rows of markers, and one value made of all the rows of one marker."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Row, Select, select

from labeler.model import Face, Placed, Sheet, Stock
from labeler.record.faces import damaged, digest_of, face_from_text, stock_from_text
from labeler.record.jobs import jobs_with_states, printed, withdrawn
from labeler.record.rows import chunks
from labeler.record.schema import (
    content,
    face,
    harness,
    job,
    job_font,
    marker,
    piece,
    sheet,
    sheet_about,
    stock,
    unit,
    void,
)
from labeler.record.values import MarkerRow, Recorded, piece_of

Line = Row[Any]


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
        withdrawn.c.state.is_not(None).label("gone"),
    )
    statement = select(marker, *place, *cell, *names, unit.c.full_name, *states).select_from(source)
    return statement.order_by(job.c.unit_id, job.c.id, sheet.c.number == 0, sheet.c.number, piece.c.line)


# ---------------------------------------------------------------- rows to values


def assemble(
    connection: Connection, lines: Sequence[Line], wanted: Callable[[Line], bool] | None = None
) -> tuple[Recorded, ...]:
    """Make one value of all the rows of one marker of one unit.

    Left out are markers of which every job was withdrawn; with ``wanted``, those of which no
    row is wanted, and the first wanted row says where it stood.
    """
    groups: dict[tuple[int, str], list[Line]] = {}
    for line in lines:
        groups.setdefault((line.unit_id, line.marker), []).append(line)
    chosen = [(rows, first) for rows in groups.values() if (first := _first(rows, wanted)) is not None]
    faces = _faces(connection, {first.face for _rows, first in chosen if first.face})
    stocks = _stocks(connection, {first.stock for _rows, first in chosen if first.stock})
    fonts = _fonts(connection, {first.job_id for _rows, first in chosen})
    voids = _voids(connection, {first.unit_id for _rows, first in chosen})
    return tuple(_recorded(rows, first, faces, stocks, fonts, voids) for rows, first in chosen)


def _first(rows: list[Line], wanted: Callable[[Line], bool] | None) -> Line | None:
    if wanted is not None:
        return next(filter(wanted, rows), None)
    live = [row for row in rows if not row.gone]
    return next((row for row in live if row.face), live[0] if live else None)


def _recorded(
    rows: list[Line],
    first: Line,
    faces: dict[bytes, Face],
    stocks: dict[bytes, Stock],
    fonts: dict[int, dict[str, str]],
    voids: dict[tuple[int, str], list[Line]],
) -> Recorded:
    drawn = faces.get(first.face)
    used = sorted({run.font for run in drawn.runs}) if drawn else []
    declared = voids.get((first.unit_id, first.marker), [])
    state = _state(rows, first, declared)
    return Recorded(
        row=marker_of(first),
        unit=first.serial,
        harness=first.name,
        part_number=first.part_number,
        revision=first.revision,
        job=first.job_id,
        state=state,
        printed=sum(bool(row.face and row.confirmed and not row.gone) for row in rows),
        voids=len(declared),
        face=drawn,
        stock=stocks.get(first.stock),
        group=first.group_name,
        sheet=first.sheet,
        cell=first.cell,
        x_mm=first.x_mm,
        y_mm=first.y_mm,
        reason=_why_void(declared, state) if state in ("void", "taken off") else first.left_out or "",
        fonts=tuple((name, fonts.get(first.job_id, {}).get(name, "")) for name in used),
    )


def marker_of(line: Line) -> MarkerRow:
    """Return what a row says about its marker."""
    info = (line.marker, line.kind, line.role, line.at, line.label, line.branch, line.circuit, line.tube)
    return MarkerRow(*info, line.cut_length_mm, line.colour, line.heating, line.how)


def _why_void(declared: list[Line], state: str) -> str:
    return next((str(row.reason) for row in reversed(declared) if state == "void" or row.by_job is not None), "")


def _state(rows: list[Line], first: Line, declared: list[Line]) -> str:
    """Return the state of all the copies there are: it is printed as long as one of them is good."""
    if first.gone:
        return "withdrawn"
    last_void = next((row for row in reversed(declared) if row.of_job is None), None)
    spoiled = {(row.of_job, row.of_sheet) for row in declared if row.of_job is not None}
    later = [row for row in rows if not row.gone and row.job_id > (last_void.after_job if last_void else 0)]
    if last_void is not None and last_void.by_job is not None and not later:
        return "taken off"
    if not first.face:
        return "plain" if first.left_out is None else "left out"
    good = [row for row in later if row.face and (row.job_id, row.sheet) not in spoiled]
    if not good:
        return "void"
    return "printed" if any(row.confirmed for row in good) else "prepared"


def _texts(connection: Connection, table: Any, digests: set[bytes]) -> Iterator[tuple[bytes, str]]:
    """Yield digest and text of every row asked for. Raises LabelerError for one that is damaged or gone."""
    found = 0
    for chunk in chunks(digests):
        for row in connection.execute(select(table).where(table.c.digest.in_(chunk))):
            if digest_of(row.text) != row.digest:
                raise damaged(f"a {table.name}", "its digest is another one")
            found += 1
            yield row.digest, row.text
    if found < len(digests):
        raise damaged(f"a {table.name}", "it is missing")


def _faces(connection: Connection, digests: set[bytes]) -> dict[bytes, Face]:
    return {digest: face_from_text(text) for digest, text in _texts(connection, face, digests)}


def _stocks(connection: Connection, digests: set[bytes]) -> dict[bytes, Stock]:
    return {digest: stock_from_text(text) for digest, text in _texts(connection, stock, digests)}


def _fonts(connection: Connection, jobs: set[int]) -> dict[int, dict[str, str]]:
    fonts: dict[int, dict[str, str]] = {}
    for chunk in chunks(jobs):
        for row in connection.execute(select(job_font).where(job_font.c.job_id.in_(chunk))):
            fonts.setdefault(row.job_id, {})[row.font] = row.digest
    return fonts


def _voids(connection: Connection, units: set[int]) -> dict[tuple[int, str], list[Line]]:
    voids: dict[tuple[int, str], list[Line]] = {}
    for chunk in chunks(units):
        for row in connection.execute(select(void).where(void.c.unit_id.in_(chunk)).order_by(void.c.id)):
            voids.setdefault((row.unit_id, row.marker), []).append(row)
    return voids


# ---------------------------------------------------------------- sheets


def sheets_of(connection: Connection, job_id: int) -> tuple[Sheet, ...]:
    """Return the sheets of a job, their pieces in the order in which they were laid out."""
    about = (content.c.stock, content.c.width_mm, content.c.height_mm, content.c.group_name)
    rows = connection.execute(
        select(sheet.c.number, *about)
        .join(content, content.c.id == sheet.c.content_id)
        .where(sheet.c.job_id == job_id, sheet.c.number > 0)
        .order_by(sheet.c.number)
    ).all()
    lines = [line for line in connection.execute(marker_lines().where(job.c.id == job_id)) if line.sheet]
    faces = _faces(connection, {line.face for line in lines})
    stocks = _stocks(connection, {row.stock for row in rows})
    c = sheet_about.c
    says = {row.number: row.about for row in connection.execute(select(sheet_about).where(c.job_id == job_id))}
    placed: dict[int, list[Placed]] = {}
    for line in lines:
        piece = piece_of(marker_of(line), faces[line.face], stocks[line.stock], line.group_name)
        placed.setdefault(line.sheet, []).append(Placed(piece, line.cell, line.x_mm, line.y_mm))
    return tuple(
        Sheet(
            stocks[row.stock],
            row.number,
            row.width_mm,
            row.height_mm,
            row.group_name,
            tuple(placed.get(row.number, ())),
            says.get(row.number, ""),
        )
        for row in rows
    )
