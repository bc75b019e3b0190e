"""Workbooks of our own, written by the library and read back; a workbook that lies is refused by its cells."""

from __future__ import annotations

import contextlib
import datetime
import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.errors import LabelerError, WrongUse
from labeler.model import Harness, Pin
from labeler.readers.import_report import Wanted
from tests.make import read_file, read_harness

HEADER = ["Leitung", "Option", "Kabel", "Farbe", "Querschnitt", "Stecker-A", "Pin-A", "Stecker-B", "Pin-B", "Laenge"]
ROWS = [
    ["L1", None, "K1", "blau", 0.35, "P1", 12, "J4", 2, 850],
    ["L2", None, "K1", "gelb", 0.35, "P1", 13, "J4", "3A", 850.5],
]


def book(fill: Callable[[Any], None] | None = None, more: tuple[str, ...] = ()) -> bytes:
    """Return a workbook whose table starts in row 3, changed by ``fill``, with more sheets."""
    made = openpyxl.Workbook()
    sheet = made.worksheets[0]
    sheet.title = "Wires"
    sheet.append(["Survey boat wiring"])
    sheet.append([])
    rows: list[list[Any]] = [HEADER, *ROWS]
    for row in rows:
        sheet.append(row)
    for name in more:
        made.create_sheet(name).append(["other", "words"])
    if fill:
        fill(sheet)
    target = io.BytesIO()
    made.save(target)
    return target.getvalue()


def read(tmp_path: Path, data: bytes, **wanted: Any) -> Harness:
    path = tmp_path / "boat.xlsx"
    path.write_bytes(data)
    return read_harness(path, None, Wanted(**wanted))


def test_a_table_that_starts_in_row_3(tmp_path: Path) -> None:
    harness = read(tmp_path, book())
    first, second = harness.circuits
    assert (first.id, first.start, first.finish, first.size) == ("L1", Pin("P1", "12"), Pin("J4", "2"), "0.35 mm2")
    assert (second.finish, second.length_mm, second.colour, second.cable) == (Pin("J4", "3A"), 850.5, "gelb", "K1")
    assert str(second.where) == "boat.xlsx/Wires:5"  # title, blank, header, L1, L2
    assert harness.name == "boat"


def test_what_was_understood(tmp_path: Path) -> None:
    path = tmp_path / "boat.xlsx"
    path.write_bytes(book())
    account = read_file(path).account
    assert account.form == "workbook, sheet 'Wires', wire list, header in line 3"
    assert ("column 'Querschnitt'", "size") in account.mapped
    assert account.counts["circuits"] == 2
    assert account.not_imported == ("lines above the header row: 1",)


def test_of_several_sheets_one_is_asked_for(tmp_path: Path) -> None:
    data = book(more=("Parts", "Notes"))
    with pytest.raises(LabelerError, match=r"3 sheets: 'Wires' .*--worksheet 'Wires'"):
        read(tmp_path, data)
    assert len(read(tmp_path, data, worksheet="wires").circuits) == 2
    with pytest.raises(WrongUse, match="did you mean 'Wires'"):
        read(tmp_path, data, worksheet="Wire")


def test_an_empty_or_hidden_sheet_is_no_choice(tmp_path: Path) -> None:
    def fill(sheet: Any) -> None:
        sheet.parent.create_sheet("Empty")
        hidden = sheet.parent.create_sheet("Old")
        hidden.append(["x"])
        hidden.sheet_state = "hidden"

    harness = read(tmp_path, book(fill))
    assert any("hidden sheets are not read: Old" in note.message for note in harness.notes)


@pytest.mark.parametrize(
    ("cell", "value", "said"),
    [
        ("G4", datetime.date(2026, 2, 1), "cell G4 holds a date"),
        ("J4", "=2*425", "cell J4 holds a formula without a result"),  # the library writes no results
        ("J4", "#REF!", "cell J4 holds the error #REF!"),
    ],
)
def test_cells_that_do_not_say_what_was_meant(tmp_path: Path, cell: str, value: Any, said: str) -> None:
    def fill(sheet: Any) -> None:
        sheet[cell] = value

    with pytest.raises(LabelerError, match=said):
        read(tmp_path, book(fill))


def test_merged_cells_say_so(tmp_path: Path) -> None:
    harness = read(tmp_path, book(lambda sheet: sheet.merge_cells("C4:C5")))
    assert [circuit.cable for circuit in harness.circuits] == ["K1", "K1"]
    assert any("merged in C4:C5" in note.message for note in harness.notes)


def test_an_archive_that_unpacks_to_too_much(tmp_path: Path) -> None:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<x/>")
        archive.writestr("xl/worksheets/sheet1.xml", b" " * (60 * 2**20))
    with pytest.raises(LabelerError, match="unpacks to 60 MB"):
        read(tmp_path, target.getvalue())


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("CW1048576", "reaches to row 1,048,576, column 101: more than 1,000,000 cells"),  # CW: 3 x 26 + 23
        ("XFD4", "16384 columns, the limit is 300"),
    ],
)
def test_a_stray_cell_far_from_the_list(tmp_path: Path, cell: str, said: str) -> None:
    data = book(lambda sheet: sheet.__setitem__(cell, "far"))
    with pytest.raises(LabelerError, match=said):
        read(tmp_path, data)


def test_a_merged_area_over_the_whole_sheet(tmp_path: Path) -> None:
    """16,384 columns x 1,048,576 rows, less the 8 rows above: 17,179,738,112 cells that opening would make."""
    data, target = book(lambda sheet: sheet.merge_cells("A9:B9")), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b"A9:B9", b"A9:XFD1048576"))
    with pytest.raises(LabelerError, match="merged areas of 17,179,738,112 cells"):
        read(tmp_path, target.getvalue())


def test_a_part_with_entities(tmp_path: Path) -> None:
    bomb = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bb"><!ENTITY c "&b;&b;">]><a>&c;</a>'
    source, target = zipfile.ZipFile(io.BytesIO(book())), io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name in source.namelist():
            archive.writestr(name, bomb if name == "xl/styles.xml" else source.read(name))
    with pytest.raises(LabelerError, match="declares a document type"):
        read(tmp_path, target.getvalue())


PLAIN = book()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(PLAIN) - 1), st.binary(min_size=1, max_size=6), st.booleans())
def test_a_damaged_workbook_is_read_or_refused(tmp_path_factory: Any, at: int, piece: bytes, cut: bool) -> None:
    data = PLAIN[:at] + piece + (b"" if cut else PLAIN[at + len(piece) :])
    with contextlib.suppress(LabelerError):  # and nothing else
        read(tmp_path_factory.mktemp("book"), data)


def hide(sheet: Any) -> None:
    sheet.row_dimensions[5].hidden = True
    sheet.column_dimensions["D"].hidden = True


def hide_groups(sheet: Any) -> None:
    sheet.column_dimensions.group("C", "E", hidden=True)  # kept under C alone
    sheet.column_dimensions.group("M", "ZZ", hidden=True)  # nothing in them


def strike(sheet: Any) -> None:
    from openpyxl.styles import Font

    for cell in sheet[5]:
        cell.font = Font(strike=True)
    sheet["A4"].font = Font(strike=True)  # one word of a row alone is a correction


@pytest.mark.parametrize(
    ("fill", "told"),
    [
        (hide, ["hidden rows are read like the others: 5", "hidden columns are read like the others: D"]),
        (hide_groups, ["hidden columns are read like the others: C, D, E"]),
        (strike, ["rows struck through are read like the others: 5"]),
    ],
)
def test_what_a_workbook_hides_or_strikes_through_is_told(
    tmp_path: Path, fill: Callable[[Any], None], told: list[str]
) -> None:
    """Rows 4 and 5 hold the wires; they are read, since nobody knows why they are hidden."""
    harness = read(tmp_path, book(fill))
    assert [circuit.id for circuit in harness.circuits] == ["L1", "L2"]
    messages = [note.message for note in harness.notes]
    assert [each for each in messages if "read like the others" in each] == told


def test_numbers_are_read_as_their_cells_show_them(tmp_path: Path) -> None:
    def fill(sheet: Any) -> None:
        for row in (4, 5):  # the header is row 3
            sheet.cell(row, 1).value = row
            sheet.cell(row, 1).number_format = '"L"000'
            sheet.cell(row, 10).value = 85
            sheet.cell(row, 10).number_format = '0" cm"'

    harness = read(tmp_path, book(fill))
    assert [circuit.id for circuit in harness.circuits] == ["L004", "L005"]
    assert [circuit.length_mm for circuit in harness.circuits] == [850, 850]  # 85 cm


def test_digits_parted_by_a_format_are_refused_at_their_cell(tmp_path: Path) -> None:
    def fill(sheet: Any) -> None:
        sheet["G4"].number_format = "00-00"

    with pytest.raises(LabelerError, match="cell G4 shows its number 12 by the format 00-00"):
        read(tmp_path, book(fill))


def test_what_the_library_prints_of_a_damaged_workbook_stays_out_of_the_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = openpyxl.load_workbook

    def talking(*given: Any, **how: Any) -> Any:
        print("0 is out of range")
        return real(*given, **how)

    monkeypatch.setattr(openpyxl, "load_workbook", talking)
    assert len(read(tmp_path, book()).circuits) == 2
    assert capsys.readouterr().out == ""
