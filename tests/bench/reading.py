"""How long reading takes: a KBL of 2 MB in CPU seconds, and a list of 100,000 rows against bare pandas.

    python tests/bench/reading.py [--rows 100000] [--runs 3]

Imports are left out of the times. Of several runs the best counts, for both sides. People judge the
figures; nothing is asserted. The aims: under 1 s of CPU for the KBL, under twice bare pandas plus 1 s for the list;
what is hostile is refused within 2 s.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))

from labeler.errors import LabelerError
from labeler.job.reading import understand
from labeler.readers.xml import parse
from tests.bench.whole_way import write_list
from tests.cad import kbl_large
from tests.readers.test_cad import HOSTILE


def best(runs: int, work: Callable[[], object]) -> float:
    """Return the shortest CPU time of several runs, in seconds."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Make the files, read them, print the times."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--rows", type=int, default=100_000)
    words.add_argument("--runs", type=int, default=3)
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        export, listed = Path(folder) / "fleet.kbl", Path(folder) / "fleet.csv"
        export.write_text(kbl_large(points=110), "utf-8")
        write_list(listed, asked.rows * 2)
        size = export.stat().st_size / 1e6
        print(f"KBL of {size:.2f} MB: {best(asked.runs, lambda: understand(str(export))):.2f} s of CPU")
        bare = best(asked.runs, lambda: pd.read_csv(listed))
        ours = best(asked.runs, lambda: understand(str(listed)))
        print(f"list of {asked.rows:,} rows: {ours:.2f} s of CPU, bare pandas {bare:.2f} s, aim {2 * bare + 1:.2f} s")
    for name, data in HOSTILE.items():
        print(f"hostile, {name}: {best(asked.runs, partial(refused, data)):.2f} s of CPU, aim 2 s")


def refused(data: bytes) -> None:
    """Read what must be refused."""
    try:
        parse(data, "hostile.xml")
    except LabelerError:
        return
    raise AssertionError("it was read")


if __name__ == "__main__":
    main()
