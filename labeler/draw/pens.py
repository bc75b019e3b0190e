"""Pens: how rules, boxes and codes are written as operators, in points or on a printer's dots.

Millimetres become points here and nowhere else. With the second pen a page is a whole number of
dots, and every rule, box and module lies on whole dots: rendered at the printer's resolution, it
has no grey between black and white.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from labeler.errors import LabelerError, Problem, Where
from labeler.model import Box, Sheet, Symbol
from labeler.tables.printers import AS_DRAWN, Printer

POINTS_PER_MM = 72 / 25.4  # a point is 1/72 in (DOD-HDBK-791 6-5.3.2)
MM_PER_INCH = 25.4

BOX_LINE_MM = 0.2
CUT_LINE_GREY = 0.5
ROUND = 0.5523  # of the radius: where a quarter circle's Bezier curve has its handles (4/3 (sqrt 2 - 1))
SHORT_PT = 0.001
"""By so much a page of whole dots is shorter, so that a renderer that rounds up comes to the right number."""

MOST_OFF = 0.02
"""Of a dot: what a module may be off a whole number of them, the rounding of lengths in the record."""

Line = tuple[float, float, float, float]  # from x, y to x, y, along one of the axes, mm


@dataclass(frozen=True, slots=True)
class Page:
    """The size of a page [mm]. ``own``: its length is that of what lies on it, as on a reel, not that of a sheet.

    A printer that makes lengths shorter is given a longer page then, so that tube is cut as long as it should be.
    """

    width_mm: float
    height_mm: float
    own: bool = False

    @classmethod
    def of(cls, sheet: Sheet) -> Page:
        """Return the page of a sheet."""
        return cls(sheet.width_mm, sheet.height_mm, sheet.stock.kind == "reel")

    def drawn(self, printer: Printer) -> tuple[float, float]:
        """Return width and height [mm] as they are drawn for a printer."""
        return self.width_mm * (printer.scale_x if self.own else 1.0), self.height_mm

    def moved(self, printer: Printer) -> tuple[float, float]:
        """Return by how much [mm] what is scaled from the page's lower left corner is moved.

        Scaled is about the middle of the page, along a page of its own length from its left edge.
        """
        x = printer.offset_x_mm + (0.0 if self.own else (1 - printer.scale_x) * self.width_mm / 2)
        return x, printer.offset_y_mm + (1 - printer.scale_y) * self.height_mm / 2


class Pen(Protocol):
    """Writes operators for one page size; lengths given are millimetres from the page's or piece's lower left."""

    @property
    def per_mm(self) -> float:
        """Return the units in a millimetre."""

    def page_size(self, page: Page) -> tuple[float, float]:
        """Return the page's size in points."""

    def begin(self, page: Page) -> str:
        """Return the operator that opens a page, "" for none."""

    def place(self, x_mm: float, y_mm: float, page: Page) -> str:
        """Return where a piece's origin is on a page."""

    def text(self, operators: str) -> str:
        """Return the operators of text, as the pen draws them."""

    def box(self, box: Box) -> str:
        """Return a stroked rectangle."""

    def lines(self, lines: Iterable[Line], wide_mm: float) -> str:
        """Return lines along the axes."""

    def cut(self, x: float, y: float, width: float, height: float, radius: float, wide_mm: float) -> str:
        """Return the outline of what is cut out."""

    def grids(self, symbol: Symbol) -> tuple[str, ...]:
        """Return the matrix from a grid of modules to each copy of a code."""


@dataclass(frozen=True, slots=True)
class PointPen:
    """Draws at exact lengths; a printer's correction is one transformation of the page."""

    printer: Printer = AS_DRAWN
    per_mm: float = POINTS_PER_MM

    def page_size(self, page: Page) -> tuple[float, float]:
        """See `Pen`."""
        width, height = page.drawn(self.printer)
        return width * self.per_mm, height * self.per_mm

    def begin(self, page: Page) -> str:
        """See `Pen`."""
        return correction(self.printer, page)

    def place(self, x_mm: float, y_mm: float, page: Page) -> str:
        """See `Pen`."""
        return f"{x_mm * self.per_mm:.3f} {y_mm * self.per_mm:.3f}"

    def text(self, operators: str) -> str:
        """See `Pen`."""
        return operators

    def box(self, box: Box) -> str:
        """See `Pen`."""
        measures = (box.x_mm, box.y_mm, box.width_mm, box.height_mm)
        rectangle = " ".join(f"{measure * self.per_mm:.3f}" for measure in measures)
        return f"{BOX_LINE_MM * self.per_mm:.3f} w {rectangle} re S"

    def lines(self, lines: Iterable[Line], wide_mm: float) -> str:
        """See `Pen`."""
        k = self.per_mm
        paths = (f"{x * k:.3f} {y * k:.3f} m {a * k:.3f} {b * k:.3f} l" for x, y, a, b in lines)
        return f"{wide_mm * k:.3f} w\n" + "\n".join(paths) + " S"

    def cut(self, x: float, y: float, width: float, height: float, radius: float, wide_mm: float) -> str:
        """See `Pen`."""
        k = self.per_mm
        path = rounded_rectangle(x * k, y * k, width * k, height * k, radius * k)
        return f"q {CUT_LINE_GREY:g} G {wide_mm * k:.3f} w {path} S Q"

    def grids(self, symbol: Symbol) -> tuple[str, ...]:
        """See `Pen`."""
        k = self.per_mm
        scale = f"{symbol.module_x_mm * k:.6f} 0 0 {symbol.module_y_mm * k:.6f}"
        return tuple(f"{scale} {x * k:.3f} {y * k:.3f}" for x, y in symbol.corners())


@dataclass(frozen=True, slots=True)
class DotPen:
    """Draws on a printer's dots: one unit is one dot, and a printer's correction moves and scales by whole ones.

    A code's modules keep their whole number of dots: they are corrected in place, not in size.
    """

    dpi: float
    printer: Printer = AS_DRAWN

    @property
    def per_mm(self) -> float:
        """Return dots in a millimetre."""
        return self.dpi / MM_PER_INCH

    def dots(self, mm: float) -> int:
        """Return a length in whole dots."""
        return round(mm * self.per_mm)

    def page_size(self, page: Page) -> tuple[float, float]:
        """See `Pen`."""
        sides = page.drawn(self.printer)
        width, height = (max(1, self.dots(side)) * 72 / self.dpi - SHORT_PT for side in sides)
        return width, height

    def begin(self, page: Page) -> str:
        """See `Pen`."""
        return f"{72 / self.dpi:.10f} 0 0 {72 / self.dpi:.10f} 0 0 cm"

    def place(self, x_mm: float, y_mm: float, page: Page) -> str:
        """See `Pen`."""
        x, y = self.origin(x_mm, y_mm, page)
        return f"{x} {y}"

    def origin(self, x_mm: float, y_mm: float, page: Page) -> tuple[int, int]:
        """Return where a piece's origin is on a page, corrected, in dots."""
        x, y = page.moved(self.printer)
        return self.dots(self.printer.scale_x * x_mm + x), self.dots(self.printer.scale_y * y_mm + y)

    def text(self, operators: str) -> str:
        """See `Pen`."""
        p = self.printer
        if (p.scale_x, p.scale_y) == (1, 1):
            return operators
        return f"q {p.scale_x:.6f} 0 0 {p.scale_y:.6f} 0 0 cm\n{operators}\nQ"

    def box(self, box: Box) -> str:
        """See `Pen`."""
        x, y, width, height = self._rectangle(box.x_mm, box.y_mm, box.width_mm, box.height_mm)
        return self._frame(x, y, width, height, 0, BOX_LINE_MM)

    def lines(self, lines: Iterable[Line], wide_mm: float) -> str:
        """See `Pen`."""
        wide = max(1, self.dots(wide_mm))
        rules = []
        for line in lines:
            x, y, width, height = self._rectangle(*line[:2], line[2] - line[0], line[3] - line[1])
            rules.append(f"{x - wide // 2} {y - wide // 2} {width + wide} {height + wide} re")
        return "0 g " + "\n".join(rules) + " f"

    def cut(self, x: float, y: float, width: float, height: float, radius: float, wide_mm: float) -> str:
        """See `Pen`."""
        return self._frame(*self._rectangle(x, y, width, height), self.dots(radius), wide_mm)

    def grids(self, symbol: Symbol) -> tuple[str, ...]:
        """See `Pen`. Raises `LabelerError` for modules that are not whole dots of this printer."""
        sides = [side * self.per_mm for side in (symbol.module_x_mm, symbol.module_y_mm)]
        if any(abs(side - round(side)) > MOST_OFF or round(side) < 1 for side in sides):
            text = f"the modules of its code are {sides[0]:.2f} dots at {self.dpi:g} dpi, and must be whole dots"
            fix = "print it anew for this printer, or without --png"
            raise LabelerError(Problem(Where(symbol.payload), text, fix))
        corners = (self._at(*corner) for corner in symbol.corners())
        return tuple(f"{round(sides[0])} 0 0 {round(sides[1])} {x} {y}" for x, y in corners)

    def _at(self, x_mm: float, y_mm: float) -> tuple[int, int]:
        return self.dots(x_mm * self.printer.scale_x), self.dots(y_mm * self.printer.scale_y)

    def _rectangle(self, x: float, y: float, width: float, height: float) -> tuple[int, int, int, int]:
        (left, low), (right, top) = self._at(x, y), self._at(x + width, y + height)
        return left, low, right - left, top - low

    def _frame(self, x: int, y: int, width: int, height: int, radius: int, wide_mm: float) -> str:
        """Return a frame as the area between two rectangles, its line about the middle of the edges."""
        wide = max(1, self.dots(wide_mm))
        out = wide // 2
        far = rounded_rectangle(x - out, y - out, width + wide, height + wide, radius + out if radius else 0)
        near = rounded_rectangle(
            x - out + wide, y - out + wide, width - wide, height - wide, max(0, radius + out - wide) if radius else 0
        )
        return f"0 g {far} {near} f*"


def correction(printer: Printer, page: Page) -> str:
    """Return the operator that corrects a printer's lengths on a page; "" for none.

    What is drawn is larger by as much as the printer makes it smaller, and moved by the offset.
    """
    x, y = page.moved(printer)
    if (printer.scale_x, printer.scale_y, x, y) == (1, 1, 0, 0):
        return ""
    return f"{printer.scale_x:.6f} 0 0 {printer.scale_y:.6f} {x * POINTS_PER_MM:.4f} {y * POINTS_PER_MM:.4f} cm"


def rounded_rectangle(x: float, y: float, width: float, height: float, radius: float) -> str:
    """Return a rectangle as a path, its corners quarter circles of this radius (0: square)."""
    if radius <= 0:
        return f"{x:.6g} {y:.6g} {width:.6g} {height:.6g} re"
    r, h = radius, radius * (1 - ROUND)
    right, top = x + width, y + height
    steps = (
        (x + r, y, "m"),
        (right - r, y, "l"),
        (right - h, y, right, y + h, right, y + r, "c"),
        (right, top - r, "l"),
        (right, top - h, right - h, top, right - r, top, "c"),
        (x + r, top, "l"),
        (x + h, top, x, top - h, x, top - r, "c"),
        (x, y + r, "l"),
        (x, y + h, x + h, y, x + r, y, "c"),
    )
    return " ".join(part if isinstance(part, str) else f"{part:.6g}" for step in steps for part in step) + " h"
