"""What the circuits of a list are called: by a column of ids, by cable and core, or by the row."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

from labeler.catalogue import load_catalogue
from labeler.errors import LabelerError
from labeler.read.account import some
from labeler.read.cells import Cells
from labeler.read.headers import RANKS

WIRE_ALONE = ("wire", "leitung", "draht")  # a header that may mean the circuit or its insulation


def tell_wire_from_id(cells: Cells) -> None:
    """A column called Wire alone names the circuits, or their insulation: its values tell.

    Insulation it is where every value is a kind of wire that the tables know, or where values
    repeat while another column names the circuits, each once.
    """
    plain = [heading.plain for heading in cells.table.columns.headings]
    column = next((index for index, name in enumerate(plain) if name in WIRE_ALONE), None)
    if column is None or "wire" in cells.roles:
        return
    kinds = set(filter(None, cells.cleaned(column)))
    known = bool(kinds) and all(map(_is_kind_of_wire, kinds))
    if cells.roles.get("id") != (column,):
        if known and column not in chain(*cells.roles.values()):
            cells.roles["wire"] = (column,)
        return
    others = [index for index, name in enumerate(plain) if ("id", name) in RANKS and index != column]
    named = min(others, key=lambda index: RANKS["id", plain[index]], default=None)
    each_once = named is not None and len(set(filter(None, cells.cleaned(named)))) == cells.rows
    if known or (each_once and len(kinds) < cells.rows):
        cells.roles["wire"] = (column,)
        del cells.roles["id"]
        if named is not None:
            cells.roles["id"] = (named,)


def ids_of(cells: Cells) -> list[str]:
    """Return the circuits' ids; where they are missing, running numbers that are not taken."""
    ids = cells.words("id")
    cable = cells.roles.get("cable", ())
    if "id" not in cells.roles and len(cable) == 1:
        named = cells.cleaned(cable[0])
        if all(named) and len(set(named)) == len(named):
            cells.used.discard(cable[0])
            cells.roles["id"] = cells.roles.pop("cable")
            ids = cells.words("id")
    ids = _lone_cores(cells, _cores(cells, ids))
    missing = sum(not value for row, value in enumerate(ids) if row not in cells.endless)
    if not missing:
        return ids
    message = "no column names the circuits"
    if missing < len(ids):
        message = f"{missing} circuits have no id"
        lines = [cells.table.lines[row] for row, value in enumerate(ids) if not value and row not in cells.endless]
        message += f" (lines {some(lines)})"
    message += "; they are numbered by row, and a row that is added changes the numbers below it"
    cells.note(message, "add a column Wire ID with the ids on the drawing")
    return _numbered(ids)


def _cores(cells: Cells, ids: list[str]) -> list[str]:
    """Name the circuits without an id by cable and core, where the list has both: ``K1.2``."""
    if all(ids) or not {"cable", "core"} <= cells.roles.keys():
        return ids
    cables, cores = cells.words("cable"), cells.words("core")
    named = [
        id or (f"{cable}.{core}" if cable and core else "") for id, cable, core in zip(ids, cables, cores, strict=True)
    ]
    made = sum(a != b for a, b in zip(ids, named, strict=True))
    if made:
        message = f"{made} circuits have no id; they are named by cable and core"
        cells.note(message, "add a column Wire ID with the ids on the drawing")
    return named


def _lone_cores(cells: Cells, ids: list[str]) -> list[str]:
    """Name the circuits by a column of cores where there is no cable and each core stands once: ``Adernummer``."""
    column = cells.roles.get("core", ())
    if any(ids) or "cable" in cells.roles or len(column) != 1:
        return ids
    named = cells.cleaned(column[0])
    if not all(named) or len(set(named)) < len(named):
        return ids
    cells.roles["id"] = cells.roles.pop("core")
    return cells.words("id")


def _is_kind_of_wire(name: str) -> bool:
    try:
        load_catalogue().wire_kind(name)
    except LabelerError:
        return False
    return True


def _numbered(ids: Sequence[str]) -> list[str]:
    """Fill the gaps with the row's number among the circuits, or the next one not taken."""
    taken = {value.casefold() for value in ids if value}
    filled = []
    for row, value in enumerate(ids, 1):
        number = row
        while not value and str(number) in taken:
            number += len(ids)
        taken.add(str(number))
        filled.append(value or str(number))
    return filled
