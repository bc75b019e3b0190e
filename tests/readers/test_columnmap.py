"""Column maps: the draft names what it saw, and a filled-in draft reads the list."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from labeler.cli.main import main
from labeler.errors import LabelerError
from labeler.model import Pin
from labeler.readers import draft_of
from labeler.readers.import_report import Wanted
from tests.make import read_file

LIST = (
    "River boat;;;;;;\nStelle;Kammer;Gegenstelle;Gegenkammer;mm;Ton;Mass\n"
    "P1;12;J4;2;850;sw;0,5\nP1;13;J4;3;900;rt;0,5\n"
)


def filled(draft: str, **names: Any) -> str:
    """Return a draft with names filled in, as one would by hand."""
    lines = []
    table = ""
    for line in draft.splitlines():
        table = line.partition("#")[0].strip() if line.startswith("[") else table
        key = line.partition(" =")[0]
        full = f"{table.strip('[]')}_{key}" if table else key
        lines.append(f"{key} = {names.pop(full)}" if full in names else line)
    assert not names
    return "\n".join(lines)


def test_a_draft_filled_in_reads_the_list(tmp_path: Path) -> None:
    path, chart = tmp_path / "boat.csv", tmp_path / "map.toml"
    path.write_text(LIST, "utf-8")
    draft = draft_of(path)
    assert "#    5  mm: 850 | 900" in draft
    assert "header_row = 2" in draft
    chart.write_text(
        filled(
            draft,
            columns_from='"Stelle"',
            columns_from_cavity='"Kammer"',
            columns_to="3",
            columns_to_cavity='"Gegenkammer"',
            columns_length='"mm"',
            columns_size='"Mass"',
            columns_colour='"Ton"',
            units_length='"mm"',
            units_size='"mm2"',
        ),
        "utf-8",
    )
    first, _ = read_file(path, None, Wanted(column_map=chart)).harness.circuits
    assert (first.start, first.finish, first.length_mm) == (Pin("P1", "12"), Pin("J4", "2"), 850)
    assert (first.size, first.colour) == ("0.5 mm2", "sw")


def test_a_draft_as_it_is_asks_for_the_ends(tmp_path: Path) -> None:
    path, chart = tmp_path / "boat.csv", tmp_path / "map.toml"
    path.write_text(LIST, "utf-8")
    chart.write_text(draft_of(path), "utf-8")
    with pytest.raises(LabelerError, match="from is not named") as caught:
        read_file(path, None, Wanted(column_map=chart))
    assert len(caught.value.problems) == 2


def test_the_draft_of_a_list_that_is_understood_reads_it_too(tmp_path: Path) -> None:
    path, chart = tmp_path / "boat.csv", tmp_path / "map.toml"
    path.write_text("Nr.;von;Pin;nach;Pin;Quer.;Länge;Nr.\n7;P1;1;J4;2;0,5;850;7\n", "utf-8")
    chart.write_text(draft_of(path), "utf-8")
    plain, mapped = read_file(path), read_file(path, None, Wanted(column_map=chart))
    assert [replace(c, extra=()) for c in mapped.harness.circuits] == list(plain.harness.circuits)


def test_ends_split_by_a_sign_of_ones_own(tmp_path: Path) -> None:
    path, chart = tmp_path / "boat.csv", tmp_path / "map.toml"
    path.write_text("Wire,From,To\nW1,J4-2,P1-1\nW2,J4-3,GND\n", "utf-8")
    chart.write_text(filled(draft_of(path), split_from='"-"', split_to='"-"'), "utf-8")
    circuits = read_file(path, None, Wanted(column_map=chart)).harness.circuits
    assert [c.finish for c in circuits] == [Pin("P1", "1"), Pin("GND")]


def test_pins_by_a_map(tmp_path: Path) -> None:
    path, chart = tmp_path / "boat.csv", tmp_path / "map.toml"
    path.write_text("Dose,Loch,Was\nJ4,1,DEPTH RX\nJ4,2,DEPTH TX\n", "utf-8")
    chart.write_text('rows = "cavities"\n[columns]\nconnector = "Dose"\ncavity = "Loch"\nsignal = "Was"\n', "utf-8")
    (bag,) = read_file(path, None, Wanted(column_map=chart)).harness.bags
    assert [item.item for item in bag.contents] == ["pin 1 DEPTH RX", "pin 2 DEPTH TX"]


def test_a_map_names_the_sheet_of_a_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.worksheets[0].append(["other", "words"])
    sheet = book.create_sheet("Boat")
    sheet.append(["Stelle", "Gegenstelle"])
    sheet.append(["P1", "J4"])
    book.save(tmp_path / "boat.xlsx")
    chart = tmp_path / "map.toml"
    chart.write_text('worksheet = "Boat"\n[columns]\nfrom = "Stelle"\nto = "Gegenstelle"\n', "utf-8")
    assert len(read_file(tmp_path / "boat.xlsx", None, Wanted(column_map=chart)).harness.circuits) == 1
    assert 'worksheet = "Boat"' in draft_of(tmp_path / "boat.xlsx", Wanted(worksheet="Boat"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("columns = 3", "must be a table"),
        ('[columns]\nfrom = "Stelle"\nto = "Nach"', "'Nach' is not in the header row"),
        ('[columns]\nfrom = "Stelle"\nto = "Twice"', "stands more than once"),
        ('[columns]\nfrom = "Stelle"\nto = 9', "'#9' is not in the header row"),
        ('[columns]\nfrm = "Stelle"', "did you mean 'from'"),
        ('heder_row = 2\n[columns]\nfrom = "Stelle"\nto = "Stelle"', "did you mean 'header_row'"),
        ('header_row = 0\n[columns]\nfrom = "Stelle"\nto = "Stelle"', "0 is no line"),
        ('header_row = 99\n[columns]\nfrom = "Stelle"\nto = "Stelle"', "header_row is 99"),
        ('delimiter = "x"\n[columns]\nfrom = "Stelle"\nto = "Stelle"', "delimiter: 'x' is unknown"),
        ('[columns]\nfrom = true\nto = "Stelle"', "must be a text"),
        ('[columns]\nfrom = "Stelle"\nto = "Stelle"\n[units]\nlength = "ell"', "'ell' is unknown"),
        ("columns", "no TOML"),
    ],
)
def test_maps_that_cannot_be(tmp_path: Path, text: str, said: str) -> None:
    path, chart = tmp_path / "boat.csv", tmp_path / "map.toml"
    path.write_text("Stelle,Twice,Twice\nP1,J4,J5\n", "utf-8")
    chart.write_text(text, "utf-8")
    with pytest.raises(LabelerError, match=said):
        read_file(path, None, Wanted(column_map=chart))


def test_the_draft_serves_a_list_of_pins_too(tmp_path: Path) -> None:
    """What is left empty of the other kind of list is no mistake; what is filled in is."""
    listed = tmp_path / "pins.csv"
    listed.write_text("Steckplatz;Anschluss;Netzname\nP1;1;GND\nP1;2;12 V\n", "utf-8")
    draft = CliRunner().invoke(main, ["read", str(listed), "--write-column-map"]).stdout
    text = draft.replace('rows = "wires"', 'rows = "cavities"')
    for role, header in (("connector", "Steckplatz"), ("cavity", "Anschluss"), ("signal", "Netzname")):
        text = re.sub(rf'^{role} = "[^"]*"', f'{role} = "{header}"', text, flags=re.M)
    own = tmp_path / "map.toml"
    own.write_text(text, "utf-8")
    found = CliRunner().invoke(main, ["read", str(listed), "--column-map", str(own), "--json"])
    assert found.exit_code == 0, found.stderr
    assert json.loads(found.stdout)["counts"]["pins"] == 2
    own.write_text(re.sub(r'^to = ""', 'to = "Netzname"', text, flags=re.M), "utf-8")
    refused = CliRunner().invoke(main, ["read", str(listed), "--column-map", str(own)])
    assert "unknown key 'to'" in refused.stderr
