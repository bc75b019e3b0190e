"""Tables of a typeset sheet: rows drawn one after another as they come, that go on overleaf under the same heads.

A table is asked for its rows while it is drawn, so that a long one takes no more memory than a short one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING, Any, Protocol

from labeler.draw.pens import POINTS_PER_MM
from labeler.errors import LabelerError, Problem, Where
from labeler.text import Font, font_for, load_font

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


# ---------------------------------------------------------------- What every document of ours asks of the PDF library


@contextmanager
def plain_streams() -> Iterator[None]:
    """Leave compressed pages as bytes, without the library's wrapping in letters: smaller and faster."""
    from reportlab import rl_config

    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


def compress_last(canvas: Canvas) -> None:
    """Compress the page that was ended last: the library keeps all pages as text until the document is saved."""
    import zlib

    from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream

    page = canvas._doc.Pages.pages[-1]
    packed = zlib.compress(page.stream.encode("utf-8"))
    page.Contents = PDFStream(PDFDictionary({"Filter": PDFArray([PDFName("FlateDecode")])}), packed)
    page.stream = ""


# ---------------------------------------------------------------- Strings of one document


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


# ---------------------------------------------------------------- Words of a typeset sheet


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


# ---------------------------------------------------------------- What stands in the cells of a table


TICK_MM = 3.8
BODY_PT = 8.5


class Placed(Protocol):
    """What stands in a cell, as it is set in the cell's width."""

    @property
    def height(self) -> float:
        """Return how high it is, points."""

    def operators(self, x: float, top: float) -> str:
        """Return the operators that draw it, its upper left corner there [points]."""

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        """Return what has room in a height, and the rest."""


class Cell(Protocol):
    """What stands in a cell, before its width is known."""

    def set(self, setter: Setter, width: float) -> Placed:
        """Return it as it is set in a width [points]."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph. ``indent`` on the left, ``before`` and ``after`` above and below it, points."""

    words: Words
    size: float = BODY_PT
    to_right: bool = False
    before: float = 0.0
    after: float = 0.0
    indent: float = 0.0

    def set(self, setter: Setter, width: float) -> Placed:
        """Return the paragraph in lines."""
        text = setter.set(self.words, self.size, width - self.indent, self.to_right)
        if self.before or self.after or self.indent:
            return _Stacked((_Space(self.before), text, _Space(self.after)), self.indent)
        return text


@dataclass(frozen=True, slots=True)
class Stack:
    """Cells one below the other."""

    cells: tuple[Cell, ...]

    def set(self, setter: Setter, width: float) -> Placed:
        """Return them, each in the whole width."""
        return _Stacked(tuple(cell.set(setter, width) for cell in self.cells))


@dataclass(frozen=True, slots=True)
class TickBox:
    """An empty box of the size of a pen's tick, and what stands to the right of it."""

    beside: Text | None = None

    def set(self, setter: Setter, width: float) -> Placed:
        """Return the box with what stands beside it."""
        room = width - TICK_MM * POINTS_PER_MM - BESIDE_PT
        return _Box(self.beside.set(setter, room)) if self.beside else EMPTY_BOX


BESIDE_PT = 4.2


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing of a height [points]: ``draw`` is given a canvas whose origin is its lower left corner."""

    height: float
    draw: Callable[[Canvas], None]

    def set(self, setter: Setter, width: float) -> Placed:
        """Return the drawing."""
        return _Drawing(self.height, self.draw, setter)


@dataclass(frozen=True, slots=True)
class _Space:
    height: float

    def operators(self, x: float, top: float) -> str:
        return ""

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        return self, None


@dataclass(frozen=True, slots=True)
class _Stacked:
    parts: tuple[Placed, ...]
    indent: float = 0.0

    @property
    def height(self) -> float:
        return sum(part.height for part in self.parts)

    def operators(self, x: float, top: float) -> str:
        drawn = []
        for part in self.parts:
            drawn.append(part.operators(x + self.indent, top))
            top -= part.height
        return "\n".join(filter(None, drawn))

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        first: list[Placed] = []
        for place, part in enumerate(self.parts):
            if part.height > height:
                fits, rest = part.parted(height)
                first += [fits] if fits else []
                left = ([rest] if rest else []) + list(self.parts[place + 1 :])
                return _Stacked(tuple(first), self.indent), _Stacked(tuple(left), self.indent)
            first.append(part)
            height -= part.height
        return self, None


@dataclass(frozen=True, slots=True)
class _Box:
    beside: Placed | None = None

    @property
    def height(self) -> float:
        return max(TICK_MM * POINTS_PER_MM, self.beside.height if self.beside else 0.0)

    def operators(self, x: float, top: float) -> str:
        side, height = TICK_MM * POINTS_PER_MM, self.height
        box = f"{x:.2f} {top - (height + side) / 2:.2f} {side:.2f} {side:.2f} re S"
        if self.beside is None:
            return box
        return f"{box}\n{self.beside.operators(x + side + BESIDE_PT, top - (height - self.beside.height) / 2)}"

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        return (self, None) if self.height <= height else (None, self)


EMPTY_BOX = _Box()


@dataclass(frozen=True, slots=True)
class _Drawing:
    height: float
    draw: Callable[[Canvas], None]
    setter: Setter

    def operators(self, x: float, top: float) -> str:
        canvas = self.setter.canvas
        before, canvas._code = canvas._code, []  # taken down by itself: it takes its turn among the other parts
        try:
            canvas.saveState()
            canvas.translate(x, top - self.height)
            self.draw(canvas)
            canvas.restoreState()
            return "\n".join(canvas._code)
        finally:
            canvas._code = before

    def parted(self, height: float) -> tuple[Placed | None, Placed | None]:
        return (self, None) if self.height <= height else (None, self)


# ---------------------------------------------------------------- tables


GAP_PT = 5.5
HEADS_PT, ROW_PT, FEWEST_ROWS = 38.0, 16.5, 6
"""Heads of a listing, a row with a box; a connector begins overleaf where fewer rows have room."""

TALL_PT = 150.0
"""A row up to this height moves overleaf as a whole (project choice: a fifth of the page)."""

TITLE_PT, HEAD_PT, NOTE_PT, SMALL_PT, SOURCE_PT = 16.0, 11.0, 7.5, 7.0, 6.0
HEAVY_PT, MIDDLE_PT, THIN_PT = 1.4, 0.8, 0.4
GREY = 0.5


# ---------------------------------------------------------------- tables


@dataclass(frozen=True, slots=True)
class Row:
    """One row. The last of its cells has the room of those that are missing behind it.

    ``above`` and ``below`` are the widths of the rules over and under it, a thin one is grey; ``pads``
    are left, right, top and bottom of every cell, points.
    """

    cells: Sequence[Cell | None]
    above: float = 0.0
    below: float = THIN_PT
    pads: tuple[float, float, float, float] = (2.0, 2.0, 2.2, 2.4)
    at_top: bool = False  # where its cells stand; else in the middle


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under heads that are repeated on every page; the first ``outside`` of the heads stand outside the frame."""

    widths: tuple[float, ...]
    rows: Iterable[Row]
    heads: tuple[Row, ...] = ()
    outside: int = 1
    framed: bool = False
    parted: bool = False  # thin rules between its columns
    gap: float = 0.0  # above it, points
    at_least: float = 0.0  # begins overleaf where there is less room


@dataclass(frozen=True, slots=True)
class Together:
    """Tables that stay on one page where a page has room for them."""

    tables: tuple[Table, ...]


class NewPage:
    """What follows begins a page."""


Part = Table | Together | NewPage


@dataclass(frozen=True, slots=True)
class _SetRow:
    row: Row
    cells: tuple[tuple[float, Placed], ...]  # left edge, what stands there
    inside: float  # height of the highest

    @property
    def height(self) -> float:
        return self.inside + self.row.pads[2] + self.row.pads[3]


@dataclass(slots=True)
class Flow:
    """Puts parts on pages, one below the other, in a room of ``width`` between ``top`` and ``bottom``, points."""

    canvas: Canvas
    left: float
    bottom: float
    width: float
    top: float
    end_page: Callable[[Canvas], None]
    setter: Setter = field(init=False)
    y: float = field(init=False)
    drawn: list[str] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        self.setter, self.y = Setter(self.canvas), self.top

    def put(self, parts: Iterable[Part]) -> None:
        """Draw all parts, and end the last page."""
        for part in parts:
            if isinstance(part, Table):
                self._put(part)
            elif isinstance(part, Together):
                self._put_together(part)
            elif self.y < self.top:
                self._turn()
        self._turn()

    def _turn(self) -> None:
        self._flush()
        self.end_page(self.canvas)
        self.canvas.showPage()
        compress_last(self.canvas)
        self.y = self.top

    def _flush(self) -> None:
        if self.drawn:
            self.canvas.addLiteral(f"q 0 g 0 G {MIDDLE_PT} w\n" + "\n".join(self.drawn) + "\nQ")
            self.drawn = []

    def _put_together(self, part: Together) -> None:
        tables = [replace(table, rows=tuple(table.rows)) for table in part.tables]
        height = sum(table.gap + sum(self._set(table, row).height for row in _all_rows(table)) for table in tables)
        if height > self.y - self.bottom and height <= self.top - self.bottom:
            self._turn()
        for table in tables:
            self._put(table)

    def _put(self, table: Table) -> None:
        """Draw a table: rows as they come, a page of them at a time."""
        heads = [self._set(table, row) for row in table.heads]
        heads_height = sum(head.height for head in heads)
        rows = iter(table.rows)
        waiting = next(rows, None)
        row = self._set(table, waiting) if waiting else None
        first = heads_height + (min(row.height, TALL_PT) if row else 0.0)
        if self.y < self.top:
            self.y -= table.gap
            if self.y - self.bottom < max(first, table.at_least):
                self._turn()
        while True:
            page = list(heads)
            room = self.y - self.bottom - heads_height
            while row is not None and row.height <= room:
                page.append(row)
                room -= row.height
                waiting = next(rows, None)
                row = self._set(table, waiting) if waiting else None
            whole = self.top - self.bottom - heads_height
            if row is not None and ((row.height > TALL_PT and room > TALL_PT / 2) or row.height > whole):
                some, row = _parted(row, room)
                page += [some] if some else []
            self._draw(table, page)
            if row is None:
                return
            self._turn()

    def _set(self, table: Table, row: Row) -> _SetRow:
        """Return a row with its cells set in their widths."""
        left, right, *_ = row.pads
        widths, cells, x = table.widths, [], self.left
        last = len(row.cells) - 1
        highest = 0.0
        for place, cell in enumerate(row.cells):
            width = widths[place] if place < last else sum(widths[place:])
            if cell is not None:
                placed = cell.set(self.setter, width - left - right)
                highest = max(highest, placed.height)
                cells.append((x + left, placed))
            x += width
        return _SetRow(row, tuple(cells), highest)

    def _draw(self, table: Table, rows: Sequence[_SetRow]) -> None:
        """Draw the rows of one page, with their rules and frame."""
        left, right = self.left, self.left + sum(table.widths)
        drawn, y, begins, rules = self.drawn, self.y, self.y, []
        for place, each in enumerate(rows):
            row = each.row
            if place == min(table.outside, len(table.heads)):
                begins = y
            if row.above:
                drawn.append(f"{row.above} w {left:.2f} {y:.2f} m {right:.2f} {y:.2f} l S {MIDDLE_PT} w")
            top = y - row.pads[2]
            upper = row.at_top or each.inside > TALL_PT
            for x, placed in each.cells:
                drawn.append(placed.operators(x, top if upper else top - (each.inside - placed.height) / 2))
            y -= each.height
            if row.below > THIN_PT:
                drawn.append(f"{row.below} w {left:.2f} {y:.2f} m {right:.2f} {y:.2f} l S {MIDDLE_PT} w")
            elif row.below:
                rules.append(f"{left:.2f} {y:.2f} m {right:.2f} {y:.2f} l")
        if rules:
            drawn.append(f"{THIN_PT} w {GREY} G {' '.join(rules)} S 0 G {MIDDLE_PT} w")
        if table.parted:
            edges = [left + sum(table.widths[:column]) for column in range(1, len(table.widths))]
            lines = " ".join(f"{x:.2f} {begins:.2f} m {x:.2f} {y:.2f} l" for x in edges)
            drawn.append(f"{THIN_PT} w {lines} S {MIDDLE_PT} w")
        if table.framed:
            drawn.append(f"{HEAVY_PT} w {left:.2f} {y:.2f} {right - left:.2f} {begins - y:.2f} re S {MIDDLE_PT} w")
        self.y = y


def _all_rows(table: Table) -> Iterator[Row]:
    yield from table.heads
    yield from table.rows


def _parted(row: _SetRow, height: float) -> tuple[_SetRow | None, _SetRow | None]:
    """Return what of a row has room in a height, and the rest."""
    room = height - row.row.pads[2] - row.row.pads[3]
    first, rest = [], []
    for x, placed in row.cells:
        some, more = placed.parted(room) if placed.height > room else (placed, None)
        first += [(x, some)] if some else []
        rest += [(x, more)] if more else []
    if not any(some.height for _, some in first):
        return None, row
    return tuple(  # type: ignore[return-value]
        _SetRow(row.row, tuple(cells), max(placed.height for _, placed in cells)) if cells else None
        for cells in (first, rest)
    )


# ---------------------------------------------------------------- listings


def listing(
    title: Text,
    heads: Sequence[str],
    rows: Iterable[Row],
    shares: Sequence[float],
    room: float,
    *,
    framed: bool = False,
    at_least: float = 0.0,
) -> Table:
    """Return a table under its title and small heads, both repeated overleaf; ``shares`` divide the room."""
    names = Row([Text(plain(word), SMALL_PT) for word in heads], 0.0, MIDDLE_PT, pads=(2.0, 2.0, 1.0, 1.0))
    heading = Row([title], 0.0, 0.0, TITLE_PADS), names
    return Table(_shared(shares, room), rows, heading, 1, framed, gap=GAP_PT, at_least=at_least)


def plain_listing(title: Text, rows: Iterable[Sequence[Cell | None]], shares: Sequence[float], room: float) -> Table:
    """Return a table under its title alone, for a few rows that explain themselves."""
    made = (Row(row, pads=(2.0, 2.0, 1.2, 1.8)) for row in rows)
    return Table(_shared(shares, room), made, (Row([title], 0.0, MIDDLE_PT, TITLE_PADS),), gap=GAP_PT)


TITLE_PADS = (0.0, 2.0, 0.0, 2.0)


def _shared(shares: Sequence[float], room: float) -> tuple[float, ...]:
    whole = sum(shares)
    return tuple(room * share / whole for share in shares)


def section_title(words: str, note: str = "") -> Text:
    """Return the title of a section with a note in small print behind it."""
    after = ((PLAIN, NOTE_PT, NO_BREAK * 3), *plain(note, NOTE_PT)) if note else ()
    return Text((*bold(words), *after), HEAD_PT)


def stack(*cells: Cell) -> Stack:
    """Return cells one below the other."""
    return Stack(cells)


def shown_length(millimetres: float) -> str:
    """Return a length for people."""
    return f"{millimetres:g} mm"


def joined_lines(lines: Iterable[str]) -> str:
    """Return the lines of a sleeve as one."""
    return " / ".join(lines)
