"""A wire list (CSV, TSV, or a table drawn with bars) → `Harness`: one circuit a row, two ends each.

The columns are told by `headers`, the rows by `table`. Work goes by columns, and each distinct text
of a column is parsed once. Connectors are inferred from the ends, in order of first appearance.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from itertools import chain, repeat
from typing import TypeVar

from labeler.catalogue import load_catalogue
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.model import Cable, Circuit, Connector, Harness, Pin, Settings
from labeler.read.account import AS_IT_STANDS, Account, Read, Wanted, counts_of
from labeler.read.headers import RANKS, Heading, unplaced
from labeler.read.pins import read_pins
from labeler.read.table import SEPARATORS, Table, read_table
from labeler.read.values import (
    cable_outside,
    checked_cavity,
    gauge_kind,
    is_bare_size,
    is_thousands_or_decimals,
    length,
    size_of_kind,
    stated_size,
    wire_outside,
)
from labeler.read.variants import chosen_rows

T = TypeVar("T")
NONE = frozenset(("", "-", "–", "—"))  # what stands for "none"
ZERO = frozenset(("0", "0.0", "0,0", "0.00", "0,00"))  # a length or diameter nobody entered
SIGNS = {":": "a colon", ".": "a point"}  # between connector and cavity, in this order
WIRE_ALONE = ("wire", "leitung", "draht")  # a header that may mean the circuit or its insulation
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


class _Reader:
    """The columns of one table on their way to circuits; gathers problems and notes."""

    def __init__(self, table: Table, source: str, wire_marker: str, variants: Sequence[str]) -> None:
        self.table = table
        self.wire_marker = wire_marker
        self.source = source
        self.problems = list(table.problems)
        self.notes: list[Problem] = []
        self.used: set[int] = set()
        self.rows = len(table.lines)
        self.roles = dict(table.columns.roles)
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
            self._header_problem(message, "call them From Pin and To Pin")
        self._tell_wire_from_id()
        owners = self._owners()
        starts, finishes = self._pins("from", owners), self._pins("to", owners)
        ids = self._ids()
        sizes, outside, lengths = self._sizes(), self._lengths("outside"), self._lengths("length")
        wires, colours, signals = self._words("wire"), self._words("colour"), self._words("signal")
        cable_ids = self._words("cable")
        cables = self._cables(cable_ids)
        self._note_unused()
        refuse(sorted([*self.table.notes, *self.notes, *self.problems], key=lambda problem: problem.where.line))
        where = (Where(self.source, line) for line in self.table.lines)
        columns = (ids, starts, finishes, sizes, wires, outside, colours, signals, lengths, cable_ids, where)
        circuits = tuple(map(Circuit, *columns, repeat(None), self._free()))
        return circuits, cables, tuple(self.notes)

    # ------------------------------------------------------------ ends

    def _owners(self) -> bool:
        """Return whether a connector's name needs what it belongs to: ``J1`` of two devices is two connectors."""
        owned: dict[str, set[str]] = {}
        for end in ("from", "to"):
            if f"{end} owner" in self.roles:
                names = self._cleaned(self.roles[end][0])
                for name, owner in zip(names, self._cleaned(self.roles[f"{end} owner"][0]), strict=True):
                    owned.setdefault(name, set()).add(owner)
        shared = [name for name, owners in owned.items() if name and len(owners) > 1]
        if shared:
            message = f"connector {shared[0]} belongs to {' and '.join(sorted(owned[shared[0]])[:4])}"
            message += f"; connectors are named {sorted(owned[shared[0]])[-1]}.{shared[0]}"
            self._note(message, "give each connector a name of its own, if that is wrong")
        return bool(shared) or "" in owned

    def _pins(self, end: str, owned: bool) -> list[Pin]:
        """Return one pin a row; a missing connector or an impossible cavity is a problem."""
        connectors, cavities = self._words(end), self._words(f"{end} pin")
        if owned and f"{end} owner" in self.roles:
            owners = self._words(f"{end} owner")
            connectors = [".".join(filter(None, pair)) for pair in zip(owners, connectors, strict=True)]
        if f"{end} pin" not in self.roles:
            connectors, cavities = self._split(end, connectors)
        known: dict[tuple[str, str], Pin] = {}
        for row, pair in enumerate(zip(connectors, cavities, strict=True)):
            if pair not in known:
                known[pair] = Pin(*pair)
            if not pair[0]:
                fix = "name the connector, splice or loose end"
                self._problem(row, f"the {end!r} end is empty", fix)
        own = f"{end} pin" in self.roles
        self._parsed(cavities, checked_cavity, f"{end} pin" if own else end, "")
        return [known[pair] for pair in zip(connectors, cavities, strict=True)]

    def _split(self, end: str, values: list[str]) -> tuple[list[str], list[str]]:
        """Split ``J4:2`` at its last sign where the whole column is written so."""
        joined = {value for value in values if value}
        given = dict(self.table.splits).get(end)
        if given:
            each = {value: value.rpartition(given) for value in {*joined, ""}}
            both = {
                value: (a.strip(), c.strip()) if a.strip() and c.strip() else (value, "")
                for value, (a, _, c) in each.items()
            }
            return [both[value][0] for value in values], [both[value][1] for value in values]
        for sign, name in SIGNS.items():
            parts = {value: value.rpartition(sign) for value in joined}
            whole = sum(bool(left.strip() and right.strip()) for left, _, right in parts.values())
            if joined and whole == len(joined):
                if sign == ".":
                    message = f"column {self._header(end)}: cavities split off at the last point"
                    self._note(message, "write J4:2, or give cavities their own column, if that is wrong")
                parts[""] = ("", "", "")
                return [parts[value][0].strip() for value in values], [parts[value][2].strip() for value in values]
            if whole and sign == ":":
                message = f"column {self._header(end)}: {whole} of {len(joined)} names have {name}; none was split"
                self._note(message, "write every end as connector:cavity, or give cavities their own column")
                break
        return values, [""] * len(values)

    # ------------------------------------------------------------ names

    def _tell_wire_from_id(self) -> None:
        """A column called Wire alone names the circuits, or their insulation: its values tell.

        Insulation it is where every value is a kind of wire that the tables know, or where values
        repeat while another column names the circuits, each once.
        """
        plain = [heading.plain for heading in self.table.columns.headings]
        column = next((index for index, name in enumerate(plain) if name in WIRE_ALONE), None)
        if column is None or "wire" in self.roles:
            return
        kinds = set(filter(None, self._cleaned(column)))
        known = bool(kinds) and all(map(_is_kind_of_wire, kinds))
        if self.roles.get("id") != (column,):
            if known and column not in chain(*self.roles.values()):
                self.roles["wire"] = (column,)
            return
        others = [index for index, name in enumerate(plain) if ("id", name) in RANKS and index != column]
        named = min(others, key=lambda index: RANKS["id", plain[index]], default=None)
        each_once = named is not None and len(set(filter(None, self._cleaned(named)))) == self.rows
        if known or (each_once and len(kinds) < self.rows):
            self.roles["wire"] = (column,)
            del self.roles["id"]
            if named is not None:
                self.roles["id"] = (named,)

    def _ids(self) -> list[str]:
        """Return the circuits' ids; where they are missing, running numbers that are not taken."""
        ids = self._words("id")
        cable = self.roles.get("cable", ())
        if "id" not in self.roles and len(cable) == 1:
            named = self._cleaned(cable[0])
            if all(named) and len(set(named)) == len(named):
                self.used.discard(cable[0])
                self.roles["id"] = self.roles.pop("cable")
                ids = self._words("id")
        ids = self._lone_cores(self._cores(ids))
        missing = sum(not value for value in ids)
        if not missing:
            return ids
        message = "no column names the circuits" if missing == len(ids) else f"{missing} circuits have no id"
        message += "; they are numbered by row, and a row that is added changes the numbers below it"
        self._note(message, "add a column Wire ID with the ids on the drawing")
        return _numbered(ids)

    def _cores(self, ids: list[str]) -> list[str]:
        """Name the circuits without an id by cable and core, where the list has both: ``K1.2``."""
        if all(ids) or not {"cable", "core"} <= self.roles.keys():
            return ids
        cables, cores = self._words("cable"), self._words("core")
        named = [
            id or (f"{cable}.{core}" if cable and core else "")
            for id, cable, core in zip(ids, cables, cores, strict=True)
        ]
        made = sum(a != b for a, b in zip(ids, named, strict=True))
        if made:
            message = f"{made} circuits have no id; they are named by cable and core"
            self._note(message, "add a column Wire ID with the ids on the drawing")
        return named

    def _lone_cores(self, ids: list[str]) -> list[str]:
        """Name the circuits by a column of cores where there is no cable and each core stands once: ``Adernummer``."""
        column = self.roles.get("core", ())
        if any(ids) or "cable" in self.roles or len(column) != 1:
            return ids
        named = self._cleaned(column[0])
        if not all(named) or len(set(named)) < len(named):
            return ids
        self.roles["id"] = self.roles.pop("core")
        return self._words("id")

    def became(self) -> tuple[tuple[str, str], ...]:
        """Return what each column became: a role, or a free column."""
        roles = {index: role for role, indexes in self.roles.items() for index in indexes if index in self.used}
        return tuple(
            (f"column {heading.text!r}", roles.get(index, "not understood, kept as written"))
            for index, heading in enumerate(self.table.columns.headings)
            if heading.text
        )

    def _words(self, role: str) -> list[str]:
        """Return the cleaned cells of a role's column, empty where there is none."""
        indexes = self.roles.get(role, ())
        if not indexes:
            return [""] * self.rows
        found = [self._cleaned(index) for index in indexes]
        if any(column != found[0] for column in found[1:]):
            self._indistinct(role, indexes)
        self.used.update(indexes)
        return found[0]

    def _cleaned(self, index: int) -> list[str]:
        """Return a column's cells without blanks around them, on one line, empty where none is meant."""
        stripped = map(str.strip, self.table.values[index])
        return ["" if v in NONE else " ".join(v.split()) if "\n" in v else v for v in stripped]

    def _indistinct(self, role: str, indexes: Sequence[int]) -> None:
        headings = self.table.columns.headings
        names = " and ".join(repr(headings[index].text) for index in indexes)
        seen = ", ".join(repr(heading.text) for heading in headings)
        message = f"columns {names} may both be {role!r} and differ; headers seen: {seen[:300]}"
        self._header_problem(message, "rename one, such as From Connector, From Pin, To Connector, To Pin")

    # ------------------------------------------------------------ quantities

    def _sizes(self) -> list[str]:
        """Return canonical sizes; bare numbers are decided over the whole column."""
        if "size" not in self.roles:
            return self._stated_sizes()
        values = self._words("size")
        indexes = self.roles.get("size", ())
        kind = self._heading("size").unit if indexes else ""
        bare = {value for value in set(values) if is_bare_size(value)}
        if bare and kind not in ("AWG", "mm2"):
            kind = self._decided(bare)
            if not kind:
                return values
        return self._parsed(values, lambda text: size_of_kind(text, kind), "size", "")

    def _stated_sizes(self) -> list[str]:
        """Return the sizes of the one column whose values all state one (``10mm2 rigid``), kept as written too."""
        placed = {index for indexes in self.roles.values() for index in indexes}
        found = []
        for index in range(len(self.table.columns.headings)):
            cells = set(self._cleaned(index)) - {""} if index not in placed else set()
            if cells and all(map(stated_size, cells)):
                found.append(index)
        if len(found) != 1:
            return [""] * self.rows
        name = self.table.columns.headings[found[0]].text
        self._note(f"column {name!r}: its values state sizes and are read so", "call it Gauge, if that is right")
        self.elsewhere.add(found[0])
        self.stated = True
        return [stated_size(cell) for cell in self._cleaned(found[0])]

    def _decided(self, bare: set[str]) -> str:
        named_area = self._heading("size").plain.rpartition(" ")[2] in AREA_WORDS
        kind = "mm2" if named_area else gauge_kind(bare)
        if not kind:
            shown = ", ".join(sorted(bare)[:6])
            message = f"column {self._header('size')}: {shown} may be AWG or mm2"
            self._header_problem(message, "say it in the header: Gauge (AWG) or Gauge (mm2)")
        return kind

    def _lengths(self, role: str) -> list[float | None]:
        """Return lengths in mm, None where none was entered (0 counts as that)."""
        values = self._words(role)
        if not any(values):
            return [None] * self.rows
        unit = self._heading(role).unit or "mm"
        units = [text.casefold() for text in self._words("unit")] if role == "length" else []
        if any(units):
            values = [
                f"{text} {unit}" if text[-1:].isdigit() else text for text, unit in zip(values, units, strict=True)
            ]
        elif not self._heading(role).unit and any(value[-1:].isdigit() for value in values):
            message = f"column {self._header(role)} names no unit; read as mm"
            self._note(message, f"say it in the header: {self._heading(role).text} (mm)")
        zeros = sum(value in ZERO for value in values)
        if zeros:
            self._note(f"column {self._header(role)}: values of 0 read as missing: {zeros}", "enter or clear them")
            values = ["" if value in ZERO else value for value in values]
        self._refuse_thousands(role, values)
        read = {"outside": wire_outside, "cable outside": cable_outside}.get(role, length)
        return self._parsed(values, lambda text: read(text, unit), role, None)

    def _refuse_thousands(self, role: str, values: Sequence[str]) -> None:
        """Refuse ``1.500`` in a list with decimal commas: it may be one and a half, or a thousand and a half."""
        commas = self.table.separator == ";" or any("," in value for value in values)
        for row, text in enumerate(values):
            if commas and is_thousands_or_decimals(text):
                message = f"column {self._header(role)}: {text!r} may be thousands or decimals"
                self._problem(row, message, "write it without the point, or with a decimal comma")

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
                self._problem(row, message, "give every core of a cable the same diameter")
        return tuple(Cable(id, mm, Where(self.source, line)) for id, (line, mm) in first.items())

    # ------------------------------------------------------------ the rest

    def _unused(self) -> list[int]:
        return [index for index in range(len(self.table.columns.headings)) if index not in self.used]

    def _note_unused(self) -> None:
        """Say which columns hold something that is read into no circuit, and that no wire marker asks for."""
        headings = self.table.columns.headings
        left = [index for index in self._unused() if index not in self.elsewhere and any(self._cleaned(index))]
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
            self._note(message, fix)

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

    def _parsed(self, values: Sequence[str], parse: Callable[[str], T], role: str, none: T) -> list[T]:
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
                    self._problem(row, f"column {self._header(role)}: {bad[text]}")
        return [good[text] for text in values]

    def _heading(self, role: str) -> Heading:
        return self.table.columns.headings[self.roles[role][0]]

    def _header(self, role: str) -> str:
        return repr(self._heading(role).text)

    def _problem(self, row: int, message: str, fix: str = "") -> None:
        self.problems.append(Problem(Where(self.source, self.table.lines[row]), message, fix))

    def _header_problem(self, message: str, fix: str) -> None:
        self.problems.append(Problem(Where(self.source, self.table.header_line), message, fix))

    def _note(self, message: str, fix: str) -> None:
        self.notes.append(Problem(Where(self.source, self.table.header_line), message, fix, warning=True))


def _is_kind_of_wire(name: str) -> bool:
    try:
        load_catalogue().wire_kind(name)
    except LabelerError:
        return False
    return True


def _numbered(ids: Sequence[str]) -> list[str]:
    """Fill the gaps with the row's number among the circuits, or the next one not taken."""
    taken = {value.casefold() for value in ids if value}
    filled = []
    for row, value in enumerate(ids, 1):
        number = row
        while not value and str(number) in taken:
            number += len(ids)
        taken.add(str(number))
        filled.append(value or str(number))
    return filled


def _distinct(names: Iterable[str]) -> list[str]:
    """Tell names apart that stand twice: ``Kontakt``, ``Kontakt 2``."""
    counts: Counter[str] = Counter()
    distinct = []
    for name in names:
        counts[name] += 1
        distinct.append(name if counts[name] == 1 else f"{name} {counts[name]}")
    return distinct
