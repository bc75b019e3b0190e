"""Branches, their ends and lengths, and bags."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from labeler.branches import circuits_by_branch, inner_splices, kinds_of
from labeler.errors import Problem
from labeler.model import Branch, Circuit, Harness
from labeler.validate.names import Names, listed


def _between_junctions(harness: Harness) -> Iterator[Problem]:
    """Yield a warning for sleeves of a branch that lies between junctions: they cannot be threaded later."""
    kinds = kinds_of(harness)
    for branch in harness.branches:
        settings = branch.settings or harness.settings
        sleeved = settings is not None and settings.branch_marker_kind in ("sleeve", "insert")
        if branch.ends and sleeved and all(kinds.get(end.at) == "junction" for end in branch.ends):
            text = f"branch {branch.id} lies between junctions: its sleeves go on before the branches are joined"
            yield Problem(branch.where, text, 'or mark it with branch_marker_kind = "wrap"', warning=True)


def _without_sleeve(harness: Harness, reached: set[str]) -> Iterator[Problem]:
    """Yield a warning for connectors that no branch ends at, where branches are declared: they get no sleeve."""
    at = {end.at for branch in harness.branches for end in branch.ends}
    left = [c for c in harness.connectors if c.kind == "connector" and c.id in reached and c.id not in at]
    if harness.branches and left:
        names = ", ".join(c.id for c in left[:12])
        text = f"no branch ends at {names}{' …' if len(left) > 12 else ''}: no sleeve there"
        yield Problem(left[0].where, text, "add a branch for it, if it is to have one", warning=True)


def _in_no_branch(harness: Harness) -> Iterator[Problem]:
    """Yield a warning for circuits that end where a branch ends and lie in no branch: no sleeve there counts them."""
    if not harness.branches:
        return
    inside = {circuit.id for circuits in circuits_by_branch(harness).values() for circuit in circuits}
    at: dict[str, list[Circuit]] = {end.at: [] for branch in harness.branches for end in branch.ends}
    for circuit in harness.circuits:
        for name in {circuit.start.connector, circuit.finish.connector} & at.keys():
            if circuit.id not in inside:
                at[name].append(circuit)
    for name, left in at.items():
        if left:
            verb = "end" if len(left) > 1 else "ends"
            text = f"{listed(left)} {verb} at {name} and in no branch: no sleeve there is sized for it"
            fix = "add a branch for it, or name it in circuits of one"
            yield Problem(left[0].where, text, fix, warning=True)


def _splices_beyond(harness: Harness) -> Iterator[Problem]:
    """Yield a warning for splices of which it is not known whether they lie before or beyond a junction."""
    junctions = {c.id for c in harness.connectors if c.kind == "junction"}
    splices = inner_splices(harness)
    if not splices or not junctions:
        return
    through = circuits_by_branch(harness)
    for branch in harness.branches:
        to_junction = any(end.at in junctions for end in branch.ends) and not branch.circuits
        pins = [pin.connector for c in through[branch.id] for pin in (c.start, c.finish)] if to_junction else []
        for name in dict.fromkeys(pin for pin in pins if pin in splices):
            text = f"branch {branch.id}: splice {name} is taken to lie beyond where branches meet"
            fix = f"end a branch at {name}, or name the circuits of the branches it lies between"
            yield Problem(branch.where, text, fix, warning=True)


def _one_diameter(branch: Branch) -> Iterator[Problem]:
    """Yield a diameter whose tolerance is as large as itself, and one for several limbs."""
    if branch.diameter_mm is not None and branch.diameter_tolerance_mm >= branch.diameter_mm:
        text = f"branch {branch.id}: diameter_tolerance_mm {branch.diameter_tolerance_mm:g} is not below "
        yield Problem(branch.where, f"{text}diameter_mm {branch.diameter_mm:g}", "give the tolerance to either side")
    if branch.diameter_mm is not None and len(branch.ends) > 2:
        text = f"branch {branch.id}: one diameter_mm for {len(branch.ends)} ends"
        fix = 'split it where its limbs meet, at a connector of kind = "junction", and measure each'
        yield Problem(branch.where, text, fix)


def _along(branch: Branch, circuits: Sequence[Circuit], harness: Harness) -> Iterator[Problem]:
    """Yield sleeves that a branch of known length has no room for, and circuits shorter than it."""
    if branch.length_mm is None:
        return
    taken: dict[str, float] = {}
    for end in branch.ends:
        settings = end.settings or branch.settings or harness.settings
        if settings is None or settings.branch_marker_kind not in ("sleeve", "insert"):
            continue
        shortest = min(settings.cut_lengths_mm, default=settings.shortest_cut_mm)
        cut, start = end.cut_length_mm or shortest, end.from_end_mm or 0.0
        taken[end.at] = start + cut
        if start + cut > branch.length_mm:
            text = f"branch {branch.id}: {cut:g} mm of sleeve, {start:g} mm from {end.at}, reach {start + cut:g} mm"
            yield Problem(end.where, f"{text}, the branch has {branch.length_mm:g}", "check from_end_mm and length_mm")
    if len(taken) == 2 and max(taken.values()) <= branch.length_mm < sum(taken.values()):
        both = " and ".join(f"{mm:g} mm from {at}" for at, mm in taken.items())
        text = f"branch {branch.id}: its sleeves reach {both}, and the branch has {branch.length_mm:g}: they overlap"
        yield Problem(branch.where, text, "cut them shorter, or check from_end_mm and length_mm")
    splices = inner_splices(harness)
    whole = [c for c in circuits if len(branch.ends) < 3 and not {c.start.connector, c.finish.connector} & splices]
    short = [c for c in whole if c.length_mm is not None and c.length_mm < branch.length_mm]
    if short:
        text = f"{listed(short)}: shorter than branch {branch.id} of {branch.length_mm:g} mm"
        yield Problem(short[0].where, text, "check length_mm of both", warning=True)


def branches(harness: Harness, names: Names) -> Iterator[Problem]:
    """Yield what is wrong with branches: unknown names, ends, lengths, circuits in none of them."""
    reached = {pin.connector for circuit in harness.circuits for pin in (circuit.start, circuit.finish)}
    yield from _without_sleeve(harness, reached)
    yield from _in_no_branch(harness)
    yield from _splices_beyond(harness)
    yield from _between_junctions(harness)
    through = circuits_by_branch(harness)
    for branch in harness.branches:
        known = [names.circuits[id] for id in branch.circuits if id in names.circuits]
        for id in dict.fromkeys(branch.circuits):
            if id not in names.circuits:
                yield names.unknown("circuit", id, branch.where, f"branch {branch.id}")
        if len(set(branch.circuits)) < len(branch.circuits):
            message = f"branch {branch.id}: a circuit stands twice in circuits"
            yield Problem(branch.where, message, "take it out once", warning=True)
        own = {pin.connector for circuit in known for pin in (circuit.start, circuit.finish)}
        at = own if branch.circuits else reached
        yield from _one_diameter(branch)
        yield from _along(branch, through[branch.id], harness)
        yield from _ends(branch, names, at)
        yield from _empty(branch, at)


def _ends(branch: Branch, names: Names, reached: set[str]) -> Iterator[Problem]:
    """Yield ends at no known connector, or at one that no circuit of the branch reaches."""
    seen: set[str] = set()
    has_some = bool(branch.circuits) or any(end.at in reached for end in branch.ends)
    for end in branch.ends:
        connector = names.connectors.get(end.at)
        if connector is None:
            yield names.unknown("connector", end.at, end.where, f"branch {branch.id}")
        elif end.at not in reached and connector.kind != "junction" and has_some:
            message = f"branch {branch.id}: none of its circuits ends at {end.at}"
            yield Problem(end.where, message, "check circuits of the branch, and at", warning=True)
        if end.at in seen:
            message = f"branch {branch.id}: two ends at {end.at}"
            yield Problem(end.where, message, "an end stops at a connector of its own")
        seen.add(end.at)
    if len(branch.ends) > 1 and all(end.fitted for end in branch.ends):
        message = f"branch {branch.id}: connectors are fitted at all ends"
        fix = "sleeves must pass a connector, or take one off first"
        yield Problem(branch.where, message, fix, warning=True)


def _empty(branch: Branch, reached: set[str]) -> Iterator[Problem]:
    """Yield a branch without an end, or without circuits where no diameter was measured either."""
    if not branch.ends:
        message = f"branch {branch.id} has no end, so no sleeve"
        yield Problem(branch.where, message, "add [[branch.end]]", warning=True)
    has_some = bool(branch.circuits) or any(end.at in reached for end in branch.ends)
    if not has_some and branch.diameter_mm is None:
        message = f"branch {branch.id} has no circuits"
        yield Problem(branch.where, message, "name them in circuits, or measure diameter_mm")


def bags(harness: Harness, names: Names) -> Iterator[Problem]:
    """Yield the bags of branches and connectors that nobody knows."""
    for bag in harness.bags:
        if bag.branch and bag.branch not in names.branches:
            yield names.unknown("branch", bag.branch, bag.where, f"bag {bag.id}")
        if bag.connector and bag.connector not in names.connectors:
            yield names.unknown("connector", bag.connector, bag.where, f"bag {bag.id}")
        if bag.branch and bag.connector:
            message = f"bag {bag.id} names branch {bag.branch} and connector {bag.connector}"
            yield Problem(bag.where, message, "keep the one that the bag is for")
