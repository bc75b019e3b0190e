"""Keeping a record, in a file or on a server: verify finds what is wrong, a unit goes out and in, copies are whole."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main
from labeler.cli.terminal import csv_lines
from labeler.draw.pdf import face_operations
from labeler.errors import LabelerError, SourceLocation
from labeler.job.keeping import export_units, import_units, verify
from labeler.model import Sheet
from labeler.record import open_record
from labeler.record.store import Record
from tests.orders import print_harness, reprint
from tests.places import EXAMPLES
from tests.record.jobs import BOAT, boat_job, filled, lay_out, prepare_reprint, print_unit

EXAMPLE = str(EXAMPLES / "survey-boat.toml")


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


def operations(sheets: tuple[Sheet, ...]) -> dict[str, str]:
    return {p.piece.marker: face_operations(p.piece.face) for sheet in sheets for p in sheet.placed}


# ---------------------------------------------------------------- verify


def test_a_good_record_verifies(record: Record, tmp_path: Path) -> None:
    print_harness(EXAMPLE, tmp_path, record)
    reprint(record, record.find("0001 J4"), tmp_path, reason="lost")
    record.void("0001", "K4", "torn")
    assert verify(record) == ()


DAMAGE = {
    "UPDATE face SET text = replace(text, 'P1:12', 'P1:13')": "its digest is another one",
    "UPDATE stock SET text = replace(text, '210.0', '211.0')": "its digest is another one",
    "UPDATE marker SET text = 'J9' WHERE place = 'K4'": "marker bag.K4: its digest is another one",
    "UPDATE piece SET cell = 'Z9' WHERE cell = 'A1'": "of sheets: its digest is another one",
    "DELETE FROM piece WHERE line = 1": "of sheets: its digest is another one",
    "UPDATE harness SET sha256 = 'ab'": "what was read has another digest",
    "UPDATE harness SET text = x'00'": "cannot be unpacked",
    "DELETE FROM job_event WHERE state = 'pending'": "its states are printed",
    "UPDATE job_event SET note = '[1' WHERE state = 'printed'": "its list of files cannot be read",
    "DELETE FROM sheet": "it has no sheet and no marker",
    "DELETE FROM stock": "rows refer to no stock",
    "INSERT INTO job SELECT 9, 'u', kind, unit_id, harness_id, repeats_job, time, user, version, reason, date, paper,"
    " printer, run, output FROM job": "it was printed 2 times as new",
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_verify_finds_damage(tmp_path: Path, damage: str) -> None:
    filled(tmp_path / "r.db", units=1)
    with open_record(tmp_path / "r.db") as record:
        assert record.problems() == ()
    with sqlite3.connect(tmp_path / "r.db") as connection:
        assert connection.execute(damage).rowcount > 0
    connection.close()
    with open_record(tmp_path / "r.db") as record:
        assert DAMAGE[damage] in "\n".join(map(str, record.problems()))


def test_verify_finds_a_damaged_page(tmp_path: Path) -> None:
    content = filled(tmp_path / "r.db")
    (tmp_path / "r.db").write_bytes(content[:-4096] + b"\xa5" * 4096)
    found = ""
    with open_record(tmp_path / "r.db") as record:
        try:
            found = "\n".join(map(str, record.problems()))
        except LabelerError as error:
            found = str(error)
    assert "damaged" in found or "database" in found or "digest" in found, found


def test_verify_names_a_font_that_is_not_here(tmp_path: Path) -> None:
    with open_record(tmp_path / "r.db") as record:
        print_unit(record)  # drawn with "Boat Sans", which nobody has
        (font, *rest) = verify(record)
        assert "font Boat Sans: 1 jobs were drawn with it, and it is not here" in str(font)
        assert rest  # and each face that has it


def test_the_command_verify(boat_record: Path) -> None:
    place = boat_record
    with open_record(place) as record:
        record.prepare(boat_job(record.reserve_serial(BOAT)))
    answer = run("record", "verify", "--record", place, "--json")
    assert answer.exit_code == 1  # its font is not here
    found = json.loads(answer.stdout)
    assert found["pending_jobs"] == [2]
    assert "Boat Sans" in found["problems"][0]["file"]
    assert "job 2" in run("record", "verify", "--record", place).stderr


# ---------------------------------------------------------------- out and in


def test_export_import_reprint_gives_the_same_drawing(record: Record, tmp_path: Path) -> None:
    """Also what happened: states, reprints, voids, counts; and once more adds nothing."""
    first = print_harness(EXAMPLE, tmp_path / "out", record)
    print_harness(EXAMPLE, tmp_path / "out", record)
    reprint(record, record.find("0001 J4"), tmp_path / "out", reason="lost")
    record.void("0001", "K4", "torn", "bo")
    (file,) = export_units(record, ["0001"], tmp_path / "copies")
    with open_record(tmp_path / "new.db") as other:
        taken = import_units(other, [file])[file]
        assert (taken.unit, taken.jobs, taken.states, taken.voids) == ("RSB-210 0001", 2, 6, 1)  # 2 jobs, 3 states each
        again = import_units(other, [file])[file]
        assert (again.jobs, again.states, again.voids) == (0, 0, 0)
        assert verify(other) == ()
        assert other.markers("0001") == record.markers("0001")
        for name in ("J4", "K4"):
            mine, theirs = (r.history(name, "0001") for r in (record, other))
            assert [replace(e, job=0) for e in mine] == [replace(e, job=0) for e in theirs]
        whole = reprint(other, other.markers("0001"), tmp_path / "again", reason="stolen")
        assert operations(whole.sheets) == operations(first.sheets)
        assert other.reserve_serial(BOAT) == "0002"


def test_an_export_is_one_documented_object(record: Record) -> None:
    """Counted by hand from the boat's job: see test_record.boat_job."""
    print_unit(record)
    exported = record.export_unit("1")
    assert json.loads(json.dumps(exported)) == exported
    assert exported["schema"] == "unit 1"
    assert exported["unit"]["serial"] == "0001"
    counts = {
        key: len(exported[key]) for key in ("harnesses", "stocks", "faces", "markers", "contents", "jobs", "voids")
    }
    # two stocks, three pieces with a face each, one marker left out, two sheets and what is on none
    assert counts == {"harnesses": 1, "stocks": 2, "faces": 3, "markers": 4, "contents": 3, "jobs": 1, "voids": 0}


def test_all_units_and_what_is_new_since(record: Record, tmp_path: Path) -> None:
    print_unit(record)
    print_unit(record)
    files = export_units(record, [], tmp_path)
    assert [file.name for file in files] == ["RSB-210-0001.json", "RSB-210-0002.json"]
    with pytest.raises(LabelerError, match="exists already"):
        export_units(record, ["0001"], tmp_path)
    with open_record(tmp_path / "new.db") as other:
        import_units(other, files)
        items = record.find("0002 K4")
        record.confirm(prepare_reprint(record, items, lay_out(items), reason="torn").id)
        record.void("0002", "K4", "torn again")
        files = export_units(record, ["0002"], tmp_path, force=True)
        taken = import_units(other, files)[files[0]]
        assert (taken.jobs, taken.states, taken.voids) == (1, 2, 1)
        (item,) = other.find("0002 K4")
        assert (item.state, item.print_count, item.void_count) == ("void", 2, 1)


def test_units_of_one_harness(record: Record, tmp_path: Path) -> None:
    """By part number or name, whatever the capitals; a name of two part numbers is no answer."""
    for name, part_number in ((BOAT.name, "RSB-210"), (BOAT.name, "RSB-211"), ("Winch", "RSB-300")):
        harness = replace(BOAT, name=name, part_number=part_number)
        record.confirm(record.prepare(boat_job(record.reserve_serial(harness), harness=harness)).id)

    def exported(place: str, units: list[str], harness: str) -> list[str]:
        return [file.name for file in export_units(record, units, tmp_path / place, harness=harness)]

    assert exported("a", [], "rsb-211") == ["RSB-211-0001.json"]
    assert exported("b", [], "winch") == exported("c", ["1"], "Winch") == ["RSB-300-0001.json"]
    for named, why in (
        (BOAT.name, f"2 part numbers have the name {BOAT.name!r}: RSB-210, RSB-211"),
        ("RSB", "no unit of 'RSB' is recorded; see labeler record list"),
    ):
        with pytest.raises(LabelerError, match=re.escape(why)):
            export_units(record, [], tmp_path / "none", harness=named)
    with pytest.raises(LabelerError, match="unit RSB-300 7: it is not in the record"):
        export_units(record, ["7"], tmp_path / "none", harness="Winch")
    assert not (tmp_path / "none").exists()


def test_another_unit_of_the_same_serial_is_refused(record: Record, tmp_path: Path) -> None:
    print_unit(record)
    with open_record(tmp_path / "other.db") as other:
        print_unit(other)
        exported = other.export_unit("0001")
    with pytest.raises(LabelerError, match="unit RSB-210 0001 is another one here: job 1 printed it on 20"):
        record.import_unit(exported, SourceLocation("boat.json"))
    assert len(record.jobs()) == 1


def test_a_serial_that_reads_like_another_is_refused(record: Record, tmp_path: Path) -> None:
    print_unit(record)
    with open_record(tmp_path / "other.db") as other:
        other.confirm(other.prepare(boat_job(other.reserve_serial(BOAT, "1"))).id)
        with pytest.raises(LabelerError, match="the serial 1 reads like 0001"):
            record.import_unit(other.export_unit("1"), SourceLocation("boat.json"))


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a unit's export says, not to be changed."""
    path = tmp_path_factory.mktemp("other") / "r.db"
    filled(path, units=1)
    with open_record(path) as other:
        return other.export_unit("0001")


def changed(exported: dict[str, Any], path: str, value: object) -> dict[str, Any]:
    """Return a copy with one value changed: the keys of the path stand between slashes, * is the first."""
    made: dict[str, Any] = json.loads(json.dumps(exported))
    *keys, last = path.split("/")
    inner: Any = made
    for key in keys:
        inner = next(iter(inner.values())) if key == "*" else inner[int(key)] if isinstance(inner, list) else inner[key]
    if last == "*":
        last = next(iter(inner))
    inner[int(last) if isinstance(inner, list) else last] = value
    return made


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("schema", "unit 2"),
        ("unit", None),
        ("unit/serial", 7),
        ("harnesses/0/text", "AAAA"),
        ("harnesses/0/text", "?"),
        ("stocks/*", "{}"),
        ("faces/*", "[1,1,1,[],1,0]"),
        ("faces/*", 5),
        ("markers/*/text", "another"),
        ("markers/*/cut_length_mm", "long"),
        ("markers/*/cut_length_mm", float("nan")),
        ("contents/*/width_mm", 1),
        ("contents/*/pieces/0/1", "B7"),
        ("contents/*/pieces/0", []),
        ("jobs/0/kind", "wish"),
        ("jobs/0/harness", 4),
        ("jobs/0/repeats_job", "x"),
        ("jobs/0/sheets/1", "00"),
        ("jobs/0/events/0/state", "eaten"),
        ("jobs/0/fonts", []),
        ("jobs/0/about", {"1": 4}),
        ("jobs/0/used_cells", [["a", 4]]),
        ("jobs/0/run", 4),
        ("jobs", {}),
        ("voids", [{}]),
        ("voids", [{"uid": "v", "marker": "m", "time": "", "user": "", "reason": "", "by_job": "none"}]),
        ("faces", {}),
    ],
)
def test_what_was_tampered_with_is_refused_whole(
    record: Record, exported: dict[str, Any], path: str, value: object
) -> None:
    with pytest.raises(LabelerError) as raised:
        record.import_unit(changed(exported, path, value), SourceLocation("boat.json"))
    (problem,) = raised.value.problems
    assert "\n" not in str(problem)
    assert problem.fix
    assert record.jobs() == ()
    assert record.units() == ()
    record.import_unit(exported, SourceLocation("boat.json"))  # it was good


@pytest.mark.parametrize(
    "content", [b"", b"[" * 100_000, b"\xff\xfe", b'{"schema": "unit 1"}', b"7", b'{"schema": 1e999}']
)
def test_a_file_that_is_no_export(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "boat.json"
    file.write_bytes(content)
    result = run("record", "import", file, "--record", tmp_path / "r.db")
    assert result.exit_code == 1
    assert result.stderr.startswith(f"{file}: ")
    assert len(result.stderr.splitlines()) == 1


def test_the_commands(tmp_path: Path) -> None:
    place, copies = tmp_path / "r.sqlite", tmp_path / "copies"
    with open_record(place) as record:
        print_unit(record)
    out = run("record", "export", "--output", copies, "--record", place)
    file, new = copies / "RSB-210-0001.json", tmp_path / "new.sqlite"
    assert out.stdout.splitlines() == [str(file)]
    assert run("record", "export", "0009", "--output", copies, "--record", place).exit_code == 1
    taken = run("record", "import", file, "--record", new)
    assert "unit RSB-210 0001: 1 jobs, 2 states, 0 voids added" in taken.stdout
    again = json.loads(
        run("record", "import", out.stdout.strip(), "--record", tmp_path / "new.sqlite", "--json").stdout
    )
    assert again["units"][0]["jobs"] == 0
    assert run("record", "import", tmp_path / "none.json", "--record", place).exit_code == 1
    found = run("record", "find", "K4", "--record", place, "--json")
    assert [marker["place"] for marker in json.loads(found.stdout)["markers"]] == ["K4"]
    assert run("record", "find", "K9", "--record", place).exit_code == 1
    assert run("record", "find", " ", "--record", place).exit_code == 2


# ---------------------------------------------------------------- copies


def test_a_copy_is_the_record_of_one_moment(record: Record, tmp_path: Path) -> None:
    print_unit(record)
    items = record.find("K4")
    prepare_reprint(record, items, lay_out(items), reason="torn")
    record.void("0001", "wire.W101.J4", "burnt")
    record.back_up(tmp_path / "copy.db")
    with open_record(tmp_path / "copy.db", create=False) as copy:
        assert copy.problems() == ()
        assert copy.jobs() == record.jobs()
        assert copy.markers("0001") == record.markers("0001")
        assert copy.export_unit("0001") == record.export_unit("0001")
        assert copy.reserve_serial(BOAT) == "0002"
    assert sorted(f.name for f in tmp_path.iterdir() if "copy" in f.name) == ["copy.db"]
    with pytest.raises(LabelerError, match="exists already"):
        record.back_up(tmp_path / "copy.db")
    with pytest.raises(LabelerError, match="cannot be written"):
        record.back_up(tmp_path / "none" / "copy.db")


@pytest.mark.parametrize("name", ["a\0b", "\udcff", "x" * 300, "."])
def test_a_copy_that_cannot_have_its_name(record: Record, tmp_path: Path, name: str) -> None:
    with pytest.raises(LabelerError) as raised:
        record.back_up(tmp_path / name)
    assert "\n" not in str(raised.value)
    assert [file.name for file in tmp_path.iterdir() if not file.name.startswith("record.db")] == []


def test_a_copy_while_others_write(place: str, tmp_path: Path) -> None:
    """Every copy verifies, and holds all that was there when it was begun."""
    from threading import Thread

    with open_record(place) as record:
        print_unit(record)
        writer = Thread(target=lambda: [print_unit(record) for _ in range(25)])
        writer.start()
        for number in range(4):
            before = len(record.jobs())
            record.back_up(tmp_path / f"copy{number}.db")
            with open_record(tmp_path / f"copy{number}.db") as copy:
                assert copy.problems() == ()
                assert len(copy.jobs()) >= before
        writer.join()
        assert len(record.jobs()) == 26


# ---------------------------------------------------------------- values for a spreadsheet


def test_what_a_spreadsheet_would_run_is_defused() -> None:
    cells = ("=1+1", "+A1", "-2", "@SUM(A1)", " =1", "\t=1", "ok", 'say "hi", J4', "")
    lines = list(csv_lines(tuple("abcdefghi"), [cells]))
    assert len(lines) == 2
    (row,) = csv.reader(io.StringIO(lines[1]))
    assert row == ["'=1+1", "'+A1", "'-2", "'@SUM(A1)", "' =1", "'\t=1", "ok", 'say "hi", J4', ""]


def test_csv_of_a_hostile_record(tmp_path: Path) -> None:
    place = tmp_path / "r.sqlite"
    hostile = replace(BOAT, name="=cmd|' /C calc'!A1", part_number="@RSB")
    with open_record(place) as record:
        record.confirm(record.prepare(replace(boat_job(), harness=hostile, user="+1", reason="-1")).id)
    for words in (["list"], ["show", "0001"], ["find", "K4"]):
        rows = list(csv.reader(io.StringIO(run("record", *words, "--record", place, "--csv").stdout)))
        assert len(rows) >= 2
        assert len({len(row) for row in rows}) == 1
        assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@"))]
        assert "'@RSB" in rows[1]
