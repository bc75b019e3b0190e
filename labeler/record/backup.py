"""A record as it is at one moment, copied into a SQLite file: from another one, or from a server."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, insert, select

from labeler.record import schema
from labeler.record.connect import new_file
from labeler.record.files import copy_to, place_draft

ROWS = 10_000  # carried over at a time


def back_up(engine: Engine, target: Path) -> None:
    """Copy a record into a new file. Raises LabelerError where it exists or cannot be written."""
    if engine.dialect.name == "sqlite":
        copy_to(engine, target)
    else:
        place_draft(target, lambda draft: _copy_rows(engine, draft))


def _copy_rows(engine: Engine, draft: Path) -> None:
    with new_file(draft) as other, engine.begin() as source, other.begin() as made:
        for table in schema.metadata.sorted_tables:
            rows = source.execution_options(yield_per=ROWS).execute(select(table))
            for some in rows.partitions(ROWS):
                if table is not schema.schema_version:
                    made.execute(insert(table), [dict(row._mapping) for row in some])
