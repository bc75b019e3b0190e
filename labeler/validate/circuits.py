"""Circuits: cavities and ends, wires and their diameters, cables and their cores."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from labeler.catalogue import Catalogue, default_wire, with_low_end
from labeler.errors import LabelerError, Problem
from labeler.formulas.bundle import pack
from labeler.materials import bare_diameter
from labeler.model import Circuit, Connector, Harness
from labeler.validate.names import Names, listed

SHARED = ("splice", "ring terminal", "junction", "loose end")  # several circuits may end in one
PACKING_OFF = 0.03  # by how much the tightest packing that is found may lie above the true one, see `pack`


def ends_of_circuits(harness: Harness, names: Names) -> Iterator[Problem]:
    """Yield unknown connectors, cavities that cannot be, and cavities taken by more wires than may share one."""
    taken: dict[tuple[str, str], Circuit] = {}
    shared: dict[tuple[str, str], list[Circuit]] = {}
    known, most = names.connectors, harness.settings.wires_per_cavity if harness.settings else 1
    for circuit in harness.circuits:
        start, finish = circuit.start, circuit.finish
        if start == finish and start.cavity and not _is_shared(known.get(start.connector)):
            message = f"{circuit.id}: both ends are {start}"
            yield Problem(circuit.where, message, "correct one end")
            continue
        for pin in (start, finish):
            connector = known.get(pin.connector)
            if connector is None:
                yield names.unknown("connector", pin.connector, circuit.where, circuit.id)
                continue
            if not pin.cavity:
                continue
            if connector.cavities is not None or pin.cavity.startswith(("0", "-")):
                yield from _impossible_cavity(circuit, connector, pin.cavity)
            other = taken.setdefault((pin.connector, pin.cavity), circuit)
            if other is not circuit and connector.kind not in SHARED:
                wires = shared.setdefault((pin.connector, pin.cavity), [other])
                wires.append(circuit)
                if len(wires) > most:
                    yield _taken(circuit, str(pin), wires)
    yield from _double_crimps({place: wires for place, wires in shared.items() if len(wires) <= most})


def _taken(circuit: Circuit, place: str, wires: Sequence[Circuit]) -> Problem:
    first = wires[0]
    message = f"{circuit.id}: {place} is taken by {first.id} at {first.where}"
    joined = 'join the wires in a connector of kind = "splice"'
    crimped = f"crimped into one contact: wires_per_cavity = {len(wires)} under [defaults], or with --set"
    return Problem(circuit.where, message, f"correct the cavity; or {joined}; or where they are {crimped}")


def _double_crimps(shared: Mapping[tuple[str, str], Sequence[Circuit]]) -> Iterator[Problem]:
    """Yield a warning for each connector with cavities that several wires share."""
    for connector in dict.fromkeys(connector for connector, _ in shared):
        here = {cavity: wires for (name, cavity), wires in shared.items() if name == connector}
        where = next(iter(here.values()))[1].where
        each = "; ".join(f"{cavity} by {', '.join(wire.id for wire in wires)}" for cavity, wires in here.items())
        fix = "check that they are crimped into one contact each"
        yield Problem(where, f"{connector}: cavities shared by several wires: {each}", fix, warning=True)


def _is_shared(connector: Connector | None) -> bool:
    return connector is not None and connector.kind in SHARED


def _impossible_cavity(circuit: Circuit, connector: Connector, cavity: str) -> Iterator[Problem]:
    digits = cavity.removeprefix("-")
    if not digits.isdecimal() or len(digits) > 9:
        return
    number, limit = int(cavity), connector.cavities
    if number < 1:
        message = f"{circuit.id}: {connector.id} has no cavity {cavity}; cavities count from 1"
        yield Problem(circuit.where, message, "correct the cavity")
    elif limit is not None and number > limit:
        message = f"{circuit.id}: cavity {cavity} of {connector.id}, which has {limit}"
        yield Problem(circuit.where, message, "correct the cavity, or cavities of the connector")


def wires(harness: Harness, catalogue: Catalogue) -> Iterator[Problem]:
    """Yield wires of no known diameter, each kind and size once, and diameters that cannot be."""
    alike: dict[tuple[str, str], list[Circuit]] = {}
    bare: dict[str, float | None] = {}
    unsized = []
    base = harness.settings.wire if harness.settings else ""
    for circuit in harness.circuits:
        if circuit.outside_mm is not None:
            if circuit.size not in bare:
                bare[circuit.size] = bare_diameter(circuit.size)
            yield from _thinner_than_bare(circuit, bare[circuit.size])
        elif not circuit.size:
            unsized.append(circuit)
        else:
            kind = circuit.wire or (circuit.settings.wire if circuit.settings else base)
            alike.setdefault((kind, circuit.size), []).append(circuit)
    yield from _without_diameter(alike, catalogue)
    yield from _assumed(alike)
    if unsized:
        message = f"{listed(unsized)}: neither size nor outside diameter is given"
        yield Problem(unsized[0].where, message, "give one, or measure the branch: diameter_mm", warning=True)


def _assumed(alike: Mapping[tuple[str, str], Sequence[Circuit]]) -> Iterator[Problem]:
    """Yield a warning for each insulation that was taken because none is named."""
    taken: dict[str, list[Circuit]] = {}
    for (kind, size), circuits in alike.items():
        if not kind:
            taken.setdefault(default_wire(size), []).extend(circuits)
    for name, circuits in taken.items():
        text = f"{listed(circuits)}: no insulation is named, {name} is taken for the diameter"
        fix = 'name it: a column, wire under [defaults], or --set wire="…"; labeler wires lists them'
        yield Problem(circuits[0].where, text, fix, warning=True)


def _without_diameter(alike: Mapping[tuple[str, str], Sequence[Circuit]], catalogue: Catalogue) -> Iterator[Problem]:
    """Yield each kind of wire that is unknown, and each size that a known one lacks."""
    unknown: set[str] = set()
    for (kind, size), circuits in alike.items():
        if kind in unknown:
            continue
        try:
            if kind:
                unknown.add(kind)
                catalogue.wire_kind(kind)
                unknown.discard(kind)
            catalogue.wire_diameter(kind, size)
        except LabelerError as error:
            if kind in unknown and not circuits[0].wire:
                continue  # a setting's name: told where it is set
            for found in error.problems:
                yield Problem(circuits[0].where, f"{listed(circuits)}: {found.message}", found.fix)


def _thinner_than_bare(circuit: Circuit, bare: float | None) -> Iterator[Problem]:
    if bare is not None and circuit.outside_mm is not None and circuit.outside_mm <= bare:
        message = f"{circuit.id}: outside {circuit.outside_mm:g} mm is not above {bare:.3g} mm"
        fix = f"the bare conductor of {circuit.size} alone is that thick; check size and unit"
        yield Problem(circuit.where, message, fix)


def cables(harness: Harness, names: Names, catalogue: Catalogue) -> Iterator[Problem]:
    """Yield what is wrong with cables: unknown, unmeasured, thinner than their cores."""
    yield from _unmeasured(harness)
    yield from _thinner_than_cores(harness, catalogue)
    told = set()
    for circuit in harness.circuits:
        if not circuit.cable:
            continue
        cable = names.cables.get(circuit.cable)
        if cable is None:
            if circuit.cable not in told:
                yield names.unknown("cable", circuit.cable, circuit.where, circuit.id)
            told.add(circuit.cable)
        elif cable.outside_mm is not None and (circuit.outside_mm or 0.0) > cable.outside_mm:
            message = f"{circuit.id}: core {circuit.outside_mm:g} mm in cable {cable.id} of {cable.outside_mm:g} mm"
            yield Problem(circuit.where, message, "check both outside diameters")


def _thinner_than_cores(harness: Harness, catalogue: Catalogue) -> Iterator[Problem]:
    """Yield cables that are thinner than the tightest packing of the thinnest that their cores may be."""
    cores: dict[str, list[float]] = {}
    unknown = set()
    measured = {cable.id: cable for cable in harness.cables if cable.outside_mm}
    for circuit in harness.circuits:
        if circuit.cable in measured:
            low = circuit.outside_mm or _thinnest(circuit, harness, catalogue)
            cores.setdefault(circuit.cable, []).append(low)
            unknown |= set() if low else {circuit.cable}
    for name, wires in cores.items():
        cable, outside = measured[name], measured[name].outside_mm or 0.0
        if name in unknown or max(wires) > outside:
            continue  # told elsewhere, wire by wire
        least = pack(wires).diameter_mm
        if least > outside * (1 + PACKING_OFF):
            text = f"cable {name}: {outside:g} mm outside, its {len(wires)} cores alone take {least:.2f} mm"
            yield Problem(cable.where, text, "check outside_mm of the cable, and the sizes of its cores")


def _thinnest(circuit: Circuit, harness: Harness, catalogue: Catalogue) -> float:
    """Return the smallest diameter of a circuit's wire, mm; 0 where no table says."""
    settings = circuit.settings or harness.settings
    try:
        found = catalogue.wire_diameter(circuit.wire or (settings.wire if settings else ""), circuit.size)
    except LabelerError:
        return 0.0
    return (with_low_end(found, settings) if settings else found).range_mm.low


def _unmeasured(harness: Harness) -> Iterator[Problem]:
    """Yield a warning for cables of unknown outside: they are counted as their cores alone."""
    used = {circuit.cable for circuit in harness.circuits if circuit.cable}
    left = [cable for cable in harness.cables if cable.outside_mm is None and cable.id in used]
    if left:
        text = f"{listed(left)}: no outside diameter, so the cores count as single wires without a jacket"
        fix = "give outside_mm in a [[cable]], or a column Cable OD"
        yield Problem(left[0].where, f"cable {text}" if len(left) == 1 else f"cables {text}", fix, warning=True)
