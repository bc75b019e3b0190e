"""Place: every piece gets a place on a sheet of its stock."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

from labeler.errors import LabelerError, Problem, refuse
from labeler.layout.cells import (
    TOLERANCE_MM,
    Cell,
    cell_name,
    cells,
    cells_wrong,
    parse_cell,
    parse_cells,
    pieces_wrong,
    unknown_or_wrong,
)
from labeler.model import NOWHERE, Piece, Placed, Sheet, Stock

MOST_LENGTHS = 4  # cut lengths that a header lists one by one; of more it says from … to: project choice

_Batch = dict[str, dict[str, list[Piece]]]  # stock name -> group -> pieces


class _Page(NamedTuple):
    width_mm: float
    height_mm: float
    placed: tuple[Placed, ...]
    group: str = ""
    about: str = ""


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
    batches: _Batch = {}
    for piece in pieces:
        batches.setdefault(piece.stock, {}).setdefault(piece.group, []).append(piece)
    refuse(unknown_or_wrong(tuple(dict.fromkeys((*batches, *start, *used))), stocks))
    starts = {name: (cell,) for name, cell in start.items()}
    refuse(
        chain(
            pieces_wrong(batches, stocks),
            cells_wrong("start", starts, batches, stocks),
            cells_wrong("used", used, batches, stocks),
        )
    )
    sheets: list[Sheet] = []
    for name, groups in batches.items():
        taken = taken_cells(stocks[name], start.get(name, ""), used.get(name, ()))
        for page in _pages(stocks[name], groups, taken):
            number = first_number + len(sheets)
            group = page.group or _one_group(page.placed)
            sheets.append(Sheet(stocks[name], number, page.width_mm, page.height_mm, group, page.placed, page.about))
    return tuple(sheets)


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
        if sheet.stock.kind == "grid":
            by_stock.setdefault(sheet.stock.name, []).append(sheet)
    left: dict[str, tuple[str, ...]] = {}
    for name, those in by_stock.items():
        here = {placed.cell for placed in those[-1].placed} | (set(taken.get(name, ())) if len(those) == 1 else set())
        known = [cell.name for cell in _free(cells(those[-1].stock), frozenset(parse_cells(those[-1].stock.used)))]
        used = tuple(cell for cell in known if cell in here)
        left[name] = used if len(used) < len(known) else ()
    return left


# ---------------------------------------------------------------- pages


def _pages(stock: Stock, groups: Mapping[str, list[Piece]], taken: frozenset[str]) -> Iterator[_Page]:
    """Yield the pages of one stock."""
    if stock.kind == "reel":
        for group, pieces in groups.items():
            yield from _strips(stock, group, pieces) if stock.page_width_mm else _single(stock, group, pieces)
        return
    if stock.kind == "roll" and stock.leader_mm:
        together = _one_of(groups)
        for _ in range(math.ceil(stock.leader_mm / stock.page_height_mm - 1e-9)):
            yield _Page(stock.page_width_mm, stock.page_height_mm, (), together, _count(groups))
    for pieces in _loaded_together(stock, groups):
        table = cells(stock, _highest(pieces))
        for placed in _fill(stock, table, pieces, taken):
            about = _lengths(each.piece for each in placed) if stock.takes == "sleeve" else ""
            yield _Page(stock.page_width_mm, stock.page_height_mm, placed, "", about)
        taken = frozenset()


def _single(stock: Stock, group: str, pieces: Sequence[Piece]) -> Iterator[_Page]:
    """A page for each piece, and before them one for the header."""
    about = _lengths(pieces)
    if stock.leader_mm:
        yield _Page(stock.leader_mm, _highest(pieces), (), group, about)
    for piece in pieces:
        yield _Page(piece.face.width_mm, piece.face.height_mm, (Placed(piece, "A1", 0.0, 0.0),), group, about)


def _strips(stock: Stock, group: str, pieces: Sequence[Piece]) -> Iterator[_Page]:
    """Strips of one tube, each with its header before the pieces; a strip is as long as what is on it."""
    height, done = _highest(pieces), 0
    while done < len(pieces):
        placed: list[Placed] = []
        x = stock.leader_mm
        for piece in pieces[done:]:
            at = x + stock.gap_mm if placed else x
            if placed and at + piece.face.width_mm > stock.page_width_mm + TOLERANCE_MM:
                break
            spare = height - piece.face.height_mm
            placed.append(Placed(piece, cell_name(len(placed), 0), round(at, 6), spare))
            x = at + piece.face.width_mm
        done += len(placed)
        yield _Page(round(x, 6), height, tuple(placed), group, _lengths(each.piece for each in placed))


def _loaded_together(stock: Stock, groups: Mapping[str, list[Piece]]) -> list[list[Piece]]:
    if stock.kind == "card":
        return list(groups.values())
    return [list(chain.from_iterable(groups.values()))]


def _fill(
    stock: Stock, table: tuple[Cell, ...], pieces: Sequence[Piece], taken: frozenset[str]
) -> Iterator[tuple[Placed, ...]]:
    never = frozenset(parse_cells(stock.used))
    every, page = _free(table, never), _free(table, never | taken)
    if not page:
        message = f'every cell of the first sheet of "{stock.name}" is used'
        raise LabelerError(Problem(NOWHERE, message, "leave the used cells out, and take a new sheet"))
    if stock.kind == "card" and stock.columns == 1:
        yield from _line_up(stock, page, every, pieces)
        return
    done = 0
    while done < len(pieces):
        here = pieces[done : done + len(page)]
        yield tuple(_place(piece, cell) for piece, cell in zip(here, page, strict=False))
        done += len(page)
        page = every


def _free(table: tuple[Cell, ...], taken: frozenset[str]) -> tuple[Cell, ...]:
    return tuple(cell for cell in table if cell.name not in taken) if taken else table


@dataclass
class _Slot:
    """A row on a card while it is filled: number, upper edge, height, and where what lies in it ends [mm]."""

    number: int
    top: float
    height: float
    end: float
    placed: list[Placed]


class _Card:
    """A card of one column while it is filled. Its slots are as high as what lies in them."""

    def __init__(self, free: tuple[Cell, ...], gap: float, foot: float) -> None:
        self.gap = gap
        self.left, self.far = free[0].x_mm, free[0].x_mm + free[0].width_mm + TOLERANCE_MM
        self.slots: list[_Slot] = []
        self.bands = _bands(free, gap)  # free stretches down the card: first row, upper and lower edge
        self.bands[-1] = (*self.bands[-1][:2], min(self.bands[-1][2], foot))
        self.band = 0

    def add(self, piece: Piece) -> bool:
        """Put a piece into the first slot that has room for it, else into a new one; say whether there was any."""
        face = piece.face
        slot = next((s for s in self.slots if self._has_room(s, piece)), None) or self._new_slot(face.height_mm)
        if slot is None:
            return False
        slot.height = max(slot.height, face.height_mm)
        at = slot.end + self.gap if slot.placed else self.left
        name = cell_name(len(slot.placed), slot.number)
        slot.placed.append(Placed(piece, name, round(at, 6), slot.top - face.height_mm))
        slot.end = at + face.width_mm
        return True

    def _has_room(self, slot: _Slot, piece: Piece) -> bool:
        if slot.end + self.gap + piece.face.width_mm > self.far:
            return False
        if piece.face.height_mm <= slot.height + TOLERANCE_MM:
            return True
        return slot is self.slots[-1] and slot.top - piece.face.height_mm >= self.bands[self.band][2] - TOLERANCE_MM

    def _new_slot(self, height: float) -> _Slot | None:
        while self.band < len(self.bands):
            first, top, low = self.bands[self.band]
            last = self.slots[-1] if self.slots else None
            if last is not None and last.top <= top + 1e-6:  # there are slots in this band already
                first, top = last.number + 1, last.top - last.height - self.gap
            elif last is not None:
                first = max(first, last.number + 1)
            if top - height >= low - TOLERANCE_MM:
                self.slots.append(_Slot(first, top, height, self.left, []))
                return self.slots[-1]
            self.band += 1
        return None

    def placed(self) -> tuple[Placed, ...]:
        """Return what lies on the card, slot by slot."""
        return tuple(chain.from_iterable(slot.placed for slot in self.slots))


def _bands(free: tuple[Cell, ...], gap: float) -> list[tuple[int, float, float]]:
    """Return the stretches of free rows that lie under one another: first row, upper and lower edge."""
    bands: list[tuple[int, float, float]] = []
    for cell in free:
        top = cell.y_mm + cell.height_mm
        if bands and top > bands[-1][2] - gap - 1e-6:
            bands[-1] = (*bands[-1][:2], cell.y_mm)
        else:
            bands.append((parse_cell(cell.name)[1], top, cell.y_mm))
    return bands


def _line_up(
    stock: Stock, page: tuple[Cell, ...], every: tuple[Cell, ...], pieces: Sequence[Piece]
) -> Iterator[tuple[Placed, ...]]:
    """Pieces one after another in the slots of cards, each in the first slot that has room for it."""
    card = _Card(page, stock.gap_mm, stock.bottom_mm if page[-1] == every[-1] else page[-1].y_mm)
    for piece in pieces:
        if not card.add(piece):
            if card.slots:
                yield card.placed()
            card = _Card(every, stock.gap_mm, stock.bottom_mm)
            card.add(piece)
    yield card.placed()


def _place(piece: Piece, cell: Cell) -> Placed:
    spare = cell.height_mm - piece.face.height_mm
    return Placed(piece, cell.name, cell.x_mm, cell.y_mm + spare)


def _highest(pieces: Sequence[Piece]) -> float:
    return max(piece.face.height_mm for piece in pieces)


def _one_group(placed: tuple[Placed, ...]) -> str:
    """Return the group that all the pieces share, or nothing."""
    return _one_of({each.piece.group for each in placed})


def _one_of(names: Collection[str]) -> str:
    return next(iter(names)) if len(names) == 1 else ""


# ---------------------------------------------------------------- what the header says


def _lengths(pieces: Iterator[Piece] | Sequence[Piece]) -> str:
    """Return what is to be cut: "cut 4 x 30, 2 x 45 mm"."""
    counted = Counter(round(piece.face.width_mm, 2) for piece in pieces)
    if len(counted) > MOST_LENGTHS:
        return f"cut {counted.total()} of {min(counted):g} to {max(counted):g} mm"
    return "cut " + ", ".join(f"{count} x {length:g}" for length, count in sorted(counted.items())) + " mm"


def _count(groups: Mapping[str, Sequence[Piece]]) -> str:
    count = sum(map(len, groups.values()))
    return f"{count} marker{'' if count == 1 else 's'}"
