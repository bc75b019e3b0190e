"""Colour codes against IEC 60757 and the numeric code as published."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.tables.colours import (
    base_colours,
    colour_name,
    luminance,
    split_colours,
    translated,
)

# GOST 28763-90, the adoption of IEC 757:1983, table order
IEC_60757 = ["BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "GD", "TQ", "SR"]


def test_base_colours_in_table_order() -> None:
    assert list(base_colours()) == IEC_60757


@pytest.mark.parametrize(
    ("code", "english", "german"),
    [
        ("BK", "black", "schwarz"),
        ("OG", "orange", "orange"),
        ("VT", "violet", "violett"),
        ("SR", "silver", "silber"),
        ("GNYE", "green-and-yellow", "grün-gelb"),
        ("RDBU", "red/blue", "rot/blau"),
        ("bk", "black", "schwarz"),  # lower case has the same meaning
        ("beige", None, None),
        ("", None, None),
    ],
)
def test_names(code: str, english: str | None, german: str | None) -> None:
    assert colour_name(code) == english
    assert colour_name(code, "german") == german


@pytest.mark.parametrize(
    ("code", "parts"),
    [
        ("RDBU", ("RD", "BU")),
        ("WHBNBK", ("WH", "BN", "BK")),
        ("GNYE", ("GN", "YE")),
        ("rd-bu", ("RD", "BU")),
        ("RD/BU", ("RD", "BU")),
        (" WH ", ("WH",)),
        ("RDB", ()),
        ("RDXX", ()),
        ("RD BU", ()),
        ("/RD", ()),
        ("ſrrd", ()),  # upper-cases to other letters
        ("grün", ()),
    ],
)
def test_split(code: str, parts: tuple[str, ...]) -> None:
    assert split_colours(code) == parts


@given(st.lists(st.sampled_from(IEC_60757), min_size=1, max_size=4))
def test_split_takes_apart_what_was_put_together(codes: list[str]) -> None:
    assert split_colours("".join(codes)) == tuple(codes)


@given(st.text(max_size=12))
def test_any_text_may_be_asked_for(text: str) -> None:
    parts = split_colours(text)
    assert all(part in IEC_60757 for part in parts)
    assert (colour_name(text) is None) == (luminance(text) is None) == (not parts)


def test_numeric_code() -> None:
    # MIL-STD-681: black brown red orange yellow green blue violet gray white
    order = ["BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH"]
    assert [translated(str(digit), "mil-std-681") for digit in range(10)] == order


def test_luminance_by_hand() -> None:
    # grey 0x8C = 140/255 = 0.54902: ((0.54902 + 0.055)/1.055)^2.4 = 0.57253^2.4 = 0.2623
    assert luminance("GY") == pytest.approx(0.2623, abs=5e-5)
    # the first colour is the base
    assert luminance("WHGN") == luminance("WH")


def test_black_and_white_are_the_ends() -> None:
    by_light = sorted(IEC_60757, key=lambda code: luminance(code) or 0.0)
    assert (by_light[0], by_light[-1]) == ("BK", "WH")
