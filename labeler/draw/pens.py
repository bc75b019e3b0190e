"""Pens: how rules, boxes and codes are written as operators, in points or on a printer's dots.

Millimetres become points here and nowhere else. With the second pen a page is a whole number of
dots, and every rule, box and module lies on whole dots: rendered at the printer's resolution, it
has no grey between black and white.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.model import Box, Sheet, Symbol
from labeler.tables.printers import AS_DRAWN, Printer

POINTS_PER_INCH, MM_PER_INCH = 72, 25.4  # a point is 1/72 in (DOD-HDBK-791 6-5.3.2)
POINTS_PER_MM = POINTS_PER_INCH / MM_PER_INCH

BOX_LINE_MM = 0.2
CUT_LINE_GREY = 0.5
HANDLE = 0.5523  # of the radius: where a quarter circle's Bezier curve has its handles (4/3 (sqrt 2 - 1))
SHORT_PT = 0.001
"""By so much a page of whole dots is shorter, so that a renderer that rounds up comes to the right number."""

MAX_MODULE_ERROR = 0.02
"""Of a dot: what a module may be off a whole number of them, the rounding of lengths in the record."""

Rectangle = tuple[float, float, float, float]  # left, lower edge, width, height
Line = tuple[float, float, float, float]  # from x, y to x, y, along one of the axes, mm


def points(mm: float) -> float:
    """Return a length in points."""
    return mm * POINTS_PER_MM


def millimetres(points: float) -> float:
    """Return a length in millimetres."""
    return points / POINTS_PER_MM


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


@dataclass(frozen=True, slots=True)
class PointPen:
    """Writes operators at exact lengths; a printer's correction is one transformation of the page.

    Lengths given are millimetres from the lower left corner of the page or piece.
    """

    printer: Printer = AS_DRAWN
    per_mm: float = POINTS_PER_MM

    def page_size(self, page: Page) -> tuple[float, float]:
        """Return the page's size in points."""
        width, height = page.drawn(self.printer)
        return points(width), points(height)

    def begin(self, page: Page) -> str:
        """Return the operator that opens a page, "" for none: the correction of a printer's lengths.

        What is drawn is larger by as much as the printer makes it smaller, and moved by the offset.
        """
        p, (x, y) = self.printer, page.moved(self.printer)
        if (p.scale_x, p.scale_y, x, y) == (1, 1, 0, 0):
            return ""
        return f"{p.scale_x:.6f} 0 0 {p.scale_y:.6f} {points(x):.4f} {points(y):.4f} cm"

    def place(self, x_mm: float, y_mm: float, page: Page) -> str:
        """Return where a piece's origin is on a page."""
        return f"{points(x_mm):.3f} {points(y_mm):.3f}"

    def text(self, operators: str) -> str:
        """Return the operators of text, as the pen draws them."""
        return operators

    def box(self, box: Box) -> str:
        """Return a stroked rectangle."""
        measures = (box.x_mm, box.y_mm, box.width_mm, box.height_mm)
        rectangle = " ".join(f"{points(measure):.3f}" for measure in measures)
        return f"{points(BOX_LINE_MM):.3f} w {rectangle} re S"

    def lines(self, lines: Iterable[Line], width_mm: float) -> str:
        """Return lines along the axes."""
        k = self.per_mm
        paths = (f"{x * k:.3f} {y * k:.3f} m {a * k:.3f} {b * k:.3f} l" for x, y, a, b in lines)
        return f"{width_mm * k:.3f} w\n" + "\n".join(paths) + " S"

    def cut(self, outline: Rectangle, radius_mm: float, width_mm: float) -> str:
        """Return the outline of what is cut out, with round corners."""
        x, y, width, height = map(points, outline)
        path = rounded_rectangle(x, y, width, height, points(radius_mm))
        return f"q {CUT_LINE_GREY:g} G {points(width_mm):.3f} w {path} S Q"

    def grids(self, symbol: Symbol) -> tuple[str, ...]:
        """Return the matrix from a grid of modules to each copy of a code."""
        scale = f"{points(symbol.module_x_mm):.6f} 0 0 {points(symbol.module_y_mm):.6f}"
        return tuple(f"{scale} {points(x):.3f} {points(y):.3f}" for x, y in symbol.corners())


@dataclass(frozen=True, slots=True)
class DotPen:
    """Writes operators on a printer's dots, whose correction moves and scales by whole ones; see `PointPen`.

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
        """Return the page's size in points, of whole dots."""
        width, height = (max(1, self.dots(side)) * 72 / self.dpi - SHORT_PT for side in page.drawn(self.printer))
        return width, height

    def begin(self, page: Page) -> str:
        """Return the operator that makes a dot the unit of a page."""
        return f"{72 / self.dpi:.10f} 0 0 {72 / self.dpi:.10f} 0 0 cm"

    def place(self, x_mm: float, y_mm: float, page: Page) -> str:
        """Return where a piece's origin is on a page."""
        x, y = self.origin(x_mm, y_mm, page)
        return f"{x} {y}"

    def origin(self, x_mm: float, y_mm: float, page: Page) -> tuple[int, int]:
        """Return where a piece's origin is on a page, corrected, in dots."""
        x, y = page.moved(self.printer)
        return self.dots(self.printer.scale_x * x_mm + x), self.dots(self.printer.scale_y * y_mm + y)

    def text(self, operators: str) -> str:
        """Return the operators of text, in the printer's scale."""
        p = self.printer
        if (p.scale_x, p.scale_y) == (1, 1):
            return operators
        return f"q {p.scale_x:.6f} 0 0 {p.scale_y:.6f} 0 0 cm\n{operators}\nQ"

    def box(self, box: Box) -> str:
        """Return a frame of whole dots."""
        return self._frame(self._rectangle(box.x_mm, box.y_mm, box.width_mm, box.height_mm), 0, BOX_LINE_MM)

    def lines(self, lines: Iterable[Line], width_mm: float) -> str:
        """Return lines along the axes, as filled rectangles."""
        line = max(1, self.dots(width_mm))
        rules = []
        for x1, y1, x2, y2 in lines:
            x, y, width, height = self._rectangle(x1, y1, x2 - x1, y2 - y1)
            rules.append(f"{x - line // 2} {y - line // 2} {width + line} {height + line} re")
        return "0 g " + "\n".join(rules) + " f"

    def cut(self, outline: Rectangle, radius_mm: float, width_mm: float) -> str:
        """Return the outline of what is cut out, with round corners, as a frame of whole dots."""
        return self._frame(self._rectangle(*outline), self.dots(radius_mm), width_mm)

    def grids(self, symbol: Symbol) -> tuple[str, ...]:
        """Return the matrix from a grid of modules to each copy of a code.

        Raises `LabelerError` for modules that are not whole dots of this printer.
        """
        sides = [side * self.per_mm for side in (symbol.module_x_mm, symbol.module_y_mm)]
        if any(abs(side - round(side)) > MAX_MODULE_ERROR or round(side) < 1 for side in sides):
            text = f"the modules of its code are {sides[0]:.2f} dots at {self.dpi:g} dpi, and must be whole dots"
            fix = "print it anew for this printer, or without --png"
            raise LabelerError(Problem(SourceLocation(symbol.data), text, fix))
        corners = (self._at(*corner) for corner in symbol.corners())
        return tuple(f"{round(sides[0])} 0 0 {round(sides[1])} {x} {y}" for x, y in corners)

    def _at(self, x_mm: float, y_mm: float) -> tuple[int, int]:
        return self.dots(x_mm * self.printer.scale_x), self.dots(y_mm * self.printer.scale_y)

    def _rectangle(self, x: float, y: float, width: float, height: float) -> tuple[int, int, int, int]:
        (left, low), (right, top) = self._at(x, y), self._at(x + width, y + height)
        return left, low, right - left, top - low

    def _frame(self, outline: tuple[int, int, int, int], radius: int, line_mm: float) -> str:
        """Return a frame as the area between two rectangles, its line about the middle of the edges."""
        x, y, width, height = outline
        line = max(1, self.dots(line_mm))
        out = line // 2
        outer = rounded_rectangle(x - out, y - out, width + line, height + line, radius + out if radius else 0)
        inner_radius = max(0, radius + out - line) if radius else 0
        inner = rounded_rectangle(x - out + line, y - out + line, width - line, height - line, inner_radius)
        return f"0 g {outer} {inner} f*"


Pen = PointPen | DotPen


def rounded_rectangle(x: float, y: float, width: float, height: float, radius: float) -> str:
    """Return a rectangle as a path, its corners quarter circles of this radius (0: square)."""
    if radius <= 0:
        return f"{x:.6g} {y:.6g} {width:.6g} {height:.6g} re"
    r, h = radius, radius * (1 - HANDLE)
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
