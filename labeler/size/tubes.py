"""Choosing a tube: which sizes slide on and grip, with their margins or without, and why the others do not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from labeler.formulas.interval import middle
from labeler.model import FAIL, MARGINAL, PASS, Fact, Range, Seat, Settings, Tube, TubeChoice, fact
from labeler.tables.catalogue import Catalogue

Graded = tuple[str, tuple[Fact, ...]]
"""A result (pass, marginal or fail) with the reasons that make it less than pass."""


def choose_tubes(seat: Seat, settings: Settings, catalogue: Catalogue) -> TubeChoice:
    """Return the tubes for a seat: those that pass, then the marginal ones; families in the order asked for.

    A tube must slide over what is in its way and hold on what it lies on; see `graded`. Inside a family, sizes that
    end between ``sleeve.preferred_range_margin`` and the rest of their shrink range come before the others (common
    practice: 20 to 80 %), then the smaller ones: they waste least.
    """
    passing: list[Tube] = []
    marginal: list[Tube] = []
    why: dict[str, tuple[Fact, ...]] = {}
    share = settings.sleeve.preferred_range_margin
    for family in settings.sleeve.families:
        sizes = catalogue.tubes(family)
        for tube in sorted(sizes, key=lambda t: (not _in_preferred_range(t, seat.grip, share), t.expanded_id_mm)):
            result, reasons = graded(tube, seat, settings)
            if result == PASS:
                passing.append(tube)
            elif result == MARGINAL:
                marginal.append(tube)
                why[tube.name] = reasons
    if passing or marginal:
        return TubeChoice((*passing, *marginal), marginal=why)
    every = [tube for family in settings.sleeve.families for tube in catalogue.tubes(family)]
    return TubeChoice((), (_nearest_miss(every, seat, settings),), tuple(_other_families(seat, settings, catalogue)))


def graded(tube: Tube, seat: Seat, settings: Settings) -> Graded:
    """Return whether a tube slides over and grips a seat.

    Pass: expanded ID (minimum) at least the largest pass-over diameter with the margin; recovered ID (maximum) at
    most the smallest grip diameter less the margin. Marginal: the same without the margin, or with it for the middle
    of the range. Project choice, since wires, lay and covering are not all at their worst at once.
    """
    over, grip = slides_over(tube, seat.pass_over, settings), holds_on(tube, seat.grip, settings)
    if FAIL in (over[0], grip[0]):
        return FAIL, (*over[1], *grip[1])
    return (PASS if over[0] == grip[0] == PASS else MARGINAL), (*over[1], *grip[1])


def slides_over(tube: Tube, over_mm: Range, settings: Settings) -> Graded:
    """Return whether a tube slides over a range of diameters."""
    margin, expanded = settings.sleeve.pass_over_margin, tube.expanded_id_mm
    if expanded >= over_mm.high * (1 + margin):
        return PASS, ()
    if expanded >= over_mm.high:
        clearance = expanded / over_mm.high - 1
        return MARGINAL, (fact("slides on without margin", expanded=expanded, over=over_mm.high, margin=clearance),)
    if expanded >= middle(over_mm) * (1 + margin):
        sizes = {"expanded": expanded, "middle": middle(over_mm), "over": over_mm.high}
        return MARGINAL, (fact("slides on in the middle", **sizes, margin=margin),)
    return FAIL, (fact("too small to slide on", expanded=expanded, need=over_mm.high * (1 + margin)),)


def holds_on(tube: Tube, on_mm: Range, settings: Settings) -> Graded:
    """Return whether a tube, fully recovered, holds on a range of diameters."""
    margin, recovered = settings.sleeve.grip_margin, tube.recovered_id_mm
    if recovered <= on_mm.low * (1 - margin):
        return PASS, ()
    if recovered <= on_mm.low:
        return MARGINAL, (
            fact("grips without margin", recovered=recovered, on=on_mm.low, margin=1 - recovered / on_mm.low),
        )
    if recovered <= middle(on_mm) * (1 - margin):
        sizes = {"recovered": recovered, "middle": middle(on_mm), "on": on_mm.low}
        return MARGINAL, (fact("grips in the middle", **sizes, margin=margin),)
    return FAIL, (fact("too wide to grip", recovered=recovered, most=on_mm.low * (1 - margin)),)


def _in_preferred_range(tube: Tube, on: Range, share: float) -> bool:
    span = tube.expanded_id_mm - tube.recovered_id_mm
    return tube.recovered_id_mm + share * span <= on.low and on.high <= tube.recovered_id_mm + (1 - share) * span


def _sizes(tube: Tube) -> dict[str, object]:
    return {"tube": tube.name, "expanded": tube.expanded_id_mm, "recovered": tube.recovered_id_mm}


def _nearest_miss(tubes: Iterable[Tube], seat: Seat, settings: Settings) -> Fact:
    """Return the tube that misses by least, and by how much, with the margins for the whole range."""
    need = seat.pass_over.high * (1 + settings.sleeve.pass_over_margin)
    most = seat.grip.low * (1 - settings.sleeve.grip_margin)
    near = min(tubes, key=lambda t: max(need - t.expanded_id_mm, t.recovered_id_mm - most))
    margins = {"pass_over_margin": settings.sleeve.pass_over_margin, "grip_margin": settings.sleeve.grip_margin}
    misses = {"under": need - near.expanded_id_mm, "beyond": near.recovered_id_mm - most}
    return fact("nearest tube", **_sizes(near), **misses, **margins)


def _other_families(seat: Seat, settings: Settings, catalogue: Catalogue) -> Iterator[Fact]:
    """Yield families not asked for that have a size, or the reason that none can have one."""
    found = False
    for entry in catalogue.families:
        good = [tube for tube in entry.tubes if graded(tube, seat, settings)[0] != FAIL]
        if entry.name not in settings.sleeve.families and good:
            found = True
            yield fact("add family", **_sizes(good[0]), ratio=good[0].ratio, family=entry.name)
    if found:
        return
    every = [tube for entry in catalogue.families for tube in entry.tubes]
    smallest, largest = min(t.recovered_id_mm for t in every), max(t.expanded_id_mm for t in every)
    if seat.grip.low < smallest:
        yield fact("bundle too small", smallest=smallest)
    elif seat.pass_over.high > largest:
        yield fact("bundle too large", largest=largest)
