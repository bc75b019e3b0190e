"""Pens: where a printer's correction leaves what is drawn on a page."""

import pytest

from labeler.draw.pens import Page, PointPen
from labeler.tables.printers import Printer

PRINTER = Printer(scale_x=1.02, scale_y=0.97, offset_x_mm=0.7, offset_y_mm=-0.4)


def moved(page: Page, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Return where a point of a page is drawn, mm. ISO 32000-1, 8.3.4: x' = a x + c y + e, y' = b x + d y + f."""
    a, b, c, d, e, f = (float(word) for word in PointPen(PRINTER).begin(page).split()[:6])
    per_mm = 72 / 25.4
    return a * x_mm + c * y_mm + e / per_mm, b * x_mm + d * y_mm + f / per_mm


def test_a_page_is_scaled_about_its_middle() -> None:
    """The offset alone moves the middle. 100 mm to its right and below it are 102 mm and 97 mm."""
    page = Page(210.0, 297.0)
    assert moved(page, 105.0, 148.5) == pytest.approx((105.7, 148.1), abs=1e-3)
    assert moved(page, 205.0, 48.5) == pytest.approx((207.7, 51.1), abs=1e-3)


def test_a_page_as_long_as_its_pieces_is_scaled_from_its_left_edge() -> None:
    assert moved(Page(500.0, 12.0, own=True), 0.0, 6.0) == pytest.approx((0.7, 5.6), abs=1e-3)
