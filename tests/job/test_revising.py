"""Revisions: what differs, printing only that for a unit that was built, and what must come off it."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main
from labeler.errors import LabelerError, SourceLocation
from labeler.job.keeping import verify
from labeler.job.revising import compare
from labeler.record import open_record
from labeler.record.values import MarkerRow
from tests.cases import chosen
from tests.orders import print_changes, print_harness, reprint, resume
from tests.places import EXAMPLES

BOAT = EXAMPLES / "survey-boat.toml"


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    """Revision D: another text at J4, and no bag K7."""
    text = BOAT.read_text("utf-8").replace('revision = "C"', 'revision = "D"')
    assert text.count("WATER PROBE") == 1
    text = text.replace("WATER PROBE", "SALT PROBE")
    whole = re.search(r'\[\[bag\]\]\nid = "K7".*?(?=\n\[\[|\Z)', text, re.DOTALL)
    assert whole
    file = tmp_path / "boat-d.toml"
    file.write_text(text.replace(whole[0], ""), "utf-8")
    return file


def row(at: str, label: str, tube: str = "", cut: float = 0.0, role: str = "branch end", name: str = "") -> MarkerRow:
    return MarkerRow(name or f"{at}{label}", "sleeve", role, at, label, "B1", "", tube, cut)


def test_what_makes_a_marker_another_one() -> None:
    old = [row("J1", "BOW"), row("J2", "LAMP", "1/4", 30.0), row("J3", "HORN", "1/4", 30.0), row("J4", "GONE")]
    new = [row("J2", "LAMP", "3/8", 30.0), row("J1", "BOW", name="another id")]
    new += [row("J3", "HORN", "1/4", 35.0), row("J5", "NEW")]
    old.append(replace(row("J6", "PUMP", "1/4", 30.0), colour="white"))
    new.append(replace(row("J6", "PUMP", "1/4", 30.0), colour="yellow"))
    found = {one.row.place: (one.change, one.changed_fields) for one in compare(old, new)}
    assert found == {
        "J1": ("unchanged", ()),
        "J2": ("changed", ("tube",)),
        "J3": ("changed", ("cut_length_mm",)),
        "J4": ("removed", ()),
        "J5": ("added", ()),
        "J6": ("changed", ("colour",)),
    }
    assert {one.change for one in compare(old, old)} == {"unchanged"}
    assert [one.change for one in compare([], new)] == ["added"] * 5
    assert [one.change for one in compare(old, [])] == ["removed"] * 5


def test_diff_of_files_and_of_the_record(boat_record: Path, tmp_path: Path, newer: Path) -> None:
    """73 markers: 54 wire ends and 11 branch ends, one of them another; 8 tags (K3 has two), which say the revision."""
    place = boat_record
    for old in (BOAT, "0001", "RSB-210 0001", "rsb-210 c"):
        result = run("diff", old, newer, "--json", "--record", place)
        assert result.exit_code == 0, result.stderr
        found = json.loads(result.stdout)["differences"]
        assert Counter(one["change"] for one in found) == {"unchanged": 64, "changed": 8, "removed": 1}, old
        (j4,) = [one for one in found if one["change"] == "changed" and one["new"]["place"] == "J4"]
        assert (j4["old"]["text"], j4["new"]["text"], j4["changed_fields"]) == (
            "WATER PROBE J4",
            "SALT PROBE J4",
            ["text"],
        )
    shown = run("diff", BOAT, newer)
    assert re.search(r"changed +sleeve +B4 J4 +WATER PROBE J4", shown.stdout)
    assert "0 added, 1 removed, 8 changed, 64 unchanged" in shown.stderr
    assert run("diff", BOAT, BOAT).stdout.count("\n") == 1  # the headings
    assert run("diff", BOAT, "RSB-210 Z", "--record", place).exit_code == 1
    assert run("diff", BOAT, tmp_path / "none.toml", "--record", tmp_path / "none.sqlite").exit_code == 1


@pytest.mark.parametrize("place", chosen(["sqlite", "postgresql"], slow=["postgresql"]), indirect=True)
def test_only_what_has_changed_is_printed(place: str, tmp_path: Path, newer: Path) -> None:
    """The sleeve at J4 and the six tags that are left; the old ones and the tag of K7 come off."""
    with open_record(place) as record:
        print_harness(str(BOAT), tmp_path / "out", record)
        print_harness(str(BOAT), tmp_path / "out", record)
        made = print_changes(str(newer), tmp_path / "out", record, since="C", unit="2", date="2026-03-01")
        assert made.printed is not None
        assert made.unchanged == 64
        labels = {p.piece.label.split(" ")[0] for sheet in made.printed.sheets for p in sheet.placed}
        assert labels == {"J4", "K1", "K2", "K3", "K4", "K5", "K6"}
        assert sorted(one.row.place for one in made.take_off) == [
            "J4",
            "K1",
            "K2",
            "K3",
            "K3 pins",
            "K4",
            "K5",
            "K6",
            "K7",
        ]
        job = made.printed.job
        assert (job.kind, job.repeats_job, job.unit, job.revision, job.state) == ("revision", 2, "0002", "D", "printed")
        at_j4 = {(item.revision, item.state, item.row.text) for item in record.find("0002 B4 J4")}
        assert at_j4 == {("C", "removed", "WATER PROBE J4"), ("D", "printed", "SALT PROBE J4")}
        (gone,) = record.find("0002 K7")
        assert (gone.state, gone.reason) == ("removed", f"removed by job {job.id}")
        with pytest.raises(LabelerError, match=f"it was removed by job {job.id}; reprint what stands there now"):
            reprint(record, [gone], tmp_path / "again", reason="lost")
        (same,) = record.find("0002 J1")
        assert (same.state, same.revision) == ("printed", "C")
        (other,) = record.find("0001 B4 J4")
        assert other.state == "printed"
        assert verify(record) == ()
        pages = pdfium.PdfDocument(str(made.printed.files[0]))
        bench = " ".join(" ".join(page.get_textpage().get_text_range() for page in pages).split())
        assert "changes since revision C" in bench
        assert (bench.count("it is replaced"), bench.count("the new revision has none here")) == (8, 1)
        assert "9 markers to remove" in bench
        assert "CHANGES TO A UNIT THAT IS BUILT" in bench
        for words in ("Crimp the contacts", "braided sleeving", "no marker"):  # none of it is built anew
            assert words not in bench
        exported = record.export_unit("0002")
        with open_record(tmp_path / "other.db") as elsewhere:
            elsewhere.import_unit(exported, SourceLocation("unit.json"))
            assert elsewhere.markers("0002") == tuple(
                replace(item, job=item.job - 1 if item.job < 3 else 2) for item in record.markers("0002")
            )
        new = next(item for item in record.find("0002 B4 J4") if item.state == "printed")
        assert reprint(record, [new], tmp_path / "again", reason="lost").job.revision == "D"


def test_what_cannot_be_brought_to_a_revision(boat_record: Path, tmp_path: Path, newer: Path) -> None:
    out = tmp_path / "out"
    with open_record(boat_record) as record:
        with pytest.raises(LabelerError, match="at revision B, but C"):
            print_changes(str(newer), out, record, since="B", unit="0001")
        with pytest.raises(LabelerError, match="nothing of RSB-210 was printed for it; see labeler record list"):
            print_changes(str(newer), out, record, since="C", unit="0009")
        with pytest.raises(LabelerError, match="at revision none, but C"):
            print_changes(str(newer), out, record, since="", unit="0001")
        with pytest.raises(LabelerError, match="of revision D itself"):
            print_changes(str(newer), out, record, since="D", unit="0001")
        assert len(record.jobs()) == 1
        print_changes(str(newer), out, record, since="C", unit="0001")
        with pytest.raises(LabelerError, match="brought to revision D by job 2"):
            print_changes(str(newer), out, record, since="C", unit="0001")


def test_wire_markers_that_are_made_no_more_come_off(tmp_path: Path) -> None:
    """27 circuits with two ends each, by the file; the newer revision is asked for without wire markers."""
    text = BOAT.read_text("utf-8").partition("[[bag]]")[0]
    older, newer = tmp_path / "c.toml", tmp_path / "d.toml"
    settings = {"marker.wire": "none"}
    older.write_text(text, "utf-8")
    newer.write_text(text.replace('revision = "C"', 'revision = "D"'), "utf-8")
    with open_record(tmp_path / "r.sqlite") as record:
        first = print_harness(str(older), tmp_path / "out", record, only=("branch end", "wire end"))
        made = print_changes(str(newer), tmp_path / "out", record, since="C", unit="0001", settings=settings)
        gone = sum(fit.marker.role == "wire end" for fit in first.fits)
        assert len([one for one in made.take_off if one.change == "removed"]) == gone == 54
        assert verify(record) == ()


def test_the_commands(tmp_path: Path, newer: Path) -> None:
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
    assert run("print", BOAT, *words).exit_code == 0
    assert run("print", newer, "--changed-since", "C", *words).exit_code == 2
    made = run("print", newer, "--changed-since", "C", "--unit", "0001", *words)
    assert made.exit_code == 0, made.stderr
    assert "remove: " in made.stderr
    assert "64 markers are unchanged" in made.stderr
    assert len(made.stdout.splitlines()) == 3  # the work list, a card, the tags
    lost = run("reprint", "0001 J4", "--reason", "lost", *words)  # what stands there now, the other one is gone
    assert lost.exit_code == 0, lost.stderr
    shown = run("record", "show", "0001 J4", "--record", tmp_path / "r.sqlite").stdout
    assert "SALT PROBE J4" in shown
    assert "WATER PROBE" not in shown
    whole = run("reprint", "--unit", "0001", "--reason", "stolen", *words)
    assert "68 markers" in whole.stderr  # 69 by README, and K7 is gone
    again = run("print", newer, "--changed-since", "C", "--unit", "0001", *words)
    assert again.exit_code == 1
    assert len(again.stderr.splitlines()) == 1


def test_serial_and_date_are_no_difference(tmp_path: Path, newer: Path) -> None:
    """Two units of one file, printed on two days, are alike; of two revisions what the files differ in."""
    place = tmp_path / "r.sqlite"
    with open_record(place) as record:
        print_harness(str(BOAT), tmp_path / "out", record, date="2026-03-01")
        print_harness(str(BOAT), tmp_path / "out", record, date="2026-03-02")
        print_harness(str(newer), tmp_path / "out", record, date="2026-03-03")
    for old, new in (("0001", "0002"), ("0001", BOAT), (BOAT, "0002")):
        assert "0 added, 0 removed, 0 changed, 73 unchanged" in run("diff", old, new, "--record", place).stderr
    # the tags say the revision: those of K1 to K6 and the sleeve at J4 differ, K7 has gone
    said = run("diff", "0001", "0003", "--record", place).stderr
    assert "0 added, 1 removed, 8 changed, 64 unchanged" in said
    one, two = ([row("J1", f"BOW {n} J1:2")] for n in (1, 2))
    assert compare(one, two, (("1",), ("2",)))[0].change == "unchanged"
    one, two = ([row("J1", f"BOW J1:{n}")] for n in (1, 2))
    assert compare(one, two, (("1",), ("2",)))[0].change == "changed"  # a place, no serial


def test_one_serial_of_two_harnesses(boat_record: Path, tmp_path: Path) -> None:
    place, other = boat_record, tmp_path / "winch.toml"
    other.write_text(BOAT.read_text("utf-8").replace("RSB-210", "RSB-310"), "utf-8")
    with open_record(boat_record) as record:
        print_harness(str(other), tmp_path / "out", record)
    refused = run("diff", "0001", BOAT, "--record", place)
    assert refused.exit_code == 1
    assert "units of 2 harnesses have this serial: RSB-210, RSB-310; name one by part number too" in refused.stderr
    assert run("diff", "RSB-210 0001", BOAT, "--record", place).exit_code == 0


def words_of(file: Path) -> str:
    pages = pdfium.PdfDocument(str(file))
    return " ".join(" ".join(page.get_textpage().get_text_range() for page in pages).split())


def test_a_reprint_says_both_revisions(boat_record: Path, tmp_path: Path, newer: Path) -> None:
    """J1 was made at revision C and stays; J4 was made anew at D."""
    with open_record(boat_record) as record:
        made = print_changes(str(newer), tmp_path / "out", record, since="C", unit="0001")
        assert made.printed is not None
        (j1,) = record.find("0001 J1")
        before = reprint(record, [j1], tmp_path / "again", reason="lost")
        for file in before.files:
            assert "reprint of job 1 at revision C, the unit is at D now: lost" in words_of(file), file
        (j4,) = [item for item in record.find("0001 B4 J4") if item.state == "printed"]
        after = reprint(record, [j4], tmp_path / "again", reason="lost")
        assert (after.job.repeats_job, after.job.revision, after.job.unit_revision) == (2, "D", "D")
        for file in after.files:
            assert "reprint of job 2: lost" in words_of(file), file
        twice = reprint(record, record.find("0001 J1"), tmp_path / "again", reason="lost")
        assert (twice.job.repeats_job, twice.job.revision, twice.job.unit_revision) == (1, "C", "D")


def test_a_revision_that_was_broken_off_lists_what_comes_off(
    tmp_path: Path, newer: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def die(*_words: object) -> None:
        raise KeyboardInterrupt

    with open_record(tmp_path / "r.sqlite") as record:
        print_harness(str(BOAT), tmp_path / "out", record)
        with monkeypatch.context() as patch:
            patch.setattr("labeler.record.store.Record.confirm", die)
            patch.setattr("labeler.record.store.Record.cancel_pending_jobs", lambda *_words: None)
            with pytest.raises(KeyboardInterrupt):
                print_changes(str(newer), tmp_path / "out", record, since="C", unit="0001")
        assert {item.state for item in record.find("0001 K7")} == {"printed"}
        done = resume(record, 2)
        bench = words_of(done.files[0])
        assert "9 markers to remove" in bench
        assert (bench.count("it is replaced"), bench.count("the new revision has none here")) == (8, 1)
        assert {item.state for item in record.find("0001 K7")} == {"removed"}


def workbook(path: Path, colour: str) -> Path:
    """Write a workbook of two wire lists, sheets Bow and Stern; a wire of the first has this colour."""
    import openpyxl

    made = openpyxl.Workbook()
    for name, wires in (("Bow", [("W1", "J1:1", "P1:1", colour), ("W2", "J1:2", "P1:2", "BK")]), ("Stern", [])):
        sheet = made.create_sheet(name)
        sheet.append(["Wire", "From", "To", "Gauge (AWG)", "Colour"])
        for wire, start, finish, paint in wires or [("W9", "J9:1", "P9:1", "BU")]:
            sheet.append([wire, start, finish, 20, paint])
    del made["Sheet"]
    made.save(path)
    return path


def test_diff_of_workbooks_asks_for_the_sheet_and_takes_it(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()  # of one name, since a list's harness has the name of its file
    (tmp_path / "new").mkdir()
    old, new = workbook(tmp_path / "old" / "b.xlsx", "RD"), workbook(tmp_path / "new" / "b.xlsx", "YE")
    words = ["--set", "marker.wire_text={circuit} {colour}", "--set", "wire_type=TXL"]
    asked = run("diff", old, new, *words)
    assert asked.exit_code != 0
    assert "--worksheet" in asked.stderr
    assert "'Bow' (3 rows), 'Stern' (2 rows)" in asked.stderr
    bow = run("diff", old, new, "--worksheet", "Bow", *words)
    assert bow.exit_code == 0, bow.stderr
    # both markers of W1 say its colour; the tags of J1 and P1 list it
    assert [line.split()[0] for line in bow.stdout.splitlines()[1:]] == ["changed"] * 4
    assert "W1 RD" in bow.stdout
    assert "W1 YE" in bow.stdout
    assert "4 changed" in bow.stderr
    assert "0 changed" in run("diff", old, new, "--worksheet", "Stern", *words).stderr


def test_diff_reads_a_harness_file_beside_a_workbook_as_it_stands(tmp_path: Path) -> None:
    book, file = workbook(tmp_path / "old.xlsx", "RD"), tmp_path / "bow.toml"
    assert run("read", book, "--worksheet", "Bow", "-o", file).exit_code == 0
    same = run("diff", file, book, "--worksheet", "Bow")
    assert same.exit_code == 0, same.stderr
    assert same.stderr.splitlines()[-1].startswith("0 added, 0 removed, 0 changed")
    assert run("diff", file, file, "--worksheet", "Bow").exit_code == 2  # it means nothing for either


def test_a_list_is_given_its_part_number_and_revision(tmp_path: Path) -> None:
    """A customer's list of revision A is printed; that of revision B, whatever its file is called, is told from it."""
    title = (
        "--part-number",
        "RSB-500",
        "--name",
        "Bow loom",
        "--set",
        "wire_type=TXL",
        "--set",
        "marker.wire_text={circuit} {colour}",
    )
    old, new = (workbook(tmp_path / f"wires {colour}.xlsx", colour) for colour in ("RD", "YE"))
    words = ("--worksheet", "Bow", *title, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite")
    assert run("print", old, *words, "--revision", "A").exit_code == 0
    assert (tmp_path / "out" / "RSB-500-0001-bench-sheet.pdf").exists()
    listed = run("record", "list", "--record", tmp_path / "r.sqlite").stdout
    assert "RSB-500  A" in listed
    told = run(
        "diff", "RSB-500 A", new, "--worksheet", "Bow", *title, "--revision", "A", "--record", tmp_path / "r.sqlite"
    )
    assert "4 changed" in told.stderr  # both markers of W1, the tags of J1 and P1, which list it
    changed = run("print", new, *words, "--revision", "B", "--unit", "0001", "--changed-since", "A")
    assert changed.exit_code == 0, changed.stderr
    assert "W1 RD" in changed.stderr
    assert run("check", BOAT, "--revision", "Z").exit_code == 2  # it says its own
    assert json.loads(run("read", old, "--worksheet", "Bow", *title[:4], "--json").stdout)["harness"] == {
        "name": "Bow loom", "part_number": "RSB-500", "revision": "",
    }  # fmt: skip


@pytest.mark.parametrize("said", ["", "  ", "B\x1b[2J"])
@pytest.mark.parametrize("option", ["--part-number", "--revision", "--name"])
def test_a_title_that_says_nothing_is_refused(tmp_path: Path, option: str, said: str) -> None:
    assert run("read", workbook(tmp_path / "b.xlsx", "RD"), "--worksheet", "Bow", option, said).exit_code == 2
