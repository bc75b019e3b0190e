"""What surrounds the pieces of a sheet: the header, the ruler, the lines to cut at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from labeler.draw.marker_drawing import MarkerDrawing
from labeler.draw.pens import Line, Pen, Rectangle, millimetres
from labeler.errors import LabelerError
from labeler.layout.cells import HEAD_STRIP_MM, RULER_MM, cells
from labeler.model import Face, Placed, Run, Sheet, Stock
from labeler.text import Font, font_for, load_font

CUT_LINE_MM = 0.1
RULER_LINE_MM = 0.1
FOLD_TICK_MM = 1.5  # at either edge of a flag on plain paper: project choice, seen but clear of the text beside it
TICK_SHARE = 0.2  # of a cut mark at either edge of a strip, in lay-flat widths: project choice
RULER_WORDS = "This ruler must measure 50 mm."
RULER_WORDS_MM = millimetres(6.5)
SEPARATOR = " · "
SECOND_PASS = f"{SEPARATOR}SECOND PASS: turn every piece over about its long axis, in its own slot"
HEADER_MM, MIN_HEADER_MM, MIN_LEADER_MM = (millimetres(size) for size in (7.0, 6.0, 4.5))
LEADER_PITCH = 1.2  # of its lines, in type sizes
EDGE_MM = 5.0
"""Not every printer reaches the outer 5 mm of a page: the header keeps out (project choice)."""

LEADER_EDGE_MM = 1.0
"""The header on a leader or a label keeps this distance from its edges: project choice."""


@dataclass(frozen=True, slots=True)
class Header:
    """What stands in the head margin of every sheet, for people: the job, and the font it is set in.

    Where the page is too narrow, the name gives way first, then ``about`` (what a reprint repeats, and
    why), then the job; each ends in dots then.
    """

    job: str
    font: str = "Atkinson Hyperlegible"
    turned_over: bool = False  # the second pass of pieces that are lettered on both faces
    name: str = ""
    about: str = ""

    @property
    def words(self) -> str:
        """Return all of it in one line."""
        return SEPARATOR.join(filter(None, (self.name, self.job, self.about)))


def frame_operations(sheet: Sheet, header: Header, drawing: MarkerDrawing) -> str:
    """Return what draws all that surrounds the pieces of a sheet, "" for nothing."""
    pen, stock = drawing.pen, sheet.stock
    parts = [drawing.operations(_text(sheet, header))]
    if stock.kind in ("sheet", "card"):
        parts.append(_ruler(stock, pen))
    if stock.cut_lines:
        parts.append(_cut_lines(sheet, pen))
    return "\n".join(filter(None, parts))


# ---------------------------------------------------------------- the header in the margin


def _text(sheet: Sheet, header: Header) -> Face:
    """Return the header line and the words beside the ruler; on a reel or roll the header of its leader."""
    stock = sheet.stock
    if stock.kind in ("reel", "roll"):
        return Face(sheet.width_mm, sheet.height_mm, tuple(_leader(sheet, header)))
    x = stock.ruler_x_mm + RULER_MM + 2.0
    beside = Run(RULER_WORDS, header.font, RULER_WORDS_MM, x, stock.ruler_y_mm + 0.3)
    runs = (beside,) if stock.top_margin_mm < HEAD_STRIP_MM else (_header_line(sheet, header), beside)
    return Face(sheet.width_mm, sheet.height_mm, runs)


def _header_line(sheet: Sheet, header: Header) -> Run:
    """Return job, stock, group and number in one line that fits the page."""
    facts = (sheet.stock.name, sheet.load, sheet.about, f"sheet {sheet.number}")
    of_sheet = "".join(f"{SEPARATOR}{fact}" for fact in facts if fact) + (SECOND_PASS if header.turned_over else "")
    text, font = _with_font(replace(header, job=header.job + of_sheet).words, header.font)
    left = max(EDGE_MM, sheet.stock.left_margin_mm)
    width = sheet.width_mm - left - EDGE_MM
    if font.width(text) > width / MIN_HEADER_MM:
        text = _cut_header(header, of_sheet, font, width / MIN_HEADER_MM)
    size = max(MIN_HEADER_MM, min(HEADER_MM, width / max(font.width(text), 1e-9)))
    return Run(text, font.name, size, left, sheet.height_mm - HEAD_STRIP_MM + 1.0)


def _cut_header(header: Header, of_sheet: str, font: Font, width: float) -> str:
    """Return the line within ``width`` ems; the name's end gives way, then that of ``about``, then the job's."""
    name, about, job, rest = (_spelled_out(t, font) for t in (header.name, header.about, header.job, of_sheet))
    width -= font.width(rest) + font.width(SEPARATOR) * (bool(name) + bool(about))
    job = _cut(job, font, width)
    width -= font.width(job)
    about = _cut(about, font, width - font.width("..."))
    name = _cut(name, font, width - font.width(about))
    return SEPARATOR.join(filter(None, (name, job + rest, about)))


def _cut(text: str, font: Font, width: float) -> str:
    """Return the text, or the longest head of it that goes into ``width`` ems with dots behind it."""
    if not text or font.width(text) <= width * (1 + 1e-9):
        return text
    count = next((n for n in range(len(text), 0, -1) if font.width(f"{text[:n]}...") <= width), 0)
    return f"{text[:count]}..."


def _with_font(text: str, name: str) -> tuple[str, Font]:
    """Return the text and a font that has it; with no such font, its characters are spelled out."""
    try:
        return text, font_for(name, frozenset(text))[0]
    except LabelerError:
        font = load_font(name)
        return _spelled_out(text, font), font


def _spelled_out(text: str, font: Font) -> str:
    """Return the text with ``<U+4E2D>`` for what the font lacks: the header is for people, not a marker."""
    lacking = font.missing(text)
    return "".join(f"<U+{ord(sign):04X}>" if sign in lacking else sign for sign in text)


# ---------------------------------------------------------------- the header on a leader


def _leader(sheet: Sheet, header: Header) -> Iterator[Run]:
    """Yield the header on the leader of a strip, on the page before the pieces of a reel, on a roll's first labels."""
    areas = _leader_areas(sheet)
    turned = "SECOND PASS: turned over" if header.turned_over else ""
    facts = (turned, header.job, sheet.load or sheet.stock.name, sheet.about, header.about, header.name)
    lines = list(dict.fromkeys(filter(None, facts)))
    narrowest = min((width for _, _, width, _ in areas), default=0.0) / MIN_LEADER_MM
    if len(areas) > 1 and any(load_font(header.font).width(line) > narrowest for line in lines):
        lines = [part for line in lines for part in line.split(SEPARATOR)]
    count = -(-len(lines) // max(1, len(areas)))
    for i, area in enumerate(areas):
        yield from _lines_in(lines[i * count : (i + 1) * count], header.font, area)


def _leader_areas(sheet: Sheet) -> list[Rectangle]:
    """Return where the header may stand: the leader itself, or the printed zones of the labels left on the liner."""
    stock, edge = sheet.stock, LEADER_EDGE_MM
    if not stock.leader_mm or (sheet.placed and (stock.kind == "roll" or not stock.page_width_mm)):
        return []
    if stock.kind == "reel":
        return [(edge, edge / 2, stock.leader_mm - 2 * edge, sheet.height_mm - edge)]
    areas = []
    for cell in cells(stock):
        zone = stock.print_zone_mm or cell.height_mm
        inset = max(
            stock.cell_margin_mm,
            stock.hole_from_left_mm + stock.hole_diameter_mm / 2 + stock.cell_margin_mm
            if stock.hole_diameter_mm
            else 0,
        )
        low = cell.y_mm + cell.height_mm - zone + stock.cell_margin_mm
        width, height = cell.width_mm - inset - stock.cell_margin_mm, zone - 2 * stock.cell_margin_mm
        areas.append((cell.x_mm + inset, low, width, height))
    return areas


def _lines_in(lines: Sequence[str], font_name: str, area: Rectangle) -> Iterator[Run]:
    """Yield lines as large as they go into an area, joined where fewer lines are larger; at most as large as heads.

    What is too long at the smallest size is cut and ends in dots: it is for people, no marker.
    """
    left, low, width, height = area
    ways = ([*lines[: n - 1], SEPARATOR.join(lines[n - 1 :])] for n in range(1, len(lines) + 1))
    sized = [_sized(way, font_name, width, height) for way in ways]
    if not sized:
        return
    size, texts = max(sized, key=lambda each: (round(each[0], 3), len(each[1])))
    size = max(size, MIN_LEADER_MM)
    pitch = min(LEADER_PITCH * size, height / len(texts))
    top = low + height / 2 + pitch * len(texts) / 2
    for i, (text, font) in enumerate(texts):
        yield Run(_cut(text, font, width / size), font.name, size, left, top - pitch * (i + 0.5) - 0.35 * size)


def _sized(lines: Sequence[str], font_name: str, width: float, height: float) -> tuple[float, list[tuple[str, Font]]]:
    """Return the largest type size at which lines go into an area, and each line with its font."""
    texts = [_with_font(line, font_name) for line in lines]
    widest = max(font.width(text) for text, font in texts)
    return min(HEADER_MM, height / (LEADER_PITCH * len(lines)), width / max(widest, 1e-9)), texts


# ---------------------------------------------------------------- rules


def _ruler(stock: Stock, pen: Pen) -> str:
    """Return 50 mm from the middle of the first tick to the middle of the last."""
    x, y = stock.ruler_x_mm, stock.ruler_y_mm
    lines = [(x, y, x + RULER_MM, y)]
    for step in range(0, 51, 5):
        high = 3.0 if step in (0, 50) else 2.0 if step % 10 == 0 else 1.2
        lines.append((x + step, y, x + step, y + high))
    return pen.lines(lines, RULER_LINE_MM)


def _cut_lines(sheet: Sheet, pen: Pen) -> str:
    """Return the outline of each cell that is used, on a card of each piece, the punch holes, the ticks where a flag is
    folded; the ticks of a strip.
    """
    stock = sheet.stock
    if stock.kind == "reel":
        ticks = tuple(_ticks(sheet)) if stock.page_width_mm else ()
        return pen.lines(ticks, CUT_LINE_MM) if ticks else ""
    return "\n".join(operator for placed in sheet.placed for operator in _cut_out(stock, placed, pen))


def _ticks(sheet: Sheet) -> Iterator[Line]:
    """Yield a tick at both edges of the tube wherever it is to be cut, but not at its ends."""
    high = sheet.height_mm
    edges = (x for placed in sheet.placed for x in (placed.x_mm, placed.x_mm + placed.piece.face.width_mm))
    for x in dict.fromkeys(round(x, 4) for x in edges if 1e-6 < x < sheet.width_mm - 1e-6):
        yield x, 0.0, x, TICK_SHARE * high
        yield x, (1 - TICK_SHARE) * high, x, high


def _cut_out(stock: Stock, placed: Placed, pen: Pen) -> Iterator[str]:
    """Yield the lines of one piece; one that is smaller than its cell stands at the cell's upper left."""
    face = placed.piece.face
    x, y, width, height = placed.x_mm, placed.y_mm, face.width_mm, face.height_mm
    if stock.kind != "card":
        y, width, height = y + height - stock.cell_height_mm, stock.cell_width_mm, stock.cell_height_mm
    yield pen.cut((x, y, width, height), stock.corner_radius_mm, CUT_LINE_MM)
    if stock.hole_diameter_mm > 0:
        r = stock.hole_diameter_mm / 2
        hole = x + stock.hole_from_left_mm - r, y + height / 2 - r, stock.hole_diameter_mm, stock.hole_diameter_mm
        yield pen.cut(hole, r, CUT_LINE_MM)
    if stock.marker == "flag":
        fold, top = x + width / 2, y + height
        ticks = ((fold, y, fold, y + FOLD_TICK_MM), (fold, top - FOLD_TICK_MM, fold, top))
        yield pen.lines(ticks, CUT_LINE_MM)
