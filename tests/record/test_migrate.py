"""A record of an older schema comes to today's with nothing lost, and never without being asked."""

import sqlite3
from collections import Counter
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main
from labeler.errors import LabelerError
from labeler.job.keeping import verify
from labeler.model import Harness
from labeler.record import open_record
from labeler.record.connect import upgrade
from labeler.record.schema import VERSION
from labeler.record.store import Record
from tests.make import new_harness
from tests.orders import print_units, reprint, reprint_units
from tests.places import EXAMPLES

EXAMPLE = str(EXAMPLES / "survey-boat.toml")
DATA = Path(__file__).parent / "data"
SCHEMA_1 = (DATA / "record-schema-1.sql").read_text("utf-8")


@pytest.fixture
def old(tmp_path: Path) -> Path:
    path = tmp_path / "r.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript(SCHEMA_1)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    return path


def test_an_older_record_is_not_changed_without_being_asked(old: Path) -> None:
    before = old.read_bytes()
    with pytest.raises(LabelerError, match="labeler record upgrade"):
        open_record(old)
    assert old.read_bytes() == before


def test_nothing_is_lost_on_the_way(old: Path, tmp_path: Path) -> None:
    """What is expected is the record's own description in tests/record/data/README.md."""
    assert upgrade(old) == (1, f"{old}.schema-1")
    with open_record(old) as record:
        assert [(j.kind, j.state, j.unit, j.of_job, j.reason) for j in record.jobs()] == [
            ("print", "printed", "0001", 0, ""),
            ("print", "printed", "0002", 0, ""),
            ("reprint", "withdrawn", "0001", 1, "torn"),
            ("reprint", "printed", "0001", 1, "lost"),
        ]
        assert all(job.date == job.at[:10] and job.who == "ada" for job in record.jobs())
        for serial in ("0001", "0002"):
            states = Counter((item.row.kind, item.state) for item in record.markers(serial))
            tag = "void" if serial == "0002" else "printed"
            assert states == {
                ("wrap", "printed"): 8,
                ("tag", tag): 1,
                ("sleeve", "printed"): 1,
                ("sleeve", "left out"): 1,
                ("sleeve", "plain"): 1,
            }
        (sleeve,) = record.find("0001 B1 J1")
        assert (sleeve.printed, sleeve.row.tube, sleeve.row.colour, sleeve.row.cut_length_mm) == (
            2,
            "AS23053/5 1/4",
            "WH",
            20.0,
        )
        assert (sleeve.job, sleeve.sheet, sleeve.cell) == (1, 1, "A1")
        (left,) = record.find("0001 J2")
        assert left.reason.startswith("capitals 0.47 mm after shrinking")
        assert [e.what for e in record.history("K1", "0002")] == ["prepared", "printed", "void"]
        assert record.reserve_serial(harness_of(record)) == "0003"
        again = reprint(record, record.find("0002 K1"), tmp_path / "out", reason="smeared")
        assert all(file.is_file() for file in again.files)


def harness_of(record: Record) -> Harness:
    job = record.jobs()[0]
    return new_harness(job.harness, job.part_number, job.revision)


def test_every_row_of_the_old_record_is_told_by_the_new(old: Path) -> None:
    """Row by row against SQL on the old file: marker, label, sheet, cell and place of every printed piece."""
    upgrade(old)
    query = "SELECT job_id, sheet, marker, label, cell, x_mm, y_mm FROM marker WHERE sheet IS NOT NULL"
    with sqlite3.connect(f"{old}.schema-1") as connection:
        expected = set(connection.execute(query))
    connection.close()
    found = set()
    with open_record(old) as record:
        for job in record.jobs():
            for item in record.show(job.id).markers:
                if item.sheet:
                    found.add((job.id, item.sheet, item.row.id, item.row.label, item.cell, item.x_mm, item.y_mm))
    assert found == expected
    assert len(expected) == 22  # 10 + 10 + 1 + 1


def test_the_copy_is_the_old_record(old: Path) -> None:
    upgrade(old)
    with sqlite3.connect(f"{old}.schema-1") as connection:
        made = "\n".join(connection.iterdump()) + "\n"
    connection.close()
    assert made == SCHEMA_1


def test_the_foreign_keys_hold_afterwards(old: Path) -> None:
    upgrade(old)
    with sqlite3.connect(old) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    connection.close()
    assert not [name for name in tables if name.endswith("_old")]


def test_a_damaged_old_record_stays_as_it_is(old: Path) -> None:
    with sqlite3.connect(old) as connection:
        connection.execute("DROP TABLE void")
    connection.close()
    with pytest.raises(LabelerError, match="void"):
        upgrade(old)
    with sqlite3.connect(old) as connection:
        assert connection.execute("SELECT max(version) FROM schema_version").fetchone() == (1,)
        assert connection.execute("SELECT count(*) FROM marker").fetchone() == (26,)  # 12 + 12 + 1 + 1
    connection.close()


def test_the_command(old: Path) -> None:
    def run(*words: object) -> Result:
        return CliRunner().invoke(main, [str(word) for word in words])

    refused = run("record", "list", "--record", old)
    assert refused.exit_code == 1
    assert "labeler record upgrade" in refused.stderr
    done = run("record", "upgrade", "--record", old)
    assert (done.exit_code, done.stdout.strip()) == (0, f"{old}.schema-1")
    assert f"schema 1 is now schema {VERSION}" in done.stderr
    assert "nothing to do" in run("record", "upgrade", "--record", old).stderr
    assert run("record", "list", "--record", old).exit_code == 0
    assert run("record", "upgrade", "--record", old.parent / "none.sqlite").exit_code == 1


def test_schema_2(tmp_path: Path) -> None:
    """What is expected is the record's own description in tests/record/data/README.md."""
    path = tmp_path / "r.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript((DATA / "record-schema-2.sql").read_text("utf-8"))
    connection.close()
    assert upgrade(path) == (2, f"{path}.schema-2")
    with open_record(path) as record:
        assert record.problems() == ()
        assert [(j.kind, j.state, j.unit, j.of_job) for j in record.jobs()] == [
            ("print", "printed", "0001", 0),
            ("print", "printed", "0002", 0),
            ("reprint", "printed", "0001", 1),
        ]
        (sleeve,) = record.find("0001 B1 J1")
        assert (sleeve.printed, sleeve.row.heating, sleeve.row.colour) == (2, "back first", "WH")
        (tag,) = record.find("0002 K1")
        assert (tag.state, tag.reason) == ("void", "smeared")
        again = reprint(record, [tag], tmp_path / "out", reason="smeared")
        assert all(file.is_file() for file in again.files)
        assert len({record.export("0001")["jobs"][n]["uid"] for n in (0, 1)}) == 2
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        made = {
            row[0]: row[1] for row in connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'")
        }
    connection.close()
    with open_record(tmp_path / "new.sqlite"):
        pass
    with sqlite3.connect(tmp_path / "new.sqlite") as connection:
        new = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall())
    connection.close()
    assert made == new  # as if it had been made today


def made_of(path: Path) -> dict[str, str]:
    """Return the statements that made a file's tables and indexes."""
    connection = sqlite3.connect(path)
    found = dict(connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall())
    connection.close()
    return found


def test_schema_3(tmp_path: Path) -> None:
    """What is expected is the record's own description in tests/record/data/README.md."""
    path = tmp_path / "r.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript((DATA / "record-schema-3.sql").read_text("utf-8"))
    connection.close()
    assert upgrade(path) == (3, f"{path}.schema-3")
    with open_record(path) as record:
        assert verify(record) == ()
        assert [[job.id for job in record.run(n)] for n in (1, 2, 3, 4)] == [[1, 2], [1, 2], [3], [4]]
        (sleeve,) = record.find("0002 P1", sheet=(1, 1))
        assert (sleeve.state, sleeve.reason) == ("void", "smeared")
        assert {(item.unit, item.row.kind) for item in record.find("", sheet=(1, 2))} == {
            ("0001", "wrap"),
            ("0002", "wrap"),
        }
        # job 4, the last one, put one wrap on a sheet of its own; the last tags are the two of unit 0003
        assert record.used_cells() == {"wrap-a4-25x18": ("A1",), "tag-a4-95x54": ("A1", "B1")}
        again = reprint_units(record, record.find("", sheet=(1, 2)), tmp_path, reason="jammed", same_places=True)
        assert [printed.job.unit for printed in again] == ["0001", "0002"]
    with open_record(tmp_path / "new.sqlite"):
        pass
    assert made_of(path) == made_of(tmp_path / "new.sqlite")  # as if it had been made today


BACK_TO_3 = (
    "DROP TABLE sheet_about",
    "CREATE TABLE used_3 (id SERIAL PRIMARY KEY, job_id INTEGER NOT NULL, stock TEXT NOT NULL, cells TEXT NOT NULL)",
    "INSERT INTO used_3 SELECT * FROM partly_used",
    "DROP TABLE partly_used",
    "ALTER TABLE used_3 RENAME TO partly_used",
    "ALTER TABLE job DROP run, DROP output",
    "ALTER TABLE void DROP of_job, DROP of_sheet",
    "UPDATE schema_version SET version = 3",
    # the jobs of a run had all files in common
    "UPDATE job_event SET note = (SELECT note FROM job_event WHERE job_id = 1 AND state = 'drawn')"
    " WHERE state = 'drawn'",
)
"""What schema 3 on a server did not have: by the two schemas side by side."""


def test_schema_3_on_a_server(schema: str, tmp_path: Path) -> None:
    def columns(record: Record) -> list[tuple[object, ...]]:
        query = (
            "SELECT table_name, column_name, data_type, is_nullable FROM information_schema.columns"
            " WHERE table_schema = current_schema() UNION SELECT tablename, indexname, '', '' FROM pg_indexes"
            " WHERE schemaname = current_schema() UNION SELECT conrelid::regclass::text, conname, '', ''"
            " FROM pg_constraint WHERE connamespace = current_schema()::regnamespace"
        )
        with record.engine.connect() as connection:
            return sorted(map(tuple, connection.exec_driver_sql(query)))

    with open_record(schema) as record:
        print_units(EXAMPLE, tmp_path, record, units=(None, None))
        record.void("0002", "K4", "torn")
        before, used, new = record.markers("0002"), record.used_cells(), columns(record)
        with record.engine.begin() as connection:
            for statement in BACK_TO_3:
                connection.exec_driver_sql(statement)
    with pytest.raises(LabelerError, match="labeler record upgrade"):
        open_record(schema)
    assert upgrade(schema) == (3, "")
    with open_record(schema) as record:
        assert verify(record) == ()
        assert columns(record) == new
        assert (record.markers("0002"), record.used_cells()) == (before, used)
        assert len(record.run(1)) == 2
        record.back_up(tmp_path / "copy.sqlite")
    with open_record(tmp_path / "copy.sqlite") as copy:
        assert copy.used_cells() == used != {}
        assert len(copy.run(2)) == 2
