"""Ways out: what would make a marker fit, the smallest change first, each worked out, with the height it gives."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil, floor, radians, tan
from typing import Any

from labeler.fitting.sleeve import LONGEST_TRIED_MM, UNLIMITED, StockLimits
from labeler.model import FAIL, PASS, Fact, Fit, Marker, Range, Settings, Tube, fact
from labeler.tables.kinds import KINDS, SLID_ON
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
    room: StockLimits | None = None  # None: that of the stock
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
    room: StockLimits = UNLIMITED
    sized: Callable[[Marker, Mapping[str, float]], Fit] | None = None
    wall: Range | None = None
    bundle: Range | None = None


def fixes_for(fit: Fit, other: Other) -> tuple[Fact, ...]:
    """Return what would make a marker fit, in order of how little it changes; what it has, if nothing would.

    A way is only named when it was worked out and fits.
    """
    for_code = fit.fixes if fit.code and fit.code.failures else ()
    found = tuple(dict.fromkeys((*_found(fit, other), *for_code)))
    if found:
        return found
    said = tuple(way for way in fit.fixes if way.kind != "add family")  # those were tried
    if not said and fit.capital_height_mm:
        return (fact("nothing helps", capital=fit.capital_height_mm.low),)
    return said


def _found(fit: Fit, other: Other) -> Iterator[Fact]:
    marker, obstacle = fit.marker, fit.seat.obstacle if fit.seat else None
    if fit.tube is not None:
        yield from _longer(fit, other)
    if marker.marked:
        if not marker.breakable:
            yield from _otherwise(marker, other)
        yield from _set_otherwise(fit, other)
    if marker.kind in SLID_ON:
        yield from _other_tube(fit, other)
    if marker.marked:
        yield from _shorter(marker, other)
    made = _refit(other, marker, free=True) if obstacle and obstacle.avoidable else None
    if made and made.tube:
        yield _way("in time, tube", made, step=fact("in time", on=obstacle), tube=made.tube.name)
    if marker.marked:
        yield from _instead(marker, other)
        yield from _nearer(fit, other)
    if fit.tube is None and fit.seat and marker.kind in SLID_ON:
        yield from _sized_anew(fit, other)


def _longer(fit: Fit, other: Other) -> Iterator[Fact]:
    """A longer cut that the stock takes, or one that another stock takes."""
    marker, larger = fit.marker, other.room.larger
    key = "cut_length_mm" if other.cut_mm else "sleeve.max_cut_length_mm"
    longer = _uncut(marker)
    made = _shortest(marker, fit.cut_length_mm, _fits(other.refit(Change(longer))), other)
    if made:
        longer_cut = "cut longer" if made.cut_length_mm > fit.cut_length_mm else "cut to the stock"
        yield _way(longer_cut, made, length=made.cut_length_mm, key=key)
    if not larger:
        return
    if same := _refit(other, marker, room=larger):
        yield _way("other stock", same, stock=larger.stock, length=same.cut_length_mm)
    elif not made and (made := _fits(other.refit(Change(longer, room=larger)))):
        yield _way("cut longer on other stock", made, length=made.cut_length_mm, key=key, stock=larger.stock)


def _uncut(marker: Marker) -> Marker:
    """Return the marker free of the lengths that the shop cuts."""
    return with_settings(
        marker,
        {"sleeve.cut_lengths_mm": (), "sleeve.max_cut_length_mm": None, "sleeve.usual_cut_length_mm": LONGEST_TRIED_MM},
    )


def _shortest(marker: Marker, from_mm: float, made: Fit | None, other: Other) -> Fit | None:
    """Return the answer on the shortest cut, in whole steps, that fits: a free one is as long as is preferred."""
    if made is None:
        return None
    step = marker.settings.sleeve.cut_step_mm
    counts = range(floor(from_mm / step) + 1, ceil(made.cut_length_mm / step))
    shorter = (_fits(other.refit(Change(marker, count * step))) for count in counts)
    return next(filter(None, shorter), made)


def _otherwise(marker: Marker, other: Other) -> Iterator[Fact]:
    """The given lines as one text that may be broken where that helps, on a longer piece where it must be."""
    free = replace(marker, text=(" ".join(marker.text),), breakable=True)
    made = _refit(other, free)
    if not made and marker.kind in SLID_ON:
        made = _fits(other.refit(Change(_uncut(free))))
    if made and made.tube:
        yield _way("break otherwise, cut", made, text=" | ".join(made.lines), length=made.cut_length_mm)
    elif made:
        yield _way("break otherwise", made, text=" | ".join(made.lines))


def _set_otherwise(fit: Fit, other: Other) -> Iterator[Fact]:
    """Another setting alone: colour of the print, heating, face."""
    marker, heated = fit.marker, KINDS[fit.marker.kind].tube == "marked"
    for way, key, value, possible in (
        ("white print", "print.colour", "WH", True),
        ("black print", "print.colour", "BK", True),
        ("even heat", "sleeve.heating", "even", heated),
        ("condensed face", "print.font", CONDENSED, CONDENSED in font_names()),
    ):
        other_set = with_settings(marker, {key: value})
        if possible and other_set != marker and (made := _refit(other, other_set)):
            yield _way(way, made, value=value)


def _other_tube(fit: Fit, other: Other) -> Iterator[Fact]:
    tubes = tuple(tube for tube in other.tubes if tube.family not in fit.marker.settings.sleeve.families)
    made = _refit(other, fit.marker, tubes=tubes) if tubes else None
    if made and (tube := made.tube):
        sizes = {"expanded": tube.expanded_id_mm, "recovered": tube.recovered_id_mm, "ratio": tube.ratio}
        yield _way("other family", made, tube=tube.name, **sizes, family=tube.family)


def _sized_anew(fit: Fit, other: Other) -> Iterator[Fact]:
    """What a measurement would do: the largest wall, or bundle, for which a tube serves; then weaker margins, and
    what they cost, the margin next to what is set first."""
    settings, seat = fit.marker.settings, fit.seat
    for key, taken in (("covering_wall_mm", other.wall), ("bundle_diameter_mm", other.bundle)):
        if taken and (found := _first_that_fits(fit, other, key, _below(taken.high, taken.low, MEASURED_STEP))):
            value, tube, made = found
            what = {"what": fact(key), "low": taken.low, "high": taken.high, "value": value, "key": key}
            yield _way("measure", made, tube=tube, **what)
    if seat and seat.section and (found := _first_that_fits(fit, other, "sleeve.covering_overlap_mm", (0.0,))):
        yield _way("no overlap", found[2], tube=found[1])
    for key in ("sleeve.pass_over_margin", "sleeve.grip_margin"):
        was = settings.number(key)
        if found := _first_that_fits(fit, other, key, _below(was, MARGIN_STEP, MARGIN_STEP)):
            value, tube, made = found
            yield _way("less margin", made, tube=tube, value=value, was=was, cost=fact(key), key=key)


def _below(high: float, low: float, step: float) -> Iterator[float]:
    """Yield the multiples of a step below a value, largest first, not under ``low``."""
    for count in range(ceil(high / step - 1e-9) - 1, ceil(low / step - 1e-9) - 1, -1):
        yield round(count * step, 4)


def _first_that_fits(fit: Fit, other: Other, key: str, values: Iterable[float]) -> tuple[float, str, Fit] | None:
    """Return the first of the values with which a tube fits, the tube's name, and the answer."""
    for value in values if other.sized else ():
        made = _fits(other.sized(fit.marker, {key: value})) if other.sized else None
        if made and made.tube:
            return value, made.tube.name, made
    return None


def _shorter(marker: Marker, other: Other) -> Iterator[Fact]:
    """The same place with less said: the circuit or the connector alone."""
    text = marker.circuit if marker.on_wire else marker.place if marker.branch else ""
    shorter = replace(marker, text=(text,), breakable=True)
    if text and (text,) != marker.text and (made := _refit(other, shorter)):
        yield _way("shorter text", made, text=text)


def _instead(marker: Marker, other: Other) -> Iterator[Fact]:
    """Another kind of marker."""
    key = "marker.wire" if marker.on_wire else "marker.branch"
    for kind, fitted in other.kinds.items():
        if made := _fits(fitted(replace(marker, kind=kind))):
            what = {"article": KINDS[kind].article, "kind": kind, "key": key, "code": _its_code(marker, made)}
            yield _way("other kind", made, on=made.tube.name if made.tube else made.stock, **what)


def _its_code(marker: Marker, made: Fit) -> Fact:
    """Return what becomes of a marker's code where another kind stands in its place."""
    settings = marker.settings
    if settings.code.symbology == "none" or marker.kind not in settings.code.on or not marker.marked:
        return fact("no code")
    return fact("without its code", kind=made.marker.kind) if made.code is None else fact("with its code")


def _nearer(fit: Fit, other: Other) -> Iterator[Fact]:
    """Read from nearer by: the distance at which what is reached fills the required angle."""
    settings, capital = fit.marker.settings, fit.capital_height_mm
    if capital is None or capital.low < settings.print.min_capital_height_mm or capital.low >= capital.required:
        return
    distance = capital.low / (2 * tan(radians(settings.print.min_visual_angle_arcmin / 60) / 2))
    distance = floor(distance / BY_HALF_STEP) * BY_HALF_STEP
    key = "print.wire_reading_distance_mm" if fit.marker.on_wire else "print.reading_distance_mm"
    if made := _refit(other, with_settings(fit.marker, {key: distance})):
        yield _way("nearer by", made, key=key, distance=distance)


def _refit(other: Other, marker: Marker, **changes: Any) -> Fit | None:
    """Return the answer for a marker cut as before, with something else changed; None where it does not fit."""
    return _fits(other.refit(Change(marker, other.cut_mm, **changes)))


def _fits(fit: Fit) -> Fit | None:
    return None if fit.result == FAIL else fit


def _way(way: str, made: Fit, /, **values: object) -> Fact:
    """Return a way out with its values, and the height of the capitals that it gives."""
    if made.capital_height_mm is None:
        return fact(way, **values, reached=fact("without height", result=made.result))
    height = "height" if made.result == PASS else "height, marginal"
    return fact(way, **values, reached=fact(height, capital=made.capital_height_mm.low))


def with_settings(marker: Marker, changes: Mapping[str, object]) -> Marker:
    """Return the marker with the settings of dotted keys changed; the same changes give the same settings."""
    return replace(marker, settings=_changed(marker.settings, tuple(changes.items())))


@lru_cache(maxsize=256)
def _changed(settings: Settings, changes: tuple[tuple[str, object], ...]) -> Settings:
    return settings.changed(dict(changes))
