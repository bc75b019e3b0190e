"""Many values that differ from one another in a few fields.

Used where there is one for each wire end: its marker, its fit and its row in the record. Their plain constructors take
6 us of CPU more for each, of the 120 us that the whole way of a wire list takes (tests/bench/whole_way.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import lru_cache
from typing import Any, TypeVar

Value = TypeVar("Value")


def pattern(like: Value, *names: str) -> Callable[..., Value]:
    """Return a function of the named fields that makes values like this one, in about a fifth of `replace`'s time.

    It is written out as `dataclasses` writes an ``__init__`` and sets the fields as that does: for
    frozen dataclasses with slots. Raises TypeError for one with a ``__post_init__``.

    >>> from labeler.model import Range
    >>> lower = pattern(Range(1.0, 2.0), "low")
    >>> lower(0.5)
    Range(low=0.5, high=2.0)
    """
    kind: Any = type(like)
    others, patterns = _written(kind, names)
    made: Callable[..., Value] = patterns(*(getattr(like, name) for name in others))
    return made


@lru_cache(maxsize=64)
def _written(kind: Any, names: tuple[str, ...]) -> tuple[tuple[str, ...], Callable[..., Any]]:
    """Return the other fields of a class, and a function of their values that returns such a function."""
    if hasattr(kind, "__post_init__"):
        raise TypeError(f"{kind.__name__} has a __post_init__, which a pattern would pass over")
    every = [field.name for field in fields(kind)]
    others = tuple(name for name in every if name not in names)
    setters = {f"_set_{name}": getattr(kind, name).__set__ for name in every}
    lines = [
        f"def patterns({', '.join(others)}):",
        f" def _make({', '.join(names)}):",
        "  _made = _new(_class)",
        *(f"  _set_{name}(_made, {name})" for name in every),
        "  return _made",
        " return _make",
    ]
    known: dict[str, Any] = {"_new": object.__new__, "_class": kind, **setters}
    exec("\n".join(lines), known)
    return others, known["patterns"]
