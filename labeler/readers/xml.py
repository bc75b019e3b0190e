"""XML that strangers send → a tree of small elements; what could harm is refused before it is read.

No document types and so no entities, nothing is fetched, and size, depth and number of elements are
limited. Every element knows its line. Names lose their namespace: in these exports only the root has one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import isfinite
from xml.parsers import expat

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.readers.import_report import some

LARGEST = 32 * 2**20  # bytes; project choice: a whole vehicle's export has a few million
MOST_ELEMENTS = 400_000  # project choice: bounds time and memory; a harness of 200 wires has some 40,000
DEEPEST = 60  # project choice: KBL and VEC nest about ten deep
MISSING = frozenset(("", "/NULL", "/ANY", "/Null", "NaN", "nan"))  # how "no value" is written
EXPORT_AGAIN = "export it again"
KIND = "http://www.w3.org/2001/XMLSchema-instance type"


@dataclass(slots=True, eq=False)
class Element:
    """One element: its local name, ``id``, local ``xsi:type`` and line. `NOTHING` stands for one that is missing."""

    tag: str = ""
    key: str = ""
    kind: str = ""
    parent: Element | None = None
    line: int = 0
    text: str = ""
    children: list[Element] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.tag)

    def all(self, *tags: str) -> list[Element]:
        """Return the children of these names."""
        return [child for child in self.children if child.tag in tags]

    def first(self, tag: str) -> Element:
        """Return the first child of a name."""
        return next((child for child in self.children if child.tag == tag), NOTHING)

    def said(self, *tags: str) -> str:
        """Return the first text that is a value among children of these names, ``""`` where none is."""
        for tag in tags:
            for child in self.children:
                if child.tag == tag and child.text not in MISSING:
                    return " ".join(child.text.split())
        return ""

    def refs(self, tag: str) -> list[str]:
        """Return the ids that children of a name point at, in order."""
        return [key for child in self.all(tag) if child.text != "/NULL" for key in child.text.split()]

    def walk(self) -> Iterator[Element]:
        """Yield this element and all below it, in document order."""
        yield self
        for child in self.children:
            yield from child.walk()

    def above(self) -> Iterator[Element]:
        """Yield the elements that it stands in, the nearest first."""
        if self.parent:
            yield self.parent
            yield from self.parent.above()


NOTHING = Element()


class Notes:
    """Warnings on the way, each kind once with the things it is about."""

    def __init__(self) -> None:
        self.found: dict[tuple[str, str], tuple[SourceLocation, list[str]]] = {}

    def add(self, message: str, fix: str, where: SourceLocation, name: str) -> None:
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


class Document:
    """A file as parsed: its root, the elements by ``id``, and the ids that stand more than once.

    References are followed with a check of what they point at; what is odd is noted in ``notes``. ``units`` are
    what the reader of a form knows: by id the mm in one of a unit, and its power.
    """

    def __init__(self, source: str) -> None:
        self.source = source
        self.root = NOTHING
        self.version = ""  # what the root's version_id says
        self.ids: dict[str, Element] = {}
        self.doubles: list[Element] = []
        self.count = 0  # of elements
        self.notes = Notes()
        self.units: dict[str, tuple[float, float]] = {}

    def add(self, element: Element, depth: int) -> None:
        """Put an element below its parent, or at the root, and know it by its id; raises LabelerError for too many."""
        self.count += 1
        if depth > DEEPEST:
            message = f"elements are nested more than {DEEPEST} deep"
            raise LabelerError(Problem(self.where(element), message, EXPORT_AGAIN))
        if self.count > MOST_ELEMENTS:
            message = f"has more than {MOST_ELEMENTS:,} elements"
            raise LabelerError(Problem(self.where(element), message, "export one harness alone"))
        if element.parent:
            element.parent.children.append(element)
        else:
            self.root = element
        if element.key and self.ids.setdefault(element.key, element) is not element:
            self.doubles.append(element)

    def where(self, element: Element) -> SourceLocation:
        """Return the place of an element, the file alone of `NOTHING`."""
        return SourceLocation(self.source, element.line)

    def note(self, message: str, fix: str, element: Element, name: str) -> None:
        """Note something odd about an element."""
        self.notes.add(message, fix, self.where(element), name)

    def note_doubles(self) -> None:
        """Note ids that stand more than once: the first one counts."""
        for element in self.doubles:
            self.note("ids that stand more than once; the first counts", EXPORT_AGAIN, element, element.key)

    def get(self, key: str, *tags: str, of: Element) -> Element:
        """Return the element of an id if its name is one of ``tags``; else `NOTHING`, and it is noted."""
        found = self.ids.get(key, NOTHING)
        if not key or (found and (not tags or found.tag in tags)):
            return found
        message = "references that point at nothing and are passed over"
        if found:
            message = f"references that should point at {' or '.join(tags)} and do not"
        self.note(message, f"{EXPORT_AGAIN}, with everything it refers to", of, key)
        return NOTHING

    def one(self, of: Element, tag: str, *tags: str) -> Element:
        """Return what the child ``tag`` of an element points at, as `get` does."""
        return self.get(of.said(tag), *tags, of=of)

    def several(self, of: Element, tag: str, *tags: str) -> list[Element]:
        """Return all that the children ``tag`` of an element point at and that `get` finds."""
        return [found for key in of.refs(tag) if (found := self.get(key, *tags, of=of))]

    def loose(self, of: Element, tag: str) -> Element:
        """Return what the child ``tag`` of an element points at, whatever it is; nothing is noted."""
        return self.ids.get(of.said(tag), NOTHING)

    def amount(self, value: Element, power: float = 1.0) -> float | None:
        """Return a value in mm, or in mm2 for ``power`` 2, None where it is missing or in another unit."""
        number, unit = measure(value.said("ValueComponent", "Value_component")), value.said(*UNIT)
        if number is None:
            return None
        one, own = self.units.get(unit, (0.0, power))
        if one and own == power:
            return number * one * (one if power == 2 else 1)
        message = f"values whose unit is not one of {'area' if power == 2 else 'length'} and that are passed over"
        self.note(message, "export it with the units", value, unit)
        return None


UNIT = ("UnitComponent", "Unit_component")


def measure(text: str) -> float | None:
    """Return the number in a text of an export, None where there is none or it is not finite."""
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        return None
    return found if isfinite(found) else None


def parse(data: bytes, source: str) -> Document:
    """Return the tree of an XML file.

    Raises LabelerError for what is not well-formed, too large, too deep, or has a document type.
    """
    if len(data) > LARGEST:
        message = f"has {len(data) / 2**20:.0f} MB, the limit is {LARGEST // 2**20} MB"
        raise LabelerError(Problem(SourceLocation(source), message, "export one harness alone"))
    document = Document(source)
    try:
        _parser(document).Parse(data, True)
    except expat.ExpatError as error:
        message = f"no XML: {expat.errors.messages[error.code]} at column {error.offset + 1}"
        raise LabelerError(Problem(SourceLocation(source, error.lineno), message, EXPORT_AGAIN)) from None
    except (ValueError, LookupError) as error:
        message = f"no XML: its encoding cannot be read ({' '.join(str(error).split())[:80]})"
        raise LabelerError(Problem(SourceLocation(source, 1), message, f"{EXPORT_AGAIN}, as UTF-8")) from None
    return document


def _parser(document: Document) -> expat.XMLParserType:
    """Return a parser that fills a document while it reads."""
    parser = expat.ParserCreate(namespace_separator=" ")
    opened = [NOTHING]
    chunks: list[str] = []

    def doctype(*_: object) -> None:
        message = "declares a document type or entities, which no such export does"
        raise LabelerError(Problem(SourceLocation(document.source, parser.CurrentLineNumber), message, "take it out"))

    def start(name: str, attributes: dict[str, str]) -> None:
        key, kind = attributes.get("id", ""), attributes.get(KIND, "").rpartition(":")[2]
        element = Element(name.rpartition(" ")[2], key, kind, opened[-1], parser.CurrentLineNumber)
        document.add(element, len(opened))
        if not element.parent:
            document.version = attributes.get("version_id", "")
        opened.append(element)
        chunks.clear()

    def end(_: str) -> None:
        element = opened.pop()
        if not element.children and chunks:
            element.text = "".join(chunks).strip()
        chunks.clear()

    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = start, end
    parser.CharacterDataHandler = chunks.append
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = doctype
    return parser
