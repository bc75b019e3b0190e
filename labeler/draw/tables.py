"""Tables and words of a typeset sheet: cells with our fonts, boxes to tick, listings that go on overleaf."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from typing import Any
from xml.sax.saxutils import escape

from labeler.draw.pdf import POINTS_PER_MM
from labeler.errors import LabelerError
from labeler.text import Font, font_for, load_font

PLAIN, BOLD = "Atkinson Hyperlegible", "Atkinson Hyperlegible Bold"
TICK_MM = 3.8
LEADING = 1.18
GAP_PT = 5.5
HEADS_PT, ROW_PT, FEWEST_ROWS = 38.0, 16.5, 6
"""Heads of a listing, a row with a box; a connector begins overleaf where fewer rows have room."""

TALL_PT = 150.0
"""A row up to this height moves overleaf as a whole (project choice: a fifth of the page)."""

TITLE_PT, HEAD_PT, BODY_PT, NOTE_PT, SMALL_PT, SOURCE_PT = 16.0, 11.0, 8.5, 7.5, 7.0, 6.0
HEAVY_PT, MIDDLE_PT, THIN_PT = 1.4, 0.8, 0.4

Row = Sequence[Any]


# ---------------------------------------------------------------- words


def embedded_name(name: str) -> str:
    """Return the name under which the PDF library holds a typeface of ours."""
    from reportlab.pdfbase.pdfmetrics import getRegisteredFontNames, registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    font = load_font(name)
    known = f"bench-{font.digest}"
    if known not in getRegisteredFontNames():
        registerFont(TTFont(known, str(font.path), shapable=False))
    return known


def font_runs(text: str, name: str) -> Iterator[tuple[Font, str]]:
    """Yield the text in runs of one typeface: a stand-in for what the first lacks, or its number."""
    signs = (" " if sign.isspace() else sign for sign in text)
    fonts = ((font_with(sign, name), sign) for sign in signs)
    spelled = ((font or load_font(name), sign if font else f"<U+{ord(sign):04X}>") for font, sign in fonts)
    for font, run in groupby(spelled, key=lambda pair: pair[0]):
        yield font, "".join(sign for _, sign in run)


@lru_cache(maxsize=4096)
def font_with(sign: str, name: str) -> Font | None:
    """Return the typeface, or its stand-in, that has a sign; None where neither has."""
    try:
        return font_for(name, frozenset(sign))[0]
    except LabelerError:
        return None


def marked_up(text: str, name: str = PLAIN) -> str:
    """Return the text as the library's markup, with each run's typeface."""
    return "".join(
        escape(run) if font.name == name else f'<font name="{embedded_name(font.name)}">{escape(run)}</font>'
        for font, run in font_runs(text, name)
    )


def bold(text: str) -> str:
    """Return a text in the bold face, as markup."""
    return f'<font name="{embedded_name(BOLD)}">{marked_up(text, BOLD)}</font>'


def small_print(markup: str, size: float = NOTE_PT) -> str:
    """Return markup in another size, points."""
    return f'<font size="{size:g}">{markup}</font>'


def text_cell(markup: str, size: float = BODY_PT, **style: Any) -> Any:
    """Return a paragraph of markup that breaks words too long for a line."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    look = ParagraphStyle(
        "bench", fontName=embedded_name(PLAIN), fontSize=size, leading=size * LEADING, splitLongWords=1, **style
    )
    return Paragraph(markup, look)


def shown_length(millimetres: float) -> str:
    """Return a length for people."""
    return f"{millimetres:g} mm"


def joined_lines(lines: Iterable[str]) -> str:
    """Return the lines of a sleeve as one."""
    return " / ".join(lines)


# ---------------------------------------------------------------- tables


def made_table(
    rows: Sequence[Row],
    widths: Sequence[float],
    *looks: tuple[Any, ...],
    heads: int = 0,
    heights: Sequence[float] | None = None,
) -> Any:
    """Return a table without lines; it breaks over pages, the first ``heads`` rows are repeated.

    A row stays whole, unless it is very tall. Then the library may break it, which it does rightly
    only where cells begin at the top.
    """
    from reportlab.platypus import LongTable

    tall = any(row_height(row, widths) > TALL_PT for row in rows)
    base = [
        ("FONTNAME", (0, 0), (-1, -1), embedded_name(PLAIN)),  # else an empty cell asks for another font
        ("VALIGN", (0, 0), (-1, -1), "TOP" if tall else "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 0), (-1, -1), 2.2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.4),
    ]
    return LongTable(
        [list(row) for row in rows],
        colWidths=list(widths),
        rowHeights=heights,
        repeatRows=heads,
        splitInRow=int(tall),
        hAlign="LEFT",
        style=[*base, *looks],
    )


def row_height(row: Row, widths: Sequence[float]) -> float:
    """Return how high the words of a row are; a cell that stands alone has the whole width."""
    if all(cell is None for cell in row[1:]):
        return cell_height(row[0], sum(widths))
    return max(cell_height(cell, width) for cell, width in zip(row, widths, strict=True))


def cell_height(cell: Any, width: float) -> float:
    """Return how high the paragraphs of a cell are, 0 for one that is empty or holds a box."""
    parts = cell if isinstance(cell, list) else [cell]
    return float(sum(part.wrap(width - 4, 1e6)[1] for part in parts if hasattr(part, "getPlainText")))


def listing(
    title: str, heads: Sequence[str], rows: Sequence[Row], shares: Sequence[float], room: float, *looks: Any
) -> Any:
    """Return a table under its title and small heads, both repeated overleaf; ``shares`` divide the room."""
    whole = sum(shares)
    head = [text_cell(marked_up(word), SMALL_PT) for word in heads]
    table = made_table(
        [[title, *[None] * (len(heads) - 1)], head, *rows],
        [room * share / whole for share in shares],
        *TITLED,
        ("LINEBELOW", (0, 1), (-1, 1), MIDDLE_PT, "black"),
        ("LINEBELOW", (0, 2), (-1, -1), THIN_PT, "grey"),
        ("TOPPADDING", (0, 1), (-1, 1), 1),
        ("BOTTOMPADDING", (0, 1), (-1, 1), 1),
        *looks,
        heads=2,
    )
    table.spaceBefore = GAP_PT
    return table


def plain_listing(title: str, rows: Sequence[Row], shares: Sequence[float], room: float) -> Any:
    """Return a table under its title alone, for a few rows that explain themselves."""
    whole = sum(shares)
    table = made_table(
        [[title, *[None] * (len(shares) - 1)], *rows],
        [room * share / whole for share in shares],
        *TITLED,
        ("LINEABOVE", (0, 1), (-1, 1), MIDDLE_PT, "black"),
        ("LINEBELOW", (0, 1), (-1, -1), THIN_PT, "grey"),
        ("TOPPADDING", (0, 1), (-1, -1), 1.2),
        ("BOTTOMPADDING", (0, 1), (-1, -1), 1.8),
        heads=1,
    )
    table.spaceBefore = GAP_PT
    return table


TITLED = (
    ("SPAN", (0, 0), (-1, 0)),
    ("LEFTPADDING", (0, 0), (-1, 0), 0),
    ("TOPPADDING", (0, 0), (-1, 0), 0),
    ("BOTTOMPADDING", (0, 0), (-1, 0), 2),
)
BOXED = ("BOX", (0, 1), (-1, -1), HEAVY_PT, "black")
BARE = tuple((f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM"))


def parting_lines(starts: Iterable[int]) -> list[tuple[Any, ...]]:
    """Return a stronger rule above each of the rows of a listing, counted from 0 under its heads."""
    return [("LINEABOVE", (0, row + 2), (-1, row + 2), MIDDLE_PT, "black") for row in starts if row]


def tick_box() -> Any:
    """Return an empty box of the size of a pen's tick."""
    side = TICK_MM * POINTS_PER_MM
    return made_table([[None]], [side], ("BOX", (0, 0), (-1, -1), MIDDLE_PT, "black"), heights=[side])


def section_title(words: str, note: str = "") -> Any:
    """Return the title of a section with a note in small print behind it."""
    after = f" &nbsp; {small_print(marked_up(note))}" if note else ""
    return text_cell(bold(words) + after, HEAD_PT)
