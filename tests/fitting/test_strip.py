"""Paper strips under clear sleeves, and flags: their measures by hand."""

from dataclasses import replace
from math import pi
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner

from labeler.cli.main import main
from labeler.draw.pdf import draw_sheets
from labeler.draw.sheet_frame import Header
from labeler.fitting.film import fit_flag, fit_insert
from labeler.fitting.sleeve import SleevePlace
from labeler.harness import index
from labeler.layout.cells import cells
from labeler.layout.place import lay_out
from labeler.model import Face, Fit, Marker, Piece, Range, Seat
from labeler.plan import plan
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from labeler.wording import sentence
from labeler.work.bench_sheet import apply_methods
from labeler.work.wording import applying
from tests.make import harness, settings
from tests.places import EXAMPLES

CATALOGUE = load_catalogue()
FONT = load_font("Atkinson Hyperlegible")
BOAT = str(EXAMPLES / "survey-boat.toml")


def seat(low: float, high: float) -> Seat:
    return Seat(Range(low, high), Range(low, high), Range(low, high))


def insert(text: str, low: float, high: float, cut: float | None = None, **changes: Any) -> Fit:
    """Fit a strip on a bundle; the sleeve lies on it and the paper, 0.1 mm a side."""
    stock, chosen = CATALOGUE.stock("insert-a4"), settings(changes)
    on = seat(low + 0.2, high + 0.2)
    marker = Marker("ID", "insert", "branch end", "J4", (text,), True, chosen)
    return fit_insert(marker, SleevePlace(on, choose_tubes(on, chosen, CATALOGUE), cut), stock)


def test_a_strip_is_as_long_around_as_the_thinnest_bundle_less_a_gap() -> None:
    """pi x 4.0 - 1.0 = 11.566 mm around; 3 mm shorter than its sleeve, as short as that may become, at either end.

    1/4 in tube of -5 %, 8 % wider than 6.35: (6.858 - 4.2)/(6.858 - 3.175) = 72.17 % recovered on 4.2 mm, so
    30 mm become 30 x (1 - 0.05 x 0.7217) = 28.918 mm.
    """
    fit = insert("DEPTH J4", 4.0, 4.6)
    assert fit.result == "pass"
    assert fit.face is not None
    assert fit.face.height_mm == pytest.approx(pi * 4.0 - 1.0, abs=1e-3)
    assert (fit.tube.name if fit.tube else "", fit.cut_length_mm) == ("AS23053/5 1/4", 30)
    assert fit.face.width_mm == pytest.approx(28.918 - 6.0, abs=1e-3)
    assert fit.tube is not None
    assert fit.tube.expanded_id_mm >= 4.8 * 1.1  # passes the bundle with the paper on it


def test_nothing_of_a_strip_shrinks_and_it_reads_on_the_paper() -> None:
    """90 degrees of 4.0 + 2 x 0.1 mm: pi/4 x 4.2 = 3.299 mm; the largest asked for is 24' at 400 mm: 2.793 mm."""
    fit = insert("DEPTH J4", 4.0, 4.6)
    assert fit.capital_height_mm is not None
    assert fit.capital_height_mm.low == fit.capital_height_mm.printed == fit.capital_height_mm.high
    assert fit.capital_height_mm.printed == pytest.approx(2.79, abs=0.01)
    assert fit.text_arc_deg < 90
    assert fit.surface.marked_side_scale is None


def test_print_keeps_off_the_strips_ends() -> None:
    fit = insert("DEPTH J4", 4.0, 4.6)
    assert fit.face is not None
    run = fit.face.runs[0]
    assert run.x_mm >= 2.0 - 1e-6
    assert run.x_mm + FONT.width(run.text) * run.size_mm <= fit.face.width_mm - 2.0 + 1e-6


def test_a_plain_insert_is_the_clear_sleeve_alone() -> None:
    on = seat(4.2, 4.8)
    marker = Marker("ID", "insert", "branch end", "P1", ("B4",), True, settings(), marked=False)
    place = SleevePlace(on, choose_tubes(on, marker.settings, CATALOGUE))
    fit = fit_insert(marker, place, CATALOGUE.stock("insert-a4"))
    assert fit.face is None
    assert fit.tube is not None


def flag(text: str, diameter: float, **changes: Any) -> Fit:
    marker = Marker("ID", "flag", "wire end", "P1:1", (text,), True, settings(changes))
    return fit_flag(marker, seat(diameter, diameter), CATALOGUE.stock("flag-a4-80x12"))


def test_a_flag_reads_on_both_halves() -> None:
    """L = 2 f + pi (d + t): on 2.0 mm with 0.1 mm film f = (80 - pi x 2.1)/2 = 36.70 mm."""
    fit = flag("P1:12/J4:2", 2.0)
    assert fit.result == "pass"
    assert fit.face is not None
    left, right = fit.face.runs
    half = (80 - pi * 2.1) / 2
    width = FONT.width(left.text) * left.size_mm
    assert left.x_mm + width / 2 == pytest.approx(half / 2, abs=1e-3)
    assert right.x_mm + width / 2 == pytest.approx(80 - half / 2, abs=1e-3)  # symmetric about the fold
    assert left.x_mm + width <= half
    assert left.y_mm == right.y_mm
    assert fit.text_arc_deg == 0


def test_a_wire_too_thick_for_a_flag() -> None:
    fit = flag("W1", 26.0)  # pi x 26.1 = 82 mm
    assert fit.result == "fail"
    assert "leaves 0.0 mm of flag-a4-80x12" in sentence(fit.reasons[0])


@pytest.mark.parametrize("kind", ["wrap", "flag"])
def test_a_plain_end_of_a_kind_that_is_only_print_is_left_away(kind: str) -> None:
    made = harness(settings=settings({"marker.branch": (kind,)}))
    branch = made.branches[0]
    plain = replace(branch, ends=(branch.ends[0], replace(branch.ends[1], marked=False)))
    markers, _ = plan(index(replace(made, branches=(plain,))))
    assert [m.place for m in markers if m.role == "branch end"] == ["J4"]


def test_a_harness_printed_with_an_office_printer_alone(tmp_path: Path) -> None:
    words = ["--set", "marker.branch=insert", "--set", "marker.wire=flag"]
    more = ["--omit-failed", "--output", str(tmp_path), "--record", str(tmp_path / "r.sqlite")]
    office = tmp_path / "office.toml"
    office.write_text('technology = "laser"\ndpi = 600\n')
    result = CliRunner().invoke(main, ["print", BOAT, *words, *more, "--printer", str(office)])
    assert result.exit_code == 0, result.stderr
    assert (tmp_path / "RSB-210-0001-insert-a4.pdf").exists()
    assert (tmp_path / "RSB-210-0001-flag-a4-80x12.pdf").exists()


@pytest.mark.parametrize("name", ["flag-a4-paper-80x12", "flag-letter-paper-80x12"])
def test_a_flag_on_plain_paper_is_cut_out_and_folded_at_its_ticks(name: str) -> None:
    """The middle of 80 mm is 40 mm from the cell's edge: 1.5 mm of ink at both edges, none between them."""
    stock = CATALOGUE.stock(name)
    marker = Marker("ID", "flag", "wire end", "P1:1", ("P1:12/J4:2",), True, settings())
    face = fit_flag(marker, seat(2.0, 2.0), stock).face
    assert face is not None
    sheets = lay_out([Piece("ID", face, stock.name)], {stock.name: stock})
    data = draw_sheets(sheets, title="t", header=Header("RSB-210"))
    dots = 600 / 25.4
    ink = pdfium.PdfDocument(data)[0].render(scale=600 / 72, grayscale=True).to_numpy().squeeze() < 200
    cell = cells(stock)[0]
    fold = round((cell.x_mm + 40) * dots)
    top, low = (round((stock.page_height_mm - y) * dots) for y in (cell.y_mm + 12, cell.y_mm))
    along = ink[top : low + 1, fold - 3 : fold + 4].any(axis=1)
    ticks = [int(along[: round(6 * dots)].sum()), int(along[round(6 * dots) :].sum())]
    assert ticks == pytest.approx([1.5 * dots] * 2, abs=4)
    assert not along[round(1.7 * dots) : round(10.3 * dots)].any()
    frame = ink[top - 3 : low + 4, round((cell.x_mm + 20) * dots)]  # through a text, and both edges of the cell
    assert frame[:6].any()
    assert frame[-6:].any()


@pytest.mark.parametrize(
    ("stock", "says"),  # common practice
    [
        ("flag-a4-80x12", ["1 piece: lay the wire across the middle, fold there"]),
        ("flag-a4-paper-80x12", ["1 piece: cut it out along the lines; fold at the ticks", "glue the halves"]),
        ("insert-a4", ["1 piece: cut it out along the lines; wind it around"]),
        ("wrap-a4-25x18", ["1 piece: on a clean, dry wire", "then the clear tail wound over it"]),
        ("tag-a4-95x54", []),
    ],
)
def test_the_bench_sheet_says_how_each_kind_goes_on(stock: str, says: list[str]) -> None:
    sheets = lay_out([Piece("ID", Face(20.0, 8.0, ()), stock)], {stock: CATALOGUE.stock(stock)})
    told = [f"{each.pieces} piece: {applying(each)}" for each in apply_methods(sheets)]
    assert all(words in told[0] for words in says) if says else told == []
