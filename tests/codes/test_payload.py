"""What codes say: the project's own forms, templates, links; and what is refused."""

from __future__ import annotations

import pytest

from labeler.codes.payload import payload_of
from labeler.errors import LabelerError
from labeler.formulas.check import has_valid_check
from labeler.harness import index
from labeler.model import Harness, Marker
from labeler.plan import plan
from tests.make import NO_CHANGES, Changes, harness, settings

HARNESS = harness(name="River survey boat")


def marker(changes: Changes = NO_CHANGES) -> Marker:
    words = settings({"code.symbology": "QR", **changes})
    return Marker("W9X0GRQG", "sleeve", "branch end", "J4", ("DEPTH", "J4"), False, words, True, "B4", "", "P1")


def says(rule: str, unit: str = "0001", about: Harness = HARNESS) -> str:
    return payload_of(marker(changes={"code.data": rule}), about, unit)


def test_the_default_names_unit_and_marker() -> None:
    assert payload_of(marker(), HARNESS, "0017") == "0017 W9X0GRQG"
    assert payload_of(marker(), HARNESS, "0018") != payload_of(marker(), HARNESS, "0017")


def test_every_id_has_its_check_character() -> None:
    for one in plan(index(harness()))[0]:
        said = payload_of(one, harness(), "0001", "marker")
        assert said == one.id
        assert has_valid_check(said)


@pytest.mark.parametrize(
    ("rule", "text"),
    [
        ("marker", "W9X0GRQG"),
        ("{part_number} {serial}/{serial} {marker}", "RSB-210 0001/0001 W9X0GRQG"),
        ("{harness}: {branch} {local}, {remote}, {text}", "River survey boat: B4 J4, P1, DEPTH J4"),
        ("{part_number}{revision}-{{{marker}}}", "RSB-210C-{W9X0GRQG}"),
        # RFC 3986: a blank in a path is %20
        ("https://example.org/{harness}/{marker}", "https://example.org/River%20survey%20boat/W9X0GRQG"),
        ("HTTPS://EXAMPLE.ORG/{serial}", "HTTPS://EXAMPLE.ORG/0001"),
    ],
)
def test_templates(rule: str, text: str) -> None:
    assert says(rule) == text


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("marker id", "names no field.*did you mean 'marker'"),
        ("{makrer}", "{makrer} is unknown; did you mean {marker}"),
        ("{marker", "expected '}'"),
        ("{marker:>99}", "has a format"),
        ("{marker!r}", "has a format"),
        ("{circuit}", "would say nothing"),
        ("{marker}" + "x" * 200, "208 signs, the limit is 200"),
        ("{marker} ü", "'ü' is read differently"),
        ("{marker}\n", r"'\\n' is read differently"),
    ],
)
def test_refusals(rule: str, words: str) -> None:
    with pytest.raises(LabelerError, match=words):
        says(rule)


def test_a_name_beyond_ascii_is_refused_and_a_link_escapes_it() -> None:
    boat = harness(name="Vermessungsboot für Flüsse")
    with pytest.raises(LabelerError, match="'ü'"):
        says("{harness} {marker}", about=boat)
    assert says("https://example.org/{harness}", about=boat).endswith("Vermessungsboot%20f%C3%BCr%20Fl%C3%BCsse")
