"""Reprint: recorded markers again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.catalogue import load_catalogue
from labeler.errors import LabelerError, Problem, Where, WrongUse, refuse
from labeler.model import Harness, Sheet
from labeler.pipeline.printing import Drawing, Names, Printed, hand_over, version
from labeler.printers import AS_DRAWN, Printer, printer_problems

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Recorded


def reprint(
    record: Record,
    items: Sequence[Recorded],
    folder: Path,
    *,
    reason: str,
    stock: str = "",
    start: str = "",
    same_places: bool = False,
    force: bool = False,
    who: str = "",
    printer: Printer = AS_DRAWN,
) -> Printed:
    """Print recorded markers of one unit again, from the record alone.

    They go to the stock they were on, or to ``stock``, from the cell ``start`` on; with
    ``same_places`` to the very cells they were in (a spoiled sheet). Raises `LabelerError`.
    """
    from labeler.layout import lay_out

    drawn = [item for item in items if item.face is not None]
    if not drawn:
        states = sorted({item.state for item in items})
        why = f"nothing to print: {', '.join(states) or 'no marker'}"
        raise LabelerError(Problem(Where("reprint"), why, "see labeler record show"))
    pieces = [item.piece() for item in drawn]
    stocks = {item.stock.name: item.stock for item in drawn if item.stock}
    if stock:
        other = load_catalogue().stock(stock)
        stocks, pieces = {stock: other}, [replace(piece, stock=stock) for piece in pieces]
    if start and len(stocks) > 1:
        raise WrongUse(
            Problem(
                Where("--start"),
                f"the markers are on {len(stocks)} stocks: {', '.join(stocks)}",
                "name one marker",
            )
        )
    sheets = (
        _same_sheets(drawn) if same_places else lay_out(pieces, stocks, dict.fromkeys(stocks, start) if start else None)
    )
    refuse(printer_problems(printer, sheets))
    job = record.prepare_reprint(drawn, sheets, fonts=_fonts_at_hand(sheets), reason=reason, who=who, version=version())
    harness = Harness(drawn[0].harness, drawn[0].part_number, drawn[0].revision)
    files = Names(folder, harness).files(drawn[0].unit, sheets, f"-reprint-{job.id}")
    drawing = Drawing(harness, drawn[0].unit, (), (), sheets, "", "", printer)
    hand_over(record, job, drawing, files, force)
    return Printed(job, tuple(files.values()), sheets)


def _same_sheets(items: Sequence[Recorded]) -> tuple[Sheet, ...]:
    """Return the sheet that the markers were on, each in its own cell."""
    from labeler.model import Placed

    placed = tuple(Placed(item.piece(), item.cell, item.x_mm, item.y_mm) for item in items)
    first = items[0]
    assert first.stock is not None  # items without a face were left out before
    width, height = first.stock.page_width_mm, first.stock.page_height_mm
    if first.stock.kind == "reel" and first.face is not None:
        width, height = first.face.width_mm, first.face.height_mm
    return (Sheet(first.stock, first.sheet, width, height, first.group, placed),)


def _fonts_at_hand(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digests of the fonts that are here; one that cannot be loaded is left out."""
    from labeler.text import load_font

    found = {}
    for name in {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}:
        with suppress(LabelerError):
            found[name] = load_font(name).digest
    return found
