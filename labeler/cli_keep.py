"""The command line of keeping the record: looking it over, copying it, taking units out and in."""

from __future__ import annotations

from pathlib import Path

import click

from labeler.meant import opened_record, record_place
from labeler.options import CSV, FORCE, HARNESS, JSON, NAMED, OUT, RECORD, UNIT, options
from labeler.terminal import print_json


@click.command("find")
@click.argument("query", metavar="NAME")
@options(UNIT, HARNESS, RECORD, JSON, CSV)
def find_command(
    query: str, unit: str | None, harness: str | None, record_path: str | None, as_json: bool, as_csv: bool
) -> None:
    """Find every marker that a NAME means: an id, a place, a circuit, a branch, words of a text, a scanned code.

    Example: labeler record find "WATER PROBE"
    """
    from labeler.errors import LabelerError, Problem, Where
    from labeler.listing import recorded_rows
    from labeler.terminal import marker_table, show_table

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
    from labeler.pipeline import verify
    from labeler.report import problem_json

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
    from labeler.pipeline import export_units

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

    from labeler.pipeline import import_units

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


@click.command("upgrade")
@RECORD
def upgrade_command(record_path: str | None) -> None:
    """Bring a record that an older version made to today's schema; a copy is kept. Example: labeler record upgrade."""
    from labeler.record.connect import upgrade
    from labeler.record.schema import VERSION

    version, copy = upgrade(record_place(record_path))
    if version == VERSION:
        click.echo(f"the record has schema {VERSION}: nothing to do", err=True)
        return
    click.echo(f"schema {version} is now schema {VERSION}", err=True)
    if copy:
        click.echo(copy)


@click.command("used")
@options(RECORD, JSON, CSV)
def used_command(record_path: str | None, as_json: bool, as_csv: bool) -> None:
    """List the sheets that are partly used: the cells that are gone, how many are left, where --go-on begins.

    Of every stock with cells of a fixed size the last sheet is known; cards and strips are not listed.

    A sheet that is lost or full is left alone: --start STOCK=A1 begins a new one. Example: labeler record used
    """
    from labeler.listing import used_rows
    from labeler.terminal import show_table

    with opened_record(record_path, create=False) as record:
        rows = used_rows(record)
    if as_json:
        print_json(rows)
        return
    cells = [(r["stock"], r["used"], "?" if r["free"] is None else str(r["free"]), r["next"]) for r in rows]
    jobs = [(str(r["job"]), r["at"]) for r in rows]
    table = [(*sheet, *job) for sheet, job in zip(cells, jobs, strict=True)]
    show_table(("stock", "used", "free", "goes on at", "job", "when"), table, as_csv=as_csv)


KEEPING = (find_command, used_command, verify_command, export_command, import_command, backup_command, upgrade_command)
