"""Sample files to begin with: a harness, its wire list with a column map, a printer profile, a stock file."""

from __future__ import annotations

from pathlib import Path

from labeler.files import write_all
from labeler.job.deliver import make_folder
from labeler.tables.document import shipped

HARNESS = "survey-boat.toml"
SAMPLES = (HARNESS, "survey-boat.csv", "column-map.toml", "office-printer.toml", "layouts/wrap-a4-40x25.toml")
"""The sample files, as they lie in the folder ``examples`` of the package or of the checkout."""


def write_samples(folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write the sample files to a folder, all of them or none; raises `LabelerError`."""
    inside = shipped("examples", "")
    source = inside if inside.is_dir() else Path(__file__).parents[2] / "examples"
    files = {folder / name: source.joinpath(*name.split("/")).read_bytes() for name in SAMPLES}
    for parent in {path.parent for path in files}:
        make_folder(parent)
    write_all(files, force=force)
    return tuple(files)
