"""VEC (VDA 4968, prostep ivip PSI 21), versions 1.1 to 2.2 → `Export`.

Read loosely: what is not known is passed over, references are checked for what they point at. The ends of
a wire are told by its wire ends and contact points; else by its connection and the ports of cavities; else
not at all, and then it is said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from labeler.read.cad import Conductor, Export, Jacket, Place, above_zero, best_length, measure
from labeler.read.vecfile import VecFile
from labeler.read.veclimbs import nodes_of, routes_of, segments, things
from labeler.read.vecvariants import variants
from labeler.read.xml import Document, Element

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
