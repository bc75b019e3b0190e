"""What goes into which cavity: the wire ends of a connector."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from labeler.harness import HarnessIndex
from labeler.model import Circuit, Connector, Fit


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


def connectors_referred_to(index: HarnessIndex, fits: Sequence[Fit]) -> tuple[WireEnds, ...]:
    """Return the wire ends of the connectors whose tags refer to the bench sheet, in harness order."""
    bags = [index.bags[f.marker.text[0]] for f in fits if f.on_bench_sheet]
    wanted = {name for bag in bags for name in index.connectors_of(bag)}
    return wire_ends_at([c for c in index.every_connector if c.id in wanted], index.harness.circuits, fits, index)


def ends_in_no_branch(index: HarnessIndex, fits: Iterable[Fit]) -> tuple[WireEnds, ...]:
    """Return the wire ends of the circuits that run through no branch, so that no page of a branch lists them."""
    listed = {circuit.id for circuits in index.through.values() for circuit in circuits}
    unlisted = [circuit for circuit in index.harness.circuits if circuit.id not in listed]
    return wire_ends_at(index.every_connector, unlisted, fits, index)


def wire_ends_at(
    connectors: Sequence[Connector], circuits: Iterable[Circuit], fits: Iterable[Fit], index: HarnessIndex
) -> tuple[WireEnds, ...]:
    """Return the ends of some circuits at some connectors, by cavity; a connector without is left out."""
    markers = {
        (f.marker.circuit, f.marker.place): f.lines or f.marker.text for f in fits if f.marker.role == "wire end"
    }
    inside = {circuit.id for circuit in circuits}
    found = {
        connector: [
            WireEnd(
                end.pin.cavity,
                end.circuit.id,
                end.circuit.colour,
                end.circuit.size,
                end.circuit.signal,
                str(end.far),
                markers.get((end.circuit.id, str(end.pin)), ()),
            )
            for end in sorted(index.circuit_ends(connector.id), key=lambda end: end.pin.order)
            if end.circuit.id in inside
        ]
        for connector in connectors
    }
    return tuple(WireEnds(connector.id, about(connector), tuple(ends)) for connector, ends in found.items() if ends)


def about(connector: Connector) -> str:
    """Return what a connector is, for people."""
    number = connector.cavities
    cavities = "1 cavity" if number == 1 else f"{number} cavities" if number else ""
    kind = connector.kind if connector.kind != "connector" else ""
    return ", ".join(filter(None, (connector.description, kind, cavities)))
