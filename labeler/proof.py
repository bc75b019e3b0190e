"""The proof: one HTML file, no network, pictures inside; filtered by result, printed as it stands.

Its pictures are the pixels of the real sheets, flat and as markers lie on their parts; codes are tried in them.
"""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from io import BytesIO
from math import radians
from pathlib import Path

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from PIL import Image

from labeler.codes.reading import read_codes
from labeler.draw.pdf import draw_sheets
from labeler.draw.pens import MM_PER_INCH, POINTS_PER_INCH
from labeler.draw.sheet_frame import Header
from labeler.files import write_whole
from labeler.formulas.curvature import View, seen
from labeler.job.check import Checked
from labeler.job.order import Track, untracked
from labeler.job.run import pieces_of
from labeler.layout.place import lay_out
from labeler.model import Fit, Placed, Sheet, Stock
from labeler.wording import seat_text, sentence, sentences, span

Greys = NDArray[np.float64]
PagePixels = NDArray[np.uint8]

# ---------------------------------------------------------------- the page

ALONE = Stock("proof", "reel", "sleeve", "a page for each piece")
"""Sleeves that do not fit are shown too, also those that are longer than a card takes."""

DPI = 200.0  # of the pictures: letters of 1.5 mm are 12 pixels high; project choice

STYLE = """
:root { --k: 0.75px; color-scheme: light; font: 13px/1.4 system-ui, sans-serif; }
body { margin: 0 auto; max-width: 1500px; padding: 16px; background: #f4f4f2; color: #1c1c1c; }
h1 { font-size: 20px; margin: 0 0 4px; }
form { position: sticky; top: 0; background: #f4f4f2; padding: 8px 0; display: flex; gap: 14px; flex-wrap: wrap;
  border-bottom: 1px solid #ccc; z-index: 1; }
main { display: grid; grid-template-columns: repeat(auto-fill, minmax(330px, 1fr)); gap: 10px; margin-top: 10px; }
article { background: #fff; border: 1px solid #d4d4d0; border-left: 6px solid #2e7d4f; border-radius: 4px;
  padding: 8px 10px; content-visibility: auto; contain-intrinsic-size: auto 250px; break-inside: avoid; }
article.marginal { border-left-color: #c98a00; }
article.fail { border-left-color: #b3261e; }
h2 { font-size: 13px; margin: 0 0 4px; display: flex; justify-content: space-between; gap: 8px; }
h2 span { font-weight: normal; color: #555; }
figure { margin: 6px 0; }
img { height: auto; max-width: 100%; outline: 1px solid #bbb; display: block; }
figcaption { color: #555; font-size: 11px; }
p { margin: 3px 0; }
.why { color: #8a1c16; }
.code { font-size: 11px; }
body:has(#pass:not(:checked)) article.pass, body:has(#marginal:not(:checked)) article.marginal,
body:has(#fail:not(:checked)) article.fail, body:has(#coded:checked) article:not(.coded) { display: none; }
@media print { :root { --k: 0.5px; font-size: 9px; } body { background: #fff; padding: 0; } form { display: none; }
  h2 { font-size: 9px; }  figure { margin: 3px 0; } figcaption, .code { font-size: 8px; }
  main { grid-template-columns: repeat(4, 1fr); gap: 2mm; } article { content-visibility: visible; padding: 4px; } }
"""
CLASSES = {"pass": "pass", "marginal": "marginal", "fail": "fail"}


def write_proof(checked: Checked, out: Path, *, force: bool = False, track: Track = untracked) -> int:
    """Write the proof of a harness that was checked; return how many markers it shows.

    Markers that do not fit are shown too, as far as they can be drawn. ``track`` is handed the sheets as
    they are gone through. Raises `LabelerError` for a page that exists or cannot be written.
    """
    stocks = {**checked.stocks.by_name(), ALONE.name: ALONE}
    drawn = [fit for fit in checked.fits if fit.face is not None]
    misfits = {fit.marker.id for fit in checked.misfits}
    pieces = [
        replace(piece, stock=ALONE.name) if piece.marker in misfits and piece.load else piece  # of tube, by its size
        for piece in pieces_of(drawn, checked.stocks)
    ]
    sheets = lay_out(pieces, stocks)
    plain = sum(not fit.marker.marked for fit in checked.fits)
    missing = [fit for fit in checked.fits if fit.face is None and fit.marker.marked]
    harness = checked.harness
    title = " ".join(filter(None, ("Proof:", harness.name, harness.part_number, harness.revision)))
    pictures = marker_pictures(drawn, track(sheets, "pictures"), stocks, DPI)
    write_whole(out, _page(title, pictures, missing, plain).encode(), force=force)
    return len(drawn) + len(missing)


def _page(title: str, shown: Iterable[MarkerPictures], missing: Sequence[Fit], plain: int) -> str:
    """Return the whole page.

    ``missing`` are markers of which there is nothing to show, ``plain`` how many sleeves are only cut.
    """
    cards = [(one.fit.result, _card(one)) for one in shown]
    cards += [(fit.result, _article(fit, "")) for fit in missing]
    count = Counter(result for result, _ in cards)
    boxes = "".join(
        f'<label><input type="checkbox" id="{CLASSES[result]}" checked> {result} ({count[result]})</label>'
        for result in CLASSES
    )
    boxes += '<label><input type="checkbox" id="coded"> with a code only</label>'
    also = f"; {plain} plain sleeves are only cut" if plain else ""
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head>\n'
        f"<body><h1>{escape(title)}</h1><p>{len(cards)} markers{also}. Pictures: the pixels of the sheets, flat, and "
        f"around the part at both ends of what it may become, seen from the front; how the lettered side shrinks is "
        f"a model of the project's own.</p>\n"
        f'<form autocomplete="off">{boxes}</form>\n<main>\n'
        + "\n".join(card for _, card in cards)
        + "\n</main></body></html>\n"
    )


def _card(one: MarkerPictures) -> str:
    scale = "" if one.on_part else " (flat on the part too)"
    figures = _figure(one.flat, f"as printed{scale}")
    for end, outside, picture in one.on_part:
        figures += _figure(picture, f"{end}: on {outside:.2f} mm outside")
    return _article(one.fit, figures + _code(one.fit, one.trials))


def _figure(picture: bytes, caption: str) -> str:
    width, height = (int.from_bytes(picture[at : at + 4], "big") for at in (16, 20))  # of the PNG's header
    source = b64encode(picture).decode("ascii")
    image = f'<img width="{width}" height="{height}" alt="{escape(caption)}"'
    image += f' style="width:calc(var(--k) * {width})"'
    return f'<figure>{image} src="data:image/png;base64,{source}"><figcaption>{escape(caption)}</figcaption></figure>'


def _article(fit: Fit, inside: str) -> str:
    marker = fit.marker
    place = " ".join(filter(None, (marker.branch if marker.branch != marker.place else "", marker.place)))
    words = " | ".join(fit.lines[:2] or marker.text)
    on = fit.tube.name if fit.tube else fit.stock
    classes = CLASSES[fit.result] + (" coded" if fit.code else "")
    lines = [f"{marker.kind}, {on}" + (f", cut {fit.cut_length_mm:g} mm" if fit.tube else "")]
    if fit.capital_height_mm:
        lines.append(f"capitals {span(fit.capital_height_mm)} mm, {fit.capital_height_mm.required:.2f} mm required")
    if fit.seat:
        lines.append(f"on {span(fit.seat.text_diameter)} mm: {seat_text(fit.seat)}")
    facts = "".join(f"<p>{escape(line)}</p>" for line in lines)
    why = "".join(f'<p class="why">{escape(sentence(reason))}</p>' for reason in fit.reasons)
    ways = f"<p>to fix: {escape('; or '.join(sentences(fit.fixes)))}</p>" if fit.fixes else ""
    return (
        f'<article class="{classes}" id="{marker.id}"><h2>{escape(place)}: {escape(words)}'
        f"<span>{marker.id} · {fit.result}</span></h2>{inside}{facts}{why}{ways}</article>"
    )


def _code(fit: Fit, trials: Sequence[ReadingTrial]) -> str:
    """Return what is known of the code: its size, where it stands, whether it was read in the pictures."""
    code = fit.code
    if code is None:
        return ""
    level = f", correction {code.error_correction}" if code.error_correction else ""
    lines = [f"{code.symbology} {code.data!r}: {code.size}{level}, module {code.module_mm:.3f} mm on the part"]
    if code.rows > 1 and code.arc_deg:
        lines.append(
            f"arc {code.arc_deg:.1f}°, grid {code.grid_nonuniformity:.2f} modules off at "
            f"{fit.marker.settings.code.scan_tilt_deg:g}°, {code.axial_nonuniformity:.3f} off square"
        )
    lines += _tries(trials)
    return "".join(f'<p class="code">{escape(line)}</p>' for line in lines)


def _tries(trials: Sequence[ReadingTrial]) -> Iterable[str]:
    """Yield one line where the code was read in every picture, else one for each."""
    spare = [one.unused for one in trials if one.unused is not None]
    least = f", at least {min(spare):.0%} of its error correction unused" if spare else ""
    if trials and all(one.read for one in trials):
        ends = "flat" if trials[0].end == "flat" else " and ".join(dict.fromkeys(one.end for one in trials))
        aims = " and ".join(dict.fromkeys(f"{one.aim_deg:g}°" for one in trials))
        yield f"read: {ends}" + ("" if ends == "flat" else f", {aims} off the middle") + least
        return
    for one in trials:
        where = one.end if one.end == "flat" else f"{one.end}, {one.aim_deg:g}° off the middle"
        yield f"{where}: {'read' if one.read else 'NOT READ'}"


# ---------------------------------------------------------------- the pictures

LEVELS = 8  # greys of a picture: enough for print, and few bytes
BESIDE = 236.0  # grey beside the part
BEHIND = 110.0  # the same where a code is tried: darker than its quiet zone
DECODE_PIXELS = 6  # pixels to a module where a code is tried: project choice


@dataclass(frozen=True, slots=True)
class ReadingTrial:
    """Whether a code was read in a picture, how far off the middle, and the error correction not needed."""

    end: str
    aim_deg: float
    read: bool
    unused: float | None


@dataclass(frozen=True, slots=True)
class MarkerPictures:
    """The pictures of one marker as PNG: flat, and on the part (name of the end, diameter it lies on, picture)."""

    fit: Fit
    flat: bytes
    on_part: tuple[tuple[str, float, bytes], ...] = ()
    trials: tuple[ReadingTrial, ...] = ()


def marker_pictures(
    fits: Sequence[Fit], sheets: Iterable[Sheet], stocks: Mapping[str, Stock], dpi: float
) -> Iterator[MarkerPictures]:
    """Yield the pictures of every marker that is on a sheet, sheet by sheet; each page is rendered once.

    ``stocks`` by name; ``dpi`` of the pictures. Codes are tried on pages rendered fine enough for
    `DECODE_PIXELS` to a module.
    """
    by_id = {fit.marker.id: fit for fit in fits}
    for sheet in sheets:
        own = [by_id[placed.piece.marker] for placed in sheet.placed]
        fine = max([dpi, *(_dpi_for_code(fit) for fit in own)])
        coarse_page = _rendered(sheet, dpi)
        fine_page = _rendered(sheet, fine) if fine > dpi else coarse_page
        for placed, fit in zip(sheet.placed, own, strict=True):
            flat, sharp = _cut(coarse_page, sheet, placed, dpi), _cut(fine_page, sheet, placed, fine)
            ends = _ends(fit, stocks[placed.piece.stock], MM_PER_INCH / dpi)
            inner = flat[1:-1, 1:-1] if min(flat.shape) > 8 else flat  # its outermost pixels may show a cut line
            part = _centred(fit, inner, dpi)
            on_part = tuple(
                (name, view.outside_mm, png(seen(part, view.pixel_mm, view, BESIDE))) for name, view in ends.items()
            )
            yield MarkerPictures(fit, png(flat), on_part, tuple(_trials(fit, sharp, fine, ends)))


def _dpi_for_code(fit: Fit) -> float:
    """Return the dots per inch at which a code's module has enough pixels, in steps of 300."""
    if fit.code is None:
        return 0.0
    return 300.0 * -(-DECODE_PIXELS * MM_PER_INCH // (fit.code.module_mm * 300.0))


def _rendered(sheet: Sheet, dpi: float) -> PagePixels:
    """Return the picture of a sheet, a byte to a pixel: a fine one is large."""
    data = draw_sheets((sheet,), title="proof", header=Header("proof"))
    with pypdfium2.PdfDocument(data) as document:
        picture: PagePixels = document[0].render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_numpy()
        return picture.reshape(picture.shape[:2]).copy()


def _cut(page: PagePixels, sheet: Sheet, placed: Placed, dpi: float) -> Greys:
    """Return the pixels of one piece."""
    k, face = dpi / MM_PER_INCH, placed.piece.face
    left, right = round(placed.x_mm * k), round((placed.x_mm + face.width_mm) * k)
    top = round((sheet.height_mm - placed.y_mm - face.height_mm) * k)
    bottom = round((sheet.height_mm - placed.y_mm) * k)
    return np.asarray(page[max(top, 0) : bottom, max(left, 0) : right], dtype=float)


def _ends(fit: Fit, stock: Stock, pixel_mm: float) -> dict[str, View]:
    """Return how a round piece is seen from the front at both ends of its interval; {} for what is flat."""
    along, around, outside = fit.surface.longitudinal_scale, fit.surface.marked_side_scale, fit.tube_od_mm
    if fit.marker.kind == "sleeve" and outside and around and along:
        return {
            "smallest": View(along.low, around.low, outside[1], 0.0, pixel_mm),
            "largest": View(along.high, around.high, outside[2], 0.0, pixel_mm),
        }
    if fit.marker.kind not in ("wrap", "insert") or not fit.seat:
        return {}
    film = 2 * stock.thickness_mm if fit.marker.kind == "wrap" else 0.0  # the seat of an insert has the paper on it
    low, high = fit.seat.text_diameter.low + film, fit.seat.text_diameter.high + film
    largest = {"largest": View(1.0, 1.0, high, 0.0, pixel_mm)} if high - low > 0.005 else {}
    return {"smallest": View(1.0, 1.0, low, 0.0, pixel_mm), **largest}


def _centred(fit: Fit, flat: Greys, dpi: float) -> Greys:
    """Return a wrap so that the middle of its first copy faces the viewer; others as they are."""
    face = fit.face
    if fit.marker.kind != "wrap" or face is None or not face.runs:
        return flat
    capital = fit.capital_height_mm.printed if fit.capital_height_mm else 0.0
    low, high = min(run.y_mm for run in face.runs), max(run.y_mm for run in face.runs) + capital
    return _facing(flat, (low + high) / 2, dpi)


def _facing(flat: Greys, y_mm: float, dpi: float) -> Greys:
    """Return a piece with white beside it, so that what stands so high on it comes to lie in the middle."""
    middle = flat.shape[0] - y_mm * dpi / MM_PER_INCH
    shift = round(2 * middle - flat.shape[0])
    return np.pad(flat, ((max(-shift, 0), max(shift, 0)), (0, 0)), constant_values=255.0)


def _trials(fit: Fit, sharp: Greys, dpi: float, ends: Mapping[str, View]) -> Iterator[ReadingTrial]:
    """Yield whether the code is read, flat or on the part, at 0° and at the aim error."""
    code, symbol = fit.code, fit.face.symbol if fit.face else None
    if code is None or symbol is None:
        return
    pixel = MM_PER_INCH / dpi
    facing = _facing(sharp, symbol.y_mm + len(symbol.rows) * symbol.module_y_mm / 2, dpi)
    pictures = [
        (name, aim, seen(facing, pixel, replace(view, aim=radians(aim), pixel_mm=pixel), BEHIND))
        for name, view in ends.items()
        for aim in dict.fromkeys((0.0, fit.marker.settings.code.scan_tilt_deg))
    ]
    for end, aim, picture in pictures or [("flat", 0.0, np.pad(sharp, 8, constant_values=255.0))]:
        found = read_codes(np.ascontiguousarray(picture.astype(np.uint8)), (code.symbology,))
        own = next((one for one in found if one.text == code.data), None)
        yield ReadingTrial(end, aim, own is not None, own.unused if own else None)


def png(greys: Greys) -> bytes:
    """Return a picture in few greys, small."""
    steps = np.clip(np.rint(greys * (LEVELS - 1) / 255), 0, LEVELS - 1).astype(np.uint8)
    image = Image.frombytes("P", (steps.shape[1], steps.shape[0]), steps.tobytes())
    image.putpalette([round(step * 255 / (LEVELS - 1)) for step in range(LEVELS) for _ in range(3)])
    target = BytesIO()
    image.save(target, "PNG", bits=4, optimize=False, compress_level=6)
    return target.getvalue()
