"""Messages: one line each, whatever is quoted in them."""

from click.testing import CliRunner

from labeler.cli.main import main
from labeler.errors import Problem, SourceLocation, on_one_line


def test_what_steers_a_terminal_is_written_as_an_escape() -> None:
    """U+202E turns the direction of reading, U+001B starts a terminal's commands."""
    shown = str(Problem(SourceLocation("bo\u202eat\n.csv", 3), "a \x1b[31m", "no\ttab"))
    assert shown == r"bo\u202eat\n.csv:3: a \x1b[31m; no\ttab"


def test_umlauts_and_signs_of_print_stay() -> None:
    assert on_one_line("Kühlwasser 2,5 mm² ± 5 % → …") == "Kühlwasser 2,5 mm² ± 5 % → …"


def test_a_run_of_ten_thousand_signs_is_told_by_its_ends() -> None:
    said = on_one_line("W1: " + "x" * 9_990 + "y" * 10 + " is too long")
    assert said == f"W1: {'x' * 60}…{'x' * 10}{'y' * 10} (10000 signs) is too long"


def test_long_lists_stay_whole() -> None:
    text = ", ".join(f"W{number}" for number in range(500))
    assert on_one_line(text) == text


def test_hostile_words_on_the_command_line_are_told_shortly() -> None:
    for words in (["fit", "J4", "--diameter", "x" * 10_000], ["bundle", "x" * 10_000], ["check", "x" * 10_000]):
        result = CliRunner().invoke(main, words)
        assert result.exit_code in (1, 2)
        assert len(result.output) < 700
    turned = CliRunner().invoke(main, ["check", "\u202e4.2"])
    assert turned.exit_code == 1
    assert "\u202e" not in turned.output
    pairs = CliRunner().invoke(main, ["fit", "J4", "--diameter", "4", "--set", "x" * 10_000])
    assert pairs.exit_code == 2
    assert len(pairs.output) < 700
