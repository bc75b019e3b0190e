"""The documents match the program: sessions, commands, options, keys, modules and figures."""

import doctest
import importlib
import os
import pkgutil
import re
import runpy
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

import labeler
from labeler.answers.listing import file_forms
from labeler.cli.main import main
from labeler.tables.catalogue import load_catalogue, setting_specs
from labeler.tables.document import Form, Key
from labeler.tables.stocks import STOCK
from tests.places import ROOT

README = (ROOT / "README.md").read_text("utf-8")
DOCUMENTS = ["README.md", "examples/README.md", "layouts/README.md"]
CHANGING = [
    (re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+Z"), "2026-03-01T08:15:30.250Z"),
    (re.compile(r"(?m)^(\d+ .*Z  )\S+"), r"\1ada "),
]
"""The time and the user, which differ from run to run."""


def sessions() -> list[tuple[str, str]]:
    """Return the command and the output of every console block."""
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
    """Each command is run, in order, in a folder with only the examples. The output is the one in README."""
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    made = sessions()
    assert len(made) == 5
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
def test_every_command_is_in_readme(name: str, command: click.Command) -> None:
    """Its example is tested with its help screen."""
    assert command.help
    assert re.search(rf"\b{re.escape(name)}\b", README)


def command_lines(text: str) -> list[list[str]]:
    """Return the words after ``labeler`` of every command in a text."""
    found = re.findall(r"(?:`|\$ |/)labeler (?!COMMAND)([a-z][^`\n|]*)", text)
    return [shlex.split(line) for line in found]


@pytest.mark.parametrize("file", DOCUMENTS)
def test_every_command_line_in_the_documents_exists(file: str) -> None:
    """The command exists, takes each option with its value, and takes as many arguments as there are."""
    for words in command_lines((ROOT / file).read_text("utf-8")):
        command: click.Command = main
        while isinstance(command, click.Group):
            assert words, f"{file}: a group without a command"
            assert words[0] in command.commands, f"{file}: labeler {' '.join(words)}"
            command = command.commands[words.pop(0)]
        _, extra, _ = command.make_parser(click.Context(command)).parse_args(list(words))
        assert not extra, f"{file}: {command.name} {' '.join(words)}"


def test_every_option_in_the_documents_exists() -> None:
    options = {option for _, command in commands(main) for parameter in command.params for option in parameter.opts}
    for file in DOCUMENTS:
        used = set(re.findall(r"`(--[a-z-]+)", (ROOT / file).read_text("utf-8")))
        assert used <= {*options, "--help"}, file


def test_readme_has_at_most_2200_words() -> None:
    """Project choice: a manual that is read in one sitting."""
    assert len(README.split()) <= 2200


def test_every_stock_is_in_the_readme_of_stocks() -> None:
    text = (ROOT / "layouts" / "README.md").read_text("utf-8")
    names = {file.stem for file in (ROOT / "layouts").glob("*.toml")}
    assert names == set(re.findall(r"`([a-z0-9-]+)`", text.partition("## A sheet")[0])) - {"layouts", "labeler"}
    assert {stock.name for stock in load_catalogue().stocks} >= names


def keys_in(text: str) -> set[str]:
    """Return the keys in backquotes."""
    return set(re.findall(r"`([a-z_]+)`", text))


def test_the_key_tables_of_the_examples_are_current() -> None:
    """``python examples/key_tables.py`` changes nothing: the tables are those of the declared keys."""
    text = (ROOT / "examples" / "README.md").read_text("utf-8")
    assert runpy.run_path(str(ROOT / "examples" / "key_tables.py"))["with_tables"](text) == text


@pytest.mark.parametrize("kind", ["harness", "stock", "printer", "column map"])
def test_the_readme_of_examples_names_every_key(kind: str) -> None:
    """Every key that a file of this kind may have, except settings: those are listed by ``labeler list settings``."""
    text = (ROOT / "examples" / "README.md").read_text("utf-8")
    tables = text.partition(f"<!-- keys of a {kind} -->")[2].partition("<!-- end -->")[0]
    rows = set(re.findall(r"(?m)^\| `([a-z_]+)` \|", tables))
    assert rows == own_keys(file_forms()[kind], set() if kind != "harness" else setting_groups())


def setting_groups() -> set[str]:
    return {name.partition(".")[0] for name in setting_specs()}


def own_keys(form: Form, without: set[str]) -> set[str]:
    """Return the names of the keys of a form and of the tables in it, without tables and settings themselves."""
    found: set[str] = set()
    for name, key in form.keys.items():
        if name not in without:
            found |= own_keys(key.form, without) if key.form else {name}
    return found


def test_the_readme_of_stocks_names_every_key() -> None:
    text = (ROOT / "layouts" / "README.md").read_text("utf-8")
    rows = re.findall(r"^\| ((?:`[a-z_]+`(?:, )?)+) \| (.*) \|$", text.partition("## Every key")[2], re.M)
    named = {key: description for keys, description in rows for key in keys_in(keys)}
    assert named.keys() == STOCK.keys.keys()
    for key in ("kind", "marker"):
        assert keys_in(named[key]) == set(STOCK.keys[key].allowed)


@pytest.mark.parametrize("kind", file_forms())
def test_every_declared_key_has_a_description(kind: str) -> None:
    """A description is one sentence without a full stop. Settings have theirs in their table."""

    def keys(form: Form) -> Iterator[Key]:
        for key in (*form.keys.values(), *((form.other,) if form.other else ())):
            yield key
            yield from keys(key.form) if key.form else ()

    assert all(key.description and not key.description.endswith(".") for key in keys(file_forms()[kind]))


def test_every_module_is_in_developers() -> None:
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
    settings = setting_specs()
    assert (settings["sleeve.pass_over_margin"].default, settings["sleeve.grip_margin"].default) == (0.10, 0.10)
    assert (settings["print.reading_distance_mm"].default, settings["print.wire_reading_distance_mm"].default) == (
        400,
        300,
    )


@pytest.mark.parametrize("name", [m.name for m in pkgutil.walk_packages(labeler.__path__, "labeler.")])
def test_doctests(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0


def test_the_commands_of_ci_are_those_of_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    assert "README.md" in script  # the script reads the two commands from README instead of repeating them
    assert len(re.findall(r"```sh\n(.*?)```", README, re.DOTALL)) == 2
