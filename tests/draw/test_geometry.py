"""Geometry: every shipped stock with every kind that goes on it, rendered at 600 dpi and measured; a mixed long job."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2 as pdfium
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.draw.pdf import draw_sheets
from labeler.draw.sheet_frame import Header
from labeler.job.check import Checked
from labeler.job.order import Output
from labeler.job.run import pieces_of
from labeler.layout.cells import RULER_AREA_MM, cells
from labeler.layout.place import lay_out
from labeler.model import Box, Face, Fit, Piece, Placed, Sheet, Stock
from labeler.record import open_record
from tests.orders import check, print_harness
from tests.places import ROOT

BOAT = str(ROOT / "examples" / "survey-boat.toml")
FILES = {path.stem: tomllib.loads(path.read_text("utf-8")) for path in sorted((ROOT / "layouts").glob("*.toml"))}
STOCKS = {name: Stock(name=name, **values) for name, values in FILES.items()}
DPI = 600
DOTS = DPI / 25.4  # in a millimetre
DARK = 200  # of 256 levels: below, there is ink
KINDS = {"sleeve": "sleeve", "wrap": "wrap", "insert": "insert", "flag": "flag", "tag": "none"}


def page_of(sheets: Sequence[Sheet], number: int = 0) -> np.ndarray[Any, Any]:
    data = draw_sheets(sheets, title="t", header=Header("RSB-210"))
    page = pdfium.PdfDocument(data)[number]
    grey: np.ndarray[Any, Any] = page.render(scale=DOTS * 25.4 / 72, grayscale=True).to_numpy().squeeze()
    return grey


# ---------------------------------------------------------------- every kind on every stock


@cache
def checked(stock: str) -> Checked:
    takes = KINDS[STOCKS[stock].marker]
    kinds = {"marker.branch": (takes,), "marker.wire": takes}
    return check(BOAT, settings=kinds, stock=(stock,), paper="Letter" if "letter" in stock or "216" in stock else "A4")


def pieces_on(stock: str) -> list[Piece]:
    made = checked(stock)
    faces = [fit for fit in made.fits if fit.face is not None]
    found = [piece for piece in pieces_of(faces, made.stocks) if piece.stock == stock]
    if not found:  # the boat's wires are too thin or thick for it: the same text on a face of its size
        like = next(fit.face for fit in made.fits if fit.marker.kind == "wrap" and fit.face)
        found = [Piece("M1", replace(like, height_mm=STOCKS[stock].cell_height_mm), stock)] * 5
    return found


@pytest.mark.parametrize("name", STOCKS)
def test_every_drawn_dot_lies_in_its_cell(name: str) -> None:
    """Drawn without cut lines: a first page with every second piece, then one with the others."""
    stock = replace(STOCKS[name], cut_lines=False)
    first = next(sheet for sheet in lay_out(pieces_on(name), {name: stock}) if sheet.placed)
    cellular = {cell.name: cell for cell in cells(stock)} if stock.kind in ("sheet", "roll") else {}
    for parity in (0, 1):
        some = tuple(p for i, p in enumerate(first.placed) if i % 2 == parity) or first.placed
        ink = page_of([replace(first, placed=some)]) < DARK
        if stock.kind == "reel":  # what runs over a page's edge is on no page: nothing may come near it
            edges = (ink[:2], ink[-2:], ink[:, :2], ink[:, -2:])
            assert sum(int(edge.sum()) for edge in edges) == 0
        inside = sum(_blank(ink, first, each, cellular) for each in some)
        assert inside > 0
        _blank_surroundings(ink, first)
        assert not ink.any(), f"{ink.sum()} dots outside, the first at {np.argwhere(ink)[0] / DOTS} mm"


def _blank(ink: np.ndarray[Any, Any], sheet: Sheet, placed: Placed, cellular: dict[str, Any]) -> int:
    """Take the ink of a piece off its cell (or, where there is none, off its own outline); return how much it was."""
    cell = cellular.get(placed.cell)
    face = placed.piece.face
    x, y = (cell.x_mm, cell.y_mm) if cell else (placed.x_mm, placed.y_mm)
    width, height = (cell.width_mm, cell.height_mm) if cell else (face.width_mm, face.height_mm)
    high = ink.shape[0]
    rows = slice(max(0, int(high - (y + height) * DOTS)), int(np.ceil(high - y * DOTS)))
    columns = slice(int(x * DOTS), int(np.ceil((x + width) * DOTS)))
    count = int(ink[rows, columns].sum())
    ink[rows, columns] = False
    return count


def _blank_surroundings(ink: np.ndarray[Any, Any], sheet: Sheet) -> None:
    """Take off the header, the ruler with its words, the leader of a strip: none of them in a cell."""
    stock, high = sheet.stock, ink.shape[0]
    if stock.kind == "reel":
        ink[:, : int((stock.leader_mm if stock.page_width_mm else 0) * DOTS)] = False
        return
    if stock.kind == "roll":
        return
    ink[: int(9.0 * DOTS)] = False
    low, left = int(high - stock.ruler_y_mm * DOTS), int(stock.ruler_x_mm * DOTS)
    top = int(low - RULER_AREA_MM[1] * DOTS)
    ink[top - 3 : low + 3, left - 3 : left + int(RULER_AREA_MM[0] * DOTS)] = False


def middles(dark: np.ndarray[Any, Any], length_mm: float) -> np.ndarray[Any, Any]:
    """Return the middles of the runs of dark dots along a line of this length [mm]."""
    steps = np.diff(np.concatenate(([0], dark.astype(np.int8), [0])))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    middle: np.ndarray[Any, Any] = (starts + ends) / 2 * length_mm / len(dark)
    return middle


def frame(width: float, height: float) -> Face:
    """A face whose outline is drawn just inside: 0.1 mm from its edges to the middle of a line of 0.2 mm."""
    return Face(width, height, boxes=(Box(0.1, 0.1, width - 0.2, height - 0.2),))


def check_frames(stock: Stock, left: Sequence[float], top: Sequence[float]) -> None:
    """Assert that the lines of a page of frames lie at these left and upper edges [mm from left, from top]."""
    count = len(left) * len(top)
    face = frame(stock.cell_width_mm, stock.cell_height_mm)
    plain = replace(stock, cut_lines=False)
    sheets = lay_out([Piece(f"M{n}", face, stock.name) for n in range(count)], {stock.name: plain})
    (sheet,) = (s for s in sheets if s.placed)
    dark = page_of([sheet]) < 128
    row = int((top[0] + stock.cell_height_mm / 2) * DOTS)
    column = int((left[0] + stock.cell_width_mm / 2) * DOTS)
    across = [x for edge in left for x in (edge + 0.1, edge + stock.cell_width_mm - 0.1)]
    down = [y for edge in top for y in (edge + 0.1, edge + stock.cell_height_mm - 0.1)]
    header = 0 if stock.kind == "roll" else int((top[0] - 0.5) * DOTS)
    dark[:header] = False
    found = middles(dark[:, column], stock.page_height_mm)
    # lines that touch those of a neighbour are met as one, in the middle between them
    assert np.abs(_joined(middles(dark[row], stock.page_width_mm)) - _joined(np.array(across))).max() <= 0.05
    assert np.abs(_joined(found) - _joined(np.array(down))).max() <= 0.05


def _joined(places: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return places, those of touching lines (0.2 mm apart, half a dot more or less) as one in their middle."""
    groups: list[list[float]] = []
    for place in np.sort(places):
        if groups and place - groups[-1][-1] < 0.2 + 1.5 / DOTS:
            groups[-1].append(float(place))
        else:
            groups.append([float(place)])
    return np.array([sum(group) / len(group) for group in groups])


@pytest.mark.parametrize("name", [name for name, values in FILES.items() if values["kind"] in ("sheet", "roll")])
def test_cells_are_where_the_file_says_to_a_twentieth_of_a_millimetre(name: str) -> None:
    """By the figures of the TOML alone: margin plus so many pitches, from the left and from the top."""
    values = FILES[name]
    left = [values["left_margin_mm"] + i * values.get("pitch_x_mm", 0) for i in range(values["columns"])]
    top = [values["top_margin_mm"] + i * values.get("pitch_y_mm", 0) for i in range(values["rows"])]
    check_frames(STOCKS[name], left, top)


@given(
    st.tuples(st.integers(1, 4), st.integers(1, 4)),
    st.tuples(st.floats(4, 25), st.floats(4, 15)),
    st.tuples(st.one_of(st.just(0.0), st.floats(0.5, 6)), st.one_of(st.just(0.0), st.floats(0.5, 6))),
    st.tuples(st.floats(1, 15), st.floats(13, 20)),
)
@settings(max_examples=25, deadline=None)
def test_cells_of_any_grid_are_where_its_figures_say(
    count: tuple[int, int], cell: tuple[float, float], gap: tuple[float, float], margin: tuple[float, float]
) -> None:
    pitch = (cell[0] + gap[0], cell[1] + gap[1])
    stock = Stock(
        name="any", kind="sheet", marker="tag", description="any",
        page_width_mm=margin[0] + count[0] * pitch[0] + RULER_AREA_MM[0] + 2,
        page_height_mm=margin[1] + count[1] * pitch[1] + 5, left_margin_mm=margin[0], top_margin_mm=margin[1],
        columns=count[0], rows=count[1], cell_width_mm=cell[0], cell_height_mm=cell[1],
        pitch_x_mm=pitch[0], pitch_y_mm=pitch[1], ruler_x_mm=margin[0] + count[0] * pitch[0] + 1, ruler_y_mm=1.0,
    )  # fmt: skip
    check_frames(
        stock, [margin[0] + i * pitch[0] for i in range(count[0])], [margin[1] + i * pitch[1] for i in range(count[1])]
    )


# ---------------------------------------------------------------- nothing is wasted


def shares(sheets: Sequence[Sheet]) -> tuple[float, int]:
    """Return the share of tube or slot that is neither piece nor gap nor leader, and how many strips or slots it is of.

    The last slot of a tube stays open: what is free there is free for the next job.
    """
    used = needed = 0.0
    count = 0
    for group in dict.fromkeys(sheet.load for sheet in sheets):
        loads: list[list[float]] = []
        for sheet in (s for s in sheets if s.load == group):
            rows: dict[str, list[float]] = {}
            for each in sheet.placed:
                row = "" if sheet.stock.kind == "reel" else re.sub("[A-Z]", "", each.cell)
                rows.setdefault(row, []).append(each.piece.face.width_mm)
            if sheet.stock.kind == "reel":
                used += sheet.width_mm
                needed += sheet.stock.leader_mm
                count += 1
            loads += rows.values()
        stock = sheets[0].stock
        for lengths in loads if stock.kind == "reel" else loads[:-1]:
            used += 0.0 if stock.kind == "reel" else stock.cell_width_mm
            needed += sum(lengths) + (len(lengths) - 1) * stock.gap_mm
            count += stock.kind == "card"
    return (used - needed) / used if used else 0.0, count


@pytest.mark.parametrize("units", [1, 25])
@pytest.mark.parametrize("stock", ["card-210x148", "card-216x140", "strip-1000", "insert-a4"])
def test_under_a_twentieth_is_wasted_beyond_the_gaps(
    stock: str, units: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """The example with all its markers in this kind, once and 25 times."""
    every = pieces_on(stock) * units
    wasted, count = shares(lay_out(every, {stock: STOCKS[stock]}))
    with capsys.disabled():
        print(f"\n{stock}, {units} units, {len(every)} pieces: {wasted:.1%} of {count} slots or strips beyond gaps")
    assert 0 <= wasted < (0.05 if STOCKS[stock].marker == "sleeve" else 0.1)  # of tube; of plain paper it is no matter


@pytest.mark.parametrize("name", [name for name, stock in STOCKS.items() if stock.kind == "sheet"])
def test_sheets_are_markers_over_cells_rounded_up(name: str) -> None:
    stock = STOCKS[name]
    every = pieces_on(name) * 9
    assert len(lay_out(every, {name: stock})) == -(-len(every) // (stock.columns * stock.rows))


# ---------------------------------------------------------------- a long mixed job

SIZES = ("22 AWG", "20 AWG", "18 AWG", "16 AWG")
MIX = ("wrap", "sleeve", "insert", "flag")


def write_mixed(path: Path, circuits: int) -> None:
    """Write a harness whose wires are marked in every kind in turn, with a bag for every connector of it."""
    rows = [
        '[harness]\nname = "Survey boat, long"\npart_number = "RSB-900"\n[defaults]\nwire_type = "SAE J1128 TXL"\n'
        'code.symbology = "QR"\nprint.wire_reading_distance_mm = 250\nmarker.branch = "none"\n'
        'marker.wire_text = "{circuit} {local}"'
    ]
    rows += [
        f'[[circuit]]\nid = "W{n + 1:04d}"\nfrom = "P{n // 8 + 1}:{n % 8 + 1}"\n'
        f'to = "J{n // 10 + 1}:{n % 10 + 1}"\nsize = "{SIZES[n // 4 % 4]}"\nmarker.wire = "{MIX[n % 4]}"'
        for n in range(circuits)
    ]
    path.write_text("\n".join(rows), "utf-8")


@pytest.mark.parametrize(("circuits", "least"), [(150, 330), pytest.param(900, 2000, marks=pytest.mark.slow)])
def test_a_long_mixed_job_is_read_back_once_each(tmp_path: Path, circuits: int, least: int) -> None:
    """Text from the PDF, in the cell of its marker; every code of the tags by another library; nothing besides."""
    file = tmp_path / "long.toml"
    write_mixed(file, circuits)
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(str(file), tmp_path, record, out=Output(tmp_path))
    assert len([fit for fit in printed.fits if fit.face]) >= least
    by_id = {fit.marker.id: fit for fit in printed.fits}
    placed = Counter(each.piece.marker for sheet in printed.sheets for each in sheet.placed)
    assert placed == Counter(by_id.keys())
    codes: list[str] = []
    for name in dict.fromkeys(sheet.stock.name for sheet in printed.sheets):
        (path,) = (path for path in printed.files if path.stem.endswith(name))
        document = pdfium.PdfDocument(path.read_bytes())
        for page, sheet in zip(document, (s for s in printed.sheets if s.stock.name == name), strict=True):
            read_texts(page, sheet, by_id)
            if sheet.stock.marker == "tag":
                found = zxingcpp.read_barcodes(page.render(scale=300 / 72, grayscale=True).to_numpy().squeeze())
                codes += [code.text for code in found]
    assert sorted(codes) == sorted(f"0001 {fit.marker.id}" for fit in printed.fits if fit.marker.role == "bag")


def read_texts(page: pdfium.PdfPage, sheet: Sheet, by_id: dict[str, Fit]) -> None:
    text = page.get_textpage()
    k = 72 / 25.4
    for each in sheet.placed:
        face = each.piece.face
        corners = (each.x_mm, each.y_mm, each.x_mm + face.width_mm, each.y_mm + face.height_mm)
        found = text.get_text_bounded(*(v * k for v in corners)).split()
        # word by word: the reader makes one line of the two halves of a flag
        assert Counter(found) == Counter(" ".join(run.text for run in face.runs for _ in range(face.repeats)).split())
        fit = by_id[each.piece.marker]
        caution = fit.marker.settings.tag.safety_message or "" if fit.marker.kind == "tag" else ""
        assert set(" ".join((*fit.lines, caution)).split()) == set(found)
