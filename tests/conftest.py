"""What tests of the record share: a place for one in a file, and one on a server."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from tests import postgres

NUMBERS = count(1)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The URL of a PostgreSQL server; the tests that ask for it are skipped where there is none."""
    why = postgres.why_not()
    if why:
        pytest.skip(why)
    with postgres.server() as running:
        yield running.url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new record may be made: a path, and the URL of an empty database."""
    if request.param == "sqlite":
        return str(tmp_path / "record.db")
    return postgres.new_database(request.getfixturevalue("server"), f"boat{next(NUMBERS)}")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--moments", type=int, default=3, help="How often the kill test kills; 100 is the whole test.")
    parser.addoption("--seconds", type=float, default=3.0, help="How long the benches work; 30 is the whole test.")
