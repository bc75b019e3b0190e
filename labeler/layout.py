"""Lay out: pieces go to the cells of their stock, sheet after sheet."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import chain
from typing import NamedTuple

from labeler.errors import LabelerError, Problem, nearest, refuse
from labeler.model import NOWHERE, Piece, Placed, Sheet, Stock
from labeler.stocks import largest_piece

TOLERANCE_MM = 0.01
"""A piece may exceed its cell by this much: the rounding of sizes, no more than a printer's dot."""

RULER_MM = 50.0
RULER_AREA_MM = (94.0, 3.0)
"""What the ruler and the words beside it take, from its lower left corner: no cell may lie there."""

HEAD_STRIP_MM = 9.0
"""The header line stands within this distance of the page's upper edge, where ``top_mm`` leaves it free."""

_CELL = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,3})")
_Batch = dict[str, dict[str, list[Piece]]]  # stock name -> group -> pieces


class Cell(NamedTuple):
    """A place on a page: its name (``B3``) and its lower left corner and size [mm]."""

    name: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


def lay_out(
    pieces: Sequence[Piece],
    stocks: Mapping[str, Stock],
    start: Mapping[str, str] | None = None,
    first_number: int = 1,
) -> tuple[Sheet, ...]:
    """Place every piece on a sheet of its stock.

    Stocks follow one another in the order in which the pieces first ask for them, and so do the
    groups within a stock; within a group the pieces keep the order given. On a grid the groups just
    follow; on a card each group begins a new sheet; on a reel each piece is a sheet.

    A piece that is smaller than its cell stands at the cell's upper left: there a wrap has its
    printed zone. On a card the cell is as high as the highest piece of the group.

    Parameters
    ----------
    pieces : what to place, matched ends side by side.
    stocks : by name, at least those that the pieces name.
    start : for a stock's name the cell (``B3``) where its first sheet begins: a sheet partly used.
    first_number : number of the first sheet.

    Raises
    ------
    LabelerError : all at once: unknown stocks, stocks whose measures contradict each other, pieces
        that are larger than their cell, starts outside the page.
    """
    start = start or {}
    batches = _batches(pieces)
    refuse(_stocks_wrong(batches, stocks, start))
    refuse(chain(_pieces_wrong(batches, stocks), _starts_wrong(batches, stocks, start)))
    sheets: list[Sheet] = []
    for name, groups in batches.items():
        for width, height, placed in _pages(stocks[name], groups, start.get(name, "A1")):
            number = first_number + len(sheets)
            sheets.append(Sheet(stocks[name], number, width, height, _one_group(placed), placed))
    return tuple(sheets)


def cells(stock: Stock, cell_height_mm: float | None = None) -> tuple[Cell, ...]:
    """Return the cells of one page, read row by row from the upper left.

    ``cell_height_mm`` is the lay-flat width of the tube on a card [mm], where it sets the number of
    rows; a grid has its own height. A reel has no cells, nor has a card without a height.
    """
    if stock.kind == "grid":
        return _table(stock, stock.cell_height_mm, stock.pitch_y_mm, stock.rows)
    height = cell_height_mm or stock.cell_height_mm
    if stock.kind == "reel" or height <= 0:
        return ()
    pitch = height + stock.gap_mm
    free = stock.page_height_mm - stock.top_mm - stock.bottom_mm
    rows = math.floor((free + TOLERANCE_MM + stock.gap_mm) / pitch + 1e-6)
    return _table(stock, height, pitch, max(0, rows))


@lru_cache(maxsize=256)
def _table(stock: Stock, height: float, pitch: float, rows: int) -> tuple[Cell, ...]:
    top = stock.page_height_mm - stock.top_mm - height
    return tuple(
        Cell(
            cell_name(column, row),
            stock.left_mm + column * stock.pitch_x_mm,
            top - row * pitch,
            stock.cell_width_mm,
            height,
        )
        for row in range(rows)
        for column in range(stock.columns)
    )


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
        message = f'"{name}" is not a cell'
        raise LabelerError(Problem(NOWHERE, message, "write column letter and row number, such as B3"))
    column = 0
    for letter in found[1]:
        column = 26 * column + ord(letter) - ord("A") + 1
    return column - 1, int(found[2]) - 1


# ---------------------------------------------------------------- placing


def _batches(pieces: Sequence[Piece]) -> _Batch:
    batches: _Batch = {}
    for piece in pieces:
        batches.setdefault(piece.stock, {}).setdefault(piece.group, []).append(piece)
    return batches


def _pages(
    stock: Stock, groups: Mapping[str, list[Piece]], start: str
) -> Iterator[tuple[float, float, tuple[Placed, ...]]]:
    """Yield width, height and pieces of each page of one stock."""
    if stock.kind == "reel":
        for piece in chain.from_iterable(groups.values()):
            yield piece.face.width_mm, piece.face.height_mm, (Placed(piece, "A1", 0.0, 0.0),)
        return
    column, row = parse_cell(start)
    first = row * stock.columns + column
    for together in _loaded_together(stock, groups):
        for placed in _fill(cells(stock, _highest(together)), together, first):
            yield stock.page_width_mm, stock.page_height_mm, placed
        first = 0


def _loaded_together(stock: Stock, groups: Mapping[str, list[Piece]]) -> list[list[Piece]]:
    if stock.kind == "card":
        return list(groups.values())
    return [list(chain.from_iterable(groups.values()))]


def _fill(table: tuple[Cell, ...], pieces: Sequence[Piece], first: int) -> Iterator[tuple[Placed, ...]]:
    page = table[first:]
    done = 0
    while done < len(pieces):
        here = pieces[done : done + len(page)]
        yield tuple(_place(piece, cell) for piece, cell in zip(here, page, strict=False))
        done += len(page)
        page = table


def _place(piece: Piece, cell: Cell) -> Placed:
    spare = cell.height_mm - piece.face.height_mm
    return Placed(piece, cell.name, cell.x_mm, cell.y_mm + spare)


def _highest(pieces: Sequence[Piece]) -> float:
    return max(piece.face.height_mm for piece in pieces)


def _one_group(placed: tuple[Placed, ...]) -> str:
    """Return the group that all the pieces share, or nothing."""
    names = {each.piece.group for each in placed}
    return names.pop() if len(names) == 1 else ""


# ---------------------------------------------------------------- what can be wrong


def _stocks_wrong(batches: _Batch, stocks: Mapping[str, Stock], start: Mapping[str, str]) -> Iterator[Problem]:
    for name in dict.fromkeys((*batches, *start)):
        if name in stocks:
            yield from stock_problems(stocks[name])
        else:
            near = nearest(name, stocks)
            fix = f'did you mean "{near}"?' if near else f"known are: {', '.join(stocks) or 'none'}"
            yield Problem(NOWHERE, f'stock "{name}" is not known', fix)


def _pieces_wrong(batches: _Batch, stocks: Mapping[str, Stock]) -> Iterator[Problem]:
    for name, groups in batches.items():
        width, height = _largest(stocks[name])
        for piece in chain.from_iterable(groups.values()):
            face = piece.face
            if not (0 < face.width_mm <= width and 0 < face.height_mm <= height):
                yield _oversize(piece, width - TOLERANCE_MM, height - TOLERANCE_MM)


def _largest(stock: Stock) -> tuple[float, float]:
    """Return the largest piece that the stock takes, tolerance included."""
    width, height = largest_piece(stock)
    return width + TOLERANCE_MM, height + TOLERANCE_MM


def _oversize(piece: Piece, width: float, height: float) -> Problem:
    face = piece.face
    name = f"{piece.marker} ({piece.label})" if piece.label else piece.marker
    size = f"{name}: piece {face.width_mm:.2f} x {face.height_mm:.2f} mm"
    if not (face.width_mm > 0 and face.height_mm > 0):
        return Problem(NOWHERE, f"{size} has no size", "give it a width and a height above 0")
    limits = " x ".join(f"{limit:g}" if math.isfinite(limit) else "any" for limit in (width, height))
    message = f'{size} is too large, "{piece.stock}" takes {limits} mm'
    return Problem(NOWHERE, message, "choose a stock with larger cells, or a shorter or narrower piece")


def _starts_wrong(batches: _Batch, stocks: Mapping[str, Stock], start: Mapping[str, str]) -> Iterator[Problem]:
    for name, cell in start.items():
        stock = stocks[name]
        if stock.kind == "reel":
            message = f'start "{cell}": stock "{name}" is a reel and has no cells'
            yield Problem(NOWHERE, message, "leave the start out")
            continue
        try:
            column, row = parse_cell(cell)
        except LabelerError as error:
            yield from error.problems
            continue
        rows = _rows(stock, batches.get(name, {}))
        if column >= stock.columns or row >= rows:
            last = cell_name(stock.columns - 1, rows - 1)
            message = f'start "{cell}" is outside stock "{name}", whose cells are A1 to {last}'
            yield Problem(NOWHERE, message, "name one of them")


def _rows(stock: Stock, groups: Mapping[str, list[Piece]]) -> int:
    """Return the rows of the first page; at least one, where nothing says how many a card has."""
    first = next(iter(groups.values()), [])
    height = _highest(first) if first else None
    return max(1, len(cells(stock, height)) // stock.columns)


# ---------------------------------------------------------------- a stock's own measures


@lru_cache(maxsize=256)
def stock_problems(stock: Stock) -> tuple[Problem, ...]:
    """Return what in a stock's measures contradicts itself: a file written by hand is often off."""
    if stock.kind not in ("grid", "card", "reel"):
        fix = "write grid, card or reel"
        return (_wrong(stock, f'kind "{stock.kind}" is not known', fix),)
    if stock.kind == "reel":
        return ()
    return tuple(_grid_wrong(stock)) or tuple(_cell_wrong(stock))


def _grid_wrong(stock: Stock) -> Iterator[Problem]:
    if stock.columns < 1 or stock.rows < 1:
        yield _wrong(stock, f"{stock.columns} columns and {stock.rows} rows", "have at least one of each")
    if not stock.cell_width_mm > 0 or (stock.kind == "grid" and not stock.cell_height_mm > 0):
        yield _wrong(stock, "the cell has no size", "give cell_width_mm and cell_height_mm")
    if stock.gap_mm < 0:
        yield _wrong(stock, f"gap_mm {stock.gap_mm:g} is below 0", "let the pieces lie apart")
    for axis, count, cell, pitch in (
        ("x", stock.columns, stock.cell_width_mm, stock.pitch_x_mm),
        ("y", stock.rows, stock.cell_height_mm, stock.pitch_y_mm),
    ):
        if count > 1 and pitch < cell - 1e-6:
            message = f"pitch_{axis}_mm {pitch:g} is below the cell's {cell:g} mm: cells overlap"
            yield _wrong(stock, message, "measure from edge to same edge of neighbours")


def _cell_wrong(stock: Stock) -> Iterator[Problem]:
    """Check what can be checked once there is a grid."""
    x, y, right, top = _field(stock)
    if x < 0 or y < -1e-6 or right > stock.page_width_mm + 1e-6 or top > stock.page_height_mm + 1e-6:
        message = (
            f"cells reach from {x:g}, {y:g} to {right:g}, {top:g} mm, "
            f"the page is {stock.page_width_mm:g} x {stock.page_height_mm:g} mm"
        )
        yield _wrong(stock, message, "measure margins, pitch and count again")
    if stock.takes == "wrap" and not 0 < stock.print_around_mm < stock.cell_height_mm:
        message = f"print_around_mm {stock.print_around_mm:g} of a cell {stock.cell_height_mm:g} mm high"
        yield _wrong(stock, message, "the printed zone is above 0 and leaves a clear tail")
    if _ruler_wrong(stock):
        message = f"the ruler at {stock.ruler_x_mm:g}, {stock.ruler_y_mm:g} mm leaves the page or meets a cell"
        fix = f"find {RULER_AREA_MM[0]:g} x {RULER_AREA_MM[1]:g} mm that are free"
        yield _wrong(stock, message, fix)


def _field(stock: Stock) -> tuple[float, float, float, float]:
    """Return left, lower, right and upper edge of the area of the cells."""
    top = stock.page_height_mm - stock.top_mm
    right = stock.left_mm + (stock.columns - 1) * stock.pitch_x_mm + stock.cell_width_mm
    if stock.kind == "card":
        return stock.left_mm, stock.bottom_mm, right, top
    return stock.left_mm, top - (stock.rows - 1) * stock.pitch_y_mm - stock.cell_height_mm, right, top


def _ruler_wrong(stock: Stock) -> bool:
    slack = 1e-6  # of sums of decimal fractions
    x, y = stock.ruler_x_mm + slack, stock.ruler_y_mm + slack
    right, top = x + RULER_AREA_MM[0] - 2 * slack, y + RULER_AREA_MM[1] - 2 * slack
    head = HEAD_STRIP_MM if stock.top_mm >= HEAD_STRIP_MM else 0.0
    if stock.ruler_x_mm <= 0 or stock.ruler_y_mm <= 0:
        return True
    if right > stock.page_width_mm or top > stock.page_height_mm - head:
        return True
    left, low, far, high = _field(stock)
    taken = cells(stock) if stock.kind == "grid" else (Cell("", left, low, far - left, high - low),)
    return any(
        x < cell.x_mm + cell.width_mm and right > cell.x_mm and y < cell.y_mm + cell.height_mm and top > cell.y_mm
        for cell in taken
    )


def _wrong(stock: Stock, message: str, fix: str) -> Problem:
    return Problem(stock.where, f'stock "{stock.name}": {message}', fix)
