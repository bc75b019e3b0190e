"""Sixty ways to write a number or a gauge, with the millimetres meant, or the refusal.

Lengths are hand arithmetic with 1 in = 25.4 mm. Gauges are checked as bare diameters: ASTM B258 gives
0.0253 in for 22 AWG, 0.0320 for 20, 0.0403 for 18, 0.1285 for 8 and 0.3249 for 1/0, 0.4600 for 4/0 (from
memory of the table, also 0.005 in x 92^((36 - n) / 39)); areas as the diameter of a round conductor, 2 sqrt(A / pi).
"""

from __future__ import annotations

import math

import pytest

from labeler.readers.lists import read_csv
from labeler.readers.values import length, size
from labeler.tables.materials import bare_diameter
from tests.make import settings

REFUSED = None


def of_area(mm2: float) -> float:
    return 2 * math.sqrt(mm2 / math.pi)


LENGTHS: list[tuple[str, float | None]] = [
    ("850", 850),
    ("850 mm", 850),
    ("850mm", 850),
    ("0,85 m", 850),
    ("0.85m", 850),
    ("85 cm", 850),
    ("8,5 dm", 850),
    ("33.5 in", 850.9),  # 33.5 × 25.4
    ('10"', 254),
    ("1/4 in", 6.35),
    ("1 1/4 in", 31.75),
    ("2 ft", 609.6),  # 24 × 25.4
    ("1.234,5", 1234.5),  # thousands dot, decimal comma
    ("1.234,5 mm", 1234.5),
    ("1,234.5", 1234.5),  # the other way round
    ("12.345,67", 12345.67),
    ("1 234", 1234),
    ("1'234", 1234),
    ("1 234 mm", 1234),  # a blank that does not break
    ("100.000,0", 100000),
    ("0,350", 0.35),
    (".5", 0.5),
    ("1e2", 100),
    ("1,500", REFUSED),  # thousands or decimals
    ("1.234.56", REFUSED),
    ("-5", REFUSED),
    ("12 ell", REFUSED),
    ("2 km", REFUSED),
    ("about 850", REFUSED),
    ("850-900", REFUSED),
]

GAUGES: list[tuple[str, float | None]] = [
    ("22 AWG", 0.0253 * 25.4),
    ("22AWG", 0.0253 * 25.4),
    ("AWG22", 0.0253 * 25.4),
    ("AWG 22", 0.0253 * 25.4),
    ("awg #22", 0.0253 * 25.4),
    ("#20 AWG", 0.0320 * 25.4),
    ("20 ga", 0.0320 * 25.4),
    ("20 gauge", 0.0320 * 25.4),
    ("20", 0.0320 * 25.4),
    ("8 AWG", 0.1285 * 25.4),
    ("1/0", 0.3249 * 25.4),
    ("1/0 AWG", 0.3249 * 25.4),
    ("AWG 1/0", 0.3249 * 25.4),
    ("0 AWG", 0.3249 * 25.4),
    ("4/0", 0.4600 * 25.4),
    ("0,35", of_area(0.35)),
    ("0.35 mm2", of_area(0.35)),
    ("0,35 mm²", of_area(0.35)),
    ("0.35mm^2", of_area(0.35)),
    ("2,5 qmm", of_area(2.5)),
    ("1.5 sq mm", of_area(1.5)),
    ("1 mm² (~18 AWG)", of_area(1)),  # what stands in brackets only says what it is like
    ("70", of_area(70)),  # there is no 70 AWG
    ("2×0.75", REFUSED),  # a cable: which core?
    ("2x0,75 mm²", REFUSED),
    ("1", REFUSED),  # AWG or mm2
    ("3", REFUSED),
    ("5/0", REFUSED),
    ("41 AWG", REFUSED),
    ("0", REFUSED),
]


def test_there_are_sixty() -> None:
    assert len(LENGTHS) + len(GAUGES) == 60


@pytest.mark.parametrize(("written", "mm"), LENGTHS)
def test_lengths(written: str, mm: float | None) -> None:
    if mm is REFUSED:
        with pytest.raises(ValueError, match=r"."):
            length(written)
    else:
        assert length(written) == pytest.approx(mm, rel=1e-9)


@pytest.mark.parametrize(("written", "mm"), GAUGES)
def test_gauges(written: str, mm: float | None) -> None:
    if mm is REFUSED:
        with pytest.raises(ValueError, match=r"."):
            size(written)
    else:
        assert bare_diameter(size(written)) == pytest.approx(mm, abs=0.00005 * 25.4)  # half the last digit printed


@pytest.mark.parametrize(("written", "mm"), [pair for pair in LENGTHS if pair[1]])
def test_lengths_in_a_list(written: str, mm: float) -> None:
    quoted = written.replace('"', '""')
    data = f'Wire,From,To,Length (mm)\nW1,J4:1,P1:1,"{quoted}"\n'.encode()
    (circuit,) = read_csv(data, "boat.csv", "boat", settings()).circuits
    assert circuit.length_mm == pytest.approx(mm, rel=1e-9)
