"""The direction of dependencies between modules, and that help starts without anything heavy."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import labeler

ROOT = Path(labeler.__file__).parent

LAYERS = [
    {"errors"},
    {"model"},
    {"formulas"},
    {"text", "tables", "branches", "naming"},
    {"materials", "stocks", "colours", "printers"},
    {"catalogue"},
    {"read", "validate", "plan", "size", "fit", "codes", "layout", "bench"},
    {"draw", "record", "send"},
    {"pipeline", "single", "listing", "report", "explain", "understood"},
    {"scan", "proof"},
    {"terminal"},
    {"options", "meant"},
    {"cli_keep"},
    {"cli_record", "cli_read", "cli_codes", "cli_known"},
    {"cli"},
]
STAGES = LAYERS[6] | LAYERS[7]
DRAWN = {"draw": {"layout", "bench"}}  # drawing draws what these two made, and meets no other stage


def room(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def imports(file: Path) -> set[str]:
    """Return the rooms that a file imports at run time or for its types."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("labeler"):
            found |= {room(node.module)} if "." in node.module else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {room(alias.name) for alias in node.names if alias.name.startswith("labeler.")}
    return found


def level(name: str) -> int:
    return next(i for i, layer in enumerate(LAYERS) if name in layer)


FILES = [file for file in ROOT.rglob("*.py") if file.relative_to(ROOT).parts != ("__init__.py",)]


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(ROOT)))
def test_dependencies_point_one_way(file: Path) -> None:
    own = file.relative_to(ROOT).parts[0].removesuffix(".py")
    for other in imports(file) - {own}:
        if own in STAGES and other in STAGES and other not in DRAWN.get(own, ()):
            pytest.fail(f"{own} imports the stage {other}: they meet in pipeline only")
        assert level(other) <= level(own), f"{own} imports {other}"


def test_help_imports_nothing_heavy() -> None:
    heavy = ("pandas", "numpy", "reportlab", "sqlalchemy", "qrcode", "fontTools", "labeler.pipeline")
    code = (
        "import sys\nfrom labeler.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        f"print([name for name in {heavy!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
