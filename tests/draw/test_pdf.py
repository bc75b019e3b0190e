"""Draw: the PDF is read back by other programs: its text, its measures, its codes."""

from __future__ import annotations

import io
import os
import stat
import tomllib
import tracemalloc
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.codes.qr import qr
from labeler.draw.marker_drawing import dark_rectangles
from labeler.draw.pdf import draw_sheets, face_operations
from labeler.draw.pens import millimetres, points
from labeler.draw.sheet_frame import Header
from labeler.errors import LabelerError
from labeler.files import write_whole
from labeler.layout.cells import cells
from labeler.layout.place import lay_out
from labeler.model import Box, Face, Piece, Run, Sheet, Stock
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from tests.make import symbol_of
from tests.places import LAYOUTS

FONT = "Atkinson Hyperlegible"
NARROW = "Fira Sans Condensed"
HEADER = Header("River survey boat, sensors")
MM = 72 / 25.4  # points in a millimetre: 72 points are an inch of 25.4 mm
STOCKS = {path.stem: Stock(name=path.stem, **tomllib.loads(path.read_text("utf-8"))) for path in LAYOUTS.glob("*.toml")}
STOCKS["reel"] = replace(STOCKS["reel"], leader_mm=0.0)  # the pieces alone


def drawn(sheets: tuple[Sheet, ...], header: Header = HEADER) -> bytes:
    return draw_sheets(sheets, title="River survey boat", header=header)


def sheets_of(stock: str, *faces: Face, group: str = "") -> tuple[Sheet, ...]:
    return lay_out([Piece(f"M{n}", face, stock, group) for n, face in enumerate(faces)], STOCKS)


def wrap(text: str, copies: int = 3) -> Face:
    """Return a face whose lines lie 1.5714 capitals of 0.67 em apart, as the shipped pitch has it."""
    return Face(25, 18, (Run(text, FONT, 2.0, 2.0, 16.0),), copies, 2.1)


def sleeve(*texts: str, stretch: float = 1.0) -> Face:
    runs = tuple(Run(text, FONT, 3.0, 3.0, 7.0 - 4 * n, stretch) for n, text in enumerate(texts))
    return Face(35, 11, runs)


def text_of(data: bytes, page: int = 0) -> list[str]:
    return pypdf.PdfReader(io.BytesIO(data)).pages[page].extract_text().split("\n")


def grey(data: bytes, dpi: int, page: int = 0) -> np.ndarray[Any, Any]:
    """Render a page: rows of grey values, row 0 on top."""
    image = pdfium.PdfDocument(data)[page].render(scale=dpi / 72, grayscale=True).to_numpy()
    return np.array(image).reshape(image.shape[0], image.shape[1])


def ink_mm(data: bytes, page: int = 0, dpi: int = 600) -> tuple[float, float, float, float]:
    """Return left, lower, right and upper edge of all that is dark on a page, mm."""
    dark = grey(data, dpi, page) < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    dot = 25.4 / dpi
    high = dark.shape[0]
    return columns[0] * dot, (high - 1 - rows[-1]) * dot, (columns[-1] + 1) * dot, (high - rows[0]) * dot


# ---------------------------------------------------------------- text


def test_every_string_is_found_once_a_copy_inside_its_own_cell() -> None:
    stock = STOCKS["wrap-a4-25x18"]
    texts = [f"W{number:03d} J4:{number}" for number in range(98)]
    data = drawn(sheets_of(stock.name, *map(wrap, texts)))
    page = pdfium.PdfDocument(data)[0].get_textpage()
    for text, cell in zip(texts, cells(stock), strict=True):
        box = (cell.x_mm, cell.y_mm, cell.x_mm + cell.width_mm, cell.y_mm + cell.height_mm)
        left, low, right, high = (measure * MM for measure in box)
        inside = page.get_text_bounded(left, low, right, high)
        assert inside.split("\r\n") == [text] * 3


def test_copies_stand_a_pitch_lower_each() -> None:
    places: list[float] = []

    def note(text: str, matrix: list[float], at: list[float], *_: object) -> None:
        if text.strip() == "W1":
            places.append(matrix[5] + at[5])

    data = drawn(sheets_of("wrap-a4-25x18", wrap("W1", copies=4)))
    pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text(visitor_text=note)
    # cell A1: page 297, top margin 20, cell 18 high: lower edge 259; baseline 16 higher, pitch 2.1
    assert places == pytest.approx([(259 + 16 - 2.1 * copy) * MM for copy in range(4)], abs=0.002)


def test_text_comes_in_reading_order_line_by_line_and_copy_by_copy() -> None:
    runs = (Run("DEPTH", FONT, 2, 2, 16), Run("J4", FONT, 2, 2, 13))
    data = drawn(sheets_of("wrap-a4-25x18", Face(25, 18, runs, 2, 6.0), wrap("GPS", 1)))
    assert text_of(data)[-5:] == ["DEPTH", "J4", "DEPTH", "J4", "GPS"]


SIGNS = "".join(sorted(set(load_font(NARROW).advances) & set(map(chr, (*range(33, 127), *range(161, 0x500))))))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.text(alphabet=SIGNS.replace("\xad", ""), min_size=1, max_size=60), min_size=1, max_size=8))
def test_any_text_of_the_font_is_extracted_as_it_was(texts: list[str]) -> None:
    # more than 256 signs are in reach: strings that lie in several parts of the font are met too
    faces = [Face(60, 11, (Run(text, NARROW, 0.8, 1, 4),)) for text in texts]
    data = drawn(sheets_of("reel", *faces))
    found = [pdfium.PdfDocument(data)[page].get_textpage().get_text_range() for page in range(len(texts))]
    assert found == texts


def test_a_font_of_more_parts_than_one_is_extracted() -> None:
    # 256 signs to a part: all of them in one document need several
    assert len(SIGNS) > 512
    text = SIGNS.replace("\xad", "")
    faces = [Face(60, 11, (Run(text[n : n + 40], NARROW, 0.8, 1, 4),)) for n in range(0, len(text), 40)]
    faces.append(Face(60, 11, (Run(text[0] + text[-1] + text[1] + text[-2], NARROW, 0.8, 1, 4),)))
    data = drawn(sheets_of("reel", *faces))
    for page, face in enumerate(faces):
        assert pdfium.PdfDocument(data)[page].get_textpage().get_text_range() == face.runs[0].text


def fonts_of(reader: pypdf.PdfReader) -> list[Any]:
    resources: Any = reader.pages[0]["/Resources"]
    return [entry.get_object() for entry in resources["/Font"].values()]


def test_fonts_are_embedded_and_there_is_no_other() -> None:
    runs = (Run("DEPTH", FONT, 3, 2, 6), Run("ГЛУБИНА", NARROW, 3, 2, 2))
    reader = pypdf.PdfReader(io.BytesIO(drawn(sheets_of("card-210x148", Face(35, 11, runs)))))
    fonts = {font["/BaseFont"]: "/FontFile2" in font["/FontDescriptor"] for font in fonts_of(reader)}
    assert len(fonts) >= 2
    assert all(fonts.values())
    assert {name.split("+")[1] for name in fonts} == {
        "AtkinsonHyperlegible-Regular",
        "FiraSansCondensed-Regular",
    }


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("深 J4", r"no glyph for '深' \(U\+6DF1\)"),
        ("ГЛ", "has characters that Atkinson Hyperlegible lacks; lay it out again"),
    ],
)
def test_a_character_without_a_glyph_is_never_drawn_as_something_else(text: str, says: str) -> None:
    with pytest.raises(LabelerError, match=says):
        drawn(sheets_of("wrap-a4-25x18", wrap(text)))


# ---------------------------------------------------------------- measures


@pytest.mark.parametrize("name", [name for name, stock in STOCKS.items() if stock.kind in ("sheet", "card")])
def test_the_ruler_measures_50_mm(name: str) -> None:
    stock = STOCKS[name]
    data = drawn(sheets_of(name, Face(10, 8)))
    picture = grey(data, 600)
    dot = 25.4 / 600
    # the end ticks alone are as high as 2.6 mm over the base line
    row = picture.shape[0] - round((stock.ruler_y_mm + 2.6) / dot)
    first = round((stock.ruler_x_mm - 1) / dot)
    dark = np.flatnonzero(picture[row, first : first + round(52 / dot)] < 160) + first
    left, right = np.split(dark, np.flatnonzero(np.diff(dark) > 1) + 1)
    assert (right.mean() - left.mean()) * dot == pytest.approx(50.0, abs=dot)
    assert left.mean() * dot == pytest.approx(stock.ruler_x_mm, abs=dot)


@pytest.mark.parametrize("name", [name for name, stock in STOCKS.items() if stock.kind in ("sheet", "card")])
def test_the_words_of_the_ruler_stay_in_the_area_kept_for_them(name: str) -> None:
    stock = replace(STOCKS[name], top_margin_mm=STOCKS[name].top_margin_mm, cut_lines=False)
    sheets = tuple(replace(sheet, stock=stock) for sheet in sheets_of(name, Face(10, 8)))
    picture = grey(drawn(sheets), 300)
    dot = 25.4 / 300
    dark = picture < 160
    bottom, top = (picture.shape[0] - round(y / dot) for y in (stock.ruler_y_mm - 0.2, stock.ruler_y_mm + 3.2))
    strip = np.flatnonzero(dark[top:bottom].any(axis=0)) * dot
    assert stock.ruler_x_mm - 0.2 <= strip[0]
    assert 80 < strip[-1] - stock.ruler_x_mm <= 94
    below = dark[bottom:]
    assert not below.any()  # nothing else stands on this empty sheet below the ruler


@pytest.mark.parametrize(("stretch", "high"), [(1.0, 1.0), (1.4, 1.4), (0.7, 0.7)])
def test_stretch_makes_letters_taller_not_wider(stretch: float, high: float) -> None:
    # H, em 10 mm: as tall as the font's own H measured from its outline, times the stretch
    font = load_font(FONT)
    face = Face(30, 20, (Run("H", FONT, 10.0, 4.0, 5.0, stretch),))
    left, low, right, top = ink_mm(drawn(sheets_of("reel", face)))
    dot = 25.4 / 600
    assert low == pytest.approx(5.0, abs=1.5 * dot)
    assert top - low == pytest.approx(10 * font.capital * high, abs=2 * dot)
    assert right - left == pytest.approx(10 * font.capital_width, abs=2 * dot)


def test_page_sizes() -> None:
    a4 = sheets_of("wrap-a4-25x18", wrap("W1"))
    letter = sheets_of("tag-letter-98x50", Face(98, 50))
    reel = sheets_of("reel", sleeve("DEPTH"))
    reader = pypdf.PdfReader(io.BytesIO(drawn((*a4, *letter, *reel))))
    boxes = [[float(edge) for edge in page.mediabox] for page in reader.pages]
    # A4 210 x 297 mm = 595.276 x 841.890 points; Letter 612 x 792; the sleeve 35 x 11 mm
    assert boxes[0] == pytest.approx([0, 0, 595.276, 841.890], abs=0.001)
    assert boxes[1] == pytest.approx([0, 0, 612, 792], abs=0.001)
    assert boxes[2] == pytest.approx([0, 0, 35 * 72 / 25.4, 11 * 72 / 25.4], abs=0.001)


def test_viewers_are_told_not_to_scale() -> None:
    reader = pypdf.PdfReader(io.BytesIO(drawn(sheets_of("wrap-a4-25x18", wrap("W1")))))
    catalogue: Any = reader.trailer["/Root"]
    assert catalogue["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert reader.metadata is not None
    assert reader.metadata.title == "River survey boat"


def test_a_box_is_where_it_was_put() -> None:
    # outer edges of the stroke of 0.2 mm: 0.1 mm outside the rectangle
    data = drawn(sheets_of("reel", Face(30, 20, boxes=(Box(5, 6, 3, 4),))))
    assert ink_mm(data, dpi=1200) == pytest.approx((4.9, 5.9, 8.1, 10.1), abs=0.03)


def test_cut_lines_and_holes() -> None:
    """A tag's cell is outlined and has its hole; a sleeve on a card has its own outline."""
    tag = STOCKS["tag-a4-95x54"]
    picture = grey(drawn(sheets_of(tag.name, Face(95, 54))), 600)
    line = _grey_at(picture, tag.left_margin_mm, 297 - 19 - 10)
    assert line == _grey_at(picture, tag.left_margin_mm + 95, 297 - 19 - 10) < 200
    assert _grey_at(picture, tag.left_margin_mm + 7 + 2.5, 297 - 19 - 27) < 200  # rightmost point of the hole
    assert _grey_at(picture, tag.left_margin_mm + 7, 297 - 19 - 27) == 255
    card = STOCKS["card-210x148"]
    picture = grey(drawn(sheets_of(card.name, Face(35, 11))), 600)
    assert _grey_at(picture, card.left_margin_mm + 35, 148.5 - 19 - 5) < 200
    assert _grey_at(picture, card.left_margin_mm + 62, 148.5 - 19 - 5) == 255


def test_a_small_piece_is_cut_out_with_its_whole_cell() -> None:
    tag = STOCKS["tag-a4-95x54"]
    picture = grey(drawn(sheets_of(tag.name, Face(20, 10))), 600)
    for x, y in ((40, 0), (40, 54), (0, 27), (95, 27)):  # the middle of each side of cell A1, more or less
        assert _grey_at(picture, tag.left_margin_mm + x, 297 - 19 - y) < 200
    assert _grey_at(picture, tag.left_margin_mm + 20, 297 - 19 - 5) == 255


def _grey_at(picture: np.ndarray[Any, Any], x_mm: float, y_mm: float) -> int:
    """Return the darkest grey within a dot of a point."""
    row, column = picture.shape[0] - round(y_mm * 600 / 25.4), round(x_mm * 600 / 25.4)
    return int(picture[row - 2 : row + 2, column - 2 : column + 2].min())


@pytest.mark.parametrize("name", ["wrap-a4-25x18", "wrap-letter-25x38"])
def test_a_die_cut_sheet_has_no_outlines(name: str) -> None:
    with_piece, without = (drawn(sheets_of(name, face)) for face in (Face(25, 18), Face(5, 5)))
    assert np.array_equal(grey(with_piece, 150), grey(without, 150))


# ---------------------------------------------------------------- codes


def test_codes_on_tags_are_read() -> None:
    import zxingcpp

    payloads = [f"K{number}-B{number}:7F" for number in range(10)]
    faces = [Face(95, 54, symbol=symbol_of(text, 60, 15, 20, 300)) for text in payloads]
    picture = np.ascontiguousarray(grey(drawn(sheets_of("tag-a4-95x54", *faces)), 600))
    only = zxingcpp.BarcodeFormats([zxingcpp.BarcodeFormat.QRCodeModel2])
    assert sorted(found.text for found in zxingcpp.read_barcodes(picture, only)) == payloads


def test_every_module_lies_where_it_should() -> None:
    rows = qr("K4")
    symbol = replace(symbol_of("K4", 6, 5, 10, 300), module_y_mm=0.6)  # taller than wide: 0.423 x 0.6
    picture = grey(drawn(sheets_of("reel", Face(30, 25, symbol=symbol))), 600)
    dot = 25.4 / 600
    columns = [int((6 + (n + 0.5) * symbol.module_x_mm) / dot) for n in range(21)]
    middles = [int((25 - 5 - (20 - n + 0.5) * 0.6) / dot) for n in range(21)]  # from the page's upper edge
    sampled = ["".join("1" if picture[row, column] < 128 else "0" for column in columns) for row in middles]
    assert sampled == list(rows)
    assert 4 * symbol.module_x_mm < 6  # the page leaves the quiet zone


def test_dark_modules_are_neither_swollen_nor_shrunk() -> None:
    rows = qr("K4-RIVER SURVEY")
    symbol = symbol_of("K4-RIVER SURVEY", 4, 4, 20, 300)
    picture = grey(drawn(sheets_of("reel", Face(28, 28, symbol=symbol))), 1200)
    ink = (255.0 - picture).sum() / 255 * (25.4 / 1200) ** 2
    modules = sum(row.count("1") for row in rows)
    assert ink == pytest.approx(modules * symbol.module_x_mm**2, rel=0.005)


ROWS = st.integers(1, 12).flatmap(
    lambda width: st.lists(st.text("01", min_size=width, max_size=width), min_size=1, max_size=12)
)


@given(ROWS)
def test_dark_rectangles_cover_each_dark_module_once(rows: list[str]) -> None:
    covered = Counter(
        (row + down, column + right)
        for row, column, high, wide in dark_rectangles(tuple(rows))
        for down in range(high)
        for right in range(wide)
    )
    dark = {(row, column) for row, line in enumerate(rows) for column, module in enumerate(line) if module == "1"}
    assert set(covered) == dark
    assert set(covered.values()) <= {1}


# ---------------------------------------------------------------- header, reprint


def header_of(sheets: tuple[Sheet, ...], job: str) -> tuple[str, float]:
    """Return the header line and its size in points as another program reads them."""
    sizes: dict[str, float] = {}

    def note(text: str, _matrix: list[float], at: list[float], _font: object, size: float) -> None:
        if "sheet" in text:
            sizes[text.strip()] = size * at[0]

    data = drawn(sheets, Header(job))
    pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text(visitor_text=note)
    ((line, size),) = sizes.items()
    return line, size


def test_the_header_names_job_stock_group_and_sheet() -> None:
    sheets = sheets_of("card-210x148", sleeve("DEPTH"), group="AS23053/5 1/4, WH")
    line, size = header_of(sheets, "RSB-210 C, unit 7")
    assert line == "RSB-210 C, unit 7 · card-210x148 · AS23053/5 1/4, WH · cut 1 x 35 mm · sheet 1"
    assert size == pytest.approx(7)


def test_a_long_header_is_set_smaller_and_then_its_job_is_cut_never_its_sheet() -> None:
    sheets = sheets_of("wrap-a4-25x18", wrap("W1"))
    line, size = header_of(sheets, "River survey boat, sensors and winch " * 40)
    assert line.startswith("River survey boat")
    assert line.endswith("... · wrap-a4-25x18 · sheet 1")
    assert 6 <= size < 6.1  # one letter more would not have had room at 6 points
    width = load_font(FONT).width(line) * 6 / MM
    assert 185 < width <= 210 - 11.5 - 5  # from the cells' left edge to 5 mm from the page's right edge


def test_a_header_that_no_font_has_is_spelled_out() -> None:
    line, _ = header_of(sheets_of("wrap-a4-25x18", wrap("W1")), "深 boat")
    assert line == "<U+6DF1> boat · wrap-a4-25x18 · sheet 1"


def test_a_stock_without_head_room_has_no_header() -> None:
    stock = replace(STOCKS["wrap-a4-25x18"], top_margin_mm=8.0, ruler_y_mm=6.0)
    sheets = lay_out([Piece("M1", wrap("W1"), "low")], {"low": replace(stock, name="low")})
    assert text_of(drawn(sheets)) == ["This ruler must measure 50 mm.", "W1", "W1", "W1"]


def test_a_reel_page_has_nothing_but_the_piece() -> None:
    data = drawn(sheets_of("reel", sleeve("DEPTH", "J4")))
    assert text_of(data) == ["DEPTH", "J4"]


def test_the_same_sheets_give_the_same_bytes() -> None:
    sheets = sheets_of("tag-a4-95x54", *(Face(95, 54, (Run(f"K{n} µ", FONT, 9, 15, 30),)) for n in range(12)))
    assert drawn(sheets) == drawn(sheets)


def test_equal_faces_have_equal_operations_and_others_have_not() -> None:
    face = Face(35, 11, (Run("DEPTH (J4)", FONT, 3, 2, 6, 1.25),), boxes=(Box(1, 1, 2, 2),))
    assert face_operations(face) == face_operations(replace(face))
    for other in (
        replace(face, boxes=()),
        replace(face, repeats=2, repeat_pitch_mm=1.0),
        replace(face, runs=(replace(face.runs[0], stretch=1.26),)),
        replace(face, runs=(replace(face.runs[0], text="DEPTH (J5)"),)),
        replace(face, symbol=symbol_of("J4", 0, 0, 10, 300)),
    ):
        assert face_operations(other) != face_operations(face)


def test_operations_are_written_in_points() -> None:
    # 25.4 mm = 72 points, so 2.54 mm = 7.2; the parenthesis is escaped (ISO 32000-1, 7.3.4.2)
    face = Face(50, 20, (Run("J4)", FONT, 2.54, 25.4, 5.08, 1.5),), 2, 1.27)
    operations = face_operations(face).split()
    assert operations[0] == "BT"
    assert operations[2:4] == ["7.2000", "Tf"]
    assert " ".join(operations[4:]) == (r"1 0 0 1.5 72.000 14.400 Tm (J4\)) Tj 1 0 0 1.5 72.000 10.800 Tm (J4\)) Tj ET")


def test_a_page_is_compressed() -> None:
    sheets = sheets_of("wrap-a4-25x18", *(wrap("W1 J4:2", 9) for _ in range(980)))
    text = sum(len(face_operations(placed.piece.face)) for sheet in sheets for placed in sheet.placed)
    assert len(drawn(sheets)) < text / 4


# ---------------------------------------------------------------- files


SHEETS = sheets_of("wrap-a4-25x18", wrap("W1"))


def write(path: Path, force: bool = False) -> None:
    write_whole(path, drawn(SHEETS), force=force)


def test_a_file_is_written_whole_and_alone(tmp_path: Path) -> None:
    write(tmp_path / "out.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["out.pdf"]
    assert "W1" in text_of((tmp_path / "out.pdf").read_bytes())


def test_a_file_may_be_read_by_whom_the_folder_lets(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"")
    write(tmp_path / "out.pdf")
    modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "out.pdf")}
    assert len(modes) == 1


def test_an_existing_file_is_kept_unless_asked(tmp_path: Path) -> None:
    path = tmp_path / "out.pdf"
    path.write_bytes(b"old")
    with pytest.raises(LabelerError, match=r"out\.pdf: exists already; .*--force"):
        write(path)
    assert path.read_bytes() == b"old"
    write(path, force=True)
    assert path.read_bytes().startswith(b"%PDF")
    assert [each.name for each in tmp_path.iterdir()] == ["out.pdf"]


def test_a_file_that_appears_meanwhile_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "out.pdf"
    sync = os.fsync

    def appear(number: int) -> None:
        sync(number)
        path.write_bytes(b"theirs")

    monkeypatch.setattr(os, "fsync", appear)
    with pytest.raises(LabelerError, match="exists already"):
        write_whole(path, b"ours")
    assert path.read_bytes() == b"theirs"
    assert [each.name for each in tmp_path.iterdir()] == ["out.pdf"]


def test_a_disk_without_links_will_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    write_whole(tmp_path / "out.pdf", b"ours")
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("out.pdf", b"ours")]


def test_a_link_is_written_through(tmp_path: Path) -> None:
    (tmp_path / "real.pdf").write_bytes(b"old")
    (tmp_path / "link.pdf").symlink_to("real.pdf")
    write_whole(tmp_path / "link.pdf", b"new", force=True)
    assert (tmp_path / "link.pdf").is_symlink()
    assert (tmp_path / "real.pdf").read_bytes() == b"new"


@pytest.mark.parametrize(
    ("name", "force", "says"),
    [
        (".", False, "is a folder; name a file in it"),
        (".", True, "is a folder"),
        ("none/out.pdf", False, r"cannot be written \(No such file or directory\); choose another folder"),
        ("x" * 300, False, r"cannot be written \(File name too long\)"),
        ("/dev/null", True, "is a device, not a file"),
        ("/proc/out.pdf", False, "cannot be written"),
    ],
)
def test_targets_that_cannot_be_written(tmp_path: Path, name: str, force: bool, says: str) -> None:
    with pytest.raises(LabelerError, match=says):
        write(tmp_path / name, force)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_no_half_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    (tmp_path / "out.pdf").write_bytes(b"old")
    with pytest.raises(LabelerError, match=r"cannot be written \(No space left on device\)"):
        write(tmp_path / "out.pdf", force=True)
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("out.pdf", b"old")]


def test_no_sheets_is_a_problem() -> None:
    with pytest.raises(LabelerError, match="no sheet to draw"):
        drawn(())


def test_a_string_is_encoded_once_at_most_and_not_at_all_where_its_signs_are_known(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from reportlab.pdfbase.ttfonts import TTFont

    asked: list[str] = []
    split = TTFont.splitString

    def note(font: Any, text: str, document: Any, **more: Any) -> Any:
        asked.append(text)
        return split(font, text, document, **more)

    monkeypatch.setattr(TTFont, "splitString", note)
    drawn(sheets_of("wrap-a4-25x18", wrap("W~", 9), wrap("W~", 9), wrap("~W", 9)))
    assert Counter(text for text in asked if "~" in text) == {"W~": 1}


def test_a_point_is_the_72nd_part_of_an_inch() -> None:
    assert points(25.4) == pytest.approx(72)
    assert millimetres(72) == pytest.approx(25.4)


def test_both_faces_are_a_second_pass_in_the_same_slots() -> None:
    both = Face(30, 10.5, (Run("BOTH", "Atkinson Hyperlegible", 4.0, 8, 4),), passes=2)
    one = Face(30, 10.5, (Run("SINGLE", "Atkinson Hyperlegible", 4.0, 8, 4),))
    pieces = [Piece("a", one, "card-210x148", "tube"), Piece("b", both, "card-210x148", "tube")]
    data = drawn(lay_out(pieces, {s.name: s for s in load_catalogue().stocks}), Header("job"))
    document = pdfium.PdfDocument(data)
    first, second = (page.get_textpage() for page in document)
    assert "SINGLE" in first.get_text_range()
    assert "BOTH" in first.get_text_range()
    assert "SINGLE" not in second.get_text_range()
    assert "SECOND PASS" in second.get_text_range()
    places = []
    for text in (first, second):
        found = text.search("BOTH").get_next()
        assert found is not None
        places.append(text.get_charbox(found[0]))
    assert places[0] == places[1]


@pytest.mark.parametrize("name", ["reel", "strip-1000"])
def test_the_second_pass_of_a_reel_is_the_whole_tube_again_so_that_the_pieces_meet(name: str) -> None:
    both = Face(30, 10.5, (Run("BOTH", FONT, 4.0, 8, 4),), passes=2)
    one = Face(20, 10.5, (Run("SINGLE", FONT, 3.0, 2, 4),))
    pieces = [Piece(f"M{n}", face, name, "tube") for n, face in enumerate((one, both, one))]
    stocks = {stock.name: stock for stock in load_catalogue().stocks}
    data = drawn(lay_out(pieces, stocks))
    pages = list(pdfium.PdfDocument(data))
    # leader, three pieces; or one strip
    assert len(pages) == (8 if name == "reel" else 2)
    half = len(pages) // 2
    for first, second in zip(pages[:half], pages[half:], strict=True):
        assert first.get_size() == second.get_size()
        found = second.get_textpage().get_text_range()
        assert "SINGLE" not in found
        assert ("BOTH" in found) == ("BOTH" in first.get_textpage().get_text_range())
        assert ("SECOND PASS" in found) == ("sensors" in found)  # on the leader: the header's job
    assert sum("BOTH" in page.get_textpage().get_text_range() for page in pages) == 2


@pytest.mark.parametrize(
    "stock", [s for s in load_catalogue().stocks if s.kind != "reel"], ids=lambda stock: stock.name
)
def test_an_empty_stock_shows_every_cell_in_its_place(stock: Stock) -> None:
    """The outlines measure what the stock file says to 0.05 mm, at 600 dpi: the first cell's left and upper edge."""
    from labeler.draw.pdf import CARD_PIECE_MM, empty_pdf

    data = empty_pdf(stock, "Atkinson Hyperlegible")
    page = pdfium.PdfDocument(data)[0]
    assert page.get_size() == pytest.approx(
        (stock.page_width_mm * 72 / 25.4, stock.page_height_mm * 72 / 25.4), abs=0.01
    )
    height = CARD_PIECE_MM if stock.kind == "card" else stock.cell_height_mm
    text = page.get_textpage().get_text_range().split()
    assert {cell.name for cell in cells(stock, height)} <= set(text)
    grey = page.render(scale=600 / 72, grayscale=True).to_numpy().squeeze()
    k = 600 / 25.4
    first = cells(stock, height)[0]
    row = int((stock.page_height_mm - first.y_mm - height * 0.3) * k)
    edges = np.flatnonzero(grey[row] < 200) / k
    for edge in (first.x_mm, first.x_mm + first.width_mm):
        assert np.abs(edges - edge).min() <= 0.05 + 0.5 / k + 0.05  # half a dot, and half the line
    column = int((first.x_mm + first.width_mm * 0.7) * k)
    levels = np.flatnonzero(grey[:, column] < 200) / k
    top = stock.page_height_mm - first.y_mm - height
    assert np.abs(levels - top).min() <= 0.05 + 0.5 / k + 0.05


def test_a_reel_has_no_sheet_to_draw() -> None:
    from labeler.draw.pdf import empty_pdf

    with pytest.raises(LabelerError, match="is a reel"):
        empty_pdf(load_catalogue().stock("reel"), "Atkinson Hyperlegible")


def test_the_picture_of_a_page_has_its_physical_size() -> None:
    from PIL import Image

    from labeler.draw.pdf import empty_pdf, first_page_png

    picture = Image.open(
        io.BytesIO(first_page_png(empty_pdf(load_catalogue().stock("card-210x148"), "Atkinson Hyperlegible")))
    )
    width = picture.size[0] / picture.info["dpi"][0] * 25.4
    assert width == pytest.approx(210, abs=0.2)


@pytest.mark.slow
def test_a_page_takes_at_most_25_kilobytes_of_memory() -> None:
    """Ninety-eight different wraps a page: 100 pages more may take 100 x 25 kB more at the highest point."""
    import tracemalloc

    def peak(pages: int) -> int:
        sheets = sheets_of("wrap-a4-25x18", *(wrap(f"P1:{n}/J4:{n % 100}", 2) for n in range(98 * pages)))
        tracemalloc.start()
        try:
            drawn(sheets)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    peak(1)  # fonts
    assert peak(150) - peak(50) <= 100 * 25_000


@pytest.mark.parametrize(("few", "many"), [(10, 30), pytest.param(20, 100, marks=pytest.mark.slow)])
def test_a_page_that_is_done_takes_little_memory(few: int, many: int) -> None:
    """What is kept of more pages of 98 wraps, each with texts of its own, three times: at most 25 kB a page."""
    stock = load_catalogue().stock("wrap-a4-25x18")

    def peak(pages: int) -> int:
        runs = (tuple(Run(f"W{n} J{n}:{i}", FONT, 2.0, 1.0, 14.0 - 3 * i) for i in range(2)) for n in range(98 * pages))
        pieces = [Piece(f"M{n}", Face(25.0, 18.0, each, 3, 4.0), stock.name) for n, each in enumerate(runs)]
        sheets = lay_out(pieces, {stock.name: stock})
        tracemalloc.start()
        try:
            drawn(sheets, Header("RSB-210"))
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    peak(1)  # the font is read once
    assert (peak(many) - peak(few)) / (many - few) < 25_000
