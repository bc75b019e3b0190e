"""The public interface: its doctests, a whole session, and what an import costs."""

from __future__ import annotations

import doctest
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest

import labeler
import labeler.api
from labeler.errors import WrongUse
from tests.places import EXAMPLES, ROOT

BOAT = EXAMPLES / "survey-boat.toml"


def test_the_examples_in_the_documentation(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    found = doctest.testmod(labeler.api)
    assert found.attempted >= 12
    assert found.failed == 0


def test_every_public_name_is_there() -> None:
    for name in labeler.__all__:
        assert getattr(labeler, name) is not None
        assert name in dir(labeler)
    with pytest.raises(AttributeError, match="no attribute 'prints'"):
        labeler.prints  # noqa: B018


def test_the_frame_says_what_the_fits_say() -> None:
    checked = labeler.check(BOAT)
    frame = checked.frame()
    assert len(frame) == len(checked.fits)
    for row, fit in zip(frame.to_dict("records"), checked.fits, strict=True):
        assert (row["id"], row["result"], row["tube"]) == (fit.marker.id, fit.result, fit.tube.name if fit.tube else "")
        assert row["cut_length_mm"] == fit.cut_length_mm or math.isnan(row["cut_length_mm"])
        if fit.seat:
            assert row["pass_over_diameter_max_mm"] == fit.seat.pass_over.high


def test_print_two_units_find_one_marker_and_reprint_it(tmp_path: Path) -> None:
    with labeler.open_record(tmp_path / "record.sqlite") as record:
        units = labeler.print_units(BOAT, tmp_path / "out", record=record, quantity=2, user="bench")
        assert [unit.job.unit for unit in units] == ["0001", "0002"]
        (lost,) = labeler.find(record, "sleeve J4", unit="0002")
        again = labeler.reprint(record, lost.row.id, "0002", reason="lost", folder=tmp_path / "again")
        assert again.job.reason == "lost"
        assert all(file.exists() for file in again.files)
        with pytest.raises(labeler.LabelerError, match="2 markers match"):
            labeler.reprint(record, lost.row.id, reason="lost", folder=tmp_path)


def test_a_problem_names_the_argument() -> None:
    with pytest.raises(WrongUse) as caught:
        labeler.fit("J4", "wide")
    assert caught.value.problems[0].where.source == "diameter"
    with pytest.raises(labeler.LabelerError) as missing:
        labeler.check(EXAMPLES / "nowhere.toml")
    assert isinstance(missing.value.problems[0], labeler.Problem)


def test_an_import_loads_nothing_else() -> None:
    """A cost that is counted: modules that ``import labeler`` loads beside those of Python itself."""
    code = (
        "import sys, json; before = set(sys.modules); import labeler; "
        "print(json.dumps(sorted(set(sys.modules) - before)))"
    )
    loaded = json.loads(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout)
    assert [name for name in loaded if name.partition(".")[0] not in sys.stdlib_module_names] == ["labeler"]
