"""Diameters of branch ends and the choice of tube; sums in the comments, wire sizes from SAE J1128."""

import pytest

from labeler.errors import LabelerError
from labeler.harness import index
from labeler.model import Cable, Connector, Harness, Range, Seat
from labeler.size.bundles import Sizing, bundle
from labeler.size.seats import end_seat, wire_seat
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.wording import installation, obstacle, sentence, sources
from tests.make import circuit, harness, new_branch, new_end, settings

CATALOGUE = load_catalogue()
ON_BOAT = Sizing(index(harness()), CATALOGUE)


def seat_of(made: Harness, end: int = 0) -> Seat:
    branch = made.branches[0]
    return end_seat(branch, branch.ends[end], Sizing(index(made), CATALOGUE))


def test_three_wires() -> None:
    """20 AWG TXL, SAE J1128: nominal 1.8, of which 5 % less is allowed for, 1.71; maximum 1.9 mm.

    Passes: 1.71 x 2.1547 = 3.6845 (three circles) … max(1.2 sqrt(3) x 1.9, 1.05 x 2.1547 x 1.9) = 4.299.
    Closes: hull of three circles (3 d + pi d)/pi = 1.95493 d = 3.3429 … 4.299.
    """
    seat = seat_of(harness())
    assert (seat.pass_over.low, seat.pass_over.high) == pytest.approx((3.6845, 4.299), rel=1e-3)
    assert (seat.grip.low, seat.grip.high) == pytest.approx((3.3429, 4.299), rel=1e-3)
    at_nominal = seat_of(harness(settings=settings({"wire.od_undersize": 0.0})))
    assert at_nominal.grip.low == pytest.approx(1.8 * 1.95493, rel=1e-3)
    assert seat.text_diameter == seat.grip
    assert installation(seat.installation) == "slide on at J4 before the contacts are crimped"


def test_two_wires_close_on_their_hull_not_on_their_circle() -> None:
    """Two of 1.9 mm: circle 3.80, hull perimeter/pi (2 + pi)/pi x 1.9 = 3.11."""
    made = bundle([Range(1.9, 1.9)] * 2, settings())
    assert made.pass_over.low == pytest.approx(3.80, rel=1e-6)
    assert made.grip.low == pytest.approx(3.1096, rel=1e-4)


def test_six_wires_close_on_the_smallest_outline_of_equally_tight_ones() -> None:
    """2 mm each: five around one, (4 + root 3 + pi)/pi x 2 = 5.649; in a ring it would be 5.820."""
    made = bundle([Range(2.0, 2.0)] * 6, settings())
    assert made.grip.low == pytest.approx(5.649, abs=1e-3)
    assert made.pass_over.low == pytest.approx(6.0, rel=1e-4)


def test_a_sleeve_that_straddles_the_edge_of_a_covering() -> None:
    """Wall 0.6 mm: it slides over, grips and is read on the bundle + 1.2 mm; a closed end grips the bare wires too."""
    made = harness(settings=settings({"covering_wall_mm": 0.6}))
    bare, seat = seat_of(harness()), seat_of(made)
    assert seat.pass_over.high == pytest.approx(bare.pass_over.high + 1.2)
    assert seat.grip.low == pytest.approx(bare.grip.low + 1.2)
    closed = seat_of(harness(settings=settings({"covering_wall_mm": 0.6, "sleeve.grips": "both"})))
    assert closed.grip == bare.grip
    assert seat.text_diameter.low == pytest.approx(bare.grip.low + 1.2)
    assert seat.text_diameter.high == pytest.approx(bare.grip.high + 1.2)
    on_bundle = seat_of(harness(settings=settings({"covering_wall_mm": 0.6, "sleeve.text_on": "bundle"})))
    assert on_bundle.text_diameter == bare.grip
    beside = seat_of(harness(settings=settings({"covering_wall_mm": 0.6, "sleeve.covering_overlap_mm": 0.0})))
    assert beside.grip.low == pytest.approx(bare.grip.low + 1.2)


def test_a_measured_diameter_wins() -> None:
    branch = new_branch("B4", ends=(new_end("J4"),), bundle_diameter_mm=4.4, bundle_diameter_tolerance_mm=0.1)
    seat = seat_of(harness(branches=(branch,)))
    assert (seat.pass_over.low, seat.pass_over.high) == pytest.approx((4.3, 4.5))
    assert seat.grip == seat.pass_over
    assert "measured 4.4 mm" in next(sources(seat))


def test_a_covering_comes_on_top_of_a_measured_diameter() -> None:
    """4.4 ± 0.1 mm bare, wall 0.6: slides over up to 4.5 + 1.2 = 5.7, grips and is read from 4.3 + 1.2 = 5.5 mm."""
    branch = new_branch("B4", ends=(new_end("J4"),), bundle_diameter_mm=4.4, bundle_diameter_tolerance_mm=0.1)
    seat = seat_of(harness(branches=(branch,), settings=settings({"covering_wall_mm": 0.6})))
    assert (seat.pass_over.high, seat.grip.low, seat.text_diameter.low) == pytest.approx((5.7, 5.5, 5.5))
    bundle, covering = sources(seat)
    assert bundle == "measured 4.4 mm ± 0.1 mm over the bare bundle"
    assert covering.startswith("covering covering, 0.6 mm all round: ")


def test_cores_of_a_cable_count_as_the_cable() -> None:
    wires = tuple(circuit(f"W{n}", f"P1:{n}", f"J4:{n}", cable="K1") for n in (1, 2, 3))
    seat = seat_of(harness(circuits=wires, cables=(Cable("K1", 6.2),)))
    assert seat.pass_over == Range(6.2, 6.2)


def test_threading() -> None:
    fitted = new_end("J4", connector_installed=True)
    from_the_other_end = seat_of(harness(branches=(new_branch("B4", ends=(fitted, new_end("P1"))),)))
    assert "from P1" in installation(from_the_other_end.installation)
    assert from_the_other_end.pass_over.high < 5
    both = new_branch("B4", ends=(fitted, new_end("P1", connector_installed=True)))
    over = seat_of(harness(branches=(both,)))
    assert over.pass_over.high == 18.0  # the smaller of 18 and 30 mm
    assert over.obstacle
    assert obstacle(over.obstacle) == "connector J4, 18 mm"
    alone = harness(branches=(new_branch("B4", ends=(fitted,)),), connectors=(Connector("J4"),))
    with pytest.raises(LabelerError, match="give max_width_mm of connector J4"):
        seat_of(alone)


def test_what_is_not_known_is_asked_for() -> None:
    wires = (circuit("W1", "P1:1", "J4:1", size=""), circuit("W2", "P1:2", "J4:2", size="99 AWG"))
    with pytest.raises(LabelerError) as caught:
        seat_of(harness(circuits=wires))
    first, second = caught.value.problems
    assert "W1: no size" in first.message
    assert "SAE J1128 TXL has no 99 AWG" in second.message
    with pytest.raises(LabelerError, match="no circuit runs through it"):
        seat_of(harness(circuits=()))


def test_a_stated_minimum_or_tolerance_is_not_lowered() -> None:
    """ISO 6722-1 0.35 mm2: 1.20 to 1.40 mm stated; 0.5 mm2: 8 % below 1.60 = 1.472 mm, the table's own choice.

    AS22759/16 20 AWG states a tolerance.
    """
    for size, low in (("0.35 mm2", 1.20), ("0.5 mm2", 1.472)):
        wire = circuit("W1", "P1:1", "J4:1", size=size, wire_type="ISO 6722-1 thin wall")
        assert wire_seat(wire, ON_BOAT).grip.low == pytest.approx(low)
    wire = circuit("W1", "P1:1", "J4:1", size="20 AWG", wire_type="SAE AS22759/16")
    assert wire_seat(wire, ON_BOAT).grip == CATALOGUE.wire_diameter(wire.wire_type, wire.size).range_mm
    assert not CATALOGUE.wire_diameter(wire.wire_type, wire.size).from_nominal


def test_wire() -> None:
    seat = wire_seat(circuit("W1", "P1:1", "J4:1", size="0.5 mm2", wire_type="ISO 6722-1 thin wall"), ON_BOAT)
    assert seat.pass_over.high == 1.6  # ISO 6722-1 maximum
    given = wire_seat(circuit("W1", "P1:1", "J4:1", od_mm=2.05), ON_BOAT)
    assert given.pass_over == Range(2.05, 2.05)


# ---------------------------------------------------------------- tubes


def seat(passes: float, closes: float) -> Seat:
    return Seat(Range(closes, passes), Range(closes, passes), Range(closes, passes))


def test_pass_and_grip() -> None:
    """4.6 x 1.1 = 5.06, 4.0 x 0.9 = 3.6: 1/4 (6.35 -> 3.175) passes; 3/16 (4.7498) has 3.3 % of clearance."""
    found = choose_tubes(seat(4.6, 4.0), settings({"sleeve.families": ("AS23053/5",)}), CATALOGUE)
    assert [tube.name for tube in found.tubes] == ["AS23053/5 1/4", "AS23053/5 3/16"]
    assert found.marginal.keys() == {"AS23053/5 3/16"}
    assert "slides over 4.60 mm with 3.3% clearance" in sentence(found.marginal["AS23053/5 3/16"][0])


def test_families_in_the_order_asked_for() -> None:
    found = choose_tubes(seat(4.6, 4.0), settings(), CATALOGUE)
    passing = [tube.name for tube in found.tubes if tube.name not in found.marginal]
    assert passing == ["AS23053/5 1/4", "3:1 single wall 6/2", "3:1 single wall 9/3"]
    assert [tube.name for tube in found.tubes[3:]] == [*found.marginal]  # they come after those that pass


def test_the_middle_of_a_wide_range_is_marginal() -> None:
    """8 mm to 3.6: 3/8 (9.525) passes 8.8; 4.7498 does not grip 3.6, but (8 + 3.6) / 2 x 0.9 = 5.22."""
    found = choose_tubes(seat(8.0, 3.6), settings({"sleeve.families": ("AS23053/5",)}), CATALOGUE)
    assert [tube.name for tube in found.tubes] == ["AS23053/5 3/8", "AS23053/5 1/2"][: len(found.tubes)]
    assert sentence(found.marginal["AS23053/5 3/8"][0]) == (
        "grips 5.80 mm with the 10% margin (4.75 mm recovered); loose on 3.60 mm: check that it holds"
    )


def test_two_to_one_has_no_size_for_a_wide_range() -> None:
    """8 mm to slide over (a connector), 3.4 to 3.6 to grip: 3/8 slides over it, but recovers to 4.75 mm."""
    over_connector = Seat(Range(8.0, 8.0), Range(3.4, 3.6), Range(3.4, 3.6))
    found = choose_tubes(over_connector, settings({"sleeve.families": ("AS23053/5",)}), CATALOGUE)
    assert not found.tubes
    # 3/8: 4.7498 - 3.4 x 0.9 = 1.69; 1/4: 8.8 - 6.35 = 2.45
    assert sentence(found.refusals[0]) == (
        "no tube fits; nearest: AS23053/5 3/8 (9.53 mm expanded, 4.75 recovered) recovers 1.69 mm too wide to grip "
        "with "
        "the 10% margin"
    )
    assert sentence(found.fixes[0]) == (
        "use 3:1 single wall 9/3 (9.00 mm expanded, 3.00 recovered, 3.0:1): add '3:1 single wall' to sleeve.families"
    )


def test_no_tube_at_all() -> None:
    """30 mm to slide over, 1 mm to grip: no ratio of the catalogue reaches it."""
    found = choose_tubes(Seat(Range(30.0, 30.0), Range(1.0, 1.0), Range(1.0, 1.0)), settings(), CATALOGUE)
    assert not found.tubes
    # 33.0 and 0.9: 24/8 misses by 9.0 and 7.1
    assert sentence(found.refusals[0]) == (
        "no tube fits; nearest: 3:1 single wall 24/8 (24.00 mm expanded, 8.00 recovered) is 9.00 mm too small to slide "
        "on with the 10% margin and recovers 7.10 mm too wide to grip with the 10% margin"
    )


def test_every_choice_slides_on_and_grips_as_its_grade_says() -> None:
    """Worked out here from the definitions: with both margins, or each without its margin or in the middle with it."""
    for least in (0.8, 1.3, 2.0, 3.1, 5.5, 9.0, 14.0, 22.0):
        for spread in (1.0, 1.1, 1.3, 1.6):
            chosen = settings({"sleeve.families": tuple(f.name for f in CATALOGUE.families)})
            most, middle = least * spread, least * (1 + spread) / 2
            found = choose_tubes(seat(most, least), chosen, CATALOGUE)
            for tube in found.tubes:
                with_margins = tube.expanded_id_mm >= most * 1.1 and tube.recovered_id_mm <= least * 0.9
                assert with_margins == (tube.name not in found.marginal)
                assert tube.expanded_id_mm >= min(most, middle * 1.1)
                assert tube.recovered_id_mm <= max(least, middle * 0.9)


def test_replace_settings_on_an_end() -> None:
    end = new_end("J4", settings=settings({"covering_wall_mm": 1.0}))
    made = harness(branches=(new_branch("B4", ends=(end,)),))
    assert seat_of(made).text_diameter.low == pytest.approx(seat_of(harness()).text_diameter.low + 2.0)
