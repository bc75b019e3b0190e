"""Plan: from a harness to the list of markers it needs, with the words that go on each.

For every branch end a sleeve, for every circuit end a wire marker, for every bag (or every
connector, where no bag is named) a tag. Nothing is measured here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import blake2b
from itertools import count, pairwise
from string import Formatter

from labeler.alike import pattern
from labeler.errors import Problem, Where, nearest
from labeler.formulas.check import check_character
from labeler.formulas.legibility import confusable_form, mark_positions
from labeler.harness import branches_of, circuits_by_branch
from labeler.model import SEE_BENCH_SHEET, Bag, Branch, Circuit, Connector, Harness, Marker, Pin, Settings, TagWords

# Letters and digits of marker ids: of each pair that is confused (0/O, 1/I, 2/Z, 5/S, 8/B) the digit only.
ID_SIGNS = "0123456789ACDEFGHJKLMNPQRTUVWXY"
PINS = "pins"  # the second tag of a bag, where its pins do not go on the first
WIRE_TEXTS = {
    "own": "{circuit}",
    "local": "{local}",
    "remote": "{remote}",
    "local and remote": "{local}/{remote}",
    "signal": "{signal}",
}
TEMPLATE_FIELDS = ("circuit", "local", "remote", "signal", "colour", "size", "cable", "wire", "serial")


def plan(harness: Harness) -> tuple[tuple[Marker, ...], tuple[Problem, ...]]:
    """Return the markers of a harness in harness order, and what stands in their way.

    Branch ends come first, branch by branch; then the circuits' ends, the two of one circuit
    side by side; then tags. The id of a marker depends on the harness (part number or name,
    revision) and its place alone, so it stays the same from plan to sheet to record.
    """
    problems: list[Problem] = []
    ids = _Ids(harness)
    markers = (*_sleeves(harness, ids), *_wire_markers(harness, ids, problems), *_tags(harness, ids))
    return markers, tuple(problems)


def confusable(markers: Iterable[Marker]) -> tuple[Problem, ...]:
    """Return a warning for markers whose texts differ only by signs that are easily confused, or by case.

    Pairs taken as alike: 0/O, 1/I/l, 5/S, 8/B, 2/Z.
    """
    alike: dict[str, dict[str, Marker]] = {}
    for marker in markers:
        if marker.lettered:
            text = " ".join(marker.text)
            alike.setdefault(confusable_form(text), {}).setdefault(text, marker)
    return tuple(
        Problem(
            second.where,
            f"{second.at} {two!r} is easily confused with {first.at} {one!r} ({first.where})",
            "name one of them otherwise",
            warning=True,
        )
        for group in alike.values()
        if len(group) > 1
        for (one, first), (two, second) in pairwise(group.items())
    )


class _Ids:
    """Gives each place of a harness its id: seven signs of a digest and a check character.

    31 signs make 2.7e10 ids. Where two places collide, or the check character is a sign that is
    easily confused, the next digest is taken, so the same places in the same order get the same ids.
    """

    def __init__(self, harness: Harness) -> None:
        self._start = blake2b(f"{harness.part_number or harness.name}|{harness.revision}|".encode(), digest_size=8)
        self._used: set[str] = set()

    def next(self, role: str, place: str) -> str:
        for salt in count():
            digest = self._start.copy()
            digest.update(f"{role}|{place}|{salt}".encode())
            signs = _signs(int.from_bytes(digest.digest(), "big"))
            check = check_character(signs)
            found = signs + check
            if check in ID_SIGNS and found not in self._used:
                break
        self._used.add(found)
        return found


_PAIRS = tuple(first + second for first in ID_SIGNS for second in ID_SIGNS)


def _signs(number: int) -> str:
    """Seven signs of a number: three pairs and one."""
    n = len(_PAIRS)
    pairs = _PAIRS[number % n] + _PAIRS[number // n % n] + _PAIRS[number // n**2 % n]
    return pairs + ID_SIGNS[number // n**3 % len(ID_SIGNS)]


def _sleeves(harness: Harness, ids: _Ids) -> Iterator[Marker]:
    for branch in branches_of(harness):
        for end in branch.ends:
            settings = end.settings
            kind = settings.branch_marker_kind
            if kind == "none" or (not end.lettered and kind in ("wrap", "flag")):
                continue  # a plain end of a kind that is nothing but print
            others = [e.at for e in branch.ends if e is not end]
            yield Marker(
                id=ids.next("branch end", f"{branch.id}|{end.at}"),
                kind=kind,
                role="branch end",
                at=end.at,
                text=end.text or (f"{branch.id} {end.at}",),
                breakable=len(end.text) < 2,
                settings=settings,
                lettered=end.lettered,
                branch=branch.id,
                far=", ".join(others),
                where=end.where,
            )


def _branches_at(harness: Harness) -> dict[tuple[str, str], str]:
    """Return the branch that a circuit comes out of at a connector, by circuit and connector."""
    through = circuits_by_branch(harness)
    found: dict[tuple[str, str], str] = {}
    for branch in branches_of(harness):
        ends = {end.at for end in branch.ends}
        for circuit in through[branch.id]:
            for pin in (circuit.start, circuit.finish):
                if pin.connector in ends:
                    found[circuit.id, pin.connector] = branch.id
                else:
                    found.setdefault((circuit.id, pin.connector), branch.id)
    return found


# What differs from one wire marker to another.
VARIED = ("id", "role", "at", "text", "branch", "circuit", "far", "where", "position_mm")


def _wire_markers(harness: Harness, ids: _Ids, problems: list[Problem]) -> Iterator[Marker]:
    branch_at = _branches_at(harness)
    writers: dict[str, Callable[[Circuit, str, str], str] | None] = {}
    makers: dict[int, Callable[..., Marker]] = {}  # by the settings, which the harness keeps
    for circuit in harness.circuits:
        settings = circuit.settings
        rule = settings.wire_marker
        if settings.wire_marker_kind == "none":
            continue
        if rule not in writers:
            writers[rule] = _writer(rule, harness, circuit.where, problems)
        write = writers[rule]
        if write is None:
            continue
        made = makers.get(id(settings))
        if made is None:
            like = Marker("", settings.wire_marker_kind, "", "", (), True, settings)
            made = makers[id(settings)] = pattern(like, *VARIED)
        name, where = circuit.id, circuit.where
        for at, far, text, role, connector, position in _places(circuit, settings, write, problems):
            if not text.strip():
                problems.append(_nothing_to_say(circuit, rule))
            branch = branch_at.get((name, connector), "")
            yield made(ids.next(role, f"{name}|{at}"), role, at, (text,), branch, name, far, where, position)


def _nothing_to_say(circuit: Circuit, rule: str) -> Problem:
    text = f"circuit {circuit.id}: wire marker {rule!r} gives an empty text"
    return Problem(circuit.where, text, "give the circuit what the marker is to say, or choose another wire_marker")


_Place = tuple[str, str, str, str, str, float | None]  # at, far, text, role, nearest connector, position


def _places(
    circuit: Circuit, settings: Settings, write: Callable[[Circuit, str, str], str], problems: list[Problem]
) -> Iterable[_Place]:
    """Where a circuit's markers go: at both ends, or by its length. Between the ends it says what it is itself."""
    start, finish = circuit.start, circuit.finish
    near, far = str(start), str(finish)
    at_start = (near, far, write(circuit, near, far), "wire end", start.connector)
    at_finish = (far, near, write(circuit, far, near), "wire end", finish.connector)
    if settings.wire_marks == "both ends":
        return ((*at_start, None), (*at_finish, None))
    if circuit.length_mm is None:
        text = f"circuit {circuit.id}: no length, so it is marked at both ends"
        problems.append(Problem(circuit.where, text, "give length_mm for marks by length", warning=True))
        return ((*at_start, None), (*at_finish, None))
    positions = mark_positions(circuit.length_mm)
    own = [
        (f"{circuit.id} at {p:.0f} mm", f"{near} to {far}", circuit.id, "wire", start.connector, p) for p in positions
    ]
    if len(own) < 2:
        return own
    return ((*at_start, positions[0]), *own[1:-1], (*at_finish, positions[-1]))


def _writer(
    rule: str, harness: Harness, where: Where, problems: list[Problem]
) -> Callable[[Circuit, str, str], str] | None:
    """Return a function that writes a wire marker's text, or None where the rule is not understood."""
    template = WIRE_TEXTS.get(rule, rule)
    if template == "{local}/{remote}":  # the default, for every wire of a long list
        return lambda circuit, near, far: f"{near}/{far}"
    try:
        parts = [(literal, name) for literal, name, _, _ in Formatter().parse(template)]
    except ValueError as error:
        problems.append(Problem(where, f"wire_marker {rule!r}: {error}", "write fields as {circuit}"))
        return None
    names = [name for _, name in parts if name is not None]
    known = (*TEMPLATE_FIELDS, *dict.fromkeys(key for circuit in harness.circuits for key, _ in circuit.free))
    unknown = [name for name in names if name not in known]
    if unknown or not names:
        problems.append(_not_understood(rule, unknown, known, where))
        return None

    def write(circuit: Circuit, near: str, far: str) -> str:
        values = _fields(circuit, near, far)
        return "".join(literal + (values.get(name, "") if name is not None else "") for literal, name in parts).strip()

    return write


def _fields(circuit: Circuit, near: str, far: str) -> dict[str, str]:
    """Return what a wire marker's text may name of a circuit, at one of its ends."""
    return {
        "circuit": circuit.id,
        "local": near,
        "remote": far,
        "signal": circuit.signal,
        "colour": circuit.colour,
        "size": circuit.size,
        "cable": circuit.cable,
        "wire": circuit.wire,
        "serial": "{serial}",  # known when a unit is printed
        **dict(circuit.free),
    }


def _not_understood(rule: str, unknown: Sequence[str], known: Sequence[str], where: Where) -> Problem:
    """Return what is wrong with a rule that names an unknown field, or none."""
    near = nearest(unknown[0], known) if unknown else nearest(rule, WIRE_TEXTS)
    every = ", ".join((*WIRE_TEXTS, *("{" + name + "}" for name in known)))
    what = f"field {{{unknown[0]}}} is unknown" if unknown else "names no field, so all markers would be alike"
    hint = f"did you mean {near!r}? known are" if near else "known are"
    return Problem(where, f"wire_marker {rule!r}: {what}", f"{hint} {every}")


def _tags(harness: Harness, ids: _Ids) -> Iterator[Marker]:
    """Yield a tag for every bag, and one for its pins, which is needed only where they do not go on the first."""
    bags = harness.bags or tuple(_connector_bags(harness))
    ends = {branch.id: ", ".join(end.at for end in branch.ends) for branch in branches_of(harness)}
    contents = contents_of(harness) if any(bag.contents for bag in bags) else None
    for bag in bags:
        first = Marker(
            id=ids.next("bag", bag.id),
            kind="tag",
            role="bag",
            at=bag.id,
            text=(bag.id,),
            breakable=False,
            settings=bag.settings,
            branch=bag.branch,
            far=bag.connector or ends.get(bag.branch, ""),
            where=bag.where,
        )
        yield first
        if bag.contents and contents and next(_pin_rows(bag, contents), None):
            yield replace(first, id=ids.next("bag", f"{bag.id}|{PINS}"), at=f"{bag.id} {PINS}", text=(bag.id, PINS))


def _connector_bags(harness: Harness) -> Iterator[Bag]:
    reached = dict.fromkeys(pin.connector for c in harness.circuits for pin in (c.start, c.finish))
    named = {connector.id for connector in harness.connectors}
    declared = [*harness.connectors, *(Connector(id=name) for name in reached if name not in named)]
    for connector in declared:
        if connector.id in reached and connector.kind not in ("splice", "junction"):
            yield Bag(connector.id, connector=connector.id, where=connector.where, settings=harness.settings)


@dataclass(frozen=True, slots=True, eq=False)
class Contents:
    """What tags are written from, looked up once for a harness."""

    bags: Mapping[str, Bag]
    connectors: Mapping[str, Connector]
    branches: Mapping[str, Branch]
    through: Mapping[str, tuple[Circuit, ...]]
    pins: Mapping[str, list[tuple[Pin, Circuit, Pin]]]  # by connector: near pin, circuit, far pin


def contents_of(harness: Harness) -> Contents:
    """Return what tags are written from."""
    pins: dict[str, list[tuple[Pin, Circuit, Pin]]] = {}
    for circuit in harness.circuits:
        pins.setdefault(circuit.start.connector, []).append((circuit.start, circuit, circuit.finish))
        pins.setdefault(circuit.finish.connector, []).append((circuit.finish, circuit, circuit.start))
    return Contents(
        {bag.id: bag for bag in harness.bags or _connector_bags(harness)},
        {connector.id: connector for connector in harness.connectors},
        {branch.id: branch for branch in harness.branches},
        circuits_by_branch(harness),
        pins,
    )


def tag_words(
    harness: Harness, contents: Contents, marker: Marker, unit: str, date: str = "", pins: str = ""
) -> TagWords:
    """Return what a tag of a bag says for one unit, printed on a date.

    The contents to tick off are those of the bag; on its second tag, or without any, the circuits of
    its connector or branch: cavity, circuit, colour, size and far end. ``pins`` puts them below the
    contents: "all" of them, or a line that they are "elsewhere". The caution stands on the first tag alone.
    """
    bag = contents.bags[marker.text[0]]
    about = contents.connectors[bag.connector].description if bag.connector in contents.connectors else ""
    where = f"branch {bag.branch}: {marker.far}" if bag.branch else marker.far
    part = " ".join(filter(None, (harness.part_number, f"rev {harness.revision}" if harness.revision else "")))
    headings = (
        *((about,) if about else ()),
        *((where,) if where and where != bag.id else ()),
        harness.name,
        " ".join(filter(None, (part, f"unit {unit}", date))),
    )
    ends = tuple(_pin_rows(bag, contents))
    said = f"{len(ends)} wire ends: {SEE_BENCH_SHEET}"
    caution = "" if len(marker.text) > 1 else marker.settings.tag_caution or ""
    if len(marker.text) > 1 or not bag.contents:
        return TagWords(" ".join(marker.text), headings, ends, "" if bag.contents else said, caution)
    items = tuple(f"{item.quantity:.15g} x {item.item}" for item in bag.contents)
    below = {"": (), "all": ends, "elsewhere": (said,)}[pins]
    return TagWords(bag.id, headings, (*items, *below), caution=caution)


def _pin_rows(bag: Bag, contents: Contents) -> Iterator[str]:
    branch = contents.branches.get(bag.branch)
    ends = (bag.connector,) if bag.connector else tuple(end.at for end in branch.ends) if branch else ()
    inside = {circuit.id for circuit in contents.through[branch.id]} if branch else None
    pins = [
        pin
        for end in dict.fromkeys(ends)
        for pin in contents.pins.get(end, ())
        if inside is None or pin[1].id in inside
    ]
    names = len(ends) > 1
    told: dict[str, str] = {}  # of a branch with several ends each circuit is named at the first of them
    for near, circuit, far in sorted(pins, key=lambda pin: (pin[0].connector, _natural(pin[0].cavity))):
        if told.setdefault(circuit.id, near.connector) != near.connector:
            continue
        place = str(near) if names or not near.cavity else near.cavity
        yield " ".join(filter(None, (place, circuit.id, circuit.colour, circuit.size, f"to {far}")))


def _natural(cavity: str) -> tuple[int, str]:
    """Sort key: numbered cavities by number, named ones after them."""
    return (int(cavity), "") if cavity.isdecimal() and len(cavity) < 10 else (1 << 31, cavity)
