"""What the fits of all kinds share: the font for a text, the capitals' report, the verdict's words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain

from labeler.errors import LabelerError, Problem
from labeler.fit.code import SetCode, with_code
from labeler.fit.text import Needed, Setting, Zone, best_setting, breakings, needed_capital
from labeler.formulas.legibility import contrast_ratio
from labeler.model import DOES_NOT_FIT, FITS, TIGHT, Capital, Fit, Marker, Range, Settings
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


def font_of(text: Sequence[str], marker: Marker, ground_colour: str = PAPER) -> tuple[Font, tuple[str, ...]]:
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
    return font, (f"set in {font.name}, as {name} has no {', '.join(lacking)}",)


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
    high_enough = min(most, int((stack / high - 1) / pitch + 1 + 1e-6))
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

    refused: tuple[str, ...] = ()
    said: tuple[str, ...] = ()


def flaws_of(proportion: Range, settings: Settings, ground_colour: str) -> Flaws:
    """Return what the letters' proportion and the print's contrast have against them."""
    refused: list[str] = []
    narrow, wide = proportion.low, proportion.high
    if narrow < settings.narrowest_letter - 1e-6 or wide > settings.widest_letter + 1e-6:
        refused.append(
            f"letters come out {narrow:.3f} to {wide:.3f} as wide as high, allowed are "
            f"{settings.narrowest_letter:g} to {settings.widest_letter:g}: heat evenly, or choose a tube that "
            f"shrinks less"
        )
    contrast = contrast_of(settings.print_colour, ground_colour)
    if contrast is None:
        colours = f"{settings.print_colour} and {ground_colour}"
        return Flaws(tuple(refused), (f"contrast not checked: the colours {colours} are not both known",))
    if contrast < settings.min_contrast:
        refused.append(
            f"print {settings.print_colour} on {ground_colour} has a contrast of {contrast:.1f} : 1, "
            f"{settings.min_contrast:g} : 1 required: choose another print_colour or tube_colour"
        )
    return Flaws(tuple(refused))


def verdict_of(
    setting: Setting, zone: Zone, capital: Capital, arc_deg: float, settings: Settings, flaws: Flaws
) -> tuple[str, tuple[str, ...]]:
    """Return the verdict on a setting and its reasons, each with its numbers."""
    verdict, reasons = FITS, (*flaws.refused, *flaws.said)
    if capital.flat < zone.required_mm * (1 - 1e-6):
        verdict, reasons = DOES_NOT_FIT, (_too_small(setting, zone, capital, settings), *reasons)
    elif setting.turned:
        turn = (
            f"turn to read: the lettering covers {arc_deg:.1f}° of the part, {settings.reading_arc_deg:g}° is read "
            f"without turning, {settings.turning_arc_deg:g}° is the limit"
        )
        verdict, reasons = TIGHT, (turn, *reasons)
    return DOES_NOT_FIT if flaws.refused else verdict, reasons


def answer_on_paper(
    marker: Marker,
    setting: Setting,
    size_mm: float,
    font: Font,
    zone: Zone,
    reasons: tuple[str, ...] = (),
    code: SetCode | None = None,
) -> Fit:
    """Return the answer for a setting that does not shrink, without what it stands on and its face."""
    settings, flat = marker.settings, size_mm * font.capital
    capital = capital_report(flat, zone)
    share = flat / setting.capital_mm if setting.capital_mm else 0.0
    arc = setting.stack_mm * share * zone.arc_per_mm
    verdict, why = verdict_of(setting, zone, capital, arc, settings, flaws_of(zone.proportion, settings, PAPER))
    verdict, why = with_code(verdict, why, code, settings)
    return Fit(
        marker,
        verdict,
        reasons + why,
        setting.lines,
        capital=capital,
        printable_mm=zone.across_mm,
        arc_deg=arc,
        font=font.name,
        size_mm=size_mm,
        proportion=zone.proportion,
        stroke=zone.stroke,
        contrast=contrast_of(settings.print_colour, PAPER) or 0.0,
        code=code.fit if code else None,
        ways_out=code.ways_out if code else (),
    )


def _too_small(setting: Setting, zone: Zone, capital: Capital, settings: Settings) -> str:
    lines = "one line" if len(setting.lines) == 1 else f"{len(setting.lines)} lines"
    needs = setting.line_per_capital * zone.required_mm
    why = {
        "length": f"the text takes {needs:.1f} mm at that height, of the piece's "
        f"{max(setting.length_mm, 0):.4g} mm {max(setting.free_mm, 0):.1f} are free",
        "arc": f"{lines} may cover {settings.turning_arc_deg:g}° of the part at most",
        "around": f"{lines} must go into the {setting.free_mm:.1f} mm of length that are free",
        "across": f"{lines} must go into {zone.across_mm:.1f} mm of print height",
        "largest": "the largest size asked for",
    }[setting.limit]
    if zone.needed.required_mm / zone.low >= zone.required_mm - EPS:
        return (
            f"capitals {capital.low:.2f} mm after shrinking, {capital.required:.2f} mm required "
            f"({capital.required_by}): {why}"
        )
    by = f"{settings.dots_per_capital:g} dots a capital, {settings.dots_per_stroke:g} a stroke"
    return (
        f"capitals {capital.flat:.2f} mm as printed, {zone.required_mm:.2f} mm required for a printer of "
        f"{settings.printer_dpi:g} dpi ({by}): {why}"
    )
