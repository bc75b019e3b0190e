"""What a code says: one of the project's own forms, or a template of fields; a link's values are escaped."""

from __future__ import annotations

from collections.abc import Iterator
from string import Formatter
from urllib.parse import quote

from labeler.errors import LabelerError, Problem, nearest
from labeler.model import Harness, Marker

PAYLOADS = {"unit and marker": "{unit} {marker}", "marker": "{marker}"}
"""The forms with a name. The marker's id is the same in every unit, so the default names the unit too: a
code that is scanned then means one printed thing, and reprint takes exactly what a scanner types."""

FIELDS = ("harness", "part_number", "revision", "unit", "serial", "marker", "at", "remote", "branch", "circuit", "text")
MOST_SIGNS = 200
"""Longest text of a code: project choice; no marker has room for more."""


def payload_of(marker: Marker, harness: Harness, unit: str, rule: str = "") -> str:
    """Return what the marker's code says in one unit; ``rule`` stands in for its setting ``code_payload``.

    Raises
    ------
    LabelerError : a rule that is not understood, and a text that is empty, too long, or not plain ASCII.
    """
    template = rule or marker.settings.code_payload
    template = PAYLOADS.get(template, template)
    problems = list(payload_problems(marker, template))
    if problems:
        raise LabelerError(*problems)
    link = template.lower().startswith(("http://", "https://"))
    values = _values(marker, harness, unit)
    parts = Formatter().parse(template)
    text = "".join(
        literal + ("" if name is None else quote(values[name], safe="") if link else values[name])
        for literal, name, _, _ in parts
    )
    problem = _unfit(text, marker, unit if {"unit", "serial"} & _fields(template) else "")
    if problem:
        raise LabelerError(problem)
    return text


def _fields(template: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(template) if name}


def payload_problems(marker: Marker, rule: str) -> Iterator[Problem]:
    """Yield what is wrong with a rule for payloads: braces that do not close, unknown fields, no field that differs."""
    template = PAYLOADS.get(rule, rule)
    known = ", ".join((*PAYLOADS, *("{" + name + "}" for name in FIELDS)))
    try:
        parts = list(Formatter().parse(template))
    except ValueError as error:
        yield Problem(marker.where, f"code_payload {rule!r}: {error}", "write fields as {marker}")
        return
    names = [name for _, name, _, _ in parts if name is not None]
    formed = [name for _, name, form, turned in parts if name is not None and (form or turned)]
    if formed:
        fix = "write the field's name alone"
        yield Problem(marker.where, f"code_payload {rule!r}: field {{{formed[0]}}} has a format", fix)
    for name in names:
        if name not in FIELDS:
            near = nearest(name, FIELDS)
            hint = f"did you mean {{{near}}}? known are" if near else "known are"
            yield Problem(marker.where, f"code_payload {rule!r}: field {{{name}}} is unknown", f"{hint} {known}")
    if not names:
        near = nearest(rule, PAYLOADS)
        hint = f"did you mean {near!r}? known are" if near else "known are"
        text = f"code_payload {rule!r}: names no field, so all codes would be alike"
        yield Problem(marker.where, text, f"{hint} {known}")


def _values(marker: Marker, harness: Harness, unit: str) -> dict[str, str]:
    return {
        "harness": harness.name,
        "part_number": harness.part_number or harness.name,
        "revision": harness.revision,
        "unit": unit,
        "serial": unit,
        "marker": marker.id,
        "at": marker.at,
        "remote": marker.far,
        "branch": marker.branch,
        "circuit": marker.circuit,
        "text": " ".join(marker.text),
    }


def _unfit(text: str, marker: Marker, serial: str) -> Problem | None:
    """Return why a text cannot be encoded so that every reader answers the same, or None; ``serial``: as it says it."""
    what = f"the code of {marker.at} would say {text!r}"
    if not text:
        return Problem(marker.where, f"the code of {marker.at} would say nothing", "choose another code_payload")
    if len(text) > MOST_SIGNS:
        message = f"{what[:60]}…: {len(text)} signs, the limit is {MOST_SIGNS}"
        return Problem(marker.where, message, "shorten code_payload, or put a link in its place")
    fix = "use fields in plain ASCII, such as {marker}, and a unit's serial in plain ASCII"
    odd = sorted({sign for sign in text if not (sign.isascii() and sign.isprintable())})
    if odd and any(sign in serial for sign in odd):
        message = f"{what}: the serial {serial!r} is not plain ASCII, and different readers would read it differently"
        fix = 'choose a serial in plain ASCII, or codes that do not say it: code_payload = "marker"'
        return Problem(marker.where, message, fix)
    if odd:
        message = f"{what}: {', '.join(map(repr, odd))} is read differently by different readers"
        return Problem(marker.where, message, fix)
    return None
