"""What `check` answers: a table for people, one JSON object for programs, and for one marker the way to its result."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from math import ceil
from typing import TYPE_CHECKING, Any

from labeler import wording
from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse, nearest
from labeler.formulas.curvature import GRADES
from labeler.formulas.interval import middle
from labeler.formulas.shrink import stop
from labeler.model import (
    Capital,
    CodeFit,
    Fit,
    MeasuredBundle,
    PackedBundle,
    Range,
    Seat,
    Settings,
    SleeveSection,
    Tube,
)
from labeler.record.marker_names import NOT, Names, match_rank, normalised
from labeler.tables.kinds import SLID_ON
from labeler.wording import sentence, sentences, span

if TYPE_CHECKING:
    from labeler.job.check import Checked


HEADINGS = ("id", "place", "text", "seat mm", "tube/stock", "cut mm", "capitals mm (min.)", "arc", "result")
DIGITS = 4  # of a millimetre in JSON
CHECK_SCHEMA = "check 1"


def as_json(checked: Checked, refused: Iterable[Problem] = ()) -> dict[str, Any]:
    """Return the answer as one object: ``harness``, ``markers``, ``problems``, those of a printer among them."""
    harness = checked.harness
    return {
        "schema": CHECK_SCHEMA,
        "harness": {"name": harness.name, "part_number": harness.part_number, "revision": harness.revision},
        "markers": [marker_json(fit) for fit in checked.fits],
        "problems": [problem_json(problem) for problem in (*checked.notes, *refused)],
    }


def refused_json(error: LabelerError) -> dict[str, Any]:
    """Return a file that cannot be checked, as the same object with nothing in it but the problems."""
    problems = list(map(problem_json, error.problems))
    return {"schema": CHECK_SCHEMA, "harness": None, "markers": [], "problems": problems}


def fit_json(fit: Fit) -> dict[str, Any]:
    """Return the answer for one text as one object."""
    return {"schema": "fit 1", **marker_json(fit)}


def problem_json(problem: Problem) -> dict[str, Any]:
    """Return one problem as an object."""
    return {
        "file": problem.where.source,
        "line": problem.where.line or None,
        "message": problem.message,
        "fix": problem.fix,
        "severity": "warning" if problem.warning else "error",
    }


def marker_json(fit: Fit) -> dict[str, Any]:
    """Return one marker as an object; keys that do not apply to its kind are omitted."""
    marker = fit.marker
    made: dict[str, Any] = {
        "id": marker.id,
        "kind": marker.kind,
        "place": marker.place,
        "branch": marker.branch or None,
        "circuit": marker.circuit or None,
        "text": list(fit.lines or marker.text) if marker.marked else None,
        **_seat_json(fit.seat),
        "tube": _tube_json(fit.tube),
        "cut_length_mm": fit.cut_length_mm if fit.tube else None,
        "stock": fit.stock or None,
        "tube_od_mm": dict(zip(("expanded", "min", "max"), map(_mm, fit.tube_od_mm), strict=True))
        if fit.tube_od_mm
        else None,
        **_print_json(fit),
        "result": fit.result,
        "reasons": list(sentences(fit.reasons)),
        "fixes": list(sentences(fit.fixes)) or None,
    }
    if marker.kind in SLID_ON and fit.seat:
        made["installation"] = wording.installation(fit.seat.installation)
    return {key: value for key, value in made.items() if value is not None}


def _print_json(fit: Fit) -> dict[str, Any]:
    """Return what is known of the print: scales, type, how it reads."""
    marker, surface = fit.marker, fit.surface
    return {
        "lay_flat_width_mm": _mm(surface.lay_flat_width_mm) or None,
        "printable_around_mm": _mm(surface.printable_around_mm) or None,
        "circumferential_scale": _range(surface.circumferential_scale),
        "marked_side_scale": _range(surface.marked_side_scale),
        "longitudinal_scale": _range(surface.longitudinal_scale),
        "heating": marker.settings.sleeve.heating if surface.marked_side_scale else None,
        "text_arc_deg": _mm(fit.text_arc_deg) or None,
        "text_stretch": _mm(surface.text_stretch) if surface.marked_side_scale else None,
        "font": fit.font or None,
        "font_size_pt": round(fit.font_size_mm * 72 / 25.4, 3) or None,
        "capital_height_mm": _capital_json(fit.capital_height_mm),
        "text_direction": surface.text_direction or None,
        "sections_mm": [
            {"on": on, "cut": _mm(section.cut_mm), **_min_max(section.shrunk_mm)} for on, section in sections_of(fit)
        ]
        or None,
        "width_ratio": _range(surface.width_ratio),
        "stroke_ratio": _range(surface.stroke_ratio),
        "contrast": _mm(surface.contrast) or None,
        "repeats": fit.face.repeats if fit.face and marker.kind == "wrap" else None,
        "position_mm": marker.position_mm,
        "code": _code_json(fit.code),
    }


def sections_of(fit: Fit) -> Iterable[tuple[str, SleeveSection]]:
    """Return the sections of a sleeve, each with what it lies on, in words."""
    return zip(wording.sections(fit.seat) if fit.seat else (), fit.sections, strict=False)


def _mm(value: float) -> float:
    return round(value, DIGITS)


def _range(value: Range | None) -> dict[str, float] | None:
    return _min_max(value) if value else None


def _min_max(value: Range) -> dict[str, float]:
    return {"min": _mm(value.low), "max": _mm(value.high)}


def _capital_json(capital: Capital | None) -> dict[str, float] | None:
    if capital is None:
        return None
    return {
        "printed": _mm(capital.printed),
        "min": _mm(capital.low),
        "max": _mm(capital.high),
        "required": _mm(capital.required),
    }


def _seat_json(seat: Seat | None) -> dict[str, Any]:
    if seat is None:
        return {}
    return {
        "seat": wording.seat_text(seat),
        "pass_over_diameter_mm": _range(seat.pass_over),
        "grip_diameter_mm": _range(seat.grip),
        "text_diameter_mm": _range(seat.text_diameter),
    }


def _tube_json(tube: Tube | None) -> dict[str, Any] | None:
    if tube is None:
        return None
    return {
        "name": tube.name,
        "expanded_id_mm": _mm(tube.expanded_id_mm),
        "recovered_id_mm": _mm(tube.recovered_id_mm),
        "recovered_wall_mm": _mm(tube.recovered_wall_mm),
        "shrink_ratio": round(tube.ratio, 2),
    }


def _code_json(code: CodeFit | None) -> dict[str, Any] | None:
    if code is None:
        return None
    return {
        "symbology": code.symbology,
        "data": code.data,
        "rows": code.rows,
        "columns": code.columns,
        "error_correction": code.error_correction or None,
        "dots_per_module": list(code.dots_per_module),
        "module_mm": _mm(code.module_mm),
        "arc_deg": _mm(code.arc_deg),
        "grid_nonuniformity": _mm(code.grid_nonuniformity),
        "axial_nonuniformity": _mm(code.axial_nonuniformity),
        "failures": list(sentences(code.failures)),
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
        if fit.fixes:
            yield from (f"    to fix: {way}" for way in sentences(fit.fixes))


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def _row(fit: Fit) -> tuple[str, ...]:
    marker, capital = fit.marker, fit.capital_height_mm
    place = (
        f"{marker.branch} {marker.place}"
        if marker.role == "branch end" and marker.branch != marker.place
        else marker.place
    )
    text = " | ".join(fit.lines or marker.text) if marker.marked else "(blank)"
    if marker.role == "bag":
        text = f"tag {marker.place}"
    heights = f"{span(capital)} (>= {capital.required:.2f})" if capital else ""
    return (
        marker.id,
        place,
        text,
        span(fit.seat.text_diameter) if fit.seat else "",
        fit.tube.name if fit.tube else fit.stock,
        f"{fit.cut_length_mm:g}" if fit.tube else "",
        heights,
        f"{fit.text_arc_deg:.0f}°" if fit.text_arc_deg else "",
        fit.result,
    )


def summary(checked: Checked) -> str:
    """Return one line: how many markers of each kind, how many of each result."""
    names = {
        "branch end": ("branch marker", "branch markers"),
        "wire end": ("wire marker", "wire markers"),
        "wire": ("wire marker", "wire markers"),
        "bag": ("tag", "tags"),
    }
    kinds = Counter(names[fit.marker.role] for fit in checked.fits)
    results = Counter(fit.result for fit in checked.fits)
    made = ", ".join(f"{count} {one if count == 1 else many}" for (one, many), count in kinds.items())
    judged = ", ".join(f"{count} {result}" for result, count in results.items())
    return f"{checked.harness.name}: {made or 'no markers'}; {judged or 'nothing to check'}"


def one(fit: Fit) -> Iterable[str]:
    """Yield the answer for a single marker, with all its numbers."""
    yield f"{' | '.join(fit.lines or fit.marker.text)}: {fit.result}"
    tube, capital, surface = fit.tube, fit.capital_height_mm, fit.surface
    if tube:
        yield (
            f"  tube      {tube.name}, {tube.expanded_id_mm:.2f} mm expanded, {tube.recovered_id_mm:.2f} mm recovered, "
            f"{tube.ratio:.1f}:1, cut {fit.cut_length_mm:g} mm"
        )
    if fit.tube_od_mm and surface.lay_flat_width_mm:
        yield (
            f"  OD        {fit.tube_od_mm[0]:.2f} mm expanded, {fit.tube_od_mm[1]:.2f} to {fit.tube_od_mm[2]:.2f} mm "
            f"shrunk; lay-flat {surface.lay_flat_width_mm:.2f} mm, printable {surface.printable_around_mm:.2f} mm"
        )
    around, face, along = surface.circumferential_scale, surface.marked_side_scale, surface.longitudinal_scale
    if around and face and along:
        yield (
            f"  scale     around {around.low:.3f} to {around.high:.3f}, marked side "
            f"{face.low:.3f} to {face.high:.3f} "
            f"(heating {fit.marker.settings.sleeve.heating}; our own model), "
            f"along {along.low:.3f} to {along.high:.3f}"
        )
    if capital:
        yield (
            f"  capitals  {capital.printed:.2f} mm printed, {capital.low:.2f} to {capital.high:.2f} mm shrunk, "
            f"{capital.required:.2f} mm required ({capital.required_by})"
        )
        yield (
            f"  type      {fit.font}, {fit.font_size_mm * 72 / 25.4:.1f} pt, stretched "
            f"{surface.text_stretch:.3f} across, covers {fit.text_arc_deg:.0f}°"
        )
    if fit.code:
        code = fit.code
        yield f"  code      {code.symbology}, {code.size}, {code.module_mm:.3f} mm after shrinking, as {code.data!r}"
    yield from (f"  because   {sentence(reason)}" for reason in fit.reasons)
    yield from (f"  to fix    {sentence(way)}" for way in fit.fixes)


# ---------------------------------------------------------------- the way to a result


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
        fix += "give an id, a place or a text of labeler check"
        raise WrongUse(Problem(SourceLocation("--explain"), f"no marker is called {name!r}", fix))
    return tuple(fit for rank, fit in ranked if rank == best)


def _names(fit: Fit) -> Names:
    marker = fit.marker
    return Names(
        marker.id, marker.place, marker.branch, marker.circuit, " ".join(fit.lines or marker.text), marker.kind
    )


def explain(fit: Fit) -> Iterable[str]:
    """Yield how the result of one marker was calculated, a line for each step."""
    marker = fit.marker
    yield f"{marker.id}  {marker.role} {marker.place}  {' | '.join(fit.lines or marker.text)!r}: {fit.result}"
    if fit.seat:
        yield from _seat(fit.seat, marker.kind)
    if fit.tube and fit.seat:
        yield from _tube(fit, fit.tube, fit.seat)
    elif fit.stock and marker.kind == "wrap":
        yield from _wrap(fit)
    if fit.capital_height_mm:
        yield from _type(fit, fit.capital_height_mm)
    if fit.code:
        yield from _code(fit.code, marker.settings)
    yield from (f"because     {sentence(reason)}" for reason in fit.reasons)
    yield from (f"to fix      {sentence(way)}" for way in fit.fixes)


def _seat(seat: Seat, kind: str) -> Iterable[str]:
    yield f"seat        {wording.seat_text(seat)}"
    for source in wording.sources(seat):
        yield f"            {source}"
    if kind == "wrap":
        yield f"around      {span(seat.text_diameter)} mm"
        return
    passes, closes = _from_to(seat)
    yield f"pass over   {span(seat.pass_over)} mm: {passes}"
    yield f"grip        {span(seat.grip)} mm: {closes}"
    if seat.section:
        where = "over the covering" if seat.section.towards_end else "the bare bundle"
        yield f"text on     {span(seat.text_diameter)} mm: {where}"
        yield f"            and {span(seat.section.grip)} mm: {wording.sections(seat)[1]}"
    if seat.installation:
        yield f"install     {wording.installation(seat.installation)}"


def _from_to(seat: Seat) -> tuple[str, str]:
    """Return where the pass-over diameter and the grip diameter are from."""
    obstacle = f", and {wording.obstacle(seat.obstacle)}" if seat.obstacle else ""
    if isinstance(seat.basis, PackedBundle) and seat.basis.count > 1:
        covering = ", covering squeezed" if seat.covering else ""
        laid = ", covering as laid" if seat.covering and not _grips_bare(seat) else ""
        return (
            f"the tightest packing to laid by hand{covering}{obstacle}",
            f"hull (perimeter / pi) to laid by hand{laid}",
        )
    measured = isinstance(seat.basis, MeasuredBundle)
    bare = "as measured" if measured else "the wire or cable itself" if seat.basis else "as given"
    covering = ", the covering added" if seat.covering else ""
    return f"{bare}{covering}{obstacle}", bare if _grips_bare(seat) else f"{bare}{covering}"


def _grips_bare(seat: Seat) -> bool:
    return seat.section is not None and seat.grip == seat.section.grip and seat.section.towards_end


def _tube(fit: Fit, tube: Tube, seat: Seat) -> Iterable[str]:
    settings = fit.marker.settings
    yield f"tube        {tube.name}; {tube.source}"
    yield from _grades(tube, seat, settings)
    for diameter in dict.fromkeys((seat.text_diameter.low, seat.text_diameter.high)):
        if diameter <= tube.expanded_id_mm:
            at = stop(tube.expanded_id_mm, tube.recovered_id_mm, tube.recovered_wall_mm, diameter)
            yield (
                f"            on {diameter:.2f} mm: wall {at.wall_mm:.3f}, outside {at.outside_mm:.2f} mm, scale "
                f"{at.circumferential_scale:.3f}, {at.recovery:.0%} recovered (nominal wall, no change of length)"
            )
    if settings.sleeve.printed_sides == "both":
        yield "sides       both: 2 copies, opposite each other, in two passes of the printer"
    for on, part in sections_of(fit):
        yield f"length      {part.cut_mm:.1f} mm flat, {span(part.shrunk_mm, 1)} mm shrunk, on {on}"
    around, face = fit.surface.circumferential_scale, fit.surface.marked_side_scale
    if around and face:
        yield f"scale       around {span(around, 3)}: OD on the part / expanded OD, constant wall"
        yield "            volume, over all tolerances of tube, wall, length and seat"
        yield f"            marked side {span(face, 3)}: heating {settings.sleeve.heating}, two sides with linear"
        yield "            hoop shrinkage: our own model, no bound"


def _grades(tube: Tube, seat: Seat, settings: Settings) -> Iterable[str]:
    """Yield the sums behind what a tube slides over and what it grips: those that hold, with their result."""
    over, grip, slip, hold = (
        seat.pass_over,
        seat.grip,
        1 + settings.sleeve.pass_over_margin,
        1 - settings.sleeve.grip_margin,
    )
    for base, factor, what in (
        (over.high, slip, "pass"),
        (over.high, 1.0, "marginal, without the margin"),
        (middle(over), slip, "marginal, in the middle of the range"),
    ):
        if tube.expanded_id_mm >= base * factor:
            need = base * factor
            sizes = f"{tube.expanded_id_mm:.2f} expanded >= {base:.2f} x {factor:g} = {need:.2f} mm"
            yield f"            slides on: {sizes} ({what})"
            break
    for base, factor, what in (
        (grip.low, hold, "pass"),
        (grip.low, 1.0, "marginal, without the margin"),
        (middle(grip), hold, "marginal, in the middle of the range"),
    ):
        if tube.recovered_id_mm <= base * factor:
            most = base * factor
            sizes = f"{tube.recovered_id_mm:.2f} recovered <= {base:.2f} x {factor:g} = {most:.2f} mm"
            yield f"            grips: {sizes} ({what})"
            break


def _wrap(fit: Fit) -> Iterable[str]:
    settings = fit.marker.settings
    yield f"stock       {fit.stock}: fits the whole range (print P <= pi d, tail T >= pi (d + 2 t))"
    if fit.face:
        copies = "1 copy" if fit.face.repeats == 1 else f"{fit.face.repeats} copies"
        arc_deg = settings.print.readable_arc_deg
        every = ceil(360 / arc_deg)
        yield f"            {copies} of the text around; one in every {arc_deg:g}° would take {every}"


def _type(fit: Fit, capital: Capital) -> Iterable[str]:
    settings = fit.marker.settings
    lines = f", lines {fit.surface.text_direction} the tube" if fit.surface.text_direction else ""
    stretch = f", stretched {fit.surface.text_stretch:.3f} across" if fit.surface.marked_side_scale else ""
    yield f"type        {fit.font}, {fit.font_size_mm * 72 / 25.4:.2f} pt{stretch}{lines}"
    on_part, required = f"{span(capital)} mm on the part", f"{capital.required:.2f} mm required"
    yield f"capitals    {capital.printed:.2f} mm printed, {on_part}; {required}:"
    yield f"            {_required(capital, settings)}"
    if fit.text_arc_deg:
        yield (
            f"arc         {fit.text_arc_deg:.1f}° at most; {settings.print.readable_arc_deg:g}° reads without turning, "
            f"{settings.print.max_arc_deg:g}° is the limit"
        )
    if fit.surface.width_ratio and fit.surface.stroke_ratio:
        thin, thick = 1 / fit.surface.stroke_ratio.low, 1 / fit.surface.stroke_ratio.high
        strokes = f"1/{thick:.1f}" if f"{thin:.1f}" == f"{thick:.1f}" else f"1/{thick:.1f} to 1/{thin:.1f}"
        allowed = f"{settings.print.min_width_ratio:g} to {settings.print.max_width_ratio:g} allowed"
        yield f"letters     H {span(fit.surface.width_ratio)} as wide as high ({allowed}; ISO 9241-3: 0.5 to 1.0)"
        yield f"            strokes {strokes} of the height (1/6 dark on light: DOD-HDBK-791 6-5.3.2.3)"
    if fit.surface.contrast:
        yield f"contrast    {fit.surface.contrast:.1f} : 1; {settings.print.min_contrast:g} : 1 required"


def _code(code: CodeFit, settings: Settings) -> Iterable[str]:
    level = f", error correction {code.error_correction}" if code.error_correction else ""
    yield f"code        {code.symbology} {code.data!r}: {code.size}{level}"
    dots = "{} x {} dots".format(*code.dots_per_module)
    yield (
        f"            {dots} of {settings.print.dpi:g} dpi, on the part at least "
        f"{code.module_mm:.3f} mm (>= {settings.code.min_module_mm:g})"
    )
    if code.rows > 1 and code.arc_deg:
        limit = GRADES[settings.code.min_axial_grade]
        yield f"            arc {code.arc_deg:.1f}° (<= {settings.code.max_arc_deg:g}°: GS1, 30° to either edge)"
        yield (
            f"            grid {code.grid_nonuniformity:.2f} modules off an even one, "
            f"{settings.code.scan_tilt_deg:g}° off the middle "
            f"(<= {settings.code.max_grid_nonuniformity:g}: ISO/IEC 15415)"
        )
        axial = f"{code.axial_nonuniformity:.3f} (<= {limit:.2f}: grade {settings.code.min_axial_grade})"
        yield f"            axial non-uniformity {axial}"


def _required(capital: Capital, settings: Settings) -> str:
    if capital.required_by == "print.min_capital_height_mm":
        return f"print.min_capital_height_mm = {settings.print.min_capital_height_mm:g}"
    return f"{capital.required_by}: H = 2 D tan(MA / 2), NUREG-0700 1.3.1-4"
