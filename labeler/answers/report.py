"""What `check` answers: a table for people, one JSON object for programs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from labeler import wording
from labeler.errors import Problem
from labeler.model import Capital, CodeFit, Fit, Range, Seat, SeatPart, Tube
from labeler.tables.kinds import SLID_ON
from labeler.wording import sentence, sentences

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
        "text": list(fit.lines or marker.text) if marker.lettered else None,
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
        "capital_mm": _capital_json(fit.capital),
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
        "supplied_mm": _mm(tube.supplied_mm),
        "recovered_mm": _mm(tube.recovered_mm),
        "recovered_wall_mm": _mm(tube.wall_mm),
        "ratio": round(tube.ratio, 2),
        "cut_length_mm": cut_length_mm,
    }


def _capital_json(capital: Capital | None) -> dict[str, Any] | None:
    if capital is None:
        return None
    return {
        "flat": _mm(capital.flat),
        "low": _mm(capital.low),
        "high": _mm(capital.high),
        "required": _mm(capital.required),
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
        for reason in fit.reasons:
            yield f"    {sentence(reason)}"
        if fit.ways_out:
            yield "    what would do: " + "; or ".join(sentences(fit.ways_out))


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def _row(fit: Fit) -> tuple[str, ...]:
    marker, capital = fit.marker, fit.capital
    place = f"{marker.branch} {marker.at}" if marker.role == "branch end" and marker.branch != marker.at else marker.at
    text = " | ".join(fit.lines or marker.text) if marker.lettered else "(plain)"
    if marker.role == "bag":
        text = f"tag {marker.at}"
    heights = ""
    if capital:
        low, high = f"{capital.low:.2f}", f"{capital.high:.2f}"
        heights = f"{low if low == high else low + ' to ' + high} (>= {capital.required:.2f})"
    return (
        marker.id,
        place,
        text,
        _on(fit.seat),
        fit.tube.name if fit.tube else fit.stock,
        f"{fit.cut_length_mm:g}" if fit.tube else "",
        heights,
        f"{fit.arc_deg:.0f}°" if fit.arc_deg else "",
        fit.verdict,
    )


def _on(seat: Seat | None) -> str:
    if seat is None:
        return ""
    low, high = f"{seat.text_on.low:.2f}", f"{seat.text_on.high:.2f}"
    return low if low == high else f"{low} to {high}"


def summary(checked: Checked) -> str:
    """Return one line: how many markers of each kind, how many of each verdict."""
    kinds: dict[str, int] = {}
    verdicts: dict[str, int] = {}
    names = {"branch end": "sleeves on branch ends", "wire end": "wire markers", "wire": "wire markers", "bag": "tags"}
    for fit in checked.fits:
        kind = names[fit.marker.role]
        kinds[kind] = kinds.get(kind, 0) + 1
        verdicts[fit.verdict] = verdicts.get(fit.verdict, 0) + 1
    made = ", ".join(f"{count} {kind}" for kind, count in kinds.items())
    judged = ", ".join(f"{count} {verdict}" for verdict, count in verdicts.items())
    return f"{checked.harness.name}: {made or 'no markers'}; {judged or 'nothing to judge'}"


def one(fit: Fit) -> Iterable[str]:
    """Yield the answer for a single marker, with all its numbers."""
    yield f"{' | '.join(fit.lines or fit.marker.text)}: {fit.verdict}"
    tube, capital, surface = fit.tube, fit.capital, fit.surface
    if tube:
        yield (
            f"  tube      {tube.name}, {tube.supplied_mm:.2f} mm supplied, {tube.recovered_mm:.2f} mm recovered, "
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
    for reason in fit.reasons:
        yield f"  because   {sentence(reason)}"
    for way in fit.ways_out:
        yield f"  would do  {sentence(way)}"
