"""The command line's read command: what a file was understood to say, before anything is planned."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from labeler.options import FILE, FORCE, JSON, NAMED, SET, options, reading
from labeler.terminal import print_json, warn

if TYPE_CHECKING:
    from labeler.read import Wanted


@click.command("read")
@options(FILE, SET, JSON)
@click.option("-o", "--out", metavar="FILE", type=NAMED, help="Write it as a harness file (TOML).")
@click.option("--draft", is_flag=True, help="Print a column map of a list, to be filled in and given with --map.")
@reading
@FORCE
def read_command(
    file: str, settings: dict[str, str], as_json: bool, out: Path | None, draft: bool, force: bool, wanted: Wanted
) -> None:
    """Show what is understood of FILE: its form, counts, what became what, what was left and why.

    Wire lists (CSV, XLSX), KBL, VEC and harness files. Example: labeler read boat.kbl -o boat.toml
    """
    from labeler import pipeline, understood
    from labeler.errors import LabelerError

    if draft:
        click.echo(pipeline.draft(file, wanted), nl=False)
        return
    try:
        found = pipeline.understand(file, settings, wanted)
    except LabelerError as error:
        map_draft = pipeline.draft(file, wanted) if pipeline.wants_map(error) and file != "-" else ""
        if as_json:
            print_json({**understood.refused_json(error), "column_map": map_draft})
        elif map_draft:
            click.echo(map_draft, nl=False)
        raise
    if as_json:
        print_json(understood.as_json(found))
    else:
        for line in understood.lines(found):
            click.echo(line)
        warn(found.harness.notes)
    found.checked()
    if out is not None:
        pipeline.store_harness(found, out, force=force)
        click.echo(f"written to {out}", err=True)
