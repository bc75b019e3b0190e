"""Single values as people write them: lengths, wire sizes, pins, settings; units go no further in.

Every function here returns the value or raises `ValueError` with a text that names what was found,
the limit, and what to write instead. The caller adds the place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from math import inf, isfinite
from typing import Any

from labeler.errors import suggestion
from labeler.model import Pin, Settings
from labeler.tables.catalogue import SettingSpec

MM_PER = {
    "mm": 1.0,
    "millimetre": 1.0,
    "millimeter": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "metre": 1000.0,
    "meter": 1000.0,
    "in": 25.4,  # exact: international inch
    "inch": 25.4,
    "inches": 25.4,
    "zoll": 25.4,
    '"': 25.4,
    "″": 25.4,
    "ft": 304.8,  # 12 in
    "feet": 304.8,
    "'": 304.8,
}
LONGEST_MM = 1e6  # project spec: 1 km; anything longer is a slip of the unit
LARGEST_MM2 = 400.0  # project spec: above the largest metric size of vehicle and panel wire
COMMON_MM2 = (1, 2, 3, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240, 300, 400)  # IEC 60228, memory
SIZE_ADVICE = "write for example 20 AWG or 0.5 mm2"
LONGEST_TEXT = 100  # project spec: no single quantity needs more characters

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d{1,3})?", re.I)
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}([.,]\d{3})*,\d{3}([.,]\d+)?")
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:(?:\.\d{3})+,\d+|(?:,\d{3})+\.\d+|(?:\.\d{3}){2,}|(?:[ '\u00a0\u202f]\d{3})+)")
_POINTED = re.compile(r"[1-9]\d{0,2}\.\d{3}(\s*[a-z]+)?", re.I)
_KINDRED = re.compile(r"(?P<size>.*?\d\s*(?:mm\s*(?:2|²|\^2)|qmm|awg))(?:[ ,]+[^\W\d]+)*", re.I)
_LENGTH = re.compile(r"(?P<value>.*?)\s*(?P<unit>[a-z]+\.?|[\"″'])?", re.I | re.S)
_FRACTION = re.compile(r"(?:(\d{1,4})[\s-]+)?(\d{1,4})\s*/\s*(\d{1,4})")
_BRACKETS = re.compile(r"\s*\([^()]*\)\s*$")
_MANY = re.compile(r"\d+\s*[x×*]\s*\d", re.I)
_AWG = re.compile(r"(?:AWG\s*#?\s*(?P<a>{0})|#?\s*(?P<b>{0})\s*-?\s*(?:AWG|GA|GAUGE))".format(r"\d/0|0{1,4}|\d+"), re.I)
_MM2 = re.compile(r"(.+?)\s*(?:mm\s*(?:2|²|\^2)|qmm|sq\.?\s*mm|mm\s*q)", re.I)
_AUGHT = re.compile(r"([1-4])/0|0{1,4}")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")


def number(value: object) -> float:
    """Return a finite number from a number or a text with a decimal point or comma.

    Raises ValueError for anything else, also for a comma that may part thousands (``1,500``).
    """
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueError(f"{shown(value)} is no number")
    text = value.strip() if isinstance(value, str) else ""
    if _GROUPED.fullmatch(text):  # thousands beyond doubt: 1.234,5 and 1,234.5 and 1.234.567 and 1 234
        sign = max(",.", key=text.rfind) if "," in text and "." in text else None
        whole, _, fraction = text.rpartition(sign) if sign else (text, "", "")
        return float(re.sub(r"[^\d+-]", "", whole) + (f".{fraction}" if fraction else ""))
    if _THOUSANDS.fullmatch(text):
        raise ValueError(f"{shown(value)} may be thousands or decimals; write it without the comma")
    if isinstance(value, str) and not _NUMBER.fullmatch(text):
        raise ValueError(f"{shown(value)} is no number; write for example 6.4")
    try:
        found = float(text.replace(",", ".") or value)
    except OverflowError:
        found = inf
    if not isfinite(found):
        raise ValueError(f"{shown(value)} is not a finite number")
    return found


def is_thousands_or_decimals(text: str) -> bool:
    """Return whether a point stands before exactly three digits, as in ``1.500``."""
    return bool(_POINTED.fullmatch(text.strip()))


def stated_size(text: str) -> str:
    """Return the size that a text states before words about the wire (``10mm2 rigid``), ``""`` for none."""
    match = _KINDRED.fullmatch(text.strip()) if len(text) <= LONGEST_TEXT else None
    try:
        return _stated_size(match["size"]) if match else ""
    except ValueError:
        return ""


def length(value: object, unit: str = "mm", *, positive: bool = True) -> float:
    """Return a length in mm.

    Parameters: ``value`` a number, or a text such as ``6.4 mm``, ``1/4 in``, ``0,35``; ``unit`` of
    a bare number; ``positive``: zero is refused too, else only what is below zero.
    Raises ValueError, also above 1 km.
    """
    if isinstance(value, str):
        match = _LENGTH.fullmatch(value.strip()) if len(value) <= LONGEST_TEXT else None
        factor = MM_PER.get((match["unit"] or unit).rstrip(".").casefold()) if match and match["value"] else None
        if match is None or factor is None:
            raise ValueError(f"{shown(value)} is no length; write for example 6.4 mm or 1/4 in")
        found = _fraction(match["value"]) * factor
    else:
        found = number(value) * MM_PER[unit]
    if found < 0 or (positive and found == 0):
        limit = "above 0" if positive else "0 or more"
        raise ValueError(f"{shown(value)} must be {limit}")
    if found > LONGEST_MM:
        raise ValueError(f"{shown(value)} is longer than 1 km; check the unit")
    return found


def length_within(low: float, high: float) -> Callable[..., float]:
    """Return a reader of lengths, as `length`, that refuses what lies outside ``low`` to ``high`` mm."""

    def read(value: object, unit: str = "mm") -> float:
        found = length(value, unit, positive=low > 0)
        if not low <= found <= high:
            raise ValueError(f"{shown(value)} is outside {low:g} to {high:g} mm; check the unit")
        return found

    return read


# Project choices: outside them stands a slip of the unit or the key, not a harness. Least and greatest, mm.
WIRE_MM = (0.05, 200.0)  # the tables of wire end at 200 as well
CABLE_MM = (0.1, 500.0)
CONNECTOR_MM = (0.1, 1000.0)
CUT_MM = (3.0, 1000.0)  # as the settings of cut lengths


def _fraction(text: str) -> float:
    """Return the number in ``1/4``, ``1 1/4``, ``1-1/4`` or any text that `number` takes."""
    match = _FRACTION.fullmatch(text)
    if match is None:
        return number(text)
    if int(match[3]) == 0:
        raise ValueError(f"{shown(text)} divides by 0")
    return int(match[1] or 0) + int(match[2]) / int(match[3])


def size(value: object) -> str:
    """Return a wire size as ``20 AWG``, ``1/0 AWG`` or ``0.5 mm2``.

    A bare number from 4 to 40 is a gauge, one with decimals an area; 1, 2 and 3 may be either and
    are refused. Raises ValueError with what to write instead.
    """
    text = _size_text(value)
    if not text:
        raise ValueError(f"the size is empty; {SIZE_ADVICE}")
    kind = gauge_kind([text])
    if not kind and not _stated_size(text):
        _size_number(text)
        raise ValueError(f"size {shown(value)} may be AWG or mm2; write {text} AWG or {text} mm2")
    return size_of_kind(text, kind)


def size_of_kind(value: object, kind: str) -> str:
    """Return a size where ``kind`` (``AWG`` or ``mm2``) holds for values that do not say theirs."""
    text = _size_text(value)
    stated = _stated_size(text)
    if not stated:
        _size_number(text)
    return stated or (_awg(text) if kind == "AWG" else _mm2(text))


def gauge_kind(values: Iterable[str]) -> str:
    """Decide over a whole column what its bare numbers are: ``AWG``, ``mm2`` or ``""`` (cannot tell).

    1/0 to 4/0, and whole numbers that are no metric size, speak for AWG; decimals, and numbers
    above 40, for mm2. Where neither speaks (4, 6, 10, 16 …), whole numbers from 4 to 40 are AWG.
    Values that are no number, or that state their unit, do not count.
    """
    texts = [value.strip() for value in values]
    found = [amount for text in texts if is_bare_size(text) and (amount := _bare(text)) > 0]
    awg = any(value.is_integer() and 4 <= value <= 40 and value not in COMMON_MM2 for value in found)
    awg |= any(_AUGHT.fullmatch(text) and text != "0" for text in texts)
    mm2 = any(not value.is_integer() or value > 40 for value in found)
    if not awg and not mm2:
        awg = all(4 <= value <= 40 for value in found)
    return "" if awg == mm2 else "AWG" if awg else "mm2"


def is_bare_size(value: str) -> bool:
    """Return whether a size is only a number, which leaves open what it is in: ``20``, ``0.75``."""
    text = value.strip()
    return bool(_NUMBER.fullmatch(text)) and (text == "0" or not _AUGHT.fullmatch(text))


def _bare(text: str) -> float:
    """Return the number of a bare size, 0 where it cannot be told."""
    try:
        return number(text)
    except ValueError:
        return 0.0


def _size_text(value: object) -> str:
    known = isinstance(value, (str, int, float)) and not isinstance(value, bool)
    text = value.strip() if isinstance(value, str) else f"{number(value):g}" if known else ""
    if not known or len(text) > LONGEST_TEXT:
        raise ValueError(f"{shown(value)} is no wire size; {SIZE_ADVICE}")
    return _BRACKETS.sub("", text) or text


def _stated_size(text: str) -> str:
    """Return the canonical size of a text that says AWG or mm2 itself, else ``""``."""
    match = _AWG.fullmatch(text)
    if match or (_AUGHT.fullmatch(text) and text != "0"):
        return _awg(match["a"] or match["b"] if match else text)
    if _MANY.match(text):
        raise ValueError(f"{shown(text)} names several cores; give the size of this one, such as 0.75 mm2")
    match = _MM2.fullmatch(text)
    return _mm2(match[1]) if match else ""


def _awg(text: str) -> str:
    aught = _AUGHT.fullmatch(text)
    if aught:
        return f"{aught[1] or len(text)}/0 AWG"
    gauge = _size_number(text)
    if not gauge.is_integer() or not 1 <= gauge <= 40:
        raise ValueError(f"{shown(text)} is no gauge; AWG goes from 4/0 to 40, or write {text} mm2")
    return f"{int(gauge)} AWG"


def _mm2(text: str) -> str:
    area = _size_number(text)
    if not 0 < area <= LARGEST_MM2:
        raise ValueError(f"{shown(text)} mm2 is no conductor area; it must be above 0 and at most 400 mm2")
    return f"{area:g} mm2"


def _size_number(text: str) -> float:
    """Return the number in a size; raises ValueError unless it is above 0 (``00`` is a gauge)."""
    try:
        found = number(text)
    except ValueError:
        raise ValueError(f"{shown(text)} is no wire size; {SIZE_ADVICE}") from None
    if found <= 0:
        raise ValueError(f"wire size {shown(text)} must be above 0; {SIZE_ADVICE}")
    return found


def pin(text: str) -> Pin:
    """Return the pin of ``J4:2``, split at the last colon; without a colon the connector alone.

    Raises ValueError where a part is empty or the cavity is 0 or below.
    """
    connector, colon, cavity = text.strip().rpartition(":")
    if not colon:
        return Pin(word(cavity))
    if not connector.strip() or not cavity.strip():
        raise ValueError(f"{shown(text)} must be connector:cavity, such as J4:2")
    return Pin(word(connector), checked_cavity(cavity.strip()))


def checked_cavity(text: str) -> str:
    """Return a cavity's name as it stands; raises ValueError for 0 and negative numbers."""
    digits = text.lstrip("-")
    if digits.isdecimal() and (text.startswith("-") or not digits.strip("0")):
        raise ValueError(f"cavity {shown(text)} cannot be; cavities count from 1")
    return word(text)


def word(value: object) -> str:
    """Return a name without blanks around it; raises ValueError if empty or with control characters."""
    if not isinstance(value, str):
        raise ValueError(f"{shown(value)} must be a text; write it in quotes")
    text = value.strip()
    if not text:
        raise ValueError("the name is empty")
    if _CONTROL.search(text):
        raise ValueError(f"{shown(value)} has control characters; take them out")
    return text


def setting(spec: SettingSpec, value: object) -> Any:
    """Return one setting's value as `Settings` holds it, checked by its kind and its limits.

    Lengths in mm, fractions also as ``10 %``, angles also as ``90 deg``, words and several lengths
    also as one text with commas. Raises ValueError naming the limit or the words allowed.
    """
    if spec.optional and value == "":
        return None
    if spec.type == "boolean":
        return _boolean(value)
    if spec.type not in ("string", "list"):
        return _lengths(spec, value) if spec.type == "lengths" else _within(spec, spec.type, value)
    if isinstance(value, str) and not value.isprintable():
        raise ValueError(f"{shown(value)} holds a sign that cannot be printed; write it anew")
    if spec.type == "string":
        return _one_word(spec, value)
    given = value.split(",") if isinstance(value, str) else value
    if not isinstance(given, (list, tuple)) or not given:
        raise ValueError(f"{shown(value)} must be one or more words")
    return tuple(_one_word(spec, item) for item in given)


def _boolean(value: object) -> bool:
    found = {"true": True, "false": False}.get(value.strip().casefold()) if isinstance(value, str) else value
    if not isinstance(found, bool):
        raise ValueError(f"{shown(value)} must be true or false")
    return found


def _lengths(spec: SettingSpec, value: object) -> tuple[float, ...]:
    """Return lengths in mm, each once, shortest first; an empty list or text is none."""
    given = [one for one in value.split(",") if value.strip()] if isinstance(value, str) else value
    each = given if isinstance(given, (list, tuple)) else [given]
    return tuple(sorted({_within(spec, "length", one) for one in each}))


def _within(spec: SettingSpec, kind: str, value: object) -> float:
    low = spec.min if spec.min is not None else -LONGEST_MM
    high = spec.max if spec.max is not None else LONGEST_MM
    given = value.strip() if isinstance(value, str) else value
    if kind == "angle" and isinstance(given, str):
        given = re.sub(r"\s*(deg|°)$", "", given)
    if kind == "length":
        found = length(value, positive=False)
    elif kind == "fraction" and isinstance(given, str) and given.endswith("%"):
        found = number(given[:-1]) / 100
    else:
        found = number(given)
    if not low <= found <= high:
        raise ValueError(f"{shown(value)} is outside {low:g} to {high:g}")
    return found


def _one_word(spec: SettingSpec, value: object) -> str:
    if value == "" and spec.default == "":
        return ""
    found = word(value)
    if spec.allowed and found not in spec.allowed:
        hint = suggestion(found, spec.allowed, f"use one of {', '.join(spec.allowed)}")
        raise ValueError(f"{shown(value)} is unknown; {hint}")
    return found


def with_settings(settings: Settings, changes: Mapping[str, Any]) -> Settings:
    """Return the settings with checked changes; a covering that is named ends an inherited wall."""
    if "covering" in changes and "covering_wall_mm" not in changes:
        changes = {**changes, "covering_wall_mm": None}
    return settings.changed(changes)


def shown(value: object) -> str:
    """Return a value as a message shows it, cut to 40 characters."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**30:
        return "a number of more than 30 digits"
    try:
        text = repr(value)
    except ValueError:  # a whole number too long to print, deep in a list
        return "this value"
    return text if len(text) <= 42 else text[:39] + "…'"
