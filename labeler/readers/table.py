"""A wire list as text → a table: encoding, separator, header row and every row's line in the file.

Nothing here knows what a circuit is. The separator and the header row are found together: the row
that names most roles under a separator that the rows below it agree with. Title rows, blank lines
and comments (``#``, ``//``) around it are passed over; a header may itself start with ``//``.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO, StringIO
from itertools import chain, islice
from operator import itemgetter
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.readers.columns import LOOKED_FOR, Columns, columns, heading, pin_columns, unplaced

# ---------------------------------------------------------------- The bytes of a wire list


LONGEST_LINE = 65_536  # characters; project choice: no wire list comes near, a broken file does
SHOWN = 10  # problems of one kind that a damaged file is told; project choice
_NOT_1252 = re.compile(rb"[\x81\x8d\x8f\x90\x9d]")  # bytes without a meaning in Windows-1252
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def decoded(data: bytes, source: str) -> tuple[str, tuple[Problem, ...]]:
    """Return the text and, where the encoding had to be guessed, a warning.

    UTF-8 and UTF-16, with or without a byte order mark, are certain; else Windows-1252, or
    Latin-1 where a byte has no meaning there. Line ends become ``\\n``.
    """
    encoding = _encoding(data)
    notes: tuple[Problem, ...] = ()
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8-sig":
            message = f"looks like {encoding.upper()}, but byte {error.start + 1} cannot be read so"
            raise LabelerError(Problem(SourceLocation(source), message, "save the list again as UTF-8")) from None
        encoding = "Latin-1" if _NOT_1252.search(data) else "Windows-1252"
        text = data.decode(encoding)
        where = SourceLocation(source, data.count(b"\n", 0, error.start) + 1)
        fix = "check ä, ö, ü, µ and Ω, or save as UTF-8"
        notes = (Problem(where, f"not UTF-8 from here on; read as {encoding}", fix, warning=True),)
    return text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a"), notes


def is_workbook(data: bytes) -> bool:
    """Return whether the bytes are a workbook of the open form (OOXML)."""
    part = "xl/workbook.xml"
    if part.encode() not in data:  # an archive lists the names of its parts as they are
        return False
    import zipfile

    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return part in archive.namelist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        return False


def is_xml(data: bytes) -> bool:
    """Return whether bytes look like XML, in UTF-8 or UTF-16."""
    start = data[:200].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith(b"<")


def _encoding(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    sample = data[:4096]
    even, odd, half = sample[::2].count(0), sample[1::2].count(0), len(sample) // 2
    if odd > 0.4 * half and even < 0.05 * half:
        return "utf-16-le"
    if even > 0.4 * half and odd < 0.05 * half:
        return "utf-16-be"
    return "utf-8-sig"


def check_lines(lines: Sequence[str], text: str, source: str) -> None:
    """Refuse what is no text, and lines of a length that no list has."""
    problems: list[Problem] = []
    for number, line in enumerate(lines, 1) if _CONTROL.search(text) else ():
        found = _CONTROL.search(line)
        if found and len(problems) < SHOWN:
            message = f"character {ord(found[0])} at position {found.start() + 1} is no text"
            problems.append(Problem(SourceLocation(source, number), message, "save the list as CSV in UTF-8"))
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            message = f"the line has {len(line):,} characters, the limit is {LONGEST_LINE:,}"
            problems.append(Problem(SourceLocation(source, number), message, "check that line ends were kept"))
    refuse(problems)


# ---------------------------------------------------------------- The lines of a list under one separator


SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
LONGEST_CELL_LINES = 50  # lines a quoted cell may span; project choice, so that one stray quote stays local
HEADER_WITHIN = 200  # the header row is looked for in that many lines; project choice
CODED_WITHIN = 1000  # rows that are looked at for a record code
MOST_CODES = 6  # different record codes; project choice

_CODE = re.compile(r"\d{1,2}|[A-Z]")  # what tells kinds of rows apart
_RULE = re.compile(r"[\s|:+-]*---[\s|:+-]*")  # under the header of a table drawn with bars


Line = tuple[int, str, int]  # of a row: the line it starts in, its raw text, the number of its cells


class Rows:
    """The lines of a list under one separator."""

    def __init__(self, lines: Sequence[str], separator: str, source: str) -> None:
        self.lines = lines
        self.separator = separator
        self.source = source
        self.barred = separator == "|"
        self._counts: dict[int, int] = {}  # by line: its cells
        self.others: dict[str, list[int]] = {}  # record code → lines passed over for it
        self.problems: list[Problem] = []
        self.comments: list[int] = []  # lines that are comments and as wide as the table

    def raw(self, index: int) -> str:
        """Return a line, without the outer bars of a drawn table."""
        line = self.lines[index]
        return line.strip().removeprefix("|").removesuffix("|") if self.barred else line

    def cells(self, index: int, first: str) -> list[str]:
        """Return the cells of the row that starts in this line, whose text is ``first``."""
        return self._quoted(index, first)[0] if '"' in first else first.split(self.separator)

    def header(self, index: int) -> tuple[list[str], bool]:
        """Return the cells of a row that may be the header, and whether it is commented out; raises csv.Error."""
        line = self.raw(index)
        commented = self.is_comment(line)
        cells = self.cells(index, line.lstrip().lstrip("/#") if commented else line)
        while cells and not cells[-1].strip():
            cells.pop()
        return cells, commented

    def _quoted(self, index: int, first: str, strict: bool = False) -> tuple[list[str], int]:
        """Return the cells of a row with quotes, and how many lines it takes; raises csv.Error."""
        later = map(self.raw, range(index + 1, min(index + LONGEST_CELL_LINES, len(self.lines))))
        lines = (f"{line}\n" for line in chain((first,), later))
        reader = csv.reader(lines, delimiter=self.separator, strict=strict)
        return next(reader, []), max(reader.line_num, 1)

    def is_blank(self, line: str) -> bool:
        """Whether a line holds nothing but separators, or is the rule under a drawn header."""
        return not line.strip(self.separator + ' \t"') or (self.barred and bool(_RULE.fullmatch(line)))

    def is_comment(self, line: str) -> bool:
        """Whether a line is a comment; a first column called ``#`` is none."""
        start = line.lstrip()
        named = start[1:].lstrip(" ").startswith(self.separator)
        return start.startswith("//") or (start.startswith("#") and not named)

    def candidates(self) -> Iterator[tuple[int, list[str], bool]]:
        """Yield the rows that may be the header: line index, cells, whether commented out."""
        for index in range(min(len(self.lines), HEADER_WITHIN)):
            line = self.raw(index)
            if self.separator not in line or self.is_blank(line):
                continue
            with suppress(csv.Error):  # a quoted cell too long to be a header
                yield index, *self.header(index)

    def agreement(self, header: int, width: int) -> float:
        """Return which share of the next rows has as many cells as the header."""
        below = map(self._cells_in, range(header + 1, min(len(self.lines), header + 1 + HEADER_WITHIN)))
        cells = [count for count in below if count]
        return sum([count >= width for count in cells]) / max(len(cells), 1)

    def _cells_in(self, index: int) -> int:
        """Return how many cells a line parts into, 0 for a blank one or a comment."""
        if index not in self._counts:
            line = self.raw(index)
            passed_over = self.is_blank(line) or self.is_comment(line)
            self._counts[index] = 0 if passed_over else line.count(self.separator) + 1
        return self._counts[index]

    def span(self, index: int) -> int:
        """Return the index of the line after the row that starts here."""
        line = self.raw(index)
        return index + (self._quoted(index, line)[1] if '"' in line else 1)

    def record_code(self, header: int, start: int, found: Columns) -> tuple[str, Columns]:
        """Return the code that leads the data rows, ``""`` where none does, and the columns with its own.

        Some lists lead every row by a code for what it is: a comment, a header, a variant, a wire.
        The header may have one itself, or stand one cell to the left of the data.
        """
        firsts, last, widths = [], False, Counter[int]()
        for index in range(start, len(self.lines)):
            line = self.raw(index)
            if self.is_blank(line) or self.is_comment(line):
                continue
            first, _, rest = line.partition(self.separator)
            firsts.append(first.strip())
            if len(firsts) > CODED_WITHIN or not _CODE.fullmatch(firsts[-1]):
                break
            widths[rest.count(self.separator) + 1] += 1
            last |= bool(rest.rpartition(self.separator)[2].strip())
        counts = Counter(firsts[:CODED_WITHIN])
        if not counts or len(counts) > MOST_CODES or not all(map(_CODE.fullmatch, counts)):
            return "", found
        width = len(found.headings)
        if not (_CODE.fullmatch(found.headings[0].text) and 0 not in chain(*found.roles.values())):
            shifted = last and widths.most_common(1)[0][0] == width and len(firsts) > len(counts)
            if not (shifted and self._leads_others(header, found)):
                return "", found
            roles = {role: tuple(index + 1 for index in held) for role, held in found.roles.items()}
            found = Columns((heading(""), *found.headings), roles)
        return counts.most_common(1)[0][0], found

    def _leads_others(self, header: int, found: Columns) -> bool:
        """Whether a code leads the lines above the header too, or its number stands again in its last column."""
        above = [self._first_text(index) for index in range(header) if not self.is_blank(self.raw(index))]
        return bool(above and all(map(_CODE.fullmatch, above))) or found.headings[0].plain == found.headings[-1].plain

    def _first_text(self, index: int) -> str:
        return self.raw(index).partition(self.separator)[0].strip()

    def passed_over(self, header: int, record: str) -> tuple[str, ...]:
        """Say which lines are no rows of the table: above its header, and of another record code."""
        above = sum(not self.is_blank(self.raw(index)) for index in range(header))
        others = (
            f"rows with record code {code!r}: {len(lines)}, the first in line {lines[0]}"
            for code, lines in self.others.items()
        )
        said = [f"lines above the header row: {above}"] if above else []
        said += [f"record code {record!r} leads the rows of wires"] if record else []
        return (*said, *others)

    def below(self, start: int, width: int, header: Sequence[str], record: str = "") -> Iterator[Line]:
        """Yield the rows from ``start`` on; what is wrong, and what was passed over, is kept."""
        index = start
        while index < len(self.lines):
            line = self.raw(index)
            plain = line[:1].isalnum()  # neither blank nor a comment: most rows
            used = 1
            if (not plain and self.is_blank(line)) or (len(header) == 1 and self.lines[index] == header[0]):
                pass
            elif not plain and (self.is_comment(line) or self._first_text(index) == "#"):
                self.comments += [index + 1] if line.count(self.separator) + 1 >= width else []
            elif record and self._first_text(index) != record:
                self.others.setdefault(self._first_text(index), []).append(index + 1)
            else:
                used, row = self._row(index, line, width)
                if row:
                    yield row
            index += used

    def _row(self, index: int, line: str, width: int) -> tuple[int, Line | None]:
        """Return how many lines this row takes, and the row unless it has a problem."""
        where = SourceLocation(self.source, index + 1)
        used, count, extra = 1, line.count(self.separator) + 1, ""
        if '"' in line:
            try:
                cells, used = self._quoted(index, line, strict=True)
            except csv.Error:
                fix = 'close the quote before the separator; write a " inside quotes twice'
                self.problems.append(Problem(where, "a quoted cell does not end where it should", fix))
                return 1, None
            count, extra = len(cells), "".join(cells[width:]).strip()
        elif count > width:
            extra = "".join(line.split(self.separator)[width:]).strip()
        if count < width or extra:
            fix = f"put a cell that holds a {SEPARATORS[self.separator]} itself in quotes"
            if count < width:
                fix = "fill the row up, leave cells empty, or start a note with #"
            self.problems.append(Problem(where, f"{count} cells, the header has {width}", fix))
            return used, None
        return used, (index + 1, "\n".join([line, *map(self.raw, range(index + 1, index + used))]), count)


# ---------------------------------------------------------------- table


@dataclass(frozen=True, slots=True)
class Table:
    """The rows below the header, column by column, as written.

    ``lines``: for each row the line of the file it starts in, counted from 1. ``values``: for each
    column of ``columns`` its cells.
    """

    columns: Columns
    header_line: int
    lines: tuple[int, ...]
    values: tuple[list[str], ...]
    notes: tuple[Problem, ...] = ()
    problems: tuple[Problem, ...] = ()  # rows left out
    separator: str = ","
    passed: tuple[str, ...] = ()  # what was passed over, for people
    pins: bool = False  # one pin a row, not one wire
    splits: tuple[tuple[str, str], ...] = ()  # end → sign between its connector and cavity
    coded: bool = False  # the first column tells kinds of rows apart


class NoHeader(LabelerError):
    """No row names two ends. ``rows`` are the most likely header and what stands below it."""

    def __init__(self, problem: Problem, line: int, separator: str, rows: Sequence[Sequence[str]]) -> None:
        super().__init__(problem)
        self.line = line
        self.separator = separator
        self.rows = rows


@dataclass(frozen=True, slots=True)
class Layout:
    """What is known of a table before it is read: ``""`` and 0 are for finding out."""

    separator: str = ""
    header_line: int = 0
    columns: Callable[[Sequence[str]], Columns] | None = None  # what the cells of its header mean
    pins: bool = False
    splits: tuple[tuple[str, str], ...] = ()  # end → sign between its connector and cavity


FIND_OUT = Layout()


def read_table(data: bytes, source: str) -> Table:
    """Return the table in the bytes of a wire list; rows of a wrong form are left out, in ``problems``.

    Raises LabelerError where there is no table.
    """
    text, notes = decoded(data, source)
    return table_of(text, source, notes)


def table_of(text: str, source: str, notes: tuple[Problem, ...] = (), layout: Layout = FIND_OUT) -> Table:
    """Return the table in a text; raises `NoHeader`, or LabelerError where there is no table."""
    lines = text.split("\n")
    check_lines(lines, text, source)
    separator, header, found = _given(lines, source, layout) if layout.columns else _header(lines, source, layout)
    rows = Rows(lines, separator, source)
    header_end = rows.span(header)
    record, found = rows.record_code(header, header_end, found)
    width = len(found.headings)
    kept = list(rows.below(header_end, width, lines[header:header_end], record))
    if not kept:
        nothing = Problem(
            SourceLocation(source, header + 1), "no circuits below the header row", "add one row for each circuit"
        )
        raise LabelerError(*(rows.problems or [nothing]))
    if rows.comments:
        message = f"rows that start with # or // and were passed over: {len(rows.comments)}, the first here"
        fix = "take the sign away where a row counts"
        notes += (Problem(SourceLocation(source, rows.comments[0]), message, fix, warning=True),)
    frame = _frame([raw for _, raw, _ in kept], separator, max(width, *(count for _, _, count in kept)), source)
    return Table(
        found,
        header + 1,
        lines=tuple(line for line, _, _ in kept),
        values=tuple(frame[index].tolist() for index in range(width)),
        notes=notes,
        problems=tuple(rows.problems),
        separator=separator,
        passed=rows.passed_over(header, record),
        pins=layout.pins if layout.columns else not found.score,
        splits=layout.splits,
        coded=bool(record),
    )


# ---------------------------------------------------------------- separator and header row


NO_COLUMNS = Columns((), {})
Candidate = tuple[tuple[float, ...], str, int, Columns]  # how good, separator, line index, what its columns are


def _header(lines: Sequence[str], source: str, layout: Layout) -> tuple[str, int, Columns]:
    """Return separator, index of the header's line, and what its columns are; raises `NoHeader`."""
    circuits: list[Candidate] = []
    pins: list[Candidate] = []
    near: list[Candidate] = [((0.0, 0.0), ",", 0, NO_COLUMNS)]
    for separator in [layout.separator] if layout.separator else SEPARATORS:
        rows = Rows(lines, separator, source)
        for index, cells, commented in rows.candidates():
            found = columns(cells)
            of_pins = NO_COLUMNS if circuits or found.score else pin_columns(cells)  # a list of circuits comes first
            if found.hits or of_pins.hits:
                agreement = rows.agreement(index, len(cells))
                near.append(((found.hits, agreement), separator, index, found))
                kind, best = (circuits, found) if found.score else (pins, of_pins)
                if best.hits:
                    kind.append(((not commented, best.hits, agreement, -index), separator, index, best))
    if not circuits and not pins:
        raise _no_header(source, lines, max(near, key=itemgetter(0)))
    return max(circuits or pins, key=itemgetter(0))[1:]


def _given(lines: Sequence[str], source: str, layout: Layout) -> tuple[str, int, Columns]:
    """Return separator, header and columns as a column map says; raises LabelerError."""
    header = layout.header_line - 1
    if not layout.columns or not 0 <= header < len(lines):
        message = f"header_row is {layout.header_line}, the list has {len(lines)} lines"
        raise LabelerError(Problem(SourceLocation(source), message, "count the line in the file, from 1"))
    return layout.separator, header, layout.columns(Rows(lines, layout.separator, source).header(header)[0])


def _fullest(lines: Sequence[str]) -> tuple[str, int]:
    """Return the separator that parts most, and the first line with the most cells under it."""
    near = list(enumerate(lines[:HEADER_WITHIN]))
    sign = max(SEPARATORS, key=lambda sign: sum(line.count(sign) for _, line in near[:20]))
    cells = {index: sum(bool(cell.strip()) for cell in line.split(sign)) for index, line in near}
    return sign, max(cells, key=lambda index: (cells[index], -index))


def _no_header(source: str, lines: Sequence[str], nearest: Candidate) -> NoHeader:
    (hits, _), separator, index, found = nearest
    names = ", ".join(repr(item.text) for item in found.headings if item.text)
    if hits == 0:
        separator, index = _fullest(lines)
        names = repr(lines[index].strip()[:60])
    twice = "".join(f"; {name!r} stands twice and cannot be told apart" for name in unplaced(found))
    message = f"no header row names two ends; nearest is {names[:300]}{twice}; looked for {LOOKED_FOR}"
    fix = (
        "give the columns such names, parted by comma, semicolon, tab or bar, "
        "or say which is which in a column map: labeler read --write-column-map writes one to fill in, "
        "--column-map takes it"
    )
    rows = Rows(lines, separator, source)
    below = (i for i in range(index + 1, min(len(lines), index + 20)) if not rows.is_blank(rows.raw(i)))
    sample = [rows.cells(i, rows.raw(i)) for i in (index, *islice(below, 3))]
    return NoHeader(Problem(SourceLocation(source, index + 1), message, fix), index + 1, separator, sample)


def _frame(rows: Sequence[str], separator: str, widest: int, source: str) -> Any:
    """Parse the rows; every cell stays the text that it is."""
    import pandas as pd

    try:
        frame = pd.read_csv(
            StringIO("\n".join(rows) + "\n"),
            sep=separator,
            header=None,
            names=range(widest),
            index_col=False,
            dtype=str,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        fix = "look for stray quotes, or save the list again as CSV"
        raise LabelerError(Problem(SourceLocation(source), f"no table: {error}", fix)) from None
    if len(frame) != len(rows):
        message = f"{len(rows)} rows, but quotes leave {len(frame)} of them"
        raise LabelerError(Problem(SourceLocation(source), message, "look for quotes that do not close"))
    return frame
