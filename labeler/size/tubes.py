"""Choosing a tube: which sizes pass and grip, in which order, and why the others do not."""

from __future__ import annotations

from labeler.model import Fact, Range, Seat, Settings, Tube, TubeChoice, fact
from labeler.tables.catalogue import Catalogue


def choose_tubes(seat: Seat, settings: Settings, catalogue: Catalogue) -> TubeChoice:
    """Return the tubes for a seat: families in the order asked for, smallest first.

    Pass: supplied (minimum) at least the largest passed diameter x (1 + slip). Grip: recovered
    (maximum) at most the smallest closed on x (1 - grip). Inside a family, sizes that end
    between ``sleeve.preferred_range_margin`` and the rest of their shrink range come before the others (common
    practice: 20 to 80 %).
    """
    need, most = (
        seat.pass_over.high * (1 + settings.sleeve.pass_over_margin),
        seat.grip.low * (1 - settings.sleeve.grip_margin),
    )
    found: list[Tube] = []
    refusals = []
    for family in settings.sleeve.families:
        sizes = catalogue.tubes(family)
        good = [t for t in sizes if t.expanded_id_mm >= need and t.recovered_id_mm <= most]
        found += sorted(
            good,
            key=lambda t: (not _middling(t, seat.grip, settings.sleeve.preferred_range_margin), t.expanded_id_mm),
        )
        if not good:
            refusals.append(_refusal(family, sizes, need, most))
    ways = () if found else _other_families(need, most, settings.sleeve.families, catalogue)
    return TubeChoice(tuple(found), tuple(refusals), ways)


def _middling(tube: Tube, on: Range, share: float) -> bool:
    span = tube.expanded_id_mm - tube.recovered_id_mm
    return tube.recovered_id_mm + share * span <= on.low and on.high <= tube.recovered_id_mm + (1 - share) * span


def _refusal(family: str, sizes: tuple[Tube, ...], need: float, most: float) -> Fact:
    passing = next((t for t in sizes if t.expanded_id_mm >= need), None)
    gripping = next((t for t in reversed(sizes) if t.recovered_id_mm <= most), None)
    parts = []
    if passing:
        over = passing.recovered_id_mm - most
        parts.append(fact("passes only", **_sizes(passing), need=need, most=most, over=over))
    else:
        parts.append(fact("none passes", supplied=sizes[-1].expanded_id_mm, need=need))
    if gripping:
        parts.append(fact("grips only", **_sizes(gripping), under=need - gripping.expanded_id_mm))
    return fact("family refused", family=family, why=tuple(parts))


def _sizes(tube: Tube) -> dict[str, object]:
    return {"tube": tube.name, "supplied": tube.expanded_id_mm, "recovered": tube.recovered_id_mm}


def _other_families(need: float, most: float, tried: tuple[str, ...], catalogue: Catalogue) -> tuple[Fact, ...]:
    ways = []
    for entry in catalogue.families:
        good = [t for t in entry.tubes if t.expanded_id_mm >= need and t.recovered_id_mm <= most]
        if entry.name not in tried and good:
            ways.append(fact("add family", **_sizes(good[0]), ratio=good[0].ratio, family=entry.name))
    if ways:
        return tuple(ways)
    every = [tube for entry in catalogue.families for tube in entry.tubes]
    smallest, largest = min(t.recovered_id_mm for t in every), max(t.expanded_id_mm for t in every)
    if most < smallest:
        return (fact("bundle too small", smallest=smallest),)
    if need > largest:
        return (fact("bundle too large", largest=largest),)
    near = min(every, key=lambda t: max(need - t.expanded_id_mm, t.recovered_id_mm - most))
    misses = {"under": need - near.expanded_id_mm, "over": near.recovered_id_mm - most}
    return (fact("nearest tube", need=need, most=most, **_sizes(near), **misses),)
