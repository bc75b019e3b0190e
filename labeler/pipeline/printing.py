"""Print: lay out, record, draw, hand over; all of a unit or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.catalogue import load_catalogue
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.fit.common import DOES_NOT_FIT
from labeler.model import (
    Fit,
    Harness,
    Piece,
    Sheet,
)
from labeler.printers import AS_DRAWN, Printer, printer_problems, profile_text

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job

from labeler.pipeline.checking import Checked, Stocks, check, fit_markers, no_collecting, threading_of
from labeler.pipeline.coding import carries_code


@dataclass(frozen=True, slots=True)
class Printed:
    """What a print or a reprint left behind."""

    job: Job
    files: tuple[Path, ...]
    sheets: tuple[Sheet, ...]
    fits: tuple[Fit, ...] = ()
    left_out: tuple[Fit, ...] = ()
    notes: tuple[Problem, ...] = ()


@no_collecting()
def print_harness(
    file: str,
    folder: Path,
    record: Record,
    *,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    start: Mapping[str, str] | None = None,
    unit: str | None = None,
    only: Sequence[str] = (),
    leave_out: bool = False,
    force: bool = False,
    who: str = "",
    date: str = "",
    printer: Printer = AS_DRAWN,
) -> Printed:
    """Print the whole set of one unit (or some roles ``only``), recorded before the sheets are handed over.

    ``printer`` gives the dots, refuses what it must not be fed, and corrects lengths.

    Nothing is printed, and nothing recorded, while a marker does not fit; with ``leave_out`` the
    others are printed and the missing ones stand on the bench sheet and in the record.

    Raises `LabelerError` with all problems at once.
    """
    from labeler.draw.files import refused_target
    from labeler.layout import lay_out
    from labeler.record import LeftOut, NewJob, canonical_sheet, marker_row

    settings = for_printer(settings or {}, printer)
    checked = check(file, settings=settings, paper=paper, stock=stock, only=only, unit=unit or record.serial_to_come)
    if checked.misfits and not leave_out:
        raise LabelerError(*(misfit_problem(fit) for fit in checked.misfits))
    stocks, harness = checked.stocks.by_name(), checked.harness
    names = Names(folder, harness)
    serial_free = [fit for fit in checked.fits if fit.verdict != DOES_NOT_FIT]
    trial = lay_out(pieces_of(serial_free, checked.stocks), stocks, start)  # fails before a serial is given
    refuse(printer_problems(printer, trial))
    expected = names.files(unit or record.serial_to_come(harness), trial)
    refuse(problem for path in expected.values() for problem in refused_target(path, force))
    serial = record.reserve_serial(harness, unit)
    fits = _with_serial(checked, serial)
    left_out = tuple(fit for fit in fits if fit.verdict == DOES_NOT_FIT)
    if left_out and not leave_out:
        raise LabelerError(*(misfit_problem(fit) for fit in left_out))
    kept = tuple(fit for fit in fits if fit.verdict != DOES_NOT_FIT)
    same = fits is checked.fits
    sheets = trial if same else lay_out(pieces_of(kept, checked.stocks), stocks, start)
    sheets = tuple(map(canonical_sheet, sheets))
    files = names.files(serial, sheets)
    refuse(problem for path in files.values() for problem in refused_target(path, force))
    job = record.prepare(
        NewJob(
            harness,
            sheets,
            {fit.marker.id: marker_row(fit) for fit in kept},
            tuple(LeftOut(marker_row(fit), "; ".join(fit.reasons)) for fit in left_out),
            _fonts(sheets),
            serial,
            who,
            version(),
        )
    )
    drawing = Drawing(harness, serial, kept, left_out, sheets, paper, date, printer)
    hand_over(record, job, drawing, files, force)
    return Printed(job, tuple(files.values()), sheets, kept, left_out, checked.notes)


def for_printer(settings: Mapping[str, str], printer: Printer) -> dict[str, str]:
    """Return the settings with the printer's dots, unless they are set themselves."""
    own = {"printer_dpi": f"{printer.dpi:g}"} if printer.dpi else {}
    return {**own, **settings}


def misfit_problem(fit: Fit) -> Problem:
    """Return a marker that does not fit as a problem with its reasons and the ways out."""
    marker = fit.marker
    text = " ".join(fit.lines or marker.text)
    what = f"{marker.role} {marker.at} {text!r} does not fit: {'; '.join(fit.reasons)}"
    return Problem(marker.where, what, "; or ".join(fit.ways_out))


def _with_serial(checked: Checked, serial: str) -> tuple[Fit, ...]:
    """Return the fits with the tags and codes written for a unit; nothing else says its serial."""
    tags = [fit.marker for fit in checked.fits if fit.marker.role == "bag" or carries_code(fit.marker)]
    if serial == checked.unit or not tags:
        return checked.fits
    written = {f.marker.id: f for f in fit_markers(checked.harness, tags, load_catalogue(), checked.stocks, serial)}
    return tuple(written.get(fit.marker.id, fit) for fit in checked.fits)


def pieces_of(fits: Iterable[Fit], stocks: Stocks) -> tuple[Piece, ...]:
    """Return what is printed, on its way to the sheets: plain sleeves are only cut."""
    return tuple(
        Piece(
            fit.marker.id,
            fit.face,
            fit.stock or stocks.sleeve.name,
            f"{fit.tube.name}, {fit.marker.settings.tube_colour}" if fit.tube and not fit.stock else "",
            fit.marker.at,
        )
        for fit in fits
        if fit.face is not None
    )


def _fonts(sheets: Iterable[Sheet]) -> dict[str, str]:
    from labeler.text import load_font

    names = {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs[:1]}
    names |= {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs[1:]}
    return {name: load_font(name).digest for name in sorted(names)}


def version() -> str:
    """Return the program's version."""
    from importlib.metadata import version as installed

    return installed("labeler")


@dataclass(frozen=True, slots=True)
class Names:
    """Where the files of a job go, and what they are called."""

    folder: Path
    harness: Harness

    def files(self, unit: str, sheets: Sequence[Sheet], word: str = "") -> dict[str, Path]:
        """Return a path for each stock, and one for the bench sheet under ``""``."""
        stem = _file_name(f"{self.harness.part_number or self.harness.name}-{unit}{word}")
        names = dict.fromkeys(sheet.stock.name for sheet in sheets)
        files = {} if word else {"": self.folder / f"{stem}-bench-sheet.pdf"}
        files |= {name: self.folder / f"{stem}-{_file_name(name)}.pdf" for name in names}
        if len(set(files.values())) < len(files):
            text = f"the stocks {', '.join(names)} would share a file name"
            raise LabelerError(Problem(Where("layouts"), text, "rename one of the stock files"))
        return files


def _file_name(text: str) -> str:
    """Keep letters, digits, dot, dash and underscore: a name every file system takes."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in text)
    return kept.strip("-") or "harness"


@dataclass(frozen=True, slots=True)
class Drawing:
    """All that the files of one job show."""

    harness: Harness
    unit: str
    fits: tuple[Fit, ...]
    left_out: tuple[Fit, ...]
    sheets: tuple[Sheet, ...]
    paper: str
    date: str
    printer: Printer

    def draw(self, stock: str) -> bytes:
        """Return the PDF of one stock's sheets, or of the bench sheet under ``""``."""
        from labeler.draw.pdf import Header, draw_sheets

        target = BytesIO()
        if not stock:
            self._bench(target)
            return target.getvalue()
        part = " ".join(filter(None, (self.harness.part_number, self.harness.revision)))
        job = " · ".join(filter(None, (self.harness.name, part, f"unit {self.unit}")))
        sheets = [sheet for sheet in self.sheets if sheet.stock.name == stock]
        draw_sheets(sheets, target, title=f"{job}, {stock}", header=Header(job), printer=self.printer)
        return target.getvalue()

    def _bench(self, target: BytesIO) -> None:
        from labeler.bench import bench_sheet
        from labeler.draw.bench import draw_bench_sheet

        steps = threading_of(self.harness, (*self.fits, *self.left_out), load_catalogue())
        sheet = bench_sheet(
            self.harness, self.unit, self.fits, self.left_out, self.sheets, date=self.date, threading=steps
        )
        draw_bench_sheet(sheet, target, page=self.paper)


def hand_over(record: Record, job: Job, drawing: Drawing, files: Mapping[str, Path], force: bool) -> None:
    """Draw and write all files, then confirm the job; where that fails none is left, and it is withdrawn."""
    from labeler.draw.files import write_all

    try:
        drawn = {path: drawing.draw(stock) for stock, path in files.items()}
        for folder in {path.parent for path in files.values()}:
            _make_folder(folder)
        write_all(drawn, force=force)
    except BaseException as error:
        with suppress(LabelerError):
            record.withdraw(job.id, f"not handed over: {error or type(error).__name__}")
        raise
    record.confirm(job.id, [str(path) for path in files.values()])


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = "is a file" if folder.is_file() else f"cannot be made ({error.strerror})"
        raise LabelerError(Problem(Where(str(folder)), why, "choose another folder (--out)")) from error


def draw_calibration(name: str, printer: Printer, folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Draw the calibration page of a stock's size into a folder; raises `LabelerError`."""
    from labeler.catalogue import default_settings
    from labeler.draw.empty import calibration_pdf
    from labeler.draw.files import write_all

    stock = load_catalogue().stock(name, Where("labeler calibrate"))
    file = folder / f"calibration-{stock.name}.pdf"
    _make_folder(folder)
    write_all({file: calibration_pdf(stock, printer, default_settings().font)}, force=force)
    return (file,)


def store_printer(printer: Printer, file: Path) -> None:
    """Write a profile to its file, whole or not at all; raises `LabelerError`."""
    from labeler.draw.files import write_all

    _make_folder(file.parent)
    write_all({file: profile_text(printer).encode()}, force=True)


def draw_stock(name: str, folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Draw an empty stock as PDF and PNG into a folder; raises `LabelerError`."""
    from labeler.catalogue import default_settings
    from labeler.draw.empty import empty_pdf, first_page_png
    from labeler.draw.files import write_all

    stock = load_catalogue().stock(name, Where("labeler stock"))
    pdf = empty_pdf(stock, default_settings().font)
    files = {folder / f"{stock.name}.pdf": pdf, folder / f"{stock.name}.png": first_page_png(pdf)}
    _make_folder(folder)
    write_all(files, force=force)
    return tuple(files)
