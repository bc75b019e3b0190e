"""Fit print that does not shrink: a paper strip under a clear sleeve, and a flag folded around the wire."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import pi

from labeler.alike import pattern
from labeler.fit.code import CodeMaker, Ground, SetCode, ground_on_film, set_code
from labeler.fit.result import PAPER, answer_on_paper, face_of, font_of, needed_for, set_text
from labeler.fit.sleeve import SleevePlace, fit_sleeve, lengths_on, plain_sleeve
from labeler.fit.text import Needed, Setting, Zone, on_one_line, printer_of, type_size, zone_on_film
from labeler.formulas.legibility import copies_around, wrap_diameters
from labeler.formulas.shrink import limits, shrunk
from labeler.model import DOES_NOT_FIT, Face, Fact, Fit, Marker, Range, Run, Seat, Settings, Stock, Symbol, fact
from labeler.text import Font, load_font

# ---------------------------------------------------------------- Fit a self-laminating wrap


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
    reasons: tuple[Fact, ...] = ()
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
    have = tuple(fact("stock serves", stock=s.name, low=served(s).low, high=served(s).high) for s in stocks) or "none"
    reason = fact("no wrap stock", low=seat.text_on.low, high=seat.text_on.high, stocks=have)
    return Fit(marker, DOES_NOT_FIT, (reason,), seat=seat, ways_out=(fact("add wrap stock"),))


# ---------------------------------------------------------------- strip


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
    zone = _strip_zone(marker, stock, max(bare, 0.01), max(around - 2 * stock.margin_mm, 0.1), font)
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
    against: tuple[Fact, ...] = () if drawable else (fact("no strip left", width=width, height=around),)
    against += sleeve.reasons + place.room.refusal(width, around)
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
        why = fact("flag too short", wire=seat.text_on.high, half=max(half, 0), stock=stock.name)
        return Fit(marker, DOES_NOT_FIT, (why,), seat=seat, stock=stock.name, ways_out=(fact("longer flag"),))
    zone = _strip_zone(marker, stock, NO_LIMIT, stock.cell_height_mm - 2 * stock.margin_mm, font)
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


def _strip_zone(marker: Marker, stock: Stock, least_mm: float, across_mm: float, font: Font) -> Zone:
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
