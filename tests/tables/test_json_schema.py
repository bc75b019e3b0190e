"""JSON Schemas of all kinds of TOML files, by the package `jsonschema`: an implementation of draft 2020-12.

Shipped files and examples hold; files with one mistake are refused, by the strict reader as well.
"""

from __future__ import annotations

import copy
import random
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from labeler.answers.listing import file_forms
from labeler.errors import LabelerError
from labeler.readers import draft_of
from labeler.readers.columnmap import map_of
from labeler.tables.catalogue import SPECS
from labeler.tables.document import Document, Form, Key, read_table
from labeler.tables.json_schema import json_schema
from tests.places import ROOT

FORMS = file_forms()
VALIDATORS = {kind: Draft202012Validator(json_schema(form, kind)) for kind, form in FORMS.items()}
DATA = ROOT / "labeler" / "data"
PROFILE = """technology = "thermal transfer"
dpi = 300
unprintable_margin_mm = 2.0
stock_kinds = ["roll", "reel"]
max_width_mm = 108
scale_x = 1.0081
offset_y_mm = "1/16 in"
"""
SAMPLE_MAP, SAMPLE_PRINTER = ROOT / "examples" / "column-map.toml", ROOT / "examples" / "office-printer.toml"
FILES = [
    *(("stock", path) for path in sorted((ROOT / "layouts").glob("*.toml"))),
    *(
        ("harness", path)
        for path in sorted((ROOT / "examples").glob("*.toml"))
        if path not in (SAMPLE_MAP, SAMPLE_PRINTER)
    ),
    *(("stock", path) for path in sorted((ROOT / "examples" / "layouts").glob("*.toml"))),
    ("column map", SAMPLE_MAP),
    ("printer", SAMPLE_PRINTER),
    *((path.stem.replace("_", " "), path) for path in sorted(DATA.glob("*.toml"))),
]


def values_of(kind: str, path: Path | None = None) -> dict[str, Any]:
    """Return what a file of this kind holds."""
    if kind == "printer" and path is None:
        return tomllib.loads(PROFILE)
    if kind == "column map" and path is None:
        return tomllib.loads(draft_of(ROOT / "examples" / "survey-boat.csv"))
    return tomllib.loads((path or next(p for k, p in FILES if k == kind)).read_text("utf-8"))


def refused(kind: str, values: dict[str, Any]) -> bool:
    """Return whether the strict reader refuses the values."""
    document = Document("own.toml", values)
    if kind == "column map":
        try:
            map_of(document)
        except LabelerError:
            return True
        return False
    if kind == "harness" and "harness" not in values:
        return True
    return any(read_table(document, FORMS[kind]).all_problems())


@pytest.mark.parametrize("kind", FORMS)
def test_each_is_a_schema(kind: str) -> None:
    Draft202012Validator.check_schema(json_schema(FORMS[kind], kind))


@pytest.mark.parametrize(("kind", "path"), FILES, ids=lambda x: x if isinstance(x, str) else x.stem)
def test_shipped_files_and_examples_hold(kind: str, path: Path) -> None:
    values = values_of(kind, path)
    assert [error.message for error in VALIDATORS[kind].iter_errors(values)] == []
    assert not refused(kind, values)


@pytest.mark.parametrize("kind", ["printer", "column map"])
def test_what_users_write_holds(kind: str) -> None:
    values = values_of(kind)
    assert [error.message for error in VALIDATORS[kind].iter_errors(values)] == []


def tables(values: Any, form: Form, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Form]]:
    """Yield the place and form of every table in a file, of lists the first three, of settings the first eight."""
    yield path, form
    for name, value in list(values.items())[: 8 if form is SPECS else None]:
        key = form.keys.get(name) or form.other
        if key is None or key.form is None:
            continue
        rows = [((*path, name, n), row) for n, row in enumerate(value[:3])] if isinstance(value, list) else []
        for at, row in rows or [((*path, name), value)]:
            yield from tables(row, key.form, at)


def at(values: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        values = values[step]
    return values


def wrong_value(key: Key) -> Any:
    """Return a value that no key of this type takes."""
    kind = key.type.schema(key).get("type")
    return 5 if kind in ("string", "boolean", "array", "object") else False


Mistake = Callable[[dict[str, Any], Form], Iterator[dict[str, Any]]]


def misspelt(row: dict[str, Any], form: Form) -> Iterator[dict[str, Any]]:
    """Yield the table with one of its keys misspelt, where any key is not allowed anyway."""
    for name in row if form.other is None else ():
        yield {f"{name}x" if key == name else key: value for key, value in row.items()}


def lacking(row: dict[str, Any], form: Form) -> Iterator[dict[str, Any]]:
    """Yield the table without one of the keys that it needs."""
    for name, key in form.keys.items():
        inch = name.removesuffix("_mm") + "_in"
        if key.required and (name in row or inch in row):
            yield {given: value for given, value in row.items() if given not in (name, inch)}


def mistyped(row: dict[str, Any], form: Form) -> Iterator[dict[str, Any]]:
    """Yield the table with a value of another type under one of its keys."""
    for name in row:
        key = form.keys.get(name) or form.other
        if key and key.type.name != "value" and "type" in key.type.schema(key):
            yield {**row, name: wrong_value(key)}


def outside(row: dict[str, Any], form: Form) -> Iterator[dict[str, Any]]:
    """Yield the table with a number beyond one of its limits."""
    for name, key in form.keys.items():
        schema = key.type.schema(key)
        if "maximum" in schema and isinstance(row.get(name), int | float):
            yield {**row, name: schema["maximum"] + 1}
        if "minimum" in schema and isinstance(row.get(name), int | float):
            yield {**row, name: schema["minimum"] - 1}


def another_word(row: dict[str, Any], form: Form) -> Iterator[dict[str, Any]]:
    """Yield the table with a word that is not among those allowed."""
    for name, key in form.keys.items():
        if "enum" in key.type.schema(key) and isinstance(row.get(name), str):
            yield {**row, name: "banana"}


@pytest.mark.parametrize("mistake", [misspelt, lacking, mistyped, outside, another_word])
@pytest.mark.parametrize("kind", FORMS)
def test_one_mistake_is_refused_by_both(kind: str, mistake: Mistake) -> None:
    values = values_of(kind)
    made = 0
    for path, form in tables(values, FORMS[kind]):
        for row in mistake(at(values, path), form):
            mutant = copy.deepcopy(values)
            if path:
                at(mutant, path[:-1])[path[-1]] = row
            else:
                mutant = row
            made += 1
            assert not VALIDATORS[kind].is_valid(mutant), (path, row)
            assert refused(kind, mutant), (path, row)
    assert made or mistake in (outside, another_word, lacking)


ODD: tuple[Any, ...] = (
    *(0, -1, 0.01, 1000, 5000, 1e5, 1e6, True, "", "x", "8,5 in", "1/4 in", "210 mm", "sheet", "even", "20 AWG"),
    *([], {}, ["x"], [1], [{}], {"x": "y"}, {"connector": "J4"}),
)


@pytest.mark.parametrize("kind", FORMS)
def test_what_a_schema_refuses_the_reader_refuses(kind: str) -> None:
    """At random: a schema that is stricter than the reader would mark in an editor what is right."""
    chance, values = random.Random(kind), values_of(kind)
    places = list(tables(values, FORMS[kind]))
    refusals = 0
    for _ in range(60):
        mutant = copy.deepcopy(values)
        path, form = chance.choice(places)
        row = at(mutant, path)
        names = [*row, *form.keys, *(name.replace("_mm", "_in") for name in form.keys)]
        for _ in range(chance.randint(1, 2)):
            row[chance.choice(names)] = chance.choice(ODD)
        if not VALIDATORS[kind].is_valid(mutant):
            refusals += 1
            assert refused(kind, mutant), (path, row)
    assert refusals
