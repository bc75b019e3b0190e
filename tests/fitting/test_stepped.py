"""Sleeves over the edge of a covering: both parts held, the lettering on the one asked for, strips under them."""

from dataclasses import replace
from math import pi

import pytest

from labeler.fitting.film import fit_insert
from labeler.fitting.sleeve import SleevePlace, blank_sleeve, fit_sleeve
from labeler.harness import index
from labeler.model import Fit, Marker, Range, Seat, SeatSection, Tube, TubeChoice
from labeler.size.bundles import Sizing
from labeler.size.seats import end_seat
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from labeler.wording import sentence
from tests.make import NO_CHANGES, Changes, harness, settings

CATALOGUE = load_catalogue()
BARE, COVERED = Range(4.0, 4.6), Range(5.0, 5.8)
ON_COVERING = Seat(COVERED, BARE, COVERED, section=SeatSection(BARE))
ON_BUNDLE = Seat(COVERED, BARE, BARE, section=SeatSection(COVERED, towards_end=False))
HALF = Tube("made", "made 1", 8.0, 2.0, 0.5, 0.5, 0.5, longitudinal_change=-0.10)
"""Stopped on 5 mm it has recovered by (8 - 5)/(8 - 2) = 1/2 and is 5 % shorter, on 2 mm 10 %, on 8 mm nothing."""


def sleeve(seat: Seat, text: str = "DEPTH J4", cut: float | None = None, changes: Changes = NO_CHANGES) -> Fit:
    chosen = settings(changes)
    marker = Marker("ID", "sleeve", "branch end", "J4", (text,), True, chosen, marked=bool(text))
    return fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE), cut))


def left_and_right(fit: Fit) -> tuple[float, float]:
    """Free length at the left and at the right of the line, mm."""
    assert fit.face is not None
    run = fit.face.runs[0]
    return run.x_mm, fit.face.width_mm - run.x_mm - load_font(run.font).width(run.text) * run.size_mm


def test_the_overlap_lies_on_the_side_of_the_other_part() -> None:
    """The right-hand end goes to the connector: past the edge of the covering is right of a text on the
    covering, and left of one on the bare bundle. 10 mm after shrinking and 2 mm of margin stay free at least.
    """
    left, right = left_and_right(sleeve(ON_COVERING))
    assert right >= 12.0 > left
    left, right = left_and_right(sleeve(ON_BUNDLE, changes={"sleeve.text_on": "bundle"}))
    assert left >= 12.0 > right
    left, right = left_and_right(sleeve(ON_BUNDLE, changes={"sleeve.reads": "away from connector"}))
    assert right >= 12.0 > left


def test_lettering_on_the_bundle_keeps_its_second_part() -> None:
    made = harness(settings=settings({"sleeve.text_on": "bundle", "covering": "braided sleeving"}))
    branch = made.branches[0]
    seat = end_seat(branch, branch.ends[0], Sizing(index(made), CATALOGUE))
    assert seat.grip == seat.section.grip if seat.section else False  # it holds on the covering
    assert seat.section is not None
    assert not seat.section.towards_end
    assert seat.section.grip.high > seat.text_diameter.high
    bare = replace(
        branch.ends[0], settings=settings({"sleeve.covering_overlap_mm": 0.0, "covering": "braided sleeving"})
    )
    assert end_seat(branch, bare, Sizing(index(made), CATALOGUE)).section is None


@pytest.mark.parametrize("seat", [ON_COVERING, ON_BUNDLE])
def test_a_plain_sleeve_holds_both_parts(seat: Seat) -> None:
    """10 mm on either side take more than 20 mm of tube that shortens: the next step of 5 mm is 25."""
    fit = sleeve(seat, "")
    assert fit.cut_length_mm == 25
    assert [part.shrunk_mm.low >= 10.0 - 1e-9 for part in fit.sections] == [True, True]
    short = sleeve(seat, "", cut=20)
    assert short.result == "fail"
    assert "10 mm on either side of the covering's edge (sleeve.covering_overlap_mm)" in sentence(short.reasons[0])


def test_the_length_that_holds_both_parts_by_hand() -> None:
    """Half recovered on 5 mm (0.95), fully on 2 mm (0.90): 10/0.95 + 10/0.90 = 10.526 + 11.111 = 21.637 mm."""
    seat = Seat(Range(5, 5), Range(2, 2), Range(5, 5), section=SeatSection(Range(2, 2)))
    chosen = settings({"sleeve.expanded_oversize": 0.0, "sleeve.recovered_undersize": 0.0, "sleeve.cut_step_mm": 0.5})
    marker = Marker("ID", "sleeve", "branch end", "J4", ("",), True, chosen, marked=False)
    place = SleevePlace(seat, TubeChoice((HALF,)))
    assert blank_sleeve(marker, place).cut_length_mm == 22.0
    assert "needs 21.6 mm of tube; cut length is 21.5 mm" in sentence(blank_sleeve(marker, place, 21.5).reasons[0])
    own, past = blank_sleeve(marker, place, 21.637).sections
    assert (own.cut_mm, past.cut_mm) == pytest.approx((10.526, 11.111), abs=1e-3)
    assert (own.shrunk_mm.low, past.shrunk_mm.low) == pytest.approx((10.0, 10.0), abs=1e-3)


def test_a_strip_lies_under_its_own_part_alone() -> None:
    """Cut 40 mm: past the edge 10/0.90 = 11.111 mm, own part 28.889 x 0.95 = 27.444 mm shrunk, less 2 x 3 mm inset.

    Around: pi x (5 - 0.2) - 1 = 14.080 mm, for the seat counts the paper of 0.1 mm on either side.
    """
    seat = Seat(Range(5, 5), Range(2, 2), Range(5, 5), section=SeatSection(Range(2, 2)))
    chosen = settings({"sleeve.expanded_oversize": 0.0, "sleeve.recovered_undersize": 0.0})
    marker = Marker("ID", "insert", "branch end", "J4", ("J4",), True, chosen)
    fit = fit_insert(marker, SleevePlace(seat, TubeChoice((HALF,)), 40.0), CATALOGUE.stock("insert-a4"))
    assert fit.result == "pass"
    assert fit.face is not None
    assert (fit.face.width_mm, fit.face.height_mm) == pytest.approx((21.444, pi * 4.8 - 1.0), abs=1e-3)
    assert fit.cut_length_mm == 40
    assert sum(part.cut_mm for part in fit.sections) == pytest.approx(40)
    assert fit.sections[0].shrunk_mm.low - fit.face.width_mm == pytest.approx(6.0, abs=1e-3)


def test_what_is_against_the_sleeve_is_against_the_strip() -> None:
    """Cut 21 mm where both parts take 21.6: the sleeve does not hold, whatever the strip says."""
    seat = Seat(Range(5, 5), Range(2, 2), Range(5, 5), section=SeatSection(Range(2, 2)))
    chosen = settings(
        {
            "sleeve.expanded_oversize": 0.0,
            "sleeve.recovered_undersize": 0.0,
            "insert.sleeve_overhang_mm": 0.5,
            "sleeve.end_margin_mm": 0.5,
        }
    )
    marker = Marker("ID", "insert", "branch end", "J4", ("J",), True, chosen)
    fit = fit_insert(marker, SleevePlace(seat, TubeChoice((HALF,)), 21.0), CATALOGUE.stock("insert-a4"))
    assert fit.face is not None
    assert fit.result == "fail"
    assert "needs 21.6 mm of tube; cut length is 21 mm" in sentence(fit.reasons[0])


def test_a_branch_with_a_covering_end_to_end() -> None:
    """Both kinds of lettering on a real branch: each part of each sleeve is at least 10 mm after shrinking."""
    made = harness(settings=settings({"covering": "braided sleeving"}))
    branch = made.branches[0]
    for where in ("covering", "bundle"):
        chosen = settings({"covering": "braided sleeving", "sleeve.text_on": where})
        seat = end_seat(branch, replace(branch.ends[0], settings=chosen), Sizing(index(made), CATALOGUE))
        fit = sleeve(
            seat, "J4", changes={"sleeve.heating": "even"}
        )  # unmarked side first, the range of thin wires is too wide for letters
        assert fit.result == "pass"
        assert len(fit.sections) == 2
        assert all(part.shrunk_mm.low >= 10.0 - 1e-9 for part in fit.sections)
