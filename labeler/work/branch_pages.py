"""A page for each branch: the order of the work, a picture to scale, what to cut, and its pins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from labeler.harness import HarnessIndex
from labeler.model import (
    CRIMP_CONTACTS,
    CRIMP_TERMINAL,
    JOIN_BRANCHES,
    MAKE_SPLICE,
    Branch,
    BranchEnd,
    Circuit,
    ClosingStep,
    Connector,
    Fit,
    Installation,
    InstallationStep,
    Range,
    Seat,
)
from labeler.size.bundles import Sizing
from labeler.tables.catalogue import Catalogue
from labeler.tables.kinds import SLID_ON
from labeler.work.sleeves import Cut, SleeveRow, cuts_of, on_bare_mm
from labeler.work.wiring import WireEnds, wire_ends_at

COVERING_STEP_MM = 5.0  # lengths of covering are whole steps: it is cut with shears, not to the millimetre


# ---------------------------------------------------------------- steps of the work


@dataclass(frozen=True, slots=True)
class Install:
    """Slide a sleeve or a covering on; of a covering its length, None where it is not known or said elsewhere."""

    row: SleeveRow
    how: Installation
    length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class MarkWires:
    """Put the markers of single wires on, slid on or laid around them."""

    at: str
    count: int
    slid_on: bool


@dataclass(frozen=True, slots=True)
class InsertContacts:
    """Insert the contacts of a branch's wires into a connector that holds ``total`` wires."""

    at: str
    count: int
    total: int


@dataclass(frozen=True, slots=True)
class PlaceEdge:
    """Lay the edge of a covering at its place."""

    covering: str
    edge_mm: float
    at: str


@dataclass(frozen=True, slots=True)
class PlaceMarker:
    """Bring the marker of a branch end to its place and shrink it, or lay it around."""

    fit: Fit
    edge_mm: float | None


@dataclass(frozen=True, slots=True)
class OmittedMarker:
    """A marker of the branch, or of a wire in it, that was left out: the place stays without."""

    fit: Fit

    @property
    def slid_on(self) -> bool:
        """Return whether it would have been slid on."""
        return self.fit.marker.kind in SLID_ON


@dataclass(frozen=True, slots=True)
class CoveringCut:
    """A covering of a branch; as a step, wind or lay it around the branch.

    ``length_mm`` is None where the branch's length is not known.
    """

    covering: str
    branch: str
    length_mm: float | None
    wound: bool = False  # wound or laid around the wires: that length of the branch is covered, nothing is cut


WorkStep = Install | MarkWires | ClosingStep | InsertContacts | CoveringCut | PlaceEdge | PlaceMarker | OmittedMarker


# ---------------------------------------------------------------- what a page says


@dataclass(frozen=True, slots=True)
class DrawnMarker:
    """A sleeve, strip or label as it lies on a branch end, mm, the middle of what it may become.

    ``edge_mm`` is from the connector to the edge that is next to it; ``asked`` tells whether the
    harness file gives it. ``past_edge_mm`` of the length lies on the bare wires, next to the end.
    """

    fit: Fit
    edge_mm: float
    asked: bool
    length_mm: float
    outside_mm: float
    past_edge_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class DrawnEnd:
    """One end of a branch in its picture. Diameters are the middle of their ranges; 0 where not known."""

    at: str
    kind: str
    bare_mm: float
    covered_mm: float
    marker: DrawnMarker | None = None
    absent: bool = False  # it has a marker that was left out


@dataclass(frozen=True, slots=True)
class Picture:
    """What the drawing of a branch shows. Without ``length_mm`` it has no scale along its length."""

    length_mm: float | None
    covering: str  # "": none
    ends: tuple[DrawnEnd, ...]
    turned: bool = False  # the first end lies on the right, also where it is the only one


@dataclass(frozen=True, slots=True)
class BranchFacts:
    """What the head of a page says of its branch."""

    sizes: Mapping[str, int]  # how many wires of which size; "": of a given diameter
    diameter: tuple[Range, Seat] | None  # over all its markers, and the seat that is named
    covering: CoveringCut | None
    length_mm: float | None


@dataclass(frozen=True, slots=True)
class BranchPage:
    """All that the page of one branch says, in the order in which it is said."""

    branch: str
    between: tuple[Connector, ...]
    facts: BranchFacts
    work: tuple[WorkStep, ...]
    picture: Picture
    cuts: tuple[Cut, ...]
    pins: tuple[WireEnds, ...]
    omitted: tuple[OmittedMarker, ...] = ()


@dataclass(frozen=True, slots=True)
class _Limb:
    """All of the bench's work that is done on one branch."""

    branch: Branch
    circuits: tuple[Circuit, ...]
    ends: Mapping[str, Fit]
    on_wires: Sequence[Fit]
    rows: Sequence[SleeveRow]
    order: Mapping[str, InstallationStep]
    omitted: tuple[OmittedMarker, ...]
    covering: CoveringCut | None
    reached: tuple[Connector, ...]


def branch_pages(
    sizing: Sizing,
    fits: Sequence[Fit],
    rows: Sequence[SleeveRow],
    order: Sequence[InstallationStep],
    omitted: Sequence[Fit] = (),
) -> tuple[BranchPage, ...]:
    """Return a page for each branch of a harness.

    Parameters
    ----------
    fits : the answers for the markers that are made.
    rows : sleeves and coverings in the order of installation, from `labeler.work.sleeves.sleeve_rows`.
    order : that order, with how each goes on.
    omitted : the answers for the markers that are not made: the page says so where each would be.
    """
    index = sizing.index
    at_ends = fits_at_ends(fits)
    on_wires: dict[str, list[Fit]] = {}
    for fit in fits:
        if fit.marker.on_wire:
            on_wires.setdefault(fit.marker.circuit, []).append(fit)
    pages = []
    for branch in index.harness.branches:
        circuits = index.through[branch.id]
        ends = at_ends.get(branch.id, {})
        limb = _Limb(
            branch,
            circuits,
            ends,
            [fit for circuit in circuits for fit in on_wires.get(circuit.id, ())],
            [row for row in rows if row.branch == branch.id],
            {step.place: step for step in order if step.branch == branch.id},
            tuple(map(OmittedMarker, _omitted_of(branch, circuits, omitted))),
            covering_cut(branch, ends, sizing.catalogue),
            tuple(index.connector(name) for name in _reached(branch, circuits)),
        )
        pages.append(_page(limb, index))
    return tuple(pages)


def _page(limb: _Limb, index: HarnessIndex) -> BranchPage:
    absent = frozenset(each.fit.marker.place for each in limb.omitted if not each.fit.marker.on_wire)
    return BranchPage(
        branch=limb.branch.id,
        between=limb.reached,
        facts=_facts(limb),
        work=(
            *(each for each in limb.omitted if each.slid_on),
            *_install(limb, later=False),
            *_install_on_wires(limb, index),
            *_terminate(limb, index),
            *_install(limb, later=True),
            *_place(limb),
            *(each for each in limb.omitted if not each.slid_on),
        ),
        picture=_picture(limb, absent),
        cuts=cuts_of([row for row in limb.rows if row.at]),
        pins=wire_ends_at([c for c in limb.reached if c.kind != "breakout"], limb.circuits, limb.on_wires, index),
        omitted=limb.omitted,
    )


def _omitted_of(branch: Branch, circuits: Sequence[Circuit], omitted: Iterable[Fit]) -> Iterator[Fit]:
    """Yield the markers that were left out at the ends of a branch and on its wires."""
    through = {circuit.id for circuit in circuits}
    for fit in omitted:
        at_end = fit.marker.role == "branch end" and fit.marker.branch == branch.id
        if at_end or (fit.marker.on_wire and fit.marker.circuit in through):
            yield fit


def _reached(branch: Branch, circuits: Iterable[Circuit]) -> list[str]:
    """Return the connectors of a page: the branch's ends, or where one alone is named, its wires' other ends too."""
    named = [end.at for end in branch.ends]
    if len(named) > 1:
        return named
    far = dict.fromkeys(pin.connector for circuit in circuits for pin in (circuit.start, circuit.finish))
    return [*named, *(name for name in far if name not in named)]


def _facts(limb: _Limb) -> BranchFacts:
    seats = [seat for end in limb.branch.ends if end.at in limb.ends and (seat := limb.ends[end.at].seat)]
    diameter = (Range(seats[0].grip.low, max(s.text_diameter.high for s in seats)), seats[0]) if seats else None
    sizes = Counter(circuit.size for circuit in limb.circuits)
    return BranchFacts(sizes, diameter, limb.covering, limb.branch.length_mm)


def fits_at_ends(fits: Iterable[Fit]) -> dict[str, dict[str, Fit]]:
    """Return the answers for the markers at the ends of branches, by branch and connector."""
    found: dict[str, dict[str, Fit]] = {}
    for fit in fits:
        if fit.marker.role == "branch end":
            found.setdefault(fit.marker.branch, {})[fit.marker.place] = fit
    return found


def covering_cut(branch: Branch, ends: Mapping[str, Fit], catalogue: Catalogue) -> CoveringCut | None:
    """Return the covering of a branch, or None where it has none.

    Its edges stand where the sleeves over them say, else at the branch's ends; the allowance of the
    settings is added and the length rounded up to 5 mm.
    """
    settings = branch.settings
    if settings.covering == "none" and not settings.covering_wall_mm:
        return None
    name = settings.covering if settings.covering != "none" else "covering"
    wound = not catalogue.slides_on(settings.covering)
    if branch.length_mm is None:
        return CoveringCut(name, branch.id, None, wound)
    free = sum(covering_edge(end, ends.get(end.at)) or 0.0 for end in branch.ends)
    length = max(branch.length_mm - free, 0.0) * (1 + settings.bundle.covering_allowance)
    return CoveringCut(name, branch.id, ceil(round(length / COVERING_STEP_MM, 6)) * COVERING_STEP_MM, wound)


def covering_edge(end: BranchEnd, fit: Fit | None) -> float | None:
    """Return how far from its connector a covering's edge stands, mm; None where the file leaves that open."""
    if end.distance_from_connector_mm is None:
        return None
    return end.distance_from_connector_mm + (on_bare_mm(fit) if fit else 0.0)


# ---------------------------------------------------------------- the order of the work


def _install(limb: _Limb, *, later: bool) -> Iterator[WorkStep]:
    """Yield what is slid on while its access end is open, or what still goes on when all is done."""
    for row in limb.rows:
        step = limb.order.get(row.at)
        if step is None or (step.how.before is None) != later:
            continue
        known = limb.covering and not row.at and not later
        yield Install(row, step.how, limb.covering.length_mm if limb.covering and known else None)


def _install_on_wires(limb: _Limb, index: HarnessIndex) -> Iterator[WorkStep]:
    sleeves = [fit.marker for fit in limb.on_wires if fit.marker.kind in SLID_ON]
    counts = Counter(index.connector_at(marker) or marker.place for marker in sleeves)
    return (MarkWires(at, count, slid_on=True) for at, count in counts.items())


def _terminate(limb: _Limb, index: HarnessIndex) -> Iterator[WorkStep]:
    """Yield what is done at each connector: markers on its wires first, while they are free."""
    given = {end.at: end for end in limb.branch.ends}
    counts = Counter(pin.connector for circuit in limb.circuits for pin in (circuit.start, circuit.finish))
    wrapped = Counter(index.connector_at(f.marker) for f in limb.on_wires if f.marker.kind not in SLID_ON)
    settings = limb.branch.settings
    for connector in limb.reached:
        name, kind = connector.id, connector.kind
        end = given.get(name) or BranchEnd(name, settings=settings)
        if wrapped[name]:
            yield MarkWires(name, wrapped[name], slid_on=False)
        if kind == "breakout":
            yield ClosingStep(JOIN_BRANCHES, (name,))
        if end.connector_installed or kind not in CRIMPING:
            continue
        if not end.contacts_crimped:
            yield ClosingStep(CRIMPING[kind], (name,))
        if kind == "connector":
            total = sum(1 for _ in index.circuit_ends(name)) if counts[name] else 0
            yield InsertContacts(name, counts[name], total)


CRIMPING = {"connector": CRIMP_CONTACTS, "splice": MAKE_SPLICE, "ring terminal": CRIMP_TERMINAL}
"""What ends the wires at each kind of connector."""


def _place(limb: _Limb) -> Iterator[WorkStep]:
    covering = limb.covering
    if covering and covering.wound:
        yield covering
    for end in limb.branch.ends:
        edge = covering_edge(end, limb.ends.get(end.at))
        if covering and edge is not None:
            yield PlaceEdge(covering.covering, edge, end.at)
    for end in limb.branch.ends:
        fit = limb.ends.get(end.at)
        if fit is not None:
            yield PlaceMarker(fit, end.distance_from_connector_mm)


# ---------------------------------------------------------------- the picture

USUAL_EDGE_MM = 25.0
"""Where a marker is drawn whose place the file leaves open; the picture says that it is open."""


def _picture(limb: _Limb, absent: frozenset[str]) -> Picture:
    branch, ends = limb.branch, limb.ends
    kinds = {connector.id: connector.kind for connector in limb.reached}
    drawn = tuple(_drawn_end(end, kinds[end.at], ends.get(end.at), end.at in absent) for end in branch.ends)
    first = ends.get(branch.ends[0].at) if branch.ends else None
    turned = bool(first and first.marker.settings.sleeve.reads == "towards connector")
    if turned:
        drawn = drawn[::-1]  # so that the first end's lettering stands upright: its line ends on the right
    return Picture(branch.length_mm, limb.covering.covering if limb.covering else "", drawn, turned)


def _drawn_end(end: BranchEnd, kind: str, fit: Fit | None, absent: bool) -> DrawnEnd:
    bare = covered = 0.0
    marker = None
    if fit and fit.seat:
        bare = (fit.seat.grip.low + fit.seat.grip.high) / 2
        covered = max(bare, (fit.seat.text_diameter.low + fit.seat.text_diameter.high) / 2)
        marker = _drawn_marker(end, fit, covered)
    return DrawnEnd(end.at, kind, bare, covered, marker, absent)


def _drawn_marker(end: BranchEnd, fit: Fit, on_mm: float) -> DrawnMarker | None:
    edge, asked = (
        (USUAL_EDGE_MM, False) if end.distance_from_connector_mm is None else (end.distance_from_connector_mm, True)
    )
    if fit.sections:
        length = sum((part.shrunk_mm.low + part.shrunk_mm.high) / 2 for part in fit.sections)
    elif fit.face:
        length = fit.face.width_mm
    else:
        return None
    outside = (fit.tube_od_mm[1] + fit.tube_od_mm[2]) / 2 if fit.tube_od_mm else on_mm
    return DrawnMarker(fit, edge, asked, length, outside, on_bare_mm(fit))
