"""The whole way for wire markers from CSV to recorded PDF, against a bare loop that draws the same strings.

    python tests/bench/whole_way.py [--markers 20000] [--sizes 2000,20000,100000]

Each run is a process of its own, so that nothing is warm and the memory is its own; imports are left
out of the times on both sides. The bare loop uses the drawing library alone: it sets the same font,
draws the same strings at the same places, and starts a page where the program does. People judge the
figures; nothing is asserted.
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
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

SIZES = ("22 AWG", "20 AWG", "18 AWG", "16 AWG", "14 AWG")


def write_list(path: Path, markers: int) -> None:
    """Write a wire list with half as many circuits as there are to be markers."""
    lines = ["Wire ID,From,From Pin,To,To Pin,Gauge,Wire Type,Color,Length (mm)"]
    for i in range(markers // 2):
        a, b = f"P{i // 60 + 1}", f"J{i // 12 + 1}"
        lines.append(
            f"W{i + 1},{a},{i % 60 + 1},{b},{i % 12 + 1},{SIZES[i // 12 % 5]},SAE J1128 TXL,BK,{900 + i % 500}"
        )
    path.write_text("\n".join(lines), "utf-8")


def ours(markers: int, folder: Path) -> dict[str, float]:
    """Run the whole way in this process and return CPU seconds, pieces and peak memory."""
    for module in json.loads((folder / "modules.json").read_text()):
        with suppress(ImportError):  # names of a module's own, such as six.moves
            import_module(module)
    import labeler.record
    from tests.orders import print_harness

    record = labeler.record.open_record(folder / "record.sqlite")
    fitting = 0.0
    real = labeler.job.fitting.fit_markers

    def timed(*words: Any) -> Any:
        nonlocal fitting
        begun = time.process_time()
        made = real(*words)
        fitting += time.process_time() - begun
        return made

    labeler.job.check.fit_markers = timed  # type: ignore[attr-defined, assignment]
    start = time.process_time()
    printed = print_harness(
        str(folder / "list.csv"),
        folder / "out",
        record,
        settings={"print.wire_reading_distance_mm": "250"},
        only=("wire end",),
    )
    took = time.process_time() - start
    record.close()
    pieces = sum(len(sheet.placed) for sheet in printed.sheets)
    dump(folder / "strings.json", [[(p.piece.face, p.x_mm, p.y_mm) for p in sheet.placed] for sheet in printed.sheets])
    return {
        "seconds": took,
        "fitting": fitting,
        "pieces": pieces,
        "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "record bytes a marker": (folder / "record.sqlite").stat().st_size / pieces,
    }


def modules(folder: Path) -> dict[str, float]:
    """Write the names of all modules that a run loads, so that none is first loaded in the timed part."""
    import labeler.record
    from tests.orders import print_harness

    with labeler.record.open_record(folder / "small.sqlite") as record:
        print_harness(str(folder / "list.csv"), folder / "small", record)
    (folder / "modules.json").write_text(json.dumps(sorted(sys.modules)))
    return {"modules": len(sys.modules)}


def dump(path: Path, pages: list[list[tuple[Any, float, float]]]) -> None:
    """Write every string with its place and size, page by page, for the bare loop."""
    made = [
        [
            (run.text, run.size_mm, x + run.x_mm, y + run.y_mm - copy * face.copy_pitch_mm)
            for face, x, y in page
            for copy in range(face.copies)
            for run in face.runs
        ]
        for page in pages
    ]
    path.write_text(json.dumps(made))


def bare(folder: Path) -> dict[str, float]:
    """Draw the same strings with the drawing library alone."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont
    from reportlab.pdfgen.canvas import Canvas

    from labeler.text import load_font

    pages = json.loads((folder / "strings.json").read_text())
    path = str(load_font("Atkinson Hyperlegible").path)
    start = time.process_time()
    pdfmetrics.registerFont(TTFont("bare", path))
    mm = 72 / 25.4
    canvas = Canvas(str(folder / "bare.pdf"), pagesize=(595.276, 841.89), pageCompression=1)
    for page in pages:
        for text, size, x, y in page:
            canvas.setFont("bare", size * mm)
            canvas.drawString(x * mm, y * mm, text)
        canvas.showPage()
    canvas.save()
    return {
        "seconds": time.process_time() - start,
        "strings": sum(map(len, pages)),
        "MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def child(which: str, markers: int, folder: Path) -> dict[str, float]:
    """Run one side in a fresh process."""
    command = [sys.executable, __file__, "--child", which, "--markers", str(markers), "--folder", str(folder)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--markers", type=int, default=20000)
    parser.add_argument("--sizes", default="")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--child", choices=["ours", "bare", "modules"])
    parser.add_argument("--folder", type=Path)
    given = parser.parse_args()
    if given.child == "ours":
        print(json.dumps(ours(given.markers, given.folder)))
        return
    if given.child:
        print(json.dumps({"bare": bare, "modules": modules}[given.child](given.folder)))
        return
    for markers in [int(n) for n in given.sizes.split(",")] if given.sizes else [given.markers]:
        whole, plain = [], []
        for _ in range(given.repeats):
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                write_list(folder / "list.csv", 200)
                child("modules", 200, folder)
                write_list(folder / "list.csv", markers)
                whole.append(child("ours", markers, folder))
                plain.append(child("bare", markers, folder))
        ratios = [a["seconds"] / b["seconds"] for a, b in zip(whole, plain, strict=True)]
        best, least = min(w["seconds"] for w in whole), min(p["seconds"] for p in plain)
        print(
            f"{markers} markers ({plain[0]['strings']} strings): whole way {best:.2f} s CPU, "
            f"{best / markers * 1e6:.0f} us a marker; bare loop {least:.2f} s; ratio {best / least:.2f} "
            f"(median of {len(ratios)} pairs {statistics.median(ratios):.2f}); "
            f"fitting alone {min(w['fitting'] for w in whole):.2f} s; "
            f"memory {whole[0]['MB']:.0f} MB against {plain[0]['MB']:.0f} MB; "
            f"record {whole[0]['record bytes a marker']:.0f} bytes a marker"
        )


if __name__ == "__main__":
    main()
