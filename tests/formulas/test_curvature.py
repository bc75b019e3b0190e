"""Codes on round parts, against published bands and the algebra of limiting cases."""

from __future__ import annotations

from math import asin, degrees, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.formulas.curvature import GRADES, axial_nonuniformity, grid_deviation, largest_arc, smallest_diameter


@given(st.integers(8, 60), st.floats(0.05, 1.5), st.floats(0.0, 0.35))
def test_grid_deviation_is_the_largest_distance_from_the_chord(modules: int, arc: float, aim: float) -> None:
    """By sampling the definition: n |sin(u a/2 + psi) - chord| over the projected width."""
    u = np.linspace(-1, 1, 4001)
    seen = np.sin(u * arc / 2 + aim)
    chord = seen[0] + (seen[-1] - seen[0]) * (u + 1) / 2
    sampled = modules * float(np.abs(seen - chord).max()) / float(seen[-1] - seen[0])
    assert grid_deviation(modules, arc, aim) == pytest.approx(sampled, rel=1e-4, abs=1e-9)


@given(st.integers(8, 60), st.floats(0.05, 1.0), st.sampled_from([0.0, 0.1, 0.17]))
def test_grid_deviation_grows_with_arc_and_modules(modules: int, arc: float, aim: float) -> None:
    here = grid_deviation(modules, arc, aim)
    assert grid_deviation(modules, arc * 1.1, aim) > here
    assert grid_deviation(modules + 2, arc, aim) > here


def test_a_small_arc_follows_its_series() -> None:
    """On axis sin p = p - p^3/6: the distance from the chord is (a^2 p/4 - p^3)/6 with a the arc, largest at
    p = a/sqrt(12): a^3/(72 sqrt 3)... over the width a: n a^2 / (72 sqrt 3) = 0.00802 n a^2."""
    arc = 0.05
    assert grid_deviation(20, arc) == pytest.approx(20 * arc**2 / (72 * 3**0.5), rel=1e-3)


def test_an_aim_error_adds_about_n_arc_tan_aim_over_8() -> None:
    """sin(p + psi) = ... - p^2/2 sin psi: the parabola's sagitta a^2/8 sin psi over the width a cos psi."""
    assert grid_deviation(20, 0.02, radians(15)) == pytest.approx(20 * 0.02 * np.tan(radians(15)) / 8, rel=0.01)


@pytest.mark.parametrize("aim", [0.0, 0.2])
def test_what_lies_beyond_the_rim_is_refused(aim: float) -> None:
    with pytest.raises(ValueError, match="leaves the view"):
        grid_deviation(20, pi + 0.01 - 2 * aim, aim)
    with pytest.raises(ValueError, match="leaves the view"):
        grid_deviation(20, 0.0, aim)


@given(st.integers(8, 60), st.floats(0.1, 0.7), st.floats(0.0, 0.3))
def test_the_largest_arc_is_where_the_limit_is_met(modules: int, limit: float, aim: float) -> None:
    arc = largest_arc(modules, limit, aim)
    assert 0 < arc <= pi / 3
    met = grid_deviation(modules, arc, aim)
    assert met <= limit + 1e-6
    assert arc == pytest.approx(pi / 3) or met == pytest.approx(limit, abs=1e-6)


def test_an_arc_of_60_degrees_is_half_the_diameter_wide() -> None:
    """W = D pi / 6, W / D = 0.5236; so 8 modules of 0.25 mm need 2 mm x 6 / pi = 3.82 mm."""
    assert smallest_diameter(8, 0.25, 0.38) == pytest.approx(2 * 6 / pi)


def test_60_degrees_are_seen_0_955_of_their_length_wide() -> None:
    """2 sin 30 over pi/3: 0.9549, an axial non-uniformity of 4.6 % (grade A); 90 degrees 0.900, 10.5 % (D)."""
    for arc, share, grade in ((pi / 3, 0.9549, "A"), (pi / 2, 0.9003, "D")):
        seen = 2 * sin(arc / 2) / arc
        assert seen == pytest.approx(share, abs=5e-5)
        found = axial_nonuniformity(seen, 1.0)
        assert next(name for name, limit in GRADES.items() if found <= limit) == grade


@pytest.mark.parametrize(("ratio", "value", "within"), [(1.10, 0.0952, "C"), (1.062, 0.0602, "B"), (1.128, 0.1203, "")])
def test_axial_nonuniformity_by_hand(ratio: float, value: float, within: str) -> None:
    """(r - 1) / ((r + 1) / 2): 0.10/1.05, 0.062/1.031, 0.128/1.064; symmetric in its two sides."""
    found = axial_nonuniformity(ratio, 1.0)
    assert found == pytest.approx(value, abs=5e-4)
    assert axial_nonuniformity(1.0, ratio) == found
    assert next((name for name, limit in GRADES.items() if found <= limit), "") == within


def test_sides_of_16_percent_of_the_diameter_cover_18_degrees() -> None:
    """0.16 D of arc is 0.32 rad = 18.33 degrees; flat against the view it would be 2 asin 0.16 = 18.41."""
    assert degrees(0.32) == pytest.approx(18.33, abs=0.01)
    assert degrees(2 * asin(0.16)) == pytest.approx(18.41, abs=0.01)
    assert smallest_diameter(16, 0.01, 1e9, most=0.32) == pytest.approx(16 * 0.01 / 0.16)
