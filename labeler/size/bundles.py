"""From wires to the diameters of bundles, and to what a marker meets on its way and in its place."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from labeler.errors import LabelerError, Problem
from labeler.formulas.bundle import hand_laid_diameter, least_hull_diameter, pack
from labeler.harness import circuits_at, connectors_of, inner_splices, kinds_of
from labeler.model import Branch, BranchEnd, Circuit, Connector, Harness, Range, Seat, Settings, Step, WireDiameter
from labeler.size.access import ONE, THREADED, Entry, entries, instruction, laid_on, way_on
from labeler.tables.catalogue import Catalogue, with_low_end

# ---------------------------------------------------------------- Single wires


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
    settings = circuit.settings
    wire = wire_diameter(circuit, settings, catalogue)
    name = circuit.wire or settings.wire
    sits_on = f"{circuit.size} {name}".strip() if circuit.size else "wire"
    on, sources = wire.range_mm, (wire.source,)
    if kind not in THREADED:
        return Seat(on, on, on, sits_on, "", "", sources)
    names = dict.fromkeys((circuit.start.connector, circuit.finish.connector))
    if not done or not any((circuit.id, each) in done for each in names):
        return Seat(on, on, on, sits_on, "thread on before its contact is crimped", "", sources)
    plain = (BranchEnd(each, where=circuit.where, settings=settings) for each in names)
    ends = tuple(done.get((circuit.id, end.at)) or end for end in plain)
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


# ---------------------------------------------------------------- bundles


@dataclass(frozen=True, slots=True)
class Bundle:
    """Wires lying together: what passes over them, and what a sleeve closes on, mm."""

    passes: Range
    closes_on: Range
    source: str


def bundle(wires: Iterable[Range], settings: Settings) -> Bundle:
    """Return the diameters of a bundle of wires, from the tightest packing to laid by hand.

    Passing: the enclosing circle of the thinnest wires packed tightest … the thickest laid by
    hand. Closing: the hull (perimeter / pi) of the former, the smallest of equally tight ones … the
    same hand-laid diameter.
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
    hull = least_hull_diameter(packing)
    widest = max(hand_laid_diameter(thick, factor, allowance), packing.diameter_mm)
    n = len(thin)
    source = (
        "one wire or cable"
        if n == 1
        else f"{n} wires or cables at their thinnest packed to {packing.diameter_mm:.2f} mm, hull {hull:.2f} mm; at "
        f"their thickest hand-laid max({factor:g} x root of the sum of squares, packing + {allowance:.0%}) = "
        f"{widest:.2f} mm"
    )
    return Bundle(Range(packing.diameter_mm, widest), Range(hull, widest), source)


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
        return Bundle(
            measured,
            measured,
            f"measured {branch.diameter_mm:g} mm ± {branch.diameter_tolerance_mm:g} mm over the bare bundle",
        )
    if not circuits:
        raise LabelerError(
            Problem(
                branch.where,
                f"branch {branch.id}: no circuit runs through it, so its diameter is unknown",
                "name its circuits, or give diameter_mm as measured",
            )
        )
    return bundle(branch_wires(branch, circuits, harness, catalogue), branch.settings)


def branch_wires(
    branch: Branch, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue
) -> tuple[Range, ...]:
    """Return the diameters of what lies in a branch, mm: wires, and each cable of known outside as one.

    Raises `LabelerError` with every wire whose diameter is not known.
    """
    jackets = {cable.id: cable.outside_mm for cable in harness.cables if cable.outside_mm}
    wires = [
        Range(jackets[name], jackets[name]) for name in dict.fromkeys(c.cable for c in circuits) if name in jackets
    ]
    problems: list[Problem] = []
    for circuit in circuits:
        if circuit.cable in jackets:
            continue
        try:
            wires.append(wire_diameter(circuit, circuit.settings, catalogue).range_mm)
        except LabelerError as error:
            problems.extend(error.problems)
    if problems:
        raise LabelerError(*problems)
    return tuple(wires)


def lying_in(circuits: tuple[Circuit, ...], harness: Harness) -> str:
    """Return how many wires and cables lie in a branch, for people: cores of a cable of known outside are one cable."""
    jackets = {cable.id for cable in harness.cables if cable.outside_mm}
    cables = {circuit.cable for circuit in circuits if circuit.cable in jackets}
    wires = sum(circuit.cable not in jackets for circuit in circuits)
    counted = ((wires, "wire"), (len(cables), "cable"))
    return " and ".join(f"{count} {what}{'' if count == 1 else 's'}" for count, what in counted if count)


def end_seat(
    branch: Branch,
    end: BranchEnd,
    circuits: tuple[Circuit, ...],
    harness: Harness,
    catalogue: Catalogue,
    kind: str = "",
) -> Seat:
    """Return the diameters that a marker of a kind ("": the one that is set) meets at a branch's end.

    With a covering the sleeve straddles its edge: it passes over the covered bundle, closes on
    the bare one, and the lettering stands where ``lettering_on`` says, the other part is the seat's
    step. With ``overlap_mm`` 0 it sits on the covering alone.
    """
    settings = end.settings
    there = circuits_at(branch, end, circuits, kinds_of(harness))
    bare = branch_bundle(branch, there, harness, catalogue)
    wall, covering_source, covering = covering_of(settings, catalogue)
    covered = Bundle(_thicker(bare.passes, wall), _thicker(bare.closes_on, wall), "")
    straddles = wall.high > 0 and settings.overlap_mm > 0
    closes_on = bare.closes_on if straddles else covered.closes_on
    text_on = bare.closes_on if straddles and settings.lettering_on == "bundle" else covered.closes_on
    wrapped = (kind or settings.branch_marker_kind) not in THREADED  # goes on from the side, whatever is fitted
    crimped = crimped_diameter(branch, circuits, harness, catalogue)
    over = passed_from(branch, end, circuits, harness, catalogue, wall)
    way = None if wrapped else way_on(end, entries(f"branch {branch.id}", branch.ends, harness, crimped), over)
    most, obstacle, in_time = (over(way), "", "") if way else (covered.passes.high, "", "")
    if way and way.obstacle_mm > most:
        most, obstacle, in_time = way.obstacle_mm, way.obstacle, way.in_time
    elif way and most > covered.passes.high:
        obstacle = f"bundle on the way from {way.end.at}, {most:.1f} mm"
    sources = (bare.source, *((_covering_line(covering, wall, covering_source),) if wall.high else ()))
    sits_on = (lying_in(there, harness) if there else "measured bundle") + (f", {covering}" if wall.high else "")
    return Seat(
        Range(covered.passes.low, most),
        closes_on,
        text_on,
        sits_on,
        instruction(way, end) if way else "" if wrapped else laid_on(branch),
        obstacle,
        sources,
        in_time,
        _step(bare, covered, covering, settings.lettering_on) if straddles else None,
    )


def _step(bare: Bundle, covered: Bundle, covering: str, lettering_on: str) -> Step:
    """Return the part of a sleeve that carries no lettering, where it straddles the edge of a covering."""
    if lettering_on == "bundle":
        return Step(covered.closes_on, f"the {covering}", towards_end=False)
    return Step(bare.closes_on, "past the edge of the covering, towards the end")


def _kinds(harness: Harness) -> dict[str, str]:
    return {connector.id: connector.kind for connector in harness.connectors}


def passed_from(
    branch: Branch, end: BranchEnd, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue, wall: Range
) -> Callable[[Entry | None], float]:
    """Return a function for what a sleeve that belongs at an end must pass of wires and covering, mm, by its way on.

    From its own end that is the bundle there; from another the widest of the branch.
    """
    there = circuits_at(branch, end, circuits, kinds_of(harness))
    own = branch_bundle(branch, there, harness, catalogue).passes.high

    def over(way: Entry | None) -> float:
        far = way is not None and way.end.at != end.at
        return 2 * wall.high + (max(own, widest(branch, circuits, harness, catalogue)) if far else own)

    return over


def widest(branch: Branch, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue) -> float:
    """Return the widest that is met along a branch, mm: its bundles, and its inner splices of known size.

    A branch of up to two ends is as wide as at one of them; of one with more all its wires count.
    """
    splices = {name for c in circuits for name in (c.start.connector, c.finish.connector)} & inner_splices(harness)
    connectors = connectors_of(harness)
    known = [outside for name in splices if (outside := connectors[name].outside_mm)]
    kinds = kinds_of(harness)
    few = len(branch.ends) < 3
    groups = [circuits_at(branch, end, circuits, kinds) for end in branch.ends] if few else []
    bundles = [branch_bundle(branch, group, harness, catalogue).passes.high for group in groups or [circuits]]
    return max(bundles + known)


def crimped_diameter(
    branch: Branch, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue
) -> Callable[[Connector], float]:
    """Return a function for what must be passed at an end whose contacts are crimped, mm, by its connector.

    Contacts are staggered while a sleeve goes over them: the bundle, and what it gains where the
    thinnest of its wires, laid by hand, is taken for a contact. Where the bundle was measured and its
    wires are not known, a contact beside it. Project choice. Raises `LabelerError` where the
    contact's size is not known.
    """

    def width(connector: Connector) -> float:
        contact = connector.contact_outside_mm
        if not contact:
            text = f"branch {branch.id}: contacts at {connector.id} are crimped, and their size is not known"
            raise LabelerError(Problem(connector.where, text, f"give contact_outside_mm of connector {connector.id}"))
        end = next(end for end in branch.ends if end.at == connector.id)
        there = circuits_at(branch, end, circuits, kinds_of(harness))
        bare = branch_bundle(branch, there, harness, catalogue).passes.high
        try:
            wires = sorted(r.high for r in branch_wires(branch, there, harness, catalogue))
        except LabelerError:
            wires = []  # the bundle was measured: it would have been refused otherwise
        if not wires:
            return bare + contact
        base = branch.settings
        without, among = (
            hand_laid_diameter(laid, base.hand_lay_factor, base.hand_lay_allowance)
            for laid in (wires, [max(contact, wires[0]), *wires[1:]])
        )
        return max(contact, bare + among - without)

    return width


def covering_of(settings: Settings, catalogue: Catalogue) -> tuple[Range, str, str]:
    """Return the wall of the covering [mm], where it is from, and its name: a given wall wins over the table."""
    if settings.covering_wall_mm is not None:
        wall = settings.covering_wall_mm
        name = settings.covering if settings.covering != "none" else "covering"
        return Range(wall, wall), f"wall {wall:g} mm given", name
    wall_range, source = catalogue.covering_wall(settings.covering)
    return wall_range, source, settings.covering


def _covering_line(name: str, wall: Range, source: str) -> str:
    walls = f"{wall.low:g}" if wall.low == wall.high else f"{wall.low:g} to {wall.high:g}"
    return f"covering {name}, {walls} mm all round, on top of it: {source}"


def _thicker(bundle_mm: Range, wall: Range) -> Range:
    return Range(bundle_mm.low + 2 * wall.low, bundle_mm.high + 2 * wall.high)
