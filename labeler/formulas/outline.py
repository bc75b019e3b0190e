"""The taut outline around circles: its length, exactly, from the greatest support in every direction."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise


def girth(radii: Sequence[float], centres: Sequence[tuple[float, float]]) -> float:
    """Return the length of the convex hull of circles: the support, integrated part by part."""
    circles = [(x, y, r) for (x, y), r in zip(centres, radii, strict=True)]
    circles.sort(key=lambda c: -math.hypot(c[0], c[1]) - c[2])
    parts = [(0.0, 2 * math.pi, circles[0])]
    for circle in circles[1:]:
        if math.hypot(circle[0], circle[1]) + circle[2] <= min(map(_least_support, parts)):
            break  # this one and all that follow lie inside the outline
        parts = _with_circle(parts, circle)
    return sum(
        x * (math.sin(b) - math.sin(a)) - y * (math.cos(b) - math.cos(a)) + r * (b - a) for a, b, (x, y, r) in parts
    )


_Circle = tuple[float, float, float]
_Part = tuple[float, float, _Circle]  # from angle, to angle, whose support is greatest there


def _with_circle(parts: list[_Part], new: _Circle) -> list[_Part]:
    result: list[_Part] = []
    for start, end, old in parts:
        cuts = [start, *_crossings(old, new, start, end), end]
        for a, b in pairwise(cuts):
            middle = (a + b) / 2
            ahead = new if _support(new, middle) > _support(old, middle) else old
            if result and result[-1][2] is ahead:
                result[-1] = (result[-1][0], b, ahead)
            else:
                result.append((a, b, ahead))
    return result


def _support(circle: _Circle, angle: float) -> float:
    return circle[0] * math.cos(angle) + circle[1] * math.sin(angle) + circle[2]


def _least_support(part: _Part) -> float:
    start, end, (x, y, r) = part
    back = (math.atan2(y, x) + math.pi) % (2 * math.pi)
    if start <= back <= end:
        return r - math.hypot(x, y)
    return min(_support(part[2], start), _support(part[2], end))


def _crossings(one: _Circle, two: _Circle, start: float, end: float) -> list[float]:
    """Return the angles in (start, end) at which the two circles have a tangent in common."""
    dx, dy = two[0] - one[0], two[1] - one[1]
    apart, more = math.hypot(dx, dy), one[2] - two[2]
    if apart <= abs(more):  # one lies inside the other
        return []
    towards, half = math.atan2(dy, dx), math.acos(more / apart)
    angles = ((towards + side) % (2 * math.pi) for side in (-half, half))
    return sorted(angle for angle in angles if start < angle < end)
