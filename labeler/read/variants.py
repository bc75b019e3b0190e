"""Wire lists of several variants in one: a column for each variant with ``x``, or a column of options.

Without a choice all rows are read, and it is said; a list of everything at once fits no harness.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import compress

from labeler.errors import Problem, Where, WrongUse, nearest
from labeler.read.account import some
from labeler.read.table import Table

MARKS = frozenset(("x", "X", "✓", "✔", "●"))  # a row belongs to the variant
BLANK = frozenset(("", "-", "–", "—", "o", "O"))  # it does not
MOST_OPTIONS = 50  # different values of a column of options; project choice


def chosen_rows(table: Table, wanted: Sequence[str], source: str) -> tuple[Table, tuple[str, ...]]:
    """Return the table with the rows of the wanted variants, and the names of all that it marks.

    Raises WrongUse for a variant that the list does not mark.
    """
    marked = dict(_marked(table))
    options = _options(table)
    names = (*marked, *dict.fromkeys(name for row in options for name in row))
    if not wanted:
        return _unfiltered(table, names, source), names
    known = {name.casefold(): name for name in names}
    unknown = [name for name in wanted if name.casefold() not in known]
    if unknown:
        raise WrongUse(*(unknown_variant(name, names, source) for name in unknown))
    folded = {name.casefold() for name in wanted}
    columns = [rows for name, rows in marked.items() if name.casefold() in folded]
    keep = []
    for row, optional in enumerate(options):
        by_mark = not marked or any(column[row] for column in columns) or not any(c[row] for c in marked.values())
        by_option = not optional or any(name.casefold() in folded for name in optional)
        keep.append(by_option and (by_mark or not columns))
    return _kept(table, keep), names


def unknown_variant(name: str, known: Sequence[str], source: str) -> Problem:
    """Return the problem of a variant that a file does not have."""
    near = nearest(name, known)
    fix = f"did you mean {near!r}?" if near else f"known are {some(known, 20)}" if known else "it has none"
    return Problem(Where(source), f"no variant {name!r} in this file", fix)


def _marked(table: Table) -> Iterator[tuple[str, list[bool]]]:
    """Yield the columns that mark a variant, by their header."""
    used = {index for indexes in table.columns.roles.values() for index in indexes}
    for index, heading in enumerate(table.columns.headings):
        if index in used or not heading.text:
            continue
        cells = [cell.strip() for cell in table.values[index]]
        if MARKS & set(cells) and set(cells) <= MARKS | BLANK:
            yield heading.text, [cell in MARKS for cell in cells]


def _options(table: Table) -> list[tuple[str, ...]]:
    """Return for each row the options it belongs to; none: it is in all of them."""
    indexes = table.columns.roles.get("option", ())
    cells = [cell.strip() for cell in table.values[indexes[0]]] if indexes else []
    if not cells or len(set(cells)) > MOST_OPTIONS:
        return [()] * len(table.lines)
    return [() if cell in BLANK else tuple(filter(None, re.split(r"\s*[,;/+&]\s*", cell))) for cell in cells]


def _unfiltered(table: Table, names: Sequence[str], source: str) -> Table:
    if not names:
        return table
    message = f"the list marks variants ({some(names)}) and none is chosen; every row is read"
    note = Problem(Where(source, table.header_line), message, "choose with --variant NAME", warning=True)
    return replace(table, notes=(*table.notes, note))


def _kept(table: Table, keep: Sequence[bool]) -> Table:
    left = len(keep) - sum(keep)
    passed = (*table.passed, f"rows of other variants: {left}") if left else table.passed
    lines = tuple(compress(table.lines, keep))
    return replace(table, lines=lines, values=tuple(list(compress(v, keep)) for v in table.values), passed=passed)
