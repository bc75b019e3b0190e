"""The options and arguments that several commands share, and what they mean: values, the record, its markers."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from labeler.cli.terminal import choose_reports, columns, marker_table, report_step, shown_progress
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


def parse_start_cells(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the start cells given as STOCK=CELL."""
    made: dict[str, str] = {}
    for text in given:
        stock, equals, cell = text.rpartition("=")
        if not equals:
            raise click.BadParameter(f"{text!r} is not STOCK=CELL, as in wrap-a4-25x18=B3")
        _cells("parse_cell", cell)
        _once(made, stock.strip(), cell.strip())
    return made


def parse_used_cells(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
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


def parse_queues(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the print queues given as QUEUE (under "") or STOCK=QUEUE."""
    made: dict[str, str] = {}
    for text in given:
        stock, printer = (part.strip() for part in text.rpartition("=")[::2])
        if not printer or printer.startswith("-"):
            raise click.BadParameter(f"{text!r} is not QUEUE or STOCK=QUEUE")
        if stock in made:
            raise click.BadParameter(f"two queues, {made[stock]!r} and {printer!r}, for {stock or 'all stocks'}")
        made[stock] = printer
    return made


def parse_printer(_: click.Context, __: click.Parameter, given: str | None) -> str | None:
    """Return the name or the path of a profile."""
    if given is not None and not given.strip():
        raise click.BadParameter("empty name: omit --printer, or give the name of a profile")
    if given is not None and not given.isprintable():
        raise click.BadParameter(f"{given!r} has characters that do not show")
    return given


def parse_measure(_: click.Context, __: click.Parameter, given: str | None) -> float | None:
    """Return what was measured [mm], written with a point or a comma, with or without its unit."""
    if given is None:
        return None
    found = re.fullmatch(r"\s*([0-9]{1,4}(?:[.,][0-9]{1,6})?)\s*(?:mm)?\s*", given)
    if not found:
        raise click.BadParameter(f"{given[:40]!r} is not a length in mm, as in 99.2")
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
    """Return a text on one line; an empty one is refused."""
    text = " ".join(given.split()) if given is not None else ""
    if given is not None and not (text and text.isprintable()):
        raise click.BadParameter("the text is empty, or holds characters that cannot be printed")
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
    click.option("--worksheet", metavar="NAME", default="", help="Worksheet to read from a workbook."),
    click.option("--harness", metavar="NAME", default="", help="Harness to read from a VEC file."),
    click.option("--variant", metavar="NAME", multiple=True, help="Module or variant to read. Can be repeated."),
    click.option(
        "--connector-names",
        type=click.Choice(["id", "alias", "description"]),
        default="id",
        help="Which name of each connector of a KBL or VEC file to print.",
    ),
    click.option("--use-label-texts", is_flag=True, help="Print the label texts of a VEC file on the markers."),
    click.option(
        "--colour-code",
        type=click.Choice(["names", "german", "mil-std-681"]),
        help="Colour code of the file, to translate to IEC 60757.",
    ),
    click.option(
        "--diameter-from",
        type=click.Choice(["wires", "area"]),
        default="wires",
        help="Where the branch diameters of a KBL or VEC file come from.",
    ),
    click.option("--column-map", metavar="FILE", type=NAMED, help="Column map of a wire list."),
    click.option("--name", metavar="TEXT", callback=_said, help="Name of the harness in a wire list or an export."),
    click.option("--part-number", metavar="TEXT", callback=_said, help="Its part number."),
    click.option("--revision", metavar="TEXT", callback=_said, help="Its revision."),
)


def _file(given: dict[str, Any]) -> HarnessFile:
    from labeler.job.order import HarnessFile
    from labeler.readers.import_report import Wanted
    from labeler.tables.catalogue import named_folders, own_folders

    for folder in (*named_folders(), *own_folders()):
        report_step(f"tables: {folder}")
    same = {field.name for field in fields(Wanted)} - {"variants", "colour_code"}
    chosen = {name: given.pop(name) for name in same if name in given}
    wanted = Wanted(variants=given.pop("variant", ()), colour_code=given.pop("colour_code", None) or "", **chosen)
    return HarnessFile(given.pop("file") if "file" in given else given["new"], given.pop("settings"), wanted)


def _loading(given: dict[str, Any]) -> Loading:
    from labeler.job.order import Loading

    stock = given.pop("stock")
    stocks = stock if isinstance(stock, tuple) else tuple(filter(None, (stock,)))
    start, used = given.pop("start_cell", {}), given.pop("used_cells", {})
    return Loading(given.pop("paper"), stocks, start, used, given.pop("use_partial_sheets", False))


def _output(given: dict[str, Any]) -> Output:
    from labeler.job.order import Output

    printer = chosen_printer(given.pop("printer"))
    folder, force, png, send = (given.pop(name) for name in ("output", "force", "png", "send_to"))
    return Output(folder, force, printer, png, send=send, track=shown_progress, dry_run=given.pop("dry_run"))


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
    from labeler.tables.printers import AS_DRAWN, load_printer, printer_file

    if not name:
        return AS_DRAWN
    report_step(f"printer profile: {printer_file(name)}")
    return load_printer(name)


SET = click.option(
    "--set",
    "settings",
    metavar="KEY=VALUE",
    multiple=True,
    callback=parse_settings,
    help="Set a default, as under [defaults]. Can be repeated.",
)
PAPER = click.option(
    "--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Paper size."
)
STOCK = click.option("--stock", metavar="NAME", multiple=True, help="Stock to print on; see labeler list stock.")
REPORTS = options(
    click.option(
        "-q", "--quiet", is_flag=True, expose_value=False, callback=choose_reports, help="Report only problems."
    ),
    click.option(
        "-v", "--verbose", is_flag=True, expose_value=False, callback=choose_reports, help="Report every step."
    ),
)
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
CSV = click.option("--csv", "as_csv", is_flag=True, help="Print comma-separated values.")
RECORD = click.option(
    "--record",
    "record_path",
    metavar="PATH",
    envvar="LABELER_RECORD",
    help="Build record: a file, or postgresql://user@host/database. "
    "Default: $LABELER_RECORD, or record.sqlite in the user's data folder.",
)
OUTPUT = click.option(
    "-o", "--output", metavar="FOLDER", type=NAMED, default=Path("out"), show_default=True, help="Folder for the files."
)
PRINTER = click.option(
    "--printer", metavar="NAME", callback=parse_printer, help="Printer profile: a name, or a TOML file."
)
START_CELL = click.option(
    "--start-cell",
    metavar="STOCK=CELL",
    multiple=True,
    callback=parse_start_cells,
    help="First free cell of the partial sheet, as in wrap-a4-25x18=B3.",
)
USED_CELLS = click.option(
    "--used-cells",
    metavar="STOCK=CELLS",
    multiple=True,
    callback=parse_used_cells,
    help="Used cells of the partial sheet, as in wrap-a4-25x18=A1-B3,D4.",
)
USE_PARTIAL_SHEETS = click.option(
    "--use-partial-sheets", is_flag=True, help="Print first on the partial sheets in the build record."
)
PNG = click.option(
    "--png",
    multiple=True,
    type=click.Choice(["sheets", "markers"]),
    help="Write black and white pictures too, at the printer's dpi. Can be repeated.",
)
SEND_TO = click.option(
    "--send-to",
    metavar="QUEUE",
    multiple=True,
    callback=parse_queues,
    help="Print queue to send the sheets to, unscaled. STOCK=QUEUE: those of one stock.",
)
FORCE = click.option("-f", "--force", is_flag=True, help="Replace existing files.")
DRY_RUN = click.option("--dry-run", is_flag=True, help="Do not record anything, write files or print.")
HARNESS = click.option("--harness", metavar="NAME", help="Part number or name of the harness.")
UNIT = click.option("--unit", metavar="SERIAL", help="Serial number of the unit.")
BRANCH = click.option("--branch", metavar="ID", help="All markers of a branch, with --unit.")
SHEET = click.option("--sheet", metavar="JOB:NUMBER", help="All markers on a sheet.")
REASON = click.option("--reason", metavar="TEXT", required=True, help="Reason, for the build record.")


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

    return open_record(_record_path(path), create=create)


@contextmanager
def record_for(output: Output, path: str | None, create: bool = True) -> Iterator[Record]:
    """Open the build record for a print; for a dry run a copy of it, which is deleted at the end."""
    if not output.dry_run:
        with opened_record(path, create) as record:
            yield record
        return
    from labeler.record import copied_record

    with copied_record(_record_path(path), create=create) as record:
        yield record


def _record_path(path: str | None) -> str:
    if path is None:
        from platformdirs import user_data_path

        path = str(user_data_path("labeler") / "record.sqlite")
    report_step(f"build record: {path}")
    return path


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
    """Return the markers named: exactly one, or all on a sheet, or all of one harness's unit.

    Where several match, a person at a terminal is asked which; elsewhere an error lists them.
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
            raise LabelerError(
                Problem(SourceLocation(where), message, "see the header of the sheet for its job and number")
            )
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
    what = f"{len(units)} harnesses match {asked!r}"
    meant = units[which_of(units, what, "name one with --harness", record.name)]
    return tuple(item for item in found if unit_name(item) == meant)


MOST_LISTED = 30  # candidates: more than a screen of them helps nobody


def which_of(lines: Sequence[str], what: str, fix: str, where: str, heads: str = "") -> int:
    """Return the index of the one chosen: the only one, or the one that a person at the terminal names.

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
