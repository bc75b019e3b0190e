"""The bytes of a wire list → its text: which encoding it is, and whether what comes out can be a list."""

from __future__ import annotations

import re
from collections.abc import Sequence

from labeler.errors import LabelerError, Problem, Where, refuse

LONGEST_LINE = 65_536  # characters; project choice: no wire list comes near, a broken file does
SHOWN = 10  # problems of one kind that a damaged file is told; project choice
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def decoded(data: bytes, source: str) -> tuple[str, tuple[Problem, ...]]:
    """Return the text and, where the encoding had to be guessed, a warning.

    UTF-8 and UTF-16, with or without a byte order mark, are certain; else Windows-1252, or
    Latin-1 where a byte has no meaning there. Line ends become ``\\n``.
    """
    encoding = _encoding(data)
    notes: tuple[Problem, ...] = ()
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8-sig":
            raise LabelerError(_damaged(source, encoding, error)) from None
        text, encoding = _guessed(data)
        line = data.count(b"\n", 0, error.start) + 1
        message = f"not UTF-8 from here on; read as {encoding}"
        notes = (Problem(Where(source, line), message, "check ä, ö, ü, µ and Ω, or save as UTF-8", True),)
    return text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\x1a"), notes


def _encoding(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    sample = data[:4096]
    even, odd, half = sample[::2].count(0), sample[1::2].count(0), len(sample) // 2
    if odd > 0.4 * half and even < 0.05 * half:
        return "utf-16-le"
    if even > 0.4 * half and odd < 0.05 * half:
        return "utf-16-be"
    return "utf-8-sig"


def _guessed(data: bytes) -> tuple[str, str]:
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "Latin-1"


def _damaged(source: str, encoding: str, error: UnicodeDecodeError) -> Problem:
    message = f"looks like {encoding.upper()}, but byte {error.start + 1} cannot be read so"
    return Problem(Where(source), message, "save the list again as UTF-8")


def check_lines(lines: Sequence[str], text: str, source: str) -> None:
    """Refuse what is no text, and lines of a length that no list has."""
    problems = []
    if _CONTROL.search(text):
        for number, line in enumerate(lines, 1):
            found = _CONTROL.search(line)
            if found:
                message = f"character {ord(found[0])} at position {found.start() + 1} is no text"
                problems.append(Problem(Where(source, number), message, "save the list as CSV in UTF-8"))
            if len(problems) == SHOWN:
                break
    for number, line in enumerate(lines, 1):
        if len(line) > LONGEST_LINE:
            message = f"the line has {len(line):,} characters, the limit is {LONGEST_LINE:,}"
            problems.append(Problem(Where(source, number), message, "check that line ends were kept"))
    refuse(problems)
