"""A wire list (CSV, TSV, or a table drawn with bars) → `Harness`: one circuit a row, two ends each.

The columns are told by `headers`, the rows by `table`. Work goes by columns, and each distinct text
of a column is parsed once. Connectors are inferred from the ends, in order of first appearance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import repeat

from labeler.errors import Problem, Where, refuse
from labeler.model import Cable, Circuit, Connector, Harness, Settings
from labeler.read.account import AS_IT_STANDS, NOT_UNDERSTOOD, Account, Read, Wanted, counts_of
from labeler.read.cells import Cells
from labeler.read.ends import pins_of
from labeler.read.headers import unplaced
from labeler.read.ids import ids_of, tell_wire_from_id
from labeler.read.pins import read_pins
from labeler.read.rows import SEPARATORS
from labeler.read.table import Table, read_table
from labeler.read.values import (
    cable_outside,
    gauge_kind,
    is_bare_size,
    is_thousands_or_decimals,
    length,
    size_of_kind,
    stated_size,
    wire_outside,
)
from labeler.read.variants import chosen_rows

ZERO = frozenset(("0", "0.0", "0,0", "0.00", "0,00"))  # a length or diameter nobody entered
SHOWN = 12  # columns that a note names; project choice
AREA_WORDS = frozenset(("querschnitt", "leitungsquerschnitt", "quer", "section", "csa", "dm"))  # mm2 by name


def read_csv(data: bytes, source: str, name: str, settings: Settings) -> Harness:
    """Return the harness in the bytes of a wire list.

    ``source`` is named in every place, ``name`` becomes the harness's. Raises LabelerError with
    every problem found; what was guessed is said in ``notes``.
    """
    return read_list(read_table(data, source), data, source, name, settings).checked()


def read_list(
    table: Table, data: bytes, source: str, name: str, settings: Settings, wanted: Wanted = AS_IT_STANDS
) -> Read:
    """Return the harness of a table with one wire a row, or one pin a row, and what was understood.

    Raises LabelerError with every problem found.
    """
    if table.pins:
        return read_pins(table, data, source, name, settings)
    table, variants = chosen_rows(table, wanted.variants, source)
    reader = _Reader(table, source, settings.wire_marker, variants)
    circuits, cables, notes = reader.harness_parts()
    harness = Harness(
        name=name,
        settings=settings,
        connectors=inferred_connectors(circuits),
        circuits=circuits,
        cables=cables,
        notes=table.notes + notes,
        where=Where(source),
        text=data,
    )
    form = f"wire list, parted by {SEPARATORS[table.separator]}, header in line {table.header_line}"
    account = Account(form, "", counts_of(harness), reader.became(), table.passed, variants)
    return Read(harness, account)


def inferred_connectors(circuits: Iterable[Circuit]) -> tuple[Connector, ...]:
    """Return a connector for each one that a circuit ends at, in order of first appearance."""
    first: dict[str, Where] = {}
    for circuit in circuits:
        first.setdefault(circuit.start.connector, circuit.where)
        first.setdefault(circuit.finish.connector, circuit.where)
    return tuple(Connector(id, where=where) for id, where in first.items())


class _Reader(Cells):
    """The columns of one table on their way to circuits."""

    def __init__(self, table: Table, source: str, wire_marker: str, variants: Sequence[str]) -> None:
        super().__init__(table, source)
        self.wire_marker = wire_marker
        self.elsewhere = self._read_elsewhere(variants)
        self.stated = False  # a column without a name that tells it states the sizes

    def _read_elsewhere(self, variants: Sequence[str]) -> set[int]:
        """Return the columns that say which rows count: record codes, marks of variants, options."""
        headings = enumerate(self.table.columns.headings)
        marks = {index for index, heading in headings if heading.text in variants}
        return {*marks, *self.roles.get("option", ()), *((0,) if self.table.coded else ())}

    def harness_parts(self) -> tuple[tuple[Circuit, ...], tuple[Cable, ...], tuple[Problem, ...]]:
        for name in unplaced(self.table.columns):
            message = f"header {name!r} stands more than once and its place does not tell the end"
            self.header_problem(message, "call them From Pin and To Pin")
        tell_wire_from_id(self)
        starts, finishes = pins_of(self)
        ids = ids_of(self)
        sizes, outside, lengths = self._sizes(), self._lengths("outside"), self._lengths("length")
        wires, colours, signals = self.words("wire"), self.words("colour"), self.words("signal")
        cable_ids = self.words("cable")
        cables = self._cables(cable_ids)
        self._note_unused()
        refuse(sorted([*self.table.notes, *self.notes, *self.problems], key=lambda problem: problem.where.line))
        where = (Where(self.source, line) for line in self.table.lines)
        columns = (ids, starts, finishes, sizes, wires, outside, colours, signals, lengths, cable_ids, where)
        circuits = tuple(map(Circuit, *columns, repeat(None), self._free()))
        return circuits, cables, tuple(self.notes)

    # ------------------------------------------------------------ names

    def became(self) -> tuple[tuple[str, str], ...]:
        """Return what each column became: a role, or a free column."""
        roles = {index: role for role, indexes in self.roles.items() for index in indexes if index in self.used}
        return tuple(
            (f"column {heading.text!r}", roles.get(index, NOT_UNDERSTOOD))
            for index, heading in enumerate(self.table.columns.headings)
            if heading.text
        )

    # ------------------------------------------------------------ quantities

    def _sizes(self) -> list[str]:
        """Return canonical sizes; bare numbers are decided over the whole column."""
        if "size" not in self.roles:
            return self._stated_sizes()
        values = self.words("size")
        indexes = self.roles.get("size", ())
        kind = self.heading("size").unit if indexes else ""
        bare = {value for value in set(values) if is_bare_size(value)}
        if bare and kind not in ("AWG", "mm2"):
            kind = self._decided(bare)
            if not kind:
                return values
        return self.parsed(values, lambda text: size_of_kind(text, kind), "size", "")

    def _stated_sizes(self) -> list[str]:
        """Return the sizes of the one column whose values all state one (``10mm2 rigid``), kept as written too."""
        placed = {index for indexes in self.roles.values() for index in indexes}
        found = []
        for index in range(len(self.table.columns.headings)):
            cells = set(self.cleaned(index)) - {""} if index not in placed else set()
            if cells and all(map(stated_size, cells)):
                found.append(index)
        if len(found) != 1:
            return [""] * self.rows
        name = self.table.columns.headings[found[0]].text
        self.note(f"column {name!r}: its values state sizes and are read so", "call it Gauge, if that is right")
        self.elsewhere.add(found[0])
        self.stated = True
        return [stated_size(cell) for cell in self.cleaned(found[0])]

    def _decided(self, bare: set[str]) -> str:
        named_area = self.heading("size").plain.rpartition(" ")[2] in AREA_WORDS
        kind = "mm2" if named_area else gauge_kind(bare)
        if not kind:
            shown = ", ".join(sorted(bare)[:6])
            message = f"column {self.header('size')}: {shown} may be AWG or mm2"
            self.header_problem(message, "say it in the header: Gauge (AWG) or Gauge (mm2)")
        return kind

    def _lengths(self, role: str) -> list[float | None]:
        """Return lengths in mm, None where none was entered (0 counts as that)."""
        values = self.words(role)
        if not any(values):
            return [None] * self.rows
        unit = self.heading(role).unit or "mm"
        units = [text.casefold() for text in self.words("unit")] if role == "length" else []
        if any(units):
            values = [
                f"{text} {unit}" if text[-1:].isdigit() else text for text, unit in zip(values, units, strict=True)
            ]
        elif not self.heading(role).unit and any(value[-1:].isdigit() for value in values):
            message = f"column {self.header(role)} names no unit; read as mm"
            self.note(message, f"say it in the header: {self.heading(role).text} (mm)")
        zeros = sum(value in ZERO for value in values)
        if zeros:
            self.note(f"column {self.header(role)}: values of 0 read as missing: {zeros}", "enter or clear them")
            values = ["" if value in ZERO else value for value in values]
        self._refuse_thousands(role, values)
        read = {"outside": wire_outside, "cable outside": cable_outside}.get(role, length)
        return self.parsed(values, lambda text: read(text, unit), role, None)

    def _refuse_thousands(self, role: str, values: Sequence[str]) -> None:
        """Refuse ``1.500`` in a list with decimal commas: it may be one and a half, or a thousand and a half."""
        commas = self.table.separator == ";" or any("," in value for value in values)
        for row, text in enumerate(values):
            if commas and is_thousands_or_decimals(text):
                message = f"column {self.header(role)}: {text!r} may be thousands or decimals"
                self.problem(row, message, "write it without the point, or with a decimal comma")

    def _cables(self, ids: Sequence[str]) -> tuple[Cable, ...]:
        """Return the cables named, each with the first outside diameter that is given for it."""
        outside = self._lengths("cable outside")
        first: dict[str, tuple[int, float | None]] = {}
        for row, (id, diameter) in enumerate(zip(ids, outside, strict=True)):
            if not id:
                continue
            line, known = first.setdefault(id, (self.table.lines[row], diameter))
            if known is None:
                first[id] = (line, diameter)
            elif diameter is not None and diameter != known:
                message = f"cable {id}: outside diameter {diameter:g} mm, line {line} says {known:g} mm"
                self.problem(row, message, "give every core of a cable the same diameter")
        return tuple(Cable(id, mm, Where(self.source, line)) for id, (line, mm) in first.items())

    # ------------------------------------------------------------ the rest

    def _unused(self) -> list[int]:
        return [index for index in range(len(self.table.columns.headings)) if index not in self.used]

    def _note_unused(self) -> None:
        """Say which columns hold something that is read into no circuit, and that no wire marker asks for."""
        headings = self.table.columns.headings
        left = [index for index in self._unused() if index not in self.elsewhere and any(self.cleaned(index))]
        names = [headings[index].text or f"{index + 1}" for index in left]
        names = [name for name in names if f"{{{name}}}" not in self.wire_marker]
        if names:
            shown = ", ".join(map(repr, names[:SHOWN])) + (f" and {len(names) - SHOWN} more" if names[SHOWN:] else "")
            message = f"not used: column{'s' if len(names) > 1 else ''} {shown}"
            if not (self.stated or "size" in self.roles or "outside" in self.roles):
                message += "; and no column gives the sizes of the wires"
                rename = "call the one with the sizes Gauge (AWG) or Gauge (mm2)"
            else:
                rename = "rename what matters (Wire ID, Gauge, Colour, Signal, Length …)"
            fix = f"{rename}, say which is which in a column map (labeler read --draft), or name it in wire_marker"
            self.note(message, fix)

    def _free(self) -> Iterable[tuple[tuple[str, str], ...]]:
        """Return for each row the columns that were not used, as written."""
        headings = self.table.columns.headings
        unused = self._unused()
        if not unused:
            return repeat(())
        names = _distinct(headings[index].text or f"column {index + 1}" for index in unused)
        columns = [
            zip(repeat(name), self.table.values[index], strict=False) for name, index in zip(names, unused, strict=True)
        ]
        return zip(*columns, strict=True)


def _distinct(names: Iterable[str]) -> list[str]:
    """Tell names apart that stand twice: ``Kontakt``, ``Kontakt 2``."""
    counts: Counter[str] = Counter()
    distinct = []
    for name in names:
        counts[name] += 1
        distinct.append(name if counts[name] == 1 else f"{name} {counts[name]}")
    return distinct
