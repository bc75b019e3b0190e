"""Cut lengths: which may be chosen, what a stepped seat and the margins take of them, what each part becomes."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf

from labeler.formulas.shrink import cut_length, limits, shrunk
from labeler.model import Range, Seat, SeatPart, Settings, Tube

LONGEST_TRIED_MM = 200.0  # longest cut that is proposed: project choice
EPS = 1e-6


def cut_lengths(settings: Settings, at_least_mm: float = 0.0) -> tuple[float, ...]:
    """Return the cut lengths that may be chosen, mm: the shop's own, or whole steps from shortest to longest.

    Where none is long enough for ``at_least_mm`` only the longest is returned.
    """
    if settings.cut_lengths_mm:
        enough = tuple(length for length in settings.cut_lengths_mm if length >= at_least_mm)
        return enough or settings.cut_lengths_mm[-1:]
    step = settings.cut_step_mm
    first = ceil(round(max(settings.shortest_cut_mm, at_least_mm) / step, 9))
    last = int(round(settings.longest_cut_mm / step, 9))
    return tuple(i * step for i in range(first, last + 1)) or (settings.longest_cut_mm,)


@dataclass(frozen=True, slots=True)
class Lengths:
    """How the length of a piece is used, mm, all flat.

    ``rest`` is what lies on the part of a stepped seat that carries no lettering; ``taken`` what print
    may not use; ``least`` what holds both parts of a stepped seat; ``withheld`` says that longer
    pieces may be cut but go on no sheet of the stock.
    """

    own_along: Range
    rest: float
    rest_along: Range | None
    taken: float
    least: float
    choices: tuple[float, ...]
    withheld: bool


def lengths_on(
    seat: Seat, tube: Tube, own_along: Range, settings: Settings, fixed_mm: float | None, most_mm: float = inf
) -> Lengths:
    """Return how the length of a tube is used on a seat, cut to a fixed length or to one that may be chosen.

    ``own_along`` is the tube's length on the lettered part over its flat length; ``most_mm`` the
    longest piece that can be printed. On a stepped seat each part is held by ``overlap_mm`` after shrinking.
    """
    rest, along, least = 0.0, None, 0.0
    if seat.step:
        on = Range(seat.step.closes_on.low, min(seat.step.closes_on.high, tube.supplied_mm))
        along = shrunk(limits(tube, settings.supplied_over, settings.recovered_under), on, "even").along
        rest = cut_length(((settings.overlap_mm, along.low),))
        least = cut_length(((settings.overlap_mm, along.low), (settings.overlap_mm, own_along.low)))
    taken = 2 * settings.end_margin_mm + rest
    every = (fixed_mm,) if fixed_mm else cut_lengths(settings, max(taken, least))
    inside = tuple(length for length in every if length <= most_mm + EPS)
    return Lengths(own_along, rest, along, taken, least, inside or every[:1], len(inside) < len(every))


def not_held(use: Lengths, length_mm: float, settings: Settings) -> str:
    """Return why a piece is too short to hold both parts of its seat, or ``""``."""
    if use.rest_along is None or length_mm >= use.least - EPS:
        return ""
    return (
        f"{settings.overlap_mm:g} mm on either side of the covering's edge (overlap_mm) take {use.least:.1f} mm of "
        f"tube, cut are {length_mm:g} mm"
    )


def parts_of(seat: Seat, length_mm: float, use: Lengths) -> tuple[SeatPart, ...]:
    """Return what a piece lies on, with the lengths cut flat and after shrinking: where the text stands comes first."""
    own, along = length_mm - use.rest, use.own_along
    step, past = seat.step, use.rest_along
    name = seat.sits_on if step is None or step.towards_end else "the bare bundle, towards the end"
    first = SeatPart(name, own, Range(own * along.low, own * along.high))
    if step is None or past is None:
        return (first,)
    return (first, SeatPart(step.on, use.rest, Range(use.rest * past.low, use.rest * past.high)))
