"""Harness files of a river survey boat. Line numbers are counted by eye, from 1."""

from __future__ import annotations

import contextlib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse
from labeler.harness import index
from labeler.model import Bag, Branch, BranchEnd, Cable, Circuit, Connector, Harness, Item, Pin, Settings
from labeler.plan import plan
from labeler.readers.toml import read_toml
from labeler.tables.catalogue import SettingSpec, default_settings, load_catalogue, setting_specs
from labeler.tables.document import line_index
from tests.make import read_harness

BOAT = """\
[harness]
name = "River survey boat, sensors"
part_number = "RSB-210"
revision = "C"

[defaults]
sleeve.heating = "even"
print.min_capital_height_mm = "1/16 in"
sleeve.pass_over_margin = "12 %"

[[connector]]
id = "J4"
kind = "connector"
description = "Depth sounder"
cavities = 4
max_width_mm = 18.0
contact_width_mm = "0.1 in"

[[connector]]
id = "P1"

[[connector]]
id = "GND1"
kind = "ring terminal"

[[circuit]]
id = "W101"
from = "P1:12"
to = "J4:2"
size = "20 AWG"
wire_type = "SAE J1128 TXL"
od_mm = 1.9
colour = "OG"
signal = "DEPTH RX"
length_mm = 850
cable = "K1"

[[circuit]]
id = "W102"
from = "P1:13"
to = "GND1"
size = "0,5 mm²"
marker.wire = "none"

[[cable]]
id = "K1"
od_mm = "6.2 mm"

[[branch]]
id = "B4"
circuits = ["W101", "W102"]
covering = "braided sleeving"
bundle_diameter_mm = 4.4
bundle_diameter_tolerance_mm = 0.2
length_mm = "85 cm"

  [[branch.end]]
  at = "J4"
  text = ["DEPTH", "J4"]
  connector_installed = true
  cut_length_mm = 30
  distance_from_connector_mm = 25
  sleeve.colour = "YE"

  [[branch.end]]
  at = "P1"
  marked = false
  text = "SENSORS P1"

[[branch]]
id = "B5"
covering = "braided sleeving"

[[bag]]
id = "K4"
branch = "B4"
contents = [ { item = "housing, 4 cavities", quantity = 1 }, { item = "contact", quantity = 4 } ]
"""


def read(text: str | bytes, folder: Path | None = None, changes: Any = None) -> Harness:
    data = text if isinstance(text, bytes) else text.encode()
    return read_toml(data, "boat.toml", folder, default_settings(), changes or {}, load_catalogue())


def set_on(holder: Harness | Circuit | Branch | BranchEnd | Bag) -> Settings:
    """The settings of something that sets its own."""
    return holder.settings


def problems(text: str | bytes, folder: Path | None = None) -> tuple[Problem, ...]:
    with pytest.raises(LabelerError) as caught:
        read(text, folder)
    return caught.value.problems


def test_a_whole_harness() -> None:
    harness = read(BOAT)
    assert (harness.name, harness.part_number, harness.revision) == ("River survey boat, sensors", "RSB-210", "C")
    assert harness.text == BOAT.encode()
    first, _, third = harness.connectors
    assert first == Connector("J4", "connector", "Depth sounder", 4, 18.0, 2.54, SourceLocation("boat.toml", 11))
    assert (third.kind, third.cavities) == ("ring terminal", None)
    one, two = harness.circuits
    assert (one.start, one.finish, two.finish) == (Pin("P1", "12"), Pin("J4", "2"), Pin("GND1"))
    assert (one.size, one.wire_type, one.od_mm, one.cable) == ("20 AWG", "SAE J1128 TXL", 1.9, "K1")
    assert (one.colour, one.signal, one.length_mm, two.size) == ("OG", "DEPTH RX", 850, "0.5 mm2")
    assert harness.cables == (Cable("K1", 6.2, SourceLocation("boat.toml", 45)),)
    assert harness.bags[0].contents == (Item("housing, 4 cavities", 1), Item("contact", 4))


def test_branches_and_ends() -> None:
    branch = read(BOAT).branches[0]
    assert (branch.circuits, branch.bundle_diameter_mm, branch.bundle_diameter_tolerance_mm) == (
        ("W101", "W102"),
        4.4,
        0.2,
    )
    assert branch.length_mm == 850  # 85 cm
    here, there = branch.ends
    assert (here.at, here.text, here.connector_installed, here.marked) == ("J4", ("DEPTH", "J4"), True, True)
    assert (here.cut_length_mm, here.distance_from_connector_mm) == (30, 25)
    assert (there.text, there.connector_installed, there.marked) == (("SENSORS P1",), False, False)
    assert (here.where.line, there.where.line) == (57, 65)


def test_settings_are_inherited() -> None:
    harness = read(BOAT)
    base = set_on(harness)
    assert base.sleeve.heating == "even"
    assert (base.print.min_capital_height_mm, base.sleeve.pass_over_margin) == pytest.approx((1.5875, 0.12))
    assert base.sleeve.grip_margin == default_settings().sleeve.grip_margin
    one, two = harness.circuits
    assert one.settings is base
    assert (set_on(two).marker.wire, set_on(two).sleeve.heating) == ("none", "even")
    branch, other = harness.branches
    assert set_on(branch).covering == "braided sleeving"
    here, there = branch.ends
    assert (set_on(here).sleeve.colour, set_on(here).covering) == ("YE", "braided sleeving")
    assert there.settings is branch.settings
    assert other.settings is branch.settings  # equal overrides are one object
    assert harness.bags[0].settings is base


def test_the_callers_settings_win_over_the_files_defaults() -> None:
    assert set_on(read(BOAT, changes={"sleeve.heating": "any"})).sleeve.heating == "any"


WORDS: dict[str, Any] = {
    "wire_type": "SAE J1128 GXL",
    "covering": "braided sleeving",
    "sleeve.families": ["3:1 single wall"],
    "marker.wire_text": "circuit",
    "print.font": "Fira Sans Condensed",
    "sleeve.colour": "YE",
    "print.colour": "BU",
    "sleeve.cut_lengths_mm": [20.0, 30.0],
    "covering_wall_mm": 0.6,
    "code.on": ["tag", "sleeve"],
    "code.data": "{serial}/{marker}",
    "tag.safety_message": "Keep it dry.",
}
LEVELS = {
    "circuit": '[[circuit]]\nid = "W1"\nfrom = "J4:1"\nto = "P1:1"\nsize = "20 AWG"\n',
    "branch": '[[branch]]\nid = "B"\n',
    "end": '[[branch.end]]\nat = "J4"\n',
    "bag": '[[bag]]\nid = "K"\nconnector = "J4"\n',
}
CODES = {key for key in setting_specs() if key.startswith("code.")} - {
    "code.max_arc_deg",
    "code.scan_tilt_deg",
    "code.max_grid_nonuniformity",
    "code.min_axial_grade",
}  # a tag is flat
OTHER_END = '[[branch.end]]\nat = "P1"\n'
ROLES = {"circuit": "wire end", "branch": "branch end", "end": "branch end", "bag": "bag"}


def other_value(spec: SettingSpec) -> Any:
    """Return a value of a setting that is not its default."""
    if spec.key in WORDS:
        return WORDS[spec.key]
    if spec.type == "boolean":
        return not spec.default
    if spec.allowed:
        return next(word for word in spec.allowed if word not in (spec.default, "none"))
    assert spec.min is not None
    assert spec.max is not None
    return next(value for value in (spec.min, spec.max) if value != spec.default)


def written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(value)


def set_at(level: str, spec: SettingSpec) -> Harness:
    """Return a harness that sets one setting at one level."""
    line = f"{spec.key} = {written(other_value(spec))}\n"
    tables = (table + (line if level == name else "") for name, table in LEVELS.items())
    circuit, branch, end, bag = tables
    return read(f'[harness]\nname = "Boat"\n{circuit}{branch}{end}{OTHER_END}{bag}')


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("key", list(setting_specs()))
def test_a_setting_counts_where_it_may_stand_and_is_refused_elsewhere(key: str, level: str) -> None:
    """By the marker's settings, which size and fit read; the wire type is a circuit's own key too."""
    spec = setting_specs()[key]
    if level not in spec.levels:
        with pytest.raises(LabelerError) as caught:
            set_at(level, spec)
        (problem,) = caught.value.problems
        assert problem.message == f"{key} is not read in a {level}"
        assert problem.fix == f"set it under [defaults] or on: {', '.join(spec.levels)}"
        return
    made = set_at(level, spec)
    if key == "wire_type":
        assert made.circuits[0].wire_type == other_value(spec)
        return
    changed = {
        (marker.role, marker.place)
        for marker in plan(index(made))[0]
        if marker.settings.get(key) != made.settings.get(key)
    }
    assert changed
    assert {role for role, _ in changed} == {ROLES[level]}
    assert level != "end" or {at for _, at in changed} == {"J4"}


def test_every_setting_says_where_it_is_read() -> None:
    """A table without levels would claim all four, and nothing is read at all of them but how letters are made."""
    everywhere = {key for key, spec in setting_specs().items() if len(spec.levels) == len(LEVELS)}
    assert everywhere == {
        "print.font",
        "print.colour",
        "print.min_capital_height_mm",
        "print.min_visual_angle_arcmin",
        "print.preferred_visual_angle_arcmin",
        "print.line_spacing",
        "print.dpi",
        "print.min_dots_per_capital",
        *CODES,
    }


def test_a_list_of_one_line_is_the_same_as_the_line() -> None:
    text = '[harness]\nname = "Boat"\n[[branch]]\nid = "B"\n[[branch.end]]\nat = "J4"\ntext = {}\n'
    assert read(text.format('["DEPTH J4"]')).branches[0].ends[0].text == ("DEPTH J4",)
    assert read(text.format('"DEPTH J4"')).branches[0].ends[0].text == ("DEPTH J4",)


def test_connectors_are_inferred_where_none_is_declared() -> None:
    circuits = '[harness]\nname = "Boat"\n[[circuit]]\nid = "W1"\nfrom = "P1:1"\nto = "J4"\n'
    assert [connector.id for connector in read(circuits).connectors] == ["P1", "J4"]
    ends = '[harness]\nname = "B"\n[[branch]]\nid = "B"\n[[branch.end]]\nat = "J4"\n[[branch.end]]\nat = "P1"\n'
    assert [connector.id for connector in read(ends).connectors] == ["J4", "P1"]


def test_breakouts_have_a_table_of_their_own() -> None:
    breakout = '[[breakout]]\nid = "N1"\ndescription = "Aft bulkhead"\n'
    ends = '[[branch]]\nid = "B1"\n[[branch.end]]\nat = "J4"\n[[branch.end]]\nat = "N1"\n'
    declared = read(f'{HEAD}{breakout}[[connector]]\nid = "J4"\n{ends}').connectors
    assert [(each.id, each.kind) for each in declared] == [("J4", "connector"), ("N1", "breakout")]
    assert (declared[1].description, declared[1].where.line) == ("Aft bulkhead", 3)
    inferred = read(f"{HEAD}{breakout}{ends}").connectors
    assert [(each.id, each.kind) for each in inferred] == [("J4", "connector"), ("N1", "breakout")]
    with pytest.raises(LabelerError, match="unknown key 'cavities'"):
        read(f"{HEAD}{breakout}cavities = 4\n")
    with pytest.raises(LabelerError, match="'breakout' is no kind of connector"):
        read(f'{HEAD}[[connector]]\nid = "N1"\nkind = "breakout"\n')


# ---------------------------------------------------------------- circuits from a list


def test_circuits_are_read_from_a_wire_list_beside_the_file(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("Wire,From,To\nW1,J4:1,P1:1\n")
    path = tmp_path / "boat.toml"
    path.write_text('[harness]\nname = "Boat"\nwire_list = "list.csv"\n[defaults]\nsleeve.pass_over_margin = 0.2\n')
    harness = read_harness(path)
    assert (str(harness.circuits[0].where), set_on(harness).sleeve.pass_over_margin) == ("list.csv:2", 0.2)
    assert [connector.id for connector in harness.connectors] == ["J4", "P1"]
    assert harness.text.endswith(b"W1,J4:1,P1:1\n")
    assert harness.name == "Boat"


@pytest.mark.parametrize("name", ["../list.csv", "/list.csv", "a/../../list.csv", "C:\\\\list.csv", "link.csv"])
def test_a_list_outside_the_folder(tmp_path: Path, name: str) -> None:
    (tmp_path / "list.csv").write_text("Wire,From,To\nW1,J4:1,P1:1\n")
    inside = tmp_path / "inside"
    inside.mkdir()
    (inside / "link.csv").symlink_to(tmp_path / "list.csv")
    (problem,) = problems(f'[harness]\nname = "Boat"\nwire_list = "{name}"\n', inside)
    assert problem.where.line == 3
    assert "folder" in problem.message


def test_a_list_from_a_pipe_or_missing_or_wrong(tmp_path: Path) -> None:
    text = '[harness]\nname = "Boat"\nwire_list = "list.csv"\n'
    assert "leaves the folder" in problems(text)[0].message
    assert "no such file" in problems(text, tmp_path)[0].message
    (tmp_path / "list.csv").write_text("Wire,From,To\nW1,,P1:1\n")
    assert str(problems(text, tmp_path)[0].where) == "list.csv:2"


# ---------------------------------------------------------------- what is wrong, and where

HEAD = '[harness]\nname = "Boat"\n'  # two lines
END = '[[branch]]\nid = "B"\n[[branch.end]]\nat = "J4"\n'  # four lines


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (HEAD + "revison = 'C'\n", 3, "did you mean 'revision'"),
        (HEAD + "revision = 3\n", 3, "in quotes"),
        ("[harness]\n", 1, "without 'name'"),
        ("[defaults]\nsleeve.pass_over_margin = 0.2\n", 1, "without 'name'"),
        ("harness = 3\n", 1, "must be a table"),
        (HEAD + "[default]\n", 3, "did you mean 'defaults'"),
        (HEAD + "[[conector]]\nid = 'J4'\n", 3, "did you mean 'connector'"),
        (HEAD + "[defaults]\nsleeve.heatin = 'even'\n", 4, "did you mean 'heating'"),
        (HEAD + "[defaults]\nsleeve.heating = 'front'\n", 4, "unknown"),
        (HEAD + "[defaults]\nsleeve.pass_over_margin = nan\n", 4, "finite"),
        (HEAD + "[defaults]\nprint.reading_distance_mm = '4 cm'\n", 4, "50 to 5000"),
        (HEAD + "[circuit]\nid = 'W1'\n", 3, r"\[\[circuit\]\]"),
        (HEAD + "[[circuit]]\nid = 'W1'\nfrom = 'J4:1'\n", 3, "without 'to'"),
        (HEAD + "[[circuit]]\nid = 'W1'\nfrom = 'J4:1'\nto = 'P1:0'\n", 6, "count from 1"),
        (HEAD + "[[circuit]]\nid = 'W1'\nfrom = 'J4:1'\nto = 'P1:2'\nsize = 'banana'\n", 7, "no wire size"),
        (HEAD + "[[circuit]]\nid = 'W1'\nfrom = 'J4:1'\nto = 'P1:2'\nod_mm = -1.9\n", 7, "above 0"),
        (HEAD + "[[circuit]]\nid = 'W1'\nfrom = 'J4:1'\nto = 'P1:2'\ncolor = 'OG'\n", 7, "did you mean 'colour'"),
        (HEAD + "[[circuit]]\nid = ''\nfrom = 'J4:1'\nto = 'P1:2'\n", 4, "empty"),
        (HEAD + "[[connector]]\nid = 'J4'\nkind = 'splce'\n", 5, "did you mean 'splice'"),
        (HEAD + "[[connector]]\nid = 'J4'\ncavities = 0\n", 5, "from 1"),
        (HEAD + "[[connector]]\nid = 'J4'\ncavities = 2.0\n", 5, "whole number"),
        (HEAD + END + "connector_installed = 1\n", 7, "true or false"),
        (HEAD + END + "text = []\n", 7, "text or a list"),
        (HEAD + END + "text = ['A', 3]\n", 7, "in quotes"),
        (HEAD + END + "cut_length_mm = inf\n", 7, "finite"),
        (HEAD + END + "[[branch.end]]\nconnector_installed = true\n", 7, "end without 'at'"),
        (HEAD + "[[branch]]\nid = 'B'\ncircuits = 'W1'\n", 5, "must be a list"),
        (HEAD + "[[branch]]\nid = 'B'\n[branch.end]\nat = 'J4'\n", 5, r"\[\[branch.end\]\]"),
        (HEAD + "[[bag]]\nid = 'K'\ncontents = [\n  { item = 'contact' },\n  { quantity = 0 },\n]\n", 7, "above 0"),
        (HEAD + "[[bag]]\nid = 'K'\ncontents = [1]\n", 5, "list of tables"),
        (HEAD + "revision = 'C\n", 3, "no TOML"),
        (HEAD + "revision = \n", 3, "no TOML"),
        (HEAD + "name = 'twice'\n", 3, "no TOML"),
        (HEAD.encode() + b"revision = '\xe4'\n", 3, "not UTF-8"),
        (HEAD + f"revision = {'9' * 5000}\n", 0, "no TOML"),
        (HEAD + f"revision = 0x{'f' * 5000}\n", 3, "more than 30 digits"),
        (HEAD + f"revision = {'[' * 5000}{']' * 5000}\n", 0, "too deeply"),
        ((HEAD + "revision = 'C'").encode("utf-16"), 1, "not UTF-8"),
    ],
)
def test_a_problem_names_its_line(text: str | bytes, line: int, said: str) -> None:
    found = problems(text)
    assert found[0].where.line == line
    assert re.search(said, str(found[0]))


def test_all_problems_come_at_once_in_the_order_of_the_file() -> None:
    text = (
        HEAD
        + "[defaults]\nsleeve.pass_over_margin = 3\n[[circuit]]\nid = 'W1'\nfrom = 'J4:0'\nsize = 3\n"
        + "[[cable]]\n[[foo]]\n"
    )
    assert [problem.where.line for problem in problems(text)] == [4, 5, 7, 8, 9, 10]


def test_unknown_overrides_are_wrong_use(tmp_path: Path) -> None:
    path = tmp_path / "boat.toml"
    path.write_text(BOAT)
    assert set_on(read_harness(path, {"sleeve.pass_over_margin": "0.3"})).sleeve.pass_over_margin == 0.3
    with pytest.raises(WrongUse, match=r"did you mean 'sleeve.pass_over_margin'") as caught:
        read_harness(path, {"sleeve.pas_over_margin": "0.3", "sleeve.grip_margin": "banana"})
    assert len(caught.value.problems) == 2


def test_toml_is_told_by_its_content_where_the_ending_does_not(tmp_path: Path) -> None:
    path = tmp_path / "boat"
    path.write_text(BOAT)
    assert len(read_harness(path).circuits) == 2


# ---------------------------------------------------------------- the line index


def test_lines_of_everything() -> None:
    text = '''\
# a comment with [brackets] and "quotes"
"quoted key" = 1
a.b . c = """
[not.a.table]
x = 1 \\" """
d = \'\'\'
\'\' [[nor.this]]
\'\'\'\'
[t]
list = [ # one
  1, "]",

  [2, 3], { p = 1, q.r = [4,
    5] },
]
[[many]]
[[many.inner]]
k = 1979-05-27T07:32:00Z
[[many]]
[many.table]
k = 2
'''
    index = line_index(text)
    expected = {
        ("quoted key",): 2,
        ("a", "b", "c"): 3,
        ("d",): 6,
        ("t",): 9,
        ("t", "list"): 10,
        ("t", "list", 0): 11,
        ("t", "list", 1): 11,
        ("t", "list", 2): 13,
        ("t", "list", 3, "p"): 13,
        ("t", "list", 3, "q", "r", 1): 14,
        ("many", 0): 16,
        ("many", 0, "inner", 0): 17,
        ("many", 0, "inner", 0, "k"): 18,
        ("many", 1): 19,
        ("many", 1, "table"): 20,
        ("many", 1, "table", "k"): 21,
    }
    assert {path: index.get(path) for path in expected} == expected


def paths(value: object, at: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every place in what the standard reader returns."""
    yield at
    steps = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in steps:
        yield from paths(inner, (*at, step))


def test_every_place_of_the_boat_has_a_line() -> None:
    index = line_index(BOAT)
    assert set(paths(tomllib.loads(BOAT))) <= set(index)


PIECES = st.sampled_from(
    [
        *("harness", "circuit", "branch", "end", "id", "at", "text", "-1", "0.5", "nan", "true", "1979-05-27"),
        *("\n", "'", '"', "'''", '"""', "\\", "[[", "]]", *"[]{}=.,#x1"),
    ]
)


@settings(max_examples=300, deadline=None)
@given(
    st.binary(max_size=100)
    | st.lists(PIECES, max_size=30).map(lambda pieces: (HEAD + END + "".join(pieces)).encode())
    | st.tuples(st.integers(0, len(BOAT)), st.integers(0, 9), PIECES).map(
        lambda cut: (BOAT[: cut[0]] + cut[2] + BOAT[cut[0] + cut[1] :]).encode()
    )
)
def test_whatever_comes_it_is_read_or_refused(data: bytes) -> None:
    with contextlib.suppress(LabelerError):  # and nothing else
        assert read(data).name


LISTED = '[harness]\nname = "Boat"\nwire_list = "list.csv"\n'


def test_a_cable_of_the_list_gets_its_outside_from_the_file(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("Wire,From,To,Cable\nW1,J4:1,P1:1,K1\nW2,J4:2,P1:2,K2\n")
    (tmp_path / "boat.toml").write_text(LISTED + '[[cable]]\nid = "K1"\nod_mm = 6.2\n')
    cables = read_harness(tmp_path / "boat.toml").cables
    assert {cable.id: cable.od_mm for cable in cables} == {"K1": 6.2, "K2": None}
    assert len(cables) == 2


def test_two_outsides_for_one_cable(tmp_path: Path) -> None:
    (tmp_path / "list.csv").write_text("Wire,From,To,Cable,Cable OD (mm)\nW1,J4:1,P1:1,K1,6.4\n")
    (tmp_path / "boat.toml").write_text(LISTED + '[[cable]]\nid = "K1"\nod_mm = 6.2\n')
    with pytest.raises(LabelerError) as caught:
        read_harness(tmp_path / "boat.toml")
    assert str(caught.value) == "boat.toml:4: cable K1: outside 6.2 mm, list.csv:2 says 6.4 mm; give it once"
    (tmp_path / "boat.toml").write_text(LISTED + '[[cable]]\nid = "K1"\n')
    assert [cable.od_mm for cable in read_harness(tmp_path / "boat.toml").cables] == [6.4]


@pytest.mark.parametrize(
    ("table", "key", "value", "limit"),
    [
        ("branch.end", "cut_length_mm", "0", "above 0"),
        ("branch.end", "cut_length_mm", "-30", "above 0"),
        ("branch.end", "cut_length_mm", "'2 km'", "no length"),
        ("branch.end", "cut_length_mm", "'2 m'", "outside 3 to 1000 mm"),
        ("branch.end", "cut_length_mm", "2.9", "outside 3 to 1000 mm"),
        ("branch", "bundle_diameter_mm", "501", "outside 0.1 to 500 mm"),
        ("cable", "od_mm", "'1 m'", "outside 0.1 to 500 mm"),
        ("circuit", "od_mm", "201", "outside 0.05 to 200 mm"),
        ("circuit", "od_mm", "1e-9", "outside 0.05 to 200 mm"),
        ("connector", "max_width_mm", "1001", "outside 0.1 to 1000 mm"),
        ("connector", "contact_width_mm", "0.01", "outside 0.1 to 1000 mm"),
        ("bag.contents", "quantity", "1e30", "at most 100000"),
    ],
)
def test_what_no_harness_has(table: str, key: str, value: str, limit: str) -> None:
    outer, _, inner = table.partition(".")
    needed = {"circuit": "from = 'P1'\nto = 'J4'\n", "end": "at = 'J4'\n", "contents": "item = 'nut'\n"}
    text = (
        HEAD + f"[[{outer}]]\nid = 'X1'\n{needed.get(outer, '')}" + (f"[[{table}]]\n{needed[inner]}" if inner else "")
    )
    (problem,) = problems(f"{text}{key} = {value}\n")
    assert (key in problem.message, limit in problem.message) == (True, True), str(problem)


def test_a_file_beside_that_is_no_list_of_circuits_is_refused(tmp_path: Path) -> None:
    """A workbook, whose sheets nobody could choose here, and a list of pins, which names no circuit."""
    (tmp_path / "list.csv").write_text("Connector,Pin,Signal\nJ1,1,BILGE\nJ1,2,GROUND\n")
    (pins,) = problems(LISTED, tmp_path)
    assert (pins.message, pins.where.line) == ("wire_list: 'list.csv' lists pins, not circuits", 3)
    openpyxl.Workbook().save(tmp_path / "list.csv")
    (book,) = problems(LISTED, tmp_path)
    assert (book.message, book.where.line) == ("wire_list: 'list.csv' is a workbook, not a CSV", 3)
