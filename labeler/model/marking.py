"""What plan, size and fit make: markers, what they meet, whether they read."""

from __future__ import annotations

from dataclasses import dataclass

from labeler.errors import Where
from labeler.model.drawn import Face
from labeler.model.given import NOWHERE, Range, Settings
from labeler.model.shelf import Tube

FITS, TIGHT, DOES_NOT_FIT = "fits", "tight", "does not fit"


@dataclass(frozen=True, slots=True)
class Marker:
    """One place that is to be marked, and what shall stand on it; nothing is computed yet."""

    id: str
    kind: str  # sleeve | wrap | insert | flag | tag
    role: str  # branch end | wire end | wire | bag
    at: str  # "J4", "J4:2", "K4"
    text: tuple[str, ...]
    breakable: bool  # one string that may be broken at its separators
    settings: Settings
    lettered: bool = True
    branch: str = ""
    circuit: str = ""
    far: str = ""  # the other end
    where: Where = NOWHERE
    position_mm: float | None = None  # on a wire: from its start; None at its ends, where nothing is measured

    @property
    def on_wire(self) -> bool:
        """Return whether it marks a single wire."""
        return self.role in ("wire end", "wire")


SEE_BENCH_SHEET = "see the bench sheet"


@dataclass(frozen=True, slots=True)
class TagWords:
    """What a tag says: a title, lines under it, rows to tick off.

    ``summary`` stands in for the rows where the tag cannot hold them all; it says how many there are
    and where they are listed. ``""``: the rows must fit. ``caution`` stands at the foot, at the least
    height; where it does not go in beside the rows, the tag goes without and says so.
    """

    title: str
    headings: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()
    summary: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """The part of a seat past the edge of a covering, seen from where the lettering stands: it carries none."""

    closes_on: Range  # mm
    on: str  # for people
    towards_end: bool = True  # False: the lettering stands towards the end of the branch


@dataclass(frozen=True, slots=True)
class Seat:
    """The diameters that a marker meets, mm.

    ``passes``: the largest it goes over on its way (tightest packing … hand-laid, covering and
    obstacles included). ``closes_on``: what it grips (smallest part of the seat).
    ``text_on``: what the lettering lies on. ``step``: the other part, where the marker lies on both
    sides of a covering's edge.
    """

    passes: Range
    closes_on: Range
    text_on: Range
    sits_on: str  # for people: "4 wires, braided sleeving"
    slip_on: str = ""  # what to thread on, from where, and before which step
    obstacle: str = ""  # what makes passes larger than the seat itself
    sources: tuple[str, ...] = ()
    in_time: str = ""  # how to spare it the obstacle; "" where nothing is in the way
    step: Step | None = None


@dataclass(frozen=True, slots=True)
class ThreadStep:
    """One thing that is threaded onto a branch: a sleeve (``at`` an end), or a covering (``at`` "")."""

    branch: str
    what: str  # sleeve, or the name of the covering
    at: str
    from_end: str  # "": from none, where the branch lies between junctions
    before: str  # the step that would shut the way; "": it can be threaded at any time
    passes_mm: float
    how: str  # for people


@dataclass(frozen=True, slots=True)
class TubeChoice:
    """The tubes that pass and grip a seat, in the order to try them, and why the others do not."""

    tubes: tuple[Tube, ...]
    refusals: tuple[str, ...] = ()
    ways_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CodeFit:
    """Where a code stands and how well: sizes after shrinking, mm; ``faults`` names every limit it breaks.

    ``grid`` is the largest distance of a module from an even grid, in modules, at the aim error;
    ``axial`` the largest axial non-uniformity; both over the whole range of the seat.
    """

    kind: str
    payload: str
    columns: int
    rows: int
    level: str
    dots: tuple[int, int]  # printer dots in a module, along and across; of bars, across is their height
    module_mm: float  # smallest module after shrinking
    arc_deg: float = 0.0
    grid: float = 0.0
    axial: float = 0.0
    faults: tuple[str, ...] = ()

    @property
    def size(self) -> str:
        """Return its size in modules, for people."""
        return f"{self.columns} modules" if self.rows == 1 else f"{self.rows} x {self.columns} modules"


@dataclass(frozen=True, slots=True)
class Capital:
    """Height of the capitals, mm: as printed, after shrinking (lowest, highest), and required."""

    flat: float
    low: float
    high: float
    required: float
    required_by: str = ""


@dataclass(frozen=True, slots=True)
class SeatPart:
    """A part of a sleeve: what it lies on, its length cut flat and, after shrinking, from … to, mm."""

    on: str
    flat_mm: float
    shrunk_mm: Range


@dataclass(frozen=True, slots=True)
class Fit:
    """The answer for one marker: what is printed, on what, and whether it will read."""

    marker: Marker
    verdict: str  # fits | tight | does not fit
    reasons: tuple[str, ...]
    lines: tuple[str, ...] = ()
    seat: Seat | None = None
    tube: Tube | None = None
    stock: str = ""
    face: Face | None = None  # None: nothing can be drawn, or a plain sleeve
    capital: Capital | None = None
    cut_length_mm: float = 0.0
    outside_mm: tuple[float, float, float] | None = None  # supplied, low, high
    lay_flat_mm: float = 0.0
    printable_mm: float = 0.0
    print_scale: Range | None = None
    face_scale: Range | None = None
    along_scale: Range | None = None
    arc_deg: float = 0.0
    stretch: float = 1.0
    font: str = ""
    size_mm: float = 0.0
    ways_out: tuple[str, ...] = ()
    direction: str = ""  # along | around; "" where it does not apply
    parts: tuple[SeatPart, ...] = ()  # of a sleeve: where the text stands, then what is past an edge
    proportion: Range | None = None  # width over height of the H after shrinking
    stroke: Range | None = None  # width of a stroke over height of a capital after shrinking
    contrast: float = 0.0  # of print to tube; 0 where a colour is not known
    code: CodeFit | None = None
