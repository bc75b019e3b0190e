"""Strict reading of tables: lengths, line numbers, and that no content ends in a traceback."""

from __future__ import annotations

import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.errors import LabelerError, SourceLocation
from labeler.tables.document import NUMBER, Document, Form, Key, length, load, parse, read_table
from labeler.tables.materials import read_coverings, read_families, read_wire_types
from labeler.tables.stocks import read_stock

KEYS = [
    "family", "wire_type", "covering", "name", "source", "sizes", "size", "aliases", "expanded_id_in", "expanded_id_mm",
    "recovered_id_mm", "recovered_wall_mm", "min_recovered_wall_mm", "longitudinal_change", "nominal_mm", "max_mm",
    "min_below_max", "max_recovered_wall_mm", "columns", "cut_lines", "marker", "description", "page_width_mm",
    "source_note",
]  # fmt: skip
SCALARS = st.one_of(
    st.text(string.printable, max_size=8),
    st.sampled_from(["sheet", "wrap", "20 AWG", "0.5 mm2", "1/4 in", "1/0 in", "6.4 mm", "", "-", "."]),
    st.integers(),
    st.just(10**400),  # beyond a float
    st.floats(),
    st.booleans(),
    st.dates(),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=8),
    max_leaves=20,
)


@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=6))
def test_no_content_ends_in_a_traceback(values: dict[str, object]) -> None:
    document = Document("own.toml", values)
    for read in (read_families, read_wire_types, read_coverings):
        entries, problems = read(document)
        assert isinstance(entries, tuple)
        assert all(str(problem) for problem in problems)
    stocks, problems = read_stock(document, "own")
    assert (not stocks) == bool(problems)


@pytest.mark.parametrize(
    ("value", "mm"),
    [
        (6.4, 6.4),
        (3, 3.0),
        ("6.4", 6.4),
        ("6.4 mm", 6.4),
        ("6.4mm", 6.4),
        ("0.25 in", 6.35),  # 0.25 x 25.4
        ("1/4 in", 6.35),
        ('1/4"', 6.35),
        ("1-1/2 in", 38.1),  # 1.5 x 25.4
        ("1 1/2 in", 38.1),
    ],
)
def test_lengths(value: object, mm: float) -> None:
    assert length(value) == mm


@pytest.mark.parametrize("value", ["", "mm", "6,4", "1/0", "1.2.3", "six", "6 km", "-1", True, None, [], float("inf")])
def test_what_is_no_length(value: object) -> None:
    with pytest.raises(ValueError, match=r"^is "):
        length(value)


def test_a_number_too_long_to_print() -> None:
    with pytest.raises(ValueError, match="a number too long to print"):
        length(10**5000)


def test_places_in_a_file() -> None:
    document = parse(b'[[family]]\nname = "A"\nsizes = ["1"]\n[[family]]\nname = "B"\nsizes = [\n  "1",\n]', "f.toml")
    assert document.where(("family", 0)) == SourceLocation("f.toml", 1)
    assert document.where(("family", 0, "name")) == SourceLocation("f.toml", 2)
    assert document.where(("family", 1, "sizes", 0)) == SourceLocation("f.toml", 7)
    assert document.where(("family", 1, "nowhere")) == SourceLocation("f.toml", 4)  # the table that lacks it
    assert document.where(("nowhere",)) == SourceLocation("f.toml", 1)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"a = 1\nb = \n", "own.toml:2: is no TOML"),
        (b"a = 1\na = 2\n", "own.toml:2: is no TOML"),
        (b"a = \xff", "own.toml: byte 5 is not UTF-8"),
        (b"a = " + b"9" * 5000, "own.toml: is no TOML"),
        (b"a = " + b"[" * 5000, "own.toml: is no TOML"),
    ],
)
def test_files_that_are_no_toml(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(content)
    with pytest.raises(LabelerError) as caught:
        load(path, "own.toml")
    assert str(caught.value).startswith(message)


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert load(path, "own.toml").values == {"a": 1}


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(LabelerError, match="cannot be read: No such file"):
        load(tmp_path / "own.toml", "own.toml")


def test_inches_are_of_lengths_alone() -> None:
    """A number whose name ends so would be taken for millimetres as it stands."""
    read = read_table(Document("own.toml", {"step_in": 2}), Form({"step_mm": Key(NUMBER)}))
    assert read.values == {}
    assert [problem.message for problem in read.problems] == ["unknown key 'step_in'"]
