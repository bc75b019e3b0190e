"""One index of a harness, built once: branches, their circuits, and what is terminated where.

A splice at which no branch ends lies somewhere on one: what comes to it goes on through it, so more
wires may leave one end of a branch than the other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem
from labeler.model import Bag, Branch, BranchEnd, Circuit, Connector, Harness, Marker, Pin


@dataclass(frozen=True, slots=True)
class CircuitEnd:
    """One end of a circuit: its place there, and that of the other end."""

    pin: Pin
    circuit: Circuit
    far: Pin


@dataclass(frozen=True, slots=True, eq=False)
class HarnessIndex:
    """What the stages ask of a harness; made by `index`.

    ``branches`` and ``bags`` are those of the file, or, where it names none, one for every connector
    with circuits. ``connectors`` are those that the file describes, ``every_connector`` also those that
    only circuits name. ``terminated`` are the ends of wires, by circuit and connector, that bear their
    contact or whose connector is on.
    """

    harness: Harness
    circuits: Mapping[str, Circuit]
    connectors: Mapping[str, Connector]
    every_connector: tuple[Connector, ...]
    branches: tuple[Branch, ...]
    bags: Mapping[str, Bag]
    ends: Mapping[tuple[str, str], tuple[Branch, BranchEnd]]  # by branch and connector
    through: Mapping[str, tuple[Circuit, ...]]  # by branch: the circuits that run through it
    reaching: Mapping[str, tuple[Circuit, ...]]  # by connector: the circuits with an end there
    inner_splices: frozenset[str]  # at which no branch ends
    jackets: Mapping[str, float]  # by cable: its outside diameter [mm] where that is known
    terminated: Mapping[tuple[str, str], BranchEnd]

    def connector(self, name: str) -> Connector:
        """Return a connector; one that the file does not describe has nothing but a name."""
        return self.connectors.get(name) or Connector(name)

    def circuits_at(self, branch: Branch, end: BranchEnd) -> tuple[Circuit, ...]:
        """Return those circuits of a branch that lie at one of its ends.

        Of a branch with up to two ends those that end there; all, where the branch names its circuits,
        and where branches meet. Of a branch with more ends those that end there; where branches meet,
        those that leave it. Raises `LabelerError` where that cannot be told.
        """
        through, ends = self.through[branch.id], {each.at for each in branch.ends}
        kinds = {name: self.connectors[name].kind for name in ends if name in self.connectors}
        kind = kinds.get(end.at, "connector")
        own = tuple(circuit for circuit in through if end.at in _ends_of(circuit))
        if len(branch.ends) < 3:
            return through if branch.circuits or not own or kind == "breakout" else own
        if own and kind not in ("splice", "breakout"):
            return own
        leaving = tuple(c for c in through if len(ends.intersection(_ends_of(c))) < 2)
        if kind == "breakout" and list(kinds.values()).count("breakout") == 1 and leaving:
            return leaving
        count = len(branch.ends)
        text = f"branch {branch.id} has {count} ends, and which of its circuits lie at {end.at} cannot be told"
        fix = "split it there, or where its limbs meet: a [[branch]] for each, up to a [[breakout]]"
        raise LabelerError(Problem(end.where, text, fix))

    def circuit_ends(self, connector: str) -> Iterator[CircuitEnd]:
        """Yield the ends of circuits that meet at a connector, a splice or a terminal, from all branches."""
        for circuit in self.reaching.get(connector, ()):
            for near, far in ((circuit.start, circuit.finish), (circuit.finish, circuit.start)):
                if near.connector == connector:
                    yield CircuitEnd(near, circuit, far)

    def connector_at(self, marker: Marker) -> str:
        """Return the connector that a wire marker stands at, ``""`` for one in between."""
        circuit = self.circuits[marker.circuit]
        return next((pin.connector for pin in (circuit.start, circuit.finish) if str(pin) == marker.place), "")

    def connectors_of(self, bag: Bag) -> tuple[str, ...]:
        """Return the connectors that a bag is for: its own, or where its branch ends."""
        if bag.connector or not bag.branch:
            return (bag.connector,) if bag.connector else ()
        return tuple(dict.fromkeys(at for branch, at in self.ends if branch == bag.branch))


def index(harness: Harness) -> HarnessIndex:
    """Return the index of a harness."""
    connectors = {connector.id: connector for connector in harness.connectors}
    reaching: dict[str, list[int]] = {}
    for place, circuit in enumerate(harness.circuits):
        for name in dict.fromkeys(_ends_of(circuit)):
            reaching.setdefault(name, []).append(place)
    every = (*harness.connectors, *(Connector(name) for name in reaching if name not in connectors))
    held = {c.id: c for c in every if c.id in reaching and c.kind not in ("splice", "breakout")}
    base, here = harness.settings, harness.where
    branches = harness.branches or tuple(
        Branch(name, ends=(BranchEnd(name, (name,), where=here, settings=base),), where=here, settings=base)
        for name in reaching
        if name in held
    )
    own = (Bag(name, connector=name, where=each.where, settings=base) for name, each in held.items())
    bags = harness.bags or tuple(own)
    at = {end.at for branch in harness.branches for end in branch.ends}
    splices = frozenset(c.id for c in harness.connectors if c.kind == "splice" and c.id not in at)
    through = _through(harness, branches, reaching, splices)
    return HarnessIndex(
        harness=harness,
        circuits={circuit.id: circuit for circuit in harness.circuits},
        connectors=connectors,
        every_connector=every,
        branches=branches,
        bags={bag.id: bag for bag in bags},
        ends={(branch.id, end.at): (branch, end) for branch in branches for end in branch.ends},
        through=through,
        reaching={name: tuple(harness.circuits[place] for place in places) for name, places in reaching.items()},
        inner_splices=splices,
        jackets={cable.id: cable.od_mm for cable in harness.cables if cable.od_mm},
        terminated=_terminated(harness, branches, through),
    )


def _ends_of(circuit: Circuit) -> tuple[str, str]:
    return circuit.start.connector, circuit.finish.connector


def _through(
    harness: Harness, branches: Iterable[Branch], reaching: Mapping[str, Sequence[int]], splices: frozenset[str]
) -> dict[str, tuple[Circuit, ...]]:
    """Return the circuits that run through each branch: those it names, or all that its ends tell.

    With two or more ends that are connectors, what joins two of them runs through, directly or by
    inner splices. With one end, or with ends where branches meet, every circuit at its connectors
    does, less those that another branch joins from connector to connector, where others are left.
    """
    circuits = harness.circuits
    breakouts = {c.id for c in harness.connectors if c.kind == "breakout"}
    nets = _nets(circuits, splices, reaching)
    places = {circuit.id: place for place, circuit in enumerate(circuits)}
    found: dict[str, set[int]] = {}
    to_breakout: dict[str, set[int]] = {}
    for branch in branches:
        ends = {end.at for end in branch.ends}
        named = ends - breakouts
        if branch.circuits:
            found[branch.id] = {places[name] for name in branch.circuits if name in places}
        elif len(named) > 1 and named == ends:
            reached = Counter(place for name in named for place in reaching.get(name, ()))
            joined = {place for place, times in reached.items() if times > 1}
            found[branch.id] = joined.union(*(_joining(net, circuits, named) for net in nets))
        else:
            found[branch.id] = {place for name in named for place in reaching.get(name, ())}
            if named != ends:
                to_breakout[branch.id] = found[branch.id]
    if to_breakout:
        between = (found[b.id] for b in harness.branches if b.id not in to_breakout and len(b.ends) > 1)
        direct = {place for places_there in between for place in places_there}
        found |= {name: reached - direct or reached for name, reached in to_breakout.items()}
    return {name: tuple(circuits[place] for place in sorted(found[name])) for name in found}


_Net = tuple[frozenset[str], frozenset[int]]  # inner splices that circuits connect, and the places of those circuits


def _nets(circuits: Sequence[Circuit], splices: frozenset[str], reaching: Mapping[str, Sequence[int]]) -> list[_Net]:
    """Return what inner splices connect to one another."""
    nets: list[_Net] = []
    left = {name for name in splices if name in reaching}
    while left:
        names, beside = set[str](), {left.pop()}
        while beside:
            name = beside.pop()
            names.add(name)
            beside |= {end for place in reaching[name] for end in _ends_of(circuits[place]) if end in left}
            left -= beside
        nets.append((frozenset(names), frozenset(place for name in names for place in reaching[name])))
    return nets


def _joining(net: _Net, circuits: Sequence[Circuit], ends: set[str]) -> set[int]:
    """Return the circuits of a net on the way from one of the ends to another; none leads there: none."""
    splices, places = set(net[0]), set(net[1])
    while True:
        places = {p for p in places if all(name in ends or name in splices for name in _ends_of(circuits[p]))}
        beside: dict[str, set[str]] = {name: set() for name in splices}
        for one, two in (_ends_of(circuits[p]) for p in places):
            beside.setdefault(one, set()).add(two)
            beside.setdefault(two, set()).add(one)
        blind = {name for name in splices if len(beside[name] - {name}) < 2}
        if not blind:
            return places if len(ends & beside.keys()) > 1 else set()
        splices -= blind


def _terminated(
    harness: Harness, branches: Iterable[Branch], through: Mapping[str, tuple[Circuit, ...]]
) -> dict[tuple[str, str], BranchEnd]:
    """Return the ends of wires that are terminated: a connector that is installed holds all its wires, contacts
    that are crimped are those of the branch's own circuits."""
    found: dict[tuple[str, str], BranchEnd] = {}
    for branch in branches:
        for end in branch.ends:
            circuits = (
                harness.circuits if end.connector_installed else through[branch.id] if end.contacts_crimped else ()
            )
            for circuit in circuits:
                if end.at in _ends_of(circuit):
                    known = found.get((circuit.id, end.at))
                    found[circuit.id, end.at] = known if known and known.connector_installed else end
    return found
