"""What stands on a sheet beside its pieces, for people: the line in the head margin, the words at the ruler."""

from __future__ import annotations

from dataclasses import dataclass, replace

from labeler.errors import LabelerError
from labeler.layout import HEAD_STRIP_MM, RULER_MM
from labeler.model import Face, Run, Sheet
from labeler.text import Font, font_for, load_font

POINT_MM = 25.4 / 72  # a point is 1/72 in (DOD-HDBK-791 6-5.3.2)
SECOND_PASS = " · SECOND PASS: turn every piece over about its long axis, in its own slot"
RULER_WORDS = "50 mm: must measure exactly 50 mm"
RULER_WORDS_MM = 6.5 * POINT_MM
HEADER_MM = 7.0 * POINT_MM
SMALLEST_HEADER_MM = 6.0 * POINT_MM
EDGE_MM = 5.0
"""Not every printer reaches the outer 5 mm of a page: the header keeps out (project choice)."""


@dataclass(frozen=True, slots=True)
class Header:
    """What stands in the head margin of every sheet, for people: the job, and the font it is set in.

    Where the page is too narrow, the name gives way first, then ``about`` (what a reprint repeats, and
    why), then the job; each ends in dots then.
    """

    job: str
    font: str = "Atkinson Hyperlegible"
    turned_over: bool = False  # the second pass of pieces that are lettered on both faces
    name: str = ""
    about: str = ""

    @property
    def words(self) -> str:
        """Return all of it in one line."""
        return " · ".join(filter(None, (self.name, self.job, self.about)))


def words_around(sheet: Sheet, header: Header) -> Face:
    """Return the header line and the words beside the ruler."""
    stock = sheet.stock
    x = stock.ruler_x_mm + RULER_MM + 2.0
    words = Run(RULER_WORDS, header.font, RULER_WORDS_MM, x, stock.ruler_y_mm + 0.3)
    runs = (words,) if stock.top_mm < HEAD_STRIP_MM else (_header_line(sheet, header), words)
    return Face(sheet.width_mm, sheet.height_mm, runs)


def _header_line(sheet: Sheet, header: Header) -> Run:
    """Return job, stock, group and number in one line that fits the page."""
    of_sheet = _of_sheet(sheet) + (SECOND_PASS if header.turned_over else "")
    words = replace(header, job=header.job + of_sheet)
    shown, font = _shown_with(words.words, header.font)
    left = max(EDGE_MM, sheet.stock.left_mm)
    room = sheet.width_mm - left - EDGE_MM
    if font.width(shown) > room / SMALLEST_HEADER_MM:
        shown = _cut_header(header, of_sheet, font, room / SMALLEST_HEADER_MM)
    size = max(SMALLEST_HEADER_MM, min(HEADER_MM, room / max(font.width(shown), 1e-9)))
    return Run(shown, font.name, size, left, sheet.height_mm - HEAD_STRIP_MM + 1.0)


def _cut_header(header: Header, of_sheet: str, font: Font, room: float) -> str:
    """Return the line within ``room`` ems; the name's end gives way, then that of ``about``, then the job's."""
    name, about = (_spelled_out(text, font) for text in (header.name, header.about))
    job, rest = _spelled_out(header.job, font), _spelled_out(of_sheet, font)
    fixed = font.width(rest) + font.width(" · ") * (bool(name) + bool(about))
    job = _cut(job, font, room - fixed)
    fixed += font.width(job)
    about = _cut(about, font, room - fixed - font.width("..."))
    name = _cut(name, font, room - fixed - font.width(about))
    return " · ".join(filter(None, (name, job + rest, about)))


def _cut(text: str, font: Font, room: float) -> str:
    """Return the text, or the longest head of it that goes into ``room`` ems with dots behind it."""
    if not text or font.width(text) <= room:
        return text
    room -= font.width("...")
    return text[: next((n for n in range(len(text), 0, -1) if font.width(text[:n]) <= room), 0)] + "..."


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
