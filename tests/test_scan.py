"""Scan: what a scanner types and what a photo holds, looked up in a record; units ticked off."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from click.testing import CliRunner

from labeler.cli.main import main
from labeler.codes.reading import read_codes
from labeler.job.run import Printed
from labeler.record import open_record
from tests.orders import print_harness
from tests.places import EXAMPLES

EXAMPLE = str(EXAMPLES / "survey-boat.toml")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Printed]]:
    """Two units of the example, printed and recorded: the bag tags carry codes."""
    folder = tmp_path_factory.mktemp("shop")
    with open_record(folder / "record.sqlite") as record:
        made = [print_harness(EXAMPLE, folder / "out", record, only=("bag",)) for _ in range(2)]
    return folder, made


def run(shop: tuple[Path, list[Printed]], *words: str) -> Any:
    return CliRunner().invoke(main, ["scan", "--record", str(shop[0] / "record.sqlite"), *words])


def ids(printed: Printed) -> list[str]:
    return [fit.marker.id for fit in printed.fits]


def photo(shop: tuple[Path, list[Printed]], unit: int, name: str, dpi: float = 200) -> Path:
    """Render the sheet of tags of one unit as a camera would see it."""
    path = next(file for file in shop[1][unit].files if "tag" in file.name)
    target = shop[0] / name
    with pypdfium2.PdfDocument(path) as document:
        document[0].render(scale=dpi / 72).to_pil().convert("RGB").save(target)
    return target


def test_what_a_scanner_types(shop: tuple[Path, list[Printed]]) -> None:
    first = ids(shop[1][0])[0]
    done = run(shop, f"0002 {first}")
    assert done.exit_code == 0
    assert f"{first}: the check character holds" in done.output
    assert "RSB-210 C, unit 0002: tag at" in done.output
    assert "unit 0001" not in done.output
    both = run(shop, first.lower())  # the id alone, as typed by hand
    assert "the id alone is in 2 units" in both.output
    assert both.exit_code == 0


def test_a_mistyped_id_is_noticed(shop: tuple[Path, list[Printed]]) -> None:
    first = ids(shop[1][0])[0]
    wrong = first[:3] + ("4" if first[3] != "4" else "7") + first[4:]
    done = run(shop, f"0001 {wrong}")
    assert done.exit_code == 1
    assert f"{wrong}: the check character does not hold" in done.output
    assert "no marker in the record says this" in done.output


@pytest.mark.parametrize("suffix", ["png", "jpg"])
def test_a_photo(shop: tuple[Path, list[Printed]], suffix: str) -> None:
    done = run(shop, str(photo(shop, 1, f"bench.{suffix}")), "--json")
    assert done.exit_code == 0
    scanned = json.loads(done.stdout)["scanned"]
    assert {one["id"] for one in scanned} == set(ids(shop[1][1]))
    assert {item["unit"] for one in scanned for item in one["markers"]} == {"0002"}
    assert all(one["check_character_valid"] for one in scanned)


def test_a_unit_is_ticked_off(shop: tuple[Path, list[Printed]]) -> None:
    sheet = photo(shop, 0, "all.png")
    whole = run(shop, "--unit", "0001", str(sheet))
    assert whole.exit_code == 0
    assert whole.output.count("seen  ") == 8  # 7 bags, one of them with a tag for its pins
    assert "MISSING" not in whole.output
    names = ids(shop[1][0])
    part = run(shop, "--unit", "0001", f"0001 {names[0]}", f"0002 {names[1]}")
    assert part.exit_code == 1
    assert part.output.count("seen  ") == 1
    assert part.output.count("MISSING  ") == 7
    assert f"NOT OF THIS UNIT  '0002 {names[1]}': RSB-210 0002" in part.output
    told = json.loads(run(shop, "--unit", "0001", "--json", f"0001 {names[0]}").stdout)
    assert (told["seen"], sorted(told["missing"])) == ([names[0]], sorted(names[1:]))


def test_a_template_without_the_id_is_found_by_what_it_says(tmp_path: Path) -> None:
    words = {"code.data": "https://example.org/{serial}/{local}"}
    with open_record(tmp_path / "record.sqlite") as record:
        printed = print_harness(EXAMPLE, tmp_path / "out", record, only=("bag",), settings=words)
    at = printed.fits[2].marker.place
    done = run((tmp_path, []), f"https://example.org/0001/{at}")
    assert done.exit_code == 0
    assert f"unit 0001: tag at {at}," in done.output


def test_a_void_marker_is_said(tmp_path: Path) -> None:
    with open_record(tmp_path / "record.sqlite") as record:
        printed = print_harness(EXAMPLE, tmp_path / "out", record, only=("bag",))
        record.void("0001", ids(printed)[0], "smeared", "ada")
    done = run((tmp_path, []), f"0001 {ids(printed)[0]}")
    assert done.exit_code == 1
    assert "void: it must not be used (smeared)" in done.output


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("none.png", None, "cannot be read: No such file"),
        ("text.png", b"hello", "is no PNG or JPEG picture"),
        ("cut.jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF", "cannot be read: is damaged"),
    ],
)
def test_photos_that_cannot_be_read(
    shop: tuple[Path, list[Printed]], tmp_path: Path, name: str, content: bytes | None, says: str
) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    done = run(shop, str(tmp_path / name))
    assert done.exit_code == 1
    assert says in done.output
    assert len(done.output.splitlines()) == 1


def test_photos_cut_short_or_without_a_code(shop: tuple[Path, list[Printed]], tmp_path: Path) -> None:
    from PIL import Image

    Image.new("L", (300, 300), 255).save(tmp_path / "empty.png")
    whole = photo(shop, 0, "whole.png").read_bytes()
    (tmp_path / "half.png").write_bytes(whole[: len(whole) // 2])
    done = run(shop, str(tmp_path / "empty.png"), str(tmp_path / "half.png"))
    assert done.exit_code == 1
    assert "empty.png: no code is found in it" in done.output
    assert "half.png: cannot be read" in done.output


def test_reading_names_the_kind() -> None:
    from labeler.codes.symbols import symbols
    from tests.codes.test_codes import pixels

    for kind in ("QR", "Data Matrix", "Code 128", "Code 39"):
        code = next(symbols(kind, "0001 W9X0GRQG"))
        found = read_codes(pixels(code.rows, code.quiet))
        assert [(one.kind, one.text) for one in found] == [(kind, "0001 W9X0GRQG")]
        assert found[0].unused == (None if kind.startswith("Code") else 1.0)


def test_nothing_scanned_is_wrong_use(shop: tuple[Path, list[Printed]]) -> None:
    done = run(shop, " ")
    assert done.exit_code == 2
    assert "nothing was scanned" in done.output
