"""What cannot be in a harness as a whole: names twice, names nobody knows, cavities that do not exist.

Every check is a function from the harness to problems; `validate` runs them all, so that everything
is told at once. Single values were checked where they were read. Characters that the font lacks
are found by the fitting, which knows the font.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, groupby
from typing import Protocol

from labeler.errors import LabelerError, Problem, SourceLocation, nearest
from labeler.formulas.bundle import pack
from labeler.harness import HarnessIndex
from labeler.model import Branch, Circuit, Connector, Settings
from labeler.tables.catalogue import Catalogue, default_wire, with_low_end
from labeler.tables.colours import base_colours, colour_name
from labeler.tables.kinds import SLID_ON
from labeler.tables.materials import bare_diameter
from labeler.text import load_font

LONGEST_TEXT = 200  # characters; project choice: far more than any marker takes
SUGGESTIONS = 20  # names a near one is looked for; project choice, it takes a millisecond each


@dataclass(frozen=True, slots=True)
class Unknown:
    """A name that stands for nothing."""

    what: str  # connector | circuit | cable | branch
    name: str
    where: SourceLocation
    holder: str  # what names it


Found = Iterator[Problem | Unknown]


def validate(index: HarnessIndex, catalogue: Catalogue) -> tuple[Problem, ...]:
    """Return every problem and warning of a harness; never raises for data."""
    checks: tuple[Iterable[Problem | Unknown], ...] = (
        _repeated_ids(index),
        _connectors(index),
        _ends_of_circuits(index),
        _wires(index, catalogue),
        _cables(index, catalogue),
        _branches(index),
        _bags(index),
        _settings(index, catalogue),
        _texts(index),
    )
    things = _things(index)
    near: dict[tuple[str, str], str] = {}
    problems: list[Problem] = []
    for found in chain.from_iterable(checks):
        if isinstance(found, Problem):
            problems.append(found)
            continue
        name = found.what, found.name
        if name not in near:
            near[name] = nearest(found.name, (one.id for one in things[found.what])) if len(near) < SUGGESTIONS else ""
        add = f"add a [[{found.what}]] with this id, or correct the name"
        fix = f"did you mean {near[name]!r}?" if near[name] else add
        problems.append(Problem(found.where, f"{found.holder}: {found.what} {found.name!r} is unknown", fix))
    return tuple(problems)


def _things(index: HarnessIndex) -> Mapping[str, Sequence[Named]]:
    """Return what of a harness has an id, by the word for it."""
    h = index.harness
    return {"circuit": h.circuits, "connector": h.connectors, "cable": h.cables, "branch": h.branches, "bag": h.bags}


# ---------------------------------------------------------------- names and connectors


_LOOSE = re.compile(r"[\s_-]")
_BEFORE_NUMBER = re.compile(r"(?<=[^\W\d_])[_-]+(?=\d)")  # a hyphen between a letter and a number


class Named(Protocol):
    """What has an id, and stands somewhere in a file."""

    @property
    def id(self) -> str:
        """Return its id."""

    @property
    def where(self) -> SourceLocation:
        """Return where it stands."""


def _repeated_ids(index: HarnessIndex) -> Found:
    """Yield every id that stands twice, with both places, and a warning for those that are read for one another."""
    for what, things in _things(index).items():
        first: dict[str, Named] = {}
        for thing in things:
            other = first.setdefault(_alike(thing.id), thing)
            if other is thing:
                continue
            if other.id == thing.id:
                message = f"{what} {thing.id} stands already at {other.where}"
                yield Problem(thing.where, message, "give each one its own id")
            else:
                only = "capitals" if thing.id.casefold() == other.id.casefold() else "capitals, blanks and hyphens"
                message = f"{what} {thing.id} differs from {other.id} at {other.where} only in {only}"
                yield Problem(thing.where, message, "check that two are meant", warning=True)


def _alike(name: str) -> str:
    """Return a name without what is easily written otherwise: ``J 1`` and ``j-1`` as ``j1``, but not ``J1-1``."""
    folded = name.casefold()
    if not _LOOSE.search(folded):
        return folded
    return _BEFORE_NUMBER.sub("", "".join(folded.split()))


def _connectors(index: HarnessIndex) -> Found:
    """Yield connectors whose measures contradict one another."""
    for connector in index.harness.connectors:
        contact, outside = connector.contact_width_mm, connector.max_width_mm
        if contact is not None and outside is not None and contact > outside:
            message = f"{connector.id}: contact {contact:g} mm is wider than the connector, {outside:g} mm"
            yield Problem(connector.where, message, "exchange contact_width_mm and max_width_mm?")


def _listed(things: Sequence[Named]) -> str:
    """Return the first ids, and how many more: ``W101, W102, W103 and 7 more``."""
    shown = ", ".join(thing.id for thing in things[:3])
    return shown if len(things) <= 3 else f"{shown} and {len(things) - 3} more"


# ---------------------------------------------------------------- Circuits


SHARED = ("splice", "ring terminal", "breakout", "unterminated end")  # several circuits may end in one
PACKING_OFF = 0.03  # by how much the tightest packing that is found may lie above the true one, see `pack`


def _ends_of_circuits(index: HarnessIndex) -> Found:
    """Yield unknown connectors, cavities that cannot be, and cavities taken by more wires than may share one."""
    taken: dict[tuple[str, str], Circuit] = {}
    shared: dict[tuple[str, str], list[Circuit]] = {}
    harness, known = index.harness, index.connectors
    most = harness.settings.wire.max_per_cavity
    for circuit in harness.circuits:
        start, finish = circuit.start, circuit.finish
        if (
            start == finish
            and start.cavity
            and not (start.connector in known and known[start.connector].kind in SHARED)
        ):
            yield Problem(circuit.where, f"{circuit.id}: both ends are {start}", "correct one end")
            continue
        for pin in (start, finish):
            connector = known.get(pin.connector)
            if connector is None:
                yield Unknown("connector", pin.connector, circuit.where, circuit.id)
                continue
            if not pin.cavity:
                continue
            if connector.cavities is not None or pin.cavity.startswith(("0", "-")):
                yield from _impossible_cavity(circuit, connector, pin.cavity)
            other = taken.setdefault((pin.connector, pin.cavity), circuit)
            if other is not circuit and connector.kind not in SHARED:
                wires = shared.setdefault((pin.connector, pin.cavity), [other])
                wires.append(circuit)
                if len(wires) > most:
                    yield _taken(circuit, str(pin), wires)
    yield from _double_crimps({place: wires for place, wires in shared.items() if len(wires) <= most})


def _taken(circuit: Circuit, place: str, wires: Sequence[Circuit]) -> Problem:
    first = wires[0]
    message = f"{circuit.id}: {place} is taken by {first.id} at {first.where}"
    joined = 'join the wires in a connector of kind = "splice"'
    crimped = f"crimped into one contact: wire.max_per_cavity = {len(wires)} under [defaults], or with --set"
    return Problem(circuit.where, message, f"correct the cavity; or {joined}; or where they are {crimped}")


def _double_crimps(shared: Mapping[tuple[str, str], Sequence[Circuit]]) -> Iterator[Problem]:
    """Yield a warning for each connector with cavities that several wires share."""
    for connector in dict.fromkeys(connector for connector, _ in shared):
        here = {cavity: wires for (name, cavity), wires in shared.items() if name == connector}
        where = next(iter(here.values()))[1].where
        each = "; ".join(f"{cavity} by {', '.join(wire.id for wire in wires)}" for cavity, wires in here.items())
        fix = "check that they are crimped into one contact each"
        yield Problem(where, f"{connector}: cavities shared by several wires: {each}", fix, warning=True)


def _impossible_cavity(circuit: Circuit, connector: Connector, cavity: str) -> Iterator[Problem]:
    digits = cavity.removeprefix("-")
    if not digits.isdecimal() or len(digits) > 9:
        return
    number, limit = int(cavity), connector.cavities
    if number < 1:
        message = f"{circuit.id}: {connector.id} has no cavity {cavity}; cavities count from 1"
        yield Problem(circuit.where, message, "correct the cavity")
    elif limit is not None and number > limit:
        message = f"{circuit.id}: cavity {cavity} of {connector.id}, which has {limit}"
        yield Problem(circuit.where, message, "correct the cavity, or cavities of the connector")


def _wires(index: HarnessIndex, catalogue: Catalogue) -> Found:
    """Yield wires of no known diameter, each kind and size once, and diameters that cannot be."""
    alike: dict[tuple[str, str], list[Circuit]] = {}
    bare: dict[str, float | None] = {}
    unsized = []
    for circuit in index.harness.circuits:
        if circuit.od_mm is not None:
            if circuit.size not in bare:
                bare[circuit.size] = bare_diameter(circuit.size)
            least = bare[circuit.size]
            if least is not None and circuit.od_mm <= least:
                message = f"{circuit.id}: outside {circuit.od_mm:g} mm is not above {least:.3g} mm"
                fix = f"the bare conductor of {circuit.size} alone is that thick; check size and unit"
                yield Problem(circuit.where, message, fix)
        elif not circuit.size:
            unsized.append(circuit)
        else:
            kind = circuit.wire_type or circuit.settings.wire_type
            alike.setdefault((kind, circuit.size), []).append(circuit)
    yield from _without_diameter(alike, catalogue)
    yield from _assumed(alike)
    if unsized:
        message = f"{_listed(unsized)}: neither size nor outside diameter is given"
        yield Problem(unsized[0].where, message, "give one, or measure the branch: bundle_diameter_mm", warning=True)


def _assumed(alike: Mapping[tuple[str, str], Sequence[Circuit]]) -> Iterator[Problem]:
    """Yield a warning for each insulation that was taken because none is named."""
    taken: dict[str, list[Circuit]] = {}
    for (kind, size), circuits in alike.items():
        if not kind:
            taken.setdefault(default_wire(size), []).extend(circuits)
    for name, circuits in taken.items():
        text = f"{_listed(circuits)}: no insulation is named, {name} is taken for the diameter"
        fix = 'name it: a column, wire_type under [defaults], or --set wire_type="…"; labeler list wires lists them'
        yield Problem(circuits[0].where, text, fix, warning=True)


def _without_diameter(alike: Mapping[tuple[str, str], Sequence[Circuit]], catalogue: Catalogue) -> Iterator[Problem]:
    """Yield each kind of wire that is unknown, and each size that a known one lacks."""
    unknown: set[str] = set()
    for (kind, size), circuits in alike.items():
        if kind in unknown:
            continue
        try:
            if kind:
                unknown.add(kind)
                catalogue.wire_type(kind)
                unknown.discard(kind)
            catalogue.wire_diameter(kind, size)
        except LabelerError as error:
            if kind in unknown and not circuits[0].wire_type:
                continue  # a setting's name: told where it is set
            for found in error.problems:
                yield Problem(circuits[0].where, f"{_listed(circuits)}: {found.message}", found.fix)


def _cables(index: HarnessIndex, catalogue: Catalogue) -> Found:
    """Yield what is wrong with cables: unknown, unmeasured, thinner than their cores."""
    yield from _unmeasured(index)
    yield from _thinner_than_cores(index, catalogue)
    known = {cable.id: cable for cable in index.harness.cables}
    unknown: dict[str, Circuit] = {}
    for circuit in index.harness.circuits:
        cable = known.get(circuit.cable) if circuit.cable else None
        if circuit.cable and cable is None:
            if unknown.setdefault(circuit.cable, circuit) is circuit:
                yield Unknown("cable", circuit.cable, circuit.where, circuit.id)
        elif cable is not None and cable.od_mm is not None and (circuit.od_mm or 0.0) > cable.od_mm:
            message = f"{circuit.id}: core {circuit.od_mm:g} mm in cable {cable.id} of {cable.od_mm:g} mm"
            yield Problem(circuit.where, message, "check both outside diameters")


def _thinner_than_cores(index: HarnessIndex, catalogue: Catalogue) -> Found:
    """Yield cables that are thinner than the tightest packing of the thinnest that their cores may be."""
    cores: dict[str, list[float]] = {}
    unknown = set()
    measured = {cable.id: cable for cable in index.harness.cables if cable.od_mm}
    for circuit in index.harness.circuits:
        if circuit.cable in measured:
            low = circuit.od_mm or _thinnest(circuit, catalogue)
            cores.setdefault(circuit.cable, []).append(low)
            unknown |= set() if low else {circuit.cable}
    for name, wires in cores.items():
        cable, outside = measured[name], measured[name].od_mm or 0.0
        if name in unknown or max(wires) > outside:
            continue  # told elsewhere, wire by wire
        least = pack(wires).diameter_mm
        if least > outside * (1 + PACKING_OFF):
            text = f"cable {name}: {outside:g} mm outside, its {len(wires)} cores alone take {least:.2f} mm"
            yield Problem(cable.where, text, "check od_mm of the cable, and the sizes of its cores")


def _thinnest(circuit: Circuit, catalogue: Catalogue) -> float:
    """Return the smallest diameter of a circuit's wire, mm; 0 where no table says."""
    try:
        found = catalogue.wire_diameter(circuit.wire_type or circuit.settings.wire_type, circuit.size)
    except LabelerError:
        return 0.0
    return with_low_end(found, circuit.settings).range_mm.low


def _unmeasured(index: HarnessIndex) -> Found:
    """Yield a warning for cables of unknown outside: they are counted as their cores alone."""
    used = {circuit.cable for circuit in index.harness.circuits if circuit.cable}
    left = [cable for cable in index.harness.cables if cable.od_mm is None and cable.id in used]
    if left:
        text = f"{_listed(left)}: no outside diameter, so the cores count as single wires without a jacket"
        fix = "give od_mm in a [[cable]], or a column Cable OD"
        yield Problem(left[0].where, f"cable {text}" if len(left) == 1 else f"cables {text}", fix, warning=True)


# ---------------------------------------------------------------- Branches


def _between_breakouts(index: HarnessIndex) -> Found:
    """Yield a warning for sleeves of a branch that lies between breakouts: they cannot be threaded later."""
    for branch in index.harness.branches:
        sleeved = branch.settings.marker.branch[0] in SLID_ON
        if branch.ends and sleeved and all(index.connector(end.at).kind == "breakout" for end in branch.ends):
            text = f"branch {branch.id} lies between breakouts: its sleeves go on before the branches are joined"
            yield Problem(branch.where, text, 'or mark it with marker.branch = "wrap"', warning=True)


def _without_sleeve(index: HarnessIndex) -> Found:
    """Yield a warning for connectors that no branch ends at, where branches are declared: they get no sleeve."""
    harness = index.harness
    at = {end.at for branch in harness.branches for end in branch.ends}
    left = [c for c in harness.connectors if c.kind == "connector" and c.id in index.reaching and c.id not in at]
    if harness.branches and left:
        names = ", ".join(c.id for c in left[:12])
        text = f"no branch ends at {names}{' …' if len(left) > 12 else ''}: no sleeve there"
        yield Problem(left[0].where, text, "add a branch for it, if it is to have one", warning=True)


def _in_no_branch(index: HarnessIndex) -> Found:
    """Yield a warning for circuits that end where a branch ends and lie in no branch: no sleeve there counts them."""
    inside = {circuit.id for circuits in index.through.values() for circuit in circuits}
    for name in dict.fromkeys(end.at for branch in index.harness.branches for end in branch.ends):
        left = [circuit for circuit in index.reaching.get(name, ()) if circuit.id not in inside]
        if left:
            verb = "end" if len(left) > 1 else "ends"
            text = f"{_listed(left)} {verb} at {name} and in no branch: no sleeve there is sized for it"
            fix = "add a branch for it, or name it in circuits of one"
            yield Problem(left[0].where, text, fix, warning=True)


def _splices_beyond(branch: Branch, index: HarnessIndex) -> Found:
    """Yield a warning for splices of which it is not known whether they lie before or beyond a breakout."""
    if not branch.circuits and any(index.connector(end.at).kind == "breakout" for end in branch.ends):
        pins = (pin.connector for c in index.through[branch.id] for pin in (c.start, c.finish))
        for name in dict.fromkeys(pin for pin in pins if pin in index.inner_splices):
            text = f"branch {branch.id}: splice {name} is taken to lie beyond where branches meet"
            fix = f"end a branch at {name}, or name the circuits of the branches it lies between"
            yield Problem(branch.where, text, fix, warning=True)


def _one_diameter(branch: Branch) -> Found:
    """Yield a diameter whose tolerance is as large as itself, and one for several limbs."""
    if branch.bundle_diameter_mm is not None and branch.bundle_diameter_tolerance_mm >= branch.bundle_diameter_mm:
        text = f"branch {branch.id}: bundle_diameter_tolerance_mm {branch.bundle_diameter_tolerance_mm:g} is not below "
        yield Problem(
            branch.where, f"{text}bundle_diameter_mm {branch.bundle_diameter_mm:g}", "give the tolerance to either side"
        )
    if branch.bundle_diameter_mm is not None and len(branch.ends) > 2:
        text = f"branch {branch.id}: one bundle_diameter_mm for {len(branch.ends)} ends"
        fix = "split it where its limbs meet, at a [[breakout]], and measure each"
        yield Problem(branch.where, text, fix)


def _along(branch: Branch, index: HarnessIndex) -> Found:
    """Yield sleeves that a branch of known length has no room for, and circuits shorter than it."""
    if branch.length_mm is None:
        return
    taken: dict[str, float] = {}
    for end in branch.ends:
        settings = end.settings
        if settings.marker.branch[0] not in SLID_ON:
            continue
        shortest = min(settings.sleeve.cut_lengths_mm, default=settings.sleeve.min_cut_length_mm)
        cut, start = end.cut_length_mm or shortest, end.distance_from_connector_mm or 0.0
        taken[end.at] = start + cut
        if start + cut > branch.length_mm:
            text = f"branch {branch.id}: {cut:g} mm of sleeve, {start:g} mm from {end.at}, reach {start + cut:g} mm"
            yield Problem(
                end.where,
                f"{text}, the branch has {branch.length_mm:g}",
                "check distance_from_connector_mm and length_mm",
            )
    if len(taken) == 2 and max(taken.values()) <= branch.length_mm < sum(taken.values()):
        both = " and ".join(f"{mm:g} mm from {at}" for at, mm in taken.items())
        text = f"branch {branch.id}: its sleeves reach {both}, and the branch has {branch.length_mm:g}: they overlap"
        yield Problem(branch.where, text, "cut them shorter, or check distance_from_connector_mm and length_mm")
    short = [
        circuit
        for circuit in (index.through[branch.id] if len(branch.ends) < 3 else ())
        if circuit.length_mm is not None
        and circuit.length_mm < branch.length_mm
        and index.inner_splices.isdisjoint((circuit.start.connector, circuit.finish.connector))
    ]
    if short:
        text = f"{_listed(short)}: shorter than branch {branch.id} of {branch.length_mm:g} mm"
        yield Problem(short[0].where, text, "check length_mm of both", warning=True)


def _branches(index: HarnessIndex) -> Found:
    """Yield what is wrong with branches: unknown names, ends, lengths, circuits in none of them."""
    harness = index.harness
    yield from _without_sleeve(index)
    yield from _in_no_branch(index)
    for branch in harness.branches:
        yield from _splices_beyond(branch, index)
    yield from _between_breakouts(index)
    for branch in harness.branches:
        for name in dict.fromkeys(branch.circuits):
            if name not in index.circuits:
                yield Unknown("circuit", name, branch.where, f"branch {branch.id}")
        if len(set(branch.circuits)) < len(branch.circuits):
            message = f"branch {branch.id}: a circuit stands twice in circuits"
            yield Problem(branch.where, message, "take it out once", warning=True)
        own = [index.circuits[name] for name in branch.circuits if name in index.circuits]
        reached = {pin.connector for c in own for pin in (c.start, c.finish)} if branch.circuits else index.reaching
        yield from _one_diameter(branch)
        yield from _along(branch, index)
        yield from _ends(branch, index, reached)


def _ends(branch: Branch, index: HarnessIndex, reached: Container[str]) -> Found:
    """Yield ends at no known connector or at one that no circuit of the branch reaches; a branch without ends or
    circuits, where no diameter was measured either."""
    seen: set[str] = set()
    has_some = bool(branch.circuits) or any(end.at in reached for end in branch.ends)
    for end in branch.ends:
        connector = index.connectors.get(end.at)
        if connector is None:
            yield Unknown("connector", end.at, end.where, f"branch {branch.id}")
        elif end.at not in reached and connector.kind != "breakout" and has_some:
            message = f"branch {branch.id}: none of its circuits ends at {end.at}"
            yield Problem(end.where, message, "check circuits of the branch, and at", warning=True)
        if end.at in seen:
            message = f"branch {branch.id}: two ends at {end.at}"
            yield Problem(end.where, message, "an end stops at a connector of its own")
        seen.add(end.at)
    if len(branch.ends) > 1 and all(end.connector_installed for end in branch.ends):
        message = f"branch {branch.id}: connectors are fitted at all ends"
        fix = "sleeves must pass a connector, or take one off first"
        yield Problem(branch.where, message, fix, warning=True)
    if not branch.ends:
        message = f"branch {branch.id} has no end, so no sleeve"
        yield Problem(branch.where, message, "add [[branch.end]]", warning=True)
    if not has_some and branch.bundle_diameter_mm is None:
        message = f"branch {branch.id} has no circuits"
        yield Problem(branch.where, message, "name them in circuits, or measure bundle_diameter_mm")


def _bags(index: HarnessIndex) -> Found:
    """Yield the bags of branches and connectors that nobody knows."""
    branches = {branch.id for branch in index.harness.branches}
    for bag in index.harness.bags:
        if bag.branch and bag.branch not in branches:
            yield Unknown("branch", bag.branch, bag.where, f"bag {bag.id}")
        if bag.connector and bag.connector not in index.connectors:
            yield Unknown("connector", bag.connector, bag.where, f"bag {bag.id}")
        if bag.branch and bag.connector:
            message = f"bag {bag.id} names branch {bag.branch} and connector {bag.connector}"
            yield Problem(bag.where, message, "keep the one that the bag is for")


# ---------------------------------------------------------------- Settings


SEEN_THROUGH = ("clear", "transparent")  # tube that has no colour: common words


def _settings(index: HarnessIndex, catalogue: Catalogue) -> Found:
    """Yield names that no table has, each where it is set first, and settings that contradict each other."""
    told: set[tuple[str, str]] = set()
    for settings, where in _set_somewhere(index):
        for problem in chain(_out_of_order(settings, where), _no_colours(settings, where)):
            if ("", problem.message) not in told:
                told.add(("", problem.message))
                yield problem
        for what, name, look_up in _looked_up(settings, catalogue):
            if (what, name) not in told:
                told.add((what, name))
                try:
                    look_up(name)
                except LabelerError as error:
                    yield from (Problem(where, f"{what}: {found.message}", found.fix) for found in error.problems)


_IN_ORDER = (
    ("sleeve.min_cut_length_mm", "sleeve.max_cut_length_mm"),
    ("print.marginal_min_width_ratio", "print.min_width_ratio"),
    ("print.max_width_ratio", "print.marginal_max_width_ratio"),
    ("print.marginal_min_contrast", "print.min_contrast"),
    ("print.marginal_min_stroke_ratio", "print.min_stroke_ratio"),
    ("print.min_visual_angle_arcmin", "print.preferred_visual_angle_arcmin"),
    ("print.preferred_visual_angle_arcmin", "print.max_visual_angle_arcmin"),
    ("print.readable_arc_deg", "print.max_arc_deg"),
    ("print.min_width_ratio", "print.max_width_ratio"),
)


def _out_of_order(settings: Settings, where: SourceLocation) -> Iterator[Problem]:
    """Yield settings that contradict each other: the first of a pair must not exceed the second."""
    for first, second in _IN_ORDER:
        low, high = settings.get(first), settings.get(second)
        if isinstance(low, float) and isinstance(high, float) and low > high:
            yield Problem(where, f"{first} {low:g} is larger than {second} {high:g}", "set the other one as well")


def _no_colours(settings: Settings, where: SourceLocation) -> Iterator[Problem]:
    """Yield a warning for colours that are none."""
    for what, colour in (("sleeve.colour", settings.sleeve.colour), ("print.colour", settings.print.colour)):
        if colour_name(colour) is None and colour.casefold() not in SEEN_THROUGH:
            message = f"{what}: {colour!r} is no colour code that is known; it is written as it stands"
            fix = f"use a code of IEC 60757 ({', '.join(base_colours())}), or {SEEN_THROUGH[0]}"
            yield Problem(where, message, fix, warning=True)


def _looked_up(settings: Settings, catalogue: Catalogue) -> Iterator[tuple[str, str, Callable[[str], object]]]:
    if settings.wire_type:
        yield "wire_type", settings.wire_type, catalogue.wire_type
    if settings.covering_wall_mm is None:
        yield "covering", settings.covering, catalogue.covering
    yield "print.font", settings.print.font, load_font
    for family in settings.sleeve.families:
        yield "sleeve.families", family, catalogue.tubes


def _set_somewhere(index: HarnessIndex) -> Iterator[tuple[Settings, SourceLocation]]:
    """Yield all different settings, each with the place that brought it in."""
    harness = index.harness
    ends = (end for branch in harness.branches for end in branch.ends)
    holders: Iterable[_Set] = chain((harness,), harness.circuits, harness.branches, ends, harness.bags)
    seen: set[Settings] = set()
    for settings, those in groupby(holders, key=lambda holder: holder.settings):
        if settings not in seen:
            seen.add(settings)
            yield settings, next(those).where


class _Set(Protocol):
    @property
    def settings(self) -> Settings: ...
    @property
    def where(self) -> SourceLocation: ...


# ---------------------------------------------------------------- Texts


_CONTROL = re.compile(
    r"[\x00-\x1f\x7f-\x9f\xad\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]"
)  # and signs that do not show


def _texts(index: HarnessIndex) -> Found:
    """Yield what no marker can say: empty lines, control characters, texts without end."""
    harness = index.harness
    for branch in harness.branches:
        for end in branch.ends:
            what = f"branch {branch.id}, end {end.at}"
            for line in end.text:
                if not line.strip():
                    fix = "take the line out, or leave text out for branch and connector"
                    yield Problem(end.where, f"{what}: a line of its text is empty", fix)
                yield from _unprintable(line, what, end.where)
    yield from _unprintable(harness.name, "harness name", harness.where)
    for circuit in harness.circuits:
        if len(circuit.id) > LONGEST_TEXT or len(circuit.signal) > LONGEST_TEXT:
            yield from _unprintable(max(circuit.id, circuit.signal, key=len), "circuit", circuit.where)
    texts = "".join([circuit.id + circuit.signal for circuit in harness.circuits])
    if _CONTROL.search(texts):
        for circuit in harness.circuits:
            yield from _unprintable(circuit.id + circuit.signal, f"circuit {circuit.id!r}", circuit.where)
    for what, things in _things(index).items():
        for thing in things if what in ("connector", "branch", "bag") else ():
            yield from _unprintable(thing.id, f"{what} id", thing.where)


def _unprintable(text: str, what: str, where: SourceLocation) -> Iterator[Problem]:
    if len(text) > LONGEST_TEXT:
        message = f"{what}: {len(text)} characters, the limit is {LONGEST_TEXT}"
        yield Problem(where, message, f"shorten {text[:20]!r}…")
    if text.strip() and all(unicodedata.category(sign)[0] in "MCZ" for sign in text):
        yield Problem(where, f"{what}: {text[:20]!a} shows nothing", "write a letter or a digit")
        return
    found = _CONTROL.search(text)
    if found:
        fix = 'take it out; several lines are written ["DEPTH", "J4"]'
        yield Problem(where, f"{what}: sign {found[0]!a} in the text, which does not show", fix)
