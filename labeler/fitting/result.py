"""What the fits of all kinds share: the font for a text, how it looks, the result with its reasons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import chain

from labeler.errors import LabelerError, Problem
from labeler.fitting.code import SetCode, with_code
from labeler.fitting.text import Needed, TextLayout, Zone, best_setting, breakings, needed_capital, type_size
from labeler.formulas.interval import middle
from labeler.formulas.legibility import contrast_ratio
from labeler.model import FAIL, MARGINAL, PASS, Capital, Fact, Fit, Marker, Settings, Surface, fact
from labeler.tables.colours import luminance
from labeler.tables.document import shown
from labeler.text import Font, font_for, load_font, weight_for

PAPER = "WH"  # of tags, strips, flags and the printed zone of wraps: project choice, stock files do not say
MOST_LINES = 8
EPS = 1e-9
SLACK = 1e-6  # of ratios
PLAIN = Surface()


def needed_for(marker: Marker) -> Needed:
    """Return the capital heights asked for on this marker, after shrinking, by how far from it is read."""
    settings = marker.settings
    close = marker.on_wire or marker.single
    return needed_capital(
        settings.print.wire_reading_distance_mm if close else settings.print.reading_distance_mm, settings
    )


def face_of(settings: Settings, ground_colour: str) -> str:
    """Return the name of the face: the weight of the settings' font that reads best on this ground."""
    return _face_of(settings.print.font, settings.print.colour, ground_colour)


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
        said = f"{marker.place}: text {shown(' '.join(text))}"
        raise LabelerError(*(Problem(marker.where, f"{said}: {p.message}", p.fix) for p in error.problems)) from error
    if not lacking:
        return font, ()
    return font, (fact("stand-in font", font=font.name, usual=name, lacking=tuple(lacking)),)


def set_text(
    marker: Marker, font: Font, zone: Zone, lengths: Sequence[float], taken_mm: float, most: int = MOST_LINES
) -> TextLayout:
    """Return the best setting of a marker's text in a zone: explicit lines are kept as they are."""
    pitch = marker.settings.print.line_spacing
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


@lru_cache(maxsize=1024)
def contrast_of(print_colour: str, ground_colour: str) -> float | None:
    """Return the contrast ratio of print to what it is printed on; None where a colour is not known."""
    ink, ground = luminance(print_colour), luminance(ground_colour)
    return None if ink is None or ground is None else contrast_ratio(ink, ground)


@dataclass(frozen=True, slots=True)
class Look:
    """How any text comes out in a zone: its font and surface, the flaws of these, and the result that they allow."""

    font: Font
    surface: Surface
    flaws: tuple[Fact, ...]
    result: str


def look_of(font: Font, zone: Zone, settings: Settings, ground_colour: str = PAPER, surface: Surface = PLAIN) -> Look:
    """Return how text comes out in a zone on a ground of a colour; ``surface`` has what is known of a tube."""
    ink, limits = settings.print.colour, settings.print
    contrast = contrast_of(ink, ground_colour)
    flaws = list(_shape_flaws(zone, settings))
    if contrast is not None and contrast < limits.min_contrast:
        why = fact("contrast too low", ink=ink, ground=ground_colour, contrast=contrast, required=limits.min_contrast)
        flaws.append((MARGINAL if contrast >= limits.marginal_min_contrast else FAIL, why))
    both = settings.sleeve.printed_sides == "both" and settings.sleeve.heating == "unmarked side first"
    if surface.text_direction and both:
        flaws.append((FAIL, fact("both faces heated from behind")))
    result = next((each for each in (FAIL, MARGINAL) if any(grade == each for grade, _ in flaws)), PASS)
    unknown = (fact("contrast unknown", ink=ink, ground=ground_colour),) if contrast is None else ()
    looks = replace(surface, width_ratio=zone.width_ratio, stroke_ratio=zone.stroke_ratio, contrast=contrast or 0.0)
    return Look(font, looks, (*(why for _, why in flaws), *unknown), result)


def _shape_flaws(zone: Zone, settings: Settings) -> Iterator[tuple[str, Fact]]:
    """Yield what is wrong with the shape of letters, each with the result that it allows."""
    limits = settings.print
    low, high = zone.width_ratio.low, zone.width_ratio.high
    if low < limits.min_width_ratio - SLACK or high > limits.max_width_ratio + SLACK:
        slight = low >= limits.marginal_min_width_ratio - SLACK and high <= limits.marginal_max_width_ratio + SLACK
        allowed = {"least": limits.min_width_ratio, "most": limits.max_width_ratio}
        yield MARGINAL if slight else FAIL, fact("letters out of proportion", low=low, high=high, **allowed)
    if zone.stroke_ratio.low < limits.min_stroke_ratio - SLACK:
        slight = zone.stroke_ratio.low >= limits.marginal_min_stroke_ratio - SLACK
        yield (
            MARGINAL if slight else FAIL,
            fact("strokes too thin", low=zone.stroke_ratio.low, least=limits.min_stroke_ratio),
        )


def fit_of(marker: Marker, setting: TextLayout, zone: Zone, look: Look, code: SetCode | None) -> Fit:
    """Return the answer for text, and a code, set in a zone; it lacks what it stands on, and its face."""
    settings, along = marker.settings, look.surface.text_direction != "around"
    stretch = zone.stretch if along else 1.0
    size = type_size(setting.capital_mm, look.font, stretch, zone.required_mm)
    flat = size * look.font.capital * stretch
    capital = Capital(flat, flat * zone.scale.low, flat * zone.scale.high, zone.needed.required_mm, zone.needed.by)
    share = flat / setting.capital_mm if setting.capital_mm else 0.0  # sizes are rounded down to share them
    arc = (setting.stack_mm if along else setting.width_mm) * share * zone.arc_per_mm
    result, reasons = look.result, look.flaws
    if flat < zone.middle_mm * (1 - SLACK):
        result, reasons = FAIL, (_too_small(setting, zone, capital, settings), *reasons)
    elif flat < zone.required_mm * (1 - SLACK):
        heights = {"low": capital.low, "middle": flat * middle(zone.scale), "required": capital.required}
        result = FAIL if result == FAIL else MARGINAL
        reasons = (fact("capitals small at the least", **heights, by=capital.required_by), *reasons)
    elif setting.turned:
        limits = {"reading": settings.print.readable_arc_deg, "turning": settings.print.max_arc_deg}
        result = FAIL if result == FAIL else MARGINAL
        reasons = (fact("turn to read", arc=arc, **limits), *reasons)
    result, reasons = with_code(result, reasons, code, settings)
    return Fit(
        marker,
        result,
        reasons,
        setting.lines,
        capital_height_mm=capital,
        text_arc_deg=arc,
        font=look.font.name,
        font_size_mm=size,
        surface=look.surface,
        code=code.fit if code else None,
        fixes=code.fixes if code else (),
    )


def _too_small(setting: TextLayout, zone: Zone, capital: Capital, settings: Settings) -> Fact:
    lines, piece, free = len(setting.lines), max(setting.length_mm, 0), max(setting.free_mm, 0)
    why = {
        "length": fact("limited by length", needs=setting.line_per_capital * zone.required_mm, piece=piece, free=free),
        "arc": fact("limited by arc", lines=lines, arc=settings.print.max_arc_deg),
        "around": fact("limited by around", lines=lines, free=setting.free_mm),
        "across": fact("limited by across", lines=lines, across=zone.across_mm),
        "largest": fact("limited by largest"),
    }[setting.limit]
    if zone.needed.required_mm / zone.scale.low >= zone.required_mm - EPS:
        by = capital.required_by
        return fact("capitals too small", low=capital.low, required=capital.required, by=by, why=why)
    return fact(
        "capitals too coarse",
        printed=capital.printed,
        required=zone.required_mm,
        dpi=settings.print.dpi,
        capital=settings.print.min_dots_per_capital,
        stroke=settings.print.min_dots_per_stroke,
        why=why,
    )
