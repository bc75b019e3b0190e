"""Read: what a file was understood to say, and the same as a harness file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from labeler.errors import LabelerError, Problem
from labeler.job.check import no_collecting
from labeler.readers import draft_of, read_file
from labeler.readers.import_report import AS_IT_STANDS, Read, Wanted
from labeler.readers.written import harness_toml
from labeler.tables.catalogue import default_settings, load_catalogue


@no_collecting()
def understand(file: str, settings: Mapping[str, str] | None = None, wanted: Wanted = AS_IT_STANDS) -> Read:
    """Return what is understood of a file; raises `LabelerError` where nothing is."""
    return read_file(file, load_catalogue(), default_settings(), settings, wanted)


def draft(file: str, wanted: Wanted = AS_IT_STANDS) -> str:
    """Return a column map for a list, filled in as far as its columns can be told; raises `LabelerError`."""
    return draft_of(file, wanted)


def wants_map(error: LabelerError) -> bool:
    """Return whether a column map would help: the headers do not tell the ends."""
    from labeler.readers.table import NoHeader

    return isinstance(error, NoHeader)


def store_text(text: str, path: Path, *, force: bool = False) -> None:
    """Write a text to a file in a folder that is made where it is missing; raises `LabelerError`."""
    from labeler.files import write_all
    from labeler.job.deliver import make_folder

    make_folder(path.parent)
    write_all({path: text.encode()}, force=force)


def store_harness(read: Read, path: Path, *, force: bool = False) -> None:
    """Write what was read as a harness file that reads back the same, whole or not at all; raises `LabelerError`."""
    harness = read.checked()
    remarks = [f"Written by labeler read from {harness.where.source}: {read.account.form}."]
    remarks += [_remark(note) for note in harness.notes]
    remarks += [f"not held here: {line}" for line in read.account.not_imported]
    store_text(harness_toml(harness, default_settings(), remarks), path, force=force)


def _remark(note: Problem) -> str:
    return " ".join(str(note).split())
