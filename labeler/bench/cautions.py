"""The cautions of the bench sheet, each with where it is from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from labeler.errors import refuse
from labeler.tables import Form, Key, checked, load, shipped


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning with where it is from."""

    about: str
    text: str
    source: str
    seen: str


CAUTION: Form = {key: Key("text", needed=True) for key in ("about", "text", "source", "seen")}


@cache
def cautions() -> tuple[Caution, ...]:
    """Return the cautions of the shipped table, in its order.

    Raises
    ------
    LabelerError : the table is damaged: every row that does not suit.
    """
    document = load(shipped("data", "cautions.toml"), "cautions.toml")
    rows = [
        checked(row, CAUTION, document.at("about"), f"caution {n}")
        for n, row in enumerate(document.values.get("caution", ()), 1)
    ]
    refuse(problem for _, problems in rows for problem in problems)
    return tuple(Caution(**values) for values, _ in rows)
