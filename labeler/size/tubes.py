"""Choosing a tube: which sizes pass and grip, in which order, and why the others do not."""

from __future__ import annotations

from labeler.model import Range, Seat, Settings, Tube, TubeChoice
from labeler.tables.catalogue import Catalogue


def choose_tubes(seat: Seat, settings: Settings, catalogue: Catalogue) -> TubeChoice:
    """Return the tubes for a seat: families in the order asked for, smallest first.

    Pass: supplied (minimum) at least the largest passed diameter x (1 + slip). Grip: recovered
    (maximum) at most the smallest closed on x (1 - grip). Inside a family, sizes that end
    between ``preferred_share`` and the rest of their shrink range come before the others (common
    practice: 20 to 80 %).
    """
    need, most = seat.passes.high * (1 + settings.slip), seat.closes_on.low * (1 - settings.grip)
    found: list[Tube] = []
    refusals = []
    for family in settings.sleeve:
        sizes = catalogue.tubes(family)
        good = [t for t in sizes if t.supplied_mm >= need and t.recovered_mm <= most]
        found += sorted(good, key=lambda t: (not _middling(t, seat.closes_on, settings.preferred_share), t.supplied_mm))
        if not good:
            refusals.append(_refusal(family, sizes, need, most))
    ways = () if found else _other_families(need, most, settings.sleeve, catalogue)
    return TubeChoice(tuple(found), tuple(refusals), ways)


def _middling(tube: Tube, on: Range, share: float) -> bool:
    span = tube.supplied_mm - tube.recovered_mm
    return tube.recovered_mm + share * span <= on.low and on.high <= tube.recovered_mm + (1 - share) * span


def _refusal(family: str, sizes: tuple[Tube, ...], need: float, most: float) -> str:
    passing = next((t for t in sizes if t.supplied_mm >= need), None)
    gripping = next((t for t in reversed(sizes) if t.recovered_mm <= most), None)
    parts = []
    if passing:
        parts.append(
            f"{passing.name} passes ({passing.supplied_mm:.2f} mm supplied, {need:.2f} needed) but recovers only "
            f"to {passing.recovered_mm:.2f} mm, {passing.recovered_mm - most:.2f} too wide for {most:.2f}"
        )
    else:
        parts.append(f"none passes: largest {sizes[-1].supplied_mm:.2f} mm supplied, {need:.2f} needed")
    if gripping:
        parts.append(
            f"{gripping.name} grips ({gripping.recovered_mm:.2f} mm recovered) but is supplied "
            f"{need - gripping.supplied_mm:.2f} mm too small at {gripping.supplied_mm:.2f}"
        )
    return f"{family}: " + "; ".join(parts)


def _other_families(need: float, most: float, tried: tuple[str, ...], catalogue: Catalogue) -> tuple[str, ...]:
    ways = []
    for entry in catalogue.families:
        good = [t for t in entry.tubes if t.supplied_mm >= need and t.recovered_mm <= most]
        if entry.name not in tried and good:
            sizes = (
                f"{good[0].supplied_mm:.2f} mm supplied, {good[0].recovered_mm:.2f} recovered, {good[0].ratio:.1f}:1"
            )
            ways.append(f"tube {good[0].name} ({sizes}): add {entry.name!r} to sleeve")
    if ways:
        return tuple(ways)
    every = [tube for entry in catalogue.families for tube in entry.tubes]
    smallest, largest = min(t.recovered_mm for t in every), max(t.supplied_mm for t in every)
    if most < smallest:
        return (f"no tube in the tables is small enough: the smallest recovers to {smallest:.2f} mm",)
    if need > largest:
        return (f"no tube in the tables is large enough: the largest is supplied with {largest:.2f} mm",)
    return (_nearest(every, need, most),)


def _nearest(tubes: list[Tube], need: float, most: float) -> str:
    """Say which tube comes nearest to passing and gripping where none does both."""
    near = min(tubes, key=lambda t: max(need - t.supplied_mm, t.recovered_mm - most))
    misses = []
    if near.supplied_mm < need:
        misses.append(f"is {need - near.supplied_mm:.2f} mm too small to pass")
    if near.recovered_mm > most:
        misses.append(f"recovers {near.recovered_mm - most:.2f} mm too wide to grip")
    sizes = f"{near.supplied_mm:.2f} mm supplied, {near.recovered_mm:.2f} recovered"
    return (
        f"no tube in the tables has {need:.2f} mm supplied and recovers to {most:.2f}: nearest {near.name} ({sizes}) "
        + " and ".join(misses)
    )
