"""What can be wrong with somebody's data: a value with a place and a remedy, and the one exception."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Where:
    """A place in a file: ``boat.toml:12`` or ``boat.csv:7``."""

    source: str
    line: int = 0

    def __str__(self) -> str:
        return f"{self.source}:{self.line}" if self.line else self.source


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, where it stands, and what to do about it.

    ``message`` names the value found and the limit it breaks; ``fix`` the next step.
    ``warning`` problems are shown and do not stop the work.
    """

    where: Where
    message: str
    fix: str = ""
    warning: bool = False

    def __str__(self) -> str:
        text = f"{self.where}: " if self.where.source else ""
        text += ("warning: " if self.warning else "") + self.message
        return f"{text}; {self.fix}" if self.fix else text


class LabelerError(Exception):
    """Wrong data: every problem found, to be reported at once. The command line exits with 1."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


class WrongUse(LabelerError):
    """The caller asked for something that cannot be asked for. The command line exits with 2."""


def refuse(problems: Iterable[Problem]) -> None:
    """Raise one ``LabelerError`` with all the problems, if one of them is more than a warning."""
    found = tuple(problems)
    if any(not problem.warning for problem in found):
        raise LabelerError(*found)


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word nearest to ``word``, or ``""`` where none is near."""
    from difflib import get_close_matches

    folded = {candidate.casefold(): candidate for candidate in known}
    found = get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else ""
