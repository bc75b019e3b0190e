"""The page of a proof: one file, no network, pictures inside; filtered by verdict, printed as it stands."""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from io import BytesIO
from math import radians
from typing import TYPE_CHECKING, Any

from labeler.codes.reading import read_codes
from labeler.draw.around import Header
from labeler.draw.pdf import draw_sheets
from labeler.formulas.curvature import View, seen
from labeler.model import Fit, Placed, Range, Sheet, Stock
from labeler.size.wording import sits_on
from labeler.wording import sentence, sentences

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Greys = NDArray[np.float64]


# ---------------------------------------------------------------- Pictures of markers


MM_PER_INCH = 25.4
LEVELS = 8  # greys of a picture: enough for print, and few bytes
BESIDE = 236.0  # grey beside the part
DECODE_PIXELS = 6  # pixels to a module where a code is tried: project choice


@dataclass(frozen=True, slots=True)
class Tried:
    """Whether a code was read in a picture, how far off the middle, and the error correction not needed."""

    end: str
    aim_deg: float
    read: bool
    unused: float | None


@dataclass(frozen=True, slots=True)
class Shown:
    """The pictures of one marker as PNG: flat, and on the part (name of the end, diameter it lies on, picture)."""

    fit: Fit
    flat: bytes
    on_part: tuple[tuple[str, float, bytes], ...] = ()
    tried: tuple[Tried, ...] = ()


@dataclass(frozen=True, slots=True)
class Lying:
    """How a piece lies at one end of its interval; ``outside_mm`` 0: flat."""

    end: str
    along: float
    around: float
    outside_mm: float


def shown(fits: Sequence[Fit], sheets: Iterable[Sheet], stocks: Mapping[str, Stock], dpi: float) -> Iterator[Shown]:
    """Yield the pictures of every marker that is on a sheet, sheet by sheet; each page is rendered once.

    ``stocks`` by name; ``dpi`` of the pictures. Codes are tried on pages rendered fine enough for
    `DECODE_PIXELS` to a module.
    """
    by_id = {fit.marker.id: fit for fit in fits}
    for sheet in sheets:
        own = [by_id[placed.piece.marker] for placed in sheet.placed]
        fine = max([dpi, *(_dpi_for_code(fit) for fit in own)])
        coarse, page = _page(sheet, dpi), None
        if fine > dpi:
            page = _page(sheet, fine)
        for placed, fit in zip(sheet.placed, own, strict=True):
            flat = _cut(coarse, sheet, placed, dpi)
            sharp = flat if page is None else _cut(page, sheet, placed, fine)
            yield _shown(fit, flat, dpi, sharp, fine, stocks[placed.piece.stock])


def _dpi_for_code(fit: Fit) -> float:
    """Return the dots per inch at which a code's module has enough pixels, in steps of 300."""
    if fit.code is None:
        return 0.0
    return 300.0 * -(-DECODE_PIXELS * MM_PER_INCH // (fit.code.module_mm * 300.0))


def _page(sheet: Sheet, dpi: float) -> Any:
    import pypdfium2

    target = BytesIO()
    draw_sheets((sheet,), target, title="proof", header=Header("proof"))
    with pypdfium2.PdfDocument(target.getvalue()) as document:
        picture = document[0].render(scale=dpi / 72, grayscale=True).to_numpy()
    return picture.reshape(picture.shape[:2]).copy()


def _cut(page: Any, sheet: Sheet, placed: Placed, dpi: float) -> Greys:
    """Return the pixels of one piece."""
    import numpy as np

    k, face = dpi / MM_PER_INCH, placed.piece.face
    left, right = round(placed.x_mm * k), round((placed.x_mm + face.width_mm) * k)
    top = round((sheet.height_mm - placed.y_mm - face.height_mm) * k)
    bottom = round((sheet.height_mm - placed.y_mm) * k)
    return np.asarray(page[max(top, 0) : bottom, max(left, 0) : right], dtype=float)


def _shown(fit: Fit, flat: Greys, dpi: float, sharp: Greys, fine: float, stock: Stock) -> Shown:
    pictures = []
    for lying in _ends(fit, stock):
        view = View(lying.along, lying.around, lying.outside_mm, 0.0, MM_PER_INCH / dpi)
        part = _centred(fit, _ringed(flat), dpi)
        pictures.append((lying.end, lying.outside_mm, png(seen(part, MM_PER_INCH / dpi, view, BESIDE))))
    return Shown(fit, png(flat), tuple(pictures), tuple(_tried(fit, sharp, fine, stock)))


def _ends(fit: Fit, stock: Stock) -> tuple[Lying, ...]:
    """Return how a round piece lies at both ends of its interval; () for what is flat."""
    along, around, outside = fit.surface.along_scale, fit.surface.face_scale, fit.outside_mm
    if fit.marker.kind == "sleeve" and outside and around and along:
        return (
            Lying("smallest", along.low, around.low, outside[1]),
            Lying("largest", along.high, around.high, outside[2]),
        )
    if fit.marker.kind in ("wrap", "insert") and fit.seat:
        on, film = fit.seat.text_on, 2 * stock.film_mm
        if fit.marker.kind == "insert":
            film = 0.0  # the seat has the paper on it
        low, high = on.low + film, on.high + film
        ends = (Lying("smallest", 1.0, 1.0, low), Lying("largest", 1.0, 1.0, high))
        return ends if high - low > 0.005 else ends[:1]
    return ()


def _centred(fit: Fit, flat: Greys, dpi: float) -> Greys:
    """Return a wrap so that the middle of its first copy faces the viewer; others as they are."""
    face = fit.face
    if fit.marker.kind != "wrap" or face is None or not face.runs:
        return flat
    capital = fit.capital.flat if fit.capital else 0.0
    low, high = min(run.y_mm for run in face.runs), max(run.y_mm for run in face.runs) + capital
    return _facing(flat, (low + high) / 2, dpi)


def _facing(flat: Greys, y_mm: float, dpi: float) -> Greys:
    """Return a piece with white beside it, so that what stands so high on it comes to lie in the middle."""
    import numpy as np

    middle = flat.shape[0] - y_mm * dpi / MM_PER_INCH
    shift = round(2 * middle - flat.shape[0])
    return np.pad(flat, ((max(-shift, 0), max(shift, 0)), (0, 0)), constant_values=255.0)


def _ringed(flat: Greys) -> Greys:
    """Return the piece without its outermost pixels, which may show a cut line."""
    return flat[1:-1, 1:-1] if min(flat.shape) > 8 else flat


def _tried(fit: Fit, sharp: Greys, dpi: float, stock: Stock) -> Iterator[Tried]:
    """Yield whether the code is read, flat or on the part, at 0° and at the aim error."""
    import numpy as np

    code = fit.code
    if code is None or fit.face is None or fit.face.symbol is None:
        return
    ends = _ends(fit, stock)
    if not ends:
        yield _read(fit, np.pad(sharp, 8, constant_values=255.0), "flat", 0.0)
        return
    symbol = fit.face.symbol
    facing = _facing(sharp, symbol.y_mm + len(symbol.rows) * symbol.module_y_mm / 2, dpi)
    for lying in ends:
        for aim in dict.fromkeys((0.0, fit.marker.settings.code_aim_deg)):
            view = View(lying.along, lying.around, lying.outside_mm, radians(aim), MM_PER_INCH / dpi)
            yield _read(fit, seen(facing, MM_PER_INCH / dpi, view, 110.0), lying.end, aim)


def _read(fit: Fit, picture: Greys, end: str, aim: float) -> Tried:
    import numpy as np

    code = fit.code
    assert code is not None  # asked before
    found = read_codes(np.ascontiguousarray(picture.astype(np.uint8)), (code.kind,))
    own = next((one for one in found if one.text == code.payload), None)
    return Tried(end, aim, own is not None, own.unused if own else None)


def png(greys: Greys) -> bytes:
    """Return a picture in few greys, small."""
    import numpy as np
    from PIL import Image

    steps = np.clip(np.rint(greys * (LEVELS - 1) / 255), 0, LEVELS - 1).astype(np.uint8)
    image = Image.frombytes("P", (steps.shape[1], steps.shape[0]), steps.tobytes())
    image.putpalette([round(step * 255 / (LEVELS - 1)) for step in range(LEVELS) for _ in range(3)])
    target = BytesIO()
    image.save(target, "PNG", bits=4, optimize=False, compress_level=6)
    return target.getvalue()


# ---------------------------------------------------------------- page


STYLE = """
:root { --k: 0.75px; color-scheme: light; font: 13px/1.4 system-ui, sans-serif; }
body { margin: 0 auto; max-width: 1500px; padding: 16px; background: #f4f4f2; color: #1c1c1c; }
h1 { font-size: 20px; margin: 0 0 4px; }
form { position: sticky; top: 0; background: #f4f4f2; padding: 8px 0; display: flex; gap: 14px; flex-wrap: wrap;
  border-bottom: 1px solid #ccc; z-index: 1; }
main { display: grid; grid-template-columns: repeat(auto-fill, minmax(330px, 1fr)); gap: 10px; margin-top: 10px; }
article { background: #fff; border: 1px solid #d4d4d0; border-left: 6px solid #2e7d4f; border-radius: 4px;
  padding: 8px 10px; content-visibility: auto; contain-intrinsic-size: auto 250px; break-inside: avoid; }
article.tight { border-left-color: #c98a00; }
article.misfit { border-left-color: #b3261e; }
h2 { font-size: 13px; margin: 0 0 4px; display: flex; justify-content: space-between; gap: 8px; }
h2 span { font-weight: normal; color: #555; }
figure { margin: 6px 0; }
img { height: auto; max-width: 100%; outline: 1px solid #bbb; display: block; }
figcaption { color: #555; font-size: 11px; }
p { margin: 3px 0; }
.why { color: #8a1c16; }
.code { font-size: 11px; }
body:has(#fits:not(:checked)) article.fits, body:has(#tight:not(:checked)) article.tight,
body:has(#misfit:not(:checked)) article.misfit, body:has(#coded:checked) article:not(.coded) { display: none; }
@media print { :root { --k: 0.5px; font-size: 9px; } body { background: #fff; padding: 0; } form { display: none; }
  h2 { font-size: 9px; }  figure { margin: 3px 0; } figcaption, .code { font-size: 8px; }
  main { grid-template-columns: repeat(4, 1fr); gap: 2mm; } article { content-visibility: visible; padding: 4px; } }
"""
CLASSES = {"fits": "fits", "tight": "tight", "does not fit": "misfit"}


def page(title: str, shown: Iterable[Shown], missing: Sequence[Fit], plain: int) -> str:
    """Return the whole page.

    ``missing`` are markers of which there is nothing to show, ``plain`` how many sleeves are only cut.
    """
    cards = [(one.fit.verdict, _card(one)) for one in shown]
    cards += [(fit.verdict, _article(fit, "")) for fit in missing]
    count = Counter(verdict for verdict, _ in cards)
    boxes = "".join(
        f'<label><input type="checkbox" id="{CLASSES[verdict]}" checked> {verdict} ({count[verdict]})</label>'
        for verdict in CLASSES
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


def _card(one: Shown) -> str:
    scale = "" if one.on_part else " (flat on the part too)"
    figures = _figure(one.flat, f"as printed{scale}")
    for end, outside, picture in one.on_part:
        figures += _figure(picture, f"{end}: on {outside:.2f} mm outside")
    return _article(one.fit, figures + _code(one.fit, one.tried))


def _figure(picture: bytes, caption: str) -> str:
    width, height = (int.from_bytes(picture[at : at + 4], "big") for at in (16, 20))  # of the PNG's header
    source = b64encode(picture).decode("ascii")
    image = f'<img width="{width}" height="{height}" alt="{escape(caption)}"'
    image += f' style="width:calc(var(--k) * {width})"'
    return f'<figure>{image} src="data:image/png;base64,{source}"><figcaption>{escape(caption)}</figcaption></figure>'


def _article(fit: Fit, inside: str) -> str:
    marker = fit.marker
    place = " ".join(filter(None, (marker.branch if marker.branch != marker.at else "", marker.at)))
    words = " | ".join(fit.lines[:2] or marker.text)
    on = fit.tube.name if fit.tube else fit.stock
    classes = CLASSES[fit.verdict] + (" coded" if fit.code else "")
    lines = [f"{marker.kind}, {on}" + (f", cut {fit.cut_length_mm:g} mm" if fit.tube else "")]
    if fit.capital:
        low, high = fit.capital.low, fit.capital.high
        heights = f"{low:.2f}" if f"{low:.2f}" == f"{high:.2f}" else f"{low:.2f} to {high:.2f}"
        lines.append(f"capitals {heights} mm, {fit.capital.required:.2f} mm required")
    if fit.seat:
        lines.append(f"on {_span(fit.seat.text_on)} mm: {sits_on(fit.seat)}")
    facts = "".join(f"<p>{escape(line)}</p>" for line in lines)
    why = "".join(f'<p class="why">{escape(sentence(reason))}</p>' for reason in fit.reasons)
    ways = f"<p>what would do: {escape('; or '.join(sentences(fit.ways_out)))}</p>" if fit.ways_out else ""
    return (
        f'<article class="{classes}" id="{marker.id}"><h2>{escape(place)}: {escape(words)}'
        f"<span>{marker.id} · {fit.verdict}</span></h2>{inside}{facts}{why}{ways}</article>"
    )


def _span(value: Range) -> str:
    low, high = f"{value.low:.2f}", f"{value.high:.2f}"
    return low if low == high else f"{low} to {high}"


def _code(fit: Fit, tried: Iterable[Tried]) -> str:
    """Return what is known of the code: its size, where it stands, whether it was read in the pictures."""
    code = fit.code
    if code is None:
        return ""
    level = f", correction {code.level}" if code.level else ""
    lines = [f"{code.kind} {code.payload!r}: {code.size}{level}, module {code.module_mm:.3f} mm on the part"]
    if code.rows > 1 and code.arc_deg:
        lines.append(
            f"arc {code.arc_deg:.1f}°, grid {code.grid:.2f} modules off at {fit.marker.settings.code_aim_deg:g}°, "
            f"{code.axial:.3f} off square"
        )
    lines += _tries(tuple(tried))
    return "".join(f'<p class="code">{escape(line)}</p>' for line in lines)


def _tries(tried: Sequence[Tried]) -> Iterable[str]:
    """Yield one line where the code was read in every picture, else one for each."""
    spare = [one.unused for one in tried if one.unused is not None]
    least = f", at least {min(spare):.0%} of its error correction unused" if spare else ""
    if tried and all(one.read for one in tried):
        ends = "flat" if tried[0].end == "flat" else " and ".join(dict.fromkeys(one.end for one in tried))
        aims = " and ".join(dict.fromkeys(f"{one.aim_deg:g}°" for one in tried))
        yield f"read: {ends}" + ("" if ends == "flat" else f", {aims} off the middle") + least
        return
    for one in tried:
        where = one.end if one.end == "flat" else f"{one.end}, {one.aim_deg:g}° off the middle"
        yield f"{where}: {'read' if one.read else 'NOT READ'}"
