"""Opening the record's database, and the one place where its errors become problems.

A record is built under another name and then put in its place whole, so an empty or half-made
file at that place is never a record that is just being made: it is a damaged one.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, func, inspect, make_url, select
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError, SQLAlchemyError

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.record import migrate, schema

BUSY_MS = 10_000  # how long one program waits for another that is writing: project choice
CACHE_KIB = 16_384  # a job of 20 000 markers is written once, not page by page: measured

DAMAGED = ("the file is damaged", "restore the record from its latest copy")
CAUSES = (  # what a database says, what that means, what to do
    ("full", "the disk is full", "make room and run the command again; nothing of it was recorded"),
    ("locked", "another program is writing to it", "wait for it to finish, then run the command again"),
    ("readonly", "it may only be read", "give yourself write permission on the file and its folder"),
    ("malformed", *DAMAGED),
    ("corrupt", *DAMAGED),
    ("not a database", *DAMAGED),
    ("no such", *DAMAGED),  # a table or a column
    ("has no column", *DAMAGED),
    ("decode", *DAMAGED),  # a text that is no UTF-8
    ("user-defined function", *DAMAGED),  # the same, where `_lower` is handed it
    ("unable to open", "it cannot be opened", "check that its folder exists and may be written to"),
)


def open_engine(path_or_url: str | os.PathLike[str], create: bool) -> Engine:
    """Open a record's database, made first where it is missing and ``create`` is set.

    Raises LabelerError with one problem: a folder, missing, empty, damaged, not a database,
    another program's database, a newer schema, an unknown kind of URL.
    """
    url = _url(path_or_url)
    with told(name_of(url)):
        if url.get_backend_name() == "sqlite" and "mode" not in url.query:
            _look_at_file(url, create)
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
        return make_url(text)
    except (ArgumentError, ValueError) as error:
        name = text.partition("://")[0] + "://…"  # what follows may hold a password
        raise LabelerError(_no_driver(name, "this is not a database URL")) from error


def name_of(url: URL) -> str:
    """Return what to call the record in messages: its path, or its URL without the password."""
    if url.get_backend_name() == "sqlite" and url.database:
        return url.database
    return url.render_as_string(hide_password=True)


def _engine(url: URL) -> Engine:
    try:
        engine = create_engine(url)
    except (NoSuchModuleError, ImportError) as error:
        raise LabelerError(_no_driver(name_of(url), str(error))) from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _no_driver(name: str, why: str) -> Problem:
    fix = "give the path of a file, or install the driver that the URL asks for"
    return Problem(Where(name), f"the build record cannot be opened: {why}", fix)


# ---------------------------------------------------------------- SQLite's own


def _set_up_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # transactions begin where `_begin_sqlite` says, not by themselves
    connection.create_function("lower", 1, _lower, deterministic=True)  # beyond ASCII, as elsewhere
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    connection.execute("PRAGMA synchronous = FULL")  # what is recorded outlives a power cut


def _set_up_new_sqlite(connection: Any, _record: object) -> None:
    connection.execute("PRAGMA journal_mode = WAL")  # is kept in the file


def _lower(value: object) -> object:
    return value.lower() if isinstance(value, str) else value


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes the lock at once: what it reads first (the last serial) stays true until it is done.
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _look_at_file(url: URL, create: bool) -> None:
    if url.database in (None, "", ":memory:") or "mode=memory" in str(url):
        raise _no_record(Path(str(url.database or "memory")), "a record in memory is gone at the end", "name a file")
    path = Path(str(url.database))
    try:
        if path.is_dir():
            raise _no_record(path, "this is a folder, not a build record", "name a file in it")
        if path.exists():
            _refuse_empty(path)
        elif create:
            path.parent.mkdir(parents=True, exist_ok=True)
            _make_file(path)
        else:
            fix = "check the path; the first print makes the record"
            raise _no_record(path, "there is no build record here", fix)
    except (OSError, ValueError) as error:
        raise _no_record(path, f"the build record cannot be opened: {error}", "check the path") from error


def _refuse_empty(path: Path) -> None:
    with path.open("rb") as file:
        head = file.read(16)
    if head != b"SQLite format 3\x00":
        what = "this file is empty" if not head else "this file does not begin as a build record does"
        fix = "restore the record from its latest copy, or name another file"
        raise _no_record(path, f"{what}: it is no build record, or it is damaged", fix)


def _make_file(path: Path) -> None:
    draft = path.with_name(f"{path.name}.new-{os.getpid()}-{os.urandom(4).hex()}")
    try:
        engine = _engine(URL.create("sqlite", database=str(draft)))
        event.listen(engine, "connect", _set_up_new_sqlite)
        try:
            _make_schema(engine)
        finally:
            engine.dispose()
        _put_in_place(draft, path)
    finally:
        for suffix in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                draft.with_name(draft.name + suffix).unlink()


def _put_in_place(draft: Path, path: Path) -> None:
    """Give the draft its name unless somebody else's record has it by now."""
    try:
        os.link(draft, path)
    except FileExistsError:
        return
    except OSError:  # a file system without links
        if not path.exists():
            draft.rename(path)


def _no_record(path: Path, message: str, fix: str) -> LabelerError:
    return LabelerError(Problem(Where(str(path)), message, fix))


# ---------------------------------------------------------------- schema


def _make_schema(engine: Engine) -> None:
    with engine.execution_options(writing=True).begin() as connection:
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
            _look_at_file(url, create=False)
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
                copy_sqlite(engine, Path(copy))
            with engine.execution_options(writing=True).begin() as connection:
                migrate.upgrade(connection, version)
            return version, copy
        finally:
            engine.dispose()


def copy_sqlite(engine: Engine, target: Path) -> None:
    """Copy a record to a new file while others may go on using it; whole or not at all."""
    if target.exists():
        raise _no_record(target, "exists already", "move it away, or name another file")
    draft = target.with_name(f"{target.name}.new-{os.getpid()}-{os.urandom(4).hex()}")
    try:
        with engine.connect() as connection, closing(sqlite3.connect(draft)) as made:
            connection.connection.driver_connection.backup(made)  # type: ignore[union-attr]
            made.execute("PRAGMA journal_mode = DELETE")
        _flush(draft)
        _put_in_place(draft, target)
    except OSError as error:
        raise _no_record(target, f"cannot be written ({error.strerror})", "choose another folder") from error
    except sqlite3.Error as error:
        raise LabelerError(_cause(str(target), str(error))) from error
    finally:
        with suppress(OSError):
            draft.unlink()


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


# ---------------------------------------------------------------- errors


@contextmanager
def told(name: str) -> Iterator[None]:
    """Turn every error of the database inside the block into a LabelerError with one problem."""
    try:
        yield
    except DBAPIError as error:
        raise LabelerError(_problem(name, error)) from error
    except SQLAlchemyError as error:
        message = f"the build record: {_one_line(error)}"
        raise LabelerError(Problem(Where(name), message, "nothing was recorded; see what it says")) from error
    except UnicodeDecodeError as error:  # a message that quotes damaged text
        damage = Problem(Where(name), f"the build record: {DAMAGED[0]}", DAMAGED[1])
        raise LabelerError(damage) from error
    except UnicodeEncodeError as error:
        message = f"a text holds a character that cannot be kept: {error.reason}"
        raise LabelerError(Problem(Where(name), message, "write it in UTF-8")) from error
    except OverflowError as error:
        message = f"a number is too large to be kept: {error}"
        raise LabelerError(Problem(Where(name), message, "use a smaller number")) from error


def _problem(name: str, error: DBAPIError) -> Problem:
    says = _one_line(error.orig)
    if isinstance(error, IntegrityError):
        message = f"the record refused a row ({says})"
        return Problem(Where(name), message, "run the command again; nothing of it was recorded")
    return _cause(name, says)


def _cause(name: str, says: str) -> Problem:
    for word, message, fix in CAUSES:
        if word in says.lower():
            return Problem(Where(name), f"the build record: {message}", fix)
    return Problem(Where(name), f"the build record: {says}", "nothing was recorded; see what it says")


def _one_line(error: object) -> str:
    return " ".join(str(error).split())
