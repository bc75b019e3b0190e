"""Setting type into a zone: where to break a designation, how tall its capitals can be, how long."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate, pairwise
from math import inf, pi, radians, sqrt

from labeler.formulas.legibility import height_for_angle, height_for_dots
from labeler.formulas.shrink import Shrunk, lay_flat, limits, shrunk, wall_from_section
from labeler.model import Range, Settings, Tube
from labeler.text import Font

# ---------------------------------------------------------------- The zone print may fill on a seat


@dataclass(frozen=True, slots=True)
class Needed:
    """Capital heights on the finished part, mm."""

    required_mm: float
    preferred_mm: float
    largest_mm: float
    by: str


@dataclass(frozen=True, slots=True)
class Zone:
    """What flat print may be on one seat.

    ``read_mm`` and ``turn_mm`` are the tallest stacks of lines that are read without turning and
    with turning the part; ``across_mm`` what the stock takes; ``low`` and ``high`` the face's
    scale around the part; ``stretch`` how much taller than normal the letters are printed.
    ``required_mm``, ``preferred_mm`` and ``largest_mm`` are flat capital heights.
    """

    read_mm: float
    turn_mm: float
    across_mm: float
    low: float
    high: float
    stretch: float
    required_mm: float
    preferred_mm: float
    largest_mm: float
    needed: Needed
    arc_per_mm: float  # degrees of arc for one mm of flat stack, at most
    proportion: Range  # width over height of the H after shrinking
    stroke: Range  # width of a stroke over height of a capital after shrinking
    dots_mm: float  # least flat capital height that the printer can form
    least_size_mm: float  # least type size at which it forms the strokes


def needed_capital(distance_mm: float, settings: Settings) -> Needed:
    """Return the capital height asked for: the larger of the smallest allowed and the visual angle's."""
    return _needed(
        distance_mm,
        settings.min_capital_mm,
        settings.required_angle_arcmin,
        settings.preferred_angle_arcmin,
        settings.largest_angle_arcmin,
    )


@lru_cache(maxsize=256)
def _needed(distance: float, least: float, required: float, preferred: float, largest: float) -> Needed:
    by_angle = height_for_angle(distance, required)
    by = f"{required:g}' at {distance:g} mm" if by_angle >= least else "min_capital_mm"
    must = max(by_angle, least)
    want = max(height_for_angle(distance, preferred), must)
    return Needed(must, want, max(height_for_angle(distance, largest), want), by)


@dataclass(frozen=True, slots=True)
class Printer:
    """What the printer can form: fewest dots of a capital and of a stroke, dots per inch."""

    dots_per_capital: float
    dots_per_stroke: float
    dpi: float


def printer_of(settings: Settings) -> Printer:
    """Return what the printer can form."""
    return Printer(settings.dots_per_capital, settings.dots_per_stroke, settings.printer_dpi)


def least_size(printer: Printer, font: Font, stretch: float) -> float:
    """Return the least type size [mm] at which no stroke is thinner than the printer's fewest dots.

    Upright strokes are not stretched, level ones are: the thinner of the two counts.
    """
    return height_for_dots(printer.dots_per_stroke, printer.dpi) / (font.stroke * min(1.0, stretch))


@dataclass(frozen=True, slots=True)
class TubeZone:
    """A zone on a tube, with the tube's own figures for the report."""

    zone: Zone
    shrunk: Shrunk
    lay_flat_mm: float


@dataclass(frozen=True, slots=True)
class _Aims:
    """What the settings ask of print on a tube."""

    heating: str
    lettered_share: float
    over: tuple[float, float]  # by how much tube may be larger than its sizes, supplied and recovered
    edge_margin_mm: float
    arcs_deg: tuple[float, float]  # read without turning, and with
    needed: Needed
    printer: Printer
    widest: float


def zone_on_tube(tube: Tube, on_mm: Range, settings: Settings, distance_mm: float, font: Font) -> TubeZone:
    """Return the zone of a tube that closes on a range of diameters; its face printed flat.

    The pre-stretch makes the letters come out in the font's own proportion in the middle
    (geometric mean) of all they may become, unless that would make them wider than allowed.
    """
    aims = _Aims(
        settings.heating,
        settings.lettered_share,
        (settings.supplied_over, settings.recovered_under),
        settings.edge_margin_mm,
        (settings.reading_arc_deg, settings.turning_arc_deg),
        needed_capital(distance_mm, settings),
        printer_of(settings),
        settings.widest_letter,
    )
    return _zone_on_tube(tube, on_mm, aims, font)


@lru_cache(maxsize=4096)
def _zone_on_tube(tube: Tube, on_mm: Range, aims: _Aims, font: Font) -> TubeZone:
    on = shrunk(limits(tube, *aims.over), on_mm, aims.heating, aims.lettered_share)
    own, printer, needed = font.capital_width / font.capital, aims.printer, aims.needed
    stretch = max(sqrt(on.squeeze.low * on.squeeze.high), own * on.squeeze.high / aims.widest)
    section = (tube.recovered_mm + tube.wall_mm) * tube.wall_mm * (1 + tube.longitudinal_change)
    flat = tube.lay_flat_mm or lay_flat(tube.supplied_mm, wall_from_section(tube.supplied_mm, section))
    low, size = on.face_scale.low, least_size(printer, font, stretch)
    dots = height_for_dots(printer.dots_per_capital, printer.dpi)
    least, stroke = max(dots, size * font.capital * stretch), font.stroke / font.capital / stretch
    zone = Zone(
        read_mm=radians(aims.arcs_deg[0]) / on.arc_per_mm,
        turn_mm=radians(aims.arcs_deg[1]) / on.arc_per_mm,
        across_mm=flat - 2 * aims.edge_margin_mm,
        low=low,
        high=on.face_scale.high,
        stretch=stretch,
        required_mm=max(needed.required_mm / low, least),
        preferred_mm=max(needed.preferred_mm / low, least),
        largest_mm=max(needed.largest_mm / low, least),
        needed=needed,
        arc_per_mm=on.arc_per_mm * 180 / pi,
        proportion=Range(own * on.squeeze.low / stretch, own * on.squeeze.high / stretch),
        stroke=Range(stroke * on.squeeze.low, stroke * on.squeeze.high),
        dots_mm=dots,
        least_size_mm=size,
    )
    return TubeZone(zone, on, flat)


def zone_around(on: TubeZone, settings: Settings, font: Font) -> Zone:
    """Return the zone of lines that run around the tube; ``across_mm`` is left open: it is the piece's length.

    The letters' width now shrinks with the face, around, and their height with the tube, along: the
    squeeze acts the other way. They are pre-stretched along the line, so that they come out in the
    font's own proportion in the middle of all they may become, but never wider than allowed.
    """
    squeeze, along, needed = on.shrunk.squeeze, on.shrunk.along, on.zone.needed
    own, stem = font.capital_width / font.capital, font.stroke / font.capital
    wider = min(sqrt(squeeze.low * squeeze.high), settings.widest_letter * squeeze.low / own)
    size = least_size(printer_of(settings), font, wider)
    least = max(on.zone.dots_mm, size * font.capital)
    return replace(
        on.zone,
        read_mm=inf,
        turn_mm=inf,
        across_mm=inf,
        low=along.low,
        high=along.high,
        stretch=1 / wider,
        required_mm=max(needed.required_mm / along.low, least),
        preferred_mm=max(needed.preferred_mm / along.low, least),
        largest_mm=max(needed.largest_mm / along.low, least),
        proportion=Range(own * wider / squeeze.high, own * wider / squeeze.low),
        stroke=Range(stem * wider / squeeze.high, stem * wider / squeeze.low),
        least_size_mm=size,
    )


def zone_on_film(outside_mm: float | None, across_mm: float, settings: Settings, needed: Needed, font: Font) -> Zone:
    """Return the zone of print on film or paper that does not shrink, ``across_mm`` high.

    ``outside_mm`` is the diameter over the film that the print lies on, ``d + 2 t`` of the thinnest
    wire, which shows the largest arc; None: it lies flat.
    """
    arcs = settings.reading_arc_deg, settings.turning_arc_deg
    return _zone_on_film(outside_mm, across_mm, arcs, needed, printer_of(settings), font)


@lru_cache(maxsize=4096)
def _zone_on_film(
    outside_mm: float | None, across_mm: float, arcs: tuple[float, float], needed: Needed, printer: Printer, font: Font
) -> Zone:
    arc_per_mm = 2 / outside_mm if outside_mm else 0.0
    read, turn = (radians(arc) / arc_per_mm if arc_per_mm else inf for arc in arcs)
    size, dots = least_size(printer, font, 1.0), height_for_dots(printer.dots_per_capital, printer.dpi)
    least = max(dots, size * font.capital)
    proportion, stroke = font.capital_width / font.capital, font.stroke / font.capital
    return Zone(
        read_mm=read,
        turn_mm=turn,
        across_mm=across_mm,
        low=1.0,
        high=1.0,
        stretch=1.0,
        required_mm=max(needed.required_mm, least),
        preferred_mm=max(needed.preferred_mm, least),
        largest_mm=max(needed.largest_mm, least),
        needed=needed,
        arc_per_mm=arc_per_mm * 180 / pi,
        proportion=Range(proportion, proportion),
        stroke=Range(stroke, stroke),
        dots_mm=dots,
        least_size_mm=size,
    )


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
class Setting:
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
) -> Setting:
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
    best = max(each, key=_merit(zone)) if len(each) > 1 else each[0]
    if best.capital_mm >= zone.required_mm - EPS:
        return best
    turned = [_set(lines, font, zone, piece, zone.turn_mm, zone.required_mm) for lines in options]
    reaching = [s for s in turned if s.capital_mm >= zone.required_mm - EPS]
    return min(reaching, key=lambda s: (s.stack_mm, s.length_mm)) if reaching else best


def on_one_line(text: str, font: Font, zone: Zone, length_mm: float, taken_mm: float) -> Setting | None:
    """Return the setting on one line of the shortest piece, if nothing could make its capitals taller.

    That is so where the length is not what limits them: more lines only take height away. None
    where the length does limit, or the part would have to be turned.
    """
    line = text.strip()
    width, (above, below) = font.width(line), font.ink(line)
    ratio = (above + below) / font.capital
    height, limit = zone.across_mm / ratio, "across"
    if zone.read_mm <= zone.across_mm:
        height, limit = zone.read_mm / ratio, "arc"
    if height >= zone.largest_mm:
        height, limit = zone.largest_mm, "largest"
    length = height * width / (font.capital * zone.stretch)
    if length > length_mm - taken_mm or height < zone.required_mm - EPS:
        return None
    return Setting((line,), height, height * ratio, length_mm, length, limit, False)


def _merit(zone: Zone) -> Callable[[Setting], tuple[float, float, int]]:
    def merit(setting: Setting) -> tuple[float, float, int]:
        return (
            round(min(setting.capital_mm, zone.preferred_mm), 4),
            -setting.length_mm,
            -len(setting.lines),
        )

    return merit


@dataclass(frozen=True, slots=True)
class _Piece:
    """The lengths that may be chosen, what print may not use of them [mm], and the pitch of lines in capitals."""

    lengths: Sequence[float]
    taken_mm: float
    pitch: float


def _set(
    lines: tuple[str, ...], font: Font, zone: Zone, piece: _Piece, arc_mm: float, largest_mm: float = inf
) -> Setting:
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
    return Setting(
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
