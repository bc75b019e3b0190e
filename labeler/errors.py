"""What can be wrong with somebody's data: a value with a place and a remedy, and the one exception."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_RUN = 300  # signs without a space that a message repeats whole; a path may have as many


@dataclass(frozen=True, slots=True)
class SourceLocation:
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

    where: SourceLocation
    message: str
    fix: str = ""
    warning: bool = False

    def __str__(self) -> str:
        text = on_one_line(f"{self.where}: " if self.where.source else "")
        text += "warning: " if self.warning else ""
        text += "\n".join(map(on_one_line, self.message.split("\n")))  # of a list, as many lines as it has
        return f"{text}; {on_one_line(self.fix)}" if self.fix else text


class LabelerError(Exception):
    """Wrong data: every problem found, to be reported at once. The command line exits with 1."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


class WrongUse(LabelerError):
    """The caller asked for something that cannot be asked for. The command line exits with 2."""


def on_one_line(text: str) -> str:
    """Return a message as one line that a terminal shows as it is written.

    Line breaks and signs that steer a terminal or the direction of reading are written as escapes;
    of a run without a space of more than ``LONGEST_RUN`` signs both ends are kept, and its length told.
    """
    if not text.isprintable():
        text = "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in text)
    if len(text) <= LONGEST_RUN:
        return text
    return " ".join(
        word if len(word) <= LONGEST_RUN else f"{word[:60]}…{word[-20:]} ({len(word)} signs)"
        for word in text.split(" ")
    )


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


def suggestion(word: str, known: Iterable[str], otherwise: str) -> str:
    """Return the next step for a name that is not known: the nearest known one, or ``otherwise`` where none is near."""
    near = nearest(word, known)
    return f"did you mean {near!r}?" if near else otherwise
