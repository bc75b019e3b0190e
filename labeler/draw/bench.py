"""Draw the bench sheet: one PDF of plain tables with boxes to tick, for a wall beside the bench.

Nothing is cut off: long words break, long cells grow, long lists go on overleaf under the same heads.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from functools import partial
from io import BytesIO
from itertools import chain, groupby, repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from labeler.draw import lists
from labeler.draw.pens import POINTS_PER_MM
from labeler.draw.picture import draw_part, picture_heights
from labeler.draw.typeset import (
    HEAD_PT,
    MIDDLE_PT,
    NOTE_PT,
    PLAIN,
    SMALL_PT,
    TITLE_PADS,
    TITLE_PT,
    Cell,
    Drawn,
    Flow,
    NewPage,
    Part,
    Row,
    Table,
    Text,
    TickBox,
    Together,
    bold,
    embedded_name,
    font_runs,
    listing,
    plain,
    plain_listing,
    plain_streams,
    section_title,
    stack,
)
from labeler.errors import Problem, Where, WrongUse
from labeler.files import write_whole
from labeler.work import wording
from labeler.work.bench_sheet import BenchSheet
from labeler.work.branch_pages import BranchPage, WorkStep

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


# ---------------------------------------------------------------- Draw the page of one branch


def branch_story(page: BranchPage, unit: str, part: str, room: float) -> Iterator[Part]:
    """Yield the parts of a branch's page, in the order of the work; ``room`` is the width in points."""
    yield _head(page, unit, part, room)
    yield from _work(page, room)
    yield from _picture(page, room)
    yield from _cuts(page, room)


def _head(page: BranchPage, unit: str, part: str, room: float) -> Table:
    name = stack(
        Text(plain("BRANCH"), SMALL_PT), Text(bold(page.branch), TITLE_PT), Text(plain(wording.between(page.between)))
    )
    facts = stack(*(Text((*plain(f"{what} ", NOTE_PT), *plain(value))) for what, value in wording.facts(page.facts)))
    job = stack(Text(plain("Part number, unit"), SMALL_PT), Text(bold(part), HEAD_PT), Text(bold(unit), HEAD_PT))
    widths = tuple(room * share for share in (0.4, 0.42, 0.18))
    return Table(widths, [Row([name, facts, job], 0.0, 0.0, at_top=True)], framed=True, parted=True)


def _work(page: BranchPage, room: float) -> Iterator[Part]:
    """Yield the steps, numbered through, each heading's apart."""
    if not page.work:
        return
    rows: list[Row] = []
    numbered = enumerate(page.work, 1)
    for part, steps in groupby(numbered, key=lambda pair: wording.heading(pair[1])):
        heads = chain((part,), repeat(""))
        for (number, step), head in zip(steps, heads, strict=False):
            rows.append(Row(_work_cells(number, step, head), MIDDLE_PT if head and rows else 0.0))
    title = section_title("ORDER OF THE WORK", "tick each step; what is threaded on too late has no way on")
    yield listing(title, ("", "", "done", "step", "how"), rows, (24, 5, 8, 78, 71), room, framed=True)


def _work_cells(number: int, step: WorkStep, part: str) -> Sequence[Cell]:
    what, how = wording.work_step(step)
    return (
        Text(bold(part), NOTE_PT),
        Text(plain(str(number)), NOTE_PT, to_right=True),
        TickBox(),
        Text(bold(what)),
        Text(plain(how), NOTE_PT),
    )


def _picture(page: BranchPage, room: float) -> Iterator[Part]:
    if not page.picture.ends:
        return
    title = section_title("AS IT LIES", "sleeves after shrinking, in the middle of what they may become")
    heights = [height * POINTS_PER_MM for height in picture_heights(page.picture)]
    rows = [
        Row([Drawn(height, partial(_draw, page, place, room - 4))], 0.0, 0.0, (2.0, 2.0, 0.0 if place else 2.2, 0.0))
        for place, height in enumerate(heights)
    ]
    yield Together((Table((room,), rows, (Row([title], 0.0, MIDDLE_PT, TITLE_PADS),), gap=5.0),))


def _draw(page: BranchPage, part: int, width: float, canvas: Canvas) -> None:
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    draw_part(canvas, page.picture, part, width / POINTS_PER_MM)


def _cuts(page: BranchPage, room: float) -> Iterator[Part]:
    rows: list[Sequence[Cell | None]] = [
        (None, Text(bold("no sleeve")), Text(plain("left out")), Text(plain(wording.omitted_at(each)), NOTE_PT))
        for each in page.omitted
        if each.slid_on
    ]
    if page.facts.covering:
        what = ("over ", "over ") if page.facts.covering.wound else ("1 × ", "1, to ")
        known = page.facts.covering.length_mm
        length = f"{what[0]}{known:g} mm" if known else f"{what[1]}the measured branch"
        rows.append((TickBox(), Text(plain(page.facts.covering.covering)), Text(bold(length)), None))
    for cut in page.cuts:
        places = ", ".join(map(wording.place, cut.places))
        rows.append(
            (
                TickBox(),
                Text(plain(f"{cut.tube}, {cut.colour}")),
                Text(bold(f"{cut.quantity} × {cut.cut_length_mm:g} mm")),
                Text(plain(places if cut.lettered else f"plain: {places}"), NOTE_PT),
            )
        )
    if rows:
        yield plain_listing(section_title("CUT", "lengths before shrinking"), rows, (8, 70, 40, 68), room)


# ---------------------------------------------------------------- bench


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
