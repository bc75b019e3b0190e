"""A workbook → the text of one of its sheets, a line for each row, so that lists are read in one way.

What a spreadsheet shows is not always what it holds: a date that was a pin, a formula nobody worked
out, an error. Such cells are refused by their name; nothing is guessed from them.
"""

from __future__ import annotations

import csv
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass
from datetime import date, time, timedelta
from functools import reduce
from io import BytesIO, StringIO
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse, refuse, suggestion
from labeler.readers.import_report import some

# ---------------------------------------------------------------- A number of a workbook as its cell shows it


_WORDS = r'(?:"[^"]*"|\\.|[ $€£+()])*'
_PLAIN = re.compile(rf"({_WORDS})(0+|#|(?:#,)?##0)((?:\.[0#]+)?)({_WORDS})")
_UNSEEN = re.compile(r"\[[^\]]*\]|_.|\*.")  # colours and places, room for a sign, filling
_PARTED = re.compile(r"[0#?](?:[-:]|\\.|\"[^\"]*\")+[0#?]")  # digits with something between: 000-00


def as_shown(number: int | float, form: str) -> str:
    """Return a number as written under a number format, with all of its digits.

    Zeros before it (``000``) and words around it (``0" cm"``) are shown; decimals are those of the
    number, since a format may round. Raises ValueError for formats that part its digits (``000-00``).
    """
    plain = str(int(number)) if float(number).is_integer() and abs(number) < 1e15 else repr(number)
    section = _UNSEEN.sub("", form.split(";")[0])
    found = _PLAIN.fullmatch(section) if number >= 0 else None
    if found:
        before, digits, _, after = found.groups()
        whole, point, rest = plain.partition(".")
        whole = whole.zfill(len(digits)) if set(digits) == {"0"} else whole
        return f"{_words(before)}{whole}{point}{rest}{_words(after)}".strip()
    if _PARTED.search(section):
        raise ValueError(f"shows its number {plain} by the format {form}; format it as text and write what it shows")
    return plain


def _words(text: str) -> str:
    return "".join(quoted or escaped or sign for quoted, escaped, sign in re.findall(r'"([^"]*)"|\\(.)|([^"\\])', text))


# ---------------------------------------------------------------- xlsx


LARGEST_UNPACKED = 48 * 2**20  # bytes; project choice: some 60,000 rows, and the memory is bounded
LARGEST_PART = 32 * 2**20  # bytes of one part of the file
MOST_PARTS = 2000
MOST_COLUMNS = 300  # project choice: no wire list comes near, a formatted sheet has 16,384
MOST_CELLS = 1_000_000  # empty ones count, each costs time; project choice: 60,000 rows of 16 columns
MOST_MERGED = 100_000  # cells in merged areas; project choice: opening makes each of them
MOST_SHOWN = 10  # problems of one sheet
_MERGED = re.compile(rb"""mergeCell\s[^>]*?ref\s*=\s*["']([A-Za-z]{1,3})(\d{1,7}):([A-Za-z]{1,3})(\d{1,7})["']""")
SAVE_AS_CSV = "save the sheet as CSV"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The rows of one sheet as text parted by tabs; line 12 of ``text`` is row 12 of the sheet."""

    name: str
    text: str
    notes: tuple[Problem, ...] = ()


def read_sheet(data: bytes, source: str, wanted: str = "") -> Sheet:
    """Return the sheet that is wanted, or the only one that holds anything.

    Raises LabelerError where several could be meant, and with every cell that cannot be read;
    WrongUse for a sheet that is not there.
    """
    content = _checked_sheets(data, source)
    book = _opened(data, source, values=True)
    sheet = _chosen(book, wanted, source)
    where = f"{source}/{sheet.title}"
    _refuse_far_cells(sheet, where)
    formulas: frozenset[str] = frozenset()  # cells that hold one: D7
    if b"<f" in content:
        every = _opened(data, source, values=False)[sheet.title].iter_rows()
        formulas = frozenset(cell.coordinate for row in every for cell in row if cell.data_type == "f")
    rows, notes = _rows(sheet, where, formulas)
    hidden = [other.title for other in book.worksheets if other.sheet_state != "visible" and other is not sheet]
    if hidden:
        message = f"hidden sheets are not read: {', '.join(hidden)}"
        notes.append(Problem(SourceLocation(source), message, "name one with --worksheet", warning=True))
    target = StringIO()
    csv.writer(target, delimiter="\t", lineterminator="\n").writerows(rows)
    return Sheet(sheet.title, target.getvalue(), tuple(notes))


# ---------------------------------------------------------------- opening


def _checked_sheets(data: bytes, source: str) -> bytes:
    """Return the bytes of all sheets, to look for formulas in.

    Raises LabelerError for archives that unpack to too much, parts with a document type (entities), and merged areas
    that are larger than a list: opening the workbook would make every cell of them.
    """
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            parts = archive.infolist()
            total = sum(part.file_size for part in parts)
            if total > LARGEST_UNPACKED or len(parts) > MOST_PARTS:
                message = f"unpacks to {total / 2**20:.0f} MB in {len(parts)} parts, the limit is 48 MB in {MOST_PARTS}"
                raise LabelerError(Problem(SourceLocation(source), message, SAVE_AS_CSV))
            contents = [(part.filename, archive.read(part)) for part in parts]
    except (zipfile.BadZipFile, zipfile.LargeZipFile, RuntimeError, OSError, EOFError, ValueError, zlib.error) as error:
        raise _damaged(source, error) from None
    for name, content in contents:
        _refuse_part(content, name, source)
    sheets = b"".join(content for name, content in contents if name.startswith("xl/worksheets/"))
    cells = 0
    for area in _MERGED.findall(sheets):
        left, right = (_column(letters) for letters in area[::2])
        cells += max(right - left + 1, 0) * max(int(area[3]) - int(area[1]) + 1, 0)
    if cells > MOST_MERGED:
        message = f"merged areas of {cells:,} cells, the limit is {MOST_MERGED:,}"
        raise LabelerError(Problem(SourceLocation(source), message, f"take the merging off, or {SAVE_AS_CSV}"))
    return sheets


def _refuse_part(content: bytes, name: str, source: str) -> None:
    if not name.endswith((".xml", ".rels", ".vml")):
        return
    if len(content) > LARGEST_PART:
        raise LabelerError(Problem(SourceLocation(source), f"{name} has {len(content) / 2**20:.0f} MB", SAVE_AS_CSV))
    if b"\x00" in content[:400] or re.search(rb"<!(DOCTYPE|ENTITY)", content):
        message = f"{name} declares a document type or is not UTF-8; a workbook does neither"
        raise LabelerError(Problem(SourceLocation(source), message, "open it in a spreadsheet and save it again"))


def _damaged(source: str, error: Exception) -> LabelerError:
    message = f"cannot be read as a workbook: {' '.join(str(error).split())[:120] or type(error).__name__}"
    return LabelerError(
        Problem(SourceLocation(source), message, f"open it in a spreadsheet and save it again, or {SAVE_AS_CSV}")
    )


def _opened(data: bytes, source: str, values: bool) -> Any:
    import openpyxl

    try:
        with warnings.catch_warnings(), redirect_stdout(StringIO()):  # the library prints of damaged styles
            warnings.simplefilter("ignore")  # of parts that are not read: pictures, checks of input
            return openpyxl.load_workbook(BytesIO(data), data_only=values, keep_links=False)
    except Exception as error:  # the library raises whatever a damaged part leads to
        raise _damaged(source, error) from None


def _column(letters: bytes) -> int:
    """Return the number of a column from its letters: A is 1, AA is 27."""
    return reduce(lambda number, letter: number * 26 + letter - 64, letters.upper(), 0)  # 64 is the sign before A


def _refuse_far_cells(sheet: Any, where: str) -> None:
    """Refuse a sheet that reaches far beyond any list: one stray cell makes all those before it."""
    rows, columns = sheet.max_row, sheet.max_column
    if columns > MOST_COLUMNS:
        message = f"{columns} columns, the limit is {MOST_COLUMNS}"
        raise LabelerError(Problem(SourceLocation(where), message, "delete the columns right of the list"))
    if rows * columns > MOST_CELLS:
        message = f"reaches to row {rows:,}, column {columns}: more than {MOST_CELLS:,} cells"
        raise LabelerError(
            Problem(SourceLocation(where), message, "delete the rows below the list and the columns right of it")
        )


def _chosen(book: Any, wanted: str, source: str) -> Any:
    """Return the sheet to read; raises LabelerError where that is left open."""
    named = {sheet.title: sheet for sheet in book.worksheets}
    if wanted:
        folded = {title.casefold(): sheet for title, sheet in named.items()}
        if wanted.casefold() not in folded:
            fix = suggestion(wanted, named, f"it has {', '.join(map(repr, named))}")
            raise WrongUse(Problem(SourceLocation(source), f"no sheet {wanted!r}", fix))
        return folded[wanted.casefold()]
    filled = [sheet for sheet in named.values() if sheet.sheet_state == "visible" and _is_filled(sheet)]
    if not filled:
        raise LabelerError(
            Problem(SourceLocation(source), "no visible sheet holds anything", "give a list of circuits")
        )
    if len(filled) > 1:
        listed = ", ".join(f"{sheet.title!r} ({sheet.max_row} rows)" for sheet in filled)
        message = f"holds {len(filled)} sheets: {listed}; which one is the list is not guessed"
        raise LabelerError(
            Problem(SourceLocation(source), message, f"choose one, as in --worksheet {filled[0].title!r}")
        )
    return filled[0]


def _is_filled(sheet: Any) -> bool:
    near = sheet.iter_rows(max_row=min(200, sheet.max_row), max_col=min(50, sheet.max_column))  # more would be made
    return any(cell.value is not None for row in near for cell in row)


# ---------------------------------------------------------------- cells


def _rows(sheet: Any, where: str, formulas: frozenset[str]) -> tuple[list[list[str]], list[Problem]]:
    """Return the cells as text, merged ones filled; raises LabelerError with those that cannot be read."""
    problems: list[Problem] = []
    rows: list[list[str]] = []
    for number, cells in enumerate(sheet.iter_rows(), 1):
        rows.append([])
        for cell in cells:
            text = ""
            try:
                text = _text(cell, formulas)
            except ValueError as error:
                problems.append(Problem(SourceLocation(where, number), f"cell {cell.coordinate} {error}"))
            rows[-1].append(text)
    refuse(problems[:MOST_SHOWN])
    return rows, [*_filled(sheet, rows, where), *_unseen(sheet, rows, where)]


def _text(cell: Any, formulas: frozenset[str]) -> str:
    """Return what a cell says; raises ValueError where it says something else than its author meant."""
    value = cell.value
    if value is None:
        if formulas and cell.coordinate in formulas:
            raise ValueError("holds a formula without a result; open the workbook in a spreadsheet and save it")
        return ""
    if cell.data_type == "e":
        raise ValueError(f"holds the error {value}; correct the formula")
    if isinstance(value, (date, time, timedelta)):
        raise ValueError(f"holds a date ({value}), made from something like 1/2; format the cell as text and write it")
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, (int, float)):
        return as_shown(value, str(cell.number_format or "General"))
    return " ".join(str(value).split()) if isinstance(value, str) else str(value)


def _unseen(sheet: Any, rows: list[list[str]], where: str) -> Iterator[Problem]:
    """Say which rows and columns are read though the workbook hides them or strikes them through."""
    filled = [number for number, row in enumerate(rows, 1) if any(row)]
    hidden = [number for number in filled if number in sheet.row_dimensions and sheet.row_dimensions[number].hidden]
    struck = [number for number in filled if _is_struck(sheet[number])]
    filtered = "delete them, or take the filter off, if they do not count"
    for what, those, line, fix in (
        ("hidden rows", hidden, hidden[:1], filtered),
        ("hidden columns", _hidden_columns(sheet, rows), (), "delete them, if they do not count"),
        ("rows struck through", struck, struck[:1], "delete them, if they do not count"),
    ):
        if those:
            message = f"{what} are read like the others: {some(those)}"
            yield Problem(SourceLocation(where, *line), message, fix, warning=True)


def _hidden_columns(sheet: Any, rows: list[list[str]]) -> list[str]:
    """Return the letters of hidden columns that say anything; a group of columns is kept under its first."""
    from openpyxl.utils import get_column_letter

    groups = [column for column in sheet.column_dimensions.values() if column.hidden]
    widest = max(map(len, rows), default=0)
    hidden = {number for group in groups for number in range(group.min or 1, min(group.max or 0, widest) + 1)}
    return [
        get_column_letter(number) for number in sorted(hidden) if any(row[number - 1 : number] != [""] for row in rows)
    ]


def _is_struck(cells: Any) -> bool:
    """Whether all that a row says is struck through."""
    said = [cell for cell in cells if cell.value is not None]
    return bool(said) and all(cell.has_style and cell.font and cell.font.strike for cell in said)


def _filled(sheet: Any, rows: list[list[str]], where: str) -> Iterator[Problem]:
    """Fill cells merged down the rows of a column with what they show, and say so."""
    for area in sheet.merged_cells.ranges:
        first, last, column = area.min_row, area.max_row, area.min_col
        text = rows[first - 1][column - 1] if first <= len(rows) and column <= len(rows[first - 1]) else ""
        if not text or last == first or area.max_col != column:
            continue
        for row in rows[first : min(last, len(rows))]:
            row[column - 1] = text
        message = f"cells merged in {area.coord} all read as {text!r}"
        yield Problem(SourceLocation(where, first), message, "part them, if that is wrong", warning=True)
