"""Opening the record's database: a SQLite file, or PostgreSQL by its URL; making and upgrading its tables.

One program writes at a time. What a writer reads first (the last serial) stays true until it is done:
SQLite's lock is taken when a transaction begins, PostgreSQL's is an advisory lock of the record's own.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, func, inspect, make_url, select
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.record import migrate, schema
from labeler.record.database import copy_to, look_at, told

BUSY_MS = (
    30_000  # how long one program waits for another that is writing: project choice, a job of 20 000 markers is 1 s
)
CACHE_KIB = 16_384  # a job of 20 000 markers is written once, not page by page: measured
REACH_S = 10  # how long a server is waited for: project choice
WRITERS = 0x6C6162656C6572  # the advisory lock that a writer holds: "labeler" in ASCII
POSTGRES = ("postgres", "postgresql", "postgresql+psycopg")

logging.getLogger("sqlalchemy").addHandler(logging.NullHandler())
"""What goes wrong is raised; unasked, it would be written to standard error too, with a traceback."""


def open_engine(path_or_url: str | os.PathLike[str], create: bool) -> Engine:
    """Open a record's database, made first where it is missing and ``create`` is set.

    Raises LabelerError with one problem: a folder, missing, empty, damaged, not a database,
    another program's database, another schema, an unknown kind of URL, a server that is not reached.
    """
    url = _url(path_or_url)
    with told(name_of(url)):
        if url.get_backend_name() == "sqlite" and "mode" not in url.query:
            look_at(url, _make_record if create else None)
        engine = _engine(url)
        try:
            _check_schema(engine, create)
        except BaseException:
            engine.dispose()
            raise
        return engine


def _url(path_or_url: str | os.PathLike[str]) -> URL:
    text = os.fspath(path_or_url)
    if "://" not in text:
        return URL.create("sqlite", database=text)
    try:
        kind, _, rest = text.partition("://")
        url = make_url(f"postgresql+psycopg://{rest}" if kind in POSTGRES else text)
        url.get_backend_name()
    except (ArgumentError, ValueError) as error:
        name = text.partition("://")[0] + "://…"  # what follows may hold a password
        raise LabelerError(_no_driver(name, "this is not a database URL")) from error
    return url


def name_of(url: URL) -> str:
    """Return what to call the record in messages: its path, or its URL without the password."""
    if url.get_backend_name() == "sqlite" and url.database:
        return url.database
    shown = url.set(drivername=url.get_backend_name(), query={})  # a query may hold a password too
    return shown.render_as_string(hide_password=True)


def _engine(url: URL) -> Engine:
    try:
        if url.get_backend_name() == "postgresql":
            return _postgres(url)
        engine = create_engine(url)
    except (NoSuchModuleError, ImportError) as error:
        raise LabelerError(_no_driver(name_of(url), str(error))) from error
    if engine.dialect.name != "sqlite":
        raise LabelerError(
            _no_driver(name_of(url), f"it is kept in SQLite or PostgreSQL, not in {engine.dialect.name}")
        )
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _no_driver(name: str, why: str) -> Problem:
    fix = "give the path of a file, or a URL postgresql://user@host/database (pip install 'labeler[postgres]')"
    return Problem(Where(name), f"the build record cannot be opened: {why}", fix)


# ---------------------------------------------------------------- SQLite's own


def _set_up_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # transactions begin where `_begin_sqlite` says, not by themselves
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    connection.execute("PRAGMA synchronous = FULL")  # what is recorded outlives a power cut


def _set_up_new_sqlite(connection: Any, _record: object) -> None:
    connection.execute("PRAGMA journal_mode = WAL")  # is kept in the file


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes the lock at once: what it reads first (the last serial) stays true until it is done.
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _make_record(draft: Path) -> None:
    with new_file(draft):
        pass


@contextmanager
def new_file(path: Path) -> Iterator[Engine]:
    """Make an empty record in a new SQLite file and yield its engine; it is let go at the end."""
    engine = _engine(URL.create("sqlite", database=str(path)))
    event.listen(engine, "connect", _set_up_new_sqlite)
    try:
        _make_schema(engine)
        yield engine
    finally:
        engine.dispose()


# ---------------------------------------------------------------- PostgreSQL's own


def _postgres(url: URL) -> Engine:
    engine = create_engine(
        url,
        connect_args={"connect_timeout": REACH_S, "options": f"-c lock_timeout={BUSY_MS}"},
        pool_pre_ping=True,  # a connection that was lost while nothing was asked is made anew
    )
    event.listen(engine, "begin", _begin_postgres)
    return engine


def _begin_postgres(connection: Connection) -> None:
    if connection.get_execution_options().get("writing", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")


def reading(engine: Engine) -> Engine:
    """Return the engine for reading: all questions of a transaction are answered of one moment."""
    if engine.dialect.name == "postgresql":  # SQLite's transactions are so
        return engine.execution_options(isolation_level="REPEATABLE READ")
    return engine


# ---------------------------------------------------------------- schema


def _make_schema(engine: Engine) -> None:
    with engine.execution_options(writing=True).begin() as connection:
        if _version(connection)[0] is None:  # else another bench was faster
            schema.metadata.create_all(connection)
            connection.execute(schema.schema_version.insert(), {"version": schema.VERSION})


def _check_schema(engine: Engine, create: bool) -> None:
    where = Where(name_of(engine.url))
    with engine.connect() as connection:
        version, tables = _version(connection)
    if version is None and not tables and create:
        return _make_schema(engine)
    refuse(_version_problems(where, version))
    if version != schema.VERSION:
        message = f"the record has schema {version}, this version works on schema {schema.VERSION}"
        fix = "run labeler record upgrade, which keeps a copy; every bench then needs this version or a newer one"
        raise LabelerError(Problem(where, message, fix))
    missing = sorted(set(schema.metadata.tables) - tables)
    if missing:
        message = f"the record is damaged: its table {missing[0]} is missing"
        raise LabelerError(Problem(where, message, "restore the record from its latest copy"))
    return None


def _version(connection: Connection) -> tuple[int | None, set[str]]:
    """Return the schema of a database, None where it is no record, and the names of its tables."""
    tables = set(inspect(connection).get_table_names())
    known = "schema_version" in tables
    return connection.scalar(select(func.max(schema.schema_version.c.version))) if known else None, tables


def _version_problems(where: Where, version: int | None) -> Iterator[Problem]:
    if version is None:
        fix = "name the file of a build record, or a new file"
        yield Problem(where, "this is a database, but not a build record", fix)
    elif version > schema.VERSION:
        message = f"the record has schema {version}, this version knows schemas up to {schema.VERSION}"
        yield Problem(where, message, "use the version that made it, or a newer one")


def upgrade(path_or_url: str | os.PathLike[str]) -> tuple[int, str]:
    """Bring a record of an older schema to today's; return the schema it had and the file of its copy.

    The copy is made first, beside the record; "" where there was nothing to do, or for a database on a
    server, which has its own ways to be copied. Raises LabelerError as `open_engine`, and where the copy
    exists; nothing is changed then.
    """
    url = _url(path_or_url)
    with told(name_of(url)):
        if url.get_backend_name() == "sqlite":
            look_at(url, None)
        engine = _engine(url)
        try:
            with engine.connect() as connection:
                version, _tables = _version(connection)
            refuse(_version_problems(Where(name_of(url)), version))
            assert version is not None
            if version == schema.VERSION:
                return version, ""
            copy = f"{url.database}.schema-{version}" if engine.dialect.name == "sqlite" else ""
            if copy:
                copy_to(engine, Path(copy))
            with engine.execution_options(writing=True).begin() as connection:
                if _version(connection)[0] == version:  # else another bench was faster
                    migrate.upgrade(connection, version)
            return version, copy
        finally:
            engine.dispose()
