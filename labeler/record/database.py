"""The record's database, a SQLite file or PostgreSQL by its URL: opening it, making it, and what is wrong with it.

One program writes at a time. What a writer reads first (the last serial) stays true until it is done:
SQLite's lock is taken when a transaction begins, PostgreSQL's is an advisory lock of the record's own.

A file is made under another name and then put in its place whole, so an empty or half-made file at
that place is never a record that is just being made: it is a damaged one.
"""

from __future__ import annotations

import logging
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, func, inspect, make_url, select
from sqlalchemy.exc import (
    ArgumentError,
    DBAPIError,
    IntegrityError,
    NoSuchModuleError,
    OperationalError,
    SQLAlchemyError,
)

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.record import schema

BUSY_MS = (
    30_000  # how long one program waits for another that is writing: project choice, a job of 20 000 markers is 1 s
)
CACHE_KIB = 16_384  # a job of 20 000 markers is written once, not page by page: measured
REACH_S = 10  # how long a server is waited for: project choice
WRITERS = 0x6C6162656C6572  # the advisory lock that a writer holds: "labeler" in ASCII
POSTGRES = ("postgres", "postgresql", "postgresql+psycopg")

logging.getLogger("sqlalchemy").addHandler(logging.NullHandler())
"""What goes wrong is raised; without a handler it would be written to standard error too, with a traceback."""


def open_engine(path_or_url: str | os.PathLike[str], create: bool) -> Engine:
    """Open a record's database, made first where it is missing and ``create`` is set.

    Raises LabelerError with one problem: a folder, missing, empty, damaged, not a database,
    another program's database, another schema, an unknown kind of URL, a server that is not reached.
    """
    url = _url(path_or_url)
    with database_problems(name_of(url)):
        if url.get_backend_name() == "sqlite" and "mode" not in url.query:
            _check_file(url, create)
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
        raise _no_driver(name, "this is not a database URL") from error
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
            engine = create_engine(
                url,
                connect_args={"connect_timeout": REACH_S, "options": f"-c lock_timeout={BUSY_MS}"},
                pool_pre_ping=True,  # a connection that was lost while nothing was asked is made anew
            )
            event.listen(engine, "begin", _begin_postgres)
            return engine
        engine = create_engine(url)
    except (NoSuchModuleError, ImportError) as error:
        raise _no_driver(name_of(url), str(error)) from error
    if engine.dialect.name != "sqlite":
        raise _no_driver(name_of(url), f"it is kept in SQLite or PostgreSQL, not in {engine.dialect.name}")
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _no_driver(name: str, why: str) -> LabelerError:
    fix = "give the path of a file, or a URL postgresql://user@host/database (pip install 'labeler[postgres]')"
    return LabelerError(Problem(SourceLocation(name), f"the build record cannot be opened: {why}", fix))


def _set_up_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # transactions begin where `_begin_sqlite` says, not by themselves
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    connection.execute("PRAGMA synchronous = FULL")  # what is recorded outlives a power cut


def _begin_sqlite(connection: Connection) -> None:
    # A writer takes the lock at once: what it reads first (the last serial) stays true until it is done.
    writing = connection.get_execution_options().get("writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _begin_postgres(connection: Connection) -> None:
    if connection.get_execution_options().get("writing", False):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")


def reading(engine: Engine) -> Engine:
    """Return the engine for reading: all questions of a transaction are answered of one moment."""
    if engine.dialect.name == "postgresql":  # SQLite's transactions are so
        return engine.execution_options(isolation_level="REPEATABLE READ")
    return engine


def writing(engine: Engine) -> Engine:
    """Return the engine for writing: a transaction waits until no other program writes."""
    return engine.execution_options(writing=True)


# ---------------------------------------------------------------- schema


def _make_schema(engine: Engine) -> None:
    with writing(engine).begin() as connection:
        if _version(connection)[0] is None:  # else another bench was faster
            schema.metadata.create_all(connection)
            connection.execute(schema.schema_version.insert(), {"version": schema.VERSION})


def _check_schema(engine: Engine, create: bool) -> None:
    with engine.connect() as connection:
        version, tables = _version(connection)
    if version is None and not tables and create:
        return _make_schema(engine)
    missing = sorted(set(schema.metadata.tables) - tables)
    if version is None:
        message, fix = "this is a database, but not a build record", "name the file of a build record, or a new file"
    elif version > schema.VERSION:
        message = f"the record has schema {version}, this version knows schemas up to {schema.VERSION}"
        fix = "use the version that made it, or a newer one"
    elif version < schema.VERSION:
        message = f"the record has schema {version}, this version works on schema {schema.VERSION}"
        fix = "there is no upgrade before the first release; export its units with the program that made it"
    elif missing:
        message = f"the record is damaged: its table {missing[0]} is missing"
        fix = "restore the record from its latest copy"
    else:
        return None
    raise LabelerError(Problem(SourceLocation(name_of(engine.url)), message, fix))


def _version(connection: Connection) -> tuple[int | None, set[str]]:
    """Return the schema of a database, None where it is no record, and the names of its tables."""
    tables = set(inspect(connection).get_table_names())
    known = "schema_version" in tables
    return connection.scalar(select(func.max(schema.schema_version.c.version))) if known else None, tables


# ---------------------------------------------------------------- files of SQLite


def _check_file(url: URL, create: bool) -> None:
    """Make the file of a record where it is missing and ``create`` is set; refuse what cannot be one."""
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
            with _draft_of(path) as draft:
                with new_file(draft):
                    pass
                _put_in_place(draft, path)  # or another bench was faster
        else:
            raise _no_record(path, "there is no build record here", "check the path; the first print makes the record")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise _no_record(path, f"the build record cannot be opened: {why}", "check the path") from error


def _refuse_empty(path: Path) -> None:
    with path.open("rb") as file:
        head = file.read(16)
    if head != b"SQLite format 3\x00":
        what = "this file is empty" if not head else "this file does not begin as a build record does"
        fix = "restore the record from its latest copy, or name another file"
        raise _no_record(path, f"{what}: it is no build record, or it is damaged", fix)


@contextmanager
def new_file(path: Path) -> Iterator[Engine]:
    """Make an empty record in a new SQLite file and yield its engine, which is disposed of at the end."""
    engine = _engine(URL.create("sqlite", database=str(path)))

    def keep_a_log(connection: Any, _record: object) -> None:
        connection.execute("PRAGMA journal_mode = WAL")  # the file keeps this setting

    event.listen(engine, "connect", keep_a_log)
    try:
        _make_schema(engine)
        yield engine
    finally:
        engine.dispose()


@contextmanager
def _draft_of(path: Path) -> Iterator[Path]:
    """Yield a name beside a path for a file to be made; what has that name at the end is deleted."""
    draft = path.with_name(f"{path.name}.new-{os.getpid()}-{os.urandom(4).hex()}")
    try:
        yield draft
    finally:
        for suffix in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                draft.with_name(draft.name + suffix).unlink()


def _put_in_place(draft: Path, path: Path) -> bool:
    """Give the draft its name unless another file has it by now; return whether it has."""
    try:
        os.link(draft, path)
    except FileExistsError:
        return False
    except OSError:  # a file system without links
        if path.exists():
            return False
        draft.rename(path)
    return True


def make_file(target: Path, make: Callable[[Path], None]) -> None:
    """Make a new file beside its place, flush it to the disk, and name it.

    Raises LabelerError where the file exists or cannot be written.
    """
    taken = _no_record(target, "exists already", "move it away, or name another file")
    try:
        target.parent.stat()
        str(target).encode()
        with suppress(FileNotFoundError):
            target.lstat()  # os.path would take a name that cannot be one for a free one
            raise taken
    except ValueError as error:  # a null character, or bytes that are no text
        raise _no_record(Path(ascii(str(target))), "is no name for a file", "choose another") from error
    except OSError as error:
        raise _no_record(target, f"cannot be written ({error.strerror})", "choose another folder") from error
    try:
        with _draft_of(target) as draft:
            make(draft)
            with draft.open("rb+") as file:
                os.fsync(file.fileno())
            if not _put_in_place(draft, target):
                raise taken
    except OSError as error:
        raise _no_record(target, f"cannot be written ({error.strerror})", "choose another folder") from error
    except sqlite3.Error as error:
        raise LabelerError(_sqlite_problem(str(target), str(error))) from error


def _no_record(path: Path, message: str, fix: str) -> LabelerError:
    return LabelerError(Problem(SourceLocation(str(path)), message, fix))


# ---------------------------------------------------------------- what a database reports


DAMAGED = ("the file is damaged", "restore the record from its latest copy")
FULL = ("the disk is full", "make room and run the command again; nothing of it was recorded")
BUSY = ("another program is writing to it", "wait for it to finish, then run the command again")
READ_ONLY = ("it may only be read", "give yourself write permission on the file and its folder")
UNREACHED = ("the database server cannot be reached", "see that it runs and that the network is there, then try again")

CAUSES = (  # what SQLite says, what that means, what to do
    ("full", *FULL),
    ("locked", *BUSY),
    ("readonly", *READ_ONLY),
    ("malformed", *DAMAGED),
    ("corrupt", *DAMAGED),
    ("not a database", *DAMAGED),
    ("no such", *DAMAGED),  # a table or a column
    ("has no column", *DAMAGED),
    ("decode", *DAMAGED),  # a text that is no UTF-8
    ("user-defined function", *DAMAGED),  # the same, where our own function is handed it
    ("disk i/o", "the disk does not take or give what it should", "see to the disk; nothing of this was recorded"),
    ("unable to open", "it cannot be opened", "check that its folder exists and may be written to"),
)

STATES = (  # how a state of PostgreSQL begins (its manual, appendix A), what that means, what to do
    ("08", *UNREACHED),
    ("57P", *UNREACHED),  # it is being shut down, or is starting
    ("28", "the server does not let you in", "check user and password in the URL"),
    ("3D000", "there is no such database on the server", "create it there, or correct the URL"),
    ("42501", "you may not write to it", "have the right given to you on the server"),
    ("25006", "it may only be read", "open it on the server that takes writing"),
    ("53100", *FULL),
    ("53", "the server has no room left for this", "try again later; nothing of it was recorded"),
    ("55P03", *BUSY),
    ("42P01", "a table is missing", "restore the record from its latest copy"),
    ("42703", "a column is missing", "restore the record from its latest copy"),
    ("22", "a text or a number cannot be kept", "leave unprintable characters out; nothing was recorded"),
)


@contextmanager
def database_problems(name: str) -> Iterator[None]:
    """Turn every error of the database inside the block into a LabelerError with one problem."""
    try:
        yield
    except DBAPIError as error:
        raise LabelerError(_problem(name, error)) from error
    except SQLAlchemyError as error:
        raise LabelerError(_known(name, _one_line(error), "nothing was recorded; see what it says")) from error
    except UnicodeDecodeError as error:  # a message that quotes damaged text
        raise LabelerError(_sqlite_problem(name, "decode")) from error
    except UnicodeEncodeError as error:
        message = f"a text holds a character that cannot be kept: {error.reason}"
        raise LabelerError(Problem(SourceLocation(name), message, "write it in UTF-8")) from error
    except OverflowError as error:
        message = f"a number is too large to be kept: {error}"
        raise LabelerError(Problem(SourceLocation(name), message, "use a smaller number")) from error


def _problem(name: str, error: DBAPIError) -> Problem:
    says, state = _one_line(error.orig), getattr(error.orig, "sqlstate", "")
    if isinstance(error, IntegrityError):
        message = f"the record refused a row ({says})"
        return Problem(SourceLocation(name), message, "run the command again; nothing of it was recorded")
    if error.connection_invalidated:
        return _known(name, *UNREACHED)
    if state is None and isinstance(error, OperationalError):  # PostgreSQL's driver, before there is a connection
        return _known(name, f"{UNREACHED[0]} ({says})", "see that it runs, and check the URL")
    for beginning, message, fix in STATES:
        if state and state.startswith(beginning):
            return _known(name, message, fix)
    return _sqlite_problem(name, says)


def _sqlite_problem(name: str, says: str) -> Problem:
    for word, message, fix in CAUSES:
        if word in says.lower():
            return _known(name, message, fix)
    return _known(name, says, "nothing was recorded; see what it says")


def _known(name: str, message: str, fix: str) -> Problem:
    return Problem(SourceLocation(name), f"the build record: {message}", fix)


def _one_line(error: object) -> str:
    return " ".join(str(error).split())
