"""The lists of the bench sheet: threading, cuts, heating, printing, cautions, wire ends, with boxes to tick."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from labeler.bench.cautions import Caution
from labeler.bench.sheet import BenchSheet, Printed, Remark
from labeler.bench.sleeves import Cut, Step
from labeler.bench.wires import WireEnds
from labeler.draw.listing import GAP_PT, HEAVY_PT, JOINED, MIDDLE_PT, THIN_PT
from labeler.draw.tables import (
    FEWEST_ROWS,
    HEADS_PT,
    ROW_PT,
    TITLED,
    bold,
    joined_lines,
    listing,
    made_table,
    marked_up,
    paragraph,
    plain_listing,
    shown_length,
    text_cell,
)
from labeler.draw.words import (
    BOLD,
    HEAD_PT,
    NOTE_PT,
    PLAIN,
    SMALL_PT,
    SOURCE_PT,
    TITLE_PT,
    Words,
    said,
    section_title,
    strong,
)

Row = Sequence[Any]
TICK = said("", tick=True)
MOST_PLACES = 40  # named in the cut list, project choice: each stands in the order of threading with its cut length
LINE_SIGNS = 82  # of the cautions, about: the columns shall come out alike
FIRST_NOTE = "branch by branch in this order, each one before the step it names; afterwards there is no way on"
LATER_NOTE = "these still pass once the connectors are on"


def title(sheet: BenchSheet, room: float) -> Iterator[Any]:
    """Yield the title block."""
    part = " ".join(filter(None, (sheet.part_number, f"rev {sheet.revision}" if sheet.revision else "")))
    fields = [("Part number", part), ("Unit", sheet.unit), ("Job", sheet.job), ("Date", sheet.date)]
    cells = [[text_cell(marked_up(label), SMALL_PT), text_cell(bold(value), HEAD_PT)] for label, value in fields]
    name = [text_cell(marked_up(sheet.title), SMALL_PT), text_cell(bold(sheet.harness), TITLE_PT)]
    if sheet.about:
        name.append(text_cell(bold(sheet.about), spaceBefore=2))
    if sheet.take_off:
        name.append(
            text_cell(bold(f"{_count(len(sheet.take_off), 'marker')} to take off: see TAKE OFF"), spaceBefore=2)
        )
    if sheet.missing:
        count = _count(len(sheet.missing), "marker")
        words = f"{count} left out or not fitting: see NOT ON THIS HARNESS"
        name.append(text_cell(bold(words), spaceBefore=2))
    rule = ("BOX", (0, 0), (-1, -1), HEAVY_PT, "black"), ("LINEBEFORE", (1, 0), (-1, -1), THIN_PT, "black")
    top = ("VALIGN", (0, 0), (-1, -1), "TOP")
    yield made_table([[name, *cells]], [room * share for share in (0.42, 0.21, 0.13, 0.09, 0.15)], *rule, top)


def steps(words: str, note: str, steps: Sequence[Step], room: float) -> Iterator[Any]:
    """Yield what is threaded on, in order."""
    if not steps:
        return
    heads = ("", "on", "branch end", "sleeve says", "tube", "cut", "how", "shrunk, heat")
    rows = [_step_row(step) for step in steps]
    parted = {i for i, step in enumerate(steps) if i and step.branch != steps[i - 1].branch}
    shares = (3.5, 6.5, 17, 38.5, 32, 11.5, 58, 18.5)
    yield listing(section_title(words, note), heads, rows, shares, room, parted=parted, boxed=True)


def _step_row(step: Step) -> Row:
    return (
        said(str(step.number or ""), NOTE_PT, right=True),
        TICK,
        strong(step.place),
        strong(joined_lines(step.lines)) if step.lines else said("plain" if step.at else "covering"),
        said(", ".join(filter(None, (step.tube, step.colour))), NOTE_PT + 0.5),
        said(shown_length(step.cut_length_mm) if step.at else ""),
        said(step.how or "no way on is given", NOTE_PT),
        said(step.heating, NOTE_PT, tick=True) if step.at else JOINED,
    )


def take_off(remarks: Sequence[Remark], room: float) -> Iterator[Any]:
    """Yield what must come off a unit that was built, with boxes to tick."""
    if not remarks:
        return
    rows = [(TICK, strong(each.place), said(each.text), _why(each)) for each in remarks]
    title = section_title("TAKE OFF", "these are void: none of them may stay on the unit")
    yield listing(title, ("off", "marker", "text", "why"), rows, (8, 46, 66, 66), room, boxed=True)


def missing(remarks: Sequence[Remark], room: float) -> Iterator[Any]:
    """Yield what is not there or will not read, in a heavy frame."""
    if not remarks:
        return
    rows = [(strong(each.place), said(each.text), strong(each.state), _why(each)) for each in remarks]
    title = section_title("NOT ON THIS HARNESS", "these places stay without their marker, or it will not read")
    yield listing(title, ("marker", "text", "state", "why"), rows, (34, 40, 20, 92), room, boxed=True)


def tight(remarks: Sequence[Remark], room: float) -> Iterator[Any]:
    """Yield what reads with little to spare; those of the same reasons share a row."""
    if not remarks:
        return
    alike: dict[tuple[tuple[str, ...], tuple[str, ...]], list[Remark]] = {}
    for remark in remarks:
        alike.setdefault((remark.reasons, remark.ways_out), []).append(remark)
    rows = [((_named(those), *_why(those[0])),) for those in alike.values()]
    title = section_title("TIGHT", "they read, with little to spare: look at them when they are on")
    yield plain_listing(title, rows, (1,), room)


def _named(remarks: Sequence[Remark]) -> Words:
    """Return the places in bold, each with its text."""
    last = len(remarks) - 1
    named = [
        ((remark.place, BOLD, NOTE_PT), (f" {remark.text}{', ' if i < last else ''}", PLAIN, NOTE_PT))
        for i, remark in enumerate(remarks)
    ]
    return Words(tuple(run for pair in named for run in pair))


def _why(remark: Remark) -> tuple[Words, ...]:
    """Return the reasons and what would help, a paragraph each."""
    reasons = [said(reason, NOTE_PT) for reason in remark.reasons or ("no reason given",)]
    return (*reasons, *(strong("What helps:", NOTE_PT) + said(f" {way}", NOTE_PT) for way in remark.ways_out))


def cuts(sheet: BenchSheet, room: float) -> Iterator[Any]:
    """Yield the cut list, a tube's pieces two to a row, then the coverings."""
    if not sheet.cuts and not sheet.coverings:
        return
    totals = {(total.tube, total.colour): total.length_m for total in sheet.totals}
    rows: list[Row] = []
    starts = set()
    for (tube, colour), found in groupby(sheet.cuts, key=lambda cut: (cut.tube, cut.colour)):
        starts.add(len(rows))
        cuts = list(found)
        total = said(f"{totals[tube, colour]:.3f} m")
        for first in range(0, len(cuts), 2):
            pair = [cell for cut in cuts[first : first + 2] for cell in _cut_cells(cut)]
            name = said(f"{tube}, {colour}", NOTE_PT + 0.5)
            rows.append((name, None if first else total, *pair, *[None] * (6 - len(pair))))
    starts.add(len(rows))
    rows += _covering_rows(sheet)
    waste = f"totals of tube with {sheet.tube_allowance:.0%} for waste; " if sheet.tube_allowance else ""
    note = f"lengths before shrinking; {waste}lettered where not said plain"
    title = section_title("CUT", note)
    heads = ("tube", "in all", "", "pieces", "for", "", "pieces", "for")
    yield listing(title, heads, rows, (34, 15, 7.5, 21, 40, 7.5, 21, 40), room, parted=starts)


def _covering_rows(sheet: BenchSheet) -> Iterator[Row]:
    """Yield a row for each covering, with all of it that is known, and two of its pieces."""
    for name, found in groupby(sorted(sheet.coverings, key=lambda cut: cut.covering), key=lambda cut: cut.covering):
        pieces = list(found)
        known = sum(piece.length_mm or 0.0 for piece in pieces)
        total = said(f"{known / 1000:.3f} m" if known else "")
        for first in range(0, len(pieces), 2):
            cells: list[Any] = []
            for piece in pieces[first : first + 2]:
                length = f"1 × {shown_length(piece.length_mm)}" if piece.length_mm else "1, as measured"
                cells += [TICK, strong(length), said(piece.branch, NOTE_PT)]
            padding = [None] * (6 - len(cells))
            yield said(name, NOTE_PT + 0.5), None if first else total, *cells, *padding


def _cut_cells(cut: Cut) -> tuple[Any, Any, Any]:
    places = ", ".join(cut.places[:MOST_PLACES])
    if len(cut.places) > MOST_PLACES:
        places += f" and {len(cut.places) - MOST_PLACES} more that are listed above"
    return (
        TICK,
        strong(f"{cut.quantity} × {shown_length(cut.cut_length_mm)}"),
        said(places if cut.lettered else f"plain: {places}", NOTE_PT),
    )


def practices(sheet: BenchSheet, room: float) -> Iterator[Any]:
    """Yield what the words under "shrunk, heat" mean, and for how many sleeves each holds."""
    if not sheet.practices:
        return
    rows = [
        (
            strong(practice.heating),
            said(f"{_count(len(practice.places), 'sleeve')}: {practice.how}"),
        )
        for practice in sheet.practices
    ]
    yield plain_listing(section_title("SHRINK", "see the last column above"), rows, (21, 165), room)


def printed(printed: Sequence[Printed], room: float) -> Iterator[Any]:
    """Yield what is printed on which stock."""
    if not printed:
        return
    note = "at 100 %, not fitted to the page; the 50 mm ruler on each sheet must measure 50 mm"
    rows = [
        (
            strong(stock.stock, NOTE_PT + 0.5),
            said(stock.about, NOTE_PT),
            said(_sheets_of(stock), NOTE_PT + 0.5),
        )
        for stock in printed
    ]
    yield plain_listing(section_title("PRINT", note), rows, (32, 98, 56), room)


def _sheets_of(stock: Printed) -> str:
    """Return how many markers stand on which sheets; each sheet has its number in its head.

    >>> _sheets_of(Printed("card", "", 16, (1, 2, 5)))
    '16 markers on 3 sheets: 1–2, 5'
    >>> _sheets_of(Printed("card", "", 1, (4,)))
    '1 marker on sheet 4'
    """
    sheets = len(stock.numbers)
    on = f"{_count(sheets, 'sheet')}: " if sheets > 1 else "sheet "
    return f"{_count(stock.pieces, 'marker')} on {on}{_spans(stock.numbers)}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _spans(numbers: Sequence[int]) -> str:
    """Return page numbers with neighbours drawn together.

    >>> _spans((1, 2, 3, 5))
    '1–3, 5'
    """
    spans = []
    for _, run in groupby(enumerate(sorted(numbers)), key=lambda pair: pair[1] - pair[0]):
        found = [number for _, number in run]
        spans.append(f"{found[0]}" if len(found) == 1 else f"{found[0]}–{found[-1]}")
    return ", ".join(spans)


def cautions(cautions: Sequence[Caution], room: float) -> Iterator[Any]:
    """Yield the cautions in two columns, each with the letter of its source."""
    from reportlab.platypus import KeepTogether

    if not cautions:
        return
    sources = list(dict.fromkeys((caution.source, caution.seen) for caution in cautions))
    letters = {source: chr(ord("a") + place) for place, source in enumerate(sources)}
    said = [
        text_cell(
            f"{bold(caution.about)}: {marked_up(caution.text)} [{letters[caution.source, caution.seen]}]",
            SMALL_PT,
            spaceAfter=1.2,
        )
        for caution in cautions
    ]
    half = _half([-(-len(caution.about + caution.text) // LINE_SIGNS) for caution in cautions])
    where = "; ".join(f"[{letters[source]}] {source[0]} ({source[1]})" for source in sources)
    rows = [(paragraph(section_title("TAKE CARE")), None), (said[:half], said[half:] or None)]
    top = ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEABOVE", (0, 1), (-1, 1), MIDDLE_PT, "black")
    table = made_table(rows, [room / 2, room / 2], *TITLED, *top, ("RIGHTPADDING", (0, 1), (0, 1), 8))
    table.spaceBefore = GAP_PT
    yield KeepTogether([table, text_cell(marked_up(where), SOURCE_PT, leftIndent=2, spaceAfter=2)])


def brief_cautions(cautions: Sequence[Caution]) -> Iterator[Any]:
    """Yield the cautions as one paragraph; where they are from stands on the first page."""
    if cautions:
        said = " ".join(f"{bold(caution.about)}: {marked_up(caution.text)}" for caution in cautions)
        yield text_cell(f"{bold('TAKE CARE')} &nbsp; {said}", SMALL_PT, spaceBefore=6, spaceAfter=3, leftIndent=2)


def _half(lengths: Sequence[int]) -> int:
    """Return how many of the parts, taken from the first, are nearest to half of them all."""
    whole = sum(lengths)
    return min(range(1, len(lengths) + 1), key=lambda count: abs(2 * sum(lengths[:count]) - whole))


def signatures(room: float) -> Iterator[Any]:
    """Yield the fields to sign."""
    cells = [text_cell(marked_up(word), SMALL_PT) for word in ("Threaded by", "Shrunk by", "Checked by", "Date")]
    looks = ("LINEABOVE", (0, 0), (-1, 0), MIDDLE_PT, "black"), ("BOTTOMPADDING", (0, 0), (-1, -1), 8.5)
    table = made_table([cells], [room / 4] * 4, *looks, ("LINEBEFORE", (1, 0), (-1, -1), THIN_PT, "black"))
    table.spaceBefore = 3
    yield table


def wire_ends(connectors: Sequence[WireEnds], room: float) -> Iterator[Any]:
    """Yield a table for each connector: what goes into which cavity."""
    from reportlab.platypus import CondPageBreak

    for connector in connectors:
        yield CondPageBreak(HEADS_PT + ROW_PT * min(len(connector.ends), FEWEST_ROWS))
        title = section_title(f"WIRE ENDS AT {connector.connector}", connector.about)
        rows = [
            (
                TICK,
                strong(end.cavity),
                said(end.circuit),
                said(end.colour),
                said(end.size),
                said(end.signal, NOTE_PT),
                said(end.to),
                said(joined_lines(end.marker) or "no marker"),
            )
            for end in connector.ends
        ]
        heads = ("in", "cavity", "circuit", "colour", "size", "signal", "to", "marker says")
        yield listing(title, heads, rows, (8, 14, 26, 17, 20, 37, 24, 40), room)
