"""The ends of the wires of a list: connectors and cavities, in columns of their own or joined (``J4:2``)."""

from __future__ import annotations

import re
from collections.abc import Sequence

from labeler.errors import Problem, Where
from labeler.model import Pin
from labeler.read.account import some
from labeler.read.cells import Cells
from labeler.read.values import checked_cavity

SIGNS = (":", ".")  # between connector and cavity, in this order
OTHER_SIGNS = ("-", "/", "_", " ")  # that may part them too; nothing is split there unasked
HEADER_WORDS = ("from", "to", "von", "nach")  # under an end they are the header of another table
SPLIT_SHARE = 0.5  # of the names of both ends that have a colon: then it parts connector and cavity; project choice

_CAVITY = re.compile(r"(?:pin|cav)?\s*[A-Za-z]?\d{1,3}[A-Za-z]?", re.IGNORECASE)
_SEVERAL = re.compile(r"\w\s*[,;]\s*\w|\w [+&] \w")
_OPEN = re.compile(r"tb[dac]|\?+|n\.?c\.?|spare|open|unused|unknown|reserve|frei|offen|unbekannt", re.IGNORECASE)
_MONTH = r"(?:jan|feb|mar|mrz|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)"
_DATE = re.compile(rf"\d{{1,2}}[-. ]+{_MONTH}|{_MONTH}[-. ]+\d{{1,2}}|\d{{4}}-\d\d-\d\d( 00:00:00)?", re.IGNORECASE)
_SPAN = re.compile(r"(\d+)\s*(?:-|–|\.\.+)\s*(\d+)")


def owned_names(cells: Cells) -> bool:
    """Return whether a connector's name needs what it belongs to: ``J1`` of two devices is two connectors."""
    owned: dict[str, set[str]] = {}
    for end in ("from", "to"):
        if f"{end} owner" in cells.roles:
            names = cells.cleaned(cells.roles[end][0])
            for name, owner in zip(names, cells.cleaned(cells.roles[f"{end} owner"][0]), strict=True):
                owned.setdefault(name, set()).add(owner)
    shared = [name for name, owners in owned.items() if name and len(owners) > 1]
    if shared:
        message = f"connector {shared[0]} belongs to {' and '.join(sorted(owned[shared[0]])[:4])}"
        message += f"; connectors are named {sorted(owned[shared[0]])[-1]}.{shared[0]}"
        cells.note(message, "give each connector a name of its own, if that is wrong")
    return bool(shared) or "" in owned


def pins_of(cells: Cells) -> tuple[list[Pin], list[Pin]]:
    """Return the two pins of each row; a missing connector or an impossible cavity is a problem."""
    owned = owned_names(cells)
    named = {end: _named(cells, end, owned) for end in ("from", "to")}
    cells.endless |= {
        row for row, ends in enumerate(zip(named["from"][0], named["to"][0], strict=True)) if ends == ("", "")
    }
    starts, finishes = _pins(cells, "from", *named["from"]), _pins(cells, "to", *named["to"])
    for row in sorted(cells.endless):
        lacking = Problem(
            Where(cells.source, cells.table.lines[row]),
            "names no end: a heading, units, a total or a note?",
            "take the row out, or start it with #; of a wire name both ends",
        )
        cells.problems.append(lacking)
    for end in ("from", "to"):
        _note_stand_ins(cells, *named[end])
    _refuse_headers(cells, named["from"][0], named["to"][0])
    if any(_SPAN.fullmatch(cavity) for cavity in set(named["from"][1])):
        _note_spans(cells, starts, finishes)
    return starts, finishes


def _named(cells: Cells, end: str, owned: bool) -> tuple[list[str], list[str]]:
    """Return the connectors of an end, with what they belong to where that tells them apart, and the cavities."""
    connectors, cavities = cells.words(end), cells.words(f"{end} pin")
    if owned and f"{end} owner" in cells.roles:
        owners = cells.words(f"{end} owner")
        connectors = [".".join(filter(None, pair)) for pair in zip(owners, connectors, strict=True)]
    if f"{end} pin" not in cells.roles:
        _note_several(cells, end, connectors)
        connectors, cavities = _split(cells, end, connectors)
    return connectors, cavities


def _pins(cells: Cells, end: str, connectors: Sequence[str], cavities: Sequence[str]) -> list[Pin]:
    known: dict[tuple[str, str], Pin] = {}
    for row, pair in enumerate(zip(connectors, cavities, strict=True)):
        if pair not in known:
            known[pair] = Pin(*pair)
        if not pair[0]:
            cells.problem(row, f"the {end!r} end is empty", "name the connector, splice or loose end")
    own = f"{end} pin" in cells.roles
    cells.parsed(cavities, checked_cavity, f"{end} pin" if own else end, "")
    return [known[pair] for pair in zip(connectors, cavities, strict=True)]


# ---------------------------------------------------------------- joined ends


def _split(cells: Cells, end: str, values: list[str]) -> tuple[list[str], list[str]]:
    """Split ``J4:2`` at its last sign where the column is written so; a name without the colon has no cavity."""
    joined = {value for value in values if value}
    given = dict(cells.table.splits).get(end)
    if given:
        return _parted(values, given)
    for sign in SIGNS:
        parted = {value for value in joined if _halves(value, sign)}
        if joined and parted == joined:
            if sign == ".":
                message = f"column {cells.header(end)}: cavities split off at the last point"
                cells.note(message, "write J4:2, or give cavities their own column, if that is wrong")
            return _parted(values, sign)
        if parted and sign == ":":
            whole, others = _is_usual(cells, sign), sorted(joined - parted)
            if whole:
                message = f"column {cells.header(end)}: taken without a cavity, having no colon: {some(others)}"
                cells.note(message, "write connector:cavity where these have one")
                return _parted(values, sign)
            message = f"column {cells.header(end)}: {len(parted)} of {len(joined)} names have a colon; none was split"
            cells.note(message, "write every end as connector:cavity, or give cavities their own column")
            return values, [""] * len(values)
    _note_other_signs(cells, end, joined)
    return values, [""] * len(values)


def _halves(value: str, sign: str) -> tuple[str, str] | None:
    left, _, right = value.rpartition(sign)
    return (left.strip(), right.strip()) if left.strip() and right.strip() else None


def _parted(values: Sequence[str], sign: str) -> tuple[list[str], list[str]]:
    both = {value: _halves(value, sign) or (value, "") for value in set(values)}
    return [both[value][0] for value in values], [both[value][1] for value in values]


def _is_usual(cells: Cells, sign: str) -> bool:
    """Whether so many names of both ends have the sign that it parts connector and cavity."""
    ends = [end for end in ("from", "to") if f"{end} pin" not in cells.roles]
    names = {name for end in ends for name in cells.words(end) if name}
    return sum(_halves(name, sign) is not None for name in names) >= SPLIT_SHARE * len(names)


def _note_other_signs(cells: Cells, end: str, joined: set[str]) -> None:
    """Say where every name looks like connector and cavity with another sign between: each is a connector now."""
    for sign in OTHER_SIGNS:
        parts = {value: value.rpartition(sign) for value in joined}
        heads = {head for head, _, _ in parts.values()}
        alike = bool(joined) and all(head and _CAVITY.fullmatch(tail) for head, _, tail in parts.values())
        if alike and len(heads) < len(joined):
            message = f"column {cells.header(end)}: each of {some(sorted(joined), 3)} is read as a connector of its own"
            fix = f"if they are connector and cavity, write a colon between, or give split {end} in a column map"
            cells.note(message, f"{fix} (labeler read --draft)")
            return


def _note_several(cells: Cells, end: str, values: Sequence[str]) -> None:
    """Say where an end seems to name several places."""
    several = {value for value in set(values) if _SEVERAL.search(value)}
    for row, value in enumerate(values) if several else ():
        if value in several:
            message = f"column {cells.header(end)}: {value!r} may name several places, and is read as one"
            cells.note(message, "give each wire a row; one that goes on to another place is a wire more", row)


def _note_stand_ins(cells: Cells, connectors: Sequence[str], cavities: Sequence[str]) -> None:
    """Say which connectors are named like a place nobody knows, and which names like a date made of 3-2."""
    for name in dict.fromkeys(connectors):
        if _OPEN.fullmatch(name[:24]):
            message = f"{name!r} is read as a connector of that name, one for all wires that end there"
            fix = "name the place; of wires that end nowhere give each its own, of kind loose end"
            cells.note(message, fix, connectors.index(name))
    for names in (connectors, cavities):
        for name in dict.fromkeys(names):
            if _DATE.fullmatch(name[:24]):
                message = f"{name!r} may be a date that a spreadsheet made from something like 3-2; read as a name"
                fix = "format the column as text there, write what was meant, and export it again"
                cells.note(message, fix, names.index(name))


def _refuse_headers(cells: Cells, starts: Sequence[str], finishes: Sequence[str]) -> None:
    """Refuse rows that are a header again, of another table below: its columns may mean something else."""
    ends = {name for name in {*starts, *finishes} if name.casefold() in HEADER_WORDS}
    for row, (start, finish) in enumerate(zip(starts, finishes, strict=True)) if ends else ():
        if start in ends and finish in ends and start != finish:
            message = f"names {start!r} and {finish!r} for ends, as the header of another table would"
            cells.problem(row, message, "give each table a file or a sheet of its own, or take the row out")


def _note_spans(cells: Cells, starts: Sequence[Pin], finishes: Sequence[Pin]) -> None:
    """Say where a row seems to stand for several wires: ``J1:1-4`` to ``J2:1-4``."""
    for row, (start, finish) in enumerate(zip(starts, finishes, strict=True)):
        spans = [_SPAN.fullmatch(pin.cavity[:24]) for pin in (start, finish)]
        if all(spans):
            counts = {int(span[2]) - int(span[1]) for span in spans if span}
            if len(counts) == 1 and min(counts) > 0:
                message = f"{start} to {finish} may stand for {min(counts) + 1} wires, and is read as one"
                cells.note(message, "give each wire a row", row)
