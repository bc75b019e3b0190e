"""The files of a SQLite record: looking at one before it is opened, putting one in its place, copying one.

A record is built under another name and then put in its place whole, so an empty or half-made
file at that place is never a record that is just being made: it is a damaged one.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import URL, Engine

from labeler.errors import LabelerError, Problem, Where
from labeler.record.causes import cause


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
