"""The order of work: read, validate, plan, size, fit, lay out, draw, record.

Every command of the command line is one function here; the stages meet nowhere else.
"""

from labeler.pipeline.checking import Checked, Stocks, check, choose_stocks, fit_markers
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
from labeler.pipeline.reprinting import reprint

__all__ = [
    "Checked",
    "Printed",
    "Stocks",
    "check",
    "choose_stocks",
    "draw_calibration",
    "draw_stock",
    "fit_markers",
    "for_printer",
    "misfit_problem",
    "pieces_of",
    "print_harness",
    "reprint",
    "store_printer",
    "version",
]
