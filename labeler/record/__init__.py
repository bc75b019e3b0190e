"""The build record: what was printed, for which unit, exactly, and the way to print it again.

    with open_record("record.db") as record:
        serial = record.reserve_serial(harness)
        ...                                            # plan, fit and lay out with the serial
        sheets = tuple(canonical_sheet(sheet) for sheet in laid_out)
        job = record.prepare(NewJob(harness, sheets, markers, serial=serial, ...))
        ...                                            # draw the sheets, put the files in their place
        record.confirm(job.id, names_of_the_files)

A job that is pending was broken off before it was confirmed: its sheets may or may not exist.
The values are in `labeler.record.values`, `canonical_sheet` is in `labeler.record.faces`.
SQLAlchemy is imported when a record is opened, not before.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from labeler.record.store import Record


def open_record(path_or_url: str | os.PathLike[str], *, create: bool = True) -> Record:
    """Open the build record in a file, or at a database URL; a context manager.

    A missing file (and its folder) is made, unless ``create`` is False. Raises LabelerError with
    one problem where the place holds a folder, nothing, a damaged file, something else than a
    record, or a record of another schema.
    """
    from labeler.record.database import open_engine
    from labeler.record.store import Record

    return Record(open_engine(path_or_url, create))


@contextmanager
def copied_record(path_or_url: str, *, create: bool = True) -> Iterator[Record]:
    """Open a copy of a build record, which is deleted at the end: nothing reaches the record itself.

    A missing file gives an empty copy, unless ``create`` is False. The copy has the name of the record.
    Raises LabelerError as `open_record` does.
    """
    from tempfile import TemporaryDirectory

    with TemporaryDirectory(prefix="labeler-") as folder:
        copy = Path(folder) / "record.sqlite"
        name = path_or_url
        if not create or "://" in path_or_url or os.path.lexists(path_or_url):
            with open_record(path_or_url, create=False) as record:
                name = record.name
                record.back_up(copy)
        with open_record(copy) as record:
            record.name = name
            yield record
