"""Stock files: what is printed on. One TOML file each; the file's name is the stock's."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from math import inf

from labeler.errors import Problem, Where
from labeler.model import Stock
from labeler.tables.document import Document, Form, Key, checked
from labeler.tables.kinds import KINDS

STOCK_KINDS = ("grid", "roll", "card", "reel")
SHEETS = ("grid", "roll")  # whose cells have a size of their own
MOST_CELLS = 10_000  # of a page: more are a slip of the pen (project choice)
ROUNDING_MM = 0.01  # project choice: what a sum of printed dimensions may be over

_FORM_KINDS = {"str": "text", "int": "count", "bool": "flag", "float": "length"}
STOCK: Form = {
    item.name: Key(
        _FORM_KINDS[str(item.type)],
        needed=item.name in ("kind", "takes", "description"),
        low=1 if item.type == "int" else 0.0,
        high=1000 if item.type == "int" else 5000.0,
    )
    for item in fields(Stock)
    if item.name not in ("name", "where")
}

Limit = tuple[str, str, str]  # key, message, fix


def read_stock(document: Document, name: str) -> tuple[Stock | None, list[Problem]]:
    """Return the stock of a file, or None with what is wrong with it, each at its line."""
    if not name.isprintable() or name != name.strip():
        text = "the file's name, which is the stock's, has signs that do not show, or a blank at an end"
        return None, [Problem(Where(document.name), text, "rename the file")]
    values, problems = checked(document.values, STOCK, document.at("kind"), at=document.at)
    if problems:
        return None, problems
    stock = Stock(name=name, where=document.at("kind"), **values)
    found = [Problem(document.at(key), f"{key} {message}", fix) for key, message, fix in _limits(stock)]
    return (None, found) if found else (stock, [])


def largest_piece(stock: Stock) -> tuple[float, float]:
    """Return width and height [mm] of the largest piece that a stock takes, infinite where nothing limits it.

    On a reel the piece is the page, or lies on a strip behind its leader; on a card the cells are as
    high as the tube, within the page.
    """
    width, height = stock.cell_width_mm, stock.cell_height_mm
    if stock.kind == "reel":
        strip = stock.page_width_mm - stock.leader_mm if stock.page_width_mm else inf
        return min(width or inf, strip), height or inf
    if stock.kind == "card":
        return width, stock.page_height_mm - stock.top_mm - stock.bottom_mm
    return width, height


def _limits(stock: Stock) -> Iterator[Limit]:
    if stock.kind not in STOCK_KINDS:
        yield "kind", f"is {stock.kind!r}", f"use {', '.join(STOCK_KINDS)}"
    elif stock.takes not in KINDS:
        yield "takes", f"is {stock.takes!r}", f"use {', '.join(KINDS)}"
    elif KINDS[stock.takes].fills_cell and not (stock.cell_width_mm and stock.cell_height_mm):
        key = "cell_width_mm" if not stock.cell_width_mm else "cell_height_mm"
        yield key, "is missing", f"a {stock.takes} is as large as its cell: measure one"
    elif stock.kind != "reel" and not (stock.page_width_mm and stock.page_height_mm):
        yield "page_width_mm" if not stock.page_width_mm else "page_height_mm", "is missing", "measure it"
    else:
        yield from _across(stock)
        yield from _down(stock)
        yield from _inside(stock)


def _across(stock: Stock) -> Iterator[Limit]:
    """Cells side by side: none overlaps, the last ends on the page."""
    if stock.kind in SHEETS and not stock.cell_width_mm:
        yield "cell_width_mm", "is missing", "measure one cell along the wire"
    if stock.columns > 1 and stock.pitch_x_mm < stock.cell_width_mm - ROUNDING_MM:
        limit = f"is {stock.pitch_x_mm:g}, less than a cell of {stock.cell_width_mm:g}"
        yield "pitch_x_mm", limit, "measure from the left edge of one cell to that of the next"
    if stock.kind in SHEETS and stock.columns * stock.rows > MOST_CELLS:
        limit = f"is {stock.columns}: with {stock.rows} rows a page has {stock.columns * stock.rows:,} cells"
        yield "columns", f"{limit}, the limit is {MOST_CELLS:,}", "count them again"
    right = stock.left_mm + (stock.columns - 1) * stock.pitch_x_mm + stock.cell_width_mm
    if stock.page_width_mm and right > stock.page_width_mm + ROUNDING_MM:
        limit = f"is {stock.columns}: the last cell ends {right:g} mm from the left of a page"
        yield "columns", f"{limit} {stock.page_width_mm:g} mm wide", "check left_mm, pitch_x_mm and columns"


def _down(stock: Stock) -> Iterator[Limit]:
    """Cells under one another; on a card the tube says how high a cell is."""
    if stock.kind in SHEETS and not stock.cell_height_mm:
        yield "cell_height_mm", "is missing", "measure one cell around the wire"
    if stock.kind in SHEETS and stock.rows > 1 and stock.pitch_y_mm < stock.cell_height_mm - ROUNDING_MM:
        limit = f"is {stock.pitch_y_mm:g}, less than a cell of {stock.cell_height_mm:g}"
        yield "pitch_y_mm", limit, "measure from the top edge of one cell to that of the next"
    rows = stock.rows if stock.kind in SHEETS else 1
    foot = stock.top_mm + (rows - 1) * stock.pitch_y_mm + stock.cell_height_mm + stock.bottom_mm
    if stock.page_height_mm and foot > stock.page_height_mm + ROUNDING_MM:
        limit = f"is {rows}: the last cell ends {foot:g} mm from the top of a page"
        yield "rows", f"{limit} {stock.page_height_mm:g} mm high", "check top_mm, pitch_y_mm and rows"


def _inside(stock: Stock) -> Iterator[Limit]:
    """What lies inside a cell, and the ruler inside the page."""
    width, height = stock.cell_width_mm or float("inf"), stock.cell_height_mm or float("inf")
    if 2 * stock.margin_mm >= min(width, height):
        yield "margin_mm", f"is {stock.margin_mm:g}; both sides leave nothing of a cell", "make it smaller"
    if 2 * stock.corner_radius_mm > min(width, height) + ROUNDING_MM:
        limit = f"is {stock.corner_radius_mm:g}, more than half a cell's side"
        yield "corner_radius_mm", limit, "measure the corner again"
    if stock.takes == "wrap" and not 0 < stock.print_around_mm <= height:
        limit = f"is {stock.print_around_mm:g}; it must be above 0 and within a cell of {height:g}"
        yield "print_around_mm", limit, "measure the height of the printed zone"
    if stock.hole_mm and not stock.hole_mm / 2 <= stock.hole_inset_mm <= width - stock.hole_mm / 2:
        limit = f"is {stock.hole_inset_mm:g}: the hole of {stock.hole_mm:g} mm runs over the edge"
        yield "hole_inset_mm", limit, "measure from the left edge to the middle of the hole"
    if stock.hole_mm >= height:
        yield "hole_mm", f"is {stock.hole_mm:g}, as wide as the tag", "measure the hole again"
    if stock.page_width_mm and stock.ruler_x_mm > stock.page_width_mm:
        yield "ruler_x_mm", f"is {stock.ruler_x_mm:g}, beyond the page", "let the ruler start on the page"
    if stock.page_height_mm and stock.ruler_y_mm > stock.page_height_mm:
        yield "ruler_y_mm", f"is {stock.ruler_y_mm:g}, beyond the page", "let the ruler start on the page"
