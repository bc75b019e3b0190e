"""Tables and words of a typeset sheet: cells with our fonts, boxes to tick, listings that go on overleaf."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any
from xml.sax.saxutils import escape

from labeler.draw.listing import GAP_PT, TALL_PT, Table, split, table
from labeler.draw.strings import embedded
from labeler.draw.words import BODY_PT, BOLD, HARD_BLANK, LEADING, NOTE_PT, PLAIN, Words, font_runs
from labeler.text import load_font

HEADS_PT, ROW_PT, FEWEST_ROWS = 38.0, 16.5, 6
"""Heads of a listing, a row with a box; a connector begins overleaf where fewer rows have room."""

Row = Sequence[Any]


# ---------------------------------------------------------------- words


def embedded_name(name: str) -> str:
    """Return the name under which the PDF library holds a typeface of ours."""
    return str(embedded(load_font(name)).fontName)


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


def paragraph(words: Words, **style: Any) -> Any:
    """Return words as a paragraph."""
    parts = []
    for text, name, size in words.runs:
        marked = "&nbsp;".join(map(bold if name == BOLD else marked_up, text.split(HARD_BLANK)))
        parts.append(small_print(marked, size))
    return text_cell("".join(parts), max(size for _, _, size in words.runs), **style)


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
    title: Words, heads: Sequence[str], rows: Sequence[Any], shares: Sequence[float], room: float, **how: Any
) -> Any:
    """Return a listing under its title and small heads, both repeated overleaf; see `labeler.draw.listing.table`."""
    made = table(title, heads, rows, shares, room, **how)
    return _listing_part()(made, 0, len(made.rows))


def plain_listing(title: Words, rows: Sequence[Any], shares: Sequence[float], room: float) -> Any:
    """Return a listing under its title alone, for a few rows that explain themselves."""
    return listing(title, (), rows, shares, room)


@lru_cache(maxsize=1)
def _listing_part() -> Any:
    """Return the class of a listing, or some rows of it, as the library sets pages with them."""
    from reportlab.platypus import Flowable

    class Part(Flowable):  # type: ignore[misc]
        def __init__(self, whole: Table, first: int, last: int) -> None:
            super().__init__()
            self.part = whole, first, last
            self.spaceBefore = GAP_PT
            self.width, self.height = whole.width, whole.height(first, last)

        def wrap(self, *_room: float) -> tuple[float, float]:
            return self.width, self.height

        def split(self, _width: float, height: float) -> list[Any]:
            return [Part(*part) for part in split(*self.part, height) or ()]

        def draw(self) -> None:
            self.canv.addLiteral(self.canv.listings.operations(*self.part))

    return Part


TITLED = (
    ("SPAN", (0, 0), (-1, 0)),
    ("LEFTPADDING", (0, 0), (-1, 0), 0),
    ("TOPPADDING", (0, 0), (-1, 0), 0),
    ("BOTTOMPADDING", (0, 0), (-1, 0), 2),
)
