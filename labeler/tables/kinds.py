"""Kinds of marker: one row each says what the rest of the program needs to know of a kind.

A new kind is a row here, a stock file that takes it, and a module of `labeler.fitting` that fits it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of marker. A stock file that is for it says so: ``marker = "wrap"``."""

    name: str
    tube: str = ""  # marked: it is tube that is printed; clear: clear tube lies over it; "": none, it goes on sideways
    instead: tuple[str, ...] = ()  # kinds that are tried where it does not fit, in this order
    fills_cell: bool = False  # it is as large as its cell on the stock
    measures: tuple[str, ...] = ()  # of its stock: by these it sits, wraps or reads as it was worked out to
    apply: str = ""  # how it goes on, where it is not tube that is printed
    apply_cut_out: str = ""  # the same where its stock is plain paper, to be cut out; "": no other way

    @property
    def article(self) -> str:
        """Return the article before its name."""
        return "an" if self.name[0] in "aeiou" else "a"


KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "wrap",
            instead=("sleeve", "flag"),
            fills_cell=True,
            measures=("cell_width_mm", "cell_height_mm", "print_zone_mm", "thickness_mm"),
            apply="on a clean, dry wire: printed part first, text along the wire, then the clear tail wound over it",
        ),
        Kind("tag", fills_cell=True),
        Kind("sleeve", "marked", instead=("wrap", "insert")),
        Kind(
            "insert",
            "clear",
            instead=("wrap", "flag"),
            measures=("thickness_mm",),
            apply="wind it around, text outside and along the wires, draw the clear sleeve over it, then shrink that",
        ),
        Kind(
            "flag",
            instead=("wrap", "sleeve"),
            fills_cell=True,
            measures=("cell_width_mm", "cell_height_mm", "thickness_mm"),
            apply="lay the wire across the middle, fold there, press the halves together edge to edge",
            apply_cut_out="fold at the ticks around the wire, and glue the halves together edge to edge",
        ),
    )
}
"""By name. How each goes on: common practice."""

SLID_ON = tuple(kind.name for kind in KINDS.values() if kind.tube)
"""The kinds that go on from an end; others go on from the side."""
