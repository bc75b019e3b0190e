"""What was asked of a reader, and what it understood: said before anything is planned."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse
from labeler.model import Harness, Settings
from labeler.tables.catalogue import Catalogue
from labeler.tables.colours import translated

NAMES = ("id", "alias", "description")  # which of a CAD export's names is printed


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a user may choose where a file leaves it open; every field has a command line option."""

    worksheet: str = ""  # of a workbook
    harness: str = ""  # of an export with several
    variants: tuple[str, ...] = ()  # modules, configurations, option codes, variant columns
    connector_names: str = "id"  # one of NAMES
    use_label_texts: bool = False  # texts that the designer wrote for labels become markers
    colour_code: str = ""  # table to translate colours with
    diameter_from: str = "wires"  # a branch's diameter: from its wires, or from the area its segment gives
    column_map: Path | None = None
    name: str = ""  # of the harness, of a list or an export; "": as the file says, or is called
    part_number: str = ""
    revision: str = ""

    @property
    def title(self) -> dict[str, Any]:
        """What the harness is called, as far as it was given."""
        given = {"name": self.name, "part_number": self.part_number, "revision": self.revision}
        return {what: said for what, said in given.items() if said}


AS_IT_STANDS = Wanted()


@dataclass(frozen=True, slots=True)
class Given:
    """A list or an export on its way to a harness: its bytes, what it is called, and what it is read with."""

    data: bytes
    source: str  # as places name it
    name: str  # of the harness, where the file has none
    settings: Settings
    catalogue: Catalogue
    wanted: Wanted = AS_IT_STANDS
    sheet: str = ""  # of a workbook


@dataclass(frozen=True, slots=True)
class Account:
    """What was understood of a file: its form, what was counted, what became what, what was left."""

    form: str  # for people: "KBL 2.4 SR-1"
    version: str = ""
    counts: Mapping[str, int] = field(default_factory=dict)
    mapped: tuple[tuple[str, str | None], ...] = ()  # column or element → what it is in the harness, None: not known
    not_imported: tuple[str, ...] = ()  # what has no place in a harness or was passed over, and why
    variants: tuple[str, ...] = ()  # that may be chosen
    names: tuple[tuple[str, str, str], ...] = ()  # id, alias, description of each connector
    details: Mapping[str, Any] = field(default_factory=dict)  # for programs: segments, routes, protections


@dataclass(frozen=True, slots=True)
class Read:
    """A harness with the account of how it was read; ``problems`` stop all further work."""

    harness: Harness
    account: Account
    problems: tuple[Problem, ...] = ()

    def checked(self) -> Harness:
        """Return the harness; raises LabelerError with every problem."""
        if self.problems:
            raise LabelerError(*self.problems)
        return self.harness


OPTIONS = {
    "worksheet": "--worksheet",
    "harness": "--harness",
    "variants": "--variant",
    "connector_names": "--connector-names",
    "use_label_texts": "--use-label-texts",
    "diameter_from": "--diameter-from",
    "column_map": "--column-map",
    "name": "--name",
    "part_number": "--part-number",
    "revision": "--revision",
}
TITLE = ("name", "part_number", "revision")
APPLIES = {  # which choices a form of file leaves open
    "list": ("variants", "column_map", *TITLE),
    "workbook": ("worksheet", "variants", "column_map", *TITLE),
    "export": ("harness", "variants", "connector_names", "use_label_texts", "diameter_from", *TITLE),
    "harness file": (),
}


def refuse_unused(wanted: Wanted, form: str, source: str) -> None:
    """Raise WrongUse for every choice that means nothing for this form of file."""
    idle = [
        Problem(SourceLocation(option), f"means nothing for {source}, which is read as a {form}", "leave it out")
        for name, option in OPTIONS.items()
        if name not in APPLIES[form] and getattr(wanted, name) != getattr(AS_IT_STANDS, name)
    ]
    if idle:
        raise WrongUse(*idle)


def recoloured(read: Read, table: str) -> Read:
    """Return the reading with colours translated to IEC 60757; what the table does not have stays, and is said."""
    colours = {circuit.colour for circuit in read.harness.circuits if circuit.colour}
    known = {colour: code for colour in sorted(colours) if (code := translated(colour, table))}
    circuits = tuple(replace(c, colour=known.get(c.colour, c.colour)) for c in read.harness.circuits)
    unknown = sorted(colours - known.keys())
    notes = read.harness.notes
    if unknown:
        message = f"colours that are not in the table {table!r} stay as written: {some(unknown)}"
        notes += (Problem(read.harness.where, message, "choose another --colour-code, or correct them", warning=True),)
    became = (*read.account.mapped, *((f"colour {word!r}", code) for word, code in known.items()))
    harness = replace(read.harness, circuits=circuits, notes=notes)
    return replace(read, harness=harness, account=replace(read.account, mapped=became))


def counts_of(harness: Harness) -> dict[str, int]:
    """Return how many of everything a harness has, by the words people use."""
    kinds = Counter(connector.kind for connector in harness.connectors)
    plural = {"splice": "splices", "ring terminal": "ring terminals", "unterminated end": "unterminated ends"}
    cables = {circuit.cable for circuit in harness.circuits if circuit.cable}
    return {
        "connectors": sum(count for kind, count in kinds.items() if kind not in (*plural, "breakout")),
        **{plural[kind]: count for kind, count in kinds.items() if kind in plural},
        "circuits": len(harness.circuits),
        "cables": len(cables | {cable.id for cable in harness.cables}),
        "cores": sum(bool(circuit.cable) for circuit in harness.circuits),
        "branches": len(harness.branches),
        "bags": len(harness.bags),
    }


def some(names: Iterable[object], most: int = 8) -> str:
    """Return the first names, and how many more there are: ``W1, W2 and 7 more``."""
    given = [str(name) for name in names]
    shown = ", ".join(given[:most])
    return shown if len(given) <= most else f"{shown} and {len(given) - most} more"
