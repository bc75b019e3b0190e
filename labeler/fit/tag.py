"""Fit a bag tag: title, headings, rows to tick off and a code, all at readable height."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil

from labeler.fit.code import CodeMaker, Ground, SetCode, set_code, with_code
from labeler.fit.remedies import CONDENSED, with_settings
from labeler.fit.result import PAPER, contrast_of, flaws_of, font_of, needed_for
from labeler.fit.text import filled, least_size, printer_of, type_size
from labeler.formulas.legibility import height_for_dots
from labeler.model import (
    DOES_NOT_FIT,
    FITS,
    LINEAR,
    Box,
    Capital,
    Face,
    Fit,
    Marker,
    Range,
    Run,
    Settings,
    Stock,
    Symbol,
    TagWords,
)
from labeler.text import Font

MOST_COLUMNS = 4


@dataclass(frozen=True, slots=True)
class _Area:
    left: float
    right: float
    top: float
    bottom: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom


def fit_tag(marker: Marker, words: TagWords, stock: Stock, codes: CodeMaker | None = None) -> Fit:
    """Return the answer for one tag: the tallest type between required and preferred that holds it all.

    Rows stand in up to four columns, each with a box to tick. Where they cannot, the words'
    summary takes their place, and a reason says so; where there is none, the tag does not fit.
    """
    made = _made(marker, words, stock, codes)
    if made.verdict != DOES_NOT_FIT or made.ways_out:
        return made
    larger = () if made.face else ("divide the bag", "a larger tag stock")
    return replace(made, ways_out=(*_ways(marker, words, stock, codes), *larger))


def _made(marker: Marker, words: TagWords, stock: Stock, codes: CodeMaker | None) -> Fit:
    everything = (words.title, *words.headings, *words.rows, words.summary, words.caution)
    font, reasons = font_of(everything, marker)
    heights = _Heights.of(marker, font)
    area = _writable(stock)
    code = _code(marker, codes, area, stock)
    verdict, against = with_code(FITS, (), code, marker.settings)
    if code is not None and verdict == DOES_NOT_FIT:
        return Fit(marker, verdict, against, stock=stock.name, ways_out=code.ways_out, code=code.fit)
    symbol, side, area = _placed(code, area, stock, marker.settings)
    composed = _tallest(words, font, heights, area, side, marker)
    if composed is None:
        return _refused(marker, words, stock, font, heights.required, area, area.width - _beside(side, heights))
    if composed.rows is not words.rows:
        instead = f"{len(words.rows)} rows do not go on a tag of {stock.name}: it says how many there are"
        reasons = (*reasons, instead)
    if words.caution and not composed.caution:
        without = f"its caution does not go on {stock.name} beside the rest: shorten tag_caution, or use larger tags"
        reasons = (*reasons, without)
    proportion, stem = font.capital_width / font.capital, font.stroke / font.capital
    flaws = flaws_of(Range(proportion, proportion), marker.settings, PAPER)
    size = type_size(composed.height, font, 1.0, heights.required)
    flat = size * font.capital
    return Fit(
        marker,
        DOES_NOT_FIT if flaws.refused else verdict,
        (*reasons, *flaws.refused, *flaws.said, *against),
        composed.said,
        stock=stock.name,
        face=Face(stock.cell_width_mm, stock.cell_height_mm, composed.runs, 1, 0.0, composed.boxes, symbol),
        capital=Capital(flat, flat, flat, heights.required, heights.by),
        font=font.name,
        size_mm=size,
        proportion=Range(proportion, proportion),
        stroke=Range(stem, stem),
        contrast=contrast_of(marker.settings.print_colour, PAPER) or 0.0,
        code=code.fit if code else None,
        ways_out=code.ways_out if code and not flaws.refused else (),
        on_bench_sheet=words.on_bench_sheet or composed.rows is not words.rows,
    )


@dataclass(frozen=True, slots=True)
class _Heights:
    """Capital heights of a tag, mm: what is required, by what, and what is aimed for."""

    required: float
    preferred: float
    by: str

    @classmethod
    def of(cls, marker: Marker, font: Font) -> _Heights:
        needed, printer = needed_for(marker), printer_of(marker.settings)
        capital = height_for_dots(printer.dots_per_capital, printer.dpi)
        stroke = least_size(printer, font, 1.0) * font.capital
        least, what = max((capital, "dots_per_capital"), (stroke, "dots_per_stroke"))
        by = needed.by if needed.required_mm >= least else f"{what} at {printer.dpi:g} dpi"
        return cls(max(needed.required_mm, least), max(needed.preferred_mm, least), by)

    def steps(self, steps: int = 4) -> Iterator[float]:
        for i in range(steps + 1):
            yield self.preferred + (self.required - self.preferred) * i / steps


@dataclass(frozen=True, slots=True)
class _Composed:
    """All that is drawn on a tag at one type height, but for its code."""

    height: float
    rows: tuple[str, ...]
    caution: str
    said: tuple[str, ...]  # all but the caution, which is alike on all tags
    runs: tuple[Run, ...]
    boxes: tuple[Box, ...]


def _code(marker: Marker, codes: CodeMaker | None, area: _Area, stock: Stock) -> SetCode | None:
    """The code with the largest modules its square takes, of bars with the least; None where the tag carries none."""
    side, linear = stock.cell_height_mm * marker.settings.tag_code_share, marker.settings.code in LINEAR
    return set_code(marker, codes, Ground(side), area.width if linear else side, largest=not linear)


def _placed(code: SetCode | None, area: _Area, stock: Stock, settings: Settings) -> tuple[Symbol | None, float, _Area]:
    """Return the code in its place, the side of its square at the upper right, and the area that is left.

    Bars stand along the lower edge instead, and take their height from the area.
    """
    if code is None:
        return None, 0.0, area
    if code.code.linear:
        symbol = code.symbol(area.left, area.bottom + code.height_mm / 2)
        return symbol, 0.0, replace(area, bottom=area.bottom + code.height_mm + settings.tag_bars_gap_mm)
    side = stock.cell_height_mm * settings.tag_code_share
    left = area.right - side + (side - code.width_mm) / 2
    return code.symbol(left, area.top - side / 2), side, area


def _beside(code_side: float, heights: _Heights) -> float:
    return code_side + heights.required if code_side else 0.0


def _tallest(
    words: TagWords, font: Font, heights: _Heights, area: _Area, code_side: float, marker: Marker
) -> _Composed | None:
    """The tag at the tallest of its heights that holds rows and caution, else without that, else with a summary."""
    for rows in (words.rows, (words.summary,)) if words.summary and words.rows else (words.rows,):
        for caution in dict.fromkeys((words.caution, "")):
            foot = _caution(caution, font, heights.required, area, marker.settings)
            if foot is None:
                continue
            above = replace(area, bottom=area.bottom + foot[1])
            for height in heights.steps():
                made = _compose(words, rows, font, height, heights.required, above, code_side, marker)
                if made is not None:
                    said = tuple(run.text for run in made[0])
                    return _Composed(height, rows, caution, said, (*made[0], *foot[0]), made[1])
    return None


def _caution(
    caution: str, font: Font, height: float, area: _Area, settings: Settings
) -> tuple[tuple[Run, ...], float] | None:
    """Return the caution in lines at the foot, at the least height, and what it takes of the area's; None: no room."""
    if not caution:
        return (), 0.0
    size, pitch = type_size(height, font, 1.0, height), settings.line_pitch * height
    lines = filled(caution, font, area.width / size, int(area.height / pitch))
    if not lines:
        return None
    low = area.bottom + font.below(caution) * size
    runs = tuple(
        Run(line, font.name, size, area.left, round(low + (len(lines) - 1 - i) * pitch, 4))
        for i, line in enumerate(lines)
    )
    return runs, low - area.bottom + len(lines) * pitch


def _ways(marker: Marker, words: TagWords, stock: Stock, codes: CodeMaker | None) -> Iterator[str]:
    """What would do, with the height it gives: a condensed face, or read from nearer by."""

    def height(**changes: object) -> str:
        made = _made(with_settings(marker, **changes), words, stock, codes)
        return "" if made.verdict == DOES_NOT_FIT or made.capital is None else f"{made.capital.low:.2f} mm"

    for colour in ("BK", "WH"):
        if (marker.settings.print_colour != colour) and (found := height(print_colour=colour)):
            yield f"print in another colour (print_colour = {colour!r}): {found}"
    if marker.settings.font != CONDENSED and (found := height(font=CONDENSED)):
        yield f"a condensed face (font = {CONDENSED!r}): {found}"
    for tenths in range(9, 2, -1):
        distance = round(marker.settings.reading_distance_mm * tenths / 10)
        if found := height(reading_distance_mm=float(distance)):
            yield f"read it from nearer by (reading_distance_mm = {distance:g}): {found}"
            return


def _writable(stock: Stock) -> _Area:
    left = stock.margin_mm
    if stock.hole_mm:
        left = max(left, stock.hole_inset_mm + stock.hole_mm / 2 + stock.margin_mm)
    return _Area(left, stock.cell_width_mm - stock.margin_mm, stock.cell_height_mm - stock.margin_mm, stock.margin_mm)


def _compose(
    words: TagWords,
    rows: Sequence[str],
    font: Font,
    height: float,
    required: float,
    area: _Area,
    code_side: float,
    marker: Marker,
) -> tuple[tuple[Run, ...], tuple[Box, ...]] | None:
    """All of the tag at one type height, or None where it does not go in."""
    settings = marker.settings
    pitch, clear = settings.line_pitch * height, settings.tag_row_gap * height
    size = type_size(height, font, 1.0, required)
    beside = area.width - (code_side + height if code_side else 0.0)
    title = min(
        settings.tag_title_height * height,
        area.height * settings.tag_title_share,
        beside * font.capital / font.width(words.title) * (1 - 1e-9),
    )
    if title < required:
        return None
    title_size = type_size(title, font, 1.0, required)
    y = area.top - font.above(words.title) * title_size
    runs = [Run(words.title, font.name, title_size, area.left, round(y, 4))]
    y -= font.below(words.title) * title_size + settings.tag_title_gap * height
    for heading in words.headings:
        lines = filled(heading, font, beside / size, int(area.height / pitch) + 1)
        if lines is None:
            return None
        for line in lines:
            y -= pitch
            runs.append(Run(line, font.name, size, area.left, round(y, 4)))
    y = min(y, area.top - code_side)
    if y - clear < area.bottom:
        return None
    if not rows:
        return tuple(runs), ()
    below = _Area(area.left, area.right, y - clear, area.bottom)
    placed = _rows(rows, font, size, height, below, settings)
    return None if placed is None else ((*runs, *placed[0]), placed[1])


def _rows(
    rows: Sequence[str], font: Font, size: float, height: float, area: _Area, settings: Settings
) -> tuple[tuple[Run, ...], tuple[Box, ...]] | None:
    pitch = settings.line_pitch * height
    box, gap = settings.tag_tick * height, settings.tag_column_gap * height
    beside = (1 + settings.tag_tick_gap) * box  # from the left of a box to its row
    hangs = max(font.below(row) for row in rows) * size
    fit_in = int((area.height - hangs + (pitch - height)) / pitch + 1e-9)
    if fit_in < 1:
        return None
    columns = ceil(len(rows) / fit_in)
    if columns > MOST_COLUMNS:
        return None
    per_column = ceil(len(rows) / columns)
    runs: list[Run] = []
    boxes: list[Box] = []
    x = area.left
    for first in range(0, len(rows), per_column):
        column = rows[first : first + per_column]
        for i, row in enumerate(column):
            y = area.top - pitch * (i + 1) + (pitch - height)
            boxes.append(Box(round(x, 4), round(y, 4), round(box, 4), round(box, 4)))
            runs.append(Run(row, font.name, size, round(x + beside, 4), round(y, 4)))
        x += beside + max(map(font.width, column)) * size
        if x > area.right + 1e-6:
            return None
        x += gap
    return tuple(runs), tuple(boxes)


def _refused(
    marker: Marker, words: TagWords, stock: Stock, font: Font, required: float, area: _Area, beside: float
) -> Fit:
    size = required / font.capital
    box = (1 + marker.settings.tag_tick_gap) * marker.settings.tag_tick * required
    widest = max((font.width(row) * size + box for row in words.rows), default=0.0)
    title = font.width(words.title) * size
    why = (
        f"the title takes {title:.1f} mm, {beside:.1f} mm are free"
        if title > beside
        else f"the {len(words.headings)} headings and {len(words.rows)} rows (widest {widest:.1f} mm) do not go into "
        f"{area.width:.1f} x {area.height:.1f} mm of {stock.name}"
    )
    reason = f"at the required capitals of {required:.2f} mm {why}"
    return Fit(marker, DOES_NOT_FIT, (reason,), stock=stock.name)
