"""Ways out: what would make a marker fit, the smallest change first, each worked out, with the height it gives."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil, floor, radians, tan

from labeler.fit.sleeve import LONGEST_TRIED_MM, UNLIMITED, Room
from labeler.model import DOES_NOT_FIT, FITS, Fit, Marker, Range, Settings, Tube
from labeler.size.wording import in_time
from labeler.text import font_names

CONDENSED = "Fira Sans Condensed"
BY_HALF_STEP = 5.0  # proposed reading distances are multiples of this, mm
MEASURED_STEP = 0.05  # … and measurements of this, mm
MARGIN_STEP = 0.01  # … and margins of this


@dataclass(frozen=True, slots=True)
class Change:
    """What is tried: another marker (its text, its settings), cut length, tubes, room, or with nothing in the way."""

    marker: Marker
    cut_mm: float | None = None
    tubes: tuple[Tube, ...] | None = None  # None: those that were tried
    room: Room | None = None  # None: that of the stock
    free: bool = False  # threaded on before what is in the way


@dataclass(frozen=True, slots=True)
class Other:
    """What a way out may use.

    ``refit`` answers for the same place and kind with something changed; ``tubes`` pass and grip but
    are of families not asked for; ``kinds`` are other kinds of marker that may stand there, in the
    order to try them; ``cut_mm`` the cut length where it is fixed. ``sized`` answers for the same
    place sized anew with settings or a measurement of it changed; ``wall`` of the covering and
    ``bundle`` are what is taken for them, None where a measurement would tell no more.
    """

    refit: Callable[[Change], Fit]
    tubes: tuple[Tube, ...] = ()
    kinds: Mapping[str, Callable[[Marker], Fit]] = field(default_factory=dict)
    cut_mm: float | None = None
    room: Room = UNLIMITED
    sized: Callable[[Marker, Mapping[str, float]], Fit] | None = None
    wall: Range | None = None
    bundle: Range | None = None


def ways_out(fit: Fit, other: Other) -> tuple[str, ...]:
    """Return what would make a marker fit, in order of how little it changes; what it has, if nothing would.

    A way is only named when it was worked out and fits.
    """
    for_code = fit.ways_out if fit.code and fit.code.faults else ()
    found = tuple(dict.fromkeys((*_found(fit, other), *for_code)))
    if found:
        return found
    said = tuple(way for way in fit.ways_out if not way.startswith("tube "))
    if not said and fit.capital:
        return (f"nothing that was tried; it reaches {fit.capital.low:.2f} mm: ask for less if that is enough",)
    return said


def _found(fit: Fit, other: Other) -> Iterator[str]:
    marker = fit.marker
    if fit.tube is not None:
        yield from _longer(fit, other)
    if marker.lettered:
        if not marker.breakable:
            yield from _otherwise(marker, other)
        yield from _set_otherwise(fit, other)
    if marker.kind in ("sleeve", "insert"):
        yield from _other_tube(fit, other)
    if marker.lettered:
        yield from _shorter(marker, other)
    if fit.seat and (early := in_time(fit.seat.obstacle)):
        made = _fits(other.refit(Change(marker, other.cut_mm, free=True)))
        if made and made.tube:
            yield f"{early}, tube {made.tube.name}: {_height(made)}"
    if marker.lettered:
        yield from _instead(marker, other)
        yield from _nearer(fit, other)
    if fit.tube is None and fit.seat and other.sized and marker.kind in ("sleeve", "insert"):
        yield from _measured(fit, other)
        yield from _with_less_margin(fit, other)


def _longer(fit: Fit, other: Other) -> Iterator[str]:
    """A longer cut that the stock takes, or one that another stock takes."""
    marker = fit.marker
    key = "cut_length_mm" if other.cut_mm else "longest_cut_mm"
    longer = with_settings(marker, cut_lengths_mm=(), longest_cut_mm=LONGEST_TRIED_MM)
    made = _shortest(marker, fit.cut_length_mm, _fits(other.refit(Change(longer))), other)
    if made:
        than = "it" if made.cut_length_mm > fit.cut_length_mm else "it to a length that the stock takes,"
        yield f"cut {than} {made.cut_length_mm:g} mm long ({key} = {made.cut_length_mm:g}): {_height(made)}"
    larger = other.room.larger
    if not larger:
        return
    same = _fits(other.refit(Change(marker, other.cut_mm, room=larger)))
    if same:
        yield f"--stock {larger.stock}, cut {same.cut_length_mm:g} mm: {_height(same)}"
    elif not made:
        made = _fits(other.refit(Change(longer, room=larger)))
        if made:
            cut = f"cut it {made.cut_length_mm:g} mm long ({key} = {made.cut_length_mm:g})"
            yield f"{cut} on --stock {larger.stock}: {_height(made)}"


def _shortest(marker: Marker, from_mm: float, made: Fit | None, other: Other) -> Fit | None:
    """Return the answer on the shortest cut, in whole steps, that fits: a free one is as long as is preferred."""
    if made is None:
        return None
    step = marker.settings.cut_step_mm
    for count in range(floor(from_mm / step) + 1, ceil(made.cut_length_mm / step)):
        shorter = _fits(other.refit(Change(marker, count * step)))
        if shorter:
            return shorter
    return made


def _otherwise(marker: Marker, other: Other) -> Iterator[str]:
    """The given lines as one text that may be broken where that helps, on a longer piece where it must be."""
    free = replace(marker, text=(" ".join(marker.text),), breakable=True)
    made = _fits(other.refit(Change(free, other.cut_mm)))
    if not made and marker.kind in ("sleeve", "insert"):
        longer = with_settings(free, cut_lengths_mm=(), longest_cut_mm=LONGEST_TRIED_MM)
        made = _fits(other.refit(Change(longer)))
    if made:
        cut = f", cut {made.cut_length_mm:g} mm" if made.tube else ""
        yield f"break it otherwise, as {' | '.join(made.lines)!r}{cut}: {_height(made)}"


def _set_otherwise(fit: Fit, other: Other) -> Iterator[str]:
    """Another setting alone: colour of the print, heating, face."""
    marker = fit.marker
    settings = marker.settings
    for words, key, value in (
        ("print in white", "print_colour", "WH"),
        ("print in black", "print_colour", "BK"),
        ("heat evenly", "heating", "even"),
        ("a condensed face", "font", CONDENSED),
    ):
        if getattr(settings, key) == value or (key == "font" and value not in font_names()):
            continue
        if key == "heating" and marker.kind != "sleeve":
            continue
        made = _fits(other.refit(Change(with_settings(marker, **{key: value}), other.cut_mm)))
        if made:
            yield f"{words} ({key} = {value!r}): {_height(made)}"


def _other_tube(fit: Fit, other: Other) -> Iterator[str]:
    tubes = tuple(tube for tube in other.tubes if tube.family not in fit.marker.settings.sleeve)
    made = _fits(other.refit(Change(fit.marker, other.cut_mm, tubes))) if tubes else None
    if made and made.tube:
        tube = made.tube
        sizes = f"{tube.supplied_mm:.2f} mm supplied, {tube.recovered_mm:.2f} recovered, {tube.ratio:.1f}:1"
        yield f"tube {tube.name} ({sizes}; add {tube.family!r} to sleeve): {_height(made)}"


def _measured(fit: Fit, other: Other) -> Iterator[str]:
    """What a measurement would do: the largest covering wall, or bundle, for which a tube serves."""
    for what, key, taken in (
        ("the covering's wall", "covering_wall_mm", other.wall),
        ("the bundle", "diameter_mm", other.bundle),
    ):
        for value in _below(taken.high, taken.low, MEASURED_STEP) if taken else ():
            made = _sized(fit, other, {key: value})
            if made and made.tube and taken:
                why = f"taken as {taken.low:.2f} to {taken.high:.2f} mm"
                then = f"tube {made.tube.name} serves if it is {value:g} mm"
                yield f"measure {what}, {why}: {then} ({key} = {value:g}): {_height(made)}"
                break


def _with_less_margin(fit: Fit, other: Other) -> Iterator[str]:
    """What weaker margins would do, and what they cost; the margin next to what is set comes first."""
    settings, seat = fit.marker.settings, fit.seat
    if seat and seat.section and (made := _sized(fit, other, {"overlap_mm": 0.0})) and made.tube:
        on = f"tube {made.tube.name} on the covering alone, whose edge stays open"
        yield f"{on} (overlap_mm = 0): {_height(made)}"
    for key, cost in (("slip", "it goes on more tightly"), ("grip", "it may slide or turn more easily")):
        set_to = getattr(settings, key)
        for value in _below(set_to, MARGIN_STEP, MARGIN_STEP):
            made = _sized(fit, other, {key: value})
            if made and made.tube:
                margin = f"with a margin of {value:.0%} instead of {set_to:.0%}, {cost}"
                yield f"tube {made.tube.name} {margin} ({key} = {value:g}): {_height(made)}"
                break


def _below(high: float, low: float, step: float) -> Iterator[float]:
    """Yield the multiples of a step below a value, largest first, not under ``low``."""
    for count in range(ceil(high / step - 1e-9) - 1, ceil(low / step - 1e-9) - 1, -1):
        yield round(count * step, 4)


def _sized(fit: Fit, other: Other, changes: Mapping[str, float]) -> Fit | None:
    return _fits(other.sized(fit.marker, changes)) if other.sized else None


def _shorter(marker: Marker, other: Other) -> Iterator[str]:
    """The same place with less said: the circuit or the connector alone."""
    text = marker.circuit if marker.on_wire else marker.at if marker.branch else ""
    if not text or (text,) == marker.text:
        return
    made = _fits(other.refit(Change(replace(marker, text=(text,), breakable=True), other.cut_mm)))
    if made:
        yield f"a shorter text, {text!r}: {_height(made)}"


def _instead(marker: Marker, other: Other) -> Iterator[str]:
    """Another kind of marker."""
    key = "wire_marker_kind" if marker.on_wire else "branch_marker_kind"
    for kind, fitted in other.kinds.items():
        made = _fits(fitted(replace(marker, kind=kind)))
        if made:
            on = made.tube.name if made.tube else made.stock
            article = "an" if kind == "insert" else "a"
            yield f'{article} {kind} instead ({key} = "{kind}"), {on}: {_height(made)}{_its_code(marker, made)}'


def _its_code(marker: Marker, made: Fit) -> str:
    """Return what becomes of a marker's code where another kind stands in its place; "" where it has none."""
    settings = marker.settings
    if settings.code == "none" or marker.kind not in settings.code_on or not marker.lettered:
        return ""
    if made.code is not None:
        return ", with its code"
    return f', without its code: code_on leaves "{made.marker.kind}" out'


def _nearer(fit: Fit, other: Other) -> Iterator[str]:
    """Read from nearer by: the distance at which what is reached fills the required angle."""
    settings, capital = fit.marker.settings, fit.capital
    if capital is None or capital.low < settings.min_capital_mm or capital.low >= capital.required:
        return
    distance = capital.low / (2 * tan(radians(settings.required_angle_arcmin / 60) / 2))
    distance = floor(distance / BY_HALF_STEP) * BY_HALF_STEP
    key = "wire_reading_distance_mm" if fit.marker.on_wire else "reading_distance_mm"
    made = _fits(other.refit(Change(with_settings(fit.marker, **{key: distance}), other.cut_mm)))
    if made:
        yield f"read it from nearer by ({key} = {distance:g}): {_height(made)}"


def _fits(fit: Fit) -> Fit | None:
    return None if fit.verdict == DOES_NOT_FIT else fit


def _height(fit: Fit) -> str:
    if fit.capital is None:
        return fit.verdict
    turned = ", turn to read" if fit.verdict != FITS else ""
    return f"{fit.capital.low:.2f} mm{turned}"


def with_settings(marker: Marker, **changes: object) -> Marker:
    """Return the marker with some settings changed; the same changes give the same settings."""
    return replace(marker, settings=_changed(marker.settings, tuple(changes.items())))


@lru_cache(maxsize=256)
def _changed(settings: Settings, changes: tuple[tuple[str, object], ...]) -> Settings:
    return replace(settings, **dict(changes))  # type: ignore[arg-type]
