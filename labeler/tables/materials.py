"""Tube, wire and covering: from rows of a table to values in mm, with what cannot be named.

Each reader takes a document and returns its entries in the file's order, with the problems found.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from labeler.errors import Problem, Where
from labeler.formulas.wire import diameter_from_area, diameter_from_gauge, gauge_from_name
from labeler.model import Range, Tube, WireDiameter
from labeler.tables.document import Document, Form, Key, checked, label, unknown_key

FLATTEST = 1.5  # project choice: half an inside circumference is 1.571 diameters; 5 % for rounding


@dataclass(frozen=True, slots=True)
class Family:
    """A family of tube; ``tubes`` smallest first. The texts are for people, see ``sleeves.toml``."""

    name: str
    meaning: str
    source: str
    seen: str
    longitudinal_change: float
    longitudinal_reason: str
    wall_reason: str
    temperatures: str
    tubes: tuple[Tube, ...]


@dataclass(frozen=True, slots=True)
class WireKind:
    """A kind of insulation; ``sizes`` in the table's order, canonical size and finished diameter."""

    name: str
    aliases: tuple[str, ...]
    meaning: str
    source: str
    seen: str
    reason: str
    sizes: tuple[tuple[str, WireDiameter], ...]


@dataclass(frozen=True, slots=True)
class Covering:
    """What lies over a bundle, and the wall that it adds."""

    name: str
    aliases: tuple[str, ...]
    meaning: str
    wall_mm: Range
    source: str
    threaded: bool = True  # pulled over the wires from an end; False: wound or laid around them
    loose: bool = False  # the bundle does not fill it: its outside has to be measured


FAMILY: Form = {
    "name": Key("text", needed=True),
    "meaning": Key("text"),
    "source": Key("text", needed=True),
    "seen": Key("text"),
    "longitudinal_change": Key("number", needed=True, low=-0.5, high=0.0),
    "longitudinal_reason": Key("text"),
    "wall_tolerance": Key("number", low=0.0, high=0.9),
    "wall_reason": Key("text"),
    "temperatures": Key("text"),
    "sizes": Key("rows", needed=True),
}
TUBE: Form = {
    "name": Key("text", needed=True),
    "supplied_mm": Key("length", needed=True, high=1000),
    "recovered_mm": Key("length", needed=True, high=1000),
    "wall_mm": Key("length", needed=True, high=100),
    "wall_low_mm": Key("length", high=100),
    "wall_high_mm": Key("length", high=100),
    "wall_tolerance_mm": Key("length", high=100),
    "liner_mm": Key("length", high=100),
    "lay_flat_mm": Key("length", high=2000),
    "seen": Key("text"),
}
KIND: Form = {
    "name": Key("text", needed=True),
    "aliases": Key("texts"),
    "meaning": Key("text"),
    "source": Key("text", needed=True),
    "seen": Key("text"),
    "tolerance_mm": Key("length", high=10),
    "below_max": Key("number", low=0.0, high=0.5),
    "reason": Key("text"),
    "sizes": Key("rows", needed=True),
}
WIRE: Form = {
    "size": Key("text", needed=True),
    "nominal_mm": Key("length", high=200),
    "min_mm": Key("length", high=200),
    "max_mm": Key("length", high=200),
    "tolerance_mm": Key("length", high=10),
    "seen": Key("text"),
    "remark": Key("text"),
}
COVERING: Form = {
    "name": Key("text", needed=True),
    "aliases": Key("texts"),
    "meaning": Key("text"),
    "wall_low_mm": Key("length", needed=True, high=50),
    "wall_high_mm": Key("length", needed=True, high=50),
    "source": Key("text", needed=True),
    "threaded": Key("flag"),
    "loose": Key("flag"),
}

Row = dict[str, Any]
Entry = TypeVar("Entry", Family, WireKind, Covering)


def read_families(document: Document) -> tuple[tuple[Family, ...], list[Problem]]:
    """Return the families of tube of a ``sleeves.toml``."""
    return _entries(document, "family", FAMILY, _family)


def read_kinds(document: Document) -> tuple[tuple[WireKind, ...], list[Problem]]:
    """Return the kinds of insulation of a ``wires.toml``."""
    return _entries(document, "kind", KIND, _kind)


def read_coverings(document: Document) -> tuple[tuple[Covering, ...], list[Problem]]:
    """Return the coverings of a ``coverings.toml``."""
    return _entries(document, "covering", COVERING, _covering)


def _entries(
    document: Document, table: str, form: Form, build: Callable[[Document, Row], tuple[Entry, list[Problem]]]
) -> tuple[tuple[Entry, ...], list[Problem]]:
    """Return what ``build`` makes of each ``[[table]]``, and all problems; names must differ."""
    strange = [key for key in document.values if key != table]
    problems: list[Problem] = [unknown_key("", key, [table], document.at(key)) for key in strange]
    rows = document.values.get(table, [])
    if not isinstance(rows, list):
        return (), [*problems, Problem(document.at(table), f"{table} is one table", f"write [[{table}]]")]
    entries: dict[str, Entry] = {}
    for row in rows:
        name = label(row, "name")
        values, found = checked(row, form, document.at(name), name or f"[[{table}]]")
        if not found:
            entry, found = build(document, values)
            if entry.name in entries:
                problems.append(_twice(document.at(name), entry.name))
            entries[entry.name] = entry
        problems += found
    return tuple(entries.values()), problems


def _rows(document: Document, entry: Row, form: Form, key: str) -> Iterator[tuple[Row, list[Problem], Where, str]]:
    """Yield each row of an entry's sizes: values, problems, place and name; names must differ."""
    start = document.at(entry["name"]).line
    seen = set()
    for row in entry["sizes"]:
        size = label(row, key)
        where = document.at(size, start)
        name = f"{entry['name']} {size}".strip()
        values, problems = checked(row, form, where, name)
        if size in seen:
            problems.append(_twice(where, name))
        seen.add(size)
        yield values, problems, where, name


def _twice(where: Where, name: str) -> Problem:
    return Problem(where, f"{name} stands here twice", "take one out")


# ---------------------------------------------------------------- tube


def _family(document: Document, entry: Row) -> tuple[Family, list[Problem]]:
    tubes: list[Tube] = []
    problems: list[Problem] = []
    for row, found, where, name in _rows(document, entry, TUBE, "name"):
        if not found:
            tube = _tube(entry, row, name)
            found += [Problem(where, f"{name}: {text}", fix) for text, fix in _impossible(tube)]
            tubes.append(tube)
        problems += found
    family = Family(
        name=entry["name"],
        meaning=entry.get("meaning", ""),
        source=entry["source"],
        seen=entry.get("seen", ""),
        longitudinal_change=entry["longitudinal_change"],
        longitudinal_reason=entry.get("longitudinal_reason", ""),
        wall_reason=entry.get("wall_reason", ""),
        temperatures=entry.get("temperatures", ""),
        tubes=tuple(sorted(tubes, key=lambda tube: (tube.supplied_mm, tube.recovered_mm))),
    )
    return family, problems


def _tube(family: Row, row: Row, name: str) -> Tube:
    wall = row["wall_mm"]
    spread = row.get("wall_tolerance_mm", wall * family.get("wall_tolerance", 0.0))
    return Tube(
        family=family["name"],
        name=name,
        supplied_mm=row["supplied_mm"],
        recovered_mm=row["recovered_mm"],
        wall_mm=wall,
        wall_low_mm=row.get("wall_low_mm", round(wall - spread, 6)),
        wall_high_mm=row.get("wall_high_mm", round(wall + spread, 6)),
        liner_mm=row.get("liner_mm", 0.0),
        longitudinal_change=family["longitudinal_change"],
        lay_flat_mm=row.get("lay_flat_mm"),
        source=_source(family, row),
    )


def _impossible(tube: Tube) -> Iterator[tuple[str, str]]:
    """Yield what no tube can be: the finding and the next step."""
    if tube.recovered_mm <= 0:
        yield "recovered must be above 0", "take it from the tube's data"
    if tube.recovered_mm >= tube.supplied_mm:
        found = f"recovered {tube.recovered_mm:g} mm is not below supplied {tube.supplied_mm:g} mm"
        yield found, "the tube shrinks from supplied to recovered"
    if not 0 < tube.wall_low_mm <= tube.wall_mm <= tube.wall_high_mm:
        found = f"wall {tube.wall_mm:g} mm and its limits {tube.wall_low_mm:g} to {tube.wall_high_mm:g} mm"
        yield f"{found} do not go together", "all must be above 0, the nominal within the limits"
    elif tube.liner_mm >= tube.wall_low_mm:
        found = f"liner {tube.liner_mm:g} mm is not below the thinnest wall, {tube.wall_low_mm:g} mm"
        yield found, "wall is the whole wall after shrinking, liner included"
    if tube.lay_flat_mm is not None and tube.lay_flat_mm < FLATTEST * tube.supplied_mm:
        found = f"lay_flat {tube.lay_flat_mm:g} mm is too narrow for {tube.supplied_mm:g} mm inside"
        yield found, "pressed flat, a tube is at least 1.57 diameters wide"


# ---------------------------------------------------------------- wire


def bare_diameter(size: str) -> float | None:
    """Return the diameter [mm] of a solid conductor of a canonical size, None where it is none.

    >>> bare_diameter("36 AWG"), bare_diameter("0.50 mm2")
    (0.127, None)
    """
    number, _, unit = size.partition(" ")
    if unit == "AWG" and re.fullmatch(r"[1-4]/0|[1-9]\d?", number):
        try:
            return diameter_from_gauge(gauge_from_name(number))
        except ValueError:
            return None
    if unit == "mm2" and re.fullmatch(r"\d{1,4}(\.\d{1,4})?", number) and f"{float(number):g}" == number:
        return diameter_from_area(float(number)) or None
    return None


def _kind(document: Document, entry: Row) -> tuple[WireKind, list[Problem]]:
    sizes: list[tuple[str, WireDiameter]] = []
    problems: list[Problem] = []
    for row, found, where, name in _rows(document, entry, WIRE, "size"):
        if not found:
            low, high = _diameters(entry, row)
            found += [Problem(where, f"{name}: {text}", fix) for text, fix in _no_wire(row["size"], low, high)]
            source = "; ".join(filter(None, [_source(entry, row), row.get("remark", "")]))
            stated = {**entry, **row}
            nominal = "nominal_mm" in row and "min_mm" not in row and not stated.get("tolerance_mm")
            sizes.append((row["size"], WireDiameter(Range(low, high), source, nominal)))
        problems += found
    kind = WireKind(
        name=entry["name"],
        aliases=entry.get("aliases", ()),
        meaning=entry.get("meaning", ""),
        source=entry["source"],
        seen=entry.get("seen", ""),
        reason=entry.get("reason", ""),
        sizes=tuple(sizes),
    )
    return kind, problems


def _diameters(kind: Row, row: Row) -> tuple[float, float]:
    """Return the finished diameter, lowest and highest [mm]; 0 where the row does not say.

    nominal to max, or nominal ± tolerance, or max less the kind's share below it; a tolerance
    widens whatever is stated.
    """
    stated = {"tolerance_mm": 0.0, "nominal_mm": 0.0, "max_mm": 0.0, "below_max": 1.0, **kind, **row}
    tolerance, nominal, highest = stated["tolerance_mm"], stated["nominal_mm"], stated["max_mm"]
    low = stated.get("min_mm", nominal or highest * (1 - stated["below_max"]))
    high = highest or nominal
    return round(low - tolerance, 6), round(high + tolerance, 6)


def _no_wire(size: str, low: float, high: float) -> Iterator[tuple[str, str]]:
    """Yield what no insulated wire can be: the finding and the next step."""
    bare = bare_diameter(size)
    if bare is None:
        yield f"{size!r} is no wire size", "write 20 AWG, 1/0 AWG or 0.5 mm2"
    elif low <= 0 or high <= 0:
        yield "the row gives no range", "give nominal and max, nominal and tolerance, or max and below_max"
    elif low > high:
        yield f"lowest {low:g} mm is above highest {high:g} mm", "check nominal, min and max"
    elif high <= bare:
        yield f"finished diameter {high:g} mm is not above the bare wire's {bare:.3g} mm", "check the unit"


def _source(entry: Row, row: Row) -> str:
    """Return document and how it was seen, the row's own word first."""
    return "; ".join(filter(None, [entry["source"], row.get("seen", entry.get("seen", ""))]))


# ---------------------------------------------------------------- covering


def _covering(document: Document, entry: Row) -> tuple[Covering, list[Problem]]:
    wall = Range(entry["wall_low_mm"], entry["wall_high_mm"])
    problems = []
    if wall.low > wall.high:
        text = f"{entry['name']}: wall_low {wall.low:g} mm is above wall_high {wall.high:g} mm"
        problems.append(Problem(document.at(entry["name"]), text, "exchange them"))
    aliases: Sequence[str] = entry.get("aliases", ())
    how = entry.get("threaded", True), entry.get("loose", False)
    covering = Covering(entry["name"], tuple(aliases), entry.get("meaning", ""), wall, entry["source"], *how)
    return covering, problems
