"""TOML tables read strictly: every row against a form that says which keys there are, and of what kind.

A length's key ends in its unit, ``_mm`` or ``_in``; it is returned under ``_mm``. A text may carry
its own unit (``"1/4 in"``). What is wrong comes back as problems, beside what is right.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any
from unicodedata import category

from labeler.errors import LabelerError, Problem, Where, nearest

MM_PER_IN = 25.4
LARGEST = 1e5  # project choice: no figure of these tables comes near; 100 m as a length
MOST_BYTES = 2_000_000  # of a file; project choice: the longest shipped table has 23,000
LONGEST_TEXT = 1000  # project choice: the longest shipped one has 233
HIDDEN = ("Cc", "Cf", "Cs", "Zl", "Zp")  # Unicode's control, format, surrogate, line and paragraph signs
DECIMALS = 6  # of a converted length in mm: finer than any source prints

_FRACTION = re.compile(r"(?:(\d{1,4})[ -])?(\d{1,4})/([1-9]\d{0,3})")
_LENGTH = re.compile(r"([\d.][\d./ -]*?)\s*(mm|in|\")?")


@dataclass(frozen=True, slots=True)
class Key:
    """What may stand under a key. ``low`` and ``high`` limit numbers, in mm for a length."""

    kind: str  # text | texts | number | count | flag | length | rows
    needed: bool = False
    low: float = 0.0
    high: float = LARGEST


Form = Mapping[str, Key]


@dataclass(frozen=True, slots=True)
class Document:
    """A TOML file as read, with its lines, so that a problem can name one."""

    name: str
    values: Mapping[str, Any]
    lines: tuple[str, ...] = field(repr=False, default=())

    def at(self, word: str, after: int = 0) -> Where:
        """Return the first place after line ``after`` that has ``word`` as key, table or quoted text."""
        if not word:
            return Where(self.name, after)
        quoted = f'"{word}"'
        for number, line in enumerate(self.lines[after:], after + 1):
            if word in line and (quoted in line or _is_key(line, word)):
                return Where(self.name, number)
        return Where(self.name, after)


def _is_key(line: str, word: str) -> bool:
    """Whether a line begins with the word as a key or as the name of a table."""
    start = line.lstrip().lstrip("[")
    return start.startswith(word) and start[len(word) :].lstrip()[:1] in ("=", "]")


def shipped(folder: str, name: str) -> Traversable:
    """Return a file or folder inside the package."""
    from importlib import resources

    place = resources.files("labeler").joinpath(folder)
    return place.joinpath(name) if name else place


def load(path: Traversable | Path, name: str) -> Document:
    """Return a TOML file; raises LabelerError naming file and line where it is none."""
    try:
        text = _bytes_of(path, name).decode("utf-8-sig")
        values = tomllib.loads(text)
    except OSError as error:
        fix = "check that the file is there and may be read"
        raise LabelerError(Problem(Where(name), f"cannot be read: {error.strerror}", fix)) from None
    except UnicodeDecodeError as error:
        problem = Problem(Where(name), f"byte {error.start + 1} is not UTF-8", "save the file as UTF-8")
        raise LabelerError(problem) from None
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, or a number too long to read
        line = re.search(r"at line (\d+)", str(error))
        where = Where(name, int(line[1]) if line else 0)
        raise LabelerError(Problem(where, f"is no TOML: {error}", "correct the line")) from None
    return Document(name, values, tuple(text.splitlines()))


def _bytes_of(path: Traversable | Path, name: str) -> bytes:
    """Return what is in a file; a device may never end, and a pipe never begin."""
    if isinstance(path, Path) and path.exists() and not (path.is_file() or path.is_dir()):
        raise LabelerError(Problem(Where(name), "is a device or a pipe, not a file", "put a file there"))
    with path.open("rb") as file:
        data: bytes = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        what = f"has more than {MOST_BYTES:,} bytes"
        raise LabelerError(Problem(Where(name), what, "check that it is the file that is meant"))
    return data


def checked(
    row: object, form: Form, where: Where, name: str = "", at: Callable[[str], Where] | None = None
) -> tuple[dict[str, Any], list[Problem]]:
    """Return the row's values by the form's keys, and a problem for each that does not suit.

    Problems are placed ``where`` the row stands, or ``at`` the key's own place where that is known.
    """
    said = f"{name}: " if name else ""
    if not isinstance(row, dict):
        return {}, [Problem(where, f"{said}{shown(row)} is no table", f"give {', '.join(form)}")]
    values: dict[str, Any] = {}
    problems = []
    for written, value in row.items():
        key, place = _form_key(written, form), at(written) if at else where
        if key not in form:
            problems.append(unknown_key(said, written, form, place))
        elif key in values:
            problems.append(Problem(place, f"{said}{key} is given twice", "keep one of mm and inch"))
        else:
            try:
                values[key] = _value(form[key], value, inch=written != key)
            except ValueError as error:
                problems.append(Problem(place, f"{said}{written} {error}"))
    missing = [key for key, what in form.items() if what.needed and key not in row and _inch(key) not in row]
    problems += [Problem(where, f"{said}{key} is missing", f"add {key} = …") for key in missing]
    return values, problems


def unknown_key(said: str, key: str, known: Sequence[str] | Form, where: Where) -> Problem:
    """Return the problem of a key that the form lacks, with the nearest one that it has."""
    near = nearest(key, known)
    fix = f"did you mean {near!r}?" if near else f"known here: {', '.join(known)}"
    return Problem(where, f"{said}unknown key {key!r}", fix)


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


def _inch(key: str) -> str:
    return key.removesuffix("_mm") + "_in" if key.endswith("_mm") else key


def _form_key(written: str, form: Form) -> str:
    """Return the form's key for a written one: ``wall_in`` fills ``wall_mm``."""
    metric = written.removesuffix("_in") + "_mm"
    return metric if written.endswith("_in") and metric in form and form[metric].kind == "length" else written


def _value(what: Key, value: object, *, inch: bool) -> Any:
    if what.kind == "length":
        found = length(value, MM_PER_IN if inch else 1.0)
    elif what.kind in NUMBERS:
        found = NUMBERS[what.kind](value)
    else:
        return OTHERS[what.kind](value)
    if not what.low <= found <= what.high:
        unit = " mm" if what.kind == "length" else ""
        as_mm = f" ({found:g} mm)" if unit and (inch or isinstance(value, str)) else ""
        raise ValueError(f"is {shown(value)}{as_mm}; it must be {what.low:g} to {what.high:g}{unit}")
    return found


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
    unit = {None: mm, "mm": 1.0}.get(match[2], MM_PER_IN)
    part = _FRACTION.fullmatch(match[1])
    if part:
        return round((int(part[1] or 0) + int(part[2]) / int(part[3])) * unit, DECIMALS)
    try:
        return round(float(match[1]) * unit, DECIMALS)
    except ValueError:
        raise ValueError(f'is {shown(value)}; write a length such as 6.4, "6.4 mm" or "1/4 in"') from None


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


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"is {shown(value)}; it must be a text in quotes")
    if len(value) > LONGEST_TEXT:
        raise ValueError(f"has {len(value):,} signs; {LONGEST_TEXT:,} are the limit")
    if any(category(sign) in HIDDEN for sign in value):
        raise ValueError(f"is {shown(value)}; it has signs that do not show")
    return value.strip()


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise ValueError(f'is {shown(value)}; it must be a list of texts, ["…", "…"]')
    return tuple(_text(item) for item in value)


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"is {shown(value)}; it must be true or false")
    return value


def _rows(value: object) -> tuple[object, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError(f"is {shown(value)}; it must be a list of tables")
    return tuple(value)


NUMBERS: Mapping[str, Callable[[object], float]] = {"number": _number, "count": _count}
OTHERS: Mapping[str, Callable[[object], Any]] = {"text": _text, "texts": _texts, "flag": _flag, "rows": _rows}
