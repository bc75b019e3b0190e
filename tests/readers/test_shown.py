"""Numbers as cells show them, by what a format means (ECMA-376 part 1, 18.8.31, from memory)."""

from __future__ import annotations

import pytest

from labeler.readers.workbook import as_shown


@pytest.mark.parametrize(
    ("number", "form", "shown"),
    [
        (7, "General", "7"),
        (7, "0", "7"),
        (7, "0000", "0007"),
        (12345, "0000", "12345"),
        (7, '"W"000', "W007"),
        (7, r"\W000", "W007"),
        (50, '0" cm"', "50 cm"),
        (0.5, '0.00" mm²"', "0.5 mm²"),  # all digits of the number: a format may round, and 0.50 is no more
        (1250, "#,##0", "1250"),  # thousands are not parted: 1,250 may be read as decimals
        (1250, '#,##0" mm"', "1250 mm"),
        (0.352, "0.0", "0.352"),
        (7, "[Blue]000;[Red]-000", "007"),
        (1250.0, '_-* #,##0.00\\ "€"_-', "1250 €"),
        (-7, "000", "-7"),
        (0.5, "0%", "0.5"),
        (1.5, "# ?/?", "1.5"),
        (1200, "0.00E+00", "1200"),
    ],
)
def test_what_a_cell_shows(number: float, form: str, shown: str) -> None:
    assert as_shown(number, form) == shown


@pytest.mark.parametrize("form", ["000-00", r"000\-00", '00"."00', "00:00"])
def test_digits_parted_by_a_format_are_refused(form: str) -> None:
    with pytest.raises(ValueError, match="format it as text"):
        as_shown(12345, form)
