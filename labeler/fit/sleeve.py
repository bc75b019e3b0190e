"""Fit a heat-shrink sleeve: the first tube that carries the text, its cut length, its flat face."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import ceil

from labeler.fit.code import CodeMaker, SetCode, ground_on_tube, set_code, with_code
from labeler.fit.common import (
    DOES_NOT_FIT,
    FITS,
    TIGHT,
    capital_report,
    contrast_of,
    distance_for,
    font_of,
    set_text,
    verdict_of,
)
from labeler.fit.setting import Setting, type_size
from labeler.fit.zone import TubeZone, Zone, zone_on_tube
from labeler.formulas.shrink import cut_length, limits, shrunk
from labeler.model import Face, Fit, Marker, Range, Run, Seat, SeatPart, Settings, Tube, TubeChoice
from labeler.text import Font

BOTH_FACES = (
    "lettering on both faces has no back to heat first: the scales of the two faces add up to twice the "
    'average; set heating to "even" or "any", or faces to "one"'
)
VERDICTS = (FITS, TIGHT, DOES_NOT_FIT)


@dataclass(frozen=True, slots=True, eq=False)
class SleevePlace:
    """What all sleeves on one seat with the same settings share; their tubes' zones are worked out once."""

    seat: Seat
    choice: TubeChoice
    cut_length_mm: float | None = None  # fixed, or None: free
    zones: dict[tuple[str, str], tuple[TubeZone, _Length]] = field(default_factory=dict)  # by tube and font
    parts: dict[tuple[str, float], tuple[SeatPart, ...]] = field(default_factory=dict)  # by tube and cut length


def fit_sleeve(marker: Marker, place: SleevePlace, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for one sleeve; ``codes`` makes the symbols of its code, if it carries one.

    The tubes are tried in the order of the place's choice; the first that fits is taken, else the
    first that is tight, else the one with the tallest capitals.
    """
    tubes = place.choice.tubes
    if not tubes:
        return _no_tube(marker, place.seat, place.choice)
    if not marker.lettered:
        return _plain(marker, place.seat, tubes[0], place.cut_length_mm)
    font, reasons = font_of(marker.text, marker, marker.settings.tube_colour)
    answers: list[Fit] = []
    for direction in _directions(marker.settings):
        for tube in tubes:
            answer = _on_tube(marker, place, tube, font, reasons, direction, codes)
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
    on, use = _zone(fit.marker, place, fit.tube, font)
    made = set_code(fit.marker, codes, ground_on_tube(on), use.choices[-1] - use.taken)
    return replace(fit, ways_out=made.ways_out if made else ())


def _directions(settings: Settings) -> tuple[str, ...]:
    return ("along", "around") if settings.direction == "auto" else (settings.direction,)


def cut_lengths(settings: Settings, at_least_mm: float = 0.0) -> tuple[float, ...]:
    """Return the cut lengths that may be chosen, mm: the shop's own, or whole steps from shortest to longest.

    Where none is long enough for ``at_least_mm`` only the longest is returned.
    """
    if settings.cut_lengths_mm:
        enough = tuple(length for length in settings.cut_lengths_mm if length >= at_least_mm)
        return enough or settings.cut_lengths_mm[-1:]
    step = settings.cut_step_mm
    first = ceil(round(max(settings.shortest_cut_mm, at_least_mm) / step, 9))
    last = int(round(settings.longest_cut_mm / step, 9))
    return tuple(i * step for i in range(first, last + 1)) or (settings.longest_cut_mm,)


@dataclass(frozen=True, slots=True)
class _Length:
    """How the length of a piece is used: ``overlap`` lies past the edge of a covering, flat, mm."""

    overlap: float
    overlap_along: Range | None
    taken: float
    choices: tuple[float, ...]


def _length(seat: Seat, tube: Tube, settings: Settings, fixed: float | None) -> _Length:
    overlap, along = 0.0, None
    if seat.closes_on != seat.text_on:
        # What is past the edge lies on the other diameter, and shrinks lengthwise by its own share.
        on = Range(seat.closes_on.low, min(seat.closes_on.high, tube.supplied_mm))
        along = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), on, "even").along
        overlap = cut_length(((settings.overlap_mm, along.low),))
    taken = 2 * settings.end_margin_mm + overlap
    return _Length(overlap, along, taken, (fixed,) if fixed else cut_lengths(settings, taken))


def _zone(marker: Marker, place: SleevePlace, tube: Tube, font: Font) -> tuple[TubeZone, _Length]:
    known = place.zones.get((tube.name, font.name))
    if known is None:
        on = zone_on_tube(tube, place.seat.text_on, marker.settings, distance_for(marker), font)
        known = on, _length(place.seat, tube, marker.settings, place.cut_length_mm)
        place.zones[tube.name, font.name] = known
    return known


def _on_tube(
    marker: Marker,
    place: SleevePlace,
    tube: Tube,
    font: Font,
    reasons: tuple[str, ...],
    direction: str,
    codes: CodeMaker | None,
) -> Fit:
    settings, seat = marker.settings, place.seat
    on, use = _zone(marker, place, tube, font)
    code = set_code(marker, codes, ground_on_tube(on), use.choices[-1] - use.taken, ways=False)
    if code is not None:
        use = replace(use, taken=use.taken + code.taken_mm)
    if direction == "along":
        zone, setting = on.zone, set_text(marker, font, on.zone, use.choices, use.taken)
        drawn_stretch = zone.stretch
    else:
        zone, setting = _set_around(marker, font, on, use)
        drawn_stretch = 1.0
    size = type_size(setting.capital_mm, font, drawn_stretch, zone.required_mm)
    flat = size * font.capital * drawn_stretch
    capital = capital_report(flat, zone)
    share = flat / setting.capital_mm if setting.capital_mm else 0.0
    arc_mm = setting.stack_mm if direction == "along" else setting.width_mm
    arc = arc_mm * share * on.zone.arc_per_mm
    verdict, why = verdict_of(setting, zone, capital, arc, settings, settings.tube_colour)
    verdict, why = with_code(verdict, why, code, settings)
    if settings.faces == "both" and settings.heating == "back first":
        verdict, why = DOES_NOT_FIT, (*why, BOTH_FACES)
    piece = _Piece(setting, size, font, on, settings, use.overlap, direction, code)
    parts = place.parts.get((tube.name, setting.length_mm))
    if parts is None:
        parts = _parts(seat, setting.length_mm, use, on.shrunk.along)
        place.parts[tube.name, setting.length_mm] = parts
    return Fit(
        marker=marker,
        verdict=verdict,
        reasons=(*reasons, *why),
        lines=setting.lines,
        seat=seat,
        tube=tube,
        face=_face(piece) if size > 0 else None,
        capital=capital,
        cut_length_mm=setting.length_mm,
        outside_mm=(on.shrunk.supplied_outside_mm.low, on.shrunk.outside_mm.low, on.shrunk.outside_mm.high),
        lay_flat_mm=on.lay_flat_mm,
        printable_mm=on.zone.across_mm,
        print_scale=on.shrunk.print_scale,
        face_scale=on.shrunk.face_scale,
        along_scale=on.shrunk.along,
        arc_deg=arc,
        stretch=on.zone.stretch,
        font=font.name,
        size_mm=size,
        direction=direction,
        parts=parts,
        proportion=on.zone.proportion,
        stroke=on.zone.stroke,
        contrast=contrast_of(settings.print_colour, settings.tube_colour) or 0.0,
        code=code.fit if code else None,
    )


def _set_around(marker: Marker, font: Font, on: TubeZone, use: _Length) -> tuple[Zone, Setting]:
    """Set the lines around the tube: its arc is their length, its cut length takes the stack.

    The letters' height now shrinks with the tube's length, their width with the face; they are
    pre-stretched in the direction of the line instead. Of the lengths the first is taken on which
    the capitals reach the preferred height.
    """
    along, needed = on.shrunk.along, on.zone.needed
    least = max(on.zone.dots_mm, on.zone.least_size_mm * font.capital)

    def on_length(length: float) -> tuple[Zone, Setting]:
        room = max(length - use.taken, 1e-6)
        zone = replace(
            on.zone,
            read_mm=room,
            turn_mm=room,
            across_mm=room,
            low=along.low,
            high=along.high,
            stretch=1 / on.zone.stretch,
            required_mm=max(needed.required_mm / along.low, least),
            preferred_mm=max(needed.preferred_mm / along.low, least),
            largest_mm=max(needed.largest_mm / along.low, least),
        )
        setting = set_text(marker, font, zone, (min(on.zone.read_mm, on.zone.across_mm),), 0.0)
        turned = False
        if setting.capital_mm < zone.required_mm - 1e-9:
            wider = set_text(marker, font, zone, (min(on.zone.turn_mm, on.zone.across_mm),), 0.0)
            if wider.capital_mm >= zone.required_mm - 1e-9:
                setting, turned = wider, True
        limit = {"length": "arc", "arc": "across"}.get(setting.limit, setting.limit)
        return zone, replace(setting, length_mm=length, limit=limit, turned=turned)

    tried = []
    for length in use.choices:
        zone, setting = on_length(length)
        tried.append((zone, setting))
        if setting.capital_mm >= zone.preferred_mm - 1e-9 and not setting.turned:
            return zone, setting
    return max(tried, key=lambda made: (not made[1].turned, round(made[1].capital_mm, 4), -made[1].length_mm))


@dataclass(frozen=True, slots=True)
class _Piece:
    """What is needed to draw one flat piece."""

    setting: Setting
    size: float
    font: Font
    on: TubeZone
    settings: Settings
    overlap: float
    direction: str
    code: SetCode | None = None


def _face(piece: _Piece) -> Face:
    """The flat piece: a code at its start, lines centred on what is left of the length, all centred across.

    The right-hand end goes to the connector, or the left-hand one where the lines read away from
    it; there the part that ends up past the edge of a covering stays free.
    """
    length, height = piece.setting.length_mm, round(piece.on.lay_flat_mm, 6)
    left, right = (piece.overlap, 0.0) if piece.settings.reading == "away from the end" else (0.0, piece.overlap)
    symbol, code = None, 0.0
    if piece.code is not None:
        symbol, code = piece.code.symbol(left + piece.settings.end_margin_mm, height / 2), piece.code.taken_mm
    made = _along if piece.direction == "along" else _around
    passes = 2 if piece.settings.faces == "both" else 1
    middle = (length + left + code - right) / 2
    return Face(length, height, made(piece, middle, height / 2), symbol=symbol, passes=passes)


def _along(piece: _Piece, middle: float, centre: float) -> tuple[Run, ...]:
    font, size, stretch = piece.font, piece.size, piece.on.zone.stretch
    lines = piece.setting.lines
    flat = size * font.capital * stretch
    above, below = font.above(lines[0]) * size * stretch, font.below(lines[-1]) * size * stretch
    pitch = piece.settings.line_pitch * flat
    baseline = centre + (above + below + (len(lines) - 1) * pitch) / 2 - above
    return tuple(
        Run(
            line,
            font.name,
            size,
            round(middle - font.width(line) * size / 2, 6),
            round(baseline - i * pitch, 6),
            round(stretch, 6),
        )
        for i, line in enumerate(lines)
    )


def _around(piece: _Piece, middle: float, centre: float) -> tuple[Run, ...]:
    font, size, stretch = piece.font, piece.size, piece.on.zone.stretch
    lines = piece.setting.lines
    above, below = font.above(lines[0]) * size, font.below(lines[-1]) * size
    pitch = piece.settings.line_pitch * size * font.capital
    baseline = middle - (above + below + (len(lines) - 1) * pitch) / 2 + above
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


def _parts(seat: Seat, length: float, use: _Length, along: Range) -> tuple[SeatPart, ...]:
    """What the piece lies on, with the lengths cut flat and after shrinking: where the text stands comes first."""
    rest = length - use.overlap
    own = SeatPart(seat.sits_on, rest, Range(rest * along.low, rest * along.high))
    if use.overlap_along is None:
        return (own,)
    past = Range(use.overlap * use.overlap_along.low, use.overlap * use.overlap_along.high)
    return (own, SeatPart("past the edge of the covering, towards the end", use.overlap, past))


def _plain(marker: Marker, seat: Seat, tube: Tube, fixed: float | None) -> Fit:
    settings = marker.settings
    on = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), seat.text_on, "even")
    use = _length(seat, tube, settings, fixed)
    length = use.choices[0]
    short = use.overlap > length + 1e-6
    why = f"the overlap past the covering alone takes {use.overlap:.1f} mm, the longest cut is {length:g} mm"
    return Fit(
        marker=marker,
        verdict=DOES_NOT_FIT if short else FITS,
        reasons=(why,) if short else (),
        seat=seat,
        tube=tube,
        cut_length_mm=length,
        outside_mm=(on.supplied_outside_mm.low, on.outside_mm.low, on.outside_mm.high),
        print_scale=on.print_scale,
        along_scale=on.along,
        parts=_parts(seat, length, use, on.along),
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


def sleeve_on(
    marker: Marker, seat: Seat, tubes: Sequence[Tube], fixed: float | None = None, codes: CodeMaker | None = None
) -> Fit | None:
    """Return the answer on the first of some tubes that carries the text, or None: for looking at ways out."""
    answer = fit_sleeve(marker, SleevePlace(seat, TubeChoice(tuple(tubes)), fixed), codes) if tubes else None
    return answer if answer is not None and answer.verdict != DOES_NOT_FIT else None
