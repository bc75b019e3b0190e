"""Ink: what is drawn on a piece, as the operators of one document. They are written as text: that is
several times faster than a call for every string, and what is drawn can be compared.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING

from labeler.draw.pens import Pen
from labeler.draw.typeset import Strings
from labeler.model import Face, Run, Sheet, Symbol

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


# ---------------------------------------------------------------- Codes as PDF operators


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


# ---------------------------------------------------------------- ink


# First four numbers of the text matrix (ISO 32000-1, 9.4.2): the line is turned, then stretched across the piece.
_TURNED = {0: "1 0 0 {s:.6g}", 90: "0 {s:.6g} -1 0", 180: "-1 0 0 -{s:.6g}", 270: "0 -{s:.6g} 1 0"}


MOST_FACES = 1000
"""Faces that are remembered: those of ten pages of wraps, so that a long job takes no more memory than a short one."""


class Ink:
    """Writes faces as operators for one document, whose fonts hold the characters used so far."""

    def __init__(self, canvas: Canvas, pen: Pen, shared: SharedSymbols | None = None) -> None:
        self.pen, self.shared = pen, shared
        self._k = pen.per_mm
        self._encoded = Strings(canvas).encoded
        self._sizes: dict[float, str] = {}
        self._faces: dict[int, tuple[Face, str]] = {}  # by identity; the face is kept so that it stays its own

    def operations(self, face: Face) -> str:
        """Return what draws the face, once for each face object."""
        known = self._faces.get(id(face))
        if known is None:
            if len(self._faces) >= MOST_FACES:
                self._faces.clear()
            parts = [self.pen.text(self._text(face))] if face.runs else []
            parts += map(self.pen.box, face.boxes)
            if face.symbol is not None:
                parts.append(self._symbol(face.symbol))
            known = self._faces[id(face)] = face, "\n".join(parts)
        return known[1]

    def _symbol(self, symbol: Symbol) -> str:
        return self.shared.operations(symbol, self.pen) if self.shared else symbol_operations(symbol, self.pen)

    def _text(self, face: Face) -> str:
        if len(face.runs) == 1:
            strings = self._encoded(face.runs[0].font, face.runs[0].text)
            if len(strings) == 1:
                return self._one_line(face, face.runs[0], *strings[0])
        return self._lines(face)

    def _one_line(self, face: Face, run: Run, font: str, string: str) -> str:
        """What `_lines` would give for one line in one part of the font: most markers are that."""
        size = self._sizes.get(run.size_mm)
        if size is None:
            size = self._sizes[run.size_mm] = f"{run.size_mm * self._k:.4f}"
        matrix = "1 0 0 1" if run.stretch == 1 and not run.turn else _TURNED[run.turn].format(s=run.stretch)
        x, y, apart = run.x_mm * self._k, run.y_mm * self._k, face.copy_pitch_mm * self._k
        if face.copies == 1:
            return f"BT {font} {size} Tf {matrix} {x:.3f} {y:.3f} Tm ({string}) Tj ET"
        copies = [f"{matrix} {x:.3f} {y - copy * apart:.3f} Tm ({string}) Tj" for copy in range(face.copies)]
        return f"BT {font} {size} Tf " + "\n".join(copies) + " ET"

    def _lines(self, face: Face) -> str:
        lines = [
            (run, [(f"{name} {run.size_mm * self._k:.4f} Tf", string) for name, string in strings])
            for run in face.runs
            if (strings := self._encoded(run.font, run.text))
        ]
        settings = {setting for _, strings in lines for setting, _ in strings}
        once = f"{settings.pop()} " if len(settings) == 1 else ""
        placed = [
            (
                f"{_TURNED[run.turn].format(s=run.stretch)} {run.x_mm * self._k:.3f}",
                run.y_mm * self._k,
                " ".join(f"({text}) Tj" if once else f"{font} ({text}) Tj" for font, text in strings),
            )
            for run, strings in lines
        ]
        steps = [copy * face.copy_pitch_mm * self._k for copy in range(face.copies)]
        shown = [f"{across} {y - step:.3f} Tm {show}" for step in steps for across, y, show in placed]
        return f"BT {once}" + "\n".join(shown) + " ET"
