"""Sheets that are partly used: the cells of each stock's last sheet that are gone, so that the next print goes on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sqlalchemy import Connection, insert, select

from labeler.record.causes import told
from labeler.record.schema import job_event, partly_used

if TYPE_CHECKING:
    from labeler.record.store import Record


def add_used(connection: Connection, job_id: int, left: Mapping[str, Sequence[str]]) -> None:
    """Add, for every stock of a job, the cells of its last sheet that are used; none: that sheet is full."""
    rows = [{"job_id": job_id, "stock": name, "cells": " ".join(cells)} for name, cells in left.items()]
    if rows:
        connection.execute(insert(partly_used), rows)


def used_cells(record: Record) -> dict[str, tuple[str, ...]]:
    """Return, for every stock with a sheet that is partly used, the cells of it that are gone.

    Those of a job that was broken off count until it is withdrawn.
    """
    c = partly_used.c
    gone = select(job_event.c.job_id).where(job_event.c.state == "withdrawn")
    with told(record.name), record.engine.begin() as connection:
        rows = connection.execute(select(c.stock, c.cells).where(c.job_id.not_in(gone)).order_by(c.id)).all()
    latest = {stock: tuple(cells.split()) for stock, cells in rows}
    return {stock: cells for stock, cells in latest.items() if cells}


def used_by(record: Record, job_id: int) -> dict[str, tuple[str, ...]]:
    """Return what a job leaves used, stock by stock; no cell: that sheet is full."""
    c = partly_used.c
    with told(record.name), record.engine.begin() as connection:
        rows = connection.execute(select(c.stock, c.cells).where(c.job_id == job_id).order_by(c.id)).all()
    return {stock: tuple(cells.split()) for stock, cells in rows}
