"""A harness file (TOML) → `Harness`, with strict keys and types; every problem names its line.

The keys of each table are in `keys`. Besides those, every key of ``data/choices.toml`` may stand
under ``[defaults]`` and again in those of circuits, branches, their ends and bags where it is read:
the nearest one counts, an end's before its branch's.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.files import file_bytes
from labeler.model import Bag, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Item, Pin, Settings
from labeler.read.lists import inferred_connectors, read_csv
from labeler.read.values import (
    cable_outside,
    checked_cavity,
    connector_outside,
    cut_length,
    length,
    number,
    pin,
    setting,
    shown,
    size,
    unknown,
    wire_outside,
    with_settings,
    word,
)
from labeler.read.workbook import is_workbook
from labeler.tables.catalogue import load_choices

# ---------------------------------------------------------------- On which line each key of a TOML text stands


KeyPath = tuple[str | int, ...]

_SKIP = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_KEY = re.compile(r'[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.S,
)
_BARE = re.compile(r"[^\s,\]}#][^,\]}#\n]*")


class _Scan:
    """One pass over the text; ``lines`` fills up."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.counted = 0
        self.lines: dict[KeyPath, int] = {(): 1}
        self.counts: dict[KeyPath, int] = {}  # arrays of tables: how many so far

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip()
        return self.lines

    def _skip(self, pattern: re.Pattern[str] = _SKIP) -> None:
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at + 1

    def _note(self, path: KeyPath) -> None:
        """Keep the line of this place, unless the path was met before."""
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        self.lines.setdefault(path, self.line)

    def _header(self) -> KeyPath:
        """Read ``[a.b]`` or ``[[a.b]]``; an array of tables opens its next element."""
        start = self.at
        many = self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        keys = self._keys()
        self.at += 2 if many else 1
        path = self._resolved(keys[:-1])
        path += (keys[-1],)
        if many:
            self.counts[path] = self.counts.get(path, 0) + 1
            self._note(path)
            path += (self.counts[path] - 1,)
        elif path in self.counts:
            path += (self.counts[path] - 1,)
        end, self.at = self.at, start
        self._note(path)
        self.at = end
        return path

    def _resolved(self, keys: list[str]) -> KeyPath:
        """Return the path to a table; in an array of tables its last element is meant."""
        path: KeyPath = ()
        for key in keys:
            path += (key,)
            if path in self.counts:
                path += (self.counts[path] - 1,)
        return path

    def _keys(self) -> list[str]:
        """Read a dotted key."""
        keys: list[str] = []
        while True:
            self._skip(_BLANK)
            found = _KEY.match(self.text, self.at)
            if not found:
                return keys or [""]
            keys.append(_plain(found[0]))
            self.at = found.end()
            self._skip(_BLANK)
            if self.text[self.at : self.at + 1] != ".":
                return keys
            self.at += 1

    def _pair(self, table: KeyPath) -> None:
        """Read ``key = value``."""
        start = self.at
        keys = self._keys()
        end, self.at = self.at, start
        for depth in range(1, len(keys) + 1):
            self._note(table + tuple(keys[:depth]))
        self.at = end + 1  # past the equals sign
        self._value(table + tuple(keys))

    def _value(self, path: KeyPath) -> None:
        self._skip()
        sign = self.text[self.at : self.at + 1]
        if sign == "[":
            self._array(path)
        elif sign == "{":
            self._inline(path)
        else:
            self._skip(_STRING if sign in "\"'" and sign else _BARE)

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        index = 0
        self._skip()
        while self.text[self.at : self.at + 1] not in ("]", ""):
            self._note((*path, index))
            self._value((*path, index))
            index += 1
            self._comma()
        self.at += 1

    def _inline(self, path: KeyPath) -> None:
        self.at += 1
        self._skip()
        while self.text[self.at : self.at + 1] not in ("}", ""):
            self._pair(path)
            self._comma()
        self.at += 1

    def _comma(self) -> None:
        self._skip()
        if self.text[self.at : self.at + 1] == ",":
            self.at += 1
            self._skip()


def _plain(key: str) -> str:
    """Return a key without its quotes."""
    if key.startswith("'"):
        return key[1:-1]
    if not key.startswith('"'):
        return key
    if "\\" not in key:
        return key[1:-1]
    import tomllib

    return next(iter(tomllib.loads(f"{key} = 0")))


def line_index(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, of every table, key and array element: ``("circuit", 3, "size")`` → 12."""
    return _Scan(text).run()


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int:
    """Return the line of a place, or of the nearest table around it."""
    while path not in lines:
        path = path[:-1]
    return lines[path]


# ---------------------------------------------------------------- The keys of a harness file


Check = Callable[[Any], Any]
Keys = Mapping[str, tuple[str, Check]]

KINDS = ("connector", "splice", "ring terminal", "loose end", "junction")
MOST_ITEMS = 100_000  # in a line of a bag; project choice
MOST_CAVITIES = 10_000  # project choice: a slip of the finger, not a connector


def text(value: Any) -> str:
    """Return a text as it stands; raises ValueError for anything else."""
    if not isinstance(value, str):
        raise ValueError(f"{shown(value)} must be a text; write it in quotes")
    return value


def flag(value: Any) -> bool:
    """Return true or false; raises ValueError for anything else."""
    if not isinstance(value, bool):
        raise ValueError(f"{shown(value)} must be true or false, without quotes")
    return value


def names(value: Any) -> tuple[str, ...]:
    """Return a list of ids; raises ValueError for anything else."""
    if not isinstance(value, list):
        raise ValueError(f"{shown(value)} must be a list, such as ['W101', 'W102']")
    return tuple(word(item) for item in value)


def lines_of_text(value: Any) -> tuple[str, ...]:
    """Return an end's text: one string may be broken where it helps, several are lines as they stand.

    A list of one string is the same as that string.
    """
    if isinstance(value, str):
        return (value,)
    if not isinstance(value, list) or not value:
        raise ValueError(f"{shown(value)} must be a text or a list of lines")
    return tuple(text(item) for item in value)


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


def tolerance(value: Any) -> float:
    """Return a length in mm from 0 up."""
    return length(value, positive=False)


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


def free_fields(value: Any) -> tuple[tuple[str, str], ...]:
    """Return columns kept as written, by their name; a wire marker may say them: ``{Deck}``."""
    if not isinstance(value, dict):
        raise ValueError(f"{shown(value)} must be a table, such as {{ Deck = 'main' }}")
    return tuple((str(key), text(item)) for key, item in value.items())


HARNESS: Keys = {
    "name": ("name", word),
    "part_number": ("part_number", text),
    "revision": ("revision", text),
    "circuits_from": ("circuits_from", word),
}
CONNECTOR: Keys = {
    "id": ("id", word),
    "kind": ("kind", kind),
    "description": ("description", text),
    "cavities": ("cavities", count),
    "outside_mm": ("outside_mm", connector_outside),
    "contact_outside_mm": ("contact_outside_mm", connector_outside),
}
CIRCUIT: Keys = {
    "id": ("id", word),
    "from": ("start", place),
    "to": ("finish", place),
    "size": ("size", size),
    "wire": ("wire", word),
    "outside_mm": ("outside_mm", wire_outside),
    "colour": ("colour", text),
    "signal": ("signal", text),
    "length_mm": ("length_mm", length),
    "cable": ("cable", word),
    "free": ("free", free_fields),
}
CABLE: Keys = {"id": ("id", word), "outside_mm": ("outside_mm", cable_outside)}
BRANCH: Keys = {
    "id": ("id", word),
    "circuits": ("circuits", names),
    "diameter_mm": ("diameter_mm", cable_outside),
    "diameter_tolerance_mm": ("diameter_tolerance_mm", tolerance),
    "length_mm": ("length_mm", length),
}
END: Keys = {
    "at": ("at", word),
    "text": ("text", lines_of_text),
    "fitted": ("fitted", flag),
    "crimped": ("crimped", flag),
    "lettered": ("lettered", flag),
    "cut_length_mm": ("cut_length_mm", cut_length),
    "from_end_mm": ("from_end_mm", tolerance),
}
BAG: Keys = {"id": ("id", word), "branch": ("branch", word), "connector": ("connector", word)}
ITEM: Keys = {"item": ("item", word), "quantity": ("quantity", quantity)}
TOP = ("harness", "defaults", "connector", "circuit", "cable", "branch", "bag")
ALIASES = {"colour": "tube_colour"}  # of an end: the colour of its tube


# ---------------------------------------------------------------- toml


NO_ALIASES: Mapping[str, str] = {}


def read_toml(data: bytes, source: str, folder: Path | None, settings: Settings, changes: Mapping[str, Any]) -> Harness:
    """Return the harness in the bytes of a harness file.

    ``folder`` is where ``circuits_from`` is looked for (None: nowhere, the text came by a pipe);
    ``changes`` are settings that win over the file's defaults. Raises LabelerError with every
    problem found.
    """
    tree, index = parsed(data, source)
    return _Reader(tree, index, source).harness(data, folder, settings, changes)


def parsed(data: bytes, source: str) -> tuple[dict[str, Any], dict[KeyPath, int]]:
    """Return the tables of a TOML text and the line of each place; raises LabelerError."""
    try:
        written = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise LabelerError(Problem(Where(source, line), "not UTF-8", "save the file as UTF-8")) from None
    try:
        return tomllib.loads(written), line_index(written.replace("\r\n", "\n"))
    except RecursionError:
        problem = Problem(Where(source), "nested too deeply", "a harness file has tables and lists, no more")
    except ValueError as error:
        found = re.search(r"\s*\(at line (\d+), column (\d+)\)", str(error))
        last = len(written.rstrip().splitlines())  # what never ends is found past the last line
        line = min(int(found[1]), last) if found else last if "end of document" in str(error) else 0
        message = re.sub(r"\s*\(at [^()]*\)$", "", str(error))
        place = f" at column {found[2]}" if found else ""
        problem = Problem(Where(source, line), f"no TOML: {message}{place}", "see examples for the form")
    raise LabelerError(problem) from None


class _Reader:
    """The tables of one file on their way to values; gathers problems, shares equal settings."""

    def __init__(self, tree: dict[str, Any], index: dict[KeyPath, int], source: str) -> None:
        self.tree = tree
        self.index = index
        self.source = source
        self.problems: list[Problem] = []
        self.shared: dict[tuple[int, tuple[tuple[str, Any], ...]], Settings] = {}

    def harness(self, data: bytes, folder: Path | None, settings: Settings, changes: Mapping[str, Any]) -> Harness:
        for key in self.tree:
            if key not in TOP:
                self._problem((key,), f"unknown table {key!r}", unknown(key, TOP))
        head = self._table(("harness",), self._one("harness"), HARNESS, ("name",)) or {}
        defaults = self._settings_of(("defaults",), self._one("defaults"), {})
        base = with_settings(with_settings(settings, defaults), changes)
        listed = self._listed(head.pop("circuits_from", ""), folder, base)
        circuits = listed.circuits + self._circuits(base)
        cables = self._cables(listed.cables)
        connectors = self._rows("connector", CONNECTOR, Connector)
        branches, bags = self._branches(base), self._bags(base)
        refuse(sorted(self.problems, key=lambda problem: (problem.where.source, problem.where.line)))
        return Harness(
            **head,
            settings=base,
            connectors=connectors or self._inferred(circuits, branches),
            circuits=circuits,
            cables=cables,
            branches=branches,
            bags=bags,
            notes=listed.notes,
            where=Where(self.source, line_of(self.index, ("harness",))),
            text=data + listed.text,
        )

    # ------------------------------------------------------------ tables

    def _rows(self, name: str, keys: Keys, make: Callable[..., Any]) -> tuple[Any, ...]:
        """Return what an array of tables without settings holds."""
        made = []
        for place, row in self._many((name,), self.tree):
            values = self._table(place, row, keys, ("id",))
            if values is not None:
                made.append(make(**values, where=self._where(place)))
        return tuple(made)

    def _cables(self, listed: tuple[Cable, ...]) -> tuple[Cable, ...]:
        """Return the cables of the wire list with those of the file: the same id is the same cable."""
        named = {cable.id: cable for cable in listed}
        added = []
        for cable in self._rows("cable", CABLE, Cable):
            known = named.pop(cable.id, None)
            one, other = (known and known.outside_mm, cable.outside_mm)
            if known and one and other and one != other:
                message = f"cable {cable.id}: outside {other:g} mm, {known.where} says {one:g} mm"
                self.problems.append(Problem(cable.where, message, "give it once"))
            added.append(replace(cable, outside_mm=other or one))
        return (*named.values(), *added)

    def _circuits(self, base: Settings) -> tuple[Circuit, ...]:
        made = []
        for place, row in self._many(("circuit",), self.tree):
            own, settings = self._split(place, row, CIRCUIT, base)
            values = self._table(place, own, CIRCUIT, ("id", "from", "to"))
            if values is not None:
                made.append(Circuit(**values, where=self._where(place), settings=settings))
        return tuple(made)

    def _branches(self, base: Settings) -> tuple[Branch, ...]:
        made = []
        for place, row in self._many(("branch",), self.tree):
            own, settings = self._split(place, row, BRANCH, base, ("end",))
            ends = self._ends((*place, "end"), own, settings or base, settings)
            own = {key: value for key, value in own.items() if key != "end"}
            values = self._table(place, own, BRANCH, ("id",))
            if values is not None:
                made.append(Branch(**values, ends=ends, where=self._where(place), settings=settings))
        return tuple(made)

    def _ends(
        self, place: KeyPath, branch: Mapping[str, Any], above: Settings, branch_settings: Settings | None
    ) -> tuple[BranchEnd, ...]:
        made = []
        for end, row in self._many(place, branch):
            own, settings = self._split(end, row, END, above, aliases=ALIASES)
            values = self._table(end, own, END, ("at",))
            if values is not None:
                own_or_branch = settings or branch_settings
                made.append(BranchEnd(**values, where=self._where(end), settings=own_or_branch))
        return tuple(made)

    def _bags(self, base: Settings) -> tuple[Bag, ...]:
        made = []
        for place, row in self._many(("bag",), self.tree):
            own, settings = self._split(place, row, BAG, base, ("contents",))
            contents = []
            for item, entry in self._many((*place, "contents"), own):
                found = self._table(item, entry, ITEM, ("item",))
                contents += [Item(**found)] if found is not None else []
            own = {key: value for key, value in own.items() if key != "contents"}
            values = self._table(place, own, BAG, ("id",))
            if values is not None:
                made.append(Bag(**values, contents=tuple(contents), where=self._where(place), settings=settings))
        return tuple(made)

    def _one(self, name: str) -> dict[str, Any]:
        """Return a table that stands once; missing is empty."""
        found = self.tree.get(name, {})
        if isinstance(found, dict):
            return found
        self._problem((name,), f"{name} must be a table", f"write [{name}] on a line of its own")
        return {}

    def _many(self, place: KeyPath, table: Mapping[str, Any]) -> list[tuple[KeyPath, dict[str, Any]]]:
        """Return the tables of an array with their places; missing is none."""
        name = str(place[-1])
        found = table.get(name, [])
        if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
            written = ".".join(str(step) for step in place if isinstance(step, str))
            fix = f"write [[{written}]] above each one"
            self._problem(place, f"{name} must be a list of tables", fix)
            return []
        return [((*place, number), row) for number, row in enumerate(found)]

    def _table(
        self, place: KeyPath, row: Mapping[str, Any], keys: Keys, needed: tuple[str, ...]
    ) -> dict[str, Any] | None:
        """Return field → checked value, or None where something is wrong with this table."""
        before = len(self.problems)
        values = {}
        for key, value in row.items():
            if key not in keys:
                self._problem((*place, key), f"unknown key {key!r}", unknown(key, keys))
                continue
            field, check = keys[key]
            try:
                values[field] = check(value)
            except ValueError as error:
                self._problem((*place, key), f"{key}: {error}")
        for key in needed:
            if key not in row:
                name = str(place[0] if len(place) < 3 else place[2])
                self._problem(place, f"{name} without {key!r}", f"add {key} = …")
        return values if len(self.problems) == before else None

    # ------------------------------------------------------------ settings

    def _split(
        self,
        place: KeyPath,
        row: Mapping[str, Any],
        keys: Keys,
        above: Settings,
        tables: tuple[str, ...] = (),
        aliases: Mapping[str, str] = NO_ALIASES,
    ) -> tuple[dict[str, Any], Settings | None]:
        """Part a table's own keys from the settings in it; None where it sets nothing."""
        choices = load_choices()
        level = str(place[-2])
        own = {key: value for key, value in row.items() if key in keys or key in tables}
        here = (key for key, choice in choices.items() if level in choice.levels)
        known = (*keys, *tables, *aliases, *here)
        given = {}
        for key, value in row.items():
            choice = choices.get(aliases.get(key, key))
            if choice and level in choice.levels and key not in own:
                given[key] = value
            elif choice and key not in own:
                fix = f"set it under [defaults] or on: {', '.join(choice.levels)}"
                self._problem((*place, key), f"{key} is not read in a {level}", fix)
            elif key not in own:
                self._problem((*place, key), f"unknown key {key!r}", unknown(key, known))
        changes = self._settings_of(place, given, aliases)
        return own, self._merged(above, changes) if changes else None

    def _settings_of(self, place: KeyPath, row: Mapping[str, Any], aliases: Mapping[str, str]) -> dict[str, Any]:
        """Return checked settings by key."""
        choices = load_choices()
        found = {}
        for key, value in row.items():
            choice = choices.get(aliases.get(key, key))
            if choice is None:
                self._problem((*place, key), f"unknown key {key!r}", unknown(key, choices))
                continue
            try:
                found[choice.key] = setting(choice, value)
            except ValueError as error:
                self._problem((*place, key), f"{key}: {error}")
        return found

    def _merged(self, above: Settings, changes: dict[str, Any]) -> Settings:
        """Return settings with changes; the same changes to the same settings are the same object."""
        key = (id(above), tuple(sorted(changes.items())))
        if key not in self.shared:
            self.shared[key] = with_settings(above, changes)
        return self.shared[key]

    # ------------------------------------------------------------ the rest

    def _listed(self, name: str, folder: Path | None, base: Settings) -> Harness:
        """Return what the wire list beside the file holds."""
        nothing = Harness("")
        if not name:
            return nothing
        place: KeyPath = ("harness", "circuits_from")
        within = Path(name)
        if folder is None or within.is_absolute() or ".." in within.parts or "\\" in name or ":" in name:
            fix = "name a file in the folder of this one"
            self._problem(place, f"circuits_from: {name!r} leaves the folder, or there is none", fix)
            return nothing
        path = folder / within
        if not path.resolve().is_relative_to(folder.resolve()):
            self._problem(place, f"circuits_from: {name!r} leads out of the folder", "copy the list here")
            return nothing
        try:
            data = file_bytes(path)
            if is_workbook(data):
                fix = f"write it as a harness file with labeler read {name} -o, or save the sheet as CSV"
                self._problem(place, f"circuits_from: {name!r} is a workbook, not a CSV", fix)
                return nothing
            listed = read_csv(data, path.name, "", base)
        except LabelerError as error:
            self.problems += error.problems
            return nothing
        if not listed.circuits:
            self._problem(place, f"circuits_from: {name!r} lists pins, not circuits", "give a list with one row a wire")
        return listed

    def _inferred(self, circuits: tuple[Circuit, ...], branches: tuple[Branch, ...]) -> tuple[Connector, ...]:
        """Return the connectors that circuits end at or, without circuits, the branches."""
        if circuits:
            return inferred_connectors(circuits)
        ends = {end.at: end.where for branch in reversed(branches) for end in reversed(branch.ends)}
        return tuple(Connector(id, where=where) for id, where in reversed(ends.items()))

    def _where(self, place: KeyPath) -> Where:
        return Where(self.source, line_of(self.index, place))

    def _problem(self, place: KeyPath, message: str, fix: str = "") -> None:
        self.problems.append(Problem(self._where(place), message, fix))
