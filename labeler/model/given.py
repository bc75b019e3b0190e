"""What read makes: a harness, as it was written."""

from __future__ import annotations

from dataclasses import dataclass

from labeler.errors import Problem, Where

NOWHERE = Where("")


@dataclass(frozen=True, slots=True)
class Range:
    """Lowest and highest value of a quantity that is not known exactly."""

    low: float
    high: float

    def __add__(self, other: float) -> Range:
        return Range(self.low + other, self.high + other)


@dataclass(frozen=True, slots=True)
class Settings:
    """What may be set for the whole harness and again on a circuit, branch, end or bag.

    The defaults, their limits and the reason for each are in ``data/choices.toml``, which also
    is where the key's meaning is described; `catalogue.default_settings` reads them.
    """

    wire: str
    covering: str
    covering_wall_mm: float | None
    sleeve: tuple[str, ...]
    heating: str
    lettered_share: float
    lettering_on: str
    faces: str
    direction: str
    reading: str
    branch_marker_kind: str
    wire_marker_kind: str
    wire_marker: str
    wire_marks: str
    code: str
    code_on: tuple[str, ...]
    code_payload: str
    code_correction: str
    code_module_mm: float
    code_dots: float
    code_quiet_extra: float
    code_arc_deg: float
    code_aim_deg: float
    code_grid: float
    code_axial_grade: str
    code_bar_mm: float
    code_anyway: str
    font: str
    tube_colour: str
    print_colour: str
    min_contrast: float
    reading_distance_mm: float
    wire_reading_distance_mm: float
    min_capital_mm: float
    required_angle_arcmin: float
    preferred_angle_arcmin: float
    largest_angle_arcmin: float
    reading_arc_deg: float
    turning_arc_deg: float
    slip: float
    grip: float
    preferred_share: float
    supplied_over: float
    recovered_under: float
    wire_under: float
    hand_lay_factor: float
    hand_lay_allowance: float
    end_margin_mm: float
    edge_margin_mm: float
    line_pitch: float
    cut_lengths_mm: tuple[float, ...]
    cut_step_mm: float
    shortest_cut_mm: float
    longest_cut_mm: float
    overlap_mm: float
    cut_allowance: float
    covering_allowance: float
    printer_dpi: float
    dots_per_capital: float
    dots_per_stroke: float
    strip_gap_mm: float
    strip_inset_mm: float
    narrowest_letter: float
    widest_letter: float
    wires_per_cavity: float
    wrap_copy_gap: float
    code_gap_mm: float
    tag_title_height: float
    tag_title_share: float
    tag_code_share: float
    tag_column_gap: float
    tag_row_gap: float
    tag_tick: float
    tag_bars_gap_mm: float
    tag_title_gap: float
    tag_tick_gap: float
    tag_caution: str | None


@dataclass(frozen=True, slots=True)
class Pin:
    """A cavity of a connector; ``cavity`` is ``""`` where the connector has none (a ring terminal)."""

    connector: str
    cavity: str = ""

    def __str__(self) -> str:
        return f"{self.connector}:{self.cavity}" if self.cavity else self.connector


@dataclass(frozen=True, slots=True)
class Connector:
    """A housing, terminal, splice or junction, with what a sleeve would have to pass."""

    id: str
    kind: str = "connector"  # connector | splice | ring terminal | loose end | junction
    description: str = ""
    cavities: int | None = None
    outside_mm: float | None = None
    contact_outside_mm: float | None = None
    where: Where = NOWHERE


@dataclass(frozen=True, slots=True)
class Circuit:
    """One electrical connection. ``size`` is canonical: ``20 AWG`` or ``0.5 mm2``, or ``""``."""

    id: str
    start: Pin
    finish: Pin
    size: str = ""
    wire: str = ""  # "": the settings' wire
    outside_mm: float | None = None
    colour: str = ""
    signal: str = ""
    length_mm: float | None = None
    cable: str = ""
    where: Where = NOWHERE
    settings: Settings | None = None  # None: the harness's own
    free: tuple[tuple[str, str], ...] = ()  # columns that were not understood, kept as written


@dataclass(frozen=True, slots=True)
class Cable:
    """A jacketed cable; circuits name it to become its cores."""

    id: str
    outside_mm: float | None = None
    where: Where = NOWHERE


@dataclass(frozen=True, slots=True)
class BranchEnd:
    """Where a branch stops, and the sleeve that stands there."""

    at: str  # a connector's id
    text: tuple[str, ...] = ()  # (): branch id and connector; one string may be broken, several are kept
    fitted: bool = False  # the connector is on
    crimped: bool = False  # the contacts are crimped, the connector is not on yet
    lettered: bool = True
    cut_length_mm: float | None = None
    from_end_mm: float | None = None
    where: Where = NOWHERE
    settings: Settings | None = None


@dataclass(frozen=True, slots=True)
class Branch:
    """One limb of the harness."""

    id: str
    circuits: tuple[str, ...] = ()  # (): all circuits that end at its ends' connectors
    ends: tuple[BranchEnd, ...] = ()
    diameter_mm: float | None = None  # measured over the bare bundle
    diameter_tolerance_mm: float = 0.0
    length_mm: float | None = None
    where: Where = NOWHERE
    settings: Settings | None = None


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
    where: Where = NOWHERE
    settings: Settings | None = None


@dataclass(frozen=True, slots=True)
class Harness:
    """A whole harness as read. ``text`` is what was read, for the record; ``notes`` are warnings."""

    name: str
    part_number: str = ""
    revision: str = ""
    settings: Settings | None = None  # filled by every reader; None only in tests that need none
    connectors: tuple[Connector, ...] = ()
    circuits: tuple[Circuit, ...] = ()
    cables: tuple[Cable, ...] = ()
    branches: tuple[Branch, ...] = ()
    bags: tuple[Bag, ...] = ()
    notes: tuple[Problem, ...] = ()
    where: Where = NOWHERE
    text: bytes = b""
