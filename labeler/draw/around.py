"""What surrounds the pieces of a sheet: the header, the ruler, the lines to cut at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from labeler.draw.pens import POINTS_PER_MM, Line, Pen
from labeler.errors import LabelerError
from labeler.layout.cells import HEAD_STRIP_MM, RULER_MM, cells
from labeler.model import Face, Placed, Run, Sheet, Stock
from labeler.text import Font, font_for, load_font

CUT_LINE_MM = 0.1
RULER_LINE_MM = 0.1
FOLD_TICK_MM = 1.5  # at either edge of a flag on plain paper: project choice, seen but clear of the text beside it
TICK_SHARE = 0.2  # of a cut mark at either edge of a strip, in lay-flat widths: project choice
SECOND_PASS = " · SECOND PASS: turn every piece over about its long axis, in its own slot"
RULER_WORDS = "50 mm: must measure exactly 50 mm"
RULER_WORDS_MM = 6.5 / POINTS_PER_MM
HEADER_MM = 7.0 / POINTS_PER_MM
SMALLEST_HEADER_MM = 6.0 / POINTS_PER_MM
EDGE_MM = 5.0
"""Not every printer reaches the outer 5 mm of a page: the header keeps out (project choice)."""

LEADER_EDGE_MM = 1.0
"""The header on a leader or a label keeps this distance from its edges: project choice."""

SMALLEST_LEADER_MM = 4.5 / POINTS_PER_MM
LEADER_PITCH = 1.2  # of its lines, in type sizes
SEPARATOR = " · "


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
        return " · ".join(filter(None, (self.name, self.job, self.about)))


def words(sheet: Sheet, header: Header) -> Face:
    """Return the header line and the words beside the ruler; on a reel or roll the header of its leader."""
    stock = sheet.stock
    if stock.kind in ("reel", "roll"):
        return _leader(sheet, header)
    x = stock.ruler_x_mm + RULER_MM + 2.0
    beside = Run(RULER_WORDS, header.font, RULER_WORDS_MM, x, stock.ruler_y_mm + 0.3)
    runs = (beside,) if stock.top_mm < HEAD_STRIP_MM else (_header_line(sheet, header), beside)
    return Face(sheet.width_mm, sheet.height_mm, runs)


def _header_line(sheet: Sheet, header: Header) -> Run:
    """Return job, stock, group and number in one line that fits the page."""
    of_sheet = _of_sheet(sheet) + (SECOND_PASS if header.turned_over else "")
    words = replace(header, job=header.job + of_sheet)
    shown, font = _shown_with(words.words, header.font)
    left = max(EDGE_MM, sheet.stock.left_mm)
    room = sheet.width_mm - left - EDGE_MM
    if font.width(shown) > room / SMALLEST_HEADER_MM:
        shown = _cut_header(header, of_sheet, font, room / SMALLEST_HEADER_MM)
    size = max(SMALLEST_HEADER_MM, min(HEADER_MM, room / max(font.width(shown), 1e-9)))
    return Run(shown, font.name, size, left, sheet.height_mm - HEAD_STRIP_MM + 1.0)


def _cut_header(header: Header, of_sheet: str, font: Font, room: float) -> str:
    """Return the line within ``room`` ems; the name's end gives way, then that of ``about``, then the job's."""
    name, about = (_spelled_out(text, font) for text in (header.name, header.about))
    job, rest = _spelled_out(header.job, font), _spelled_out(of_sheet, font)
    fixed = font.width(rest) + font.width(" · ") * (bool(name) + bool(about))
    job = _cut(job, font, room - fixed)
    fixed += font.width(job)
    about = _cut(about, font, room - fixed - font.width("..."))
    name = _cut(name, font, room - fixed - font.width(about))
    return " · ".join(filter(None, (name, job + rest, about)))


def _cut(text: str, font: Font, room: float) -> str:
    """Return the text, or the longest head of it that goes into ``room`` ems with dots behind it."""
    if not text or font.width(text) <= room:
        return text
    room -= font.width("...")
    return text[: next((n for n in range(len(text), 0, -1) if font.width(text[:n]) <= room), 0)] + "..."


def _of_sheet(sheet: Sheet) -> str:
    return "".join(
        f" · {part}" for part in (sheet.stock.name, sheet.group, sheet.about, f"sheet {sheet.number}") if part
    )


def _shown_with(text: str, name: str) -> tuple[str, Font]:
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


# ---------------------------------------------------------------- leaders


def _leader(sheet: Sheet, header: Header) -> Face:
    """Return the header on the leader of a strip, on the page before the pieces of a reel, on a roll's first labels."""
    areas = _leader_areas(sheet)
    turned = "SECOND PASS: turned over" if header.turned_over else ""
    said = (turned, header.job, sheet.group or sheet.stock.name, sheet.about, header.about, header.name)
    lines = list(dict.fromkeys(filter(None, said)))
    narrow = min((width for _, _, width, _ in areas), default=0.0) / SMALLEST_LEADER_MM
    if len(areas) > 1 and any(load_font(header.font).width(line) > narrow for line in lines):
        lines = [part for line in lines for part in line.split(SEPARATOR)]
    each = -(-len(lines) // max(1, len(areas)))
    runs = [run for i, area in enumerate(areas) for run in _set_in(lines[i * each : (i + 1) * each], header.font, area)]
    return Face(sheet.width_mm, sheet.height_mm, tuple(runs))


_Area = tuple[float, float, float, float]  # left, lower edge, width, height


def _leader_areas(sheet: Sheet) -> list[_Area]:
    """Return where the header may stand: the leader itself, or the printed zones of the labels left on the liner."""
    stock, edge = sheet.stock, LEADER_EDGE_MM
    if not stock.leader_mm or (sheet.placed and (stock.kind == "roll" or not stock.page_width_mm)):
        return []
    if stock.kind == "reel":
        return [(edge, edge / 2, stock.leader_mm - 2 * edge, sheet.height_mm - edge)]
    areas = []
    for cell in cells(stock):
        zone = stock.print_around_mm or cell.height_mm
        inset = max(stock.margin_mm, stock.hole_inset_mm + stock.hole_mm / 2 + stock.margin_mm if stock.hole_mm else 0)
        low = cell.y_mm + cell.height_mm - zone + stock.margin_mm
        width, height = cell.width_mm - inset - stock.margin_mm, zone - 2 * stock.margin_mm
        areas.append((cell.x_mm + inset, low, width, height))
    return areas


def _set_in(lines: list[str], name: str, area: _Area) -> list[Run]:
    """Return lines as large as they go into an area, joined where fewer lines are larger; at most as large as heads.

    What is too long at the smallest size is cut and ends in dots: it is for people, no marker.
    """
    left, low, width, height = area
    ways = ([*lines[: n - 1], SEPARATOR.join(lines[n - 1 :])] for n in range(1, len(lines) + 1))
    tried = [_set_as(way, name, width, height) for way in ways]
    if not tried:
        return []
    size, shown = max(tried, key=lambda made: (round(made[0], 3), len(made[1])))
    size = max(size, SMALLEST_LEADER_MM)
    pitch = min(LEADER_PITCH * size, height / len(shown))
    top = low + height / 2 + pitch * len(shown) / 2
    return [
        Run(_cut_end(text, font, width / size), font.name, size, left, top - pitch * (i + 0.5) - 0.35 * size)
        for i, (text, font) in enumerate(shown)
    ]


def _set_as(lines: list[str], name: str, width: float, height: float) -> tuple[float, list[tuple[str, Font]]]:
    shown = [_shown_with(line, name) for line in lines]
    widest = max(font.width(text) for text, font in shown)
    return min(HEADER_MM, height / (LEADER_PITCH * len(lines)), width / max(widest, 1e-9)), shown


def _cut_end(text: str, font: Font, room: float) -> str:
    if font.width(text) <= room * (1 + 1e-9):
        return text
    kept = next((n for n in range(len(text), 0, -1) if font.width(f"{text[:n]}...") <= room), 0)
    return f"{text[:kept]}..."


# ---------------------------------------------------------------- rules


def ruler(stock: Stock, pen: Pen) -> str:
    """Return 50 mm from the middle of the first tick to the middle of the last."""
    x, y = stock.ruler_x_mm, stock.ruler_y_mm
    lines = [(x, y, x + RULER_MM, y)]
    for step in range(0, 51, 5):
        high = 3.0 if step in (0, 50) else 2.0 if step % 10 == 0 else 1.2
        lines.append((x + step, y, x + step, y + high))
    return pen.lines(lines, RULER_LINE_MM)


def cuts(sheet: Sheet, pen: Pen) -> str:
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
    at = dict.fromkeys(
        round(x, 4)
        for placed in sheet.placed
        for x in (placed.x_mm, placed.x_mm + placed.piece.face.width_mm)
        if 1e-6 < x < sheet.width_mm - 1e-6
    )
    for x in at:
        yield x, 0.0, x, TICK_SHARE * high
        yield x, (1 - TICK_SHARE) * high, x, high


def _cut_out(stock: Stock, placed: Placed, pen: Pen) -> Iterator[str]:
    x, y, width, height = _outline(stock, placed)
    yield pen.cut(x, y, width, height, stock.corner_radius_mm, CUT_LINE_MM)
    if stock.hole_mm > 0:
        r = stock.hole_mm / 2
        left, low = x + stock.hole_inset_mm - r, y + height / 2 - r
        yield pen.cut(left, low, stock.hole_mm, stock.hole_mm, r, CUT_LINE_MM)
    if stock.takes == "flag":
        fold, top = x + width / 2, y + height
        ticks = ((fold, y, fold, y + FOLD_TICK_MM), (fold, top - FOLD_TICK_MM, fold, top))
        yield pen.lines(ticks, CUT_LINE_MM)


def _outline(stock: Stock, placed: Placed) -> tuple[float, float, float, float]:
    """Return x, y, width and height of what is cut out; a small piece stands at the upper left."""
    face = placed.piece.face
    if stock.kind == "card":
        return placed.x_mm, placed.y_mm, face.width_mm, face.height_mm
    low = placed.y_mm + face.height_mm - stock.cell_height_mm
    return placed.x_mm, low, stock.cell_width_mm, stock.cell_height_mm
