"""Draw: sheets become one PDF, a page each, text as text and every length at its true size.

Millimetres become points here and nowhere else. A page's operators are written as text: that is
several times faster than a call for every string, and what is drawn can be compared.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from labeler.draw.files import write_whole
from labeler.draw.points import POINTS_PER_MM as POINTS_PER_MM  # others take it from here
from labeler.draw.symbols import SharedSymbols, symbol_operations
from labeler.errors import LabelerError, Problem, Where
from labeler.layout import HEAD_STRIP_MM, RULER_MM
from labeler.model import Box, Face, Placed, Run, Sheet, Stock
from labeler.printers import AS_DRAWN, Printer
from labeler.text import Font, font_for, load_font

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

CUT_LINE_MM = 0.1
CUT_LINE_GREY = 0.5
BOX_LINE_MM = 0.2
RULER_LINE_MM = 0.1
SECOND_PASS = " · SECOND PASS: turn every piece over about its long axis, in its own slot"
RULER_WORDS = "50 mm: must measure exactly 50 mm"
RULER_WORDS_MM = 6.5 / POINTS_PER_MM
HEADER_MM = 7.0 / POINTS_PER_MM
SMALLEST_HEADER_MM = 6.0 / POINTS_PER_MM
EDGE_MM = 5.0
"""Not every printer reaches the outer 5 mm of a page: the header keeps out (project choice)."""


@dataclass(frozen=True, slots=True)
class Header:
    """What stands in the head margin of every sheet, for people: the job, and the font it is set in."""

    job: str
    font: str = "Atkinson Hyperlegible"
    turned_over: bool = False  # the second pass of pieces that are lettered on both faces


def draw_sheets(
    sheets: Iterable[Sheet],
    target: str | os.PathLike[str] | BinaryIO,
    *,
    title: str,
    header: Header,
    force: bool = False,
    printer: Printer = AS_DRAWN,
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
    header : the line in the head margin; pages of a reel have none.
    force : replace an existing file.
    printer : whose lengths are corrected.

    Raises
    ------
    LabelerError : nothing to draw, a character that its font lacks, a target that exists or cannot
        be written.
    """
    if isinstance(target, str | os.PathLike):
        path = Path(target)
        write_whole(path, _document(sheets, title, header, printer), force=force)
    else:
        target.write(_document(sheets, title, header, printer))


def face_operations(face: Face) -> str:
    """Return the PDF operators that draw one face, its lower left corner at the origin [points].

    Two faces that are drawn alike have the same operators: a reprint can be held against them.
    """
    return _Ink(_canvas("", Header("").font)).operations(face)


# ---------------------------------------------------------------- the document


def _document(sheets: Iterable[Sheet], title: str, header: Header, printer: Printer) -> bytes:
    canvas = _canvas(title, header.font)
    sheets = tuple(sheets)
    shared = SharedSymbols(canvas, sheets)
    ink = _Ink(canvas, shared)
    again: list[Sheet] = []
    empty = True
    for sheet in sheets:
        _draw_page(canvas, ink, sheet, header, printer, shared)
        empty = False
        turned = tuple(placed for placed in sheet.placed if placed.piece.face.passes > 1)
        if turned:
            again.append(replace(sheet, placed=turned))
    for sheet in again:
        _draw_page(canvas, ink, sheet, replace(header, turned_over=True), printer, shared)
    if empty:
        raise LabelerError(Problem(Where(""), "no sheet to draw", "choose markers that are printed"))
    with _plain_streams():
        data: bytes = canvas.getpdfdata()
    return data


@contextmanager
def _plain_streams() -> Iterator[None]:
    """Leave compressed pages as bytes, without the library's wrapping in letters: smaller and faster."""
    from reportlab import rl_config

    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


def _canvas(title: str, font: str) -> Canvas:
    """Return an empty document: compressed, without a clock in it, that asks not to be scaled."""
    from reportlab.pdfgen.canvas import Canvas

    first = _embedded(load_font(font)).fontName  # else the document lists a font that it does not hold
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
    return canvas, _embedded(load_font(font)).fontName


@lru_cache(maxsize=32)
def _embedded(font: Font) -> Any:
    """Return the font as the PDF library holds it, under a name of its own contents."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        embedded = TTFont(f"labeler-{font.digest}", str(font.path), asciiReadable=1, shapable=False)
    except TTFError as error:
        why = f"font cannot be embedded ({error})"
        raise LabelerError(Problem(Where(str(font.path)), why, "choose another TTF file")) from error
    registerFont(embedded)
    return embedded


def correction(printer: Printer, width_mm: float, height_mm: float) -> str:
    """Return the operator that corrects a printer's lengths on a page of this size, about its middle; "" for none.

    What is drawn is larger by as much as the printer makes it smaller, and moved by the offset.
    """
    x = printer.offset_x_mm + (1 - printer.scale_x) * width_mm / 2
    y = printer.offset_y_mm + (1 - printer.scale_y) * height_mm / 2
    if (printer.scale_x, printer.scale_y, x, y) == (1, 1, 0, 0):
        return ""
    return f"{printer.scale_x:.6f} 0 0 {printer.scale_y:.6f} {x * POINTS_PER_MM:.4f} {y * POINTS_PER_MM:.4f} cm"


def _draw_page(
    canvas: Canvas, ink: _Ink, sheet: Sheet, header: Header, printer: Printer, shared: SharedSymbols
) -> None:
    canvas.setPageSize((sheet.width_mm * POINTS_PER_MM, sheet.height_mm * POINTS_PER_MM))
    matrix = correction(printer, sheet.width_mm, sheet.height_mm)
    if matrix:
        canvas.addLiteral(f"q {matrix}")
    if sheet.stock.kind != "reel":
        canvas.addLiteral(ink.operations(_words(sheet, header)))
        _draw_ruler(canvas, sheet.stock)
        if sheet.stock.cut_lines:
            _draw_cuts(canvas, sheet)
    for placed in sheet.placed:
        x, y = placed.x_mm * POINTS_PER_MM, placed.y_mm * POINTS_PER_MM
        canvas.addLiteral(f"q 1 0 0 1 {x:.3f} {y:.3f} cm\n{ink.operations(placed.piece.face)}\nQ")
        if placed.piece.face.symbol is not None:
            shared.draw(placed.piece.face.symbol, placed.x_mm, placed.y_mm)
    if matrix:
        canvas.addLiteral("Q")
    canvas.showPage()


# ---------------------------------------------------------------- one face

# First four numbers of the text matrix (ISO 32000-1, 9.4.2): the line is turned, then stretched across the piece.
_TURNED = {0: "1 0 0 {s:.6g}", 90: "0 {s:.6g} -1 0", 180: "-1 0 0 -{s:.6g}", 270: "0 -{s:.6g} 1 0"}


class _Ink:
    """Writes faces as operators for one document, whose fonts hold the characters used so far."""

    def __init__(self, canvas: Canvas, shared: SharedSymbols | None = None) -> None:
        self._shared = shared
        # The library's own text object asks a font in the same way for its strings, with the same
        # argument; asking directly lets a string that is drawn several times be encoded once.
        self._document = canvas._doc
        self._strings: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
        self._first: dict[str, tuple[str, dict[str, str]]] = {}  # by font: its first part, and the codes in it
        self._sizes: dict[float, str] = {}
        self._faces: dict[int, tuple[Face, str]] = {}  # by identity; the face is kept so that it stays its own

    def operations(self, face: Face) -> str:
        """Return what draws the face, once for each face object."""
        known = self._faces.get(id(face))
        if known is None:
            parts = [self._text(face)] if face.runs else []
            parts += map(_box, face.boxes)
            if face.symbol is not None:
                parts.append(self._shared.operations(face.symbol) if self._shared else symbol_operations(face.symbol))
            known = self._faces[id(face)] = face, "\n".join(parts)
        return known[1]

    def _text(self, face: Face) -> str:
        if len(face.runs) == 1:
            strings = self._encoded(face.runs[0].font, face.runs[0].text)
            if len(strings) == 1:
                return self._one_line(face, face.runs[0], *strings[0])
        return self._lines(face)

    def _one_line(self, face: Face, run: Run, font: str, string: str) -> str:
        """What `_lines` would give for one line in one part of the font: most markers are that."""
        size = self._sizes.get(run.size_mm)
        if size is None:
            size = self._sizes[run.size_mm] = f"{run.size_mm * POINTS_PER_MM:.4f}"
        matrix = "1 0 0 1" if run.stretch == 1 and not run.turn else _TURNED[run.turn].format(s=run.stretch)
        x, y, apart = run.x_mm * POINTS_PER_MM, run.y_mm * POINTS_PER_MM, face.copy_pitch_mm * POINTS_PER_MM
        if face.copies == 1:
            return f"BT {font} {size} Tf {matrix} {x:.3f} {y:.3f} Tm ({string}) Tj ET"
        copies = [f"{matrix} {x:.3f} {y - copy * apart:.3f} Tm ({string}) Tj" for copy in range(face.copies)]
        return f"BT {font} {size} Tf " + "\n".join(copies) + " ET"

    def _lines(self, face: Face) -> str:
        lines = [
            (run, [(f"{name} {run.size_mm * POINTS_PER_MM:.4f} Tf", string) for name, string in strings])
            for run in face.runs
            if (strings := self._encoded(run.font, run.text))
        ]
        settings = {setting for _, strings in lines for setting, _ in strings}
        once = f"{settings.pop()} " if len(settings) == 1 else ""
        placed = [
            (
                f"{_TURNED[run.turn].format(s=run.stretch)} {run.x_mm * POINTS_PER_MM:.3f}",
                run.y_mm * POINTS_PER_MM,
                " ".join(f"({text}) Tj" if once else f"{font} ({text}) Tj" for font, text in strings),
            )
            for run, strings in lines
        ]
        steps = [copy * face.copy_pitch_mm * POINTS_PER_MM for copy in range(face.copies)]
        shown = [f"{across} {y - step:.3f} Tm {show}" for step in steps for across, y, show in placed]
        return f"BT {once}" + "\n".join(shown) + " ET"

    def _encoded(self, name: str, text: str) -> tuple[tuple[str, str], ...]:
        """Return the text in pieces that each lie in one part of the font: (font, escaped string)."""
        if name in self._first:
            part, codes = self._first[name]
            try:  # every sign was met before, and lies in the font's first part
                return ((part, "".join([codes[sign] for sign in text])),)
            except KeyError:
                pass
        known = self._strings.get((name, text))
        if known is None:
            font = load_font(name)
            if font.missing(text):
                font_for(font.name, frozenset(text))  # names the characters, unless a stand-in has them
                fix = "lay it out again, so that the stand-in is measured"
                raise LabelerError(Problem(Where(""), f'"{text}" has characters that {name} lacks', fix))
            embedded = _embedded(font)
            split = embedded.splitString(text, self._document)
            known = self._strings[name, text] = tuple(
                (embedded.getSubsetInternalName(part, self._document), _escape(codes)) for part, codes in split
            )
            if len(split) == 1 and split[0][0] == 0 and len(split[0][1]) == len(text):
                first = self._first.setdefault(name, (known[0][0], {}))
                first[1].update((sign, _escape(bytes([code]))) for sign, code in zip(text, split[0][1], strict=True))
        return known


_ESCAPES = {code: f"\\{code:03o}" for code in (*range(32), *range(127, 256))} | {
    ord(sign): f"\\{sign}" for sign in "\\()"
}


def _escape(codes: bytes) -> str:
    """Return the inside of a PDF literal string (ISO 32000-1, 7.3.4.2), in ASCII."""
    return codes.decode("latin-1").translate(_ESCAPES)


def _box(box: Box) -> str:
    measures = (box.x_mm, box.y_mm, box.width_mm, box.height_mm)
    rectangle = " ".join(f"{measure * POINTS_PER_MM:.3f}" for measure in measures)
    return f"{BOX_LINE_MM * POINTS_PER_MM:.3f} w {rectangle} re S"


# ---------------------------------------------------------------- what surrounds the pieces


def _words(sheet: Sheet, header: Header) -> Face:
    """Return the header line and the words beside the ruler."""
    stock = sheet.stock
    x = stock.ruler_x_mm + RULER_MM + 2.0
    words = Run(RULER_WORDS, header.font, RULER_WORDS_MM, x, stock.ruler_y_mm + 0.3)
    runs = (words,) if stock.top_mm < HEAD_STRIP_MM else (_header_line(sheet, header), words)
    return Face(sheet.width_mm, sheet.height_mm, runs)


def _header_line(sheet: Sheet, header: Header) -> Run:
    """Return job, stock, group and number; a job too long for the page is cut, ending in dots."""
    job, font = _shown_with(header.job, header.font)
    rest, same = _shown_with(_of_sheet(sheet) + (SECOND_PASS if header.turned_over else ""), font.name)
    if same is not font:  # one line, one font: what this one lacks is spelled out
        rest = _spelled_out(rest, font)
    left = max(EDGE_MM, sheet.stock.left_mm)
    room = sheet.width_mm - left - EDGE_MM
    line = _cut_job(job, rest, font, room / SMALLEST_HEADER_MM)
    size = max(SMALLEST_HEADER_MM, min(HEADER_MM, room / max(font.width(line), 1e-9)))
    return Run(line, font.name, size, left, sheet.height_mm - HEAD_STRIP_MM + 1.0)


def _cut_job(job: str, rest: str, font: Font, room: float) -> str:
    """Return the longest line within ``room`` ems; the job's end is what gives way."""
    if font.width(job + rest) <= room:
        return job + rest
    room -= font.width(f"...{rest}")
    kept = next((n for n in range(len(job), 0, -1) if font.width(job[:n]) <= room), 0)
    return f"{job[:kept]}...{rest}"


def _of_sheet(sheet: Sheet) -> str:
    return "".join(f" · {part}" for part in (sheet.stock.name, sheet.group, f"sheet {sheet.number}") if part)


def _shown_with(text: str, name: str) -> tuple[str, Font]:
    """Return the text and a font that has it; with no such font, its characters are spelled out."""
    try:
        return text, font_for(name, frozenset(text))[0]
    except LabelerError:
        font = load_font(name)
        return _spelled_out(text, font), font


def _spelled_out(text: str, font: Font) -> str:
    """Return the text with ``<U+4E2D>`` for what the font lacks: the header is for people, not a marker."""
    lacking = font.missing(text)
    return "".join(f"<U+{ord(sign):04X}>" if sign in lacking else sign for sign in text)


def _draw_ruler(canvas: Canvas, stock: Stock) -> None:
    """Draw 50 mm from the middle of the first tick to the middle of the last."""
    x, y = stock.ruler_x_mm, stock.ruler_y_mm
    lines = [(x, y, x + RULER_MM, y)]
    for step in range(0, 51, 5):
        high = 3.0 if step in (0, 50) else 2.0 if step % 10 == 0 else 1.2
        lines.append((x + step, y, x + step, y + high))
    canvas.setLineWidth(RULER_LINE_MM * POINTS_PER_MM)
    canvas.lines([[measure * POINTS_PER_MM for measure in line] for line in lines])


def _draw_cuts(canvas: Canvas, sheet: Sheet) -> None:
    """Draw the outline of each cell that is used, on a card of each piece; and the punch holes."""
    stock = sheet.stock
    canvas.saveState()
    canvas.setLineWidth(CUT_LINE_MM * POINTS_PER_MM)
    canvas.setStrokeGray(CUT_LINE_GREY)
    for placed in sheet.placed:
        x, y, width, height = _outline(stock, placed)
        scaled = [measure * POINTS_PER_MM for measure in (x, y, width, height)]
        if stock.corner_radius_mm > 0:
            canvas.roundRect(*scaled, stock.corner_radius_mm * POINTS_PER_MM)
        else:
            canvas.rect(*scaled)
        if stock.hole_mm > 0:
            middle = (x + stock.hole_inset_mm) * POINTS_PER_MM, (y + height / 2) * POINTS_PER_MM
            canvas.circle(*middle, stock.hole_mm / 2 * POINTS_PER_MM)
    canvas.restoreState()


def _outline(stock: Stock, placed: Placed) -> tuple[float, float, float, float]:
    """Return x, y, width and height of what is cut out; a small piece stands at the upper left."""
    face = placed.piece.face
    if stock.kind == "card":
        return placed.x_mm, placed.y_mm, face.width_mm, face.height_mm
    low = placed.y_mm + face.height_mm - stock.cell_height_mm
    return placed.x_mm, low, stock.cell_width_mm, stock.cell_height_mm
