"""The lists of the bench sheet: threading, cuts, heating, printing, cautions, wire ends, with boxes to tick."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, groupby, repeat

from labeler.draw.typeset import (
    FEWEST_ROWS,
    GAP_PT,
    HEAD_PT,
    HEADS_PT,
    MIDDLE_PT,
    NO_BREAK,
    NOTE_PT,
    PLAIN,
    ROW_PT,
    SMALL_PT,
    SOURCE_PT,
    TITLE_PADS,
    TITLE_PT,
    Cell,
    Part,
    Row,
    Stack,
    Table,
    Text,
    TickBox,
    Together,
    Words,
    bold,
    joined_lines,
    listing,
    plain,
    plain_listing,
    section_title,
    shown_length,
    stack,
)
from labeler.work import wording
from labeler.work.bench_sheet import BenchSheet, Caution, Printed, Remark
from labeler.work.branch_pages import CoveringCut
from labeler.work.sleeves import Cut, Place, SleeveRow
from labeler.work.wiring import WireEnds

MOST_EXPLAINED = 12  # markers left out: of more, the bench needs to know which, not how to mend them; project choice
ALONE_SIGNS = 120  # of the places of equal pieces: what has room in four lines
LINE_SIGNS = 82  # of the cautions, about: the columns shall come out alike
FIRST_NOTE = "branch by branch in this order, each one before the step it names; afterwards there is no way on"
LATER_NOTE = "these still pass once the connectors are on"


def title(sheet: BenchSheet, room: float) -> Iterator[Part]:
    """Yield the title block."""
    part = " ".join(filter(None, (sheet.part_number, f"rev {sheet.revision}" if sheet.revision else "")))
    fields = [("Part number", part), ("Unit", sheet.unit), ("Job", sheet.job), ("Date", sheet.date)]
    cells = [stack(Text(plain(label), SMALL_PT), Text(bold(value), HEAD_PT)) for label, value in fields]
    name = [Text(plain(sheet.title), SMALL_PT), Text(bold(sheet.harness), TITLE_PT)]
    said = [sheet.about]
    if sheet.take_off:
        said.append(f"{_count(len(sheet.take_off), 'marker')} to take off: see TAKE OFF")
    if sheet.missing:
        said.append(f"{_count(len(sheet.missing), 'marker')} left out or not fitting: see NOT ON THIS HARNESS")
    name += [Text(bold(words), before=2.0) for words in said if words]
    widths = tuple(room * share for share in (0.42, 0.21, 0.13, 0.09, 0.15))
    yield Table(widths, [Row([stack(*name), *cells], 0.0, 0.0, at_top=True)], framed=True, parted=True)


def steps(words: str, note: str, steps: Sequence[SleeveRow], room: float) -> Iterator[Part]:
    """Yield what is threaded on, in order."""
    if not steps:
        return
    heads = ("", "on", "branch end", "sleeve says", "tube", "cut", "how", "shrunk, heat")
    shares = (3.5, 6.5, 17, 38.5, 32, 11.5, 58, 18.5)
    befores = chain([steps[0].branch], (step.branch for step in steps))
    rows = (
        Row(_step_cells(step), MIDDLE_PT if step.branch != before else 0.0)
        for step, before in zip(steps, befores, strict=False)
    )
    yield listing(section_title(words, note), heads, rows, shares, room, framed=True)


def _step_cells(step: SleeveRow) -> tuple[Cell, ...]:
    """Return the cells of a sleeve, or of a covering, which is not shrunk: how it goes on has that room too."""
    cells = (
        Text(plain(str(step.number or "")), NOTE_PT, to_right=True),
        TickBox(),
        Text(bold(wording.place(step.place))),
        Text(bold(joined_lines(step.lines)) if step.lines else plain("plain" if step.at else "covering")),
        Text(plain(", ".join(filter(None, (step.tube, step.colour)))), NOTE_PT + 0.5),
        Text(plain(shown_length(step.cut_length_mm) if step.at else "")),
        Text(plain(wording.instructions(step.how) or "no way on is given"), NOTE_PT),
    )
    return (*cells, TickBox(Text(plain(step.heating), NOTE_PT))) if step.at else cells


def take_off(remarks: Sequence[Remark], room: float) -> Iterator[Part]:
    """Yield what must come off a unit that was built, with boxes to tick."""
    if not remarks:
        return
    rows = (Row([TickBox(), Text(bold(each.place)), Text(plain(each.text)), _why(each)]) for each in remarks)
    title = section_title("TAKE OFF", "these are void: none of them may stay on the unit")
    yield listing(title, ("off", "marker", "text", "why"), rows, (8, 46, 66, 66), room, framed=True)


def put_on(remarks: Sequence[Remark], room: float) -> Iterator[Part]:
    """Yield what is laid around or tied on, with boxes to tick, what it says and where it is printed."""
    if not remarks:
        return
    rows = (
        Row([TickBox(), Text(bold(each.place)), Text(plain(each.text)), Text(plain(each.state), NOTE_PT)])
        for each in remarks
    )
    title = section_title("PUT ON", "wraps, flags and tags: each at the place it names")
    yield listing(title, ("on", "marker", "says", "printed on"), rows, (8, 52, 86, 40), room, framed=True)


def missing(remarks: Sequence[Remark], room: float) -> Iterator[Part]:
    """Yield what is not there or will not read, in a heavy frame."""
    if not remarks:
        return
    brief = len(remarks) > MOST_EXPLAINED
    rows = (
        Row([Text(bold(each.place)), Text(plain(each.text)), Text(bold(each.state)), _why(each, brief=brief)])
        for each in remarks
    )
    note = "these places stay without their marker, or it will not read"
    title = section_title("NOT ON THIS HARNESS", f"{note}; labeler check says what helps" if brief else note)
    yield listing(title, ("marker", "text", "state", "why"), rows, (34, 40, 20, 92), room, framed=True)


def tight(remarks: Sequence[Remark], room: float) -> Iterator[Part]:
    """Yield what reads with little to spare; those of the same reasons share a row."""
    if not remarks:
        return
    alike: dict[tuple[tuple[str, ...], tuple[str, ...]], list[Remark]] = {}
    for remark in remarks:
        alike.setdefault((remark.reasons, remark.ways_out), []).append(remark)
    rows = ([stack(Text(_named(those), NOTE_PT), _why(those[0]))] for those in alike.values())
    title = section_title("TIGHT", "they read, with little to spare: look at them when they are on")
    yield plain_listing(title, rows, (1,), room)


def _named(remarks: Sequence[Remark]) -> Words:
    ends = chain(repeat(", ", len(remarks) - 1), ("",))
    named = zip(remarks, ends, strict=True)
    return tuple(span for each, end in named for span in (*bold(f"{each.place} "), *plain(each.text + end)))


def _why(remark: Remark, *, brief: bool = False) -> Stack:
    """Return the reasons and what would help, a paragraph each; ``brief``: the first reason alone."""
    if brief:
        return stack(Text(plain(next(iter(remark.reasons), "no reason given")), NOTE_PT))
    reasons = [Text(plain(reason), NOTE_PT) for reason in remark.reasons or ("no reason given",)]
    helps = [Text((*bold("What helps: "), *plain(way)), NOTE_PT) for way in remark.ways_out]
    return stack(*reasons, *helps)


def cuts(sheet: BenchSheet, room: float) -> Iterator[Part]:
    """Yield the cut list, a tube's pieces two to a row, then the coverings."""
    if not sheet.cuts and not sheet.coverings:
        return
    waste = f"totals of tube with {sheet.tube_allowance:.0%} for waste; " if sheet.tube_allowance else ""
    note = f"lengths before shrinking; {waste}lettered where not said plain"
    heads = ("tube", "in all", "", "pieces", "for", "", "pieces", "for")
    rows = chain(_tube_rows(sheet), _covering_rows(sheet))
    yield listing(section_title("CUT", note), heads, rows, (34, 15, 7.5, 21, 40, 7.5, 21, 40), room)


def _tube_rows(sheet: BenchSheet) -> Iterator[Row]:
    """Yield the pieces of each tube, two to a row, the first with how much of the tube it takes in all."""
    totals = {(total.tube, total.colour): total.length_m for total in sheet.totals}
    for (tube, colour), found in groupby(sheet.cuts, key=lambda cut: (cut.tube, cut.colour)):
        pieces = [_cut_cells(cut) for cut in found]
        yield from _paired(f"{tube}, {colour}", f"{totals[tube, colour]:.3f} m", pieces)


def _covering_rows(sheet: BenchSheet) -> Iterator[Row]:
    """Yield a row for each covering, with all of it that is known, and two of its pieces."""
    for name, found in groupby(sorted(sheet.coverings, key=lambda cut: cut.covering), key=lambda cut: cut.covering):
        coverings = list(found)
        known = sum(piece.length_mm or 0.0 for piece in coverings)
        lengths = map(_covered, coverings)
        pieces = [
            (TickBox(), Text(bold(length)), Text(plain(piece.branch), NOTE_PT))
            for length, piece in zip(lengths, coverings, strict=True)
        ]
        yield from _paired(name, f"{known / 1000:.3f} m" if known else "", pieces)


def _covered(piece: CoveringCut) -> str:
    """Say how much of a covering: of what is wound how much of the branch it covers."""
    if piece.wound:
        return f"over {shown_length(piece.length_mm)}" if piece.length_mm else "as measured"
    return f"1 × {shown_length(piece.length_mm)}" if piece.length_mm else "1, as measured"


def _paired(name: str, total: str, pieces: Sequence[Piece]) -> Iterator[Row]:
    """Yield pieces of one kind two to a row; those for many places have a row of their own, and more room."""
    rows: list[list[Piece]] = []
    for piece in pieces:
        if rows and len(rows[-1]) == 1 and not _is_long(piece) and not _is_long(rows[-1][0]):
            rows[-1].append(piece)
        else:
            rows.append([piece])
    for place, row in enumerate(rows):
        head = Text(plain(name), NOTE_PT + 0.5), None if place else Text(plain(total))
        padding = [None] * (0 if _is_long(row[0]) else 6 - 3 * len(row))
        yield Row([*head, *(cell for piece in row for cell in piece), *padding], 0.0 if place else MIDDLE_PT)


def _is_long(piece: Piece) -> bool:
    return sum(len(text) for *_, text in piece[2].words) > ALONE_SIGNS


Piece = tuple[TickBox, Text, Text]  # a box, how many of which length, the places


def _cut_cells(cut: Cut) -> Piece:
    places = _places(cut.places)
    return (
        TickBox(),
        Text(bold(f"{cut.quantity} × {shown_length(cut.cut_length_mm)}")),
        Text(plain(places if cut.lettered else f"plain: {places}"), NOTE_PT),
    )


def _places(places: Sequence[Place]) -> str:
    """Return places as one text; where they are many the branch of those that follow one another is said once."""
    joined = ", ".join(map(wording.place, places))
    if len(joined) <= ALONE_SIGNS:
        return joined
    befores = ("", *("" if each.branch == each.at else each.branch for each in places))
    return ", ".join(
        each.at if each.at and each.branch == before else wording.place(each)
        for each, before in zip(places, befores, strict=False)
    )


def practices(sheet: BenchSheet, room: float) -> Iterator[Part]:
    """Yield what the words under "shrunk, heat" mean, and for how many sleeves each holds; how the rest goes on."""
    words = [(each.heating, _count(each.sleeves, "sleeve"), wording.HEATING[each.heating]) for each in sheet.practices]
    words += [(each.kind, _count(each.pieces, "piece"), wording.applying(each)) for each in sheet.layings]
    rows = [(Text(bold(what), NOTE_PT + 0.5), Text(plain(f"{count}: {how}"), NOTE_PT)) for what, count, how in words]
    if rows:
        done = filter(None, ("SHRINK" if sheet.practices else "", "LAY ON" if sheet.layings else ""))
        note = "see the last column above" if sheet.practices else ""
        yield plain_listing(section_title(", ".join(done), note), rows, (21, 165), room)


def printed(printed: Sequence[Printed], room: float) -> Iterator[Part]:
    """Yield what is printed on which stock."""
    if not printed:
        return
    note = "at 100 %, not fitted to the page; the 50 mm ruler on each sheet must measure 50 mm"
    rows = [
        (
            Text(bold(stock.stock), NOTE_PT + 0.5),
            Text(plain(stock.about), NOTE_PT),
            Text(plain(_sheets_of(stock)), NOTE_PT + 0.5),
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


def cautions(cautions: Sequence[Caution], room: float) -> Iterator[Part]:
    """Yield the cautions in two columns, each with the letter of its source."""
    if not cautions:
        return
    sources = list(dict.fromkeys((caution.source, caution.seen) for caution in cautions))
    letters = {source: chr(ord("a") + place) for place, source in enumerate(sources)}
    said = [
        Text(
            (*bold(f"{each.about}: "), *plain(f"{each.text} [{letters[each.source, each.seen]}]")), SMALL_PT, after=1.2
        )
        for each in cautions
    ]
    half = _half([-(-len(caution.about + caution.text) // LINE_SIGNS) for caution in cautions])
    where = "; ".join(f"[{letters[source]}] {source[0]} ({source[1]})" for source in sources)
    title = Row([section_title("TAKE CARE")], 0.0, MIDDLE_PT, TITLE_PADS)
    columns = Row([stack(*said[:half]), stack(*said[half:])], 0.0, 0.0, (2.0, 6.0, 2.2, 2.4), at_top=True)
    source_row = Row([Text(plain(where), SOURCE_PT)], 0.0, 0.0, (2.0, 2.0, 0.0, 2.0))
    yield Together((Table((room / 2, room / 2), [columns, source_row], (title,), gap=GAP_PT),))


def brief_cautions(cautions: Sequence[Caution], room: float) -> Iterator[Table]:
    """Yield the cautions as one paragraph; where they are from stands on the first page."""
    if cautions:
        said = [span for each in cautions for span in (*bold(f"{each.about}: "), *plain(f"{each.text} "))]
        words = (*bold("TAKE CARE "), (PLAIN, 0.0, f"{NO_BREAK * 2} "), *said)
        yield Table((room,), [Row([Text(words, SMALL_PT)], 0.0, 0.0, (2.0, 0.0, 0.0, 3.0))], gap=6.0)


def _half(lengths: Sequence[int]) -> int:
    """Return how many of the parts, taken from the first, are nearest to half of them all."""
    whole = sum(lengths)
    return min(range(1, len(lengths) + 1), key=lambda count: abs(2 * sum(lengths[:count]) - whole))


def signatures(room: float) -> Iterator[Table]:
    """Yield the fields to sign."""
    cells = [Text(plain(word), SMALL_PT) for word in ("Threaded by", "Shrunk by", "Checked by", "Date")]
    yield Table((room / 4,) * 4, [Row(cells, MIDDLE_PT, 0.0, (2.0, 2.0, 2.2, 8.5))], parted=True, gap=3.0)


def wire_ends(connectors: Sequence[WireEnds], room: float) -> Iterator[Part]:
    """Yield a table for each connector: what goes into which cavity."""
    heads = ("in", "cavity", "circuit", "colour", "size", "signal", "to", "marker says")
    for connector in connectors:
        rows = (
            Row(
                (
                    TickBox(),
                    Text(bold(end.cavity)),
                    Text(plain(end.circuit)),
                    Text(plain(end.colour)),
                    Text(plain(end.size)),
                    Text(plain(end.signal), NOTE_PT),
                    Text(plain(end.to)),
                    Text(plain(joined_lines(end.marker) or "no marker")),
                )
            )
            for end in connector.ends
        )
        title = section_title(f"WIRE ENDS AT {connector.connector}", connector.about)
        at_least = HEADS_PT + ROW_PT * min(len(connector.ends), FEWEST_ROWS)
        yield listing(title, heads, rows, (8, 14, 26, 17, 20, 37, 24, 40), room, at_least=at_least)
