"""Installation: from which end a sleeve or covering is slid on, what it must pass there, and in which order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem
from labeler.harness import HarnessIndex
from labeler.model import (
    CONTACTS,
    CRIMP_CONTACT,
    CRIMP_CONTACTS,
    CRIMP_TERMINAL,
    INSTALL_CONNECTOR,
    JOIN_BRANCHES,
    MAKE_SPLICE,
    Branch,
    BranchEnd,
    ClosingStep,
    Connector,
    Installation,
    InstallationStep,
    Obstacle,
)
from labeler.size.bundles import Sizing, bundle_at, covering_of, widest, with_contacts
from labeler.tables.kinds import SLID_ON


@dataclass(frozen=True, slots=True)
class AccessEnd:
    """An end of a branch or wire that things can be slid on from.

    ``obstacle`` is what must be passed there (None: nothing but the bundle); ``before`` the step that
    would close it (None: it is closed as far as it ever will be).
    """

    end: BranchEnd
    obstacle: Obstacle | None
    before: ClosingStep | None

    @property
    def obstacle_mm(self) -> float:
        """Return the diameter of what must be passed there, mm; 0 without."""
        return self.obstacle.diameter_mm if self.obstacle else 0.0


def access_ends(
    who: str,
    ends: tuple[BranchEnd, ...],
    index: HarnessIndex,
    crimped_mm: Callable[[BranchEnd, Connector], float],
    contacts: str = CONTACTS,
) -> tuple[AccessEnd, ...]:
    """Return the access ends of a branch, or of a single wire: all but those where branches meet.

    ``who`` is named where something is asked for. ``crimped_mm`` gives what must be passed at an end
    whose ``contacts`` (or the one contact) are crimped. An end whose obstacle is not known is left out
    while another end is open, or has only its contacts on.

    Raises `LabelerError` asking for the sizes that decide.
    """
    found: list[AccessEnd] = []
    problems: list[Problem] = []
    for end in ends:
        connector = index.connectors.get(end.at) or Connector(end.at, where=end.where)
        if connector.kind == "breakout":
            continue
        try:
            found.append(_access_end(who, end, connector, crimped_mm, contacts))
        except LabelerError as error:
            problems += error.problems
    if problems and not any(way.before or not way.obstacle for way in found):
        raise LabelerError(*problems)
    return tuple(found)


def _access_end(
    who: str,
    end: BranchEnd,
    connector: Connector,
    crimped_mm: Callable[[BranchEnd, Connector], float],
    contacts: str,
) -> AccessEnd:
    name, kind = connector.id, connector.kind
    if kind == "unterminated end":
        return AccessEnd(end, None, None)
    if end.connector_installed or (end.contacts_crimped and kind != "connector"):
        if not connector.max_width_mm:
            text = f"{who}: {name} is fitted, and its size is not known"
            raise LabelerError(Problem(end.where, text, f"give max_width_mm of {kind} {name}"))
        return AccessEnd(end, Obstacle(kind, name, connector.max_width_mm), None)
    if end.contacts_crimped:
        on = Obstacle(contacts, name, crimped_mm(end, connector))
        return AccessEnd(end, on, ClosingStep(INSTALL_CONNECTOR, (name,)))
    crimping = CRIMP_CONTACTS if contacts == CONTACTS else CRIMP_CONTACT
    action = {"ring terminal": CRIMP_TERMINAL, "splice": MAKE_SPLICE}.get(kind, crimping)
    return AccessEnd(end, None, ClosingStep(action, (name,)))


def best_access_end(
    end: BranchEnd | None, ways: tuple[AccessEnd, ...], own_mm: float, far_mm: float
) -> AccessEnd | None:
    """Return the access end for what belongs at an end (None: along the branch).

    An open end before one that is terminated; of those that are the smallest obstacle, counted only as
    far as it exceeds what the wires themselves make it pass, from its ``own`` end or from another; of
    equal ones its own end. None where every end is where branches meet.
    """

    def effort(way: AccessEnd) -> tuple[bool, float, bool]:
        far = end is None or way.end.at != end.at
        return bool(way.obstacle), max(far_mm if far else own_mm, way.obstacle_mm), far

    return min(ways, key=effort, default=None)


def access_to(branch: Branch, end: BranchEnd, sizing: Sizing) -> tuple[AccessEnd | None, float]:
    """Return the access end for a sleeve that belongs at an end, and what wires and covering make it pass, mm.

    From its own end that is the bundle there; from another the widest of the branch.
    """
    ways = branch_access_ends(branch, sizing)
    wall = covering_of(end.settings, sizing.catalogue).passed_wall_mm.high
    own = far = bundle_at(branch, end, sizing).pass_over.high
    if any(way.end.at != end.at for way in ways):
        far = max(own, widest(branch, sizing))
    way = best_access_end(end, ways, 2 * wall + own, 2 * wall + far)
    return way, 2 * wall + (far if way and way.end.at != end.at else own)


def branch_access_ends(branch: Branch, sizing: Sizing) -> tuple[AccessEnd, ...]:
    """Return the access ends of a branch. Raises `LabelerError` asking for the sizes that decide."""

    def crimped(end: BranchEnd, connector: Connector) -> float:
        return with_contacts(branch, end, connector, sizing)

    return access_ends(f"branch {branch.id}", branch.ends, sizing.index, crimped)


def installation(way: AccessEnd | None, end: BranchEnd | None, branch: Branch | None = None) -> Installation:
    """Return how something that belongs at an end (None: along the branch) is slid on, or laid on a branch that has
    no access end."""
    if way is None:
        joined = tuple(each.at for each in branch.ends) if branch else ()
        return Installation("", False, None, ClosingStep(JOIN_BRANCHES, joined))
    own = end is not None and way.end.at == end.at
    terminated = end.at if end is not None and not own and (end.connector_installed or end.contacts_crimped) else ""
    return Installation(way.end.at, own, way.obstacle, way.before, terminated)


def installation_order(branch: Branch, sizing: Sizing) -> tuple[InstallationStep, ...]:
    """Return what is slid onto a branch, in the order to do it.

    A sleeve goes on from the end with the smallest obstacle, its own if it can. From one end, what
    belongs farthest from it goes on first; so nothing has to pass what is already in its place.
    A covering that is slid on lies between the sleeves; one that is wound is no step. Between
    breakouts all is laid on before the branches are joined, the covering first.

    Raises `LabelerError` where a size that decides is not known.
    """
    settings = branch.settings
    covering = covering_of(settings, sizing.catalogue)
    covered = bool(branch.ends) and covering.wall_mm.high > 0 and sizing.catalogue.slides_on(settings.covering)
    sleeved = [(end.settings or settings).marker.branch[0] in SLID_ON for end in branch.ends]
    if not covered and not any(sleeved):
        return ()
    ways = branch_access_ends(branch, sizing)
    placed: list[tuple[AccessEnd | None, float, InstallationStep]] = []
    last = max(1, len(branch.ends) - 1)
    if covered:
        bare = widest(branch, sizing)
        way = best_access_end(None, ways, bare, bare)
        place = 0.5 if len(branch.ends) > 1 else 1.0
        placed.append((way, place, _step(branch, None, covering.name, way, bare)))
    for number, end in enumerate(branch.ends):
        if sleeved[number]:
            way, over = access_to(branch, end, sizing)
            placed.append((way, number / last, _step(branch, end, "", way, over)))
    at = {end.at: number / last for number, end in enumerate(branch.ends)}
    coverings = [way.end.at for way, _, step in placed if way and step.covering]
    return tuple(step for way, _, step in placed if way is None) + tuple(
        step
        for name in dict.fromkeys((*coverings, *at))
        for way, _, step in sorted(placed, key=lambda each: -abs(each[1] - at[name]))
        if way and way.end.at == name
    )


def _step(
    branch: Branch, end: BranchEnd | None, covering: str, way: AccessEnd | None, over_mm: float
) -> InstallationStep:
    passes = max(over_mm, way.obstacle_mm) if way else over_mm
    return InstallationStep(branch.id, end.at if end else "", covering, passes, installation(way, end, branch))
