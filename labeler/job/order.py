"""What a person asks to be printed, as one value: harness files and units, stock and sheets, files and printers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from labeler.errors import Problem
from labeler.model import Sheet
from labeler.readers.import_report import AS_IT_STANDS, Wanted
from labeler.tables.printers import AS_DRAWN, Printer, printer_problems

SHARED = ("by unit", "by marker")
"""How several units share their sheets: unit after unit, or the first marker of every unit, then the second."""

Track = Callable[[Sequence[Any], str], Iterable[Any]]
"""Yields what it is given, and may show how far it has come; the words say what is done."""


def untracked(items: Sequence[Any], _: str) -> Iterable[Any]:
    """Show nothing."""
    return items


@dataclass(frozen=True, slots=True)
class HarnessFile:
    """A file to read a harness from, with the choices of who asks: settings, and what the file leaves open."""

    path: str
    settings: Mapping[str, str] = field(default_factory=dict)
    reading: Wanted = AS_IT_STANDS

    def for_printer(self, printer: Printer) -> HarnessFile:
        """Return the file with the printer's dots among its settings, unless they are set themselves."""
        own = {"print.dpi": f"{printer.dpi:g}"} if printer.dpi else {}
        return replace(self, settings={**own, **self.settings})


@dataclass(frozen=True, slots=True)
class Loading:
    """What is loaded into the printer: paper, stocks by name, and where the first sheet of a stock begins."""

    paper: str = "A4"
    stocks: tuple[str, ...] = ()  # none: what suits the paper
    start: Mapping[str, str] = field(default_factory=dict)  # by stock: the first free cell
    used: Mapping[str, Sequence[str]] = field(default_factory=dict)  # by stock: the used cells
    partial_sheets: bool = False  # where neither is given: the sheets that the record knows to be partly used


USUAL = Loading()


@dataclass(frozen=True, slots=True)
class Output:
    """Where the sheets go, and in which form.

    ``png``: also pictures at the printer's dots (``dpi``), of whole ``sheets``, of single ``markers``.
    ``send``: printers of the system's print service by the name of the stock, "" for all others.
    ``dry_run``: draw everything, but write no file and send nothing.
    """

    folder: Path
    force: bool = False
    printer: Printer = AS_DRAWN
    png: tuple[str, ...] = ()
    dpi: float = 0.0
    send: Mapping[str, str] = field(default_factory=dict)
    track: Track = untracked
    dry_run: bool = False

    def problems(self, sheets: Sequence[Sheet]) -> Iterator[Problem]:
        """Yield why sheets cannot be handed over in this form: printers, pictures, and the print service."""
        from labeler import send
        from labeler.draw.raster import too_many_dots

        yield from printer_problems(self.printer, sheets)
        yield from too_many_dots(sheets, self.dpi) if self.png else ()
        yield from send.queue_problems(filter(None, (self.queue(sheet.stock.name) for sheet in sheets)))

    def queue(self, stock: str) -> str:
        """Return the printer that a stock is sent to, "" for none."""
        return self.send.get(stock, self.send.get("", ""))


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
    loading: Loading = USUAL
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
    loading: Loading = USUAL  # its first stock, where one is named, instead of those of the first time
    user: str = ""
    date: str = ""
    same_cells: bool = False  # a spoiled sheet: every marker in the cell it was in
    numbered: bool = False  # R1, R2 beside the text
