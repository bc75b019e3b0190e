"""Plan: from a harness to the list of markers it needs, with the words that go on each.

For every branch end a sleeve, for every circuit end a wire marker, for every bag (or every
connector, where no bag is named) a tag. Nothing is measured here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from hashlib import blake2b
from itertools import count, groupby, pairwise
from string import Formatter

from labeler.errors import Problem, SourceLocation, nearest
from labeler.formulas.check import check_character
from labeler.formulas.legibility import confusable_form, mark_positions
from labeler.harness import HarnessIndex
from labeler.model import Bag, Branch, BranchEnd, Circuit, Harness, Marker, TagWords, pattern
from labeler.tables.kinds import SLID_ON

# Letters and digits of marker ids: of each pair that is confused (0/O, 1/I, 2/Z, 5/S, 8/B) the digit only.
ID_SIGNS = "0123456789ACDEFGHJKLMNPQRTUVWXY"
PINS = "pins"  # the second tag of a bag, where its pins do not go on the first
WIRE_TEXTS = {
    "circuit": "{circuit}",
    "local": "{local}",
    "remote": "{remote}",
    "local and remote": "{local}/{remote}",
    "signal": "{signal}",
}
TEMPLATE_FIELDS = ("circuit", "local", "remote", "signal", "colour", "size", "cable", "wire_type", "serial")


def plan(index: HarnessIndex) -> tuple[tuple[Marker, ...], tuple[Problem, ...]]:
    """Return the markers of a harness in harness order, and what stands in their way.

    Branch ends come first, branch by branch; then the circuits' ends, the two of one circuit
    side by side; then tags. The id of a marker depends on the harness (part number or name,
    revision) and its place alone, so it stays the same from plan to sheet to record.
    """
    ids = _Ids(index.harness)
    sleeves = tuple(_sleeves(index, ids))
    on_wires = tuple(_wire_markers(index, ids))
    markers = (each for each in on_wires if isinstance(each, Marker))
    problems = tuple(each for each in on_wires if isinstance(each, Problem))
    return (*sleeves, *markers, *_tags(index, ids)), problems


def confusable(markers: Iterable[Marker]) -> tuple[Problem, ...]:
    """Return a warning for markers whose texts differ only by signs that are easily confused, or by case.

    Pairs taken as alike: 0/O, 1/I/l, 5/S, 8/B, 2/Z.
    """
    alike: dict[str, dict[str, Marker]] = {}
    for marker in markers:
        if marker.marked:
            text = " ".join(marker.text)
            alike.setdefault(confusable_form(text), {}).setdefault(text, marker)
    return tuple(
        Problem(
            second.where,
            f"{second.place} {two!r} is easily confused with {first.place} {one!r} ({first.where})",
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


def _sleeves(index: HarnessIndex, ids: _Ids) -> Iterator[Marker]:
    for branch in index.branches:
        for end in branch.ends:
            settings = end.settings
            kind = settings.marker.branch[0]
            if kind == "none" or (not end.marked and kind not in SLID_ON):
                continue  # a plain end of a kind that is nothing but print
            others = [e.at for e in branch.ends if e is not end]
            yield Marker(
                id=ids.next("branch end", f"{branch.id}|{end.at}"),
                kind=kind,
                role="branch end",
                place=end.at,
                text=end.text or (f"{branch.id} {end.at}",),
                breakable=len(end.text) < 2,
                settings=settings,
                marked=end.marked,
                single=_lies_alone(index, branch, end),
                branch=branch.id,
                far=", ".join(others),
                where=end.where,
            )


def _lies_alone(index: HarnessIndex, branch: Branch, end: BranchEnd) -> bool:
    """Return whether one wire or one cable is all that lies at a branch's end."""
    lying = index.circuits_at(branch, end)
    return len({circuit.cable if circuit.cable in index.jackets else circuit.id for circuit in lying}) == 1


def _branches_at(index: HarnessIndex) -> dict[tuple[str, str], str]:
    """Return the branch that a circuit comes out of at a connector, by circuit and connector."""
    found: dict[tuple[str, str], str] = {}
    for branch in index.branches:
        ends = {end.at for end in branch.ends}
        for circuit in index.through[branch.id]:
            for pin in (circuit.start, circuit.finish):
                if pin.connector in ends:
                    found[circuit.id, pin.connector] = branch.id
                else:
                    found.setdefault((circuit.id, pin.connector), branch.id)
    return found


Writer = Callable[[Circuit, str, str], str]  # of a wire marker's text: circuit, its place here, its place there
VARIED = ("id", "role", "place", "text", "branch", "circuit", "far", "where", "position_mm")
"""What differs from one wire marker to another."""


def _wire_markers(index: HarnessIndex, ids: _Ids) -> Iterator[Marker | Problem]:
    """Yield the markers of the circuits, and what stands in the way of some."""
    harness, branch_at = index.harness, _branches_at(index)
    writers: dict[str, Writer | Problem] = {}
    for settings, circuits in groupby(harness.circuits, key=lambda circuit: circuit.settings):
        if settings.marker.wire == "none":
            continue
        rule = settings.marker.wire_text
        made = pattern(Marker("", settings.marker.wire, "", "", (), True, settings), *VARIED)
        for circuit in circuits:
            if rule not in writers:
                writers[rule] = _writer(rule, harness, circuit.where)
                if isinstance(problem := writers[rule], Problem):
                    yield problem
            write = writers[rule]
            if isinstance(write, Problem):
                break
            by_length = settings.marker.wire_positions != "both ends"
            if by_length and circuit.length_mm is None:
                text = f"circuit {circuit.id}: no length, so it is marked at both ends"
                yield Problem(circuit.where, text, "give length_mm for marks by length", warning=True)
            name, where = circuit.id, circuit.where
            for at, far, text, role, connector, position in _places(circuit, write, by_length):
                if not text.strip():
                    said = f"circuit {name}: wire marker {rule!r} gives an empty text"
                    fix = "give the circuit what the marker is to say, or choose another marker.wire_text"
                    yield Problem(where, said, fix)
                branch = branch_at.get((name, connector), "")
                yield made(ids.next(role, f"{name}|{at}"), role, at, (text,), branch, name, far, where, position)


_Place = tuple[str, str, str, str, str, float | None]  # at, far, text, role, nearest connector, position


def _places(circuit: Circuit, write: Writer, by_length: bool) -> Iterable[_Place]:
    """Where a circuit's markers go: at both ends, or by its length. Between the ends it says what it is itself."""
    start, finish = circuit.start, circuit.finish
    near, far = str(start), str(finish)
    at_start = (near, far, write(circuit, near, far), "wire end", start.connector)
    at_finish = (far, near, write(circuit, far, near), "wire end", finish.connector)
    if not by_length or circuit.length_mm is None:
        return ((*at_start, None), (*at_finish, None))
    positions = mark_positions(circuit.length_mm)
    own = [
        (f"{circuit.id} at {p:.0f} mm", f"{near} to {far}", circuit.id, "wire", start.connector, p) for p in positions
    ]
    if len(own) < 2:
        return own
    return ((*at_start, positions[0]), *own[1:-1], (*at_finish, positions[-1]))


def _writer(rule: str, harness: Harness, where: SourceLocation) -> Writer | Problem:
    """Return a function that writes a wire marker's text, or why the rule is not understood."""
    template = WIRE_TEXTS.get(rule, rule)
    if template == "{local}/{remote}":  # the default, for every wire of a long list
        return lambda circuit, near, far: f"{near}/{far}"
    try:
        parts = [(literal, name) for literal, name, _, _ in Formatter().parse(template)]
    except ValueError as error:
        return Problem(where, f"marker.wire_text {rule!r}: {error}", "write fields as {circuit}")
    names = [name for _, name in parts if name is not None]
    known = (*TEMPLATE_FIELDS, *dict.fromkeys(key for circuit in harness.circuits for key, _ in circuit.extra))
    unknown = [name for name in names if name not in known]
    if unknown or not names:
        return _not_understood(rule, unknown, known, where)

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
        "wire_type": circuit.wire_type,
        "serial": "{serial}",  # known when a unit is printed
        **dict(circuit.extra),
    }


def _not_understood(rule: str, unknown: Sequence[str], known: Sequence[str], where: SourceLocation) -> Problem:
    """Return what is wrong with a rule that names an unknown field, or none."""
    near = nearest(unknown[0], known) if unknown else nearest(rule, WIRE_TEXTS)
    every = ", ".join((*WIRE_TEXTS, *("{" + name + "}" for name in known)))
    what = f"field {{{unknown[0]}}} is unknown" if unknown else "names no field, so all markers would be alike"
    hint = f"did you mean {near!r}? known are" if near else "known are"
    return Problem(where, f"marker.wire_text {rule!r}: {what}", f"{hint} {every}")


def _tags(index: HarnessIndex, ids: _Ids) -> Iterator[Marker]:
    """Yield a tag for every bag, and one for its pins, which is needed only where they do not go on the first."""
    for bag in index.bags.values():
        first = Marker(
            id=ids.next("bag", bag.id),
            kind="tag",
            role="bag",
            place=bag.id,
            text=(bag.id,),
            breakable=False,
            settings=bag.settings,
            branch=bag.branch,
            far=", ".join(index.connectors_of(bag)),
            where=bag.where,
        )
        yield first
        if bag.contents and list(_pin_rows(bag, index)):
            yield replace(first, id=ids.next("bag", f"{bag.id}|{PINS}"), place=f"{bag.id} {PINS}", text=(bag.id, PINS))


def tag_words(index: HarnessIndex, marker: Marker, unit: str, date: str = "", pins: str = "") -> TagWords:
    """Return what a tag of a bag says for one unit, printed on a date.

    The contents to tick off are those of the bag; on its second tag, or without any, the circuits of
    its connector or branch: cavity, circuit, colour, size and far end. ``pins`` puts them below the
    contents: "all" of them, or a line that they are "elsewhere". The caution stands on the first tag alone.
    """
    harness, bag = index.harness, index.bags[marker.text[0]]
    about = index.connector(bag.connector).description
    where = f"branch {bag.branch}: {marker.far}" if bag.branch else marker.far
    part = " ".join(filter(None, (harness.part_number, f"rev {harness.revision}" if harness.revision else "")))
    headings = (
        *((about,) if about else ()),
        *((where,) if where and where != bag.id else ()),
        harness.name,
        " ".join(filter(None, (part, f"unit {unit}", date))),
    )
    ends = tuple(_pin_rows(bag, index))
    said = f"{len(ends)} wire ends: see the bench sheet"
    caution = "" if len(marker.text) > 1 else marker.settings.tag.safety_message or ""
    if len(marker.text) > 1 or not bag.contents:
        return TagWords(" ".join(marker.text), headings, ends, "" if bag.contents else said, caution)
    items = tuple(f"{item.quantity:.15g} x {item.item}" for item in bag.contents)
    below = {"": (), "all": ends, "elsewhere": (said,)}[pins]
    return TagWords(bag.id, headings, (*items, *below), safety_message=caution, on_bench_sheet=pins == "elsewhere")


def _pin_rows(bag: Bag, index: HarnessIndex) -> Iterator[str]:
    """Yield the wire ends that a bag is for; of a branch with several ends each circuit at the first of them."""
    connectors = index.connectors_of(bag)
    inside = {circuit.id for circuit in index.through.get(bag.branch, ())} if bag.branch in index.through else None
    ends = [
        end
        for connector in connectors
        for end in index.circuit_ends(connector)
        if inside is None or end.circuit.id in inside
    ]
    first: dict[str, str] = {}
    for end in sorted(ends, key=lambda end: (end.pin.connector, end.pin.order)):
        circuit, pin = end.circuit, end.pin
        if first.setdefault(circuit.id, pin.connector) == pin.connector:
            place = str(pin) if len(connectors) > 1 or not pin.cavity else pin.cavity
            yield " ".join(filter(None, (place, circuit.id, circuit.colour, circuit.size, f"to {end.far}")))
