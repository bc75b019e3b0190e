"""Colour codes of wires and tubes: IEC 60757, the words for them, and other codes.

A word that is no code is no error here: the functions return None or an empty tuple, and the
caller keeps the word as written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from labeler.errors import refuse
from labeler.tables.document import ENTRIES, TABLE, TEXT, TEXTS, Form, Key, Row, load, read_table, shipped

_PAIR = re.compile(r"[A-Za-z]{2}")


@dataclass(frozen=True, slots=True)
class Colour:
    """One base colour; ``srgb`` is red, green, blue, 0 to 255, chosen by the project."""

    code: str
    english: str
    german: str
    srgb: tuple[int, ...]


def _needed(meaning: str, example: str) -> Key:
    return Key(TEXT, meaning, example, required=True)


WORDS = Form({}, other=Key(TEXT, "code of the word", "GY"))
BASE = Form(
    {
        "code": _needed("its code", "BK"),
        "english": _needed("its English name", "black"),
        "german": _needed("its German name", "schwarz"),
        "srgb": _needed("red, green and blue, for judging contrast", "#101010"),
    },
    named_by="code",
)
COMBINATION = Form(
    {
        "protective": _needed("its code", "GNYE"),
        "english": _needed("its English name", "green-and-yellow"),
        "german": _needed("its German name", "grün-gelb"),
    }
)
DIGITS = Form(
    {
        "source": _needed("where it is from", "MIL-STD-681"),
        "order": Key(TEXTS, "codes of the digits 0 to 9", ["BK", "BN"], required=True),
    }
)
COLOURS = Form(
    {
        "colour": Key(ENTRIES, "a base colour", required=True, form=BASE),
        "combination": Key(TABLE, "the combination that stands against table order", required=True, form=COMBINATION),
        "digits": Key(TABLE, "the numeric code, 0 to 9", required=True, form=DIGITS),
        "words": Key(TABLE, "further words, English and German", required=True, form=WORDS),
        "german": Key(TABLE, "two letters of German diagrams", required=True, form=WORDS),
    }
)


@cache
def base_colours() -> Mapping[str, Colour]:
    """Return the base colours by code, in the order of IEC 60757's table."""
    return {
        row["code"]: Colour(row["code"], row["english"], row["german"], tuple(bytes.fromhex(row["srgb"].lstrip("#"))))
        for row in (row.values for row in _table().rows("colour"))
    }


@lru_cache(maxsize=1024)
def split_colours(code: str) -> tuple[str, ...]:
    """Return the base colours of a code in the order written, ``()`` where it is none.

    Lower case means the same (IEC 60757); ``/`` or ``-`` between two codes is passed over.

    >>> split_colours("RDBU"), split_colours("wh/gn"), split_colours("GNYE"), split_colours("beige")
    (('RD', 'BU'), ('WH', 'GN'), ('GN', 'YE'), ())
    """
    letters = re.sub(r"(?<=\w)[/-](?=\w)", "", code.strip())
    parts = tuple(part.upper() for part in _PAIR.findall(letters))
    whole = letters.isascii() and "".join(parts) == letters.upper()
    return parts if whole and all(part in base_colours() for part in parts) else ()


@lru_cache(maxsize=1024)
def colour_name(code: str, language: str = "english") -> str | None:
    """Return the words for a code (``english`` or ``german``), None where it is no code.

    >>> colour_name("GNYE"), colour_name("WHGN"), colour_name("TQ", "german"), colour_name("beige")
    ('green-and-yellow', 'white/green', 'türkis', None)
    """
    parts = split_colours(code)
    combination = _of("combination")
    if "".join(parts) == combination["protective"]:
        return str(combination[language])
    return "/".join(getattr(base_colours()[part], language) for part in parts) or None


def translated(text: str, table: str) -> str | None:
    """Return a colour written by another table as IEC 60757 codes, base first, None where a part is not in it.

    ``names`` are English and German names, ``german`` the two letters of German diagrams,
    ``mil-std-681`` the numeric code of that standard.

    >>> translated("white/red", "names"), translated("gr-sw", "german"), translated("9-6", "mil-std-681")
    ('WHRD', 'GYBK', 'WHBU')
    >>> translated("bl", "names"), translated("dark green", "names")
    (None, None)
    """
    codes = _codes_of(table)
    parts = [part for part in re.split(r"[\s/,;+-]+", text.strip().casefold()) if part]
    if table != "names" and len(parts) == 1:
        width = 1 if table == "mil-std-681" else 2
        parts = [parts[0][i : i + width] for i in range(0, len(parts[0]), width)]
    found = [codes.get(part) for part in parts]
    return "".join(filter(None, found)) if found and all(found) else None


@cache
def _codes_of(table: str) -> Mapping[str, str]:
    """Return word → code of a table to translate from."""
    if table == "mil-std-681":
        return {str(digit): code for digit, code in enumerate(_of("digits")["order"])}
    if table == "german":
        return _of("german")
    base = base_colours().values()
    names = {word.casefold(): colour.code for colour in base for word in (colour.english, colour.german)}
    return {**names, **_of("words")}


def luminance(code: str) -> float | None:
    """Return the relative luminance of a code's base colour, 0 black to 1 white; None for no code.

    Parameters
    ----------
    code : str
        IEC 60757 code; of several colours the first, the base, counts.

    Returns
    -------
    float or None
        Relative luminance [-]. The sRGB values are the project's choice, so two colours' contrast
        is a guide, not a measurement.

    References
    ----------
    IEC 61966-2-1 (sRGB) transfer function and Rec. 709 weights, from memory.
    """
    parts = split_colours(code)
    if not parts:
        return None
    shares = (value / 255 for value in base_colours()[parts[0]].srgb)
    red, green, blue = (x / 12.92 if x <= 0.04045 else float(((x + 0.055) / 1.055) ** 2.4) for x in shares)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _of(table: str) -> Mapping[str, Any]:
    row: Row = _table().values[table]
    return row.values


@cache
def _table() -> Row:
    read = read_table(load(shipped("data", "colours.toml"), "colours.toml"), COLOURS)
    refuse(read.all_problems())
    return read
