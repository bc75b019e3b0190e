"""Tables that go on overleaf: nothing lost, heads repeated, rows whole, long cells parted. The words are invented."""

from __future__ import annotations

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.draw.document import Document
from labeler.draw.flow import (
    Flow,
    Frame,
    NewPage,
    Part,
    Row,
    Stack,
    Table,
    Text,
    TickBox,
    Together,
    listing,
    section_title,
)
from labeler.draw.typeset import BOLD, PLAIN, Words, bold, lines_of, plain
from labeler.text import load_font

ROOM = 400.0


def pages(*parts: Part, top: float = 500.0) -> list[str]:
    """Return the text of each page of a flow between 20 and ``top`` points."""
    document = Document("Tables", PLAIN)
    document.canvas.setPageSize((450.0, 520.0))
    Flow(document, Frame(20.0, 20.0, ROOM, top), lambda _: None).put(parts)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in pypdfium2.PdfDocument(document.data())]


def long_list(count: int, words: str = "") -> Table:
    rows = (Row([TickBox(), Text(plain(f"n{n}")), Text(plain(words))]) for n in range(count))
    return listing(section_title("STRAKES", "of the hull"), ("", "number", "note"), rows, (1, 2, 3), framed=True)


def test_rows_go_on_overleaf_under_the_same_heads() -> None:
    """A row with a box: 3.8 mm = 10.77 pt, pads 2.2 + 2.4: 15.37 pt; in 480 pt less the heads there are 28 to 30."""
    said = pages(long_list(100))
    assert len(said) == 4
    assert all(text.startswith("STRAKES of the hull number note") for text in said)
    numbers = [word for text in said for word in text.split() if word[0] == "n" and word[1:].isdigit()]
    assert numbers == [f"n{n}" for n in range(100)]


def test_a_cell_higher_than_the_page_is_parted_and_whole() -> None:
    words = [f"w{n}" for n in range(3000)]
    said = pages(Table((100.0, 300.0), [Row([Text(plain("left")), Text(plain(" ".join(words)))])]))
    assert len(said) > 1
    assert " ".join(said).split() == ["left", *words]


def test_a_row_up_to_a_fifth_of_the_page_stays_whole() -> None:
    """Ten lines of 10.03 pt: 100 pt. Of three in 250 pt two stand on the first page."""
    rows = [Row([Stack(tuple(Text(plain(f"r{n}l{line}")) for line in range(10)))]) for n in range(3)]
    said = pages(Table((ROOM,), rows), top=270.0)
    assert [text.split()[0] for text in said] == ["r0l0", "r2l0"]


def test_what_belongs_together_moves_together_and_pages_are_not_empty() -> None:
    tall = Table((ROOM,), [Row([Text(plain(f"a{n}"))]) for n in range(20)])  # 20 rows of 14.63 pt: 293 of 480 pt
    both = Together((Table((ROOM,), [Row([Text(plain("b"))])] * 12), Table((ROOM,), [Row([Text(plain("c"))])])))
    said = pages(tall, both, NewPage(), NewPage(), tall)
    assert [text[0] for text in said] == ["a", "b", "a"]


def width(line: list[tuple[str, float, str]]) -> float:
    return sum(load_font(name).width(text) * size for name, size, text in line)


@given(
    st.lists(st.tuples(st.booleans(), st.text(st.sampled_from("abW 12-"), max_size=30)), max_size=6),
    st.floats(20, 200),
)
def test_lines_hold_every_word_and_stay_in_their_room(parts: list[tuple[bool, str]], room: float) -> None:
    words: Words = tuple(span for heavy, text in parts for span in (bold(text) if heavy else plain(text)))
    lines = lines_of(words, 8.0, room)
    assert "".join(t for line in lines for *_, t in line).replace(" ", "") == "".join(
        text for _, text in parts
    ).replace(" ", "")
    assert all(width(line) <= room + 1e-6 for line in lines)


@pytest.mark.parametrize("name", [PLAIN, BOLD])
def test_a_word_too_long_for_a_line_is_broken(name: str) -> None:
    room = 10 * load_font(name).width("W") * 8.0 + 0.01  # ten of them have room
    lines = lines_of(plain("W" * 25, name=name), 8.0, room)
    assert [text for line in lines for *_, text in line] == ["W" * 10, "W" * 10, "W" * 5]
