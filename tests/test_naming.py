"""What a marker is called by: whole names, whole words of its text, and nothing that only looks like them."""

from dataclasses import replace

import pytest

from labeler.record.marker_names import GROUP, NOT, PART, WHOLE, Names, match_rank, normalised

END = Names("W9X0GRQG", "J1", "B1", "", "ECHO SOUNDER J1")
WIRE = Names("T8CJ3E5E", "J1:2", "B1", "W501", "J1:2/P1:12")
AT_SPLICE = Names("T8CJ3E5E", "S1", "B4", "W7", "S1/P1:12")
ODD = Names("AB", " J 1 ", "", "", "")


@pytest.mark.parametrize(
    ("names", "name", "expected"),
    [
        (END, "w9x0grqg", WHOLE),
        (END, " B1  J1", WHOLE),
        (END, "j1", WHOLE),
        (END, "b1", GROUP),
        (WIRE, "j1", GROUP),  # the connector
        (WIRE, "W501", WHOLE),
        (WIRE, "b1 j1:2", WHOLE),
        (END, "echo sounder", PART),
        (END, "Sounder J1", PART),
        (WIRE, "p1:12", PART),
        (END, "sound", NOT),  # a part of a word
        (WIRE, "p1:1", NOT),  # another cavity
        (WIRE, "W5", NOT),
        (END, "9X0G", NOT),
        (END, "", NOT),
        (AT_SPLICE, "s1", GROUP),  # the sleeve on the branch there is called so
        (AT_SPLICE, "b4 s1", GROUP),
        (AT_SPLICE, "w7 s1", WHOLE),
        (AT_SPLICE, "s1:7", NOT),
        (WIRE, "w501 j1", WHOLE),  # this end of it, not the other
        (WIRE, "w501 j1:2", WHOLE),
        (WIRE, "w501 p1", NOT),
        (ODD, "J 1", WHOLE),
    ],
)
def test_a_name_meets_whole_names_and_whole_words(names: Names, name: str, expected: int) -> None:
    assert match_rank(names, normalised(name)) == expected


def test_the_kind_of_a_marker_may_stand_before_its_place() -> None:
    """A connector's sleeve and its bag's tag share a place."""
    sleeve, tag = replace(END, kind="sleeve"), Names("QE4MCQTJ", "J1", text="J1 River survey boat", kind="tag")
    for name, meant in (("j1", [WHOLE, WHOLE]), ("tag j1", [NOT, WHOLE]), ("sleeve j1", [WHOLE, NOT])):
        assert [match_rank(names, name) for names in (sleeve, tag)] == meant
    assert match_rank(sleeve, "sleeve b1 j1") == WHOLE
    assert match_rank(tag, "tag river") == NOT
