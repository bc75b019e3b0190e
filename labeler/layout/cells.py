"""The cells of a page: where they are, what they are called; and what stands beside them."""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from labeler.errors import LabelerError, Problem, on_one_line
from labeler.model import NOWHERE, Stock

TOLERANCE_MM = 0.01
"""A piece may exceed its cell by this much: the rounding of sizes, no more than a printer's dot."""

MAX_BLOCK_CELLS = 10_000
"""Of one block that is named: more are a slip of the pen (project choice)."""

RULER_MM = 50.0
RULER_AREA_MM = (94.0, 3.0)
"""What the ruler and the words beside it take, from its lower left corner: no cell may lie there."""

HEAD_STRIP_MM = 9.0
"""The header line stands within this distance of the page's upper edge, where ``top_margin_mm`` leaves it free."""

_CELL = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,3})")


class Cell(NamedTuple):
    """A place on a page: its name (``B3``) and its lower left corner and size [mm]."""

    name: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


def cells(stock: Stock, cell_height_mm: float | None = None) -> tuple[Cell, ...]:
    """Return the cells of one page, read row by row from the upper left.

    ``cell_height_mm`` is the lay-flat width of the tube on a card [mm], where it sets the number of
    rows; a grid has its own height. A reel has no cells, nor has a card without a height.
    """
    if stock.kind in ("sheet", "roll"):
        return _table(stock, stock.cell_height_mm, stock.pitch_y_mm, stock.rows)
    height = cell_height_mm or stock.cell_height_mm
    if stock.kind == "reel" or height <= 0:
        return ()
    pitch = height + stock.gap_mm
    free = stock.page_height_mm - stock.top_margin_mm - stock.bottom_margin_mm
    rows = math.floor((free + TOLERANCE_MM + stock.gap_mm) / pitch + 1e-6)
    return _table(stock, height, pitch, max(0, rows))


@lru_cache(maxsize=256)
def _table(stock: Stock, height: float, pitch: float, rows: int) -> tuple[Cell, ...]:
    top = stock.page_height_mm - stock.top_margin_mm - height
    return tuple(
        Cell(
            cell_name(column, row),
            stock.left_margin_mm + column * stock.pitch_x_mm,
            top - row * pitch,
            stock.cell_width_mm,
            height,
        )
        for row in range(rows)
        for column in range(stock.columns)
    )


def field_of(stock: Stock) -> tuple[float, float, float, float]:
    """Return left, lower, right and upper edge of the area of the cells [mm]."""
    top = stock.page_height_mm - stock.top_margin_mm
    right = stock.left_margin_mm + (stock.columns - 1) * stock.pitch_x_mm + stock.cell_width_mm
    if stock.kind == "card":
        return stock.left_margin_mm, stock.bottom_margin_mm, right, top
    return stock.left_margin_mm, top - (stock.rows - 1) * stock.pitch_y_mm - stock.cell_height_mm, right, top


def cell_name(column: int, row: int) -> str:
    """Return the name of a cell; both count from 0.

    >>> cell_name(0, 0), cell_name(1, 2), cell_name(26, 0)
    ('A1', 'B3', 'AA1')
    """
    letters = ""
    column += 1
    while column:
        column, last = divmod(column - 1, 26)
        letters = chr(ord("A") + last) + letters
    return f"{letters}{row + 1}"


def parse_cell(name: str) -> tuple[int, int]:
    """Return column and row of a cell's name, both from 0; small letters are read as capitals.

    Raises
    ------
    LabelerError : anything but a column letter and a row number.

    >>> parse_cell("B3")
    (1, 2)
    """
    found = _CELL.fullmatch(name.strip().upper())
    if not found:
        message = f'"{on_one_line(name)}" is not a cell'
        raise LabelerError(Problem(NOWHERE, message, "write column letter and row number, such as B3"))
    column = 0
    for letter in found[1]:
        column = 26 * column + ord(letter) - ord("A") + 1
    return column - 1, int(found[2]) - 1


def blocks_of(names: Collection[str]) -> str:
    """Return cells as few blocks, in the words that `parse_cells` reads: "" for none.

    Cells side by side in a row are one block, and so are such rows under one another. Raises `LabelerError`
    for what is no cell.

    >>> blocks_of(("A1", "B1", "A2", "B2", "A3"))
    'A1-B2, A3'
    """
    rows: dict[int, list[int]] = {}
    for column, row in {parse_cell(name) for name in names}:
        rows.setdefault(row, []).append(column)
    blocks: list[list[int]] = []  # left, top, right, low
    for row in sorted(rows):
        columns = sorted(rows[row])
        for _, run in groupby(enumerate(columns), key=lambda each: each[1] - each[0]):
            beside = [column for _, column in run]
            above = next((b for b in blocks if (b[0], b[2], b[3]) == (beside[0], beside[-1], row - 1)), None)
            if above:
                above[3] = row
            else:
                blocks.append([beside[0], row, beside[-1], row])
    corners = [(cell_name(left, top), cell_name(right, low)) for left, top, right, low in blocks]
    return ", ".join(first if first == last else f"{first}-{last}" for first, last in corners)


def parse_cells(text: str) -> tuple[str, ...]:
    """Return the names of the cells that a text lists: single ones, and blocks by two opposite corners.

    Raises
    ------
    LabelerError : anything that is no cell, or a block of more than 10000 cells.

    >>> parse_cells("a1-B2, D4")
    ('A1', 'B1', 'A2', 'B2', 'D4')
    """
    names: dict[str, None] = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        first, _, last = part.partition("-")
        left, top = parse_cell(first)
        right, low = parse_cell(last) if last or part.endswith("-") else (left, top)
        if (abs(right - left) + 1) * (abs(low - top) + 1) > MAX_BLOCK_CELLS:
            message = f'"{part}" is more than {MAX_BLOCK_CELLS} cells'
            raise LabelerError(Problem(NOWHERE, message, "name two corners of a block, such as A1-B3"))
        for row in range(min(top, low), max(top, low) + 1):
            names |= {cell_name(column, row): None for column in range(min(left, right), max(left, right) + 1)}
    return tuple(names)
