"""Draw a branch: the whole of it to scale along its length, then each end, as large as the page allows.

All is in millimetres; the canvas is scaled to points by whoever puts the picture on a page.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from labeler.draw.document import embedded_name, moved
from labeler.draw.typeset import BOLD, PLAIN, draw_words, shortened, text_width
from labeler.model import Face, Fit, Range, Run
from labeler.work.branch_pages import USUAL_EDGE_MM, DrawnEnd, DrawnMarker, Picture

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


SCALES = (1, 2, 5, 10, 15, 20, 25, 50, 100, 200, 500, 1000)
HEAD_MM, WORDS_MM, LINE_MM = 14.0, 2.3, 0.2
OVERVIEW_MM, DETAIL_MM, CAPTIONS_MM = 19.0, 14.0, 6.0
BETWEEN_MM = 6.0
DIMENSION_MM = 1.2 + 0.6 + WORDS_MM  # a dimension above a sleeve: its distance, its ticks, its words
MIN_THICKNESS_MM = 0.8  # thinner wires would not be seen
HATCH_MM = 1.3


def scale_for(length_mm: float, space_mm: float) -> int:
    """Return the N of 1 : N at which a length goes into a space: the first of the scales of drawings at which it does.

    >>> scale_for(2700, 158)
    20
    """
    return next((scale for scale in SCALES if length_mm <= space_mm * scale), round(length_mm / space_mm) + 1)


def picture_heights(picture: Picture) -> tuple[float, ...]:
    """Return how high the parts of the drawing are, mm: the whole branch, then its ends two by two."""
    rows = -(-len(picture.ends) // 2)
    return OVERVIEW_MM, *(_detail_height(picture.ends[2 * row : 2 * row + 2]) for row in range(rows))


def draw_part(canvas: Canvas, picture: Picture, part: int, width_mm: float) -> None:
    """Draw a part, counted from 0, its lower left corner at the origin, on a canvas whose unit is the millimetre."""
    pencil = _Pencil(canvas)
    if not part:
        _overview(pencil, picture, width_mm, OVERVIEW_MM / 2)
        return
    column = (width_mm - BETWEEN_MM) / 2
    alone = len(picture.ends) == 1
    for second, end in enumerate(picture.ends[2 * part - 2 : 2 * part]):
        at_right = picture.turned if alone else bool(second)
        x, width = (0.0, width_mm) if alone else (column + BETWEEN_MM if second else 0.0, column)
        _detail(_EndView(pencil, width, at_right, x), picture, end)


def _detail_height(ends: tuple[DrawnEnd, ...]) -> float:
    """Return the height of a row of ends, at most what it takes where they are drawn 1 : 1."""
    half = max(DETAIL_MM, max(map(_thickness, ends)) + 4) / 2
    return CAPTIONS_MM + half + max(half, *(_caption_mm(end, _thickness(end)) + WORDS_MM + 0.3 for end in ends))


def _caption_mm(end: DrawnEnd, thickness: float) -> float:
    """Return how far above the middle an end's caption stands: above all that is drawn there, and its dimension."""
    named = 4.4 if end.kind == "connector" else 6.2  # the other kinds have their name there
    measured = DIMENSION_MM if end.marker and end.marker.past_edge_mm else 0.0
    return max(named, thickness / 2 + measured + 0.8)


def _thickness(end: DrawnEnd) -> float:
    return max(end.covered_mm, end.bare_mm, end.marker.outside_mm if end.marker else 0.0)


# ---------------------------------------------------------------- the whole branch


def _overview(pencil: _Pencil, picture: Picture, width: float, middle: float) -> None:
    """Draw the branch from one connector to the other; thicknesses are not to scale here."""
    space = width - 2 * HEAD_MM
    length = picture.length_mm
    scale = scale_for(length, space) if length else None
    long = length / scale if length and scale else space
    left = (width - long) / 2
    ends = (picture.ends[0], picture.ends[1] if len(picture.ends) > 1 else None)
    pencil.bar(left, middle - 0.5, long, 1.0, grey=0.75)
    if picture.covering:
        pencil.hatched(left, middle - 0.9, long, 1.8)
    for at_right, end in enumerate(ends if len(picture.ends) > 1 or not picture.turned else ends[::-1]):
        x = left + long if at_right else left
        if end is None:
            pencil.words("to where the wires part", x, middle + 1.5, "right" if at_right else "left")
            continue
        pencil.head(end, x, middle, right=bool(at_right))
        if end.marker and scale:
            near, size = end.marker.edge_mm / scale, end.marker.length_mm / scale
            pencil.box(x - near - size if at_right else x + near, middle - 1.3, size, 2.6)
    if length and scale:
        pencil.dimension(left, left + long, middle - 5.5, f"{round(length, 1):g} mm; drawn 1 : {scale}")
    else:
        pencil.broken(left + long / 2, middle)
        pencil.words("NOT TO SCALE: branch length not given", left + long / 2, middle - 5, "middle")


# ---------------------------------------------------------------- one end


@dataclass(frozen=True, slots=True)
class _EndView:
    """Where the detail of one end is drawn. What lies at ``mm`` from the connector stands at `at`."""

    pencil: _Pencil
    width: float
    right: bool  # the connector is on the right
    x: float

    def at(self, mm: float) -> float:
        """Return the place on the page of what lies so far from the connector, as drawn."""
        return self.x + self.width - HEAD_MM - mm if self.right else self.x + HEAD_MM + mm

    def span(self, near: float, far: float) -> tuple[float, float]:
        """Return left and right edge of what lies from ``near`` to ``far`` from the connector, as drawn."""
        left = min(self.at(near), self.at(far))
        return left, left + (far - near)


def _detail(view: _EndView, picture: Picture, end: DrawnEnd) -> None:
    pencil, marker = view.pencil, end.marker
    free = view.width - HEAD_MM - 2
    scale = scale_for(marker.edge_mm + marker.length_mm + 8 if marker else 50.0, free)
    middle = CAPTIONS_MM + max(DETAIL_MM, _thickness(end) + 4) / 2
    bare = max(end.bare_mm / scale, MIN_THICKNESS_MM)
    pencil.bar(view.span(0, free)[0], middle - bare / 2, free, bare, grey=0.85)
    if picture.covering:
        edge = (marker.edge_mm + marker.past_edge_mm) / scale if marker else 0.0
        covered = max(end.covered_mm / scale, bare + 0.4)
        pencil.hatched(view.span(edge, free)[0], middle - covered / 2, free - edge, covered)
    pencil.head(end, view.at(0), middle, right=view.right)
    side = "right" if view.right else "left"
    if marker:
        _marker(view, marker, middle, scale)
    elif end.absent:
        pencil.words("its marker was left out", view.at(USUAL_EDGE_MM / scale), middle + 3.2, side, bold=True)
    x = view.x + view.width if view.right else view.x
    above = _caption_mm(end, max(_thickness(end) / scale, bare))
    caption = f", drawn 1 : {scale}"
    name = shortened(end.at, view.width / WORDS_MM - text_width(caption, BOLD), BOLD)
    pencil.words(name + caption, x, middle + above, side, bold=True)


def _marker(view: _EndView, marker: DrawnMarker, middle: float, scale: int) -> None:
    """Draw a marker with its text, and its dimensions."""
    pencil, fit = view.pencil, marker.fit
    near, far = marker.edge_mm / scale, (marker.edge_mm + marker.length_mm) / scale
    thickness = max(marker.outside_mm / scale, MIN_THICKNESS_MM)
    left, right = view.span(near, far)
    pencil.box(left, middle - thickness / 2, far - near, thickness)
    # The text stands on its head when the branch lies as drawn: its line runs to the left.
    turned = (fit.marker.settings.sleeve.reads == "towards connector") != view.right
    pencil.text_of(fit, (left + (far - near) / 2, middle), scale, turned=turned)
    below = middle - thickness / 2 - 2.6
    pencil.dimension(*view.span(0, near), below, f"{marker.edge_mm:g}" if marker.asked else "not specified")
    pencil.dimension(left, right, below, f"{marker.length_mm:.0f} mm after shrinking" if fit.sections else "")
    if marker.past_edge_mm:
        bare = view.span(near, near + marker.past_edge_mm / scale)
        pencil.dimension(*bare, middle + thickness / 2 + 1.2, f"{marker.past_edge_mm:.0f}", above=True)


# ---------------------------------------------------------------- the pencil


class _Pencil:
    """Draws in millimetres."""

    def __init__(self, canvas: Canvas) -> None:
        self._canvas = canvas
        canvas.setLineWidth(LINE_MM)

    def bar(self, x: float, y: float, width: float, height: float, *, grey: float) -> None:
        """Wires: a grey bar without an outline."""
        self._canvas.setFillGray(grey)
        self._canvas.rect(x, y, width, height, stroke=0, fill=1)

    def box(self, x: float, y: float, width: float, height: float) -> None:
        """A sleeve or label: white with an outline."""
        self._canvas.setFillGray(1)
        self._canvas.rect(x, y, width, height, stroke=1, fill=1)

    def hatched(self, x: float, y: float, width: float, height: float) -> None:
        """A covering: crossed lines, as it is woven."""
        canvas = self._canvas
        canvas.saveState()
        clip = canvas.beginPath()
        clip.rect(x, y, width, height)
        canvas.setFillGray(0.95)
        canvas.rect(x, y, width, height, stroke=0, fill=1)
        canvas.clipPath(clip, stroke=0, fill=0)
        canvas.setLineWidth(LINE_MM / 2)
        canvas.setStrokeGray(0.4)
        lines = []
        for step in range(int((width + height) / HATCH_MM) + 1):
            start = x - height + step * HATCH_MM
            lines += [(start, y, start + height, y + height), (start, y + height, start + height, y)]
        canvas.lines(lines)
        canvas.restoreState()
        canvas.lines([(x, y, x + width, y), (x, y + height, x + width, y + height)])

    def head(self, end: DrawnEnd, x: float, middle: float, *, right: bool) -> None:
        """What a branch ends at, with its name; ``right``: it lies to the right of ``x``."""
        canvas, way = self._canvas, 1 if right else -1
        name = shortened(end.at, (HEAD_MM - 3 if end.kind == "connector" else HEAD_MM) / WORDS_MM, BOLD)
        canvas.setFillGray(1)
        if end.kind == "ring terminal":
            canvas.circle(x + way * 2.4, middle, 2.4)
            canvas.circle(x + way * 2.4, middle, 1.1)
        elif end.kind == "splice":
            canvas.rect(x if right else x - 5, middle - 0.8, 5, 1.6, fill=1)
        elif end.kind == "breakout":
            canvas.setFillGray(0)
            canvas.circle(x, middle, 0.9, fill=1)
        elif end.kind == "connector":
            width = HEAD_MM - 2
            canvas.rect(x if right else x - width, middle - 3.2, width, 6.4, fill=1)
            self.words(name, x + way * width / 2, middle - 0.8, "middle", bold=True)
            return
        self.words(name, x + way * 3, middle + 3.4, "middle", bold=True)

    def dimension(self, left: float, right: float, y: float, words: str, *, above: bool = False) -> None:
        """A line with ticks at its ends, and what it measures."""
        self._canvas.setStrokeGray(0.35)
        self._canvas.lines([(left, y, right, y), (left, y - 0.6, left, y + 0.6), (right, y - 0.6, right, y + 0.6)])
        self._canvas.setStrokeGray(0)
        self.words(words, (left + right) / 2, y + 0.6 if above else y - WORDS_MM - 0.2, "middle")

    def broken(self, x: float, middle: float) -> None:
        """Two slanting lines: something is left out here."""
        self._canvas.setFillGray(1)
        self._canvas.rect(x - 0.9, middle - 2, 1.8, 4, stroke=0, fill=1)
        self._canvas.lines([(x - 1.6, middle - 2, x - 0.2, middle + 2), (x + 0.2, middle - 2, x + 1.6, middle + 2)])

    def words(self, text: str, x: float, y: float, side: str, *, bold: bool = False) -> None:
        """A few words from, around or up to a place."""
        name = BOLD if bold else PLAIN
        x -= {"left": 0.0, "middle": 0.5, "right": 1.0}[side] * text_width(text, name) * WORDS_MM
        self._canvas.setFillGray(0)
        draw_words(self._canvas, text, x, y, WORDS_MM, name)

    def text_of(self, fit: Fit, middle: tuple[float, float], scale: int, *, turned: bool) -> None:
        """The lines of a marker as they come to lie, in the middle of what shrinking may make of them."""
        canvas = self._canvas
        if fit.face is None or not fit.face.runs:
            return
        with moved(canvas, *middle):
            if turned:
                canvas.rotate(180)
            canvas.scale(
                _middle(fit.surface.longitudinal_scale) / scale, _middle(fit.surface.marked_side_scale) / scale
            )
            canvas.setFillGray(0)
            for run, x, y in _centred(fit, fit.face):
                with moved(canvas, x, y):
                    canvas.scale(1, run.stretch)  # always across the piece, whichever way the line runs
                    canvas.rotate(run.turn)
                    canvas.setFont(embedded_name(run.font), run.size_mm)
                    canvas.drawString(0, 0, run.text)


def _centred(fit: Fit, face: Face) -> Iterator[tuple[Run, float, float]]:
    """Yield the lines with their places about the middle of what is drawn, mm, before shrinking."""
    centre = face.height_mm / 2
    if fit.marker.kind not in ("sleeve", "insert"):
        ys = [run.y_mm for run in face.runs]
        centre = (min(ys) + max(ys) + (fit.capital_height_mm.printed if fit.capital_height_mm else 0.0)) / 2
    for run in face.runs:
        yield run, run.x_mm - face.width_mm / 2, run.y_mm - centre


def _middle(scale: Range | None) -> float:
    return (scale.low + scale.high) / 2 if scale else 1.0
