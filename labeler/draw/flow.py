"""Flow: tables on pages, one below the other; rows that do not go on a page go on overleaf under the same heads.

A table is asked for its rows while it is drawn, so that a long one takes no more memory than a short one. Lengths
are in points.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

from labeler.draw.document import Document, moved
from labeler.draw.pens import points
from labeler.draw.typeset import NO_BREAK, PLAIN, Setter, SetText, Words, bold, plain

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

TITLE_PT, HEAD_PT, BODY_PT, NOTE_PT, SMALL_PT, SOURCE_PT = 16.0, 11.0, 8.5, 7.5, 7.0, 6.0
HEAVY_PT, MIDDLE_PT, THIN_PT = 1.4, 0.8, 0.4
GREY = 0.5
TICK_PT = points(3.8)
BESIDE_PT = 4.2  # from a box to what stands beside it
GAP_PT = 5.5
TITLE_PADS = (0.0, 2.0, 0.0, 2.0)

TALL_PT = 150.0
"""A row up to this height moves overleaf as a whole (project choice: a fifth of the page)."""


# ---------------------------------------------------------------- what stands in the cells of a table


class PlacedBlock(Protocol):
    """What stands in a cell, as it is set in the cell's width."""

    @property
    def height(self) -> float:
        """Return how high it is."""

    def operators(self, x: float, top: float) -> str:
        """Return the operators that draw it, its upper left corner there."""

    def split(self, height: float) -> tuple[PlacedBlock | None, PlacedBlock | None]:
        """Return what goes into a height, and the rest."""


class TableCell(Protocol):
    """What stands in a cell, before its width is known."""

    def set(self, setter: Setter, width: float) -> PlacedBlock:
        """Return it as it is set in a width."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph, with space ``before`` and ``after`` it; ``to_right``: a number in its column."""

    words: Words
    size: float = BODY_PT
    to_right: bool = False
    before: float = 0.0
    after: float = 0.0

    def set(self, setter: Setter, width: float) -> PlacedBlock:
        """Return the paragraph in lines."""
        text: SetText = setter.set(self.words, self.size, width, self.to_right)
        return _Stacked((_Space(self.before), text, _Space(self.after))) if self.before or self.after else text


@dataclass(frozen=True, slots=True)
class Stack:
    """Cells one below the other."""

    cells: tuple[TableCell, ...]

    def set(self, setter: Setter, width: float) -> PlacedBlock:
        """Return them, each in the whole width."""
        return _Stacked(tuple(cell.set(setter, width) for cell in self.cells))


def stack(*cells: TableCell) -> Stack:
    """Return cells one below the other."""
    return Stack(cells)


@dataclass(frozen=True, slots=True)
class TickBox:
    """An empty box of the size of a pen's tick, and what stands to the right of it."""

    beside: Text | None = None

    def set(self, setter: Setter, width: float) -> PlacedBlock:
        """Return the box with what stands beside it."""
        return _Box(self.beside.set(setter, width - TICK_PT - BESIDE_PT)) if self.beside else EMPTY_BOX


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing of a height: ``draw`` is given a canvas with the origin at its lower left corner, and its width."""

    height: float
    draw: Callable[[Canvas, float], None]

    def set(self, setter: Setter, width: float) -> PlacedBlock:
        """Return the drawing."""
        return _PlacedDrawing(self.height, width, self.draw, setter.document)


@dataclass(frozen=True, slots=True)
class _Space:
    height: float

    def operators(self, x: float, top: float) -> str:
        return ""

    def split(self, height: float) -> tuple[PlacedBlock | None, PlacedBlock | None]:
        return self, None


@dataclass(frozen=True, slots=True)
class _Stacked:
    blocks: tuple[PlacedBlock, ...]

    @property
    def height(self) -> float:
        return sum(block.height for block in self.blocks)

    def operators(self, x: float, top: float) -> str:
        drawn = []
        for block in self.blocks:
            drawn.append(block.operators(x, top))
            top -= block.height
        return "\n".join(filter(None, drawn))

    def split(self, height: float) -> tuple[PlacedBlock | None, PlacedBlock | None]:
        for place, block in enumerate(self.blocks):
            if block.height > height:
                some, rest = block.split(height)
                first = (*self.blocks[:place], *((some,) if some else ()))
                return _Stacked(first), _Stacked((*((rest,) if rest else ()), *self.blocks[place + 1 :]))
            height -= block.height
        return self, None


@dataclass(frozen=True, slots=True)
class _Box:
    beside: PlacedBlock | None = None

    @property
    def height(self) -> float:
        return max(TICK_PT, self.beside.height if self.beside else 0.0)

    def operators(self, x: float, top: float) -> str:
        height = self.height
        box = f"{x:.2f} {top - (height + TICK_PT) / 2:.2f} {TICK_PT:.2f} {TICK_PT:.2f} re S"
        if self.beside is None:
            return box
        return f"{box}\n{self.beside.operators(x + TICK_PT + BESIDE_PT, top - (height - self.beside.height) / 2)}"

    def split(self, height: float) -> tuple[PlacedBlock | None, PlacedBlock | None]:
        return (self, None) if self.height <= height else (None, self)


EMPTY_BOX = _Box()


@dataclass(frozen=True, slots=True)
class _PlacedDrawing:
    height: float
    width: float
    draw: Callable[[Canvas, float], None]
    document: Document

    def operators(self, x: float, top: float) -> str:
        def draw(canvas: Canvas) -> None:
            with moved(canvas, x, top - self.height):
                self.draw(canvas, self.width)

        return self.document.operators_of(draw)

    def split(self, height: float) -> tuple[PlacedBlock | None, PlacedBlock | None]:
        return (self, None) if self.height <= height else (None, self)


# ---------------------------------------------------------------- tables


@dataclass(frozen=True, slots=True)
class Row:
    """One row. The last of its cells has the space of those that are missing behind it.

    ``above`` and ``below`` are the widths of the rules over and under it, a thin one is grey; ``pads``
    are left, right, top and bottom of every cell.
    """

    cells: Sequence[TableCell | None]
    above: float = 0.0
    below: float = THIN_PT
    pads: tuple[float, float, float, float] = (2.0, 2.0, 2.2, 2.4)
    at_top: bool = False  # where its cells stand; else in the middle


@dataclass(frozen=True, slots=True)
class Table:
    """Rows as wide as the page, under heads that are repeated on every page; without rows nothing is drawn.

    ``shares`` are the widths of its columns, in any unit; the first ``outside`` of the heads stand outside the frame.
    """

    shares: tuple[float, ...]
    rows: Iterable[Row]
    heads: tuple[Row, ...] = ()
    outside: int = 1
    framed: bool = False
    column_rules: bool = False  # thin ones between its columns
    gap: float = 0.0  # above it
    at_least: float = 0.0  # begins overleaf where there is less space


@dataclass(frozen=True, slots=True)
class Together:
    """Tables that stay on one page where they go on one."""

    tables: tuple[Table, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows begins a page; ``about`` is handed to what draws the foot of its pages."""

    about: str = ""


Part = Table | Together | NewPage


def listing(
    title: Text,
    heads: Sequence[str],
    rows: Iterable[Row],
    shares: tuple[float, ...],
    *,
    framed: bool = False,
    at_least: float = 0.0,
) -> Table:
    """Return a table under its title and small heads, both repeated overleaf."""
    names = Row([Text(plain(word), SMALL_PT) for word in heads], 0.0, MIDDLE_PT, pads=(2.0, 2.0, 1.0, 1.0))
    return Table(shares, rows, (Row([title], 0.0, 0.0, TITLE_PADS), names), 1, framed, gap=GAP_PT, at_least=at_least)


def plain_listing(title: Text, rows: Iterable[Sequence[TableCell | None]], shares: tuple[float, ...]) -> Table:
    """Return a table under its title alone, for a few rows that explain themselves."""
    padded = (Row(row, pads=(2.0, 2.0, 1.2, 1.8)) for row in rows)
    return Table(shares, padded, (title_row(title),), gap=GAP_PT)


def title_row(title: Text) -> Row:
    """Return the title of a table that has no other heads."""
    return Row([title], 0.0, MIDDLE_PT, TITLE_PADS)


def section_title(words: str, note: str = "") -> Text:
    """Return the title of a section with a note in small print behind it."""
    after = ((PLAIN, NOTE_PT, NO_BREAK * 3), *plain(note, NOTE_PT)) if note else ()
    return Text((*bold(words), *after), HEAD_PT)


# ---------------------------------------------------------------- pages


@dataclass(frozen=True, slots=True)
class Frame:
    """Where on a page tables stand."""

    left: float
    bottom: float
    width: float
    top: float


@dataclass(frozen=True, slots=True)
class _SetRow:
    row: Row
    cells: tuple[tuple[float, PlacedBlock], ...]  # left edge, what stands there
    inside: float  # height of the highest

    @classmethod
    def of(cls, row: Row, cells: Sequence[tuple[float, PlacedBlock]]) -> _SetRow:
        return cls(row, tuple(cells), max((block.height for _, block in cells), default=0.0))

    @property
    def height(self) -> float:
        return self.inside + self.row.pads[2] + self.row.pads[3]


class Flow:
    """Writes parts on the pages of a document, one below the other. ``foot`` draws what is beside them on a page."""

    def __init__(self, document: Document, frame: Frame, foot: Callable[[str], None]) -> None:
        self._document, self._frame, self._foot = document, frame, foot
        self._setter = Setter(document)
        self._y = frame.top
        self._about = ""
        self._drawn: list[str] = []

    def put(self, parts: Iterable[Part]) -> None:
        """Draw all parts, and end the last page."""
        for part in parts:
            if isinstance(part, Table):
                self._put(part)
            elif isinstance(part, Together):
                self._put_together(part)
            else:
                if self._y < self._frame.top:
                    self._turn()
                self._about = part.about
        self._turn()

    def _turn(self) -> None:
        if self._drawn:
            self._document.write(f"q 0 g 0 G {MIDDLE_PT} w\n" + "\n".join(self._drawn) + "\nQ")
            self._drawn = []
        self._foot(self._about)
        self._document.end_page()
        self._y = self._frame.top

    def _put_together(self, part: Together) -> None:
        tables = [table for each in part.tables if (table := replace(each, rows=tuple(each.rows))).rows]
        rows = [(row, self._widths(table)) for table in tables for row in (*table.heads, *table.rows)]
        height = sum(table.gap for table in tables) + sum(self._set(*row).height for row in rows)
        if self._y - self._frame.bottom < height <= self._frame.top - self._frame.bottom:
            self._turn()
        for table in tables:
            self._put(table)

    def _put(self, table: Table) -> None:
        """Draw a table: rows as they come, a page of them at a time."""
        widths = self._widths(table)
        rows = (self._set(row, widths) for row in table.rows)
        row = next(rows, None)
        if row is None:
            return
        heads = [self._set(row, widths) for row in table.heads]
        heads_height = sum(head.height for head in heads)
        if self._y < self._frame.top:
            self._y -= table.gap
            first = heads_height + min(row.height, TALL_PT)
            if self._y - self._frame.bottom < max(first, table.at_least):
                self._turn()
        while True:
            page = list(heads)
            space = self._y - self._frame.bottom - heads_height
            while row is not None and row.height <= space:
                page.append(row)
                space -= row.height
                row = next(rows, None)
            whole = self._frame.top - self._frame.bottom - heads_height
            if row is not None and ((row.height > TALL_PT and space > TALL_PT / 2) or row.height > whole):
                some, row = _split(row, space)
                page += [some] if some else []
            self._draw(table, widths, page)
            if row is None:
                return
            self._turn()

    def _widths(self, table: Table) -> Sequence[float]:
        whole = sum(table.shares)
        return [self._frame.width * share / whole for share in table.shares]

    def _set(self, row: Row, widths: Sequence[float]) -> _SetRow:
        """Return a row with its cells set in their widths."""
        left, right, *_ = row.pads
        cells, x = [], self._frame.left
        last = len(row.cells) - 1
        for place, cell in enumerate(row.cells):
            width = widths[place] if place < last else sum(widths[place:])
            if cell is not None:
                cells.append((x + left, cell.set(self._setter, width - left - right)))
            x += width
        return _SetRow.of(row, cells)

    def _draw(self, table: Table, widths: Sequence[float], rows: Sequence[_SetRow]) -> None:
        """Draw the rows of one page, with their rules and frame."""
        left, right = self._frame.left, self._frame.left + self._frame.width
        drawn, y, begins, rules = self._drawn, self._y, self._y, []
        for place, each in enumerate(rows):
            row, inside = each.row, each.inside
            if place == min(table.outside, len(table.heads)):
                begins = y
            if row.above:
                drawn.append(_rule(row.above, left, right, y))
            top = y - row.pads[2]
            upper = row.at_top or inside > TALL_PT
            drawn += [b.operators(x, top if upper else top - (inside - b.height) / 2) for x, b in each.cells]
            y -= each.height
            if row.below > THIN_PT:
                drawn.append(_rule(row.below, left, right, y))
            elif row.below:
                rules.append(f"{left:.2f} {y:.2f} m {right:.2f} {y:.2f} l")
        if rules:
            drawn.append(f"{THIN_PT} w {GREY} G {' '.join(rules)} S 0 G {MIDDLE_PT} w")
        if table.column_rules:
            edges = [left + sum(widths[:column]) for column in range(1, len(widths))]
            lines = " ".join(f"{x:.2f} {begins:.2f} m {x:.2f} {y:.2f} l" for x in edges)
            drawn.append(f"{THIN_PT} w {lines} S {MIDDLE_PT} w")
        if table.framed:
            drawn.append(f"{HEAVY_PT} w {left:.2f} {y:.2f} {right - left:.2f} {begins - y:.2f} re S {MIDDLE_PT} w")
        self._y = y


def _rule(line: float, left: float, right: float, y: float) -> str:
    return f"{line} w {left:.2f} {y:.2f} m {right:.2f} {y:.2f} l S {MIDDLE_PT} w"


def _split(row: _SetRow, height: float) -> tuple[_SetRow | None, _SetRow | None]:
    """Return what of a row goes into a height, and the rest."""
    space = height - row.row.pads[2] - row.row.pads[3]
    first, rest = [], []
    for x, block in row.cells:
        some, more = block.split(space) if block.height > space else (block, None)
        first += [(x, some)] if some else []
        rest += [(x, more)] if more else []
    if not any(block.height for _, block in first):
        return None, row
    return _SetRow.of(row.row, first), _SetRow.of(row.row, rest) if rest else None
