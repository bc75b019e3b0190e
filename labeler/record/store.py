"""The record as its users see it: each method is one transaction, and adds rows or reads them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.record import find, jobs, partial_sheets, schema, transfer, verify, write
from labeler.record.connect import name_of, reading
from labeler.record.database import told
from labeler.record.faces import face_to_text
from labeler.record.find import Near, near_to
from labeler.record.values import Event, Job, NewJob, NewReprint, Recorded, Story, Unit, changed_fonts

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

    from labeler.model import Face, Harness, Piece, Sheet


class Record:
    """What was printed, for which unit, exactly. Made by `labeler.record.open_record`.

    Any error of the database reaches the caller as a LabelerError with one problem.
    A method that writes writes everything or nothing.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._reader = reading(engine)
        self.name = name_of(engine.url)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self.engine.dispose()

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with told(self.name), self._reader.begin() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with told(self.name), self.engine.execution_options(writing=True).begin() as connection:
            yield connection

    # ------------------------------------------------------------ partial sheets

    def partly_used_sheets(self) -> tuple[partial_sheets.PartlyUsed, ...]:
        """Return the last sheet of every stock that has cells left, in the order in which they were last printed on."""
        with self._reading() as connection:
            return partial_sheets.partly_used_sheets(connection)

    def used_cells(self) -> dict[str, tuple[str, ...]]:
        """Return, for every stock with a sheet that is partly used, the cells of it that are gone."""
        return {sheet.stock: sheet.cells for sheet in self.partly_used_sheets()}

    def used_by(self, job_id: int) -> dict[str, tuple[str, ...]]:
        """Return what a job leaves used, stock by stock; no cell: that sheet is full."""
        with self._reading() as connection:
            return partial_sheets.used_by(connection, job_id)

    # ------------------------------------------------------------ adding

    def reserve_serial(self, harness: Harness, wanted: str | None = None) -> str:
        """Return a serial that no other unit of this part number has: the next number, or the wanted one.

        A reservation that is never printed does no harm: its number is not given out again, though
        it may be asked for by name. Raises LabelerError for a wanted serial that was printed.
        """
        with self._writing() as connection:
            return write.take_serial(connection, harness, wanted)[1]

    def serial_to_come(self, harness: Harness) -> str:
        """Return the serial that would be given now; another bench may be given it first."""
        with self._reading() as connection:
            return write.next_serial(connection, write.part_number_of(harness))

    def serial_clashes(self, harness: Harness, serials: Iterable[str]) -> tuple[Problem, ...]:
        """Return why units of these serials could not be printed now: they were, or read like others."""
        with self._reading() as connection:
            return tuple(write.serial_clashes(connection, harness, serials))

    def prepare(self, new: NewJob) -> Job:
        """Record a print before its sheets are handed over.

        Faces and places are kept to the nanometre: draw `canonical_sheet`s and what is drawn is
        what is kept. Raises LabelerError for a unit that was printed before, for a marker that is
        not described and for a font without a digest.
        """
        return self.prepare_run((new,))[0]

    def prepare_run(self, new: Sequence[NewJob], left: Mapping[str, Sequence[str]] | None = None) -> tuple[Job, ...]:
        """Record prints that share their sheets, as `prepare` does one: what is on sheets of one number is on one.

        ``left``: the cells that are used of each stock's last sheet, none where that is full.
        """
        with self._writing() as connection:
            run = write.new_uid()
            ids = [write.prepare(connection, one, run) for one in new]
            partial_sheets.add_used(connection, ids[-1], left or {})
            return jobs.job_list(connection, schema.job.c.id.in_(ids))

    def prepare_reprint(
        self,
        items: Sequence[Recorded],
        sheets: Sequence[Sheet],
        *,
        fonts: Mapping[str, str],
        reason: str,
        who: str = "",
        version: str = "",
        date: str = "",
        paper: str = "",
        printer: str = "",
        numbers: Mapping[str, int] | None = None,
    ) -> Job:
        """Record a reprint of markers of one unit, laid out again on ``sheets``; see `prepare_reprints`."""
        units = (NewReprint(items, sheets, numbers or {}),)
        about = write.JobAbout(who, version, reason, date, paper, printer)
        return self.prepare_reprints(units, fonts, about)[0]

    def prepare_reprints(
        self,
        units: Sequence[NewReprint],
        fonts: Mapping[str, str],
        about: write.JobAbout,
        left: Mapping[str, Sequence[str]] | None = None,
    ) -> tuple[Job, ...]:
        """Record a reprint of markers of units that share their sheets.

        ``fonts`` maps the fonts at hand to the digests of their files; ``left`` is as in `prepare_run`.
        Raises LabelerError, all problems at once, where there is no reason, a font has changed or is missing,
        a face is not the recorded one, an item is on no sheet or never was, or the items of one are of
        several units; and where an item is from a job that was withdrawn.
        """
        refuse(p for one in units for p in _reprint_problems(one.items, one.sheets, fonts, about.reason, one.numbers))
        about = replace(about, reason=about.reason.strip(), run=write.new_uid())
        with self._writing() as connection:
            ids = [
                write.prepare_reprint(
                    connection, max(item.job for item in one.items), one.items, one.sheets, fonts, about
                )
                for one in units
            ]
            partial_sheets.add_used(connection, ids[-1], left or {})
            return jobs.job_list(connection, schema.job.c.id.in_(ids))

    def drawn(self, job_id: int, digests: Mapping[str, str], not_of: write.NotOf | None = None) -> None:
        """Record the SHA-256 of each file of a job and its run by its path, before the files get their places.

        ``not_of`` names for each job of the run those of the files that hold nothing of it.
        """
        with self._writing() as connection:
            write.drawn(connection, job_id, digests, not_of or {})

    def confirm(self, job_id: int, files: Sequence[str] = (), who: str = "", not_of: write.NotOf | None = None) -> Job:
        """Record that the files of a prepared job, and of all that was printed together with it, were handed over.

        ``not_of`` is as in `drawn`. Raises LabelerError if the job is not prepared.
        """
        with self._writing() as connection:
            write.confirm(connection, job_id, files, who, not_of or {})
            return jobs.job_list(connection, schema.job.c.id == job_id)[0]

    def withdraw(self, job_id: int, reason: str, who: str = "") -> Job:
        """Record that a job's sheets were not made or are not used.

        The job stays in the record; its unit may be printed again under the same serial. Raises
        LabelerError if there is no such job, no reason, or it was withdrawn before.
        """
        with self._writing() as connection:
            write.withdraw(connection, job_id, reason.strip(), who)
            return jobs.job_list(connection, schema.job.c.id == job_id)[0]

    def withdraw_prepared(self, job_id: int, reason: str, who: str = "") -> Job:
        """Withdraw a job that was broken off, and all that was to be printed together with it.

        Raises LabelerError as `withdraw`, and where the job was printed.
        """
        with self._writing() as connection:
            write.withdraw_prepared(connection, job_id, reason.strip(), who)
            return jobs.job_list(connection, schema.job.c.id == job_id)[0]

    def void(self, unit: str, marker: str, reason: str, who: str = "") -> None:
        """Declare a marker of a unit void: the print there is must not be used; a reprint may be made.

        Raises LabelerError if there is no reason, no such marker, more than one, or one that is void
        already, was never printed, or is being printed.
        """
        self.void_all(((unit, marker),), reason, who)

    def void_all(
        self, named: Iterable[tuple[str, str]], reason: str, who: str = "", *, sheet: tuple[int, int] | None = None
    ) -> None:
        """Declare several markers void, each given as `void` takes it; all of them or none.

        With ``sheet`` (job, number) only their copies on it are void: what was printed before or again is not.
        """
        with self._writing() as connection:
            meant = [find.one_marker(connection, marker, unit) for unit, marker in named]
            now = [find.as_it_stands(connection, *one, sheet) for one in meant]
            refuse((*write.reason_problems(reason, Where("void")), *write.void_problems(now)))
            for (unit_id, name), copy in zip(meant, now, strict=True):
                place = (copy.job, copy.sheet) if sheet else None
                write.add_void(connection, unit_id, name, who, reason.strip(), of_sheet=place)

    def copies(self, items: Iterable[Recorded], sheet: tuple[int, int]) -> tuple[Recorded, ...]:
        """Return markers with the state of their copies on a sheet (job, number) alone.

        Raises LabelerError for one that is not on it.
        """
        with self._reading() as connection:
            named = [(item.row.id, f"{item.part_number or item.harness} {item.unit}") for item in items]
            meant = [find.one_marker(connection, *one) for one in named]
            return tuple(find.as_it_stands(connection, *one, sheet) for one in meant)

    # ------------------------------------------------------------ looking up

    def find(
        self,
        query: str,
        *,
        unit: str | None = None,
        harness: str | None = None,
        branch: str | None = None,
        sheet: tuple[int, int] | None = None,
    ) -> tuple[Recorded, ...]:
        """Return the markers that the query means, each unit's own, in the order of printing.

        Tried in turn: a marker's id, place ("J4", "B4 J4") or circuit; its branch or connector; a
        part of its text; each with or without a unit before it ("0013 J4"). The first that finds
        anything decides. Capitals do not matter, and no sign has a special meaning. ``unit`` is a
        serial, with or without the part number before it; ``harness`` a part number or a name;
        ``sheet`` is (job, number of the sheet): all that is on it, of other units too.
        """
        with self._reading() as connection:
            return find.search(connection, query, unit_is=unit, harness_is=harness, branch=branch, on_sheet=sheet)

    def near(self, query: str, *, unit: str | None = None, harness: str | None = None) -> Near:
        """Return what may have been meant by a query that `find` meets with nothing."""
        with self._reading() as connection:
            return near_to(connection, query, unit_is=unit, harness_is=harness)

    def markers(self, unit: str) -> tuple[Recorded, ...]:
        """Return every marker of a unit, those that were left out too."""
        return self.find("", unit=unit)

    def history(self, marker: str, unit: str) -> tuple[Event, ...]:
        """Return all that happened to one marker of one unit, oldest first."""
        with self._reading() as connection:
            return find.events(connection, marker, unit)

    def jobs(self) -> tuple[Job, ...]:
        """Return all jobs, oldest first. One that is still "prepared" was broken off before the end."""
        with self._reading() as connection:
            return jobs.job_list(connection)

    def run(self, job_id: int) -> tuple[Job, ...]:
        """Return a job with all that were printed together with it; what they have on a sheet is on one sheet."""
        with self._reading() as connection:
            return jobs.job_list(connection, jobs.run_of(job_id))

    def taken_off_by(self, job_id: int) -> tuple[str, ...]:
        """Return the ids of the markers that a job of a newer revision takes off its unit."""
        with self._reading() as connection:
            return write.taken_off_by(connection, job_id)

    def sheets(self, job_id: int) -> tuple[Sheet, ...]:
        """Return the sheets of a job as they were drawn. Raises LabelerError if there is no such job."""
        with self._reading() as connection:
            write.state_of(connection, job_id)
            return jobs.sheets_of(connection, job_id)

    def digests(self, job_id: int) -> dict[str, str]:
        """Return the SHA-256 of each file of a job by its path; nothing where they were not drawn yet."""
        with self._reading() as connection:
            return jobs.digests_of(connection, job_id)

    def units(self) -> tuple[Unit, ...]:
        """Return all units by part number and serial."""
        with self._reading() as connection:
            return jobs.unit_list(connection)

    def show(self, about: str | int) -> Story:
        """Return the jobs and markers of a unit (a str) or of a job (its number, an int)."""
        with self._reading() as connection:
            return find.story(connection, about)

    # ------------------------------------------------------------ keeping it

    def problems(self) -> tuple[Problem, ...]:
        """Return everything that is wrong in the record: digests, references, states."""
        with self._reading() as connection:
            return tuple(verify.problems_of(connection, self.name))

    def faces(self) -> tuple[Face, ...]:
        """Return every distinct face that was ever drawn and reads back."""
        with self._reading() as connection:
            return tuple(verify.faces_of(connection))

    def fonts(self) -> dict[tuple[str, str], int]:
        """Return every font that was drawn with, by name and digest of its file, and in how many jobs."""
        with self._reading() as connection:
            return verify.fonts_of(connection)

    def export(self, unit: str) -> dict[str, Any]:
        """Return all of a unit as a value that JSON can hold; see `labeler.record.exchange`.

        Raises LabelerError if there is no such unit, or several.
        """
        with self._reading() as connection:
            return transfer.unit_out(connection, unit)

    def take_in(self, exported: object, where: Where) -> transfer.Taken:
        """Add what an exported unit tells and the record does not hold yet; once more adds nothing.

        Raises LabelerError where it does not read, or the unit is another one here; nothing is added then.
        """
        with self._writing() as connection:
            return transfer.unit_in(connection, exported, where)

    def back_up(self, target: Path) -> None:
        """Copy the record, as it is at one moment, into a new SQLite file; others go on using it.

        Raises LabelerError where the file exists or cannot be written.
        """
        with told(self.name):
            transfer.back_up(self._reader, target)


def _reprint_problems(
    items: Sequence[Recorded],
    sheets: Sequence[Sheet],
    fonts: Mapping[str, str],
    reason: str,
    numbers: Mapping[str, int],
) -> Iterator[Problem]:
    if not items:
        raise LabelerError(Problem(Where("reprint"), "no marker was named", "look it up in the record"))
    units = sorted({f"{item.part_number or item.harness} {item.unit}" for item in items})
    where = Where(f"unit {items[0].unit}")
    yield from write.reason_problems(reason, where)
    if len(units) > 1:
        yield Problem(where, f"these markers are of several units: {', '.join(units)}", "reprint unit by unit")
    yield from changed_fonts(items, fonts)
    yield from _face_problems(items, sheets, numbers)


def _face_problems(items: Sequence[Recorded], sheets: Sequence[Sheet], numbers: Mapping[str, int]) -> Iterator[Problem]:
    faces = {item.row.id: face_to_text(item.face) for item in items if item.face is not None}
    placed = [placed.piece for sheet in sheets for placed in sheet.placed]
    for piece in placed:
        if faces.get(piece.marker) != face_to_text(_without_number(piece, numbers)):
            message = "what stands on the new sheet is not what was recorded"
            yield Problem(Where(piece.marker), message, "lay out the recorded face as it is")
    for item in items:
        if item.row.id not in faces:
            fix = "print it as part of a new print"
            yield Problem(Where(item.row.id), f"it was never printed: it is {item.state}", fix)
        elif item.row.id not in {piece.marker for piece in placed}:
            yield Problem(Where(item.row.id), "it stands on no new sheet", "lay out every marker asked for")


def _without_number(piece: Piece, numbers: Mapping[str, int]) -> Face:
    """Return the face without the number of the reprint, where it is to have one."""
    face = piece.face
    if piece.marker in numbers and face.runs and face.runs[-1].text == f"R{numbers[piece.marker]}":
        return replace(face, runs=face.runs[:-1])
    return face
