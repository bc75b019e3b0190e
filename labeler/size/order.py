"""The order of threading: every sleeve and covering of a branch, from which end, before which step."""

from __future__ import annotations

from labeler.catalogue import Catalogue
from labeler.model import Branch, Circuit, Harness, Settings, ThreadStep
from labeler.size.bundles import branch_bundle, covering_of, crimped_diameter
from labeler.size.thread import Entry, entries, instruction, way_on


def threading(
    branch: Branch, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue
) -> tuple[ThreadStep, ...]:
    """Return what is threaded onto a branch, in the order to do it.

    A sleeve goes on from the end with the smallest obstacle, its own if it can. From one end, what
    belongs farthest from it goes on first; so nothing has to pass what is already in its place.
    A covering that is threaded lies between the sleeves; one that is wound is no step.

    Raises `LabelerError` where a size that decides the way is not known.
    """
    settings: Settings = branch.settings or harness.settings  # type: ignore[assignment]
    ways = entries(branch, harness, crimped_diameter(branch, circuits, harness, catalogue))
    if not ways:
        return ()
    wall, _, covering = covering_of(settings, catalogue)
    bare = branch_bundle(branch, circuits, harness, catalogue).passes.high
    placed: list[tuple[Entry, float, ThreadStep]] = []
    last = max(1, len(branch.ends) - 1)
    for place, end in enumerate(branch.ends):
        own: Settings = end.settings or settings
        way = way_on(end, ways)
        if own.branch_marker_kind not in ("sleeve", "insert") or way is None:
            continue
        passes = max(bare + 2 * covering_of(own, catalogue)[0].high, way.obstacle_mm)
        step = ThreadStep(branch.id, "sleeve", end.at, way.end.at, way.before, passes, instruction(way, end))
        placed.append((way, place / last, step))
    if wall.high > 0 and catalogue.is_threaded(settings.covering):
        way = min(ways, key=lambda each: each.obstacle_mm)
        step = ThreadStep(
            branch.id, covering, "", way.end.at, way.before, max(bare, way.obstacle_mm), instruction(way, None)
        )
        placed.append((way, 0.5 if len(branch.ends) > 1 else 1.0, step))
    return _ordered(branch, placed)


def _ordered(branch: Branch, placed: list[tuple[Entry, float, ThreadStep]]) -> tuple[ThreadStep, ...]:
    """End by end, a covering's first; from each end the farthest place first."""
    at = {end.at: i / max(1, len(branch.ends) - 1) for i, end in enumerate(branch.ends)}
    coverings = [way.end.at for way, _, step in placed if step.what != "sleeve"]
    first = [*coverings, *(name for name in at if name not in coverings)]
    return tuple(
        step
        for name in first
        for way, place, step in sorted(placed, key=lambda each: -abs(each[1] - at[each[0].end.at]))
        if way.end.at == name
    )
