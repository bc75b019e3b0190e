"""Listings: lines within their column, rows that go on overleaf, nothing lost or doubled."""

import re
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.draw.listing import TALL_PT, TICK_PT, Table, split, table
from labeler.draw.words import BODY_PT, BOLD, LEADING, PLAIN, Words, lines_of, run_width, said, section_title, strong

TEXTS = st.text(st.sampled_from("WJ4: -.µÄ中\t"), max_size=60)
RUNS = st.lists(st.tuples(TEXTS, st.sampled_from([PLAIN, BOLD]), st.sampled_from([7.0, 8.5])), min_size=1, max_size=4)


def signs(text: str) -> str:
    """Return a text without blanks; a sign that no typeface has is written as its number."""
    spelled = "".join(sign if sign in "WJ4:-.µÄ" or sign.isspace() else f"<U+{ord(sign):04X}>" for sign in text)
    return re.sub(r"\s", "", spelled)


@settings(deadline=None)
@given(RUNS, st.floats(40, 300))
def test_every_sign_stands_once_and_no_line_is_too_wide(runs: list[tuple[str, str, float]], width: float) -> None:
    lines = lines_of(tuple(runs), width)
    shown = "".join(text for line in lines for text, _, _ in line.runs)
    assert re.sub(r"\s", "", shown) == signs("".join(text for text, _, _ in runs))
    for line in lines:
        assert line.width == pytest.approx(sum(map(run_width, line.runs)))
        assert line.width <= width + 1e-6


def test_lines_break_at_blanks_and_words_too_long_anywhere() -> None:
    lines = lines_of((("before J4 is crimped", PLAIN, BODY_PT),), run_width(("before J4 is", PLAIN, BODY_PT)) + 0.1)
    assert [line.runs[0][0] for line in lines] == ["before J4 is", "crimped"]
    assert lines[0].height == pytest.approx(BODY_PT * LEADING)
    broken = lines_of((("J4J4J4J4", PLAIN, BODY_PT),), run_width(("J4J4J", PLAIN, BODY_PT)))
    assert [line.runs[0][0] for line in broken] == ["J4J4J", "4J4"]


def rows_of(heights: list[int]) -> Table:
    """Return a listing with rows of so many lines each, every line with a text of its own."""
    rows = [
        (said("", tick=True), tuple(said(f"r{number}l{line}", BODY_PT) for line in range(lines)))
        for number, lines in enumerate(heights)
    ]
    return table(section_title("CUT", "a note"), ("", "what"), rows, (1, 9), 300.0, boxed=True)


def words_in(part: tuple[Table, int, int]) -> list[str]:
    whole, first, last = part
    cells = [cell for row in whole.rows[first:last] for cell in row.cells]
    return [text for cell in cells for line in cell.lines for text, _, _ in line.runs]


@settings(deadline=None)
@given(st.lists(st.integers(1, 30), min_size=1, max_size=40), st.floats(120, 780))
def test_rows_go_on_overleaf_whole_and_in_order(heights: list[int], page: float) -> None:
    made = rows_of(heights)
    rest, pages = (made, 0, len(made.rows)), []
    while rest[0].height(rest[1], rest[2]) > page + 1e-6:
        parts = split(*rest, page)
        if parts is None:  # a row that is not broken and higher than the page
            assert page < TALL_PT + 60
            return
        pages.append(parts[0])
        rest = parts[1]
        assert parts[0][0].height(*parts[0][1:]) <= page + 1e-6
    pages.append(rest)
    whole = [f"r{number}l{line}" for number, lines in enumerate(heights) for line in range(lines)]
    assert [text for part in pages for text in words_in(part)] == whole
    for one, two in pairwise(pages):
        last, following = words_in(one)[-1], words_in(two)[0]
        row = int(re.findall(r"\d+", last)[0])
        if following.startswith(f"r{row}l"):  # only a tall row is broken
            assert heights[row] * BODY_PT * LEADING > TALL_PT - 5


def test_a_row_that_has_no_room_waits_for_the_next_page() -> None:
    made = rows_of([1, 1, 1])
    assert split(made, 0, 3, made.height(0, 1) - 1) is None
    first, rest = split(made, 0, 3, made.height(0, 2) + 3) or (None, None)
    assert first == (made, 0, 2)
    assert rest == (made, 2, 3)


def test_a_row_is_as_high_as_its_box() -> None:
    assert rows_of([1]).rows[0].height == pytest.approx(TICK_PT + 2.2 + 2.4)  # the box and the room above and below


def test_words_are_joined() -> None:
    assert (strong("J4") + said(" depth")).runs == (("J4", BOLD, BODY_PT), (" depth", PLAIN, BODY_PT))
    assert Words(()).runs == ()
