"""KBL (VDA 4964, prostep ivip PSI 19), versions 2.3 to 2.5 → `Export`.

The version stands in ``version_id`` alone; the namespace is that of 2.3 in all of them. Order is not
relied on, references are checked for what they point at, and what is missing is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from operator import itemgetter

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.model import Cable
from labeler.readers.export import (
    SI_PREFIX,
    Conductor,
    Ends,
    Export,
    Place,
    Route,
    Segment,
    Thing,
    Variant,
    above_zero,
    best_length,
    first_and_last,
)
from labeler.readers.xml import NOTHING, Document, Element, measure

KINDS = {"splice": "splice", "ring terminal": "ring terminal", "no end": "unterminated end"}
CONNECTORS = ("Connector_occurrence", "Component_box_occurrence")
HOUSINGS = ("onnector_occurrence", "omponent_box_occurrence")  # how the names of their elements end
CAVITIES = ("Cavities", "Component_cavities", "Cavity_occurrence")
WIRES = ("General_wire_occurrence", "Core_occurrence", "Wire_occurrence", "Special_wire_occurrence")
PROTECTIONS = ("Wire_protection_occurrence", "Specified_wire_protection_occurrence")
PROTECTION = ("Protection_type", "Type_dependent_parameter", "Description")
LENGTHS = ("Physical_length", "Virtual_length")  # of a segment, the better first
BECAME = (
    ("Connector_occurrence, Component_box_occurrence", "connector"),
    ("Connector_occurrence/Usage", "kind of connector"),
    ("Cavity/Cavity_number", "cavity"),
    ("Wire_occurrence/Wire_number, Core_occurrence/Wire_number", "circuit"),
    ("Connection/Extremities", "from and to"),
    ("Connection/Signal_name", "signal"),
    ("Special_wire_occurrence/Special_wire_id", "cable"),
    ("General_wire, Core/Cross_section_area", "size"),
    ("General_wire, Core/Outside_diameter", "outside diameter"),
    ("Cover_colour, Core_colour", "colour: base, then stripes, parted by /"),
    ("Length_information", "length: production, contract, drawing, calculated, dmu, the first that is there"),
    ("Routing/Segments, Segment", "branch, where a segment ends at a connector"),
)
_BASE = re.compile(r"base|grund|gfarb", re.I)


def read_kbl(document: Document) -> Export:
    """Return what a KBL file says; raises LabelerError for a version that cannot be read or a file without harness."""
    return _Kbl(document).export()


class _Kbl:
    """One file on its way to an export."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.root = document.root
        self.version = self._version()
        self.harness = document.root.first("Harness")
        if not self.harness:
            fix = "export the harness, not only its parts"
            raise LabelerError(Problem(SourceLocation(document.source), f"KBL {self.version} without a Harness", fix))
        document.units = {unit.key: _unit(unit) for unit in self.root.all("Unit")}
        self.node_of: dict[str, str] = {}  # of everything that sits at one
        for node in self.root.all("Node"):
            for key in (*node.refs("Referenced_components"), *node.refs("Referenced_cavities")):
                self.node_of.setdefault(key, node.key)
        self.routes = self._routings()
        self.used: set[str] = set()  # wires and cores that a connection names

    def _version(self) -> str:
        """Return the version; raises LabelerError for the old form, notes one that is not known."""
        given = self.document.version
        if self.root.tag != "KBL_container" or re.match(r"2\.[0-2]\b", given):
            message = f"KBL {given or '2.2 or older'} ({self.root.tag}) is not read; 2.3, 2.4 and 2.5 are"
            raise LabelerError(Problem(self.document.where(self.root), message, "export it as KBL 2.4"))
        if not re.match(r"2\.[345]\b", given):
            message = f"version_id {given!r} is not known, read as KBL 2.5"
            self.document.note(message, "check the counts", self.root, "root")
        return given or "of no stated version"

    def export(self) -> Export:
        self.document.note_doubles()
        harness = self.harness
        occurrences = [e for e in harness.children if e.tag.endswith("wire_occurrence")]
        cables = [e for e in occurrences if e.first("Special_wire_id") or e.kind.endswith("pecial_wire_occurrence")]
        conductors = tuple(filter(None, map(self._conductor, harness.all("Connection"))))
        cores = [core for cable in cables for core in cable.all("Core_occurrence")]
        singles = [e for e in occurrences if e not in set(cables)]
        number = harness.said("Part_number")
        return Export(
            form=f"KBL {self.version}",
            version=self.version,
            name=harness.said("Description", "Abbreviation") or number or "harness",
            part_number=number,
            revision=harness.said("Version"),
            places=tuple(self._place(e) for e in harness.children if e.tag.endswith(HOUSINGS)),
            conductors=conductors,
            jackets=tuple(map(self._jacket, cables)),
            segments=tuple(map(self._segment, self.root.all("Segment"))),
            things=tuple(self._things()),
            variants=tuple(self._variants()),
            nodes=len(self.root.all("Node")),
            wires=len(singles),
            cores=len(cores),
            spare=tuple(self._number(e) or e.key for e in (*singles, *cores) if e.key not in self.used),
            became=BECAME,
            notes=self.document.notes.problems(),
        )

    def _value(self, holder: Element, tag: str, power: float = 1.0) -> float | None:
        """Return a numerical value in mm, or mm2 for ``power`` 2; None where it is missing or in another unit."""
        return self.document.amount(holder.first(tag), power)

    # ------------------------------------------------------------ connectors

    def _place(self, element: Element) -> Place:
        document = self.document
        terminals = [
            found
            for point in element.all("Contact_points")
            for key in point.refs("Associated_parts")
            if (found := document.ids.get(key, NOTHING)).tag == "Special_terminal_occurrence"
        ]
        cavities = [slot for slot in element.walk() if slot.tag in CAVITIES]
        seats = (element, *terminals, *(e for e in element.children if e.tag.startswith("Component_")), *cavities)
        return Place(
            key=element.key,
            id=element.said("Id"),
            alias=_alias(element),
            description=element.said("Description") or next((t.said("Description") for t in terminals), ""),
            kind=KINDS.get(element.said("Usage").casefold(), "connector"),
            cavities=tuple(filter(None, map(self._cavity_number, cavities))),
            node=next((self.node_of[seat.key] for seat in seats if seat.key in self.node_of), ""),
            holders=_holders(element),
            where=document.where(element),
        )

    def _cavity_number(self, cavity: Element) -> str:
        number = self.document.one(cavity, "Part", "Cavity", "Cavities", "Component_cavities").said("Cavity_number")
        boxes = ("Component_box_connectors", "Component_slots")
        box = next((e for e in cavity.above() if e.tag in (*boxes, "Harness")), NOTHING)
        slot = box.said("Id") or self.document.loose(box, "Part").said("Id") if box.tag in boxes else ""
        return f"{slot}.{number}" if slot and number else number

    # ------------------------------------------------------------ wires

    def _conductor(self, connection: Element) -> Conductor | None:
        document = self.document
        name = connection.said("Id", "Signal_name") or connection.key
        wire = document.one(connection, "Wire", *WIRES)
        ends = self._ends(connection, name)
        if not wire or ends is None:
            message = "connections that have no wire or no two ends and are left out"
            document.note(message, "complete them in the export", connection, name)
            return None
        self.used.add(wire.key)
        cable = wire.parent if wire.tag == "Core_occurrence" and wire.parent else NOTHING
        part = document.one(wire, "Part", "Core" if wire.tag == "Core_occurrence" else "General_wire")
        area = above_zero(self._value(part, "Cross_section_area", 2))
        lengths = [(i.said("Length_type"), self._value(i, "Length_value")) for i in wire.all("Length_information")]
        return Conductor(
            key=connection.key,
            id=self._number(wire),
            ends=ends,
            cable=cable.key,
            size=f"{area:g} mm2" if area else "",
            od_mm=above_zero(self._value(part, "Outside_diameter")),
            colour=_colour(part),
            signal=connection.said("Signal_name"),
            length_mm=best_length(lengths),
            routes=tuple(self.routes.get(connection.key, ())),
            holders=(frozenset((connection.key,)), _holders(wire, cable)),
            where=document.where(connection),
        )

    def _number(self, wire: Element) -> str:
        """Return the number of a wire or core; a core without one is named by cable and core, as its part calls it."""
        given = wire.said("Wire_number", "Special_wire_id")
        if given or wire.tag != "Core_occurrence" or not wire.parent:
            return given
        core = self.document.loose(wire, "Part").said("Id")
        return ".".join(filter(None, (wire.parent.said("Special_wire_id"), core))) if core else ""

    def _ends(self, connection: Element, name: str) -> Ends | None:
        """Return place and cavity of the first and the last end, None where there are no two."""
        given = connection.all("Extremities")
        given.sort(key=lambda end: measure(end.said("Position_on_wire")) or 0.0)  # 0 for both: as in the file
        return first_and_last(self.document, (self._end(e, name) for e in given), connection, name)

    def _end(self, extremity: Element, name: str) -> tuple[str, str] | None:
        document = self.document
        point = document.one(extremity, "Contact_point", "Contact_points", *CONNECTORS)
        if point.tag in CONNECTORS:
            message = "ends at a connector without a cavity"
            document.note(message, "name the contact point in the export", extremity, name)
            return point.key, ""
        owner = next((e for e in point.above() if e.tag.endswith(HOUSINGS)), None)
        if owner is None:
            if point:
                document.note("ends at a contact point of no connector", "export it again", extremity, name)
            return None
        cavities = document.several(point, "Contacted_cavity", *CAVITIES)
        return owner.key, "+".join(filter(None, map(self._cavity_number, cavities)))

    def _jacket(self, cable: Element) -> tuple[str, Cable]:
        part = self.document.one(cable, "Part", "General_wire")
        outside = above_zero(self._value(part, "Outside_diameter"))
        return cable.key, Cable(cable.said("Special_wire_id"), outside, self.document.where(cable))

    # ------------------------------------------------------------ topology

    def _routings(self) -> dict[str, list[Route]]:
        """Return the routes of each connection."""
        found: dict[str, list[Route]] = {}
        for routing in self.root.all("Routing"):
            segments = tuple(s.key for s in self.document.several(routing, "Segments", "Segment"))
            wire = self.document.one(routing, "Routed_wire", "Connection")
            if wire and segments:
                found.setdefault(wire.key, []).append(Route(routing.key, segments))
        return found

    def _segment(self, segment: Element) -> Segment:
        given = (
            (a.said("Value_determination").casefold(), above_zero(self._value(a, "Area", 2)))
            for a in segment.all("Cross_section_area_information")
        )
        kind, area = max(filter(itemgetter(1), given), key=lambda g: g[0] == "measured", default=("", None))
        start, end = (self.document.one(segment, tag, "Node").key for tag in ("Start_node", "End_node"))
        return Segment(
            key=segment.key,
            id=segment.said("Id"),
            alias=_alias(segment),
            start=start,
            end=end,
            length_mm=next(filter(above_zero, (self._value(segment, tag) for tag in LENGTHS)), None),
            area_mm2=area,
            area_kind=kind,
            where=self.document.where(segment),
        )

    def _things(self) -> Iterator[Thing]:
        """Yield tubes, tapes and clips on segments: a harness has no place for them, so they are told."""
        for segment in self.root.all("Segment"):
            length = next(filter(None, (self._value(segment, tag) for tag in LENGTHS)), None)
            for area in segment.all("Protection_area"):
                cover = self.document.one(area, "Associated_protection", *PROTECTIONS)
                if cover:
                    start, end = (self._at(area, name, length) for name in ("Start_location", "End_location"))
                    part = self.document.loose(cover, "Part")
                    kind, size, about = (part.said(tag) for tag in PROTECTION)
                    what = " ".join(filter(None, (kind if part else "protection", cover.said("Id"), size, about)))
                    words = (part.said("Part_number"), kind, size, part.said("Abbreviation"), about)
                    yield Thing(cover.key, what[:120], segment.key, start, end, words=tuple(filter(None, words)))
            for clip in segment.all("Fixing_assignment"):
                fixing = self.document.one(clip, "Fixing")
                if fixing:
                    at = self._at(clip, "Location", length)
                    yield Thing(fixing.key, f"clip {fixing.said('Id')}", segment.key, at, at, is_clip=True)

    def _at(self, holder: Element, tag: str, length: float | None) -> float | None:
        """Return a location in mm: absolute where it is given, else the share of the segment's length."""
        absolute = self._value(holder, f"Absolute_{tag.lower()}")
        share = measure(holder.said(tag))
        return absolute if absolute is not None else share * length if share is not None and length else None

    # ------------------------------------------------------------ variants

    def _variants(self) -> Iterator[Variant]:
        modules = {}
        for module in self.harness.all("Module"):
            configurations = module.all("Module_configuration")
            modules[module.key] = _members(configurations)
            codes = (c.said("Logistic_control_information") for c in configurations)
            yield Variant(_names(module, *(code for code in codes if len(code) > 1)), modules[module.key])
        for loose in self.harness.all("Module_configuration"):
            modules[loose.key] = _members([loose])
            names = tuple(filter(None, (loose.said("Logistic_control_information"), loose.key)))
            yield Variant(names, modules[loose.key])
        for whole in self.harness.all("Harness_configuration"):
            members = [modules[key] for key in whole.refs("Modules") if key in modules]
            yield Variant(_names(whole), frozenset().union(*members))


def _unit(unit: Element) -> tuple[float, float]:
    """Return the mm in one of a unit, 0 where it is no length, and its power, 0 where that is neither 1 nor 2."""
    name = unit.said("Si_unit_name", "Unit_name").casefold()
    metre = 1000.0 * SI_PREFIX.get(unit.said("Si_prefix").casefold(), 0.0)
    known = {"metre": metre, "meter": metre, "mm": 1.0, "millimetre": 1.0, "millimeter": 1.0}
    return known.get(name, 0.0), {"": 1.0, "square": 2.0}.get(unit.said("Si_dimension").casefold(), 0.0)


def _alias(element: Element) -> str:
    """Return the alias: a pair of nested elements of one name."""
    return next((found for alias in element.all("Alias_id") if (found := alias.said("Alias_id"))), "")


def _holders(*elements: Element) -> frozenset[str]:
    """Return the keys that stand for elements in a module: their own, and the assembly they belong to."""
    return frozenset(key for e in elements for key in (e.key, e.said("Related_assembly")) if key)


def _colour(part: Element) -> str:
    """Return base and stripes as written, parted by ``/``: by the type of each, else by their order."""
    given = [*part.all("Cover_colour"), *part.all("Core_colour")]
    if any(_BASE.search(colour.said("Colour_type")) for colour in given):
        given.sort(key=lambda colour: not _BASE.search(colour.said("Colour_type")))
    return "/".join(filter(None, (colour.said("Colour_value") for colour in given)))


def _names(element: Element, *codes: str) -> tuple[str, ...]:
    """Return the names a variant may be chosen by, the one to show first."""
    own = (element.said("Part_number"), element.said("Abbreviation"), *codes, element.key)
    return tuple(dict.fromkeys(name for name in own if name and name != "-"))


def _members(configurations: Iterable[Element]) -> frozenset[str]:
    return frozenset(key for c in configurations for key in c.refs("Controlled_components"))
