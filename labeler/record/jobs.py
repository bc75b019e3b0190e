"""Reading the record: jobs with their states, and units."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, and_, literal, or_, select

from labeler.model import Face, Placed, Sheet, Stock
from labeler.record.faces import damaged, digest_of, face_from_text, stock_from_text
from labeler.record.marker_names import plain
from labeler.record.rows import chunks
from labeler.record.schema import (
    content,
    face,
    harness,
    job,
    job_event,
    job_font,
    marker,
    piece,
    sheet,
    sheet_about,
    stock,
    unit,
    void,
)
from labeler.record.values import Job, MarkerRow, Recorded, Unit, piece_of

# ---------------------------------------------------------------- Reading the record


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


# ---------------------------------------------------------------- jobs


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
