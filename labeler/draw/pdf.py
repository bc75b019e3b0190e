"""Draw: sheets become one PDF, a page each, text as text and every length at its true size."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from labeler.draw.around import Header, cuts, ruler, words
from labeler.draw.ink import Ink, SharedSymbols
from labeler.draw.pens import POINTS_PER_MM, DotPen, Page, Pen, PointPen, correction
from labeler.draw.typeset import compress_last, embedded, plain_streams
from labeler.errors import LabelerError, Problem, Where
from labeler.files import write_whole
from labeler.layout.cells import cells
from labeler.model import Box, Face, Piece, Placed, Run, Sheet, Stock
from labeler.tables.printers import AS_DRAWN, RULER_MM, Printer
from labeler.text import load_font

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


# ---------------------------------------------------------------- Draw


__all__ = [
    "POINTS_PER_MM",
    "Header",
    "correction",
    "draw_sheets",
    "empty_document",
    "face_operations",
    "pages_of",
    "undrawable",
]


def draw_sheets(
    sheets: Iterable[Sheet],
    target: str | os.PathLike[str] | BinaryIO,
    *,
    title: str,
    header: Header,
    force: bool = False,
    printer: Printer = AS_DRAWN,
    dpi: float | None = None,
) -> None:
    """Write one PDF with a page for each sheet; the same sheets give the same bytes.

    Sheets with pieces that are lettered on both faces come again at the end, with those pieces
    alone: the second pass. A piece is turned over about its long axis in its own slot, so that what
    is printed in the middle of one face comes to lie in the middle of the other.

    A file appears whole or not at all: it is written beside the target, flushed to the disk and
    then given its name.

    Parameters
    ----------
    sheets : from `labeler.layout.lay_out`, at least one.
    target : path of the PDF, or a binary file that is open for writing.
    title : title of the document, shown by viewers.
    header : the line in the head margin; on reels and rolls it stands on the leader, if there is one.
    force : replace an existing file.
    printer : whose lengths are corrected.
    dpi : draw on the dots of a printer: pages, rules and modules are whole dots.

    Raises
    ------
    LabelerError : nothing to draw, a character that its font lacks, a code whose modules are not
        whole dots, a target that exists or cannot be written.
    """
    pen: Pen = DotPen(dpi, printer) if dpi else PointPen(printer)
    data = _document(sheets, title, header, pen)
    if isinstance(target, str | os.PathLike):
        write_whole(Path(target), data, force=force)
    else:
        target.write(data)


def pages_of(sheets: Iterable[Sheet]) -> tuple[tuple[Sheet, bool], ...]:
    """Return what `draw_sheets` puts on each page: a sheet with its pieces, and whether it is the second pass."""
    first = tuple(sheets)
    again = (replace(sheet, placed=_turned(sheet)) for sheet in _second_pass(first))
    return (*((sheet, False) for sheet in first), *((sheet, True) for sheet in again))


def face_operations(face: Face) -> str:
    """Return the PDF operators that draw one face, its lower left corner at the origin [points].

    Two faces that are drawn alike have the same operators: a reprint can be held against them.
    """
    return Ink(_canvas("", Header("").font), PointPen()).operations(face)


def undrawable(faces: Iterable[Face]) -> Iterator[tuple[Face, str]]:
    """Yield every face that cannot be drawn, and why."""
    ink = Ink(_canvas("", Header("").font), PointPen())
    for face in faces:
        try:
            ink.operations(face)
        except LabelerError as error:
            yield face, error.problems[0].message


# ---------------------------------------------------------------- the document


def _document(sheets: Iterable[Sheet], title: str, header: Header, pen: Pen) -> bytes:
    canvas = _canvas(title, header.font)
    drawn = tuple(sheets)
    if not drawn:
        raise LabelerError(Problem(Where(""), "no sheet to draw", "choose markers that are printed"))
    ink = Ink(canvas, pen, SharedSymbols(canvas, drawn))
    for sheet in drawn:
        _draw_page(canvas, ink, sheet, header)
    for sheet in _second_pass(drawn):
        _draw_page(canvas, ink, sheet, replace(header, turned_over=True))
    with plain_streams():
        data: bytes = canvas.getpdfdata()
    return data


def _second_pass(sheets: Sequence[Sheet]) -> Iterator[Sheet]:
    """Yield what is fed again: sheets with pieces lettered on both faces, of a tube on a reel all of its pages.

    The tube on a reel is fed once more as a whole: what is lettered on one face only passes unprinted.
    """
    reels = {(sheet.stock.name, sheet.group) for sheet in sheets if sheet.stock.kind == "reel" and _turned(sheet)}
    for sheet in sheets:
        if _turned(sheet) or (sheet.stock.name, sheet.group) in reels:
            yield sheet


def _turned(sheet: Sheet) -> tuple[Placed, ...]:
    return tuple(placed for placed in sheet.placed if placed.piece.face.passes > 1)


def _canvas(title: str, font: str) -> Canvas:
    """Return an empty document: compressed, without a clock in it, that asks not to be scaled."""
    from reportlab.pdfgen.canvas import Canvas

    first = embedded(load_font(font)).fontName  # else the document lists a font that it does not hold
    canvas = Canvas("", pageCompression=1, invariant=1, initialFontName=first)
    canvas.setTitle(title)
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator("labeler")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def empty_document(title: str, font: str) -> tuple[Canvas, str]:
    """Return an empty document and the name under which it knows a typeface."""
    canvas = _canvas(title, font)
    return canvas, embedded(load_font(font)).fontName


def _draw_page(canvas: Canvas, ink: Ink, sheet: Sheet, header: Header) -> None:
    pen = ink.pen
    page = Page.of(sheet)
    canvas.setPageSize(pen.page_size(page))
    matrix = pen.begin(page)
    if matrix:
        canvas.addLiteral(f"q {matrix}")
    shown = _turned(sheet) if header.turned_over else sheet.placed
    on_reel = sheet.stock.kind == "reel"  # there the cut marks show how the tube lies
    _draw_around(canvas, ink, sheet if on_reel else replace(sheet, placed=shown), header)
    if ink.shared:
        ink.shared.on_page(placed.piece.face for placed in shown)
    for placed in shown:
        place = pen.place(placed.x_mm, placed.y_mm, page)
        canvas.addLiteral(f"q 1 0 0 1 {place} cm\n{ink.operations(placed.piece.face)}\nQ")
    if matrix:
        canvas.addLiteral("Q")
    canvas.showPage()
    compress_last(canvas)


def _draw_around(canvas: Canvas, ink: Ink, sheet: Sheet, header: Header) -> None:
    """Draw what surrounds the pieces, in the place that the page's own origin has."""
    pen, stock = ink.pen, sheet.stock
    parts = [ink.operations(words(sheet, header))]
    if stock.kind in ("grid", "card"):
        parts.append(ruler(stock, pen))
    if stock.cut_lines:
        parts.append(cuts(sheet, pen))
    drawn = "\n".join(filter(None, parts))
    if drawn:
        canvas.addLiteral(f"q 1 0 0 1 {pen.place(0.0, 0.0, Page.of(sheet))} cm\n{drawn}\nQ")


# ---------------------------------------------------------------- empty


CARD_PIECE_MM = 10.0  # lay-flat width of the pieces shown on a card, whose rows follow the tube: project choice
NAME_MM = 1.8  # type size of the cells' names
PNG_DPI = 200


def empty_pdf(stock: Stock, font: str) -> bytes:
    """Return one page with the outline and the name of every cell, the printed zone of wraps, and the ruler.

    Raises `LabelerError` for a reel, which has no cells.
    """
    if stock.kind == "reel":
        text = f"{stock.name} is a reel: a page is as large as the piece on it, so there is no sheet to draw"
        raise LabelerError(Problem(stock.where, text, "name a sheet or a card"))
    height = CARD_PIECE_MM if stock.kind == "card" else stock.cell_height_mm
    placed = tuple(
        Placed(Piece("", _cell(stock, cell.name, height, font), stock.name), cell.name, cell.x_mm, cell.y_mm)
        for cell in cells(stock, height)
    )
    shown = replace(stock, cut_lines=True)
    sheet = Sheet(shown, 1, stock.page_width_mm, stock.page_height_mm, "", placed)
    target = BytesIO()
    draw_sheets([sheet], target, title=f"{stock.name}, empty", header=Header(stock.description, font))
    return target.getvalue()


def _cell(stock: Stock, name: str, height: float, font: str) -> Face:
    zone, inset = stock.print_around_mm, 0.6 + 0.3 * stock.corner_radius_mm  # clear of a rounded corner
    boxes = (Box(0.0, height - zone, stock.cell_width_mm, zone),) if zone else ()
    return Face(stock.cell_width_mm, height, (Run(name, font, NAME_MM, inset, inset),), boxes=boxes)


def first_page_png(pdf: bytes, dpi: int = PNG_DPI) -> bytes:
    """Return the first page of a PDF as PNG, its physical size in the file."""
    import pypdfium2

    page = pypdfium2.PdfDocument(pdf)[0]
    target = BytesIO()
    page.render(scale=dpi / 72, grayscale=True).to_pil().save(target, "PNG", dpi=(dpi, dpi))
    return target.getvalue()


CROSS_MM = 5.0  # arms of a cross
REEL_INSET_MM = 5.0  # of the ruler on tube from its ends
INSET_MM = 15.0  # crosses and rulers from the page's edges
CALIBRATION_WORDS = (  # in lines that the smallest page takes
    "Print at 100 %, not fitted to the page. Measure both rulers",
    "from the first tick to the last:",
    "labeler calibrate --printer NAME --measured-x … --measured-y …",
)


def calibration_pdf(stock: Stock, printer: Printer, font: str) -> bytes:
    """Return a page of the stock's size with a ruler of 100 mm along either edge and crosses in the corners.

    It is drawn with the printer's correction as it stands, so what is measured corrects it further. On a reel
    it is a piece of tube with the ruler along it. Raises `LabelerError` for stock whose page is too small.
    """
    if stock.kind == "reel":
        return _reel_calibration(stock, printer, font)
    width, height = stock.page_width_mm, stock.page_height_mm
    if min(width, height) < RULER_MM + 2 * INSET_MM:
        text = f"a page of {width:g} x {height:g} mm does not take rulers of {RULER_MM:g} mm"
        raise LabelerError(Problem(stock.where, f"{stock.name}: {text}", "name a larger stock"))
    canvas, name = empty_document(f"Calibration, {stock.name}", font)
    canvas.setPageSize((width * POINTS_PER_MM, height * POINTS_PER_MM))
    canvas.addLiteral(f"q {correction(printer, Page(width, height))}".rstrip())
    canvas.setLineWidth(0.1 * POINTS_PER_MM)
    canvas.lines([[v * POINTS_PER_MM for v in line] for line in _calibration_lines(width, height)])
    canvas.setFont(name, 9)
    drawn = f"Drawn with scale_x = {printer.scale_x:g}, scale_y = {printer.scale_y:g}."
    for i, line in enumerate((drawn, *CALIBRATION_WORDS)):
        canvas.drawString((INSET_MM + 10) * POINTS_PER_MM, (INSET_MM + 22 - 5 * i) * POINTS_PER_MM, line)
    canvas.addLiteral("Q")
    canvas.showPage()
    data: bytes = canvas.getpdfdata()
    return data


REEL_MM = 6.0  # height of what is drawn on a piece of tube: the lay-flat width of 1/8 in, common practice


def _reel_calibration(stock: Stock, printer: Printer, font: str) -> bytes:
    """Return a piece of tube with a ruler of 100 mm along it, and how to store what it measures."""
    page = Page(RULER_MM + 2 * REEL_INSET_MM, REEL_MM, own=True)
    canvas, name = empty_document(f"Calibration, {stock.name}", font)
    width, height = page.drawn(printer)
    canvas.setPageSize((width * POINTS_PER_MM, height * POINTS_PER_MM))
    canvas.addLiteral(f"q {correction(printer, page)}".rstrip())
    canvas.setLineWidth(0.1 * POINTS_PER_MM)
    left, low = REEL_INSET_MM, 1.0
    ticks = {step: 4.0 if step in (0, RULER_MM) else 1.5 for step in range(0, int(RULER_MM) + 1, 10)}
    lines = [(left, low, left + RULER_MM, low), *((left + x, low, left + x, low + up) for x, up in ticks.items())]
    canvas.lines([[v * POINTS_PER_MM for v in line] for line in lines])
    canvas.setFont(name, 6)
    drawn = f"100 mm, drawn with scale_x = {printer.scale_x:g}"
    words = f"{drawn}: measure it, then labeler calibrate --printer NAME --measured-x …"
    canvas.drawString((left + 1) * POINTS_PER_MM, (low + 2.2) * POINTS_PER_MM, words)
    canvas.addLiteral("Q")
    canvas.showPage()
    data: bytes = canvas.getpdfdata()
    return data


def _calibration_lines(width: float, height: float) -> list[tuple[float, float, float, float]]:
    lines = []
    for step in range(0, int(RULER_MM) + 1, 10):
        tick = 6.0 if step in (0, RULER_MM) else 3.0
        lines += [
            (INSET_MM + step, INSET_MM, INSET_MM + step, INSET_MM + tick),
            (INSET_MM, INSET_MM + step, INSET_MM + tick, INSET_MM + step),
        ]
    lines += [(INSET_MM, INSET_MM, INSET_MM + RULER_MM, INSET_MM), (INSET_MM, INSET_MM, INSET_MM, INSET_MM + RULER_MM)]
    for x in (INSET_MM, width / 2, width - INSET_MM):
        for y in (height / 2, height - INSET_MM):
            lines += [(x - CROSS_MM, y, x + CROSS_MM, y), (x, y - CROSS_MM, x, y + CROSS_MM)]
    return lines
