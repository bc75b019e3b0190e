"""The files of a SQLite record: looking at one before it is opened, putting one in its place, copying one.

A record is built under another name and then put in its place whole, so an empty or half-made
file at that place is never a record that is just being made: it is a damaged one.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from sqlalchemy import URL, Engine
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, SQLAlchemyError

from labeler.errors import LabelerError, Problem, Where

# ---------------------------------------------------------------- What a database says when something is wrong


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
        raise LabelerError(cause(name, "decode")) from error
    except UnicodeEncodeError as error:
        message = f"a text holds a character that cannot be kept: {error.reason}"
        raise LabelerError(Problem(Where(name), message, "write it in UTF-8")) from error
    except OverflowError as error:
        message = f"a number is too large to be kept: {error}"
        raise LabelerError(Problem(Where(name), message, "use a smaller number")) from error


def _problem(name: str, error: DBAPIError) -> Problem:
    says, state = _one_line(error.orig), getattr(error.orig, "sqlstate", "")
    if isinstance(error, IntegrityError):
        message = f"the record refused a row ({says})"
        return Problem(Where(name), message, "run the command again; nothing of it was recorded")
    if error.connection_invalidated:
        return _known(name, *UNREACHED)
    if state is None and isinstance(error, OperationalError):  # PostgreSQL's driver, before there is a connection
        return _known(name, f"{UNREACHED[0]} ({says})", "see that it runs, and check the URL")
    for beginning, message, fix in STATES:
        if state and state.startswith(beginning):
            return _known(name, message, fix)
    return cause(name, says)


def cause(name: str, says: str) -> Problem:
    """Return the problem behind what SQLite says."""
    for word, message, fix in CAUSES:
        if word in says.lower():
            return _known(name, message, fix)
    return _known(name, says, "nothing was recorded; see what it says")


def _known(name: str, message: str, fix: str) -> Problem:
    return Problem(Where(name), f"the build record: {message}", fix)


def _one_line(error: object) -> str:
    return " ".join(str(error).split())


# ---------------------------------------------------------------- files


def look_at(url: URL, make: Callable[[Path], None] | None) -> None:
    """Refuse what cannot be a record before it is opened; ``make`` makes one that is missing, in a draft's place.

    Raises LabelerError for a folder, an empty or other file, a record in memory, and for a missing one
    without ``make``.
    """
    if url.database in (None, "", ":memory:") or "mode=memory" in str(url):
        raise no_record(Path(str(url.database or "memory")), "a record in memory is gone at the end", "name a file")
    path = Path(str(url.database))
    try:
        if path.is_dir():
            raise no_record(path, "this is a folder, not a build record", "name a file in it")
        if path.exists():
            _refuse_empty(path)
        elif make is not None:
            path.parent.mkdir(parents=True, exist_ok=True)
            _make_file(path, make)
        else:
            fix = "check the path; the first print makes the record"
            raise no_record(path, "there is no build record here", fix)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise no_record(path, f"the build record cannot be opened: {why}", "check the path") from error


def _refuse_empty(path: Path) -> None:
    with path.open("rb") as file:
        head = file.read(16)
    if head != b"SQLite format 3\x00":
        what = "this file is empty" if not head else "this file does not begin as a build record does"
        fix = "restore the record from its latest copy, or name another file"
        raise no_record(path, f"{what}: it is no build record, or it is damaged", fix)


def _make_file(path: Path, make: Callable[[Path], None]) -> None:
    draft = _draft_of(path)
    try:
        make(draft)
        put_in_place(draft, path)
    finally:
        _tidy(draft)


def _draft_of(path: Path) -> Path:
    return path.with_name(f"{path.name}.new-{os.getpid()}-{os.urandom(4).hex()}")


def _tidy(draft: Path) -> None:
    for suffix in ("", "-wal", "-shm", "-journal"):
        with suppress(OSError):
            draft.with_name(draft.name + suffix).unlink()


def put_in_place(draft: Path, path: Path) -> bool:
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


def copy_to(engine: Engine, target: Path) -> None:
    """Copy a record to a new file while others go on using it: one moment of it, whole or not at all.

    Raises LabelerError where the file exists or cannot be written.
    """

    def copy(draft: Path) -> None:
        with engine.connect() as connection, closing(sqlite3.connect(draft)) as made:
            connection.connection.driver_connection.backup(made)  # type: ignore[union-attr]

    place_draft(target, copy)


def place_draft(target: Path, make: Callable[[Path], None]) -> None:
    """Make a new file beside its place, flush it to the disk, and name it.

    Raises LabelerError where the file exists or cannot be written.
    """
    taken = no_record(target, "exists already", "move it away, or name another file")
    try:
        target.parent.stat()
        str(target).encode()
        exists = _stands_at(target)
    except ValueError as error:  # a null character, or bytes that are no text
        raise no_record(Path(ascii(str(target))), "is no name for a file", "choose another") from error
    except OSError as error:
        raise no_record(target, f"cannot be written ({error.strerror})", "choose another folder") from error
    if exists:
        raise taken
    draft = _draft_of(target)
    try:
        make(draft)
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        if not put_in_place(draft, target):
            raise taken
    except OSError as error:
        raise no_record(target, f"cannot be written ({error.strerror})", "choose another folder") from error
    except sqlite3.Error as error:
        raise LabelerError(cause(str(target), str(error))) from error
    finally:
        _tidy(draft)


def _stands_at(path: Path) -> bool:
    """Return whether anything has the name; os.path would take a name that cannot be one for a free one."""
    try:
        path.lstat()
    except FileNotFoundError:
        return False
    return True


def no_record(path: Path, message: str, fix: str) -> LabelerError:
    """Return the error for a file that is no record or cannot become one."""
    return LabelerError(Problem(Where(str(path)), message, fix))
