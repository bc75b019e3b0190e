"""A wire list (CSV, TSV, or a table drawn with bars) → `Harness`: one circuit a row, two ends each.

The columns are told by `headers`, the rows by `table`. Work goes by columns, and each distinct text
of a column is parsed once. Connectors are inferred from the ends, in order of first appearance.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from itertools import chain, compress, count, repeat
from typing import TypeVar

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse, refuse, suggestion
from labeler.model import Bag, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Item, Pin, Settings
from labeler.readers.columns import RANKS, Heading, unplaced
from labeler.readers.import_report import Account, Given, Read, counts_of, some
from labeler.readers.table import SEPARATORS, Table, read_table
from labeler.readers.values import (
    CABLE_MM,
    WIRE_MM,
    checked_cavity,
    gauge_kind,
    is_bare_size,
    is_thousands_or_decimals,
    length,
    length_within,
    size_of_kind,
    stated_size,
)
from labeler.tables.catalogue import NO_TABLES, Catalogue

# ---------------------------------------------------------------- The columns of a table as cells


T = TypeVar("T")
NONE = frozenset(("", "-", "–", "—", "n/a", "N/A", "n.a.", "k.A.", "k. A."))  # what stands for "none"
DITTO = frozenset(('"', "''", "〃", "″", "”", "„", '-"-', "do.", "dto", "dto.", "ditto", "idem"))  # "as above"
_BROKEN = re.compile(r"#(REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!|BEZUG!|NV|WERT!|ZAHL!)", re.IGNORECASE)


class Cells:
    """The cells of one table by role; gathers problems and notes, and which columns were used."""

    def __init__(self, table: Table, given: Given) -> None:
        self.table = table
        self.given = given
        self.problems = list(table.problems)
        self.notes: list[Problem] = []
        self.used: set[int] = set()
        self.rows = len(table.lines)
        self.headings = table.columns.headings
        self.roles = dict(table.columns.roles)
        self.endless: set[int] = set()  # rows that name no end: one problem is enough for each

    def words(self, role: str) -> list[str]:
        """Return the cleaned cells of a role's column, empty where there is none."""
        indexes = self.roles.get(role, ())
        if not indexes:
            return [""] * self.rows
        found = self.cleaned(indexes[0])
        if any(self.cleaned(index) != found for index in indexes[1:]):
            names = " and ".join(repr(self.headings[index].text) for index in indexes)
            seen = ", ".join(repr(heading.text) for heading in self.headings)
            message = f"columns {names} may both be {role!r} and differ; headers seen: {seen[:300]}"
            self.problem(None, message, "rename one, such as From Connector, From Pin, To Connector, To Pin")
        if not self.used.issuperset(indexes):
            self.used.update(indexes)
            self.parsed(found, _refuse_stand_in, role, "")
        return found

    def cleaned(self, index: int) -> list[str]:
        """Return a column's cells without blanks around them, on one line, empty where none is meant."""
        stripped = map(str.strip, self.table.values[index])
        return ["" if v in NONE else " ".join(v.split()) if "\n" in v else v for v in stripped]

    def one_line(self, role: str, fill: bool = False) -> list[str]:
        """Return the cells of a role's column, each on one line; ``fill``: an empty one means what stands above it."""
        indexes = self.roles.get(role, ())
        if not indexes:
            return [""] * self.rows
        cells = [" ".join(cell.split()) for cell in self.table.values[indexes[0]]]
        for row in range(1, len(cells)) if fill else ():
            cells[row] = cells[row] or cells[row - 1]
        return ["" if cell in NONE else cell for cell in cells]

    def parsed(self, values: Sequence[str], parse: Callable[[str], T], role: str, none: T) -> list[T]:
        """Return parsed values; each distinct text is parsed once, each bad row is a problem."""
        good: dict[str, T] = {"": none}
        bad: dict[str, tuple[str, ...]] = {}
        for text in {*values} - {""}:
            try:
                good[text] = parse(text)
            except ValueError as error:
                bad[text], good[text] = error.args, none
        for row, text in enumerate(values) if bad else ():
            if text in bad:
                self.problem(row, f"column {self.header(role)}: {bad[text][0]}", *bad[text][1:])
        return [good[text] for text in values]

    def heading(self, role: str) -> Heading:
        """Return the header of a role's column."""
        return self.headings[self.roles[role][0]]

    def header(self, role: str) -> str:
        """Return a role's header as messages name it."""
        return repr(self.heading(role).text)

    def where(self, row: int | None) -> SourceLocation:
        """Return the place of a row, or of the header."""
        return SourceLocation(self.given.source, self.table.header_line if row is None else self.table.lines[row])

    def problem(self, row: int | None, message: str, fix: str = "") -> None:
        """Add what is wrong with a row, unless it names no end (that is said already), or with the header."""
        if row not in self.endless:
            self.problems.append(Problem(self.where(row), message, fix))

    def note(self, message: str, fix: str, row: int | None = None) -> None:
        """Add a warning, at the header or at a row."""
        self.notes.append(Problem(self.where(row), message, fix, warning=True))

    def note_column(self, role: str, message: str, fix: str, row: int | None = None) -> None:
        """Add a warning about the column of a role, at the header or at a row."""
        self.note(f"column {self.header(role)}: {message}", fix, row)


def _refuse_stand_in(value: str) -> str:
    """Refuse what stands for another cell, or for a formula that failed: it would be taken for a name."""
    if _BROKEN.fullmatch(value):
        message = f"{value} is what a spreadsheet shows for a formula that failed"
        raise ValueError(message, "correct it there and export the list again")
    if value.casefold() in DITTO:
        raise ValueError(f"{value} stands for the cell above, and is not worked out", "write the cell out")
    return value


# ---------------------------------------------------------------- The ends of the wires of a list


ENDS = ("from", "to")
SIGNS = (":", ".")  # between connector and cavity, in this order
OTHER_SIGNS = ("-", "/", "_", " ")  # that may part them too; nothing is split there unasked
HEADER_WORDS = ("from", "to", "von", "nach")  # under an end they are the header of another table
SPLIT_SHARE = 0.5  # of the names of both ends that have a colon: then it parts connector and cavity; project choice

_CAVITY = re.compile(r"(?:pin|cav)?\s*[A-Za-z]?\d{1,3}[A-Za-z]?", re.IGNORECASE)
_SEVERAL = re.compile(r"\w\s*[,;]\s*\w|\w [+&] \w")
_OPEN = re.compile(r"tb[dac]|\?+|n\.?c\.?|spare|open|unused|unknown|reserve|frei|offen|unbekannt", re.IGNORECASE)
_MONTH = r"(?:jan|feb|mar|mrz|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)"
_DATE = re.compile(rf"\d{{1,2}}[-. ]+{_MONTH}|{_MONTH}[-. ]+\d{{1,2}}|\d{{4}}-\d\d-\d\d( 00:00:00)?", re.IGNORECASE)
_SPAN = re.compile(r"(\d+)\s*(?:-|–|\.\.+)\s*(\d+)")


def owned_names(cells: Cells) -> bool:
    """Return whether a connector's name needs what it belongs to: ``J1`` of two devices is two connectors."""
    owned: dict[str, set[str]] = {}
    for end in ENDS:
        if f"{end} device" in cells.roles:
            columns = [cells.cleaned(cells.roles[role][0]) for role in (end, f"{end} device")]
            for name, owner in zip(*columns, strict=True):
                owned.setdefault(name, set()).add(owner)
    shared = [(name, sorted(owners)) for name, owners in owned.items() if name and len(owners) > 1]
    for name, owners in shared[:1]:
        message = f"connector {name} belongs to {' and '.join(owners[:4])}; connectors are named {owners[-1]}.{name}"
        cells.note(message, "give each connector a name of its own, if that is wrong")
    return bool(shared) or "" in owned


def pins_of(cells: Cells) -> tuple[list[Pin], list[Pin]]:
    """Return the two pins of each row; a missing connector or an impossible cavity is a problem."""
    owned = owned_names(cells)
    named = [_named(cells, end, owned) for end in ENDS]
    names = list(zip(named[0][0], named[1][0], strict=True))
    cells.endless |= {row for row, pair in enumerate(names) if pair == ("", "")}
    starts, finishes = (_pins(cells, end, *found) for end, found in zip(ENDS, named, strict=True))
    for row in sorted(cells.endless):
        fix = "take the row out, or start it with #; of a wire name both ends"
        cells.problems.append(Problem(cells.where(row), "names no end: a heading, units, a total or a note?", fix))
    for found in named:
        _note_stand_ins(cells, *found)
    _refuse_headers(cells, names)
    if any(_SPAN.fullmatch(cavity) for cavity in set(named[0][1])):
        _note_spans(cells, starts, finishes)
    return starts, finishes


def _named(cells: Cells, end: str, owned: bool) -> tuple[list[str], list[str]]:
    """Return the connectors of an end, with what they belong to where that tells them apart, and the cavities."""
    connectors, cavities = cells.words(end), cells.words(f"{end} cavity")
    if owned and f"{end} device" in cells.roles:
        owners = cells.words(f"{end} device")
        connectors = [".".join(filter(None, pair)) for pair in zip(owners, connectors, strict=True)]
    if f"{end} cavity" in cells.roles:
        return connectors, cavities
    several = {value for value in set(connectors) if _SEVERAL.search(value)}
    for row, value in enumerate(connectors) if several else ():
        if value in several:
            fix = "give each wire a row; one that goes on to another place is a wire more"
            cells.note_column(end, f"{value!r} may name several places, and is read as one", fix, row)
    sign = _sign_between(cells, end, {*connectors} - {""})
    both = {value: _halves(value, sign) or (value, "") for value in set(connectors)}
    return [both[value][0] for value in connectors], [both[value][1] for value in connectors]


def _pins(cells: Cells, end: str, connectors: Sequence[str], cavities: Sequence[str]) -> list[Pin]:
    for row, connector in enumerate(connectors):
        if not connector:
            cells.problem(row, f"the {end!r} end is empty", "name the connector, splice or unterminated end")
    own = f"{end} cavity" in cells.roles
    cells.parsed(cavities, checked_cavity, f"{end} cavity" if own else end, "")
    return list(map(cache(Pin), connectors, cavities))


# ---------------------------------------------------------------- joined ends


def _sign_between(cells: Cells, end: str, joined: set[str]) -> str:
    """Return the sign that the names of an end are split at, the last one of each (``J4:2``), ``""`` for none.

    Each name has it where the column is written so; a name without the colon may have no cavity.
    """
    given = dict(cells.table.splits).get(end, "")
    if given or not joined:
        return given
    for sign in SIGNS:
        parted = {value for value in joined if _halves(value, sign)}
        if parted == joined:
            if sign == ".":
                fix = "write J4:2, or give cavities their own column, if that is wrong"
                cells.note_column(end, "cavities split off at the last point", fix)
            return sign
        if parted and sign == ":":
            usual = _is_usual(cells, sign)
            if usual:
                message = f"taken without a cavity, having no colon: {some(sorted(joined - parted))}"
                cells.note_column(end, message, "write connector:cavity where these have one")
            else:
                message = f"{len(parted)} of {len(joined)} names have a colon; none was split"
                fix = "write every end as connector:cavity, or give cavities their own column"
                cells.note_column(end, message, fix)
            return sign if usual else ""
    _note_other_signs(cells, end, joined)
    return ""


def _halves(value: str, sign: str) -> tuple[str, str] | None:
    left, _, right = map(str.strip, value.rpartition(sign) if sign else ("", "", ""))
    return (left, right) if left and right else None


def _is_usual(cells: Cells, sign: str) -> bool:
    """Whether so many names of both ends have the sign that it parts connector and cavity."""
    names = {name for end in ENDS if f"{end} cavity" not in cells.roles for name in cells.words(end) if name}
    return sum(_halves(name, sign) is not None for name in names) >= SPLIT_SHARE * len(names)


def _note_other_signs(cells: Cells, end: str, joined: set[str]) -> None:
    """Say where every name looks like connector and cavity with another sign between: each is a connector now."""
    for sign in OTHER_SIGNS:
        parts = [value.rpartition(sign) for value in joined]
        if len({head for head, _, _ in parts}) < len(joined) and all(h and _CAVITY.fullmatch(t) for h, _, t in parts):
            fix = f"if they are connector and cavity, write a colon between, or give split {end} in a column map"
            message = f"each of {some(sorted(joined), 3)} is read as a connector of its own"
            cells.note_column(end, message, f"{fix} (labeler read --write-column-map)")
            return


def _note_stand_ins(cells: Cells, connectors: Sequence[str], cavities: Sequence[str]) -> None:
    """Say which connectors are named like a place nobody knows, and which names like a date made of 3-2."""
    date = "may be a date that a spreadsheet made from something like 3-2; read as a name"
    as_text = "format the column as text there, write what was meant, and export it again"
    unknown = "is read as a connector of that name, one for all wires that end there"
    own = "name the place; of wires that end nowhere give each its own, of kind unterminated end"
    checks = ((connectors, _OPEN, unknown, own), (connectors, _DATE, date, as_text), (cavities, _DATE, date, as_text))
    for names, pattern, message, fix in checks:
        for name in dict.fromkeys(names):
            if pattern.fullmatch(name[:24]):
                cells.note(f"{name!r} {message}", fix, names.index(name))


def _refuse_headers(cells: Cells, names: Sequence[tuple[str, str]]) -> None:
    """Refuse rows that are a header again, of another table below: its columns may mean something else."""
    for row, (start, finish) in enumerate(names):
        if start != finish and start.casefold() in HEADER_WORDS and finish.casefold() in HEADER_WORDS:
            message = f"names {start!r} and {finish!r} for ends, as the header of another table would"
            cells.problem(row, message, "give each table a file or a sheet of its own, or take the row out")


def _note_spans(cells: Cells, starts: Sequence[Pin], finishes: Sequence[Pin]) -> None:
    """Say where a row seems to stand for several wires: ``J1:1-4`` to ``J2:1-4``."""
    for row, pins in enumerate(zip(starts, finishes, strict=True)):
        spans = [_SPAN.fullmatch(pin.cavity[:24]) for pin in pins]
        counts = {int(span[2]) - int(span[1]) if span else 0 for span in spans}
        if len(counts) == 1 and min(counts) > 0:
            message = f"{pins[0]} to {pins[1]} may stand for {min(counts) + 1} wires, and is read as one"
            cells.note(message, "give each wire a row", row)


# ---------------------------------------------------------------- What the circuits of a list are called


WIRE_ALONE = ("wire", "leitung", "draht")  # a header that may mean the circuit or its insulation


def tell_wire_from_id(cells: Cells, catalogue: Catalogue) -> None:
    """A column called Wire alone names the circuits, or their insulation: its values tell.

    Insulation it is where every value is a kind of wire that the tables know, or where values
    repeat while another column names the circuits, each once.
    """
    plain = [heading.plain for heading in cells.headings]
    column = next((index for index, name in enumerate(plain) if name in WIRE_ALONE), None)
    if column is None or "wire type" in cells.roles:
        return
    kinds = set(filter(None, cells.cleaned(column)))
    known = bool(kinds)
    try:
        for kind in kinds:
            catalogue.wire_type(kind)
    except LabelerError:
        known = False
    if cells.roles.get("id") != (column,):
        if known and column not in chain(*cells.roles.values()):
            cells.roles["wire type"] = (column,)
        return
    others = [index for index, name in enumerate(plain) if ("id", name) in RANKS and index != column]
    named = sorted(others, key=lambda index: RANKS["id", plain[index]])[:1]
    each_once = any(len(set(filter(None, cells.cleaned(index)))) == cells.rows for index in named)
    if known or (each_once and len(kinds) < cells.rows):
        cells.roles["wire type"] = cells.roles.pop("id")
        if named:
            cells.roles["id"] = tuple(named)


def ids_of(cells: Cells) -> list[str]:
    """Return the circuits' ids; where they are missing, running numbers that are not taken."""
    ids = cells.words("id")
    if "id" not in cells.roles and _names_rows(cells, "cable"):
        ids = cells.words("id")
    ids = _cores(cells, ids)
    if not any(ids) and "cable" not in cells.roles and _names_rows(cells, "core"):  # ``Adernummer`` alone
        ids = cells.words("id")
    missing = [row for row, value in enumerate(ids) if not value and row not in cells.endless]
    if not missing:
        return ids
    message = "no column names the circuits"
    if len(missing) < len(ids):
        lines = some(cells.table.lines[row] for row in missing)
        message = f"{len(missing)} circuits have no id (lines {lines})"
    message += "; they are numbered by row, and a row that is added changes the numbers below it"
    cells.note(message, "add a column Wire ID with the ids on the drawing")
    return _numbered(ids)


def _names_rows(cells: Cells, role: str) -> bool:
    """Let a column name the circuits where each of its cells is another name; return whether it does."""
    column = cells.roles.get(role, ())
    named = cells.cleaned(column[0]) if len(column) == 1 else [""]
    if not all(named) or len(set(named)) < len(named):
        return False
    cells.used.discard(column[0])
    cells.roles["id"] = cells.roles.pop(role)
    return True


def _cores(cells: Cells, ids: list[str]) -> list[str]:
    """Name the circuits without an id by cable and core, where the list has both: ``K1.2``."""
    if all(ids) or not {"cable", "core"} <= cells.roles.keys():
        return ids
    cores = zip(cells.words("cable"), cells.words("core"), strict=True)
    named = [id or (".".join(core) if all(core) else "") for id, core in zip(ids, cores, strict=True)]
    made = ids.count("") - named.count("")
    if made:
        message = f"{made} circuits have no id; they are named by cable and core"
        cells.note(message, "add a column Wire ID with the ids on the drawing")
    return named


def _numbered(ids: Sequence[str]) -> list[str]:
    """Fill the gaps with the row's number among the circuits, or the next one not taken."""
    taken = {value.casefold() for value in ids if value}
    filled = []
    for row, value in enumerate(ids, 1):
        name = value or next(name for name in map(str, count(row, len(ids))) if name not in taken)
        taken.add(str(row) if value else name)
        filled.append(name)
    return filled


# ---------------------------------------------------------------- Wire lists of several variants in one


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
        message = f"the list marks variants ({some(names)}) and none is chosen; every row is read"
        note = Problem(SourceLocation(source, table.header_line), message, "choose with --variant NAME", warning=True)
        return replace(table, notes=(*table.notes, note)) if names else table, names
    known = {name.casefold() for name in names}
    folded = {name.casefold() for name in wanted}
    if not folded <= known:
        raise WrongUse(*(unknown_variant(name, names, source) for name in wanted if name.casefold() not in known))
    columns = [rows for name, rows in marked.items() if name.casefold() in folded]
    keep = []
    for row, optional in enumerate(options):
        by_mark = not columns or any(c[row] for c in columns) or not any(c[row] for c in marked.values())
        keep.append(by_mark and (not optional or any(name.casefold() in folded for name in optional)))
    left = len(keep) - sum(keep)
    return replace(
        table,
        lines=tuple(compress(table.lines, keep)),
        values=tuple(list(compress(column, keep)) for column in table.values),
        passed=(*table.passed, *([f"rows of other variants: {left}"] if left else ())),
    ), names


def unknown_variant(name: str, known: Sequence[str], source: str) -> Problem:
    """Return the problem of a variant that a file does not have."""
    fix = suggestion(name, known, f"known are {some(known, 20)}" if known else "it has none")
    return Problem(SourceLocation(source), f"no variant {name!r} in this file", fix)


def _marked(table: Table) -> Iterator[tuple[str, list[bool]]]:
    """Yield the columns that mark a variant, by their header."""
    used = {*chain(*table.columns.roles.values())}
    for index, heading in enumerate(table.columns.headings):
        cells = [cell.strip() for cell in table.values[index]] if index not in used and heading.text else []
        if MARKS & set(cells) and set(cells) <= MARKS | BLANK:
            yield heading.text, [cell in MARKS for cell in cells]


def _options(table: Table) -> list[tuple[str, ...]]:
    """Return for each row the options it belongs to; none: it is in all of them."""
    indexes = table.columns.roles.get("variant", ())
    cells = [cell.strip() for cell in table.values[indexes[0]]] if indexes else []
    if not cells or len(set(cells)) > MOST_OPTIONS:
        return [()] * len(table.lines)
    return [() if cell in BLANK else tuple(filter(None, re.split(r"\s*[,;/+&]\s*", cell))) for cell in cells]


# ---------------------------------------------------------------- A list with one pin a row


WHY = (
    "one row a pin: which wires there are is not said (a net of two pins is a wire, of more a splice), "
    "so no wire is marked, only connectors"
)
FIX = (
    "write it as a harness file (labeler read -o boat.toml) and measure bundle_diameter_mm of each [[branch]] there, "
    "or give a list with one row a wire and its two ends"
)


def read_pins(table: Table, given: Given) -> Read:
    """Return the connectors of a list of pins, each with its branch end and a bag that lists its pins."""
    cells = Cells(table, given)
    roles = cells.roles
    fills = [role for role, beside in (("signal", "id"), ("connector", "cavity")) if {role, beside} <= roles.keys()]
    connectors, pins = _places(cells, fills)
    signals, colours = cells.one_line("signal", "signal" in fills), cells.one_line("colour")
    rows: dict[str, list[Item]] = {}
    first: dict[str, SourceLocation] = {}
    for row, (connector, pin) in enumerate(zip(connectors, pins, strict=True)):
        if not connector or not pin:
            cells.problem(row, "the row names no pin", "fill it in, or take the row out")
            continue
        first.setdefault(connector, cells.where(row))
        words = " ".join(filter(None, (f"pin {pin}", signals[row], colours[row])))
        rows.setdefault(connector, []).append(Item(words))
    if "connector" not in roles and len(set(pins)) < len(pins):
        fix = "call it Connector, or say which is which in a column map: labeler read --write-column-map writes one"
        cells.problem(None, "pins stand more than once and no column names the connector", fix)
    refuse(cells.problems)
    gaps = {role: sum(not cell.strip() for cell in table.values[roles[role][0]]) for role in fills}
    for role in [role for role in fills if gaps[role]][:1]:
        message = f"empty cells read as the one above: {gaps[role]}"
        cells.note_column(role, message, "write a dash where none is meant")
    cells.note(WHY, FIX)
    harness = _harness_of_pins(first, rows, given, (*table.notes, *cells.notes))
    became = tuple((f"column {cells.header(role)}", role) for role in roles)
    counts = {**counts_of(harness), "pins": sum(map(len, rows.values())), "nets": len({*signals} - {""})}
    return Read(harness, Account(_form("list of pins, one a row", given), "", counts, became, (*table.passed, WHY)))


def _harness_of_pins(
    first: Mapping[str, SourceLocation], rows: Mapping[str, Sequence[Item]], given: Given, notes: tuple[Problem, ...]
) -> Harness:
    """Return a harness with a branch and a bag for each connector."""
    settings = given.settings
    ends = {id: BranchEnd(id, (id,), where=where, settings=settings) for id, where in first.items()}
    return Harness(
        name=given.name,
        settings=settings,
        connectors=tuple(Connector(id, where=end.where) for id, end in ends.items()),
        branches=tuple(Branch(id, ends=(end,), where=end.where, settings=settings) for id, end in ends.items()),
        bags=tuple(
            Bag(id, connector=id, contents=tuple(rows[id]), where=end.where, settings=settings)
            for id, end in ends.items()
        ),
        notes=notes,
        where=SourceLocation(given.source),
        text=given.data,
    )


def _places(cells: Cells, fills: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return connector and pin of each row; a list without connectors is that of one."""
    connectors = cells.one_line("connector", "connector" in fills)
    if "cavity" in cells.roles:
        named = connectors if "connector" in cells.roles else [cells.given.name] * cells.rows
        return named, cells.one_line("cavity")
    parts = [next(filter(None, (_halves(value, sign) for sign in SIGNS)), (value, "")) for value in connectors]
    return [connector for connector, _ in parts], [pin for _, pin in parts]


# ---------------------------------------------------------------- csv


ZERO = frozenset(("0", "0.0", "0,0", "0.00", "0,00"))  # a length or diameter nobody entered
SHOWN = 12  # columns that a note names; project choice
MEASURES = {"od": WIRE_MM, "cable od": CABLE_MM}  # the least and greatest that a column may hold
AREA_WORDS = frozenset(("querschnitt", "leitungsquerschnitt", "quer", "section", "csa", "dm"))  # mm2 by name


def read_csv(data: bytes, source: str, name: str, settings: Settings, catalogue: Catalogue = NO_TABLES) -> Harness:
    """Return the harness in the bytes of a wire list.

    ``source`` is named in every place, ``name`` becomes the harness's. Raises LabelerError with
    every problem found; what was guessed is said in ``notes``.
    """
    return read_list(read_table(data, source), Given(data, source, name, settings, catalogue)).checked()


def read_list(table: Table, given: Given) -> Read:
    """Return the harness of a table with one wire a row, or one pin a row, and what was understood.

    Raises LabelerError with every problem found.
    """
    if table.pins:
        return read_pins(table, given)
    table, variants = chosen_rows(table, given.wanted.variants, given.source)
    reader = _Reader(table, given, variants)
    circuits, cables, notes = reader.harness_parts()
    harness = Harness(
        name=given.name,
        settings=given.settings,
        connectors=inferred_connectors(circuits),
        circuits=circuits,
        cables=cables,
        notes=table.notes + notes,
        where=SourceLocation(given.source),
        text=given.data,
    )
    parted = "" if given.sheet else f", parted by {SEPARATORS[table.separator]}"
    form = f"wire list{parted}, header in line {table.header_line}"
    account = Account(_form(form, given), "", counts_of(harness), reader.became(), table.passed, variants)
    return Read(harness, account)


def _form(form: str, given: Given) -> str:
    """Return the form of a list for people, with the sheet that it is on."""
    return f"workbook, sheet {given.sheet!r}, {form}" if given.sheet else form


def inferred_connectors(circuits: Iterable[Circuit]) -> tuple[Connector, ...]:
    """Return a connector for each one that a circuit ends at, in order of first appearance."""
    first: dict[str, SourceLocation] = {}
    for circuit in circuits:
        for pin in (circuit.start, circuit.finish):
            first.setdefault(pin.connector, circuit.where)
    return tuple(Connector(id, where=where) for id, where in first.items())


class _Reader(Cells):
    """The columns of one table on their way to circuits."""

    def __init__(self, table: Table, given: Given, variants: Sequence[str]) -> None:
        super().__init__(table, given)
        self.stated = False  # a column without a name that tells it states the sizes
        # columns that say which rows count: record codes, marks of variants, options
        marks = (index for index, heading in enumerate(self.headings) if heading.text in variants)
        self.elsewhere = {*marks, *self.roles.get("variant", ()), *((0,) if table.coded else ())}

    def harness_parts(self) -> tuple[tuple[Circuit, ...], tuple[Cable, ...], tuple[Problem, ...]]:
        for name in unplaced(self.table.columns):
            message = f"header {name!r} stands more than once and its place does not tell the end"
            self.problem(None, message, "call them From Pin and To Pin")
        tell_wire_from_id(self, self.given.catalogue)
        starts, finishes = pins_of(self)
        ids = ids_of(self)
        sizes, outside, lengths = self._sizes(), self._lengths("od"), self._lengths("length")
        wires, colours, signals = self.words("wire type"), self.words("colour"), self.words("signal")
        cable_ids = self.words("cable")
        cables = self._cables(cable_ids)
        self._note_unused()
        refuse(sorted([*self.table.notes, *self.notes, *self.problems], key=lambda problem: problem.where.line))
        where = map(self.where, range(self.rows))
        columns = (ids, starts, finishes, sizes, wires, outside, colours, signals, lengths, cable_ids, where)
        circuits = tuple(map(partial(Circuit, settings=self.given.settings), *columns, self._free()))
        return circuits, cables, tuple(self.notes)

    # ------------------------------------------------------------ names

    def became(self) -> tuple[tuple[str, str | None], ...]:
        """Return what each column became: a role, or None for a free column."""
        roles = {index: role for role, indexes in self.roles.items() for index in indexes if index in self.used}
        named = ((index, heading.text) for index, heading in enumerate(self.headings) if heading.text)
        return tuple((f"column {text!r}", roles.get(index)) for index, text in named)

    # ------------------------------------------------------------ quantities

    def _sizes(self) -> list[str]:
        """Return canonical sizes; bare numbers are decided over the whole column."""
        if "size" not in self.roles:
            return self._stated_sizes()
        values = self.words("size")
        kind = self.heading("size").unit
        bare = {value for value in set(values) if is_bare_size(value)}
        if bare and kind not in ("AWG", "mm2"):
            area = self.heading("size").plain.rpartition(" ")[2] in AREA_WORDS
            kind = "mm2" if area else gauge_kind(bare)
            if not kind:
                message = f"column {self.header('size')}: {', '.join(sorted(bare)[:6])} may be AWG or mm2"
                self.problem(None, message, "say it in the header: Gauge (AWG) or Gauge (mm2)")
                return values
        return self.parsed(values, lambda text: size_of_kind(text, kind), "size", "")

    def _stated_sizes(self) -> list[str]:
        """Return the sizes of the one column whose values all state one (``10mm2 rigid``), kept as written too."""
        free = {*range(len(self.headings))}.difference(*self.roles.values())
        columns = {index: self.cleaned(index) for index in sorted(free)}
        found = [index for index, cells in columns.items() if any(cells) and all(map(stated_size, {*cells} - {""}))]
        if len(found) != 1:
            return [""] * self.rows
        name = self.headings[found[0]].text
        self.note(f"column {name!r}: its values state sizes and are read so", "call it Gauge, if that is right")
        self.elsewhere.add(found[0])
        self.stated = True
        return list(map(stated_size, columns[found[0]]))

    def _lengths(self, role: str) -> list[float | None]:
        """Return lengths in mm, None where none was entered (0 counts as that)."""
        values = self.words(role)
        if not any(values):
            return [None] * self.rows
        unit = self.heading(role).unit or "mm"
        units = [text.casefold() for text in self.words("length unit")] if role == "length" else []
        if any(units):
            pairs = zip(values, units, strict=True)
            values = [f"{text} {unit}" if text[-1:].isdigit() else text for text, unit in pairs]
        elif not self.heading(role).unit and any(value[-1:].isdigit() for value in values):
            fix = f"say it in the header: {self.heading(role).text} (mm)"
            self.note(f"column {self.header(role)} names no unit; read as mm", fix)
        zeros = sum(value in ZERO for value in values)
        if zeros:
            self.note_column(role, f"values of 0 read as missing: {zeros}", "enter or clear them")
            values = ["" if value in ZERO else value for value in values]
        if self.table.separator == ";" or any("," in value for value in values):
            self.parsed(values, _refuse_thousands, role, "")
        read = length_within(*MEASURES[role]) if role in MEASURES else length
        return self.parsed(values, lambda text: read(text, unit), role, None)

    def _cables(self, ids: Sequence[str]) -> tuple[Cable, ...]:
        """Return the cables named, each with the first outside diameter that is given for it."""
        outside = self._lengths("cable od")
        first: dict[str, tuple[SourceLocation, float | None]] = {}
        for row, (id, diameter) in enumerate(zip(ids, outside, strict=True)):
            where, known = first.setdefault(id, (self.where(row), diameter))
            if known is None:
                first[id] = (where, diameter)
            elif id and diameter is not None and diameter != known:
                message = f"cable {id}: outside diameter {diameter:g} mm, line {where.line} says {known:g} mm"
                self.problem(row, message, "give every core of a cable the same diameter")
        return tuple(Cable(id, mm, where) for id, (where, mm) in first.items() if id)

    # ------------------------------------------------------------ the rest

    def _unused(self) -> list[int]:
        return [index for index in range(len(self.headings)) if index not in self.used]

    def _note_unused(self) -> None:
        """Say which columns hold something that is read into no circuit, and that no wire marker asks for."""
        left = [index for index in self._unused() if index not in self.elsewhere and any(self.cleaned(index))]
        names = [self.headings[index].text or f"{index + 1}" for index in left]
        names = [name for name in names if f"{{{name}}}" not in self.given.settings.marker.wire_text]
        if not names:
            return
        shown = ", ".join(map(repr, names[:SHOWN])) + (f" and {len(names) - SHOWN} more" if names[SHOWN:] else "")
        message = f"not used: column{'s' if len(names) > 1 else ''} {shown}"
        rename = "rename what matters (Wire ID, Gauge, Colour, Signal, Length …)"
        if not (self.stated or "size" in self.roles or "od" in self.roles):
            message += "; and no column gives the sizes of the wires"
            rename = "call the one with the sizes Gauge (AWG) or Gauge (mm2)"
        fix = f"{rename}, say which is which in a column map (labeler read --write-column-map), "
        fix += "or name it in marker.wire_text"
        self.note(message, fix)

    def _free(self) -> Iterable[tuple[tuple[str, str], ...]]:
        """Return for each row the columns that were not used, as written; names that stand twice are told apart."""
        counts: Counter[str] = Counter()
        columns = []
        for index in self._unused():
            name = self.headings[index].text or f"column {index + 1}"
            counts[name] += 1
            name = name if counts[name] == 1 else f"{name} {counts[name]}"
            columns.append(zip(repeat(name), self.table.values[index], strict=False))
        return zip(*columns, strict=True) if columns else repeat(())


def _refuse_thousands(text: str) -> str:
    """Refuse ``1.500`` in a list with decimal commas: it may be one and a half, or a thousand and a half."""
    if is_thousands_or_decimals(text):
        message = f"{text!r} may be thousands or decimals"
        raise ValueError(message, "write it without the point, or with a decimal comma")
    return text
