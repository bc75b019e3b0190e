"""A code on a round part: how far its modules lie from an even grid when seen from the front, and its stretch.

Angles are radians unless a name ends in ``_deg``; a symbol's arc is that of its modules, without the quiet zone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import acos, ceil, degrees, pi, sin
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


# ---------------------------------------------------------------- A code on a round part


GRADES = {"A": 0.06, "B": 0.08, "C": 0.10, "D": 0.12}
"""Largest axial non-uniformity of each grade, ISO/IEC 15415 (the bands as quoted by public verifier documents)."""


@lru_cache(maxsize=65536)
def grid_deviation(modules: int, arc: float, aim: float = 0.0) -> float:
    """Return by how many modules a grid on a cylinder is off an even one, seen from far away.

    Parameters
    ----------
    modules : in the direction around the part.
    arc : that they cover [rad], 0 < arc, arc / 2 + aim at most pi / 2.
    aim : angle between the view and the middle of the symbol [rad].

    A point at angle ``p`` from the middle is seen at ``sin(p + aim)``; an even grid would be the straight line
    between the two edges. The largest distance of the two is at one of the points where the slopes agree:
    ``cos(p + aim)`` equals the chord's slope, ``w / arc``. Compare with the grid non-uniformity of
    ISO/IEC 15415: grade A to 0.38.

    Raises
    ------
    ValueError : an edge of the symbol lies beyond the rim.

    >>> round(grid_deviation(21, pi / 3), 3)  # 60 degrees on axis
    0.19
    """
    first, last = aim - arc / 2, aim + arc / 2
    if arc <= 0 or max(abs(first), abs(last)) > pi / 2 + 1e-12:
        raise ValueError(f"an arc of {degrees(arc):.1f} degrees seen {degrees(aim):.1f} degrees off leaves the view")
    low, width = sin(first), sin(last) - sin(first)
    slope = width / arc
    meeting = acos(min(1.0, slope))
    off = [abs(sin(p) - low - slope * (p - first)) for p in (meeting, -meeting) if first <= p <= last]
    return modules * max(off, default=0.0) / width


@lru_cache(maxsize=4096)
def largest_arc(modules: int, limit: float, aim: float = 0.0, most: float = pi / 3) -> float:
    """Return the largest arc [rad], up to ``most``, on which the grid deviation stays within a limit [modules].

    ``modules`` go around the part; ``aim`` [rad] as for `grid_deviation`.

    >>> round(degrees(largest_arc(21, 0.38, 15 * pi / 180)), 1)
    30.0
    """
    high = min(most, pi - 2 * aim)
    if grid_deviation(modules, high, aim) <= limit:
        return high
    low = 0.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if grid_deviation(modules, middle, aim) <= limit else (low, middle)
    return low


def smallest_diameter(modules: int, module_mm: float, limit: float, aim: float = 0.0, most: float = pi / 3) -> float:
    """Return the smallest outside diameter [mm] on which a symbol may stand: modules of this size [mm] around it.

    The other parameters as for `largest_arc`.

    >>> round(smallest_diameter(8, 0.25, 0.38), 1)
    3.8
    """
    return 2 * modules * module_mm / largest_arc(modules, limit, aim, most)


def axial_nonuniformity(x_mm: float, y_mm: float) -> float:
    """Return by what share the mean modules of the two directions differ, ISO/IEC 15415: |X - Y| over their mean.

    >>> round(axial_nonuniformity(1.10, 1.0), 4)
    0.0952
    """
    return abs(x_mm - y_mm) / ((x_mm + y_mm) / 2)


# ---------------------------------------------------------------- projection


@dataclass(frozen=True, slots=True)
class View:
    """How a flat piece lies on a part and is looked at.

    ``along`` and ``around`` are the print's scales, ``outside_mm`` the diameter its surface lies on,
    ``aim`` the angle [rad] between the view and the middle of the piece, ``pixel_mm`` of the picture.
    """

    along: float
    around: float
    outside_mm: float
    aim: float = 0.0
    pixel_mm: float = 25.4 / 600


def seen(flat: NDArray[np.float64], flat_pixel_mm: float, view: View, background: float = 128.0) -> NDArray[np.float64]:
    """Return the picture of a flat piece of greys (0 dark to 255) around a cylinder that lies level.

    Parameters
    ----------
    flat : the piece, its length level; its middle row faces the viewer when the aim is zero.
    flat_pixel_mm : side of its pixels [mm].
    view : scales, diameter and aim.
    background : grey beside the part.

    What lies ``t`` from the middle row is at the angle ``2 t around / outside``, and is seen at
    ``outside / 2 sin(angle + aim)``. Beyond the piece's edges the part is as light as its corner.
    Between pixels the greys are interpolated, along both directions.
    """
    import numpy as np

    radius = view.outside_mm / 2
    rows, columns = flat.shape
    margin = 0.12 * view.outside_mm + 2 * view.pixel_mm
    height = ceil(2 * (radius + margin) / view.pixel_mm)
    level = ((np.arange(height) + 0.5) / height - 0.5) * 2 * (radius + margin)  # downwards
    on_part = np.abs(level) <= radius
    angle = np.arcsin(np.clip(level / radius, -1, 1)) - view.aim
    source = angle * radius / view.around / flat_pixel_mm + rows / 2 - 0.5
    width = ceil(columns * flat_pixel_mm * view.along / view.pixel_mm)
    across = (np.arange(width) + 0.5) * view.pixel_mm / view.along / flat_pixel_mm - 0.5
    bare = float(flat[0, 0])
    picture = _between(_between(flat, source, bare).T, across, bare).T
    return np.where(on_part[:, None], picture, background)


def _between(greys: NDArray[np.float64], rows: NDArray[np.float64], beyond: float) -> NDArray[np.float64]:
    """Return interpolated rows at fractional places; ``beyond`` where there is none."""
    import numpy as np

    low = np.floor(rows).astype(int)
    share = (rows - low)[:, None]
    padded = np.pad(greys, ((1, 1), (0, 0)), constant_values=beyond)
    last = len(padded) - 1
    first, second = (padded[np.clip(low + step, 0, last)] for step in (1, 2))
    made: NDArray[np.float64] = first * (1 - share) + second * share
    return made
