"""QR symbols: the smallest that holds a text, the highest error correction it has room for, the best mask."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from qrcode import QRCode, constants
from qrcode.exceptions import DataOverflowError
from qrcode.util import BIT_LIMIT_TABLE, BitBuffer, mode_sizes_for_version

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE

LEVELS = "LMQH"
"""Error correction: 7, 15, 25 or 30 % of the symbol may be lost."""


def qr(data: str, error_correction: str = "M", mask: int | None = None) -> tuple[str, ...]:
    """Return the smallest QR symbol that holds ``data``: rows of ``1`` (dark) and ``0``, top first.

    Parameters
    ----------
    data : what a reader shall answer; digits, capitals and ``$%*+-./:`` with space pack tightest.
    error_correction : ``L``, ``M``, ``Q`` or ``H``.
    mask : 0-7 to use this mask pattern; None chooses by the penalty rules of ISO/IEC 18004, 7.8.3.

    The quiet zone is not part of the rows: leave four modules free on every side.

    Raises
    ------
    LabelerError : data that the largest symbol does not hold.
    """
    symbol = _sized(data, error_correction)
    if mask is not None:
        symbol.makeImpl(False, mask)
        return tuple("".join("1" if dark else "0" for dark in row) for row in symbol.modules)
    return _best_masked(symbol, error_correction)


def qr_in_room(data: str, least: str = "M") -> tuple[tuple[str, ...], str]:
    """Return the smallest symbol at error correction ``least``, and the highest level of the same size, with it.

    Raises as `qr`.

    >>> rows, level = qr_in_room("J4")
    >>> len(rows), level
    (21, 'H')
    """
    symbol, level = _sized(data, least), least
    for higher in LEVELS[LEVELS.index(least) + 1 :]:
        if BIT_LIMIT_TABLE[_number(higher)][symbol.version] < _bits(symbol):
            break
        level = higher
    symbol.error_correction = _number(level)
    return _best_masked(symbol, level), level


def _number(level: str) -> int:
    """Return the library's number of a level."""
    number: int = getattr(constants, f"ERROR_CORRECT_{level}")
    return number


def _sized(data: str, level: str) -> Any:
    """Return the library's symbol with its version found and its modules not yet made."""
    symbol = QRCode(error_correction=_number(level), border=0)
    symbol.add_data(data, optimize=0)  # one segment: what is asked for, not split into several
    try:
        symbol.best_fit()
    except (DataOverflowError, ValueError) as error:  # the library raises either, by version
        size = len(data.encode())
        message = f"QR: {size} bytes do not fit the largest symbol at error correction {level}"
        raise LabelerError(Problem(NOWHERE, message, "shorten the text")) from error
    return symbol


def _bits(symbol: Any) -> int:
    """Return how many bits the data take at the symbol's version: mode, length and signs."""
    sizes, buffer = mode_sizes_for_version(symbol.version), BitBuffer()
    for data in symbol.data_list:
        data.write(buffer)
    return len(buffer) + sum(4 + int(sizes[data.mode]) for data in symbol.data_list)


def _best_masked(symbol: Any, level: str) -> tuple[str, ...]:
    """Return the rows under the mask with the fewest penalty points; all eight are judged at once.

    The library builds one symbol; what the other masks change (data area and format bits) is the
    same for every text of this size and level, and is exchanged afterwards.
    """
    symbol.makeImpl(False, 0)
    masked = np.array(symbol.modules, dtype=bool) ^ _changes(symbol.version, level)
    best = masked[int(np.argmin(penalties(masked)))]
    lines = (best + np.uint8(48)).tobytes().decode("ascii")  # 48 is "0"
    side = best.shape[0]
    return tuple(lines[start : start + side] for start in range(0, side * side, side))


@lru_cache(maxsize=160)
def _changes(version: int, level: str) -> NDArray[np.bool_]:
    """Return the modules by which each mask's symbol differs from mask 0's, of one version and level."""
    made = []
    for mask in range(8):
        symbol = QRCode(version, _number(level), border=0)
        symbol.add_data("0", optimize=0)
        symbol.makeImpl(False, mask)
        made.append(np.array(symbol.modules, dtype=bool))
    changes: NDArray[np.bool_] = np.array(made) ^ made[0]
    return changes


def penalties(symbols: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the penalty points of symbols (first axis: one after another), ISO/IEC 18004:2015, 7.8.3, table 11.

    Five or more alike in a line 3 and 1 for each more; every 2 x 2 block alike 3; every 1:1:3:1:1
    with four light modules of the symbol beside it 40; 10 for every full
    5 % by which the dark share is off one half.
    """
    points = np.zeros(len(symbols), dtype=np.int64)
    for lines in (symbols, symbols.transpose(0, 2, 1)):
        same = lines[:, :, 1:] == lines[:, :, :-1]
        five = same[:, :, :-3] & same[:, :, 1:-2] & same[:, :, 2:-1] & same[:, :, 3:]
        begins = np.count_nonzero(five[:, :, 1:] & ~five[:, :, :-1], (1, 2)) + np.count_nonzero(five[:, :, 0], 1)
        points += np.count_nonzero(five, (1, 2)) + 2 * begins + 40 * _finder_like(lines)
    down = symbols[:, 1:] == symbols[:, :-1]
    across = symbols[:, :, 1:] == symbols[:, :, :-1]
    points += 3 * np.count_nonzero(down[:, :, 1:] & down[:, :, :-1] & across[:, 1:], (1, 2))
    cells = symbols.shape[1] * symbols.shape[2]
    dark = np.count_nonzero(symbols, (1, 2))
    points += 10 * (np.abs(20 * dark - 10 * cells) // cells)
    return points


def _finder_like(lines: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return how many 1011101 with four light modules before or after it each symbol's lines hold."""
    n = lines.shape[2] - 10
    at = [lines[:, :, i : i + n] for i in range(11)]
    after = at[0] & ~at[1] & at[2] & at[3] & at[4] & ~at[5] & at[6] & ~(at[7] | at[8] | at[9] | at[10])
    before = ~(at[0] | at[1] | at[2] | at[3]) & at[4] & ~at[5] & at[6] & at[7] & at[8] & ~at[9] & at[10]
    found: NDArray[np.int64] = np.count_nonzero(after, (1, 2)) + np.count_nonzero(before, (1, 2))
    return found
