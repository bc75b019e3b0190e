"""Codes of bars: Code 128 (ISO/IEC 15417) and Code 39 (ISO/IEC 16388), each one row of modules."""

from __future__ import annotations

from barcode.charsets.code39 import REF
from barcode.codex import Code39, Code128
from barcode.errors import IllegalCharacterError

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE


class _Code128(Code128):  # type: ignore[misc]
    """The library's Code 128 with two of its faults held off.

    Its optimiser takes a 99 after the start character for a change to set C and drops it, but right
    after START C it is data: "9901" became "01". And a second build goes on with the character set
    the first one ended in: other bars for the same text. Both seen in python-barcode 0.16.1,
    and known to its makers.
    """

    def _build(self) -> list[int]:
        self._charset, self._buffer = "C", ""
        built: list[int] = super()._build()
        return built

    def _try_to_optimize(self, encoded: list[int]) -> list[int]:
        if encoded[1] == 99:
            return encoded
        shorter: list[int] = super()._try_to_optimize(encoded)
        return shorter


def code128(data: str) -> str:
    """Return the modules from the start to the end of the stop character: ``1`` is bar, ``0`` is space.

    Raises `LabelerError` for a character that Code 128 lacks.

    >>> len(code128("AIM1234"))  # ISO/IEC 15417 annex A.1: 101 modules
    101
    """
    try:
        return str(_Code128(data).build()[0])
    except (IllegalCharacterError, KeyError) as error:
        raise LabelerError(Problem(NOWHERE, f"Code 128 {data!r}: {error}", "use letters and digits")) from error


def code39(data: str) -> str:
    """Return the modules from the first bar to the last, wide ones three: ``1`` is bar, ``0`` is space.

    It has no check character (the ids of markers have their own). Raises `LabelerError` for a character
    that Code 39 lacks.

    >>> len(code39("1A"))  # (C + 2)(3 N + 6) + C + 1 with C = 2, N = 3
    63
    """
    lacking = sorted({sign for sign in data if sign not in REF})
    if lacking:
        message = f"Code 39 {data!r}: has no {', '.join(map(repr, lacking))}"
        raise LabelerError(Problem(NOWHERE, message, "use capitals and digits, or Code 128"))
    return str(Code39(data, add_checksum=False).build()[0])
