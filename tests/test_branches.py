"""Which circuits run through a branch and lie at its ends; counts and diameters by hand."""

from dataclasses import replace
from typing import Any

import pytest

from labeler.errors import LabelerError
from labeler.harness import index
from labeler.model import BUNDLE, Branch, Circuit, Connector, Harness, Obstacle, Seat
from labeler.size.bundles import Sizing
from labeler.size.installation import installation_order
from labeler.size.seats import end_seat
from labeler.tables.catalogue import load_catalogue
from labeler.wording import seat_text
from tests.make import circuit, harness, new_branch, new_end, settings

CATALOGUE = load_catalogue()
SPLICE, MEET = {"kind": "splice"}, {"kind": "breakout"}


def wires(*ends: str) -> tuple[Circuit, ...]:
    """Return circuits W1, W2 … of 2 mm outside diameter between connectors written ``J4-S1``."""
    return tuple(circuit(f"W{n}", *pair.split("-"), od_mm=2.0) for n, pair in enumerate(ends, 1))


def boat(circuits: tuple[Circuit, ...], *branches: Branch, **kinds: dict[str, Any]) -> Harness:
    names = dict.fromkeys(pin.connector for c in circuits for pin in (c.start, c.finish))
    parts = tuple(Connector(name, **kinds.get(name, {})) for name in (*names, *(k for k in kinds if k not in names)))
    return harness(circuits=circuits, connectors=parts, branches=branches)


def with_sizes(made: Harness, **widths: float) -> Harness:
    return replace(made, connectors=tuple(replace(c, max_width_mm=widths.get(c.id)) for c in made.connectors))


def branch(name: str, *ends: str, **more: Any) -> Branch:
    return new_branch(name, ends=tuple(new_end(at) for at in ends), **more)


def through(made: Harness) -> dict[str, list[str]]:
    return {name: [c.id for c in found] for name, found in index(made).through.items()}


def seat(made: Harness, end: int, place: int = 0) -> Seat:
    one = made.branches[place]
    return end_seat(one, one.ends[end], Sizing(index(made), CATALOGUE))


SPLICED = wires("J4-P2", "J4-S1", "J4-S1", "S1-P2")


def test_a_splice_on_a_branch_is_followed_through() -> None:
    """Three wires leave J4, two P2. Wires of 2 mm: three close on (3 + pi)/pi x 2 = 3.910, two on (2 + pi)/pi x 2
    = 3.273; by hand three pass at 1.05 x 2.1547 x 2 = 4.525, two at 1.05 x 4 = 4.2 mm."""
    made = boat(SPLICED, branch("B4", "J4", "P2"), S1=SPLICE)
    assert through(made) == {"B4": ["W1", "W2", "W3", "W4"]}
    at_j4, at_p2 = seat(made, 0), seat(made, 1)
    assert (seat_text(at_j4), seat_text(at_p2)) == ("3 wires", "2 wires")
    assert (at_j4.grip.low, at_p2.grip.low) == pytest.approx((3.910, 3.273), abs=1e-3)
    assert (at_j4.pass_over.high, at_p2.pass_over.high) == pytest.approx((4.525, 4.2), abs=1e-3)


def test_from_the_other_end_the_widest_of_the_branch_is_passed() -> None:
    """P2's sleeve comes from J4, over its three wires (4.525, above), or over the splice where it is wider."""
    made = boat(
        SPLICED, new_branch("B4", ends=(new_end("J4"), new_end("P2", connector_installed=True))), S1=SPLICE, P2={}
    )
    made = replace(
        made, connectors=tuple(replace(c, max_width_mm=20.0 if c.id == "P2" else None) for c in made.connectors)
    )
    found = seat(made, 1)
    assert found.pass_over.high == pytest.approx(4.525, abs=1e-3)
    assert found.obstacle == Obstacle(BUNDLE, "J4", found.pass_over.high)
    steps = installation_order(made.branches[0], Sizing(index(made), CATALOGUE))
    assert [step.pass_over_mm for step in steps] == pytest.approx([4.525, 4.525], abs=1e-3)
    thick = replace(
        made, connectors=tuple(replace(c, max_width_mm=7.0 if c.id == "S1" else 20.0) for c in made.connectors)
    )
    assert seat(thick, 1).pass_over.high == 7.0
    assert seat(thick, 0).pass_over.high == pytest.approx(4.525, abs=1e-3)  # J4's own goes on at J4


@pytest.mark.parametrize(
    ("circuits", "branches", "kinds", "expected"),
    [
        # two splices one after the other, and a wire that leaves S2 for J9: it is not on the way
        (
            wires("J4-S1", "S1-S2", "S2-P2", "S2-J9"),
            (branch("B1", "J4", "P2"), branch("B2", "J9", "P2")),
            {"S1": SPLICE, "S2": SPLICE},
            {"B1": ["W1", "W2", "W3"], "B2": ["W3", "W4"]},
        ),
        # a splice that a branch ends at is an end like others
        (
            wires("J4-S1", "J4-S1", "S1-P2"),
            (branch("B1", "J4", "S1"), branch("B2", "S1", "P2")),
            {"S1": SPLICE},
            {"B1": ["W1", "W2"], "B2": ["W3"]},
        ),
        # two wires of J4 joined in a splice that leads nowhere else
        (wires("J4-P2", "J4-S1", "J4-S1"), (branch("B1", "J4", "P2"),), {"S1": SPLICE}, {"B1": ["W1"]}),
        # what another branch joins directly does not go to the breakout
        (
            wires("P1-J4", "P1-J5", "P1-J9"),
            (branch("B1", "P1", "M1"), branch("B2", "P1", "J9")),
            {"M1": MEET},
            {"B1": ["W1", "W2"], "B2": ["W3"]},
        ),
        # a branch between breakouts and two connectors: all that is at either
        (wires("J4-P1", "J5-P1"), (branch("B1", "J4", "J5", "M1"),), {"M1": MEET}, {"B1": ["W1", "W2"]}),
    ],
)
def test_what_runs_through(
    circuits: tuple[Circuit, ...], branches: tuple[Branch, ...], kinds: dict[str, Any], expected: dict[str, list[str]]
) -> None:
    assert through(boat(circuits, *branches, **kinds)) == expected


def test_each_end_of_a_branch_with_several_holds_what_ends_there() -> None:
    """A line P1, J4, J5: three wires at P1, two of them end at J4, one at J5; each 2 mm, the hull of two 3.273."""
    made = boat(wires("P1-J4", "P1-J4", "P1-J5"), branch("B1", "P1", "J4", "J5"))
    assert [seat_text(seat(made, end)) for end in range(3)] == ["3 wires", "2 wires", "1 wire"]
    assert seat(made, 1).grip.low == pytest.approx(3.273, abs=1e-3)
    assert seat(made, 2).pass_over.high == 2.0
    named = replace(made, branches=(branch("B1", "P1", "J4", "J5", circuits=("W1", "W2", "W3")),))
    assert [seat_text(seat(named, end)) for end in range(3)] == ["3 wires", "2 wires", "1 wire"]


def test_what_meets_at_a_termination_comes_from_all_branches() -> None:
    """At S1 three ends meet, of two branches; W2 has both of its ends at J4."""
    made = boat(wires("J4:1-S1", "J4:2-J4:3", "S1-P2:1", "J9:1-S1"), branch("B1", "J4", "S1"), branch("B2", "S1", "P2"))
    found = index(made)
    assert [(end.circuit.id, str(end.far)) for end in found.circuit_ends("S1")] == [
        ("W1", "J4:1"),
        ("W3", "P2:1"),
        ("W4", "J9:1"),
    ]
    assert [(end.pin.cavity, end.circuit.id) for end in found.circuit_ends("J4")] == [
        ("1", "W1"),
        ("2", "W2"),
        ("3", "W2"),
    ]
    assert list(found.circuit_ends("J99")) == []
    assert found.connector("J99") == Connector("J99")


def test_a_branch_of_two_ends_holds_the_circuits_it_names() -> None:
    made = boat(SPLICED, branch("B4", "J4", "P2", circuits=("W1", "W2", "W3", "W4")), S1=SPLICE)
    assert [seat_text(seat(made, end)) for end in range(2)] == ["4 wires", "4 wires"]


def test_where_limbs_meet_lies_what_leaves() -> None:
    """J4 to J5 stays on the branch, two go on to P1."""
    made = boat(wires("J4-P1", "J5-P1", "J4-J5"), branch("B1", "J4", "J5", "M1"), M1=MEET)
    assert [seat_text(seat(made, end)) for end in range(3)] == ["2 wires", "2 wires", "2 wires"]
    at = index(made).circuits_at(made.branches[0], made.branches[0].ends[2])
    assert [c.id for c in at] == ["W1", "W2"]


@pytest.mark.parametrize("ends", [("J4", "S1", "P2"), ("J4", "J9", "P2")])
def test_what_cannot_be_told_is_refused(ends: tuple[str, ...]) -> None:
    """A splice between the ends has other wires to either side; nothing ends at J9."""
    made = boat(SPLICED, branch("B1", *ends), S1=SPLICE, J9={})
    with pytest.raises(LabelerError, match=f"3 ends, and which of its circuits lie at {ends[1]} cannot be told"):
        seat(made, 1)
    assert seat_text(seat(made, 0)) == "3 wires"


def test_contacts_crimped_lie_among_the_wires_of_their_own_end() -> None:
    """Two wires at P2, one taken for a contact of 3 mm: 1.05 x (3 + 2) = 5.25 for 1.05 x 4 = 4.2 mm, + 1.05."""
    two = new_branch("B4", ends=(new_end("P2", contacts_crimped=True), new_end("J4", contacts_crimped=True)))
    made = boat(SPLICED, two, S1=SPLICE)
    parts = tuple(replace(c, contact_width_mm=3.0 if c.id == "P2" else 9.0) for c in made.connectors)
    assert seat(replace(made, connectors=parts), 0).pass_over.high == pytest.approx(5.25, abs=1e-3)


def test_settings_of_these_tests() -> None:
    """The margins the sums above are made with: laid by hand 1.2, at least 5 % above the packing."""
    assert (settings().bundle.hand_lay_factor, settings().bundle.hand_lay_allowance) == (1.2, 0.05)
