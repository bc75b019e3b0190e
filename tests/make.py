"""Small harnesses for tests, of a river survey boat, and files as a shop without tables of its own reads them."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from labeler import readers
from labeler.codes.qr import qr
from labeler.model import Bag, Branch, BranchEnd, Circuit, Connector, Harness, Pin, Settings, Symbol
from labeler.readers.import_report import AS_IT_STANDS, Read, Wanted
from labeler.tables.catalogue import default_settings, load_catalogue

INHERITED = default_settings()
"""What a part holds that is made without settings of its own, until `new_harness` gives it those above it."""


Changes = Mapping[str, object]
NO_CHANGES: Changes = {}


def settings(changes: Changes = NO_CHANGES) -> Settings:
    """Return the default settings with those of dotted keys changed."""
    return default_settings().changed(changes)


def new_circuit(*given: Any, settings: Settings = INHERITED, **more: Any) -> Circuit:
    """Return a circuit, without settings of its own unless they are given."""
    return Circuit(*given, settings=settings, **more)


def new_end(*given: Any, settings: Settings = INHERITED, **more: Any) -> BranchEnd:
    """Return an end of a branch, without settings of its own unless they are given."""
    return BranchEnd(*given, settings=settings, **more)


def new_branch(*given: Any, settings: Settings = INHERITED, **more: Any) -> Branch:
    """Return a branch, without settings of its own unless they are given."""
    return Branch(*given, settings=settings, **more)


def new_bag(*given: Any, settings: Settings = INHERITED, **more: Any) -> Bag:
    """Return a bag, without settings of its own unless they are given."""
    return Bag(*given, settings=settings, **more)


def new_harness(*given: Any, settings: Settings = INHERITED, **more: Any) -> Harness:
    """Return a harness whose parts have the settings that count for them, as the readers leave it."""
    return inherited(Harness(*given, settings=settings, **more))


def inherited(made: Harness) -> Harness:
    """Return a harness in which parts without settings of their own have those above them: an end its branch's."""

    def own(part: Circuit | Branch | BranchEnd | Bag, above: Settings) -> Settings:
        return above if part.settings is INHERITED else part.settings

    base = made.settings
    branches = tuple(replace(branch, settings=own(branch, base)) for branch in made.branches)
    return replace(
        made,
        circuits=tuple(replace(circuit, settings=own(circuit, base)) for circuit in made.circuits),
        branches=tuple(
            replace(b, ends=tuple(replace(end, settings=own(end, b.settings)) for end in b.ends)) for b in branches
        ),
        bags=tuple(replace(bag, settings=own(bag, base)) for bag in made.bags),
    )


def circuit(name: str, start: str, finish: str, size: str = "20 AWG", **more: Any) -> Circuit:
    """Return a circuit between two ``connector:cavity`` places."""
    ends = [Pin(*place.split(":")) for place in (start, finish)]
    return new_circuit(name, ends[0], ends[1], size, **more)


def harness(**changes: Any) -> Harness:
    """Return a harness: three wires from P1 to J4, one branch B4 with an end at either."""
    plain: dict[str, Any] = {
        "name": "Survey boat",
        "part_number": "RSB-210",
        "revision": "C",
        "settings": settings(),
        "connectors": (Connector("P1", cavities=12, max_width_mm=30.0), Connector("J4", cavities=4, max_width_mm=18.0)),
        "circuits": tuple(circuit(f"W{n}", f"P1:{n}", f"J4:{n}") for n in (1, 2, 3)),
        "branches": (new_branch("B4", ends=(new_end("J4"), new_end("P1"))),),
    }
    return new_harness(**{**plain, **changes})


def read_file(path: Path | str, settings: Mapping[str, str] | None = None, wanted: Wanted = AS_IT_STANDS) -> Read:
    """Return what `labeler.readers.read_file` makes of a file with the shipped tables and default settings."""
    return readers.read_file(path, load_catalogue(), default_settings(), settings, wanted)


def read_harness(path: Path | str, settings: Mapping[str, str] | None = None, wanted: Wanted = AS_IT_STANDS) -> Harness:
    """Return the harness in a file; see `read_file`."""
    return read_file(path, settings, wanted).checked()


def symbol_of(text: str, x_mm: float, y_mm: float, side_mm: float, dpi: float) -> Symbol:
    """Return a QR symbol at a place, its module as many whole dots as the side allows."""
    rows, dot = qr(text), 25.4 / dpi
    module = int(side_mm / (len(rows) * dot) + 1e-9) * dot
    return Symbol("QR", text, rows, x_mm, y_mm, module, module)
