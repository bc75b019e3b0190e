"""The way on and the order of threading, over the states of the ends; diameters by hand."""

from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from labeler.catalogue import load_catalogue
from labeler.errors import LabelerError
from labeler.model import Branch, BranchEnd, Connector, Harness, ThreadStep
from labeler.plan import circuits_by_branch
from labeler.size import end_seat, threading
from tests.make import circuit, harness, settings

CATALOGUE = load_catalogue()


def boat(here: BranchEnd, there: BranchEnd | None = None, covering: str = "none", **more: Any) -> Harness:
    ends = (here,) if there is None else (here, there)
    connectors = (
        Connector("P1", outside_mm=30.0, contact_outside_mm=2.6),
        Connector("J4", outside_mm=18.0, contact_outside_mm=2.6),
        Connector("M1", kind="junction"),
    )
    base = settings(covering=covering)
    return harness(branches=(Branch("B4", ends=ends),), connectors=connectors, settings=base, **more)


def steps(made: Harness) -> tuple[ThreadStep, ...]:
    branch = made.branches[0]
    return threading(branch, circuits_by_branch(made)[branch.id], made, CATALOGUE)


def order(made: Harness) -> list[tuple[str, str]]:
    return [(step.what if step.what != "sleeve" else step.at, step.from_end) for step in steps(made)]


J4, P1 = BranchEnd("J4"), BranchEnd("P1")
ON: dict[str, Any] = {"fitted": True}


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
        (replace(J4, crimped=True), P1, [("J4", "P1"), ("braided sleeving", "P1"), ("P1", "P1")]),
        # nothing can be threaded from where branches meet
        (J4, BranchEnd("M1"), [("M1", "J4"), ("braided sleeving", "J4"), ("J4", "J4")]),
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
    wrapped = replace(J4, settings=settings(branch_marker_kind="wrap"))
    assert order(boat(wrapped, P1)) == [("P1", "P1")]


def test_before_which_step() -> None:
    first = steps(boat(J4, P1))[0]
    assert first.before == "the contacts at J4 are crimped"
    assert first.how == "thread on at J4 before the contacts are crimped"
    crimped = steps(boat(replace(J4, crimped=True), replace(P1, **ON)))[0]
    assert crimped.before == "connector J4 is fitted"
    fitted = steps(boat(replace(J4, **ON), replace(P1, **ON)))[-1]
    assert (fitted.before, fitted.how) == ("", "pass over the connector J4, 18 mm")


def test_what_is_passed_over_crimped_contacts() -> None:
    """Three wires of at most 1.9 mm, one of them taken for a contact of 2.6 mm.

    Circles of 2.6, 1.9, 1.9 (Descartes, radii 1.3, 0.95, 0.95): k = 1/1.3 + 2/0.95 - 2 sqrt(2/(1.3 x 0.95)
    + 1/0.95^2) = 2.87449 - 2 x 1.65131 = -0.42813: 2 x 2.33574 = 4.6715 mm; hand-laid
    max(1.2 sqrt(2.6^2 + 2 x 1.9^2), 1.05 x 4.6715) = max(4.4873, 4.9050) = 4.905 mm.
    """
    made = boat(replace(J4, crimped=True))
    branch = made.branches[0]
    seat = end_seat(branch, branch.ends[0], circuits_by_branch(made)[branch.id], made, CATALOGUE)
    assert seat.passes.high == pytest.approx(4.905, abs=0.005)
    assert seat.obstacle.startswith("contacts crimped at J4, 4.9 mm")


def test_sizes_that_decide_the_way_are_asked_for() -> None:
    unknown = (Connector("J4"), Connector("P1"))
    for end, asked in (
        (replace(J4, crimped=True), "give contact_outside_mm of connector J4"),
        (replace(J4, **ON), "outside_mm of connector J4"),
    ):
        made = replace(boat(end), connectors=unknown)
        with pytest.raises(LabelerError, match=asked):
            steps(made)
    # … but not while another end will do
    assert order(replace(boat(replace(J4, **ON), P1), connectors=unknown))[0] == ("J4", "P1")


def test_a_ring_terminal() -> None:
    parts = (Connector("E1", kind="ring terminal", outside_mm=10.5), Connector("P1", outside_mm=30.0))
    wires = (circuit("W1", "P1:1", "E1", size="10 AWG"),)
    made = harness(branches=(Branch("B7", ends=(BranchEnd("E1"), P1)),), connectors=parts, circuits=wires)
    assert steps(made)[0].before == "the terminal E1 is crimped"
    done = replace(made, branches=(Branch("B7", ends=(BranchEnd("E1", crimped=True),)),))
    assert steps(done)[0].how == "pass over the ring terminal E1, 10.5 mm"


STATES: tuple[dict[str, Any], ...] = ({}, {"crimped": True}, {"fitted": True})


@pytest.mark.parametrize(("here", "there", "covering"), list(product(STATES, STATES, ("none", "braided sleeving"))))
def test_every_order_can_be_done(here: dict[str, Any], there: dict[str, Any], covering: str) -> None:
    """Thread in thought: on its way from its end to its place nothing meets what already lies between."""
    made = boat(replace(J4, **here), replace(P1, **there), covering)
    place = {"J4": 0.0, "": 0.5, "P1": 1.0}
    lying: list[float] = []
    todo = steps(made)
    assert len(todo) == (2 if covering == "none" else 3)
    for step in todo:
        start, end = place[step.from_end] + (-0.1 if step.from_end == "J4" else 0.1), place[step.at]
        assert not [p for p in lying if min(start, end) < p < max(start, end)], (step, lying)
        lying.append(end)
