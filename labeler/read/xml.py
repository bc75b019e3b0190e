"""XML that strangers send → a tree of small elements; what could harm is refused before it is read.

No document types and so no entities, nothing is fetched, and size, depth and number of elements are
limited. Every element knows its line. Names lose their namespace: in these exports only the root has one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.parsers import expat

from labeler.errors import LabelerError, Problem, Where

LARGEST = 32 * 2**20  # bytes; project choice: a whole vehicle's export has a few million
MOST_ELEMENTS = 400_000  # project choice: bounds time and memory; a harness of 200 wires has some 40,000
DEEPEST = 60  # project choice: KBL and VEC nest about ten deep
MISSING = frozenset(("", "/NULL", "/ANY", "/Null", "NaN", "nan"))  # how "no value" is written
EXPORT_AGAIN = "export it again"


class Element:
    """One element: its local name, ``id``, local ``xsi:type``, text, children, parent and line."""

    __slots__ = ("children", "key", "kind", "line", "parent", "tag", "text")

    def __init__(self, tag: str, key: str, kind: str, parent: Element | None, line: int) -> None:
        self.tag = tag
        self.key = key
        self.kind = kind
        self.parent = parent
        self.line = line
        self.text = ""
        self.children: list[Element] = []

    def all(self, tag: str) -> list[Element]:
        """Return the children of a name."""
        return [child for child in self.children if child.tag == tag]

    def first(self, tag: str) -> Element | None:
        """Return the first child of a name."""
        for child in self.children:
            if child.tag == tag:
                return child
        return None

    def said(self, *tags: str) -> str:
        """Return the first text that is a value among children of these names, ``""`` where none is."""
        for tag in tags:
            for child in self.children:
                if child.tag == tag and child.text not in MISSING:
                    return " ".join(child.text.split())
        return ""

    def refs(self, tag: str) -> list[str]:
        """Return the ids that children of a name point at, in order."""
        return [
            key for child in self.children if child.tag == tag and child.text != "/NULL" for key in child.text.split()
        ]

    def walk(self) -> Iterator[Element]:
        """Yield this element and all below it, in document order."""
        waiting = [self]
        while waiting:
            element = waiting.pop()
            yield element
            waiting.extend(reversed(element.children))


@dataclass(frozen=True, slots=True)
class Document:
    """A parsed file: its root, the elements by ``id``, and the ids that stand more than once."""

    source: str
    root: Element
    namespace: str
    attributes: dict[str, str]  # of the root
    ids: dict[str, Element]
    doubles: tuple[Element, ...]

    def where(self, element: Element) -> Where:
        """Return the place of an element."""
        return Where(self.source, element.line)


def parse(data: bytes, source: str) -> Document:
    """Return the tree of an XML file.

    Raises LabelerError for what is not well-formed, too large, too deep, or has a document type.
    """
    if len(data) > LARGEST:
        message = f"has {len(data) / 2**20:.0f} MB, the limit is {LARGEST // 2**20} MB"
        raise LabelerError(Problem(Where(source), message, "export one harness alone"))
    builder = _Builder(source)
    try:
        builder.parser.Parse(data, True)
    except expat.ExpatError as error:
        message = f"no XML: {expat.errors.messages[error.code]} at column {error.offset + 1}"
        raise LabelerError(Problem(Where(source, error.lineno), message, EXPORT_AGAIN)) from None
    except (ValueError, LookupError) as error:
        message = f"no XML: its encoding cannot be read ({' '.join(str(error).split())[:80]})"
        raise LabelerError(Problem(Where(source, 1), message, f"{EXPORT_AGAIN}, as UTF-8")) from None
    if builder.root is None:
        raise LabelerError(Problem(Where(source), "no XML: no element", EXPORT_AGAIN))
    root = builder.root
    return Document(source, root, builder.namespace, builder.attributes, builder.ids, tuple(builder.doubles))


class _Builder:
    """Builds the tree while expat reads."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.root: Element | None = None
        self.namespace = ""
        self.attributes: dict[str, str] = {}
        self.ids: dict[str, Element] = {}
        self.doubles: list[Element] = []
        self.open: list[Element] = []
        self.chunks: list[str] = []
        self.count = 0
        parser = self.parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self.chunks.append
        parser.StartDoctypeDeclHandler = self._doctype
        parser.EntityDeclHandler = self._doctype

    def _refused(self, message: str, fix: str = EXPORT_AGAIN) -> LabelerError:
        return LabelerError(Problem(Where(self.source, self.parser.CurrentLineNumber), message, fix))

    def _doctype(self, *_: object) -> None:
        raise self._refused("declares a document type or entities, which no such export does", "take it out")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        namespace, _, tag = name.rpartition(" ")
        parent = self.open[-1] if self.open else None
        key = attributes.get("id", "")
        kind = attributes.get("http://www.w3.org/2001/XMLSchema-instance type", "")
        element = Element(tag, key, kind.rpartition(":")[2], parent, self.parser.CurrentLineNumber)
        self.count += 1
        if parent is not None:
            parent.children.append(element)
        else:
            self.root, self.namespace, self.attributes = element, namespace, attributes
        if len(self.open) >= DEEPEST:
            raise self._refused(f"elements are nested more than {DEEPEST} deep")
        if self.count > MOST_ELEMENTS:
            raise self._refused(f"has more than {MOST_ELEMENTS:,} elements", "export one harness alone")
        if key and self.ids.setdefault(key, element) is not element:
            self.doubles.append(element)
        self.open.append(element)
        self.chunks.clear()

    def _end(self, _: str) -> None:
        element = self.open.pop()
        if not element.children and self.chunks:
            element.text = "".join(self.chunks).strip()
        self.chunks.clear()
