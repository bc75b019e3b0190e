"""A PostgreSQL server of the tests' own: on loopback, with a data folder that is thrown away."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
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


@contextmanager
def server() -> Iterator[str]:
    """Run a server and yield its URL, without a database; it is stopped and thrown away at the end."""
    bin_ = programs()
    assert bin_ is not None
    folder = Path(tempfile.mkdtemp(prefix="labeler-pg-"))
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, USER, USER)
        data, port = folder / "data", free_port()
        start = {"check": True, "stdout": subprocess.DEVNULL, "cwd": folder, **as_user()}
        command: list[str | Path] = [
            bin_ / "initdb",
            "-D",
            data,
            "-A",
            "trust",
            "-U",
            USER,
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        ]
        subprocess.run(command, **start)
        settings = f"-c listen_addresses=127.0.0.1 -c port={port} -c unix_socket_directories={folder} -c fsync=off"
        command = [bin_ / "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", f"{settings} -c max_connections=60"]
        subprocess.run([*command, "start"], **start)
        try:
            yield f"postgresql://{USER}@127.0.0.1:{port}"
        finally:
            subprocess.run([bin_ / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop"], **start)
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
