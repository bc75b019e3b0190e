"""Place: every piece gets a place on a sheet of its stock."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain, count

from labeler.errors import LabelerError, Problem, refuse
from labeler.layout.cells import TOLERANCE_MM, Cell, cell_name, cells, parse_cell, parse_cells
from labeler.layout.checks import Groups, cell_problems, piece_problems, stock_name_problems
from labeler.model import NOWHERE, Piece, Placed, Sheet, Stock

MAX_LENGTHS = 4  # cut lengths that a header lists one by one; of more it says from … to: project choice


def lay_out(
    pieces: Sequence[Piece],
    stocks: Mapping[str, Stock],
    start: Mapping[str, str] | None = None,
    first_number: int = 1,
    used: Mapping[str, Collection[str]] | None = None,
) -> tuple[Sheet, ...]:
    """Place every piece on a sheet of its stock.

    Stocks follow one another in the order in which the pieces first ask for them, and so do the
    groups within a stock; within a group the pieces keep the order given. On a grid the groups just
    follow; on a card each group begins a new sheet; on a reel each piece is a sheet, or, where
    ``page_width_mm`` is the longest strip, each strip; strips hold one group. Where a reel or a roll
    has a leader, it carries the header: on a strip before the pieces, else as sheets without any.

    A piece that is smaller than its cell stands at the cell's upper left: there a wrap has its
    printed zone. On a card the cell is as high as the highest piece of the group; on a card of one
    column the pieces lie one after another in slots as high as what lies in them, each piece in the
    first that has room for it.

    Parameters
    ----------
    pieces : what to place, matched ends side by side.
    stocks : by name, at least those that the pieces name.
    start : for a stock's name the cell (``B3``) where its first sheet begins: a sheet partly used.
    first_number : number of the first sheet.
    used : for a stock's name the cells of its first sheet that are used already.

    Raises
    ------
    LabelerError : all at once: unknown stocks, stocks whose measures contradict each other, pieces
        that are larger than their cell, starts and used cells outside the page, no free cell.
    """
    start, used = start or {}, used or {}
    batches: dict[str, dict[str, list[Piece]]] = {}
    for piece in pieces:
        batches.setdefault(piece.stock, {}).setdefault(piece.load, []).append(piece)
    refuse(stock_name_problems(tuple(dict.fromkeys((*batches, *start, *used))), stocks))
    starts = {name: (cell,) for name, cell in start.items()}
    refuse(
        chain(
            piece_problems(batches, stocks),
            cell_problems("start", starts, batches, stocks),
            cell_problems("used", used, batches, stocks),
        )
    )
    numbers = count(first_number)
    return tuple(
        sheet
        for name, groups in batches.items()
        for sheet in _sheets(
            stocks[name], groups, taken_cells(stocks[name], start.get(name, ""), used.get(name, ())), numbers
        )
    )


def taken_cells(stock: Stock, start: str = "", used: Collection[str] = ()) -> frozenset[str]:
    """Return the cells of a stock's first sheet that are not printed: those before ``start``, and the used ones."""
    column, row = parse_cell(start) if start else (0, 0)
    before = (cell_name(*divmod(i, stock.columns)[::-1]) for i in range(row * stock.columns + column))
    return frozenset((*before, *(cell_name(*parse_cell(name)) for name in used)))


def used_after(sheets: Sequence[Sheet], taken: Mapping[str, Collection[str]]) -> dict[str, tuple[str, ...]]:
    """Return, for every stock of cells, the cells of its last sheet that are used now; none: that sheet is full.

    ``taken`` are the cells of each stock's first sheet that were not printed.
    """
    by_stock: dict[str, list[Sheet]] = {}
    for sheet in sheets:
        if sheet.stock.kind == "sheet":
            by_stock.setdefault(sheet.stock.name, []).append(sheet)
    left: dict[str, tuple[str, ...]] = {}
    for name, those in by_stock.items():
        here = {placed.cell for placed in those[-1].placed} | (set(taken.get(name, ())) if len(those) == 1 else set())
        known = [
            cell.name for cell in _free(cells(those[-1].stock), frozenset(parse_cells(those[-1].stock.blocked_cells)))
        ]
        used = tuple(cell for cell in known if cell in here)
        left[name] = used if len(used) < len(known) else ()
    return left


# ---------------------------------------------------------------- the sheets of one stock


def _sheets(stock: Stock, groups: Groups, taken: frozenset[str], numbers: Iterator[int]) -> Iterator[Sheet]:
    """Yield the sheets of one stock; ``taken`` are the cells of the first that are not printed."""
    if stock.kind == "reel":
        for group, pieces in groups.items():
            yield from (_strips if stock.page_width_mm else _single)(stock, group, pieces, numbers)
        return
    page = partial(Sheet, stock, width_mm=stock.page_width_mm, height_mm=stock.page_height_mm)
    if stock.kind == "roll" and stock.leader_mm:
        markers = sum(map(len, groups.values()))
        about = f"{markers} marker{'' if markers == 1 else 's'}"
        for _ in range(math.ceil(stock.leader_mm / stock.page_height_mm - 1e-9)):
            yield page(number=next(numbers), load=_only(groups), about=about)
    loads = groups.values() if stock.kind == "card" else [[*chain.from_iterable(groups.values())]]
    for pieces in loads:
        for placed in _fill(stock, cells(stock, _highest(pieces)), pieces, taken):
            group = _only({each.piece.load for each in placed})
            about = _lengths(each.piece for each in placed) if stock.marker == "sleeve" else ""
            yield page(number=next(numbers), load=group, placed=placed, about=about)
        taken = frozenset()


def _single(stock: Stock, group: str, pieces: Sequence[Piece], numbers: Iterator[int]) -> Iterator[Sheet]:
    """Yield a sheet for each piece, and before them one for the header."""
    about = _lengths(pieces)
    if stock.leader_mm:
        yield Sheet(stock, next(numbers), stock.leader_mm, _highest(pieces), group, (), about)
    for piece in pieces:
        face, placed = piece.face, (Placed(piece, "A1", 0.0, 0.0),)
        yield Sheet(stock, next(numbers), face.width_mm, face.height_mm, group, placed, about)


def _strips(stock: Stock, group: str, pieces: Sequence[Piece], numbers: Iterator[int]) -> Iterator[Sheet]:
    """Yield strips of one tube, each with its header before the pieces; a strip is as long as what is on it."""
    height, first = _highest(pieces), 0
    while first < len(pieces):
        placed: list[Placed] = []
        x = stock.leader_mm
        for piece in pieces[first:]:
            at = x + stock.gap_mm if placed else x
            if placed and at + piece.face.width_mm > stock.page_width_mm + TOLERANCE_MM:
                break
            placed.append(Placed(piece, cell_name(len(placed), 0), round(at, 6), height - piece.face.height_mm))
            x = at + piece.face.width_mm
        first += len(placed)
        about = _lengths(each.piece for each in placed)
        yield Sheet(stock, next(numbers), round(x, 6), height, group, tuple(placed), about)


def _fill(
    stock: Stock, table: tuple[Cell, ...], pieces: Sequence[Piece], taken: frozenset[str]
) -> Iterator[tuple[Placed, ...]]:
    """Yield what lies on each page of cells, on the first one not in those that are ``taken``."""
    blocked = frozenset(parse_cells(stock.blocked_cells))
    every, page = _free(table, blocked), _free(table, blocked | taken)
    if not page:
        message = f'every cell of the first sheet of "{stock.name}" is used'
        raise LabelerError(Problem(NOWHERE, message, "leave the used cells out, and take a new sheet"))
    slots = stock.kind == "card" and stock.columns == 1
    first = 0
    while first < len(pieces):
        if slots:
            foot = stock.bottom_margin_mm if page[-1] == every[-1] else page[-1].y_mm
            placed = _in_slots(pieces[first:], page, stock.gap_mm, foot)
        else:
            placed = tuple(
                Placed(piece, cell.name, cell.x_mm, cell.y_mm + (cell.height_mm - piece.face.height_mm))
                for piece, cell in zip(pieces[first : first + len(page)], page, strict=False)
            )
        if placed:
            yield placed
        first += len(placed)
        page = every


def _free(table: tuple[Cell, ...], taken: frozenset[str]) -> tuple[Cell, ...]:
    return tuple(cell for cell in table if cell.name not in taken) if taken else table


# ---------------------------------------------------------------- the slots of a card


@dataclass
class _Slot:
    """A row of a card while it is filled [mm]: upper edge, lower edge of its band, where what lies in it ends."""

    number: int
    top: float
    low: float
    height: float
    end: float
    placed: list[Placed]


def _in_slots(pieces: Sequence[Piece], free: tuple[Cell, ...], gap: float, foot: float) -> tuple[Placed, ...]:
    """Return as many pieces as go on a card of one column, each in the first slot that has space for it.

    Slots are as high as what lies in them; the last one may still grow.
    """
    left, far = free[0].x_mm, free[0].x_mm + free[0].width_mm + TOLERANCE_MM
    bands = _bands(free, gap)
    bands[-1] = (*bands[-1][:2], min(bands[-1][2], foot))
    slots: list[_Slot] = []

    def takes(slot: _Slot, width: float, height: float) -> bool:
        if slot.end + gap + width > far:
            return False
        grows = slot is slots[-1] and slot.top - height >= slot.low - TOLERANCE_MM
        return height <= slot.height + TOLERANCE_MM or grows

    for piece in pieces:
        width, height = piece.face.width_mm, piece.face.height_mm
        slot = next((slot for slot in slots if takes(slot, width, height)), None)
        if slot is None:
            slot = _next_slot(bands, slots[-1] if slots else None, gap, left, height)
            if slot is None:
                break
            slots.append(slot)
        slot.height = max(slot.height, height)
        at = slot.end + gap if slot.placed else left
        name = cell_name(len(slot.placed), slot.number)
        slot.placed.append(Placed(piece, name, round(at, 6), slot.top - height))
        slot.end = at + width
    return tuple(chain.from_iterable(slot.placed for slot in slots))


Band = tuple[int, float, float]  # of free rows that lie under one another: first row, upper and lower edge


def _bands(free: tuple[Cell, ...], gap: float) -> list[Band]:
    bands: list[Band] = []
    for cell in free:
        top = cell.y_mm + cell.height_mm
        if bands and top > bands[-1][2] - gap - 1e-6:
            bands[-1] = (*bands[-1][:2], cell.y_mm)
        else:
            bands.append((parse_cell(cell.name)[1], top, cell.y_mm))
    return bands


def _next_slot(bands: Sequence[Band], last: _Slot | None, gap: float, left: float, height: float) -> _Slot | None:
    """Return the slot under the last one, in its band or in one below it; None where there is no space."""
    for first, top, low in bands:
        if last and low >= last.low:
            if low > last.low:
                continue
            top = last.top - last.height - gap
        number = max(first, last.number + 1) if last else first
        if top - height >= low - TOLERANCE_MM - 1e-9:  # what `piece_problems` lets pass goes on an empty card
            return _Slot(number, top, low, height, left, [])
    return None


# ---------------------------------------------------------------- what the header says


def _highest(pieces: Sequence[Piece]) -> float:
    return max(piece.face.height_mm for piece in pieces)


def _only(names: Collection[str]) -> str:
    """Return the name that is the only one, or nothing."""
    return next(iter(names)) if len(names) == 1 else ""


def _lengths(pieces: Iterable[Piece]) -> str:
    """Return what is to be cut: "cut 4 x 30, 2 x 45 mm"."""
    counted = Counter(round(piece.face.width_mm, 2) for piece in pieces)
    if len(counted) > MAX_LENGTHS:
        return f"cut {counted.total()} of {min(counted):g} to {max(counted):g} mm"
    return "cut " + ", ".join(f"{count} x {length:g}" for length, count in sorted(counted.items())) + " mm"
