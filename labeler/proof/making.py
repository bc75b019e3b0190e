"""The way from a harness file to its proof: check, lay out, draw, take pictures, write."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from labeler.errors import Problem
from labeler.files import write_whole
from labeler.job.check import check
from labeler.job.deliver import Track, untracked
from labeler.job.run import pieces_of
from labeler.layout.place import lay_out
from labeler.model import Piece, Stock
from labeler.proof.page import page, shown

ALONE = Stock("proof", "reel", "sleeve", "a page for each piece")
"""Sleeves that do not fit are shown too, also those that are longer than a card takes."""

DPI = 200.0  # of the pictures: letters of 1.5 mm are 12 pixels high; project choice


def write_proof(
    file: str,
    out: Path,
    *,
    settings: Mapping[str, str] | None = None,
    paper: str = "A4",
    stock: Sequence[str] = (),
    force: bool = False,
    track: Track = untracked,
) -> tuple[int, tuple[Problem, ...]]:
    """Write the proof of a harness file; return how many markers it shows, and the warnings.

    Markers that do not fit are shown too, as far as they can be drawn. ``track`` is handed the markers
    and the sheets as they are gone through. Raises `LabelerError` with
    every problem of the data, and for a page that exists or cannot be written.
    """
    checked = check(file, settings=settings, paper=paper, stock=stock, track=track)
    stocks = {**checked.stocks.by_name(), ALONE.name: ALONE}
    drawn = [fit for fit in checked.fits if fit.face is not None]
    misfits = {fit.marker.id for fit in checked.misfits}
    pieces = [
        replace(piece, stock=ALONE.name) if piece.marker in misfits and by_tube(piece) else piece
        for piece in pieces_of(drawn, checked.stocks)
    ]
    sheets = lay_out(pieces, stocks)
    plain = [fit for fit in checked.fits if not fit.marker.lettered]
    missing = [fit for fit in checked.fits if fit.face is None and fit.marker.lettered]
    harness = checked.harness
    title = " ".join(filter(None, ("Proof:", harness.name, harness.part_number, harness.revision)))
    text = page(title, shown(drawn, track(sheets, "pictures"), stocks, DPI), missing, len(plain))
    write_whole(out, text.encode(), force=force)
    return len(drawn) + len(missing), checked.notes


def by_tube(piece: Piece) -> bool:
    """Return whether a piece is of tube, which is loaded by its size."""
    return bool(piece.group)
