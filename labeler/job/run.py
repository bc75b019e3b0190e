"""One run: sheets laid out, recorded, drawn, handed over and confirmed; for prints, revisions and reprints alike."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from functools import partial
from itertools import chain, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.errors import LabelerError, Problem, SourceLocation, refuse, suggestion
from labeler.job.check import Checked
from labeler.job.deliver import Drawing, UnitName, bench_sheet_path, hand_over, output_text, parts_of
from labeler.job.fitting import Stocks
from labeler.job.order import Loading, Order, Output, Reprint
from labeler.layout.cells import blocks_of, cells, parse_cells
from labeler.layout.place import lay_out, taken_cells, used_after
from labeler.model import FAIL, PASS, Fact, Fit, Piece, Sheet, Stock, fact
from labeler.readers.import_report import some
from labeler.record.faces import canonical_sheet
from labeler.record.values import Job, JobAbout
from labeler.tables.catalogue import load_catalogue
from labeler.tables.printers import AS_DRAWN, Printer, printer_problems
from labeler.text import load_font
from labeler.wording import sentence, sentences

if TYPE_CHECKING:
    from labeler.record.store import Record


@dataclass(frozen=True, slots=True)
class Printed:
    """What a job left behind.

    ``begun`` are the sheets that were partly used before: stock, number of the sheet, and the cell where it goes on.
    """

    job: Job
    files: tuple[Path, ...]
    sheets: tuple[Sheet, ...]
    fits: tuple[Fit, ...] = ()
    omitted: tuple[Fit, ...] = ()
    notes: tuple[Problem, ...] = ()
    begun: tuple[tuple[str, int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class RunUnit:
    """One unit of a run: its sheets, and what draws its bench sheet or work list once its job is known."""

    name: UnitName
    sheets: tuple[Sheet, ...]
    bench_sheet: Callable[[Job], bytes]
    fits: tuple[Fit, ...] = ()
    omitted: tuple[Fit, ...] = ()


Prepare = Callable[[Mapping[str, tuple[str, ...]]], Sequence[Job]]
"""Records jobs as pending, with the used cells of each stock's last sheet."""


def carry_out(
    record: Record, units: Sequence[RunUnit], prepare: Prepare, places: Places | None, output: Output, user: str
) -> tuple[Printed, ...]:
    """Record the units of a run as pending, hand their sheets over, confirm the jobs; all of it or nothing.

    ``places`` is None where markers are printed in the cells they were in: no other cell is used.
    """
    sheets = merged_sheets(unit.sheets for unit in units)
    left = used_after(sheets, places.taken({sheet.stock.name: sheet.stock for sheet in sheets})) if places else {}
    begun = places.begun(sheets) if places else ()
    jobs, files = hand_over(record, lambda: prepare(left), lambda jobs: drawing_of(units, jobs, output), user=user)
    return tuple(
        Printed(job, files, unit.sheets, unit.fits, unit.omitted, (), begun)
        for job, unit in zip(jobs, units, strict=True)
    )


def drawing_of(units: Sequence[RunUnit], jobs: Sequence[Job], output: Output) -> Drawing:
    """Return the files of a run: a bench sheet for each unit, and the sheets they share; no jobs: a trial."""
    beside = {
        bench_sheet_path(output.folder, unit.name, _word(job)): partial(unit.bench_sheet, job)
        for unit, job in zip_longest(units, jobs)
    }
    sheets = merged_sheets(unit.sheets for unit in units)
    parts = parts_of(output.folder, [unit.name for unit in units], sheets, _word(jobs[0] if jobs else None))
    return Drawing(tuple(jobs), parts, output, beside)


def _word(job: Job | None) -> str:
    """Return what stands behind the unit in the names of a job's files."""
    words = {"reprint": "reprint", "revision": "changes"}
    return f"-{words[job.kind]}-{job.id}" if job and job.kind in words else ""


# ---------------------------------------------------------------- sheets that units share


def merged_sheets(units: Iterable[Sequence[Sheet]]) -> tuple[Sheet, ...]:
    """Return the sheets of several units as they are printed: those of one number are one."""
    first, *others = map(tuple, units)
    if not others:
        return first
    same: dict[int, list[Sheet]] = {}
    for sheet in sorted(chain(first, *others), key=lambda sheet: sheet.number):
        same.setdefault(sheet.number, []).append(sheet)
    return tuple(
        replace(each[0], placed=tuple(placed for sheet in each for placed in sheet.placed)) for each in same.values()
    )


@dataclass(frozen=True, slots=True)
class Places:
    """Where the first sheet of a stock begins: a start cell, cells that are used, or what the record knows."""

    start: Mapping[str, str]
    used: Mapping[str, Sequence[str]]

    def taken(self, stocks: Mapping[str, Stock]) -> dict[str, frozenset[str]]:
        """Return the cells of each stock's first sheet that are not printed."""
        names = [name for name in dict.fromkeys((*self.start, *self.used)) if name in stocks]
        return {n: taken_cells(stocks[n], self.start.get(n, ""), self.used.get(n, ())) for n in names}

    def begun(self, sheets: Sequence[Sheet]) -> tuple[tuple[str, int, str], ...]:
        """Return the sheets that were partly used before: stock, number, and the first cell that is printed."""
        first = {sheet.stock.name: sheet for sheet in reversed(sheets) if sheet.placed}
        taken = self.taken({name: sheet.stock for name, sheet in first.items()})
        return tuple((name, first[name].number, first[name].placed[0].cell) for name, gone in taken.items() if gone)

    def lay_out(
        self, units: Sequence[Sequence[Piece]], stocks: Mapping[str, Stock], by_marker: bool = False
    ) -> list[tuple[Sheet, ...]]:
        """Return the pieces of units laid out from there on, as the record keeps them: each unit's own of the sheets.

        ``by_marker``: the same marker of all units together. Pages that carry a header alone are the first unit's.
        """
        pieces = [piece for own in units for piece in own]
        if by_marker:
            first = {piece.marker: at for at, piece in reversed(list(enumerate(pieces)))}
            pieces.sort(key=lambda piece: first[piece.marker])
        sheets = lay_out(pieces, stocks, self.start, used=self.used)
        owner = {id(piece): unit for unit, own in enumerate(units) for piece in own}
        found: list[list[Sheet]] = [[] for _ in units]
        for sheet in sheets:
            for unit in sorted({owner[id(placed.piece)] for placed in sheet.placed}) or [0]:
                own_places = tuple(p for p in sheet.placed if owner[id(p.piece)] == unit)
                found[unit].append(canonical_sheet(replace(sheet, placed=own_places)))
        return list(map(tuple, found))


def places_of(loading: Loading, record: Record, stocks: Mapping[str, Stock]) -> Places:
    """Return where sheets begin: as is said, else on the partial sheets of the record where these are asked for.

    A sheet that has no cell left is none to go on with. Raises `LabelerError` where a stock has no such cells: its
    file has changed since.
    """
    known: dict[str, Sequence[str]] = {}
    problems = []
    for name, gone in record.used_cells().items() if loading.partial_sheets else ():
        if name not in stocks or name in loading.start or name in loading.used:
            continue
        every = {cell.name for cell in cells(stocks[name])}
        if not every.issuperset(gone):
            what = blocks_of([cell for cell in gone if cell not in every])
            text = f"of the partly used sheet of {name} the cells {what} are gone, which the stock has no more"
            fix = f"say which are gone (--used-cells {name}=…), or begin a new sheet (--start-cell {name}=A1)"
            problems.append(Problem(SourceLocation(record.name), text, fix))
        elif every - {*gone, *parse_cells(stocks[name].blocked_cells)}:
            known[name] = gone
    refuse(problems)
    return Places(loading.start, {**known, **loading.used})


# ---------------------------------------------------------------- what a run reports


def notes_on_sheets(loading: Loading, output: Output, sheets: Sequence[Sheet]) -> tuple[Problem, ...]:
    """Return a note for every stock that is named and not printed on, or that the printer does not feed.

    Raises `LabelerError` for stocks that are not known.
    """
    printed = list(dict.fromkeys(sheet.stock.name for sheet in sheets))
    known = [*printed, *(stock.name for stock in load_catalogue().stocks)]
    notes = []
    for option, names in {
        "--start-cell": loading.start,
        "--used-cells": loading.used,
        "--send-to": output.send,
    }.items():
        for name in names:
            if name in known and name not in printed:
                fix = f"this job prints on {', '.join(printed) or 'none'}"
                notes.append(Problem(SourceLocation(option), f"nothing is printed on {name}", fix, warning=True))
            elif name and name not in known:
                fix = suggestion(name, known, "see labeler list stock")
                notes.append(Problem(SourceLocation(option), f"stock {name!r} is unknown", fix))
    refuse(notes)
    return (*notes, *(problem for problem in printer_problems(output.printer, sheets) if problem.warning))


def notes_on_tags(fits: Iterable[Fit]) -> tuple[Problem, ...]:
    """Return a note for everything that tags go without, with the tags it is true of."""
    those: dict[Fact, list[Fit]] = {}
    for fit in fits:
        for reason in fit.reasons if fit.marker.kind == "tag" and fit.result == PASS else ():
            summarised = reason.kind == "rows summarised"
            same = fact(reason.kind, rows="all", stock=fit.stock) if summarised else reason
            those.setdefault(same, []).append(fit)
    return tuple(
        Problem(
            found[0].marker.where, f"tags {some(fit.marker.place for fit in found)}: {sentence(reason)}", warning=True
        )
        for reason, found in those.items()
    )


def misfit_problem(fit: Fit) -> Problem:
    """Return a marker that does not fit as a problem with its reasons and the ways out."""
    marker = fit.marker
    text = " ".join(fit.lines or marker.text)
    what = f"{marker.role} {marker.place} {text!r} does not fit: {'; '.join(sentences(fit.reasons))}"
    return Problem(marker.where, what, "; or ".join(sentences(fit.fixes)))


def with_dots(out: Output, checked: Checked) -> Output:
    """Return the output with the dots of the printer, else of the harness's settings."""
    return replace(out, dpi=out.printer.dpi or checked.harness.settings.print.dpi)


def refused_by(printer: Printer, checked: Checked) -> tuple[Problem, ...]:
    """Return why a printer would not be fed what is checked: the sheets of what fits, as a print makes them.

    Raises `LabelerError` for what cannot be laid out.
    """
    fitting = (fit for fit in checked.fits if fit.result != FAIL)
    sheets = lay_out(pieces_of(fitting, checked.stocks), checked.stocks.by_name())
    return tuple(printer_problems(printer, sheets))


# ---------------------------------------------------------------- what the record keeps of a run


def job_about(how: Order | Reprint, output: Output, reason: str = "") -> JobAbout:
    """Return what the record keeps of a job beside its unit and its sheets: who, why, when, printer and files."""
    from importlib.metadata import version

    profile = "" if output.printer == AS_DRAWN else json.dumps(asdict(output.printer))
    return JobAbout(
        user=how.user,
        version=version("labeler"),
        reason=reason,
        date=how.date,
        paper=how.loading.paper,
        printer=profile,
        output=output_text(output),
    )


def font_digests(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digest of every font on the sheets; one that cannot be loaded is left out."""
    found = {}
    for name in sorted({run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}):
        with suppress(LabelerError):
            found[name] = load_font(name).digest
    return found


# ---------------------------------------------------------------- pieces


def pieces_of(fits: Iterable[Fit], stocks: Stocks) -> tuple[Piece, ...]:
    """Return what is printed, on its way to the sheets: plain sleeves are only cut."""
    return tuple(
        Piece(fit.marker.id, fit.face, fit.stock or stocks.sleeve.name, _group(fit), fit.marker.place)
        for fit in fits
        if fit.face is not None
    )


def _group(fit: Fit) -> str:
    """Return what is loaded together, for people: the tube and its colour, and the print's where it is not black."""
    if fit.tube is None or fit.stock:
        return ""
    settings = fit.marker.settings
    ink = "" if settings.print.colour == "BK" else f", printed in {settings.print.colour}"
    return f"{fit.tube.name}, {settings.sleeve.colour}{ink}"
