"""Many values that differ from one another in a few fields."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Generic, TypeVar

Value = TypeVar("Value")


class Pattern(Generic[Value]):
    """Makes values like a first one, with some fields changed: as `dataclasses.replace`, in about half the time.

    >>> from labeler.model import Range
    >>> lower = Pattern(Range(1.0, 2.0), "low")
    >>> lower(0.5)
    Range(low=0.5, high=2.0)
    """

    __slots__ = ("_make", "_places", "_values")

    def __init__(self, like: Value, *names: str) -> None:
        order = [field.name for field in fields(like)]  # type: ignore[arg-type]
        self._make: Any = type(like)
        self._values = [getattr(like, name) for name in order]
        self._places = tuple(map(order.index, names))

    def __call__(self, *changed: Any) -> Value:
        """Return a value with these in the named fields, in the order in which they were named."""
        values = self._values.copy()
        for place, value in zip(self._places, changed, strict=True):
            values[place] = value
        made: Value = self._make(*values)
        return made
