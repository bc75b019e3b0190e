"""The main job on the example: what is planned is on the paper once, whole, in its place; and again from the record."""

import os
import signal
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
import zxingcpp

from labeler.draw.pdf import face_operations
from labeler.draw.pens import POINTS_PER_MM
from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.job.check import Checked
from labeler.job.run import Printed
from labeler.model import FAIL, Face, Piece, Placed, Run, Sheet, Symbol
from labeler.record import open_record
from labeler.record.store import Record
from labeler.tables.printers import Printer
from labeler.text import load_font
from labeler.wording import installation, sentences
from tests.orders import check, print_harness, print_units, reprint, resume
from tests.places import EXAMPLES
from tests.shrinking import outcomes

BOAT = str(EXAMPLES / "survey-boat.toml")


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Record]:
    with open_record(tmp_path_factory.mktemp("record") / "record.sqlite") as opened:
        yield opened


@pytest.fixture(scope="module")
def printed(record: Record, tmp_path_factory: pytest.TempPathFactory) -> Printed:
    return print_harness(BOAT, tmp_path_factory.mktemp("out"), record, date="2026-03-01")


@pytest.fixture(scope="module")
def checked() -> Checked:
    return check(BOAT)


def page_of(printed: Printed, sheet: Sheet) -> pdfium.PdfPage:
    file = next(f for f in printed.files if f.stem.endswith(sheet.stock.name))
    number = [s.number for s in printed.sheets if s.stock.name == sheet.stock.name].index(sheet.number)
    return pdfium.PdfDocument(str(file))[number]


def text_in(page: pdfium.PdfPage, placed: Placed, grow: float = 0.0) -> list[str]:
    face = placed.piece.face
    bounds = (
        placed.x_mm - grow,
        placed.y_mm - grow,
        placed.x_mm + face.width_mm + grow,
        placed.y_mm + face.height_mm + grow,
    )
    found: str = page.get_textpage().get_text_bounded(*(v * POINTS_PER_MM for v in bounds))
    return [line.strip() for line in found.splitlines() if line.strip()]


def test_every_marker_is_planned(checked: Checked) -> None:
    """By the file: 11 branch ends, 27 circuits with two ends, 7 bags; K3's ten rows ask for a second tag."""
    assert Counter(fit.marker.role for fit in checked.fits) == {"branch end": 11, "wire end": 54, "bag": 8}
    assert not checked.misfits
    assert not checked.notes


def test_every_planned_marker_is_on_the_paper_once_in_its_own_cell(checked: Checked, printed: Printed) -> None:
    placed = {p.piece.marker: (sheet, p) for sheet in printed.sheets for p in sheet.placed}
    wanted = {fit.marker.id: fit for fit in checked.fits if fit.marker.marked}
    assert placed.keys() == wanted.keys()
    assert sum(len(sheet.placed) for sheet in printed.sheets) == len(placed)
    for name, (sheet, p) in placed.items():
        face = p.piece.face
        expected = [run.text for _ in range(face.repeats) for run in face.runs]
        got = text_in(page_of(printed, sheet), p)
        assert Counter(" ".join(got).split()) == Counter(" ".join(expected).split()), name
        if wanted[name].marker.role != "bag":
            assert tuple(run.text for run in face.runs) == wanted[name].lines


def test_pieces_overlap_nothing_and_ink_stays_inside(printed: Printed) -> None:
    for sheet in printed.sheets:
        boxes = [
            (p.x_mm, p.y_mm, p.x_mm + p.piece.face.width_mm, p.y_mm + p.piece.face.height_mm) for p in sheet.placed
        ]
        for i, a in enumerate(boxes):
            assert 0 <= a[0] < a[2] <= sheet.width_mm
            assert 0 <= a[1] < a[3] <= sheet.height_mm
            for b in boxes[i + 1 :]:
                assert a[2] <= b[0] + 1e-6 or b[2] <= a[0] + 1e-6 or a[3] <= b[1] + 1e-6 or b[3] <= a[1] + 1e-6
        for p in sheet.placed:
            face = p.piece.face
            for run in face.runs:
                font = load_font(run.font)
                assert run.x_mm >= 0
                assert run.x_mm + font.width(run.text) * run.size_mm <= face.width_mm
                top = run.y_mm + font.above(run.text) * run.size_mm * run.stretch
                bottom = run.y_mm - font.below(run.text) * run.size_mm * run.stretch
                assert top <= face.height_mm
                assert bottom - (face.repeats - 1) * face.repeat_pitch_mm >= 0


def test_the_two_ends_of_a_circuit_are_neighbours(printed: Printed) -> None:
    fits = {fit.marker.id: fit.marker for fit in printed.fits}
    for sheet in printed.sheets:
        circuits = [fits[p.piece.marker].circuit for p in sheet.placed if fits[p.piece.marker].circuit]
        assert circuits[::2] == circuits[1::2]


def test_codes_read_back_with_another_library(printed: Printed) -> None:
    """The codes are made with qrcode and read with zxing-cpp."""
    expected = {
        p.piece.face.symbol.data for sheet in printed.sheets for p in sheet.placed if p.piece.face.symbol is not None
    }
    assert len(expected) == 8
    read = set()
    for sheet in printed.sheets:
        if sheet.stock.marker == "tag":
            image = page_of(printed, sheet).render(scale=600 / 72, grayscale=True).to_numpy()
            found = zxingcpp.read_barcodes(np.ascontiguousarray(image.squeeze()), formats=zxingcpp.BarcodeFormat.QRCode)  # type: ignore[arg-type]
            read |= {code.text for code in found}
    assert read == expected
    assert expected == {f"{printed.job.unit} {fit.marker.id}" for fit in printed.fits if fit.marker.role == "bag"}


def test_codes_on_all_markers_name_their_own_unit(tmp_path: Path) -> None:
    """Three units on shared sheets, codes on tags and wraps: each says its own unit and its own id, once."""
    words = {"code.on": "tag, wrap", "code.allow_failed": "true"}
    with open_record(tmp_path / "r.sqlite") as record:
        units = print_units(BOAT, tmp_path / "out", record, units=("0007", "0008", "9"), settings=words)
    for unit in units:
        pieces = [p.piece for sheet in unit.sheets for p in sheet.placed if p.piece.face.symbol is not None]
        coded = [fit for fit in unit.fits if fit.marker.kind in ("tag", "wrap")]
        said = Counter(piece.face.symbol.data for piece in pieces if piece.face.symbol is not None)
        assert said == Counter(f"{unit.job.unit} {fit.marker.id}" for fit in coded)
        assert len(coded) == 54 + 8  # wraps; seven bags, and the pins of K3 on a tag of their own


def test_no_serial_is_used_up_where_a_code_cannot_say_one_of_them(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match="serial 'é' is not plain ASCII"):
            print_units(BOAT, tmp_path / "out", record, units=("0001", "é"), only=("bag",))
        assert record.units() == ()
        printed = print_units(BOAT, tmp_path / "out", record, units=("0001", "0002"), only=("bag",))
    assert [unit.job.unit for unit in printed] == ["0001", "0002"]


def test_what_the_scanner_types_is_one_marker_of_one_unit(tmp_path: Path) -> None:
    """Two units: each tag's code, as another library reads it, is taken by reprint for that tag of that unit."""
    with open_record(tmp_path / "r.sqlite") as record:
        units = [print_harness(BOAT, tmp_path / "out", record) for _ in range(2)]
        for printed in units:
            file = next(f for f in printed.files if "tag" in f.stem)
            image = pdfium.PdfDocument(str(file))[0].render(scale=600 / 72, grayscale=True).to_numpy()
            found = zxingcpp.read_barcodes(np.ascontiguousarray(image.squeeze()))
            assert len(found) == 8  # seven bags, and the pins of K3 on a tag of their own
            for code in found:
                (item,) = record.find(code.text)
                assert (item.job, item.row.role) == (printed.job.id, "bag")
            again = reprint(record, record.find(found[0].text), tmp_path / "again", reason="torn")
            assert again.job.unit == printed.job.unit


DPI = 600


def ink_height(page: pdfium.PdfPage, placed: Placed, sheet: Sheet, run: int, sign: int) -> float:
    """Height in dots of one letter of a run: the rows of its column that hold ink."""
    face = placed.piece.face
    line = face.runs[run]
    font = load_font(line.font)
    left = placed.x_mm + line.x_mm + font.width(line.text[:sign]) * line.size_mm
    right = left + font.advances[line.text[sign]] * line.size_mm
    top = placed.y_mm + line.y_mm + font.capital * 1.2 * line.size_mm * line.stretch
    bottom = placed.y_mm + line.y_mm - font.capital * 0.2 * line.size_mm * line.stretch
    image = page.render(scale=DPI / 72, grayscale=True).to_numpy().squeeze()
    k = DPI / 25.4
    part = image[int((sheet.height_mm - top) * k) : int((sheet.height_mm - bottom) * k), int(left * k) : int(right * k)]
    darkest = part.min(axis=1).astype(float)
    return float(((255 - darkest) / 255).sum())  # grey edge rows count by their share


def test_capitals_measure_what_the_fit_says(printed: Printed) -> None:
    """Rendered at 600 dpi: an H or E is as high as reported to one dot, flat, and after the print scale."""
    fits = {fit.marker.id: fit for fit in printed.fits}
    measured = 0
    for sheet in printed.sheets:
        for p in sheet.placed:
            fit = fits[p.piece.marker]
            if fit.marker.kind == "tag" or fit.capital_height_mm is None:
                continue
            text = fit.lines[0]
            sign = next((i for i, c in enumerate(text) if c in "HEP"), None)
            if sign is None or measured > 25:
                continue
            dots = ink_height(page_of(printed, sheet), p, sheet, 0, sign)
            assert dots == pytest.approx(fit.capital_height_mm.printed * DPI / 25.4, abs=1), text
            if fit.tube:  # the least that single stopped tubes make of these dots
                around = fit.surface.text_direction == "around"
                shrunk = dots * min(out.along if around else out.face for out in outcomes(fit))
                assert shrunk == pytest.approx(fit.capital_height_mm.low * DPI / 25.4, abs=1), text
            measured += 1
    assert measured > 20


def test_what_the_bench_sheet_shows(printed: Printed) -> None:
    document = pdfium.PdfDocument(str(printed.files[0]))
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    for fit in printed.fits:
        if fit.tube is not None:
            assert f"{fit.marker.branch} at {fit.marker.place}" in text
    for word in ("fuser", "battery", "fumes", "insulation", "electrical code"):
        assert word in text.casefold().replace("\r\n", " "), word


# ---------------------------------------------------------------- reprint


def operations(sheets: tuple[Sheet, ...]) -> dict[str, str]:
    return {p.piece.marker: face_operations(p.piece.face) for sheet in sheets for p in sheet.placed}


def pixels(file: Path, sheet: Sheet, placed: Placed) -> np.ndarray:
    page = pdfium.PdfDocument(str(file))[0]
    image: np.ndarray = page.render(scale=DPI / 72, grayscale=True).to_numpy().squeeze()
    k, face = DPI / 25.4, placed.piece.face
    left, top = round(placed.x_mm * k), round((sheet.height_mm - placed.y_mm - face.height_mm) * k)
    return image[top + 3 : top + int(face.height_mm * k) - 3, left + 3 : left + int(face.width_mm * k) - 3]


@pytest.mark.parametrize("query", ["0001 J4", "0001 J1:3", "0001 K4"])
def test_a_reprint_is_the_same_to_the_last_glyph(record: Record, printed: Printed, tmp_path: Path, query: str) -> None:
    items = record.find(query)
    assert len(items) == 1
    again = reprint(record, items, tmp_path, reason="lost")
    marker = items[0].row.id
    assert operations(again.sheets)[marker] == operations(printed.sheets)[marker]
    assert len(again.files) == 2  # the sheet and its work list
    drawn = text_in(pdfium.PdfDocument(str(again.files[1]))[0], again.sheets[0].placed[0])
    first_sheet, first = next((s, p) for s in printed.sheets for p in s.placed if p.piece.marker == marker)
    assert drawn == text_in(page_of(printed, first_sheet), first)


def test_a_reprint_onto_the_same_cell_gives_the_same_pixels(record: Record, printed: Printed, tmp_path: Path) -> None:
    item = record.find("0001 K4")[0]
    sheet, first = next((s, p) for s in printed.sheets for p in s.placed if p.piece.marker == item.row.id)
    again = reprint(record, [item], tmp_path, reason="smeared", start={"tag-a4-95x54": item.cell})
    assert again.sheets[0].placed[0].cell == first.cell
    before = pixels(next(f for f in printed.files if f.stem.endswith(sheet.stock.name)), sheet, first)
    after = pixels(again.files[1], again.sheets[0], again.sheets[0].placed[0])
    assert np.array_equal(before, after)


def test_a_spoiled_sheet_comes_again_cell_by_cell(record: Record, printed: Printed, tmp_path: Path) -> None:
    spoiled = printed.sheets[-2]
    items = record.find("", sheet=(printed.job.id, spoiled.number))
    again = reprint(record, items, tmp_path, reason="jammed", same_places=True)
    assert [(p.piece.face, p.piece.marker, p.cell, p.x_mm, p.y_mm) for p in again.sheets[0].placed] == [
        (p.piece.face, p.piece.marker, p.cell, p.x_mm, p.y_mm) for p in spoiled.placed
    ]


def test_a_reprint_needs_no_harness_file(tmp_path: Path) -> None:
    """The file is changed, then deleted: the marker comes out as it was printed."""
    source = tmp_path / "boat.toml"
    source.write_text(Path(BOAT).read_text("utf-8"), "utf-8")
    with open_record(tmp_path / "r.sqlite") as record:
        first = print_harness(str(source), tmp_path / "out", record)
        source.write_text(source.read_text("utf-8").replace("WATER PROBE J4", "OIL PROBE J4"), "utf-8")
        changed = reprint(record, record.find("0001 J4"), tmp_path / "a", reason="lost")
        source.unlink()
        gone = reprint(record, record.find("0001 J4"), tmp_path / "b", reason="lost again")
    marker = changed.sheets[0].placed[0].piece.marker
    assert operations(first.sheets)[marker] == operations(changed.sheets)[marker] == operations(gone.sheets)[marker]
    assert changed.sheets[0].placed[0].piece.face.runs[0].text == "WATER PROBE J4"


def test_units_share_what_is_the_same_and_tags_name_their_unit(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        first = print_harness(BOAT, tmp_path, record)
        second = print_harness(BOAT, tmp_path, record)
    assert (first.job.unit, second.job.unit) == ("0001", "0002")
    tags = [p.piece.face for p in second.sheets[-1].placed]
    assert all(any("unit 0002" in run.text for run in face.runs) for face in tags)


def words_of(file: Path) -> str:
    pages = pdfium.PdfDocument(str(file))
    return " ".join(" ".join(page.get_textpage().get_text_range() for page in pages).split())


def test_every_sheet_says_what_it_is_of(record: Record, printed: Printed, tmp_path: Path) -> None:
    for file in printed.files[1:]:
        for page in pdfium.PdfDocument(str(file)):
            head = " ".join(page.get_textpage().get_text_range().split())
            assert (
                f"River survey boat, sensors · RSB-210 rev C · unit 0001 · job {printed.job.id} · 2026-03-01 · " in head
            )
    bench = words_of(printed.files[0])
    assert f"rev C · unit 0001 · job {printed.job.id} · 2026-03-01 page 1 of" in bench
    again = reprint(record, record.find("0001 J4"), tmp_path, reason="lost on deck", date="2026-04-02")
    said = f"reprint of job {printed.job.id}: lost on deck"
    for file in again.files:
        assert f"unit 0001 · job {again.job.id} · 2026-04-02" in words_of(file)
        assert said in words_of(file)


def test_a_reprint_with_its_number(tmp_path: Path) -> None:
    """The recorded text as it was, and R1, then R2, beside it; what is printed later without one matches the first."""
    with open_record(tmp_path / "r.sqlite") as record:
        first = print_harness(BOAT, tmp_path, record)
        for number in (1, 2):
            (item,) = record.find("0001 J4")
            again = reprint(record, [item], tmp_path, reason="lost", with_numbers=True)
            (placed,) = again.sheets[0].placed
            before, added = placed.piece.face.runs[:-1], placed.piece.face.runs[-1]
            assert item.face is not None
            assert before == item.face.runs
            assert added.text == f"R{number}"
            font = load_font(added.font)
            assert added.x_mm + font.width(added.text) * added.size_mm <= placed.piece.face.width_mm - 0.5 + 1e-6
            assert max(r.x_mm + load_font(r.font).width(r.text) * r.size_mm for r in before) < added.x_mm
            assert f"R{number}" in text_in(pdfium.PdfDocument(str(again.files[1]))[0], placed)[0]
        plain = reprint(record, record.find("0001 J4"), tmp_path, reason="lost")
        marker = plain.sheets[0].placed[0].piece.marker
        assert operations(plain.sheets)[marker] == operations(first.sheets)[marker]
        spoiled = record.find("", sheet=(3, 1))
        assert spoiled[0].face is not None
        assert spoiled[0].face.runs[-1].text == "R2"


def test_a_number_that_has_no_room_is_refused(tmp_path: Path) -> None:
    from labeler.job.reprinting import numbered

    font = load_font("Atkinson Hyperlegible")
    whole = 20.0 / font.width("DEPTH J4")  # the size at which the text is as long as the piece
    piece = Piece("X", Face(20.0, 8.0, (Run("DEPTH J4", font.name, whole, 0.0, 2.0),)), "card", "", "J4")
    with pytest.raises(LabelerError, match=r"no room for R1: 0\.0 and 0\.0 mm are free"):
        numbered(piece, 1)


BARS, QR_ROWS = ("1" * 20,), ("1" * 21,) * 21


@pytest.mark.parametrize(
    ("kind", "rows", "y", "module_y", "copies", "at_the_right"),
    [
        ("Code 128", BARS, 11.0, 4.0, 1, False),  # bars from 33.5 to 38.5 mm, their quiet zone 2.5 mm to either side
        (
            "Code 128",
            BARS,
            14.0,
            4.0,
            1,
            True,
        ),  # the number, 1.27 mm high from 12, is below the bars
        ("QR", QR_ROWS, 14.0, 0.25, 1, False),  # a quiet zone of 4 x 0.25 mm below it reaches down to 13
        ("Code 128", BARS, 3.0, 4.0, 1, True),  # beside the second copy of the text only
        ("Code 128", BARS, 3.0, 4.0, 2, False),  # which the number has too where the text has it
    ],
)
def test_a_number_stays_clear_of_a_code(
    kind: str, rows: tuple[str, ...], y: float, module_y: float, copies: int, at_the_right: bool
) -> None:
    from labeler.job.reprinting import numbered

    run = Run("J4", "Atkinson Hyperlegible", 2.0, 15.0, 12.0)
    code = Symbol(kind, "J4", rows, 33.5, y, 0.25, module_y)
    face = Face(40.0, 20.0, (run,), copies, 8.0, symbol=code)
    added = numbered(Piece("X", face, "card", "", "J4"), 1).face.runs[-1]
    assert added.x_mm > 35 if at_the_right else added.x_mm == 1.0
    both = replace(code, repeats=2, step_x_mm=-32.5)  # the second from 1.0 to 6.0 mm
    if not at_the_right:
        with pytest.raises(LabelerError, match="no room for R1"):
            numbered(Piece("X", replace(face, symbol=both), "card", "", "J4"), 1)


def test_the_work_list_of_a_reprint(record: Record, printed: Printed, tmp_path: Path) -> None:
    """The sleeve at J4 and nothing else: its tube, length, heating and way on as the first print had them."""
    again = reprint(record, record.find("0001 J4"), tmp_path, reason="lost")
    fit = next(fit for fit in printed.fits if fit.marker.place == "J4" and fit.marker.role == "branch end")
    assert fit.tube is not None
    assert fit.seat is not None
    listed = words_of(again.files[0])
    assert again.files[0].stem.endswith("work-list")
    for word in (
        "REPRINT SHEET",
        "B4 at J4",
        fit.tube.name,
        f"{fit.cut_length_mm:g} mm",
        "unmarked first",
        installation(fit.seat.installation),
    ):
        assert word in listed, word
    assert "Heat the unmarked side" in listed
    assert "1 × 50 mm" in listed
    assert "B6" not in listed
    # examples/survey-boat.toml: J4's sleeve begins 25 mm from it and straddles the edge of the covering
    assert "edge 25 mm from J4" in listed
    assert "mm on bare wire; the rest overlaps the covering" in listed
    tag = reprint(record, record.find("0001 K4"), tmp_path, reason="torn")
    assert "CUT" not in words_of(tag.files[0]).split()


def test_the_work_list_of_a_branch_has_its_plain_sleeves_and_the_texts_of_its_wraps(
    record: Record, printed: Printed, tmp_path: Path
) -> None:
    """Branch B4 of the example: lettered at J4, plain at P1; a wrap at both ends of each of its wires."""
    again = reprint(record, record.find("", unit="0001", branch="B4"), tmp_path, reason="burnt")
    listed = words_of(again.files[0])
    fits = {
        fit.marker.place: fit for fit in printed.fits if fit.marker.branch == "B4" and fit.marker.role == "branch end"
    }
    plain = fits["P1"]
    assert not plain.marker.marked
    assert plain.tube is not None
    assert plain.seat is not None
    for word in (
        "blank: B4 at P1",
        plain.tube.name,
        f"1 × {plain.cut_length_mm:g} mm",
        installation(plain.seat.installation),
    ):
        assert word in listed, word
    wraps = [placed.piece for sheet in again.sheets for placed in sheet.placed if sheet.stock.marker == "wrap"]
    assert wraps
    assert "APPLY" in listed
    for piece in wraps:
        assert piece.face.runs[0].text in listed


def test_a_plain_sleeve_alone_is_said_not_printed(record: Record, printed: Printed, tmp_path: Path) -> None:
    fit = next(fit for fit in printed.fits if fit.marker.branch == "B4" and fit.marker.place == "P1")
    assert fit.tube is not None
    jobs = len(record.jobs())
    with pytest.raises(LabelerError) as caught:
        reprint(record, record.find("0001 B4 P1"), tmp_path, reason="lost")
    (problem,) = caught.value.problems
    assert "plain" in problem.message
    assert f"cut 1 × {fit.cut_length_mm:g} mm of {fit.tube.name}" in problem.fix
    assert len(record.jobs()) == jobs


def test_a_short_bench_sheet_has_no_pages_of_branches(tmp_path: Path) -> None:
    """The example has seven branches; all of them are on the full sheet, and the lists on both."""
    with open_record(tmp_path / "r.sqlite") as record:
        full, short = (print_harness(BOAT, tmp_path / how, record, bench=how) for how in ("full", "short"))
    assert words_of(full.files[0]).count("LAYOUT") == 7
    said = words_of(short.files[0])
    assert "LAYOUT" not in said
    assert "WORK STEPS" not in said
    assert "SLIDE ON FIRST" in said


# ---------------------------------------------------------------- refusing, leaving out, failing


MISFITS = str(EXAMPLES / "misfits.toml")


def test_nothing_is_printed_or_recorded_while_a_marker_does_not_fit(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError) as caught:
            print_harness(MISFITS, tmp_path / "out", record)
        assert len(caught.value.problems) == len(check(MISFITS).misfits)
        assert all("does not fit" in problem.message for problem in caught.value.problems)
        assert not record.jobs()
        assert not record.units()
    assert not (tmp_path / "out").exists()


def test_leave_out_prints_the_rest_and_lists_what_is_missing(tmp_path: Path) -> None:
    misfits = {fit.marker.id for fit in check(MISFITS).misfits}
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(MISFITS, tmp_path / "out", record, leave_out=True)
        assert {fit.marker.id for fit in printed.omitted} == misfits
        states = {item.row.id: item.state for item in record.markers(printed.job.unit)}
    assert {name for name, state in states.items() if state == "omitted"} == misfits
    text = "\n".join(page.get_textpage().get_text_range() for page in pdfium.PdfDocument(str(printed.files[0])))
    for fit in printed.omitted:
        assert fit.marker.place in text


def test_no_file_is_replaced_without_force(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        first = print_harness(BOAT, tmp_path / "out", record)
        before = {file: file.read_bytes() for file in first.files}
        other = open_record(tmp_path / "s.sqlite")
        with other, pytest.raises(LabelerError, match="exists already") as caught:
            print_harness(BOAT, tmp_path / "out", other)
        with open_record(tmp_path / "s.sqlite") as other:
            assert not other.units()  # no serial is used up
        assert len(caught.value.problems) == len(before)
        assert {file: file.read_bytes() for file in first.files} == before


def test_a_failure_while_drawing_leaves_no_file_and_withdraws_the_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = 0
    real = os.fsync

    def full_disk(descriptor: int) -> None:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise OSError(28, "No space left on device")
        real(descriptor)

    monkeypatch.setattr("os.fsync", full_disk)
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match="No space left on device"):
            print_harness(BOAT, tmp_path / "out", record)
        assert [job.state for job in record.jobs()] == ["cancelled"]
    assert not list((tmp_path / "out").iterdir())


def test_a_confirmation_that_fails_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_words: object) -> None:
        raise LabelerError(Problem(SourceLocation("record"), "the connection is lost"))

    monkeypatch.setattr("labeler.record.store.Record.confirm", lost)
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match="the connection is lost"):
            print_harness(BOAT, tmp_path / "out", record)
        assert [job.state for job in record.jobs()] == ["cancelled"]
    assert not list((tmp_path / "out").iterdir())


def broken_off(folder: Path, record: Record, monkeypatch: pytest.MonkeyPatch, query: str = "") -> None:
    """Print, or reprint what a query means, and die between naming the files and confirming the job.

    What a killed process leaves is what stands there before anything is cleaned up.
    """
    with monkeypatch.context() as patch:
        patch.setattr("labeler.record.store.Record.confirm", lambda *_words: die())
        patch.setattr("labeler.record.store.Record.cancel_pending_jobs", lambda *_words: None)
        patch.setattr("labeler.files.Path.unlink", lambda *_words, **_more: None)
        printer = Printer("p", scale_x=1.01)
        if query:
            job = partial(reprint, record, record.find(query), folder, reason="lost", date="2026-03-02")
        else:
            job = partial(print_harness, BOAT, folder, record, date="2026-03-01", printer=printer)
        with pytest.raises(KeyboardInterrupt):
            job()


def die() -> None:
    raise KeyboardInterrupt


def test_a_print_that_was_broken_off_is_resumed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sheets are drawn again byte by byte: those that are there stay, one that is missing comes back."""
    with open_record(tmp_path / "r.sqlite") as record:
        broken_off(tmp_path / "out", record, monkeypatch)
        assert [job.state for job in record.jobs()] == ["pending"]
        before = {file.name: file.read_bytes() for file in (tmp_path / "out").glob("*.pdf")}
        assert len(before) == 5
        with pytest.raises(LabelerError, match="labeler record finish 1"):
            print_harness(BOAT, tmp_path / "out2", record, unit="0001")
        bench, tags = (next((tmp_path / "out").glob(f"*{word}*.pdf")) for word in ("bench", "tag"))
        bench.unlink()  # it is drawn from the record, so it is another one
        tags.unlink()
        cards = next((tmp_path / "out").glob("*card*.pdf"))
        assert cards.read_bytes() == before[cards.name]
        again = resume(record, 1, tmp_path / "out")
        assert (again.job.state, len(again.files)) == ("printed", 5)
        assert {file.name for file in again.files} == set(before)
        for file in again.files[1:]:
            assert file.read_bytes() == before[file.name], file.name
        assert "SLIDE ON FIRST" in words_of(again.files[0])
        with pytest.raises(LabelerError, match="it is printed"):
            resume(record, 1, tmp_path / "out")
        with pytest.raises(LabelerError, match="they may be in use"):
            record.cancel_pending_jobs(1, "no")


def test_resume_keeps_the_bench_sheet_that_is_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first one has pins, which the record does not keep; it is known by its digest."""
    with open_record(tmp_path / "r.sqlite") as record:
        broken_off(tmp_path / "out", record, monkeypatch)
        before = {file: file.read_bytes() for file in (tmp_path / "out").glob("*.pdf")}
        resume(record, 1)  # to the folder that they were on their way to
        assert {file: file.read_bytes() for file in (tmp_path / "out").glob("*.pdf")} == before


def test_a_reprint_that_was_broken_off_is_resumed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        print_harness(BOAT, tmp_path / "out", record)
        broken_off(tmp_path / "out", record, monkeypatch, "0001 J4")
        files = sorted((tmp_path / "out").glob("*reprint-2*.pdf"))
        before = [file.read_bytes() for file in files]
        assert len(before) == 2
        again = resume(record, 2, tmp_path / "out")
        assert again.job.state == "printed"
        assert [file.read_bytes() for file in files] == before
        (item,) = record.find("0001 J4")
        assert (item.state, item.print_count) == ("printed", 2)


def test_what_was_never_confirmed_is_not_reprinted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        broken_off(tmp_path / "out", record, monkeypatch)
        with pytest.raises(LabelerError, match="job 1, which was to print it, is pending"):
            reprint(record, record.find("0001 J4"), tmp_path / "again", reason="lost")
        assert len(record.jobs()) == 1


def test_resume_says_why_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        broken_off(tmp_path / "out", record, monkeypatch)
        other = next((tmp_path / "out").glob("*tag*.pdf"))
        other.write_bytes(b"something else")
        with pytest.raises(LabelerError, match="exists already"):
            resume(record, 1, tmp_path / "out")
        assert [job.state for job in record.jobs()] == ["pending"]
        with pytest.raises(LabelerError, match="not in the record"):
            resume(record, 7, tmp_path / "out")
        record.cancel_pending_jobs(1, "power cut")
        with pytest.raises(LabelerError, match="it is cancelled"):
            resume(record, 1, tmp_path / "out")
        assert print_harness(BOAT, tmp_path / "out2", record, unit="0001").job.unit == "0001"


def test_a_job_that_another_bench_resumes_meanwhile_stays_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first bench finds its files there, and takes neither them nor the job back."""
    real = Record.add_digests

    def resumed(record: Record, job_id: int, digests: dict[str, str], *_more: object) -> None:
        real(record, job_id, digests)
        monkeypatch.setattr("labeler.record.store.Record.add_digests", real)
        resume(record, job_id, tmp_path / "out")

    monkeypatch.setattr("labeler.record.store.Record.add_digests", resumed)
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match="exists already"):
            print_harness(BOAT, tmp_path / "out", record)
        (job,) = record.jobs()
        assert job.state == "printed"
        assert {str(file) for file in (tmp_path / "out").iterdir()} == set(job.files)


def test_an_interrupt_waits_until_files_and_record_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C while files are named and the job is confirmed comes after both."""
    real = Record.confirm

    def interrupted(record: Record, *words: object) -> object:
        signal.raise_signal(signal.SIGINT)
        return real(record, *words)  # type: ignore[arg-type]

    monkeypatch.setattr("labeler.record.store.Record.confirm", interrupted)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # it is ignored where tests run in the background
    with open_record(tmp_path / "r.sqlite") as record:
        try:
            with pytest.raises(KeyboardInterrupt):
                print_harness(BOAT, tmp_path / "out", record)
        finally:
            signal.signal(signal.SIGINT, before)
        (job,) = record.jobs()
        files = {str(file) for file in (tmp_path / "out").iterdir()}
        assert (job.state, files) in (("printed", set(job.files)), ("cancelled", set()))


def test_an_output_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with open_record(tmp_path / "r.sqlite") as record, pytest.raises(LabelerError, match="is a file"):
        print_harness(BOAT, tmp_path / "out", record)
    assert (tmp_path / "out").read_text() == "mine"


def test_a_list_of_circuits_alone_prints(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(str(EXAMPLES / "survey-boat.csv"), tmp_path, record)
    roles = Counter(fit.marker.role for fit in printed.fits)
    assert roles == {"branch end": 8, "wire end": 54, "bag": 8}


def test_a_wrap_that_does_not_fit_asks_for_no_size_that_only_a_sleeve_needs(tmp_path: Path) -> None:
    """Contacts of unknown size are crimped at both ends: a sleeve cannot be proposed, the wrap's answer stands."""
    file = tmp_path / "boat.toml"
    file.write_text(
        '[harness]\nname = "Boat"\n'
        '[defaults]\nwire_type = "SAE J1128 TXL"\nmarker.wire_text = "circuit"\nmarker.branch = "wrap"\n'
        f'[[circuit]]\nid = "{"W" * 60}"\nfrom = "P1:1"\nto = "J4:1"\nsize = "20 AWG"\n'
        '[[branch]]\nid = "B4"\n[[branch.end]]\nat = "J4"\ncontacts_crimped = true\n'
        '[[branch.end]]\nat = "P1"\ncontacts_crimped = true\n',
        "utf-8",
    )
    wires = [fit for fit in check(str(file)).fits if fit.marker.role == "wire end"]
    assert [fit.result for fit in wires] == ["fail"] * 2
    assert not any("use a sleeve" in way for fit in wires for way in sentences(fit.fixes))


def test_print_of_another_colour_is_told_on_the_sheet(tmp_path: Path) -> None:
    """White on black tube: who loads the tube loads the ribbon too."""
    colours = {"sleeve.colour": "BK", "print.colour": "WH"}
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(BOAT, tmp_path, record, settings=colours, only=("branch end",))
    assert {sheet.load.partition(", ")[2] for sheet in printed.sheets} == {"BK, printed in WH"}
    card = next(file for file in printed.files if "card" in file.stem)
    assert "printed in WH" in pdfium.PdfDocument(str(card))[0].get_textpage().get_text_range()


def test_the_sleeves_of_a_place_are_cut_alike_for_all_units(tmp_path: Path) -> None:
    """Digits are not all as wide; lengths are those of the widest serial of four digits, and every text fits."""
    file = tmp_path / "boat.toml"
    file.write_text(
        '[harness]\nname = "Survey boat"\n[defaults]\nwire_type = "TXL"\nsleeve.cut_step_mm = 1.0\n'
        "sleeve.cut_lengths_mm = []\n"
        '[[circuit]]\nid = "W1"\nfrom = "J1:1"\nto = "P1:1"\nsize = "18 AWG"\n'
        '[[circuit]]\nid = "W2"\nfrom = "J1:2"\nto = "P1:2"\nsize = "18 AWG"\n'
        '[[branch]]\nid = "B1"\ncircuits = ["W1", "W2"]\n[[branch.end]]\nat = "J1"\ntext = "WINCH {serial}"\n',
        "utf-8",
    )
    cuts, widths = set(), set()
    for unit in ("1111", "4040", "0888", "9016"):
        (fit,) = check(str(file), unit=unit, only=("branch end",)).fits
        assert fit.result != FAIL
        assert fit.lines == (f"WINCH {unit}",)
        cuts.add(fit.cut_length_mm)
        widths.add(round(load_font(fit.font).width(fit.lines[0]), 6))
    assert len(widths) > 1
    assert len(cuts) == 1
