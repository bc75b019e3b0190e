"""The record as its users see it: each method is one transaction around a function of its connection."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from pathlib import Path
from types import TracebackType
from typing import Concatenate, ParamSpec, Self, TypeVar

from sqlalchemy import Connection, Engine

from labeler.record import transfer, verify, write
from labeler.record.database import database_problems, name_of, reading, writing
from labeler.record.find import copies_on_sheet, events, extract, search, suggestion
from labeler.record.jobs import (
    digests_of,
    job_list,
    partial_sheet_list,
    removed_markers,
    run_jobs,
    sheets_of,
    unit_list,
)
from labeler.record.values import Job, NewJob, Recorded

Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")


def _reads(query: Callable[Concatenate[Connection, Asked], Answer]) -> Callable[Concatenate[Record, Asked], Answer]:
    """Return a method of `Record` that answers a query; all that it reads is of one moment."""

    @wraps(query)
    def method(record: Record, /, *words: Asked.args, **named: Asked.kwargs) -> Answer:
        with database_problems(record.name), reading(record.engine).begin() as connection:
            return query(connection, *words, **named)

    return method


def _writes(change: Callable[Concatenate[Connection, Asked], Answer]) -> Callable[Concatenate[Record, Asked], Answer]:
    """Return a method of `Record` that makes a change, all of it or nothing; one program does so at a time."""

    @wraps(change)
    def method(record: Record, /, *words: Asked.args, **named: Asked.kwargs) -> Answer:
        with database_problems(record.name), writing(record.engine).begin() as connection:
            return change(connection, *words, **named)

    return method


class Record:
    """What was printed, for which unit, exactly. Made by `labeler.record.open_record`.

    Any error of the database reaches the caller as a LabelerError with one problem. A method takes what the
    function that it names takes after its connection, and returns and raises what that does.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.name = name_of(engine.url)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the connections to the database."""
        self.engine.dispose()

    # ------------------------------------------------------------ adding

    reserve_serial = _writes(write.reserve_serial)
    prepare_run = _writes(write.prepare_run)
    prepare_reprints = _writes(write.prepare_reprints)
    add_digests = _writes(write.add_digests)
    confirm = _writes(write.confirm)
    cancel_job = _writes(write.cancel_job)
    cancel_pending_jobs = _writes(write.cancel_pending_jobs)
    void_all = _writes(write.void_all)
    import_unit = _writes(transfer.import_unit)

    def prepare(self, new: NewJob) -> Job:
        """Record one print by itself, as `prepare_run` does several that share their sheets."""
        return self.prepare_run((new,))[0]

    def void(self, unit: str, marker: str, reason: str, user: str = "") -> None:
        """Declare one marker of a unit void, as `void_all` does several."""
        self.void_all(((unit, marker),), reason, user)

    # ------------------------------------------------------------ looking up

    serial_to_come = _reads(write.next_serial)
    serial_clashes = _reads(write.serial_clashes)
    find = _reads(search)
    suggestion_for = _reads(suggestion)
    show = _reads(extract)
    copies = _reads(copies_on_sheet)
    history = _reads(events)
    jobs = _reads(job_list)
    run = _reads(run_jobs)
    removed_by = _reads(removed_markers)
    sheets = _reads(sheets_of)
    digests = _reads(digests_of)
    units = _reads(unit_list)
    partial_sheets = _reads(partial_sheet_list)

    def markers(self, unit: str) -> tuple[Recorded, ...]:
        """Return every marker of a unit, those that were left out too."""
        return self.find("", unit=unit)

    def used_cells(self) -> dict[str, tuple[str, ...]]:
        """Return the used cells of every stock's partial sheet."""
        return {sheet.stock: sheet.used_cells for sheet in self.partial_sheets()}

    # ------------------------------------------------------------ keeping it

    problems = _reads(verify.problems)
    faces = _reads(verify.faces)
    fonts = _reads(verify.fonts)
    export_unit = _reads(transfer.export_unit)

    def back_up(self, target: Path) -> None:
        """Copy the record, as it is at one moment, into a new SQLite file; others go on using it.

        Raises LabelerError where the file exists or cannot be written.
        """
        with database_problems(self.name):
            transfer.back_up(reading(self.engine), target)
