"""The command line of the build record: print again, look up, declare void, finish what was broken off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    REASON,
    RECORD,
    SEND,
    SET,
    SHEET,
    START,
    UNIT,
    USED,
    loading,
    options,
    output,
    reading,
)
from labeler.cli.targets import (
    chosen_markers,
    job_named,
    named_one_way,
    opened_record,
    sheet_named,
    unit_name,
    who,
)
from labeler.cli.terminal import (
    change_words,
    marker_table,
    place_of,
    place_of_row,
    print_json,
    show_table,
    tell,
    warn,
)

if TYPE_CHECKING:
    from labeler.read.import_report import Wanted


# ---------------------------------------------------------------- The command line of keeping the record


@click.command("find")
@click.argument("query", metavar="NAME")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
def find_command(
    query: str, unit: str | None, harness: str | None, record_path: str | None, as_json: bool, as_csv: bool
) -> None:
    """Find every marker that a NAME means: an id, a place, a circuit, a branch, words of a text, a scanned code.

    Example: labeler record find "WATER PROBE"
    """
    from labeler.answers.listing import recorded_rows
    from labeler.cli.terminal import marker_table, show_table
    from labeler.errors import LabelerError, Problem, Where

    if not query.strip():
        raise click.UsageError("NAME is empty")
    with opened_record(record_path, create=False) as record:
        found = record.find(query, unit=unit, harness=harness)
        if not found:
            what = f"no marker is recorded for {query!r}"
            fix = "an id, a place or a circuit is named whole; of a text whole words"
            raise LabelerError(Problem(Where(record.name), what, fix))
    if as_json:
        print_json(recorded_rows(found))
    else:
        show_table(*marker_table(found, whole=as_csv), as_csv=as_csv)


@click.command("verify")
@options(RECORD, JSON)
def verify_command(record_path: str | None, as_json: bool) -> None:
    """Look the whole record over: digests, references, that every marker can be drawn again.

    Exit status 1 where something is wrong. Example: labeler record verify
    """
    from labeler.answers.report import problem_json
    from labeler.job.keeping import verify

    with opened_record(record_path, create=False) as record:
        problems = verify(record)
        broken_off = [job for job in record.jobs() if job.state == "prepared"]
        if as_json:
            prepared = [job.id for job in broken_off]
            print_json({"problems": list(map(problem_json, problems)), "prepared_jobs": prepared})
        else:
            for problem in problems:
                click.echo(str(problem))
            for job in broken_off:
                click.echo(f"job {job.id} of {job.at[:10]} is prepared: resume or withdraw it", err=True)
            counts = f"{len(record.jobs())} jobs of {len(record.units())} units"
            click.echo(f"{record.name}: {counts}, {len(problems) or 'no'} problems", err=True)
    if problems:
        raise SystemExit(1)


@click.command("export")
@click.argument("units", metavar="[UNIT]...", nargs=-1)
@options(HARNESS, OUT, RECORD, FORCE)
def export_command(
    units: tuple[str, ...], harness: str | None, out: Path, record_path: str | None, force: bool
) -> None:
    """Write UNITs, or all of them, as self-contained JSON files. Example: labeler record export 0001 --out copies."""
    from labeler.job.keeping import export_units

    with opened_record(record_path, create=False) as record:
        for file in export_units(record, units, out, harness=harness, force=force):
            click.echo(str(file))


@click.command("import")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=NAMED)
@options(RECORD, JSON)
def import_command(files: tuple[Path, ...], record_path: str | None, as_json: bool) -> None:
    """Add the units of exported FILEs; once more adds nothing.

    Example: labeler record import copies/RSB-210-0001.json
    """
    from dataclasses import asdict

    from labeler.job.keeping import import_units

    with opened_record(record_path) as record:
        taken = import_units(record, files)
    if as_json:
        print_json({str(file): asdict(one) for file, one in taken.items()})
        return
    for file, one in taken.items():
        added = f"{one.jobs} jobs, {one.states} states, {one.voids} voids"
        click.echo(f"{file}: unit {one.unit}: {added} added")


@click.command("backup")
@click.argument("file", metavar="FILE", type=NAMED)
@options(RECORD)
def backup_command(file: Path, record_path: str | None) -> None:
    """Copy the record, as it is at one moment, to a new FILE, while others go on using it.

    Of a record on a server too: the copy is a record in a file. Example: labeler record backup record-of-today.sqlite
    """
    with opened_record(record_path, create=False) as record:
        record.back_up(file)
    click.echo(str(file))


@click.command("used")
@options(RECORD, JSON, CSV)
def used_command(record_path: str | None, as_json: bool, as_csv: bool) -> None:
    """List the sheets that are partly used: the cells that are gone, how many are left, where --go-on begins.

    Of every stock with cells of a fixed size the last sheet is known; cards and strips are not listed.

    A sheet that is lost or full is left alone: --start STOCK=A1 begins a new one. Example: labeler record used
    """
    from labeler.answers.listing import used_rows
    from labeler.cli.terminal import show_table
    from labeler.tables.catalogue import load_catalogue

    with opened_record(record_path, create=False) as record:
        rows = used_rows(record, load_catalogue())
    if as_json:
        print_json(rows)
        return
    cells = [(r["stock"], r["used"], "?" if r["free"] is None else str(r["free"]), r["next"]) for r in rows]
    jobs = [(str(r["job"]), r["at"]) for r in rows]
    table = [(*sheet, *job) for sheet, job in zip(cells, jobs, strict=True)]
    show_table(("stock", "used", "free", "goes on at", "job", "when"), table, as_csv=as_csv)


KEEPING = (find_command, used_command, verify_command, export_command, import_command, backup_command)


# ---------------------------------------------------------------- cli_record


@click.command("reprint")
@click.argument("marker", metavar="MARKER", required=False)
@click.option("--unit", metavar="SERIAL", help="Of this unit; alone: all of it.")
@HARNESS
@options(BRANCH, SHEET)
@REASON
@click.option("--stock", metavar="NAME", default="", help="Onto another stock than the first time.")
@click.option("--numbered", "with_numbers", is_flag=True, help="Write R1, R2 … beside the text: which reprint it is.")
@options(START, USED, GO_ON, PRINTER, PAPER, PNG, SEND, OUT, RECORD, FORCE)
@loading
@output
def reprint_command(
    marker: str | None,
    unit: str | None,
    harness: str | None,
    branch: str | None,
    sheet: str | None,
    record_path: str | None,
    reason: str,
    **how: Any,
) -> None:
    """Print one recorded MARKER again, exactly: by its id, place or circuit, words of its text, or its scanned code.

    With --sheet, --branch or --unit alone: a spoiled sheet (every marker in its own cell, of all the units that share
    it), a branch, a whole unit.
    Example: labeler reprint "0001 J4" --reason lost
    """
    from datetime import date

    from labeler.job.order import Reprint
    from labeler.job.reprinting import reprint

    named_one_way(marker, sheet, unit, branch)
    load = how["loading"]
    elsewhere = load.stocks or load.start or load.used or load.partial_sheets
    same_cells = bool(sheet) and not marker and not elsewhere
    again = Reprint(reason, how["output"], load, who(), date.today().isoformat(), same_cells, how["with_numbers"])
    with opened_record(record_path, create=False) as record:
        printed = reprint(record, chosen_markers(record, marker, unit, branch, sheet, harness), again)
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

    from labeler.answers.listing import difference_rows
    from labeler.job.order import HarnessFile
    from labeler.job.revising import diff

    with ExitStack() as stack:
        files = Path(old).exists() and Path(new).exists()
        record = None if files else stack.enter_context(opened_record(record_path, create=False))
        found = diff(old, new, record, HarnessFile(new, settings, wanted))
    if as_json:
        print_json(difference_rows(found))
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

    from labeler.answers.listing import recorded_rows

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
    from labeler.job.reprinting import resume

    with opened_record(record_path, create=False) as record:
        done = resume(record, job, out, force=force, user=who())
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
