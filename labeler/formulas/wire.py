"""Bare wire by gauge number: American Wire Gauge after ASTM B258."""

from __future__ import annotations

import math
import re

LARGEST_ZEROS = 4  # 4/0, written 0000 as well, is the largest size that B258 names


def diameter_from_gauge(gauge: int) -> float:
    """Return the diameter of a bare solid wire of this gauge.

    Parameters
    ----------
    gauge : int
        Gauge number, -3 (4/0) to 56; 0 is 1/0, -1 is 2/0, -2 is 3/0.

    Returns
    -------
    float
        Diameter [mm], before the standard's rounding to 0.1 mil.

    Raises
    ------
    ValueError
        If the gauge is outside -3 … 56, the span of the standard.

    Notes
    -----
    36 AWG is 0.005 in and 4/0 is 0.46 in by definition, the 39 steps between are equal ratios:
    ``d = 0.005 in × 92^((36 − n)/39)``.

    References
    ----------
    ASTM B258, clause on the derivation of the gauge (formula as quoted in public encyclopaedias).

    Examples
    --------
    >>> round(diameter_from_gauge(20), 4)
    0.8118
    >>> round(diameter_from_gauge(-3), 3)
    11.684
    """
    if not 1 - LARGEST_ZEROS <= gauge <= 56:
        raise ValueError(f"{gauge} is outside the gauge numbers -3 (4/0) to 56")
    return float(0.127 * 92 ** ((36 - gauge) / 39))


def area_from_diameter(diameter_mm: float) -> float:
    """Return the section of a round wire.

    Parameters
    ----------
    diameter_mm : float
        Diameter [mm], 0 or larger.

    Returns
    -------
    float
        Area [mm²].

    Raises
    ------
    ValueError
        If the diameter is negative.

    Examples
    --------
    >>> round(area_from_diameter(2.0), 6)
    3.141593
    """
    if diameter_mm < 0:
        raise ValueError(f"a diameter of {diameter_mm:g} mm is negative")
    return math.pi / 4 * diameter_mm**2


def diameter_from_area(area_mm2: float) -> float:
    """Return the diameter of the round wire with this section.

    Parameters
    ----------
    area_mm2 : float
        Area [mm²], 0 or larger.

    Returns
    -------
    float
        Diameter [mm]; a stranded conductor of the same area is wider.

    Raises
    ------
    ValueError
        If the area is negative.

    Examples
    --------
    >>> round(diameter_from_area(3.141593), 6)
    2.0
    """
    if area_mm2 < 0:
        raise ValueError(f"an area of {area_mm2:g} mm2 is negative")
    return math.sqrt(4 / math.pi * area_mm2)


def area_from_gauge(gauge: int) -> float:
    """Return the section of a bare solid wire of this gauge.

    Parameters
    ----------
    gauge : int
        Gauge number as in `diameter_from_gauge`.

    Returns
    -------
    float
        Area [mm²].

    Raises
    ------
    ValueError
        If the gauge is outside -3 … 56.

    References
    ----------
    ASTM B258.

    Examples
    --------
    >>> round(area_from_gauge(20), 4)
    0.5176
    """
    return area_from_diameter(diameter_from_gauge(gauge))


def gauge_from_name(name: str) -> int:
    """Return the gauge number that a gauge's written name stands for.

    Parameters
    ----------
    name : str
        ``20``, ``0``, ``1/0`` … ``4/0`` or the zeros written out: ``00`` is 2/0.

    Returns
    -------
    int
        Gauge number, -3 … 56.

    Raises
    ------
    ValueError
        If the name is no gauge of ASTM B258.

    Examples
    --------
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
