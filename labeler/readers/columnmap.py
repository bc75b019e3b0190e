"""A column map (TOML): which column of a list is what, for lists whose headers do not tell.

``labeler read --write-column-map`` writes one, filled in as far as the headers go; ``--column-map`` takes it. Columns
are named by their header as written or by their number, from 1. An empty name is a column not there.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.files import file_bytes
from labeler.readers.columns import ROLES, Columns, columns, heading
from labeler.readers.table import SEPARATORS, Layout, NoHeader, Table, table_of
from labeler.readers.toml import ONE_TABLE, parsed
from labeler.readers.values import shown
from labeler.tables.document import Document, Form, Key, Row, Type, limits, read_table

ENDS = ("from", "from cavity", "from device", "to", "to cavity", "to device")
WIRES = (*ENDS, *ROLES)
CAVITIES = ("connector", "cavity", "signal", "colour", "id")
NEEDED = {"wires": ("from", "to"), "cavities": ("cavity",)}
UNITS = {"length": ("mm", "cm", "m", "in", "ft"), "size": ("AWG", "mm2")}
UNITS |= {"od": UNITS["length"], "cable od": UNITS["length"]}
SIGNS = {"tab": "\t", **{sign: sign for sign in SEPARATORS}}
MEANING = {
    "from": "needed: connector, splice or device at one end",
    "from cavity": "its cavity or pin, where it has a column of its own",
    "from device": "what the connector belongs to, where two have the same name",
    "to": "needed: the same at the other end",
    "id": "name of the wire",
    "size": "AWG or mm2",
    "core": "name of the core in its cable",
    "od": "outside diameter of the wire",
    "wire type": "insulation, as labeler list wires lists it",
    "variant": "variants the wire is in",
    "connector": "of a list of cavities; left empty: all are of one connector",
    "cavity": "of a list of cavities: needed",
}

# ---------------------------------------------------------------- the keys of a map


def _one_of(value: object, key: Key) -> str:
    if value not in key.allowed:
        raise ValueError(f"{shown(value)} is unknown", f"use one of {', '.join(key.allowed)}")
    return str(value)


def _line(value: object, _: Key) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise ValueError(f"{shown(value)} is no line", "count the lines of the list, from 1")
    return value


def _text(value: object, _: Key) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{shown(value)} must be a text", "write the header in quotes")
    return value.strip()


def _column(value: object, key: Key) -> str:
    """Return the header of a column, or its number as ``#3``."""
    return f"#{value}" if isinstance(value, int) and not isinstance(value, bool) else _text(value, key)


STRING = {"type": "string"}
ONE_OF = Type("word", _one_of, lambda key: {**STRING, **limits(key)}, joint=": ")
LINE = Type("line", _line, lambda _: {"type": "integer", "minimum": 1}, joint=": ")
SHEET = Type("text", lambda value, _: str(value), lambda _: STRING)
COLUMN = Type("header or number", _column, lambda _: {"type": ["string", "integer"]}, joint=": ")
UNIT = Type("unit", _text, lambda key: {**STRING, "enum": ["", *key.allowed]}, joint=": ")
SIGN = Type("text", _text, lambda _: STRING, joint=": ")


def _key_of(role: str) -> str:
    return role.replace(" ", "_")


def map_form(kind: str = "") -> Form:
    """Return the form of a map for a kind of list; ``""``: for any, as a schema has it."""
    roles = {"wires": WIRES, "cavities": CAVITIES}.get(kind, tuple(dict.fromkeys((*WIRES, *CAVITIES))))
    named = {
        _key_of(role): Key(COLUMN, MEANING.get(role, f"column of: {role}"), "Stelle", field=role) for role in roles
    }
    units = {
        _key_of(role): Key(UNIT, f"unit of bare numbers: {role}", allowed[0], allowed=allowed, field=role)
        for role, allowed in UNITS.items()
    }
    split = {end: Key(SIGN, "what stands between connector and cavity in its column", "-") for end in ("from", "to")}
    tables = {
        "columns": ("header or number, from 1, of each column", named),
        "units": ("units of bare numbers", units),
        "split": ("how columns with connector and cavity are split", split),
    }
    keys = {
        "rows": Key(ONE_OF, "what a row is", "wires", default="wires", allowed=("wires", "cavities")),
        "header_row": Key(LINE, "line of the header, from 1", 2, default=1),
        "delimiter": Key(ONE_OF, "what stands between two cells", "tab", default=",", allowed=tuple(SIGNS)),
        "worksheet": Key(SHEET, "sheet of a workbook", "Boat"),
        **{name: Key(ONE_TABLE, meaning, form=Form(inner, listed=12)) for name, (meaning, inner) in tables.items()},
    }
    return Form(keys, listed=12)


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What a map says: the layout of the table, and the sheet of a workbook (``""``: not said)."""

    layout: Layout
    sheet: str = ""


def load_map(path: Path | None) -> ColumnMap | None:
    """Return the map in a file, None without one; raises LabelerError with everything that is wrong in it."""
    return map_of(parsed(file_bytes(path), path.name)) if path else None


def map_of(document: Document) -> ColumnMap:
    """Return the map in a document; raises LabelerError with everything that is wrong in it."""
    kind = "cavities" if document.values.get("rows") == "cavities" else "wires"
    read = read_table(_without_other_kind(document, kind), map_form(kind))
    problems = list(read.all_problems())
    tables = {name: read.values.get(name, Row({}, (name,))).values for name in ("columns", "units", "split")}
    columns, units, split = ({role: text for role, text in table.items() if text} for table in tables.values())
    for role, unit in units.items():
        if unit not in UNITS[role]:
            message, fix = f"units {role}: {shown(unit)} is unknown", f"use one of {', '.join(UNITS[role])}"
            problems.append(Problem(document.where(("units", _key_of(role))), message, fix))
    for role in NEEDED[kind]:
        if role not in columns:
            message, fix = f"columns: {role} is not named", "fill in the header of its column, or its number"
            problems.append(Problem(document.where(("columns",)), message, fix))
    refuse(problems)
    separator, line = SIGNS[read.values.get("delimiter", ",")], read.values.get("header_row", 1)
    placing = partial(_place, columns, units, SourceLocation(document.name))
    layout = Layout(separator, line, placing, kind == "cavities", tuple(split.items()))
    return ColumnMap(layout, read.values.get("worksheet", ""))


def _without_other_kind(document: Document, kind: str) -> Document:
    """Return a map without the columns of the other kind of list that are left empty, as the draft has them."""
    columns = document.values.get("columns")
    if not isinstance(columns, dict):
        return document
    other = {_key_of(role) for role in (*WIRES, *CAVITIES)} - {
        _key_of(role) for role in (WIRES, CAVITIES)[kind == "cavities"]
    }
    kept = {key: value for key, value in columns.items() if key not in other or value != ""}
    return replace(document, values={**document.values, "columns": kept})


def _place(named: Mapping[str, str], units: Mapping[str, str], where: SourceLocation, cells: Sequence[str]) -> Columns:
    """Return what the cells of the header row mean; raises LabelerError for names that are not there."""
    headings = [heading(cell) for cell in cells]
    roles: dict[str, tuple[int, ...]] = {}
    problems = []
    for role, name in named.items():
        at = [index for index, found in enumerate(headings) if found.text == name or name == f"#{index + 1}"]
        if len(at) == 1:
            roles[role] = (at[0],)
            if role in units:
                headings[at[0]] = replace(headings[at[0]], unit=units[role])
        else:
            seen = ", ".join(repr(found.text) for found in headings)[:300]
            how = "stands more than once" if at else "is not in the header row"
            fix = f"use its number, from 1; headers seen: {seen}"
            problems.append(Problem(where, f"{role}: column {name!r} {how}", fix))
    refuse(problems)
    return Columns(tuple(headings), roles)


# ---------------------------------------------------------------- draft


def draft_map(text: str, source: str, sheet: str = "") -> str:
    """Return a map for a list, as TOML to be filled in; raises LabelerError where there is no table at all."""
    try:
        table = table_of(text, source, (), Layout("\t") if sheet else Layout())
    except NoHeader as error:
        rows, found, kind = error.rows, columns(error.rows[0]), "wires"
        line, separator = error.line, error.separator
    else:
        found, kind = table.columns, "cavities" if table.pins else "wires"
        rows = [[each.text for each in found.headings], *zip(*(column[:3] for column in table.values), strict=True)]
        line, separator = table.header_line, table.separator
    return "\n".join([*_head(rows, line, separator, kind, source, sheet), *_columns(found, kind)]) + "\n"


def _head(rows: Sequence[Sequence[str]], line: int, sign: str, kind: str, source: str, sheet: str) -> Iterator[str]:
    yield f"# Column map of {_plain(source)}, a draft: fill in what is empty, then labeler read FILE --column-map THIS."
    yield "# A column is named by its header or by its number. Seen, with the values below:"
    for index, cell in enumerate(rows[0]):
        below = " | ".join(row[index].strip() for row in rows[1:] if index < len(row))
        yield f"#   {index + 1:2}  {_plain(cell.strip()) or '(no header)'}: {_plain(below)[:80]}"
    yield f'rows = "{kind}"  # "wires": one row a wire, with its two ends; "cavities": one row a cavity'
    yield f"header_row = {line}"
    yield f'delimiter = "{"tab" if sign == chr(9) else sign}"'
    if sheet:
        yield f"worksheet = {json.dumps(sheet, ensure_ascii=False)}"
    yield ""


def _columns(found: Columns, kind: str) -> Iterator[str]:
    yield "[columns]"
    texts = [item.text for item in found.headings]
    for role in dict.fromkeys((*WIRES, *CAVITIES)) if kind == "wires" else CAVITIES:
        at = found.roles.get(role, ())
        name = json.dumps(texts[at[0]], ensure_ascii=False) if at else '""'
        number = str(at[0] + 1) if at and texts.count(texts[at[0]]) > 1 else name
        meaning = f"  # {MEANING[role]}" if role in MEANING else ""
        yield f"{role.replace(' ', '_')} = {number}{meaning}"
    yield from ("", "[units]  # of bare numbers: length and od in mm, cm, m, in or ft; size in AWG or mm2")
    for role in UNITS:
        units = {found.headings[index].unit for index in found.roles.get(role, ())} - {""}
        unit = next(iter(units)) if len(units) == 1 and units <= set(UNITS[role]) else ""
        yield f'{role.replace(" ", "_")} = "{unit}"'
    if kind == "wires" or not found.roles:
        yield from ("", "[split]  # the sign between connector and cavity where one column has both: J4:2")
        yield from ('from = ""', 'to = ""')


def _plain(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)


def mapped_table(
    text: str, notes: tuple[Problem, ...], source: str, found: ColumnMap | None, tabbed: bool = False
) -> Table:
    """Return the table of a text, as a map says if there is one; a workbook's sheet is always parted by tabs."""
    if found is None:
        return table_of(text, source, notes)
    try:
        return table_of(text, source, notes, replace(found.layout, separator="\t") if tabbed else found.layout)
    except (ValueError, csv.Error) as error:
        raise LabelerError(
            Problem(SourceLocation(source), f"no table as the map says: {error}", "check the map")
        ) from None
