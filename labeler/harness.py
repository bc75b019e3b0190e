"""Branches: which circuits run through each of them, and which of those reach each of its ends.

A splice at which no branch ends lies somewhere on one: what comes to it goes on through it, so more
wires may leave one end of a branch than the other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import wraps
from typing import TypeVar

from labeler.errors import LabelerError, Problem
from labeler.model import Branch, BranchEnd, Circuit, Connector, Harness

Answer = TypeVar("Answer")


def _once_a_harness(work: Callable[[Harness], Answer]) -> Callable[[Harness], Answer]:
    """Keep the answer for the harness that was asked about last: several stages ask about one and the same."""
    last: list[tuple[Harness, Answer]] = []

    @wraps(work)
    def asked(harness: Harness) -> Answer:
        if not last or last[0][0] is not harness:
            last[:] = [(harness, work(harness))]
        return last[0][1]

    return asked


@_once_a_harness
def connectors_of(harness: Harness) -> Mapping[str, Connector]:
    """Return the connectors that the file describes, by id."""
    return {connector.id: connector for connector in harness.connectors}


@_once_a_harness
def kinds_of(harness: Harness) -> Mapping[str, str]:
    """Return the kinds of the connectors that the file describes, by id."""
    return {connector.id: connector.kind for connector in harness.connectors}


@_once_a_harness
def branches_of(harness: Harness) -> tuple[Branch, ...]:
    """Return the branches, or, where the file names none, one for every connector with circuits."""
    if harness.branches:
        return harness.branches
    reached = dict.fromkeys(pin.connector for c in harness.circuits for pin in (c.start, c.finish))
    kinds, at, own = kinds_of(harness), harness.where, harness.settings
    return tuple(
        Branch(name, ends=(BranchEnd(name, (name,), where=at, settings=own),), where=at, settings=own)
        for name in reached
        if kinds.get(name, "connector") not in ("splice", "junction")
    )


@_once_a_harness
def inner_splices(harness: Harness) -> frozenset[str]:
    """Return the splices at which no branch ends."""
    at = {end.at for branch in harness.branches for end in branch.ends}
    return frozenset(c.id for c in harness.connectors if c.kind == "splice" and c.id not in at)


@_once_a_harness
def circuits_by_branch(harness: Harness) -> dict[str, tuple[Circuit, ...]]:
    """Return the circuits that run through each branch: those it names, or all that its ends tell.

    With two or more ends that are connectors, what joins two of them runs through, directly or by
    inner splices. With one end, or with ends where branches meet, every circuit at its connectors
    does, less those that another branch joins from connector to connector, where others are left.
    """
    places = {circuit.id: place for place, circuit in enumerate(harness.circuits)}
    at: dict[str, list[int]] = {}
    for place, circuit in enumerate(harness.circuits):
        for name in dict.fromkeys(_ends_of(circuit)):
            at.setdefault(name, []).append(place)
    junctions = {c.id for c in harness.connectors if c.kind == "junction"}
    nets = _nets(harness.circuits, inner_splices(harness))
    found: dict[str, set[int]] = {}
    to_junction: dict[str, set[int]] = {}
    for branch in branches_of(harness):
        ends = {end.at for end in branch.ends}
        named = ends - junctions
        if branch.circuits:
            found[branch.id] = {places[name] for name in branch.circuits if name in places}
        elif len(named) > 1 and named == ends:
            reached = Counter(place for name in named for place in at.get(name, ()))
            joined = {place for place, times in reached.items() if times > 1}
            found[branch.id] = joined.union(*(_joining(net, harness.circuits, named) for net in nets))
        else:
            found[branch.id] = {place for name in named for place in at.get(name, ())}
            if named != ends:
                to_junction[branch.id] = found[branch.id]
    if to_junction:
        between = (found[b.id] for b in harness.branches if b.id not in to_junction and len(b.ends) > 1)
        direct = {place for places_there in between for place in places_there}
        found |= {name: reached - direct or reached for name, reached in to_junction.items()}
    return {name: tuple(harness.circuits[place] for place in sorted(found[name])) for name in found}


def _ends_of(circuit: Circuit) -> tuple[str, str]:
    return circuit.start.connector, circuit.finish.connector


_Net = tuple[frozenset[str], tuple[int, ...]]  # inner splices that circuits connect, and those circuits


def _nets(circuits: Iterable[Circuit], splices: frozenset[str]) -> list[_Net]:
    """Return what inner splices connect to one another, with the places of the circuits there."""
    if not splices:
        return []
    net_of: dict[str, tuple[set[str], list[int]]] = {}
    for place, circuit in enumerate(circuits):
        for name in dict.fromkeys(name for name in _ends_of(circuit) if name in splices):
            own = net_of.setdefault(name, ({name}, []))
            other = next((net_of[end] for end in _ends_of(circuit) if end in net_of and net_of[end] is not own), None)
            if other:
                own[0].update(other[0])
                own[1].extend(other[1])
                net_of.update(dict.fromkeys(own[0], own))
            own[1].append(place)
    different = {id(net): net for net in net_of.values()}.values()
    return [(frozenset(names), tuple(sorted(set(places)))) for names, places in different]


def _joining(net: _Net, circuits: tuple[Circuit, ...], ends: set[str]) -> set[int]:
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


def circuits_at(
    branch: Branch, end: BranchEnd, circuits: tuple[Circuit, ...], kinds: Mapping[str, str]
) -> tuple[Circuit, ...]:
    """Return those of a branch's ``circuits`` that lie at one of its ends; ``kinds`` of connectors by id.

    Of a branch with up to two ends those that end there; all, where the branch names its circuits,
    and where branches meet. Of a branch with more ends those that end there; where branches meet,
    those that leave it. Raises `LabelerError` where that cannot be told.
    """
    kind = kinds.get(end.at, "connector")
    own = tuple(circuit for circuit in circuits if end.at in _ends_of(circuit))
    if len(branch.ends) < 3:
        return circuits if branch.circuits or not own or kind == "junction" else own
    if own and kind not in ("splice", "junction"):
        return own
    ends = {each.at for each in branch.ends}
    leaving = tuple(c for c in circuits if len(ends.intersection(_ends_of(c))) < 2)
    alone = sum(kinds.get(name) == "junction" for name in ends) == 1
    if kind == "junction" and alone and leaving:
        return leaving
    text = f"branch {branch.id} has {len(branch.ends)} ends, and which of its circuits lie at {end.at} cannot be told"
    fix = 'split it there, or where its limbs meet: a [[branch]] for each, up to a connector of kind = "junction"'
    raise LabelerError(Problem(end.where, text, fix))
