"""Legibility: NUREG-0700 1.3.1-4 and geometry; the factors are worked by hand where no page is named."""

import pytest

from labeler.formulas.legibility import copies_around, height_for_angle, height_for_dots, wrap_diameters


@pytest.mark.parametrize(
    ("distance", "at_16", "at_20"),
    [  # H = 2 D tan(MA/2); 500 mm: 20' -> 2.909, 16' -> 2.327
        (300, 1.396, 1.745),
        (400, 1.862, 2.327),
        (500, 2.327, 2.909),
        (710, 3.304, 4.131),
        (1000, 4.654, 5.818),
    ],
)
def test_height_for_angle(distance: float, at_16: float, at_20: float) -> None:
    assert height_for_angle(distance, 16) == pytest.approx(at_16, abs=0.0006)
    assert height_for_angle(distance, 20) == pytest.approx(at_20, abs=0.0006)


@pytest.mark.parametrize("arcmin", [10, 15, 16, 20, 22, 24, 45])
def test_the_printed_form_of_nureg_0700(arcmin: float) -> None:
    """NUREG-0700 1.3.1-4 prints H = 6.283 D MA / 21600: the same to four digits."""
    assert height_for_angle(700, arcmin) == pytest.approx(6.283 * 700 * arcmin / 21600, rel=1e-4)


def test_dots() -> None:
    assert height_for_dots(24, 600) == pytest.approx(24 / 600 * 25.4)


def test_wrap() -> None:
    """P = 12.7, L = 38.1: 12.7/pi = 4.0425; (38.1 - 12.7)/pi = 8.0851, less 2 x 0.1 with film: 7.885."""
    assert wrap_diameters(12.7, 38.1, 0) == pytest.approx((4.04, 8.09), abs=0.006)
    assert wrap_diameters(12.7, 38.1, 0.1)[1] == pytest.approx(7.89, abs=0.006)


def test_copies() -> None:
    assert copies_around(5.0, 1.4, 0.4) == 3  # 3 x 1.4 + 2 x 0.4 = 5.0
    assert copies_around(4.99, 1.4, 0.4) == 2
    assert copies_around(1.0, 1.4, 0.4) == 0
