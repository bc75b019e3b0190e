"""Checks: what is wrong with stocks, and with the pieces, starts and used cells that are meant for them."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import chain

from labeler.errors import LabelerError, Problem, nearest
from labeler.layout.cells import (
    HEAD_STRIP_MM,
    RULER_AREA_MM,
    TOLERANCE_MM,
    Cell,
    blocks_of,
    cell_name,
    cells,
    field_of,
    parse_cell,
    parse_cells,
)
from labeler.model import NOWHERE, Piece, Stock
from labeler.tables.stocks import largest_piece

Groups = Mapping[str, Sequence[Piece]]
Batches = Mapping[str, Groups]  # stock name -> group -> pieces


def stock_name_problems(names: Collection[str], stocks: Mapping[str, Stock]) -> Iterator[Problem]:
    """Yield a problem for each stock that is not known, and for each whose measures contradict themselves."""
    for name in names:
        if name in stocks:
            yield from stock_problems(stocks[name])
        else:
            near = nearest(name, stocks)
            fix = f'did you mean "{near}"?' if near else f"known are: {', '.join(stocks) or 'none'}"
            yield Problem(NOWHERE, f'stock "{name}" is not known', fix)


def piece_problems(batches: Batches, stocks: Mapping[str, Stock]) -> Iterator[Problem]:
    """Yield a problem for each piece that is larger than its stock takes."""
    for name, groups in batches.items():
        width, height = largest_piece(stocks[name])
        for piece in chain.from_iterable(groups.values()):
            wide, high = piece.face.width_mm, piece.face.height_mm
            name = f"{piece.marker} ({piece.label})" if piece.label else piece.marker
            size = f"{name}: piece {wide:.2f} x {high:.2f} mm"
            if not (wide > 0 and high > 0):
                yield Problem(NOWHERE, f"{size} has no size", "give it a width and a height above 0")
            elif wide > width + TOLERANCE_MM or high > height + TOLERANCE_MM:
                limits = " x ".join(f"{limit:g}" if math.isfinite(limit) else "any" for limit in (width, height))
                message = f'{size} is too large, "{piece.stock}" takes {limits} mm'
                yield Problem(NOWHERE, message, "choose a stock with larger cells, or a shorter or narrower piece")


def cell_problems(
    option: str, named: Mapping[str, Collection[str]], batches: Batches, stocks: Mapping[str, Stock]
) -> Iterator[Problem]:
    """Yield a problem for each cell that its stock does not have; ``option`` is what names it: start, used."""
    for name, given in named.items():
        stock = stocks[name]
        if stock.kind == "reel":
            message = f'{option} "{", ".join(given)}": stock "{name}" is a reel and has no cells'
            yield Problem(NOWHERE, message, f"leave {'the start' if option == 'start' else 'them'} out")
        else:
            yield from _cells_outside(option, given, stock, _rows(stock, batches.get(name, {})))


def _cells_outside(option: str, given: Collection[str], stock: Stock, rows: int) -> Iterator[Problem]:
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
        message = f'{option} {which} outside stock "{stock.name}", whose cells are A1 to {last}'
        yield Problem(NOWHERE, message, "name cells of it")


def _rows(stock: Stock, groups: Groups) -> int:
    """Return the rows of the first page; at least one, where nothing says how many a card has."""
    height = max((piece.face.height_mm for piece in next(iter(groups.values()), ())), default=None)
    return max(1, len(cells(stock, height)) // stock.columns)


# ---------------------------------------------------------------- a stock's own measures


@lru_cache(maxsize=256)
def stock_problems(stock: Stock) -> tuple[Problem, ...]:
    """Return what in a stock's measures contradicts itself, beside what `read_stock` refuses of its file."""
    return tuple(_contradictions(stock))


def _contradictions(stock: Stock) -> Iterator[Problem]:
    if stock.kind == "reel":
        if stock.page_width_mm and stock.leader_mm >= stock.page_width_mm:
            message = f"leader_mm {stock.leader_mm:g} leaves nothing of a strip of {stock.page_width_mm:g} mm"
            yield _problem(stock, message, "make the leader shorter, or the strip longer")
        return
    if not stock.cell_width_mm > 0:
        yield _problem(stock, "the cell has no size", "give cell_width_mm and cell_height_mm")
        return
    if stock.marker == "wrap" and not stock.print_zone_mm < stock.cell_height_mm:
        message = f"print_zone_mm {stock.print_zone_mm:g} of a cell {stock.cell_height_mm:g} mm high"
        yield _problem(stock, message, "the printed zone is above 0 and leaves a clear tail")
    if stock.kind != "roll" and _ruler_collides(stock):
        message = f"the ruler at {stock.ruler_x_mm:g}, {stock.ruler_y_mm:g} mm leaves the page or meets a cell"
        yield _problem(stock, message, f"find {RULER_AREA_MM[0]:g} x {RULER_AREA_MM[1]:g} mm that are free")
    if stock.blocked_cells:
        yield from _used_problems(stock)


def _used_problems(stock: Stock) -> Iterator[Problem]:
    if stock.kind == "card":
        yield _problem(stock, "a card has no cells of its own that could be used", "leave blocked_cells out")
        return
    try:
        named = parse_cells(stock.blocked_cells)
    except LabelerError as error:
        yield from (_problem(stock, f"blocked_cells: {problem.message}", problem.fix) for problem in error.problems)
        return
    yield from _cells_outside("blocked_cells", named, stock, stock.rows)
    if {cell.name for cell in cells(stock)} <= set(named):
        yield _problem(stock, f'blocked_cells "{stock.blocked_cells}" leaves no cell to print', "leave a cell free")


def _ruler_collides(stock: Stock) -> bool:
    """Return whether the ruler leaves the page, or lies on the header or a cell."""
    slack = 1e-6  # of sums of decimal fractions
    x, y = stock.ruler_x_mm + slack, stock.ruler_y_mm + slack
    right, top = x + RULER_AREA_MM[0] - 2 * slack, y + RULER_AREA_MM[1] - 2 * slack
    head = HEAD_STRIP_MM if stock.top_margin_mm >= HEAD_STRIP_MM else 0.0
    beyond = right > stock.page_width_mm or top > stock.page_height_mm - head
    if beyond or stock.ruler_x_mm <= 0 or stock.ruler_y_mm <= 0:
        return True
    left, low, far, high = field_of(stock)
    taken = cells(stock) if stock.kind == "sheet" else (Cell("", left, low, far - left, high - low),)
    return any(
        x < cell.x_mm + cell.width_mm and right > cell.x_mm and y < cell.y_mm + cell.height_mm and top > cell.y_mm
        for cell in taken
    )


def _problem(stock: Stock, message: str, fix: str) -> Problem:
    return Problem(stock.where, f'stock "{stock.name}": {message}', fix)
