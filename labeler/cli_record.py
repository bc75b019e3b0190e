"""The command line of the build record: print again, look up, declare void, finish what was broken off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from labeler.cli_keep import KEEPING
from labeler.meant import chosen_markers, job_named, named_one_way, opened_record, sheet_named, unit_name, who
from labeler.options import (
    BRANCH,
    CSV,
    FORCE,
    GO_ON,
    HARNESS,
    JSON,
    NAMED,
    OUT,
    PAPER,
    PNG,
    PRINTER,
    REASON,
    RECORD,
    SEND,
    SET,
    SHEET,
    START,
    UNIT,
    USED,
    chosen_printer,
    options,
    reading,
)
from labeler.terminal import (
    change_words,
    marker_table,
    place_of,
    place_of_row,
    print_json,
    show_table,
    shown_progress,
    tell,
    warn,
)

if TYPE_CHECKING:
    from labeler.read import Wanted


@click.command("reprint")
@click.argument("marker", metavar="MARKER", required=False)
@click.option("--unit", metavar="SERIAL", help="Of this unit; alone: all of it.")
@HARNESS
@options(BRANCH, SHEET)
@REASON
@click.option("--stock", metavar="NAME", default="", help="Onto another stock than the first time.")
@click.option("--numbered", "with_numbers", is_flag=True, help="Write R1, R2 … beside the text: which reprint it is.")
@options(START, USED, GO_ON, PRINTER, PAPER, PNG, SEND, OUT, RECORD, FORCE)
def reprint_command(
    marker: str | None,
    unit: str | None,
    harness: str | None,
    branch: str | None,
    sheet: str | None,
    printer: str | None,
    png: tuple[str, ...],
    send: dict[str, str],
    out: Path,
    record_path: str | None,
    **how: Any,
) -> None:
    """Print one recorded MARKER again, exactly: by its id, place or circuit, words of its text, or its scanned code.

    With --sheet, --branch or --unit alone: a spoiled sheet (every marker in its own cell, of all the units that share
    it), a branch, a whole unit.
    Example: labeler reprint "0001 J4" --reason lost
    """
    from datetime import date

    from labeler.pipeline import Output, reprint_units

    named_one_way(marker, sheet, unit, branch)
    elsewhere = how["stock"] or how["start"] or how["used"] or how["go_on"]
    with opened_record(record_path, create=False) as record:
        items = chosen_markers(record, marker, unit, branch, sheet, harness)
        printed = reprint_units(
            record,
            items,
            out,
            same_places=bool(sheet) and not marker and not elsewhere,
            who=who(),
            date=date.today().isoformat(),
            printer=chosen_printer(printer),
            out=Output(out, png=png, send=send, track=shown_progress),
            **how,
        )
        warn(printed[0].notes)
        tell(printed, record)


@click.command("diff")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@click.option("--all", "unchanged", is_flag=True, help="List what is unchanged too.")
@options(SET, RECORD, JSON, CSV)
@reading
def diff_command(
    old: str,
    new: str,
    unchanged: bool,
    settings: dict[str, str],
    record_path: str | None,
    as_json: bool,
    as_csv: bool,
    wanted: Wanted,
) -> None:
    """Compare the markers of two harnesses: files, a recorded unit ("0001"), or a revision ("RSB-210 B").

    How a file is read (--sheet, --variant, --map …) holds for both.

    Example: labeler diff "RSB-210 B" boat.toml
    """
    from contextlib import ExitStack
    from dataclasses import asdict

    from labeler.pipeline import diff

    with ExitStack() as stack:
        files = Path(old).exists() and Path(new).exists()
        record = None if files else stack.enter_context(opened_record(record_path, create=False))
        found = diff(old, new, record, settings=settings, wanted=wanted)
    if as_json:
        print_json([asdict(one) for one in found])
        return
    shown = [one for one in found if unchanged or one.what != "unchanged"]
    rows = [(one.what, one.row.kind, place_of_row(one.row), *change_words(one)) for one in shown]
    show_table(("what", "kind", "place", "was", "is"), rows, as_csv=as_csv)
    counts = {word: sum(one.what == word for one in found) for word in ("added", "removed", "changed", "unchanged")}
    click.echo(", ".join(f"{count} {word}" for word, count in counts.items()), err=True)


@click.group("record")
def record_group() -> None:
    """Look into the build record, and declare markers void."""


@record_group.command("list")
@options(RECORD, JSON, CSV)
def record_list_command(record_path: str | None, as_json: bool, as_csv: bool) -> None:
    """List the recorded jobs, oldest first. Example: labeler record list."""
    from dataclasses import asdict

    with opened_record(record_path, create=False) as record:
        jobs = record.jobs()
    if as_json:
        print_json([asdict(job) for job in jobs])
        return
    rows = [
        (str(j.id), j.kind, j.unit, j.part_number or j.harness, j.revision, j.state, j.at, j.who, j.reason)
        for j in jobs
    ]
    heads = ("job", "kind", "unit", "harness", "rev", "state", "when", "who", "reason")
    show_table(heads, rows, as_csv=as_csv)


@record_group.command("show")
@click.argument("about", metavar="UNIT|JOB|MARKER")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
def record_show_command(
    about: str, unit: str | None, harness: str | None, record_path: str | None, as_json: bool, as_csv: bool
) -> None:
    """Show all that is recorded of a unit (0001), a job (job:3) or a marker. Example: labeler record show 0001."""
    from dataclasses import asdict

    from labeler.listing import recorded_rows

    with opened_record(record_path, create=False) as record:
        job = job_named(about)
        if job is not None:
            found = record.show(job).markers
        elif record.find("", unit=about, harness=harness):
            found = chosen_markers(record, None, about, None, None, harness)
        else:
            found = chosen_markers(record, about, unit, None, None, harness)
        events = record.history(found[0].row.id, unit_name(found[0])) if len(found) == 1 else ()
    if as_json:
        print_json({"markers": recorded_rows(found), "events": [asdict(event) for event in events]})
        return
    show_table(*marker_table(found, whole=as_csv), as_csv=as_csv)
    for event in () if as_csv else events:
        words = (event.at, event.kind, event.what, event.job and f"job {event.job}", event.who, event.reason)
        click.echo("  " + "  ".join(str(word) for word in words if word))


@record_group.command("void")
@click.argument("marker", metavar="MARKER", required=False)
@options(UNIT, HARNESS, BRANCH, SHEET, REASON, RECORD)
def record_void_command(
    marker: str | None,
    unit: str | None,
    harness: str | None,
    branch: str | None,
    sheet: str | None,
    reason: str,
    record_path: str | None,
) -> None:
    """Declare a printed MARKER void until it is printed again: what there is of it must not be used.

    With --sheet only the copies on that sheet, of all the units that share it: what was printed again stays good.
    With --branch or --unit alone: all of it. Example: labeler record void "0001 J4" --reason smeared
    """
    named_one_way(marker, sheet, unit, branch)
    with opened_record(record_path, create=False) as record:
        items = chosen_markers(record, marker, unit, branch, sheet, harness)
        on = sheet_named(sheet) if sheet else None
        items = record.copies(items, on) if on else items
        if not marker:  # of many, those that can be
            items = tuple(item for item in items if item.state == "printed") or items
        record.void_all([(unit_name(item), item.row.id) for item in items], reason, who(), sheet=on)
        copy = f", on sheet {sheet}" if sheet else ""
        for item in items:
            click.echo(f"void: {item.row.id}, unit {item.unit}, {place_of(item)}{copy}: {reason}", err=True)


@record_group.command("resume")
@click.argument("job", metavar="JOB", type=click.IntRange(1))
@click.option("--out", type=NAMED, help="Another folder than the files were on their way to.")
@options(RECORD, FORCE)
def record_resume_command(job: int, out: Path | None, record_path: str | None, force: bool) -> None:
    """Finish a JOB that was broken off, and all that shares its sheets: draw the files again from the record.

    Nothing is sent to a printer: it is said what was to be. Example: labeler record resume 12.
    """
    from labeler.pipeline import resume_run

    with opened_record(record_path, create=False) as record:
        done = resume_run(record, job, out, force=force, who=who())
        warn(done[0].notes)
        tell(done, record)


@record_group.command("withdraw")
@click.argument("job", metavar="JOB", type=click.IntRange(1))
@options(REASON, RECORD)
def record_withdraw_command(job: int, reason: str, record_path: str | None) -> None:
    """Withdraw a JOB that was broken off, and all that shares its sheets, so that its unit can be printed anew.

    Example: labeler record withdraw 12 --reason "power cut"
    """
    with opened_record(record_path, create=False) as record:
        broken_off = [one.id for one in record.run(job) if one.state == "prepared"] or [job]
        record.withdraw_prepared(job, reason, who())
        for one in broken_off:
            click.echo(f"job {one} is withdrawn: {reason}", err=True)


for command in KEEPING:
    record_group.add_command(command)
