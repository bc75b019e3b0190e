"""Fit print that does not shrink: a paper strip under a clear sleeve, and a flag folded around the wire."""

from __future__ import annotations

from dataclasses import replace
from math import pi

from labeler.fit.code import CodeMaker, Ground, SetCode, ground_on_film, set_code, with_code
from labeler.fit.common import DOES_NOT_FIT, capital_report, contrast_of, font_of, needed_for, set_text, verdict_of
from labeler.fit.setting import Setting, type_size
from labeler.fit.sleeve import SleevePlace, cut_lengths, fit_sleeve
from labeler.fit.zone import Zone, printer_of, zone_on_film
from labeler.model import Face, Fit, Marker, Range, Run, Seat, Stock
from labeler.text import Font

PAPER = "WH"  # plain paper, and the printed side of flags: project choice, stock files do not say
NO_LIMIT = 1e6  # arc of what is not wrapped, degrees


def fit_insert(marker: Marker, place: SleevePlace, stock: Stock, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for a paper strip wound around a seat, with the clear sleeve over it.

    The strip is as long around as the thinnest bundle less a gap, and shorter than the sleeve at
    both ends. ``place`` is the sleeve's: its seat is the bundle with the paper on it.
    """
    sleeve = fit_sleeve(replace(marker, lettered=False), place)
    if sleeve.tube is None or not marker.lettered:
        return replace(sleeve, marker=marker)
    settings, paper, on = marker.settings, stock.film_mm, place.seat.text_on
    bare = Range(max(on.low - 2 * paper, 0.01), on.high)
    around = pi * bare.low - settings.strip_gap_mm
    font, reasons = font_of(marker.text, marker, PAPER)
    zone = _zone(marker, stock, bare.low, max(around - 2 * stock.margin_mm, 0.1), font)
    inset = settings.strip_inset_mm + settings.end_margin_mm
    fixed = place.cut_length_mm
    lengths = (fixed,) if fixed else cut_lengths(settings, 2 * inset)
    code = set_code(marker, codes, ground_on_film(zone), lengths[-1] - 2 * inset)
    setting = set_text(marker, font, zone, lengths, 2 * inset + (code.taken_mm if code else 0.0))
    face_width = setting.length_mm - 2 * settings.strip_inset_mm
    size = type_size(setting.capital_mm, font, 1.0, zone.required_mm)
    made = _answer(marker, setting, size, font, zone, reasons, code)
    drawable = size > 0 and face_width > 0 and around > 0
    beside = (face_width + (code.taken_mm if code else 0.0)) / 2
    lines = _lines(setting, size, font, beside, around / 2, marker)
    symbol = code.symbol(settings.end_margin_mm, around / 2) if code else None
    face = Face(round(face_width, 4), round(around, 4), lines, symbol=symbol)
    return replace(
        made,
        seat=place.seat,
        tube=sleeve.tube,
        stock=stock.name,
        face=face if drawable else None,
        cut_length_mm=setting.length_mm,
        outside_mm=sleeve.outside_mm,
        parts=sleeve.parts,
        verdict=made.verdict if drawable else DOES_NOT_FIT,
    )


def fit_flag(marker: Marker, seat: Seat, stock: Stock, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for a flag: text, and a code before it, on both halves, each as long as the wire leaves it.

    The label is ``L = 2 f + pi (d + t)``; the halves lie symmetric about the fold.
    """
    font, reasons = font_of(marker.text, marker, PAPER)
    half = (stock.cell_width_mm - pi * (seat.text_on.high + stock.film_mm)) / 2
    if half <= 2 * stock.margin_mm:
        text = f"a wire of {seat.text_on.high:.2f} mm leaves {max(half, 0):.1f} mm of {stock.name} on either side"
        return Fit(marker, DOES_NOT_FIT, (text,), seat=seat, stock=stock.name, ways_out=("a longer flag stock",))
    zone = _zone(marker, stock, NO_LIMIT, stock.cell_height_mm - 2 * stock.margin_mm, font)
    taken = 2 * stock.margin_mm
    code = set_code(marker, codes, Ground(zone.across_mm), half - taken)
    beside = code.taken_mm if code else 0.0
    setting = set_text(marker, font, zone, (half,), taken + beside)
    size = type_size(setting.capital_mm, font, 1.0, zone.required_mm)
    made = _answer(marker, setting, size, font, zone, reasons, code)
    middle = stock.cell_height_mm / 2
    runs = tuple(
        run
        for centre in (half / 2, stock.cell_width_mm - half / 2)
        for run in _lines(setting, size, font, centre + beside / 2, middle, marker)
    )
    symbol = None
    if code is not None:
        step = round(stock.cell_width_mm - half, 6)
        symbol = replace(code.symbol(stock.margin_mm, middle), copies=2, step_x_mm=step)
    face = Face(stock.cell_width_mm, stock.cell_height_mm, runs, symbol=symbol) if size > 0 else None
    return replace(made, seat=seat, stock=stock.name, face=face, arc_deg=0.0)


def _zone(marker: Marker, stock: Stock, least_mm: float, across_mm: float, font: Font) -> Zone:
    """The zone of print on paper or film around a diameter; on a flag nothing is round."""
    settings = marker.settings
    round_ = least_mm < NO_LIMIT
    arcs = (settings.reading_arc_deg, settings.turning_arc_deg) if round_ else (NO_LIMIT, NO_LIMIT)
    on = Range(least_mm, least_mm)
    return zone_on_film(on, stock.film_mm, across_mm, arcs, needed_for(marker), printer_of(settings), font)


def _answer(
    marker: Marker,
    setting: Setting,
    size: float,
    font: Font,
    zone: Zone,
    reasons: tuple[str, ...],
    code: SetCode | None,
) -> Fit:
    flat = size * font.capital
    capital = capital_report(flat, zone)
    share = flat / setting.capital_mm if setting.capital_mm else 0.0
    arc = setting.stack_mm * share * zone.arc_per_mm
    verdict, why = verdict_of(setting, zone, capital, arc, marker.settings, PAPER)
    verdict, why = with_code(verdict, why, code, marker.settings)
    return Fit(
        marker,
        verdict,
        reasons + why,
        setting.lines,
        capital=capital,
        printable_mm=zone.across_mm,
        arc_deg=arc,
        font=font.name,
        size_mm=size,
        proportion=zone.proportion,
        stroke=zone.stroke,
        contrast=contrast_of(marker.settings.print_colour, PAPER) or 0.0,
        code=code.fit if code else None,
        ways_out=code.ways_out if code else (),
    )


def _lines(setting: Setting, size: float, font: Font, x_mm: float, y_mm: float, marker: Marker) -> tuple[Run, ...]:
    """The lines, centred on a point."""
    pitch = marker.settings.line_pitch * size * font.capital
    above, below = font.above(setting.lines[0]) * size, font.below(setting.lines[-1]) * size
    first = y_mm + (above + below + (len(setting.lines) - 1) * pitch) / 2 - above
    return tuple(
        Run(line, font.name, size, round(x_mm - font.width(line) * size / 2, 4), round(first - i * pitch, 4))
        for i, line in enumerate(setting.lines)
    )
