"""What is written as a harness file reads back to the same harness, whatever the harness."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as trying
from hypothesis import strategies as st

from labeler.errors import LabelerError
from labeler.model import Bag, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Item, Pin, Settings
from labeler.readers.toml import KINDS, read_toml
from labeler.readers.values import with_settings
from labeler.readers.written import bare, harness_toml
from labeler.tables.catalogue import default_settings, setting_specs
from tests import make
from tests.make import new_circuit, new_harness, read_harness
from tests.places import EXAMPLES

BASE = default_settings()
NAMES = st.text("ABXYZ0189:.-_#\"'\\ äΩ/=[]{},", min_size=1, max_size=8).map(str.strip).filter(bool)
TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from('\t\n\x7f"\\'), max_size=12)
LENGTHS = st.none() | st.floats(0.001, 1e6) | st.integers(1, 5000).map(float)
WIRE = st.none() | st.floats(0.05, 200)  # limits of outside diameters as `values` has them, in mm
CABLE = st.none() | st.floats(0.1, 500)
CONNECTOR = st.none() | st.floats(0.1, 1000)
CUT = st.none() | st.floats(3, 1000)
CHANGES: list[dict[str, Any]] = [
    {},
    {"sleeve.heating": "even"},
    {"covering": "braided sleeving"},
    {"covering_wall_mm": 0.6},
    {"sleeve.families": ("AS23053/5",), "sleeve.cut_lengths_mm": (20.0, 25.4), "marker.wire_text": '{circuit} "x"'},
    {"sleeve.pass_over_margin": 0.2, "sleeve.colour": "WH", "print.min_capital_height_mm": 1.5},
]


def own(above: Settings, level: str) -> st.SearchStrategy[Settings]:
    """Return settings as a reader gives them: those above, or with changes that this level takes."""
    choices = setting_specs()
    taken = [{key: value for key, value in change.items() if level in choices[key].levels} for change in CHANGES]
    return st.sampled_from(taken).map(lambda change: with_settings(above, change) if change else above)


def pins() -> st.SearchStrategy[Pin]:
    cavities = st.just("") | NAMES.filter(lambda name: name.lstrip("-").strip("0") != "" and name[0] not in "-0")
    return st.builds(Pin, NAMES, cavities)


@st.composite
def branches(draw: Any, base: Settings) -> Branch:
    settings = draw(own(base, "branch"))
    ends = []
    for _ in range(draw(st.integers(0, 2))):
        end = st.builds(
            BranchEnd,
            at=NAMES,
            text=st.lists(TEXTS, max_size=2).map(tuple),
            connector_installed=st.booleans(),
            contacts_crimped=st.booleans(),
            marked=st.booleans(),
            cut_length_mm=CUT,
            distance_from_connector_mm=LENGTHS,
            settings=own(settings, "end"),
        )
        ends.append(draw(end))
    body = st.builds(
        Branch,
        id=NAMES,
        circuits=st.lists(NAMES, max_size=3).map(tuple),
        ends=st.just(tuple(ends)),
        bundle_diameter_mm=CABLE,
        bundle_diameter_tolerance_mm=st.floats(0, 3),
        length_mm=LENGTHS,
        settings=st.just(settings),
    )
    branch: Branch = draw(body)
    return branch


@st.composite
def harnesses(draw: Any) -> Harness:
    base = with_settings(BASE, draw(st.sampled_from(CHANGES)))
    circuit = st.builds(
        Circuit,
        id=NAMES,
        start=pins(),
        finish=pins(),
        size=st.sampled_from(["", "20 AWG", "1/0 AWG", "0.35 mm2", "2.5 mm2"]),
        wire_type=st.just("") | NAMES,
        od_mm=WIRE,
        colour=TEXTS,
        signal=TEXTS,
        length_mm=LENGTHS,
        cable=st.just("") | NAMES,
        settings=own(base, "circuit"),
        extra=st.dictionaries(TEXTS, TEXTS, max_size=3).map(lambda found: tuple(found.items())),
    )
    connector = st.builds(
        Connector,
        id=NAMES,
        kind=st.sampled_from(KINDS),
        description=TEXTS,
        cavities=st.none() | st.integers(1, 99),
        max_width_mm=CONNECTOR,
        contact_width_mm=CONNECTOR,
    )
    breakout = st.builds(Connector, id=NAMES, kind=st.just("breakout"), description=TEXTS)
    items = st.lists(st.builds(Item, NAMES, st.sampled_from([1, 2.5, 40.0])), max_size=2).map(tuple)
    bag = st.builds(Bag, id=NAMES, branch=st.just("") | NAMES, contents=items, settings=own(base, "bag"))
    return new_harness(
        name=draw(NAMES),
        part_number=draw(TEXTS),
        revision=draw(TEXTS),
        settings=base,
        connectors=(*draw(st.lists(connector, min_size=1, max_size=3)), *draw(st.lists(breakout, max_size=2))),
        circuits=tuple(draw(st.lists(circuit, max_size=3))),
        cables=tuple(draw(st.lists(st.builds(Cable, NAMES, CABLE), max_size=2))),
        branches=tuple(draw(st.lists(branches(base), max_size=2))),
        bags=tuple(draw(st.lists(bag, max_size=2))),
    )


def reads_back_equal(harness: Harness) -> None:
    back = read_toml(harness_toml(harness, BASE, ["two\nlines \x00"]).encode(), "again", None, BASE, {})
    assert bare(back) == bare(harness)


@trying(max_examples=30, deadline=None)
@given(harnesses())
def test_what_is_written_reads_back_equal(harness: Harness) -> None:
    reads_back_equal(harness)


@pytest.mark.slow
@trying(max_examples=150, deadline=None)
@given(harnesses())
def test_what_is_written_reads_back_equal_whatever_it_is(harness: Harness) -> None:
    reads_back_equal(harness)


@pytest.mark.parametrize("name", ["survey-boat.csv", "survey-boat.toml", "misfits.toml"])
def test_the_examples(name: str, tmp_path: Path) -> None:
    harness = read_harness(EXAMPLES / name)
    path = tmp_path / "again.toml"
    path.write_text(harness_toml(harness, BASE), "utf-8")
    assert bare(read_harness(path)) == bare(harness)


def test_colons_in_names_are_written_apart() -> None:
    harness = make.harness(circuits=(new_circuit("W1", Pin("J4:1"), Pin("P1", "a:2"), "20 AWG"),), branches=())
    text = harness_toml(harness, BASE)
    assert 'from = { connector = "J4:1" }' in text
    assert 'to = { connector = "P1", cavity = "a:2" }' in text


def test_what_cannot_be_written_is_refused() -> None:
    circuit = replace(make.circuit("W1", "P1:1", "J4:1"), id="W\x001")
    with pytest.raises(LabelerError, match="cannot be written"):
        harness_toml(make.harness(circuits=(circuit,)), BASE)
