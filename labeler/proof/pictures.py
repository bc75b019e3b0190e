"""Pictures of markers: the pixels of the real sheets, flat and as they lie on their parts, and whether codes read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO
from math import radians
from typing import TYPE_CHECKING

from labeler.codes.reading import read_codes
from labeler.draw.pdf import draw_sheets
from labeler.draw.pens import MM_PER_INCH, POINTS_PER_INCH
from labeler.draw.sheet_frame import Header
from labeler.formulas.curvature import View, seen
from labeler.model import CodeFit, Fit, Placed, Sheet, Stock

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Greys = NDArray[np.float64]
    PagePixels = NDArray[np.uint8]


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


@dataclass(frozen=True, slots=True)
class PartView:
    """How a piece lies at one end of its interval; ``name``: smallest or largest."""

    name: str
    along: float
    around: float
    outside_mm: float

    def view(self, aim_deg: float, pixel_mm: float) -> View:
        """Return how it is seen from so far off the middle, in pixels of a size."""
        return View(self.along, self.around, self.outside_mm, radians(aim_deg), pixel_mm)


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
            ends = _ends(fit, stocks[placed.piece.stock])
            part = _centred(fit, _ringed(flat), dpi)
            pixel = MM_PER_INCH / dpi
            on_part = tuple(
                (end.name, end.outside_mm, png(seen(part, pixel, end.view(0.0, pixel), BESIDE))) for end in ends
            )
            yield MarkerPictures(fit, png(flat), on_part, tuple(_trials(fit, sharp, fine, ends)))


def _dpi_for_code(fit: Fit) -> float:
    """Return the dots per inch at which a code's module has enough pixels, in steps of 300."""
    if fit.code is None:
        return 0.0
    return 300.0 * -(-DECODE_PIXELS * MM_PER_INCH // (fit.code.module_mm * 300.0))


def _rendered(sheet: Sheet, dpi: float) -> PagePixels:
    """Return the picture of a sheet, a byte to a pixel: a fine one is large."""
    import pypdfium2

    data = draw_sheets((sheet,), title="proof", header=Header("proof"))
    with pypdfium2.PdfDocument(data) as document:
        picture: PagePixels = document[0].render(scale=dpi / POINTS_PER_INCH, grayscale=True).to_numpy()
        return picture.reshape(picture.shape[:2]).copy()


def _cut(page: PagePixels, sheet: Sheet, placed: Placed, dpi: float) -> Greys:
    """Return the pixels of one piece."""
    import numpy as np

    k, face = dpi / MM_PER_INCH, placed.piece.face
    left, right = round(placed.x_mm * k), round((placed.x_mm + face.width_mm) * k)
    top = round((sheet.height_mm - placed.y_mm - face.height_mm) * k)
    bottom = round((sheet.height_mm - placed.y_mm) * k)
    return np.asarray(page[max(top, 0) : bottom, max(left, 0) : right], dtype=float)


def _ends(fit: Fit, stock: Stock) -> tuple[PartView, ...]:
    """Return how a round piece lies at both ends of its interval; () for what is flat."""
    if fit.marker.kind == "sleeve" and fit.tube and fit.outside_mm and fit.face_scale and fit.along_scale:
        along, around, outside = fit.along_scale, fit.face_scale, fit.outside_mm
        return (
            PartView("smallest", along.low, around.low, outside[1]),
            PartView("largest", along.high, around.high, outside[2]),
        )
    if fit.marker.kind in ("wrap", "insert") and fit.seat:
        on, film = fit.seat.text_on, 2 * stock.film_mm
        if fit.marker.kind == "insert":
            film = 0.0  # the seat has the paper on it
        low, high = on.low + film, on.high + film
        ends = (PartView("smallest", 1.0, 1.0, low), PartView("largest", 1.0, 1.0, high))
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


def _trials(fit: Fit, sharp: Greys, dpi: float, ends: Sequence[PartView]) -> Iterator[ReadingTrial]:
    """Yield whether the code is read, flat or on the part, at 0° and at the aim error."""
    import numpy as np

    if fit.code is None or fit.face is None or fit.face.symbol is None:
        return
    if not ends:
        yield _trial(fit.code, np.pad(sharp, 8, constant_values=255.0), "flat", 0.0)
        return
    symbol, pixel = fit.face.symbol, MM_PER_INCH / dpi
    facing = _facing(sharp, symbol.y_mm + len(symbol.rows) * symbol.module_y_mm / 2, dpi)
    for end in ends:
        for aim in dict.fromkeys((0.0, fit.marker.settings.code_aim_deg)):
            yield _trial(fit.code, seen(facing, pixel, end.view(aim, pixel), BEHIND), end.name, aim)


def _trial(code: CodeFit, picture: Greys, end: str, aim: float) -> ReadingTrial:
    import numpy as np

    found = read_codes(np.ascontiguousarray(picture.astype(np.uint8)), (code.kind,))
    own = next((one for one in found if one.text == code.payload), None)
    return ReadingTrial(end, aim, own is not None, own.unused if own else None)


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
