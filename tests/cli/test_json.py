"""The JSON and CSV of every command: one object with its schema, one value a cell."""

import csv
import json
from pathlib import Path

import pytest

from tests.cli.test_cli import BOAT, run
from tests.places import EXAMPLES

DATED = str(EXAMPLES / "survey-boat-power.toml")


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of one printed unit."""
    folder = tmp_path_factory.mktemp("json")
    done = run("print", BOAT, "--output", folder / "out", "--record", folder / "r.sqlite", "--bench-sheet", "summary")
    assert done.exit_code == 0, done.stderr
    return folder / "r.sqlite"


WITHOUT_RECORD = [
    (("check", BOAT), "markers"),
    (("fit", "DEPTH J4", "--diameter", "4.2"), "reasons"),
    (("bundle", "2 x 20 AWG TXL"), "grip_diameter_mm"),
    (("read", BOAT), "circuits"),
    (("list", "stock"), "stock"),
    (("list", "stock", "tag-a4-95x54"), "stock"),
    (("list", "wires", "TXL"), "wires"),
    (("list", "coverings"), "coverings"),
    (("diff", BOAT, DATED), "differences"),
]


@pytest.mark.parametrize(("words", "holds"), WITHOUT_RECORD, ids=lambda value: value[0] if value[1:] else None)
def test_an_answer_is_one_object_with_its_schema(words: tuple[str, ...], holds: str) -> None:
    answer = json.loads(run(*words, "--json").stdout)
    assert answer["schema"] == f"{words[1] if words[0] == 'list' else words[0]} 1"
    assert holds in answer


def test_a_refusal_has_the_same_schema(tmp_path: Path) -> None:
    file = tmp_path / "bad.toml"
    file.write_text("[harness]\n")
    for command in ("check", "read"):
        answer = json.loads(run(command, file, "--json").stdout)
        assert answer["schema"] == f"{command} 1"
        assert {problem["severity"] for problem in answer["problems"]} >= {"error"}


RECORDED = [
    (("list",), "jobs 1", "jobs"),
    (("find", "J4"), "find 1", "markers"),
    (("show", "0001"), "show 1", "markers"),
    (("partial-sheets",), "partial-sheets 1", "partial_sheets"),
    (("verify",), "verify 1", "pending_jobs"),
]


@pytest.mark.parametrize(("words", "schema", "holds"), RECORDED, ids=[schema for _, schema, _ in RECORDED])
def test_the_record_answers_with_one_object(record: Path, words: tuple[str, ...], schema: str, holds: str) -> None:
    answer = json.loads(run("record", *words, "--record", record, "--json").stdout)
    assert answer["schema"] == schema
    assert isinstance(answer[holds], list)


def test_a_scan_answers_with_one_object(record: Path) -> None:
    answer = json.loads(run("scan", "nothing of ours", "--record", record, "--json").stdout)
    assert answer["schema"] == "scan 1"
    assert answer["scanned"][0]["check_character_valid"] is None


def test_a_jobs_output_is_an_object(record: Path) -> None:
    (job,) = json.loads(run("record", "list", "--record", record, "--json").stdout)["jobs"]
    assert job["output"] == {"folder": str(record.parent / "out")}
    assert job["printer"] is None  # none was named


def test_csv_has_one_value_in_a_cell(record: Path) -> None:
    """What `record find` prints in columns for people has a column for each value in CSV, and the JSON's values."""
    words = ("record", "find", "J4", "--unit", "0001", "--record", record)
    found = json.loads(run(*words, "--json").stdout)["markers"]
    rows = list(csv.DictReader(run(*words, "--csv").stdout.splitlines()))
    assert len(rows) == len(found)
    for row, marker in zip(rows, found, strict=True):
        for name in ("id", "unit", "text", "tube", "cell", "state", "revision"):
            assert row[name] == marker[name], name
        for name in ("job", "sheet", "print_count", "void_count"):
            assert int(row[name] or 0) == marker[name], name
        assert float(row["cut_length_mm"] or 0) == marker["cut_length_mm"]


def test_csv_of_a_comparison_has_a_row_for_each_field(tmp_path: Path) -> None:
    """J4's text differs: a row with one old and one new value."""
    boat = Path(BOAT).read_text("utf-8")
    new = tmp_path / "boat.toml"
    new.write_text(boat.replace('"WATER PROBE J4"', '"SALT PROBE J4"'), "utf-8")
    assert boat != new.read_text("utf-8")
    rows = list(csv.DictReader(run("diff", BOAT, new, "--csv").stdout.splitlines()))
    assert {(row["change"], row["field"]) for row in rows} >= {("changed", "text")}
    (text,) = [row for row in rows if row["field"] == "text" and row["new"] == "SALT PROBE J4"]
    assert text["old"] == "WATER PROBE J4"
