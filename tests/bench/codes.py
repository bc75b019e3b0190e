"""Codes, the whole way from the file to recorded sheets, against building and drawing the same symbols bare.

    python tests/bench/codes.py [--count 5000] [--repeats 3]

5,000 bag tags with distinct QR codes, and 5,000 sleeves on wires with distinct Data Matrix codes. The bare side
makes each symbol with its library and draws it as one path of merged rectangles in a loop; nothing else. Each run is
a process of its own; imports are left out on both sides. People judge the figures; nothing is asserted.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from io import BytesIO
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

COLUMNS, ROWS, PITCH = 8, 12, 60.0  # of the bare pages, points


def tags(count: int) -> str:
    """Return a harness file with so many bags."""
    lines = [
        *('[harness]\nname = "Survey boat"\npart_number = "RSB-900"\n[defaults]\ncode.symbology = "QR"',),
        *('marker.wire = "none"\nmarker.branch = "none"\n[[connector]]\nid = "J1"',),
        *('[[connector]]\nid = "P1"\n[[circuit]]\nid = "W1"\nfrom = "P1:1"\nto = "J1:1"\nod_mm = 2.0',),
    ]
    for n in range(1, count + 1):
        what = f'{{ item = "housing", quantity = 1 }}, {{ item = "contact", quantity = {n % 40 + 1} }}'
        lines.append(f'[[bag]]\nid = "K{n}"\nconnector = "J1"\ncontents = [{what}]')
    return "\n".join(lines)


def sleeves(count: int) -> str:
    """Return a harness file with so many wire ends on thick wires, marked by sleeves."""
    lines = [
        *('[harness]\nname = "Survey boat"\npart_number = "RSB-901"\n[defaults]\ncode.symbology = "Data Matrix"',),
        *('code.on = ["sleeve"]\nmarker.wire = "sleeve"\nmarker.branch = "none"\nmarker.wire_text = "circuit"',),
    ]
    wire = '[[circuit]]\nid = "W{n}"\nfrom = "P1:{n}"\nto = "J1:{n}"\nod_mm = {d}'
    lines += [wire.format(n=n, d=6 + n % 5 / 2) for n in range(1, count // 2 + 1)]
    return "\n".join(lines)


def ours(which: str, count: int) -> dict[str, Any]:
    """Run the whole way and return CPU seconds and what the codes say."""
    import qrcode  # noqa: F401
    import sqlalchemy.dialects.sqlite  # noqa: F401
    import zxingcpp  # noqa: F401

    import labeler.codes.symbols
    import labeler.draw.bench
    import labeler.draw.pdf
    import labeler.layout.place
    import labeler.readers.toml
    import labeler.record.store
    import labeler.validate
    import labeler.work.bench_sheet
    from tests.orders import print_harness

    spent: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "boat.toml").write_text(tags(count) if which == "QR" else sleeves(count), "utf-8")
        with labeler.record.open_record(folder / "record.sqlite") as record:
            _leave_out_the_bench_sheet(spent)
            start, wall = time.process_time(), time.perf_counter()
            only = ("bag",) if which == "QR" else ("wire end",)
            printed = print_harness(str(folder / "boat.toml"), folder / "out", record, only=only)
            took, waited = time.process_time() - start, time.perf_counter() - wall
    said = [p.piece.face.symbol.data for s in printed.sheets for p in s.placed if p.piece.face.symbol]
    return {"seconds": took, "wall": waited, "said": said, "bench sheet": sum(spent)}


def _leave_out_the_bench_sheet(spent: list[float]) -> None:
    """Add up what the bench sheet takes, which lists every sleeve and draws no code."""
    from labeler.job import printing

    real = printing.bench_pdf

    def timed(*words: Any, **more: Any) -> bytes:
        begun = time.process_time()
        made = real(*words, **more)
        spent.append(time.process_time() - begun)
        return made

    vars(printing)["bench_pdf"] = timed  # where it is called


def bare(which: str, said: list[str]) -> dict[str, Any]:
    """Make and draw the same codes with the libraries alone."""
    import numpy as np
    import qrcode
    import zxingcpp
    from reportlab.pdfgen.canvas import Canvas

    start, wall = time.process_time(), time.perf_counter()
    canvas = Canvas(BytesIO(), pageCompression=1)
    for n, text in enumerate(said):
        if which == "QR":
            symbol = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=0)
            symbol.add_data(text, optimize=0)
            symbol.make()
            modules = symbol.modules
        else:
            made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, version=26)
            modules = (np.asarray(made.to_image(scale=1, add_quiet_zones=False)) < 128).tolist()
        at = n % (COLUMNS * ROWS)
        if n and not at:
            canvas.showPage()
        canvas.saveState()
        canvas.transform(1.44, 0, 0, 1.44, 40 + at % COLUMNS * PITCH, 40 + at // COLUMNS * PITCH)
        path = canvas.beginPath()
        for row, column, high, wide in rectangles(modules):
            path.rect(column, len(modules) - row - high, wide, high)
        canvas.drawPath(path, stroke=0, fill=1)
        canvas.restoreState()
    canvas.getpdfdata()
    return {"seconds": time.process_time() - start, "wall": time.perf_counter() - wall}


def rectangles(modules: list[list[bool]]) -> list[tuple[int, int, int, int]]:
    """Return merged dark rectangles: row, column, rows, columns."""
    live: dict[tuple[int, int], int] = {}
    done: list[tuple[int, int, int, int]] = []
    for row in range(len(modules) + 1):
        line, runs, column = modules[row] if row < len(modules) else [], {}, 0
        while column < len(line):
            if line[column]:
                begin = column
                while column < len(line) and line[column]:
                    column += 1
                runs[begin, column - begin] = live.pop((begin, column - begin), row)
            else:
                column += 1
        done += [(first, begin, row - first, wide) for (begin, wide), first in live.items()]
        live = runs
    return done


def child(side: str, which: str, count: int, said: Path) -> dict[str, Any]:
    """Run one side in a fresh process."""
    command = [sys.executable, __file__, "--child", side, "--which", which, "--count", str(count), "--said", str(said)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--child", choices=["ours", "bare"])
    parser.add_argument("--which", choices=["QR", "Data Matrix"])
    parser.add_argument("--said", type=Path)
    given = parser.parse_args()
    if given.child == "ours":
        print(json.dumps(ours(given.which, given.count)))
        return
    if given.child == "bare":
        print(json.dumps(bare(given.which, json.loads(given.said.read_text("utf-8")))))
        return
    for which in ("QR", "Data Matrix"):
        whole, plain = [], []
        with tempfile.TemporaryDirectory() as name:
            said = Path(name) / "said.json"
            for _ in range(given.repeats):
                whole.append(child("ours", which, given.count, said))
                said.write_text(json.dumps(whole[-1].pop("said")), "utf-8")
                plain.append(child("bare", which, given.count, said))
            count = len(json.loads(said.read_text("utf-8")))
        best, least = min(run["seconds"] for run in whole), min(run["seconds"] for run in plain)
        sheet = min(run["bench sheet"] for run in whole)
        print(
            f"{count} {which}: whole way {best:.2f} s CPU, bare {least:.2f} s, ratio {best / least:.2f}; "
            f"without the bench sheet {best - sheet:.2f} s, ratio {(best - sheet) / least:.2f}"
        )


if __name__ == "__main__":
    main()
