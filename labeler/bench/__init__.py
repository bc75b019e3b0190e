"""Bench sheet: what the person who builds the harness has to know, as values in the order of the work."""

from labeler.bench.branch import BranchPage, branch_pages
from labeler.bench.cautions import cautions
from labeler.bench.sheet import BenchSheet, bench_sheet

__all__ = ["BenchSheet", "BranchPage", "bench_sheet", "branch_pages", "cautions"]
