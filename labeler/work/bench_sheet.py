"""Bench sheet: what the person who builds the harness has to know, as values in the order of the work.

Sleeves to thread on come first, for they are what is forgotten until the connector is on; then what
to cut, how to heat it, what is printed where, what is left out, and each connector's wire ends.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from labeler.errors import refuse
from labeler.model import FAIL, MARGINAL, Fit, InstallationStep, Sheet
from labeler.size.bundles import Sizing
from labeler.tables.document import ENTRIES, TEXT, Form, Key, load, read_table, shipped
from labeler.tables.kinds import KINDS
from labeler.wording import sentences
from labeler.work.branch_pages import BranchPage, CoveringCut, branch_pages, covering_cut, fits_at_ends
from labeler.work.sleeves import (
    ApplyMethod,
    Cut,
    HeatMethod,
    Place,
    SleeveRow,
    TubeTotal,
    cuts_of,
    heat_methods,
    lines_of,
    sleeve_rows,
    totals_of,
)
from labeler.work.wiring import WireEnds, connectors_referred_to, ends_in_no_branch
from labeler.work.wording import place

# ---------------------------------------------------------------- The safety messages of the bench sheet


@dataclass(frozen=True, slots=True)
class SafetyMessage:
    """A safety message with its signal word (ANSI Z535.6), and where it is from."""

    signal_word: str

    title: str
    text: str
    source: str
    source_note: str


SIGNAL_WORDS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
"""By gravity (ANSI Z535.6): will kill or seriously injure, could, minor injury, damage only."""

SAFETY_MESSAGES = Form(
    {
        "message": Key(
            ENTRIES,
            "a safety message of the bench sheet",
            required=True,
            form=Form(
                {
                    "signal_word": Key(
                        TEXT, "how grave it is (ANSI Z535.6)", "CAUTION", required=True, allowed=SIGNAL_WORDS
                    ),
                    "title": Key(TEXT, "what it is about, in a few words", "Hot air", required=True),
                    "text": Key(TEXT, "the message itself", required=True),
                    "source": Key(TEXT, "where the rule or the figure is from", "general practice", required=True),
                    "source_note": Key(TEXT, "how the source was seen", "from memory", required=True),
                },
                named_by="",
            ),
        )
    }
)


@cache
def safety_messages() -> tuple[SafetyMessage, ...]:
    """Return the safety messages of the shipped table, in its order.

    Raises
    ------
    LabelerError : the table is damaged: every row that does not suit.
    """
    read = read_table(load(shipped("data", "safety_messages.toml"), "safety_messages.toml"), SAFETY_MESSAGES)
    refuse(read.all_problems())
    return tuple(SafetyMessage(**row.values) for row in read.rows("message"))


# ---------------------------------------------------------------- sheet


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
    state: str  # omitted | fail | marginal
    reasons: tuple[str, ...]
    fixes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BenchSheet:
    """All that the bench sheet of one unit says, in the order in which it is said."""

    harness: str
    part_number: str
    revision: str
    thread_first: tuple[SleeveRow, ...]
    thread_later: tuple[SleeveRow, ...]
    missing: tuple[Remark, ...]
    cuts: tuple[Cut, ...]
    totals: tuple[TubeTotal, ...]
    practices: tuple[HeatMethod, ...]
    printed: tuple[Printed, ...]
    layings: tuple[ApplyMethod, ...]  # how wraps, strips and flags go on
    safety_messages: tuple[SafetyMessage, ...]
    unit: str = ""
    date: str = ""  # "": left open, to be written by hand
    tight: tuple[Remark, ...] = ()
    connectors: tuple[WireEnds, ...] = ()
    tube_allowance: float = 0.0  # in the totals of tube, a fraction
    coverings: tuple[CoveringCut, ...] = ()
    branches: tuple[BranchPage, ...] = ()
    title: str = "BENCH SHEET"
    job: str = ""  # its number in the build record
    about: str = ""  # of a job that repeats another: which, and why
    put_on: tuple[Remark, ...] = ()  # of a work list: what is neither cut nor slid on, with where it is printed
    take_off: tuple[Remark, ...] = ()  # what a new revision takes away from a unit that was built


def bench_sheet(
    sizing: Sizing,
    fits: Sequence[Fit],
    omitted: Sequence[Fit],
    sheets: Sequence[Sheet],
    order: Sequence[InstallationStep] = (),
    *,
    pages: bool = False,
) -> BenchSheet:
    """Return what the bench sheet of one unit says; its serial, job and date are for the caller to add.

    Parameters
    ----------
    fits : the answers for all markers that are made; one that is in ``omitted`` too is left out.
    omitted : the answers for those that are not made.
    sheets : what is printed, from `labeler.layout.lay_out`.
    order : the order in which sleeves and coverings go on, branch by branch; sleeves that it does
        not name follow in harness order.
    pages : with a page for every branch.

    Raises
    ------
    LabelerError : the table of safety messages is damaged.
    """
    harness = sizing.index.harness
    gone = {fit.marker.id for fit in omitted}
    made = tuple(fit for fit in fits if fit.marker.id not in gone)
    rows = sleeve_rows(harness, made, order)
    sleeves = [row for row in rows if row.at]
    cuts, allowance = cuts_of(sleeves), harness.settings.sleeve.waste_allowance
    listed = ends_in_no_branch if pages else connectors_referred_to
    return BenchSheet(
        harness=harness.name,
        part_number=harness.part_number,
        revision=harness.revision,
        thread_first=tuple(row for row in rows if row.how.closes),
        thread_later=tuple(row for row in rows if not row.how.closes),
        missing=(
            *(_remark(fit, "omitted") for fit in omitted),
            *(_remark(fit, FAIL) for fit in made if fit.result == FAIL),
        ),
        cuts=cuts,
        totals=totals_of(cuts, allowance),
        practices=heat_methods(sleeves),
        printed=printed_of(sheets),
        layings=apply_methods(sheets),
        tight=tuple(_remark(fit, MARGINAL) for fit in made if fit.result == MARGINAL),
        safety_messages=safety_messages(),
        connectors=listed(sizing.index, made),
        tube_allowance=allowance,
        coverings=tuple(_coverings(sizing, made)),
        branches=branch_pages(sizing, made, rows, order, omitted) if pages else (),
    )


def _coverings(sizing: Sizing, fits: Iterable[Fit]) -> Iterator[CoveringCut]:
    at_ends = fits_at_ends(fits)
    for branch in sizing.index.harness.branches:
        cut = covering_cut(branch, at_ends.get(branch.id, {}), sizing.catalogue)
        if cut:
            yield cut


def printed_of(sheets: Iterable[Sheet]) -> tuple[Printed, ...]:
    """Return the sheets by stock; those of cards and reels also by tube, as each is loaded alone."""
    together: dict[tuple[str, str], list[Sheet]] = {}
    for sheet in sheets:
        tube = sheet.load if sheet.stock.kind in ("card", "reel") else ""
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


def apply_methods(sheets: Iterable[Sheet]) -> tuple[ApplyMethod, ...]:
    """Return the kinds that are on these sheets and are not shrunk."""
    counts: Counter[tuple[str, bool]] = Counter()
    for sheet in sheets:
        if KINDS[sheet.stock.marker].apply:
            counts[sheet.stock.marker, sheet.stock.cut_lines] += len(sheet.placed)
    return tuple(ApplyMethod(kind, cut, pieces) for (kind, cut), pieces in counts.items())


def _remark(fit: Fit, state: str) -> Remark:
    marker = fit.marker
    text = " / ".join(lines_of(fit)) if marker.marked else "blank"
    where = f"{marker.kind} {place(Place(marker.branch, marker.place))}"
    return Remark(where, text, state, sentences(fit.reasons), sentences(fit.fixes))
