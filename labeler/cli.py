"""The command line. Results go to standard output, talk to standard error.

Exit status: 0 done, 1 something is wrong with the data, 2 wrong use. Everything heavy is imported
inside the commands, so that help appears at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from labeler.model import Fit
    from labeler.pipeline import Printed
    from labeler.record.store import Record
    from labeler.record.values import Recorded

F = TypeVar("F", bound=Callable[..., Any])
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads: its threads only cost time on small work
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class _Commands(click.Group):
    """Turns wrong data into lines on standard error and exit status 1 (or 2 for wrong use)."""

    def invoke(self, ctx: click.Context) -> Any:
        from labeler.errors import LabelerError, WrongUse

        try:
            return super().invoke(ctx)
        except LabelerError as error:
            for problem in error.problems:
                click.echo(str(problem), err=True)
            ctx.exit(2 if isinstance(error, WrongUse) else 1)
        except BrokenPipeError:  # the reader has gone: nothing to say, and nobody to say it to
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)
        except OSError as error:
            click.echo(f"{error.filename or 'standard output'}: cannot be written ({error.strerror})", err=True)
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)


def _version(ctx: click.Context, _: click.Parameter, asked: bool) -> None:
    if asked:
        from labeler.pipeline import version

        click.echo(f"labeler {version()}")
        ctx.exit()


@click.group(cls=_Commands, context_settings=CONTEXT)
@click.option("--version", is_flag=True, is_eager=True, expose_value=False, callback=_version, help="Show the version.")
def main() -> None:
    """Print the matched identification of a wiring harness, checked to read after shrinking.

    \b
    labeler print boat.toml      sleeves, wire markers, bag tags and the bench sheet
    labeler check boat.toml      does every text fit and read?
    labeler reprint 7KQ2M9AX     one lost marker, from the build record
    """


# ---------------------------------------------------------------- options that several commands share


def _setting(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    made = {}
    for text in given:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            raise click.BadParameter(f"{text!r} is not KEY=VALUE")
        made[key.strip()] = value.strip()
    return made


def _start(_: click.Context, __: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    made = {}
    for text in given:
        stock, equals, cell = text.rpartition("=")
        if not equals:
            raise click.BadParameter(f"{text!r} is not STOCK=CELL, as in wrap-a4-25x18=B3")
        made[stock.strip()] = cell.strip()
    return made


def _options(*options: Callable[[F], F]) -> Callable[[F], F]:
    def decorate(function: F) -> F:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


_FILE = click.argument("file", metavar="FILE")
_SET = click.option(
    "--set",
    "settings",
    metavar="KEY=VALUE",
    multiple=True,
    callback=_setting,
    help="Set a default of the harness, as under [defaults]; may be given several times.",
)
_PAPER = click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", help="Size of the sheets.")
_STOCK = click.option("--stock", metavar="NAME", multiple=True, help="Stock to print on; see labeler stock.")
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
_RECORD = click.option(
    "--record",
    "record_path",
    metavar="PATH",
    envvar="LABELER_RECORD",
    help="The build record; default: record.sqlite in the user's data folder, or $LABELER_RECORD.",
)
_OUT = click.option("--out", type=click.Path(path_type=Path), default=Path("out"), help="Folder for the PDF files.")
_FORCE = click.option("--force", is_flag=True, help="Replace files that exist.")
_UNIT = click.option("--unit", metavar="SERIAL", help="Serial of the unit.")
_REASON = click.option("--reason", metavar="TEXT", required=True, help="Why; kept in the record.")


def _open_record(path: str | None, create: bool = True) -> Record:
    from labeler.record import open_record

    if path is None:
        from platformdirs import user_data_path

        path = str(user_data_path("labeler") / "record.sqlite")
    return open_record(path, create=create)


def _who() -> str:
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


def _print_json(value: object) -> None:
    import json

    click.echo(json.dumps(value, ensure_ascii=False, indent=1))


def _warn(problems: Iterable[object]) -> None:
    for problem in problems:
        click.echo(str(problem), err=True)


# ---------------------------------------------------------------- the job


@main.command("check")
@_options(_FILE, _SET, _PAPER, _STOCK, _JSON)
@click.option("--explain", metavar="MARKER", help="Walk through one marker: its id, place, or text.")
def check_command(
    file: str, settings: dict[str, str], paper: str, stock: tuple[str, ...], as_json: bool, explain: str | None
) -> None:
    """Say for every marker of FILE whether its text will read, and why not.

    Exit status 1 when something does not fit. Example: labeler check examples/survey-boat.toml
    """
    from labeler import report
    from labeler.pipeline import check

    checked = check(file, settings=settings, paper=paper, stock=stock)
    if explain:
        from labeler.explain import explain as steps

        for fit in _named(checked.fits, explain):
            for line in steps(fit):
                click.echo(line)
    elif as_json:
        _print_json(report.as_json(checked))
    else:
        _warn(checked.notes)
        for line in report.table(checked.fits):
            click.echo(line)
        click.echo(report.summary(checked), err=True)
    if checked.misfits:
        raise SystemExit(1)


def _named(fits: Sequence[Fit], name: str) -> list[Fit]:
    """Return the markers of this id or place, else those whose text has it."""
    from labeler.errors import Problem, Where, WrongUse

    word = name.casefold()
    found = [f for f in fits if word in (f.marker.id.casefold(), f.marker.at.casefold())]
    found = found or [f for f in fits if word in " ".join(f.lines or f.marker.text).casefold()]
    if not found:
        fix = "take an id or a place of labeler check"
        raise WrongUse(Problem(Where("--explain"), f"no marker is called {name!r}", fix))
    return found


@main.command("print")
@_options(_FILE, _OUT, _UNIT)
@click.option("--units", type=click.IntRange(1, 10000), metavar="N", help="So many units, each with the next serial.")
@click.option("--serials", metavar="FROM-TO", help="Units of these serials, as in 0001-0025.")
@_options(_SET, _PAPER, _STOCK)
@click.option(
    "--start",
    metavar="STOCK=CELL",
    multiple=True,
    callback=_start,
    help="First free cell of a sheet that is partly used, as in wrap-a4-25x18=B3.",
)
@click.option("--leave-out", is_flag=True, help="Print what fits and list what does not.")
@_options(_RECORD, _FORCE)
def print_command(
    file: str,
    out: Path,
    unit: str | None,
    units: int | None,
    serials: str | None,
    settings: dict[str, str],
    paper: str,
    stock: tuple[str, ...],
    start: dict[str, str],
    leave_out: bool,
    record_path: str | None,
    force: bool,
) -> None:
    """Print the whole set of one unit of FILE, or of several, as PDF sheets, and record it.

    Nothing is printed while a marker does not fit. Example: labeler print examples/survey-boat.toml
    """
    from datetime import date

    from labeler.pipeline import print_harness

    with _open_record(record_path) as record:
        for serial in _serials(unit, units, serials):
            printed = print_harness(
                file,
                out,
                record,
                settings=settings,
                paper=paper,
                stock=stock,
                start=start,
                unit=serial,
                leave_out=leave_out,
                force=force,
                who=_who(),
                date=date.today().isoformat(),
            )
            _warn(printed.notes)
            _tell(printed, record)
            start = {}  # the sheet that was partly used is full now


def _serials(unit: str | None, units: int | None, serials: str | None) -> list[str | None]:
    """Return the serial of every unit to print; None: the next one."""
    if sum(given is not None for given in (unit, units, serials)) > 1:
        raise click.UsageError("give one of --unit, --units and --serials")
    if serials is None:
        return [None] * units if units else [unit]
    first, dash, last = (part.strip() for part in serials.partition("-"))
    if not (dash and first.isdecimal() and last.isdecimal() and int(first) <= int(last) < int(first) + 10000):
        raise click.BadParameter(f"{serials!r} is not FROM-TO, as in 0001-0025", param_hint="--serials")
    return [f"{number:0{len(first)}d}" for number in range(int(first), int(last) + 1)]


def _tell(printed: Printed, record: Record) -> None:
    job = printed.job
    count = sum(len(sheet.placed) for sheet in printed.sheets)
    sheets = len(printed.sheets)
    made = f"{count} marker{'' if count == 1 else 's'} on {sheets} sheet{'' if sheets == 1 else 's'}"
    click.echo(f"unit {job.unit}: {made}, job {job.id}", err=True)
    for fit in printed.left_out:
        click.echo(f"left out: {fit.marker.id} {fit.marker.at}: {'; '.join(fit.reasons)}", err=True)
    click.echo(f"recorded in {record.name}", err=True)
    for file in printed.files:
        click.echo(str(file))


@main.command("reprint")
@click.argument("marker", metavar="MARKER", required=False)
@click.option("--unit", metavar="SERIAL", help="Of this unit; alone: all of it.")
@click.option("--branch", metavar="ID", help="All markers of a branch (with --unit).")
@click.option("--sheet", metavar="JOB:NUMBER", help="A spoiled sheet, every marker in its own cell again.")
@_REASON
@click.option("--stock", metavar="NAME", default="", help="Onto another stock than the first time.")
@click.option("--start", metavar="CELL", default="", help="First free cell, as in B3.")
@_options(_OUT, _RECORD, _FORCE)
def reprint_command(
    marker: str | None,
    unit: str | None,
    branch: str | None,
    sheet: str | None,
    reason: str,
    stock: str,
    start: str,
    out: Path,
    record_path: str | None,
    force: bool,
) -> None:
    """Print one recorded MARKER again, exactly: by its id, "UNIT PLACE", a place, or part of its text.

    With --sheet, --branch or --unit alone: a spoiled sheet, a branch, a whole unit.
    Example: labeler reprint "0001 J4" --reason lost
    """
    from labeler.pipeline import reprint

    if not (marker or sheet or unit):
        raise click.UsageError("name a MARKER, a --sheet, or a --unit (with or without --branch)")
    if branch and not unit:
        raise click.UsageError("--branch needs --unit: a branch stands in every unit")
    with _open_record(record_path, create=False) as record:
        items = _chosen(record, marker, unit, branch, sheet)
        printed = reprint(
            record,
            items,
            out,
            reason=reason,
            stock=stock,
            start=start,
            same_places=bool(sheet) and not marker and not (stock or start),
            force=force,
            who=_who(),
        )
        _tell(printed, record)


def _chosen(
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
    found = record.find(marker or "", unit=unit, branch=branch, sheet=on_sheet)
    asked = marker or sheet or branch or unit
    if not found:
        raise LabelerError(
            Problem(Where(record.name), f"no marker is recorded for {asked!r}", "see labeler record list and show")
        )
    if marker and len(found) > 1:
        listed = "\n".join(f"  {line}" for line in _marker_lines(found))
        raise LabelerError(
            Problem(
                Where(record.name),
                f"{len(found)} markers match {asked!r}:\n{listed}\n",
                "name one by its id and --unit",
            )
        )
    return found


def _marker_lines(found: Iterable[Recorded]) -> Iterable[str]:
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
    return _columns(("id", "unit", "kind", "place", "text", "tube", "sheet", "state"), rows)


def _columns(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)]
    for row in (headings, *rows):
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


# ---------------------------------------------------------------- one question without a file


@main.command("fit")
@click.argument("text", metavar="TEXT")
@click.option("--over", required=True, metavar="MM", help="Diameter the sleeve sits on, or a range: 4.0-4.6.")
@click.option("--sleeve", metavar="NAME", help="A tube or a family; default: the families of the defaults.")
@click.option("--cut", metavar="MM", help="Cut length; default: the shortest that carries the text.")
@_options(_SET, _JSON)
def fit_command(
    text: str, over: str, sleeve: str | None, cut: str | None, settings: dict[str, str], as_json: bool
) -> None:
    """Say whether TEXT will read on a sleeve shrunk onto a diameter.

    Example: labeler fit "DEPTH J4" --over 4.2
    """
    from labeler import report
    from labeler.single import fit_text

    answer = fit_text(text, over, sleeve=sleeve, cut=cut, settings=settings)
    if as_json:
        _print_json(report.marker_json(answer))
    else:
        for line in report.one(answer):
            click.echo(line)
    if answer.verdict == "does not fit":
        raise SystemExit(1)


@main.command("bundle")
@click.argument("wires", metavar="WIRES")
@_options(_SET, _JSON)
def bundle_command(wires: str, settings: dict[str, str], as_json: bool) -> None:
    """Work out the diameters of a bundle: what passes over it, and what a sleeve closes on.

    WIRES lists counts with size and insulation, or diameters. Example: labeler bundle "2 x 20 AWG TXL, 4 x 1.9 mm"
    """
    from dataclasses import asdict

    from labeler.single import bundle_of

    answer = bundle_of(wires, settings)
    if as_json:
        _print_json(asdict(answer))
        return
    click.echo(f"passes over {answer.passes.low:.2f} to {answer.passes.high:.2f} mm")
    click.echo(f"closes on   {answer.closes_on.low:.2f} to {answer.closes_on.high:.2f} mm")
    click.echo(answer.source)


# ---------------------------------------------------------------- what is known


@main.command("stock")
@click.argument("name", required=False)
@_JSON
@click.option("--out", type=click.Path(path_type=Path), help="Draw the empty stock here, as NAME.pdf and NAME.png.")
@_FORCE
def stock_command(name: str | None, as_json: bool, out: Path | None, force: bool) -> None:
    """List the stocks that can be printed on, or show one; --out draws it, to be laid over the real sheet.

    Example: labeler stock wrap-a4-25x18 --out .
    """
    from labeler.listing import stock_lines, stock_rows

    if out is not None:
        if not name:
            raise click.UsageError("--out needs the NAME of the stock to draw")
        from labeler.pipeline import draw_stock

        for file in draw_stock(name, out, force=force):
            click.echo(str(file))
        return
    if as_json:
        _print_json(stock_rows(name))
        return
    for line in stock_lines(name):
        click.echo(line)


@main.command("sleeves")
@click.argument("family", required=False)
@_JSON
def sleeves_command(family: str | None, as_json: bool) -> None:
    """List the families of heat-shrink tube with their sizes and sources. Example: labeler sleeves AS23053/5."""
    from labeler.listing import sleeve_lines, sleeve_rows

    if as_json:
        _print_json(sleeve_rows(family))
        return
    for line in sleeve_lines(family):
        click.echo(line)


@main.command("wires")
@click.argument("kind", required=False)
@_JSON
def wires_command(kind: str | None, as_json: bool) -> None:
    """List the kinds of insulated wire with their diameters and sources. Example: labeler wires TXL."""
    from labeler.listing import wire_lines, wire_rows

    if as_json:
        _print_json(wire_rows(kind))
        return
    for line in wire_lines(kind):
        click.echo(line)


@main.command("choices")
@_JSON
def choices_command(as_json: bool) -> None:
    """List every setting with its default, its limits and the reason for it. Example: labeler choices."""
    from labeler.listing import choice_lines, choice_rows

    if as_json:
        _print_json(choice_rows())
        return
    for line in choice_lines():
        click.echo(line)


# ---------------------------------------------------------------- the record


@main.group("record")
def record_group() -> None:
    """Look into the build record, and declare markers void."""


@record_group.command("list")
@_options(_RECORD, _JSON)
def record_list_command(record_path: str | None, as_json: bool) -> None:
    """List the recorded jobs, oldest first. Example: labeler record list."""
    from dataclasses import asdict

    with _open_record(record_path, create=False) as record:
        jobs = record.jobs()
    if as_json:
        _print_json([asdict(job) for job in jobs])
        return
    rows = [
        (str(j.id), j.kind, j.unit, j.part_number or j.harness, j.revision, j.state, j.at, j.who, j.reason)
        for j in jobs
    ]
    for line in _columns(("job", "kind", "unit", "harness", "rev", "state", "when", "who", "reason"), rows):
        click.echo(line)


@record_group.command("show")
@click.argument("about", metavar="UNIT|JOB|MARKER")
@_options(_UNIT, _RECORD, _JSON)
def record_show_command(about: str, unit: str | None, record_path: str | None, as_json: bool) -> None:
    """Show all that is recorded of a unit (0001), a job (job:3) or a marker. Example: labeler record show 0001."""
    from dataclasses import asdict

    from labeler.listing import recorded_rows

    with _open_record(record_path, create=False) as record:
        if about.startswith("job:") and about[4:].isdecimal():
            found = record.show(int(about[4:])).markers
        elif any(u.serial == about for u in record.units()):
            found = record.show(about).markers
        else:
            found = _chosen(record, about, unit, None, None)
        events = record.history(found[0].row.id, found[0].unit) if len(found) == 1 else ()
    if as_json:
        _print_json({"markers": recorded_rows(found), "events": [asdict(event) for event in events]})
        return
    for line in _marker_lines(found):
        click.echo(line)
    for event in events:
        words = (event.at, event.kind, event.what, event.job and f"job {event.job}", event.who, event.reason)
        click.echo("  " + "  ".join(str(word) for word in words if word))


@record_group.command("void")
@click.argument("marker", metavar="MARKER")
@_options(_UNIT, _REASON, _RECORD)
def record_void_command(marker: str, unit: str | None, reason: str, record_path: str | None) -> None:
    """Declare a printed marker void: it must not be used. Example: labeler record void "0001 J4" --reason smeared."""
    with _open_record(record_path, create=False) as record:
        item = _chosen(record, marker, unit, None, None)[0]
        record.void(item.unit, item.row.id, reason, _who())
        click.echo(f"void: {item.row.id}, unit {item.unit}, {item.row.at}: {reason}", err=True)
