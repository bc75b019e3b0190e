"""Make the pictures of README from the real output: python examples/make_pictures.py

The sheet is the printed PDF. The sleeve is cut out of the printed card, then its pixels are scaled
by the face's scale around and the tube's scale along, and projected from the front of the round
part: a drawing of the model's two ends, not a photograph.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
from PIL import Image, ImageDraw, ImageFont

from labeler.api import print_units
from labeler.job.run import Printed
from labeler.model import Fit, Placed, Sheet
from labeler.record import open_record
from labeler.text import load_font

HERE = Path(__file__).parent
DPI = 600
K = DPI / 25.4
FONT = str(load_font("Atkinson Hyperlegible").path)


def page(printed: Printed, sheet: Sheet, dpi: int) -> Image.Image:
    """Return a sheet of the printed PDF as a picture."""
    file = next(f for f in printed.files if f.stem.endswith(sheet.stock.name))
    number = [s.number for s in printed.sheets if s.stock.name == sheet.stock.name].index(sheet.number)
    return pdfium.PdfDocument(str(file))[number].render(scale=dpi / 72, grayscale=True).to_pil()


def flat_piece(printed: Printed, sheet: Sheet, placed: Placed) -> np.ndarray:
    """Return the pixels of one piece, without its cut lines."""
    face = placed.piece.face
    left, top = placed.x_mm * K, (sheet.height_mm - placed.y_mm - face.height_mm) * K
    box = (round(left) + 3, round(top) + 3, round(left + face.width_mm * K) - 3, round(top + face.height_mm * K) - 3)
    return np.asarray(page(printed, sheet, DPI).crop(box), dtype=float)


def on_the_part(flat: np.ndarray, around: float, along: float, outside_mm: float) -> Image.Image:
    """Return the piece as it shows on a round part of this outside, seen square from the front."""
    radius = outside_mm * K / 2
    width = round(flat.shape[1] * along)
    rows = []
    for y in range(-int(radius), int(radius) + 1):
        angle = np.arcsin(min(1.0, max(-1.0, y / radius)))
        source = flat.shape[0] / 2 + angle * radius / around
        shade = 0.55 + 0.45 * np.cos(angle)
        line = flat[int(source)] if 0 <= source < flat.shape[0] else np.full(flat.shape[1], 255.0)
        rows.append(np.interp(np.linspace(0, len(line) - 1, width), np.arange(len(line)), line) * shade)
    return Image.fromarray(np.array(rows).astype("uint8"))


def sleeve(printed: Printed, at: str) -> Image.Image:
    """Return one sleeve, flat and at both ends of what it may become."""
    fit: Fit = next(f for f in printed.fits if f.marker.place == at and f.marker.role == "branch end")
    sheet, placed = next((s, p) for s in printed.sheets for p in s.placed if p.piece.marker == fit.marker.id)
    flat = flat_piece(printed, sheet, placed)
    assert fit.surface.marked_side_scale is not None
    assert fit.surface.longitudinal_scale is not None
    assert fit.tube_od_mm is not None
    assert fit.capital_height_mm is not None
    assert fit.tube is not None
    views = [
        (f"printed flat: {fit.tube.name}, capitals {fit.capital_height_mm.printed:.2f} mm",
         Image.fromarray(flat.astype("uint8"))),
        (f"shrunk, smallest letters: OD {fit.tube_od_mm[1]:.1f} mm, capitals {fit.capital_height_mm.low:.2f} mm",
         on_the_part(flat, fit.surface.marked_side_scale.low, fit.surface.longitudinal_scale.low, fit.tube_od_mm[1])),
        (f"shrunk, largest letters: OD {fit.tube_od_mm[2]:.1f} mm, capitals {fit.capital_height_mm.high:.2f} mm",
         on_the_part(flat, fit.surface.marked_side_scale.high, fit.surface.longitudinal_scale.high, fit.tube_od_mm[2])),
    ]  # fmt: skip
    font = ImageFont.truetype(FONT, 34)
    width = max(view.width for _, view in views) + 80
    height = sum(view.height + 100 for _, view in views) + 30
    picture = Image.new("L", (width, height), 236)
    draw = ImageDraw.Draw(picture)
    y = 20
    for words, view in views:
        draw.text((40, y), words, fill=0, font=font)
        picture.paste(view, (40, y + 52))
        draw.rectangle((39, y + 51, 40 + view.width, y + 52 + view.height), outline=120)
        y += view.height + 100
    return picture.resize((width // 2, height // 2), Image.Resampling.LANCZOS)


def main() -> None:
    """Print the example and make its pictures."""
    folder = HERE / "pictures"
    folder.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name, open_record(Path(name) / "record.sqlite") as record:
        (printed,) = print_units(HERE / "survey-boat.toml", name, record=record)
        tags = next(s for s in printed.sheets if s.stock.marker == "tag")
        page(printed, tags, 72).save(folder / "tags.png", optimize=True)
        wraps = next(s for s in printed.sheets if s.stock.marker == "wrap")
        page(printed, wraps, 110).crop((40, 20, 860, 420)).save(folder / "wraps.png", optimize=True)
        bench = pdfium.PdfDocument(str(printed.files[0]))
        words = ["".join(each.get_textpage().get_text_range().split()) for each in bench]
        branch = next(number for number, said in enumerate(words) if "BRANCHB4" in said)
        for picture, number in (("bench", 0), ("branch", branch)):
            bench[number].render(scale=1, grayscale=True).to_pil().save(folder / f"{picture}.png", optimize=True)
        (smallest,) = print_units(HERE / "sounder-lead.toml", Path(name) / "lead", record=record)
        sleeve(smallest, "P1").save(folder / "sleeve.png", optimize=True)


if __name__ == "__main__":
    main()
