"""The order of threading: every sleeve and covering of a branch, from which end, before which step."""

from __future__ import annotations

from labeler.model import Branch, BranchEnd, Circuit, Harness, ThreadStep
from labeler.size.access import THREADED, Entry, entries, instruction, joining, laid_on, way_on
from labeler.size.bundles import covering_of, crimped_diameter, passed_from, widest
from labeler.tables.catalogue import Catalogue


def threading(
    branch: Branch, circuits: tuple[Circuit, ...], harness: Harness, catalogue: Catalogue
) -> tuple[ThreadStep, ...]:
    """Return what is threaded onto a branch, in the order to do it.

    A sleeve goes on from the end with the smallest obstacle, its own if it can. From one end, what
    belongs farthest from it goes on first; so nothing has to pass what is already in its place.
    A covering that is threaded lies between the sleeves; one that is wound is no step. Between
    junctions all is laid on before the branches are joined, the covering first.

    Raises `LabelerError` where a size that decides the way is not known.
    """
    settings = branch.settings
    wall, _, covering = covering_of(settings, catalogue)
    covered = bool(branch.ends) and wall.high > 0 and catalogue.is_threaded(settings.covering)
    kinds = [end.settings.branch_marker_kind for end in branch.ends]
    if not covered and not any(kind in THREADED for kind in kinds):
        return ()
    ways = entries(f"branch {branch.id}", branch.ends, harness, crimped_diameter(branch, circuits, harness, catalogue))
    placed: list[tuple[Entry | None, float, ThreadStep]] = []
    last = max(1, len(branch.ends) - 1)
    if covered:
        bare = widest(branch, circuits, harness, catalogue)
        way = way_on(None, ways, lambda _: bare)
        placed.append((way, 0.5 if len(branch.ends) > 1 else 1.0, _step(branch, covering, None, way, bare)))
    for place, (end, kind) in enumerate(zip(branch.ends, kinds, strict=True)):
        if kind in THREADED:
            wall, _, _ = covering_of(end.settings, catalogue)
            over = passed_from(branch, end, circuits, harness, catalogue, wall)
            way = way_on(end, ways, over)
            placed.append((way, place / last, _step(branch, "sleeve", end, way, over(way))))
    return _ordered(branch, placed)


def _step(branch: Branch, what: str, end: BranchEnd | None, way: Entry | None, over_mm: float) -> ThreadStep:
    at = end.at if end else ""
    if way is None:
        return ThreadStep(branch.id, what, at, "", joining(branch), over_mm, laid_on(branch))
    passes = max(over_mm, way.obstacle_mm)
    return ThreadStep(branch.id, what, at, way.end.at, way.before, passes, instruction(way, end))


def _ordered(branch: Branch, placed: list[tuple[Entry | None, float, ThreadStep]]) -> tuple[ThreadStep, ...]:
    """End by end, a covering's first; from each end the farthest place first; from no end as they come."""
    at = {end.at: i / max(1, len(branch.ends) - 1) for i, end in enumerate(branch.ends)}
    coverings = [way.end.at for way, _, step in placed if way and step.what != "sleeve"]
    first = [*coverings, *(name for name in at if name not in coverings)]
    laid = tuple(step for way, _, step in placed if way is None)
    return laid + tuple(
        step
        for name in first
        for way, _, step in sorted(placed, key=lambda each: -abs(each[1] - at[name]))
        if way and way.end.at == name
    )
