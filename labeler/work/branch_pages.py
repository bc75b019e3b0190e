"""A page for each branch: the order of the work, a picture to scale, what to cut, and its pins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from labeler.model import Branch, BranchEnd, Circuit, Connector, Fit, Harness, Settings, ThreadStep
from labeler.tables.catalogue import load_catalogue
from labeler.work.sleeves import PRACTICES, Cut, Step, cuts_of, lines_of, on_bare_mm, over_edge
from labeler.work.wiring import WireEnds, wire_ends_at

COVERING_STEP_MM = 5.0  # lengths of covering are whole steps: it is cut with shears, not to the millimetre


@dataclass(frozen=True, slots=True)
class Work:
    """One step to tick off. ``part`` is the heading it stands under."""

    part: str  # thread on | terminate | place and shrink
    what: str
    detail: str = ""


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
class BranchPage:
    """All that the page of one branch says, in the order in which it is said."""

    branch: str
    between: str
    facts: tuple[tuple[str, str], ...]
    work: tuple[Work, ...]
    picture: Picture
    cuts: tuple[Cut, ...]
    covering: CoveringCut | None
    pins: tuple[WireEnds, ...]
    absent: tuple[Absent, ...] = ()


@dataclass(frozen=True, slots=True)
class Absent:
    """A marker of the branch, or of a wire in it, that was left out: what stays without, and why."""

    at: str
    circuit: str  # "" for one of a branch end
    kind: str
    text: str
    why: str

    @property
    def threaded(self) -> bool:
        """Tell whether it would have been threaded on."""
        return self.kind in ("sleeve", "insert")

    @property
    def what(self) -> str:
        """Return what a person is told instead of the step."""
        return f"NOT THERE: {self.kind} {self.text} at {self.at} was left out"


@dataclass(frozen=True, slots=True)
class CoveringCut:
    """A covering of a branch. ``length_mm`` is None where the branch's length is not known."""

    covering: str
    branch: str
    length_mm: float | None
    wound: bool = False  # wound or laid around the wires: that length of the branch is covered, nothing is cut


def branch_pages(
    harness: Harness,
    circuits: Mapping[str, tuple[Circuit, ...]],
    fits: Sequence[Fit],
    steps: Sequence[Step],
    threading: Sequence[ThreadStep],
    left_out: Sequence[Fit] = (),
) -> tuple[BranchPage, ...]:
    """Return a page for each branch of a harness.

    Parameters
    ----------
    circuits : what runs through each branch, by its id.
    fits : the answers for the markers that are made.
    steps : sleeves and coverings in the order of threading, from `labeler.bench.sleeves.steps_of`.
    threading : that order, with its ways on.
    left_out : the answers for the markers that are not made: the page says so where each would be.
    """
    at_ends = {(f.marker.branch, f.marker.at): f for f in fits if f.marker.role == "branch end"}
    on_wires: dict[str, list[Fit]] = {}
    for fit in fits:
        if fit.marker.on_wire:
            on_wires.setdefault(fit.marker.circuit, []).append(fit)
    return tuple(
        _page(
            harness,
            branch,
            circuits.get(branch.id, ()),
            {end.at: at_ends.get((branch.id, end.at)) for end in branch.ends},
            [fit for circuit in circuits.get(branch.id, ()) for fit in on_wires.get(circuit.id, ())],
            [step for step in steps if step.branch == branch.id],
            {step.at: step for step in threading if step.branch == branch.id},
            _absent_of(branch, circuits.get(branch.id, ()), left_out),
        )
        for branch in harness.branches
    )


def _page(
    harness: Harness,
    branch: Branch,
    circuits: tuple[Circuit, ...],
    ends: Mapping[str, Fit | None],
    on_wires: Sequence[Fit],
    steps: Sequence[Step],
    threading: Mapping[str, ThreadStep],
    absent: tuple[Absent, ...],
) -> BranchPage:
    known = {connector.id: connector for connector in harness.connectors}
    settings = branch.settings
    reached = [known.get(name, Connector(name)) for name in _reached(branch, circuits)]
    covering = covering_cut(branch, settings, ends)
    work = (
        *(Work("thread on", each.what, each.why) for each in absent if each.threaded),
        *_thread(steps, threading, covering, on_wires, later=False),
        *_terminate(branch, reached, on_wires, _ends_here(harness, circuits)),
        *_thread(steps, threading, None, (), later=True),
        *_place(branch, ends, covering),
        *(Work("place and shrink", each.what, each.why) for each in absent if not each.threaded),
    )
    return BranchPage(
        branch=branch.id,
        between=" – ".join(" ".join(filter(None, (each.id, each.description))) for each in reached),
        facts=tuple(_facts(branch, circuits, ends, covering)),
        work=work,
        picture=_picture(branch, known, ends, covering, frozenset(each.at for each in absent if not each.circuit)),
        cuts=cuts_of([step for step in steps if step.at]),
        covering=covering,
        pins=wire_ends_at([each for each in reached if each.kind != "junction"], circuits, on_wires),
        absent=absent,
    )


def _absent_of(branch: Branch, circuits: Sequence[Circuit], left_out: Iterable[Fit]) -> tuple[Absent, ...]:
    """Return the markers that were left out at the ends of a branch and on its wires."""
    through = {circuit.id for circuit in circuits}
    return tuple(
        Absent(
            fit.marker.at,
            fit.marker.circuit if fit.marker.on_wire else "",
            fit.marker.kind,
            f"“{' / '.join(lines_of(fit))}”" if fit.marker.lettered else "plain",
            "; ".join((*fit.reasons, *(f"what helps: {way}" for way in fit.ways_out[:1])))
            + "; mark this place by hand, or mend the harness file and print what that changes",
        )
        for fit in left_out
        if (fit.marker.role == "branch end" and fit.marker.branch == branch.id)
        or (fit.marker.on_wire and fit.marker.circuit in through)
    )


def _reached(branch: Branch, circuits: Iterable[Circuit]) -> list[str]:
    """Return the connectors of a page: the branch's ends, or where one alone is named, its wires' other ends too."""
    named = [end.at for end in branch.ends]
    if len(named) > 1:
        return named
    far = dict.fromkeys(pin.connector for circuit in circuits for pin in (circuit.start, circuit.finish))
    return [*named, *(name for name in far if name not in named)]


# ---------------------------------------------------------------- facts


def _facts(
    branch: Branch, circuits: Sequence[Circuit], ends: Mapping[str, Fit | None], covering: CoveringCut | None
) -> Iterator[tuple[str, str]]:
    sizes: dict[str, int] = {}
    for circuit in circuits:
        sizes[circuit.size or "given diameter"] = sizes.get(circuit.size or "given diameter", 0) + 1
    yield "wires", ", ".join(f"{count} × {size}" for size, count in sizes.items()) or "measured as one bundle"
    seats = [fit.seat for fit in ends.values() if fit and fit.seat]
    if seats:
        seat = seats[0]
        yield "diameter", f"{seat.closes_on.low:.2f} to {max(s.text_on.high for s in seats):.2f} mm on {seat.sits_on}"
    if covering:
        what = ("over", "over the") if covering.wound else ("cut", "cut it to the")
        length = f"{what[0]} {covering.length_mm:g} mm" if covering.length_mm else f"{what[1]} measured branch"
        yield "covering", f"{covering.covering}, {length}"
    yield "length", f"{round(branch.length_mm, 1):g} mm" if branch.length_mm else "not given"


def covering_cut(branch: Branch, settings: Settings, ends: Mapping[str, Fit | None]) -> CoveringCut | None:
    """Return the covering of a branch, or None where it has none.

    Its edges stand where the sleeves over them say, else at the branch's ends; the allowance of the
    settings is added and the length rounded up to 5 mm.
    """
    if settings.covering == "none" and not settings.covering_wall_mm:
        return None
    name = settings.covering if settings.covering != "none" else "covering"
    wound = not load_catalogue().is_threaded(settings.covering)
    if branch.length_mm is None:
        return CoveringCut(name, branch.id, None, wound)
    free = sum(covering_edge(end, ends.get(end.at)) or 0.0 for end in branch.ends)
    length = max(branch.length_mm - free, 0.0) * (1 + settings.covering_allowance)
    return CoveringCut(name, branch.id, ceil(round(length / COVERING_STEP_MM, 6)) * COVERING_STEP_MM, wound)


def covering_edge(end: BranchEnd, fit: Fit | None) -> float | None:
    """Return how far from its connector a covering's edge stands, mm; None where the file leaves that open."""
    if end.from_end_mm is None:
        return None
    return end.from_end_mm + (on_bare_mm(fit) if fit else 0.0)


# ---------------------------------------------------------------- the order of the work


def _thread(
    steps: Sequence[Step],
    threading: Mapping[str, ThreadStep],
    covering: CoveringCut | None,
    on_wires: Sequence[Fit],
    *,
    later: bool,
) -> Iterator[Work]:
    """Yield what is threaded on while the way is open, or what still passes when all is done."""
    for step in steps:
        order = threading.get(step.at)
        if order is None or bool(order.before) == later:
            continue
        if step.at:
            says = f"“{' / '.join(step.lines)}”" if step.lines else "plain"
            what = f"Sleeve {says}: {step.tube}, {step.colour}, {step.cut_length_mm:g} mm"
        else:
            length = f", {covering.length_mm:g} mm" if covering and covering.length_mm else ""
            what = f"Covering: {order.what}{length}"
        yield Work("thread on", what, order.how)
    sleeves: dict[str, int] = {}
    for fit in on_wires:
        if fit.marker.kind in ("sleeve", "insert"):
            at = fit.marker.at.split(":")[0]
            sleeves[at] = sleeves.get(at, 0) + 1
    for at, count in sleeves.items():
        what = f"{count} wire sleeve{'s' if count > 1 else ''} at {at}, each on its own wire"
        yield Work("thread on", what, "before the wire's contact is crimped; what they say stands in the pin table")


def _ends_here(harness: Harness, circuits: Sequence[Circuit]) -> dict[str, tuple[int, int]]:
    """Return, by connector, how many wire ends of a branch go into it, and how many go into it in all."""
    here, everywhere = _count_ends(circuits), _count_ends(harness.circuits)
    return {name: (count, everywhere.get(name, count)) for name, count in here.items()}


def _count_ends(circuits: Sequence[Circuit]) -> dict[str, int]:
    return Counter(pin.connector for circuit in circuits for pin in (circuit.start, circuit.finish))


def _terminate(
    branch: Branch, connectors: Sequence[Connector], on_wires: Sequence[Fit], ends_here: Mapping[str, tuple[int, int]]
) -> Iterator[Work]:
    """Yield what is done at each connector: markers on its wires first, while they are free."""
    given = {end.at: end for end in branch.ends}
    for connector in connectors:
        name, end = connector.id, given.get(connector.id, BranchEnd(connector.id, settings=branch.settings))
        here, everywhere = ends_here.get(name, (0, 0))
        wrapped = [f for f in on_wires if f.marker.kind in ("wrap", "flag") and f.marker.at.split(":")[0] == name]
        if wrapped:
            what = f"Put {len(wrapped)} wire marker{'s' if len(wrapped) > 1 else ''} on at {name}"
            yield Work("terminate", what, "each around its wire; what they say stands in the pin table")
        if connector.kind == "junction":
            yield Work("terminate", f"Join the branches at {name}")
        if end.fitted or connector.kind not in ("connector", "splice", "ring terminal"):
            continue
        if connector.kind != "connector":
            if not end.crimped:
                yield Work(
                    "terminate", f"{'Make the splice' if connector.kind == 'splice' else 'Crimp the terminal'} {name}"
                )
            continue
        if not end.crimped:
            yield Work("terminate", f"Crimp the contacts of {name}")
        if here < everywhere:
            lock = f"lock it once all {everywhere} wires are in"
            yield Work("terminate", f"Pin {here} wires into {name}", f"cavity by cavity, see the pin table; {lock}")
        else:
            yield Work("terminate", f"Pin {name}, then lock it", "cavity by cavity, see the pin table")


def _place(branch: Branch, ends: Mapping[str, Fit | None], covering: CoveringCut | None) -> Iterator[Work]:
    part = "place and shrink"
    if covering and covering.wound:
        over = f"over {covering.length_mm:g} mm" if covering.length_mm else "over the measured branch"
        yield Work(part, f"Wind or lay on the {covering.covering}", over)
    for end in branch.ends:
        edge = covering_edge(end, ends.get(end.at))
        if covering and edge is not None:
            yield Work(part, f"Lay the edge of the {covering.covering} {edge:.0f} mm from {end.at}")
    for end in branch.ends:
        fit = ends.get(end.at)
        if fit is None:
            continue
        says = f"“{' / '.join(fit.lines)}”" if fit.lines else "The plain sleeve"
        where = f"its edge {end.from_end_mm:g} mm from {end.at}" if end.from_end_mm is not None else f"at {end.at}"
        straddle = over_edge(fit)
        if fit.marker.kind == "sleeve":
            practice = PRACTICES[fit.marker.settings.heating if fit.marker.lettered else "even"]
            yield Work(part, f"{says}: {where}, shrink it", "; ".join(filter(None, (straddle, practice))))
        elif fit.marker.kind == "insert":
            detail = "; ".join(filter(None, ("wind the strip on, draw the clear sleeve over it, shrink it", straddle)))
            yield Work(part, f"{says}: {where}", detail)
        else:
            yield Work(part, f"{says}: {where}, a {fit.marker.kind}", "lay it around the branch")


# ---------------------------------------------------------------- the picture

USUAL_EDGE_MM = 25.0
"""Where a marker is drawn whose place the file leaves open; the picture says that it is open."""


def _picture(
    branch: Branch,
    known: Mapping[str, Connector],
    ends: Mapping[str, Fit | None],
    covering: CoveringCut | None,
    absent: frozenset[str],
) -> Picture:
    drawn = tuple(
        replace(_drawn_end(end, known.get(end.at, Connector(end.at)), ends.get(end.at)), absent=end.at in absent)
        for end in branch.ends
    )
    first = ends.get(branch.ends[0].at) if branch.ends else None
    turned = bool(first and first.marker.settings.reading == "towards the end")
    if turned:
        drawn = drawn[::-1]  # so that the first end's lettering stands upright: its line ends on the right
    return Picture(branch.length_mm, covering.covering if covering else "", drawn, turned)


def _drawn_end(end: BranchEnd, connector: Connector, fit: Fit | None) -> DrawnEnd:
    bare = covered = 0.0
    marker = None
    if fit and fit.seat:
        bare = (fit.seat.closes_on.low + fit.seat.closes_on.high) / 2
        covered = max(bare, (fit.seat.text_on.low + fit.seat.text_on.high) / 2)
        marker = _drawn_marker(end, fit, covered)
    return DrawnEnd(end.at, connector.kind, bare, covered, marker)


def _drawn_marker(end: BranchEnd, fit: Fit, on_mm: float) -> DrawnMarker | None:
    edge, asked = (USUAL_EDGE_MM, False) if end.from_end_mm is None else (end.from_end_mm, True)
    if fit.parts:
        length = sum((part.shrunk_mm.low + part.shrunk_mm.high) / 2 for part in fit.parts)
    elif fit.face:
        length = fit.face.width_mm
    else:
        return None
    outside = (fit.outside_mm[1] + fit.outside_mm[2]) / 2 if fit.outside_mm else on_mm
    return DrawnMarker(fit, edge, asked, length, outside, on_bare_mm(fit))
