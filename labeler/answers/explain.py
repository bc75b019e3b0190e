"""Explain: the way from the wires to the verdict of one marker, each step with its formula and its source."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil

from labeler import wording
from labeler.answers.report import parts_of
from labeler.errors import Problem, Where, WrongUse, nearest
from labeler.formulas.curvature import GRADES
from labeler.formulas.shrink import stop
from labeler.model import Capital, CodeFit, Fit, MeasuredBundle, PackedBundle, Range, Seat, Settings, Tube
from labeler.record.marker_names import NOT, Names, match_rank, normalised
from labeler.wording import sentence


def named(fits: Iterable[Fit], name: str) -> tuple[Fit, ...]:
    """Return the markers that a name means: those that it matches best, see `labeler.record.marker_names`.

    Raises `WrongUse` where it matches none.
    """
    wanted = normalised(name)
    known = tuple((_names(fit), fit) for fit in fits)
    ranked = [(match_rank(names, wanted), fit) for names, fit in known]
    best = min((rank for rank, _ in ranked), default=NOT)
    if best == NOT:
        near = nearest(name, [printed for names, _ in known for printed in names.printed()])
        fix = f"did you mean {near!r}? " if near else ""
        fix += "take an id, a place or the text of labeler check"
        raise WrongUse(Problem(Where("--explain"), f"no marker is called {name!r}", fix))
    return tuple(fit for rank, fit in ranked if rank == best)


def _names(fit: Fit) -> Names:
    marker = fit.marker
    return Names(marker.id, marker.at, marker.branch, marker.circuit, " ".join(fit.lines or marker.text), marker.kind)


def explain(fit: Fit) -> Iterable[str]:
    """Yield what was worked out for one marker, a line for each step."""
    marker = fit.marker
    yield f"{marker.id}  {marker.role} {marker.at}  {' | '.join(fit.lines or marker.text)!r}: {fit.verdict}"
    if fit.seat:
        yield from _seat(fit.seat, marker.kind)
    if fit.tube and fit.seat:
        yield from _tube(fit, fit.tube, fit.seat)
    elif fit.stock and marker.kind == "wrap":
        yield from _wrap(fit)
    if fit.capital:
        yield from _type(fit, fit.capital)
    if fit.code:
        yield from _code(fit.code, marker.settings)
    for reason in fit.reasons:
        yield f"because     {sentence(reason)}"
    for way in fit.ways_out:
        yield f"would do    {sentence(way)}"


def _span(value: Range, digits: int = 2) -> str:
    low, high = f"{value.low:.{digits}f}", f"{value.high:.{digits}f}"
    return low if low == high else f"{low} to {high}"


def _seat(seat: Seat, kind: str) -> Iterable[str]:
    yield f"sits on     {wording.sits_on(seat)}"
    for source in wording.sources(seat):
        yield f"            {source}"
    if kind == "wrap":
        yield f"around      {_span(seat.text_on)} mm"
        return
    passes, closes = _from_to(seat)
    yield f"passes      {_span(seat.passes)} mm: {passes}"
    yield f"closes on   {_span(seat.closes_on)} mm: {closes}"
    if seat.section:
        where = "over the covering" if seat.section.towards_end else "the bare bundle"
        yield f"text on     {_span(seat.text_on)} mm: {where}"
        yield f"            and {_span(seat.section.closes_on)} mm: {wording.sections(seat)[1]}"
    if seat.installation:
        yield f"thread      {wording.installation(seat.installation)}"


def _from_to(seat: Seat) -> tuple[str, str]:
    """Where the diameters that a sleeve passes and closes on are from."""
    obstacle = f", and {wording.obstacle(seat.obstacle)}" if seat.obstacle else ""
    if isinstance(seat.basis, PackedBundle) and seat.basis.count > 1:
        covering = ", the covering on it" if seat.covering else ""
        return f"the tightest packing to laid by hand{covering}{obstacle}", "hull (perimeter / pi) to laid by hand"
    measured = isinstance(seat.basis, MeasuredBundle)
    bare = "as measured" if measured else "the wire or cable itself" if seat.basis else "as given"
    covering = ", the covering added" if seat.covering else ""
    return f"{bare}{covering}{obstacle}", bare if seat.section or not covering else f"{bare}{covering}"


def _tube(fit: Fit, tube: Tube, seat: Seat) -> Iterable[str]:
    settings = fit.marker.settings
    passes, grips = 1 + settings.slip, 1 - settings.grip
    need, most = seat.passes.high * passes, seat.closes_on.low * grips
    yield f"tube        {tube.name}; {tube.source}"
    yield f"            pass: {tube.supplied_mm:.2f} supplied >= {seat.passes.high:.2f} x {passes:g} = {need:.2f} mm"
    yield f"            grip: {tube.recovered_mm:.2f} recovered <= {seat.closes_on.low:.2f} x {grips:g} = {most:.2f} mm"
    for diameter in dict.fromkeys((seat.text_on.low, seat.text_on.high)):
        if diameter <= tube.supplied_mm:
            at = stop(tube.supplied_mm, tube.recovered_mm, tube.wall_mm, diameter)
            yield (
                f"            on {diameter:.2f} mm: wall {at.wall_mm:.3f}, outside {at.outside_mm:.2f} mm, scale "
                f"{at.print_scale:.3f}, {at.recovery:.0%} recovered (nominal wall, no change of length)"
            )
    if settings.faces == "both":
        yield "faces       both: 2 copies, opposite each other, in two passes of the printer"
    for on, part in parts_of(fit):
        yield f"length      {part.flat_mm:.1f} mm flat, {_span(part.shrunk_mm, 1)} mm shrunk, on {on}"
    around, face = fit.surface.print_scale, fit.surface.face_scale
    if around and face:
        yield f"scale       around {_span(around, 3)}: outside on the part / outside supplied, the wall's"
        yield "            volume kept, over the tolerances of tube, wall, length and seat"
        yield f"            lettered face {_span(face, 3)}: heating {settings.heating}, two sides, hoop"
        yield "            shrinkage linear: a model of the project's own, no bound"


def _wrap(fit: Fit) -> Iterable[str]:
    settings = fit.marker.settings
    yield f"stock       {fit.stock}: serves the whole range (print P <= pi d, tail T >= pi (d + 2 t))"
    if fit.face:
        copies = "1 copy" if fit.face.copies == 1 else f"{fit.face.copies} copies"
        every = ceil(360 / settings.reading_arc_deg)
        yield f"            {copies} of the text around; one in every {settings.reading_arc_deg:g}° would take {every}"


def _type(fit: Fit, capital: Capital) -> Iterable[str]:
    settings = fit.marker.settings
    lines = f", lines {fit.surface.direction} the tube" if fit.surface.direction else ""
    stretch = f", stretched {fit.surface.stretch:.3f} across" if fit.surface.face_scale else ""
    yield f"type        {fit.font}, {fit.size_mm * 72 / 25.4:.2f} pt{stretch}{lines}"
    heights = _span(Range(capital.low, capital.high))
    yield f"capitals    {capital.flat:.2f} mm printed, {heights} mm on the part; {capital.required:.2f} mm required:"
    yield f"            {_required(capital, settings)}"
    if fit.arc_deg:
        yield (
            f"arc         {fit.arc_deg:.1f}° at most; {settings.reading_arc_deg:g}° reads without turning, "
            f"{settings.turning_arc_deg:g}° is the limit"
        )
    if fit.surface.proportion and fit.surface.stroke:
        thin, thick = 1 / fit.surface.stroke.low, 1 / fit.surface.stroke.high
        strokes = f"1/{thick:.1f}" if f"{thin:.1f}" == f"{thick:.1f}" else f"1/{thick:.1f} to 1/{thin:.1f}"
        allowed = f"{settings.narrowest_letter:g} to {settings.widest_letter:g} allowed"
        yield f"letters     H {_span(fit.surface.proportion)} as wide as high ({allowed}; ISO 9241-3: 0.5 to 1.0)"
        yield f"            strokes {strokes} of the height (1/6 dark on light: DOD-HDBK-791 6-5.3.2.3)"
    if fit.surface.contrast:
        yield f"contrast    {fit.surface.contrast:.1f} : 1; {settings.min_contrast:g} : 1 required"


def _code(code: CodeFit, settings: Settings) -> Iterable[str]:
    level = f", error correction {code.level}" if code.level else ""
    yield f"code        {code.kind} {code.payload!r}: {code.size}{level}"
    yield (
        f"            {code.dots[0]} x {code.dots[1]} dots of {settings.printer_dpi:g} dpi, on the part at least "
        f"{code.module_mm:.3f} mm (>= {settings.code_module_mm:g})"
    )
    if code.rows > 1 and code.arc_deg:
        limit = GRADES[settings.code_axial_grade]
        yield f"            arc {code.arc_deg:.1f}° (<= {settings.code_arc_deg:g}°: GS1, 30° to either edge)"
        yield (
            f"            grid {code.grid:.2f} modules off an even one, {settings.code_aim_deg:g}° off the middle "
            f"(<= {settings.code_grid:g}: ISO/IEC 15415)"
        )
        yield f"            axial non-uniformity {code.axial:.3f} (<= {limit:.2f}: grade {settings.code_axial_grade})"


def _required(capital: Capital, settings: Settings) -> str:
    if capital.required_by == "min_capital_mm":
        return f"min_capital_mm = {settings.min_capital_mm:g}"
    return f"{capital.required_by}: H = 2 D tan(MA / 2), NUREG-0700 1.3.1-4"
