"""Many values that differ from one another in a few fields."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import lru_cache
from typing import Any, TypeVar

Value = TypeVar("Value")


def pattern(like: Value, *names: str) -> Callable[..., Value]:
    """Return a function of the named fields that makes values like this one, in a fifth of `replace`'s time.

    It is written out as `dataclasses` writes an ``__init__`` and sets the fields as that does: for
    frozen dataclasses with slots. Raises TypeError for one with a ``__post_init__``.

    >>> from labeler.model import Range
    >>> lower = pattern(Range(1.0, 2.0), "low")
    >>> lower(0.5)
    Range(low=0.5, high=2.0)
    """
    others, patterns = _written(type(like), names)
    made: Callable[..., Value] = patterns(*(getattr(like, name) for name in others))
    return made


@lru_cache(maxsize=64)
def _written(kind: Any, names: tuple[str, ...]) -> tuple[tuple[str, ...], Callable[..., Any]]:
    """Return the other fields of a class, and a function of their values that returns such a function."""
    if hasattr(kind, "__post_init__"):
        raise TypeError(f"{kind.__name__} has a __post_init__, which a pattern would pass over")
    every = [field.name for field in fields(kind)]
    others = tuple(name for name in every if name not in names)
    setters = {f"set_{name}": getattr(kind, name).__set__ for name in every}
    lines = [
        f"def patterns({', '.join(others)}):",
        f" def make({', '.join(names)}):",
        "  made = new(kind)",
        *(f"  set_{name}(made, {name})" for name in every),
        "  return made",
        " return make",
    ]
    known: dict[str, Any] = {"new": object.__new__, "kind": kind, **setters}
    exec("\n".join(lines), known)
    return others, known["patterns"]
