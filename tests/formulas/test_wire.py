"""Bare wire by gauge, against ASTM B258 as published in public handbooks (4 significant figures)."""

from __future__ import annotations

import math

import pytest

from labeler.formulas.wire import (
    area_from_diameter,
    area_from_gauge,
    diameter_from_area,
    diameter_from_gauge,
    gauge_from_name,
)

# Diameter of the bare solid wire, mm, ASTM B258 rounded as printed.
B258_MM = {
    "4/0": "11.684", "3/0": "10.405", "2/0": "9.266", "1/0": "8.251", "1": "7.348",
    "2": "6.544", "4": "5.189", "6": "4.115", "8": "3.264", "10": "2.588",
    "12": "2.053", "14": "1.628", "16": "1.291", "18": "1.024", "20": "0.8118",
    "22": "0.6438", "24": "0.5106", "26": "0.4049", "28": "0.3211", "30": "0.2546",
}  # fmt: skip


def half_last_digit(printed: str) -> float:
    return 0.5 * 10.0 ** -len(printed.partition(".")[2])


@pytest.mark.parametrize(("name", "printed"), B258_MM.items())
def test_diameter_agrees_with_the_printed_table(name: str, printed: str) -> None:
    assert abs(diameter_from_gauge(gauge_from_name(name)) - float(printed)) <= half_last_digit(printed)


def test_the_two_gauges_that_are_exact_by_definition() -> None:
    # 36 AWG = 0.005 in, 4/0 = 0.46 in, 25.4 mm to the inch
    assert diameter_from_gauge(36) == 0.127
    assert diameter_from_gauge(-3) == pytest.approx(0.46 * 25.4, rel=1e-12)


def test_four_noughts_is_211600_circular_mil() -> None:
    # a circular mil is the square of the diameter in mil: 460^2 = 211600
    assert (diameter_from_gauge(-3) / 0.0254) ** 2 == pytest.approx(211_600, rel=1e-12)


@pytest.mark.parametrize(("gauge", "printed"), [(10, "5.261"), (20, "0.5176"), (-3, "107.2")])
def test_area_agrees_with_the_printed_figure(gauge: int, printed: str) -> None:
    # ASTM B258 areas in mm2 as published
    assert abs(area_from_gauge(gauge) - float(printed)) <= half_last_digit(printed)


@pytest.mark.parametrize("gauge", range(-3, 56))
def test_every_step_divides_the_diameter_by_the_same_ratio(gauge: int) -> None:
    # 92^(1/39) = 1.1229322 (printed with the formula)
    assert diameter_from_gauge(gauge) / diameter_from_gauge(gauge + 1) == pytest.approx(1.1229322, abs=5e-8)


def test_six_gauges_are_about_a_factor_of_two() -> None:
    # 1.1229322^6 = 2.0050
    assert diameter_from_gauge(14) / diameter_from_gauge(20) == pytest.approx(2.0050, abs=5e-5)


def test_area_and_diameter_are_inverse() -> None:
    assert area_from_diameter(2.0) == pytest.approx(math.pi)
    assert diameter_from_area(area_from_diameter(0.8118)) == pytest.approx(0.8118, rel=1e-12)
    assert diameter_from_area(0.0) == 0.0


@pytest.mark.parametrize(
    ("name", "gauge"),
    [
        ("20", 20),
        ("1/0", 0),
        ("2/0", -1),
        ("3/0", -2),
        ("4/0", -3),
        ("0", 0),
        ("0000", -3),
        (" 8 ", 8),
        ("56", 56),
    ],
)
def test_gauge_from_name(name: str, gauge: int) -> None:
    assert gauge_from_name(name) == gauge


@pytest.mark.parametrize("name", ["", "5/0", "0/0", "00000", "57", "-1", "1.5", "020", "AWG 20", "twenty", "²"])
def test_names_that_are_no_gauge(name: str) -> None:
    with pytest.raises(ValueError, match="is no wire gauge"):
        gauge_from_name(name)


def test_what_is_out_of_range_is_refused() -> None:
    for gauge in (-4, 57):
        with pytest.raises(ValueError, match="outside the gauge numbers"):
            diameter_from_gauge(gauge)
    with pytest.raises(ValueError, match="is negative"):
        area_from_diameter(-0.1)
    with pytest.raises(ValueError, match="is negative"):
        diameter_from_area(-0.1)
