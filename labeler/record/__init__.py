"""The build record: what was printed, for which unit, exactly, and the way to print it again.

    with open_record("record.db") as record:
        serial = record.reserve_serial(harness)
        ...                                            # plan, fit and lay out with the serial
        sheets = tuple(canonical_sheet(sheet) for sheet in laid_out)
        job = record.prepare(NewJob(harness, sheets, markers, serial=serial, ...))
        ...                                            # draw the sheets, put the files in their place
        record.confirm(job.id, names_of_the_files)

A job that was prepared and never confirmed was broken off: its sheets may or may not exist.
SQLAlchemy is imported when a record is opened, not before.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from labeler.record.faces import (
    canonical,
    canonical_sheet,
    face_from_text,
    face_to_text,
    stock_from_text,
    stock_to_text,
)
from labeler.record.values import (
    Event,
    Job,
    LeftOut,
    MarkerRow,
    NewJob,
    NewReprint,
    Recorded,
    Story,
    Unit,
    changed_fonts,
    marker_row,
)

if TYPE_CHECKING:
    from labeler.record.store import Record


__all__ = [
    "Event",
    "Job",
    "LeftOut",
    "MarkerRow",
    "NewJob",
    "NewReprint",
    "Recorded",
    "Story",
    "Unit",
    "canonical",
    "canonical_sheet",
    "changed_fonts",
    "face_from_text",
    "face_to_text",
    "marker_row",
    "open_record",
    "stock_from_text",
    "stock_to_text",
]


def open_record(path_or_url: str | os.PathLike[str], *, create: bool = True) -> Record:
    """Open the build record in a file, or at a database URL; a context manager.

    A missing file (and its folder) is made, unless ``create`` is False. Raises LabelerError with
    one problem where the place holds a folder, nothing, a damaged file, something else than a
    record, or a record of a newer schema.
    """
    from labeler.record.connect import open_engine
    from labeler.record.store import Record

    return Record(open_engine(path_or_url, create))
