"""An `Export` → `Harness`: the chosen variant, the chosen names, and branches where segments end at connectors.

What a harness cannot hold (tubes, tapes, clips, segments between breakouts, routes) is told in the account.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi, sqrt
from typing import Any

from labeler.errors import Problem, SourceLocation, WrongUse
from labeler.model import NOWHERE, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Pin, Settings
from labeler.readers.import_report import Account, Given, Read, counts_of, some
from labeler.readers.lists import unknown_variant
from labeler.readers.values import with_settings
from labeler.readers.xml import Document, Element, Notes
from labeler.tables.materials import Covering, bare_diameter

# ---------------------------------------------------------------- What a harness CAD export says


SI_PREFIX = {"": 1.0, "micro": 1e-6, "milli": 1e-3, "centi": 1e-2, "deci": 1e-1, "kilo": 1e3}
Ends = tuple[tuple[str, str], tuple[str, str]]  # place key and cavity, twice
PREFERRED_LENGTHS = ("production", "contract", "drawing", "calculated", "dmu")  # words of a length's type, best first


@dataclass(frozen=True, slots=True)
class Place:
    """A connector, splice or terminal, with the three names it may have."""

    key: str
    id: str
    alias: str = ""
    description: str = ""
    kind: str = "connector"  # as in `Connector`
    cavities: tuple[str, ...] = ()
    node: str = ""  # key
    label: str = ""
    holders: frozenset[str] = frozenset()  # keys that stand for it in a variant
    where: SourceLocation = NOWHERE


@dataclass(frozen=True, slots=True)
class Route:
    """The segments a conductor runs through, by key, from its first end."""

    key: str
    segments: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Conductor:
    """A wire or core with its two ends: place key and cavity."""

    key: str
    id: str
    ends: Ends
    cable: str = ""  # key
    size: str = ""
    od_mm: float | None = None
    colour: str = ""
    signal: str = ""
    length_mm: float | None = None
    routes: tuple[Route, ...] = ()
    label: str = ""
    continuous: bool = False  # the label stands along the wire
    holders: tuple[frozenset[str], ...] = ()  # sets of keys that stand for it in a variant: the first listed counts
    where: SourceLocation = NOWHERE


@dataclass(frozen=True, slots=True)
class Segment:
    """A limb between two nodes (keys)."""

    key: str
    id: str
    alias: str
    start: str
    end: str
    length_mm: float | None = None
    area_mm2: float | None = None
    area_kind: str = ""  # calculated | reserved | measured
    where: SourceLocation = NOWHERE


@dataclass(frozen=True, slots=True)
class Thing:
    """What lies or sits on a segment and has no place in a harness: tube, tape, clip."""

    key: str
    what: str  # for people: "corrugated pipe TUBE1, 8.3/13.4 mm"
    segment: str
    from_mm: float | None = None
    to_mm: float | None = None
    is_clip: bool = False
    words: tuple[str, ...] = ()  # what the file calls it: number, kind, type, description


@dataclass(frozen=True, slots=True)
class Variant:
    """A module, configuration or option: its names, and the keys it lists or constrains."""

    names: tuple[str, ...]
    members: frozenset[str]
    constraint: bool = False  # members are in no other configuration; all else is in every one


@dataclass(frozen=True, slots=True)
class Export:
    """A whole export."""

    form: str
    version: str
    name: str
    part_number: str = ""
    revision: str = ""
    places: tuple[Place, ...] = ()
    conductors: tuple[Conductor, ...] = ()
    jackets: tuple[tuple[str, Cable], ...] = ()  # cables with cores: key, and the cable (id "": it has none)
    segments: tuple[Segment, ...] = ()
    things: tuple[Thing, ...] = ()
    variants: tuple[Variant, ...] = ()
    nodes: int = 0
    wires: int = 0  # single wires in the file, connected or not
    cores: int = 0
    spare: tuple[str, ...] = ()  # wires and cores that no connection uses
    became: tuple[tuple[str, str], ...] = ()
    notes: tuple[Problem, ...] = ()

    @property
    def known_variants(self) -> str:
        """The names that may be chosen, the first twenty."""
        return some((v.names[0] for v in self.variants), 20)


def above_zero(value: float | None) -> float | None:
    """Return a measure that can be one: 0 is how a missing one is often written."""
    return value if value is not None and value > 0 else None


def best_length(given: list[tuple[str, float | None]]) -> float | None:
    """Return the length to use of several (type, mm): made before drawn before computed; 0 is missing.

    What is called a supplement is never taken.
    """
    known = [(kind.casefold(), mm) for kind, mm in given if above_zero(mm) and "supplement" not in kind.casefold()]
    preferred = (mm for word in PREFERRED_LENGTHS for kind, mm in known if word in kind)
    return next(preferred, known[0][1] if known else None)


def first_and_last(
    document: Document, ends: Iterable[tuple[str, str] | None], element: Element, name: str
) -> Ends | None:
    """Return the first and the last of a wire's ends, None where there are no two; more than two are noted."""
    found = list(filter(None, ends))
    if len(found) > 2:
        message = "wires with more than two ends; the first and the last are taken"
        document.note(message, "check what is tapped", element, name)
    return (found[0], found[-1]) if len(found) > 1 else None


# ---------------------------------------------------------------- Which things of an export a choice of modules


CHOOSE = "choose with --variant NAME"
NOBODY = frozenset[str]()


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which keys a choice of variants keeps."""

    allowed: frozenset[str] | None  # None: no list was chosen, so all
    listed: frozenset[str]  # by any variant
    excluded: frozenset[str]  # constrained to variants that were not chosen

    def keeps(self, *groups: frozenset[str]) -> bool:
        """Whether something is in: the first group of its keys that any variant lists decides."""
        if any(group & self.excluded for group in groups):
            return False
        if self.allowed is None:
            return True
        return next((bool(group & self.allowed) for group in groups if group & self.listed), False)


def chosen_variants(export: Export, source: str, wanted: Sequence[str], notes: Notes) -> Chosen:
    """Return what the wanted variants keep; without any, all, and it is said.

    Raises WrongUse for a variant that is not there, or lists nothing.
    """
    variants = export.variants
    constrained = NOBODY.union(*(v.members for v in variants if v.constraint))
    listed = NOBODY.union(*(v.members for v in variants if not v.constraint))
    if not wanted:
        if len(variants) > 1:
            names = some([v.names[0] for v in variants])
            message = f"holds {len(variants)} modules or variants ({names}) and is read unfiltered (150 %)"
            notes.add(message, CHOOSE, SourceLocation(source), "all of them")
        return Chosen(None, listed, NOBODY)
    found = [_named(export, name, source) for name in wanted]
    for variant in found:
        if not variant.members:
            message = f"variant {variant.names[0]!r} lists nothing"
            raise WrongUse(Problem(SourceLocation(source), message, f"choose its modules: {export.known_variants}"))
    lists = [v.members for v in found if not v.constraint]
    options = [v.members for v in found if v.constraint]
    if listed and not lists:
        notes.add("modules are not filtered: only options were chosen", CHOOSE, SourceLocation(source), "all of them")
    if constrained and not options:
        notes.add("options are not filtered: only modules were chosen", CHOOSE, SourceLocation(source), "all of them")
    excluded = constrained - NOBODY.union(*options) if options else NOBODY
    return Chosen(NOBODY.union(*lists) if lists else None, listed, excluded)


def _named(export: Export, name: str, source: str) -> Variant:
    found = [v for v in export.variants if name.casefold() in (n.casefold() for n in v.names)]
    if not found:
        raise WrongUse(unknown_variant(name, [v.names[0] for v in export.variants], source))
    if len(found) > 1:
        message = f"{name!r} names {len(found)} variants: {some(v.names[0] for v in found)}"
        raise WrongUse(Problem(SourceLocation(source), message, "name one by its part number or id"))
    return found[0]


# ---------------------------------------------------------------- coverings


NEAR_MM = 100.0  # a covering that begins farther from a connector does not lie at its end: project choice


def covering_at(
    segment: Segment, place: Place, things: Iterable[Thing], coverings: Sequence[Covering]
) -> tuple[str, Thing] | None:
    """Return the covering at the end of a segment where a connector sits, and what it was told by.

    None where nothing lies there, several lie on one another, or it is not known.
    """
    here = [t for t in things if not t.is_clip and t.segment == segment.key and _is_near(t, segment, place)]
    words = [word.casefold() for thing in here for word in thing.words]
    named = (c for word in words for c in coverings if word in map(str.casefold, (c.name, *c.aliases)))
    known = next(named, None) if len(here) == 1 else None
    return None if known is None or known.loose_fit or known.name == "none" else (known.name, here[0])


def _is_near(thing: Thing, segment: Segment, place: Place) -> bool:
    if thing.from_mm is None or thing.to_mm is None or segment.length_mm is None:
        return True
    distances = {segment.start: thing.from_mm, segment.end: segment.length_mm - thing.to_mm}
    return distances.get(place.node, 0.0) <= NEAR_MM


# ---------------------------------------------------------------- assemble


MOST_IN_CAVITY = 9  # wires, as the setting wire.max_per_cavity has it
LONGEST_NAME = 24  # characters of a segment's name that is taken as it is; project choice: CAD paths are longer
NO_SLEEVE = ("splice", "breakout")


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


def assembled(export: Export, given: Given) -> Read:
    """Return the harness of an export; raises WrongUse for a variant that it does not have."""
    return _Assembly(export, given).read()


class _Assembly:
    """One export on its way to a harness."""

    def __init__(self, export: Export, given: Given) -> None:
        self.export = export
        self.given = given
        self.wanted = given.wanted
        self.notes = Notes()
        self.problems: list[Problem] = []
        self.left: list[str] = []
        self.chosen = chosen_variants(export, given.source, given.wanted.variants, self.notes)
        self.conductors = self._kept()
        self.segments = {s.key: s for s in export.segments if s.key not in self.chosen.excluded}
        self.reached = {place for c in self.conductors for place, _ in c.ends}
        self.places = tuple(p for p in export.places if p.key in self.reached or self.chosen.keeps(p.holders))
        self.settings = self._shared()
        self.names = self._names()
        self.segment_names = self._segment_names()
        self.cables = {key: cable.id or key for key, cable in export.jackets}
        self.routes = {c.key: self._routes(c) for c in self.conductors}
        self.through = self._through()
        self.ending = self._ending()
        self.taken: set[tuple[str, str]] = set()  # coverings that are those of a branch, with their segment

    def read(self) -> Read:
        export = self.export
        circuits = tuple(map(self._circuit, self.conductors))
        ids = {conductor.key: circuit.id for conductor, circuit in zip(self.conductors, circuits, strict=True)}
        branches = tuple(self._branches(ids))
        used = {c.cable for c in self.conductors}
        harness = Harness(
            name=export.name,
            part_number=export.part_number,
            revision=export.revision,
            settings=self.settings,
            connectors=tuple(map(self._connector, self.places)),
            circuits=circuits,
            cables=tuple(
                replace(cable, id=self.cables[key])
                for key, cable in export.jackets
                if key in used or self.chosen.allowed is None
            ),
            branches=branches,
            where=SourceLocation(self.given.source),
            text=self.given.data,
        )
        self.left += self._not_held(circuits)
        notes = (*export.notes, *self.notes.problems())
        return Read(replace(harness, notes=notes), self._account(harness), tuple(self.problems))

    # ------------------------------------------------------------ what an export says and a harness cannot hold

    def _not_held(self, circuits: Sequence[Circuit]) -> Iterator[str]:
        """Yield what has no place in a harness; note coverings, and numbers that stand twice."""
        for number, count in Counter(circuit.id for circuit in circuits).items():
            if count > 1:
                where = next(c.where for c in circuits if c.id == number)
                fix = CHOOSE if self.export.variants and not self.wanted.variants else "number them apart"
                self.notes.add("wire numbers that stand more than once", fix, where, number)
        if self.export.spare:
            yield f"wires and cores not connected: {some(self.export.spare)}"
        inner = len(self.segments) - len(self.ending)
        if inner:
            yield f"segments that end at no connector, so no branch: {inner}"
        left = [(t, self._lying(t)) for t in self._things() if (t.key, t.segment) not in self.taken]
        for is_clip, what in ((False, "tubes and tapes on segments"), (True, "clips on segments")):
            if lying := [text for thing, text in left if thing.is_clip == is_clip]:
                yield f"{what}, for which a harness has no place: {some(lying, 12)}"
        for thing, text in left:
            if not thing.is_clip:
                message = "coverings that are not carried over: sleeves are sized for the bare bundle"
                fix = (
                    "set covering, covering_wall_mm or bundle_diameter_mm of the branch where one lies under a sleeve, "
                )
                fix += "or give a covering of your coverings.toml its name as alias"
                self.notes.add(message, fix, self.segments[thing.segment].where, text)

    def _things(self) -> Iterator[Thing]:
        """Return what lies and sits on the segments."""
        return (thing for thing in self.export.things if thing.segment in self.segments)

    def _lying(self, thing: Thing) -> str:
        """Say what lies where; of a covering also how far from each connector of its segment it begins."""
        on = f"{thing.what} on {self.segment_names[thing.segment]}"
        if thing.from_mm is None or thing.to_mm is None:
            return on
        if thing.is_clip:
            return f"{on} at {thing.to_mm:.0f} mm"
        segment = self.segments[thing.segment]
        far = None if segment.length_mm is None else segment.length_mm - thing.to_mm
        edges = {segment.start: thing.from_mm, segment.end: far}
        ends = ", ".join(
            f"{edges[place.node]:.0f} mm from {self.names[place.key]}"
            for place in self.ending.get(thing.segment, ())
            if edges.get(place.node) is not None
        )
        return f"{on} from {thing.from_mm:.0f} to {thing.to_mm:.0f} mm{f' ({ends})' if ends else ''}"

    def _account(self, harness: Harness) -> Account:
        """Return what was understood; the details are for programs."""
        export = self.export
        counts = {
            **counts_of(harness),
            "wires": export.wires,
            "cables": len(export.jackets),
            "cores": export.cores,
            "connections": len(self.conductors),
            "segments": len(self.segments),
            "nodes": export.nodes,
            "routes": sum(map(len, self.routes.values())),
            "protections": len({t.key for t in export.things if not t.is_clip}),
            "variants": len(export.variants),
        }
        del counts["circuits"], counts["bags"]
        names = tuple((p.id, p.alias, p.description) for p in self.places)
        variants = tuple(v.names[0] for v in export.variants)
        form = f"{export.form}, {len(harness.circuits)} circuits"
        return Account(form, export.version, counts, export.became, tuple(self.left), variants, names, self._details())

    def _details(self) -> dict[str, Any]:
        """Return for programs what a harness cannot hold."""
        name = self.segment_names
        segments = [
            {
                "name": name[s.key],
                "id": s.id,
                "length_mm": s.length_mm,
                "diameter_mm": _across(s.area_mm2) if s.area_mm2 else None,
                "area": s.area_kind,
            }
            for s in self.segments.values()
        ]
        routes = [
            {
                "circuit": c.id or c.key,
                "segments": [name[key] for key in route.segments],
                "unbroken": chain([self.segments[key] for key in route.segments]) is not None,
            }
            for c in self.conductors
            for route in self.routes[c.key]
        ]
        return {"segments": segments, "routes": routes, "protections": list(map(self._lying, self._things()))}

    def _shared(self) -> Settings:
        """Return the settings with as many wires in a cavity as the file itself puts into one."""
        housed = {place.key for place in self.places if place.kind == "connector"}
        wires = Counter(end for c in self.conductors for end in set(c.ends) if end[1] and end[0] in housed)
        most = min(max(wires.values(), default=1), MOST_IN_CAVITY)
        if most <= self.given.settings.wire.max_per_cavity:
            return self.given.settings
        return with_settings(self.given.settings, {"wire.max_per_cavity": float(most)})

    # ------------------------------------------------------------ variants

    def _kept(self) -> tuple[Conductor, ...]:
        every = [(c, self.chosen.keeps(*(c.holders or (frozenset((c.key,)),)))) for c in self.export.conductors]
        left = [c for c, kept in every if not kept]
        if left:
            self.left.append(f"connections of other variants: {len(left)} ({some(c.id or c.key for c in left)})")
        loose = [c.id or c.key for c in left if not NOBODY.union(*c.holders) & self.chosen.listed]
        if loose:
            self.left.append(f"of these {len(loose)} stand in no module at all: {some(loose)}")
        return tuple(c for c, kept in every if kept)

    # ------------------------------------------------------------ names

    def _names(self) -> dict[str, str]:
        """Return the name that is printed of each connector; one without falls back, two alike are a problem."""
        names = {}
        for place in self.places:
            given = getattr(place, self.wanted.connector_names)
            if not given:
                other = place.id or place.alias or place.description or place.key
                message = f"connectors without {self.wanted.connector_names}; another of their names is taken"
                self.notes.add(message, "choose another --connector-names", place.where, other)
                given = other
            names[place.key] = given
        for name, count in Counter(names.values()).items():
            if count > 1:
                self.problems.append(self._twice(name, [p for p in self.places if names[p.key] == name]))
        return names

    def _twice(self, name: str, alike: Sequence[Place]) -> Problem:
        others = some(f"{p.id or p.key} ({p.where})" for p in alike)
        message = f"{self.wanted.connector_names} {name!r} stands for {len(alike)} connectors: {others}"
        fix = "choose another of --connector-names id, alias, description"
        if self.wanted.connector_names == "id" and self.export.variants and not self.wanted.variants:
            fix = f"they may be alternatives: {CHOOSE}, one of {self.export.known_variants}"
        return Problem(alike[1].where, message, fix)

    def _segment_names(self) -> dict[str, str]:
        """Return a printable name of each segment; long paths of a CAD are numbered, and it is said."""
        names: dict[str, str] = {}
        numbered = []
        for number, segment in enumerate(self.segments.values(), 1):
            first, second = (
                (segment.alias, segment.id) if self.wanted.connector_names == "alias" else (segment.id, segment.alias)
            )
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
        if not conductor.id:
            message = "wires without a number; their id is taken"
            self.notes.add(message, "number them", conductor.where, conductor.key)
        start, finish = (Pin(self.names.get(place, place), cavity) for place, cavity in conductor.ends)
        settings = self.settings
        if self.wanted.use_label_texts and conductor.label:
            marks = "by length" if conductor.continuous else "both ends"
            settings = with_settings(settings, {"marker.wire_text": "{label}", "marker.wire_positions": marks})
        return Circuit(
            id=conductor.id or conductor.key,
            start=start,
            finish=finish,
            size=conductor.size,
            od_mm=self._outside(conductor),
            colour=conductor.colour,
            signal=conductor.signal,
            length_mm=conductor.length_mm,
            cable=self.cables.get(conductor.cable, ""),
            where=conductor.where,
            settings=settings,
            extra=(("label", conductor.label),) if self.wanted.use_label_texts else (),
        )

    def _outside(self, conductor: Conductor) -> float | None:
        """Return the outside diameter unless it cannot be one; what is missing is said."""
        given, bare = conductor.od_mm, bare_diameter(conductor.size) if conductor.size else None
        if given and not (bare and given <= bare):
            return given
        if given or conductor.size:
            message = "not above the bare conductor's" if given else "(missing or 0)"
            message = f"{'' if given else 'no '}outside diameter {message}, so the table of the insulation is used"
            fix = "measure them, or check the table: labeler list wires"
            self.notes.add(message, fix, conductor.where, conductor.id or conductor.key)
        return None

    def _connector(self, place: Place) -> Connector:
        count = len(place.cavities)
        counted = sorted(place.cavities) == sorted(str(number) for number in range(1, count + 1))
        about = place.description if self.wanted.connector_names != "description" else place.id
        return Connector(
            self.names[place.key], place.kind, about, count if count and counted else None, where=place.where
        )

    # ------------------------------------------------------------ routes and branches

    def _routes(self, conductor: Conductor) -> tuple[Route, ...]:
        """Return the routes of a conductor from its first end, broken ones as they stand; all that is odd is said."""
        kept = [route for route in conductor.routes if route.key not in self.chosen.excluded]
        name = conductor.id or conductor.key
        if not kept and self.segments:
            fix = "their branches' bundles lack them; route them, or measure bundle_diameter_mm"
            self.notes.add("wires without a route", fix, conductor.where, name)
        if len(kept) > 1:
            message = "wires with several routes, one for each variant; all are taken"
            self.notes.add(message, CHOOSE, conductor.where, name)
        return tuple(self._turned(route, conductor, name) for route in kept)

    def _turned(self, route: Route, conductor: Conductor, name: str) -> Route:
        known = [self.segments[key] for key in route.segments if key in self.segments]
        found = chain(known)
        if found is None or len(known) < len(route.segments):
            fix = "check the route; the wire is counted in all segments it names"
            self.notes.add("routes that are no unbroken chain", fix, conductor.where, name)
            return replace(route, segments=tuple(segment.key for segment in known))
        nodes = {place.key: place.node for place in self.places}
        first, last = (nodes.get(place, "") for place, _ in conductor.ends)
        if first and last and {first, last} != set(found):
            message = "routes that do not lead from one end of the wire to the other"
            self.notes.add(message, "check where the connectors sit", conductor.where, name)
        turned = found[0] != found[1] and (first == found[1] or last == found[0])
        return replace(route, segments=route.segments[::-1]) if turned else route

    def _branches(self, ids: Mapping[str, str]) -> Iterator[Branch]:
        """Yield a branch for each segment that ends at a connector, and for each connector that no segment meets.

        ``ids`` are the circuits' by the key of their conductor.
        """
        if not self.segments:
            return
        for key, ends in self.ending.items():
            yield from self._segment_branches(self.segments[key], ends, ids)
        met = {place.key for ends in self.ending.values() for place in ends}
        taken = {self.segment_names[key] for key in self.ending}
        for place in self.places:
            if place.kind not in NO_SLEEVE and place.key not in met and place.key in self.reached:
                name = self.names[place.key]
                name = f"{name} end" if name in taken else name
                yield Branch(name, ends=(self._end(place),), where=place.where, settings=self.settings)

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
        for key, segment in self.segments.items():
            ends = {place for c in self.through.get(key, ()) for place, _ in c.ends}
            nodes = dict.fromkeys((segment.start, segment.end))
            if here := [place for node in nodes for place in at.get(node, ()) if place.key in ends]:
                found[key] = here
        return found

    def _segment_branches(self, segment: Segment, places: Sequence[Place], ids: Mapping[str, str]) -> Iterator[Branch]:
        """Yield one branch; several where connectors share a node, each with its own wires."""
        name, wires = self.segment_names[segment.key], self.through[segment.key]
        nodes = Counter(place.node for place in places)
        alone = tuple(place for place in places if nodes[place.node] == 1)
        if alone:
            yield self._branch(segment, name, alone, wires, ids)
        for place in (place for place in places if nodes[place.node] > 1):
            own = [c for c in wires if place.key in (p for p, _ in c.ends)]
            yield self._branch(segment, f"{name} {self.names[place.key]}", (place,), own, ids)

    def _branch(
        self,
        segment: Segment,
        name: str,
        places: tuple[Place, ...],
        wires: Sequence[Conductor],
        ids: Mapping[str, str],
    ) -> Branch:
        things = self.export.things if self.settings.covering == "none" else ()  # what was set wins
        coverings = self.given.catalogue.coverings
        lying = {place: found for place in places if (found := covering_at(segment, place, things, coverings))}
        for place, (covering, thing) in lying.items():
            said = f"{thing.what} at {self.names[place.key]} as {covering}"
            message = "coverings taken by their names from the table of coverings"
            fix = "measure covering_wall_mm where it matters; labeler list coverings lists them"
            self.notes.add(message, fix, segment.where, said)
            self.taken.add((thing.key, segment.key))
        return Branch(
            id=name,
            circuits=tuple(dict.fromkeys(ids[c.key] for c in wires)),
            ends=tuple(self._end(place, lying[place][0] if place in lying else "none") for place in places),
            bundle_diameter_mm=self._diameter(segment, name, wires),
            length_mm=segment.length_mm,
            where=segment.where,
            settings=self._covered(next((covering for covering, _ in lying.values()), "none")),
        )

    def _end(self, place: Place, covering: str = "none") -> BranchEnd:
        text = place.label if self.wanted.use_label_texts and place.label else self.names[place.key]
        return BranchEnd(self.names[place.key], (text,), where=place.where, settings=self._covered(covering))

    def _covered(self, covering: str) -> Settings:
        """Return the settings under a covering, the harness's own where there is none; a wall that was set stays."""
        if covering in ("none", self.settings.covering):
            return self.settings
        return replace(self.settings, covering=covering)

    def _diameter(self, segment: Segment, name: str, wires: Sequence[Conductor]) -> float | None:
        """Return the bundle's diameter by the segment's area: measured, asked for, or where the wires do not tell."""
        if segment.area_mm2 is None:
            if self.wanted.diameter_from == "area":
                fix = "leave out --diameter-from area, or measure them"
                self.notes.add("branches without an area; their wires are taken", fix, segment.where, name)
            return None
        unknown = [c for c in wires if not c.size and not c.od_mm]
        if segment.area_kind != "measured" and self.wanted.diameter_from != "area" and not unknown:
            return None
        why = segment.area_kind or "stated"
        message = f"diameters taken from the segment's {why} area, as of a circle"
        self.notes.add(message, "measure bundle_diameter_mm where it matters", segment.where, name)
        return _across(segment.area_mm2)


def _across(area_mm2: float) -> float:
    """Return the diameter of a circle, mm."""
    return round(sqrt(4 * area_mm2 / pi), 3)
