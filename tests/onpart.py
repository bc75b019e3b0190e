"""Random markers with codes on random seats and printers, drawn, put on their part and photographed."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, radians, sin
from typing import Any

import numpy as np
import pypdfium2

from labeler.codes.symbols import PROPOSED, SYMBOLOGIES, symbols
from labeler.draw.pdf import draw_sheets
from labeler.draw.sheet_frame import Header
from labeler.fitting.code import CodeMaker
from labeler.fitting.film import fit_wrap, wrap_place
from labeler.fitting.result import needed_for
from labeler.fitting.sleeve import SleevePlace, fit_sleeve
from labeler.formulas.curvature import View, seen
from labeler.model import Fit, Marker, Piece, Placed, Range, Seat, Sheet, Stock
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from tests.make import NO_CHANGES, Changes, settings

CATALOGUE = load_catalogue()
BARS_MM = 6.0  # half of the height of bars that is looked at
SIGNS = "0123456789ABCDEFGHJKLMNPQRTUVWXY"


@dataclass(frozen=True, slots=True)
class Trial:
    """One marker with its code, fitted."""

    fit: Fit
    payload: str


def trials(seed: int, fixed: Changes = NO_CHANGES) -> Iterator[Trial]:
    """Yield random markers that carry a code; what the fit says of them is left to the caller."""
    chance = random.Random(seed)
    while True:
        payload = "".join(chance.choice(SIGNS) for _ in range(chance.randint(4, 18)))
        kind = chance.choice(["Data Matrix", "Data Matrix", "QR", "Code 128"])
        marker_kind = chance.choice(["sleeve", "sleeve", "wrap"])
        low = chance.uniform(1.5, 6.0 if marker_kind == "wrap" else 25.0)
        on = Range(low, low * chance.uniform(1.0, 1.06))
        chosen = settings(
            {
                "code.symbology": kind,
                "code.on": (marker_kind,),
                "sleeve.heating": "even",
                "print.dpi": chance.choice([203.0, 300.0, 600.0, 1200.0]),
                "sleeve.max_cut_length_mm": 120.0,
                "sleeve.families": ("AS23053/5", "3:1 single wall"),
                **fixed,
            }
        )
        role = "branch end" if marker_kind == "sleeve" else "wire end"
        marker = Marker("W9X0GRQG", marker_kind, role, "J4", ("J4",), True, chosen)
        seat = Seat(on, on, on)

        def made(other: str, _: str, kind: str = kind, payload: str = payload) -> Iterator[Any]:
            return symbols(other or kind, payload)

        codes = CodeMaker(made, SYMBOLOGIES[kind].linear, PROPOSED)

        if marker_kind == "wrap":
            stocks = [CATALOGUE.stock(name) for name in ("wrap-a4-25x38", "wrap-a4-25x18")]
            fit = fit_wrap(marker, wrap_place(seat, chosen, needed_for(marker), stocks), codes)
        else:
            fit = fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE)), codes)
        if fit.face is not None and fit.code is not None and fit.face.symbol is not None:
            yield Trial(fit, payload)


def dots_of(fit: Fit) -> float:
    """Return the dots per inch of a rendering: the printer's own, or so many times as many that they are 600."""
    dpi = fit.marker.settings.print.dpi
    return dpi * ceil(600 / dpi)


def flat_picture(fit: Fit) -> Any:
    """Return the greys of a marker's PDF page, which is the piece: its code and a little beyond, in the middle."""
    face = fit.face
    assert face is not None
    assert face.symbol is not None
    dpi, symbol = dots_of(fit), face.symbol
    stock = Stock("reel", "reel", "sleeve", "one piece a page")
    placed = (Placed(Piece("A", face, "reel"), "A1", 0.0, 0.0),)
    data = draw_sheets([Sheet(stock, 1, face.width_mm, face.height_mm, "", placed)], title="t", header=Header("t"))
    half = len(symbol.rows) * symbol.module_y_mm / 2
    middle, keep = symbol.y_mm + half, BARS_MM if fit.code and fit.code.rows == 1 else half + 3.0
    right = face.width_mm - symbol.x_mm - (len(symbol.rows[0]) + 12) * symbol.module_x_mm
    edges = (0.0, middle - keep, right, face.height_mm - middle - keep)
    crop = tuple(max(0.0, free) * 72 / 25.4 for free in edges)
    with pypdfium2.PdfDocument(data) as document:
        picture = document[0].render(scale=dpi / 72, grayscale=True, crop=crop).to_numpy()
    greys = picture.reshape(picture.shape[:2]).astype(float)
    lacking = [round(max(0.0, keep - room) * dpi / 25.4) for room in (face.height_mm - middle, middle)]
    return np.pad(greys, ((lacking[0], lacking[1]), (0, 0)), constant_values=255.0)


def lies(fit: Fit, end: str) -> tuple[float, float, float]:
    """Return scale along and around and the outside diameter at one end of the interval."""
    low = end == "low"
    if fit.tube is None:
        assert fit.seat is not None
        film = CATALOGUE.stock(fit.stock).thickness_mm
        return 1.0, 1.0, (fit.seat.text_diameter.low if low else fit.seat.text_diameter.high) + 2 * film
    assert fit.surface.longitudinal_scale is not None
    assert fit.surface.marked_side_scale is not None
    assert fit.tube_od_mm is not None
    around = fit.surface.marked_side_scale.low if low else fit.surface.marked_side_scale.high
    return fit.surface.longitudinal_scale.low, around, fit.tube_od_mm[1] if low else fit.tube_od_mm[2]


def photographed(fit: Fit, flat: Any, end: str, aim_deg: float, camera: np.random.Generator) -> Any:
    """Return the piece on its part, from the front, a little blurred and noisy.

    The middle of the symbol faces the viewer, but for the aim; 600 dots per inch, or 6 to a module where it is small.
    """
    assert fit.code is not None
    assert fit.face is not None
    assert fit.face.symbol is not None
    symbol, dpi = fit.face.symbol, dots_of(fit)
    view = View(*lies(fit, end), radians(aim_deg), min(25.4 / 600, fit.code.module_mm / 6))
    picture = seen(35 + flat * (225 - 35) / 255, 25.4 / dpi, view, 110.0)
    at = picture.shape[0] / 2 + view.outside_mm / 2 * sin(view.aim) / view.pixel_mm
    part = 2 * BARS_MM if fit.code.rows == 1 else len(symbol.rows) * symbol.module_y_mm * view.around + 6
    half = part / 2 / view.pixel_mm
    picture = picture[max(int(at - half), 0) : int(at + half)]
    picture = np.pad(picture, ((0, 0), (20, 20)), constant_values=110.0)
    for axis in (0, 1):
        picture = (np.roll(picture, 1, axis) + 2 * picture + np.roll(picture, -1, axis)) / 4
    noisy = picture + camera.normal(0, 3, picture.shape)
    return np.ascontiguousarray(np.clip(noisy, 0, 255).astype(np.uint8))
