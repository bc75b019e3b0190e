"""Ways out: what would make a marker fit, the smallest change first, each with the height it gives."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import radians, tan

from labeler.fit.code import CodeMaker
from labeler.fit.common import DOES_NOT_FIT
from labeler.fit.sleeve import sleeve_on
from labeler.model import Fit, Marker, Settings, Tube
from labeler.text import font_names

CONDENSED = "Fira Sans Condensed"
LONGEST_TRIED_MM = 200.0  # longest cut that is proposed: project choice
BY_HALF_STEP = 5.0  # proposed reading distances are multiples of this, mm


@dataclass(frozen=True, slots=True)
class Other:
    """What a way out may use: other tubes that pass and grip, a wrap or a sleeve in place of the other."""

    tubes: tuple[Tube, ...] = ()  # of families that were not asked for
    wrap: Callable[[Marker], Fit] | None = None
    sleeve: Callable[[Marker], Fit] | None = None
    fixed_cut_mm: float | None = None
    codes: CodeMaker | None = None


def ways_out(fit: Fit, tubes: tuple[Tube, ...], other: Other) -> tuple[str, ...]:
    """Return what would make a marker fit, in order of how little it changes; what it has, if nothing would.

    ``tubes`` are those that were tried. A way is only named when it was worked out and fits.
    """
    if fit.marker.kind == "tag":
        return fit.ways_out
    wrap = fit.marker.kind == "wrap"
    found = (*(_for_wrap(fit, other) if wrap else _for_sleeve(fit, tubes, other)), *fit.ways_out)
    if not found and fit.capital:
        return (f"nothing that was tried; it reaches {fit.capital.low:.2f} mm: ask for less if that is enough",)
    return found


def _for_sleeve(fit: Fit, tubes: tuple[Tube, ...], other: Other) -> Iterator[str]:
    marker, fixed = fit.marker, other.fixed_cut_mm

    def on(changed: Marker, cut: float | None = fixed) -> Fit | None:
        return sleeve_on(changed, fit.seat, tubes, cut, other.codes) if fit.seat else None

    longer = _with(marker, cut_lengths_mm=(), longest_cut_mm=LONGEST_TRIED_MM)
    made = on(longer, None)
    if made:
        key = "cut_length_mm" if fixed else "longest_cut_mm"
        yield f"cut it {made.cut_length_mm:g} mm long ({key} = {made.cut_length_mm:g}): {_height(made)}"
    if not marker.breakable:
        free = replace(marker, text=(" ".join(marker.text),), breakable=True)
        made = on(free) or on(replace(longer, text=free.text, breakable=True), None)
        if made:
            yield f"break it otherwise, as {' | '.join(made.lines)!r}, cut {made.cut_length_mm:g} mm: {_height(made)}"
    if marker.settings.font != CONDENSED and CONDENSED in font_names():
        made = on(_with(marker, font=CONDENSED))
        if made:
            yield f"a condensed face (font = {CONDENSED!r}): {_height(made)}"
    yield from _other_tube(fit, tubes, other)
    yield from _shorter(marker, on)
    if other.wrap:
        yield from _instead(other.wrap, marker, "wrap")


def _other_tube(fit: Fit, tubes: tuple[Tube, ...], other: Other) -> Iterator[str]:
    if not fit.seat:
        return
    rest = [t for t in other.tubes if t not in tubes]
    made = sleeve_on(fit.marker, fit.seat, rest, other.fixed_cut_mm, other.codes)
    if made and made.tube:
        yield f"tube {made.tube.name} ({made.tube.ratio:.1f}:1; add {made.tube.family!r} to sleeve): {_height(made)}"


def _for_wrap(fit: Fit, other: Other) -> Iterator[str]:
    marker = fit.marker
    if other.wrap:
        wrap = other.wrap
        if marker.settings.font != CONDENSED:
            made = _fits(wrap(_with(marker, font=CONDENSED)))
            if made:
                yield f"a condensed face (font = {CONDENSED!r}): {_height(made)}"
        yield from _shorter(marker, lambda changed: _fits(wrap(changed)))
    if other.sleeve:
        yield from _instead(other.sleeve, marker, "sleeve")
    yield from _nearer(fit)


def _shorter(marker: Marker, fitted: Callable[[Marker], Fit | None]) -> Iterator[str]:
    """The same place with less said: the circuit or the connector alone."""
    text = marker.circuit if marker.on_wire else marker.at
    if not text or (text,) == marker.text:
        return
    made = fitted(replace(marker, text=(text,), breakable=True))
    if made:
        yield f"a shorter text, {text!r}: {_height(made)}"


def _instead(fitted: Callable[[Marker], Fit], marker: Marker, kind: str) -> Iterator[str]:
    made = _fits(fitted(replace(marker, kind=kind)))
    if made:
        key = "wire_marker_kind" if marker.on_wire else "branch_marker_kind"
        on = made.tube.name if made.tube else made.stock
        yield f'a {kind} instead ({key} = "{kind}"), {on}: {_height(made)}'


def _nearer(fit: Fit) -> Iterator[str]:
    """Read from nearer by: the distance at which what is reached fills the required angle."""
    settings, capital = fit.marker.settings, fit.capital
    if capital is None or capital.low < settings.min_capital_mm or capital.low >= capital.required:
        return
    distance = capital.low / (2 * tan(radians(settings.required_angle_arcmin / 60) / 2))
    distance = distance // BY_HALF_STEP * BY_HALF_STEP
    key = "wire_reading_distance_mm" if fit.marker.on_wire else "reading_distance_mm"
    yield f"read it from nearer by ({key} = {distance:g}): {capital.low:.2f} mm"


def _fits(fit: Fit) -> Fit | None:
    return None if fit.verdict == DOES_NOT_FIT else fit


def _height(fit: Fit) -> str:
    if fit.capital is None:
        return fit.verdict
    turned = ", turn to read" if fit.verdict != "fits" else ""
    return f"{fit.capital.low:.2f} mm{turned}"


def _with(marker: Marker, **changes: object) -> Marker:
    settings: Settings = replace(marker.settings, **changes)  # type: ignore[arg-type]
    return replace(marker, settings=settings)
