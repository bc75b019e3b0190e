"""The command line. Results go to standard output, talk to standard error.

Exit status: 0 done, 1 something is wrong with the data, 2 wrong use, 130 broken off. Everything heavy is imported
inside the commands, so that help appears at once.
"""

from __future__ import annotations

import os
import re
import sys
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from labeler.cli.known import KNOWN
from labeler.cli.options import (
    FILE,
    FORCE,
    GO_ON,
    JSON,
    OUT,
    PAPER,
    PNG,
    PRINTER,
    READING,
    RECORD,
    SEND,
    SET,
    START,
    STOCK,
    UNIT,
    USED,
    chosen_printer,
    harness_file,
    loading,
    opened_record,
    options,
    output,
    who,
)
from labeler.cli.record import diff_command, record_group, reprint_command
from labeler.cli.terminal import (
    ended_as_interrupted,
    print_json,
    print_lines,
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
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


MOST_UNITS = 10_000  # of one command: more are a slip of the pen (project choice)
INTERRUPTED = 130  # 128 and the number of SIGINT, as shells have it (POSIX)


class _Commands(click.Group):
    """Turns wrong data into lines on standard error and exit status 1 (or 2 for wrong use)."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            with ended_as_interrupted():
                return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("\nstopped: what was not finished is taken back", err=True)
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


@click.group(cls=_Commands, context_settings=CONTEXT)
@click.version_option(package_name="labeler", message="labeler %(version)s", help="Show the version.")
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
@READING
@harness_file
@loading
def check_command(file: HarnessFile, loading: Loading, printer: str | None, as_json: bool, explain: str | None) -> None:
    """Say for every marker of FILE whether its text will read, and why not.

    Exit status 1 when something does not fit. Example: labeler check examples/survey-boat.toml
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
        warn((report.summary(checked), *refused))
    if checked.misfits or any(not problem.warning for problem in refused):
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
@READING
@loading
@output
@harness_file
def print_command(
    file: HarnessFile, unit: str | None, units: int | None, serials: str | None, record_path: str | None, **how: Any
) -> None:
    """Print the whole set of one unit of FILE, or of several, as PDF sheets, and record it.

    Nothing is printed while a marker does not fit. Example: labeler print examples/survey-boat.toml
    """
    from labeler.job import order, printing, revising

    since = how["since"]
    if since is not None and (unit is None or units or serials):
        raise click.UsageError("--changed-since needs the --unit that was built")
    asked = order.Units(file, tuple(_serials(unit, units, serials)))
    wanted = order.Order(
        (asked,),
        how["output"],
        how["loading"],
        who(),
        date.today().isoformat(),
        {"separate": "", "collated": "by unit", "grouped": "by marker"}[how["order"]],
        omit_failed=how["leave_out"],
        since=since,
        short_bench_sheet=how["bench"] == "short",
    )
    with opened_record(record_path, create=since is None) as record:
        if since is not None:
            tell_changes(revising.print_changes(wanted, record), record)
            return
        with reported_when_interrupted(len(asked.serials)) as done:
            for run in printing.print_order(wanted, record):
                warn(run[0].notes)  # those of all are with the first
                tell(run, record)
                done += run


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
    raise click.BadParameter(on_one_line(f"{serials!r} {why}"), param_hint="--serials")


for command in (diff_command, reprint_command, record_group, *KNOWN):
    main.add_command(command)
