"""What a harness CAD export says, whatever its form: `kbl` and `vec` fill it, `assemble` makes a `Harness` of it.

Things are known by the ``id`` of their element (``key``), since the names people read need not be unique.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import isfinite

from labeler.errors import Problem, Where
from labeler.model import NOWHERE
from labeler.read.account import some
from labeler.read.xml import Document, Element

SI_PREFIX = {"": 1.0, "micro": 1e-6, "milli": 1e-3, "centi": 1e-2, "deci": 1e-1, "kilo": 1e3}
PREFERRED_LENGTHS = ("production", "contract", "drawing", "calculated", "dmu")  # words of a length's type, best first


@dataclass(frozen=True, slots=True)
class Place:
    """A connector, splice or terminal, with the three names it may have."""

    key: str
    id: str
    alias: str = ""
    description: str = ""
    kind: str = "connector"  # as in `Connector`
    cavities: tuple[str, ...] = ()
    node: str = ""  # key
    label: str = ""
    holders: frozenset[str] = frozenset()  # keys that stand for it in a variant
    where: Where = NOWHERE


@dataclass(frozen=True, slots=True)
class Route:
    """The segments a conductor runs through, by key, from its first end."""

    key: str
    segments: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Conductor:
    """A wire or core with its two ends: place key and cavity."""

    key: str
    id: str
    ends: tuple[tuple[str, str], tuple[str, str]]
    cable: str = ""  # key
    size: str = ""
    outside_mm: float | None = None
    colour: str = ""
    signal: str = ""
    length_mm: float | None = None
    routes: tuple[Route, ...] = ()
    label: str = ""
    continuous: bool = False  # the label stands along the wire
    holders: tuple[frozenset[str], ...] = ()  # sets of keys that stand for it in a variant: the first listed counts
    where: Where = NOWHERE


@dataclass(frozen=True, slots=True)
class Jacket:
    """A cable with cores."""

    key: str
    id: str
    outside_mm: float | None = None
    where: Where = NOWHERE


@dataclass(frozen=True, slots=True)
class Segment:
    """A limb between two nodes (keys)."""

    key: str
    id: str
    alias: str
    start: str
    end: str
    length_mm: float | None = None
    area_mm2: float | None = None
    area_kind: str = ""  # calculated | reserved | measured
    where: Where = NOWHERE


@dataclass(frozen=True, slots=True)
class Thing:
    """What lies or sits on a segment and has no place in a harness: tube, tape, clip."""

    key: str
    what: str  # for people: "corrugated pipe TUBE1, 8.3/13.4 mm"
    segment: str
    from_mm: float | None = None
    to_mm: float | None = None
    is_clip: bool = False
    words: tuple[str, ...] = ()  # what the file calls it: number, kind, type, description


@dataclass(frozen=True, slots=True)
class Variant:
    """A module, configuration or option: its names, and the keys it lists or constrains."""

    names: tuple[str, ...]
    members: frozenset[str]
    constraint: bool = False  # members are in no other configuration; all else is in every one


@dataclass(frozen=True, slots=True)
class Export:
    """A whole export."""

    form: str
    version: str
    name: str
    part_number: str = ""
    revision: str = ""
    places: tuple[Place, ...] = ()
    conductors: tuple[Conductor, ...] = ()
    jackets: tuple[Jacket, ...] = ()
    segments: tuple[Segment, ...] = ()
    things: tuple[Thing, ...] = ()
    variants: tuple[Variant, ...] = ()
    nodes: int = 0
    wires: int = 0  # single wires in the file, connected or not
    cores: int = 0
    spare: tuple[str, ...] = ()  # wires and cores that no connection uses
    became: tuple[tuple[str, str], ...] = ()
    notes: tuple[Problem, ...] = ()
    left: tuple[str, ...] = ()


class Notes:
    """Warnings on the way, each kind once with the things it is about."""

    def __init__(self) -> None:
        self.found: dict[tuple[str, str], tuple[Where, list[str]]] = {}

    def add(self, message: str, fix: str, where: Where, name: str) -> None:
        """Note one thing; the first place of its kind is kept."""
        _, names = self.found.setdefault((message, fix), (where, []))
        if name not in names[:20]:
            names.append(name)

    def problems(self) -> tuple[Problem, ...]:
        """Return a warning for each kind."""
        return tuple(
            Problem(where, f"{message}: {some(names)}", fix, warning=True)
            for (message, fix), (where, names) in self.found.items()
        )


@dataclass(slots=True)
class Links:
    """The ids of a document, followed with a check of what they point at."""

    document: Document
    notes: Notes = field(default_factory=Notes)

    def get(self, key: str, *tags: str, of: Element | None = None) -> Element | None:
        """Return the element of an id if its name is one of ``tags``; else note it and return None."""
        if not key:
            return None
        found = self.document.ids.get(key)
        if found is not None and (not tags or found.tag in tags):
            return found
        where = self.where(of) if of is not None else Where(self.document.source)
        if found is None:
            message = "references that point at nothing and are passed over"
        else:
            message = f"references that should point at {' or '.join(tags)} and do not"
        self.notes.add(message, "export it again, with everything it refers to", where, key)
        return None

    def where(self, element: Element) -> Where:
        """Return the place of an element."""
        return Where(self.document.source, element.line)


def measure(text: str) -> float | None:
    """Return the number in a text of an export, None where there is none or it is not finite."""
    try:
        found = float(text.replace(",", ".")) if text else None
    except ValueError:
        return None
    return found if found is not None and isfinite(found) else None


def above_zero(value: float | None) -> float | None:
    """Return a measure that can be one: 0 is how a missing one is often written."""
    return value if value is not None and value > 0 else None


def best_length(given: list[tuple[str, float | None]]) -> float | None:
    """Return the length to use of several (type, mm): made before drawn before computed; 0 is missing.

    What is called a supplement is never taken.
    """
    known = [(kind.casefold(), mm) for kind, mm in given if above_zero(mm) and "supplement" not in kind.casefold()]
    for word in PREFERRED_LENGTHS:
        for kind, mm in known:
            if word in kind:
                return mm
    return known[0][1] if known else None


def unique_doubles(document: Document, notes: Notes) -> None:
    """Note ids that stand more than once: the first one counts."""
    for element in document.doubles:
        notes.add(
            "ids that stand more than once; the first counts", "export it again", document.where(element), element.key
        )
