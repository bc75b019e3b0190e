"""From wires to the diameters of bundles, bare and under their covering."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from labeler.errors import LabelerError, Problem
from labeler.formulas.bundle import hand_laid_diameter, least_hull_diameter, pack
from labeler.harness import HarnessIndex
from labeler.model import (
    Branch,
    BranchEnd,
    Circuit,
    Connector,
    MeasuredBundle,
    PackedBundle,
    Range,
    SeatCovering,
    Settings,
    WireDiameter,
)
from labeler.tables.catalogue import Catalogue, with_low_end


@dataclass(frozen=True, slots=True, eq=False)
class Sizing:
    """What sizes are worked out from: a harness, and the tables."""

    index: HarnessIndex
    catalogue: Catalogue


@dataclass(frozen=True, slots=True)
class Bundle:
    """Wires lying together: what passes over them, and what a sleeve closes on, mm."""

    pass_over: Range
    grip: Range
    basis: PackedBundle | MeasuredBundle

    def under(self, covering: SeatCovering) -> Bundle:
        """Return the same bundle in a covering: squeezed where a sleeve slides over it, as laid where one grips it."""
        passed, laid = covering.passed_wall_mm, covering.wall_mm
        over = Range(self.pass_over.low + 2 * passed.low, self.pass_over.high + 2 * passed.high)
        return Bundle(over, Range(self.grip.low + 2 * laid.low, self.grip.high + 2 * laid.high), self.basis)


def wire_diameter(circuit: Circuit, settings: Settings, catalogue: Catalogue) -> WireDiameter:
    """Return the finished diameter of a circuit's wire: given, or from the table of its insulation.

    Raises `LabelerError` naming the circuit's place where neither is known.
    """
    if circuit.od_mm:
        return WireDiameter(Range(circuit.od_mm, circuit.od_mm), "given in the file")
    if not circuit.size:
        text = f"circuit {circuit.id}: no size and no outside diameter"
        fix = 'give the wire\'s size ("20 AWG", "0.5 mm2") or its measured outside diameter'
        raise LabelerError(Problem(circuit.where, text, fix))
    return with_low_end(
        catalogue.wire_diameter(circuit.wire_type or settings.wire_type, circuit.size, circuit.where), settings
    )


def bundle(wires: Iterable[Range], settings: Settings) -> Bundle:
    """Return the diameters of a bundle of wires, from the tightest packing to laid by hand.

    Passing: the enclosing circle of the thinnest wires packed tightest … the thickest laid by
    hand. Closing: the hull (perimeter / pi) of the former, the smallest of equally tight ones … the
    same hand-laid diameter.
    """
    ranges = sorted(wires, key=lambda r: (r.high, r.low))
    thin, thick = tuple(r.low for r in ranges), tuple(r.high for r in ranges)
    return _bundle(thin, thick, settings.bundle.hand_lay_factor, settings.bundle.hand_lay_allowance)


@lru_cache(maxsize=4096)
def _bundle(thin: tuple[float, ...], thick: tuple[float, ...], factor: float, allowance: float) -> Bundle:
    packing = pack(thin)
    packed, hull = packing.diameter_mm, least_hull_diameter(packing)
    widest = max(hand_laid_diameter(thick, factor, allowance), packed)
    basis = PackedBundle(len(thin), packed, hull, widest, factor, allowance)
    return Bundle(Range(packed, widest), Range(hull, widest), basis)


def branch_bundle(branch: Branch, circuits: tuple[Circuit, ...], sizing: Sizing) -> Bundle:
    """Return the bare bundle of some circuits of a branch; a measured diameter wins.

    Cores of a cable whose outside is given count as that one cable. Raises `LabelerError` with
    every wire whose diameter is not known, or where no circuit runs through the branch.
    """
    if branch.bundle_diameter_mm:
        diameter, tolerance = branch.bundle_diameter_mm, branch.bundle_diameter_tolerance_mm
        measured = Range(diameter - tolerance, diameter + tolerance)
        return Bundle(measured, measured, MeasuredBundle(diameter, tolerance))
    if not circuits:
        text = f"branch {branch.id}: no circuit runs through it, so its diameter is unknown"
        raise LabelerError(Problem(branch.where, text, "name its circuits, or give bundle_diameter_mm as measured"))
    return bundle(_diameters(circuits, sizing), branch.settings)


def _diameters(circuits: tuple[Circuit, ...], sizing: Sizing) -> list[Range]:
    """Return the diameters of what lies in a bundle, mm: each cable of known outside as one, then the other wires.

    Raises `LabelerError` with every wire whose diameter is not known.
    """
    jackets = sizing.index.jackets
    cables = dict.fromkeys(circuit.cable for circuit in circuits)
    found = [Range(jackets[name], jackets[name]) for name in cables if name in jackets]
    problems: list[Problem] = []
    for circuit in circuits:
        if circuit.cable not in jackets:
            try:
                found.append(wire_diameter(circuit, circuit.settings, sizing.catalogue).range_mm)
            except LabelerError as error:
                problems.extend(error.problems)
    if problems:
        raise LabelerError(*problems)
    return found


def bundle_at(branch: Branch, end: BranchEnd, sizing: Sizing) -> Bundle:
    """Return the bare bundle at an end of a branch."""
    return branch_bundle(branch, sizing.index.circuits_at(branch, end), sizing)


def widest(branch: Branch, sizing: Sizing) -> float:
    """Return the widest that is met along a branch, mm: its bundles, and its inner splices of known size.

    A branch of up to two ends is as wide as at one of them; of one with more all its wires count.
    """
    index = sizing.index
    circuits = index.through[branch.id]
    names = {name for c in circuits for name in (c.start.connector, c.finish.connector)} & index.inner_splices
    splices = [outside for name in names if (outside := index.connectors[name].max_width_mm)]
    if len(branch.ends) in (1, 2):
        return max([bundle_at(branch, end, sizing).pass_over.high for end in branch.ends] + splices)
    return max([branch_bundle(branch, circuits, sizing).pass_over.high, *splices])


def with_contacts(branch: Branch, end: BranchEnd, connector: Connector, sizing: Sizing) -> float:
    """Return what must be passed at an end whose contacts are crimped, mm.

    Contacts are staggered while a sleeve goes over them: the bundle, and what it gains where the
    thinnest of its wires, laid by hand, is taken for a contact. Where the bundle was measured and its
    wires are not known, a contact beside it. Project choice. Raises `LabelerError` where the
    contact's size is not known.
    """
    contact = connector.contact_width_mm
    if not contact:
        text = f"branch {branch.id}: contacts at {connector.id} are crimped, and their size is not known"
        raise LabelerError(Problem(connector.where, text, f"give contact_width_mm of connector {connector.id}"))
    bare = bundle_at(branch, end, sizing).pass_over.high
    try:
        wires = sorted(r.high for r in _diameters(sizing.index.circuits_at(branch, end), sizing))
    except LabelerError:
        wires = []  # the bundle was measured: it would have been refused otherwise
    if not wires:
        return bare + contact
    base = branch.settings
    without, among = (
        hand_laid_diameter(laid, base.bundle.hand_lay_factor, base.bundle.hand_lay_allowance)
        for laid in (wires, [max(contact, wires[0]), *wires[1:]])
    )
    return max(contact, bare + among - without)


def covering_of(settings: Settings, catalogue: Catalogue) -> SeatCovering:
    """Return the covering that is set; a given wall wins over the table."""
    given = settings.covering_wall_mm
    if given is not None:
        name = settings.covering if settings.covering != "none" else "covering"
        return SeatCovering(name, Range(given, given), "")
    return catalogue.seat_covering(settings.covering)
