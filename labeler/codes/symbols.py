"""Symbologies: one row each says how a text becomes modules, what stays free around them, and how they are read.

Where a symbol may stand is decided when it is fitted. The encoders' libraries are loaded when a code is made.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE, Code

Made = tuple[tuple[str, ...], str]  # rows of modules, and the level of error correction, "" where there is none


@dataclass(frozen=True, slots=True)
class Symbology:
    """A kind of code. ``make`` yields the symbols that hold a text at a least error correction, lowest first."""

    name: str
    quiet: int  # modules that stay free all round, of bars at both ends
    make: Callable[[str, str], Iterator[Made]]
    reader: str  # the reading library's format
    family: str  # … and the name of the format in its answers
    linear: bool = False  # a row of bars
    proposed: int = 0  # as a way out where another does not stand: in this order; 0 never


def _qr(data: str, least: str) -> Iterator[Made]:
    from labeler.codes.qr import qr_in_room

    yield qr_in_room(data, least)


def _code128(data: str, _: str) -> Iterator[Made]:
    from labeler.codes.bars import code128

    yield (code128(data),), ""


def _code39(data: str, _: str) -> Iterator[Made]:
    from labeler.codes.bars import code39

    pair = re.search(r"[$/+%][A-Z]", data)
    if pair:  # readers of full ASCII take the two for another sign (ISO/IEC 16388 annex A)
        message = f"Code 39 {data!r}: {pair[0]!r} is another sign to readers that take full ASCII"
        raise LabelerError(Problem(NOWHERE, message, "use Code 128, or a code.data without it"))
    yield (code39(data),), ""


def _data_matrix(data: str, _: str) -> Iterator[Made]:
    from labeler.codes.data_matrix import SIZES, data_matrix

    height = 0
    for rows, columns in sorted(SIZES):
        if rows == height:
            continue  # a narrower one of this height holds it
        made = data_matrix(data, rows, columns)
        if made is not None:
            height = rows
            yield made, ""
    if not height:
        message = f"Data Matrix: {len(data)} signs do not fit 48 x 48 modules, the largest that is used"
        raise LabelerError(Problem(NOWHERE, message, "shorten the text"))


SYMBOLOGIES: Mapping[str, Symbology] = {
    each.name: each
    for each in (
        Symbology("QR", 4, _qr, "QRCodeModel2", "QRCode", proposed=2),
        Symbology("Data Matrix", 1, _data_matrix, "DataMatrix", "DataMatrix", proposed=1),
        Symbology("Code 128", 10, _code128, "Code128", "Code128", linear=True, proposed=3),
        Symbology("Code 39", 10, _code39, "Code39Std", "Code39", linear=True),
    )
}
"""By name. Quiet zones: ISO/IEC 18004:2015, 9.1; 16022:2006, 7.1; 15417:2007, 4.4.2; 16388:2007, 4.4 d. Formats: the
family of QR would also take its small relatives, which misread damaged symbols."""

PROPOSED = tuple(s.name for s in sorted(SYMBOLOGIES.values(), key=lambda s: s.proposed) if s.proposed)
"""The symbologies that are tried where another does not stand."""


def symbols(kind: str, data: str, least: str = "M") -> Iterator[Code]:
    """Yield the symbols of a kind that hold a text, those that are lowest first: on a round part rows cost arc.

    Data Matrix comes in several shapes, each the smallest of its height; QR and bars in one.
    ``least`` is the error correction of a QR symbol, at least; it is raised as far as its size has room.

    Raises
    ------
    LabelerError : a text that the kind cannot hold.
    """
    symbology = SYMBOLOGIES[kind]
    for rows, level in symbology.make(data, least):
        yield Code(kind, data, rows, symbology.quiet, level)
