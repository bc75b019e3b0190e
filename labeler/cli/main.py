"""The command line. Results go to standard output, talk to standard error.

Exit status: 0 done, 1 something is wrong with the data, 2 wrong use, 130 interrupted. Everything heavy is imported
inside the commands, so that help appears at once.
"""

from __future__ import annotations

import os
import re
import sys
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from labeler.cli.commands import CONTEXT, LabelerGroup
from labeler.cli.known import KNOWN
from labeler.cli.lookup import LOOKUP
from labeler.cli.options import (
    DRY_RUN,
    FILE,
    FORCE,
    JSON,
    OUTPUT,
    PAPER,
    PNG,
    PRINTER,
    READING,
    RECORD,
    REPORTS,
    SEND_TO,
    SET,
    START_CELL,
    STOCK,
    UNIT,
    USE_PARTIAL_SHEETS,
    USED_CELLS,
    chosen_printer,
    harness_file,
    loading,
    options,
    output,
    record_for,
    who,
)
from labeler.cli.record import diff_command, record_group, reprint_command
from labeler.cli.terminal import (
    ended_as_interrupted,
    print_json,
    print_lines,
    report_lines,
    reported_when_interrupted,
    shown_progress,
    tell,
    tell_changes,
    warn,
)
from labeler.errors import LabelerError, WrongUse, on_one_line

if TYPE_CHECKING:
    from labeler.job.order import HarnessFile, Loading


os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads: its threads only cost time on small work
MOST_UNITS = 10_000  # of one command: more are a slip of the pen (project choice)
INTERRUPTED = 130  # 128 and the number of SIGINT, as shells have it (POSIX)


class _Commands(LabelerGroup):
    """Turns wrong data into lines on standard error and exit status 1 (or 2 for wrong use)."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            with ended_as_interrupted():
                return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("\nInterrupted. The unfinished job was cancelled.", err=True)
            ctx.exit(INTERRUPTED)
        except LabelerError as error:
            warn(error.problems)
            ctx.exit(2 if isinstance(error, WrongUse) else 1)
        except BrokenPipeError:  # the reader has gone: nothing to say, and nobody to say it to
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)
        except OSError as error:
            name = on_one_line(str(error.filename or "standard output"))
            click.echo(f"{name}: cannot be written ({error.strerror})", err=True)
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(1)


SECTIONS = {
    "Prepare": ("example", "read", "check", "diff"),
    "Print and build": ("proof", "print"),
    "Maintain": ("reprint", "scan", "record"),
    "Look up and set up": ("fit", "bundle", "schema", "help", "list", "calibrate"),
}


@click.group(cls=_Commands, context_settings=CONTEXT, sections=SECTIONS, example="labeler example boat")
@click.version_option(package_name="labeler", message="labeler %(version)s", help="Show the version.")
def main() -> None:
    """Print matched identification for wiring harnesses, checked to read after shrinking."""


# ---------------------------------------------------------------- the job


@main.command("check", example="labeler check examples/survey-boat.toml")
@options(FILE, SET, PAPER, STOCK, PRINTER, JSON)
@click.option("--explain", metavar="MARKER", help="Explain the result of one marker: its id, place or text.")
@options(READING, REPORTS)
@harness_file
@loading
def check_command(file: HarnessFile, loading: Loading, printer: str | None, as_json: bool, explain: str | None) -> None:
    """Check that every marker of FILE fits and can be read.

    The exit status is 1 if a marker does not fit.
    """
    from labeler.answers import report
    from labeler.job.check import check
    from labeler.job.run import refused_by

    try:
        profile = chosen_printer(printer)
        file, today = file.for_printer(profile), date.today().isoformat()
        checked = check(file, loading, track=shown_progress, date=today)
        refused = refused_by(profile, checked) if printer and explain is None else ()
    except LabelerError as error:
        if as_json:
            print_json(report.refused_json(error))
        raise
    if explain is not None:
        for fit in report.named(checked.fits, explain):
            print_lines(report.explain(fit))
    elif as_json:
        print_json(report.as_json(checked, refused))
    else:
        warn(checked.notes)
        print_lines(report.table(checked.fits))
        report_lines([report.summary(checked)])
        warn(refused)
    if checked.misfits or any(not problem.warning for problem in refused):
        raise SystemExit(1)


SHARING = {"no": "", "by-unit": "by unit", "by-marker": "by marker"}


@main.command("print", example="labeler print examples/survey-boat.toml")
@options(FILE, OUTPUT, UNIT)
@click.option("--quantity", type=click.IntRange(1, MOST_UNITS), metavar="N", help="Number of units to print.")
@click.option("--serials", metavar="FROM-TO", help="Serial numbers of the units, as in 0001-0025.")
@click.option(
    "--share-sheets",
    type=click.Choice(list(SHARING)),
    default="no",
    show_default=True,
    help="Print several units on the same sheets.",
)
@options(SET, PAPER, STOCK, PRINTER, START_CELL, USED_CELLS, USE_PARTIAL_SHEETS)
@click.option("--omit-failed", is_flag=True, help="Print the markers that fit and list the others.")
@click.option(
    "--bench-sheet",
    type=click.Choice(["full", "summary"]),
    default="full",
    show_default=True,
    help="Bench sheet with or without a page for each branch.",
)
@click.option("--changed-since", metavar="REVISION", help="Print only what changed on the --unit built at REVISION.")
@options(PNG, SEND_TO, RECORD, FORCE, DRY_RUN, READING, REPORTS)
@loading
@output
@harness_file
def print_command(
    file: HarnessFile, unit: str | None, quantity: int | None, serials: str | None, record_path: str | None, **how: Any
) -> None:
    """Print and record all markers of FILE.

    The command makes a set of markers and a bench sheet for one unit or several. If a marker does not fit, nothing is
    printed.
    """
    from labeler.job import order, printing, revising

    since = how["changed_since"]
    if since is not None and (unit is None or quantity or serials):
        raise click.UsageError("--changed-since needs the --unit that was built")
    asked = order.Units(file, tuple(_serials(unit, quantity, serials)))
    wanted = order.Order(
        (asked,),
        how["output"],
        how["loading"],
        who(),
        date.today().isoformat(),
        SHARING[how["share_sheets"]],
        omit_failed=how["omit_failed"],
        since=since,
        short_bench_sheet=how["bench_sheet"] == "summary",
    )
    with record_for(wanted.output, record_path, create=since is None) as record:
        if since is not None:
            tell_changes(revising.print_changes(wanted, record), record, wanted.output)
            return
        with reported_when_interrupted(len(asked.serials)) as done:
            for run in printing.print_order(wanted, record):
                warn(run[0].notes)  # those of all are with the first
                tell(run, record, wanted.output)
                done += run


def _serials(unit: str | None, quantity: int | None, serials: str | None) -> list[str | None]:
    """Return the serial of every unit to print; None: the next one."""
    if sum(given is not None for given in (unit, quantity, serials)) > 1:
        raise click.UsageError("give one of --unit, --quantity and --serials")
    if serials is None:
        return [None] * quantity if quantity else [unit]
    first, dash, last = (part.strip() for part in serials.partition("-"))
    numbers = [int(end) for end in (first, last) if re.fullmatch("[0-9]{1,40}", end)]
    if not dash or len(numbers) < 2:
        why = "is not FROM-TO, as in 0001-0025"
    elif numbers[0] > numbers[1]:
        why = "runs backwards: put the lower serial first"
    elif numbers[1] - numbers[0] >= MOST_UNITS:
        why = f"is more than {MOST_UNITS} units: print them in several runs"
    elif len(first) != len(last) and ((first.startswith("0") and first != "0") or last.startswith("0")):
        why = "begins with a zero on one side: write both serials with as many digits"
    else:
        return [f"{number:0{len(first)}d}" for number in range(numbers[0], numbers[1] + 1)]
    raise click.BadParameter(on_one_line(f"{serials!r} {why}"), param_hint="--serials")


for command in (diff_command, reprint_command, record_group, *KNOWN, *LOOKUP):
    main.add_command(command)
