"""The command line. Results go to standard output, talk to standard error.

Exit status: 0 done, 1 something is wrong with the data, 2 wrong use, 130 broken off. Everything heavy is imported
inside the commands, so that help appears at once.
"""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from labeler.cli_codes import proof_command, scan_command
from labeler.cli_read import read_command
from labeler.cli_record import diff_command, record_group, reprint_command
from labeler.meant import opened_record, who
from labeler.options import (
    FILE,
    FORCE,
    GO_ON,
    JSON,
    NAMED,
    OUT,
    PAPER,
    PNG,
    PRINTER,
    RECORD,
    SEND,
    SET,
    START,
    STOCK,
    UNIT,
    USED,
    chosen_printer,
    options,
    parse_measure,
    reading,
)
from labeler.terminal import (
    ended_as_interrupted,
    print_json,
    shown_progress,
    tell,
    tell_changes,
    told_when_broken_off,
    warn,
)

if TYPE_CHECKING:
    from labeler.read import Wanted

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads: its threads only cost time on small work
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


MOST_UNITS = 10_000  # of one command: more are a slip of the pen (project choice)
INTERRUPTED = 130  # 128 and the number of SIGINT, as shells have it (POSIX)


class _Commands(click.Group):
    """Turns wrong data into lines on standard error and exit status 1 (or 2 for wrong use)."""

    def invoke(self, ctx: click.Context) -> Any:
        from labeler.errors import LabelerError, WrongUse, on_one_line

        try:
            with ended_as_interrupted():
                return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("\nstopped: what was under way is taken back", err=True)
            ctx.exit(INTERRUPTED)
        except LabelerError as error:
            for problem in error.problems:
                click.echo(str(problem), err=True)
            ctx.exit(2 if isinstance(error, WrongUse) else 1)
        except BrokenPipeError:  # the reader has gone: nothing to say, and nobody to say it to
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)
        except OSError as error:
            name = on_one_line(str(error.filename or "standard output"))
            click.echo(f"{name}: cannot be written ({error.strerror})", err=True)
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
@reading
def check_command(
    file: str,
    settings: dict[str, str],
    paper: str,
    stock: tuple[str, ...],
    printer: str | None,
    as_json: bool,
    explain: str | None,
    wanted: Wanted,
) -> None:
    """Say for every marker of FILE whether its text will read, and why not.

    Exit status 1 when something does not fit. Example: labeler check examples/survey-boat.toml
    """
    from datetime import date

    from labeler import report
    from labeler.errors import LabelerError
    from labeler.pipeline import check, for_printer, refused_by

    try:
        profile = chosen_printer(printer)
        settings = for_printer(settings, profile)
        today = date.today().isoformat()
        checked = check(
            file, settings=settings, paper=paper, stock=stock, track=shown_progress, date=today, wanted=wanted
        )
        refused = refused_by(profile, checked) if printer and explain is None else ()
    except LabelerError as error:
        if as_json:
            print_json({"harness": None, "markers": [], "problems": list(map(report.problem_json, error.problems))})
        raise
    if explain is not None:
        from labeler.explain import explain as steps
        from labeler.explain import named

        for fit in named(checked.fits, explain):
            for line in steps(fit):
                click.echo(line)
    elif as_json:
        print_json(report.as_json(checked, refused))
    else:
        warn(checked.notes)
        for line in report.table(checked.fits):
            click.echo(line)
        click.echo(report.summary(checked), err=True)
        for problem in refused:
            click.echo(str(problem), err=True)
    if checked.misfits or refused:
        raise SystemExit(1)


@main.command("print")
@options(FILE, OUT, UNIT)
@click.option("--units", type=click.IntRange(1, 10000), metavar="N", help="So many units, each with the next serial.")
@click.option("--serials", metavar="FROM-TO", help="Units of these serials, as in 0001-0025.")
@click.option(
    "--order",
    type=click.Choice(["separate", "collated", "grouped"]),
    default="separate",
    help="Of several units: sheets of its own for each; or shared sheets, unit by unit, or marker by marker.",
)
@options(SET, PAPER, STOCK, PRINTER, START, USED, GO_ON)
@click.option("--leave-out", is_flag=True, help="Print what fits and list what does not.")
@click.option(
    "--bench",
    type=click.Choice(["full", "short"]),
    default="full",
    help="The bench sheet with a page for each branch, or without these pages.",
)
@click.option("--changed-since", "since", metavar="REVISION", help="Only what has changed on a --unit built at it.")
@options(PNG, SEND, RECORD, FORCE)
@reading
def print_command(
    file: str,
    unit: str | None,
    units: int | None,
    serials: str | None,
    order: str,
    since: str | None,
    record_path: str | None,
    png: tuple[str, ...],
    send: dict[str, str],
    printer: str | None,
    **how: Any,
) -> None:
    """Print the whole set of one unit of FILE, or of several, as PDF sheets, and record it.

    Nothing is printed while a marker does not fit. Example: labeler print examples/survey-boat.toml
    """
    from datetime import date

    from labeler.pipeline import Output, print_changes, print_units

    folder = how.pop("out")
    how |= {"who": who(), "date": date.today().isoformat(), "printer": chosen_printer(printer)}
    how["out"] = Output(folder, png=png, send=send, track=shown_progress)
    if since is not None:
        if unit is None or units or serials:
            raise click.UsageError("--changed-since needs the --unit that was built")
        how.pop("bench")  # that sheet has no pages of branches: no branch is built anew
        with opened_record(record_path, create=False) as record:
            tell_changes(print_changes(file, folder, record, since=since, unit=unit, **how), record)
        return
    all_serials = _serials(unit, units, serials)
    with opened_record(record_path) as record:
        groups = [all_serials] if order != "separate" else [[serial] for serial in all_serials]
        how |= {"grouped": order == "grouped", "later": [serial for group in groups[1:] for serial in group]}
        for done, together in enumerate(groups):
            with told_when_broken_off(done, len(all_serials)):
                runs = print_units(file, folder, record, units=together, **how)
            if not done:
                warn(runs[0].notes)
            tell(runs, record)
            how |= {"start": {}, "used": {}, "go_on": False, "later": ()}  # every further unit begins on new sheets


def _serials(unit: str | None, units: int | None, serials: str | None) -> list[str | None]:
    """Return the serial of every unit to print; None: the next one."""
    if sum(given is not None for given in (unit, units, serials)) > 1:
        raise click.UsageError("give one of --unit, --units and --serials")
    if serials is None:
        return [None] * units if units else [unit]
    first, dash, last = (part.strip() for part in serials.partition("-"))
    numbers = [int(end) for end in (first, last) if re.fullmatch("[0-9]{1,40}", end)]
    if not dash or len(numbers) < 2:
        why = "is not FROM-TO, as in 0001-0025"
    elif numbers[0] > numbers[1]:
        why = "runs backwards: name the lower serial first"
    elif numbers[1] - numbers[0] >= MOST_UNITS:
        why = f"is more than {MOST_UNITS} units: print them in several runs"
    elif len(first) != len(last) and ((first.startswith("0") and first != "0") or last.startswith("0")):
        why = "begins with a zero on one side: write both serials with as many digits"
    else:
        return [f"{number:0{len(first)}d}" for number in range(numbers[0], numbers[1] + 1)]
    from labeler.errors import on_one_line

    raise click.BadParameter(on_one_line(f"{serials!r} {why}"), param_hint="--serials")


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
    from labeler.model import DOES_NOT_FIT
    from labeler.single import fit_text

    answer = fit_text(text, over, sleeve=sleeve, cut=cut, settings=settings)
    if as_json:
        print_json(report.marker_json(answer))
    else:
        for line in report.one(answer):
            click.echo(line)
    if answer.verdict == DOES_NOT_FIT:
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

    answer, assumed = bundle_of(wires, settings)
    warn(assumed)
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
@click.option("--out", type=NAMED, help="Draw the empty stock here, as NAME.pdf and NAME.png.")
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
@click.option("--measured-x", metavar="MM", callback=parse_measure, help="What the ruler along the page measured.")
@click.option("--measured-y", metavar="MM", callback=parse_measure, help="What the ruler up the page measured.")
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
    known = path is not None and path.is_file()
    profile = load_printer(printer) if printer and known else Printer(path.stem if path else "")
    if measured_x is None and measured_y is None:
        if not stock:
            raise click.UsageError("name the STOCK to print the page for, or give --measured-x and --measured-y")
        for file in draw_calibration(stock, profile, out, force=force):
            click.echo(str(file))
        if path and not known:
            click.echo(f"{path}: there is no such profile yet: the page is drawn without a correction", err=True)
        return
    if path is None or stock:
        raise click.UsageError("a measure is stored for a --printer, without a STOCK")
    corrected = measured(profile, measured_x, measured_y)
    store_printer(corrected, path)
    along = f"lengths x {corrected.scale_x:g} along the page (before {profile.scale_x:g})"
    click.echo(f"{path}: {along}, x {corrected.scale_y:g} up the page (before {profile.scale_y:g})", err=True)


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


main.add_command(diff_command)
main.add_command(read_command)
main.add_command(reprint_command)
main.add_command(record_group)
main.add_command(scan_command)
main.add_command(proof_command)
