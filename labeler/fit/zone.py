"""The zone print may fill on a seat: how tall, how wide, and how tall it must be.

All heights are of the flat print, before shrinking, so that setting type needs no physics.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf, pi, radians, sqrt

from labeler.formulas.legibility import height_for_angle, height_for_dots
from labeler.formulas.shrink import Shrunk, lay_flat, limits, shrunk, wall_from_section
from labeler.model import Range, Settings, Tube
from labeler.text import Font


@dataclass(frozen=True, slots=True)
class Needed:
    """Capital heights on the finished part, mm."""

    required_mm: float
    preferred_mm: float
    largest_mm: float
    by: str


@dataclass(frozen=True, slots=True)
class Zone:
    """What flat print may be on one seat.

    ``read_mm`` and ``turn_mm`` are the tallest stacks of lines that are read without turning and
    with turning the part; ``across_mm`` what the stock takes; ``low`` and ``high`` the face's
    scale around the part; ``stretch`` how much taller than normal the letters are printed.
    ``required_mm``, ``preferred_mm`` and ``largest_mm`` are flat capital heights.
    """

    read_mm: float
    turn_mm: float
    across_mm: float
    low: float
    high: float
    stretch: float
    required_mm: float
    preferred_mm: float
    largest_mm: float
    needed: Needed
    arc_per_mm: float  # degrees of arc for one mm of flat stack, at most
    proportion: Range  # width over height of the H after shrinking
    stroke: Range  # width of a stroke over height of a capital after shrinking
    dots_mm: float  # least flat capital height that the printer can form
    least_size_mm: float  # least type size at which it forms the strokes


def needed_capital(distance_mm: float, settings: Settings) -> Needed:
    """Return the capital height asked for: the larger of the smallest allowed and the visual angle's."""
    return _needed(
        distance_mm,
        settings.min_capital_mm,
        settings.required_angle_arcmin,
        settings.preferred_angle_arcmin,
        settings.largest_angle_arcmin,
    )


@lru_cache(maxsize=256)
def _needed(distance: float, least: float, required: float, preferred: float, largest: float) -> Needed:
    by_angle = height_for_angle(distance, required)
    by = f"{required:g}' at {distance:g} mm" if by_angle >= least else "min_capital_mm"
    must = max(by_angle, least)
    want = max(height_for_angle(distance, preferred), must)
    return Needed(must, want, max(height_for_angle(distance, largest), want), by)


@dataclass(frozen=True, slots=True)
class TubeZone:
    """A zone on a tube, with the tube's own figures for the report."""

    zone: Zone
    shrunk: Shrunk
    lay_flat_mm: float


def zone_on_tube(tube: Tube, on_mm: Range, settings: Settings, distance_mm: float, font: Font) -> TubeZone:
    """Return the zone of a tube that closes on a range of diameters; its face printed flat.

    The pre-stretch makes the letters come out in the font's own proportion in the middle
    (geometric mean) of all they may become, unless that would make them wider than allowed.
    """
    return _zone_on_tube(
        tube,
        on_mm,
        settings.heating,
        settings.lettered_share,
        (settings.supplied_over, settings.recovered_under),
        settings.edge_margin_mm,
        (settings.reading_arc_deg, settings.turning_arc_deg),
        needed_capital(distance_mm, settings),
        printer_of(settings),
        settings.widest_letter,
        font,
    )


@dataclass(frozen=True, slots=True)
class Printer:
    """What the printer can form: fewest dots of a capital and of a stroke, dots per inch."""

    dots_per_capital: float
    dots_per_stroke: float
    dpi: float


def printer_of(settings: Settings) -> Printer:
    """Return what the printer can form."""
    return Printer(settings.dots_per_capital, settings.dots_per_stroke, settings.printer_dpi)


def least_size(printer: Printer, font: Font, stretch: float) -> float:
    """Return the least type size [mm] at which no stroke is thinner than the printer's fewest dots.

    Upright strokes are not stretched, level ones are: the thinner of the two counts.
    """
    return height_for_dots(printer.dots_per_stroke, printer.dpi) / (font.stroke * min(1.0, stretch))


@lru_cache(maxsize=4096)
def _zone_on_tube(
    tube: Tube,
    on_mm: Range,
    heating: str,
    share: float,
    over: tuple[float, float],
    edge_margin: float,
    arcs: tuple[float, float],
    needed: Needed,
    printer: Printer,
    widest: float,
    font: Font,
) -> TubeZone:
    on = shrunk(limits(tube, *over), on_mm, heating, share)
    own = font.capital_width / font.capital
    stretch = max(sqrt(on.squeeze.low * on.squeeze.high), own * on.squeeze.high / widest)
    section = (tube.recovered_mm + tube.wall_mm) * tube.wall_mm * (1 + tube.longitudinal_change)
    flat = tube.lay_flat_mm or lay_flat(tube.supplied_mm, wall_from_section(tube.supplied_mm, section))
    low, size = on.face_scale.low, least_size(printer, font, stretch)
    dots = height_for_dots(printer.dots_per_capital, printer.dpi)
    least, stroke = max(dots, size * font.capital * stretch), font.stroke / font.capital / stretch
    zone = Zone(
        read_mm=radians(arcs[0]) / on.arc_per_mm,
        turn_mm=radians(arcs[1]) / on.arc_per_mm,
        across_mm=flat - 2 * edge_margin,
        low=low,
        high=on.face_scale.high,
        stretch=stretch,
        required_mm=max(needed.required_mm / low, least),
        preferred_mm=max(needed.preferred_mm / low, least),
        largest_mm=max(needed.largest_mm / low, least),
        needed=needed,
        arc_per_mm=on.arc_per_mm * 180 / pi,
        proportion=Range(own * on.squeeze.low / stretch, own * on.squeeze.high / stretch),
        stroke=Range(stroke * on.squeeze.low, stroke * on.squeeze.high),
        dots_mm=dots,
        least_size_mm=size,
    )
    return TubeZone(zone, on, flat)


def zone_around(on: TubeZone, settings: Settings, font: Font) -> Zone:
    """Return the zone of lines that run around the tube; ``across_mm`` is left open: it is the piece's length.

    The letters' width now shrinks with the face, around, and their height with the tube, along: the
    squeeze acts the other way. They are pre-stretched along the line, so that they come out in the
    font's own proportion in the middle of all they may become, but never wider than allowed.
    """
    squeeze, along, needed = on.shrunk.squeeze, on.shrunk.along, on.zone.needed
    own, stem = font.capital_width / font.capital, font.stroke / font.capital
    wider = min(sqrt(squeeze.low * squeeze.high), settings.widest_letter * squeeze.low / own)
    size = least_size(printer_of(settings), font, wider)
    least = max(on.zone.dots_mm, size * font.capital)
    return replace(
        on.zone,
        read_mm=inf,
        turn_mm=inf,
        across_mm=inf,
        low=along.low,
        high=along.high,
        stretch=1 / wider,
        required_mm=max(needed.required_mm / along.low, least),
        preferred_mm=max(needed.preferred_mm / along.low, least),
        largest_mm=max(needed.largest_mm / along.low, least),
        proportion=Range(own * wider / squeeze.high, own * wider / squeeze.low),
        stroke=Range(stem * wider / squeeze.high, stem * wider / squeeze.low),
        least_size_mm=size,
    )


@lru_cache(maxsize=4096)
def zone_on_film(
    on_mm: Range,
    film_mm: float,
    across_mm: float,
    arcs: tuple[float, float],
    needed: Needed,
    printer: Printer,
    font: Font,
) -> Zone:
    """Return the zone of a label wrapped once around a wire: nothing shrinks.

    The print lies on the film's outside, on ``d + 2 t``; the thinnest wire shows the largest arc.
    """
    arc_per_mm = 2 / (on_mm.low + 2 * film_mm)
    size, dots = least_size(printer, font, 1.0), height_for_dots(printer.dots_per_capital, printer.dpi)
    least = max(dots, size * font.capital)
    proportion, stroke = font.capital_width / font.capital, font.stroke / font.capital
    return Zone(
        read_mm=radians(arcs[0]) / arc_per_mm,
        turn_mm=radians(arcs[1]) / arc_per_mm,
        across_mm=across_mm,
        low=1.0,
        high=1.0,
        stretch=1.0,
        required_mm=max(needed.required_mm, least),
        preferred_mm=max(needed.preferred_mm, least),
        largest_mm=max(needed.largest_mm, least),
        needed=needed,
        arc_per_mm=arc_per_mm * 180 / pi,
        proportion=Range(proportion, proportion),
        stroke=Range(stroke, stroke),
        dots_mm=dots,
        least_size_mm=size,
    )
