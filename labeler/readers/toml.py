"""A harness file (TOML) → `Harness`, with strict keys and types; every problem names its line.

The keys of each table are declared here. Besides those, every key of ``data/settings.toml`` may stand under
``[defaults]`` and again in those of circuits, branches, their ends and bags where it is read: the nearest one
counts, an end's before its branch's. What is read holds the settings that count for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import replace
from functools import cache, lru_cache, partial
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.files import file_bytes
from labeler.model import GROUPS, Bag, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Item, Pin, Settings
from labeler.readers.lists import inferred_connectors, read_csv
from labeler.readers.table import is_workbook
from labeler.readers.values import (
    CABLE_MM,
    CONNECTOR_MM,
    CUT_MM,
    LONGEST_MM,
    WIRE_MM,
    checked_cavity,
    length,
    length_within,
    number,
    pin,
    setting,
    shown,
    size,
    with_settings,
    word,
)
from labeler.tables.catalogue import NO_TABLES, Catalogue, SettingSpec, setting_specs
from labeler.tables.document import Document, Form, Key, Row, Schema, Type, limits, parse, read_table, unknown

KINDS = ("connector", "splice", "ring terminal", "unterminated end")
MOST_ITEMS = 100_000  # in a line of a bag; project choice
MOST_CAVITIES = 10_000  # project choice: a slip of the finger, not a connector

# ---------------------------------------------------------------- what may stand under a key


def _type(name: str, read: Callable[[Any], Any], schema: Schema, unit: str = "") -> Type:
    """Return a type of harness files, whose reader needs no limits of the key."""
    return Type(name, lambda value, _: read(value), lambda key: {**schema, **limits(key)}, unit, ": ")


def of_type(kind: type, advice: str) -> Callable[[Any], Any]:
    """Return a reader that takes what is of a type as it stands; it raises ValueError with the advice for all else."""

    def read(value: Any) -> Any:
        if not isinstance(value, kind):
            raise ValueError(f"{shown(value)} must be {advice}")
        return value

    return read


text = of_type(str, "a text; write it in quotes")
flag = of_type(bool, "true or false, without quotes")
listed = of_type(list, "a list, such as ['W101', 'W102']")
fields = of_type(dict, "a table, such as { Deck = 'main' }")


def names(value: Any) -> tuple[str, ...]:
    """Return a list of ids; raises ValueError for anything else."""
    return tuple(map(word, listed(value)))


def lines_of_text(value: Any) -> tuple[str, ...]:
    """Return an end's text: one string may be broken where it helps, several are lines as they stand.

    A list of one string is the same as that string.
    """
    if isinstance(value, str):
        return (value,)
    if not isinstance(value, list) or not value:
        raise ValueError(f"{shown(value)} must be a text or a list of lines")
    return tuple(map(text, value))


def kind(value: Any) -> str:
    """Return the kind of a connector; raises ValueError for one that is not known."""
    found = word(value)
    if found not in KINDS:
        raise ValueError(f"{found!r} is no kind of connector; {unknown(found, KINDS)}")
    return found


def count(value: Any) -> int:
    """Return how many cavities; raises ValueError unless it is a whole number from 1."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_CAVITIES:
        raise ValueError(f"must be a whole number from 1 to {MOST_CAVITIES}")
    return value


def quantity(value: Any) -> float:
    """Return a number above 0, up to `MOST_ITEMS`."""
    found = number(value)
    if not 0 < found <= MOST_ITEMS:
        raise ValueError(f"{shown(value)} must be above 0 and at most {MOST_ITEMS}")
    return found


def place(value: Any) -> Pin:
    """Return the pin of ``J4:2``, or of ``{ connector = "J4:2", cavity = "a:1" }`` where names hold colons."""
    if not isinstance(value, dict):
        return pin(word(value))
    if not {"connector"} <= value.keys() <= {"connector", "cavity"}:
        raise ValueError(f"{shown(value)} must have connector, and may have cavity")
    return Pin(word(value["connector"]), checked_cavity(word(value["cavity"])) if "cavity" in value else "")


def extra_columns(value: Any) -> tuple[tuple[str, str], ...]:
    """Return columns kept as written, by their name; a wire marker may say them: ``{Deck}``."""
    return tuple((str(key), text(item)) for key, item in fields(value).items())


def one_table(value: Any, _: Key) -> dict[str, Any]:
    """Return a table; raises ValueError for anything else."""
    if not isinstance(value, dict):
        raise ValueError("must be a table", "write [{path}] on a line of its own")
    return value


def _tables(value: Any, _: Key) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
        raise ValueError("must be a list of tables", "write [[{path}]] above each one")
    return value


STRING: Schema = {"type": "string"}
TEXTS: Schema = {"type": "array", "items": STRING}
PLACE: Schema = {
    "anyOf": [
        STRING,
        {
            "type": "object",
            "properties": {"connector": STRING, "cavity": STRING},
            "required": ["connector"],
            "additionalProperties": False,
        },
    ]
}
MEASURED: Schema = {"type": ["number", "string"]}

NAME = _type("name", word, {**STRING, "pattern": r"\S"})
TEXT = _type("text", text, STRING)
FLAG = _type("true or false", flag, {"type": "boolean"})
WITHIN = Type(
    "length",
    lambda value, key: length_within(key.low or 0.0, key.high or LONGEST_MM)(value),
    lambda key: {**MEASURED, **limits(key)},
    "mm",
    ": ",
)
LENGTH = _type("length", length, {**MEASURED, "exclusiveMinimum": 0}, "mm")
TOLERANCE = _type("length", lambda value: length(value, positive=False), {**MEASURED, "minimum": 0}, "mm")
ONE_TABLE = Type("table", one_table, lambda _: {"type": "object"})
TABLES = Type("list of tables", _tables, lambda _: {"type": "array"})

# ---------------------------------------------------------------- the keys of a harness file


def _measure(meaning: str, example: Any, between: tuple[float, float]) -> Key:
    return Key(WITHIN, meaning, example, low=between[0], high=between[1])


HARNESS = {
    "name": Key(NAME, "name of the harness", "Survey boat, sensors", required=True),
    "part_number": Key(TEXT, "its part number", "RSB-210"),
    "revision": Key(TEXT, "its revision", "C"),
    "wire_list": Key(NAME, "a CSV beside the file that lists circuits", "survey-boat.csv"),
}
CONNECTOR = {
    "id": Key(NAME, "name of the connector", "J4", required=True),
    "kind": Key(_type("kind of connector", kind, STRING), "what it is", "splice", default="connector", allowed=KINDS),
    "description": Key(TEXT, "what it belongs to", "Depth sounder"),
    "cavities": Key(
        _type("whole number", count, {"type": "integer"}), "number of its cavities", 4, low=1, high=MOST_CAVITIES
    ),
    "max_width_mm": _measure("its largest width, which sleeves may have to pass", 18.0, CONNECTOR_MM),
    "contact_width_mm": _measure("width of a crimped contact", "0.1 in", CONNECTOR_MM),
}
BREAKOUT = {
    "id": Key(NAME, "name of the breakout", "N1", required=True),
    "description": Key(TEXT, "where it is", "Below the winch"),
}
CIRCUIT = {
    "id": Key(NAME, "name of the circuit", "W101", required=True),
    "from": Key(
        _type("place", place, PLACE),
        "connector and cavity at one end",
        "P1:12",
        required=True,
        field="start",
    ),
    "to": Key(
        _type("place", place, PLACE),
        "connector and cavity at the other end",
        "J4:2",
        required=True,
        field="finish",
    ),
    "size": Key(_type("wire size", size, MEASURED), "size of the conductor", "20 AWG"),
    "wire_type": Key(NAME, "type of insulation", "SAE J1128 TXL"),
    "od_mm": _measure("outside diameter of the wire, measured", 1.9, WIRE_MM),
    "colour": Key(TEXT, "colour of the wire", "OG"),
    "signal": Key(TEXT, "signal on it", "DEPTH RX"),
    "length_mm": Key(LENGTH, "length of the wire", 850, high=LONGEST_MM),
    "cable": Key(NAME, "cable that it is a core of", "K1"),
    "extra": Key(
        _type("table of texts", extra_columns, {"type": "object", "additionalProperties": STRING}),
        "columns kept as written, by their name",
        {"Deck": "main"},
    ),
}
CABLE = {
    "id": Key(NAME, "name of the cable", "K1", required=True),
    "od_mm": _measure("outside diameter of its jacket", "6.2 mm", CABLE_MM),
}
BRANCH = {
    "id": Key(NAME, "name of the branch", "B4", required=True),
    "circuits": Key(
        _type("list of names", names, TEXTS),
        "circuits that run through it; left out, those that its ends tell",
        ["W101", "W102"],
    ),
    "bundle_diameter_mm": _measure("diameter measured over the bare bundle", 4.4, CABLE_MM),
    "bundle_diameter_tolerance_mm": Key(TOLERANCE, "tolerance of that measure, to both sides", 0.2, high=LONGEST_MM),
    "length_mm": Key(LENGTH, "length of the branch", "85 cm", high=LONGEST_MM),
}
END = {
    "at": Key(NAME, "connector at this end", "J4", required=True),
    "text": Key(
        _type("text or list of lines", lines_of_text, {"anyOf": [STRING, {**TEXTS, "minItems": 1}]}),
        "what the sleeve says; several strings are lines as they stand",
        ["DEPTH", "J4"],
    ),
    "connector_installed": Key(FLAG, "whether the connector is installed", True, default=False),
    "contacts_crimped": Key(FLAG, "whether the contacts are crimped", True, default=False),
    "marked": Key(FLAG, "whether its sleeve says anything", False, default=True),
    "cut_length_mm": _measure("length to cut the sleeve to", 30, CUT_MM),
    "distance_from_connector_mm": Key(TOLERANCE, "distance of the sleeve from the connector", 25, high=LONGEST_MM),
}
BAG = {
    "id": Key(NAME, "name of the bag", "K4", required=True),
    "branch": Key(NAME, "branch that it is for", "B4"),
    "connector": Key(NAME, "connector that it is for", "J4"),
}
ITEM = {
    "item": Key(NAME, "what is in the bag", "housing, 4 cavities", required=True),
    "quantity": Key(
        _type("number", quantity, {**MEASURED, "exclusiveMinimum": 0}),
        "how many of it",
        4,
        default=1,
        low=None,
        high=MOST_ITEMS,
    ),
}
Keys = Mapping[str, Key]


def setting_key(spec: SettingSpec, field: str = "") -> Key:
    """Return the declaration of a setting as a key of a harness file."""
    reader = Type(spec.type, lambda value, _: setting(spec, value), lambda _: _setting_schema(spec), joint=": ")
    return Key(
        reader,
        spec.description,
        spec.default,
        default=spec.default,
        low=spec.min,
        high=spec.max,
        allowed=spec.allowed,
        field=field,
    )


def _setting_schema(spec: SettingSpec) -> Schema:
    if spec.type == "boolean":
        return {"type": "boolean"}
    one: Schema = {"type": ["number", "string"]} if spec.type not in ("string", "list") else {"type": "string"}
    if spec.allowed:
        none = [""] if spec.optional or spec.default == "" else []
        one["enum"] = [*spec.allowed, *none]
    given = {"minimum": spec.min, "maximum": spec.max}
    one |= {key: limit for key, limit in given.items() if limit is not None}
    if spec.type not in ("list", "lengths"):
        return one
    several: Schema = {"type": "array", "items": one, **({"minItems": 1} if spec.type == "list" else {})}
    return {"anyOf": [several, {"type": "string"}, *([{"type": "number"}] if spec.type == "lengths" else [])]}


def _form(own: Keys, level: str = "", more: Keys | None = None) -> Form:
    """Return the form of a table with its own keys and the settings that are read at its level, in their groups."""
    keys: dict[str, Key] = {**own, **(more or {})}
    here: dict[str, dict[str, Key]] = {}
    elsewhere: dict[str, dict[str, tuple[str, str]]] = {}
    for dotted, spec in setting_specs().items() if level else ():
        group, _, name = dotted.rpartition(".")
        if level in (*spec.levels, "defaults"):
            here.setdefault(group, {})[name] = setting_key(spec)
        else:
            fix = f"set it under [defaults] or on: {', '.join(spec.levels)}"
            elsewhere.setdefault(group, {})[name] = (f"{dotted} is not read in a {level}", fix)
    keys |= {name: key for name, key in here.pop("", {}).items() if name not in keys}
    others = {name: found for name, found in elsewhere.pop("", {}).items() if name not in keys}
    for group in dict.fromkeys((*here, *elsewhere)):
        form = Form(here.get(group, {}), elsewhere=elsewhere.get(group, {}), prefix=f"{group}.", listed=12)
        keys[group] = Key(ONE_TABLE, f"settings of {group}", form=form)
    return Form(keys, elsewhere=others, missing="{table} without {key!r}", listed=12)


@cache
def harness_form() -> Form:
    """Return the form of a whole harness file."""
    end = Key(TABLES, "an end of the branch", form=_form(END, "end"))
    contents = Key(TABLES, "what belongs in the bag", form=_form(ITEM))
    keys = {
        "harness": Key(ONE_TABLE, "what the harness is called", required=True, form=_form(HARNESS)),
        "defaults": Key(ONE_TABLE, "settings of the whole harness", form=_form({}, "defaults")),
        "connector": Key(TABLES, "a connector, splice or terminal", form=_form(CONNECTOR)),
        "breakout": Key(TABLES, "a point where branches meet", form=_form(BREAKOUT)),
        "circuit": Key(TABLES, "a circuit", form=_form(CIRCUIT, "circuit")),
        "cable": Key(TABLES, "a jacketed cable", form=_form(CABLE)),
        "branch": Key(TABLES, "a branch", form=_form(BRANCH, "branch", {"end": end})),
        "bag": Key(TABLES, "a kit bag", form=_form(BAG, "bag", {"contents": contents})),
    }
    return Form(keys, what="table", listed=12)


# ---------------------------------------------------------------- reading


def read_toml(
    data: bytes,
    source: str,
    folder: Path | None,
    settings: Settings,
    changes: Mapping[str, Any],
    catalogue: Catalogue = NO_TABLES,
) -> Harness:
    """Return the harness in the bytes of a harness file.

    ``folder`` is where ``wire_list`` is looked for (None: nowhere, the text came by a pipe);
    ``changes`` are settings that win over the file's defaults. Raises LabelerError with every
    problem found.
    """
    document = parsed(data, source)
    read = read_table(Document(source, {"harness": {}, **document.values}, document.text), harness_form())
    one: dict[str, Row] = {name: read.values.get(name, Row({}, ())) for name in ("harness", "defaults")}
    head = dict(one["harness"].values)
    base = with_settings(with_settings(settings, settings_of(one["defaults"])), changes)
    listed, unlisted = _listed(head.pop("wire_list", ""), document, folder, base, catalogue)
    cables, differing = _cables(listed.cables, document, read.rows("cable"))
    problems = [*read.all_problems(), *unlisted, *differing]
    refuse(sorted(problems, key=lambda problem: (problem.where.source, problem.where.line)))
    merged = lru_cache(None)(lambda above, changes: with_settings(above, dict(changes)))  # equal ones are one object
    parts = partial(_parts, document, merged)
    circuits = listed.circuits + tuple(Circuit(**parts(row, CIRCUIT, base)) for row in read.rows("circuit"))
    branches = []
    for row in read.rows("branch"):
        own = parts(row, BRANCH, base)
        ends = tuple(BranchEnd(**parts(end, END, own["settings"])) for end in row.rows("end"))
        branches.append(Branch(**own, ends=ends))
    bags = (
        Bag(**parts(row, BAG, base), contents=tuple(Item(**item.values) for item in row.rows("contents")))
        for row in read.rows("bag")
    )
    connectors = tuple(Connector(**row.values, where=document.where(row.place)) for row in read.rows("connector"))
    breakouts = tuple(
        Connector(**row.values, kind="breakout", where=document.where(row.place)) for row in read.rows("breakout")
    )
    return Harness(
        **head,
        settings=base,
        connectors=(connectors or _inferred(circuits, branches, {each.id for each in breakouts})) + breakouts,
        circuits=circuits,
        cables=cables,
        branches=tuple(branches),
        bags=tuple(bags),
        notes=listed.notes,
        where=document.where(("harness",)),
        text=data + listed.text,
    )


def parsed(data: bytes, source: str) -> Document:
    """Return the document of a harness file or a column map; raises LabelerError where it is no TOML."""
    try:
        return parse(data, source)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise LabelerError(Problem(SourceLocation(source, line), "not UTF-8", "save the file as UTF-8")) from None
    except RecursionError:
        problem = Problem(SourceLocation(source), "nested too deeply", "a harness file has tables and lists, no more")
    except ValueError as error:
        found = re.search(r"\s*\(at line (\d+), column (\d+)\)", str(error))
        last = len(data.decode("utf-8-sig").rstrip().splitlines())  # what never ends is found past the last line
        line = min(int(found[1]), last) if found else last if "end of document" in str(error) else 0
        message = re.sub(r"\s*\(at [^()]*\)$", "", str(error))
        column = f" at column {found[2]}" if found else ""
        problem = Problem(SourceLocation(source, line), f"no TOML: {message}{column}", "see examples for the form")
    raise LabelerError(problem) from None


def _parts(
    document: Document, merged: Callable[[Settings, Any], Settings], row: Row, keys: Keys, above: Settings
) -> dict[str, Any]:
    """Return a table's own values by field, where it stands, and the settings that count for it."""
    own = {key.field or name for name, key in keys.items()}
    changes = tuple(sorted((name, value) for name, value in settings_of(row).items() if name not in own))
    values = {name: value for name, value in row.values.items() if name in own}
    return {**values, "where": document.where(row.place), "settings": merged(above, changes) if changes else above}


def settings_of(row: Row) -> dict[str, Any]:
    """Return the settings that a table gives, by their dotted keys."""
    found: dict[str, Any] = {}
    for name, value in row.values.items():
        if isinstance(value, Row) and name in GROUPS:
            found |= {f"{name}.{inside}": each for inside, each in value.values.items()}
        elif name in setting_specs():
            found[name] = value
    return found


def _cables(
    listed: tuple[Cable, ...], document: Document, rows: tuple[Row, ...]
) -> tuple[tuple[Cable, ...], list[Problem]]:
    """Return the cables of the wire list with those of the file, and where they differ: the same id is one cable."""
    named = {cable.id: cable for cable in listed}
    added, problems = [], []
    for row in (row for row in rows if not row.problems):
        cable = Cable(**row.values, where=document.where(row.place))
        known = named.pop(cable.id, cable)
        one, other = known.od_mm, cable.od_mm
        if one and other and one != other:
            message = f"cable {cable.id}: outside {other:g} mm, {known.where} says {one:g} mm"
            problems.append(Problem(cable.where, message, "give it once"))
        added.append(replace(cable, od_mm=other or one))
    return (*named.values(), *added), problems


def _listed(
    name: str, document: Document, folder: Path | None, base: Settings, catalogue: Catalogue
) -> tuple[Harness, tuple[Problem, ...]]:
    """Return what the wire list beside the file holds, and why it is not read."""
    nothing = Harness("", settings=base)
    where = document.where(("harness", "wire_list"))
    try:
        return _beside(name, where, folder, base, catalogue) if name else nothing, ()
    except LabelerError as error:
        return nothing, error.problems


def _beside(name: str, where: SourceLocation, folder: Path | None, base: Settings, catalogue: Catalogue) -> Harness:
    """Return what a wire list in the folder holds; raises LabelerError where it may not or cannot be read."""
    within = Path(name)
    if folder is None or within.is_absolute() or ".." in within.parts or "\\" in name or ":" in name:
        message, fix = "leaves the folder, or there is none", "name a file in the folder of this one"
    elif not (path := folder / within).resolve().is_relative_to(folder.resolve()):
        message, fix = "leads out of the folder", "copy the list here"
    elif is_workbook(data := file_bytes(path)):
        message = "is a workbook, not a CSV"
        fix = f"write it as a harness file with labeler read {name} -o, or save the sheet as CSV"
    else:
        harness = read_csv(data, path.name, "", base, catalogue)
        if harness.circuits:
            return harness
        message, fix = "lists pins, not circuits", "give a list with one row a wire"
    raise LabelerError(Problem(where, f"wire_list: {name!r} {message}", fix))


def _inferred(
    circuits: tuple[Circuit, ...], branches: Sequence[Branch], breakouts: Container[str]
) -> tuple[Connector, ...]:
    """Return the connectors that circuits end at or, without circuits, the branches; breakouts are none."""
    if circuits:
        return tuple(found for found in inferred_connectors(circuits) if found.id not in breakouts)
    ends = {end.at: end.where for branch in reversed(branches) for end in reversed(branch.ends)}
    return tuple(Connector(id, where=where) for id, where in reversed(ends.items()) if id not in breakouts)
