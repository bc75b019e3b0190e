"""README holds: its sessions are run and compared, and every command and stock file stands in it."""

import doctest
import importlib
import os
import pkgutil
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import labeler
from labeler.answers.listing import file_forms
from labeler.cli.commands import LabelerCommand
from labeler.cli.main import main
from labeler.readers.toml import BAG, BRANCH, CABLE, CIRCUIT, CONNECTOR, END, HARNESS, ITEM, harness_form
from labeler.tables.catalogue import load_catalogue, setting_specs
from labeler.tables.document import Form, Key
from labeler.tables.printers import PRINTER
from labeler.tables.stocks import STOCK
from tests.places import ROOT

README = (ROOT / "README.md").read_text("utf-8")
CHANGING = [
    (re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+Z"), "2026-03-01T08:15:30.250Z"),
    (re.compile(r"(?m)^(\d+ .*Z  )\S+"), r"\1ada "),
]
"""What differs from day to day and from user to user: the clock, and who is logged in."""


def sessions() -> list[tuple[str, str]]:
    """Return every command of a console block with the output under it."""
    found = []
    for block in re.findall(r"```console\n(.*?)```", README, re.DOTALL):
        command, _, output = block.partition("\n")
        found.append((command.removeprefix("$ "), output))
    return found


def steadied(text: str) -> str:
    for pattern, steady in CHANGING:
        text = pattern.sub(steady, text)
    return "\n".join(line.rstrip() for line in text.strip().splitlines())


def run(command: str, folder: Path) -> str:
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-c", f"{command} 2>&1"],
        cwd=folder,
        env={**os.environ, "PATH": path},
        capture_output=True,
        text=True,
        timeout=120,
    )
    return done.stdout


def test_the_sessions_of_readme(tmp_path: Path) -> None:
    """Each command is run, in order, in a folder with the examples alone; the output is what stands there."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    made = sessions()
    assert len(made) == 8
    for command, expected in made:
        assert steadied(run(command, tmp_path)) == steadied(expected), command


def commands(group: click.Group, prefix: str = "labeler") -> list[tuple[str, click.Command]]:
    found: list[tuple[str, click.Command]] = []
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            found += commands(command, f"{prefix} {name}")
        else:
            found.append((f"{prefix} {name}", command))
    return found


@pytest.mark.parametrize(("name", "command"), commands(main))
def test_every_command_stands_in_readme_and_has_an_example(name: str, command: click.Command) -> None:
    assert f"| `{name}" in README
    assert isinstance(command, LabelerCommand)
    assert command.example.startswith(name)


def test_every_stock_stands_in_both_readmes() -> None:
    other = (ROOT / "layouts" / "README.md").read_text("utf-8")
    for file in (ROOT / "layouts").glob("*.toml"):
        assert f"`{file.stem}`" in README
        assert f"`{file.stem}`" in other
    assert {stock.name for stock in load_catalogue().stocks} >= {f.stem for f in (ROOT / "layouts").glob("*.toml")}


def keys_in(text: str) -> set[str]:
    """Return what stands in backquotes."""
    return set(re.findall(r"`([a-z_]+)`", text))


def test_readme_names_the_keys_of_a_harness_file() -> None:
    """Those that are declared and no others; settings stand there as one, but those that belong to a branch."""
    rows = dict(re.findall(r"^\| `\[+([a-z.]+)\]+` \| (.*) \|$", README, re.M))
    own = {"harness": HARNESS, "connector": CONNECTOR, "circuit": CIRCUIT, "cable": CABLE, "branch": BRANCH}
    for table, keys in {**own, "branch.end": END, "bag": BAG}.items():
        extra = {"branch": {"covering", "covering_wall_mm"}, "branch.end": {"colour"}, "bag": {"contents"}}
        assert keys_in(rows[table]) - {"item", "quantity"} == {*keys, *extra.get(table, ())}, table
    assert keys_in(rows["bag"]) >= ITEM.keys()
    assert set(rows) == {*harness_form().keys, "branch.end"}
    assert all(kind in rows["connector"] for kind in CONNECTOR["kind"].allowed)


def test_the_readme_of_stocks_names_every_key() -> None:
    text = (ROOT / "layouts" / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| ((?:`[a-z_]+`(?:, )?)+) \| (.*) \|$", text.partition("## Every key")[2], re.M)
    named = {key: meaning for keys, meaning in rows for key in keys_in(keys)}
    assert named.keys() == STOCK.keys.keys()
    for key in ("kind", "marker"):
        assert keys_in(named[key]) == set(STOCK.keys[key].allowed)


def test_readme_names_the_keys_of_a_printer() -> None:
    text = README.partition("## Printers")[2].partition("Sleeves are never sent")[0]
    assert keys_in(text) - {"labeler"} == PRINTER.keys.keys()


@pytest.mark.parametrize("kind", file_forms())
def test_every_declared_key_has_a_meaning(kind: str) -> None:
    """One sentence, without a full stop; the settings say theirs in their table."""

    def keys(form: Form) -> Iterator[Key]:
        for key in (*form.keys.values(), *((form.other,) if form.other else ())):
            yield key
            yield from keys(key.form) if key.form else ()

    assert all(key.description and not key.description.endswith(".") for key in keys(file_forms()[kind]))


def test_every_module_stands_in_developers() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    for module in pkgutil.walk_packages(labeler.__path__, "labeler."):
        assert f"`{module.name.removeprefix('labeler.')}`" in text, module.name


def test_the_figures_in_readme() -> None:
    """72 % and 83 % of a 1/4 in tube on 4 and 5 mm, 3.80 and 3.11 mm of two wires: from the formulas."""
    from labeler.formulas.bundle import hull_diameter, pack
    from labeler.formulas.shrink import stop

    assert round(stop(6.35, 3.175, 0.635, 4).circumferential_scale, 2) == 0.72
    assert round(stop(6.35, 3.175, 0.635, 5).circumferential_scale, 2) == 0.83
    two = pack([1.9, 1.9])
    assert (f"{two.diameter_mm:.2f}", f"{hull_diameter(two):.2f}") == ("3.80", "3.11")
    choices = setting_specs()
    assert (choices["sleeve.pass_over_margin"].default, choices["sleeve.grip_margin"].default) == (0.10, 0.10)
    assert (choices["print.reading_distance_mm"].default, choices["print.wire_reading_distance_mm"].default) == (
        400,
        300,
    )


@pytest.mark.parametrize("name", [m.name for m in pkgutil.walk_packages(labeler.__path__, "labeler.")])
def test_doctests(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0


def test_the_commands_of_ci_are_those_of_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    assert "README.md" in script  # it reads the two commands from there instead of repeating them
    assert len(re.findall(r"```sh\n(.*?)```", README, re.DOTALL)) == 2
