"""Colour codes against IEC 60757, DIN 47100 and the numeric code as published."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.tables.colours import (
    base_colours,
    colour_name,
    digit_colour,
    din_47100,
    join_colours,
    luminance,
    split_colours,
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


def test_combinations_stand_in_table_order() -> None:
    # IEC 60757:2021, extract: red and blue is RDBU; green and yellow the exception, GNYE
    assert join_colours(["BU", "RD"]) == "RDBU"
    assert join_colours(["YE", "GN"]) == join_colours(["gn", "ye"]) == "GNYE"
    assert join_colours(["WH", "GN"]) == "GNWH"
    with pytest.raises(KeyError):
        join_colours(["BU", "beige"])


# DIN 47100 as a public encyclopaedia lists it
DIN_47100 = {
    1: "WH", 2: "BN", 3: "GN", 4: "YE", 5: "GY", 6: "PK", 7: "BU", 8: "RD", 9: "BK", 10: "VT",
    11: "GYPK", 12: "RDBU", 13: "WHGN", 14: "BNGN", 15: "WHYE", 16: "YEBN", 17: "WHGY", 18: "GYBN",
    19: "WHPK", 20: "PKBN", 21: "WHBU", 22: "BNBU", 23: "WHRD", 24: "BNRD", 25: "WHBK", 26: "BNBK",
    27: "GYGN", 28: "YEGY", 29: "PKGN", 30: "YEPK", 31: "GNBU", 32: "YEBU", 33: "GNRD", 34: "YERD",
    35: "GNBK", 36: "YEBK", 37: "GYBU", 38: "PKBU", 39: "GYRD", 40: "PKRD", 41: "GYBK", 42: "PKBK",
    43: "BUBK", 44: "RDBK", 45: "WHBNBK", 46: "YEGNBK", 47: "GYPKBK", 48: "RDBUBK", 49: "WHGNBK",
    50: "BNGNBK", 51: "WHYEBK", 52: "YEBNBK", 53: "WHGYBK", 54: "GYBNBK", 55: "WHPKBK", 56: "PKBNBK",
    57: "WHBUBK", 58: "BNBUBK", 59: "WHRDBK", 60: "BNRDBK",
}  # fmt: skip


@pytest.mark.parametrize(("number", "code"), DIN_47100.items())
def test_din_47100(number: int, code: str) -> None:
    assert din_47100(number) == code


def test_din_47100_puts_the_base_colour_first() -> None:
    # core 13 is white with a green stripe; IEC table order would make it GNWH
    assert din_47100(13) == "WHGN" != join_colours(split_colours("WHGN"))


def test_din_47100_colours_are_all_different_and_known() -> None:
    codes = [din_47100(number) for number in range(1, 61)]
    assert len({frozenset(split_colours(code)) for code in codes}) == 60


def test_din_47100_from_45_is_the_pattern_with_black() -> None:
    # 45 is 2 with 1 and black; from 47 each is the core 36 before with black added
    for number in range(47, 61):
        assert din_47100(number) == din_47100(number - 36) + "BK"


def test_din_47100_with_repetition() -> None:
    # repeats from 45: 45 = 1, 88 = 44, 89 = 1
    assert [din_47100(n, repeats=True) for n in (1, 44, 45, 57, 88, 89)] == [
        "WH", "RDBK", "WH", "WHGN", "RDBK", "WH",
    ]  # fmt: skip


@pytest.mark.parametrize(("number", "repeats"), [(0, False), (61, False), (-1, True), (0, True)])
def test_din_47100_numbers_that_are_none(number: int, repeats: bool) -> None:
    with pytest.raises(ValueError, match="outside 1 to 60"):
        din_47100(number, repeats=repeats)


def test_numeric_code() -> None:
    # MIL-STD-681: black brown red orange yellow green blue violet gray white
    assert [digit_colour(digit) for digit in range(10)] == [
        "BK",
        "BN",
        "RD",
        "OG",
        "YE",
        "GN",
        "BU",
        "VT",
        "GY",
        "WH",
    ]
    for digit in (-1, 10):
        with pytest.raises(ValueError, match="no digit"):
            digit_colour(digit)


def test_luminance_by_hand() -> None:
    # grey 0x8C = 140/255 = 0.54902: ((0.54902 + 0.055)/1.055)^2.4 = 0.57253^2.4 = 0.2623
    assert luminance("GY") == pytest.approx(0.2623, abs=5e-5)
    # the first colour is the base
    assert luminance("WHGN") == luminance("WH")


def test_black_and_white_are_the_ends() -> None:
    by_light = sorted(IEC_60757, key=lambda code: luminance(code) or 0.0)
    assert (by_light[0], by_light[-1]) == ("BK", "WH")
