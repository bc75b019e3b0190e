"""The words of the bench: every text that people read about the steps of the work is made here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from labeler import wording
from labeler.model import CRIMP_CONTACTS, CRIMP_TERMINAL, JOIN_BRANCHES, MAKE_SPLICE, ClosingStep, Connector
from labeler.tables.kinds import KINDS
from labeler.wording import sentence, sentences
from labeler.work.branch_pages import (
    BranchFacts,
    CoveringCut,
    InsertContacts,
    Install,
    MarkWires,
    OmittedMarker,
    PlaceEdge,
    PlaceMarker,
    WorkStep,
)
from labeler.work.sleeves import ApplyMethod, Instructions, Place, lines_of, on_bare_mm

HEATING_NAMES = {"unmarked side first": "unmarked first", "even": "even", "any": "any"}  # on paper
HEATING = {
    "unmarked side first": "Heat the unmarked side until it has recovered; turn; finish the marked side.",
    "even": "Rotate the work to shrink all sides evenly.",
    "any": "The text allows for heat from any side; keep the nozzle moving.",
}
TERMINATING = {
    JOIN_BRANCHES: "Join the branches at {}",
    MAKE_SPLICE: "Make the splice {}",
    CRIMP_TERMINAL: "Crimp the terminal {}",
    CRIMP_CONTACTS: "Crimp the contacts of {}",
}
BY_CAVITY = "cavity by cavity; see the wiring table"
IN_PIN_TABLE = "see the wiring table for the text"


def place(where: Place) -> str:
    """Return a place: ``B4 at J4``, or ``J4`` where the branch is called so too."""
    if not where.at:
        return where.branch
    return f"{where.branch} at {where.at}" if where.branch not in ("", where.at) else where.at


def applying(method: ApplyMethod) -> str:
    """Return how a kind of marker that is not shrunk goes on, as its stock is made."""
    kind = KINDS[method.kind]
    return f"cut it out along the lines; {kind.apply_cut_out or kind.apply}" if method.cut_out else kind.apply


def instructions(how: Instructions) -> str:
    """Return how a sleeve goes on and where it comes to lie; ``""`` where nothing is known."""
    return "; ".join(
        filter(
            None,
            (
                wording.installation(how.installation),
                f"{how.clearance_mm:.1f} mm clearance" if how.clearance_mm is not None else "",
                "wrap the insert around under it before you shrink it" if how.over_insert else "",
                f"text reads {how.line} {how.place}" if how.line else "",
                f"carries a {how.symbology} code: heat it evenly" if how.symbology else "",
                f"edge {how.distance_from_connector_mm:g} mm from {how.place}"
                if how.distance_from_connector_mm is not None
                else "",
                _over_edge(how.bare_mm),
                how.written,
            ),
        )
    )


def _over_edge(bare_mm: float) -> str:
    """Return where a sleeve lies that straddles the edge of a covering; ``""`` for the others."""
    return f"{bare_mm:.0f} mm on bare wire; the rest overlaps the covering" if bare_mm else ""


def between(connectors: Sequence[Connector]) -> str:
    """Return what a branch lies between."""
    return " – ".join(" ".join(filter(None, (each.id, each.description))) for each in connectors)


def facts(of: BranchFacts) -> Iterator[tuple[str, str]]:
    """Yield what the head of a branch's page says of it, each with its title."""
    wires = ", ".join(f"{count} × {size or 'given diameter'}" for size, count in of.sizes.items())
    yield "wires", wires or "measured as one bundle"
    if of.diameter:
        over, seat = of.diameter
        yield "diameter", f"{over.low:.2f} to {over.high:.2f} mm on {wording.seat_text(seat)}"
    if of.covering:
        known = of.covering.length_mm
        what = "over" if of.covering.wound else "cut"
        length = f"{what} {known:g} mm" if known else "length to suit the branch"
        yield "covering", f"{of.covering.covering}, {length}"
    yield "length", f"{round(of.length_mm, 1):g} mm" if of.length_mm else "not given"


# ---------------------------------------------------------------- steps of the work


SLIDE_ON, TERMINATE, SHRINK = "SLIDE ON", "TERMINATE", "SHRINK"


def heading(step: WorkStep) -> str:
    """Return the heading that a step stands under."""
    match step:
        case Install() | MarkWires(slid_on=True) | OmittedMarker(slid_on=True):
            return SLIDE_ON
        case CoveringCut() | PlaceEdge() | PlaceMarker() | OmittedMarker():
            return SHRINK
    return TERMINATE


def work_step(step: WorkStep) -> tuple[str, str]:
    """Return what is done in a step, and how. One case for each kind of step, so that all are seen together."""
    match step:
        case Install(row, how) if row.at:
            what = f"Sleeve {said(row.lines) or 'blank'}: {row.tube}, {row.colour}, {row.cut_length_mm:g} mm"
            return what, wording.installation(how)
        case Install(row, how, length):
            return f"Covering: {row.tube}" + (f", {length:g} mm" if length else ""), wording.installation(how)
        case MarkWires(at, count, slid_on):
            plural = "s" if count > 1 else ""
            if slid_on:
                what = f"Slide on {count} wire sleeve{plural} at {at}, one per wire"
                return what, f"before the wire's contact is crimped; {IN_PIN_TABLE}"
            return f"Apply {count} wire marker{plural} at {at}, one per wire", IN_PIN_TABLE
        case ClosingStep(action, at):
            return TERMINATING[action].format(*at), ""
        case InsertContacts(at, count, total) if count < total:
            return (
                f"Insert {count} contacts into {at}",
                f"{BY_CAVITY}; engage the secondary lock, if any, when all {total} wires are in",
            )
        case InsertContacts(at):
            return f"Insert the contacts into {at}", f"{BY_CAVITY}; then engage the secondary lock, if any"
        case CoveringCut(covering, length_mm=length):
            return f"Wrap or fit the {covering}", f"over {length:g} mm" if length else "length to suit the branch"
        case PlaceEdge(covering, edge, at):
            return f"Place the edge of the {covering} {edge:.0f} mm from {at}", ""
        case PlaceMarker():
            return _placed(step)
        case OmittedMarker(fit):
            helps = [f"to fix: {sentence(way)}" for way in fit.fixes[:1]]
            mend = "mark this place by hand, or correct the harness file and print the change"
            what = f"OMITTED: {fit.marker.kind} {omitted_at(step)}"
            return what, "; ".join((*sentences(fit.reasons), *helps, mend))


def _placed(step: PlaceMarker) -> tuple[str, str]:
    fit, marker = step.fit, step.fit.marker
    where = f"its edge {step.edge_mm:g} mm from {marker.place}" if step.edge_mm is not None else f"at {marker.place}"
    what, straddle = f"{said(fit.lines) or 'Blank sleeve'}: {where}", _over_edge(on_bare_mm(fit))
    if marker.kind == "sleeve":
        how = HEATING[marker.settings.sleeve.heating if marker.marked else "even"]
        return f"{what}; shrink", "; ".join(filter(None, (straddle, how)))
    if marker.kind == "insert":
        return what, "; ".join(
            filter(None, ("wrap the insert around, text outward; slide the clear sleeve over; shrink", straddle))
        )
    return f"{what}, a {marker.kind}", "apply it around the branch"


def said(lines: Sequence[str]) -> str:
    """Return lines as a marker says them, in quotation marks; ``""`` for none."""
    return f"“{' / '.join(lines)}”" if lines else ""


def omitted_at(omitted: OmittedMarker) -> str:
    """Return what a marker that was left out would say, and where."""
    marker = omitted.fit.marker
    return f"{said(lines_of(omitted.fit)) if marker.marked else 'plain'} at {marker.place}"
