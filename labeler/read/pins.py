"""A list with one pin a row: which wires there are is not said, so only connectors can be marked.

A net of two pins is a wire, a net of more a splice somewhere; where, and which wires lead there, no
such list knows. Its connectors become branch ends and bags that list pins and what is on them.
"""

from __future__ import annotations

from collections.abc import Sequence

from labeler.errors import Problem, Where, refuse
from labeler.model import Bag, Branch, BranchEnd, Connector, Harness, Item, Settings
from labeler.read.account import Account, Read, counts_of
from labeler.read.cells import NONE
from labeler.read.table import Table

WHY = (
    "one row a pin: which wires there are is not said (a net of two pins is a wire, of more a splice), "
    "so no wire is marked, only connectors"
)
FIX = (
    "write it as a harness file (labeler read -o boat.toml) and measure diameter_mm of each [[branch]] there, "
    "or give a list with one row a wire and its two ends"
)


def read_pins(table: Table, data: bytes, source: str, name: str, settings: Settings) -> Read:
    """Return the connectors of a list of pins, each with its branch end and a bag that lists its pins."""
    connectors, pins = _places(table, name)
    signals, colours = _column(table, "signal", "signal" in _filling(table)), _column(table, "colour")
    rows: dict[str, list[Item]] = {}
    first: dict[str, Where] = {}
    problems = list(table.problems)
    for row, (connector, pin) in enumerate(zip(connectors, pins, strict=True)):
        where = Where(source, table.lines[row])
        if not connector or not pin:
            problems.append(Problem(where, "the row names no pin", "fill it in, or take the row out"))
            continue
        first.setdefault(connector, where)
        words = " ".join(filter(None, (f"pin {pin}", signals[row], colours[row])))
        rows.setdefault(connector, []).append(Item(words))
    if "connector" not in table.columns.roles and len(set(pins)) < len(pins):
        message = "pins stand more than once and no column names the connector"
        fix = "call it Connector, or say which is which in a column map: labeler read --draft writes one"
        problems.append(Problem(Where(source, table.header_line), message, fix))
    refuse(problems)
    found = tuple(Connector(id, where=where) for id, where in first.items())
    note = Problem(Where(source, table.header_line), WHY, FIX, warning=True)
    harness = Harness(
        name=name,
        settings=settings,
        connectors=found,
        branches=tuple(Branch(c.id, ends=(BranchEnd(c.id, (c.id,), where=c.where),), where=c.where) for c in found),
        bags=tuple(Bag(c.id, connector=c.id, contents=tuple(rows[c.id]), where=c.where) for c in found),
        notes=(*table.notes, *_filled(table, source), note),
        where=Where(source),
        text=data,
    )
    became = tuple(
        (f"column {table.columns.headings[indexes[0]].text!r}", role) for role, indexes in table.columns.roles.items()
    )
    counts = {**counts_of(harness), "pins": sum(map(len, rows.values())), "nets": len({s for s in signals if s})}
    return Read(harness, Account("list of pins, one a row", "", counts, became, (*table.passed, WHY)))


def _places(table: Table, name: str) -> tuple[list[str], list[str]]:
    """Return connector and pin of each row; a list without connectors is that of one."""
    roles = table.columns.roles
    connectors = _column(table, "connector", "connector" in _filling(table))
    if "pin" in roles:
        return connectors if "connector" in roles else [name] * len(table.lines), _column(table, "pin")
    parts = [_split(value) for value in connectors]
    return [part[0] for part in parts], [part[1] for part in parts]


def _split(value: str) -> tuple[str, str]:
    """Return connector and pin of ``J4:2`` or ``J4.2``, the pin empty where no sign parts them."""
    for sign in ":.":
        left, _, right = value.rpartition(sign)
        if left.strip() and right.strip():
            return left.strip(), right.strip()
    return value, ""


def _column(table: Table, role: str, fill: bool = False) -> list[str]:
    """Return a role's cells; ``fill``: an empty one means what stands above it, a dash means none."""
    indexes: Sequence[int] = table.columns.roles.get(role, ())
    if not indexes:
        return [""] * len(table.lines)
    cells = [" ".join(cell.split()) for cell in table.values[indexes[0]]]
    if fill:
        above = ""
        for row, cell in enumerate(cells):
            above = cells[row] = cell or above
    return ["" if cell in NONE else cell for cell in cells]


def _filled(table: Table, source: str) -> tuple[Problem, ...]:
    """Say that empty cells were read as what stands above them."""
    for role in _filling(table):
        index = table.columns.roles[role][0]
        gaps = sum(not cell.strip() for cell in table.values[index])
        if gaps:
            message = f"column {table.columns.headings[index].text!r}: empty cells read as the one above: {gaps}"
            return (Problem(Where(source, table.header_line), message, "write a dash where none is meant", True),)
    return ()


def _filling(table: Table) -> tuple[str, ...]:
    """Return the roles whose empty cells mean the one above: a net numbered once, a connector named once."""
    roles = table.columns.roles
    numbered = ("signal",) if {"id", "signal"} <= roles.keys() else ()
    return (*numbered, *(("connector",) if {"connector", "pin"} <= roles.keys() else ()))
