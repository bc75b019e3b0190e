"""The command line. Results go to standard output, talk to standard error.

Exit status: 0 done, 1 something is wrong with the data, 2 wrong use. Everything heavy is imported
inside the commands, so that help appears at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from labeler.cli_codes import proof_command, scan_command
from labeler.cli_record import record_group
from labeler.options import (
    FILE,
    FORCE,
    JSON,
    OUT,
    PAPER,
    PRINTER,
    REASON,
    RECORD,
    SET,
    STOCK,
    UNIT,
    chosen_markers,
    opened_record,
    options,
    parse_starts,
    print_json,
    warn,
    who,
)

if TYPE_CHECKING:
    from labeler.model import Fit
    from labeler.pipeline import Printed
    from labeler.printers import Printer
    from labeler.record.store import Record

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


# ---------------------------------------------------------------- the job


@main.command("check")
@options(FILE, SET, PAPER, STOCK, PRINTER, JSON)
@click.option("--explain", metavar="MARKER", help="Walk through one marker: its id, place, or text.")
def check_command(
    file: str,
    settings: dict[str, str],
    paper: str,
    stock: tuple[str, ...],
    printer: str | None,
    as_json: bool,
    explain: str | None,
) -> None:
    """Say for every marker of FILE whether its text will read, and why not.

    Exit status 1 when something does not fit. Example: labeler check examples/survey-boat.toml
    """
    from labeler import report
    from labeler.errors import LabelerError
    from labeler.pipeline import check, for_printer

    try:
        checked = check(file, settings=for_printer(settings, _printer(printer)), paper=paper, stock=stock)
    except LabelerError as error:
        if as_json:
            print_json({"harness": None, "markers": [], "problems": list(map(report.problem_json, error.problems))})
        raise
    if explain:
        from labeler.explain import explain as steps

        for fit in _named(checked.fits, explain):
            for line in steps(fit):
                click.echo(line)
    elif as_json:
        print_json(report.as_json(checked))
    else:
        warn(checked.notes)
        for line in report.table(checked.fits):
            click.echo(line)
        click.echo(report.summary(checked), err=True)
    if checked.misfits:
        raise SystemExit(1)


def _printer(name: str | None) -> Printer:
    from labeler.printers import AS_DRAWN, load_printer

    return load_printer(name) if name else AS_DRAWN


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
@options(FILE, OUT, UNIT)
@click.option("--units", type=click.IntRange(1, 10000), metavar="N", help="So many units, each with the next serial.")
@click.option("--serials", metavar="FROM-TO", help="Units of these serials, as in 0001-0025.")
@options(SET, PAPER, STOCK, PRINTER)
@click.option(
    "--start",
    metavar="STOCK=CELL",
    multiple=True,
    callback=parse_starts,
    help="First free cell of a sheet that is partly used, as in wrap-a4-25x18=B3.",
)
@click.option("--leave-out", is_flag=True, help="Print what fits and list what does not.")
@options(RECORD, FORCE)
def print_command(
    file: str,
    out: Path,
    unit: str | None,
    units: int | None,
    serials: str | None,
    settings: dict[str, str],
    paper: str,
    stock: tuple[str, ...],
    printer: str | None,
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

    profile = _printer(printer)
    with opened_record(record_path) as record:
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
                who=who(),
                date=date.today().isoformat(),
                printer=profile,
            )
            warn(printed.notes)
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
@REASON
@click.option("--stock", metavar="NAME", default="", help="Onto another stock than the first time.")
@click.option("--start", metavar="CELL", default="", help="First free cell, as in B3.")
@options(PRINTER, OUT, RECORD, FORCE)
def reprint_command(
    marker: str | None,
    unit: str | None,
    branch: str | None,
    sheet: str | None,
    reason: str,
    stock: str,
    start: str,
    printer: str | None,
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
    with opened_record(record_path, create=False) as record:
        items = chosen_markers(record, marker, unit, branch, sheet)
        printed = reprint(
            record,
            items,
            out,
            reason=reason,
            stock=stock,
            start=start,
            same_places=bool(sheet) and not marker and not (stock or start),
            force=force,
            who=who(),
            printer=_printer(printer),
        )
        _tell(printed, record)


# ---------------------------------------------------------------- one question without a file


@main.command("fit")
@click.argument("text", metavar="TEXT")
@click.option("--over", required=True, metavar="MM", help="Diameter the sleeve sits on, or a range: 4.0-4.6.")
@click.option("--sleeve", metavar="NAME", help="A tube or a family; default: the families of the defaults.")
@click.option("--cut", metavar="MM", help="Cut length; default: the shortest that carries the text.")
@options(SET, JSON)
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
        print_json(report.marker_json(answer))
    else:
        for line in report.one(answer):
            click.echo(line)
    if answer.verdict == "does not fit":
        raise SystemExit(1)


@main.command("bundle")
@click.argument("wires", metavar="WIRES")
@options(SET, JSON)
def bundle_command(wires: str, settings: dict[str, str], as_json: bool) -> None:
    """Work out the diameters of a bundle: what passes over it, and what a sleeve closes on.

    WIRES lists counts with size and insulation, or diameters. Example: labeler bundle "2 x 20 AWG TXL, 4 x 1.9 mm"
    """
    from dataclasses import asdict

    from labeler.single import bundle_of

    answer = bundle_of(wires, settings)
    if as_json:
        print_json(asdict(answer))
        return
    click.echo(f"passes over {answer.passes.low:.2f} to {answer.passes.high:.2f} mm")
    click.echo(f"closes on   {answer.closes_on.low:.2f} to {answer.closes_on.high:.2f} mm")
    click.echo(answer.source)


# ---------------------------------------------------------------- what is known


@main.command("stock")
@click.argument("name", required=False)
@JSON
@click.option("--out", type=click.Path(path_type=Path), help="Draw the empty stock here, as NAME.pdf and NAME.png.")
@FORCE
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
        print_json(stock_rows(name))
        return
    for line in stock_lines(name):
        click.echo(line)


@main.command("calibrate")
@click.argument("stock", metavar="STOCK", required=False)
@options(PRINTER)
@click.option("--measured-x", type=float, metavar="MM", help="What the ruler along the page measured.")
@click.option("--measured-y", type=float, metavar="MM", help="What the ruler up the page measured.")
@options(OUT, FORCE)
def calibrate_command(
    stock: str | None,
    printer: str | None,
    measured_x: float | None,
    measured_y: float | None,
    out: Path,
    force: bool,
) -> None:
    """Print rulers and crosses on a page of STOCK's size; then store what they measured as a correction.

    Example: labeler calibrate tag-a4-95x54 --printer office, then
    labeler calibrate --printer office --measured-x 99.2 --measured-y 100.4
    """
    from labeler.pipeline import draw_calibration, store_printer
    from labeler.printers import Printer, load_printer, measured, printer_file

    path = printer_file(printer) if printer else None
    profile = load_printer(printer) if printer and path and path.is_file() else Printer(path.stem if path else "")
    if measured_x is None and measured_y is None:
        if not stock:
            raise click.UsageError("name the STOCK to print the page for, or give --measured-x and --measured-y")
        for file in draw_calibration(stock, profile, out, force=force):
            click.echo(str(file))
        return
    if path is None or stock:
        raise click.UsageError("a measure is stored for a --printer, without a STOCK")
    corrected = measured(profile, measured_x, measured_y)
    store_printer(corrected, path)
    click.echo(f"{path}: lengths x {corrected.scale_x:g} along the page, x {corrected.scale_y:g} up the page", err=True)


@main.command("sleeves")
@click.argument("family", required=False)
@JSON
def sleeves_command(family: str | None, as_json: bool) -> None:
    """List the families of heat-shrink tube with their sizes and sources. Example: labeler sleeves AS23053/5."""
    from labeler.listing import sleeve_lines, sleeve_rows

    if as_json:
        print_json(sleeve_rows(family))
        return
    for line in sleeve_lines(family):
        click.echo(line)


@main.command("wires")
@click.argument("kind", required=False)
@JSON
def wires_command(kind: str | None, as_json: bool) -> None:
    """List the kinds of insulated wire with their diameters and sources. Example: labeler wires TXL."""
    from labeler.listing import wire_lines, wire_rows

    if as_json:
        print_json(wire_rows(kind))
        return
    for line in wire_lines(kind):
        click.echo(line)


@main.command("choices")
@JSON
def choices_command(as_json: bool) -> None:
    """List every setting with its default, its limits and the reason for it. Example: labeler choices."""
    from labeler.listing import choice_lines, choice_rows

    if as_json:
        print_json(choice_rows())
        return
    for line in choice_lines():
        click.echo(line)


main.add_command(record_group)
main.add_command(scan_command)
main.add_command(proof_command)
