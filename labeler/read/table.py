"""A wire list as text → a table: encoding, separator, header row and every row's line in the file.

Nothing here knows what a circuit is. The separator and the header row are found together: the row
that names most roles under a separator that the rows below it agree with. Title rows, blank lines
and comments (``#``, ``//``) around it are passed over; a header may itself start with ``//``.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import StringIO
from itertools import islice
from typing import Any

from labeler.errors import LabelerError, Problem, Where
from labeler.read.encoding import check_lines, decoded
from labeler.read.headers import LOOKED_FOR, Columns, columns, pin_columns, unplaced
from labeler.read.rows import HEADER_WITHIN, SEPARATORS, Rows


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
    kept, problems, comments = rows.below(header_end, width, lines[header:header_end], record)
    if not kept and not problems:
        fix = "add one row for each circuit"
        problems.append(Problem(Where(source, header + 1), "no circuits below the header row", fix))
    if not kept:
        raise LabelerError(*problems)
    frame = _frame([raw for _, raw, _ in kept], separator, max([width, *(n for _, _, n in kept)]), source)
    values = tuple(frame[index].tolist() for index in range(width))
    starts = tuple(line for line, _, _ in kept)
    return Table(
        found,
        header + 1,
        starts,
        values,
        notes + comments,
        tuple(problems),
        separator,
        rows.passed_over(header, record),
        layout.pins if layout.columns else not found.score,
        layout.splits,
        bool(record),
    )


# ---------------------------------------------------------------- separator and header row


NO_COLUMNS = Columns((), {})
Best = tuple[tuple[float, ...], str, int, Columns]


def _header(lines: Sequence[str], source: str, layout: Layout) -> tuple[str, int, Columns]:
    """Return separator, index of the header's line, and what its columns are; raises `NoHeader`."""
    best: Best | None = None
    pins: Best | None = None
    nearest: tuple[tuple[int, float], int, Columns, str] = ((0, 0.0), 0, NO_COLUMNS, ",")
    for separator in [layout.separator] if layout.separator else SEPARATORS:
        rows = Rows(lines, separator, source)
        for index, cells, commented in rows.candidates():
            found = columns(cells)
            of_pins = NO_COLUMNS if best or found.score else pin_columns(cells)  # a list of circuits comes first
            if not (found.hits or of_pins.hits):
                continue
            agreement = rows.agreement(index, len(cells))
            nearest = max(nearest, ((found.hits, agreement), index, found, separator), key=lambda item: item[0])
            if found.score:
                best = _better(best, ((not commented, found.score, agreement, -index), separator, index, found))
            elif of_pins.hits:
                pins = _better(pins, ((not commented, of_pins.hits, agreement, -index), separator, index, of_pins))
    chosen = best or pins
    if chosen is None:
        raise _no_header(source, lines, nearest)
    return chosen[1:]


def _better(best: Best | None, other: Best) -> Best:
    return other if best is None or other[0] > best[0] else best


def _given(lines: Sequence[str], source: str, layout: Layout) -> tuple[str, int, Columns]:
    """Return separator, header and columns as a column map says; raises LabelerError."""
    header = layout.header_line - 1
    if not layout.columns or not 0 <= header < len(lines):
        message = f"header_line is {layout.header_line}, the list has {len(lines)} lines"
        raise LabelerError(Problem(Where(source), message, "count the line in the file, from 1"))
    rows = Rows(lines, layout.separator, source)
    line = rows.raw(header)
    cells = rows.cells(header, line.lstrip().lstrip("/#") if rows.is_comment(line) else line)
    while cells and not cells[-1].strip():
        cells.pop()
    return layout.separator, header, layout.columns(cells)


def sample(lines: Sequence[str], separator: str, index: int, source: str) -> list[list[str]]:
    """Return a row and up to three below it, as cells."""
    rows = Rows(lines, separator, source)
    below = (i for i in range(index + 1, min(len(lines), index + 20)) if not rows.is_blank(rows.raw(i)))
    return [rows.cells(i, rows.raw(i)) for i in (index, *islice(below, 3))]


def _fullest(lines: Sequence[str]) -> tuple[str, int]:
    """Return the separator that parts most, and the first line with the most cells under it."""
    near = list(enumerate(lines[:HEADER_WITHIN]))
    sign = max(SEPARATORS, key=lambda sign: sum(line.count(sign) for _, line in near[:20]))
    cells = {index: sum(bool(cell.strip()) for cell in line.split(sign)) for index, line in near}
    return sign, max(cells, key=lambda index: (cells[index], -index))


def _no_header(source: str, lines: Sequence[str], nearest: tuple[tuple[int, float], int, Columns, str]) -> NoHeader:
    (hits, _), index, found, separator = nearest
    names = ", ".join(repr(item.text) for item in found.headings if item.text)
    if hits == 0:
        separator, index = _fullest(lines)
        names = repr(lines[index].strip()[:60])
    twice = "".join(f"; {name!r} stands twice and cannot be told apart" for name in unplaced(found))
    message = f"no header row names two ends; nearest is {names[:300]}{twice}; looked for {LOOKED_FOR}"
    fix = (
        "give the columns such names, parted by comma, semicolon, tab or bar, "
        "or say which is which in a column map: labeler read --draft writes one to fill in, --map takes it"
    )
    rows = sample(lines, separator, index, source)
    return NoHeader(Problem(Where(source, index + 1), message, fix), index + 1, separator, rows)


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
        raise LabelerError(Problem(Where(source), f"no table: {error}", fix)) from None
    if len(frame) != len(rows):
        message = f"{len(rows)} rows, but quotes leave {len(frame)} of them"
        raise LabelerError(Problem(Where(source), message, "look for quotes that do not close"))
    return frame
