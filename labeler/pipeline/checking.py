"""Check: read, validate, plan, size, fit; the answer for every marker of a harness file."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from labeler.catalogue import Catalogue, load_catalogue
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.fit import Other, SleevePlace, fit_flag, fit_insert, fit_sleeve, fit_tag, fit_wrap, ways_out, wrap_place
from labeler.fit.code import CodeMaker
from labeler.fit.common import DOES_NOT_FIT, font_of, needed_for
from labeler.fit.wrap import WrapPlace
from labeler.model import (
    Branch,
    BranchEnd,
    Fit,
    Harness,
    Marker,
    Seat,
    Settings,
    Stock,
    TagWords,
    ThreadStep,
    Tube,
    TubeChoice,
)
from labeler.pipeline.coding import Coder
from labeler.plan import Contents, branches_of, circuits_by_branch, confusable, contents_of, plan, tag_words
from labeler.size import choose_tubes, end_seat, threading, wire_seat

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
PLACEHOLDER_UNIT = "0001"  # what a check writes on the tags: no serial is given yet


@dataclass(frozen=True, slots=True)
class Stocks:
    """The stock chosen for each kind of marker; of wraps all that may serve, largest print first."""

    wraps: tuple[Stock, ...]
    tag: Stock
    sleeve: Stock
    insert: Stock
    flag: Stock

    def by_name(self) -> dict[str, Stock]:
        """Return all of them by name."""
        return {stock.name: stock for stock in (*self.wraps, self.tag, self.sleeve, self.insert, self.flag)}


@dataclass(frozen=True, slots=True)
class Checked:
    """A harness with the answer for every marker; ``notes`` are warnings."""

    harness: Harness
    fits: tuple[Fit, ...]
    stocks: Stocks
    notes: tuple[Problem, ...] = ()
    unit: str = PLACEHOLDER_UNIT  # the serial that tags and codes were written for

    @property
    def misfits(self) -> tuple[Fit, ...]:
        """Return the markers that do not fit."""
        return tuple(fit for fit in self.fits if fit.verdict == DOES_NOT_FIT)


@contextmanager
def no_collecting() -> Iterator[None]:
    """Keep the garbage collector off: the stages make very many values and no cycles worth looking for."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


# ---------------------------------------------------------------- check


def choose_stocks(catalogue: Catalogue, paper: str = "A4", names: Sequence[str] = ()) -> Stocks:
    """Return the stock to print on: those named, and for the other kinds what suits the paper.

    Raises `LabelerError` for an unknown name and where a kind has no stock.
    """
    named = [catalogue.stock(name) for name in names]
    size = PAPERS[paper]

    def kind(takes: str) -> list[Stock]:
        asked = [stock for stock in named if stock.takes == takes]
        return asked or [s for s in catalogue.stocks if s.takes == takes and _on_paper(s, size)]

    found = {takes: kind(takes) for takes in ("wrap", "tag", "sleeve", "insert", "flag")}
    refuse(
        Problem(Where("layouts"), f"no {takes} stock for {paper}", "add a stock file, or name one with --stock")
        for takes, stocks in found.items()
        if not stocks
    )
    wraps = sorted(found["wrap"], key=lambda s: -s.print_around_mm)
    return Stocks(tuple(wraps), *(found[takes][0] for takes in ("tag", "sleeve", "insert", "flag")))


def _on_paper(stock: Stock, size: tuple[float, float]) -> bool:
    if stock.takes == "sleeve":
        return True
    return abs(stock.page_width_mm - size[0]) < 0.5 and abs(stock.page_height_mm - size[1]) < 0.5


@no_collecting()
def check(
    file: str,
    *,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    unit: str | Callable[[Harness], str] = PLACEHOLDER_UNIT,
    only: Sequence[str] = (),
) -> Checked:
    """Return the answer for every marker of a harness file, or for those of some roles ``only``.

    Raises `LabelerError` with every problem of the data at once; a marker that does not fit is
    no problem but an answer. ``unit`` is the serial that tags and codes name, or what finds it.
    """
    from labeler.read import read_harness
    from labeler.validate import validate

    catalogue = load_catalogue()
    stocks = choose_stocks(catalogue, paper, stock)
    harness = read_harness(file, settings or {})
    problems = [*harness.notes, *validate(harness, catalogue)]
    markers, planning = plan(harness)
    if only:
        markers = tuple(marker for marker in markers if marker.role in only)
    problems += [*planning, *_glyph_problems(harness, markers), *confusable(markers)]
    refuse(_once(problems))
    serial = unit if isinstance(unit, str) else unit(harness)
    fits = fit_markers(harness, markers, catalogue, stocks, serial)
    threading_of(harness, fits, catalogue)  # what it needs to know is asked for now, not while drawing
    notes = tuple(_once(problem for problem in problems if problem.warning))
    return Checked(harness, fits, stocks, notes, serial)


def threading_of(harness: Harness, fits: Iterable[Fit], catalogue: Catalogue) -> tuple[ThreadStep, ...]:
    """Return the order of threading of every branch that has a marked end, branch by branch.

    Raises `LabelerError` with every size that decides a way on and is not known.
    """
    marked = {fit.marker.branch for fit in fits if fit.marker.role == "branch end"}
    through = circuits_by_branch(harness) if marked else {}
    steps: list[ThreadStep] = []
    problems: list[Problem] = []
    for branch in branches_of(harness):
        if branch.id not in marked:
            continue
        try:
            steps += threading(branch, through[branch.id], harness, catalogue)
        except LabelerError as error:
            problems.extend(error.problems)
    refuse(_once(problems))
    return tuple(steps)


def _once(problems: Iterable[Problem]) -> list[Problem]:
    return list(dict.fromkeys(problems))


def _glyph_problems(harness: Harness, markers: Iterable[Marker]) -> list[Problem]:
    """Return every character that no font has, one problem a marker; all-ASCII texts are passed by.

    A tag is checked with what it is written from: names, descriptions, contents.
    """
    about = (harness.name, harness.part_number, harness.revision, *(c.description for c in harness.connectors))
    contents = {bag.id: tuple(item.item for item in bag.contents) for bag in harness.bags}
    shared = tuple(text for text in about if not text.isascii())
    problems: list[Problem] = []
    for marker in markers:
        text = marker.text
        if marker.role == "bag":
            text = (*text, *shared, *contents.get(marker.at, ()))
        if all(line.isascii() and line.isprintable() for line in text):
            continue
        try:
            font_of(text, marker)
        except LabelerError as error:
            problems.extend(error.problems)
    return problems


def fit_markers(
    harness: Harness, markers: Sequence[Marker], catalogue: Catalogue, stocks: Stocks, unit: str
) -> tuple[Fit, ...]:
    """Return the answer for each marker, in the same order; seats and tubes are worked out once each.

    Raises `LabelerError` with the problems of every marker whose seat cannot be known.
    """
    fitter = _Fitter(harness, catalogue, stocks, unit)
    fits: list[Fit] = []
    problems: list[Problem] = []
    for marker in markers:
        try:
            fits.append(fitter.fit(marker))
        except LabelerError as error:
            problems.extend(error.problems)
    refuse(_once(problems))
    return tuple(fits)


class _Fitter:
    """Sizes and fits markers of one harness, remembering what several of them share."""

    def __init__(self, harness: Harness, catalogue: Catalogue, stocks: Stocks, unit: str) -> None:
        self.harness, self.catalogue, self.stocks, self.unit = harness, catalogue, stocks, unit
        self.circuits = {circuit.id: circuit for circuit in harness.circuits}
        self.ends: dict[tuple[str, str], tuple[Branch, BranchEnd]] = {
            (branch.id, end.at): (branch, end) for branch in branches_of(harness) for end in branch.ends
        }
        self.through = circuits_by_branch(harness)
        self.contents: Contents | None = None
        self.places: dict[tuple[object, ...], WrapPlace | SleevePlace] = {}
        self.kept: list[Settings] = []
        self.choices: dict[tuple[object, ...], TubeChoice] = {}
        self.coder = Coder(harness, unit)

    def fit(self, marker: Marker) -> Fit:
        marker, codes = self.coder.of(marker)
        if marker.role == "bag":
            return fit_tag(marker, self._words(marker), self.stocks.tag, codes)
        if marker.kind == "wrap":
            return self._with_ways_out(fit_wrap(marker, self._wrap_place(marker), codes), (), codes)
        if marker.kind == "flag":
            return fit_flag(marker, self._seat(marker)[0], self.stocks.flag, codes)
        if marker.kind == "insert":
            return self._insert(marker, codes)
        place = self._sleeve_place(marker)
        fit = fit_sleeve(marker, place, codes)
        return self._with_ways_out(fit, place.choice.tubes, codes, place.cut_length_mm)

    def _words(self, marker: Marker) -> TagWords:
        if self.contents is None:
            self.contents = contents_of(self.harness)
        return tag_words(self.harness, self.contents, marker, self.unit)

    def _with_ways_out(
        self, fit: Fit, tubes: tuple[Tube, ...], codes: CodeMaker | None, cut: float | None = None
    ) -> Fit:
        """Return the fit with what would make it fit, worked out only where it does not."""
        if fit.verdict != DOES_NOT_FIT or fit.seat is None:
            return fit
        every = replace(fit.marker.settings, sleeve=tuple(family.name for family in self.catalogue.families))
        other = Other(
            self._choice(fit.seat, every).tubes,
            lambda marker: fit_wrap(marker, self._wrap_place(marker), codes),
            lambda marker: fit_sleeve(marker, self._sleeve_place(marker), codes),
            cut,
            codes,
        )
        return replace(fit, ways_out=ways_out(fit, tubes, other))

    def _insert(self, marker: Marker, codes: CodeMaker | None) -> Fit:
        """Fit a paper strip; the clear sleeve lies over the bundle with the paper on it."""
        seat, cut = self._seat(marker)
        paper = 2 * self.stocks.insert.film_mm
        thick = replace(
            seat, passes=seat.passes + paper, closes_on=seat.closes_on + paper, text_on=seat.text_on + paper
        )
        place = SleevePlace(thick, self._choice(thick, marker.settings), cut)
        return fit_insert(marker, place, self.stocks.insert, codes)

    def _sleeve_place(self, marker: Marker) -> SleevePlace:
        """Return the place of a sleeve; wires of one kind share theirs, a branch end has its own."""
        if marker.role == "branch end":
            seat, cut = self._seat(marker)
            return SleevePlace(seat, self._choice(seat, marker.settings), cut)
        circuit = self.circuits[marker.circuit]
        key = ("sleeve", circuit.size, circuit.wire, circuit.outside_mm, id(marker.settings))
        place = self.places.get(key)
        if not isinstance(place, SleevePlace):
            seat, cut = self._seat(marker)
            place = self.places[key] = SleevePlace(seat, self._choice(seat, marker.settings), cut)
            self.kept.append(marker.settings)
        return place

    def _seat(self, marker: Marker) -> tuple[Seat, float | None]:
        """Return what the marker sits on, and its cut length where that is fixed."""
        if marker.role == "branch end":
            branch, end = self.ends[marker.branch, marker.at]
            return end_seat(branch, end, self.through[branch.id], self.harness, self.catalogue), end.cut_length_mm
        return wire_seat(self.circuits[marker.circuit], self.harness, self.catalogue), None

    def _wrap_place(self, marker: Marker) -> WrapPlace:
        if marker.role == "branch end":
            return wrap_place(self._seat(marker)[0], marker.settings, needed_for(marker), self.stocks.wraps)
        circuit = self.circuits[marker.circuit]
        key = ("wrap", circuit.size, circuit.wire, circuit.outside_mm, id(marker.settings))
        place = self.places.get(key)
        if not isinstance(place, WrapPlace):
            place = wrap_place(self._seat(marker)[0], marker.settings, needed_for(marker), self.stocks.wraps)
            self.places[key] = place
            self.kept.append(marker.settings)  # so that its id stays its own
        return place

    def _choice(self, seat: Seat, settings: Settings) -> TubeChoice:
        key = (
            seat.passes.high,
            seat.closes_on,
            settings.sleeve,
            settings.slip,
            settings.grip,
            settings.preferred_share,
        )
        if key not in self.choices:
            self.choices[key] = choose_tubes(seat, settings, self.catalogue)
        return self.choices[key]
