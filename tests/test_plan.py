"""Planning: every place of a harness gets its marker, with the right words and a steady id."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.formulas.check import has_valid_check
from labeler.formulas.legibility import mark_positions
from labeler.harness import index
from labeler.model import Connector, Harness, Item
from labeler.plan import ID_SIGNS, confusable, plan, tag_words
from tests.make import circuit, harness, new_bag, new_branch, new_end, settings


def texts(made: Harness, role: str) -> list[str]:
    return [" | ".join(marker.text) for marker in plan(index(made))[0] if marker.role == role]


def test_every_branch_end_every_wire_end_every_connector() -> None:
    markers, problems = plan(index(harness()))
    assert not problems
    assert [(m.role, m.place) for m in markers] == [
        ("branch end", "J4"),
        ("branch end", "P1"),
        *(("wire end", f"{c}:{n}") for n in (1, 2, 3) for c in ("P1", "J4")),
        ("bag", "P1"),
        ("bag", "J4"),
    ]


def test_a_list_of_circuits_alone_is_enough() -> None:
    made = harness(branches=(), connectors=())
    markers, _ = plan(index(made))
    assert [m.place for m in markers if m.role == "branch end"] == ["P1", "J4"]
    assert [m.text for m in markers if m.role == "branch end"] == [("P1",), ("J4",)]
    assert [m.place for m in markers if m.role == "bag"] == ["P1", "J4"]


def test_the_two_ends_of_a_circuit_stand_side_by_side() -> None:
    wires = [m for m in plan(index(harness()))[0] if m.role == "wire end"]
    assert [m.circuit for m in wires] == ["W1", "W1", "W2", "W2", "W3", "W3"]
    assert [(m.place, m.far) for m in wires[:2]] == [("P1:1", "J4:1"), ("J4:1", "P1:1")]


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("circuit", ["W1", "W1"]),
        ("local", ["P1:1", "J4:1"]),
        ("remote", ["J4:1", "P1:1"]),
        ("local and remote", ["P1:1/J4:1", "J4:1/P1:1"]),
        ("signal", ["DEPTH", "DEPTH"]),
        ("{circuit} {local}", ["W1 P1:1", "W1 J4:1"]),
        ("{circuit}-{colour}-{size}", ["W1-OG-20 AWG", "W1-OG-20 AWG"]),
        ("{circuit} {Loom}", ["W1 left", "W1 left"]),
    ],
)
def test_what_a_wire_marker_says(rule: str, expected: list[str]) -> None:
    """The named rules are the identification methods of IEC 62491: the core itself, local, remote, both, signal."""
    wire = circuit("W1", "P1:1", "J4:1", colour="OG", signal="DEPTH", extra=(("Loom", "left"),))
    assert texts(harness(circuits=(wire,), settings=settings({"marker.wire_text": rule})), "wire end") == expected


@pytest.mark.parametrize(
    ("rule", "message", "fix"),
    [
        ("remoet", "names no field", "did you mean 'remote'?"),
        ("{circiut}", "field {circiut} is unknown", "did you mean 'circuit'?"),
        ("{circuit", "expected '}'", "write fields as {circuit}"),
        ("signal", "gives an empty text", "give the circuit what the marker is to say"),
    ],
)
def test_a_wire_marker_that_cannot_be_written(rule: str, message: str, fix: str) -> None:
    wire = circuit("W1", "P1:1", "J4:1")
    _, problems = plan(index(harness(circuits=(wire,), settings=settings({"marker.wire_text": rule}))))
    assert message in problems[0].message
    assert fix in problems[0].fix


def test_a_column_that_only_some_circuits_have_can_be_named() -> None:
    wires = (circuit("W1", "P1:1", "J4:1"), circuit("W2", "P1:2", "J4:2", extra=(("Loom", "left"),)))
    made = harness(circuits=wires, settings=settings({"marker.wire_text": "{circuit} {Loom}"}))
    assert texts(made, "wire end") == ["W1", "W1", "W2 left", "W2 left"]


def test_wire_markers_can_be_left_away_for_one_circuit() -> None:
    wires = (circuit("W1", "P1:1", "J4:1", settings=settings({"marker.wire": "none"})), circuit("W2", "P1:2", "J4:2"))
    assert texts(harness(circuits=wires), "wire end") == ["P1:2/J4:2", "J4:2/P1:2"]


def test_branch_ends_can_be_wrapped_or_left_away() -> None:
    ends = (
        new_end("J4", settings=settings({"marker.branch": ("wrap",)})),
        new_end("P1", settings=settings({"marker.branch": ("none",)})),
    )
    markers, _ = plan(index(harness(branches=(new_branch("B4", ends=ends),))))
    assert [(m.kind, m.place) for m in markers if m.role == "branch end"] == [("wrap", "J4")]


def test_branch_ends_say_branch_and_connector_unless_told() -> None:
    ends = (new_end("J4"), new_end("P1", text=("TO", "WHEEL HOUSE")))
    markers, _ = plan(index(harness(branches=(new_branch("B4", ends=ends),))))
    assert (markers[0].text, markers[0].breakable) == (("B4 J4",), True)
    assert (markers[1].text, markers[1].breakable) == (("TO", "WHEEL HOUSE"), False)


def test_splices_and_breakouts_are_no_branch_ends() -> None:
    parts = (Connector("S1", kind="splice"), Connector("J4"), Connector("P1"))
    wires = (circuit("W1", "P1:1", "S1"), circuit("W2", "S1", "J4:1"))
    made = harness(branches=(), connectors=parts, circuits=wires)
    assert [b.id for b in index(made).branches] == ["P1", "J4"]
    assert [m.place for m in plan(index(made))[0] if m.role == "bag"] == ["J4", "P1"]
    assert len(texts(made, "wire end")) == 4  # at the splice, too, a wire must be told from the next


def test_the_circuits_of_a_branch() -> None:
    between, alone = new_branch("B1", ends=(new_end("J4"), new_end("P1"))), new_branch("B2", ends=(new_end("P1"),))
    named = new_branch("B3", circuits=("W9", "W1"), ends=between.ends)
    to_breakout = new_branch("B4", ends=(new_end("J4"), new_end("M1")))
    made = harness(
        circuits=(*harness().circuits, circuit("W9", "P1:9", "J9:1")),
        connectors=(*harness().connectors, Connector("M1", kind="breakout")),
        branches=(between, alone, named, to_breakout),
    )
    through = {name: [c.id for c in found] for name, found in index(made).through.items()}
    assert through == {
        "B1": ["W1", "W2", "W3"],
        "B2": ["W1", "W2", "W3", "W9"],
        "B3": ["W1", "W9"],
        "B4": ["W1", "W2", "W3"],
    }


# ---------------------------------------------------------------- tags


def test_a_tag_ticks_off_its_contents() -> None:
    bag = new_bag("K4", branch="B4", contents=(Item("housing, 4 cavities"), Item("contact", 4), Item("tape, m", 0.5)))
    made = harness(bags=(bag,))
    words = tag_words(index(made), next(m for m in plan(index(made))[0] if m.role == "bag"), "0007")
    assert words.title == "K4"
    assert words.headings == ("branch B4: J4, P1", "Survey boat", "RSB-210 rev C unit 0007")
    assert words.rows == ("1 x housing, 4 cavities", "4 x contact", "0.5 x tape, m")


def test_a_connectors_tag_lists_its_cavities_in_their_order() -> None:
    wires = (circuit("W10", "P1:1", "J4:10", colour="RD"), circuit("W2", "P1:2", "J4:2"), circuit("WA", "P1:3", "J4:A"))
    made = harness(circuits=wires, branches=())
    tag = next(m for m in plan(index(made))[0] if m.role == "bag" and m.place == "J4")
    assert tag_words(index(made), tag, "1").rows == (
        "2 W2 20 AWG to P1:2",
        "10 W10 RD 20 AWG to P1:1",
        "A WA 20 AWG to P1:3",
    )


def test_a_bag_with_contents_has_a_second_tag_for_its_pins() -> None:
    """Cavity, circuit, colour, size, far end; each circuit of a branch once, at the first of its ends by name."""
    bag = new_bag("K4", branch="B4", contents=(Item("housing, 4 cavities"),))
    made = harness(bags=(bag, new_bag("K9", connector="P1")))
    tags = [marker for marker in plan(index(made))[0] if marker.role == "bag"]
    assert [(tag.place, tag.text) for tag in tags] == [("K4", ("K4",)), ("K4 pins", ("K4", "pins")), ("K9", ("K9",))]
    assert len({tag.id for tag in tags}) == 3
    first, second, other = tags
    pins = tuple(f"J4:{n} W{n} 20 AWG to P1:{n}" for n in (1, 2, 3))
    assert tag_words(index(made), first, "7").rows == ("1 x housing, 4 cavities",)
    assert tag_words(index(made), first, "7", pins="all").rows == ("1 x housing, 4 cavities", *pins)
    said = "3 wire ends: see the bench sheet"
    assert tag_words(index(made), first, "7", pins="elsewhere").rows == ("1 x housing, 4 cavities", said)
    words = tag_words(index(made), second, "7", "2026-11-25")
    assert (words.title, words.rows, words.summary) == ("K4 pins", pins, "")
    assert words.headings[-1] == "RSB-210 rev C unit 7 2026-11-25"
    assert tag_words(index(made), other, "7").summary == said


# ---------------------------------------------------------------- ids


def test_ids_are_short_checked_and_free_of_what_is_confused() -> None:
    for marker in plan(index(harness()))[0]:
        assert len(marker.id) == 8
        assert has_valid_check(marker.id)
        assert not set(marker.id) & set("OISBZ")


def test_ids_belong_to_the_place() -> None:
    first = {(m.role, m.place, m.circuit): m.id for m in plan(index(harness()))[0]}
    more = harness(circuits=(circuit("W0", "P1:9", "J4:4"), *harness().circuits))
    second = {(m.role, m.place, m.circuit): m.id for m in plan(index(more))[0]}
    assert first.items() <= second.items()
    other = {m.id for m in plan(index(replace(harness(), revision="D")))[0]}
    assert not other & set(first.values())


@given(st.integers(1, 400))
def test_ids_are_never_given_twice(wires: int) -> None:
    made = harness(circuits=tuple(circuit(f"W{n}", f"P1:{n}", f"J4:{n}") for n in range(wires)))
    ids = [m.id for m in plan(index(made))[0]]
    assert len(set(ids)) == len(ids)
    assert all(set(i) <= set(ID_SIGNS) for i in ids)


def test_two_wires_in_one_splice_have_ids_of_their_own() -> None:
    wires = (circuit("W1", "P1:1", "S1"), circuit("W2", "P1:2", "S1"), circuit("W3", "S1", "S1"))
    ids = [m.id for m in plan(index(harness(circuits=wires, branches=())))[0]]
    assert len(set(ids)) == len(ids)


# ---------------------------------------------------------------- marks by length, and what is confused


def places(length: float) -> list[str]:
    wire = circuit("W1", "P1:1", "J4:1", length_mm=length)
    made = harness(circuits=(wire,), settings=settings({"marker.wire_positions": "by length"}))
    return [m.place for m in plan(index(made))[0] if m.on_wire]


@pytest.mark.parametrize(
    ("length", "expected"),
    [  # FAA AC 43.13-1B CHG 1, 11-208: under 3 in none; 3 to 7 in one near the middle; then 15 in apart at most
        (75, []),
        (76, ["W1 at 38 mm"]),
        (178, ["W1 at 89 mm"]),
        (179, ["P1:1", "J4:1"]),
        (533, ["P1:1", "J4:1"]),  # 533 - 2 x 76 = 381
        (534, ["P1:1", "W1 at 267 mm", "J4:1"]),
        (1300, ["P1:1", "W1 at 363 mm", "W1 at 650 mm", "W1 at 937 mm", "J4:1"]),  # 1148/4 = 287
    ],
)
def test_marks_by_length(length: float, expected: list[str]) -> None:
    assert places(length) == expected


def test_marks_between_the_ends_name_the_wire() -> None:
    wire = circuit("W1", "P1:1", "J4:1", length_mm=600.0)
    markers, _ = plan(index(harness(circuits=(wire,), settings=settings({"marker.wire_positions": "by length"}))))
    middle = next(m for m in markers if m.role == "wire")
    assert (middle.text, middle.position_mm, middle.circuit) == (("W1",), 300.0, "W1")


def test_no_length_is_said() -> None:
    markers, problems = plan(index(harness(settings=settings({"marker.wire_positions": "by length"}))))
    assert len([m for m in markers if m.on_wire]) == 6
    assert problems[0].warning
    assert "no length" in problems[0].message


@given(st.floats(179, 20000))
def test_no_two_marks_are_farther_apart_than_allowed(length: float) -> None:
    marks = mark_positions(length)
    assert marks[0] == pytest.approx(76)
    assert marks[-1] == pytest.approx(length - 76)
    assert all(b - a <= 381 + 1e-6 for a, b in pairwise(marks))


def test_what_is_easily_confused_is_pointed_out() -> None:
    ends = (new_end("J4", text=("PUMP 10",)), new_end("P1", text=("PUMP IO",)))
    markers, _ = plan(index(harness(branches=(new_branch("B4", ends=ends),))))
    problems = confusable(markers)
    assert [p.warning for p in problems] == [True]
    assert "P1 'PUMP IO' is easily confused with J4 'PUMP 10'" in problems[0].message
    assert not confusable(plan(index(harness()))[0])


def test_a_wire_end_belongs_to_the_branch_its_circuit_runs_through() -> None:
    """P1 is the end of two branches; each of its cavities belongs to the branch of its circuit."""
    wires = (circuit("W1", "P1:1", "J4:1"), circuit("W2", "P1:2", "J5:1"), circuit("W3", "P1:3", "J6:1"))
    branches = (
        new_branch("B4", ends=(new_end("J4"), new_end("P1"))),
        new_branch("B5", ends=(new_end("J5"), new_end("P1"))),
    )
    markers, _ = plan(index(harness(circuits=wires, branches=branches)))
    assert [(m.place, m.branch) for m in markers if m.on_wire] == [
        *(("P1:1", "B4"), ("J4:1", "B4")),
        *(("P1:2", "B5"), ("J5:1", "B5")),
        *(("P1:3", ""), ("J6:1", "")),
    ]
