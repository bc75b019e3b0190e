"""The bundle: tightest packing, taut outline, hand-laid diameter.

Expected numbers are closed forms worked out here, or the table of best known packings of equal
circles in a circle (Graham, Lubachevsky, Nurmela, Ostergard 1998, as given in the public
encyclopaedia's article on circle packing in a circle): ratio of the enclosing diameter to one
wire's. "proved" means that no tighter packing exists, "conjectured" that none is known.
"""

from __future__ import annotations

import itertools
import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.formulas.bundle import Packing, hand_laid_diameter, hull_diameter, least_hull_diameter, pack
from labeler.formulas.packing import SEARCHED

ROOT5 = math.sqrt(5)

BEST_KNOWN = {
    1: 1.0,  # trivial
    2: 2.0,  # trivial
    3: 1 + 2 / math.sqrt(3),  # proved
    4: 1 + math.sqrt(2),  # proved
    5: 1 + math.sqrt(2 * (1 + 1 / ROOT5)),  # proved
    6: 3.0,  # proved
    7: 3.0,  # proved: six around one
    8: 1 + 1 / math.sin(math.pi / 7),  # proved: seven around one, which is loose
    9: 1 + math.sqrt(2 * (2 + math.sqrt(2))),  # proved
    10: 3.8130256,  # proved; 7 decimals from an own optimiser, 3.813 in the table
    11: 1 + 1 / math.sin(math.pi / 9),  # proved
    12: 4.0296019,  # proved; 4.029... in the table
    13: 2 + ROOT5,  # proved
    14: 4.3284286,  # proved 2024; 4.328... in the table
    15: 1 + math.sqrt(6 + 2 / ROOT5 + 4 * math.sqrt(1 + 2 / ROOT5)),  # conjectured
    16: 4.6154256,  # conjectured; 4.615... in the table
    17: 4.7920337,  # conjectured; 4.792... in the table
    18: 1 + math.sqrt(2) + math.sqrt(6),  # conjectured
    19: 1 + math.sqrt(2) + math.sqrt(6),  # proved
    20: 5.1223207,  # conjectured; 5.122... in the table
    37: 6.7588,  # conjectured; from memory, 4 decimals
}
ROUNDING = dict.fromkeys((10, 12, 14, 16, 17, 20), 0.5e-7) | {37: 0.5e-4}  # half the last digit


@pytest.mark.parametrize(("n", "best"), BEST_KNOWN.items())
def test_equal_wires_against_best_known(n: int, best: float) -> None:
    ratio = pack([2.0] * n).diameter_mm / 2.0
    assert ratio >= best * (1 - 1e-6) - ROUNDING.get(n, 0.0)
    assert ratio <= best * 1.005


def descartes(a: float, b: float, c: float) -> float:
    """Radius of the circle that three mutually touching circles touch from inside.

    Descartes: (k1 + k2 + k3 + k4)^2 = 2 (k1^2 + k2^2 + k3^2 + k4^2), curvatures k = 1/r, the
    enclosing circle's negative: k4 = k1 + k2 + k3 - 2 sqrt(k1 k2 + k2 k3 + k3 k1).
    """
    k, m, n = 1 / a, 1 / b, 1 / c
    return -1 / (k + m + n - 2 * math.sqrt(k * m + m * n + n * k))


def pappus(a: float, b: float) -> float:
    """Radius of the largest circle beside a and b inside a circle of radius a + b.

    The first circle of the Pappus chain, ab(a + b)/(a^2 + ab + b^2). It is Descartes' fourth circle
    too: k = 1/a + 1/b - 1/(a + b) + 2 sqrt(0), where the root vanishes as the three centres are in line.
    """
    return a * b * (a + b) / (a * a + a * b + b * b)


def test_the_yardsticks_themselves() -> None:
    assert descartes(1, 1, 1) == pytest.approx(1 + 2 / math.sqrt(3))  # three equal circles
    assert pappus(1, 1) == pytest.approx(2 / 3)  # (1+x)^2 = 1 + (2-x)^2 gives 6x = 4
    assert pappus(2, 3) == pytest.approx(30 / 19)
    # exactly fitting: all three touch, so the Descartes circle is the one of radius a + b
    assert descartes(2, 3, pappus(2, 3)) == pytest.approx(5)


@pytest.mark.parametrize(
    ("radii", "enclosing"),
    [
        ((1.3, 0.4), 1.7),  # two wires: the sum
        ((1, 2, 3), 5.0),  # 1 < 30/19 lies beside 2 and 3
        ((2, 3, pappus(2, 3)), 5.0),  # fits without play
        ((1, 1, 2 / 3), 2.0),  # fits without play
        ((1, 1, 2 / 3, 2 / 3), 2.0),  # one on each side
        ((1, 1, 1, 1, math.sqrt(2) - 1), 1 + math.sqrt(2)),  # the hole between four
        ((3, 2, 2), 5.1495454),  # 4/3 - 2 sqrt(7/12) = -0.1941919, 1/0.1941919
        ((2, 1, 1), 3.0448155),  # 5/2 - 2 sqrt(2) = -0.3284271, 1/0.3284271
        ((1,) * 6 + (1,), 3.0),  # six around one
        ((1, 0.2, 0.19, 0.19), 1.2),  # pappus(1, 0.2) = 0.24 / 1.24 = 0.1935: one on each side
    ],
)
def test_exact_mixed_bundles(radii: tuple[float, ...], enclosing: float) -> None:
    diameter = pack([2 * r for r in radii]).diameter_mm
    assert diameter >= 2 * enclosing * (1 - 1e-6)
    assert diameter <= 2 * enclosing * 1.005


@pytest.mark.parametrize("radii", [(3, 2, 2), (2, 1, 1), (1, 1, 0.7), (5, 4, 3), (1, 1, 1)])
def test_three_wires_that_all_touch(radii: tuple[float, float, float]) -> None:
    # none fits the gap beside the other two, so the optimum is Descartes' circle (proved)
    a, b, c = radii
    assert min(radii) > pappus(*sorted(radii)[1:])
    assert pack([2 * a, 2 * b, 2 * c]).diameter_mm == pytest.approx(2 * descartes(a, b, c), rel=1e-6)


def test_published_mixed_bundle() -> None:
    # 3 wires of 1.19, 5 of 1.40, 1 of 1.65 mm: catalogue p. 544 (2017) says 4.92 by 1.2 sqrt(sum d^2),
    # a search with 200 starts found 4.770; below sqrt(sum d^2) = sqrt(16.7708) = 4.095 is impossible
    bundle = [1.19] * 3 + [1.40] * 5 + [1.65]
    assert 4.095 < pack(bundle).diameter_mm <= 4.80
    assert hand_laid_diameter(bundle, 1.2, 0.0) == pytest.approx(4.9143, abs=5e-5)


@pytest.mark.parametrize(
    ("n", "ratio"),
    [
        (1, 1.0),
        (2, 1 + 2 / math.pi),  # 1.637: two half circles and two lines
        (3, 1 + 3 / math.pi),  # 1.955: triangle of side d
        (4, 1 + 4 / math.pi),  # 2.273: square of side d
        (5, 1 + 5 / math.pi),  # 2.592: pentagon of side d
        (6, 1 + 6 / math.pi),  # 2.910: hexagon of side d; as tight with one in the middle, but shorter
        (7, 1 + 6 / math.pi),  # the same hexagon around one
        (8, 1 + 7 * (2.3047649 * math.sin(math.pi / 7)) / math.pi),  # 7 on a ring of R - r = 2.3047649 r
    ],
)
def test_taut_outline_of_equal_wires(n: int, ratio: float) -> None:
    # girth of equal circles = perimeter of the polygon of the outer centres + pi d
    assert hull_diameter(pack([1.9] * n)) == pytest.approx(1.9 * ratio, rel=0.001)


@pytest.mark.parametrize(
    ("n", "ratio"),
    [
        (2, 1 + 2 / math.pi),
        (5, 1 + 5 / math.pi),
        # five around one: of the hexagon's corners one is free, four sides of d and one of root 3 d are left
        (6, 1 + (4 + math.sqrt(3)) / math.pi),  # 2.825
        (7, 1 + 6 / math.pi),  # only the one
    ],
)
def test_the_shortest_of_equally_tight_outlines(n: int, ratio: float) -> None:
    packing = pack([1.9] * n)
    assert least_hull_diameter(packing) == pytest.approx(1.9 * ratio, rel=0.001)
    assert packing.diameter_mm == pytest.approx(1.9 * BEST_KNOWN[n], rel=0.001)


def test_taut_outline_of_two_unequal_circles() -> None:
    # an open belt: angle g = asin((R - r)/c); length 2 c cos g + pi (R + r) + 2 g (R - r)
    big, small, c = 3.0, 1.0, 4.0
    g = math.asin((big - small) / c)
    belt = 2 * c * math.cos(g) + math.pi * (big + small) + 2 * g * (big - small)
    pair = Packing(8.0, ((-1.0, 0.0), (3.0, 0.0)), (2 * big, 2 * small))
    assert hull_diameter(pair) == pytest.approx(belt / math.pi, rel=1e-12)


@pytest.mark.parametrize("x", [0.0, 3.0])
def test_a_wire_inside_another_adds_nothing_to_the_outline(x: float) -> None:
    nested = Packing(2.0, ((x, 0.0), (x + 0.3, 0.2)), (2.0, 0.5))
    assert hull_diameter(nested) == pytest.approx(2.0, rel=1e-12)


def test_outline_is_the_mean_width() -> None:
    # Cauchy: girth / pi = mean over directions of the width; sampled, so only to 1e-4
    packing = pack([1.0, 1.4, 2.2, 0.7, 1.1, 1.9])
    steps = 3600
    total = 0.0
    for k in range(steps):
        u, v = math.cos(2 * math.pi * k / steps), math.sin(2 * math.pi * k / steps)
        pairs = zip(packing.centres, packing.wires_mm, strict=True)
        total += max(x * u + y * v + d / 2 for (x, y), d in pairs)
    assert hull_diameter(packing) == pytest.approx(2 * total / steps, rel=1e-4)


def test_hand_laid() -> None:
    assert hand_laid_diameter([1.9], 1.2, 0.05) == 1.9  # one wire is itself
    assert hand_laid_diameter([1.9, 1.9], 1.2, 0.05) == pytest.approx(3.8 * 1.05)  # 1.2 sqrt 2 < 2
    assert hand_laid_diameter([1.0] * 7, 1.2, 0.05) == pytest.approx(1.2 * math.sqrt(7))  # 3.175 > 3.15


@pytest.mark.parametrize("n", [2, 3, 4, 5, 6, 9, 10])
def test_the_trade_rule_alone_is_too_small(n: int) -> None:
    # 1.2 sqrt n is below the enclosing circle for these n: 1.697 < 2, 2.078 < 2.155, ...
    assert 1.2 * math.sqrt(n) < BEST_KNOWN[n]
    assert hand_laid_diameter([1.0] * n, 1.2, 0.0) >= BEST_KNOWN[n] * (1 - 1e-6)


@pytest.mark.parametrize("bad", [0.0, -1.5, math.nan, math.inf])
def test_refuses_what_is_no_diameter(bad: float) -> None:
    for call in (pack, lambda wires: hand_laid_diameter(wires, 1.2, 0.05)):
        with pytest.raises(ValueError, match=str(bad)):
            call([1.0, bad])


def test_refuses_an_empty_bundle() -> None:
    with pytest.raises(ValueError, match="none"):
        pack([])


# ---------------------------------------------------------------- laws

WIRES = st.lists(st.floats(0.5, 8.0), min_size=1, max_size=8)


def assert_valid(packing: Packing) -> None:
    """No two wires overlap and none sticks out, to 1e-6 of the sizes concerned."""
    wires = list(zip(packing.centres, packing.wires_mm, strict=True))
    for (x, y), d in wires:
        assert math.hypot(x, y) + d / 2 <= packing.diameter_mm / 2 * (1 + 1e-6)
    for ((x, y), d), ((u, v), e) in itertools.combinations(wires, 2):
        assert math.hypot(x - u, y - v) >= (d + e) / 2 * (1 - 1e-6)


@settings(max_examples=60, deadline=None)
@given(WIRES)
def test_is_a_real_arrangement_within_its_bounds(wires: list[float]) -> None:
    packing = pack(wires)
    assert packing.wires_mm == tuple(wires)
    assert_valid(packing)
    assert packing.diameter_mm >= sum(sorted(wires)[-2:]) * (1 - 1e-9)  # the two thickest side by side
    assert packing.diameter_mm >= math.hypot(*wires) * (1 - 1e-9)  # the area of the wires
    least = least_hull_diameter(packing)
    assert max(wires) * (1 - 1e-9) <= least <= hull_diameter(packing) * (1 + 1e-9)
    assert hull_diameter(packing) <= packing.diameter_mm * (1 + 1e-9)


@settings(max_examples=25, deadline=None)
@given(WIRES, st.floats(0.01, 50.0))
def test_scaling_scales(wires: list[float], factor: float) -> None:
    scaled = pack([factor * wire for wire in wires])
    assert scaled.diameter_mm == pytest.approx(factor * pack(wires).diameter_mm, rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(WIRES.flatmap(lambda wires: st.tuples(st.just(wires), st.permutations(wires))))
def test_order_does_not_matter(both: tuple[list[float], list[float]]) -> None:
    given_order, other = (pack(wires) for wires in both)
    assert other.diameter_mm == given_order.diameter_mm
    laid = [sorted(zip(p.wires_mm, p.centres, strict=True)) for p in (given_order, other)]
    assert laid[0] == laid[1]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(WIRES, st.floats(0.5, 8.0))
def test_one_more_wire_is_not_thinner(wires: list[float], more: float) -> None:
    # the true minimum never falls; a search may miss it by a little, and 2 % is the limit set here.
    # Fixed examples, since about one random bundle in 1500 goes past it.
    assert pack([*wires, more]).diameter_mm >= pack(wires).diameter_mm * 0.98


# ---------------------------------------------------------------- large and odd bundles


@pytest.mark.parametrize("n", [61, 120, SEARCHED, SEARCHED + 1, 3000])
def test_large_bundles_answer(n: int) -> None:
    packing = pack([2.0] * n)
    # Kravitz 1967: r/R <= 0.952313 / sqrt(n). Rings of pitch d hold about pi/4 of the area.
    assert 1.05007 * math.sqrt(n) <= packing.diameter_mm / 2 <= 1.18 * math.sqrt(n)
    if n <= SEARCHED + 1:
        assert_valid(packing)


def test_rings_of_mixed_wires_do_not_overlap() -> None:
    assert_valid(pack([0.8 + 0.37 * (k * k % 11) for k in range(SEARCHED + 20)]))


@pytest.mark.parametrize(
    "wires",
    [
        [20.0] + [0.5] * 49,  # a cable among thin wires
        [5.0] * 3 + [0.01] * 10,
        [1.0, 1e-300, 1e-300],
        [1e-200] * 5,
        [1e150] * 5,
    ],
)
def test_extreme_sizes(wires: list[float]) -> None:
    packing = pack(wires)
    assert_valid(packing)
    assert packing.diameter_mm <= 2.8 * max(wires)


def test_the_same_from_run_to_run() -> None:
    wires = [1.1, 2.3, 1.7, 0.9, 1.3, 2.0, 1.6, 1.2, 1.8, 2.1, 0.8, 1.5, 1.4]
    code = f"from labeler.formulas.bundle import pack; print(repr(pack({wires})))"
    other = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert other.stdout.strip() == repr(pack(wires))


def test_no_random_state_is_touched() -> None:
    import numpy as np

    before = np.random.get_state()[1].tobytes()  # type: ignore[index]
    pack([1.01, 1.73, 2.31, 0.77])
    assert np.random.get_state()[1].tobytes() == before  # type: ignore[index]


def test_numpy_is_not_loaded_by_the_import() -> None:
    code = "import sys, labeler.formulas.bundle; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
