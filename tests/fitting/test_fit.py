"""Fits of sleeves, wraps and tags: every limit with its sum, and what is said where it does not hold."""

import re
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from labeler.codes.symbols import PROPOSED, symbols
from labeler.errors import LabelerError
from labeler.fitting.code import CodeMaker
from labeler.fitting.film import fit_wrap, wrap_place
from labeler.fitting.result import needed_for
from labeler.fitting.sleeve import SleevePlace, cut_lengths, fit_sleeve
from labeler.fitting.tag import fit_tag
from labeler.fitting.text import Needed, flat_zone
from labeler.model import Fit, Marker, Range, Seat, SeatSection, TagWords, TubeChoice
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from labeler.wording import sentence, sentences
from tests.make import NO_CHANGES, Changes, settings

CATALOGUE = load_catalogue()
STEPPED = Seat(
    Range(5.0, 5.8), Range(4.0, 4.6), Range(5.0, 5.8), section=SeatSection(Range(4.0, 4.6))
)  # a covering over 4.0 to 4.6 mm, the lettering on it
FONT = load_font("Atkinson Hyperlegible")


def plain(low: float, high: float) -> Seat:
    return Seat(Range(low, high), Range(low, high), Range(low, high))


def sleeve(
    text: str | tuple[str, ...], low: float, high: float, cut: float | None = None, changes: Changes = NO_CHANGES
) -> Fit:
    lines = (text,) if isinstance(text, str) else text
    chosen = settings(changes)
    seat = plain(low, high)
    marker = Marker("ID", "sleeve", "branch end", "J4", lines, len(lines) == 1, chosen)
    return fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE), cut))


def test_a_branch_sleeve() -> None:
    """Required at 400 mm: 16' -> 1.862 mm, after shrinking, everywhere in the interval."""
    fit = sleeve("DEPTH J4", 4.0, 4.6)
    assert fit.result == "pass"
    assert fit.capital_height_mm is not None
    assert fit.capital_height_mm.required == pytest.approx(1.862, abs=0.001)
    assert fit.surface.marked_side_scale is not None
    assert fit.capital_height_mm.low == pytest.approx(fit.capital_height_mm.printed * fit.surface.marked_side_scale.low)
    assert fit.capital_height_mm.low > fit.capital_height_mm.required
    assert fit.text_arc_deg <= 90


def test_the_face_of_a_sleeve_is_as_large_as_the_piece_and_holds_the_text() -> None:
    fit = sleeve("DEPTH J4", 4.0, 4.6)
    face = fit.face
    assert face is not None
    assert (face.width_mm, face.height_mm) == pytest.approx(
        (fit.cut_length_mm, fit.surface.lay_flat_width_mm), abs=1e-6
    )
    run = face.runs[0]
    width, height = FONT.width(run.text) * run.size_mm, FONT.capital * run.size_mm * run.stretch
    assert run.x_mm >= 2.0 - 1e-6  # end margin
    assert run.x_mm + width <= face.width_mm - 2.0 + 1e-6
    assert run.y_mm + height / 2 == pytest.approx(face.height_mm / 2, abs=0.2)  # in the middle of the flat side
    assert fit.capital_height_mm is not None
    assert height == pytest.approx(fit.capital_height_mm.printed, rel=1e-5)


def test_both_edges_of_a_sleeve_stay_free_of_print() -> None:
    """Two margins of 1.5 mm across the flat piece."""
    surface = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.fold_margin_mm": 1.5}).surface
    assert surface.printable_around_mm == pytest.approx(surface.lay_flat_width_mm - 3.0)


def test_letters_keep_their_proportion_after_shrinking() -> None:
    """Width over height of the H stays within 0.5 … 1.0 over the whole range (ISO 9241-3, DOD-HDBK-791)."""
    fit = sleeve("DEPTH J4", 4.0, 4.6)
    assert fit.surface.marked_side_scale is not None
    assert fit.surface.longitudinal_scale is not None
    own = FONT.capital_width / FONT.capital
    widest = own * fit.surface.longitudinal_scale.high / (fit.surface.text_stretch * fit.surface.marked_side_scale.low)
    narrowest = (
        own * fit.surface.longitudinal_scale.low / (fit.surface.text_stretch * fit.surface.marked_side_scale.high)
    )
    assert 0.5 <= narrowest < widest <= 1.0 + 1e-9


def test_even_heat_against_back_first() -> None:
    even, back = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.heating": "even"}), sleeve("DEPTH J4", 4.0, 4.6)
    assert even.surface.marked_side_scale == even.surface.circumferential_scale
    assert back.surface.marked_side_scale is not None
    assert back.surface.circumferential_scale is not None
    assert back.surface.marked_side_scale.low == back.surface.circumferential_scale.low
    assert back.surface.marked_side_scale.high > back.surface.circumferential_scale.high


def test_too_long_for_the_piece() -> None:
    fit = sleeve("RIVERSURVEYBOAT", 4.0, 4.6, cut=20)
    assert fit.result == "fail"
    assert "16.0 mm of the 20 mm length is printable" in sentence(fit.reasons[0])
    assert sleeve("RIVERSURVEYBOAT", 4.0, 4.6, cut=35).result == "pass"


def test_too_many_lines_for_the_part() -> None:
    fit = sleeve(("DEPTH", "SOUNDER", "J4"), 4.0, 4.6)
    assert fit.result == "fail"
    assert "3 lines may cover 120°" in sentence(fit.reasons[0])


def test_a_long_text_breaks_where_the_length_is_fixed() -> None:
    fit = sleeve("CURRENT PROFILER J3", 8.0, 8.9, cut=30)
    assert fit.lines == ("CURRENT", "PROFILER J3")
    assert fit.result in ("pass", "marginal")


def test_turn_to_read() -> None:
    fit = sleeve("CURRENT PROFILER J3", 5.7, 6.5, cut=30)
    assert fit.result == "marginal"
    assert 90 < fit.text_arc_deg <= 120
    assert "reads without turning" in sentence(fit.reasons[0])


def test_no_tube() -> None:
    chosen = settings()
    seat = Seat(Range(24.0, 24.0), Range(2.0, 2.0), Range(2.0, 2.0))  # a connector of 24 mm, a wire of 2 mm
    marker = Marker("ID", "sleeve", "branch end", "J4", ("DEPTH J4",), True, chosen)
    fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE)))
    assert fit.result == "fail"
    assert fit.face is None
    # 24 x 1.1 = 26.4, less 24 expanded: 2.4; 8 recovered, less 2 x 0.9 = 1.8: 6.2
    assert sentence(fit.reasons[0]) == (
        "no tube fits; nearest: 3:1 single wall 24/8 (24.00 mm expanded, 8.00 recovered) is 2.40 mm too small to slide "
        "on with the 10% margin and recovers 6.20 mm too wide to grip with the 10% margin"
    )


def test_plain_sleeves_are_only_cut() -> None:
    seat = Seat(Range(4, 4.6), Range(4, 4.6), Range(4, 4.6))
    chosen = settings()
    marker = Marker("ID", "sleeve", "branch end", "J4", ("B4",), True, chosen, marked=False)
    fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE), 25))
    assert (fit.result, fit.face, fit.cut_length_mm) == ("pass", None, 25)


def test_a_sleeve_over_the_edge_of_a_covering_keeps_its_text_on_the_covering() -> None:
    chosen = settings({"sleeve.covering_overlap_mm": 10.0})
    marker = Marker("ID", "sleeve", "branch end", "J4", ("DEPTH J4",), True, chosen)
    fit = fit_sleeve(marker, SleevePlace(STEPPED, choose_tubes(STEPPED, chosen, CATALOGUE)))
    run = fit.face.runs[0]  # type: ignore[union-attr]
    end = run.x_mm + FONT.width(run.text) * run.size_mm
    assert end <= fit.cut_length_mm - 2.0 - 10.0  # end margin, and at least the overlap (shrunk length is shorter)


@pytest.mark.parametrize("seat", [STEPPED, plain(4.0, 4.6), plain(9.0, 10.0)])
@pytest.mark.parametrize(
    "changes", [{}, {"sleeve.reads": "away from connector", "sleeve.cut_lengths_mm": (25.0, 38.0, 50.0)}]
)
def test_what_sleeves_of_one_place_share_changes_no_answer(seat: Seat, changes: dict[str, Any]) -> None:
    """Many texts in one place, and each in a place of its own, where nothing is known of the others yet."""
    chosen = settings(changes)
    choice = choose_tubes(seat, chosen, CATALOGUE)
    shared = SleevePlace(seat, choice)
    words = ("HULL", "J4", "WINCH", "Q", "gyj", "P1:12", "STARBOARD", "Ä", "UP", "=F1-K1:13")
    for one, two in product(words, words):
        for text in (one, f"{one} {two}", f"{one} {two} {one}/{two}"):
            marker = Marker("ID", "sleeve", "branch end", "J4", (text,), True, chosen)
            assert fit_sleeve(marker, shared) == fit_sleeve(marker, SleevePlace(seat, choice)), text


def test_cut_lengths() -> None:
    assert cut_lengths(settings())[:3] == (20, 25, 30)
    assert cut_lengths(settings())[-1] == 60
    assert cut_lengths(settings(), 33.0)[0] == 35
    assert cut_lengths(settings({"sleeve.min_cut_length_mm": 22.0, "sleeve.cut_step_mm": 2.5}))[0] == 22.5


def test_a_glyph_no_font_has_is_named() -> None:
    with pytest.raises(LabelerError, match=r"J4: text 'TIEFE 漢': no glyph for '漢'"):
        sleeve("TIEFE 漢", 4.0, 4.6)


def test_a_stand_in_is_said() -> None:
    fit = sleeve("ГЛУБИНА", 4.0, 4.6)
    assert fit.font == "Fira Sans Condensed"
    assert "set in Fira Sans Condensed" in sentence(fit.reasons[0])


def test_the_printer_can_form_it() -> None:
    """12 dots at 100 dpi are 3.05 mm as printed: more than 1.27 mm shrunk asks for."""
    near = {
        "print.reading_distance_mm": 100.0,
        "print.min_visual_angle_arcmin": 5.0,
        "print.preferred_visual_angle_arcmin": 5.0,
        "print.max_visual_angle_arcmin": 5.0,
    }
    fit = sleeve("J4", 4.0, 4.6, changes={"print.dpi": 100.0, **near})
    assert fit.capital_height_mm is not None
    assert fit.capital_height_mm.printed >= 12 * 25.4 / 100 - 1e-9


@pytest.mark.parametrize("heating", ["even", "unmarked side first", "any"])
def test_a_larger_required_height_never_makes_a_text_fit(heating: str) -> None:
    order = ["pass", "marginal", "fail"]
    worst = 0
    for least in (1.27, 1.8, 2.2, 2.6, 3.0, 3.4, 4.0, 5.0):
        fit = sleeve(
            "WATER PROBE J4",
            4.0,
            4.6,
            cut=40,
            changes={
                "print.min_capital_height_mm": least,
                "sleeve.heating": heating,
                "sleeve.families": ("AS23053/5",),
            },
        )
        assert order.index(fit.result) >= worst
        worst = order.index(fit.result)
    assert worst == 2


# ---------------------------------------------------------------- wraps


def wrap(text: str, low: float, high: float, changes: Changes = NO_CHANGES) -> Fit:
    stocks = [CATALOGUE.stock(name) for name in ("wrap-a4-25x38", "wrap-a4-25x18", "wrap-a4-25x11")]
    seat = Seat(Range(low, high), Range(low, high), Range(low, high))
    marker = Marker("ID", "wrap", "wire end", "P1:1", (text,), True, settings(changes))
    return fit_wrap(marker, wrap_place(seat, marker.settings, needed_for(marker), stocks))


def test_the_stock_that_serves_the_wire() -> None:
    """P/pi … T/pi - 2t: 5/pi = 1.59 … 13/pi - 0.2 = 3.94; 9/pi = 2.86 … 29/pi - 0.2 = 9.03."""
    assert wrap("W1", 2.0, 2.2).stock == "wrap-a4-25x18"
    assert wrap("W1", 1.4, 1.5).stock == "wrap-a4-25x11"
    assert wrap("W1", 4.0, 4.4).stock == "wrap-a4-25x38"
    assert wrap("W1", 2.5, 4.2).result == "fail"  # a range that no single one serves
    assert "wrap-a4-25x38 2.86 to 9.03 mm" in sentence(wrap("W1", 9.5, 9.5).reasons[0])


def test_wrap_height_by_the_arc() -> None:
    """On 1.8 mm with 0.1 mm film: 90° of 2.0 mm is pi/4 x 2.0 = 1.571 mm."""
    fit = wrap("W1", 1.8, 1.9)
    assert fit.capital_height_mm is not None
    assert fit.capital_height_mm.printed <= 1.5708
    assert fit.capital_height_mm.printed > 1.5
    assert fit.text_arc_deg == pytest.approx(90, abs=1)


def test_copies_stand_in_the_printed_zone() -> None:
    fit = wrap("W1", 1.8, 1.9)
    face = fit.face
    assert face is not None
    assert face.repeats == 2
    run = face.runs[0]
    top = run.y_mm + FONT.above(run.text) * run.size_mm
    bottom = run.y_mm - FONT.below(run.text) * run.size_mm - face.repeat_pitch_mm
    assert top <= 18.0 - 0.5 + 1e-3  # cell height less margin
    assert bottom >= 18.0 - 5.0 + 0.5 - 1e-3  # printed zone 5 mm


def test_wraps_break_too() -> None:
    fit = wrap("STARBOARD:12/WHEELHOUSE:14", 3.0, 3.2, changes={"print.wire_reading_distance_mm": 250.0})
    assert len(fit.lines) == 2
    assert fit.result in ("pass", "marginal")


def test_a_wire_too_thin_for_its_text() -> None:
    fit = wrap("W1", 0.9, 1.0)
    assert fit.result == "fail"
    assert "one line may cover 120°" in sentence(fit.reasons[0])


# ---------------------------------------------------------------- tags


def tag(words: TagWords, code: str = "", changes: Changes = NO_CHANGES) -> Fit:
    marker = Marker("ID", "tag", "bag", "K4", ("K4",), False, settings(changes))
    codes = CodeMaker(lambda kind, _: symbols(kind or "QR", code), False, PROPOSED) if code else None
    return fit_tag(marker, words, CATALOGUE.stock("tag-a4-95x54"), codes)


def test_a_tag_holds_all_its_words_and_a_code() -> None:
    words = TagWords("K4", ("branch B4: J4, P1", "Survey boat"), ("1 x housing", "4 x contact"))
    fit = tag(words, "7QQ4FNR7")
    assert fit.lines == ("K4", "branch B4: J4, P1", "Survey boat", "1 x housing", "4 x contact")
    face = fit.face
    assert face is not None
    assert len(face.boxes) == 2
    assert face.symbol is not None
    assert face.symbol.data == "7QQ4FNR7"
    for run in face.runs:
        assert run.x_mm + FONT.width(run.text) * run.size_mm <= 95 - 3 + 1e-6
        assert run.y_mm - FONT.below(run.text) * run.size_mm >= 3 - 1e-6
        assert run.size_mm * FONT.capital >= 1.862 - 1e-3  # 16' at 400 mm


def test_rows_go_into_columns_and_then_into_a_summary() -> None:
    many = TagWords(
        "P1", ("Survey boat",), tuple(f"{n} W{n} to J{n}:1" for n in range(1, 25)), "24 wire ends: see the bench sheet"
    )
    assert len(tag(many).face.boxes) == 24  # type: ignore[union-attr]
    too_many = replace(many, rows=many.rows * 4, summary="96 wire ends: see the bench sheet")
    fit = tag(too_many)
    assert fit.lines[-1] == "96 wire ends: see the bench sheet"
    assert "96 rows do not fit on a tag" in sentence(fit.reasons[0])


def test_contents_that_do_not_go_on_a_tag_are_not_cut_off() -> None:
    fit = tag(TagWords("K4", ("Survey boat",), tuple(f"1 x part number {n}, with a long name" for n in range(60))))
    assert fit.result == "fail"
    assert fit.face is None
    assert "divide the bag" in sentences(fit.fixes)


def test_tubes_are_tried_until_one_carries_the_text() -> None:
    seat = Seat(Range(4, 4.6), Range(4, 4.6), Range(4, 4.6))
    chosen = settings()
    tubes = choose_tubes(seat, chosen, CATALOGUE).tubes
    marker = Marker("ID", "sleeve", "branch end", "J4", ("DEPTH J4",), True, chosen)
    assert fit_sleeve(marker, SleevePlace(seat, TubeChoice(tubes))).tube == tubes[0]
    assert fit_sleeve(marker, SleevePlace(seat, TubeChoice(tubes[1:]))).tube == tubes[1]


# ---------------------------------------------------------------- direction, contrast, the printer


def test_lines_around_a_wide_short_sleeve() -> None:
    """A 12 mm piece has 8 mm for a line along it, too short for "DEPTHJ4"; around 24 mm 90° are 18.8 mm."""
    along = sleeve("DEPTHJ4", 24.0, 25.0, cut=12, changes={"sleeve.text_direction": "along"})
    assert along.result == "fail"
    fit = sleeve("DEPTHJ4", 24.0, 25.0, cut=12)
    assert (fit.result, fit.surface.text_direction) == ("pass", "around")
    assert fit.face is not None
    run = fit.face.runs[0]
    assert run.turn == 90
    line = FONT.width(run.text) * run.size_mm * run.stretch
    assert run.y_mm + line / 2 == pytest.approx(fit.face.height_mm / 2, abs=1e-3)
    assert fit.capital_height_mm is not None
    assert fit.capital_height_mm.printed == pytest.approx(run.size_mm * FONT.capital)
    lengthwise = fit.surface.longitudinal_scale
    assert lengthwise is not None
    assert fit.capital_height_mm.low == pytest.approx(
        fit.capital_height_mm.printed * lengthwise.low
    )  # its height shrinks lengthwise
    assert fit.text_arc_deg <= 90


def test_lines_that_read_away_from_the_end_leave_the_other_side_free() -> None:

    def run_of(reading: str) -> tuple[Fit, float, float]:
        marker = Marker("ID", "sleeve", "branch end", "J4", ("J4",), True, settings({"sleeve.reads": reading}))
        fit = fit_sleeve(marker, SleevePlace(STEPPED, choose_tubes(STEPPED, marker.settings, CATALOGUE)))
        run = fit.face.runs[0]  # type: ignore[union-attr]
        return fit, run.x_mm, fit.cut_length_mm - run.x_mm - FONT.width(run.text) * run.size_mm

    _, left, right = run_of("towards connector")
    assert right > left + 10
    _, left_away, right_away = run_of("away from connector")
    assert (left_away, right_away) == pytest.approx((right, left))


def test_the_parts_of_a_stepped_seat_make_up_the_cut_length() -> None:
    """10 mm of overlap after shrinking at its shortest; what is cut is the sum of the parts."""
    marker = Marker("ID", "sleeve", "branch end", "J4", ("DEPTH J4",), True, settings())
    fit = fit_sleeve(marker, SleevePlace(STEPPED, choose_tubes(STEPPED, marker.settings, CATALOGUE)))
    own, past = fit.sections
    assert own.cut_mm + past.cut_mm == pytest.approx(fit.cut_length_mm)
    assert past.shrunk_mm.low == pytest.approx(10.0)
    assert past.shrunk_mm.high == pytest.approx(past.cut_mm)  # no change of length at all
    assert own.shrunk_mm.low < own.cut_mm


def test_cut_lengths_of_the_shop() -> None:
    assert cut_lengths(settings({"sleeve.cut_lengths_mm": (25.0, 38.0, 50.0)}), 30.0) == (38.0, 50.0)
    fit = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.cut_lengths_mm": (38.0, 50.0)})
    assert fit.cut_length_mm == 38.0


def test_black_print_on_a_black_tube_is_refused() -> None:
    """Equal luminances: (L + 0.05)/(L + 0.05) = 1."""
    fit = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.colour": "BK"})
    assert fit.result == "fail"
    assert "contrast of BK on BK 1.0:1" in sentence(fit.reasons[0])
    assert sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.colour": "BK", "print.colour": "WH"}).result == "pass"
    assert sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.colour": "YE"}).result == "pass"
    unknown = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.colour": "sand"})
    assert unknown.result == "pass"
    assert "contrast not checked" in sentence(unknown.reasons[0])
    assert wrap("W1", 2.0, 2.2, changes={"print.colour": "WH"}).result == "fail"


def test_strokes_of_two_dots() -> None:
    """At 203 dpi two dots are 0.250 mm; a stroke of 0.094 em needs a type size of 2.66 mm, capitals of 1.78 mm.

    At 300 dpi: 0.1693 mm, 1.80 mm, 1.20 mm. The stem of the H measures 94/1000 em.
    """
    assert pytest.approx(0.094, abs=0.0005) == FONT.stroke
    # on 1.4 mm with film, 120° are 1.6 x 1.0472 = 1.68 mm
    coarse = wrap("W1", 1.4, 1.5, changes={"print.wire_reading_distance_mm": 250.0, "print.dpi": 203.0})
    assert coarse.result == "fail"
    assert "1.78 mm required for a printer of 203 dpi" in sentence(coarse.reasons[0])
    assert wrap("W1", 1.4, 1.5, changes={"print.wire_reading_distance_mm": 250.0, "print.dpi": 300.0}).result != "fail"


@pytest.mark.parametrize(("stretch", "required"), [(1.0, 1.78), (2.0, 3.56), (0.5, 1.78)])
def test_the_thinner_stroke_of_stretched_letters_has_two_dots(stretch: float, required: float) -> None:
    """As above, 1.78 mm at 203 dpi. Letters printed twice as tall keep the width of their stems: capitals of 3.56 mm.

    Half as tall, their level strokes are half as thick: the type size is 5.32 mm, capitals again 1.78 mm.
    """
    zone = flat_zone(FONT, settings({"print.dpi": 203.0}), Needed(0.1, 0.1, 0.1, "test"), stretch=stretch)
    assert zone.required_mm == pytest.approx(required, rel=0.005)


def test_letters_cannot_be_kept_in_proportion_over_too_wide_a_range() -> None:
    fit = sleeve(
        "DEPTH J4",
        4.0,
        8.0,
        changes={"sleeve.heating": "any", "sleeve.families": ("3:1 single wall",), "print.min_width_ratio": 0.7},
    )
    assert fit.result == "fail"
    assert any("as wide as high" in reason for reason in sentences(fit.reasons))


def test_both_faces_exclude_heating_from_behind() -> None:
    """The two faces' scales add up to twice the average: there is no back left that could shrink first."""
    refused = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.printed_sides": "both"})
    assert refused.result == "fail"
    assert "no unmarked side to heat first" in sentence(refused.reasons[0])
    even = sleeve("DEPTH J4", 4.0, 4.6, changes={"sleeve.printed_sides": "both", "sleeve.heating": "even"})
    assert even.result == "pass"
    assert even.face is not None
    assert even.face.passes == 2


def test_an_overlap_longer_than_the_longest_cut_is_refused() -> None:
    """100 mm past the edge after shrinking take at least 100 mm, and the longest cut is 60 mm."""
    chosen = settings({"sleeve.covering_overlap_mm": 100.0})
    place = SleevePlace(STEPPED, choose_tubes(STEPPED, chosen, CATALOGUE))
    for lettered in (True, False):
        marker = Marker("ID", "sleeve", "branch end", "J4", ("DEPTH J4",), True, chosen, marked=lettered)
        fit = fit_sleeve(marker, place)
        assert fit.result == "fail"
        assert fit.cut_length_mm <= 60
        assert fit.reasons


# ---------------------------------------------------------------- what else a tag is held to


def test_a_tag_is_held_to_contrast() -> None:
    """Equal luminances: 1.0 : 1. Printed in black it is as tall as preferred: 20' at 400 mm, 2.327 mm."""
    words = TagWords("K4", ("Survey boat",), ("1 x housing",))
    fit = tag(words, changes={"print.colour": "WH"})
    assert fit.result == "fail"
    assert "contrast of WH on WH 1.0:1" in sentence(fit.reasons[0])
    assert sentences(fit.fixes) == ("print in another colour (print.colour = 'BK'): 2.32 mm",)
    assert tag(words).surface.contrast > 3


def test_a_tag_is_held_to_the_printers_dots() -> None:
    """At 100 dpi two dots are 0.508 mm; a stem of 0.094 em asks for 5.404 mm of type, capitals of 0.668 em for 3.61 mm.

    That is more than 12 dots of a capital, 3.05 mm, and more than 16' at 400 mm, 1.86 mm.
    """
    fit = tag(TagWords("K4", ("Survey boat",), ("1 x housing",)), changes={"print.dpi": 100.0})
    assert fit.capital_height_mm is not None
    assert fit.capital_height_mm.required == pytest.approx(0.508 / 0.094 * 0.668, rel=0.002)
    assert fit.capital_height_mm.low >= 3.60
    assert fit.capital_height_mm.required_by == "print.min_dots_per_stroke at 100 dpi"


def test_a_tag_that_holds_too_much_says_from_how_near_it_would_be_read() -> None:
    words = TagWords("K4", ("Survey boat",), tuple(f"1 x part {n}, with a name as long as this one" for n in range(20)))
    fit = tag(words)
    assert fit.result == "fail"
    way = sentence(fit.fixes[0])
    found = re.fullmatch(r"read it from nearer \(print.reading_distance_mm = (\d+)\): (\d\.\d\d) mm", way)
    assert found
    done = tag(words, changes={"print.reading_distance_mm": float(found[1])})
    assert done.result == "pass"
    assert done.capital_height_mm is not None
    assert f"{done.capital_height_mm.low:.2f}" == found[2]


def test_a_title_too_long_is_said() -> None:
    assert "the title needs" in sentence(tag(TagWords("K4" * 60, (), ("1 x housing",))).reasons[0])
