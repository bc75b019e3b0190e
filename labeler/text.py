"""Type measured in ems: advances, capital height, stroke, ink box, missing glyphs.

Everything is measured from the outlines of the font file itself; nothing is believed from its
tables of metrics. One em is the type size; multiply by the size in mm.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from hashlib import blake2b
from importlib import resources
from pathlib import Path
from typing import Any

from labeler.errors import LabelerError, Problem, Where, nearest


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
    stand_in: tuple[str, ...] = ()

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
        return max(self.capital, *map(self.tops.__getitem__, line)) if line else self.capital

    def below(self, line: str) -> float:
        """Return how far a line's ink hangs under the baseline, in ems, 0 or more."""
        return -min(0.0, *map(self.bottoms.__getitem__, line)) if line else 0.0


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
    path, stand_in = _find(name)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _unusable(path, f"cannot be read ({error.strerror})") from error
    return _measure(name, path, data, stand_in)


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
    for other in font.stand_in:
        candidate = load_font(other)
        if not candidate.missing("".join(characters)):
            return candidate, lacking
    tried = ", ".join((font.name, *font.stand_in))
    signs = ", ".join(f"{c!r} (U+{ord(c):04X})" for c in lacking)
    raise LabelerError(
        Problem(
            Where(""),
            f"no glyph for {signs} in {tried}",
            "write it otherwise, or name a TTF file that has it",
        )
    )


def _find(name: str) -> tuple[Path, tuple[str, ...]]:
    entry = _font_table().get(name)
    if entry:
        folder = resources.files(entry["package"]) / "files" / entry["file"]
        return Path(str(folder)), tuple(entry["stand_in"])
    if name.lower().endswith((".ttf", ".otf")):
        return Path(name).expanduser(), ()
    near = nearest(name, font_names())
    fix = f"did you mean {near!r}?" if near else "known are " + ", ".join(font_names())
    raise LabelerError(Problem(Where(""), f"unknown font {name!r}", fix + ", or the path of a TTF file"))


@lru_cache(maxsize=1)
def _font_table() -> dict[str, dict[str, Any]]:
    return tomllib.loads((resources.files("labeler") / "data" / "fonts.toml").read_text("utf-8"))


def _unusable(path: Path, why: str) -> LabelerError:
    return LabelerError(Problem(Where(str(path)), f"font {why}", "choose a TTF file with TrueType outlines"))


def _measure(name: str, path: Path, data: bytes, stand_in: tuple[str, ...]) -> Font:
    from io import BytesIO

    from fontTools.ttLib import TTFont, TTLibError

    try:
        font = TTFont(BytesIO(data), lazy=True)
        glyf, widths, characters = font["glyf"], font["hmtx"].metrics, font.getBestCmap()
        em = float(font["head"].unitsPerEm)
        restricted = "OS/2" in font and font["OS/2"].fsType & 0x000F == 2
    except (TTLibError, KeyError, AssertionError, ValueError, OverflowError) as error:
        raise _unusable(path, "has no TrueType outlines") from error
    if restricted:
        raise _unusable(path, "forbids embedding (OS/2 fsType 2)")
    if characters is None or ord("H") not in characters:
        raise _unusable(path, "has no capital H to measure")
    advances, tops, bottoms = {}, {}, {}
    for code, glyph_name in characters.items():
        glyph, sign = glyf[glyph_name], chr(code)
        advances[sign] = widths[glyph_name][0] / em
        tops[sign] = getattr(glyph, "yMax", 0) / em
        bottoms[sign] = getattr(glyph, "yMin", 0) / em
    capital = glyf[characters[ord("H")]]
    return Font(
        name=name,
        path=path,
        digest=blake2b(data, digest_size=16).hexdigest(),
        capital=capital.yMax / em,
        capital_width=(capital.xMax - capital.xMin) / em,
        stroke=_stem(capital, glyf) / em,
        advances=advances,
        tops=tops,
        bottoms=bottoms,
        stand_in=stand_in,
    )


def _stem(glyph: Any, glyf: Any) -> float:
    """Width of the leftmost stem at a quarter of the height, from the straight sides of an H."""
    points, ends, _ = glyph.getCoordinates(glyf)
    level, crossings, first = glyph.yMax / 4, [], 0
    for last in ends:
        contour = points[first : last + 1]
        for (x1, y1), (x2, y2) in zip(contour, [*contour[1:], contour[0]], strict=True):
            if (y1 > level) != (y2 > level):
                crossings.append(x1 + (level - y1) * (x2 - x1) / (y2 - y1))
        first = last + 1
    crossings.sort()
    return float(crossings[1] - crossings[0])
