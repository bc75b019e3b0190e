"""Draw the page of one branch: the order of the work with boxes to tick, its picture, cuts and pins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, groupby, repeat
from typing import Any

from labeler.bench.branch import BranchPage, Work
from labeler.draw.listing import HEAVY_PT, MIDDLE_PT, THIN_PT
from labeler.draw.pdf import POINTS_PER_MM
from labeler.draw.picture import draw_picture, picture_height
from labeler.draw.tables import bold, listing, made_table, marked_up, paragraph, plain_listing, small_print, text_cell
from labeler.draw.words import BODY_PT, HEAD_PT, NOTE_PT, SMALL_PT, TITLE_PT, said, section_title, strong

Row = Sequence[Any]
TICK = said("", tick=True)
PARTS = {"thread on": "THREAD ON", "terminate": "TERMINATE", "place and shrink": "SHRINK"}


def branch_story(page: BranchPage, unit: str, part: str, room: float) -> Iterator[Any]:
    """Yield the parts of a branch's page, in the order of the work; ``room`` is the width in points."""
    yield _head(page, unit, part, room)
    yield from _work(page, room)
    yield from _picture(page, room)
    yield from _cuts(page, room)


def _head(page: BranchPage, unit: str, part: str, room: float) -> Any:
    name = [text_cell("BRANCH", SMALL_PT), text_cell(bold(page.branch), TITLE_PT), text_cell(marked_up(page.between))]
    facts = [text_cell(f"{small_print(marked_up(what))} {marked_up(value)}", BODY_PT) for what, value in page.facts]
    job = [text_cell("Part number, unit", SMALL_PT), text_cell(bold(part), HEAD_PT), text_cell(bold(unit), HEAD_PT)]
    rule = ("BOX", (0, 0), (-1, -1), HEAVY_PT, "black"), ("LINEBEFORE", (1, 0), (-1, -1), THIN_PT, "black")
    widths = [room * share for share in (0.4, 0.42, 0.18)]
    return made_table([[name, facts, job]], widths, *rule, ("VALIGN", (0, 0), (-1, -1), "TOP"))


def _work(page: BranchPage, room: float) -> Iterator[Any]:
    """Yield the steps, numbered through, each heading's apart."""
    if not page.work:
        return
    rows: list[Row] = []
    starts: set[int] = set()
    numbered = enumerate(page.work, 1)
    for part, steps in groupby(numbered, key=lambda pair: pair[1].part):
        starts.add(len(rows))
        heads = chain((PARTS[part],), repeat(""))
        rows += [_work_row(number, step, head) for (number, step), head in zip(steps, heads, strict=False)]
    title = section_title("ORDER OF THE WORK", "tick each step; what is threaded on too late has no way on")
    names = ("", "", "done", "step", "how")
    yield listing(title, names, rows, (24, 5, 8, 78, 71), room, parted=starts, boxed=True)


def _work_row(number: int, step: Work, part: str) -> tuple[Any, ...]:
    return (
        strong(part, NOTE_PT),
        said(str(number), NOTE_PT, right=True),
        TICK,
        strong(step.what),
        said(step.detail, NOTE_PT),
    )


def _picture(page: BranchPage, room: float) -> Iterator[Any]:
    if not page.picture.ends:
        return
    title = paragraph(section_title("AS IT LIES", "sleeves after shrinking, in the middle of what they may become"))
    height = picture_height(page.picture) * POINTS_PER_MM
    rule = ("LINEABOVE", (0, 1), (-1, 1), MIDDLE_PT, "black")
    table = made_table([[title], [_drawn(page, room, height)]], [room], rule)
    table.spaceBefore = 5
    yield table


def _drawn(page: BranchPage, room: float, height: float) -> Any:
    from reportlab.platypus import Flowable

    class Drawn(Flowable):  # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__()
            self.width, self.height = room - 4, height

        def draw(self) -> None:
            self.canv.saveState()
            self.canv.scale(POINTS_PER_MM, POINTS_PER_MM)
            draw_picture(self.canv, page.picture, self.width / POINTS_PER_MM, self.height / POINTS_PER_MM)
            self.canv.restoreState()

    return Drawn()


def _cuts(page: BranchPage, room: float) -> Iterator[Any]:
    rows: list[Row] = []
    if page.covering:
        length = f"1 × {page.covering.length_mm:g} mm" if page.covering.length_mm else "1, to the measured branch"
        rows.append((TICK, said(page.covering.covering), strong(length), None))
    for cut in page.cuts:
        places = ", ".join(cut.places)
        rows.append(
            (
                TICK,
                said(f"{cut.tube}, {cut.colour}"),
                strong(f"{cut.quantity} × {cut.cut_length_mm:g} mm"),
                said(places if cut.lettered else f"plain: {places}", NOTE_PT),
            )
        )
    if rows:
        yield plain_listing(section_title("CUT", "lengths before shrinking"), rows, (8, 70, 40, 68), room)
