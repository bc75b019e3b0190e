"""The values that the stages hand to one another. All lengths are millimetres, all frozen.

read makes a `Harness`; plan makes `Marker`s from it; size adds a `Seat` and the tubes that suit;
fit makes a `Fit` with its `Face`; lay out makes `Sheet`s of `Placed` pieces; record keeps them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from typing import Any, TypeVar

from labeler.errors import Problem, SourceLocation
from labeler.formulas.interval import Range as Range
from labeler.formulas.shrink import Limits

# ---------------------------------------------------------------- a harness as it was read


NOWHERE = SourceLocation("")


@dataclass(frozen=True, slots=True)
class Fact:
    """What was found out about a marker, with its numbers: a reason, a failure, a remedy. `labeler.wording` words it.

    A value is a number, a name, another fact, or a tuple of these.
    """

    kind: str  # a key of `labeler.wording.FORMS`
    values: tuple[tuple[str, object], ...] = ()


def fact(kind: str, /, **values: object) -> Fact:
    """Return a fact of a kind with its values by name."""
    return Fact(kind, tuple(values.items()))


@dataclass(frozen=True, slots=True)
class MarkerSettings:
    """Which kinds of marker are used, and what wire markers say."""

    branch: tuple[str, ...]
    wire: str
    wire_text: str
    wire_positions: str


@dataclass(frozen=True, slots=True)
class SleeveSettings:
    """Tube, heating, cut lengths, and the margins of a sleeve."""

    families: tuple[str, ...]
    colour: str
    heating: str
    marked_side_share: float
    text_on: str
    grips: str
    printed_sides: str
    text_direction: str
    reads: str
    pass_over_margin: float
    grip_margin: float
    preferred_range_margin: float
    expanded_oversize: float
    recovered_undersize: float
    end_margin_mm: float
    fold_margin_mm: float
    covering_overlap_mm: float
    cut_lengths_mm: tuple[float, ...]
    cut_step_mm: float
    min_cut_length_mm: float
    usual_cut_length_mm: float
    max_cut_length_mm: float | None
    waste_allowance: float


@dataclass(frozen=True, slots=True)
class PrintSettings:
    """Type, colour and what must be readable."""

    font: str
    colour: str
    min_contrast: float
    marginal_min_contrast: float
    reading_distance_mm: float
    wire_reading_distance_mm: float
    min_capital_height_mm: float
    min_visual_angle_arcmin: float
    preferred_visual_angle_arcmin: float
    max_visual_angle_arcmin: float
    readable_arc_deg: float
    max_arc_deg: float
    line_spacing: float
    min_width_ratio: float
    max_width_ratio: float
    marginal_min_width_ratio: float
    marginal_max_width_ratio: float
    min_stroke_ratio: float
    marginal_min_stroke_ratio: float
    min_dots_per_capital: float
    min_dots_per_stroke: float
    repeat_gap: float
    dpi: float


@dataclass(frozen=True, slots=True)
class InsertSettings:
    """Paper inserts under clear sleeves."""

    gap_mm: float
    sleeve_overhang_mm: float


@dataclass(frozen=True, slots=True)
class WireSettings:
    """What holds for single wires."""

    od_undersize: float
    max_per_cavity: float


@dataclass(frozen=True, slots=True)
class BundleSettings:
    """How a bundle is laid by hand."""

    hand_lay_factor: float
    hand_lay_allowance: float
    covering_allowance: float


@dataclass(frozen=True, slots=True)
class CodeSettings:
    """Machine-readable codes."""

    symbology: str
    on: tuple[str, ...]
    data: str
    error_correction: str
    min_module_mm: float
    min_dots_per_module: float
    extra_quiet_zone: float
    max_arc_deg: float
    scan_tilt_deg: float
    max_grid_nonuniformity: float
    min_axial_grade: str
    min_bar_height_mm: float
    allow_failed: bool
    text_gap_mm: float


@dataclass(frozen=True, slots=True)
class TagSettings:
    """The layout of a bag tag."""

    max_title_ratio: float
    max_title_share: float
    code_share: float
    column_gap: float
    heading_gap: float
    tick_box: float
    barcode_gap_mm: float
    title_gap: float
    tick_box_gap: float
    safety_message: str | None


@dataclass(frozen=True, slots=True)
class Settings:
    """What may be set for the whole harness and again on a circuit, branch, end or bag.

    The defaults, their limits and the reason for each are in ``data/settings.toml``, which also
    describes each key; `catalogue.default_settings` reads them. Keys are dotted: ``sleeve.heating``.
    """

    wire_type: str
    covering: str
    covering_wall_mm: float | None
    marker: MarkerSettings
    sleeve: SleeveSettings
    print: PrintSettings
    insert: InsertSettings
    wire: WireSettings
    bundle: BundleSettings
    code: CodeSettings
    tag: TagSettings

    @classmethod
    def of(cls, values: Mapping[str, object]) -> Settings:
        """Return the settings with a value for every dotted key."""
        groups: dict[str, dict[str, object]] = {}
        for key, value in values.items():
            group, _, name = key.rpartition(".")
            groups.setdefault(group, {})[name] = value
        inside = {group: GROUPS[group](**given) for group, given in groups.items() if group}
        return cls(**groups[""], **inside)  # type: ignore[arg-type]

    @classmethod
    def keys(cls) -> tuple[str, ...]:
        """Return all dotted keys."""
        flat = (item.name for item in fields(cls) if item.name not in GROUPS)
        return (*flat, *(f"{group}.{item.name}" for group, kind in GROUPS.items() for item in fields(kind)))

    def get(self, key: str) -> object:
        """Return the value of a dotted key."""
        value: object = self
        for name in key.split("."):
            value = getattr(value, name)
        return value

    def number(self, key: str) -> float:
        """Return the value of a dotted key that holds a number."""
        value = self.get(key)
        if not isinstance(value, float):
            raise TypeError(f"{key} holds no number")
        return value

    def changed(self, changes: Mapping[str, object]) -> Settings:
        """Return the settings with the values of dotted keys replaced."""
        flat: dict[str, object] = {}
        for key, value in changes.items():
            group, _, name = key.rpartition(".")
            if group:
                flat[group] = replace(flat.get(group, getattr(self, group)), **{name: value})  # type: ignore[type-var]
            else:
                flat[name] = value
        return replace(self, **flat)  # type: ignore[arg-type]


GROUPS: Mapping[str, type[Any]] = {
    "marker": MarkerSettings,
    "sleeve": SleeveSettings,
    "print": PrintSettings,
    "insert": InsertSettings,
    "wire": WireSettings,
    "bundle": BundleSettings,
    "code": CodeSettings,
    "tag": TagSettings,
}
"""The groups of settings, by the first part of a dotted key."""


@dataclass(frozen=True, slots=True)
class Pin:
    """A cavity of a connector; ``cavity`` is ``""`` where the connector has none (a ring terminal)."""

    connector: str
    cavity: str = ""

    def __str__(self) -> str:
        return f"{self.connector}:{self.cavity}" if self.cavity else self.connector

    @property
    def order(self) -> tuple[int, str]:
        """Return the sort key of its cavity: numbered ones by number, named ones after them."""
        numbered = self.cavity.isascii() and self.cavity.isdecimal() and len(self.cavity) < 10
        return int(self.cavity) if numbered else 1 << 31, self.cavity


@dataclass(frozen=True, slots=True)
class Connector:
    """A housing, terminal, splice or breakout, with what a sleeve would have to pass."""

    id: str
    kind: str = "connector"  # connector | splice | ring terminal | unterminated end | breakout
    description: str = ""
    cavities: int | None = None
    max_width_mm: float | None = None
    contact_width_mm: float | None = None
    where: SourceLocation = NOWHERE


@dataclass(frozen=True, slots=True)
class Circuit:
    """One electrical connection. ``size`` is canonical: ``20 AWG`` or ``0.5 mm2``, or ``""``."""

    id: str
    start: Pin
    finish: Pin
    size: str = ""
    wire_type: str = ""  # "": the settings' wire
    od_mm: float | None = None
    colour: str = ""
    signal: str = ""
    length_mm: float | None = None
    cable: str = ""
    where: SourceLocation = NOWHERE
    settings: Settings = field(kw_only=True)  # those that count for it, here and in what follows
    extra: tuple[tuple[str, str], ...] = ()  # columns that were not understood, kept as written


@dataclass(frozen=True, slots=True)
class Cable:
    """A jacketed cable; circuits name it to become its cores."""

    id: str
    od_mm: float | None = None
    where: SourceLocation = NOWHERE


@dataclass(frozen=True, slots=True)
class BranchEnd:
    """Where a branch stops, and the sleeve that stands there."""

    at: str  # a connector's id
    text: tuple[str, ...] = ()  # (): branch id and connector; one string may be broken, several are kept
    connector_installed: bool = False  # the connector is on
    contacts_crimped: bool = False  # the contacts are crimped, the connector is not on yet
    marked: bool = True
    cut_length_mm: float | None = None
    distance_from_connector_mm: float | None = None
    where: SourceLocation = NOWHERE
    settings: Settings = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class Branch:
    """One limb of the harness."""

    id: str
    circuits: tuple[str, ...] = ()  # (): all circuits that end at its ends' connectors
    ends: tuple[BranchEnd, ...] = ()
    bundle_diameter_mm: float | None = None  # measured over the bare bundle
    bundle_diameter_tolerance_mm: float = 0.0
    length_mm: float | None = None
    where: SourceLocation = NOWHERE
    settings: Settings = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class Item:
    """A line of a bag's contents."""

    item: str
    quantity: float = 1


@dataclass(frozen=True, slots=True)
class Bag:
    """A kit bag, with what belongs in it."""

    id: str
    branch: str = ""  # a branch's id, or "" (the whole harness, or a connector's bag)
    connector: str = ""
    contents: tuple[Item, ...] = ()
    where: SourceLocation = NOWHERE
    settings: Settings = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class Harness:
    """A whole harness as read. ``text`` is what was read, for the record; ``notes`` are warnings."""

    name: str
    part_number: str = ""
    revision: str = ""
    settings: Settings = field(kw_only=True)
    connectors: tuple[Connector, ...] = ()
    circuits: tuple[Circuit, ...] = ()
    cables: tuple[Cable, ...] = ()
    branches: tuple[Branch, ...] = ()
    bags: tuple[Bag, ...] = ()
    notes: tuple[Problem, ...] = ()
    where: SourceLocation = NOWHERE
    text: bytes = b""


# ---------------------------------------------------------------- what the tables hold


@dataclass(frozen=True, slots=True)
class Tube:
    """One size of heat-shrink tube. Supplied is the minimum inside, recovered the maximum inside.

    ``longitudinal_change`` is the change of length at full recovery, the lower limit of
    ``[c, 0]``: -0.05 is 5 % shorter. ``liner_mm`` is the part of the wall that melts and flows.
    """

    family: str
    name: str  # "AS23053/5 1/4"
    expanded_id_mm: float
    recovered_id_mm: float
    recovered_wall_mm: float
    min_recovered_wall_mm: float
    max_recovered_wall_mm: float
    liner_mm: float = 0.0
    longitudinal_change: float = 0.0
    lay_flat_width_mm: float | None = None
    source: str = ""

    @property
    def ratio(self) -> float:
        """Return supplied over recovered inside diameter."""
        return self.expanded_id_mm / self.recovered_id_mm

    def limits(self, supplied_over: float = 0.0, recovered_under: float = 0.0) -> Limits:
        """Return between what real tube of this size lies.

        ``supplied_over`` is by what share it may be wider than its supplied minimum,
        ``recovered_under`` by what share it may recover below its recovered maximum.
        """
        return Limits(
            Range(self.expanded_id_mm, self.expanded_id_mm * (1 + supplied_over)),
            Range(self.recovered_id_mm * (1 - recovered_under), self.recovered_id_mm),
            Range(self.min_recovered_wall_mm, self.max_recovered_wall_mm),
            Range(self.longitudinal_change, 0.0),
            Range(0.0, 1.0 if self.liner_mm else 0.0),
            self.liner_mm,
        )


@dataclass(frozen=True, slots=True)
class WireDiameter:
    """Finished diameter of an insulated wire, with the table it is from.

    ``from_nominal``: the table states no minimum and no tolerance, so the low end is the nominal.
    """

    range_mm: Range
    source: str
    from_nominal: bool = False


@dataclass(frozen=True, slots=True)
class Stock:
    """What is printed on. See ``layouts/README.md`` for the keys."""

    name: str
    kind: str  # grid | roll | card | reel
    marker: str  # wrap | tag | sleeve | insert | flag
    description: str
    page_width_mm: float = 0.0  # of a reel the longest strip; 0 on a reel: the piece is the page
    page_height_mm: float = 0.0  # of a roll: of one feed
    left_margin_mm: float = 0.0  # page edge to the first cell
    top_margin_mm: float = 0.0
    columns: int = 1
    rows: int = 1  # on a card: as many as the lay-flat width allows
    cell_width_mm: float = 0.0  # along the wire
    cell_height_mm: float = 0.0  # around the wire; on a card the lay-flat width of the tube
    pitch_x_mm: float = 0.0
    pitch_y_mm: float = 0.0  # on a card: lay-flat width + gap_mm
    gap_mm: float = 0.0  # between neighbouring pieces of a card or strip; of a roll between two feeds
    black_mark_mm: float = 0.0  # roll: height of the black mark on the back of the liner; 0: the gap is sensed
    leader_mm: float = 0.0  # reel, roll: length at the start that carries the header: cut off, left on the liner
    bottom_margin_mm: float = 0.0  # card: free at the foot
    corner_radius_mm: float = 0.0
    cell_margin_mm: float = 0.0  # inside a cell, kept free of print
    print_zone_mm: float = 0.0  # wrap: height of the printed zone, at the top of the cell
    thickness_mm: float = 0.0  # wrap, flag, insert: thickness of the film or paper
    hole_diameter_mm: float = 0.0  # tag: diameter of the punch hole, middle of the left edge
    hole_from_left_mm: float = 0.0  # tag: cell edge to the middle of the hole
    blocked_cells: str = ""  # cells that are never printed: "A1-B3, C7"
    cut_lines: bool = True  # draw the outline of the cells (plain paper), or leave die cuts alone
    ruler_x_mm: float = 0.0  # where the 50 mm ruler starts, from the page's lower left corner
    ruler_y_mm: float = 0.0
    where: SourceLocation = NOWHERE


# ---------------------------------------------------------------- what is drawn on one piece


@dataclass(frozen=True, slots=True)
class Run:
    """One line of text: baseline start in mm from the face's lower left corner."""

    text: str
    font: str
    size_mm: float  # em size along the line
    x_mm: float
    y_mm: float
    stretch: float = 1.0  # across the piece: what is printed is this much taller
    turn: int = 0  # of the line, anticlockwise, degrees: 0 along the piece, 90 across it, 180 and 270


@dataclass(frozen=True, slots=True)
class Box:
    """A stroked rectangle (a tick box), lower left corner, mm."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Code:
    """A symbol that is not placed yet: rows of modules, ``1`` dark, row 0 on top; one row: bars.

    ``quiet``: modules that stay free all round, of bars at both ends. ``level``: error correction (QR).
    """

    symbology: str  # a key of `labeler.codes.symbols.SYMBOLOGIES`
    data: str
    rows: tuple[str, ...]
    quiet: int
    error_correction: str = ""

    @property
    def linear(self) -> bool:
        """Return whether it is a row of bars."""
        return len(self.rows) == 1


@dataclass(frozen=True, slots=True)
class Symbol:
    """A code in its place: lower left corner and module size in mm; of bars, module y is their height.

    ``repeats`` stand one step apart: the same symbol several times on one piece.
    """

    symbology: str
    data: str
    rows: tuple[str, ...]
    x_mm: float
    y_mm: float
    module_x_mm: float
    module_y_mm: float
    repeats: int = 1
    step_x_mm: float = 0.0
    step_y_mm: float = 0.0

    def corners(self) -> tuple[tuple[float, float], ...]:
        """Return the lower left corner of each copy, mm."""
        return tuple(
            (self.x_mm + copy * self.step_x_mm, self.y_mm + copy * self.step_y_mm) for copy in range(self.repeats)
        )


@dataclass(frozen=True, slots=True)
class Face:
    """All that is drawn on one piece, relative to its lower left corner.

    ``runs`` are drawn ``repeats`` times, each ``repeat_pitch_mm`` lower than the one before
    (a wrap says its text several times around the wire). Two faces that are equal are one
    row in the record.
    """

    width_mm: float
    height_mm: float
    runs: tuple[Run, ...] = ()
    repeats: int = 1
    repeat_pitch_mm: float = 0.0
    boxes: tuple[Box, ...] = ()
    symbol: Symbol | None = None
    passes: int = 1  # 2: flat tube lettered on both faces is turned over and printed again


# ---------------------------------------------------------------- markers


PASS, MARGINAL, FAIL = RESULTS = "pass", "marginal", "fail"


@dataclass(frozen=True, slots=True)
class Marker:
    """One place that is to be marked, and what shall stand on it; nothing is computed yet."""

    id: str
    kind: str  # sleeve | wrap | insert | flag | tag
    role: str  # branch end | wire end | wire | bag
    place: str  # "J4", "J4:2", "K4"
    text: tuple[str, ...]
    breakable: bool  # one string that may be broken at its separators
    settings: Settings
    marked: bool = True
    branch: str = ""
    circuit: str = ""
    far: str = ""  # the other end
    where: SourceLocation = NOWHERE
    position_mm: float | None = None  # on a wire: from its start; None at its ends, where nothing is measured
    single: bool = False  # on a branch of one wire or cable: read from as near as a wire

    @property
    def on_wire(self) -> bool:
        """Return whether it marks a single wire."""
        return self.role in ("wire end", "wire")


@dataclass(frozen=True, slots=True)
class TagWords:
    """What a tag says: a title, lines under it, rows to tick off.

    ``summary`` stands in for the rows where the tag cannot hold them all; it says how many there are
    and where they are listed. ``""``: the rows must fit. ``safety_message`` stands at the foot, at the least
    height; where it does not go in beside the rows, the tag goes without and says so.
    ``on_bench_sheet``: one of the rows refers to the bench sheet, as every summary does.
    """

    title: str
    headings: tuple[str, ...] = ()
    rows: tuple[str, ...] = ()
    summary: str = ""
    safety_message: str = ""
    on_bench_sheet: bool = False


# ---------------------------------------------------------------- seats and fits


CONTACTS, CONTACT, BUNDLE = "contacts", "contact", "bundle"
"""Kinds of `Obstacle` that are no connector: crimped contacts, the one of a single wire, wires farther along."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What a sleeve must slide over besides its own seat: a connector by its kind, or what is named above."""

    kind: str
    place: str
    diameter_mm: float

    @property
    def avoidable(self) -> bool:
        """Return whether a sleeve that goes on early enough is spared it."""
        return self.kind != BUNDLE


CRIMP_CONTACTS, CRIMP_CONTACT, CRIMP_TERMINAL = "crimp contacts", "crimp contact", "crimp terminal"
MAKE_SPLICE, INSTALL_CONNECTOR, JOIN_BRANCHES = "make splice", "install connector", "join branches"


@dataclass(frozen=True, slots=True)
class ClosingStep:
    """A step of the work that closes an end, so that nothing can be slid on there afterwards."""

    action: str  # one of those above
    places: tuple[str, ...] = ()  # (): at the marker's own end


@dataclass(frozen=True, slots=True)
class Installation:
    """How a sleeve or covering comes onto its branch or wire.

    ``access_end`` is the end that it is slid on from, ``""`` where it cannot be or where that goes
    without saying; ``own`` tells whether it belongs there. ``terminated`` is its own end, where that is
    already terminated and another one serves.
    """

    access_end: str = ""
    own: bool = True
    obstacle: Obstacle | None = None  # what is on the access end
    before: ClosingStep | None = None  # None: it still goes on when all is done
    terminated: str = ""


@dataclass(frozen=True, slots=True)
class InstallationStep:
    """One thing that is slid onto a branch: a sleeve (``place`` an end), or a ``covering`` (``place`` "")."""

    branch: str
    place: str
    covering: str
    pass_over_mm: float
    how: Installation


@dataclass(frozen=True, slots=True)
class PackedBundle:
    """Wires and cables, packed tightest at their thinnest and laid by hand at their thickest, mm."""

    count: int
    packed_mm: float
    hull_mm: float
    hand_laid_mm: float
    factor: float
    allowance: float


@dataclass(frozen=True, slots=True)
class MeasuredBundle:
    """A bundle that was measured without its covering, mm."""

    diameter_mm: float
    tolerance_mm: float


@dataclass(frozen=True, slots=True)
class SeatCovering:
    """A protective covering on a seat; ``source`` is the table's, ``""`` where the harness file gives its wall."""

    name: str
    wall_mm: Range  # as it lies under a shrunk tube
    source: str
    squeezed_mm: Range | None = None  # drawn tight or squeezed by hand, while something slides over it; None: as laid

    @property
    def passed_wall_mm(self) -> Range:
        """Return the wall that a sleeve slides over."""
        return self.squeezed_mm or self.wall_mm


@dataclass(frozen=True, slots=True)
class SeatSection:
    """The part of a seat past the edge of its covering, seen from where the lettering stands: it carries none."""

    grip: Range  # mm
    towards_end: bool = True  # False: the lettering stands towards the end of the branch


@dataclass(frozen=True, slots=True)
class Seat:
    """The diameters that a marker meets, mm, and what they are of.

    ``pass_over``: the largest it goes over on its way (tightest packing … hand-laid, covering and
    obstacles included). ``grip``: what it closes on (smallest part of the seat).
    ``text_diameter``: what the lettering lies on. ``section``: the other part, where the marker lies on both
    sides of a covering's edge. ``wires`` and ``cables`` lie in the bundle, none of either where it was
    measured and they are not known; a single wire has its name instead, a diameter alone neither.
    """

    pass_over: Range
    grip: Range
    text_diameter: Range
    wires: int = 0
    cables: int = 0
    wire: str = ""
    basis: PackedBundle | MeasuredBundle | WireDiameter | None = None
    covering: SeatCovering | None = None
    installation: Installation | None = None  # None: it is laid around, or nothing is known
    obstacle: Obstacle | None = None  # what makes pass_over larger than the seat itself
    section: SeatSection | None = None


@dataclass(frozen=True, slots=True)
class TubeChoice:
    """The tubes that slide over a seat and grip it, in the order to try them, and why the others do not.

    ``marginal`` says of a tube, by its name, which requirement it meets without its margin only, or with it for the
    middle of the range only. A tube that is not in it meets both with their margins over the whole range.
    """

    tubes: tuple[Tube, ...]
    refusals: tuple[Fact, ...] = ()
    fixes: tuple[Fact, ...] = ()
    marginal: Mapping[str, tuple[Fact, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CodeFit:
    """Where a code stands and how well: sizes after shrinking, mm; ``failures`` names every limit it breaks.

    ``grid_nonuniformity`` is the largest distance of a module from an even grid, in modules, at the aim error;
    ``axial_nonuniformity`` the largest axial non-uniformity; both over the whole range of the seat.
    """

    symbology: str
    data: str
    columns: int
    rows: int
    error_correction: str
    dots_per_module: tuple[int, int]  # printer dots in a module, along and across; of bars, across is their height
    module_mm: float  # smallest module after shrinking
    arc_deg: float = 0.0
    grid_nonuniformity: float = 0.0
    axial_nonuniformity: float = 0.0
    failures: tuple[Fact, ...] = ()

    @property
    def size(self) -> str:
        """Return its size in modules, for people."""
        return f"{self.columns} modules" if self.rows == 1 else f"{self.rows} x {self.columns} modules"


@dataclass(frozen=True, slots=True)
class Capital:
    """Height of the capitals, mm: as printed, after shrinking (lowest, highest), and required."""

    printed: float
    low: float
    high: float
    required: float
    required_by: str = ""


@dataclass(frozen=True, slots=True)
class SleeveSection:
    """A part of a sleeve: its length cut flat and, after shrinking, from … to, mm."""

    cut_mm: float
    shrunk_mm: Range


@dataclass(frozen=True, slots=True)
class Surface:
    """What print stands on, and how it comes out there: one for all markers that are alike."""

    printable_around_mm: float = 0.0  # height that print may fill
    lay_flat_width_mm: float = 0.0  # of a tube
    circumferential_scale: Range | None = None
    marked_side_scale: Range | None = None
    longitudinal_scale: Range | None = None
    text_stretch: float = 1.0  # of the print across the piece
    text_direction: str = ""  # along | around; "" where it does not apply
    width_ratio: Range | None = None  # width over height of the H after shrinking
    stroke_ratio: Range | None = None  # width of a stroke over height of a capital after shrinking
    contrast: float = 0.0  # of print to tube; 0 where a colour is not known


@dataclass(frozen=True, slots=True)
class Fit:
    """The answer for one marker: what is printed, on what, and whether it will read."""

    marker: Marker
    result: str  # pass | marginal | fail
    reasons: tuple[Fact, ...]
    lines: tuple[str, ...] = ()
    seat: Seat | None = None
    tube: Tube | None = None
    stock: str = ""
    face: Face | None = None  # None: nothing can be drawn, or a plain sleeve
    capital_height_mm: Capital | None = None
    cut_length_mm: float = 0.0
    tube_od_mm: tuple[float, float, float] | None = None  # supplied, low, high
    text_arc_deg: float = 0.0
    font: str = ""
    font_size_mm: float = 0.0
    surface: Surface = Surface()
    fixes: tuple[Fact, ...] = ()
    sections: tuple[SleeveSection, ...] = ()  # of a sleeve: where the text stands, then what is past an edge
    code: CodeFit | None = None
    on_bench_sheet: bool = False  # of a tag: it refers to the bench sheet, where its rows are


# ---------------------------------------------------------------- sheets


@dataclass(frozen=True, slots=True)
class Piece:
    """One printed item on its way to a sheet."""

    marker: str
    face: Face
    stock: str
    load: str = ""  # loaded together: "AS23053/5 1/4, white"
    label: str = ""  # for people: "J4 · DEPTH J4"


@dataclass(frozen=True, slots=True)
class Placed:
    """A piece in its cell."""

    piece: Piece
    cell: str  # "B3": column letter, row number
    x_mm: float  # lower left corner, from the page's lower left corner
    y_mm: float


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page of one stock."""

    stock: Stock
    number: int  # counted over the whole job, from 1
    width_mm: float
    height_mm: float
    load: str = ""
    placed: tuple[Placed, ...] = field(default=())  # none: the page carries the header of what follows
    about: str = ""  # of what is cut from tube: "cut 4 x 30, 2 x 45 mm"


# ---------------------------------------------------------------- many values that are alike


Value = TypeVar("Value")


def pattern(like: Value, *names: str) -> Callable[..., Value]:
    """Return a function of the named fields that makes values like this one, in about a fifth of `replace`'s time.

    It is written out as `dataclasses` writes an ``__init__`` and sets the fields as that does: for
    frozen dataclasses with slots. Raises TypeError for one with a ``__post_init__``.

    >>> from labeler.model import Range
    >>> lower = pattern(Range(1.0, 2.0), "low")
    >>> lower(0.5)
    Range(low=0.5, high=2.0)
    """
    kind: Any = type(like)
    others, patterns = _written(kind, names)
    made: Callable[..., Value] = patterns(*(getattr(like, name) for name in others))
    return made


@lru_cache(maxsize=64)
def _written(kind: Any, names: tuple[str, ...]) -> tuple[tuple[str, ...], Callable[..., Any]]:
    """Return the other fields of a class, and a function of their values that returns such a function."""
    if hasattr(kind, "__post_init__"):
        raise TypeError(f"{kind.__name__} has a __post_init__, which a pattern would pass over")
    every = [field.name for field in fields(kind)]
    others = tuple(name for name in every if name not in names)
    setters = {f"_set_{name}": getattr(kind, name).__set__ for name in every}
    lines = [
        f"def patterns({', '.join(others)}):",
        f" def _make({', '.join(names)}):",
        "  _made = _new(_class)",
        *(f"  _set_{name}(_made, {name})" for name in every),
        "  return _made",
        " return _make",
    ]
    known: dict[str, Any] = {"_new": object.__new__, "_class": kind, **setters}
    exec("\n".join(lines), known)
    return others, known["patterns"]
