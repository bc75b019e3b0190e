"""Writing files so that each is there whole or not at all."""

from __future__ import annotations

import os
import secrets
import signal
import sys
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from labeler.errors import LabelerError, Problem, SourceLocation, refuse

# ---------------------------------------------------------------- writing


def write_whole(path: Path, data: bytes, *, force: bool = False) -> None:
    """Write a file so that it is there whole or not at all; see `write_all`."""
    write_all({path: data}, force=force)


def write_all(files: Mapping[Path, bytes], *, force: bool = False) -> None:
    """Write several files so that all of them are there whole, or none is; see `written`."""
    with written(tuple(files), files.items(), force=force):
        pass


@contextmanager
def drawn(
    paths: Sequence[Path], contents: Iterable[tuple[Path, bytes]], *, force: bool = False
) -> Iterator[tuple[Path, ...]]:
    """Draw several files as `written` does, and keep none; raises `LabelerError` for a path it would refuse."""
    refuse(problem for path in paths for problem in refused_target(path, force))
    yield tuple(path.resolve() for path, _ in contents)


@contextmanager
def written(
    paths: Sequence[Path], contents: Iterable[tuple[Path, bytes]], *, force: bool = False
) -> Iterator[tuple[Path, ...]]:
    """Write several files, and keep them only if the block that follows ends well.

    Every file is first written beside its place and flushed to the disk, one after another as
    ``contents`` gives them; then each is given its name. Where one cannot be named, or the block is
    left by an error, those that were are taken away again, and what they replaced is put back.

    Parameters
    ----------
    paths : where the files go, looked at before anything is written.
    contents : the same paths with what is to be written.
    force : replace files that exist.

    Raises
    ------
    LabelerError : a path exists and ``force`` is false, is no file, or cannot be written.
    """
    refuse(problem for path in paths for problem in refused_target(path, force))
    parts: list[tuple[Path, Path]] = []
    undo: list[tuple[Path, Path | None]] = []  # the named file, and what stood there before
    try:
        for path, data in contents:
            path = path.resolve()  # a link is written through, not replaced
            part = path.with_name(f".labeler-{secrets.token_hex(8)}.part")
            parts.append((part, path))
            with _told(path), part.open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        with uninterrupted():
            for part, path in parts:
                _name(part, path, force, undo)
        yield tuple(path for _, path in parts)
    except BaseException:
        with uninterrupted():
            for path, before in reversed(undo):
                with suppress(OSError):
                    path.unlink(missing_ok=True) if before is None else os.replace(before, path)
        raise
    finally:
        with uninterrupted():
            for part, _ in parts:
                with suppress(OSError):
                    part.unlink()
    for _, before in undo:
        if before is not None:
            with suppress(OSError):
                before.unlink()


def _name(part: Path, path: Path, force: bool, undo: list[tuple[Path, Path | None]]) -> None:
    """Give a file its name, and note how to undo that."""
    with _told(path):
        if force and path.exists():
            kept = part.with_suffix(".kept")
            _set_aside(path, kept)
            undo.append((path, kept))
            os.replace(part, path)
        else:
            _give_name(part, path)
            undo.append((path, None))


def _set_aside(path: Path, kept: Path) -> None:
    """Give what stands at a path a second name, so that the path is never without a file."""
    try:
        os.link(path, kept)
    except OSError:  # a disk without hard links
        os.replace(path, kept)


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Put off Ctrl-C to the end of the block: what is done in it is done whole. Raises it then."""
    if threading.current_thread() is not threading.main_thread():  # only there are interrupts met
        yield
        return
    pressed: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
        if pressed:
            raise KeyboardInterrupt


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system says into one problem with the file's name."""
    try:
        yield
    except FileExistsError as error:
        raise LabelerError(_exists(path)) from error
    except OSError as error:
        fix = "choose another folder, or make room and allow writing there"
        raise LabelerError(Problem(SourceLocation(str(path)), f"cannot be written ({error.strerror})", fix)) from error


def _give_name(part: Path, path: Path) -> None:
    """Name the file without replacing one that appeared meanwhile, where the disk can do that."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links
        if path.exists():
            raise FileExistsError(path) from None
        os.replace(part, path)


def refused_target(path: Path, force: bool) -> Iterator[Problem]:
    """Yield why a file may not be written: a folder, a device, a file without ``force``."""
    # os.path answers no where a name is too long or a folder closed; opening the file tells the reason
    if os.path.isdir(path):
        yield Problem(SourceLocation(str(path)), "is a folder", "name a file in it")
    elif os.path.exists(path) and not os.path.isfile(path):
        yield Problem(SourceLocation(str(path)), "is a device, not a file", "name a file")
    elif os.path.exists(path) and not force:
        yield _exists(path)


def _exists(path: Path) -> Problem:
    return Problem(
        SourceLocation(str(path)), "exists already", "choose another name or folder, or replace it (--force)"
    )


# ---------------------------------------------------------------- files


LARGEST = 64 * 2**20  # bytes; project choice: a list of 10,000 circuits has about one million


def file_bytes(path: Path) -> bytes:
    """Return what a file holds; raises LabelerError if it is missing, a folder, closed, empty or huge."""
    where = SourceLocation(str(path))
    try:
        if path.is_dir():
            raise LabelerError(Problem(where, "is a folder", "name the file in it"))
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise LabelerError(Problem(where, "no such file", f"look in {path.absolute().parent}")) from None
    except PermissionError:
        raise LabelerError(Problem(where, "may not be read", "change the file's permissions")) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise LabelerError(Problem(where, f"cannot be read: {reason}", "check the path")) from None
    return checked(data, str(path))


def input_bytes() -> bytes:
    """Return what comes by standard input; raises LabelerError if nothing does, or too much."""
    return checked(sys.stdin.buffer.read(LARGEST + 1), "standard input")


def checked(data: bytes, source: str) -> bytes:
    """Return the bytes; raises LabelerError if there are none or too many."""
    if not data.strip(b"\xef\xbb\xbf \t\r\n"):
        raise LabelerError(Problem(SourceLocation(source), "is empty", "give a harness file or a list of circuits"))
    if len(data) > LARGEST:
        limit = f"is larger than {LARGEST // 2**20} MB"
        raise LabelerError(Problem(SourceLocation(source), limit, "check that this is a harness or a list of circuits"))
    return data
