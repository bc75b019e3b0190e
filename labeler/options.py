"""What several commands share: options, the record, exact choice of markers, lines and JSON for the terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Recorded

PATIENCE_S = 1.0  # what takes longer shows how far it has come
F = TypeVar("F", bound=Callable[..., Any])


def parse_settings(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    """Return the settings given as KEY=VALUE."""
    made = {}
    for text in given:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise click.BadParameter(f"{text!r} is not KEY=VALUE")
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
RECORD = click.option(
    "--record",
    "record_path",
    metavar="PATH",
    envvar="LABELER_RECORD",
    help="The build record; default: record.sqlite in the user's data folder, or $LABELER_RECORD.",
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
UNIT = click.option("--unit", metavar="SERIAL", help="Serial of the unit.")
REASON = click.option("--reason", metavar="TEXT", required=True, help="Why; kept in the record.")


def opened_record(path: str | None, create: bool = True) -> Record:
    """Open the build record: the path given, or record.sqlite in the user's data folder."""
    from labeler.record import open_record

    if path is None:
        from platformdirs import user_data_path

        path = str(user_data_path("labeler") / "record.sqlite")
    return open_record(path, create=create)


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


def chosen_markers(
    record: Record, marker: str | None, unit: str | None, branch: str | None, sheet: str | None
) -> tuple[Recorded, ...]:
    """Find what is meant: exactly one marker where one is named, all of them where none is."""
    from labeler.errors import LabelerError, Problem, Where

    on_sheet = None
    if sheet is not None:
        job, colon, number = sheet.partition(":")
        if not (colon and job.isdecimal() and number.isdecimal()):
            raise click.BadParameter(f"{sheet!r} is not JOB:NUMBER, as in 1:3", param_hint="--sheet")
        on_sheet = (int(job), int(number))
    for name, given in (("MARKER", marker), ("--unit", unit), ("--branch", branch)):
        if given is not None and not given.strip():
            raise click.UsageError(f"{name} is empty")
    found = record.find(marker or "", unit=unit, branch=branch, sheet=on_sheet)
    asked = marker or sheet or branch or unit
    if not found:
        raise LabelerError(
            Problem(Where(record.name), f"no marker is recorded for {asked!r}", "see labeler record list and show")
        )
    if marker and len(found) > 1:
        listed = "\n".join(f"  {line}" for line in marker_lines(found))
        raise LabelerError(
            Problem(
                Where(record.name),
                f"{len(found)} markers match {asked!r}:\n{listed}\n",
                "name one by its id and --unit",
            )
        )
    return found


def marker_lines(found: Iterable[Recorded]) -> Iterable[str]:
    """Yield recorded markers as a table."""
    rows = [
        (
            item.row.id,
            f"unit {item.unit}",
            item.row.kind,
            item.row.at,
            item.row.label,
            item.row.tube and f"{item.row.tube}, {item.row.cut_length_mm:g} mm",
            f"{item.job}:{item.sheet} {item.cell}" if item.sheet else "",
            item.state + (f" {item.printed} times" if item.printed > 1 else ""),
        )
        for item in found
    ]
    return columns(("id", "unit", "kind", "place", "text", "tube", "sheet", "state"), rows)


def columns(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    """Yield rows under headings, in columns as wide as they need."""
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)]
    for row in (headings, *rows):
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
