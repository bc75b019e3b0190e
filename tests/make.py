"""Small harnesses for tests, of a river survey boat."""

from dataclasses import replace
from typing import Any

from labeler.codes.qr import qr
from labeler.model import Branch, BranchEnd, Circuit, Connector, Harness, Pin, Settings, Symbol
from labeler.tables.catalogue import default_settings


def settings(**changes: Any) -> Settings:
    """Return the default settings with changes."""
    return replace(default_settings(), **changes)


def circuit(name: str, start: str, finish: str, size: str = "20 AWG", **more: Any) -> Circuit:
    """Return a circuit between two ``connector:cavity`` places."""
    ends = [Pin(*place.split(":")) for place in (start, finish)]
    return Circuit(name, ends[0], ends[1], size, **more)


def harness(**changes: Any) -> Harness:
    """Return a harness: three wires from P1 to J4, one branch B4 with an end at either."""
    plain = Harness(
        name="Survey boat",
        part_number="RSB-210",
        revision="C",
        settings=settings(),
        connectors=(Connector("P1", cavities=12, outside_mm=30.0), Connector("J4", cavities=4, outside_mm=18.0)),
        circuits=tuple(circuit(f"W{n}", f"P1:{n}", f"J4:{n}") for n in (1, 2, 3)),
        branches=(Branch("B4", ends=(BranchEnd("J4"), BranchEnd("P1"))),),
    )
    return replace(plain, **changes)


def symbol_of(text: str, x_mm: float, y_mm: float, side_mm: float, dpi: float) -> Symbol:
    """Return a QR symbol at a place, its module as many whole dots as the side allows."""
    rows, dot = qr(text), 25.4 / dpi
    module = int(side_mm / (len(rows) * dot) + 1e-9) * dot
    return Symbol("QR", text, rows, x_mm, y_mm, module, module)
