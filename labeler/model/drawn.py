"""What is drawn on one piece, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Run:
    """One line of text: baseline start in mm from the face's lower left corner."""

    text: str
    font: str
    size_mm: float  # em size along the line
    x_mm: float
    y_mm: float
    stretch: float = 1.0  # across the piece: what is printed is this much taller
    turn: int = 0  # of the line, anticlockwise, degrees: 0 along the piece, 90 across it, 180 and 270


@dataclass(frozen=True, slots=True)
class Box:
    """A stroked rectangle (a tick box), lower left corner, mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


LINEAR = ("Code 128", "Code 39")
"""The kinds of code that are a row of bars."""


@dataclass(frozen=True, slots=True)
class Code:
    """A symbol that is not placed yet: rows of modules, ``1`` dark, row 0 on top; one row: bars.

    ``quiet``: modules that stay free all round, of bars at both ends. ``level``: error correction (QR).
    """

    kind: str  # QR | Data Matrix | Code 128 | Code 39
    payload: str
    rows: tuple[str, ...]
    quiet: int
    level: str = ""

    @property
    def linear(self) -> bool:
        """Return whether it is a row of bars."""
        return len(self.rows) == 1


@dataclass(frozen=True, slots=True)
class Symbol:
    """A code in its place: lower left corner and module size in mm; of bars, module y is their height.

    ``copies`` stand one step apart: the same symbol several times on one piece.
    """

    kind: str
    payload: str
    rows: tuple[str, ...]
    x_mm: float
    y_mm: float
    module_x_mm: float
    module_y_mm: float
    copies: int = 1
    step_x_mm: float = 0.0
    step_y_mm: float = 0.0

    def corners(self) -> tuple[tuple[float, float], ...]:
        """Return the lower left corner of each copy, mm."""
        return tuple(
            (self.x_mm + copy * self.step_x_mm, self.y_mm + copy * self.step_y_mm) for copy in range(self.copies)
        )


@dataclass(frozen=True, slots=True)
class Face:
    """All that is drawn on one piece, relative to its lower left corner.

    ``runs`` are drawn ``copies`` times, each ``copy_pitch_mm`` lower than the one before
    (a wrap says its text several times around the wire). Two faces that are equal are one
    row in the record.
    """

    width_mm: float
    height_mm: float
    runs: tuple[Run, ...] = ()
    copies: int = 1
    copy_pitch_mm: float = 0.0
    boxes: tuple[Box, ...] = ()
    symbol: Symbol | None = None
    passes: int = 1  # 2: flat tube lettered on both faces is turned over and printed again
