"""Stock files: what is printed on. One TOML file each; the file's name is the stock's."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from math import inf

from labeler.errors import Problem, SourceLocation
from labeler.model import Stock
from labeler.tables.document import COUNT, FLAG, LENGTH, TEXT, Document, Form, Key, read_table
from labeler.tables.kinds import KINDS

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # width and height, mm: ISO 216, ANSI/ASME Y14.1 size A
STOCK_KINDS = ("sheet", "roll", "card", "reel")
WITH_CELLS = ("sheet", "roll")  # whose cells have a size of their own
MOST_CELLS = 10_000  # of a page: more are a slip of the pen (project choice)
ROUNDING_MM = 0.01  # project choice: what a sum of printed dimensions may be over


def _mm(meaning: str, example: float = 0.0, default: float = 0.0) -> Key:
    return Key(LENGTH, meaning, example, default=default, high=5000.0)


def _number_of(meaning: str, example: int) -> Key:
    return Key(COUNT, meaning, example, default=1, low=1, high=1000)


STOCK = Form(
    {
        "kind": Key(TEXT, "form of the stock", "sheet", required=True, allowed=STOCK_KINDS),
        "marker": Key(TEXT, "kind of marker that is printed on it", "wrap", required=True, allowed=tuple(KINDS)),
        "description": Key(TEXT, "one line for people", "self-laminating wraps 25 x 18 mm on A4", required=True),
        "page_width_mm": _mm("width of the page; of a reel the longest strip, 0: the piece is the page", 210),
        "page_height_mm": _mm("height of the page; of a roll of one feed", 297),
        "left_margin_mm": _mm("from the left edge of the page to the first cell", 10),
        "top_margin_mm": _mm("from the upper edge of the page to the first cell", 20),
        "columns": _number_of("cells side by side", 7),
        "rows": _number_of("cells one below the other; left out on a card", 14),
        "cell_width_mm": _mm("width of a cell, along the wire or the tube", 25),
        "cell_height_mm": _mm("height of a cell, around the wire; left out on a card", 18),
        "pitch_x_mm": _mm("from the left edge of a cell to that of the next", 27),
        "pitch_y_mm": _mm("from the upper edge of a cell to that of the next", 19),
        "gap_mm": _mm("between neighbouring pieces of a card or strip; of a roll between two feeds", 3),
        "black_mark_mm": _mm("of a roll: height of the black mark on the back of the liner; 0: the gap is sensed", 4),
        "leader_mm": _mm("of a reel or roll: length at the start that carries the header", 60),
        "bottom_margin_mm": _mm("of a card: free at the foot", 8),
        "corner_radius_mm": _mm("rounding of the corners of cells", 1.5),
        "cell_margin_mm": _mm("kept free of print along each edge inside a cell", 0.5),
        "print_zone_mm": _mm("of a wrap: height of the printed zone at the top of the cell", 9.5),
        "thickness_mm": _mm("of a wrap, flag or insert: thickness of the film or paper", 0.09),
        "hole_diameter_mm": _mm("of a tag: diameter of the punch hole", 5),
        "hole_from_left_mm": _mm("of a tag: from the left edge of the cell to the middle of the hole", 6),
        "blocked_cells": Key(TEXT, "cells that are never printed", "A1-B3, D7"),
        "cut_lines": Key(FLAG, "whether outlines are drawn, for plain paper", False, default=True),
        "ruler_x_mm": _mm("from the left edge of the page to the 50 mm ruler", 10),
        "ruler_y_mm": _mm("from the lower edge of the page to the 50 mm ruler", 6),
    }
)

Limit = tuple[str, str, str]  # key, message, fix


def read_stock(document: Document, name: str) -> tuple[tuple[Stock, ...], list[Problem]]:
    """Return the stock of a file, or none with what is wrong with it, each at its line."""
    if not name.isprintable() or name != name.strip():
        text = "the file's name, which is the stock's, has signs that do not show, or a blank at an end"
        return (), [Problem(SourceLocation(document.name), text, "rename the file")]
    read = read_table(document, STOCK)
    if read.problems:
        return (), list(read.problems)
    stock = Stock(name=name, where=document.where(("kind",)), **read.values)
    found = [Problem(document.where((key,)), f"{key} {message}", fix) for key, message, fix in _limits(stock)]
    return () if found else (stock,), found


def largest_piece(stock: Stock) -> tuple[float, float]:
    """Return width and height [mm] of the largest piece that a stock takes, infinite where nothing limits it.

    On a reel the piece is the page, or lies on a strip behind its leader; on a card the cells are as
    high as the tube, within the page.
    """
    width, height = stock.cell_width_mm, stock.cell_height_mm
    if stock.kind == "reel":
        strip = stock.page_width_mm - stock.leader_mm if stock.page_width_mm else inf
        return min(width or inf, strip), height or inf
    return (
        width,
        stock.page_height_mm - stock.top_margin_mm - stock.bottom_margin_mm if stock.kind == "card" else height,
    )


def _limits(stock: Stock) -> Iterator[Limit]:
    if KINDS[stock.marker].fills_cell and not (stock.cell_width_mm and stock.cell_height_mm):
        key = "cell_width_mm" if not stock.cell_width_mm else "cell_height_mm"
        yield key, "is missing", f"a {stock.marker} is as large as its cell: measure one"
    elif stock.kind != "reel" and not (stock.page_width_mm and stock.page_height_mm):
        yield "page_width_mm" if not stock.page_width_mm else "page_height_mm", "is missing", "measure it"
    else:
        yield from chain(*(_along(stock, axis) for axis in _AXES), _inside(stock))


_AXES = (  # the keys of number, pitch, size, page and start of cells, and the words for these
    ("columns", "pitch_x_mm", "cell_width_mm", "page_width_mm", "left_margin_mm", "along", "left", "wide"),
    ("rows", "pitch_y_mm", "cell_height_mm", "page_height_mm", "top_margin_mm", "around", "top", "high"),
)


def _along(stock: Stock, axis: tuple[str, ...]) -> Iterator[Limit]:
    """No cell overlaps the next, the last ends on the page; on a card the tube says how high a cell is."""
    number, pitch_key, cell_key, _, start, lies, edge, page_is = axis
    across, of_sheet = number == "columns", stock.kind in WITH_CELLS
    count, pitch, cell, page, before = (getattr(stock, key) for key in axis[:5])
    count = count if across or of_sheet else 1
    if of_sheet and not cell:
        yield cell_key, "is missing", f"measure one cell {lies} the wire"
    if count > 1 and pitch < cell - ROUNDING_MM:
        fix = f"measure from the {edge} edge of one cell to that of the next"
        yield pitch_key, f"is {pitch:g}, less than a cell of {cell:g}", fix
    if across and of_sheet and count * stock.rows > MOST_CELLS:
        limit = f"is {count}: with {stock.rows} rows a page has {count * stock.rows:,} cells"
        yield number, f"{limit}, the limit is {MOST_CELLS:,}", "count them again"
    end = before + (count - 1) * pitch + cell + (0.0 if across else stock.bottom_margin_mm)
    if page and end > page + ROUNDING_MM:
        limit = f"is {count}: the last cell ends {end:g} mm from the {edge} of a page {page:g} mm {page_is}"
        yield number, limit, f"check {start}, {pitch_key} and {number}"


def _inside(stock: Stock) -> Iterator[Limit]:
    """What lies inside a cell, and the ruler inside the page."""
    width, height = stock.cell_width_mm or inf, stock.cell_height_mm or inf
    if 2 * stock.cell_margin_mm >= min(width, height):
        yield "cell_margin_mm", f"is {stock.cell_margin_mm:g}; both sides leave nothing of a cell", "make it smaller"
    if 2 * stock.corner_radius_mm > min(width, height) + ROUNDING_MM:
        limit = f"is {stock.corner_radius_mm:g}, more than half a cell's side"
        yield "corner_radius_mm", limit, "measure the corner again"
    if stock.marker == "wrap" and not 0 < stock.print_zone_mm <= height:
        limit = f"is {stock.print_zone_mm:g}; it must be above 0 and within a cell of {height:g}"
        yield "print_zone_mm", limit, "measure the height of the printed zone"
    if (
        stock.hole_diameter_mm
        and not stock.hole_diameter_mm / 2 <= stock.hole_from_left_mm <= width - stock.hole_diameter_mm / 2
    ):
        limit = f"is {stock.hole_from_left_mm:g}: the hole of {stock.hole_diameter_mm:g} mm runs over the edge"
        yield "hole_from_left_mm", limit, "measure from the left edge to the middle of the hole"
    if stock.hole_diameter_mm >= height:
        yield "hole_diameter_mm", f"is {stock.hole_diameter_mm:g}, as wide as the tag", "measure the hole again"
    starts = (
        ("ruler_x_mm", stock.ruler_x_mm, stock.page_width_mm),
        ("ruler_y_mm", stock.ruler_y_mm, stock.page_height_mm),
    )
    for key, start, page in starts:
        if page and start > page:
            yield key, f"is {start:g}, beyond the page", "let the ruler start on the page"
