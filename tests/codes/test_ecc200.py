"""Data Matrix symbols read by a reader of our own (`tests.ecc200`), which shares nothing with their encoder."""

from __future__ import annotations

import random
from string import ascii_lowercase, ascii_uppercase, digits

import pytest

from labeler.codes.data_matrix import SIZES, data_matrix
from tests import ecc200

# ISO/IEC 16022 Figure O.2: "123456" in 10 x 10
FIGURE = "1010101010 1100101101 1100000100 1100011101 1100001000 1000001111 1110110000 1111011001 1001110100 1111111111"
PRINTABLE = "".join(map(chr, range(32, 127)))
ALPHABETS = (digits, ascii_uppercase + digits, ascii_lowercase + " ", ascii_uppercase + "*> ", PRINTABLE)


def test_the_standards_own_symbol() -> None:
    """Its codewords are 142 164 186 (digit pairs 12, 34, 56 and 130)."""
    rows = FIGURE.split()
    assert ecc200.codewords_of(rows) == [142, 164, 186]
    assert ecc200.read(rows) == "123456"


@pytest.mark.parametrize("row", range(10))
@pytest.mark.parametrize("column", range(10))
def test_the_reader_refuses_any_wrong_module(row: int, column: int) -> None:
    rows = FIGURE.split()
    other = "10"[int(rows[row][column])]
    rows[row] = rows[row][:column] + other + rows[row][column + 1 :]
    with pytest.raises(ValueError, match=r"frame|syndromes"):
        ecc200.read(rows)


@pytest.mark.parametrize("size", ecc200.SIZES, ids="{0[0]}x{0[1]}".format)
def test_every_module_has_its_bit(size: tuple[int, int]) -> None:
    """Each codeword has eight modules; what is left over is the fixed corner of four (F.1), or nothing."""
    data, error, down, across = ecc200.SIZES[size]
    high, wide = size[0] - 2 * down, size[1] - 2 * across
    placed = ecc200.places(high, wide)
    assert sorted(placed.values()) == [(word, bit) for word in range(data + error) for bit in range(8)]
    assert high * wide - len(placed) == (4 if high * wide % 8 else 0)


@pytest.mark.parametrize("count", [6, pytest.param(30, marks=pytest.mark.slow)])
@pytest.mark.parametrize("size", SIZES, ids="{0[0]}x{0[1]}".format)
def test_symbols_say_their_payload_and_their_syndromes_are_zero(size: tuple[int, int], count: int) -> None:
    """Payloads of digits, capitals, small letters, X12 and all of ASCII: 600 in all where it is slow."""
    chance = random.Random(f"ecc200 {size}")
    done = 0
    while done < count:
        signs = ALPHABETS[done % len(ALPHABETS)]
        longest = 2 * ecc200.SIZES[size][0] if signs == digits else ecc200.SIZES[size][0]
        payload = "".join(chance.choices(signs, k=chance.randint(1, max(longest, 1))))
        rows = data_matrix(payload, *size)
        if rows is None:
            continue
        assert ecc200.read(rows) == payload
        done += 1


def test_the_sizes_are_those_of_the_table() -> None:
    assert set(SIZES) == set(ecc200.SIZES)
