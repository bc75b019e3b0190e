"""Ways out: what would make a marker fit, the smallest change first, each worked out, with the height it gives."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil, floor, radians, tan

from labeler.fit.sleeve import LONGEST_TRIED_MM, UNLIMITED, Room
from labeler.model import DOES_NOT_FIT, FITS, Fact, Fit, Marker, Range, Settings, Tube, fact
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


def ways_out(fit: Fit, other: Other) -> tuple[Fact, ...]:
    """Return what would make a marker fit, in order of how little it changes; what it has, if nothing would.

    A way is only named when it was worked out and fits.
    """
    for_code = fit.ways_out if fit.code and fit.code.faults else ()
    found = tuple(dict.fromkeys((*_found(fit, other), *for_code)))
    if found:
        return found
    said = tuple(way for way in fit.ways_out if way.kind != "add family")  # those were tried
    if not said and fit.capital:
        return (fact("nothing helps", capital=fit.capital.low),)
    return said


def _found(fit: Fit, other: Other) -> Iterator[Fact]:
    marker = fit.marker
    if fit.tube is not None:
        yield from _longer(fit, other)
    if marker.lettered:
        if not marker.breakable:
            yield from _otherwise(marker, other)
        yield from _set_otherwise(fit, other)
    if marker.kind in SLID_ON:
        yield from _other_tube(fit, other)
    if marker.lettered:
        yield from _shorter(marker, other)
    obstacle = fit.seat.obstacle if fit.seat else None
    if obstacle and obstacle.avoidable:
        made = _fits(other.refit(Change(marker, other.cut_mm, free=True)))
        if made and made.tube:
            step = fact("in time", on=obstacle)
            yield fact("in time, tube", step=step, tube=made.tube.name, reached=_reached(made))
    if marker.lettered:
        yield from _instead(marker, other)
        yield from _nearer(fit, other)
    if fit.tube is None and fit.seat and other.sized and marker.kind in SLID_ON:
        yield from _measured(fit, other)
        yield from _with_less_margin(fit, other)


def _longer(fit: Fit, other: Other) -> Iterator[Fact]:
    """A longer cut that the stock takes, or one that another stock takes."""
    marker = fit.marker
    key = "cut_length_mm" if other.cut_mm else "longest_cut_mm"
    longer = with_settings(marker, cut_lengths_mm=(), longest_cut_mm=LONGEST_TRIED_MM)
    made = _shortest(marker, fit.cut_length_mm, _fits(other.refit(Change(longer))), other)
    if made:
        longer_cut = "cut longer" if made.cut_length_mm > fit.cut_length_mm else "cut to the stock"
        yield fact(longer_cut, length=made.cut_length_mm, key=key, reached=_reached(made))
    larger = other.room.larger
    if not larger:
        return
    same = _fits(other.refit(Change(marker, other.cut_mm, room=larger)))
    if same:
        yield fact("other stock", stock=larger.stock, length=same.cut_length_mm, reached=_reached(same))
    elif not made:
        made = _fits(other.refit(Change(longer, room=larger)))
        if made:
            length, reached = made.cut_length_mm, _reached(made)
            yield fact("cut longer on other stock", length=length, key=key, stock=larger.stock, reached=reached)


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


def _otherwise(marker: Marker, other: Other) -> Iterator[Fact]:
    """The given lines as one text that may be broken where that helps, on a longer piece where it must be."""
    free = replace(marker, text=(" ".join(marker.text),), breakable=True)
    made = _fits(other.refit(Change(free, other.cut_mm)))
    if not made and marker.kind in SLID_ON:
        longer = with_settings(free, cut_lengths_mm=(), longest_cut_mm=LONGEST_TRIED_MM)
        made = _fits(other.refit(Change(longer)))
    if made:
        text = " | ".join(made.lines)
        if made.tube:
            yield fact("break otherwise, cut", text=text, length=made.cut_length_mm, reached=_reached(made))
        else:
            yield fact("break otherwise", text=text, reached=_reached(made))


def _set_otherwise(fit: Fit, other: Other) -> Iterator[Fact]:
    """Another setting alone: colour of the print, heating, face."""
    marker = fit.marker
    settings = marker.settings
    for way, key, value in (
        ("white print", "print_colour", "WH"),
        ("black print", "print_colour", "BK"),
        ("even heat", "heating", "even"),
        ("condensed face", "font", CONDENSED),
    ):
        if getattr(settings, key) == value or (key == "font" and value not in font_names()):
            continue
        if key == "heating" and KINDS[marker.kind].tube != "marked":
            continue
        made = _fits(other.refit(Change(with_settings(marker, **{key: value}), other.cut_mm)))
        if made:
            yield fact(way, value=value, reached=_reached(made))


def _other_tube(fit: Fit, other: Other) -> Iterator[Fact]:
    tubes = tuple(tube for tube in other.tubes if tube.family not in fit.marker.settings.sleeve)
    made = _fits(other.refit(Change(fit.marker, other.cut_mm, tubes))) if tubes else None
    if made and made.tube:
        tube = made.tube
        sizes = {"supplied": tube.supplied_mm, "recovered": tube.recovered_mm, "ratio": tube.ratio}
        yield fact("other family", tube=tube.name, **sizes, family=tube.family, reached=_reached(made))


def _measured(fit: Fit, other: Other) -> Iterator[Fact]:
    """What a measurement would do: the largest covering wall, or bundle, for which a tube serves."""
    for key, taken in (("covering_wall_mm", other.wall), ("diameter_mm", other.bundle)):
        for value in _below(taken.high, taken.low, MEASURED_STEP) if taken else ():
            made = _sized(fit, other, {key: value})
            if made and made.tube and taken:
                what = {"what": fact(key), "low": taken.low, "high": taken.high, "value": value, "key": key}
                yield fact("measure", **what, tube=made.tube.name, reached=_reached(made))
                break


def _with_less_margin(fit: Fit, other: Other) -> Iterator[Fact]:
    """What weaker margins would do, and what they cost; the margin next to what is set comes first."""
    settings, seat = fit.marker.settings, fit.seat
    if seat and seat.section and (made := _sized(fit, other, {"overlap_mm": 0.0})) and made.tube:
        yield fact("no overlap", tube=made.tube.name, reached=_reached(made))
    for key in ("slip", "grip"):
        set_to = getattr(settings, key)
        for value in _below(set_to, MARGIN_STEP, MARGIN_STEP):
            made = _sized(fit, other, {key: value})
            if made and made.tube:
                margin = {"value": value, "was": set_to, "cost": fact(key), "key": key}
                yield fact("less margin", tube=made.tube.name, **margin, reached=_reached(made))
                break


def _below(high: float, low: float, step: float) -> Iterator[float]:
    """Yield the multiples of a step below a value, largest first, not under ``low``."""
    for count in range(ceil(high / step - 1e-9) - 1, ceil(low / step - 1e-9) - 1, -1):
        yield round(count * step, 4)


def _sized(fit: Fit, other: Other, changes: Mapping[str, float]) -> Fit | None:
    return _fits(other.sized(fit.marker, changes)) if other.sized else None


def _shorter(marker: Marker, other: Other) -> Iterator[Fact]:
    """The same place with less said: the circuit or the connector alone."""
    text = marker.circuit if marker.on_wire else marker.at if marker.branch else ""
    if not text or (text,) == marker.text:
        return
    made = _fits(other.refit(Change(replace(marker, text=(text,), breakable=True), other.cut_mm)))
    if made:
        yield fact("shorter text", text=text, reached=_reached(made))


def _instead(marker: Marker, other: Other) -> Iterator[Fact]:
    """Another kind of marker."""
    key = "wire_marker_kind" if marker.on_wire else "branch_marker_kind"
    for kind, fitted in other.kinds.items():
        made = _fits(fitted(replace(marker, kind=kind)))
        if made:
            on = made.tube.name if made.tube else made.stock
            code = _its_code(marker, made)
            yield fact(
                "other kind", article=KINDS[kind].article, kind=kind, key=key, on=on, reached=_reached(made), code=code
            )


def _its_code(marker: Marker, made: Fit) -> Fact:
    """Return what becomes of a marker's code where another kind stands in its place."""
    settings = marker.settings
    if settings.code == "none" or marker.kind not in settings.code_on or not marker.lettered:
        return fact("no code")
    return fact("without its code", kind=made.marker.kind) if made.code is None else fact("with its code")


def _nearer(fit: Fit, other: Other) -> Iterator[Fact]:
    """Read from nearer by: the distance at which what is reached fills the required angle."""
    settings, capital = fit.marker.settings, fit.capital
    if capital is None or capital.low < settings.min_capital_mm or capital.low >= capital.required:
        return
    distance = capital.low / (2 * tan(radians(settings.required_angle_arcmin / 60) / 2))
    distance = floor(distance / BY_HALF_STEP) * BY_HALF_STEP
    key = "wire_reading_distance_mm" if fit.marker.on_wire else "reading_distance_mm"
    made = _fits(other.refit(Change(with_settings(fit.marker, **{key: distance}), other.cut_mm)))
    if made:
        yield fact("nearer by", key=key, distance=distance, reached=_reached(made))


def _fits(fit: Fit) -> Fit | None:
    return None if fit.verdict == DOES_NOT_FIT else fit


def _reached(fit: Fit) -> Fact:
    """Return the height of the capitals that a way out gives."""
    if fit.capital is None:
        return fact("without height", verdict=fit.verdict)
    return fact("height" if fit.verdict == FITS else "height, turned", capital=fit.capital.low)


def with_settings(marker: Marker, **changes: object) -> Marker:
    """Return the marker with some settings changed; the same changes give the same settings."""
    return replace(marker, settings=_changed(marker.settings, tuple(changes.items())))


@lru_cache(maxsize=256)
def _changed(settings: Settings, changes: tuple[tuple[str, object], ...]) -> Settings:
    return replace(settings, **dict(changes))  # type: ignore[arg-type]
