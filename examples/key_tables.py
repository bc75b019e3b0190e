"""Write the tables of keys in examples/README.md from the declared keys: python examples/key_tables.py"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from labeler.answers.listing import file_forms
from labeler.tables.catalogue import setting_specs
from labeler.tables.document import Form, Key

README = Path(__file__).parent / "README.md"
TABLES = re.compile(r"(<!-- keys of a ([a-z ]+) -->\n).*?(<!-- end -->)", re.DOTALL)
HEAD = ("| key | value | description | example |", "|---|---|---|---|")


def main() -> None:
    """Replace every table of keys in examples/README.md."""
    README.write_text(with_tables(README.read_text("utf-8")), "utf-8")


def with_tables(text: str) -> str:
    """Return a text with the tables of keys between its ``<!-- keys of a … -->`` marks."""
    return TABLES.sub(lambda found: f"{found[1]}\n{file_keys(found[2])}\n\n{found[3]}", text)


def file_keys(kind: str) -> str:
    """Return all keys of a kind of file: a table of its plain keys, then one for each table in the file."""
    form = file_forms()[kind]
    settings = {name.partition(".")[0] for name in setting_specs()} if kind == "harness" else set()
    return "\n\n".join(blocks("", form, settings))


def blocks(name: str, form: Form, settings: Collection[str]) -> Iterator[str]:
    """Yield the table of a form's own keys, the settings read there, then heading and blocks of each table in it.

    ``settings`` are the names of settings and of groups of settings: ``sleeve`` of ``sleeve.colour``.
    """
    own = {inner: key for inner, key in form.keys.items() if inner not in settings and not key.form}
    if own:
        yield key_table(own)
    here = [setting for inner, key in form.keys.items() if inner in settings and (setting := setting_name(inner, key))]
    if here:
        yield f"Settings read here: {', '.join(here)}."
    for inner, key in form.keys.items():
        if key.form and inner not in settings:
            path = f"{name}.{inner}".strip(".")
            heading = f"[[{path}]]" if key.type.name == "list of tables" else f"[{path}]"
            yield f"**`{heading}`**: {key.description}."
            yield from blocks(path, key.form, settings)


def setting_name(name: str, key: Key) -> str:
    """Return a setting as shown, a group as ``sleeve.…``, and nothing for a group without a setting."""
    if key.form is None:
        return f"`{name}`"
    return f"`{name}.…`" if key.form.keys else ""


def key_table(keys: Mapping[str, Key]) -> str:
    """Return a table of keys."""
    rows = []
    for name, key in keys.items():
        required = "; required" if key.required else ""
        example = "" if key.example is None else f"`{toml(key.example)}`"
        rows.append(f"| `{name}` | {value_text(key)} | {key.description}{required} | {example} |")
    return "\n".join([*HEAD, *rows])


def value_text(key: Key) -> str:
    """Return what may stand under a key: its type or its allowed values, its unit and its default."""
    values = (f"`{word}`" for word in key.allowed if word.isprintable())
    text = ", ".join(values) or key.type.name
    if key.type.unit:
        text += f" in {key.type.unit}"
    if key.default not in (None, "", (), 0.0) and not key.required:
        text += f"; default `{toml(key.default)}`"
    return text.replace("|", r"\|")


def toml(value: object) -> str:
    """Return a value as a TOML file has it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {toml(item)}" for name, item in value.items()) + " }"
    return str(value)


if __name__ == "__main__":
    main()
