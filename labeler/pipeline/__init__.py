"""The order of work: read, validate, plan, size, fit, lay out, draw, record.

Every command of the command line is one function here; the stages meet nowhere else.
"""

from labeler.pipeline.checking import Checked, Stocks, check, choose_stocks, fit_markers, make_symbol
from labeler.pipeline.printing import (
    Printed,
    draw_calibration,
    draw_stock,
    for_printer,
    misfit_problem,
    pieces_of,
    print_harness,
    store_printer,
    version,
)
from labeler.pipeline.reading import draft, store_harness, understand, wants_map
from labeler.pipeline.reprinting import reprint

__all__ = [
    "Checked",
    "Printed",
    "Stocks",
    "check",
    "choose_stocks",
    "draft",
    "draw_calibration",
    "draw_stock",
    "fit_markers",
    "for_printer",
    "make_symbol",
    "misfit_problem",
    "pieces_of",
    "print_harness",
    "reprint",
    "store_harness",
    "store_printer",
    "understand",
    "version",
    "wants_map",
]
