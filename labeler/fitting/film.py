"""Fit print that does not shrink: a wrap of film, a paper strip under a clear sleeve, a flag folded around the wire."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import pi, radians

from labeler.fitting.code import CodeArea, CodeMaker, SetCode, set_code
from labeler.fitting.result import PAPER, face_of, fit_of, font_of, look_of, needed_for, set_text
from labeler.fitting.sleeve import SleevePlace, blank_sleeve, fit_sleeve, lengths_on
from labeler.fitting.text import EPS, Needed, TextLayout, Zone, flat_zone
from labeler.formulas.legibility import copies_around, wrap_diameters
from labeler.formulas.shrink import shrunk
from labeler.model import (
    FAIL,
    Face,
    Fact,
    Fit,
    Marker,
    Range,
    Run,
    Seat,
    Settings,
    Stock,
    Surface,
    Symbol,
    fact,
    pattern,
)
from labeler.text import Font, load_font

# ---------------------------------------------------------------- what does not shrink, of any kind


@dataclass(frozen=True, slots=True)
class _Print:
    """A marker's text, and its code before it, set on paper or film; ``fit`` lacks what it stands on and its face."""

    fit: Fit
    setting: TextLayout
    font: Font
    code: SetCode | None

    @property
    def beside_mm(self) -> float:
        """Return the length that the code takes from the lettering."""
        return self.code.taken_mm if self.code else 0.0

    @property
    def stack_mm(self) -> float:
        """Return the height of the lines as drawn: sizes are rounded down to share them."""
        setting = self.setting
        share = self.fit.font_size_mm * self.font.capital / setting.capital_mm if setting.capital_mm else 0.0
        return setting.stack_mm * share

    def lines(self, x_mm: float, top_mm: float) -> tuple[Run, ...]:
        """Return the lines, centred on ``x_mm``, the ink of the first reaching up to ``top_mm``."""
        font, size, lines = self.font, self.fit.font_size_mm, self.setting.lines
        first = top_mm - font.above(lines[0]) * size
        pitch = self.fit.marker.settings.print.line_spacing * size * font.capital
        return tuple(
            Run(line, font.name, size, round(x_mm - font.width(line) * size / 2, 4), round(first - i * pitch, 4))
            for i, line in enumerate(lines)
        )

    def centred(self, x_mm: float, y_mm: float) -> tuple[Run, ...]:
        """Return the lines, centred on a point."""
        font, size, lines = self.font, self.fit.font_size_mm, self.setting.lines
        pitch = self.fit.marker.settings.print.line_spacing * size * font.capital
        stack = font.above(lines[0]) * size + font.below(lines[-1]) * size + (len(lines) - 1) * pitch
        return self.lines(x_mm, y_mm + stack / 2)


def _printed(
    marker: Marker, font: Font, zone: Zone, lengths: Sequence[float], margins_mm: float, codes: CodeMaker | None
) -> _Print:
    """Set a marker on a piece of one of these lengths, of which the margins stay free."""
    ground = CodeArea(zone.across_mm, arc_per_mm=radians(zone.arc_per_mm))  # round, and it does not shrink
    code = set_code(marker, codes, ground, max(lengths) - margins_mm)
    setting = set_text(marker, font, zone, lengths, margins_mm + (code.taken_mm if code else 0.0))
    look = look_of(font, zone, marker.settings, surface=Surface(zone.across_mm))
    return _Print(fit_of(marker, setting, zone, look, code), setting, font, code)


# ---------------------------------------------------------------- a self-laminating wrap


@dataclass(frozen=True, slots=True)
class _Style:
    """How a line was set that the length does not limit: the same for all with its ink, up to a width in ems."""

    fit: Callable[..., Fit]  # of marker, lines and face
    face: Callable[..., Face]  # of runs
    run: Callable[..., Run]  # of text and x_mm
    piece_mm: float
    size_mm: float
    widest: float

    @classmethod
    def like(cls, fit: Fit, face: Face, widest: float) -> _Style:
        """Return the style of a line that was worked out."""
        run = face.runs[0]
        makers = pattern(fit, "marker", "lines", "face"), pattern(face, "runs"), pattern(run, "text", "x_mm")
        return cls(*makers, face.width_mm, run.size_mm, widest)

    def of(self, marker: Marker, text: str, width: float) -> Fit:
        """Return the answer for another line of the same ink, of a width in ems."""
        x = round((self.piece_mm - width * self.size_mm) / 2, 4)
        return self.fit(marker, (text,), self.face((self.run(text, x),)))


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
    on = seat.text_diameter
    stock = next((s for s in stocks if served(s).low <= on.low and on.high <= served(s).high), None)
    font = load_font(face_of(settings, PAPER))
    zone = _wrap_zone(seat, stock, settings, needed, font) if stock else None
    return WrapPlace(seat, stock, tuple(stocks), font, needed, zone)


def fit_wrap(marker: Marker, place: WrapPlace, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for one wrap in its place; ``codes`` makes the symbols of its code, if it carries one.

    Lines of the same ink that the label's length does not limit are set alike: the first is worked
    out, the others differ from it by where they begin.
    """
    seat, font, stock, zone = place.seat, place.font, place.stock, place.zone
    if stock is None or zone is None:
        have = tuple(fact("stock serves", stock=s.name, low=served(s).low, high=served(s).high) for s in place.stocks)
        reason = fact("no wrap stock", low=seat.text_diameter.low, high=seat.text_diameter.high, stocks=have or "none")
        return Fit(marker, FAIL, (reason,), seat=seat, fixes=(fact("add wrap stock"),))
    if not marker.breakable or codes is not None:
        return _worked_out(marker, place, stock, zone, codes)[0]
    text = marker.text[0]
    try:
        width, ink = font.width(text), font.ink(text)
    except KeyError:  # a character this font lacks
        return _worked_out(marker, place, stock, zone)[0]
    style = place.styles.get(ink)
    if style is not None and width <= style.widest:
        return style.of(marker, text, width)
    fit, setting = _worked_out(marker, place, stock, zone)
    free = setting.limit != "length" and not setting.turned and setting.capital_mm >= zone.required_mm - EPS
    if fit.face and fit.lines == (text,) and free:
        place.styles[ink] = _Style.like(fit, fit.face, width)
    return fit


def _worked_out(
    marker: Marker, place: WrapPlace, stock: Stock, zone: Zone, codes: CodeMaker | None = None
) -> tuple[Fit, TextLayout]:
    """Fit a wrap; return also how its text was set."""
    font, reasons = place.font, tuple[Fact, ...]()
    if font.missing("".join(marker.text)):
        font, reasons = font_of(marker.text, marker)
        zone = _wrap_zone(place.seat, stock, marker.settings, place.needed, font)
    made = _printed(marker, font, zone, (stock.cell_width_mm,), 2 * stock.cell_margin_mm, codes)
    face = _wrapped(made, zone, stock) if made.fit.font_size_mm > 0 else None
    fit = replace(made.fit, reasons=reasons + made.fit.reasons, seat=place.seat, stock=stock.name, face=face)
    return fit, made.setting


def _wrapped(made: _Print, zone: Zone, stock: Stock) -> Face:
    """Return the face of a wrap: copies of the text, and of a code before it, are spread over the printed zone."""
    block, settings = made.stack_mm, made.fit.marker.settings
    gap = settings.print.repeat_gap * made.fit.font_size_mm * made.font.capital
    copies = max(1, copies_around(zone.across_mm, block, gap))
    spare = zone.across_mm - block
    apart = round(spare / (copies - 1), 4) if copies > 1 else 0.0
    top = stock.cell_height_mm - stock.cell_margin_mm - (spare / 2 if copies == 1 else 0.0)
    runs = made.lines((stock.cell_width_mm + made.beside_mm) / 2, top)
    symbol = _symbols(made.code, zone, stock) if made.code else None
    return Face(stock.cell_width_mm, stock.cell_height_mm, runs, copies, apart, symbol=symbol)


def _wrap_zone(seat: Seat, stock: Stock, settings: Settings, needed: Needed, font: Font) -> Zone:
    across = stock.print_zone_mm - 2 * stock.cell_margin_mm
    arc_per_mm = 2 / (
        seat.text_diameter.low + 2 * stock.thickness_mm
    )  # on the thinnest wire, which shows the largest arc
    return flat_zone(font, settings, needed).on_round(arc_per_mm, across, settings)


def served(stock: Stock) -> Range:
    """Return the wires a wrap stock serves, smallest to largest, mm."""
    return Range(*wrap_diameters(stock.print_zone_mm, stock.cell_height_mm, stock.thickness_mm))


def _symbols(code: SetCode, zone: Zone, stock: Stock) -> Symbol:
    """The code at the left, as often around as the printed zone has room for it."""
    top, spare = stock.cell_height_mm - stock.cell_margin_mm, zone.across_mm - code.height_mm
    copies = max(1, copies_around(zone.across_mm, code.height_mm, code.gap_mm))
    first = top - code.height_mm / 2 - (spare / 2 if copies == 1 else 0.0)
    step = round(-spare / (copies - 1), 6) if copies > 1 else 0.0
    return replace(code.symbol(stock.cell_margin_mm, first), repeats=copies, step_y_mm=step)


# ---------------------------------------------------------------- a paper strip under a clear sleeve


def fit_insert(marker: Marker, place: SleevePlace, stock: Stock, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for a paper strip wound around a seat, with the clear sleeve over it.

    The strip is as long around as the thinnest bundle less a gap, and shorter than the shrunk sleeve's
    own part at both ends. ``place`` is the sleeve's: where the text stands, its seat has the paper on
    it; its room is that of the strips' stock. What is against the sleeve counts too.
    """
    if not place.choice.tubes or not marker.marked:
        return replace(fit_sleeve(replace(marker, marked=False), place), marker=marker)
    settings, bare = marker.settings, max(place.seat.text_diameter.low - 2 * stock.thickness_mm, 0.01)
    around = pi * bare - settings.insert.gap_mm
    font, reasons = font_of(marker.text, marker, PAPER)
    across = max(around - 2 * stock.cell_margin_mm, 0.1)
    zone = flat_zone(font, settings, needed_for(marker)).on_round(2 / (bare + 2 * stock.thickness_mm), across, settings)
    lengths = strip_lengths(marker, place)
    made = _printed(marker, font, zone, tuple(lengths), 2 * settings.sleeve.end_margin_mm, codes)
    width = made.setting.length_mm
    cut = lengths[width]
    sleeve = blank_sleeve(marker, place, cut)
    drawable = made.fit.font_size_mm > 0 and width > 0 and around > 0
    against: tuple[Fact, ...] = () if drawable else (fact("no strip left", width=width, height=around),)
    against += sleeve.reasons + place.room.refusal(width, around)
    lines = made.centred((width + made.beside_mm) / 2, around / 2)
    symbol = made.code.symbol(settings.sleeve.end_margin_mm, around / 2) if made.code else None
    face = Face(round(width, 4), round(around, 4), lines, symbol=symbol)
    return replace(
        made.fit,
        result=FAIL if against else made.fit.result,
        reasons=reasons + made.fit.reasons + against,
        seat=place.seat,
        tube=sleeve.tube,
        stock=stock.name,
        face=face if drawable else None,
        cut_length_mm=cut,
        tube_od_mm=sleeve.tube_od_mm,
        sections=sleeve.sections,
    )


def strip_lengths(marker: Marker, place: SleevePlace) -> dict[float, float]:
    """Return the lengths of paper strips that may be chosen, mm, shortest first, each with its sleeve's cut length.

    An insert ends ``insert.sleeve_overhang_mm`` inside the part of the sleeve over it, shrunk as far as it may.
    """
    settings, seat, tube = marker.settings, place.seat, place.choice.tubes[0]
    on = shrunk(
        tube.limits(settings.sleeve.expanded_oversize, settings.sleeve.recovered_undersize), seat.text_diameter, "even"
    )
    use = lengths_on(seat, tube, on.along, settings, place.piece)
    strips = {(cut - use.rest) * on.along.low - 2 * settings.insert.sleeve_overhang_mm: cut for cut in use.choices}
    inside = {strip: cut for strip, cut in strips.items() if 0 < strip <= place.room.width_mm + 1e-6}
    return inside or dict(list(strips.items())[:1])


# ---------------------------------------------------------------- a flag


def fit_flag(marker: Marker, seat: Seat, stock: Stock, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for a flag: text, and a code before it, on both halves, each as long as the wire leaves it.

    The label is ``L = 2 f + pi (d + t)``; the halves lie symmetric about the fold.
    """
    font, reasons = font_of(marker.text, marker, PAPER)
    half = (stock.cell_width_mm - pi * (seat.text_diameter.high + stock.thickness_mm)) / 2
    margins, across = 2 * stock.cell_margin_mm, stock.cell_height_mm - 2 * stock.cell_margin_mm
    if half <= margins:
        why = fact("flag too short", wire=seat.text_diameter.high, half=max(half, 0), stock=stock.name)
        return Fit(marker, FAIL, (why,), seat=seat, stock=stock.name, fixes=(fact("longer flag"),))
    zone = flat_zone(font, marker.settings, needed_for(marker)).on_round(0.0, across, marker.settings)
    made = _printed(marker, font, zone, (half,), margins, codes)
    fit = replace(made.fit, reasons=reasons + made.fit.reasons, seat=seat, stock=stock.name)
    if fit.font_size_mm <= 0:
        return fit
    middle, shift = stock.cell_height_mm / 2, made.beside_mm / 2
    runs = made.centred(half / 2 + shift, middle) + made.centred(stock.cell_width_mm - half / 2 + shift, middle)
    symbol = None
    if made.code is not None:
        step = round(stock.cell_width_mm - half, 6)
        symbol = replace(made.code.symbol(stock.cell_margin_mm, middle), repeats=2, step_x_mm=step)
    return replace(fit, face=Face(stock.cell_width_mm, stock.cell_height_mm, runs, symbol=symbol))
