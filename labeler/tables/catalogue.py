"""What a shop works with: the settings, tubes, wires, coverings and stocks.

The shipped tables are package data. A shop's own folders hold ``tubes.toml``, ``wire_types.toml``,
``coverings.toml`` and ``layouts/*.toml`` in the same form; they come first and replace by name.
Every file is read strictly: an unknown key, a wrong type or a figure that cannot be is a
`Problem` with file and line, and all problems of all files are reported at once.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, fields
from functools import cache, lru_cache, partial
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, TypeVar

from labeler.errors import LabelerError, Problem, SourceLocation, refuse, suggestion
from labeler.model import GROUPS, NOWHERE, Range, SeatCovering, Settings, Stock, Tube, WireDiameter
from labeler.tables.document import (
    ANY,
    FLAG,
    LARGEST,
    NUMBER,
    TABLE,
    TEXT,
    TEXTS,
    Document,
    Form,
    Key,
    Row,
    load,
    read_table,
    shipped,
)
from labeler.tables.materials import Covering, Family, WireType, read_coverings, read_families, read_wire_types
from labeler.tables.stocks import read_stock

FOLDERS_VARIABLE = "LABELER_STOCK"
FILES = ("tubes.toml", "wire_types.toml", "coverings.toml")

# ---------------------------------------------------------------- settings

LEVELS = ("circuit", "branch", "end", "bag")  # where a setting may stand besides [defaults]
TYPES = ("length", "lengths", "number", "fraction", "angle", "string", "list", "boolean")

SPEC = Form(
    {
        "type": Key(TEXT, "what is written for it", "length", required=True, allowed=TYPES),
        "levels": Key(TEXTS, "where it is read besides [defaults]; left out, at all", ["end"], allowed=LEVELS),
        "optional": Key(FLAG, "whether it may be left empty", True, default=False),
        "default": Key(ANY, "its value where nothing is set", 400),
        "min": Key(NUMBER, "least value, in the same unit", 50, low=-LARGEST),
        "max": Key(NUMBER, "greatest value, in the same unit", 5000, low=-LARGEST),
        "allowed": Key(TEXTS, "the only words allowed", ["even", "any"]),
        "description": Key(TEXT, "what it does", "distance at which markers are read", required=True),
        "reason": Key(TEXT, "why this default", "project choice", required=True),
    },
    named_by="",
)


def _specs_form(keys: Iterable[str]) -> Form:
    """Return the form of ``settings.toml``: a table for each setting, inside the table of its group."""
    names: dict[str, list[str]] = {}
    for key in keys:
        group, _, name = key.rpartition(".")
        names.setdefault(group, []).append(name)
    spec = Key(TABLE, "a setting of harness files", required=True, form=SPEC)
    groups = {
        group: Key(
            TABLE, f"the settings of {group}", required=True, form=Form(dict.fromkeys(inside, spec), named_by="")
        )
        for group, inside in names.items()
        if group
    }
    return Form({**dict.fromkeys(names[""], spec), **groups})


SPECS = _specs_form(Settings.keys())

Value = str | float | bool | tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SettingSpec:
    """One setting: its dotted key, its default, its limits in the same unit, the default's reason.

    ``levels`` are those of `LEVELS` at which it is read. ``type`` is one of `TYPES`; lengths are in
    mm. ``optional``: "" means not given.
    """

    key: str
    type: str
    default: Value
    levels: tuple[str, ...] = LEVELS
    optional: bool = False
    min: float | None = None
    max: float | None = None
    allowed: tuple[str, ...] = ()
    description: str = ""
    reason: str = ""


@cache
def setting_specs() -> dict[str, SettingSpec]:
    """Return the specification of every setting by its dotted key, in the order of ``data/settings.toml``.

    Raises LabelerError with every key that does not suit its form, is unknown to `Settings`, or
    is missing there.
    """
    return specs_of(load(shipped("data", "settings.toml"), "settings.toml"))


def specs_of(document: Document) -> dict[str, SettingSpec]:
    """Return the specifications of one document; see `setting_specs`."""
    read = read_table(document, SPECS)
    problems = list(read.all_problems())
    specs = {}
    for key, row in _flat(read.values):
        if not row.problems:
            default = row.values.get("default")
            spec = specs[key] = SettingSpec(**{**row.values, "key": key, "default": _held(default)})
            if not _default_suits(spec):
                text = f"{key}: default {default!r} must be a {spec.type} within the key's own limits"
                problems.append(Problem(document.where(tuple(key.split("."))), text, "correct the default"))
    refuse(problems)
    return specs


def _flat(values: Mapping[str, Row]) -> Iterator[tuple[str, Row]]:
    """Yield the tables of settings with their dotted keys."""
    flat = {item.name for item in fields(Settings)} - GROUPS.keys()
    for name, row in values.items():
        if name in flat:
            yield name, row
        else:
            yield from ((f"{name}.{inside}", each) for inside, each in row.values.items())


def default_settings() -> Settings:
    """Return the settings of a harness that sets nothing; what may be empty and is, is None."""
    return Settings.of({s.key: None if s.optional and s.default == "" else s.default for s in setting_specs().values()})


def _held(default: object) -> Any:
    if isinstance(default, list):
        return tuple(map(_held, default))
    return float(default) if type(default) is int else default


def _default_suits(spec: SettingSpec) -> bool:
    many, kind = isinstance(spec.default, tuple), spec.type
    values = spec.default if isinstance(spec.default, tuple) else (spec.default,)
    if spec.optional and spec.default == "":
        return True
    if many != (kind in ("lengths", "list")) or (kind == "list" and not values):
        return False
    if kind == "boolean":
        return isinstance(spec.default, bool)
    if kind in ("string", "list"):
        return all(isinstance(each, str) and (not spec.allowed or each in spec.allowed) for each in values)
    low, high = -LARGEST if spec.min is None else spec.min, LARGEST if spec.max is None else spec.max
    return all(isinstance(each, float) and low <= each <= high for each in values)


# ---------------------------------------------------------------- catalogue

DEFAULT_WIRES = {"AWG": "SAE J1128 TXL", "mm2": "ISO 6722-1 thin wall"}  # reason: settings.toml, "wire_type"


def default_wire(size: str) -> str:
    """Return the kind of insulation assumed for a canonical size that names none; "" for no size.

    >>> default_wire("20 AWG"), default_wire("0.5 mm2")
    ('SAE J1128 TXL', 'ISO 6722-1 thin wall')
    """
    return DEFAULT_WIRES.get(size.rpartition(" ")[2], "")


def with_low_end(found: WireDiameter, settings: Settings) -> WireDiameter:
    """Return a table's diameter, its minimum ``wire.od_undersize`` below the nominal where none is stated."""
    return _lowered(found, settings.wire.od_undersize) if found.from_nominal and settings.wire.od_undersize else found


@lru_cache(maxsize=1024)
def _lowered(found: WireDiameter, under: float) -> WireDiameter:
    nominal = found.range_mm.low
    source = f"{found.source}; low end {100 * under:g} % below the nominal {nominal:g} mm (wire.od_undersize)"
    return WireDiameter(Range(round(nominal * (1 - under), 6), found.range_mm.high), source, True)


Entry = TypeVar("Entry", bound=Family | Tube | WireType | Covering | Stock)


def _word(name: str) -> str:
    """Return a name as it is compared: any case, one blank for several."""
    return " ".join(name.split()).casefold()


def _named(entries: Iterable[Entry]) -> list[tuple[str, Entry]]:
    """Return entries with each of their names, as they are compared: all names before all aliases."""
    known = tuple(entries)
    aliases = [(_word(alias), entry) for entry in known for alias in getattr(entry, "aliases", ())]
    return [*((_word(entry.name), entry) for entry in known), *aliases]


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All tables together, the shop's own entries first. Names are found in any case.

    A look-up that fails raises LabelerError with one problem at ``where``, the caller's place,
    that names the nearest known name.
    """

    families: tuple[Family, ...] = ()
    wire_types: tuple[WireType, ...] = ()
    coverings: tuple[Covering, ...] = ()
    stocks: tuple[Stock, ...] = ()
    _diameters: Mapping[tuple[str, str], WireDiameter] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        """Index the diameters by kind and size, first entries before later ones."""
        named = reversed(_named(self.wire_types))
        index = {(name, size): found for name, kind in named for size, found in kind.sizes}
        object.__setattr__(self, "_diameters", index)

    def family(self, name: str, where: SourceLocation = NOWHERE) -> Family:
        """Return a family of tube."""
        return _found("family of tube", "tubes", name, self.families, where)

    def tubes(self, family: str, where: SourceLocation = NOWHERE) -> tuple[Tube, ...]:
        """Return the tubes of a family, smallest supplied diameter first."""
        return self.family(family, where).tubes

    def tube(self, name: str, where: SourceLocation = NOWHERE) -> Tube:
        """Return one tube by its whole name, "AS23053/5 1/4"."""
        tubes = [tube for family in self.families for tube in family.tubes]
        return _found("tube", "tubes", name, tubes, where)

    def wire_type(self, name: str, where: SourceLocation = NOWHERE) -> WireType:
        """Return a kind of insulation by its name or one of its aliases."""
        return _found("kind of wire", "wires", name, self.wire_types, where)

    def wire_diameter(self, kind: str, size: str, where: SourceLocation = NOWHERE) -> WireDiameter:
        """Return the finished diameter of a wire.

        ``kind`` may be "": then `default_wire` of the size is taken. ``size`` is canonical.
        Raises LabelerError for an unknown kind, for no size, and for a size that the kind's table
        lacks: the text lists the sizes that it has and the kinds that have this one.
        """
        if not size:
            raise LabelerError(Problem(where, "no wire size is given", "give size, or measure od_mm"))
        found = self._diameters.get((_word(kind or default_wire(size)), size))
        if found is not None:
            return found
        entry = self.wire_type(kind or default_wire(size), where)
        has = ", ".join(known for known, _ in entry.sizes)
        others = [other.name for other in self.wire_types if any(known == size for known, _ in other.sizes)]
        fix = f"give od_mm, or a kind that has it: {', '.join(others)}" if others else "give od_mm"
        raise LabelerError(Problem(where, f"{entry.name} has no {size}; it has {has}", fix))

    def covering(self, name: str, where: SourceLocation = NOWHERE) -> Covering:
        """Return a covering by its name or one of its aliases."""
        return _found("covering", "coverings", name, self.coverings, where)

    def seat_covering(self, name: str, where: SourceLocation = NOWHERE) -> SeatCovering:
        """Return a covering as it lies on a seat: its wall all round [mm], laid and squeezed, and its source."""
        covering = self.covering(name, where)
        return SeatCovering(name, covering.wall_mm, covering.source, covering.squeezed_mm)

    def slides_on(self, covering: str) -> bool:
        """Return whether a covering is pulled over the wires from an end, and not wound or laid around them."""
        return self.covering(covering).slide_on

    def stock(self, name: str, where: SourceLocation = NOWHERE) -> Stock:
        """Return a stock by the name of its file."""
        return _found("stock", "stock", name, self.stocks, where)


NO_TABLES = Catalogue()
"""A catalogue in which nothing is known."""

_LISTED = 12
"""How many names an unknown one is answered with."""


def _found(what: str, table: str, name: str, entries: Iterable[Entry], where: SourceLocation) -> Entry:
    """Return the entry of this name: names first, aliases after them."""
    known = list(entries)
    word = _word(name)
    for each, entry in _named(known):
        if each == word:
            return entry
    listed = ", ".join(entry.name for entry in known[:_LISTED]) or "none"
    if len(known) > _LISTED:
        listed += f" and {len(known) - _LISTED} more: labeler list {table} lists them"
    names = [each for entry in known for each in (entry.name, *getattr(entry, "aliases", ()))]
    raise LabelerError(
        Problem(where, f"{what} {name!r} is unknown", suggestion(name, names, f"{table} known: {listed}"))
    )


# ---------------------------------------------------------------- loading


def load_catalogue(extra: Sequence[Path] = ()) -> Catalogue:
    """Return the shipped tables with those of the shop's folders before them.

    Folders in order: ``extra``, those in the environment variable LABELER_STOCK (parted as PATH
    is), the user's configuration folder if there is one. Read once for the same folders.
    Raises LabelerError with every problem in every file, also for a folder that is not there.
    """
    named, own = named_folders(), own_folders()
    folders = tuple(Path(folder) for folder in (*extra, *named))
    refuse(problem for folder in folders for problem in _shop_problems(folder, may_be_empty=False))
    refuse(problem for folder in own for problem in _shop_problems(folder, may_be_empty=True))
    return _load((*folders, *own), tuple(_stamps((*folders, *own))))


def named_folders() -> tuple[Path, ...]:
    """Return the folders of tables that the environment variable names."""
    return tuple(Path(part) for part in os.environ.get(FOLDERS_VARIABLE, "").split(os.pathsep) if part)


def own_folders() -> tuple[Path, ...]:
    """Return the user's configuration folder, if it is there."""
    return (_user_folder(),) if os.path.lexists(_user_folder()) else ()


def _stamps(folders: Iterable[Path]) -> Iterator[tuple[str, int, int]]:
    """Yield the shop's own files, each with its time and size: a catalogue is read anew when one of them changes."""
    for folder in folders:
        for path in (*(folder / name for name in FILES), *(folder / "layouts").glob("*")):
            with suppress(OSError):
                found = path.stat()
                yield str(path), found.st_mtime_ns, found.st_size


def _user_folder() -> Path:
    from platformdirs import user_config_path

    return user_config_path("labeler", appauthor=False)


SHOP = f"it must hold {', '.join(FILES)} or layouts/"


def _shop_problems(folder: Path, *, may_be_empty: bool) -> Iterator[Problem]:
    if not (folder.is_dir() and os.access(folder, os.R_OK | os.X_OK)):
        yield Problem(SourceLocation(str(folder)), "is no folder that can be read", SHOP)
    elif not may_be_empty and not any(os.path.lexists(folder / name) for name in (*FILES, "layouts")):
        yield Problem(SourceLocation(str(folder)), "holds no table", SHOP)


Source = tuple[Traversable | Path, str, Callable[[Document], tuple[tuple[Entry, ...], list[Problem]]]]
"""A file, its name in messages, and its reader."""


@lru_cache(maxsize=4)
def _load(folders: tuple[Path, ...], _: tuple[tuple[str, int, int], ...] = ()) -> Catalogue:
    """Return the tables of the folders and the shipped ones; the files' stamps tell one state of them from another."""
    problems: list[Problem] = []
    catalogue = Catalogue(
        families=_merged(_tables("tubes.toml", read_families, folders), problems),
        wire_types=_merged(_tables("wire_types.toml", read_wire_types, folders), problems),
        coverings=_merged(_tables("coverings.toml", read_coverings, folders), problems),
        stocks=_merged(_stock_files((*(each / "layouts" for each in folders), shipped_layouts()), problems), problems),
    )
    refuse(problems)
    return catalogue


def _merged(sources: Iterable[Source[Entry]], problems: list[Problem]) -> tuple[Entry, ...]:
    """Return the entries of files, the first of a name kept; problems are added."""
    entries: dict[str, Entry] = {}
    for path, name, read in sources:
        try:
            found, wrong = read(load(path, name))
        except LabelerError as error:
            problems += error.problems
        else:
            problems += wrong
            for entry in found:
                entries.setdefault(entry.name.casefold(), entry)
    return tuple(entries.values())


def _tables(
    file: str, read: Callable[[Document], tuple[tuple[Entry, ...], list[Problem]]], folders: Iterable[Path]
) -> Iterator[Source[Entry]]:
    """Yield a table of every folder that has it, and the shipped one."""
    yield from ((path, str(path), read) for path in (folder / file for folder in folders) if os.path.lexists(path))
    yield shipped("data", file), file, read


def _stock_files(places: Iterable[Traversable | Path], problems: list[Problem]) -> Iterator[Source[Stock]]:
    """Yield the stock files of folders, in each by their names; hidden files are none."""
    for layouts in places:
        if isinstance(layouts, Path) and not os.path.lexists(layouts):
            continue
        if isinstance(layouts, Path) and not (layouts.is_dir() and os.access(layouts, os.R_OK | os.X_OK)):
            problems.append(
                Problem(SourceLocation(str(layouts)), "is no folder that can be read", "put stock files into it")
            )
            continue
        here: dict[str, str] = {}
        files = (path for path in layouts.iterdir() if path.name.casefold().endswith(".toml") and path.name[0] != ".")
        for path in sorted(files, key=lambda path: path.name):
            name = path.name[: -len(".toml")]
            same = here.setdefault(name.casefold(), path.name)
            if same != path.name:
                text = f"names the same stock as {same}: capitals make no difference"
                problems.append(Problem(SourceLocation(str(path)), text, "rename one of the files"))
            yield path, str(path), partial(read_stock, name=name)


def shipped_layouts() -> Traversable | Path:
    """Return the folder of the shipped stocks: in the package (wheel), or beside it (checkout)."""
    inside = shipped("layouts", "")
    return inside if inside.is_dir() else Path(__file__).parents[2] / "layouts"
