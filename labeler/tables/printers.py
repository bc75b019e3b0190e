"""Printer profiles: what a printer can do, and by how much its lengths are off.

A profile is a TOML file in ``printers/`` of the user's configuration folder, named after the
printer, or any file given by path::

    technology = "thermal transfer"   # laser | inkjet | thermal transfer
    dpi = 300
    unprintable_margin_mm = 2.0       # what it cannot print along every edge
    stock_kinds = ["roll", "reel"]    # kinds of stock it takes: sheet | roll | card | reel; left out, any
    max_width_mm = 108                # widest edge it takes; left out, any
    scale_x = 1.0081                  # drawn length over printed length, by labeler calibrate printer
    scale_y = 0.9960
    offset_x_mm = 0.0                 # what is drawn is moved by so much, to the right
    offset_y_mm = 0.0                 # … and upwards
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace
from math import inf
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.model import Sheet
from labeler.tables.document import LENGTH, NUMBER, TEXT, TEXTS, Form, Key, load, read_table
from labeler.tables.stocks import STOCK_KINDS

TECHNOLOGIES = ("laser", "inkjet", "thermal transfer")
MOST_OFF = 0.1  # a correction beyond 10 % is a mistake of measuring: project choice
EDGE_FREE_MM = 0.5  # of a piece carry no print: project choice, the least margin of the shipped stocks
RULER_MM = 100.0  # what the calibration page draws along and across


def _technology(value: object, key: Key) -> str:
    found: str = TEXT.read(value, Key(TEXT))
    if found not in key.allowed:
        raise ValueError(f"{found!r} is unknown", f"one of {', '.join(key.allowed)}")
    return found


def _scale(meaning: str) -> Key:
    return Key(NUMBER, meaning, 1.0081, default=1.0, low=1 - MOST_OFF, high=1 + MOST_OFF)


PRINTER = Form(
    {
        "technology": Key(
            replace(TEXT, read=_technology), "how it prints", "thermal transfer", default="", allowed=TECHNOLOGIES
        ),
        "dpi": Key(NUMBER, "its dots an inch", 300, low=100, high=4800),
        "unprintable_margin_mm": Key(LENGTH, "what it cannot print along every edge", 2.0, default=0.0, high=50),
        "stock_kinds": Key(TEXTS, "kinds of stock it takes; left out, any", ["roll"], allowed=STOCK_KINDS),
        "max_width_mm": Key(LENGTH, "widest edge it takes; left out, any", 108, high=5000),
        "scale_x": _scale("drawn length over printed length, along x"),
        "scale_y": _scale("drawn length over printed length, along y"),
        "offset_x_mm": Key(
            LENGTH, "what is drawn is moved by so much to the right", 0.0, default=0.0, low=-50, high=50
        ),
        "offset_y_mm": Key(LENGTH, "what is drawn is moved by so much upwards", 0.0, default=0.0, low=-50, high=50),
    }
)


@dataclass(frozen=True, slots=True)
class Printer:
    """A printer's profile. ``technology`` is ``""`` where it is not said."""

    name: str = ""
    technology: str = ""
    dpi: float | None = None
    unprintable_margin_mm: float = 0.0
    scale_x: float = 1.0
    scale_y: float = 1.0
    offset_x_mm: float = 0.0
    offset_y_mm: float = 0.0
    stock_kinds: tuple[str, ...] = ()  # kinds of stock; (): any
    max_width_mm: float = 0.0  # 0: any


AS_DRAWN = Printer()
"""No printer in particular: nothing is refused, nothing is corrected."""


def printer_file(name: str) -> Path:
    """Return the file of a profile: the path itself where one is given, else in the user's folder."""
    if name.endswith(".toml") or "/" in name or "\\" in name:
        return Path(name)
    return printer_folder() / f"{name}.toml"


def printer_folder() -> Path:
    """Return the folder of the user's own profiles."""
    from platformdirs import user_config_path

    return user_config_path("labeler") / "printers"


def printer_profiles() -> tuple[Path, ...]:
    """Return the files of the user's own profiles, by name."""
    return tuple(sorted(printer_folder().glob("*.toml")))


def load_printer(name: str) -> Printer:
    """Return the profile of this name or path. Raises `LabelerError` with every problem of it."""
    path = printer_file(name)
    if not path.is_file():
        fix = "write one (README, Printers), or make it with labeler calibrate printer"
        raise LabelerError(Problem(SourceLocation(str(path)), f"there is no profile of the printer {name!r}", fix))
    document = load(path, str(path))
    read = read_table(document, PRINTER)
    refuse(read.problems)
    return Printer(name=path.stem, **read.values)


def printer_problems(printer: Printer, sheets: Iterable[Sheet]) -> Iterator[Problem]:
    """Yield why sheets may not or cannot be printed there.

    Flat heat-shrink tube never goes through a laser printer: its fuser would shrink it inside.
    Nothing may stand where the printer does not print. What it does not feed is for another printer, and told
    as a warning, unless it feeds nothing of it all.
    """
    if printer == AS_DRAWN:
        return
    where, sheets = SourceLocation(printer.name), tuple(sheets)
    told: set[str] = set()
    some_fed = any(not _not_fed(printer, sheet) for sheet in sheets)
    for sheet in sheets:
        stock = sheet.stock
        if printer.technology == "laser" and stock.marker == "sleeve" and "laser" not in told:
            told.add("laser")
            text = f"{stock.name} is flat heat-shrink tube, and this is a laser printer: its fuser shrinks it inside"
            yield Problem(where, text, "print sleeves by thermal transfer, or mark with wraps")
        problem = _sheet_problem(printer, sheet, where, some_fed) if stock.name not in told else None
        if problem:
            told.add(stock.name)
            yield problem


def _sheet_problem(printer: Printer, sheet: Sheet, where: SourceLocation, some_fed: bool) -> Problem | None:
    """Return why a sheet may not be printed there as it is, None where it may."""
    name, why = sheet.stock.name, _not_fed(printer, sheet)
    if why and some_fed:
        fix = "print it elsewhere, or choose another stock (--stock)"
        return Problem(where, f"{why}: it is drawn without the profile", fix, warning=True)
    if why:
        return Problem(where, why, "choose another stock or printer (--stock, --printer)")
    past = _past_edge(printer, sheet)
    if past > EDGE_FREE_MM:
        text = f"its scale and offset would draw {name} {past:.1f} mm past the edge of its page"
        return Problem(
            where, text, "measure the printer anew (labeler calibrate printer), or choose another stock or printer"
        )
    short = _beyond(printer, sheet)
    if sheet.stock.kind == "reel" or short == inf:  # on a reel the piece is the page
        return None
    text = f"{name} is printed to {short:.1f} mm from the edge, the printer leaves {printer.unprintable_margin_mm:g} mm"
    return Problem(where, text, "choose another stock or printer, or a start cell farther in")


def printer_of(printer: Printer, sheets: Iterable[Sheet]) -> Printer:
    """Return the printer for sheets of one stock: none in particular where this one does not feed them."""
    return AS_DRAWN if any(_not_fed(printer, sheet) for sheet in sheets) else printer


def _not_fed(printer: Printer, sheet: Sheet) -> str:
    """Return why the printer does not feed a sheet, "" if it does; the narrower edge may go first."""
    stock, edge = sheet.stock, min(sheet.width_mm, sheet.height_mm)
    if stock.kind in ("roll", "reel"):  # which go in as they are: across is the liner, or the tube's lay-flat width
        edge = sheet.width_mm if stock.kind == "roll" else sheet.height_mm
    if printer.stock_kinds and stock.kind not in printer.stock_kinds:
        return f"{stock.name} is a {stock.kind}, and the printer feeds {', '.join(printer.stock_kinds)}"
    if printer.max_width_mm and edge > printer.max_width_mm + 1e-6:
        return f"{stock.name} is {edge:.1f} mm wide, and the printer feeds {printer.max_width_mm:g} mm"
    return ""


def _beyond(printer: Printer, sheet: Sheet) -> float:
    """Return the least distance of a piece from the page's edge where it is under the border, else infinity.

    A roll has borders along its liner alone: a printer of rolls prints from one label into the next.
    """
    across = [min(placed.x_mm, sheet.width_mm - placed.x_mm - placed.piece.face.width_mm) for placed in sheet.placed]
    down = [min(placed.y_mm, sheet.height_mm - placed.y_mm - placed.piece.face.height_mm) for placed in sheet.placed]
    least = min((*across, *(down if sheet.stock.kind != "roll" else ())), default=inf)
    return least if least < printer.unprintable_margin_mm - 1e-6 else inf


def _past_edge(printer: Printer, sheet: Sheet) -> float:
    """Return by how much the correction moves a piece past the edge of its page [mm]; 0 and less: by nothing."""
    p, past = printer, 0.0
    own = sheet.stock.kind == "reel"  # its page grows with what lies on it, see labeler.draw.pens.Page
    for placed in sheet.placed:
        face = placed.piece.face
        along = (placed.x_mm, face.width_mm, sheet.width_mm, p.scale_x, p.offset_x_mm, own)
        across = (placed.y_mm, face.height_mm, sheet.height_mm, p.scale_y, p.offset_y_mm, False)
        for low, size, page, scale, offset, grows in (along, across):
            moved = offset + (0.0 if grows else (1 - scale) * page / 2)  # about the middle of a sheet
            first, last = (at * scale + moved for at in (low, low + size))
            past = max(past, -first, last - (page * scale if grows else page))
    return past


def measured(printer: Printer, x_mm: float | None, y_mm: float | None) -> Printer:
    """Return the profile corrected by what the calibration page's 100 mm rulers measured, along x and y.

    The page was printed with the profile as it was, so corrections multiply. Raises `LabelerError`
    for a measure that is off by more than 10 %, and for a correction that would be.

    >>> measured(Printer(), 99.2, 100.4).scale_x
    1.008065
    """
    changes: dict[str, Any] = {}
    problems = []
    for axis, value in (("x", x_mm), ("y", y_mm)):
        if value is None:
            continue
        where, key = SourceLocation(f"--measured-{axis}"), f"scale_{axis}"
        before = getattr(printer, key)
        if not abs(value - RULER_MM) <= MOST_OFF * RULER_MM:  # nor a number at all
            text = f"{value:g} mm for a ruler of {RULER_MM:g} mm is off by more than {MOST_OFF:.0%}"
            problems.append(Problem(where, text, "measure from the first tick to the last"))
        elif abs(RULER_MM / value * before - 1) > MOST_OFF:
            text = f"{value:g} mm makes {key} {RULER_MM / value * before:.4g}, before {before:g}; it must be"
            fix = f"measure a page that was drawn with {key} = {before:g}"
            problems.append(Problem(where, f"{text} {1 - MOST_OFF:g} to {1 + MOST_OFF:g}", fix))
        else:
            changes[key] = round(before * RULER_MM / value, 6)
    refuse(problems)
    return replace(printer, **changes)


def profile_text(printer: Printer) -> str:
    """Return a profile as TOML; what is as usual is left out."""
    usual = Printer()
    lines = [f"# Printer profile {printer.name}: see README, Printers."]
    for key in fields(Printer):
        value = getattr(printer, key.name)
        if key.name != "name" and value != getattr(usual, key.name):
            lines.append(f"{key.name} = {json.dumps(value, ensure_ascii=False)}")  # these are written as in TOML
    return "\n".join(lines) + "\n"


def corrected_text(text: str, printer: Printer) -> str:
    """Return the text of a profile with the printer's scales in it; what else somebody wrote there stays.

    Where the scales are not written as usual, all of it is written anew.
    """
    scales = {key: getattr(printer, key) for key in ("scale_x", "scale_y")}
    made = text
    for key, value in scales.items():
        made, count = re.subn(rf"(?m)^([ \t]*{key}[ \t]*=[ \t]*)[^\s#]+", rf"\g<1>{value!r}", made)
        if not count:
            made = "\n".join(filter(None, (made.rstrip(), f"{key} = {value!r}\n")))
    try:
        right = tomllib.loads(made) == {**tomllib.loads(text), **scales}
    except tomllib.TOMLDecodeError:
        right = False
    return made if right else profile_text(printer)
