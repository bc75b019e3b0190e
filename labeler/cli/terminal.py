"""What the command line says: tables, JSON, what was printed, how far it has come, and an end before its time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from types import FrameType

    from labeler.job.order import Output
    from labeler.job.revising import Difference, Revised
    from labeler.job.run import Printed
    from labeler.record.store import Record
    from labeler.record.values import MarkerRow, Recorded


Table = tuple[tuple[str, ...], list[tuple[str, ...]]]  # headings, rows
REPORTS = "labeler.reports"
"""Under this name a context of click holds what is reported: ``quiet`` or ``verbose``."""


def choose_reports(ctx: click.Context, parameter: click.Parameter, chosen: bool) -> None:
    """Note what --quiet or --verbose says. Raises `click.UsageError` where both are given."""
    if chosen and ctx.meta.setdefault(REPORTS, parameter.name) != parameter.name:
        raise click.UsageError("give one of --quiet and --verbose")


def _reports(level: str) -> bool:
    context = click.get_current_context(silent=True)
    return context is not None and context.meta.get(REPORTS) == level


def report(line: str) -> None:
    """Print what was done on standard error, unless --quiet is given."""
    if not _reports("quiet"):
        click.echo(line, err=True)


def report_lines(lines: Iterable[object]) -> None:
    """Print lines on standard error, unless --quiet is given."""
    for line in lines:
        report(str(line))


def report_step(line: str) -> None:
    """Print what is about to be done on standard error, if --verbose is given."""
    if _reports("verbose"):
        click.echo(line, err=True)


PATIENCE_S = 1.0  # what takes longer shows how far it has come


def shown_progress(items: Sequence[Any], words: str) -> Iterable[Any]:
    """Yield what is given; on a terminal a bar shows how far it has come, once that has taken a second."""
    import sys
    from time import monotonic

    report_step(f"{words}: {len(items)}")
    if not sys.stderr.isatty() or len(items) < 2 or _reports("quiet"):
        yield from items
        return
    begun, rest = monotonic(), iter(items)
    done = 0
    for item in rest:
        yield item
        done += 1
        if monotonic() - begun > PATIENCE_S:
            break
    if done < len(items):
        with click.progressbar(rest, length=len(items), label=words, file=sys.stderr) as bar:
            bar.update(done)
            yield from bar


@contextmanager
def ended_as_interrupted() -> Iterator[None]:
    """Treat the end that a system or a closed terminal asks for as Ctrl-C: the unfinished job is cancelled."""
    import signal
    import threading

    ends = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    if threading.current_thread() is not threading.main_thread():  # only there are signals met
        yield
        return

    def interrupt(number: int, frame: FrameType | None) -> None:
        handler = signal.getsignal(signal.SIGINT)
        if callable(handler):
            handler(signal.SIGINT, frame)
        else:  # Ctrl-C is ignored, as in the background of a shell; the end is not
            raise KeyboardInterrupt

    before = [end for end in ends if signal.getsignal(end) is signal.SIG_DFL]  # nobody chose otherwise (nohup, say)
    for end in before:
        signal.signal(end, interrupt)
    try:
        yield
    finally:
        for end in before:
            signal.signal(end, signal.SIG_DFL)


@contextmanager
def reported_when_interrupted(units: int) -> Iterator[list[Printed]]:
    """Report after how many of several units a print was interrupted; finished ones are added to the list."""
    done: list[Printed] = []
    try:
        yield done
    except KeyboardInterrupt:
        if units > 1:
            shown = ": labeler record list shows them" if done else ""
            click.echo(f"\nInterrupted after {len(done)} of {units} units{shown}", err=True)
        raise


def print_json(value: object) -> None:
    """Print a value as JSON."""
    import json

    click.echo(json.dumps(value, ensure_ascii=False, indent=1))


def print_lines(lines: Iterable[object]) -> None:
    """Print what is given, each on a line of its own."""
    for line in lines:
        click.echo(str(line))


def warn(problems: Iterable[object]) -> None:
    """Print problems, or other lines, on standard error."""
    for problem in problems:
        click.echo(str(problem), err=True)


def tell(runs: Sequence[Printed], record: Record, output: Output | None = None) -> None:
    """Print the files of jobs that were handed over together, and on standard error what they were."""
    from labeler.wording import sentences

    for printed in runs:
        job = printed.job
        count = sum(len(sheet.placed) for sheet in printed.sheets)
        sheets = sum(1 for sheet in printed.sheets if sheet.placed)
        made = f"{count} marker{'' if count == 1 else 's'} on {sheets} sheet{'' if sheets == 1 else 's'}"
        report(f"unit {job.unit}: {made}, job {job.id}")
        for fit in printed.omitted:
            click.echo(f"omitted: {fit.marker.id} {fit.marker.place}: {'; '.join(sentences(fit.reasons))}", err=True)
    for stock, number, cell in runs[0].begun:
        click.echo(f"Load the partial {stock} sheet as sheet {number}; it starts at {cell}", err=True)
    if output is not None and output.dry_run:
        report(f"Dry run: nothing was recorded in {record.name}, no file was written. These files would be written:")
    else:
        report(f"recorded in {record.name}")
    print_lines(runs[0].files)


def tell_changes(revised: Revised, record: Record, output: Output) -> None:
    """Print the files of what a new revision changed, and on standard error what must be removed."""
    for one in revised.take_off:
        row = one.old or one.row
        what = "replaced" if one.new else "deleted"
        place = f"{row.branch} {row.place}".lstrip()
        click.echo(f"remove: {row.id} {place} {row.text!r}: {what}", err=True)
    report(f"{revised.unchanged} markers are unchanged")
    if revised.printed is None:
        report("Nothing has changed; nothing is printed.")
        return
    warn(revised.printed.notes)
    tell([revised.printed], record, output)


TEXT_SIGNS = 60  # of a text in a table for the screen, project choice: a tag says hundreds


def marker_table(found: Iterable[Recorded]) -> Table:
    """Return the headings and the rows of a table of recorded markers for the screen; long texts end in dots."""
    rows: list[tuple[str, ...]] = [
        (
            item.row.id,
            item.part_number or item.harness,
            f"unit {item.unit}",
            item.row.kind,
            place_of(item.row),
            item.row.text if len(item.row.text) <= TEXT_SIGNS else f"{item.row.text[: TEXT_SIGNS - 1]}…",
            item.row.tube and f"{item.row.tube}, {item.row.cut_length_mm:g} mm",
            f"{item.job}:{item.sheet} {item.cell}" if item.sheet else "",
            item.state,
            str(item.print_count or ""),
            str(item.void_count or ""),
        )
        for item in found
    ]
    return ("id", "harness", "unit", "kind", "place", "text", "tube", "sheet", "state", "prints", "voids"), rows


MARKER_CSV = (
    "id", "harness", "revision", "unit", "kind", "place", "text", "tube", "cut_length_mm", "job", "sheet", "cell",
    "state", "print_count", "void_count",
)  # fmt: skip


def marker_csv(found: Iterable[Recorded]) -> Table:
    """Return the headings and the rows of recorded markers, one value a cell."""
    return MARKER_CSV, [
        (
            item.row.id,
            item.part_number or item.harness,
            item.revision,
            item.unit,
            item.row.kind,
            place_of(item.row),
            item.row.text,
            item.row.tube,
            f"{item.row.cut_length_mm:g}" if item.row.tube else "",
            str(item.job),
            str(item.sheet or ""),
            item.cell,
            item.state,
            str(item.print_count),
            str(item.void_count),
        )
        for item in found
    ]


def change_table(found: Iterable[Difference]) -> Table:
    """Return the headings and the rows of differences for the screen."""
    rows: list[tuple[str, ...]] = [(one.change, one.row.kind, place_of(one.row), *change_words(one)) for one in found]
    return ("change", "kind", "place", "old", "new"), rows


def change_csv(found: Iterable[Difference]) -> Table:
    """Return the headings and the rows of differences, a row for each field that differs, one value a cell."""

    def word(row: MarkerRow | None, name: str) -> str:
        value = getattr(row, name) if row else ""
        return f"{value:g}" if isinstance(value, float) else str(value)

    rows: list[tuple[str, ...]] = []
    for one in found:
        for name in one.changed_fields or DESCRIBED:
            cells = word(one.old, name), word(one.new, name)
            if name == "text" or any(cells):
                rows.append((one.change, one.row.kind, place_of(one.row), name, *cells))
    return ("change", "kind", "place", "field", "old", "new"), rows


DESCRIBED = ("text", "tube", "cut_length_mm")  # of a marker that did not change


def change_words(one: Difference) -> tuple[str, str]:
    """Return what a marker was and what it is: all of it, or of a changed one what has changed."""
    fields = one.changed_fields or DESCRIBED

    def words(row: MarkerRow | None) -> str:
        values = (getattr(row, name) for name in fields) if row else ()
        return ", ".join(f"{value:g} mm" if isinstance(value, float) else value for value in values if value)

    return words(one.old), words(one.new)


def place_of(row: MarkerRow) -> str:
    """Return the place of a recorded or planned marker, in quotes where blanks would not show."""
    named = f"{row.branch} {row.place}" if row.role == "branch end" and row.branch != row.place else row.place
    if row.role == "wire end" and ":" not in row.place:  # at a splice or a ring
        named = f"{row.circuit} {row.place}"
    return repr(named) if named != " ".join(named.split()) else named


def show(form: str, value: Callable[[], object], heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    """Print a value as JSON, or rows under headings as comma-separated values or in columns: json, csv, ""."""
    if form == "json":
        print_json(value())
    else:
        print_lines(csv_lines(heads, rows) if form == "csv" else columns(heads, rows))


def csv_lines(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    """Yield rows under headings as comma-separated values (RFC 4180), without its carriage returns.

    A spreadsheet takes what begins with one of ``= + - @`` for a formula and runs it; such a cell gets an
    apostrophe before it, which spreadsheets take for "this is text" (common practice).
    """
    import csv
    import io

    for row in (heads, *rows):
        line = io.StringIO()
        csv.writer(line, lineterminator="").writerow(
            f"'{cell}" if cell.startswith(CONTROL) or cell.lstrip().startswith(FORMULA) else cell for cell in row
        )
        yield line.getvalue()


FORMULA, CONTROL = ("=", "+", "-", "@"), ("\t", "\r", "\n")


def columns(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    """Yield rows under headings, in columns as wide as they need."""
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)]
    for row in (headings, *rows):
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
