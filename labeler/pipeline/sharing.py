"""Sheets that several units share: which of it is each unit's, and all of it together again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from labeler.model import Sheet


def own(sheets: Sequence[Sheet], pieces: set[int], *, first: bool) -> tuple[Sheet, ...]:
    """Return the sheets with one unit's pieces alone, known by `id`; pages that carry a header are the first's."""
    kept = (replace(s, placed=tuple(p for p in s.placed if id(p.piece) in pieces)) if s.placed else s for s in sheets)
    return tuple(
        sheet for sheet, whole in zip(kept, sheets, strict=True) if sheet.placed or (first and not whole.placed)
    )


def together(units: Iterable[Sequence[Sheet]]) -> tuple[Sheet, ...]:
    """Return the sheets of several units as they are printed: those of one number are one."""
    all_of_them = tuple(units)
    if len(all_of_them) == 1:
        return tuple(all_of_them[0])
    same: dict[int, list[Sheet]] = {}
    for sheet in sorted((sheet for sheets in all_of_them for sheet in sheets), key=lambda sheet: sheet.number):
        same.setdefault(sheet.number, []).append(sheet)
    return tuple(
        replace(each[0], placed=tuple(placed for sheet in each for placed in sheet.placed)) for each in same.values()
    )
