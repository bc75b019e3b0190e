"""What lies over the bundle at the ends of an export's branches, where the table of coverings knows it by name.

A tape, a braid or a tube of an export becomes the covering of that name: a shop gives its own coverings the numbers
of its parts as aliases. What the table does not know, or what its bundle does not fill, is told and not taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from labeler.catalogue import load_catalogue
from labeler.materials import Covering
from labeler.read.cad import Place, Segment, Thing

NEAR_MM = 100.0  # a covering that begins farther from a connector does not lie at its end: project choice

Lying = tuple[str | None, tuple[Thing, ...]]  # the covering at an end ("none", None: not known), what it was told by


def lying_at(segment: Segment, place: Place, things: Iterable[Thing]) -> Lying:
    """Return the covering at the end of a segment where a connector sits."""
    here = tuple(t for t in things if not t.is_clip and t.segment == segment.key and _is_near(t, segment, place))
    if not here:
        return "none", ()
    known = {covering.name for t in here if (covering := known_covering(t))}
    if len(here) == 1 and len(known) == 1:
        return known.pop(), here
    return None, here  # several lie on one another, or one is not known


def _is_near(thing: Thing, segment: Segment, place: Place) -> bool:
    if thing.from_mm is None or thing.to_mm is None or segment.length_mm is None:
        return True
    distances = {segment.start: thing.from_mm, segment.end: segment.length_mm - thing.to_mm}
    return distances.get(place.node, 0.0) <= NEAR_MM


def known_covering(thing: Thing) -> Covering | None:
    """Return the covering of the table that has one of a thing's words for name or alias, and that its bundle fills."""
    for word in thing.words:
        for covering in load_catalogue().coverings:
            if word.casefold() in (name.casefold() for name in (covering.name, *covering.aliases)):
                return None if covering.loose or covering.name == "none" else covering
    return None


def covering_of_branch(lying: Mapping[str, Lying], ends: Sequence[Place]) -> str:
    """Return the covering that a branch has: that of its first end with a known one, "none" where none has."""
    return next((name for place in ends if (name := lying[place.key][0]) not in (None, "none")), "none") or "none"
