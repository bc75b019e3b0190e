"""Check characters by ISO/IEC 7064 MOD 37,36: worked by hand, by law, and against numbers printed elsewhere."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.formulas.check import ALPHABET, check_character, has_valid_check

# From memory, numbers printed as examples of systems that use MOD 37,36: a release identifier
# A1-2425G-ABC1234002-M, and an audiovisual number 0000-0001-8CFA-0000-I-0000-0000-K, whose K is
# taken over the digits without the I.
EXAMPLES = [("A12425GABC1234002", "M"), ("000000018CFA0000", "I"), ("000000018CFA000000000000", "K")]


@pytest.mark.parametrize(("text", "check"), EXAMPLES)
def test_check_character_of_published_numbers(text: str, check: str) -> None:
    assert check_character(text) == check
    assert has_valid_check(text + check)


def test_check_character_by_hand() -> None:
    # "1": S = 36 + 1 = 37 -> 1, P = 2; 2 + c = 1 modulo 36 -> c = 35, Z
    assert check_character("1") == "Z"
    # "11": P = 2, S = 3, P = 6; c = -5 -> 31, V
    assert check_character("11") == "V"


TEXTS = st.text(alphabet=ALPHABET, min_size=1, max_size=20)


@given(TEXTS, st.data())
def test_every_single_wrong_character_is_found(text: str, data: st.DataObject) -> None:
    whole = text + check_character(text)
    place = data.draw(st.integers(0, len(whole) - 1))
    for wrong in ALPHABET.replace(whole[place], ""):
        assert not has_valid_check(whole[:place] + wrong + whole[place + 1 :])


def sums(whole: str, place: int) -> set[int]:
    """Return the two sums S that stand for a neighbour's place before and after the swap, by definition."""
    product = 36
    for sign in whole[:place]:
        product = 2 * ((product + ALPHABET.index(sign)) % 36 or 36) % 37
    return {(product + ALPHABET.index(sign)) % 36 or 36 for sign in whole[place : place + 2]}


@given(TEXTS)
def test_swapped_neighbours_are_found_but_for_one_pair(text: str) -> None:
    # Doubling modulo 37 less the sum itself, f(S) - S, is S up to 18 and S - 37 = S - 1 (mod 36) above:
    # all values differ but those of 18 and 19, so that this pair alone swaps unseen.
    whole = text + check_character(text)
    for place in range(len(whole) - 1):
        first, second = whole[place], whole[place + 1]
        swapped = whole[:place] + second + first + whole[place + 2 :]
        unseen = first == second or sums(whole, place) == {18, 19}
        assert has_valid_check(swapped) is unseen


def test_swaps_go_unseen_once_in_630() -> None:
    # Ordered pairs of different characters: 36 x 35; unseen are (18, 19) and (19, 18): 2/1260 = 1/630.
    draw = random.Random(7)
    missed = tried = 0
    for _ in range(40):
        text = "".join(draw.choices(ALPHABET, k=6))
        for first in ALPHABET:
            for second in ALPHABET.replace(first, ""):
                whole = text + first + second
                tried += 1
                missed += has_valid_check(text + second + first + check_character(whole))
    assert missed / tried == 1 / 630


@pytest.mark.parametrize("text", ["", "7", "7n", "7 N", "Ä4", "K4-7"])
def test_what_is_no_id(text: str) -> None:
    assert not has_valid_check(text)
