"""Reprint: recorded markers again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.catalogue import default_settings, load_catalogue
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.model import Harness, Piece, Sheet, Stock
from labeler.pipeline.files import Names
from labeler.pipeline.handing import Drawing, Output, hand_over
from labeler.pipeline.printing import Places, Printed, known_used, version
from labeler.printers import AS_DRAWN, Printer, printer_problems

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job, Recorded


def reprint(
    record: Record,
    items: Sequence[Recorded],
    folder: Path,
    *,
    reason: str,
    stock: str = "",
    start: Mapping[str, str] | None = None,
    used: Mapping[str, Sequence[str]] | None = None,
    go_on: bool = False,
    same_places: bool = False,
    force: bool = False,
    who: str = "",
    printer: Printer = AS_DRAWN,
    out: Output | None = None,
) -> Printed:
    """Print recorded markers of one unit again, from the record alone.

    They go to the stock they were on, or to ``stock``, from the cell ``start`` on (by the stock's
    name), past the cells that are ``used``; with ``same_places`` to the very cells they were in (a
    spoiled sheet). Raises `LabelerError`.
    """
    from labeler.layout import used_after
    from labeler.record.used import keep_used
    from labeler.send import queue_problems

    out = replace(out or Output(folder), folder=folder, force=force, printer=printer)
    out = replace(out, dpi=printer.dpi or default_settings().printer_dpi)
    drawn = _drawn(items)
    stocks = {item.stock.name: item.stock for item in drawn if item.stock}
    pieces = [item.piece() for item in drawn]
    if stock:
        stocks, pieces = {stock: load_catalogue().stock(stock)}, [replace(piece, stock=stock) for piece in pieces]
    known = known_used(record, stocks, start or {}) if go_on else {}
    places = Places(start or {}, {**known, **(used or {})})
    sheets = _same_sheets(drawn) if same_places else _laid_out(pieces, stocks, places)
    refuse(printer_problems(printer, sheets))
    refuse(queue_problems(filter(None, (out.queue(sheet.stock.name) for sheet in sheets))))
    left = {} if same_places else used_after(sheets, places.taken(stocks))

    def drawing(jobs: Sequence[Job]) -> Drawing:
        harness = Harness(drawn[0].harness, drawn[0].part_number, drawn[0].revision)
        parts = Names(folder, harness).parts((drawn[0].unit,), sheets, f"-reprint-{jobs[0].id}")
        return Drawing(harness, (drawn[0].unit,), parts, out)

    fonts, made_by = _fonts_at_hand(sheets), version()
    (job,), files = hand_over(
        record,
        [lambda: record.prepare_reprint(drawn, sheets, fonts=fonts, reason=reason, who=who, version=made_by)],
        drawing,
        lambda job: keep_used(record, job.id, left),
    )
    return Printed(job, files, sheets, left=left)


def _drawn(items: Sequence[Recorded]) -> list[Recorded]:
    """Return the markers that were printed; raises `LabelerError` where none was."""
    drawn = [item for item in items if item.face is not None]
    if not drawn:
        states = sorted({item.state for item in items})
        why = f"nothing to print: {', '.join(states) or 'no marker'}"
        raise LabelerError(Problem(Where("reprint"), why, "see labeler record show"))
    return drawn


def _laid_out(pieces: Sequence[Piece], stocks: Mapping[str, Stock], places: Places) -> tuple[Sheet, ...]:
    from labeler.layout import lay_out

    return lay_out(pieces, stocks, places.start, used=places.used)


def _same_sheets(items: Sequence[Recorded]) -> tuple[Sheet, ...]:
    """Return the sheet that the markers were on, each in its own cell."""
    from labeler.model import Placed

    placed = tuple(Placed(item.piece(), item.cell, item.x_mm, item.y_mm) for item in items)
    first = items[0]
    assert first.stock is not None  # items without a face were left out before
    width, height = first.stock.page_width_mm, first.stock.page_height_mm
    if first.stock.kind == "reel":  # a page, or a strip, is as large as what is on it
        width = max(each.x_mm + each.piece.face.width_mm for each in placed)
        height = max(each.y_mm + each.piece.face.height_mm for each in placed)
    return (Sheet(first.stock, first.sheet, width, height, first.group, placed),)


def _fonts_at_hand(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digests of the fonts that are here; one that cannot be loaded is left out."""
    from labeler.text import load_font

    found = {}
    for name in {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}:
        with suppress(LabelerError):
            found[name] = load_font(name).digest
    return found
