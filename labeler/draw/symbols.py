"""Codes as PDF operators: one filled path of merged rectangles; one that comes again is a form drawn again."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

from labeler.draw.points import POINTS_PER_MM
from labeler.model import Sheet, Symbol

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

_DARK = re.compile("1+")


def symbol_operations(symbol: Symbol) -> str:
    """Return what draws every copy of a symbol, relative to its piece.

    Each is one filled path in a grid of units: single squares would be drawn a little too large.
    """
    path = _path(symbol.rows)
    return "\n".join(f"q {matrix} cm\n{path} f Q" for matrix in _matrices(symbol, 0.0, 0.0))


class SharedSymbols:
    """The symbols of a document that are drawn more than once: each becomes one form."""

    def __init__(self, canvas: Canvas, sheets: Iterable[Sheet]) -> None:
        self._canvas = canvas
        times: Counter[tuple[str, ...]] = Counter()
        for sheet in sheets:
            for placed in sheet.placed:
                symbol = placed.piece.face.symbol
                if symbol is not None:
                    times[symbol.rows] += symbol.copies * placed.piece.face.passes
        self._names = {
            rows: f"code{number}" for number, rows in enumerate(rows for rows, count in times.items() if count > 1)
        }
        self._made: set[str] = set()

    def operations(self, symbol: Symbol) -> str:
        """Return what draws a symbol that comes once; "" for one that is a form: `draw` draws that."""
        return "" if symbol.rows in self._names else symbol_operations(symbol)

    def draw(self, symbol: Symbol, x_mm: float, y_mm: float) -> None:
        """Draw every copy of a symbol that is a form, on the piece at this place; nothing for others."""
        name = self._names.get(symbol.rows)
        if name is None:
            return
        if name not in self._made:
            self._made.add(name)
            self._canvas.beginForm(name, 0, 0, len(symbol.rows[0]), len(symbol.rows))
            self._canvas.addLiteral(f"{_path(symbol.rows)} f")
            self._canvas.endForm()
        for matrix in _matrices(symbol, x_mm, y_mm):
            self._canvas.addLiteral(f"q {matrix} cm")
            self._canvas.doForm(name)
            self._canvas.addLiteral("Q")


def _matrices(symbol: Symbol, x_mm: float, y_mm: float) -> Iterator[str]:
    """Yield the matrix from units to points for each copy."""
    across, up = symbol.module_x_mm * POINTS_PER_MM, symbol.module_y_mm * POINTS_PER_MM
    for copy in range(symbol.copies):
        x = (x_mm + symbol.x_mm + copy * symbol.step_x_mm) * POINTS_PER_MM
        y = (y_mm + symbol.y_mm + copy * symbol.step_y_mm) * POINTS_PER_MM
        yield f"{across:.6f} 0 0 {up:.6f} {x:.3f} {y:.3f}"


@lru_cache(maxsize=64)
def _path(rows: tuple[str, ...]) -> str:
    count = len(rows)
    return "\n".join(
        [f"{column} {count - row - high} {wide} {high} re" for row, column, high, wide in dark_rectangles(rows)]
    )


def dark_rectangles(rows: tuple[str, ...]) -> tuple[tuple[int, int, int, int], ...]:
    """Return rectangles that cover the ``1`` of the rows once each: row, column, rows, columns.

    A run of dark modules grows downwards as long as the row below has the very same run.

    >>> dark_rectangles(("110", "110", "011"))
    ((0, 0, 2, 2), (2, 1, 1, 2))
    """
    finished: list[tuple[int, int, int, int]] = []
    growing: dict[tuple[int, int], int] = {}  # run (first column, column after it) -> the row where it began
    for number, row in enumerate((*rows, "")):
        runs = {run.span(): number for run in _DARK.finditer(row)}
        for run, began in growing.items():
            if run in runs:
                runs[run] = began
            else:
                finished.append((began, run[0], number - began, run[1] - run[0]))
        growing = runs
    return tuple(finished)
