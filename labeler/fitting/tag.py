"""Fit a bag tag: title, headings, rows to tick off and a code, all at readable height."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from labeler.fitting.code import CodeArea, CodeMaker, SetCode, set_code, with_code
from labeler.fitting.remedies import CONDENSED, with_settings
from labeler.fitting.result import font_of, look_of, needed_for
from labeler.fitting.text import Zone, filled, flat_zone, type_size
from labeler.formulas.legibility import height_for_dots
from labeler.model import (
    FAIL,
    PASS,
    RESULTS,
    Box,
    Capital,
    Face,
    Fact,
    Fit,
    Marker,
    Run,
    Settings,
    Stock,
    Symbol,
    TagWords,
    fact,
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
    if made.result != FAIL or made.fixes:
        return made
    larger = () if made.face else (fact("divide the bag"), fact("larger tag"))
    return replace(made, fixes=(*_ways(marker, words, stock, codes), *larger))


def _made(marker: Marker, words: TagWords, stock: Stock, codes: CodeMaker | None) -> Fit:
    everything = (words.title, *words.headings, *words.rows, words.summary, words.safety_message)
    font, reasons = font_of(everything, marker)
    area = _writable(stock)
    code = _code(marker, codes, area, stock)
    result, against = with_code(PASS, (), code, marker.settings)
    if code is not None and result == FAIL:
        return Fit(marker, result, against, stock=stock.name, fixes=code.fixes, code=code.fit)
    symbol, side, area = _placed(code, area, stock, marker.settings)
    zone = flat_zone(font, marker.settings, needed_for(marker))
    paper = _Paper(area, side, font, zone, marker.settings)
    composed = _tallest(words, paper)
    if composed is None:
        return _refused(marker, words, stock, paper)
    if composed.rows is not words.rows:
        reasons += (fact("rows summarised", rows=len(words.rows), stock=stock.name),)
    if words.safety_message and not composed.caution:
        reasons += (fact("caution left out", stock=stock.name),)
    look, size = look_of(font, zone, marker.settings), paper.size(composed.height)
    flat = size * font.capital
    return Fit(
        marker,
        max(look.result, result, key=RESULTS.index),
        (*reasons, *look.flaws, *against),
        composed.said,
        stock=stock.name,
        face=Face(stock.cell_width_mm, stock.cell_height_mm, composed.runs, 1, 0.0, composed.boxes, symbol),
        capital_height_mm=Capital(flat, flat, flat, zone.required_mm, _required_by(zone, marker.settings)),
        font=font.name,
        font_size_mm=size,
        surface=look.surface,
        code=code.fit if code else None,
        fixes=code.fixes if code and look.result != FAIL else (),
        on_bench_sheet=words.on_bench_sheet or composed.rows is not words.rows,
    )


def _required_by(zone: Zone, settings: Settings) -> str:
    """Return what requires the height of a tag's capitals: how it is read, or what the printer can form."""
    if zone.needed.required_mm >= zone.required_mm:
        return zone.needed.by
    by_capital = zone.required_mm == height_for_dots(settings.print.min_dots_per_capital, settings.print.dpi)
    return (
        f"{'print.min_dots_per_capital' if by_capital else 'print.min_dots_per_stroke'} at {settings.print.dpi:g} dpi"
    )


STEPS = 4  # of the height, from the preferred one to the required one


@dataclass(frozen=True, slots=True)
class _Paper:
    """What a tag is written on: its area, of which a square code takes the upper right corner, and in which type."""

    area: _Area
    code_side: float
    font: Font
    zone: Zone
    settings: Settings

    def beside(self, height: float) -> float:
        """Return the width beside the code for type of a height."""
        return self.area.width - (self.code_side + height if self.code_side else 0.0)

    def size(self, height: float) -> float:
        """Return the type size for capitals of a height."""
        return type_size(height, self.font, 1.0, self.zone.required_mm)


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
    side, linear = stock.cell_height_mm * marker.settings.tag.code_share, codes is not None and codes.linear
    return set_code(marker, codes, CodeArea(side), area.width if linear else side, largest=not linear)


def _placed(code: SetCode | None, area: _Area, stock: Stock, settings: Settings) -> tuple[Symbol | None, float, _Area]:
    """Return the code in its place, the side of its square at the upper right, and the area that is left.

    Bars stand along the lower edge instead, and take their height from the area.
    """
    if code is None:
        return None, 0.0, area
    if code.code.linear:
        symbol = code.symbol(area.left, area.bottom + code.height_mm / 2)
        return symbol, 0.0, replace(area, bottom=area.bottom + code.height_mm + settings.tag.barcode_gap_mm)
    side = stock.cell_height_mm * settings.tag.code_share
    left = area.right - side + (side - code.width_mm) / 2
    return code.symbol(left, area.top - side / 2), side, area


def _tallest(words: TagWords, paper: _Paper) -> _Composed | None:
    """The tag at the tallest of its heights that holds rows and caution, else without that, else with a summary."""
    for rows in (words.rows, (words.summary,)) if words.summary and words.rows else (words.rows,):
        for caution in dict.fromkeys((words.safety_message, "")):
            foot = _caution(caution, paper)
            if foot is None:
                continue
            above = replace(paper, area=replace(paper.area, bottom=paper.area.bottom + foot[1]))
            required, preferred = paper.zone.required_mm, paper.zone.preferred_mm
            for step in range(STEPS + 1):
                height = preferred + (required - preferred) * step / STEPS
                made = _compose(words, rows, height, above)
                if made is not None:
                    said = tuple(run.text for run in made[0])
                    return _Composed(height, rows, caution, said, (*made[0], *foot[0]), made[1])
    return None


def _caution(caution: str, paper: _Paper) -> tuple[tuple[Run, ...], float] | None:
    """Return the caution in lines at the foot, at the least height, and what it takes of the area's; None: no room."""
    if not caution:
        return (), 0.0
    font, area, height = paper.font, paper.area, paper.zone.required_mm
    size, pitch = paper.size(height), paper.settings.print.line_spacing * height
    lines = filled(caution, font, area.width / size, int(area.height / pitch))
    if not lines:
        return None
    low = area.bottom + font.below(caution) * size
    runs = tuple(
        Run(line, font.name, size, area.left, round(low + (len(lines) - 1 - i) * pitch, 4))
        for i, line in enumerate(lines)
    )
    return runs, low - area.bottom + len(lines) * pitch


def _ways(marker: Marker, words: TagWords, stock: Stock, codes: CodeMaker | None) -> Iterator[Fact]:
    """What would do, with the height it gives: a condensed face, or read from nearer by."""

    def height(changes: Mapping[str, object]) -> Fact | None:
        made = _made(with_settings(marker, changes), words, stock, codes)
        fits = made.result != FAIL and made.capital_height_mm
        return fact("height", capital=made.capital_height_mm.low) if fits and made.capital_height_mm else None

    for colour in ("BK", "WH"):
        if (marker.settings.print.colour != colour) and (found := height({"print.colour": colour})):
            yield fact("other print", value=colour, reached=found)
    if marker.settings.print.font != CONDENSED and (found := height({"print.font": CONDENSED})):
        yield fact("condensed face", value=CONDENSED, reached=found)
    for tenths in range(9, 2, -1):
        distance = round(marker.settings.print.reading_distance_mm * tenths / 10)
        if found := height({"print.reading_distance_mm": float(distance)}):
            yield fact("nearer by", key="print.reading_distance_mm", distance=distance, reached=found)
            return


def _writable(stock: Stock) -> _Area:
    left = stock.cell_margin_mm
    if stock.hole_diameter_mm:
        left = max(left, stock.hole_from_left_mm + stock.hole_diameter_mm / 2 + stock.cell_margin_mm)
    return _Area(
        left,
        stock.cell_width_mm - stock.cell_margin_mm,
        stock.cell_height_mm - stock.cell_margin_mm,
        stock.cell_margin_mm,
    )


def _compose(
    words: TagWords, rows: Sequence[str], height: float, paper: _Paper
) -> tuple[tuple[Run, ...], tuple[Box, ...]] | None:
    """All of the tag at one type height, or None where it does not go in."""
    font, area, settings = paper.font, paper.area, paper.settings
    pitch, clear = settings.print.line_spacing * height, settings.tag.heading_gap * height
    size, beside = paper.size(height), paper.beside(height)
    title = min(
        settings.tag.max_title_ratio * height,
        area.height * settings.tag.max_title_share,
        beside * font.capital / font.width(words.title) * (1 - 1e-9),
    )
    if title < paper.zone.required_mm:
        return None
    title_size = paper.size(title)
    y = area.top - font.above(words.title) * title_size
    runs = [Run(words.title, font.name, title_size, area.left, round(y, 4))]
    y -= font.below(words.title) * title_size + settings.tag.title_gap * height
    for heading in words.headings:
        lines = filled(heading, font, beside / size, int(area.height / pitch) + 1)
        if lines is None:
            return None
        for line in lines:
            y -= pitch
            runs.append(Run(line, font.name, size, area.left, round(y, 4)))
    y = min(y, area.top - paper.code_side)
    if y - clear < area.bottom:
        return None
    if not rows:
        return tuple(runs), ()
    placed = _rows(rows, height, replace(paper, area=replace(area, top=y - clear)))
    return None if placed is None else ((*runs, *placed[0]), placed[1])


def _rows(rows: Sequence[str], height: float, paper: _Paper) -> tuple[tuple[Run, ...], tuple[Box, ...]] | None:
    """The rows with a box before each, in as few columns as hold them, or None where they do not go in."""
    font, area, settings, size = paper.font, paper.area, paper.settings, paper.size(height)
    pitch = settings.print.line_spacing * height
    box, gap = settings.tag.tick_box * height, settings.tag.column_gap * height
    beside = (1 + settings.tag.tick_box_gap) * box  # from the left of a box to its row
    hangs = max(font.below(row) for row in rows) * size
    fit_in = int((area.height - hangs + (pitch - height)) / pitch + 1e-9)
    columns = ceil(len(rows) / fit_in) if fit_in >= 1 else MOST_COLUMNS + 1
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


def _refused(marker: Marker, words: TagWords, stock: Stock, paper: _Paper) -> Fit:
    settings, font, area, required = marker.settings, paper.font, paper.area, paper.zone.required_mm
    size = required / font.capital
    box = (1 + settings.tag.tick_box_gap) * settings.tag.tick_box * required
    widest = max((font.width(row) * size + box for row in words.rows), default=0.0)
    title, free = font.width(words.title) * size, paper.beside(required)
    if title > free:
        why = fact("title too wide", title=title, free=free)
    else:
        room = {"width": area.width, "height": area.height, "stock": stock.name}
        why = fact("rows too many", headings=len(words.headings), rows=len(words.rows), widest=widest, **room)
    return Fit(marker, FAIL, (fact("tag too small", required=required, why=why),), stock=stock.name)
