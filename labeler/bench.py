"""Bench sheet: what the person who builds the harness has to know, as values in the order of the work.

Sleeves to thread on come first, for they are what is forgotten until the connector is on; then what
to cut, how to heat it, what is printed where, what is left out, and each connector's wire ends.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

from labeler.colours import colour_name
from labeler.errors import refuse
from labeler.model import SEE_BENCH_SHEET, Circuit, Connector, Fit, Harness, Pin, Sheet, ThreadStep
from labeler.tables import Form, Key, checked, load, shipped

TIGHT, DOES_NOT_FIT = "tight", "does not fit"

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

    @property
    def quantity(self) -> int:
        """Return how many pieces."""
        return len(self.places)


@dataclass(frozen=True, slots=True)
class TubeTotal:
    """All of one tube in one colour, without waste."""

    tube: str
    colour: str
    length_m: float


@dataclass(frozen=True, slots=True)
class Practice:
    """One way to heat, and the places it is for."""

    heating: str  # back first | even | any
    how: str
    places: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Printed:
    """The sheets of one stock (of a card or reel: of one tube) and their numbers in the job."""

    stock: str
    about: str
    pieces: int
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Remark:
    """A marker that is left out, does not fit or is tight, with the reasons and what would help."""

    place: str
    text: str
    state: str  # left out | does not fit | tight
    reasons: tuple[str, ...]
    ways_out: tuple[str, ...] = ()


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


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning with where it is from."""

    about: str
    text: str
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class BenchSheet:
    """All that the bench sheet of one unit says, in the order in which it is said."""

    harness: str
    part_number: str
    revision: str
    unit: str
    date: str  # "": left open, to be written by hand
    thread_first: tuple[Step, ...]
    thread_later: tuple[Step, ...]
    missing: tuple[Remark, ...]
    cuts: tuple[Cut, ...]
    totals: tuple[TubeTotal, ...]
    practices: tuple[Practice, ...]
    printed: tuple[Printed, ...]
    tight: tuple[Remark, ...]
    cautions: tuple[Caution, ...]
    connectors: tuple[WireEnds, ...]


def bench_sheet(
    harness: Harness,
    unit: str,
    fits: Sequence[Fit],
    left_out: Sequence[Fit],
    sheets: Sequence[Sheet],
    *,
    date: str = "",
    threading: Sequence[ThreadStep] = (),
) -> BenchSheet:
    """Return what the bench sheet of one unit says.

    Parameters
    ----------
    unit : serial number of the unit.
    fits : the answers for all markers that are made; one that is in ``left_out`` too is left out.
    left_out : the answers for those that are not made.
    sheets : what is printed, from `labeler.layout.lay_out`.
    date : as it shall be written; left open where it is not given.
    threading : the order in which sleeves and coverings go on, branch by branch; sleeves that it does
        not name follow in harness order.

    Raises
    ------
    LabelerError : the table of cautions is damaged.
    """
    gone = {fit.marker.id for fit in left_out}
    made = tuple(fit for fit in fits if fit.marker.id not in gone)
    steps = _steps(harness, made, threading)
    sleeves = [step for step in steps if step.at]
    cuts = _cuts(sleeves)
    return BenchSheet(
        harness=harness.name,
        part_number=harness.part_number,
        revision=harness.revision,
        unit=unit,
        date=date,
        thread_first=tuple(step for step in steps if _goes_before(step.how)),
        thread_later=tuple(step for step in steps if not _goes_before(step.how)),
        missing=tuple(_missing(made, left_out)),
        cuts=cuts,
        totals=_totals(cuts),
        practices=_practices(sleeves),
        printed=_printed(sheets),
        tight=tuple(_remark(fit, TIGHT) for fit in made if fit.verdict == TIGHT),
        cautions=cautions(),
        connectors=_connectors(harness, made),
    )


# ---------------------------------------------------------------- sleeves


def _steps(harness: Harness, fits: Iterable[Fit], threading: Sequence[ThreadStep]) -> tuple[Step, ...]:
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
        replace(step, number=number if (step.branch, step.at) in places else 0)
        for steps in grouped.values()
        for number, step in enumerate(steps, 1)
    )


def _step(fit: Fit, tube: str, edge_mm: float | None) -> Step:
    marker = fit.marker
    code = marker.settings.tube_colour if marker.kind == "sleeve" else "clear"
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
    return Step(
        branch=marker.branch,
        at=marker.at,
        lines=_lines(fit) if marker.lettered else (),
        tube=tube,
        colour=colour_name(code) or code,
        cut_length_mm=fit.cut_length_mm,
        how="; ".join(filter(None, how)),
        heating=marker.settings.heating if marker.lettered and marker.kind == "sleeve" else "even",
    )


def _lines(fit: Fit) -> tuple[str, ...]:
    return fit.lines or fit.marker.text


def _goes_before(how: str) -> bool:
    """Tell whether a seat's instruction names a step that would shut the way: "… before …"."""
    return "before" in how.replace(",", " ").split()


def _cuts(steps: Iterable[Step]) -> tuple[Cut, ...]:
    """Return the equal pieces together, tube by tube as they first occur, long pieces first."""
    equal: dict[tuple[str, str], dict[tuple[float, bool], list[str]]] = {}
    for step in steps:
        lengths = equal.setdefault((step.tube, step.colour), {})
        lengths.setdefault((step.cut_length_mm, bool(step.lines)), []).append(step.place)
    return tuple(
        Cut(tube, colour, length, lettered, tuple(places))
        for (tube, colour), lengths in equal.items()
        for (length, lettered), places in sorted(lengths.items(), key=lambda cut: cut[0], reverse=True)
    )


def _totals(cuts: Iterable[Cut]) -> tuple[TubeTotal, ...]:
    millimetres: dict[tuple[str, str], float] = {}
    for cut in cuts:
        tube = cut.tube, cut.colour
        millimetres[tube] = millimetres.get(tube, 0.0) + cut.quantity * cut.cut_length_mm
    return tuple(TubeTotal(*tube, round(length / 1000, 6)) for tube, length in millimetres.items())


def _practices(steps: Sequence[Step]) -> tuple[Practice, ...]:
    """Return the ways to heat that occur, each with its sleeves."""
    places = {heating: tuple(step.place for step in steps if step.heating == heating) for heating in PRACTICES}
    return tuple(Practice(heating, PRACTICES[heating], found) for heating, found in places.items() if found)


# ---------------------------------------------------------------- what is printed, and what is not


def _printed(sheets: Iterable[Sheet]) -> tuple[Printed, ...]:
    """Return the sheets by stock; those of cards and reels also by tube, as each is loaded alone."""
    together: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in sheets:
        tube = sheet.group if sheet.stock.kind in ("card", "reel") else ""
        together.setdefault((sheet.stock.name, tube), []).append(sheet)
    return tuple(
        Printed(
            stock,
            tube or those[0].stock.description,
            sum(len(sheet.placed) for sheet in those),
            tuple(sheet.number for sheet in those),
        )
        for (stock, tube), those in together.items()
    )


def _missing(made: Iterable[Fit], left_out: Iterable[Fit]) -> Iterator[Remark]:
    yield from (_remark(fit, "left out") for fit in left_out)
    yield from (_remark(fit, DOES_NOT_FIT) for fit in made if fit.verdict == DOES_NOT_FIT)


def _remark(fit: Fit, state: str) -> Remark:
    marker = fit.marker
    place = f"{marker.branch} at {marker.at}" if marker.branch not in ("", marker.at) else marker.at
    text = " / ".join(_lines(fit)) if marker.lettered else "plain"
    return Remark(f"{marker.kind} {place}", text, state, fit.reasons, fit.ways_out)


# ---------------------------------------------------------------- wire ends


def _connectors(harness: Harness, fits: Iterable[Fit]) -> tuple[WireEnds, ...]:
    """Return the wire ends of the connectors whose tags refer to this sheet, cavities in natural order."""
    wanted = {name for f in fits if _refers_here(f) for name in f.marker.far.split(", ")}
    if not wanted:
        return ()
    markers = {(f.marker.circuit, f.marker.at): _lines(f) for f in fits if f.marker.role == "wire end"}
    found: dict[str, list[WireEnd]] = {connector.id: [] for connector in harness.connectors}
    for circuit in harness.circuits:
        for near, far in ((circuit.start, circuit.finish), (circuit.finish, circuit.start)):
            if near.connector not in wanted:
                continue
            end = _wire_end(circuit, near, far, markers.get((circuit.id, str(near)), ()))
            found.setdefault(near.connector, []).append(end)
    known = {connector.id: connector for connector in harness.connectors}
    return tuple(
        WireEnds(name, _about(known.get(name)), tuple(sorted(ends, key=_by_cavity)))
        for name, ends in found.items()
        if ends
    )


def _refers_here(fit: Fit) -> bool:
    return fit.marker.role == "bag" and any(line.endswith(SEE_BENCH_SHEET) for line in fit.lines)


def _wire_end(circuit: Circuit, near: Pin, far: Pin, marker: tuple[str, ...]) -> WireEnd:
    return WireEnd(near.cavity, circuit.id, circuit.colour, circuit.size, circuit.signal, str(far), marker)


def _about(connector: Connector | None) -> str:
    if connector is None:
        return ""
    cavities = f"{connector.cavities} cavities" if connector.cavities else ""
    kind = connector.kind if connector.kind != "connector" else ""
    return ", ".join(filter(None, (connector.description, kind, cavities)))


def _by_cavity(end: WireEnd) -> tuple[bool, int, str]:
    """Return the sort key: numbered cavities by number, named ones after them."""
    numbered = end.cavity.isascii() and end.cavity.isdecimal()
    return not numbered, int(end.cavity) if numbered and len(end.cavity) < 10 else 0, end.cavity


# ---------------------------------------------------------------- cautions

CAUTION: Form = {key: Key("text", needed=True) for key in ("about", "text", "source", "seen")}


@cache
def cautions() -> tuple[Caution, ...]:
    """Return the cautions of the shipped table, in its order.

    Raises
    ------
    LabelerError : the table is damaged: every row that does not suit.
    """
    document = load(shipped("data", "cautions.toml"), "cautions.toml")
    rows = [
        checked(row, CAUTION, document.at("about"), f"caution {n}")
        for n, row in enumerate(document.values.get("caution", ()), 1)
    ]
    refuse(problem for _, problems in rows for problem in problems)
    return tuple(Caution(**values) for values, _ in rows)
