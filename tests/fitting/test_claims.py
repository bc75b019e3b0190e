"""No fit is claimed where a limit is violated: random seats, texts and settings, every claim checked from outside."""

import random
from math import pi

import pytest

from labeler.fitting.film import fit_flag, fit_insert, fit_wrap, wrap_place
from labeler.fitting.result import needed_for
from labeler.fitting.sleeve import SleevePlace, fit_sleeve
from labeler.formulas.legibility import height_for_angle
from labeler.model import Fit, Marker, Range, Seat, SeatSection, Settings
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from tests.cases import spread
from tests.make import settings
from tests.shrinking import check_against_outcomes, outcomes, proportion

CATALOGUE = load_catalogue()
FAMILIES = tuple(family.name for family in CATALOGUE.families)
WRAPS = [CATALOGUE.stock(name) for name in ("wrap-a4-25x38", "wrap-a4-25x18", "wrap-a4-25x11")]
WORDS = ("DEPTH", "WINCH", "J4", "P1:12", "PROFILER", "3", "Q", "=F1-K1:13", "µΩ°", "gyj")
EPS = 1e-6


def drawn_settings(rng: random.Random) -> Settings:
    return settings(
        {
            "sleeve.families": tuple(rng.sample(FAMILIES, 3)),
            "sleeve.heating": rng.choice(["even", "unmarked side first", "any"]),
            "sleeve.text_direction": rng.choice(["along", "around", "auto"]),
            "sleeve.reads": rng.choice(["towards connector", "away from connector"]),
            "sleeve.marked_side_share": rng.uniform(0.3, 0.7),
            "print.reading_distance_mm": rng.uniform(200, 600),
            "print.wire_reading_distance_mm": rng.uniform(150, 400),
            "print.readable_arc_deg": rng.choice([60.0, 90.0]),
            "sleeve.expanded_oversize": rng.choice([0.0, 0.08]),
            "sleeve.end_margin_mm": rng.uniform(0, 4),
            "sleeve.fold_margin_mm": rng.uniform(0, 2),
            "sleeve.covering_overlap_mm": rng.uniform(0, 15),
            "sleeve.cut_lengths_mm": rng.choice([(), (25.0, 38.0, 50.0)]),
            "print.dpi": rng.choice([203.0, 300.0, 600.0]),
            "print.line_spacing": rng.uniform(1.2, 1.8),
            "print.font": rng.choice(["Atkinson Hyperlegible", "Fira Sans Condensed"]),
        }
    )


def drawn_seat(rng: random.Random) -> Seat:
    low = rng.uniform(0.8, 20)
    on = Range(low, low * rng.uniform(1, 1.3))
    if rng.random() < 0.3:
        closes = Range(on.low * 0.8, on.high * 0.8)
        section = SeatSection(closes, rng.random() < 0.5)
        return Seat(Range(on.low, on.high * 1.05), closes, on, section=section)
    return Seat(Range(on.low, on.high * rng.uniform(1, 1.4)), on, on)


def drawn_marker(rng: random.Random, kind: str, role: str) -> Marker:
    text = rng.choice([" ", "/", "-"]).join(rng.choices(WORDS, k=rng.randint(1, 4)))
    lines = tuple(rng.choices(WORDS, k=rng.randint(1, 3))) if rng.random() < 0.3 else (text,)
    return Marker("ID", kind, role, "J4", lines, len(lines) == 1, drawn_settings(rng))


def said_once(fit: Fit) -> None:
    """The lines are the text, nothing lost, nothing added but where blanks became line ends."""
    assert "".join(fit.lines).replace(" ", "") == "".join(fit.marker.text).replace(" ", "")


def tall_enough(fit: Fit, distance: float) -> None:
    chosen, capital = fit.marker.settings, fit.capital_height_mm
    assert capital is not None
    required = max(chosen.print.min_capital_height_mm, height_for_angle(distance, chosen.print.min_visual_angle_arcmin))
    assert capital.required == pytest.approx(required)
    scale = (capital.low + capital.high) / 2 / capital.printed  # marginal: at least in the middle of the range
    assert (capital.low if fit.result == "pass" else capital.printed * scale) >= required - EPS
    assert capital.printed >= chosen.print.min_dots_per_capital * 25.4 / chosen.print.dpi - EPS
    assert (
        fit.font_size_mm * load_font(fit.font).stroke
        >= chosen.print.min_dots_per_stroke * 25.4 / chosen.print.dpi - EPS
    )
    assert (
        fit.text_arc_deg <= (chosen.print.readable_arc_deg if fit.result == "pass" else chosen.print.max_arc_deg) + 1e-3
    )
    if fit.marker.kind == "sleeve":
        shares = [proportion(fit, out) for out in outcomes(fit)]
    else:  # nothing shrinks
        shares = [load_font(fit.font).capital_width / load_font(fit.font).capital]
    limits = chosen.print
    least, most = limits.min_width_ratio, limits.max_width_ratio
    if fit.result == "marginal":
        least, most = limits.marginal_min_width_ratio, limits.marginal_max_width_ratio
    assert least - EPS <= min(shares) <= max(shares) <= most + EPS


def ink(fit: Fit) -> tuple[float, float, float, float]:
    """Left, lower, right and upper edge of all lines of the face, mm."""
    assert fit.face is not None
    boxes = []
    for run in fit.face.runs:
        font = load_font(run.font)
        long, above, below = (
            font.width(run.text) * run.size_mm,
            font.above(run.text) * run.size_mm,
            font.below(run.text) * run.size_mm,
        )
        if run.turn == 90:
            boxes.append((run.x_mm - above, run.y_mm, run.x_mm + below, run.y_mm + long * run.stretch))
        else:
            boxes.append((run.x_mm, run.y_mm - below * run.stretch, run.x_mm + long, run.y_mm + above * run.stretch))
    left, lower, right, upper = zip(*boxes, strict=True)
    fallen = (fit.face.repeats - 1) * fit.face.repeat_pitch_mm
    return min(left), min(lower) - fallen, max(right), max(upper)


@pytest.mark.parametrize("case", spread(range(250), 60))
def test_sleeves(case: int) -> None:
    rng = random.Random(case)
    marker, seat = drawn_marker(rng, "sleeve", "branch end"), drawn_seat(rng)
    chosen = marker.settings
    fixed = rng.choice([None, None, 30.0])
    fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE), fixed))
    if fit.result == "fail":
        assert fit.reasons
        return
    said_once(fit)
    tall_enough(fit, chosen.print.reading_distance_mm)
    check_against_outcomes(fit)
    assert fit.tube is not None
    assert fit.face is not None
    slip, hold = 1 + chosen.sleeve.pass_over_margin, 1 - chosen.sleeve.grip_margin
    over, grip = seat.pass_over, seat.grip
    if fit.result == "pass":
        assert fit.tube.expanded_id_mm >= over.high * slip - EPS
        assert fit.tube.recovered_id_mm <= grip.low * hold + EPS
    assert fit.tube.expanded_id_mm >= min(over.high, (over.low + over.high) / 2 * slip) - EPS
    assert fit.tube.recovered_id_mm <= max(grip.low, (grip.low + grip.high) / 2 * hold) + EPS
    assert fit.cut_length_mm == (fixed or fit.cut_length_mm)
    assert fit.cut_length_mm <= max(200.0, *chosen.sleeve.cut_lengths_mm, fixed or 0.0)
    left, lower, right, upper = ink(fit)
    assert left >= chosen.sleeve.end_margin_mm - 1e-3
    assert right <= fit.face.width_mm - chosen.sleeve.end_margin_mm + 1e-3
    assert lower >= chosen.sleeve.fold_margin_mm - 1e-3
    assert upper <= fit.face.height_mm - chosen.sleeve.fold_margin_mm + 1e-3
    if seat.section:  # what is on the other side of the covering's edge stays free of print
        to_the_right = seat.section.towards_end == (chosen.sleeve.reads == "towards connector")
        free = fit.face.width_mm - right if to_the_right else left
        assert free >= chosen.sleeve.covering_overlap_mm + chosen.sleeve.end_margin_mm - 1e-3
    # flat print within half the circumference, and the stack's arc as reported or less, on any outside
    assert fit.face.height_mm <= pi * (fit.tube_od_mm[0] if fit.tube_od_mm else 0) / 2 + EPS


@pytest.mark.parametrize("case", spread(range(150), 48))
def test_wraps_strips_and_flags(case: int) -> None:
    rng = random.Random(1000 + case)
    on = rng.uniform(0.8, 8.5)
    seat = Seat(Range(on, on * 1.06), Range(on, on * 1.06), Range(on, on * 1.06))
    kind = ("wrap", "insert", "flag")[case % 3]
    marker = drawn_marker(rng, kind, "wire end")
    if kind == "wrap":
        fit = fit_wrap(marker, wrap_place(seat, marker.settings, needed_for(marker), WRAPS))
    elif kind == "flag":
        fit = fit_flag(marker, seat, CATALOGUE.stock("flag-a4-80x12"))
    else:
        over = Range(on + 0.2, on * 1.06 + 0.2)
        thick = Seat(over, over, over)
        place = SleevePlace(thick, choose_tubes(thick, marker.settings, CATALOGUE))
        fit = fit_insert(marker, place, CATALOGUE.stock("insert-a4"))
    if fit.result == "fail":
        assert fit.reasons
        return
    said_once(fit)
    tall_enough(fit, marker.settings.print.wire_reading_distance_mm)
    assert fit.face is not None
    left, lower, right, upper = ink(fit)
    assert 0 <= left < right <= fit.face.width_mm
    assert lower >= -1e-3
    assert upper <= fit.face.height_mm + 1e-3
    if kind == "wrap":
        stock = CATALOGUE.stock(fit.stock)
        zone = stock.cell_height_mm - stock.print_zone_mm
        assert lower >= zone + stock.cell_margin_mm - 1e-3
        assert upper <= stock.cell_height_mm - stock.cell_margin_mm + 1e-3
        assert stock.print_zone_mm <= pi * on + EPS  # the print does not run under itself
        tail = stock.cell_height_mm - stock.print_zone_mm
        assert tail >= pi * (on * 1.06 + 2 * stock.thickness_mm) - EPS  # … and the tail covers it once
