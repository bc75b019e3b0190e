"""What a file was understood to say: as lines for people, and as one object for programs."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from typing import Any

from labeler.answers.report import problem_json
from labeler.errors import LabelerError
from labeler.model import Circuit
from labeler.readers.import_report import Read

SCHEMA = "read 1"
NOT_UNDERSTOOD = "not understood, kept as written"  # a column that nothing is known of
ONE = {  # one of what is counted
    "connectors": "connector",
    "splices": "splice",
    "ring terminals": "ring terminal",
    "unterminated ends": "unterminated end",
    "circuits": "circuit",
    "cables": "cable",
    "cores": "core",
    "branches": "branch",
    "bags": "bag",
    "pins": "pin",
    "nets": "net",
    "wires": "wire",
    "connections": "connection",
    "segments": "segment",
    "nodes": "node",
    "routes": "route",
    "protections": "protection",
    "variants": "variant",
}
MOST_CIRCUITS = 3  # that are shown as they were read; the JSON has all
MOST_NAMES = 12  # connectors whose three names are shown; the JSON has all


def lines(read: Read) -> Iterator[str]:
    """Yield the account of a reading, a line at a time."""
    account, harness = read.account, read.harness
    yield f"{harness.where.source}: {account.form}"
    part = " ".join(filter(None, (harness.part_number, harness.revision and f"rev {harness.revision}")))
    yield f"harness     {', '.join(filter(None, (part, harness.name)))}"
    shown = [f"{count} {ONE[what] if count == 1 else what}" for what, count in account.counts.items() if count]
    yield f"counts      {', '.join(shown) or 'nothing'}"
    became = [(name, what or NOT_UNDERSTOOD, what is None) for name, what in account.mapped]
    for (what, left), group in groupby(sorted(became, key=itemgetter(1)), key=itemgetter(1, 2)):
        names = ", ".join(name for name, *_ in group)
        yield f"{'left' if left else 'understood':10}  {what}: {names}"
    for circuit in harness.circuits[:MOST_CIRCUITS]:
        yield f"as read     {_circuit(circuit)}"
    for line in account.not_imported:
        yield f"left        {line}"
    if account.variants:
        yield f"variants    {', '.join(account.variants)} (choose with --variant)"
    yield from _names(read)


def _circuit(circuit: Circuit) -> str:
    """Say one circuit as it was read, so that what was told wrong is seen."""
    length = f"{circuit.length_mm:g} mm" if circuit.length_mm else ""
    outside = f"outside {circuit.od_mm:g} mm" if circuit.od_mm else ""
    cable = f"in {circuit.cable}" if circuit.cable else ""
    said = (circuit.size, circuit.wire_type, outside, circuit.colour, circuit.signal, length, cable)
    return ", ".join((f"{circuit.id}: {circuit.start} to {circuit.finish}", *filter(None, said)))


def _names(read: Read) -> Iterator[str]:
    """Yield the three names of the connectors side by side: what --connector-names would print."""
    names = read.account.names
    if not names:
        return
    rows = [("--connector-names id", "--connector-names alias", "--connector-names description"), *names[:MOST_NAMES]]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    for row in rows:
        cells = "  ".join((cell or "-").ljust(width) for cell, width in zip(row, widths, strict=True))
        yield f"names       {cells.rstrip()}"
    if len(names) > MOST_NAMES:
        yield f"names       and {len(names) - MOST_NAMES} more"


def as_json(read: Read) -> dict[str, Any]:
    """Return the account as one object."""
    account, harness = read.account, read.harness
    return {
        "schema": SCHEMA,
        "file": harness.where.source,
        "form": account.form,
        "version": account.version,
        "harness": {"name": harness.name, "part_number": harness.part_number, "revision": harness.revision},
        "counts": dict(account.counts),
        "mapped": [{"from": name, "as": what or NOT_UNDERSTOOD} for name, what in account.mapped],
        "not_imported": list(account.not_imported),
        "variants": list(account.variants),
        "names": [dict(zip(("id", "alias", "description"), row, strict=True)) for row in account.names],
        "circuits": [
            {
                "id": c.id,
                "from": str(c.start),
                "to": str(c.finish),
                "size": c.size,
                "wire_type": c.wire_type,
                "od_mm": c.od_mm,
                "colour": c.colour,
                "signal": c.signal,
                "length_mm": c.length_mm,
                "cable": c.cable,
            }
            for c in harness.circuits
        ],
        **account.details,
        "problems": [problem_json(problem) for problem in (*harness.notes, *read.problems)],
    }


def refused_json(error: LabelerError) -> dict[str, Any]:
    """Return a file that was not understood, as the same object with nothing in it but the problems."""
    return {"schema": SCHEMA, "form": None, "problems": [problem_json(problem) for problem in error.problems]}
