"""Where a code may stand: each limit by hand, what is said when one is broken, and where the symbol lies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import pi, sin
from pathlib import Path
from typing import Any

import hypothesis
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from labeler.answers.report import explain, marker_json, one
from labeler.answers.single import fit_text
from labeler.codes.symbols import PROPOSED, SYMBOLOGIES, symbols
from labeler.draw.pdf import draw_sheets
from labeler.draw.sheet_frame import Header
from labeler.fitting.code import CodeArea, CodeMaker, set_code
from labeler.fitting.film import fit_flag, fit_insert, fit_wrap, wrap_place
from labeler.fitting.result import needed_for
from labeler.fitting.sleeve import SleevePlace, fit_sleeve
from labeler.job.fitting import carries_code, coded
from labeler.model import Code, Fit, Marker, Piece, Placed, Range, Seat, Sheet, Stock
from labeler.record.faces import canonical, face_from_text, face_to_text
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.wording import sentence, sentences
from labeler.work.bench_sheet import bench_sheet
from labeler.work.wording import instructions
from tests.make import NO_CHANGES, Changes, harness, settings
from tests.orders import check

CATALOGUE = load_catalogue()
DOT = 25.4 / 300


def marker(kind: str = "sleeve", code: str = "Data Matrix", changes: Changes = NO_CHANGES) -> Marker:
    chosen = settings({"code.symbology": code, "code.on": (kind,), "sleeve.heating": "even", **changes})
    return Marker("W9X0GRQG", kind, "branch end", "J4", ("J4",), True, chosen)


def codes_of(kind: str, payload: str = "0001 W9X0GRQG") -> CodeMaker:
    def make(other: str, rule: str) -> Iterator[Code]:
        return symbols(other or kind, "W9X0GRQG" if rule == "marker" else payload)

    return CodeMaker(make, SYMBOLOGIES[kind].linear, PROPOSED)


def on_ground(ground: CodeArea, code: str = "Data Matrix", room_mm: float = 60.0, changes: Changes = NO_CHANGES) -> Any:
    one = marker(changes={"code.symbology": code, **changes})
    return set_code(one, codes_of(code), ground, room_mm)


def sleeve(
    low: float, high: float, code: str = "Data Matrix", says: str = "0001 W9X0GRQG", changes: Changes = NO_CHANGES
) -> Fit:
    one, seat = (
        marker(changes={"code.symbology": code, **changes}),
        Seat(Range(low, high), Range(low, high), Range(low, high)),
    )
    return fit_sleeve(one, SleevePlace(seat, choose_tubes(seat, one.settings, CATALOGUE)), codes_of(code, says))


def fault_of(made: Any) -> str:
    return sentence(made.fit.failures[0])


# ---------------------------------------------------------------- the limits


def test_modules_are_whole_dots_and_large_enough_after_shrinking() -> None:
    """Scale 0.6 across: 0.25 mm needs 0.4167 flat, 4.92 dots of 0.0847: 5. Along nothing shrinks: 4 dots at least."""
    made = on_ground(CodeArea(20.0, face=Range(0.8, 0.8), squeeze=Range(1.25, 1.25)))
    assert made.fit.dots_per_module == (4, 5)
    assert (made.module_x_mm, made.module_y_mm) == pytest.approx((4 * DOT, 5 * DOT))
    assert made.fit.module_mm == pytest.approx(min(4 * DOT, 5 * DOT * 0.8))
    assert made.fit.axial_nonuniformity == pytest.approx(0.0, abs=1e-9)  # 4 / (5 x 0.8) is one
    low = on_ground(CodeArea(20.0, face=Range(0.6, 0.6), squeeze=Range(1 / 0.6, 1 / 0.6)))
    assert low.fit.dots_per_module == (4, 7)  # 4 / 0.6 = 6.67 dots would be square: 7 is nearer than 6
    assert low.fit.axial_nonuniformity == pytest.approx(abs(4 - 4.2) / 4.1)


def test_the_stretch_is_held_over_the_whole_interval() -> None:
    """4 dots by 4: scales of 0.9 and 1.1 along over around come out (1.1 - 1) / 1.05 = 0.095 off: grade C, not B."""
    ground = CodeArea(20.0, squeeze=Range(0.91, 1.10), arc_per_mm=2 / 30)
    assert on_ground(ground).fit.failures == ()
    made = on_ground(ground, changes={"code.min_axial_grade": "B"})
    assert len(made.fit.failures) == 1
    assert "limit 0.08 for grade B" in fault_of(made)
    assert any("scales differ 1.21:1; limit 1.17:1" in way for way in sentences(made.fixes))  # (2.08 / 1.92)^2 = 1.174


def test_the_arc_by_hand() -> None:
    """8 modules of 4 dots are 2.709 mm; on 5.4 mm outside 2 x 2.709 / 5.4 = 1.0034 rad = 57.5 degrees; on 5.0 62.1."""
    assert on_ground(CodeArea(20.0, arc_per_mm=2 / 5.4)).fit.arc_deg == pytest.approx(8 * 4 * DOT * 2 / 5.4 * 180 / pi)
    made = on_ground(CodeArea(20.0, arc_per_mm=2 / 5.0))
    assert made.fit.rows == 8
    assert sentences(made.fit.failures) == ("Data Matrix 8 × 32 covers 62.1°; limit 60°",)
    assert "use a part of at least 5.2 mm OD" in sentences(made.fixes)  # 2.709 x 6 / pi = 5.17


def test_a_qr_is_refused_where_a_rectangle_along_the_wire_would_do() -> None:
    made = on_ground(CodeArea(20.0, arc_per_mm=2 / 8.0), "QR")
    assert any("arc" in failure or "covers" in failure for failure in sentences(made.fit.failures))
    assert 'code.symbology = "Data Matrix": 8 × 32, along the wire' in sentences(made.fixes)
    assert sentence(made.fixes[-1]) == 'put the code on the tag (code.on = "tag")'


def test_the_quiet_zone_is_whole() -> None:
    """8 x 32 with one module all round is 10 x 34 modules of 4 dots: 3.387 mm high, 11.515 mm long."""
    made = on_ground(CodeArea(3.39), room_mm=11.52)
    assert made.fit.failures == ()
    assert (made.height_mm, made.width_mm) == pytest.approx((10 * 4 * DOT, 34 * 4 * DOT), abs=1e-3)
    assert "needs 3.4 mm around" in fault_of(
        on_ground(CodeArea(3.38), room_mm=11.52, changes={"code.min_dots_per_module": 4.0})
    )
    short = on_ground(CodeArea(3.39), room_mm=11.50)
    assert "needs 11.5 mm length" in fault_of(short)
    assert "needs 4.7 mm" in fault_of(
        on_ground(CodeArea(4.7), room_mm=60, changes={"code.extra_quiet_zone": 2.0})
    )  # 14 x 4 dots 4.74


def test_bars_are_held_to_5_mm_or_15_percent() -> None:
    """13 signs: 11 for start, 12 characters (4 digits paired), check, stop 13; 4 dots of 0.0847 mm a module."""
    made = on_ground(CodeArea(20.0), "Code 128", room_mm=100.0)
    modules = made.fit.columns
    needed = max(5.0, 0.15 * modules * 4 * DOT)
    assert made.height_mm == pytest.approx(needed, abs=DOT)
    assert made.height_mm >= needed - 1e-6
    assert made.width_mm == pytest.approx((modules + 20) * 4 * DOT, abs=1e-4)
    assert "mm needed (5 mm or 15% of the length)" in fault_of(on_ground(CodeArea(4.0), "Code 128", 100.0))


def test_bars_are_rings_on_a_sleeve_that_is_too_thin_for_a_qr() -> None:
    """8 signs: 11 x 8 + 35 = 123 modules of 4 dots, 41.7 mm: 6.2 mm of bars."""
    assert sleeve(4.5, 4.6, "QR", "W9X0GRQG").result == "fail"
    fit = sleeve(4.5, 4.6, "Code 128", "W9X0GRQG", changes={"sleeve.max_cut_length_mm": 120.0})
    assert fit.surface.text_direction == "along"
    assert fit.code is not None
    assert fit.code.failures == ()
    assert fit.face is not None
    symbol = fit.face.symbol
    assert symbol is not None
    assert len(symbol.rows) == 1
    assert symbol.module_y_mm > 6.2  # their height, across the tube
    assert fit.result == "pass"


# ---------------------------------------------------------------- what is done with it


def test_a_code_that_breaks_a_limit_is_refused_unless_told_to() -> None:
    fit = sleeve(2.4, 2.5)
    assert fit.result == "fail"
    assert any("covers" in reason for reason in sentences(fit.reasons))
    forced = sleeve(2.4, 2.5, changes={"code.allow_failed": True})
    assert forced.result in ("marginal", "fail")
    assert any(reason.startswith("printed, but may not scan: ") for reason in sentences(forced.reasons))


def test_code_and_lettering_share_the_piece() -> None:
    fit = sleeve(9.0, 9.2)
    assert fit.result == "pass"
    face, code = fit.face, fit.code
    assert face is not None
    assert code is not None
    symbol = face.symbol
    assert symbol is not None
    quiet = 1 * symbol.module_x_mm
    assert symbol.x_mm - quiet >= 2.0 - 1e-6  # sleeve.end_margin_mm
    right = symbol.x_mm + len(symbol.rows[0]) * symbol.module_x_mm + quiet
    assert all(run.x_mm > right for run in face.runs)
    middle = symbol.y_mm + len(symbol.rows) * symbol.module_y_mm / 2
    assert middle == pytest.approx(face.height_mm / 2, abs=1e-5)


def test_what_back_first_leaves_uncertain_is_not_asked_of_a_code() -> None:
    """A coded sleeve is fitted for even heating, which the bench sheet names; others stay as they are set."""
    boat = harness()
    one = marker(changes={"sleeve.heating": "unmarked side first"})
    again, make = coded(one, boat, "0001")
    assert again.settings.sleeve.heating == "even"
    assert make is not None
    assert next(make.symbols("", "")).data == "0001 W9X0GRQG"
    assert coded(marker(changes={"sleeve.heating": "any"}), boat, "0001")[0].settings.sleeve.heating == "any"
    assert (
        coded(marker(changes={"code.symbology": "Code 128", "sleeve.heating": "unmarked side first"}), boat, "0001")[
            0
        ].settings.sleeve.heating
        == "unmarked side first"
    )
    plain = replace(one, marked=False)
    assert coded(plain, boat, "0001") == (plain, None)
    assert not carries_code(replace(one, settings=settings({"code.symbology": "QR"})))  # on tags alone, by default


def test_flags_and_wraps_carry_the_symbol_as_often_as_the_text() -> None:
    seat = Seat(Range(5.6, 6.0), Range(5.6, 6.0), Range(5.6, 6.0))
    flag = fit_flag(marker("flag"), seat, CATALOGUE.stock("flag-a4-80x12"), codes_of("Data Matrix"))
    assert flag.result == "pass"
    assert flag.face is not None
    symbol = flag.face.symbol
    assert symbol is not None
    assert symbol.repeats == 2
    assert symbol.x_mm + symbol.step_x_mm + 32 * symbol.module_x_mm < 80.0
    one = marker("wrap")
    place = wrap_place(seat, one.settings, needed_for(one), [CATALOGUE.stock("wrap-a4-25x38")])
    wrap = fit_wrap(one, place, codes_of("Data Matrix"))
    assert wrap.result == "pass"
    assert wrap.face is not None
    assert wrap.face.symbol is not None
    assert wrap.face.symbol.repeats > 1
    insert = fit_insert(
        marker("insert"),
        SleevePlace(seat, choose_tubes(seat, settings(), CATALOGUE)),
        CATALOGUE.stock("insert-a4"),
        codes_of("Data Matrix"),
    )
    assert insert.result == "pass"
    assert insert.code is not None


def test_a_symbol_with_copies_is_kept_and_drawn_as_one_form() -> None:
    seat = Seat(Range(5.6, 6.0), Range(5.6, 6.0), Range(5.6, 6.0))
    face = fit_flag(marker("flag"), seat, CATALOGUE.stock("flag-a4-80x12"), codes_of("Data Matrix")).face
    assert face is not None
    assert face_from_text(face_to_text(face)) == canonical(face)
    stock = Stock("reel", "reel", "flag", "one piece a page")
    sheets = [
        Sheet(stock, n, face.width_mm, face.height_mm, "", (Placed(Piece("A", face, "reel"), "A1", 0.0, 0.0),))
        for n in (1, 2)
    ]
    data = draw_sheets(sheets, title="t", header=Header("t"))
    assert data.count(b"/Subtype /Form") == 1  # drawn four times: twice on each of two pages
    from labeler.codes.reading import read_codes

    with pypdfium2.PdfDocument(data) as document:
        for page in document:
            picture = page.render(scale=600 / 72, grayscale=True).to_numpy()
            found = read_codes(picture.reshape(picture.shape[:2]), ("Data Matrix",))
            assert [one.text for one in found] == ["0001 W9X0GRQG"] * 2


# ---------------------------------------------------------------- by law, and through the whole way


RANGES = st.tuples(st.floats(0.5, 1.0), st.floats(1.0, 1.3)).map(lambda pair: Range(pair[0], pair[0] * pair[1]))


@hypothesis.settings(max_examples=200, deadline=None)
@given(RANGES, RANGES, st.floats(3.0, 60.0), st.sampled_from([203.0, 300.0, 600.0, 1200.0]), st.sampled_from("ABCD"))
def test_an_accepted_code_keeps_every_limit(face: Range, along: Range, outside: float, dpi: float, grade: str) -> None:
    """Each limit is worked out again from the flat symbol, at the ends of the scales, by its definition."""
    squeeze = Range(along.low / face.high, along.high / face.low)
    arc_per_mm = 2 * face.high / outside
    ground = CodeArea(outside * 1.5, along, face, squeeze, arc_per_mm)
    made = on_ground(ground, changes={"print.dpi": dpi, "code.min_axial_grade": grade})
    if made.fit.failures:
        return
    x, y, rows, columns = made.module_x_mm, made.module_y_mm, made.fit.rows, made.fit.columns
    for module in (x, y):
        assert module * dpi / 25.4 == pytest.approx(round(module * dpi / 25.4), abs=1e-3)
        assert round(module * dpi / 25.4) >= 4
    assert min(x * along.low, y * face.low) >= 0.25 - 1e-5
    arc = rows * y * arc_per_mm
    assert arc <= pi / 3 + 1e-6
    sine = [sin(u * arc / 200 + pi / 18) for u in range(-100, 101)]
    wide = sine[-1] - sine[0]
    off = max(abs(s - sine[0] - wide * i / 200) for i, s in enumerate(sine))
    assert rows * off / wide <= 0.38 + 1e-4
    most = {"A": 0.06, "B": 0.08, "C": 0.10, "D": 0.12}[grade]  # ISO/IEC 15415
    for ratio in (squeeze.low, squeeze.high):
        assert abs(x * ratio - y) / ((x * ratio + y) / 2) <= most + 1e-5
    assert (rows + 2) * y <= ground.across_mm + 1e-4
    assert (columns + 2) * x <= 60.0 + 1e-4


BOAT = """
[harness]
name = "River survey boat"
[defaults]
code.symbology = "Data Matrix"
code.on = ["sleeve"]
marker.wire = "none"
[[connector]]
id = "J1"
[[connector]]
id = "J2"
[[circuit]]
id = "W1"
from = "J1:1"
to = "J2:1"
od_mm = 2.0
[[branch]]
id = "B1"
bundle_diameter_mm = {diameter}
code.allow_failed = {anyway}
marker.branch = "sleeve"
  [[branch.end]]
  at = "J1"
"""


def test_the_bench_sheet_says_what_a_code_asks_for(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(BOAT.format(diameter=9.0, anyway="false"), "utf-8")
    checked = check(str(file))
    assert not checked.misfits
    sheet = bench_sheet(checked.sizing, checked.fits, (), ())
    steps = [step for step in (*sheet.thread_first, *sheet.thread_later) if step.at == "J1"]
    assert [step.heating for step in steps] == ["even"]
    assert "carries a Data Matrix code: heat it evenly" in instructions(steps[0].how)


def test_the_bench_sheet_says_that_a_code_was_printed_all_the_same(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(BOAT.format(diameter=3.4, anyway="false"), "utf-8")
    assert len(check(str(file)).misfits) == 1
    file.write_text(BOAT.format(diameter=3.4, anyway="true"), "utf-8")
    checked = check(str(file))
    assert not checked.misfits
    sheet = bench_sheet(checked.sizing, checked.fits, (), ())
    reasons = [reason for remark in sheet.tight for reason in remark.reasons]
    assert any(reason.startswith("printed, but may not scan: Data Matrix") for reason in reasons)


def test_one_question_without_a_file_minds_the_code() -> None:
    fit = fit_text("DEPTH J4", "9.0", settings={"code.symbology": "Data Matrix"})
    assert fit.result == "pass"
    assert fit.code is not None
    assert (fit.code.rows, fit.code.columns) == (8, 32)
    assert any(line.startswith("  code      Data Matrix, 8 x 32 modules") for line in one(fit))
    assert fit_text("DEPTH J4", "2.4", settings={"code.symbology": "QR"}).result == "fail"


def test_a_program_is_told_of_the_code_and_explain_names_its_limits() -> None:
    fit = sleeve(9.0, 9.2)
    assert fit.code is not None
    told = marker_json(fit)["code"]
    assert (told["symbology"], told["data"], told["rows"], told["columns"]) == ("Data Matrix", "0001 W9X0GRQG", 8, 32)
    assert told["failures"] == []
    assert told["arc_deg"] == pytest.approx(fit.code.arc_deg, abs=1e-3)
    lines = "\n".join(explain(fit))
    assert "code        Data Matrix '0001 W9X0GRQG': 8 x 32 modules" in lines
    assert "(<= 60°: GS1" in lines
    assert "(<= 0.10: grade C)" in lines
