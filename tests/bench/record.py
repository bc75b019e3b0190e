"""A record of many units: its size, and the time to open it, find a marker by its text and print it again.

    python tests/bench/record.py [--units 1000] [--markers 500] [--place PATH|URL]

Half of the markers of a unit are its own (tags and codes that name the unit are), or what ``--own`` says. The
timed steps run in a process of their own; importing is left out. People judge the figures; nothing is asserted.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path

from labeler.model import Face, Piece, Placed, Run, Sheet
from labeler.tables.catalogue import load_catalogue
from tests.make import new_harness

FONT = "Atkinson Hyperlegible"
STOCK = load_catalogue().stock("wrap-a4-25x18")
LOADED: tuple[str, ...] = (
    "reportlab.platypus",
    "labeler.work.bench_sheet",
    "labeler.draw.bench",
    "labeler.draw.pdf",
    "labeler.layout.place",
)
LOADED += ("labeler.record.store", "sqlalchemy.dialects.sqlite")
PER_SHEET = STOCK.columns * STOCK.rows


def face(text: str) -> Face:
    """Return a wrap's face: one line, three times around."""
    return Face(25.0, 18.0, (Run(text, FONT, 2.61, 3.7134, 14.6283),), repeats=3, repeat_pitch_mm=1.6)


def sheets_of(unit: int, markers: int, own: int) -> tuple[tuple[Sheet, ...], dict[str, object]]:
    """Return the sheets of a unit and its markers; those that are its own stand on the last sheets."""
    from labeler.record.values import MarkerRow

    rows, pieces = {}, []
    for n in range(markers):
        label = f"J{n // 12 + 1}:{n % 12 + 1}/P{n // 60 + 1}:{n % 60 + 1}"
        if n >= markers - own:
            label = f"UNIT {unit:04d} {label}"
        name = f"M{n:07d}"
        rows[name] = MarkerRow(name, "wrap", "wire end", f"J{n // 12 + 1}:{n % 12 + 1}", label, f"B{n // 12}", f"W{n}")
        pieces.append(Piece(name, face(label), STOCK.name, "", label))
    sheets = []
    for number, first in enumerate(range(0, markers, PER_SHEET), 1):
        here = pieces[first : first + PER_SHEET]
        placed = tuple(
            Placed(p, f"{'ABCDEFG'[i % 7]}{i // 7 + 1}", 10.0 + 27 * (i % 7), 19.0 * (i // 7))
            for i, p in enumerate(here)
        )
        sheets.append(Sheet(STOCK, number, 210.0, 297.0, "", placed))
    return tuple(sheets), rows  # type: ignore[return-value]


def fill(place: str, units: int, markers: int, own: int) -> float:
    """Record the units and return the CPU seconds that it took."""
    from labeler.record import open_record
    from labeler.record.values import NewJob
    from labeler.text import load_font

    harness = new_harness("Bench loom", "RSB-900", "A", text=b"W1,P1:1,J1:1\n" * markers)
    fonts = {FONT: load_font(FONT).digest}
    begun = time.process_time()
    with open_record(place) as record:
        for unit in range(1, units + 1):
            sheets, rows = sheets_of(unit, markers, own)
            job = record.prepare(NewJob(harness, sheets, rows, fonts=fonts, serial=f"{unit:04d}"))  # type: ignore[arg-type]
            record.confirm(job.id, ["sheets.pdf"])
    return time.process_time() - begun


def lookup(place: str, out: Path) -> dict[str, float]:
    """Open the record, find by text and by unit and place, print one again; return the CPU seconds of each."""
    from labeler.record import open_record
    from tests.orders import reprint

    for name in LOADED:
        import_module(name)
    times = {}
    begun = time.process_time()

    def lap(name: str) -> None:
        nonlocal begun
        times[name] = time.process_time() - begun
        begun = time.process_time()

    record = open_record(place)
    lap("open")
    found = record.find("0010 J3:7/P1:31")
    lap("find by text")
    assert len(found) == 1, found
    reprint(record, found, out, reason="lost")
    lap("reprint")
    record.find("0010 J3:7")
    lap("find by unit and place")
    record.find("UNIT", unit="0010")
    lap("find a word that all units have, in one")
    record.close()
    return times


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=1000)
    parser.add_argument("--markers", type=int, default=500)
    parser.add_argument("--own", type=int, default=-1)
    parser.add_argument("--place", default="")
    parser.add_argument("--child", type=Path)
    given = parser.parse_args()
    if given.child:
        print(json.dumps(lookup(given.place, given.child)))
        return
    own = given.markers // 2 if given.own < 0 else given.own
    with tempfile.TemporaryDirectory() as name:
        place = given.place or str(Path(name) / "record.sqlite")
        took = fill(place, given.units, given.markers, own)
        size = os.path.getsize(place) / given.units / given.markers if os.path.exists(place) else float("nan")
        count = f"{given.units} units x {given.markers} markers, {own} of them each unit's own"
        print(f"{count}: {size:.0f} bytes a marker, {took / given.units * 1000:.1f} ms CPU a unit to record")
        child = [sys.executable, __file__, "--place", place, "--child", str(Path(name) / "out")]
        done = subprocess.run(child, check=True, stdout=subprocess.PIPE, text=True)
        times = json.loads(done.stdout.splitlines()[-1])
        first = sum(times[key] for key in ("open", "find by text", "reprint"))
        print(f"open, find by text and reprint: {first:.3f} s CPU")
        print(", ".join(f"{key} {value:.3f} s" for key, value in times.items()))


if __name__ == "__main__":
    main()
