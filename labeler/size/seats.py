"""Seats: the diameters that a marker meets on its way and in its place."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from labeler.errors import LabelerError, Problem
from labeler.model import (
    BUNDLE,
    CONTACT,
    CRIMP_CONTACT,
    Branch,
    BranchEnd,
    Circuit,
    ClosingStep,
    Connector,
    Installation,
    Obstacle,
    Range,
    Seat,
    SeatSection,
)
from labeler.size.bundles import Sizing, branch_bundle, covering_of, wire_diameter
from labeler.size.installation import access_ends, access_to, best_access_end, installation
from labeler.tables.kinds import SLID_ON


def wire_seat(circuit: Circuit, sizing: Sizing, kind: str = "sleeve", at: str = "") -> Seat:
    """Return the diameters that a wire marker of a kind meets: the wire's own, and what a sleeve passes on its way.

    ``at`` is the connector that the marker stands at, "" for one in between. A sleeve goes on at its
    own end, from the other one where its own is terminated, or over the smaller of what both bear.
    Raises `LabelerError` where a size that decides is not known.
    """
    index = sizing.index
    settings = circuit.settings
    wire = wire_diameter(circuit, settings, sizing.catalogue)
    on = wire.range_mm
    name = f"{circuit.size} {circuit.wire_type or settings.wire_type}".strip() if circuit.size else ""
    way, how = None, None
    if kind in SLID_ON:
        names = dict.fromkeys((circuit.start.connector, circuit.finish.connector))
        plain = (BranchEnd(each, where=circuit.where, settings=settings) for each in names)
        ends = tuple(index.terminated.get((circuit.id, end.at)) or end for end in plain)
        if any((circuit.id, each) in index.terminated for each in names):
            own = next((end for end in ends if end.at == at), None)
            ways = access_ends(f"circuit {circuit.id}", ends, index, partial(_contact, circuit), CONTACT)
            way = best_access_end(own, ways, on.high, on.high)
            how = installation(way, own) if way else None
        else:
            how = Installation(before=ClosingStep(CRIMP_CONTACT))
    obstacle = way.obstacle if way and way.obstacle_mm > on.high else None
    passes = Range(obstacle.diameter_mm, obstacle.diameter_mm) if obstacle else on
    return Seat(passes, on, on, wire=name, basis=wire, installation=how, obstacle=obstacle)


def _contact(circuit: Circuit, _end: BranchEnd, connector: Connector) -> float:
    """Return the width of the contact that a wire bears, mm. Raises `LabelerError` where it is not known."""
    if not connector.contact_width_mm:
        text = f"circuit {circuit.id}: its contact at {connector.id} is crimped, and its size is not known"
        raise LabelerError(Problem(connector.where, text, f"give contact_width_mm of connector {connector.id}"))
    return connector.contact_width_mm


def end_seat(branch: Branch, end: BranchEnd, sizing: Sizing, kind: str = "") -> Seat:
    """Return the diameters that a marker of a kind ("": the first that is set) meets at a branch's end.

    A sleeve over a covering's edge slides over the covered bundle, squeezed, and must hold on the covering as laid;
    with ``sleeve.grips`` "both" on the bare wires past the edge too. The text stands where ``sleeve.text_on`` says;
    the other part is the seat's section. With ``sleeve.covering_overlap_mm`` 0 it sits on the covering alone.
    """
    index = sizing.index
    settings = end.settings
    there = index.circuits_at(branch, end)
    bare = branch_bundle(branch, there, sizing)
    covering = covering_of(settings, sizing.catalogue)
    covered = bare.under(covering)
    straddles = covering.wall_mm.high > 0 and settings.sleeve.covering_overlap_mm > 0
    on_bundle = straddles and settings.sleeve.text_on == "bundle"
    grip = (bare if straddles and settings.sleeve.grips == "both" else covered).grip
    section = SeatSection((covered if on_bundle else bare).grip, not on_bundle) if straddles else None
    over, how, obstacle = covered.pass_over, None, None
    if (kind or settings.marker.branch[0]) in SLID_ON:  # others go on from the side, whatever is there
        way, widest_mm = access_to(branch, end, sizing)
        how = installation(way, end, branch)
        if way and way.obstacle and way.obstacle_mm > widest_mm:
            over, obstacle = Range(way.obstacle_mm, way.obstacle_mm), way.obstacle
        elif way and widest_mm > over.high:
            obstacle = Obstacle(BUNDLE, way.end.at, widest_mm)
            over = Range(over.low * widest_mm / over.high, widest_mm)  # the wires there vary as much as those here
    return Seat(
        over,
        grip,
        (bare if on_bundle else covered).grip,
        wires=sum(circuit.cable not in index.jackets for circuit in there),
        cables=len({circuit.cable for circuit in there if circuit.cable in index.jackets}),
        basis=bare.basis,
        covering=covering if covering.wall_mm.high else None,
        installation=how,
        obstacle=obstacle,
        section=section,
    )


def without_obstacle(seat: Seat) -> Seat:
    """Return a seat with nothing to pass on the way but what the marker sits on."""
    parts = (seat.grip, seat.text_diameter, *((seat.section.grip,) if seat.section else ()))
    widest = max(part.high for part in parts)
    return replace(seat, pass_over=Range(min(seat.pass_over.low, widest), widest), obstacle=None)
