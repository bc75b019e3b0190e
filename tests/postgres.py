"""A PostgreSQL server of the tests' own: on loopback, with a data folder that is thrown away.

It has one database. A test works in a schema of its own, which goes by the name of a role of its own: a role finds
the tables of the schema that is called like it, so that a record's URL needs nothing but the role's name.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import Any

USER = "postgres"  # the server does not run as root
DATABASE = "boat"


def programs() -> Path | None:
    """Return the folder of the server's programs, the newest where there are several; None without a server."""
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return debian[-1].parent if debian else None


def why_not() -> str:
    """Return why there is no server to test with, or ""."""
    try:
        import psycopg  # noqa: F401
    except ImportError:
        return "psycopg is not installed"
    if programs() is None:
        return "there is no PostgreSQL server here"
    if os.geteuid() == 0:
        import pwd

        try:
            pwd.getpwnam(USER)
        except KeyError:
            return f"a server does not run as root, and there is no user {USER}"
    return ""


def as_user() -> dict[str, Any]:
    """Return the options that run a program as somebody else than root."""
    return {"user": USER, "group": USER, "extra_groups": []} if os.geteuid() == 0 else {}


class Server:
    """A server on a port of its own, that can be stopped and started again."""

    def __init__(self, folder: Path) -> None:
        found = programs()
        assert found is not None
        self.bin, self.folder, self.port = found, folder, free_port()
        self.url = f"postgresql://{USER}@127.0.0.1:{self.port}/{DATABASE}"
        self.numbers = count(1)
        if os.geteuid() == 0:
            shutil.chown(folder, USER, USER)
        command: list[str | Path] = [self.bin / "initdb", "-D", folder / "data", "-A", "trust", "-U", USER]
        self._run([*command, "-E", "UTF8", "--locale=C", "--no-sync"])

    def _run(self, command: list[str | Path]) -> None:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=self.folder, **as_user())

    def start(self) -> None:
        """Start it, where it does not run."""
        if (self.folder / "data" / "postmaster.pid").exists():
            return
        settings = f"-c listen_addresses=127.0.0.1 -c port={self.port} -c unix_socket_directories={self.folder}"
        settings += " -c fsync=off -c max_connections=60"
        command: list[str | Path] = [self.bin / "pg_ctl", "-D", self.folder / "data", "-w"]
        self._run([*command, "-l", self.folder / "log", "-o", settings, "start"])

    def stop(self) -> None:
        """End it at once, as a crash does."""
        self._run([self.bin / "pg_ctl", "-D", self.folder / "data", "-m", "immediate", "-w", "stop"])

    def as_role(self, name: str) -> str:
        """Return the URL of the database for a role."""
        return self.url.replace(f"{USER}@", f"{name}@")

    def do(self, *commands: str) -> None:
        """Run SQL on the database, as who may do all."""
        import psycopg

        with psycopg.connect(self.url, autocommit=True) as connection:
            for command in commands:
                connection.execute(command.encode())

    @contextmanager
    def new_schema(self) -> Iterator[str]:
        """Make an empty schema and yield the URL of its role; both are dropped at the end, and who still uses them."""
        name = f"test{next(self.numbers)}"
        self.do(f"CREATE ROLE {name} LOGIN", f"CREATE SCHEMA AUTHORIZATION {name}")
        try:
            yield self.as_role(name)
        finally:
            self.start()  # a test may have stopped it
            ended = f"SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE usename = '{name}'"
            self.do(ended, "SET client_min_messages = warning", f"DROP SCHEMA {name} CASCADE", f"DROP ROLE {name}")

    @contextmanager
    def reader_of(self, schema: str) -> Iterator[str]:
        """Yield the URL of a role that may only read in a schema, given by the URL of its own."""
        owner = schema.partition("://")[2].partition("@")[0]
        name = f"{owner}_reader"
        self.do(
            f"CREATE ROLE {name} LOGIN",
            f"ALTER ROLE {name} SET search_path = {owner}",
            f"GRANT USAGE ON SCHEMA {owner} TO {name}",
            f"GRANT SELECT ON ALL TABLES IN SCHEMA {owner} TO {name}",
        )
        try:
            yield self.as_role(name)
        finally:
            self.do(f"DROP OWNED BY {name}", f"DROP ROLE {name}")


@contextmanager
def server() -> Iterator[Server]:
    """Run a server; it is stopped and thrown away at the end."""
    folder = Path(tempfile.mkdtemp(prefix="labeler-pg-"))
    try:
        made = Server(folder)
        made.start()
        try:
            import psycopg

            with psycopg.connect(made.url.replace(f"/{DATABASE}", "/postgres"), autocommit=True) as connection:
                connection.execute(f"CREATE DATABASE {DATABASE}".encode())
            yield made
        finally:
            with suppress(subprocess.CalledProcessError):  # a test may have stopped it
                made.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def free_port() -> int:
    """Return a port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
