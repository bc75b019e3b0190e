"""Check: read, validate, plan, size, fit; the answer for every marker of a harness file."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from labeler.branches import branches_of, circuits_by_branch
from labeler.catalogue import Catalogue, load_catalogue
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.fit import (
    Change,
    Other,
    Room,
    SleevePlace,
    fit_flag,
    fit_insert,
    fit_sleeve,
    fit_tag,
    fit_wrap,
    room_of,
    ways_out,
    within_branches,
    wrap_place,
)
from labeler.fit.common import font_of, needed_for
from labeler.fit.wrap import WrapPlace, served
from labeler.layout import stock_problems
from labeler.model import (
    DOES_NOT_FIT,
    SEE_BENCH_SHEET,
    Branch,
    BranchEnd,
    Circuit,
    Fit,
    Harness,
    Marker,
    Range,
    Seat,
    Settings,
    Stock,
    Symbol,
    ThreadStep,
    TubeChoice,
)
from labeler.pipeline.handing import Track, untracked
from labeler.plan import Contents, confusable, contents_of, plan, tag_words
from labeler.read import AS_IT_STANDS, Wanted, read_harness
from labeler.size import choose_tubes, done_ends, end_seat, threading, wire_seat

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
SAME_MM = 0.5  # by so much may a page be off the paper it is called after
SERIAL = "{serial}"  # in a text: the unit's serial stands there
INSTEAD: Mapping[str, tuple[str, ...]] = {
    "sleeve": ("wrap", "insert"),
    "insert": ("wrap", "flag"),
    "wrap": ("sleeve", "flag"),
    "flag": ("wrap", "sleeve"),
}  # the kinds that are looked at where another does not fit
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
    of_unit: tuple[Marker, ...] = ()  # as planned: the markers that say for which unit they are

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

    Of wraps those named come first, and after them the others, for wires that those do not serve.
    Raises `LabelerError` for an unknown name and where a kind has no stock.
    """
    named = [catalogue.stock(name) for name in names]

    def kind(takes: str) -> list[Stock]:
        asked = [stock for stock in named if stock.takes == takes]
        return asked or [s for s in catalogue.stocks if s.takes == takes and _on_paper(s, paper)]

    found = {takes: kind(takes) for takes in ("wrap", "tag", "sleeve", "insert", "flag")}
    refuse(
        Problem(Where("layouts"), f"no {takes} stock for {paper}", "add a stock file, or name one with --stock")
        for takes, stocks in found.items()
        if not stocks
    )
    others = [s for s in catalogue.stocks if s.takes == "wrap" and _on_paper(s, paper) and s not in found["wrap"]]
    wraps = [s for some in (found["wrap"], others) for s in sorted(some, key=lambda s: -s.print_around_mm)]
    return Stocks(tuple(wraps), *(found[takes][0] for takes in ("tag", "sleeve", "insert", "flag")))


def _on_paper(stock: Stock, paper: str) -> bool:
    """Whether a stock is a sheet of this paper; what sleeves lie on only must not belong to another paper."""
    if stock.takes == "sleeve":
        others = [width for name, (width, _) in PAPERS.items() if name != paper]
        return not any(abs(stock.page_width_mm - width) < SAME_MM for width in others)
    width, height = PAPERS[paper]
    return abs(stock.page_width_mm - width) < SAME_MM and abs(stock.page_height_mm - height) < SAME_MM


def _kept_elsewhere(named: Iterable[Stock], fits: Sequence[Fit], stocks: Stocks) -> Iterator[Problem]:
    """Yield a note for each stock that was asked for and serves only some of its markers, or none."""
    used = {fit.stock or (stocks.sleeve.name if fit.face else "") for fit in fits}
    wraps = [fit for fit in fits if fit.marker.kind == "wrap" and fit.seat is not None]
    for stock in named:
        on = [fit.seat.text_on for fit in wraps if fit.stock != stock.name and fit.seat is not None]
        if stock.takes == "wrap" and on:
            wires = served(stock)
            text = (
                f"{stock.name} serves {wires.low:.2f} to {wires.high:.2f} mm: {len(on)} of {len(wraps)} wraps, on "
                f"{min(r.low for r in on):.2f} to {max(r.high for r in on):.2f} mm, are not on it"
            )
            yield Problem(Where("--stock"), text, "they are on stock that serves their wires", warning=True)
        elif stock.name not in used:
            fix = f"choose the kind {stock.takes} in the harness file, or another --stock"
            text = f"{stock.name} takes {stock.takes}s, and no marker of this job goes on it"
            yield Problem(Where("--stock"), text, fix, warning=True)


@no_collecting()
def check(
    file: str,
    *,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    unit: str = PLACEHOLDER_UNIT,
    only: Sequence[str] = (),
    track: Track = untracked,
    date: str = "",
    wanted: Wanted = AS_IT_STANDS,
) -> Checked:
    """Return the answer for every marker of a harness file, or for those of some roles ``only``.

    ``track`` is handed the markers while they are fitted, to show how far that has come; ``date``
    stands on the tags.

    Raises `LabelerError` with every problem of the data at once; a marker that does not fit is
    no problem but an answer.
    """
    from labeler.validate import validate

    catalogue = load_catalogue()
    stocks = choose_stocks(catalogue, paper, stock)
    harness = read_harness(file, settings or {}, wanted)
    problems = [*harness.notes, *validate(harness, catalogue)]
    markers, planning = plan(harness)
    if only:
        markers = tuple(marker for marker in markers if marker.role in only)
    problems += [*planning, *_glyph_problems(harness, markers), *confusable(markers)]
    refuse(_once(problems))
    fits = fit_markers(harness, markers, catalogue, stocks, unit, track, date)
    refuse(problem for used in stocks_of(fits, stocks).values() for problem in stock_problems(used))
    problems += _kept_elsewhere([catalogue.stock(name) for name in stock], fits, stocks)
    threading_of(harness, fits, catalogue)  # what it needs to know is asked for now, not while drawing
    notes = tuple(_once(p for p in (*problems, *_empty_tags(fits)) if p.warning))
    of_unit = tuple(marker for marker in markers if marker.role == "bag" or _names_unit(marker))
    return Checked(harness, fits, stocks, notes, of_unit)


def _empty_tags(fits: Iterable[Fit]) -> Iterator[Problem]:
    """Yield a warning for each bag whose tag lists nothing."""
    for fit in fits:
        if fit.marker.role == "bag" and fit.face and not fit.face.boxes and SEE_BENCH_SHEET not in " ".join(fit.lines):
            text = f"bag {fit.marker.at}: nothing is listed on its tag"
            yield Problem(fit.marker.where, text, "name its branch, its connector or its contents", warning=True)


def stocks_of(fits: Iterable[Fit], stocks: Stocks) -> dict[str, Stock]:
    """Return the stocks that the markers that fit are printed on, by name."""
    named = stocks.by_name()
    names = (fit.stock or stocks.sleeve.name for fit in fits if fit.face and fit.verdict != DOES_NOT_FIT)
    return {name: named[name] for name in dict.fromkeys(names)}


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
    harness: Harness,
    markers: Sequence[Marker],
    catalogue: Catalogue,
    stocks: Stocks,
    unit: str,
    track: Track = untracked,
    date: str = "",
) -> tuple[Fit, ...]:
    """Return the answer for each marker, in the same order; seats and tubes are worked out once each.

    A bag's second tag is left out where all that it says is on the first.

    Raises `LabelerError` with the problems of every marker whose seat cannot be known.
    """
    fitter = _Fitter(harness, catalogue, stocks, unit, date)
    fitter.planned = {m.text[0]: m for m in markers if m.role == "bag" and len(m.text) > 1}
    fits: list[Fit] = []
    problems: list[Problem] = []
    for marker in track(markers, "fitting"):
        try:
            made = fitter.fit(_for_unit(marker, unit) if _names_unit(marker) else marker)
            if made is not None:
                fits.append(made)
        except LabelerError as error:
            problems.extend(error.problems)
    refuse(_once(problems))
    return within_branches(fits, harness.branches)


def _names_unit(marker: Marker) -> bool:
    return any(SERIAL in line for line in marker.text)


def _for_unit(marker: Marker, unit: str) -> Marker:
    return replace(marker, text=tuple(line.replace(SERIAL, unit) for line in marker.text))


class _Fitter:
    """Sizes and fits markers of one harness, remembering what several of them share."""

    def __init__(self, harness: Harness, catalogue: Catalogue, stocks: Stocks, unit: str, date: str) -> None:
        self.harness, self.catalogue, self.stocks, self.unit, self.date = harness, catalogue, stocks, unit, date
        self.circuits = {circuit.id: circuit for circuit in harness.circuits}
        self.ends: dict[tuple[str, str], tuple[Branch, BranchEnd]] = {
            (branch.id, end.at): (branch, end) for branch in branches_of(harness) for end in branch.ends
        }
        self.through = circuits_by_branch(harness)
        self.done = done_ends(branches_of(harness), self.through, harness)
        self.contents: Contents | None = None
        self.planned: dict[str, Marker] = {}  # by bag: the second tags that may be needed, for the pins
        self.second_tags: dict[str, Fit] = {}  # … and those that are
        self.places: dict[tuple[object, ...], WrapPlace | SleevePlace] = {}
        self.kept: list[Settings] = []
        self.choices: dict[tuple[object, ...], TubeChoice] = {}
        self.sleeve_room: Room = room_of(stocks.sleeve, catalogue.stocks)
        self.strip_room: Room = room_of(stocks.insert)

    def fit(self, marker: Marker) -> Fit | None:
        if marker.role == "bag":
            return self._tag(marker)
        if marker.kind in ("wrap", "flag"):
            answer = self._on_film(marker)
            return answer if answer.verdict != DOES_NOT_FIT else self._film_ways(answer)
        place = self._sleeve_place(marker)
        answer = self._under_tube(marker, place)
        return answer if answer.verdict != DOES_NOT_FIT else self._tube_ways(answer, place)

    def _tag(self, marker: Marker) -> Fit | None:
        """Fit a bag's tag: its contents with the pins where both go on; else the pins have the second, or none."""
        bag = marker.text[0]
        if len(marker.text) > 1:
            return self.second_tags.get(bag)
        for pins in ("all", ""):
            fit = self._written(marker, pins)
            second = self._second(bag) if not pins else None
            if second is not None and second.verdict == DOES_NOT_FIT:
                fit, second = self._written(marker, "elsewhere"), None
            if fit.verdict != DOES_NOT_FIT:
                break
        if second is not None:
            self.second_tags[bag] = second
        return fit

    def _second(self, bag: str) -> Fit | None:
        marker = self.planned.get(bag)
        return self._written(marker) if marker else None

    def _written(self, marker: Marker, pins: str = "") -> Fit:
        if self.contents is None:
            self.contents = contents_of(self.harness)
        words = tag_words(self.harness, self.contents, marker, self.unit, self.date, pins)
        return fit_tag(marker, words, self.stocks.tag, make_symbol)

    def _on_film(self, marker: Marker) -> Fit:
        if marker.kind == "wrap":
            return fit_wrap(marker, self._wrap_place(marker))
        return fit_flag(marker, self._seat(marker)[0], self.stocks.flag)

    def _under_tube(self, marker: Marker, place: SleevePlace) -> Fit:
        if marker.kind == "insert":
            return fit_insert(marker, place, self.stocks.insert)
        return fit_sleeve(marker, place)

    def _other_kind(self, marker: Marker) -> Fit:
        if marker.kind in ("wrap", "flag"):
            return self._on_film(marker)
        return self._under_tube(marker, self._sleeve_place(marker))

    def _film_ways(self, fit: Fit) -> Fit:
        """Return a wrap or flag that does not fit with what would make it fit."""
        other = Other(lambda change: self._on_film(change.marker), kinds=self._kinds(fit))
        return replace(fit, ways_out=ways_out(fit, other))

    def _tube_ways(self, fit: Fit, place: SleevePlace) -> Fit:
        """Return a sleeve or insert that does not fit with what would make it fit."""
        every = replace(fit.marker.settings, sleeve=tuple(family.name for family in self.catalogue.families))

        def refit(change: Change) -> Fit:
            seat, choice = place.seat, place.choice
            if change.free:
                seat = without_obstacle(seat)
                choice = self._choice(seat, change.marker.settings)
            elif change.tubes is not None:
                choice = TubeChoice(change.tubes)
            there = SleevePlace(seat, choice, change.cut_mm, change.room or place.room)
            return self._under_tube(change.marker, there)

        tubes = self._choice(place.seat, every).tubes
        other = Other(refit, tubes, self._kinds(fit), place.cut_length_mm, place.room)
        return replace(fit, ways_out=ways_out(fit, other))

    def _kinds(self, fit: Fit) -> dict[str, Callable[[Marker], Fit]]:
        def other(marker: Marker) -> Fit:
            try:
                return self._other_kind(marker)
            except LabelerError:  # the way on of a sleeve is not known there
                return fit

        return dict.fromkeys(INSTEAD[fit.marker.kind], other)

    def _sleeve_place(self, marker: Marker) -> SleevePlace:
        """Return the place of a sleeve or insert; wires of one kind share theirs, a branch end has its own."""
        if marker.role == "branch end":
            return self._new_sleeve_place(marker)
        circuit = self.circuits[marker.circuit]
        kind = (circuit.size, circuit.wire, circuit.outside_mm, id(marker.settings))
        key = (marker.kind, *kind, *self._way(marker, circuit))
        place = self.places.get(key)
        if not isinstance(place, SleevePlace):
            place = self.places[key] = self._new_sleeve_place(marker)
            self.kept.append(marker.settings)
        return place

    def _new_sleeve_place(self, marker: Marker) -> SleevePlace:
        """A clear sleeve lies over the bundle with the paper on it, where the text stands."""
        seat, cut = self._seat(marker)
        if marker.kind == "insert":
            paper = 2 * self.stocks.insert.film_mm
            seat = replace(seat, passes=seat.passes + paper, text_on=seat.text_on + paper)
        room = self.strip_room if marker.kind == "insert" else self.sleeve_room
        return SleevePlace(seat, self._choice(seat, marker.settings), cut, room)

    def _seat(self, marker: Marker) -> tuple[Seat, float | None]:
        """Return what the marker sits on, and its cut length where that is fixed."""
        if marker.role == "branch end":
            branch, end = self.ends[marker.branch, marker.at]
            through = self.through[branch.id]
            return end_seat(branch, end, through, self.harness, self.catalogue, marker.kind), end.cut_length_mm
        circuit = self.circuits[marker.circuit]
        at = self._connector(marker, circuit)
        return wire_seat(circuit, self.harness, self.catalogue, marker.kind, at, self.done), None

    def _connector(self, marker: Marker, circuit: Circuit) -> str:
        """Return the connector that a wire marker stands at, "" where it stands in between."""
        return next((pin.connector for pin in (circuit.start, circuit.finish) if str(pin) == marker.at), "")

    def _way(self, marker: Marker, circuit: Circuit) -> tuple[str, ...]:
        """Return what tells a wire's way on from others of its kind: nothing while no end of it is done."""
        ends = (circuit.start.connector, circuit.finish.connector)
        if not self.done or not any((circuit.id, end) in self.done for end in ends):
            return ()
        return (circuit.id, marker.at)

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


def without_obstacle(seat: Seat) -> Seat:
    """Return a seat with nothing to pass on the way but what the marker sits on."""
    parts = (seat.closes_on, seat.text_on, *((seat.step.closes_on,) if seat.step else ()))
    widest = max(part.high for part in parts)
    return replace(seat, passes=Range(min(seat.passes.low, widest), widest), obstacle="", in_time="")


def make_symbol(payload: str, x_mm: float, y_mm: float, side_mm: float, dpi: float) -> Symbol:
    """Return a QR code in the middle of a square that includes its quiet zone."""
    from labeler.codes import QUIET_ZONE_MODULES, place_qr, qr

    rows = qr(payload)
    share = len(rows) / (len(rows) + 2 * QUIET_ZONE_MODULES)
    symbol = place_qr(rows, payload, 0.0, 0.0, side_mm * share, dpi)
    inset = (side_mm - len(rows) * symbol.module_x_mm) / 2
    return replace(symbol, x_mm=round(x_mm + inset, 4), y_mm=round(y_mm + inset, 4))
