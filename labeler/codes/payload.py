"""What a code says: one of the project's own forms, or a template of fields; a link's values are escaped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from string import Formatter
from urllib.parse import quote

from labeler.errors import LabelerError, Problem, nearest
from labeler.model import Harness, Marker

PAYLOADS = {"unit and marker": "{serial} {marker}", "marker": "{marker}"}
"""The forms with a name. The marker's id is the same in every unit, so the default names the unit too: a
code that is scanned then means one printed thing, and reprint takes exactly what a scanner types."""

FIELDS = ("harness", "part_number", "revision", "serial", "marker", "local", "remote", "branch", "circuit", "text")
MOST_SIGNS = 200
"""Longest text of a code: project choice; no marker has room for more."""


def payload_of(marker: Marker, harness: Harness, unit: str, rule: str = "") -> str:
    """Return what the marker's code says in one unit; ``rule`` stands in for its setting ``code.data``.

    Raises
    ------
    LabelerError : a rule that is not understood, and a text that is empty, too long, or not plain ASCII.
    """
    chosen = rule or marker.settings.code.data
    template = PAYLOADS.get(chosen, chosen)
    try:
        parts = [(literal, name, form or turned) for literal, name, form, turned in Formatter().parse(template)]
    except ValueError as error:
        message = f"code.data {template!r}: {error}"
        raise LabelerError(Problem(marker.where, message, "write fields as {marker}")) from error
    names = [name for _, name, _ in parts if name is not None]
    formed = [name for _, name, form in parts if name is not None and form]
    problems = [
        Problem(marker.where, f"code.data {template!r}: {p}", fix) for p, fix in _wrong(names, formed, template)
    ]
    if problems:
        raise LabelerError(*problems)
    link = template.lower().startswith(("http://", "https://"))
    values = {name: quote(value, safe="") if link else value for name, value in _values(marker, harness, unit).items()}
    text = "".join(literal + ("" if name is None else values[name]) for literal, name, _ in parts)
    problem = _unfit(text, marker, unit if "serial" in names else "")
    if problem:
        raise LabelerError(problem)
    return text


def _wrong(names: Sequence[str], formed: Sequence[str], template: str) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with the fields of a template, each with its fix: a format, unknown names, no field."""
    known = ", ".join((*PAYLOADS, *("{" + name + "}" for name in FIELDS)))
    if formed:
        yield f"field {{{formed[0]}}} has a format", "write the field's name alone"
    for name in names:
        if name not in FIELDS:
            near = nearest(name, FIELDS)
            yield f"field {{{name}}} is unknown", (f"did you mean {{{near}}}? " if near else "") + f"known are {known}"
    if not names:
        near = nearest(template, PAYLOADS)
        hint = f"did you mean {near!r}? " if near else ""
        yield "names no field, so all codes would be alike", f"{hint}known are {known}"


def _values(marker: Marker, harness: Harness, unit: str) -> dict[str, str]:
    return {
        "harness": harness.name,
        "part_number": harness.part_number or harness.name,
        "revision": harness.revision,
        "serial": unit,
        "marker": marker.id,
        "local": marker.place,
        "remote": marker.far,
        "branch": marker.branch,
        "circuit": marker.circuit,
        "text": " ".join(marker.text),
    }


def _unfit(text: str, marker: Marker, serial: str) -> Problem | None:
    """Return why a text cannot be encoded so that every reader answers the same, or None; ``serial``: as it says it."""
    what = f"the code of {marker.place} would say {text!r}"
    if not text:
        return Problem(marker.where, f"the code of {marker.place} would say nothing", "choose another code.data")
    if len(text) > MOST_SIGNS:
        message = f"{what[:60]}…: {len(text)} signs, the limit is {MOST_SIGNS}"
        return Problem(marker.where, message, "shorten code.data, or put a link in its place")
    fix = "use fields in plain ASCII, such as {marker}, and a unit's serial in plain ASCII"
    odd = sorted({sign for sign in text if not (sign.isascii() and sign.isprintable())})
    if odd and any(sign in serial for sign in odd):
        message = f"{what}: the serial {serial!r} is not plain ASCII, and different readers would read it differently"
        fix = 'choose a serial in plain ASCII, or codes that do not say it: code.data = "marker"'
        return Problem(marker.where, message, fix)
    if odd:
        message = f"{what}: {', '.join(map(repr, odd))} is read differently by different readers"
        return Problem(marker.where, message, fix)
    return None
