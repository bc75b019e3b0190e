"""Where a code may stand: its arc, its grid, its stretch after shrinking, its modules in whole dots, its quiet zone.

Nothing is encoded here: a maker of symbols is handed in. What breaks a limit is named with its
number, and with what would keep it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, degrees, floor, inf, pi, radians, sqrt

from labeler.fit.text import TubeZone, Zone
from labeler.formulas.curvature import GRADES, axial_nonuniformity, grid_deviation, largest_arc, smallest_diameter
from labeler.model import DOES_NOT_FIT, FITS, TIGHT, Code, CodeFit, Fact, Marker, Range, Settings, Symbol, fact
from labeler.tables.kinds import KINDS

MM_PER_INCH = 25.4
EPS = 1e-9
ONE = Range(1.0, 1.0)
BAR_SHARE = 0.15  # height of bars, at least, in lengths of the code: see code_bar_mm
STEPS_TRIED = 12  # module sizes tried, a dot larger each: project choice
FINER_DPI = 600.0  # the printer that is named where its dots would do: project choice


@dataclass(frozen=True, slots=True)
class CodeMaker:
    """What makes a marker's symbols.

    ``symbols`` yields those of a symbology with a payload by a rule, lowest first; "" stands for the marker's own
    setting. ``linear``: its own are bars. ``others`` are symbologies that may be tried instead.
    """

    symbols: Callable[[str, str], Iterator[Code]]
    linear: bool
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Ground:
    """What a code stands on; a flat one neither shrinks nor bends. ``squeeze``: scale along over around."""

    across_mm: float  # height that print may fill, flat
    along: Range = ONE
    face: Range = ONE
    squeeze: Range = ONE
    arc_per_mm: float = 0.0  # arc [rad] of one flat mm around the part, at most; 0: flat


@dataclass(frozen=True, slots=True)
class Rules:
    """What is asked of a code."""

    module_mm: float
    dots: float
    quiet_extra: float
    arc: float  # rad
    aim: float  # rad
    grid: float
    grade: str
    bar_mm: float
    dpi: float
    gap_mm: float  # between its quiet zone and the lettering


@dataclass(frozen=True, slots=True)
class _Space:
    """Where a code is to stand, what is asked of it, and the length it may take with its quiet zone, flat [mm]."""

    ground: Ground
    rules: Rules
    room_mm: float
    largest: bool  # the largest module there is room for is wanted, else the smallest that keeps the limits

    @property
    def dot_mm(self) -> float:
        return MM_PER_INCH / self.rules.dpi


@dataclass(frozen=True, slots=True)
class _Shape:
    """A symbol without its text: what decides its size."""

    kind: str
    rows: int
    columns: int
    free: float  # modules that stay free, both sides together

    @property
    def named(self) -> Fact:
        if self.rows == 1:
            return fact("bars", kind=self.kind, columns=self.columns)
        return fact("matrix", kind=self.kind, rows=self.rows, columns=self.columns)


@dataclass(frozen=True, slots=True)
class Stand:
    """One symbol on one ground: printer dots of a module along and across (of bars: of their height)."""

    dots: tuple[int, int]
    arc: float
    grid: float
    axial: float
    faults: tuple[Fact, ...]
    too_long: bool = False  # a shorter symbol of more rows may do better; in all else rows only cost


@dataclass(frozen=True, slots=True)
class SetCode:
    """A code that was given its size: flat, ``width_mm`` and ``height_mm`` with its quiet zone."""

    code: Code
    fit: CodeFit
    module_x_mm: float
    module_y_mm: float
    quiet_mm: float
    width_mm: float
    height_mm: float
    gap_mm: float  # between the quiet zone and the lettering
    ways_out: tuple[Fact, ...] = ()

    def symbol(self, left_mm: float, centre_mm: float) -> Symbol:
        """Return it with the left edge of its quiet zone, and its middle across, at these places."""
        x, y = left_mm + self.quiet_mm, centre_mm - len(self.code.rows) * self.module_y_mm / 2
        sizes = round(x, 6), round(y, 6), self.module_x_mm, self.module_y_mm
        return Symbol(self.code.kind, self.code.payload, self.code.rows, *sizes)

    @property
    def taken_mm(self) -> float:
        """Return the length that it takes from the lettering."""
        return self.width_mm + self.gap_mm


def rules_of(settings: Settings) -> Rules:
    """Return what the settings ask of a code."""
    return Rules(
        settings.code_module_mm,
        settings.code_dots,
        settings.code_quiet_extra,
        radians(settings.code_arc_deg),
        radians(settings.code_aim_deg),
        settings.code_grid,
        settings.code_axial_grade,
        settings.code_bar_mm,
        settings.printer_dpi,
        settings.code_gap_mm,
    )


def ground_on_tube(on: TubeZone) -> Ground:
    """Return the face of a tube as ground for a code."""
    shrunk = on.shrunk
    return Ground(on.zone.across_mm, shrunk.along, shrunk.face_scale, shrunk.squeeze, shrunk.arc_per_mm)


def ground_on_film(zone: Zone) -> Ground:
    """Return a label around a wire as ground: it is round and does not shrink."""
    return Ground(zone.across_mm, arc_per_mm=radians(zone.arc_per_mm))


def set_code(
    marker: Marker,
    codes: CodeMaker | None,
    ground: Ground,
    room_mm: float,
    *,
    largest: bool = False,
    ways: bool = True,
) -> SetCode | None:
    """Return the first of a marker's symbols that keeps every limit, or else the one that breaks fewest; None for none.

    Parameters
    ----------
    codes : makes the marker's symbols; None where it carries none.
    room_mm : length that the symbol and its quiet zone may take, flat [mm].
    largest : take the largest module there is room for, else the smallest that keeps the limits.
    ways : look for what would do where none keeps the limits.

    Raises what the maker raises.
    """
    if codes is None:
        return None
    space = _Space(ground, rules_of(marker.settings), room_mm, largest)
    best = _best(codes, space)
    if best is None:
        return None
    made = _set(*best, space)
    return replace(made, ways_out=tuple(_ways(marker, best, codes, space))) if ways and best[1].faults else made


def _best(codes: CodeMaker, space: _Space) -> tuple[Code, Stand] | None:
    """Return the first of a marker's symbols that keeps every limit, else the one that breaks fewest."""
    best: tuple[Code, Stand] | None = None
    for code in codes.symbols("", ""):
        found = _stand_of(code, space)
        if not found.faults and not space.largest:
            return code, found
        if best is None or len(found.faults) < len(best[1].faults):
            best = code, found
        elif space.largest and found.dots < best[1].dots:
            break  # those that follow have more modules still
        elif space.largest and found.dots > best[1].dots and not found.faults:
            best = code, found
        if found.faults and not found.too_long:
            break
    return best


def with_code(
    verdict: str, reasons: tuple[Fact, ...], made: SetCode | None, settings: Settings
) -> tuple[str, tuple[Fact, ...]]:
    """Return verdict and reasons of a marker with those of its code.

    A code that breaks a limit makes the marker not fit, or tight where it was asked for anyway.
    """
    if made is None or not made.fit.faults:
        return verdict, reasons
    if settings.code_anyway == "yes":
        why = tuple(fact("code unsure", fault=fault) for fault in made.fit.faults)
        return (TIGHT if verdict == FITS else verdict), (*reasons, *why)
    return DOES_NOT_FIT, (*reasons, *made.fit.faults)


# ---------------------------------------------------------------- one symbol on one ground


def _stand_of(code: Code, space: _Space) -> Stand:
    free = 2 * (code.quiet + space.rules.quiet_extra)
    shape = _Shape(code.kind, len(code.rows), len(code.rows[0]), free)
    return _bars(shape, space) if code.linear else _modules(shape, space)


@lru_cache(maxsize=4096)
def _modules(shape: _Shape, space: _Space) -> Stand:
    """Return the module size that keeps all limits, or the one that breaks fewest, with its figures."""
    ground, rules = space.ground, space.rules
    least = _least_dots(rules, ground.along.low)
    sizes = list(range(least, least + STEPS_TRIED))
    if space.largest:
        wide, high = space.room_mm / (shape.columns + shape.free), ground.across_mm / (shape.rows + shape.free)
        sizes = [max(floor(min(wide, high) / space.dot_mm + 1e-6), least)]
    tried = []
    for x in sizes:
        found = _judged(shape, (x, _dots_across(x, ground, rules)), space)
        if not found.faults:
            return found
        tried.append(found)
    return min(tried, key=lambda stand: (len(stand.faults), stand.dots))


def _least_dots(rules: Rules, scale: float) -> int:
    """Return the fewest dots of a module that comes out at this scale of its printed size."""
    return max(ceil(rules.dots - EPS), ceil(rules.module_mm * rules.dpi / MM_PER_INCH / scale - 1e-6))


def _dots_across(x: int, ground: Ground, rules: Rules) -> int:
    """Return the whole dots across with which the modules are nearest to square over the whole interval."""
    least, ideal = _least_dots(rules, ground.face.low), x * sqrt(ground.squeeze.low * ground.squeeze.high)
    return min({max(floor(ideal), least), max(ceil(ideal - EPS), least)}, key=lambda y: _axial(x, y, ground))


def _axial(x: int, y: int, ground: Ground) -> float:
    return max(axial_nonuniformity(x * scale, y) for scale in (ground.squeeze.low, ground.squeeze.high))


def _judged(shape: _Shape, dots: tuple[int, int], space: _Space) -> Stand:
    ground, rules, dot, room_mm = space.ground, space.rules, space.dot_mm, space.room_mm
    arc = shape.rows * dots[1] * dot * ground.arc_per_mm
    axial = _axial(*dots, ground)
    in_view = arc / 2 + rules.aim <= pi / 2
    grid = (grid_deviation(shape.rows, arc, rules.aim) if in_view else inf) if arc else 0.0
    wide, high = (shape.columns + shape.free) * dots[0] * dot, (shape.rows + shape.free) * dots[1] * dot
    what, faults = shape.named, []
    if arc > rules.arc + EPS:
        faults.append(fact("code arc", symbol=what, arc=degrees(arc), most=degrees(rules.arc)))
    if grid > rules.grid + EPS:
        limits = {"aim": degrees(rules.aim), "most": rules.grid}
        if in_view:
            faults.append(fact("code grid", symbol=what, off=grid, **limits))
        else:
            faults.append(fact("code out of sight", symbol=what, **limits))
    if axial > GRADES[rules.grade] + EPS:
        faults.append(fact("code off square", symbol=what, axial=axial, most=GRADES[rules.grade], grade=rules.grade))
    if high > ground.across_mm + 1e-6:
        module, free = dots[1] * dot, ground.across_mm
        faults.append(fact("code too high", symbol=what, height=high, module=module, free=free))
    too_long = wide > room_mm + 1e-6
    if too_long:
        module, free = dots[0] * dot, max(room_mm, 0)
        faults.append(fact("code too long", symbol=what, length=wide, module=module, free=free))
    return Stand(dots, arc, grid, axial, tuple(faults), too_long)


@lru_cache(maxsize=4096)
def _bars(shape: _Shape, space: _Space) -> Stand:
    """Return bars across the piece (rings, on a round one): neither curve nor stretch takes their widths apart."""
    ground, rules, dot, room_mm = space.ground, space.rules, space.dot_mm, space.room_mm
    x = _least_dots(rules, ground.along.low)
    needed = max(rules.bar_mm, BAR_SHARE * shape.columns * x * dot * ground.along.high)
    dots = ceil(needed / ground.face.low / dot - 1e-6)
    all_of_it = floor(ground.across_mm / dot + 1e-6)
    high = max(all_of_it, 1) if ground.arc_per_mm or dots > all_of_it else dots
    wide = (shape.columns + shape.free) * x * dot
    what, faults = shape.named, []
    if dots > all_of_it:
        had, limits = all_of_it * dot * ground.face.low, {"least": rules.bar_mm, "share": BAR_SHARE}
        faults.append(fact("bars too low", symbol=what, height=had, needed=needed, **limits))
    if wide > room_mm + 1e-6:
        faults.append(fact("bars too long", symbol=what, length=wide, module=x * dot, free=max(room_mm, 0)))
    return Stand((x, high), high * dot * ground.arc_per_mm, 0.0, 0.0, tuple(faults))


def _set(code: Code, found: Stand, space: _Space) -> SetCode:
    ground, rules, dot = space.ground, space.rules, space.dot_mm
    quiet = code.quiet + rules.quiet_extra
    x, y = (round(dots * dot, 6) for dots in found.dots)
    rows, columns = len(code.rows), len(code.rows[0])
    across = y * ground.face.low if not code.linear else inf
    fit = CodeFit(
        code.kind,
        code.payload,
        columns,
        rows,
        code.level,
        found.dots,
        min(x * ground.along.low, across),
        degrees(found.arc),
        found.grid,
        found.axial,
        found.faults,
    )
    high = y if code.linear else (rows + 2 * quiet) * y
    return SetCode(code, fit, x, y, quiet * x, (columns + 2 * quiet) * x, high, rules.gap_mm)


# ---------------------------------------------------------------- what would do


def _ways(marker: Marker, best: tuple[Code, Stand], codes: CodeMaker, space: _Space) -> Iterator[Fact]:
    """Yield what would let the code stand, each worked out, the smallest change first."""
    settings, rules = marker.settings, space.rules

    def first(kind: str, rule: str, there: _Space = space) -> Fact | None:
        for code in codes.symbols(kind, rule):
            found = _stand_of(code, there)
            if found.faults and not found.too_long:
                break
            if not found.faults:
                return fact("symbol size", rows=len(code.rows), columns=len(code.rows[0]))
        return None

    if settings.code_payload != "marker" and (found := first("", "marker")):
        yield fact("shorter code", size=found)
    for kind in codes.others:
        if kind != settings.code and (found := first(kind, "")):
            yield fact("other symbology", kind=kind, size=found)
    if rules.dpi < FINER_DPI and (found := first("", "", replace(space, rules=replace(rules, dpi=FINER_DPI)))):
        yield fact("finer printer", dpi=FINER_DPI, size=found)
    yield from _by_the_seat(marker, best, space.ground, rules)
    if marker.kind != "tag":
        yield fact("on the tag")


def _by_the_seat(marker: Marker, best: tuple[Code, Stand], ground: Ground, rules: Rules) -> Iterator[Fact]:
    code, found = best
    if code.linear or not ground.arc_per_mm:
        return
    if found.axial > GRADES[rules.grade] + EPS:
        if KINDS[marker.kind].tube == "marked" and marker.settings.heating != "even":
            yield fact("heat code evenly")
        else:
            limit = GRADES[rules.grade]
            most = ((2 + limit) / (2 - limit)) ** 2
            spread = ground.squeeze.high / ground.squeeze.low
            if spread > most:
                yield fact("seat known better", spread=spread, most=most)
    rows = len(code.rows)
    arc = largest_arc(rows, rules.grid, rules.aim, rules.arc)
    if found.arc > arc + EPS:
        module = found.dots[1] * MM_PER_INCH / rules.dpi * ground.face.high
        least = smallest_diameter(rows, module, rules.grid, rules.aim, rules.arc)
        yield fact("thicker part", outside=ceil(least * 10 - EPS) / 10)
