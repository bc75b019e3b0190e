"""Fitting: every marker of one harness sized and fitted, with what would make it fit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby
from operator import attrgetter
from string import ascii_uppercase
from typing import TypeVar, cast

from labeler.codes.payload import payload_of
from labeler.codes.symbols import PROPOSED, SYMBOLOGIES, symbols
from labeler.errors import LabelerError, Problem, refuse
from labeler.fitting.code import CodeMaker
from labeler.fitting.film import WrapPlace, fit_flag, fit_insert, fit_wrap, wrap_place
from labeler.fitting.remedies import Change, Other, fixes_for, with_settings
from labeler.fitting.result import needed_for
from labeler.fitting.sleeve import SleevePlace, fit_sleeve, room_of, within_branches
from labeler.fitting.tag import fit_tag
from labeler.job.order import Track, untracked
from labeler.model import (
    FAIL,
    Code,
    Fit,
    Harness,
    Marker,
    Range,
    Seat,
    Settings,
    Stock,
    TubeChoice,
    fact,
)
from labeler.plan import tag_words
from labeler.size.bundles import Sizing, branch_bundle, covering_of
from labeler.size.seats import end_seat, wire_seat, without_obstacle
from labeler.size.tubes import choose_tubes
from labeler.tables.kinds import KINDS, SLID_ON
from labeler.text import load_font

Made = TypeVar("Made")

# ---------------------------------------------------------------- Which markers carry a code


def carries_code(marker: Marker) -> bool:
    """Return whether a marker is to carry a code."""
    settings = marker.settings
    return settings.code.symbology != "none" and marker.kind in settings.code.on and marker.marked


def code_problems(markers: Iterable[Marker], harness: Harness, unit: str) -> Iterator[Problem]:
    """Yield why codes cannot say what they are to say in a unit, such as a serial that readers take differently."""
    for marker in filter(carries_code, markers):
        try:
            payload_of(marker, harness, unit)
        except LabelerError as error:
            yield from error.problems


def coded(marker: Marker, harness: Harness, unit: str) -> tuple[Marker, CodeMaker | None]:
    """Return a marker as it is to be fitted for a unit, and the maker of its symbols; None: it carries none.

    A sleeve with a matrix code asks for even heating: heated from behind first, its modules may
    come out 0.10 to 0.14 off square on many seats.
    """
    if not carries_code(marker):
        return marker, None
    settings, marker = marker.settings, heated(marker)

    def make(kind: str, rule: str) -> Iterator[Code]:
        data = payload_of(marker, harness, unit, rule)
        try:
            yield from symbols(kind or settings.code.symbology, data, settings.code.error_correction)
        except LabelerError as error:
            if not kind:  # another kind is only looked at as a way out
                raise LabelerError(
                    *(Problem(marker.where, f"{marker.place}: {p.message}", p.fix) for p in error.problems)
                ) from error

    return marker, CodeMaker(make, SYMBOLOGIES[settings.code.symbology].linear, PROPOSED)


def heated(marker: Marker) -> Marker:
    """Return a marker that carries a code as it is heated: a sleeve with a matrix code evenly."""
    settings = marker.settings
    printed = KINDS[marker.kind].tube == "marked"
    if printed and settings.sleeve.heating == "unmarked side first" and not SYMBOLOGIES[settings.code.symbology].linear:
        return with_settings(marker, {"sleeve.heating": "even"})
    return marker


# ---------------------------------------------------------------- fitting


SERIAL = "{serial}"  # in a text: the unit's serial stands there


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


def fit_markers(
    sizing: Sizing,
    markers: Sequence[Marker],
    stocks: Stocks,
    unit: str,
    track: Track = untracked,
    date: str = "",
    beside: Sequence[Fit] = (),
) -> tuple[Fit, ...]:
    """Return the answer for each marker, in the same order; seats and tubes are worked out once each.

    A bag's second tag is left out where all that it says is on the first. ``beside`` are the markers
    that stand already: what of them is on the same branch takes its room.

    Raises `LabelerError` with the problems of every marker whose seat cannot be known.
    """
    second_tags = {m.text[0]: m for m in markers if m.role == "bag" and len(m.text) > 1}
    shared = Shared()
    fits: list[Fit] = []
    problems: list[Problem] = []
    for settings, group in groupby(track(markers, "fitting"), key=attrgetter("settings")):
        fitter = Fitter(sizing, stocks, unit, date, settings, shared.number(settings), shared)
        for marker in group:
            try:
                if marker.role != "bag":
                    fits.append(fitter.fit_for_unit(marker) if names_unit(marker) else fitter.fit(marker))
                elif len(marker.text) == 1:
                    fits.extend(fitter.fit_tags(marker, second_tags.get(marker.text[0])))
            except LabelerError as error:
                problems.extend(error.problems)
    refuse(dict.fromkeys(problems))
    return within_branches((*fits, *beside), sizing.index.harness.branches)[: len(fits)]


def names_unit(marker: Marker) -> bool:
    """Return whether a marker's text has the place of the unit's serial."""
    return SERIAL in "\n".join(marker.text)


def _for_unit(marker: Marker, unit: str) -> Marker:
    return replace(marker, text=tuple(line.replace(SERIAL, unit) for line in marker.text))


def widest_like(serial: str, font: str) -> str:
    """Return a serial with every digit as the widest one of a font, and every capital as the widest capital."""
    held = load_font(font)
    widest = {each: max(signs, key=held.width) for signs in ("0123456789", ascii_uppercase) for each in signs}
    return "".join(widest.get(sign, sign) for sign in serial)


class Shared:
    """What the markers of one call share, worked out once; by values, never by what they are kept in."""

    def __init__(self) -> None:
        self._known: dict[object, object] = {}

    def once(self, key: object, make: Callable[[], Made]) -> Made:
        """Return what was made for a key, or make it."""
        if key not in self._known:
            self._known[key] = make()
        return cast("Made", self._known[key])

    def number(self, settings: Settings) -> int:
        """Return the number of these settings: equal ones have the same."""
        return self.once(settings, lambda: len(self._known))


@dataclass(frozen=True, slots=True)
class Fitter:
    """Sizes and fits markers of one harness for one unit.

    ``settings`` are those of the markers that are fitted next; others are looked at as ways out.
    """

    sizing: Sizing
    stocks: Stocks
    unit: str
    date: str
    settings: Settings
    number: int  # of these settings in what is shared
    shared: Shared

    def fit_for_unit(self, marker: Marker) -> Fit:
        """Fit a marker that names its unit; its sleeve is as long as for the widest serial of as many signs.

        So the sleeves of a place are cut alike for all units of a run.
        """
        own = _for_unit(marker, self.unit)
        if marker.kind in SLID_ON:
            widest = self.fit(_for_unit(marker, widest_like(self.unit, marker.settings.print.font)))
            if widest.result != FAIL:
                made = self.fit(own, widest.cut_length_mm)
                if made.result != FAIL:
                    return made
        return self.fit(own)

    def fit(self, marker: Marker, cut_mm: float | None = None) -> Fit:
        """Fit a marker that is no tag, of a sleeve or insert at a given cut length where there is one."""
        answer = self._fit_kind(marker, cut_mm)
        if answer.result != FAIL or marker.role != "branch end" or not marker.marked:
            return answer
        return self._next_kind(marker, answer) or answer

    def _next_kind(self, marker: Marker, failed: Fit) -> Fit | None:
        """Return the answer for the first of the other kinds that are set for a branch end and serve there."""
        for kind in marker.settings.marker.branch:
            if kind not in (marker.kind, "none"):
                made = self._fit_kind(replace(marker, kind=kind), fixes=False)
                if made.result != FAIL:
                    why = fact("next kind", kind=kind, instead_of=marker.kind, why=failed.reasons[:1])
                    return replace(made, reasons=(why, *made.reasons))
        return None

    def _fit_kind(self, marker: Marker, cut_mm: float | None = None, *, fixes: bool = True) -> Fit:
        """Fit a marker of its own kind; where it fails, with what would make it fit."""
        marker, codes = coded(marker, self.sizing.index.harness, self.unit)
        if marker.kind not in SLID_ON:
            answer = self._on_film(marker, codes)
            if answer.result != FAIL or not fixes:
                return answer
            other = Other(lambda change: self._on_film(change.marker, codes), kinds=self._kinds(answer, codes))
            return replace(answer, fixes=fixes_for(answer, other))
        place = self._sleeve_place(marker)
        if cut_mm:
            place = replace(place, cut_length_mm=cut_mm)
        answer = self._under_tube(marker, place, codes)
        return self._tube_ways(answer, place, codes) if answer.result == FAIL and fixes else answer

    def fit_tags(self, first: Marker, second: Marker | None) -> tuple[Fit, ...]:
        """Fit a bag's tag: its contents with the pins where both go on; else the pins have the second, or none."""
        whole = self._tag(first, "all")
        if whole.result != FAIL:
            return (whole,)
        own, pins = self._tag(first), self._tag(second) if second else None
        if pins is None:
            return (own,)
        return (self._tag(first, "elsewhere"),) if pins.result == FAIL else (own, pins)

    def _tag(self, marker: Marker, pins: str = "") -> Fit:
        words = tag_words(self.sizing.index, marker, self.unit, self.date, pins)
        marker, codes = coded(marker, self.sizing.index.harness, self.unit)
        return fit_tag(marker, words, self.stocks.tag, codes)

    def _on_film(self, marker: Marker, codes: CodeMaker | None) -> Fit:
        if marker.kind == "wrap":
            return fit_wrap(marker, self._wrap_place(marker), codes)
        if marker.kind == "flag":
            return fit_flag(marker, self._seat(marker)[0], self.stocks.flag, codes)
        raise NotImplementedError(f"markers of the kind {marker.kind!r} have no fit yet: add one in labeler.fitting")

    def _under_tube(self, marker: Marker, place: SleevePlace, codes: CodeMaker | None) -> Fit:
        if marker.kind == "insert":
            return fit_insert(marker, place, self.stocks.insert, codes)
        return fit_sleeve(marker, place, codes)

    def _other_kind(self, marker: Marker, codes: CodeMaker | None) -> Fit:
        """Fit another kind in a marker's place, with the code that it would carry there by ``code.on``."""
        codes = codes if marker.kind in marker.settings.code.on else None
        marker = heated(marker) if codes else marker
        if marker.kind not in SLID_ON:
            return self._on_film(marker, codes)
        return self._under_tube(marker, self._sleeve_place(marker), codes)

    def _tube_ways(self, fit: Fit, place: SleevePlace, codes: CodeMaker | None) -> Fit:
        """Return a sleeve or insert that does not fit with what would make it fit."""
        families = tuple(family.name for family in self.sizing.catalogue.families)
        every = fit.marker.settings.changed({"sleeve.families": families})

        def refit(change: Change) -> Fit:
            seat, choice = place.seat, place.choice
            if change.free:
                seat = without_obstacle(seat)
                choice = self._choice(seat, change.marker.settings)
            elif change.tubes is not None:
                choice = TubeChoice(change.tubes)
            there = SleevePlace(seat, choice, change.cut_mm, change.room or place.room)
            return self._under_tube(change.marker, there, codes)

        tubes, cut = self._choice(place.seat, every).tubes, place.cut_length_mm
        sized = partial(self._sized_anew, codes)
        taken = (None, None) if place.choice.tubes else self._measurable(fit.marker)
        other = Other(refit, tubes, self._kinds(fit, codes), cut, place.room, sized, *taken)
        return replace(fit, fixes=fixes_for(fit, other))

    def _measurable(self, marker: Marker) -> tuple[Range | None, Range | None]:
        """Return what is taken for the wall of the covering and for the bundle, each where a measurement tells more.

        A bundle that is not as wide at one end as at the other is not offered: one measurement stands for both.
        """
        if marker.role != "branch end":
            return None, None
        index = self.sizing.index
        branch, _ = index.ends[marker.branch, marker.place]
        through = index.through[branch.id]
        wall = covering_of(marker.settings, self.sizing.catalogue).wall_mm
        alike = len(branch.ends) < 3 and all(index.circuits_at(branch, end) == through for end in branch.ends)
        taken = None
        if alike and not branch.bundle_diameter_mm and len(through) > 1:
            taken = branch_bundle(branch, through, self.sizing).pass_over
        return (wall if wall.low < wall.high else None), taken

    def _sized_anew(self, codes: CodeMaker | None, marker: Marker, changes: Mapping[str, float]) -> Fit:
        """Fit a sleeve where settings of its branch, its end or its circuit, or the measured bundle, are others."""
        diameter = changes.get("bundle_diameter_mm")
        marker = with_settings(marker, {} if diameter else changes)
        if marker.role == "branch end":
            branch, end = self.sizing.index.ends[marker.branch, marker.place]
            branch = replace(branch, bundle_diameter_mm=diameter or branch.bundle_diameter_mm)
            end = replace(end, settings=marker.settings)
            seat, cut = end_seat(branch, end, self.sizing, marker.kind), end.cut_length_mm
        else:
            seat, cut = self._seat(marker)
        return self._under_tube(marker, self._place_on(seat, cut, marker), codes)

    def _kinds(self, fit: Fit, codes: CodeMaker | None) -> dict[str, Callable[[Marker], Fit]]:
        def other(marker: Marker) -> Fit:
            try:
                return self._other_kind(marker, codes)
            except LabelerError:  # the way on of a sleeve is not known there
                return fit

        return dict.fromkeys(KINDS[fit.marker.kind].instead, other)

    def _sleeve_place(self, marker: Marker) -> SleevePlace:
        """Return the place of a sleeve or insert; wires of one kind share theirs, a branch end has its own."""
        if marker.role == "branch end":
            return self._place_on(*self._seat(marker), marker)
        circuit, terminated = self.sizing.index.circuits[marker.circuit], self.sizing.index.terminated
        ends = (circuit.start.connector, circuit.finish.connector)
        told_apart = terminated and any((circuit.id, end) in terminated for end in ends)
        key = (*self._wire(marker), *((circuit.id, marker.place) if told_apart else ()))
        return self.shared.once(key, lambda: self._place_on(*self._seat(marker), marker))

    def _wrap_place(self, marker: Marker) -> WrapPlace:
        def made() -> WrapPlace:
            return wrap_place(self._seat(marker)[0], marker.settings, needed_for(marker), self.stocks.wraps)

        return made() if marker.role == "branch end" else self.shared.once(self._wire(marker), made)

    def _wire(self, marker: Marker) -> tuple[object, ...]:
        """Return what wires have in common on which markers of a kind have the same place."""
        circuit, settings = self.sizing.index.circuits[marker.circuit], marker.settings
        number = self.number if settings is self.settings else self.shared.number(settings)
        return marker.kind, circuit.size, circuit.wire_type, circuit.od_mm, number

    def _place_on(self, seat: Seat, cut: float | None, marker: Marker) -> SleevePlace:
        """A clear sleeve lies over the bundle with the paper on it, where the text stands."""
        stock = self.stocks.insert if marker.kind == "insert" else self.stocks.sleeve
        if marker.kind == "insert":
            paper = 2 * stock.thickness_mm
            seat = replace(seat, pass_over=seat.pass_over + paper, text_diameter=seat.text_diameter + paper)
        others = self.sizing.catalogue.stocks if marker.kind != "insert" else ()
        room = self.shared.once(("room", stock.name), lambda: room_of(stock, others))
        return SleevePlace(seat, self._choice(seat, marker.settings), cut, room)

    def _seat(self, marker: Marker) -> tuple[Seat, float | None]:
        """Return what the marker sits on, and its cut length where that is fixed."""
        index = self.sizing.index
        if marker.role == "branch end":
            branch, end = index.ends[marker.branch, marker.place]
            return end_seat(branch, end, self.sizing, marker.kind), end.cut_length_mm
        circuit = index.circuits[marker.circuit]
        return wire_seat(circuit, self.sizing, marker.kind, index.connector_at(marker)), None

    def _choice(self, seat: Seat, settings: Settings) -> TubeChoice:
        set_to = (
            settings.sleeve.families,
            settings.sleeve.pass_over_margin,
            settings.sleeve.grip_margin,
            settings.sleeve.preferred_range_margin,
        )
        key = ("tubes", seat.pass_over.high, seat.grip, *set_to)
        return self.shared.once(key, lambda: choose_tubes(seat, settings, self.sizing.catalogue))
