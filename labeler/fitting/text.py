"""Setting type into a zone: where to break a designation, how tall its capitals can be, how long."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate, pairwise
from math import inf, pi, radians, sqrt

from labeler.formulas.interval import middle
from labeler.formulas.legibility import height_for_angle, height_for_dots
from labeler.formulas.shrink import Shrunk, lay_flat, shrunk, wall_from_section
from labeler.model import Range, Settings, Tube
from labeler.text import Font

# ---------------------------------------------------------------- The zone print may fill on a seat


ONE = Range(1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Needed:
    """Capital heights on the finished part, mm, and what requires them."""

    required_mm: float
    preferred_mm: float
    largest_mm: float
    by: str


@dataclass(frozen=True, slots=True)
class Zone:
    """What flat print may be on one seat.

    ``read_mm`` and ``turn_mm`` are the tallest stacks of lines that are read without turning and
    with turning the part; ``across_mm`` what the stock takes; ``scale`` that of the letters' height
    after shrinking; ``stretch`` how much taller than normal they are printed.
    ``required_mm``, ``preferred_mm`` and ``largest_mm`` are flat capital heights for the least that they may become;
    ``middle_mm`` is the required one in the middle of the range.
    """

    read_mm: float
    turn_mm: float
    across_mm: float
    scale: Range
    stretch: float
    required_mm: float
    middle_mm: float
    preferred_mm: float
    largest_mm: float
    needed: Needed
    arc_per_mm: float  # degrees of arc for one mm of flat stack, at most
    width_ratio: Range  # width over height of the H after shrinking
    stroke_ratio: Range  # width of a stroke over height of a capital after shrinking

    def on_round(self, arc_per_mm: float, across_mm: float, settings: Settings) -> Zone:
        """Return the zone on a round part, ``arc_per_mm`` in radians (0: it is flat), ``across_mm`` high."""
        arcs = settings.print.readable_arc_deg, settings.print.max_arc_deg
        read, turn = (radians(arc) / arc_per_mm if arc_per_mm else inf for arc in arcs)
        return replace(self, read_mm=read, turn_mm=turn, across_mm=across_mm, arc_per_mm=arc_per_mm * 180 / pi)


def needed_capital(distance_mm: float, settings: Settings) -> Needed:
    """Return the capital height asked for: the larger of the smallest allowed and the visual angle's."""
    least, angle = settings.print.min_capital_height_mm, settings.print.min_visual_angle_arcmin
    by_angle = height_for_angle(distance_mm, angle)
    by = f"{angle:g}' at {distance_mm:g} mm" if by_angle >= least else "print.min_capital_height_mm"
    required = max(by_angle, least)
    preferred = max(height_for_angle(distance_mm, settings.print.preferred_visual_angle_arcmin), required)
    largest = max(height_for_angle(distance_mm, settings.print.max_visual_angle_arcmin), preferred)
    return Needed(required, preferred, largest, by)


def flat_zone(
    font: Font, settings: Settings, needed: Needed, scale: Range = ONE, letters: Range = ONE, stretch: float = 1.0
) -> Zone:
    """Return a zone of any size that is no part's yet.

    ``scale`` is that of the letters' height on shrinking; ``letters`` the width over height that they
    come out in, over the font's own; ``stretch`` how much taller than normal they are printed.
    The printer sets a least height: no capital and no stroke may have fewer than its fewest dots. Upright
    strokes are not stretched, level ones are: the thinner of the two counts.
    """
    least_size = height_for_dots(settings.print.min_dots_per_stroke, settings.print.dpi) / (
        font.stroke * min(1.0, stretch)
    )
    by_dots = height_for_dots(settings.print.min_dots_per_capital, settings.print.dpi)
    least = max(by_dots, least_size * font.capital * stretch)
    asked = (needed.required_mm, needed.preferred_mm, needed.largest_mm)
    required, preferred, largest = (max(height / scale.low, least) for height in asked)
    width_ratio, stroke_ratio = (
        Range(own / font.capital * letters.low, own / font.capital * letters.high)
        for own in (font.capital_width, font.stroke)
    )
    between = max(needed.required_mm / middle(scale), least)
    heights = (required, between, preferred, largest)
    return Zone(inf, inf, inf, scale, stretch, *heights, needed, 0.0, width_ratio, stroke_ratio)


@dataclass(frozen=True, slots=True)
class TubeZone:
    """A zone on a tube, with the tube's own figures for the report."""

    zone: Zone
    shrunk: Shrunk
    lay_flat_mm: float


def zone_on_tube(tube: Tube, on_mm: Range, settings: Settings, needed: Needed, font: Font) -> TubeZone:
    """Return the zone of a tube that closes on a range of diameters; its face printed flat.

    The pre-stretch makes the letters come out in the font's own proportion in the middle
    (geometric mean) of all they may become, unless that would make them wider than allowed.
    """
    of = tube.limits(settings.sleeve.expanded_oversize, settings.sleeve.recovered_undersize)
    on = shrunk(of, on_mm, settings.sleeve.heating, settings.sleeve.marked_side_share)
    own, squeeze = font.capital_width / font.capital, on.squeeze
    stretch = max(sqrt(squeeze.low * squeeze.high), own * squeeze.high / settings.print.max_width_ratio)
    letters = Range(squeeze.low / stretch, squeeze.high / stretch)
    section = (tube.recovered_id_mm + tube.recovered_wall_mm) * tube.recovered_wall_mm * (1 + tube.longitudinal_change)
    flat = tube.lay_flat_width_mm or lay_flat(tube.expanded_id_mm, wall_from_section(tube.expanded_id_mm, section))
    zone = flat_zone(font, settings, needed, on.marked_side_scale, letters, stretch)
    return TubeZone(zone.on_round(on.arc_per_mm, flat - 2 * settings.sleeve.fold_margin_mm, settings), on, flat)


def zone_around(on: TubeZone, settings: Settings, font: Font) -> Zone:
    """Return the zone of lines that run around the tube; its height is left open: it is the piece's length.

    The letters' width now shrinks with the face, around, and their height with the tube, along: the
    squeeze acts the other way. They are pre-stretched along the line, so that they come out in the
    font's own proportion in the middle of all they may become, but never wider than allowed.
    """
    own, squeeze = font.capital_width / font.capital, on.shrunk.squeeze
    wider = min(sqrt(squeeze.low * squeeze.high), settings.print.max_width_ratio * squeeze.low / own)
    letters = Range(wider / squeeze.high, wider / squeeze.low)
    zone = flat_zone(font, settings, on.zone.needed, on.shrunk.along, letters, 1 / wider)
    return replace(zone, arc_per_mm=on.zone.arc_per_mm)


# ---------------------------------------------------------------- setting


SEPARATORS = ":-/. "
MOST_PIECES = 64  # between which a text is broken exactly: the time grows with their square
EPS = 1e-9


def segments(text: str) -> tuple[str, ...]:
    """Return the pieces between which a designation may be broken.

    Breaks come after ``:`` ``-`` ``/`` ``.`` and at blanks, never inside a number (``1.5``,
    ``1/0``); the separator stays at the end of its piece.

    >>> segments("=F1-K1:13/X1:1.5 mm")
    ('=F1-', 'K1:', '13/', 'X1:', '1.5 ', 'mm')
    """
    pieces, first = [], 0
    for i in range(len(text) - 1):
        sign = text[i]
        if sign not in SEPARATORS or text[i + 1] in SEPARATORS or i == first:
            continue
        if sign in "./" and text[i - 1].isdigit() and text[i + 1].isdigit():
            continue
        pieces.append(text[first : i + 1])
        first = i + 1
    pieces.append(text[first:])
    return tuple(pieces)


def breakings(text: str, font: Font, most: int) -> tuple[tuple[str, ...], ...]:
    """Return for 1, 2 … ``most`` lines the breaking whose widest line is narrowest.

    Exact, by dynamic programming over the break points; of equally wide ones the most even. A text
    of more than `MOST_PIECES` pieces is not broken everywhere: neighbours stay together.
    """
    return _breakings(text.strip(), font, most)


@lru_cache(maxsize=4096)
def _breakings(text: str, font: Font, most: int) -> tuple[tuple[str, ...], ...]:
    found: list[tuple[str, ...]] = [(text,)]
    pieces = _joined(segments(text)) if most > 1 else ()
    n = len(pieces)
    if n < 2:
        return tuple(found)
    ends = [0.0, *accumulate(map(font.width, pieces))]
    blanks = [0.0, *(font.width(piece) - font.width(piece.rstrip()) for piece in pieces)]
    best: list[_Broken] = [(ends[j] - blanks[j], (ends[j] - blanks[j]) ** 2, (j,)) for j in range(1, n + 1)]
    for count in range(2, min(most, n) + 1):
        following: list[_Broken] = [(inf, inf, ())] * n
        for j in range(count, n + 1):
            end = ends[j] - blanks[j]
            trials = []
            for i in range(count - 1, j):
                widest, squares, cuts = best[i - 1]
                width = end - ends[i]
                trials.append((width if width > widest else widest, squares + width * width, (*cuts, j)))
            following[j - 1] = min(trials)
        best = following
        cuts = (0, *best[n - 1][2])
        found.append(tuple("".join(pieces[i:j]).strip() for i, j in pairwise(cuts)))
    return tuple(found)


def _joined(pieces: tuple[str, ...]) -> tuple[str, ...]:
    """The pieces, neighbours joined two and two until they are few enough."""
    while len(pieces) > MOST_PIECES:
        pieces = tuple("".join(pieces[i : i + 2]) for i in range(0, len(pieces), 2))
    return pieces


def filled(text: str, font: Font, ems: float, most: int) -> tuple[str, ...] | None:
    """Return the text in as few lines as go into a width [em], at most so many, or None.

    Of the ways to break it into so few the one whose widest line is narrowest, where it has no more
    than `MOST_PIECES` pieces; else each line is filled.
    """
    pieces = segments(text.strip())
    lines, line = [], ""
    width = 0.0  # of the line, trailing blanks included
    for piece in pieces:
        own = font.width(piece)
        if line and width + font.width(piece.rstrip()) > ems:
            lines.append(line.strip())
            line, width = "", 0.0
            if len(lines) >= most:
                return None
        line, width = line + piece, width + own
    lines.append(line.strip())
    if max(map(font.width, lines)) > ems:
        return None
    return breakings(text, font, len(lines))[-1] if 1 < len(pieces) <= MOST_PIECES else tuple(lines)


_Broken = tuple[float, float, tuple[int, ...]]  # widest line, sum of squares, where each line ends


@dataclass(frozen=True, slots=True)
class TextLayout:
    """Lines set in a zone. ``capital_mm`` is the flat capital height, ``stack_mm`` ink to ink.

    ``limit`` says what kept the capitals from growing: ``arc``, ``across``, ``length`` or
    ``largest``; ``turned`` that the part must be turned to read all of it. ``free_mm`` is what the
    piece leaves for a line, ``line_per_capital`` the length of the widest one in capital heights.
    """

    lines: tuple[str, ...]
    capital_mm: float
    stack_mm: float
    length_mm: float
    width_mm: float
    limit: str
    turned: bool
    free_mm: float = 0.0
    line_per_capital: float = 0.0


def stack_ratio(lines: Sequence[str], font: Font, pitch: float) -> float:
    """Return the height of a stack of lines, ink to ink, in capital heights; pitch likewise."""
    above, below = font.stack(lines)
    return (above + below) / font.capital + (len(lines) - 1) * pitch


def best_setting(
    options: Sequence[tuple[str, ...]],
    font: Font,
    zone: Zone,
    lengths: Sequence[float],
    taken_mm: float,
    pitch: float,
) -> TextLayout:
    """Return the setting with the tallest capitals, of one or several ways to break the text.

    Parameters
    ----------
    options
        the ways to break the text, fewest lines first
    lengths
        the lengths of the piece that may be chosen [mm], ascending; the shortest is taken on
        which the capitals reach the preferred height, or all they can
    taken_mm
        length that print may not use: end margins, overlap [mm]
    pitch
        distance of baselines in capital heights

    Of equally tall ones the shorter piece is taken, then the one with fewer lines. Where nothing
    reaches the required height without turning the part, the largest readable by turning is.
    """
    piece = _Piece(lengths, taken_mm, pitch)
    each = [_set(lines, font, zone, piece, zone.read_mm) for lines in options]
    best = max(each, key=lambda s: (round(min(s.capital_mm, zone.preferred_mm), 4), -s.length_mm, -len(s.lines)))
    if best.capital_mm >= zone.required_mm - EPS:
        return best
    turned = [_set(lines, font, zone, piece, zone.turn_mm, zone.required_mm) for lines in options]
    reaching = [s for s in turned if s.capital_mm >= zone.required_mm - EPS]
    return min(reaching, key=lambda s: (s.stack_mm, s.length_mm)) if reaching else best


@dataclass(frozen=True, slots=True)
class _Piece:
    """The lengths that may be chosen, what print may not use of them [mm], and the pitch of lines in capitals."""

    lengths: Sequence[float]
    taken_mm: float
    pitch: float


def _set(
    lines: tuple[str, ...], font: Font, zone: Zone, piece: _Piece, arc_mm: float, largest_mm: float = inf
) -> TextLayout:
    ratio, lengths, taken_mm = stack_ratio(lines, font, piece.pitch), piece.lengths, piece.taken_mm
    width = max(map(font.width, lines))
    by_height = min(arc_mm, zone.across_mm) / ratio
    limit = "arc" if arc_mm <= zone.across_mm else "across"
    cap = min(zone.largest_mm, largest_mm)
    if by_height >= cap:
        by_height, limit = cap, "largest"
    per_mm = font.capital * zone.stretch / width if width else inf
    wanted = min(by_height, zone.preferred_mm)
    needed = (wanted - EPS) / per_mm + taken_mm
    length = lengths[bisect_left(lengths, needed, hi=len(lengths) - 1)]
    by_length = max(0.0, (length - taken_mm) * per_mm)
    if by_length < by_height:
        by_height, limit = by_length, "length"
    return TextLayout(
        lines,
        by_height,
        by_height * ratio,
        length,
        by_height / per_mm,
        limit,
        arc_mm > zone.read_mm and by_height * ratio > zone.read_mm + EPS,
        length - taken_mm,
        1 / per_mm,
    )


def type_size(capital_mm: float, font: Font, stretch: float, required_mm: float) -> float:
    """Return the em size [mm] along the line for a flat capital height [mm].

    Rounded down to 0.01 mm so that sheets share sizes, unless that would fall below what is
    required.
    """
    exact = capital_mm / (font.capital * stretch)
    rounded = int(exact * 100 + 1e-6) / 100
    return rounded if rounded * font.capital * stretch >= required_mm else round(exact, 6)
