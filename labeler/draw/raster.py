"""Raster: the pages of a PDF as PNG at exactly a printer's dots, in black and white."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from io import BytesIO
from typing import TYPE_CHECKING

from labeler.draw.pens import MM_PER_INCH, POINTS_PER_INCH, DotPen, Page
from labeler.errors import Problem, SourceLocation
from labeler.model import Placed, Sheet
from labeler.tables.printers import AS_DRAWN, Printer

if TYPE_CHECKING:
    from PIL.Image import Image


MAX_DOTS = 600_000_000  # of a page, project choice: A4 at 2400 dpi has 557 million, each of which takes two bytes
BLACK_BELOW = 128  # of 256 levels: a dot that is covered by half and more


def page_pictures(pdf: bytes, dpi: float) -> Iterator[Image]:
    """Yield every page of a PDF as a picture of one bit, a dot of the printer each.

    The PDF is drawn on the dots of the same printer (`draw_sheets` with its ``dpi``): its modules
    and rules lie on whole dots, so nothing of them depends on where grey becomes black.
    """
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    try:
        for page in document:
            grey = page.render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_pil()
            yield grey.point([255 if level >= BLACK_BELOW else 0 for level in range(256)], "1")
            page.close()
    finally:
        document.close()


def too_many_dots(sheets: Iterable[Sheet], dpi: float) -> Iterator[Problem]:
    """Yield a problem for every stock whose pages have too many dots for a picture."""
    reported: set[str] = set()
    for sheet in sheets:
        dots = sheet.width_mm * sheet.height_mm * (dpi / MM_PER_INCH) ** 2
        if dots > MAX_DOTS and sheet.stock.name not in reported:
            reported.add(sheet.stock.name)
            size = f"a page of {sheet.width_mm:g} x {sheet.height_mm:g} mm at {dpi:g} dpi"
            text = f"{sheet.stock.name}: {size} has {dots / 1e6:,.0f} million dots, the limit is {MAX_DOTS // 10**6}"
            yield Problem(SourceLocation("--png"), text, "choose fewer dots (dpi of the printer, or print.dpi)")


def png(picture: Image, dpi: float) -> bytes:
    """Return a picture as PNG with its physical size in it (pHYs, whole dots a metre)."""
    target = BytesIO()
    picture.save(target, "PNG", dpi=(dpi, dpi), optimize=False)
    return target.getvalue()


def piece_pictures(
    picture: Image, sheet: Sheet, dpi: float, printer: Printer = AS_DRAWN
) -> Iterable[tuple[Placed, Image]]:
    """Yield each piece of a sheet, cut out of the picture of its page at whole dots."""
    pen = DotPen(dpi, printer)
    for placed in sheet.placed:
        face = placed.piece.face
        left, low = pen.origin(placed.x_mm, placed.y_mm, Page.of(sheet))
        width, high = pen.dots(face.width_mm * printer.scale_x), pen.dots(face.height_mm * printer.scale_y)
        yield placed, picture.crop((left, picture.height - low - high, left + width, picture.height - low))
