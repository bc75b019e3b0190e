"""Flat print on a round part, seen from the front and from far away: pixels in, pixels out."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


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
