"""One PDF document: its pages, fonts and forms. No other module touches the inside of the PDF library (reportlab).

What the library has no public call for is wrapped here: pages are compressed as they end, text is encoded once
however often it is drawn, forms are named by pages that write them as operators, and drawn pictures become operators.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.text import Font, font_for, load_font

if TYPE_CHECKING:
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

_ESCAPES = {code: f"\\{code:03o}" for code in (*range(32), *range(127, 256))} | {
    ord(character): f"\\{character}" for character in "\\()"
}


class Document:
    """A PDF on its way: compressed, without a clock in it, with the wish not to be scaled when it is printed.

    ``canvas`` is the library's drawing surface in points, of which others use public calls alone.
    """

    def __init__(self, title: str, font: str) -> None:
        from reportlab.pdfgen.canvas import Canvas

        first = embedded_name(font)  # else the document lists a font that it does not hold
        self.canvas: Canvas = Canvas("", pageCompression=1, invariant=1, initialFontName=first)
        self.canvas.setTitle(title)
        self.canvas.setAuthor("")
        self.canvas.setSubject("")
        self.canvas.setCreator("labeler")
        self.canvas.setViewerPreference("PrintScaling", "None")
        self._strings: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
        self._first_parts: dict[str, tuple[str, dict[str, str]]] = {}  # by font: its first part, and the codes in it

    def write(self, operators: str) -> None:
        """Write operators (ISO 32000-1, annex A) on the page or form that is open."""
        self.canvas.addLiteral(operators)

    def end_page(self) -> None:
        """End the page, and compress it at once: the library keeps all pages as text until the document is saved."""
        from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream

        self.canvas.showPage()
        page = self.canvas._doc.Pages.pages[-1]
        packed = zlib.compress(page.stream.encode("utf-8"))
        page.Contents = PDFStream(PDFDictionary({"Filter": PDFArray([PDFName("FlateDecode")])}), packed)
        page.stream = ""

    def data(self) -> bytes:
        """Return the file. Compressed pages stay bytes, without the library's wrapping in letters: smaller, faster."""
        from reportlab import rl_config

        before, rl_config.useA85 = rl_config.useA85, 0
        try:
            data: bytes = self.canvas.getpdfdata()
        finally:
            rl_config.useA85 = before
        return data

    def add_form(self, name: str, box: tuple[float, float, float, float], operators: str) -> None:
        """Add a form (ISO 32000-1, 8.10): operators that draw within the box left, lower, right, upper."""
        self.canvas.beginForm(name, *box)
        self.write(operators)
        self.canvas.endForm()

    def form_operator(self, name: str) -> str:
        """Return the operator that draws a form. The page it is written on must list the form: see `list_form`."""
        return f"/{self.canvas._doc.getXObjectName(name)} Do"

    def list_form(self, name: str) -> None:
        """List a form among the resources of the page that is open."""
        self.canvas._formsinuse.append(name)

    def operators_of(self, draw: Callable[[Canvas], None]) -> str:
        """Return the operators of what is drawn on the canvas, instead of writing them on the page."""
        canvas = self.canvas
        before, canvas._code = canvas._code, []
        try:
            draw(canvas)
            return "\n".join(canvas._code)
        finally:
            canvas._code = before

    def encoded(self, font_name: str, text: str) -> tuple[tuple[str, str], ...]:
        """Return a text in pieces that each lie in one part of the font: (name of the part, escaped string).

        The library's own text object asks a font in the same way; a string that is drawn again is not asked for
        again, nor one whose characters were all met in the font's first part. Raises `LabelerError` for characters
        that the font lacks.
        """
        first = self._first_parts.get(font_name)
        if first:
            codes = first[1]
            try:
                return ((first[0], "".join([codes[character] for character in text])),)
            except KeyError:
                pass
        known = self._strings.get((font_name, text))
        if known is None:
            known = self._strings[font_name, text] = self._encoded(font_name, text)
        return known

    def _encoded(self, font_name: str, text: str) -> tuple[tuple[str, str], ...]:
        font = load_font(font_name)
        if font.missing(text):
            font_for(font.name, frozenset(text))  # names the characters, unless a stand-in has them
            fix = "lay it out again, so that the stand-in is measured"
            raise LabelerError(Problem(SourceLocation(""), f'"{text}" has characters that {font_name} lacks', fix))
        held, document = _embedded(font), self.canvas._doc
        split = held.splitString(text, document)
        found = tuple((held.getSubsetInternalName(part, document), _escaped(codes)) for part, codes in split)
        if len(split) == 1 and split[0][0] == 0 and len(split[0][1]) == len(text):
            _, codes = self._first_parts.setdefault(font_name, (found[0][0], {}))
            codes.update((sign, _escaped(bytes([code]))) for sign, code in zip(text, split[0][1], strict=True))
        return found


def embedded_name(font_name: str) -> str:
    """Return the name under which the library holds a typeface, for ``canvas.setFont``."""
    return str(_embedded(load_font(font_name)).fontName)


@lru_cache(maxsize=32)
def _embedded(font: Font) -> TTFont:
    """Return the font as the library holds it, under a name of its own contents."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        held = TTFont(f"labeler-{font.digest}", str(font.path), asciiReadable=1, shapable=False)
    except TTFError as error:
        why = f"font cannot be embedded ({error})"
        raise LabelerError(Problem(SourceLocation(str(font.path)), why, "choose another TTF file")) from error
    registerFont(held)
    return held


@contextmanager
def moved(canvas: Canvas, x: float, y: float) -> Iterator[None]:
    """Have what is drawn inside the block stand about another origin."""
    canvas.saveState()
    canvas.translate(x, y)
    yield
    canvas.restoreState()


def _escaped(codes: bytes) -> str:
    """Return the inside of a PDF literal string (ISO 32000-1, 7.3.4.2), in ASCII."""
    return codes.decode("latin-1").translate(_ESCAPES)
