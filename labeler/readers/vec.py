"""VEC (VDA 4968, prostep ivip PSI 21), versions 1.1 to 2.2 → `Export`.

Read loosely: what is not known is passed over, references are checked for what they point at. The ends of
a wire are told by its wire ends and contact points; else by its connection and the ports of cavities; else
not at all, and then it is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from operator import itemgetter

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse
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
from labeler.readers.import_report import some
from labeler.readers.xml import NOTHING, Document, Element, measure

# ---------------------------------------------------------------- What every part of the VEC reader needs


KNOWN = re.compile(r"1\.[12]\.\d+|2\.[0-2]\.\d+")
MM_PER_US = {"inch": 25.4, "foot": 304.8, "thou": 0.0254, "yard": 914.4}  # exact: international inch


class VecFile:
    """One VEC, with its harness chosen: only what stands in its documents counts as the harness."""

    def __init__(self, document: Document, wanted: str) -> None:
        self.document = document
        document.note_doubles()
        document.units = {key: _unit(unit) for key, unit in document.ids.items() if unit.tag == "Unit"}
        self.version = self._version()
        self.scope, self.harness = self._scope(wanted)
        self.specs: dict[str, list[Element]] = {}
        for holder in self.scope:
            for spec in holder.all("Specification"):
                self.specs.setdefault(spec.kind, []).append(spec)
        self.components = list(self.each("CompositionSpecification", "Component"))
        self.component_of = {role.key: c for c in self.components for role in c.all("Role")}

    def _version(self) -> str:
        root = self.document.root
        given = root.said("VecVersion")
        if not KNOWN.fullmatch(given):
            message = f"VecVersion {given!r} is not known, read as 2.2"
            self.document.note(message, "check the counts", root, "root")
        return given or "of no stated version"

    def _scope(self, wanted: str) -> tuple[list[Element], Element]:
        """Return the documents to read and the one of the harness; raises LabelerError where that is left open."""
        every = self.document.root.all("DocumentVersion")
        found = [d for d in every if d.said("DocumentType").casefold() == "harnessdescription"]
        where = SourceLocation(self.document.source)
        names = [" ".join(filter(None, (d.said("DocumentNumber"), d.said("DocumentVersion")))) for d in found]
        if wanted:
            chosen = [d for d, name in zip(found, names, strict=True) if wanted.casefold() == name.casefold()]
            if len(chosen) != 1:
                raise WrongUse(Problem(where, f"no single harness {wanted!r}", f"it has {some(names) or 'none'}"))
            others = {d.key for d in found} - {chosen[0].key}
            return [d for d in every if d.key not in others], chosen[0]
        if len(found) > 1:
            message = f"holds {len(found)} harnesses: {some(names, 20)}; which one is meant is not guessed"
            raise LabelerError(Problem(where, message, f"choose one, as in --harness {names[0]!r}"))
        holders = found or [d for d in every if any(s.kind == "CompositionSpecification" for s in d.children)]
        if not holders:
            fix = "export the harness, not only its parts"
            raise LabelerError(Problem(where, f"VEC {self.version} without a harness", fix))
        return every, holders[0]

    def each(self, kind: str, tag: str) -> Iterator[Element]:
        """Yield the children of a name in all specifications of a kind."""
        for spec in self.specs.get(kind, ()):
            yield from spec.all(tag)

    def owner(self, holder: Element, tag: str) -> Element:
        """Return the component of the first role under this name of an element that belongs to one."""
        return next((self.component_of[key] for key in holder.refs(tag) if key in self.component_of), NOTHING)

    # ------------------------------------------------------------ texts and values

    def words(self, element: Element, *tags: str) -> str:
        """Return the first text under these names, in English, else German, else the first; plain text counts too."""
        for tag in tags:
            given = {(c.said("LanguageCode").casefold() or "-"): c.said("Value") for c in element.all(tag)}
            best = given.get("en") or given.get("de") or next(filter(None, given.values()), "") or element.said(tag)
            if best:
                return best
        return ""

    def alias(self, element: Element) -> str:
        """Return the first alias."""
        return next((found for a in element.all("AliasId") if (found := a.said("IdentificationValue"))), "")

    def length(self, holder: Element, tag: str) -> float | None:
        """Return a value in mm, None where it is missing or in no unit of length."""
        return self.document.amount(holder.first(tag))

    def size(self, conductor: Element) -> str:
        """Return the size of a conductor, ``0.35 mm2`` or, where its unit is AWG, ``20 AWG``; ``""`` where missing."""
        value = conductor.first("CrossSectionArea")
        number = measure(value.said("ValueComponent"))
        if number is None or self.document.loose(value, "UnitComponent").said("UsUnitName").casefold() != "awg":
            area = self.document.amount(value, 2)
            return f"{area:g} mm2" if area and area > 0 else ""
        if number.is_integer() and -3 <= number <= 40:
            return f"{number:g} AWG" if number > 0 else f"{1 - number:g}/0 AWG"
        message = "sizes in AWG that are no gauge and are passed over"
        self.document.note(message, "give 4/0 (-3) to 40 AWG, or mm2", value, f"{number:g}")
        return ""


def _unit(unit: Element) -> tuple[float, float]:
    """Return the mm in one of a unit, 0 where it is no length, and its power."""
    if unit.kind in ("USUnit", "ImperialUnit"):
        one = MM_PER_US.get(unit.said("UsUnitName", "ImperialUnitName").casefold(), 0.0)
    else:
        metre = unit.said("SiUnitName").casefold() in ("metre", "meter")
        one = 1000.0 * SI_PREFIX.get(unit.said("SiPrefix").casefold(), 0.0) if metre else 0.0
    return one, measure(unit.said("Exponent")) or 1.0


# ---------------------------------------------------------------- The variants of a VEC


MODULES = ("module", "variant", "configurableassembly")


def variants(file: VecFile) -> Iterator[Variant]:
    """Yield modules and variants by their parts' numbers, then options by their names."""
    structures = [(s, s.said("Content").casefold()) for s in file.specs.get("PartStructureSpecification", ())]
    whole = [s for s, content in structures if content == "harness"]
    listing = [s for s, content in structures if content in MODULES]
    options = {c.key: c for c in file.each("VariantConfigurationSpecification", "VariantConfiguration")}
    modules = [c for c in file.components if any(r.kind == "PartWithSubComponentsRole" for r in c.all("Role"))]
    named: set[str] = set()
    for spec in [*listing, *(whole if len(whole) > 1 else ())]:
        part = file.document.loose(spec, "DescribedPart")
        occurrences = [c for c in modules if part and c.said("Part") == part.key]
        codes = [options[key] for c in occurrences for key in c.refs("ConfigInfo") if key in options]
        named |= {c.key for c in occurrences}
        names = [part.said("PartNumber"), *(c.said("Identification") for c in occurrences)]
        names += [text for code in codes for text in _option_names(code)]
        members = _expanded(file, [*spec.refs("InBillOfMaterial"), *(c.key for c in occurrences)])
        yield Variant(_distinct([*names, spec.said("Identification"), spec.key]), members)
    yield from _options(file, options, named)


def _options(file: VecFile, options: dict[str, Element], named: set[str]) -> Iterator[Variant]:
    """Yield the options that constrain elements themselves, not only a module that is listed already."""
    constrained: dict[str, list[str]] = {}
    for constraint in file.each("ConfigurationConstraintSpecification", "ConfigurationConstraint"):
        for key in constraint.refs("ConfigInfo"):
            constrained.setdefault(key, []).extend(constraint.refs("ConstrainedElements"))
    for element in file.document.ids.values():
        if element.tag != "ConfigurationConstraint" and element.key not in named:
            for key in element.refs("ConfigInfo"):
                constrained.setdefault(key, []).append(element.key)
    for key, members in constrained.items():
        if key in options:
            names = _distinct([*_option_names(options[key]), key])
            yield Variant(names, _expanded(file, members), constraint=True)


def _option_names(option: Element) -> list[str]:
    return [option.said(tag) for tag in ("Identification", "LogisticControlString", "LogisticControlExpression")]


def _expanded(file: VecFile, keys: Iterable[str]) -> frozenset[str]:
    """Return keys with all that their modules hold, whatever is nested in whatever."""
    found: set[str] = set()
    waiting = list(keys)
    while waiting:
        key = waiting.pop()
        element = file.document.ids.get(key)
        if key in found or element is None:
            continue
        found.add(key)
        for role in element.all("Role"):
            waiting += role.refs("SubComponent")
    return frozenset(found)


def _distinct(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(filter(None, names)))


# ---------------------------------------------------------------- The limbs of a VEC


PROTECTIONS = {
    "CorrugatedPipeSpecification": "corrugated pipe",
    "TubeSpecification": "tube",
    "ShrinkableTubeSpecification": "shrink tube",
    "TapeSpecification": "tape",
    "FittingSpecification": "fitting",
    "StripeSpecification": "stripe",
}
CLIPS = ("FixingRole", "CableTieRole", "EdgeMountedFixingRole", "HoleMountedFixingRole", "BoltMountedFixingRole")


def segments(file: VecFile) -> tuple[Segment, ...]:
    """Return all segments."""
    return tuple(_segment(file, element) for element in file.each("TopologySpecification", "TopologySegment"))


def _segment(file: VecFile, element: Element) -> Segment:
    areas = []
    for said in element.all("CrossSectionAreaInformation"):
        reserved = said.said("CrossSectionAreaType").casefold() == "reserved"
        how = "reserved" if reserved else said.said("ValueDetermination").casefold()
        areas.append((how, above_zero(file.document.amount(said.first("Area"), 2))))
    best = {"measured": 2, "reserved": 0}
    how, area = max(filter(itemgetter(1), areas), key=lambda pair: best.get(pair[0], 1), default=("", None))
    start, end = (file.document.one(element, tag, "TopologyNode").key for tag in ("StartNode", "EndNode"))
    given = element.all("LengthInformation")
    lengths = [(i.said("Classification").casefold(), above_zero(file.length(i, "Length"))) for i in given]
    return Segment(
        key=element.key,
        id=element.said("Identification"),
        alias=file.alias(element),
        start=start,
        end=end,
        length_mm=min(filter(itemgetter(1), lengths), key=lambda pair: pair[0] != "adapted", default=("", None))[1],
        area_mm2=area,
        area_kind=how,
        where=file.document.where(element),
    )


def nodes_of(file: VecFile) -> dict[str, str]:
    """Return the node that each component sits at, by component key."""
    found: dict[str, str] = {}
    for placement in file.each("PlacementSpecification", "Placement"):
        for location in placement.all("Location"):
            node = file.document.one(location, "ReferencedNode", "TopologyNode")
            for key in placement.refs("PlacedElement") if node else ():
                if key in file.component_of:
                    found.setdefault(file.component_of[key].key, node.key)
    return found


def routes_of(file: VecFile) -> dict[str, list[Route]]:
    """Return the routes of each wire element reference or connection, by its key."""
    found: dict[str, list[Route]] = {}
    for routing in file.each("RoutingSpecification", "Routing"):
        paths = routing.all("Path")
        named = [s.key for path in paths for s in file.document.several(path, "Segment", "TopologySegment")]
        for routed in file.document.several(routing, "RoutedElement", "WireElementReference", "Connection"):
            if named:
                found.setdefault(routed.key, []).append(Route(routing.key, tuple(named)))
    return found


def things(file: VecFile, limbs: tuple[Segment, ...]) -> Iterator[Thing]:
    """Yield tubes, tapes and clips on segments: a harness has no place for them, so they are told."""
    known = {segment.key: segment for segment in limbs}
    for placement in file.each("PlacementSpecification", "Placement"):
        component = file.owner(placement, "PlacedElement")
        roles = component.all("Role")
        cover = next((role for role in roles if role.first("WireProtectionSpecification")), None)
        if cover is not None:
            yield from _laid(
                file, placement, component, file.document.loose(cover, "WireProtectionSpecification"), known
            )
        elif any(role.kind in CLIPS for role in roles):
            what = f"clip {component.said('Identification')}"
            for location in placement.all("Location"):
                segment = known.get(location.said("ReferencedSegment"))
                if segment is not None:
                    at = _at(file, location, segment)
                    yield Thing(component.key, what, segment.key, at, at, is_clip=True)


def _laid(
    file: VecFile, placement: Element, component: Element, spec: Element, known: Mapping[str, Segment]
) -> Iterator[Thing]:
    """Yield a covering once for each segment that it lies on; it is called by its part, its kind and what it is for."""
    start, end = placement.first("StartLocation"), placement.first("EndLocation")
    path = [key for path in placement.all("Path") for key in path.refs("Segment")]
    path = path or [key for place in (start, end) for key in place.refs("ReferencedSegment")][:1]
    part, kind = file.document.loose(component, "Part"), PROTECTIONS.get(spec.kind, "")
    about = (file.words(part, "Description"), file.words(component, "Description"))
    words = tuple(filter(None, (part.said("PartNumber"), kind, *about)))
    for segment in (known[key] for key in dict.fromkeys(path) if key in known):
        low, high = _at(file, start, segment), _at(file, end, segment)
        low, high = low if low is not None else 0.0, high if high is not None else segment.length_mm
        low, high = (high, low) if high is not None and high < low else (low, high)
        inner, outer = (file.length(spec, tag) for tag in ("InnerDiameter", "OuterDiameter"))
        size = f" {inner or 0:g}/{outer:g} mm" if outer else ""
        what = f"{kind or 'protection'} {component.said('Identification')}{size}"
        yield Thing(component.key, what, segment.key, low, high, words=words)


def _at(file: VecFile, location: Element, segment: Segment) -> float | None:
    """Return where a location lies on a segment, mm from its start node; None where it is elsewhere."""
    node = location.said("ReferencedNode")
    if node:
        return 0.0 if node == segment.start else segment.length_mm if node == segment.end else None
    offset = file.length(location, "Offset")
    if location.said("ReferencedSegment") != segment.key or offset is None:
        return None
    if location.said("Anchor").casefold() != "fromendnode":
        return offset
    return segment.length_mm - offset if segment.length_mm else None


# ---------------------------------------------------------------- vec


KINDS = {
    "ConnectorHousingRole": "connector",
    "SpliceTerminalRole": "splice",
    "RingTerminalRole": "ring terminal",
    "OpenWireEndTerminalRole": "unterminated end",
}
STRIPES = ("BaseColor", "FirstIdentificationColor", "SecondIdentificationColor")
BECAME = (
    ("Component with ConnectorHousingRole, SpliceTerminalRole, RingTerminalRole", "connector"),
    ("Cavity/CavityNumber", "cavity"),
    ("WireElementReference/Identification", "circuit"),
    ("WireEnd, ContactPoint, CavityReference", "from and to"),
    ("Signal/SignalName", "signal"),
    ("WireRole with several cores", "cable"),
    ("CoreSpecification/CrossSectionArea", "size"),
    ("WireElementSpecification/OutsideDiameter", "outside diameter"),
    ("InsulationSpecification/BaseColor and stripes", "colour, parted by /"),
    ("WireLength", "length: production, contract, drawing, calculated, dmu, the first that is there"),
    ("Routing, TopologySegment", "branch, where a segment ends at a connector"),
    ("LabelValue", "text of a marker, with --use-label-texts"),
)


def read_vec(document: Document, harness: str = "") -> Export:
    """Return what a VEC file says of one harness; raises LabelerError where none or several could be meant."""
    return _Vec(VecFile(document, harness)).export()


class _Vec:
    """One harness on its way to an export."""

    def __init__(self, file: VecFile) -> None:
        self.file = file
        self.document = file.document
        self.cavities: dict[str, tuple[str, str]] = {}  # cavity reference → component, cavity
        self.ports: dict[str, tuple[str, str]] = {}  # component port → component, cavity
        self.nodes = nodes_of(file)
        self.places = tuple(filter(None, map(self._place, file.components)))
        self.contacts = self._contacts()
        self.routes = routes_of(file)
        self.counts = {"wires": 0, "cores": 0}
        self.spare: list[str] = []
        self.jackets: list[tuple[str, Cable]] = []

    def export(self) -> Export:
        file, harness = self.file, self.file.harness
        part, limbs = self._part(), segments(file)
        wires = [(c, role) for c in file.components for role in c.all("Role") if role.kind == "WireRole"]
        conductors = [found for component, role in wires for found in self._wire(component, role)]
        if not conductors and wires:
            message = "no ends of wires can be told: neither wire ends nor ports of cavities are there"
            self.document.note(message, "export it with contact points", harness, "all wires")
        number = part.said("PartNumber") if part else harness.said("DocumentNumber")
        name = file.words(part, "Description", "Abbreviation") or file.words(harness, "Description")
        return Export(
            form=f"VEC {file.version}",
            version=file.version,
            name=name or number or "harness",
            part_number=number,
            revision=part.said("PartVersion") or harness.said("DocumentVersion"),
            places=self.places,
            conductors=tuple(conductors),
            jackets=tuple(self.jackets),
            segments=limbs,
            things=tuple(things(file, limbs)),
            variants=tuple(variants(file)),
            nodes=sum(1 for _ in file.each("TopologySpecification", "TopologyNode")),
            wires=self.counts["wires"],
            cores=self.counts["cores"],
            spare=tuple(self.spare),
            became=BECAME,
            notes=self.document.notes.problems(),
        )

    def _part(self) -> Element:
        """Return the part that the harness is, by its part structure or the document's own reference."""
        for spec in self.file.specs.get("PartStructureSpecification", ()):
            if spec.parent is self.file.harness and spec.said("Content").casefold() == "harness":
                return self.document.get(spec.said("DescribedPart"), "PartVersion", of=self.file.harness)
        return self.document.one(self.file.harness, "ReferencedPart", "PartVersion")

    # ------------------------------------------------------------ connectors

    def _place(self, component: Element) -> Place | None:
        roles = {role.kind: role for role in component.all("Role")}
        kind = next((KINDS[name] for name in KINDS if name in roles), "")
        if not kind:
            return None
        return Place(
            key=component.key,
            id=component.said("Identification"),
            alias=self.file.alias(component),
            description=self.file.words(component, "Description", "Abbreviation"),
            kind=kind,
            cavities=self._cavities(component, roles.get("ConnectorHousingRole", NOTHING)),
            node=self.nodes.get(component.key, ""),
            label=next(filter(None, (_text(r) for r in component.all("Role") if r.kind == "LabelingRole")), ""),
            holders=frozenset((component.key,)),
            where=self.document.where(component),
        )

    def _cavities(self, component: Element, housing: Element) -> tuple[str, ...]:
        """Return the names of a connector's cavities; those of several slots that are named alike have the slot's."""
        slots = housing.all("SlotReference", "SlotLayout")
        named = [(slot, c, self._cavity(c)) for slot in slots for c in slot.all("CavityReference")]
        alike = len({name for _, _, name in named}) < len(named)
        names = []
        for slot, cavity, name in named:
            if alike and name:
                number = self.document.loose(slot, "ReferencedSlot").said("SlotNumber")
                name = f"{number or slot.said('Identification')}.{name}"
            names.append(name)
            self.cavities[cavity.key] = (component.key, name)
            self.ports |= dict.fromkeys(cavity.refs("ComponentPort"), (component.key, name))
        return tuple(filter(None, names))

    def _cavity(self, reference: Element) -> str:
        cavity = self.document.one(reference, "ReferencedCavity", "Cavity")
        return cavity.said("CavityNumber") or reference.said("Identification")

    def _contacts(self) -> dict[str, tuple[str, str]]:
        """Return component and cavity of each wire end that is mounted."""
        found = {}
        places = {place.key for place in self.places}
        for point in self.file.each("ContactingSpecification", "ContactPoint"):
            cavities = [
                self.cavities[cavity.key]
                for mounting in point.all("CavityMounting")
                for cavity in self.document.several(mounting, "EquippedCavityRef", "CavityReference")
                if cavity.key in self.cavities
            ]
            terminal = self.file.owner(point, "MountedTerminal")
            at = cavities[0] if cavities else (terminal.key, "")
            for mounting in point.all("WireMounting"):
                for end in self.document.several(mounting, "ReferencedWireEnd", "WireEnd"):
                    if cavities or (terminal and terminal.key in places):
                        found[end.key] = at
        return found

    # ------------------------------------------------------------ wires

    def _wire(self, component: Element, role: Element) -> Iterator[Conductor]:
        """Yield the connected conductors of a wire or cable; the jacket of a cable is kept."""
        root = self._spec(self.document.one(role, "WireSpecification", "Specification"))
        references = [r for r in role.all("WireElementReference") if not self._is_root(r)]
        is_cable = len(references) > 1 or bool(root.refs("SubWireElementSpecification"))
        self.counts["cores" if is_cable else "wires"] += len(references)
        if is_cable:
            name = role.said("Identification") or component.said("Identification")
            cable = Cable(name, self._outside(root), self.document.where(component))
            self.jackets.append((component.key, cable))
        for reference in references:
            found = self._conductor(component, reference, component.key if is_cable else "")
            if found is not None:
                yield found

    def _is_root(self, reference: Element) -> bool:
        """Whether a reference stands for a whole cable, not for one of its cores."""
        element = self._element(reference)
        spec = self._spec(element)
        return bool(element.first("SubWireElement") or spec.refs("SubWireElementSpecification"))

    def _element(self, reference: Element) -> Element:
        return self.document.one(reference, "ReferencedWireElement", "WireElement", "SubWireElement")

    def _spec(self, holder: Element, tag: str = "WireElementSpecification") -> Element:
        return self.document.one(holder, tag, "Specification")

    def _conductor(self, component: Element, reference: Element, cable: str) -> Conductor | None:
        name = reference.said("Identification") or component.said("Identification")
        connections = self.document.several(reference, "Connection", "Connection")
        ends = self._ends(reference, connections)
        if ends is None:
            self.spare.append(name or reference.key)
            stated = connections or reference.first("WireEnd")
            if stated and reference.said("Unconnected").casefold() != "true":
                message = "wires without two ends at a connector, left out"
                self.document.note(message, "complete the contact points", reference, name)
            return None
        spec = self._spec(self._element(reference))
        lengths = [(w.said("LengthType"), self.file.length(w, "LengthValue")) for w in reference.all("WireLength")]
        keys = (reference.key, *reference.refs("Connection"))
        holders = [(holder, key) for holder in (reference, *connections) for key in holder.refs("Signal")]
        signals = (found for holder, key in holders if (found := self.document.get(key, "Signal", of=holder)))
        return Conductor(
            key=reference.key,
            id=name,
            ends=ends,
            cable=cable,
            size=self.file.size(self._spec(spec, "ConductorSpecification")),
            od_mm=self._outside(spec),
            colour=_colour(self._spec(spec, "InsulationSpecification")),
            signal=next(signals, NOTHING).said("SignalName", "Identification"),
            length_mm=best_length(lengths),
            routes=tuple(route for key in keys for route in self.routes.get(key, ())),
            label=_text(reference),
            continuous=reference.said("LabelPosition").casefold() == "continuous",
            holders=(frozenset((reference.key,)), frozenset((component.key,))),
            where=self.document.where(reference),
        )

    def _ends(self, reference: Element, connections: list[Element]) -> Ends | None:
        """Return the two ends by the wire ends, else by the ports of cavities; None where they cannot be told."""
        given = reference.all("WireEnd")
        given.sort(key=lambda end: measure(end.said("PositionOnWire")) or 0.0)
        found = [self.contacts[end.key] for end in given if end.key in self.contacts]
        if len(found) < 2:
            ends = [end for connection in connections for end in connection.all("ConnectionEnd")]
            ports = [port for end in ends for port in end.refs("ConnectedComponentPort")]
            found = [self.ports[port] for port in ports if port in self.ports]
        return first_and_last(self.document, found, reference, reference.key)

    def _outside(self, spec: Element) -> float | None:
        """Return the outside diameter with its upper tolerance: what a sleeve must pass."""
        diameter = spec.first("OutsideDiameter")
        nominal = above_zero(self.document.amount(diameter))
        upper = measure(diameter.first("Tolerance").said("UpperBoundary"))
        if nominal is None or not upper or upper < 0:
            return nominal
        unit = nominal / (measure(diameter.said("ValueComponent")) or nominal)
        message = "outside diameters taken at their upper tolerance"
        self.document.note(message, "", diameter, f"{nominal:g} + {upper * unit:g} mm")
        return nominal + upper * unit


def _text(holder: Element) -> str:
    """Return what a label is to say, ``""`` where it is a code or says nothing."""
    return holder.said("LabelValue") if holder.said("LabelType").casefold() in ("", "alphanumerical") else ""


def _colour(insulation: Element) -> str:
    """Return base and stripes as written, parted by ``/``."""
    return "/".join(filter(None, (c.said("Key") for tag in STRIPES for c in insulation.all(tag))))
