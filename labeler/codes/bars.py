"""Codes of bars: Code 128 (ISO/IEC 15417) and Code 39 (ISO/IEC 16388), each one row of modules."""

from __future__ import annotations

from functools import cache
from typing import Any

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE


def code128(payload: str) -> str:
    """Return the modules from the start to the end of the stop character: ``1`` is bar, ``0`` is space.

    Raises
    ------
    LabelerError : an empty payload, or a character that Code 128 lacks.

    >>> len(code128("AIM1234"))  # ISO/IEC 15417 annex A.1: 101 modules
    101
    """
    from barcode.errors import IllegalCharacterError

    if not payload:
        raise LabelerError(Problem(NOWHERE, "Code 128: nothing to encode", "give the code a text"))
    if not payload.isascii():
        raise LabelerError(Problem(NOWHERE, f"Code 128 {payload!r}: has signs beyond ASCII", "use letters and digits"))
    try:
        return str(_encoder()(payload).build()[0])
    except (IllegalCharacterError, KeyError) as error:
        raise LabelerError(Problem(NOWHERE, f"Code 128 {payload!r}: {error}", "use letters and digits")) from error


@cache
def _encoder() -> Any:
    """Return the library's Code 128 with two of its faults held off.

    Its optimiser takes a 99 after the start character for a change to set C and drops it, but right
    after START C it is data: "9901" became "01". And a second build goes on with the character set
    the first one ended in: other bars for the same text. Both seen in python-barcode 0.16.1,
    and known to its makers.
    """
    from barcode.codex import Code128

    class Guarded(Code128):  # type: ignore[misc]
        def _build(self) -> list[int]:
            self._charset, self._buffer = "C", ""
            built: list[int] = super()._build()
            return built

        def _try_to_optimize(self, encoded: list[int]) -> list[int]:
            if encoded[1] == 99:
                return encoded
            shorter: list[int] = super()._try_to_optimize(encoded)
            return shorter

    return Guarded


def code39(payload: str, *, check: bool = False) -> str:
    """Return the modules from the first bar to the last, wide ones three: ``1`` is bar, ``0`` is space.

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
