"""Type is measured from the outlines; outside figures name their source."""

import random
from dataclasses import replace
from pathlib import Path

import pytest

from labeler.errors import LabelerError
from labeler.fitting.text import type_size
from labeler.text import font_for, font_names, load_font, weight_for
from tests.cases import spread


@pytest.mark.parametrize("millimetres", [2.00, 1.27])
@pytest.mark.parametrize("name", font_names())
def test_type_size_of_a_capital_height(name: str, millimetres: float) -> None:
    """An H set at the size given for a capital height is that high, drawn by Pillow at 1000 dots a millimetre.

    Sizes are rounded down to 0.01 mm, capitals then by up to 0.0075 mm; one dot for the drawing's edge.
    """
    from PIL import ImageFont

    font = load_font(name)
    size = type_size(millimetres, font, 1.0, 0.0)
    _, top, _, bottom = ImageFont.truetype(str(font.path), round(size * 1000)).getmask("H").getbbox()
    assert millimetres - 0.0095 <= (bottom - top) / 1000 <= millimetres + 0.002


def test_type_size_of_helvetica() -> None:
    """Its CapHeight is 718/1000 (Adobe AFM): 2.00 mm capitals need 7.90 pt, 1.27 mm need 5.01 pt.

    The program's own sum for a face of that capital, to the 0.01 mm (0.03 pt) that it rounds down by.
    """
    helvetica = replace(load_font("Atkinson Hyperlegible"), capital=0.718)
    for millimetres, points in ((2.00, 7.90), (1.27, 5.01)):
        assert points - 0.034 <= type_size(millimetres, helvetica, 1.0, 0.0) * 72 / 25.4 <= points + 0.005
        assert points - 0.034 <= type_size(millimetres, helvetica, 2.0, 0.0) * 2 * 72 / 25.4 <= points + 0.034


@pytest.mark.parametrize("name", font_names())
def test_every_face(name: str) -> None:
    font = load_font(name)
    assert 0.6 < font.capital < 0.75
    assert 0.5 < font.capital_width / font.capital < 1.0  # ISO 9241-3: 0.5 to 1.0 allowed
    assert 1 / 9 < font.stroke / font.capital < 1 / 4
    assert not font.missing("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789:-/.+=&;#()µΩ°ÄÖÜ")
    assert font.width("AB") == pytest.approx(font.advances["A"] + font.advances["B"])
    assert font.above("H") == font.capital
    assert font.below("H") == 0
    assert font.below("g") > 0.1


def test_advances_equal_those_of_the_drawing_library() -> None:
    """reportlab reads the same file independently."""
    from reportlab.pdfbase.ttfonts import TTFont

    font = load_font("Atkinson Hyperlegible")
    other = TTFont("test-advances", str(font.path))
    for text in ("DEPTH J4", "P1:12/J4:2", "Wasserprobe µ"):
        assert font.width(text) == pytest.approx(other.stringWidth(text, 1000) / 1000, abs=1e-6)


def test_capital_height_equals_that_of_pillow() -> None:
    from PIL import ImageFont

    font = load_font("Atkinson Hyperlegible")
    left, top, right, bottom = ImageFont.truetype(str(font.path), 1000).getmask("H").getbbox()
    assert (bottom - top) / 1000 == pytest.approx(font.capital, abs=0.002)
    assert (right - left) / 1000 == pytest.approx(font.capital_width, abs=0.002)


def test_what_is_confused_differs() -> None:
    font = load_font("Atkinson Hyperlegible")
    for one, other in ("0O", "1I", "1l", "5S", "8B"):
        assert (font.advances[one], font.tops[one]) != (font.advances[other], font.tops[other])


def test_a_stand_in_is_named_and_a_missing_sign_refused() -> None:
    font, lacking = font_for("Atkinson Hyperlegible", frozenset("ЖA"))
    assert (font.name, lacking) == ("Fira Sans Condensed", "Ж")
    with pytest.raises(LabelerError, match=r"no glyph for '漢' \(U\+6F22\)"):
        font_for("Atkinson Hyperlegible", frozenset("漢"))


def test_fonts_that_cannot_be_used(tmp_path: Path) -> None:
    with pytest.raises(LabelerError, match="did you mean 'Atkinson Hyperlegible'"):
        load_font("Atkinson Hyperlegibel")
    with pytest.raises(LabelerError, match="cannot be read"):
        load_font(str(tmp_path / "none.ttf"))
    for content in (b"", b"no font at all", b"\0\1\0\0" + bytes(200)):
        broken = tmp_path / f"broken{len(content)}.ttf"
        broken.write_bytes(content)
        with pytest.raises(LabelerError, match="no TrueType outlines"):
            load_font(str(broken))


def test_the_weight_is_chosen_by_the_ground() -> None:
    """1/6 = 0.167 dark on light, 1/7.5 = 0.133 light on dark (DOD-HDBK-791).

    Fira Sans Condensed measures 1/7.40 = 0.135, Medium 1/5.32 = 0.188, Bold 1/4.33 = 0.231.
    """
    assert weight_for("Fira Sans Condensed", light_on_dark=False) == "Fira Sans Condensed Medium"
    assert weight_for("Fira Sans Condensed", light_on_dark=True) == "Fira Sans Condensed"
    assert weight_for("Atkinson Hyperlegible", light_on_dark=False) == "Atkinson Hyperlegible"  # 0.141, Bold 0.236
    assert weight_for("Atkinson Hyperlegible Bold", light_on_dark=False) == "Atkinson Hyperlegible Bold"
    assert weight_for("/some/face.ttf", light_on_dark=False) == "/some/face.ttf"


@pytest.mark.parametrize("case", spread(range(60), 20))
def test_a_damaged_font_is_one_line(case: int, tmp_path: Path) -> None:
    """Cut short, bytes changed, or a hole in it: it is measured, or refused in one line with its file."""
    rng, data = random.Random(case), bytearray(load_font("Atkinson Hyperlegible").path.read_bytes())
    if case % 3 == 0:
        del data[rng.randrange(len(data)) :]
    elif case % 3 == 1:
        for _ in range(rng.choice([1, 20, 400])):
            data[rng.randrange(rng.choice([300, 5000, len(data)]))] = rng.randrange(256)
    else:
        start = rng.randrange(len(data))
        data[start : start + rng.randrange(2000)] = b""
    file = tmp_path / "shop.ttf"
    file.write_bytes(data)
    said = refusal(file)
    assert said == "" or (said.startswith(f"{file}: font ") and "choose a TTF file" in said and "\n" not in said)


def refusal(file: Path) -> str:
    try:
        load_font(str(file))
    except LabelerError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("data", [b"", b"\0\1\0\0", b"true" * 20, b"OTTO" + bytes(100)])
def test_what_is_no_font_at_all(data: bytes, tmp_path: Path) -> None:
    file = tmp_path / "shop.ttf"
    file.write_bytes(data)
    with pytest.raises(LabelerError, match="is damaged, or has no TrueType outlines"):
        load_font(str(file))
