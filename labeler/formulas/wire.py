"""Bare wire by gauge number: American Wire Gauge after ASTM B258."""

from __future__ import annotations

import math
import re

LARGEST_ZEROS = 4  # 4/0, written 0000 as well, is the largest size that B258 names


def diameter_from_gauge(gauge: int) -> float:
    """Return the diameter [mm] of a bare solid wire of this gauge, before the standard's rounding to 0.1 mil.

    ``gauge``: -3 (4/0) to 56; 0 is 1/0, -1 is 2/0, -2 is 3/0. 36 AWG is 0.005 in and 4/0 is 0.46 in by
    definition, the 39 steps between are equal ratios: ``d = 0.005 in × 92^((36 − n)/39)`` (ASTM B258,
    clause on the derivation of the gauge, as quoted in public encyclopaedias). Raises ValueError for a
    gauge outside the span of the standard.

    >>> round(diameter_from_gauge(20), 4), round(diameter_from_gauge(-3), 3)
    (0.8118, 11.684)
    """
    if not 1 - LARGEST_ZEROS <= gauge <= 56:
        raise ValueError(f"{gauge} is outside the gauge numbers -3 (4/0) to 56")
    return float(0.127 * 92 ** ((36 - gauge) / 39))


def area_from_diameter(diameter_mm: float) -> float:
    """Return the section [mm²] of a round wire [mm]. Raises ValueError for a negative diameter.

    >>> round(area_from_diameter(2.0), 6)
    3.141593
    """
    if diameter_mm < 0:
        raise ValueError(f"a diameter of {diameter_mm:g} mm is negative")
    return math.pi / 4 * diameter_mm**2


def diameter_from_area(area_mm2: float) -> float:
    """Return the diameter [mm] of the round wire with this section [mm²]; a stranded conductor's is wider.

    Raises ValueError for a negative area.

    >>> round(diameter_from_area(3.141593), 6)
    2.0
    """
    if area_mm2 < 0:
        raise ValueError(f"an area of {area_mm2:g} mm2 is negative")
    return math.sqrt(4 / math.pi * area_mm2)


def area_from_gauge(gauge: int) -> float:
    """Return the section [mm²] of a bare solid wire of a gauge, which is as for `diameter_from_gauge`.

    >>> round(area_from_gauge(20), 4)
    0.5176
    """
    return area_from_diameter(diameter_from_gauge(gauge))


def gauge_from_name(name: str) -> int:
    """Return the gauge number, -3 … 56, that a written name stands for: ``20``, ``0``, ``4/0``, or ``00`` for 2/0.

    Raises ValueError for a name that is no gauge of ASTM B258.

    >>> gauge_from_name("20"), gauge_from_name("1/0"), gauge_from_name("4/0"), gauge_from_name("00")
    (20, 0, -3, -1)
    """
    word = name.strip()
    if re.fullmatch(r"[1-4]/0", word):
        return 1 - int(word[0])
    if re.fullmatch(r"0{1,4}", word):
        return 1 - len(word)
    if re.fullmatch(r"[1-9]|[1-4][0-9]|5[0-6]", word):
        return int(word)
    raise ValueError(f"{name!r} is no wire gauge; write 4/0 to 1/0 or 1 to 56")
