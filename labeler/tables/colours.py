"""Colour codes of wires and tubes: IEC 60757, DIN 47100 and the numeric code.

A word that is no code is no error here: the functions return None or an empty tuple, and the
caller keeps the word as written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from labeler.errors import refuse
from labeler.tables.document import COUNT, ENTRIES, TABLE, TEXT, TEXTS, Form, Key, Row, load, read_table, shipped

_PAIR = re.compile(r"[A-Za-z]{2}")


@dataclass(frozen=True, slots=True)
class Colour:
    """One base colour; ``srgb`` is red, green, blue, 0 to 255, chosen by the project."""

    code: str
    english: str
    german: str
    srgb: tuple[int, int, int]


def _needed(meaning: str, example: str) -> Key:
    return Key(TEXT, meaning, example, required=True)


CODES = Key(TEXTS, "codes in the order of the standard", ["BK", "BN"], required=True)
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
DIGITS = Form({"source": _needed("where it is from", "MIL-STD-681"), "order": CODES})
SEQUENCE = Form(
    {
        "source": _needed("where it is from", "DIN 47100"),
        "repeats_from": Key(COUNT, "number at which the sequence starts again", 45, required=True, low=2),
        "sequence": CODES,
    }
)
COLOURS = Form(
    {
        "colour": Key(ENTRIES, "a base colour", required=True, form=BASE),
        "combination": Key(TABLE, "the combination that stands against table order", required=True, form=COMBINATION),
        "digits": Key(TABLE, "the numeric code, 0 to 9", required=True, form=DIGITS),
        "din_47100": Key(TABLE, "cores of a cable by their number", required=True, form=SEQUENCE),
        "words": Key(TABLE, "further words, English and German", required=True, form=WORDS),
        "german": Key(TABLE, "two letters of German diagrams", required=True, form=WORDS),
    }
)


@cache
def base_colours() -> Mapping[str, Colour]:
    """Return the base colours by code, in the order of IEC 60757's table."""
    return {row.values["code"]: _colour(row.values) for row in _table().rows("colour")}


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


def join_colours(codes: Sequence[str]) -> str:
    """Return base colours as one IEC 60757 code, in table order; green with yellow is ``GNYE``.

    Not for a striped wire by DIN 47100, whose base colour stands first whatever the table says.
    Raises KeyError for a code that is no base colour.

    >>> join_colours(["BU", "RD"]), join_colours(["YE", "GN"]), join_colours(["WH", "GN"])
    ('RDBU', 'GNYE', 'GNWH')
    """
    upper = [code.upper() for code in codes]
    protective = str(_of("combination")["protective"])
    if set(upper) == set(split_colours(protective)):
        return protective
    order = list(base_colours())
    places = {code: order.index(base_colours()[code].code) for code in upper}
    return "".join(sorted(upper, key=places.__getitem__))


def din_47100(number: int, *, repeats: bool = False) -> str:
    """Return the colour code of a core by its number in a DIN 47100 cable, base colour first.

    Without repetition the numbers go from 1 to 60; with it, any number: 45 starts again with
    white. Raises ValueError outside.

    >>> din_47100(13), din_47100(45), din_47100(45, repeats=True)
    ('WHGN', 'WHBNBK', 'WH')
    """
    table = _of("din_47100")
    sequence = table["sequence"]
    if repeats and number > 0:
        number = (number - 1) % (table["repeats_from"] - 1) + 1
    if not 1 <= number <= len(sequence):
        raise ValueError(f"core {number} is outside 1 to {len(sequence)} of DIN 47100")
    return str(sequence[number - 1])


def digit_colour(digit: int) -> str:
    """Return the colour of a digit in the numeric code of MIL-STD-681, 0 black to 9 white.

    Raises ValueError outside 0 to 9.

    >>> digit_colour(0), digit_colour(7), digit_colour(9)
    ('BK', 'VT', 'WH')
    """
    order = _of("digits")["order"]
    if not 0 <= digit < len(order):
        raise ValueError(f"{digit} is no digit of the numeric colour code, 0 to 9")
    return str(order[digit])


TABLES = ("words", "german", "digits")


def translated(text: str, table: str) -> str | None:
    """Return a colour written by another table as IEC 60757 codes, base first, None where a part is not in it.

    ``words`` are English and German names, ``german`` the two letters of German diagrams,
    ``digits`` the numeric code of MIL-STD-681.

    >>> translated("white/red", "words"), translated("gr-sw", "german"), translated("9-6", "digits")
    ('WHRD', 'GYBK', 'WHBU')
    >>> translated("bl", "words"), translated("dark green", "words")
    (None, None)
    """
    codes = _codes_of(table)
    parts = [part for part in re.split(r"[\s/,;+-]+", text.strip().casefold()) if part]
    if table != "words" and len(parts) == 1:
        width = 1 if table == "digits" else 2
        parts = [parts[0][i : i + width] for i in range(0, len(parts[0]), width)]
    found = [codes.get(part) for part in parts]
    return "".join(filter(None, found)) if found and all(found) else None


@cache
def _codes_of(table: str) -> Mapping[str, str]:
    """Return word → code of a table to translate from."""
    if table == "digits":
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
    red, green, blue = (_linear(value / 255) for value in base_colours()[parts[0]].srgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)


def _colour(row: Mapping[str, str]) -> Colour:
    red, green, blue = bytes.fromhex(row["srgb"].removeprefix("#"))
    return Colour(row["code"], row["english"], row["german"], (red, green, blue))


def _of(table: str) -> Mapping[str, Any]:
    row: Row = _table().values[table]
    return row.values


@cache
def _table() -> Row:
    read = read_table(load(shipped("data", "colours.toml"), "colours.toml"), COLOURS)
    refuse(read.all_problems())
    return read
