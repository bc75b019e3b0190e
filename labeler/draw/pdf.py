"""Draw: sheets become one PDF, a page each, text as text and every length at its true size."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from io import BytesIO

from labeler.draw.document import Document, embedded_name
from labeler.draw.marker_drawing import MarkerDrawing
from labeler.draw.pens import POINTS_PER_INCH, DotPen, Line, Page, PointPen, points
from labeler.draw.sheet_frame import Header, frame_operations
from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.layout.cells import cells
from labeler.model import Box, Face, Piece, Placed, Run, Sheet, Stock
from labeler.tables.printers import AS_DRAWN, RULER_MM, Printer

# ---------------------------------------------------------------- sheets


def draw_sheets(
    sheets: Iterable[Sheet], *, title: str, header: Header, printer: Printer = AS_DRAWN, dpi: float | None = None
) -> bytes:
    """Return one PDF with a page for each sheet; the same sheets give the same bytes.

    Sheets with pieces that are lettered on both faces come again at the end, with those pieces
    alone: the second pass. A piece is turned over about its long axis in its own slot, so that what
    is printed in the middle of one face comes to lie in the middle of the other.

    Parameters
    ----------
    sheets : from `labeler.layout.place.lay_out`, at least one.
    title : title of the document, shown by viewers.
    header : the line in the head margin; on reels and rolls it stands on the leader, if there is one.
    printer : whose lengths are corrected.
    dpi : draw on the dots of a printer: pages, rules and modules are whole dots.

    Raises
    ------
    LabelerError : nothing to draw, a character that its font lacks, a code whose modules are not
        whole dots.
    """
    document = Document(title, header.font)
    sheets = tuple(sheets)
    if not sheets:
        raise LabelerError(Problem(SourceLocation(""), "no sheet to draw", "choose markers that are printed"))
    drawing = MarkerDrawing(document, DotPen(dpi, printer) if dpi else PointPen(printer), sheets)
    for sheet in sheets:
        _draw_page(drawing, sheet, header)
    for sheet in _second_pass(sheets):
        _draw_page(drawing, sheet, replace(header, turned_over=True))
    return document.data()


def pages_of(sheets: Iterable[Sheet]) -> tuple[tuple[Sheet, bool], ...]:
    """Return what `draw_sheets` puts on each page: a sheet with its pieces, and whether it is the second pass."""
    first = tuple(sheets)
    again = (replace(sheet, placed=_turned(sheet)) for sheet in _second_pass(first))
    return (*((sheet, False) for sheet in first), *((sheet, True) for sheet in again))


def face_operations(face: Face) -> str:
    """Return the PDF operators that draw one face, its lower left corner at the origin [points].

    Two faces that are drawn alike have the same operators: a reprint can be held against them.
    """
    return MarkerDrawing(Document("", Header("").font), PointPen()).operations(face)


def undrawable(faces: Iterable[Face]) -> Iterator[tuple[Face, str]]:
    """Yield every face that cannot be drawn, and why."""
    drawing = MarkerDrawing(Document("", Header("").font), PointPen())
    for face in faces:
        try:
            drawing.operations(face)
        except LabelerError as error:
            yield face, error.problems[0].message


def _second_pass(sheets: Sequence[Sheet]) -> Iterator[Sheet]:
    """Yield what is fed again: sheets with pieces lettered on both faces, of a tube on a reel all of its pages.

    The tube on a reel is fed once more as a whole: what is lettered on one face only passes unprinted.
    """
    reels = {(sheet.stock.name, sheet.load) for sheet in sheets if sheet.stock.kind == "reel" and _turned(sheet)}
    for sheet in sheets:
        if _turned(sheet) or (sheet.stock.name, sheet.load) in reels:
            yield sheet


def _turned(sheet: Sheet) -> tuple[Placed, ...]:
    return tuple(placed for placed in sheet.placed if placed.piece.face.passes > 1)


def _draw_page(drawing: MarkerDrawing, sheet: Sheet, header: Header) -> None:
    document, pen, page = drawing.document, drawing.pen, Page.of(sheet)
    document.canvas.setPageSize(pen.page_size(page))
    matrix = pen.begin(page)
    if matrix:
        document.write(f"q {matrix}")
    shown = _turned(sheet) if header.turned_over else sheet.placed
    on_reel = sheet.stock.kind == "reel"  # there the cut marks show how the tube lies
    frame = frame_operations(sheet if on_reel else replace(sheet, placed=shown), header, drawing)
    if frame:
        document.write(f"q 1 0 0 1 {pen.place(0.0, 0.0, page)} cm\n{frame}\nQ")
    drawing.list_forms(placed.piece.face for placed in shown)
    for placed in shown:
        place = pen.place(placed.x_mm, placed.y_mm, page)
        document.write(f"q 1 0 0 1 {place} cm\n{drawing.operations(placed.piece.face)}\nQ")
    if matrix:
        document.write("Q")
    document.end_page()


# ---------------------------------------------------------------- an empty stock


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
        Placed(Piece("", _named_cell(stock, cell.name, height, font), stock.name), cell.name, cell.x_mm, cell.y_mm)
        for cell in cells(stock, height)
    )
    sheet = Sheet(replace(stock, cut_lines=True), 1, stock.page_width_mm, stock.page_height_mm, "", placed)
    return draw_sheets([sheet], title=f"{stock.name}, empty", header=Header(stock.description, font))


def _named_cell(stock: Stock, name: str, height: float, font: str) -> Face:
    zone, inset = stock.print_zone_mm, 0.6 + 0.3 * stock.corner_radius_mm  # clear of a rounded corner
    boxes = (Box(0.0, height - zone, stock.cell_width_mm, zone),) if zone else ()
    return Face(stock.cell_width_mm, height, (Run(name, font, NAME_MM, inset, inset),), boxes=boxes)


def first_page_png(pdf: bytes, dpi: int = PNG_DPI) -> bytes:
    """Return the first page of a PDF as PNG, its physical size in the file."""
    import pypdfium2

    page = pypdfium2.PdfDocument(pdf)[0]
    target = BytesIO()
    page.render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_pil().save(target, "PNG", dpi=(dpi, dpi))
    return target.getvalue()


# ---------------------------------------------------------------- calibration


RULER_LINE_MM = 0.1
CROSS_MM = 5.0  # arms of a cross
INSET_MM = 15.0  # crosses and rulers from the page's edges
CALIBRATION_WORDS = (  # in lines that the smallest page takes
    "Print at 100 %, not fitted to the page. Measure both rulers",
    "from the first tick to the last:",
    "labeler calibrate printer NAME --measured-x … --measured-y …",
)
REEL_INSET_MM = 5.0  # of the ruler on tube from its ends
REEL_MM = 6.0  # height of what is drawn on a piece of tube: the lay-flat width of 1/8 in, common practice


def calibration_pdf(stock: Stock, printer: Printer, font: str) -> bytes:
    """Return a page of the stock's size with a ruler of 100 mm along either edge and crosses in the corners.

    It is drawn with the printer's correction as it stands, so what is measured corrects it further. On a reel
    it is a piece of tube with the ruler along it. Raises `LabelerError` for stock whose page is too small.
    """
    scale = f"scale_x = {printer.scale_x:g}"
    if stock.kind == "reel":
        page = Page(RULER_MM + 2 * REEL_INSET_MM, REEL_MM, own=True)
        words = f"100 mm, drawn with {scale}: measure it, then labeler calibrate printer NAME --measured-x …"
        lines, texts, size = _reel_ruler(), [(REEL_INSET_MM + 1, 3.2, words)], 6
    else:
        page = Page(stock.page_width_mm, stock.page_height_mm)
        if min(page.width_mm, page.height_mm) < RULER_MM + 2 * INSET_MM:
            text = f"a page of {page.width_mm:g} x {page.height_mm:g} mm does not take rulers of {RULER_MM:g} mm"
            raise LabelerError(Problem(stock.where, f"{stock.name}: {text}", "name a larger stock"))
        words = f"Drawn with {scale}, scale_y = {printer.scale_y:g}."
        lines, size = _rulers(page), 9
        texts = [(INSET_MM + 10, INSET_MM + 22 - 5 * i, line) for i, line in enumerate((words, *CALIBRATION_WORDS))]
    document, pen = Document(f"Calibration, {stock.name}", font), PointPen(printer)
    canvas = document.canvas
    canvas.setPageSize(pen.page_size(page))
    document.write(f"q {pen.begin(page)}".rstrip())
    canvas.setLineWidth(points(RULER_LINE_MM))
    canvas.lines([[*map(points, line)] for line in lines])
    canvas.setFont(embedded_name(font), size)
    for x, y, text in texts:
        canvas.drawString(points(x), points(y), text)
    document.write("Q")
    document.end_page()
    return document.data()


def _reel_ruler() -> list[Line]:
    left, low = REEL_INSET_MM, 1.0
    lines = [(left, low, left + RULER_MM, low)]
    for step in range(0, int(RULER_MM) + 1, 10):
        tick = 4.0 if step in (0, RULER_MM) else 1.5
        lines.append((left + step, low, left + step, low + tick))
    return lines


def _rulers(page: Page) -> list[Line]:
    """Return the lines of both rulers and of the crosses."""
    left, right = INSET_MM, INSET_MM + RULER_MM
    lines = []
    for step in range(0, int(RULER_MM) + 1, 10):
        tick = 6.0 if step in (0, RULER_MM) else 3.0
        lines += [(left + step, left, left + step, left + tick), (left, left + step, left + tick, left + step)]
    lines += [(left, left, right, left), (left, left, left, right)]
    for x in (INSET_MM, page.width_mm / 2, page.width_mm - INSET_MM):
        for y in (page.height_mm / 2, page.height_mm - INSET_MM):
            lines += [(x - CROSS_MM, y, x + CROSS_MM, y), (x, y - CROSS_MM, x, y + CROSS_MM)]
    return lines
