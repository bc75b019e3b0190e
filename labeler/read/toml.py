"""A harness file (TOML) → `Harness`, with strict keys and types; every problem names its line.

The keys of each table are in `keys`. Besides those, every key of ``data/choices.toml`` may stand
under ``[defaults]`` and again in those of circuits, branches, their ends and bags where it is read:
the nearest one counts, an end's before its branch's.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from labeler.catalogue import load_choices
from labeler.errors import LabelerError, Problem, Where, refuse
from labeler.model import (
    Bag,
    Branch,
    BranchEnd,
    Cable,
    Circuit,
    Connector,
    Harness,
    Item,
    Settings,
)
from labeler.read.csv import inferred_connectors, read_csv
from labeler.read.files import file_bytes
from labeler.read.keys import ALIASES, BAG, BRANCH, CABLE, CIRCUIT, CONNECTOR, END, HARNESS, ITEM, TOP, Keys
from labeler.read.lines import Path as Place
from labeler.read.lines import line_index, line_of
from labeler.read.values import setting, unknown, with_settings
from labeler.read.xlsx import is_workbook

NO_ALIASES: Mapping[str, str] = {}


def read_toml(data: bytes, source: str, folder: Path | None, settings: Settings, changes: Mapping[str, Any]) -> Harness:
    """Return the harness in the bytes of a harness file.

    ``folder`` is where ``circuits_from`` is looked for (None: nowhere, the text came by a pipe);
    ``changes`` are settings that win over the file's defaults. Raises LabelerError with every
    problem found.
    """
    tree, index = parsed(data, source)
    return _Reader(tree, index, source).harness(data, folder, settings, changes)


def parsed(data: bytes, source: str) -> tuple[dict[str, Any], dict[Place, int]]:
    """Return the tables of a TOML text and the line of each place; raises LabelerError."""
    try:
        written = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise LabelerError(Problem(Where(source, line), "not UTF-8", "save the file as UTF-8")) from None
    try:
        return tomllib.loads(written), line_index(written.replace("\r\n", "\n"))
    except RecursionError:
        problem = Problem(Where(source), "nested too deeply", "a harness file has tables and lists, no more")
    except ValueError as error:
        found = re.search(r"\s*\(at line (\d+), column (\d+)\)", str(error))
        last = len(written.rstrip().splitlines())  # what never ends is found past the last line
        line = min(int(found[1]), last) if found else last if "end of document" in str(error) else 0
        message = re.sub(r"\s*\(at [^()]*\)$", "", str(error))
        place = f" at column {found[2]}" if found else ""
        problem = Problem(Where(source, line), f"no TOML: {message}{place}", "see examples for the form")
    raise LabelerError(problem) from None


class _Reader:
    """The tables of one file on their way to values; gathers problems, shares equal settings."""

    def __init__(self, tree: dict[str, Any], index: dict[Place, int], source: str) -> None:
        self.tree = tree
        self.index = index
        self.source = source
        self.problems: list[Problem] = []
        self.shared: dict[tuple[int, tuple[tuple[str, Any], ...]], Settings] = {}

    def harness(self, data: bytes, folder: Path | None, settings: Settings, changes: Mapping[str, Any]) -> Harness:
        for key in self.tree:
            if key not in TOP:
                self._problem((key,), f"unknown table {key!r}", unknown(key, TOP))
        head = self._table(("harness",), self._one("harness"), HARNESS, ("name",)) or {}
        defaults = self._settings_of(("defaults",), self._one("defaults"), {})
        base = with_settings(with_settings(settings, defaults), changes)
        listed = self._listed(head.pop("circuits_from", ""), folder, base)
        circuits = listed.circuits + self._circuits(base)
        cables = self._cables(listed.cables)
        connectors = self._rows("connector", CONNECTOR, Connector)
        branches, bags = self._branches(base), self._bags(base)
        refuse(sorted(self.problems, key=lambda problem: (problem.where.source, problem.where.line)))
        return Harness(
            **head,
            settings=base,
            connectors=connectors or self._inferred(circuits, branches),
            circuits=circuits,
            cables=cables,
            branches=branches,
            bags=bags,
            notes=listed.notes,
            where=Where(self.source, line_of(self.index, ("harness",))),
            text=data + listed.text,
        )

    # ------------------------------------------------------------ tables

    def _rows(self, name: str, keys: Keys, make: Callable[..., Any]) -> tuple[Any, ...]:
        """Return what an array of tables without settings holds."""
        made = []
        for place, row in self._many((name,), self.tree):
            values = self._table(place, row, keys, ("id",))
            if values is not None:
                made.append(make(**values, where=self._where(place)))
        return tuple(made)

    def _cables(self, listed: tuple[Cable, ...]) -> tuple[Cable, ...]:
        """Return the cables of the wire list with those of the file: the same id is the same cable."""
        named = {cable.id: cable for cable in listed}
        added = []
        for cable in self._rows("cable", CABLE, Cable):
            known = named.pop(cable.id, None)
            one, other = (known and known.outside_mm, cable.outside_mm)
            if known and one and other and one != other:
                message = f"cable {cable.id}: outside {other:g} mm, {known.where} says {one:g} mm"
                self.problems.append(Problem(cable.where, message, "give it once"))
            added.append(replace(cable, outside_mm=other or one))
        return (*named.values(), *added)

    def _circuits(self, base: Settings) -> tuple[Circuit, ...]:
        made = []
        for place, row in self._many(("circuit",), self.tree):
            own, settings = self._split(place, row, CIRCUIT, base)
            values = self._table(place, own, CIRCUIT, ("id", "from", "to"))
            if values is not None:
                made.append(Circuit(**values, where=self._where(place), settings=settings))
        return tuple(made)

    def _branches(self, base: Settings) -> tuple[Branch, ...]:
        made = []
        for place, row in self._many(("branch",), self.tree):
            own, settings = self._split(place, row, BRANCH, base, ("end",))
            ends = self._ends((*place, "end"), own, settings or base, settings)
            own = {key: value for key, value in own.items() if key != "end"}
            values = self._table(place, own, BRANCH, ("id",))
            if values is not None:
                made.append(Branch(**values, ends=ends, where=self._where(place), settings=settings))
        return tuple(made)

    def _ends(
        self, place: Place, branch: Mapping[str, Any], above: Settings, branch_settings: Settings | None
    ) -> tuple[BranchEnd, ...]:
        made = []
        for end, row in self._many(place, branch):
            own, settings = self._split(end, row, END, above, aliases=ALIASES)
            values = self._table(end, own, END, ("at",))
            if values is not None:
                own_or_branch = settings or branch_settings
                made.append(BranchEnd(**values, where=self._where(end), settings=own_or_branch))
        return tuple(made)

    def _bags(self, base: Settings) -> tuple[Bag, ...]:
        made = []
        for place, row in self._many(("bag",), self.tree):
            own, settings = self._split(place, row, BAG, base, ("contents",))
            contents = []
            for item, entry in self._many((*place, "contents"), own):
                found = self._table(item, entry, ITEM, ("item",))
                contents += [Item(**found)] if found is not None else []
            own = {key: value for key, value in own.items() if key != "contents"}
            values = self._table(place, own, BAG, ("id",))
            if values is not None:
                made.append(Bag(**values, contents=tuple(contents), where=self._where(place), settings=settings))
        return tuple(made)

    def _one(self, name: str) -> dict[str, Any]:
        """Return a table that stands once; missing is empty."""
        found = self.tree.get(name, {})
        if isinstance(found, dict):
            return found
        self._problem((name,), f"{name} must be a table", f"write [{name}] on a line of its own")
        return {}

    def _many(self, place: Place, table: Mapping[str, Any]) -> list[tuple[Place, dict[str, Any]]]:
        """Return the tables of an array with their places; missing is none."""
        name = str(place[-1])
        found = table.get(name, [])
        if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
            written = ".".join(str(step) for step in place if isinstance(step, str))
            fix = f"write [[{written}]] above each one"
            self._problem(place, f"{name} must be a list of tables", fix)
            return []
        return [((*place, number), row) for number, row in enumerate(found)]

    def _table(
        self, place: Place, row: Mapping[str, Any], keys: Keys, needed: tuple[str, ...]
    ) -> dict[str, Any] | None:
        """Return field → checked value, or None where something is wrong with this table."""
        before = len(self.problems)
        values = {}
        for key, value in row.items():
            if key not in keys:
                self._problem((*place, key), f"unknown key {key!r}", unknown(key, keys))
                continue
            field, check = keys[key]
            try:
                values[field] = check(value)
            except ValueError as error:
                self._problem((*place, key), f"{key}: {error}")
        for key in needed:
            if key not in row:
                name = str(place[0] if len(place) < 3 else place[2])
                self._problem(place, f"{name} without {key!r}", f"add {key} = …")
        return values if len(self.problems) == before else None

    # ------------------------------------------------------------ settings

    def _split(
        self,
        place: Place,
        row: Mapping[str, Any],
        keys: Keys,
        above: Settings,
        tables: tuple[str, ...] = (),
        aliases: Mapping[str, str] = NO_ALIASES,
    ) -> tuple[dict[str, Any], Settings | None]:
        """Part a table's own keys from the settings in it; None where it sets nothing."""
        choices = load_choices()
        level = str(place[-2])
        own = {key: value for key, value in row.items() if key in keys or key in tables}
        here = (key for key, choice in choices.items() if level in choice.levels)
        known = (*keys, *tables, *aliases, *here)
        given = {}
        for key, value in row.items():
            choice = choices.get(aliases.get(key, key))
            if choice and level in choice.levels and key not in own:
                given[key] = value
            elif choice and key not in own:
                fix = f"set it under [defaults] or on: {', '.join(choice.levels)}"
                self._problem((*place, key), f"{key} is not read in a {level}", fix)
            elif key not in own:
                self._problem((*place, key), f"unknown key {key!r}", unknown(key, known))
        changes = self._settings_of(place, given, aliases)
        return own, self._merged(above, changes) if changes else None

    def _settings_of(self, place: Place, row: Mapping[str, Any], aliases: Mapping[str, str]) -> dict[str, Any]:
        """Return checked settings by key."""
        choices = load_choices()
        found = {}
        for key, value in row.items():
            choice = choices.get(aliases.get(key, key))
            if choice is None:
                self._problem((*place, key), f"unknown key {key!r}", unknown(key, choices))
                continue
            try:
                found[choice.key] = setting(choice, value)
            except ValueError as error:
                self._problem((*place, key), f"{key}: {error}")
        return found

    def _merged(self, above: Settings, changes: dict[str, Any]) -> Settings:
        """Return settings with changes; the same changes to the same settings are the same object."""
        key = (id(above), tuple(sorted(changes.items())))
        if key not in self.shared:
            self.shared[key] = with_settings(above, changes)
        return self.shared[key]

    # ------------------------------------------------------------ the rest

    def _listed(self, name: str, folder: Path | None, base: Settings) -> Harness:
        """Return what the wire list beside the file holds."""
        nothing = Harness("")
        if not name:
            return nothing
        place: Place = ("harness", "circuits_from")
        within = Path(name)
        if folder is None or within.is_absolute() or ".." in within.parts or "\\" in name or ":" in name:
            fix = "name a file in the folder of this one"
            self._problem(place, f"circuits_from: {name!r} leaves the folder, or there is none", fix)
            return nothing
        path = folder / within
        if not path.resolve().is_relative_to(folder.resolve()):
            self._problem(place, f"circuits_from: {name!r} leads out of the folder", "copy the list here")
            return nothing
        try:
            data = file_bytes(path)
            if is_workbook(data):
                fix = f"write it as a harness file with labeler read {name} -o, or save the sheet as CSV"
                self._problem(place, f"circuits_from: {name!r} is a workbook, not a CSV", fix)
                return nothing
            listed = read_csv(data, path.name, "", base)
        except LabelerError as error:
            self.problems += error.problems
            return nothing
        if not listed.circuits:
            self._problem(place, f"circuits_from: {name!r} lists pins, not circuits", "give a list with one row a wire")
        return listed

    def _inferred(self, circuits: tuple[Circuit, ...], branches: tuple[Branch, ...]) -> tuple[Connector, ...]:
        """Return the connectors that circuits end at or, without circuits, the branches."""
        if circuits:
            return inferred_connectors(circuits)
        ends = {end.at: end.where for branch in reversed(branches) for end in reversed(branch.ends)}
        return tuple(Connector(id, where=where) for id, where in reversed(ends.items()))

    def _where(self, place: Place) -> Where:
        return Where(self.source, line_of(self.index, place))

    def _problem(self, place: Place, message: str, fix: str = "") -> None:
        self.problems.append(Problem(self._where(place), message, fix))
