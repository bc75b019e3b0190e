"""How thick a bundle of wires is: the smallest circle around it, and the outline a taut sleeve sees.

To be imported where it is used: it loads numpy.

Finding the smallest circle around unequal circles has no closed form beyond a few wires. It is
searched for in three steps, all of them on many arrangements at once:

1. *Seeds*: wires in concentric rings, and scattered at random (from a fixed seed).
2. *Settling*: soft wires in a soft ring pushed together by a falling pressure; momentum descent.
3. *Tightening*: the best few, by a primal-dual interior-point method on the exact problem
   "least R with every pair apart and every wire inside R". Its iterates never overlap, and it ends
   with the contacts closed to about 1e-8.

The best arrangements then have wires exchanged or moved, and go through 2 and 3 again.

Notes
-----
A wire that is loose in its gap is drawn towards the middle, as a taut sleeve would press it. Of
several arrangements that are equally tight the one with the longest outline counts, so six equal
wires lie in a ring; the one with the shortest, five around one, is kept beside it, since nobody knows
in which of them the wires will lie.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


# ---------------------------------------------------------------- The taut outline around circles


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


# ---------------------------------------------------------------- packing


SEARCHED = 500
"""Bundles of more wires than this are laid in plain rings and not searched."""

_PULL = 1e-4  # force on each wire towards the middle, against 1 that closes the circle
THINNEST = 1e-3  # thinner wires, against the thickest, are searched as this thick
_SAME = 1e-6  # arrangements whose diameters differ by less than this share are equally tight


def repaired(radii: Sequence[float], centres: Sequence[tuple[float, float]]) -> tuple[float, list[tuple[float, float]]]:
    """Spread (or draw in) the centres until the closest pair just touches; return the radius too.

    Plain rings do not overlap as they are, and many wires make many pairs: only rounding is covered.
    """
    r, x = np.array(radii), np.array(centres)
    x = x * (_spread(x, r) if len(r) <= SEARCHED else 1 + 1e-8)
    radius = float((np.hypot(x[:, 0], x[:, 1]) + r).max())
    return radius, [(float(a), float(b)) for a, b in x]


def _spread(x: Array, r: Array) -> float:
    """Return the factor on all centres at which the closest pair touches (0 for a single wire)."""
    apart = np.hypot(x[:, None, 0] - x[:, 0], x[:, None, 1] - x[:, 1])
    np.fill_diagonal(apart, np.inf)
    return float(((r[:, None] + r) / np.maximum(apart, 1e-300)).max())


_Centres = tuple[tuple[float, float], ...]


@lru_cache(maxsize=4096)
def arranged(shape: tuple[float, ...]) -> tuple[_Centres, _Centres]:
    """Return centres for wires of these radii (descending, the first is 1) around the origin.

    Two arrangements, equally tight: of the longest outline, and of the shortest.
    """
    if len(shape) == 1:
        return (((0.0, 0.0),),) * 2
    if len(shape) == 2:
        return (((-shape[1], 0.0), (1.0, 0.0)),) * 2
    r = np.array(shape)
    rings = [_rings(r, range(len(r)), core, lambda: 0.0, even) for core in range(1, 7) for even in (True, False)]
    found = [*rings, *(_searched(r) if len(r) <= SEARCHED else ())]
    longest, shortest = (tuple((float(a), float(b)) for a, b in best) for best in _tightest(found, r))
    return longest, shortest


def _tightest(found: Sequence[Array], r: Array) -> tuple[Array, Array]:
    """Return the arrangements of least diameter: of the longest outline, and of the shortest."""
    results = [repaired(r.tolist(), x.tolist()) for x in found if np.isfinite(x).all()]
    least = min(radius for radius, _ in results)
    equal = [x for radius, x in results if radius <= least * (1 + _SAME)]
    equal.sort(key=lambda x: girth(r.tolist(), x))
    return np.array(equal[-1]), np.array(equal[0])


def _searched(r: Array) -> list[Array]:
    """Return good arrangements: seeds settled, the best tightened, changed, and tightened again."""
    n = len(r)
    mixed = bool(r.min() < r.max())
    starts, kept, rounds = next(unequal if mixed else equal for most, equal, unequal in _EFFORT if n <= most)
    rng = np.random.default_rng(n)
    found: list[Array] = []
    with np.errstate(all="ignore"):
        settled = _settled(_seeds(r, starts, rng), r, ((0.5, 20), (0.1, 30), (0.03, 40)))
        best = _by_radius(_tightened(settled[:kept], r), r)
        found.extend(best)
        for _ in range(rounds if len(best) else 0):
            settled = _settled(_changed(best, r, starts, rng), r, ((0.1, 20), (0.03, 40)))
            best = _by_radius(np.concatenate([best, _tightened(settled[:kept], r)]), r)[:kept]
            found.extend(best)
    return found


_EFFORT = (
    (5, (24, 6, 0), (32, 8, 0)),
    (12, (24, 6, 0), (24, 6, 1)),
    (20, (32, 6, 0), (16, 6, 2)),
    (40, (24, 4, 0), (12, 6, 1)),
    (200, (12, 2, 0), (12, 2, 0)),
    (SEARCHED, (4, 1, 0), (4, 1, 0)),
)
"""Up to so many wires, of equal and of unequal ones: how many arrangements are started and tightened, and how often
they are changed. Measured: equal wires need few starts; which of unequal wires lies where takes trying."""


def _by_radius(x: Array, r: Array) -> Array:
    sound = x[np.isfinite(x).all((1, 2))]
    radius = [repaired(r.tolist(), each.tolist())[0] for each in sound]
    return sound[np.argsort(radius, kind="stable")]


def _seeds(r: Array, count: int, rng: np.random.Generator) -> Array:
    """Return arrangements to start from: three in four in rings, the rest scattered."""
    n = len(r)
    inwards, outwards = list(range(n)), list(range(n))[::-1]  # of thickness
    x = np.empty((count, n, 2))
    for k in range(count):
        if k % 4 == 3:
            x[k] = _scattered(r, rng)
        else:
            order = (inwards, outwards, rng.permutation(n).tolist())[k % 3]
            x[k] = _rings(r, order, 1 + k % 5, lambda: 2 * math.pi * rng.random())
    return x + rng.normal(0, 0.02, x.shape)


def _scattered(r: Array, rng: np.random.Generator) -> Array:
    around = 2 * np.pi * rng.random(len(r))
    out = 1.15 * np.sqrt((r * r).sum() * rng.random(len(r)))
    return np.stack([out * np.cos(around), out * np.sin(around)], -1)


def _rings(r: Array, order: Sequence[int], core: int, turn: Callable[[], float], even: bool = True) -> Array:
    """Lay wires in rings, from the middle, in this order; ``core`` of them in the first ring.

    The room that is left in a ring lies between its wires, or, if not ``even``, all in one place.
    In descending order the wires do not overlap: each keeps to its own sector of its own ring.
    """
    radii, queue = r.tolist(), list(order)
    x = np.empty((len(queue), 2))
    first, edge = min(core, len(queue)), 0.0
    while queue:
        thickest = max(radii[i] for i in queue[:first]) if first else radii[queue[0]]
        out = edge + thickest
        if first:
            out = 0.0 if first == 1 else thickest / math.sin(math.pi / first)
        widths = [2 * math.pi / first] * first if first else _sectors(radii, queue, out)
        gap, angle = (2 * math.pi - sum(widths)) / len(widths) if even else 0.0, turn()
        for i, width in zip(queue, widths, strict=False):
            x[i] = out * math.cos(angle + width / 2), out * math.sin(angle + width / 2)
            angle += width + gap
        edge = out + max(radii[i] for i in queue[: len(widths)])
        del queue[: len(widths)]
        first = 0
    return x


def _sectors(radii: list[float], queue: list[int], out: float) -> list[float]:
    """Return the angles that the next wires take up in a ring of this radius, until it is full."""
    widths: list[float] = []
    left = 2 * math.pi + 1e-9
    for i in queue:
        width = 2 * math.asin(min(1.0, radii[i] / out))
        if width > left:
            break
        widths.append(width)
        left -= width
    return widths


def _changed(best: Array, r: Array, count: int, rng: np.random.Generator) -> Array:
    """Return copies in which two unequal wires have changed places, or one lies where most room was."""
    x = best[np.arange(count) % len(best)].copy()
    for each in x:
        i, j = rng.integers(len(r), size=2)
        if rng.random() < 0.2 and r[i] != r[j]:
            each[[i, j]] = each[[j, i]]
        else:
            each[i] = _roomiest(each, r, int(i), rng)
    return x + rng.normal(0, 0.05, x.shape)


def _roomiest(x: Array, r: Array, moved: int, rng: np.random.Generator) -> Array:
    """Return the place, of 24 tried inside the bundle, that is farthest from all other wires."""
    within = (np.hypot(x[:, 0], x[:, 1]) + r).max() - r[moved]
    around, out = 2 * np.pi * rng.random(24), within * np.sqrt(rng.random(24))
    places = np.stack([out * np.cos(around), out * np.sin(around)], -1)
    clear = np.hypot(places[:, None, 0] - x[:, 0], places[:, None, 1] - x[:, 1]) - r
    clear[:, moved] = np.inf
    place: Array = places[clear.min(1).argmax()]
    return place


def _settled(x: Array, r: Array, pressures: tuple[tuple[float, int], ...]) -> Array:
    """Press soft wires together in a soft ring; return the arrangements, the most promising first.

    The energy is ``p R + 1/2 sum of overlap^2``, over pairs and the ring, at falling pressure p.
    Overlaps are p times the contact forces, so ``R + 2 E / p`` estimates the radius at p = 0.
    """
    count, n, _ = x.shape
    sums = r[:, None] + r
    np.fill_diagonal(sums, 0.0)
    touching = np.minimum(n - 1, np.pi / np.arcsin(r.min() / (r + r.min())))
    rate = (0.25 * np.minimum(1.0, 6 / np.maximum(touching, 1)))[:, None]
    radius = np.sqrt((x * x).sum(-1)).max(1)
    speed = np.zeros_like(x)
    left, right, ones = np.ones((count, n, 4)), np.ones((count, 4, n)), np.ones((count, n, 3))
    for pressure, steps in pressures:
        for _ in range(steps):
            square = (x * x).sum(-1)
            left[..., :2], left[..., 2] = x, square  # left @ right: all squared distances at once
            right[:, :2], right[:, 3] = -2 * x.transpose(0, 2, 1), square
            apart = np.sqrt(np.maximum(left @ right, 1e-6))
            push = np.maximum(sums / apart - 1, 0)
            out = np.sqrt(square) + 1e-12
            beyond = np.maximum(out + r - radius[:, None], 0)
            radius += (beyond.sum(1) - pressure) / np.maximum((beyond > 0).sum(1), 1)
            ones[..., :2] = x
            pushed = push @ ones
            force = pushed[..., :2] - x * pushed[..., 2:] + x * (beyond / out)[..., None]
            speed = np.clip(0.9 * speed - rate * force, -0.5, 0.5)
            x = x + speed
    overlap = push * apart
    energy = (overlap * overlap).sum((1, 2)) / 4 + (beyond * beyond).sum(1) / 2
    return x[np.argsort(radius + 2 * energy / pressure, kind="stable")]


def _tightened(x: Array, r: Array) -> Array:
    """Draw the ring tight around hard wires (primal-dual interior point, all arrangements at once).

    Least ``R + pull sum |c|`` with gaps ``|ci - cj| - ri - rj`` and ``R - r - |c|`` kept above 0.
    The negative curvature of the pair gaps is left out: they only open where a step is long.
    """
    own = np.arange(len(r))
    sums = r[:, None] + r
    sums[own, own] = -1.0
    x = x * np.array([1.01 * _spread(each, r) for each in x])[:, None, None]
    radius = 1.01 * (np.hypot(x[..., 0], x[..., 1]) + r).max(1)
    barrier, forces, wall = 0.01, None, None
    for _ in range(14):
        offset = x[:, :, None] - x[:, None]
        apart = np.sqrt((offset * offset).sum(-1))
        apart[:, own, own] = 1.0
        unit, gap = offset / apart[..., None], apart - sums
        out = np.hypot(x[..., 0], x[..., 1]) + 1e-15
        outward, room = x / out[..., None], radius[:, None] - r - out
        if forces is None or wall is None:
            forces, wall = barrier / gap, barrier / room
        stiff, stiff_wall = forces / gap, wall / room
        pairs, walls = (unit, barrier / gap, stiff), (outward, barrier / room, stiff_wall)
        step, grown = _newton_step(pairs, walls, (wall + _PULL) / out)  # the ring, and the pull to the middle
        opening = (unit * (step[:, :, None] - step[:, None])).sum(-1)
        widening = grown[:, None] - (outward * step).sum(-1)
        share = _share(opening / gap, widening / room)
        x = x + share[:, None, None] * step
        radius = radius + share * grown
        more = barrier / gap - forces - stiff * opening
        more_wall = barrier / room - wall - stiff_wall * widening
        share = _share(more / forces, more_wall / wall)
        forces, wall = forces + share[:, None, None] * more, wall + share[:, None] * more_wall
        radius = np.maximum(radius, (np.hypot(x[..., 0], x[..., 1]) + r).max(1) + 0.1 * barrier)
        barrier = max(0.15 * barrier, 1e-9)
    return x


def _share(pairs: Array, walls: Array) -> Array:
    """Return the share of a step after which nothing has lost more than 95 % of what it had."""
    worst: Array = np.maximum((-pairs).max((1, 2)), (-walls).max(1))
    share: Array = np.minimum(1.0, 0.95 / np.maximum(worst, 1e-30))
    return share


def _newton_step(
    pairs: tuple[Array, Array, Array], walls: tuple[Array, Array, Array], bend: Array
) -> tuple[Array, Array]:
    """Return the step of the centres and of the radius that balances all forces to first order.

    ``pairs`` and ``walls`` have a direction, a push and a stiffness each; ``bend`` is stiff across the radius.
    """
    (unit, push, stiff), (outward, push_wall, stiff_wall) = pairs, walls
    count, n, _ = outward.shape
    own, size = np.arange(n), 2 * n + 1
    matrix, load = np.empty((count, size, size)), np.empty((count, size))
    for a, b in ((0, 0), (0, 1), (1, 1)):
        block = -stiff * unit[..., a] * unit[..., b]
        across = bend * (float(a == b) - outward[..., a] * outward[..., b])
        block[:, own, own] = 0.0
        block[:, own, own] = stiff_wall * outward[..., a] * outward[..., b] + across - block.sum(2)
        matrix[:, a * n : a * n + n, b * n : b * n + n] = block
        matrix[:, b * n : b * n + n, a * n : a * n + n] = block
    for a in (0, 1):
        rows = slice(a * n, a * n + n)
        load[:, rows] = (push * unit[..., a]).sum(2) - (push_wall + _PULL) * outward[..., a]
        matrix[:, rows, -1] = matrix[:, -1, rows] = -stiff_wall * outward[..., a]
    load[:, -1], matrix[:, -1, -1] = push_wall.sum(1) - 1, stiff_wall.sum(1)
    matrix[:, np.arange(size), np.arange(size)] += 1e-4
    step = np.linalg.solve(matrix, load[..., None])[..., 0]
    return np.stack([step[:, :n], step[:, n:-1]], -1), step[:, -1]
