"""Bench sheet: what it says as values, and the drawn page read back. The river survey boat is invented."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from labeler.draw.bench import SIDE_MM, draw_bench_sheet
from labeler.errors import WrongUse
from labeler.harness import index
from labeler.model import (
    CRIMP_CONTACT,
    CRIMP_CONTACTS,
    Circuit,
    ClosingStep,
    Connector,
    Face,
    Fit,
    Harness,
    Installation,
    InstallationStep,
    Marker,
    Obstacle,
    PackedBundle,
    Piece,
    Pin,
    Placed,
    Range,
    Seat,
    Sheet,
    Stock,
    Tube,
    fact,
)
from labeler.size.bundles import Sizing
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.tables.stocks import PAPERS
from labeler.wording import sentence, sentences
from labeler.work import wording
from labeler.work.bench_sheet import BenchSheet, Remark, bench_sheet, safety_messages
from labeler.work.branch_pages import BranchFacts, BranchPage, Picture
from labeler.work.sleeves import Instructions, Place, SleeveRow, as_json, from_json
from tests.make import NO_CHANGES, Changes, new_branch, new_circuit, new_end, new_harness

QUARTER = Tube("AS23053/5", "AS23053/5 1/4", 6.35, 3.175, 0.635, 0.559, 0.711)
HALF = Tube("AS23053/5", "AS23053/5 1/2", 12.7, 6.35, 0.635, 0.559, 0.711)
THREE = Tube("3:1 single wall", "3:1 single wall 9/3", 9.0, 3.0, 0.75, 0.63, 0.87)
CONNECTORS = {
    "P1": "Survey computer",
    "J1": "Bow light",
    "J2": "Sound velocity probe",
    "J3": "Antenna splitter",
    "J4": "Depth sounder",
    "J5": "Motion sensor",
    "J6": "Water sampler",
    "J7": "Winch counter",
}


def open_end(at: str) -> Installation:
    return Installation(at, before=ClosingStep(CRIMP_CONTACTS, (at,)))


# branch, end, text (none: plain), tube, cut length, how it goes on
ENDS: tuple[tuple[str, str, tuple[str, ...], Tube, float, Installation], ...] = tuple(
    (branch, end, text, tube, length, open_end(end))
    for branch, end, text, tube, length in (
        ("B1", "J1", ("BOW LIGHT", "J1"), QUARTER, 30.0),
        ("B1", "P1", (), QUARTER, 20.0),
        ("B2", "J2", ("SOUND VEL", "J2"), QUARTER, 30.0),
        ("B2", "P1", ("PROBE", "P1-A"), QUARTER, 30.0),
        ("B3", "J3", ("ANT SPLIT", "J3"), THREE, 35.0),
        ("B3", "P1", ("ANTENNA", "P1-B"), THREE, 35.0),
        ("B4", "J4", ("DEPTH", "J4"), QUARTER, 30.0),
        ("B4", "P1", (), QUARTER, 20.0),
        ("B5", "J5", ("MOTION", "J5"), HALF, 45.0),
        ("B5", "P1", ("MOTION", "P1-C"), HALF, 45.0),
        ("B6", "J6", ("SAMPLER", "J6"), HALF, 40.0),
        ("B6", "P1", (), HALF, 25.0),
        ("B7", "J7", ("WINCH CNT", "J7"), THREE, 30.0),
        ("B7", "P1", ("WINCH", "P1-D"), THREE, 30.0),
    )
)


def sleeve(
    branch: str,
    at: str,
    text: tuple[str, ...],
    tube: Tube | None,
    length: float,
    how: Installation | None,
    changes: Changes = NO_CHANGES,
) -> Fit:
    bundle = PackedBundle(4, 4.0, 4.0, 5.0, 1.2, 0.05)
    seat = Seat(Range(4, 5), Range(4, 4.5), Range(4, 4.5), wires=4, basis=bundle, installation=how)
    setup = default_settings().changed(changes)
    marker = Marker(f"S-{branch}-{at}", "sleeve", "branch end", at, text, False, setup, bool(text), branch)
    return Fit(marker, "pass", (), text, seat, tube, cut_length_mm=length)


def wrap(circuit: str, at: str, text: str) -> Fit:
    marker = Marker(f"W-{circuit}-{at}", "wrap", "wire end", at, (text,), True, default_settings(), circuit=circuit)
    how = Installation(before=ClosingStep(CRIMP_CONTACT))
    seat = Seat(Range(2, 2), Range(2, 2), Range(2, 2), wire="20 AWG", installation=how)
    return Fit(marker, "pass", (), (text,), seat, stock="wrap-a4-25x18")


def tag(connector: str) -> Fit:
    """A connector's tag that could not hold its wire ends and refers to the bench sheet."""
    marker = Marker(f"T-{connector}", "tag", "bag", connector, (connector,), False, default_settings(), far=connector)
    return Fit(marker, "pass", (), (connector,), stock="tag-a4-95x54", on_bench_sheet=True)


def circuit(number: int, cavity: int, to: str, colour: str, signal: str) -> Circuit:
    return new_circuit(
        f"W{number}", Pin("P1", str(cavity)), Pin(to, str(cavity % 4 + 1)), "20 AWG", "", None, colour, signal
    )


CIRCUITS = tuple(
    circuit(101 + i, i + 1, f"J{i // 2 + 1}", colour, signal)
    for i, (colour, signal) in enumerate(
        zip(
            ("RD", "BK", "OG", "WH", "GN", "YE", "BU", "VT", "GY", "PK", "BN", "WHGN", "WHBU", "RDBU"),
            (
                *("BOW +", "BOW RET", "SV TX", "SV RX", "ANT 1", "ANT 2", "DEPTH TX"),
                *("DEPTH RX", "MOT +", "MOT RET", "SMP +", "SMP RET", "WCH A", "WCH B"),
            ),
            strict=True,
        )
    )
)
BOAT = new_harness(
    name="River survey boat, sensors",
    part_number="RSB-210",
    revision="C",
    settings=default_settings().changed({"sleeve.waste_allowance": 0.0}),
    connectors=tuple(
        Connector(name, description=about, cavities=4 if name != "P1" else 16) for name, about in CONNECTORS.items()
    ),
    circuits=CIRCUITS,
    branches=tuple(
        new_branch(branch, ends=tuple(new_end(end[1]) for end in ENDS if end[0] == branch))
        for branch in dict.fromkeys(end[0] for end in ENDS)
    ),
)
WRAPS = tuple(
    wrap(c.id, str(near), f"{near}/{far}") for c in CIRCUITS for near, far in ((c.start, c.finish), (c.finish, c.start))
)
OVER_P2 = Obstacle("connector", "P2", 11.0)
FITTED = sleeve(
    "B7", "P2", ("SPARE", "P2"), HALF, 35.0, Installation("P2", obstacle=OVER_P2), changes={"sleeve.heating": "even"}
)
FITS = (*(sleeve(*end) for end in ENDS), FITTED, *WRAPS, *map(tag, CONNECTORS))
TURN = fact("turn to read", arc=95.0, reading=90, turning=120)
TOO_WIDE = replace(
    sleeve("B8", "J8", ("PUMP ROOM LEVEL", "J8"), None, 0.0, open_end("J8")),
    result="fail",
    reasons=(
        fact(
            "tube refused", tube="3:1 single wall 39/13", why=(fact("too small to slide on", expanded=39.0, need=41.8),)
        ),
    ),
    fixes=(fact("larger tag"),),
)


def sheets() -> tuple[Sheet, ...]:
    card = Stock("card-210x148", "card", "sleeve", "carrier card")
    labels = Stock("wrap-a4-25x18", "sheet", "wrap", "wires 2 to 4 mm: wraps 25 x 18 mm")
    quarter, half = "AS23053/5 1/4, white", "AS23053/5 1/2, white"

    def of(stock: Stock, number: int, group: str, count: int) -> Sheet:
        piece = Piece("X", Face(1, 1), stock.name, group)
        return Sheet(stock, number, 210, 297, group, tuple(Placed(piece, "A1", 0, 0) for _ in range(count)))

    return (
        of(card, 1, quarter, 12),
        of(card, 2, quarter, 3),
        of(card, 3, half, 4),
        of(labels, 4, "", 28),
        of(card, 5, quarter, 1),
    )


def sheet_of(
    fits: Sequence[Fit],
    left_out: Sequence[Fit] = (),
    on: Sequence[Sheet] = (),
    order: Sequence[InstallationStep] = (),
    harness: Harness = BOAT,
) -> BenchSheet:
    made = bench_sheet(Sizing(index(harness), load_catalogue()), fits, left_out, on, order)
    return replace(made, unit="007", date="14 May 2031")


def how(step: SleeveRow) -> str:
    return wording.instructions(step.how)


def places(steps: Iterable[SleeveRow]) -> list[str]:
    return [wording.place(step.place) for step in steps]


def sample(**changes: object) -> BenchSheet:
    made = sheet_of(FITS, (TOO_WIDE,), sheets())
    return replace(made, **changes)  # type: ignore[arg-type]


# ---------------------------------------------------------------- values


def test_sleeves_to_thread_on_first_come_in_harness_order() -> None:
    made = sheet_of(tuple(reversed(FITS)))
    assert [step.branch for step in made.thread_first] == [end[0] for end in ENDS]
    step = sample().thread_first[6]
    assert (step.place, step.tube, step.cut_length_mm) == (Place("B4", "J4"), "AS23053/5 1/4", 30.0)
    assert step.lines == ("DEPTH", "J4")
    assert step.colour == "white"  # WH, the default of the tube's colour (data/settings.toml)
    assert how(step) == "slide on at J4 before the contacts are crimped; text reads towards J4"


def test_a_branch_is_threaded_in_its_own_order_with_its_covering() -> None:
    order = (
        InstallationStep("B4", "P1", "", 0.0, open_end("J4")),
        InstallationStep("B4", "", "braided sleeving", 4.0, open_end("J4")),
        InstallationStep("B4", "J4", "", 0.0, open_end("J4")),
    )
    made = sheet_of(FITS, order=order)
    steps = [(wording.place(step.place), step.tube) for step in made.thread_first if step.branch == "B4"]
    assert steps == [("B4 at P1", "AS23053/5 1/4"), ("B4", "braided sleeving"), ("B4 at J4", "AS23053/5 1/4")]
    assert not any(cut.tube == "braided sleeving" for cut in made.cuts)
    # numbered from 1 in each branch; no number where no order is given
    assert [step.number for step in made.thread_first if step.branch == "B4"] == [1, 2, 3]
    assert {step.number for step in made.thread_first if step.branch != "B4"} == {0}
    left = next(fit for fit in FITS if (fit.marker.branch, fit.marker.place) == ("B4", "P1"))
    fewer = sheet_of(FITS, (left,), order=order)
    assert [(s.number, s.at) for s in fewer.thread_first if s.branch == "B4"] == [(1, ""), (2, "J4")]


def test_what_passes_an_obstacle_says_how_much_is_to_spare() -> None:
    """12.7 mm supplied over a connector of 11 mm: 1.7 mm."""
    assert FITTED.seat is not None
    seat = replace(FITTED.seat, pass_over=Range(4.0, 11.0), obstacle=OVER_P2)
    (step,) = sheet_of([replace(FITTED, seat=seat)]).thread_later
    assert how(step).startswith("slide over connector P2, 11 mm; 1.7 mm clearance; ")
    (plain,) = sheet_of([FITTED]).thread_later
    assert "clearance" not in how(plain)


def test_what_passes_the_fitted_connector_waits() -> None:
    assert [step.at for step in sample().thread_later] == ["P2"]


@pytest.mark.parametrize(
    ("installed", "first"),
    [
        (open_end("J4"), True),
        (replace(open_end("J4"), own=False, terminated="P1"), True),
        (Installation("valve before pump", obstacle=Obstacle("connector", "valve before pump", 18.0)), False),
        (None, False),
    ],
)
def test_what_a_step_of_the_work_shuts_out_comes_first(installed: Installation | None, first: bool) -> None:
    made = sheet_of([sleeve("B4", "J4", ("J4",), QUARTER, 30, installed)])
    assert (len(made.thread_first), len(made.thread_later)) == ((1, 0) if first else (0, 1))


def test_a_strip_whose_sleeve_passes_what_is_on_waits_too() -> None:
    """It is wound on before shrinking, which shuts nothing out."""
    strip = replace(FITTED, marker=replace(FITTED.marker, kind="insert"))
    (row,) = sheet_of([strip]).thread_later
    assert "wrap the insert around under it before you shrink it" in how(row)


@pytest.mark.parametrize("text", ["slide on at J4 before it is on", "{", "[1]", '{"installation": 1}', '{"x": 1}'])
def test_instructions_that_a_record_keeps_in_words_are_said_as_they_stand(text: str) -> None:
    """They come first: whether a step shuts them out is not known."""
    assert wording.instructions(from_json(text)) == text
    assert from_json(text).closes


def test_what_was_not_recorded_is_said() -> None:
    assert wording.instructions(from_json(as_json(Instructions(place="J4")))) == "not recorded"


def test_wraps_are_not_threaded_nor_cut_but_wire_sleeves_are() -> None:
    lone = replace(WRAPS[0].marker, kind="sleeve", place="J1:1", branch="B1")
    wire = replace(WRAPS[0], marker=lone, tube=QUARTER, cut_length_mm=20.0)
    made = sheet_of((*WRAPS, wire))
    assert places(made.thread_first) == ["B1 at J1:1"]
    assert [cut.quantity for cut in made.cuts] == [1]


def test_equal_pieces_are_cut_together() -> None:
    cuts = {(c.tube, c.cut_length_mm, c.lettered): tuple(map(wording.place, c.places)) for c in sample().cuts}
    # counted by hand in ENDS
    assert cuts[QUARTER.name, 30.0, True] == ("B1 at J1", "B2 at J2", "B2 at P1", "B4 at J4")
    assert cuts[QUARTER.name, 20.0, False] == ("B1 at P1", "B4 at P1")
    assert cuts[HALF.name, 25.0, False] == ("B6 at P1",)
    assert len(cuts) == 8  # 1/4: 30, 20; 9/3: 35, 30; 1/2: 45, 40, 35, 25


def test_totals_are_the_sums_of_the_pieces() -> None:
    totals = {total.tube: total.length_m for total in sample().totals}
    assert totals == {
        QUARTER.name: 0.16,  # 4 x 30 + 2 x 20 = 160 mm
        THREE.name: 0.13,  # 2 x 35 + 2 x 30 = 130 mm
        HALF.name: 0.19,  # 2 x 45 + 40 + 25 + 35 = 190 mm
    }


def test_colours_are_cut_apart() -> None:
    pair = [
        sleeve("B1", at, ("A",), QUARTER, 30, None, changes={"sleeve.colour": code})
        for at, code in (("J1", "YE"), ("P1", "x"))
    ]
    totals = sheet_of(pair).totals
    assert [(total.colour, total.length_m) for total in totals] == [("yellow", 0.03), ("x", 0.03)]


def test_each_sleeve_is_heated_in_its_own_way() -> None:
    ways = {practice.heating: practice for practice in sample().practices}
    # plain sleeves have no lettering to spare
    evenly = [step for step in (*sample().thread_first, *sample().thread_later) if step.heating == "even"]
    assert places(evenly) == ["B1 at P1", "B4 at P1", "B6 at P1", "B7 at P2"]
    assert ways["even"].sleeves == 4
    assert "unmarked side" in wording.HEATING["unmarked side first"]
    assert ways["unmarked side first"].sleeves == 11  # 14 ends less 3 plain ones
    loose = sheet_of([sleeve("B1", "J1", ("A",), QUARTER, 30, None, changes={"sleeve.heating": "any"})])
    assert [practice.heating for practice in loose.practices] == ["any"]


def test_sheets_are_counted_by_stock_and_tube() -> None:
    got = [(p.stock, p.about, p.pieces, p.numbers) for p in sample().printed]
    assert got == [
        ("card-210x148", "AS23053/5 1/4, white", 16, (1, 2, 5)),  # 12 + 3 + 1
        ("card-210x148", "AS23053/5 1/2, white", 4, (3,)),
        ("wrap-a4-25x18", "wires 2 to 4 mm: wraps 25 x 18 mm", 28, (4,)),
    ]


def test_what_is_left_out_is_neither_threaded_nor_cut() -> None:
    gone = replace(FITS[0], result="fail", reasons=(TURN,))
    made = sheet_of(FITS, (gone,))
    assert made.missing == (Remark("sleeve B1 at J1", "BOW LIGHT / J1", "omitted", (sentence(TURN),)),)
    assert "B1 at J1" not in places(made.thread_first)
    assert {total.tube: total.length_m for total in made.totals}[QUARTER.name] == 0.13  # 160 - 30 mm


def test_what_is_made_and_does_not_fit_is_named_too() -> None:
    bad = replace(FITS[0], result="fail", reasons=(TURN,))
    near = replace(FITS[2], result="marginal", reasons=(TURN,))
    made = sheet_of((bad, near))
    assert [(r.place, r.state) for r in made.missing] == [("sleeve B1 at J1", "fail")]
    assert [(r.place, r.reasons) for r in made.tight] == [("sleeve B2 at J2", (sentence(TURN),))]
    assert places(made.thread_first) == ["B1 at J1", "B2 at J2"]


def test_cavities_stand_in_their_natural_order() -> None:
    computer = sample().connectors[0]
    assert (computer.connector, computer.about) == ("P1", "Survey computer, 16 cavities")
    assert [end.cavity for end in computer.ends] == [str(n) for n in range(1, 15)]  # 10 after 9, not after 1
    assert (computer.ends[0].to, computer.ends[0].marker) == ("J1:2", ("P1:1/J1:2",))  # cavity 1 % 4 + 1, see circuit()
    pins = [new_circuit(c, Pin("X", c), Pin("Y", c)) for c in ("B", "10", "²", "A", "9", "9" * 5000)]
    listed = new_harness("h", settings=default_settings(), circuits=tuple(pins))
    named = sheet_of((tag("X"),), harness=listed).connectors[0]
    assert [end.cavity for end in named.ends] == ["9", "10", "9" * 5000, "A", "B", "²"]  # more than 9 digits: a name


def test_only_connectors_whose_tags_refer_here_are_listed() -> None:
    assert sheet_of(WRAPS).connectors == ()
    assert [c.connector for c in sheet_of((tag("J2"),)).connectors] == ["J2"]


def test_every_safety_message_of_the_table_is_taken_and_named_with_its_source() -> None:
    import labeler

    table = Path(labeler.__file__).with_name("data") / "safety_messages.toml"
    rows = tomllib.loads(table.read_text("utf-8"))["message"]
    assert [c.text for c in safety_messages()] == [row["text"] for row in rows]
    assert [c.signal_word for c in safety_messages()] == [row["signal_word"] for row in rows]
    assert all(c.title and c.source and c.source_note for c in safety_messages())


@pytest.mark.parametrize(
    "words",
    [
        # what a sheet that sends people to a hot-air tool has to warn of
        "538 °C",
        "running unattended",
        "anything that burns",
        "Ventilate",
        "fumes",
        "gloves",
        "eye protection",
        "negative terminal first",
        "Secure it",
        "pyrotechnic",
        "machine maker says",
        "adhesive cool",
        "lighter or a torch",
        "fuser",
        "not insulation unless",
        "electrical code",
        "licensed",
    ],
)
def test_the_cautions_name(words: str) -> None:
    assert words in " ".join(f"{c.title} {c.text}" for c in safety_messages())


# ---------------------------------------------------------------- the page, read back


def drawn(sheet: BenchSheet, folder: Path, page: str = "A4") -> Path:
    path = folder / "bench.pdf"
    path.write_bytes(draw_bench_sheet(sheet, page))
    return path


def texts(path: Path) -> list[str]:
    """Return each page's text with blanks closed up: a line break is no difference."""
    import pypdf

    return ["".join(page.extract_text().split()) for page in pypdf.PdfReader(path).pages]


def unsaid(path: Path, *words: str) -> list[str]:
    """Return those of the words that the document does not say."""
    whole = "".join(texts(path))
    return [each for each in words if "".join(each.split()) not in whole]


def test_the_page_says_all_that_the_values_say(tmp_path: Path) -> None:
    sheet = sample()
    path = drawn(sheet, tmp_path)
    rows = [
        f"{wording.place(step.place)}{' / '.join(step.lines) or 'blank'}{step.tube},{step.colour}"
        f"{step.cut_length_mm:g} mm{how(step)}"
        for step in (*sheet.thread_first, *sheet.thread_later)
    ]
    words = (
        *(f"{c.title}: {c.text}" for c in sheet.safety_messages),
        *(c.source for c in sheet.safety_messages),
        *(wording.HEATING[p.heating] for p in sheet.practices),
        *sentences(TOO_WIDE.reasons),
        *sentences(TOO_WIDE.fixes),
        *("PUMP ROOM LEVEL / J8", "omitted", "1 marker omitted"),
        *("0.160 m", "0.130 m", "0.190 m"),  # by hand, see the totals
        *("16 markers on 3 sheets: 1–2, 5", "AS23053/5 1/2, white"),
        *("River survey boat, sensors", "RSB-210 rev C", "007", "14 May 2031"),
        *(fit.lines[0] for fit in WRAPS),
    )
    cuts = (
        "4 × 30 mmB1 at J1, B2 at J2, B2 at P1, B4 at J4",
        "2 × 20 mmblank: B1 at P1, B4 at P1",
        "1 × 25 mmblank: B6 at P1",
    )
    assert len(rows) == 15
    assert unsaid(path, *rows, *cuts, *words) == []


def test_names_of_ends_are_whole_where_the_branch_is_named_once(tmp_path: Path) -> None:
    """More than 120 characters of places: the branch is named once, and "valve at mast" is one name."""
    names = ["valve at mast", "valve at pump", *(f"J{n}" for n in range(10, 32))]
    many = [sleeve("B1", name, ("A", "B"), QUARTER, 30.0, None) for name in names]
    many.append(sleeve("B2", "J99", ("A", "B"), QUARTER, 30.0, None))
    sheet = sheet_of(many)
    said = f"25 × 30 mmB1 at valve at mast, valve at pump, {', '.join(names[2:])}, B2 at J99"
    assert unsaid(drawn(sheet, tmp_path), said) == []


def test_the_sleeves_to_thread_on_head_the_sheet(tmp_path: Path) -> None:
    page = texts(drawn(sample(), tmp_path))[0]
    places = [page.index(words) for words in ("SLIDEONFIRST", "OMITTEDMARKERSThese", "CUTLIST", "METHODS", "PRINTING")]
    assert places == sorted(places)


def test_the_steps_of_a_branch_are_numbered(tmp_path: Path) -> None:
    order = tuple(InstallationStep("B4", at, "", 0.0, open_end("J4")) for at in ("P1", "J4"))
    made = sheet_of(FITS, order=order)
    assert unsaid(drawn(made, tmp_path), "1 B4 at P1 blank", "2 B4 at J4 DEPTH / J4") == []


def test_tight_ones_share_their_reason(tmp_path: Path) -> None:
    tight = tuple(Remark(f"wrap B{n} at J{n}", f"T{n}", "marginal", ("turn to read",)) for n in range(3))
    other = Remark("sleeve B9 at J9", "T9", "marginal", ("one line too many",), ("a shorter text",))
    path = drawn(sample(tight=(*tight, other)), tmp_path)
    row = "wrap B0 at J0 T0, wrap B1 at J1 T1, wrap B2 at J2 T2turn to read"
    assert unsaid(path, row, "sleeve B9 at J9 T9one line too many", "To fix: a shorter text") == []
    assert "".join(texts(path)).count("turntoread") == 1


def fifteen() -> BenchSheet:
    return sheet_of((*FITS[:14], sleeve("B8", "J8", ("PUMP",), HALF, 40, open_end("J8"))), on=sheets())


@pytest.mark.parametrize("page", PAPERS)
def test_fifteen_branch_ends_take_one_page(tmp_path: Path, page: str) -> None:
    made = fifteen()
    assert len(made.thread_first) == 15
    assert len(texts(drawn(replace(made, connectors=()), tmp_path, page))) == 1


def long_sheet() -> BenchSheet:
    steps = sample().thread_first * 12
    huge = replace(steps[0], lines=("W" * 4000,), how=Instructions(written="before " + "word " * 3000))
    return sample(thread_first=(*steps, huge), harness="Boat " * 120)


def test_a_long_list_goes_on_overleaf_and_loses_nothing(tmp_path: Path) -> None:
    path = drawn(long_sheet(), tmp_path)
    pages = texts(path)
    count = len(pages)
    assert count > 5
    assert all(f"page{n}of{count}" in page for n, page in enumerate(pages, 1))
    whole = "".join(pages)
    assert whole.count("DEPTH/J4") == 12
    assert whole.count("word") == 3000
    assert whole.count("W") >= 4000
    assert whole.count("Boat") >= 120


def ink(path: Path) -> Iterator[tuple[float, float, float, float, float, float]]:
    """Yield left, right, lower and upper bound of each page's ink, and the page's size, in mm."""
    import numpy as np
    import pypdfium2

    document = pypdfium2.PdfDocument(path)
    for page in document:
        pixels = np.asarray(page.render(scale=1, grayscale=True).to_numpy()).squeeze()
        rows, columns = np.nonzero(pixels < 250)
        mm = 25.4 / 72
        height, width = pixels.shape
        yield (
            columns.min() * mm,
            (columns.max() + 1) * mm,
            (height - rows.max() - 1) * mm,
            (height - rows.min()) * mm,
            width * mm,
            height * mm,
        )
    document.close()


@pytest.mark.parametrize("page", PAPERS)
@pytest.mark.parametrize("make", [sample, long_sheet])
def test_nothing_leaves_the_page(tmp_path: Path, make: object, page: str) -> None:
    assert callable(make)
    for left, right, low, high, width, height in ink(drawn(make(), tmp_path, page)):
        assert (width, height) == pytest.approx(PAPERS[page], abs=0.36)  # one pixel: 25.4 / 72 mm
        assert left >= SIDE_MM - 1  # a pixel, and half of the heavy rule
        assert right <= width - SIDE_MM + 1
        assert low >= 5  # an office printer leaves 5 mm blank
        assert high <= height - 5


def test_missing_characters_are_stood_in_for_or_spelled_out(tmp_path: Path) -> None:
    # Atkinson Hyperlegible has no Greek capitals (the stand-in has), neither has Chinese
    steps = (replace(sample().thread_first[0], lines=("ΔΡ 中 <b>&amp;",)),)
    path = drawn(sample(thread_first=steps, harness="中 & <i>"), tmp_path)
    assert unsaid(path, "ΔΡ", "<U+4E2D> <b>&amp;", "<U+4E2D> & <i>") == []


def test_all_fonts_are_embedded_and_the_viewer_is_told_not_to_scale(tmp_path: Path) -> None:
    import pypdf

    reader = pypdf.PdfReader(drawn(sample(), tmp_path))
    root: Any = reader.trailer["/Root"]
    found: list[Any] = [page["/Resources"] for page in reader.pages]
    fonts = [font.get_object() for resources in found for font in resources["/Font"].values()]
    assert fonts
    assert all("/FontFile2" in font["/FontDescriptor"] for font in fonts)
    assert root["/ViewerPreferences"]["/PrintScaling"] == "/None"


def test_the_same_sheet_gives_the_same_bytes(tmp_path: Path) -> None:
    first = drawn(sample(), tmp_path).read_bytes()
    assert drawn(sample(), tmp_path).read_bytes() == first
    assert drawn(sample(unit="008"), tmp_path).read_bytes() != first


def test_a_bare_harness_still_has_its_cautions(tmp_path: Path) -> None:
    path = drawn(sheet_of((), harness=new_harness("h", settings=default_settings())), tmp_path)
    assert unsaid(path, "SAFETY", "SLIDE ON") == ["SLIDE ON"]
    assert len(texts(path)) == 1


def test_a_connector_does_not_begin_with_few_of_its_rows_at_the_foot(tmp_path: Path) -> None:
    # nine connectors of four wire ends: six rows never fall apart, wherever the page ends
    small = replace(sample().connectors[0], ends=sample().connectors[0].ends[:4])
    many = tuple(replace(small, connector=f"K{n}") for n in range(9))
    whole = texts(drawn(sample(connectors=many), tmp_path))
    for n in range(9):  # heads that are repeated overleaf would be counted twice
        assert sum(page.count(f"WIRINGTABLEK{n}") for page in whole) == 1


def test_every_page_of_a_branch_says_which_branch_it_is(tmp_path: Path) -> None:
    # 120 wire ends in rows of about 5 mm are 600 mm: two pages at least beside the work, each with its foot
    ends = sample().connectors[0].ends[:1] * 120
    pins = (replace(sample().connectors[0], ends=ends),)
    one = BranchPage("B4", (), BranchFacts({}, None, None, None), (), Picture(None, "", ()), (), pins)
    two = replace(one, branch="B5")
    pages = texts(drawn(sample(branches=(one, two)), tmp_path))
    of_four, of_five = (sum(f"branch{name}·" in page for page in pages) for name in ("B4", "B5"))
    assert of_four == of_five >= 3
    assert not any("branchB4·" in page and "branchB5·" in page for page in pages)
    assert "branchB4·" not in pages[0]


def test_another_page_is_refused() -> None:
    with pytest.raises(WrongUse, match="A4 or Letter"):
        draw_bench_sheet(sample(), "A5")


@pytest.mark.parametrize(("count", "helps"), [(12, True), (13, False)])
def test_many_markers_left_out_are_listed_without_what_would_help(tmp_path: Path, count: int, helps: bool) -> None:
    remarks = tuple(
        Remark(f"wrap W{n}", f"W{n}", "omitted", ("too long", "second"), ("a flag",)) for n in range(100, 100 + count)
    )
    text = "".join(texts(drawn(replace(sample(), missing=remarks), tmp_path)))
    assert all(f"W{n}" in text for n in range(100, 100 + count))
    assert text.count("toolong") == count
    assert ("Tofix:aflag" in text) == helps
    assert ("Seelabelercheckforfixes" in text) != helps
