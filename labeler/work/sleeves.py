"""Sleeves as the bench meets them: threaded on, cut, heated."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from labeler.model import Fit, Harness, ThreadStep
from labeler.tables.colours import colour_name

PRACTICES: Mapping[str, str] = {
    "back first": "heat the plain side first until it has closed, then turn and finish the lettered side",
    "even": "turn the work all the time, so that all sides shrink alike",
    "any": "the lettering allows for heat from any side; keep the nozzle moving",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One sleeve or covering on its way to its place. ``lines`` is empty where a sleeve is plain.

    A covering has its name for ``tube``, and no place, colour, length or heating.
    """

    branch: str
    at: str
    lines: tuple[str, ...]
    tube: str
    colour: str
    cut_length_mm: float
    how: str  # what to thread on, from where, before which step
    heating: str  # a plain sleeve is heated evenly: there is no lettering to spare
    number: int = 0  # in the order of threading of its branch, from 1; 0 where no order is given
    over_strip: bool = False  # clear tube over a paper strip that says the lines; the tube itself is plain

    @property
    def place(self) -> str:
        """Return the place for people: ``B4 at J4``, or ``J4`` where the branch is called so too."""
        if not self.at:
            return self.branch
        return f"{self.branch} at {self.at}" if self.branch not in ("", self.at) else self.at


@dataclass(frozen=True, slots=True)
class Cut:
    """Equal pieces of tube to cut, and the places they are for."""

    tube: str
    colour: str
    cut_length_mm: float
    lettered: bool
    places: tuple[str, ...]
    ends: tuple[tuple[str, str], ...] = ()  # of each place the branch, "" where it is not named, and the end

    @property
    def quantity(self) -> int:
        """Return how many pieces."""
        return len(self.places)


@dataclass(frozen=True, slots=True)
class TubeTotal:
    """All of one tube in one colour, with the allowance for waste."""

    tube: str
    colour: str
    length_m: float


@dataclass(frozen=True, slots=True)
class Practice:
    """One way to heat, and the places it is for."""

    heating: str  # back first | even | any
    how: str
    places: tuple[str, ...]


def steps_of(harness: Harness, fits: Iterable[Fit], threading: Sequence[ThreadStep]) -> tuple[Step, ...]:
    """Return the sleeves branch by branch, in harness order; inside a branch in the order of threading."""
    edges = {(branch.id, end.at): end.from_end_mm for branch in harness.branches for end in branch.ends}
    grouped: dict[str, list[Step]] = {branch.id: [] for branch in harness.branches}
    for fit in fits:
        if fit.marker.kind in ("sleeve", "insert") and fit.tube is not None:
            edge = edges.get((fit.marker.branch, fit.marker.at))
            grouped.setdefault(fit.marker.branch, []).append(_step(fit, fit.tube.name, edge))
    places = {(step.branch, step.at): place for place, step in enumerate(threading)}
    for step in threading:
        if not step.at:
            grouped.setdefault(step.branch, []).append(Step(step.branch, "", (), step.what, "", 0.0, step.how, ""))
    for steps in grouped.values():
        steps.sort(key=lambda step: places.get((step.branch, step.at), len(places)))
    return tuple(
        replace(step, number=number) if (step.branch, step.at) in places else step
        for steps in grouped.values()
        for number, step in enumerate(steps, 1)
    )


def how_on(fit: Fit, edge_mm: float | None) -> str:
    """Return how a sleeve goes on and where it comes to lie; ``edge_mm`` from its connector, where that is given."""
    marker = fit.marker
    how = [fit.seat.slip_on if fit.seat else ""]
    if fit.seat and fit.tube and fit.seat.obstacle:
        how.append(f"{fit.tube.supplied_mm - fit.seat.passes.high:.1f} mm to spare")
    if marker.kind == "insert":
        how.append("wind the paper strip on under it before shrinking")
    elif marker.lettered and marker.role == "branch end":
        towards = marker.settings.reading == "towards the end"
        how.append(f"{'end' if towards else 'start'} of the line to {marker.at}")
    if fit.code is not None and marker.settings.heating == "even":
        how.append(f"carries a {fit.code.kind} code: heat it evenly")
    if edge_mm is not None:
        how.append(f"edge {edge_mm:g} mm from {marker.at}")
    how.append(over_edge(fit))
    return "; ".join(filter(None, how))


def _step(fit: Fit, tube: str, edge_mm: float | None) -> Step:
    marker = fit.marker
    code = marker.settings.tube_colour if marker.kind == "sleeve" else "clear"
    return Step(
        branch=marker.branch,
        at=marker.at,
        lines=lines_of(fit) if marker.lettered else (),
        tube=tube,
        colour=colour_name(code) or code,
        cut_length_mm=fit.cut_length_mm,
        how=how_on(fit, edge_mm),
        heating=marker.settings.heating if marker.lettered and marker.kind == "sleeve" else "even",
        over_strip=marker.kind == "insert",
    )


def on_bare_mm(fit: Fit) -> float:
    """Return how much of a shrunk sleeve lies on the bare wires next to its end, mm, the middle of what it may be."""
    if len(fit.parts) < 2:
        return 0.0
    step = fit.seat.step if fit.seat else None
    bare = fit.parts[1] if step is None or step.towards_end else fit.parts[0]
    return (bare.shrunk_mm.low + bare.shrunk_mm.high) / 2


def over_edge(fit: Fit) -> str:
    """Return where a sleeve lies that straddles the edge of a covering, for people; ``""`` for the others."""
    bare = on_bare_mm(fit)
    return f"{bare:.0f} mm of it on the bare wires, the rest over the edge of the covering" if bare else ""


def lines_of(fit: Fit) -> tuple[str, ...]:
    """Return what a marker says, line by line, as far as that is settled."""
    return fit.lines or fit.marker.text


def goes_before(how: str) -> bool:
    """Tell whether a seat's instruction names a step that would shut the way: "… before …"."""
    return "before" in how.replace(",", " ").split()


def cuts_of(steps: Iterable[Step]) -> tuple[Cut, ...]:
    """Return the equal pieces together, tube by tube as they first occur, long pieces first."""
    equal: dict[tuple[str, str], dict[tuple[float, bool], list[Step]]] = {}
    for step in steps:
        lengths = equal.setdefault((step.tube, step.colour), {})
        lettered = bool(step.lines) and not step.over_strip
        lengths.setdefault((step.cut_length_mm, lettered), []).append(step)
    return tuple(
        Cut(
            tube,
            colour,
            length,
            lettered,
            tuple(step.place for step in same),
            tuple((step.branch if step.branch != step.at else "", step.at) for step in same),
        )
        for (tube, colour), lengths in equal.items()
        for (length, lettered), same in sorted(lengths.items(), key=lambda cut: cut[0], reverse=True)
    )


def totals_of(cuts: Iterable[Cut], allowance: float) -> tuple[TubeTotal, ...]:
    """Return how much tube the pieces take, m, with an allowance for waste (a fraction)."""
    millimetres: dict[tuple[str, str], float] = {}
    for cut in cuts:
        tube = cut.tube, cut.colour
        millimetres[tube] = millimetres.get(tube, 0.0) + cut.quantity * cut.cut_length_mm
    return tuple(TubeTotal(*tube, round(length * (1 + allowance) / 1000, 6)) for tube, length in millimetres.items())


def practices_of(steps: Sequence[Step]) -> tuple[Practice, ...]:
    """Return the ways to heat that occur, each with its sleeves."""
    places = {heating: tuple(step.place for step in steps if step.heating == heating) for heating in PRACTICES}
    return tuple(Practice(heating, PRACTICES[heating], found) for heating, found in places.items() if found)
