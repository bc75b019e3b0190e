"""The order of work: read, validate, plan, size, fit, lay out, draw, record.

Every command of the command line is one function here; the stages meet nowhere else.
"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.catalogue import Catalogue, load_catalogue
from labeler.errors import LabelerError, Problem, Where, WrongUse, refuse
from labeler.fit import Other, SleevePlace, fit_sleeve, fit_tag, fit_wrap, ways_out, wrap_place
from labeler.fit.common import DOES_NOT_FIT, font_of, needed_for
from labeler.fit.wrap import WrapPlace
from labeler.model import (
    Branch,
    BranchEnd,
    Fit,
    Harness,
    Marker,
    Piece,
    Seat,
    Settings,
    Sheet,
    Stock,
    Symbol,
    TagWords,
    Tube,
    TubeChoice,
)
from labeler.plan import Contents, branches_of, circuits_by_branch, confusable, contents_of, plan, tag_words
from labeler.size import choose_tubes, end_seat, threading, wire_seat

if TYPE_CHECKING:
    from labeler.record.store import Record
    from labeler.record.values import Job, Recorded

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
PLACEHOLDER_UNIT = "0001"  # what a check writes on the tags: no serial is given yet


@dataclass(frozen=True, slots=True)
class Stocks:
    """The stock chosen for each kind of marker; of wraps all that may serve, largest print first."""

    wraps: tuple[Stock, ...]
    tag: Stock
    sleeve: Stock

    def by_name(self) -> dict[str, Stock]:
        """Return all of them by name."""
        return {stock.name: stock for stock in (*self.wraps, self.tag, self.sleeve)}


@dataclass(frozen=True, slots=True)
class Checked:
    """A harness with the answer for every marker; ``notes`` are warnings."""

    harness: Harness
    fits: tuple[Fit, ...]
    stocks: Stocks
    notes: tuple[Problem, ...] = ()

    @property
    def misfits(self) -> tuple[Fit, ...]:
        """Return the markers that do not fit."""
        return tuple(fit for fit in self.fits if fit.verdict == DOES_NOT_FIT)


@dataclass(frozen=True, slots=True)
class Printed:
    """What a print or a reprint left behind."""

    job: Job
    files: tuple[Path, ...]
    sheets: tuple[Sheet, ...]
    fits: tuple[Fit, ...] = ()
    left_out: tuple[Fit, ...] = ()
    notes: tuple[Problem, ...] = ()


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Keep the garbage collector off: the stages make very many values and no cycles worth looking for."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


# ---------------------------------------------------------------- check


def choose_stocks(catalogue: Catalogue, paper: str = "A4", names: Sequence[str] = ()) -> Stocks:
    """Return the stock to print on: those named, and for the other kinds what suits the paper.

    Raises `LabelerError` for an unknown name and where a kind has no stock.
    """
    named = [catalogue.stock(name) for name in names]
    size = PAPERS[paper]

    def kind(takes: str) -> list[Stock]:
        asked = [stock for stock in named if stock.takes == takes]
        return asked or [s for s in catalogue.stocks if s.takes == takes and _on_paper(s, size)]

    found = {takes: kind(takes) for takes in ("wrap", "tag", "sleeve")}
    refuse(
        Problem(Where("layouts"), f"no {takes} stock for {paper}", "add a stock file, or name one with --stock")
        for takes, stocks in found.items()
        if not stocks
    )
    wraps = sorted(found["wrap"], key=lambda s: -s.print_around_mm)
    return Stocks(tuple(wraps), found["tag"][0], found["sleeve"][0])


def _on_paper(stock: Stock, size: tuple[float, float]) -> bool:
    if stock.kind != "grid":
        return True
    return abs(stock.page_width_mm - size[0]) < 0.5 and abs(stock.page_height_mm - size[1]) < 0.5


@_no_collecting()
def check(
    file: str,
    *,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    unit: str = PLACEHOLDER_UNIT,
    only: Sequence[str] = (),
) -> Checked:
    """Return the answer for every marker of a harness file, or for those of some roles ``only``.

    Raises `LabelerError` with every problem of the data at once; a marker that does not fit is
    no problem but an answer.
    """
    from labeler.read import read_harness
    from labeler.validate import validate

    catalogue = load_catalogue()
    stocks = choose_stocks(catalogue, paper, stock)
    harness = read_harness(file, settings or {})
    problems = [*harness.notes, *validate(harness, catalogue)]
    markers, planning = plan(harness)
    if only:
        markers = tuple(marker for marker in markers if marker.role in only)
    problems += [*planning, *_glyph_problems(markers), *confusable(markers)]
    refuse(_once(problems))
    fits = fit_markers(harness, markers, catalogue, stocks, unit)
    notes = tuple(_once(problem for problem in problems if problem.warning))
    return Checked(harness, fits, stocks, notes)


def _once(problems: Iterable[Problem]) -> list[Problem]:
    return list(dict.fromkeys(problems))


def _glyph_problems(markers: Iterable[Marker]) -> list[Problem]:
    """Return every character that no font has, one problem a marker; all-ASCII texts are passed by."""
    problems: list[Problem] = []
    for marker in markers:
        if all(text.isascii() and text.isprintable() for text in marker.text):
            continue
        try:
            font_of(marker.text, marker)
        except LabelerError as error:
            problems.extend(error.problems)
    return problems


def fit_markers(
    harness: Harness, markers: Sequence[Marker], catalogue: Catalogue, stocks: Stocks, unit: str
) -> tuple[Fit, ...]:
    """Return the answer for each marker, in the same order; seats and tubes are worked out once each.

    Raises `LabelerError` with the problems of every marker whose seat cannot be known.
    """
    fitter = _Fitter(harness, catalogue, stocks, unit)
    fits: list[Fit] = []
    problems: list[Problem] = []
    for marker in markers:
        try:
            fits.append(fitter.fit(marker))
        except LabelerError as error:
            problems.extend(error.problems)
    refuse(_once(problems))
    return tuple(fits)


class _Fitter:
    """Sizes and fits markers of one harness, remembering what several of them share."""

    def __init__(self, harness: Harness, catalogue: Catalogue, stocks: Stocks, unit: str) -> None:
        self.harness, self.catalogue, self.stocks, self.unit = harness, catalogue, stocks, unit
        self.circuits = {circuit.id: circuit for circuit in harness.circuits}
        self.ends: dict[tuple[str, str], tuple[Branch, BranchEnd]] = {
            (branch.id, end.at): (branch, end) for branch in branches_of(harness) for end in branch.ends
        }
        self.through = circuits_by_branch(harness)
        self.contents: Contents | None = None
        self.places: dict[tuple[object, ...], WrapPlace | SleevePlace] = {}
        self.kept: list[Settings] = []
        self.choices: dict[tuple[object, ...], TubeChoice] = {}

    def fit(self, marker: Marker) -> Fit:
        if marker.role == "bag":
            return fit_tag(marker, self._words(marker), self.stocks.tag, make_symbol)
        if marker.kind == "wrap":
            return self._with_ways_out(fit_wrap(marker, self._wrap_place(marker)), ())
        place = self._sleeve_place(marker)
        return self._with_ways_out(fit_sleeve(marker, place), place.choice.tubes, place.cut_length_mm)

    def _words(self, marker: Marker) -> TagWords:
        if self.contents is None:
            self.contents = contents_of(self.harness)
        return tag_words(self.harness, self.contents, marker, self.unit)

    def _with_ways_out(self, fit: Fit, tubes: tuple[Tube, ...], cut: float | None = None) -> Fit:
        """Return the fit with what would make it fit, worked out only where it does not."""
        if fit.verdict != DOES_NOT_FIT or fit.seat is None:
            return fit
        every = replace(fit.marker.settings, sleeve=tuple(family.name for family in self.catalogue.families))
        other = Other(
            self._choice(fit.seat, every).tubes,
            lambda marker: fit_wrap(marker, self._wrap_place(marker)),
            lambda marker: fit_sleeve(marker, self._sleeve_place(marker)),
            cut,
        )
        return replace(fit, ways_out=ways_out(fit, tubes, other))

    def _sleeve_place(self, marker: Marker) -> SleevePlace:
        """Return the place of a sleeve; wires of one kind share theirs, a branch end has its own."""
        if marker.role == "branch end":
            seat, cut = self._seat(marker)
            return SleevePlace(seat, self._choice(seat, marker.settings), cut)
        circuit = self.circuits[marker.circuit]
        key = ("sleeve", circuit.size, circuit.wire, circuit.outside_mm, id(marker.settings))
        place = self.places.get(key)
        if not isinstance(place, SleevePlace):
            seat, cut = self._seat(marker)
            place = self.places[key] = SleevePlace(seat, self._choice(seat, marker.settings), cut)
            self.kept.append(marker.settings)
        return place

    def _seat(self, marker: Marker) -> tuple[Seat, float | None]:
        """Return what the marker sits on, and its cut length where that is fixed."""
        if marker.role == "branch end":
            branch, end = self.ends[marker.branch, marker.at]
            return end_seat(branch, end, self.through[branch.id], self.harness, self.catalogue), end.cut_length_mm
        circuit = self.circuits[marker.circuit]
        at = marker.at if marker.role == "wire end" else str(circuit.start)
        return wire_seat(circuit, at, self.harness, self.catalogue), None

    def _wrap_place(self, marker: Marker) -> WrapPlace:
        if marker.role == "branch end":
            return wrap_place(self._seat(marker)[0], marker.settings, needed_for(marker), self.stocks.wraps)
        circuit = self.circuits[marker.circuit]
        key = ("wrap", circuit.size, circuit.wire, circuit.outside_mm, id(marker.settings))
        place = self.places.get(key)
        if not isinstance(place, WrapPlace):
            place = wrap_place(self._seat(marker)[0], marker.settings, needed_for(marker), self.stocks.wraps)
            self.places[key] = place
            self.kept.append(marker.settings)  # so that its id stays its own
        return place

    def _choice(self, seat: Seat, settings: Settings) -> TubeChoice:
        key = (
            seat.passes.high,
            seat.closes_on,
            settings.sleeve,
            settings.slip,
            settings.grip,
            settings.preferred_share,
        )
        if key not in self.choices:
            self.choices[key] = choose_tubes(seat, settings, self.catalogue)
        return self.choices[key]


def make_symbol(payload: str, x_mm: float, y_mm: float, side_mm: float, dpi: float) -> Symbol:
    """Return a QR code in the middle of a square that includes its quiet zone."""
    from labeler.codes import QUIET_ZONE_MODULES, place_qr, qr

    rows = qr(payload)
    share = len(rows) / (len(rows) + 2 * QUIET_ZONE_MODULES)
    symbol = place_qr(rows, payload, 0.0, 0.0, side_mm * share, dpi)
    inset = (side_mm - len(rows) * symbol.module_x_mm) / 2
    return replace(symbol, x_mm=round(x_mm + inset, 4), y_mm=round(y_mm + inset, 4))


# ---------------------------------------------------------------- print


@_no_collecting()
def print_harness(
    file: str,
    folder: Path,
    record: Record,
    *,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    start: Mapping[str, str] | None = None,
    unit: str | None = None,
    only: Sequence[str] = (),
    leave_out: bool = False,
    force: bool = False,
    who: str = "",
    date: str = "",
) -> Printed:
    """Print the whole set of one unit (or some roles ``only``), recorded before the sheets are handed over.

    Nothing is printed, and nothing recorded, while a marker does not fit; with ``leave_out`` the
    others are printed and the missing ones stand on the bench sheet and in the record.

    Raises `LabelerError` with all problems at once.
    """
    from labeler.draw.files import refused_target
    from labeler.layout import lay_out
    from labeler.record import LeftOut, NewJob, canonical_sheet, marker_row

    checked = check(file, settings=settings, paper=paper, stock=stock, only=only)
    if checked.misfits and not leave_out:
        raise LabelerError(*(misfit_problem(fit) for fit in checked.misfits))
    stocks, harness = checked.stocks.by_name(), checked.harness
    names = _Names(folder, harness)
    serial_free = [fit for fit in checked.fits if fit.verdict != DOES_NOT_FIT]
    trial = lay_out(pieces_of(serial_free, checked.stocks), stocks, start)  # fails before a serial is given
    expected = names.files(unit or record.serial_to_come(harness), trial)
    refuse(problem for path in expected.values() for problem in refused_target(path, force))
    serial = record.reserve_serial(harness, unit)
    fits = _with_serial(checked, serial)
    left_out = tuple(fit for fit in fits if fit.verdict == DOES_NOT_FIT)
    if left_out and not leave_out:
        raise LabelerError(*(misfit_problem(fit) for fit in left_out))
    kept = tuple(fit for fit in fits if fit.verdict != DOES_NOT_FIT)
    same = fits is checked.fits
    sheets = trial if same else lay_out(pieces_of(kept, checked.stocks), stocks, start)
    sheets = tuple(map(canonical_sheet, sheets))
    files = names.files(serial, sheets)
    refuse(problem for path in files.values() for problem in refused_target(path, force))
    job = record.prepare(
        NewJob(
            harness,
            sheets,
            {fit.marker.id: marker_row(fit) for fit in kept},
            tuple(LeftOut(marker_row(fit), "; ".join(fit.reasons)) for fit in left_out),
            _fonts(sheets),
            serial,
            who,
            version(),
        )
    )
    drawing = _Drawing(harness, serial, kept, left_out, sheets, paper, date)
    _hand_over(record, job, drawing, files, force)
    return Printed(job, tuple(files.values()), sheets, kept, left_out, checked.notes)


def misfit_problem(fit: Fit) -> Problem:
    """Return a marker that does not fit as a problem with its reasons and the ways out."""
    marker = fit.marker
    text = " ".join(fit.lines or marker.text)
    what = f"{marker.role} {marker.at} {text!r} does not fit: {'; '.join(fit.reasons)}"
    return Problem(marker.where, what, "; or ".join(fit.ways_out))


def _with_serial(checked: Checked, serial: str) -> tuple[Fit, ...]:
    """Return the fits with the tags written for a unit; nothing else says its serial."""
    tags = [fit.marker for fit in checked.fits if fit.marker.role == "bag"]
    if serial == PLACEHOLDER_UNIT or not tags:
        return checked.fits
    written = {f.marker.id: f for f in fit_markers(checked.harness, tags, load_catalogue(), checked.stocks, serial)}
    return tuple(written.get(fit.marker.id, fit) for fit in checked.fits)


def pieces_of(fits: Iterable[Fit], stocks: Stocks) -> tuple[Piece, ...]:
    """Return what is printed, on its way to the sheets: plain sleeves are only cut."""
    return tuple(
        Piece(
            fit.marker.id,
            fit.face,
            fit.stock or stocks.sleeve.name,
            f"{fit.tube.name}, {fit.marker.settings.tube_colour}" if fit.tube else "",
            fit.marker.at,
        )
        for fit in fits
        if fit.face is not None
    )


def _fonts(sheets: Iterable[Sheet]) -> dict[str, str]:
    from labeler.text import load_font

    names = {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs[:1]}
    names |= {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs[1:]}
    return {name: load_font(name).digest for name in sorted(names)}


def version() -> str:
    """Return the program's version."""
    from importlib.metadata import version as installed

    return installed("labeler")


@dataclass(frozen=True, slots=True)
class _Names:
    """Where the files of a job go, and what they are called."""

    folder: Path
    harness: Harness

    def files(self, unit: str, sheets: Sequence[Sheet], word: str = "") -> dict[str, Path]:
        """Return a path for each stock, and one for the bench sheet under ``""``."""
        stem = _file_name(f"{self.harness.part_number or self.harness.name}-{unit}{word}")
        names = dict.fromkeys(sheet.stock.name for sheet in sheets)
        files = {} if word else {"": self.folder / f"{stem}-bench-sheet.pdf"}
        return files | {name: self.folder / f"{stem}-{_file_name(name)}.pdf" for name in names}


def _file_name(text: str) -> str:
    """Keep letters, digits, dot, dash and underscore: a name every file system takes."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in text)
    return kept.strip("-") or "harness"


@dataclass(frozen=True, slots=True)
class _Drawing:
    """All that the files of one job show."""

    harness: Harness
    unit: str
    fits: tuple[Fit, ...]
    left_out: tuple[Fit, ...]
    sheets: tuple[Sheet, ...]
    paper: str
    date: str

    def draw(self, stock: str) -> bytes:
        """Return the PDF of one stock's sheets, or of the bench sheet under ``""``."""
        from labeler.draw.pdf import Header, draw_sheets

        target = BytesIO()
        if not stock:
            self._bench(target)
            return target.getvalue()
        part = " ".join(filter(None, (self.harness.part_number, self.harness.revision)))
        job = " · ".join(filter(None, (self.harness.name, part, f"unit {self.unit}")))
        sheets = [sheet for sheet in self.sheets if sheet.stock.name == stock]
        draw_sheets(sheets, target, title=f"{job}, {stock}", header=Header(job))
        return target.getvalue()

    def _bench(self, target: BytesIO) -> None:
        from labeler.bench import bench_sheet
        from labeler.draw.bench import draw_bench_sheet

        catalogue = load_catalogue()
        sleeved = {fit.marker.branch for fit in self.fits if fit.marker.kind == "sleeve"}
        through = circuits_by_branch(self.harness)
        steps = [
            step
            for branch in branches_of(self.harness)
            if branch.id in sleeved
            for step in threading(branch, through[branch.id], self.harness, catalogue)
        ]
        sheet = bench_sheet(
            self.harness, self.unit, self.fits, self.left_out, self.sheets, date=self.date, threading=steps
        )
        draw_bench_sheet(sheet, target, page=self.paper)


def _hand_over(record: Record, job: Job, drawing: _Drawing, files: Mapping[str, Path], force: bool) -> None:
    """Draw and write all files, then confirm the job; where that fails none is left, and it is withdrawn."""
    from labeler.draw.files import write_all

    try:
        drawn = {path: drawing.draw(stock) for stock, path in files.items()}
        for folder in {path.parent for path in files.values()}:
            _make_folder(folder)
        write_all(drawn, force=force)
    except BaseException as error:
        with suppress(LabelerError):
            record.withdraw(job.id, f"not handed over: {error or type(error).__name__}")
        raise
    record.confirm(job.id, [str(path) for path in files.values()])


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = "is a file" if folder.is_file() else f"cannot be made ({error.strerror})"
        raise LabelerError(Problem(Where(str(folder)), why, "choose another folder (--out)")) from error


# ---------------------------------------------------------------- reprint


def reprint(
    record: Record,
    items: Sequence[Recorded],
    folder: Path,
    *,
    reason: str,
    stock: str = "",
    start: str = "",
    same_places: bool = False,
    force: bool = False,
    who: str = "",
) -> Printed:
    """Print recorded markers of one unit again, from the record alone.

    They go to the stock they were on, or to ``stock``, from the cell ``start`` on; with
    ``same_places`` to the very cells they were in (a spoiled sheet). Raises `LabelerError`.
    """
    from labeler.layout import lay_out

    drawn = [item for item in items if item.face is not None]
    if not drawn:
        states = sorted({item.state for item in items})
        why = f"nothing to print: {', '.join(states) or 'no marker'}"
        raise LabelerError(Problem(Where("reprint"), why, "see labeler record show"))
    pieces = [item.piece() for item in drawn]
    stocks = {item.stock.name: item.stock for item in drawn if item.stock}
    if stock:
        other = load_catalogue().stock(stock)
        stocks, pieces = {stock: other}, [replace(piece, stock=stock) for piece in pieces]
    if start and len(stocks) > 1:
        raise WrongUse(
            Problem(
                Where("--start"),
                f"the markers are on {len(stocks)} stocks: {', '.join(stocks)}",
                "name one marker",
            )
        )
    sheets = (
        _same_sheets(drawn) if same_places else lay_out(pieces, stocks, dict.fromkeys(stocks, start) if start else None)
    )
    job = record.prepare_reprint(drawn, sheets, fonts=_fonts_at_hand(sheets), reason=reason, who=who, version=version())
    harness = Harness(drawn[0].harness, drawn[0].part_number, drawn[0].revision)
    files = _Names(folder, harness).files(drawn[0].unit, sheets, f"-reprint-{job.id}")
    drawing = _Drawing(harness, drawn[0].unit, (), (), sheets, "", "")
    _hand_over(record, job, drawing, files, force)
    return Printed(job, tuple(files.values()), sheets)


def _same_sheets(items: Sequence[Recorded]) -> tuple[Sheet, ...]:
    """Return the sheet that the markers were on, each in its own cell."""
    from labeler.model import Placed

    placed = tuple(Placed(item.piece(), item.cell, item.x_mm, item.y_mm) for item in items)
    first = items[0]
    assert first.stock is not None  # items without a face were left out before
    width, height = first.stock.page_width_mm, first.stock.page_height_mm
    if first.stock.kind == "reel" and first.face is not None:
        width, height = first.face.width_mm, first.face.height_mm
    return (Sheet(first.stock, first.sheet, width, height, first.group, placed),)


def _fonts_at_hand(sheets: Iterable[Sheet]) -> dict[str, str]:
    """Return the digests of the fonts that are here; one that cannot be loaded is left out."""
    from labeler.text import load_font

    found = {}
    for name in {run.font for sheet in sheets for placed in sheet.placed for run in placed.piece.face.runs}:
        with suppress(LabelerError):
            found[name] = load_font(name).digest
    return found
