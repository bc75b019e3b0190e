"""A heat-shrink tube stopped on a diameter: wall, outside, print scale, and how the print shrinks.

The wall's volume is kept. Sections of wall are given divided by pi, in mm2, as in
``A = (D + w) w`` for inside diameter ``D`` and wall ``w``; then the outside is
``sqrt(D^2 + 4 A)``. Lengths are mm, scales and shares are plain numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import pi, sqrt

from labeler.formulas.interval import Range

HEATINGS = ("even", "unmarked side first", "any")
NONE = Range(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Stop:
    """A tube stopped on a diameter.

    ``recovery`` is the share of full recovery (1: free), ``along`` the length after over before,
    ``circumferential_scale`` the outside after over before, ``full_scale`` the same at full recovery.
    """

    inside_mm: float
    wall_mm: float
    outside_mm: float
    supplied_outside_mm: float
    recovery: float
    along: float
    circumferential_scale: float
    full_scale: float


def wall_from_section(inside_mm: float, section_mm2: float) -> float:
    """Return the wall [mm] of a tube of this inside [mm] and section / pi [mm2].

    >>> round(wall_from_section(6.35, (3.175 + 0.635) * 0.635), 3)
    0.361
    """
    return (sqrt(inside_mm**2 + 4 * section_mm2) - inside_mm) / 2


def stop(
    supplied_mm: float,
    recovered_mm: float,
    wall_mm: float,
    diameter_mm: float,
    change: float = 0.0,
    flowed_mm2: float = 0.0,
) -> Stop:
    """Return a tube shrunk until it stops on a diameter.

    Parameters
    ----------
    supplied_mm, recovered_mm
        inside diameters as supplied and after free recovery [mm], supplied > recovered > 0
    wall_mm
        wall after free recovery [mm], > 0
    diameter_mm
        what it closes on [mm], at most ``supplied_mm``; below ``recovered_mm`` it stays open
    change
        longitudinal change at full recovery [-], -1 < change; negative is shorter
    flowed_mm2
        section / pi of a meltable liner that has left the seat [mm2], as recovered

    Raises
    ------
    ValueError
        The diameter is larger than the supplied inside.

    Notes
    -----
    Recovered section ``Ar = (Dr + wr) wr``; supplied ``As = Ar (1 + c)``; on the diameter
    ``A = As / a`` with ``a = 1 + c q`` and ``q`` the share of full recovery. Length follows
    recovery in proportion: an assumption of the project.

    >>> on4 = stop(6.35, 3.175, 0.635, 4.0)
    >>> round(on4.wall_mm, 3), round(on4.outside_mm, 3), round(on4.circumferential_scale, 3)
    (0.534, 5.067, 0.717)
    """
    if diameter_mm > supplied_mm:
        raise ValueError(f"diameter {diameter_mm:g} mm is larger than the supplied inside {supplied_mm:g} mm")
    inside = max(diameter_mm, recovered_mm)
    recovery = (supplied_mm - inside) / (supplied_mm - recovered_mm)
    along = 1 + change * recovery
    recovered_section = (recovered_mm + wall_mm) * wall_mm
    before = sqrt(supplied_mm**2 + 4 * recovered_section * (1 + change))
    after = sqrt(inside**2 + 4 * (recovered_section - flowed_mm2) * (1 + change) / along)
    full = sqrt(recovered_mm**2 + 4 * (recovered_section - flowed_mm2))
    return Stop(inside, (after - inside) / 2, after, before, recovery, along, after / before, full / before)


def cut_length(parts: Iterable[tuple[float, float]]) -> float:
    """Return the flat length [mm] that covers parts of a seat after shrinking.

    ``parts``: the length of each [mm], and the tube's length there over its flat length. A span of
    25 mm with 1.5 diameters of a 3 mm wire beyond it at each end, fully recovered at -5 %:

    >>> round(cut_length([(25 + 2 * 1.5 * 3.0, 1 - 0.05)]), 2)
    35.79
    """
    return sum(length / along for length, along in parts)


def lay_flat(supplied_mm: float, wall_mm: float) -> float:
    """Return the width [mm] of a tube pressed flat: half its circumference at mid-wall.

    ``supplied_mm`` and ``wall_mm`` are inside and wall as supplied [mm].

    >>> round(lay_flat(6.35, 0.361), 2)
    10.54
    """
    return pi * (supplied_mm + wall_mm) / 2


def marked_side_scale(scale: float, full_scale: float, heating: str, share: float = 0.5) -> Range:
    """Return between what the lettered face's own scale lies, by how the sleeve is heated.

    A model of the project's own, no bound: the circumference has a lettered side (``share`` of
    it) and a back, each shrinks between 1 and the fully recovered scale, and their sum is the
    average ``scale``. Back first: the back takes all it can. Any: also the lettered side may.

    >>> r = marked_side_scale(0.717, 0.629, "unmarked side first")
    >>> round(r.low, 3), round(r.high, 3)
    (0.717, 0.805)
    """
    if heating == "even":
        return Range(scale, scale)
    high = min(1.0, (scale - (1 - share) * full_scale) / share)
    if heating == "unmarked side first":
        return Range(scale, high)
    return Range(max(full_scale, (scale - (1 - share)) / share), high)


def peak_scale(full_scale: float, share: float = 0.5) -> float:
    """Return the average scale at which back-first lettering covers the largest arc.

    Below it the face's scale grows faster than the outside, above it the face has stopped at 1.
    At ``share`` 0.5 this is ``(1 + s0) / 2``.
    """
    return share + (1 - share) * full_scale


@dataclass(frozen=True, slots=True)
class Limits:
    """Between what a tube's own measures lie. ``flowed``: section / pi of liner that may leave."""

    supplied_mm: Range
    recovered_mm: Range
    wall_mm: Range
    change: Range
    flowed: Range = NONE
    liner_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Shrunk:
    """What a tube may become on a range of diameters, each quantity from its lowest to its highest.

    ``arc_per_mm``: arc [rad] that one mm of flat print height covers, at most.
    ``squeeze``: scale along over the face's scale around; its inverse is how the letters' height
    follows their width.
    """

    circumferential_scale: Range
    marked_side_scale: Range
    along: Range
    outside_mm: Range
    squeeze: Range
    arc_per_mm: float
    supplied_outside_mm: Range


_Point = tuple[float, ...]  # supplied, recovered, wall, change, flowed, on_mm


@lru_cache(maxsize=4096)
def shrunk(box: Limits, on_mm: Range, heating: str, share: float = 0.5) -> Shrunk:
    """Return the extremes of all that matters for print, over the tube's limits and a seat.

    Every quantity is evaluated at one and the same point: diameter and scale belong together.
    Extremes are looked for at the corners of the box, where its edges (along every measure, not
    the diameter alone) meet a place at which a face stops shrinking (`peak_scale` and its
    counterpart) or the tube closes, and, from the best of these, along each measure whose slope
    points inside. On a ridge, where a face just stops shrinking, the climb may end up to 0.01 %
    short.

    Raises
    ------
    ValueError
        The range reaches above the smallest supplied inside.
    """
    if on_mm.high > box.supplied_mm.low:
        raise ValueError(f"{on_mm.high:g} mm does not go into a tube of {box.supplied_mm.low:g} mm supplied")
    candidates = [_evaluate(point, box, heating, share) for point in _candidates(box, on_mm, share)]
    bounds = (box.supplied_mm, box.recovered_mm, box.wall_mm, box.change, box.flowed, on_mm)

    def extreme(quantity: int, sign: int) -> float:
        def value(point: _Point) -> float:
            return sign * _evaluate(point, box, heating, share)[1][quantity]

        best = max(candidates, key=lambda candidate: sign * candidate[1][quantity])
        return sign * _climb(value, best[0], sign * best[1][quantity], bounds)

    def both(quantity: int) -> Range:
        return Range(extreme(quantity, -1), extreme(quantity, 1))

    return Shrunk(
        circumferential_scale=both(0),
        marked_side_scale=Range(extreme(1, -1), extreme(2, 1)),
        along=both(3),
        outside_mm=both(4),
        squeeze=Range(extreme(5, -1), extreme(6, 1)),
        arc_per_mm=extreme(7, 1),
        supplied_outside_mm=both(8),
    )


def _stop_at(point: _Point, box: Limits) -> Stop:
    supplied, recovered, wall, change, flowed, diameter = point
    liner = flowed * (recovered + box.liner_mm) * box.liner_mm
    return stop(supplied, recovered, wall, diameter, change, liner)


def _evaluate(point: _Point, box: Limits, heating: str, share: float) -> tuple[_Point, tuple[float, ...]]:
    """All quantities at one point: s, f low, f high, a, Do, a/f high, a/f low, 2 f high/Do, Do supplied."""
    at = _stop_at(point, box)
    face = marked_side_scale(at.circumferential_scale, at.full_scale, heating, share)
    return point, (
        at.circumferential_scale,
        face.low,
        face.high,
        at.along,
        at.outside_mm,
        at.along / face.high,
        at.along / face.low,
        2 * face.high / at.outside_mm,
        at.supplied_outside_mm,
    )


def _candidates(box: Limits, on_mm: Range, share: float) -> Iterator[_Point]:
    """Yield the corners of the box, and where its edges meet a place at which the slopes change."""
    bounds = (box.supplied_mm, box.recovered_mm, box.wall_mm, box.change, box.flowed, on_mm)
    corners: list[_Point] = list(product(*((r.low, r.high) if r.high > r.low else (r.low,) for r in bounds)))
    yield from corners
    for corner in corners:
        for index, bound in enumerate(bounds):
            if corner[index] < bound.high:  # each edge once, from its lower corner
                yield from _on_edge(corner, index, bound.high, box, share)


def _on_edge(corner: _Point, index: int, end: float, box: Limits, share: float) -> Iterator[_Point]:
    """Yield where, on one edge, a face stops shrinking or the tube is fully recovered: the slopes change there."""
    start = corner[index]
    at_start, at_end = _switches(corner, box, share), _switches(_moved(corner, index, end), box, share)
    for which, (first, last) in enumerate(zip(at_start, at_end, strict=True)):
        if first * last < 0:
            there = _zero(
                lambda x, w=which: _switches(_moved(corner, index, x), box, share)[w],  # type: ignore[misc]
                (start, first),
                (end, last),
            )
            yield _moved(corner, index, there)


def _zero(value: Callable[[float], float], one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return where a value is 0 between two places of which it has opposite signs; each is (place, value).

    By the Illinois form of the false position: a secant, with the value of an end that stays halved.
    """
    (low, at_low), (high, at_high) = one, other
    close, middle = abs(high - low) * 1e-12, low
    for _ in range(60):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = value(middle)
        if at_middle * at_high < 0:
            low, at_low = high, at_high
        else:
            at_low /= 2
        high, at_high = middle, at_middle
        if at_middle == 0 or abs(high - low) <= close or abs(at_middle) < 1e-15:
            break
    return middle


def _switches(point: _Point, box: Limits, share: float) -> tuple[float, float, float]:
    """Numbers whose sign says on which side of a change of slope a point lies.

    The lettered face stops at 1 (unmarked side first); it stops at full recovery (any); the tube is open or closed.
    """
    at = _stop_at(point, box)
    peak, counterpart = peak_scale(at.full_scale, share), 1 - share + share * at.full_scale
    return at.circumferential_scale - peak, at.circumferential_scale - counterpart, point[5] - point[1]


def _climb(value: Callable[[_Point], float], start: _Point, reached: float, bounds: tuple[Range, ...]) -> float:
    """Follow each measure inward from the best candidate while that still raises the value."""
    point = list(start)
    for index, bound in enumerate(bounds):
        width = bound.high - bound.low
        if width <= 0:
            continue
        here = point[index]
        for direction in (1e-4 * width, -1e-4 * width):
            trial = min(max(here + direction, bound.low), bound.high)
            if trial == here or value(_moved(point, index, trial)) <= reached:
                continue
            end = bound.high if direction > 0 else bound.low
            best = _golden(lambda x, i=index: value(_moved(point, i, x)), here, end)  # type: ignore[misc]
            gain = value(_moved(point, index, best))
            if gain > reached:
                point[index], reached = best, gain
            break
    return reached


def _moved(point: Sequence[float], index: int, to: float) -> _Point:
    moved = list(point)
    moved[index] = to
    return tuple(moved)


def _golden(value: Callable[[float], float], start: float, end: float) -> float:
    """Golden-section search for the largest value between two places."""
    ratio = (sqrt(5) - 1) / 2
    low, high = min(start, end), max(start, end)
    left, right = high - ratio * (high - low), low + ratio * (high - low)
    at_left, at_right = value(left), value(right)
    for _ in range(30):
        if at_left > at_right:
            high, right, at_right = right, left, at_left
            left = high - ratio * (high - low)
            at_left = value(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + ratio * (high - low)
            at_right = value(right)
    return (low + high) / 2
