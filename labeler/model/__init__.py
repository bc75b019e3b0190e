"""The values that the stages hand to one another. All lengths are millimetres, all frozen.

read makes a `Harness`; plan makes `Marker`s from it; size adds a `Seat` and the tubes that suit;
fit makes a `Fit` with its `Face`; lay out makes `Sheet`s of `Placed` pieces; record keeps them.
"""

from __future__ import annotations

from labeler.model.drawn import LINEAR, Box, Code, Face, Run, Symbol
from labeler.model.given import (
    NOWHERE,
    Bag,
    Branch,
    BranchEnd,
    Cable,
    Circuit,
    Connector,
    Harness,
    Item,
    Pin,
    Range,
    Settings,
)
from labeler.model.marking import (
    DOES_NOT_FIT,
    FITS,
    SEE_BENCH_SHEET,
    TIGHT,
    Capital,
    CodeFit,
    Fit,
    Marker,
    Seat,
    SeatPart,
    Step,
    TagWords,
    ThreadStep,
    TubeChoice,
)
from labeler.model.sheets import Piece, Placed, Sheet
from labeler.model.shelf import Stock, Tube, WireDiameter

__all__ = [
    "DOES_NOT_FIT",
    "FITS",
    "LINEAR",
    "NOWHERE",
    "SEE_BENCH_SHEET",
    "TIGHT",
    "Bag",
    "Box",
    "Branch",
    "BranchEnd",
    "Cable",
    "Capital",
    "Circuit",
    "Code",
    "CodeFit",
    "Connector",
    "Face",
    "Fit",
    "Harness",
    "Item",
    "Marker",
    "Piece",
    "Pin",
    "Placed",
    "Range",
    "Run",
    "Seat",
    "SeatPart",
    "Settings",
    "Sheet",
    "Step",
    "Stock",
    "Symbol",
    "TagWords",
    "ThreadStep",
    "Tube",
    "TubeChoice",
    "WireDiameter",
]
