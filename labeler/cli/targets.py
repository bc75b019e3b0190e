"""What a command line means: the record, who works with it, and which of its markers are named."""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from labeler.cli.options import gathered
from labeler.cli.terminal import columns, marker_table
from labeler.errors import LabelerError, Problem, Where

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Recorded


@dataclass(frozen=True, slots=True)
class Target:
    """Which recorded markers a command line names: one, or all of a sheet, a unit, or a branch of a unit."""

    marker: str | None = None
    unit: str | None = None
    branch: str | None = None
    sheet: str | None = None  # as in 1:3
    harness: str | None = None

    @property
    def on_sheet(self) -> tuple[int, int] | None:
        """Return the job and the number of the sheet that is named. Raises `click.BadParameter`."""
        if self.sheet is None:
            return None
        found = re.fullmatch(r"\s*([0-9]{1,9}):([0-9]{1,9})\s*", self.sheet)
        if not found:
            raise click.BadParameter(f"{self.sheet[:40]!r} is not JOB:NUMBER, as in 1:3", param_hint="--sheet")
        return int(found[1]), int(found[2])


def _target(given: dict[str, Any]) -> Target:
    found = Target(*(given.pop(name) for name in ("marker", "unit", "branch", "sheet", "harness")))
    if found.marker is None and found.sheet is None and found.unit is None:
        raise click.UsageError("name a MARKER, a --sheet, or a --unit (with or without --branch)")
    if found.branch is not None and found.unit is None:
        raise click.UsageError("--branch needs --unit: a branch stands in every unit")
    return found


target = gathered("target", _target)
"""The command gets which markers are named as ``target``."""


def opened_record(path: str | None, create: bool = True) -> Record:
    """Open the build record: the path given, or record.sqlite in the user's data folder."""
    from labeler.record import open_record

    if path is None:
        from platformdirs import user_data_path

        path = str(user_data_path("labeler") / "record.sqlite")
    return open_record(path, create=create)


def who() -> str:
    """Return who is logged in, or ""."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return ""


def job_named(about: str) -> int | None:
    """Return the job that is named as in job:3, None for another name."""
    found = re.fullmatch(r"job:([0-9]{1,9})", about)
    return int(found[1]) if found else None


def chosen_markers(record: Record, of: Target) -> tuple[Recorded, ...]:
    """Find what is meant: exactly one marker where one is named, else all on a sheet, or of one harness's unit.

    Where several are met, a terminal is asked which; elsewhere it is an error that lists them.
    """
    marker, unit, branch, harness, on_sheet = of.marker, of.unit, of.branch, of.harness, of.on_sheet
    for name, given in (("MARKER", marker), ("--unit", unit), ("--branch", branch), ("--harness", harness)):
        if given is not None and not given.strip():
            raise click.UsageError(f"{name} is empty")
    found = record.find(marker or "", unit=unit, harness=harness, branch=branch, sheet=on_sheet)
    found = tuple(item for item in found if item.state != "taken off") or found  # it is on the unit no more
    asked = marker or of.sheet or branch or unit
    if not found:
        where = f"{record.name}, {harness}" if harness else record.name
        if on_sheet is not None and not marker:
            message = f"job {on_sheet[0]} has no sheet {on_sheet[1]} with markers on it"
            raise LabelerError(Problem(Where(where), message, "the head of a sheet says its job and number"))
        near = record.suggestion_for(marker or branch or "", unit=unit, harness=harness)
        message = "; ".join(filter(None, (f"no marker is recorded for {asked!r}", near.message)))
        raise LabelerError(Problem(Where(where), message, near.fix))
    if marker:
        heads, *lines = columns(*marker_table(found))
        first = found[0]
        narrow = "or narrow it with --unit, --harness or --branch"
        if len({item.row.kind for item in found}) > 1:
            narrow = f'or by its kind, as in "{first.unit} {first.row.kind} {first.row.at}", {narrow}'
        fix = f'name one by its unit and id, as in "{first.unit} {first.row.id}", {narrow}'
        return (found[which_of(lines, f"{len(found)} markers match {asked!r}", fix, record.name, heads)],)
    if of.sheet:  # of all the units that share it
        return found
    units = list(dict.fromkeys(map(unit_name, found)))
    what = f"{len(units)} harnesses have what {asked!r} names"
    meant = units[which_of(units, what, "name one with --harness", record.name)]
    return tuple(item for item in found if unit_name(item) == meant)


MOST_LISTED = 30  # candidates: more than a screen of them helps nobody


def which_of(lines: Sequence[str], what: str, fix: str, where: str, heads: str = "") -> int:
    """Return which of several is meant, counted from 0: the only one, or the one a person at the terminal names.

    Raises `LabelerError` with the numbered lines where nobody can be asked.
    """
    if len(lines) == 1:
        return 0
    width = len(str(min(len(lines), MOST_LISTED)))
    listed = [f"{what}:", *([f"  {'':{width}}  {heads}"] if heads else [])]
    listed += [f"  {number:{width}}  {line}" for number, line in enumerate(lines[:MOST_LISTED], 1)]
    if len(lines) > MOST_LISTED:
        listed.append(f"  and {len(lines) - MOST_LISTED} more")
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise LabelerError(Problem(Where(where), "\n".join((*listed, "")), fix))
    click.echo("\n".join(listed), err=True)
    answer: int = click.prompt("Which number", type=click.IntRange(1, min(len(lines), MOST_LISTED)), err=True)
    return answer - 1


def unit_name(item: Recorded) -> str:
    """Return what names the unit of a marker and no other harness's unit of the same serial."""
    return f"{item.part_number or item.harness} {item.unit}"
