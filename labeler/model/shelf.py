"""What the catalogue holds: tube, wire, stock."""

from __future__ import annotations

from dataclasses import dataclass

from labeler.errors import Where
from labeler.model.given import NOWHERE, Range


@dataclass(frozen=True, slots=True)
class Tube:
    """One size of heat-shrink tube. Supplied is the minimum inside, recovered the maximum inside.

    ``longitudinal_change`` is the change of length at full recovery, the lower limit of
    ``[c, 0]``: -0.05 is 5 % shorter. ``liner_mm`` is the part of the wall that melts and flows.
    """

    family: str
    name: str  # "AS23053/5 1/4"
    supplied_mm: float
    recovered_mm: float
    wall_mm: float
    wall_low_mm: float
    wall_high_mm: float
    liner_mm: float = 0.0
    longitudinal_change: float = 0.0
    lay_flat_mm: float | None = None
    source: str = ""

    @property
    def ratio(self) -> float:
        """Return supplied over recovered inside diameter."""
        return self.supplied_mm / self.recovered_mm


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
    takes: str  # wrap | tag | sleeve | insert | flag
    description: str
    page_width_mm: float = 0.0  # of a reel the longest strip; 0 on a reel: the piece is the page
    page_height_mm: float = 0.0  # of a roll: of one feed
    left_mm: float = 0.0  # page edge to the first cell
    top_mm: float = 0.0
    columns: int = 1
    rows: int = 1  # on a card: as many as the lay-flat width allows
    cell_width_mm: float = 0.0  # along the wire
    cell_height_mm: float = 0.0  # around the wire; on a card the lay-flat width of the tube
    pitch_x_mm: float = 0.0
    pitch_y_mm: float = 0.0  # on a card: lay-flat width + gap_mm
    gap_mm: float = 0.0  # between neighbouring pieces of a card or strip; of a roll between two feeds
    mark_mm: float = 0.0  # roll: height of the black mark on the back of the liner; 0: the gap is sensed
    leader_mm: float = 0.0  # reel, roll: length at the start that carries the header: cut off, left on the liner
    bottom_mm: float = 0.0  # card: free at the foot
    corner_radius_mm: float = 0.0
    margin_mm: float = 0.0  # inside a cell, kept free of print
    print_around_mm: float = 0.0  # wrap: height of the printed zone, at the top of the cell
    film_mm: float = 0.0  # wrap, flag, insert: thickness of the film or paper
    hole_mm: float = 0.0  # tag: diameter of the punch hole, middle of the left edge
    hole_inset_mm: float = 0.0  # tag: cell edge to the middle of the hole
    used: str = ""  # cells that are never printed: "A1-B3, C7"
    cut_lines: bool = True  # draw the outline of the cells (plain paper), or leave die cuts alone
    ruler_x_mm: float = 0.0  # where the 50 mm ruler starts, from the page's lower left corner
    ruler_y_mm: float = 0.0
    where: Where = NOWHERE
