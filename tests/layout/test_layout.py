"""Lay out: the shipped stocks and any other grid, as numbers; order, starts and refusals."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from itertools import combinations, pairwise
from math import floor, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.errors import LabelerError
from labeler.layout.cells import (
    RULER_AREA_MM,
    RULER_MM,
    Cell,
    blocks_of,
    cell_name,
    cells,
    parse_cell,
    parse_cells,
)
from labeler.layout.checks import stock_problems
from labeler.layout.place import lay_out, used_after
from labeler.model import Face, Piece, Placed, Sheet, Stock
from tests.places import LAYOUTS

STOCKS = {
    path.stem: Stock(name=path.stem, **tomllib.loads(path.read_text("utf-8")))
    for path in sorted(LAYOUTS.glob("*.toml"))
}
PAGES = [name for name, stock in STOCKS.items() if stock.kind in ("sheet", "card")]
CELLS = [name for name, stock in STOCKS.items() if stock.kind != "reel"]
WRAPS = [name for name, stock in STOCKS.items() if stock.marker == "wrap"]
LAY_FLAT_MM = 10.9  # of a 1/4 in tube: pi (6.35 + about 0.6)/2
UNPRINTABLE_MM = 5.0  # the border that printers do not reach, as layouts/README.md says

GRID = Stock(
    name="small", kind="sheet", marker="tag", description="3 x 2 cells of 20 x 10 mm",
    page_width_mm=110, page_height_mm=60, left_margin_mm=10, top_margin_mm=20, columns=3, rows=2,
    cell_width_mm=20, cell_height_mm=10, pitch_x_mm=25, pitch_y_mm=15, ruler_x_mm=10, ruler_y_mm=45,
)  # fmt: skip
CARD = Stock(
    name="card", kind="card", marker="sleeve", description="2 columns of slots 50 mm long",
    page_width_mm=120, page_height_mm=80, left_margin_mm=8, top_margin_mm=20, bottom_margin_mm=10, columns=2,
    cell_width_mm=50, pitch_x_mm=54, gap_mm=2, ruler_x_mm=8, ruler_y_mm=65,
)  # fmt: skip
REEL = Stock(name="reel", kind="reel", marker="sleeve", description="reel")
SLOTS = replace(CARD, name="slots", columns=1, cell_width_mm=104, pitch_x_mm=0.0)
STRIP = Stock(
    name="strip", kind="reel", marker="sleeve", description="strips", page_width_mm=200, leader_mm=40, gap_mm=1,
)  # fmt: skip
ROLL = Stock(
    name="roll", kind="roll", marker="flag", description="two across", page_width_mm=50, page_height_mm=10,
    left_margin_mm=2, columns=2, cell_width_mm=20, cell_height_mm=10, pitch_x_mm=24, leader_mm=10,
)  # fmt: skip
KNOWN = {stock.name: stock for stock in (GRID, CARD, REEL, SLOTS, STRIP, ROLL)}


def pieces(count: int, stock: str = "small", group: str = "", width: float = 20, height: float = 10) -> list[Piece]:
    return [Piece(f"{group}{number}", Face(width, height), stock, group, f"W{number}") for number in range(count)]


def where(sheet: Sheet) -> list[tuple[str, str]]:
    return [(placed.piece.marker, placed.cell) for placed in sheet.placed]


def overlap(a: Cell, b: Cell) -> bool:
    return (
        a.x_mm < b.x_mm + b.width_mm - 1e-6
        and b.x_mm < a.x_mm + a.width_mm - 1e-6
        and a.y_mm < b.y_mm + b.height_mm - 1e-6
        and b.y_mm < a.y_mm + a.height_mm - 1e-6
    )


# ---------------------------------------------------------------- every shipped stock


def test_the_shipped_stocks_are_there() -> None:
    kinds = {(stock.marker, stock.kind) for stock in STOCKS.values()}
    sleeves = {("sleeve", "card"), ("sleeve", "reel"), ("insert", "card")}
    assert kinds == {*((kind, on) for kind in ("wrap", "tag", "flag") for on in ("sheet", "roll")), *sleeves}
    assert len(WRAPS) == 7  # three sizes on each of A4 and Letter, and a roll


@pytest.mark.parametrize("name", STOCKS)
def test_a_shipped_stock_has_no_problem_and_is_in_the_readme(name: str) -> None:
    assert stock_problems(STOCKS[name]) == ()
    assert f"`{name}`" in (LAYOUTS / "README.md").read_text("utf-8")


@pytest.mark.parametrize("name", CELLS)
def test_cells_lie_on_the_page_and_apart(name: str) -> None:
    stock = STOCKS[name]
    table = cells(stock, LAY_FLAT_MM)
    border = 0.0 if stock.kind == "roll" else UNPRINTABLE_MM  # a printer of rolls prints up to the label's edge
    assert len({cell.name for cell in table}) == len(table) > 0
    for cell in table:
        assert cell.x_mm >= border
        assert cell.y_mm >= border
        assert cell.x_mm + cell.width_mm <= stock.page_width_mm - border
        assert cell.y_mm + cell.height_mm <= stock.page_height_mm - border
    assert not any(overlap(a, b) for a, b in combinations(table, 2))
    assert stock.columns == 1 or stock.pitch_x_mm >= stock.cell_width_mm
    assert stock.rows == 1 or stock.pitch_y_mm >= stock.cell_height_mm


@pytest.mark.parametrize("name", PAGES)
def test_the_ruler_is_free_of_cells_and_can_be_printed(name: str) -> None:
    stock = STOCKS[name]
    ruler = Cell("ruler", stock.ruler_x_mm, stock.ruler_y_mm, *RULER_AREA_MM)
    assert ruler.width_mm > RULER_MM == 50
    assert not any(overlap(ruler, cell) for cell in cells(stock, LAY_FLAT_MM))
    assert ruler.x_mm >= UNPRINTABLE_MM <= ruler.y_mm
    assert ruler.x_mm + ruler.width_mm <= stock.page_width_mm - UNPRINTABLE_MM
    assert ruler.y_mm + ruler.height_mm <= stock.page_height_mm - UNPRINTABLE_MM


@pytest.mark.parametrize("name", WRAPS)
def test_a_wraps_description_names_the_wires_it_serves(name: str) -> None:
    # print not over itself: P <= pi d; tail over the print once: T >= pi (d + 2t)
    stock = STOCKS[name]
    low = stock.print_zone_mm / pi
    high = (stock.cell_height_mm - stock.print_zone_mm) / pi - 2 * stock.thickness_mm
    words = f"{low:.2f} to {high:.2f} mm"
    assert words in stock.description
    assert words in (LAYOUTS / "README.md").read_text("utf-8")


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_the_wrap_sizes_leave_no_wire_between_them(page: str) -> None:
    ranges = sorted(
        (stock.print_zone_mm / pi, (stock.cell_height_mm - stock.print_zone_mm) / pi - 2 * stock.thickness_mm)
        for name, stock in STOCKS.items()
        if name.startswith(f"wrap-{page}")
    )
    assert len(ranges) == 3
    for (_, high), (low, _) in pairwise(ranges):
        assert low < high


def test_page_sizes() -> None:
    # A4: ISO 216, 210 x 297 mm; Letter: 8.5 x 11 in
    sizes = {
        name.split("-")[1]: (stock.page_width_mm, stock.page_height_mm)
        for name, stock in STOCKS.items()
        if stock.kind == "sheet"
    }
    assert sizes["a4"] == (210, 297)
    assert sizes["letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert len(sizes) == 2


# ---------------------------------------------------------------- the cells of any grid


def test_cells_by_hand() -> None:
    # first cell: left 10, top 20 below 60, height 10 -> y 30; second row 15 lower; pitch 25
    corners = [(cell.name, cell.x_mm, cell.y_mm) for cell in cells(GRID)]
    assert corners == [
        ("A1", 10, 30), ("B1", 35, 30), ("C1", 60, 30),
        ("A2", 10, 15), ("B2", 35, 15), ("C2", 60, 15),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("lay_flat", "rows"),
    # 80 - 20 - 10 = 50 mm, gap 2, 0.01 tolerance on the whole: 4 x 11 + 3 x 2 = 50, 2 x 24 + 2 = 50
    [(10, 4), (11, 4), (11.01, 3), (24, 2), (24.004, 2), (24.01, 1), (50, 1), (50.01, 1), (50.02, 0)],
)
def test_rows_of_a_card_follow_from_the_lay_flat_width(lay_flat: float, rows: int) -> None:
    assert len(cells(CARD, lay_flat)) == 2 * rows


def test_what_has_no_cells() -> None:
    assert cells(REEL) == cells(CARD) == ()


@st.composite
def grids(draw: st.DrawFn) -> Stock:
    """Draw a grid whose page is as large as its cells need."""
    columns, rows = draw(st.integers(1, 40)), draw(st.integers(1, 40))
    width, height = draw(st.floats(1, 100)), draw(st.floats(1, 100))
    across, down = width + draw(st.floats(0, 10)), height + draw(st.floats(0, 10))
    left, top = draw(st.floats(0, 30)), draw(st.floats(0, 30))
    head = top + 9 + RULER_AREA_MM[1]  # header strip and ruler stand above the cells
    return Stock(
        name="any", kind="sheet", marker="tag", description="any", columns=columns, rows=rows,
        page_width_mm=left + across * columns + RULER_AREA_MM[0] + 1, page_height_mm=head + down * rows,
        left_margin_mm=left, top_margin_mm=head, cell_width_mm=width, cell_height_mm=height, pitch_x_mm=across,
        pitch_y_mm=down, ruler_x_mm=1, ruler_y_mm=down * rows,
    )  # fmt: skip


@given(grids(), st.integers(1, 200), st.data())
def test_any_grid_takes_every_piece_once_inside_the_page(stock: Stock, count: int, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, stock.columns * stock.rows - 1))
    cell = cell_name(start % stock.columns, start // stock.columns)
    given_pieces = pieces(count, "any", width=stock.cell_width_mm, height=stock.cell_height_mm)
    sheets = lay_out(given_pieces, {"any": stock}, {"any": cell}, first_number=5)
    placed = [each for sheet in sheets for each in sheet.placed]
    assert [each.piece for each in placed] == given_pieces
    assert placed[0].cell == cell
    page = stock.columns * stock.rows
    assert [sheet.number for sheet in sheets] == list(range(5, 5 + -(-(start + count) // page)))
    for sheet in sheets:
        check_apart(sheet)


def check_apart(sheet: Sheet) -> None:
    """Assert, without the table of cells, that neighbours are apart and all is on the page."""
    stock = sheet.stock
    spots = {(each.x_mm, each.y_mm) for each in sheet.placed}
    assert len(spots) == len(sheet.placed)
    for axis, cell, far in (
        (0, stock.cell_width_mm, stock.page_width_mm),
        (1, stock.cell_height_mm, stock.page_height_mm),
    ):
        lines = sorted({spot[axis] for spot in spots})
        assert lines[0] >= -1e-6
        assert lines[-1] + cell <= far + 1e-6
        assert all(b - a >= cell - 1e-6 or b - a < 1e-6 for a, b in pairwise(lines))


# ---------------------------------------------------------------- names of cells


@pytest.mark.parametrize(
    ("name", "place"),
    [("A1", (0, 0)), ("B3", (1, 2)), ("Z9", (25, 8)), ("AA1", (26, 0)), ("AZ10", (51, 9)), ("BA1", (52, 0))],
)
def test_cell_names(name: str, place: tuple[int, int]) -> None:
    assert parse_cell(name) == parse_cell(f" {name.lower()} ") == place
    assert cell_name(*place) == name


@given(st.integers(0, 18277), st.integers(0, 9998))
def test_cell_names_round_trip(column: int, row: int) -> None:
    assert parse_cell(cell_name(column, row)) == (column, row)


@pytest.mark.parametrize("name", ["", "3", "B", "B0", "B-1", "3B", "B3.5", "B 3", "Б3", "B٣", "A1\nB2"])
def test_what_is_no_cell(name: str) -> None:
    with pytest.raises(LabelerError, match="is not a cell; write column letter and row number"):
        parse_cell(name)


# ---------------------------------------------------------------- order


def test_stocks_and_groups_follow_in_order_of_first_asking() -> None:
    mixed = [
        Piece(marker, Face(20, 10), stock, group)
        for marker, stock, group in [
            ("a1", "small", "A"), ("r1", "reel", ""), ("b1", "small", "B"),
            ("a2", "small", "A"), ("r2", "reel", ""), ("b2", "small", "B"),
        ]
    ]  # fmt: skip
    sheets = lay_out(mixed, KNOWN)
    assert [[placed.piece.marker for placed in sheet.placed] for sheet in sheets] == [
        ["a1", "a2", "b1", "b2"], ["r1"], ["r2"],
    ]  # fmt: skip
    assert [sheet.load for sheet in sheets] == ["", "", ""]
    assert [sheet.number for sheet in sheets] == [1, 2, 3]


def test_a_card_begins_anew_with_each_group_and_keeps_the_lay_flat_width() -> None:
    # lay-flat 10: rows of 10 + 2 in 50 mm: 4 rows x 2; so 9 pieces need two cards; lay-flat 24: 2 rows
    narrow = pieces(9, "card", "1/8 WH", 40, 10)
    wide = pieces(3, "card", "1/4 WH", 50, 24)
    sheets = lay_out([*narrow, *wide], KNOWN)
    assert [(sheet.load, len(sheet.placed)) for sheet in sheets] == [
        ("1/8 WH", 8), ("1/8 WH", 1), ("1/4 WH", 3),
    ]  # fmt: skip
    assert where(sheets[0])[:3] == [("1/8 WH0", "A1"), ("1/8 WH1", "B1"), ("1/8 WH2", "A2")]
    # the piece stands at the left edge of its slot: x 8; y = 80 - 20 - 10; third one row of 12 lower
    assert [(each.x_mm, each.y_mm) for each in sheets[0].placed[:3]] == [(8, 50), (62, 50), (8, 38)]
    assert [(each.x_mm, each.y_mm) for each in sheets[2].placed] == [(8, 36), (62, 36), (8, 10)]


def test_on_a_reel_the_piece_is_the_page() -> None:
    first, second = lay_out(pieces(2, "reel", "1/4 WH", 35, 10.9), KNOWN, first_number=8)
    assert (first.width_mm, first.height_mm, first.load, first.number) == (35, 10.9, "1/4 WH", 8)
    assert first.placed == (Placed(pieces(1, "reel", "1/4 WH", 35, 10.9)[0], "A1", 0, 0),)
    assert second.number == 9


def test_a_small_piece_stands_at_the_upper_left() -> None:
    # cell A1 reaches up to y 40: a piece 4 high stands at 36
    (sheet,) = lay_out(pieces(1, width=5, height=4), KNOWN)
    assert [(each.x_mm, each.y_mm) for each in sheet.placed] == [(10, 36)]


def test_nothing_makes_no_sheet() -> None:
    assert lay_out([], KNOWN) == ()


# ---------------------------------------------------------------- slots, strips, rolls


def test_pieces_lie_one_after_another_in_a_slot_and_a_short_one_fills_an_earlier() -> None:
    # a slot of 104 mm, gap 2: 50 + 2 + 50 = 102 leaves 2; 60 + 2 + 40 = 102; 30 goes beside 60 and before 70
    lengths = [50, 50, 60, 70, 40, 30]
    together = [Piece(f"M{n}", Face(length, 10), "slots", "tube") for n, length in enumerate(lengths)]
    (sheet,) = lay_out(together, KNOWN)
    assert {(each.piece.marker, each.cell, each.x_mm, each.y_mm) for each in sheet.placed} == {
        ("M0", "A1", 8, 50), ("M1", "B1", 60, 50),
        ("M2", "A2", 8, 38), ("M4", "B2", 70, 38),
        ("M3", "A3", 8, 26), ("M5", "B3", 80, 26),
    }  # fmt: skip
    assert sheet.about == "cut 6 of 30 to 70 mm"


@given(st.lists(st.tuples(st.integers(5, 104), st.integers(3, 24)), min_size=1, max_size=60), st.integers(1, 2))
def test_slots_hold_every_piece_once_and_apart(sizes: list[tuple[int, int]], row: int) -> None:
    together = [Piece(f"M{n}", Face(*size), "slots", "tube") for n, size in enumerate(sizes)]
    sheets = lay_out(together, KNOWN, {"slots": f"A{row}"})
    assert sorted(each.piece.marker for sheet in sheets for each in sheet.placed) == sorted(p.marker for p in together)
    for number, sheet in enumerate(sheets):
        assert len({each.cell for each in sheet.placed}) == len(sheet.placed)
        # the slots' field: 8 to 112 mm across, 10 to 60 mm up; the first sheet begins below the rows that are gone
        highest = max(size[1] for size in sizes)
        top = 60 - (row - 1) * (highest + 2) if number == 0 else 60
        for each in sheet.placed:
            face = each.piece.face
            assert each.x_mm >= 8
            assert each.x_mm + face.width_mm <= 112.011
            assert each.y_mm >= 10 - 0.011
            assert each.y_mm + face.height_mm <= top + 1e-6
        for a, b in combinations(sheet.placed, 2):
            apart = max(
                b.x_mm - a.x_mm - a.piece.face.width_mm, a.x_mm - b.x_mm - b.piece.face.width_mm,
                b.y_mm - a.y_mm - a.piece.face.height_mm, a.y_mm - b.y_mm - b.piece.face.height_mm,
            )  # fmt: skip
            assert apart >= 2 - 0.011  # the gap


def test_slots_are_as_high_as_what_lies_in_them() -> None:
    # 50 mm down: 20 + 2 + 6 + 2 + 20 = 50; rows of 20 each would take two only
    sizes = [(104, 20), (60, 5), (40, 6), (104, 20)]
    (sheet,) = lay_out([Piece(f"M{n}", Face(*size), "slots") for n, size in enumerate(sizes)], KNOWN)
    assert [(each.cell, each.y_mm) for each in sheet.placed] == [("A1", 40), ("A2", 33), ("B2", 32), ("A3", 10)]


def test_a_strip_is_as_long_as_its_leader_and_its_pieces_and_holds_one_tube() -> None:
    # 200 - 40 = 160 mm: 50 + 1 + 50 + 1 + 50 = 152; a fourth would end at 203
    sheets = lay_out([*pieces(4, "strip", "1/8", 50, 5), *pieces(1, "strip", "1/4", 30, 10)], KNOWN)
    assert [(sheet.load, sheet.width_mm, sheet.height_mm) for sheet in sheets] == [
        ("1/8", 192, 5), ("1/8", 90, 5), ("1/4", 70, 10),
    ]  # fmt: skip
    assert [(each.cell, each.x_mm, each.y_mm) for each in sheets[0].placed] == [
        ("A1", 40, 0), ("B1", 91, 0), ("C1", 142, 0),
    ]  # fmt: skip
    assert [sheet.about for sheet in sheets] == ["cut 3 x 50 mm", "cut 1 x 50 mm", "cut 1 x 30 mm"]
    with pytest.raises(LabelerError, match='"strip" takes 160 x any mm'):
        lay_out(pieces(1, "strip", width=161), KNOWN)


def test_a_reel_with_a_leader_begins_each_tube_with_a_page_that_says_what_follows() -> None:
    reel = replace(REEL, leader_mm=35.0)
    sheets = lay_out([*pieces(2, "reel", "a", 30, 5), *pieces(1, "reel", "b", 40, 8)], {"reel": reel})
    assert [(sheet.width_mm, sheet.height_mm, len(sheet.placed), sheet.about) for sheet in sheets] == [
        (35, 5, 0, "cut 2 x 30 mm"), (30, 5, 1, "cut 2 x 30 mm"), (30, 5, 1, "cut 2 x 30 mm"),
        (35, 8, 0, "cut 1 x 40 mm"), (40, 8, 1, "cut 1 x 40 mm"),
    ]  # fmt: skip


def test_a_roll_is_one_row_a_page_and_its_first_labels_stay_on_the_liner() -> None:
    sheets = lay_out(pieces(3, "roll"), KNOWN)
    assert [where(sheet) for sheet in sheets] == [[], [("0", "A1"), ("1", "B1")], [("2", "A1")]]
    assert {(sheet.width_mm, sheet.height_mm) for sheet in sheets} == {(50, 10)}
    assert sheets[0].about == "3 markers"


def test_what_a_strip_cannot_be() -> None:
    assert "leaves nothing of a strip" in str(stock_problems(replace(STRIP, leader_mm=200.0))[0])


# ---------------------------------------------------------------- starting on a used sheet


@pytest.mark.parametrize(
    ("text", "names"),
    [("B3", "B3"), ("a1-b2", "A1 B1 A2 B2"), ("B2-A1", "A1 B1 A2 B2"), ("A1, C1,A1", "A1 C1"), ("", "")],
)
def test_lists_of_cells(text: str, names: str) -> None:
    assert parse_cells(text) == tuple(names.split())


@pytest.mark.parametrize("text", ["A1-", "-A1", "A1-B", "A1-B2-C3", "A1;B2", "A1-ZZ9999"])
def test_what_is_no_list_of_cells(text: str) -> None:
    with pytest.raises(LabelerError, match=r"is not a cell|more than 10000 cells"):
        parse_cells(text)


def test_used_cells_hold_for_the_first_sheet_only() -> None:
    sheets = lay_out(pieces(6), KNOWN, used={"small": parse_cells("A1-B2")})
    assert [where(sheet) for sheet in sheets] == [
        [("0", "C1"), ("1", "C2")],
        [("2", "A1"), ("3", "B1"), ("4", "C1"), ("5", "A2")],
    ]


def test_cells_of_the_file_that_are_never_printed() -> None:
    stock = replace(GRID, blocked_cells="A1, C2")
    sheets = lay_out(pieces(5), {"small": stock}, {"small": "B1"})
    assert [[cell for _, cell in where(sheet)] for sheet in sheets] == [["B1", "C1", "A2", "B2"], ["B1"]]
    assert "leaves no cell" in str(stock_problems(replace(GRID, blocked_cells="A1-C2"))[0])
    assert 'blocked_cells "D1" is outside' in str(stock_problems(replace(GRID, blocked_cells="D1"))[0])
    assert '"x" is not a cell' in str(stock_problems(replace(GRID, blocked_cells="x"))[0])
    assert "no cells of its own" in str(stock_problems(replace(CARD, blocked_cells="A1"))[0])


def test_a_sheet_without_a_free_cell_is_a_problem() -> None:
    with pytest.raises(LabelerError, match='every cell of the first sheet of "small" is used'):
        lay_out(pieces(1), KNOWN, used={"small": parse_cells("A1-C2")})


def test_what_is_used_afterwards() -> None:
    # six cells: B1 and A1 were gone, two pieces take C1 and A2; five take the four left and A1 of the next sheet
    used = {"small": ("A1", "B1")}
    assert used_after(lay_out(pieces(2), KNOWN, used=used), used) == {"small": ("A1", "B1", "C1", "A2")}
    assert used_after(lay_out(pieces(5), KNOWN, used=used), used) == {"small": ("A1",)}
    assert used_after(lay_out(pieces(4), KNOWN, used=used), used) == {"small": ()}
    assert used_after(lay_out(pieces(2, "reel"), KNOWN), {}) == {}


def test_a_start_holds_for_the_first_sheet_only() -> None:
    sheets = lay_out(pieces(6), KNOWN, {"small": "b2"})
    assert [where(sheet) for sheet in sheets] == [
        [("0", "B2"), ("1", "C2")],
        [("2", "A1"), ("3", "B1"), ("4", "C1"), ("5", "A2")],
    ]


def test_a_start_on_a_card_holds_for_the_first_group() -> None:
    sheets = lay_out([*pieces(1, "card", "a"), *pieces(1, "card", "b")], KNOWN, {"card": "B4"})
    assert [sheet.placed[0].cell for sheet in sheets] == ["B4", "A1"]


@pytest.mark.parametrize(
    ("stock", "cell", "says"),
    [
        ("small", "D1", 'start "D1" is outside stock "small", whose cells are A1 to C2'),
        ("small", "A3", "A1 to C2"),
        ("card", "A5", "A1 to B4"),
        ("small", "first", '"first" is not a cell'),
        ("slots", "B1", "A1 to A4"),
        ("reel", "A1", 'stock "reel" is a reel and has no cells; leave the start out'),
        ("smal", "A1", 'stock "smal" is not known; did you mean "small"?'),
    ],
)
def test_starts_that_cannot_be(stock: str, cell: str, says: str) -> None:
    with pytest.raises(LabelerError) as caught:
        lay_out([*pieces(1), *(p for s in ("card", "slots", "reel") for p in pieces(1, s))], KNOWN, {stock: cell})
    assert says in str(caught.value)


# ---------------------------------------------------------------- pieces that do not fit


def test_all_oversize_pieces_are_named_at_once() -> None:
    wrong = [
        Piece("M1", Face(20.02, 10), "small", label="W1"),
        Piece("M2", Face(20.005, 10.005), "small"),  # within the tolerance of 0.01
        Piece("M3", Face(20, 30), "small"),
        Piece("M7", Face(float("nan"), 5), "small"),
        Piece("M4", Face(51, 10), "card"),
        Piece("M5", Face(40, 50.5), "card"),  # 80 - 20 - 10 = 50 mm between head and foot
        Piece("M6", Face(0, 5), "reel"),
    ]
    with pytest.raises(LabelerError) as caught:
        lay_out(wrong, KNOWN)
    texts = [str(problem) for problem in caught.value.problems]
    assert [text[:2] for text in texts] == ["M1", "M3", "M7", "M4", "M5", "M6"]
    assert texts[0] == (
        'M1 (W1): piece 20.02 x 10.00 mm is too large, "small" takes 20 x 10 mm; '
        "choose a stock with larger cells, or a shorter or narrower piece"
    )
    assert '"card" takes 50 x 50 mm' in texts[3]
    assert "has no size" in texts[2]
    assert "has no size" in texts[5]


def test_a_piece_within_the_tolerance_of_a_whole_card_is_placed() -> None:
    (sheet,) = lay_out([Piece("M1", Face(50.01, 50.01), "card")], KNOWN)
    assert where(sheet) == [("M1", "A1")]


def test_a_reel_may_limit_the_piece() -> None:
    narrow = replace(REEL, cell_height_mm=25.0)
    assert len(lay_out([Piece("M1", Face(500, 25), "reel")], {"reel": narrow})) == 1
    with pytest.raises(LabelerError, match='"reel" takes any x 25 mm'):
        lay_out([Piece("M1", Face(30, 26), "reel")], {"reel": narrow})


def test_an_unknown_stock_is_a_problem() -> None:
    with pytest.raises(LabelerError, match='stock "smll" is not known; did you mean "small"'):
        lay_out(pieces(1, "smll"), KNOWN)


# ---------------------------------------------------------------- stocks that contradict themselves


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"cell_width_mm": 0.0}, "the cell has no size"),
        ({"marker": "wrap", "print_zone_mm": 10.0}, "print_zone_mm 10 of a cell 10 mm high"),
        ({"ruler_y_mm": 38.0}, "the ruler at 10, 38 mm leaves the page or meets a cell"),
        ({"ruler_x_mm": 30.0}, "the ruler at 30, 45 mm"),
        ({"ruler_y_mm": 50.0}, "the ruler at 10, 50 mm"),  # 53 > 60 - 9: into the header line
        ({"ruler_x_mm": 0.0, "ruler_y_mm": 0.0}, "the ruler at 0, 0 mm"),
    ],
)
def test_stock_problems(change: dict[str, object], says: str) -> None:
    stock = replace(GRID, **change)  # type: ignore[arg-type]
    assert says in "\n".join(map(str, stock_problems(stock)))
    with pytest.raises(LabelerError):
        lay_out(pieces(1), {"small": stock})


@given(st.floats(1.0, 120.0))
def test_rows_of_the_shipped_card(lay_flat: float) -> None:
    card = STOCKS["card-210x148"]
    rows = len(cells(card, lay_flat)) // card.columns
    free = card.page_height_mm - card.top_margin_mm - card.bottom_margin_mm + 0.01  # the tolerance
    assert rows * lay_flat + max(0, rows - 1) * card.gap_mm <= free + 0.01
    assert rows >= floor((free - 0.02 + card.gap_mm) / (lay_flat + card.gap_mm))


# ---------------------------------------------------------------- cells as blocks


@pytest.mark.parametrize(
    ("names", "said"),  # by hand
    [
        ("", ""),
        ("B3", "B3"),
        ("A1 B1 C1 A2 B2 C2 A3", "A1-C2, A3"),  # a sheet that is printed up to its third row
        ("C1 A2 B2 C2", "C1, A2-C2"),  # one that was started at C1
        ("A1 A2 C1 C2", "A1-A2, C1-C2"),  # two columns
        ("Z1 AA1", "Z1-AA1"),
    ],
)
def test_cells_are_said_as_blocks(names: str, said: str) -> None:
    assert blocks_of(names.split()) == said


@given(st.sets(st.tuples(st.integers(0, 29), st.integers(0, 9))))
def test_blocks_name_the_same_cells_and_each_once(places: set[tuple[int, int]]) -> None:
    names = {cell_name(column, row) for column, row in places}
    said = blocks_of(names)
    assert set(parse_cells(said)) == names
    assert sum(len(parse_cells(block)) for block in said.split(", ") if block) == len(names)
