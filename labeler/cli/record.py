"""The command line of the build record: print again, look up, declare void, finish what was broken off."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from labeler.cli.options import (
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
    READING,
    REASON,
    RECORD,
    SEND,
    SET,
    SHEET,
    START,
    UNIT,
    USED,
    Target,
    chosen_markers,
    form,
    harness_file,
    job_named,
    loading,
    opened_record,
    options,
    output,
    target,
    unit_name,
    who,
)
from labeler.cli.terminal import (
    change_csv,
    change_table,
    marker_csv,
    marker_table,
    place_of,
    print_json,
    print_lines,
    show,
    tell,
    warn,
)
from labeler.errors import LabelerError, Problem, SourceLocation

if TYPE_CHECKING:
    from labeler.job.order import HarnessFile, Loading, Output


@click.group("record")
def record_group() -> None:
    """Look into the build record, and declare markers void."""


# ---------------------------------------------------------------- looking up and keeping


@record_group.command("find")
@click.argument("query", metavar="NAME")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
@form
def find_command(query: str, unit: str | None, harness: str | None, record_path: str | None, form: str) -> None:
    """Find every marker that a NAME means: an id, a place, a circuit, a branch, words of a text, a scanned code.

    Example: labeler record find "WATER PROBE"
    """
    from labeler.answers.listing import recorded_rows

    if not query.strip():
        raise click.UsageError("NAME is empty")
    with opened_record(record_path, create=False) as record:
        found = record.find(query, unit=unit, harness=harness)
        if not found:
            what = f"no marker is recorded for {query!r}"
            fix = "an id, a place or a circuit is named whole; of a text whole words"
            raise LabelerError(Problem(SourceLocation(record.name), what, fix))
    table = marker_csv(found) if form == "csv" else marker_table(found)
    show(form, lambda: {"schema": "find 1", "markers": recorded_rows(found)}, *table)


@record_group.command("verify")
@options(RECORD, JSON)
def verify_command(record_path: str | None, as_json: bool) -> None:
    """Look the whole record over: digests, references, that every marker can be drawn again.

    Exit status 1 where something is wrong. Example: labeler record verify
    """
    from labeler.answers.report import problem_json
    from labeler.job.keeping import verify

    with opened_record(record_path, create=False) as record:
        problems, jobs = verify(record), record.jobs()
        broken_off = [job for job in jobs if job.state == "pending"]
        if as_json:
            pending = [job.id for job in broken_off]
            print_json({"schema": "verify 1", "problems": list(map(problem_json, problems)), "pending_jobs": pending})
        else:
            print_lines(problems)
            warn(f"job {job.id} of {job.time[:10]} is pending: resume or withdraw it" for job in broken_off)
            counts = f"{len(jobs)} jobs of {len(record.units())} units"
            click.echo(f"{record.name}: {counts}, {len(problems) or 'no'} problems", err=True)
    if problems:
        raise SystemExit(1)


@record_group.command("export")
@click.argument("units", metavar="[UNIT]...", nargs=-1)
@options(HARNESS, OUT, RECORD, FORCE)
def export_command(
    units: tuple[str, ...], harness: str | None, out: Path, record_path: str | None, force: bool
) -> None:
    """Write UNITs, or all of them, as self-contained JSON files. Example: labeler record export 0001 --out copies."""
    from labeler.job.keeping import export_units

    with opened_record(record_path, create=False) as record:
        print_lines(export_units(record, units, out, harness=harness, force=force))


@record_group.command("import")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=NAMED)
@options(RECORD, JSON)
def import_command(files: tuple[Path, ...], record_path: str | None, as_json: bool) -> None:
    """Add the units of exported FILEs; once more adds nothing.

    Example: labeler record import copies/RSB-210-0001.json
    """
    from labeler.job.keeping import import_units

    with opened_record(record_path) as record:
        taken = import_units(record, files)
    if as_json:
        units = [{"file": str(file), **asdict(one)} for file, one in taken.items()]
        print_json({"schema": "import 1", "units": units})
        return
    for file, one in taken.items():
        click.echo(f"{file}: unit {one.unit}: {one.jobs} jobs, {one.states} states, {one.voids} voids added")


@record_group.command("backup")
@click.argument("file", metavar="FILE", type=NAMED)
@options(RECORD)
def backup_command(file: Path, record_path: str | None) -> None:
    """Copy the record, as it is at one moment, to a new FILE, while others go on using it.

    Of a record on a server too: the copy is a record in a file. Example: labeler record backup record-of-today.sqlite
    """
    with opened_record(record_path, create=False) as record:
        record.back_up(file)
    click.echo(str(file))


@record_group.command("used")
@options(RECORD, JSON, CSV)
@form
def used_command(record_path: str | None, form: str) -> None:
    """List the sheets that are partly used: the cells that are gone, how many are left, where --go-on begins.

    Of every stock with cells of a fixed size the last sheet is known; cards and strips are not listed.

    A sheet that is lost or full is left alone: --start STOCK=A1 begins a new one. Example: labeler record used
    """
    from labeler.answers.listing import partial_sheet_rows
    from labeler.tables.catalogue import load_catalogue

    with opened_record(record_path, create=False) as record:
        rows = partial_sheet_rows(record, load_catalogue())
    table = [tuple("?" if value is None else str(value) for value in row.values()) for row in rows]
    heads = ("stock", "used_cells", "free_cells", "next_cell", "job", "time")
    show(form, lambda: {"schema": "partial-sheets 1", "partial_sheets": rows}, heads, table)


@record_group.command("list")
@options(RECORD, JSON, CSV)
@form
def record_list_command(record_path: str | None, form: str) -> None:
    """List the recorded jobs, oldest first. Example: labeler record list."""
    from labeler.answers.listing import job_rows

    with opened_record(record_path, create=False) as record:
        jobs = record.jobs()
    rows = [
        (str(j.id), j.kind, j.unit, j.part_number or j.harness, j.revision, j.state, j.time, j.user, j.reason)
        for j in jobs
    ]
    heads = ("job", "kind", "unit", "harness", "revision", "state", "time", "user", "reason")
    show(form, lambda: {"schema": "jobs 1", "jobs": job_rows(jobs)}, heads, rows)


@record_group.command("show")
@click.argument("about", metavar="UNIT|JOB|MARKER")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
@form
def record_show_command(about: str, unit: str | None, harness: str | None, record_path: str | None, form: str) -> None:
    """Show all that is recorded of a unit (0001), a job (job:3) or a marker. Example: labeler record show 0001."""
    from labeler.answers.listing import recorded_rows

    with opened_record(record_path, create=False) as record:
        job = job_named(about)
        if job is not None:
            found = record.show(job).markers
        else:
            is_unit = record.find("", unit=about, harness=harness)
            one = Target(unit=about, harness=harness) if is_unit else Target(about, unit, harness=harness)
            found = chosen_markers(record, one)
        events = record.history(found[0].row.id, unit_name(found[0])) if len(found) == 1 else ()

    def value() -> object:
        return {"schema": "show 1", "markers": recorded_rows(found), "events": list(map(asdict, events))}

    show(form, value, *(marker_csv(found) if form == "csv" else marker_table(found)))
    for event in () if form else events:
        words = (event.time, event.kind, event.state, event.job and f"job {event.job}", event.user, event.reason)
        click.echo("  " + "  ".join(str(word) for word in words if word))


# ---------------------------------------------------------------- printing again, comparing, void, broken off


@click.command("reprint")
@click.argument("marker", metavar="MARKER", required=False)
@click.option("--unit", metavar="SERIAL", help="Of this unit; alone: all of it.")
@HARNESS
@options(BRANCH, SHEET)
@REASON
@click.option("--stock", metavar="NAME", default="", help="Onto another stock than the first time.")
@click.option("--numbered", "with_numbers", is_flag=True, help="Write R1, R2 … beside the text: which reprint it is.")
@options(START, USED, GO_ON, PRINTER, PAPER, PNG, SEND, OUT, RECORD, FORCE)
@target
@loading
@output
def reprint_command(
    target: Target, loading: Loading, output: Output, record_path: str | None, reason: str, with_numbers: bool
) -> None:
    """Print one recorded MARKER again, exactly: by its id, place or circuit, words of its text, or its scanned code.

    With --sheet, --branch or --unit alone: a spoiled sheet (every marker in its own cell, of all the units that share
    it), a branch, a whole unit.
    Example: labeler reprint "0001 J4" --reason lost
    """
    from labeler.job.order import Reprint
    from labeler.job.reprinting import reprint

    elsewhere = loading.stocks or loading.start or loading.used or loading.partial_sheets
    same_cells = bool(target.sheet) and not target.marker and not elsewhere
    again = Reprint(reason, output, loading, who(), date.today().isoformat(), same_cells, with_numbers)
    with opened_record(record_path, create=False) as record:
        printed = reprint(record, chosen_markers(record, target), again)
        warn(printed[0].notes)
        tell(printed, record)


@click.command("diff")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@click.option("--all", "unchanged", is_flag=True, help="List what is unchanged too.")
@options(SET, RECORD, JSON, CSV)
@READING
@harness_file
@form
def diff_command(file: HarnessFile, old: str, new: str, unchanged: bool, record_path: str | None, form: str) -> None:
    """Compare the markers of two harnesses: files, a recorded unit ("0001"), or a revision ("RSB-210 B").

    How a file is read (--sheet, --variant, --map …) holds for both.

    Example: labeler diff "RSB-210 B" boat.toml
    """
    from labeler.answers.listing import difference_rows
    from labeler.job.revising import diff

    files = Path(old).exists() and Path(new).exists()
    with nullcontext() if files else opened_record(record_path, create=False) as record:
        found = diff(old, new, record, file)
    shown = [one for one in found if unchanged or one.change != "unchanged"]
    table = change_csv(shown) if form == "csv" else change_table(shown)
    show(form, lambda: {"schema": "diff 1", "differences": difference_rows(found)}, *table)
    if form != "json":
        counts = {
            word: sum(one.change == word for one in found) for word in ("added", "removed", "changed", "unchanged")
        }
        click.echo(", ".join(f"{count} {word}" for word, count in counts.items()), err=True)


@record_group.command("void")
@click.argument("marker", metavar="MARKER", required=False)
@options(UNIT, HARNESS, BRANCH, SHEET, REASON, RECORD)
@target
def record_void_command(target: Target, reason: str, record_path: str | None) -> None:
    """Declare a printed MARKER void until it is printed again: what there is of it must not be used.

    With --sheet only the copies on that sheet, of all the units that share it: what was printed again stays good.
    With --branch or --unit alone: all of it. Example: labeler record void "0001 J4" --reason smeared
    """
    with opened_record(record_path, create=False) as record:
        items, on = chosen_markers(record, target), target.on_sheet
        items = record.copies(items, on) if on else items
        if not target.marker:  # of many, those that can be
            items = tuple(item for item in items if item.state == "printed") or items
        record.void_all([(unit_name(item), item.row.id) for item in items], reason, who(), sheet=on)
        copy = f", on sheet {target.sheet}" if on else ""
        warn(f"void: {item.row.id}, unit {item.unit}, {place_of(item.row)}{copy}: {reason}" for item in items)


@record_group.command("resume")
@click.argument("job", metavar="JOB", type=click.IntRange(1))
@click.option("--out", type=NAMED, help="Another folder than the files were on their way to.")
@options(RECORD, FORCE)
def record_resume_command(job: int, out: Path | None, record_path: str | None, force: bool) -> None:
    """Finish a JOB that was broken off, and all that shares its sheets: draw the files again from the record.

    Nothing is sent to a printer: it is said what was to be. Example: labeler record resume 12.
    """
    from labeler.job.reprinting import finish_job

    with opened_record(record_path, create=False) as record:
        done = finish_job(record, job, out, force=force, user=who())
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
        broken_off = [one.id for one in record.run(job) if one.state == "pending"] or [job]
        record.cancel_pending_jobs(job, reason, who())
        warn(f"job {one} is cancelled: {reason}" for one in broken_off)
