"""What is drawn on a piece, as the operators of one document.

They are written as text: that is several times faster than a call for every string, and what is drawn can be compared.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache

from labeler.draw.document import Document
from labeler.draw.pens import Pen
from labeler.model import Face, Sheet, Symbol


class MarkerDrawing:
    """Writes the faces of markers as operators for one document.

    The symbols that ``sheets`` have more than once become forms of the document, of modules as units.
    """

    def __init__(self, document: Document, pen: Pen, sheets: Iterable[Sheet] = ()) -> None:
        self.document, self.pen = document, pen
        self._k = pen.per_mm
        self._forms = _form_names(sheets)

    def operations(self, face: Face) -> str:
        """Return what draws a face, its lower left corner at the origin."""
        parts = [self.pen.text(self._text(face))] if face.runs else []
        parts += map(self.pen.box, face.boxes)
        if face.symbol is not None:
            parts.append(self._symbol(face.symbol))
        return "\n".join(parts)

    def list_forms(self, faces: Iterable[Face]) -> None:
        """Have the page that is open list the forms of these faces; they are added to the document as they are met."""
        for rows in dict.fromkeys(face.symbol.rows for face in faces if face.symbol is not None):
            name = self._forms.get(rows)
            if name is None:
                continue
            if not self.document.canvas.hasForm(name):
                self.document.add_form(name, (-1, -1, len(rows[0]) + 1, len(rows) + 1), f"{_path(rows)} f")
            self.document.list_form(name)

    def _symbol(self, symbol: Symbol) -> str:
        """Return what draws every copy of a symbol.

        Each is one filled path in a grid of units: single squares would be drawn a little too large.
        """
        name = self._forms.get(symbol.rows)
        drawn = f"\n{_path(symbol.rows)} f" if name is None else f" {self.document.form_operator(name)}"
        return "\n".join(f"q {matrix} cm{drawn} Q" for matrix in self.pen.grids(symbol))

    def _text(self, face: Face) -> str:
        """Return the lines of text; a setting of the font that all of them share is written once."""
        k = self._k
        lines = [(run, f"{run.size_mm * k:.4f} Tf", self.document.encoded(run.font, run.text)) for run in face.runs]
        settings = {f"{font} {size}" for _, size, strings in lines for font, _ in strings}
        shared = len(settings) == 1
        shown = [
            (
                f"{_matrix(run.turn, run.stretch)} {run.x_mm * k:.3f}",
                run.y_mm * k,
                " ".join([f"({text}) Tj" if shared else f"{font} {size} ({text}) Tj" for font, text in strings]),
            )
            for run, size, strings in lines
            if strings
        ]
        steps = [copy * face.repeat_pitch_mm * k for copy in range(face.repeats)]
        copies = "\n".join([f"{start} {y - step:.3f} Tm {strings}" for step in steps for start, y, strings in shown])
        return f"BT {settings.pop()} {copies} ET" if shared else f"BT {copies} ET"


@lru_cache(maxsize=1024)
def _matrix(turn: int, stretch: float) -> str:
    """Return the first four numbers of the text matrix (ISO 32000-1, 9.4.2).

    The line is turned, then stretched across the piece.
    """
    s = f"{stretch:.6g}"
    return {0: f"1 0 0 {s}", 90: f"0 {s} -1 0", 180: f"-1 0 0 -{s}", 270: f"0 -{s} 1 0"}[turn]


def _form_names(sheets: Iterable[Sheet]) -> dict[tuple[str, ...], str]:
    """Return a name for the modules of each symbol that is drawn more than once."""
    times: Counter[tuple[str, ...]] = Counter()
    for sheet in sheets:
        for placed in sheet.placed:
            symbol = placed.piece.face.symbol
            if symbol is not None:
                times[symbol.rows] += symbol.repeats * placed.piece.face.passes
    several = (rows for rows, count in times.items() if count > 1)
    return {rows: f"code{number}" for number, rows in enumerate(several)}


@lru_cache(maxsize=64)
def _path(rows: tuple[str, ...]) -> str:
    """Return the dark modules as a path, a module to a unit."""
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
        runs = {run.span(): number for run in re.finditer("1+", row)}
        for run, began in growing.items():
            if run in runs:
                runs[run] = began
            else:
                finished.append((began, run[0], number - began, run[1] - run[0]))
        growing = runs
    return tuple(finished)
