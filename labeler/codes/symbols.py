"""Codes: what a machine reads on a marker, as modules. Where a symbol may stand is decided when it is fitted."""

from __future__ import annotations

import re
from collections.abc import Iterator

from labeler.codes import code39 as older
from labeler.codes import code128 as linear
from labeler.codes import data_matrix as matrix
from labeler.codes import qr as square
from labeler.codes.code39 import code39
from labeler.codes.code128 import code128
from labeler.codes.data_matrix import data_matrix
from labeler.codes.qr import qr_in_room
from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE, Code

QUIET_ZONE_MODULES = {
    "QR": square.QUIET_MODULES,
    "Data Matrix": matrix.QUIET_MODULES,
    "Code 128": linear.QUIET_MODULES,
    "Code 39": older.QUIET_MODULES,
}
"""Modules that stay free all round a symbol, of bars at both ends, by its kind."""


def symbols(kind: str, payload: str, least: str = "M") -> Iterator[Code]:
    """Yield the symbols of a kind that hold a text, those that are lowest first: on a round part rows cost arc.

    Data Matrix comes in several shapes, each the smallest of its height; QR and bars in one.
    ``least`` is the error correction of a QR symbol, at least; it is raised as far as its size has room.

    Raises
    ------
    LabelerError : a text that the kind cannot hold.
    """
    if kind == "QR":
        rows, level = qr_in_room(payload, least)
        yield Code(kind, payload, rows, square.QUIET_MODULES, level)
    elif kind == "Code 128":
        yield Code(kind, payload, (code128(payload),), linear.QUIET_MODULES)
    elif kind == "Code 39":
        _refuse_pairs(payload)
        yield Code(kind, payload, (code39(payload),), older.QUIET_MODULES)
    else:
        yield from _shapes(payload)


def _refuse_pairs(payload: str) -> None:
    """Raise for a sign and a letter that readers of full ASCII take for another sign (ISO/IEC 16388 annex A)."""
    pair = re.search(r"[$/+%][A-Z]", payload)
    if pair:
        message = f"Code 39 {payload!r}: {pair[0]!r} is another sign to readers that take full ASCII"
        raise LabelerError(Problem(NOWHERE, message, "use Code 128, or a code_payload without it"))


def _shapes(payload: str) -> Iterator[Code]:
    height = 0
    for rows, columns in sorted(matrix.SIZES):
        if rows == height:
            continue  # a narrower one of this height holds it
        made = data_matrix(payload, rows, columns)
        if made is not None:
            height = rows
            yield Code("Data Matrix", payload, made, matrix.QUIET_MODULES)
    if not height:
        message = f"Data Matrix: {len(payload)} signs do not fit 48 x 48 modules, the largest that is used"
        raise LabelerError(Problem(NOWHERE, message, "shorten the text"))
