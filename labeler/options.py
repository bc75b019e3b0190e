"""What several commands share: options, the record, exact choice of markers, lines and JSON for the terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Recorded

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
RECORD = click.option(
    "--record",
    "record_path",
    metavar="PATH",
    envvar="LABELER_RECORD",
    help="The build record; default: record.sqlite in the user's data folder, or $LABELER_RECORD.",
)
OUT = click.option("--out", type=click.Path(path_type=Path), default=Path("out"), help="Folder for the PDF files.")
PRINTER = click.option("--printer", metavar="NAME", help="Profile of the printer: a name, or a TOML file.")
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
