"""The main job on the example: what is planned is on the paper once, whole, in its place; and again from the record."""

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
import zxingcpp

from labeler.draw.pdf import POINTS_PER_MM, face_operations
from labeler.errors import LabelerError
from labeler.model import Placed, Sheet
from labeler.pipeline import Checked, Printed, check, print_harness, reprint
from labeler.record import open_record
from labeler.record.store import Record
from labeler.text import load_font

EXAMPLES = Path(__file__).parent.parent / "examples"
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
    """By the file: 11 branch ends, 27 circuits with two ends, 7 bags."""
    assert Counter(fit.marker.role for fit in checked.fits) == {"branch end": 11, "wire end": 54, "bag": 7}
    assert not checked.misfits
    assert not checked.notes


def test_every_planned_marker_is_on_the_paper_once_in_its_own_cell(checked: Checked, printed: Printed) -> None:
    placed = {p.piece.marker: (sheet, p) for sheet in printed.sheets for p in sheet.placed}
    wanted = {fit.marker.id: fit for fit in checked.fits if fit.marker.lettered}
    assert placed.keys() == wanted.keys()
    assert sum(len(sheet.placed) for sheet in printed.sheets) == len(placed)
    for name, (sheet, p) in placed.items():
        face = p.piece.face
        expected = [run.text for _ in range(face.copies) for run in face.runs]
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
                assert bottom - (face.copies - 1) * face.copy_pitch_mm >= 0


def test_the_two_ends_of_a_circuit_are_neighbours(printed: Printed) -> None:
    fits = {fit.marker.id: fit.marker for fit in printed.fits}
    for sheet in printed.sheets:
        circuits = [fits[p.piece.marker].circuit for p in sheet.placed if fits[p.piece.marker].circuit]
        assert circuits[::2] == circuits[1::2]


def test_codes_read_back_with_another_library(printed: Printed) -> None:
    """The codes are made with qrcode and read with zxing-cpp."""
    expected = {
        p.piece.face.symbol.payload for sheet in printed.sheets for p in sheet.placed if p.piece.face.symbol is not None
    }
    assert len(expected) == 7
    read = set()
    for sheet in printed.sheets:
        if sheet.stock.takes == "tag":
            image = page_of(printed, sheet).render(scale=600 / 72, grayscale=True).to_numpy()
            found = zxingcpp.read_barcodes(np.ascontiguousarray(image.squeeze()), formats=zxingcpp.BarcodeFormat.QRCode)  # type: ignore[arg-type]
            read |= {code.text for code in found}
    assert read == expected
    assert expected == {f"{printed.job.unit} {fit.marker.id}" for fit in printed.fits if fit.marker.role == "bag"}


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
            if fit.marker.kind == "tag" or fit.capital is None:
                continue
            text = fit.lines[0]
            sign = next((i for i, c in enumerate(text) if c in "HEP"), None)
            if sign is None or measured > 25:
                continue
            dots = ink_height(page_of(printed, sheet), p, sheet, 0, sign)
            assert dots == pytest.approx(fit.capital.flat * DPI / 25.4, abs=1), text
            if fit.face_scale:
                shrunk = dots * fit.face_scale.low
                assert shrunk == pytest.approx(fit.capital.low * DPI / 25.4, abs=1), text
            measured += 1
    assert measured > 20


def test_what_the_bench_sheet_shows(printed: Printed) -> None:
    document = pdfium.PdfDocument(str(printed.files[0]))
    text = "\n".join(page.get_textpage().get_text_range() for page in document)
    for fit in printed.fits:
        if fit.tube is not None:
            assert f"{fit.marker.branch} at {fit.marker.at}" in text
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
    assert len(again.files) == 1
    drawn = text_in(pdfium.PdfDocument(str(again.files[0]))[0], again.sheets[0].placed[0])
    first_sheet, first = next((s, p) for s in printed.sheets for p in s.placed if p.piece.marker == marker)
    assert drawn == text_in(page_of(printed, first_sheet), first)


def test_a_reprint_onto_the_same_cell_gives_the_same_pixels(record: Record, printed: Printed, tmp_path: Path) -> None:
    item = record.find("0001 K4")[0]
    sheet, first = next((s, p) for s in printed.sheets for p in s.placed if p.piece.marker == item.row.id)
    again = reprint(record, [item], tmp_path, reason="smeared", start=item.cell)
    assert again.sheets[0].placed[0].cell == first.cell
    before = pixels(next(f for f in printed.files if f.stem.endswith(sheet.stock.name)), sheet, first)
    after = pixels(again.files[0], again.sheets[0], again.sheets[0].placed[0])
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
        assert {fit.marker.id for fit in printed.left_out} == misfits
        states = {item.row.id: item.state for item in record.markers(printed.job.unit)}
    assert {name for name, state in states.items() if state == "left out"} == misfits
    text = "\n".join(page.get_textpage().get_text_range() for page in pdfium.PdfDocument(str(printed.files[0])))
    for fit in printed.left_out:
        assert fit.marker.at in text


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
        assert [job.state for job in record.jobs()] == ["withdrawn"]
    assert not list((tmp_path / "out").iterdir())


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
