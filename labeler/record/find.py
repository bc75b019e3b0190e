"""Reading the record: markers by what people call them, and the histories of units, jobs and markers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, func, literal, select

from labeler.errors import LabelerError, Problem, Where, nearest
from labeler.record.faces import damaged
from labeler.record.jobs import Line, assemble, harness_ids, is_unit, job_list, marker_lines, of_unit, run_of
from labeler.record.marker_names import NOT, Names, met, plain
from labeler.record.rows import chunks
from labeler.record.schema import job, job_event, marker, unit, void
from labeler.record.values import Event, Job, Recorded, Story

# ---------------------------------------------------------------- Reading the record


ESCAPE = "\\"
NAMED = ("marker", "at", "branch", "circuit", "label")  # the columns of `Names`, in its order, but for the kind

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
    by whole words, each time with and without a unit before it: see `labeler.naming`. The nearest way
    in which any marker is met decides. "" is met by every marker.
    """
    where: list[ColumnElement[bool]] = []
    if unit_is is not None:
        where.append(of_unit(unit_is))
    if harness_is is not None:
        where.append(job.c.harness_id.in_(harness_ids(connection, harness_is)))
    if on_sheet is not None:
        where.append(job.c.unit_id.in_(select(job.c.unit_id).where(run_of(on_sheet[0]))))
    statement, text = marker_lines().where(*where), plain(query)
    narrow = unit_is is not None or on_sheet is not None
    lines = _nearest(connection, statement, text, narrow) if text else connection.execute(statement).all()
    if branch is not None:
        lines = [line for line in lines if plain(line.branch) == plain(branch)]
    return assemble(connection, lines, _stands_on(connection, on_sheet))


def _nearest(connection: Connection, statement: Select[Any], text: str, of_one_unit: bool) -> list[Line]:
    """Return the lines that are met best of all; none where none is met.

    Where a unit is named, with the query or in it, its lines are ranked; else first the distinct
    markers are, and the lines of the best rank are read, those of the next only where there is none:
    a marker that is met may be in no harness that is asked for.
    """
    words = text.split()
    ranked = _of_units(connection, statement, words)
    best = min((rank for rank, _ in ranked), default=NOT)
    if of_one_unit:
        ranked += _rank(connection.execute(statement), text)
    else:
        near = _near_markers(connection, words[-1], text)
        for rank in range(min(best + 1, NOT)):
            lines = _having(connection, statement, (digest for digest, n in near if n == rank))
            ranked += [(rank, line) for line in lines]
            if lines:
                break
    best = min((rank for rank, _ in ranked), default=NOT)
    found = {(x.unit_id, x.job_id, x.sheet == 0, x.sheet, x.line): x for rank, x in ranked if rank == best != NOT}
    return [found[key] for key in sorted(found)]


def _of_units(connection: Connection, statement: Select[Any], words: Sequence[str]) -> list[tuple[int, Line]]:
    """Return the lines of every unit that the query begins with, ranked by the rest of it."""
    ranked: list[tuple[int, Line]] = []
    for split in range(1, len(words)):
        units = select(unit.c.id).where(is_unit(" ".join(words[:split])))
        ids = connection.scalars(units).all()
        if ids:
            lines = connection.execute(statement.where(job.c.unit_id.in_(ids)))
            ranked += _rank(lines, " ".join(words[split:]))
    return ranked


def _rank(lines: Iterable[Line], text: str) -> list[tuple[int, Line]]:
    return [(met(_names(line), text), line) for line in lines]


def _names(line: Any) -> Names:
    return Names(*(getattr(line, name) for name in (*NAMED, "kind")))


def _near_markers(connection: Connection, word: str, text: str) -> list[tuple[bytes, int]]:
    columns = (marker.c.digest, marker.c.kind, *(marker.c[name] for name in NAMED))
    rows = connection.execute(select(*columns).where(_holds(word)))
    return [(row.digest, met(_names(row), text)) for row in rows]


def _having(connection: Connection, statement: Select[Any], digests: Iterable[bytes]) -> list[Line]:
    return [line for some in chunks(digests) for line in connection.execute(statement.where(marker.c.digest.in_(some)))]


def _holds(word: str) -> ColumnElement[bool]:
    """Return the condition that a word is a part of what a marker is called by."""
    parts: Any = marker.c[NAMED[0]]
    for name in NAMED[1:]:
        parts = parts + literal("\n") + marker.c[name]
    for sign in (ESCAPE, "%", "_"):
        word = word.replace(sign, ESCAPE + sign)
    return func.coalesce(marker.c.words, func.lower(parts)).like(f"%{word}%", escape=ESCAPE)


def _stands_on(connection: Connection, on_sheet: tuple[int, int] | None) -> Callable[[Line], bool] | None:
    """Return whether a line is on a sheet, which may be that of several jobs that were printed together."""
    if on_sheet is None:
        return None
    run = set(connection.scalars(select(job.c.id).where(run_of(on_sheet[0]))))
    return lambda line: line.job_id in run and line.sheet == on_sheet[1]


# ---------------------------------------------------------------- one unit, one job, one marker


def story(connection: Connection, about: str | int) -> Story:
    """Return jobs and markers of a unit (by its name) or of a job (by its number).

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
        raise LabelerError(Problem(Where(what), "it is not in the record", "look at the list of jobs or units"))
    return Story(jobs, markers)


def one_marker(connection: Connection, named: str, unit_name: str) -> tuple[int, str]:
    """Return the unit's number in the record and the id of the one marker meant.

    ``named`` is the marker's id, or its place if only one marker stands there.
    Raises LabelerError if there is none, or more than one.
    """
    name = plain(named)
    lines = connection.execute(marker_lines().where(of_unit(unit_name))).all()
    known = {(line.unit_id, line.marker): line for line in lines if name in (plain(line.marker), plain(line.at))}
    rows = [line for line in known.values() if plain(line.marker) == name] or list(known.values())
    where = Where(f"unit {unit_name}")
    if not rows:
        raise LabelerError(Problem(where, f"it has no marker {named}", "look the marker up in the record"))
    if len(rows) > 1:
        all_of_them = ", ".join(sorted(f"{row.part_number or row.name} {row.serial} {row.marker}" for row in rows))
        fix = "name the marker by its id and the unit by part number and serial"
        raise LabelerError(Problem(where, f"{named} means more than one marker: {all_of_them}", fix))
    return int(rows[0].unit_id), str(rows[0].marker)


def as_it_stands(connection: Connection, unit_id: int, name: str, on_sheet: tuple[int, int] | None = None) -> Recorded:
    """Return one marker of one unit, whatever its state; or of its copies that on a sheet (job, number) alone.

    Raises LabelerError if it is damaged, or not on the sheet.
    """
    mine = and_(job.c.unit_id == unit_id, marker.c.marker == name)
    lines: Sequence[Line] = connection.execute(marker_lines().where(mine)).all()
    if on_sheet is not None:
        lines = list(filter(_stands_on(connection, on_sheet), lines))
    if not lines:
        place = "{}:{}".format(*on_sheet) if on_sheet else "any sheet"
        raise LabelerError(Problem(Where(name), f"it is not on sheet {place}", "see labeler record show"))
    return (assemble(connection, lines) or assemble(connection, lines, lambda _line: True))[0]


def events(connection: Connection, named: str, unit_name: str) -> tuple[Event, ...]:
    """Return all that happened to one marker, oldest first. Raises LabelerError as `one_marker`."""
    unit_id, name = one_marker(connection, named, unit_name)
    mine = and_(job.c.unit_id == unit_id, marker.c.marker == name)
    lines = connection.execute(marker_lines().where(mine)).all()
    firsts = {job_id: next(group) for job_id, group in groupby(lines, key=lambda line: line.job_id)}
    jobs = {one.id: one for chunk in chunks(firsts) for one in job_list(connection, job.c.id.in_(chunk))}
    if not lines or len(jobs) < len(firsts):
        raise damaged("a job", "it is missing")
    found = [
        (e.at, float(e.job), e) for job_id, line in firsts.items() for e in _job_events(connection, jobs[job_id], line)
    ]
    declared = connection.execute(select(void).where(void.c.unit_id == unit_id, void.c.marker == name))
    found += [(row.at, row.after_job + 0.5, _void_event(row, lines[0].serial)) for row in declared]
    return tuple(event for _at, _order, event in sorted(found, key=lambda one: one[:2]))  # of one moment: by job


def _void_event(row: Line, serial: str) -> Event:
    copy = {"job": row.of_job, "sheet": row.of_sheet} if row.of_job is not None else {}
    return Event(row.at, "void", serial, row.who, row.reason, **copy)


def _job_events(connection: Connection, made: Job, line: Line) -> Iterator[Event]:
    order = {"prepared": 0, "printed": 1, "withdrawn": 2}
    rows = connection.execute(select(job_event).where(job_event.c.job_id == made.id)).all()
    unprinted = "plain" if line.left_out is None else "left out"
    for row in sorted(rows, key=lambda row: order.get(row.state, 3)):
        if row.state == "drawn" or (not line.face and row.state == "printed"):
            continue
        yield Event(
            at=row.at,
            what=unprinted if row.state == "prepared" and not line.face else row.state,
            unit=made.unit,
            who=made.who,
            reason=_why(made, line, row),
            job=made.id,
            kind=made.kind,
            sheet=line.sheet,
            cell=line.cell,
        )


def _why(made: Job, line: Line, row: Line) -> str:
    if row.state == "withdrawn":
        return str(row.note)
    return line.left_out or made.reason


# ---------------------------------------------------------------- near


MOST_COMPARED = 20_000  # names: project choice, about a second's work


@dataclass(frozen=True, slots=True)
class Near:
    """What is nearest to a name. ``unit``: the unit that it names, ``unknown_unit``: and is not in the record."""

    unit: str = ""
    unknown_unit: str = ""
    units: str = ""  # of the record: how many, from which to which
    name: str = ""  # of a marker, or of a unit

    @property
    def message(self) -> str:
        """Return what is known of it, for people."""
        if self.unknown_unit:
            return f"there is no unit {self.unknown_unit}, {self.units}"
        return f"unit {self.unit} has none of that name" if self.unit else ""

    @property
    def fix(self) -> str:
        """Return what to try."""
        hint = f"did you mean {self.name!r}? " if self.name else ""
        return f"{hint}an id, a place or a circuit is named whole; see labeler record list and show"


def near_to(connection: Connection, query: str, *, unit_is: str | None = None, harness_is: str | None = None) -> Near:
    """Return what is nearest to a query that meets nothing."""
    words = query.split()
    if unit_is is not None:
        return _in_unit(connection, unit_is, query) if _serials(connection, unit_is) else _no_unit(connection, unit_is)
    for count in range(len(words) - 1, 0, -1):
        head = " ".join(words[:count])
        if _serials(connection, head):
            return _in_unit(connection, head, " ".join(words[count:]))
    for count in range(1, len(words)):
        named = any(sign.isdigit() for sign in words[count - 1])  # a serial has one, as a rule
        if named and search(connection, " ".join(words[count:]), harness_is=harness_is):
            return _no_unit(connection, " ".join(words[:count]))
    columns = [marker.c[name] for name in NAMED]
    rows = connection.execute(select(*columns).distinct().limit(MOST_COMPARED))
    names = dict.fromkeys((*_first_names(rows), *_all_serials(connection)))
    return Near(name=nearest(query, names))


def _serials(connection: Connection, text: str) -> list[str]:
    return [str(serial) for serial in connection.scalars(select(unit.c.serial).where(is_unit(text)))]


def _all_serials(connection: Connection) -> list[str]:
    """Return the serials of units that have a job: one that is only reserved has no marker."""
    used = select(job.c.unit_id)
    order = (func.length(unit.c.serial), unit.c.serial)
    found = connection.scalars(select(unit.c.serial).where(unit.c.id.in_(used)).order_by(*order))
    return list(dict.fromkeys(map(str, found)))


def _no_unit(connection: Connection, named: str) -> Near:
    serials = _all_serials(connection)
    there = f"there is {serials[0]}" if serials else "there is none"
    if len(serials) > 1:
        there = f"there are {len(serials)}, {serials[0]} to {serials[-1]}"
    return Near(unknown_unit=named, units=there, name=nearest(named, serials))


def _in_unit(connection: Connection, named: str, rest: str) -> Near:
    lines = connection.execute(marker_lines().where(of_unit(named))).all()
    return Near(unit=named, name=nearest(rest, dict.fromkeys(_first_names(lines[:MOST_COMPARED]))))


def _first_names(rows: Iterable[object]) -> Iterable[str]:
    """Yield all that the markers are called by; a branch end with its branch."""
    for row in rows:
        at, branch = str(getattr(row, "at", "")), str(getattr(row, "branch", ""))
        names = (str(getattr(row, name)) for name in NAMED)
        yield from (name for name in (*names, f"{branch} {at}") if plain(name))
