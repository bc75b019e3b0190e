"""KBL (VDA 4964, prostep ivip PSI 19), versions 2.3 to 2.5 → `Export`.

The version stands in ``version_id`` alone; the namespace is that of 2.3 in all of them. Order is not
relied on, references are checked for what they point at, and what is missing is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem, Where
from labeler.read.export import (
    SI_PREFIX,
    Conductor,
    Export,
    Jacket,
    Links,
    Place,
    Route,
    Segment,
    Thing,
    Variant,
    above_zero,
    best_length,
    measure,
    unique_doubles,
)
from labeler.read.xml import Document, Element

KINDS = {"splice": "splice", "ring terminal": "ring terminal", "no end": "loose end"}
CONNECTORS = ("Connector_occurrence", "Component_box_occurrence")
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


@dataclass(frozen=True, slots=True)
class _Unit:
    """What a value in a unit is in mm (or mm2); 0 where the unit is no length."""

    factor: float
    square: bool


class _Kbl:
    """One file on its way to an export."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.links = Links(document)
        self.notes = self.links.notes
        self.version = self._version()
        found = document.root.first("Harness")
        if found is None:
            fix = "export the harness, not only its parts"
            raise LabelerError(Problem(Where(document.source), f"KBL {self.version} without a Harness", fix))
        self.harness = found
        self.units = {unit.key: self._unit(unit) for unit in document.root.all("Unit")}
        self.node_of = self._nodes()
        self.routes = self._routings()
        self.used: set[str] = set()  # wires and cores that a connection names

    def _version(self) -> str:
        """Return the version; raises LabelerError for the old form, notes one that is not known."""
        root, given = self.document.root, self.document.attributes.get("version_id", "")
        if root.tag != "KBL_container" or re.match(r"2\.[0-2]\b", given):
            message = f"KBL {given or '2.2 or older'} ({root.tag}) is not read; 2.3, 2.4 and 2.5 are"
            raise LabelerError(Problem(Where(self.document.source, root.line), message, "export it as KBL 2.4"))
        if not re.match(r"2\.[345]\b", given):
            message = f"version_id {given!r} is not known, read as KBL 2.5"
            self.notes.add(message, "check the counts", self.links.where(root), "root")
        return given or "of no stated version"

    def export(self) -> Export:
        unique_doubles(self.document, self.notes)
        harness = self.harness
        occurrences = [e for e in harness.children if e.tag.endswith("wire_occurrence")]
        cables = [e for e in occurrences if e.first("Special_wire_id") or e.kind.endswith("pecial_wire_occurrence")]
        conductors = tuple(self._conductors())
        cores = [core for cable in cables for core in cable.all("Core_occurrence")]
        singles = [e for e in occurrences if e not in set(cables)]
        number = harness.said("Part_number")
        return Export(
            form=f"KBL {self.version}",
            version=self.version,
            name=harness.said("Description", "Abbreviation") or number or "harness",
            part_number=number,
            revision=harness.said("Version"),
            places=tuple(self._places()),
            conductors=conductors,
            jackets=tuple(self._jacket(cable) for cable in cables),
            segments=tuple(self._segment(segment) for segment in self.document.root.all("Segment")),
            things=tuple(self._things()),
            variants=tuple(self._variants()),
            nodes=len(self.document.root.all("Node")),
            wires=len(singles),
            cores=len(cores),
            spare=tuple(self._number(e) or e.key for e in (*singles, *cores) if e.key not in self.used),
            became=BECAME,
            notes=self.notes.problems(),
        )

    # ------------------------------------------------------------ numbers

    def _unit(self, unit: Element) -> _Unit:
        """Return what a unit is in mm or mm2: metre and prefix, squared as it says."""
        name = (unit.said("Si_unit_name") or unit.said("Unit_name")).casefold()
        prefix = SI_PREFIX.get(unit.said("Si_prefix").casefold(), 0.0)
        dimension = unit.said("Si_dimension").casefold()
        known = {"metre": 1000.0 * prefix, "meter": 1000.0 * prefix, "mm": 1.0, "millimetre": 1.0, "millimeter": 1.0}
        factor = known.get(name, 0.0)
        if dimension not in ("", "square"):
            factor = 0.0
        return _Unit(factor**2 if dimension == "square" else factor, dimension == "square")

    def _value(self, holder: Element | None, tag: str, square: bool = False) -> float | None:
        """Return a numerical value in mm or mm2, None where it is missing or in another unit."""
        value = holder.first(tag) if holder is not None else None
        return self._amount(value, square)

    def _amount(self, value: Element | None, square: bool = False) -> float | None:
        number = measure(value.said("Value_component")) if value is not None else None
        if value is None or number is None:
            return None
        unit = self.units.get(value.said("Unit_component"))
        if unit is None or not unit.factor or unit.square != square:
            message = f"values whose unit is not one of {'area' if square else 'length'} and that are passed over"
            self.notes.add(message, "export it with the units", self.links.where(value), value.said("Unit_component"))
            return None
        return number * unit.factor

    # ------------------------------------------------------------ connectors

    def _places(self) -> Iterator[Place]:
        for element in self.harness.children:
            if element.tag.endswith(CONNECTORS) or element.tag.endswith("connector_occurrence"):
                yield self._place(element)

    def _place(self, element: Element) -> Place:
        terminals = [
            found
            for point in element.all("Contact_points")
            for key in point.refs("Associated_parts")
            if (found := self.document.ids.get(key)) is not None and found.tag == "Special_terminal_occurrence"
        ]
        cavities = [cavity for slot in element.walk() if slot.tag in CAVITIES for cavity in (slot,)]
        seats = (element, *terminals, *(e for e in element.children if e.tag.startswith("Component_")), *cavities)
        nodes = [self.node_of[seat.key] for seat in seats if seat.key in self.node_of]
        return Place(
            key=element.key,
            id=element.said("Id"),
            alias=self._alias(element),
            description=element.said("Description") or next((t.said("Description") for t in terminals), ""),
            kind=KINDS.get(element.said("Usage").casefold(), "connector"),
            cavities=tuple(filter(None, (self._cavity_number(cavity) for cavity in cavities))),
            node=nodes[0] if nodes else "",
            holders=self._holders(element),
            where=self.links.where(element),
        )

    def _alias(self, element: Element) -> str:
        """Return the alias: a pair of nested elements of one name."""
        return next((found for alias in element.all("Alias_id") if (found := alias.said("Alias_id"))), "")

    def _holders(self, *elements: Element) -> frozenset[str]:
        """Return the keys that stand for elements in a module: their own, and the assembly they belong to."""
        return frozenset(key for e in elements for key in (e.key, e.said("Related_assembly")) if key)

    def _cavity_number(self, cavity: Element) -> str:
        part = self.links.get(cavity.said("Part"), "Cavity", "Cavities", "Component_cavities", of=cavity)
        number = part.said("Cavity_number") if part is not None else ""
        holder = cavity.parent
        boxed = holder
        while boxed is not None and boxed.tag not in ("Component_box_connectors", "Component_slots", "Harness"):
            boxed = boxed.parent
        if boxed is None or boxed.tag == "Harness":
            return number
        slot = boxed.said("Id") or self._part_id(boxed)
        return f"{slot}.{number}" if slot and number else number

    def _part_id(self, element: Element) -> str:
        part = self.document.ids.get(element.said("Part"))
        return part.said("Id") if part is not None else ""

    # ------------------------------------------------------------ wires

    def _conductors(self) -> Iterator[Conductor]:
        for connection in self.harness.all("Connection"):
            found = self._conductor(connection)
            if found is not None:
                yield found

    def _conductor(self, connection: Element) -> Conductor | None:
        where = self.links.where(connection)
        name = connection.said("Id", "Signal_name") or connection.key
        wire = self.links.get(connection.said("Wire"), *WIRES, of=connection)
        ends = self._ends(connection, name)
        if wire is None or ends is None:
            message = "connections that have no wire or no two ends and are left out"
            self.notes.add(message, "complete them in the export", where, name)
            return None
        self.used.add(wire.key)
        is_core = wire.tag == "Core_occurrence"
        cable = wire.parent if is_core else None
        part = self.links.get(wire.said("Part"), "Core" if is_core else "General_wire", of=wire)
        area = above_zero(self._value(part, "Cross_section_area", square=True))
        lengths = [(i.said("Length_type"), self._value(i, "Length_value")) for i in wire.all("Length_information")]
        return Conductor(
            key=connection.key,
            id=self._number(wire),
            ends=ends,
            cable=cable.key if cable is not None else "",
            size=f"{area:g} mm2" if area else "",
            outside_mm=above_zero(self._value(part, "Outside_diameter")),
            colour=self._colour(part),
            signal=connection.said("Signal_name"),
            length_mm=best_length(lengths),
            routes=tuple(self.routes.get(connection.key, ())),
            holders=(frozenset((connection.key,)), self._holders(*(e for e in (wire, cable) if e is not None))),
            where=where,
        )

    def _number(self, wire: Element) -> str:
        """Return the number of a wire or core; a core without one is named by cable and core, as its part calls it."""
        given = wire.said("Wire_number", "Special_wire_id")
        if given or wire.tag != "Core_occurrence" or wire.parent is None:
            return given
        core = self._part_id(wire)
        return ".".join(filter(None, (wire.parent.said("Special_wire_id"), core))) if core else ""

    def _colour(self, part: Element | None) -> str:
        """Return base and stripes as written, parted by ``/``: by the type of each, else by their order."""
        given = [] if part is None else [*part.all("Cover_colour"), *part.all("Core_colour")]
        typed = any(_BASE.search(colour.said("Colour_type")) for colour in given)
        if typed:
            given.sort(key=lambda colour: not _BASE.search(colour.said("Colour_type")))
        return "/".join(filter(None, (colour.said("Colour_value") for colour in given)))

    def _ends(self, connection: Element, name: str) -> tuple[tuple[str, str], tuple[str, str]] | None:
        """Return place and cavity of the first and the last end, None where there are no two."""
        given = connection.all("Extremities")
        positions = [measure(e.said("Position_on_wire")) or 0.0 for e in given]
        if len(set(positions)) > 1:  # one tool writes 0 for both: then the order in the file counts
            given = [e for _, e in sorted(zip(positions, given, strict=True), key=lambda pair: pair[0])]
        found = [end for extremity in given if (end := self._end(extremity, name)) is not None]
        if len(found) > 2:
            message = "wires with more than two ends; the first and the last are taken"
            self.notes.add(message, "check what is tapped", self.links.where(connection), name)
        return (found[0], found[-1]) if len(found) > 1 else None

    def _end(self, extremity: Element, name: str) -> tuple[str, str] | None:
        point = self.links.get(extremity.said("Contact_point"), "Contact_points", *CONNECTORS, of=extremity)
        if point is None:
            return None
        if point.tag in CONNECTORS:
            message = "ends at a connector without a cavity"
            self.notes.add(message, "name the contact point in the export", self.links.where(extremity), name)
            return point.key, ""
        owner = point.parent
        while owner is not None and not owner.tag.endswith(("onnector_occurrence", "omponent_box_occurrence")):
            owner = owner.parent
        if owner is None:
            message = "ends at a contact point of no connector"
            self.notes.add(message, "export it again", self.links.where(extremity), name)
            return None
        cavities = [self.links.get(key, *CAVITIES, of=point) for key in point.refs("Contacted_cavity")]
        numbers = [self._cavity_number(cavity) for cavity in cavities if cavity is not None]
        return owner.key, "+".join(filter(None, numbers))

    def _jacket(self, cable: Element) -> Jacket:
        part = self.links.get(cable.said("Part"), "General_wire", of=cable)
        outside = above_zero(self._value(part, "Outside_diameter"))
        return Jacket(cable.key, cable.said("Special_wire_id"), outside, self.links.where(cable))

    # ------------------------------------------------------------ topology

    def _nodes(self) -> dict[str, str]:
        """Return the node of everything that sits at one."""
        at: dict[str, str] = {}
        for node in self.document.root.all("Node"):
            for tag in ("Referenced_components", "Referenced_cavities"):
                for key in node.refs(tag):
                    at.setdefault(key, node.key)
        return at

    def _routings(self) -> dict[str, list[Route]]:
        """Return the routes of each connection."""
        found: dict[str, list[Route]] = {}
        for routing in self.document.root.all("Routing"):
            named = [s for key in routing.refs("Segments") if (s := self.links.get(key, "Segment", of=routing))]
            wire = self.links.get(routing.said("Routed_wire"), "Connection", of=routing)
            if wire is not None and named:
                found.setdefault(wire.key, []).append(Route(routing.key, tuple(s.key for s in named)))
        return found

    def _segment(self, segment: Element) -> Segment:
        areas = segment.all("Cross_section_area_information")
        given = [
            (a.said("Value_determination").casefold(), above_zero(self._value(a, "Area", square=True))) for a in areas
        ]
        kind, area = max((g for g in given if g[1]), key=lambda g: g[0] == "measured", default=("", None))
        lengths = (self._value(segment, tag) for tag in ("Physical_length", "Virtual_length"))
        return Segment(
            key=segment.key,
            id=segment.said("Id"),
            alias=self._alias(segment),
            start=self._node(segment, "Start_node"),
            end=self._node(segment, "End_node"),
            length_mm=next(filter(above_zero, lengths), None),
            area_mm2=area,
            area_kind=kind,
            where=self.links.where(segment),
        )

    def _node(self, segment: Element, tag: str) -> str:
        node = self.links.get(segment.said(tag), "Node", of=segment)
        return node.key if node is not None else ""

    def _things(self) -> Iterator[Thing]:
        """Yield tubes, tapes and clips on segments: a harness has no place for them, so they are told."""
        for segment in self.document.root.all("Segment"):
            length = next(filter(None, (self._value(segment, t) for t in ("Physical_length", "Virtual_length"))), None)
            for area in segment.all("Protection_area"):
                cover = self.links.get(area.said("Associated_protection"), *PROTECTIONS, of=area)
                if cover is not None:
                    start, end = (self._at(area, name, length) for name in ("Start_location", "End_location"))
                    words = tuple(filter(None, self._protection_words(cover)))
                    yield Thing(cover.key, self._protection(cover), segment.key, start, end, words=words)
            for clip in segment.all("Fixing_assignment"):
                fixing = self.links.get(clip.said("Fixing"), of=clip)
                if fixing is not None:
                    at = self._at(clip, "Location", length)
                    yield Thing(fixing.key, f"clip {fixing.said('Id')}", segment.key, at, at, is_clip=True)

    def _at(self, holder: Element, tag: str, length: float | None) -> float | None:
        """Return a location in mm: absolute where it is given, else the share of the segment's length."""
        absolute = self._value(holder, f"Absolute_{tag.lower()}")
        share = measure(holder.said(tag))
        return absolute if absolute is not None else share * length if share is not None and length else None

    def _protection_words(self, cover: Element) -> Iterator[str]:
        part = self.document.ids.get(cover.said("Part"))
        tags = ("Part_number", "Protection_type", "Type_dependent_parameter", "Abbreviation", "Description")
        yield from (part.said(tag) for tag in tags) if part is not None else ()

    def _protection(self, cover: Element) -> str:
        part = self.document.ids.get(cover.said("Part"))
        words = (
            [part.said(tag) for tag in ("Protection_type", "Type_dependent_parameter", "Description")] if part else []
        )
        return " ".join(filter(None, (words[0] if words else "protection", cover.said("Id"), *words[1:])))[:120]

    # ------------------------------------------------------------ variants

    def _variants(self) -> Iterator[Variant]:
        modules = {}
        for module in self.harness.all("Module"):
            modules[module.key] = self._members(module.all("Module_configuration"))
            codes = [c.said("Logistic_control_information") for c in module.all("Module_configuration")]
            names = self._names(module, (code for code in codes if len(code) > 1))
            yield Variant(names, modules[module.key])
        for loose in self.harness.all("Module_configuration"):
            modules[loose.key] = self._members([loose])
            names = tuple(filter(None, (loose.said("Logistic_control_information"), loose.key)))
            yield Variant(names, modules[loose.key])
        for whole in self.harness.all("Harness_configuration"):
            members = [modules[key] for key in whole.refs("Modules") if key in modules]
            yield Variant(self._names(whole, ()), frozenset().union(*members))

    def _names(self, element: Element, codes: Iterable[str]) -> tuple[str, ...]:
        """Return the names a variant may be chosen by, the one to show first."""
        own = (element.said("Part_number"), element.said("Abbreviation"), *codes, element.key)
        return tuple(dict.fromkeys(name for name in own if name and name != "-"))

    def _members(self, configurations: Iterable[Element]) -> frozenset[str]:
        return frozenset(key for c in configurations for key in c.refs("Controlled_components"))


CAVITIES = ("Cavities", "Component_cavities", "Cavity_occurrence")
WIRES = ("General_wire_occurrence", "Core_occurrence", "Wire_occurrence", "Special_wire_occurrence")
PROTECTIONS = ("Wire_protection_occurrence", "Specified_wire_protection_occurrence")
