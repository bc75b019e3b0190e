"""What breaks in the middle: the server, the disk, the right to write. One clear line, and nothing half done."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import event, make_url

from labeler.errors import LabelerError
from labeler.record import open_record
from labeler.record.store import Record
from tests import postgres
from tests.cases import chosen
from tests.orders import print_harness, resume
from tests.places import EXAMPLES
from tests.record.jobs import boat_job, only_problem, print_unit

EXAMPLE = str(EXAMPLES / "survey-boat.toml")


@pytest.fixture
def stoppable(server: postgres.Server) -> Iterator[postgres.Server]:
    """The server of all tests, which a test may stop: it runs again afterwards."""
    yield server
    server.start()


# ---------------------------------------------------------------- the server


def test_a_server_that_goes_away_in_the_middle_of_writing(stoppable: postgres.Server, schema: str) -> None:
    with open_record(schema) as record:
        print_unit(record)
        said = []

        def stop(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
            if statement.startswith("INSERT INTO marker"):
                said.append(statement)
                stoppable.stop()

        event.listen(record.engine, "before_cursor_execute", stop)
        with pytest.raises(LabelerError) as raised:
            record.prepare(boat_job())
        assert "the database server cannot be reached" in only_problem(raised)
        assert said
        event.remove(record.engine, "before_cursor_execute", stop)
        with pytest.raises(LabelerError, match="cannot be reached"):
            record.jobs()
        stoppable.start()
        assert len(record.jobs()) == 1  # the connection is made anew, and nothing is half there
        assert record.problems() == ()
        print_unit(record)


def test_a_server_that_goes_away_before_the_job_is_confirmed(
    stoppable: postgres.Server, schema: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The files stay: whether the job is confirmed cannot be known. Resume settles it."""
    real = Record.confirm

    def cut_off(record: Record, *words: object) -> object:
        stoppable.stop()
        return real(record, *words)  # type: ignore[arg-type]

    with open_record(schema) as record:
        with monkeypatch.context() as patch:
            patch.setattr("labeler.record.store.Record.confirm", cut_off)
            with pytest.raises(LabelerError, match="labeler record finish 1") as raised:
                print_harness(EXAMPLE, tmp_path / "out", record)
        only_problem(raised)
        before = {file: file.read_bytes() for file in (tmp_path / "out").glob("*.pdf")}
        assert len(before) == 5
        stoppable.start()
        assert [job.state for job in record.jobs()] == ["pending"]
        assert resume(record, 1, tmp_path / "out").job.state == "printed"
        assert {file: file.read_bytes() for file in (tmp_path / "out").glob("*.pdf")} == before


def test_a_connection_that_is_cut_while_nothing_is_asked(server: postgres.Server, schema: str) -> None:
    import psycopg

    with open_record(schema) as record:
        print_unit(record)
        with psycopg.connect(server.url, autocommit=True) as other:
            idle = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE usename = %s"
            assert other.execute(idle, [make_url(schema).username]).fetchall() == [(True,)]
        print_unit(record)
        assert len(record.jobs()) == 2


def test_whoever_may_only_read_can_look_up(server: postgres.Server, schema: str) -> None:
    with open_record(schema) as record:
        print_unit(record)
    with server.reader_of(schema) as reader, open_record(reader) as record:
        assert len(record.find("J4:2")) == 1
        with pytest.raises(LabelerError) as raised:
            print_unit(record)
        assert "you may not write to it" in only_problem(raised)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("5432", "1"), "cannot be reached"),
        (("/boat", "/none"), 'database "none" does not exist'),
        (("postgres@", "nobody@"), 'role "nobody" does not exist'),
    ],
)
def test_a_server_that_does_not_let_one_in(server: postgres.Server, change: tuple[str, str], said: str) -> None:
    url = server.url.replace(change[0] if change[0] != "5432" else str(server.port), change[1])
    with pytest.raises(LabelerError) as raised:
        open_record(url)
    assert said in only_problem(raised)


def test_another_programs_database_is_refused(schema: str) -> None:
    import psycopg

    with psycopg.connect(schema, autocommit=True) as connection:
        connection.execute("CREATE TABLE wine (year integer)")
    with pytest.raises(LabelerError, match="not a build record"):
        open_record(schema)


def test_processes_make_one_record_on_a_server(schema: str) -> None:
    code = (
        "import sys; from labeler.record import open_record; from tests.record.jobs import BOAT\n"
        "with open_record(sys.argv[1]) as r:\n"
        "    print(*[r.reserve_serial(BOAT) for _ in range(8)])"
    )
    running = [
        subprocess.Popen([sys.executable, "-c", code, schema], stdout=subprocess.PIPE, text=True) for _ in range(3)
    ]
    serials = [serial for process in running for serial in process.communicate()[0].split()]
    assert sorted(serials) == [f"{n:04d}" for n in range(1, 25)]  # 3 × 8


# ---------------------------------------------------------------- the disk


@pytest.mark.skipif(sys.platform == "win32", reason="no limits of files there")
@pytest.mark.parametrize("room", chosen([0, 20_000, 60_000], slow=[0, 60_000]))
def test_a_disk_that_takes_no_more(tmp_path: Path, room: int) -> None:
    """Files may not grow beyond a limit, as on a full disk: a print fails in one line and leaves nothing half done."""
    place = tmp_path / "r.db"
    with open_record(place) as record:
        print_unit(record)
        serials = len(record.units())
    code = (
        "import resource, sys\nfrom labeler.cli.main import main\n"
        "limit = int(sys.argv.pop(1)); resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)); main()"
    )
    limit = place.stat().st_size + room
    words = [str(limit), "print", EXAMPLE, "--output", str(tmp_path / "out"), "--record", str(place)]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True)
    with open_record(place) as record:
        assert record.problems() == ()
        states = [job.state for job in record.jobs()]
        files = list((tmp_path / "out").glob("*.pdf")) if (tmp_path / "out").exists() else []
        if done.returncode == 0:
            assert states == ["printed", "printed"]
            return
        assert len(done.stderr.splitlines()) == 1, done.stderr
        assert str(place) in done.stderr
        assert states[1:] in ([], ["cancelled"], ["pending"])
        assert files == []
        assert len(record.units()) >= serials
