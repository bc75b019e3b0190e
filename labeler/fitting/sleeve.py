"""Fit a heat-shrink sleeve: the first tube that carries the text, its cut length, its flat face."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil, inf

from labeler.fitting.code import CodeArea, CodeMaker, SetCode, set_code
from labeler.fitting.result import Look, fit_of, font_of, look_of, needed_for, set_text
from labeler.fitting.text import TextLayout, TubeZone, Zone, zone_around, zone_on_tube
from labeler.formulas.shrink import cut_length, shrunk
from labeler.model import (
    FAIL,
    MARGINAL,
    PASS,
    RESULTS,
    Branch,
    Face,
    Fact,
    Fit,
    Marker,
    Range,
    Run,
    Seat,
    Settings,
    SleeveSection,
    Stock,
    Surface,
    Tube,
    TubeChoice,
    fact,
)
from labeler.tables.stocks import largest_piece
from labeler.text import Font

# ---------------------------------------------------------------- What the stock takes


EPS = 1e-6


@dataclass(frozen=True, slots=True)
class StockLimits:
    """The largest piece that a stock takes, mm; ``larger`` is a stock that takes more, or None."""

    width_mm: float = inf
    height_mm: float = inf
    stock: str = ""
    larger: StockLimits | None = None

    def refusal(self, width_mm: float, height_mm: float) -> tuple[Fact, ...]:
        """Return why a piece cannot be printed; () where it can."""
        short, low = width_mm <= self.width_mm + EPS, height_mm <= self.height_mm + EPS
        if short and low:
            return ()
        larger, limits = self.larger.stock if self.larger else "", {"widest": self.width_mm, "highest": self.height_mm}
        piece = {"width": width_mm, "height": height_mm, "stock": self.stock}
        return (fact("piece too large", **piece, **limits, larger=larger, short=short, low=low),)


UNLIMITED = StockLimits()


def room_of(stock: Stock, others: Sequence[Stock] = ()) -> StockLimits:
    """Return the room on a stock; of the others that take the same, the first with more of it."""
    width, height = largest_piece(stock)
    larger = None
    for other in others:
        wider, higher = largest_piece(other)
        if other.marker == stock.marker and wider >= width and higher >= height and (wider, higher) != (width, height):
            larger = StockLimits(wider, higher, other.name)
            break
    return StockLimits(width, height, stock.name, larger)


# ---------------------------------------------------------------- Cut lengths


LONGEST_TRIED_MM = 200.0  # longest cut that is proposed: project choice


def cut_lengths(settings: Settings, at_least_mm: float = 0.0, unusual: bool = False) -> tuple[float, ...]:
    """Return the cut lengths that may be chosen, mm: the shop's own, or whole steps from shortest to longest.

    The longest is the usual one; where ``unusual`` ones are chosen too, the shop's limit or `LONGEST_TRIED_MM`.
    Where none is long enough for ``at_least_mm`` only the longest is returned.
    """
    if settings.sleeve.cut_lengths_mm:
        enough = tuple(length for length in settings.sleeve.cut_lengths_mm if length >= at_least_mm)
        return enough or settings.sleeve.cut_lengths_mm[-1:]
    step = settings.sleeve.cut_step_mm
    first = ceil(round(max(settings.sleeve.min_cut_length_mm, at_least_mm) / step, 9))
    limit = settings.sleeve.max_cut_length_mm or LONGEST_TRIED_MM
    usual = max(settings.sleeve.usual_cut_length_mm, settings.sleeve.min_cut_length_mm)
    longest = limit if unusual else min(limit, usual)
    last = int(round(longest / step, 9))
    return tuple(i * step for i in range(first, last + 1)) or (longest,)


@dataclass(frozen=True, slots=True)
class Lengths:
    """How the length of a piece is used, mm, all flat.

    ``rest`` is what lies on the part of a stepped seat that carries no lettering; ``taken`` what print
    may not use; ``least`` what holds both parts of a stepped seat; ``withheld`` says that longer
    pieces may be cut but go on no sheet of the stock.
    """

    own_along: Range
    rest: float
    rest_along: Range | None
    taken: float
    least: float
    choices: tuple[float, ...]
    withheld: bool


@dataclass(frozen=True, slots=True)
class PieceLength:
    """What is given for the length of a piece, mm: fixed or None, the longest that can be printed, unusual ones too."""

    fixed_mm: float | None = None
    most_mm: float = inf
    unusual: bool = False


def lengths_on(seat: Seat, tube: Tube, own_along: Range, settings: Settings, piece: PieceLength) -> Lengths:
    """Return how the length of a tube is used on a seat, cut to a fixed length or to one that may be chosen.

    ``own_along`` is the tube's length on the marked part over its flat length. On a stepped seat each part is held
    by ``sleeve.covering_overlap_mm`` after shrinking.
    """
    rest, along, least = 0.0, None, 0.0
    if seat.section:
        on = inside(seat.section.grip, tube)
        along = shrunk(
            tube.limits(settings.sleeve.expanded_oversize, settings.sleeve.recovered_undersize), on, "even"
        ).along
        rest = cut_length(((settings.sleeve.covering_overlap_mm, along.low),))
        least = cut_length(
            ((settings.sleeve.covering_overlap_mm, along.low), (settings.sleeve.covering_overlap_mm, own_along.low))
        )
    taken = 2 * settings.sleeve.end_margin_mm + rest
    at_least = max(taken, least)
    every = (piece.fixed_mm,) if piece.fixed_mm else cut_lengths(settings, at_least, piece.unusual)
    printed = tuple(length for length in every if length <= piece.most_mm + EPS)
    return Lengths(own_along, rest, along, taken, least, printed or every[:1], len(printed) < len(every))


def not_held(use: Lengths, length_mm: float, settings: Settings) -> tuple[Fact, ...]:
    """Return why a piece is too short to hold both parts of its seat; () where it is not."""
    if use.rest_along is None or length_mm >= use.least - EPS:
        return ()
    return (fact("overlap too short", overlap=settings.sleeve.covering_overlap_mm, least=use.least, length=length_mm),)


def sections_of(seat: Seat, length_mm: float, use: Lengths) -> tuple[SleeveSection, ...]:
    """Return what a piece lies on, with the lengths cut flat and after shrinking: where the text stands comes first."""
    own, along = length_mm - use.rest, use.own_along
    first, past = SleeveSection(own, Range(own * along.low, own * along.high)), use.rest_along
    if seat.section is None or past is None:
        return (first,)
    return (first, SleeveSection(use.rest, Range(use.rest * past.low, use.rest * past.high)))


# ---------------------------------------------------------------- Space along a branch


def within_branches(fits: Sequence[Fit], branches: Iterable[Branch]) -> tuple[Fit, ...]:
    """Return the fits; a sleeve that its branch, of known length, has no room for does not fit.

    A sleeve takes its cut length from where its edge sits; shrinking only shortens it.
    """
    measured = {branch.id: branch for branch in branches if branch.length_mm is not None}
    starts = {(b.id, end.at): end.distance_from_connector_mm or 0.0 for b in measured.values() for end in b.ends}
    taken: dict[str, dict[str, float]] = {}
    for fit in fits if starts else ():
        branch, at = fit.marker.branch, fit.marker.place
        if fit.marker.role == "branch end" and fit.tube and (branch, at) in starts:
            taken.setdefault(branch, {})[at] = starts[branch, at] + fit.cut_length_mm
    return tuple(
        _within(fit, measured[fit.marker.branch], taken) if fit.marker.branch in taken else fit for fit in fits
    )


def _within(fit: Fit, branch: Branch, taken: Mapping[str, Mapping[str, float]]) -> Fit:
    reaches, at, length = taken[branch.id], fit.marker.place, branch.length_mm or 0.0
    if fit.marker.role != "branch end" or at not in reaches:
        return fit
    others = sum(mm for end, mm in reaches.items() if end != at) if len(branch.ends) == 2 else 0
    if reaches[at] <= length - others + EPS:
        return fit
    why = fact("past the branch", reach=reaches[at], at=at, length=length, others=others)
    ways = (*fit.fixes, fact("shorter sleeve"))
    return replace(fit, result=FAIL, reasons=(why, *fit.reasons), fixes=ways)


# ---------------------------------------------------------------- sleeve


@dataclass(frozen=True, slots=True, eq=False)
class SleevePlace:
    """What all sleeves on one seat with the same settings share; what a tube is there is worked out once."""

    seat: Seat
    choice: TubeChoice
    cut_length_mm: float | None = None  # fixed, or None: free
    room: StockLimits = UNLIMITED
    unusual: bool = False  # cuts longer than usual are chosen too
    grounds: dict[tuple[str, str, str, bool], _TubeInPlace] = field(default_factory=dict)
    """By tube, font, direction, and whether unusual lengths are cut."""

    @property
    def piece(self) -> PieceLength:
        """Return what is given for the length of a piece."""
        return PieceLength(self.cut_length_mm, self.room.width_mm, self.unusual)


@dataclass(frozen=True, slots=True, eq=False)
class _TubeInPlace:
    """A tube in its place, as print meets it in one direction of the lines."""

    place: SleevePlace
    tube: Tube
    on: TubeZone
    zone: Zone
    use: Lengths
    look: Look

    @property
    def along(self) -> bool:
        """Return whether the lines run along the tube."""
        return self.look.surface.text_direction == "along"


def fit_sleeve(marker: Marker, place: SleevePlace, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for one sleeve; ``codes`` makes the symbols of its code, if it carries one.

    The tubes are tried in the order of the place's choice; the first that passes is taken, else the
    first that is marginal, else the one with the tallest capitals. Cuts longer than usual are the last choice.
    """
    if not place.choice.tubes:
        return _no_tube(marker, place.seat, place.choice)
    if not marker.marked:
        return blank_sleeve(marker, place)
    made = _best_on_tubes(marker, place, codes)
    settings = marker.settings.sleeve
    if made.result == PASS or place.cut_length_mm or settings.cut_lengths_mm or place.unusual:
        return made
    longer = _best_on_tubes(marker, replace(place, unusual=True), codes)
    return longer if RESULTS.index(longer.result) < RESULTS.index(made.result) else made


def _best_on_tubes(marker: Marker, place: SleevePlace, codes: CodeMaker | None) -> Fit:
    """Return the best answer on the tubes of a place, with the lengths that may be cut there."""
    font, reasons = font_of(marker.text, marker, marker.settings.sleeve.colour)
    answers: list[Fit] = []
    asked = marker.settings.sleeve.text_direction
    for direction in ("along", "around") if asked == "auto" else (asked,):
        for tube in place.choice.tubes:
            answer = _on_tube(marker, _ground(marker, place, tube, font, direction), reasons, codes)
            if answer.result == PASS:
                return answer
            answers.append(answer)
        if any(answer.result != FAIL for answer in answers):
            break  # around only where nothing serves along

    def rank(fit: Fit) -> tuple[int, float]:
        return RESULTS.index(fit.result), -(fit.capital_height_mm.low if fit.capital_height_mm else 0.0)

    marginal = next((answer for answer in answers if answer.result == MARGINAL), None)
    return _with_ways(marginal or min(answers, key=rank), place, font, codes)


def _with_ways(fit: Fit, place: SleevePlace, font: Font, codes: CodeMaker | None) -> Fit:
    """Return the answer that was taken with what would let its code stand, if it breaks a limit."""
    if fit.tube is None or fit.code is None or not fit.code.failures:
        return fit
    ground = _ground(fit.marker, place, fit.tube, font, fit.surface.text_direction)
    made = _code_on(fit.marker, ground, codes, ways=True)
    return replace(fit, fixes=made.fixes if made else ())


def _code_on(marker: Marker, ground: _TubeInPlace, codes: CodeMaker | None, ways: bool = False) -> SetCode | None:
    room = ground.use.choices[-1] - ground.use.taken
    on = ground.on.shrunk
    face = CodeArea(ground.on.zone.across_mm, on.along, on.marked_side_scale, on.squeeze, on.arc_per_mm)
    return set_code(marker, codes, face, room, ways=ways)


def _ground(marker: Marker, place: SleevePlace, tube: Tube, font: Font, direction: str) -> _TubeInPlace:
    key = (tube.name, font.name, direction, place.unusual)
    known = place.grounds.get(key)
    if known is not None:
        return known
    settings, seat = marker.settings, place.seat
    on = zone_on_tube(tube, inside(seat.text_diameter, tube), settings, needed_for(marker), font)
    zone = on.zone if direction == "along" else zone_around(on, settings, font)
    use = lengths_on(seat, tube, on.shrunk.along, settings, place.piece)
    scales = on.shrunk.circumferential_scale, on.shrunk.marked_side_scale, on.shrunk.along
    stretch = zone.stretch if direction == "along" else 1 / zone.stretch
    surface = Surface(on.zone.across_mm, on.lay_flat_mm, *scales, stretch, direction)
    look = look_of(font, zone, settings, settings.sleeve.colour, surface)
    made = place.grounds[key] = _TubeInPlace(place, tube, on, zone, use, look)
    return made


def _on_tube(marker: Marker, ground: _TubeInPlace, reasons: tuple[Fact, ...], codes: CodeMaker | None) -> Fit:
    place, on, use = ground.place, ground.on.shrunk, ground.use
    code = _code_on(marker, ground, codes) if codes else None
    if code is not None:
        use = replace(use, taken=use.taken + code.taken_mm)
        ground = replace(ground, use=use)
    if ground.along:
        setting = set_text(marker, ground.look.font, ground.zone, use.choices, use.taken)
    else:
        setting = _set_around(marker, ground)
    fit, length = fit_of(marker, setting, ground.zone, ground.look, code), setting.length_mm
    refused = not_held(use, length, marker.settings) + place.room.refusal(length, ground.on.lay_flat_mm)
    if use.withheld:
        refused += _not_longer(setting, ground)
    notes = place.choice.marginal.get(ground.tube.name, ())
    return replace(
        fit,
        result=FAIL if refused else MARGINAL if notes and fit.result == PASS else fit.result,
        reasons=reasons + fit.reasons + refused + notes + loose_past_edge(place.seat, ground.tube),
        seat=place.seat,
        tube=ground.tube,
        face=_face(setting, fit.font_size_mm, ground, marker.settings, code) if fit.font_size_mm > 0 else None,
        cut_length_mm=length,
        tube_od_mm=(on.supplied_outside_mm.low, on.outside_mm.low, on.outside_mm.high),
        sections=sections_of(place.seat, length, use),
    )


def _not_longer(setting: TextLayout, ground: _TubeInPlace) -> tuple[Fact, ...]:
    """What is said where a longer piece would do that no sheet takes."""
    room, short = ground.place.room, setting.limit == ("length" if ground.along else "around")
    if not short or setting.capital_mm >= ground.zone.required_mm * (1 - 1e-6):
        return ()
    if room.larger:
        larger = room.larger.stock
        return (fact("longer pieces elsewhere", stock=room.stock, widest=room.width_mm, larger=larger),)
    return (fact("longer pieces not taken", stock=room.stock, widest=room.width_mm),)


def _set_around(marker: Marker, ground: _TubeInPlace) -> TextLayout:
    """Set the lines around the tube: its arc is their length, its cut length takes the stack.

    Of the lengths the first is taken on which the capitals reach the preferred height.
    """
    required, preferred = ground.zone.required_mm, ground.zone.preferred_mm
    tried = []
    for length in ground.use.choices:
        setting = _around_on(length, marker, ground)
        if setting.capital_mm >= preferred - 1e-9 and not setting.turned:
            return setting
        tried.append(setting)
    return max(
        tried,
        key=lambda s: (s.capital_mm >= required - 1e-9, not s.turned, round(s.capital_mm, 4), -s.length_mm),
    )


def _around_on(length: float, marker: Marker, ground: _TubeInPlace) -> TextLayout:
    """The lines around a piece of one length; turned only where nothing else reaches the required height."""
    whole = ground.on.zone
    room = max(length - ground.use.taken, 1e-6)
    zone = replace(ground.zone, read_mm=room, turn_mm=room, across_mm=room)
    setting = set_text(marker, ground.look.font, zone, (min(whole.read_mm, whole.across_mm),), 0.0)
    turned = False
    if setting.capital_mm < zone.required_mm - 1e-9:
        wider = set_text(marker, ground.look.font, zone, (min(whole.turn_mm, whole.across_mm),), 0.0)
        if wider.capital_mm >= zone.required_mm - 1e-9:
            setting, turned = wider, True
    limit = {"length": "arc", "arc": "around"}.get(setting.limit, setting.limit)
    return replace(setting, length_mm=length, limit=limit, turned=turned, free_mm=room)


# ---------------------------------------------------------------- the flat piece


def _face(setting: TextLayout, size: float, ground: _TubeInPlace, settings: Settings, code: SetCode | None) -> Face:
    """The flat piece: a code at its start, lines centred on what is left of the length, all centred across.

    The right-hand end goes to the connector, or the left-hand one where the lines read away from
    it; the part on the other side of a covering's edge stays free.
    """
    length, height = setting.length_mm, round(ground.on.lay_flat_mm, 6)
    section = ground.place.seat.section
    rest_right = (section is None or section.towards_end) == (settings.sleeve.reads != "away from connector")
    left, right = (0.0, ground.use.rest) if rest_right else (ground.use.rest, 0.0)
    symbol, beside = None, 0.0
    if code is not None:
        symbol, beside = code.symbol(left + settings.sleeve.end_margin_mm, height / 2), code.taken_mm
    middle = (length + left + beside - right) / 2
    passes = 2 if settings.sleeve.printed_sides == "both" else 1
    runs = tuple(_runs(setting.lines, size, ground, settings.print.line_spacing, (middle, height / 2)))
    return Face(length, height, runs, symbol=symbol, passes=passes)


def _runs(
    lines: Sequence[str], size: float, ground: _TubeInPlace, line_pitch: float, middle: tuple[float, float]
) -> Iterator[Run]:
    """Yield the lines around their middle: along the piece each below the one before, around it each to its right."""
    font, stretch, (x, y) = ground.look.font, ground.look.surface.text_stretch, middle
    above, below = font.stack(lines)
    across = stretch if ground.along else 1.0  # of the stack
    pitch = line_pitch * size * font.capital * across
    first = ((below - above) * size * across + (len(lines) - 1) * pitch) / 2
    for i, line in enumerate(lines):
        half = font.width(line) * size * (1.0 if ground.along else stretch) / 2
        at = (x - half, y + first - i * pitch) if ground.along else (x - first + i * pitch, y - half)
        yield Run(line, font.name, size, round(at[0], 6), round(at[1], 6), round(stretch, 6), 0 if ground.along else 90)


# ---------------------------------------------------------------- without lettering, without a tube


def blank_sleeve(marker: Marker, place: SleevePlace, length_mm: float | None = None) -> Fit:
    """Return the answer for a sleeve without lettering on the first tube; it goes through no printer.

    Its length is that given, or the shortest that holds.
    """
    settings, seat, tube = marker.settings, place.seat, place.choice.tubes[0]
    on = shrunk(
        tube.limits(settings.sleeve.expanded_oversize, settings.sleeve.recovered_undersize),
        inside(seat.text_diameter, tube),
        "even",
    )
    use = lengths_on(seat, tube, on.along, settings, PieceLength(length_mm or place.cut_length_mm))
    length = use.choices[0]
    why, notes = not_held(use, length, settings), place.choice.marginal.get(tube.name, ())
    return Fit(
        marker=marker,
        result=FAIL if why else MARGINAL if notes else PASS,
        reasons=why + notes + loose_past_edge(seat, tube),
        seat=seat,
        tube=tube,
        cut_length_mm=length,
        tube_od_mm=(on.supplied_outside_mm.low, on.outside_mm.low, on.outside_mm.high),
        surface=Surface(circumferential_scale=on.circumferential_scale, longitudinal_scale=on.along),
        sections=sections_of(seat, length, use),
    )


def _no_tube(marker: Marker, seat: Seat, choice: TubeChoice) -> Fit:
    obstacle = (fact("obstacle", on=seat.obstacle),) if seat.obstacle else ()
    early = (fact("in time", on=seat.obstacle),) if seat.obstacle and seat.obstacle.avoidable else ()
    return Fit(marker, FAIL, (*choice.refusals, *obstacle), seat=seat, fixes=early + choice.fixes)


def inside(on_mm: Range, tube: Tube) -> Range:
    """Return the diameters of a seat that a tube can lie on: none is larger than its expanded ID."""
    return Range(min(on_mm.low, tube.expanded_id_mm), min(on_mm.high, tube.expanded_id_mm))


def loose_past_edge(seat: Seat, tube: Tube) -> tuple[Fact, ...]:
    """Return the note that a sleeve stays loose on the part past its covering's edge; () where it does not."""
    if seat.section is None or seat.covering is None or not seat.section.towards_end:
        return ()
    gap = tube.recovered_id_mm - seat.section.grip.low
    return (fact("loose past the edge", covering=seat.covering.name, gap=gap),) if gap > 0.005 else ()
