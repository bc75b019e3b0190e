"""The cells of a page: where they are, what they are called."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import chain, groupby
from typing import NamedTuple

from labeler.errors import LabelerError, Problem, nearest, on_one_line
from labeler.model import NOWHERE, Piece, Stock
from labeler.tables.stocks import largest_piece

# ---------------------------------------------------------------- The cells of a page


TOLERANCE_MM = 0.01
"""A piece may exceed its cell by this much: the rounding of sizes, no more than a printer's dot."""

MOST_CELLS = 10_000
"""Of one block that is named: more are a slip of the pen (project choice)."""

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
    if stock.kind in ("grid", "roll"):
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


def field_of(stock: Stock) -> tuple[float, float, float, float]:
    """Return left, lower, right and upper edge of the area of the cells [mm]."""
    top = stock.page_height_mm - stock.top_mm
    right = stock.left_mm + (stock.columns - 1) * stock.pitch_x_mm + stock.cell_width_mm
    if stock.kind == "card":
        return stock.left_mm, stock.bottom_mm, right, top
    return stock.left_mm, top - (stock.rows - 1) * stock.pitch_y_mm - stock.cell_height_mm, right, top


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
        if (abs(right - left) + 1) * (abs(low - top) + 1) > MOST_CELLS:
            message = f'"{part}" is more than {MOST_CELLS} cells'
            raise LabelerError(Problem(NOWHERE, message, "name two corners of a block, such as A1-B3"))
        for row in range(min(top, low), max(top, low) + 1):
            names |= {cell_name(column, row): None for column in range(min(left, right), max(left, right) + 1)}
    return tuple(names)


# ---------------------------------------------------------------- wrong


RULER_MM = 50.0
RULER_AREA_MM = (94.0, 3.0)
"""What the ruler and the words beside it take, from its lower left corner: no cell may lie there."""

HEAD_STRIP_MM = 9.0
"""The header line stands within this distance of the page's upper edge, where ``top_mm`` leaves it free."""

Groups = Mapping[str, Sequence[Piece]]
Batches = Mapping[str, Groups]  # stock name -> group -> pieces


def unknown_or_wrong(names: Collection[str], stocks: Mapping[str, Stock]) -> Iterator[Problem]:
    """Yield a problem for each stock that is not known, and for each whose measures contradict themselves."""
    for name in names:
        if name in stocks:
            yield from stock_problems(stocks[name])
        else:
            near = nearest(name, stocks)
            fix = f'did you mean "{near}"?' if near else f"known are: {', '.join(stocks) or 'none'}"
            yield Problem(NOWHERE, f'stock "{name}" is not known', fix)


def pieces_wrong(batches: Batches, stocks: Mapping[str, Stock]) -> Iterator[Problem]:
    """Yield a problem for each piece that is larger than its stock takes."""
    for name, groups in batches.items():
        width, height = largest(stocks[name])
        for piece in chain.from_iterable(groups.values()):
            face = piece.face
            if not (0 < face.width_mm <= width and 0 < face.height_mm <= height):
                yield _oversize(piece, width - TOLERANCE_MM, height - TOLERANCE_MM)


def largest(stock: Stock) -> tuple[float, float]:
    """Return the largest piece that the stock takes, tolerance included [mm]."""
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


def cells_wrong(
    word: str, named: Mapping[str, Collection[str]], batches: Batches, stocks: Mapping[str, Stock]
) -> Iterator[Problem]:
    """Yield a problem for each cell that its stock does not have; ``word`` says what was given: start, used."""
    for name, given in named.items():
        stock = stocks[name]
        if stock.kind == "reel":
            message = f'{word} "{", ".join(given)}": stock "{name}" is a reel and has no cells'
            yield Problem(NOWHERE, message, f"leave {'the start' if word == 'start' else 'them'} out")
            continue
        yield from _cells_outside(word, given, stock, _rows(stock, batches.get(name, {})))


def _cells_outside(word: str, given: Collection[str], stock: Stock, rows: int) -> Iterator[Problem]:
    outside = []
    for cell in given:
        try:
            column, row = parse_cell(cell)
        except LabelerError as error:
            yield from error.problems
            continue
        if column >= stock.columns or row >= rows:
            outside.append(cell)
    if outside:
        last = cell_name(stock.columns - 1, rows - 1)
        which = f'"{blocks_of(outside)}" {"are" if len(outside) > 1 else "is"}'
        message = f'{word} {which} outside stock "{stock.name}", whose cells are A1 to {last}'
        yield Problem(NOWHERE, message, "name cells of it")


def _rows(stock: Stock, groups: Groups) -> int:
    """Return the rows of the first page; at least one, where nothing says how many a card has."""
    first = next(iter(groups.values()), [])
    height = max(piece.face.height_mm for piece in first) if first else None
    return max(1, len(cells(stock, height)) // stock.columns)


# ---------------------------------------------------------------- a stock's own measures


@lru_cache(maxsize=256)
def stock_problems(stock: Stock) -> tuple[Problem, ...]:
    """Return what in a stock's measures contradicts itself: a file written by hand is often off."""
    if stock.kind not in ("grid", "roll", "card", "reel"):
        fix = "write grid, roll, card or reel"
        return (_wrong(stock, f'kind "{stock.kind}" is not known', fix),)
    if stock.kind == "reel":
        return tuple(_strip_wrong(stock))
    return tuple(_grid_wrong(stock)) or tuple(_cell_wrong(stock))


def _strip_wrong(stock: Stock) -> Iterator[Problem]:
    if stock.gap_mm < 0:
        yield _wrong(stock, f"gap_mm {stock.gap_mm:g} is below 0", "let the pieces lie apart")
    if stock.page_width_mm and stock.leader_mm >= stock.page_width_mm:
        message = f"leader_mm {stock.leader_mm:g} leaves nothing of a strip of {stock.page_width_mm:g} mm"
        yield _wrong(stock, message, "make the leader shorter, or the strip longer")


def _grid_wrong(stock: Stock) -> Iterator[Problem]:
    own_height = stock.kind in ("grid", "roll")
    if stock.columns < 1 or stock.rows < 1:
        yield _wrong(stock, f"{stock.columns} columns and {stock.rows} rows", "have at least one of each")
    if not stock.cell_width_mm > 0 or (own_height and not stock.cell_height_mm > 0):
        yield _wrong(stock, "the cell has no size", "give cell_width_mm and cell_height_mm")
    if stock.gap_mm < 0:
        yield _wrong(stock, f"gap_mm {stock.gap_mm:g} is below 0", "let the pieces lie apart")
    for axis, count, cell, pitch in (
        ("x", stock.columns, stock.cell_width_mm, stock.pitch_x_mm),
        ("y", stock.rows if own_height else 1, stock.cell_height_mm, stock.pitch_y_mm),
    ):
        if count > 1 and pitch < cell - 1e-6:
            message = f"pitch_{axis}_mm {pitch:g} is below the cell's {cell:g} mm: cells overlap"
            yield _wrong(stock, message, "measure from edge to same edge of neighbours")


def _cell_wrong(stock: Stock) -> Iterator[Problem]:
    """Check what can be checked once there is a grid."""
    x, y, right, top = field_of(stock)
    if x < 0 or y < -1e-6 or right > stock.page_width_mm + 1e-6 or top > stock.page_height_mm + 1e-6:
        message = (
            f"cells reach from {x:g}, {y:g} to {right:g}, {top:g} mm, "
            f"the page is {stock.page_width_mm:g} x {stock.page_height_mm:g} mm"
        )
        yield _wrong(stock, message, "measure margins, pitch and count again")
    if stock.takes == "wrap" and not 0 < stock.print_around_mm < stock.cell_height_mm:
        message = f"print_around_mm {stock.print_around_mm:g} of a cell {stock.cell_height_mm:g} mm high"
        yield _wrong(stock, message, "the printed zone is above 0 and leaves a clear tail")
    if stock.kind != "roll" and _ruler_wrong(stock):
        message = f"the ruler at {stock.ruler_x_mm:g}, {stock.ruler_y_mm:g} mm leaves the page or meets a cell"
        fix = f"find {RULER_AREA_MM[0]:g} x {RULER_AREA_MM[1]:g} mm that are free"
        yield _wrong(stock, message, fix)
    yield from _used_wrong(stock)


def _used_wrong(stock: Stock) -> Iterator[Problem]:
    if not stock.used:
        return
    if stock.kind == "card":
        yield _wrong(stock, "a card has no cells of its own that could be used", "leave used out")
        return
    try:
        named = parse_cells(stock.used)
    except LabelerError as error:
        yield from (_wrong(stock, f"used: {problem.message}", problem.fix) for problem in error.problems)
        return
    yield from cells_wrong("used", {stock.name: named}, {}, {stock.name: stock})
    if {cell.name for cell in cells(stock)} <= set(named):
        yield _wrong(stock, f'used "{stock.used}" leaves no cell to print', "leave a cell free")


def _ruler_wrong(stock: Stock) -> bool:
    slack = 1e-6  # of sums of decimal fractions
    x, y = stock.ruler_x_mm + slack, stock.ruler_y_mm + slack
    right, top = x + RULER_AREA_MM[0] - 2 * slack, y + RULER_AREA_MM[1] - 2 * slack
    head = HEAD_STRIP_MM if stock.top_mm >= HEAD_STRIP_MM else 0.0
    if stock.ruler_x_mm <= 0 or stock.ruler_y_mm <= 0:
        return True
    if right > stock.page_width_mm or top > stock.page_height_mm - head:
        return True
    left, low, far, high = field_of(stock)
    taken = cells(stock) if stock.kind == "grid" else (Cell("", left, low, far - left, high - low),)
    return any(
        x < cell.x_mm + cell.width_mm and right > cell.x_mm and y < cell.y_mm + cell.height_mm and top > cell.y_mm
        for cell in taken
    )


def _wrong(stock: Stock, message: str, fix: str) -> Problem:
    return Problem(stock.where, f'stock "{stock.name}": {message}', fix)
