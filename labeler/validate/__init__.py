"""What cannot be in a harness as a whole: names twice, names nobody knows, cavities that do not exist.

Every check is a function from the harness to problems; `validate` runs them all, so that everything
is told at once. Single values were checked where they were read. Characters that the font lacks
are found by the fitting, which knows the font.
"""

from __future__ import annotations

from collections.abc import Iterable

from labeler.catalogue import Catalogue
from labeler.errors import Problem
from labeler.model import Harness
from labeler.validate.branches import bags, branches
from labeler.validate.circuits import cables, ends_of_circuits, wires
from labeler.validate.names import Names, connectors, repeated_ids
from labeler.validate.settings import settings_of
from labeler.validate.texts import LONGEST_TEXT, texts

__all__ = ["LONGEST_TEXT", "validate"]


def validate(harness: Harness, catalogue: Catalogue) -> tuple[Problem, ...]:
    """Return every problem and warning of a harness; never raises for data."""
    names = Names(harness)
    checks: tuple[Iterable[Problem], ...] = (
        repeated_ids(harness),
        connectors(harness),
        ends_of_circuits(harness, names),
        wires(harness, catalogue),
        cables(harness, names, catalogue),
        branches(harness, names),
        bags(harness, names),
        settings_of(harness, catalogue),
        texts(harness),
    )
    return tuple(problem for check in checks for problem in check)
