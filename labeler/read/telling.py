"""What an export says and a harness cannot hold, in words: tubes, tapes, clips, routes, numbers that stand twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import pi, sqrt
from typing import Any

from labeler.model import Circuit, Harness
from labeler.read.account import Account, counts_of, some
from labeler.read.cad import Conductor, Export, Notes, Place, Route, Segment, Thing
from labeler.read.choosing import CHOOSE


@dataclass(frozen=True, slots=True)
class Put:
    """What of an export was put into a harness, and under which names."""

    export: Export
    conductors: tuple[Conductor, ...]
    segments: Mapping[str, Segment]  # by key
    segment_names: Mapping[str, str]
    places: tuple[Place, ...]
    names: Mapping[str, str]  # of places
    ending: Mapping[str, Sequence[Place]]  # the connectors that a segment ends at, by its key

    @property
    def things(self) -> tuple[Thing, ...]:
        """What lies and sits on its segments."""
        return tuple(thing for thing in self.export.things if thing.segment in self.segments)


def chain(segments: Sequence[Segment]) -> tuple[str, str] | None:
    """Return the nodes where a route starts and stops, None where its segments are no unbroken chain."""
    if not segments:
        return None
    for at in dict.fromkeys((segments[0].start, segments[0].end)):
        start = at
        for segment in segments:
            if at not in (segment.start, segment.end) or not at:
                break
            at = segment.end if segment.start == at else segment.start
        else:
            return start, at
    return None


def told(
    put: Put, circuits: Sequence[Circuit], notes: Notes, unfiltered: bool, taken: Container[tuple[str, str]]
) -> Iterator[str]:
    """Yield what has no place in a harness; note coverings, and numbers that stand twice.

    ``unfiltered``: the file has variants, and none was chosen. ``taken``: the coverings, by key and segment, that
    became those of a branch.
    """
    for number, count in Counter(circuit.id for circuit in circuits).items():
        if count > 1:
            where = next(c.where for c in circuits if c.id == number)
            fix = CHOOSE if unfiltered else "number them apart"
            notes.add("wire numbers that stand more than once", fix, where, number)
    if put.export.spare:
        yield f"wires and cores not connected: {some(put.export.spare)}"
    inner = len(put.segments) - len(put.ending)
    if inner:
        yield f"segments that end at no connector, so no branch: {inner}"
    for is_clip, what in ((False, "tubes and tapes on segments"), (True, "clips on segments")):
        left = (t for t in put.things if t.is_clip == is_clip and (t.key, t.segment) not in taken)
        things = [_thing(put, thing) for thing in left]
        if things:
            yield f"{what}, for which a harness has no place: {some(things, 12)}"
    for thing in put.things:
        if not thing.is_clip and (thing.key, thing.segment) not in taken:
            message = "coverings that are not carried over: sleeves are sized for the bare bundle"
            fix = "set covering, covering_wall_mm or diameter_mm of the branch where one lies under a sleeve, "
            fix += "or give a covering of your coverings.toml its name as alias"
            notes.add(message, fix, put.segments[thing.segment].where, _thing(put, thing))


def _thing(put: Put, thing: Thing) -> str:
    """Say what lies where; of a covering also how far from each connector of its segment it begins."""
    on = f"{thing.what} on {put.segment_names[thing.segment]}"
    if thing.from_mm is None or thing.to_mm is None:
        return on
    if thing.is_clip:
        return f"{on} at {thing.to_mm:.0f} mm"
    segment = put.segments[thing.segment]
    far = None if segment.length_mm is None else segment.length_mm - thing.to_mm
    edges = {segment.start: thing.from_mm, segment.end: far}
    ends = ", ".join(
        f"{edges[place.node]:.0f} mm from {put.names[place.key]}"
        for place in put.ending.get(thing.segment, ())
        if edges.get(place.node) is not None
    )
    return f"{on} from {thing.from_mm:.0f} to {thing.to_mm:.0f} mm{f' ({ends})' if ends else ''}"


def account_of(put: Put, harness: Harness, routes: Mapping[str, Sequence[Route]], left: tuple[str, ...]) -> Account:
    """Return the account of an export; ``routes`` are those of its conductors, by key."""
    export = put.export
    counted = {
        **counts_of(harness),
        "wires": export.wires,
        "cables": len(export.jackets),
        "cores": export.cores,
        "connections": len(put.conductors),
        "segments": len(put.segments),
        "nodes": export.nodes,
        "routes": sum(map(len, routes.values())),
        "protections": len({t.key for t in export.things if not t.is_clip}),
        "variants": len(export.variants),
    }
    counts = {what: count for what, count in counted.items() if what not in ("circuits", "bags")}
    names = tuple((p.id, p.alias, p.description) for p in put.places)
    variants = tuple(v.names[0] for v in export.variants)
    form = f"{export.form}, {len(harness.circuits)} circuits"
    return Account(form, export.version, counts, export.became, left, variants, names, _details(put, routes))


def _details(put: Put, routes: Mapping[str, Sequence[Route]]) -> dict[str, Any]:
    """Return for programs what a harness cannot hold."""
    name = put.segment_names
    return {
        "segments": [
            {
                "name": name[s.key],
                "id": s.id,
                "length_mm": s.length_mm,
                "diameter_mm": round(sqrt(4 * s.area_mm2 / pi), 3) if s.area_mm2 else None,
                "area": s.area_kind,
            }
            for s in put.segments.values()
        ],
        "routes": [
            {
                "circuit": c.id or c.key,
                "segments": [name[key] for key in route.segments],
                "unbroken": chain([put.segments[key] for key in route.segments]) is not None,
            }
            for c in put.conductors
            for route in routes[c.key]
        ],
        "protections": [_thing(put, thing) for thing in put.things],
    }
