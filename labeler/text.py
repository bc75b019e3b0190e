"""Type measured in ems: advances, capital height, stroke, ink box, missing glyphs.

Everything is measured from the outlines of the font file itself; nothing is believed from its
tables of metrics. One em is the type size; multiply by the size in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from importlib import resources
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation, refuse, suggestion
from labeler.tables.document import TABLE, TEXT, TEXTS, Form, Key, load, read_table, shipped


@dataclass(frozen=True, slots=True, eq=False)
class Font:
    """A typeface. ``advances``, ``tops`` and ``bottoms`` are in ems, by character."""

    name: str
    path: Path
    digest: str
    capital: float  # height of the H
    capital_width: float  # ink width of the H
    stroke: float  # width of the H's left stem
    advances: Mapping[str, float]
    tops: Mapping[str, float]
    bottoms: Mapping[str, float]
    fallback: tuple[str, ...] = ()

    def width(self, text: str) -> float:
        """Return the advance width of a line in ems; KeyError for a character the font lacks."""
        return sum(map(self.advances.__getitem__, text))

    def missing(self, text: str) -> str:
        """Return the characters of ``text`` that the font lacks, each once, in order."""
        if self.advances.keys() >= set(text):
            return ""
        return "".join(dict.fromkeys(c for c in text if c not in self.advances))

    def above(self, line: str) -> float:
        """Return how far a line's ink rises over the baseline, in ems, at least a capital."""
        return self.ink(line)[0]

    def below(self, line: str) -> float:
        """Return how far a line's ink hangs under the baseline, in ems, 0 or more."""
        return self.ink(line)[1]

    def ink(self, line: str) -> tuple[float, float]:
        """Return how far a line's ink rises over the baseline and hangs under it, in ems."""
        return _ink(self, line)

    def stack(self, lines: Sequence[str]) -> tuple[float, float]:
        """Return how far the first line's ink rises and the last line's hangs, over and under their baselines, ems."""
        first, last = _ink(self, lines[0]), _ink(self, lines[-1])
        return first[0], last[1]


@lru_cache(maxsize=512)
def _ink(font: Font, line: str) -> tuple[float, float]:
    """How far a line's ink rises and hangs, in ems: asked for several times while it is set."""
    if not line:
        return font.capital, 0.0
    high, low = max(map(font.tops.__getitem__, line)), min(map(font.bottoms.__getitem__, line))
    return max(font.capital, high), -min(0.0, low)


def font_names() -> tuple[str, ...]:
    """Return the names of the typefaces that come with the program."""
    return tuple(_font_table())


@lru_cache(maxsize=32)
def load_font(name: str) -> Font:
    """Return a typeface by its name in the font table, or by the path of a TTF file.

    Raises
    ------
    LabelerError
        The name is not known, or the file cannot be used: no TrueType outlines, no H,
        embedding forbidden.
    """
    entry = _font_table().get(name)
    if entry is None and not name.lower().endswith((".ttf", ".otf")):
        fix = suggestion(name, font_names(), f"known are {', '.join(font_names())}")
        raise LabelerError(Problem(SourceLocation(""), f"unknown font {name!r}", fix + ", or the path of a TTF file"))
    inside = resources.files(entry["package"]) / "files" / entry["file"] if entry else ""
    path, fallback = (Path(str(inside)), entry["fallback"]) if entry else (Path(name).expanduser(), ())
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _unusable(path, f"cannot be read ({error.strerror})") from error
    return _measure(name, path, data, fallback)


DARK_ON_LIGHT, LIGHT_ON_DARK = 1 / 6, 1 / 7.5
"""Stroke over height that reads best: 1/6, and 1/7 to 1/8 (DOD-HDBK-791 6-5.3.2.3)."""


@lru_cache(maxsize=256)
def weight_for(name: str, light_on_dark: bool) -> str:
    """Return the face of a design whose strokes are nearest to 1/6 of the height, or to 1/7.5 light on dark.

    A name that stands for itself alone (a weight, a file) is returned as it is.
    """
    weights = _font_table().get(name, {}).get("weights", [name])
    target = LIGHT_ON_DARK if light_on_dark else DARK_ON_LIGHT

    def off(weight: str) -> float:
        font = load_font(weight)
        return abs(font.stroke / font.capital - target)

    return str(min(weights, key=off)) if len(weights) > 1 else name


@lru_cache(maxsize=4096)
def font_for(name: str, characters: frozenset[str]) -> tuple[Font, str]:
    """Return a font that has all the characters, and those the asked-for font lacks (``""``: none).

    The stand-ins of the font are tried in order. Raises `LabelerError` that names the
    characters where none will do.
    """
    font = load_font(name)
    lacking = font.missing("".join(sorted(characters)))
    if not lacking:
        return font, ""
    for other in font.fallback:
        candidate = load_font(other)
        if not candidate.missing("".join(characters)):
            return candidate, lacking
    tried = ", ".join((font.name, *font.fallback))
    signs = ", ".join(f"{c!r} (U+{ord(c):04X})" for c in lacking)
    fix = "write it otherwise, or name a TTF file that has it"
    raise LabelerError(Problem(SourceLocation(""), f"no glyph for {signs} in {tried}", fix))


FONT = Form(
    {
        "package": Key(TEXT, "package that carries the file", "fontpkg_atkinson_hyperlegible", required=True),
        "file": Key(TEXT, "name of the file", "AtkinsonHyperlegible-Regular.ttf", required=True),
        "weights": Key(TEXTS, "faces of one design, of which the one whose strokes read best is taken"),
        "fallback": Key(TEXTS, "fonts that are tried, in order, where characters are lacking", required=True),
    },
    named_by="",
)
FONTS = Form({}, other=Key(TABLE, "a typeface, by its name", form=FONT))


@lru_cache(maxsize=1)
def _font_table() -> dict[str, Mapping[str, Any]]:
    read = read_table(load(shipped("data", "fonts.toml"), "fonts.toml"), FONTS)
    refuse(read.all_problems())
    return {name: row.values for name, row in read.values.items()}


def _unusable(path: Path, why: str) -> LabelerError:
    return LabelerError(Problem(SourceLocation(str(path)), f"font {why}", "choose a TTF file with TrueType outlines"))


def _measure(name: str, path: Path, data: bytes, fallback: tuple[str, ...]) -> Font:
    from io import BytesIO
    from logging import ERROR, getLogger

    getLogger("fontTools").setLevel(ERROR)  # what it warns of is either refused here or of no account
    try:
        font = _from_outlines(name, path, data, fallback)
        if not fallback:  # a file of the user's own: whether it can be drawn is asked now, not while drawing
            from reportlab.pdfbase.ttfonts import TTFontFile

            TTFontFile(BytesIO(data)).makeSubset(list(range(32, 127)))  # raises what the drawing library cannot embed
    except LabelerError as error:
        raise _unusable(path, error.problems[0].message) from error
    except Exception as error:  # a damaged table may raise anything at all
        what = " ".join(str(error).split())[:80] or type(error).__name__
        raise _unusable(path, f"is damaged, or has no TrueType outlines ({what})") from error
    return font


def _from_outlines(name: str, path: Path, data: bytes, fallback: tuple[str, ...]) -> Font:
    """Return a font with the height and width of the H, its stem, and every character's advance, top and bottom."""
    from io import BytesIO

    from fontTools.ttLib import TTFont

    font = TTFont(BytesIO(data), lazy=True)
    glyphs, widths, characters = font["glyf"], font["hmtx"].metrics, font.getBestCmap()
    em = float(font["head"].unitsPerEm)
    if "OS/2" in font and font["OS/2"].fsType & 0x000F == 2:
        raise LabelerError(Problem(SourceLocation(""), "forbids embedding (OS/2 fsType 2)"))
    capital = glyphs[characters[ord("H")]] if characters and ord("H") in characters else None
    if capital is None or getattr(capital, "yMax", 0) <= 0:
        raise LabelerError(Problem(SourceLocation(""), "has no capital H to measure"))
    advances, tops, bottoms = {}, {}, {}
    for code, glyph_name in characters.items():
        glyph, sign = glyphs[glyph_name], chr(code)
        advances[sign] = widths[glyph_name][0] / em
        tops[sign] = getattr(glyph, "yMax", 0) / em
        bottoms[sign] = getattr(glyph, "yMin", 0) / em
    points, ends, _ = capital.getCoordinates(glyphs)
    return Font(
        name=name,
        path=path,
        digest=blake2b(data, digest_size=16).hexdigest(),
        capital=capital.yMax / em,
        capital_width=(capital.xMax - capital.xMin) / em,
        stroke=_stem(points, ends, capital.yMax / 4) / em,
        advances=advances,
        tops=tops,
        bottoms=bottoms,
        fallback=fallback,
    )


def _stem(points: Sequence[tuple[float, float]], ends: Iterable[int], level: float) -> float:
    """Return the width of the leftmost stem at a height, from the straight sides of an H.

    ``points`` are those of its contours, ``ends`` the number of the last one of each.
    """
    crossings, first = [], 0
    for last in ends:
        contour = points[first : last + 1]
        for (x1, y1), (x2, y2) in zip(contour, [*contour[1:], contour[0]], strict=True):
            if (y1 > level) != (y2 > level):
                crossings.append(x1 + (level - y1) * (x2 - x1) / (y2 - y1))
        first = last + 1
    crossings.sort()
    return float(crossings[1] - crossings[0])
