"""Sheets that are partly used: which cells of each stock's last sheet are gone, so that the next print goes on there.

A row is added with each print; the latest of a stock whose job was not withdrawn is what holds. The
table is made when it is first needed: records of before it stay readable.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from sqlalchemy import Column, Integer, MetaData, Table, Text, insert, inspect, select

from labeler.record import schema
from labeler.record.causes import told

if TYPE_CHECKING:
    from labeler.record.store import Record

partly_used = Table(
    "partly_used",
    MetaData(),
    Column("id", Integer, primary_key=True),
    Column("job_id", Integer, nullable=False),
    Column("stock", Text, nullable=False),
    Column("cells", Text, nullable=False),  # names, separated by blanks; "": the sheet is full
)


def keep_used(record: Record, job_id: int, left: Mapping[str, Sequence[str]]) -> None:
    """Record, for every stock of a job, the cells of its last sheet that are used; none: that sheet is full."""
    if not left:
        return
    with told(record.name), record.engine.execution_options(writing=True).begin() as connection:
        partly_used.create(connection, checkfirst=True)
        rows = [{"job_id": job_id, "stock": name, "cells": " ".join(cells)} for name, cells in left.items()]
        connection.execute(insert(partly_used), rows)


def used_cells(record: Record) -> dict[str, tuple[str, ...]]:
    """Return, for every stock with a sheet that is partly used, the cells of it that are gone."""
    with told(record.name), record.engine.begin() as connection:
        if not inspect(connection).has_table(partly_used.name):
            return {}
        event = schema.job_event.c
        gone = select(event.job_id).where(event.state == "withdrawn")
        c = partly_used.c
        rows = connection.execute(select(c.stock, c.cells).where(c.job_id.not_in(gone)).order_by(c.id)).all()
    latest = {stock: tuple(cells.split()) for stock, cells in rows}
    return {stock: cells for stock, cells in latest.items() if cells}
