"""TOML read strictly, in one way: every table against a form that declares its keys.

A `Form` declares the keys of a table once: type, limits, meaning, example, default. From it come the checked values,
the suggestion for an unknown key, and the JSON Schema (`labeler.tables.json_schema`). Every problem names the line of
its key, and all problems of a file come at once. A length of a table ends in its unit, ``_mm`` or ``_in``, and is
returned under ``_mm``; a text may carry its own unit (``"1/4 in"``).
"""

from __future__ import annotations

import math
import re
import tomllib
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib.resources.abc import Traversable
from itertools import count
from pathlib import Path
from typing import Any
from unicodedata import category

from labeler.errors import LabelerError, Problem, SourceLocation, suggestion

MM_PER_IN = 25.4
LARGEST = 1e5  # project choice: no figure of these tables comes near; 100 m as a length
MOST_BYTES = 2_000_000  # of a file; project choice: the longest shipped table has 23,000
LONGEST_TEXT = 1000  # project choice: the longest shipped one has 233
HIDDEN = ("Cc", "Cf", "Cs", "Zl", "Zp")  # Unicode's control, format, surrogate, line and paragraph signs
DECIMALS = 6  # of a converted length in mm: finer than any source prints

_LENGTH = re.compile(r"(?:(?:(\d{1,4})[ -])?(\d{1,4})/([1-9]\d{0,3})|(\d+\.?\d*|\.\d+))\s*(mm|in|\")?")

KeyPath = tuple[str | int, ...]
Schema = dict[str, Any]

# ---------------------------------------------------------------- declarations


@dataclass(frozen=True, slots=True)
class Type:
    """What may stand under a key.

    ``read`` returns the value as the program holds it. It raises ValueError with what is wrong and, as its second
    argument where the text does not say it, what to do, with ``{path}`` for the place of the key; ``joint`` stands
    between the key and that text. ``schema`` returns what a JSON Schema says of the value. ``inches`` reads what is
    written under ``_in``.
    """

    name: str
    read: Callable[[Any, Key], Any]
    schema: Callable[[Key], Schema]
    unit: str = ""
    joint: str = " "
    inches: Type | None = None


@dataclass(frozen=True, slots=True)
class Key:
    """What may stand under one key. ``low`` and ``high`` limit numbers, in mm for a length: left out, 0 and `LARGEST`.

    ``meaning`` is one sentence. ``field`` names the value where it is not called as the key. ``form`` holds the keys
    of a table, or of each table of a list.
    """

    type: Type
    description: str = ""
    example: Any = None
    required: bool = False
    default: Any = None
    low: float | None = None
    high: float | None = None
    allowed: tuple[str, ...] = ()
    field: str = ""
    form: Form | None = None


Keys = Mapping[str, Key]


@dataclass(frozen=True, slots=True)
class Form:
    """The keys of a table.

    ``other`` is what stands under keys of any name. ``elsewhere`` are keys that belong to another table, each with the
    message and the next step. ``named_by`` is the key that names a table in messages (``""``: its place names it,
    None: nothing does); no two tables of a list have the same name. ``prefix`` makes the table a group whose messages
    carry the title of the table around it. ``missing`` and ``listed`` are how messages
    say that a key is missing, and how many known keys they list.
    """

    keys: Keys
    other: Key | None = None
    elsewhere: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    named_by: str | None = None
    prefix: str = ""  # of a group of keys that are written dotted: "sleeve."
    missing: str = "{title}{key} is missing"
    listed: int = 1000
    what: str = "key"


@dataclass(frozen=True, slots=True)
class Row:
    """A table as read: its checked values by field, and its problems without those of tables in it.

    ``place`` is where problems of the whole table stand: the key that names it, if it has one.
    """

    values: Mapping[str, Any]
    place: KeyPath
    title: str = ""
    problems: tuple[Problem, ...] = ()

    def rows(self, name: str) -> tuple[Row, ...]:
        """Return the tables of a list, none where the key is missing."""
        found: tuple[Row, ...] = self.values.get(name, ())
        return found

    def all_problems(self) -> Iterator[Problem]:
        """Yield its problems and those of all tables in it."""
        yield from self.problems
        for value in self.values.values():
            for row in (value,) if isinstance(value, Row) else value if isinstance(value, tuple) else ():
                if isinstance(row, Row):
                    yield from row.all_problems()


@dataclass(frozen=True, slots=True)
class Document:
    """A TOML file as parsed, with its text, so that a problem can name a line."""

    name: str
    values: Mapping[str, Any]
    text: str = field(repr=False, default="")

    def where(self, place: KeyPath = ()) -> SourceLocation:
        """Return the place of a key, a table or an element of a list; of what is missing the table around it."""
        lines = line_index(self.text)
        while place not in lines:
            place = place[:-1]
        return SourceLocation(self.name, lines[place])


# ---------------------------------------------------------------- files


def shipped(folder: str, name: str) -> Traversable:
    """Return a file or folder inside the package."""
    from importlib import resources

    place = resources.files("labeler").joinpath(folder)
    return place.joinpath(name) if name else place


def parse(data: bytes, name: str) -> Document:
    """Return the document in the bytes of a file; raises ValueError or RecursionError where they are no TOML."""
    text = data.decode("utf-8-sig")
    return Document(name, tomllib.loads(text), text.replace("\r\n", "\n"))


def load(path: Traversable | Path, name: str) -> Document:
    """Return a TOML file; raises LabelerError naming file and line where it is none."""
    try:
        return parse(_bytes_of(path, name), name)
    except OSError as error:
        fix = "check that the file is there and may be read"
        raise LabelerError(Problem(SourceLocation(name), f"cannot be read: {error.strerror}", fix)) from None
    except UnicodeDecodeError as error:
        problem = Problem(SourceLocation(name), f"byte {error.start + 1} is not UTF-8", "save the file as UTF-8")
        raise LabelerError(problem) from None
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, or a number too long to read
        line = re.search(r"at line (\d+)", str(error))
        where = SourceLocation(name, int(line[1]) if line else 0)
        raise LabelerError(Problem(where, f"is no TOML: {error}", "correct the line")) from None


def _bytes_of(path: Traversable | Path, name: str) -> bytes:
    """Return what is in a file; a device may never end, and a pipe never begin."""
    if isinstance(path, Path) and path.exists() and not (path.is_file() or path.is_dir()):
        raise LabelerError(Problem(SourceLocation(name), "is a device or a pipe, not a file", "put a file there"))
    with path.open("rb") as file:
        data: bytes = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        what = f"has more than {MOST_BYTES:,} bytes"
        raise LabelerError(Problem(SourceLocation(name), what, "check that it is the file that is meant"))
    return data


# ---------------------------------------------------------------- tables


def read_table(document: Document, form: Form, place: KeyPath = (), raw: Any = None, above: str = "") -> Row:
    """Return the table at a place (the whole document, if none is given) with its checked values and its problems.

    ``above`` is the title of the table around it.
    """
    table = document.values if raw is None else raw
    title = _title(form, place, table, above)
    said = f"{title}: " if title else ""
    if not isinstance(table, dict):
        problem = Problem(document.where(place), f"{said}{shown(table)} is no table", f"give {', '.join(form.keys)}")
        return Row({}, place, title, (problem,))
    own = (*place, form.named_by) if form.named_by and form.named_by in table else place
    values: dict[str, Any] = {}
    taken: set[str] = set()
    problems: list[Problem] = []
    for written, value in table.items():
        name, key = _key(written, form)
        here = (*place, written)
        if key is None:
            problems.append(_unknown(form, written, said, document.where(here)))
        elif name in taken:
            problems.append(Problem(document.where(here), f"{said}{name} is given twice", "keep one of mm and inch"))
        else:
            taken.add(name)
            try:
                found = key.type.read(value, key)
                values[key.field or name] = _nested(document, key, here, found, title) if key.form else found
            except ValueError as error:
                message, fix = (*error.args, "")[:2]
                text = f"{said}{form.prefix}{written}{key.type.joint}{message}"
                dotted = ".".join(step for step in here if isinstance(step, str))
                problems.append(Problem(document.where(here), text, fix.replace("{path}", dotted)))
    for name, key in form.keys.items():
        if key.required and name not in taken:
            last = next((step for step in reversed(place) if isinstance(step, str)), "")
            text = form.missing.format(title=said, key=name, table=last)
            problems.append(Problem(document.where(own), text, f"add {name} = …"))
    return Row(values, own, title, tuple(problems))


def _nested(document: Document, key: Key, place: KeyPath, found: Any, title: str) -> Row | tuple[Row, ...]:
    """Return the table, or the tables of a list, under a key."""
    form = key.form or Form({})
    if not isinstance(found, list):
        return read_table(document, form, place, found, title)
    rows = []
    names: set[str] = set()
    for number, raw in enumerate(found):
        row = read_table(document, form, (*place, number), raw, title)
        name = label(raw, form.named_by) if form.named_by else ""
        if name and name in names:
            twice = Problem(document.where(row.place), f"{row.title} stands here twice", "take one out")
            row = Row(row.values, row.place, row.title, (*row.problems, twice))
        names.add(name)
        rows.append(row)
    return tuple(rows)


def _title(form: Form, place: KeyPath, table: Any, above: str) -> str:
    """Return what messages call a table, ``""`` for nothing."""
    if form.prefix:
        return above
    if form.named_by is None or not place:
        return ""
    if form.named_by:
        return f"{above} {label(table, form.named_by)}".strip() or f"[[{place[-2]}]]"
    return place[-1] if isinstance(place[-1], str) else f"{place[-2]} {place[-1] + 1}"


def _key(written: str, form: Form) -> tuple[str, Key | None]:
    """Return name and key for a written one: ``wall_in`` fills ``wall_mm``."""
    key = form.keys.get(written)
    if key is None and written.endswith("_in"):
        metric = written.removesuffix("_in") + "_mm"
        found = form.keys.get(metric)
        if found and found.type.inches:
            return metric, replace(found, type=found.type.inches)
    return written, key or form.other


def _unknown(form: Form, key: str, said: str, where: SourceLocation) -> Problem:
    """Return the problem of a key that the form lacks, with the nearest one that it has."""
    if key in form.elsewhere:
        return Problem(where, *form.elsewhere[key])
    fix = _in_group(key, form) or unknown(key, form.keys, form.listed)
    return Problem(where, f"{said}unknown {form.what} {form.prefix + key!r}", fix)


def _in_group(key: str, form: Form) -> str:
    """Return the suggestion of a dotted key for one that is written without its group, or ``""``."""
    dotted = (
        f"{group}.{name}"
        for group, found in form.keys.items()
        if found.form and found.form.prefix
        for name in found.form.keys
        if key in (name, f"{group}_{name}")
    )
    found = list(dotted)
    return f"did you mean {' or '.join(map(repr, found))}?" if found else ""


def unknown(key: str, known: Iterable[str], most: int = 12) -> str:
    """Return the next step for an unknown key: the nearest known one, or the first of them."""
    names = list(known)
    return suggestion(key, names, f"known here: {', '.join(names[:most])}{' …' if len(names) > most else ''}")


def label(row: object, key: str) -> str:
    """Return the text under ``key`` that names a row not yet checked, "" where it has none."""
    found = row.get(key) if isinstance(row, dict) else None
    return found.strip() if isinstance(found, str) else ""


def shown(value: object) -> str:
    """Return a value as a message shows it: at most 40 characters."""
    try:
        text = repr(value)
    except ValueError:  # a whole number too long to print
        return "a number too long to print"
    return text if len(text) <= 40 else text[:39] + "…"


# ---------------------------------------------------------------- the types of tables


def length(value: object, mm: float = 1.0) -> float:
    """Return a length in mm from a number of units of ``mm``, or from a text with its unit.

    Raises ValueError for anything else.

    >>> length(0.25, 25.4), length("1/4 in"), length("1-1/2 in"), length("6.4 mm"), length("3")
    (6.35, 6.35, 38.1, 6.4, 3.0)
    """
    if not isinstance(value, str):
        return round(_number(value) * mm, DECIMALS)
    match = _LENGTH.fullmatch(value.strip())
    if match is None:
        raise ValueError(f'is {shown(value)}; write a length such as 6.4, "6.4 mm" or "1/4 in"')
    whole, over, under, decimal, unit = match.groups()
    found = float(decimal) if decimal else int(whole or 0) + int(over) / int(under)
    return round(found * {None: mm, "mm": 1.0}.get(unit, MM_PER_IN), DECIMALS)


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f"is {shown(value)}; it must be a number")
    if abs(value) > LARGEST or not math.isfinite(value):
        raise ValueError(f"is {shown(value)}; it must be within ±{LARGEST:g}")
    return float(value)


def _count(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"is {shown(value)}; it must be a whole number")
    return value


def _within(read: Callable[[Any], float], unit: str = "", converted: bool = False) -> Callable[[Any, Key], float]:
    """Return a reader of numbers within the limits of their key; ``converted``: they are written in another unit."""

    def within(value: Any, key: Key) -> float:
        found = read(value)
        low, high = 0.0 if key.low is None else key.low, LARGEST if key.high is None else key.high
        if not low <= found <= high:
            as_mm = f" ({found:g} mm)" if unit and (converted or isinstance(value, str)) else ""
            raise ValueError(f"is {shown(value)}{as_mm}; it must be {low:g} to {high:g}{unit}")
        return found

    return within


def _text(value: object, key: Key) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"is {shown(value)}; it must be a text in quotes")
    if len(value) > LONGEST_TEXT:
        raise ValueError(f"has {len(value):,} signs; {LONGEST_TEXT:,} are the limit")
    if any(category(sign) in HIDDEN for sign in value):
        raise ValueError(f"is {shown(value)}; it has signs that do not show")
    found = value.strip()
    if key.allowed and found not in key.allowed:
        raise ValueError(f"is {found!r}", f"use {', '.join(key.allowed)}")
    return found


def _texts(value: object, key: Key) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueError(f'is {shown(value)}; it must be a list of texts, ["…", "…"]')
    found = tuple(_text(item, Key(TEXT)) for item in value)
    for word in found:
        if key.allowed and word not in key.allowed:
            raise ValueError(f"names {word!r}", f"use {', '.join(key.allowed)}")
    return found


def _flag(value: object, _: Key) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"is {shown(value)}; it must be true or false")
    return value


def _sizes(value: object, _: Key) -> list[Any]:
    if not isinstance(value, list) or not value:
        raise ValueError(f"is {shown(value)}; it must be a list of tables")
    return value


def _entries(value: object, _: Key) -> list[Any]:
    if not isinstance(value, list):
        raise ValueError("is one table", "write [[{path}]]")
    return value


def limits(key: Key) -> Schema:
    """Return the limits of a key, and the words allowed there, as a JSON Schema writes them."""
    given = {"minimum": key.low, "maximum": key.high, "enum": list(key.allowed) or None}
    return {word: limit for word, limit in given.items() if limit is not None}


def _inches_schema(key: Key) -> Schema:
    slack = 10.0**-DECIMALS  # of rounding
    given = {"minimum": (key.low or 0.0) / MM_PER_IN - slack, "maximum": (key.high or LARGEST) / MM_PER_IN + slack}
    return {"type": ["number", "string"], **given}


TEXT = Type("text", _text, lambda key: {"type": "string", "pattern": r"\S", "maxLength": LONGEST_TEXT, **limits(key)})
TEXTS = Type("list of texts", _texts, lambda key: {"type": "array", "items": {"type": "string", **limits(key)}})
NUMBER = Type("number", _within(_number), lambda key: {"type": "number", **limits(key)})
COUNT = Type("whole number", _within(_count), lambda key: {"type": "integer", **limits(key)})
FLAG = Type("true or false", _flag, lambda _: {"type": "boolean"})
INCHES = Type("length", _within(lambda value: length(value, MM_PER_IN), " mm", True), _inches_schema, "mm")
LENGTH = Type(
    "length",
    _within(length, " mm"),
    lambda key: {"type": ["number", "string"], **limits(key)},
    "mm",
    inches=INCHES,
)
ANY = Type("value", lambda value, _: value, lambda _: {})
TABLE = Type("table", lambda value, _: value, lambda _: {"type": "object"})
ENTRIES = Type("list of tables", _entries, lambda _: {"type": "array"})
SIZES = Type("list of tables", _sizes, lambda _: {"type": "array", "minItems": 1})

# ---------------------------------------------------------------- on which line each key stands

_KEY = r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'"""
_PART = re.compile(_KEY)
_DOTTED = re.compile(rf"(?:{_KEY})(?:[ \t]*\.[ \t]*(?:{_KEY}))*")
_PASSED = re.compile(r"(?:[ \t\r\n=,]+|#[^\n]*)*")  # between keys and values
_CLOSING = re.compile(r"[ \t]*\]{1,2}")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.S,
)
_BARE = re.compile(r"[^\s,\]}#][^,\]}#\n]*")


class _Scan:
    """One pass over the text of a TOML file; ``lines`` fills up."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.breaks = [found.start() for found in re.finditer("\n", text)]
        self.lines: dict[KeyPath, int] = {(): 1}
        self.counts: dict[KeyPath, int] = {}  # arrays of tables: how many so far
        table: KeyPath = ()
        while sign := self._sign():
            if sign == "[":
                table = self._header()
            else:
                self._pair(table)

    def _take(self, pattern: re.Pattern[str]) -> str:
        """Return what stands here, a sign at least, and go past it."""
        start, found = self.at, pattern.match(self.text, self.at)
        self.at = found.end() if found else start + 1
        return self.text[start : self.at]

    def _sign(self) -> str:
        """Return the first sign of the next key or value, or what closes a list or table, "" at the end."""
        self._take(_PASSED)
        return self.text[self.at : self.at + 1]

    def _keys(self) -> list[str]:
        """Return the parts of a dotted key."""
        return [_plain(key) for key in _PART.findall(self._take(_DOTTED))] or [""]

    def _note(self, path: KeyPath, at: int) -> None:
        """Keep the line of this place, unless the path was met before."""
        self.lines.setdefault(path, bisect_left(self.breaks, at) + 1)

    def _header(self) -> KeyPath:
        """Read ``[a.b]`` or ``[[a.b]]``; an array of tables opens its next element, and is known by its last one."""
        start, many = self.at, self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        self._sign()
        path: KeyPath = ()
        keys = self._keys()
        for place, key in enumerate(keys, 1):
            path += (key,)
            if many and place == len(keys):
                self.counts[path] = self.counts.get(path, 0) + 1
                self._note(path, start)
            if path in self.counts:
                path += (self.counts[path] - 1,)
        self._take(_CLOSING)
        self._note(path, start)
        return path

    def _pair(self, path: KeyPath) -> None:
        """Read ``key = value``."""
        start = self.at
        for key in self._keys():
            path += (key,)
            self._note(path, start)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        sign = self._sign()
        if sign not in ("[", "{"):
            self._take(_STRING if sign in ("'", '"') else _BARE)
            return
        self.at += 1
        for place in count():
            if self._sign() in "]}":  # or the end
                break
            if sign == "{":
                self._pair(path)
            else:
                self._note((*path, place), self.at)
                self._value((*path, place))
        self.at += 1


def _plain(key: str) -> str:
    """Return a key without its quotes."""
    if key.startswith("'"):
        return key[1:-1]
    if not key.startswith('"'):
        return key
    return next(iter(tomllib.loads(f"{key} = 0"))) if "\\" in key else key[1:-1]


@lru_cache(maxsize=2)
def line_index(text: str) -> Mapping[KeyPath, int]:
    """Return the line, from 1, of every table, key and array element: ``("circuit", 3, "size")`` → 12."""
    return _Scan(text).lines
