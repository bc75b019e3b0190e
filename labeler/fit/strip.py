"""Fit print that does not shrink: a paper strip under a clear sleeve, and a flag folded around the wire."""

from __future__ import annotations

from dataclasses import replace
from math import pi

from labeler.fit.code import CodeMaker, Ground, ground_on_film, set_code
from labeler.fit.common import PAPER, answer_on_paper, font_of, needed_for, set_text
from labeler.fit.lengths import lengths_on
from labeler.fit.setting import Setting, type_size
from labeler.fit.sleeve import SleevePlace, fit_sleeve, plain_sleeve
from labeler.fit.zone import Zone, printer_of, zone_on_film
from labeler.formulas.shrink import limits, shrunk
from labeler.model import DOES_NOT_FIT, Face, Fit, Marker, Range, Run, Seat, Stock
from labeler.text import Font

NO_LIMIT = 1e6  # arc of what is not wrapped, degrees


def fit_insert(marker: Marker, place: SleevePlace, stock: Stock, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for a paper strip wound around a seat, with the clear sleeve over it.

    The strip is as long around as the thinnest bundle less a gap, and shorter than the shrunk sleeve's
    own part at both ends. ``place`` is the sleeve's: where the text stands, its seat has the paper on
    it; its room is that of the strips' stock. What is against the sleeve counts too.
    """
    if not place.choice.tubes or not marker.lettered:
        return replace(fit_sleeve(replace(marker, lettered=False), place), marker=marker)
    settings, bare = marker.settings, place.seat.text_on.low - 2 * stock.film_mm
    around = pi * max(bare, 0.01) - settings.strip_gap_mm
    font, reasons = font_of(marker.text, marker, PAPER)
    zone = _zone(marker, stock, max(bare, 0.01), max(around - 2 * stock.margin_mm, 0.1), font)
    lengths = strip_lengths(marker, place)
    taken = 2 * settings.end_margin_mm
    code = set_code(marker, codes, ground_on_film(zone), max(lengths) - taken)
    beside = code.taken_mm if code else 0.0
    setting = set_text(marker, font, zone, tuple(lengths), taken + beside)
    width, cut = setting.length_mm, lengths[setting.length_mm]
    size = type_size(setting.capital_mm, font, 1.0, zone.required_mm)
    made = answer_on_paper(marker, setting, size, font, zone, reasons, code)
    sleeve = plain_sleeve(marker, place, cut)
    drawable = size > 0 and width > 0 and around > 0
    against = [] if drawable else [f"a strip of {width:.1f} x {around:.1f} mm is left under the sleeve"]
    against += filter(None, [*sleeve.reasons, place.room.refusal(width, around)])
    lines = _lines(setting, size, font, (width + beside) / 2, around / 2, marker)
    symbol = code.symbol(settings.end_margin_mm, around / 2) if code else None
    face = Face(round(width, 4), round(around, 4), lines, symbol=symbol)
    return replace(
        made,
        seat=place.seat,
        tube=sleeve.tube,
        stock=stock.name,
        face=face if drawable else None,
        cut_length_mm=cut,
        outside_mm=sleeve.outside_mm,
        parts=sleeve.parts,
        verdict=DOES_NOT_FIT if against else made.verdict,
        reasons=(*made.reasons, *against),
    )


def strip_lengths(marker: Marker, place: SleevePlace) -> dict[float, float]:
    """Return the lengths of paper strips that may be chosen, mm, shortest first, each with its sleeve's cut length.

    A strip ends ``strip_inset_mm`` inside the part of the sleeve that it lies under, shrunk as far as it may.
    """
    settings, seat, tube = marker.settings, place.seat, place.choice.tubes[0]
    on = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), seat.text_on, "even")
    use = lengths_on(seat, tube, on.along, settings, place.cut_length_mm)
    strips = {(cut - use.rest) * on.along.low - 2 * settings.strip_inset_mm: cut for cut in use.choices}
    inside = {strip: cut for strip, cut in strips.items() if 0 < strip <= place.room.width_mm + 1e-6}
    return inside or dict(list(strips.items())[:1])


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
    made = answer_on_paper(marker, setting, size, font, zone, reasons, code)
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


def _lines(setting: Setting, size: float, font: Font, x_mm: float, y_mm: float, marker: Marker) -> tuple[Run, ...]:
    """The lines, centred on a point."""
    pitch = marker.settings.line_pitch * size * font.capital
    above, below = font.above(setting.lines[0]) * size, font.below(setting.lines[-1]) * size
    first = y_mm + (above + below + (len(setting.lines) - 1) * pitch) / 2 - above
    return tuple(
        Run(line, font.name, size, round(x_mm - font.width(line) * size / 2, 4), round(first - i * pitch, 4))
        for i, line in enumerate(setting.lines)
    )
