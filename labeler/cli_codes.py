"""The command line's commands for codes and pictures: scan, and the proof of a file."""

from __future__ import annotations

from pathlib import Path

import click

from labeler.meant import opened_record
from labeler.options import FILE, FORCE, JSON, NAMED, PAPER, PRINTER, RECORD, SET, STOCK, options
from labeler.terminal import print_json, shown_progress, warn


@click.command("scan")
@click.argument("given", metavar="TEXT|PHOTO...", nargs=-1, required=True)
@click.option("--against", "unit", metavar="UNIT", help="Tick off which markers of this unit were seen.")
@options(RECORD, JSON)
def scan_command(given: tuple[str, ...], unit: str | None, record_path: str | None, as_json: bool) -> None:
    """Say which unit and marker a code means: TEXT as a scanner types it, or a PHOTO (PNG, JPEG) with codes in it.

    Exit status 1 when something is unknown, void, or missing. Example: labeler scan "0001 W9X0GRQG",
    labeler scan --against 0001 bench.jpg
    """
    from labeler import scan

    if not all(one.strip() for one in given):
        raise click.UsageError("a TEXT is empty: nothing was scanned")
    with opened_record(record_path, create=False) as record:
        scanned = scan.scan(record, given)
        tally = scan.against(record, unit, scanned) if unit else None
    if as_json:
        print_json(scan.as_json(scanned, tally))
    elif tally is not None:
        for line in scan.tally_lines(tally):
            click.echo(line)
    else:
        for one in scanned:
            for line in scan.lines_of(one):
                click.echo(line)
    if tally is not None and (tally.missing or tally.others):
        raise SystemExit(1)
    if any(not one.markers or any(item.state == "void" for item in one.markers) for one in scanned):
        raise SystemExit(1)


@click.command("proof")
@options(FILE, SET, PAPER, STOCK, PRINTER)
@click.option("--out", type=NAMED, default=Path("proof.html"), help="The page to write.")
@FORCE
def proof_command(
    file: str,
    settings: dict[str, str],
    paper: str,
    stock: tuple[str, ...],
    printer: str | None,
    out: Path,
    force: bool,
) -> None:
    """Make one HTML page of pictures: every marker of FILE as printed and as it will look on its part.

    Needs no network and no other file. Example: labeler proof examples/survey-boat.toml --out proof.html
    """
    from labeler.pipeline import for_printer
    from labeler.printers import AS_DRAWN, load_printer
    from labeler.proof import write_proof

    settings = for_printer(settings, load_printer(printer) if printer else AS_DRAWN)
    count, notes = write_proof(
        file, out, settings=settings, paper=paper, stock=stock, force=force, track=shown_progress
    )
    warn(notes)
    click.echo(f"{count} markers", err=True)
    click.echo(str(out))
