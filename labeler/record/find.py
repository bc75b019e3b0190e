"""Reading the record: markers by what is known of them, and their histories."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, and_, func, literal, or_, select

from labeler.errors import LabelerError, Problem, Where
from labeler.model import Face, Stock
from labeler.naming import NOT, Names, met, plain, rests
from labeler.record.faces import damaged, digest_of, face_from_text, stock_from_text
from labeler.record.jobs import (
    is_harness,
    job_list,
    jobs_with_states,
    names_unit,
    number_of,
    of_unit,
    printed,
    withdrawn,
)
from labeler.record.schema import face, harness, job, job_event, job_font, marker, sheet, stock, unit, void
from labeler.record.values import Event, Job, MarkerRow, Recorded, Story

Line = Row[Any]
ESCAPE = "\\"
CHUNK = 500  # values in one IN list: every database takes as many

# ---------------------------------------------------------------- statements


def _lines() -> Select[Any]:
    on_sheet = and_(sheet.c.job_id == marker.c.job_id, sheet.c.number == marker.c.sheet)
    source = jobs_with_states().join(marker, marker.c.job_id == job.c.id).outerjoin(sheet, on_sheet)
    group = func.coalesce(marker.c.group_name, sheet.c.group_name).label("group")
    states = (
        printed.c.state.is_not(None).label("confirmed"),
        withdrawn.c.state.is_not(None).label("gone"),
    )
    names = (harness.c.name, harness.c.part_number, harness.c.revision, unit.c.serial, job.c.unit_id)
    known_as = unit.c.part_number.label("unit_part")
    return (
        select(marker, group, sheet.c.stock, *names, known_as, *states)
        .select_from(source)
        .order_by(job.c.unit_id, marker.c.job_id, marker.c.line)
    )


def _holds(word: str) -> ColumnElement[bool]:
    """Return the condition that a word is part of what a marker or its unit is known by, or the unit's number."""
    between = literal("\n")
    parts: Any = harness.c.part_number
    for column in (unit.c.part_number, unit.c.serial, *(marker.c[name] for name in NAMED)):
        parts = parts + between + column
    for sign in (ESCAPE, "%", "_"):
        word = word.replace(sign, ESCAPE + sign)
    return func.lower(parts).like(f"%{word}%", escape=ESCAPE)


NAMED = ("marker", "at", "branch", "circuit", "label")  # the columns of `Names`, in its order


# ---------------------------------------------------------------- search


def search(
    connection: Connection,
    query: str,
    *,
    unit_is: str | None = None,
    harness_is: str | None = None,
    branch: str | None = None,
    on_sheet: tuple[int, int] | None = None,
) -> tuple[Recorded, ...]:
    """Return the markers that the query means, nearest meaning first and alone.

    It is held against ids, places, circuits, branches and connectors as a whole, and against texts
    in part, each time with and without a unit before it: see `labeler.naming`. The nearest way in
    which any marker is met decides. "" is met by every marker.
    """
    text = plain(query)
    where = [or_(_holds(word), *_numbered(word)) for word in text.split()]
    if unit_is is not None:
        where.append(of_unit(unit_is))
    if harness_is is not None:
        where.append(is_harness(harness_is))
    if branch is not None:
        where.append(func.lower(marker.c.branch) == branch.lower())
    if on_sheet is not None:
        where.append(job.c.unit_id.in_(select(job.c.unit_id).where(job.c.id == on_sheet[0])))
    lines = connection.execute(_lines().where(*where)).all()
    return assemble(connection, _nearest(lines, text) if text else lines, _stands_on(on_sheet))


def _numbered(word: str) -> list[ColumnElement[bool]]:
    number = number_of(word)
    return [] if number is None else [unit.c.number == number]


def _nearest(lines: Sequence[Line], text: str) -> list[Line]:
    """Return the lines that are met best of all; none where none is met."""
    known: dict[int, tuple[str, ...]] = {}
    ranked = []
    for line in lines:
        if line.unit_id not in known:
            known[line.unit_id] = rests(text, partial(names_unit, line.unit_part, line.serial))
        names = Names(*(getattr(line, name) for name in NAMED))
        ranked.append((min(met(names, rest) for rest in known[line.unit_id]), line))
    best = min((rank for rank, _line in ranked), default=NOT)
    return [line for rank, line in ranked if rank == best != NOT]


def _stands_on(on_sheet: tuple[int, int] | None) -> Callable[[Line], bool] | None:
    if on_sheet is None:
        return None
    return lambda line: (line.job_id, line.sheet) == on_sheet


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
    last_void = declared[-1] if declared else None
    state = _state(rows, first, last_void.after_job if last_void else 0)
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
        group=first.group or "",
        sheet=first.sheet or 0,
        cell=first.cell or "",
        x_mm=first.x_mm or 0.0,
        y_mm=first.y_mm or 0.0,
        reason=last_void.reason if last_void and state == "void" else first.left_out or "",
        fonts=tuple((name, fonts.get(first.job_id, {}).get(name, "")) for name in used),
    )


def marker_of(line: Line) -> MarkerRow:
    """Return what a row says about its marker."""
    info = (line.marker, line.kind, line.role, line.at, line.label, line.branch, line.circuit, line.tube)
    return MarkerRow(*info, line.cut_length_mm)


def _state(rows: list[Line], first: Line, void_after: int) -> str:
    if first.gone:
        return "withdrawn"
    if not first.face:
        return "plain" if first.left_out is None else "left out"
    good = [row for row in rows if row.face and not row.gone and row.job_id > void_after]
    if not good:
        return "void"
    return "printed" if any(row.confirmed for row in good) else "prepared"


def _chunks(values: Iterable[Any]) -> Iterator[list[Any]]:
    ordered = sorted(values)
    for start in range(0, len(ordered), CHUNK):
        yield ordered[start : start + CHUNK]


def _texts(connection: Connection, table: Any, digests: set[bytes]) -> Iterator[tuple[bytes, str]]:
    """Yield digest and text of every row asked for. Raises LabelerError for one that is damaged or gone."""
    found = 0
    for chunk in _chunks(digests):
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
    for chunk in _chunks(jobs):
        for row in connection.execute(select(job_font).where(job_font.c.job_id.in_(chunk))):
            fonts.setdefault(row.job_id, {})[row.font] = row.digest
    return fonts


def _voids(connection: Connection, units: set[int]) -> dict[tuple[int, str], list[Line]]:
    voids: dict[tuple[int, str], list[Line]] = {}
    for chunk in _chunks(units):
        for row in connection.execute(select(void).where(void.c.unit_id.in_(chunk)).order_by(void.c.id)):
            voids.setdefault((row.unit_id, row.marker), []).append(row)
    return voids


# ---------------------------------------------------------------- one unit, one job, one marker


def story(connection: Connection, about: str | int) -> Story:
    """Return jobs and markers of a unit (by its name) or of a job (by its number).

    Raises LabelerError if there is none.
    """
    if isinstance(about, int):
        jobs = job_list(connection, job.c.id == about)
        mine = job.c.unit_id.in_(select(job.c.unit_id).where(job.c.id == about))
        lines = connection.execute(_lines().where(mine)).all()
        markers = assemble(connection, lines, lambda line: bool(line.job_id == about))
    else:
        jobs = job_list(connection, of_unit(about))
        markers = assemble(connection, connection.execute(_lines().where(of_unit(about))).all())
    if not jobs:
        what = f"job {about}" if isinstance(about, int) else f"unit {about}"
        raise LabelerError(Problem(Where(what), "it is not in the record", "look at the list of jobs or units"))
    return Story(jobs, markers)


def one_marker(connection: Connection, named: str, unit_name: str) -> tuple[int, str]:
    """Return the unit's number in the record and the id of the one marker meant.

    ``named`` is the marker's id, or its place if only one marker stands there.
    Raises LabelerError if there is none, or more than one.
    """
    name = " ".join(named.lower().split())
    c = marker.c
    statement = select(job.c.unit_id, unit.c.part_number, unit.c.serial, c.marker, c.at).distinct()
    joined = job.join(unit, unit.c.id == job.c.unit_id).join(marker, c.job_id == job.c.id)
    known = or_(func.lower(c.marker) == name, func.lower(c.at) == name)
    rows = connection.execute(statement.select_from(joined).where(of_unit(unit_name), known)).all()
    rows = [row for row in rows if row.marker.lower() == name] or list(rows)
    where = Where(f"unit {unit_name}")
    if not rows:
        raise LabelerError(Problem(where, f"it has no marker {named}", "look the marker up in the record"))
    if len(rows) > 1:
        all_of_them = ", ".join(sorted(f"{row.part_number} {row.serial} {row.marker}" for row in rows))
        fix = "name the marker by its id and the unit by part number and serial"
        raise LabelerError(Problem(where, f"{named} means more than one marker: {all_of_them}", fix))
    return int(rows[0].unit_id), str(rows[0].marker)


def as_it_stands(connection: Connection, unit_id: int, name: str) -> Recorded:
    """Return one marker of one unit, whatever its state. Raises LabelerError if it is damaged."""
    mine = and_(job.c.unit_id == unit_id, marker.c.marker == name)
    lines = connection.execute(_lines().where(mine)).all()
    return (assemble(connection, lines) or assemble(connection, lines, lambda _line: True))[0]


def events(connection: Connection, named: str, unit_name: str) -> tuple[Event, ...]:
    """Return all that happened to one marker, oldest first. Raises LabelerError as `one_marker`."""
    unit_id, name = one_marker(connection, named, unit_name)
    mine = and_(job.c.unit_id == unit_id, marker.c.marker == name)
    lines = connection.execute(_lines().where(mine)).all()
    firsts = {job_id: next(group) for job_id, group in groupby(lines, key=lambda line: line.job_id)}
    jobs = {one.id: one for chunk in _chunks(firsts) for one in job_list(connection, job.c.id.in_(chunk))}
    if not lines or len(jobs) < len(firsts):
        raise damaged("a job", "it is missing")
    found = [
        (e.at, float(e.job), e) for job_id, line in firsts.items() for e in _job_events(connection, jobs[job_id], line)
    ]
    declared = connection.execute(select(void).where(void.c.unit_id == unit_id, void.c.marker == name))
    found += [
        (row.at, row.after_job + 0.5, Event(row.at, "void", lines[0].serial, row.who, row.reason)) for row in declared
    ]
    return tuple(event for _at, _order, event in sorted(found, key=lambda one: one[:2]))  # of one moment: by job


def _job_events(connection: Connection, made: Job, line: Line) -> Iterator[Event]:
    order = {"prepared": 0, "printed": 1, "withdrawn": 2}
    rows = connection.execute(select(job_event).where(job_event.c.job_id == made.id)).all()
    unprinted = "plain" if line.left_out is None else "left out"
    for row in sorted(rows, key=lambda row: order.get(row.state, 3)):
        if not line.face and row.state == "printed":
            continue
        yield Event(
            at=row.at,
            what=unprinted if row.state == "prepared" and not line.face else row.state,
            unit=made.unit,
            who=made.who,
            reason=_why(made, line, row),
            job=made.id,
            kind=made.kind,
            sheet=line.sheet or 0,
            cell=line.cell or "",
        )


def _why(made: Job, line: Line, row: Line) -> str:
    if row.state == "withdrawn":
        return str(row.note)
    return line.left_out or made.reason
