"""Everything that adds to the record. A function of a connection works inside one write transaction.

What units share (a stock, a face, a marker, the content of a sheet) is added once, known by the digest of what it says.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from hashlib import sha256
from importlib import import_module
from json.encoder import encode_basestring_ascii as quoted
from operator import itemgetter
from secrets import token_hex
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.model import Face, Harness, Piece, Sheet
from labeler.record import schema
from labeler.record.faces import MILLIONTH, digest_of, face_to_text, rounded, stock_to_text
from labeler.record.find import one_marker
from labeler.record.jobs import (
    COUNTED_DIGITS,
    cancelled_jobs,
    job_list,
    number_of,
    reads_like,
    removed_markers,
    rows_in,
    run_of,
    state_of,
)
from labeler.record.marker_names import normalised
from labeler.record.values import (
    Job,
    JobAbout,
    MarkerRow,
    NewJob,
    NewReprint,
    OmittedMarker,
    Recorded,
    changed_fonts,
)

SERIAL_DIGITS = 4  # "0001": project choice, ten thousand units sort as text
LONGEST_SERIAL = 40  # has to stand on a tag: project choice
Line = tuple[Any, ...]  # a row, in the order of its table's columns


def now() -> str:
    """Return the time, UTC, as the record writes it: 2026-03-01T08:15:30.250Z."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def new_uid() -> str:
    """Return a name that no other job and no other void has, in this record or another."""
    return token_hex(16)


# ---------------------------------------------------------------- units


def part_number_of(harness: Harness) -> str:
    """Return the number under which serials are counted: the part number, or else the name."""
    return harness.part_number or harness.name


def reserve_serial(connection: Connection, harness: Harness, wanted: str | None = None) -> str:
    """Return a serial that no other unit of this part number has: the next number, or the wanted one.

    A reservation that is never printed does no harm: its number is not given out again, though
    it may be asked for by name. Raises LabelerError for a wanted serial that was printed, reads like
    another one, or is no serial.
    """
    return _unit_for(connection, harness, wanted)[1]


def _unit_for(connection: Connection, harness: Harness, wanted: str | None) -> tuple[int, str]:
    """Return number and serial of a new unit, or of the wanted one if it was never printed; see `reserve_serial`."""
    part_number = part_number_of(harness)
    if wanted is None:
        serial = next_serial(connection, harness)
    else:
        serial = " ".join(wanted.split())
        refuse(serial_problems(serial))
        found = _unit_like(connection, part_number, serial)
        if found is not None:
            refuse(_clash(connection, found, part_number, serial))
            return found.id, serial
    return add_unit(connection, part_number, serial, now()), serial


def add_unit(connection: Connection, part_number: str, serial: str, time: str) -> int:
    """Add a unit and return its number in the record."""
    names = {"name": normalised(serial), "full_name": normalised(f"{part_number} {serial}")}
    row = {"part_number": part_number, "serial": serial, "number": number_of(serial), "time": time, **names}
    return added(connection, schema.unit, row)


def next_serial(connection: Connection, harness: Harness) -> str:
    """Return the serial that would be given now; another bench may be given it first.

    Raises LabelerError where the next one would have more digits than are counted.
    """
    c, part_number = schema.unit.c, part_number_of(harness)
    last = connection.scalar(select(func.max(c.number)).where(c.part_number == part_number))
    serial = f"{(last or 0) + 1:0{SERIAL_DIGITS}d}"
    if number_of(serial) is None:
        message = f"the highest serial is {last}, serials are counted up to {COUNTED_DIGITS} digits"
        raise LabelerError(Problem(SourceLocation(part_number), message, "name the next serial (--unit)"))
    return serial


def serial_problems(serial: str) -> Iterator[Problem]:
    """Yield what is wrong with a serial before any is taken."""
    if not serial:
        yield Problem(SourceLocation("serial"), "the serial is empty", "leave it out to get the next number")
    if len(serial) > LONGEST_SERIAL:
        message = f"the serial has {len(serial)} characters, the limit is {LONGEST_SERIAL}"
        yield Problem(SourceLocation("serial"), message, "use a shorter one")
    if not serial.isprintable():
        yield Problem(SourceLocation("serial"), f"the serial {serial!r} has unprintable characters", "remove them")


def _unit_like(connection: Connection, part_number: str, serial: str) -> Any:
    c = schema.unit.c
    return connection.execute(select(c.id, c.serial).where(reads_like(part_number, serial))).first()


def serial_clashes(connection: Connection, harness: Harness, serials: Iterable[str]) -> tuple[Problem, ...]:
    """Return why units of these serials could not be printed now: they were, or read like others."""
    part_number = part_number_of(harness)
    asked = [" ".join(serial.split()) for serial in serials]
    known = [(_unit_like(connection, part_number, serial), serial) for serial in asked]
    return tuple(p for found, serial in known if found for p in _clash(connection, found, part_number, serial))


def _clash(connection: Connection, found: Any, part_number: str, serial: str) -> Iterator[Problem]:
    where = SourceLocation(f"{part_number} {serial}")
    prints = live_prints(connection, found.id)
    if found.serial != serial:
        message = f"the serial {serial} reads like {found.serial}, which was given before"
        yield Problem(where, message, "leave the serial out to get the next number")
    elif prints and state_of(connection, prints[0].id) == "pending":
        number, day = prints[0].id, prints[0].time[:10]
        what = f"job {number} of {day} is printing the unit, or was broken off"
        fix = f"finish it (labeler record finish {number}) or cancel it (labeler record cancel {number})"
        yield Problem(where, what, fix)
    elif prints:
        fix = "reprint what is missing, or leave the serial out to get the next number"
        yield Problem(where, f"the unit was printed by job {prints[0].id} on {prints[0].time[:10]}", fix)


def live_prints(connection: Connection, unit_id: int) -> Sequence[Any]:
    """Return number and time of the jobs that printed a unit as new and were not cancelled: one, or none."""
    c = schema.job.c
    of_unit = (c.unit_id == unit_id, c.kind == "print", c.id.not_in(cancelled_jobs()))
    return connection.execute(select(c.id, c.time).where(*of_unit).order_by(c.id)).all()


# ---------------------------------------------------------------- jobs


def prepare_run(
    connection: Connection, new: Sequence[NewJob], left: Mapping[str, Sequence[str]] | None = None
) -> tuple[Job, ...]:
    """Record prints that share their sheets, before these are handed over: what is on sheets of one number is on one.

    Faces and places are kept to the nanometre: draw `canonical_sheet`s and what is drawn is what is
    kept. ``left``: the cells that are used of each stock's last sheet, none where that is full.
    Raises LabelerError for a unit that was printed before, for a marker that is not described, for a
    font without a digest, and where there is nothing to record.
    """
    run = new_uid()
    ids = [_prepare_print(connection, one, run) for one in new]
    add_used_cells(connection, ids[-1], left or {})
    return job_list(connection, schema.job.c.id.in_(ids))


def _prepare_print(connection: Connection, new: NewJob, run: str) -> int:
    refuse(_new_job_problems(new))
    if new.revises:
        refuse(_cancelled_problems(connection, {new.revises}))
        c = schema.job.c
        unit_id = connection.execute(select(c.unit_id).where(c.id == new.revises)).scalar_one()
    else:
        unit_id, _ = _unit_for(connection, new.harness, new.serial)
    digest = sha256(new.harness.text).hexdigest()
    key = {**{name: getattr(new.harness, name) for name in ("name", "part_number", "revision")}, "sha256": digest}
    known = harness_id(connection, key, lambda: zlib.compress(new.harness.text, 3))
    of = {"kind": "revision" if new.revises else "print", "unit_id": unit_id, "harness_id": known, "run": run}
    job_id = _add_job(connection, {**of, "repeats_job": new.revises or None}, new, new.removed)
    _keep(connection, job_id, new.sheets, new.markers, new.omitted, new.fonts)
    return job_id


def _new_job_problems(new: NewJob) -> Iterator[Problem]:
    where = SourceLocation(new.harness.name)
    if not (new.sheets or new.markers or new.omitted or new.removed):
        yield Problem(where, "there is nothing to record: no sheet and no marker", "check the harness file")
    placed = {piece.piece.marker for sheet in new.sheets for piece in sheet.placed}
    for marker in sorted(placed - new.markers.keys()):
        yield Problem(where, f"{marker} stands on a sheet and is not described", "describe every marker")
    for left in new.omitted:
        if left.row.id in placed:
            yield Problem(where, f"{left.row.id} is omitted and stands on a sheet", "settle which it is")
    for font in sorted(_fonts_in(new.sheets) - new.fonts.keys()):
        yield Problem(where, f'the font "{font}" has no digest', "give the digest of every font file")


def _cancelled_problems(connection: Connection, jobs: Iterable[int]) -> Iterator[Problem]:
    for job_id in sorted(jobs):
        if state_of(connection, job_id) == "cancelled":
            fix = "reprint from the print that took its place, or print the unit"
            yield Problem(SourceLocation(f"job {job_id}"), "it was cancelled: what it printed does not count", fix)


def harness_id(connection: Connection, key: Mapping[str, str], packed: Callable[[], bytes]) -> int:
    """Return the number of a harness file, known by name, part number, revision and digest; added where it is new."""
    same = [schema.harness.c[name] == value for name, value in key.items()]
    found = connection.scalar(select(schema.harness.c.id).where(*same))
    return int(found) if found is not None else added(connection, schema.harness, {**key, "text": packed()})


def _add_job(connection: Connection, of: Mapping[str, object], about: JobAbout, removed: Sequence[str] = ()) -> int:
    """Add a job: ``of`` says what it is of, its kind, unit, harness, run, and the print that it repeats or changes."""
    texts = {field.name: getattr(about, field.name) for field in fields(JobAbout)}
    job_id = added(connection, schema.job, {**of, **texts, "time": now(), "uid": new_uid()})
    _add_event(connection, job_id, "pending", json.dumps(removed) if removed else "", about.user)
    return job_id


def _add_event(connection: Connection, job_id: int, state: str, note: str, user: str = "") -> None:
    """Add a state to a job; the database refuses a state that it has already."""
    row = {"job_id": job_id, "state": state, "time": now(), "user": user, "note": note}
    connection.execute(insert(schema.job_event), row)


def add_used_cells(connection: Connection, job_id: int, left: Mapping[str, Sequence[str]]) -> None:
    """Add, for every stock of a job, the cells of its last sheet that are used; none: that sheet is full."""
    rows = [{"job_id": job_id, "stock": name, "used_cells": " ".join(cells)} for name, cells in left.items()]
    if rows:
        connection.execute(insert(schema.partial_sheet), rows)


# ---------------------------------------------------------------- reprints


def prepare_reprints(
    connection: Connection,
    units: Sequence[NewReprint],
    fonts: Mapping[str, str],
    about: JobAbout,
    left: Mapping[str, Sequence[str]] | None = None,
) -> tuple[Job, ...]:
    """Record a reprint of markers of units that share their sheets.

    ``fonts`` maps the fonts at hand to the digests of their files; ``left`` is as in `prepare_run`.
    Raises LabelerError, all problems at once, where there is no reason, a font has changed or is missing,
    a face is not the recorded one, an item is on no sheet or never was, or the items of one are of
    several units; and where an item is from a job that was cancelled.
    """
    refuse(problem for one in units for problem in _reprint_problems(one, fonts, about.reason))
    about, run = replace(about, reason=about.reason.strip()), new_uid()
    ids = [_prepare_reprint(connection, one, fonts, about, run) for one in units]
    add_used_cells(connection, ids[-1], left or {})
    return job_list(connection, schema.job.c.id.in_(ids))


def _prepare_reprint(
    connection: Connection, new: NewReprint, fonts: Mapping[str, str], about: JobAbout, run: str
) -> int:
    jobs = {item.job for item in new.items}
    refuse(_cancelled_problems(connection, jobs))
    c = schema.job.c
    last = connection.execute(
        select(c.id, c.unit_id, c.harness_id, c.kind, c.repeats_job).where(c.id == max(jobs))
    ).one()
    of = {"kind": "reprint", "unit_id": last.unit_id, "harness_id": last.harness_id, "run": run}
    repeats_job = last.repeats_job if last.kind == "reprint" else last.id
    job_id = _add_job(connection, {**of, "repeats_job": repeats_job}, about)
    _keep(connection, job_id, new.sheets, {item.row.id: item.row for item in new.items}, (), fonts)
    return job_id


def _reprint_problems(new: NewReprint, fonts: Mapping[str, str], reason: str) -> Iterator[Problem]:
    if not new.items:
        raise LabelerError(Problem(SourceLocation("reprint"), "no marker was named", "look it up in the record"))
    units = sorted({f"{item.part_number or item.harness} {item.unit}" for item in new.items})
    where = SourceLocation(f"unit {new.items[0].unit}")
    yield from _reason_problems(reason, where)
    if len(units) > 1:
        yield Problem(where, f"these markers are of several units: {', '.join(units)}", "reprint unit by unit")
    yield from changed_fonts(new.items, fonts)
    faces = {item.row.id: face_to_text(item.face) for item in new.items if item.face is not None}
    pieces = [placed.piece for sheet in new.sheets for placed in sheet.placed]
    for piece in pieces:
        if faces.get(piece.marker) != face_to_text(_without_number(piece, new.numbers)):
            message = "what stands on the new sheet is not what was recorded"
            yield Problem(SourceLocation(piece.marker), message, "lay out the recorded face as it is")
    on_sheets = {piece.marker for piece in pieces}
    for item in new.items:
        if item.row.id not in faces:
            fix = "print it as part of a new print"
            yield Problem(SourceLocation(item.row.id), f"it was never printed: it is {item.state}", fix)
        elif item.row.id not in on_sheets:
            yield Problem(SourceLocation(item.row.id), "it stands on no new sheet", "lay out every marker asked for")


def _without_number(piece: Piece, numbers: Mapping[str, int]) -> Face:
    """Return the face without the number of the reprint, where it is to have one."""
    face = piece.face
    if piece.marker in numbers and face.runs and face.runs[-1].text == f"R{numbers[piece.marker]}":
        return replace(face, runs=face.runs[:-1])
    return face


# ---------------------------------------------------------------- the states of a job


NotOf = Mapping[int, Collection[str]]
"""Files of a run that hold nothing of a job, by the job's number: the bench sheets of the others."""


def add_digests(connection: Connection, job_id: int, digests: Mapping[str, str], not_of: NotOf | None = None) -> None:
    """Record the SHA-256 of each file of a job and its run by its path, before the files get their places.

    ``not_of`` names for each job of the run those of the files that hold nothing of it. The first time counts.
    """
    c = schema.job_event.c
    run = select(schema.job.c.id).where(run_of(job_id))
    known = set(connection.scalars(select(c.job_id).where(c.job_id.in_(run), c.state != "pending")))
    for one in connection.scalars(run.order_by(schema.job.c.id)).all():
        if one not in known:
            others = (not_of or {}).get(one, ())
            own = {name: digest for name, digest in digests.items() if name not in others}
            _add_event(connection, one, "drawn", json.dumps(own, ensure_ascii=True))


def confirm(
    connection: Connection, job_id: int, files: Sequence[str] = (), user: str = "", not_of: NotOf | None = None
) -> Job:
    """Record that the files of a pending job, and of all that was printed together with it, were handed over.

    What a job takes off its unit is void from then on. ``not_of`` is as in `add_digests`.
    Raises LabelerError if the job is not pending.
    """
    state = state_of(connection, job_id)
    if state != "pending":
        fix = "look at the job; print or reprint what is needed as a new job"
        raise LabelerError(Problem(SourceLocation(f"job {job_id}"), f"it cannot be confirmed: it is {state}", fix))
    for one in _pending_jobs(connection, job_id):
        own = [name for name in files if name not in (not_of or {}).get(one, ())]
        _add_event(connection, one, "printed", json.dumps(own, ensure_ascii=False), user)
        unit_id = connection.execute(select(schema.job.c.unit_id).where(schema.job.c.id == one)).scalar_one()
        for marker in removed_markers(connection, one):
            _add_void(connection, unit_id, marker, user=user, reason=f"removed by job {one}", by_job=one)
    return _job(connection, job_id)


def _pending_jobs(connection: Connection, job_id: int) -> Sequence[int]:
    """Return the jobs of a run that are pending, and neither printed nor cancelled."""
    c, job = schema.job_event.c, schema.job.c
    done = select(c.job_id).where(c.state.in_(("printed", "cancelled")))
    return connection.scalars(select(job.id).where(run_of(job_id), job.id.not_in(done)).order_by(job.id)).all()


def _job(connection: Connection, job_id: int) -> Job:
    return job_list(connection, schema.job.c.id == job_id)[0]


def cancel_job(connection: Connection, job_id: int, reason: str, user: str = "") -> Job:
    """Record that a job's sheets were not made or are not used.

    The job stays in the record; its unit may be printed again under the same serial. Raises
    LabelerError if there is no such job, no reason, or it was cancelled before.
    """
    refuse(_reason_problems(reason, SourceLocation(f"job {job_id}")))
    if state_of(connection, job_id) == "cancelled":
        message = "it was cancelled before"
        raise LabelerError(Problem(SourceLocation(f"job {job_id}"), message, "nothing is left to be done"))
    _add_event(connection, job_id, "cancelled", reason.strip(), user)
    return _job(connection, job_id)


def cancel_pending_jobs(connection: Connection, job_id: int, reason: str, user: str = "") -> Job:
    """Cancel a job that was broken off, and all that was to be printed together with it.

    Raises LabelerError as `cancel_job`, and where the job was printed.
    """
    if state_of(connection, job_id) == "printed":
        fix = f"declare void what must not be used: labeler record void --sheet {job_id}:1"
        raise LabelerError(
            Problem(SourceLocation(f"job {job_id}"), "its sheets were handed over, they may be in use", fix)
        )
    run = _pending_jobs(connection, job_id)
    for one in run if job_id in run else [job_id]:
        cancel_job(connection, one, reason, user)
    return _job(connection, job_id)


def _reason_problems(reason: str, where: SourceLocation) -> Iterator[Problem]:
    if not reason.strip():
        yield Problem(where, "this asks for a reason, and there is none", "say why in a few words")


# ---------------------------------------------------------------- voids


def void_all(
    connection: Connection,
    named: Iterable[tuple[str, str]],
    reason: str,
    user: str = "",
    *,
    sheet: tuple[int, int] | None = None,
) -> None:
    """Declare markers void, each named by unit and marker; all of them or none: these prints must not be used.

    With ``sheet`` (job, number) only their copies on it are void: what was printed before or again is not.
    Raises LabelerError if there is no reason, no such marker, more than one, or one that is void
    already, was never printed, or is being printed.
    """
    meant = [one_marker(connection, marker, unit, sheet) for unit, marker in named]
    refuse((*_reason_problems(reason, SourceLocation("void")), *_void_problems(item for _, item in meant)))
    for unit_id, item in meant:
        copy = {"of_job": item.job, "of_sheet": item.sheet} if sheet else {}
        _add_void(connection, unit_id, item.row.id, user=user, reason=reason.strip(), **copy)


def _void_problems(items: Iterable[Recorded]) -> Iterator[Problem]:
    """Yield why a marker cannot be declared void: there is no print of it that could be used."""
    fixes = {
        "void": "print it again first; nothing is left to be declared",
        "pending": "finish its job first (labeler record finish) or cancel it (labeler record cancel)",
    }
    for item in items:
        if item.state != "printed":
            where = SourceLocation(f"unit {item.unit}, {item.row.id}")
            why = f"job {item.job} is pending" if item.state == "pending" else f"it is {item.state}"
            yield Problem(where, f"it cannot be declared void: {why}", fixes.get(item.state, "it was never printed"))


def _add_void(connection: Connection, unit_id: int, marker: str, **about: str | int) -> None:
    """Add a void, with more of the columns of `schema.void`; a print that is made later is good again."""
    last = connection.scalar(select(func.max(schema.job.c.id))) or 0
    row = {"unit_id": unit_id, "marker": marker, "uid": new_uid(), "time": now(), "after_job": last, **about}
    connection.execute(insert(schema.void), row)


# ---------------------------------------------------------------- what is shared


@dataclass(frozen=True, slots=True)
class Shared:
    """What is known by its digest: the texts of stocks and faces, and the rows of markers without their digest."""

    stocks: Mapping[bytes, str]
    faces: Mapping[bytes, str]
    markers: Mapping[bytes, Line]


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet as it is kept: its number in the job, what it is, and the lines of its pieces. Number 0 is no sheet."""

    number: int
    stock: bytes | None
    width_mm: float
    height_mm: float
    load: str
    lines: tuple[Line, ...]  # digest of the marker, cell, x, y

    @property
    def digest(self) -> bytes:
        """Return the digest by which the content is known."""
        return content_digest((self.stock, self.width_mm, self.height_mm, self.load), self.lines)


def marker_line(row: MarkerRow, group: str, face: bytes | None, omit_reason: str | None) -> Line:
    """Return the row of `schema.marker` without its digest."""
    words = words_of((row.id, row.place, row.branch, row.circuit, row.text))
    about = (row.id, row.kind, row.role, row.place, row.branch, row.circuit, row.text, row.tube, row.colour)
    return (*about, rounded(row.cut_length_mm), row.heating, row.installation, group, face, omit_reason, words)


def words_of(names: tuple[str, ...]) -> str | None:
    """Return a marker's names as they are compared, None where SQL's lower() gives them."""
    return None if "".join(names).isascii() else "\n".join(map(normalised, names))


def marker_digest(line: Line) -> bytes:
    """Return the digest of a marker's row: of all that it says, lengths in whole nanometres."""
    *about, cut, heating, how, group, face, omit_reason, _words = line
    texts = ",".join(map(quoted, (*about, heating, how, group)))
    rest = f'"{face.hex()}"' if face else "null" if omit_reason is None else quoted(omit_reason)
    return digest_of(f"[{texts},{round(cut * MILLIONTH)},{rest}]")


def content_digest(about: tuple[bytes | None, float, float, str], lines: Iterable[Line]) -> bytes:
    """Return the digest of a sheet's content: stock, width, height, group, and its pieces in order."""
    stock, width, height, group = about
    m = MILLIONTH
    pieces = ",".join(
        [f'"{marker.hex()}",{quoted(cell)},{round(x * m)},{round(y * m)}' for marker, cell, x, y in lines]
    )
    name = f'"{stock.hex()}"' if stock else "null"
    return digest_of(f"[{name},{round(width * m)},{round(height * m)},{quoted(group)},{pieces}]")


def _keep(
    connection: Connection,
    job_id: int,
    sheets: Sequence[Sheet],
    markers: Mapping[str, MarkerRow],
    omitted: Sequence[OmittedMarker],
    fonts: Mapping[str, str],
) -> None:
    """Add the sheets of a job and the markers that stand on none."""
    keep_pages(connection, job_id, *_pages(sheets, markers, omitted))
    used = _fonts_in(sheets)
    add(connection, schema.job_font, ((job_id, n, digest) for n, digest in fonts.items() if n in used))
    add(connection, schema.sheet_about, ((job_id, sheet.number, sheet.about) for sheet in sheets if sheet.about))


def _pages(
    sheets: Sequence[Sheet], markers: Mapping[str, MarkerRow], omitted: Sequence[OmittedMarker]
) -> tuple[list[Page], Shared]:
    """Return the sheets as they are kept, with a page for the markers that stand on none, and what they share."""
    stocks = {sheet.stock: stock_to_text(sheet.stock) for sheet in sheets}
    faces: dict[bytes, str] = {}
    lines: dict[bytes, Line] = {}

    def digest_in_lines(row: MarkerRow, group: str = "", face: Face | None = None, reason: str | None = None) -> bytes:
        face_digest = None
        if face is not None:
            text = face_to_text(face)
            face_digest = digest_of(text)
            faces[face_digest] = text
        line = marker_line(row, group, face_digest, reason)
        digest = marker_digest(line)
        lines[digest] = line
        return digest

    pages = []
    for sheet in sheets:
        pieces = []
        for one in sheet.placed:
            digest = digest_in_lines(markers[one.piece.marker], one.piece.load, one.piece.face)
            pieces.append((digest, one.cell, rounded(one.x_mm), rounded(one.y_mm)))
        size = rounded(sheet.width_mm), rounded(sheet.height_mm)
        pages.append(Page(sheet.number, digest_of(stocks[sheet.stock]), *size, sheet.load, tuple(pieces)))
    placed = {one.piece.marker for sheet in sheets for one in sheet.placed}
    gone = {one.row.id: one for one in omitted}
    rest = [digest_in_lines(row) for name, row in markers.items() if name not in placed and name not in gone]
    rest += [digest_in_lines(left.row, reason=left.reason) for left in gone.values()]
    if rest:
        pages.append(Page(0, None, 0.0, 0.0, "", tuple((digest, "", 0.0, 0.0) for digest in rest)))
    return pages, Shared({digest_of(text): text for text in stocks.values()}, faces, lines)


def keep_pages(connection: Connection, job_id: int, pages: Sequence[Page], shared: Shared) -> None:
    """Add what the pages share with others where it is new, and the pages themselves."""
    _add_new(connection, schema.stock, ((digest, text) for digest, text in shared.stocks.items()))
    _add_new(connection, schema.face, ((digest, text) for digest, text in shared.faces.items()))
    _add_new(connection, schema.marker, ((digest, *line) for digest, line in shared.markers.items()))
    digests = [page.digest for page in pages]
    ids = _content_ids(connection, dict(zip(digests, pages, strict=True)))
    add(connection, schema.sheet, [(job_id, p.number, ids[digest]) for p, digest in zip(pages, digests, strict=True)])


def _content_ids(connection: Connection, pages: Mapping[bytes, Page]) -> dict[bytes, int]:
    """Return the numbers of contents in the record, added where they are new: one writes at a time."""
    c = schema.content.c
    known = {row.digest: row.id for row in rows_in(connection, select(c.id, c.digest), c.digest, pages)}
    last = connection.scalar(select(func.max(c.id))) or 0
    new = {digest: last + n for n, digest in enumerate((d for d in pages if d not in known), 1)}
    about = [(n, digest, pages[digest]) for digest, n in new.items()]
    add(connection, schema.content, [(n, d, p.stock, p.width_mm, p.height_mm, p.load) for n, d, p in about])
    lines = [(n, number, *line) for n, _digest, page in about for number, line in enumerate(page.lines)]
    add(connection, schema.piece, lines)
    return {**known, **new}


def _fonts_in(sheets: Iterable[Sheet]) -> set[str]:
    """Return the names of the fonts that are drawn on the sheets."""
    return {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}


# ---------------------------------------------------------------- statements


def added(connection: Connection, table: Table, row: Mapping[str, object]) -> int:
    """Add one row and return its number."""
    key = connection.execute(insert(table), row).inserted_primary_key
    return int(key[0]) if key else 0


def add(connection: Connection, table: Table, lines: Iterable[Line]) -> None:
    """Add rows, each a tuple in the order of the table's columns."""
    _add_many(connection, insert(table), table, list(lines))


def _add_new(connection: Connection, table: Table, lines: Iterable[Line]) -> None:
    """Add the rows that are not there yet, in the order of their digests, which is the table's own."""
    dialect: Any = import_module(f"sqlalchemy.dialects.{connection.dialect.name}")
    ordered = sorted(lines, key=itemgetter(0))
    _add_many(connection, dialect.insert(table).on_conflict_do_nothing(), table, ordered)


def _add_many(connection: Connection, statement: Any, table: Table, lines: list[Line]) -> None:
    """Insert many rows, bound as tuples where the driver takes them: half the time of dictionaries."""
    if not lines:
        return
    names = [column.name for column in table.columns]
    compiled = statement.compile(dialect=connection.dialect, column_keys=names)
    if compiled.positional:
        connection.exec_driver_sql(str(compiled), lines)
    else:
        connection.execute(statement, [dict(zip(names, line, strict=True)) for line in lines])
