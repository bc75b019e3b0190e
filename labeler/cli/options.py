"""The options and arguments that several commands share, and what they mean: values, the record, its markers."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from labeler.cli.terminal import columns, marker_table, shown_progress
from labeler.errors import LabelerError, Problem, SourceLocation, on_one_line

if TYPE_CHECKING:
    from labeler.job.order import HarnessFile, Loading, Output
    from labeler.record.store import Record
    from labeler.record.values import Recorded
    from labeler.tables.printers import Printer


F = TypeVar("F", bound=Callable[..., Any])


def parse_settings(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the settings given as KEY=VALUE."""
    made: dict[str, str] = {}
    for text in given:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise click.BadParameter(on_one_line(f"{text!r} is not KEY=VALUE"))
        _once(made, key.strip(), value.strip())
    return made


def parse_starts(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the start cells given as STOCK=CELL."""
    made: dict[str, str] = {}
    for text in given:
        stock, equals, cell = text.rpartition("=")
        if not equals:
            raise click.BadParameter(f"{text!r} is not STOCK=CELL, as in wrap-a4-25x18=B3")
        _cells("parse_cell", cell)
        _once(made, stock.strip(), cell.strip())
    return made


def parse_used(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Return the used cells given as STOCK=CELLS."""
    made: dict[str, tuple[str, ...]] = {}
    for text in given:
        stock, equals, cells = text.rpartition("=")
        named = _cells("parse_cells", cells)
        if not equals or not named:
            raise click.BadParameter(f"{text!r} is not STOCK=CELLS, as in wrap-a4-25x18=A1-B3,D4")
        made[stock.strip()] = (*made.get(stock.strip(), ()), *named)
    return made


def _cells(reader: str, text: str) -> Any:
    """Return what a function of `labeler.layout.cells` reads. Raises `click.BadParameter` for what are no cells."""
    from labeler.layout import cells

    try:
        return getattr(cells, reader)(text)
    except LabelerError as error:
        raise click.BadParameter("; ".join(map(str, error.problems))) from None


def _once(made: dict[str, str], key: str, value: str) -> None:
    """Add what is given for a key. Raises `click.BadParameter` where it is given twice, and not alike."""
    if made.setdefault(key, value) != value:
        raise click.BadParameter(on_one_line(f"{key} is given twice, as {made[key]!r} and {value!r}"))


def parse_send(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the printers given as PRINTER (under "") or STOCK=PRINTER."""
    made: dict[str, str] = {}
    for text in given:
        stock, printer = (part.strip() for part in text.rpartition("=")[::2])
        if not printer or printer.startswith("-"):
            raise click.BadParameter(f"{text!r} is not PRINTER or STOCK=PRINTER")
        if stock in made:
            raise click.BadParameter(f"two printers, {made[stock]!r} and {printer!r}, for {stock or 'all stocks'}")
        made[stock] = printer
    return made


def parse_printer(_: click.Context, __: click.Parameter, given: str | None) -> str | None:
    """Return the name or the path of a profile."""
    if given is not None and not given.strip():
        raise click.BadParameter("the name is empty; leave the option out to print for no printer in particular")
    if given is not None and not given.isprintable():
        raise click.BadParameter(f"{given!r} has signs that do not show")
    return given


def parse_measure(_: click.Context, __: click.Parameter, given: str | None) -> float | None:
    """Return what was measured [mm], written with a point or a comma, with or without its unit."""
    if given is None:
        return None
    found = re.fullmatch(r"\s*([0-9]{1,4}(?:[.,][0-9]{1,6})?)\s*(?:mm)?\s*", given)
    if not found:
        raise click.BadParameter(f"{given[:40]!r} is no length in mm, as in 99.2")
    return float(found[1].replace(",", "."))


def options(*options: Callable[[F], F]) -> Callable[[F], F]:
    """Return a decorator that adds several options, in this order."""

    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def gathered(name: str, make: Callable[[dict[str, Any]], object]) -> Callable[[F], F]:
    """Return a decorator: a command gets as ``name`` what is made of some of its options, which ``make`` takes out."""

    def decorate(function: F) -> F:
        @wraps(function)
        def command(*args: Any, **given: Any) -> Any:
            value = make(given)
            return function(*args, **{name: value}, **given)

        return cast(F, command)

    return decorate


def _said(_: click.Context, __: click.Parameter, given: str | None) -> str:
    """Return a text on one line; one that says nothing is refused."""
    text = " ".join(given.split()) if given is not None else ""
    if given is not None and not (text and text.isprintable()):
        raise click.BadParameter("it says nothing, or holds signs that cannot be printed")
    return text


class _Named(click.Path):
    """A file or folder that has a name: an empty one, of a variable that is not set, would be the folder one is in."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not os.fspath(value).strip():
            self.fail("the name is empty", param, ctx)
        return super().convert(value, param, ctx)


NAMED = _Named(path_type=Path)
FILE = click.argument("file", metavar="FILE")
READING = options(
    click.option("--sheet", metavar="NAME", default="", help="Sheet of a workbook, harness of a VEC."),
    click.option(
        "--variant", metavar="NAME", multiple=True, help="Module or variant to read; may be given several times."
    ),
    click.option(
        "--names", type=click.Choice(["id", "alias", "description"]), default="id", help="Names of connectors."
    ),
    click.option("--labels", is_flag=True, help="Label texts of a VEC become the markers' texts."),
    click.option("--colours", type=click.Choice(["words", "german", "digits"]), help="Translate colours to IEC 60757."),
    click.option(
        "--bundle", type=click.Choice(["wires", "area"]), default="wires", help="Diameters of KBL, VEC branches."
    ),
    click.option("--map", "column_map", metavar="FILE", type=NAMED, help="Column map of a list."),
    click.option("--name", metavar="TEXT", callback=_said, help="Name of the harness of a list or an export."),
    click.option("--part-number", metavar="TEXT", callback=_said, help="Its part number."),
    click.option("--revision", metavar="TEXT", callback=_said, help="Its revision."),
)


def _file(given: dict[str, Any]) -> HarnessFile:
    from labeler.job.order import HarnessFile
    from labeler.readers.import_report import Wanted

    names = ("sheet", "names", "labels", "bundle", "column_map", "name", "part_number", "revision")
    chosen = {name: given.pop(name) for name in names if name in given}
    wanted = Wanted(variants=given.pop("variant", ()), colours=given.pop("colours", None) or "", **chosen)
    return HarnessFile(given.pop("file") if "file" in given else given["new"], given.pop("settings"), wanted)


def _loading(given: dict[str, Any]) -> Loading:
    from labeler.job.order import Loading

    stock = given.pop("stock")
    stocks = stock if isinstance(stock, tuple) else tuple(filter(None, (stock,)))
    start, used, partial_sheets = given.pop("start", {}), given.pop("used", {}), given.pop("go_on", False)
    return Loading(given.pop("paper"), stocks, start, used, partial_sheets)


def _output(given: dict[str, Any]) -> Output:
    from labeler.job.order import Output

    printer = chosen_printer(given.pop("printer"))
    folder, force, png, send = (given.pop(name) for name in ("out", "force", "png", "send"))
    return Output(folder, force, printer, png, send=send, track=shown_progress)


def _form(given: dict[str, Any]) -> str:
    as_json, as_csv = given.pop("as_json"), given.pop("as_csv")
    return "json" if as_json else "csv" if as_csv else ""


harness_file = gathered("file", _file)
"""The command gets FILE, or NEW, with what is set and what the file leaves open (`READING`) as ``file``."""
loading = gathered("loading", _loading)
"""The command gets what is loaded into the printer as ``loading``."""
output = gathered("output", _output)
"""The command gets where files, pictures and sheets go as ``output``."""
form = gathered("form", _form)
"""The command gets "json", "csv" or "" as ``form``."""


def chosen_printer(name: str | None) -> Printer:
    """Return the profile that is named, or that of no printer in particular."""
    from labeler.tables.printers import AS_DRAWN, load_printer

    return load_printer(name) if name else AS_DRAWN


SET = click.option(
    "--set",
    "settings",
    metavar="KEY=VALUE",
    multiple=True,
    callback=parse_settings,
    help="Set a default of the harness, as under [defaults]; may be given several times.",
)
PAPER = click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", help="Size of the sheets.")
STOCK = click.option("--stock", metavar="NAME", multiple=True, help="Stock to print on; see labeler stock.")
JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
CSV = click.option("--csv", "as_csv", is_flag=True, help="Comma-separated values, for a spreadsheet.")
RECORD = click.option(
    "--record",
    "record_path",
    metavar="PATH",
    envvar="LABELER_RECORD",
    help="The build record: a file, or postgresql://user@host/database; "
    "default: record.sqlite in the user's data folder, or $LABELER_RECORD.",
)
OUT = click.option("--out", type=NAMED, default=Path("out"), help="Folder for the files.")
PRINTER = click.option(
    "--printer", metavar="NAME", callback=parse_printer, help="Profile of the printer: a name, or a TOML file."
)
START = click.option(
    "--start",
    metavar="STOCK=CELL",
    multiple=True,
    callback=parse_starts,
    help="First free cell of a sheet that is partly used, as in wrap-a4-25x18=B3.",
)
USED = click.option(
    "--used",
    metavar="STOCK=CELLS",
    multiple=True,
    callback=parse_used,
    help="Used cells of the first sheet, singly or as blocks, as in wrap-a4-25x18=A1-B3,D4.",
)
GO_ON = click.option("--go-on", is_flag=True, help="Go on with the partly used sheets that the record knows.")
PNG = click.option(
    "--png",
    multiple=True,
    type=click.Choice(["sheets", "pieces"]),
    help="Also pictures at the printer's dots, black and white; may be given twice.",
)
SEND = click.option(
    "--send",
    metavar="PRINTER",
    multiple=True,
    callback=parse_send,
    help="Hand the sheets to this printer of the system, unscaled; STOCK=PRINTER for those of one stock.",
)
FORCE = click.option("--force", is_flag=True, help="Replace files that exist.")
HARNESS = click.option("--harness", metavar="NAME", help="Part number or name, where several harnesses have the unit.")
UNIT = click.option("--unit", metavar="SERIAL", help="Serial of the unit.")
BRANCH = click.option("--branch", metavar="ID", help="All markers of a branch (with --unit).")
SHEET = click.option("--sheet", metavar="JOB:NUMBER", help="A whole sheet.")
REASON = click.option("--reason", metavar="TEXT", required=True, help="Why; kept in the record.")


# ---------------------------------------------------------------- the record, and which of its markers are named


@dataclass(frozen=True, slots=True)
class Target:
    """Which recorded markers a command line names: one, or all of a sheet, a unit, or a branch of a unit."""

    marker: str | None = None
    unit: str | None = None
    branch: str | None = None
    sheet: str | None = None  # as in 1:3
    harness: str | None = None

    @property
    def on_sheet(self) -> tuple[int, int] | None:
        """Return the job and the number of the sheet that is named. Raises `click.BadParameter`."""
        if self.sheet is None:
            return None
        found = re.fullmatch(r"\s*([0-9]{1,9}):([0-9]{1,9})\s*", self.sheet)
        if not found:
            raise click.BadParameter(f"{self.sheet[:40]!r} is not JOB:NUMBER, as in 1:3", param_hint="--sheet")
        return int(found[1]), int(found[2])


def _target(given: dict[str, Any]) -> Target:
    found = Target(*(given.pop(name) for name in ("marker", "unit", "branch", "sheet", "harness")))
    if found.marker is None and found.sheet is None and found.unit is None:
        raise click.UsageError("name a MARKER, a --sheet, or a --unit (with or without --branch)")
    if found.branch is not None and found.unit is None:
        raise click.UsageError("--branch needs --unit: a branch stands in every unit")
    return found


target = gathered("target", _target)
"""The command gets which markers are named as ``target``."""


def opened_record(path: str | None, create: bool = True) -> Record:
    """Open the build record: the path given, or record.sqlite in the user's data folder."""
    from labeler.record import open_record

    if path is None:
        from platformdirs import user_data_path

        path = str(user_data_path("labeler") / "record.sqlite")
    return open_record(path, create=create)


def who() -> str:
    """Return who is logged in, or ""."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


def job_named(about: str) -> int | None:
    """Return the job that is named as in job:3, None for another name."""
    found = re.fullmatch(r"job:([0-9]{1,9})", about)
    return int(found[1]) if found else None


def chosen_markers(record: Record, of: Target) -> tuple[Recorded, ...]:
    """Find what is meant: exactly one marker where one is named, else all on a sheet, or of one harness's unit.

    Where several are met, a terminal is asked which; elsewhere it is an error that lists them.
    """
    marker, unit, branch, harness, on_sheet = of.marker, of.unit, of.branch, of.harness, of.on_sheet
    for name, given in (("MARKER", marker), ("--unit", unit), ("--branch", branch), ("--harness", harness)):
        if given is not None and not given.strip():
            raise click.UsageError(f"{name} is empty")
    found = record.find(marker or "", unit=unit, harness=harness, branch=branch, sheet=on_sheet)
    found = tuple(item for item in found if item.state != "removed") or found  # it is on the unit no more
    asked = marker or of.sheet or branch or unit
    if not found:
        where = f"{record.name}, {harness}" if harness else record.name
        if on_sheet is not None and not marker:
            message = f"job {on_sheet[0]} has no sheet {on_sheet[1]} with markers on it"
            raise LabelerError(Problem(SourceLocation(where), message, "the head of a sheet says its job and number"))
        near = record.suggestion_for(marker or branch or "", unit=unit, harness=harness)
        message = "; ".join(filter(None, (f"no marker is recorded for {asked!r}", near.message)))
        raise LabelerError(Problem(SourceLocation(where), message, near.fix))
    if marker:
        heads, *lines = columns(*marker_table(found))
        first = found[0]
        narrow = "or narrow it with --unit, --harness or --branch"
        if len({item.row.kind for item in found}) > 1:
            narrow = f'or by its kind, as in "{first.unit} {first.row.kind} {first.row.place}", {narrow}'
        fix = f'name one by its unit and id, as in "{first.unit} {first.row.id}", {narrow}'
        return (found[which_of(lines, f"{len(found)} markers match {asked!r}", fix, record.name, heads)],)
    if of.sheet:  # of all the units that share it
        return found
    units = list(dict.fromkeys(map(unit_name, found)))
    what = f"{len(units)} harnesses have what {asked!r} names"
    meant = units[which_of(units, what, "name one with --harness", record.name)]
    return tuple(item for item in found if unit_name(item) == meant)


MOST_LISTED = 30  # candidates: more than a screen of them helps nobody


def which_of(lines: Sequence[str], what: str, fix: str, where: str, heads: str = "") -> int:
    """Return which of several is meant, counted from 0: the only one, or the one a person at the terminal names.

    Raises `LabelerError` with the numbered lines where nobody can be asked.
    """
    if len(lines) == 1:
        return 0
    width = len(str(min(len(lines), MOST_LISTED)))
    listed = [f"{what}:", *([f"  {'':{width}}  {heads}"] if heads else [])]
    listed += [f"  {number:{width}}  {line}" for number, line in enumerate(lines[:MOST_LISTED], 1)]
    if len(lines) > MOST_LISTED:
        listed.append(f"  and {len(lines) - MOST_LISTED} more")
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise LabelerError(Problem(SourceLocation(where), "\n".join((*listed, "")), fix))
    click.echo("\n".join(listed), err=True)
    answer: int = click.prompt("Which number", type=click.IntRange(1, min(len(lines), MOST_LISTED)), err=True)
    return answer - 1


def unit_name(item: Recorded) -> str:
    """Return what names the unit of a marker and no other harness's unit of the same serial."""
    return f"{item.part_number or item.harness} {item.unit}"
