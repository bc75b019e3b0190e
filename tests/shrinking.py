"""What shrinking makes of a printed sleeve, worked out anew from single stopped tubes."""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import degrees

from labeler.formulas.shrink import marked_side_scale, stop
from labeler.model import Fit, Range
from labeler.text import load_font


@dataclass(frozen=True)
class Outcome:
    """One way a sleeve may come out: its scale along, its lettered face's around, its outside, mm."""

    along: float
    face: float
    outside_mm: float
    circumferential_scale: float


def outcomes(fit: Fit, samples: int = 60) -> Iterator[Outcome]:
    """Yield the corners of all tolerances of a sleeve on its seat, and so many points between them."""
    tube, seat, chosen = fit.tube, fit.seat, fit.marker.settings
    assert tube is not None
    assert seat is not None
    ranges = (
        Range(tube.expanded_id_mm, tube.expanded_id_mm * (1 + chosen.sleeve.expanded_oversize)),
        Range(tube.recovered_id_mm * (1 - chosen.sleeve.recovered_undersize), tube.recovered_id_mm),
        Range(tube.min_recovered_wall_mm, tube.max_recovered_wall_mm),
        Range(tube.longitudinal_change, 0.0),
        Range(0.0, 1.0 if tube.liner_mm else 0.0),
        seat.text_diameter,
    )
    rng = random.Random(fit.marker.id)
    inside = [tuple(rng.uniform(r.low, r.high) for r in ranges) for _ in range(samples)]
    for supplied, recovered, wall, change, flowed, on in (*product(*((r.low, r.high) for r in ranges)), *inside):
        liner = flowed * (recovered + tube.liner_mm) * tube.liner_mm
        at = stop(supplied, recovered, wall, on, change, liner)
        face = marked_side_scale(
            at.circumferential_scale, at.full_scale, chosen.sleeve.heating, chosen.sleeve.marked_side_share
        )
        for scale in {face.low, face.high}:
            yield Outcome(at.along, scale, at.outside_mm, at.circumferential_scale)


def proportion(fit: Fit, out: Outcome) -> float:
    """Return width over height of the printed H after one outcome: around the tube its width shrinks with the face."""
    assert fit.face is not None
    run = fit.face.runs[0]
    font = load_font(run.font)
    wide, high = font.capital_width * run.size_mm, font.capital * run.size_mm
    if run.turn == 90:
        return wide * run.stretch * out.face / (high * out.along)
    return wide * out.along / (high * run.stretch * out.face)


def capital(fit: Fit, out: Outcome) -> float:
    """Return the height of the printed H after one outcome, mm."""
    assert fit.face is not None
    run = fit.face.runs[0]
    high = load_font(run.font).capital * run.size_mm
    return high * out.along if run.turn == 90 else high * run.stretch * out.face


def extent(fit: Fit) -> float:
    """Return how much of the circumference the printed lines take, flat, mm: the stack, or the longest line around."""
    assert fit.face is not None
    runs, font = fit.face.runs, load_font(fit.face.runs[0].font)
    if runs[0].turn == 90:
        return max(font.width(run.text) * run.size_mm * run.stretch for run in runs)
    top = runs[0].y_mm + font.above(runs[0].text) * runs[0].size_mm * runs[0].stretch
    return top - runs[-1].y_mm + font.below(runs[-1].text) * runs[-1].size_mm * runs[-1].stretch


def check_against_outcomes(fit: Fit) -> None:
    """No outcome lies outside what the fit claims; the claims' ends are reached within 1 %, which sampling leaves."""
    assert fit.surface.width_ratio is not None
    assert fit.capital_height_mm is not None
    all_of_them = list(outcomes(fit))
    for claimed, found in (
        (fit.surface.width_ratio, [proportion(fit, out) for out in all_of_them]),
        (Range(fit.capital_height_mm.low, fit.capital_height_mm.high), [capital(fit, out) for out in all_of_them]),
    ):
        assert claimed.low - 1e-4 <= min(found) <= claimed.low * 1.01
        assert claimed.high * 0.99 <= max(found) <= claimed.high * 1.0001 + 1e-4
    covered = [degrees(2 * extent(fit) * out.face / out.outside_mm) for out in all_of_them]
    assert (
        fit.text_arc_deg * 0.9 <= max(covered) <= fit.text_arc_deg * 1.0001
    )  # a narrow peak inside the range: samples miss it
