"""The limbs of a VEC: nodes and segments, what sits where, and which way every wire runs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from labeler.read.cad import Route, Segment, Thing, above_zero
from labeler.read.vecfile import VecFile
from labeler.read.xml import Element

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
