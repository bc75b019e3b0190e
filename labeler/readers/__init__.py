"""Reading: a harness file or a wire list → `Harness`, or every problem in it at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse
from labeler.files import file_bytes, input_bytes
from labeler.model import Settings
from labeler.readers.columnmap import draft_map, load_map, mapped_table
from labeler.readers.import_report import (
    AS_IT_STANDS,
    Account,
    Given,
    Read,
    Wanted,
    counts_of,
    recoloured,
    refuse_unused,
)
from labeler.readers.lists import read_list
from labeler.readers.table import decoded, is_workbook, is_xml
from labeler.readers.toml import read_toml
from labeler.readers.values import setting, with_settings
from labeler.readers.written import harness_toml
from labeler.tables.catalogue import Catalogue, setting_specs
from labeler.tables.document import unknown

if TYPE_CHECKING:
    from labeler.readers.export import Export
    from labeler.readers.xml import Document

__all__ = ["AS_IT_STANDS", "Read", "Wanted", "draft_of", "harness_toml", "overrides", "read_file"]

LISTS = (".csv", ".tsv", ".txt")
# First bytes of files that people try, and what to do with them.
FOREIGN = {
    b"PK\x03\x04": ("is an archive", "unpack it, and give the file with the harness or the list"),
    b"\xd0\xcf\x11\xe0": ("is a workbook of an old form", "save the sheet as CSV"),
    b"%PDF": ("is a PDF", "give the list it was made from"),
}
_TABLE = re.compile(rb"^[ \t]*\[\[?[ \t]*[\w\"'-]+[ \t]*[\].]", re.M)


def read_file(
    path: Path | str,
    catalogue: Catalogue,
    defaults: Settings,
    settings: Mapping[str, str] | None = None,
    wanted: Wanted = AS_IT_STANDS,
) -> Read:
    """Return the harness in a file, or in standard input where ``path`` is ``-``, and what was understood.

    The form is told by the ending, else by what is in the file. ``settings`` are overrides of the ``defaults`` and of
    the file's own by key, checked as strictly as the file's; ``wanted`` is what the user chose where a file leaves
    something open.

    Raises WrongUse for an override or a choice that cannot be, LabelerError where nothing can be read.
    """
    changes = overrides(settings or {})
    data, source = _bytes_of(path)
    piped, file = str(path) == "-", Path(path)
    base = with_settings(defaults, changes)
    given = Given(data, source, "harness" if piped else file.stem, base, catalogue, wanted)
    if is_workbook(data):
        read = _workbook(given)
    elif is_xml(data):
        read = _export(given)
    elif is_toml(_own(data, source), "" if piped else file.suffix):
        refuse_unused(wanted, "harness file", source)
        harness = read_toml(data, source, None if piped else file.parent, defaults, changes, catalogue)
        read = Read(harness, Account("harness file (TOML)", "", counts_of(harness)))
    else:
        refuse_unused(wanted, "list", source)
        table = mapped_table(*decoded(data, source), source, load_map(wanted.column_map))
        read = read_list(table, given)
    read = replace(read, harness=replace(read.harness, **wanted.title)) if wanted.title else read
    return recoloured(read, wanted.colour_code) if wanted.colour_code else read


def _bytes_of(path: Path | str) -> tuple[bytes, str]:
    """Return what is in a file, or comes by standard input, and how places call it."""
    return (input_bytes(), "standard input") if str(path) == "-" else (file_bytes(Path(path)), Path(path).name)


def _own(data: bytes, source: str) -> bytes:
    """Return the bytes; raises LabelerError for those of files that people try."""
    for start, (message, fix) in FOREIGN.items():
        if data.startswith(start):
            raise LabelerError(Problem(SourceLocation(source), message, fix))
    return data


def _export(given: Given) -> Read:
    from labeler.readers.export import assembled
    from labeler.readers.xml import parse

    refuse_unused(given.wanted, "export", given.source)
    return assembled(export_of(parse(given.data, given.source), given.wanted.harness), given)


def export_of(document: Document, harness: str = "") -> Export:
    """Return what a harness CAD export says, of several harnesses the named one; raises LabelerError for other XML."""
    root = document.root
    if root.tag in ("KBL_container", "KBL_schema"):
        from labeler.readers.kbl import read_kbl

        if harness:
            raise WrongUse(Problem(SourceLocation("--harness"), "a KBL holds one harness", "leave it out"))
        return read_kbl(document)
    if root.tag == "VecContent":
        from labeler.readers.vec import read_vec

        return read_vec(document, harness)
    message = f"XML whose root is {root.tag!r}; KBL and VEC are read"
    raise LabelerError(Problem(document.where(root), message, "export it as KBL 2.4 or VEC, or as a wire list"))


def _workbook(given: Given) -> Read:
    from labeler.readers.workbook import read_sheet

    refuse_unused(given.wanted, "workbook", given.source)
    columns = load_map(given.wanted.column_map)
    sheet = read_sheet(given.data, given.source, given.wanted.worksheet or (columns.sheet if columns else ""))
    place = f"{given.source}/{sheet.name}"
    table = mapped_table(sheet.text, sheet.notes, place, columns, tabbed=True)
    return read_list(table, replace(given, source=place, sheet=sheet.name))


def draft_of(path: Path | str, wanted: Wanted = AS_IT_STANDS) -> str:
    """Return a column map for the list in a file, to be filled in; raises LabelerError where it is none."""
    data, source = _bytes_of(path)
    if is_workbook(data):
        from labeler.readers.workbook import read_sheet

        sheet = read_sheet(data, source, wanted.worksheet)
        return draft_map(sheet.text, source, sheet.name)
    return draft_map(decoded(_own(data, source), source)[0], source)


def overrides(settings: Mapping[str, str]) -> dict[str, Any]:
    """Return overrides checked by kind and limit; raises WrongUse with every one that is wrong."""
    choices = setting_specs()
    where = SourceLocation("--set")
    problems, found = [], {}
    for key, value in settings.items():
        try:
            if key in choices:
                found[key] = setting(choices[key], value)
            else:
                problems.append(Problem(where, f"unknown key {key!r}", unknown(key, choices)))
        except ValueError as error:
            problems.append(Problem(where, f"{key}: {error}"))
    if problems:
        raise WrongUse(*problems)
    return found


def is_toml(data: bytes, ending: str) -> bool:
    """Return whether to read as TOML: by the ending, else whether a line opens a table."""
    ending = ending.casefold()
    return ending == ".toml" or (ending not in LISTS and bool(_TABLE.search(data)))
