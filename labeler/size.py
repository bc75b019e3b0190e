"""Size: from wires to the diameters a marker meets, and the tubes that pass and close there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from labeler.catalogue import Catalogue
from labeler.errors import LabelerError, Problem
from labeler.formulas.bundle import hand_laid_diameter, hull_diameter, pack
from labeler.model import (
    Branch,
    BranchEnd,
    Circuit,
    Connector,
    Harness,
    Range,
    Seat,
    Settings,
    Tube,
    TubeChoice,
    WireDiameter,
)


@dataclass(frozen=True, slots=True)
class Bundle:
    """Wires lying together: what passes over them, and what a sleeve closes on, mm."""

    passes: Range
    closes_on: Range
    source: str


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
    return catalogue.wire_diameter(circuit.wire or settings.wire, circuit.size, circuit.where)


def bundle(wires: Iterable[Range], settings: Settings) -> Bundle:
    """Return the diameters of a bundle of wires, from the tightest packing to laid by hand.

    Passing: the enclosing circle of the thinnest wires packed tightest … the thickest laid by
    hand. Closing: the hull (perimeter / pi) of the former … the same hand-laid diameter.
    """
    ranges = sorted(wires, key=lambda r: (r.high, r.low))
    return _bundle(
        tuple(r.low for r in ranges),
        tuple(r.high for r in ranges),
        settings.hand_lay_factor,
        settings.hand_lay_allowance,
    )


@lru_cache(maxsize=4096)
def _bundle(thin: tuple[float, ...], thick: tuple[float, ...], factor: float, allowance: float) -> Bundle:
    packing = pack(thin)
    widest = max(hand_laid_diameter(thick, factor, allowance), packing.diameter_mm)
    n = len(thin)
    source = (
        "one wire"
        if n == 1
        else f"{n} wires packed to {packing.diameter_mm:.2f} mm, hull {hull_diameter(packing):.2f} mm, "
        f"hand-laid max({factor:g} x root of the sum of squares, packing + {allowance:.0%}) = {widest:.2f} mm"
    )
    return Bundle(Range(packing.diameter_mm, widest), Range(hull_diameter(packing), widest), source)


def branch_bundle(branch: Branch, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue) -> Bundle:
    """Return the bare bundle of a branch; a measured diameter wins.

    Cores of a cable whose outside is given count as that one cable. Raises `LabelerError` with
    every wire whose diameter is not known, or where no circuit runs through the branch.
    """
    if branch.diameter_mm:
        low, high = (
            branch.diameter_mm - branch.diameter_tolerance_mm,
            branch.diameter_mm + branch.diameter_tolerance_mm,
        )
        measured = Range(low, high)
        return Bundle(measured, measured, f"measured {branch.diameter_mm:g} mm ± {branch.diameter_tolerance_mm:g} mm")
    if not circuits:
        raise LabelerError(
            Problem(
                branch.where,
                f"branch {branch.id}: no circuit runs through it, so its diameter is unknown",
                "name its circuits, or give diameter_mm as measured",
            )
        )
    jackets = {cable.id: cable.outside_mm for cable in harness.cables if cable.outside_mm}
    base = branch.settings or harness.settings
    wires: list[Range] = []
    problems: list[Problem] = []
    wires += [
        Range(jackets[name], jackets[name]) for name in dict.fromkeys(c.cable for c in circuits) if name in jackets
    ]
    for circuit in circuits:
        if circuit.cable in jackets:
            continue
        try:
            wires.append(wire_diameter(circuit, circuit.settings or harness.settings, catalogue).range_mm)  # type: ignore[arg-type]
        except LabelerError as error:
            problems.extend(error.problems)
    if problems:
        raise LabelerError(*problems)
    return bundle(wires, base)  # type: ignore[arg-type]


def end_seat(
    branch: Branch,
    end: BranchEnd,
    circuits: tuple[Circuit, ...],
    harness: Harness,
    catalogue: Catalogue,
) -> Seat:
    """Return the diameters that a branch end's sleeve meets.

    With a covering the sleeve straddles its edge: it passes over the covered bundle, closes on
    the bare one, and the lettering stands where ``lettering_on`` says. With ``overlap_mm`` 0 it
    sits on the covering alone.
    """
    settings: Settings = end.settings or branch.settings or harness.settings  # type: ignore[assignment]
    bare = branch_bundle(branch, circuits, harness, catalogue)
    wall, covering_source, covering = _covering(settings, catalogue)
    covered = Bundle(_thicker(bare.passes, wall), _thicker(bare.closes_on, wall), "")
    straddles = wall.high > 0 and settings.overlap_mm > 0
    closes_on = bare.closes_on if straddles else covered.closes_on
    text_on = bare.closes_on if straddles and settings.lettering_on == "bundle" else covered.closes_on
    wrapped = settings.branch_marker_kind == "wrap"  # goes on from the side, whatever is fitted
    obstacle, slip_on, largest = ("", "", 0.0) if wrapped else _way_on(branch, end, harness)
    passes = Range(covered.passes.low, max(covered.passes.high, largest))
    wires = "1 wire" if len(circuits) == 1 else f"{len(circuits)} wires"
    sources = (bare.source, *((f"covering {covering}: {covering_source}",) if wall.high else ()))
    sits_on = (wires if circuits else "measured bundle") + (f", {covering}" if wall.high else "")
    return Seat(
        passes,
        closes_on,
        text_on,
        sits_on,
        slip_on,
        obstacle if largest > covered.passes.high else "",
        sources,
    )


def wire_seat(circuit: Circuit, at: str, harness: Harness, catalogue: Catalogue) -> Seat:
    """Return the diameters that a wire marker meets: the wire's own, from nominal to maximum."""
    settings: Settings = circuit.settings or harness.settings  # type: ignore[assignment]
    wire = wire_diameter(circuit, settings, catalogue)
    name = circuit.wire or settings.wire
    sits_on = f"{circuit.size} {name}".strip() if circuit.size else "wire"
    slip_on = f"thread on before the contact at {at} is crimped"
    return Seat(wire.range_mm, wire.range_mm, wire.range_mm, sits_on, slip_on, "", (wire.source,))


def _covering(settings: Settings, catalogue: Catalogue) -> tuple[Range, str, str]:
    if settings.covering_wall_mm is not None:
        wall = settings.covering_wall_mm
        name = settings.covering if settings.covering != "none" else "covering"
        return Range(wall, wall), f"wall {wall:g} mm given", name
    wall_range, source = catalogue.covering_wall(settings.covering)
    return wall_range, source, settings.covering


def _thicker(bundle_mm: Range, wall: Range) -> Range:
    return Range(bundle_mm.low + 2 * wall.low, bundle_mm.high + 2 * wall.high)


def _way_on(branch: Branch, end: BranchEnd, harness: Harness) -> tuple[str, str, float]:
    """From where the sleeve is threaded on: (what is in the way, the instruction, its width in mm).

    An end that is not fitted takes the sleeve before its contacts are crimped. A fitted one
    takes it from another end of the branch that is still open; else over the smallest fitted
    connector.
    """
    if not end.fitted:
        return "", f"thread on at {end.at} before the contacts are crimped", 0.0
    connectors = {c.id: c for c in harness.connectors}
    others = [e for e in branch.ends if e is not end and _kind(connectors, e.at) != "junction"]
    for other in others:
        if not other.fitted:
            return (
                "",
                f"thread on from {other.at}, before its contacts are crimped: {end.at} is already fitted",
                0.0,
            )
    fitted = [connectors[e.at] for e in (end, *others) if e.at in connectors and connectors[e.at].outside_mm]
    if not fitted:
        raise LabelerError(
            Problem(
                end.where,
                f"branch {branch.id}: {end.at} is fitted and no end of the branch is open, so the sleeve must "
                f"pass the connector, whose size is not known",
                f"give outside_mm of connector {end.at}",
            )
        )
    over = min(fitted, key=lambda c: c.outside_mm or 0.0)
    width = over.outside_mm or 0.0
    return (
        f"connector {over.id}, {width:g} mm",
        f"pass over the fitted connector {over.id} ({width:g} mm)",
        width,
    )


def _kind(connectors: dict[str, Connector], name: str) -> str:
    return connectors[name].kind if name in connectors else "connector"


# ---------------------------------------------------------------- choosing a tube


def choose_tubes(seat: Seat, settings: Settings, catalogue: Catalogue) -> TubeChoice:
    """Return the tubes for a seat: families in the order asked for, smallest first.

    Pass: supplied (minimum) at least the largest passed diameter x (1 + slip). Grip: recovered
    (maximum) at most the smallest closed on x (1 - grip). Inside a family, sizes that end
    between 20 and 80 % of their shrink range come before the others (common practice).
    """
    need, most = seat.passes.high * (1 + settings.slip), seat.closes_on.low * (1 - settings.grip)
    found: list[Tube] = []
    refusals = []
    for family in settings.sleeve:
        sizes = catalogue.tubes(family)
        good = [t for t in sizes if t.supplied_mm >= need and t.recovered_mm <= most]
        found += sorted(good, key=lambda t: (not _middling(t, seat.closes_on), t.supplied_mm))
        if not good:
            refusals.append(_refusal(family, sizes, need, most))
    ways = () if found else _other_families(need, most, settings.sleeve, catalogue)
    return TubeChoice(tuple(found), tuple(refusals), ways)


def _middling(tube: Tube, on: Range) -> bool:
    span = tube.supplied_mm - tube.recovered_mm
    return tube.recovered_mm + 0.2 * span <= on.low and on.high <= tube.recovered_mm + 0.8 * span


def _refusal(family: str, sizes: tuple[Tube, ...], need: float, most: float) -> str:
    passing = next((t for t in sizes if t.supplied_mm >= need), None)
    gripping = next((t for t in reversed(sizes) if t.recovered_mm <= most), None)
    parts = []
    if passing:
        parts.append(
            f"{passing.name} passes ({passing.supplied_mm:.2f} mm supplied, {need:.2f} needed) but recovers only "
            f"to {passing.recovered_mm:.2f} mm, {passing.recovered_mm - most:.2f} too wide for {most:.2f}"
        )
    else:
        parts.append(f"none passes: largest {sizes[-1].supplied_mm:.2f} mm supplied, {need:.2f} needed")
    if gripping:
        parts.append(
            f"{gripping.name} grips ({gripping.recovered_mm:.2f} mm recovered) but is supplied "
            f"{need - gripping.supplied_mm:.2f} mm too small at {gripping.supplied_mm:.2f}"
        )
    return f"{family}: " + "; ".join(parts)


def _other_families(need: float, most: float, tried: tuple[str, ...], catalogue: Catalogue) -> tuple[str, ...]:
    ways = []
    for entry in catalogue.families:
        good = [t for t in entry.tubes if t.supplied_mm >= need and t.recovered_mm <= most]
        if entry.name not in tried and good:
            ways.append(f"tube {good[0].name} ({good[0].ratio:.1f}:1): add {entry.name!r} to sleeve")
    if ways:
        return tuple(ways)
    every = [tube for entry in catalogue.families for tube in entry.tubes]
    smallest, largest = min(t.recovered_mm for t in every), max(t.supplied_mm for t in every)
    if most < smallest:
        return (f"no tube in the tables is small enough: the smallest recovers to {smallest:.2f} mm",)
    if need > largest:
        return (f"no tube in the tables is large enough: the largest is supplied with {largest:.2f} mm",)
    return (f"no tube in the tables: it needs a ratio of {need / most:.1f}:1",)
