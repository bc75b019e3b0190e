"""The keys of a harness file: for each table, key → (field of the value, check of what it is given).

A check returns the value as `model` holds it, or raises `ValueError` with what to write instead.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from labeler.model import Pin
from labeler.read.values import (
    cable_outside,
    checked_cavity,
    connector_outside,
    cut_length,
    length,
    number,
    pin,
    shown,
    size,
    unknown,
    wire_outside,
    word,
)

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
