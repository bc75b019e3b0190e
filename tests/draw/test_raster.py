"""Raster: pages at a printer's dots, read back by other libraries; modules and rules on whole dots."""

from __future__ import annotations

import io
import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from labeler.draw.pdf import draw_sheets
from labeler.draw.pens import BOX_LINE_MM, DotPen
from labeler.draw.raster import page_pictures, piece_pictures, png
from labeler.draw.sheet_frame import Header
from labeler.errors import LabelerError
from labeler.job.order import Output
from labeler.layout.place import lay_out
from labeler.model import Box, Face, Piece, Run, Sheet
from labeler.record import open_record
from labeler.tables.catalogue import load_catalogue
from labeler.tables.printers import AS_DRAWN, Printer
from tests.make import symbol_of
from tests.orders import print_harness, reprint
from tests.places import EXAMPLES

BOAT = str(EXAMPLES / "survey-boat.toml")
STOCKS = {stock.name: stock for stock in load_catalogue().stocks}
FONT = "Atkinson Hyperlegible"
MOST_GREY = 8  # of 256 levels: what an edge may be off black or white and still be called on a dot


def tag(dpi: float, text: str = "") -> Face:
    symbol = symbol_of("RSB-210", 62.3, 31.7, 15.0, dpi)
    runs = (Run(text, FONT, 5.0, 20.0, 40.0),) if text else ()
    return Face(95, 54, runs, boxes=(Box(20.13, 10.37, 3.3, 3.3), Box(30.0, 10.0, 2.71, 2.71)), symbol=symbol)


def opened(path: Path) -> Image.Image:
    return Image.open(io.BytesIO(path.read_bytes()))


def drawn(sheets: tuple[Sheet, ...], dpi: float, printer: Printer = AS_DRAWN) -> bytes:
    return draw_sheets(sheets, title="t", header=Header("."), dpi=dpi, printer=printer)


def grey_of(pdf: bytes, dpi: float) -> np.ndarray:
    grey: np.ndarray = pdfium.PdfDocument(pdf)[0].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()
    return grey


@pytest.mark.parametrize("printer", [AS_DRAWN, Printer(scale_x=1.0081, scale_y=0.996, offset_x_mm=0.7)], ids=str)
@pytest.mark.parametrize("dpi", [203, 300, 600, 1200])
def test_modules_boxes_and_cut_lines_lie_on_whole_dots(dpi: int, printer: Printer) -> None:
    """Unthresholded, everything below the header's words is black or white; the words are grey at their edges."""
    sheets = lay_out([Piece(f"M{n}", tag(dpi), "tag-a4-95x54") for n in range(3)], STOCKS)
    sheets = tuple(_square_holes(sheet) for sheet in sheets)
    grey = grey_of(drawn(sheets, dpi, printer), dpi)
    below = grey[int(19.5 / 25.4 * dpi) :]  # the stock's top_margin_mm is 19: nothing but pieces below
    assert ((below <= MOST_GREY) | (below >= 255 - MOST_GREY)).all()
    assert (below <= MOST_GREY).sum() > 3 * 200  # three codes, three pairs of boxes, three outlines


def _square_holes(sheet: Sheet) -> Sheet:
    """A circle has edges between dots, whatever one does: the punch holes are left out."""
    return replace(sheet, stock=replace(sheet.stock, hole_diameter_mm=0.0))


@pytest.mark.parametrize("copies", [1, 2])
@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_a_module_is_its_whole_number_of_dots_everywhere(dpi: int, copies: int) -> None:
    """Also where the code comes again and is a form."""
    face = tag(dpi)
    assert face.symbol is not None
    face = replace(face, symbol=replace(face.symbol, repeats=copies, step_x_mm=-31.7, step_y_mm=-5.3))
    assert face.symbol is not None
    dots = round(face.symbol.module_x_mm * dpi / 25.4)
    (picture,) = page_pictures(drawn(lay_out([Piece("M", face, "tag-a4-95x54")], STOCKS), dpi), dpi)
    # the cell's corner is 10 mm from the left and 297 - 19 - 54 mm from the foot; the code stands in it
    count = len(face.symbol.rows)
    expected = np.kron([[bit == "0" for bit in row] for row in face.symbol.rows], np.ones((dots, dots), bool))
    for copy in range(copies):
        x, y = face.symbol.x_mm - 31.7 * copy, face.symbol.y_mm - 5.3 * copy
        left = round(10 * dpi / 25.4) + round(x * dpi / 25.4)
        low = picture.height - round((297 - 19 - 54) * dpi / 25.4) - round(y * dpi / 25.4)
        code = np.asarray(picture)[low - count * dots : low, left : left + count * dots]
        assert (code == expected).all()


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("name", ["tag-a4-95x54", "tag-letter-98x50", "wrap-roll-25x18", "card-210x148"])
def test_a_picture_is_the_page_in_dots_of_one_bit_with_its_size_in_it(name: str, dpi: int) -> None:
    stock = STOCKS[name]
    face = Face(20, 10, (Run("X", FONT, 3.0, 5, 4),))
    sheets = lay_out([Piece("M", face, name)], STOCKS)
    for picture in page_pictures(drawn(sheets, dpi), dpi):
        data = png(picture, dpi)
        found = Image.open(io.BytesIO(data))
        assert found.mode == "1"
        assert found.size == (round(stock.page_width_mm * dpi / 25.4), round(stock.page_height_mm * dpi / 25.4))
        # pHYs (PNG, third edition, 11.3.4.3): dots a metre, dots a metre, 1 = metre
        at = data.index(b"pHYs") + 4
        per_metre = round(dpi / 0.0254)
        assert struct.unpack(">IIB", data[at : at + 9]) == (per_metre, per_metre, 1)


@given(
    st.floats(5, 60),
    st.floats(5, 30),
    st.lists(st.tuples(*[st.floats(0, 1)] * 4), min_size=1, max_size=6),
    st.sampled_from([203, 300, 600]),
)
@settings(max_examples=40, deadline=None)
def test_any_box_lies_on_whole_dots(width: float, height: float, boxes: list[tuple[float, ...]], dpi: int) -> None:
    """Frames of two rectangles each: no grey, and none thinner than its line."""
    made = tuple(
        Box(x * width * 0.5, y * height * 0.5, 1 + w * width * 0.3, 1 + h * height * 0.3) for x, y, w, h in boxes
    )
    reel = {"reel": STOCKS["reel"]}
    sheets = lay_out([Piece("M", Face(width, height, boxes=made), "reel")], reel)[1:]
    grey = grey_of(drawn(sheets, dpi), dpi)
    assert ((grey <= MOST_GREY) | (grey >= 255 - MOST_GREY)).all()
    line = max(1, DotPen(dpi).dots(BOX_LINE_MM))
    # Four sides of a box of 1 mm; two of them may lie on the page's edge, where half of the line is on no page.
    assert (grey <= MOST_GREY).sum() >= line * 3 * DotPen(dpi).dots(1) * 0.9 - 4 * line * line


@pytest.mark.parametrize(
    ("printer", "error"), [(Printer(), 1.0), (Printer(scale_x=1.0081), 0.992), (Printer(scale_x=0.98), 1.0204)]
)
def test_a_length_is_right_once_a_printer_has_put_its_error_on_it(printer: Printer, error: float) -> None:
    """50 mm from tick to tick, times the correction, times the error: 50 mm to 0.1 mm at 600 dpi."""
    dpi = 600
    sheets = lay_out([Piece("M", Face(20, 10), "tag-a4-95x54")], STOCKS)
    (picture,) = page_pictures(drawn(sheets, dpi, printer), dpi)
    ink = ~np.asarray(picture)
    row = picture.height - round((281.0 + 2.5) * dpi / 25.4)  # the ruler's foot is at 281 mm; its ends are 3 mm high
    ticks = np.flatnonzero(ink[row, : picture.width // 2])
    starts = ticks[np.flatnonzero(np.diff(ticks, prepend=-9) > 1)]
    assert len(starts) == 2
    assert (starts[1] - starts[0]) * 25.4 / dpi * error == pytest.approx(50, abs=0.1)


def test_a_code_for_another_printer_is_refused_where_its_modules_are_no_whole_dots() -> None:
    sheets = lay_out([Piece("M", tag(300), "tag-a4-95x54")], STOCKS)
    drawn(sheets, 600)  # twice the dots
    # 15 mm on 21 modules: 8 dots at 300 dpi; 8 x 203 / 300 = 5.41
    with pytest.raises(LabelerError, match=r"modules of its code are 5\.41 dots at 203 dpi"):
        drawn(sheets, 203)


def test_text_stands_in_the_picture_where_the_pdf_has_it() -> None:
    """Every letter of the PDF has ink in its box, and there is none outside letters, rules and code."""
    dpi = 300
    sheets = lay_out([Piece("M", Face(95, 54, (Run("SURVEY BOAT", FONT, 5.0, 20, 30),)), "tag-roll-95x54")], STOCKS)[1:]
    pdf = drawn(sheets, dpi)
    page = pdfium.PdfDocument(pdf)[0]
    text = page.get_textpage()
    (picture,) = page_pictures(pdf, dpi)
    ink = ~np.asarray(picture)
    k = dpi / 72
    for i, sign in enumerate(text.get_text_range()):
        left, low, right, top = (v * k for v in text.get_charbox(i))
        here = ink[int(picture.height - top) : int(picture.height - low) + 1, int(left) : int(right) + 1]
        assert here.any() or sign == " "
        ink[int(picture.height - top) - 1 : int(picture.height - low) + 2, int(left) - 1 : int(right) + 2] = False
    assert not ink.any()


def test_pieces_are_cut_out_of_the_page_at_whole_dots() -> None:
    dpi = 300
    faces = [tag(dpi, "A"), tag(dpi, "B")]
    (sheet,) = lay_out([Piece(f"M{n}", face, "tag-roll-95x54") for n, face in enumerate(faces)], STOCKS)[1:2]
    (picture,) = page_pictures(drawn((sheet,), dpi), dpi)
    ((placed, cut),) = piece_pictures(picture, sheet, dpi)
    assert placed.cell == "A1"
    assert cut.size == (round(95 * dpi / 25.4), round(54 * dpi / 25.4))
    found = zxingcpp.read_barcodes(np.asarray(cut.convert("L")))
    assert [each.text for each in found] == ["RSB-210"]


def test_print_gives_pictures_of_sheets_and_pieces(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        out = Output(tmp_path, png=("sheets", "markers"))
        printed = print_harness(BOAT, tmp_path, record, only=("bag",), out=out, printer=Printer(dpi=300))
        pictures = [path for path in printed.files if path.suffix == ".png"]
        assert len(pictures) == 1 + len(printed.fits)
        assert all(path.is_file() for path in pictures)
        read = [zxingcpp.read_barcodes(opened(path).convert("L")) for path in pictures[1:]]
        assert sorted(code.text for codes in read for code in codes) == sorted(
            f"0001 {f.marker.id}" for f in printed.fits
        )
        whole = zxingcpp.read_barcodes(opened(pictures[0]).convert("L"))
        assert sorted(code.text for code in whole) == sorted(f"0001 {fit.marker.id}" for fit in printed.fits)
        again = reprint(record, record.find("0001 K4"), tmp_path, reason="lost", out=out, printer=Printer(dpi=300))
        (one,) = [path for path in again.files if path.stem.endswith(record.find("0001 K4")[0].row.id)]
        first = next(path for path in pictures[1:] if path.stem.endswith(one.stem.rpartition("-")[2]))
        before, after = opened(first), opened(one)
        # a neighbour's outline is no part of the piece; the hole's edge (to 10.5 mm: 124 dots) is rounded on the page
        inside = (130, 3, after.width - 3, after.height - 3)
        assert after.crop(inside).tobytes() == before.crop(inside).tobytes()


@pytest.mark.parametrize("form", ["sheets", "markers"])
def test_a_picture_of_more_dots_than_memory_holds_is_refused_before_anything_is_recorded(
    tmp_path: Path, form: str
) -> None:
    """210 mm are 39,685 dots at 4800 dpi, 297 mm 56,126: 2,227 million, each of them a byte or two."""
    out = Output(tmp_path, png=(form,))
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match="at 4800 dpi has 2,227 million dots, the limit is 600"):
            print_harness(BOAT, tmp_path / "out", record, settings={"print.dpi": "4800"}, only=("bag",), out=out)
        assert record.jobs() == ()
        print_harness(BOAT, tmp_path / "out", record, settings={"print.dpi": "4800"}, only=("bag",))  # as PDF
        items = record.find("K4", unit="0001")
        with pytest.raises(LabelerError, match="2,227 million dots"):
            reprint(record, items, tmp_path, reason="lost", out=out, printer=Printer(dpi=4800))
        assert len(record.jobs()) == 1
    assert not list(tmp_path.rglob("*.png"))
