"""Writing files so that each is there whole or not at all."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from labeler.errors import LabelerError, Problem, Where


def write_whole(path: Path, data: bytes, *, force: bool = False) -> None:
    """Write a file so that it is there whole or not at all.

    Raises
    ------
    LabelerError : the path exists and ``force`` is false, is no file, or cannot be written; nothing
        is left behind then.
    """
    refuse_target(path, force)
    path = path.resolve()  # a link is written through, not replaced
    part = path.with_name(f".labeler-{secrets.token_hex(8)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if force:
            os.replace(part, path)
        else:
            _give_name(part, path)
    except FileExistsError as error:
        raise _exists(path) from error
    except OSError as error:
        fix = "choose another folder, or make room and allow writing there"
        why = f"cannot be written ({error.strerror})"
        raise LabelerError(Problem(Where(str(path)), why, fix)) from error
    finally:
        with suppress(OSError):
            part.unlink()


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


def refuse_target(path: Path, force: bool) -> None:
    """Raise LabelerError where a file may not be written: a folder, a device, a file without ``force``."""
    # os.path answers no where a name is too long or a folder closed; opening the file tells the reason
    if os.path.isdir(path):
        raise LabelerError(Problem(Where(str(path)), "is a folder", "name a file in it"))
    if os.path.exists(path) and not os.path.isfile(path):
        raise LabelerError(Problem(Where(str(path)), "is a device, not a file", "name a file"))
    if os.path.exists(path) and not force:
        raise _exists(path)


def _exists(path: Path) -> LabelerError:
    fix = "choose another name, or ask for it to be replaced (--force)"
    return LabelerError(Problem(Where(str(path)), "exists already", fix))
