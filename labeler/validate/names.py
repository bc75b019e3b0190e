"""Names of a harness: ids that stand twice, and names that nobody knows."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

from labeler.errors import Problem, Where, nearest
from labeler.model import Harness

_LOOSE = re.compile(r"[\s_-]")
_BEFORE_NUMBER = re.compile(r"(?<=[^\W\d_])[_-]+(?=\d)")  # a hyphen between a letter and a number
SUGGESTIONS = 20  # names a near one is looked for; project choice, it takes a millisecond each


class Names:
    """The ids that a harness knows, and the nearest of them to one that it does not."""

    def __init__(self, harness: Harness) -> None:
        self.connectors = {connector.id: connector for connector in harness.connectors}
        self.circuits = {circuit.id: circuit for circuit in harness.circuits}
        self.cables = {cable.id: cable for cable in harness.cables}
        self.branches = {branch.id: branch for branch in harness.branches}
        self.near: dict[tuple[str, str], str] = {}

    def unknown(self, what: str, name: str, where: Where, holder: str) -> Problem:
        """Return the problem of a name that stands for nothing."""
        tables: dict[str, Mapping[str, object]] = {
            "connector": self.connectors,
            "circuit": self.circuits,
            "cable": self.cables,
            "branch": self.branches,
        }
        if (what, name) not in self.near:
            few = len(self.near) < SUGGESTIONS
            self.near[what, name] = nearest(name, tables[what]) if few else ""
        near = self.near[what, name]
        fix = f"did you mean {near!r}?" if near else f"add a [[{what}]] with this id, or correct the name"
        return Problem(where, f"{holder}: {what} {name!r} is unknown", fix)


class Named(Protocol):
    """What has an id, and stands somewhere in a file."""

    @property
    def id(self) -> str:
        """Return its id."""
        ...

    @property
    def where(self) -> Where:
        """Return where it stands."""
        ...


def repeated_ids(harness: Harness) -> Iterator[Problem]:
    """Yield every id that stands twice, with both places."""
    yield from _repeated("circuit", harness.circuits)
    yield from _repeated("connector", harness.connectors)
    yield from _repeated("cable", harness.cables)
    yield from _repeated("branch", harness.branches)
    yield from _repeated("bag", harness.bags)


def _repeated(what: str, things: Sequence[Named]) -> Iterator[Problem]:
    """Yield ids that stand twice, and warn of those that are read for one another."""
    if len({_alike(thing.id) for thing in things}) == len(things):
        return
    first: dict[str, Named] = {}
    for thing in things:
        other = first.setdefault(_alike(thing.id), thing)
        if other is thing:
            continue
        if other.id == thing.id:
            message = f"{what} {thing.id} stands already at {other.where}"
            yield Problem(thing.where, message, "give each one its own id")
        else:
            only = "capitals" if thing.id.casefold() == other.id.casefold() else "capitals, blanks and hyphens"
            message = f"{what} {thing.id} differs from {other.id} at {other.where} only in {only}"
            yield Problem(thing.where, message, "check that two are meant", warning=True)


def _alike(name: str) -> str:
    """Return a name without what is easily written otherwise: ``J 1`` and ``j-1`` as ``j1``, but not ``J1-1``."""
    folded = name.casefold()
    if not _LOOSE.search(folded):
        return folded
    return _BEFORE_NUMBER.sub("", "".join(folded.split()))


def connectors(harness: Harness) -> Iterator[Problem]:
    """Yield connectors whose measures contradict one another."""
    for connector in harness.connectors:
        contact, outside = connector.contact_outside_mm, connector.outside_mm
        if contact is not None and outside is not None and contact > outside:
            message = f"{connector.id}: contact {contact:g} mm is wider than the connector, {outside:g} mm"
            yield Problem(connector.where, message, "exchange contact_outside_mm and outside_mm?")


def listed(things: Sequence[Named]) -> str:
    """Return the first ids, and how many more: ``W101, W102, W103 and 7 more``."""
    shown = ", ".join(thing.id for thing in things[:3])
    return shown if len(things) <= 3 else f"{shown} and {len(things) - 3} more"
