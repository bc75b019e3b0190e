"""What `check` answers: a table for people, one JSON object for programs, and for one marker the way to its verdict."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from math import ceil
from typing import TYPE_CHECKING, Any

from labeler import wording
from labeler.errors import Problem, Where, WrongUse, nearest
from labeler.formulas.curvature import GRADES
from labeler.formulas.shrink import stop
from labeler.model import (
    Capital,
    CodeFit,
    Fit,
    MeasuredBundle,
    PackedBundle,
    Range,
    Seat,
    SeatPart,
    Settings,
    Tube,
)
from labeler.record.marker_names import NOT, Names, match_rank, normalised
from labeler.tables.kinds import SLID_ON
from labeler.wording import sentence, sentences, span

if TYPE_CHECKING:
    from labeler.job.check import Checked


HEADINGS = ("id", "place", "text", "sits on", "on", "cut", "capitals", "arc", "verdict")
DIGITS = 4  # of a millimetre in JSON


def as_json(checked: Checked, refused: Iterable[Problem] = ()) -> dict[str, Any]:
    """Return the answer as one object: ``harness``, ``markers``, ``problems``, those of a printer among them."""
    harness = checked.harness
    return {
        "harness": {"name": harness.name, "part_number": harness.part_number, "revision": harness.revision},
        "markers": [marker_json(fit) for fit in checked.fits],
        "problems": [problem_json(problem) for problem in (*checked.notes, *refused)],
    }


def problem_json(problem: Problem) -> dict[str, Any]:
    """Return one problem as an object."""
    return {
        "file": problem.where.source,
        "line": problem.where.line or None,
        "message": problem.message,
        "fix": problem.fix,
        "warning": problem.warning,
    }


def marker_json(fit: Fit) -> dict[str, Any]:
    """Return one marker as an object; keys that do not apply to its kind are left out."""
    marker = fit.marker
    made: dict[str, Any] = {
        "id": marker.id,
        "kind": marker.kind,
        "at": marker.at,
        "branch": marker.branch or None,
        "circuit": marker.circuit or None,
        "text": list(fit.lines or marker.text) if marker.marked else None,
        **_seat_json(fit.seat),
        "sleeve": _tube_json(fit.tube, fit.cut_length_mm),
        "stock": fit.stock or None,
        "outside_mm": dict(zip(("supplied", "low", "high"), map(_mm, fit.outside_mm), strict=True))
        if fit.outside_mm
        else None,
        **_print_json(fit),
        "verdict": fit.verdict,
        "reasons": list(sentences(fit.reasons)),
        "ways_out": list(sentences(fit.ways_out)) or None,
    }
    if marker.kind in SLID_ON and fit.seat:
        made["slip_on"] = wording.installation(fit.seat.installation)
    return {key: value for key, value in made.items() if value is not None}


def _print_json(fit: Fit) -> dict[str, Any]:
    """Return what is known of the print: scales, type, how it reads."""
    marker, surface = fit.marker, fit.surface
    return {
        "lay_flat_mm": _mm(surface.lay_flat_mm) or None,
        "printable_mm": _mm(surface.printable_mm) or None,
        "print_scale": _range(surface.print_scale),
        "face_scale": _range(surface.face_scale),
        "along_scale": _range(surface.along_scale),
        "heating": marker.settings.heating if surface.face_scale else None,
        "arc_deg": _mm(fit.arc_deg) or None,
        "stretch": _mm(surface.stretch) if surface.face_scale else None,
        "font": fit.font or None,
        "size_pt": round(fit.size_mm * 72 / 25.4, 3) or None,
        "capital_mm": fit.capital
        and {key: _mm(getattr(fit.capital, key)) for key in ("flat", "low", "high", "required")},
        "direction": surface.direction or None,
        "parts_mm": [{"on": on, "flat": _mm(p.flat_mm), **_low_high(p.shrunk_mm)} for on, p in parts_of(fit)] or None,
        "proportion": _range(surface.proportion),
        "stroke": _range(surface.stroke),
        "contrast": _mm(surface.contrast) or None,
        "copies": fit.face.copies if fit.face and marker.kind == "wrap" else None,
        "position_mm": marker.position_mm,
        "code": _code_json(fit.code),
    }


def parts_of(fit: Fit) -> Iterable[tuple[str, SeatPart]]:
    """Return the parts of a sleeve, each with what it lies on, in words."""
    return zip(wording.sections(fit.seat) if fit.seat else (), fit.parts, strict=False)


def _mm(value: float) -> float:
    return round(value, DIGITS)


def _range(value: Range | None) -> dict[str, float] | None:
    return _low_high(value) if value else None


def _low_high(value: Range) -> dict[str, float]:
    return {"low": _mm(value.low), "high": _mm(value.high)}


def _seat_json(seat: Seat | None) -> dict[str, Any]:
    if seat is None:
        return {}
    made = {"sits_on": wording.sits_on(seat), "passes_mm": _range(seat.passes), "closes_on_mm": _range(seat.closes_on)}
    if seat.text_on != seat.closes_on:
        made["text_on_mm"] = _range(seat.text_on)
    return made


def _tube_json(tube: Tube | None, cut_length_mm: float) -> dict[str, Any] | None:
    if tube is None:
        return None
    return {
        "name": tube.name,
        "supplied_mm": _mm(tube.expanded_id_mm),
        "recovered_mm": _mm(tube.recovered_id_mm),
        "recovered_wall_mm": _mm(tube.recovered_wall_mm),
        "ratio": round(tube.ratio, 2),
        "cut_length_mm": cut_length_mm,
    }


def _code_json(code: CodeFit | None) -> dict[str, Any] | None:
    if code is None:
        return None
    return {
        "kind": code.kind,
        "payload": code.payload,
        "rows": code.rows,
        "columns": code.columns,
        "error_correction": code.level or None,
        "dots": list(code.dots),
        "module_mm": _mm(code.module_mm),
        "arc_deg": _mm(code.arc_deg),
        "grid_modules": _mm(code.grid),
        "axial_nonuniformity": _mm(code.axial),
        "faults": list(sentences(code.faults)),
    }


# ---------------------------------------------------------------- for people


def table(fits: Sequence[Fit]) -> Iterable[str]:
    """Yield a line for every marker under a heading, and the reasons under those that have some."""
    rows = [_row(fit) for fit in fits]
    widths = [max(len(cell) for cell in column) for column in zip(HEADINGS, *rows, strict=True)]
    yield _line(HEADINGS, widths)
    yield _line(tuple("-" * width for width in widths), widths)
    for fit, row in zip(fits, rows, strict=True):
        yield _line(row, widths)
        yield from (f"    {sentence(reason)}" for reason in fit.reasons)
        if fit.ways_out:
            yield "    what would do: " + "; or ".join(sentences(fit.ways_out))


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def _row(fit: Fit) -> tuple[str, ...]:
    marker, capital = fit.marker, fit.capital
    place = f"{marker.branch} {marker.at}" if marker.role == "branch end" and marker.branch != marker.at else marker.at
    text = " | ".join(fit.lines or marker.text) if marker.marked else "(plain)"
    if marker.role == "bag":
        text = f"tag {marker.at}"
    heights = f"{span(capital)} (>= {capital.required:.2f})" if capital else ""
    return (
        marker.id,
        place,
        text,
        span(fit.seat.text_on) if fit.seat else "",
        fit.tube.name if fit.tube else fit.stock,
        f"{fit.cut_length_mm:g}" if fit.tube else "",
        heights,
        f"{fit.arc_deg:.0f}°" if fit.arc_deg else "",
        fit.verdict,
    )


def summary(checked: Checked) -> str:
    """Return one line: how many markers of each kind, how many of each verdict."""
    names = {"branch end": "sleeves on branch ends", "wire end": "wire markers", "wire": "wire markers", "bag": "tags"}
    kinds = Counter(names[fit.marker.role] for fit in checked.fits)
    verdicts = Counter(fit.verdict for fit in checked.fits)
    made = ", ".join(f"{count} {kind}" for kind, count in kinds.items())
    judged = ", ".join(f"{count} {verdict}" for verdict, count in verdicts.items())
    return f"{checked.harness.name}: {made or 'no markers'}; {judged or 'nothing to judge'}"


def one(fit: Fit) -> Iterable[str]:
    """Yield the answer for a single marker, with all its numbers."""
    yield f"{' | '.join(fit.lines or fit.marker.text)}: {fit.verdict}"
    tube, capital, surface = fit.tube, fit.capital, fit.surface
    if tube:
        yield (
            f"  tube      {tube.name}, {tube.expanded_id_mm:.2f} mm supplied, {tube.recovered_id_mm:.2f} mm recovered, "
            f"{tube.ratio:.1f}:1, cut {fit.cut_length_mm:g} mm"
        )
    if fit.outside_mm and surface.lay_flat_mm:
        yield (
            f"  outside   {fit.outside_mm[0]:.2f} mm supplied, {fit.outside_mm[1]:.2f} to {fit.outside_mm[2]:.2f} mm "
            f"shrunk; lay-flat {surface.lay_flat_mm:.2f} mm, printable {surface.printable_mm:.2f} mm"
        )
    around, face, along = surface.print_scale, surface.face_scale, surface.along_scale
    if around and face and along:
        yield (
            f"  scale     around {around.low:.3f} to {around.high:.3f}, lettered face "
            f"{face.low:.3f} to {face.high:.3f} (heating {fit.marker.settings.heating}; a model of the project's own), "
            f"along {along.low:.3f} to {along.high:.3f}"
        )
    if capital:
        yield (
            f"  capitals  {capital.flat:.2f} mm printed, {capital.low:.2f} to {capital.high:.2f} mm shrunk, "
            f"{capital.required:.2f} mm required ({capital.required_by})"
        )
        yield (
            f"  type      {fit.font}, {fit.size_mm * 72 / 25.4:.1f} pt, stretched {surface.stretch:.3f} across, "
            f"covers {fit.arc_deg:.0f}°"
        )
    if fit.code:
        code = fit.code
        yield f"  code      {code.kind}, {code.size}, {code.module_mm:.3f} mm after shrinking, as {code.payload!r}"
    yield from (f"  because   {sentence(reason)}" for reason in fit.reasons)
    yield from (f"  would do  {sentence(way)}" for way in fit.ways_out)


# ---------------------------------------------------------------- the way to a verdict


def named(fits: Iterable[Fit], name: str) -> tuple[Fit, ...]:
    """Return the markers that a name means: those that it matches best, see `labeler.record.marker_names`.

    Raises `WrongUse` where it matches none.
    """
    known = [(_names(fit), fit) for fit in fits]
    ranked = [(match_rank(names, normalised(name)), fit) for names, fit in known]
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
    yield from (f"because     {sentence(reason)}" for reason in fit.reasons)
    yield from (f"would do    {sentence(way)}" for way in fit.ways_out)


def _seat(seat: Seat, kind: str) -> Iterable[str]:
    yield f"sits on     {wording.sits_on(seat)}"
    for source in wording.sources(seat):
        yield f"            {source}"
    if kind == "wrap":
        yield f"around      {span(seat.text_on)} mm"
        return
    passes, closes = _from_to(seat)
    yield f"passes      {span(seat.passes)} mm: {passes}"
    yield f"closes on   {span(seat.closes_on)} mm: {closes}"
    if seat.section:
        where = "over the covering" if seat.section.towards_end else "the bare bundle"
        yield f"text on     {span(seat.text_on)} mm: {where}"
        yield f"            and {span(seat.section.closes_on)} mm: {wording.sections(seat)[1]}"
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
    wide, small = tube.expanded_id_mm, tube.recovered_id_mm
    yield f"            pass: {wide:.2f} supplied >= {seat.passes.high:.2f} x {passes:g} = {need:.2f} mm"
    yield f"            grip: {small:.2f} recovered <= {seat.closes_on.low:.2f} x {grips:g} = {most:.2f} mm"
    for diameter in dict.fromkeys((seat.text_on.low, seat.text_on.high)):
        if diameter <= tube.expanded_id_mm:
            at = stop(tube.expanded_id_mm, tube.recovered_id_mm, tube.recovered_wall_mm, diameter)
            yield (
                f"            on {diameter:.2f} mm: wall {at.wall_mm:.3f}, outside {at.outside_mm:.2f} mm, scale "
                f"{at.print_scale:.3f}, {at.recovery:.0%} recovered (nominal wall, no change of length)"
            )
    if settings.faces == "both":
        yield "faces       both: 2 copies, opposite each other, in two passes of the printer"
    for on, part in parts_of(fit):
        yield f"length      {part.flat_mm:.1f} mm flat, {span(part.shrunk_mm, 1)} mm shrunk, on {on}"
    around, face = fit.surface.print_scale, fit.surface.face_scale
    if around and face:
        yield f"scale       around {span(around, 3)}: outside on the part / outside supplied, the wall's"
        yield "            volume kept, over the tolerances of tube, wall, length and seat"
        yield f"            lettered face {span(face, 3)}: heating {settings.heating}, two sides, hoop"
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
    on_part, required = f"{span(capital)} mm on the part", f"{capital.required:.2f} mm required"
    yield f"capitals    {capital.flat:.2f} mm printed, {on_part}; {required}:"
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
        yield f"letters     H {span(fit.surface.proportion)} as wide as high ({allowed}; ISO 9241-3: 0.5 to 1.0)"
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
