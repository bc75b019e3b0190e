"""Wording: the text of every fact about a marker, for people; nothing reads it back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from math import isfinite

from labeler.model import (
    BUNDLE,
    CONTACT,
    CONTACTS,
    CRIMP_CONTACT,
    CRIMP_CONTACTS,
    CRIMP_TERMINAL,
    INSTALL_CONNECTOR,
    JOIN_BRANCHES,
    MAKE_SPLICE,
    Capital,
    ClosingStep,
    Fact,
    Installation,
    MeasuredBundle,
    Obstacle,
    PackedBundle,
    Range,
    Seat,
    SeatCovering,
    WireDiameter,
)

# ---------------------------------------------------------------- seats, and how a sleeve goes on

_CLOSING = {
    CRIMP_CONTACTS: "the contacts at {} are crimped",
    CRIMP_CONTACT: "the contact at {} is crimped",
    CRIMP_TERMINAL: "the terminal {} is crimped",
    MAKE_SPLICE: "the splice {} is made",
    INSTALL_CONNECTOR: "connector {} is fitted",
    JOIN_BRANCHES: "the branches are joined at {}",
}
_CRIMPING_THERE = {CRIMP_CONTACTS: "{} contacts are crimped", CRIMP_CONTACT: "{} contact is crimped"}
_CRIMPED = {CONTACTS: CRIMP_CONTACTS, CONTACT: CRIMP_CONTACT}
_CLOSED_BY = {"ring terminal": CRIMP_TERMINAL, "splice": MAKE_SPLICE, "connector": INSTALL_CONNECTOR, **_CRIMPED}


def closing_step(step: ClosingStep) -> str:
    """Return a closing step in words: ``the splice S1 is made``."""
    if step.action == INSTALL_CONNECTOR and not step.places:
        return "the connector or contacts are fitted"
    return _CLOSING[step.action].format(" and ".join(step.places))


def obstacle(on: Obstacle) -> str:
    """Return what is in the way, in words: ``connector J4, 18 mm``."""
    if on.kind == BUNDLE:
        return f"bundle on the way from {on.place}, {on.diameter_mm:.1f} mm"
    if on.kind in _CRIMPED:
        return f"{on.kind} crimped at {on.place}, {on.diameter_mm:.1f} mm"
    return f"{on.kind} {on.place}, {on.diameter_mm:g} mm"


def in_time(on: Obstacle | None) -> str:
    """Return how to spare a sleeve an obstacle, in words; ``""`` where nothing would."""
    if on is None or on.kind == BUNDLE:
        return ""
    step = closing_step(ClosingStep(_CLOSED_BY[on.kind], (on.place,)))
    return f"thread it on before {step}" + (", or take it off" if on.kind == "connector" else "")


def installation(how: Installation | None) -> str:
    """Return how something is slid on, in words; ``""`` where nothing is known of it."""
    if how is None:
        return ""
    if how.before and how.before.action == JOIN_BRANCHES:
        return f"nothing can be threaded from where branches meet: lay it on before {closing_step(how.before)}"
    if how.obstacle:
        text = f"pass over the {obstacle(how.obstacle)}" + ("" if how.own else f", from {how.access_end}")
    else:
        text = " ".join(filter(None, ("thread on", how.access_end and ("at" if how.own else "from"), how.access_end)))
    if how.before:
        text += f"{',' if how.obstacle else ''} before {_closing_there(how.before, how)}"
    return f"{text}; {how.terminated} is done already" if how.terminated else text


def _closing_there(step: ClosingStep, how: Installation) -> str:
    """Return a closing step in words; of crimping at the access end that was named already, whose contacts."""
    if step.action not in _CRIMPING_THERE or step.places not in ((), (how.access_end,)):
        return closing_step(step)
    return _CRIMPING_THERE[step.action].format("the" if step.places and how.own else "its")


def span(value: Range | Capital, digits: int = 2) -> str:
    """Return a range in words, ``1.20 to 1.35``; one number where both ends are written alike."""
    low, high = f"{value.low:.{digits}f}", f"{value.high:.{digits}f}"
    return low if low == high else f"{low} to {high}"


def sits_on(seat: Seat) -> str:
    """Return what a marker sits on, in words: ``4 wires, braided sleeving``."""
    counted = ((seat.wires, "wire"), (seat.cables, "cable"))
    what = " and ".join(f"{count} {one}{'' if count == 1 else 's'}" for count, one in counted if count)
    if isinstance(seat.basis, WireDiameter):
        what = seat.wire or "wire"
    elif seat.basis is None:
        what = "the diameter given"
    return (what or "measured bundle") + (f", {seat.covering.name}" if seat.covering else "")


def sections(seat: Seat) -> tuple[str, str]:
    """Return where the lettered part of a sleeve lies and, where it straddles an edge, the other part, in words."""
    if seat.section is None or seat.covering is None:
        return sits_on(seat), ""
    if seat.section.towards_end:
        return sits_on(seat), "past the edge of the covering, towards the end"
    return "the bare bundle, towards the end", f"the {seat.covering.name}"


def basis(of: PackedBundle | MeasuredBundle | WireDiameter) -> str:
    """Return where the diameters of a bundle or a wire are from, in words."""
    if isinstance(of, WireDiameter):
        return of.source
    if isinstance(of, MeasuredBundle):
        return f"measured {of.diameter_mm:g} mm ± {of.tolerance_mm:g} mm over the bare bundle"
    if of.count == 1:
        return "one wire or cable"
    return (
        f"{of.count} wires or cables at their thinnest packed to {of.packed_mm:.2f} mm, hull {of.hull_mm:.2f} mm; at "
        f"their thickest hand-laid max({of.factor:g} x root of the sum of squares, packing + {of.allowance:.0%}) = "
        f"{of.hand_laid_mm:.2f} mm"
    )


def sources(seat: Seat) -> Iterator[str]:
    """Yield where the diameters of a seat are from, in words: its bundle or wire, then its covering."""
    if seat.basis:
        yield basis(seat.basis)
    if seat.covering:
        yield _covering(seat.covering)


def _covering(covering: SeatCovering) -> str:
    low, high = covering.wall_mm.low, covering.wall_mm.high
    walls = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    source = covering.source or f"wall {low:g} mm given"
    return f"covering {covering.name}, {walls} mm all round, on top of it: {source}"


# ---------------------------------------------------------------- reasons, failures, remedies


def sentence(fact: Fact) -> str:
    """Return the text of a fact."""
    form, values = FORMS[fact.kind], {name: _worded(value) for name, value in fact.values}
    return form.format_map(values) if isinstance(form, str) else form(**values)


def sentences(facts: Iterable[Fact]) -> tuple[str, ...]:
    """Return the text of each fact."""
    return tuple(map(sentence, facts))


def _worded(value: object) -> object:
    """Return a value as the forms take it: facts as their text, several with ``;`` between them, names with commas."""
    if isinstance(value, Fact):
        return sentence(value)
    if isinstance(value, tuple):
        facts = any(isinstance(each, Fact) for each in value)
        return ("; " if facts else ", ").join(str(_worded(each)) for each in value)
    return value


def _lines(count: int) -> str:
    return "one line" if count == 1 else f"{count} lines"


def _too_large(
    width: float, height: float, stock: str, widest: float, highest: float, larger: str, short: bool, low: bool
) -> str:
    limits = " x ".join(f"{limit:g}" if isfinite(limit) else "any" for limit in (widest, highest))
    ways = [f"use --stock {larger}" if larger else "", "" if short else "cut it shorter"]
    ways.append("" if low else "take a smaller tube")
    piece = f"the flat piece is {width:.4g} x {height:.4g} mm, {stock} takes {limits} mm"
    return f"{piece}: {' or '.join(filter(None, ways))}"


def _past_branch(reach: float, at: str, length: float, others: float) -> str:
    text = f"its sleeve reaches {reach:g} mm from {at}, the branch has {length:g} mm"
    return text + (f", of which the other sleeve takes {others:g}" if others else "")


def _no_tube(
    families: str, passes: float, slip: float, closes_on: float, grip: float, on_the_way: Obstacle | None
) -> str:
    text = f"no tube of {families} both passes {passes:.2f} mm (slip +{slip:.0%}) and closes on {closes_on:.2f} mm "
    return f"{text}(grip -{grip:.0%})" + (f"; it must pass {obstacle(on_the_way)}" if on_the_way else "")


def _symbol_size(rows: int, columns: int) -> str:
    size = f"{columns} modules" if rows == 1 else f"{rows} x {columns}"
    return f"{size}{', along the wire' if rows < columns else ''}"


FORMS: Mapping[str, str | Callable[..., str]] = {
    # how the text reads
    "stand-in font": "set in {font}, as {usual} has no {lacking}",
    "letters out of proportion": (
        "letters come out {low:.3f} to {high:.3f} as wide as high, allowed are {least:g} to {most:g}: heat evenly, or "
        "choose a tube that shrinks less"
    ),
    "contrast unknown": "contrast not checked: the colours {ink} and {ground} are not both known",
    "contrast too low": (
        "print {ink} on {ground} has a contrast of {contrast:.1f} : 1, {required:g} : 1 required: choose another "
        "print.colour or sleeve.colour"
    ),
    "turn to read": (
        "turn to read: the lettering covers {arc:.1f}° of the part, {reading:g}° is read without turning, "
        "{turning:g}° is the limit"
    ),
    "capitals too small": "capitals {low:.2f} mm after shrinking, {required:.2f} mm required ({by}): {why}",
    "capitals too coarse": (
        "capitals {printed:.2f} mm as printed, {required:.2f} mm required for a printer of {dpi:g} dpi "
        "({capital:g} dots a capital, {stroke:g} a stroke): {why}"
    ),
    "limited by length": (
        "the text takes {needs:.1f} mm at that height, of the piece's {piece:.4g} mm {free:.1f} are free"
    ),
    "limited by arc": lambda lines, arc: f"{_lines(lines)} may cover {arc:g}° of the part at most",
    "limited by around": lambda lines, free: f"{_lines(lines)} must go into the {free:.1f} mm of length that are free",
    "limited by across": lambda lines, across: f"{_lines(lines)} must go into {across:.1f} mm of print height",
    "limited by largest": "the largest size asked for",
    # a sleeve and its piece of tube
    "piece too large": _too_large,
    "longer pieces not taken": "longer pieces do not go on {stock}: it takes {widest:g} mm",
    "longer pieces elsewhere": (
        "longer pieces do not go on {stock}: it takes {widest:g} mm; --stock {larger} takes longer ones"
    ),
    "overlap too short": (
        "{overlap:g} mm on either side of the covering's edge (sleeve.covering_overlap_mm) take {least:.1f} mm of tube, cut are "
        "{length:g} mm"
    ),
    "past the branch": _past_branch,
    "both faces heated from behind": (
        "lettering on both faces has no back to heat first: the scales of the two faces add up to twice the average; "
        'set heating to "even" or "any", or faces to "one"'
    ),
    "no tube": _no_tube,
    # why a tube does not serve
    "family refused": "{family}: {why}",
    "passes only": (
        "{tube} passes ({supplied:.2f} mm supplied, {need:.2f} needed) but recovers only to {recovered:.2f} mm, "
        "{over:.2f} too wide for {most:.2f}"
    ),
    "none passes": "none passes: largest {supplied:.2f} mm supplied, {need:.2f} needed",
    "grips only": (
        "{tube} grips ({recovered:.2f} mm recovered) but is supplied {under:.2f} mm too small at {supplied:.2f}"
    ),
    "too small to pass": "supplied {supplied:.2f} mm, at least {need:.2f} needed to pass",
    "too wide to grip": "recovered {recovered:.2f} mm, at most {most:.2f} to grip",
    "bundle too small": "no tube in the tables is small enough: the smallest recovers to {smallest:.2f} mm",
    "bundle too large": "no tube in the tables is large enough: the largest is supplied with {largest:.2f} mm",
    "nearest tube": lambda need, most, tube, supplied, recovered, under, over: (
        f"no tube in the tables has {need:.2f} mm supplied and recovers to {most:.2f}: nearest {tube} "
        f"({supplied:.2f} mm supplied, {recovered:.2f} recovered) "
        + " and ".join(
            [f"is {under:.2f} mm too small to pass"] * (under > 0)
            + [f"recovers {over:.2f} mm too wide to grip"] * (over > 0)
        )
    ),
    # what does not shrink
    "no wrap stock": "no wrap stock serves {low:.2f} to {high:.2f} mm; there are: {stocks}",
    "stock serves": "{stock} {low:.2f} to {high:.2f} mm",
    "no strip left": "a strip of {width:.1f} x {height:.1f} mm is left under the sleeve",
    "flag too short": "a wire of {wire:.2f} mm leaves {half:.1f} mm of {stock} on either side",
    # tags
    "rows summarised": "{rows} rows do not go on a tag of {stock}: it says how many there are",
    "caution left out": "its caution does not go on {stock} beside the rest: shorten tag.safety_message, or use larger tags",
    "tag too small": "at the required capitals of {required:.2f} mm {why}",
    "title too wide": "the title takes {title:.1f} mm, {free:.1f} mm are free",
    "rows too many": (
        "the {headings} headings and {rows} rows (widest {widest:.1f} mm) do not go into {width:.1f} x {height:.1f} mm "
        "of {stock}"
    ),
    # codes
    "code unsure": "code printed all the same, it may not scan: {failure}",
    "code arc": "{symbol} covers {arc:.1f}° of the part, {most:g}° allowed",
    "code grid": "{symbol} lies {off:.2f} modules off an even grid at {aim:g}° aim error, {most:g} allowed",
    "code out of sight": "{symbol} lies partly out of sight at {aim:g}° aim error, {most:g} allowed",
    "code off square": (
        "{symbol} modules come out up to {axial:.3f} off square (axial non-uniformity), {most:.2f} for grade {grade} "
        "allowed"
    ),
    "code too high": (
        "{symbol} with its quiet zone takes {height:.1f} mm of print height at a module of {module:.3f} mm, "
        "{free:.1f} mm are free"
    ),
    "code too long": (
        "{symbol} with its quiet zone takes {length:.1f} mm of length at a module of {module:.3f} mm, {free:.1f} mm "
        "are free"
    ),
    "bars too low": (
        "{symbol}: bars {height:.1f} mm high after shrinking, {needed:.1f} mm needed ({least:g} mm or {share:.0%} of "
        "its length)"
    ),
    "bars too long": (
        "{symbol} with its quiet zones takes {length:.1f} mm of length at a module of {module:.3f} mm, {free:.1f} mm "
        "are free"
    ),
    "matrix": "{kind} {rows} x {columns}",
    "bars": "{kind} of {columns} modules",
    "symbol size": _symbol_size,
    # what would do, with the height it gives
    "height": "{capital:.2f} mm",
    "height, turned": "{capital:.2f} mm, turn to read",
    "without height": "{result}",
    "nothing helps": "nothing that was tried; it reaches {capital:.2f} mm: ask for less if that is enough",
    "cut longer": "cut it {length:g} mm long ({key} = {length:g}): {reached}",
    "cut to the stock": "cut it to a length that the stock takes, {length:g} mm long ({key} = {length:g}): {reached}",
    "other stock": "--stock {stock}, cut {length:g} mm: {reached}",
    "cut longer on other stock": "cut it {length:g} mm long ({key} = {length:g}) on --stock {stock}: {reached}",
    "break otherwise": "break it otherwise, as {text!r}: {reached}",
    "break otherwise, cut": "break it otherwise, as {text!r}, cut {length:g} mm: {reached}",
    "white print": "print in white (print.colour = {value!r}): {reached}",
    "black print": "print in black (print.colour = {value!r}): {reached}",
    "other print": "print in another colour (print.colour = {value!r}): {reached}",
    "even heat": "heat evenly (sleeve.heating = {value!r}): {reached}",
    "condensed face": "a condensed face (print.font = {value!r}): {reached}",
    "add family": (
        "tube {tube} ({supplied:.2f} mm supplied, {recovered:.2f} recovered, {ratio:.1f}:1): add {family!r} to sleeve.families"
    ),
    "other family": (
        "tube {tube} ({supplied:.2f} mm supplied, {recovered:.2f} recovered, {ratio:.1f}:1; add {family!r} to sleeve.families): "
        "{reached}"
    ),
    "in time": in_time,
    "in time, tube": "{step}, tube {tube}: {reached}",
    "measure": (
        "measure {what}, taken as {low:.2f} to {high:.2f} mm: tube {tube} serves if it is {value:g} mm "
        "({key} = {value:g}): {reached}"
    ),
    "covering_wall_mm": "the covering's wall",
    "bundle_diameter_mm": "the bundle",
    "no overlap": "tube {tube} on the covering alone, whose edge stays open (sleeve.covering_overlap_mm = 0): {reached}",
    "less margin": (
        "tube {tube} with a margin of {value:.0%} instead of {was:.0%}, {cost} ({key} = {value:g}): {reached}"
    ),
    "sleeve.pass_over_margin": "it goes on more tightly",
    "sleeve.grip_margin": "it may slide or turn more easily",
    "shorter text": "a shorter text, {text!r}: {reached}",
    "other kind": '{article} {kind} instead ({key} = "{kind}"), {on}: {reached}{code}',
    "with its code": ", with its code",
    "without its code": ', without its code: code.on leaves "{kind}" out',
    "no code": "",
    "nearer by": "read it from nearer by ({key} = {distance:g}): {reached}",
    "shorter sleeve": "a shorter sleeve (cut_length_mm), or less distance_from_connector_mm",
    "add wrap stock": "add a stock file for this diameter",
    "longer flag": "a longer flag stock",
    "divide the bag": "divide the bag",
    "larger tag": "a larger tag stock",
    # what would let a code stand
    "shorter code": 'a shorter text of the code (code.data = "marker"): {size}',
    "other symbology": 'code = "{kind}": {size}',
    "finer printer": "a printer of {dpi:g} dpi (print.dpi): {size}",
    "heat code evenly": 'heat it evenly (heating = "even")',
    "seat known better": (
        "a seat known better (measure bundle_diameter_mm of the branch, or od_mm of the wire): scales {spread:.2f} : 1 "
        "apart, {most:.2f} : 1 allowed"
    ),
    "thicker part": "a part of at least {outside:.1f} mm outside",
    "on the tag": 'put it on the tag (code.on = "tag")',
}
"""By kind of fact: a format of its values, or a function of them."""
