"""20,000 fits of sleeves with distinct texts over 50 seats, against a bare loop that draws them with cut lines.

    python tests/bench/fits.py [--fits 20000] [--repeats 5]

Imports are left out on both sides; the tubes' zones are worked out once a seat, as in the program.
Each repeat is a process of its own. CPU seconds; people judge the figures.
"""

from __future__ import annotations

import argparse
import gc
import json
import statistics
import subprocess
import sys
import time
from io import BytesIO

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from labeler.fitting.sleeve import SleevePlace, fit_sleeve
from labeler.model import Fit, Marker, Range, Seat
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import default_settings, load_catalogue
from labeler.text import load_font

WORDS = ("DEPTH", "WINCH", "PROBE", "PORT", "STBD", "PUMP", "LIGHT", "HEAVE")


def fits(count: int) -> tuple[float, list[Fit]]:
    """Fit so many distinct texts and return the seconds and the answers."""
    settings, catalogue = default_settings(), load_catalogue()
    load_font(settings.print.font)
    start = time.process_time()
    places = []
    for i in range(50):
        on = Range(3.0 + 0.15 * i, 3.4 + 0.17 * i)
        seat = Seat(on, on, on)
        places.append(SleevePlace(seat, choose_tubes(seat, settings, catalogue)))
    made = []
    for i in range(count):
        text = f"{WORDS[i % 8]} {WORDS[i // 8 % 8]}-{i // 64}:{i % 97}"
        marker = Marker(str(i), "sleeve", "branch end", "J1", (text,), True, settings)
        made.append(fit_sleeve(marker, places[i % 50]))
    return time.process_time() - start, made


def bare(made: list[Fit]) -> float:
    """Draw the same strings with the drawing library alone."""
    start = time.process_time()
    pdfmetrics.registerFont(TTFont("bare", str(load_font("Atkinson Hyperlegible").path)))
    canvas = Canvas(BytesIO(), pageCompression=1)
    for i, fit in enumerate(made):
        if fit.face is None:
            continue
        canvas.rect(10, 10, fit.face.width_mm * 72 / 25.4, fit.face.height_mm * 72 / 25.4)  # its cut line
        for run in fit.face.runs:
            canvas.setFont("bare", run.size_mm * 72 / 25.4)
            canvas.drawString(run.x_mm * 72 / 25.4, run.y_mm * 72 / 25.4, run.text)
        if i % 98 == 97:
            canvas.showPage()
    canvas.save()
    return time.process_time() - start


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fits", type=int, default=20000)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--child", action="store_true")
    given = parser.parse_args()
    if given.child:
        gc.disable()
        seconds, made = fits(given.fits)
        print(json.dumps([seconds, bare(made)]))
        return
    command = [sys.executable, __file__, "--child", "--fits", str(given.fits)]
    runs = [subprocess.run(command, check=True, capture_output=True, text=True) for _ in range(given.repeats)]
    pairs = [json.loads(run.stdout) for run in runs]
    best, least = min(ours for ours, _ in pairs), min(plain for _, plain in pairs)
    ratio = statistics.median(ours / plain for ours, plain in pairs)
    print(
        f"{given.fits} fits over 50 seats {best:.2f} s CPU ({best / given.fits * 1e6:.0f} us each); "
        f"bare loop {least:.2f} s; ratio {best / least:.2f} (median of {len(pairs)} pairs {ratio:.2f})"
    )


if __name__ == "__main__":
    main()
