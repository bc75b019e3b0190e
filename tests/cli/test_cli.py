"""The command line: what it answers, what it refuses, and that nothing ends in a traceback."""

import json
import os
import subprocess
import sys
from itertools import product
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from labeler.cli.main import main
from labeler.record import open_record
from labeler.tables.stocks import PAPERS
from tests.places import EXAMPLES

BOAT = str(EXAMPLES / "survey-boat.toml")
GOOD = "Wire,From,From Pin,To,To Pin,Gauge\nW1,P1,1,J1,1,20 AWG\n"


def run(*words: object) -> Result:
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
    assert "Traceback" not in result.output
    return result


# ---------------------------------------------------------------- check


def test_check_json() -> None:
    """The keys of the output contract; values agree with one another."""
    result = run("check", BOAT, "--json")
    assert result.exit_code == 0
    answer = json.loads(result.stdout)
    assert answer["harness"] == {"name": "River survey boat, sensors", "part_number": "RSB-210", "revision": "C"}
    assert answer["problems"] == []
    sleeve = next(m for m in answer["markers"] if m["kind"] == "sleeve" and m["place"] == "J4")
    for key in ("id", "text", "seat", "pass_over_diameter_mm", "grip_diameter_mm", "tube", "cut_length_mm",
                "tube_od_mm", "lay_flat_width_mm", "printable_around_mm", "circumferential_scale", "marked_side_scale",
                "longitudinal_scale", "heating", "text_arc_deg", "text_stretch", "font", "font_size_pt",
                "capital_height_mm", "sections_mm", "result", "reasons", "installation"):  # fmt: skip
        assert key in sleeve, key
    assert sleeve["tube"].keys() == {
        "name",
        "expanded_id_mm",
        "recovered_id_mm",
        "recovered_wall_mm",
        "shrink_ratio",
    }
    assert sleeve["pass_over_diameter_mm"]["max"] * 1.1 <= sleeve["tube"]["expanded_id_mm"]
    assert sleeve["tube"]["recovered_id_mm"] <= sleeve["grip_diameter_mm"]["min"] * 0.9
    assert sleeve["text_diameter_mm"]["min"] == sleeve["grip_diameter_mm"]["min"]  # it holds on the covering
    capital, face = sleeve["capital_height_mm"], sleeve["marked_side_scale"]
    assert capital["min"] == pytest.approx(capital["printed"] * face["min"], abs=1e-3)
    assert capital["min"] >= capital["required"]
    wrap = next(m for m in answer["markers"] if m["kind"] == "wrap")
    assert "tube" not in wrap
    assert "marked_side_scale" not in wrap


def test_check_says_what_does_not_fit_and_exits_with_1() -> None:
    result = run("check", EXAMPLES / "misfits.toml")
    assert result.exit_code == 1
    assert "fail" in result.stdout
    assert "to fix: " in result.stdout


def test_check_reads_standard_input() -> None:
    result = CliRunner().invoke(main, ["check", "-"], input=GOOD)
    assert result.exit_code in (0, 1)
    assert "P1:1/J1:1" in result.stdout


def test_settings_from_the_command_line() -> None:
    assert run("check", BOAT, "--set", "marker.wire_text={circuit}").exit_code == 0
    near = run("check", BOAT, "--set", "reading_distance=300")
    assert near.exit_code != 0
    assert "print.reading_distance_mm" in near.stderr
    assert run("check", BOAT, "--set", "nonsense").exit_code == 2


# ---------------------------------------------------------------- bad input, one clear line each

BAD = {
    "empty.csv": b"",
    "blank.csv": b"\n\n\n",
    "binary.csv": bytes(range(256)) * 40,
    "no-ends.csv": b"Signal,Gauge\nDEPTH,20\nTEMP,20\n",
    "wrong-delimiter.csv": b"Wire^From^From Pin^To^To Pin\nW1^P1^1^J1^1\n",
    "duplicate-headers.csv": b"Wire,From,From,To,To\nW1,P1,1,J1,1\n",
    "banana.csv": b"Wire,From,From Pin,To,To Pin,Gauge\nW1,P1,1,J1,1,banana\n",
    "negative.csv": b"Wire,From,From Pin,To,To Pin,Gauge,Length (mm)\nW1,P1,1,J1,1,20 AWG,-5\n",
    "cavity-0.csv": b"Wire,From,From Pin,To,To Pin,Gauge\nW1,P1,0,J1,1,20 AWG\n",
    "twice.csv": GOOD.encode() + b"W1,P1,2,J1,2,20 AWG\n",
    "one-cavity.csv": GOOD.encode() + b"W2,P1,1,J1,2,20 AWG\n",
    "long-line.csv": b"Wire,From,From Pin,To,To Pin,Gauge\nW1,P1,1,J1,1," + b"x" * 10_000_000 + b"\n",
    "no-size.csv": b"Wire,From,From Pin,To,To Pin\nW1,P1,1,J1,1\n",
    "utf16-half.csv": GOOD.encode("utf-16")[:-1],
    "syntax.toml": b"[harness\nname = 1\n",
    "unknown-key.toml": b'[harness]\nname = "Boat"\nrevison = "B"\n',
    "wrong-type.toml": b'[harness]\nname = ["Boat"]\n',
    "nothing.toml": b"",
    "deep.toml": b"a = " + b"[" * 20000 + b"]" * 20000,
    "long-text.toml": b'[harness]\nname = "B"\n[[circuit]]\nid = "W1"\nfrom = "P1:1"\nto = "J1:1"\nsize = "20 AWG"\n'
    b'[[branch]]\nid = "B1"\n[[branch.end]]\nat = "J1"\ntext = "' + b"A" * 300 + b'"\n',
    "glyph.toml": '[harness]\nname = "B"\n[[circuit]]\nid = "W1"\nfrom = "P1:1"\nto = "J1:1"\nsize = "20 AWG"\n'
    '[[branch]]\nid = "B1"\n[[branch.end]]\nat = "J1"\ntext = "深度"\n'.encode(),
    "circuits-outside.toml": b'[harness]\nname = "B"\ncircuits_from = "../../etc/passwd"\n',
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_gets_lines_and_status_1(name: str, tmp_path: Path) -> None:
    file = tmp_path / name
    file.write_bytes(BAD[name])
    for command in (["check", file], ["print", file, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]):
        result = run(*command)
        assert result.exit_code == 1
        lines = result.stderr.strip().splitlines()
        assert lines
        assert name in lines[0]
        assert all(len(line) < 1500 for line in lines), [len(line) for line in lines]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1", "cp1252"])
def test_encodings(encoding: str, tmp_path: Path) -> None:
    file = tmp_path / "boot.csv"
    text = "Leitung;von;Pin;nach;Pin;Querschnitt;Farbe;Länge\nW1;Steuergerät;1;Fühler;2;0,75;BU;850\n"
    file.write_bytes(text.encode(encoding))
    answer = json.loads(run("check", file, "--json", "--set", "print.wire_reading_distance_mm=200").stdout)
    assert "Steuergerät:1" in {m["place"] for m in answer["markers"]}


@pytest.mark.parametrize("name", ["none.toml", "none.csv"])
def test_a_file_that_is_not_there(name: str, tmp_path: Path) -> None:
    result = run("check", tmp_path / name)
    assert result.exit_code == 1
    assert name in result.stderr
    assert run("check", tmp_path).exit_code == 1


def test_a_damaged_record(tmp_path: Path) -> None:
    record = tmp_path / "r.sqlite"
    record.write_bytes(b"SQLite format 3\0" + bytes(500))
    for command in (
        ["print", BOAT, "--output", tmp_path / "out", "--record", record],
        ["reprint", "J4", "--reason", "lost", "--record", record],
        ["record", "list", "--record", record],
    ):
        result = run(*command)
        assert result.exit_code == 1
        assert str(record) in result.stderr
    assert not (tmp_path / "out").exists()


def test_a_record_that_is_not_there(tmp_path: Path) -> None:
    result = run("record", "list", "--record", tmp_path / "none.sqlite")
    assert result.exit_code == 1
    assert not (tmp_path / "none.sqlite").exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir(mode=0o500)
    result = run("print", BOAT, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite")
    assert result.exit_code == 1
    assert "cannot be written" in result.stderr


def test_a_read_only_place(tmp_path: Path) -> None:
    """/proc takes no files, not even root's."""
    if not Path("/proc/self").exists():
        pytest.skip("no /proc here")
    result = run("print", BOAT, "--output", "/proc/labeler", "--record", tmp_path / "r.sqlite")
    assert result.exit_code == 1
    assert "/proc/labeler" in result.stderr


@pytest.mark.parametrize("place", ["file", "file/in/it", "link", "link/in/it"])
def test_a_folder_that_cannot_be_is_told_before_a_serial_is_given(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    (tmp_path / "link").symlink_to("nowhere")
    words = ["print", BOAT, "--record", tmp_path / "r.sqlite"]
    done = run(*words, "--output", tmp_path / place)
    assert done.exit_code == 1
    what = "is a file" if place.startswith("file") else "is no folder"
    assert done.stderr == f"{tmp_path / place.partition('/')[0]}: {what}; choose another folder (--output)\n"
    done = run(*words, "--output", tmp_path / "new" / "folder")
    assert done.exit_code == 0
    assert "unit 0001: " in done.stderr
    assert "job 1" in done.stderr


def test_a_closed_folder_is_told_before_a_serial_is_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Root may write anywhere: what the system answers to others is put into its mouth."""
    words = ["print", BOAT, "--record", tmp_path / "r.sqlite", "--output", tmp_path / "out"]
    with monkeypatch.context() as patched:
        patched.setattr("os.access", lambda path, mode: not (Path(path) == tmp_path and mode & os.W_OK))
        done = run(*words)
    assert (done.exit_code, done.stderr) == (
        1,
        f"{tmp_path}: the folder cannot be written to; choose another folder (--output)\n",
    )
    assert "unit 0001: " in run(*words).stderr


def test_a_full_disk(tmp_path: Path) -> None:
    """/dev/full refuses every write with "No space left on device"."""
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    result = run("check", BOAT, "--json")
    script = f"from labeler.cli.main import main; main(['check', {BOAT!r}])"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([sys.executable, "-c", script], stdout=full, stderr=subprocess.PIPE, text=True)
    assert result.exit_code == 0
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "No space left on device" in done.stderr


def test_start_cells(tmp_path: Path) -> None:
    words = ["print", BOAT, "--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--start-cell"]
    outside = run(*words, "wrap-a4-25x18=Z99")
    assert outside.exit_code == 1
    assert "Z99" in outside.stderr
    assert run(*words, "Z99").exit_code == 2
    unknown = run(*words, "wrap-a4-25x81=B2")
    assert unknown.exit_code in (1, 2)
    assert not (tmp_path / "out").exists()
    assert run(*words, "wrap-a4-25x18=B3").exit_code == 0


# ---------------------------------------------------------------- reprint and record


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cli")
    assert run("print", BOAT, "--output", folder, "--record", folder / "r.sqlite").exit_code == 0
    return folder / "r.sqlite"


def test_reprint(record: Path, tmp_path: Path) -> None:
    result = run("reprint", "WATER PROBE", "--reason", "lost", "--record", record, "--output", tmp_path)
    assert result.exit_code == 0
    assert all(Path(line).exists() for line in result.stdout.splitlines())
    assert len(result.stdout.splitlines()) == 2
    assert "1 marker on 1 sheet" in result.stderr


def test_finish_and_cancel(record: Path, tmp_path: Path) -> None:
    for command in ("finish", "cancel"):
        more = ["--reason", "power cut"] if command == "cancel" else ["--output", tmp_path]
        for job in (1, 999):
            result = run("record", command, job, "--record", record, *more)
            assert result.exit_code == 1
            assert result.stderr.startswith(f"job {job}: ")
        assert run("record", command, "one", "--record", record, *more).exit_code == 2
    assert run("record", "cancel", 1, "--record", record).exit_code == 2  # no reason
    assert not list(tmp_path.iterdir())


def test_reprint_never_guesses(record: Path, tmp_path: Path) -> None:
    result = run("reprint", "W101", "--reason", "lost", "--record", record, "--output", tmp_path)
    assert result.exit_code == 1
    assert "2 markers match 'W101'" in result.stderr
    assert "P1:1/J1:1" in result.stderr
    assert not list(tmp_path.iterdir())


def test_a_part_of_an_id_is_no_name(record: Path, tmp_path: Path) -> None:
    """B1 J1 has the id W9X0GRQG: 0GR and W9X0 are parts of it, and of no text."""
    for part in ("0001 0GR", "W9X0", "0001 W5"):
        result = run("reprint", part, "--reason", "lost", "--record", record, "--output", tmp_path)
        assert result.exit_code == 1, part
        assert f"no marker is recorded for {part!r}" in result.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["0001 B4 J4", "b4  j4", "0001 dklhje94", "RSB-210 0001 J4"])
def test_a_place_as_the_sheets_print_it(record: Path, tmp_path: Path, name: str) -> None:
    shown = run("record", "show", name, "--record", record)
    assert shown.stdout.splitlines()[1].startswith("DKLHJE94  RSB-210  unit 0001  sleeve  B4 J4  WATER PROBE J4")
    assert run("reprint", name, "--reason", "lost", "--record", record, "--output", tmp_path).exit_code == 0


def test_explain_names_markers_as_reprint_does() -> None:
    for name in ("B4 J4", "dklhje94"):
        assert run("check", BOAT, "--explain", name).stdout.startswith("DKLHJE94  branch end J4")
    for name in ("KLHJE", ""):
        assert run("check", BOAT, "--explain", name).exit_code == 2


def test_several_matches_are_listed_and_numbered(record: Path, tmp_path: Path) -> None:
    """Each circuit has two ends; which end stands first is the order of printing."""
    result = run("reprint", "W101", "--reason", "lost", "--record", record, "--output", tmp_path)
    lines = result.stderr.splitlines()
    assert lines[1].split()[:4] == ["id", "harness", "unit", "kind"]
    assert [line.split()[0] for line in lines[2:4]] == ["1", "2"]
    assert all("unit 0001" in line and "J1:1" in line for line in lines[2:4])
    assert 'name one by its unit and id, as in "0001 ' in lines[4]
    assert "narrow it with --unit, --harness or --branch" in lines[4]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("0007 J4", "there is no unit 0007, there is 0001"),
        ("RSB-210 0007 B4 J4", "there is no unit RSB-210 0007"),
        ("0001 WATER PROBE J44", "unit 0001 has none of that name"),
        ("0001 WATER PROBE J44", "did you mean 'WATER PROBE J4'?"),
        ("WATRE PROBE J4", "did you mean 'WATER PROBE J4'?"),
        ("0002", "did you mean '0001'?"),
    ],
)
def test_a_name_that_meets_nothing_is_told_what_is_near(record: Path, tmp_path: Path, name: str, words: str) -> None:
    result = run("reprint", name, "--reason", "lost", "--record", record, "--output", tmp_path)
    assert (result.exit_code, result.stdout) == (1, "")
    assert words in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_a_unit_that_is_not_there_is_told_from_a_name_that_is_not(record: Path, tmp_path: Path) -> None:
    for name, words in (("J4", "there is no unit 0009, there is 0001"), ("J44", "there is no unit 0009")):
        result = run("reprint", name, "--unit", "0009", "--reason", "x", "--record", record, "--output", tmp_path)
        assert words in result.stderr
    result = run("reprint", "J44", "--unit", "1", "--reason", "x", "--record", record, "--output", tmp_path)
    assert "unit 1 has none of that name" in result.stderr


def at_a_terminal(words: list[object], typed: bytes) -> tuple[int, str]:
    """Run the command line at a terminal of its own and return its status and all that is shown."""
    pty = pytest.importorskip("pty")
    master, slave = pty.openpty()
    command = [sys.executable, "-c", "from labeler.cli.main import main; main()", *map(str, words)]
    running = subprocess.Popen(command, stdin=slave, stdout=slave, stderr=slave, close_fds=True)
    os.close(slave)
    os.write(master, typed)
    shown = b""
    while True:
        try:
            part = os.read(master, 4096)
        except OSError:  # the other side has closed it
            break
        if not part:
            break
        shown += part
    os.close(master)
    return running.wait(), shown.decode()


def test_a_terminal_is_asked_which(record: Path, tmp_path: Path) -> None:
    words = ["reprint", "W101", "--reason", "lost", "--record", record, "--output", tmp_path]
    status, shown = at_a_terminal(words, b"7\n2\n")
    assert status == 0, shown
    assert "Which number" in shown
    second = next(line for line in shown.splitlines() if line.startswith("  2  "))
    listed = json.loads(run("record", "list", "--record", record, "--json").stdout)["jobs"]
    made = run("record", "show", f"job:{listed[-1]['id']}", "--record", record).stdout
    assert second.split()[1] in made
    assert len(made.splitlines()) == 2 + 4  # heading, the one marker, and its two jobs' events: twice two


def test_two_harnesses_with_one_serial(tmp_path: Path) -> None:
    file, record = tmp_path / "other.toml", tmp_path / "r.sqlite"
    file.write_text(Path(BOAT).read_text("utf-8").replace('"RSB-210"', '"RSB-300"'), "utf-8")
    words = ["--output", tmp_path / "out", "--record", record]
    assert run("print", BOAT, *words).exit_code == 0
    assert run("print", file, *words).exit_code == 0
    both = run("reprint", "0001 J4", "--reason", "lost", *words)
    assert both.exit_code == 1
    assert ["RSB-210" in line or "RSB-300" in line for line in both.stderr.splitlines()[2:4]] == [True, True]
    one = run("reprint", "0001 J4", "--harness", "rsb-300", "--reason", "lost", *words)
    assert one.exit_code == 0
    assert "RSB-300-0001-reprint" in one.stdout
    asked = run("record", "show", "0001", "--record", record)
    assert asked.exit_code == 1
    assert "RSB-210 0001" in asked.stderr
    assert "--harness" in asked.stderr
    shown = run("record", "show", "0001", "--harness", "RSB-300", "--record", record).stdout
    assert all("RSB-300" in line for line in shown.splitlines()[1:])
    assert run("reprint", "--unit", "0001", "--reason", "lost", *words).exit_code == 1
    assert (
        run("record", "void", "0001 K4", "--harness", "RSB-210", "--reason", "torn", "--record", record).exit_code == 0
    )
    assert "void" in run("record", "show", "RSB-210 0001 K4", "--record", record).stdout


def test_reprint_of_nothing(record: Path, tmp_path: Path) -> None:
    assert run("reprint", "--reason", "x", "--record", record).exit_code == 2
    assert run("reprint", "J4", "--record", record).exit_code == 2  # no reason
    assert run("reprint", "J4", "--branch", "B4", "--reason", "x", "--record", record).exit_code == 2
    assert run("reprint", "--sheet", "one", "--reason", "x", "--record", record).exit_code == 2
    result = run("reprint", "NOWHERE", "--reason", "x", "--record", record, "--output", tmp_path)
    assert result.exit_code == 1
    assert "no marker is recorded for 'NOWHERE'" in result.stderr
    blank = run("reprint", "0001 J4", "--reason", " ", "--record", record, "--output", tmp_path)
    assert blank.exit_code == 1


def test_reprint_a_branch_a_sheet_a_unit(record: Path, tmp_path: Path) -> None:
    branch = run(
        "reprint", "--unit", "0001", "--branch", "B6", "--reason", "burnt", "--record", record, "--output", tmp_path
    )
    assert branch.exit_code == 0, branch.stderr
    sheet = run("reprint", "--sheet", "1:7", "--reason", "jammed", "--record", record, "--output", tmp_path)
    assert "8 markers on 1 sheet" in sheet.stderr
    unit = run("reprint", "--unit", "0001", "--reason", "stolen", "--record", record, "--output", tmp_path / "unit")
    assert "69 markers on 7 sheets" in unit.stderr


def test_void_and_history(record: Path) -> None:
    voided = run("record", "void", "0001 J6:3", "--reason", "smeared", "--record", record)
    assert voided.exit_code == 0
    shown = run("record", "show", "0001 J6:3", "--record", record)
    assert "void" in shown.stdout
    assert "smeared" in shown.stdout
    answer = json.loads(run("record", "show", "0001", "--record", record, "--json").stdout)
    assert len(answer["markers"]) == 73
    assert len(json.loads(run("record", "list", "--record", record, "--json").stdout)["jobs"]) >= 1


def test_void_of_a_branch_and_twice(record: Path) -> None:
    words = ["--reason", "burnt", "--record", record]
    branch = run("record", "void", "--unit", "0001", "--branch", "B5", *words)
    assert branch.exit_code == 0
    count = len(branch.stderr.splitlines())
    shown = json.loads(run("record", "show", "0001", "--record", record, "--json").stdout)["markers"]
    of_branch = [m for m in shown if m["branch"] == "B5"]
    assert {(m["state"], m["void_count"]) for m in of_branch if m["state"] != "blank"} == {("void", 1)}
    assert len([m for m in of_branch if m["state"] == "void"]) == count > 1
    again = run("record", "void", "0001 B5 J5", *words)
    assert again.exit_code == 1
    assert "it is void" in again.stderr
    assert run("record", "void", *words).exit_code == 2
    assert run("record", "void", "--branch", "B5", *words).exit_code == 2


# ---------------------------------------------------------------- one question, and lists


def test_fit() -> None:
    assert run("fit", "DEPTH J4", "--diameter", "4.2").exit_code == 0
    assert "AS23053/5 1/4" in run("fit", "DEPTH J4", "--diameter", "4.2", "--tube", "AS23053/5 1/4").stdout
    assert json.loads(run("fit", "DEPTH J4", "--diameter", "4.2", "--json").stdout)["result"] == "pass"
    assert run("fit", r"DEPTH\nSOUNDER\nJ4", "--diameter", "4.2").exit_code == 1
    for over in ("thick", "5-4", "-3", "nan", "0", ""):
        assert run("fit", "A", "--diameter", over).exit_code == 2, over
    for words in (["fit", " ", "--diameter", "4"], ["fit", "A", "--diameter", "4", "--cut-length", "long"]):
        assert run(*words).exit_code == 2, words
    unknown = run("fit", "A", "--diameter", "4", "--tube", "AS23053/55")
    assert unknown.exit_code == 1
    assert "AS23053/5" in unknown.stderr


def test_bundle() -> None:
    """Three of 1.8 x 0.95 to 1.9 mm: 1.71 x 2.1547 = 3.68."""
    assert "pass-over diameter  3.68 to" in run("bundle", "3 x 20 AWG TXL").stdout
    assert run("bundle", "2 x 20 AWG TXL, 4 x 1.9 mm").exit_code == 0
    assert "pass_over_diameter_mm" not in run("bundle", "1.9").stdout
    for words in ("", "banana", "0 x 1.9 mm", "3 x 20 AWG NOPE", "99999999 x 1 mm", "-1 mm", "2 x 20 AWG TXL, banana"):
        assert run("bundle", words).exit_code == 2, words


@pytest.mark.parametrize("command", ["stock", "tubes", "wires", "coverings", "settings", "fonts"])
def test_lists(command: str) -> None:
    assert len(run("list", command).stdout.splitlines()) > 4
    assert len(json.loads(run("list", command, "--json").stdout)[command]) > 4


def test_one_of_a_list() -> None:
    assert "print_zone_mm" in run("list", "stock", "wrap-a4-25x18").stdout
    assert run("list", "stock", "wrap").exit_code == 1
    assert "did you mean" in run("list", "tubes", "AS23053/6").stderr
    assert "1.80 to 1.90" in run("list", "wires", "TXL").stdout
    said = run("list", "coverings").stdout
    assert (
        "braided sleeving\n  wall 0.4 to 0.6 mm; pulled over the wires\n  also: braid, expandable braided sleeving"
        in said
    )
    assert (
        "the bundle does not fill it: measure its outside" in said.partition("corrugated conduit\n")[2].splitlines()[0]
    )
    assert run("--version").stdout.startswith("labeler 0.")


def test_an_empty_stock_is_drawn(tmp_path: Path) -> None:
    result = run("calibrate", "stock", "wrap-a4-25x18", "--output", tmp_path)
    assert result.exit_code == 0
    assert sorted(f.name for f in tmp_path.iterdir()) == ["wrap-a4-25x18.pdf", "wrap-a4-25x18.png"]
    assert (
        run("calibrate", "stock", "wrap-a4-25x18", "--output", tmp_path).exit_code == 1
    )  # nothing is replaced unasked
    assert run("calibrate", "stock", "wrap-a4-25x18", "--output", tmp_path, "--force").exit_code == 0
    assert run("calibrate", "stock", "--output", tmp_path).exit_code == 2
    assert run("calibrate", "stock", "reel", "--output", tmp_path).exit_code == 1


def test_several_units(tmp_path: Path) -> None:
    words = ["--output", tmp_path, "--record", tmp_path / "r.sqlite"]
    two = run("print", BOAT, *words, "--quantity", 2)
    assert two.exit_code == 0
    assert "unit 0001: 69 markers" in two.stderr
    assert "unit 0002: 69 markers" in two.stderr
    assert run("print", BOAT, *words, "--serials", "0007-0008").exit_code == 0
    answer = json.loads(run("record", "list", "--record", tmp_path / "r.sqlite", "--json").stdout)
    assert [job["unit"] for job in answer["jobs"]] == ["0001", "0002", "0007", "0008"]
    taken = run("print", BOAT, *words, "--serials", "0008-0009")
    assert taken.exit_code == 1
    assert "0008" in taken.stderr
    for wrong in (["--quantity", 0], ["--serials", "9-1"], ["--serials", "A-B"], ["--quantity", 2, "--unit", "5"]):
        assert run("print", BOAT, *words, *wrong).exit_code == 2


def test_problems_of_the_data_come_as_json_too(tmp_path: Path) -> None:
    file = tmp_path / "twice.csv"
    file.write_text(GOOD + "W1,P1,2,J1,2,20 AWG\n")
    result = run("check", file, "--json")
    assert result.exit_code == 1
    answer = json.loads(result.stdout)
    assert answer["markers"] == []
    assert any(p["line"] == 3 and p["severity"] == "error" for p in answer["problems"])


def test_a_sign_on_a_tag_that_no_font_has_is_told_with_the_rest(tmp_path: Path) -> None:
    file = tmp_path / "boat.toml"
    text = (
        Path(BOAT).read_text("utf-8").replace("star washer", "星 washer").replace('size = "14 AWG"', 'size = "13 AWG"')
    )
    file.write_text(text, "utf-8")
    result = run("check", file)
    assert result.exit_code == 1
    assert "no glyph for '星'" in result.stderr
    assert "13 AWG" in result.stderr


def test_an_empty_name_is_no_marker(record: Path) -> None:
    for words in (["record", "void", "", "--reason", "x"], ["reprint", "", "--unit", "0001", "--reason", "x"]):
        assert run(*words, "--record", record).exit_code == 2


@pytest.mark.parametrize("name", ["\u200b", "\u0301", "W\u200b1"])
def test_signs_that_do_not_show_are_refused(name: str, tmp_path: Path) -> None:
    file = tmp_path / "boat.csv"
    file.write_text(f"From,To,Gauge\n{name}:1,J1:1,20 AWG\n", "utf-8")
    result = run("check", file)
    assert result.exit_code == 1
    assert "show" in result.stderr


def test_a_decimal_comma_in_a_bundle() -> None:
    assert "3 wires" in run("bundle", "3 x 1,9 mm").stdout


def test_two_stocks_do_not_share_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "shop" / "layouts"
    folder.mkdir(parents=True)
    shipped = EXAMPLES.parent / "layouts"
    for name, source in (("wrap 25", "wrap-a4-25x18"), ("wrap-25", "wrap-a4-25x11")):
        (folder / f"{name}.toml").write_text((shipped / f"{source}.toml").read_text("utf-8"), "utf-8")
    monkeypatch.setenv("LABELER_STOCK", str(tmp_path / "shop"))
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
    result = run("print", BOAT, "--stock", "wrap 25", "--stock", "wrap-25", *words)
    assert result.exit_code == 0, result.stderr
    files = [Path(line) for line in result.stdout.splitlines()]
    assert len(set(files)) == len(files) == 5  # as README's session: the bench sheet, cards, two stocks of wraps, tags
    assert all(file.is_file() for file in files)


def test_serials_that_differ_never_share_a_file(tmp_path: Path) -> None:
    """Without codes: they are read alike everywhere only in plain ASCII, see the next test."""
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite", "--force", "--set", "code.symbology=none"]
    made: list[str] = []
    for serial in ("é", "è", "A B", "A-B", "A/B"):
        result = run("print", BOAT, "--unit", serial, *words)
        assert result.exit_code == 0, result.stderr
        made += result.stdout.splitlines()
    assert len(set(made)) == len(made) == 25  # five serials, five files each


def test_a_serial_that_no_code_can_say_is_refused(tmp_path: Path) -> None:
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
    result = run("print", BOAT, "--unit", "é", *words)
    assert result.exit_code == 1
    assert "the code of K1 would say 'é " in result.stderr
    assert "the serial 'é' is not plain ASCII" in result.stderr
    assert "serial in plain ASCII" in result.stderr
    words += ["--set", "code.data=marker"]  # the remedy it names
    assert run("print", BOAT, "--unit", "é", *words).exit_code == 0


def test_serials_that_differ_by_capitals_are_one(tmp_path: Path) -> None:
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
    assert run("print", BOAT, "--unit", "A1", *words).exit_code == 0
    again = run("print", BOAT, "--unit", "a1", *words)
    assert again.exit_code == 1
    assert "reads like A1" in again.stderr


def test_a_long_serial_does_not_break_the_next(tmp_path: Path) -> None:
    words = ["--output", tmp_path / "out", "--record", tmp_path / "r.sqlite"]
    for serial in ("9" * 18, "1" * 40):
        assert run("print", BOAT, "--unit", serial, *words).exit_code == 0
    for expected in ("0001", "0002"):
        assert f"unit {expected}:" in run("print", BOAT, *words).stderr
    assert run("print", BOAT, "--unit", "9" * 15, *words).exit_code == 0
    last = run("print", BOAT, *words)
    assert last.exit_code == 1
    assert "counted up to 15 digits" in last.stderr
    assert len(last.stderr.splitlines()) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="names of files are text there")
def test_a_folder_whose_name_is_no_text(record: Path, tmp_path: Path) -> None:
    out = os.fsdecode(os.fsencode(tmp_path) + b"/\xff")
    for words in (["print", BOAT], ["reprint", "0001 J4", "--reason", "lost"]):
        before = run("record", "list", "--record", record).stdout
        result = run(*words, "--output", out, "--record", record)
        assert result.exit_code == 1
        assert "not valid text" in result.stderr
        assert run("record", "list", "--record", record).stdout == before


def test_a_reprint_on_another_stock_only_where_it_serves(record: Path, tmp_path: Path) -> None:
    words = ["--reason", "lost", "--record", record, "--output", tmp_path]
    kind = run("reprint", "0001 J4", "--stock", "tag-a4-95x54", *words)
    assert kind.exit_code == 1
    assert "it takes tags, DKLHJE94 at J4 is a sleeve" in kind.stderr
    size = run("reprint", "0001 J1:3", "--stock", "wrap-a4-25x38", *words)
    assert size.exit_code == 1
    assert "its cell_height_mm is 38" in size.stderr  # by the name of the stock
    assert not list(tmp_path.iterdir())
    assert run("reprint", "0001 J4", "--stock", "reel", *words).exit_code == 0
    stock = "wrap-letter-25x18" if "drawn for 18" in size.stderr else "wrap-letter-25x11"
    assert run("reprint", "0001 J1:3", "--stock", stock, *words).exit_code == 0


def test_blanks_around_an_id(tmp_path: Path) -> None:
    """Blanks around an id in the list are no part of it, nor are those around a name that was typed."""
    file = tmp_path / "boat.csv"
    file.write_text(GOOD.replace("J1", " J1 ").replace(",P1", ",  P1"))
    words = ["--record", tmp_path / "r.sqlite"]
    assert run("print", file, "--output", tmp_path / "out", "--omit-failed", *words).exit_code == 0
    shown = run("record", "show", " 0001   J1:1 ", *words)
    assert shown.exit_code == 0
    assert "J1:1" in shown.stdout


NINES = "9" * 5000  # more digits than Python turns into a number at once


@pytest.mark.parametrize(
    "words",
    [
        ("record", "show", f"job:{NINES}"),
        ("reprint", "--sheet", f"{NINES}:1", "--reason", "x"),
        ("record", "void", "--sheet", f"1:{NINES}", "--reason", "x"),
        ("print", BOAT, "--serials", f"1-{NINES}"),
        ("print", BOAT, "--unit", NINES),
        ("bundle", f"{NINES} x 18 AWG TXL"),
        ("bundle", f"2 x {NINES} AWG TXL"),
        ("fit", "W1", "--diameter", NINES),
        ("scan", NINES),
    ],
    ids=lambda words: " ".join(words)[:24],
)
def test_a_number_without_end_is_refused_in_a_line(tmp_path: Path, words: tuple[str, ...]) -> None:
    record = tmp_path / "r.sqlite"
    with open_record(record):
        pass
    done = CliRunner(env={"LABELER_RECORD": str(record)}).invoke(main, list(words))
    assert done.exit_code in (1, 2)
    assert isinstance(done.exception, SystemExit)
    assert "limit (4300" not in done.output


@pytest.mark.parametrize(
    "words",
    [
        ("print", BOAT, "--output", ""),
        ("print", BOAT, "--output", " "),
        ("reprint", "0001 J4", "--reason", "lost", "--output", ""),
        ("calibrate", "printer", "p", "--stock", "tag-a4-95x54", "--output", ""),
        ("calibrate", "stock", "tag-a4-95x54", "--output", ""),
        ("proof", BOAT, "--output", ""),
        ("read", BOAT, "-o", ""),
        ("read", BOAT, "--column-map", ""),
        ("record", "backup", ""),
        ("record", "import", ""),
        ("record", "export", "0001", "--output", ""),
    ],
    ids=" ".join,
)
def test_an_empty_name_of_a_file_is_not_the_folder_one_is_in(
    record: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LABELER_RECORD", str(record))
    done = run(*words)
    assert done.exit_code == 2
    assert "the name is empty" in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("option", "cell"),
    [
        *product(("--start-cell", "--used-cells"), ("", "A0", "A99999", "Ä1", "1", "A1-", "A1\n\x1b[2J")),
        ("--start-cell", "A1-B2"),
        ("--used-cells", "A1-ZZ9999"),
    ],
)
def test_what_is_no_cell_is_told_with_its_option_in_a_line(tmp_path: Path, option: str, cell: str) -> None:
    done = run("print", BOAT, "--output", tmp_path, "--record", tmp_path / "r.sqlite", option, f"wrap-a4-25x18={cell}")
    assert done.exit_code == 2
    assert done.stderr.splitlines()[-1].startswith(f"Error: Invalid value for '{option}': ")
    assert "\x1b" not in done.stderr
    assert not list(tmp_path.iterdir())


def test_the_papers_on_offer_are_those_of_the_program() -> None:
    """The command line names them itself: it starts without reading any table."""
    (paper,) = (each for each in main.commands["print"].params if each.name == "paper")
    assert paper.type.convert("A4", paper, None) == "A4"
    assert all(paper.type.convert(name, paper, None) == name for name in PAPERS)
    assert str(list(PAPERS)[-1]) in paper.make_metavar(click.Context(main))
