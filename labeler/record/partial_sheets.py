"""Sheets that are partly used: the cells of each stock's last sheet that are gone, so that the next print goes on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from labeler.record.schema import job, job_event, partly_used


def add_used(connection: Connection, job_id: int, left: Mapping[str, Sequence[str]]) -> None:
    """Add, for every stock of a job, the cells of its last sheet that are used; none: that sheet is full."""
    rows = [{"job_id": job_id, "stock": name, "cells": " ".join(cells)} for name, cells in left.items()]
    if rows:
        connection.execute(insert(partly_used), rows)


@dataclass(frozen=True, slots=True)
class PartlyUsed:
    """The last sheet of a stock, where it is partly used: the cells that are gone, by which job, and when."""

    stock: str
    cells: tuple[str, ...]
    job: int
    at: str


def partly_used_sheets(connection: Connection) -> tuple[PartlyUsed, ...]:
    """Return the last sheet of every stock that has cells left, in the order in which they were last printed on.

    Those of a job that was broken off count until it is withdrawn.
    """
    c = partly_used.c
    gone = select(job_event.c.job_id).where(job_event.c.state == "withdrawn")
    asked = select(c.stock, c.cells, job.c.id, job.c.at).join(job, job.c.id == c.job_id)
    rows = connection.execute(asked.where(c.job_id.not_in(gone)).order_by(c.id)).all()
    latest: dict[str, PartlyUsed] = {}
    for stock, cells, number, at in rows:
        latest.pop(stock, None)
        latest[stock] = PartlyUsed(stock, tuple(cells.split()), number, at)
    return tuple(sheet for sheet in latest.values() if sheet.cells)


def used_by(connection: Connection, job_id: int) -> dict[str, tuple[str, ...]]:
    """Return what a job leaves used, stock by stock; no cell: that sheet is full."""
    c = partly_used.c
    rows = connection.execute(select(c.stock, c.cells).where(c.job_id == job_id).order_by(c.id)).all()
    return {stock: tuple(cells.split()) for stock, cells in rows}
