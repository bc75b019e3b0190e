"""A `Harness` → the text of a harness file that reads back to the same harness.

What is written follows the reader's own keys (`keys`), so a key that is added there is written too.
Values that are the default are left out. The settings of a circuit, branch, end or bag are written
where they differ from those above it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import MISSING, fields, replace
from typing import Any

from labeler.errors import LabelerError, Problem
from labeler.model import NOWHERE, Bag, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Pin, Settings
from labeler.readers.toml import BAG, BRANCH, BREAKOUT, CABLE, CIRCUIT, CONNECTOR, END, HARNESS, ITEM, Keys, read_toml
from labeler.readers.values import pin
from labeler.tables.catalogue import setting_specs


def harness_toml(harness: Harness, defaults: Settings, remarks: Iterable[str] = ()) -> str:
    """Return the harness as TOML; ``remarks`` become comments on top, ``defaults`` are settings that it need not set.

    Raises LabelerError where what it holds cannot be written so that it reads back the same.
    """
    text = "\n".join(_lines(harness, defaults, remarks)) + "\n"
    try:
        back = read_toml(text.encode(), "written", None, defaults, {})
        same = bare(back) == bare(harness)
    except (LabelerError, UnicodeEncodeError) as error:
        said = "; ".join(map(str, error.problems)) if isinstance(error, LabelerError) else str(error)
        problem = Problem(harness.where, f"cannot be written as a harness file: {said}", "correct it where it is from")
        raise LabelerError(problem) from None
    if not same:
        what = _first_difference(bare(harness), bare(back))
        raise LabelerError(Problem(harness.where, f"cannot be written as a harness file: {what}", "correct it there"))
    return text


def bare(harness: Harness) -> Harness:
    """Return what a harness says, without where it was read and what was noted: two files may say the same."""
    return replace(
        harness,
        connectors=tuple(replace(connector, where=NOWHERE) for connector in harness.connectors),
        circuits=tuple(replace(circuit, where=NOWHERE) for circuit in harness.circuits),
        cables=tuple(replace(cable, where=NOWHERE) for cable in harness.cables),
        branches=tuple(
            replace(branch, where=NOWHERE, ends=tuple(replace(end, where=NOWHERE) for end in branch.ends))
            for branch in harness.branches
        ),
        bags=tuple(replace(bag, where=NOWHERE) for bag in harness.bags),
        notes=(),
        where=NOWHERE,
        text=b"",
    )


def _first_difference(one: Harness, two: Harness) -> str:
    """Name the first thing that did not come back as it was."""
    for found in fields(Harness):
        a, b = getattr(one, found.name), getattr(two, found.name)
        if a != b and isinstance(a, tuple):
            pairs = [str(x) for x, y in zip(a, b, strict=False) if x != y]
            return f"{found.name} {(pairs or [f'{len(a)}, {len(b)} came back'])[0][:120]}"
        if a != b:
            return f"{found.name} {str(a)[:120]!r}"
    return "nothing differs"


# ---------------------------------------------------------------- lines


def _lines(harness: Harness, defaults: Settings, remarks: Iterable[str]) -> Iterator[str]:
    base = harness.settings
    for remark in remarks:
        yield from (f"# {''.join(c if c.isprintable() else ' ' for c in line)}" for line in remark.splitlines() or [""])
    yield "[harness]"
    yield from _pairs(harness, HARNESS)
    changed = _changed(base, defaults)
    if changed:
        yield from ("", "[defaults]", *changed)
    yield from _tables("connector", (each for each in harness.connectors if each.kind != "breakout"), CONNECTOR)
    yield from _tables("breakout", (each for each in harness.connectors if each.kind == "breakout"), BREAKOUT)
    yield from _tables("cable", harness.cables, CABLE)
    yield from _tables("circuit", harness.circuits, CIRCUIT, base)
    for branch in harness.branches:
        yield from _tables("branch", (branch,), BRANCH, base)
        yield from _tables("branch.end", branch.ends, END, branch.settings)
    yield from _tables("bag", harness.bags, BAG, base)


def _tables(
    name: str,
    things: Iterable[Connector | Cable | Circuit | Branch | BranchEnd | Bag],
    keys: Keys,
    above: Settings | None = None,
) -> Iterator[str]:
    """Yield a table for each thing, with the settings that differ from those above it."""
    for thing in things:
        yield from ("", f"[[{name}]]")
        yield from _pairs(thing, keys)
        if above is not None and not isinstance(thing, Connector | Cable):
            yield from _changed(thing.settings, above)
        if isinstance(thing, Bag) and thing.contents:
            items = (f"{{ {', '.join(_pairs(item, ITEM))} }}" for item in thing.contents)
            yield f"contents = [{', '.join(items)}]"


def _pairs(thing: Any, keys: Keys) -> Iterator[str]:
    """Yield ``key = value`` for every field that is not at its default."""
    defaults = {f.name: f.default for f in fields(thing) if f.default is not MISSING}
    for key, declared in keys.items():
        field = declared.field or key
        value = getattr(thing, field, None)
        if value is not None and (field not in defaults or value != defaults[field]):
            yield f"{key} = {_value(value)}"


def _changed(settings: Settings, above: Settings) -> list[str]:
    """Return the settings that differ, as lines; a covering that is named ends the wall above it."""
    keys = [key for key in setting_specs() if settings.get(key) != above.get(key)]
    if "covering_wall_mm" in keys and settings.covering_wall_mm is None:
        keys = [*dict.fromkeys([key for key in keys if key != "covering_wall_mm"] + ["covering"])]
    elif "covering" in keys and settings.covering_wall_mm is not None and "covering_wall_mm" not in keys:
        keys.append("covering_wall_mm")
    return [f"{key} = {_value(settings.get(key))}" for key in keys]


def _value(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, Pin):
        return _pin(value)
    if isinstance(value, tuple) and value and isinstance(value[0], tuple):
        return _table(dict(value))
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        value = int(value)
    return json.dumps("" if value is None else value, ensure_ascii=False).replace("\x7f", "\\u007F")


def _table(values: Mapping[str, str], bare: bool = False) -> str:
    return f"{{ {', '.join(f'{key if bare else _value(key)} = {_value(item)}' for key, item in values.items())} }}"


def _pin(value: Pin) -> str:
    """Return ``"J4:2"``, or a table where the connector or cavity has a colon itself."""
    with suppress(ValueError):
        if pin(str(value)) == value:
            return _value(str(value))
    return _table({"connector": value.connector, **({"cavity": value.cavity} if value.cavity else {})}, bare=True)
