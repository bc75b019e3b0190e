"""The work list: what to cut, thread on and heat of what is printed again, from the record alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from labeler.errors import Problem, Where
from labeler.model import Fit, Harness, Sheet
from labeler.tables.colours import colour_name
from labeler.work.bench_sheet import BenchSheet, Remark, cautions, layings_of, printed_of
from labeler.work.sleeves import Step, cuts_of, goes_before, how_on, practices_of, totals_of

if TYPE_CHECKING:
    from labeler.record.values import Job, MarkerRow, Recorded


NOT_RECORDED = "not recorded"  # of a print by a version that did not keep it


def about_job(job: Job, *others: Job) -> str:
    """Return what a job, and others of its run, repeat and why, for their sheets; "" for a first print."""
    if job.kind != "reprint":
        return job.reason
    now = job.unit_revision
    at = f" at revision {job.revision or 'none'}, the unit is at {now} now" if now not in ("", job.revision) else ""
    jobs = list(dict.fromkeys((job.of_job, *(other.of_job for other in others))))
    what = f"job {jobs[0]}" if len(jobs) == 1 else f"jobs {_listed(jobs)}"
    return f"reprint of {what}{at}: {job.reason}"


MOST_JOBS = 4  # that a header lists one by one: project choice, it is one line


def _listed(jobs: Sequence[int]) -> str:
    """Return the numbers of jobs, of many the first and the last."""
    return ", ".join(map(str, jobs)) if len(jobs) <= MOST_JOBS else f"{jobs[0]} … {jobs[-1]}"


def work_list(job: Job, items: Sequence[Recorded], sheets: Sequence[Sheet]) -> BenchSheet:
    """Return a bench sheet of what the record knows of some markers: no pins, no pages of branches."""
    steps = [_step(item) for item in items if item.row.tube and item.state != "left out"]
    cuts = cuts_of(steps)
    return BenchSheet(
        harness=job.harness,
        part_number=job.part_number,
        revision=job.revision,
        unit=job.unit,
        date=job.date,
        thread_first=tuple(step for step in steps if goes_before(step.how)),
        thread_later=tuple(step for step in steps if not goes_before(step.how)),
        missing=tuple(_missing(items)),
        cuts=cuts,
        totals=totals_of(cuts, 0.0),
        practices=practices_of(steps),
        printed=printed_of(sheets),
        layings=layings_of(sheets),
        tight=(),
        cautions=cautions(),
        connectors=(),
        put_on=tuple(_put_on(items, sheets)),
        title="WORK LIST" if job.kind == "reprint" else "BENCH SHEET, from the record: without pins",
        job=str(job.id),
        about=about_job(job),
    )


def _step(item: Recorded) -> Step:
    row = item.row
    lines = (row.label,) if item.face is not None else ()
    colour = colour_name(row.colour) or row.colour
    how, heating = row.how or NOT_RECORDED, row.heating or NOT_RECORDED
    return Step(row.branch, row.at, lines, row.tube, colour, row.cut_length_mm, how, heating)


def kept_rows(harness: Harness, fits: Iterable[Fit]) -> Iterator[MarkerRow]:
    """Yield what the record keeps of markers: of those on tube also where they come to lie, for a later work list."""
    from labeler.record.values import marker_row

    edges = {(branch.id, end.at): end.from_end_mm for branch in harness.branches for end in branch.ends}
    for fit in fits:
        row = marker_row(fit)
        yield row if fit.tube is None else replace(row, how=how_on(fit, edges.get((row.branch, row.at))))


def only_cut(items: Iterable[Recorded]) -> Iterator[Problem]:
    """Yield what to cut for each plain sleeve: all that can be said where nothing else is asked for again."""
    for item in items:
        if item.state == "plain":
            step = _step(item)
            where = Where(f"unit {item.unit}, {item.row.id}, {step.place}")
            cut = f"cut 1 × {step.cut_length_mm:g} mm of {step.tube}, {step.colour}"
            yield Problem(where, "a plain sleeve: there is nothing to print", f"{cut}; {step.how}")


def _put_on(items: Iterable[Recorded], sheets: Sequence[Sheet]) -> Iterable[Remark]:
    cells = {placed.piece.marker: f"sheet {sheet.number}, {placed.cell}" for sheet in sheets for placed in sheet.placed}
    for item in items:
        if not item.row.tube and item.row.id in cells:
            yield Remark(f"{item.row.kind} {_place(item.row)}", item.row.label, cells[item.row.id], ())


def _place(row: MarkerRow) -> str:
    if row.circuit and row.role == "wire end":
        return f"{row.circuit} at {row.at}"
    return f"{row.branch} at {row.at}" if row.branch not in ("", row.at) else row.at


def _missing(items: Iterable[Recorded]) -> Iterable[Remark]:
    for item in items:
        if item.state == "left out":
            place = f"{item.row.kind} {item.row.branch} at {item.row.at}".replace("  at", "")
            yield Remark(place, item.row.label, item.state, (item.reason,))
