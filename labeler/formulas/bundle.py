"""How thick a bundle of wires is: the smallest circle around it, the outline a sleeve closes on, laid by hand.

How the smallest circle is found is in `packing`, which is loaded when it is needed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Packing:
    """Wires laid as tightly as was found, around the origin, in the order they were given, mm.

    ``centres`` are those of the longest outline among equally tight arrangements, ``shortest``
    those of the shortest; ``()`` where there is only the one.
    """

    diameter_mm: float
    centres: tuple[tuple[float, float], ...]
    wires_mm: tuple[float, ...]
    shortest: tuple[tuple[float, float], ...] = ()


def pack(wires_mm: Sequence[float]) -> Packing:
    """Return the tightest round bundle found for wires of these outside diameters [mm], in any order.

    It is a real arrangement: no wires overlap and all lie inside the diameter, to rounding. The
    diameter is therefore never below the true minimum. For 1 to 20 and for 37 equal wires it
    is within 0.2 % of the best known; for mixed bundles of 6 to 40 wires it came out 1 % above
    a search of ten times the length on average, 3 % at worst. From 40 and from 200 wires on
    fewer arrangements are tried. More than 500 wires are laid in rings, the thickest
    inside, which takes no search: 1.13 to 1.17 times the root of the sum of squares for equal
    wires (1.05 is the limit), up to about 1.3 for wires of very different sizes. Bundles of the
    same proportions are searched only once.

    Raises ValueError for no wire, or one whose diameter is not a finite number above 0.

    References
    ----------
    R. L. Graham, B. D. Lubachevsky, K. J. Nurmela, P. R. J. Ostergard, "Dense packings of congruent
    circles in a circle", Discrete Mathematics 181 (1998), for the equal wires it is held against.

    >>> round(pack([2.0, 2.0, 2.0]).diameter_mm, 4)
    4.3094
    """
    from labeler.formulas.packing import THINNEST, arranged, repaired

    wires = _checked(wires_mm)
    order = sorted(range(len(wires)), key=lambda i: -wires[i])
    largest = wires[order[0]]
    shape = tuple(max(round(wires[i] / largest, 12), THINNEST) for i in order)
    radii = [wires[i] / 2 for i in order]
    placed = [
        repaired(radii, [(x * largest / 2, y * largest / 2) for x, y in arrangement])
        for arrangement in dict.fromkeys(arranged(shape))
    ]
    places = sorted(range(len(wires)), key=order.__getitem__)
    made = [tuple(centres[place] for place in places) for _, centres in placed]
    return Packing(2 * placed[0][0], made[0], wires, *made[1:])


def hull_diameter(packing: Packing) -> float:
    """Return the length of the taut outline around the packed wires, divided by pi [mm].

    That is the diameter of the round rod with the same girth: what a sleeve that closes on the bundle
    closes on. At most the bundle's diameter, at least the thickest wire's. Cauchy: the girth of a convex
    outline is the integral over all directions u of its support, here the greatest c.u + r of the wires;
    that is a sine on each part of the outline.

    Two wires: two half circles and two straight lines of one diameter, (pi + 2) / pi = 1.637.

    >>> round(hull_diameter(pack([1.0, 1.0])), 3)
    1.637
    """
    return _hull(packing, packing.centres)


def least_hull_diameter(packing: Packing) -> float:
    """Return the smallest `hull_diameter` [mm] among the arrangements that were found equally tight.

    A sleeve closes on that at least: how the wires lie under it is not known. Six wires in a ring, or
    triangle: (6 + pi)/pi = 2.910. Five around one, four sides of one diameter and one of root 3:
    (4 + root 3 + pi)/pi = 2.825.

    >>> six = pack([1.0] * 6)
    >>> round(hull_diameter(six), 3), round(least_hull_diameter(six), 3)
    (2.91, 2.825)
    """
    return _hull(packing, packing.shortest or packing.centres)


def _hull(packing: Packing, centres: Sequence[tuple[float, float]]) -> float:
    from labeler.formulas.packing import girth

    return girth([wire / 2 for wire in packing.wires_mm], centres) / math.pi


def hand_laid_diameter(wires_mm: Sequence[float], factor: float, allowance: float) -> float:
    """Return how thick a bundle of wires of these diameters [mm] is when it is laid by hand [mm].

    ``factor`` is the trade rule, diameter over root of the sum of squares, usually 1.2; ``allowance``
    by what share it exceeds the tightest packing at least, 0.05 for 5 %. That is needed because the
    trade rule falls below the tightest packing for 2 to 6, 9 and 10 equal wires. A single wire is as
    thick as it is. Raises as `pack`.

    Seven equal wires: 1.2 sqrt(7) = 3.175 against 3 * 1.05 = 3.15.

    >>> round(hand_laid_diameter([1.0] * 7, 1.2, 0.05), 3)
    3.175
    """
    wires = _checked(wires_mm)
    if len(wires) == 1:
        return wires[0]
    return max(factor * math.hypot(*wires), pack(wires).diameter_mm * (1 + allowance))


def _checked(wires_mm: Sequence[float]) -> tuple[float, ...]:
    wires = tuple(float(wire) for wire in wires_mm)
    if not wires:
        raise ValueError("a bundle needs at least one wire, got none")
    for wire in wires:
        if not (math.isfinite(wire) and wire > 0):
            raise ValueError(f"wire diameter {wire} mm: must be a finite number above 0")
    return wires
