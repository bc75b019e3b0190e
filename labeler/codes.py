"""Machine-readable codes: QR symbols as rows of modules."""

from __future__ import annotations

import math
from functools import lru_cache

from labeler.errors import LabelerError, Problem, WrongUse
from labeler.model import NOWHERE, Symbol

MM_PER_INCH = 25.4
QUIET_ZONE_MODULES = 4
"""Free of print on all four sides of a QR symbol, in modules (ISO/IEC 18004:2015, 9.1)."""

FEWEST_DOTS = 4
"""Printer dots in a module, at least: public QR printing guidance, quoted, the standard not seen."""

SMALLEST_MODULE_MM = 0.25
"""Side of a module, at least.

Project choice: the smallest at which a 300 dpi print read every time in trials, and the lower end of
the range for which ISO/IEC 15415 annex D (as cited in an open encoder) grades with a 0.2 mm aperture.
"""


@lru_cache(maxsize=4096)
def qr(payload: str, error_correction: str = "M", mask: int | None = None) -> tuple[str, ...]:
    """Return the smallest QR symbol that holds ``payload``: rows of ``1`` (dark) and ``0``, top first.

    Parameters
    ----------
    payload : what a reader shall answer; digits, capitals and ``$%*+-./:`` with space pack tightest.
    error_correction : ``L``, ``M``, ``Q`` or ``H``: 7, 15, 25 or 30 % of the symbol may be lost.
    mask : 0-7 to use this mask pattern; None chooses by the penalty rules.

    The quiet zone is not part of the rows: leave `QUIET_ZONE_MODULES` free on every side.

    Raises
    ------
    LabelerError : an empty payload, or one that the largest symbol does not hold.
    WrongUse : an error correction that is not one of the four.
    """
    from qrcode import QRCode, constants
    from qrcode.exceptions import DataOverflowError

    if not payload:
        raise LabelerError(Problem(NOWHERE, "QR: nothing to encode", "give the code a text"))
    level = getattr(constants, f"ERROR_CORRECT_{error_correction}", None)
    if level is None:
        message = f'QR: error correction "{error_correction}" is not known'
        raise WrongUse(Problem(NOWHERE, message, "choose L, M, Q or H"))
    symbol = QRCode(error_correction=level, border=0, mask_pattern=mask)
    symbol.add_data(payload, optimize=0)  # one segment: what is asked for, not split into several
    try:
        symbol.make(fit=True)
    except (DataOverflowError, ValueError) as error:  # the library raises either, by version
        size = len(payload.encode())
        message = f"QR: {size} bytes do not fit the largest symbol at error correction {error_correction}"
        raise LabelerError(Problem(NOWHERE, message, "shorten the text")) from error
    return tuple("".join("1" if dark else "0" for dark in row) for row in symbol.modules)


def place_qr(rows: tuple[str, ...], payload: str, x_mm: float, y_mm: float, side_mm: float, dpi: float) -> Symbol:
    """Return the symbol with its lower left corner at the place, as large as whole dots allow.

    Parameters
    ----------
    rows : the modules, from `qr`.
    payload : what they say.
    x_mm, y_mm : lower left corner of the dark-and-light square, without its quiet zone [mm].
    side_mm : room for that square [mm]; the symbol is this large or smaller by less than a dot a module.
    dpi : dots per inch of the printer.

    Raises
    ------
    LabelerError : the module would be under `FEWEST_DOTS` dots or `SMALLEST_MODULE_MM`.

    >>> symbol = place_qr(qr("J4"), "J4", 0, 0, side_mm=10, dpi=300)
    >>> round(symbol.module_x_mm, 4)  # 10 mm / 21 modules = 5.62 dots: 5 dots of 25.4 / 300 mm
    0.4233
    """
    dot_mm = MM_PER_INCH / dpi
    count = len(rows)
    dots = math.floor(side_mm / (count * dot_mm) + 1e-9)
    least = max(FEWEST_DOTS, math.ceil(SMALLEST_MODULE_MM / dot_mm - 1e-9))
    if dots < least:
        raise LabelerError(_too_small(payload, count, side_mm, dpi, least))
    module_mm = dots * dot_mm
    return Symbol("QR", payload, rows, x_mm, y_mm, module_mm, module_mm)


def _too_small(payload: str, count: int, side_mm: float, dpi: float, least: int) -> Problem:
    """Say what the symbol would need: the module is the limit, the side is what a user can change."""
    need = math.ceil(count * least * MM_PER_INCH / dpi * 10 - 1e-9) / 10
    message = (
        f'QR "{payload}": {count} modules on {side_mm:.1f} mm make a module of {side_mm / count:.3f} mm; '
        f"at {dpi:g} dpi it must be at least {least} dots ({least * MM_PER_INCH / dpi:.3f} mm)"
    )
    return Problem(NOWHERE, message, f"give it {need:.1f} mm, shorten its text, or leave the code out")
