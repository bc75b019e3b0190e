"""Orders of several harness files."""

from dataclasses import replace
from pathlib import Path

import pytest

from labeler.errors import LabelerError
from labeler.job.order import HarnessFile, Order, Output, Units
from labeler.job.printing import print_order
from labeler.record import open_record

WIRE = "Wire,From,From Pin,To,To Pin,Gauge\n{name}1,P1,1,{name}J,1,20 AWG\n{name}2,P1,2,{name}J,2,20 AWG\n"


def order_of(tmp_path: Path, *serials: tuple[str | None, ...]) -> Order:
    """Return an order of as many small lists as there are tuples of serials."""
    units = []
    for name, wanted in zip("AB", serials, strict=False):
        file = tmp_path / f"loom-{name}.csv"
        file.write_text(WIRE.format(name=name))
        units.append(Units(HarnessFile(str(file)), wanted))
    return Order(tuple(units), Output(tmp_path / "out"), date="2026-11-27")


def test_harness_files_that_share_sheets_are_one_run_on_as_few_sheets(tmp_path: Path) -> None:
    order = order_of(tmp_path, (None, None), (None,))
    with open_record(tmp_path / "r.sqlite") as record:
        (run,) = tuple(print_order(replace(order, sharing="by unit"), record))
        assert [(one.job.harness, one.job.unit) for one in run] == [
            ("loom-A", "0001"),
            ("loom-A", "0002"),
            ("loom-B", "0001"),
        ]
        assert [job.state for job in record.run(run[0].job.id)] == ["printed"] * 3
        wraps = [[s.number for s in one.sheets if s.stock.marker == "wrap"] for one in run]
        assert wraps[0] == wraps[1] == wraps[2]  # four wire ends of each unit, all on one sheet
        assert len(wraps[0]) == 1
    names = [file.name for file in run[0].files]
    assert names[:3] == [f"loom-{unit}-bench-sheet.pdf" for unit in ("A-0001", "A-0002", "B-0001")]
    assert all(name.startswith("loom-A-0001-to-loom-B-0001-") for name in names[3:])
    assert all(file.is_file() for file in run[0].files)


def test_harness_files_with_sheets_of_their_own_are_a_run_for_each_unit(tmp_path: Path) -> None:
    order = order_of(tmp_path, (None,), ("7",))
    with open_record(tmp_path / "r.sqlite") as record:
        runs = list(print_order(order, record))
        assert [(one.job.harness, one.job.unit) for run in runs for one in run] == [("loom-A", "0001"), ("loom-B", "7")]
        assert [len(record.run(run[0].job.id)) for run in runs] == [1, 1]


def test_what_would_stop_a_later_unit_stops_the_first(tmp_path: Path) -> None:
    order = order_of(tmp_path, (None,), ("7",))
    there = tmp_path / "out" / "loom-B-7-bench-sheet.pdf"
    there.parent.mkdir()
    there.write_text("somebody's")
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match="loom-B-7-bench-sheet"):
            list(print_order(order, record))
        assert record.jobs() == ()
    assert [file.name for file in there.parent.iterdir()] == [there.name]
