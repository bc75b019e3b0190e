"""Single wires: their diameter, and what a marker on one meets on its way and in its place."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from labeler.catalogue import Catalogue, with_low_end
from labeler.errors import LabelerError, Problem
from labeler.model import Branch, BranchEnd, Circuit, Connector, Harness, Range, Seat, Settings, WireDiameter
from labeler.size.thread import ONE, THREADED, entries, instruction, way_on

Done = Mapping[tuple[str, str], BranchEnd]
"""By circuit and connector: the ends of wires that bear their contact, or their connector, already."""


def wire_diameter(circuit: Circuit, settings: Settings, catalogue: Catalogue) -> WireDiameter:
    """Return the finished diameter of a circuit's wire: given, or from the table of its insulation.

    Raises `LabelerError` naming the circuit's place where neither is known.
    """
    if circuit.outside_mm:
        return WireDiameter(Range(circuit.outside_mm, circuit.outside_mm), "given in the file")
    if not circuit.size:
        raise LabelerError(
            Problem(
                circuit.where,
                f"circuit {circuit.id}: no size and no outside diameter",
                'give the wire\'s size ("20 AWG", "0.5 mm2") or its measured outside diameter',
            )
        )
    return with_low_end(catalogue.wire_diameter(circuit.wire or settings.wire, circuit.size, circuit.where), settings)


def done_ends(branches: tuple[Branch, ...], through: Mapping[str, tuple[Circuit, ...]], harness: Harness) -> Done:
    """Return the ends of wires that are done: a connector that is fitted holds all its wires, contacts that
    are crimped are those of the branch's own circuits."""
    found: dict[tuple[str, str], BranchEnd] = {}
    for branch in branches:
        for end in branch.ends:
            circuits = harness.circuits if end.fitted else through[branch.id] if end.crimped else ()
            for circuit in circuits:
                if end.at in (circuit.start.connector, circuit.finish.connector):
                    known = found.get((circuit.id, end.at))
                    found[circuit.id, end.at] = known if known and known.fitted else end
    return found


def wire_seat(
    circuit: Circuit,
    harness: Harness,
    catalogue: Catalogue,
    kind: str = "sleeve",
    at: str = "",
    done: Done | None = None,
) -> Seat:
    """Return the diameters that a wire marker of a kind meets: the wire's own, and what a sleeve passes on its way.

    ``at`` is the connector that the marker stands at, "" for one in between. A sleeve goes on at its
    own end, from the other one where its own is done, or over the smaller of what both bear.
    Raises `LabelerError` where a size that decides is not known.
    """
    settings: Settings = circuit.settings or harness.settings  # type: ignore[assignment]
    wire = wire_diameter(circuit, settings, catalogue)
    name = circuit.wire or settings.wire
    sits_on = f"{circuit.size} {name}".strip() if circuit.size else "wire"
    on, sources = wire.range_mm, (wire.source,)
    if kind not in THREADED:
        return Seat(on, on, on, sits_on, "", "", sources)
    names = dict.fromkeys((circuit.start.connector, circuit.finish.connector))
    if not done or not any((circuit.id, each) in done for each in names):
        return Seat(on, on, on, sits_on, "thread on before its contact is crimped", "", sources)
    ends = tuple(done.get((circuit.id, each)) or BranchEnd(each, where=circuit.where) for each in names)
    own = next((end for end in ends if end.at == at), None)
    way = way_on(own, entries(f"circuit {circuit.id}", ends, harness, _contact(circuit), ONE), lambda _: on.high)
    if way is None:
        return Seat(on, on, on, sits_on, "", "", sources)
    most = max(on.high, way.obstacle_mm)
    in_the_way = most > on.high
    return Seat(
        Range(on.low, most),
        on,
        on,
        sits_on,
        instruction(way, own),
        way.obstacle if in_the_way else "",
        sources,
        way.in_time if in_the_way else "",
    )


def _contact(circuit: Circuit) -> Callable[[Connector], float]:
    def width(connector: Connector) -> float:
        if not connector.contact_outside_mm:
            text = f"circuit {circuit.id}: its contact at {connector.id} is crimped, and its size is not known"
            raise LabelerError(Problem(connector.where, text, f"give contact_outside_mm of connector {connector.id}"))
        return connector.contact_outside_mm

    return width
