"""Damaged stock files and printer profiles: each is read or refused in lines that say what to do, and nothing else."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from labeler import catalogue
from labeler.cli import main

LAYOUTS = Path(__file__).parents[1] / "layouts"
BOAT = str(LAYOUTS.parent / "examples" / "survey-boat.toml")
PROFILE = """technology = "thermal transfer"
dpi = 300
border_mm = 2.0
feeds = ["roll", "reel", "grid", "card"]
widest_mm = 300
scale_x = 1.0081
scale_y = 0.9960
offset_x_mm = 0.5
offset_y_mm = 0.0
"""
ODD = (
    *("0", "-1", "0.01", "1000", "5000", "1e308", "1e-300", "99999999999999999999", "nan", "inf", "-inf"),
    *("true", "[]", "{}", "[1, 2]", "1979-05-27", '""', '"x"', '"8,5 in"', '"1/4 in"', '"210 mm"', '"\\u0000"'),
    *('"A1"', '"A1-B3, D7"', '"A1-ZZZ9999"', '"grid"', '"roll"', '"card"', '"reel"', '"wrap"', '"sleeve"', '"laser"'),
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
def test_a_damaged_stock_file_is_drawn_or_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    folder = tmp_path / "layouts"
    folder.mkdir()
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path))
    chance, shipped = random.Random(name), (LAYOUTS / f"{name}.toml").read_text("utf-8")
    codes = []
    for _ in range(12):
        (folder / "own.toml").write_text(damaged(shipped, chance), "utf-8", newline="")
        catalogue._load.cache_clear()
        code = answered("stock", "own", "--out", str(tmp_path / "out"), "--force")
        if code == 0:
            code = answered(
                "print",
                BOAT,
                "--stock",
                "own",
                "--out",
                str(tmp_path),
                "--force",
                "--leave-out",
                "--record",
                str(tmp_path / "r.sqlite"),
            )
        codes.append(code)
    assert set(codes) <= {0, 1}
    assert 1 in codes


def test_a_damaged_profile_is_taken_or_refused(tmp_path: Path) -> None:
    chance, file = random.Random(7), tmp_path / "own.toml"
    codes = []
    for _ in range(60):
        file.write_text(damaged(PROFILE, chance), "utf-8", newline="")
        codes.append(answered("calibrate", "tag-a4-95x54", "--printer", str(file), "--out", str(tmp_path), "--force"))
    assert set(codes) == {0, 1}
