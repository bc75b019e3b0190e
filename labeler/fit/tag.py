"""Fit a bag tag: title, headings, rows to tick off and a code, all at readable height."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil

from labeler.fit.code import CodeMaker, Ground, SetCode, set_code, with_code
from labeler.fit.common import DOES_NOT_FIT, FITS, font_of, needed_for
from labeler.fit.setting import breakings, type_size
from labeler.formulas.legibility import height_for_dots
from labeler.model import LINEAR, Box, Capital, Face, Fit, Marker, Run, Stock, Symbol, TagWords
from labeler.text import Font

LARGEST_TITLE = 3.0  # title capitals, at most so many times the preferred height: project choice
TITLE_SHARE = 1 / 6  # … and at most this share of the tag's height: project choice
CODE_SHARE = 0.34  # side of the code in tag heights: project choice
COLUMN_GAP = 1.5  # in capital heights: project choice
TICK = 1.0  # side of a tick box in capital heights: project choice
ROW_GAP = 0.9  # between the headings and the rows, in capital heights: project choice
MOST_COLUMNS = 4
BAR_GAP_MM = 1.0  # between bars and the rows above them: project choice


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
    everything = (words.title, *words.headings, *words.rows, words.summary)
    font, reasons = font_of(everything, marker)
    needed = needed_for(marker)
    least = height_for_dots(marker.settings.dots_per_capital, marker.settings.printer_dpi)
    required, preferred = max(needed.required_mm, least), max(needed.preferred_mm, least)
    area = _writable(stock)
    side = stock.cell_height_mm * CODE_SHARE
    linear = marker.settings.code in LINEAR
    code = set_code(marker, codes, Ground(side), area.width if linear else side, largest=not linear)
    verdict, code_reasons = with_code(FITS, (), code, marker.settings)
    if code is not None and verdict == DOES_NOT_FIT:
        return Fit(marker, verdict, code_reasons, stock=stock.name, ways_out=code.ways_out, code=code.fit)
    symbol, code_side, area = _placed(code, area, side)
    trials = [(height, words.rows) for height in _heights(required, preferred)]
    if words.summary and words.rows:
        trials += [(height, (words.summary,)) for height in _heights(required, preferred)]
        reasons_for_summary = f"{len(words.rows)} rows do not go on a tag of {stock.name}: it says how many there are"
    for height, rows in trials:
        runs = _compose(words, rows, font, height, required, area, code_side, marker)
        if runs is None:
            continue
        lines, boxes = runs
        why = (*reasons, *(() if rows is words.rows else (reasons_for_summary,)), *code_reasons)
        size = type_size(height, font, 1.0, required)
        flat = size * font.capital
        return Fit(
            marker,
            verdict,
            why,
            tuple(run.text for run in lines),
            stock=stock.name,
            face=Face(stock.cell_width_mm, stock.cell_height_mm, lines, 1, 0.0, boxes, symbol),
            capital=Capital(flat, flat, flat, required, needed.by),
            font=font.name,
            size_mm=size,
            ways_out=code.ways_out if code else (),
            code=code.fit if code else None,
        )
    return _refused(marker, words, stock, font, required, area)


def _placed(code: SetCode | None, area: _Area, side: float) -> tuple[Symbol | None, float, _Area]:
    """Return the code in its place, the side of its square at the upper right, and the area that is left.

    Bars stand along the lower edge instead, and take their height from the area.
    """
    if code is None:
        return None, 0.0, area
    if code.code.linear:
        symbol = code.symbol(area.left, area.bottom + code.height_mm / 2)
        return symbol, 0.0, replace(area, bottom=area.bottom + code.height_mm + BAR_GAP_MM)
    left = area.right - side + (side - code.width_mm) / 2
    return code.symbol(left, area.top - side / 2), side, area


def _writable(stock: Stock) -> _Area:
    left = stock.margin_mm
    if stock.hole_mm:
        left = max(left, stock.hole_inset_mm + stock.hole_mm / 2 + stock.margin_mm)
    return _Area(left, stock.cell_width_mm - stock.margin_mm, stock.cell_height_mm - stock.margin_mm, stock.margin_mm)


def _heights(required: float, preferred: float, steps: int = 4) -> Iterator[float]:
    for i in range(steps + 1):
        yield preferred + (required - preferred) * i / steps


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
    pitch = marker.settings.line_pitch * height
    size = type_size(height, font, 1.0, required)
    beside = area.width - (code_side + height if code_side else 0.0)
    title = min(
        LARGEST_TITLE * height,
        area.height * TITLE_SHARE,
        beside * font.capital / font.width(words.title) * (1 - 1e-9),
    )
    if title < required:
        return None
    title_size = type_size(title, font, 1.0, required)
    y = area.top - font.above(words.title) * title_size
    runs = [Run(words.title, font.name, title_size, area.left, round(y, 4))]
    y -= font.below(words.title) * title_size + 0.4 * height
    for heading in words.headings:
        lines = _lines(heading, font, beside / size)
        if lines is None:
            return None
        for line in lines:
            y -= pitch
            runs.append(Run(line, font.name, size, area.left, round(y, 4)))
    y = min(y, area.top - code_side)
    if y - ROW_GAP * height < area.bottom:
        return None
    if not rows:
        return tuple(runs), ()
    placed = _rows(rows, font, size, height, pitch, _Area(area.left, area.right, y - ROW_GAP * height, area.bottom))
    return None if placed is None else ((*runs, *placed[0]), placed[1])


def _lines(text: str, font: Font, ems: float) -> tuple[str, ...] | None:
    """The text in as few lines as go into a width, or None."""
    for lines in breakings(text, font, len(text)):
        if max(map(font.width, lines)) <= ems:
            return lines
    return None


def _rows(
    rows: Sequence[str], font: Font, size: float, height: float, pitch: float, area: _Area
) -> tuple[tuple[Run, ...], tuple[Box, ...]] | None:
    box, gap = TICK * height, COLUMN_GAP * height
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
            runs.append(Run(row, font.name, size, round(x + 1.6 * box, 4), round(y, 4)))
        x += 1.6 * box + max(map(font.width, column)) * size
        if x > area.right + 1e-6:
            return None
        x += gap
    return tuple(runs), tuple(boxes)


def _refused(marker: Marker, words: TagWords, stock: Stock, font: Font, required: float, area: _Area) -> Fit:
    size = required / font.capital
    widest = max((font.width(row) * size + 1.6 * required for row in words.rows), default=0.0)
    reason = (
        f"at the required capitals of {required:.2f} mm the {len(words.headings)} headings and {len(words.rows)} rows "
        f"(widest {widest:.1f} mm) do not go into {area.width:.1f} x {area.height:.1f} mm of {stock.name}"
    )
    ways = ("divide the bag", "shorter wording", "a larger tag stock", "a shorter reading_distance_mm")
    return Fit(marker, DOES_NOT_FIT, (reason,), stock=stock.name, ways_out=ways)
