"""Fit a heat-shrink sleeve: the first tube that carries the text, its cut length, its flat face."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from labeler.fit.code import CodeMaker, SetCode, ground_on_tube, set_code, with_code
from labeler.fit.common import Flaws, capital_report, contrast_of, distance_for, flaws_of, font_of, set_text, verdict_of
from labeler.fit.lengths import Lengths, lengths_on, not_held, parts_of
from labeler.fit.on_stock import UNLIMITED, Room
from labeler.fit.setting import Setting, type_size
from labeler.fit.zone import TubeZone, Zone, zone_around, zone_on_tube
from labeler.formulas.shrink import limits, shrunk
from labeler.model import DOES_NOT_FIT, FITS, TIGHT, Face, Fit, Marker, Run, Seat, SeatPart, Settings, Tube, TubeChoice
from labeler.model.alike import pattern
from labeler.text import Font

BOTH_FACES = (
    "lettering on both faces has no back to heat first: the scales of the two faces add up to twice the "
    'average; set heating to "even" or "any", or faces to "one"'
)
VERDICTS = (FITS, TIGHT, DOES_NOT_FIT)


@dataclass(frozen=True, slots=True, eq=False)
class SleevePlace:
    """What all sleeves on one seat with the same settings share; what a tube is there is worked out once."""

    seat: Seat
    choice: TubeChoice
    cut_length_mm: float | None = None  # fixed, or None: free
    room: Room = UNLIMITED
    grounds: dict[tuple[str, str, str], _Ground] = field(default_factory=dict)  # by tube, font and direction


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """A tube in its place, as print meets it in one direction of the lines."""

    tube: Tube
    font: Font
    direction: str  # along | around
    on: TubeZone
    zone: Zone
    use: Lengths
    flaws: Flaws
    answer: Callable[..., Fit]  # of what differs from text to text, in the order of `VARIED`
    rest_towards_end: bool = True  # of a stepped seat: where the part without lettering lies
    cuts: dict[float, _Cut] = field(default_factory=dict)  # by length

    @property
    def stretch(self) -> float:
        """Return how much longer the print is across the piece than normal type."""
        return self.zone.stretch if self.direction == "along" else 1 / self.zone.stretch


@dataclass(frozen=True, slots=True)
class _Cut:
    """A piece of one length: what it lies on, and what is against it."""

    parts: tuple[SeatPart, ...]
    refused: tuple[str, ...]


VARIED = (
    *("marker", "verdict", "reasons", "lines", "face", "capital"),
    *("cut_length_mm", "arc_deg", "size_mm", "parts", "code"),
)


def fit_sleeve(marker: Marker, place: SleevePlace, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for one sleeve; ``codes`` makes the symbols of its code, if it carries one.

    The tubes are tried in the order of the place's choice; the first that fits is taken, else the
    first that is tight, else the one with the tallest capitals.
    """
    tubes = place.choice.tubes
    if not tubes:
        return _no_tube(marker, place.seat, place.choice)
    if not marker.lettered:
        return plain_sleeve(marker, place)
    font, reasons = font_of(marker.text, marker, marker.settings.tube_colour)
    answers: list[Fit] = []
    for direction in _directions(marker.settings):
        for tube in tubes:
            answer = _on_tube(marker, place, _ground(marker, place, tube, font, direction), reasons, codes)
            if answer.verdict == FITS:
                return answer
            answers.append(answer)
        if any(answer.verdict != DOES_NOT_FIT for answer in answers):
            break  # around only where nothing fits along
    best = min(answers, key=lambda a: (VERDICTS.index(a.verdict), -(a.capital.low if a.capital else 0.0)))
    return _with_ways(best, place, font, codes)


def _with_ways(fit: Fit, place: SleevePlace, font: Font, codes: CodeMaker | None) -> Fit:
    """Return the answer that was taken with what would let its code stand, if it breaks a limit."""
    if fit.tube is None or fit.code is None or not fit.code.faults:
        return fit
    ground = _ground(fit.marker, place, fit.tube, font, fit.direction)
    made = _code_on(fit.marker, ground, codes, ways=True)
    return replace(fit, ways_out=made.ways_out if made else ())


def _code_on(marker: Marker, ground: _Ground, codes: CodeMaker | None, ways: bool = False) -> SetCode | None:
    room = ground.use.choices[-1] - ground.use.taken
    return set_code(marker, codes, ground_on_tube(ground.on), room, ways=ways)


def _directions(settings: Settings) -> tuple[str, ...]:
    return ("along", "around") if settings.direction == "auto" else (settings.direction,)


def _ground(marker: Marker, place: SleevePlace, tube: Tube, font: Font, direction: str) -> _Ground:
    known = place.grounds.get((tube.name, font.name, direction))
    if known is not None:
        return known
    settings, seat = marker.settings, place.seat
    on = zone_on_tube(tube, seat.text_on, settings, distance_for(marker), font)
    zone = on.zone if direction == "along" else zone_around(on, settings, font)
    use = lengths_on(seat, tube, on.shrunk.along, settings, place.cut_length_mm, place.room.width_mm)
    flaws = flaws_of(zone.proportion, settings, settings.tube_colour)
    if settings.faces == "both" and settings.heating == "back first":
        flaws = replace(flaws, refused=(*flaws.refused, BOTH_FACES))
    answer = pattern(_nothing_set(marker, seat, tube, font, direction, on, zone), *VARIED)
    made = place.grounds[tube.name, font.name, direction] = _Ground(
        tube, font, direction, on, zone, use, flaws, answer, seat.step is None or seat.step.towards_end
    )
    return made


def _nothing_set(marker: Marker, seat: Seat, tube: Tube, font: Font, direction: str, on: TubeZone, zone: Zone) -> Fit:
    """Return the answer before anything is set: what the tube becomes on its seat."""
    outside = on.shrunk.outside_mm
    return Fit(
        marker,
        FITS,
        (),
        seat=seat,
        tube=tube,
        outside_mm=(on.shrunk.supplied_outside_mm.low, outside.low, outside.high),
        lay_flat_mm=on.lay_flat_mm,
        printable_mm=on.zone.across_mm,
        print_scale=on.shrunk.print_scale,
        face_scale=on.shrunk.face_scale,
        along_scale=on.shrunk.along,
        stretch=zone.stretch if direction == "along" else 1 / zone.stretch,
        font=font.name,
        direction=direction,
        proportion=zone.proportion,
        stroke=zone.stroke,
        contrast=contrast_of(marker.settings.print_colour, marker.settings.tube_colour) or 0.0,
    )


def _on_tube(
    marker: Marker, place: SleevePlace, ground: _Ground, reasons: tuple[str, ...], codes: CodeMaker | None
) -> Fit:
    settings, font, zone = marker.settings, ground.font, ground.zone
    code = _code_on(marker, ground, codes) if codes else None
    if code is not None:
        ground = replace(ground, use=replace(ground.use, taken=ground.use.taken + code.taken_mm))
    along = ground.direction == "along"
    setting = (
        set_text(marker, font, zone, ground.use.choices, ground.use.taken) if along else _set_around(marker, ground)
    )
    stretch = ground.stretch if along else 1.0
    size = type_size(setting.capital_mm, font, stretch, zone.required_mm)
    flat = size * font.capital * stretch
    capital = capital_report(flat, zone)
    share = flat / setting.capital_mm if setting.capital_mm else 0.0
    arc = (setting.stack_mm if along else setting.width_mm) * share * ground.on.zone.arc_per_mm
    verdict, why = verdict_of(setting, zone, capital, arc, settings, ground.flaws)
    if code is not None:
        verdict, why = with_code(verdict, why, code, settings)
    cut = _cut(setting.length_mm, place, ground, settings)
    refused = cut.refused
    if ground.use.withheld:
        refused += _not_longer(setting, ground, place.room)
    return ground.answer(
        marker,
        DOES_NOT_FIT if refused else verdict,
        reasons + why + refused,
        setting.lines,
        _face(setting, size, ground, settings, code) if size > 0 else None,
        capital,
        setting.length_mm,
        arc,
        size,
        cut.parts,
        code.fit if code else None,
    )


def _cut(length_mm: float, place: SleevePlace, ground: _Ground, settings: Settings) -> _Cut:
    """Return a piece of this length in its place: it may hold too little, or go on no sheet."""
    known = ground.cuts.get(length_mm)
    if known is None:
        against = not_held(ground.use, length_mm, settings), place.room.refusal(length_mm, ground.on.lay_flat_mm)
        known = _Cut(parts_of(place.seat, length_mm, ground.use), tuple(filter(None, against)))
        ground.cuts[length_mm] = known
    return known


def _not_longer(setting: Setting, ground: _Ground, room: Room) -> tuple[str, ...]:
    """What is said where a longer piece would do that no sheet takes."""
    short = setting.limit == ("length" if ground.direction == "along" else "around")
    if not short or setting.capital_mm >= ground.zone.required_mm * (1 - 1e-6):
        return ()
    other = f"; --stock {room.larger.stock} takes longer ones" if room.larger else ""
    return (f"longer pieces do not go on {room.stock}: it takes {room.width_mm:g} mm{other}",)


def _set_around(marker: Marker, ground: _Ground) -> Setting:
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


def _around_on(length: float, marker: Marker, ground: _Ground) -> Setting:
    """The lines around a piece of one length; turned only where nothing else reaches the required height."""
    whole = ground.on.zone
    room = max(length - ground.use.taken, 1e-6)
    zone = replace(ground.zone, read_mm=room, turn_mm=room, across_mm=room)
    setting = set_text(marker, ground.font, zone, (min(whole.read_mm, whole.across_mm),), 0.0)
    turned = False
    if setting.capital_mm < zone.required_mm - 1e-9:
        wider = set_text(marker, ground.font, zone, (min(whole.turn_mm, whole.across_mm),), 0.0)
        if wider.capital_mm >= zone.required_mm - 1e-9:
            setting, turned = wider, True
    limit = {"length": "arc", "arc": "around"}.get(setting.limit, setting.limit)
    return replace(setting, length_mm=length, limit=limit, turned=turned, free_mm=room)


# ---------------------------------------------------------------- the flat piece


def _face(setting: Setting, size: float, ground: _Ground, settings: Settings, code: SetCode | None) -> Face:
    """The flat piece: a code at its start, lines centred on what is left of the length, all centred across.

    The right-hand end goes to the connector, or the left-hand one where the lines read away from
    it; the part on the other side of a covering's edge stays free.
    """
    length, height = setting.length_mm, round(ground.on.lay_flat_mm, 6)
    rest_right = ground.rest_towards_end == (settings.reading != "away from the end")
    left, right = (0.0, ground.use.rest) if rest_right else (ground.use.rest, 0.0)
    symbol, beside = None, 0.0
    if code is not None:
        symbol, beside = code.symbol(left + settings.end_margin_mm, height / 2), code.taken_mm
    middle = (length + left + beside - right) / 2
    made = _along if ground.direction == "along" else _around
    passes = 2 if settings.faces == "both" else 1
    runs = made(setting, size, ground, settings, middle, height / 2)
    return Face(length, height, runs, symbol=symbol, passes=passes)


def _along(
    setting: Setting, size: float, ground: _Ground, settings: Settings, middle: float, centre: float
) -> tuple[Run, ...]:
    font, stretch, lines = ground.font, ground.stretch, setting.lines
    above, below = font.stack(lines)
    pitch = settings.line_pitch * size * font.capital * stretch
    baseline = centre + ((below - above) * size * stretch + (len(lines) - 1) * pitch) / 2
    drawn = round(stretch, 6)
    return tuple(
        Run(
            line,
            font.name,
            size,
            round(middle - font.width(line) * size / 2, 6),
            round(baseline - i * pitch, 6),
            drawn,
        )
        for i, line in enumerate(lines)
    )


def _around(
    setting: Setting, size: float, ground: _Ground, settings: Settings, middle: float, centre: float
) -> tuple[Run, ...]:
    font, stretch, lines = ground.font, ground.stretch, setting.lines
    above, below = font.stack(lines)
    pitch = settings.line_pitch * size * font.capital
    baseline = middle - ((below - above) * size + (len(lines) - 1) * pitch) / 2
    return tuple(
        Run(
            line,
            font.name,
            size,
            round(baseline + i * pitch, 6),
            round(centre - font.width(line) * size * stretch / 2, 6),
            round(stretch, 6),
            90,
        )
        for i, line in enumerate(lines)
    )


# ---------------------------------------------------------------- without lettering, without a tube


def plain_sleeve(marker: Marker, place: SleevePlace, length_mm: float | None = None) -> Fit:
    """Return the answer for a sleeve without lettering on the first tube; it goes through no printer.

    Its length is that given, or the shortest that holds.
    """
    settings, seat, tube = marker.settings, place.seat, place.choice.tubes[0]
    on = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), seat.text_on, "even")
    use = lengths_on(seat, tube, on.along, settings, length_mm or place.cut_length_mm)
    length = use.choices[0]
    why = not_held(use, length, settings)
    return Fit(
        marker=marker,
        verdict=DOES_NOT_FIT if why else FITS,
        reasons=(why,) if why else (),
        seat=seat,
        tube=tube,
        cut_length_mm=length,
        outside_mm=(on.supplied_outside_mm.low, on.outside_mm.low, on.outside_mm.high),
        print_scale=on.print_scale,
        along_scale=on.along,
        parts=parts_of(seat, length, use),
    )


def _no_tube(marker: Marker, seat: Seat, choice: TubeChoice) -> Fit:
    settings = marker.settings
    what = (
        f"no tube of {', '.join(settings.sleeve)} both passes {seat.passes.high:.2f} mm (slip +{settings.slip:.0%}) "
        f"and closes on {seat.closes_on.low:.2f} mm (grip -{settings.grip:.0%})"
    )
    if seat.obstacle:
        what += f"; it must pass {seat.obstacle}"
    ways = (*filter(None, (seat.in_time,)), *choice.ways_out)
    return Fit(marker, DOES_NOT_FIT, (what, *choice.refusals), seat=seat, ways_out=ways)
