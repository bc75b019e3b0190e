"""The work list: what to cut, thread on and heat of what is printed again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from labeler.errors import Problem, SourceLocation
from labeler.model import Fit, Harness, Sheet
from labeler.record.values import Job, MarkerRow, Recorded, marker_row
from labeler.tables.colours import colour_name
from labeler.work import wording
from labeler.work.bench_sheet import BenchSheet, Remark, apply_methods, printed_of, safety_messages
from labeler.work.sleeves import (
    NOT_RECORDED,
    Instructions,
    Place,
    SleeveRow,
    as_json,
    cuts_of,
    edges_of,
    from_json,
    heat_methods,
    instructions,
    totals_of,
)


def about_job(job: Job, *others: Job) -> str:
    """Return what a job, and others of its run, repeat and why, for their sheets; "" for a first print."""
    if job.kind != "reprint":
        return job.reason
    now = job.unit_revision
    at = f" at revision {job.revision or 'none'}, the unit is at {now} now" if now not in ("", job.revision) else ""
    jobs = list(dict.fromkeys((job.repeats_job, *(other.repeats_job for other in others))))
    what = f"job {jobs[0]}" if len(jobs) == 1 else f"jobs {_listed(jobs)}"
    return f"reprint of {what}{at}: {job.reason}"


MOST_JOBS = 4  # that a header lists one by one: project choice, it is one line


def _listed(jobs: Sequence[int]) -> str:
    """Return the numbers of jobs, of many the first and the last."""
    return ", ".join(map(str, jobs)) if len(jobs) <= MOST_JOBS else f"{jobs[0]} … {jobs[-1]}"


def work_list(
    job: Job, items: Sequence[Recorded], sheets: Sequence[Sheet], take_off: tuple[Remark, ...] = ()
) -> BenchSheet:
    """Return a bench sheet of what the record knows of some markers: no pins, no pages of branches."""
    rows = [_sleeve_row(item) for item in items if item.row.tube and item.state != "omitted"]
    cuts = cuts_of(rows)
    return BenchSheet(
        harness=job.harness,
        part_number=job.part_number,
        revision=job.revision,
        unit=job.unit,
        date=job.date,
        thread_first=tuple(row for row in rows if row.how.closes),
        thread_later=tuple(row for row in rows if not row.how.closes),
        missing=tuple(_missing(items)),
        cuts=cuts,
        totals=totals_of(cuts, 0.0),
        practices=heat_methods(rows),
        printed=printed_of(sheets),
        layings=apply_methods(sheets),
        safety_messages=safety_messages(),
        put_on=tuple(_put_on(items, sheets)),
        take_off=take_off,
        title="WORK LIST" if job.kind == "reprint" else "BENCH SHEET, from the record: without pins",
        job=str(job.id),
        about=about_job(job),
    )


def _sleeve_row(item: Recorded) -> SleeveRow:
    row = item.row
    lines = (row.text,) if item.face is not None else ()
    colour, heating = colour_name(row.colour) or row.colour, row.heating or NOT_RECORDED
    return SleeveRow(
        row.branch, row.place, lines, row.tube, colour, row.cut_length_mm, from_json(row.installation), heating
    )


def kept_rows(harness: Harness, fits: Iterable[Fit]) -> Iterator[MarkerRow]:
    """Yield what the record keeps of markers: of those on tube also where they come to lie, for a later work list."""
    edges = edges_of(harness)
    for fit in fits:
        yield _kept(fit, instructions(fit, edges.get((fit.marker.branch, fit.marker.place))) if fit.tube else None)


def bare_row(fit: Fit) -> MarkerRow:
    """Return what the record keeps of a marker that is not made: no place of its edge, nothing to spare."""
    return _kept(fit, Instructions(fit.seat.installation) if fit.tube and fit.seat else None)


def _kept(fit: Fit, how: Instructions | None) -> MarkerRow:
    row = marker_row(fit)
    return replace(row, installation=as_json(how)) if how else row


def only_cut(items: Iterable[Recorded]) -> Iterator[Problem]:
    """Yield what to cut for each plain sleeve: all that can be said where nothing else is asked for again."""
    for item in items:
        if item.state == "blank":
            row = _sleeve_row(item)
            where = SourceLocation(f"unit {item.unit}, {item.row.id}, {wording.place(row.place)}")
            cut = f"cut 1 × {row.cut_length_mm:g} mm of {row.tube}, {row.colour}"
            fix = f"{cut}; {wording.instructions(row.how)}"
            yield Problem(where, "a plain sleeve: there is nothing to print", fix)


def _put_on(items: Iterable[Recorded], sheets: Sequence[Sheet]) -> Iterable[Remark]:
    cells = {placed.piece.marker: f"sheet {sheet.number}, {placed.cell}" for sheet in sheets for placed in sheet.placed}
    for item in items:
        if not item.row.tube and item.row.id in cells:
            row, is_wire = item.row, item.row.circuit and item.row.role == "wire end"
            place = f"{row.circuit} at {row.place}" if is_wire else wording.place(Place(row.branch, row.place))
            yield Remark(f"{row.kind} {place}", row.text, cells[row.id], ())


def _missing(items: Iterable[Recorded]) -> Iterable[Remark]:
    for item in items:
        if item.state == "omitted":
            branch = f" {item.row.branch} at" if item.row.branch else ""
            yield Remark(f"{item.row.kind}{branch} {item.row.place}", item.row.text, item.state, (item.reason,))
