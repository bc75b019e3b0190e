"""Typeset: words in two typefaces become lines that go into a width, and the operators that write them. In points."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING

from labeler.draw.document import Document, embedded_name
from labeler.errors import LabelerError
from labeler.text import Font, font_for, load_font

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PLAIN, BOLD = "Atkinson Hyperlegible", "Atkinson Hyperlegible Bold"
LEADING = 1.18
RISE = 0.95  # from the upper edge of a line to its baseline, ems: the ascent of the typeface
NO_BREAK = "\u00a0"  # a space at which no line is broken
MOST_TEXTS = 2000
"""Texts that are remembered as they were set: those of some pages, so that a long list takes no more memory."""

Span = tuple[str, float, str]  # typeface, size in points (0: that of the cell), text
Words = tuple[Span, ...]


# ---------------------------------------------------------------- words


def plain(text: str, size: float = 0.0, name: str = PLAIN) -> Words:
    """Return a text as words; ``size`` in points where it differs from that of the cell."""
    if text.isascii() and text.isprintable():
        return ((name, size, text),)
    return tuple((font.name, size, run) for font, run in font_runs(text, name))


def bold(text: str) -> Words:
    """Return a text in the bold face."""
    return plain(text, name=BOLD)


def font_runs(text: str, name: str) -> Iterator[tuple[Font, str]]:
    """Yield the text in runs of one typeface: a fallback for what the first lacks, or its number."""
    characters = (" " if character.isspace() else character for character in text)
    fonts = ((_font_with(character, name), character) for character in characters)
    spelled = ((font or load_font(name), sign if font else f"<U+{ord(sign):04X}>") for font, sign in fonts)
    for font, run in groupby(spelled, key=lambda pair: pair[0]):
        yield font, "".join(sign for _, sign in run)


@lru_cache(maxsize=4096)
def _font_with(character: str, name: str) -> Font | None:
    """Return the typeface, or its fallback, that has a character; None where neither has."""
    try:
        return font_for(name, frozenset(character))[0]
    except LabelerError:
        return None


def text_width(text: str, name: str = PLAIN) -> float:
    """Return how long a text is in one line, ems."""
    return sum(font.width(run) for font, run in font_runs(text, name))


def shortened(text: str, width: float, name: str = PLAIN) -> str:
    """Return the text, or as much of its head as goes into a width [ems] with dots behind it."""
    if text_width(text, name) <= width:
        return text
    count = next((n for n in range(len(text), 0, -1) if text_width(f"{text[:n]}…", name) <= width), 0)
    return f"{text[:count]}…"


def draw_words(canvas: Canvas, text: str, x: float, y: float, size: float, name: str = PLAIN) -> None:
    """Draw a few words in one line from a place on, in the canvas's unit."""
    for font, run in font_runs(text, name):
        canvas.setFont(embedded_name(font.name), size)
        canvas.drawString(x, y, run)
        x += font.width(run) * size


# ---------------------------------------------------------------- lines


def lines_of(words: Words, size: float, width: float) -> list[list[Span]]:
    """Return words in lines of a width [points]: broken at spaces, a word too long for a line anywhere."""
    lines: list[list[Span]] = [[]]
    taken = 0.0
    for token in _tokens(words, size):
        length = sum(map(_width, token))
        space = _width((*lines[-1][-1][:2], " ")) if lines[-1] else 0.0
        if taken + space + length <= width:
            if lines[-1]:
                _join(lines[-1], (*lines[-1][-1][:2], " "))
        elif length <= width:
            lines.append([])
            taken = space = 0.0
        else:
            *full, token = _chopped(token, width)
            lines[len(lines) - (not lines[-1]) :] = [*full, []]
            taken, space, length = 0.0, 0.0, sum(map(_width, token))
        for span in token:
            _join(lines[-1], span)
        taken += space + length
    return lines


def _tokens(words: Words, size: float) -> Iterator[list[Span]]:
    """Yield what stays together: words between spaces, which may change their typeface on the way."""
    token: list[Span] = []
    for name, own, text in words:
        for place, part in enumerate(text.split(" ")):
            if place and token:
                yield token
                token = []
            if part:
                token.append((name, own or size, part))
    if token:
        yield token


def _chopped(token: Iterable[Span], width: float) -> list[list[Span]]:
    """Return a word in pieces that each go into a line; a character wider than a line stands alone."""
    pieces: list[list[Span]] = [[]]
    taken = 0.0
    for name, size, text in token:
        for character in text:
            length = _width((name, size, character))
            if taken + length > width and pieces[-1]:
                pieces.append([])
                taken = 0.0
            _join(pieces[-1], (name, size, character))
            taken += length
    return pieces


def _join(line: list[Span], span: Span) -> None:
    if line and line[-1][:2] == span[:2]:
        line[-1] = (*span[:2], line[-1][2] + span[2])
    else:
        line.append(span)


def _width(span: Span) -> float:
    name, size, text = span
    return load_font(name).width(text.replace(NO_BREAK, " ")) * size


# ---------------------------------------------------------------- operators


@dataclass(frozen=True, slots=True)
class SetText:
    """A text as it is set: the operators of each of its lines, which begin at the line's own origin."""

    lines: tuple[str, ...]
    leading: float
    rise: float

    @property
    def height(self) -> float:
        """Return how high it is, points."""
        return len(self.lines) * self.leading

    def operators(self, x: float, top: float) -> str:
        """Return the operators that write it, its upper left corner there [points]."""
        next_line = f"\n0 {-self.leading:.3f} Td "
        return f"BT 1 0 0 1 {x:.2f} {top - self.rise:.2f} Tm {next_line.join(self.lines)} ET"

    def split(self, height: float) -> tuple[SetText | None, SetText | None]:
        """Return what goes into a height, and the rest."""
        count = int((height + 1e-6) // self.leading)
        first, rest = self.lines[:count], self.lines[count:]
        return (
            SetText(first, self.leading, self.rise) if first else None,
            SetText(rest, self.leading, self.rise) if rest else None,
        )


class Setter:
    """Sets texts for one document; a text that comes again is set once."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.set = lru_cache(MOST_TEXTS)(self._set)

    def _set(self, words: Words, size: float, width: float, to_right: bool = False) -> SetText:
        """Return words as they are set in a width; ``to_right``: a number in its column, in one line."""
        lines = _one_line(words, size, width) or lines_of(words, size, width)
        written = tuple(map(self._line, lines))
        if to_right:
            indent = width - sum(map(_width, lines[0]))
            written = (f"{indent:.2f} 0 Td {written[0]}", *written[1:])
        return SetText(written, size * LEADING, size * RISE)

    def _line(self, spans: Iterable[Span]) -> str:
        return " ".join(
            f"{font} {size:g} Tf ({string}) Tj"
            for name, size, text in spans
            for font, string in self.document.encoded(name, text.replace(NO_BREAK, " "))
        )


def _one_line(words: Words, size: float, width: float) -> list[list[Span]] | None:
    """Return a text of one typeface as it stands, where it goes into a line: most do."""
    if len(words) != 1:
        return None
    name, own, text = words[0]
    span = name, own or size, text
    return [[span]] if _width(span) <= width else None
