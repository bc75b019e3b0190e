"""The columns of a table as cells: cleaned, parsed once for each distinct text, with what is wrong at its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TypeVar

from labeler.errors import Problem, Where
from labeler.read.headers import Heading
from labeler.read.table import Table

T = TypeVar("T")
NONE = frozenset(("", "-", "–", "—", "n/a", "N/A", "n.a.", "k.A.", "k. A."))  # what stands for "none"
DITTO = frozenset(('"', "''", "〃", "″", "”", "„", '-"-', "do.", "dto", "dto.", "ditto", "idem"))  # "as above"
_BROKEN = re.compile(r"#(REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!|BEZUG!|NV|WERT!|ZAHL!)", re.IGNORECASE)


class Cells:
    """The cells of one table by role; gathers problems and notes, and which columns were used."""

    def __init__(self, table: Table, source: str) -> None:
        self.table = table
        self.source = source
        self.problems = list(table.problems)
        self.notes: list[Problem] = []
        self.used: set[int] = set()
        self.rows = len(table.lines)
        self.roles = dict(table.columns.roles)
        self.endless: set[int] = set()  # rows that name no end: one problem is enough for each

    def words(self, role: str) -> list[str]:
        """Return the cleaned cells of a role's column, empty where there is none."""
        indexes = self.roles.get(role, ())
        if not indexes:
            return [""] * self.rows
        found = [self.cleaned(index) for index in indexes]
        if any(column != found[0] for column in found[1:]):
            self._indistinct(role, indexes)
        if not self.used.issuperset(indexes):
            self.used.update(indexes)
            self._refuse_stand_ins(role, found[0])
        return found[0]

    def _refuse_stand_ins(self, role: str, values: Sequence[str]) -> None:
        """Refuse what stands for another cell, or for a formula that failed: it would be taken for a name."""
        wrong = {value for value in set(values) if value.casefold() in DITTO or _BROKEN.fullmatch(value)}
        for row, value in enumerate(values) if wrong else ():
            if value in wrong and _BROKEN.fullmatch(value):
                message = f"column {self.header(role)}: {value} is what a spreadsheet shows for a formula that failed"
                self.problem(row, message, "correct it there and export the list again")
            elif value in wrong:
                message = f"column {self.header(role)}: {value} stands for the cell above, and is not worked out"
                self.problem(row, message, "write the cell out")

    def cleaned(self, index: int) -> list[str]:
        """Return a column's cells without blanks around them, on one line, empty where none is meant."""
        stripped = map(str.strip, self.table.values[index])
        return ["" if v in NONE else " ".join(v.split()) if "\n" in v else v for v in stripped]

    def _indistinct(self, role: str, indexes: Sequence[int]) -> None:
        headings = self.table.columns.headings
        names = " and ".join(repr(headings[index].text) for index in indexes)
        seen = ", ".join(repr(heading.text) for heading in headings)
        message = f"columns {names} may both be {role!r} and differ; headers seen: {seen[:300]}"
        self.header_problem(message, "rename one, such as From Connector, From Pin, To Connector, To Pin")

    def parsed(self, values: Sequence[str], parse: Callable[[str], T], role: str, none: T) -> list[T]:
        """Return parsed values; each distinct text is parsed once, each bad row is a problem."""
        good: dict[str, T] = {"": none}
        bad = {}
        for text in dict.fromkeys(values):
            if text:
                try:
                    good[text] = parse(text)
                except ValueError as error:
                    bad[text] = str(error)
                    good[text] = none
        if bad:
            for row, text in enumerate(values):
                if text in bad:
                    self.problem(row, f"column {self.header(role)}: {bad[text]}")
        return [good[text] for text in values]

    def heading(self, role: str) -> Heading:
        """Return the header of a role's column."""
        return self.table.columns.headings[self.roles[role][0]]

    def header(self, role: str) -> str:
        """Return a role's header as messages name it."""
        return repr(self.heading(role).text)

    def problem(self, row: int, message: str, fix: str = "") -> None:
        """Add what is wrong with a row, unless it names no end: that is said already."""
        if row in self.endless:
            return
        self.problems.append(Problem(Where(self.source, self.table.lines[row]), message, fix))

    def header_problem(self, message: str, fix: str) -> None:
        """Add what is wrong with the header."""
        self.problems.append(Problem(Where(self.source, self.table.header_line), message, fix))

    def note(self, message: str, fix: str, row: int | None = None) -> None:
        """Add a warning, at the header or at a row."""
        line = self.table.header_line if row is None else self.table.lines[row]
        self.notes.append(Problem(Where(self.source, line), message, fix, warning=True))
