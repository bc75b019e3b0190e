"""Finding recorded markers by what people call them, what was perhaps meant, and the history of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, func, literal, select

from labeler.errors import LabelerError, Problem, SourceLocation, nearest
from labeler.record import schema
from labeler.record.faces import damaged
from labeler.record.jobs import (
    Line,
    assemble,
    harness_ids,
    is_unit,
    job_list,
    marker_lines,
    of_unit,
    rows_in,
    run_of,
)
from labeler.record.marker_names import NOT, Names, match_rank, normalised
from labeler.record.values import Event, Job, Recorded, RecordExtract, Suggestion

job, marker = schema.job, schema.marker
ESCAPE = "\\"
NAMED = ("marker", "place", "branch", "circuit", "text")  # the columns that `Names` are made of


def search(
    connection: Connection,
    query: str,
    *,
    unit: str | None = None,
    harness: str | None = None,
    branch: str | None = None,
    sheet: tuple[int, int] | None = None,
) -> tuple[Recorded, ...]:
    """Return the markers that the query means, each unit's own, in the order of printing.

    Tried in turn: a marker's id, place ("J4", "B4 J4") or circuit; its branch or connector; whole words
    of its text; each with or without a unit before it ("0013 J4"). The nearest way in which any
    marker matches decides; "" matches every marker. Capitals do not matter, and no character has a
    special meaning. ``unit`` is a serial, with or without the part number before it; ``harness`` a part
    number or a name; ``sheet`` is (job, number of the sheet): all that is on it, of other units too.
    """
    where: list[ColumnElement[bool]] = []
    if unit is not None:
        where.append(of_unit(unit))
    if harness is not None:
        where.append(job.c.harness_id.in_(harness_ids(connection, harness)))
    if sheet is not None:
        where.append(job.c.unit_id.in_(select(job.c.unit_id).where(run_of(sheet[0]))))
    statement, text = marker_lines().where(*where), normalised(query)
    narrow = unit is not None or sheet is not None
    lines = _nearest(connection, statement, text, narrow) if text else connection.execute(statement).all()
    if branch is not None:
        lines = [line for line in lines if normalised(line.branch) == normalised(branch)]
    return assemble(connection, lines, _stands_on(connection, sheet))


def _nearest(connection: Connection, statement: Select[Any], text: str, of_one_unit: bool) -> Sequence[Line]:
    """Return the lines that match best of all; none where none matches.

    Where a unit is named, with the query or in it, its lines are ranked; else first the distinct
    markers are, and the lines of the best rank are read, those of the next only where there is none:
    a marker that matches may be in no harness that is asked for.
    """
    words = text.split()
    ranked: list[tuple[int, Line]] = []
    for split in range(1, len(words)):  # the units that the query begins with, ranked by the rest of it
        units = select(schema.unit.c.id).where(is_unit(" ".join(words[:split])))
        ids = connection.scalars(units).all()
        if ids:
            lines = connection.execute(statement.where(job.c.unit_id.in_(ids)))
            ranked += _rank(lines, " ".join(words[split:]))
    best = min((rank for rank, _ in ranked), default=NOT)
    if of_one_unit:
        ranked += _rank(connection.execute(statement), text)
    else:
        columns = (marker.c.digest, marker.c.kind, *(marker.c[name] for name in NAMED))
        near = _rank(connection.execute(select(*columns).where(_holds(words[-1]))), text)
        for rank in range(min(best + 1, NOT)):
            digests = [row.digest for n, row in near if n == rank]
            lines_of_rank = [(rank, line) for line in rows_in(connection, statement, marker.c.digest, digests)]
            ranked += lines_of_rank
            if lines_of_rank:
                break
    best = min((rank for rank, _ in ranked), default=NOT)
    found = {(x.unit_id, x.job_id, x.sheet == 0, x.sheet, x.line): x for rank, x in ranked if rank == best != NOT}
    return [found[key] for key in sorted(found)]


def _rank(lines: Iterable[Line], text: str) -> list[tuple[int, Line]]:
    return [(match_rank(_names(line, line.kind), text), line) for line in lines]


def _names(line: Line, kind: str = "") -> Names:
    return Names(line.marker, line.place, line.branch, line.circuit, line.text, kind)


def _holds(word: str) -> ColumnElement[bool]:
    """Return the condition that a word is a part of what a marker is called by."""
    parts: Any = marker.c[NAMED[0]]
    for name in NAMED[1:]:
        parts = parts + literal("\n") + marker.c[name]
    for special in (ESCAPE, "%", "_"):
        word = word.replace(special, ESCAPE + special)
    return func.coalesce(marker.c.words, func.lower(parts)).like(f"%{word}%", escape=ESCAPE)


def _stands_on(connection: Connection, sheet: tuple[int, int] | None) -> Callable[[Line], bool] | None:
    """Return whether a line is on a sheet, which may be that of several jobs that were printed together."""
    if sheet is None:
        return None
    run = set(connection.scalars(select(job.c.id).where(run_of(sheet[0]))))
    return lambda line: line.job_id in run and line.sheet == sheet[1]


# ---------------------------------------------------------------- one unit, one job, one marker


def extract(connection: Connection, about: str | int) -> RecordExtract:
    """Return the jobs and markers of a unit (its name, a str) or of a job (its number, an int).

    Raises LabelerError if there is none.
    """
    if isinstance(about, int):
        jobs = job_list(connection, job.c.id == about)
        mine = job.c.unit_id.in_(select(job.c.unit_id).where(job.c.id == about))
        lines = connection.execute(marker_lines().where(mine)).all()
        markers = assemble(connection, lines, lambda line: bool(line.job_id == about))
    else:
        jobs = job_list(connection, of_unit(about))
        markers = assemble(connection, connection.execute(marker_lines().where(of_unit(about))).all())
    if not jobs:
        what = f"job {about}" if isinstance(about, int) else f"unit {about}"
        raise LabelerError(
            Problem(SourceLocation(what), "it is not in the record", "look at the list of jobs or units")
        )
    return RecordExtract(jobs, markers)


def _marker_of_unit(connection: Connection, named: str, unit_name: str) -> Line:
    """Return a line of the one marker meant.

    ``named`` is the marker's id, or its place if only one marker stands there.
    Raises LabelerError if there is none, or more than one.
    """
    name = normalised(named)
    lines = connection.execute(marker_lines().where(of_unit(unit_name))).all()
    known = {(x.unit_id, x.marker): x for x in lines if name in (normalised(x.marker), normalised(x.place))}
    rows = [line for line in known.values() if normalised(line.marker) == name] or list(known.values())
    where = SourceLocation(f"unit {unit_name}")
    if not rows:
        raise LabelerError(Problem(where, f"it has no marker {named}", "look the marker up in the record"))
    if len(rows) > 1:
        all_of_them = ", ".join(sorted(f"{row.part_number or row.name} {row.serial} {row.marker}" for row in rows))
        fix = "name the marker by its id and the unit by part number and serial"
        raise LabelerError(Problem(where, f"{named} means more than one marker: {all_of_them}", fix))
    return rows[0]


def one_marker(
    connection: Connection, named: str, unit_name: str, sheet: tuple[int, int] | None = None
) -> tuple[int, Recorded]:
    """Return the unit's number in the record, and the one marker meant, whatever its state.

    With ``sheet`` (job, number) its state is that of its copies on it alone.
    ``named`` is the marker's id, or its place if only one marker stands there. Raises LabelerError if there is
    none, or more than one, if it is damaged, or not on the sheet.
    """
    meant = _marker_of_unit(connection, named, unit_name)
    mine = and_(job.c.unit_id == meant.unit_id, marker.c.marker == meant.marker)
    lines: Sequence[Line] = connection.execute(marker_lines().where(mine)).all()
    if sheet is not None:
        lines = list(filter(_stands_on(connection, sheet), lines))
    if not lines:
        place = "{}:{}".format(*sheet) if sheet else "any sheet"
        raise LabelerError(
            Problem(SourceLocation(meant.marker), f"it is not on sheet {place}", "see labeler record show")
        )
    items = assemble(connection, lines) or assemble(connection, lines, lambda _line: True)
    return meant.unit_id, items[0]


def copies_on_sheet(connection: Connection, items: Iterable[Recorded], sheet: tuple[int, int]) -> tuple[Recorded, ...]:
    """Return markers with the state of their copies on a sheet (job, number) alone.

    Raises LabelerError for one that is not on it.
    """
    return tuple(
        one_marker(connection, item.row.id, f"{item.part_number or item.harness} {item.unit}", sheet)[1]
        for item in items
    )


def events(connection: Connection, named: str, unit_name: str) -> tuple[Event, ...]:
    """Return all that happened to one marker of one unit, oldest first. Raises LabelerError as `one_marker`."""
    meant = _marker_of_unit(connection, named, unit_name)
    unit_id, void = meant.unit_id, schema.void
    mine = and_(job.c.unit_id == unit_id, marker.c.marker == meant.marker)
    lines = connection.execute(marker_lines().where(mine)).all()
    firsts = {job_id: next(group) for job_id, group in groupby(lines, key=lambda line: line.job_id)}
    jobs = {one.id: one for one in job_list(connection, job.c.unit_id == unit_id)}
    if not lines or not firsts.keys() <= jobs.keys():
        raise damaged("a job", "it is missing")
    found = [
        (e.time, float(e.job), e)
        for job_id, line in firsts.items()
        for e in _job_events(connection, jobs[job_id], line)
    ]
    for row in connection.execute(select(void).where(void.c.unit_id == unit_id, void.c.marker == meant.marker)):
        copy = {"job": row.of_job, "sheet": row.of_sheet} if row.of_job is not None else {}
        event = Event(row.time, "void", lines[0].serial, row.user, row.reason, **copy)
        found.append((row.time, row.after_job + 0.5, event))
    return tuple(event for _time, _order, event in sorted(found, key=lambda one: one[:2]))  # of one moment: by job


def _job_events(connection: Connection, made: Job, line: Line) -> Iterator[Event]:
    order = {"pending": 0, "printed": 1, "cancelled": 2}
    rows = connection.execute(select(schema.job_event).where(schema.job_event.c.job_id == made.id)).all()
    unprinted = "blank" if line.omit_reason is None else "omitted"
    for row in sorted(rows, key=lambda row: order.get(row.state, 3)):
        if row.state == "drawn" or (not line.face and row.state == "printed"):
            continue
        yield Event(
            time=row.time,
            state=unprinted if row.state == "pending" and not line.face else row.state,
            unit=made.unit,
            user=made.user,
            reason=row.note if row.state == "cancelled" else line.omit_reason or made.reason,
            job=made.id,
            kind=made.kind,
            sheet=line.sheet,
            cell=line.cell,
        )


# ---------------------------------------------------------------- suggestions


MOST_COMPARED = 20_000  # names: project choice, about a second's work


def suggestion(
    connection: Connection, query: str, *, unit: str | None = None, harness: str | None = None
) -> Suggestion:
    """Return what was perhaps meant by a query that `search` matches with nothing."""
    words = query.split()
    if unit is not None:
        return _in_unit(connection, unit, query) if _is_known(connection, unit) else _no_unit(connection, unit)
    for count in range(len(words) - 1, 0, -1):
        head = " ".join(words[:count])
        if _is_known(connection, head):
            return _in_unit(connection, head, " ".join(words[count:]))
    for count in range(1, len(words)):
        named = any(character.isdigit() for character in words[count - 1])  # a serial has one, as a rule
        if named and search(connection, " ".join(words[count:]), harness=harness):
            return _no_unit(connection, " ".join(words[:count]))
    columns = [marker.c[name] for name in NAMED]
    rows = connection.execute(select(*columns).distinct().limit(MOST_COMPARED))
    return Suggestion(name=nearest(query, (*_printed_names(rows), *_printed_serials(connection))))


def _is_known(connection: Connection, text: str) -> bool:
    return connection.scalar(select(schema.unit.c.id).where(is_unit(text))) is not None


def _printed_serials(connection: Connection) -> list[str]:
    """Return the serials of units that have a job: one that is only reserved has no marker."""
    c = schema.unit.c
    order = (func.length(c.serial), c.serial)
    found = connection.scalars(select(c.serial).where(c.id.in_(select(job.c.unit_id))).order_by(*order))
    return list(dict.fromkeys(map(str, found)))


def _no_unit(connection: Connection, named: str) -> Suggestion:
    serials = _printed_serials(connection)
    there = f"there is {serials[0]}" if serials else "there is none"
    if len(serials) > 1:
        there = f"there are {len(serials)}, {serials[0]} to {serials[-1]}"
    return Suggestion(unknown_unit=named, units=there, name=nearest(named, serials))


def _in_unit(connection: Connection, named: str, rest: str) -> Suggestion:
    lines = connection.execute(marker_lines().where(of_unit(named)).limit(MOST_COMPARED))
    return Suggestion(unit=named, name=nearest(rest, _printed_names(lines)))


def _printed_names(lines: Iterable[Line]) -> Iterator[str]:
    return (name for line in lines for name in _names(line).printed())
