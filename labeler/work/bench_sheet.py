"""Bench sheet: what the person who builds the harness has to know, as values in the order of the work.

Sleeves to thread on come first, for they are what is forgotten until the connector is on; then what
to cut, how to heat it, what is printed where, what is left out, and each connector's wire ends.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from labeler.errors import refuse
from labeler.model import DOES_NOT_FIT, TIGHT, Circuit, Fit, Harness, Sheet, ThreadStep
from labeler.tables.document import ENTRIES, TEXT, Form, Key, load, read_table, shipped
from labeler.work.branch_pages import BranchPage, CoveringCut, branch_pages, covering_cut
from labeler.work.sleeves import (
    Cut,
    Practice,
    Step,
    TubeTotal,
    cuts_of,
    goes_before,
    lines_of,
    practices_of,
    steps_of,
    totals_of,
)
from labeler.work.wiring import WireEnds, connectors_referred_to, ends_in_no_branch

# ---------------------------------------------------------------- The cautions of the bench sheet


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning with where it is from."""

    about: str
    text: str
    source: str
    seen: str


CAUTIONS = Form(
    {
        "caution": Key(
            ENTRIES,
            "a caution of the bench sheet",
            required=True,
            form=Form(
                {
                    "about": Key(TEXT, "what it is about, in a few words", "Hot air", required=True),
                    "text": Key(TEXT, "the caution itself", required=True),
                    "source": Key(TEXT, "where the rule or the figure is from", "general practice", required=True),
                    "seen": Key(TEXT, "how the source was seen", "from memory", required=True),
                },
                named_by="",
            ),
        )
    }
)


@cache
def cautions() -> tuple[Caution, ...]:
    """Return the cautions of the shipped table, in its order.

    Raises
    ------
    LabelerError : the table is damaged: every row that does not suit.
    """
    read = read_table(load(shipped("data", "cautions.toml"), "cautions.toml"), CAUTIONS)
    refuse(read.all_problems())
    return tuple(Caution(**row.values) for row in read.rows("caution"))


# ---------------------------------------------------------------- sheet


@dataclass(frozen=True, slots=True)
class Printed:
    """The sheets of one stock (of a card or reel: of one tube) and their numbers in the job."""

    stock: str
    about: str
    pieces: int
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Laying:
    """How one kind of marker that is not shrunk goes on, and how many there are."""

    kind: str  # wrap | insert | flag
    how: str
    pieces: int


@dataclass(frozen=True, slots=True)
class Remark:
    """A marker that is left out, does not fit or is tight, with the reasons and what would help."""

    place: str
    text: str
    state: str  # left out | does not fit | tight
    reasons: tuple[str, ...]
    ways_out: tuple[str, ...] = ()


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
    tube_allowance: float = 0.0  # in the totals of tube, a fraction
    coverings: tuple[CoveringCut, ...] = ()
    branches: tuple[BranchPage, ...] = ()
    title: str = "BENCH SHEET"
    job: str = ""  # its number in the build record
    about: str = ""  # of a job that repeats another: which, and why
    put_on: tuple[Remark, ...] = ()  # of a work list: what is neither cut nor threaded on, with where it is printed
    layings: tuple[Laying, ...] = ()  # how wraps, strips and flags go on
    take_off: tuple[Remark, ...] = ()  # what a new revision takes away from a unit that was built


def bench_sheet(
    harness: Harness,
    unit: str,
    fits: Sequence[Fit],
    left_out: Sequence[Fit],
    sheets: Sequence[Sheet],
    *,
    date: str = "",
    threading: Sequence[ThreadStep] = (),
    circuits: Mapping[str, tuple[Circuit, ...]] | None = None,
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
    circuits : what runs through each branch, by its id: the sheet then has a page for every branch.

    Raises
    ------
    LabelerError : the table of cautions is damaged.
    """
    gone = {fit.marker.id for fit in left_out}
    made = tuple(fit for fit in fits if fit.marker.id not in gone)
    steps = steps_of(harness, made, threading)
    sleeves = [step for step in steps if step.at]
    cuts = cuts_of(sleeves)
    settings = harness.settings
    pages = branch_pages(harness, circuits, made, steps, threading, left_out) if circuits is not None else ()
    return BenchSheet(
        harness=harness.name,
        part_number=harness.part_number,
        revision=harness.revision,
        unit=unit,
        date=date,
        thread_first=tuple(step for step in steps if goes_before(step.how)),
        thread_later=tuple(step for step in steps if not goes_before(step.how)),
        missing=tuple(_missing(made, left_out)),
        cuts=cuts,
        totals=totals_of(cuts, settings.cut_allowance),
        practices=practices_of(sleeves),
        printed=printed_of(sheets),
        layings=layings_of(sheets),
        tight=tuple(_remark(fit, TIGHT) for fit in made if fit.verdict == TIGHT),
        cautions=cautions(),
        connectors=connectors_referred_to(harness, made)
        if circuits is None
        else ends_in_no_branch(harness, circuits, made),
        tube_allowance=settings.cut_allowance,
        coverings=tuple(_coverings(harness, made)),
        branches=pages,
    )


def _coverings(harness: Harness, fits: Iterable[Fit]) -> Iterator[CoveringCut]:
    at_ends = {(fit.marker.branch, fit.marker.at): fit for fit in fits if fit.marker.role == "branch end"}
    for branch in harness.branches:
        settings = branch.settings
        ends = {end.at: at_ends.get((branch.id, end.at)) for end in branch.ends}
        cut = covering_cut(branch, settings, ends)
        if cut:
            yield cut


def printed_of(sheets: Iterable[Sheet]) -> tuple[Printed, ...]:
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


LAYINGS: Mapping[str, str] = {
    "wrap": "on a clean, dry wire: printed part first, text along the wire, then the clear tail wound over it",
    "insert": "wind it around, text outside and along the wires, draw the clear sleeve over it, then shrink that",
    "flag": "lay the wire across the middle, fold there, press the halves together edge to edge",
    "paper flag": "fold at the ticks around the wire, and glue the halves together edge to edge",
}
"""How what is not shrunk goes on: common practice."""


def layings_of(sheets: Iterable[Sheet]) -> tuple[Laying, ...]:
    """Return how the kinds that are on these sheets and are not shrunk go on, as their stock is made."""
    counts: dict[tuple[str, bool], int] = {}
    for sheet in sheets:
        kind = sheet.stock.takes, sheet.stock.cut_lines
        if kind[0] in LAYINGS:
            counts[kind] = counts.get(kind, 0) + len(sheet.placed)
    return tuple(Laying(kind, _laid(kind, cut), pieces) for (kind, cut), pieces in counts.items())


def _laid(kind: str, cut: bool) -> str:
    how = LAYINGS["paper flag" if kind == "flag" and cut else kind]
    return f"cut it out along the lines; {how}" if cut else how


def _missing(made: Iterable[Fit], left_out: Iterable[Fit]) -> Iterator[Remark]:
    yield from (_remark(fit, "left out") for fit in left_out)
    yield from (_remark(fit, DOES_NOT_FIT) for fit in made if fit.verdict == DOES_NOT_FIT)


def _remark(fit: Fit, state: str) -> Remark:
    marker = fit.marker
    place = f"{marker.branch} at {marker.at}" if marker.branch not in ("", marker.at) else marker.at
    text = " / ".join(lines_of(fit)) if marker.lettered else "plain"
    return Remark(f"{marker.kind} {place}", text, state, fit.reasons, fit.ways_out)
