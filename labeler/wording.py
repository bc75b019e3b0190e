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
    INSTALL_CONNECTOR: "connector {} is installed",
    JOIN_BRANCHES: "the branches are joined at {}",
}
_CRIMPING_THERE = {CRIMP_CONTACTS: "{} contacts are crimped", CRIMP_CONTACT: "{} contact is crimped"}
_CRIMPED = {CONTACTS: CRIMP_CONTACTS, CONTACT: CRIMP_CONTACT}
_CLOSED_BY = {"ring terminal": CRIMP_TERMINAL, "splice": MAKE_SPLICE, "connector": INSTALL_CONNECTOR, **_CRIMPED}


def closing_step(step: ClosingStep) -> str:
    """Return a closing step in words: ``the splice S1 is made``."""
    if step.action == INSTALL_CONNECTOR and not step.places:
        return "the connector or contacts are installed"
    return _CLOSING[step.action].format(" and ".join(step.places))


def obstacle(on: Obstacle) -> str:
    """Return an obstacle in words: ``connector J4, 18 mm``."""
    if on.kind == BUNDLE:
        return f"the bundle from {on.place}, {on.diameter_mm:.1f} mm"
    if on.kind in _CRIMPED:
        return f"{on.kind} crimped at {on.place}, {on.diameter_mm:.1f} mm"
    return f"{on.kind} {on.place}, {on.diameter_mm:g} mm"


def before_obstacle(on: Obstacle | None) -> str:
    """Return how to spare a sleeve an obstacle, in words; ``""`` where nothing would."""
    if on is None or on.kind == BUNDLE:
        return ""
    step = closing_step(ClosingStep(_CLOSED_BY[on.kind], (on.place,)))
    return f"slide it on before {step}" + (", or remove the connector" if on.kind == "connector" else "")


def installation(how: Installation | None) -> str:
    """Return how something is slid on, in words; ``""`` where nothing is known of it."""
    if how is None:
        return ""
    if how.before and how.before.action == JOIN_BRANCHES:
        return f"cannot slide on between breakouts: put it on before {closing_step(how.before)}"
    if how.obstacle:
        text = f"slide over {obstacle(how.obstacle)}" + ("" if how.own else f", from {how.access_end}")
    else:
        text = " ".join(filter(None, ("slide on", how.access_end and ("at" if how.own else "from"), how.access_end)))
    if how.before:
        text += f"{',' if how.obstacle else ''} before {_closing_there(how.before, how)}"
    return f"{text}; {how.terminated} is already terminated" if how.terminated else text


def _closing_there(step: ClosingStep, how: Installation) -> str:
    """Return a closing step in words; of crimping at the access end that was named already, whose contacts."""
    if step.action not in _CRIMPING_THERE or step.places not in ((), (how.access_end,)):
        return closing_step(step)
    return _CRIMPING_THERE[step.action].format("the" if step.places and how.own else "its")


def span(value: Range | Capital, digits: int = 2) -> str:
    """Return a range in words, ``1.20 to 1.35``; one number where both ends are written alike."""
    low, high = f"{value.low:.{digits}f}", f"{value.high:.{digits}f}"
    return low if low == high else f"{low} to {high}"


def seat_text(seat: Seat) -> str:
    """Return what a marker sits on, in words: ``4 wires, braided sleeving``."""
    counted = ((seat.wires, "wire"), (seat.cables, "cable"))
    what = " and ".join(f"{count} {one}{'' if count == 1 else 's'}" for count, one in counted if count)
    if isinstance(seat.basis, WireDiameter):
        what = seat.wire or "wire"
    elif seat.basis is None:
        what = "the diameter given"
    return (what or "measured bundle") + (f", {seat.covering.name}" if seat.covering else "")


def sections(seat: Seat) -> tuple[str, str]:
    """Return where the marked part of a sleeve lies and, over a covering's edge, the other part, in words."""
    if seat.section is None or seat.covering is None:
        return seat_text(seat), ""
    if seat.section.towards_end:
        return seat_text(seat), "past the covering's edge, towards the end"
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
        f"{of.count} wires or cables: thinnest, packed tightest {of.packed_mm:.2f} mm, "
        f"hull {of.hull_mm:.2f} mm; thickest, "
        f"laid by hand max({of.factor:g} × root of the sum of squares, packing + {of.allowance:.0%}) = "
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
    squeezed = covering.squeezed_mm
    tight = f" ({squeezed.low:g} to {squeezed.high:g} mm squeezed while a sleeve slides over it)" if squeezed else ""
    return f"covering {covering.name}, {walls} mm all round{tight}: {source}"


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
    limits = " × ".join(f"{limit:g}" if isfinite(limit) else "any" for limit in (widest, highest))
    ways = [f"use --stock {larger}" if larger else "", "" if short else "cut shorter"]
    ways.append("" if low else "take a smaller tube")
    piece = f"the flat piece is {width:.4g} × {height:.4g} mm; {stock} takes {limits} mm"
    return f"{piece}: {' or '.join(filter(None, ways))}"


def _past_branch(reach: float, at: str, length: float, others: float) -> str:
    text = f"sleeve at {at} needs {reach:g} mm; the branch has {length:g} mm"
    return text + (f", the other sleeve takes {others:g} mm" if others else "")


def _nearest_tube(
    tube: str,
    expanded: float,
    recovered: float,
    under: float,
    beyond: float,
    pass_over_margin: float,
    grip_margin: float,
) -> str:
    misses = [f"is {under:.2f} mm too small to slide on with the {pass_over_margin:.0%} margin"] * (under > 0)
    misses += [f"recovers {beyond:.2f} mm too wide to grip with the {grip_margin:.0%} margin"] * (beyond > 0)
    sizes = f"{expanded:.2f} mm expanded, {recovered:.2f} recovered"
    return f"no tube fits; nearest: {tube} ({sizes}) {' and '.join(misses)}"


def _symbol_size(rows: int, columns: int) -> str:
    size = f"{columns} modules" if rows == 1 else f"{rows} × {columns}"
    return f"{size}{', along the wire' if rows < columns else ''}"


FORMS: Mapping[str, str | Callable[..., str]] = {
    # how the text reads
    "stand-in font": "set in {font}, as {usual} has no {lacking}",
    "letters out of proportion": (
        "letters come out {low:.3f} to {high:.3f} as wide as high; {least:g} to {most:g} is the limit: heat evenly, or "
        "choose a tube that shrinks less"
    ),
    "strokes too thin": "strokes come out {low:.3f} of the capital height; {least:.3g} is the limit: use a bolder font",
    "contrast unknown": "contrast not checked: {ink} or {ground} is an unknown colour",
    "contrast too low": (
        "contrast of {ink} on {ground} {contrast:.1f}:1; {required:g}:1 required: change print.colour or sleeve.colour"
    ),
    "turn to read": (
        "turn to read: the text covers {arc:.1f}°; {reading:g}° reads without turning, {turning:g}° is the limit"
    ),
    "capitals small at the least": (
        "capitals {low:.2f} mm at the least, {middle:.2f} mm in the middle of the range; {required:.2f} mm required "
        "({by}): inspect after shrinking"
    ),
    "capitals too small": "capitals {low:.2f} mm after shrinking; {required:.2f} mm required ({by}): {why}",
    "capitals too coarse": (
        "capitals {printed:.2f} mm as printed; {required:.2f} mm required for a printer of {dpi:g} dpi "
        "({capital:g} dots a capital, {stroke:g} a stroke): {why}"
    ),
    "limited by length": "text is {needs:.1f} mm long; {free:.1f} mm of the {piece:.4g} mm length is printable",
    "limited by arc": lambda lines, arc: f"{_lines(lines)} may cover {arc:g}°",
    "limited by around": lambda lines, free: f"{_lines(lines)} must go into {free:.1f} mm of printable length",
    "limited by across": lambda lines, across: f"{_lines(lines)} must go into {across:.1f} mm of printable height",
    "limited by largest": "height limit reached",
    # a sleeve and its piece of tube
    "piece too large": _too_large,
    "longer pieces not taken": "{stock} takes pieces of {widest:g} mm at most",
    "longer pieces elsewhere": "{stock} takes pieces of {widest:g} mm at most; --stock {larger} takes longer ones",
    "overlap too short": (
        "{overlap:g} mm on either side of the covering's edge (sleeve.covering_overlap_mm) needs {least:.1f} mm of "
        "tube; cut length is {length:g} mm"
    ),
    "past the branch": _past_branch,
    "both faces heated from behind": (
        'two printed sides need sleeve.heating = "even" or "any": there is no unmarked side to heat first'
    ),
    "loose past the edge": "closes the end of the {covering}; up to {gap:.2f} mm loose on the bare wires past it",
    "next kind": "{kind} instead of {instead_of}: {why}",
    # what a tube slides over, and what it grips
    "slides on without margin": (
        "slides over {over:.2f} mm with {margin:.1%} clearance ({expanded:.2f} mm expanded), less than the margin: try "
        "it before you cut"
    ),
    "slides on in the middle": (
        "slides over {middle:.2f} mm with the {margin:.0%} margin ({expanded:.2f} mm expanded); a bundle of "
        "{over:.2f} mm does not go in: try it before you cut"
    ),
    "too small to slide on": "expanded ID {expanded:.2f} mm; at least {need:.2f} mm needed to slide on",
    "grips without margin": (
        "grips {on:.2f} mm by {margin:.1%} ({recovered:.2f} mm recovered), less than the margin: check that it holds"
    ),
    "grips in the middle": (
        "grips {middle:.2f} mm with the {margin:.0%} margin ({recovered:.2f} mm recovered); "
        "loose on {on:.2f} mm: check "
        "that it holds"
    ),
    "too wide to grip": "recovered ID {recovered:.2f} mm; at most {most:.2f} mm grips",
    "obstacle": lambda on: f"it must slide over {obstacle(on)}",
    "tube refused": "{tube}: {why}",
    "nearest tube": _nearest_tube,
    "bundle too small": "too thin for any tube in the tables: the smallest recovers to {smallest:.2f} mm",
    "bundle too large": "too thick for any tube in the tables: the largest expands to {largest:.2f} mm",
    # what does not shrink
    "no wrap stock": "no wrap stock for {low:.2f} to {high:.2f} mm; there are: {stocks}",
    "stock serves": "{stock} {low:.2f} to {high:.2f} mm",
    "no strip left": "an insert of {width:.1f} × {height:.1f} mm is left under the sleeve",
    "flag too short": "a wire of {wire:.2f} mm leaves {half:.1f} mm of {stock} on either side",
    # tags
    "rows summarised": "{rows} rows do not fit on a tag of {stock}: it shows their number",
    "caution left out": ("safety message does not fit on {stock}: shorten tag.safety_message, or use larger tags"),
    "tag too small": "at the required capitals of {required:.2f} mm {why}",
    "title too wide": "the title needs {title:.1f} mm; {free:.1f} mm is free",
    "rows too many": (
        "the {headings} headings and {rows} rows (widest {widest:.1f} mm) do not fit into "
        "{width:.1f} × {height:.1f} mm "
        "of {stock}"
    ),
    # codes
    "code unsure": "printed, but may not scan: {failure}",
    "code arc": "{symbol} covers {arc:.1f}°; limit {most:g}°",
    "code grid": "{symbol}: modules {off:.2f} off an even grid at a tilt of {aim:g}°; limit {most:g}",
    "code out of sight": "{symbol} is partly out of sight at a tilt of {aim:g}°; limit {most:g}",
    "code off square": (
        "{symbol}: modules up to {axial:.3f} off square (axial non-uniformity); limit {most:.2f} for grade {grade}"
    ),
    "code too high": (
        "{symbol} with its quiet zone needs {height:.1f} mm around at a module of {module:.3f} mm; {free:.1f} mm "
        "printable"
    ),
    "code too long": (
        "{symbol} with its quiet zone needs {length:.1f} mm length at a module of {module:.3f} mm; {free:.1f} mm "
        "printable"
    ),
    "bars too low": (
        "{symbol}: bars {height:.1f} mm high after shrinking; {needed:.1f} mm needed ({least:g} mm or {share:.0%} of "
        "the length)"
    ),
    "bars too long": (
        "{symbol} with its quiet zones needs {length:.1f} mm length at a module of {module:.3f} mm; {free:.1f} mm "
        "printable"
    ),
    "matrix": "{kind} {rows} × {columns}",
    "bars": "{kind} of {columns} modules",
    "symbol size": _symbol_size,
    # fixes, with the height that each gives
    "height": "{capital:.2f} mm",
    "height, marginal": "{capital:.2f} mm, marginal",
    "without height": "{result}",
    "nothing helps": "no fix found; best height {capital:.2f} mm",
    "cut longer": "cut {length:g} mm ({key} = {length:g}): {reached}",
    "cut to the stock": "cut {length:g} mm, which the stock takes ({key} = {length:g}): {reached}",
    "other stock": "use --stock {stock}, cut {length:g} mm: {reached}",
    "cut longer on other stock": "use --stock {stock}, cut {length:g} mm ({key} = {length:g}): {reached}",
    "break otherwise": "break lines as {text!r}: {reached}",
    "break otherwise, cut": "break lines as {text!r}, cut {length:g} mm: {reached}",
    "white print": "print in white (print.colour = {value!r}): {reached}",
    "black print": "print in black (print.colour = {value!r}): {reached}",
    "other print": "print in another colour (print.colour = {value!r}): {reached}",
    "even heat": "heat evenly (sleeve.heating = {value!r}): {reached}",
    "condensed face": "use a condensed font (print.font = {value!r}): {reached}",
    "add family": (
        "use {tube} ({expanded:.2f} mm expanded, {recovered:.2f} recovered, {ratio:.1f}:1): add {family!r} to "
        "sleeve.families"
    ),
    "other family": (
        "use {tube} ({expanded:.2f} mm expanded, {recovered:.2f} recovered, {ratio:.1f}:1; add {family!r} to "
        "sleeve.families): {reached}"
    ),
    "in time": before_obstacle,
    "in time, tube": "{step}, tube {tube}: {reached}",
    "measure": (
        "measure {what}, assumed {low:.2f} to {high:.2f} mm: {tube} fits if it is {value:g} mm ({key} = {value:g}): "
        "{reached}"
    ),
    "covering_wall_mm": "the covering's wall",
    "bundle_diameter_mm": "the bundle",
    "no overlap": ("use {tube} on the covering alone, its edge stays open (sleeve.covering_overlap_mm = 0): {reached}"),
    "less margin": (
        "use {tube} with a margin of {value:.0%} instead of {was:.0%}; {cost} ({key} = {value:g}): {reached}"
    ),
    "sleeve.pass_over_margin": "it slides on less easily",
    "sleeve.grip_margin": "it may move",
    "shorter text": "shorten the text to {text!r}: {reached}",
    "other kind": 'use {article} {kind} ({key} = "{kind}"), {on}: {reached}{code}',
    "with its code": ", with its code",
    "without its code": ', without its code: code.on omits "{kind}"',
    "no code": "",
    "nearer by": "read it from nearer ({key} = {distance:g}): {reached}",
    "shorter sleeve": "shorten the sleeve (cut_length_mm), or reduce distance_from_connector_mm",
    "add wrap stock": "add a stock file for this diameter",
    "longer flag": "use a longer flag stock",
    "divide the bag": "divide the bag",
    "larger tag": "use a larger tag stock",
    # what makes a code scan
    "shorter code": 'shorten the code\'s data (code.data = "marker"): {size}',
    "other symbology": 'code.symbology = "{kind}": {size}',
    "finer printer": "use a printer of {dpi:g} dpi (print.dpi): {size}",
    "heat code evenly": 'heat evenly (sleeve.heating = "even")',
    "seat known better": (
        "measure the diameter (bundle_diameter_mm of the branch, od_mm of the wire): scales differ {spread:.2f}:1; "
        "limit {most:.2f}:1"
    ),
    "thicker part": "use a part of at least {outside:.1f} mm OD",
    "on the tag": 'put the code on the tag (code.on = "tag")',
}
"""By kind of fact: a format of its values, or a function of them."""
