"""The plumbing, not the physics: printed sleeves are rendered, their pixels scaled as the report says, and measured.

Capital height, width over height of the H, and the arc of the lettering must equal the report within 2 %.
"""

from io import BytesIO

import numpy as np
import pypdfium2 as pdfium
import pytest
from reportlab.pdfgen.canvas import Canvas

from labeler.catalogue import load_catalogue
from labeler.draw.pdf import Header, draw_sheets
from labeler.fit import SleevePlace, fit_sleeve
from labeler.layout import lay_out
from labeler.model import Fit, Marker, Piece, Range, Seat
from labeler.size import choose_tubes
from labeler.text import load_font
from tests.make import settings

DPI = 1200
K = DPI / 25.4
CATALOGUE = load_catalogue()


def sleeve(text: str, low: float, high: float, heating: str) -> Fit:
    seat = Seat(Range(low, high), Range(low, high), Range(low, high), "test")
    chosen = settings(heating=heating)
    marker = Marker(f"{text}{low}", "sleeve", "branch end", "J4", tuple(text.split("|")), False, chosen)
    return fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE)))


CASES = [
    ("HH", 1.6, 1.8, "back first"),
    ("HEIGHT", 2.3, 2.6, "even"),
    ("HULL H2", 3.0, 3.4, "back first"),
    ("HELM", 3.6, 4.3, "any"),
    ("HATCH 4", 4.0, 4.6, "back first"),
    ("HH|HH", 6.0, 6.6, "back first"),
    ("HOIST", 7.0, 8.2, "even"),
    ("HEAD|HULL", 9.0, 10.0, "any"),
    ("HYDRO|H12", 12.0, 13.0, "back first"),
    ("HEAVE", 20.0, 22.0, "even"),
]


def rendered(fit: Fit) -> np.ndarray:
    """The piece as the reel prints it, one page, as darkness from 0 to 1."""
    assert fit.face is not None
    reel = CATALOGUE.stock("reel")
    sheets = lay_out([Piece(fit.marker.id, fit.face, "reel")], {"reel": reel})
    target = BytesIO()
    draw_sheets(sheets, target, title="test", header=Header("test"))
    page = pdfium.PdfDocument(target.getvalue())[1]  # after the leader
    grey: np.ndarray = page.render(scale=DPI / 72, grayscale=True).to_numpy().squeeze()
    return 1 - grey / 255.0


def extent(ink: np.ndarray) -> float:
    """Length of a run of inked rows or columns, grey ones by their share."""
    return float(np.clip(ink, 0, 1).sum())


@pytest.mark.parametrize(("text", "low", "high", "heating"), CASES)
def test_ten_sleeves(text: str, low: float, high: float, heating: str) -> None:
    fit = sleeve(text, low, high, heating)
    assert fit.capital is not None
    assert fit.face is not None
    assert fit.face_scale is not None
    assert fit.along_scale is not None
    assert fit.tube is not None
    assert fit.verdict != "does not fit"
    dark = rendered(fit)
    run = fit.face.runs[0]
    font = load_font(run.font)
    left, right = run.x_mm * K, (run.x_mm + font.advances["H"] * run.size_mm) * K
    top = dark.shape[0] - (run.y_mm + 1.1 * font.capital * run.size_mm * run.stretch) * K
    bottom = dark.shape[0] - (run.y_mm - 0.1 * font.capital * run.size_mm * run.stretch) * K
    letter = dark[max(0, int(top)) : int(bottom), int(left) : int(right)]
    height, width = extent(letter.max(axis=1)) / K, extent(letter.max(axis=0)) / K
    for scale, reported in ((fit.face_scale.low, fit.capital.low), (fit.face_scale.high, fit.capital.high)):
        assert height * scale == pytest.approx(reported, rel=0.02)
    # the smallest face scale squeezes the letters widest, the largest least
    shares = sorted(
        (width * along) / (height * face)
        for along in (fit.along_scale.low, fit.along_scale.high)
        for face in (fit.face_scale.low, fit.face_scale.high)
    )
    assert fit.proportion is not None
    assert shares[0] <= fit.proportion.low * 1.02
    assert fit.proportion.high <= shares[-1] * 1.02
    rows = np.flatnonzero(dark.max(axis=1) > 0.5)
    stack = (rows[-1] - rows[0] + 1) / K
    if heating == "even":  # everywhere in the range 2 H / outside supplied, at its smallest
        assert fit.outside_mm is not None
        assert np.degrees(2 * stack / fit.outside_mm[0]) == pytest.approx(fit.arc_deg, rel=0.02)
    else:  # at most what the largest face scale covers on the smallest outside, at least what it covers at its own
        assert fit.outside_mm is not None
        assert np.degrees(2 * stack * fit.face_scale.high / fit.outside_mm[1]) >= fit.arc_deg * 0.98
        assert np.degrees(2 * stack * fit.face_scale.high / fit.outside_mm[2]) <= fit.arc_deg * 1.02


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
