"""The rendered sheets of a whole job: every code decodes to its own text, and its dark area is right.

    LABELER_SHEETS=2000 python -m pytest -m slow -s tests/codes/test_code_sheets.py

takes so many markers instead of 240; the everyday run takes 80.
"""

from __future__ import annotations

import os
from collections import Counter
from typing import Any

import numpy as np
import pypdfium2
import pytest

from labeler.codes.reading import read_codes
from labeler.draw.pdf import draw_sheets
from labeler.draw.sheet_frame import Header
from labeler.job.run import pieces_of
from labeler.layout.place import lay_out
from labeler.model import Sheet, Symbol
from tests.orders import check

COUNT = int(os.environ.get("LABELER_SHEETS", "240"))
EVERYDAY = 80

HEAD = """
[harness]
name = "River survey boat"
part_number = "RSB-400"
[defaults]
code.symbology = "Data Matrix"
code.on = ["flag", "sleeve", "wrap", "tag"]
marker.branch = "none"
[[connector]]
id = "P1"
[[connector]]
id = "J1"
"""


def job(count: int) -> str:
    """Return a harness file: a quarter each of tags with QR, flags and sleeves with Data Matrix, sleeves with bars."""
    lines = [HEAD]
    kinds = ('"flag"', '"sleeve"', '"sleeve"\ncode.symbology = "Code 128"\ncode.data = "marker"')
    for n in range(1, count * 3 // 8 + 1):
        kind = kinds[n % 3]
        lines.append(f'[[circuit]]\nid = "W{n}"\nfrom = "P1:{n}"\nto = "J1:{n}"\nod_mm = 8.0')
        lines.append(f'marker.wire_text = "circuit"\nmarker.wire = {kind}')
    lines += [
        f'[[bag]]\nid = "K{n}"\nconnector = "J1"\ncode.symbology = "QR"\ncontents = []' for n in range(count // 4)
    ]
    return "\n".join(lines)


@pytest.fixture(scope="module", params=[EVERYDAY, pytest.param(COUNT, marks=pytest.mark.slow)])
def sheets(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[tuple[Sheet, ...], dict[str, str]]:
    """Return the sheets, and what the code of each marker says."""
    file = tmp_path_factory.mktemp("job") / "boat.toml"
    file.write_text(job(request.param), "utf-8")
    checked = check(str(file), settings={"print.wire_reading_distance_mm": "250"})
    assert not checked.misfits, [fit.reasons for fit in checked.misfits][:2]
    laid = lay_out(pieces_of(checked.fits, checked.stocks), checked.stocks.by_name())
    said = {fit.marker.id: fit.code.data for fit in checked.fits if fit.code is not None}
    return laid, said


def cut(picture: Any, sheet: Sheet, x: float, y: float, width: float, height: float, dpi: float) -> Any:
    """Return the pixels of a rectangle given in mm from the page's lower left corner."""
    k = dpi / 25.4
    rows = slice(max(int((sheet.height_mm - y - height) * k), 0), int(np.ceil((sheet.height_mm - y) * k)))
    return np.ascontiguousarray(picture[rows, max(int(x * k), 0) : int(np.ceil((x + width) * k))])


def kinds_of(sheet: Sheet) -> tuple[str, ...]:
    return tuple(dict.fromkeys(p.piece.face.symbol.symbology for p in sheet.placed if p.piece.face.symbol is not None))


def ink_mm2(picture: Any, dpi: float) -> float:
    return float((255.0 - picture.astype(float)).sum() / 255 * (25.4 / dpi) ** 2)


def ideal_mm2(symbol: Symbol) -> float:
    return sum(row.count("1") for row in symbol.rows) * symbol.module_x_mm * symbol.module_y_mm


@pytest.mark.parametrize("dpi", [300, 600])
def test_every_code_of_a_job_says_its_own_text(sheets: tuple[tuple[Sheet, ...], dict[str, str]], dpi: int) -> None:
    laid, said = sheets
    read, worst, kinds = 0, 0.0, set()
    for sheet in laid:
        data = draw_sheets((sheet,), title="t", header=Header("t"))
        with pypdfium2.PdfDocument(data) as document:
            picture = document[0].render(scale=dpi / 72, grayscale=True).to_numpy()
        picture = np.ascontiguousarray(picture.reshape(picture.shape[:2]))
        found = Counter(one.text for one in read_codes(picture, kinds_of(sheet)))
        for placed in sheet.placed:
            symbol = placed.piece.face.symbol
            assert symbol is not None
            quiet = {"QR": 4, "Data Matrix": 1, "Code 128": 10}[symbol.symbology]
            for copy in range(symbol.repeats):
                x = placed.x_mm + symbol.x_mm + copy * symbol.step_x_mm - quiet * symbol.module_x_mm
                y = placed.y_mm + symbol.y_mm + copy * symbol.step_y_mm
                around = quiet * symbol.module_y_mm if len(symbol.rows) > 1 else 0.0
                width = (len(symbol.rows[0]) + 2 * quiet) * symbol.module_x_mm
                height = len(symbol.rows) * symbol.module_y_mm + 2 * around
                own = cut(picture, sheet, x, y - around, width, height, dpi)
                worst = max(worst, abs(ink_mm2(own, dpi) / ideal_mm2(symbol) - 1))
            assert found[said[placed.piece.marker]] == symbol.repeats, (symbol.symbology, placed.piece.marker)
            read += 1
            kinds.add(symbol.symbology)
    print(f"\n{read} markers at {dpi} dpi: all read; dark area off by {worst:.3%} at most")
    assert read == len(said)
    assert kinds == {"QR", "Data Matrix", "Code 128"}
    assert worst <= 0.005
