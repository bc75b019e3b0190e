"""Draw the page of one branch: the order of the work with boxes to tick, its picture, cuts and pins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import chain, groupby, repeat
from typing import TYPE_CHECKING

from labeler.bench.branch import BranchPage, Work
from labeler.draw.cells import Cell, Drawn, Text, TickBox
from labeler.draw.pdf import POINTS_PER_MM
from labeler.draw.picture import draw_part, picture_heights
from labeler.draw.tables import (
    HEAD_PT,
    MIDDLE_PT,
    NOTE_PT,
    SMALL_PT,
    TITLE_PADS,
    TITLE_PT,
    Part,
    Row,
    Table,
    Together,
    listing,
    plain_listing,
    section_title,
    stack,
)
from labeler.draw.words import bold, plain

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PARTS = {"thread on": "THREAD ON", "terminate": "TERMINATE", "place and shrink": "SHRINK"}


def branch_story(page: BranchPage, unit: str, part: str, room: float) -> Iterator[Part]:
    """Yield the parts of a branch's page, in the order of the work; ``room`` is the width in points."""
    yield _head(page, unit, part, room)
    yield from _work(page, room)
    yield from _picture(page, room)
    yield from _cuts(page, room)


def _head(page: BranchPage, unit: str, part: str, room: float) -> Table:
    name = stack(Text(plain("BRANCH"), SMALL_PT), Text(bold(page.branch), TITLE_PT), Text(plain(page.between)))
    facts = stack(*(Text((*plain(f"{what} ", NOTE_PT), *plain(value))) for what, value in page.facts))
    job = stack(Text(plain("Part number, unit"), SMALL_PT), Text(bold(part), HEAD_PT), Text(bold(unit), HEAD_PT))
    widths = tuple(room * share for share in (0.4, 0.42, 0.18))
    return Table(widths, [Row([name, facts, job], 0.0, 0.0, at_top=True)], framed=True, parted=True)


def _work(page: BranchPage, room: float) -> Iterator[Part]:
    """Yield the steps, numbered through, each heading's apart."""
    if not page.work:
        return
    rows: list[Row] = []
    numbered = enumerate(page.work, 1)
    for part, steps in groupby(numbered, key=lambda pair: pair[1].part):
        heads = chain((PARTS[part],), repeat(""))
        for (number, step), head in zip(steps, heads, strict=False):
            rows.append(Row(_work_cells(number, step, head), MIDDLE_PT if head and rows else 0.0))
    title = section_title("ORDER OF THE WORK", "tick each step; what is threaded on too late has no way on")
    yield listing(title, ("", "", "done", "step", "how"), rows, (24, 5, 8, 78, 71), room, framed=True)


def _work_cells(number: int, step: Work, part: str) -> Sequence[Cell]:
    return (
        Text(bold(part), NOTE_PT),
        Text(plain(str(number)), NOTE_PT, to_right=True),
        TickBox(),
        Text(bold(step.what)),
        Text(plain(step.detail), NOTE_PT),
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
        (None, Text(bold("no sleeve")), Text(plain("left out")), Text(plain(f"{each.text} at {each.at}"), NOTE_PT))
        for each in page.absent
        if each.threaded
    ]
    if page.covering:
        what = ("over ", "over ") if page.covering.wound else ("1 × ", "1, to ")
        known = page.covering.length_mm
        length = f"{what[0]}{known:g} mm" if known else f"{what[1]}the measured branch"
        rows.append((TickBox(), Text(plain(page.covering.covering)), Text(bold(length)), None))
    for cut in page.cuts:
        places = ", ".join(cut.places)
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
