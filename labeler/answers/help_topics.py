"""Help on the files that people write: for each table its keys, from the declarations that the readers use."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from labeler.model import GROUPS
from labeler.readers.columnmap import map_form
from labeler.readers.toml import harness_form, setting_key
from labeler.tables.catalogue import FILES, FOLDERS_VARIABLE, setting_specs
from labeler.tables.document import LARGEST, Form, Key
from labeler.tables.materials import COVERINGS, FAMILIES, WIRE_TYPES
from labeler.tables.printers import PRINTER, printer_folder
from labeler.tables.stocks import STOCK


@dataclass(frozen=True, slots=True)
class Section:
    """One table of a file: its heading, an introduction, and its keys, each with what it does."""

    title: str
    text: str = ""
    keys: tuple[tuple[str, str], ...] = ()


INCHES = "A key that ends in _mm can also be written in inches, with _in at its end."
INTRODUCTIONS = {
    "harness-file": "A harness file is a TOML file that describes one harness. A length is a number of mm, or a text "
    'with its unit: "1/4 in". labeler example writes a sample.',
    "settings": "A setting changes how markers are made. Write it under [defaults] in the harness file, for example "
    'sleeve.heating = "even". Some settings can be written again for a single circuit, branch, end or bag. '
    "On the command line --set KEY=VALUE overrides [defaults].",
    "stock-file": "A stock file is a TOML file that describes a sheet, roll, card or reel. Its name is the name of "
    f"the stock. Put it in the folder layouts/ of your configuration folder ({{folder}}), or of a folder that "
    f"{FOLDERS_VARIABLE} names. {INCHES}",
    "printer-profile": "A printer profile is a TOML file that says what a printer can do. Give its path with "
    "--printer, or put it in the folder printers/ of your configuration folder ({folder}) and give its name. "
    f"labeler calibrate printer measures the scales. {INCHES}",
    "column-map": "A column map is a TOML file that says which column of a wire list is what. Give it with "
    "--column-map. labeler read LIST --write-column-map writes a draft.",
    "tables": "Tables of your own add to the tables of the program, or replace their entries by name. The files are "
    f"{', '.join(FILES)}. Put them in your configuration folder ({{folder}}), or in a folder that {FOLDERS_VARIABLE} "
    f"names. {INCHES}",
}
FORMS: Mapping[str, Mapping[str, Form]] = {
    "stock-file": {"": STOCK},
    "printer-profile": {"": PRINTER},
    "column-map": {"": map_form()},
    "tables": dict(zip(FILES, (FAMILIES, WIRE_TYPES, COVERINGS), strict=True)),
}


def sections(topic: str) -> Iterator[Section]:
    """Yield what there is to know of a topic, table by table."""
    yield Section("", INTRODUCTIONS[topic].replace("{folder}", str(printer_folder().parent)))
    if topic == "settings":
        yield from _setting_sections()
        return
    forms = {"": harness_form()} if topic == "harness-file" else FORMS[topic]
    for file, form in forms.items():
        yield from _form_sections(form, file)


def _form_sections(form: Form, file: str = "", title: str = "", text: str = "") -> Iterator[Section]:
    """Yield a table and the tables in it; the groups of settings are named, but not listed."""
    own = {name: key for name, key in form.keys.items() if key.form is None}
    groups = [name for name, key in form.keys.items() if name in GROUPS and key.form is not None]
    rows = [(name, key_text(key)) for name, key in own.items()]
    if groups:
        rows.append((", ".join(f"{group}.*" for group in groups), "Settings. See: labeler help settings"))
    if rows:
        heading = f"{file} {title}".strip() or "Keys"
        yield Section(heading, _sentence(text), tuple(rows))
    for name, key in form.keys.items():
        if key.form is not None and name not in groups:
            inner = f"{title.strip('[]')}.{name}".lstrip(".")
            marks = ("[", "]") if key.type.schema(key).get("type") == "object" else ("[[", "]]")
            yield from _form_sections(key.form, file, inner.join(marks), key.description)


def _setting_sections() -> Iterator[Section]:
    """Yield the settings by their groups, first those that stand in none."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for dotted, spec in setting_specs().items():
        places = ", ".join(("[defaults]", *spec.levels))
        groups.setdefault(dotted.rpartition(".")[0], []).append(
            (dotted, f"{key_text(setting_key(spec))} In: {places}.")
        )
    for group, rows in groups.items():
        yield Section(group or "wires and coverings", "", tuple(rows))


UNITS = {"length": " mm", "lengths": " mm", "angle": "°"}


def key_text(key: Key) -> str:
    """Return what a key does, with its limits, default and example."""
    return " ".join(filter(None, (_sentence(key.description), *_facts(key))))


def _facts(key: Key) -> Iterator[str]:
    unit = UNITS.get(key.type.name, "")
    low, high = 0.0 if key.low is None and unit else key.low, key.high
    if key.allowed:
        yield f"One of: {', '.join(map(_toml, key.allowed))}."
    elif high is not None and low is not None and high < LARGEST:
        yield f"{low:g} to {high:g}{unit}."
    if key.required:
        yield "Required."
    elif key.default not in (None, "", ()):
        yield f"Default: {_toml(key.default)}{unit if isinstance(key.default, float) else ''}."
    if key.example not in (None, key.default):
        yield f"Example: {_toml(key.example)}."


def _toml(value: object) -> str:
    """Return a value as a TOML file has it."""
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{name} = {_toml(each)}' for name, each in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_toml, value))}]"
    return f"{value:g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""
