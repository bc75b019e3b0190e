"""Pages of branches: the order of the work, lengths of covering, the picture measured. The boat is invented."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pypdfium2
import pytest

from labeler.draw.bench import draw_bench_sheet
from labeler.draw.picture import SCALES, scale_for
from labeler.harness import index
from labeler.model import (
    CRIMP_CONTACTS,
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
    Pin,
    Range,
    Run,
    Seat,
    SeatCovering,
    SleeveSection,
    Surface,
    Tube,
    fact,
)
from labeler.size.bundles import Sizing
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.wording import sentence
from labeler.work.bench_sheet import BenchSheet, bench_sheet
from labeler.work.branch_pages import BranchPage, branch_pages, covering_cut
from labeler.work.sleeves import sleeve_rows
from labeler.work.wording import facts, heading, work_step
from tests.make import NO_CHANGES, Changes, new_branch, new_circuit, new_end, new_harness

MM = 72 / 25.4
SETTINGS = default_settings().changed({"covering": "braided sleeving", "bundle.covering_allowance": 0.1})
NINE = Tube("3:1 single wall", "3:1 single wall 9/3", 9.0, 3.0, 0.75, 0.63, 0.87)
FONT = "Atkinson Hyperlegible"


def boat(**ends: Any) -> Harness:
    return new_harness(
        "River survey boat",
        part_number="RSB-210",
        settings=SETTINGS,
        connectors=(
            Connector("J4", description="Water quality probe", cavities=6, max_width_mm=16),
            Connector("P1", description="Bulkhead plug", cavities=37),
        ),
        circuits=(
            new_circuit("W401", Pin("P1", "22"), Pin("J4", "1"), "0.75 mm2", colour="RD", signal="12 V PROBE"),
            new_circuit("W402", Pin("P1", "23"), Pin("J4", "2"), "0.5 mm2", colour="BN", signal="0 V PROBE"),
        ),
        branches=(
            new_branch(
                "B4",
                ends=(new_end("J4", distance_from_connector_mm=25.0, **ends), new_end("P1", marked=False)),
                length_mm=2650.0,
                settings=SETTINGS,
            ),
        ),
    )


# 40 mm flat over the covering's edge: 30 to 32 mm on it and 9 to 11 mm on the bare wires, 41 mm in the middle.
PARTS = (SleeveSection(32, Range(30, 32)), SleeveSection(11, Range(9, 11)))
BUNDLE = PackedBundle(2, 4.0, 4.0, 5.0, 1.2, 0.05)
BRAID = SeatCovering("braided sleeving", Range(0.5, 0.5), "")
SEAT = Seat(Range(5, 6), Range(4, 5), Range(5, 6), wires=2, basis=BUNDLE, covering=BRAID)


OTHER = Run("PLUG P1", FONT, 4.0, 12.0, 6.0, 1.3)


def lettered(harness: Harness, changes: Changes = NO_CHANGES) -> Fit:
    own = SETTINGS.changed(changes)
    marker = Marker("S-J4", "sleeve", "branch end", "J4", ("PROBE J4",), False, own, True, "B4")
    face = Face(43, 14, (Run("PROBE J4", FONT, 4.0, 12.0, 6.0, 1.3),))
    return Fit(
        marker,
        "pass",
        (),
        ("PROBE J4",),
        SEAT,
        NINE,
        face=face,
        cut_length_mm=43,
        tube_od_mm=(10.5, 6.6, 7.4),  # 7.0 in the middle
        surface=Surface(marked_side_scale=Range(0.6, 0.8), longitudinal_scale=Range(0.95, 1.0)),
        sections=PARTS,
    )


def plain() -> Fit:
    marker = Marker("S-P1", "sleeve", "branch end", "P1", (), False, SETTINGS, False, "B4")
    return Fit(marker, "pass", (), (), SEAT, NINE, cut_length_mm=20, tube_od_mm=(10.5, 6.6, 7.4), sections=PARTS[:1])


def wrap(circuit: str, at: str) -> Fit:
    marker = Marker(f"W-{at}", "wrap", "wire end", at, (at,), True, SETTINGS, circuit=circuit)
    return Fit(marker, "pass", (), (at,))


def crimping(at: str) -> ClosingStep:
    return ClosingStep(CRIMP_CONTACTS, (at,))


ORDER = (
    InstallationStep("B4", "", "braided sleeving", 5.0, Installation("J4", False, None, crimping("J4"))),
    InstallationStep("B4", "J4", "", 6.0, Installation("J4", True, None, crimping("J4"))),
    InstallationStep("B4", "P1", "", 6.0, Installation("P1", True, None, crimping("P1"))),
)


def fits(harness: Harness, changes: Changes = NO_CHANGES) -> tuple[Fit, ...]:
    wraps = [wrap(c.id, str(pin)) for c in harness.circuits for pin in (c.start, c.finish)]
    return (lettered(harness, changes=changes), plain(), *wraps)


def sizing(harness: Harness) -> Sizing:
    return Sizing(index(harness), load_catalogue())


def page(harness: Harness, order: tuple[InstallationStep, ...] = ORDER, changes: Changes = NO_CHANGES) -> BranchPage:
    made = fits(harness, changes=changes)
    return branch_pages(sizing(harness), made, sleeve_rows(harness, made, order), order)[0]


def steps(found: BranchPage) -> list[str]:
    return [work_step(step)[0] for step in found.work]


def details(found: BranchPage) -> dict[str, str]:
    return dict(map(work_step, found.work))


def sheet(harness: Harness, changes: Changes = NO_CHANGES) -> BenchSheet:
    made = fits(harness, changes=changes)
    return replace(bench_sheet(sizing(harness), made, (), (), ORDER, pages=True), unit="0001")


def drawn(harness: Harness, changes: Changes = NO_CHANGES) -> pypdfium2.PdfDocument:
    data = draw_bench_sheet(sheet(harness, changes=changes), "A4")
    return pypdfium2.PdfDocument(data)


# ---------------------------------------------------------------- what it says


def test_threading_comes_before_crimping_and_shrinking_last() -> None:
    work = steps(page(boat()))
    assert work == [
        "Covering: braided sleeving, 2880 mm",  # by hand, see below
        "Sleeve “PROBE J4”: 3:1 single wall 9/3, white, 43 mm",
        "Sleeve blank: 3:1 single wall 9/3, white, 20 mm",
        "Apply 2 wire markers at J4, one per wire",
        "Crimp the contacts of J4",
        "Insert the contacts into J4",
        "Apply 2 wire markers at P1, one per wire",
        "Crimp the contacts of P1",
        "Insert the contacts into P1",
        "Place the edge of the braided sleeving 35 mm from J4",  # 25 mm to the sleeve, 10 mm of it on the bare wires
        "“PROBE J4”: its edge 25 mm from J4; shrink",
        "Blank sleeve: at P1; shrink",
    ]


def test_a_fitted_connector_is_not_crimped_again_and_what_passes_it_comes_later() -> None:
    over = replace(ORDER[1], how=Installation("J4", True, Obstacle("connector", "J4", 16.0)))
    made = page(boat(connector_installed=True), (ORDER[0], over, ORDER[2]))
    work = steps(made)
    assert not any("of J4" in what or "Insert the contacts into J4" in what for what in work)
    assert work.index("Sleeve “PROBE J4”: 3:1 single wall 9/3, white, 43 mm") > work.index(
        "Insert the contacts into P1"
    )


def test_wire_sleeves_are_threaded_before_their_contacts_are_crimped() -> None:
    harness = boat()
    made = [replace(f, marker=replace(f.marker, kind="sleeve")) if f.marker.on_wire else f for f in fits(harness)]
    (found,) = branch_pages(sizing(harness), made, sleeve_rows(harness, made, ORDER), ORDER)
    work = steps(found)
    assert work.index("Slide on 2 wire sleeves at J4, one per wire") < work.index("Crimp the contacts of J4")


def test_heating_and_the_edge_of_the_covering_stand_beside_the_shrinking() -> None:
    said = details(page(boat()))["“PROBE J4”: its edge 25 mm from J4; shrink"]
    assert said.startswith("10 mm on bare wire")
    assert said.endswith("Heat the unmarked side until it has recovered; turn; finish the marked side.")


def test_covering_is_cut_with_its_allowance() -> None:
    harness = boat()
    (branch,) = harness.branches
    ends = {"J4": lettered(harness), "P1": plain()}
    cut = covering_cut(branch, ends, load_catalogue())
    # (2650 - 25 - 10) x 1.1 = 2876.5, up to whole 5 mm
    assert cut is not None
    assert cut.length_mm == 2880
    none = covering_cut(replace(branch, settings=SETTINGS.changed({"covering": "none"})), ends, load_catalogue())
    unknown = covering_cut(replace(branch, length_mm=None), ends, load_catalogue())
    assert none is None
    assert unknown is not None
    assert unknown.length_mm is None


def test_a_covering_that_is_wound_is_not_cut() -> None:
    """Wound after the connectors are on, over as much of the branch as a braid would be cut for."""
    harness = boat()
    (branch,) = harness.branches
    taped = replace(harness, branches=(replace(branch, settings=SETTINGS.changed({"covering": "tape"})),))
    found = page(taped, ORDER[1:])
    work = steps(found)
    assert (
        work.index("Insert the contacts into J4")
        < work.index("Wrap or fit the tape")
        < work.index("“PROBE J4”: its edge 25 mm from J4; shrink")
    )
    assert details(found)["Wrap or fit the tape"] == "over 2880 mm"
    assert ("covering", "tape, over 2880 mm") in list(facts(found.facts))
    assert not any(step.startswith("Wind") for step in steps(page(harness)))
    assert found.facts.covering is not None
    data = draw_bench_sheet(replace(sheet(harness), branches=(found,), coverings=(found.facts.covering,)), "A4")
    words = "".join(p.get_textpage().get_text_range() for p in pypdfium2.PdfDocument(data)).split()
    text = " ".join(words)
    assert text.count("over 2880 mm") == 4  # the cuts of the harness; facts, work and cuts of the branch
    assert "1 × 2880 mm" not in text


def test_every_wire_end_of_the_branch_stands_in_a_pin_table() -> None:
    pins = {(ends.connector, end.cavity, end.circuit, end.to) for ends in page(boat()).pins for end in ends.ends}
    assert pins == {
        ("J4", "1", "W401", "P1:22"),
        ("J4", "2", "W402", "P1:23"),
        ("P1", "22", "W401", "J4:1"),
        ("P1", "23", "W402", "J4:2"),
    }


def test_an_end_between_breakouts_is_joined() -> None:
    harness = boat()
    harness = replace(harness, connectors=(harness.connectors[0], Connector("N1", kind="breakout")))
    (branch,) = harness.branches
    branch = replace(branch, ends=(branch.ends[0], new_end("N1", marked=False)))
    work = steps(page(replace(harness, branches=(branch,))))
    assert "Join the branches at N1" in work


# ---------------------------------------------------------------- the picture


@pytest.mark.parametrize(
    ("length", "room", "expected"),
    [(70, 73, 1), (74, 73, 2), (2650, 158, 20), (158 * 50, 158, 50), (158 * 1001, 158, 1002)],
)
def test_scale(length: float, room: float, expected: int) -> None:
    assert scale_for(length, room) == expected


def test_the_scales_are_those_of_drawings() -> None:
    """ISO 5455 recommends reductions 1 : 2, 5, 10, 20, 50, 100 …; 15 and 25 stand between them (project choice)."""
    assert set(SCALES) - {15, 25} == {1, 2, 5, 10, 20, 50, 100, 200, 500, 1000}


LINE_MM = 0.2  # pdfium's bounds of a path lie a whole line width outside it, on each side


def rectangles(page: pypdfium2.PdfPage) -> list[tuple[float, float]]:
    """Return widths and heights of all paths, mm, without their lines."""
    found = (obj.get_bounds() for obj in page.get_objects() if obj.type == 2)
    return [((right - left) / MM - 2 * LINE_MM, (top - low) / MM - 2 * LINE_MM) for left, low, right, top in found]


def test_a_sleeve_is_drawn_to_scale() -> None:
    # 25 mm to its edge, 31 + 10 = 41 mm long, 8 mm free beyond: 74 mm, and 73 would have room at 1 : 1. So 1 : 2.
    sizes = rectangles(drawn(boat())[1])
    assert (20.5, 3.5) in [(round(w, 1), round(h, 1)) for w, h in sizes]  # 41 / 2, 7.0 / 2
    # The other end: 25 + 31 + 8 mm have room at 1 : 1.
    assert (31.0, 7.0) in [(round(w, 1), round(h, 1)) for w, h in sizes]
    # The whole branch, 2650 mm in 157 mm: 1 : 20, where 41 and 31 mm are 2.05 and 1.55 mm.
    widths = [w for w, h in sizes if abs(h - 2.6) < 0.05 and w < 10]
    assert sorted(widths) == pytest.approx([1.55, 2.05], abs=0.03)


def upright(page: pypdfium2.PdfPage, text: str) -> list[bool]:
    """Tell for every such text of the page whether it stands upright."""
    objects = [obj for obj in page.get_objects(textpage=page.get_textpage()) if obj.type == 1]
    return [obj.get_matrix().a > 0 for obj in objects if obj.extract().strip() == text]


@pytest.mark.parametrize("reading", ["towards connector", "away from connector"])
def test_the_first_end_reads_upright_as_drawn(reading: str) -> None:
    document = drawn(boat(), changes={"sleeve.reads": reading})
    text = document[1].get_textpage().get_text_range()
    left, right = text.index("P1, drawn 1 :"), text.index("J4, drawn 1 :")
    assert (left < right) == (reading == "towards connector")  # its line ends at J4, or begins there
    assert upright(document[1], "PROBE J4") == [True]


def test_lettering_at_the_other_end_stands_on_its_head() -> None:
    """On a line that reads to the right at one end, "towards the end" reads to the left at the other."""
    harness = boat()
    (branch,) = harness.branches
    branch = replace(branch, ends=(branch.ends[0], new_end("P1")))
    second = lettered(harness)
    second = replace(second, marker=replace(second.marker, place="P1"), face=Face(43, 14, (OTHER,)))
    pages = bench_sheet(sizing(replace(harness, branches=(branch,))), (lettered(harness), second), (), (), pages=True)
    data = draw_bench_sheet(pages, "A4")
    page = pypdfium2.PdfDocument(data)[1]
    assert (upright(page, "PROBE J4"), upright(page, "PLUG P1")) == ([True], [False])


def test_a_page_for_each_branch_and_its_number_in_the_foot() -> None:
    document = drawn(boat())
    assert len(document) == 2
    text = "".join(document[1].get_textpage().get_text_range().split())
    assert "BRANCHB4" in text
    assert "page2of2" in text
    for words in ("2650mm;drawn1:20", "41mmaftershrinking", "1×2880mm", "W401", "12VPROBE", "SAFETY"):
        assert words in text, words


def test_a_connector_that_other_branches_fill_too_is_locked_last() -> None:
    """P1 takes a third wire that this branch does not carry: two of three are pinned here."""
    harness = boat()
    other = new_circuit("W501", Pin("P1", "29"), Pin("J5", "1"), "18 AWG")
    made = fits(harness)
    harness = replace(harness, circuits=(*harness.circuits, other))
    (found,) = branch_pages(sizing(harness), made, sleeve_rows(harness, made, ORDER), ORDER)
    said = details(found)
    assert said["Insert 2 contacts into P1"].endswith("engage the secondary lock, if any, when all 3 wires are in")
    assert "Insert the contacts into J4" in said


def test_markers_of_a_fitted_end_and_of_an_end_without_a_sleeve_are_put_on_too() -> None:
    work = steps(page(boat(connector_installed=True)))
    assert "Apply 2 wire markers at J4, one per wire" in work
    harness = boat()
    (branch,) = harness.branches
    work = steps(page(replace(harness, branches=(replace(branch, ends=branch.ends[:1]),))))
    assert work.index("Apply 2 wire markers at P1, one per wire") < work.index("Crimp the contacts of P1")


def test_markers_come_before_a_splice_is_made() -> None:
    harness = boat()
    harness = replace(harness, connectors=(harness.connectors[0], Connector("P1", kind="splice")))
    work = steps(page(harness))
    assert work.index("Apply 2 wire markers at P1, one per wire") < work.index("Make the splice P1")


def test_the_only_end_of_a_branch_reads_upright_too() -> None:
    harness = boat()
    (branch,) = harness.branches
    document = drawn(replace(harness, branches=(replace(branch, ends=branch.ends[:1]),)))
    assert upright(document[1], "PROBE J4") == [True]


def test_the_page_says_what_was_left_out() -> None:
    """A sleeve that is not made has no step; what stands there instead names it, why, and what helps."""
    harness = boat()
    reason, way = fact("no strip left", width=1.0, height=2.0), fact("divide the bag")
    gone = replace(lettered(harness), reasons=(reason,), fixes=(way,))
    (page,) = branch_pages(sizing(harness), (), (), (), (gone,))
    (work,) = [work for work in page.work if "OMITTED" in work_step(work)[0]]
    what, why = work_step(work)
    assert (heading(work), what) == ("SLIDE ON", "OMITTED: sleeve “PROBE J4” at J4")
    assert sentence(reason) in why
    assert sentence(way) in why
    assert [end.at for end in page.picture.ends if end.absent] == ["J4"]
    sheet = bench_sheet(sizing(harness), (), (gone,), (), pages=True)
    data = draw_bench_sheet(sheet, "A4")
    drawn = " ".join(pypdfium2.PdfDocument(data)[1].get_textpage().get_text_range().split())
    assert "its marker was left out" in drawn
    assert "no sleeve omitted “PROBE J4” at J4" in drawn


def test_a_long_name_stays_in_its_box_and_clear_of_the_dimensions() -> None:
    """Words as the page has them: names end in dots within a box of 12 mm, captions stand above all other words."""
    harness = boat()
    (branch,) = harness.branches
    long = "CABIN-DISTRIBUTION-A"
    renamed = replace(
        harness,
        connectors=tuple(replace(c, id=long if c.id == "J4" else c.id) for c in harness.connectors),
        branches=(replace(branch, ends=tuple(replace(e, at=long if e.at == "J4" else e.at) for e in branch.ends)),),
    )
    fit = lettered(renamed)
    made = (replace(fit, marker=replace(fit.marker, place=long)), plain())
    (found,) = branch_pages(sizing(renamed), made, sleeve_rows(renamed, made, ORDER), ORDER)
    data = draw_bench_sheet(replace(sheet(harness), branches=(found,)), "A4")
    page = pypdfium2.PdfDocument(data)[1].get_textpage()
    text = page.get_text_range()
    caption = text.index(f"{long}, drawn 1 :")
    edge = next(m.start() for m in re.finditer(r"(?<=\n)10(?=\r)", text))  # mm past the edge, above the sleeve
    assert page.get_charbox(caption)[1] > page.get_charbox(edge)[3]
    heads = [m.span() for m in re.finditer(r"CABIN[^,\n\r]*…", text)]
    assert len(heads) == 2  # of the whole branch, and of this end
    for start, end in heads:
        width = page.get_charbox(end - 1)[2] - page.get_charbox(start)[0]
        assert width * 25.4 / 72 <= 12


def test_wire_ends_of_circuits_in_no_branch_are_listed_for_the_harness() -> None:
    """A circuit from P1:30 to a ring terminal runs through no branch: its ends stand in tables of their own."""
    harness = boat()
    extra = replace(harness.circuits[0], id="W999", start=Pin("P1", "30"), finish=Pin("E9"))
    more = replace(harness, circuits=(*harness.circuits, extra))
    made = fits(harness)
    found = bench_sheet(sizing(more), made, (), (), ORDER, pages=True)
    assert {(ends.connector, end.cavity, end.circuit, end.to) for ends in found.connectors for end in ends.ends} == {
        ("P1", "30", "W999", "E9"),
        ("E9", "", "W999", "P1:30"),
    }
    assert sheet(harness).connectors == ()
