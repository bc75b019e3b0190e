"""Fit a heat-shrink sleeve: the first tube that carries the text, its cut length, its flat face."""

from __future__ import annotations

from math import ceil

from labeler.fit.common import (
    DOES_NOT_FIT,
    FITS,
    TIGHT,
    capital_report,
    distance_for,
    font_of,
    set_text,
    verdict_of,
)
from labeler.fit.setting import Setting, type_size
from labeler.fit.zone import TubeZone, zone_on_tube
from labeler.formulas.shrink import limits, shrunk
from labeler.model import Face, Fit, Marker, Range, Run, Seat, Settings, Tube, TubeChoice
from labeler.text import Font

VERDICTS = (FITS, TIGHT, DOES_NOT_FIT)


def fit_sleeve(marker: Marker, seat: Seat, choice: TubeChoice, cut_length_mm: float | None = None) -> Fit:
    """Return the answer for one sleeve.

    The tubes are tried in the order of ``choice``; the first that fits is taken, else the first
    that is tight, else the one with the tallest capitals. ``cut_length_mm`` fixes the length.
    """
    if not choice.tubes:
        return _no_tube(marker, seat, choice)
    if not marker.lettered:
        return _plain(marker, seat, choice.tubes[0], cut_length_mm)
    font, reasons = font_of(marker.settings.font, marker.text, marker)
    answers = []
    for tube in choice.tubes:
        answer = _on_tube(marker, seat, tube, font, reasons, cut_length_mm)
        if answer.verdict == FITS:
            return answer
        answers.append(answer)
    return min(answers, key=lambda a: (VERDICTS.index(a.verdict), -(a.capital.low if a.capital else 0.0)))


def cut_lengths(settings: Settings, at_least_mm: float = 0.0) -> tuple[float, ...]:
    """Return the cut lengths that may be chosen, mm: whole steps from the shortest to the longest."""
    step = settings.cut_step_mm
    first = ceil(round(max(settings.shortest_cut_mm, at_least_mm) / step, 9))
    last = max(first, int(round(settings.longest_cut_mm / step, 9)))
    return tuple(i * step for i in range(first, last + 1))


def _on_tube(
    marker: Marker, seat: Seat, tube: Tube, font: Font, reasons: tuple[str, ...], cut_length_mm: float | None
) -> Fit:
    settings = marker.settings
    on = zone_on_tube(tube, seat.text_on, settings, distance_for(marker), font)
    overlap = _overlap(seat, tube, settings)
    taken = 2 * settings.end_margin_mm + overlap
    lengths = (cut_length_mm,) if cut_length_mm else cut_lengths(settings, taken)
    setting = set_text(marker, font, on.zone, lengths, taken)
    size = type_size(setting.capital_mm, font, on.zone.stretch, on.zone.required_mm)
    flat = size * font.capital * on.zone.stretch
    capital = capital_report(flat, on.zone)
    arc = setting.stack_mm / setting.capital_mm * flat * on.zone.arc_per_mm if setting.capital_mm else 0.0
    verdict, why = verdict_of(setting, on.zone, capital, arc, settings)
    return Fit(
        marker=marker,
        verdict=verdict,
        reasons=(*reasons, *why),
        lines=setting.lines,
        seat=seat,
        tube=tube,
        face=_face(setting, size, font, on, settings, overlap) if size > 0 else None,
        capital=capital,
        cut_length_mm=setting.length_mm,
        outside_mm=(on.shrunk.supplied_outside_mm.low, on.shrunk.outside_mm.low, on.shrunk.outside_mm.high),
        lay_flat_mm=on.lay_flat_mm,
        printable_mm=on.zone.across_mm,
        print_scale=on.shrunk.print_scale,
        face_scale=on.shrunk.face_scale,
        along_scale=on.shrunk.along,
        arc_deg=arc,
        stretch=on.zone.stretch,
        font=font.name,
        size_mm=size,
        ways_out=_ways(setting, on, taken, cut_length_mm, settings) if verdict == DOES_NOT_FIT else (),
    )


def _overlap(seat: Seat, tube: Tube, settings: Settings) -> float:
    """Flat length that ends up past the edge of a covering, on the other part of the seat."""
    if seat.closes_on == seat.text_on:
        return 0.0
    other = Range(seat.closes_on.low, min(seat.closes_on.high, tube.supplied_mm))
    shortest = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), other, "even").along.low
    return settings.overlap_mm / shortest


def _face(setting: Setting, size: float, font: Font, on: TubeZone, settings: Settings, overlap: float) -> Face:
    """The flat piece: lines centred on what is left of the length, the stack centred across."""
    flat = size * font.capital * on.zone.stretch
    left, right = settings.end_margin_mm, setting.length_mm - settings.end_margin_mm - overlap
    above, below = font.above(setting.lines[0]), font.below(setting.lines[-1])
    pitch = settings.line_pitch * flat
    stack = (above + below) * size * on.zone.stretch + (len(setting.lines) - 1) * pitch
    baseline = (on.lay_flat_mm + stack) / 2 - above * size * on.zone.stretch
    runs = tuple(
        Run(
            line,
            font.name,
            size,
            round((left + right - font.width(line) * size) / 2, 6),
            round(baseline - i * pitch, 6),
            round(on.zone.stretch, 6),
        )
        for i, line in enumerate(setting.lines)
    )
    return Face(setting.length_mm, round(on.lay_flat_mm, 6), runs)


def _plain(marker: Marker, seat: Seat, tube: Tube, cut_length_mm: float | None) -> Fit:
    settings = marker.settings
    on = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), seat.text_on, "even")
    length = cut_length_mm or cut_lengths(settings, _overlap(seat, tube, settings))[0]
    return Fit(
        marker=marker,
        verdict=FITS,
        reasons=(),
        seat=seat,
        tube=tube,
        cut_length_mm=length,
        outside_mm=(on.supplied_outside_mm.low, on.outside_mm.low, on.outside_mm.high),
        print_scale=on.print_scale,
        along_scale=on.along,
    )


def _no_tube(marker: Marker, seat: Seat, choice: TubeChoice) -> Fit:
    settings = marker.settings
    what = (
        f"no tube of {', '.join(settings.sleeve)} both passes {seat.passes.high:.2f} mm (slip +{settings.slip:.0%}) "
        f"and closes on {seat.closes_on.low:.2f} mm (grip -{settings.grip:.0%})"
    )
    if seat.obstacle:
        what += f"; it must pass {seat.obstacle}"
    ways = (*choice.ways_out, *(("thread it on before the connector is fitted",) if seat.obstacle else ()))
    kind = "wire_marker_kind" if marker.role == "wire end" else "branch_marker_kind"
    ways = (*ways, f'mark it with a wrap instead ({kind} = "wrap")')
    return Fit(marker, DOES_NOT_FIT, (what, *choice.refusals), seat=seat, ways_out=ways)


def _ways(setting: Setting, on: TubeZone, taken: float, fixed: float | None, settings: Settings) -> tuple[str, ...]:
    """What would make the text fit, smallest change first."""
    ways: list[str] = []
    if setting.limit == "length" and setting.capital_mm > 0:
        need = taken + setting.width_mm * on.zone.required_mm / setting.capital_mm
        length = ceil(need / settings.cut_step_mm) * settings.cut_step_mm
        key = "cut_length_mm" if fixed else "longest_cut_mm"
        ways.append(f"cut it {length:g} mm long ({key} = {length:g})")
    if setting.limit in ("arc", "across") and len(setting.lines) > 1:
        ways.append("fewer lines")
    low, have = on.zone.needed.required_mm, setting.capital_mm * on.zone.low
    if have < low:
        ways.append(f"a shorter text, or a smaller required height (it reaches {have:.2f} mm)")
    return tuple(ways)
