"""VEC (VDA 4968, prostep ivip PSI 21), versions 1.1 to 2.2 → `Export`.

Read loosely: what is not known is passed over, references are checked for what they point at. The ends of
a wire are told by its wire ends and contact points; else by its connection and the ports of cavities; else
not at all, and then it is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from labeler.errors import LabelerError, Problem, Where, WrongUse
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
from labeler.read.import_report import some
from labeler.read.xml import Document, Element

# ---------------------------------------------------------------- What every part of the VEC reader needs


KNOWN = re.compile(r"1\.[12]\.\d+|2\.[0-2]\.\d+")
MM_PER_US = {"inch": 25.4, "foot": 304.8, "thou": 0.0254, "yard": 914.4}  # exact: international inch


class VecFile:
    """One VEC, with its harness chosen: only what stands in its documents counts as the harness."""

    def __init__(self, document: Document, wanted: str) -> None:
        self.document = document
        self.links = Links(document)
        self.notes = self.links.notes
        unique_doubles(document, self.notes)
        self.version = self._version()
        self.scope, self.harness = self._scope(wanted)
        self.specs: dict[str, list[Element]] = {}
        for holder in self.scope:
            for spec in holder.all("Specification"):
                self.specs.setdefault(spec.kind, []).append(spec)
        self.components = [c for spec in self.specs.get("CompositionSpecification", ()) for c in spec.all("Component")]
        self.component_of = {role.key: c for c in self.components for role in c.all("Role")}

    def _version(self) -> str:
        root = self.document.root
        given = root.said("VecVersion")
        if not KNOWN.fullmatch(given):
            message = f"VecVersion {given!r} is not known, read as 2.2"
            self.notes.add(message, "check the counts", self.links.where(root), "root")
        return given or "of no stated version"

    def _scope(self, wanted: str) -> tuple[list[Element], Element]:
        """Return the documents to read and the one of the harness; raises LabelerError where that is left open."""
        every = self.document.root.all("DocumentVersion")
        found = [d for d in every if d.said("DocumentType").casefold() == "harnessdescription"]
        source = self.document.source
        names = [self.name_of(d) for d in found]
        if wanted:
            chosen = [d for d, name in zip(found, names, strict=True) if wanted.casefold() == name.casefold()]
            if len(chosen) != 1:
                raise WrongUse(
                    Problem(Where(source), f"no single harness {wanted!r}", f"it has {some(names) or 'none'}")
                )
            others = {d.key for d in found} - {chosen[0].key}
            return [d for d in every if d.key not in others], chosen[0]
        if len(found) > 1:
            message = f"holds {len(found)} harnesses: {some(names, 20)}; which one is meant is not guessed"
            raise LabelerError(Problem(Where(source), message, f"choose one, as in --sheet {names[0]!r}"))
        holders = found or [d for d in every if any(s.kind == "CompositionSpecification" for s in d.children)]
        if not holders:
            fix = "export the harness, not only its parts"
            raise LabelerError(Problem(Where(source), f"VEC {self.version} without a harness", fix))
        return every, holders[0]

    def name_of(self, document: Element) -> str:
        """Return how a document is called: number, and version where it has one."""
        return " ".join(filter(None, (document.said("DocumentNumber"), document.said("DocumentVersion"))))

    def each(self, kind: str, tag: str) -> Iterator[Element]:
        """Yield the children of a name in all specifications of a kind."""
        for spec in self.specs.get(kind, ()):
            yield from spec.all(tag)

    def roles(self, component: Element, kind: str) -> list[Element]:
        """Return the roles of a kind that a component plays."""
        return [role for role in component.all("Role") if role.kind == kind]

    def owner(self, keys: Iterable[str]) -> Element | None:
        """Return the component of the first of these roles that belongs to one."""
        return next((self.component_of[key] for key in keys if key in self.component_of), None)

    # ------------------------------------------------------------ texts and values

    def words(self, element: Element, tag: str) -> str:
        """Return a text in English, else German, else the first; plain text counts too."""
        given = {(c.said("LanguageCode").casefold() or "-"): c.said("Value") for c in element.all(tag)}
        best = given.get("en") or given.get("de") or next(filter(None, given.values()), "")
        return best or element.said(tag)

    def alias(self, element: Element) -> str:
        """Return the first alias."""
        return next((found for a in element.all("AliasId") if (found := a.said("IdentificationValue"))), "")

    def length(self, holder: Element | None, tag: str) -> float | None:
        """Return a value in mm, None where it is missing or in no unit of length."""
        return self.amount(holder.first(tag) if holder is not None else None)

    def amount(self, value: Element | None, square: bool = False) -> float | None:
        """Return a value in mm or mm2, None where it is missing or in another unit."""
        number = measure(value.said("ValueComponent")) if value is not None else None
        if value is None or number is None:
            return None
        unit = self.document.ids.get(value.said("UnitComponent"))
        factor = self._factor(unit, 2 if square else 1)
        if not factor:
            message = f"values whose unit is not one of {'area' if square else 'length'} and that are passed over"
            self.notes.add(message, "export it with the units", self.links.where(value), value.said("UnitComponent"))
            return None
        return number * factor

    def _factor(self, unit: Element | None, exponent: int) -> float:
        if unit is None or unit.tag != "Unit":
            return 0.0
        if unit.kind in ("USUnit", "ImperialUnit"):
            name = (unit.said("UsUnitName") or unit.said("ImperialUnitName")).casefold()
            one = MM_PER_US.get(name, 0.0)
        else:
            metre = unit.said("SiUnitName").casefold() in ("metre", "meter")
            one = 1000.0 * SI_PREFIX.get(unit.said("SiPrefix").casefold(), 0.0) if metre else 0.0
        power = measure(unit.said("Exponent")) or 1.0
        return one**exponent if power == exponent else 0.0

    def size(self, conductor: Element | None) -> str:
        """Return the size of a conductor, ``0.35 mm2`` or, where its unit is AWG, ``20 AWG``; ``""`` where missing."""
        value = conductor.first("CrossSectionArea") if conductor is not None else None
        if value is None:
            return ""
        unit = self.document.ids.get(value.said("UnitComponent"))
        number = measure(value.said("ValueComponent"))
        if unit is not None and unit.said("UsUnitName").casefold() == "awg" and number is not None:
            gauge = int(number) if number.is_integer() else 99
            if -3 <= gauge <= 40:
                return f"{gauge} AWG" if gauge > 0 else f"{1 - gauge}/0 AWG"
            message = "sizes in AWG that are no gauge and are passed over"
            self.notes.add(message, "give 4/0 (-3) to 40 AWG, or mm2", self.links.where(value), f"{number:g}")
            return ""
        area = self.amount(value, square=True)
        return f"{area:g} mm2" if area and area > 0 else ""


# ---------------------------------------------------------------- The variants of a VEC


MODULES = ("module", "variant", "configurableassembly")


def variants(file: VecFile) -> Iterator[Variant]:
    """Yield modules and variants by their parts' numbers, then options by their names."""
    whole = [s for s in file.specs.get("PartStructureSpecification", ()) if _content(s) == "harness"]
    listing = [s for s in file.specs.get("PartStructureSpecification", ()) if _content(s) in MODULES]
    options = {c.key: c for c in file.each("VariantConfigurationSpecification", "VariantConfiguration")}
    modules = _modules(file)
    named: set[str] = set()
    for spec in [*listing, *(whole if len(whole) > 1 else ())]:
        part = file.document.ids.get(spec.said("DescribedPart"))
        occurrences = [c for c in modules if part is not None and c.said("Part") == part.key]
        codes = [options[key] for c in occurrences for key in c.refs("ConfigInfo") if key in options]
        named |= {c.key for c in occurrences}
        names = [part.said("PartNumber") if part is not None else "", *(c.said("Identification") for c in occurrences)]
        names += [text for code in codes for text in _option_names(code)]
        members = _expanded(file, [*spec.refs("InBillOfMaterial"), *(c.key for c in occurrences)])
        yield Variant(_distinct([*names, spec.said("Identification"), spec.key]), members)
    if options:
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


def _modules(file: VecFile) -> list[Element]:
    return [c for c in file.components if any(r.kind == "PartWithSubComponentsRole" for r in c.all("Role"))]


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


def _content(spec: Element) -> str:
    return spec.said("Content").casefold()


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
    areas = [
        (
            a.said("ValueDetermination").casefold(),
            a.said("CrossSectionAreaType").casefold(),
            file.amount(a.first("Area"), square=True),
        )
        for a in element.all("CrossSectionAreaInformation")
    ]
    given = [("reserved" if kind == "reserved" else how, area) for how, kind, area in areas if above_zero(area)]
    how, area = max(given, key=lambda pair: (pair[0] == "measured", pair[0] != "reserved"), default=("", None))
    return Segment(
        key=element.key,
        id=element.said("Identification"),
        alias=file.alias(element),
        start=_node(file, element, "StartNode"),
        end=_node(file, element, "EndNode"),
        length_mm=_segment_length(file, element),
        area_mm2=area,
        area_kind=how,
        where=file.links.where(element),
    )


def _segment_length(file: VecFile, element: Element) -> float | None:
    """Return the adapted length, else the designed one."""
    given = [(i.said("Classification").casefold(), file.length(i, "Length")) for i in element.all("LengthInformation")]
    known = [(kind, mm) for kind, mm in given if above_zero(mm)]
    return min(known, key=lambda pair: pair[0] != "adapted", default=("", None))[1]


def _node(file: VecFile, element: Element, tag: str) -> str:
    node = file.links.get(element.said(tag), "TopologyNode", of=element)
    return node.key if node is not None else ""


def nodes_of(file: VecFile) -> dict[str, str]:
    """Return the node that each component sits at, by component key."""
    found: dict[str, str] = {}
    for placement in file.each("PlacementSpecification", "Placement"):
        for location in placement.all("Location"):
            node = file.links.get(location.said("ReferencedNode"), "TopologyNode", of=location)
            for key in placement.refs("PlacedElement"):
                component = file.component_of.get(key)
                if component is not None and node is not None:
                    found.setdefault(component.key, node.key)
    return found


def routes_of(file: VecFile) -> dict[str, list[Route]]:
    """Return the routes of each wire element reference or connection, by its key."""
    found: dict[str, list[Route]] = {}
    for routing in file.each("RoutingSpecification", "Routing"):
        named = [
            segment.key
            for path in routing.all("Path")
            for key in path.refs("Segment")
            if (segment := file.links.get(key, "TopologySegment", of=path)) is not None
        ]
        for key in routing.refs("RoutedElement"):
            routed = file.links.get(key, "WireElementReference", "Connection", of=routing)
            if routed is not None and named:
                found.setdefault(key, []).append(Route(routing.key, tuple(named)))
    return found


def things(file: VecFile, limbs: tuple[Segment, ...]) -> Iterator[Thing]:
    """Yield tubes, tapes and clips on segments: a harness has no place for them, so they are told."""
    known = {segment.key: segment for segment in limbs}
    for placement in file.each("PlacementSpecification", "Placement"):
        component = file.owner(placement.refs("PlacedElement"))
        if component is None:
            continue
        cover = next((role for role in component.all("Role") if role.first("WireProtectionSpecification")), None)
        if cover is not None:
            yield from _laid(file, placement, component, cover, known)
        elif any(role.kind in CLIPS for role in component.all("Role")):
            yield from _clipped(file, placement, component, known)


def _laid(
    file: VecFile, placement: Element, component: Element, cover: Element, known: Mapping[str, Segment]
) -> Iterator[Thing]:
    start, end = placement.first("StartLocation"), placement.first("EndLocation")
    path = [key for path in placement.all("Path") for key in path.refs("Segment")]
    path = path or [key for place in (start, end) if place for key in place.refs("ReferencedSegment")][:1]
    for key in dict.fromkeys(key for key in path if key in known):
        segment = known[key]
        ends = [_at(file, place, segment) for place in (start, end)]
        low, high = (ends[0] if ends[0] is not None else 0.0), (ends[1] if ends[1] is not None else segment.length_mm)
        low, high = (high, low) if high is not None and high < low else (low, high)
        yield Thing(
            component.key, _described(file, component, cover), key, low, high, words=_words(file, component, cover)
        )


def _clipped(file: VecFile, placement: Element, component: Element, known: Mapping[str, Segment]) -> Iterator[Thing]:
    for location in placement.all("Location"):
        segment = known.get(location.said("ReferencedSegment"))
        if segment is not None:
            at = _at(file, location, segment)
            yield Thing(component.key, f"clip {component.said('Identification')}", segment.key, at, at, is_clip=True)


def _at(file: VecFile, location: Element | None, segment: Segment) -> float | None:
    """Return where a location lies on a segment, mm from its start node; None where it is elsewhere."""
    if location is None:
        return None
    node = location.said("ReferencedNode")
    if node:
        return 0.0 if node == segment.start else segment.length_mm if node == segment.end else None
    offset = file.length(location, "Offset")
    if location.said("ReferencedSegment") != segment.key or offset is None:
        return None
    if location.said("Anchor").casefold() != "fromendnode":
        return offset
    return segment.length_mm - offset if segment.length_mm else None


def _words(file: VecFile, component: Element, cover: Element) -> tuple[str, ...]:
    """Return what the file calls a covering: its part's number, its kind, its description."""
    part = file.document.ids.get(component.said("Part"))
    number = part.said("PartNumber") if part is not None else ""
    spec = file.document.ids.get(cover.said("WireProtectionSpecification"))
    kind = PROTECTIONS.get(spec.kind, "") if spec is not None else ""
    about = file.words(part, "Description") if part is not None else ""
    return tuple(filter(None, (number, kind, about, file.words(component, "Description"))))


def _described(file: VecFile, component: Element, cover: Element) -> str:
    spec = file.document.ids.get(cover.said("WireProtectionSpecification"))
    kind = PROTECTIONS.get(spec.kind if spec is not None else "", "protection")
    inner, outer = (file.length(spec, tag) for tag in ("InnerDiameter", "OuterDiameter"))
    size = f" {inner or 0:g}/{outer:g} mm" if outer else ""
    return f"{kind} {component.said('Identification')}{size}"


# ---------------------------------------------------------------- vec


KINDS = {
    "ConnectorHousingRole": "connector",
    "SpliceTerminalRole": "splice",
    "RingTerminalRole": "ring terminal",
    "OpenWireEndTerminalRole": "loose end",
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
    ("LabelValue", "text of a marker, with --labels"),
)


def read_vec(document: Document, harness: str = "") -> Export:
    """Return what a VEC file says of one harness; raises LabelerError where none or several could be meant."""
    return _Vec(VecFile(document, harness)).export()


class _Vec:
    """One harness on its way to an export."""

    def __init__(self, file: VecFile) -> None:
        self.file = file
        self.notes = file.notes
        self.cavities: dict[str, tuple[str, str]] = {}  # cavity reference → component, cavity
        self.ports: dict[str, tuple[str, str]] = {}  # component port → component, cavity
        self.places = tuple(self._places())
        self.contacts = self._contacts()
        self.routes = routes_of(file)
        self.counts = {"wires": 0, "cores": 0}
        self.spare: list[str] = []

    def export(self) -> Export:
        file = self.file
        part, limbs = self._part(), segments(file)
        wires = [(c, role) for c in file.components for role in file.roles(c, "WireRole")]
        jackets: list[Jacket] = []
        conductors = [found for component, role in wires for found in self._wire(component, role, jackets)]
        if not conductors and wires:
            message = "no ends of wires can be told: neither wire ends nor ports of cavities are there"
            self.notes.add(message, "export it with contact points", file.links.where(file.harness), "all wires")
        name = file.words(part, "Description") or file.words(part, "Abbreviation") if part is not None else ""
        number = part.said("PartNumber") if part is not None else file.harness.said("DocumentNumber")
        revision = part.said("PartVersion") if part is not None else ""
        return Export(
            form=f"VEC {file.version}",
            version=file.version,
            name=name or file.words(file.harness, "Description") or number or "harness",
            part_number=number,
            revision=revision or file.harness.said("DocumentVersion"),
            places=self.places,
            conductors=tuple(conductors),
            jackets=tuple(jackets),
            segments=limbs,
            things=tuple(things(file, limbs)),
            variants=tuple(variants(file)),
            nodes=sum(1 for _ in file.each("TopologySpecification", "TopologyNode")),
            wires=self.counts["wires"],
            cores=self.counts["cores"],
            spare=tuple(self.spare),
            became=BECAME,
            notes=self.notes.problems(),
        )

    def _part(self) -> Element | None:
        """Return the part that the harness is, by its part structure or the document's own reference."""
        structures = [s for s in self.file.specs.get("PartStructureSpecification", ()) if s.parent is self.file.harness]
        whole = [s for s in structures if s.said("Content").casefold() == "harness"]
        key = whole[0].said("DescribedPart") if whole else self.file.harness.said("ReferencedPart")
        return self.file.links.get(key, "PartVersion", of=self.file.harness)

    # ------------------------------------------------------------ connectors

    def _places(self) -> Iterator[Place]:
        nodes = nodes_of(self.file)
        for component in self.file.components:
            roles = {role.kind: role for role in component.all("Role")}
            kind = next((KINDS[name] for name in KINDS if name in roles), "")
            if kind:
                place = self._place(component, kind)
                housing = roles.get("ConnectorHousingRole")
                cavities = self._cavities(component, housing) if housing is not None else ()
                yield replace(place, cavities=cavities, node=nodes.get(component.key, ""), label=_label_of(component))

    def _place(self, component: Element, kind: str) -> Place:
        return Place(
            key=component.key,
            id=component.said("Identification"),
            alias=self.file.alias(component),
            description=self.file.words(component, "Description") or self.file.words(component, "Abbreviation"),
            kind=kind,
            holders=frozenset((component.key,)),
            where=self.file.links.where(component),
        )

    def _cavities(self, component: Element, housing: Element) -> tuple[str, ...]:
        """Return the names of a connector's cavities; those of several slots that are named alike have the slot's."""
        slots = [s for s in housing.children if s.tag in ("SlotReference", "SlotLayout")]
        named = [(slot, c, self._cavity(c)) for slot in slots for c in slot.all("CavityReference")]
        alike = len({name for _, _, name in named}) < len(named)
        names = []
        for slot, cavity, name in named:
            full = f"{self._slot(slot)}.{name}" if alike and name else name
            names.append(full)
            self.cavities[cavity.key] = (component.key, full)
            for port in cavity.refs("ComponentPort"):
                self.ports[port] = (component.key, full)
        return tuple(filter(None, names))

    def _cavity(self, reference: Element) -> str:
        cavity = self.file.links.get(reference.said("ReferencedCavity"), "Cavity", of=reference)
        number = cavity.said("CavityNumber") if cavity is not None else ""
        return number or reference.said("Identification")

    def _slot(self, reference: Element) -> str:
        slot = self.file.document.ids.get(reference.said("ReferencedSlot"))
        return (slot.said("SlotNumber") if slot is not None else "") or reference.said("Identification")

    def _contacts(self) -> dict[str, tuple[str, str]]:
        """Return component and cavity of each wire end that is mounted."""
        found = {}
        for point in self.file.each("ContactingSpecification", "ContactPoint"):
            cavities = [
                self.cavities[key]
                for mounting in point.all("CavityMounting")
                for key in mounting.refs("EquippedCavityRef")
                if self.file.links.get(key, "CavityReference", of=mounting) is not None and key in self.cavities
            ]
            terminal = self.file.owner(point.refs("MountedTerminal"))
            is_place = terminal is not None and any(terminal.key == place.key for place in self.places)
            at = cavities[0] if cavities else (terminal.key, "") if terminal is not None and is_place else None
            for mounting in point.all("WireMounting"):
                for key in mounting.refs("ReferencedWireEnd"):
                    if self.file.links.get(key, "WireEnd", of=mounting) is not None and at is not None:
                        found[key] = at
        return found

    # ------------------------------------------------------------ wires

    def _wire(self, component: Element, role: Element, jackets: list[Jacket]) -> Iterator[Conductor]:
        """Yield the connected conductors of a wire or cable; the jacket of a cable is added to ``jackets``."""
        spec = self.file.links.get(role.said("WireSpecification"), "Specification", of=role)
        root = self._spec(spec) if spec is not None else None
        references = [r for r in role.all("WireElementReference") if not self._is_root(r)]
        is_cable = len(references) > 1 or (root is not None and bool(root.refs("SubWireElementSpecification")))
        cable = component.key if is_cable else ""
        self.counts["cores" if is_cable else "wires"] += len(references)
        if is_cable:
            name = role.said("Identification") or component.said("Identification")
            jackets.append(Jacket(cable, name, self._outside(root), self.file.links.where(component)))
        for reference in references:
            found = self._conductor(component, reference, cable)
            if found is not None:
                yield found

    def _is_root(self, reference: Element) -> bool:
        """Whether a reference stands for a whole cable, not for one of its cores."""
        element = self._element(reference)
        if element is None:
            return False
        spec = self._spec(element)
        return bool(element.first("SubWireElement")) or bool(spec and spec.refs("SubWireElementSpecification"))

    def _element(self, reference: Element) -> Element | None:
        return self.file.links.get(
            reference.said("ReferencedWireElement"), "WireElement", "SubWireElement", of=reference
        )

    def _spec(self, holder: Element) -> Element | None:
        return self.file.links.get(holder.said("WireElementSpecification"), "Specification", of=holder)

    def _conductor(self, component: Element, reference: Element, cable: str) -> Conductor | None:
        name = reference.said("Identification") or component.said("Identification")
        connections = [c for key in reference.refs("Connection") if (c := self._connection(key, reference)) is not None]
        ends, stated = self._ends(reference, connections)
        if ends is None:
            self.spare.append(name or reference.key)
            if stated and reference.said("Unconnected").casefold() != "true":
                message = "wires without two ends at a connector, left out"
                self.notes.add(message, "complete the contact points", self.file.links.where(reference), name)
            return None
        element = self._element(reference)
        spec = self._spec(element) if element is not None else None
        lengths = [(w.said("LengthType"), self.file.length(w, "LengthValue")) for w in reference.all("WireLength")]
        keys = (reference.key, *reference.refs("Connection"))
        label = reference.said("LabelValue") if _is_text(reference) else ""
        return Conductor(
            key=reference.key,
            id=name,
            ends=ends,
            cable=cable,
            size=self.file.size(self._part_spec(spec, "ConductorSpecification")),
            outside_mm=self._outside(spec),
            colour=self._colour(self._part_spec(spec, "InsulationSpecification")),
            signal=self._signal(reference, connections),
            length_mm=best_length(lengths),
            routes=tuple(route for key in keys for route in self.routes.get(key, ())),
            label=label,
            continuous=reference.said("LabelPosition").casefold() == "continuous",
            holders=(frozenset((reference.key,)), frozenset((component.key,))),
            where=self.file.links.where(reference),
        )

    def _part_spec(self, spec: Element | None, tag: str) -> Element | None:
        key = spec.said(tag) if spec is not None else ""
        return self.file.links.get(key, "Specification", of=spec)

    def _connection(self, key: str, reference: Element) -> Element | None:
        return self.file.links.get(key, "Connection", of=reference)

    def _ends(
        self, reference: Element, connections: list[Element]
    ) -> tuple[tuple[tuple[str, str], tuple[str, str]] | None, bool]:
        """Return the two ends, None where they cannot be told, and whether the file says anything of them."""
        given = reference.all("WireEnd")
        given.sort(key=lambda end: measure(end.said("PositionOnWire")) or 0.0)
        found = [self.contacts[end.key] for end in given if end.key in self.contacts]
        if len(found) < 2:
            ports = [
                port
                for connection in connections
                for end in connection.all("ConnectionEnd")
                for port in end.refs("ConnectedComponentPort")
            ]
            by_port = [self.ports[port] for port in ports if port in self.ports]
            found = by_port if len(by_port) > 1 else found
        if len(found) > 2:
            message = "wires with more than two ends; the first and the last are taken"
            self.notes.add(message, "check what is tapped", self.file.links.where(reference), reference.key)
        return (found[0], found[-1]) if len(found) > 1 else None, bool(given or connections)

    def _outside(self, spec: Element | None) -> float | None:
        """Return the outside diameter with its upper tolerance: what a sleeve must pass."""
        diameter = spec.first("OutsideDiameter") if spec is not None else None
        nominal = above_zero(self.file.amount(diameter))
        tolerance = diameter.first("Tolerance") if diameter is not None else None
        upper = measure(tolerance.said("UpperBoundary")) if tolerance is not None else None
        if diameter is None or nominal is None or not upper or upper < 0:
            return nominal
        unit = nominal / (measure(diameter.said("ValueComponent")) or nominal)
        message = "outside diameters taken at their upper tolerance"
        self.notes.add(message, "", self.file.links.where(diameter), f"{nominal:g} + {upper * unit:g} mm")
        return nominal + upper * unit

    def _colour(self, insulation: Element | None) -> str:
        """Return base and stripes as written, parted by ``/``."""
        if insulation is None:
            return ""
        return "/".join(filter(None, (c.said("Key") for tag in STRIPES for c in insulation.all(tag))))

    def _signal(self, reference: Element, connections: list[Element]) -> str:
        for holder in (reference, *connections):
            for key in holder.refs("Signal"):
                signal = self.file.links.get(key, "Signal", of=holder)
                if signal is not None:
                    return signal.said("SignalName", "Identification")
        return ""


def _is_text(holder: Element) -> bool:
    """Return whether a label is one of letters, not a code."""
    return holder.said("LabelType").casefold() in ("", "alphanumerical")


def _label_of(component: Element) -> str:
    """Return the text that a component's label is to say, ``""`` where none is named."""
    roles = (role for role in component.all("Role") if role.kind == "LabelingRole" and _is_text(role))
    return next(filter(None, (role.said("LabelValue") for role in roles)), "")
