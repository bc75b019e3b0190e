"""KBL and VEC: two sketches that say the same as one harness file, each trap by itself, and what could harm."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from random import Random
from typing import Any

import pytest

from labeler import wording
from labeler.errors import LabelerError, WrongUse
from labeler.model import Harness, Pin
from labeler.readers import export_of
from labeler.readers.export import assembled
from labeler.readers.import_report import Given, Read, Wanted
from labeler.readers.toml import read_toml
from labeler.readers.written import bare, harness_toml
from labeler.readers.xml import MOST_ELEMENTS, parse
from labeler.tables.catalogue import default_settings, load_catalogue
from tests.cad import SKETCH, kbl_large, kbl_sketch, spec, value, vec_sketch
from tests.cases import chosen
from tests.orders import check
from tests.places import ROOT

SETTINGS = default_settings()


def read(text: str | bytes, **wanted: Any) -> Read:
    data = text if isinstance(text, bytes) else text.encode()
    choice = Wanted(**wanted)
    return assembled(
        export_of(parse(data, "boat.xml"), choice.harness),
        Given(data, "boat.xml", "boat", SETTINGS, load_catalogue(), choice),
    )


def expected(splice: str, spliced: str) -> Harness:
    text = SKETCH.replace("SPLICED", spliced).replace("SPLICE", splice)
    return read_toml(text.encode(), "boat.toml", None, SETTINGS, {})


def messages(found: Read) -> str:
    return "\n".join(str(note) for note in found.harness.notes)


# ---------------------------------------------------------------- the sketches


@pytest.mark.parametrize("version", ["2.3 SR-1", "2.4", "2.4 SR-1", "2.5 SR-1"])
def test_the_kbl_says_what_the_harness_file_says(version: str) -> None:
    found = read(kbl_sketch(version))
    assert bare(found.harness) == bare(expected("cavities = 1", "S1:1"))
    assert found.account.version == version


@pytest.mark.parametrize("version", ["1.1.3", "1.2.0", "2.0.2", "2.1.0", "2.2.0"])
def test_the_vec_says_what_the_harness_file_says(version: str) -> None:
    found = read(vec_sketch(version))
    assert bare(found.harness) == bare(expected("", "S1"))
    assert found.account.version == version


@pytest.mark.parametrize("text", [kbl_sketch(), vec_sketch()])
def test_what_was_counted_and_what_has_no_place(text: str) -> None:
    found = read(text)
    counts = {what: count for what, count in found.account.counts.items() if count}
    protections = {"protections": 1} if "Wire_protection" in text else {}
    assert counts == {
        "connectors": 2, "splices": 1, "branches": 2, "wires": 1, "cables": 1, "cores": 2,
        "connections": 2, "segments": 2, "nodes": 3, "routes": 2, **protections,
    }  # fmt: skip
    assert "wires and cores not connected: 202" in found.account.not_imported
    assert [route["segments"] for route in found.account.details["routes"]] == [["G1", "G2"], ["G1"]]
    assert all(route["unbroken"] for route in found.account.details["routes"])
    assert "no outside diameter (missing or 0), so the table of the insulation is used: 201" in messages(found)
    if protections:
        assert "tube T1 on G1 from 250 to 500 mm" in messages(found)  # 0.5 and 1 of 500 mm


@pytest.mark.parametrize("text", [kbl_sketch(), vec_sketch()])
def test_it_is_written_and_checked_like_any_harness(text: str, tmp_path: Path) -> None:
    found = read(text)
    assert bare(read_toml(harness_toml(found.harness, SETTINGS).encode(), "a", None, SETTINGS, {})) == bare(
        found.harness
    )
    path = tmp_path / "boat.xml"
    path.write_text(text, "utf-8")
    assert {fit.marker.place for fit in check(str(path)).fits} >= {"P1", "J4", "P1:1", "J4:2"}


@pytest.mark.parametrize("text", [kbl_sketch(), vec_sketch()])
@pytest.mark.parametrize(
    ("names", "ids"), [("id", ["P1", "J4"]), ("alias", ["A-P1", "A-J4"]), ("description", ["Hub", "Sounder"])]
)
def test_the_name_that_is_printed_is_a_choice(text: str, names: str, ids: list[str]) -> None:
    found = read(text, connector_names=names)
    assert [c.id for c in found.harness.connectors][:2] == ids
    assert found.account.names[0] == ("P1", "A-P1", "Hub")
    if names == "description":  # the splice has none
        assert "connectors without description; another of their names is taken: S1" in messages(found)


def test_labels_of_a_vec_become_markers_when_asked() -> None:
    plain = read(vec_sketch()).harness
    assert plain.circuits[0].settings is plain.settings
    labelled = read(vec_sketch(), use_label_texts=True).harness
    first, second = labelled.circuits
    assert (first.settings.marker.wire_text, dict(first.extra)["label"]) == ("{label}", "101 DEPTH")
    assert second.settings is labelled.settings
    assert dict(second.extra)["label"] == ""


def test_the_area_of_a_segment_when_asked() -> None:
    found = read(kbl_sketch(), diameter_from="area")
    assert found.harness.branches[0].bundle_diameter_mm == pytest.approx(4.0, abs=0.001)  # sqrt(4 x 12.566 / pi)
    assert "branches without an area; their wires are taken: G2" in messages(found)


# ---------------------------------------------------------------- variants

MODULES = (
    '<Module id="m1"><Part_number>BOW</Part_number><Module_configuration id="mc1"><Controlled_components>c1 w1 p1 j4'
    '</Controlled_components></Module_configuration></Module><Module id="m2"><Part_number>STERN</Part_number>'
    '<Module_configuration id="mc2"><Controlled_components>k1b p1</Controlled_components></Module_configuration></Module>'
    '<Harness_configuration id="hc1x"><Part_number>BOTH</Part_number><Modules>m1 m2</Modules></Harness_configuration>'
    '<Harness_configuration id="hc2x"><Part_number>NONE</Part_number></Harness_configuration>'
)


def test_modules_of_a_kbl() -> None:
    text = kbl_sketch(harness_more=MODULES)
    whole = read(text)
    assert "is read unfiltered (150 %)" in messages(whole)
    assert len(whole.harness.circuits) == 2
    bow = read(text, variants=("bow",))
    assert [c.id for c in bow.harness.circuits] == ["101"]
    assert [c.id for c in bow.harness.connectors] == ["P1", "J4"]
    assert "connections of other variants: 1 (201)" in bow.account.not_imported
    with pytest.raises(WrongUse, match="lists nothing"):
        read(text, variants=("NONE",))
    with pytest.raises(WrongUse, match="did you mean 'STERN'"):
        read(text, variants=("STRN",))


def test_options_of_a_vec() -> None:
    option = '<Specification xsi:type="vec:VariantConfigurationSpecification"><VariantConfiguration id="o{0}"><Identification>{1}</Identification></VariantConfiguration></Specification>'
    bound = '<Specification xsi:type="vec:ConfigurationConstraintSpecification"><ConfigurationConstraint id="k{0}x"><ConfigInfo>o{0}</ConfigInfo><ConstrainedElements>{1}</ConstrainedElements></ConfigurationConstraint></Specification>'
    more = option.format(1, "SONAR") + option.format(2, "WINCH") + bound.format(1, "x1") + bound.format(2, "x2 r2")
    found = read(vec_sketch(more=more), variants=("sonar",))
    assert [c.id for c in found.harness.circuits] == ["101"]
    assert found.account.variants == ("SONAR", "WINCH")


def test_two_connectors_of_one_name_stop_the_work() -> None:
    found = read(kbl_sketch().replace("<Id>J4</Id>", "<Id>P1</Id>"))
    with pytest.raises(LabelerError, match="'P1' stands for 2 connectors"):
        found.checked()


# ---------------------------------------------------------------- traps


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("<Contact_point>j4p2</Contact_point>", "<Contact_point>j4</Contact_point>", "without a cavity: c1"),
        ("<Wire>w1</Wire>", "<Wire>p1</Wire>", "should point at General_wire_occurrence or Core"),
        ("<Wire>w1</Wire>", "<Wire>none</Wire>", "point at nothing and are passed over: none"),
        ("<Segments>g2 g1</Segments>", "<Segments>g2 g2 g1 g1</Segments>", "do not lead from one end"),
        ("<Segments>g2 g1</Segments>", "<Segments></Segments>", "wires without a route: 101"),
        ('id="k1b"', 'id="k1a"', "ids that stand more than once; the first counts: k1a"),
        ("<Unit_component>cm<", "<Unit_component>mm2<", "values whose unit is not one of length"),
        ('version_id="2.4 SR-1"', 'version_id="2.9"', "version_id '2.9' is not known"),
        ("0.16<", "0.01<", "not above the bare conductor's"),  # 0.1 mm over 0.5 mm2
    ],
)
def test_what_is_wrong_is_told_and_the_rest_is_read(old: str, new: str, said: str) -> None:
    text = kbl_sketch()
    assert old in text
    found = read(text.replace(old, new))
    assert said in messages(found)
    assert found.harness.circuits


def test_both_ends_at_one_position_keep_the_order_of_the_file() -> None:
    text = kbl_sketch().replace("<Position_on_wire>1<", "<Position_on_wire>0.0<")
    assert read(text).harness.circuits[0].start == Pin("J4", "2")


def test_wires_of_a_vec_without_ends_are_told() -> None:
    found = read(vec_sketch().replace("WireMounting", "Nothing"))
    assert found.harness.circuits == ()
    assert "no ends of wires can be told" in messages(found)


def test_of_several_harnesses_one_is_asked_for() -> None:
    text = vec_sketch()
    second = '<DocumentVersion id="d3"><DocumentNumber>D-2</DocumentNumber><DocumentType>HarnessDescription</DocumentType></DocumentVersion>'
    text = text.replace("</v:VecContent>", f"{second}</v:VecContent>")
    with pytest.raises(LabelerError, match="2 harnesses: D-1, D-2"):
        read(text)
    assert len(read(text, harness="D-1").harness.circuits) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (kbl_sketch().replace("kbl:KBL_container", "KBL_schema"), "is not read; 2.3, 2.4 and 2.5 are"),
        ("<other/>", "whose root is 'other'"),
        (kbl_sketch().replace("Harness", "Harnes"), "without a Harness"),
    ],
)
def test_exports_that_are_refused(text: str, said: str) -> None:
    with pytest.raises(LabelerError, match=said):
        read(text)


# ---------------------------------------------------------------- what could harm

BOMB = '<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY a{n} "{("&a" + (str(n - 1) if n else "") + ";") * 10}">' for n in range(1, 12)
)
HOSTILE = {
    "entities": (BOMB + "]><a>&a11;</a>").encode(),
    "external entity": b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>',
    "external type": b'<!DOCTYPE a SYSTEM "http://127.0.0.1:1/x.dtd"><a/>',
    "parameter entity": b'<!DOCTYPE a [<!ENTITY % b SYSTEM "http://127.0.0.1:1/x"> %b;]><a/>',
    "undefined entity": b"<a>&b;</a>",
    "nesting": b"<a>" * 5_000_000,
    "too many": b"<a>" + b"<b/>" * (MOST_ELEMENTS + 1) + b"</a>",
    "a large text": b"<a>" + b"x" * 40_000_000,
    "unknown encoding": b'<?xml version="1.0" encoding="klingon"?><a/>',
    "encoding of many bytes": b'<?xml version="1.0" encoding="utf-7"?><a/>',
    "not what it says": b'<?xml version="1.0" encoding="UTF-8"?><a>\xe4</a>',
    "UTF-16 cut": "<a/>".encode("utf-16")[:-1],
    "nothing": b"<",
}

SLOW = ("nesting", "too many", "a large text", "external type", "parameter entity", "UTF-16 cut", "not what it says")


LEAST_MEMORY = 300_000_000  # bytes, beside what the program has when it begins


IN_LITTLE_MEMORY = """
import resource, sys
from labeler.errors import LabelerError
from labeler.readers import export_of
from labeler.readers.xml import parse

data, more = sys.stdin.buffer.read(), int(sys.argv[1])
had = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (had + more, had + more))
resource.setrlimit(resource.RLIMIT_CPU, (60, 60))  # no measure, only an end
try:
    export_of(parse(data, "boat.xml"), "")
    print("read")
except LabelerError as error:
    print("refused:", error.problems[0].message)
except MemoryError:
    print("out of memory")
"""


def limited(data: bytes, memory: int = LEAST_MEMORY) -> str:
    """Read in a process of its own that gets no more memory than it has and so many bytes; return how that ended."""
    words = [sys.executable, "-c", IN_LITTLE_MEMORY, str(memory)]
    done = subprocess.run(words, input=data, capture_output=True, check=False, cwd=ROOT)
    return done.stdout.decode().strip() or f"ended with {done.returncode}"


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is limited as Linux does it")
@pytest.mark.parametrize("name", chosen(HOSTILE, SLOW))
def test_hostile_xml_is_refused_in_little_memory(name: str) -> None:
    """How long it takes stands in tests/bench/reading.py."""
    assert limited(HOSTILE[name]).startswith("refused: ")


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is limited as Linux does it")
def test_the_limit_of_memory_is_one() -> None:
    """With 1 MB in place of 300 an export of 40,000 elements ends in an error, or the test above could not fail."""
    text = kbl_sketch(more="<x/>" * 40_000).encode()
    assert limited(text) == "read"
    assert limited(text, 1_000_000) == "out of memory"


def test_a_file_of_200_mb_is_refused_without_reading_it_all(tmp_path: Path) -> None:
    path = tmp_path / "deep.kbl"
    with path.open("wb") as file:
        file.write(b"<a>" * 1000)
        file.truncate(200_000_000)
    with pytest.raises(LabelerError, match="is larger than 64 MB"):
        check(str(path))


def test_a_large_export_is_read_whole() -> None:
    found = read(kbl_large(points=1))
    assert found.account.counts["wires"] == 184
    assert found.account.counts["segments"] == 183
    assert all(route["unbroken"] for route in found.account.details["routes"])


PIECES = ["", "<a>", "</a>", "p1", "g1", "/NULL", "-1", "1e999", "NaN", 'id="p1"', "<!-- ", "\x00", "&lt;", " ", "ä"]


@pytest.mark.parametrize("text", [kbl_sketch(), kbl_sketch(harness_more=MODULES), vec_sketch(), vec_sketch("1.1.3")])
@pytest.mark.parametrize("count", [100, pytest.param(500, marks=pytest.mark.slow)])
def test_mutations_are_read_or_refused(text: str, count: int) -> None:
    """So many of each: pieces cut, doubled, exchanged for others; ids are pointed elsewhere."""
    random = Random(7)
    ids = [part.partition('"')[0] for part in text.split('id="')[1:]]
    for _ in range(count):
        mutant = text
        for _ in range(random.randint(1, 4)):
            at = random.randrange(len(mutant))
            end = at + random.choice((0, 1, 2, 8, 60))
            if random.random() < 0.5:
                old = random.choice(ids)
                mutant = mutant.replace(f">{old}<", f">{random.choice(ids)}<")
            else:
                mutant = mutant[:at] + random.choice([*PIECES, mutant[at : at + 40] * 2]) + mutant[end:]
        with contextlib.suppress(LabelerError):  # and nothing else
            harness_toml(read(mutant, use_label_texts=True).checked(), SETTINGS)


SECOND_WIRE = (
    '<Connection id="c3"><Signal_name>DEPTH RX</Signal_name><Wire>w3</Wire>'
    "<Extremities><Position_on_wire>0</Position_on_wire><Contact_point>p1p1</Contact_point></Extremities>"
    "<Extremities><Position_on_wire>1</Position_on_wire><Contact_point>j4p3</Contact_point></Extremities></Connection>"
    '<General_wire_occurrence id="w3" xsi:type="kbl:Wire_occurrence"><Part>gw</Part><Wire_number>103</Wire_number>'
    "</General_wire_occurrence>"
)


def test_two_wires_in_one_contact_are_planned_and_pointed_out(tmp_path: Path) -> None:
    text = kbl_sketch(harness_more=SECOND_WIRE)
    found = read(text)
    assert found.harness.settings is not None
    assert found.harness.settings.wire.max_per_cavity == 2
    again = read_toml(harness_toml(found.harness, SETTINGS).encode(), "again.toml", None, SETTINGS, {})
    assert bare(again) == bare(found.harness)
    file = tmp_path / "boat.kbl"
    file.write_text(text, "utf-8")
    checked = check(str(file), settings={"print.reading_distance_mm": "250", "print.wire_reading_distance_mm": "250"})
    at_pin = [fit.marker.circuit for fit in checked.fits if fit.marker.place == "P1:1"]
    assert at_pin == ["101", "103"]
    notes = "\n".join(note.message for note in checked.notes)
    assert "P1: cavities shared by several wires: 1 by 101, 103" in notes


def test_a_splice_takes_many_wires_without_a_word() -> None:
    assert read(kbl_sketch()).harness.settings == SETTINGS


# ---------------------------------------------------------------- less common ways to say the same

BOX = (
    '<Component_box_occurrence id="fb"><Id>FB1</Id><Description>Fuse box</Description>'
    '<Contact_points id="fbp1"><Id>1</Id><Contacted_cavity>fbc1</Contacted_cavity></Contact_points>'
    '<Contact_points id="fbp2"><Id>2</Id><Contacted_cavity>fbc2</Contacted_cavity></Contact_points>'
    '<Component_box_connectors id="fbk"><Id>A</Id><Slots id="fbs"><Cavities id="fbc1"><Part>hc1</Part></Cavities></Slots>'
    '</Component_box_connectors><Component_slots id="fbz"><Id>F7</Id><Component_cavities id="fbc2"><Part>hc2</Part>'
    "</Component_cavities></Component_slots></Component_box_occurrence>"
)


def kbl_wire(number: int, start: str, finish: str, assembly: str = "") -> str:
    """Return one more wire of a KBL with its connection."""
    related = f"<Related_assembly>{assembly}</Related_assembly>" if assembly else ""
    ends = "".join(
        f'<Extremities id="c{number}{n}"><Position_on_wire>{n}</Position_on_wire><Contact_point>{point}</Contact_point>'
        "</Extremities>"
        for n, point in enumerate((start, finish))
    )
    return (
        f'<Connection id="c{number}"><Id>c{number}</Id><Wire>w{number}</Wire>{ends}</Connection>'
        f'<General_wire_occurrence id="w{number}" xsi:type="kbl:Wire_occurrence"><Part>gw</Part>{related}'
        f"<Wire_number>{number}</Wire_number></General_wire_occurrence>"
    )


def test_a_wire_ends_in_a_fuse_box_of_a_kbl() -> None:
    """Cavities of its plugs and of its fuse seats are told by the plug's and the seat's name: A.1, F7.2."""
    text = kbl_sketch(harness_more=BOX + kbl_wire(301, "fbp1", "j4p3") + kbl_wire(302, "fbp2", "j4p1"))
    text = text.replace(
        "<Referenced_components>p1</Referenced_components>", "<Referenced_components>p1 fbk</Referenced_components>"
    )
    found = {circuit.id: circuit for circuit in read(text).harness.circuits}
    assert (str(found["301"].start), str(found["301"].finish)) == ("FB1:A.1", "J4:3")
    assert str(found["302"].start) == "FB1:F7.2"
    (box,) = (c for c in read(text).harness.connectors if c.id == "FB1")
    assert (box.kind, box.description, box.cavities) == ("connector", "Fuse box", None)  # its cavities are not 1, 2, 3


def test_the_members_of_an_assembly_follow_it_into_a_module() -> None:
    """A module lists the assembly; its wire and connection are in no list themselves."""
    assembly = '<Assembly_part_occurrence id="ap1"><Id>AP1</Id></Assembly_part_occurrence>'
    more = assembly + kbl_wire(301, "p1p3", "j4p3", "ap1")
    text = kbl_sketch(harness_more=more + MODULES.replace("c1 w1 p1 j4", "c1 w1 p1 j4 ap1"))
    assert [c.id for c in read(text, variants=("bow",)).harness.circuits] == ["101", "301"]
    assert [c.id for c in read(text, variants=("stern",)).harness.circuits] == []


PORTS = (
    '<Specification id="logic" xsi:type="vec:ConnectionSpecification"><Identification>logic</Identification>'
    '<ComponentNode id="no1"><ComponentConnector id="nk1"><ComponentPort id="po1"/></ComponentConnector></ComponentNode>'
    '<ComponentNode id="no2"><ComponentConnector id="nk2"><ComponentPort id="po2"/></ComponentConnector></ComponentNode>'
    '<Connection id="cn1"><ConnectionEnd id="ce1"><ConnectedComponentPort>po1</ConnectedComponentPort></ConnectionEnd>'
    '<ConnectionEnd id="ce2"><ConnectedComponentPort>po2</ConnectedComponentPort></ConnectionEnd></Connection>'
    "</Specification>"
)


def test_ends_of_a_vec_are_told_by_ports_where_no_wire_is_mounted() -> None:
    """Wire 101 has no wire mounting: its connection names two ports, and the cavities name the same."""
    text = vec_sketch(more=PORTS)
    for end in ("x1e0", "x1e1"):
        text = text.replace(f"<WireMounting><ReferencedWireEnd>{end}</ReferencedWireEnd></WireMounting>", "")
    for cavity, port in (("p1c1", "po1"), ("j4c2", "po2")):
        seat = f'<CavityReference id="{cavity}">'
        assert seat in text
        text = text.replace(seat, f"{seat}<ComponentPort>{port}</ComponentPort>")
    assert [c.id for c in read(text).harness.circuits] == ["201"]  # nothing joins the wire and the connection yet
    text = text.replace("<ReferencedWireElement>eW<", "<Connection>cn1</Connection><ReferencedWireElement>eW<")
    assert bare(read(text).harness) == bare(expected("", "S1"))


@pytest.mark.parametrize(
    ("number", "size"), [(20, "20 AWG"), (0, "1/0 AWG"), (-1, "2/0 AWG"), (-3, "4/0 AWG"), (20.5, ""), (99, "")]
)
def test_gauges_of_a_vec(number: float, size: str) -> None:
    """AWG as a unit: 0, -1 … -3 are 1/0, 2/0 … 4/0 (ASTM B258); others are no gauge."""
    gauge = '<Unit id="awg" xsi:type="vec:USUnit"><UsUnitName>AWG</UsUnitName></Unit>'
    area = value("CrossSectionArea", 0.5, "mm2")
    text = vec_sketch()
    assert area in text
    text = text.replace(area, value("CrossSectionArea", number, "awg")).replace(
        '<Unit id="mm"', f'{gauge}<Unit id="mm"'
    )
    found = read(text)
    assert found.harness.circuits[0].size == size
    assert ("sizes in AWG that are no gauge and are passed over" in messages(found)) == (not size)


def test_an_outside_diameter_of_a_vec_is_taken_at_its_upper_tolerance() -> None:
    """0.16 cm + 0.01 cm = 1.7 mm: what a sleeve must pass."""
    text = vec_sketch().replace(
        "<ValueComponent>0.16</ValueComponent>",
        "<ValueComponent>0.16</ValueComponent><Tolerance><LowerBoundary>-0.02</LowerBoundary>"
        "<UpperBoundary>0.01</UpperBoundary></Tolerance>",
    )
    found = read(text)
    assert found.harness.circuits[0].od_mm == pytest.approx(1.7)
    assert "outside diameters taken at their upper tolerance: 1.6 + 0.1 mm" in messages(found)


@pytest.mark.parametrize(
    ("position", "marks"), [("End", "both ends"), ("Continuous", "by length"), ("continuous", "by length")]
)
def test_where_a_vec_wants_its_labels(position: str, marks: str) -> None:
    text = vec_sketch().replace("<LabelType>Alpha", f"<LabelPosition>{position}</LabelPosition><LabelType>Alpha")
    settings = read(text, use_label_texts=True).harness.circuits[0].settings
    assert settings is not None
    assert settings.marker.wire_positions == marks


def test_how_far_a_covering_begins_from_each_connector_is_told() -> None:
    """Tube from 250 to 500 of 500 mm; P1 sits where the segment starts, a splice where it ends."""
    assert "tube T1 on G1 from 250 to 500 mm (250 mm from P1)" in messages(read(kbl_sketch()))


# ---------------------------------------------------------------- coverings

TYPE = "<Protection_type>tube</Protection_type>"
AREA = "<Start_location>0.5</Start_location>"


def covered(kind: str, start: float = 0.1, more: str = "") -> str:
    """Return the KBL with another covering on G1, from a share of its 500 mm; P1 sits at its start."""
    text = kbl_sketch().replace(TYPE, f"<Protection_type>{kind}</Protection_type>")
    assert AREA in text
    return text.replace(AREA, f"<Start_location>{start}</Start_location>").replace(
        "</Protection_area>", f"</Protection_area>{more}"
    )


def coverings_of(found: Read) -> dict[str, str]:
    """Return the covering at each end of the branches."""
    return {
        end.at: (end.settings or branch.settings or SETTINGS).covering
        for branch in found.harness.branches
        for end in branch.ends
    }


@pytest.mark.parametrize(
    ("text", "covering"),
    [
        (covered("Tape"), "tape, half-lapped"),  # 50 mm from P1
        (covered("fleece tape", 0.2), "cloth tape, half-lapped"),  # 100 mm, an alias of the table
        (covered("expandable braided sleeving"), "braided sleeving"),
        (covered("Tape", 0.21), "none"),  # 105 mm: the sleeve at P1 lies on bare wires
        (covered("hose"), "none"),  # the table does not know it
        (covered("corrugated tube"), "none"),  # a bundle does not fill it
        (
            covered(
                "Tape",
                0,
                '<Protection_area id="pb"><Associated_protection>t1</Associated_protection></Protection_area>',
            ),
            "none",  # two, one over the other
        ),
    ],
)
def test_a_covering_of_a_kbl_that_the_table_knows_becomes_that_of_its_branch(text: str, covering: str) -> None:
    found = read(text)
    assert coverings_of(found) == {"P1": covering, "J4": "none"}
    taken = "coverings taken by their names from the table of coverings" in messages(found)
    assert taken == (covering != "none")
    assert ("coverings that are not carried over" in messages(found)) == (not taken)
    again = read_toml(harness_toml(found.harness, SETTINGS).encode(), "again.toml", None, SETTINGS, {})
    assert bare(again) == bare(found.harness)


def test_a_shop_names_the_parts_of_its_coverings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = '[[covering]]\nname = "hose 8"\naliases = ["RSB-H8"]\nmin_wall_mm = 1.0\nmax_wall_mm = 1.2\nsource = "measured"\n'
    (tmp_path / "coverings.toml").write_text(own)
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    text = covered("hose").replace(
        '<Wire_protection id="tube">', '<Wire_protection id="tube"><Part_number>rsb-h8</Part_number>'
    )
    assert coverings_of(read(text))["P1"] == "hose 8"


def test_a_tape_of_a_vec(tmp_path: Path) -> None:
    """Laid from 20 to 400 of 500 mm; P1 sits at the start of the segment."""

    def location(tag: str, offset: float) -> str:
        at = f"<ReferencedSegment>g1</ReferencedSegment><Anchor>FromStartNode</Anchor>{value('Offset', offset)}"
        return f'<{tag} xsi:type="vec:SegmentLocation">{at}</{tag}>'

    role = '<Role id="tcr" xsi:type="vec:TapeRole"><WireProtectionSpecification>tp</WireProtectionSpecification></Role>'
    tape = f'<Component id="tc"><Identification>T1</Identification>{role}<Role id="tcp" xsi:type="vec:PlaceableElementRole"/></Component>'
    way = f"<Placement><PlacedElement>tcp</PlacedElement>{location('StartLocation', 20)}{location('EndLocation', 400)}</Placement>"
    more = (
        spec("tp", "TapeSpecification")
        + spec("tapes", "CompositionSpecification", tape)
        + spec("laid", "PlacementSpecification", way)
    )
    found = read(vec_sketch(more=more))
    assert coverings_of(found) == {"P1": "tape, half-lapped", "J4": "none"}
    assert "tape T1 at P1 as tape, half-lapped" in messages(found)


def test_what_was_set_wins_over_the_coverings_of_a_file(tmp_path: Path) -> None:
    path = tmp_path / "boat.kbl"
    path.write_text(covered("Tape"), "utf-8")

    def sits_on(settings: Mapping[str, str]) -> str:
        (fit,) = (
            fit for fit in check(str(path), settings=settings).fits if fit.marker.place == "P1" and fit.marker.branch
        )
        assert fit.seat is not None
        return f"{wording.seat_text(fit.seat)}; {'; '.join(wording.sources(fit.seat))}"

    assert sits_on({}).startswith("1 wire and 1 cable, tape, half-lapped; ")
    assert "0.2 to 0.7 mm all round" in sits_on({})  # coverings.toml
    assert "0.25 mm all round" in sits_on({"covering_wall_mm": "0.25"})
    assert sits_on({"covering": "bare"}).startswith("1 wire and 1 cable; ")
    assert sits_on({"covering": "braided sleeving"}).startswith("1 wire and 1 cable, braided sleeving; ")


def test_a_covering_at_one_end_of_a_branch_leaves_the_other_bare() -> None:
    """Tape from 50 to 250 of 500 mm: at P1, and 250 mm from the connector at the other end."""
    text = covered("Tape").replace("<Usage>splice</Usage>", "").replace("<End_location>1<", "<End_location>0.5<")
    found = read(text)
    assert coverings_of(found) == {"P1": "tape, half-lapped", "S1": "none", "J4": "none"}
    again = read_toml(harness_toml(found.harness, SETTINGS).encode(), "again.toml", None, SETTINGS, {})
    assert bare(again) == bare(found.harness)
    assert coverings_of(Read(again, found.account)) == coverings_of(found)
