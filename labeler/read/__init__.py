"""Reading: a harness file or a wire list → `Harness`, or every problem in it at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from labeler.catalogue import default_settings, load_choices
from labeler.errors import LabelerError, Problem, Where, WrongUse
from labeler.model import Harness
from labeler.read.csv import read_csv
from labeler.read.files import file_bytes, input_bytes
from labeler.read.toml import read_toml
from labeler.read.values import setting, unknown, with_settings

LISTS = (".csv", ".tsv", ".txt")
# First bytes of files that people try, and what to do with them.
FOREIGN = {
    b"PK\x03\x04": ("is a workbook or an archive", "save the sheet as CSV"),
    b"\xd0\xcf\x11\xe0": ("is a workbook of an old form", "save the sheet as CSV"),
    b"%PDF": ("is a PDF", "give the list it was made from"),
    b"<?xml": ("is an XML file", "export the wire list as CSV"),
}
_TABLE = re.compile(rb"^[ \t]*\[\[?[ \t]*[\w\"'-]+[ \t]*[\].]", re.M)


def read_harness(path: Path | str, settings: Mapping[str, str] | None = None) -> Harness:
    """Return the harness in a file, or in standard input where ``path`` is ``-``.

    TOML and wire lists are told apart by the ending, else by what is in them. ``settings`` are
    overrides of the file's defaults by key, checked as strictly as the file's own.

    Raises WrongUse for an override that cannot be, LabelerError with every problem of the file.
    """
    changes = overrides(settings or {})
    piped = str(path) == "-"
    file = Path(path)
    source = "standard input" if piped else file.name
    data = input_bytes() if piped else file_bytes(file)
    _refuse_foreign(data, source)
    if is_toml(data, "" if piped else file.suffix):
        return read_toml(data, source, None if piped else file.parent, default_settings(), changes)
    return read_csv(data, source, "harness" if piped else file.stem, with_settings(default_settings(), changes))


def overrides(settings: Mapping[str, str]) -> dict[str, Any]:
    """Return overrides checked by kind and limit; raises WrongUse with every one that is wrong."""
    choices = load_choices()
    where = Where("--set")
    problems, found = [], {}
    for key, value in settings.items():
        if key not in choices:
            problems.append(Problem(where, f"unknown key {key!r}", unknown(key, choices)))
            continue
        try:
            found[key] = setting(choices[key], value)
        except ValueError as error:
            problems.append(Problem(where, f"{key}: {error}"))
    if problems:
        raise WrongUse(*problems)
    return found


def is_toml(data: bytes, ending: str) -> bool:
    """Return whether to read as TOML: by the ending, else whether a line opens a table."""
    ending = ending.casefold()
    return ending == ".toml" or (ending not in LISTS and bool(_TABLE.search(data)))


def _refuse_foreign(data: bytes, source: str) -> None:
    for start, (message, fix) in FOREIGN.items():
        if data.startswith(start):
            raise LabelerError(Problem(Where(source), message, fix))
