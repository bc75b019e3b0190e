"""Scan: what was read from a finished part, as typed by a scanner or in a photo, looked up in the build record."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from labeler.codes.reading import read_codes
from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.formulas.check import has_valid_check
from labeler.record.values import Recorded

if TYPE_CHECKING:
    from labeler.record.store import Record


SCHEMA = "scan 1"  # of the JSON
PHOTOS = (".png", ".jpg", ".jpeg")
ID = re.compile(r"(?<![0-9A-Z])[0-9A-Z]{8}(?![0-9A-Z])")
"""A marker's id: seven characters and their check character."""


@dataclass(frozen=True, slots=True)
class Scanned:
    """One text that was read. ``id`` is the marker's id in it, "" where there is none that its check lets pass.

    ``broken``: what looks like an id and whose check character is wrong.
    """

    text: str
    file: str  # the photo, "" for what was typed
    id: str
    broken: str
    markers: tuple[Recorded, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """What of a unit was scanned: its markers with a code, and what was read that is not one of them."""

    unit: str
    seen: tuple[Recorded, ...]
    missing: tuple[Recorded, ...]
    without_code: tuple[Recorded, ...]
    others: tuple[Scanned, ...]


def is_photo(text: str) -> bool:
    """Return whether an argument names a photo and is not what a scanner typed."""
    return text.lower().endswith(PHOTOS) and "://" not in text


def texts_of(given: str) -> tuple[str, ...]:
    """Return the texts of all codes in a photo, or the given text itself.

    Raises `LabelerError` for a photo that cannot be read, and for one without a code.
    """
    if not is_photo(given):
        return (given.strip(),)
    found = read_codes(_grey_pixels(Path(given)))
    if not found:
        fix = "take it from the front, sharp, with the code at least 200 pixels wide"
        raise LabelerError(Problem(SourceLocation(given), "no code is found in it", fix))
    return tuple(dict.fromkeys(one.text for one in found))


def _grey_pixels(path: Path) -> Any:
    """Return a photo as an array of greys, turned as the camera was held."""
    import numpy as np
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path, formats=("PNG", "JPEG")) as image:
            return np.array(ImageOps.exif_transpose(image).convert("L"))
    except UnidentifiedImageError as error:
        raise LabelerError(Problem(SourceLocation(str(path)), "is no PNG or JPEG picture", "give a photo")) from error
    except Image.DecompressionBombError as error:
        raise LabelerError(Problem(SourceLocation(str(path)), "has too many pixels", "give a smaller photo")) from error
    except (OSError, SyntaxError, ValueError) as error:
        why = getattr(error, "strerror", None) or f"is damaged ({error})"
        raise LabelerError(
            Problem(SourceLocation(str(path)), f"cannot be read: {why}", "give a photo, PNG or JPEG")
        ) from error


def look_up(record: Record, text: str, source: str = "") -> Scanned:
    """Return which markers a text means: those whose code says just this, else those whose id stands in it.

    An id alone is the same in every unit of a harness: then all of them are returned, or those of
    the unit that the text names beside it.
    """
    capitals = text.upper()
    words = ID.findall(capitals)
    valid = next((word for word in words if has_valid_check(word)), "")
    broken = words[0] if words and not valid and any(c.isdigit() for c in words[0]) else ""
    found = tuple(item for item in record.find(valid) if item.row.id == valid) if valid else ()
    every = found or (record.find("") if text else ())
    exact = tuple(item for item in every if _code_text(item) == text)
    if not exact:
        others = re.split(r"[^0-9A-Z]+", capitals.replace(valid, " ")) if valid else []
        exact = tuple(item for item in found if item.unit.upper() in others)
    return Scanned(text, source, valid, broken, exact or found)


def _code_text(item: Recorded) -> str | None:
    return item.face.symbol.data if item.face is not None and item.face.symbol is not None else None


def scan(record: Record, given: Sequence[str]) -> tuple[Scanned, ...]:
    """Return what each text, and each code in each photo, means; raises `LabelerError` with all bad photos."""
    scanned: list[Scanned] = []
    problems: list[Problem] = []
    for one in given:
        try:
            scanned += [look_up(record, text, one if is_photo(one) else "") for text in texts_of(one)]
        except LabelerError as error:
            problems += error.problems
    refuse(problems)
    return tuple(scanned)


def against(record: Record, unit: str, scanned: Iterable[Scanned]) -> Tally:
    """Return which markers of a unit were scanned and which are missing; raises `LabelerError` for an unknown unit."""
    drawn = [item for item in record.show(unit).markers if item.state in ("printed", "pending")]
    coded = {_key(item): item for item in drawn if _code_text(item) is not None}
    keys = [(one, coded.keys() & set(map(_key, one.markers))) for one in scanned]
    seen = set().union(*(here for _, here in keys))
    return Tally(
        unit,
        tuple(item for key, item in coded.items() if key in seen),
        tuple(item for key, item in coded.items() if key not in seen),
        tuple(item for item in drawn if _code_text(item) is None),
        tuple(one for one, here in keys if not here),
    )


def _key(item: Recorded) -> tuple[str, str, str]:
    return item.part_number, item.unit, item.row.id


# ---------------------------------------------------------------- for people


def lines_of(scanned: Iterable[Scanned]) -> Iterable[str]:
    """Yield the answer to every text."""
    for one in scanned:
        yield f"{one.text!r}" + (f" in {one.file}" if one.file else "")
        if one.broken:
            yield f"  {one.broken}: the check character does not hold, so it was mistyped or misread"
        elif one.id:
            yield f"  {one.id}: the check character holds"
        if not one.markers:
            yield "  no marker in the record says this"
        units = {(item.part_number, item.unit) for item in one.markers}
        if len(units) > 1:
            yield f"  the id alone is in {len(units)} units; scan a code that names the unit, or look at the tag"
        yield from (f"  {_about(item)}" for item in one.markers)


def _about(item: Recorded) -> str:
    row = item.row
    times = f", {item.print_count} times" if item.print_count > 1 else ""
    stands = f"job {item.job}, sheet {item.sheet}, {item.cell}" if item.sheet else f"job {item.job}"
    state = f"{item.state}: it must not be used" if item.state == "void" else item.state
    why = f" ({item.reason})" if item.reason else ""
    harness = " ".join(filter(None, (item.part_number or item.harness, item.revision)))
    return f"{harness}, unit {item.unit}: {row.kind} at {row.place}, {row.text!r}; {state}{times}{why}; {stands}"


def tally_lines(tally: Tally) -> Iterable[str]:
    """Yield what was seen of a unit and what is missing."""
    for word, items in (("seen   ", tally.seen), ("MISSING", tally.missing)):
        for item in items:
            yield f"{word}  {item.row.id}  {item.row.kind} at {item.row.place}  {item.row.text}"
    for one in tally.others:
        whose = ", ".join(sorted({f"{item.part_number} {item.unit} {item.row.place}" for item in one.markers}))
        yield f"NOT OF THIS UNIT  {one.text!r}" + (f": {whose}" if whose else ": not in the record")
    if tally.without_code:
        yield f"{len(tally.without_code)} markers of the unit carry no code and cannot be ticked off"


def as_json(scanned: Iterable[Scanned], tally: Tally | None = None) -> dict[str, Any]:
    """Return the answer as one object."""
    texts = [
        {
            "text": one.text,
            "file": one.file or None,
            "id": one.id or None,
            "check_character_valid": bool(one.id) if one.id or one.broken else None,
            "markers": list(map(_marker_json, one.markers)),
        }
        for one in scanned
    ]
    if tally is None:
        return {"schema": SCHEMA, "scanned": texts}
    groups = {"seen": tally.seen, "missing": tally.missing, "without_code": tally.without_code}
    ids = {name: [item.row.id for item in items] for name, items in groups.items()}
    others = [one.text for one in tally.others]
    return {"schema": SCHEMA, "scanned": texts, "unit": tally.unit, **ids, "not_of_this_unit": others}


def _marker_json(item: Recorded) -> dict[str, Any]:
    return {
        "id": item.row.id,
        "unit": item.unit,
        "part_number": item.part_number,
        "kind": item.row.kind,
        "place": item.row.place,
        "text": item.row.text,
        "state": item.state,
        "print_count": item.print_count,
        "job": item.job,
    }
