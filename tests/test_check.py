"""ISO/IEC 7064 MOD 37,36: the procedure is from memory; the laws below hold for the system itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.formulas.check import ALPHABET, check_character, has_valid_check

TEXTS = st.text(ALPHABET, min_size=1, max_size=20)


def test_worked_by_hand() -> None:
    # "7": P = 36; (36 + 7) mod 36 = 7, 7 x 2 mod 37 = 14; check 37 - 14 = 23 -> N
    assert check_character("7") == "N"
    # "J4": J = 19: (36 + 19) mod 36 = 19 -> 38 mod 37 = 1; 1 + 4 = 5 -> 10; 37 - 10 = 27 -> R
    assert check_character("J4") == "R"


def test_published_example() -> None:
    """A global release identifier's example string, from memory: its last character is M."""
    assert has_valid_check("A12425GABC1234002M")


@given(TEXTS)
def test_round_trip(text: str) -> None:
    assert has_valid_check(text + check_character(text))


@given(TEXTS, st.data())
def test_every_single_wrong_character_is_found(text: str, data: st.DataObject) -> None:
    whole = text + check_character(text)
    place = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.sampled_from(ALPHABET.replace(whole[place], "")))
    assert not has_valid_check(whole[:place] + other + whole[place + 1 :])


@pytest.mark.parametrize("text", ["", "7", "7n", "7 N", "Ä4"])
def test_what_is_no_id(text: str) -> None:
    assert not has_valid_check(text)
