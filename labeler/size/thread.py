"""The way on: from which end of a branch a sleeve or covering can be threaded, and what it must pass there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem
from labeler.model import Branch, BranchEnd, Connector, Harness


@dataclass(frozen=True, slots=True)
class Entry:
    """One end of a branch as a way on.

    ``obstacle`` and ``obstacle_mm`` are what must be passed there (``""`` and 0: nothing but the
    bundle); ``before`` is the step that would shut the way (``""``: none, it is shut as far as it
    ever will be).
    """

    end: BranchEnd
    obstacle: str
    obstacle_mm: float
    before: str


def entries(branch: Branch, harness: Harness, crimped_mm: Callable[[Connector], float]) -> tuple[Entry, ...]:
    """Return the ways on of a branch, an entry for each end but where branches meet.

    ``crimped_mm`` gives what must be passed at a connector whose contacts are crimped. An end whose
    obstacle is not known is left out while another end will do.

    Raises `LabelerError` asking for the sizes where no end is left.
    """
    found: list[Entry] = []
    problems: list[Problem] = []
    for end in branch.ends:
        named = (c for c in harness.connectors if c.id == end.at)
        connector = next(named, Connector(end.at, where=end.where))
        if connector.kind == "junction":
            continue
        try:
            found.append(_entry(branch, end, connector, crimped_mm))
        except LabelerError as error:
            problems += error.problems
    if not found and problems:
        raise LabelerError(*problems)
    return tuple(found)


def _entry(branch: Branch, end: BranchEnd, connector: Connector, crimped_mm: Callable[[Connector], float]) -> Entry:
    name = connector.id
    if end.fitted or (end.crimped and connector.kind != "connector"):
        if not connector.outside_mm:
            text = f"branch {branch.id}: {name} is fitted, and its size is not known"
            raise LabelerError(Problem(end.where, text, f"give outside_mm of {connector.kind} {name}"))
        return Entry(end, f"{connector.kind} {name}, {connector.outside_mm:g} mm", connector.outside_mm, "")
    if end.crimped:
        width = crimped_mm(connector)
        return Entry(end, f"contacts crimped at {name}, {width:.1f} mm", width, f"connector {name} is fitted")
    return Entry(end, "", 0.0, _shutting_step(connector))


def _shutting_step(connector: Connector) -> str:
    return {
        "ring terminal": f"the terminal {connector.id} is crimped",
        "splice": f"the splice {connector.id} is made",
        "loose end": "",
    }.get(connector.kind, f"the contacts at {connector.id} are crimped")


def way_on(end: BranchEnd, ways: tuple[Entry, ...]) -> Entry | None:
    """Return the way on for what belongs at an end: the smallest obstacle, of equal ones its own end.

    None where every end is where branches meet.
    """
    return min(ways, key=lambda way: (way.obstacle_mm, way.end is not end), default=None)


def instruction(way: Entry, end: BranchEnd | None) -> str:
    """Return how to thread on something that belongs at an end (None: along the branch), for people."""
    name = way.end.at
    own = end is not None and name == end.at
    if way.obstacle:
        how = f"pass over the {way.obstacle}" + ("" if own else f", from {name}")
    else:
        how = f"thread on {'at' if own else 'from'} {name}"
    if way.before:
        how += f" before {way.before.replace(f' at {name}', '') if own else way.before}"
    shut = end is not None and not own and (end.fitted or end.crimped)
    return f"{how}; {end.at} is done already" if shut and end else how
