"""Tables of a typeset sheet: rows drawn one after another as they come, that go on overleaf under the same heads.

A table is asked for its rows while it is drawn, so that a long one takes no more memory than a short one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from labeler.draw.cells import Cell, Placed, Stack, Text
from labeler.draw.documents import compress_last
from labeler.draw.words import NO_BREAK, PLAIN, Setter, bold, plain

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

GAP_PT = 5.5
HEADS_PT, ROW_PT, FEWEST_ROWS = 38.0, 16.5, 6
"""Heads of a listing, a row with a box; a connector begins overleaf where fewer rows have room."""

TALL_PT = 150.0
"""A row up to this height moves overleaf as a whole (project choice: a fifth of the page)."""

TITLE_PT, HEAD_PT, NOTE_PT, SMALL_PT, SOURCE_PT = 16.0, 11.0, 7.5, 7.0, 6.0
HEAVY_PT, MIDDLE_PT, THIN_PT = 1.4, 0.8, 0.4
GREY = 0.5


# ---------------------------------------------------------------- tables


@dataclass(frozen=True, slots=True)
class Row:
    """One row. The last of its cells has the room of those that are missing behind it.

    ``above`` and ``below`` are the widths of the rules over and under it, a thin one is grey; ``pads``
    are left, right, top and bottom of every cell, points.
    """

    cells: Sequence[Cell | None]
    above: float = 0.0
    below: float = THIN_PT
    pads: tuple[float, float, float, float] = (2.0, 2.0, 2.2, 2.4)
    at_top: bool = False  # where its cells stand; else in the middle


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads that are repeated on every page; the first ``outside`` of the heads stand outside the frame."""

    widths: tuple[float, ...]
    rows: Iterable[Row]
    heads: tuple[Row, ...] = ()
    outside: int = 1
    framed: bool = False
    parted: bool = False  # thin rules between its columns
    gap: float = 0.0  # above it, points
    at_least: float = 0.0  # begins overleaf where there is less room


@dataclass(frozen=True, slots=True)
class Together:
    """Tables that stay on one page where a page has room for them."""

    tables: tuple[Table, ...]


class NewPage:
    """What follows begins a page."""


Part = Table | Together | NewPage


@dataclass(frozen=True, slots=True)
class _SetRow:
    row: Row
    cells: tuple[tuple[float, Placed], ...]  # left edge, what stands there
    inside: float  # height of the highest

    @property
    def height(self) -> float:
        return self.inside + self.row.pads[2] + self.row.pads[3]


@dataclass(slots=True)
class Flow:
    """Puts parts on pages, one below the other, in a room of ``width`` between ``top`` and ``bottom``, points."""

    canvas: Canvas
    left: float
    bottom: float
    width: float
    top: float
    end_page: Callable[[Canvas], None]
    setter: Setter = field(init=False)
    y: float = field(init=False)
    drawn: list[str] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        self.setter, self.y = Setter(self.canvas), self.top

    def put(self, parts: Iterable[Part]) -> None:
        """Draw all parts, and end the last page."""
        for part in parts:
            if isinstance(part, Table):
                self._put(part)
            elif isinstance(part, Together):
                self._put_together(part)
            elif self.y < self.top:
                self._turn()
        self._turn()

    def _turn(self) -> None:
        self._flush()
        self.end_page(self.canvas)
        self.canvas.showPage()
        compress_last(self.canvas)
        self.y = self.top

    def _flush(self) -> None:
        if self.drawn:
            self.canvas.addLiteral(f"q 0 g 0 G {MIDDLE_PT} w\n" + "\n".join(self.drawn) + "\nQ")
            self.drawn = []

    def _put_together(self, part: Together) -> None:
        tables = [replace(table, rows=tuple(table.rows)) for table in part.tables]
        height = sum(table.gap + sum(self._set(table, row).height for row in _all_rows(table)) for table in tables)
        if height > self.y - self.bottom and height <= self.top - self.bottom:
            self._turn()
        for table in tables:
            self._put(table)

    def _put(self, table: Table) -> None:
        """Draw a table: rows as they come, a page of them at a time."""
        heads = [self._set(table, row) for row in table.heads]
        heads_height = sum(head.height for head in heads)
        rows = iter(table.rows)
        waiting = next(rows, None)
        row = self._set(table, waiting) if waiting else None
        first = heads_height + (min(row.height, TALL_PT) if row else 0.0)
        if self.y < self.top:
            self.y -= table.gap
            if self.y - self.bottom < max(first, table.at_least):
                self._turn()
        while True:
            page = list(heads)
            room = self.y - self.bottom - heads_height
            while row is not None and row.height <= room:
                page.append(row)
                room -= row.height
                waiting = next(rows, None)
                row = self._set(table, waiting) if waiting else None
            whole = self.top - self.bottom - heads_height
            if row is not None and ((row.height > TALL_PT and room > TALL_PT / 2) or row.height > whole):
                some, row = _parted(row, room)
                page += [some] if some else []
            self._draw(table, page)
            if row is None:
                return
            self._turn()

    def _set(self, table: Table, row: Row) -> _SetRow:
        """Return a row with its cells set in their widths."""
        left, right, *_ = row.pads
        widths, cells, x = table.widths, [], self.left
        last = len(row.cells) - 1
        highest = 0.0
        for place, cell in enumerate(row.cells):
            width = widths[place] if place < last else sum(widths[place:])
            if cell is not None:
                placed = cell.set(self.setter, width - left - right)
                highest = max(highest, placed.height)
                cells.append((x + left, placed))
            x += width
        return _SetRow(row, tuple(cells), highest)

    def _draw(self, table: Table, rows: Sequence[_SetRow]) -> None:
        """Draw the rows of one page, with their rules and frame."""
        left, right = self.left, self.left + sum(table.widths)
        drawn, y, begins, rules = self.drawn, self.y, self.y, []
        for place, each in enumerate(rows):
            row = each.row
            if place == min(table.outside, len(table.heads)):
                begins = y
            if row.above:
                drawn.append(f"{row.above} w {left:.2f} {y:.2f} m {right:.2f} {y:.2f} l S {MIDDLE_PT} w")
            top = y - row.pads[2]
            upper = row.at_top or each.inside > TALL_PT
            for x, placed in each.cells:
                drawn.append(placed.operators(x, top if upper else top - (each.inside - placed.height) / 2))
            y -= each.height
            if row.below > THIN_PT:
                drawn.append(f"{row.below} w {left:.2f} {y:.2f} m {right:.2f} {y:.2f} l S {MIDDLE_PT} w")
            elif row.below:
                rules.append(f"{left:.2f} {y:.2f} m {right:.2f} {y:.2f} l")
        if rules:
            drawn.append(f"{THIN_PT} w {GREY} G {' '.join(rules)} S 0 G {MIDDLE_PT} w")
        if table.parted:
            edges = [left + sum(table.widths[:column]) for column in range(1, len(table.widths))]
            lines = " ".join(f"{x:.2f} {begins:.2f} m {x:.2f} {y:.2f} l" for x in edges)
            drawn.append(f"{THIN_PT} w {lines} S {MIDDLE_PT} w")
        if table.framed:
            drawn.append(f"{HEAVY_PT} w {left:.2f} {y:.2f} {right - left:.2f} {begins - y:.2f} re S {MIDDLE_PT} w")
        self.y = y


def _all_rows(table: Table) -> Iterator[Row]:
    yield from table.heads
    yield from table.rows


def _parted(row: _SetRow, height: float) -> tuple[_SetRow | None, _SetRow | None]:
    """Return what of a row has room in a height, and the rest."""
    room = height - row.row.pads[2] - row.row.pads[3]
    first, rest = [], []
    for x, placed in row.cells:
        some, more = placed.parted(room) if placed.height > room else (placed, None)
        first += [(x, some)] if some else []
        rest += [(x, more)] if more else []
    if not any(some.height for _, some in first):
        return None, row
    return tuple(  # type: ignore[return-value]
        _SetRow(row.row, tuple(cells), max(placed.height for _, placed in cells)) if cells else None
        for cells in (first, rest)
    )


# ---------------------------------------------------------------- listings


def listing(
    title: Text,
    heads: Sequence[str],
    rows: Iterable[Row],
    shares: Sequence[float],
    room: float,
    *,
    framed: bool = False,
    at_least: float = 0.0,
) -> Table:
    """Return a table under its title and small heads, both repeated overleaf; ``shares`` divide the room."""
    names = Row([Text(plain(word), SMALL_PT) for word in heads], 0.0, MIDDLE_PT, pads=(2.0, 2.0, 1.0, 1.0))
    heading = Row([title], 0.0, 0.0, TITLE_PADS), names
    return Table(_shared(shares, room), rows, heading, 1, framed, gap=GAP_PT, at_least=at_least)


def plain_listing(title: Text, rows: Iterable[Sequence[Cell | None]], shares: Sequence[float], room: float) -> Table:
    """Return a table under its title alone, for a few rows that explain themselves."""
    made = (Row(row, pads=(2.0, 2.0, 1.2, 1.8)) for row in rows)
    return Table(_shared(shares, room), made, (Row([title], 0.0, MIDDLE_PT, TITLE_PADS),), gap=GAP_PT)


TITLE_PADS = (0.0, 2.0, 0.0, 2.0)


def _shared(shares: Sequence[float], room: float) -> tuple[float, ...]:
    whole = sum(shares)
    return tuple(room * share / whole for share in shares)


def section_title(words: str, note: str = "") -> Text:
    """Return the title of a section with a note in small print behind it."""
    after = ((PLAIN, NOTE_PT, NO_BREAK * 3), *plain(note, NOTE_PT)) if note else ()
    return Text((*bold(words), *after), HEAD_PT)


def stack(*cells: Cell) -> Stack:
    """Return cells one below the other."""
    return Stack(cells)


def shown_length(millimetres: float) -> str:
    """Return a length for people."""
    return f"{millimetres:g} mm"


def joined_lines(lines: Iterable[str]) -> str:
    """Return the lines of a sleeve as one."""
    return " / ".join(lines)
