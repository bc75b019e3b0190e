"""Printer profiles: what they refuse, and a printed length that comes out right after calibration."""

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner
from PIL import Image

from labeler.cli.main import main
from labeler.draw.pdf import INSET_MM, calibration_pdf, draw_sheets, empty_pdf
from labeler.draw.pens import BOX_LINE_MM
from labeler.draw.sheet_frame import Header
from labeler.errors import LabelerError
from labeler.layout.place import lay_out
from labeler.model import Box, Face, Piece, Run
from labeler.tables.catalogue import load_catalogue
from labeler.tables.printers import Printer, load_printer, measured, printer_problems, profile_text
from tests.cases import spread
from tests.places import EXAMPLES

BOAT = str(EXAMPLES / "survey-boat.toml")
A4 = load_catalogue().stock("tag-a4-95x54")
FONT = "Atkinson Hyperlegible"
K = 600 / 25.4


def profile(folder: Path, text: str) -> str:
    file = folder / "office.toml"
    file.write_text(text, "utf-8")
    return str(file)


def test_a_profile_is_read_strictly(tmp_path: Path) -> None:
    made = load_printer(profile(tmp_path, 'technology = "laser"\ndpi = 600\nunprintable_margin_mm = 4.2\n'))
    assert made == Printer("office", "laser", 600, 4.2)
    for text, said in (
        ("dip = 300", "did you mean 'dpi'"),
        ("dpi = 3", "dpi"),
        ('technology = "lazer"', "one of laser, inkjet, thermal transfer"),
        ("scale_x = 2.0", "scale_x"),
        ("dpi = ", "is no TOML"),
    ):
        with pytest.raises(LabelerError, match=said):
            load_printer(profile(tmp_path, text))
    with pytest.raises(LabelerError, match="there is no profile"):
        load_printer(str(tmp_path / "none.toml"))


def test_an_offset_in_inches_is_one(tmp_path: Path) -> None:
    """A tenth of an inch is 2.54 mm; it was once read as a tenth of a millimetre."""
    printer = load_printer(profile(tmp_path, 'offset_x_in = -0.1\noffset_y_mm = "1/8 in"'))
    assert (printer.offset_x_mm, printer.offset_y_mm) == (-2.54, 3.175)
    with pytest.raises(LabelerError, match=r"offset_x_in is 3 \(76.2 mm\); it must be -50 to 50 mm"):
        load_printer(profile(tmp_path, "offset_x_in = 3"))
    assert load_printer(profile(tmp_path, profile_text(printer))) == printer


def test_a_profile_comes_back_as_it_was_written(tmp_path: Path) -> None:
    made = Printer("office", "inkjet", 600.0, 3.0, 1.0081, 0.996, 0.5, -0.25, ("roll", "reel"), 108.0)
    assert load_printer(profile(tmp_path, profile_text(made))) == made


def run(*words: object) -> tuple[int, str]:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stderr


def test_heat_shrink_tube_never_goes_to_a_laser_printer(tmp_path: Path) -> None:
    words = ["print", BOAT, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--printer"]
    status, said = run(*words, profile(tmp_path, 'technology = "laser"'))
    assert status == 1
    assert "its fuser shrinks it inside" in said
    assert not (tmp_path / "out").exists()
    assert run(*words, profile(tmp_path, 'technology = "thermal transfer"'))[0] == 0
    # a reprint is held to the same
    again = [
        "reprint",
        "0001 J4",
        "--reason",
        "x",
        "--output",
        tmp_path,
        "--record",
        tmp_path / "r.sqlite",
        "--printer",
    ]
    assert run(*again, profile(tmp_path, 'technology = "laser"'))[0] == 1


@pytest.mark.parametrize(
    "text", ['technology = "laser"', 'stock_kinds = ["roll"]', "unprintable_margin_mm = 5.5", "max_width_mm = 108"]
)
def test_check_says_of_a_printer_what_print_says(tmp_path: Path, text: str) -> None:
    file = profile(tmp_path, text)
    status, said = run("check", BOAT, "--printer", file)
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--printer", file]
    assert (status, run("print", BOAT, *words)[0]) == (1, 1)
    printed = run("print", BOAT, *words)[1].splitlines()
    assert set(printed) <= set(said.splitlines())
    listed = CliRunner().invoke(main, ["check", BOAT, "--printer", file, "--json"])
    assert listed.exit_code == 1
    problems = [
        problem["message"] for problem in json.loads(listed.stdout)["problems"] if problem["severity"] == "error"
    ]
    assert len(problems) == len(printed)
    assert all(any(message in line for line in printed) for message in problems)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('stock_kinds = ["roll", "reel"]', "card-210x148 is a card, and the printer feeds roll, reel"),
        ("max_width_mm = 108", "wrap-a4-25x18 is 210.0 mm wide, and the printer feeds 108 mm"),
        ("unprintable_margin_mm = 5.5", "card-210x148 is printed to 5.0 mm from the edge, the printer leaves 5.5 mm"),
        ('stock_kinds = ["rol"]', "stock_kinds names 'rol'; use sheet, roll, card, reel"),
    ],
)
def test_a_printer_is_given_only_what_it_feeds(tmp_path: Path, text: str, says: str) -> None:
    status, said = run(
        "print", BOAT, "--printer", profile(tmp_path, text), "--output", tmp_path, "--record", tmp_path / "r"
    )
    assert status == 1
    assert says in said
    assert not list(tmp_path.glob("*.pdf"))


def test_a_tube_printer_prints_what_it_feeds(tmp_path: Path) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite"]
    for stock in ("wrap-roll-25x18", "flag-roll-80x12", "tag-roll-95x54", "strip-1000"):
        words += ["--stock", stock]
    kinds = ["--set", "marker.wire=flag"]
    printer = profile(tmp_path, 'technology = "thermal transfer"\nstock_kinds = ["roll", "reel"]\nmax_width_mm = 108')
    status, said = run("print", BOAT, "--printer", printer, *kinds, *words)
    assert status == 0, said


def test_nothing_stands_where_the_printer_does_not_print(tmp_path: Path) -> None:
    """The first column of the tags begins 10 mm from the page's edge."""
    words = ["print", BOAT, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--printer"]
    status, said = run(*words, profile(tmp_path, "unprintable_margin_mm = 10.5"))
    assert status == 1
    assert "tag-a4-95x54 is printed to 10.0 mm from the edge, the printer leaves 10.5 mm" in said


def test_the_printers_dots_decide_what_it_can_form(tmp_path: Path) -> None:
    """At 203 dpi two dots a stroke ask for capitals of 1.78 mm: too much for the thin wires of the example."""
    status, _ = run("check", BOAT, "--printer", profile(tmp_path, "dpi = 203"))
    assert status == 1
    assert run("check", BOAT, "--printer", profile(tmp_path, "dpi = 203"), "--set", "print.dpi=600")[0] == 0


def as_printed(pdf: bytes, error_x: float, error_y: float) -> np.ndarray:
    """Render at 600 dpi and apply the printer's error about the middle of the page."""
    page = pdfium.PdfDocument(pdf)[0].render(scale=600 / 72, grayscale=True).to_pil()
    width, height = page.size
    small = page.resize((round(width * error_x), round(height * error_y)), Image.Resampling.LANCZOS)
    paper = Image.new("L", (width, height), 255)
    paper.paste(small, ((width - small.width) // 2, (height - small.height) // 2))
    return np.asarray(paper)


def longest_run(lines: np.ndarray) -> tuple[int, int, int]:
    """Return the longest run of ink in a line: its length, where it begins, and the first line that has it."""
    dark = lines < 160
    best = (0, 0, 0)
    for at, ink in enumerate(dark.sum(axis=1)):
        if ink > best[0]:  # else no run of it can be longer
            marks = np.flatnonzero(np.diff(np.concatenate(([0], dark[at].astype(int), [0]))))
            runs = marks[1::2] - marks[::2]
            if runs.max() > best[0]:
                best = (int(runs.max()), int(marks[::2][runs.argmax()]), at)
    return best


def rulers(paper: np.ndarray) -> tuple[float, float]:
    """Measure both rulers between their outer ticks, mm: the longest run of ink along a row and a column."""

    def longest(lines: np.ndarray) -> float:
        return longest_run(lines)[0] / K - 0.1  # from the middle of a tick to that of the last: a line of 0.1 mm

    height = paper.shape[0]
    foot, left = int((INSET_MM + 3) * K), int((INSET_MM + 3) * K)
    return longest(paper[height - foot :]), longest(paper[:, :left].T)


@pytest.mark.parametrize(("error_x", "error_y"), [(0.992, 1.004), (1.01, 0.985)])
def test_a_printed_length_is_right_after_calibration(error_x: float, error_y: float) -> None:
    """Render, apply the printer's error, measure; correct; render and apply it again: 100 mm to 0.1 mm."""
    before = rulers(as_printed(calibration_pdf(A4, Printer(), FONT), error_x, error_y))
    assert before == pytest.approx((100 * error_x, 100 * error_y), abs=0.1)
    corrected = measured(Printer(), *before)
    after = rulers(as_printed(calibration_pdf(A4, corrected, FONT), error_x, error_y))
    assert after == pytest.approx((100, 100), abs=0.1)


def test_sheets_are_corrected_too(tmp_path: Path) -> None:

    from labeler.draw.pdf import draw_sheets
    from labeler.draw.sheet_frame import Header

    sheets = lay_out([Piece("a", Face(95, 54), A4.name)], {A4.name: A4})
    data = draw_sheets(sheets, title="t", header=Header("t"), printer=Printer(scale_x=1.05, scale_y=0.97))
    text = pdfium.PdfDocument(data)[0].get_textpage()
    found = text.search("50 mm").get_next()
    assert found is not None
    plain = draw_sheets(sheets, title="t", header=Header("t"))
    other = pdfium.PdfDocument(plain)[0].get_textpage()
    place = other.search("50 mm").get_next()
    assert place is not None
    centre = 105 * 72 / 25.4
    drawn, usual = text.get_charbox(found[0])[0] - centre, other.get_charbox(place[0])[0] - centre
    assert drawn == pytest.approx(usual * 1.05, abs=0.02)


def test_calibrate(tmp_path: Path) -> None:
    file = tmp_path / "office.toml"
    assert run("calibrate", "printer", file, "--stock", "tag-a4-95x54", "--output", tmp_path)[0] == 0
    assert (tmp_path / "calibration-tag-a4-95x54.pdf").exists()
    assert run("calibrate", "printer", file, "--measured-x", 99.2, "--measured-y", 100.4)[0] == 0
    assert load_printer(str(file)).scale_x == pytest.approx(100 / 99.2, abs=1e-6)
    assert run("calibrate", "printer", file, "--measured-x", 100.5)[0] == 0
    assert load_printer(str(file)).scale_x == pytest.approx(100 / 99.2 * 100 / 100.5, abs=1e-5)
    assert run("calibrate", "printer", file, "--measured-x", 50)[0] == 1
    assert run("calibrate", "printer", file)[0] == 2
    assert run("calibrate", "printer", "--measured-x", 99)[0] == 2
    assert run("calibrate", "printer", file, "--stock", "tag-a4-95x54", "--measured-x", 99)[0] == 2


def test_an_empty_stock_is_no_calibration() -> None:
    assert empty_pdf(A4, FONT) != calibration_pdf(A4, Printer(), FONT)


@pytest.mark.parametrize("given", ["nan", "inf", "-99", "1e400", "9_9", "99.2.1", "ninety", "", "99 cm"])
def test_what_is_no_measure_is_stored_nowhere(tmp_path: Path, given: str) -> None:
    status, said = run("calibrate", "printer", tmp_path / "p.toml", f"--measured-x={given}")
    assert status == 2
    assert "is not a length in mm" in said
    assert not (tmp_path / "p.toml").exists()


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 0.0, -100.0, 89.9, 110.1])
def test_what_is_no_length_of_a_ruler_is_no_correction(value: float) -> None:
    with pytest.raises(LabelerError) as told:
        measured(Printer(), value, value)
    assert len(told.value.problems) == 2  # x and y at once


@pytest.mark.parametrize("given", ["99,2", "99.2 mm", " 99.20 "])
def test_a_measure_is_written_as_it_is_read_from_a_rule(tmp_path: Path, given: str) -> None:
    assert run("calibrate", "printer", tmp_path / "p.toml", "--measured-x", given)[0] == 0
    assert load_printer(str(tmp_path / "p.toml")).scale_x == pytest.approx(1.008065, abs=1e-6)  # 100 / 99.2


def test_a_correction_never_leaves_a_profile_that_cannot_be_read(tmp_path: Path) -> None:
    """A profile's scales are within 10 %: 100 / 95 twice is 1.108."""
    words = ("calibrate", "printer", tmp_path / "p.toml")
    assert run(*words, "--measured-x", 95)[0] == 0
    kept = (tmp_path / "p.toml").read_text("utf-8")
    status, said = run(*words, "--measured-x", 95)
    assert status == 1
    assert "--measured-x: 95 mm makes scale_x 1.108, before 1.05263; it must be 0.9 to 1.1" in said
    assert run(*words, "--measured-x", 90)[0] == 1  # 1.111 of a new profile too
    assert (tmp_path / "p.toml").read_text("utf-8") == kept
    load_printer(str(tmp_path / "p.toml"))


def test_a_correction_leaves_what_somebody_wrote_in_a_profile(tmp_path: Path) -> None:
    text = (
        '# by the window\ndpi = 600  # as its sheet says\nscale_x = 1.01 # in May\r\nunprintable_margin_mm = "1/8 in"\n'
    )
    file = Path(profile(tmp_path, ""))
    file.write_bytes(text.encode("utf-8-sig"))
    assert run("calibrate", "printer", file, "--measured-x", 101, "--measured-y", 98)[0] == 0
    # 1.01 * 100 / 101, 100 / 98
    assert file.read_bytes().decode() == text.replace("scale_x = 1.01", "scale_x = 1.0") + "scale_y = 1.020408\n"
    file.write_text('"scale_x" = 1.01', "utf-8")  # a key as few write it: the profile is written anew
    assert run("calibrate", "printer", file, "--measured-x", 101, "--measured-y", 98)[0] == 0
    assert (load_printer(str(file)).scale_x, load_printer(str(file)).scale_y) == (1.0, 1.020408)


def test_the_page_says_what_it_was_drawn_with_and_for_whom(tmp_path: Path) -> None:
    """What was measured on a page corrects the scales it was drawn with, and no others."""
    words = ("calibrate", "printer", "--stock", A4.name, "--output", tmp_path, "--force")
    status, said = run(*words, tmp_path / "new.toml")
    assert status == 0
    assert "new.toml: there is no such profile yet" in said
    assert "such profile" not in run(*words, profile(tmp_path, "scale_x = 1.02"))[1]
    text = pdfium.PdfDocument(str(tmp_path / f"calibration-{A4.name}.pdf"))[0].get_textpage().get_text_range()
    assert "Drawn with scale_x = 1.02, scale_y = 1." in text


@pytest.mark.parametrize("name", ["", " ", "a\nb", "\x1b[2J"])
@pytest.mark.parametrize(
    "command",
    [
        ("check", BOAT, "--printer"),
        ("print", BOAT, "--printer"),
        ("proof", BOAT, "--printer"),
        ("calibrate", "printer"),
    ],
)
def test_a_printer_without_a_name_is_refused(tmp_path: Path, name: str, command: tuple[str, ...]) -> None:
    status, said = run(*command, name)
    assert status == 2
    assert "'--printer'" in said or "'PRINTER'" in said
    assert "\x1b" not in said


def boxed_sheet(printer: Printer, dpi: float | None) -> bytes:
    """One tag with a box of 80 x 40 mm on it, the longest lines of its page."""

    from labeler.draw.pdf import draw_sheets
    from labeler.draw.sheet_frame import Header

    stock = replace(A4, cut_lines=False, hole_diameter_mm=0.0)
    sheets = lay_out([Piece("a", Face(95, 54, boxes=(Box(7.0, 7.0, 80.0, 40.0),)), stock.name)], {stock.name: stock})
    return draw_sheets(sheets, title="t", header=Header("t"), printer=printer, dpi=dpi)


def box_on(paper: np.ndarray) -> tuple[float, float, float, float]:
    """Return the box's left and upper edge, width and height [mm], between the outer edges of its lines."""
    (width, left, _), (height, top, _) = longest_run(paper), longest_run(np.ascontiguousarray(paper.T))
    return left / K, top / K, width / K, height / K


@cache
def plain_box(dpi: float | None, error_x: float = 1, error_y: float = 1) -> tuple[float, float, float, float]:
    """Return where the box stands and its measures, by a printer without correction."""
    return box_on(as_printed(boxed_sheet(Printer(), dpi), error_x, error_y))


@pytest.mark.parametrize(
    ("dpi", "error_x", "error_y"),
    spread([(None, 0.992, 1.004), (None, 1.03, 0.985), (600.0, 0.992, 1.004), (600.0, 1.03, 0.985)], 2),
)
def test_lengths_on_a_sheet_are_right_after_two_calibrations(dpi: float | None, error_x: float, error_y: float) -> None:
    """The first is read off carelessly, to half a millimetre and along the page alone; the second corrects it."""
    printer, calibrated = Printer(), []
    for careless in (True, False):
        x, y = rulers(as_printed(calibration_pdf(A4, printer, FONT), error_x, error_y))
        printer = measured(printer, round(2 * x) / 2, None) if careless else measured(printer, x, y)
        calibrated.append(printer)
    assert calibrated[0] != calibrated[1]
    line = BOX_LINE_MM
    plain = plain_box(dpi, error_x, error_y)[2:]
    assert plain == pytest.approx((80 * error_x + line, 40 * error_y + line), abs=0.1)
    right = box_on(as_printed(boxed_sheet(printer, dpi), error_x, error_y))[2:]
    assert right == pytest.approx((80 + line, 40 + line), abs=0.1)


@pytest.mark.parametrize(
    ("dpi", "offset"),
    spread([(600.0, (1.5, -2.0)), (600.0, (-0.7, 0.4)), (None, (-0.7, 0.4)), (None, (1.5, -2.0))], 2),
)
def test_what_is_drawn_is_moved_by_the_offset(dpi: float | None, offset: tuple[float, float]) -> None:
    """To the right and upwards, which is towards the first row of a picture."""
    usual = plain_box(dpi)
    moved = box_on(as_printed(boxed_sheet(Printer(offset_x_mm=offset[0], offset_y_mm=offset[1]), dpi), 1, 1))
    dot = 1 / K  # of rounding to whole dots, twice
    assert (moved[0] - usual[0], usual[1] - moved[1]) == pytest.approx(offset, abs=2 * dot)
    assert moved[2:] == pytest.approx(usual[2:], abs=2 * dot)


@pytest.mark.parametrize(
    ("text", "stock", "past"),
    [
        ("offset_x_mm = 11", "tag-a4-95x54", 1.0),  # 10 mm left, two of 95 and 10 right: 210
        ("offset_x_mm = -11", "tag-a4-95x54", 1.0),
        ("offset_x_mm = 9.9", "tag-a4-95x54", 0.0),
        ("scale_x = 1.1", "card-210x148", 5.0),  # 5 mm left: 100 from the middle become 110, and 105 are there
        ("scale_x = 1.04", "card-210x148", 0.0),
        ("offset_y_mm = 0.4", "reel", 0.0),  # the piece is the page, and half a millimetre of it is free
        ("offset_y_mm = -1.2", "reel", 1.2),
    ],
)
def test_nothing_is_drawn_past_the_edge_of_its_page(tmp_path: Path, text: str, stock: str, past: float) -> None:
    words = (BOAT, "--stock", stock, "--printer", profile(tmp_path, text))
    status, said = run("check", *words)
    told = f"office: its scale and offset would draw {stock} {past:.1f} mm past the edge of its page; "
    assert (told in said) == (past > 0), said
    assert status == (1 if past else 0)
    assert run("print", *words, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite")[0] == status
    assert (tmp_path / "out").exists() == (status == 0)


@pytest.mark.parametrize(
    ("stock", "border", "refused"),
    [
        ("wrap-roll-25x18", 2.0, False),  # cells begin 2 mm from the edge of the liner, and are as high as the feed
        ("wrap-roll-25x18", 2.1, True),
        ("tag-roll-95x54", 2.1, True),
        ("reel", 2.1, False),
    ],
)
def test_a_border_holds_across_a_roll(stock: str, border: float, refused: bool) -> None:
    (sheet,) = lay_out([Piece("a", Face(20, 10), stock)], {stock: load_catalogue().stock(stock)})[-1:]
    told = [str(problem) for problem in printer_problems(Printer("tape", unprintable_margin_mm=border), [sheet])]
    says = f"tape: {stock} is printed to 2.0 mm from the edge, the printer leaves 2.1 mm; "
    assert [line.startswith(says) for line in told] == ([True] if refused else [])


def test_a_cell_at_the_very_edge_of_its_page_is_in_the_border() -> None:
    stock = replace(A4, name="edge", left_margin_mm=0.0, cut_lines=False)
    sheets = lay_out([Piece("a", Face(95, 54), "edge")], {"edge": stock})
    (problem,) = printer_problems(Printer("office", unprintable_margin_mm=4.0), sheets)
    assert problem.message == "edge is printed to 0.0 mm from the edge, the printer leaves 4 mm"


@pytest.mark.parametrize("stock", ["strip-1000", "reel"])
@pytest.mark.parametrize("dpi", [0.0, 300.0])
def test_tube_on_a_reel_is_as_long_as_it_should_be(tmp_path: Path, stock: str, dpi: float) -> None:
    """A printer that makes 99.2 mm of 100: its pages are drawn 100 / 99.2 times as long, and their texts too."""
    printer = Printer("short", "thermal transfer", dpi or None, scale_x=100 / 99.2)
    face, stocks = Face(50.0, 8.0, (Run("W", FONT, 4.0, 44.0, 2.0),)), {stock: load_catalogue().stock(stock)}
    sheets = lay_out([Piece(f"M{n}", face, stock, "3/16, WH") for n in range(15)], stocks)
    data = draw_sheets(sheets, title="t", header=Header("RSB-210"), printer=printer, dpi=dpi or None)
    pages = list(pdfium.PdfDocument(data))
    assert len(pages) == len(sheets)
    for page, sheet in zip(pages, sheets, strict=True):
        dot = 25.4 / dpi if dpi else 0.001
        printed = page.get_size()[0] * 25.4 / 72 * 0.992  # what comes out of the printer
        assert printed == pytest.approx(sheet.width_mm, abs=dot)
        text = page.get_textpage()
        found = text.get_text_range()
        lefts = [text.get_charbox(i)[0] for i, sign in enumerate(found) if sign == "W"]
        at = sorted(left * 25.4 / 72 * 0.992 for left in lefts)[-len(sheet.placed) :]
        starts = sorted(each.x_mm + 44.0 for each in sheet.placed)
        if starts:  # the header's own words are on a page before, or on the leader
            bearing = at[0] - starts[0]
            assert 0 <= bearing < 0.5
            assert at == pytest.approx([start + bearing for start in starts], abs=2 * dot)
    assert list(printer_problems(printer, sheets)) == []


def test_a_printer_of_reels_alone_is_calibrated_on_tube(tmp_path: Path) -> None:
    """The ruler on a piece of tube measures 100 mm, and 100 / 99.2 of it when the printer is corrected for 99.2."""
    for scale in (1.0, 100 / 99.2):
        pdf = calibration_pdf(load_catalogue().stock("reel"), Printer("tube", scale_x=scale), FONT)
        page = pdfium.PdfDocument(pdf)[0]
        assert page.get_width() * 25.4 / 72 == pytest.approx(110 * scale, abs=0.01)
        dark = page.render(scale=600 / 72, grayscale=True).to_numpy().squeeze() < 128
        high = [x for x in range(dark.shape[1]) if dark[-round(5 / 25.4 * 600) : -round(3.5 / 25.4 * 600), x].all()]
        assert (high[-1] - high[0]) * 25.4 / 600 == pytest.approx(100 * scale, abs=0.1)  # the ticks at its ends
        assert "--measured-x" in page.get_textpage().get_text_range()


def test_a_set_is_printed_with_a_printer_that_feeds_only_some_of_it(tmp_path: Path) -> None:
    """Sleeves on the printer of reels, with its correction; tags and wraps are drawn as they stand, which is told."""
    file = profile(
        tmp_path, 'technology = "thermal transfer"\nstock_kinds = ["reel"]\nmax_width_mm = 25\nscale_x = 1.01'
    )
    words = ("--stock", "reel", "--printer", file, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite")
    code, said = run("print", BOAT, *words)
    assert code == 0, said
    told = "tag-a4-95x54 is a sheet, and the printer feeds reel: it is drawn without the profile"
    assert told in said
    checked, warned = run("check", BOAT, "--stock", "reel", "--printer", file)
    assert checked == 0  # as the print, which succeeds
    assert told in warned
    tags = pdfium.PdfDocument(str(tmp_path / "out" / "RSB-210-0001-tag-a4-95x54.pdf"))[0]
    assert tags.get_size() == pytest.approx((210 * 72 / 25.4, 297 * 72 / 25.4), abs=0.01)
    (sleeves,) = (path for path in (tmp_path / "out").glob("*reel*1-4*.pdf"))
    lengths = [page.get_width() * 25.4 / 72 for page in pdfium.PdfDocument(str(sleeves))]
    assert lengths[1:] == pytest.approx([45 * 1.01, 35 * 1.01], abs=0.01)  # README: 45 and 35 mm of 1/4 in
    ruler = [obj for obj in tags.get_objects() if obj.type == 2]
    assert ruler  # drawn
    again = ("--reason", "wet", "--printer", file, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite")
    assert told in run("reprint", "--unit", "0001", *again)[1]
    assert run("reprint", "0001 K1", *again)[0] == 1  # a tag alone: nothing of it is fed
    nothing = run("print", BOAT, "--printer", profile(tmp_path, 'stock_kinds = ["roll"]'), "--output", tmp_path / "no")
    assert nothing[0] == 1
