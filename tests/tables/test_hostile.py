"""Damaged stock files and printer profiles: each is read or refused in lines that say what to do, and nothing else."""

from __future__ import annotations

import os
import random
import re
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from labeler.cli.main import main
from labeler.tables import catalogue
from tests.places import LAYOUTS

BOAT = str(LAYOUTS.parent / "examples" / "survey-boat.toml")
PROFILE = """technology = "thermal transfer"
dpi = 300
unprintable_margin_mm = 2.0
stock_kinds = ["roll", "reel", "sheet", "card"]
max_width_mm = 300
scale_x = 1.0081
scale_y = 0.9960
offset_x_mm = 0.5
offset_y_mm = 0.0
"""
ODD = (
    *("0", "-1", "0.01", "1000", "5000", "1e308", "1e-300", "99999999999999999999", "nan", "inf", "-inf"),
    *("true", "[]", "{}", "[1, 2]", "1979-05-27", '""', '"x"', '"8,5 in"', '"1/4 in"', '"210 mm"', '"\\u0000"'),
    *('"A1"', '"A1-B3, D7"', '"A1-ZZZ9999"', '"sheet"', '"roll"', '"card"', '"reel"', '"wrap"', '"sleeve"', '"laser"'),
)
LINE = re.compile(r"^[^\n]*own[^\n]*\.toml(:\d+)?: [^\n]+$")


def damaged(text: str, chance: random.Random) -> str:
    """Return a file with up to three of its lines changed, cut, doubled or left out."""
    lines = text.splitlines()
    for _ in range(chance.randint(1, 3)):
        at = chance.choice([i for i, line in enumerate(lines) if "=" in line and not line.startswith("#")])
        key = lines[at].partition("=")[0]
        what = chance.choice(("odd", "odd", "odd", "out", "twice", "scaled", "cut"))
        if what == "odd":
            lines[at] = f"{key}= {chance.choice(ODD)}"
        elif what == "out" and len(lines) > 4:
            del lines[at]
        elif what == "twice":
            lines.insert(at, lines[at])
        elif what == "scaled" and re.fullmatch(r"[^=]+= [\d.]+", lines[at]):
            lines[at] = f"{key}= {float(lines[at].partition('=')[2]) * chance.choice((-1, 0.1, 0.9, 1.1, 2, 10)):g}"
        elif what == "cut":
            lines[at] = lines[at][: chance.randint(1, len(lines[at]))] + chance.choice(('"', "[", "\r", "é", "\\"))
    return "\n".join(lines) + "\n"


def answered(*words: str) -> int:
    """Run a command; what is wrong is said line by line with the file, and nothing is raised."""
    done = CliRunner().invoke(main, list(words))
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    if done.exit_code == 1:
        assert done.stderr.strip()
        assert all(LINE.match(line) for line in done.stderr.splitlines() if "own" in line), done.stderr
    return done.exit_code


@pytest.mark.parametrize("name", sorted(path.stem for path in LAYOUTS.glob("*.toml")))
@pytest.mark.parametrize("times", [3, pytest.param(12, marks=pytest.mark.slow)])
def test_a_damaged_stock_file_is_drawn_or_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, times: int
) -> None:
    folder = tmp_path / "layouts"
    folder.mkdir()
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    chance, shipped = random.Random(name), (LAYOUTS / f"{name}.toml").read_text("utf-8")
    codes = []
    for _ in range(times):
        (folder / "own.toml").write_text(damaged(shipped, chance), "utf-8", newline="")
        catalogue._load.cache_clear()
        code = answered("calibrate", "stock", "own", "--output", str(tmp_path / "out"), "--force")
        if code == 0:
            code = answered(
                "print",
                BOAT,
                "--stock",
                "own",
                "--output",
                str(tmp_path),
                "--force",
                "--omit-failed",
                "--record",
                str(tmp_path / "r.sqlite"),
            )
        codes.append(code)
    assert set(codes) <= {0, 1}
    assert 1 in codes or times < 12


def test_a_damaged_profile_is_taken_or_refused(tmp_path: Path) -> None:
    chance, file = random.Random(7), tmp_path / "own.toml"
    codes = []
    for _ in range(60):
        file.write_text(damaged(PROFILE, chance), "utf-8", newline="")
        codes.append(
            answered("calibrate", "printer", str(file), "--stock", "tag-a4-95x54", "--output", str(tmp_path), "--force")
        )
    assert set(codes) == {0, 1}


# ---------------------------------------------------------------- what is no stock file at all

TAG = (LAYOUTS / "tag-a4-95x54.toml").read_text("utf-8")


def link(to: str) -> Callable[[Path], object]:
    return lambda path: path.symlink_to(to)


def big(text: str) -> Callable[[Path], object]:
    """The file grown with a hole: it takes no room on the disk, and would take 50 GB of memory."""

    def make(path: Path) -> None:
        path.write_text(text, "utf-8")
        os.truncate(path, 50 << 30)

    return make


def text(change: str, into: str) -> Callable[[Path], object]:
    assert change in TAG
    return lambda path: path.write_text(TAG.replace(change, into, 1), "utf-8")


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (Path.mkdir, "own.toml: cannot be read: Is a directory"),
        (link("own.toml"), "own.toml: cannot be read: Too many levels of symbolic links"),
        (link("nowhere"), "own.toml: cannot be read: No such file"),
        (link("/dev/zero"), "own.toml: is a device or a pipe, not a file"),
        (os.mkfifo, "own.toml: is a device or a pipe, not a file"),
        (big(TAG), "own.toml: has more than 2,000,000 bytes"),
        (lambda path: path.write_bytes(TAG.encode("utf-16")), "own.toml: byte 1 is not UTF-8"),
        (text('description = "', 'description = "' + 999_999 * "x"), "signs; 1,000 are the limit"),
        (text('description = "', 'description = "\\u001b[2J'), "it has signs that do not show"),
        (text('description = "', 'description = "\\u202e'), "it has signs that do not show"),
        (text("rows = 5", "rows = 1000\ncorner_radius = 3"), "unknown key 'corner_radius'"),
        (text("rows = 5", "rows = 1000000000"), "rows is 1000000000; it must be 1 to 1000"),
        (text('kind = "sheet"', 'kind = "sheet"\nkind = "card"'), "is no TOML"),
    ],
)
@pytest.mark.skipif(sys.platform != "linux", reason="devices, pipes and holes are made as on Linux")
def test_what_is_no_stock_file_is_refused_in_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, make: Callable[[Path], object], says: str
) -> None:
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    (tmp_path / "layouts").mkdir()
    make(tmp_path / "layouts" / "own.toml")
    done = CliRunner().invoke(main, ["list", "stock"])
    assert (done.exit_code, len(done.stderr.splitlines())) == (1, 1)
    assert says in done.stderr
    assert done.stderr.isprintable() or done.stderr[:-1].isprintable()
    profile = tmp_path / "own.toml"  # a printer's profile is read alike
    make(profile)
    done = CliRunner().invoke(main, ["check", BOAT, "--printer", str(profile)])
    assert done.exit_code == 1
    assert all(LINE.match(line) for line in done.stderr.splitlines())


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (("a\nb.toml",), r"a\nb.toml: the file's name, which is the stock's, has signs that do not show"),
        ((" own.toml",), "has signs that do not show, or a blank at an end; rename the file"),
        (("own.toml", "OWN.toml"), "own.toml: names the same stock as OWN.toml: capitals make no difference"),
    ],
)
def test_files_whose_names_name_no_stock_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, names: tuple[str, ...], says: str
) -> None:
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    (tmp_path / "layouts").mkdir()
    for name in names:
        (tmp_path / "layouts" / name).write_text(TAG, "utf-8")
    if len(list((tmp_path / "layouts").iterdir())) < len(names):
        pytest.skip("capitals make no difference to this disk either")
    done = CliRunner().invoke(main, ["list", "stock"])
    assert (done.exit_code, len(done.stderr.splitlines())) == (1, 1)
    assert says in done.stderr


def test_hidden_files_are_no_stock_and_capitals_no_other_ending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file manager may leave ``._own.toml`` beside a file it copied."""
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    (tmp_path / "layouts").mkdir()
    (tmp_path / "layouts" / "._own.toml").write_bytes(b"\x00\x05\x16\x07")
    (tmp_path / "layouts" / ".toml").write_bytes(b"")
    (tmp_path / "layouts" / "own.TOML").write_text(TAG, "utf-8")
    done = CliRunner().invoke(main, ["list", "stock"])
    assert done.exit_code == 0
    assert "\nown " in f"\n{done.stdout}"


@pytest.mark.parametrize("where", ["shop", "user"])
def test_a_shops_folder_is_not_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str) -> None:
    folder = tmp_path / "labeler"
    monkeypatch.setattr(catalogue, "_user_folder", lambda: folder if where == "user" else tmp_path / "none")
    monkeypatch.setenv("LABELER_STOCK", str(folder) if where == "shop" else "")
    folder.write_text("a file", "utf-8")
    refused = CliRunner().invoke(main, ["list", "stock"])
    assert (refused.exit_code, refused.stderr.partition(";")[0]) == (1, f"{folder}: is no folder that can be read")
    folder.unlink()
    folder.mkdir()
    (folder / "layouts").write_text("a file", "utf-8")
    refused = CliRunner().invoke(main, ["list", "stock"])
    assert refused.stderr == f"{folder / 'layouts'}: is no folder that can be read; put stock files into it\n"
    (folder / "layouts").unlink()
    (folder / "wire_types.toml").symlink_to("nowhere")
    refused = CliRunner().invoke(main, ["list", "stock"])
    assert f"{folder / 'wire_types.toml'}: cannot be read" in refused.stderr


def test_a_page_of_a_million_cells_is_refused_before_it_is_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    (tmp_path / "layouts").mkdir()
    keys = "page_width_mm = 5000\npage_height_mm = 5000\ncolumns = 1000\nrows = 1000\npitch_x_mm = 5\npitch_y_mm = 5\n"
    keys += 'kind = "sheet"\nmarker = "tag"\ndescription = "specks"\ncell_width_mm = 5\ncell_height_mm = 5\n'
    (tmp_path / "layouts" / "own.toml").write_text(keys, "utf-8")
    done = CliRunner().invoke(main, ["calibrate", "stock", "own", "--output", str(tmp_path)])
    assert done.exit_code == 1
    says = "columns is 1000: with 1000 rows a page has 1,000,000 cells, the limit is 10,000; count them again"
    assert done.stderr == f"{tmp_path / 'layouts' / 'own.toml'}:3: {says}\n"


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ('blocked_cells = "x"', 'blocked_cells: "x" is not a cell'),
        ('blocked_cells = "C1"', 'blocked_cells "C1" is outside stock "own", whose cells are A1 to B5'),
        ('blocked_cells = "A1-B5"', 'blocked_cells "A1-B5" leaves no cell to print'),
        ("ruler_y_mm = 100", "the ruler at 10, 100 mm leaves the page or meets a cell"),
    ],
)
def test_what_no_print_would_take_is_not_drawn_empty_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keys: str, says: str
) -> None:
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    (tmp_path / "layouts").mkdir()
    key = keys.partition(" ")[0]
    kept = "\n".join(line for line in TAG.splitlines() if not line.startswith(key))
    (tmp_path / "layouts" / "own.toml").write_text(f"{kept}\n{keys}\n", "utf-8")
    done = CliRunner().invoke(main, ["calibrate", "stock", "own", "--output", str(tmp_path / "out")])
    assert done.exit_code == 1
    assert says in done.stderr
    assert not (tmp_path / "out").exists()
