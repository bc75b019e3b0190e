"""Wire lists of a river survey boat, as many hands write them; every list here is our own.

Line numbers are counted by eye in the lists, from 1.
"""

from __future__ import annotations

import contextlib
import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from labeler.errors import LabelerError, Problem
from labeler.model import Cable, Connector, Harness, Pin
from labeler.readers.columns import columns
from labeler.readers.lists import read_csv
from labeler.tables.catalogue import default_settings, load_catalogue
from tests.make import NO_CHANGES, Changes, read_harness

SETTINGS = default_settings()


def read(text: str | bytes, encoding: str = "utf-8") -> Harness:
    data = text if isinstance(text, bytes) else text.encode(encoding)
    return read_csv(data, "boat.csv", "boat", SETTINGS, load_catalogue())


def problems(text: str | bytes, encoding: str = "utf-8") -> list[Problem]:
    with pytest.raises(LabelerError) as caught:
        read(text, encoding)
    return [problem for problem in caught.value.problems if not problem.warning]


def places(found: list[Problem]) -> list[int]:
    return [problem.where.line for problem in found]


PLAIN = "Wire ID,Signal,From,From Pin,To,To Pin,Gauge,Color,Length (mm)\n"
ROW = "W101,DEPTH RX,P1,12,J4,2,20 AWG,OG,850\n"


def test_a_plain_list() -> None:
    harness = read(PLAIN + ROW)
    (circuit,) = harness.circuits
    assert (circuit.id, circuit.start, circuit.finish) == ("W101", Pin("P1", "12"), Pin("J4", "2"))
    assert (circuit.size, circuit.colour, circuit.signal) == ("20 AWG", "OG", "DEPTH RX")
    assert (circuit.length_mm, circuit.od_mm, circuit.wire_type, circuit.extra) == (850, None, "", ())
    assert str(circuit.where) == "boat.csv:2"
    assert harness.name == "boat"
    assert harness.settings is SETTINGS
    assert harness.notes == ()
    assert harness.text == (PLAIN + ROW).encode()


def test_connectors_in_order_of_first_appearance() -> None:
    harness = read("From,To\nP2:1,J9:1\nP1:1,J9:2\nP2:2,J4:1\n")
    assert [connector.id for connector in harness.connectors] == ["P2", "J9", "P1", "J4"]
    assert harness.connectors[2] == Connector("P1", where=harness.circuits[1].where)


# One header row of each kind, with which column means what: role → header.
HEADERS = [
    (
        "Nr.;von;Kürzel;Pin;Kontakt;nach;Kürzel;Pin;Kontakt;Ader;Länge;Farbe;Quer.;V1;Nr.",
        {"id": 0, "from": 1, "from cavity": 3, "to": 5, "to cavity": 7}
        | {"core": 9, "length": 10, "colour": 11, "size": 12},
    ),
    (
        "Leitungs-Nr.;Zweck;von;Pin;Tülle;Zweck;nach;Pin;Tülle;Farbe;Querschnitt;Potential",
        {"id": 0, "from": 2, "from cavity": 3, "to": 6, "to cavity": 7, "colour": 9, "size": 10, "signal": 11},
    ),
    (
        "Leitung;Kabel;Farbe;Querschnitt;Stecker-A;Pin-A;Kontakt-A;Stecker-B;Pin-B;Kontakt-B;Laenge",
        {
            "id": 0,
            "cable": 1,
            "colour": 2,
            "size": 3,
            "from": 4,
            "from cavity": 5,
            "to": 7,
            "to cavity": 8,
            "length": 10,
        },
    ),
    (
        "wirenumber;from_component;from_pin;to_component;to_pin;netname;awg",
        {"id": 0, "from": 1, "from cavity": 2, "to": 3, "to cavity": 4, "signal": 5, "size": 6},
    ),
    (
        "cable_des;comp_des_1;conn_des_1;pin_1;comp_des_2;conn_des_2;pin_2;net_name;wire_gauge",
        {"cable": 0, "from device": 1, "from": 2, "from cavity": 3, "to device": 4, "to": 5, "to cavity": 6}
        | {"signal": 7, "size": 8},
    ),
    ("net;endpoint_a;endpoint_b;state;source", {"signal": 0, "from": 1, "to": 2}),
    ("cable;colour;mm2;from;to;note", {"cable": 0, "colour": 1, "size": 2, "from": 3, "to": 4}),
    (
        "Wire;Cable;Conductor;Ref 1;Pin 1;Ref 2;Pin 2",
        {"id": 0, "cable": 1, "core": 2, "from": 3, "from cavity": 4, "to": 5, "to cavity": 6},
    ),
    (
        "Wire;From;Pin;Part;To;Pin;Part;Cable",
        {"id": 0, "from": 1, "from cavity": 2, "to": 4, "to cavity": 5, "cable": 7},
    ),
    (
        "Cable;Wire;From;From Pin;To;To Pin;Gauge (AWG);Wire OD (mm);Cable OD (mm);Length (m)",
        {
            "cable": 0,
            "id": 1,
            "from": 2,
            "from cavity": 3,
            "to": 4,
            "to cavity": 5,
            "size": 6,
            "od": 7,
            "cable od": 8,
            "length": 9,
        },
    ),
    (
        "source_connector;source_pin;destination_connector;destination_pin;wire_id;gauge_awg;length_m",
        {"from": 0, "from cavity": 1, "to": 2, "to cavity": 3, "id": 4, "size": 5, "length": 6},
    ),
    (
        "WireID;From;To;AWG;Colour;Connector (From);Connector (To)",
        {"id": 0, "from": 1, "to": 2, "size": 3, "colour": 4},
    ),
    (
        "Wire #;From Connector;From Cavity;To Connector;To Cavity;Routed length;Cut length;Unit;Insulation",
        {
            "id": 0,
            "from": 1,
            "from cavity": 2,
            "to": 3,
            "to cavity": 4,
            "length": 6,
            "length unit": 7,
            "wire type": 8,
        },
    ),
    ("Start;Ende;Signalname", {"from": 0, "to": 1, "signal": 2}),
    (
        "Cable ID;From;From Port;To;To Port;Route state",
        {"cable": 0, "from": 1, "from cavity": 2, "to": 3, "to cavity": 4},
    ),
]


@pytest.mark.parametrize(("header", "expected"), HEADERS, ids=[header[:20] for header, _ in HEADERS])
def test_header_rows(header: str, expected: dict[str, int]) -> None:
    found = columns(header.split(";"))
    assert {role: indexes[0] for role, indexes in found.roles.items()} == expected


@pytest.mark.parametrize("header", ["Pin Number;Colour;Usage", "signal_name;awg;length", "", "W101;J4;P1"])
def test_rows_that_are_no_header_of_two_ends(header: str) -> None:
    assert columns(header.split(";")).score == 0


# ---------------------------------------------------------------- text and table

UMLAUTS = "Leitung;von;Pin;nach;Pin;Farbe;Länge (mm)\nW1;Bug;1;Gerät;2;grün;850\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings_that_are_certain(encoding: str) -> None:
    harness = read(UMLAUTS, encoding)
    assert harness.circuits[0].finish == Pin("Gerät", "2")
    assert harness.notes == ()


def test_latin_1_is_read_and_noted_with_its_line() -> None:
    harness = read(UMLAUTS, "latin-1")
    assert (harness.circuits[0].finish.connector, harness.circuits[0].colour) == ("Gerät", "grün")
    (note,) = harness.notes
    assert note.warning
    assert note.where.line == 1  # the first letter that is not ASCII stands in "Länge"
    assert "Windows-1252" in note.message


def test_bytes_without_meaning_in_windows_1252() -> None:
    (note,) = read(b"Wire,From,To\nW\x81,J4:1,P1:1\n").notes
    assert "Latin-1" in note.message


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_line_ends(line_end: str) -> None:
    harness = read((PLAIN + ROW + "\n" + ROW.replace("W101", "W102")).replace("\n", line_end))
    assert [circuit.where.line for circuit in harness.circuits] == [2, 4]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(separator: str) -> None:
    harness = read((PLAIN + ROW).replace(",", separator))
    assert (harness.circuits[0].finish, harness.circuits[0].length_mm) == (Pin("J4", "2"), 850)


def test_a_table_drawn_with_bars() -> None:
    harness = read("# Boat\n\n| Wire | From | To |\n|------|:---:|---|\n| W1 | J4:1 | P1:12 |\n| W2 | J4:2 | P1:13 |\n")
    assert [(circuit.id, circuit.where.line) for circuit in harness.circuits] == [("W1", 5), ("W2", 6)]
    assert harness.circuits[1].finish == Pin("P1", "13")


def test_semicolons_and_decimal_commas() -> None:
    harness = read("Leitung;von;Pin;nach;Pin;Querschnitt;Länge (m)\nW1;J4;1;P1;1;0,75;0,85\nW2;J4;2;P1;2;1;1,2\n")
    assert [circuit.size for circuit in harness.circuits] == ["0.75 mm2", "1 mm2"]
    assert [circuit.length_mm for circuit in harness.circuits] == [850, 1200]


def test_titles_comments_and_blank_lines_before_and_between() -> None:
    text = (
        "River survey boat;;;\n"  # 1
        "\n"  # 2
        "# drawn from the sounder's manual\n"  # 3
        "// revision C; from; to\n"  # 4
        "Wire;From;To;Note\n"  # 5
        "W1;J4:1;P1:1;\n"  # 6
        ";;;\n"  # 7
        "# W9;J4:9;P1:9;\n"  # 8
        'W2;J4:2;P1:2;"two\nlines"\n'  # 9, 10
        "W3;J4:3;P1:3;\n"  # 11
    )
    harness = read(text)
    assert [(circuit.id, circuit.where.line) for circuit in harness.circuits] == [("W1", 6), ("W2", 9), ("W3", 11)]
    assert harness.circuits[1].extra == (("Note", "two\nlines"),)
    note, unused = harness.notes
    assert unused.message == "not used: column 'Note'; and no column gives the sizes of the wires"
    assert (note.where.line, note.warning) == (8, True)  # a whole row that was commented out


def test_a_header_behind_slashes() -> None:
    harness = read("// Wire, Ref 1, Pin 1, Ref 2, Pin 2\nW1,J4,1,P1,2\n")
    assert harness.circuits[0].finish == Pin("P1", "2")


def test_a_column_called_with_a_sign_is_no_comment() -> None:
    harness = read("#,From,To\n7,J4:1,P1:1\n")
    assert harness.circuits[0].id == "7"


def test_trailing_separators_and_a_repeated_header() -> None:
    harness = read("Wire,From,To,,\nW1,J4:1,P1:1,,\nWire,From,To,,\nW2,J4:2,P1:2\n")
    assert [circuit.id for circuit in harness.circuits] == ["W1", "W2"]


def test_quotes_hold_separators_and_quotes() -> None:
    harness = read('Wire,From,To,Note\nW1,J4:1,P1:1,"bow, ""port"""\nW2,J4:2,P1:2,3/4" tube\n')
    assert [circuit.extra[0][1] for circuit in harness.circuits] == ['bow, "port"', '3/4" tube']


def test_text_such_as_na_stays_text() -> None:
    harness = read("Wire,From,To,Signal\nNA,J4:1,P1:1,null\n007,J4:2,P1:2,1e5\n")
    assert [(circuit.id, circuit.signal) for circuit in harness.circuits] == [("NA", "null"), ("007", "1e5")]


# ---------------------------------------------------------------- values


@pytest.mark.parametrize(
    ("header", "value", "mm"),
    [
        ("Length (in)", "10", 254),  # 10 × 25.4
        ("length_m", "0.85", 850),
        ("Length [cm]", "85", 850),
        ("Length", "1500mm", 1500),
        ("Length (mm)", "15cm", 150),
        ("Länge mm", "-", None),
        ("Length (mm)", "0", None),  # nobody measured 0
    ],
)
def test_units_of_length(header: str, value: Any, mm: float | None) -> None:
    (circuit,) = read(f"Wire,From,To,{header}\nW1,J4:1,P1:1,{value}\n").circuits
    assert circuit.length_mm == (None if mm is None else pytest.approx(mm))


def test_a_column_of_units() -> None:
    harness = read("Wire,From,To,Length,Unit\nW1,J4:1,P1:1,10,in\nW2,J4:2,P1:2,10,mm\nW3,J4:3,P1:3,10,\n")
    assert [circuit.length_mm for circuit in harness.circuits] == [pytest.approx(254), 10, 10]


def test_a_length_without_unit_is_mm_and_said_so() -> None:
    (note,) = read("Wire,From,To,Length\nW1,J4:1,P1:1,10\n").notes
    assert "no unit" in note.message


@pytest.mark.parametrize(
    ("header", "values", "sizes"),
    [
        ("Gauge", ["20", "18"], ["20 AWG", "18 AWG"]),
        ("Gauge", ["0.75", "1"], ["0.75 mm2", "1 mm2"]),
        ("Gauge (mm²)", ["1", "2"], ["1 mm2", "2 mm2"]),
        ("gauge_awg", ["2", "1/0"], ["2 AWG", "1/0 AWG"]),
        ("mm2", ["4", "6"], ["4 mm2", "6 mm2"]),
        ("Querschnitt", ["4", "6"], ["4 mm2", "6 mm2"]),
        ("Wire DM", ["1", "2"], ["1 mm2", "2 mm2"]),
        ("Gauge", ["22 AWG", "1 mm² (~18 AWG)"], ["22 AWG", "1 mm2"]),
        ("Gauge", ["-", "20"], ["", "20 AWG"]),
    ],
)
def test_sizes(header: str, values: list[str], sizes: list[str]) -> None:
    rows = "".join(f"W{number};J4:{number};P1:{number};{value}\n" for number, value in enumerate(values, 1))
    harness = read(f"Wire;From;To;{header}\n{rows}")
    assert [circuit.size for circuit in harness.circuits] == sizes


def test_a_gauge_that_may_be_either_is_asked_for() -> None:
    (problem,) = problems("Wire,From,To,Gauge\nW1,J4:1,P1:1,1\nW2,J4:2,P1:2,2\n")
    assert problem.where.line == 1
    assert "Gauge (AWG) or Gauge (mm2)" in problem.fix


@pytest.mark.parametrize(
    ("ends", "pins"),
    [
        (["J4:1", "J4:2"], [Pin("J4", "1"), Pin("J4", "2")]),
        (["X1.J4.1", "U1.TX"], [Pin("X1.J4", "1"), Pin("U1", "TX")]),
        (["J4", "GND"], [Pin("J4"), Pin("GND")]),
        (["J4:1", "GND"], [Pin("J4", "1"), Pin("GND")]),  # a terminal has no cavity
    ],
)
def test_joined_ends_are_split_where_most_ends_of_the_list_are(ends: Any, pins: list[Pin]) -> None:
    rows = "".join(f"W{number},{end},P1:{number}\n" for number, end in enumerate(ends, 1))
    harness = read(f"Wire,From,To\n{rows}")
    assert [circuit.start for circuit in harness.circuits] == pins


def test_a_column_half_joined_is_said() -> None:
    (note,) = read("Wire,From,To\nW1,J4:1,P1\nW2,GND,P1\n").notes
    assert "1 of 2" in note.message


def test_missing_ids_are_numbered() -> None:
    harness = read("From,From Pin,To,To Pin\nJ4,1,P1,1\nJ4,2,P1,2\n")
    assert [circuit.id for circuit in harness.circuits] == ["1", "2"]
    assert [note.warning for note in harness.notes] == [True]


def test_numbers_that_are_taken_are_not_used_again() -> None:
    harness = read("Wire,From,To\n2,J4:1,P1:1\n-,J4:2,P1:2\n,J4:3,P1:3\n")
    assert [circuit.id for circuit in harness.circuits] == ["2", "5", "3"]  # row 2: 2 is taken, 2 + 3 rows is free


def test_a_cable_column_names_circuits_only_if_nothing_else_does() -> None:
    alone = read("cable,from,to\nC1,J4:1,P1:1\nC2,J4:2,P1:2\n")
    assert [(circuit.id, circuit.cable) for circuit in alone.circuits] == [("C1", ""), ("C2", "")]
    shared = read("cable,from,to\nC1,J4:1,P1:1\nC1,J4:2,P1:2\n")
    assert [(circuit.id, circuit.cable) for circuit in shared.circuits] == [("1", "C1"), ("2", "C1")]
    assert [cable.id for cable in shared.cables] == ["C1"]


def test_cables_with_their_diameter() -> None:
    header = "Wire,From,To,Cable,Wire OD (mm),Cable OD (in)\n"
    harness = read(header + "W1,J4:1,P1:1,K1,1.9,1/4\nW2,J4:2,P1:2,K1,1.9,\nW3,J4:3,P1:3,,,\n")
    assert harness.cables == (Cable("K1", 6.35, harness.circuits[0].where),)
    assert [circuit.od_mm for circuit in harness.circuits] == [1.9, 1.9, None]


def test_columns_not_understood_are_kept_as_written() -> None:
    harness = read("Wire,From,Pin,Kontakt,To,Pin,Kontakt,Crew\nW1,J4,1,a,P1,2, b ,-\n")
    assert harness.circuits[0].extra == (("Kontakt", "a"), ("Kontakt 2", " b "), ("Crew", "-"))


# ---------------------------------------------------------------- bad lists


def test_everything_that_is_wrong_is_told_at_once() -> None:
    text = PLAIN + (
        "W1,S,J4,1,P1,1,banana,OG,850\n"  # 2
        "W2,S,J4,2,P1,2,20 AWG,OG,-850\n"  # 3
        "W3,S,J4,0,P1,3,20 AWG,OG,850\n"  # 4
        "W4,S,J4,4,P1\n"  # 5
        "W5,S,J4,5,P1,5,20 AWG,OG,850,more\n"  # 6
        "W6,S,,6,P1,6,20 AWG,OG,850\n"  # 7
        'W7,S,J4,"7"x,P1,7,20 AWG,OG,850\n'  # 8
        "W8,S,J4,8,P1,8,20 AWG,OG,850\n"  # 9
    )
    found = problems(text)
    assert places(found) == [2, 3, 4, 5, 6, 7, 8]
    for problem, word in zip(found, ["banana", "-850", "cavity", "5 cells", "10 cells", "empty", "quote"], strict=True):
        assert word in problem.message


def test_the_wrong_separator() -> None:
    (problem,) = problems("Wire:From:To\nW1:J4:P1\n")
    assert "Wire:From:To" in problem.message
    assert "From and To" in problem.message
    assert "semicolon" in problem.fix


def test_missing_ends_list_the_headers_seen_and_what_was_looked_for() -> None:
    (problem,) = problems("Signal,Gauge,Colour\nDEPTH RX,20,OG\n")
    assert problem.where.line == 1
    for word in ("'Signal'", "'Gauge'", "'Colour'", "von and nach"):
        assert word in problem.message


@pytest.mark.parametrize(
    ("header", "name"),
    [("Wire,Connector,Pin,Connector,Pin", "'Connector'"), ("Wire,From,Pin,Pin,To", "'Pin'")],
)
def test_headers_that_cannot_be_told_apart(header: str, name: str) -> None:
    (problem,) = problems(f"{header}\nW1,J4,1,P1,2\n")
    assert name in problem.message


def test_two_columns_for_the_ids() -> None:
    rows = "W1,J4:1,P1:1,{}\n"
    (problem,) = problems("Wire,From,To,Wire\n" + rows.format("W2"))
    assert "'Wire' and 'Wire'" in problem.message
    assert read("Wire,From,To,Wire\n" + rows.format("W1")).circuits[0].id == "W1"


def test_no_rows() -> None:
    (problem,) = problems(PLAIN)
    assert "no circuits" in problem.message


def test_one_cable_of_two_diameters() -> None:
    (problem,) = problems("Wire,From,To,Cable,Cable OD (mm)\nW1,J4:1,P1:1,K1,6.2\nW2,J4:2,P1:2,K1,6.3\n")
    assert (problem.where.line, "6.2" in problem.message) == (3, True)


def test_an_unclosed_quote_stays_local() -> None:
    rows = "".join(f"W{number},J4:{number},P1:{number},\n" for number in range(3, 90))
    found = problems(f'Wire,From,To,Note\nW1,J4:1,P1:1,"open\nW2,J4:2,P1:2,x,y\n{rows}')
    assert places(found) == [2, 3]  # and the five cells of the line after it are seen


def test_no_text() -> None:
    (first, *_) = problems(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
    assert "no text" in first.message
    (problem,) = problems(PLAIN.encode() + b"W1,\x00,P1,12,J4,2,20 AWG,OG,850\n")
    assert (problem.where.line, "character 0 at position 4" in problem.message) == (2, True)


def test_a_line_of_ten_megabytes() -> None:
    (problem,) = problems(PLAIN + "W1," + "x" * 10_000_000 + "\n")
    assert (problem.where.line, "10,000,003" in problem.message) == (2, True)  # W1, and the x's


def test_half_a_letter_of_utf_16() -> None:
    (problem,) = problems((PLAIN + ROW).encode("utf-16") + b"x")
    assert "UTF-16" in problem.message


# ---------------------------------------------------------------- files


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("empty.csv", b"", "is empty"),
        ("blank.csv", b"\xef\xbb\xbf \r\n\r\n", "is empty"),
        ("book.zip", b"PK\x03\x04rest", "unpack it"),
        ("paper.pdf", b"%PDF-1.7", "PDF"),
    ],
)
def test_files_that_are_no_list(tmp_path: Path, name: str, data: bytes, said: str) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(LabelerError, match=said):
        read_harness(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(LabelerError, match="no such file"):
        read_harness(tmp_path / "boat.csv")
    with pytest.raises(LabelerError, match="is a folder"):
        read_harness(tmp_path)
    with pytest.raises(LabelerError, match="cannot be read"):
        read_harness("boat\x00.csv")


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "boat.csv"
    path.write_text(PLAIN + ROW)

    def closed(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", closed)
    with pytest.raises(LabelerError, match="may not be read"):
        read_harness(path)


@pytest.mark.parametrize("name", ["boat.csv", "boat.TSV", "boat.txt", "boat", "boat.list"])
def test_lists_by_ending_and_by_content(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_text(PLAIN + ROW)
    harness = read_harness(path, {"print.min_capital_height_mm": "2 mm"})
    assert (harness.name, len(harness.circuits)) == ("boat", 1)
    assert harness.settings is not None
    assert harness.settings.print.min_capital_height_mm == 2


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    class Input:
        buffer = io.BytesIO((PLAIN + ROW).encode())

    monkeypatch.setattr("sys.stdin", Input)
    harness = read_harness("-")
    assert str(harness.circuits[0].where) == "standard input:2"


# ---------------------------------------------------------------- anything at all

PIECES = st.sampled_from(
    b'" \n \r , ; \t | # // \x00 \xff\xfe From To J4:1 Pin Wire Gauge Length - 0 1,5 20 \xe4 999999'.split(b" ")
)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=300) | st.lists(PIECES, max_size=60).map(b"".join))
@example(b"From,To\nJ4:0,P1:1\n")
def test_whatever_comes_it_is_read_or_refused(data: bytes) -> None:
    with contextlib.suppress(LabelerError):  # and nothing else
        assert read(data).circuits


@settings(max_examples=50, deadline=None)
@given(
    st.lists(
        st.tuples(st.from_regex(r"[A-Z][A-Za-z0-9äöü/_]{0,8}", fullmatch=True), st.integers(1, 99)),
        min_size=1,
        max_size=20,
    ),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
def test_what_is_written_is_read(ends: Any, separator: str, encoding: str) -> None:
    rows = [[f"W{row}", name, str(cavity), "P1", str(row)] for row, (name, cavity) in enumerate(ends, 1)]
    lines = [["Wire", "From", "From Pin", "To", "To Pin"], *rows]
    text = "".join(separator.join(line) + "\n" for line in lines)
    found = [
        [c.id, c.start.connector, c.start.cavity, c.finish.connector, c.finish.cavity]
        for c in read(text, encoding).circuits
    ]
    assert found == rows


# ---------------------------------------------------------------- what is left over, and what Wire means


def test_columns_that_are_not_used_are_named_once() -> None:
    """Empty columns drop nothing; what a wire marker asks for is used."""
    text = "Wire ID,From,To,AWG,Crew,Loom,Empty\nW1,J4:1,P1:1,20,ada,left,\nW2,J4:2,P1:2,20,,right,-\n"
    (note,) = read(text).notes
    assert (note.message, note.warning, str(note.where)) == ("not used: columns 'Crew', 'Loom'", True, "boat.csv:1")
    asked = read_csv(text.encode(), "boat.csv", "boat", default_settings_with({"marker.wire_text": "{circuit} {Loom}"}))
    assert [note.message for note in asked.notes] == ["not used: column 'Crew'"]
    many = ",".join(f"Extra {chr(97 + n)}x" for n in range(15))
    (note,) = read(f"Wire ID,From,To,AWG,{many}\nW1,J4:1,P1:1,20{',y' * 15}\n").notes
    assert note.message.endswith("'Extra lx' and 3 more")


def test_a_list_without_sizes_names_the_columns_that_may_have_them() -> None:
    (note,) = read("Wire,From,To,Wire dim.\nW1,J4:1,P1:1,0.75\n").notes
    assert note.message == "not used: column 'Wire dim.'; and no column gives the sizes of the wires"
    assert note.fix.startswith("call the one with the sizes Gauge (AWG) or Gauge (mm2)")
    assert "column map (labeler read --write-column-map)" in note.fix


@pytest.mark.parametrize(
    "header",  # common practice in German and English wire lists
    [
        *("Kennzeichnung", "Kennzeichen", "Leitungskennzeichnung", "Leitungsbezeichnung", "Leitungsnr.", "Ltg.-Nr."),
        *("Drahtnr.", "Draht-Nr.", "Drahtnummer", "Kabelnr.", "Adernummer", "Ader-Nr.", "Aderkennzeichnung"),
        *("Verbindungs-Nr.", "Wire Mark", "Wire designation", "Connection No.", "Conductor ID"),
    ],
)
def test_what_wires_are_called_in_lists(header: str) -> None:
    found = read(f"{header};von;nach;Querschnitt\n101;X1:1;X2:1;0,75\n102;X1:2;X2:2;1,5\n")
    assert [circuit.id for circuit in found.circuits] == ["101", "102"]
    assert not any("numbered" in note.message for note in found.notes)


def test_a_word_for_marking_beside_a_wire_number_is_no_id() -> None:
    found = read("Leitung;Kennzeichnung;von;nach;Querschnitt\n7;rot lackiert;X1:1;X2:1;0,75\n")
    assert found.circuits[0].id == "7"
    assert found.circuits[0].extra == (("Kennzeichnung", "rot lackiert"),)


def test_cores_that_stand_twice_name_no_wire() -> None:
    found = read("Ader;von;nach;Querschnitt\n1;X1:1;X2:1;0,75\n1;X1:2;X2:2;0,75\n")
    assert [circuit.id for circuit in found.circuits] == ["1", "2"]
    assert any("a row that is added changes the numbers below it" in note.message for note in found.notes)


def default_settings_with(changes: Changes = NO_CHANGES) -> Any:
    return SETTINGS.changed(changes)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # the insulation in a column Wire, beside one of ids
        ("ID,Wire,From,To\n7,TXL,J4:1,P1:1\n8,TXL,J4:2,P1:2\n", [("7", "TXL"), ("8", "TXL")]),
        ("ID,Wire,From,To\n7,TXL,J4:1,P1:1\n8,GXL,J4:2,P1:2\n", [("7", "TXL"), ("8", "GXL")]),
        ("Nr;Leitung;von;nach\n1;FLRY;J4:1;P1:1\n2;FLRY;J4:2;P1:2\n", [("1", "FLRY"), ("2", "FLRY")]),
        ("Wire ID,Wire,From,To\nW7,TXL,J4:1,P1:1\nW8,GXL,J4:2,P1:2\n", [("W7", "TXL"), ("W8", "GXL")]),
        # an insulation of the shop's own, that no table has: it repeats, the numbers do not
        ("No,Wire,From,To\n1,blue hull,J4:1,P1:1\n2,blue hull,J4:2,P1:2\n", [("1", "blue hull"), ("2", "blue hull")]),
        # a running number, and wires with names of their own
        ("No,Wire,From,To\n1,W7,J4:1,P1:1\n2,W8,J4:2,P1:2\n", [("W7", ""), ("W8", "")]),
        # nothing else names the circuits
        ("Wire,From,To\nTXL,J4:1,P1:1\nGXL,J4:2,P1:2\n", [("1", "TXL"), ("2", "GXL")]),
        ("Wire,From,To\nW7,J4:1,P1:1\nW8,J4:2,P1:2\n", [("W7", ""), ("W8", "")]),
    ],
)
def test_a_column_called_wire(text: str, expected: list[tuple[str, str]]) -> None:
    assert [(circuit.id, circuit.wire_type) for circuit in read(text).circuits] == expected


def test_outside_diameters_that_no_wire_or_cable_has() -> None:
    found = problems("Wire,From,To,Cable,Wire OD (mm),Cable OD (mm)\nW1,J4:1,P1:1,K1,201,6\nW2,J4:2,P1:2,K2,1,501\n")
    assert places(found) == [2, 3]
    assert ["outside 0.05 to 200 mm" in found[0].message, "outside 0.1 to 500 mm" in found[1].message] == [True, True]


# ---------------------------------------------------------------- lists as they are found, written here


def said(text: str) -> list[str]:
    """Return every problem and note of a list."""
    try:
        return [str(note) for note in read(text).notes]
    except LabelerError as error:
        return [str(problem) for problem in error.problems if not problem.warning]


@pytest.mark.parametrize(
    "row",
    ["POWER,,,", ",,,AWG", "Total,,,1200", "K1,,,4x0.5", "Sheet 2 of 3,,,"],
    ids=["heading", "units", "total", "cable", "page"],
)
def test_a_row_that_names_no_end_is_one_problem_that_says_what_to_do(row: str) -> None:
    (problem,) = said(f"Wire,From,To,AWG\nW1,J1:1,J2:1,20\n{row}\nW2,J1:2,J2:2,20\n")
    assert problem.startswith("boat.csv:3: names no end: a heading, units, a total or a note?; take the row out, or")
    assert said(f"Wire,From,To,AWG\nW1,J1:1,J2:1,20\n# {row}\nW2,J1:2,J2:2,20\n")[0].startswith("boat.csv:3: warning")


def test_ends_without_a_colon_among_those_with_one_are_told() -> None:
    found = read("Wire,From,To,AWG\nW1,J1:1,S1,20\nW2,S1,J2:1,20\nW3,S1,J3:1,20\n")
    assert [str(c.start) for c in found.circuits] == ["J1:1", "S1", "S1"]
    assert [c.id for c in found.connectors] == ["J1", "S1", "J2", "J3"]
    messages = [note.message for note in found.notes]
    assert messages == [f"column {name!r}: taken without a cavity, having no colon: S1" for name in ("From", "To")]


def test_a_colon_in_few_names_parts_nothing() -> None:
    names = ("MAST", "HULL", "BOW", "DECK: AFT")
    found = read("Wire,From,To,AWG\n" + "".join(f"W{n},{name},HUB{n},20\n" for n, name in enumerate(names)))
    assert [c.start.connector for c in found.circuits] == list(names)
    assert "1 of 4 names have a colon; none was split" in found.notes[0].message


@pytest.mark.parametrize("sign", ["-", "/", "_", " ", " Pin "])
def test_ends_joined_with_another_sign_are_told_and_not_split(sign: str) -> None:
    rows = "".join(f"W{n},J1{sign}{n},J2{sign}{n},20\n" for n in (1, 2, 3))
    found = read(f"Wire,From,To,AWG\n{rows}")
    assert len(found.connectors) == 6
    first, second = found.notes
    assert f"each of J1{sign}1, J1{sign}2, J1{sign}3 is read as a connector of its own" in first.message
    assert "write a colon between" in second.fix


def test_names_that_only_look_alike_are_no_cavities() -> None:
    """Each head stands once: X-1, Y-2 are names."""
    assert said("Wire,From,To,AWG\nW1,MAST-1,HULL-2,20\nW2,BOW-3,DECK-4,20\n") == []


@pytest.mark.parametrize("end", ["J2:1, J3:1", "J2:1; J3:1", "J2:1 & J3:1", "J2:1 + J3:1"])
def test_an_end_that_names_several_places_is_told(end: str) -> None:
    (note,) = said(f'Wire,From,To,AWG\nW1,J1:1,"{end}",20\n')
    assert note.startswith(f"boat.csv:2: warning: column 'To': {end!r} may name several places, and is read as one")


def test_plus_and_minus_of_a_battery_name_one_place() -> None:
    assert said("Wire,From,To,AWG\nW1,BAT+:1,J2:1,20\nW2,BAT-:1,J2:2,20\n") == []


@pytest.mark.parametrize(
    ("start", "finish", "wires"),
    [("J1:1-3", "J2:1-3", 3), ("J1:1..4", "J2:5..8", 4), ("J1:1-3", "J2:1-4", 0), ("J1:3-1", "J2:3-1", 0)],
)
def test_a_row_that_may_stand_for_several_wires_is_told(start: str, finish: str, wires: int) -> None:
    """Both ends span as many cavities; else it may be a name."""
    told = said(f"Wire,From,To,AWG\nW1,{start},{finish},20\n")
    expected = f"boat.csv:2: warning: {start} to {finish} may stand for {wires} wires, and is read as one; give each"
    assert [note.startswith(expected) for note in told] == [True] * bool(wires)


@pytest.mark.parametrize(
    ("row", "said_of_it"),
    [
        ("W2,,dto.,2,J2,2,20 AWG,,", "'From': dto. stands for the cell above"),
        ('W2,,"""",2,J2,2,20 AWG,,', "'From': \" stands for the cell above"),
        ("W2,,〃,2,J2,2,20 AWG,,", "'From': 〃 stands for the cell above"),
        ("W2,ditto,J1,2,J2,2,20 AWG,,", "'Signal': ditto stands for the cell above"),
        ("W2,,J1,#REF!,J2,2,20 AWG,,", "'From Pin': #REF! is what a spreadsheet shows for a formula that failed"),
        ("W2,,J1,2,#BEZUG!,2,20 AWG,,", "'To': #BEZUG! is what a spreadsheet shows for a formula that failed"),
        ("Leitung,,Von,2,Nach,2,,,", "names 'Von' and 'Nach' for ends, as the header of another table would"),
        ("W2,,n/a,2,J2,2,20 AWG,,", "the 'from' end is empty"),
    ],
)
def test_what_stands_for_something_else_is_no_name(row: str, said_of_it: str) -> None:
    (found,) = problems(PLAIN + ROW + row + "\n")
    assert found.where.line == 3
    assert said_of_it in found.message


def test_what_does_not_apply_is_none() -> None:
    (circuit,) = read("Wire,From,Pin,To,Pin,Size,Signal,Cable,Length mm\nW1,J1,1,J2,1,20 AWG,N/A,n/a,k.A.\n").circuits
    assert (circuit.signal, circuit.cable, circuit.length_mm) == ("", "", None)


@pytest.mark.parametrize("name", ["TBD", "spare", "NC", "frei"])
def test_a_place_that_nobody_knows_is_told(name: str) -> None:
    (note,) = read(PLAIN + ROW + f"W2,,P1,3,{name},,20 AWG,,\n" + f"W3,,P1,4,{name},,20 AWG,,\n").notes
    assert note.where.line == 3
    assert f"{name!r} is read as a connector of that name" in note.message


@pytest.mark.parametrize("cavity", ["2-Mar", "01. Feb", "1.Mrz", "2024-03-02 00:00:00", "Mar-24"])
def test_a_cavity_that_looks_like_a_date_is_told(cavity: str) -> None:
    (note,) = read(PLAIN + f"W2,,P1,{cavity},J4,2,20 AWG,,\n").notes
    assert note.where.line == 2
    assert f"{cavity!r} may be a date" in note.message


@pytest.mark.parametrize("name", ["MAR1", "A", "B", "DO", "NCX", "SEP"])
def test_names_that_only_resemble_those_are_names(name: str) -> None:
    assert read(PLAIN + f"W2,,{name},1,J4,2,20 AWG,,\n").notes == ()
