"""The functions for scripts: read, check and print a harness, and reprint from the build record.

All lengths and diameters are in mm. Every function raises `LabelerError` for wrong data, with all the problems
found; `WrongUse`, a kind of `LabelerError`, says that an argument cannot be understood.

A whole session, from the check to the reprint of one lost sleeve:

>>> from pathlib import Path
>>> from tempfile import TemporaryDirectory
>>> boat = "examples/survey-boat.toml"
>>> with TemporaryDirectory() as folder:
...     record = Path(folder) / "record.sqlite"
...     units = print_units(boat, folder, record=record, quantity=2)
...     lost = find(record, "J4", unit="0002")[0]
...     again = reprint(record, "J4", unit="0002", reason="lost", folder=folder)
>>> [unit.job.unit for unit in units]
['0001', '0002']
>>> (lost.row.kind, lost.row.text, lost.row.cut_length_mm)
('sleeve', 'WATER PROBE J4', 50.0)
>>> (again.job.kind, again.job.reason, [path.suffix for path in again.files])
('reprint', 'lost', ['.pdf', '.pdf'])
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse

if TYPE_CHECKING:
    import pandas

    from labeler.formulas.interval import Range
    from labeler.job.check import Checked
    from labeler.job.order import HarnessFile
    from labeler.job.run import Printed
    from labeler.model import Fit, Harness, InstallationStep
    from labeler.readers.import_report import Read, Wanted
    from labeler.record.store import Record
    from labeler.record.values import Recorded

__all__ = ["BundleDiameters", "HarnessCheck", "bundle", "check", "find", "fit", "print_units", "read", "reprint"]

MOST_UNITS = 10_000  # of one call, as of one command: project choice

FilePath: TypeAlias = "str | os.PathLike[str]"
SettingValues: TypeAlias = "Mapping[str, str | float | bool | Sequence[str | float]]"
"""Settings by key, as `labeler list settings` names them: ``{"print.dpi": 600, "sleeve.printed_sides": "both"}``."""


# ---------------------------------------------------------------- values


@dataclass(frozen=True, slots=True)
class BundleDiameters:
    """The diameters of a bundle [mm], smallest to largest, and where they come from.

    A sleeve must slide over ``pass_over_mm`` and hold on ``grip_mm``. ``problems`` are warnings.
    """

    pass_over_mm: Range
    grip_mm: Range
    source: str
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class HarnessCheck:
    """A harness with the answer for every marker, and the installation order of its branches."""

    checked: Checked
    order: tuple[InstallationStep, ...]

    @property
    def harness(self) -> Harness:
        """Return the harness as it was read."""
        return self.checked.harness

    @property
    def fits(self) -> tuple[Fit, ...]:
        """Return the answer for every marker; ``fit.result`` is "pass", "marginal" or "fail"."""
        return self.checked.fits

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Return the warnings. Errors do not get here: `check` raises them."""
        return self.checked.notes

    def frame(self) -> pandas.DataFrame:
        """Return a table with one row a marker, in the order of ``fits``.

        Names of columns end in their unit. A number that a marker does not have is NaN, a text is "".
        """
        import pandas

        sleeve_stock = self.checked.stocks.sleeve.name
        rows = [_fit_row(one, one.stock or (sleeve_stock if one.face else "")) for one in self.fits]
        return pandas.DataFrame(rows, columns=list(COLUMNS)).astype(COLUMNS)


_TEXTS = ("id", "kind", "role", "place", "branch", "circuit", "text", "result", "reasons", "fixes", "tube", "stock")
_NUMBERS = (
    "cut_length_mm",
    "pass_over_diameter_min_mm",
    "pass_over_diameter_max_mm",
    "grip_diameter_min_mm",
    "grip_diameter_max_mm",
    "text_diameter_min_mm",
    "text_diameter_max_mm",
    "capital_height_printed_mm",
    "capital_height_min_mm",
    "capital_height_max_mm",
    "capital_height_required_mm",
    "text_arc_deg",
    "lay_flat_width_mm",
)
COLUMNS = dict.fromkeys(_TEXTS, "object") | dict.fromkeys(_NUMBERS, "float64")
"""The columns of `HarnessCheck.frame` with their types."""


def _fit_row(one: Fit, stock: str) -> tuple[str | float, ...]:
    """Return the row of a marker, in the order of `COLUMNS`."""
    from labeler.wording import sentences

    marker, seat, capital = one.marker, one.seat, one.capital_height_mm
    ranges = (seat.pass_over, seat.grip, seat.text_diameter) if seat else ()
    diameters = [end for diameter in ranges for end in (diameter.low, diameter.high)] or [math.nan] * 6
    heights = (capital.printed, capital.low, capital.high, capital.required) if capital else (math.nan,) * 4
    return (
        marker.id,
        marker.kind,
        marker.role,
        marker.place,
        marker.branch,
        marker.circuit,
        " ".join(one.lines or marker.text) if marker.marked else "",
        one.result,
        "; ".join(sentences(one.reasons)),
        "; ".join(sentences(one.fixes)),
        one.tube.name if one.tube else "",
        stock,
        one.cut_length_mm or math.nan,
        *diameters,
        *heights,
        one.text_arc_deg or math.nan,
        one.surface.lay_flat_width_mm or math.nan,
    )


# ---------------------------------------------------------------- one harness file


def read(path: FilePath, *, settings: SettingValues | None = None, reading: Wanted | None = None) -> Read:
    """Read a harness from a harness file, a wire list or a CAD export.

    Parameters
    ----------
    path : str or path
        TOML, JSON, CSV, a workbook, KBL or VEC.
    settings : mapping, optional
        Settings for the whole harness, by key; they override those of the file.
    reading : Wanted, optional
        What the file leaves open: sheet, variants, column map, name, part number, revision.

    Returns
    -------
    Read
        The harness, the account of what was imported, and all problems, errors included.
        ``checked()`` returns the harness, or raises `LabelerError` with the errors.

    Raises
    ------
    LabelerError
        The file cannot be read as any of these formats.

    Examples
    --------
    >>> boat = read("examples/survey-boat.toml").checked()
    >>> (boat.part_number, len(boat.circuits))
    ('RSB-210', 27)
    """
    from labeler.job.reading import understand
    from labeler.readers.import_report import AS_IT_STANDS

    with _problems_at_arguments():
        return understand(os.fspath(path), _as_text(settings), reading or AS_IT_STANDS)


def check(
    path: FilePath,
    *,
    settings: SettingValues | None = None,
    stocks: Sequence[str] = (),
    paper: str = "A4",
    reading: Wanted | None = None,
) -> HarnessCheck:
    """Check for every marker of a harness whether its text fits and reads.

    Parameters
    ----------
    path, settings, reading
        As in `read`.
    stocks : sequence of str
        Names of the stocks to print on; without any, the stocks that suit the paper.
    paper : str
        "A4" or "Letter".

    Returns
    -------
    HarnessCheck
        A marker that does not fit has the result "fail", with reasons and fixes; it is not an error.

    Raises
    ------
    LabelerError
        With every error of the data at once.

    Examples
    --------
    >>> boat = check("examples/survey-boat.toml")
    >>> boat.frame().groupby("kind")["result"].count().to_dict()
    {'sleeve': 11, 'tag': 8, 'wrap': 54}
    """
    from labeler.job import check as job
    from labeler.job.order import Loading

    with _problems_at_arguments():
        loading = Loading(paper, tuple(stocks))
        checked = job.check(_harness_file(path, settings, reading), loading, date=date.today().isoformat())
        return HarnessCheck(checked, job.order_of(checked.sizing, checked.fits))


# ---------------------------------------------------------------- questions without a file


def fit(
    text: str,
    diameter: str | float,
    *,
    tube: str | None = None,
    cut_length_mm: float | None = None,
    settings: SettingValues | None = None,
) -> Fit:
    """Check one text on a sleeve over a diameter.

    Parameters
    ----------
    text : str
        A line break starts a new line.
    diameter : str or float
        A diameter [mm], or a range: "4.0-4.6".
    tube : str, optional
        A tube, or a family of tubes; without it, the first tube that fits.
    cut_length_mm : float, optional
        Length of the sleeve [mm]; without it, the shortest length that fits.
    settings : mapping, optional
        Settings by key.

    Returns
    -------
    Fit
        ``result`` is "pass", "marginal" or "fail"; lengths are in mm.

    Raises
    ------
    WrongUse
        An argument cannot be understood.
    LabelerError
        A tube is not known, or no font has a character of the text.

    Examples
    --------
    >>> sleeve = fit("DEPTH J4", "4.0-4.6")
    >>> (sleeve.result, sleeve.tube.name, sleeve.cut_length_mm)
    ('pass', 'AS23053/5 1/4', 25.0)
    >>> fit("DEPTH J4", 4.2, cut_length_mm=12).result
    'fail'
    """
    from labeler.answers.single import fit_text

    cut = None if cut_length_mm is None else str(cut_length_mm)
    with _problems_at_arguments():
        return fit_text(text, str(diameter), tube=tube, cut_length=cut, settings=_as_text(settings))


def bundle(wires: str, *, settings: SettingValues | None = None) -> BundleDiameters:
    """Return the diameters of a bundle of wires.

    Parameters
    ----------
    wires : str
        "2 x 20 AWG TXL, 4 x 1.9 mm": counts with sizes and wire types, or with outside diameters.
    settings : mapping, optional
        Settings by key.

    Returns
    -------
    BundleDiameters
        Diameters [mm], their source, and warnings.

    Raises
    ------
    WrongUse
        An argument cannot be understood.

    Examples
    --------
    Two wires of 1.9 mm packed are 3.8 mm wide; a tape around them is 1.9 (2 + π) / π = 3.11 mm.

    >>> two = bundle("2 x 1.9 mm")
    >>> (round(two.pass_over_mm.low, 2), round(two.grip_mm.low, 2))
    (3.8, 3.11)
    """
    from labeler.answers.single import bundle_of

    with _problems_at_arguments():
        found, source, problems = bundle_of(wires, _as_text(settings))
    return BundleDiameters(found.pass_over, found.grip, source, tuple(map(_at_argument, problems)))


# ---------------------------------------------------------------- printing, and the build record


def print_units(
    path: FilePath,
    folder: FilePath,
    *,
    record: Record | FilePath,
    quantity: int = 1,
    serials: Sequence[str] = (),
    settings: SettingValues | None = None,
    stocks: Sequence[str] = (),
    paper: str = "A4",
    user: str = "",
    omit_failed: bool = False,
    reading: Wanted | None = None,
) -> tuple[Printed, ...]:
    """Print the markers and the bench sheet of units of a harness as PDF files, and record them.

    Parameters
    ----------
    path, settings, reading
        As in `read`.
    folder : str or path
        Folder for the PDF files. No file in it is overwritten.
    record : Record, str or path
        The build record: open, or its file or database URL. A new file is created.
    quantity : int
        Number of units; each gets the next serial.
    serials : sequence of str
        Serials of the units, instead of ``quantity``.
    stocks, paper
        As in `check`.
    user : str
        Who prints, for the record.
    omit_failed : bool
        Print the markers that fit, and list the others on the bench sheet.

    Returns
    -------
    tuple of Printed
        One for each unit, with its job, files, sheets, fits and notes. All notes are with the first unit.

    Raises
    ------
    WrongUse
        An argument cannot be understood.
    LabelerError
        With every error at once; nothing is printed or recorded. If the files of a later unit cannot be
        written, that unit is not recorded and the units before it stay printed.

    Examples
    --------
    See the session at the head of `labeler.api`.
    """
    from labeler.job.order import Loading, Order, Output, Units
    from labeler.job.printing import print_order

    with _problems_at_arguments():
        units = Units(_harness_file(path, settings, reading), _serials(quantity, serials))
        loading, today = Loading(paper, tuple(stocks)), date.today().isoformat()
        order = Order((units,), Output(Path(folder)), loading, user, today, omit_failed=omit_failed)
        with _opened(record) as opened:
            return tuple(printed for run in print_order(order, opened) for printed in run)


def find(record: Record | FilePath, text: str, unit: str = "") -> tuple[Recorded, ...]:
    """Find recorded markers.

    Parameters
    ----------
    record : Record, str or path
        The build record: open, or its file or database URL.
    text : str
        An id, a place, a circuit, a branch, or words of a text; "" finds every marker.
    unit : str, optional
        A serial, with or without the part number before it.

    Returns
    -------
    tuple of Recorded
        The markers that match best, in the order of printing; empty where none matches.

    Raises
    ------
    LabelerError
        The record does not exist or cannot be read.

    Examples
    --------
    See the session at the head of `labeler.api`.
    """
    with _opened(record, create=False) as opened:
        return opened.find(text, unit=unit or None)


def reprint(
    record: Record | FilePath, marker: str, unit: str = "", *, reason: str, folder: FilePath, user: str = ""
) -> Printed:
    """Print one recorded marker again, exactly as before, and record the reprint.

    Parameters
    ----------
    record, marker, unit
        As in `find`, where ``marker`` is the text; exactly one marker must match.
    reason : str
        Why it is printed again, for the record.
    folder : str or path
        Folder for the PDF files. No file in it is overwritten.
    user : str
        Who prints, for the record.

    Returns
    -------
    Printed
        The job with its files, sheets and notes.

    Raises
    ------
    LabelerError
        No marker matches, or several do; the marker was never printed; a file cannot be written.

    Examples
    --------
    See the session at the head of `labeler.api`.
    """
    from labeler.job.order import Output, Reprint
    from labeler.job.reprinting import reprint as print_again

    how = Reprint(reason, Output(Path(folder)), user=user, date=date.today().isoformat())
    with _problems_at_arguments(), _opened(record, create=False) as opened:
        return print_again(opened, (_one_marker(opened, marker, unit),), how)[0]


def _one_marker(record: Record, marker: str, unit: str) -> Recorded:
    """Return the one marker meant that is still on its unit. Raises `LabelerError` where none or several match."""
    found = record.find(marker, unit=unit or None) if marker.strip() else ()
    found = tuple(item for item in found if item.state != "removed") or found
    if len(found) == 1:
        return found[0]
    where = SourceLocation(record.name)
    if not found:
        near = record.suggestion_for(marker, unit=unit or None)
        message = "; ".join(filter(None, (f"no marker is recorded for {marker!r}", near.message)))
        raise LabelerError(Problem(where, message, near.fix))
    shown = ", ".join(f"{item.unit} {item.row.id}" for item in found[:8]) + (", …" if len(found) > 8 else "")
    fix = "name one by its id, with its unit"
    raise LabelerError(Problem(where, f"{len(found)} markers match {marker!r}: {shown}", fix))


@contextmanager
def _opened(record: Record | FilePath, *, create: bool = True) -> Iterator[Record]:
    """Give an open record as it is; open any other, and close it at the end."""
    if not isinstance(record, (str, os.PathLike)):
        yield record
        return
    from labeler.record import open_record

    with open_record(record, create=create) as opened:
        yield opened


# ---------------------------------------------------------------- arguments


def _harness_file(path: FilePath, settings: SettingValues | None, reading: Wanted | None) -> HarnessFile:
    from labeler.job.order import HarnessFile

    file = HarnessFile(os.fspath(path), _as_text(settings))
    return file if reading is None else replace(file, reading=reading)


def _serials(quantity: int, serials: Sequence[str]) -> tuple[str | None, ...]:
    """Return the serial of each unit; None is the next one. Raises `WrongUse`."""
    if isinstance(serials, str):
        raise WrongUse(Problem(SourceLocation("serials"), f"{serials!r} is one text", f"give a list: [{serials!r}]"))
    if serials and quantity not in (1, len(serials)):
        raise WrongUse(
            Problem(SourceLocation("quantity"), f"{quantity} units, {len(serials)} serials", "give one of the two")
        )
    if not 1 <= max(quantity, len(serials)) <= MOST_UNITS:
        raise WrongUse(Problem(SourceLocation("quantity"), f"{quantity} units", f"give 1 to {MOST_UNITS}"))
    return tuple(serials) or (None,) * quantity


def _as_text(settings: SettingValues | None) -> dict[str, str]:
    """Return settings as they are written on a command line."""
    return {key: _value_as_text(value) for key, value in (settings or {}).items()}


def _value_as_text(value: str | float | bool | Sequence[str | float]) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (str, int, float)):
        return str(value)
    return ",".join(map(str, value))


ARGUMENTS = {
    "--diameter": "diameter",
    "--tube": "tube",
    "--cut-length": "cut_length_mm",
    "--set": "settings",
    "--stock": "stocks",
    "TEXT": "text",
    "WIRES": "wires",
}
"""What the command line calls an argument, and what it is called here."""


def _at_argument(problem: Problem) -> Problem:
    source = problem.where.source
    return replace(problem, where=SourceLocation(ARGUMENTS[source])) if source in ARGUMENTS else problem


@contextmanager
def _problems_at_arguments() -> Iterator[None]:
    """Name the argument in a problem that names an option of the command line."""
    try:
        yield
    except LabelerError as error:
        if not any(problem.where.source in ARGUMENTS for problem in error.problems):
            raise
        raise type(error)(*map(_at_argument, error.problems)) from None
