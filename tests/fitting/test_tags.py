"""Tags of one bag: everything on one, the pins on a second, or a line that says where they are listed."""

from __future__ import annotations

from math import radians, tan
from pathlib import Path

import pytest

from labeler.model import FAIL
from labeler.record import open_record
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from labeler.wording import sentences
from tests.orders import check, print_harness
from tests.places import EXAMPLES

HEAD = """[harness]
name = "Survey boat"
part_number = "RSB-210"
[defaults]
marker.wire = "none"
marker.branch = "none"
"""

LONG = "of the bulkhead's plug, as drawn"  # so that there is no room for a second column


def write(path: Path, circuits: int, items: int) -> str:
    """Write a harness with one bag: so many circuits at its connector, so many things in it."""
    rows = [
        f'[[circuit]]\nid = "W{n}"\nfrom = "P1:{n}"\nto = "J4:{n}"\nsize = "20 AWG"\n' for n in range(1, circuits + 1)
    ]
    things = ", ".join(f'{{ item = "part {n}, {LONG}", quantity = {n} }}' for n in range(1, items + 1))
    path.write_text(f'{HEAD}{"".join(rows)}[[bag]]\nid = "K4"\nconnector = "J4"\ncontents = [{things}]\n', "utf-8")
    return str(path)


@pytest.mark.parametrize(
    ("circuits", "items", "tags"),
    [(3, 2, ["K4"]), (6, 5, ["K4", "K4 pins"]), (60, 5, ["K4"])],
    ids=["on one", "on a second", "on the bench sheet"],
)
def test_every_pin_is_on_a_tag_or_it_says_where_they_are(
    tmp_path: Path, circuits: int, items: int, tags: list[str]
) -> None:
    fits = check(write(tmp_path / "boat.toml", circuits, items), date="2026-11-25").fits
    assert [fit.marker.place for fit in fits] == tags
    assert {fit.result for fit in fits} == {"pass"}
    lines = [line for fit in fits for line in fit.lines]
    assert [line for line in lines if " x part " in line] == [f"{n} x part {n}, {LONG}" for n in range(1, items + 1)]
    pins = [line for line in lines if " to P1:" in line]
    said = f"{circuits} wire ends: see the bench sheet" in lines
    assert pins == ([] if said else [f"{n} W{n} 20 AWG to P1:{n}" for n in range(1, circuits + 1)])
    assert said == (circuits == 60)
    assert any("unit 0001 2026-11-25" in line for line in fits[0].lines)


def test_both_tags_are_printed_for_their_unit_with_the_date(tmp_path: Path) -> None:
    file = write(tmp_path / "boat.toml", 6, 5)
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(file, tmp_path, record, unit="0042", date="2026-11-25")
        assert [item.row.place for item in record.markers("0042")] == ["K4", "K4 pins"]
        assert record.find("0042 K4 pins")[0].row.place == "K4 pins"
    for fit in printed.fits:
        assert any("unit 0042 2026-11-25" in line for line in fit.lines)


@pytest.mark.parametrize(
    ("key", "value", "role"),
    [
        ("tag.max_title_ratio", "1.2", "bag"),
        ("tag.max_title_share", "0.06", "bag"),
        ("tag.code_share", "0.5", "bag"),
        ("tag.heading_gap", "1.4", "bag"),
        ("tag.tick_box", "1.3", "bag"),
        ("tag.title_gap", "0.8", "bag"),
        ("tag.tick_box_gap", "0.9", "bag"),
        ("print.repeat_gap", "3.0", "wire end"),
    ],
)
def test_what_a_tag_or_wrap_looks_like_can_be_set(key: str, value: str, role: str) -> None:
    boat = str(EXAMPLES / "survey-boat.toml")
    usual, changed = (check(boat, settings=given, only=(role,)).fits for given in ({}, {key: value}))
    assert all(fit.result != FAIL for fit in changed)
    assert any(one.face != two.face for one, two in zip(usual, changed, strict=False))  # a second tag may join


CAUTION = "Power off before work. Sleeves are not insulation."  # README, "Cautions", in few words


def test_a_tag_ends_in_its_caution_at_no_less_than_the_readable_height(tmp_path: Path) -> None:
    """16' at 400 mm: 2 x 400 x tan(8') = 1.86 mm of capitals; below its descenders the margin of the stock is free."""
    (fit,) = check(write(tmp_path / "boat.toml", 3, 2), date="2026-11-25").fits
    assert fit.face is not None
    run = fit.face.runs[-1]
    assert run.text == CAUTION
    font, stock = load_font(run.font), load_catalogue().stock(fit.stock)
    assert run.size_mm * font.capital == pytest.approx(2 * 400 * tan(radians(8 / 60)), abs=0.01)
    assert run.y_mm - font.below(CAUTION) * run.size_mm >= stock.cell_margin_mm - 1e-3
    others = [each.y_mm for each in fit.face.runs[:-1]]
    assert min(others) - run.y_mm >= run.size_mm * font.capital
    assert CAUTION not in fit.lines  # a marker is looked up by what it alone says


def test_a_caution_is_set_shortened_or_left_away_and_that_is_said(tmp_path: Path) -> None:
    file = write(tmp_path / "boat.toml", 3, 2)

    def runs(caution: str) -> tuple[list[str], tuple[str, ...]]:
        (fit,) = check(file, settings={"tag.safety_message": caution}).fits
        assert fit.face is not None
        return [run.text for run in fit.face.runs], sentences(fit.reasons)

    own, reasons = runs("Keep the bag closed until the boat is ashore and its batteries are off and secured")
    assert " ".join(own[-2:]).startswith("Keep the bag closed")  # longer than a line: it is broken between words
    assert reasons == ()
    assert CAUTION not in runs("")[0]
    long, reasons = runs("mind the wet deck " * 40)
    assert not any("wet deck" in text for text in long)
    assert any("safety message does not fit on" in reason and "tag.safety_message" in reason for reason in reasons)


def test_the_second_tag_of_a_bag_repeats_no_caution(tmp_path: Path) -> None:
    first, second = check(write(tmp_path / "boat.toml", 6, 5)).fits
    texts = [[run.text for run in fit.face.runs] for fit in (first, second) if fit.face]
    assert CAUTION in texts[0]
    assert CAUTION not in texts[1]


def test_what_tags_go_without_is_told_when_they_are_printed(tmp_path: Path) -> None:
    """Sixty pins do not go on a tag; a caution of 700 signs does not either. Each is told once, with the tags."""
    file = write(tmp_path / "boat.toml", 60, 0)
    Path(file).write_text(Path(file).read_text("utf-8").replace("contents = []", ""), "utf-8")
    with open_record(tmp_path / "r.sqlite") as record:
        printed = print_harness(file, tmp_path, record, settings={"tag.safety_message": "mind the wet deck " * 40})
    told = [str(note) for note in printed.notes if "tags K4" in str(note)]
    assert len(told) == 2
    assert "tags K4: all rows do not fit on a tag of tag-a4-95x54: it shows their number" in told[0]
    assert "tags K4: safety message does not fit on tag-a4-95x54" in told[1]
