"""What several commands share: options, the record, exact choice of markers, lines and JSON for the terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from labeler.pipeline import Printed
    from labeler.pipeline.revising import Difference, Revised
    from labeler.printers import Printer
    from labeler.record.store import Record
    from labeler.record.values import MarkerRow, Recorded

PATIENCE_S = 1.0  # what takes longer shows how far it has come
F = TypeVar("F", bound=Callable[..., Any])


def parse_settings(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the settings given as KEY=VALUE."""
    made = {}
    for text in given:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            from labeler.errors import on_one_line

            raise click.BadParameter(on_one_line(f"{text!r} is not KEY=VALUE"))
        made[key.strip()] = value.strip()
    return made


def parse_starts(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the start cells given as STOCK=CELL."""
    made = {}
    for text in given:
        stock, equals, cell = text.rpartition("=")
        if not equals:
            raise click.BadParameter(f"{text!r} is not STOCK=CELL, as in wrap-a4-25x18=B3")
        made[stock.strip()] = cell.strip()
    return made


def parse_used(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Return the used cells given as STOCK=CELLS."""
    from labeler.errors import LabelerError
    from labeler.layout import parse_cells

    made: dict[str, tuple[str, ...]] = {}
    for text in given:
        stock, equals, cells = text.rpartition("=")
        try:
            named = parse_cells(cells)
        except LabelerError as error:
            raise click.BadParameter("; ".join(map(str, error.problems))) from None
        if not equals or not named:
            raise click.BadParameter(f"{text!r} is not STOCK=CELLS, as in wrap-a4-25x18=A1-B3,D4")
        made[stock.strip()] = (*made.get(stock.strip(), ()), *named)
    return made


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


def options(*options: Callable[[F], F]) -> Callable[[F], F]:
    """Return a decorator that adds several options, in this order."""

    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


FILE = click.argument("file", metavar="FILE")
READING = (
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
    click.option("--map", "column_map", metavar="FILE", type=click.Path(path_type=Path), help="Column map of a list."),
)


def reading(function: F) -> F:
    """Add the options for what a file leaves open; the command gets them as ``wanted``."""

    @wraps(function)
    def command(*args: Any, **given: Any) -> Any:
        from labeler.read.account import Wanted

        names = ("sheet", "names", "labels", "bundle", "column_map")
        chosen = {name: given.pop(name) for name in names}
        variants, colours = given.pop("variant"), given.pop("colours")
        return function(*args, wanted=Wanted(variants=variants, colours=colours or "", **chosen), **given)

    return options(*READING)(command)  # type: ignore[return-value]


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
OUT = click.option("--out", type=click.Path(path_type=Path), default=Path("out"), help="Folder for the PDF files.")
PRINTER = click.option("--printer", metavar="NAME", help="Profile of the printer: a name, or a TOML file.")
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


def opened_record(path: str | None, create: bool = True) -> Record:
    """Open the build record: the path given, or record.sqlite in the user's data folder."""
    from labeler.record import open_record

    return open_record(record_place(path), create=create)


def record_place(path: str | None) -> str:
    """Return where the build record is: as given, or record.sqlite in the user's data folder."""
    if path is not None:
        return path
    from platformdirs import user_data_path

    return str(user_data_path("labeler") / "record.sqlite")


def shown_progress(items: Sequence[Any], words: str) -> Iterable[Any]:
    """Yield what is given; on a terminal a bar shows how far it has come, once that has taken a second."""
    import sys
    from time import monotonic

    if not sys.stderr.isatty() or len(items) < 2:
        yield from items
        return
    begun, rest = monotonic(), iter(items)
    done = 0
    for item in rest:
        yield item
        done += 1
        if monotonic() - begun > PATIENCE_S:
            break
    if done < len(items):
        with click.progressbar(rest, length=len(items), label=words, file=sys.stderr) as bar:
            bar.update(done)
            yield from bar


def who() -> str:
    """Return who is logged in, or ""."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


def print_json(value: object) -> None:
    """Print a value as JSON."""
    import json

    click.echo(json.dumps(value, ensure_ascii=False, indent=1))


def warn(problems: Iterable[object]) -> None:
    """Print problems on standard error."""
    for problem in problems:
        click.echo(str(problem), err=True)


def tell(runs: Sequence[Printed], record: Record) -> None:
    """Print the files of jobs that were handed over together, and on standard error what they were."""
    for printed in runs:
        job = printed.job
        count = sum(len(sheet.placed) for sheet in printed.sheets)
        sheets = sum(1 for sheet in printed.sheets if sheet.placed)
        made = f"{count} marker{'' if count == 1 else 's'} on {sheets} sheet{'' if sheets == 1 else 's'}"
        click.echo(f"unit {job.unit}: {made}, job {job.id}", err=True)
        for fit in printed.left_out:
            click.echo(f"left out: {fit.marker.id} {fit.marker.at}: {'; '.join(fit.reasons)}", err=True)
    for stock, number, cell in runs[0].begun:
        click.echo(f"load the partly used sheet of {stock} as sheet {number}: it goes on at {cell}", err=True)
    click.echo(f"recorded in {record.name}", err=True)
    for file in runs[0].files:
        click.echo(str(file))


def chosen_printer(name: str | None) -> Printer:
    """Return the profile that is named, or that of no printer in particular."""
    from labeler.printers import AS_DRAWN, load_printer

    return load_printer(name) if name else AS_DRAWN


def tell_changes(revised: Revised, record: Record) -> None:
    """Print the files of what a new revision changed, and on standard error what must come off."""
    for one in revised.take_off:
        row = one.old or one.row
        what = "replaced" if one.new else "gone"
        click.echo(
            f"take off: {row.id} {row.branch + ' ' if row.branch else ''}{row.at} {row.label!r}: {what}", err=True
        )
    click.echo(f"{revised.unchanged} markers are unchanged", err=True)
    if revised.printed is None:
        click.echo("nothing has changed: nothing is printed", err=True)
        return
    warn(revised.printed.notes)
    tell([revised.printed], record)


def named_one_way(marker: str | None, sheet: str | None, unit: str | None, branch: str | None) -> None:
    """Refuse a command that names no marker, or a branch of no unit."""
    if marker is None and sheet is None and unit is None:
        raise click.UsageError("name a MARKER, a --sheet, or a --unit (with or without --branch)")
    if branch is not None and unit is None:
        raise click.UsageError("--branch needs --unit: a branch stands in every unit")


def sheet_named(sheet: str) -> tuple[int, int]:
    """Return the job and the number of a sheet that is named as in 1:3."""
    job, colon, number = sheet.partition(":")
    if not (colon and job.isdecimal() and number.isdecimal()):
        raise click.BadParameter(f"{sheet!r} is not JOB:NUMBER, as in 1:3", param_hint="--sheet")
    return int(job), int(number)


def chosen_markers(
    record: Record,
    marker: str | None,
    unit: str | None,
    branch: str | None,
    sheet: str | None,
    harness: str | None = None,
) -> tuple[Recorded, ...]:
    """Find what is meant: exactly one marker where one is named, else all on a sheet, or of one harness's unit.

    Where several are met, a terminal is asked which; elsewhere it is an error that lists them.
    """
    from labeler.errors import LabelerError, Problem, Where

    on_sheet = sheet_named(sheet) if sheet is not None else None
    for name, given in (("MARKER", marker), ("--unit", unit), ("--branch", branch), ("--harness", harness)):
        if given is not None and not given.strip():
            raise click.UsageError(f"{name} is empty")
    found = record.find(marker or "", unit=unit, harness=harness, branch=branch, sheet=on_sheet)
    found = tuple(item for item in found if item.state != "taken off") or found  # it is on the unit no more
    asked = marker or sheet or branch or unit
    if not found:
        where = f"{record.name}, {harness}" if harness else record.name
        near = record.near(marker or branch or "", unit=unit, harness=harness)
        message = "; ".join(filter(None, (f"no marker is recorded for {asked!r}", near.message)))
        raise LabelerError(Problem(Where(where), message, near.fix))
    if marker:
        heads, *lines = columns(*marker_table(found))
        first = found[0]
        narrow = "or narrow it with --unit, --harness or --branch"
        fix = f'name one by its unit and id, as in "{first.unit} {first.row.id}", {narrow}'
        return (found[which_of(lines, f"{len(found)} markers match {asked!r}", fix, record.name, heads)],)
    if sheet:  # of all the units that share it
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
    from labeler.errors import LabelerError, Problem, Where

    if len(lines) == 1:
        return 0
    width = len(str(min(len(lines), MOST_LISTED)))
    listed = [f"  {number:{width}}  {line}" for number, line in enumerate(lines[:MOST_LISTED], 1)]
    above = [f"  {'':{width}}  {heads}"] if heads else []
    if len(lines) > MOST_LISTED:
        listed.append(f"  and {len(lines) - MOST_LISTED} more")
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise LabelerError(Problem(Where(where), "\n".join((f"{what}:", *above, *listed, "")), fix))
    click.echo("\n".join((f"{what}:", *above, *listed)), err=True)
    answer: int = click.prompt("Which number", type=click.IntRange(1, min(len(lines), MOST_LISTED)), err=True)
    return answer - 1


TEXT_SIGNS = 60  # of a text in a table for the screen, project choice: a tag says hundreds


def marker_table(found: Iterable[Recorded], *, whole: bool = False) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the headings and the rows of a table of recorded markers; long texts end in dots unless ``whole``."""
    rows: list[tuple[str, ...]] = [
        (
            item.row.id,
            item.part_number or item.harness,
            f"unit {item.unit}",
            item.row.kind,
            place_of(item),
            item.row.label if whole or len(item.row.label) <= TEXT_SIGNS else f"{item.row.label[: TEXT_SIGNS - 1]}…",
            item.row.tube and f"{item.row.tube}, {item.row.cut_length_mm:g} mm",
            f"{item.job}:{item.sheet} {item.cell}" if item.sheet else "",
            item.state,
            str(item.printed or ""),
            str(item.voids or ""),
        )
        for item in found
    ]
    return ("id", "harness", "unit", "kind", "place", "text", "tube", "sheet", "state", "prints", "voids"), rows


def place_of(item: Recorded) -> str:
    """Return a marker's place as the sheets print it: a branch end with its branch."""
    return place_of_row(item.row)


def change_words(one: Difference) -> tuple[str, str]:
    """Return what a marker was and what it is: all of it, or of a changed one what has changed."""
    fields = one.fields or ("label", "tube", "cut_length_mm")

    def words(row: MarkerRow | None) -> str:
        values = (getattr(row, name) for name in fields) if row else ()
        return ", ".join(f"{value:g} mm" if isinstance(value, float) else value for value in values if value)

    return words(one.old), words(one.new)


def place_of_row(row: MarkerRow) -> str:
    """Return the place of a recorded or planned marker, in quotes where blanks would not show."""
    named = f"{row.branch} {row.at}" if row.role == "branch end" and row.branch != row.at else row.at
    if row.role == "wire end" and ":" not in row.at:  # at a splice or a ring
        named = f"{row.circuit} {row.at}"
    return repr(named) if named != " ".join(named.split()) else named


def unit_name(item: Recorded) -> str:
    """Return what names the unit of a marker and no other harness's unit of the same serial."""
    return f"{item.part_number or item.harness} {item.unit}"


def show_table(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]], *, as_csv: bool = False) -> None:
    """Print a table in columns, or as comma-separated values."""
    for line in csv_lines(heads, rows) if as_csv else columns(heads, rows):
        click.echo(line)


def csv_lines(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    """Yield rows under headings as comma-separated values (RFC 4180), without its carriage returns.

    A spreadsheet takes what begins with one of ``= + - @`` for a formula and runs it; such a cell gets an
    apostrophe before it, which spreadsheets take for "this is text" (common practice).
    """
    import csv
    import io

    for row in (heads, *rows):
        line = io.StringIO()
        csv.writer(line, lineterminator="").writerow(
            f"'{cell}" if cell.startswith(CONTROL) or cell.lstrip().startswith(FORMULA) else cell for cell in row
        )
        yield line.getvalue()


FORMULA, CONTROL = ("=", "+", "-", "@"), ("\t", "\r", "\n")


def columns(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    """Yield rows under headings, in columns as wide as they need."""
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)]
    for row in (headings, *rows):
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
