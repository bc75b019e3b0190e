"""What stands in the cells of a table: paragraphs, boxes to tick, drawings; as it is, and as it is set in a width."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from labeler.draw.pens import POINTS_PER_MM
from labeler.draw.words import Setter, Words

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

TICK_MM = 3.8
BODY_PT = 8.5


class Placed(Protocol):
    """What stands in a cell, as it is set in the cell's width."""

    @property
    def height(self) -> float:
        """Return how high it is, points."""

    def operators(self, x: float, top: float) -> str:
        """Return the operators that draw it, its upper left corner there [points]."""

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        """Return what has room in a height, and the rest."""


class Cell(Protocol):
    """What stands in a cell, before its width is known."""

    def set(self, setter: Setter, width: float) -> Placed:
        """Return it as it is set in a width [points]."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph. ``indent`` on the left, ``before`` and ``after`` above and below it, points."""

    words: Words
    size: float = BODY_PT
    to_right: bool = False
    before: float = 0.0
    after: float = 0.0
    indent: float = 0.0

    def set(self, setter: Setter, width: float) -> Placed:
        """Return the paragraph in lines."""
        text = setter.set(self.words, self.size, width - self.indent, self.to_right)
        if self.before or self.after or self.indent:
            return _Stacked((_Space(self.before), text, _Space(self.after)), self.indent)
        return text


@dataclass(frozen=True, slots=True)
class Stack:
    """Cells one below the other."""

    cells: tuple[Cell, ...]

    def set(self, setter: Setter, width: float) -> Placed:
        """Return them, each in the whole width."""
        return _Stacked(tuple(cell.set(setter, width) for cell in self.cells))


@dataclass(frozen=True, slots=True)
class TickBox:
    """An empty box of the size of a pen's tick, and what stands to the right of it."""

    beside: Text | None = None

    def set(self, setter: Setter, width: float) -> Placed:
        """Return the box with what stands beside it."""
        room = width - TICK_MM * POINTS_PER_MM - BESIDE_PT
        return _Box(self.beside.set(setter, room)) if self.beside else EMPTY_BOX


BESIDE_PT = 4.2


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing of a height [points]: ``draw`` is given a canvas whose origin is its lower left corner."""

    height: float
    draw: Callable[[Canvas], None]

    def set(self, setter: Setter, width: float) -> Placed:
        """Return the drawing."""
        return _Drawing(self.height, self.draw, setter)


@dataclass(frozen=True, slots=True)
class _Space:
    height: float

    def operators(self, x: float, top: float) -> str:
        return ""

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        return self, None


@dataclass(frozen=True, slots=True)
class _Stacked:
    parts: tuple[Placed, ...]
    indent: float = 0.0

    @property
    def height(self) -> float:
        return sum(part.height for part in self.parts)

    def operators(self, x: float, top: float) -> str:
        drawn = []
        for part in self.parts:
            drawn.append(part.operators(x + self.indent, top))
            top -= part.height
        return "\n".join(filter(None, drawn))

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        first: list[Placed] = []
        for place, part in enumerate(self.parts):
            if part.height > height:
                fits, rest = part.parted(height)
                first += [fits] if fits else []
                left = ([rest] if rest else []) + list(self.parts[place + 1 :])
                return _Stacked(tuple(first), self.indent), _Stacked(tuple(left), self.indent)
            first.append(part)
            height -= part.height
        return self, None


@dataclass(frozen=True, slots=True)
class _Box:
    beside: Placed | None = None

    @property
    def height(self) -> float:
        return max(TICK_MM * POINTS_PER_MM, self.beside.height if self.beside else 0.0)

    def operators(self, x: float, top: float) -> str:
        side, height = TICK_MM * POINTS_PER_MM, self.height
        box = f"{x:.2f} {top - (height + side) / 2:.2f} {side:.2f} {side:.2f} re S"
        if self.beside is None:
            return box
        return f"{box}\n{self.beside.operators(x + side + BESIDE_PT, top - (height - self.beside.height) / 2)}"

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        return (self, None) if self.height <= height else (None, self)


EMPTY_BOX = _Box()


@dataclass(frozen=True, slots=True)
class _Drawing:
    height: float
    draw: Callable[[Canvas], None]
    setter: Setter

    def operators(self, x: float, top: float) -> str:
        canvas = self.setter.canvas
        before, canvas._code = canvas._code, []  # taken down by itself: it takes its turn among the other parts
        try:
            canvas.saveState()
            canvas.translate(x, top - self.height)
            self.draw(canvas)
            canvas.restoreState()
            return "\n".join(canvas._code)
        finally:
            canvas._code = before

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        return (self, None) if self.height <= height else (None, self)
