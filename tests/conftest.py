"""What tests share: places for a record, in a file and on a server."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from pathlib import Path

import pytest

from labeler.record import open_record
from labeler.record.store import Record
from tests import postgres
from tests.orders import print_harness
from tests.places import EXAMPLES


@pytest.fixture(scope="session")
def server() -> Iterator[postgres.Server]:
    """A PostgreSQL server; the tests that ask for it are skipped where there is none."""
    why = postgres.why_not()
    if why:
        pytest.skip(why)
    with postgres.server() as running:
        yield running


@pytest.fixture
def schema(server: postgres.Server) -> Iterator[str]:
    """The URL of an empty schema of the test's own."""
    with server.new_schema() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new record may be made: a path, and the URL of an empty schema."""
    if request.param == "sqlite":
        return str(tmp_path / "record.db")
    url: str = request.getfixturevalue("schema")
    return url


@pytest.fixture
def record(place: str) -> Iterator[Record]:
    """A new record, in a file and on a server: what is tested holds for both."""
    with open_record(place) as opened:
        yield opened


@pytest.fixture(scope="session")
def printed(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a record in which unit 0001 of the example is printed; its sheets lie elsewhere."""
    folder = tmp_path_factory.mktemp("printed")
    with open_record(folder / "r.sqlite") as record:
        print_harness(str(EXAMPLES / "survey-boat.toml"), folder / "out", record)
    return (folder / "r.sqlite").read_bytes()


@pytest.fixture
def boat_record(printed: bytes, tmp_path: Path) -> Path:
    """A record of the test's own, ``r.sqlite``, in which unit 0001 of the example is printed."""
    (tmp_path / "r.sqlite").write_bytes(printed)
    return tmp_path / "r.sqlite"


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Leave what was collected out of every later search for garbage: it stays to the end."""
    gc.collect()
    gc.freeze()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--moments", type=int, default=3, help="How often the kill test kills; 100 is the whole test.")
    parser.addoption("--seconds", type=float, default=3.0, help="How long the benches work; 30 is the whole test.")
