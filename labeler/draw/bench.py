"""Draw the bench sheet: one PDF of plain tables with boxes to tick, for a wall beside the bench.

Nothing is cut off: long words break, long cells grow, long lists go on overleaf under the same heads.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, groupby, repeat
from typing import TYPE_CHECKING

from labeler.draw.document import Document, moved
from labeler.draw.flow import (
    GAP_PT,
    HEAD_PT,
    MIDDLE_PT,
    NOTE_PT,
    SMALL_PT,
    SOURCE_PT,
    TITLE_PT,
    Drawing,
    Flow,
    Frame,
    NewPage,
    Part,
    Row,
    Stack,
    Table,
    TableCell,
    Text,
    TickBox,
    Together,
    listing,
    plain_listing,
    section_title,
    stack,
    title_row,
)
from labeler.draw.pens import points
from labeler.draw.picture import draw_part, picture_heights
from labeler.draw.typeset import PLAIN, Words, bold, draw_words, plain, shortened, text_width
from labeler.errors import Problem, SourceLocation, WrongUse
from labeler.tables.stocks import PAPERS
from labeler.work import wording
from labeler.work.bench_sheet import BenchSheet, Printed, Remark, SafetyMessage
from labeler.work.branch_pages import BranchPage, CoveringCut, WorkStep
from labeler.work.sleeves import Cut, Place, SleeveRow
from labeler.work.wiring import WireEnds

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

SIDE_MM, HEAD_MM, FOOT_MM = 12.0, 7.5, 11.0
"""Margins: a hole punch or a clip takes the left one, the page's number stands in the lower one."""

FOOT_LINE_MM = FOOT_MM - 5
COUNT_MM = 7.0  # for the number of pages at the right of the foot
COUNT = "pages"
SIGNAL_WORDS = ("DANGER", "WARNING", "CAUTION", "NOTICE")
MOST_EXPLAINED = 12  # markers left out: of more, the bench needs to know which, not how to mend them; project choice
ALONE_CHARACTERS = 120  # of the places of equal pieces: what goes into four lines
LINE_CHARACTERS = 82  # of the safety_messages, about: the columns shall come out alike
LISTING_HEADS_PT, ROW_PT, FEWEST_ROWS = 38.0, 16.5, 6
"""Heads of a listing, a row with a box; a connector begins overleaf where fewer rows go on the page."""

FIRST_NOTE = "Slide each sleeve on before the step named. It cannot go on later."
LATER_NOTE = "These also slide over the finished end."


def draw_bench_sheet(sheet: BenchSheet, page: str) -> bytes:
    """Return the bench sheet as a PDF; the same sheet gives the same bytes.

    A character that neither the sheet's typeface nor its fallback has is written as ``<U+4E2D>``.
    ``page`` is ``A4`` or ``Letter``; raises `WrongUse` for another.
    """
    if page not in PAPERS:
        raise WrongUse(Problem(SourceLocation(""), f'bench sheet on "{page}"', f"choose {' or '.join(PAPERS)}"))
    width, height = map(points, PAPERS[page])
    frame = Frame(points(SIDE_MM), points(FOOT_MM), width - 2 * points(SIDE_MM), height - points(HEAD_MM))
    document = Document("Bench sheet", PLAIN)
    document.canvas.setPageSize((width, height))
    Flow(document, frame, lambda about: _draw_foot(document, frame, sheet, about)).put(_parts(sheet))
    add_page_count(document)
    return document.data()


def add_page_count(document: Document) -> None:
    """Add the number of pages that are done, as a form: it is drawn in the foot of each, and known at the end."""
    pages = str(document.canvas.getPageNumber() - 1)
    operators = document.operators_of(lambda canvas: draw_words(canvas, pages, 0, 0, NOTE_PT))
    document.add_form(COUNT, (0, -2, points(COUNT_MM), NOTE_PT), operators)


def _draw_foot(document: Document, frame: Frame, sheet: BenchSheet, branch: str) -> None:
    """Draw the branch and the harness on the left, the page's number on the right; a long name ends in dots.

    All of the name stands in the title block.
    """
    canvas = document.canvas
    number = f"page {canvas.getPageNumber()} of "
    names = (sheet.harness, sheet.part_number, f"rev {sheet.revision}" if sheet.revision else "")
    numbers = (f"unit {sheet.unit}", f"job {sheet.job}" if sheet.job else "", sheet.date)
    job = " · ".join(filter(None, (branch, *names, *numbers, sheet.about)))
    right, y = frame.width - points(COUNT_MM), points(FOOT_LINE_MM)
    number_width = text_width(number) * NOTE_PT
    draw_words(canvas, shortened(job, (right - number_width - 20) / NOTE_PT), frame.left, y, NOTE_PT)
    draw_words(canvas, number, frame.left + right - number_width, y, NOTE_PT)
    with moved(canvas, frame.left + right, y):
        canvas.doForm(COUNT)


# ---------------------------------------------------------------- the parts of the sheet


def _parts(sheet: BenchSheet) -> Iterator[Part]:
    """Yield the parts in the order of the work."""
    yield _title(sheet)
    yield _take_off(sheet.take_off)
    yield _steps("SLIDE ON FIRST", FIRST_NOTE, sheet.thread_first)
    yield _missing(sheet.missing)
    yield _steps("SLIDE ON LATER", LATER_NOTE, sheet.thread_later)
    yield _put_on(sheet.put_on)
    yield _cuts(sheet)
    yield _practices(sheet)
    yield _printed(sheet.printed)
    yield _safety(sheet.safety_messages)
    yield _tight(sheet.tight)
    yield _signatures()
    yield from map(_wire_ends, sheet.connectors)
    for page in sheet.branches:
        yield NewPage(f"branch {page.branch}")
        yield from _branch_parts(page, sheet)


def _title(sheet: BenchSheet) -> Table:
    """Return the title block."""
    fields = (
        ("Part number", _with_revision(sheet.part_number, sheet)),
        ("Unit", sheet.unit),
        ("Job", sheet.job),
        ("Date", sheet.date),
    )
    cells = [stack(Text(plain(label), SMALL_PT), Text(bold(value), HEAD_PT)) for label, value in fields]
    notes = [
        sheet.about,
        f"{_count(len(sheet.take_off), 'marker')} to remove: see REMOVE" if sheet.take_off else "",
        f"{_count(len(sheet.missing), 'marker')} omitted: see OMITTED MARKERS" if sheet.missing else "",
    ]
    name = stack(
        Text(plain(sheet.title), SMALL_PT),
        Text(bold(sheet.harness), TITLE_PT),
        *(Text(bold(note), before=2.0) for note in notes if note),
    )
    return _title_block((name, *cells), (0.42, 0.21, 0.13, 0.09, 0.15))


def _title_block(cells: Sequence[TableCell], shares: tuple[float, ...]) -> Table:
    return Table(shares, [Row(cells, 0.0, 0.0, at_top=True)], framed=True, column_rules=True)


def _with_revision(name: str, sheet: BenchSheet) -> str:
    return " ".join(filter(None, (name, f"rev {sheet.revision}" if sheet.revision else "")))


def _steps(words: str, note: str, steps: Sequence[SleeveRow]) -> Table:
    """Return what is threaded on, in order."""
    heads = ("", "", "branch end", "text", "tube", "cut", "instructions", "heating")
    shares = (3.5, 6.5, 17, 38.5, 32, 11.5, 58, 18.5)
    rows = (
        Row(_step_cells(step), MIDDLE_PT if place and step.branch != steps[place - 1].branch else 0.0)
        for place, step in enumerate(steps)
    )
    return listing(section_title(words, note), heads, rows, shares, framed=True)


def _step_cells(step: SleeveRow) -> tuple[TableCell, ...]:
    """Return the cells of a sleeve, or of a covering, which is not shrunk: how it goes on has that space too."""
    cells = (
        Text(plain(str(step.number or "")), NOTE_PT, to_right=True),
        TickBox(),
        Text(bold(wording.place(step.place))),
        Text(bold(" / ".join(step.lines)) if step.lines else plain("blank" if step.at else "covering")),
        Text(plain(", ".join(filter(None, (step.tube, step.colour)))), NOTE_PT + 0.5),
        Text(plain(_length(step.cut_length_mm) if step.at else "")),
        Text(plain(wording.instructions(step.how) or "access end not known"), NOTE_PT),
    )
    return (*cells, TickBox(Text(plain(wording.HEATING_NAMES[step.heating]), NOTE_PT))) if step.at else cells


def _take_off(remarks: Sequence[Remark]) -> Table:
    """Return what must come off a unit that was built, with boxes to tick."""
    rows = [Row([TickBox(), Text(bold(each.place)), Text(plain(each.text)), _why(each)]) for each in remarks]
    title = section_title("REMOVE", "These are void. None of them may stay on the unit.")
    return listing(title, ("", "marker", "text", "reason"), rows, (8, 46, 66, 66), framed=True)


def _put_on(remarks: Sequence[Remark]) -> Table:
    """Return what is laid around or tied on, with boxes to tick, what it says and where it is printed."""
    rows = [
        Row([TickBox(), Text(bold(each.place)), Text(plain(each.text)), Text(plain(each.state), NOTE_PT)])
        for each in remarks
    ]
    title = section_title("APPLY", "Wraps, flags and tags: each at the place it names.")
    return listing(title, ("", "marker", "text", "printed on"), rows, (8, 52, 86, 40), framed=True)


def _missing(remarks: Sequence[Remark]) -> Table:
    """Return what is not there or will not read, in a heavy frame."""
    brief = len(remarks) > MOST_EXPLAINED
    rows = [
        Row([Text(bold(each.place)), Text(plain(each.text)), Text(bold(each.state)), _why(each, brief=brief)])
        for each in remarks
    ]
    note = "These places have no marker, or it will not be readable."
    title = section_title("OMITTED MARKERS", f"{note} See labeler check for fixes." if brief else note)
    return listing(title, ("marker", "text", "state", "reason"), rows, (34, 40, 20, 92), framed=True)


def _tight(remarks: Sequence[Remark]) -> Table:
    """Return what reads with little to spare; those of the same reasons share a row."""
    alike: dict[tuple[tuple[str, ...], tuple[str, ...]], list[Remark]] = {}
    for remark in remarks:
        alike.setdefault((remark.reasons, remark.fixes), []).append(remark)
    rows = [(stack(Text(_named(those), NOTE_PT), _why(those[0])),) for those in alike.values()]
    title = section_title("MARGINAL", "Inspect after shrinking.")
    return plain_listing(title, rows, (1,))


def _named(remarks: Sequence[Remark]) -> Words:
    ends = chain(repeat(", ", len(remarks) - 1), ("",))
    named = zip(remarks, ends, strict=True)
    return tuple(span for each, end in named for span in (*bold(f"{each.place} "), *plain(each.text + end)))


def _why(remark: Remark, *, brief: bool = False) -> Stack:
    """Return the reasons and what would help, a paragraph each; ``brief``: the first reason alone."""
    reasons = remark.reasons or ("no reason given",)
    ways = () if brief else remark.fixes
    return stack(
        *(Text(plain(reason), NOTE_PT) for reason in (reasons[:1] if brief else reasons)),
        *(Text((*bold("To fix: "), *plain(way)), NOTE_PT) for way in ways),
    )


# ---------------------------------------------------------------- what is cut


Piece = tuple[TickBox, Text, Text]  # a box, how many of which length, the places


def _cuts(sheet: BenchSheet) -> Table:
    """Return the cut list, a tube's pieces two to a row, then the coverings."""
    waste = f" Totals of tube include {sheet.tube_allowance:.0%} waste." if sheet.tube_allowance else ""
    note = f"Lengths before shrinking.{waste} Marked unless listed as blank."
    heads = ("tube", "total", "", "pieces", "for", "", "pieces", "for")
    rows = chain(_tube_rows(sheet), _covering_rows(sheet))
    return listing(section_title("CUT LIST", note), heads, rows, (34, 15, 7.5, 21, 40, 7.5, 21, 40))


def _tube_rows(sheet: BenchSheet) -> Iterator[Row]:
    """Yield the pieces of each tube, two to a row, the first with how much of the tube it takes in all."""
    totals = {(total.tube, total.colour): total.length_m for total in sheet.totals}
    for (tube, colour), found in groupby(sheet.cuts, key=lambda cut: (cut.tube, cut.colour)):
        pieces = [
            (
                TickBox(),
                Text(bold(f"{cut.quantity} × {_length(cut.cut_length_mm)}")),
                Text(plain(_lettered(cut, _places(cut.places))), NOTE_PT),
            )
            for cut in found
        ]
        yield from _paired(f"{tube}, {colour}", f"{totals[tube, colour]:.3f} m", pieces)


def _covering_rows(sheet: BenchSheet) -> Iterator[Row]:
    """Yield a row for each covering, with all of it that is known, and two of its pieces."""
    for name, found in groupby(sorted(sheet.coverings, key=lambda cut: cut.covering), key=lambda cut: cut.covering):
        coverings = list(found)
        known = sum(piece.length_mm or 0.0 for piece in coverings)
        pieces = [(TickBox(), Text(bold(_covered(piece))), Text(plain(piece.branch), NOTE_PT)) for piece in coverings]
        yield from _paired(name, f"{known / 1000:.3f} m" if known else "", pieces)


def _covered(piece: CoveringCut) -> str:
    """Return how much of a covering: of what is wound how much of the branch it covers."""
    if piece.wound:
        return f"over {_length(piece.length_mm)}" if piece.length_mm else "as measured"
    return f"1 × {_length(piece.length_mm)}" if piece.length_mm else "1, length to suit"


def _paired(name: str, total: str, pieces: Sequence[Piece]) -> Iterator[Row]:
    """Yield pieces of one kind two to a row; those for many places have a row of their own, and more space."""
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
    return sum(len(text) for *_, text in piece[2].words) > ALONE_CHARACTERS


def _places(places: Sequence[Place]) -> str:
    """Return the places of pieces; where they are many the branch of those that follow one another is named once."""
    joined = ", ".join(map(wording.place, places))
    if len(joined) <= ALONE_CHARACTERS:
        return joined
    befores = ("", *("" if each.branch == each.at else each.branch for each in places))
    return ", ".join(
        each.at if each.at and each.branch == before else wording.place(each)
        for each, before in zip(places, befores, strict=False)
    )


def _lettered(cut: Cut, places: str) -> str:
    return places if cut.lettered else f"blank: {places}"


# ---------------------------------------------------------------- how it is made, printed and signed


def _practices(sheet: BenchSheet) -> Table:
    """Return what the words under "shrunk, heat" mean, and for how many sleeves each holds; how the rest goes on."""
    words = [
        (wording.HEATING_NAMES[each.heating], _count(each.sleeves, "sleeve"), wording.HEATING[each.heating])
        for each in sheet.practices
    ]
    words += [(each.kind, _count(each.pieces, "piece"), wording.applying(each)) for each in sheet.layings]
    rows = [(Text(bold(what), NOTE_PT + 0.5), Text(plain(f"{count}: {how}"), NOTE_PT)) for what, count, how in words]
    note = "See the last column above." if sheet.practices else ""
    return plain_listing(section_title("METHODS", note), rows, (21, 165))


def _printed(printed: Sequence[Printed]) -> Table:
    """Return what is printed on which stock."""
    note = "At 100 %, not fitted to the page."
    rows = [
        (
            Text(bold(stock.stock), NOTE_PT + 0.5),
            Text(plain(stock.about), NOTE_PT),
            Text(plain(_sheets_of(stock)), NOTE_PT + 0.5),
        )
        for stock in printed
    ]
    return plain_listing(section_title("PRINTING", note), rows, (32, 98, 56))


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


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _length(millimetres: float) -> str:
    return f"{millimetres:g} mm"


def _safety(messages: Sequence[SafetyMessage]) -> Together:
    """Return the messages in two columns, each with the letter of its source."""
    sources = list(dict.fromkeys((message.source, message.source_note) for message in messages))
    letters = {source: chr(ord("a") + place) for place, source in enumerate(sources)}
    texts = [
        Text(
            (
                *bold(f"{word}{each.title}: "),
                *plain(f"{each.text} [{letters[each.source, each.source_note]}]"),
            ),
            SMALL_PT,
            after=0.6,
        )
        for each, word in _with_signal_words(messages)
    ]
    ordered = [f"{word}{each.title}{each.text}" for each, word in _with_signal_words(messages)]
    half = _half([-(-len(text) // LINE_CHARACTERS) for text in ordered])
    where = "; ".join(f"[{letters[source]}] {source[0]} ({source[1]})" for source in sources)
    columns = Row([stack(*texts[:half]), stack(*texts[half:])], 0.0, 0.0, (2.0, 6.0, 2.2, 2.4), at_top=True)
    source_row = Row([Text(plain(where), SOURCE_PT)], 0.0, 0.0, (2.0, 2.0, 0.0, 2.0))
    heads = (title_row(section_title("SAFETY")),)
    return Together((Table((1, 1), [columns, source_row] if messages else [], heads, gap=GAP_PT),))


def _with_signal_words(messages: Sequence[SafetyMessage]) -> Iterator[tuple[SafetyMessage, str]]:
    """Yield the messages, the gravest first, each with its signal word where that changes (ANSI Z535.6)."""
    last = ""
    for each in sorted(messages, key=lambda message: SIGNAL_WORDS.index(message.signal_word)):
        yield each, f"{each.signal_word} " if each.signal_word != last else ""
        last = each.signal_word


def _half(lengths: Sequence[int]) -> int:
    """Return how many of the parts, taken from the first, are nearest to half of them all."""
    return min(range(1, len(lengths) + 1), key=lambda n: abs(2 * sum(lengths[:n]) - sum(lengths)), default=0)


def _brief_safety(messages: Sequence[SafetyMessage]) -> Table:
    """Return one line on a page that is not the first: what the messages are about, and where they are in full."""
    titles = "; ".join(each.title for each, _ in _with_signal_words(messages))
    words = (*bold("SAFETY "), *plain(f"See the first page: {titles}."))
    rows = [Row([Text(words, SMALL_PT)], 0.0, 0.0, (2.0, 0.0, 0.0, 3.0))] if messages else []
    return Table((1,), rows, gap=6.0)


def _signatures() -> Table:
    """Return the fields to sign."""
    cells = [Text(plain(word), SMALL_PT) for word in ("Installed by", "Shrunk by", "Inspected by", "Date")]
    return Table((1, 1, 1, 1), [Row(cells, MIDDLE_PT, 0.0, (2.0, 2.0, 2.2, 8.5))], column_rules=True, gap=3.0)


def _wire_ends(connector: WireEnds) -> Table:
    """Return the table of a connector: what goes into which cavity."""
    heads = ("", "cavity", "circuit", "colour", "size", "signal", "far end", "marker text")
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
                Text(plain(" / ".join(end.marker) or "no marker")),
            )
        )
        for end in connector.ends
    )
    title = section_title(f"WIRING TABLE {connector.connector}", connector.about)
    at_least = LISTING_HEADS_PT + ROW_PT * min(len(connector.ends), FEWEST_ROWS)
    return listing(title, heads, rows, (8, 14, 26, 17, 20, 37, 24, 40), at_least=at_least)


# ---------------------------------------------------------------- the page of one branch


def _branch_parts(page: BranchPage, sheet: BenchSheet) -> Iterator[Part]:
    """Yield the parts of a branch's page, in the order of the work."""
    yield _branch_title(page, sheet)
    yield _work(page.work)
    yield _picture(page)
    yield _branch_cuts(page)
    yield from map(_wire_ends, page.pins)
    yield Together((_brief_safety(sheet.safety_messages), _signatures()))


def _branch_title(page: BranchPage, sheet: BenchSheet) -> Table:
    part = _with_revision(sheet.part_number or sheet.harness, sheet)
    name = stack(
        Text(plain("BRANCH"), SMALL_PT), Text(bold(page.branch), TITLE_PT), Text(plain(wording.between(page.between)))
    )
    facts = stack(*(Text((*plain(f"{what} ", NOTE_PT), *plain(value))) for what, value in wording.facts(page.facts)))
    job = stack(Text(plain("Part number, unit"), SMALL_PT), Text(bold(part), HEAD_PT), Text(bold(sheet.unit), HEAD_PT))
    return _title_block((name, facts, job), (0.4, 0.42, 0.18))


def _work(work: Sequence[WorkStep]) -> Table:
    """Return the steps, numbered through, each heading's apart."""
    rows: list[Row] = []
    for part, steps in groupby(enumerate(work, 1), key=lambda pair: wording.heading(pair[1])):
        heads = chain((part,), repeat(""))
        for (number, step), head in zip(steps, heads, strict=False):
            what, how = wording.work_step(step)
            cells = (
                Text(bold(head), NOTE_PT),
                Text(plain(str(number)), NOTE_PT, to_right=True),
                TickBox(),
                Text(bold(what)),
                Text(plain(how), NOTE_PT),
            )
            rows.append(Row(cells, MIDDLE_PT if head and rows else 0.0))
    title = section_title("WORK STEPS", "Check off each step.")
    return listing(title, ("", "", "done", "step", "how"), rows, (24, 5, 8, 78, 71), framed=True)


def _picture(page: BranchPage) -> Together:
    title = section_title("LAYOUT", "Sleeves drawn at mid-range shrunk size.")
    rows = [
        Row([_drawing(page, place, height)], 0.0, 0.0, (2.0, 2.0, 0.0 if place else 2.2, 0.0))
        for place, height in enumerate(picture_heights(page.picture) if page.picture.ends else ())
    ]
    return Together((Table((1,), rows, (title_row(title),), gap=5.0),))


def _drawing(page: BranchPage, part: int, height_mm: float) -> Drawing:
    def draw(canvas: Canvas, width: float) -> None:
        canvas.scale(points(1), points(1))
        draw_part(canvas, page.picture, part, width / points(1))

    return Drawing(points(height_mm), draw)


def _branch_cuts(page: BranchPage) -> Table:
    rows: list[Sequence[TableCell | None]] = [
        (None, Text(bold("no sleeve")), Text(plain("omitted")), Text(plain(wording.omitted_at(each)), NOTE_PT))
        for each in page.omitted
        if each.slid_on
    ]
    covering = page.facts.covering
    if covering:
        over = "over " if covering.wound else "1 × "
        known = covering.length_mm
        length = f"{over}{_length(known)}" if known else "length to suit"
        rows.append((TickBox(), Text(plain(covering.covering)), Text(bold(length)), None))
    rows += [
        (
            TickBox(),
            Text(plain(f"{cut.tube}, {cut.colour}")),
            Text(bold(f"{cut.quantity} × {_length(cut.cut_length_mm)}")),
            Text(plain(_lettered(cut, ", ".join(map(wording.place, cut.places)))), NOTE_PT),
        )
        for cut in page.cuts
    ]
    return plain_listing(section_title("CUT LIST", "Lengths before shrinking."), rows, (8, 70, 40, 68))
