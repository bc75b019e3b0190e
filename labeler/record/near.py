"""What may have been meant by a name that meets no marker: another unit, or a name spelled nearly so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, func, select

from labeler.errors import nearest
from labeler.naming import plain
from labeler.record.find import NAMED, search
from labeler.record.jobs import is_unit, of_unit
from labeler.record.markers import marker_lines
from labeler.record.schema import job, marker, unit

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
    names = dict.fromkeys((*_names(rows), *_all_serials(connection)))
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
    return Near(unit=named, name=nearest(rest, dict.fromkeys(_names(lines[:MOST_COMPARED]))))


def _names(rows: Iterable[object]) -> Iterable[str]:
    """Yield all that the markers are called by; a branch end with its branch."""
    for row in rows:
        at, branch = str(getattr(row, "at", "")), str(getattr(row, "branch", ""))
        names = (str(getattr(row, name)) for name in NAMED)
        yield from (name for name in (*names, f"{branch} {at}") if plain(name))
