"""The help screens: their width, their headings, and their examples, each of which is run."""

import json
import os
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from labeler.answers.help_topics import sections
from labeler.answers.listing import file_forms
from labeler.cli.commands import LabelerCommand, LabelerGroup
from labeler.cli.lookup import LISTS, SCHEMAS, TOPICS
from labeler.cli.main import main
from labeler.job.samples import SAMPLES
from labeler.readers.columnmap import map_form
from labeler.readers.toml import BAG, BRANCH, BREAKOUT, CABLE, CIRCUIT, CONNECTOR, END, HARNESS, ITEM
from labeler.record import open_record
from labeler.tables.catalogue import setting_specs
from labeler.tables.printers import PRINTER
from labeler.tables.stocks import STOCK
from tests.job.test_pipeline import broken_off
from tests.places import EXAMPLES, ROOT

WIDTH = 80

Screen = tuple[str, LabelerCommand | LabelerGroup]


def screens(group: LabelerGroup = main, path: str = "") -> Iterator[Screen]:
    """Yield the group and every command in it, in the order of the help screens."""
    yield path, group
    for names in group.sections.values():
        for name in names:
            inner, inside = group.commands[name], f"{path} {name}".strip()
            if isinstance(inner, LabelerGroup):
                yield from screens(inner, inside)
            else:
                assert isinstance(inner, LabelerCommand), inside
                yield inside, inner


ALL = list(screens())
GROUPS = [(path, each) for path, each in ALL if isinstance(each, LabelerGroup)]


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words], prog_name="labeler")
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    return result


@pytest.mark.parametrize(("path", "command"), ALL, ids=[path or "labeler" for path, _ in ALL])
def test_a_help_screen_fits_80_columns_and_ends_in_an_example(
    path: str, command: LabelerCommand | LabelerGroup, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "get_terminal_size", lambda *_: os.terminal_size((200, 50)))  # wider than is used
    lines = run(*path.split(), "--help").stdout.splitlines()
    assert [line for line in lines if len(line) > WIDTH] == []
    assert lines[-2:] == ["Example:", f"  {command.example}"]
    assert shlex.split(command.example)[: 1 + len(path.split())] == ["labeler", *path.split()]
    assert command.help
    assert command.help.split("\n\n")[0].rstrip().endswith(".")


@pytest.mark.parametrize(("path", "group"), GROUPS, ids=[path or "labeler" for path, _ in GROUPS])
def test_every_command_stands_under_one_heading(path: str, group: LabelerGroup) -> None:
    listed = [name for names in group.sections.values() for name in names]
    assert sorted(listed) == sorted(group.commands)
    lines = run(*path.split(), "--help").stdout.splitlines()
    at = [lines.index(f"{heading}:") for heading in group.sections]
    assert at == sorted(at)


def test_every_option_has_a_help_text() -> None:
    for path, command in ALL:
        for option in (each for each in command.params if isinstance(each, click.Option)):
            assert option.help, (path, option.name)
            assert option.help.endswith("."), (path, option.name)


def test_the_same_option_is_the_same_everywhere() -> None:
    """A short name stands for one long name, and none of the old names is left."""
    long_names: dict[str, set[str]] = {}
    for _, command in ALL:
        for option in (each for each in command.params if isinstance(each, click.Option)):
            for short in (name for name in option.opts if not name.startswith("--")):
                long_names.setdefault(short, set()).update(name for name in option.opts if name.startswith("--"))
    assert long_names == {"-o": {"--output"}, "-f": {"--force"}, "-q": {"--quiet"}, "-v": {"--verbose"}}


def test_the_examples_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In one folder with the examples, from the first heading to the last; jobs 3 and 4 were broken off."""
    shutil.copytree(EXAMPLES, tmp_path / "examples", ignore=shutil.ignore_patterns("*.png", "*.py"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LABELER_RECORD", str(tmp_path / "record.sqlite"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    examples = [each.example for path, each in ALL if path not in ("diff", "record finish", "record cancel")]
    finishing = [each.example for path, each in ALL if path in ("diff", "record finish", "record cancel")]
    for example in dict.fromkeys((*examples, *sorted(finishing))):
        if example == min(finishing):
            with open_record("record.sqlite") as record:
                for _ in (3, 4):
                    broken_off(tmp_path / "broken-off", record, monkeypatch)
                    shutil.rmtree(tmp_path / "broken-off")
                assert [job.id for job in record.jobs() if job.state == "pending"] == [3, 4]
        done = run(*shlex.split(example.partition(" > ")[0])[1:])
        assert done.exit_code == 0, (example, done.stderr)


# ---------------------------------------------------------------- unknown names


@pytest.mark.parametrize(
    ("words", "suggested"),
    [
        (("chek",), "'check'"),
        (("tubes",), "'list tubes'"),
        (("record", "veriify"), "'verify'"),
        (("list", "tube"), "'tubes'"),
        (("check", "boat.toml", "--quite"), "'--quiet'"),
        (("print", "boat.toml", "--send"), "'--send-to'"),
        (("help", "harnes-file"), "'harness-file'"),
        (("help", "record", "shew"), "'show'"),
    ],
)
def test_an_unknown_name_suggests_the_nearest(words: tuple[str, ...], suggested: str) -> None:
    done = run(*words)
    assert done.exit_code == 2
    assert "Did you mean" in done.stderr
    assert suggested in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        "sleeves", "choices", "wires", "coverings", "stock", "record used", "record resume 1", "record withdraw 1",
        "print boat.toml --units 2", "print boat.toml --out x", "print boat.toml --order grouped",
        "print boat.toml --go-on", "print boat.toml --leave-out", "print boat.toml --bench full",
        "check boat.toml --sheet x", "check boat.toml --names id", "check boat.toml --labels",
        "check boat.toml --colours german", "check boat.toml --bundle area", "check boat.toml --map x",
        "read boat.toml --draft", "fit A --over 4", "scan --against 1 x", "record upgrade",
    ],
)  # fmt: skip
def test_old_names_are_gone(words: str) -> None:
    assert run(*words.split()).exit_code == 2


# ---------------------------------------------------------------- what is said, and how much of it


def test_quiet_and_verbose() -> None:
    boat = EXAMPLES / "survey-boat.toml"
    usual, quiet, verbose = (run("check", boat, *words) for words in ((), ("-q",), ("--verbose",)))
    assert usual.stdout == quiet.stdout == verbose.stdout
    assert "pass" in usual.stderr
    assert quiet.stderr == ""
    assert set(usual.stderr.splitlines()) < set(verbose.stderr.splitlines())
    assert run("check", boat, "-q", "-v").exit_code == 2
    misfits = run("check", EXAMPLES / "misfits.toml", "-q")
    assert misfits.exit_code == 1
    problem = run("check", "none.toml", "--quiet")
    assert "none.toml" in problem.stderr


def test_verbose_says_what_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LABELER_STOCK", str(EXAMPLES))
    words = ("--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "-v")
    said = run("print", EXAMPLES / "survey-boat.toml", *words, "--dry-run").stderr.splitlines()
    assert f"tables: {EXAMPLES}" in said
    assert f"build record: {tmp_path / 'r.sqlite'}" in said


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_dry_run_names_the_files_and_changes_nothing(tmp_path: Path) -> None:
    """The same units, jobs and files as the print that follows; a record that is there is not touched."""
    boat, record = EXAMPLES / "survey-boat.toml", tmp_path / "r.sqlite"
    words = ("print", boat, "--output", tmp_path / "out", "--record", record, "--quantity", 2)
    trial = run(*words, "--dry-run")
    assert trial.exit_code == 0, trial.stderr
    assert files_in(tmp_path) == {}
    assert f"Dry run: nothing was recorded in {record}" in trial.stderr
    real = run(*words)
    assert real.stdout == trial.stdout
    assert [line for line in trial.stderr.splitlines() if line.startswith("unit ")] == [
        line for line in real.stderr.splitlines() if line.startswith("unit ")
    ]
    before = files_in(tmp_path)
    again = ("reprint", "0002 J4", "--reason", "lost", "--output", tmp_path / "out", "--record", record)
    trial = run(*again, "--dry-run")
    assert trial.exit_code == 0, trial.stderr
    assert {**files_in(tmp_path), "r.sqlite-shm": b"", "r.sqlite-wal": b""} == {
        **before, "r.sqlite-shm": b"", "r.sqlite-wal": b""
    }  # fmt: skip
    assert run(*again).stdout == trial.stdout


def test_a_dry_run_refuses_what_the_print_would(tmp_path: Path) -> None:
    """A marker that does not fit, a file that exists, a record that is not there, a serial that was printed."""
    boat, record = EXAMPLES / "survey-boat.toml", tmp_path / "r.sqlite"
    words = ("--output", tmp_path / "out", "--record", record)
    assert run("print", EXAMPLES / "misfits.toml", *words, "--dry-run").exit_code == 1
    assert run("reprint", "J4", "--reason", "lost", *words, "--dry-run").exit_code == 1
    assert run("print", boat, "--unit", "0001", *words).exit_code == 0
    printed = run("print", boat, "--unit", "0001", *words, "--dry-run")
    assert printed.exit_code == 1
    assert "0001" in printed.stderr
    (tmp_path / "out" / "RSB-210-0002-bench-sheet.pdf").write_bytes(b"")
    exists = run("print", boat, *words, "--dry-run")
    assert exists.exit_code == 1
    assert "exists already" in exists.stderr


def test_a_dry_run_sends_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The print service is asked whether the queue is there; sending anything would fail."""
    asked: list[str] = []

    def no_problems(queues: Iterable[str]) -> tuple[()]:
        asked.extend(queues)
        return ()

    monkeypatch.setattr("labeler.send.queue_problems", no_problems)
    monkeypatch.setattr("labeler.send.send", lambda *_words: pytest.fail("something was sent"))
    words = ("--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--send-to", "office", "--dry-run")
    assert run("print", EXAMPLES / "survey-boat.toml", *words).exit_code == 0
    assert set(asked) == {"office"}


# ---------------------------------------------------------------- sample files


def test_the_sample_files_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The list has the circuits of the harness file, with and without its map; stock and profile print."""
    done = run("example", tmp_path / "a boat")
    folder = tmp_path / "a boat"
    assert done.stdout.splitlines() == [str(folder / name) for name in SAMPLES]
    following = [line.strip() for line in done.stderr.splitlines()[1:]]
    assert [line.split()[:2] for line in following] == [["labeler", name] for name in ("check", "proof", "print")]
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LABELER_RECORD", str(tmp_path / "record.sqlite"))
    for line in following:
        assert run(*shlex.split(line)[1:]).exit_code == 0, line
    monkeypatch.setenv("LABELER_STOCK", str(folder))
    harness, wires = folder / "survey-boat.toml", folder / "survey-boat.csv"
    read = [
        json.loads(run("read", *words, "--json").stdout)["circuits"]
        for words in ((harness,), (wires,), (wires, "--column-map", folder / "column-map.toml"))
    ]
    facts = [[{**circuit, "wire_type": ""} for circuit in circuits] for circuits in read]
    assert facts[0] == facts[1] == facts[2]
    assert read[1] == read[2]
    loaded = ("--stock", "wrap-a4-40x25", "--printer", folder / "office-printer.toml")
    assert run("check", harness, *loaded, "--set", "sleeve.families=AS23053/5").exit_code in (0, 1)
    assert run("list", "stock", "wrap-a4-40x25").exit_code == 0
    again = run("example", folder)
    assert again.exit_code == 1
    assert "exists already" in again.stderr
    assert run("example", folder, "--force").exit_code == 0


def test_the_sample_files_are_in_the_wheel() -> None:
    """Each is named in pyproject.toml, itself or with its folder."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    included = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    named = {source: target for source, target in included.items() if source.startswith("examples/")}
    assert all(target == f"labeler/{source}" for source, target in named.items())
    for name in SAMPLES:
        assert any(name == path or name.startswith(f"{path}/") for path in (s.removeprefix("examples/") for s in named))
        assert (EXAMPLES / name).is_file()


# ---------------------------------------------------------------- schemas and topics


def test_a_schema_of_every_kind_of_file() -> None:
    assert {kind.replace("-", " ") for kind in SCHEMAS} == set(file_forms())
    for kind in SCHEMAS:
        schema = json.loads(run("schema", kind).stdout)
        assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
        assert "properties" in schema


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_fits_80_columns(topic: str) -> None:
    lines = run("help", topic).stdout.splitlines()
    assert len(lines) > 15
    assert [line for line in lines if len(line) > WIDTH] == []


def keys_of(topic: str) -> list[str]:
    return [name for section in sections(topic) for name, _ in section.keys]


def test_the_topics_name_every_key_that_is_declared() -> None:
    assert set(keys_of("settings")) == set(setting_specs())
    assert keys_of("stock-file") == list(STOCK.keys)
    assert keys_of("printer-profile") == list(PRINTER.keys)
    for table in (HARNESS, CONNECTOR, BREAKOUT, CIRCUIT, CABLE, BRANCH, END, BAG, ITEM):
        assert set(keys_of("harness-file")) >= set(table)
    columns = map_form().keys["columns"].form
    assert columns is not None
    assert set(keys_of("column-map")) >= {*columns.keys, "rows", "header_row", "delimiter", "worksheet"}
    titles = [section.title for section in sections("harness-file")]
    assert [title for title in titles if title] == [
        "[harness]", "[defaults]", "[[connector]]", "[[breakout]]", "[[circuit]]", "[[cable]]", "[[branch]]",
        "[[branch.end]]", "[[bag]]", "[[bag.contents]]",
    ]  # fmt: skip


def test_help_on_a_command_is_its_help_screen() -> None:
    for words in (("print",), ("record", "show"), ("list",)):
        assert run("help", *words).stdout == run(*words, "--help").stdout
    assert all(topic in run("help").stdout for topic in TOPICS)


# ---------------------------------------------------------------- lists


def test_the_lists_of_printers_and_fonts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert "no printer profiles in" in run("list", "printers").stdout
    folder = tmp_path / "labeler" / "printers"
    folder.mkdir(parents=True)
    shutil.copy(EXAMPLES / "office-printer.toml", folder / "office.toml")
    (line,) = run("list", "printers").stdout.splitlines()
    assert line == "office  laser; 600 dpi; stock: sheet, card; scale 1 x 1"
    (row,) = json.loads(run("list", "printers", "--json").stdout)["printers"]
    assert (row["name"], row["file"]) == ("office", str(folder / "office.toml"))
    (folder / "broken.toml").write_text("dpi = 1\n", "utf-8")
    broken = run("list", "printers")
    assert broken.exit_code == 1
    assert "broken.toml" in broken.stderr
    fonts = json.loads(run("list", "fonts", "--json").stdout)["fonts"]
    assert "Atkinson Hyperlegible" in {font["name"] for font in fonts}


def test_settings_of_a_group_or_one() -> None:
    rows = [json.loads(run("list", "settings", *key, "--json").stdout)["settings"] for key in ((), ("sleeve",))]
    assert {row["key"] for row in rows[1]} == {row["key"] for row in rows[0] if row["key"].startswith("sleeve.")}
    (one,) = json.loads(run("list", "settings", "code.symbology", "--json").stdout)["settings"]
    assert one["key"] == "code.symbology"
    assert "did you mean 'sleeve.heating'" in run("list", "settings", "sleeve.heatin").stderr


def test_every_list_has_a_json_form() -> None:
    for name in LISTS:
        answer = json.loads(run("list", name, "--json").stdout)
        assert answer["schema"] == f"{name} 1"
        assert isinstance(answer[name], list)


# ---------------------------------------------------------------- further


def test_the_program_runs_as_a_module() -> None:
    done = subprocess.run([sys.executable, "-m", "labeler", "--version"], capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 0
    assert done.stdout == run("--version").stdout


def test_a_column_map_is_written_to_a_file(tmp_path: Path) -> None:
    wires, target = EXAMPLES / "survey-boat.csv", tmp_path / "new" / "map.toml"
    assert run("read", wires, "--write-column-map", "--output", target).exit_code == 0
    assert target.read_text("utf-8") == run("read", wires, "--write-column-map").stdout
    assert run("read", wires, "--write-column-map", "--output", target).exit_code == 1
    assert run("read", wires, "--column-map", target).exit_code == 0
