"""What people call a marker, and how well a name that was typed or scanned matches it.

A name matches an id, a place, a circuit, a branch or a connector only as a whole, and of a text whole
words that follow one another: "W5" is no name for what says "W501". Capitals and blanks around or
between the words do not matter. A wire's end is also called by circuit and connector, "W7 S1": at a
splice or ring, where it has no cavity, "S1" alone is the sleeve on the branch. The kind of a marker may stand before
its place: "tag J1", where a connector and its bag share a name.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

WHOLE, GROUP, PART, NOT = 0, 1, 2, 3
"""A marker's own name or its circuit's; the branch or connector it belongs to; words of its text; nothing."""


@dataclass(frozen=True, slots=True)
class Names:
    """All that a marker can be called by."""

    id: str
    place: str
    branch: str = ""
    circuit: str = ""
    text: str = ""
    kind: str = ""  # sleeve, tag …: may stand before a place, "tag J1"

    def printed(self) -> tuple[str, ...]:
        """Return the names in the words that are printed, a place also with its branch: those to suggest from.

        >>> Names("W9X0GRQG", "J1", "B1").printed()
        ('W9X0GRQG', 'J1', 'B1', 'B1 J1')
        """
        whole = f"{self.branch} {self.place}" if self.branch and self.place else ""
        names = (self.id, self.place, self.branch, self.circuit, self.text, whole)
        return tuple(name for name in names if name.strip())


def normalised(name: str) -> str:
    """Return a name as names are compared.

    >>> normalised("  B4   J4 ")
    'b4 j4'
    """
    return " ".join(name.casefold().split())


def match_rank(names: Names, name: str) -> int:
    """Return how a normalised name matches a marker: the lower the nearer, `NOT` for not at all.

    >>> match_rank(Names("W9X0GRQG", "J1", "B1"), "b1 j1"), match_rank(Names("W9X0GRQG", "J1", "B1"), "0gr")
    (0, 3)
    >>> tag, sleeve = Names("K", "J1", kind="tag"), Names("S", "J1", "B1", kind="sleeve")
    >>> match_rank(tag, "tag j1"), match_rank(sleeve, "tag j1")
    (0, 3)
    """
    if not name:
        return NOT
    if names.kind and name.startswith(f"{names.kind} "):
        nearest = match_rank(replace(names, kind=""), name.removeprefix(f"{names.kind} "))
        if nearest < PART:
            return nearest
    at, branch, circuit = normalised(names.place), normalised(names.branch), normalised(names.circuit)
    connector, cavity = at.rpartition(":")[0] or at, ":" in at
    places = {at, f"{branch} {at}" if branch else at}
    if name in (normalised(names.id), circuit) or (name in places and (cavity or not circuit)):
        return WHOLE
    if circuit and name in (f"{circuit} {at}", f"{circuit} {connector}"):
        return WHOLE
    if name in places or name in (branch, connector):
        return GROUP
    return PART if has_words(normalised(names.text), name) else NOT


def has_words(text: str, part: str) -> bool:
    """Return whether a part stands in a text and neither end of it lies inside a word or a number.

    >>> has_words("water probe j4", "probe j4"), has_words("1 w501 to p1", "w5"), has_words("p1:1/j4", "j4")
    (True, False, True)
    """
    start = text.find(part)
    while start >= 0:
        end = start + len(part)
        inside = part[0].isalnum() and text[start - 1 : start].isalnum()
        if not inside and not (part[-1].isalnum() and text[end : end + 1].isalnum()):
            return True
        start = text.find(part, start + 1)
    return False
