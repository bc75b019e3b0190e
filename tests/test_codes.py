"""Codes: symbols against the standard's own example and an independent reader, check characters by law."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.codes import QUIET_ZONE_MODULES, place_qr, qr
from labeler.errors import LabelerError, WrongUse

# ISO/IEC 18004 annex I: "01234567", version 1-M, mask 2 (as carried in an open encoder's tests).
ANNEX_I = """
    111111100101101111111 100000100111101000001 101110101000001011101 101110101100001011101
    101110101011101011101 100000101000101000001 111111101010101111111 000000001001100000000
    101111100100101111100 000101011010100101100 001000110101010011111 000010000100000111100
    000111111001010010000 000000001011111001100 111111100110101100000 100000101011111000101
    101110101000100101100 101110101100100100000 101110101011010010100 100000100000000110110
    111111101111010010100
"""


def read(rows: tuple[str, ...]) -> list[str]:
    """Let another library read the modules, four pixels each, with the quiet zone."""
    import zxingcpp

    dark = np.array([[module == "1" for module in row] for row in rows])
    framed = np.pad(dark, QUIET_ZONE_MODULES)
    image = np.where(np.kron(framed, np.ones((4, 4))) > 0, 0, 255).astype(np.uint8)
    only = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCodeModel2])
    return [found.text for found in zxingcpp.read_barcodes(image, only)]


def test_qr_is_the_standards_own_example() -> None:
    assert qr("01234567", "M", mask=2) == tuple(ANNEX_I.split())


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


@settings(max_examples=30, deadline=None)
@given(
    st.text(alphabet="ABCXYZ0189-:/.abc", min_size=1, max_size=60),
    st.sampled_from("LMQH"),
)
def test_qr_is_read_back(payload: str, level: str) -> None:
    assert read(qr(payload, level)) == [payload]


@pytest.mark.parametrize(("payload", "says"), [("", "nothing to encode"), ("a" * 2954, "2954 bytes")])
def test_qr_refuses(payload: str, says: str) -> None:
    # version 40-L holds 2953 bytes (ISO/IEC 18004 table 7)
    with pytest.raises(LabelerError, match=says):
        qr(payload, "L")


def test_qr_refuses_an_unknown_level() -> None:
    with pytest.raises(WrongUse, match="choose L, M, Q or H"):
        qr("J4", "X")


@pytest.mark.parametrize(
    ("side_mm", "dpi", "dots"),
    [
        # 21 modules; dot 25.4/300 = 0.08467 mm, module of 4 dots 0.3387, of 5 0.4233
        (7.2, 300, 4),  # 21 x 4 dots = 7.112 mm
        (8.88, 300, 4),  # 21 x 5 dots = 8.89 mm: just no room
        (8.89, 300, 5),
        (5.4, 600, 6),  # 21 x 6 dots of 0.04233 = 5.334 mm: module 0.254
        (10.6, 203, 4),  # 21 x 4 dots of 0.12512 = 10.510 mm
    ],
)
def test_a_module_is_whole_dots(side_mm: float, dpi: float, dots: int) -> None:
    symbol = place_qr(qr("J4"), "J4", 1.0, 2.0, side_mm, dpi)
    assert symbol.module_x_mm == symbol.module_y_mm == pytest.approx(dots * 25.4 / dpi)
    assert 21 * symbol.module_x_mm <= side_mm + 1e-9
    assert (symbol.x_mm, symbol.y_mm, symbol.payload) == (1.0, 2.0, "J4")


@pytest.mark.parametrize(
    ("side_mm", "dpi", "says"),
    [
        # 300 dpi: 4 dots are 0.339 mm and 21 of them 7.112 mm, so 7.2 mm is the remedy
        (7.1, 300, r"module of 0\.338 mm; .* at least 4 dots \(0\.339 mm\); give it 7\.2 mm"),
        # 600 dpi: 4 dots would be 0.169 mm, under 0.25; 6 dots are 0.254 and 21 of them 5.334 mm
        (5.3, 600, r"at least 6 dots \(0\.254 mm\); give it 5\.4 mm"),
    ],
)
def test_too_small_a_module_is_refused(side_mm: float, dpi: float, says: str) -> None:
    with pytest.raises(LabelerError, match=says):
        place_qr(qr("J4"), "J4", 0, 0, side_mm, dpi)
