"""An `Export` → `Harness`: the chosen variant, the chosen names, and branches where segments end at connectors.

What a harness cannot hold (tubes, tapes, clips, segments between junctions, routes) is told in the account.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import pi, sqrt

from labeler.errors import Problem, Where
from labeler.materials import bare_diameter
from labeler.model import Branch, BranchEnd, Cable, Circuit, Connector, Harness, Pin, Settings
from labeler.read.account import Read, Wanted, some
from labeler.read.cad import Conductor, Export, Notes, Place, Route, Segment
from labeler.read.choosing import CHOOSE, chosen_variants, known_variants
from labeler.read.coverings import Lying, covering_of_branch, lying_at
from labeler.read.telling import Put, account_of, chain, told
from labeler.read.values import with_settings

MOST_IN_CAVITY = 9  # wires, as the setting wires_per_cavity has it
LONGEST_NAME = 24  # characters of a segment's name that is taken as it is; project choice: CAD paths are longer
NO_SLEEVE = ("splice", "junction")


def assembled(export: Export, source: str, data: bytes, settings: Settings, wanted: Wanted) -> Read:
    """Return the harness of an export; raises WrongUse for a variant that it does not have."""
    return _Assembly(export, source, settings, wanted).read(data)


class _Assembly:
    """One export on its way to a harness."""

    def __init__(self, export: Export, source: str, settings: Settings, wanted: Wanted) -> None:
        self.export = export
        self.source = source
        self.settings = settings
        self.wanted = wanted
        self.notes = Notes()
        self.problems: list[Problem] = []
        self.left: list[str] = list(export.left)
        self.chosen = chosen_variants(export, source, wanted.variants, self.notes, self.left)
        self.conductors = tuple(self._kept())
        self.segments = {s.key: s for s in export.segments if not {s.key} & self.chosen.excluded}
        reached = {place for c in self.conductors for place, _ in c.ends}
        self.places = tuple(p for p in export.places if p.key in reached or self.chosen.keeps(p.holders))
        self.settings = self._shared()
        self.nodes = {place.key: place.node for place in self.places}
        self.names = self._names()
        self.segment_names = self._segment_names()
        self.cables = {jacket.key: jacket.id or jacket.key for jacket in export.jackets}
        self.routes = {c.key: self._routes(c) for c in self.conductors}
        self.through = self._through()
        self.ending = self._ending()
        self.taken: set[tuple[str, str]] = set()  # coverings that are those of a branch, with their segment

    def read(self, data: bytes) -> Read:
        export = self.export
        circuits = tuple(self._circuit(conductor) for conductor in self.conductors)
        branches = tuple(self._branches({c.key: circuit for c, circuit in zip(self.conductors, circuits, strict=True)}))
        used = {c.cable for c in self.conductors}
        harness = Harness(
            name=export.name,
            part_number=export.part_number,
            revision=export.revision,
            settings=self.settings,
            connectors=tuple(self._connector(place) for place in self.places),
            circuits=circuits,
            cables=tuple(
                Cable(self.cables[j.key], j.outside_mm, j.where)
                for j in export.jackets
                if j.key in used or self.chosen.allowed is None
            ),
            branches=branches,
            where=Where(self.source),
            text=data,
        )
        put = Put(export, self.conductors, self.segments, self.segment_names, self.places, self.names, self.ending)
        unfiltered = bool(export.variants and not self.wanted.variants)
        left = (*self.left, *told(put, circuits, self.notes, unfiltered, self.taken))
        notes = (*export.notes, *self.notes.problems())
        return Read(replace(harness, notes=notes), account_of(put, harness, self.routes, left), tuple(self.problems))

    def _shared(self) -> Settings:
        """Return the settings with as many wires in a cavity as the file itself puts into one."""
        housed = {place.key for place in self.places if place.kind == "connector"}
        wires = Counter(end for c in self.conductors for end in set(c.ends) if end[1] and end[0] in housed)
        most = min(max(wires.values(), default=1), MOST_IN_CAVITY)
        if most <= self.settings.wires_per_cavity:
            return self.settings
        return with_settings(self.settings, {"wires_per_cavity": float(most)})

    # ------------------------------------------------------------ variants

    def _kept(self) -> Iterator[Conductor]:
        left = []
        for conductor in self.export.conductors:
            if self.chosen.keeps(*(conductor.holders or (frozenset((conductor.key,)),))):
                yield conductor
            else:
                left.append(conductor)
        if left:
            self.left.append(f"connections of other variants: {len(left)} ({some(c.id or c.key for c in left)})")
            loose = [c for c in left if not frozenset[str]().union(*c.holders) & self.chosen.listed]
            if loose:
                names = some(c.id or c.key for c in loose)
                self.left.append(f"of these {len(loose)} stand in no module at all: {names}")

    # ------------------------------------------------------------ names

    def _names(self) -> dict[str, str]:
        """Return the name that is printed of each connector; one without falls back, two alike are a problem."""
        names = {}
        for place in self.places:
            given = getattr(place, self.wanted.names)
            if not given:
                other = place.id or place.alias or place.description or place.key
                message = f"connectors without {self.wanted.names}; another of their names is taken"
                self.notes.add(message, "choose another --names", place.where, other)
                given = other
            names[place.key] = given
        for name, count in Counter(names.values()).items():
            if count > 1:
                self.problems.append(self._twice(name, [p for p in self.places if names[p.key] == name]))
        return names

    def _twice(self, name: str, alike: Sequence[Place]) -> Problem:
        others = some(f"{p.id or p.key} ({p.where})" for p in alike)
        message = f"{self.wanted.names} {name!r} stands for {len(alike)} connectors: {others}"
        if self.wanted.names == "id" and self.export.variants and not self.wanted.variants:
            return Problem(
                alike[1].where, message, f"they may be alternatives: {CHOOSE}, one of {known_variants(self.export)}"
            )
        return Problem(alike[1].where, message, "choose another of --names id, alias, description")

    def _segment_names(self) -> dict[str, str]:
        """Return a printable name of each segment; long paths of a CAD are numbered, and it is said."""
        names: dict[str, str] = {}
        numbered = []
        for number, segment in enumerate(self.segments.values(), 1):
            first, second = (segment.alias, segment.id) if self.wanted.names == "alias" else (segment.id, segment.alias)
            given = next((n for n in (first, second) if n and len(n) <= LONGEST_NAME), "")
            if not given or given in names.values():
                given = f"S{number}"
                while given in names.values():
                    given += "'"
                numbered.append(f"{given} = {(segment.id or segment.key)[-40:]}")
            names[segment.key] = given
        if numbered:
            self.left.append(f"segments without a name to print are numbered: {some(numbered, 4)}")
        return names

    # ------------------------------------------------------------ circuits

    def _circuit(self, conductor: Conductor) -> Circuit:
        number = conductor.id
        if not number:
            number = conductor.key
            self.notes.add("wires without a number; their id is taken", "number them", conductor.where, number)
        start, finish = (Pin(self.names.get(place, place), cavity) for place, cavity in conductor.ends)
        settings, free = self._label(conductor)
        return Circuit(
            id=number,
            start=start,
            finish=finish,
            size=conductor.size,
            outside_mm=self._outside(conductor),
            colour=conductor.colour,
            signal=conductor.signal,
            length_mm=conductor.length_mm,
            cable=self.cables.get(conductor.cable, ""),
            where=conductor.where,
            settings=settings,
            free=free,
        )

    def _outside(self, conductor: Conductor) -> float | None:
        """Return the outside diameter unless it cannot be one; what is missing is said."""
        given, bare = conductor.outside_mm, bare_diameter(conductor.size) if conductor.size else None
        name = conductor.id or conductor.key
        fix = "measure them, or check the table: labeler wires"
        if given and bare and given <= bare:
            message = "outside diameter not above the bare conductor's, so the table of the insulation is used"
            self.notes.add(message, fix, conductor.where, name)
            return None
        if not given and conductor.size:
            message = "no outside diameter (missing or 0), so the table of the insulation is used"
            self.notes.add(message, fix, conductor.where, name)
        return given

    def _label(self, conductor: Conductor) -> tuple[Settings | None, tuple[tuple[str, str], ...]]:
        """Return the settings and fields of a circuit whose markers say what its designer wrote."""
        if not self.wanted.labels:
            return None, ()
        free = (("label", conductor.label),)
        if not conductor.label:
            return None, free
        marks = "by length" if conductor.continuous else "both ends"
        return with_settings(self.settings, {"wire_marker": "{label}", "wire_marks": marks}), free

    def _connector(self, place: Place) -> Connector:
        count = len(place.cavities)
        counted = sorted(place.cavities) == sorted(str(number) for number in range(1, count + 1))
        about = place.description if self.wanted.names != "description" else place.id
        return Connector(
            self.names[place.key], place.kind, about, count if count and counted else None, where=place.where
        )

    # ------------------------------------------------------------ routes and branches

    def _routes(self, conductor: Conductor) -> tuple[Route, ...]:
        """Return the routes of a conductor from its first end, broken ones as they stand; all that is odd is said."""
        kept = [route for route in conductor.routes if route.key not in self.chosen.excluded]
        name = conductor.id or conductor.key
        if not kept and self.segments:
            fix = "their branches' bundles lack them; route them, or measure diameter_mm"
            self.notes.add("wires without a route", fix, conductor.where, name)
        if len(kept) > 1:
            message = "wires with several routes, one for each variant; all are taken"
            self.notes.add(message, CHOOSE, conductor.where, name)
        return tuple(self._turned(route, conductor, name) for route in kept)

    def _turned(self, route: Route, conductor: Conductor, name: str) -> Route:
        found = chain([self.segments[key] for key in route.segments if key in self.segments])
        if found is None or any(key not in self.segments for key in route.segments):
            fix = "check the route; the wire is counted in all segments it names"
            self.notes.add("routes that are no unbroken chain", fix, conductor.where, name)
            return Route(route.key, tuple(key for key in route.segments if key in self.segments))
        first, last = (self.nodes.get(place, "") for place, _ in conductor.ends)
        if first and last and {first, last} != set(found):
            message = "routes that do not lead from one end of the wire to the other"
            self.notes.add(message, "check where the connectors sit", conductor.where, name)
        turned = found[0] != found[1] and (first == found[1] or last == found[0])
        return Route(route.key, route.segments[::-1]) if turned else route

    def _branches(self, circuits: Mapping[str, Circuit]) -> Iterator[Branch]:
        """Yield a branch for each segment that ends at a connector, and for each connector that no segment meets."""
        if not self.segments:
            return
        for key, ends in self.ending.items():
            yield from self._segment_branches(self.segments[key], ends, self.through[key], circuits)
        met = {place.key for ends in self.ending.values() for place in ends}
        taken = {self.segment_names[key] for key in self.ending}
        reached = {place for c in self.conductors for place, _ in c.ends}
        for place in self.places:
            if place.kind not in NO_SLEEVE and place.key not in met and place.key in reached:
                name = self.names[place.key]
                yield Branch(f"{name} end" if name in taken else name, ends=(self._end(place),), where=place.where)

    def _through(self) -> dict[str, list[Conductor]]:
        """Return the conductors that run through each segment."""
        through: dict[str, list[Conductor]] = {}
        for conductor in self.conductors:
            for key in dict.fromkeys(k for route in self.routes[conductor.key] for k in route.segments):
                through.setdefault(key, []).append(conductor)
        return through

    def _ending(self) -> dict[str, list[Place]]:
        """Return the connectors that each segment ends at, with a circuit of theirs running through it."""
        at: dict[str, list[Place]] = {}
        for place in self.places:
            if place.node and place.kind not in NO_SLEEVE:
                at.setdefault(place.node, []).append(place)
        found: dict[str, list[Place]] = {}
        for key, conductors in self.through.items():
            segment = self.segments[key]
            ends = {place for c in conductors for place, _ in c.ends}
            places = [p for node in dict.fromkeys((segment.start, segment.end)) for p in at.get(node, ())]
            if here := [place for place in places if place.key in ends]:
                found[key] = here
        return {key: found[key] for key in self.segments if key in found}

    def _segment_branches(
        self,
        segment: Segment,
        places: Sequence[Place],
        conductors: Sequence[Conductor],
        circuits: Mapping[str, Circuit],
    ) -> Iterator[Branch]:
        """Yield one branch; several where connectors share a node, each with its own wires."""
        name = self.segment_names[segment.key]
        shared = [node for node, count in Counter(place.node for place in places).items() if count > 1]
        alone = tuple(place for place in places if place.node not in shared)
        if alone:
            ids = tuple(circuits[c.key].id for c in conductors)
            yield self._branch(segment, name, ids, alone, conductors)
        for place in (place for place in places if place.node in shared):
            own = [c for c in conductors if place.key in (p for p, _ in c.ends)]
            ids = tuple(circuits[c.key].id for c in own)
            yield self._branch(segment, f"{name} {self.names[place.key]}", ids, (place,), own)

    def _branch(
        self, segment: Segment, name: str, ids: tuple[str, ...], places: Iterable[Place], wires: Sequence[Conductor]
    ) -> Branch:
        places = tuple(places)
        things = self.export.things if self.settings.covering == "none" else ()  # what was set wins
        lying = {place.key: lying_at(segment, place, things) for place in places}
        own = covering_of_branch(lying, places)
        self._note_coverings(segment, lying, places)
        return Branch(
            id=name,
            circuits=tuple(dict.fromkeys(ids)),
            ends=tuple(self._end(place, own, lying[place.key][0] or "none") for place in places),
            diameter_mm=self._diameter(segment, name, wires),
            length_mm=segment.length_mm,
            where=segment.where,
            settings=self._covered(own),
        )

    def _end(self, place: Place, covering: str = "none", here: str = "none") -> BranchEnd:
        text = place.label if self.wanted.labels and place.label else self.names[place.key]
        settings = self.settings if here == "none" != covering else self._covered(here)  # a bare end says so
        return BranchEnd(self.names[place.key], (text,), where=place.where, settings=settings)

    def _covered(self, covering: str) -> Settings | None:
        """Return the settings under a covering, None where they are the harness's own; a wall that was set stays."""
        if covering in ("none", self.settings.covering):
            return None
        return replace(self.settings, covering=covering)

    def _note_coverings(self, segment: Segment, lying: Mapping[str, Lying], places: Sequence[Place]) -> None:
        for place in places:
            covering, things = lying[place.key]
            if covering not in (None, "none"):
                message = "coverings taken by their names from the table of coverings"
                said = f"{things[0].what} at {self.names[place.key]} as {covering}"
                self.notes.add(
                    message,
                    "measure covering_wall_mm where it matters; labeler coverings lists them",
                    segment.where,
                    said,
                )
                self.taken.add((things[0].key, segment.key))

    def _diameter(self, segment: Segment, name: str, wires: Sequence[Conductor]) -> float | None:
        """Return the bundle's diameter by the segment's area: measured, asked for, or where the wires do not tell."""
        if segment.area_mm2 is None:
            if self.wanted.bundle == "area":
                fix = "leave out --bundle area, or measure them"
                self.notes.add("branches without an area; their wires are taken", fix, segment.where, name)
            return None
        unknown = [c for c in wires if not c.size and not c.outside_mm]
        if segment.area_kind != "measured" and self.wanted.bundle != "area" and not unknown:
            return None
        why = segment.area_kind or "stated"
        message = f"diameters taken from the segment's {why} area, as of a circle"
        self.notes.add(message, "measure diameter_mm where it matters", segment.where, name)
        return round(sqrt(4 * segment.area_mm2 / pi), 3)
