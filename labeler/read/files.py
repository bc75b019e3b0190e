"""The bytes of a file or of standard input, or the problem that keeps them back."""

from __future__ import annotations

import sys
from pathlib import Path

from labeler.errors import LabelerError, Problem, Where

LARGEST = 64 * 2**20  # bytes; project choice: a list of 10,000 circuits has about one million


def file_bytes(path: Path) -> bytes:
    """Return what a file holds; raises LabelerError if it is missing, a folder, closed, empty or huge."""
    where = Where(str(path))
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
        raise LabelerError(Problem(Where(source), "is empty", "give a harness file or a list of circuits"))
    if len(data) > LARGEST:
        limit = f"is larger than {LARGEST // 2**20} MB"
        raise LabelerError(Problem(Where(source), limit, "check that this is a harness or a list of circuits"))
    return data
