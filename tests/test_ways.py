"""Ways out and explanations, through the whole of `check`."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from labeler.cli import main
from labeler.explain import explain
from labeler.model import Fit
from labeler.pipeline import check

BASE = """
[harness]
name = "Survey boat"
[defaults]
wire_reading_distance_mm = 250
[[connector]]
id = "P1"
outside_mm = 30
[[connector]]
id = "J4"
outside_mm = 24
[[circuit]]
id = "W1"
from = "P1:1"
to = "J4:1"
size = "16 AWG"
[[circuit]]
id = "W2"
from = "P1:2"
to = "J4:2"
size = "16 AWG"
[[branch]]
id = "B4"
[[branch.end]]
at = "J4"
"""


def sleeve_of(more: str, folder: Path) -> Fit:
    file = folder / "boat.toml"
    file.write_text(BASE + more, "utf-8")
    return next(fit for fit in check(str(file)).fits if fit.marker.role == "branch end")


def test_a_longer_cut_comes_first_with_its_height(tmp_path: Path) -> None:
    fit = sleeve_of('text = "WATER PROBE J4"\ncut_length_mm = 20\n', tmp_path)
    assert fit.verdict == "does not fit"
    found = re.fullmatch(r"cut it (\d+) mm long \(cut_length_mm = \1\): (\d\.\d\d) mm.*", fit.ways_out[0])
    assert found is not None
    done = sleeve_of(f'text = "WATER PROBE J4"\ncut_length_mm = {found[1]}\n', tmp_path)
    assert done.verdict in ("fits", "tight")
    assert done.capital is not None
    assert f"{done.capital.low:.2f}" == found[2]


def test_explicit_lines_may_be_broken_otherwise(tmp_path: Path) -> None:
    fit = sleeve_of('text = ["WATER", "PROBE", "J4"]\n', tmp_path)
    assert fit.ways_out[0].startswith("break it otherwise, as 'WATER PROBE J4'")


def test_a_wrap_where_no_tube_passes(tmp_path: Path) -> None:
    fit = sleeve_of('text = "WATER PROBE J4"\nfitted = true\n', tmp_path)
    assert fit.tube is None
    assert fit.ways_out[0].startswith("thread it on before connector J4 is fitted, or take it off, tube AS23053/5 1/4")
    assert fit.ways_out[1].startswith('a wrap instead (branch_marker_kind = "wrap"), wrap-a4-25x38')
    done = sleeve_of('text = "WATER PROBE J4"\nfitted = true\nbranch_marker_kind = "wrap"\n', tmp_path)
    assert done.stock == "wrap-a4-25x38"
    assert done.verdict in ("fits", "tight")


def test_a_tube_of_another_family(tmp_path: Path) -> None:
    """8 mm to pass, two 16 AWG wires to grip: 2:1 cannot, 3:1 can."""
    more = 'text = "WATER PROBE J4"\nfitted = true\nsleeve = ["AS23053/5"]\n'
    file = tmp_path / "boat.toml"
    file.write_text(BASE.replace("outside_mm = 24", "outside_mm = 8") + more, "utf-8")
    fit = next(f for f in check(str(file)).fits if f.marker.role == "branch end")
    assert fit.verdict == "does not fit"
    assert any(
        re.match(r"tube 3:1 single wall 9/3 \(3\.0:1; add '3:1 single wall' to sleeve\): \d", w) for w in fit.ways_out
    )


def test_every_way_that_gives_a_height_was_worked_out_and_reads() -> None:
    misfits = check(str(Path(__file__).parent.parent / "examples" / "misfits.toml")).misfits
    assert len(misfits) == 6
    for fit in misfits:
        assert fit.ways_out
        for way in fit.ways_out:
            found = re.search(r": (\d\.\d\d) mm(, turn to read)?$", way)
            if found and fit.capital:
                assert float(found[1]) >= round(fit.capital.required, 2)


@pytest.mark.parametrize("name", ["J4", "DKLHJE94", "water probe"])
def test_explain_is_asked_for_by_id_place_or_text(name: str) -> None:
    boat = str(Path(__file__).parent.parent / "examples" / "survey-boat.toml")
    result = CliRunner().invoke(main, ["check", boat, "--explain", name])
    assert result.exit_code == 0
    for word in (
        "packed to",
        "hull",
        "braided sleeving",
        "grip:",
        "pass:",
        "face",
        "NUREG-0700",
        "ISO 9241-3",
        "contrast",
    ):
        assert word in result.stdout
    assert CliRunner().invoke(main, ["check", boat, "--explain", "nothing like it"]).exit_code == 2


def test_explain_shows_numbers_that_agree() -> None:
    """pass: 6.68 x 1.1 = 7.35; grip: 4.10 x 0.9 = 3.69; each printed sum holds to its last digit."""
    boat = str(Path(__file__).parent.parent / "examples" / "survey-boat.toml")
    for fit in check(boat).fits:
        for line in explain(fit):
            for a, b, c in re.findall(r"([\d.]+) x ([\d.]+) = ([\d.]+)", line):
                assert float(a) * float(b) == pytest.approx(float(c), abs=0.011)
