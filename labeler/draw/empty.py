"""An empty stock as PDF and PNG, to be laid over the real sheet and held to the light."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

from labeler.draw.pdf import Header, draw_sheets, empty_document
from labeler.draw.pens import POINTS_PER_MM, Page, correction
from labeler.errors import LabelerError, Problem
from labeler.layout import cells
from labeler.model import Box, Face, Piece, Placed, Run, Sheet, Stock
from labeler.printers import RULER_MM, Printer

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
    for i, words in enumerate((drawn, *CALIBRATION_WORDS)):
        canvas.drawString((INSET_MM + 10) * POINTS_PER_MM, (INSET_MM + 22 - 5 * i) * POINTS_PER_MM, words)
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
