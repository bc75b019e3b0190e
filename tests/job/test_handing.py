"""Handing over: several units, used cells, files of many pages, and what is left when it is broken off."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main
from labeler.cli.terminal import ended_as_interrupted, shown_progress
from labeler.files import uninterrupted, written
from labeler.job import printing
from labeler.job.deliver import MOST_PAGES, UnitName, parts_of
from labeler.job.order import Output
from labeler.layout.cells import cell_name
from labeler.layout.place import lay_out
from labeler.model import Face, Piece, Sheet
from labeler.record import open_record
from labeler.record.store import Record
from labeler.record.write import add_used_cells
from labeler.tables import catalogue
from labeler.tables.catalogue import load_catalogue
from tests.orders import check, print_harness, print_units, reprint
from tests.places import EXAMPLES, LAYOUTS

BOAT = str(EXAMPLES / "survey-boat.toml")
STOCKS = {stock.name: stock for stock in load_catalogue().stocks}
WRAPS = "wrap-a4-25x18"


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def placed(sheets: tuple[Sheet, ...]) -> list[tuple[int, str, str]]:
    return [(sheet.number, each.cell, each.piece.marker) for sheet in sheets for each in sheet.placed]


# ---------------------------------------------------------------- several units


def test_units_share_sheets_unit_by_unit_or_marker_by_marker(tmp_path: Path) -> None:
    """Every marker once for every unit, no two in one cell, in the order asked for."""
    for grouped in (False, True):
        folder = tmp_path / str(grouped)
        with open_record(folder / "r.sqlite") as record:
            made = print_units(BOAT, folder, record, units=(None, None, "0007"), grouped=grouped)
            assert [printed.job.unit for printed in made] == ["0001", "0002", "0007"]
            assert [unit.state for unit in record.units()] == ["printed"] * 3
            every = {unit: [m.row.id for m in record.markers(unit) if m.face] for unit in ("0001", "0002", "0007")}
        assert len({tuple(sorted(ids)) for ids in every.values()}) == 1
        assert all(max(Counter(ids).values()) == 1 for ids in every.values())
        spots = [(number, cell) for printed in made for number, cell, _ in placed(printed.sheets)]
        assert len(set(spots)) == len(spots)
        # the wraps of one stock in the order in which they lie on its sheets
        on = sorted(
            (sheet.number, -each.y_mm, each.x_mm, printed.job.unit, each.piece.marker)
            for printed in made
            for sheet in printed.sheets
            if sheet.stock.name == WRAPS
            for each in sheet.placed
        )
        by = 4 if grouped else 3
        assert len([key for key, _ in groupby(row[by] for row in on)]) == len({row[by] for row in on})


def read_off(folder: Path, stock: str) -> list[tuple[str, str, str]]:
    """Return cell, circuit and unit of every wrap as they stand on the pages, from left to right and downwards."""
    about, found = STOCKS[stock], []
    for file in sorted(folder.glob(f"*{stock}.pdf")):
        for number, page in enumerate(pdfium.PdfDocument(str(file))):
            text = page.get_textpage()
            cells: dict[tuple[int, int, int], set[tuple[str, str]]] = {}
            for word in re.finditer(r"(W\d+)[.](\d{4})", text.get_text_range()):
                x, y = (points * 25.4 / 72 for points in text.get_charbox(word.start())[:2])
                row = int((about.page_height_mm - about.top_margin_mm - y) // about.pitch_y_mm)
                column = int((x - about.left_margin_mm) // about.pitch_x_mm)
                cells.setdefault((number, row, column), set()).add((word[1], word[2]))
            for (_, row, column), said in sorted(cells.items()):
                assert len(said) == 1  # the copies of a text around its wire
                found.append((cell_name(column, row), *said.pop()))
    return found


@pytest.mark.parametrize("order", ["no", "by-unit", "by-marker"])
def test_the_pages_themselves_hold_every_wrap_of_every_unit_in_the_order_promised(tmp_path: Path, order: str) -> None:
    words = ["--serials", "0001-0003", "--share-sheets", order, "--set", "marker.wire_text={circuit}.{serial}"]
    gone = {"A1", "B1", "C1", "A2", "B2", "C2", "B5", "G14"}
    used = ["--used-cells", f"{WRAPS}=A1-C2,G14", "--used-cells", f"{WRAPS}=B5"]
    assert run("print", BOAT, "--output", tmp_path, "--record", tmp_path / "r.sqlite", *words, *used).exit_code == 0
    found = read_off(tmp_path, WRAPS)
    wraps = found[: 98 - len(gone)]  # of the first sheet, of 7 x 14 cells
    assert gone.isdisjoint(cell for cell, _, _ in (wraps if order != "no" else found[:34]))
    said = [(circuit, unit) for _, circuit, unit in found]
    wires = list(dict.fromkeys(circuit for circuit, _ in said))
    assert len(wires) == 17  # of the 27 circuits of the example, ten are too thin for this stock
    if order == "by-marker":  # an end of a wire for all units, then its other end
        assert said == [(wire, unit) for wire in wires for _ in range(2) for unit in ("0001", "0002", "0003")]
    else:  # the two ends of a wire side by side
        assert said == [(wire, unit) for unit in ("0001", "0002", "0003") for wire in wires for _ in range(2)]


def test_shared_sheets_are_as_few_as_their_cells_allow(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        made = print_units(BOAT, tmp_path, record, units=(None,) * 5, grouped=True)
    for name in (WRAPS, "wrap-a4-25x11", "tag-a4-95x54"):
        markers = sum(len(s.placed) for printed in made for s in printed.sheets if s.stock.name == name)
        sheets = {s.number for printed in made for s in printed.sheets if s.stock.name == name}
        stock = STOCKS[name]
        assert len(sheets) == -(-markers // (stock.columns * stock.rows))


def test_the_files_of_shared_sheets_hold_all_units(tmp_path: Path) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite"]
    done = run("print", BOAT, *words, "--serials", "0003-0004", "--share-sheets", "by-unit")
    assert done.exit_code == 0
    assert "unit 0003: 69 markers" in done.stderr
    assert "unit 0004: 69 markers" in done.stderr
    names = [Path(line).name for line in done.stdout.splitlines()]
    assert names[:2] == ["RSB-210-0003-bench-sheet.pdf", "RSB-210-0004-bench-sheet.pdf"]
    assert f"RSB-210-0003-to-0004-{WRAPS}.pdf" in names
    tags = pdfium.PdfDocument((tmp_path / "RSB-210-0003-to-0004-tag-a4-95x54.pdf").read_bytes())
    text = "".join(page.get_textpage().get_text_range() for page in tags)
    assert text.count("unit 0003") == text.count("unit 0004")
    assert "units 0003 to 0004" in text


def test_a_serial_stands_where_a_text_asks_for_it(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    source = (EXAMPLES / "survey-boat.toml").read_text("utf-8")
    source = source.replace('wire_list = "', f'wire_list = "{EXAMPLES}/')
    file.write_text(source.replace('text = "WINCH J5"', 'text = "WINCH {serial}"'), "utf-8")
    settings = {"marker.wire_text": "{circuit}-{serial}", "marker.wire": "flag"}
    fits = check(str(file), settings=settings).fits
    assert {"W101-0001", "WINCH 0001"} <= {" ".join(fit.lines) for fit in fits}
    with open_record(tmp_path / "r.sqlite") as record:
        made = print_units(str(file), tmp_path, record, units=("0041", "0042"), settings=settings)
        labels = [item.row.text for item in record.markers("0042")]
    assert {"W101-0042", "WINCH 0042"} <= set(labels)
    assert not any("{" in label or "0041" in label for label in labels)
    flags = pdfium.PdfDocument(str(next(path for path in made[0].files if "flag" in path.name)))
    text = "".join(page.get_textpage().get_text_range() for page in flags)
    # two ends, two faces of each flag, for each of two units
    assert text.count("W101-0041") == text.count("W101-0042") == 4


@pytest.mark.parametrize(
    ("serials", "says"),
    [
        ("5-1", "'5-1' runs backwards"),
        ("1-10001", "'1-10001' is more than 10000 units"),
        ("1-1000000000000", "is more than 10000 units"),
        ("0099-101", "as many digits"),
        ("99-0101", "as many digits"),
        ("0-012", "as many digits"),
        ("0001", "is not FROM-TO"),
        ("1-2-3", "is not FROM-TO"),
        ("\u0661-\u0662", "is not FROM-TO"),
        ("1-\x1b[2J", "is not FROM-TO"),
    ],
)
def test_serials_that_are_no_range_are_told_why(tmp_path: Path, serials: str, says: str) -> None:
    done = run("print", BOAT, "--serials", serials, "--output", tmp_path, "--record", tmp_path / "r.sqlite")
    assert done.exit_code == 2
    assert says in done.stderr
    assert "\x1b" not in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("serials", "units"), [("9-11", ["9", "10", "11"]), ("0-1", ["0", "1"])])
def test_serials_without_zeros_before_them(tmp_path: Path, serials: str, units: list[str]) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite", "--bench-sheet", "summary"]
    assert run("print", BOAT, "--serials", serials, *words).exit_code == 0
    with open_record(tmp_path / "r.sqlite") as record:
        assert [unit.serial for unit in record.units()] == units


@pytest.mark.parametrize("order", ["no", "by-unit"])
def test_units_that_cannot_be_printed_stop_the_run_before_its_first(tmp_path: Path, order: str) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite", "--share-sheets", order]
    for unit in ("0002", "4"):
        assert run("print", BOAT, "--unit", unit, *words).exit_code == 0
    before = sorted(tmp_path.iterdir())
    done = run("print", BOAT, "--serials", "0001-0005", *words)
    assert done.exit_code == 1
    assert [line.partition(":")[0] for line in done.stderr.splitlines()] == ["RSB-210 0002", "RSB-210 0004"]
    assert "0004 reads like 4" in done.stderr
    assert sorted(tmp_path.iterdir()) == before
    with open_record(tmp_path / "r.sqlite") as record:
        assert [unit.serial for unit in record.units()] == ["0002", "4"]


def test_a_file_of_a_later_unit_that_is_there_stops_the_run_before_its_first(tmp_path: Path) -> None:
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--png", "sheets"]
    kept = tmp_path / "out" / "RSB-210-0003-wrap-a4-25x18-005.png"
    kept.parent.mkdir()
    kept.write_bytes(b"kept")
    done = run("print", BOAT, "--quantity", "3", *words, "--start-cell", f"{WRAPS}=C3")
    assert done.exit_code == 1
    assert done.stderr == f"{kept}: exists already; choose another name or folder, or replace it (--force)\n"
    assert list(kept.parent.iterdir()) == [kept]


def test_what_is_noted_of_a_file_is_said_once_for_all_its_units(tmp_path: Path) -> None:
    words = [
        "--output",
        tmp_path,
        "--record",
        tmp_path / "r.sqlite",
        "--quantity",
        "3",
        "--used-cells",
        "wrap-a4-25x38=A1",
    ]
    done = run("print", BOAT, *words)
    assert done.exit_code == 0
    assert done.stderr.count("--used-cells: warning: nothing is printed on wrap-a4-25x38") == 1


# ---------------------------------------------------------------- cells that are used


def first_cells(sheets: tuple[Sheet, ...], stock: str) -> list[str]:
    return [each.cell for sheet in sheets if sheet.stock.name == stock for each in sheet.placed]


def test_the_record_knows_which_cells_are_used_and_the_next_print_goes_on_there(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        assert record.used_cells() == {}
        first = print_harness(BOAT, tmp_path, record, used={WRAPS: ("A1", "B1")})
        wraps = first_cells(first.sheets, WRAPS)
        assert wraps[0] == "C1"
        assert set(record.used_cells()[WRAPS]) == {"A1", "B1", *wraps}
        # 7 columns: the cell behind the last one
        second = print_harness(BOAT, tmp_path, record, go_on=True)
        assert set(first_cells(second.sheets, WRAPS)[:3]).isdisjoint({"A1", "B1", *wraps})
        fresh = print_harness(BOAT, tmp_path, record)
        assert first_cells(fresh.sheets, WRAPS)[0] == "A1"
        assert set(record.used_cells()[WRAPS]) == set(first_cells(fresh.sheets, WRAPS))
        record.cancel_job(fresh.job.id, "the wrong paper")
        last = [sheet for sheet in second.sheets if sheet.stock.name == WRAPS][-1]
        assert {each.cell for each in last.placed} <= set(record.used_cells()[WRAPS])
        given = print_harness(BOAT, tmp_path / "x", record, go_on=True, start={WRAPS: "D9"})
        assert first_cells(given.sheets, WRAPS)[0] == "D9"


@pytest.mark.parametrize("stock", ["strip-1000", "card-210x148", "wrap-roll-25x18"])
def test_a_spoiled_strip_or_card_or_roll_comes_again_as_it_was(tmp_path: Path, stock: str) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(BOAT, tmp_path, record, stock=(stock,))
        sheet = next(s for s in printed.sheets if s.stock.name == stock and len(s.placed) > 1)
        items = record.find("", sheet=(printed.job.id, sheet.number))
        (again,) = reprint(record, items, tmp_path, reason="jammed", same_places=True).sheets
    assert placed((again,)) == placed((sheet,))
    assert (again.width_mm, again.height_mm) == pytest.approx((sheet.width_mm, sheet.height_mm), abs=1e-5)
    assert [(each.x_mm, each.y_mm) for each in again.placed] == [(each.x_mm, each.y_mm) for each in sheet.placed]


def test_a_full_sheet_is_no_sheet_to_go_on_with(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        job = print_harness(BOAT, tmp_path, record, only=("bag",)).job
        with record.engine.execution_options(writing=True).begin() as connection:
            add_used_cells(connection, job.id, {WRAPS: ("A1",), "other": ("B2",)})
            add_used_cells(connection, job.id, {WRAPS: ()})
            add_used_cells(connection, job.id, {})
        left = record.used_cells()
    assert left["other"] == ("B2",)
    assert WRAPS not in left


def test_used_cells_on_the_command_line(tmp_path: Path) -> None:
    words = ["print", BOAT, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
    for wrong in ("A1-B3", f"{WRAPS}=", f"{WRAPS}=Q", f"{WRAPS}=A1-"):
        assert run(*words, "--used-cells", wrong).exit_code == 2
    outside = run(*words, "--used-cells", f"{WRAPS}=A1-H2")
    assert outside.exit_code == 1
    assert 'used "H1-H2" are outside stock' in outside.stderr
    far = run(*words, "--used-cells", f"{WRAPS}=A1-Z99")  # 26 x 99 cells, of which the sheet has 7 x 14
    assert far.stderr.startswith('used "H1-Z14, A15-Z99" are outside stock')
    assert len(far.stderr.splitlines()) == 1
    assert run(*words, "--used-cells", "wrap-a4=A1").exit_code == 1
    assert not (tmp_path / "out").exists()
    assert run(*words, "--used-cells", f"{WRAPS}=A1-B3", "--used-cells", f"{WRAPS}=G14").exit_code == 0
    with open_record(tmp_path / "r.sqlite") as record:
        assert {"A1", "B1", "A2", "B2", "A3", "B3", "G14", "C1"} <= set(record.used_cells()[WRAPS])


def test_the_sheets_that_are_partly_used_are_listed(tmp_path: Path) -> None:
    words = ["--record", tmp_path / "r.sqlite"]
    done = run("print", BOAT, "--output", tmp_path / "out", "--used-cells", f"{WRAPS}=A1-B3", *words)
    assert done.exit_code == 0
    with open_record(tmp_path / "r.sqlite") as record:
        with record.engine.execution_options(writing=True).begin() as connection:
            add_used_cells(connection, 1, {"sold-out": ("A1", "B1")})  # a stock of a shop whose file is gone
        gone = len(record.used_cells()[WRAPS])
    rows = {
        row["stock"]: row
        for row in json.loads(run("record", "partial-sheets", "--json", *words).stdout)["partial_sheets"]
    }
    # 98 cells on a sheet: layouts/README.md; two tags a row, and eight of the example fill four rows of five
    assert rows[WRAPS]["free_cells"] == 98 - gone
    assert (
        rows["tag-a4-95x54"]["used_cells"],
        rows["tag-a4-95x54"]["free_cells"],
        rows["tag-a4-95x54"]["next_cell"],
    ) == (
        "A1-B4",
        2,
        "A5",
    )
    assert (rows["sold-out"]["used_cells"], rows["sold-out"]["free_cells"], rows["sold-out"]["next_cell"]) == (
        "A1-B1",
        None,
        "",
    )
    told = run("record", "partial-sheets", *words).stdout.splitlines()
    assert next(line for line in told if line.startswith("tag-a4")).split()[:5] == [
        "tag-a4-95x54",
        "A1-B4",
        "2",
        "A5",
        "1",
    ]
    went_on = run("print", BOAT, "--output", tmp_path / "out", "--use-partial-sheets", *words)
    assert f"Load the partial {WRAPS} sheet as sheet" in went_on.stderr
    assert f"it starts at {rows[WRAPS]['next_cell']}" in went_on.stderr


def test_a_stock_whose_file_has_changed_is_not_gone_on_with_unasked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "layouts" / "own.toml"
    file.parent.mkdir()
    shipped = (LAYOUTS / f"{WRAPS}.toml").read_text("utf-8")
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))

    def printed(text: str, *words: str) -> Result:
        file.write_text(text, "utf-8")
        catalogue._load.cache_clear()
        where = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
        return run("print", BOAT, "--stock", "own", "--use-partial-sheets", *where, *words)

    assert printed(shipped).exit_code == 0
    narrow = re.sub(r"(?m)^columns = 7", "columns = 5", shipped)
    refused = printed(narrow)
    # 34 wraps on rows of seven: A1-G4 and A5-F5; columns F and G are no more
    says = "of the partly used sheet of own the cells F1-G4, F5 are gone, which the stock has no more; say which"
    assert (refused.exit_code, says in refused.stderr) == (1, True)
    assert "--used-cells own=" in refused.stderr
    assert printed(narrow, "--start-cell", "own=A1").exit_code == 0
    with open_record(tmp_path / "r.sqlite") as record, record.engine.execution_options(writing=True).begin() as c:
        add_used_cells(c, 1, {"own": ("A1", "B1")})
    two = f'{shipped}blocked_cells = "C1-G1,A2-G14"\n'  # with what the record knows no cell of that sheet is left
    fresh = printed(two)
    assert fresh.exit_code == 0
    assert "of own as sheet" not in fresh.stderr
    with open_record(tmp_path / "r.sqlite") as record:
        sheets = {item.sheet for item in record.markers("0003") if item.stock and item.stock.name == "own"}
    assert len(sheets) == 17  # 34 wraps, two on each


def test_a_reprint_names_the_stock_of_its_cells_as_a_print_does(tmp_path: Path) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite"]
    assert run("print", BOAT, *words).exit_code == 0
    again = ["reprint", "0001 K4", "--reason", "lost", *words]
    assert run(*again, "--start-cell", "B3").exit_code == 2
    assert "is not STOCK=CELL" in run(*again, "--start-cell", "B3").stderr
    assert run(*again, "--start-cell", "tag-a4-95x54=B3").exit_code == 0
    assert run(*again, "--used-cells", "tag-a4-95x54=A1-A3").exit_code == 0
    went_on = run(*again, "--use-partial-sheets")
    assert went_on.exit_code == 0
    assert "Load the partial tag-a4-95x54 sheet as sheet 1; it starts at B2" in went_on.stderr
    with open_record(tmp_path / "r.sqlite") as record:
        story = [event.cell for event in record.history("K4", "0001") if event.state == "printed"]
        # A1 to A3 are gone: B1 is the first that is not; after it A1, A2, A3 and B1 are, so B2 comes next
        assert story[1:] == ["B3", "B1", "B2"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--send-to", "wrap-a4=office"), "--send-to: stock 'wrap-a4' is unknown; did you mean 'wrap-"),
        (("--send-to", "x=y"), "--send-to: stock 'x' is unknown; see labeler list stock"),
        (
            ("--send-to", "flag-a4-80x12=y"),
            "--send-to: warning: nothing is printed on flag-a4-80x12; this job prints on ",
        ),
        (
            ("--start-cell", "insert-a4=A1"),
            "--start-cell: warning: nothing is printed on insert-a4; this job prints on ",
        ),
        (
            ("--used-cells", "flag-a4-80x12=A1"),
            "--used-cells: warning: nothing is printed on flag-a4-80x12; this job prints on ",
        ),
    ],
)
def test_a_stock_that_an_option_names_in_vain_is_told(tmp_path: Path, words: tuple[str, ...], says: str) -> None:
    where = ["--output", tmp_path, "--record", tmp_path / "r.sqlite"]
    done = run("print", BOAT, *words, *where)
    assert says in done.stderr
    assert done.exit_code == (0 if "warning" in says else 1)


def test_a_reprint_tells_a_stock_that_is_named_in_vain(tmp_path: Path) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite"]
    assert run("print", BOAT, *words).exit_code == 0
    again = ["reprint", "0001 K4", "--reason", "lost", *words]
    assert run(*again, "--send-to", "x=y").exit_code == 1
    done = run(*again, "--send-to", f"{WRAPS}=y")
    assert done.exit_code == 0
    assert f"--send-to: warning: nothing is printed on {WRAPS}; this job prints on tag-a4-95x54" in done.stderr


@pytest.mark.parametrize("wrong", [["a", "b"], ["x=a", "x=b"], ["x="], ["-d"], [""]])
def test_printers_to_send_to_are_named_once(tmp_path: Path, wrong: list[str]) -> None:
    words = [word for name in wrong for word in ("--send-to", name)]
    assert run("print", BOAT, "--output", tmp_path, "--record", tmp_path / "r.sqlite", *words).exit_code == 2
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "words",
    [
        ("--start-cell", f"{WRAPS}=B2", "--start-cell", f"{WRAPS}=C3"),
        ("--set", "wire_type=TXL", "--set", "wire_type=GXL"),
    ],
    ids=["start", "set"],
)
def test_what_is_given_twice_and_not_alike_is_refused(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = run("print", BOAT, "--output", tmp_path, "--record", tmp_path / "r.sqlite", *words)
    assert done.exit_code == 2
    assert "is given twice, as" in done.stderr
    assert not list(tmp_path.iterdir())


def test_the_second_of_two_stocks_for_tags_is_told(tmp_path: Path) -> None:
    words = ["--stock", "tag-roll-95x54", "--stock", "tag-a4-95x54"]
    done = run("print", BOAT, "--output", tmp_path, "--record", tmp_path / "r.sqlite", *words)
    assert done.exit_code == 0
    assert "tag-a4-95x54 takes tags, as tag-roll-95x54 does, which is named before it" in done.stderr
    assert (tmp_path / "RSB-210-0001-tag-roll-95x54.pdf").exists()


def test_pictures_from_the_command_line(tmp_path: Path) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite", "--stock", "strip-1000"]
    done = run("print", BOAT, *words, "--png", "sheets", "--png", "markers")
    files = [Path(line) for line in done.stdout.splitlines()]
    pictures = [file for file in files if file.suffix == ".png"]
    # 7 sheets and 69 pieces; nothing is there that was not said
    assert len(pictures) == 7 + 69
    assert sorted(path for path in tmp_path.iterdir() if path.suffix in (".pdf", ".png")) == sorted(files)


# ---------------------------------------------------------------- the stock that was asked for


def test_a_named_wrap_is_taken_where_it_serves_and_others_keep_theirs(tmp_path: Path) -> None:
    """25 x 38 serves from 12.7 / pi = 4.04 mm or so: what is thinner stays on what serves it, and that is said."""
    plain = check(BOAT)
    named = check(BOAT, stock=("wrap-roll-25x18",))
    before = {fit.marker.id: fit.stock for fit in plain.fits}
    for fit in named.fits:
        expected = {WRAPS: "wrap-roll-25x18"}.get(before[fit.marker.id], before[fit.marker.id])
        assert fit.stock == expected
    said = "\n".join(map(str, named.notes))
    moved = sum(1 for stock in before.values() if stock == "wrap-a4-25x11")
    assert f"wrap-roll-25x18 serves 1.59 to 3.94 mm: {moved} of 54 wraps" in said
    unused = check(BOAT, stock=("flag-roll-80x12",))
    assert "takes flags, and no marker of this job goes on it" in "\n".join(map(str, unused.notes))
    assert not [note for note in check(BOAT, stock=("reel", "tag-roll-95x54")).notes if note.where.source == "--stock"]


def test_the_card_is_that_of_the_paper() -> None:
    assert check(BOAT).stocks.sleeve.name == "card-210x148"
    assert check(BOAT, paper="Letter").stocks.sleeve.name == "card-216x140"


# ---------------------------------------------------------------- files


def sheets_of(count: int, group: str = "", stock: str = "reel") -> list[Sheet]:
    pieces = [Piece(f"M{n}", Face(20, 10), stock, group) for n in range(count)]
    return list(lay_out(pieces, {stock: replace(STOCKS[stock], leader_mm=0.0)}))


def test_a_long_job_is_several_files_none_of_more_than_500_pages(tmp_path: Path) -> None:
    unit = UnitName("RSB-210", "0001")
    parts = parts_of(tmp_path, (unit,), sheets_of(1001))
    assert MOST_PAGES == 500
    assert [len(part.sheets) for part in parts] == [500, 500, 1]
    assert [part.path.name for part in parts] == [f"RSB-210-0001-reel-{n}-of-3.pdf" for n in (1, 2, 3)]
    assert [len(part.sheets) for part in parts_of(tmp_path, (unit,), sheets_of(500))] == [500]


def test_every_tube_of_a_reel_is_a_file_of_its_own(tmp_path: Path) -> None:
    unit = UnitName("RSB-210", "0001")
    parts = parts_of(tmp_path, (unit,), [*sheets_of(2, "1/4, WH"), *sheets_of(3, "3/8, WH"), *sheets_of(1, "1/4, WH")])
    assert [(part.path.name, len(part.sheets)) for part in parts] == [
        ("RSB-210-0001-reel-1-4-WH.pdf", 3),
        ("RSB-210-0001-reel-3-8-WH.pdf", 3),
    ]
    alike = parts_of(tmp_path, (unit,), [*sheets_of(1, "1/4, WH"), *sheets_of(1, "1-4 WH")])
    assert len({part.path for part in alike}) == 2


def test_a_page_is_in_the_file_that_is_named_for_it(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(BOAT, tmp_path, record, stock=("reel",), only=("branch end",))
    pages = {path.name: len(pdfium.PdfDocument(str(path))) for path in printed.files if "bench" not in path.name}
    groups = Counter(sheet.load for sheet in printed.sheets)
    assert sorted(pages.values()) == sorted(groups.values())


# ---------------------------------------------------------------- broken off


@pytest.fixture(autouse=True)
def heard() -> Iterator[None]:
    """Ctrl-C is heard, also where tests run in the background and the shell has it ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def whole_or_nothing(folder: Path, record: Record) -> str:
    """Assert that a job is printed and all its files are there, or withdrawn (or unknown) and none is; say which."""
    files = sorted(str(path) for path in folder.rglob("*") if path.is_file() and path.suffix in (".pdf", ".png"))
    assert not [path for path in folder.rglob("*") if path.suffix in (".part", ".kept")]
    jobs = record.jobs()
    if not files:
        assert all(job.state == "cancelled" for job in jobs)
        return "nothing"
    assert [job.state for job in jobs] == ["printed"]
    assert sorted(jobs[0].files) == files
    for path in files:
        assert path.endswith(".png") or len(pdfium.PdfDocument(path)) > 0
    return "whole"


class Stop:
    """Presses Ctrl-C at the n-th call of a function."""

    def __init__(self, real: Any, at: int) -> None:
        self.real, self.left = real, at

    def __call__(self, *words: Any, **named: Any) -> Any:
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGINT)
        return self.real(*words, **named)


@pytest.mark.parametrize(
    ("place", "at"),
    [
        ("labeler.draw.pdf._draw_page", 1),
        ("labeler.draw.pdf._draw_page", 4),
        ("os.fsync", 1),
        ("os.fsync", 5),
        ("os.link", 1),
        ("os.link", 3),
        ("labeler.record.store.Record.prepare_run", 1),
        ("labeler.record.store.Record.confirm", 1),
        ("labeler.record.write.add_used_cells", 1),
        ("labeler.job.run.lay_out", 1),
    ],
)
def test_ctrl_c_leaves_neither_half_a_print_nor_a_wrong_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str, at: int
) -> None:
    module, _, name = place.rpartition(".")
    owner: Any = sys.modules.get(module)
    if owner is None:
        parent, _, kind = module.rpartition(".")
        owner = getattr(sys.modules[parent], kind)
    stop = Stop(getattr(owner, name), at)
    with open_record(tmp_path / "r.sqlite") as record:
        instead = (lambda *words, **named: stop(*words, **named)) if isinstance(owner, type) else stop
        monkeypatch.setattr(owner, name, instead)
        with pytest.raises(KeyboardInterrupt):
            print_harness(BOAT, tmp_path / "out", record, out=Output(tmp_path, png=("sheets",)))
        assert stop.left <= 0
        # While the job is confirmed and its files are kept, Ctrl-C waits: both stand.
        late = place.endswith(".confirm")
        assert whole_or_nothing(tmp_path / "out", record) == ("whole" if late else "nothing")
        monkeypatch.undo()
        if not late:
            print_harness(BOAT, tmp_path / "out", record, unit="0001")  # the serial is free again


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP], ids=lambda how: how.name)
def test_an_end_at_any_moment(tmp_path: Path, how: signal.Signals) -> None:
    """The real program, interrupted after times that lie before, in and after its work.

    130 is 128 and the number of SIGINT: POSIX shells. A signal that comes before the program listens ends it at once.
    """
    seen = []
    for n, seconds in enumerate((0.6, 0.9, 1.1, 1.3, 1.6, 30.0)):
        here = tmp_path / str(n)
        words = [BOAT, "--output", str(here / "out"), "--record", str(here / "r.sqlite"), "--png", "sheets"]
        program = subprocess.Popen(
            [sys.executable, "-c", "from labeler.cli.main import main; main()", "print", *words],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=True,
        )
        try:
            program.wait(seconds)
        except subprocess.TimeoutExpired:
            program.send_signal(how)
        _, said = program.communicate(timeout=60)
        assert b"Traceback" not in said, said.decode()
        if not (here / "r.sqlite").exists():
            seen.append("nothing")
            continue
        with open_record(here / "r.sqlite", create=False) as record:
            seen.append(whole_or_nothing(here / "out", record))
        assert program.returncode != 0 or seen[-1] == "whole"
        if program.returncode == 130:
            assert said.decode().endswith("Interrupted. The unfinished job was cancelled.\n")
        assert not list(tmp_path.rglob("*.part"))
    assert "whole" in seen


def test_an_end_while_the_record_is_closed_is_met_without_a_traceback(tmp_path: Path) -> None:
    """The library that holds the connection logs what broke its closing off, and raises it."""
    script = f"""
from labeler.record import open_record
def pressed(connection):
    raise KeyboardInterrupt
record = open_record({str(tmp_path / "r.sqlite")!r})
record.engine.dialect.do_close = pressed
try:
    record.close()
except KeyboardInterrupt:
    print("met")
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("met\n", "")


def test_a_block_that_fails_takes_its_files_with_it_and_puts_back_what_was_there(tmp_path: Path) -> None:
    old, new = tmp_path / "old.pdf", tmp_path / "new.pdf"
    old.write_bytes(b"before")

    def fails() -> None:
        with written([old, new], [(old, b"1"), (new, b"2")], force=True):
            assert old.read_bytes() + new.read_bytes() == b"12"
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fails()
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("old.pdf", b"before")]


def test_an_interrupt_waits_for_the_end_of_what_must_be_whole() -> None:
    done = []

    def work() -> None:
        with uninterrupted():
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.01)
            done.append("all of it")

    with pytest.raises(KeyboardInterrupt):
        work()
    assert done == ["all of it"]
    elsewhere = threading.Thread(target=lambda: done.append(in_a_thread()))
    elsewhere.start()
    elsewhere.join()
    assert done == ["all of it", "done"]


def in_a_thread() -> str:
    with uninterrupted():
        return "done"


# ---------------------------------------------------------------- how far it has come


class Terminal:
    """Looks like a terminal and keeps what is written."""

    def __init__(self, tty: bool) -> None:
        self.tty, self.text = tty, ""
        self.encoding = "utf-8"

    def isatty(self) -> bool:
        return self.tty

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        pass


@pytest.mark.parametrize(("tty", "patience", "shows"), [(True, 0.0, True), (True, 60.0, False), (False, 0.0, False)])
def test_a_bar_is_shown_on_a_terminal_for_what_takes_long(
    monkeypatch: pytest.MonkeyPatch, tty: bool, patience: float, shows: bool
) -> None:
    terminal = Terminal(tty)
    monkeypatch.setattr("sys.stderr", terminal)
    monkeypatch.setattr("labeler.cli.terminal.PATIENCE_S", patience)
    items = list(range(50))
    assert list(shown_progress(items, "drawing")) == items
    assert ("drawing" in terminal.text and "100%" in terminal.text) == shows
    assert shows or terminal.text == ""
    assert list(shown_progress([1], "one")) == [1]
    assert list(shown_progress([], "none")) == []


def test_nothing_is_shown_where_there_is_no_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("labeler.cli.terminal.PATIENCE_S", 0.0)
    done = run("print", BOAT, "--output", tmp_path, "--record", tmp_path / "r.sqlite")
    assert "%" not in done.stderr
    assert "\r" not in done.stderr


def test_what_takes_long_of_many_units_is_shown(tmp_path: Path) -> None:
    """Tags and codes are set for every unit, and every unit has a bench sheet."""
    seen = {}

    def track(items: Any, words: str) -> Any:
        seen[words] = len(items)
        return items

    with open_record(tmp_path / "r.sqlite") as record:
        print_units(BOAT, tmp_path, record, units=(None,) * 3, out=Output(tmp_path, track=track))
    assert (seen["units"], seen["bench sheets"]) == (3, 3)


def test_units_that_were_printed_before_the_end_are_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[object] = []
    real = printing._print_run

    def third(*given: Any) -> Any:
        if len(made) == 2:
            signal.raise_signal(signal.SIGTERM)
        made.append(real(*given))
        return made[-1]

    monkeypatch.setattr(printing, "_print_run", third)
    done = run("print", BOAT, "--quantity", "5", "--output", tmp_path, "--record", tmp_path / "r.sqlite")
    assert done.exit_code == 130
    assert "Interrupted after 2 of 5 units: labeler record list shows them" in done.stderr
    with open_record(tmp_path / "r.sqlite") as record:
        assert [unit.state for unit in record.units()] == ["printed"] * 2
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL  # as it was before the command


def test_an_end_comes_through_where_ctrl_c_is_ignored() -> None:
    """In the background of a shell without job control Ctrl-C is ignored; a request to end is not."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with pytest.raises(KeyboardInterrupt), ended_as_interrupted():
            signal.raise_signal(signal.SIGTERM)
    finally:
        signal.signal(signal.SIGINT, before)


def test_a_signal_that_somebody_met_otherwise_is_left_to_them() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup does
    try:
        with ended_as_interrupted():
            signal.raise_signal(signal.SIGHUP)
    finally:
        signal.signal(signal.SIGHUP, before)
