"""20,000 markers over five stocks, from the file to recorded PDF, against a bare loop that draws the same strings.

    python tests/bench/stocks.py [--markers 20000] [--repeats 3]

Of ten markers eight are wraps, on three sizes of labels by the wires' diameters, one is a sleeve on the
branch of a connector, on cards, and one the bag tag of a connector with its pins. Each run is a process
of its own; imports are left out on both sides. People judge the figures; nothing is asserted.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from importlib import import_module
from pathlib import Path

from whole_way import bare, dump  # type: ignore[import-not-found]

SIZES = ("22 AWG", "20 AWG", "16 AWG", "12 AWG", "8 AWG")
PINS = 8  # of a connector: each has eight wraps, a sleeve and a tag


def write_harness(folder: Path, markers: int) -> Path:
    """Write a harness file, and the list of its circuits beside it; each connector faces the next."""
    lines = ["Wire ID,From,From Pin,To,To Pin,Gauge,Wire Type,Color,Length (mm)"]
    pairs = max(1, markers // (PINS + 2) // 2)
    for pair in range(pairs):
        a, b = f"P{pair + 1}", f"J{pair + 1}"
        for pin in range(1, PINS + 1):
            size = SIZES[pair % len(SIZES)]
            lines.append(f"W{pair * PINS + pin},{a},{pin},{b},{pin},{size},SAE J1128 TXL,BK,{900 + pair % 500}")
    (folder / "list.csv").write_text("\n".join(lines), "utf-8")
    file = folder / "boat.toml"
    file.write_text(
        '[harness]\nname = "River survey boat"\npart_number = "RSB-930"\ncircuits_from = "list.csv"\n'
        "[defaults]\nprint.wire_reading_distance_mm = 250\n",
        "utf-8",
    )
    return file


def ours(folder: Path) -> dict[str, object]:
    """Run the whole way in this process and return CPU seconds, pieces by stock, pages and memory."""
    modules = folder / "modules.json"
    if modules.exists():
        for module in json.loads(modules.read_text()):
            with suppress(ImportError):  # names of a module's own, such as six.moves
                import_module(module)
    import labeler.record
    from tests.orders import print_harness

    record = labeler.record.open_record(folder / "record.sqlite")
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.process_time()
    printed = print_harness(str(folder / "boat.toml"), folder / "out", record, leave_out=True)
    took = time.process_time() - start
    record.close()
    modules.write_text(json.dumps(sorted(sys.modules)))
    dump(folder / "strings.json", [[(p.piece.face, p.x_mm, p.y_mm) for p in sheet.placed] for sheet in printed.sheets])
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    stocks = Counter(sheet.stock.name for sheet in printed.sheets for _ in sheet.placed)
    return {
        "seconds": took,
        "stocks": dict(stocks),
        "left out": len(printed.omitted),
        "pages": len(printed.sheets),
        "MB": after / 1024,
        "MB before": before / 1024,
    }


def child(side: str, folder: Path) -> dict[str, float]:
    """Run one side in a fresh process."""
    command = [sys.executable, __file__, "--child", side, "--folder", str(folder)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--markers", type=int, default=20000)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--child", choices=["ours", "bare"])
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    if given.child:
        print(json.dumps(ours(given.folder) if given.child == "ours" else bare(given.folder)))
        return
    whole, plain = [], []
    with tempfile.TemporaryDirectory() as name:
        for repeat in range(given.repeats + 1):  # the first is small and names the modules
            folder = Path(name) / str(repeat)
            folder.mkdir()
            write_harness(folder, given.markers if repeat else 200)
            if repeat:
                (folder / "modules.json").write_text((Path(name) / "0" / "modules.json").read_text())
            made = child("ours", folder)
            if repeat:
                whole.append(made)
                plain.append(child("bare", folder))
    ratios = [a["seconds"] / b["seconds"] for a, b in zip(whole, plain, strict=True)]
    best, least, last = min(w["seconds"] for w in whole), min(p["seconds"] for p in plain), whole[-1]
    print(
        f"{last['stocks']}, {last['left out']} left out, {last['pages']} pages: whole way {best:.2f} s CPU; bare loop "
        f"({plain[0]['strings']} strings) {least:.2f} s; ratio {best / least:.2f} "
        f"(median of {len(ratios)} pairs {statistics.median(ratios):.2f}); memory {last['MB']:.0f} MB against "
        f"{plain[0]['MB']:.0f} MB bare"
    )


if __name__ == "__main__":
    main()
