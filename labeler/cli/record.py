"""The command line of the build record: print again, look up, declare void, finish interrupted jobs."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from labeler.cli.commands import command, group
from labeler.cli.options import (
    BRANCH,
    CSV,
    DRY_RUN,
    FORCE,
    HARNESS,
    JSON,
    NAMED,
    OUTPUT,
    PAPER,
    PNG,
    PRINTER,
    READING,
    REASON,
    RECORD,
    REPORTS,
    SEND_TO,
    SET,
    SHEET,
    START_CELL,
    UNIT,
    USE_PARTIAL_SHEETS,
    USED_CELLS,
    Target,
    chosen_markers,
    form,
    harness_file,
    job_named,
    loading,
    opened_record,
    options,
    output,
    record_for,
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
    report,
    report_lines,
    show,
    tell,
    warn,
)
from labeler.errors import LabelerError, Problem, SourceLocation

if TYPE_CHECKING:
    from labeler.job.order import HarnessFile, Loading, Output


SECTIONS = {
    "Look up": ("list", "show", "find", "partial-sheets"),
    "Correct": ("void", "finish", "cancel"),
    "Keep": ("verify", "export", "import", "backup"),
}


@group("record", sections=SECTIONS, example="labeler record list")
def record_group() -> None:
    """Look up, correct and keep the build record."""


# ---------------------------------------------------------------- looking up and keeping


@record_group.command("find", example='labeler record find "WATER PROBE"')
@click.argument("query", metavar="NAME")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
@form
def find_command(query: str, unit: str | None, harness: str | None, record_path: str | None, form: str) -> None:
    """Find markers by NAME.

    NAME is an id, a place, a circuit, a branch, words of a text, or a scanned code.
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


@record_group.command("verify", example="labeler record verify")
@options(RECORD, JSON, REPORTS)
def verify_command(record_path: str | None, as_json: bool) -> None:
    """Verify the build record.

    The command checks digests and references, and that every marker can be drawn again. The exit status is 1 if it
    finds a problem.
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
            warn(f"job {job.id} of {job.time[:10]} is pending: finish or cancel it" for job in broken_off)
            counts = f"{len(jobs)} jobs of {len(record.units())} units"
            report(f"{record.name}: {counts}, {len(problems) or 'no'} problems")
    if problems:
        raise SystemExit(1)


@record_group.command("export", example="labeler record export 0001 --output copies")
@click.argument("units", metavar="[UNIT]...", nargs=-1)
@options(HARNESS, OUTPUT, RECORD, FORCE, REPORTS)
def export_command(
    units: tuple[str, ...], harness: str | None, output: Path, record_path: str | None, force: bool
) -> None:
    """Write each UNIT, or all units, to a JSON file."""
    from labeler.job.keeping import export_units

    with opened_record(record_path, create=False) as record:
        print_lines(export_units(record, units, output, harness=harness, force=force))


@record_group.command("import", example="labeler record import copies/RSB-210-0001.json")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=NAMED)
@options(RECORD, JSON, REPORTS)
def import_command(files: tuple[Path, ...], record_path: str | None, as_json: bool) -> None:
    """Add the units in exported FILEs.

    Importing the same file again changes nothing.
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


@record_group.command("backup", example="labeler record backup record-copy.sqlite")
@click.argument("file", metavar="FILE", type=NAMED)
@options(RECORD, REPORTS)
def backup_command(file: Path, record_path: str | None) -> None:
    """Copy the build record to a new FILE.

    Others can use the record at the same time. The copy of a record on a server is a file, too.
    """
    with opened_record(record_path, create=False) as record:
        record.back_up(file)
    click.echo(str(file))


@record_group.command("partial-sheets", example="labeler record partial-sheets")
@options(RECORD, JSON, CSV)
@form
def partial_sheets_command(record_path: str | None, form: str) -> None:
    """List the partial sheets, with their used cells and the next free cell.

    The record knows the last sheet of every stock with cells of a fixed size. Cards and strips are not listed.

    If a sheet is lost, begin a new one: labeler print FILE --start-cell STOCK=A1
    """
    from labeler.answers.listing import partial_sheet_rows
    from labeler.tables.catalogue import load_catalogue

    with opened_record(record_path, create=False) as record:
        rows = partial_sheet_rows(record, load_catalogue())
    table = [tuple("?" if value is None else str(value) for value in row.values()) for row in rows]
    heads = ("stock", "used_cells", "free_cells", "next_cell", "job", "time")
    show(form, lambda: {"schema": "partial-sheets 1", "partial_sheets": rows}, heads, table)


@record_group.command("list", example="labeler record list")
@options(RECORD, JSON, CSV)
@form
def record_list_command(record_path: str | None, form: str) -> None:
    """List the recorded jobs, oldest first."""
    from labeler.answers.listing import job_rows

    with opened_record(record_path, create=False) as record:
        jobs = record.jobs()
    rows = [
        (str(j.id), j.kind, j.unit, j.part_number or j.harness, j.revision, j.state, j.time, j.user, j.reason)
        for j in jobs
    ]
    heads = ("job", "kind", "unit", "harness", "revision", "state", "time", "user", "reason")
    show(form, lambda: {"schema": "jobs 1", "jobs": job_rows(jobs)}, heads, rows)


@record_group.command("show", example="labeler record show 0001")
@click.argument("about", metavar="UNIT|JOB|MARKER")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
@form
def record_show_command(about: str, unit: str | None, harness: str | None, record_path: str | None, form: str) -> None:
    """Show the record of a unit (0001), a job (job:3) or a marker."""
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


# ---------------------------------------------------------------- printing again, comparing, void, interrupted jobs


@command("reprint", example='labeler reprint "0001 J4" --reason lost')
@click.argument("marker", metavar="[MARKER]", required=False)
@options(UNIT, HARNESS, BRANCH, SHEET, REASON)
@click.option("--stock", metavar="NAME", default="", help="Stock to print on; default: the stock of the first print.")
@click.option("--reprint-mark", is_flag=True, help="Print R1, R2 … beside the text, the number of the reprint.")
@options(START_CELL, USED_CELLS, USE_PARTIAL_SHEETS, PRINTER, PAPER, PNG, SEND_TO)
@options(OUTPUT, RECORD, FORCE, DRY_RUN, REPORTS)
@target
@loading
@output
def reprint_command(
    target: Target, loading: Loading, output: Output, record_path: str | None, reason: str, reprint_mark: bool
) -> None:
    """Print a recorded MARKER again, exactly as it was.

    MARKER is an id, a place, a circuit, words of the text, or a scanned code.

    Without MARKER, --sheet prints a sheet again, every marker in its cell. --unit prints a unit, with --branch only
    one branch of it.
    """
    from labeler.job.order import Reprint
    from labeler.job.reprinting import reprint

    elsewhere = loading.stocks or loading.start or loading.used or loading.partial_sheets
    same_cells = bool(target.sheet) and not target.marker and not elsewhere
    again = Reprint(reason, output, loading, who(), date.today().isoformat(), same_cells, reprint_mark)
    with record_for(output, record_path, create=False) as record:
        printed = reprint(record, chosen_markers(record, target), again)
        warn(printed[0].notes)
        tell(printed, record, output)


@command("diff", example="labeler diff 0001 examples/survey-boat.toml")
@click.argument("old", metavar="OLD")
@click.argument("new", metavar="NEW")
@click.option("--all", "unchanged", is_flag=True, help="List the unchanged markers too.")
@options(SET, RECORD, JSON, CSV, READING, REPORTS)
@harness_file
@form
def diff_command(file: HarnessFile, old: str, new: str, unchanged: bool, record_path: str | None, form: str) -> None:
    """Compare the markers of two harnesses.

    OLD and NEW are files, a recorded unit ("0001") or a recorded revision ("RSB-210 B"). Options such as --worksheet
    and --column-map apply to both files.
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
        report(", ".join(f"{count} {word}" for word, count in counts.items()))


@record_group.command("void", example='labeler record void "0001 J4" --reason smeared')
@click.argument("marker", metavar="[MARKER]", required=False)
@options(UNIT, HARNESS, BRANCH, SHEET, REASON, RECORD, REPORTS)
@target
def record_void_command(target: Target, reason: str, record_path: str | None) -> None:
    """Declare a printed MARKER void. Do not use it until it is printed again.

    Without MARKER, --sheet declares the markers on a sheet void; their reprints stay valid. --unit declares a unit
    void, with --branch only one branch of it.
    """
    with opened_record(record_path, create=False) as record:
        items, on = chosen_markers(record, target), target.on_sheet
        items = record.copies(items, on) if on else items
        if not target.marker:  # of many, those that can be
            items = tuple(item for item in items if item.state == "printed") or items
        record.void_all([(unit_name(item), item.row.id) for item in items], reason, who(), sheet=on)
        copy = f", on sheet {target.sheet}" if on else ""
        report_lines(f"void: {item.row.id}, unit {item.unit}, {place_of(item.row)}{copy}: {reason}" for item in items)


@record_group.command("finish", example="labeler record finish 3")
@click.argument("job", metavar="JOB", type=click.IntRange(1))
@click.option("-o", "--output", metavar="FOLDER", type=NAMED, help="Folder for the files; default: as before.")
@options(RECORD, FORCE, REPORTS)
def record_finish_command(job: int, output: Path | None, record_path: str | None, force: bool) -> None:
    """Finish an interrupted JOB and the jobs that share its sheets.

    The command draws the files again from the record. It sends nothing to a printer; it reports what to send.
    """
    from labeler.job.reprinting import finish_job

    with opened_record(record_path, create=False) as record:
        done = finish_job(record, job, output, force=force, user=who())
        warn(done[0].notes)
        tell(done, record)


@record_group.command("cancel", example='labeler record cancel 4 --reason "power cut"')
@click.argument("job", metavar="JOB", type=click.IntRange(1))
@options(REASON, RECORD, REPORTS)
def record_cancel_command(job: int, reason: str, record_path: str | None) -> None:
    """Cancel an interrupted JOB and the jobs that share its sheets.

    The unit can then be printed again.
    """
    with opened_record(record_path, create=False) as record:
        broken_off = [one.id for one in record.run(job) if one.state == "pending"] or [job]
        record.cancel_pending_jobs(job, reason, who())
        report_lines(f"job {one} is cancelled: {reason}" for one in broken_off)
