"""The way on and the order of threading, over the states of the ends; diameters by hand."""

from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from labeler.errors import LabelerError
from labeler.harness import index
from labeler.model import BranchEnd, Connector, Harness, InstallationStep, Seat
from labeler.size.bundles import Sizing
from labeler.size.installation import installation_order
from labeler.size.seats import end_seat, wire_seat
from labeler.tables.catalogue import load_catalogue
from labeler.wording import before_obstacle, closing_step, installation, obstacle
from tests.cases import spread
from tests.make import INHERITED, circuit, harness, new_branch, new_end, settings

CATALOGUE = load_catalogue()


def boat(here: BranchEnd, there: BranchEnd | None = None, covering: str = "none", **more: Any) -> Harness:
    ends = (here,) if there is None else (here, there)
    connectors = (
        Connector("P1", max_width_mm=30.0, contact_width_mm=2.6),
        Connector("J4", max_width_mm=18.0, contact_width_mm=2.6),
        Connector("M1", kind="breakout"),
    )
    base = settings({"covering": covering})
    return harness(branches=(new_branch("B4", ends=ends),), connectors=connectors, settings=base, **more)


def steps(made: Harness) -> tuple[InstallationStep, ...]:
    return installation_order(made.branches[0], Sizing(index(made), CATALOGUE))


def how(step: InstallationStep | Seat) -> str:
    return installation(step.installation if isinstance(step, Seat) else step.how)


def before(step: InstallationStep) -> str:
    return closing_step(step.how.before) if step.how.before else ""


def in_the_way(seat: Seat) -> tuple[str, str]:
    """Return the obstacle, and how to spare the sleeve it."""
    return obstacle(seat.obstacle) if seat.obstacle else "", before_obstacle(seat.obstacle)


def seat_at(made: Harness) -> Seat:
    branch = made.branches[0]
    return end_seat(branch, branch.ends[0], Sizing(index(made), CATALOGUE))


def order(made: Harness) -> list[tuple[str, str]]:
    return [(step.covering or step.place, step.how.access_end) for step in steps(made)]


J4, P1 = new_end("J4"), new_end("P1")
ON: dict[str, Any] = {"connector_installed": True}
P1_KNOWN = Connector("P1", max_width_mm=30.0, contact_width_mm=2.6)


@pytest.mark.parametrize(
    ("here", "there", "expected"),
    [
        (J4, P1, [("braided sleeving", "J4"), ("J4", "J4"), ("P1", "P1")]),
        # P1 is on: all go on from J4, what belongs farthest from it first
        (J4, replace(P1, **ON), [("P1", "J4"), ("braided sleeving", "J4"), ("J4", "J4")]),
        (replace(J4, **ON), P1, [("J4", "P1"), ("braided sleeving", "P1"), ("P1", "P1")]),
        # both are on: over the smaller one, J4 with 18 mm
        (replace(J4, **ON), replace(P1, **ON), [("P1", "J4"), ("braided sleeving", "J4"), ("J4", "J4")]),
        # contacts crimped at J4 (2.6 mm among the wires) against an open P1: from P1
        (replace(J4, contacts_crimped=True), P1, [("J4", "P1"), ("braided sleeving", "P1"), ("P1", "P1")]),
        # nothing can be threaded from where branches meet
        (J4, new_end("M1"), [("M1", "J4"), ("braided sleeving", "J4"), ("J4", "J4")]),
    ],
)
def test_order(here: BranchEnd, there: BranchEnd, expected: list[tuple[str, str]]) -> None:
    made = boat(here, there, "braided sleeving")
    if there.at == "M1":
        made = replace(made, branches=(replace(made.branches[0], circuits=("W1", "W2", "W3")),))
    assert order(made) == expected


def test_tape_is_wound_and_no_step() -> None:
    assert order(boat(J4, P1, "PVC tape, half-lapped")) == [("J4", "J4"), ("P1", "P1")]


def test_a_wrap_is_no_step() -> None:
    wrapped = replace(J4, settings=settings({"marker.branch": ("wrap",)}))
    assert order(boat(wrapped, P1)) == [("P1", "P1")]


def test_before_which_step() -> None:
    first = steps(boat(J4, P1))[0]
    assert before(first) == "the contacts at J4 are crimped"
    assert how(first) == "slide on at J4 before the contacts are crimped"
    crimped = steps(boat(replace(J4, contacts_crimped=True), replace(P1, **ON)))
    assert {before(step) for step in crimped} == {"connector J4 is installed"}
    # 4.9 mm: worked out below
    assert how(crimped[-1]) == "slide over contacts crimped at J4, 4.9 mm, before connector J4 is installed"
    far = steps(boat(J4, replace(P1, **ON)))[0]
    assert how(far) == "slide on from J4 before its contacts are crimped; P1 is already terminated"
    fitted = steps(boat(replace(J4, **ON), replace(P1, **ON)))[-1]
    assert (before(fitted), how(fitted)) == ("", "slide over connector J4, 18 mm")


def test_what_is_passed_over_crimped_contacts() -> None:
    """Three wires of at most 1.9 mm, one of them taken for a contact of 2.6 mm.

    Circles of 2.6, 1.9, 1.9 (Descartes, radii 1.3, 0.95, 0.95): k = 1/1.3 + 2/0.95 - 2 sqrt(2/(1.3 x 0.95)
    + 1/0.95^2) = 2.87449 - 2 x 1.65131 = -0.42813: 2 x 2.33574 = 4.6715 mm; hand-laid
    max(1.2 sqrt(2.6^2 + 2 x 1.9^2), 1.05 x 4.6715) = max(4.4873, 4.9050) = 4.905 mm.
    """
    seat = seat_at(boat(replace(J4, contacts_crimped=True)))
    assert seat.pass_over.high == pytest.approx(4.905, abs=0.005)
    early = "slide it on before the contacts at J4 are crimped"
    assert in_the_way(seat) == ("contacts crimped at J4, 4.9 mm", early)


def test_contacts_in_a_measured_bundle() -> None:
    """A contact adds 4.905 - 4.299 = 0.606 mm (above; three wires of 1.9 hand-laid: 1.05 x 1.9 (1 + 2/sqrt 3)).

    Measured 4.4 mm: 5.006 mm. Where its wires are not known, the contact beside it: 4.4 + 2.6 = 7.0 mm.
    """
    made = boat(replace(J4, contacts_crimped=True))
    measured = replace(made, branches=(replace(made.branches[0], bundle_diameter_mm=4.4),))
    assert seat_at(measured).pass_over.high == pytest.approx(5.006, abs=0.005)
    assert seat_at(replace(measured, circuits=())).pass_over.high == pytest.approx(7.0)
    unknown = tuple(replace(each, size="") for each in measured.circuits)
    assert seat_at(replace(measured, circuits=unknown)).pass_over.high == pytest.approx(7.0)


@pytest.mark.parametrize(
    ("kind", "state", "early"),
    [
        ("connector", "fitted", "slide it on before connector J4 is installed, or remove the connector"),
        ("ring terminal", "crimped", "slide it on before the terminal J4 is crimped"),
        ("ring terminal", "fitted", "slide it on before the terminal J4 is crimped"),
        ("splice", "fitted", "slide it on before the splice J4 is made"),
    ],
)
def test_how_to_spare_it_the_obstacle(kind: str, state: str, early: str) -> None:
    end = new_end("J4", connector_installed=state == "fitted", contacts_crimped=state == "crimped")
    done = replace(boat(end), connectors=(Connector("J4", kind=kind, max_width_mm=10.5),))
    seat = seat_at(done)
    assert (seat.pass_over.high, *in_the_way(seat)) == (10.5, f"{kind} J4, 10.5 mm", early)
    # three wires of 1.9 mm laid by hand are 4.30 mm: what is thinner than they are is not in the way
    thin = seat_at(replace(done, connectors=(Connector("J4", kind=kind, max_width_mm=4.2),)))
    assert in_the_way(thin) == ("", "")
    assert thin.pass_over.high == pytest.approx(4.30, abs=0.005)


def test_what_is_thinner_than_the_bundle_is_passed_at_its_own_end() -> None:
    """Connectors of 4.1 and 4.2 mm on 4.30 mm of wires: neither is the better way; of 4.1 and 5 mm one is."""
    made = boat(replace(J4, **ON), replace(P1, **ON))
    for wide, expected in ((4.2, [("J4", "J4"), ("P1", "P1")]), (5.0, [("P1", "J4"), ("J4", "J4")])):
        sizes = (Connector("P1", max_width_mm=wide), Connector("J4", max_width_mm=4.1))
        assert order(replace(made, connectors=sizes)) == expected


@pytest.mark.parametrize("state", [{}, {"contacts_crimped": True}, {"connector_installed": True}])
def test_a_loose_end_is_always_open(state: dict[str, Any]) -> None:
    (step,) = steps(replace(boat(replace(J4, **state)), connectors=(Connector("J4", kind="unterminated end"),)))
    assert (step.how.access_end, before(step), how(step)) == ("J4", "", "slide on at J4")


def test_between_breakouts_all_is_laid_on_before_they_are_joined() -> None:
    ends = (new_end("M1"), new_end("M2"))
    trunk = new_branch("B9", circuits=("W1", "W2", "W3"), ends=ends)
    breakouts = tuple(Connector(name, kind="breakout") for name in ("M1", "M2"))
    made = harness(branches=(trunk,), connectors=breakouts, settings=settings({"covering": "braided sleeving"}))
    assert order(made) == [("braided sleeving", ""), ("M1", ""), ("M2", "")]
    assert {before(step) for step in steps(made)} == {"the branches are joined at M1 and M2"}
    assert how(seat_at(made)) == how(steps(made)[1])
    assert "before the branches are joined at M1 and M2" in how(seat_at(made))


def test_sizes_that_decide_the_way_are_asked_for() -> None:
    unknown = (Connector("J4"), Connector("P1"))
    for end, asked in (
        (replace(J4, contacts_crimped=True), "give contact_width_mm of connector J4"),
        (replace(J4, **ON), "max_width_mm of connector J4"),
    ):
        made = replace(boat(end), connectors=unknown)
        with pytest.raises(LabelerError, match=asked):
            steps(made)
    # … but not while another end is open, or has only its contacts on
    assert order(replace(boat(replace(J4, **ON), P1), connectors=unknown))[0] == ("J4", "P1")
    known = replace(boat(replace(J4, **ON), replace(P1, contacts_crimped=True)), connectors=(Connector("J4"), P1_KNOWN))
    assert order(known)[0] == ("J4", "P1")
    # with 30 mm at P1 the size of J4 may be what lets it pass
    shut = boat(replace(J4, **ON), replace(P1, **ON))
    with pytest.raises(LabelerError, match="max_width_mm of connector J4"):
        steps(replace(shut, connectors=(Connector("J4"), P1_KNOWN)))


def test_a_ring_terminal() -> None:
    parts = (Connector("E1", kind="ring terminal", max_width_mm=10.5), Connector("P1", max_width_mm=30.0))
    wires = (circuit("W1", "P1:1", "E1", size="10 AWG"),)
    made = harness(branches=(new_branch("B7", ends=(new_end("E1"), P1)),), connectors=parts, circuits=wires)
    assert before(steps(made)[0]) == "the terminal E1 is crimped"
    done = replace(made, branches=(new_branch("B7", ends=(new_end("E1", contacts_crimped=True),)),))
    assert how(steps(done)[0]) == "slide over ring terminal E1, 10.5 mm"


STATES: tuple[dict[str, Any], ...] = ({}, {"contacts_crimped": True}, {"connector_installed": True})
KINDS = ("connector", "ring terminal", "splice", "unterminated end", "breakout")
ENDS = [(kind, state) for kind in KINDS for state in STATES]


def between(here: Any, there: Any, here_mm: float, there_mm: float, covering: str, bare: bool) -> Harness:
    """Return a branch of three wires between ends of some kind, state and size; ``bare``: J4's sleeve is."""
    off = settings({"covering": "none"}) if bare else INHERITED
    ends = (replace(J4, settings=off, **here[1]), replace(P1, **there[1]))
    parts = (
        Connector("J4", here[0], max_width_mm=here_mm, contact_width_mm=2.6),
        Connector("P1", there[0], max_width_mm=there_mm, contact_width_mm=2.6),
    )
    branch = new_branch("B4", circuits=("W1", "W2", "W3"), ends=ends)
    return harness(branches=(branch,), connectors=parts, settings=settings({"covering": covering}))


@pytest.mark.parametrize("covering", ["none", "braided sleeving"])
@pytest.mark.parametrize(("here", "there"), spread(product(ENDS, ENDS), 30))
def test_every_order_can_be_done(here: Any, there: Any, covering: str) -> None:
    """Thread in thought, whatever the ends are and however thick (4.2 mm: less than the wires).

    On its way from its end to its place nothing meets what already lies between; nothing is threaded
    where branches meet; what would shut the way is named as long as something would.
    """
    place = {"J4": 0.0, "": 0.5, "P1": 1.0}
    for here_mm, there_mm, bare in product((4.2, 6.0, 18.0), (4.2, 18.0), (False, True)):
        made = between(here, there, here_mm, there_mm, covering, bare)
        branch, lying = made.branches[0], list[float]()
        todo = steps(made)
        assert sorted(step.place for step in todo) == sorted(["J4", "P1", *([""] if covering != "none" else [])])
        for step in todo:
            at = place[step.place]
            end_of = step.how.access_end
            if end_of:
                start = place[end_of] + (-0.1 if end_of == "J4" else 0.1)
                assert not [p for p in lying if min(start, at) < p < max(start, at)], (step, lying)
                kind, state = here if end_of == "J4" else there
                assert kind != "breakout"
                shut = "connector_installed" in state or (state and kind != "connector")
                assert (step.how.before is None) == (kind == "unterminated end" or bool(shut)), step
            else:
                assert {here[0], there[0]} == {"breakout"}
            lying.append(at)
        for end in branch.ends:  # what a sleeve must pass is the same for its tube as for its threading
            step = next(each for each in todo if each.place == end.at)
            seat = end_seat(branch, end, Sizing(index(made), CATALOGUE))
            assert (seat.installation, seat.pass_over.high) == (step.how, step.pass_over_mm)


# ---------------------------------------------------------------- sleeves on single wires


def wire_at(made: Harness, at: str, kind: str = "sleeve") -> Seat:
    return wire_seat(made.circuits[0], Sizing(index(made), CATALOGUE), kind, at)


CRIMPED: dict[str, Any] = {"contacts_crimped": True}
FITTED: dict[str, Any] = {"connector_installed": True}


@pytest.mark.parametrize(
    ("here", "there", "passes", "words"),
    [
        # 20 AWG TXL is 1.9 mm at most (SAE J1128), the contact 2.6, connector J4 18, P1 30 mm
        ({}, {}, 1.9, "slide on before its contact is crimped"),
        ({}, CRIMPED, 1.9, "slide on at J4 before the contact is crimped"),
        (CRIMPED, {}, 1.9, "slide on from P1 before its contact is crimped; J4 is already terminated"),
        (FITTED, {}, 1.9, "slide on from P1 before its contact is crimped; J4 is already terminated"),
        (CRIMPED, CRIMPED, 2.6, "slide over contact crimped at J4, 2.6 mm, before connector J4 is installed"),
        (
            FITTED,
            CRIMPED,
            2.6,
            "slide over contact crimped at P1, 2.6 mm, from P1, before connector P1 is installed; "
            "J4 is already terminated",
        ),
        (FITTED, FITTED, 18.0, "slide over connector J4, 18 mm"),
    ],
)
def test_a_sleeve_on_a_wire(here: dict[str, Any], there: dict[str, Any], passes: float, words: str) -> None:
    seat = wire_at(boat(replace(J4, **here), replace(P1, **there)), "J4")
    assert (seat.pass_over.high, seat.grip.high) == (passes, 1.9)
    assert how(seat) == words
    assert bool(seat.obstacle) == (passes > 1.9)


def test_what_goes_on_a_wire_from_the_side_passes_nothing() -> None:
    both_on = boat(replace(J4, **FITTED), replace(P1, **FITTED))
    assert [(s.pass_over.high, how(s)) for s in (wire_at(both_on, "J4", "wrap"), wire_at(both_on, "J4", "flag"))] == [
        (1.9, "")
    ] * 2


def test_a_contact_of_unknown_size_is_asked_for() -> None:
    made = boat(replace(J4, **CRIMPED), replace(P1, **CRIMPED))
    made = replace(made, connectors=(Connector("P1"), Connector("J4")))
    with pytest.raises(LabelerError, match="circuit W1: its contact at J4 is crimped, and its size is not known"):
        wire_at(made, "J4")


def test_a_connector_that_is_on_holds_wires_of_no_branch_too() -> None:
    """W9 runs from J4 to J9, in no branch: its contact lies in J4 all the same."""
    made = boat(replace(J4, **FITTED), P1)
    made = replace(made, circuits=(circuit("W9", "J4:4", "J9:1"), *made.circuits))
    assert how(wire_at(made, "J4")) == "slide on from J9 before its contact is crimped; J4 is already terminated"


def test_a_sleeve_in_place_of_a_wrap_must_pass_what_is_fitted() -> None:
    made = boat(replace(J4, **FITTED, settings=settings({"marker.branch": ("wrap",)})), replace(P1, **FITTED))
    branch, sizing = made.branches[0], Sizing(index(made), CATALOGUE)
    assert end_seat(branch, branch.ends[0], sizing).pass_over.high < 5
    assert end_seat(branch, branch.ends[0], sizing, "sleeve").pass_over.high == 18.0
