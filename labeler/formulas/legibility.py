"""How tall a character must be to be read, and how much of it shows on a round part."""

from __future__ import annotations

from math import ceil, floor, pi, radians, tan

# ---------------------------------------------------------------- How tall a character must be to be read


def height_for_angle(distance_mm: float, angle_arcmin: float) -> float:
    """Return the height [mm] that fills a visual angle [minutes of arc] at a distance [mm].

    ``H = 2 D tan(MA / 2)``; NUREG-0700 1.3.1-4 prints ``6.283 D MA / 21600``, the same to four
    digits. Minimum 16, preferred 20 to 22, maximum 24 minutes of arc for text (same clause).

    >>> round(height_for_angle(500, 20), 3), round(height_for_angle(500, 16), 3)
    (2.909, 2.327)
    """
    return 2 * distance_mm * tan(radians(angle_arcmin / 60) / 2)


def height_for_dots(dots: float, dpi: float) -> float:
    """Return the height [mm] of so many printer dots.

    >>> round(height_for_dots(12, 300), 3)
    1.016
    """
    return dots * 25.4 / dpi


def wrap_diameters(print_around_mm: float, label_mm: float, film_mm: float) -> tuple[float, float]:
    """Return the smallest and largest wire [mm] that a self-laminating label serves.

    ``print_around_mm`` is the height of the printed zone around the wire [mm], ``label_mm`` the
    whole length around it, ``film_mm`` the thickness. The print must not run under itself,
    ``P <= pi d``; the clear tail must cover it once, ``T >= pi (d + 2 t)``.

    >>> [round(d, 2) for d in wrap_diameters(12.7, 38.1, 0.1)]
    [4.04, 7.89]
    """
    return print_around_mm / pi, (label_mm - print_around_mm) / pi - 2 * film_mm


def copies_around(zone_mm: float, block_mm: float, gap_mm: float) -> int:
    """Return how many blocks of text [mm] with a gap [mm] between stand in a zone [mm], 0 or more.

    >>> copies_around(5.0, 1.4, 0.4)
    3
    """
    return max(0, floor((zone_mm + gap_mm) / (block_mm + gap_mm) + 1e-9))


# ---------------------------------------------------------------- marking


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
