"""Which markers carry a code, what it says in one unit, and the maker of its symbols that the fits are handed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from labeler.codes import payload_of, symbols
from labeler.errors import LabelerError, Problem
from labeler.fit.code import CodeMaker
from labeler.model import LINEAR, Code, Harness, Marker, Settings


def carries_code(marker: Marker) -> bool:
    """Return whether a marker is to carry a code."""
    settings = marker.settings
    return settings.code != "none" and marker.kind in settings.code_on and marker.lettered


def code_problems(markers: Iterable[Marker], harness: Harness, unit: str) -> Iterator[Problem]:
    """Yield why codes cannot say what they are to say in a unit, such as a serial that readers take differently."""
    for marker in filter(carries_code, markers):
        try:
            payload_of(marker, harness, unit)
        except LabelerError as error:
            yield from error.problems


class Coder:
    """Makes the codes of one harness and unit."""

    def __init__(self, harness: Harness, unit: str) -> None:
        self.harness, self.unit = harness, unit
        self._even: dict[int, tuple[Settings, Settings]] = {}  # by identity; the first is kept so that it stays its own

    def of(self, marker: Marker) -> tuple[Marker, CodeMaker | None]:
        """Return the marker as it is to be fitted, and the maker of its symbols; None: it carries none.

        A sleeve with a matrix code asks for even heating: heated from behind first, its modules may
        come out 0.10 to 0.14 off square on many seats.
        """
        if not carries_code(marker):
            return marker, None
        settings, marker = marker.settings, self.heated(marker)

        def make(kind: str, rule: str) -> Iterator[Code]:
            payload = payload_of(marker, self.harness, self.unit, rule)
            try:
                yield from symbols(kind or settings.code, payload, settings.code_correction)
            except LabelerError as error:
                if not kind:  # another kind is only looked at as a way out
                    raise LabelerError(
                        *(Problem(marker.where, f"{marker.at}: {p.message}", p.fix) for p in error.problems)
                    ) from error

        return marker, make

    def heated(self, marker: Marker) -> Marker:
        """Return a marker that carries a code as it is heated: a sleeve with a matrix code evenly."""
        settings = marker.settings
        if marker.kind != "sleeve" or settings.heating != "back first" or settings.code in LINEAR:
            return marker
        known = self._even.setdefault(id(settings), (settings, replace(settings, heating="even")))
        return replace(marker, settings=known[1])
