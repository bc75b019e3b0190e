"""Orders in short, for tests: one harness file, and what is asked of it by name."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from labeler.job import check as checking
from labeler.job import reprinting, revising
from labeler.job.order import HarnessFile, Loading, Order, Output, Reprint, Units
from labeler.job.printing import print_order
from labeler.job.run import Printed
from labeler.record.store import Record
from labeler.record.values import Recorded
from labeler.tables.printers import AS_DRAWN, Printer

LOADING = {"paper": "paper", "stock": "stocks", "start": "start", "used": "used", "go_on": "partial_sheets"}


def loading_of(how: dict[str, Any]) -> Loading:
    """Take what is loaded out of named choices."""
    given = {LOADING[name]: how.pop(name) for name in tuple(how) if name in LOADING}
    stocks = given.pop("stocks", ())
    return Loading(stocks=(stocks,) if isinstance(stocks, str) else tuple(stocks), **given)


def output_of(folder: Path, how: dict[str, Any]) -> Output:
    """Take the files and the printer out of named choices."""
    out: Output = how.pop("out", None) or Output(folder)
    printer: Printer = how.pop("printer", AS_DRAWN)
    return replace(out, folder=folder, force=how.pop("force", False), printer=printer)


def file_of(path: str, how: dict[str, Any]) -> HarnessFile:
    """Take how a file is read out of named choices."""
    return HarnessFile(path, how.pop("settings", {}), *([how.pop("wanted")] if "wanted" in how else []))


def check(file: str, **how: Any) -> checking.Checked:
    """Check one harness file."""
    source, load = file_of(file, how), loading_of(how)
    return checking.check(source, load, **how)


def order(file: str, folder: Path, units: Sequence[str | None] = (None,), **how: Any) -> Order:
    """Return an order of one harness file; several units share their sheets unless ``shared`` is False."""
    source = file_of(file, how)
    sharing = "by marker" if how.pop("grouped", False) else "by unit" if len(units) > 1 else ""
    sharing = sharing if how.pop("shared", True) else ""
    names = {"who": "user", "only": "roles", "leave_out": "omit_failed"}
    load, out = loading_of(how), output_of(folder, how)
    if "bench" in how:
        how["short_bench_sheet"] = how.pop("bench") == "short"
    more = {names.get(name, name): value for name, value in how.items()}
    return Order((Units(source, tuple(units)),), out, load, sharing=sharing, **more)


def print_units(file: str, folder: Path, record: Record, **how: Any) -> tuple[Printed, ...]:
    """Print several units on shared sheets."""
    return tuple(one for run in print_order(order(file, folder, **how), record) for one in run)


def print_harness(file: str, folder: Path, record: Record, *, unit: str | None = None, **how: Any) -> Printed:
    """Print one unit."""
    return print_units(file, folder, record, units=(unit,), **how)[0]


def print_changes(file: str, folder: Path, record: Record, *, since: str, unit: str, **how: Any) -> revising.Revised:
    """Print what a newer file changes on one unit."""
    return revising.print_changes(replace(order(file, folder, (unit,), **how), since=since), record)


def reprint_units(record: Record, items: Sequence[Recorded], folder: Path, **how: Any) -> tuple[Printed, ...]:
    """Print recorded markers again."""
    names = {"who": "user", "same_places": "same_cells", "with_numbers": "numbered"}
    load, out = loading_of(how), output_of(folder, how)
    again = Reprint(output=out, loading=load, **{names.get(name, name): value for name, value in how.items()})
    return reprinting.reprint(record, items, again)


def reprint(record: Record, items: Sequence[Recorded], folder: Path, **how: Any) -> Printed:
    """Print recorded markers of one unit again."""
    return reprint_units(record, items, folder, **how)[0]


def resume_run(record: Record, job: int, folder: Path | None = None, **how: Any) -> tuple[Printed, ...]:
    """Finish a job with all that share its sheets."""
    return reprinting.finish_job(record, job, folder, **how)


def resume(record: Record, job: int, folder: Path | None = None, **how: Any) -> Printed:
    """Finish one job."""
    run = reprinting.finish_job(record, job, folder, **how)
    return next(printed for printed in run if printed.job.id == job)
