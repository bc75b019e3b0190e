"""Fitting: every marker of one harness sized and fitted, with what would do where one does not fit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from string import ascii_uppercase

from labeler.codes.payload import payload_of
from labeler.codes.symbols import symbols
from labeler.errors import LabelerError, Problem, refuse
from labeler.fit.code import CodeMaker
from labeler.fit.film import WrapPlace, fit_flag, fit_insert, fit_wrap, wrap_place
from labeler.fit.remedies import Change, Other, ways_out, with_settings
from labeler.fit.result import needed_for
from labeler.fit.sleeve import Room, SleevePlace, fit_sleeve, room_of, within_branches
from labeler.fit.tag import fit_tag
from labeler.harness import branches_of, circuits_at, circuits_by_branch, kinds_of
from labeler.job.deliver import Track, untracked
from labeler.model import (
    DOES_NOT_FIT,
    LINEAR,
    Branch,
    BranchEnd,
    Circuit,
    Code,
    Fit,
    Harness,
    Marker,
    Range,
    Seat,
    Settings,
    Stock,
    TubeChoice,
)
from labeler.plan import Contents, contents_of, tag_words
from labeler.size.access import THREADED
from labeler.size.bundles import branch_bundle, covering_of, done_ends, end_seat, wire_seat
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import Catalogue
from labeler.text import load_font

# ---------------------------------------------------------------- Which markers carry a code


def carries_code(marker: Marker) -> bool:
    """Return whether a marker is to carry a code."""
    settings = marker.settings
    return settings.code != "none" and marker.kind in settings.code_on and marker.lettered


def code_problems(markers: Iterable[Marker], harness: Harness, unit: str) -> Iterator[Problem]:
    """Yield why codes cannot say what they are to say in a unit, such as a serial that readers take differently."""
    for marker in filter(carries_code, markers):
        try:
            payload_of(marker, harness, unit)
        except LabelerError as error:
            yield from error.problems


class Coder:
    """Makes the codes of one harness and unit."""

    def __init__(self, harness: Harness, unit: str) -> None:
        self.harness, self.unit = harness, unit
        self._even: dict[int, tuple[Settings, Settings]] = {}  # by identity; the first is kept so that it stays its own

    def of(self, marker: Marker) -> tuple[Marker, CodeMaker | None]:
        """Return the marker as it is to be fitted, and the maker of its symbols; None: it carries none.

        A sleeve with a matrix code asks for even heating: heated from behind first, its modules may
        come out 0.10 to 0.14 off square on many seats.
        """
        if not carries_code(marker):
            return marker, None
        settings, marker = marker.settings, self.heated(marker)

        def make(kind: str, rule: str) -> Iterator[Code]:
            payload = payload_of(marker, self.harness, self.unit, rule)
            try:
                yield from symbols(kind or settings.code, payload, settings.code_correction)
            except LabelerError as error:
                if not kind:  # another kind is only looked at as a way out
                    raise LabelerError(
                        *(Problem(marker.where, f"{marker.at}: {p.message}", p.fix) for p in error.problems)
                    ) from error

        return marker, make

    def heated(self, marker: Marker) -> Marker:
        """Return a marker that carries a code as it is heated: a sleeve with a matrix code evenly."""
        settings = marker.settings
        if marker.kind != "sleeve" or settings.heating != "back first" or settings.code in LINEAR:
            return marker
        known = self._even.setdefault(id(settings), (settings, replace(settings, heating="even")))
        return replace(marker, settings=known[1])


# ---------------------------------------------------------------- fitting


SERIAL = "{serial}"  # in a text: the unit's serial stands there
INSTEAD: Mapping[str, tuple[str, ...]] = {
    "sleeve": ("wrap", "insert"),
    "insert": ("wrap", "flag"),
    "wrap": ("sleeve", "flag"),
    "flag": ("wrap", "sleeve"),
}  # the kinds that are looked at where another does not fit


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


def once(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems in their order, each once."""
    return list(dict.fromkeys(problems))


def fit_markers(
    harness: Harness,
    markers: Sequence[Marker],
    catalogue: Catalogue,
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
    fitter = _Fitter(harness, catalogue, stocks, unit, date)
    fitter.planned = {m.text[0]: m for m in markers if m.role == "bag" and len(m.text) > 1}
    fits: list[Fit] = []
    problems: list[Problem] = []
    for marker in track(markers, "fitting"):
        try:
            made = fitter.fit_for_unit(marker, unit) if names_unit(marker) else fitter.fit(marker)
            if made is not None:
                fits.append(made)
        except LabelerError as error:
            problems.extend(error.problems)
    refuse(once(problems))
    return within_branches((*fits, *beside), harness.branches)[: len(fits)]


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
        self.coder = Coder(harness, unit)

    def fit_for_unit(self, marker: Marker, unit: str) -> Fit | None:
        """Fit a marker that names its unit; its sleeve is as long as for the widest serial of as many signs.

        So the sleeves of a place are cut alike for all units of a run.
        """
        own = _for_unit(marker, unit)
        if marker.kind in THREADED and marker.role != "bag":
            widest = self.fit(_for_unit(marker, widest_like(unit, marker.settings.font)))
            if widest is not None and widest.verdict != DOES_NOT_FIT:
                made = self.fit(own, widest.cut_length_mm)
                if made is not None and made.verdict != DOES_NOT_FIT:
                    return made
        return self.fit(own)

    def fit(self, marker: Marker, cut_mm: float | None = None) -> Fit | None:
        """Fit a marker, of a sleeve or insert at a given cut length where there is one."""
        if marker.role == "bag":
            return self._tag(marker)
        marker, codes = self.coder.of(marker)
        if marker.kind in ("wrap", "flag"):
            answer = self._on_film(marker, codes)
            return answer if answer.verdict != DOES_NOT_FIT else self._film_ways(answer, codes)
        place = self._sleeve_place(marker)
        if cut_mm:
            place = replace(place, cut_length_mm=cut_mm)
        answer = self._under_tube(marker, place, codes)
        return answer if answer.verdict != DOES_NOT_FIT else self._tube_ways(answer, place, codes)

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
        marker, codes = self.coder.of(marker)
        return fit_tag(marker, words, self.stocks.tag, codes)

    def _on_film(self, marker: Marker, codes: CodeMaker | None) -> Fit:
        if marker.kind == "wrap":
            return fit_wrap(marker, self._wrap_place(marker), codes)
        return fit_flag(marker, self._seat(marker)[0], self.stocks.flag, codes)

    def _under_tube(self, marker: Marker, place: SleevePlace, codes: CodeMaker | None) -> Fit:
        if marker.kind == "insert":
            return fit_insert(marker, place, self.stocks.insert, codes)
        return fit_sleeve(marker, place, codes)

    def _other_kind(self, marker: Marker, codes: CodeMaker | None) -> Fit:
        """Fit another kind in a marker's place, with the code that it would carry there by ``code_on``."""
        codes = codes if marker.kind in marker.settings.code_on else None
        marker = self.coder.heated(marker) if codes else marker
        if marker.kind in ("wrap", "flag"):
            return self._on_film(marker, codes)
        return self._under_tube(marker, self._sleeve_place(marker), codes)

    def _film_ways(self, fit: Fit, codes: CodeMaker | None) -> Fit:
        """Return a wrap or flag that does not fit with what would make it fit."""
        other = Other(lambda change: self._on_film(change.marker, codes), kinds=self._kinds(fit, codes))
        return replace(fit, ways_out=ways_out(fit, other))

    def _tube_ways(self, fit: Fit, place: SleevePlace, codes: CodeMaker | None) -> Fit:
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
            return self._under_tube(change.marker, there, codes)

        tubes = self._choice(place.seat, every).tubes
        kinds = self._kinds(fit, codes)
        if place.choice.tubes:
            other = Other(refit, tubes, kinds, place.cut_length_mm, place.room)
        else:
            wall, bundle = self._measurable(fit.marker)

            def sized(marker: Marker, changes: Mapping[str, float]) -> Fit:
                return self._sized_anew(marker, changes, codes)

            other = Other(refit, tubes, kinds, place.cut_length_mm, place.room, sized, wall, bundle)
        return replace(fit, ways_out=ways_out(fit, other))

    def _measurable(self, marker: Marker) -> tuple[Range | None, Range | None]:
        """Return what is taken for the wall of the covering and for the bundle, each where a measurement tells more.

        A bundle that is not as wide at one end as at the other is not offered: one measurement stands for both.
        """
        if marker.role != "branch end":
            return None, None
        branch, _ = self.ends[marker.branch, marker.at]
        through = self.through[branch.id]
        wall, _, _ = covering_of(marker.settings, self.catalogue)
        kinds = kinds_of(self.harness)
        alike = len(branch.ends) < 3 and all(circuits_at(branch, e, through, kinds) == through for e in branch.ends)
        taken = None
        if alike and not branch.diameter_mm and len(through) > 1:
            taken = branch_bundle(branch, through, self.harness, self.catalogue).passes
        return (wall if wall.low < wall.high else None), taken

    def _sized_anew(self, marker: Marker, changes: Mapping[str, float], codes: CodeMaker | None) -> Fit:
        """Fit a sleeve where settings of its branch, its end or its circuit, or the measured bundle, are others."""
        changes = dict(changes)
        diameter = changes.pop("diameter_mm", None)
        marker = with_settings(marker, **changes)
        if marker.role == "branch end":
            branch, end = self.ends[marker.branch, marker.at]
            branch = replace(branch, diameter_mm=diameter or branch.diameter_mm)
            end = replace(end, settings=marker.settings)
            through = self.through[branch.id]
            seat, cut = end_seat(branch, end, through, self.harness, self.catalogue, marker.kind), end.cut_length_mm
        else:
            seat, cut = self._seat(marker)
        return self._under_tube(marker, self._place_on(seat, cut, marker), codes)

    def _kinds(self, fit: Fit, codes: CodeMaker | None) -> dict[str, Callable[[Marker], Fit]]:
        def other(marker: Marker) -> Fit:
            try:
                return self._other_kind(marker, codes)
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
        seat, cut = self._seat(marker)
        return self._place_on(seat, cut, marker)

    def _place_on(self, seat: Seat, cut: float | None, marker: Marker) -> SleevePlace:
        """A clear sleeve lies over the bundle with the paper on it, where the text stands."""
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
