"""What check promises goes on the stock: cut lengths are held to it, and print prints all that fits."""

import random
from math import inf
from pathlib import Path

import pytest

from labeler.errors import LabelerError
from labeler.fitting.sleeve import SleevePlace, StockLimits, fit_sleeve, room_of
from labeler.model import Fit, Marker, Range, Seat
from labeler.record import open_record
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.tables.stocks import largest_piece
from labeler.wording import sentence, sentences
from tests.answers.test_ways import BASE
from tests.cases import spread
from tests.make import settings
from tests.orders import check, print_harness

CATALOGUE = load_catalogue()


def branch_end(more: str, folder: Path, stock: tuple[str, ...] = ()) -> Fit:
    file = folder / "boat.toml"
    file.write_text(BASE + more, "utf-8")
    return next(fit for fit in check(str(file), stock=stock).fits if fit.marker.role == "branch end")


def test_the_largest_piece() -> None:
    """By the stock's file: slots of 200 mm; 148.5 - 19 - 7 = 122.5 mm between head and foot; a reel has no limit."""
    assert largest_piece(CATALOGUE.stock("card-210x148")) == (200.0, 122.5)
    assert largest_piece(CATALOGUE.stock("reel")) == (float("inf"), float("inf"))
    assert largest_piece(CATALOGUE.stock("wrap-a4-25x18")) == (25.0, 18.0)


def test_a_piece_the_card_does_not_take_is_refused_with_the_stock_the_limit_and_the_remedy(tmp_path: Path) -> None:
    more = 'text = "J4"\ncut_length_mm = 205\n'
    fit = branch_end(more, tmp_path)
    assert fit.result == "fail"
    assert "205 ×" in sentence(fit.reasons[0])
    assert "card-210x148 takes 200 × 122.5 mm: use --stock reel or cut shorter" in sentence(fit.reasons[0])
    assert any(way.startswith("use --stock reel, cut 205 mm") for way in sentences(fit.fixes))
    assert branch_end(more, tmp_path, ("reel",)).result == "pass"


@pytest.mark.parametrize("longest", [60, 100])
def test_a_free_length_is_chosen_within_the_stock(longest: int) -> None:
    """The text alone takes 62.3 mm at the required height, more than a slot of 62 mm, whose longest step is 60 mm.

    By its advances: 32 signs at 1.86 mm after shrinking; the reason says the same figure.
    """
    on = Range(4.0, 4.6)
    seat, chosen = (
        Seat(on, on, on),
        settings({"sleeve.max_cut_length_mm": float(longest), "sleeve.text_direction": "along"}),
    )
    marker = Marker("ID", "sleeve", "branch end", "J4", ("STARBOARD:WORK:LIGHT:FORWARD:P2",), True, chosen)
    tubes = choose_tubes(seat, chosen, CATALOGUE)
    fit = fit_sleeve(marker, SleevePlace(seat, tubes, None, StockLimits(62.0, 122.5, "narrow card")))
    assert fit.result == "marginal"  # 1.86 mm in the middle of the range only
    assert fit.cut_length_mm == 60
    free = fit_sleeve(marker, SleevePlace(seat, tubes, None, StockLimits(inf, inf, "reel")))
    assert (free.result == "pass") == (longest > 62)


def test_a_tube_wider_than_the_stock_is_passed_by() -> None:
    """On a stock 5 mm high: 1/8 in tube is pi (3.18 + wall) / 2 = 5.7 mm flat, 1/4 in tube 10.5 mm."""
    on = Range(4.0, 4.6)
    seat, chosen = Seat(on, on, on), settings()
    marker = Marker("ID", "sleeve", "branch end", "J4", ("J4",), True, chosen)
    place = SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE), None, StockLimits(62.0, 5.0, "low"))
    fit = fit_sleeve(marker, place)
    assert fit.result == "fail"
    assert any(r.endswith("low takes 62 × 5 mm: take a smaller tube") for r in sentences(fit.reasons))


def test_leave_out_leaves_out_only_what_the_stock_does_not_take(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(BASE + 'text = "J4"\ncut_length_mm = 205\n[[branch.end]]\nat = "P1"\ntext = "P1"\n', "utf-8")
    with open_record(tmp_path / "record.sqlite") as record:
        with pytest.raises(LabelerError, match="--stock reel"):
            print_harness(str(file), tmp_path / "out", record)
        printed = print_harness(str(file), tmp_path / "out", record, leave_out=True)
    assert [fit.marker.place for fit in printed.omitted] == ["J4"]
    assert "P1" in {placed.piece.label for sheet in printed.sheets for placed in sheet.placed}


def test_room_names_a_stock_that_takes_more() -> None:
    room = room_of(CATALOGUE.stock("card-210x148"), CATALOGUE.stocks)
    assert room.larger is not None
    assert room.larger.stock == "reel"
    assert room_of(CATALOGUE.stock("reel"), CATALOGUE.stocks).larger is None


WORDS = ("DEPTH", "WINCH", "J4", "P1:12", "PROFILER", "3", "STARBOARD", "=F1-K1:13", "gyj")


def drawn_harness(rng: random.Random) -> str:
    """A harness file with two to four branch ends, wires of one to six, and settings far from the usual."""
    lines = ["[harness]", 'name = "Survey boat"', "[defaults]"]
    drawn = {
        "sleeve.max_cut_length_mm": rng.choice([70, 150, 300]),
        "sleeve.min_cut_length_mm": rng.choice([10, 20, 40, 70]),
        "sleeve.cut_lengths_mm": rng.choice(["[]", "[25, 38, 64, 90]", "[210]"]),
        "sleeve.covering_overlap_mm": rng.choice([0, 5, 10, 40]),
        "sleeve.end_margin_mm": rng.choice([0, 2, 5]),
        "covering": rng.choice(['"none"', '"braided sleeving"']),
        "sleeve.text_direction": rng.choice(['"auto"', '"around"', '"along"']),
        "sleeve.text_on": rng.choice(['"covering"', '"bundle"']),
        "sleeve.heating": rng.choice(['"even"', '"unmarked side first"', '"any"']),
        "sleeve.printed_sides": rng.choice(['"one"', '"both"']),
        "marker.branch": rng.choice(['"sleeve"', '["sleeve", "wrap"]', '"insert"', '"wrap"', '"flag"']),
        "marker.wire": rng.choice(['"wrap"', '"sleeve"', '"insert"', '"flag"']),
        "print.wire_reading_distance_mm": rng.choice([200, 300]),
        "print.reading_distance_mm": rng.choice([200, 400]),
    }
    lines += [f"{key} = {value}" for key, value in drawn.items()]
    for name in ("P1", "J4"):
        lines += ["[[connector]]", f'id = "{name}"', "max_width_mm = 20"]
    for n in range(1, rng.randint(2, 7)):
        size = rng.choice(["22 AWG", "16 AWG", "8 AWG"])
        lines += ["[[circuit]]", f'id = "W{n}"', f'from = "P1:{n}"', f'to = "J4:{n}"', f'size = "{size}"']
    lines += ["[[branch]]", 'id = "B4"']
    for name in ("P1", "J4"):
        text = " ".join(rng.choices(WORDS, k=rng.randint(1, 5)))
        lines += ["[[branch.end]]", f'at = "{name}"', f'text = "{text}"']
        if rng.random() < 0.4:
            lines.append(f"cut_length_mm = {rng.choice([15, 30, 62, 63, 80])}")
        if rng.random() < 0.2:
            lines.append("marked = false")
    return "\n".join(lines)


@pytest.mark.parametrize("case", spread(range(40), 8))
def test_whatever_check_calls_fitting_is_printed(case: int, tmp_path: Path) -> None:
    rng = random.Random(case)
    file = tmp_path / "boat.toml"
    file.write_text(drawn_harness(rng), "utf-8")
    stock = rng.choice([(), ("reel",)])
    checked = check(str(file), stock=stock)
    with open_record(tmp_path / "record.sqlite") as record:
        printed = print_harness(str(file), tmp_path / "out", record, stock=stock, leave_out=True)
    on_paper = {placed.piece.marker for sheet in printed.sheets for placed in sheet.placed}
    wanted = {fit.marker.id for fit in checked.fits if fit.result != "fail" and fit.marker.marked}
    assert on_paper == wanted
    assert {fit.marker.id for fit in printed.omitted} == {fit.marker.id for fit in checked.misfits}
