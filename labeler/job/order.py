"""What a person asks to be printed, as one value: harness files and units, stock and sheets, files and printers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from labeler.job.deliver import Output
from labeler.read.import_report import AS_IT_STANDS, Wanted

SHARED = ("by unit", "by marker")
"""How several units share their sheets: unit after unit, or the first marker of every unit, then the second."""


@dataclass(frozen=True, slots=True)
class HarnessFile:
    """A file to read a harness from, with the choices of who asks: settings, and what the file leaves open."""

    path: str
    settings: Mapping[str, str] = field(default_factory=dict)
    reading: Wanted = AS_IT_STANDS


@dataclass(frozen=True, slots=True)
class Loading:
    """What is loaded into the printer: paper, stocks by name, and where the first sheet of a stock begins."""

    paper: str = "A4"
    stocks: tuple[str, ...] = ()  # none: what suits the paper
    start: Mapping[str, str] = field(default_factory=dict)  # by stock: the first free cell
    used: Mapping[str, Sequence[str]] = field(default_factory=dict)  # by stock: the used cells
    partial_sheets: bool = False  # where neither is given: the sheets that the record knows to be partly used


@dataclass(frozen=True, slots=True)
class Units:
    """Which units of one harness file are printed; a serial that is None is the next one."""

    file: HarnessFile
    serials: tuple[str | None, ...] = (None,)


@dataclass(frozen=True, slots=True)
class Order:
    """Units of one or several harness files, or what a newer file changes on one unit that was built ``since``."""

    harnesses: tuple[Units, ...]
    output: Output
    loading: Loading = Loading()
    user: str = ""
    date: str = ""  # as it stands on tags and sheets
    sharing: str = ""  # "": every unit has sheets of its own; else one of `SHARED`
    roles: tuple[str, ...] = ()  # of the markers that are printed; none: all
    omit_failed: bool = False  # print what fits, and list what does not
    since: str | None = None  # the revision at which the one unit was built
    short_bench_sheet: bool = False  # without its pages of branches


@dataclass(frozen=True, slots=True)
class Reprint:
    """How recorded markers are printed again, and why."""

    reason: str
    output: Output
    loading: Loading = Loading()  # its first stock, where one is named, instead of those of the first time
    user: str = ""
    date: str = ""
    same_cells: bool = False  # a spoiled sheet: every marker in the cell it was in
    numbered: bool = False  # R1, R2 beside the text
