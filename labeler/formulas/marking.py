"""Where along a wire its markers go, and how much print stands out from what it is printed on."""

from __future__ import annotations

from math import ceil

NONE_BELOW_MM = 76.0
ONE_BELOW_MM = 178.0
FIRST_MARK_MM = 76.0
INTERVAL_MM = 381.0


def mark_positions(length_mm: float) -> tuple[float, ...]:
    """Return the places of the markers of a wire, from its start [mm], by its length [mm].

    Under 76 mm (3 in) none; up to 178 mm (7 in) one in the middle; longer one near each end, the
    first 76 mm from it, and more between them, evenly, at most 381 mm (15 in) apart.

    References
    ----------
    FAA AC 43.13-1B CHG 1, 11-208 (interval, short wires) and figure 11-23 (distance from the end).
    The text leaves open what a wire of exactly 76 or 178 mm gets: here one mark, in the middle.

    >>> mark_positions(70), mark_positions(120), mark_positions(300)
    ((), (60.0,), (76.0, 224.0))
    >>> mark_positions(1000)
    (76.0, 358.6666666666667, 641.3333333333334, 924.0)
    """
    if length_mm < NONE_BELOW_MM:
        return ()
    if length_mm <= ONE_BELOW_MM:
        return (length_mm / 2,)
    span = length_mm - 2 * FIRST_MARK_MM
    steps = max(1, ceil(span / INTERVAL_MM - 1e-9))
    return tuple(FIRST_MARK_MM + span * i / steps for i in range(steps + 1))


def contrast_ratio(one: float, other: float) -> float:
    """Return the contrast ratio of two relative luminances [0 to 1], 1 to 21.

    ``(L1 + 0.05) / (L2 + 0.05)``, the lighter first: WCAG 2.1, definition of contrast ratio.

    >>> round(contrast_ratio(1.0, 0.0), 1)
    21.0
    """
    lighter, darker = max(one, other), min(one, other)
    return (lighter + 0.05) / (darker + 0.05)


_CONFUSED = str.maketrans("oOiIlLsSbBzZ", "001111558822")


def confusable_form(text: str) -> str:
    """Return a text with what is easily confused made alike: 0/O, 1/I/l, 5/S, 8/B, 2/Z, and letter case.

    >>> confusable_form("JO1") == confusable_form("j0l")
    True
    """
    return text.translate(_CONFUSED).upper()
