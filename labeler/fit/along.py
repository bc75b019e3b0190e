"""Room along a branch: sleeves whose cut length was chosen must lie inside it, and clear of one another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from labeler.model import DOES_NOT_FIT, Branch, Fit

EPS_MM = 1e-6


def within_branches(fits: Sequence[Fit], branches: Iterable[Branch]) -> tuple[Fit, ...]:
    """Return the fits; a sleeve that its branch, of known length, has no room for does not fit.

    A sleeve takes its cut length from where its edge sits; shrinking only shortens it.
    """
    measured = {branch.id: branch for branch in branches if branch.length_mm is not None}
    if not measured:
        return tuple(fits)
    starts = {(b.id, end.at): end.from_end_mm or 0.0 for b in measured.values() for end in b.ends}
    taken: dict[str, dict[str, float]] = {}
    for fit in fits:
        place = (fit.marker.branch, fit.marker.at)
        if fit.marker.role == "branch end" and fit.tube and place in starts:
            taken.setdefault(place[0], {})[place[1]] = starts[place] + fit.cut_length_mm
    return tuple(_within(fit, measured.get(fit.marker.branch), taken.get(fit.marker.branch, {})) for fit in fits)


def _within(fit: Fit, branch: Branch | None, taken: Mapping[str, float]) -> Fit:
    if branch is None or branch.length_mm is None or fit.marker.role != "branch end" or fit.marker.at not in taken:
        return fit
    others = [mm for at, mm in taken.items() if at != fit.marker.at] if len(branch.ends) == 2 else []
    reach, left = taken[fit.marker.at], branch.length_mm - sum(others)
    if reach <= left + EPS_MM:
        return fit
    text = f"its sleeve reaches {reach:g} mm from {fit.marker.at}, the branch has {branch.length_mm:g} mm"
    text += f", of which the other sleeve takes {sum(others):g}" if others else ""
    ways = (*fit.ways_out, "a shorter sleeve (cut_length_mm), or less from_end_mm")
    return replace(fit, verdict=DOES_NOT_FIT, reasons=(text, *fit.reasons), ways_out=ways)
