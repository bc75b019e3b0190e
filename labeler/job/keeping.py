"""Keeping the record: whether all of it can be drawn again, and its units as files."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from labeler.draw.pdf import undrawable
from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.files import write_all
from labeler.job.deliver import UnitName, folder_problems, make_folder, unit_path
from labeler.record.marker_names import normalised
from labeler.record.values import Imported, Unit
from labeler.text import load_font

if TYPE_CHECKING:
    from labeler.record.store import Record


LARGEST_FILE = 1 << 28  # bytes of an exported unit: project choice, a unit of 20 000 markers has 10 million


def verify(record: Record) -> tuple[Problem, ...]:
    """Return everything that is wrong in a record, or keeps a marker in it from being drawn again."""
    return (*record.problems(), *_font_problems(record), *_drawing_problems(record))


def _font_problems(record: Record) -> Iterator[Problem]:
    for (name, digest), jobs in sorted(record.fonts().items()):
        where = SourceLocation(f"{record.name}: font {name}")
        fix = "install the version of the font that printed them, or print those units anew"
        try:
            now = load_font(name).digest
        except LabelerError:
            yield Problem(where, f"{jobs} jobs were drawn with it, and it is not here", fix)
            continue
        if now != digest:
            what = f"{jobs} jobs were drawn with another file of it ({digest[:12]}) than is here ({now[:12]})"
            yield Problem(where, what, fix)


def _drawing_problems(record: Record) -> Iterator[Problem]:
    for face, why in undrawable(record.faces()):
        words = " ".join(run.text for run in face.runs)[:40]
        yield Problem(SourceLocation(f"{record.name}: face {words!r}"), f"it cannot be drawn: {why}", "see the fonts")


def export_units(
    record: Record, units: Sequence[str], folder: Path, *, harness: str | None = None, force: bool = False
) -> tuple[Path, ...]:
    """Write units, each as one JSON file, all of them or none; without ``units`` all that the record has.

    ``harness`` is the part number or the name of theirs. Raises `LabelerError`.
    """
    refuse(folder_problems(folder))
    known = record.units()
    if harness is not None:
        number = _part_number(record.name, known, harness)
        known = tuple(unit for unit in known if unit.part_number == number)
        units = [f"{number} {unit}" for unit in units]
    named = units or [f"{unit.part_number} {unit.serial}" for unit in known]
    made: dict[Path, bytes] = {}
    for name in named:
        exported = record.export_unit(name)
        about = exported["unit"]
        text = json.dumps(exported, ensure_ascii=True, separators=(",", ":"))
        made[unit_path(folder, UnitName(about["part_number"], about["serial"]), ".json")] = text.encode()
    make_folder(folder)
    write_all(made, force=force)
    return tuple(made)


def _part_number(record: str, units: Sequence[Unit], harness: str) -> str:
    """Return the part number of the one harness that is named by it, or by its name. Raises `LabelerError`."""
    wanted = normalised(harness)
    by_number = sorted({unit.part_number for unit in units if normalised(unit.part_number) == wanted})
    found = by_number or sorted({unit.part_number for unit in units if normalised(unit.harness) == wanted})
    if not found:
        raise LabelerError(
            Problem(SourceLocation(record), f"no unit of {harness!r} is recorded", "see labeler record list")
        )
    if len(found) > 1:
        what = f"{len(found)} part numbers have the name {harness!r}: {', '.join(found)}"
        raise LabelerError(Problem(SourceLocation(record), what, "name one by its part number"))
    return found[0]


def import_units(record: Record, files: Sequence[Path]) -> Mapping[Path, Imported]:
    """Add the units of exported files to a record; what it holds already is left as it is.

    Raises `LabelerError` at the first file that cannot be added; those before it are in the record.
    """
    return {file: record.import_unit(_read(file), SourceLocation(str(file))) for file in files}


def _read(file: Path) -> object:
    try:
        size = file.stat().st_size
        if size > LARGEST_FILE:
            what = f"has {size:,} bytes, an exported unit at most {LARGEST_FILE:,}"
            raise LabelerError(Problem(SourceLocation(str(file)), what, "name the file of one unit"))
        return json.loads(file.read_bytes())
    except OSError as error:
        raise LabelerError(
            Problem(SourceLocation(str(file)), f"cannot be read ({error.strerror})", "check the path")
        ) from error
    except (ValueError, RecursionError) as error:
        why = " ".join(str(error).split())[:120]
        fix = "name a file that labeler record export wrote"
        raise LabelerError(Problem(SourceLocation(str(file)), f"is no JSON ({why})", fix)) from error
