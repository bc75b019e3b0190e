"""Tube, wire and covering: from rows of a table to values in mm, with what cannot be named.

Each reader takes a document and returns its entries in the file's order, with the problems found.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeVar

from labeler.errors import Problem
from labeler.formulas.wire import diameter_from_area, diameter_from_gauge, gauge_from_name
from labeler.model import Range, Tube, WireDiameter
from labeler.tables.document import (
    ENTRIES,
    FLAG,
    LENGTH,
    NUMBER,
    SIZES,
    TEXT,
    TEXTS,
    Document,
    Form,
    Key,
    Row,
    read_table,
)

FLATTEST = 1.5  # project choice: half an inside circumference is 1.571 diameters; 5 % for rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """A family of tube; ``tubes`` smallest first. The texts are for people, see ``tubes.toml``."""

    name: str
    description: str = ""
    source: str
    source_note: str = ""
    longitudinal_change: float
    longitudinal_source: str = ""
    recovered_wall_source: str = ""
    temperatures: str = ""
    tubes: tuple[Tube, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class WireType:
    """A kind of insulation; ``sizes`` in the table's order, canonical size and finished diameter."""

    name: str
    aliases: tuple[str, ...] = ()
    description: str = ""
    source: str
    source_note: str = ""
    tolerance_source: str = ""
    sizes: tuple[tuple[str, WireDiameter], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Covering:
    """What lies over a bundle, and the wall that it adds."""

    name: str
    aliases: tuple[str, ...] = ()
    description: str = ""
    wall_mm: Range
    source: str
    squeezed_mm: Range | None = None  # drawn tight or squeezed by hand, None: as laid
    slide_on: bool = True  # pulled over the wires from an end; False: wound or laid around them
    loose_fit: bool = False  # the bundle does not fill it: its outside has to be measured


SOURCE = Key(TEXT, "the document that the figures are from", "SAE J1128", required=True)
SOURCE_NOTE = Key(TEXT, "how the figures were seen", "from memory")
NAME = Key(TEXT, "name by which harness files call it", "SAE J1128 TXL", required=True)
ALIASES = Key(TEXTS, "other names for it", ["TXL"])
DESCRIPTION = Key(TEXT, "what it is, for people", "thin-wall cross-linked polyolefin")

TUBE_SIZE = Form(
    {
        "name": Key(TEXT, "the size; the tube is called by family and size", "1/4", required=True),
        "expanded_id_mm": Key(LENGTH, "smallest inside diameter as bought", 6.35, required=True, high=1000.0),
        "recovered_id_mm": Key(
            LENGTH, "largest inside diameter after free shrinking", 3.18, required=True, high=1000.0
        ),
        "recovered_wall_mm": Key(
            LENGTH, "nominal wall after free shrinking, liner included", 0.64, required=True, high=100.0
        ),
        "min_recovered_wall_mm": Key(LENGTH, "least wall after free shrinking", 0.56, high=100.0),
        "max_recovered_wall_mm": Key(LENGTH, "greatest wall after free shrinking", 0.71, high=100.0),
        "recovered_wall_tolerance_mm": Key(LENGTH, "tolerance of the wall to both sides", 0.08, high=100.0),
        "liner_mm": Key(LENGTH, "the part of the wall that melts", 0.5, default=0.0, high=100.0),
        "lay_flat_width_mm": Key(LENGTH, "measured width of the tube pressed flat", 10.6, high=2000.0),
        "source_note": SOURCE_NOTE,
    },
    named_by="name",
)
FAMILY = Form(
    {
        "name": NAME,
        "description": DESCRIPTION,
        "source": SOURCE,
        "source_note": SOURCE_NOTE,
        "longitudinal_change": Key(
            NUMBER,
            "most negative change of length at full recovery, a fraction",
            -0.05,
            required=True,
            low=-0.5,
            high=0.0,
        ),
        "longitudinal_source": Key(TEXT, "where that figure is from", "project choice"),
        "recovered_wall_tolerance": Key(
            NUMBER, "fraction of the wall, where the rows state none themselves", 0.2, high=0.9
        ),
        "recovered_wall_source": Key(TEXT, "where the limits of the wall are from", "project choice"),
        "temperatures": Key(TEXT, "for the person with the hot-air tool", "shrinks above 110 °C"),
        "sizes": Key(SIZES, "a table for each size", required=True, form=TUBE_SIZE),
    },
    named_by="name",
)
WIRE_SIZE = Form(
    {
        "size": Key(TEXT, "size of the conductor", "20 AWG", required=True),
        "nominal_mm": Key(LENGTH, "nominal finished diameter", 1.8, high=200.0),
        "min_mm": Key(LENGTH, "least finished diameter", 1.7, high=200.0),
        "max_mm": Key(LENGTH, "greatest finished diameter", 1.9, high=200.0),
        "tolerance_mm": Key(LENGTH, "tolerance to both sides, where it differs from the kind's", 0.05, high=10.0),
        "source_note": SOURCE_NOTE,
        "note": Key(TEXT, "what to know about the row", "one list's figure"),
    },
    named_by="size",
)
WIRE_TYPE = Form(
    {
        "name": NAME,
        "aliases": ALIASES,
        "description": DESCRIPTION,
        "source": SOURCE,
        "source_note": SOURCE_NOTE,
        "tolerance_mm": Key(LENGTH, "tolerance to both sides of what a row states", 0.05, high=10.0),
        "min_below_max": Key(NUMBER, "fraction that the low end is below a maximum that stands alone", 0.1, high=0.5),
        "tolerance_source": Key(TEXT, "where tolerance or min_below_max is from", "project choice"),
        "sizes": Key(SIZES, "a table for each size", required=True, form=WIRE_SIZE),
    },
    named_by="name",
)
COVERING = Form(
    {
        "name": NAME,
        "aliases": ALIASES,
        "description": DESCRIPTION,
        "min_wall_mm": Key(LENGTH, "least wall that it adds all round", 0.5, required=True, high=50.0),
        "max_wall_mm": Key(LENGTH, "greatest wall that it adds all round", 0.9, required=True, high=50.0),
        "min_squeezed_wall_mm": Key(
            LENGTH, "least wall, drawn tight or squeezed by hand while a sleeve slides over it", 0.4, high=50.0
        ),
        "max_squeezed_wall_mm": Key(
            LENGTH, "greatest wall, drawn tight or squeezed by hand while a sleeve slides over it", 0.5, high=50.0
        ),
        "source": SOURCE,
        "slide_on": Key(
            FLAG, "whether it is pulled over the wires from an end, not wound around them", True, default=True
        ),
        "loose_fit": Key(FLAG, "whether the bundle does not fill it", False, default=False),
    },
    named_by="name",
)
FAMILIES = Form({"family": Key(ENTRIES, "a family of tube", form=FAMILY)})
WIRE_TYPES = Form({"wire_type": Key(ENTRIES, "a type of insulation", form=WIRE_TYPE)})
COVERINGS = Form({"covering": Key(ENTRIES, "a covering", form=COVERING)})

Values = Mapping[str, Any]
Finding = tuple[str, str]  # what cannot be, and the next step
Found = Iterator[tuple[Row, Finding]]
Entry = TypeVar("Entry")
Made = TypeVar("Made", Family, Tube, WireType, Covering)


def read_families(document: Document) -> tuple[tuple[Family, ...], list[Problem]]:
    """Return the families of tube of a ``tubes.toml``."""
    return _entries(document, FAMILIES, _family)


def read_wire_types(document: Document) -> tuple[tuple[WireType, ...], list[Problem]]:
    """Return the kinds of insulation of a ``wire_types.toml``."""
    return _entries(document, WIRE_TYPES, _wire_type)


def read_coverings(document: Document) -> tuple[tuple[Covering, ...], list[Problem]]:
    """Return the coverings of a ``coverings.toml``."""
    return _entries(document, COVERINGS, _covering)


def _entries(
    document: Document, form: Form, build: Callable[[Row], tuple[Entry, Found]]
) -> tuple[tuple[Entry, ...], list[Problem]]:
    """Return what ``build`` makes of each table that has no problem of its own, and all problems."""
    read = read_table(document, form)
    problems = list(read.all_problems())
    built = [build(row) for row in read.rows(next(iter(form.keys))) if not row.problems]
    for _, found in built:
        problems += [Problem(document.where(row.place), f"{row.title}: {text}", fix) for row, (text, fix) in found]
    return tuple(entry for entry, _ in built), problems


def _made(kind: type[Made], row: Values, **more: Any) -> Made:
    """Return a value of the fields that a row has, and more; what the row leaves out has the default of the class."""
    return kind(**{field.name: row[field.name] for field in fields(kind) if field.name in row} | more)


# ---------------------------------------------------------------- tube


def _family(row: Row) -> tuple[Family, Found]:
    sizes = [(size, _tube(row.values, size)) for size in row.rows("sizes") if not size.problems]
    tubes = sorted((tube for _, tube in sizes), key=lambda tube: (tube.expanded_id_mm, tube.recovered_id_mm))
    found = ((size, finding) for size, tube in sizes for finding in _impossible(tube))
    return _made(Family, row.values, tubes=tuple(tubes)), found


def _tube(family: Values, size: Row) -> Tube:
    row = size.values
    wall = row["recovered_wall_mm"]
    spread = row.get("recovered_wall_tolerance_mm", wall * family.get("recovered_wall_tolerance", 0.0))
    limits = {"min_recovered_wall_mm": round(wall - spread, 6), "max_recovered_wall_mm": round(wall + spread, 6)}
    stated = {**limits, "longitudinal_change": family["longitudinal_change"], **row}
    return _made(Tube, stated, family=family["name"], name=size.title, source=_source(family, row))


def _impossible(tube: Tube) -> Iterator[Finding]:
    """Yield what no tube can be: the finding and the next step."""
    if tube.recovered_id_mm <= 0:
        yield "recovered_id must be above 0", "take it from the tube's data"
    if tube.recovered_id_mm >= tube.expanded_id_mm:
        found = f"recovered_id {tube.recovered_id_mm:g} mm is not below expanded_id {tube.expanded_id_mm:g} mm"
        yield found, "the tube shrinks from expanded_id to recovered_id"
    if not 0 < tube.min_recovered_wall_mm <= tube.recovered_wall_mm <= tube.max_recovered_wall_mm:
        low, high = tube.min_recovered_wall_mm, tube.max_recovered_wall_mm
        found = f"recovered_wall {tube.recovered_wall_mm:g} mm and its limits {low:g} to {high:g} mm"
        yield f"{found} do not go together", "all must be above 0, the nominal within the limits"
    elif tube.liner_mm >= tube.min_recovered_wall_mm:
        found = f"liner {tube.liner_mm:g} mm is not below the thinnest wall, {tube.min_recovered_wall_mm:g} mm"
        yield found, "recovered_wall is the whole wall after shrinking, liner included"
    if tube.lay_flat_width_mm is not None and tube.lay_flat_width_mm < FLATTEST * tube.expanded_id_mm:
        found = f"lay_flat_width {tube.lay_flat_width_mm:g} mm is too narrow for {tube.expanded_id_mm:g} mm inside"
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


def _wire_type(row: Row) -> tuple[WireType, Found]:
    sizes = [(size, _wire(row.values, size.values)) for size in row.rows("sizes") if not size.problems]
    found = ((size, finding) for size, (name, wire) in sizes for finding in _no_wire(name, wire.range_mm))
    return _made(WireType, row.values, sizes=tuple(wire for _, wire in sizes)), found


def _wire(kind: Values, row: Values) -> tuple[str, WireDiameter]:
    stated = {**kind, **row}
    source = "; ".join(filter(None, [_source(kind, row), stated.get("note", "")]))
    nominal = "nominal_mm" in stated and "min_mm" not in stated and not stated.get("tolerance_mm")
    return stated["size"], WireDiameter(_diameters(stated), source, nominal)


def _diameters(row: Values) -> Range:
    """Return the finished diameter of a row with its kind's figures, mm; 0 where none is said.

    nominal to max, or nominal ± tolerance, or max less the kind's share below it; a tolerance
    widens whatever is stated.
    """
    stated = {"tolerance_mm": 0.0, "nominal_mm": 0.0, "max_mm": 0.0, "min_below_max": 1.0, **row}
    tolerance, nominal, highest = stated["tolerance_mm"], stated["nominal_mm"], stated["max_mm"]
    low = stated.get("min_mm", nominal or highest * (1 - stated["min_below_max"]))
    high = highest or nominal
    return Range(round(low - tolerance, 6), round(high + tolerance, 6))


def _no_wire(size: str, outside: Range) -> Iterator[Finding]:
    """Yield what no insulated wire can be: the finding and the next step."""
    bare, low, high = bare_diameter(size), outside.low, outside.high
    if bare is None:
        yield f"{size!r} is no wire size", "write 20 AWG, 1/0 AWG or 0.5 mm2"
    elif low <= 0 or high <= 0:
        yield "the row gives no range", "give nominal and max, nominal and tolerance, or max and min_below_max"
    elif low > high:
        yield f"lowest {low:g} mm is above highest {high:g} mm", "check nominal, min and max"
    elif high <= bare:
        yield f"finished diameter {high:g} mm is not above the bare wire's {bare:.3g} mm", "check the unit"


def _source(entry: Values, row: Values) -> str:
    """Return document and how it was seen, the row's own word first."""
    return "; ".join(filter(None, [entry["source"], row.get("source_note", entry.get("source_note", ""))]))


# ---------------------------------------------------------------- covering


def _covering(row: Row) -> tuple[Covering, Found]:
    wall = Range(row.values["min_wall_mm"], row.values["max_wall_mm"])
    low, high = (row.values.get(f"{end}_squeezed_wall_mm") for end in ("min", "max"))
    squeezed = None if low is None and high is None else Range(low or 0.0, wall.high if high is None else high)
    findings = []
    if wall.low > wall.high:
        findings.append((row, (f"min_wall {wall.low:g} mm is above max_wall {wall.high:g} mm", "exchange them")))
    if squeezed and not squeezed.low <= squeezed.high <= wall.high:
        text = (
            f"squeezed wall of {squeezed.low:g} to {squeezed.high:g} mm does not fit a wall of at most {wall.high:g} mm"
        )
        findings.append((row, (text, "a squeezed wall is at most as thick as the wall as laid")))
    return _made(Covering, row.values, wall_mm=wall, squeezed_mm=squeezed), iter(findings)
