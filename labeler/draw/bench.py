"""Draw the bench sheet: one PDF of plain tables with boxes to tick, for a wall beside the bench.

Nothing is cut off: long words break, long cells grow, long lists go on overleaf under the same heads.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from labeler.bench.sheet import BenchSheet
from labeler.draw import lists
from labeler.draw.branch import branch_story
from labeler.draw.documents import plain_streams
from labeler.draw.files import write_whole
from labeler.draw.pdf import POINTS_PER_MM
from labeler.draw.tables import NOTE_PT, Flow, NewPage, Part, Together
from labeler.draw.words import PLAIN, embedded_name, font_runs
from labeler.errors import Problem, Where, WrongUse

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PAGES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
SIDE_MM, HEAD_MM, FOOT_MM = 12.0, 7.5, 11.0
"""Margins: a hole punch or a clip takes the left one, the page's number stands in the lower one."""

COUNT_MM = 7.0  # room for the number of pages at the right of the foot


def draw_bench_sheet(
    sheet: BenchSheet, target: str | os.PathLike[str] | BinaryIO, *, page: str, force: bool = False
) -> None:
    """Write the bench sheet as a PDF, to a path or an open file; the same sheet gives the same bytes.

    The file appears whole or not at all. A character that neither the sheet's typeface nor its
    stand-in has is written as ``<U+4E2D>``.

    Parameters
    ----------
    page : ``A4`` or ``Letter``.
    force : replace an existing file.

    Raises
    ------
    LabelerError : the target exists or cannot be written.
    WrongUse : another page.
    """
    if page not in PAGES_MM:
        problem = Problem(Where(""), f'bench sheet on "{page}"', f"choose {' or '.join(PAGES_MM)}")
        raise WrongUse(problem)
    data = _typeset(sheet, page)
    if isinstance(target, str | os.PathLike):
        write_whole(Path(target), data, force=force)
    else:
        target.write(data)


def _typeset(sheet: BenchSheet, page: str) -> bytes:
    """Return the document. The number of its pages is a form of its own, drawn once all pages are there."""
    width, height = (side * POINTS_PER_MM for side in PAGES_MM[page])
    x, y = SIDE_MM * POINTS_PER_MM, FOOT_MM * POINTS_PER_MM
    room = width - 2 * x
    target = BytesIO()
    canvas = _canvas(target, pagesize=(width, height))
    about = [""]  # the branch whose parts are being put on the page

    def foot(canvas: Canvas) -> None:
        _draw_foot(canvas, sheet, about[0], room)

    Flow(canvas, x, y, room, height - HEAD_MM * POINTS_PER_MM, foot).put(_story(sheet, about, room))
    with plain_streams():
        canvas.save()
    return target.getvalue()


COUNT = "pages"


def _canvas(target: BytesIO, **options: Any) -> Canvas:
    """Return an empty document: compressed, without a clock in it, that asks not to be scaled."""
    from reportlab.pdfgen.canvas import Canvas

    class Counted(Canvas):  # type: ignore[misc]
        def save(self) -> None:
            pages = str(self.getPageNumber() - 1)
            self.beginForm(COUNT, 0, -2, COUNT_MM * POINTS_PER_MM, NOTE_PT)
            self.setFont(embedded_name(PLAIN), NOTE_PT)
            self.drawString(0, 0, pages)
            self.endForm()
            super().save()

    options |= {"invariant": 1, "pageCompression": 1, "initialFontName": embedded_name(PLAIN)}
    canvas = Counted(target, **options)
    canvas.setTitle("Bench sheet")
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setCreator("labeler")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas


def _story(sheet: BenchSheet, about: list[str], room: float) -> Iterator[Part]:
    """Yield the parts in the order of the work, and keep the branch they are ``about``; what is empty is left out."""
    yield from lists.title(sheet, room)
    yield from lists.take_off(sheet.take_off, room)
    yield from lists.steps("THREAD ON FIRST", lists.FIRST_NOTE, sheet.thread_first, room)
    yield from lists.missing(sheet.missing, room)
    yield from lists.steps("THREAD ON LATER", lists.LATER_NOTE, sheet.thread_later, room)
    yield from lists.put_on(sheet.put_on, room)
    yield from lists.cuts(sheet, room)
    yield from lists.practices(sheet, room)
    yield from lists.printed(sheet.printed, room)
    yield from lists.cautions(sheet.cautions, room)
    yield from lists.tight(sheet.tight, room)
    yield from lists.signatures(room)
    yield from lists.wire_ends(sheet.connectors, room)
    revision = f"rev {sheet.revision}" if sheet.revision else ""
    part = " ".join(filter(None, (sheet.part_number or sheet.harness, revision)))
    for page in sheet.branches:
        yield NewPage()
        about[0] = f"branch {page.branch}"
        yield from branch_story(page, sheet.unit, part, room)
        yield from lists.wire_ends(page.pins, room)
        yield Together((*lists.brief_cautions(sheet.cautions, room), *lists.signatures(room)))


def _draw_foot(canvas: Canvas, sheet: BenchSheet, branch: str, room: float) -> None:
    """Draw the branch and the harness on the left, the page's number on the right; a long name ends in dots."""
    number = f"page {canvas.getPageNumber()} of "
    names = (sheet.harness, sheet.part_number, f"rev {sheet.revision}" if sheet.revision else "")
    numbers = (f"unit {sheet.unit}", f"job {sheet.job}" if sheet.job else "", sheet.date)
    job = " · ".join(filter(None, (branch, *names, *numbers, sheet.about)))
    right = room - COUNT_MM * POINTS_PER_MM
    free = right - _width(number, NOTE_PT) - 20
    x, y = SIDE_MM * POINTS_PER_MM, (FOOT_MM - 5) * POINTS_PER_MM
    for text, left in ((_shortened(job, free), x), (number, x + right - _width(number, NOTE_PT))):
        at = left
        for font, run in font_runs(text, PLAIN):
            canvas.setFont(embedded_name(font.name), NOTE_PT)
            canvas.drawString(at, y, run)
            at += font.width(run) * NOTE_PT
    canvas.saveState()
    canvas.translate(x + right, y)
    canvas.doForm(COUNT)
    canvas.restoreState()


def _width(text: str, size: float) -> float:
    return sum(font.width(run) for font, run in font_runs(text, PLAIN)) * size


def _shortened(text: str, room: float) -> str:
    """Return the text, or as much of its head as fits; all of it stands in the title block."""
    if _width(text, NOTE_PT) <= room:
        return text
    kept, taken = "", _width("…", NOTE_PT)
    for sign in text:
        taken += _width(sign, NOTE_PT)
        if taken > room:
            break
        kept += sign
    return f"{kept}…"
