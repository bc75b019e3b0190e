"""Settings: what is looked up in tables, and values that contradict one another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol

from labeler.catalogue import Catalogue
from labeler.colours import base_colours, colour_name
from labeler.errors import LabelerError, Problem, Where
from labeler.model import Harness, Settings
from labeler.text import load_font

SEEN_THROUGH = ("clear", "transparent")  # tube that has no colour: common words


def settings_of(harness: Harness, catalogue: Catalogue) -> Iterator[Problem]:
    """Yield names that no table has, each where it is set first, and settings that contradict each other."""
    told: set[tuple[str, str]] = set()
    for settings, where in _set_somewhere(harness):
        for what, problem in _out_of_order(settings, where):
            if ("order", what) not in told:
                told.add(("order", what))
                yield problem
        for what, colour in (("tube_colour", settings.tube_colour), ("print_colour", settings.print_colour)):
            if (what, colour) not in told and colour_name(colour) is None and colour.casefold() not in SEEN_THROUGH:
                told.add((what, colour))
                message = f"{what}: {colour!r} is no colour code that is known; it is written as it stands"
                fix = f"use a code of IEC 60757 ({', '.join(base_colours())}), or {SEEN_THROUGH[0]}"
                yield Problem(where, message, fix, warning=True)
        for what, name, look_up in _looked_up(settings, catalogue):
            if (what, name) in told:
                continue
            told.add((what, name))
            try:
                look_up(name)
            except LabelerError as error:
                for found in error.problems:
                    yield Problem(where, f"{what}: {found.message}", found.fix)


_IN_ORDER = (
    ("shortest_cut_mm", "longest_cut_mm"),
    ("required_angle_arcmin", "preferred_angle_arcmin"),
    ("preferred_angle_arcmin", "largest_angle_arcmin"),
    ("reading_arc_deg", "turning_arc_deg"),
    ("narrowest_letter", "widest_letter"),
)


def _out_of_order(settings: Settings, where: Where) -> Iterator[tuple[str, Problem]]:
    """Yield settings that contradict each other: the first of a pair must not exceed the second."""
    for first, second in _IN_ORDER:
        low, high = getattr(settings, first), getattr(settings, second)
        if low > high:
            message = f"{first} {low:g} is larger than {second} {high:g}"
            yield message, Problem(where, message, "set the other one as well")


def _looked_up(settings: Settings, catalogue: Catalogue) -> Iterator[tuple[str, str, Callable[[str], object]]]:
    if settings.wire:
        yield "wire", settings.wire, catalogue.wire_kind
    if settings.covering_wall_mm is None:
        yield "covering", settings.covering, catalogue.covering_wall
    yield "font", settings.font, load_font
    for family in settings.sleeve:
        yield "sleeve", family, catalogue.tubes


def _set_somewhere(harness: Harness) -> Iterator[tuple[Settings, Where]]:
    """Yield every different settings object with the place that brought it in."""
    seen: set[int] = set()
    ends = (end for branch in harness.branches for end in branch.ends)
    groups: tuple[Iterable[Harness | _Set], ...] = (
        (harness,),
        harness.circuits,
        harness.branches,
        ends,
        harness.bags,
    )
    for group in groups:
        for holder in group:
            settings = holder.settings
            if settings is not None and id(settings) not in seen:
                seen.add(id(settings))
                yield settings, holder.where


class _Set(Protocol):
    @property
    def settings(self) -> Settings | None: ...
    @property
    def where(self) -> Where: ...
