"""Strings of one document: text in the codes of its embedded fonts, each worked out once."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from labeler.errors import LabelerError, Problem, Where
from labeler.text import Font, font_for, load_font

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


@lru_cache(maxsize=32)
def embedded(font: Font) -> Any:
    """Return the font as the PDF library holds it, under a name of its own contents."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        held = TTFont(f"labeler-{font.digest}", str(font.path), asciiReadable=1, shapable=False)
    except TTFError as error:
        why = f"font cannot be embedded ({error})"
        raise LabelerError(Problem(Where(str(font.path)), why, "choose another TTF file")) from error
    registerFont(held)
    return held


class Strings:
    """Encodes text for one document, whose fonts hold the characters used so far.

    The library's own text object asks a font in the same way for its strings, with the same
    argument; asking directly lets a string that is drawn several times be encoded once.
    """

    def __init__(self, canvas: Canvas) -> None:
        self._document = canvas._doc
        self._known: dict[tuple[str, str], tuple[tuple[str, str], ...]] = {}
        self._first: dict[str, tuple[str, dict[str, str]]] = {}  # by font: its first part, and the codes in it

    def encoded(self, name: str, text: str) -> tuple[tuple[str, str], ...]:
        """Return the text in pieces that each lie in one part of the font: (font, escaped string).

        Raises `LabelerError` for characters that the font lacks.
        """
        if name in self._first:
            part, codes = self._first[name]
            try:  # every sign was met before, and lies in the font's first part
                return ((part, "".join([codes[sign] for sign in text])),)
            except KeyError:
                pass
        known = self._known.get((name, text))
        if known is None:
            font = load_font(name)
            if font.missing(text):
                font_for(font.name, frozenset(text))  # names the characters, unless a stand-in has them
                fix = "lay it out again, so that the stand-in is measured"
                raise LabelerError(Problem(Where(""), f'"{text}" has characters that {name} lacks', fix))
            held = embedded(font)
            split = held.splitString(text, self._document)
            known = self._known[name, text] = tuple(
                (held.getSubsetInternalName(part, self._document), _escape(codes)) for part, codes in split
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
