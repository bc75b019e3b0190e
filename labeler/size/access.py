"""The way on: from which end of a branch a sleeve or covering can be threaded, and what it must pass there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem
from labeler.harness import connectors_of
from labeler.model import Branch, BranchEnd, Connector, Harness

THREADED = ("sleeve", "insert")  # kinds of marker that go on from an end; others from the side
ONE, SEVERAL = "the contact at {} is crimped", "the contacts at {} are crimped"


@dataclass(frozen=True, slots=True)
class Entry:
    """One end of a branch as a way on.

    ``obstacle`` and ``obstacle_mm`` are what must be passed there (``""`` and 0: nothing but the
    bundle); ``before`` is the step that would shut the way (``""``: none, it is shut as far as it
    ever will be); ``in_time`` is how to spare a sleeve the obstacle.
    """

    end: BranchEnd
    obstacle: str
    obstacle_mm: float
    before: str
    in_time: str = ""


def entries(
    who: str,
    ends: tuple[BranchEnd, ...],
    harness: Harness,
    crimped_mm: Callable[[Connector], float],
    crimping: str = SEVERAL,
) -> tuple[Entry, ...]:
    """Return the ways on of a branch, or of a single wire: an entry for each end but where branches meet.

    ``who`` is named where something is asked for. ``crimped_mm`` gives what must be passed at a
    connector whose contacts are crimped; ``crimping`` is that step. An end whose obstacle is not
    known is left out while another end is open, or has only its contacts on.

    Raises `LabelerError` asking for the sizes that decide the way.
    """
    found: list[Entry] = []
    problems: list[Problem] = []
    for end in ends:
        connector = connectors_of(harness).get(end.at) or Connector(end.at, where=end.where)
        if connector.kind == "junction":
            continue
        try:
            found.append(_entry(who, end, connector, crimped_mm, crimping))
        except LabelerError as error:
            problems += error.problems
    if problems and not any(way.before or not way.obstacle for way in found):
        raise LabelerError(*problems)
    return tuple(found)


def _entry(
    who: str, end: BranchEnd, connector: Connector, crimped_mm: Callable[[Connector], float], crimping: str
) -> Entry:
    name = connector.id
    shutting = _shutting_step(connector, crimping)
    if connector.kind == "loose end":
        return Entry(end, "", 0.0, shutting)
    if end.fitted or (end.crimped and connector.kind != "connector"):
        if not connector.outside_mm:
            text = f"{who}: {name} is fitted, and its size is not known"
            raise LabelerError(Problem(end.where, text, f"give outside_mm of {connector.kind} {name}"))
        housed = connector.kind == "connector"
        undone = f"connector {name} is fitted, or take it off" if housed else shutting
        what = f"{connector.kind} {name}, {connector.outside_mm:g} mm"
        return Entry(end, what, connector.outside_mm, "", f"thread it on before {undone}")
    if end.crimped:
        width = crimped_mm(connector)
        what = f"{'contact' if crimping == ONE else 'contacts'} crimped at {name}, {width:.1f} mm"
        return Entry(end, what, width, f"connector {name} is fitted", f"thread it on before {shutting}")
    return Entry(end, "", 0.0, shutting)


def _shutting_step(connector: Connector, crimping: str) -> str:
    return {
        "ring terminal": f"the terminal {connector.id} is crimped",
        "splice": f"the splice {connector.id} is made",
        "loose end": "",
    }.get(connector.kind, crimping.format(connector.id))


def way_on(end: BranchEnd | None, ways: tuple[Entry, ...], over_mm: Callable[[Entry], float]) -> Entry | None:
    """Return the way on for what belongs at an end (None: along the branch).

    An open end before one that is done; of those that are done the smallest obstacle, counted only as
    far as it exceeds ``over_mm``, what the wires themselves make it pass; of equal ones its own end.
    None where every end is where branches meet.
    """

    def effort(way: Entry) -> tuple[bool, float, bool]:
        return bool(way.obstacle), max(over_mm(way), way.obstacle_mm), end is None or way.end.at != end.at

    return min(ways, key=effort, default=None)


def instruction(way: Entry, end: BranchEnd | None) -> str:
    """Return how to thread on something that belongs at an end (None: along the branch), for people."""
    name = way.end.at
    own = end is not None and name == end.at
    if way.obstacle:
        how = f"pass over the {way.obstacle}" + ("" if own else f", from {name}")
    else:
        how = f"thread on {'at' if own else 'from'} {name}"
    if way.before:
        step = way.before
        for contacts in ("contacts", "contact"):
            step = step.replace(f"the {contacts} at {name} ", f"{'the' if own else 'its'} {contacts} ")
        how += f"{',' if way.obstacle else ''} before {step}"
    shut = end is not None and not own and (end.fitted or end.crimped)
    return f"{how}; {end.at} is done already" if shut and end else how


def joining(branch: Branch) -> str:
    """Return the step before which all must lie on a branch that has no end to thread from."""
    return f"the branches are joined at {' and '.join(end.at for end in branch.ends)}"


def laid_on(branch: Branch) -> str:
    """Return how a sleeve or covering comes onto a branch that has no end to thread from, for people."""
    return f"nothing can be threaded from where branches meet: lay it on before {joining(branch)}"
