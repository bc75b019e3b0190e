"""Words of a typeset sheet: spans in our typefaces, measured, broken into lines, and written as PDF operators."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING

from labeler.draw.strings import Strings, embedded
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


def embedded_name(name: str) -> str:
    """Return the name under which the PDF library holds a typeface of ours."""
    return str(embedded(load_font(name)).fontName)


def font_runs(text: str, name: str) -> Iterator[tuple[Font, str]]:
    """Yield the text in runs of one typeface: a stand-in for what the first lacks, or its number."""
    signs = (" " if sign.isspace() else sign for sign in text)
    fonts = ((font_with(sign, name), sign) for sign in signs)
    spelled = ((font or load_font(name), sign if font else f"<U+{ord(sign):04X}>") for font, sign in fonts)
    for font, run in groupby(spelled, key=lambda pair: pair[0]):
        yield font, "".join(sign for _, sign in run)


@lru_cache(maxsize=4096)
def font_with(sign: str, name: str) -> Font | None:
    """Return the typeface, or its stand-in, that has a sign; None where neither has."""
    try:
        return font_for(name, frozenset(sign))[0]
    except LabelerError:
        return None


def plain(text: str, size: float = 0.0, name: str = PLAIN) -> Words:
    """Return a text as words; ``size`` in points where it differs from that of the cell."""
    if text.isascii() and text.isprintable():
        return ((name, size, text),)
    return tuple((font.name, size, run) for font, run in font_runs(text, name))


def bold(text: str) -> Words:
    """Return a text in the bold face."""
    return plain(text, name=BOLD)


# ---------------------------------------------------------------- lines


def lines_of(words: Words, size: float, room: float) -> list[list[Span]]:
    """Return the lines of some words in a room [points]: broken at spaces, a word too long for a line anywhere."""
    lines: list[list[Span]] = [[]]
    taken = 0.0
    for token in _tokens(words, size):
        width = sum(map(_width, token))
        space = _width((*lines[-1][-1][:2], " ")) if lines[-1] else 0.0
        if taken + space + width <= room:
            if lines[-1]:
                _join(lines[-1], (*lines[-1][-1][:2], " "))
        elif width <= room:
            lines.append([])
            taken = space = 0.0
        else:
            *full, token = _chopped(token, room)
            lines[len(lines) - (not lines[-1]) :] = [*full, []]
            taken, space, width = 0.0, 0.0, sum(map(_width, token))
        for span in token:
            _join(lines[-1], span)
        taken += space + width
    return lines


def _tokens(words: Words, size: float) -> Iterator[list[Span]]:
    """Yield what must not be parted: words between spaces, which may change their typeface on the way."""
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


def _chopped(token: Iterable[Span], room: float) -> list[list[Span]]:
    """Return a word in pieces that each fit a line; a sign wider than the room stands alone."""
    pieces: list[list[Span]] = [[]]
    taken = 0.0
    for name, size, text in token:
        for sign in text:
            width = _width((name, size, sign))
            if taken + width > room and pieces[-1]:
                pieces.append([])
                taken = 0.0
            _join(pieces[-1], (name, size, sign))
            taken += width
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
        if len(self.lines) == 1:
            return f"BT 1 0 0 1 {x:.2f} {top - self.rise:.2f} Tm {self.lines[0]} ET"
        then = f"\n0 {-self.leading:.3f} Td "
        return f"BT 1 0 0 1 {x:.2f} {top - self.rise:.2f} Tm {then.join(self.lines)} ET"

    def parted(self, height: float) -> tuple[SetText | None, SetText | None]:
        """Return what has room in a height, and the rest."""
        count = int((height + 1e-6) // self.leading)
        first, rest = self.lines[:count], self.lines[count:]
        return (
            SetText(first, self.leading, self.rise) if first else None,
            SetText(rest, self.leading, self.rise) if rest else None,
        )


class Setter:
    """Sets texts for one document, whose fonts hold the characters used so far."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas
        self._encoded = Strings(canvas).encoded
        self._set: dict[tuple[Words, float, float, bool], SetText] = {}

    def set(self, words: Words, size: float, room: float, to_right: bool = False) -> SetText:
        """Return some words as set in a room [points]."""
        key = words, size, room, to_right
        known = self._set.get(key)
        if known is None:
            if len(self._set) >= MOST_TEXTS:
                self._set.clear()
            known = self._set[key] = self._new(words, size, room, to_right)
        return known

    def _new(self, words: Words, size: float, room: float, to_right: bool) -> SetText:
        lines: list[list[Span]]
        if len(words) == 1:
            name, own, text = words[0]
            span = name, own or size, text
            lines = [[span]] if _width(span) <= room else lines_of(words, size, room)
        else:
            lines = lines_of(words, size, room)
        written = tuple(map(self._line, lines))
        if to_right:  # a number in its column: one line, moved there
            first = room - sum(map(_width, lines[0]))
            written = (f"{first:.2f} 0 Td {written[0]}", *written[1:])
        return SetText(written, size * LEADING, size * RISE)

    def _line(self, spans: Iterable[Span]) -> str:
        return " ".join(
            f"{font} {size:g} Tf ({string}) Tj"
            for name, size, text in spans
            for font, string in self._encoded(name, text.replace(NO_BREAK, " "))
        )
