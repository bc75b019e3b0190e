"""Reading: a harness file or a wire list → `Harness`, or every problem in it at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, Where, WrongUse
from labeler.files import file_bytes, input_bytes
from labeler.model import Harness, Settings
from labeler.read.columnmap import draft_map, load_map, mapped_table
from labeler.read.export import Export, assembled
from labeler.read.import_report import AS_IT_STANDS, Account, Read, Wanted, counts_of, recoloured, refuse_unused
from labeler.read.kbl import read_kbl
from labeler.read.lists import read_list
from labeler.read.table import decoded, table_of
from labeler.read.toml import read_toml
from labeler.read.values import setting, unknown, with_settings
from labeler.read.vec import read_vec
from labeler.read.workbook import is_workbook, read_sheet
from labeler.read.written import harness_toml
from labeler.read.xml import Document, is_xml, parse
from labeler.tables.catalogue import default_settings, load_choices

__all__ = ["AS_IT_STANDS", "Read", "Wanted", "draft_of", "harness_toml", "overrides", "read_file", "read_harness"]

LISTS = (".csv", ".tsv", ".txt")
# First bytes of files that people try, and what to do with them.
FOREIGN = {
    b"PK\x03\x04": ("is an archive", "unpack it, and give the file with the harness or the list"),
    b"\xd0\xcf\x11\xe0": ("is a workbook of an old form", "save the sheet as CSV"),
    b"%PDF": ("is a PDF", "give the list it was made from"),
}
_TABLE = re.compile(rb"^[ \t]*\[\[?[ \t]*[\w\"'-]+[ \t]*[\].]", re.M)


def read_harness(path: Path | str, settings: Mapping[str, str] | None = None, wanted: Wanted = AS_IT_STANDS) -> Harness:
    """Return the harness in a file, or in standard input where ``path`` is ``-``.

    The form is told by the ending, else by what is in the file. ``settings`` are overrides of the
    file's defaults by key, checked as strictly as the file's own; ``wanted`` is what the user chose
    where a file leaves something open.

    Raises WrongUse for an override or a choice that cannot be, LabelerError with every problem of the file.
    """
    return read_file(path, settings, wanted).checked()


def read_file(path: Path | str, settings: Mapping[str, str] | None = None, wanted: Wanted = AS_IT_STANDS) -> Read:
    """Return the harness in a file and the account of what was understood; see `read_harness`."""
    read = _read(path, overrides(settings or {}), wanted)
    read = replace(read, harness=replace(read.harness, **wanted.title)) if wanted.title else read
    return recoloured(read, wanted.colours) if wanted.colours else read


def _read(path: Path | str, changes: Mapping[str, Any], wanted: Wanted) -> Read:
    piped = str(path) == "-"
    file = Path(path)
    source = "standard input" if piped else file.name
    data = input_bytes() if piped else file_bytes(file)
    base, name = with_settings(default_settings(), changes), "harness" if piped else file.stem
    if is_workbook(data):
        refuse_unused(wanted, "workbook", source)
        return _workbook(data, source, name, base, wanted)
    _refuse_foreign(data, source)
    if is_xml(data):
        refuse_unused(wanted, "export", source)
        return assembled(export_of(parse(data, source), wanted.sheet), source, data, base, wanted)
    if is_toml(data, "" if piped else file.suffix):
        refuse_unused(wanted, "harness file", source)
        harness = read_toml(data, source, None if piped else file.parent, default_settings(), changes)
        return Read(harness, Account("harness file (TOML)", "", counts_of(harness)))
    refuse_unused(wanted, "list", source)
    text, notes = decoded(data, source)
    if wanted.column_map:
        table = mapped_table(text, source, notes, load_map(wanted.column_map), tabbed=False)
    else:
        table = table_of(text, source, notes)
    return read_list(table, data, source, name, base, wanted)


def export_of(document: Document, harness: str = "") -> Export:
    """Return what a harness CAD export says, of several harnesses the named one; raises LabelerError for other XML."""
    root = document.root
    if root.tag in ("KBL_container", "KBL_schema"):
        if harness:
            raise WrongUse(Problem(Where("--sheet"), "a KBL holds one harness", "leave it out"))
        return read_kbl(document)
    if root.tag == "VecContent":
        return read_vec(document, harness)
    message = f"XML whose root is {root.tag!r}; KBL and VEC are read"
    raise LabelerError(Problem(document.where(root), message, "export it as KBL 2.4 or VEC, or as a wire list"))


def _workbook(data: bytes, source: str, name: str, settings: Settings, wanted: Wanted) -> Read:
    columns = load_map(wanted.column_map) if wanted.column_map else None
    sheet = read_sheet(data, source, wanted.sheet or (columns.sheet if columns else ""))
    place = f"{source}/{sheet.name}"
    if columns:
        table = mapped_table(sheet.text, place, sheet.notes, columns, tabbed=True)
    else:
        table = table_of(sheet.text, place, sheet.notes)
    found = read_list(table, data, place, name, settings, wanted)
    form = f"workbook, sheet {sheet.name!r}, {found.account.form.replace(', parted by tab', '')}"
    return replace(found, account=replace(found.account, form=form))


def draft_of(path: Path | str, wanted: Wanted = AS_IT_STANDS) -> str:
    """Return a column map for the list in a file, to be filled in; raises LabelerError where it is none."""
    source = "standard input" if str(path) == "-" else Path(path).name
    data = input_bytes() if str(path) == "-" else file_bytes(Path(path))
    if is_workbook(data):
        sheet = read_sheet(data, source, wanted.sheet)
        return draft_map(sheet.text, source, sheet.name)
    _refuse_foreign(data, source)
    return draft_map(decoded(data, source)[0], source)


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
