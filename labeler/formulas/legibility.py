"""How tall a character must be to be read, and how much of it shows on a round part."""

from __future__ import annotations

from math import floor, pi, radians, tan


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
