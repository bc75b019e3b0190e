"""Lay out: pieces go to the cells of their stock, sheet after sheet."""

from labeler.layout.cells import TOLERANCE_MM, Cell, blocks_of, cell_name, cells, field_of, parse_cell, parse_cells
from labeler.layout.place import lay_out, taken_cells, used_after
from labeler.layout.wrong import (
    HEAD_STRIP_MM,
    RULER_AREA_MM,
    RULER_MM,
    stock_problems,
)

__all__ = [
    "HEAD_STRIP_MM",
    "RULER_AREA_MM",
    "RULER_MM",
    "TOLERANCE_MM",
    "Cell",
    "blocks_of",
    "cell_name",
    "cells",
    "field_of",
    "lay_out",
    "parse_cell",
    "parse_cells",
    "stock_problems",
    "taken_cells",
    "used_after",
]
