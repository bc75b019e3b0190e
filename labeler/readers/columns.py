"""What the columns of a wire list are, told from its header row in English or German.

A header is folded to plain words first (``Leitungs-Nr.`` → ``leitungs nr``); what stood in brackets
is kept as its unit or, where it is ``From`` or ``To``, as the end it belongs to. Columns of an end
are two-part: a word for the end and a word for the thing (``From Pin``, ``comp_des_1``, ``Stecker-A``).
Where one name stands twice (``von, Pin, nach, Pin``), its place decides which end it belongs to.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

LOOKED_FOR = "From and To, von and nach, Source and Destination, Connector 1 and Connector 2"

# One role per row; of two columns for one role the name that stands first here is taken.
ROLES = {
    "id": (
        "wire id|wire number|wirenumber|wire no|wire nr|wire name|wire label|wire mark|wire marker|wire designation"
        "|leitungs nr|leitungsnr|leitungsnummer|leitung nr|ltg nr|ltgnr|leitungsname|leitungsbezeichnung"
        "|leitungskennzeichen|leitungskennzeichnung|draht nr|drahtnr|drahtnummer|drahtbezeichnung|drahtkennzeichnung"
        "|aderkennzeichnung|aderbezeichnung|circuit id|circuit number|circuit no|circuit name"
        "|connection id|connection no|connection number|verbindungs nr|verbindungsnummer"
        "|circuit|wire|leitung|draht|stromkreis|kennzeichnung|kennzeichen|nr|no|number|id|lfd nr"
    ),
    "size": "wire gauge|gauge|wire size|size|cross section|wire cross section|csa|querschnitt|quer"
    "|leitungsquerschnitt|wire dm|dm|section",
    "colour": "wire color|wire colour|color|colour|farbe|leitungsfarbe|aderfarbe|core color|core colour",
    "signal": "signal|signal name|signalname|net name|netname|net|netz|netzname|potential|pot|function|funktion",
    "length": "cut length|schnittlaenge|wire length|length|laenge|leitungslaenge",
    "length unit": "length unit|unit|units|einheit",
    "cable": "cable id|cable|cable no|cable nr|cable number|cable des|kabel|kabel nr|kabelnr|kabelnummer",
    "od": "wire od|od|outside diameter|outer diameter|wire diameter|wire outside|diameter"
    "|aussendurchmesser|durchmesser|leitungsdurchmesser|aussen",
    "cable od": "cable od|cable outside diameter|cable diameter|kabeldurchmesser",
    "wire type": "insulation|wire insulation|insulation type|isolation|isolierung|wire type|leitungstyp",
    "core": "core|core id|core no|core nr|core number|core name|conductor|conductor id|conductor no|ader"
    "|ader nr|adernr|adernummer",
    "variant": "option|options|variant|variants|variante|varianten|ausstattung",
}
RANKS = {(role, phrase): rank for role, text in ROLES.items() for rank, phrase in enumerate(text.split("|"))}
MEASURED = ("length", "od", "cable od")  # roles whose header may end in a unit

UNITS = {
    **dict.fromkeys(("mm", "millimeter", "millimetre"), "mm"),
    "cm": "cm",
    **dict.fromkeys(("m", "meter", "metre"), "m"),
    **dict.fromkeys(("in", "inch", "inches", "zoll", '"'), "in"),
    **dict.fromkeys(("ft", "feet"), "ft"),
    "awg": "AWG",
    **dict.fromkeys(("mm2", "qmm", "sqmm"), "mm2"),
}
# End words by strength: where a header has a strong one, a weaker word in it names the thing.
# Words of one family belong together: a lone ``source`` beside ``endpoint_a, endpoint_b`` is no end.
STRONG = {
    **dict.fromkeys(("from", "von"), ("from", "from to")),
    **dict.fromkeys(("to", "nach"), ("to", "from to")),
    **dict.fromkeys(("source", "src", "quelle"), ("from", "source target")),
    **dict.fromkeys(("destination", "dest", "dst", "target", "ziel"), ("to", "source target")),
}
NUMBERED = {"a": ("from", "a b"), "b": ("to", "a b"), "1": ("from", "1 2"), "2": ("to", "1 2")}
WEAK = {
    **dict.fromkeys(("start", "begin", "anfang"), ("from", "start end")),
    **dict.fromkeys(("end", "ende", "finish"), ("to", "start end")),
    **dict.fromkeys(("left", "links"), ("from", "left right")),
    **dict.fromkeys(("right", "rechts"), ("to", "left right")),
}
BARE = ("start", "begin", "anfang", "end", "ende", "finish")  # weak words that need no second word
PINS = {
    **dict.fromkeys(("pin", "pins"), 0),
    **dict.fromkeys(("cavity", "cav", "kammer", "way"), 1),
    **dict.fromkeys(("position", "pos"), 2),
    "port": 3,
    **dict.fromkeys(("terminal", "klemme"), 4),
    **dict.fromkeys(("contact", "kontakt"), 5),
}
CONNECTORS = {
    **dict.fromkeys(("connector", "conn", "plug", "stecker", "steckverbinder"), 0),
    **dict.fromkeys(("ref", "refdes", "designator", "endpoint", "endpunkt", "termination", "node"), 2),
    **dict.fromkeys(("component", "comp", "device", "bauteil", "geraet", "bmk", "end", "ende", "side"), 3),
    "seite": 3,
    **dict.fromkeys(("project", "projekt", "board", "module", "modul", "assembly", "baugruppe", "subsystem", "box"), 5),
}
PIN_SIGNALS = ("usage", "use", "verwendung", "belegung", "description", "beschreibung", "assignment")
OWNERS = (3, 5)  # ranks of words for what a connector belongs to
FILLERS = ("id", "des", "name", "no", "nr", "number")


@dataclass(frozen=True, slots=True)
class Heading:
    """One header: as written, as plain words, and the unit it names (``mm``, ``in``, ``AWG`` … or ``""``)."""

    text: str
    words: tuple[str, ...]
    unit: str = ""

    @property
    def plain(self) -> str:
        """The words as one text."""
        return " ".join(self.words)


@lru_cache(maxsize=4096)
def heading(text: str) -> Heading:
    """Return a header folded to words, with the unit from its brackets or among its words."""
    folded = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).casefold()
    for sign, plain in (("ä", "ae"), ("ö", "oe"), ("ü", "ue"), ("mm²", "mm2"), ("mm^2", "mm2"), ("sq mm", "mm2")):
        folded = folded.replace(sign, plain)
    brackets = [found.strip(" .") for found in re.findall(r"[(\[]([^)\]]*)[)\]]", folded)]
    words = re.findall(r"mm2|[^\W\d_]+|\d+", re.sub(r"[(\[][^)\]]*[)\]]", " ", folded))
    words += [found for found in brackets if found in STRONG or found in NUMBERED]
    sizes = [UNITS[found] for found in words if UNITS.get(found) in ("AWG", "mm2")]
    words = [found for found in words if UNITS.get(found) not in ("AWG", "mm2")]
    if not words:
        words = ["size"] if sizes else ["nr"] if "#" in text else []
    last = UNITS.get(words[-1]) if len(words) > 1 else None  # of a measured column: length m, outside_mm
    if last and any((role, " ".join(words[:-1])) in RANKS for role in MEASURED):
        return Heading(text.strip(), tuple(words[:-1]), last)
    return Heading(text.strip(), tuple(words), next((UNITS[b] for b in brackets if b in UNITS), (*sizes, "")[0]))


@dataclass(frozen=True, slots=True)
class Columns:
    """Which columns hold what: role → column numbers (several: named alike), and the headers.

    Roles: those of `ROLES`, and ``from``, ``from cavity``, ``to``, ``to cavity``; ``from device`` and ``to device``
    are what the connectors belong to, where both are named. A list of cavities has ``connector`` and ``cavity``.
    """

    headings: tuple[Heading, ...]
    roles: dict[str, tuple[int, ...]]

    @property
    def score(self) -> int:
        """How many roles the row names; a header row has at least both ends."""
        return len(self.roles) if "from" in self.roles and "to" in self.roles else 0

    @property
    def hits(self) -> int:
        """How many roles the row names, whether or not it could be a header row."""
        return len(self.roles)


Ranked = dict[str, list[tuple[int, int]]]  # role → (rank, column number)


def columns(cells: Sequence[str]) -> Columns:
    """Return what the cells of a row would mean if it were the header row."""
    headings = tuple(heading(cell) for cell in cells)
    ends = [_end(found) for found in headings]
    named = {(end.role, end.family) for end in ends if end}
    paired = {family for role, family in named if role == "from" and ("to", family) in named}  # names both ends
    ranked: Ranked = {}
    for index, (found, end) in enumerate(zip(headings, ends, strict=True)):
        if end and (not paired or end.family in paired):
            ranked.setdefault(end.role, []).append((end.rank, index))
        elif not end:
            for role, rank in _plain_roles(found):
                ranked.setdefault(role, []).append((rank, index))
    _place_repeated(headings, ranked)
    for role in ("from", "to"):  # without a pin column, From names the place and Connector (From) only its housing
        if f"{role} cavity" not in ranked:
            _promote(ranked, role, {index for index, found in enumerate(headings) if len(found.words) == 1})
    used = [index for index, found in enumerate(headings) if found.words]
    if len(used) > 1 and headings[used[0]].plain == headings[used[-1]].plain:  # a running number on both sides
        _promote(ranked, "id", {used[0], used[-1]})
    best = _best(ranked)
    for role in ("from", "to"):  # what the connectors of an end belong to: comp_des_1 beside conn_des_1
        owners = [index for rank, index in ranked.get(role, ()) if rank in OWNERS and index not in best[role]]
        if owners:
            best[f"{role} device"] = (owners[0],)
    return Columns(headings, best)


def pin_columns(cells: Sequence[str]) -> Columns:
    """Return what the cells of a header row would mean in a list with one pin a row.

    Such a list has a column of pins, or of joined ends (``J4.2``), and one that says what is on them.
    """
    headings = tuple(heading(cell) for cell in cells)
    ranked: Ranked = {}
    for index, found in enumerate(headings):
        plain = [("signal", 50)] if found.plain in PIN_SIGNALS else _plain_roles(found)
        thing = _thing(found.words) if found.words and not plain and found.words[0] not in FILLERS else None
        for role, rank in [("cavity" if thing[0] else "connector", thing[1])] if thing else plain:
            ranked.setdefault(role, []).append((rank, index))
    best = _best(ranked)
    one_end = [len(best[role]) for role in ("cavity", "connector") if role in best]
    two_ends = any(_end(found) for found in headings) or _names_another(headings, best)
    says = "signal" in best
    return Columns(headings, best if says and one_end and max(one_end) == 1 and not two_ends else {})


def _names_another(headings: Sequence[Heading], best: dict[str, tuple[int, ...]]) -> bool:
    """Return whether a column of no role has a word for a connector or pin in it, as ``Gegenstecker`` has."""
    placed = {index for indexes in best.values() for index in indexes}
    words = [word for word in (*CONNECTORS, *PINS) if len(word) > 4 and CONNECTORS.get(word) not in OWNERS]
    rest = [found.plain for index, found in enumerate(headings) if index not in placed and not _thing(found.words)]
    return any(word in plain for plain in rest for word in words)


def _plain_roles(found: Heading) -> list[tuple[str, int]]:
    """Return every role, with its rank, that a header without an end word may have."""
    if found.unit in ("AWG", "mm2"):
        return [("size", RANKS.get(("size", found.plain), 99))]
    return [(role, RANKS[role, found.plain]) for role in ROLES if (role, found.plain) in RANKS]


class _End(NamedTuple):
    role: str  # from | from cavity | to | to cavity
    rank: int
    family: str


def _end(found: Heading) -> _End | None:
    """Return which end a two-part header belongs to, or None where it is none."""
    for table in (STRONG, NUMBERED, WEAK):
        named = [word for word in found.words if word in table]
        if len(named) > 1 or found.unit in ("AWG", "mm2"):
            return None
        if named:
            rest = list(found.words)
            rest.remove(named[0])
            bare = ("", 1) if table is STRONG or named[0] in BARE else None
            thing = _thing(rest) if rest else bare
            end, family = table[named[0]]
            return _End(end + thing[0], thing[1], family) if thing else None
    return None


def _thing(words: Sequence[str]) -> tuple[str, int] | None:
    """Return `` cavity`` or an empty text (the connector), with the rank of the word used."""
    if any(word not in PINS and word not in CONNECTORS and word not in FILLERS for word in words):
        return None
    pins = [PINS[word] for word in words if word in PINS]
    if pins:
        return " cavity", min(pins)
    return "", min((CONNECTORS[word] for word in words if word in CONNECTORS), default=4)


def _place_repeated(headings: Sequence[Heading], ranked: Ranked) -> None:
    """Give columns named alike to the end they stand after: ``von, Pin, nach, Pin``."""
    if "from" not in ranked or "to" not in ranked:
        return
    ends = sorted((min(index for _, index in ranked[end]), end) for end in ("from", "to"))
    places: dict[str, list[int]] = {}
    for index, found in enumerate(headings):
        if found.words and not _end(found) and not _plain_roles(found) and _thing(found.words):
            places.setdefault(found.plain, []).append(index)
    for indexes in places.values():
        if len(indexes) == 2 and ends[0][0] < indexes[0] < ends[1][0] < indexes[1]:
            for index, (_, end) in zip(indexes, ends, strict=True):
                thing, rank = _thing(headings[index].words) or ("", 0)
                ranked.setdefault(end + thing, []).append((rank, index))


def _promote(ranked: Ranked, role: str, indexes: set[int]) -> None:
    """Put the columns before all others that may have the role."""
    if role in ranked:
        ranked[role] = [(-1 if index in indexes else rank, index) for rank, index in ranked[role]]


def _best(ranked: Ranked) -> dict[str, tuple[int, ...]]:
    """Return for each role the columns of the best rank; more than one are named alike."""
    first = {role: min(found)[0] for role, found in ranked.items()}
    return {role: tuple(index for rank, index in found if rank == first[role]) for role, found in ranked.items()}


def unplaced(found: Columns) -> tuple[str, ...]:
    """Return connector and pin headers that stand more than once and belong to no end."""
    placed = {index for indexes in found.roles.values() for index in indexes}
    alike: dict[str, list[str]] = {}
    for index, item in enumerate(found.headings):
        lone = bool(item.words) and item.words[0] not in FILLERS and index not in placed
        if lone and not _end(item) and not _plain_roles(item) and _thing(item.words):
            alike.setdefault(item.plain, []).append(item.text)
    missing = not {"from cavity", "to cavity"} <= found.roles.keys()
    return tuple(texts[0] for texts in alike.values() if len(texts) > 1) if missing else ()
