"""A small job of an invented river survey boat, as it goes into the build record."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from labeler.errors import LabelerError
from labeler.model import Face, Piece, Placed, Run, Sheet, Stock
from labeler.record import open_record
from labeler.record.store import Record
from labeler.record.values import Job, JobAbout, MarkerRow, NewJob, NewReprint, OmittedMarker, Recorded
from tests.make import new_harness

FONTS = {"Boat Sans": "a1" * 32}
BOAT = new_harness("River survey boat, sensors", "RSB-210", "C", text=b"W101,P1:12,J4:2\n" * 20)
WRAPS = Stock("Wraps 25 x 38", "sheet", "wrap", "invented", page_width_mm=210.0, columns=7, rows=7)
TAGS = Stock("Tags 50 x 30", "sheet", "tag", "invented", page_width_mm=210.0, columns=4, rows=9)


def face(text: str, font: str = "Boat Sans") -> Face:
    return Face(25.4, 12.7, (Run(text, font, 2.5, 1.0, 8.5),), repeats=3, repeat_pitch_mm=4.0)


def row(name: str, kind: str, at: str, label: str, circuit: str = "") -> MarkerRow:
    return MarkerRow(name, kind, "any", at, label, branch="B4", circuit=circuit)


def boat_job(serial: str | None = None, **changes: object) -> NewJob:
    """Three pieces on two sheets: two wraps, and a tag that says the serial; a sleeve is left out."""
    rows = [
        row("wire.W101.J4", "wrap", "J4:2", "J4:2 P1:12", "W101"),
        row("wire.W101.P1", "wrap", "P1:12", "P1:12 J4:2", "W101"),
        row("bag.K4", "tag", "K4", f"RSB-210 unit {serial} K4 DEPTH"),
    ]
    pieces = [Piece(r.id, face(r.text), "", "white", r.text) for r in rows]
    wraps = tuple(Placed(p, f"A{n}", 10.0, 250.0 - 38 * n) for n, p in enumerate(pieces[:2], 1))
    tag = Placed(replace(pieces[2], load="punched"), "B1", 60.0, 250.0)
    sheets = (
        Sheet(WRAPS, 1, 210.0, 297.0, "white", wraps),
        Sheet(TAGS, 2, 210.0, 297.0, "white", (tag,)),
    )
    left = OmittedMarker(row("end.B4.J4", "sleeve", "J4", "DEPTH J4"), "does not fit: needs 31 mm")
    job = NewJob(BOAT, sheets, {r.id: r for r in rows}, (left,), FONTS, serial, user="ada", version="0.1")
    return replace(job, **changes)  # type: ignore[arg-type]


def print_unit(record: Record) -> str:
    serial = record.reserve_serial(BOAT)
    job = record.prepare(boat_job(serial))
    record.confirm(job.id, ["boat.pdf"])
    return serial


def prepare_reprint(
    record: Record,
    items: Sequence[Recorded],
    sheets: Sequence[Sheet],
    reason: str,
    who: str = "",
    fonts: Mapping[str, str] = FONTS,
) -> Job:
    (job,) = record.prepare_reprints((NewReprint(items, sheets),), fonts, JobAbout(user=who, reason=reason))
    return job


def lay_out(items: tuple[Recorded, ...], number: int = 1) -> tuple[Sheet, ...]:
    stock = items[0].stock
    assert stock is not None
    placed = tuple(Placed(item.piece(), f"C{n}", 10.0, 20.0 * n) for n, item in enumerate(items, 1))
    return (Sheet(stock, number, 210.0, 297.0, items[0].load, placed),)


def count(record: Record, table: str) -> int:
    with record.engine.connect() as connection:
        return int(connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())


def only_problem(raised: pytest.ExceptionInfo[LabelerError]) -> str:
    problems = raised.value.problems
    assert len(problems) == 1
    assert problems[0].fix
    assert "\n" not in str(problems[0])
    return str(problems[0])


@cache
def printed_units(count: int) -> bytes:
    """Return the file of a record in which so many units are printed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "r.db"
        with open_record(path) as record:
            for _ in range(count):
                print_unit(record)
        return path.read_bytes()


def filled(path: Path, units: int = 3) -> bytes:
    """Put a record with printed units at a path and return what is in its file."""
    path.write_bytes(printed_units(units))
    return printed_units(units)
