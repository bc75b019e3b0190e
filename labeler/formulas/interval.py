"""The range of a quantity that is not known exactly."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Range:
    """Lowest and highest value of a quantity that is not known exactly."""

    low: float
    high: float

    def __add__(self, other: float) -> Range:
        return Range(self.low + other, self.high + other)


def middle(of: Range) -> float:
    """Return the middle of a range.

    >>> middle(Range(1.0, 2.0))
    1.5
    """
    return (of.low + of.high) / 2
