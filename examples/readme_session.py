"""Run the console sessions of README and write their output into it: python examples/readme_session.py"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent


def main() -> None:
    """Replace the output under each command with its present output."""
    readme = ROOT / "README.md"
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "examples", Path(folder) / "examples")

        def run(found: re.Match[str]) -> str:
            command = found[1].partition("\n")[0].removeprefix("$ ")
            done = subprocess.run(
                ["bash", "-c", f"{command} 2>&1"],
                cwd=folder,
                env={**os.environ, "PATH": path},
                capture_output=True,
                text=True,
            )
            output = re.sub(r"(?m)^(\d+ .*Z  )\S+ *", r"\1ada  ", done.stdout)
            return f"```console\n$ {command}\n{output}```"

        readme.write_text(re.sub(r"```console\n(.*?)```", run, readme.read_text("utf-8"), flags=re.DOTALL), "utf-8")


if __name__ == "__main__":
    main()
