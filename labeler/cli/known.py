"""Commands without a build record: what is known, one question without a file, reading, pictures; and scanning."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from labeler.cli.options import (
    FILE,
    FORCE,
    JSON,
    NAMED,
    OUT,
    PAPER,
    PRINTER,
    READING,
    RECORD,
    SET,
    STOCK,
    chosen_printer,
    harness_file,
    loading,
    opened_record,
    options,
    parse_measure,
)
from labeler.cli.terminal import print_json, print_lines, shown_progress, warn
from labeler.errors import LabelerError

if TYPE_CHECKING:
    from labeler.job.order import HarnessFile, Loading


# ---------------------------------------------------------------- one question without a file


@click.command("fit")
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
    from labeler.answers import report, single
    from labeler.model import FAIL

    answer = single.fit_text(text, over, sleeve=sleeve, cut=cut, settings=settings)
    if as_json:
        print_json(report.fit_json(answer))
    else:
        print_lines(report.one(answer))
    if answer.result == FAIL:
        raise SystemExit(1)


@click.command("bundle")
@click.argument("wires", metavar="WIRES")
@options(SET, JSON)
def bundle_command(wires: str, settings: dict[str, str], as_json: bool) -> None:
    """Work out the diameters of a bundle: what passes over it, and what a sleeve closes on.

    WIRES lists counts with size and insulation, or diameters. Example: labeler bundle "2 x 20 AWG TXL, 4 x 1.9 mm"
    """
    from labeler.answers.single import bundle_json, bundle_of

    answer, source, assumed = bundle_of(wires, settings)
    warn(assumed)
    if as_json:
        print_json(bundle_json(answer, source))
        return
    click.echo(f"passes over {answer.pass_over.low:.2f} to {answer.pass_over.high:.2f} mm")
    click.echo(f"closes on   {answer.grip.low:.2f} to {answer.grip.high:.2f} mm")
    click.echo(source)


# ---------------------------------------------------------------- what is known


@click.command("stock")
@click.argument("name", required=False)
@JSON
@click.option("--out", type=NAMED, help="Draw the empty stock here, as NAME.pdf and NAME.png.")
@FORCE
def stock_command(name: str | None, as_json: bool, out: Path | None, force: bool) -> None:
    """List the stocks that can be printed on, or show one; --out draws it, to be laid over the real sheet.

    Example: labeler stock wrap-a4-25x18 --out .
    """
    if out is None:
        _show_list("stock", as_json, name)
        return
    if not name:
        raise click.UsageError("--out needs the NAME of the stock to draw")
    from labeler.job.single_pages import draw_stock

    print_lines(draw_stock(name, out, force=force))


@click.command("calibrate")
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
    from labeler.job import single_pages
    from labeler.tables.printers import Printer, load_printer, measured, printer_file

    path = printer_file(printer) if printer else None
    known = path is not None and path.is_file()
    profile = load_printer(printer) if printer and known else Printer(path.stem if path else "")
    if measured_x is None and measured_y is None:
        if not stock:
            raise click.UsageError("name the STOCK to print the page for, or give --measured-x and --measured-y")
        print_lines(single_pages.draw_calibration(stock, profile, out, force=force))
        if path and not known:
            click.echo(f"{path}: there is no such profile yet: the page is drawn without a correction", err=True)
        return
    if path is None or stock:
        raise click.UsageError("a measure is stored for a --printer, without a STOCK")
    corrected = measured(profile, measured_x, measured_y)
    single_pages.store_printer(corrected, path)
    along = f"lengths x {corrected.scale_x:g} along the page (before {profile.scale_x:g})"
    click.echo(f"{path}: {along}, x {corrected.scale_y:g} up the page (before {profile.scale_y:g})", err=True)


def _list_command(name: str, words: str, argument: str = "") -> click.Command:
    """Return a command that lists one of `labeler.answers.listing.LISTS`, all of it or what the argument names."""

    def command(as_json: bool, **named: str | None) -> None:
        _show_list(name, as_json, *named.values())

    arguments = [click.Argument([argument], required=False)] if argument else []
    return JSON(click.Command(name, callback=command, params=list(arguments), help=words))


def _show_list(name: str, as_json: bool, *named: str | None) -> None:
    from labeler.answers.listing import LISTS
    from labeler.tables.catalogue import load_catalogue

    rows, lines = LISTS[name]
    if as_json:
        print_json({"schema": f"{name} 1", name: rows(load_catalogue(), *named)})
    else:
        print_lines(lines(load_catalogue(), *named))


# ---------------------------------------------------------------- codes, pictures, reading


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
    else:
        print_lines(scan.tally_lines(tally) if tally else scan.lines_of(scanned))
    bad = any(not one.markers or any(item.state == "void" for item in one.markers) for one in scanned)
    if bad or (tally and (tally.missing or tally.others)):
        raise SystemExit(1)


@click.command("proof")
@options(FILE, SET, PAPER, STOCK, PRINTER)
@click.option("--out", type=NAMED, default=Path("proof.html"), help="The page to write.")
@FORCE
@harness_file
@loading
def proof_command(file: HarnessFile, loading: Loading, printer: str | None, out: Path, force: bool) -> None:
    """Make one HTML page of pictures: every marker of FILE as printed and as it will look on its part.

    Needs no network and no other file. Example: labeler proof examples/survey-boat.toml --out proof.html
    """
    from labeler.job.check import check
    from labeler.proof import write_proof

    checked = check(file.for_printer(chosen_printer(printer)), loading, track=shown_progress)
    count = write_proof(checked, out, force=force, track=shown_progress)
    warn((*checked.notes, f"{count} markers"))
    click.echo(str(out))


@click.command("read")
@options(FILE, SET, JSON)
@click.option("-o", "--out", metavar="FILE", type=NAMED, help="Write it as a harness file (TOML).")
@click.option("--draft", is_flag=True, help="Print a column map of a list, to be filled in and given with --map.")
@READING
@FORCE
@harness_file
def read_command(file: HarnessFile, as_json: bool, out: Path | None, draft: bool, force: bool) -> None:
    """Show what is understood of FILE: its form, counts, what became what, what was left and why.

    Wire lists (CSV, XLSX), KBL, VEC and harness files. Example: labeler read boat.kbl -o boat.toml
    """
    from labeler.answers import reading as account
    from labeler.job import reading

    if draft:
        click.echo(reading.draft(file.path, file.reading), nl=False)
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
    if out is not None:
        reading.store_harness(found, out, force=force)
        click.echo(f"written to {out}", err=True)


KNOWN = (
    read_command,
    scan_command,
    proof_command,
    fit_command,
    bundle_command,
    stock_command,
    calibrate_command,
    _list_command(
        "sleeves",
        "List the families of heat-shrink tube with their sizes and sources. Example: labeler sleeves AS23053/5.",
        "family",
    ),
    _list_command(
        "wires",
        "List the kinds of insulated wire with their diameters and sources. Example: labeler wires TXL.",
        "kind",
    ),
    _list_command(
        "coverings", "List what may lie over a bundle, with walls, other names and sources. Example: labeler coverings."
    ),
    _list_command(
        "choices", "List every setting with its default, its limits and the reason for it. Example: labeler choices."
    ),
)
