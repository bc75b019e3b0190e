"""Pages that belong to no harness: an empty stock, a printer's calibration."""

from __future__ import annotations

from pathlib import Path

from labeler.draw.pdf import calibration_pdf, empty_pdf, first_page_png
from labeler.errors import SourceLocation, refuse
from labeler.files import write_all
from labeler.job.deliver import make_folder
from labeler.layout.checks import stock_problems
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.tables.printers import Printer, corrected_text, profile_text


def draw_calibration(name: str, printer: Printer, folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Draw the calibration page of a stock's size into a folder; raises `LabelerError`."""
    stock = load_catalogue().stock(name, SourceLocation("labeler calibrate printer"))
    file = folder / f"calibration-{stock.name}.pdf"
    make_folder(folder)
    write_all({file: calibration_pdf(stock, printer, default_settings().print.font)}, force=force)
    return (file,)


def store_printer(printer: Printer, file: Path) -> None:
    """Write a profile's correction to its file, whole or not at all, a new file where there is none.

    Raises `LabelerError`.
    """
    before = file.read_bytes().decode("utf-8-sig") if file.is_file() else ""
    make_folder(file.parent, "name a file in a folder that you may write to (--printer)")
    text = corrected_text(before, printer) if before.strip() else profile_text(printer)
    write_all({file: text.encode()}, force=True)


def draw_stock(name: str, folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Draw an empty stock as PDF and PNG into a folder; raises `LabelerError`, also for what no print would take."""
    stock = load_catalogue().stock(name, SourceLocation("labeler calibrate stock"))
    refuse(stock_problems(stock))
    pdf = empty_pdf(stock, default_settings().print.font)
    files = {folder / f"{stock.name}.pdf": pdf, folder / f"{stock.name}.png": first_page_png(pdf)}
    make_folder(folder)
    write_all(files, force=force)
    return tuple(files)
