"""Data Matrix ECC 200 symbols, square and rectangular (ISO/IEC 16022)."""

from __future__ import annotations

import numpy as np
from zxingcpp import BarcodeFormat, create_barcode

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE

SIZES: dict[tuple[int, int], int] = {
    **{(side, side): number for number, side in enumerate((10, 12, 14, 16, 18, 20, 22, 24, 26, 32, 36, 40, 44, 48), 1)},
    **{size: n for n, size in enumerate(((8, 18), (8, 32), (12, 26), (12, 36), (16, 36), (16, 48)), 25)},
}
"""Rows and columns to the encoder's number of the size (ISO/IEC 16022 table 7; squares over 48 are left out:
no marker has room for them)."""


def data_matrix(data: str, rows: int, columns: int) -> tuple[str, ...] | None:
    """Return the symbol of this size: rows of ``1`` (dark) and ``0``, top first; None where the text is too long.

    The quiet zone is not part of the rows: leave one module free on every side.

    >>> data_matrix("123456", 10, 10)[0]
    '1010101010'
    """
    try:
        made = create_barcode(data, BarcodeFormat.DataMatrix, version=SIZES[rows, columns])
    except ValueError:  # it does not fit
        return None
    pixels = np.asarray(made.to_image(scale=1, add_quiet_zones=False))
    if pixels.shape != (rows, columns):  # the encoder ignores options it does not know, without a word
        message = f"Data Matrix: asked for {rows} x {columns}, the encoder made {pixels.shape[0]} x {pixels.shape[1]}"
        raise LabelerError(Problem(NOWHERE, message, "install a version of zxing-cpp from 2.3 on"))
    bits = ((pixels < 128) + np.uint8(48)).tobytes().decode("ascii")  # 48 is "0"
    return tuple(bits[start : start + columns] for start in range(0, rows * columns, columns))
