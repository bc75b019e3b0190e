"""The lines of a list under one separator: cells, comments, record codes, and the rows below a header."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from labeler.errors import Problem, Where
from labeler.read.headers import Columns, heading

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
LONGEST_CELL_LINES = 50  # lines a quoted cell may span; project choice, so that one stray quote stays local
HEADER_WITHIN = 200  # the header row is looked for in that many lines; project choice
CODED_WITHIN = 1000  # rows that are looked at for a record code
MOST_CODES = 6  # different record codes; project choice

_CODE = re.compile(r"\d{1,2}|[A-Z]")  # what tells kinds of rows apart
_RULE = re.compile(r"[\s|:+-]*---[\s|:+-]*")  # under the header of a table drawn with bars


class Rows:
    """The lines of a list under one separator."""

    def __init__(self, lines: Sequence[str], separator: str, source: str) -> None:
        self.lines = lines
        self.separator = separator
        self.source = source
        self.barred = separator == "|"
        self._counts: dict[int, int] = {}  # by line: its cells
        self.others: dict[str, list[int]] = {}  # record code → lines passed over for it

    def raw(self, index: int) -> str:
        """Return a line, without the outer bars of a drawn table."""
        line = self.lines[index]
        if self.barred:
            line = line.strip()
            line = line[1:] if line.startswith("|") else line
            line = line[:-1] if line.endswith("|") else line
        return line

    def cells(self, index: int, first: str) -> list[str]:
        """Return the cells of the row that starts in this line, whose text is ``first``."""
        if '"' not in first:
            return first.split(self.separator)
        return self._quoted(index, first)[0]

    def _quoted(self, index: int, first: str, strict: bool = False) -> tuple[list[str], int]:
        """Return the cells of a row with quotes, and how many lines it takes; raises csv.Error."""
        reader = csv.reader(self._from(index, first), delimiter=self.separator, strict=strict)
        return next(reader, []), max(reader.line_num, 1)

    def _from(self, index: int, first: str) -> Iterator[str]:
        yield first + "\n"
        for later in range(index + 1, min(index + LONGEST_CELL_LINES, len(self.lines))):
            yield self.raw(later) + "\n"

    def is_blank(self, line: str) -> bool:
        """Whether a line holds nothing but separators, or is the rule under a drawn header."""
        return not line.strip(self.separator + ' \t"') or (self.barred and bool(_RULE.fullmatch(line)))

    def is_comment(self, line: str) -> bool:
        """Whether a line is a comment; a first column called ``#`` is none."""
        start = line.lstrip()
        if start.startswith("//"):
            return True
        return start.startswith("#") and not start[1:].lstrip(" ").startswith(self.separator)

    def candidates(self) -> Iterator[tuple[int, list[str], bool]]:
        """Yield the rows that may be the header: line index, cells, whether commented out."""
        for index in range(min(len(self.lines), HEADER_WITHIN)):
            line = self.raw(index)
            if self.separator not in line or self.is_blank(line):
                continue
            commented = self.is_comment(line)
            try:
                cells = self.cells(index, line.lstrip().lstrip("/#") if commented else line)
            except csv.Error:  # a quoted cell too long to be a header
                continue
            while cells and not cells[-1].strip():
                cells.pop()
            yield index, cells, commented

    def agreement(self, header: int, width: int) -> float:
        """Return which share of the next rows has as many cells as the header."""
        below = map(self._cells_in, range(header + 1, min(len(self.lines), header + 1 + HEADER_WITHIN)))
        cells = [count for count in below if count]
        return sum([count >= width for count in cells]) / max(len(cells), 1)

    def _cells_in(self, index: int) -> int:
        """Return how many cells a line parts into, 0 for a blank one or a comment."""
        known = self._counts.get(index)
        if known is None:
            line = self.raw(index)
            passed_over = self.is_blank(line) or self.is_comment(line)
            known = self._counts[index] = 0 if passed_over else line.count(self.separator) + 1
        return known

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
        codes = set(firsts[:CODED_WITHIN])
        if not codes or len(codes) > MOST_CODES or not all(map(_CODE.fullmatch, codes)):
            return "", found
        width = len(found.headings)
        own = _CODE.fullmatch(found.headings[0].text) and not any(0 in held for held in found.roles.values())
        shifted = last and widths.most_common(1)[0][0] == width and len(firsts) > len(codes)
        if not own and not (shifted and self._leads_others(header, found)):
            return "", found
        if not own:
            roles = {role: tuple(index + 1 for index in held) for role, held in found.roles.items()}
            found = Columns((heading(""), *found.headings), roles)
        return Counter(firsts[:CODED_WITHIN]).most_common(1)[0][0], found

    def _leads_others(self, header: int, found: Columns) -> bool:
        """Whether a code leads the lines above the header too, or its number stands again in its last column."""
        above = [self._first_text(index) for index in range(header) if not self.is_blank(self.raw(index))]
        return bool(above and all(map(_CODE.fullmatch, above))) or found.headings[0].plain == found.headings[-1].plain

    def _first_text(self, index: int) -> str:
        return self.raw(index).partition(self.separator)[0].strip()

    def passed_over(self, header: int, record: str) -> tuple[str, ...]:
        """Say which lines are no rows of the table: above its header, and of another record code."""
        above = sum(not self.is_blank(self.raw(index)) for index in range(header))
        said = [f"lines above the header row: {above}"] if above else []
        if record:
            said.append(f"record code {record!r} leads the rows of wires")
        return (
            *said,
            *(
                f"rows with record code {code!r}: {len(lines)}, the first in line {lines[0]}"
                for code, lines in self.others.items()
            ),
        )

    def below(
        self, start: int, width: int, header: Sequence[str], record: str = ""
    ) -> tuple[list[tuple[int, str, int]], list[Problem], tuple[Problem, ...]]:
        """Return the rows from ``start`` on as (line, raw text, number of cells), and what is wrong."""
        kept: list[tuple[int, str, int]] = []
        problems: list[Problem] = []
        comments: list[int] = []
        index, end = start, len(self.lines)
        while index < end:
            line = self.raw(index)
            plain = line[:1].isalnum()  # neither blank nor a comment: most rows
            if (not plain and self.is_blank(line)) or (len(header) == 1 and self.lines[index] == header[0]):
                index += 1
            elif not plain and (self.is_comment(line) or self._first_text(index) == "#"):
                comments += [index + 1] if line.count(self.separator) + 1 >= width else []
                index += 1
            elif record and self._first_text(index) != record:
                self.others.setdefault(self._first_text(index), []).append(index + 1)
                index += 1
            else:
                index, row = self._row(index, line, width, problems)
                if row:
                    kept.append(row)
        return kept, problems, _commented(self.source, comments)

    def _row(
        self, index: int, line: str, width: int, problems: list[Problem]
    ) -> tuple[int, tuple[int, str, int] | None]:
        """Return the index after this row, and the row unless it has a problem."""
        where = Where(self.source, index + 1)
        if '"' not in line:
            count, used, extra = line.count(self.separator) + 1, 1, ""
            if count > width:
                extra = "".join(line.split(self.separator)[width:]).strip()
        else:
            try:
                cells, used = self._quoted(index, line, strict=True)
            except csv.Error:
                fix = 'close the quote before the separator; write a " inside quotes twice'
                problems.append(Problem(where, "a quoted cell does not end where it should", fix))
                return index + 1, None
            count, extra = len(cells), "".join(cells[width:]).strip()
        if count < width or extra:
            problems.append(_miscounted(where, count, width, SEPARATORS[self.separator]))
            return index + used, None
        raw = line if used == 1 else "\n".join([line, *(self.raw(i) for i in range(index + 1, index + used))])
        return index + used, (index + 1, raw, count)


def _miscounted(where: Where, count: int, width: int, separator: str) -> Problem:
    message = f"{count} cells, the header has {width}"
    fix = f"put a cell that holds a {separator} itself in quotes" if count > width else "fill the row up"
    return Problem(where, message, f"{fix}, leave cells empty, or start a note with #" if count < width else fix)


def _commented(source: str, comments: Sequence[int]) -> tuple[Problem, ...]:
    """Say that whole rows were passed over as comments."""
    if not comments:
        return ()
    message = f"rows that start with # or // and were passed over: {len(comments)}, the first here"
    return (Problem(Where(source, comments[0]), message, "take the sign away where a row counts", True),)
