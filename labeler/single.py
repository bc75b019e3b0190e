"""One question without a file: does this text read on that diameter, how thick is this bundle?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from labeler.catalogue import Catalogue, default_settings, load_catalogue, load_choices
from labeler.errors import LabelerError, Problem, Where, WrongUse
from labeler.fit import SleevePlace, fit_sleeve
from labeler.model import Fit, Harness, Marker, Range, Seat, Settings, TubeChoice
from labeler.pipeline.coding import Coder
from labeler.read.values import length, setting, size, unknown, with_settings
from labeler.size import Bundle, bundle, choose_tubes

_COUNT = re.compile(r"\s*(?:(\d+)\s*[x×*]\s*)?(.+?)\s*$")
_SIZE = re.compile(r"(?:AWG\s*\S+|\S+\s*(?:AWG|mm2|mm²|mm\^2))(?=\s|$)", re.IGNORECASE)
MOST_WIRES = 2000
SOME_ID = "RUVXW7Q9"  # stands in for a marker's id where a code is asked for: as long, of the same signs


def fit_text(
    text: str,
    over: str,
    *,
    sleeve: str | None = None,
    cut: str | None = None,
    settings: Mapping[str, str] | None = None,
) -> Fit:
    """Return the answer for one text on a sleeve over a diameter, or a range such as ``4.0-4.6`` [mm].

    ``sleeve`` names one tube or a family; ``\\n`` in the text breaks the line. Raises `WrongUse`
    for what cannot be understood, `LabelerError` for names that are not known and missing glyphs.
    """
    chosen = settings_from(settings or {})
    catalogue = load_catalogue()
    on = _diameters(over)
    seat = Seat(on, on, on, "the diameter given", "thread on before the connector or contacts are fitted")
    lines = tuple(part.strip() for part in re.split(r"\\n|\n", text) if part.strip())
    if not lines:
        raise _wrong("TEXT", f"{text!r} holds nothing to print", "give the text")
    choice = _choice(seat, sleeve, chosen, catalogue)
    marker = Marker("", "sleeve", "branch end", "fit", lines, len(lines) == 1, chosen)
    place = SleevePlace(seat, choice, _cut(cut) if cut else None)
    if chosen.code == "none":
        return fit_sleeve(marker, place)
    coded = replace(marker, id=SOME_ID, settings=replace(chosen, code_on=("sleeve",)))
    marker, codes = Coder(Harness("fit"), "0001").of(coded)
    return fit_sleeve(marker, place, codes)


def _choice(seat: Seat, sleeve: str | None, settings: Settings, catalogue: Catalogue) -> TubeChoice:
    if not sleeve:
        return choose_tubes(seat, settings, catalogue)
    families = [family.name for family in catalogue.families]
    if sleeve.casefold() in (name.casefold() for name in families):
        return choose_tubes(seat, with_settings(settings, {"sleeve": (sleeve,)}), catalogue)
    tube = catalogue.tube(sleeve, Where("--sleeve"))
    need, most = seat.passes.high * (1 + settings.slip), seat.closes_on.low * (1 - settings.grip)
    if tube.supplied_mm >= need and tube.recovered_mm <= most:
        return TubeChoice((tube,))
    refusal = (
        f"{tube.name}: supplied {tube.supplied_mm:.2f} mm, at least {need:.2f} needed to pass; recovered "
        f"{tube.recovered_mm:.2f} mm, at most {most:.2f} to grip"
    )
    others = choose_tubes(seat, settings, catalogue).tubes
    return TubeChoice((), (refusal,), tuple(f"tube {other.name}" for other in others[:1]))


def _diameters(text: str) -> Range:
    parts = re.split(r"(?<=\w)\s*(?:\.\.|-|–|\bto\b)\s*", text.strip())
    try:
        low, high = length(parts[0]), length(parts[-1])
    except (ValueError, IndexError) as error:
        raise _wrong("--over", f"{text!r}: {error}", "give a diameter in mm, 4.2, or a range, 4.0-4.6") from error
    if len(parts) > 2 or low > high:
        raise _wrong("--over", f"{text!r} is no range", "give the smaller diameter first, 4.0-4.6")
    return Range(low, high)


def _cut(text: str) -> float:
    try:
        return length(text)
    except ValueError as error:
        raise _wrong("--cut", f"{text!r}: {error}", "give a length in mm, as in 30") from error


def bundle_of(wires: str, settings: Mapping[str, str] | None = None) -> Bundle:
    """Return the diameters of a bundle such as ``2 x 20 AWG TXL, 4 x 1.9 mm``.

    Raises `WrongUse` for what cannot be understood, all of it at once.
    """
    chosen = settings_from(settings or {})
    catalogue = load_catalogue()
    ranges: list[Range] = []
    problems: list[Problem] = []
    for item in re.split(r"[;+]|,(?!\d)", wires):
        try:
            ranges += _wires(item, chosen, catalogue)
        except LabelerError as error:
            problems += error.problems
        except ValueError as error:
            problems.append(
                Problem(Where("WIRES"), f"{item.strip()!r}: {error}", 'write "2 x 20 AWG TXL" or "3 x 1.9 mm"')
            )
    if not problems and len(ranges) > MOST_WIRES:
        problems.append(Problem(Where("WIRES"), f"{len(ranges)} wires, at most {MOST_WIRES}", "measure the bundle"))
    if problems:
        raise WrongUse(*problems)
    return bundle(ranges, chosen)


def _wires(item: str, settings: Settings, catalogue: Catalogue) -> list[Range]:
    found = _COUNT.match(item)
    if not found:
        raise ValueError("nothing is named")
    count, what = int(found[1] or 1), found[2]
    if not 0 < count <= MOST_WIRES:
        raise ValueError(f"{count} wires, 1 to {MOST_WIRES} can be counted")
    named = _SIZE.match(what)
    if named:
        kind = what[named.end() :].strip() or settings.wire
        diameter = catalogue.wire_diameter(kind, size(named[0]), Where("WIRES")).range_mm
        return [diameter] * count
    given = length(what)
    return [Range(given, given)] * count


def settings_from(given: Mapping[str, str]) -> Settings:
    """Return the default settings with some of them set. Raises `WrongUse` naming every bad one."""
    choices, changes, problems = load_choices(), {}, []
    for key, value in given.items():
        if key not in choices:
            problems.append(Problem(Where("--set"), f"{key!r} is unknown", unknown(key, choices)))
            continue
        try:
            changes[key] = setting(choices[key], value)
        except ValueError as error:
            problems.append(Problem(Where("--set"), f"{key}: {error}", "see labeler choices"))
    if problems:
        raise WrongUse(*problems)
    return with_settings(default_settings(), changes)


def _wrong(where: str, message: str, fix: str) -> WrongUse:
    return WrongUse(Problem(Where(where), message, fix))
