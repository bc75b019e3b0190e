"""What goes into which cavity: the wire ends of a connector."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from labeler.model import Circuit, Connector, Fit, Harness, Pin


@dataclass(frozen=True, slots=True)
class WireEnd:
    """One end of a circuit at a connector; ``marker`` is what its marker says, line by line."""

    cavity: str
    circuit: str
    colour: str
    size: str
    signal: str
    to: str
    marker: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WireEnds:
    """A connector, and its wire ends by cavity."""

    connector: str
    about: str
    ends: tuple[WireEnd, ...]


def connectors_referred_to(harness: Harness, fits: Iterable[Fit]) -> tuple[WireEnds, ...]:
    """Return the wire ends of the connectors whose tags refer to the bench sheet, in harness order."""
    fits = tuple(fits)
    wanted = {name for f in fits if f.on_bench_sheet for name in f.marker.far.split(", ")}
    return wire_ends_at([each for each in _in_order(harness) if each.id in wanted], harness.circuits, fits)


def ends_in_no_branch(
    harness: Harness, through: Mapping[str, Iterable[Circuit]], fits: Iterable[Fit]
) -> tuple[WireEnds, ...]:
    """Return the wire ends of the circuits that run through no branch, so that no page of a branch lists them."""
    listed = {circuit.id for circuits in through.values() for circuit in circuits}
    return wire_ends_at(_in_order(harness), [c for c in harness.circuits if c.id not in listed], fits)


def _in_order(harness: Harness) -> list[Connector]:
    found = dict.fromkeys(pin.connector for circuit in harness.circuits for pin in (circuit.start, circuit.finish))
    known = {connector.id: connector for connector in harness.connectors}
    return [*known.values(), *(Connector(name) for name in found if name not in known)]


def wire_ends_at(
    connectors: Sequence[Connector], circuits: Iterable[Circuit], fits: Iterable[Fit]
) -> tuple[WireEnds, ...]:
    """Return the ends of some circuits at some connectors, by cavity; a connector without is left out."""
    markers = {(f.marker.circuit, f.marker.at): f.lines or f.marker.text for f in fits if f.marker.role == "wire end"}
    found: dict[str, list[WireEnd]] = {connector.id: [] for connector in connectors}
    for circuit in circuits:
        for near, far in ((circuit.start, circuit.finish), (circuit.finish, circuit.start)):
            if near.connector in found:
                end = _wire_end(circuit, near, far, markers.get((circuit.id, str(near)), ()))
                found[near.connector].append(end)
    return tuple(
        WireEnds(connector.id, about(connector), tuple(sorted(found[connector.id], key=_by_cavity)))
        for connector in connectors
        if found[connector.id]
    )


def _wire_end(circuit: Circuit, near: Pin, far: Pin, marker: tuple[str, ...]) -> WireEnd:
    return WireEnd(near.cavity, circuit.id, circuit.colour, circuit.size, circuit.signal, str(far), marker)


def about(connector: Connector) -> str:
    """Return what a connector is, for people."""
    number = connector.cavities
    cavities = "1 cavity" if number == 1 else f"{number} cavities" if number else ""
    kind = connector.kind if connector.kind != "connector" else ""
    return ", ".join(filter(None, (connector.description, kind, cavities)))


def _by_cavity(end: WireEnd) -> tuple[bool, int, str]:
    """Return the sort key: numbered cavities by number, named ones after them."""
    numbered = end.cavity.isascii() and end.cavity.isdecimal()
    return not numbered, int(end.cavity) if numbered and len(end.cavity) < 10 else 0, end.cavity
