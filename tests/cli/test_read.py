"""The read command: what was understood, on the terminal and as JSON, and the harness file it writes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main

LIST = "Wire,From,To,Gauge,Color,Deck\nW1,P1:1,J4:2,22,9-6,main\nW2,P1:2,J4:3,22,blau,main\n"


def run(*words: str, text: str | None = None) -> Result:
    return CliRunner().invoke(main, words, input=text)


@pytest.fixture
def boat(tmp_path: Path) -> str:
    path = tmp_path / "boat.csv"
    path.write_text(LIST, "utf-8")
    return str(path)


def test_what_was_understood(boat: str) -> None:
    done = run("read", boat)
    assert done.exit_code == 0
    assert done.stdout.splitlines()[0] == "boat.csv: wire list, parted by comma, header in line 1"
    for line in (
        "counts      2 connectors, 2 circuits",
        "understood  size: column 'Gauge'",
        "left        not understood, kept as written: column 'Deck'",
        "as read     W1: P1:1 to J4:2, 22 AWG, 9-6",
    ):
        assert line in done.stdout.splitlines()


def test_as_json(boat: str) -> None:
    found = json.loads(run("read", boat, "--json").stdout)
    assert found["counts"]["circuits"] == 2
    assert found["circuits"][0]["from"] == "P1:1"
    assert {"from": "column 'Gauge'", "as": "size"} in found["mapped"]
    assert [problem["message"] for problem in found["problems"]] == ["not used: column 'Deck'"]


def test_the_harness_file_that_is_written(boat: str, tmp_path: Path) -> None:
    out = tmp_path / "new" / "boat.toml"
    assert run("read", boat, "-o", str(out)).exit_code == 0
    assert "# Written by labeler read from boat.csv" in out.read_text("utf-8")
    first, second = (json.loads(run("read", name, "--json").stdout) for name in (boat, str(out)))
    assert first["circuits"] == second["circuits"]
    again = run("read", boat, "-o", str(out))
    assert again.exit_code == 1
    assert "exists" in again.stderr
    assert run("read", boat, "-o", str(out), "--force").exit_code == 0


def test_a_list_not_understood_gives_the_draft_of_a_map(tmp_path: Path) -> None:
    path = tmp_path / "boat.csv"
    path.write_text("Stelle,Gegenstelle\nP1,J4\n", "utf-8")
    done = run("read", str(path))
    assert done.exit_code == 1
    assert "[columns]" in done.stdout
    assert "no header row names two ends" in done.stderr
    assert "[columns]" in json.loads(run("read", str(path), "--json").stdout)["column_map"]
    assert run("read", str(path), "--write-column-map").stdout == done.stdout


@pytest.mark.parametrize(
    ("table", "colours"), [("mil-std-681", ["WHBU", "blau"]), ("names", ["9-6", "BU"]), ("german", ["9-6", "blau"])]
)
def test_colours_are_translated_by_the_table_that_is_chosen(boat: str, table: str, colours: list[str]) -> None:
    done = run("read", boat, "--colour-code", table, "--json")
    found = json.loads(done.stdout)
    assert [circuit["colour"] for circuit in found["circuits"]] == colours
    assert any("stay as written" in problem["message"] for problem in found["problems"])


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (("--worksheet", "Wires"), 2, "--worksheet: means nothing for boat.csv"),
        (("--connector-names", "alias"), 2, "--connector-names: means nothing"),
        (("--variant", "V1"), 2, "no variant 'V1' in this file; it has none"),
        (("--column-map", "none.toml"), 1, "no such file"),
    ],
)
def test_choices_that_cannot_be(boat: str, options: tuple[str, ...], code: int, said: str) -> None:
    done = run("read", boat, *options)
    assert (done.exit_code, said in done.stderr) == (code, True)


def test_print_and_check_take_the_same_choices(boat: str, tmp_path: Path) -> None:
    done = run("check", boat, "--colour-code", "mil-std-681")
    assert "stay as written: blau" in done.stderr
    out = str(tmp_path / "out")
    done = run("print", boat, "--variant", "V1", "--output", out, "--record", str(tmp_path / "record.sqlite"))
    assert (done.exit_code, "no variant 'V1'" in done.stderr) == (2, True)
