"""Where a code may stand: its arc, its grid, its stretch after shrinking, its modules in whole dots, its quiet zone.

Nothing is encoded here: a maker of symbols is handed in. What breaks a limit is named with its
number, and with what would keep it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, degrees, floor, inf, pi, radians, sqrt

from labeler.formulas.curvature import GRADES, axial_nonuniformity, grid_deviation, largest_arc, smallest_diameter
from labeler.model import FAIL, MARGINAL, PASS, Code, CodeFit, Fact, Marker, Range, Settings, Symbol, fact
from labeler.tables.kinds import KINDS

MM_PER_INCH = 25.4
EPS = 1e-9
ONE = Range(1.0, 1.0)
BAR_SHARE = 0.15  # height of bars, at least, in lengths of the code: see code.min_bar_height_mm
STEPS_TRIED = 12  # module sizes tried, a dot larger each: project choice
FINER_DPI = 600.0  # the printer that is named where its dots would do: project choice


@dataclass(frozen=True, slots=True)
class CodeMaker:
    """What makes a marker's symbols.

    ``symbols`` yields those of a symbology with data by a rule, lowest first; "" stands for the marker's own
    setting. ``linear``: its own are bars. ``others`` are symbologies that may be tried instead.
    """

    symbols: Callable[[str, str], Iterator[Code]]
    linear: bool
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CodeArea:
    """What a code stands on; a flat one neither shrinks nor bends. ``squeeze``: scale along over around."""

    across_mm: float  # height that print may fill, flat
    along: Range = ONE
    face: Range = ONE
    squeeze: Range = ONE
    arc_per_mm: float = 0.0  # arc [rad] of one flat mm around the part, at most; 0: flat


@dataclass(frozen=True, slots=True)
class _Space:
    """Where a code is to stand, what is asked of it, and the length it may take with its quiet zone, flat [mm]."""

    ground: CodeArea
    settings: Settings
    room_mm: float
    largest: bool  # the largest module there is room for is wanted, else the smallest that keeps the limits

    @property
    def dot_mm(self) -> float:
        """Return the size of a printer's dot, mm."""
        return MM_PER_INCH / self.settings.print.dpi


@dataclass(frozen=True, slots=True)
class _Shape:
    """A symbol without its text: what decides its size."""

    symbology: str
    rows: int
    columns: int
    error_correction: str
    free: float  # modules that stay free, both sides together

    @property
    def named(self) -> Fact:
        """Return the symbol as it is named."""
        if self.rows == 1:
            return fact("bars", kind=self.symbology, columns=self.columns)
        return fact("matrix", kind=self.symbology, rows=self.rows, columns=self.columns)

    def fit(
        self, dots: tuple[int, int], space: _Space, failures: list[Fact], grid: float = 0.0, axial: float = 0.0
    ) -> CodeFit:
        """Return how the symbol fits with modules of so many dots, without its text."""
        ground, (x, y) = space.ground, (round(size * space.dot_mm, 6) for size in dots)
        module = min(x * ground.along.low, y * ground.face.low) if self.rows > 1 else x * ground.along.low
        arc, shape = (
            self.rows * dots[1] * space.dot_mm * ground.arc_per_mm,
            (self.columns, self.rows, self.error_correction),
        )
        return CodeFit(self.symbology, "", *shape, dots, module, degrees(arc), grid, axial, tuple(failures))


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
    fixes: tuple[Fact, ...] = ()

    def symbol(self, left_mm: float, centre_mm: float) -> Symbol:
        """Return it with the left edge of its quiet zone, and its middle across, at these places."""
        x, y = left_mm + self.quiet_mm, centre_mm - len(self.code.rows) * self.module_y_mm / 2
        sizes = round(x, 6), round(y, 6), self.module_x_mm, self.module_y_mm
        return Symbol(self.code.symbology, self.code.data, self.code.rows, *sizes)

    @property
    def taken_mm(self) -> float:
        """Return the length that it takes from the lettering."""
        return self.width_mm + self.gap_mm


def set_code(
    marker: Marker,
    codes: CodeMaker | None,
    ground: CodeArea,
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
    space = _Space(ground, marker.settings, room_mm, largest)
    best = _best(codes, space)
    if best is None:
        return None
    (code, fit), dot, quiet = best, space.dot_mm, best[0].quiet + marker.settings.code.extra_quiet_zone
    x, y = (round(dots * dot, 6) for dots in fit.dots_per_module)
    high = y if code.linear else (fit.rows + 2 * quiet) * y
    found = tuple(_ways(marker, fit, codes, space)) if ways and fit.failures else ()
    fit = replace(fit, data=code.data)
    return SetCode(
        code, fit, x, y, quiet * x, (fit.columns + 2 * quiet) * x, high, marker.settings.code.text_gap_mm, found
    )


def _best(codes: CodeMaker, space: _Space) -> tuple[Code, CodeFit] | None:
    """Return the first of a marker's symbols that keeps every limit, else the one that breaks fewest."""
    best: tuple[Code, CodeFit] | None = None
    for code in codes.symbols("", ""):
        found = _fit_of(code, space)
        if not found.failures and not space.largest:
            return code, found
        if best is None or len(found.failures) < len(best[1].failures):
            best = code, found
        elif space.largest and found.dots_per_module < best[1].dots_per_module:
            break  # those that follow have more modules still
        elif space.largest and found.dots_per_module > best[1].dots_per_module and not found.failures:
            best = code, found
        if _no_shape_helps(found):
            break
    return best


def with_code(
    result: str, reasons: tuple[Fact, ...], made: SetCode | None, settings: Settings
) -> tuple[str, tuple[Fact, ...]]:
    """Return result and reasons of a marker with those of its code.

    A code that breaks a limit makes the marker not fit, or tight where it was asked for anyway.
    """
    if made is None or not made.fit.failures:
        return result, reasons
    if settings.code.allow_failed:
        why = tuple(fact("code unsure", failure=failure) for failure in made.fit.failures)
        return (MARGINAL if result == PASS else result), (*reasons, *why)
    return FAIL, (*reasons, *made.fit.failures)


# ---------------------------------------------------------------- one symbol on one ground


def _fit_of(code: Code, space: _Space) -> CodeFit:
    free = 2 * (code.quiet + space.settings.code.extra_quiet_zone)
    shape = _Shape(code.symbology, len(code.rows), len(code.rows[0]), code.error_correction, free)
    return _bars(shape, space) if code.linear else _modules(shape, space)


def _no_shape_helps(fit: CodeFit) -> bool:
    """Return whether a symbol breaks limits that one of more rows would break too; only its length it would not."""
    return bool(fit.failures) and fit.failures[-1].kind != "code too long"


@lru_cache(maxsize=4096)
def _modules(shape: _Shape, space: _Space) -> CodeFit:
    """Return the module size that keeps all limits, or the one that breaks fewest, with its figures."""
    ground = space.ground
    least = _least_dots(space.settings, ground.along.low)
    sizes = list(range(least, least + STEPS_TRIED))
    if space.largest:
        wide, high = space.room_mm / (shape.columns + shape.free), ground.across_mm / (shape.rows + shape.free)
        sizes = [max(floor(min(wide, high) / space.dot_mm + 1e-6), least)]
    tried = []
    for x in sizes:
        found = _judged(shape, (x, _dots_across(x, space)), space)
        if not found.failures:
            return found
        tried.append(found)
    return min(tried, key=lambda fit: (len(fit.failures), fit.dots_per_module))


def _least_dots(settings: Settings, scale: float) -> int:
    """Return the fewest dots of a module that comes out at this scale of its printed size."""
    by_size = settings.code.min_module_mm * settings.print.dpi / MM_PER_INCH / scale
    return max(ceil(settings.code.min_dots_per_module - EPS), ceil(by_size - 1e-6))


def _dots_across(x: int, space: _Space) -> int:
    """Return the whole dots across with which the modules are nearest to square over the whole interval."""
    ground = space.ground
    least, ideal = _least_dots(space.settings, ground.face.low), x * sqrt(ground.squeeze.low * ground.squeeze.high)
    return min({max(floor(ideal), least), max(ceil(ideal - EPS), least)}, key=lambda y: _axial(x, y, ground))


def _axial(x: int, y: int, ground: CodeArea) -> float:
    return max(axial_nonuniformity(x * scale, y) for scale in (ground.squeeze.low, ground.squeeze.high))


def _judged(shape: _Shape, dots: tuple[int, int], space: _Space) -> CodeFit:
    ground, settings, dot, what = space.ground, space.settings, space.dot_mm, shape.named
    arc, aim, most = (
        shape.rows * dots[1] * dot * ground.arc_per_mm,
        settings.code.scan_tilt_deg,
        settings.code.max_grid_nonuniformity,
    )
    axial, axial_most = _axial(*dots, ground), GRADES[settings.code.min_axial_grade]
    in_view = arc / 2 + radians(aim) <= pi / 2
    grid = (grid_deviation(shape.rows, arc, radians(aim)) if in_view else inf) if arc else 0.0
    wide, high = (shape.columns + shape.free) * dots[0] * dot, (shape.rows + shape.free) * dots[1] * dot
    failures = []
    if arc > radians(settings.code.max_arc_deg) + EPS:
        failures.append(fact("code arc", symbol=what, arc=degrees(arc), most=settings.code.max_arc_deg))
    if grid > most + EPS and in_view:
        failures.append(fact("code grid", symbol=what, off=grid, aim=aim, most=most))
    elif grid > most + EPS:
        failures.append(fact("code out of sight", symbol=what, aim=aim, most=most))
    if axial > axial_most + EPS:
        limits = {"most": axial_most, "grade": settings.code.min_axial_grade}
        failures.append(fact("code off square", symbol=what, axial=axial, **limits))
    if high > ground.across_mm + 1e-6:
        sizes = {"height": high, "module": dots[1] * dot, "free": ground.across_mm}
        failures.append(fact("code too high", symbol=what, **sizes))
    if wide > space.room_mm + 1e-6:
        sizes = {"length": wide, "module": dots[0] * dot, "free": max(space.room_mm, 0)}
        failures.append(fact("code too long", symbol=what, **sizes))
    return shape.fit(dots, space, failures, grid, axial)


@lru_cache(maxsize=4096)
def _bars(shape: _Shape, space: _Space) -> CodeFit:
    """Return bars across the piece (rings, on a round one): neither curve nor stretch takes their widths apart."""
    ground, settings, dot, what = space.ground, space.settings, space.dot_mm, shape.named
    x = _least_dots(settings, ground.along.low)
    needed = max(settings.code.min_bar_height_mm, BAR_SHARE * shape.columns * x * dot * ground.along.high)
    dots = ceil(needed / ground.face.low / dot - 1e-6)
    all_of_it = floor(ground.across_mm / dot + 1e-6)
    high = max(all_of_it, 1) if ground.arc_per_mm or dots > all_of_it else dots
    wide, failures = (shape.columns + shape.free) * x * dot, []
    if dots > all_of_it:
        limits = {"needed": needed, "least": settings.code.min_bar_height_mm, "share": BAR_SHARE}
        failures.append(fact("bars too low", symbol=what, height=all_of_it * dot * ground.face.low, **limits))
    if wide > space.room_mm + 1e-6:
        sizes = {"length": wide, "module": x * dot, "free": max(space.room_mm, 0)}
        failures.append(fact("bars too long", symbol=what, **sizes))
    return shape.fit((x, high), space, failures)


# ---------------------------------------------------------------- what would do


def _ways(marker: Marker, best: CodeFit, codes: CodeMaker, space: _Space) -> Iterator[Fact]:
    """Yield what would let the code stand, each worked out, the smallest change first."""
    settings, finer = marker.settings, marker.settings.changed({"print.dpi": FINER_DPI})

    def first(kind: str, rule: str, there: _Space = space) -> Fact | None:
        for code in codes.symbols(kind, rule):
            found = _fit_of(code, there)
            if not found.failures:
                return fact("symbol size", rows=found.rows, columns=found.columns)
            if _no_shape_helps(found):
                break
        return None

    if settings.code.data != "marker" and (found := first("", "marker")):
        yield fact("shorter code", size=found)
    for kind in codes.others:
        if kind != settings.code.symbology and (found := first(kind, "")):
            yield fact("other symbology", kind=kind, size=found)
    if settings.print.dpi < FINER_DPI and (found := first("", "", replace(space, settings=finer))):
        yield fact("finer printer", dpi=FINER_DPI, size=found)
    if best.rows > 1 and space.ground.arc_per_mm:
        yield from _by_the_seat(marker, best, space)
    if marker.kind != "tag":
        yield fact("on the tag")


def _by_the_seat(marker: Marker, best: CodeFit, space: _Space) -> Iterator[Fact]:
    settings, ground, limit = marker.settings, space.ground, GRADES[marker.settings.code.min_axial_grade]
    most, spread = ((2 + limit) / (2 - limit)) ** 2, ground.squeeze.high / ground.squeeze.low
    if best.axial_nonuniformity > limit + EPS:
        if KINDS[marker.kind].tube == "marked" and settings.sleeve.heating != "even":
            yield fact("heat code evenly")
        elif spread > most:
            yield fact("seat known better", spread=spread, most=most)
    limits = (
        settings.code.max_grid_nonuniformity,
        radians(settings.code.scan_tilt_deg),
        radians(settings.code.max_arc_deg),
    )
    if radians(best.arc_deg) > largest_arc(best.rows, *limits) + EPS:
        least = smallest_diameter(best.rows, best.dots_per_module[1] * space.dot_mm * ground.face.high, *limits)
        yield fact("thicker part", outside=ceil(least * 10 - EPS) / 10)
