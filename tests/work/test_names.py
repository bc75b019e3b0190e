"""Names that the program itself uses as words change nothing but the names: facts travel as values, not as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from labeler.answers.report import explain, marker_json
from labeler.draw.bench import _places
from labeler.harness import index
from labeler.job.check import choose_stocks, order_of
from labeler.job.fitting import fit_markers
from labeler.model import BranchEnd, Connector, Harness, Item, Marker, Pin
from labeler.plan import plan
from labeler.size.bundles import Sizing
from labeler.tables.catalogue import load_catalogue
from labeler.validate import validate
from labeler.wording import installation
from labeler.work import wording
from labeler.work.bench_sheet import BenchSheet, bench_sheet
from labeler.work.sleeves import Place, SleeveRow, as_json, from_json
from tests.make import new_bag, new_branch, new_circuit, new_end, new_harness, settings

CATALOGUE = load_catalogue()
WORDS = (
    "valve before pump",
    "measured",
    "tube 3",
    "packed to",
    "see the bench sheet",
    "at",
    "before",
    "J1 at J2",
    "measured 4 mm packed to 3",
    "J4:1 before the contacts at J4",
    "the contacts at J9 are crimped",
    "left out",
    "{name}",
    "all rows",
    "insert",
    "done already, or remove the connector",
    "slide over connector",
    "first",
    "marginal",
)
PLAIN = tuple(f"Qz{n:02d}z" for n in range(len(WORDS)))  # in no text of the program


def boat(names: Sequence[str]) -> Harness:
    """Return a harness with ends in every state, a splice inside a branch, a ring terminal, a braid, wire sleeves."""
    c1, c2, c3, c4, ring, splice, meet, covering, b1, b2, b3, w1, w2, w3, cable, bag, c5, c6, b4 = names
    braided = settings({"covering": covering, "covering_wall_mm": 0.6})
    on_wires = settings(
        {"marker.wire": "sleeve", "marker.wire_text": "{size}", "print.wire_reading_distance_mm": 250.0}
    )
    said = ("ALL ALIKE",)

    def end(at: str, **state: Any) -> BranchEnd:
        return new_end(at, text=said, **state)

    return new_harness(
        "Survey boat",
        part_number="RSB-210",
        settings=settings({"marker.wire_text": "{size}", "print.wire_reading_distance_mm": 250.0}),
        connectors=(
            Connector(c1, cavities=6, max_width_mm=15.0, contact_width_mm=2.6),
            Connector(c2, cavities=6, max_width_mm=9.0, contact_width_mm=2.6),
            Connector(c3, cavities=6, max_width_mm=9.0, contact_width_mm=2.6),
            Connector(c4, cavities=6, max_width_mm=15.0),
            Connector(c5, cavities=6, max_width_mm=8.0),
            Connector(c6, cavities=6, max_width_mm=8.0),
            Connector(ring, kind="ring terminal", max_width_mm=8.0),
            Connector(splice, kind="splice", max_width_mm=5.0),
            Connector(meet, kind="breakout"),
        ),
        circuits=(
            new_circuit(w1, Pin(c1, "1"), Pin(c2, "1"), "20 AWG"),
            new_circuit(w2, Pin(c1, "2"), Pin(splice), "20 AWG"),
            new_circuit(w3, Pin(splice), Pin(c2, "2"), "20 AWG"),
            new_circuit("A", Pin(c3, "1"), Pin(c4, "1"), "20 AWG", settings=on_wires),
            new_circuit("C", Pin(c5, "1"), Pin(c6, "1"), "20 AWG"),
            new_circuit("B", Pin(c3, "2"), Pin(ring), "20 AWG", settings=on_wires),
        ),
        branches=(
            new_branch(
                b1,
                ends=(end(c1, distance_from_connector_mm=20.0), end(c2, connector_installed=True)),
                length_mm=900.0,
                settings=braided,
            ),
            new_branch(
                b2, ends=(end(c3, contacts_crimped=True), end(c4, connector_installed=True)), bundle_diameter_mm=4.4
            ),
            new_branch(
                b4, ends=(end(c5, connector_installed=True), end(c6, connector_installed=True)), bundle_diameter_mm=4.4
            ),
            new_branch(b3, ends=(end(ring), end(meet)), settings=settings({"marker.branch": ("insert",)})),
        ),
        bags=(new_bag(bag, connector=c1), new_bag(cable, connector=c2, contents=(Item("housing"),))),
    )


def facts(names: Sequence[str]) -> Iterator[str]:
    """Yield all that is said of the markers, their order and the bench sheet; how a tag fits depends on its names."""
    braid = replace(next(c for c in CATALOGUE.coverings if c.slide_on), name=names[7])
    catalogue = replace(CATALOGUE, coverings=(*CATALOGUE.coverings, braid))
    sizing = Sizing(index(boat(names)), catalogue)
    problems = validate(sizing.index, catalogue)
    yield from (problem.message for problem in problems)
    markers = plan(sizing.index)[0]
    numbered = {marker.id: f"marker {place}" for place, marker in enumerate(markers)}
    markers = tuple(replace(marker, id=numbered[marker.id]) for marker in markers)
    fits = fit_markers(sizing, markers, choose_stocks(CATALOGUE), "0001")
    for fit in fits:
        if fit.marker.kind != "tag":
            yield repr(marker_json(fit))
            yield from explain(fit)
    order = order_of(sizing, fits)
    yield from (f"{step.branch} {step.place} {step.covering} {installation(step.how)}" for step in order)
    yield from said_on(bench_sheet(sizing, fits, (), (), order, pages=True))
    referring = [replace(fit, on_bench_sheet=fit.marker.kind == "tag") for fit in fits]
    yield from (each.connector for each in bench_sheet(sizing, referring, (), (), order).connectors)


def said_on(sheet: BenchSheet) -> Iterator[str]:
    for title, rows in (("first", sheet.thread_first), ("later", sheet.thread_later)):
        for row in rows:
            assert from_json(as_json(row.how)) == row.how
            yield f"{title} {row.number} {wording.place(row.place)}: {row.tube}, {row.heating}; {how(row)}"
    for cut in sheet.cuts:
        places = ", ".join(map(wording.place, cut.places))  # in full: paper shortens long lists, and names have lengths
        yield f"{cut.tube} {cut.cut_length_mm} {places}"
    for page in sheet.branches:
        yield f"{page.branch}: {wording.between(page.between)}; {list(wording.facts(page.facts))}"
        yield from (f"{wording.heading(step)}: {' – '.join(wording.work_step(step))}" for step in page.work)
        yield from (f"{ends.connector} {end.cavity} {end.circuit} {end.to}" for ends in page.pins for end in ends.ends)


def how(row: SleeveRow) -> str:
    return wording.instructions(row.how)


def renamed(text: str, names: Sequence[str]) -> str:
    for plain, name in zip(PLAIN, names, strict=True):
        text = text.replace(plain, name)
    return text


BEFORE = tuple(facts(PLAIN))


@hypothesis_settings(max_examples=12, deadline=None)
@given(names=st.permutations(WORDS))
def test_names_that_are_words_of_the_program_change_nothing_but_names(names: list[str]) -> None:
    """What is said of a harness with plain names, with those replaced, is what is said of the other harness."""
    for said, plain in zip(facts(names), BEFORE, strict=True):
        assert said == renamed(plain, names)


def test_the_harness_of_these_tests_shows_every_kind_of_step() -> None:
    """So that the test above can fail: both sections, every state of an end, wire sleeves, what is joined."""
    whole = "\n".join(BEFORE)
    for words in (
        *("\nfirst ", "\nlater ", "slide on at", "slide on from", "slide over", "is already terminated"),
        *(
            "before the terminal",
            "before connector",
            "mm to spare",
            "paper strip",
            "Covering: ",
            "each on its own wire",
        ),
        *(
            "Join the branches",
            "Crimp the terminal",
            "then lock it",
            "Put 2 wire markers",
            "packed tightest",
            "measured 4.4",
        ),
    ):
        assert words in whole, words


def test_a_place_that_is_called_as_two_are_is_said_whole() -> None:
    """Many places of one branch are said by their ends; a connector "J1 at J2" has no branch "J1"."""
    places = [Place("", "J1 at J2"), Place("J1", "J2"), *(Place("J1", f"CONNECTOR {n}") for n in range(12))]
    said = _places(places).split(", ")
    assert said[:3] == ["J1 at J2", "J1 at J2", "CONNECTOR 0"]


def test_a_tag_whose_row_ends_in_words_of_the_program_does_not_refer_to_the_bench_sheet() -> None:
    """Its rows all stand on it: "1 W1 20 AWG to see the bench sheet" names a ring terminal."""
    made = new_harness(
        "Boat",
        settings=settings(),
        connectors=(Connector("P1", cavities=2), Connector("see the bench sheet", kind="ring terminal")),
        circuits=(new_circuit("W1", Pin("P1", "1"), Pin("see the bench sheet"), "20 AWG"),),
        bags=(new_bag("P1", connector="P1"),),
    )
    sizing = Sizing(index(made), CATALOGUE)
    tags = [marker for marker in plan(sizing.index)[0] if marker.role == "bag"]
    fits = fit_markers(sizing, tags, choose_stocks(CATALOGUE), "0001")
    assert " ".join(fits[0].lines).endswith("to see the bench sheet")
    assert bench_sheet(sizing, fits, (), ()).connectors == ()


def test_a_marker_of_a_wire_belongs_to_the_connector_whatever_its_name_holds() -> None:
    """ "J:1" has a colon as a place has one: its wires are marked at "J:1", not at "J"."""
    made = new_harness(
        "Boat",
        settings=settings(),
        circuits=(new_circuit("W1", Pin("J:1", "2"), Pin("P1", "1"), "20 AWG"),),
    )
    marker = Marker("ID", "wrap", "wire end", "J:1:2", ("x",), True, settings(), circuit="W1")
    assert index(made).connector_at(marker) == "J:1"
