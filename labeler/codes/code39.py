"""Code 39 symbols (ISO/IEC 16388): one row of modules, wide bars and spaces three modules."""

from __future__ import annotations

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE

QUIET_MODULES = 10
"""Free of print left and right, in modules (ISO/IEC 16388:2007, 4.4 d)."""


def code39(payload: str, *, check: bool = False) -> str:
    """Return the modules from the first bar to the last: ``1`` is bar, ``0`` is space.

    ``check`` adds the check character (sum of the values mod 43); the ids of markers have their own.

    Raises
    ------
    LabelerError : an empty payload, or a character that Code 39 lacks.

    >>> len(code39("1A"))  # (C + 2)(3 N + 6) + C + 1 with C = 2, N = 3
    63
    """
    from barcode.charsets.code39 import REF
    from barcode.codex import Code39

    if not payload:
        raise LabelerError(Problem(NOWHERE, "Code 39: nothing to encode", "give the code a text"))
    lacking = sorted({sign for sign in payload if sign not in REF})
    if lacking:
        message = f"Code 39 {payload!r}: has no {', '.join(map(repr, lacking))}"
        raise LabelerError(Problem(NOWHERE, message, "use capitals and digits, or Code 128"))
    return str(Code39(payload, add_checksum=check).build()[0])
