"""An empty stock as PDF and PNG, to be laid over the real sheet and held to the light."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

from labeler.draw.pdf import Header, draw_sheets
from labeler.errors import LabelerError, Problem
from labeler.layout import cells
from labeler.model import Box, Face, Piece, Placed, Run, Sheet, Stock

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
    zone = stock.print_around_mm
    boxes = (Box(0.0, height - zone, stock.cell_width_mm, zone),) if zone else ()
    return Face(stock.cell_width_mm, height, (Run(name, font, NAME_MM, 0.6, 0.6),), boxes=boxes)


def first_page_png(pdf: bytes, dpi: int = PNG_DPI) -> bytes:
    """Return the first page of a PDF as PNG, its physical size in the file."""
    import pypdfium2

    page = pypdfium2.PdfDocument(pdf)[0]
    target = BytesIO()
    page.render(scale=dpi / 72, grayscale=True).to_pil().save(target, "PNG", dpi=(dpi, dpi))
    return target.getvalue()
