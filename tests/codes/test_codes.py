"""Codes: the standards' own examples module for module, and every symbol read back by another library."""

from __future__ import annotations

import random
import re
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.codes.bars import code39, code128
from labeler.codes.data_matrix import SIZES, data_matrix
from labeler.codes.qr import penalties, qr, qr_in_room
from labeler.codes.symbols import symbols
from labeler.errors import LabelerError

# ISO/IEC 18004 annex I: "01234567", version 1-M, mask 2 (as carried in an open encoder's tests).
ANNEX_I = """
    111111100101101111111 100000100111101000001 101110101000001011101 101110101100001011101
    101110101011101011101 100000101000101000001 111111101010101111111 000000001001100000000
    101111100100101111100 000101011010100101100 001000110101010011111 000010000100000111100
    000111111001010010000 000000001011111001100 111111100110101100000 100000101011111000101
    101110101000100101100 101110101100100100000 101110101011010010100 100000100000000110110
    111111101111010010100
"""
# ISO/IEC 16022 figure O.2: "123456" in 10 x 10 (as carried in an open encoder's tests).
FIGURE_O2 = """
    1010101010 1100101101 1100000100 1100011101 1100001000 1000001111 1110110000 1111011001 1001110100 1111111111
"""


def pixels(rows: tuple[str, ...], quiet: int, size: int = 4) -> Any:
    """Return the modules as a picture with the quiet zone; bars as 50 rows."""
    dark = np.array([[module == "1" for module in row] for row in rows])
    if len(rows) == 1:
        dark = np.repeat(dark, 50, axis=0)
    return np.where(np.kron(np.pad(dark, quiet), np.ones((size, size))) > 0, 0, 255).astype(np.uint8)


def read(rows: tuple[str, ...], kind: str, quiet: int) -> list[str]:
    """Let zxing-cpp read the modules; bars as one clean symbol: looking for several it once made up a second."""
    import zxingcpp

    names = {"QR": "QRCodeModel2", "Data Matrix": "DataMatrix", "Code 128": "Code128", "Code 39": "Code39Std"}
    only = zxingcpp.BarcodeFormats([getattr(zxingcpp.BarcodeFormat, names[kind])])
    return [found.text for found in zxingcpp.read_barcodes(pixels(rows, quiet), only, is_pure=kind.startswith("Code"))]


def other_encoder(text: str, kind: str, **options: Any) -> tuple[str, ...]:
    """Return the rows that zxing-cpp makes of a text."""
    import zxingcpp

    made = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, kind), **options)
    dark = np.asarray(made.to_image(scale=1, add_quiet_zones=False)) < 128
    return tuple("".join("1" if module else "0" for module in row) for row in dark)


# ---------------------------------------------------------------- QR


def test_qr_is_the_standards_own_example() -> None:
    assert qr("01234567", "M", mask=2) == tuple(ANNEX_I.split())


def test_qr_of_figures_1_and_29() -> None:
    """ISO/IEC 18004: "QR Code Symbol" is version 1-M, mask 5 (figure 1); 62 capitals and digits 4-M, mask 4 (29)."""
    long = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    for text, version, mask in (("QR Code Symbol", 1, 5), (long, 4, 4)):
        rows = qr(text, "M", mask)
        assert len(rows) == 17 + 4 * version
        assert rows == other_encoder(text, "QRCode", ec_level="M", version=version, data_mask=mask)


def test_format_and_version_words_of_qr() -> None:
    """Format of level M, mask 5: 0x40CE; version 7: 0x07C94 (ISO/IEC 18004 annexes C and D)."""
    rows = qr("QR Code Symbol", "M", 5)
    around = rows[8][:6] + rows[8][7:9] + "".join(rows[row][8] for row in (7, 5, 4, 3, 2, 1, 0))
    assert int(around, 2) == 0x40CE
    large = qr("A" * 150, "M", 0)  # 7-M holds 178 capitals, 6-M 154 less: 150 needs 6
    assert len(large) == 41
    seven = qr("A" * 170, "M", 0)
    assert len(seven) == 45
    bits = [seven[45 - 11 + i % 3][i // 3] for i in range(18)]  # the least significant first
    assert sum(int(bit) << i for i, bit in enumerate(bits)) == 0x07C94


@pytest.mark.parametrize(
    ("payload", "level", "modules"),
    [
        # ISO/IEC 18004 table 7 by way of an open encoder: the side is 17 + 4 V
        ("1" * 34, "M", 21),  # V1-M holds 34 digits, 20 capitals, 14 bytes
        ("1" * 35, "M", 25),
        ("A" * 20, "M", 21),
        ("A" * 21, "M", 25),
        ("a" * 14, "M", 21),
        ("a" * 15, "M", 25),
        ("a" + "1" * 14, "M", 25),  # one segment: 15 bytes, not a letter and 14 digits
        ("A" * 38, "M", 25),  # V2-M 38 capitals
        ("A" * 39, "M", 29),
        ("a" * 32, "Q", 29),  # V3-Q 32 bytes
        ("a" * 33, "Q", 33),
        ("A" * 311, "M", 57),  # V10-M 311 capitals
        ("1" * 288, "H", 57),  # V10-H 288 digits
    ],
)
def test_qr_is_the_smallest_that_holds_the_payload(payload: str, level: str, modules: int) -> None:
    rows = qr(payload, level)
    assert (len(rows), {len(row) for row in rows}) == (modules, {modules})


@pytest.mark.parametrize(
    ("payload", "least", "modules", "level"),
    [
        # the same table, V1 capitals: L 25, M 20, Q 16, H 10; V2 digits: M 63, Q 48; V10 capitals: M 311, Q 221
        ("A" * 10, "M", 21, "H"),
        ("A" * 11, "M", 21, "Q"),
        ("A" * 16, "L", 21, "Q"),
        ("A" * 17, "M", 21, "M"),
        ("A" * 21, "L", 21, "L"),
        ("1" * 49, "M", 25, "M"),
        ("1" * 48, "M", 25, "Q"),
        ("A" * 221, "M", 49, "M"),  # V8: M 221, Q 157
        ("A" * 222, "M", 53, "M"),  # V9: M 262, Q 189
    ],
)
def test_error_correction_is_raised_while_the_size_stays(payload: str, least: str, modules: int, level: str) -> None:
    rows, found = qr_in_room(payload, least)
    assert (len(rows), found) == (modules, level)
    assert read(rows, "QR", 4) == [payload]


def test_penalty_points_are_those_of_another_library() -> None:
    """The qrcode library's own points, over sizes, levels and masks."""
    from qrcode.util import lost_point

    for number in range(48):
        rows = qr(f"RSB-210/{number:04d}" * (1 + number % 4), "LMQH"[number % 4], number % 8)
        modules = [[module == "1" for module in row] for row in rows]
        assert penalties(np.array([modules]))[0] == lost_point(modules)


def test_the_mask_with_the_fewest_points_is_taken() -> None:
    from qrcode.util import lost_point

    for text in ("J4", "W9X0GRQG-0001", "RSB-210 C/0001/W9X0GRQG"):
        points = {
            qr(text, "M", mask): lost_point([[m == "1" for m in row] for row in qr(text, "M", mask)])
            for mask in range(8)
        }
        assert points[qr(text, "M")] == min(points.values())


@settings(max_examples=30, deadline=None)
@given(st.text(alphabet="ABCXYZ0189-:/.abc", min_size=1, max_size=60), st.sampled_from("LMQH"))
def test_qr_is_read_back(payload: str, level: str) -> None:
    assert read(qr(payload, level), "QR", 4) == [payload]


def test_qr_refuses_more_than_it_holds() -> None:
    # version 40-L holds 2953 bytes (ISO/IEC 18004 table 7)
    with pytest.raises(LabelerError, match="2954 bytes"):
        qr("a" * 2954, "L")


# ---------------------------------------------------------------- Data Matrix


def test_data_matrix_is_the_standards_own_example() -> None:
    assert data_matrix("123456", 10, 10) == tuple(FIGURE_O2.split())


@pytest.mark.parametrize(
    ("size", "digits"),
    # ISO/IEC 16022 table 7: digits = 2 x data codewords
    [((10, 10), 6), ((12, 12), 10), ((18, 18), 36), ((8, 18), 10), ((8, 32), 20), ((12, 36), 44), ((16, 48), 98)],
)
def test_data_matrix_holds_what_the_standard_says(size: tuple[int, int], digits: int) -> None:
    assert data_matrix("1" * (digits + 1), *size) is None
    rows = data_matrix("1" * digits, *size)
    assert rows is not None
    assert (len(rows), len(rows[0])) == size


def _finder_of_data_matrix(rows: tuple[str, ...], regions: tuple[int, int]) -> bool:
    """Whether every data region has its solid left and lower edge and its alternating ones (ISO/IEC 16022, 5.2)."""
    down, across = len(rows) // regions[0], len(rows[0]) // regions[1]
    for top in range(0, len(rows), down):
        for left in range(0, len(rows[0]), across):
            part = [row[left : left + across] for row in rows[top : top + down]]
            solid = set(part[-1]) == {"1"} and {row[0] for row in part} == {"1"}
            dashed = part[0] == "10" * (across // 2) and [row[-1] for row in part] == ["0", "1"] * (down // 2)
            if not (solid and dashed):
                return False
    return True


# regions down and across: ISO/IEC 16022 table 7
REGIONS = {(8, 32): (1, 2), (12, 36): (1, 2), (16, 36): (1, 2), (16, 48): (1, 2)}


@pytest.mark.parametrize("size", SIZES)
def test_data_matrix_is_read_back(size: tuple[int, int]) -> None:
    """zxing-cpp wrote it: so its edges are checked by the standard's own rule too, and its text by the reader."""
    regions = REGIONS.get(size, (2, 2) if size[0] >= 32 else (1, 1))
    for text in ("J4", "W9X", "123456"):
        rows = data_matrix(text, *size)
        assert rows is not None
        assert _finder_of_data_matrix(rows, regions)
        assert read(rows, "Data Matrix", 1) == [text]


def test_data_matrix_refuses_too_much() -> None:
    with pytest.raises(LabelerError, match="do not fit 48 x 48"):
        next(symbols("Data Matrix", "a" * 300))


# ---------------------------------------------------------------- Code 128


def values_of(modules: str) -> list[int]:
    """Return the symbol values of a Code 128, from reportlab's own table of bars and spaces."""
    from reportlab.graphics.barcode.code128 import _patterns

    patterns = {
        "".join(("1" if sign.isupper() else "0") * (ord(sign.lower()) - 96) for sign in bars): value
        for value, bars in _patterns.items()
    }
    assert len(modules) % 11 == 2
    body, stop = modules[:-13], modules[-13:]
    assert stop == "1100011101011"  # ISO/IEC 15417: stop 2 3 3 1 1 1 2
    return [patterns[body[i : i + 11]] for i in range(0, len(body), 11)]


def of_reportlab(text: str) -> str:
    from reportlab.graphics.barcode.code128 import Code128

    made = Code128(text, barWidth=1)
    made.validate()
    made.encode()
    made.decompose()
    return "".join(("1" if sign.isupper() else "0") * (ord(sign.lower()) - 96) for sign in made.decomposed)


def test_code_128_of_annex_a() -> None:
    """ISO/IEC 15417 annex A.1: "AIM1234" is 104 33 41 45 99 12 34, check 87; 101 modules. "AIM" (figure 1): 68."""
    modules = code128("AIM1234")
    assert (len(modules), len(code128("AIM"))) == (101, 68)
    assert values_of(modules) == [104, 33, 41, 45, 99, 12, 34, 87]


def test_the_check_of_code_128() -> None:
    """A public worked example with start A: HI345678 is 103 40 41 99 34 56 78, sum 1406, 1406 mod 103 = 67."""
    values = values_of(code128("HI345678"))
    assert values[1:-1] == [40, 41, 99, 34, 56, 78]
    # this one starts in set B (104), one more than start A in the weighted sum: 1407 mod 103 = 68
    assert (values[0], values[-1]) == (104, 68)


@pytest.mark.parametrize(
    ("digits", "modules"),
    # GS1 figures 5.4.2-1 and 5.1-3: 156 and 134 modules with FNC1, which is one character of 11
    [("00395123451234567895", 156 - 11), ("0109501101530003", 134 - 11)],
)
def test_widths_of_digits_in_pairs(digits: str, modules: int) -> None:
    assert len(code128(digits)) == modules


@pytest.mark.parametrize("payload", ["9901", "999999", "99-1", "99", "9912AB"])
def test_a_leading_99_is_kept(payload: str) -> None:
    """What python-barcode 0.16.1 drops; read by zxing-cpp, and the same bars as reportlab's."""
    assert read((code128(payload),), "Code 128", 10) == [payload]
    assert len(code128(payload)) <= len(of_reportlab(payload))
    assert code128(payload) == code128(payload)


def test_random_code_128_against_two_other_libraries() -> None:
    chance = random.Random(128)
    signs = "0123456789" * 3 + "ABCXYZabc-/ .99"
    for _ in range(300):
        text = "".join(chance.choice(signs) for _ in range(chance.randint(1, 14)))
        if text.strip() != text:
            continue  # reportlab strips blanks
        modules = code128(text)
        assert read((modules,), "Code 128", 10) == [text]
        assert read((of_reportlab(text),), "Code 128", 10) == [text]
        assert len(modules) <= len(of_reportlab(text)) + 11
        values = values_of(modules)
        check = (values[0] + sum(place * value for place, value in enumerate(values[1:-1], 1))) % 103
        assert values[-1] == check  # ISO/IEC 15417: weighted sum mod 103


def test_code_128_refuses_what_it_lacks() -> None:
    with pytest.raises(LabelerError, match="use letters and digits"):
        code128("J4 ü")


# ---------------------------------------------------------------- Code 39

FIGURE_1 = "100101101101011010010101101101010010110100101101101"
"""ISO/IEC 16388 figure 1: "1A" with wide elements of two modules (as carried in an open encoder's tests)."""


def narrowed(modules: str) -> str:
    """Return the bars with wide elements of two modules for three."""
    return re.sub("111|000", lambda wide: wide[0][:2], modules)


def test_code_39_of_figure_1() -> None:
    assert len(FIGURE_1) == 51
    assert narrowed(code39("1A")) == FIGURE_1


@pytest.mark.parametrize(
    ("text", "check"),
    # MIL-STD-1189B 6.2.1 and an open encoder's tests
    [("12345/ABCDE", "T"), ("1A", "B"), ("ABC1234", "0"), ("123456789", "2")],
)
def test_code_39_with_its_check_is_as_long_as_the_standard_says(text: str, check: str) -> None:
    modules = code39(text + check)
    assert len(modules) == (len(text) + 3) * 15 + len(text) + 2  # (C + 2)(3 N + 6) + C + 1, N = 3: 223 for the first
    assert read((modules,), "Code 39", 10) == [text + check]


def test_code_39_refuses_what_it_lacks() -> None:
    with pytest.raises(LabelerError, match="has no 'j'; use capitals"):
        code39("j4")


def test_what_readers_of_full_ascii_would_take_for_another_sign_is_refused() -> None:
    """ISO/IEC 16388 annex A: "/A" is "!" where full ASCII is switched on, as zxing-cpp has it."""
    with pytest.raises(LabelerError, match=r"'/A'.*Code 128"):
        next(symbols("Code 39", "RSB/A1"))
    assert next(symbols("Code 39", "RSB/1A")).linear


# ---------------------------------------------------------------- which symbols


def test_symbols_come_lowest_first() -> None:
    """13 capitals and digits: 8 x 32 holds 13, 12 x 26 22, 16 x 16 16 (ISO/IEC 16022 table 7)."""
    made = list(symbols("Data Matrix", "W9X0GRQG01234"))
    assert [(len(code.rows), len(code.rows[0])) for code in made][:3] == [(8, 32), (12, 26), (16, 16)]
    assert [code.quiet for kind in ("QR", "Data Matrix", "Code 128") for code in list(symbols(kind, "J4"))[:1]] == [
        4,
        1,
        10,
    ]
    assert next(symbols("Code 128", "J4")).linear
