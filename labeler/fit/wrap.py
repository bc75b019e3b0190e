"""Fit a self-laminating wrap: the stock that serves the wire, the text, its copies around."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from labeler.fit.code import CodeMaker, SetCode, ground_on_film, set_code
from labeler.fit.common import PAPER, answer_on_paper, face_of, font_of, set_text
from labeler.fit.setting import Setting, on_one_line, type_size
from labeler.fit.zone import Needed, Zone, printer_of, zone_on_film
from labeler.formulas.legibility import copies_around, wrap_diameters
from labeler.model import DOES_NOT_FIT, Face, Fit, Marker, Range, Run, Seat, Settings, Stock, Symbol
from labeler.model.alike import pattern
from labeler.text import Font, load_font


@dataclass(frozen=True, slots=True)
class _Style:
    """How a line was set that the length does not limit: the same for all with its ink, up to a width in ems."""

    fit: Callable[..., Fit]
    face: Callable[..., Face]
    run: Callable[..., Run]
    room_mm: float
    size_mm: float
    widest: float


@dataclass(frozen=True, slots=True, eq=False)
class WrapPlace:
    """What all wraps on one kind of wire share: the seat, its stock (None: none serves it), type and zone."""

    seat: Seat
    stock: Stock | None
    stocks: tuple[Stock, ...]
    font: Font
    needed: Needed
    zone: Zone | None
    styles: dict[tuple[float, float], _Style] = field(default_factory=dict)  # by ink above and below the baseline


def wrap_place(seat: Seat, settings: Settings, needed: Needed, stocks: Sequence[Stock]) -> WrapPlace:
    """Return the place of wraps on a seat: the first stock whose wires include the seat's whole range."""
    stock = next((s for s in stocks if _serves(s, seat.text_on)), None)
    font = load_font(face_of(settings, PAPER))
    zone = _zone(seat, stock, settings, needed, font) if stock else None
    return WrapPlace(seat, stock, tuple(stocks), font, needed, zone)


def fit_wrap(marker: Marker, place: WrapPlace, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for one wrap in its place; ``codes`` makes the symbols of its code, if it carries one.

    Lines of the same ink that the label's length does not limit are set alike: the first is worked
    out, the others differ from it by where they begin.
    """
    font = place.font
    if place.stock is None or not marker.breakable or codes is not None:
        return _worked_out(marker, place, codes)
    text = marker.text[0]
    try:
        width, ink = font.width(text), font.ink(text)
    except KeyError:  # a sign this font lacks
        return _worked_out(marker, place)
    style = place.styles.get(ink)
    if style is not None and width <= style.widest:
        return _alike(marker, text, width, style)
    fit = _worked_out(marker, place)
    if fit.face and fit.lines == (text,) and _is_free(text, width, style, place):
        place.styles[ink] = _style(fit, fit.face, width)
    return fit


def _is_free(text: str, width: float, style: _Style | None, place: WrapPlace) -> bool:
    """Whether a line's length does not limit it, and it is wider than what is known of its ink."""
    if place.zone is None or place.stock is None or (style is not None and width <= style.widest):
        return False
    room = place.stock.cell_width_mm
    return on_one_line(text, place.font, place.zone, room, 2 * place.stock.margin_mm) is not None


def _style(fit: Fit, face: Face, widest: float) -> _Style:
    run = face.runs[0]
    like = pattern(fit, "marker", "lines", "face"), pattern(face, "runs"), pattern(run, "text", "x_mm")
    return _Style(*like, face.width_mm, run.size_mm, widest)


def _alike(marker: Marker, text: str, width: float, style: _Style) -> Fit:
    x = round((style.room_mm - width * style.size_mm) / 2, 4)
    return style.fit(marker, (text,), style.face((style.run(text, x),)))


def _worked_out(marker: Marker, place: WrapPlace, codes: CodeMaker | None = None) -> Fit:
    stock, zone, font = place.stock, place.zone, place.font
    if stock is None or zone is None:
        return _no_stock(marker, place.seat, place.stocks)
    reasons: tuple[str, ...] = ()
    if font.missing("".join(marker.text)):
        font, reasons = font_of(marker.text, marker)
        zone = _zone(place.seat, stock, marker.settings, place.needed, font)
    taken = 2 * stock.margin_mm
    code = set_code(marker, codes, ground_on_film(zone), stock.cell_width_mm - taken)
    setting = set_text(marker, font, zone, (stock.cell_width_mm,), taken + (code.taken_mm if code else 0.0))
    size = type_size(setting.capital_mm, font, 1.0, zone.required_mm)
    made = answer_on_paper(marker, setting, size, font, zone, reasons, code)
    share = size * font.capital / setting.capital_mm if setting.capital_mm else 0.0
    face = _face(setting, size, share, font, zone, stock, marker.settings, code) if size > 0 else None
    return replace(made, seat=place.seat, stock=stock.name, face=face)


def _zone(seat: Seat, stock: Stock, settings: Settings, needed: Needed, font: Font) -> Zone:
    return zone_on_film(
        seat.text_on,
        stock.film_mm,
        stock.print_around_mm - 2 * stock.margin_mm,
        (settings.reading_arc_deg, settings.turning_arc_deg),
        needed,
        printer_of(settings),
        font,
    )


def _serves(stock: Stock, on_mm: Range) -> bool:
    wires = served(stock)
    return wires.low <= on_mm.low and on_mm.high <= wires.high


def served(stock: Stock) -> Range:
    """Return the wires a wrap stock serves, smallest to largest, mm."""
    return Range(*wrap_diameters(stock.print_around_mm, stock.cell_height_mm, stock.film_mm))


def _face(
    setting: Setting,
    size: float,
    share: float,
    font: Font,
    zone: Zone,
    stock: Stock,
    settings: Settings,
    code: SetCode | None,
) -> Face:
    """The whole label; copies of the text, and of a code before it, are spread over the printed zone.

    ``share`` is the type size drawn over the one set: sizes are rounded down to share them.
    """
    flat = size * font.capital
    block = setting.stack_mm * share
    copies = max(1, copies_around(zone.across_mm, block, settings.wrap_copy_gap * flat))
    spare = zone.across_mm - block
    apart = spare / (copies - 1) if copies > 1 else 0.0
    above = font.above(setting.lines[0]) * size
    baseline = stock.cell_height_mm - stock.margin_mm - above - (spare / 2 if copies == 1 else 0.0)
    middle = (stock.cell_width_mm + (code.taken_mm if code else 0.0)) / 2
    if len(setting.lines) == 1:
        left = round(middle - setting.width_mm * share / 2, 4)
        runs: tuple[Run, ...] = (Run(setting.lines[0], font.name, size, left, round(baseline, 4)),)
    else:
        pitch = settings.line_pitch * flat
        runs = tuple(
            Run(line, font.name, size, round(middle - font.width(line) * size / 2, 4), round(baseline - i * pitch, 4))
            for i, line in enumerate(setting.lines)
        )
    symbol = _symbols(code, zone, stock) if code else None
    return Face(stock.cell_width_mm, stock.cell_height_mm, runs, copies, round(apart, 4), symbol=symbol)


def _symbols(code: SetCode, zone: Zone, stock: Stock) -> Symbol:
    """The code at the left, as often around as the printed zone has room for it."""
    top, spare = stock.cell_height_mm - stock.margin_mm, zone.across_mm - code.height_mm
    copies = max(1, copies_around(zone.across_mm, code.height_mm, code.gap_mm))
    first = top - code.height_mm / 2 - (spare / 2 if copies == 1 else 0.0)
    step = round(-spare / (copies - 1), 6) if copies > 1 else 0.0
    return replace(code.symbol(stock.margin_mm, first), copies=copies, step_y_mm=step)


def _no_stock(marker: Marker, seat: Seat, stocks: Sequence[Stock]) -> Fit:
    have = "; ".join(f"{s.name} {served(s).low:.2f} to {served(s).high:.2f} mm" for s in stocks) or "none"
    reason = f"no wrap stock serves {seat.text_on.low:.2f} to {seat.text_on.high:.2f} mm; there are: {have}"
    return Fit(marker, DOES_NOT_FIT, (reason,), seat=seat, ways_out=("add a stock file for this diameter",))
