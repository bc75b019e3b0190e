"""What is put into the build record and what comes out of it: frozen values, no database here."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from labeler.errors import Problem, SourceLocation
from labeler.model import Face, Fit, Harness, Piece, Sheet, Stock, pattern


@dataclass(frozen=True, slots=True)
class MarkerRow:
    """One marker as it was resolved; ``text`` is all its lines joined by a space."""

    id: str
    kind: str  # sleeve | wrap | tag
    role: str  # branch end | wire end | bag
    place: str
    text: str = ""
    branch: str = ""
    circuit: str = ""
    tube: str = ""  # name of the tube, "" where there is none
    cut_length_mm: float = 0.0
    colour: str = ""  # of the tube
    heating: str = ""  # unmarked side first | even | any; "" where nothing shrinks, or where it was not recorded
    installation: str = ""  # how it goes on and where it lies, as JSON


def marker_row(fit: Fit) -> MarkerRow:
    """Return what the record keeps of a fitted marker, beside its face."""
    marker = fit.marker
    text = " ".join(fit.lines or marker.text)
    if fit.tube is None:
        row = _without_tube(marker.kind, marker.role, fit.cut_length_mm)
        return row(marker.id, marker.place, text, marker.branch, marker.circuit)
    on_tube = marker.kind == "sleeve"  # else a paper strip under clear tube
    return MarkerRow(
        id=marker.id,
        kind=marker.kind,
        role=marker.role,
        place=marker.place,
        text=text,
        branch=marker.branch,
        circuit=marker.circuit,
        tube=fit.tube.name,
        cut_length_mm=fit.cut_length_mm,
        colour=marker.settings.sleeve.colour if on_tube else "clear",
        heating=marker.settings.sleeve.heating
        if on_tube and marker.marked
        else "even",  # without text no side is spared
    )


@lru_cache(maxsize=64)
def _without_tube(kind: str, role: str, cut_length_mm: float) -> Callable[..., MarkerRow]:
    """Return a function of id, place, text, branch and circuit that makes the rows of such markers.

    A pattern, since there is one row for every wire end: plain calls take 9 % more CPU on the whole way of a wire list.
    """
    like = MarkerRow("", kind, role, "", cut_length_mm=cut_length_mm)
    return pattern(like, "id", "place", "text", "branch", "circuit")


@dataclass(frozen=True, slots=True)
class OmittedMarker:
    """A marker that was not printed, and why."""

    row: MarkerRow
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobAbout:
    """What is kept of a job beside its unit, its harness and its sheets."""

    user: str = ""
    version: str = ""
    reason: str = ""
    date: str = ""  # as it stands on the sheets
    paper: str = ""  # of the bench sheet
    printer: str = ""  # the profile, as JSON
    output: str = ""  # where the files go, and in which form, as JSON


@dataclass(frozen=True, slots=True)
class NewJob(JobAbout):
    """A print that is about to be made.

    ``markers`` describes every marker by its id. One that stands on no sheet is kept as "blank"
    (a sleeve that is only cut). ``fonts`` maps the name of each font in the faces to the digest
    of its file. ``serial`` is what `Record.reserve_serial` returned, or None for the next number.
    """

    harness: Harness
    sheets: tuple[Sheet, ...]
    markers: Mapping[str, MarkerRow]
    omitted: tuple[OmittedMarker, ...] = ()
    fonts: Mapping[str, str] = field(default_factory=dict)
    serial: str | None = None
    revises: int = 0  # the print of the same unit at an older revision, of which this prints what has changed
    removed: tuple[str, ...] = ()  # ids of markers of that unit that are void once this is confirmed


@dataclass(frozen=True, slots=True)
class NewReprint:
    """Markers of one unit that are about to be printed again, laid out on ``sheets``.

    ``numbers`` are those markers that have R and a number as one line more, by id, with that number.
    """

    items: Sequence[Recorded]
    sheets: Sequence[Sheet]
    numbers: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Job:
    """A print or a reprint as it stands in the record."""

    id: int
    kind: str  # print | reprint | revision
    state: str  # pending | printed | cancelled
    unit: str  # the serial
    harness: str
    part_number: str
    revision: str
    time: str  # UTC, ISO 8601
    user: str
    version: str
    reason: str
    files: tuple[str, ...] = ()  # what was handed over, known once it is printed
    cancel_reason: str = ""
    repeats_job: int = 0  # a reprint's: the print that it repeats
    date: str = ""  # as it stands on the sheets
    paper: str = ""
    printer: str = ""
    output: str = ""  # where the files went, and in which form, as JSON
    unit_revision: str = ""  # that the unit was at before this job; "" where it was not printed


@dataclass(frozen=True, slots=True)
class Unit:
    """A built harness with its serial; ``harness`` and ``revision`` are of its latest print."""

    serial: str
    part_number: str
    harness: str
    revision: str
    state: str  # reserved | pending | printed | cancelled
    time: str
    jobs: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Recorded:
    """One marker of one unit, with all that is needed to draw it again.

    ``job``, ``sheet`` and ``cell`` say where it was printed first (or where it stood on the
    sheet that was asked for); sheet 0 and no face: it was not printed.
    """

    row: MarkerRow
    unit: str
    harness: str
    part_number: str
    revision: str
    job: int
    state: str  # printed | pending | void | removed | omitted | blank | cancelled
    print_count: int = 0  # how often, reprints included, cancelled and unconfirmed ones not
    void_count: int = 0  # how often it was declared void, also before it was printed again
    face: Face | None = None
    stock: Stock | None = None
    load: str = ""
    sheet: int = 0
    cell: str = ""
    x_mm: float = 0.0
    y_mm: float = 0.0
    reason: str = ""  # why it was omitted or declared void
    fonts: tuple[tuple[str, str], ...] = ()  # name and digest of the fonts in the face

    def piece(self) -> Piece:
        """Return the piece to be laid out again. Raises ValueError for a marker that was never printed."""
        if self.face is None or self.stock is None:
            raise ValueError(f"{self.row.id} was never printed")
        return piece_of(self.row, self.face, self.stock, self.load)


def piece_of(row: MarkerRow, face: Face, stock: Stock, group: str) -> Piece:
    """Return the piece that a recorded marker is laid out as."""
    return Piece(row.id, face, stock.name, group, f"{row.place} · {row.text}")


@dataclass(frozen=True, slots=True)
class PartialSheet:
    """The last sheet of a stock, where it has cells left: the cells that are used, by which job, and when."""

    stock: str
    used_cells: tuple[str, ...]
    job: int
    time: str


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a marker's history."""

    time: str
    state: str  # pending | printed | cancelled | void | omitted | blank
    unit: str
    user: str
    reason: str
    job: int = 0  # 0: no job (all prints of it are void)
    kind: str = ""  # print | reprint
    sheet: int = 0
    cell: str = ""


@dataclass(frozen=True, slots=True)
class RecordExtract:
    """All that is known of one unit or one job."""

    jobs: tuple[Job, ...]
    markers: tuple[Recorded, ...]


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What was perhaps meant. ``unit``: the unit that is named, ``unknown_unit``: and is not in the record."""

    unit: str = ""
    unknown_unit: str = ""
    units: str = ""  # of the record: how many, from which to which
    name: str = ""  # the nearest one of a marker, or of a unit

    @property
    def message(self) -> str:
        """Return what is known of it, for people."""
        if self.unknown_unit:
            return f"there is no unit {self.unknown_unit}, {self.units}"
        return f"unit {self.unit} has none of that name" if self.unit else ""

    @property
    def fix(self) -> str:
        """Return what to try."""
        hint = f"did you mean {self.name!r}? " if self.name else ""
        return f"{hint}an id, a place or a circuit is named whole; see labeler record list and show"


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import added to a record: numbers of jobs, states of jobs, voids."""

    unit: str
    jobs: int
    states: int
    voids: int


def changed_fonts(items: Iterable[Recorded], fonts: Mapping[str, str]) -> tuple[Problem, ...]:
    """Return a problem for every font that is missing today or is not the file of the first print.

    ``fonts`` maps the names of the fonts at hand to the digests of their files.
    """
    wanted = {pair: item for item in items for pair in item.fonts}
    return tuple(
        _font_problem(name, digest, item, fonts.get(name))
        for (name, digest), item in sorted(wanted.items(), key=lambda entry: entry[0])
        if fonts.get(name) != digest
    )


def _font_problem(name: str, digest: str, item: Recorded, now: str | None) -> Problem:
    where = SourceLocation(f"unit {item.unit}, {item.row.id}")
    if now is None:
        message = f'the font "{name}" it was printed with is not here'
    else:
        message = f'the font "{name}" is another file ({now[:12]}) than the first print used ({digest[:12]})'
    return Problem(where, message, "install the version of the font that printed it, or print the unit anew")
