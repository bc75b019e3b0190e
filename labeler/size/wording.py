"""The words for installations and seats: every text that people read about them is made here."""

from __future__ import annotations

from collections.abc import Iterator

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
    ClosingStep,
    Installation,
    MeasuredBundle,
    Obstacle,
    PackedBundle,
    Seat,
    SeatCovering,
    WireDiameter,
)

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
    if step.action == INSTALL_CONNECTOR and not step.at:
        return "the connector or contacts are fitted"
    return _CLOSING[step.action].format(" and ".join(step.at))


def obstacle(on: Obstacle) -> str:
    """Return what is in the way, in words: ``connector J4, 18 mm``."""
    if on.kind == BUNDLE:
        return f"bundle on the way from {on.at}, {on.diameter_mm:.1f} mm"
    if on.kind in _CRIMPED:
        return f"{on.kind} crimped at {on.at}, {on.diameter_mm:.1f} mm"
    return f"{on.kind} {on.at}, {on.diameter_mm:g} mm"


def in_time(on: Obstacle | None) -> str:
    """Return how to spare a sleeve an obstacle, in words; ``""`` where nothing would."""
    if on is None or on.kind == BUNDLE:
        return ""
    step = closing_step(ClosingStep(_CLOSED_BY[on.kind], (on.at,)))
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
    if step.action not in _CRIMPING_THERE or step.at not in ((), (how.access_end,)):
        return closing_step(step)
    return _CRIMPING_THERE[step.action].format("the" if step.at and how.own else "its")


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
