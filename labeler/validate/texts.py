"""Texts: too long, or with signs that cannot be printed."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence

from labeler.errors import Problem, Where
from labeler.model import Harness
from labeler.validate.names import Named

LONGEST_TEXT = 200  # characters; project choice: far more than any marker takes

_CONTROL = re.compile(
    r"[\x00-\x1f\x7f-\x9f\xad\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]"
)  # and signs that do not show


def texts(harness: Harness) -> Iterator[Problem]:
    """Yield what no marker can say: empty lines, control characters, texts without end."""
    for branch in harness.branches:
        for end in branch.ends:
            what = f"branch {branch.id}, end {end.at}"
            for line in end.text:
                if not line.strip():
                    fix = "take the line out, or leave text out for branch and connector"
                    yield Problem(end.where, f"{what}: a line of its text is empty", fix)
                yield from _unprintable(line, what, end.where)
    yield from _unprintable(harness.name, "harness name", harness.where)
    yield from _unprintable_ids(harness)


def _unprintable_ids(harness: Harness) -> Iterator[Problem]:
    for circuit in harness.circuits:
        if len(circuit.id) > LONGEST_TEXT or len(circuit.signal) > LONGEST_TEXT:
            yield from _unprintable(max(circuit.id, circuit.signal, key=len), "circuit", circuit.where)
    texts = "".join([circuit.id + circuit.signal for circuit in harness.circuits])
    if _CONTROL.search(texts):
        for circuit in harness.circuits:
            yield from _unprintable(circuit.id + circuit.signal, f"circuit {circuit.id!r}", circuit.where)
    others: tuple[tuple[str, Sequence[Named]], ...] = (
        ("connector", harness.connectors),
        ("branch", harness.branches),
        ("bag", harness.bags),
    )
    for what, things in others:
        for thing in things:
            yield from _unprintable(thing.id, f"{what} id", thing.where)


def _unprintable(text: str, what: str, where: Where) -> Iterator[Problem]:
    if len(text) > LONGEST_TEXT:
        message = f"{what}: {len(text)} characters, the limit is {LONGEST_TEXT}"
        yield Problem(where, message, f"shorten {text[:20]!r}…")
    if text.strip() and all(unicodedata.category(sign)[0] in "MCZ" for sign in text):
        yield Problem(where, f"{what}: {text[:20]!a} shows nothing", "write a letter or a digit")
        return
    found = _CONTROL.search(text)
    if found:
        fix = 'take it out; several lines are written ["DEPTH", "J4"]'
        yield Problem(where, f"{what}: sign {found[0]!a} in the text, which does not show", fix)
