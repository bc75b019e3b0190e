"""Single values: expected figures are hand arithmetic with 1 in = 25.4 mm exactly."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.model import Pin
from labeler.readers.values import (
    checked_cavity,
    gauge_kind,
    length,
    number,
    pin,
    setting,
    size,
    size_of_kind,
    with_settings,
    word,
)
from labeler.tables.catalogue import default_settings, setting_specs


@pytest.mark.parametrize(
    ("written", "mm"),
    [
        ("0.25 in", 6.35),  # 25.4 / 4
        ("1/4 in", 6.35),
        ('1/4"', 6.35),
        ("1 1/4 in", 31.75),  # 5 × 25.4 / 4
        ("1-1/4 inch", 31.75),
        ("6.4 mm", 6.4),
        ("1500mm", 1500),
        ("15cm", 150),
        ("2 m", 2000),
        ("2ft", 609.6),  # 24 × 25.4
        ("0,35", 0.35),
        (".5", 0.5),
        (" 7 ", 7),
        (6.4, 6.4),
        (3, 3),
    ],
)
def test_length(written: object, mm: float) -> None:
    assert length(written) == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(("unit", "mm"), [("mm", 2), ("cm", 20), ("m", 2000), ("in", 50.8)])
def test_length_in_the_columns_unit(unit: str, mm: float) -> None:
    assert length("2", unit) == pytest.approx(mm)
    assert length("2 mm", unit) == 2  # its own unit wins


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("-3", "above 0"),
        (0, "above 0"),
        ("0 mm", "above 0"),
        ("2 km", "no length"),
        ("6.4 ell", "no length"),
        ("", "no length"),
        ("mm", "no length"),
        ("1/0 in", "divides by 0"),
        ("1,500", "thousands or decimals"),
        ("nan", "no length"),
        (math.nan, "finite"),
        (math.inf, "finite"),
        ("1e999", "finite"),
        ("1001 m", "1 km"),
        (True, "no number"),
        (None, "no number"),
        ("9" * 101, "no length"),
    ],
)
def test_length_refused(written: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        length(written)


def test_a_whole_number_without_end() -> None:
    for read in (length, size, number):  # too large for a float, and too long to be shown
        with pytest.raises(ValueError, match="more than 30 digits"):
            read(10**5000)


def test_zero_length_where_it_may_be() -> None:
    assert length("0", positive=False) == 0
    with pytest.raises(ValueError, match="0 or more"):
        length("-0.1", positive=False)


@given(st.floats(min_value=0.001, max_value=1000))
def test_length_in_inches_is_mm_over_25_4(inches: float) -> None:
    written = f"{inches:.6f} in"
    if float(written[:-3]) > 0:
        assert length(written) == pytest.approx(float(written[:-3]) * 25.4)


@pytest.mark.parametrize(
    ("written", "canonical"),
    [
        ("20 AWG", "20 AWG"),
        ("AWG20", "20 AWG"),
        ("awg 20", "20 AWG"),
        ("22AWG", "22 AWG"),
        ("20 ga", "20 AWG"),
        ("#20 AWG", "20 AWG"),
        ("20", "20 AWG"),
        (20, "20 AWG"),
        ("20.0", "20 AWG"),
        ("3 AWG", "3 AWG"),
        ("1/0", "1/0 AWG"),
        ("4/0 AWG", "4/0 AWG"),
        ("AWG 2/0", "2/0 AWG"),
        ("0 AWG", "1/0 AWG"),  # 0, 00, 000, 0000 are 1/0 to 4/0
        ("00", "2/0 AWG"),
        ("0.5 mm2", "0.5 mm2"),
        ("0.50 mm²", "0.5 mm2"),
        ("0,75", "0.75 mm2"),
        (0.35, "0.35 mm2"),
        ("1 mm² (~18 AWG)", "1 mm2"),
        ("2,5qmm", "2.5 mm2"),
        ("1.5 sq mm", "1.5 mm2"),
        ("70", "70 mm2"),  # there is no 70 AWG
    ],
)
def test_size(written: object, canonical: str) -> None:
    assert size(written) == canonical
    assert size(canonical) == canonical


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("banana", "no wire size"),
        ("", "empty"),
        ("3", "3 AWG or 3 mm2"),
        ("2x0.75", "several cores"),
        ("0", "above 0"),
        ("-5", "above 0"),
        ("0 mm2", "above 0"),
        ("41 AWG", "4/0 to 40"),
        ("20.5 AWG", "no wire size"),
        ("500 mm2", "at most 400"),
        ("1,500", "no wire size"),
        ("1e999", "no wire size"),
        ("AWG", "no wire size"),
        (True, "no wire size"),
        ([], "no wire size"),
    ],
)
def test_size_refused(written: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        size(written)


@pytest.mark.parametrize(
    ("column", "kind"),
    [
        (["20", "22", "18"], "AWG"),
        (["0.75", "0,35"], "mm2"),
        (["0.75", "1", "6"], "mm2"),  # 1 and 6 are metric sizes as well
        (["1/0", "2"], "AWG"),
        (["2", "4", "18"], "AWG"),  # 18 is no metric size
        (["4", "6", "10"], "AWG"),  # could be both: whole numbers from 4 to 40 are gauges
        (["50", "16"], "mm2"),  # there is no 50 AWG
        (["1", "2"], ""),
        (["20", "0.5"], ""),  # 20 is no metric size, 0.5 no gauge
        (["20 AWG", "0.5"], "mm2"),  # what states its unit does not count
        (["banana", "20"], "AWG"),
    ],
)
def test_gauge_is_decided_over_the_column(column: list[str], kind: str) -> None:
    assert gauge_kind(column) == kind


@pytest.mark.parametrize(
    ("written", "kind", "canonical"),
    [("20", "AWG", "20 AWG"), ("20", "mm2", "20 mm2"), ("20 AWG", "mm2", "20 AWG"), ("1/0", "mm2", "1/0 AWG")],
)
def test_size_of_kind(written: object, kind: str, canonical: str) -> None:
    assert size_of_kind(written, kind) == canonical


READERS: tuple[Callable[[str], object], ...] = (size, length, number, pin, word)


@given(st.text(max_size=30))
def test_size_and_length_refuse_or_answer(text: str) -> None:
    for read in READERS:
        with contextlib.suppress(ValueError):  # and nothing else
            assert read(text) is not None


@pytest.mark.parametrize(
    ("written", "found"),
    [
        ("J4:2", Pin("J4", "2")),
        (" J4 : 2 ", Pin("J4", "2")),
        ("A1:J4:2", Pin("A1:J4", "2")),
        ("GND1", Pin("GND1")),
        ("J4:1000000000", Pin("J4", "1000000000")),
    ],
)
def test_pin(written: str, found: Pin) -> None:
    assert pin(written) == found


@pytest.mark.parametrize("written", ["", "J4:", ":2", "J4:0", "J4:00", "J4:-1", "J\x074:1"])
def test_pin_refused(written: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        pin(written)


def test_cavity_names_need_not_be_numbers() -> None:
    assert [checked_cavity(name) for name in ("A1", "B-", "05")] == ["A1", "B-", "05"]


@pytest.mark.parametrize(
    ("key", "value", "held"),
    [
        ("print.min_capital_height_mm", "0.05 in", 1.27),  # 25.4 / 20
        ("print.min_capital_height_mm", 2, 2.0),
        ("sleeve.pass_over_margin", "10 %", 0.1),
        ("sleeve.pass_over_margin", 0.2, 0.2),
        ("print.readable_arc_deg", "95 deg", 95.0),
        ("print.readable_arc_deg", "95°", 95.0),
        ("print.line_spacing", "1,5", 1.5),
        ("sleeve.heating", "even", "even"),
        ("sleeve.families", "AS23053/5, 3:1 single wall", ("AS23053/5", "3:1 single wall")),
        ("sleeve.families", ["AS23053/5"], ("AS23053/5",)),
        ("sleeve.cut_lengths_mm", [30, "1 in", 30], (25.4, 30.0)),
        ("sleeve.cut_lengths_mm", "30, 20 mm", (20.0, 30.0)),
        ("sleeve.cut_lengths_mm", 25, (25.0,)),
        ("sleeve.cut_lengths_mm", [], ()),
        ("sleeve.cut_lengths_mm", "", ()),
        ("covering_wall_mm", "", None),
        ("covering_wall_mm", 0, 0.0),
        ("wire_type", "", ""),
    ],
)
def test_setting(key: str, value: Any, held: object) -> None:
    found = setting(setting_specs()[key], value)
    assert found == (pytest.approx(held) if isinstance(held, float) else held)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("sleeve.pass_over_margin", 3, "outside 0 to 1"),
        ("sleeve.pass_over_margin", "-1 %", "outside 0 to 1"),
        ("sleeve.pass_over_margin", True, "no number"),
        ("sleeve.pass_over_margin", "nan", "no number"),
        ("sleeve.heating", "unmarked first", "did you mean 'unmarked side first'"),
        ("sleeve.heating", "", "empty"),
        ("sleeve.colour", "\u202eWH", "cannot be printed"),
        ("code.data", "{serial}\n{marker}", "cannot be printed"),
        ("sleeve.heating", 1, "must be a text"),
        ("sleeve.families", [], "one or more"),
        ("sleeve.families", 3, "one or more"),
        ("sleeve.families", ["a", 3], "must be a text"),
        ("sleeve.cut_lengths_mm", 0, "outside 3 to 1000"),
        ("sleeve.cut_lengths_mm", False, "no number"),
        ("sleeve.cut_lengths_mm", "20,,30", "no length"),
        ("sleeve.cut_lengths_mm", [20, 2000], "outside 3 to 1000"),
        ("print.reading_distance_mm", "4 cm", "outside 50 to 5000"),
    ],
)
def test_setting_refused(key: str, value: Any, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        setting(setting_specs()[key], value)


def test_every_default_is_a_value_that_may_be_set() -> None:
    for key, choice in setting_specs().items():
        assert setting(choice, choice.default) == default_settings().get(key)


def test_a_named_covering_ends_an_inherited_wall() -> None:
    walled = with_settings(default_settings(), {"covering_wall_mm": 0.6})
    assert walled.covering_wall_mm == 0.6
    assert with_settings(walled, {"covering": "none"}).covering_wall_mm is None
    assert with_settings(walled, {"covering": "none", "covering_wall_mm": 0.4}).covering_wall_mm == 0.4
    assert with_settings(walled, {"sleeve.pass_over_margin": 0.2}).covering_wall_mm == 0.6
