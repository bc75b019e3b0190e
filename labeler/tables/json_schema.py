"""The JSON Schema of a kind of TOML file, made of the declaration of its keys: for editors, and for other programs.

What a schema refuses, the strict reader refuses too, but for blanks around the words of a list. The reader refuses
more: a length in a text, names that stand twice, measures that contradict each other.
"""

from __future__ import annotations

from typing import Any

from labeler.tables.document import Form, Key, Schema

DRAFT = "https://json-schema.org/draft/2020-12/schema"


def json_schema(form: Form, title: str) -> Schema:
    """Return the JSON Schema (draft 2020-12) of a whole file."""
    return {"$schema": DRAFT, "title": title, **_table(form)}


def _table(form: Form) -> Schema:
    """Return the schema of a table; a length may stand under its key in mm or under that in inches."""
    properties: dict[str, Schema] = {}
    required: list[str] = []
    either: list[Schema] = []
    for name, key in form.keys.items():
        properties[name] = _value(key)
        if key.type.inches:
            inch = name.removesuffix("_mm") + "_in"
            properties[inch] = {**key.type.inches.schema(key), "description": f"{key.description}, in inches"}
            both = {"required": [name, inch]}
            one = [{"required": [name]}, {"required": [inch]}]
            either.append({"oneOf": one} if key.required else {"not": both})
        elif key.required:
            required.append(name)
    found: Schema = {"type": "object", "properties": properties}
    found["additionalProperties"] = _value(form.other) if form.other else False
    found |= {"required": required} if required else {}
    return found | ({"allOf": either} if either else {})


def _value(key: Key) -> Schema:
    """Return the schema of what stands under a key, with its meaning, default and example."""
    about: dict[str, Any] = {"description": key.description, "default": key.default}
    about["examples"] = None if key.example is None else [key.example]
    said = {word: _plain(value) for word, value in about.items() if value not in (None, "")}
    if key.form is None:
        return {**key.type.schema(key), **said}
    table = _table(key.form)
    outer = key.type.schema(key)
    return {**outer, "items": table, **said} if outer["type"] == "array" else {**table, **said}


def _plain(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value
