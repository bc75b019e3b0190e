"""Commands that print no sheets: one question without a file, scanning, pictures, reading."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from labeler.cli.commands import command
from labeler.cli.options import (
    FILE,
    FORCE,
    JSON,
    NAMED,
    PAPER,
    PRINTER,
    READING,
    RECORD,
    REPORTS,
    SET,
    STOCK,
    chosen_printer,
    harness_file,
    loading,
    opened_record,
    options,
)
from labeler.cli.terminal import print_json, print_lines, report, shown_progress, warn
from labeler.errors import LabelerError

if TYPE_CHECKING:
    from labeler.job.order import HarnessFile, Loading


# ---------------------------------------------------------------- one question without a file


@command("fit", example='labeler fit "DEPTH J4" --diameter 4.2')
@click.argument("text", metavar="TEXT")
@click.option("--diameter", required=True, metavar="MM", help="Diameter under the sleeve, or a range: 4.0-4.6.")
@click.option("--tube", metavar="NAME", help="Tube or family; default: the setting sleeve.families.")
@click.option("--cut-length", metavar="MM", help="Cut length; default: the shortest that fits the text.")
@options(SET, JSON)
def fit_command(
    text: str, diameter: str, tube: str | None, cut_length: str | None, settings: dict[str, str], as_json: bool
) -> None:
    """Check that TEXT can be read on a sleeve shrunk onto a diameter.

    The exit status is 1 if it does not fit.
    """
    from labeler.answers import report, single
    from labeler.model import FAIL

    answer = single.fit_text(text, diameter, tube=tube, cut_length=cut_length, settings=settings)
    if as_json:
        print_json(report.fit_json(answer))
    else:
        print_lines(report.one(answer))
    if answer.result == FAIL:
        raise SystemExit(1)


@command("bundle", example='labeler bundle "2 x 20 AWG TXL, 4 x 1.9 mm"')
@click.argument("wires", metavar="WIRES")
@options(SET, JSON)
def bundle_command(wires: str, settings: dict[str, str], as_json: bool) -> None:
    """Calculate the pass-over and the grip diameter of a bundle.

    WIRES lists how many wires of which size and insulation, or of which diameter.
    """
    from labeler.answers.single import bundle_json, bundle_of

    answer, source, assumed = bundle_of(wires, settings)
    warn(assumed)
    if as_json:
        print_json(bundle_json(answer, source))
        return
    click.echo(f"pass-over diameter  {answer.pass_over.low:.2f} to {answer.pass_over.high:.2f} mm")
    click.echo(f"grip diameter       {answer.grip.low:.2f} to {answer.grip.high:.2f} mm")
    click.echo(source)


# ---------------------------------------------------------------- codes, pictures, reading


@command("scan", example='labeler scan "0001 W9X0GRQG"')
@click.argument("given", metavar="TEXT|PHOTO...", nargs=-1, required=True)
@click.option("--unit", metavar="SERIAL", help="Unit of which to check off the markers that were scanned.")
@options(RECORD, JSON)
def scan_command(given: tuple[str, ...], unit: str | None, record_path: str | None, as_json: bool) -> None:
    """Look up the unit and the marker of scanned codes.

    TEXT is what a scanner types. PHOTO is a PNG or JPEG file with codes in it. The exit status is 1 if a marker is
    unknown, void or missing.
    """
    from labeler import scan

    if not all(one.strip() for one in given):
        raise click.UsageError("TEXT is empty: nothing was scanned")
    with opened_record(record_path, create=False) as record:
        scanned = scan.scan(record, given)
        tally = scan.against(record, unit, scanned) if unit else None
    if as_json:
        print_json(scan.as_json(scanned, tally))
    else:
        print_lines(scan.tally_lines(tally) if tally else scan.lines_of(scanned))
    bad = any(not one.markers or any(item.state == "void" for item in one.markers) for one in scanned)
    if bad or (tally and (tally.missing or tally.others)):
        raise SystemExit(1)


@command("proof", example="labeler proof examples/survey-boat.toml")
@options(FILE, SET, PAPER, STOCK, PRINTER)
@click.option(
    "-o", "--output", metavar="FILE", type=NAMED, default=Path("proof.html"), show_default=True, help="Page to write."
)
@options(FORCE, READING, REPORTS)
@harness_file
@loading
def proof_command(file: HarnessFile, loading: Loading, printer: str | None, output: Path, force: bool) -> None:
    """Draw every marker of FILE on one HTML page.

    The page shows each marker as printed and as installed. It needs no network and no other file.
    """
    from labeler.job.check import check
    from labeler.proof import write_proof

    checked = check(file.for_printer(chosen_printer(printer)), loading, track=shown_progress)
    count = write_proof(checked, output, force=force, track=shown_progress)
    warn(checked.notes)
    report(f"{count} markers")
    click.echo(str(output))


@command("read", example="labeler read examples/survey-boat.csv --output boat.toml")
@options(FILE, SET, JSON)
@click.option("-o", "--output", metavar="FILE", type=NAMED, help="Harness file (TOML), or column map, to write.")
@click.option("--write-column-map", is_flag=True, help="Write a column map of a wire list, to be filled in.")
@options(READING, FORCE, REPORTS)
@harness_file
def read_command(file: HarnessFile, as_json: bool, output: Path | None, write_column_map: bool, force: bool) -> None:
    """Show what the program reads from FILE.

    FILE is a wire list (CSV, XLSX), a KBL or VEC file, or a harness file. The command also lists what the program does
    not import.
    """
    from labeler.answers import reading as account
    from labeler.job import reading

    if write_column_map:
        draft = reading.draft(file.path, file.reading)
        if output is None:
            click.echo(draft, nl=False)
        else:
            reading.store_text(draft, output, force=force)
            report(f"written to {output}")
        return
    try:
        found = reading.understand(file.path, file.settings, file.reading)
    except LabelerError as error:
        column_map = ""
        if reading.wants_map(error) and file.path != "-":
            column_map = reading.draft(file.path, file.reading)
        if as_json:
            print_json({**account.refused_json(error), "column_map": column_map})
        elif column_map:
            click.echo(column_map, nl=False)
        raise
    if as_json:
        print_json(account.as_json(found))
    else:
        print_lines(account.lines(found))
        warn(found.harness.notes)
    found.checked()
    if output is not None:
        reading.store_harness(found, output, force=force)
        report(f"written to {output}")


KNOWN = (read_command, scan_command, proof_command, fit_command, bundle_command)
