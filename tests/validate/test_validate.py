"""What cannot be in a harness, one case for each check, on a small harness that is right."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from labeler.errors import Problem, SourceLocation
from labeler.harness import index
from labeler.model import Branch, BranchEnd, Cable, Circuit, Connector, Harness, Pin
from labeler.readers.lists import read_csv
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.validate import validate
from tests.make import NO_CHANGES, Changes, new_bag, new_branch, new_circuit, new_end, new_harness
from tests.orders import check
from tests.places import EXAMPLES

SETTINGS = default_settings().changed({"wire_type": "SAE J1128 TXL"})


def at(line: int) -> SourceLocation:
    return SourceLocation("boat.toml", line)


def circuit(id: str, start: str, finish: str, **more: Any) -> Circuit:
    size = {"size": "20 AWG"} if "od_mm" not in more else {}
    one, two = (Pin(*end.split(":")) for end in (start, finish))
    return new_circuit(
        id, one, two, **{**size, "settings": SETTINGS, "where": at(int(id[1:]) if id[1:].isdigit() else 99), **more}
    )


BOAT = new_harness(
    name="River survey boat",
    settings=SETTINGS,
    connectors=(
        Connector("P1", cavities=14, where=at(1)),
        Connector("J4", cavities=4, max_width_mm=18.0, contact_width_mm=2.6, where=at(2)),
        Connector("S1", "splice", where=at(3)),
        Connector("GND1", "ring terminal", where=at(4)),
        Connector("X1", "breakout", where=at(5)),
    ),
    circuits=(circuit("W101", "P1:12", "J4:1"), circuit("W102", "P1:13", "J4:2"), circuit("W103", "S1:1", "J4:3")),
    cables=(Cable("K1", 6.2, at(6)),),
    branches=(
        new_branch("B4", (), (new_end("J4", where=at(8)), new_end("P1", where=at(9))), where=at(7)),
        new_branch("B5", (), (new_end("S1", where=at(11)),), where=at(10)),
    ),
    bags=(new_bag("K4", branch="B4", where=at(12)), new_bag("K5", connector="J4", where=at(13))),
    where=at(0),
)


def with_circuit(*more: Circuit, at_splice: str = "") -> Harness:
    splices = (Connector(at_splice, "splice", where=at(36)),) if at_splice else ()
    return replace(BOAT, circuits=(*BOAT.circuits, *more), connectors=(*BOAT.connectors, *splices))


def between(*ends: str) -> tuple[Branch, ...]:
    return (new_branch("".join(ends), ends=tuple(new_end(end, where=at(21)) for end in ends), where=at(21)),)


def with_branch(*ends: BranchEnd, circuit: Circuit | None = None, **more: Any) -> Harness:
    branch = new_branch("B6", ends=tuple(replace(end, where=at(21)) for end in ends), where=at(20), **more)
    return replace(BOAT, branches=(*BOAT.branches, branch), circuits=(*BOAT.circuits, *((circuit,) if circuit else ())))


def with_settings(changes: Changes = NO_CHANGES) -> Harness:
    return replace(BOAT, settings=SETTINGS.changed(changes))


def found(harness: Harness) -> tuple[Problem, ...]:
    return validate(index(harness), load_catalogue())


def test_a_harness_that_is_right() -> None:
    assert found(BOAT) == ()


ERRORS = [
    (with_circuit(circuit("W101", "P1:1", "J4:4", where=at(30))), 30, "W101 stands already at boat.toml:101"),
    (replace(BOAT, connectors=(*BOAT.connectors, Connector("J4", where=at(31)))), 31, "stands already"),
    (replace(BOAT, branches=(*BOAT.branches, replace(BOAT.branches[0], where=at(32)))), 32, "stands already"),
    (replace(BOAT, bags=(*BOAT.bags, new_bag("K4", where=at(33)))), 33, "stands already"),
    (replace(BOAT, cables=(*BOAT.cables, Cable("K1", where=at(34)))), 34, "stands already"),
    (with_circuit(circuit("W104", "P1:1", "J4:2")), 104, "J4:2 is taken by W102 at boat.toml:102"),
    (with_circuit(circuit("W104", "P1:1", "J4:5")), 104, "cavity 5 of J4, which has 4"),
    (with_circuit(circuit("W104", "P1:0", "J4:4")), 104, "count from 1"),
    (with_circuit(circuit("W104", "P1:-1", "J4:4")), 104, "count from 1"),
    (with_circuit(circuit("W104", "P1:1", "P1:1")), 104, "both ends are P1:1"),
    (with_circuit(circuit("W104", "P1:1", "GND2")), 104, "did you mean 'GND1'"),
    (with_circuit(circuit("W104", "P1:1", "J4:4", cable="K2")), 104, "cable 'K2' is unknown"),
    (with_circuit(circuit("W104", "P1:1", "J4:4", wire_type="SAE J1128 TXLX")), 104, "did you mean 'SAE J1128 TXL'"),
    # The light-wall table ends at 8 AWG: nothing of that kind is made in 4/0.
    (with_circuit(circuit("W104", "P1:1", "J4:4", wire_type="SAE J1128 TXL", size="4/0 AWG")), 104, "has no 4/0 AWG"),
    # 20 AWG bare is 0.812 mm (ASTM B258): a finished wire of 0.8 mm cannot be.
    (with_circuit(circuit("W104", "P1:1", "J4:4", size="20 AWG", od_mm=0.8)), 104, "0.812"),
    # 0.5 mm2 bare is at least sqrt(4 x 0.5 / pi) = 0.798 mm.
    (with_circuit(circuit("W104", "P1:1", "J4:4", size="0.5 mm2", od_mm=0.79)), 104, "0.798"),
    (with_circuit(circuit("W104", "P1:1", "J4:4", cable="K1", od_mm=6.3)), 104, "core 6.3 mm in cable K1 of 6.2"),
    (
        replace(BOAT, connectors=(*BOAT.connectors, Connector("J5", max_width_mm=2, contact_width_mm=3, where=at(35)))),
        35,
        "contact 3 mm is wider",
    ),
    (with_branch(new_end("J44"), bundle_diameter_mm=4.0), 21, "did you mean 'J4'"),
    (
        with_branch(new_end("J4"), circuits=("W101",), bundle_diameter_mm=4.0, bundle_diameter_tolerance_mm=4.0),
        20,
        "bundle_diameter_tolerance_mm 4 is not below bundle_diameter_mm 4",
    ),
    (
        with_branch(
            new_end("J4", cut_length_mm=30.0, distance_from_connector_mm=25.0), circuits=("W101",), length_mm=50.0
        ),
        21,
        "30 mm of sleeve, 25 mm from J4, reach 55 mm, the branch has 50",
    ),
    # the shortest that may be chosen is 20 mm, the default of sleeve.min_cut_length_mm
    (
        with_branch(new_end("J4", distance_from_connector_mm=35.0), circuits=("W101",), length_mm=50.0),
        21,
        "20 mm of sleeve, 35 mm from J4, reach 55 mm",
    ),
    (
        with_branch(new_end("J4", cut_length_mm=30.0), new_end("P1"), circuits=("W101",), length_mm=45.0),
        20,
        "reach 30 mm from J4 and 20 mm from P1, and the branch has 45: they overlap",
    ),
    (with_branch(new_end("J4"), circuits=("W101", "W9")), 20, "circuit 'W9' is unknown"),
    (with_branch(new_end("GND1")), 20, "has no circuits"),
    (with_branch(new_end("J4"), new_end("J4")), 21, "two ends at J4"),
    (with_branch(*map(new_end, ("J4", "P1", "S1")), bundle_diameter_mm=4.0), 20, "one bundle_diameter_mm for 3 ends"),
    (with_branch(new_end("J4", text=("DEPTH", " "))), 21, "is empty"),
    (with_branch(new_end("J4", text=("",))), 21, "is empty"),
    (with_branch(new_end("J4", text=("A\tB",))), 21, r"'\t'"),
    (with_branch(new_end("J4", text=("x" * 201,))), 21, "201 characters, the limit is 200"),
    (with_branch(new_end("J4", text=("x" * 300,))), 21, "300 characters"),
    (with_circuit(circuit("W104", "P1:1", "J4:4", signal="y" * 201)), 104, "201 characters"),
    (with_circuit(circuit("W104", "P1:1", "J4:4", signal="A\x1bB")), 104, "does not show"),
    (replace(BOAT, bags=(new_bag("K9", branch="B9", where=at(36)),)), 36, "branch 'B9' is unknown"),
    (replace(BOAT, bags=(new_bag("K9", connector="J9", where=at(36)),)), 36, "connector 'J9' is unknown"),
    (replace(BOAT, bags=(new_bag("K9", "B4", "J4", where=at(36)),)), 36, "names branch B4 and connector J4"),
    (with_settings(changes={"covering": "braided sleving"}), 0, "covering: covering 'braided sleving' is unknown"),
    (with_settings(changes={"sleeve.families": ("AS23053/55",)}), 0, "did you mean 'AS23053/5'"),
    (with_settings(changes={"wire_type": "nonsense"}), 0, "kind of wire 'nonsense' is unknown"),
    (
        with_branch(new_end("J4", settings=SETTINGS.changed({"sleeve.families": ("x",)}))),
        21,
        "family of tube 'x' is unknown",
    ),
]


@pytest.mark.parametrize(("harness", "line", "said"), ERRORS, ids=[f"{n}-{e[2][:25]}" for n, e in enumerate(ERRORS)])
def test_problems(harness: Harness, line: int, said: str) -> None:
    (problem,) = [problem for problem in found(harness) if not problem.warning]
    assert (problem.where, said in str(problem)) == (at(line), True), str(problem)
    assert problem.fix


SHORT = circuit("W201", "P1:2", "J4:4", length_mm=840.0)
WARNINGS = [
    (with_circuit(circuit("w101", "P1:1", "J4:4", where=at(30))), 30, "only in capitals"),
    (with_branch(new_end("J4"), new_end("S1"), circuits=("W101",)), 21, "none of its circuits ends at S1"),
    (
        with_branch(
            new_end("J4", connector_installed=True), new_end("P1", connector_installed=True), circuits=("W101",)
        ),
        20,
        "at all ends",
    ),
    (with_branch(circuits=("W101",)), 20, "has no end"),
    (with_branch(new_end("J4"), circuits=("W101", "W101")), 20, "stands twice"),
    (with_circuit(circuit("W104", "P1:1", "J4:4", size="")), 104, "neither size nor outside diameter"),
    (
        replace(
            with_circuit(circuit("W104", "P1:1", "J4:4", cable="K2")), cables=(*BOAT.cables, Cable("K2", where=at(37)))
        ),
        37,
        "cable K2: no outside diameter, so the cores count as single wires",
    ),
    (
        with_branch(
            new_end("J4"), circuits=("W201",), length_mm=850.0, circuit=circuit("W201", "P1:2", "J4:4", length_mm=840)
        ),
        201,
        "W201: shorter than branch B6 of 850 mm",
    ),
    (with_circuit(circuit("W104", "P1:1", "GND1")), 104, "W104 ends at P1 and in no branch: no sleeve there is sized"),
    (with_circuit(circuit("W104", "S2", "J4:4"), at_splice="S2"), 104, "W104 ends at J4 and in no branch"),
]


@pytest.mark.parametrize(("harness", "line", "said"), WARNINGS, ids=[warning[2][:25] for warning in WARNINGS])
def test_warnings(harness: Harness, line: int, said: str) -> None:
    (problem,) = found(harness)
    assert (problem.where, problem.warning, said in problem.message) == (at(line), True, True), str(problem)


@pytest.mark.parametrize(
    "harness",
    [
        with_circuit(circuit("W104", "S1:1", "GND1"), circuit("W105", "S1:1", "GND1")),  # a splice, a ring terminal
        with_circuit(circuit("W104", "P1", "J4"), circuit("W105", "P1", "J4")),  # no cavity is named
        with_circuit(circuit("W104", "P1:A7", "J4:B1")),  # cavities with names
        with_circuit(circuit("W104", "P1:1", "J4:4", wire_type="unheard of", od_mm=1.9)),  # measured
        with_settings(changes={"covering": "unheard of", "covering_wall_mm": 0.6}),  # measured
        with_branch(new_end("J4"), new_end("X1"), circuits=("W101",)),  # ends where branches meet
        with_branch(new_end("J4", text=("x" * 200,))),  # the limit itself
        with_branch(new_end("GND1"), bundle_diameter_mm=4.4, circuits=("W101",)),
    ],
)
def test_what_may_be(harness: Harness) -> None:
    assert [problem for problem in found(harness) if not problem.warning] == []


def test_one_problem_for_all_circuits_of_one_kind_and_size() -> None:
    more = [
        circuit(f"W{n}", f"P1:{n - 109}", f"S1:{n}", size="4/0 AWG", wire_type="SAE J1128 TXL") for n in range(110, 117)
    ]
    (problem,) = found(with_circuit(*more))
    assert problem.message.startswith("W110, W111, W112 and 4 more: ")


def test_an_unknown_kind_is_told_once_whatever_the_sizes() -> None:
    more = (
        circuit("W104", "P1:1", "S1:1", wire_type="x"),
        circuit("W105", "P1:2", "S1:2", wire_type="x", size="18 AWG"),
    )
    assert len(found(with_circuit(*more))) == 1


def test_a_list_that_was_read_declares_its_connectors_itself() -> None:
    text = b"Wire,From,To,Gauge\nW1,J4:1,P1:1,20\nW2,J4:1,P1:2,20\n"
    (problem,) = found(read_csv(text, "boat.csv", "boat", SETTINGS))
    assert str(problem.where) == "boat.csv:3"
    assert "taken by W1 at boat.csv:2" in problem.message


def test_many_unknown_names_are_all_told() -> None:
    more = [circuit(f"W{n}", "P1", f"Z{n}") for n in range(200, 400)]
    assert len([problem for problem in found(with_circuit(*more)) if not problem.warning]) == 200


def test_settings_that_contradict_each_other_are_told_once() -> None:
    base = default_settings().changed(
        {"sleeve.min_cut_length_mm": 80.0, "sleeve.max_cut_length_mm": 60.0, "print.readable_arc_deg": 150.0}
    )
    branch = new_branch(
        "B1",
        ends=(new_end("J1", settings=base.changed({"sleeve.grip_margin": 0.2})),),
        settings=base.changed({"sleeve.pass_over_margin": 0.2}),
    )
    made = replace(BOAT, settings=base, branches=(branch,))
    told = [p.message for p in validate(index(made), load_catalogue()) if "is larger than" in p.message]
    assert told == [
        "sleeve.min_cut_length_mm 80 is larger than sleeve.max_cut_length_mm 60",
        "print.readable_arc_deg 150 is larger than print.max_arc_deg 120",
    ]


def test_a_font_that_is_not_there_is_told_once() -> None:
    made = replace(BOAT, settings=default_settings().changed({"print.font": "Atkinson Hyperlegibel"}))
    told = [p for p in validate(index(made), load_catalogue()) if "unknown font" in p.message]
    assert len(told) == 1
    assert "did you mean 'Atkinson Hyperlegible'" in told[0].fix


def test_connectors_that_get_no_sleeve_are_pointed_out() -> None:
    made = replace(BOAT, branches=(new_branch("B1", ends=(new_end(BOAT.connectors[0].id),)),))
    told = [p for p in validate(index(made), load_catalogue()) if "no sleeve there" in p.message]
    assert [p.warning for p in told] == [True]
    assert BOAT.connectors[1].id in told[0].message


def test_an_insulation_that_is_taken_is_said() -> None:
    wire = circuit("W1", "J1:1", "J2:1", settings=SETTINGS.changed({"wire_type": ""}))
    made = replace(with_settings(changes={"wire_type": ""}), circuits=(wire,))
    told = [p for p in validate(index(made), load_catalogue()) if "no insulation is named" in p.message]
    assert [p.warning for p in told] == [True]
    assert "SAE J1128 TXL is taken" in told[0].message


def test_a_splice_that_may_lie_either_side_of_a_breakout_is_pointed_out() -> None:
    wires = (circuit("W104", "J4:4", "S2"), circuit("W105", "S2", "P1:2"))
    made = with_circuit(*wires, at_splice="S2")
    made = replace(made, circuits=wires, branches=(*between("J4", "X1"), *between("X1", "P1")), bags=())
    told = [p.message for p in validate(index(made), load_catalogue()) if p.warning]
    beyond = "splice S2 is taken to lie beyond where branches meet"
    assert told == [f"branch J4X1: {beyond}", f"branch X1P1: {beyond}"]
    on_it = replace(made, branches=(*between("J4", "S2"), *between("S2", "X1"), *between("X1", "P1")))
    assert not [p for p in validate(index(on_it), load_catalogue()) if p.warning]


def in_cable(outside_mm: float, *cores: Circuit) -> list[str]:
    wires = tuple(replace(core, cable="K2") for core in cores)
    made = replace(BOAT, circuits=(*BOAT.circuits, *wires), cables=(Cable("K2", outside_mm, at(37)),))
    return [str(p) for p in found(made) if "alone take" in p.message]


def test_a_cable_thinner_than_its_cores() -> None:
    """Three of 2 mm take (1 + 2/root 3) x 2 = 4.309 mm; three of 20 AWG TXL at least 1.71 x 2.1547 = 3.685 mm."""
    ends = [(f"W20{n}", f"P1:{n}", f"J4:{n}") for n in (1, 3, 4)]
    thick = [circuit(*each, od_mm=2.0) for each in ends]
    (told,) = in_cable(4.0, *thick)
    assert told.startswith("boat.toml:37: cable K2: 4 mm outside, its 3 cores alone take 4.31 mm; ")
    assert in_cable(4.4, *thick) == []
    table = [circuit(*each) for each in ends]
    assert in_cable(3.8, *table) == []
    assert "alone take 3.68 mm" in in_cable(3.5, *table)[0]
    assert in_cable(1.0, *table[:2], replace(table[2], size="")) == []  # one core is not known


def test_wires_may_share_a_contact_where_it_is_said() -> None:
    """Two wires crimped into one contact: common practice where a splice is spared."""
    twice = with_circuit(circuit("W104", "P1:12", "J4:4"), circuit("W105", "P1:12", "GND1"))
    assert [p.warning for p in found(twice) if "P1:12 is taken" in p.message] == [False, False]
    allowed = replace(twice, settings=SETTINGS.changed({"wire.max_per_cavity": 3}))
    shared = [p for p in found(allowed) if "shared" in p.message]
    assert [p.warning for p in shared] == [True]
    assert "P1: cavities shared by several wires: 12 by W101, W104, W105" in shared[0].message
    two = [p for p in found(replace(twice, settings=SETTINGS.changed({"wire.max_per_cavity": 2}))) if not p.warning]
    assert [p.message for p in two] == ["W105: P1:12 is taken by W101 at boat.toml:101"]
    assert "wire.max_per_cavity = 3" in two[0].fix


@pytest.mark.parametrize(("colour", "told"), [("WH", False), ("clear", False), ("GNYE", False), ("blorp", True)])
def test_a_colour_of_tube_that_is_no_code_is_told_once(colour: str, told: bool) -> None:
    boat = str(EXAMPLES / "survey-boat.toml")
    notes = [note for note in check(boat, settings={"sleeve.colour": colour}).notes if "sleeve.colour" in note.message]
    assert len(notes) == told
    if told:
        assert notes[0].message == "sleeve.colour: 'blorp' is no colour code that is known; it is written as it stands"
        assert "BK, BN, RD" in notes[0].fix  # IEC 60757, in its order


@pytest.mark.parametrize(
    ("one", "other", "only"),
    [
        ("J1", "j1", "capitals"),
        ("J1", "J 1", "capitals, blanks and hyphens"),
        ("J1", "j-1", "capitals, blanks and hyphens"),
        ("J11", "J1-1", ""),  # a hyphen between digits parts two numbers
        ("J1", "J01", ""),
    ],
)
def test_names_that_are_read_for_one_another_are_told(one: str, other: str, only: str) -> None:
    text = f"Wire,From,To,AWG\nW1,{one}:1,P1:1,20\nW2,{other}:2,P1:2,20\n"
    made = read_csv(text.encode(), "boat.csv", "boat", default_settings())
    told = [note.message for note in validate(index(made), load_catalogue()) if "differs from" in note.message]
    assert told == ([f"connector {other} differs from {one} at boat.csv:2 only in {only}"] if only else [])
