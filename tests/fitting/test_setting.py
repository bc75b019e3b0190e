"""Line breaking and type size; the sums are in the comments."""

from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.fitting.text import Needed, Zone, best_setting, breakings, filled, segments, stack_ratio, type_size
from labeler.model import Range
from labeler.text import load_font

FONT = load_font("Atkinson Hyperlegible")


def zone(read: float = 5.0, across: float = 9.0, required: float = 2.0, **more: float) -> Zone:
    preferred, largest = more.get("preferred", 2.5), more.get("largest", 3.0)
    return Zone(
        read_mm=read,
        turn_mm=read * 4 / 3,
        across_mm=across,
        scale=Range(1.0, 1.0),
        stretch=more.get("stretch", 1.0),
        required_mm=required,
        middle_mm=required,
        preferred_mm=preferred,
        largest_mm=largest,
        needed=Needed(required, preferred, largest, "test"),
        arc_per_mm=18.0,
        width_ratio=Range(0.8, 0.8),
        stroke_ratio=Range(0.14, 0.14),
    )


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("DEPTH J4", ("DEPTH ", "J4")),
        ("P1:12/J4:2", ("P1:", "12/", "J4:", "2")),
        ("=F1-K1:13", ("=F1-", "K1:", "13")),
        ("-X1:4", ("-X1:", "4")),
        ("1.5 MM", ("1.5 ", "MM")),  # never inside a number
        ("1/0 AWG", ("1/0 ", "AWG")),
        ("A.B.1", ("A.", "B.", "1")),
        ("A--B", ("A--", "B")),
        ("PLAIN", ("PLAIN",)),
        ("", ("",)),
        (":", (":",)),
    ],
)
def test_segments(text: str, pieces: tuple[str, ...]) -> None:
    assert segments(text) == pieces
    assert "".join(segments(text)) == text


def every_breaking(text: str, lines: int) -> float:
    """The narrowest widest line, by trying all."""
    pieces = segments(text)
    best = float("inf")
    for cuts in combinations(range(1, len(pieces)), lines - 1):
        edges = (0, *cuts, len(pieces))
        made = ["".join(pieces[a:b]).strip() for a, b in pairwise(edges)]
        best = min(best, max(map(FONT.width, made)))
    return best


@settings(deadline=None)
@given(st.lists(st.text("AJW17", min_size=1, max_size=5), min_size=2, max_size=9))
def test_breakings_are_the_best(words: list[str]) -> None:
    text = " ".join(words)
    for made in breakings(text, FONT, len(words)):
        assert " ".join(made) == text
        assert max(map(FONT.width, made)) == pytest.approx(every_breaking(text, len(made)))


def test_of_equally_wide_breakings_the_even_one_is_taken() -> None:
    made = list(breakings("LONGEST AB CD EF", FONT, 3))
    assert made[2] == ("LONGEST", "AB", "CD EF") or made[2] == ("LONGEST", "AB CD", "EF")
    assert made[1] == ("LONGEST", "AB CD EF") or max(map(len, made[1])) <= 10


def test_stack() -> None:
    # capitals only: n capitals and n - 1 gaps of pitch 11/7 - 1
    assert stack_ratio(("HI", "HI"), FONT, 11 / 7) == pytest.approx(1 + 11 / 7)
    assert stack_ratio(("HI", "Hg"), FONT, 11 / 7) > 1 + 11 / 7


def test_one_line_as_tall_as_the_largest() -> None:
    made = best_setting((("HIT",),), FONT, zone(), (30.0,), 4.0, 1.5714)
    assert (made.capital_mm, made.limit, made.turned) == (3.0, "largest", False)


def test_arc_limits_and_then_turning() -> None:
    # two lines of H: ratio 2.5714; read 5 mm: 1.944 mm, under 2.0; turned 6.667 mm allows 2.593, taken is 2.0
    made = best_setting((("HIT", "HIT"),), FONT, zone(), (30.0,), 4.0, 1.5714)
    assert made.turned
    assert made.capital_mm == pytest.approx(2.0)
    assert made.stack_mm == pytest.approx(2.0 * 2.5714)


def test_nothing_reaches_the_required_height() -> None:
    made = best_setting((("HIT", "HIT", "HIT"),), FONT, zone(), (30.0,), 4.0, 1.5714)
    assert made.capital_mm == pytest.approx(5.0 / (1 + 2 * 1.5714))  # the best that reads without turning
    assert made.limit == "arc"


def test_the_shortest_length_that_reaches_the_preferred_height() -> None:
    # "HHHH" is 4 x 0.690 = 2.76 em wide; capitals of 2.5 mm: 2.76 x 2.5/0.668 = 10.33 mm; with 4 mm margins 15 suffice
    made = best_setting((("HHHH",),), FONT, zone(), (10.0, 15.0, 20.0), 4.0, 1.5714)
    assert made.length_mm == 15.0
    assert made.capital_mm == pytest.approx(11.0 * 0.668 / 2.76)  # … and then as tall as the 15 mm allow: 2.66


def test_more_lines_where_the_length_is_short() -> None:
    options = tuple(breakings("CURRENT PROFILER J3", FONT, 3))
    made = best_setting(options, FONT, zone(read=9.0), (30.0,), 4.0, 1.5714)
    assert made.lines == ("CURRENT", "PROFILER J3")


@given(st.floats(6, 60), st.floats(0.1, 30))
def test_a_longer_piece_never_lowers_the_capitals(length: float, more: float) -> None:
    options = tuple(breakings("WATER PROBE J4", FONT, 3))
    short = best_setting(options, FONT, zone(), (length,), 4.0, 1.5714)
    longer = best_setting(options, FONT, zone(), (length + more,), 4.0, 1.5714)
    if not short.turned:
        assert longer.capital_mm >= short.capital_mm - 1e-9


def test_type_size_is_rounded_down_but_not_below_what_is_required() -> None:
    assert type_size(2.0, FONT, 1.0, 1.0) == 2.99  # 2.0/0.668 = 2.99401
    assert type_size(2.0, FONT, 1.0, 2.0) == pytest.approx(2.0 / 0.668, abs=1e-6)


# ---------------------------------------------------------------- long texts


def test_as_few_lines_as_go_into_a_width() -> None:
    """Pieces as wide as each other: 12 of them, 3 to a line of 3.5, make 4 lines; and at most 3 lines are refused."""
    text = " ".join(["HH"] * 12)
    own = FONT.width("HH ")
    assert filled(text, FONT, 3.5 * own, 8) == ("HH HH HH",) * 4
    assert filled(text, FONT, 3.5 * own, 3) is None
    assert filled("H" * 50, FONT, 3.5 * own, 8) is None  # nowhere to break, too wide
    assert filled("HH", FONT, own, 1) == ("HH",)


def test_a_text_of_very_many_pieces_is_broken_within_bounds() -> None:
    """10,000 break points: the work is bounded, counted in looks at the font's widths and not by a clock."""

    class Counting(dict[str, float]):
        looks = 0

        def __getitem__(self, sign: str) -> float:
            Counting.looks += 1
            return super().__getitem__(sign)

    font = replace(FONT, advances=Counting(FONT.advances))
    text = "A-" * 10_000
    lines = breakings(text, font, 8)
    assert len(lines) == 8
    assert all("".join(broken) == text for broken in lines)
    assert filled(text, font, 50.0, 20) is None
    assert Counting.looks < 20 * len(text)
