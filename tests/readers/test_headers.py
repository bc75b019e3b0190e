"""Header rows as real lists have them, each with two rows of our own: the same five things come out.

The header rows are those of wire lists seen in public; ends, sizes and lengths below them are written
here by hand, and so is what is expected.
"""

from __future__ import annotations

import pytest

from labeler.errors import LabelerError
from labeler.readers.import_report import Given, Read, Wanted
from labeler.readers.lists import read_list
from labeler.readers.table import NoHeader, decoded, table_of
from labeler.tables.catalogue import default_settings, load_catalogue

SETTINGS = default_settings()


def read(text: str, wanted: Wanted | None = None) -> Read:
    data = text.encode()
    written, notes = decoded(data, "boat.csv")
    table = table_of(written, "boat.csv", notes)
    return read_list(table, Given(data, "boat.csv", "boat", SETTINGS, load_catalogue(), wanted or Wanted()))


def five(text: str) -> list[tuple[str, str, str, str, float | None]]:
    """Return from, to, size, colour and length of each circuit."""
    circuits = read(text).harness.circuits
    return [(str(c.start), str(c.finish), c.size, c.colour, c.length_mm) for c in circuits]


# number of the row · the list · from, to, size, colour, length of its two wires
ONE_WIRE_A_ROW = [
    (
        "1",
        "1;River survey boat\n2;V1;Winch\n"
        "3;Nr.;von;Kurzname;Pin;Kontakt;nach;Kurzname;Pin;Kontakt;Leitung;Typ;Kabel;Ader;Länge;Farbe;Quer.;V1;V2;Nr.\n"
        "4;101;P1;Bilge;12;c;J4;Sounder;2;c;L1;T;;;850;sw;0,35;x;;101\n"
        "4;102;P1;Bilge;13;c;J4;Sounder;3;c;L2;T;;;900;rt;0,5;x;x;102\n",
        [("P1:12", "J4:2", "0.35 mm2", "sw", 850), ("P1:13", "J4:3", "0.5 mm2", "rt", 900)],
    ),
    (
        "1, header without code",
        "1;River survey boat\n"
        "Nr.;von;Kurzname;Pin;Kontakt;nach;Kurzname;Pin;Kontakt;Leitung;Typ;Kabel;Ader;Länge;Farbe;Quer.;V1;V2;Nr.\n"
        "4;101;P1;Bilge;12;c;J4;Sounder;2;c;L1;T;;;850;sw;0,35;x;;101\n"
        "4;102;P1;Bilge;13;c;J4;Sounder;3;c;L2;T;;;900;rt;0,5;x;x;102\n",
        [("P1:12", "J4:2", "0.35 mm2", "sw", 850), ("P1:13", "J4:3", "0.5 mm2", "rt", 900)],
    ),
    (
        "2",
        "Leitungs-Nr.;Verwendung;von;Pin;Dichtung;Verwendung;nach;Pin;Dichtung;Farbe;Quer.;Potential;V1;Leitungs-Nr.\n"
        "101;Bug;P1;12;d;Heck;J4;2;d;ge;0,75;DEPTH RX;x;101\n102;Bug;P1;13;d;Heck;J4;3;d;gn;1,5;DEPTH TX;;102\n",
        [("P1:12", "J4:2", "0.75 mm2", "ge", None), ("P1:13", "J4:3", "1.5 mm2", "gn", None)],
    ),
    (
        "3",
        "Survey boat wiring\t\t\n\n"
        "Leitung\tOption\tKabel\tFarbe\tQuerschnitt\tTeilenummer\tStecker-A\tPin-A\tKontakt-A\t"
        "Stecker-B\tPin-B\tKontakt-B\tLaenge\n"
        "L1\tALL\tK1\tblau\t0,35\tn1\tP1\t12\tc\tJ4\t2\tc\t850\n"
        "L2\tALL\tK1\tgelb\t0,35\tn1\tP1\t13\tc\tJ4\t3\tc\t850\n",
        [("P1:12", "J4:2", "0.35 mm2", "blau", 850), ("P1:13", "J4:3", "0.35 mm2", "gelb", 850)],
    ),
    (
        "4",
        "wirenumber,from_component,from_pin,to_component,to_pin,netname,awg\n"
        "101,P1,12,J4,2,DEPTH RX,22\n102,P1,13,J4,3,DEPTH TX,18\n",
        [("P1:12", "J4:2", "22 AWG", "", None), ("P1:13", "J4:3", "18 AWG", "", None)],
    ),
    (
        "6",
        "cable_des,comp_des_1,conn_des_1,pin_1,comp_des_2,conn_des_2,pin_2,net_name,conn_mpn_1,conn_mpn_2,"
        "pincount,wire_gauge,length,cable_note\n"
        "K1,SOUNDER,J4,2,HUB,P1,12,DEPTH RX,m,n,4,22 AWG,850 mm,\n"
        "K1,SOUNDER,J4,3,HUB,P1,13,DEPTH TX,m,n,4,22 AWG,850 mm,\n",
        [("J4:2", "P1:12", "22 AWG", "", 850), ("J4:3", "P1:13", "22 AWG", "", 850)],
    ),
    (
        "7",
        "Wire ID,From Connector,From Pin,To Connector,To Pin,Wire Gauge,Wire Color,Length,Signal,Notes\n"
        "W1,P1,12,J4,2,22 AWG,Orange,1500mm,DEPTH RX,\nW2,P1,13,J4,3,20 AWG,Blue,300 mm,DEPTH TX,\n",
        [("P1:12", "J4:2", "22 AWG", "Orange", 1500), ("P1:13", "J4:3", "20 AWG", "Blue", 300)],
    ),
    (
        "9",  # ends of several forms in one column: none is split
        "cable,colour,mm2,from,to,status,evidence,notes\n"
        "101,BL/VT,1.5,8:56a,earth,ok,seen,\n102,RD,0.75,58 (B9),8:57,ok,seen,\n",
        [("8:56a", "earth", "1.5 mm2", "BL/VT", None), ("58 (B9)", "8:57", "0.75 mm2", "RD", None)],
    ),
    (
        "10",
        "net,endpoint_a,endpoint_b,status,source,notes\n"
        "DEPTH RX,U1.GPIO8,J4.2,ok,plan,\nDEPTH TX,U1.GPIO9,J4.3,ok,plan,\n",
        [("U1:GPIO8", "J4:2", "", "", None), ("U1:GPIO9", "J4:3", "", "", None)],
    ),
    (
        "12",
        "From,From Pin,To,To Pin,Wire DM,Color\nP1,12,J4,2,0.5,RD\nP1,13,J4,3,1,BK\n",
        [("P1:12", "J4:2", "0.5 mm2", "RD", None), ("P1:13", "J4:3", "1 mm2", "BK", None)],
    ),
    (
        "15",
        "// Wire, Cable, Conductor, Ref 1, Pin 1, Ref 2, Pin 2, Deck\n101,K1,1,P1,12,J4,2,a\n102,K1,2,P1,13,J4,3,a\n",
        [("P1:12", "J4:2", "", "", None), ("P1:13", "J4:3", "", "", None)],
    ),
    (
        "16",
        "Wire,From,Pin,Part,To,Pin,Part,Cable,Core,Spec\nW1,P1,12,h1,J4,2,h2,K1,1,s\nW2,P1,13,h1,J4,3,h2,K1,2,s\n",
        [("P1:12", "J4:2", "", "", None), ("P1:13", "J4:3", "", "", None)],
    ),
    (
        "17",
        "# survey boat\n# revision C\n"
        "Cable,Wire,From,From Pin,To,To Pin,Color,Gauge (AWG),Wire OD (mm),Cable OD (mm),Length (mm)\n"
        "K1,W1,P1,12,J4,2,OG,20,1.9,6.2,850\nK1,W2,P1,13,J4,3,BU,20,1.9,6.2,850\n",
        [("P1:12", "J4:2", "20 AWG", "OG", 850), ("P1:13", "J4:3", "20 AWG", "BU", 850)],
    ),
    (
        "18",
        "Wire ID,Signal,From,From Pin,To,To Pin,Gauge,Color,Length (in)\n"
        "W1,DEPTH RX,P1,12,J4,2,22,OG,10\nW2,DEPTH TX,P1,13,J4,3,22,BU,20\n",
        [("P1:12", "J4:2", "22 AWG", "OG", 254), ("P1:13", "J4:3", "22 AWG", "BU", 508)],  # 10 and 20 × 25.4
    ),
    (
        "19",
        "Wire,From,From Pin,To,To Pin,Signal,Gauge,Color,Length,Unit,From MPN,To MPN\n"
        "W1,P1,12,J4,2,DEPTH RX,22,OG,10,in,a,b\nW2,P1,13,J4,3,DEPTH TX,22,BU,400,mm,a,b\n",
        [("P1:12", "J4:2", "22 AWG", "OG", 254), ("P1:13", "J4:3", "22 AWG", "BU", 400)],
    ),
    (
        "20",
        "Harness,Wire,From,From Pin,To,To Pin,Wire Part,Color,Gauge\n"
        "H1,W1,P1,12,J4,2,p,OG,22\nH1,W2,P1,13,J4,3,p,BU,22\n",
        [("P1:12", "J4:2", "22 AWG", "OG", None), ("P1:13", "J4:3", "22 AWG", "BU", None)],
    ),
    (
        "21",
        "# made 2026-03-01\n"
        "Wire,Signal,Interface,From connector,From pin,To connector,To pin,AWG,Part,Colour,Length (m),"
        "Shield group,Locked\n"
        "W1,DEPTH RX,serial,P1,12,J4,2,22,p,OG,0.85,,no\nW2,DEPTH TX,serial,P1,13,J4,3,22,p,BU,1.2,,no\n",
        [("P1:12", "J4:2", "22 AWG", "OG", 850), ("P1:13", "J4:3", "22 AWG", "BU", 1200)],
    ),
    (
        "22",
        "source_project,source_connector,source_pin,destination_project,destination_connector,destination_pin,wire_id,"
        "gauge_awg,color,bundle,splice,length_m,shield,notes\n"
        "bridge,P1,12,bow,J4,2,W1,22,OG,B1,,0.85,,\nbridge,P1,13,bow,J4,3,W2,22,BU,B1,,0.85,,\n",
        [("P1:12", "J4:2", "22 AWG", "OG", 850), ("P1:13", "J4:3", "22 AWG", "BU", 850)],
    ),
    (
        "23",
        "Net_ID,Signal_Name,From_Connector,From_Pin,To_Connector,To_Pin,AWG,Length_m,Current_A\n"
        "N1,DEPTH RX,P1,12,J4,2,22,0.85,1\nN2,DEPTH TX,P1,13,J4,3,22,0.85,1\n",
        [("P1:12", "J4:2", "22 AWG", "", 850), ("P1:13", "J4:3", "22 AWG", "", 850)],
    ),
    (
        "24",
        "Wire ID,From,From pin,To,To pin,Net,Color,Gauge,Routed length,Cut length,Strip,Status\n"
        "W1,P1,12,J4,2,DEPTH RX,OG,22 AWG,800 mm,850 mm,5,cut\nW2,P1,13,J4,3,DEPTH TX,BU,22 AWG,800 mm,860 mm,5,cut\n",
        [("P1:12", "J4:2", "22 AWG", "OG", 850), ("P1:13", "J4:3", "22 AWG", "BU", 860)],
    ),
    (
        "25",
        "Wire ID,From,To,AWG,Colour,Length (mm),Connector (From),Connector (To),Notes\n"
        "W1,Sounder,Hub,22,OG,850,4 way,12 way,\nW2,Winch,Hub,18,RD,900,2 way,12 way,\n",
        [("Sounder", "Hub", "22 AWG", "OG", 850), ("Winch", "Hub", "18 AWG", "RD", 900)],
    ),
    (
        "26",
        "Wire ID,From,To,Signal,Gauge,Notes\nW1,P1.12,J4.2,DEPTH RX,22,\nW2,P1.13,J4.3,DEPTH TX,18,\n",
        [("P1:12", "J4:2", "22 AWG", "", None), ("P1:13", "J4:3", "18 AWG", "", None)],
    ),
    (
        "27",  # the column of sizes has a Turkish name: told by its values
        "Wire ID,From,To,Signal,Kablo Tipi,Pano Ici (m),Notlar\n"
        "W1,X1:17,J4:2,PUMP,10mm2 rigid,0.5,\nW2,X1:18,J4:3,PUMP,6mm2,0.5,\n",
        [("X1:17", "J4:2", "10 mm2", "", None), ("X1:18", "J4:3", "6 mm2", "", None)],
    ),
    (
        "28",
        "Wire ID,From,To (c-x100.cavity),Gauge,Color,Notes\nW1,battery,c-x1.12,0.75,RD,\nW2,winch,c-x1.13,1,BK,\n",
        [("battery", "c-x1:12", "0.75 mm2", "RD", None), ("winch", "c-x1:13", "1 mm2", "BK", None)],
    ),
    (
        "30",
        "Cable ID,From,From Port,To,To Port,Signal,Cable Type,Length (m),Route Status\n"
        "C1,HUB,ETH1,CAMERA,ETH,VIDEO,4 pair,2.5,laid\nC2,HUB,ETH2,SONAR,ETH,ECHO,4 pair,3,laid\n",
        [("HUB:ETH1", "CAMERA:ETH", "", "", 2500), ("HUB:ETH2", "SONAR:ETH", "", "", 3000)],
    ),
    (
        "31",
        "From,From Pin,To,To Pin,Net Name,Signal Type\nP1,12,J4,2,DEPTH RX,serial\nP1,13,J4,3,DEPTH TX,serial\n",
        [("P1:12", "J4:2", "", "", None), ("P1:13", "J4:3", "", "", None)],
    ),
    (
        "32",
        "Wire,From,To,Fuse,Gauge\nW1,Battery,Winch,F1,1 mm² (~18 AWG)\nW2,Battery,Pump,F2,2.5 mm² (~14 AWG)\n",
        [("Battery", "Winch", "1 mm2", "", None), ("Battery", "Pump", "2.5 mm2", "", None)],
    ),
]


@pytest.mark.parametrize(("number", "text", "expected"), ONE_WIRE_A_ROW, ids=[row[0] for row in ONE_WIRE_A_ROW])
def test_lists_with_one_wire_a_row(
    number: str, text: str, expected: list[tuple[str, str, str, str, float | None]]
) -> None:
    assert five(text) == expected


def test_26_rows_are_tried() -> None:
    assert len({number.partition(",")[0] for number, _, _ in ONE_WIRE_A_ROW}) == 26


def test_pins_joined_a_net_numbered_once() -> None:
    """Row 8: ``#`` and signal only in the first row of a net."""
    text = (
        "#,Subsystem,Device / Harness,Endpoint,Signal\n"
        "1,bow,hub,P1.12,DEPTH RX\n,bow,sounder,J4.2,\n2,bow,hub,P1.13,-\n"
    )
    found = read(text)
    assert [connector.id for connector in found.harness.connectors] == ["P1", "J4"]
    assert [item.item for item in found.harness.bags[1].contents] == ["pin 2 DEPTH RX"]  # the net above goes on
    assert [item.item for item in found.harness.bags[0].contents] == ["pin 12 DEPTH RX", "pin 13"]
    assert found.harness.circuits == ()
    assert any("which wires there are is not said" in note.message for note in found.harness.notes)


def test_pins_of_one_connector() -> None:
    """Row 13: no connector is named, so it is the list's own name."""
    found = read("Pin Number,Colour,Usage\n1,RD,12 V\n2,BK,0 V\n")
    assert [(bag.id, [item.item for item in bag.contents]) for bag in found.harness.bags] == [
        ("boat", ["pin 1 12 V RD", "pin 2 0 V BK"])
    ]


@pytest.mark.parametrize(
    "text",
    [
        "signal_name,awg,color,wire_pn,length,note\nDEPTH RX,22,OG,p,850,\nDEPTH TX,22,BU,p,850,\n",  # row 5
        "Termination 1,HUB\nTermination 2,SONAR\nCable Type,4 pair\nCable Length,2 m\n",  # row 14
    ],
)
def test_lists_without_two_ends_are_refused_with_what_was_seen(text: str) -> None:
    with pytest.raises(NoHeader, match="column map") as caught:
        read(text)
    assert len(caught.value.rows) >= 2


# ---------------------------------------------------------------- traps


def test_connectors_of_one_name_at_two_devices_are_two() -> None:
    found = read(
        "comp_des_1,conn_des_1,pin_1,comp_des_2,conn_des_2,pin_2\nHUB,J1,1,SONAR,J1,1\nHUB,J1,2,WINCH,J1,1\n"
    ).harness
    assert [connector.id for connector in found.connectors] == ["HUB.J1", "SONAR.J1", "WINCH.J1"]
    assert any("J1 belongs to" in note.message for note in found.notes)


def test_cores_name_circuits_that_have_no_id() -> None:
    found = read("From,To,Cable,Core\nP1:1,J4:1,K1,1\nP1:2,J4:2,K1,2\nP1:3,J4:3,,\n").harness
    assert [(c.id, c.cable) for c in found.circuits] == [("K1.1", "K1"), ("K1.2", "K1"), ("3", "")]


MARKED = "Wire,From,To,Winch,Sonar\nW1,P1:1,J1:1,x,x\nW2,P1:2,J2:1,x,\nW3,P1:2,J3:1,,x\nW4,P1:4,J4:1,,\n"


@pytest.mark.parametrize(
    ("chosen", "ids"),
    [((), ["W1", "W2", "W3", "W4"]), (("winch",), ["W1", "W2", "W4"]), (("Sonar",), ["W1", "W3", "W4"])],
)
def test_columns_that_mark_variants(chosen: tuple[str, ...], ids: list[str]) -> None:
    found = read(MARKED, Wanted(variants=chosen))
    assert [circuit.id for circuit in found.harness.circuits] == ids
    assert found.account.variants == ("Winch", "Sonar")
    assert any("none is chosen" in note.message for note in found.harness.notes) == (not chosen)


def test_a_column_of_options() -> None:
    text = "Wire,From,To,Option\nW1,P1:1,J1:1,\nW2,P1:2,J2:1,WINCH\nW3,P1:2,J3:1,SONAR/CAMERA\n"
    found = read(text, Wanted(variants=("camera",)))
    assert [circuit.id for circuit in found.harness.circuits] == ["W1", "W3"]


def test_a_variant_that_is_not_there() -> None:
    with pytest.raises(LabelerError, match="did you mean 'Sonar'"):
        read(MARKED, Wanted(variants=("Sonra",)))


def test_rows_of_other_records_are_told() -> None:
    _, text, _ = ONE_WIRE_A_ROW[0]
    passed = read(text + "9;end of list\n").account.not_imported
    assert any("record code '9': 1, the first in line 6" in line for line in passed)
    assert any("lines above the header row: 2" in line for line in passed)


def test_no_code_where_ids_are_numbers() -> None:
    """Circuits 1 to 3 and a last column without a header are no record codes: the rows are too long, and told so."""
    with pytest.raises(LabelerError, match="4 cells, the header has 3"):
        read("Wire,From,To\n1,J4:1,P1:1,a\n1,J4:2,P1:2,b\n2,J4:3,P1:3,c\n")


def test_a_point_before_three_digits_among_decimal_commas() -> None:
    with pytest.raises(LabelerError, match="thousands or decimals"):
        read("Wire;From;To;Length (mm)\nW1;J4:1;P1:1;1.500\n")
    assert five("Wire,From,To,Length (m)\nW1,J4:1,P1:1,1.500\n")[0][4] == 1500


def test_digit_codes_and_words_stay_as_written() -> None:
    assert [row[3] for row in five("Wire,From,To,Color\nW1,J4:1,P1:1,9-6\nW2,J4:2,P1:2,Dark Green\n")] == [
        "9-6",
        "Dark Green",
    ]
