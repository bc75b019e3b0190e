"""Sleeves as the bench meets them: slid on, cut, heated."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

from labeler.model import ClosingStep, Fit, Harness, Installation, InstallationStep, Obstacle
from labeler.tables.colours import colour_name
from labeler.tables.kinds import KINDS, SLID_ON

HEATINGS = ("unmarked side first", "even", "any")
NOT_RECORDED = "not recorded"  # of a print by a version that did not keep it


@dataclass(frozen=True, slots=True)
class Place:
    """Where a marker belongs: at a connector, or (``at`` "") along a branch."""

    branch: str
    at: str = ""


@dataclass(frozen=True, slots=True)
class Instructions:
    """How a sleeve goes on and where it comes to lie, as far as that is known."""

    installation: Installation | None = None
    clearance_mm: float | None = None  # over an obstacle
    place: str = ""
    over_insert: bool = False  # a paper strip is wound on under it
    line: str = ""  # "towards" or "away from": how the text reads along the branch
    symbology: str = ""  # the kind of a code that asks for even heat
    distance_from_connector_mm: float | None = None  # from ``at``
    bare_mm: float = 0.0  # that lie past the edge of a covering
    written: str = ""  # of a record that keeps no more than words

    @property
    def closes(self) -> bool:
        """Return whether a step of the work closes the way, or may: then it comes first."""
        if self.installation:
            return self.installation.before is not None
        return self.written not in ("", NOT_RECORDED)


@dataclass(frozen=True, slots=True)
class SleeveRow:
    """One sleeve or covering on its way to its place. ``lines`` is empty where a sleeve is plain.

    A covering has its name for ``tube``, and no place, colour, length or heating.
    """

    branch: str
    at: str
    lines: tuple[str, ...]
    tube: str
    colour: str
    cut_length_mm: float
    how: Instructions
    heating: str  # a plain sleeve is heated evenly: there is no lettering to spare
    number: int = 0  # in the installation order of its branch, from 1; 0 where no order is given
    over_insert: bool = False  # clear tube over a paper strip that says the lines; the tube itself is plain

    @property
    def place(self) -> Place:
        """Return where it belongs."""
        return Place(self.branch, self.at)


@dataclass(frozen=True, slots=True)
class Cut:
    """Equal pieces of tube to cut, and the places they are for."""

    tube: str
    colour: str
    cut_length_mm: float
    lettered: bool
    places: tuple[Place, ...]

    @property
    def quantity(self) -> int:
        """Return how many pieces."""
        return len(self.places)


@dataclass(frozen=True, slots=True)
class TubeTotal:
    """All of one tube in one colour, with the allowance for waste."""

    tube: str
    colour: str
    length_m: float


@dataclass(frozen=True, slots=True)
class HeatMethod:
    """One way to heat, and how many sleeves it is for."""

    heating: str  # unmarked side first | even | any
    sleeves: int


@dataclass(frozen=True, slots=True)
class ApplyMethod:
    """One kind of marker that is not shrunk, and how many there are; ``cut_out``: of paper, with lines to cut."""

    kind: str  # wrap | insert | flag
    cut_out: bool
    pieces: int


def sleeve_rows(harness: Harness, fits: Iterable[Fit], order: Sequence[InstallationStep]) -> tuple[SleeveRow, ...]:
    """Return the sleeves branch by branch, in harness order; inside a branch in the order of installation."""
    edges = edges_of(harness)
    grouped: dict[str, list[SleeveRow]] = {branch.id: [] for branch in harness.branches}
    for fit in fits:
        marker = fit.marker
        if marker.kind in SLID_ON and fit.tube is not None:
            code = marker.settings.sleeve.colour if KINDS[marker.kind].tube == "marked" else "clear"
            row = SleeveRow(
                branch=marker.branch,
                at=marker.place,
                lines=lines_of(fit) if marker.marked else (),
                tube=fit.tube.name,
                colour=colour_name(code) or code,
                cut_length_mm=fit.cut_length_mm,
                how=instructions(fit, edges.get((marker.branch, marker.place))),
                heating=marker.settings.sleeve.heating
                if marker.marked and KINDS[marker.kind].tube == "marked"
                else "even",
                over_insert=marker.kind == "insert",
            )
            grouped.setdefault(marker.branch, []).append(row)
    places = {(step.branch, step.place): place for place, step in enumerate(order)}
    for step in order:
        if not step.place:
            row = SleeveRow(step.branch, "", (), step.covering, "", 0.0, Instructions(step.how), "")
            grouped.setdefault(step.branch, []).append(row)
    for rows in grouped.values():
        rows.sort(key=lambda row: places.get((row.branch, row.at), len(places)))
    return tuple(
        replace(row, number=number) if (row.branch, row.at) in places else row
        for rows in grouped.values()
        for number, row in enumerate(rows, 1)
    )


def edges_of(harness: Harness) -> dict[tuple[str, str], float | None]:
    """Return how far from its connector the edge of each end's marker is to lie, mm, by branch and connector."""
    return {(branch.id, end.at): end.distance_from_connector_mm for branch in harness.branches for end in branch.ends}


def instructions(fit: Fit, edge_mm: float | None = None) -> Instructions:
    """Return how a sleeve goes on and where it comes to lie; ``edge_mm`` from its connector, where that is given."""
    marker, seat, line = fit.marker, fit.seat, ""
    if marker.marked and marker.role == "branch end" and marker.kind != "insert":
        line = "towards" if marker.settings.sleeve.reads == "towards connector" else "away from"
    return Instructions(
        installation=seat.installation if seat else None,
        clearance_mm=fit.tube.expanded_id_mm - seat.pass_over.high if seat and seat.obstacle and fit.tube else None,
        place=marker.place,
        over_insert=marker.kind == "insert",
        line=line,
        symbology=fit.code.symbology if fit.code is not None and marker.settings.sleeve.heating == "even" else "",
        distance_from_connector_mm=edge_mm,
        bare_mm=on_bare_mm(fit),
    )


def on_bare_mm(fit: Fit) -> float:
    """Return how much of a shrunk sleeve lies on the bare wires next to its end, mm, the middle of what it may be."""
    if len(fit.sections) < 2:
        return 0.0
    section = fit.seat.section if fit.seat else None
    bare = fit.sections[1] if section is None or section.towards_end else fit.sections[0]
    return (bare.shrunk_mm.low + bare.shrunk_mm.high) / 2


def lines_of(fit: Fit) -> tuple[str, ...]:
    """Return what a marker says, line by line, as far as that is settled."""
    return fit.lines or fit.marker.text


def cuts_of(rows: Iterable[SleeveRow]) -> tuple[Cut, ...]:
    """Return the equal pieces together, tube by tube as they first occur, long pieces first."""
    equal: dict[tuple[str, str], dict[tuple[float, bool], list[Place]]] = {}
    for row in rows:
        lengths = equal.setdefault((row.tube, row.colour), {})
        lettered = bool(row.lines) and not row.over_insert
        lengths.setdefault((row.cut_length_mm, lettered), []).append(row.place)
    return tuple(
        Cut(
            tube,
            colour,
            length,
            lettered,
            tuple(same),
        )
        for (tube, colour), lengths in equal.items()
        for (length, lettered), same in sorted(lengths.items(), key=lambda cut: cut[0], reverse=True)
    )


def totals_of(cuts: Iterable[Cut], allowance: float) -> tuple[TubeTotal, ...]:
    """Return how much tube the pieces take, m, with an allowance for waste (a fraction)."""
    millimetres: dict[tuple[str, str], float] = {}
    for cut in cuts:
        tube = cut.tube, cut.colour
        millimetres[tube] = millimetres.get(tube, 0.0) + cut.quantity * cut.cut_length_mm
    return tuple(TubeTotal(*tube, round(length * (1 + allowance) / 1000, 6)) for tube, length in millimetres.items())


def heat_methods(rows: Sequence[SleeveRow]) -> tuple[HeatMethod, ...]:
    """Return the ways to heat that occur, each with its number of sleeves."""
    counts = {heating: sum(row.heating == heating for row in rows) for heating in HEATINGS}
    return tuple(HeatMethod(heating, count) for heating, count in counts.items() if count)


# ---------------------------------------------------------------- what the record keeps


def as_json(how: Instructions) -> str:
    """Return instructions as the record keeps them: JSON of what is known, ``""`` where that is nothing."""
    known = _known(how)
    return json.dumps(known, ensure_ascii=False) if known.keys() - {"place"} else ""


def _known(value: Any) -> dict[str, Any]:
    found = {each.name: getattr(value, each.name) for each in fields(value)}
    defaults = {each.name: each.default for each in fields(value)}
    return {k: _known(v) if is_dataclass(v) else v for k, v in found.items() if v != defaults[k]}


def from_json(text: str) -> Instructions:
    """Return the instructions that `as_json` wrote; other text is kept as it is written."""
    if not text:
        return Instructions(written=NOT_RECORDED)
    try:
        known: dict[str, Any] = json.loads(text)
        return Instructions(**known | {"installation": _installation(known.get("installation"))})
    except (AttributeError, KeyError, TypeError, ValueError):
        return Instructions(written=text)


def _installation(known: dict[str, Any] | None) -> Installation | None:
    if known is None:
        return None
    on, step = known.get("obstacle"), known.get("before")
    before = ClosingStep(step["action"], tuple(step.get("places", ()))) if step else None
    return Installation(**known | {"obstacle": Obstacle(**on) if on else None, "before": before})
