"""The order of work: read, validate, plan, size, fit, lay out, draw, record.

Every command of the command line is one function here; the stages meet nowhere else.
"""

from labeler.pipeline.checking import Checked, check, choose_stocks
from labeler.pipeline.common import Printed, for_printer, misfit_problem, pieces_of, refused_by, version
from labeler.pipeline.fitting import Stocks, fit_markers
from labeler.pipeline.handing import Output
from labeler.pipeline.keeping import export_units, import_units, verify
from labeler.pipeline.printing import print_harness, print_units
from labeler.pipeline.reading import draft, store_harness, understand, wants_map
from labeler.pipeline.reprinting import reprint, reprint_units, resume, resume_run
from labeler.pipeline.revising import diff, print_changes
from labeler.pipeline.single_pages import draw_calibration, draw_stock, store_printer

__all__ = [
    "Checked",
    "Output",
    "Printed",
    "Stocks",
    "check",
    "choose_stocks",
    "diff",
    "draft",
    "draw_calibration",
    "draw_stock",
    "export_units",
    "fit_markers",
    "for_printer",
    "import_units",
    "misfit_problem",
    "pieces_of",
    "print_changes",
    "print_harness",
    "print_units",
    "refused_by",
    "reprint",
    "reprint_units",
    "resume",
    "resume_run",
    "store_harness",
    "store_printer",
    "understand",
    "verify",
    "version",
    "wants_map",
]
