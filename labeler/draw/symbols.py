"""Codes as PDF operators: one filled path of merged rectangles; one that comes again is a form drawn again."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING

from labeler.draw.pens import Pen
from labeler.model import Face, Sheet, Symbol

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

_DARK = re.compile("1+")


def symbol_operations(symbol: Symbol, pen: Pen) -> str:
    """Return what draws every copy of a symbol, relative to its piece.

    Each is one filled path in a grid of units: single squares would be drawn a little too large.
    """
    path = _path(symbol.rows)
    return "\n".join(f"q {matrix} cm\n{path} f Q" for matrix in pen.grids(symbol))


class SharedSymbols:
    """The symbols of a document that are drawn more than once: each becomes one form, of modules as units."""

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

    def operations(self, symbol: Symbol, pen: Pen) -> str:
        """Return what draws every copy of a symbol, relative to its piece: its path, or its form.

        A page that draws a form must name it: see `on_page`.
        """
        name = self._names.get(symbol.rows)
        if name is None:
            return symbol_operations(symbol, pen)
        held = self._canvas._doc.getXObjectName(name)
        return "\n".join(f"q {matrix} cm /{held} Do Q" for matrix in pen.grids(symbol))

    def on_page(self, faces: Iterable[Face]) -> None:
        """Have the page that is drawn name the forms of these faces, and make those that are not made yet."""
        rows = {face.symbol.rows: None for face in faces if face.symbol is not None}
        for same in rows:
            name = self._names.get(same)
            if name is None:
                continue
            if name not in self._made:
                self._made.add(name)
                self._canvas.beginForm(name, -1, -1, len(same[0]) + 1, len(same) + 1)
                self._canvas.addLiteral(f"{_path(same)} f")
                self._canvas.endForm()
            self._canvas._formsinuse.append(name)


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
