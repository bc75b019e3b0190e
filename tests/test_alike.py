"""Values made by a pattern are what `dataclasses.replace` makes."""

from dataclasses import dataclass, fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.model import Marker, Run, pattern
from tests.make import settings

LIKE = Marker("A1", "wrap", "wire end", "J4:2", ("J4:2/P1:7",), True, settings(), branch="B4", circuit="W7", far="P1:7")


@given(st.sets(st.sampled_from([field.name for field in fields(Marker)])))
def test_as_replace_does_for_any_fields(names: set[str]) -> None:
    changed = {name: object() for name in sorted(names)}
    assert pattern(LIKE, *changed)(*changed.values()) == replace(LIKE, **changed)  # type: ignore[arg-type]


def test_the_first_value_and_those_made_before_stay_as_they_are() -> None:
    first = Run("J4", "face", 2.0, 1.0, 1.0)
    made = pattern(first, "text", "x_mm")
    one, two = made("P1", 3.0), made("P2", 4.0)
    assert (first.text, one.text, two.text) == ("J4", "P1", "P2")
    assert (one.x_mm, two.x_mm, two.size_mm) == (3.0, 4.0, 2.0)


def test_too_few_values_are_refused() -> None:
    with pytest.raises(TypeError):
        pattern(LIKE, "id", "text")("A2")


def test_a_class_that_looks_at_its_values_is_refused() -> None:
    @dataclass(frozen=True, slots=True)
    class Looking:
        length_mm: float

        def __post_init__(self) -> None:
            if self.length_mm < 0:
                raise ValueError("negative")

    with pytest.raises(TypeError, match="__post_init__"):
        pattern(Looking(1.0), "length_mm")
