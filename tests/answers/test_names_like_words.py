"""What the program answers does not depend on what things are called, even where they are called with its own words.

The same harness is checked twice: once named with words that the program uses itself, once with the letters of each of
these words turned round, which no text of the program holds. Letters, widths and places where a text may be broken are
the same, so all answers are, but for the names and the ids, which are made from them.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import pytest

from labeler.answers.report import as_json, explain, one, summary, table
from labeler.errors import Problem
from labeler.job.check import Checked
from labeler.job.run import misfit_problem, notes_on_tags
from tests.orders import check

WORDS = (
    "valve before pump",
    "measured",
    "tube 3",
    "packed to",
    "see the bench sheet",
    "96 rows",
    "J1 at J2",
    "fits",
    "turn to read",
    "taken before",
    "nothing that was tried",
    "marker of sleeve",
)
ROLES = ("FROM", "INSTALLED", "PINS", "SPLICE", "BRANCH", "OTHER", "FIRST", "SECOND", "SIGNAL", "ABOUT", "TEXT", "BAG")
PINS = 70  # circuits to PINS: more than its tag has room for, so that it refers to the bench sheet
HARNESS = """
[harness]
name = "Boat"
part_number = "B-1"
[defaults]
marker.branch = "sleeve"
wire_type = "SAE J1128 TXL"
marker.wire_text = "signal"
sleeve.families = ["AS23053/5"]
[[connector]]
id = "FROM"
max_width_mm = 30
[[connector]]
id = "INSTALLED"
description = "ABOUT"
max_width_mm = 40
[[connector]]
id = "PINS"
description = "ABOUT"
max_width_mm = 30
[[connector]]
id = "SPLICE"
kind = "splice"
max_width_mm = 4
[[circuit]]
id = "FIRST"
from = "FROM:1"
to = "INSTALLED:1"
size = "16 AWG"
signal = "SIGNAL"
[[circuit]]
id = "SECOND"
from = "FROM:2"
to = "SPLICE"
size = "16 AWG"
signal = "SIGNAL"
[[branch]]
id = "BRANCH"
bundle_diameter_mm = 5
covering = "braided sleeving"
[[branch.end]]
at = "FROM"
text = ["TEXT", "A LINE THAT IS TOO LONG FOR ANY CUT OF TUBE, AND IS NOT TO BE BROKEN"]
[[branch.end]]
at = "INSTALLED"
connector_installed = true
[[branch]]
id = "OTHER"
circuits = ["SECOND"]
[[branch.end]]
at = "SPLICE"
text = "TEXT"
code.symbology = "QR"
code.on = ["sleeve", "wrap"]
[[bag]]
id = "BAG"
branch = "BRANCH"
[[bag]]
id = "PINS"
connector = "PINS"
""" + "".join(
    f'[[circuit]]\nid = "W{n}"\nfrom = "FROM:{n + 10}"\nto = "PINS:{n}"\nsize = "20 AWG"\nsignal = "S{n}"\n'
    for n in range(1, PINS + 1)
)


def turned(name: str) -> str:
    """Return a name with the letters of each word turned round, figures and blanks where they are."""
    return " ".join(word if any(map(str.isdigit, word)) else word[::-1] for word in name.split())


def checked(names: Sequence[str], folder: Path) -> Checked:
    folder.mkdir()
    text = HARNESS
    for role, name in zip(ROLES, names, strict=True):
        text = text.replace(f'"{role}"', f'"{name}"').replace(f'"{role}:', f'"{name}:')
    file = folder / "boat.toml"
    file.write_text(text, "utf-8")
    return check(str(file))


def said(answer: Checked) -> str:
    """Return all that is answered about a harness, without the ids."""
    problems: list[Problem] = [*map(misfit_problem, answer.misfits), *notes_on_tags(answer.fits), *answer.notes]
    lines = [
        json.dumps(as_json(answer), ensure_ascii=False, indent=1),
        *table(answer.fits),
        summary(answer),
        *(f"{problem.message}: {problem.fix}" for problem in problems),
        *(line for fit in answer.fits for line in (*explain(fit), *one(fit))),
    ]
    text = "\n".join(lines)
    for fit in answer.fits:
        text = text.replace(fit.marker.id, "?")
    return text


@pytest.mark.parametrize("shift", range(0, len(WORDS), 3))
def test_names_that_the_program_uses_itself_change_nothing_but_the_names(shift: int, tmp_path: Path) -> None:
    names = (*WORDS[shift:], *WORDS[:shift])
    plain = tuple(turned(name) for name in names)
    answer = checked(names, tmp_path / "own")
    other = said(checked(plain, tmp_path / "turned")).replace(str(tmp_path / "turned"), str(tmp_path / "own"))
    for name in sorted(names, key=len, reverse=True):
        other = other.replace(turned(name), name)
    assert said(answer) == other
    assert len(answer.misfits) >= 1  # so that reasons and remedies are among what is compared
    assert any(fit.on_bench_sheet for fit in answer.fits)
