"""Ink: what is drawn on a piece, as the operators of one document. They are written as text: that is
several times faster than a call for every string, and what is drawn can be compared.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from labeler.draw.pens import Pen
from labeler.draw.strings import Strings
from labeler.draw.symbols import SharedSymbols, symbol_operations
from labeler.model import Face, Run, Symbol

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


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
