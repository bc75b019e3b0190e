"""The plumbing, not the physics: printed sleeves are rendered, their pixels scaled as the report says, and measured.

Capital height, width over height of the H, and the arc of the lettering must equal the report within 2 %.
"""

from io import BytesIO

import numpy as np
import pypdfium2 as pdfium
import pytest
from reportlab.pdfgen.canvas import Canvas

from labeler.draw.pdf import draw_sheets
from labeler.draw.sheet_frame import Header
from labeler.fitting.sleeve import SleevePlace, fit_sleeve
from labeler.layout.place import lay_out
from labeler.model import Fit, Marker, Piece, Range, Seat
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from tests.make import settings
from tests.shrinking import outcomes

DPI = 1200
K = DPI / 25.4
CATALOGUE = load_catalogue()


def sleeve(text: str, low: float, high: float, heating: str, direction: str) -> Fit:
    seat = Seat(Range(low, high), Range(low, high), Range(low, high))
    chosen = settings({"sleeve.heating": heating, "sleeve.text_direction": direction})
    marker = Marker(f"{text}{low}", "sleeve", "branch end", "J4", tuple(text.split("|")), False, chosen)
    return fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE)))


CASES = [
    ("HH", 1.6, 1.8, "unmarked side first", "along"),
    ("HEIGHT", 2.3, 2.6, "even", "along"),
    ("HULL H2", 3.0, 3.4, "unmarked side first", "along"),
    ("HELM", 3.6, 4.3, "any", "along"),
    ("HATCH 4", 4.0, 4.6, "unmarked side first", "along"),
    ("HH|HH", 6.0, 6.6, "unmarked side first", "along"),
    ("HOIST", 7.0, 8.2, "even", "along"),
    ("HEAD|HULL", 9.0, 10.0, "any", "along"),
    ("HYDRO|H12", 14.0, 15.0, "unmarked side first", "around"),
    ("HEAVE", 20.0, 22.0, "even", "around"),
]


def rendered(fit: Fit) -> np.ndarray:
    """The piece as the reel prints it, one page, as darkness from 0 to 1."""
    assert fit.face is not None
    reel = CATALOGUE.stock("reel")
    sheets = lay_out([Piece(fit.marker.id, fit.face, "reel")], {"reel": reel})
    data = draw_sheets(sheets, title="test", header=Header("test"))
    page = pdfium.PdfDocument(data)[1]  # after the leader
    grey: np.ndarray = page.render(scale=DPI / 72, grayscale=True).to_numpy().squeeze()
    return 1 - grey / 255.0


def extent(ink: np.ndarray) -> float:
    """Length of a run of inked rows or columns, grey ones by their share."""
    return float(np.clip(ink, 0, 1).sum())


def letter(fit: Fit, dark: np.ndarray) -> tuple[float, float]:
    """Height and width of the first letter, an H, as printed, mm: what of its surroundings is inked."""
    assert fit.face is not None
    run, font = fit.face.runs[0], load_font(fit.face.runs[0].font)
    assert run.text[0] == "H"
    advance, capital = font.advances["H"] * run.size_mm, font.capital * run.size_mm
    if run.turn == 90:
        box = (run.x_mm - 1.1 * capital, run.y_mm, run.x_mm + 0.1 * capital, run.y_mm + advance * run.stretch)
    else:
        high = capital * run.stretch
        box = (run.x_mm, run.y_mm - 0.1 * high, run.x_mm + advance, run.y_mm + 1.1 * high)
    left, lower, right, upper = (value * K for value in box)
    part = dark[max(0, int(dark.shape[0] - upper)) : int(dark.shape[0] - lower), int(left) : int(right)]
    down, across = extent(part.max(axis=1)) / K, extent(part.max(axis=0)) / K
    return (across, down) if run.turn == 90 else (down, across)


@pytest.mark.parametrize(("text", "low", "high", "heating", "direction"), CASES)
def test_ten_sleeves(text: str, low: float, high: float, heating: str, direction: str) -> None:
    """The pixels of the piece, scaled by what single stopped tubes make of it, are what the fit reports."""
    fit = sleeve(text, low, high, heating, direction)
    assert fit.result != "fail"
    assert fit.capital_height_mm is not None
    assert fit.surface.width_ratio is not None
    dark = rendered(fit)
    height, width = letter(fit, dark)
    shrunk = list(outcomes(fit, samples=3000))
    around = direction == "around"
    heights = [height * (out.along if around else out.face) for out in shrunk]
    shares = [
        width * out.face / (height * out.along) if around else width * out.along / (height * out.face) for out in shrunk
    ]
    assert (min(heights), max(heights)) == pytest.approx(
        (fit.capital_height_mm.low, fit.capital_height_mm.high), rel=0.02
    )
    assert (min(shares), max(shares)) == pytest.approx(
        (fit.surface.width_ratio.low, fit.surface.width_ratio.high), rel=0.02
    )
    rows = np.flatnonzero(dark.max(axis=1) > 0.5)
    inked = (rows[-1] - rows[0] + 1) / K
    covered = max(np.degrees(2 * inked * out.face / out.outside_mm) for out in shrunk)
    if around:  # what is reported counts the line's advance, which holds the ink with its bearings
        assert fit.text_arc_deg * 0.9 <= covered <= fit.text_arc_deg
    else:
        assert covered == pytest.approx(fit.text_arc_deg, rel=0.02)


def test_the_way_of_measuring_itself() -> None:
    """Helvetica's CapHeight is 718/1000 (Adobe AFM): 7.90 pt give 2.00 mm capitals, 5.01 pt give 1.27 mm.

    The base font is drawn by the reader's own face, so the measure may be off by one dot in 1200.
    """
    for points, millimetres in ((7.90, 2.00), (5.01, 1.27)):
        target = BytesIO()
        canvas = Canvas(target, pagesize=(72, 72))
        canvas.setFont("Helvetica", points)
        canvas.drawString(10, 10, "H")
        canvas.save()
        grey = pdfium.PdfDocument(target.getvalue())[0].render(scale=DPI / 72, grayscale=True).to_numpy().squeeze()
        assert extent((1 - grey / 255.0).max(axis=1)) / K == pytest.approx(millimetres, abs=1.5 / K)
