"""The everyday branch: few wires in a covering, with default settings, judged against an arithmetic of its own.

What a builder does with tube from the drawer must not be refused. The bundles worked by hand take the tube that a
builder takes (common practice).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from math import pi, sqrt

import pytest

from labeler.fitting.film import fit_flag, fit_wrap, wrap_place
from labeler.fitting.result import needed_for
from labeler.fitting.sleeve import SleevePlace, fit_sleeve, room_of
from labeler.job.check import choose_stocks
from labeler.model import FAIL, PASS, Fit, Marker, Range, Seat, SeatSection
from labeler.size.bundles import bundle
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import default_settings, load_catalogue, with_low_end
from labeler.wording import sentences
from tests.orders import check
from tests.places import EXAMPLES

CATALOGUE, SETTINGS = load_catalogue(), default_settings()
STOCKS = choose_stocks(CATALOGUE)
COVERINGS = (
    "none",
    "braided sleeving",
    "cloth tape, half-lapped",
    "PVC tape, half-lapped",
    "woven wrap",
    "PVC tubing",
)
WIRES = (
    *(("SAE J1128 TXL", f"{gauge} AWG") for gauge in (22, 20, 18, 16, 14, 12)),
    *(("SAE J1128 GXL", f"{gauge} AWG") for gauge in (20, 18, 16, 14, 12)),
    *(("SAE AS22759/32", f"{gauge} AWG") for gauge in (24, 22, 20, 18, 16, 14, 12)),
    *(("ISO 6722-1 thin wall", f"{area} mm2") for area in ("0.35", "0.5", "0.75", "1", "1.5", "2.5")),
)
TEXTS = ("B1:", "DEPTH J4", "WATER PROBE J12", "FORWARD BILGE PUMP ALARM", "STARBOARD NAVIGATION LIGHT J112")


def wire(insulation: str, size: str) -> Range:
    return with_low_end(CATALOGUE.wire_diameter(insulation, size), SETTINGS).range_mm


def seat_on(wires: list[Range], covering: str) -> Seat:
    bare = bundle(wires, SETTINGS)
    if covering == "none":
        return Seat(bare.pass_over, bare.grip, bare.grip, wires=len(wires))
    over = CATALOGUE.seat_covering(covering)
    covered = bare.under(over)
    section = SeatSection(bare.grip)
    return Seat(covered.pass_over, covered.grip, covered.grip, wires=len(wires), section=section, covering=over)


def texts() -> Iterator[tuple[str, ...]]:
    """Yield each text as one line that may be broken, and as two lines that are given, as even as words allow."""
    for text in TEXTS:
        yield (text,)
        if " " in text:
            words = text.split(" ")
            cut = min(range(1, len(words)), key=lambda n: abs(len(" ".join(words[:n])) - len(text) / 2))
            yield " ".join(words[:cut]), " ".join(words[cut:])


def fitted(seat: Seat, place: SleevePlace, lines: tuple[str, ...]) -> Fit:
    """The kinds in the order of the default settings."""
    marker = Marker("X", "sleeve", "branch end", "J1", lines, len(lines) == 1, SETTINGS, single=seat.wires == 1)
    fit = fit_sleeve(marker, place)
    if fit.result == FAIL:
        wrap = replace(marker, kind="wrap")
        fit = fit_wrap(wrap, wrap_place(seat, SETTINGS, needed_for(wrap), STOCKS.wraps))
    return fit if fit.result != FAIL else fit_flag(replace(marker, kind="flag"), seat, STOCKS.flag)


def holds(fit: Fit, seat: Seat, wires: list[Range]) -> None:
    """An arithmetic of its own for two wires and one, of what any chosen tube must do."""
    assert fit.tube is not None
    wall = seat.covering.passed_wall_mm.low if seat.covering else 0.0
    thinnest, thickest = sum(w.low for w in wires[:2]) + 2 * wall, seat.grip.high
    assert fit.tube.expanded_id_mm > thinnest  # it slides over the thinnest, squeezed
    assert fit.tube.recovered_id_mm < thickest  # it holds on the fullest
    assert fit.capital_height_mm is not None
    printed, scale = fit.capital_height_mm.printed, fit.surface.marked_side_scale
    assert scale is not None
    assert fit.capital_height_mm.low == pytest.approx(printed * scale.low)
    assert fit.capital_height_mm.high == pytest.approx(printed * scale.high)


@pytest.mark.slow
def test_the_everyday_table() -> None:
    """1 to 15 wires of 24 kinds and sizes, six coverings, texts of 3 to 31 characters in one line and in two.

    What fails cannot be read: two given lines of 24 characters or more on a thin part. Two lines of 1.86 mm with a
    pitch of 1.57 are 4.8 mm high, 120 degrees of a part of 4.6 mm; neither is a flag's half, 40 mm, long enough.
    """
    results: Counter[str] = Counter()
    room = room_of(STOCKS.sleeve, CATALOGUE.stocks)
    for (insulation, size), count, covering in product(WIRES, range(1, 16), COVERINGS):
        wires = [wire(insulation, size)] * count
        seat = seat_on(wires, covering)
        place = SleevePlace(seat, choose_tubes(seat, SETTINGS, CATALOGUE), None, room)
        for lines in texts():
            fit = fitted(seat, place, lines)
            results[fit.result] += 1
            if fit.result == FAIL:
                assert len(lines) == 2
                assert len(" ".join(lines)) >= 24
                assert seat.pass_over.low < 7.0
            if fit.tube is not None and fit.result != FAIL:
                holds(fit, seat, wires)
    total = results.total()
    print(f"\n{total} branches: {dict(results)}")
    assert results[FAIL] <= 0.03 * total
    assert results[PASS] >= 0.75 * total


@pytest.mark.parametrize(("gauge", "tube"), [(22, "3:1 single wall 6/2"), (20, "AS23053/5 1/4"), (18, "AS23053/5 1/4")])
def test_two_wires_in_a_braid_take_the_tube_that_a_builder_takes(gauge: int, tube: str) -> None:
    """Two round wires lie d + d wide; their girth is (2 + pi) d. Two crossing filaments of 0.25 mm are 0.5 mm.

    20 AWG TXL, 1.9 mm at most: 3.8 + 1.0 = 4.8 mm, 5.28 with the margin: 1/4 in tube (6.35 mm). common practice
    """
    d = wire("SAE J1128 TXL", f"{gauge} AWG")
    seat = seat_on([d, d], "braided sleeving")
    assert seat.pass_over.high >= 2 * d.high + 2 * 0.5
    assert seat.grip.low == pytest.approx((2 + pi) * d.low / pi + 2 * 0.4, rel=1e-6)
    marker = Marker("X", "sleeve", "branch end", "J1", ("SOUNDER J1",), True, SETTINGS)
    fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, SETTINGS, CATALOGUE)))
    assert fit.result == PASS
    assert fit.tube is not None
    assert fit.tube.name == tube


def test_three_wires_in_a_woven_wrap() -> None:
    """Three round wires: the circle is (1 + 2 / sqrt(3)) d, the girth (3 + pi) d."""
    d = wire("SAE J1128 TXL", "18 AWG")
    seat = seat_on([d, d, d], "woven wrap")
    assert seat.pass_over.low == pytest.approx((1 + 2 / sqrt(3)) * d.low + 2 * 0.6, rel=1e-3)
    assert seat.grip.low == pytest.approx((3 + pi) * d.low / pi + 2 * 0.6, rel=1e-6)
    marker = Marker("X", "sleeve", "branch end", "J1", ("WINCH J5",), True, SETTINGS)
    fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, SETTINGS, CATALOGUE)))
    assert fit.result != FAIL
    assert fit.tube is not None
    assert fit.tube.expanded_id_mm >= seat.pass_over.high


def test_one_cable_in_tape() -> None:
    """A cable of 6.0 mm with 0.2 to 0.7 mm of tape: 7.2 mm to slide over when pressed, 3/8 in tube. common practice"""
    seat = seat_on([Range(6.0, 6.0)], "tape, half-lapped")
    assert (seat.pass_over.high, seat.grip.low) == pytest.approx((7.2, 6.4))
    marker = Marker("X", "sleeve", "branch end", "J1", ("CAMERA",), True, SETTINGS, single=True)
    fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, SETTINGS, CATALOGUE)))
    assert fit.result == PASS
    assert fit.tube is not None
    assert fit.tube.name == "AS23053/5 3/8"


def test_what_is_loose_past_the_edge_is_said() -> None:
    """1/4 in tube recovers to 3.175 mm; two wires of 1.5 mm have a girth of (2 + pi) 1.5 / pi = 2.455 mm."""
    seat = seat_on([Range(1.5, 1.5)] * 2, "woven wrap")
    tube = CATALOGUE.tube("AS23053/5 1/4")
    marker = Marker("X", "sleeve", "branch end", "J1", ("J1",), True, SETTINGS)
    choice = replace(choose_tubes(seat, SETTINGS, CATALOGUE), tubes=(tube,))
    fit = fit_sleeve(marker, SleevePlace(seat, choice))
    assert "closes the end of the woven wrap; up to 0.72 mm loose on the bare wires past it" in sentences(fit.reasons)


def test_a_cut_longer_than_usual_is_the_last_choice() -> None:
    """31 characters on a bundle of 4 mm do not go on 60 mm; the shop's limit stays a limit."""
    on = Range(4.0, 4.3)
    seat = Seat(on, on, on, wires=2)
    text = ("STARBOARD:WORK:LIGHT:FORWARD:P2",)
    for changes, longest in (({}, 200.0), ({"sleeve.max_cut_length_mm": 60.0}, 60.0)):
        chosen = SETTINGS.changed({"sleeve.text_direction": "along", **changes})
        marker = Marker("X", "sleeve", "branch end", "J1", text, True, chosen)
        fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE)))
        assert fit.cut_length_mm <= longest
        assert (fit.cut_length_mm > 60) == (longest > 60)


@pytest.mark.parametrize("name", ["sounder-lead.toml", "sounder-lead.csv"])
def test_the_smallest_job_passes_without_a_setting(name: str) -> None:
    """Two wires; as a harness file also a braid, a connector that is installed, a blank and a marked sleeve."""
    fits = check(str(EXAMPLES / name)).fits
    assert {fit.result for fit in fits} == {PASS}
    if name.endswith(".toml"):
        sleeves = {fit.marker.place: fit for fit in fits if fit.marker.kind == "sleeve"}
        assert (sleeves["J1"].marker.marked, sleeves["P1"].marker.marked) == (False, True)
        assert {fit.tube.name for fit in sleeves.values() if fit.tube} == {"AS23053/5 1/4"}
        assert len((EXAMPLES / name).read_text("utf-8").splitlines()) <= 25
