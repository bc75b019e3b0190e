"""Where the project's folders lie."""

from pathlib import Path

ROOT = Path(__file__).parents[1]
EXAMPLES = ROOT / "examples"
LAYOUTS = ROOT / "layouts"
