"""What the fits of all kinds share: the font for a text, the capitals' report, the verdict with its reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain

from labeler.errors import LabelerError, Problem
from labeler.fit.text import Needed, Setting, Zone, best_setting, breakings, needed_capital
from labeler.formulas.legibility import contrast_ratio
from labeler.model import DOES_NOT_FIT, FITS, TIGHT, Capital, Fact, Marker, Range, Settings, fact
from labeler.tables.colours import luminance
from labeler.tables.document import shown
from labeler.text import Font, font_for, load_font, weight_for

PAPER = "WH"  # of tags, strips, flags and the printed zone of wraps: project choice, stock files do not say
MOST_LINES = 8
EPS = 1e-9


def distance_for(marker: Marker) -> float:
    """Return from how far this marker is read, mm."""
    settings = marker.settings
    return settings.wire_reading_distance_mm if marker.on_wire else settings.reading_distance_mm


def needed_for(marker: Marker) -> Needed:
    """Return the capital heights asked for on this marker, after shrinking."""
    return needed_capital(distance_for(marker), marker.settings)


def face_of(settings: Settings, ground_colour: str) -> str:
    """Return the name of the face: the weight of the settings' font that reads best on this ground."""
    return _face_of(settings.font, settings.print_colour, ground_colour)


@lru_cache(maxsize=256)
def _face_of(font: str, print_colour: str, ground_colour: str) -> str:
    ink, ground = luminance(print_colour), luminance(ground_colour)
    return weight_for(font, ink is not None and ground is not None and ink > ground)


def font_of(text: Sequence[str], marker: Marker, ground_colour: str = PAPER) -> tuple[Font, tuple[Fact, ...]]:
    """Return the font that has all the characters of the text, with a reason where it is a stand-in.

    Raises `LabelerError`, with the marker's place, for a character no font has.
    """
    name = face_of(marker.settings, ground_colour)
    usual = load_font(name) if len(text) == 1 else None
    if usual is not None and not usual.missing(text[0]):
        return usual, ()
    try:
        font, lacking = font_for(name, frozenset(chain.from_iterable(text)))
    except LabelerError as error:
        raise LabelerError(
            *(
                Problem(marker.where, f"{marker.at}: text {shown(' '.join(text))}: {p.message}", p.fix)
                for p in error.problems
            )
        ) from error
    if not lacking:
        return font, ()
    return font, (fact("stand-in font", font=font.name, usual=name, lacking=tuple(lacking)),)


def set_text(
    marker: Marker, font: Font, zone: Zone, lengths: Sequence[float], taken_mm: float, most: int = MOST_LINES
) -> Setting:
    """Return the best setting of a marker's text in a zone: explicit lines are kept as they are."""
    pitch = marker.settings.line_pitch
    if not marker.breakable:
        return best_setting((marker.text,), font, zone, lengths, taken_mm, pitch)
    text = marker.text[0]
    one = best_setting(((text.strip(),),), font, zone, lengths, taken_mm, pitch)
    high, stack = zone.required_mm, zone.turn_mm
    if one.capital_mm >= zone.required_mm - EPS and not one.turned:
        if one.limit != "length" and one.length_mm == lengths[0]:
            return one  # more lines only take height away
        # more lines help only where their stack lets the capitals be as tall: at least 1 + (n - 1) pitch of them
        high, stack = min(one.capital_mm, zone.preferred_mm), min(zone.read_mm, zone.across_mm)
    high_enough = int(min(most, (stack / high - 1) / pitch + 1 + 1e-6))
    if high_enough < 2:
        return one
    return best_setting(breakings(text, font, high_enough), font, zone, lengths, taken_mm, pitch)


def capital_report(flat_mm: float, zone: Zone) -> Capital:
    """Return the capitals as printed, and between what they lie after shrinking."""
    needed = zone.needed
    return Capital(flat_mm, flat_mm * zone.low, flat_mm * zone.high, needed.required_mm, needed.by)


@lru_cache(maxsize=1024)
def contrast_of(print_colour: str, ground_colour: str) -> float | None:
    """Return the contrast ratio of print to what it is printed on; None where a colour is not known."""
    ink, ground = luminance(print_colour), luminance(ground_colour)
    return None if ink is None or ground is None else contrast_ratio(ink, ground)


@dataclass(frozen=True, slots=True)
class Flaws:
    """What is wrong with a ground whatever is set on it, and what is only said."""

    refused: tuple[Fact, ...] = ()
    said: tuple[Fact, ...] = ()


def flaws_of(proportion: Range, settings: Settings, ground_colour: str) -> Flaws:
    """Return what the letters' proportion and the print's contrast have against them."""
    refused: list[Fact] = []
    low, high, least, most = proportion.low, proportion.high, settings.narrowest_letter, settings.widest_letter
    if low < least - 1e-6 or high > most + 1e-6:
        refused.append(fact("letters out of proportion", low=low, high=high, least=least, most=most))
    ink, required = settings.print_colour, settings.min_contrast
    contrast = contrast_of(ink, ground_colour)
    if contrast is None:
        return Flaws(tuple(refused), (fact("contrast unknown", ink=ink, ground=ground_colour),))
    if contrast < required:
        refused.append(fact("contrast too low", ink=ink, ground=ground_colour, contrast=contrast, required=required))
    return Flaws(tuple(refused))


def verdict_of(
    setting: Setting, zone: Zone, capital: Capital, arc_deg: float, settings: Settings, flaws: Flaws
) -> tuple[str, tuple[Fact, ...]]:
    """Return the verdict on a setting and its reasons."""
    verdict, reasons = FITS, (*flaws.refused, *flaws.said)
    if capital.flat < zone.required_mm * (1 - 1e-6):
        verdict, reasons = DOES_NOT_FIT, (_too_small(setting, zone, capital, settings), *reasons)
    elif setting.turned:
        limits = {"reading": settings.reading_arc_deg, "turning": settings.turning_arc_deg}
        turn = fact("turn to read", arc=arc_deg, **limits)
        verdict, reasons = TIGHT, (turn, *reasons)
    return DOES_NOT_FIT if flaws.refused else verdict, reasons


def _too_small(setting: Setting, zone: Zone, capital: Capital, settings: Settings) -> Fact:
    lines, piece, free = len(setting.lines), max(setting.length_mm, 0), max(setting.free_mm, 0)
    why = {
        "length": fact("limited by length", needs=setting.line_per_capital * zone.required_mm, piece=piece, free=free),
        "arc": fact("limited by arc", lines=lines, arc=settings.turning_arc_deg),
        "around": fact("limited by around", lines=lines, free=setting.free_mm),
        "across": fact("limited by across", lines=lines, across=zone.across_mm),
        "largest": fact("limited by largest"),
    }[setting.limit]
    if zone.needed.required_mm / zone.low >= zone.required_mm - EPS:
        by = capital.required_by
        return fact("capitals too small", low=capital.low, required=capital.required, by=by, why=why)
    return fact(
        "capitals too coarse",
        printed=capital.flat,
        required=zone.required_mm,
        dpi=settings.printer_dpi,
        capital=settings.dots_per_capital,
        stroke=settings.dots_per_stroke,
        why=why,
    )
