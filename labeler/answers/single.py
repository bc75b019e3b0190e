"""One question without a file: does this text read on that diameter, how thick is this bundle?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, WrongUse
from labeler.fitting.remedies import Change, Other, fixes_for
from labeler.fitting.sleeve import SleevePlace, fit_sleeve, room_of
from labeler.job.fitting import coded
from labeler.model import (
    FAIL,
    INSTALL_CONNECTOR,
    MARGINAL,
    ClosingStep,
    Fit,
    Harness,
    Installation,
    Marker,
    Range,
    Seat,
    Settings,
    TubeChoice,
    fact,
)
from labeler.readers.values import length, setting, size, with_settings
from labeler.size.bundles import Bundle, bundle
from labeler.size.tubes import choose_tubes, graded
from labeler.tables.catalogue import (
    Catalogue,
    default_settings,
    default_wire,
    load_catalogue,
    setting_specs,
    with_low_end,
)
from labeler.tables.document import unknown
from labeler.validate import LONGEST_TEXT
from labeler.wording import basis

_COUNT = re.compile(r"\s*(?:(\d{1,9})\s*[x×*]\s*)?(.+?)\s*$")
_SIZE = re.compile(r"(?:AWG\s*\S+|\S+\s*(?:AWG|mm2|mm²|mm\^2))(?=\s|$)", re.IGNORECASE)
MOST_WIRES = 2000
SOME_ID = "RUVXW7Q9"  # stands in for a marker's id where a code is asked for: as long, of the same signs
SOME_UNIT = "0001"  # … and for a serial


def fit_text(
    text: str,
    diameter: str,
    *,
    tube: str | None = None,
    cut_length: str | None = None,
    settings: Mapping[str, str] | None = None,
) -> Fit:
    """Return the answer for one text on a sleeve over a diameter, or a range such as ``4.0-4.6`` [mm].

    ``tube`` names one tube or a family; ``\\n`` in the text breaks the line. No stock is asked
    for: a piece that the usual one does not take is said to need another. Raises `WrongUse` for
    what cannot be understood, `LabelerError` for names that are not known and missing glyphs.
    """
    catalogue, chosen = load_catalogue(), settings_from(settings or {})
    on = _diameters(diameter)
    seat = Seat(on, on, on, installation=Installation(before=ClosingStep(INSTALL_CONNECTOR)))
    lines = tuple(part.strip() for part in re.split(r"\\n|\n", text) if part.strip())
    if not lines:
        raise _wrong("TEXT", f"{text!r} holds nothing to print", "give the text")
    if len(text) > LONGEST_TEXT:
        raise _wrong("TEXT", f"{len(text)} characters, the limit is {LONGEST_TEXT}", f"shorten {text[:20]!r}…")
    chosen, choice = _choice(seat, tube, chosen, catalogue)
    marker = Marker("", "sleeve", "branch end", "fit", lines, len(lines) == 1, chosen)
    fixed = _mm("--cut-length", cut_length, cut_length, "give a length in mm, as in 30") if cut_length else None
    codes = None
    if chosen.code.symbology != "none":
        own = replace(marker, id=SOME_ID, settings=chosen.changed({"code.on": ("sleeve",)}))
        marker, codes = coded(own, Harness("fit", settings=chosen), SOME_UNIT)

    def fitted(marker: Marker, tubes: TubeChoice, cut_mm: float | None) -> Fit:
        return fit_sleeve(marker, SleevePlace(seat, tubes, cut_mm), codes)

    def refit(change: Change) -> Fit:
        return fitted(change.marker, choice if change.tubes is None else TubeChoice(change.tubes), change.cut_mm)

    def sized(marker: Marker, changes: Mapping[str, float]) -> Fit:
        changed, tubes = _choice(seat, tube, with_settings(marker.settings, dict(changes)), catalogue)
        return fitted(replace(marker, settings=changed), tubes, fixed)

    fit = fitted(marker, choice, fixed)
    if fit.result != FAIL:
        return _with_stock(fit, catalogue)
    if not choice.tubes and tube:
        fit = replace(fit, reasons=choice.refusals or fit.reasons)
    every = with_settings(marker.settings, {"sleeve.families": tuple(family.name for family in catalogue.families)})
    others = choose_tubes(seat, every, catalogue).tubes
    other = Other(refit, others, {}, fixed, sized=None if choice.tubes else sized)
    return replace(fit, fixes=fixes_for(fit, other))


def _with_stock(fit: Fit, catalogue: Catalogue) -> Fit:
    """Return the fit with a word on its stock, where the usual one does not take the piece."""
    usual = next(stock for stock in catalogue.stocks if stock.marker == "sleeve")
    said = room_of(usual, catalogue.stocks).refusal(fit.cut_length_mm, fit.surface.lay_flat_width_mm)
    return replace(fit, reasons=fit.reasons + said)


def _choice(seat: Seat, sleeve: str | None, settings: Settings, catalogue: Catalogue) -> tuple[Settings, TubeChoice]:
    """Return the tubes asked for that pass and grip, and the settings with what was asked for."""
    if not sleeve:
        return settings, choose_tubes(seat, settings, catalogue)
    family = next((f.name for f in catalogue.families if f.name.casefold() == sleeve.casefold()), "")
    if family:
        asked = with_settings(settings, {"sleeve.families": (family,)})
        return asked, choose_tubes(seat, asked, catalogue)
    tube = catalogue.tube(sleeve, SourceLocation("--tube"))
    asked = with_settings(settings, {"sleeve.families": (tube.name,)})
    result, reasons = graded(tube, seat, settings)
    if result == FAIL:
        return asked, TubeChoice((), (fact("tube refused", tube=tube.name, why=reasons),))
    return asked, TubeChoice((tube,), marginal={tube.name: reasons} if result == MARGINAL else {})


def _diameters(text: str) -> Range:
    low, *more = re.split(r"(?<=\w)\s*(?:\.\.|-|–|\bto\b)\s*", text.strip())
    fix = "give a diameter in mm, 4.2, or a range, 4.0-4.6"
    found = Range(_mm("--diameter", low, text, fix), _mm("--diameter", (low, *more)[-1], text, fix))
    if len(more) > 1 or found.low > found.high:
        raise _wrong("--diameter", f"{text!r} is no range", "give the smaller diameter first, 4.0-4.6")
    return found


def _mm(option: str, part: str, text: str, fix: str) -> float:
    """Return a length [mm] that is a part of what an option says. Raises `WrongUse`."""
    try:
        return length(part)
    except ValueError as error:
        raise _wrong(option, f"{text!r}: {error}", fix) from error


def bundle_of(wires: str, settings: Mapping[str, str] | None = None) -> tuple[Bundle, str, tuple[Problem, ...]]:
    """Return the diameters of a bundle such as ``2 x 20 AWG TXL, 4 x 1.9 mm``, their source in words, and notes.

    Raises `WrongUse` for what cannot be understood, all of it at once.
    """
    chosen = settings_from(settings or {})
    catalogue = load_catalogue()
    ranges: list[Range] = []
    problems: list[Problem] = []
    for item in re.split(r"[;+]|,(?!\d)", wires):
        try:
            found, assumed = _wires(item, chosen, catalogue)
            ranges += found
            problems += assumed
        except LabelerError as error:
            problems += error.problems
        except ValueError as error:
            problems.append(
                Problem(SourceLocation("WIRES"), f"{item.strip()!r}: {error}", 'write "2 x 20 AWG TXL" or "3 x 1.9 mm"')
            )
    refused = [problem for problem in problems if not problem.warning]
    if not refused and len(ranges) > MOST_WIRES:
        refused.append(
            Problem(SourceLocation("WIRES"), f"{len(ranges)} wires, at most {MOST_WIRES}", "measure the bundle")
        )
    if refused:
        raise WrongUse(*refused)
    made = bundle(ranges, chosen)
    return made, "; ".join((basis(made.basis), *(problem.message for problem in problems))), tuple(problems)


def bundle_json(answer: Bundle, source: str) -> dict[str, Any]:
    """Return the diameters of a bundle as one object."""
    return {
        "schema": "bundle 1",
        "pass_over_diameter_mm": {"min": answer.pass_over.low, "max": answer.pass_over.high},
        "grip_diameter_mm": {"min": answer.grip.low, "max": answer.grip.high},
        "source": source,
    }


def _wires(item: str, settings: Settings, catalogue: Catalogue) -> tuple[list[Range], list[Problem]]:
    found = _COUNT.match(item)
    if not found:
        raise ValueError("nothing is named")
    count, what = int(found[1] or 1), found[2]
    if not 0 < count <= MOST_WIRES:
        raise ValueError(f"{count} wires, 1 to {MOST_WIRES} can be counted")
    named = _SIZE.match(what)
    if not named:
        given = length(what)
        return [Range(given, given)] * count, []
    wire, kind = size(named[0]), what[named.end() :].strip() or settings.wire_type
    diameter = with_low_end(catalogue.wire_diameter(kind, wire, SourceLocation("WIRES")), settings).range_mm
    if kind:
        return [diameter] * count, []
    text = f"{item.strip()!r}: no insulation is named, {default_wire(wire)} is taken for the diameter"
    fix = 'name it, as in "2 x 20 AWG TXL", or --set wire_type="…"; labeler list wires lists them'
    return [diameter] * count, [Problem(SourceLocation("WIRES"), text, fix, warning=True)]


def settings_from(given: Mapping[str, str]) -> Settings:
    """Return the default settings with some of them set. Raises `WrongUse` naming every bad one."""
    choices, changes, problems = setting_specs(), {}, []
    for key, value in given.items():
        if key not in choices:
            problems.append(Problem(SourceLocation("--set"), f"{key!r} is unknown", unknown(key, choices)))
            continue
        try:
            changes[key] = setting(choices[key], value)
        except ValueError as error:
            problems.append(Problem(SourceLocation("--set"), f"{key}: {error}", "see labeler list settings"))
    if problems:
        raise WrongUse(*problems)
    return with_settings(default_settings(), changes)


def _wrong(where: str, message: str, fix: str) -> WrongUse:
    return WrongUse(Problem(SourceLocation(where), message, fix))
