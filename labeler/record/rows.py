"""Adding rows: what is shared is added once, known by the digest of what it says."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from json.encoder import encode_basestring_ascii as quoted
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select

from labeler.model import Sheet
from labeler.record import schema
from labeler.record.faces import MILLIONTH, digest_of, face_to_text, rounded, stock_to_text
from labeler.record.marker_names import plain
from labeler.record.values import LeftOut, MarkerRow

Line = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet as it is kept: its number in the job, what it is, and the lines of its pieces. Number 0 is no sheet."""

    number: int
    stock: bytes | None
    width_mm: float
    height_mm: float
    group: str
    lines: tuple[Line, ...]  # digest of the marker, cell, x, y

    @property
    def digest(self) -> bytes:
        """Return the digest by which the content is known."""
        return content_digest((self.stock, self.width_mm, self.height_mm, self.group), self.lines)


@dataclass(frozen=True, slots=True)
class Shared:
    """What is known by its digest, on its way into the record."""

    stocks: dict[bytes, str] = field(default_factory=dict)
    faces: dict[bytes, str] = field(default_factory=dict)
    markers: dict[bytes, Line] = field(default_factory=dict)

    def stock(self, text: str) -> bytes:
        """Return the digest of a stock's text, which is taken along."""
        digest = digest_of(text)
        self.stocks[digest] = text
        return digest

    def marker(self, row: MarkerRow, group: str, face_text: str | None, left_out: str | None) -> bytes:
        """Return the digest of a marker as it was resolved, which is taken along with its face."""
        face = None
        if face_text is not None:
            face = digest_of(face_text)
            self.faces[face] = face_text
        line = marker_line(row, group, face, left_out)
        digest = marker_digest(line)
        self.markers[digest] = line
        return digest


def marker_line(row: MarkerRow, group: str, face: bytes | None, left_out: str | None) -> Line:
    """Return the row of `schema.marker` without its digest."""
    words = words_of((row.id, row.at, row.branch, row.circuit, row.label))
    about = (row.id, row.kind, row.role, row.at, row.branch, row.circuit, row.label, row.tube, row.colour)
    return (*about, rounded(row.cut_length_mm), row.heating, row.how, group, face, left_out, words)


def words_of(names: tuple[str, ...]) -> str | None:
    """Return a marker's names as they are compared, None where SQL's lower() gives them."""
    return None if "".join(names).isascii() else "\n".join(map(plain, names))


def marker_digest(line: Line) -> bytes:
    """Return the digest of a marker's row: of all that it says, lengths in whole nanometres."""
    *about, cut, heating, how, group, face, left_out, _words = line
    texts = ",".join(map(quoted, (*about, heating, how, group)))
    rest = f'"{face.hex()}"' if face else "null" if left_out is None else quoted(left_out)
    return digest_of(f"[{texts},{round(cut * MILLIONTH)},{rest}]")


def content_digest(about: tuple[bytes | None, float, float, str], lines: Iterable[Line]) -> bytes:
    """Return the digest of a sheet's content: stock, width, height, group, and its pieces in order."""
    stock, width, height, group = about
    m = MILLIONTH
    pieces = ",".join(
        [f'"{marker.hex()}",{quoted(cell)},{round(x * m)},{round(y * m)}' for marker, cell, x, y in lines]
    )
    name = f'"{stock.hex()}"' if stock else "null"
    return digest_of(f"[{name},{round(width * m)},{round(height * m)},{quoted(group)},{pieces}]")


def keep(
    connection: Connection,
    job_id: int,
    sheets: Sequence[Sheet],
    markers: Mapping[str, MarkerRow],
    left_out: Sequence[LeftOut],
    fonts: Mapping[str, str],
) -> None:
    """Add the sheets of a job and the markers that stand on none."""
    shared = Shared()
    texts = {stock: stock_to_text(stock) for stock in {sheet.stock for sheet in sheets}}
    pages = [_page(sheet, shared.stock(texts[sheet.stock]), markers, shared) for sheet in sheets]
    placed = {placed.piece.marker for sheet in sheets for placed in sheet.placed}
    gone = {left.row.id: left for left in left_out}
    plain_ones = (row for name, row in markers.items() if name not in placed and name not in gone)
    rest = [shared.marker(row, "", None, None) for row in plain_ones]
    rest += [shared.marker(left.row, "", None, left.reason) for left in gone.values()]
    if rest:
        pages.append(Page(0, None, 0.0, 0.0, "", tuple((digest, "", 0.0, 0.0) for digest in rest)))
    keep_pages(connection, job_id, pages, shared)
    used = fonts_in(sheets)
    add(connection, schema.job_font, ((job_id, n, digest) for n, digest in fonts.items() if n in used))


def _page(sheet: Sheet, stock: bytes, markers: Mapping[str, MarkerRow], shared: Shared) -> Page:
    lines = tuple(
        [
            (
                shared.marker(markers[p.piece.marker], p.piece.group, face_to_text(p.piece.face), None),
                p.cell,
                rounded(p.x_mm),
                rounded(p.y_mm),
            )
            for p in sheet.placed
        ]
    )
    return Page(sheet.number, stock, rounded(sheet.width_mm), rounded(sheet.height_mm), sheet.group, lines)


def keep_pages(connection: Connection, job_id: int, pages: Sequence[Page], shared: Shared) -> None:
    """Add what the pages share with others where it is new, and the pages themselves."""
    add_new(connection, schema.stock, ((digest, text) for digest, text in shared.stocks.items()))
    add_new(connection, schema.face, ((digest, text) for digest, text in shared.faces.items()))
    add_new(connection, schema.marker, ((digest, *line) for digest, line in shared.markers.items()))
    digests = [page.digest for page in pages]
    ids = _content_ids(connection, dict(zip(digests, pages, strict=True)))
    add(connection, schema.sheet, [(job_id, p.number, ids[digest]) for p, digest in zip(pages, digests, strict=True)])


def _content_ids(connection: Connection, pages: Mapping[bytes, Page]) -> dict[bytes, int]:
    """Return the numbers of contents in the record, added where they are new: one writes at a time."""
    c = schema.content.c
    known: dict[bytes, int] = {}
    for some in chunks(pages):
        known.update(
            (row.digest, row.id) for row in connection.execute(select(c.id, c.digest).where(c.digest.in_(some)))
        )
    last = connection.scalar(select(func.max(c.id))) or 0
    new = {digest: last + n for n, digest in enumerate((d for d in pages if d not in known), 1)}
    about = [(n, digest, pages[digest]) for digest, n in new.items()]
    add(connection, schema.content, [(n, d, p.stock, p.width_mm, p.height_mm, p.group) for n, d, p in about])
    lines = [(n, number, *line) for n, _digest, page in about for number, line in enumerate(page.lines)]
    add(connection, schema.piece, lines)
    return {**known, **new}


CHUNK = 500  # values in one IN list: every database takes as many


def chunks(values: Iterable[Any]) -> Iterator[list[Any]]:
    """Yield the values in order, a list of as many as one statement takes at a time."""
    ordered = sorted(values)
    for start in range(0, len(ordered), CHUNK):
        yield ordered[start : start + CHUNK]


def fonts_in(sheets: Iterable[Sheet]) -> set[str]:
    """Return the names of the fonts that are drawn on the sheets."""
    return {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}


# ---------------------------------------------------------------- statements


def added(connection: Connection, table: Table, row: Mapping[str, object]) -> int:
    """Add one row and return its number."""
    key = connection.execute(insert(table), row).inserted_primary_key
    return int(key[0]) if key else 0


def add(connection: Connection, table: Table, lines: Iterable[Line]) -> None:
    """Add rows, each a tuple in the order of the table's columns."""
    _add_many(connection, insert(table), table, list(lines))


def add_new(connection: Connection, table: Table, lines: Iterable[Line]) -> None:
    """Add the rows that are not there yet, in the order of their digests, which is the table's own."""
    dialect: Any = import_module(f"sqlalchemy.dialects.{connection.dialect.name}")
    ordered = sorted(lines, key=itemgetter(0))
    _add_many(connection, dialect.insert(table).on_conflict_do_nothing(), table, ordered)


def _add_many(connection: Connection, statement: Any, table: Table, lines: list[Line]) -> None:
    """Insert many rows, bound as tuples where the driver takes them: half the time of dictionaries."""
    if not lines:
        return
    names = [column.name for column in table.columns]
    compiled = statement.compile(dialect=connection.dialect, column_keys=names)
    if compiled.positional:
        connection.exec_driver_sql(str(compiled), lines)
    else:
        connection.execute(statement, [dict(zip(names, line, strict=True)) for line in lines])
