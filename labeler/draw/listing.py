"""Listings of the bench sheet: rows with boxes to tick under a title, which go on overleaf.

They are drawn straight, since a harness may have thousands of rows that say little new: each
distinct cell is broken into lines once and encoded once.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate

from labeler.draw.pens import POINTS_PER_MM
from labeler.draw.strings import Strings
from labeler.draw.words import SMALL_PT, TextLine, Words, lines_of, run_width, said

HEAVY_PT, MIDDLE_PT, THIN_PT = 1.4, 0.8, 0.4
GREY = 0.5  # of thin rules
TICK_PT = 3.8 * POINTS_PER_MM
SIDE_PT, ABOVE_PT, BELOW_PT = 2.0, 2.2, 2.4  # free inside a cell
BESIDE_PT = 15.0  # from a box to the words behind it
GAP_PT = 5.5  # above a listing
TALL_PT = 150.0  # a row up to this height moves overleaf as a whole: project choice, a fifth of the page
CAPITAL = 0.67  # height of a capital in ems, about: lines are centred on it

Cell = Words | tuple[Words, ...] | None
Row = Sequence[Cell]


class Joined:
    """Stands in a row for a cell that the one to its left runs on into."""


JOINED = Joined()


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """A cell in lines, at its place across; one object for all that are alike in a column."""

    x: float
    width: float
    lines: tuple[TextLine, ...]
    right: bool
    tick: bool
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class _LaidRow:
    cells: tuple[_Laid, ...]
    height: float
    above: float  # thickness of the rule above it, 0: none
    free: tuple[float, float]  # above and below the words


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """A listing in lines: its title and the names of its columns are repeated overleaf."""

    width: float
    heads: tuple[_LaidRow, ...]
    rows: tuple[_LaidRow, ...]
    boxed: bool = False
    ends: tuple[float, ...] = field(default=())  # of each row, from the top of the first

    def height(self, first: int, last: int) -> float:
        """Return how high the heads and the rows from ``first`` up to before ``last`` are."""
        start = self.ends[first - 1] if first else 0.0
        end = self.ends[last - 1] if last else 0.0
        return sum(row.height for row in self.heads) + end - start


def table(
    title: Words,
    heads: Sequence[str],
    rows: Sequence[Sequence[Cell | Joined]],
    shares: Sequence[float],
    room: float,
    *,
    parted: Collection[int] = (),
    boxed: bool = False,
) -> Table:
    """Return a listing of cells; ``shares`` divide the room, ``parted`` are rows with a stronger rule above.

    Without ``heads`` the rows stand closer, for a few that explain themselves.
    """
    whole = sum(shares)
    starts = [room * share / whole for share in accumulate(shares, initial=0.0)]
    over = _laid_row((title,), (-SIDE_PT, room), 0.0, (0.0, 2.0))
    named = (_laid_row([said(word, SMALL_PT) for word in heads], starts, 0.0, (1.0, 1.0)),) if heads else ()
    free = (ABOVE_PT, BELOW_PT) if heads else (1.2, 1.8)
    first = MIDDLE_PT
    laid: list[_LaidRow] = []
    for number, cells in enumerate(rows):
        above = first if not number or number in parted else THIN_PT
        laid.append(_laid_row(cells, starts, above, free))
    return _table(room, (over, *named), laid, boxed)


def _table(width: float, heads: tuple[_LaidRow, ...], rows: Sequence[_LaidRow], boxed: bool) -> Table:
    return Table(width, heads, tuple(rows), boxed, tuple(accumulate(row.height for row in rows)))


def _laid_row(
    cells: Sequence[Cell | Joined], starts: Sequence[float], above: float, free: tuple[float, float]
) -> _LaidRow:
    laid = []
    for place, cell in enumerate(cells):
        if cell is None or isinstance(cell, Joined):
            continue
        last = place + 1
        while last < len(cells) and isinstance(cells[last], Joined):
            last += 1
        laid.append(_laid(cell, starts[place], starts[last] - starts[place]))
    height = max((cell.height for cell in laid), default=0.0)
    return _LaidRow(tuple(laid), height + sum(free), above, free)


@lru_cache(maxsize=4096)
def _laid(cell: Words | tuple[Words, ...], start: float, room: float) -> _Laid:
    parts = (cell,) if isinstance(cell, Words) else cell
    tick, right = parts[0].tick, parts[0].right
    beside = BESIDE_PT if tick else 0.0
    width = max(room - 2 * SIDE_PT - beside, 1.0)
    lines = [line for part in parts if not part.tick or part.runs for line in lines_of(part.runs, width)]
    return _set(start + SIDE_PT, width + beside, tuple(lines), right, tick)


def _set(x: float, width: float, lines: tuple[TextLine, ...], right: bool, tick: bool) -> _Laid:
    height = sum([line.height for line in lines])
    return _Laid(x, width, lines, right, tick, max(height, TICK_PT) if tick else height)


# ---------------------------------------------------------------- pages


Part = tuple[Table, int, int]  # a table from one of its rows up to before another


def split(table: Table, first: int, last: int, room: float) -> tuple[Part, Part] | None:
    """Return what goes on a page with this much room, and the rest; None where not even one row does.

    A row that is too tall to be moved overleaf is broken.
    """
    free = room - sum(row.height for row in table.heads)
    start = table.ends[first - 1] if first else 0.0
    end = min(max(bisect_right(table.ends, start + free + 1e-6), first), last)
    parts = None
    if end < last and table.rows[end].height > TALL_PT:
        parts = _broken(table.rows[end], free - (table.ends[end - 1] - start if end else 0.0))
    if parts is None:
        return ((table, first, end), (table, end, last)) if end > first else None
    upper = _table(table.width, table.heads, (*table.rows[first:end], parts[0]), table.boxed)
    lower = _table(table.width, table.heads, (parts[1], *table.rows[end + 1 : last]), table.boxed)
    return (upper, 0, len(upper.rows)), (lower, 0, len(lower.rows))


def _broken(row: _LaidRow, room: float) -> tuple[_LaidRow, _LaidRow] | None:
    """Return a row in two parts, the upper one no higher than there is room; None where no line goes on."""
    upper, lower = [], []
    for cell in row.cells:
        ends = list(accumulate(line.height for line in cell.lines))
        count = bisect_right(ends, room - sum(row.free))
        if not count and cell.lines:
            return None
        upper.append(_set(cell.x, cell.width, cell.lines[:count], cell.right, cell.tick))
        lower.append(_set(cell.x, cell.width, cell.lines[count:], cell.right, False))
    parts = [
        _LaidRow(tuple(cells), max(cell.height for cell in cells) + sum(row.free), above, row.free)
        for cells, above in ((upper, row.above), (lower, THIN_PT))
    ]
    fits = parts[0].height <= room + 1e-6 and any(cell.lines for cell in lower)
    return (parts[0], parts[1]) if fits else None


# ---------------------------------------------------------------- drawing


class Pages:
    """Draws parts of listings into one document."""

    def __init__(self, strings: Strings) -> None:
        self._strings = strings
        self._cells: dict[int, tuple[_Laid, list[tuple[str, float, str]]]] = {}  # by identity; the cell is kept

    def operations(self, table: Table, first: int, last: int) -> str:
        """Return what draws the heads and the rows up to before ``last``, from the lower left corner."""
        y = height = table.height(first, last)
        text: list[str] = []
        boxes: list[str] = []
        rules: dict[float, list[str]] = {}
        for number, row in enumerate((*table.heads, *table.rows[first:last])):
            above = MIDDLE_PT if number == len(table.heads) else row.above
            if above:
                rules.setdefault(above, []).append(f"0 {y:.2f} m {table.width:.2f} {y:.2f} l")
            over, under = row.free
            middle = y - over - (row.height - over - under) / 2
            for cell in row.cells:
                if cell.tick:
                    boxes.append(f"{cell.x:.2f} {middle - TICK_PT / 2:.2f} {TICK_PT:.2f} {TICK_PT:.2f} re")
                text += [f"{begin} {middle + up:.2f} {show}" for begin, up, show in self._shown(cell)]
            y -= row.height
        return _drawn(table, height, rules, boxes, text)

    def _shown(self, cell: _Laid) -> list[tuple[str, float, str]]:
        """Return the strings of a cell: up to the place across, how far over the cell's middle, from there on."""
        known = self._cells.get(id(cell))
        if known is None:
            known = self._cells[id(cell)] = cell, list(self._encoded(cell))
        return known[1]

    def _encoded(self, cell: _Laid) -> Iterator[tuple[str, float, str]]:
        y = sum(line.height for line in cell.lines) / 2
        for line in cell.lines:
            x = cell.x + cell.width - line.width if cell.right else cell.x + (BESIDE_PT if cell.tick else 0.0)
            up = y - line.height / 2 - CAPITAL * line.size / 2
            for words, face, size in line.runs:
                parts = [(f"{font} {size:g} Tf", string) for font, string in self._strings.encoded(face, words)]
                shown = " ".join(f"{font} ({string}) Tj" for font, string in parts)
                yield f"1 0 0 1 {x:.2f}", up, f"Tm {shown}"
                x += run_width((words, face, size))
            y -= line.height


def _drawn(
    table: Table, height: float, rules: Mapping[float, Sequence[str]], boxes: Sequence[str], text: Sequence[str]
) -> str:
    lines = [f"{GREY if wide == THIN_PT else 0:g} G {wide:g} w {' '.join(those)} S" for wide, those in rules.items()]
    lines.append("0 G")
    if boxes:
        lines.append(f"{MIDDLE_PT:g} w {' '.join(boxes)} S")
    if table.boxed:
        lines.append(f"{HEAVY_PT:g} w 0 0 {table.width:.2f} {height - table.heads[0].height:.2f} re S")
    else:
        lines.append(f"{GREY:g} G {THIN_PT:g} w 0 0 m {table.width:.2f} 0 l S")
    return "\n".join(["q 0 G 0 g", *lines, "BT", *text, "ET Q"])
