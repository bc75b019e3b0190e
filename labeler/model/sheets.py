"""What lay out makes: pieces in their places."""

from __future__ import annotations

from dataclasses import dataclass, field

from labeler.model.drawn import Face
from labeler.model.shelf import Stock


@dataclass(frozen=True, slots=True)
class Piece:
    """One printed item on its way to a sheet."""

    marker: str
    face: Face
    stock: str
    group: str = ""  # loaded together: "AS23053/5 1/4, white"
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
    group: str = ""
    placed: tuple[Placed, ...] = field(default=())  # none: the page carries the header of what follows
    about: str = ""  # of what is cut from tube: "cut 4 x 30, 2 x 45 mm"
