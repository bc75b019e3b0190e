"""How long `labeler --help` takes against a bare click program, and `labeler check` on the example: CPU seconds.

    python tests/bench/start.py

Each is run several times as a process of its own; the mean is printed. People judge the figures.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
BARE = """
import click
@click.group()
def main(): "A bare program."
@main.command()
@click.argument("file")
def check(file): "Say something."
main()
"""


def cpu(command: list[str], repeats: int = 40) -> float:
    """Return the mean user and system time of a command: the clock's ticks are too coarse for one run."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    for _ in range(repeats):
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime) / repeats


def main() -> None:
    """Run and print."""
    with tempfile.TemporaryDirectory() as folder:
        bare = Path(folder) / "bare.py"
        bare.write_text(BARE)
        ours = "from labeler.cli.main import main; main()"
        plain = cpu([sys.executable, str(bare), "--help"])
        help_ = cpu([sys.executable, "-c", ours, "--help"])
        check = cpu([sys.executable, "-c", ours, "check", str(ROOT / "examples" / "survey-boat.toml")], 5)
    print(f"labeler --help {help_:.3f} s CPU, a bare click program {plain:.3f} s: ratio {help_ / plain:.2f}")
    print(f"labeler check examples/survey-boat.toml {check:.2f} s CPU")


if __name__ == "__main__":
    main()
