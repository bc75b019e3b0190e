"""Words in the bench sheet's typefaces, broken into the lines of a column. Points throughout."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

from labeler.errors import LabelerError
from labeler.text import Font, font_for, load_font

PLAIN, BOLD = "Atkinson Hyperlegible", "Atkinson Hyperlegible Bold"
TITLE_PT, HEAD_PT, BODY_PT, NOTE_PT, SMALL_PT, SOURCE_PT = 16.0, 11.0, 8.5, 7.5, 7.0, 6.0
LEADING = 1.18
HARD_BLANK = "\N{NO-BREAK SPACE}"
_BLANKS = re.compile(rf"[^\S{HARD_BLANK}]+")

Run = tuple[str, str, float]  # words, typeface, size


@dataclass(frozen=True, slots=True)
class Words:
    """What a cell says: runs of one typeface and size; a box to tick may stand before them."""

    runs: tuple[Run, ...]
    right: bool = False  # set to the right of the column
    tick: bool = False

    def __add__(self, other: Words) -> Words:
        return Words(self.runs + other.runs, self.right, self.tick)


def said(text: str, size: float = BODY_PT, *, right: bool = False, tick: bool = False) -> Words:
    """Return words in the plain face."""
    return Words(((text, PLAIN, size),), right, tick)


def strong(text: str, size: float = BODY_PT) -> Words:
    """Return words in the bold face."""
    return Words(((text, BOLD, size),))


def section_title(text: str, note: str = "") -> Words:
    """Return the title of a section with a note in small print behind it."""
    title = strong(text, HEAD_PT)
    return title + said(f"{HARD_BLANK}{HARD_BLANK} {note}", NOTE_PT) if note else title


# ---------------------------------------------------------------- typefaces


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


# ---------------------------------------------------------------- lines


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line: its runs, one after the other, how wide they are together, and how much height it takes."""

    runs: tuple[Run, ...]
    width: float
    height: float
    size: float  # of its largest run


@lru_cache(maxsize=4096)
def lines_of(runs: tuple[Run, ...], width: float) -> tuple[TextLine, ...]:
    """Return the runs broken at blanks into lines no wider than ``width``; a longer word is broken anywhere.

    Blanks that follow one another are one. Without words there is one empty line.
    """
    if len(runs) == 1 and _is_one_line(*runs[0], width):
        return (_line(runs, runs[0][2]),)
    words = [word for word in _words(runs) if word]
    if not words:
        return (_line([], max((size for _, _, size in runs), default=BODY_PT)),)
    lines: list[list[Run]] = [[]]
    used = 0.0
    for word in words:
        wide, face, size = _width(word), *word[0][1:]
        blank = run_width((" ", face, size))
        if lines[-1] and used + blank + wide <= width:
            _join(lines[-1], (" ", face, size))
            used += blank
        elif lines[-1]:
            lines.append([])
            used = 0.0
        if wide > width:
            *full, word = _broken(word, width)
            lines[-1:] = [*full, []] if not lines[-1] else [lines[-1], *full, []]
            wide = _width(word)
        for run in word:
            _join(lines[-1], run)
        used += wide
    return tuple(_line(line, line[0][2]) for line in lines)


def _is_one_line(text: str, face: str, size: float, width: float) -> bool:
    """Whether a run is a line as it stands, as most are."""
    font = load_font(face)
    plain = text.isascii() and not font.missing(text) and " ".join(text.split()) == text
    return plain and bool(text) and font.width(text) * size <= width


def _words(runs: Sequence[Run]) -> list[list[Run]]:
    """Return the words, each of one or several runs."""
    words: list[list[Run]] = [[]]
    for text, face, size in runs:
        for place, part in enumerate(_BLANKS.split(text)):
            if place:
                words.append([])
            if part:
                words[-1] += [(run, font.name, size) for font, run in _faces(part, face)]
    return words


def _faces(part: str, face: str) -> list[tuple[Font, str]]:
    font = load_font(face)
    return [(font, part)] if not font.missing(part) else list(font_runs(part, face))


def _broken(word: Sequence[Run], width: float) -> list[list[Run]]:
    """Return a word in pieces that each fit a line, a sign at least."""
    pieces: list[list[Run]] = [[]]
    used = 0.0
    for text, face, size in word:
        for sign in text:
            wide = run_width((sign, face, size))
            if pieces[-1] and used + wide > width:
                pieces.append([])
                used = 0.0
            _join(pieces[-1], (sign, face, size))
            used += wide
    return pieces


def _join(line: list[Run], run: Run) -> None:
    """Add a run to a line, as one with its last where both are of one typeface and size."""
    if line and line[-1][1:] == run[1:]:
        line[-1] = (line[-1][0] + run[0], *run[1:])
    else:
        line.append(run)


def _line(runs: Sequence[Run], size: float) -> TextLine:
    largest = max((run[2] for run in runs), default=size)
    return TextLine(tuple(runs), _width(runs), largest * LEADING, largest)


def run_width(run: Run) -> float:
    """Return how wide a run is."""
    text, face, size = run
    return load_font(face).width(text) * size


def _width(runs: Sequence[Run]) -> float:
    return sum(map(run_width, runs))
