"""Ways out and explanations, through the whole of `check`."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from labeler.answers.report import explain
from labeler.cli.main import main
from labeler.model import Fit
from labeler.wording import sentence, sentences
from tests.orders import check
from tests.places import EXAMPLES

BASE = """
[harness]
name = "Survey boat"
[defaults]
marker.branch = "sleeve"
print.wire_reading_distance_mm = 250
[[connector]]
id = "P1"
max_width_mm = 30
[[connector]]
id = "J4"
max_width_mm = 24
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
    assert fit.result == "fail"
    found = re.fullmatch(r"cut (\d+) mm \(cut_length_mm = \1\): (\d\.\d\d) mm.*", sentence(fit.fixes[0]))
    assert found is not None
    done = sleeve_of(f'text = "WATER PROBE J4"\ncut_length_mm = {found[1]}\n', tmp_path)
    assert done.result in ("pass", "marginal")
    assert done.capital_height_mm is not None
    assert f"{done.capital_height_mm.low:.2f}" == found[2]


def test_explicit_lines_may_be_broken_otherwise(tmp_path: Path) -> None:
    fit = sleeve_of('text = ["WATER", "PROBE", "J4"]\n', tmp_path)
    assert sentence(fit.fixes[0]).startswith("break lines as 'WATER PROBE J4'")


def test_a_wrap_where_no_tube_passes(tmp_path: Path) -> None:
    fit = sleeve_of('text = "WATER PROBE J4"\nconnector_installed = true\n', tmp_path)
    assert fit.tube is None
    in_time, wrap, *_ = sentences(fit.fixes)
    assert in_time.startswith(
        "slide it on before connector J4 is installed, or remove the connector, tube AS23053/5 1/4"
    )
    assert wrap.startswith('use a wrap (marker.branch = "wrap"), wrap-a4-25x38')
    done = sleeve_of('text = "WATER PROBE J4"\nconnector_installed = true\nmarker.branch = "wrap"\n', tmp_path)
    assert done.stock == "wrap-a4-25x38"
    assert done.result in ("pass", "marginal")


@pytest.mark.parametrize(
    ("code_on", "says"),
    [
        ('["sleeve", "wrap"]', ", with its code"),
        ('["sleeve"]', ', without its code: code.on omits "wrap"'),
        ('["wrap"]', None),  # the sleeve has no code to lose
    ],
)
def test_another_kind_says_what_becomes_of_the_code(code_on: str, says: str | None, tmp_path: Path) -> None:
    more = 'text = "J4"\nconnector_installed = true\ncode.symbology = "QR"\n'
    more += f"code.allow_failed = true\ncode.on = {code_on}\n"
    way = next(way for way in sentences(sleeve_of(more, tmp_path).fixes) if way.startswith("use a wrap"))
    assert way.endswith(says) if says else "code" not in way


def test_a_tube_of_another_family(tmp_path: Path) -> None:
    """8 mm to pass, two 16 AWG wires to grip: 2:1 cannot, 3:1 can."""
    more = 'text = "WATER PROBE J4"\nconnector_installed = true\nsleeve.families = ["AS23053/5"]\n'
    file = tmp_path / "boat.toml"
    file.write_text(BASE.replace("max_width_mm = 24", "max_width_mm = 8") + more, "utf-8")
    fit = next(f for f in check(str(file)).fits if f.marker.role == "branch end")
    assert fit.result == "fail"
    assert any(
        w.startswith(
            "use 3:1 single wall 9/3 (9.00 mm expanded, 3.00 recovered, 3.0:1; add '3:1 single wall' to "
            "sleeve.families): "
        )
        for w in sentences(fit.fixes)
    )


def test_every_way_that_gives_a_height_was_worked_out_and_reads() -> None:
    misfits = check(str(EXAMPLES / "misfits.toml")).misfits
    assert len(misfits) == 6
    for fit in misfits:
        assert fit.fixes
        for way in sentences(fit.fixes):
            found = re.search(r": (\d\.\d\d) mm$", way)
            if found and fit.capital_height_mm:
                assert float(found[1]) >= round(fit.capital_height_mm.required, 2)


@pytest.mark.parametrize("name", ["J4", "DKLHJE94", "water probe"])
def test_explain_is_asked_for_by_id_place_or_text(name: str) -> None:
    boat = str(EXAMPLES / "survey-boat.toml")
    result = CliRunner().invoke(main, ["check", boat, "--explain", name])
    assert result.exit_code == 0
    for word in (
        "packed tightest",
        "hull",
        "braided sleeving",
        "grips: ",
        "slides on: ",
        "marked side",
        "NUREG-0700",
        "ISO 9241-3",
        "contrast",
    ):
        assert word in result.stdout
    assert CliRunner().invoke(main, ["check", boat, "--explain", "nothing like it"]).exit_code == 2


@pytest.mark.parametrize(("name", "near"), [("WATER PORBE", "WATER PROBE"), ("B4 J44", "B4 J4")])
def test_explain_points_to_the_nearest_name(name: str, near: str) -> None:
    boat = str(EXAMPLES / "survey-boat.toml")
    result = CliRunner().invoke(main, ["check", boat, "--explain", name])
    assert result.exit_code == 2
    assert f"no marker is called {name!r}; did you mean '{near}" in result.stderr


def test_explain_shows_numbers_that_agree() -> None:
    """pass: 6.68 x 1.1 = 7.35; grip: 4.10 x 0.9 = 3.69; each printed sum holds to its last digit."""
    boat = str(EXAMPLES / "survey-boat.toml")
    for fit in check(boat).fits:
        for line in explain(fit):
            for a, b, c in re.findall(r"([\d.]+) x ([\d.]+) = ([\d.]+)", line):
                assert float(a) * float(b) == pytest.approx(float(c), abs=0.011)


# ---------------------------------------------------------------- every kind says what would do


OFFERED = re.compile(r"\((\w+) = (.+?)\)[^:]*: (\d\.\d\d) mm")


def applied(file: Path, at: str, way: str) -> Fit:
    """The marker at a place after following a way out as it is written: the key in brackets set."""
    found = OFFERED.search(way)
    assert found
    key, value = found[1], found[2].strip("\"'")
    text = file.read_text("utf-8")
    settings = {key: value}
    if key == "cut_length_mm":
        file.write_text(re.sub(r"cut_length_mm = \d+", f"cut_length_mm = {value}", text), "utf-8")
        settings = {}
    made = next(f for f in check(str(file), settings=settings).fits if f.marker.place == at)
    assert made.capital_height_mm is not None
    assert f"{made.capital_height_mm.low:.2f}" == found[3]
    return made


@pytest.mark.parametrize("kind", ["sleeve", "insert", "flag", "wrap"])
def test_ways_of_every_kind_lead_where_they_say(kind: str, tmp_path: Path) -> None:
    """A text too long for each: what is offered with a height gives that height when it is followed."""
    text = "STARBOARD WORK LIGHT OF THE FORWARD WHEELHOUSE, UNIT 12, P2" if kind == "flag" else "STARBOARD LIGHT P2"
    file = tmp_path / "boat.toml"
    base = BASE.replace('marker.branch = "sleeve"', f'marker.branch = "{kind}"')
    fixed = "cut_length_mm = 20\n" if kind in ("sleeve", "insert") else "print.reading_distance_mm = 800\n"
    file.write_text(f'{base}text = "{text}"\n{fixed}', "utf-8")
    fit = next(f for f in check(str(file)).fits if f.marker.place == "J4")
    assert fit.result == "fail"
    assert len(set(fit.fixes)) == len(fit.fixes)
    keys = [found[1] for way in sentences(fit.fixes) if (found := OFFERED.search(way))]
    assert len(keys) == len(set(keys))
    followed = 0
    for way in sentences(fit.fixes):
        if (
            OFFERED.search(way) and "print.reading_distance_mm" not in way
        ):  # set on the end itself: harness settings yield
            assert applied(file, "J4", way).result in ("pass", "marginal")
            file.write_text(f'{base}text = "{text}"\n{fixed}', "utf-8")
            followed += 1
    assert followed or any("nearer" in way for way in sentences(fit.fixes))


def test_fit_says_what_would_do_and_names_the_tube_asked_for() -> None:
    """1/4 in tube is supplied with 6.35 mm; 8 mm and 10 % to pass need 8.80."""
    result = CliRunner().invoke(main, ["fit", "WINCH", "--diameter", "8", "--tube", "AS23053/5 1/4"])
    assert result.exit_code == 1
    assert "AS23053/5 1/4: expanded ID 6.35 mm; at least 8.80 mm needed to slide on" in result.stdout
    assert "3:1" not in result.stdout
    assert "to fix    use AS23053/5 3/8" in result.stdout
    short = CliRunner().invoke(main, ["fit", "STARBOARD LIGHT", "--diameter", "3.4-3.8", "--cut-length", "25"]).stdout
    assert re.search(r"to fix    cut \d+ mm \(cut_length_mm = \d+\): \d\.\d\d mm", short)
    family = CliRunner().invoke(main, ["fit", "WINCH", "--diameter", "8-30", "--tube", "3:1 SINGLE WALL"]).stdout
    assert "AS23053/5:" not in family


def test_fit_says_where_the_usual_card_does_not_take_the_piece() -> None:
    stdout = CliRunner().invoke(main, ["fit", "WINCH", "--diameter", "3.4-3.8", "--cut-length", "220"]).stdout
    assert "WINCH: pass" in stdout
    assert "card-210x148 takes 200 × 122.5 mm: use --stock reel" in stdout


def test_bundle_says_which_insulation_it_took() -> None:
    result = CliRunner().invoke(main, ["bundle", "4 x 2.5 mm²"])
    assert result.exit_code == 0
    assert "ISO 6722-1 thin wall is taken for the diameter" in result.stdout
    assert "warning: '4 x 2.5 mm²': no insulation is named, ISO 6722-1 thin wall is taken" in result.stderr
    named = CliRunner().invoke(main, ["bundle", "4 x 20 AWG TXL, 2 x 1.9 mm"])
    assert "taken" not in named.stdout + named.stderr


# ---------------------------------------------------------------- missed by a hair


def near_miss(more_of_branch: str, file: Path, more: str = "") -> tuple[str, ...]:
    base = BASE.replace('id = "B4"', f'id = "B4"\n{more_of_branch}')
    file.write_text(f'{base}text = "J4"\nsleeve.families = ["AS23053/5"]\n{more}', "utf-8")
    fit = next(f for f in check(str(file)).fits if f.marker.role == "branch end")
    assert fit.tube is None
    return sentences(fit.fixes)


def followed_on_branch(file: Path, way: str) -> Fit:
    """What comes out where the key in brackets is set on the branch."""
    found = re.search(r"\(([\w.]+) = ([\d.]+)\): (\d\.\d\d) mm", way)
    assert found
    text = re.sub(rf"(?m)^{found[1]} = .*\n", "", file.read_text("utf-8"))
    file.write_text(text.replace('id = "B4"', f'id = "B4"\n{found[1]} = {found[2]}'), "utf-8")
    made = next(f for f in check(str(file)).fits if f.marker.role == "branch end")
    assert made.capital_height_mm is not None
    assert f"{made.capital_height_mm.low:.2f}" == found[3]
    return made


def test_a_measured_wall_comes_before_a_weaker_margin(tmp_path: Path) -> None:
    """Woven wrap, 0.6 to 1.0 mm squeezed, on 4.4 mm, and a closed end: 6.4 mm does not go into 6.35 mm of tube 1/4,
    in the middle 6.0 x 1.1 = 6.6 neither; tube 3/8 recovers to 4.75 mm, too wide for the 4.4 mm past the edge.

    (6.35 - 4.4) / 2 = 0.975: 0.95 is the next lower twentieth. 6.35 / 6.0 = 1.058: a margin of 5 %.
    """
    file = tmp_path / "boat.toml"
    branch = 'bundle_diameter_mm = 4.4\ncovering = "woven wrap"\nsleeve.grips = "both"'
    ways = near_miss(branch, file)
    wall, overlap, margin = (
        next(way for way in ways if key in way)
        for key in ("covering_wall_mm", "covering_overlap_mm", "pass_over_margin")
    )
    assert "AS23053/5 1/4 fits if it is 0.95 mm (covering_wall_mm = 0.95): " in wall
    assert "use AS23053/5 3/8 on the covering alone, its edge stays open" in overlap
    assert "use AS23053/5 1/4 with a margin of 5% instead of 10%; it slides on less easily" in margin
    assert ways.index(wall) < ways.index(overlap) < ways.index(margin)
    for way in (wall, margin):
        near_miss(branch, file)
        assert followed_on_branch(file, way).result in ("pass", "marginal")


def test_a_margin_is_not_given_up_for_what_misses_by_far(tmp_path: Path) -> None:
    """30 mm to slide over at an installed connector: no margin helps 6.35 mm tube."""
    ways = near_miss("", tmp_path / "boat.toml", "connector_installed = true\n")
    assert ways
    assert not any("margin" in way or "measure" in way for way in ways)


def test_a_tube_without_its_margin_is_marginal() -> None:
    """5.8 x 1.1 = 6.38 against 6.35 expanded; 6.35 / 5.8 = 1.0948."""
    stdout = CliRunner().invoke(main, ["fit", "J4", "--diameter", "5.0-5.8", "--tube", "AS23053/5 1/4"]).stdout
    assert "J4: marginal" in stdout
    assert "slides over 5.80 mm with 9.5% clearance (6.35 mm expanded), less than the margin" in stdout


# ---------------------------------------------------------------- explained


def explained(more: str, folder: Path, base: str = BASE) -> str:
    file = folder / "boat.toml"
    file.write_text(base + more, "utf-8")
    fit = next(f for f in check(str(file)).fits if f.marker.place == "J4")
    return "\n".join(explain(fit))


def test_explain_says_the_limits_that_are_set(tmp_path: Path) -> None:
    assert "(0.4 to 1.1 allowed; ISO 9241-3: 0.5 to 1.0)" in explained(
        'text = "J4"\nprint.min_width_ratio = 0.4\nprint.max_width_ratio = 1.1\n', tmp_path
    )


def test_explain_keeps_the_thinnest_and_the_thickest_apart(tmp_path: Path) -> None:
    """Two 16 AWG wires of 2.2 to 2.4 mm: packed 4.4 at their thinnest; laid by hand at their thickest."""
    text = explained('text = "J4"\n', tmp_path)
    assert re.search(r"2 wires or cables: thinnest, packed tightest \d\.\d\d mm, hull", text)
    assert "thickest, laid by hand" in text


def test_a_measured_bundle_and_a_cable_are_explained(tmp_path: Path) -> None:
    covered = 'text = "J4"\ncovering_wall_mm = 0.5\n'
    measured = BASE.replace('id = "B4"', 'id = "B4"\nbundle_diameter_mm = 4.4\nbundle_diameter_tolerance_mm = 0.1')
    text = explained(covered, tmp_path, measured)
    assert "grip        5.30 to 5.50 mm: as measured, the covering added" in text
    assert "pass over   5.30 to 5.50 mm: as measured, the covering added" in text
    cable = BASE.replace('size = "16 AWG"', 'size = "16 AWG"\ncable = "K1"') + covered
    text = explained("", tmp_path, cable.replace("[[branch]]", '[[cable]]\nid = "K1"\nod_mm = 6\n[[branch]]'))
    assert "seat        1 cable, covering" in text
    assert "grip        7.00 mm: the wire or cable itself, the covering added" in text


def test_a_bag_with_nothing_on_it_is_warned_of(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    file.write_text(BASE + '[[bag]]\nid = "K9"\n[[bag]]\nid = "K4"\nbranch = "B4"\n', "utf-8")
    notes = [str(note) for note in check(str(file)).notes if "bag" in note.message]
    assert len(notes) == 1
    assert "bag K9: nothing is listed on its tag" in notes[0]
