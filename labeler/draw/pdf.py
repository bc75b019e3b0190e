"""Draw: sheets become one PDF, a page each, text as text and every length at its true size."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from labeler.draw.around import Header, cuts, ruler, words
from labeler.draw.documents import compress_last, plain_streams
from labeler.draw.files import write_whole
from labeler.draw.ink import Ink
from labeler.draw.pens import POINTS_PER_MM, DotPen, Page, Pen, PointPen, correction
from labeler.draw.strings import embedded
from labeler.draw.symbols import SharedSymbols
from labeler.errors import LabelerError, Problem, Where
from labeler.model import Face, Placed, Sheet
from labeler.printers import AS_DRAWN, Printer
from labeler.text import load_font

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

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
