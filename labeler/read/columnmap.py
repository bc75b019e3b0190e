"""A column map (TOML): which column of a list is what, for lists whose headers do not tell.

``labeler read --draft`` writes one, filled in as far as the headers go; ``--map`` takes it. Columns
are named by their header as written or by their number, from 1. An empty name is a column not there.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.files import file_bytes
from labeler.read.columns import ROLES, Columns, columns, heading
from labeler.read.table import SEPARATORS, Layout, NoHeader, Table, table_of
from labeler.read.toml import line_of, parsed
from labeler.read.values import shown, unknown

ENDS = ("from", "from pin", "from owner", "to", "to pin", "to owner")
WIRES = (*ENDS, *ROLES)
PINS = ("connector", "pin", "signal", "colour", "id")
NEEDED = {"wires": ("from", "to"), "pins": ("pin",)}
UNITS = {"length": ("mm", "cm", "m", "in", "ft"), "size": ("AWG", "mm2")}
UNITS |= {"outside": UNITS["length"], "cable outside": UNITS["length"]}
TOP = ("list", "header_line", "separator", "sheet", "columns", "units", "split")
SIGNS = {"tab": "\t", **{sign: sign for sign in SEPARATORS}}
MEANING = {
    "from": "needed: connector, splice or device at one end",
    "from pin": "its cavity or pin, where it has a column of its own",
    "from owner": "what the connector belongs to, where two have the same name",
    "to": "needed: the same at the other end",
    "id": "name of the wire",
    "size": "AWG or mm2",
    "core": "name of the core in its cable",
    "outside": "outside diameter of the wire",
    "wire": "insulation, as labeler wires lists it",
    "option": "variants the wire is in",
    "connector": "of a list of pins; left empty: all are of one connector",
    "pin": "of a list of pins: needed",
}


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What a map says: the layout of the table, and the sheet of a workbook (``""``: not said)."""

    layout: Layout
    sheet: str = ""


def load_map(path: Path) -> ColumnMap:
    """Return the map in a file; raises LabelerError with everything that is wrong in it."""
    tree, index = parsed(file_bytes(path), path.name)
    problems: list[Problem] = []

    def problem(place: tuple[str, ...], message: str, fix: str = "") -> None:
        problems.append(Problem(Where(path.name, line_of(index, place)), message, fix))

    for key in tree:
        if key not in TOP:
            problem((key,), f"unknown key {key!r}", unknown(key, TOP))
    kind = _one_of(tree.get("list", "wires"), ("wires", "pins"), "list", problem)
    line = tree.get("header_line", 1)
    if isinstance(line, bool) or not isinstance(line, int) or line < 1:
        problem(("header_line",), f"header_line: {shown(line)} is no line", "count the lines of the list, from 1")
    separator = SIGNS[_one_of(tree.get("separator", ","), tuple(SIGNS), "separator", problem)]
    named = _names(tree, "columns", WIRES if kind == "wires" else PINS, problem)
    units = _names(tree, "units", tuple(UNITS), problem)
    for role, unit in units.items():
        _one_of(unit, UNITS[role], f"units {role}", problem)
    split = _names(tree, "split", ("from", "to"), problem)
    for role in NEEDED[kind]:
        if role not in named:
            problem(("columns",), f"columns: {role} is not named", "fill in the header of its column, or its number")
    refuse(problems)
    placing = _placing(named, units, Where(path.name))
    pins = kind == "pins"
    return ColumnMap(Layout(separator, line, placing, pins, tuple(split.items())), str(tree.get("sheet", "")))


def _one_of(value: Any, known: Sequence[str], what: str, problem: Callable[..., None]) -> str:
    if value in known:
        return str(value)
    problem((what.partition(" ")[0],), f"{what}: {shown(value)} is unknown", f"use one of {', '.join(known)}")
    return known[0]


def _names(tree: Mapping[str, Any], table: str, known: Sequence[str], problem: Callable[..., None]) -> dict[str, str]:
    """Return role → text of a table; empty ones are left out, numbers are kept as ``#3``."""
    rows = tree.get(table, {})
    if not isinstance(rows, dict):
        problem((table,), f"{table} must be a table", f"write [{table}] on a line of its own")
        return {}
    found = {}
    keys = {role.replace(" ", "_"): role for role in known}
    other = {role.replace(" ", "_") for role in (*WIRES, *PINS)} if table == "columns" else set()
    for key, value in rows.items():
        if key in other and key not in keys and value == "":
            continue  # of the other kind of list, left empty as the draft has it
        if key not in keys:
            problem((table, key), f"unknown key {key!r}", unknown(key, keys))
        elif isinstance(value, int) and not isinstance(value, bool) and table == "columns":
            found[keys[key]] = f"#{value}"
        elif not isinstance(value, str):
            problem((table, key), f"{key}: {shown(value)} must be a text", "write the header in quotes")
        elif value.strip():
            found[keys[key]] = value.strip()
    return found


def _placing(named: Mapping[str, str], units: Mapping[str, str], where: Where) -> Callable[[Sequence[str]], Columns]:
    """Return what gives the cells of the header row their roles; it raises LabelerError for names not there."""

    def place(cells: Sequence[str]) -> Columns:
        headings = [heading(cell) for cell in cells]
        roles: dict[str, tuple[int, ...]] = {}
        problems = []
        for role, name in named.items():
            at = [index for index, found in enumerate(headings) if found.text == name or name == f"#{index + 1}"]
            if len(at) != 1:
                seen = ", ".join(repr(found.text) for found in headings)[:300]
                how = "stands more than once" if at else "is not in the header row"
                fix = f"use its number, from 1; headers seen: {seen}"
                problems.append(Problem(where, f"{role}: column {name!r} {how}", fix))
                continue
            roles[role] = (at[0],)
            if role in UNITS:
                headings[at[0]] = replace(headings[at[0]], unit=units.get(role, headings[at[0]].unit))
        refuse(problems)
        return Columns(tuple(headings), roles)

    return place


# ---------------------------------------------------------------- draft


def draft_map(text: str, source: str, sheet: str = "") -> str:
    """Return a map for a list, as TOML to be filled in; raises LabelerError where there is no table at all."""
    layout = Layout("\t") if sheet else Layout()
    try:
        table = table_of(text, source, (), layout)
    except NoHeader as error:
        return _draft(error.rows, columns(error.rows[0]), error.line, error.separator, "wires", source, sheet)
    cells = [found.text for found in table.columns.headings]
    rows = [cells, *zip(*(column[:3] for column in table.values), strict=True)]
    kind = "pins" if table.pins else "wires"
    return _draft(rows, table.columns, table.header_line, table.separator, kind, source, sheet)


def _draft(
    rows: Sequence[Sequence[str]], found: Columns, line: int, separator: str, kind: str, source: str, sheet: str
) -> str:
    return "\n".join([*_head(rows, line, separator, kind, source, sheet), *_columns(found, kind)]) + "\n"


def _head(rows: Sequence[Sequence[str]], line: int, sign: str, kind: str, source: str, sheet: str) -> Iterator[str]:
    yield f"# Column map of {_plain(source)}, a draft: fill in what is empty, then labeler read FILE --map THIS."
    yield "# A column is named by its header or by its number. Seen, with the values below:"
    for index, cell in enumerate(rows[0]):
        below = " | ".join(row[index].strip() for row in rows[1:] if index < len(row))
        yield f"#   {index + 1:2}  {_plain(cell.strip()) or '(no header)'}: {_plain(below)[:80]}"
    yield f'list = "{kind}"  # "wires": one row a wire, with its two ends; "pins": one row a pin'
    yield f"header_line = {line}"
    yield f'separator = "{"tab" if sign == chr(9) else sign}"'
    if sheet:
        yield f"sheet = {json.dumps(sheet, ensure_ascii=False)}"
    yield ""


def _columns(found: Columns, kind: str) -> Iterator[str]:
    yield "[columns]"
    texts = [item.text for item in found.headings]
    for role in dict.fromkeys((*WIRES, *PINS)) if kind == "wires" else PINS:
        at = found.roles.get(role, ())
        name = json.dumps(texts[at[0]], ensure_ascii=False) if at else '""'
        number = str(at[0] + 1) if at and texts.count(texts[at[0]]) > 1 else name
        meaning = f"  # {MEANING[role]}" if role in MEANING else ""
        yield f"{role.replace(' ', '_')} = {number}{meaning}"
    yield from ("", "[units]  # of bare numbers: length and outside in mm, cm, m, in or ft; size in AWG or mm2")
    for role in UNITS:
        units = {found.headings[index].unit for index in found.roles.get(role, ())} - {""}
        unit = next(iter(units)) if len(units) == 1 and units <= set(UNITS[role]) else ""
        yield f'{role.replace(" ", "_")} = "{unit}"'
    if kind == "wires" or not found.roles:
        yield from ("", "[split]  # the sign between connector and cavity where one column has both: J4:2")
        yield from ('from = ""', 'to = ""')


def _plain(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)


def mapped_table(text: str, source: str, notes: tuple[Problem, ...], found: ColumnMap, tabbed: bool) -> Table:
    """Return the table of a text as a map says; a workbook's sheet is always parted by tabs."""
    layout = replace(found.layout, separator="\t") if tabbed else found.layout
    try:
        return table_of(text, source, notes, layout)
    except ValueError as error:
        raise LabelerError(Problem(Where(source), f"no table as the map says: {error}", "check the map")) from None
