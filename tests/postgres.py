"""A PostgreSQL server of the tests' own: on loopback, with a data folder that is thrown away."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

USER = "postgres"  # the server does not run as root


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
        self.url = f"postgresql://{USER}@127.0.0.1:{self.port}"
        if os.geteuid() == 0:
            shutil.chown(folder, USER, USER)
        command: list[str | Path] = [self.bin / "initdb", "-D", folder / "data", "-A", "trust", "-U", USER]
        self._run([*command, "-E", "UTF8", "--locale=C", "--no-sync"])

    def _run(self, command: list[str | Path]) -> None:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=self.folder, **as_user())

    def start(self) -> None:
        settings = f"-c listen_addresses=127.0.0.1 -c port={self.port} -c unix_socket_directories={self.folder}"
        settings += " -c fsync=off -c max_connections=60"
        command: list[str | Path] = [self.bin / "pg_ctl", "-D", self.folder / "data", "-w"]
        self._run([*command, "-l", self.folder / "log", "-o", settings, "start"])

    def stop(self) -> None:
        self._run([self.bin / "pg_ctl", "-D", self.folder / "data", "-m", "immediate", "-w", "stop"])


@contextmanager
def server() -> Iterator[Server]:
    """Run a server; it is stopped and thrown away at the end."""
    folder = Path(tempfile.mkdtemp(prefix="labeler-pg-"))
    try:
        made = Server(folder)
        made.start()
        try:
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


def new_database(url: str, name: str) -> str:
    """Make an empty database on the server and return its URL."""
    import psycopg
    from psycopg import sql

    with psycopg.connect(f"{url}/postgres", autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    return f"{url}/{name}"
