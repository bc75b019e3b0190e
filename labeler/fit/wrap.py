"""Fit a self-laminating wrap: the stock that serves the wire, the text, its copies around."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from labeler.fit.common import DOES_NOT_FIT, capital_report, font_of, needed_for, set_text, verdict_of
from labeler.fit.setting import Setting, type_size
from labeler.fit.zone import Zone, zone_on_film
from labeler.formulas.legibility import copies_around, wrap_diameters
from labeler.model import Face, Fit, Marker, Range, Run, Seat, Settings, Stock
from labeler.text import Font


def fit_wrap(marker: Marker, seat: Seat, stocks: Sequence[Stock]) -> Fit:
    """Return the answer for one wrap: the first stock whose wires include the seat's whole range."""
    on = seat.text_on
    stock = _stock_for(on, tuple(stocks))
    if stock is None:
        return _no_stock(marker, seat, stocks)
    font, reasons = font_of(marker.settings.font, marker.text, marker)
    settings = marker.settings
    zone = zone_on_film(
        on,
        stock.film_mm,
        stock.print_around_mm - 2 * stock.margin_mm,
        (settings.reading_arc_deg, settings.turning_arc_deg),
        needed_for(marker),
        (settings.dots_per_capital, settings.printer_dpi),
        font.capital_width / font.capital,
    )
    setting = set_text(marker, font, zone, (stock.cell_width_mm,), 2 * stock.margin_mm)
    size = type_size(setting.capital_mm, font, 1.0, zone.required_mm)
    flat = size * font.capital
    capital = capital_report(flat, zone)
    arc = setting.stack_mm / setting.capital_mm * flat * zone.arc_per_mm if setting.capital_mm else 0.0
    verdict, why = verdict_of(setting, zone, capital, arc, settings)
    return Fit(
        marker,
        verdict,
        reasons + why,
        setting.lines,
        seat,
        None,
        stock.name,
        _face(setting, size, font, zone, stock, settings) if size > 0 else None,
        capital,
        printable_mm=zone.across_mm,
        arc_deg=arc,
        font=font.name,
        size_mm=size,
        ways_out=_ways(setting, capital.low, zone, stock) if verdict == DOES_NOT_FIT else (),
    )


def served(stock: Stock) -> Range:
    """Return the wires a wrap stock serves, smallest to largest, mm."""
    return Range(*wrap_diameters(stock.print_around_mm, stock.cell_height_mm, stock.film_mm))


@lru_cache(maxsize=4096)
def _stock_for(on_mm: Range, stocks: tuple[Stock, ...]) -> Stock | None:
    for stock in stocks:
        wires = served(stock)
        if wires.low <= on_mm.low and on_mm.high <= wires.high:
            return stock
    return None


def _face(setting: Setting, size: float, font: Font, zone: Zone, stock: Stock, settings: Settings) -> Face:
    """The whole label; copies of the text are spread over the printed zone."""
    flat = size * font.capital
    pitch = settings.line_pitch * flat
    above, below = font.above(setting.lines[0]) * size, font.below(setting.lines[-1]) * size
    block = above + below + (len(setting.lines) - 1) * pitch
    copies = max(1, copies_around(zone.across_mm, block, (settings.line_pitch - 1) * flat))
    apart = (zone.across_mm - block) / (copies - 1) if copies > 1 else 0.0
    inset = (zone.across_mm - block) / 2 if copies == 1 else 0.0
    baseline = stock.cell_height_mm - stock.margin_mm - inset - above
    runs = tuple(
        Run(
            line,
            font.name,
            size,
            round((stock.cell_width_mm - font.width(line) * size) / 2, 4),
            round(baseline - i * pitch, 4),
        )
        for i, line in enumerate(setting.lines)
    )
    return Face(stock.cell_width_mm, stock.cell_height_mm, runs, copies, round(apart, 4))


def _no_stock(marker: Marker, seat: Seat, stocks: Sequence[Stock]) -> Fit:
    have = "; ".join(f"{s.name} {served(s).low:.2f} to {served(s).high:.2f} mm" for s in stocks) or "none"
    reason = f"no wrap stock serves {seat.text_on.low:.2f} to {seat.text_on.high:.2f} mm; there are: {have}"
    ways = ("add a stock file for this diameter", 'set wire_marker_kind = "sleeve" for it')
    return Fit(marker, DOES_NOT_FIT, (reason,), seat=seat, ways_out=ways)


def _ways(setting: Setting, reached_mm: float, zone: Zone, stock: Stock) -> tuple[str, ...]:
    ways = []
    if setting.limit == "length":
        ways.append(f"a shorter text, or a stock wider than {stock.cell_width_mm:g} mm")
    if setting.limit == "arc":
        ways.append('set wire_marker_kind = "sleeve": a small sleeve is thicker than the wire')
    ways.append(f"a shorter reading distance: it reaches {reached_mm:.2f} of {zone.needed.required_mm:.2f} mm")
    return tuple(ways)
