"""Sheets that several units share: which of it is each unit's, and all of it together again."""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.errors import Problem, Where, nearest, refuse
from labeler.harness import circuits_by_branch
from labeler.job.check import Checked, threading_of
from labeler.job.deliver import Output
from labeler.job.fitting import Stocks
from labeler.job.work_list import about_job
from labeler.model import DOES_NOT_FIT, FITS, Fit, Harness, Piece, Sheet, Stock
from labeler.read.import_report import some
from labeler.tables.catalogue import load_catalogue
from labeler.tables.printers import AS_DRAWN, Printer, printer_problems

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job


# ---------------------------------------------------------------- What all prints share


CHANGES = "CHANGES TO A UNIT THAT IS BUILT: a sleeve must pass what is on its end by now, or the end is made anew"


@dataclass(frozen=True, slots=True)
class Printed:
    """What a print or a reprint left behind.

    ``left`` are the used cells of sheets that are not full, by stock; ``begun`` the sheets that were
    partly used before: stock, number of the sheet, and the cell where it goes on.
    """

    job: Job
    files: tuple[Path, ...]
    sheets: tuple[Sheet, ...]
    fits: tuple[Fit, ...] = ()
    left_out: tuple[Fit, ...] = ()
    notes: tuple[Problem, ...] = ()
    left: Mapping[str, tuple[str, ...]] | None = None
    begun: tuple[tuple[str, int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Places:
    """Where the first sheet of a stock begins: a start cell, cells that are used, or what the record knows."""

    start: Mapping[str, str]
    used: Mapping[str, Sequence[str]]

    def taken(self, stocks: Mapping[str, Stock]) -> dict[str, frozenset[str]]:
        """Return the cells of each stock's first sheet that are not printed."""
        from labeler.layout.place import taken_cells

        names = [name for name in dict.fromkeys((*self.start, *self.used)) if name in stocks]
        return {n: taken_cells(stocks[n], self.start.get(n, ""), self.used.get(n, ())) for n in names}

    def begun(self, sheets: Sequence[Sheet]) -> tuple[tuple[str, int, str], ...]:
        """Return the sheets that were partly used before: stock, number, and the first cell that is printed."""
        first: dict[str, Sheet] = {}
        for sheet in sheets:
            if sheet.placed:
                first.setdefault(sheet.stock.name, sheet)
        taken = self.taken({name: sheet.stock for name, sheet in first.items()})
        return tuple((name, first[name].number, first[name].placed[0].cell) for name, gone in taken.items() if gone)


def with_dots(out: Output, checked: Checked) -> Output:
    """Return the output with the dots of the printer, else of the harness's settings."""
    settings = checked.harness.settings
    return replace(out, dpi=out.printer.dpi or (settings.printer_dpi if settings else 0.0))


def for_printer(settings: Mapping[str, str], printer: Printer) -> dict[str, str]:
    """Return the settings with the printer's dots, unless they are set themselves."""
    own = {"printer_dpi": f"{printer.dpi:g}"} if printer.dpi else {}
    return {**own, **settings}


def refused_by(printer: Printer, checked: Checked) -> tuple[Problem, ...]:
    """Return why a printer would not be fed what is checked: the sheets of what fits, as `print_units` makes them.

    Raises `LabelerError` for what cannot be laid out.
    """
    from labeler.layout.place import lay_out

    fitting = (fit for fit in checked.fits if fit.verdict != DOES_NOT_FIT)
    sheets = lay_out(pieces_of(fitting, checked.stocks), checked.stocks.by_name())
    return tuple(printer_problems(printer, sheets))


def notes_on_feeding(printer: Printer, sheets: Iterable[Sheet]) -> tuple[Problem, ...]:
    """Return a note for every stock that a printer does not feed, where it feeds others of these."""
    return tuple(problem for problem in printer_problems(printer, sheets) if problem.warning)


def printer_text(printer: Printer) -> str:
    """Return a profile as the record keeps it: JSON, or "" where no printer was named."""
    return "" if printer == AS_DRAWN else json.dumps(asdict(printer))


def printer_from_text(text: str) -> Printer:
    """Return the profile that `printer_text` wrote."""
    return Printer(**json.loads(text)) if text else AS_DRAWN


def misfit_problem(fit: Fit) -> Problem:
    """Return a marker that does not fit as a problem with its reasons and the ways out."""
    marker = fit.marker
    text = " ".join(fit.lines or marker.text)
    what = f"{marker.role} {marker.at} {text!r} does not fit: {'; '.join(fit.reasons)}"
    return Problem(marker.where, what, "; or ".join(fit.ways_out))


def notes_on_tags(fits: Iterable[Fit]) -> tuple[Problem, ...]:
    """Return a note for everything that tags go without, with the tags it is true of."""
    those: dict[str, list[Fit]] = {}
    for fit in fits:
        if fit.marker.kind == "tag" and fit.verdict == FITS:
            for reason in fit.reasons:
                those.setdefault(re.sub(r"^\d+ rows", "all rows", reason), []).append(fit)
    return tuple(
        Problem(found[0].marker.where, f"tags {some(fit.marker.at for fit in found)}: {reason}", warning=True)
        for reason, found in those.items()
    )


def pieces_of(fits: Iterable[Fit], stocks: Stocks) -> tuple[Piece, ...]:
    """Return what is printed, on its way to the sheets: plain sleeves are only cut."""
    return tuple(
        Piece(
            fit.marker.id,
            fit.face,
            fit.stock or stocks.sleeve.name,
            _group(fit),
            fit.marker.at,
        )
        for fit in fits
        if fit.face is not None
    )


def _group(fit: Fit) -> str:
    """Return what is loaded together, for people: the tube and its colour, and the print's where it is not black."""
    if fit.tube is None or fit.stock:
        return ""
    settings = fit.marker.settings
    ink = "" if settings.print_colour == "BK" else f", printed in {settings.print_colour}"
    return f"{fit.tube.name}, {settings.tube_colour}{ink}"


def bench_pdf(
    harness: Harness,
    job: Job,
    fits: Sequence[Fit],
    left_out: Sequence[Fit],
    sheets: Sequence[Sheet],
    paper: str,
    take_off: Iterable[tuple[str, str, str]] = (),
    *,
    short: bool = False,
) -> bytes:
    """Return the bench sheet of a job; ``short``: without its pages of branches.

    ``take_off`` is place, text and reason of what a new revision takes away.
    """
    from labeler.draw.bench import draw_bench_sheet
    from labeler.work.bench_sheet import Remark, bench_sheet

    steps = threading_of(harness, (*fits, *left_out), load_catalogue())
    built = job.kind == "revision"  # only what has changed is made: no branch is built anew
    through = circuits_by_branch(harness) if harness.branches and not (built or short) else None
    steps = tuple(step for step in steps if step.at) if built else steps
    made = bench_sheet(harness, job.unit, fits, left_out, sheets, date=job.date, threading=steps, circuits=through)
    off = tuple(Remark(place, text, "take off", (why,)) for place, text, why in take_off)
    made = replace(made, job=str(job.id), about=about_job(job), take_off=off)
    if built:
        made = replace(made, title=CHANGES, connectors=(), coverings=())
    return draw_bench_sheet(made, paper)


def font_digests(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digest of every font on the sheets; raises `LabelerError` for one that is not here."""
    from labeler.text import load_font

    names = {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}
    return {name: load_font(name).digest for name in sorted(names)}


def version() -> str:
    """Return the program's version."""
    from importlib.metadata import version as installed

    return installed("labeler")


# ---------------------------------------------------------------- What options name


def notes_on_stocks(
    start: Collection[str], used: Collection[str], send: Collection[str], sheets: Iterable[Sheet]
) -> tuple[Problem, ...]:
    """Return a note for every stock that an option names and nothing is printed on; "" names all of them.

    Raises `LabelerError` for stocks that are not known.
    """
    printed = list(dict.fromkeys(sheet.stock.name for sheet in sheets))
    known = [*printed, *(stock.name for stock in load_catalogue().stocks)]
    notes = []
    for option, names in (("--start", start), ("--used", used), ("--send", send)):
        for name in (name for name in names if name and name not in printed):
            if name in known:
                fix = f"this job prints on {', '.join(printed) or 'none'}"
                notes.append(Problem(Where(option), f"nothing is printed on {name}", fix, warning=True))
            else:
                near = nearest(name, known)
                fix = f"did you mean {near!r}?" if near else "see labeler stock"
                notes.append(Problem(Where(option), f"stock {name!r} is unknown", fix))
    refuse(notes)
    return tuple(notes)


def partly_used(record: Record, stocks: Mapping[str, Stock], given: Collection[str]) -> dict[str, tuple[str, ...]]:
    """Return which cells of the stocks' last sheets the record knows to be gone, but for stocks that are ``given``.

    A sheet that has no cell left is none to go on with. Raises `LabelerError` where a stock has no such cells: its
    file has changed since.
    """
    from labeler.layout.cells import blocks_of, cells, parse_cells

    known, problems = {}, []
    for name, gone in record.used_cells().items():
        if name not in stocks or name in given:
            continue
        every = {cell.name for cell in cells(stocks[name])}
        if not every.issuperset(gone):
            what = blocks_of([cell for cell in gone if cell not in every])
            text = f"of the partly used sheet of {name} the cells {what} are gone, which the stock has no more"
            fix = f"say which are gone (--used {name}=…), or begin a new sheet (--start {name}=A1)"
            problems.append(Problem(Where(record.name), text, fix))
        elif every - {*gone, *parse_cells(stocks[name].used)}:
            known[name] = gone
    refuse(problems)
    return known


# ---------------------------------------------------------------- sharing


def own(sheets: Sequence[Sheet], pieces: set[int], *, first: bool) -> tuple[Sheet, ...]:
    """Return the sheets with one unit's pieces alone, known by `id`; pages that carry a header are the first's."""
    kept = (replace(s, placed=tuple(p for p in s.placed if id(p.piece) in pieces)) if s.placed else s for s in sheets)
    return tuple(
        sheet for sheet, whole in zip(kept, sheets, strict=True) if sheet.placed or (first and not whole.placed)
    )


def together(units: Iterable[Sequence[Sheet]]) -> tuple[Sheet, ...]:
    """Return the sheets of several units as they are printed: those of one number are one."""
    all_of_them = tuple(units)
    if len(all_of_them) == 1:
        return tuple(all_of_them[0])
    same: dict[int, list[Sheet]] = {}
    for sheet in sorted((sheet for sheets in all_of_them for sheet in sheets), key=lambda sheet: sheet.number):
        same.setdefault(sheet.number, []).append(sheet)
    return tuple(
        replace(each[0], placed=tuple(placed for sheet in each for placed in sheet.placed)) for each in same.values()
    )
