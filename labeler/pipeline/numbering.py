"""The number of a reprint beside its text, where it is asked for: R1 on the first one, R2 on the second."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import floor

from labeler.codes import QUIET_ZONE_MODULES
from labeler.errors import LabelerError, Problem, Where
from labeler.model import Face, Piece, Run, Symbol
from labeler.text import load_font

CAPITAL_MM = 1.27  # of the number, as printed: project choice, the least capital that markers have by default (0.05 in)
APART_MM = 0.5  # between the number and what else is printed: project choice
EDGE_MM = 1.0  # between the number and the end of the piece, where it is cut: project choice, half of end_margin_mm
Area = tuple[float, float, float, float]  # left, lower, right, upper


def numbered(piece: Piece, number: int) -> Piece:
    """Return the piece with R and the number at the right end of its first line, or else at its left end.

    Raises `LabelerError` where neither end has room for it: nothing of the text moves or shrinks.
    """
    face, text = piece.face, f"R{number}"
    first = face.runs[0] if face.runs else None
    if first is None or first.turn:
        raise _no_room(piece, text, "its lines are not along the piece")
    font = load_font(first.font)
    size = CAPITAL_MM / font.capital
    width = font.width(text) * size
    taken = list(_taken(face))
    for x in (floor((face.width_mm - EDGE_MM - width) * 1e4) / 1e4, EDGE_MM):
        run = Run(text, first.font, size, x, first.y_mm, first.stretch)
        left, low, right, high = _area(run)
        inside = left >= EDGE_MM - 1e-6 and right <= face.width_mm - EDGE_MM + 1e-6
        copies = [(left - APART_MM, low - down, right + APART_MM, high - down) for down in _steps_down(face)]
        if inside and not any(_meet(copy, area) for copy in copies for area in taken):
            return replace(piece, face=replace(face, runs=(*face.runs, run)))
    left = max(0.0, min(area[0] for area in taken))
    right = max(0.0, face.width_mm - max(area[2] for area in taken))
    asked = width + APART_MM + EDGE_MM
    raise _no_room(piece, text, f"{left:.1f} and {right:.1f} mm are free at its ends, {asked:.1f} mm are asked")


def _no_room(piece: Piece, text: str, why: str) -> LabelerError:
    fix = "leave --numbered out: the reprint is recorded all the same"
    return LabelerError(Problem(Where(piece.marker), f"{piece.label}: there is no room for {text}: {why}", fix))


def _taken(face: Face) -> Iterator[Area]:
    """Yield what is printed already, with all its copies."""
    for run in face.runs:
        left, low, right, high = _area(run)
        yield from ((left, low - down, right, high - down) for down in _steps_down(face))
    for box in face.boxes:
        yield box.x_mm, box.y_mm, box.x_mm + box.width_mm, box.y_mm + box.height_mm
    if face.symbol is not None:
        yield from _codes(face.symbol)


def _steps_down(face: Face) -> tuple[float, ...]:
    """Return by how much each copy of the text lies lower than the first."""
    return tuple(copy * face.copy_pitch_mm for copy in range(face.copies))


def _codes(symbol: Symbol) -> Iterator[Area]:
    """Yield every copy of a code with its quiet zone: of bars that lies at both ends."""
    quiet = QUIET_ZONE_MODULES.get(symbol.kind, max(QUIET_ZONE_MODULES.values()))
    beside = quiet * symbol.module_x_mm
    above = quiet * symbol.module_y_mm if len(symbol.rows) > 1 else 0.0
    wide, high = len(symbol.rows[0]) * symbol.module_x_mm, len(symbol.rows) * symbol.module_y_mm
    for x, y in symbol.corners():
        yield x - beside, y - above, x + wide + beside, y + high + above


def _area(run: Run) -> Area:
    font = load_font(run.font)
    high, low = (side(run.text) * run.size_mm * run.stretch for side in (font.above, font.below))
    return run.x_mm, run.y_mm - low, run.x_mm + font.width(run.text) * run.size_mm, run.y_mm + high


def _meet(a: Area, b: Area) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
