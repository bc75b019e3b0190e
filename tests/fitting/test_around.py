"""Lines around the tube: the letters' width shrinks with the face, their height with the tube's length."""

import pytest

from labeler.fitting.sleeve import SleevePlace, fit_sleeve
from labeler.model import Fit, Marker, Range, Seat
from labeler.size.tubes import choose_tubes
from labeler.tables.catalogue import load_catalogue
from labeler.text import load_font
from labeler.wording import sentences
from tests.make import NO_CHANGES, Changes, settings
from tests.shrinking import check_against_outcomes

CATALOGUE = load_catalogue()


def around(text: str, low: float, high: float, changes: Changes = NO_CHANGES) -> Fit:
    on = Range(low, high)
    seat, chosen = Seat(on, on, on), settings({"sleeve.text_direction": "around", **changes})
    lines = tuple(text.split("|"))
    marker = Marker(f"{text}{low}", "sleeve", "branch end", "J4", lines, len(lines) == 1, chosen)
    return fit_sleeve(marker, SleevePlace(seat, choose_tubes(seat, chosen, CATALOGUE)))


@pytest.mark.parametrize("heating", ["even", "unmarked side first", "any"])
@pytest.mark.parametrize(("low", "high"), [(9.0, 10.0), (14.0, 15.0), (24.0, 26.0)])
@pytest.mark.parametrize("family", ["AS23053/5", "3:1 single wall"])
def test_every_outcome_is_as_reported(heating: str, low: float, high: float, family: str) -> None:
    fit = around(
        "HEIGHT",
        low,
        high,
        changes={"sleeve.heating": heating, "sleeve.families": (family,), "print.reading_distance_mm": 250.0},
    )
    assert fit.surface.text_direction == "around"
    check_against_outcomes(fit)
    if fit.result != "fail":
        assert fit.surface.width_ratio is not None
        assert (
            (0.5 if fit.result == "pass" else 0.4)
            <= fit.surface.width_ratio.low
            <= fit.surface.width_ratio.high
            <= 1.0 + 1e-6
        )


def test_letters_are_stretched_along_the_line_by_as_much_as_the_face_shrinks() -> None:
    """A tube that neither shrinks lengthwise nor varies, even heat: 25.4 to 12.7 mm on 19.05 mm.

    Wall 1 mm recovered: section 13.7; outside as supplied sqrt(25.4^2 + 4 x 13.7) = 26.457, on the part
    sqrt(19.05^2 + 54.8) = 20.438: the face shrinks to 0.7725. The H comes out in its own proportion if it
    is printed 1/0.7725 = 1.2945 wider; its height is what it was.
    """
    from labeler.model import Tube, TubeChoice

    tube = Tube("made", "made 1", 25.4, 12.7, 1.0, 1.0, 1.0)
    on = Range(19.05, 19.05)
    chosen = settings(
        {
            "sleeve.text_direction": "around",
            "sleeve.heating": "even",
            "sleeve.expanded_oversize": 0.0,
            "sleeve.recovered_undersize": 0.0,
        }
    )
    marker = Marker("ID", "sleeve", "branch end", "J4", ("H4",), True, chosen)
    fit = fit_sleeve(marker, SleevePlace(Seat(on, on, on), TubeChoice((tube,))))
    assert fit.face is not None
    assert fit.capital_height_mm is not None
    assert fit.surface.width_ratio is not None
    assert fit.face.runs[0].stretch == pytest.approx(1.2945, abs=2e-4)
    font = load_font(fit.font)
    own = font.capital_width / font.capital
    assert (fit.surface.width_ratio.low, fit.surface.width_ratio.high) == pytest.approx((own, own), rel=1e-4)
    assert fit.capital_height_mm.printed == fit.capital_height_mm.low == fit.capital_height_mm.high


def test_letters_out_of_proportion_around_are_refused() -> None:
    """Any heating of a 3:1 tube well below its supplied size spreads the letters' width over more than 2 : 1."""
    fit = around(
        "HEIGHT",
        9.0,
        14.0,
        changes={"sleeve.heating": "any", "sleeve.families": ("3:1 single wall",), "print.reading_distance_mm": 250.0},
    )
    check_against_outcomes(fit)
    assert fit.surface.width_ratio is not None
    assert fit.surface.width_ratio.high <= 1.0 + 1e-6  # never wider than allowed …
    assert fit.surface.width_ratio.low < 0.5  # … so it is too narrow
    assert fit.result == "fail"
    assert any("as wide as high" in reason for reason in sentences(fit.reasons))
