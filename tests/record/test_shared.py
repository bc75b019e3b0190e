"""Sheets that units share: printed, broken off, finished, spoiled, printed again and declared void as one."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main
from labeler.errors import LabelerError, SourceLocation
from labeler.job.keeping import verify
from labeler.job.order import Output
from labeler.job.run import merged_sheets
from labeler.model import Sheet
from labeler.record import open_record
from labeler.record.store import Record
from tests.cases import chosen
from tests.orders import print_harness, print_units, reprint_units, resume_run
from tests.places import EXAMPLES

BOAT = str(EXAMPLES / "survey-boat.toml")
WRAPS = "wrap-a4-25x18"
DATE = "2026-03-01"


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


def shared_sheet(record: Record) -> Sheet:
    """Return a sheet of wraps that units 0001 and 0002 share."""
    first, second = ({sheet.number: sheet for sheet in record.sheets(job)} for job in (1, 2))
    number = next(n for n in first if n in second and first[n].stock.name == WRAPS)
    return merged_sheets([[first[number]], [second[number]]])[0]


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a record in which units 0001 and 0002 are printed together."""
    folder = tmp_path_factory.mktemp("pair")
    with open_record(folder / "r.sqlite") as record:
        print_units(BOAT, folder, record, units=(None, None), date=DATE)
    return (folder / "r.sqlite").read_bytes()


@pytest.fixture
def shared(pair: bytes, tmp_path: Path) -> Path:
    """A record of the test's own in which units 0001 and 0002 are printed together."""
    (tmp_path / "r.sqlite").write_bytes(pair)
    return tmp_path / "r.sqlite"


def places(sheets: tuple[Sheet, ...]) -> Counter[tuple[str, float, float, str]]:
    return Counter((p.cell, p.x_mm, p.y_mm, p.piece.label) for sheet in sheets for p in sheet.placed)


# ---------------------------------------------------------------- spoiled, and printed again


def test_a_spoiled_sheet_comes_again_once_as_one_sheet(place: str, tmp_path: Path) -> None:
    with open_record(place) as record:
        print_units(BOAT, tmp_path, record, units=(None, None), date=DATE)
        sheet = shared_sheet(record)
        for job in (1, 2):  # by whichever of its jobs it is named
            items = record.find("", sheet=(job, sheet.number))
            assert {item.unit for item in items} == {"0001", "0002"}
            again = reprint_units(record, items, tmp_path / str(job), reason="jammed", same_places=True)
            assert [one.job.unit for one in again] == ["0001", "0002"]
            assert places(merged_sheets(one.sheets for one in again)) == places((sheet,))
            lists, sheets = again[0].files[:2], again[0].files[2:]
            assert [("work-list" in file.name) for file in lists] == [True, True]
            (file,) = sheets  # one file, and in it one sheet
            assert len(pdfium.PdfDocument(str(file))) == 1
            said = pdfium.PdfDocument(str(file))[0].get_textpage().get_text_range()
            assert "reprint of jobs 1, 2: jammed" in " ".join(said.split())
        assert [len(record.run(job.id)) for job in record.jobs()] == [2] * 6
        assert {item.print_count for item in record.find("", sheet=(1, sheet.number))} == {3}
        assert verify(record) == ()


def test_a_shared_sheet_goes_onto_other_cells_together(shared: Path, tmp_path: Path) -> None:
    with open_record(shared) as record:
        number = shared_sheet(record).number
        items = record.find("", sheet=(1, number))
        again = reprint_units(record, items, tmp_path, reason="jammed", start={WRAPS: "B2"}, with_numbers=True)
        cells = [p.cell for one in again for sheet in one.sheets for p in sheet.placed]
        assert len(cells) == len(items)
        assert "A1" not in cells
        assert {p.piece.face.runs[-1].text for one in again for s in one.sheets for p in s.placed} == {"R1"}


# ---------------------------------------------------------------- void


def states(record: Record, sheet: tuple[int, int]) -> Counter[tuple[str, str]]:
    return Counter((item.unit, item.state) for item in record.find("", sheet=sheet))


@pytest.mark.parametrize("place", chosen(["sqlite", "postgresql"], slow=["postgresql"]), indirect=True)
def test_void_of_a_sheet_is_of_its_copies_of_all_units(place: str, tmp_path: Path) -> None:
    """The spoiled sheet is void, what was printed again is good; until that is spoiled too."""
    with open_record(place) as record:
        print_units(BOAT, tmp_path, record, units=(None, None), date=DATE)
        number = shared_sheet(record).number
    on = f"1:{number}"
    words = ["--record", place]
    assert run("reprint", "--sheet", on, "--reason", "jammed", "--output", tmp_path, *words).exit_code == 0
    done = run("record", "void", "--sheet", on, "--reason", "jammed", *words)
    assert done.exit_code == 0, done.stderr
    assert f"on sheet {on}: jammed" in done.stderr
    with open_record(place) as record:
        both = states(record, (1, number))
        assert {state for _, state in both} == {"printed"}  # by jobs 3 and 4
        assert {unit for unit, _ in both} == {"0001", "0002"}
        assert sum(both.values()) == len(done.stderr.splitlines())
        some = record.find("", sheet=(1, number))[0]
        assert [(e.state, e.job, e.sheet) for e in record.history(some.row.id, some.unit) if e.state == "void"] == [
            ("void", 1, number)
        ]
        assert verify(record) == ()
    twice = run("record", "void", "--sheet", on, "--reason", "jammed", *words)
    assert twice.exit_code == 1
    assert "it is void" in twice.stderr
    assert run("record", "void", "--sheet", f"3:{number}", "--reason", "torn", *words).exit_code == 0
    with open_record(place) as record:
        assert {state for _, state in states(record, (1, number))} == {"void"}
        other = [item for item in record.markers("0001") if item.sheet not in (0, number)]
        assert {item.state for item in other} == {"printed"}  # of other sheets nothing is void


def test_void_of_one_copy_and_then_of_the_rest_of_its_sheet(shared: Path, tmp_path: Path) -> None:
    place = shared
    with open_record(place) as record:
        number = shared_sheet(record).number
        items = record.find("", sheet=(1, number))
        reprint_units(record, items[:1], tmp_path / "again", reason="smeared")
    words = ["--sheet", f"1:{number}", "--record", place]
    one = run("record", "void", items[0].row.id, "--unit", items[0].unit, "--reason", "smeared", *words)
    assert one.exit_code == 0, one.stderr
    assert len(one.stderr.splitlines()) == 1
    rest = run("record", "void", "--reason", "jammed", *words)
    assert rest.exit_code == 0, rest.stderr
    assert len(rest.stderr.splitlines()) == len(items) - 1
    with open_record(place) as record:
        now = record.find("", sheet=(1, number))
        assert [item.row.id for item in now if item.state == "printed"] == [items[0].row.id]  # by its reprint
        assert {item.state for item in now[1:]} == {"void"}


def test_void_before_it_is_printed_again_and_of_one_copy_by_name(shared: Path, tmp_path: Path) -> None:
    with open_record(shared) as record:
        number = shared_sheet(record).number
        items = record.find("", sheet=(1, number))
        named = [(item.unit, item.row.id) for item in items]
        record.void_all(named, "jammed", sheet=(2, number))  # named by either job
        assert {state for _, state in states(record, (1, number))} == {"void"}
        assert {item.reason for item in record.find("", sheet=(1, number))} == {"jammed"}
        reprint_units(record, items, tmp_path / "again", reason="jammed", same_places=True)
        assert {state for _, state in states(record, (1, number))} == {"printed"}
        unit, name = named[0]
        record.void_all([(unit, name)], "smeared", sheet=(3, number))  # the new copy of one
        assert [item.row.id for item in record.markers(unit) if item.state == "void"] == [name]
        with pytest.raises(LabelerError, match="it is not on sheet 1:99"):
            record.void_all([(unit, name)], "smeared", sheet=(1, 99))
        unit, name = named[1]
        record.void(unit, name, "burnt")  # all of its copies
        assert next(i for i in record.markers(unit) if i.row.id == name).state == "void"


def test_voids_of_copies_go_out_and_in(shared: Path, tmp_path: Path) -> None:
    with open_record(shared) as record, open_record(tmp_path / "other.sqlite") as other:
        number = shared_sheet(record).number
        items = record.find("", sheet=(1, number))
        reprint_units(record, items, tmp_path / "again", reason="jammed", same_places=True)
        record.void_all([(item.unit, item.row.id) for item in items], "jammed", sheet=(1, number))
        for unit in ("0002", "0001"):
            other.import_unit(json.loads(json.dumps(record.export_unit(unit))), SourceLocation(unit))
        assert {item.state for item in other.find("", unit="0001")} <= {"printed", "blank"}
        assert other.used_cells() != {}
        assert len(other.run(1)) == 2
        name, unit = items[0].row.id, items[0].unit
        assert [(e.state, e.reason) for e in other.history(name, unit)] == [
            (e.state, e.reason) for e in record.history(name, unit)
        ]


# ---------------------------------------------------------------- broken off


def broken_off(record: Record, folder: Path, monkeypatch: pytest.MonkeyPatch, **how: Any) -> dict[str, bytes]:
    """Print two units and die before they are confirmed; return the files that are left."""

    def die(*_words: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("labeler.record.store.Record.confirm", die)
        patch.setattr("labeler.record.store.Record.cancel_pending_jobs", lambda *_words: None)
        patch.setattr("labeler.files.Path.unlink", lambda *_words, **_more: None)
        with pytest.raises(KeyboardInterrupt):
            print_units(BOAT, folder, record, units=(None, None), date=DATE, **how)
    return {file.name: file.read_bytes() for file in folder.iterdir() if not file.name.startswith(".")}


@pytest.mark.parametrize("stock", chosen(["strip-1000", "card-210x148", "reel"], slow=["card-210x148", "reel"]))
def test_a_run_that_was_broken_off_is_finished_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stock: str
) -> None:
    """All files but the bench sheets, which the record cannot draw with their pins, come back byte by byte."""
    out = tmp_path / "out"
    with open_record(tmp_path / "r.sqlite") as record:
        before = broken_off(record, out, monkeypatch, stock=(stock,), out=Output(out, png=("sheets",)))
        assert [job.state for job in record.jobs()] == ["pending", "pending"]
        for name in before:
            if "bench-sheet" not in name:
                (out / name).unlink()
        used = record.used_cells()
        done = resume_run(record, 2)  # by either of them, into the folder that it was on its way to
        assert [one.job.state for one in done] == ["printed", "printed"]
        assert {file.name: file.read_bytes() for file in out.iterdir() if file.suffix != ".part"} == before
        assert any(name.endswith(".png") for name in before)
        files = [{Path(name).name for name in job.files} for job in record.jobs()]
        assert files[0] | files[1] == set(before)
        assert [sorted(name for name in each if "bench" in name) for each in files] == [
            ["RSB-210-0001-bench-sheet.pdf"],  # of each unit its own alone
            ["RSB-210-0002-bench-sheet.pdf"],
        ]
        assert record.used_cells() == used != {}
        with pytest.raises(LabelerError, match="it is printed"):
            resume_run(record, 1)


def test_nothing_is_sent_by_resume_and_that_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[str] = []
    place, out = tmp_path / "r.sqlite", tmp_path / "out"

    def send(_data: bytes, queue: str, *_more: object) -> str:
        sent.append(queue)
        return "1"

    monkeypatch.setattr("labeler.send.send", send)
    monkeypatch.setattr("labeler.send.queue_problems", lambda _queues: ())
    with open_record(place) as record:
        broken_off(record, out, monkeypatch, out=Output(out, send={WRAPS: "bench-laser"}))
    assert sent
    sent.clear()
    done = run("record", "finish", "1", "--record", place)
    assert done.exit_code == 0, done.stderr
    assert sent == []
    assert f"{WRAPS}.pdf: it was to be sent to bench-laser, and was not sent now" in done.stderr
    assert done.stderr.count("bench-laser") == 1


def test_a_run_is_cancelled_as_a_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "r.sqlite"
    with open_record(place) as record:
        broken_off(record, tmp_path / "out", monkeypatch)
        assert record.used_cells() != {}
    done = run("record", "cancel", "2", "--reason", "power cut", "--record", place)
    assert done.stderr.splitlines() == ["job 1 is cancelled: power cut", "job 2 is cancelled: power cut"]
    with open_record(place) as record:
        assert [job.state for job in record.jobs()] == ["cancelled", "cancelled"]
        assert record.used_cells() == {}
        assert print_harness(BOAT, tmp_path / "new", record, unit="0001").job.state == "printed"
        with pytest.raises(LabelerError, match="it was cancelled before"):
            record.cancel_pending_jobs(1, "once more")


def test_all_units_of_a_run_are_recorded_and_confirmed_at_once(tmp_path: Path) -> None:
    """By the transactions that write: the serials are reserved one by one, then there are three."""
    from sqlalchemy import event

    written: list[int] = []
    with open_record(tmp_path / "r.sqlite") as record:
        print_harness(BOAT, tmp_path / "first", record)
        event.listen(record.engine, "commit", lambda _c: written.append(1))
        before = len(record.jobs())
        written.clear()
        print_units(BOAT, tmp_path / "out", record, units=(None,) * 2)
        two = len(written)
        written.clear()
        print_units(BOAT, tmp_path / "out", record, units=(None,) * 5)
        assert len(written) - two == 3  # three more serials, and nothing else
        assert len(record.jobs()) == before + 7
