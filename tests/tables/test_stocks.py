"""Stock files: every shipped one, and what a page cannot hold."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from labeler.model import Stock
from labeler.tables.catalogue import _load, shipped_layouts
from labeler.tables.document import load
from labeler.tables.stocks import read_stock
from tests.places import LAYOUTS

SHIPPED = _load(()).stocks

GRID = {
    "kind": '"sheet"',
    "marker": '"wrap"',
    "description": '"wraps"',
    "page_width_mm": "210",
    "page_height_mm": "297",
    "left_margin_mm": "10",
    "top_margin_mm": "20",
    "columns": "7",
    "rows": "6",
    "cell_width_mm": "25",
    "cell_height_mm": "38",
    "pitch_x_mm": "27",
    "pitch_y_mm": "40",
    "print_zone_mm": "12.7",
}


def read(tmp_path: Path, **changes: str) -> tuple[Stock | None, str]:
    rows = {**GRID, **changes}
    path = tmp_path / "own.toml"
    path.write_text("".join(f"{key} = {value}\n" for key, value in rows.items() if value), encoding="utf-8")
    stocks, problems = read_stock(load(path, "own.toml"), "own")
    return stocks[0] if stocks else None, "\n".join(str(problem) for problem in problems)


def test_a_stock_that_can_be(tmp_path: Path) -> None:
    # the last cell ends 10 + 6 x 27 + 25 = 197 mm across, 20 + 5 x 40 + 38 = 258 mm down
    stock, problems = read(tmp_path)
    assert problems == ""
    assert stock is not None
    assert (stock.name, stock.columns, stock.pitch_x_mm, stock.cut_lines) == ("own", 7, 27.0, True)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"columns": "8"}, "own.toml:8: columns is 8: the last cell ends 224 mm from the left"),
        ({"rows": "7"}, "own.toml:9: rows is 7: the last cell ends 298 mm from the top"),
        ({"pitch_x_mm": "24"}, "own.toml:12: pitch_x_mm is 24, less than a cell of 25"),
        ({"pitch_y_mm": "37.9"}, "own.toml:13: pitch_y_mm is 37.9, less than a cell of 38"),
        ({"pitch_x_mm": "-27"}, "own.toml:12: pitch_x_mm is -27; it must be 0 to 5000"),
        ({"columns": "0"}, "own.toml:8: columns is 0; it must be 1 to 1000"),
        ({"columns": "2.5"}, "own.toml:8: columns is 2.5; it must be a whole number"),
        ({"cut_lines": '"no"'}, "own.toml:15: cut_lines is 'no'; it must be true or false"),
        ({"page_width_mm": ""}, "page_width_mm is missing"),
        ({"page_height_mm": ""}, "page_height_mm is missing"),
        ({"cell_width_mm": ""}, "cell_width_mm is missing"),
        ({"cell_height_mm": ""}, "cell_height_mm is missing"),
        ({"marker": ""}, "marker is missing"),
        ({"kind": '"gird"'}, "own.toml:1: kind is 'gird'; use sheet, roll, card, reel"),
        ({"marker": '"flagg"'}, "own.toml:2: marker is 'flagg'; use wrap, tag, sleeve, insert, flag"),
        ({"print_zone_mm": "39"}, "own.toml:14: print_zone_mm is 39; it must be above 0"),
        ({"print_zone_mm": ""}, "print_zone_mm is 0"),
        ({"cell_margin_mm": "12.5"}, "cell_margin_mm is 12.5; both sides leave nothing"),
        ({"corner_radius_mm": "13"}, "corner_radius_mm is 13, more than half"),
        ({"hole_diameter_mm": "5", "hole_from_left_mm": "2"}, "hole_from_left_mm is 2: the hole of 5 mm runs over"),
        ({"hole_diameter_mm": "5", "hole_from_left_mm": "23"}, "hole_from_left_mm is 23: the hole of 5 mm runs over"),
        ({"hole_diameter_mm": "40", "hole_from_left_mm": "20"}, "hole_diameter_mm is 40, as wide as the tag"),
        ({"ruler_x_mm": "211"}, "ruler_x_mm is 211, beyond the page"),
        ({"ruler_y_mm": "298"}, "ruler_y_mm is 298, beyond the page"),
        ({"colums": "7"}, "own.toml:15: unknown key 'colums'; did you mean 'columns'?"),
        ({"name": '"x"'}, "unknown key 'name'"),
        ({"description": '" "'}, "description is ' '; it must be a text"),
    ],
)  # fmt: skip
def test_a_stock_that_cannot_be(tmp_path: Path, changes: dict[str, str], message: str) -> None:
    stock, problems = read(tmp_path, **changes)
    assert stock is None
    assert message in problems


def test_every_shipped_file_is_a_stock() -> None:
    files = {path.name.removesuffix(".toml") for path in shipped_layouts().iterdir() if path.name.endswith(".toml")}
    assert {stock.name for stock in SHIPPED} == files
    assert files


def test_stocks_inside_the_package_come_before_those_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # a wheel carries them inside, a checkout beside
    assert shipped_layouts() == LAYOUTS
    monkeypatch.setattr("labeler.tables.catalogue.shipped", lambda folder, name: tmp_path)
    assert shipped_layouts() == tmp_path


def test_there_is_a_stock_for_each_kind_of_marker() -> None:
    assert {stock.marker for stock in SHIPPED} == {"wrap", "tag", "sleeve", "insert", "flag"}


@pytest.mark.parametrize("stock", [s for s in SHIPPED if s.kind in ("sheet", "roll")], ids=lambda stock: stock.name)
def test_cells_of_shipped_sheets_lie_apart_and_on_the_page(stock: Stock) -> None:
    lefts = [stock.left_margin_mm + i * stock.pitch_x_mm for i in range(stock.columns)]
    tops = [stock.top_margin_mm + i * stock.pitch_y_mm for i in range(stock.rows)]
    assert all(a + stock.cell_width_mm <= b for a, b in pairwise(lefts))
    assert all(a + stock.cell_height_mm <= b for a, b in pairwise(tops))
    assert lefts[-1] + stock.cell_width_mm <= stock.page_width_mm
    assert tops[-1] + stock.cell_height_mm <= stock.page_height_mm
