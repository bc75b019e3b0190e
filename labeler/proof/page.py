"""The proof: one HTML file, no network, pictures inside; filtered by verdict, printed as it stands."""

from __future__ import annotations

from base64 import b64encode
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path

from labeler.files import write_whole
from labeler.job.check import Checked
from labeler.job.order import Track, untracked
from labeler.job.run import pieces_of
from labeler.layout.place import lay_out
from labeler.model import Fit, Stock
from labeler.proof.pictures import MarkerPictures, ReadingTrial, marker_pictures
from labeler.wording import sentence, sentences, sits_on

ALONE = Stock("proof", "reel", "sleeve", "a page for each piece")
"""Sleeves that do not fit are shown too, also those that are longer than a card takes."""

DPI = 200.0  # of the pictures: letters of 1.5 mm are 12 pixels high; project choice

STYLE = """
:root { --k: 0.75px; color-scheme: light; font: 13px/1.4 system-ui, sans-serif; }
body { margin: 0 auto; max-width: 1500px; padding: 16px; background: #f4f4f2; color: #1c1c1c; }
h1 { font-size: 20px; margin: 0 0 4px; }
form { position: sticky; top: 0; background: #f4f4f2; padding: 8px 0; display: flex; gap: 14px; flex-wrap: wrap;
  border-bottom: 1px solid #ccc; z-index: 1; }
main { display: grid; grid-template-columns: repeat(auto-fill, minmax(330px, 1fr)); gap: 10px; margin-top: 10px; }
article { background: #fff; border: 1px solid #d4d4d0; border-left: 6px solid #2e7d4f; border-radius: 4px;
  padding: 8px 10px; content-visibility: auto; contain-intrinsic-size: auto 250px; break-inside: avoid; }
article.tight { border-left-color: #c98a00; }
article.misfit { border-left-color: #b3261e; }
h2 { font-size: 13px; margin: 0 0 4px; display: flex; justify-content: space-between; gap: 8px; }
h2 span { font-weight: normal; color: #555; }
figure { margin: 6px 0; }
img { height: auto; max-width: 100%; outline: 1px solid #bbb; display: block; }
figcaption { color: #555; font-size: 11px; }
p { margin: 3px 0; }
.why { color: #8a1c16; }
.code { font-size: 11px; }
body:has(#fits:not(:checked)) article.fits, body:has(#tight:not(:checked)) article.tight,
body:has(#misfit:not(:checked)) article.misfit, body:has(#coded:checked) article:not(.coded) { display: none; }
@media print { :root { --k: 0.5px; font-size: 9px; } body { background: #fff; padding: 0; } form { display: none; }
  h2 { font-size: 9px; }  figure { margin: 3px 0; } figcaption, .code { font-size: 8px; }
  main { grid-template-columns: repeat(4, 1fr); gap: 2mm; } article { content-visibility: visible; padding: 4px; } }
"""
CLASSES = {"fits": "fits", "tight": "tight", "does not fit": "misfit"}


def write_proof(checked: Checked, out: Path, *, force: bool = False, track: Track = untracked) -> int:
    """Write the proof of a harness that was checked; return how many markers it shows.

    Markers that do not fit are shown too, as far as they can be drawn. ``track`` is handed the sheets as
    they are gone through. Raises `LabelerError` for a page that exists or cannot be written.
    """
    stocks = {**checked.stocks.by_name(), ALONE.name: ALONE}
    drawn = [fit for fit in checked.fits if fit.face is not None]
    misfits = {fit.marker.id for fit in checked.misfits}
    pieces = [
        replace(piece, stock=ALONE.name) if piece.marker in misfits and piece.group else piece  # of tube, by its size
        for piece in pieces_of(drawn, checked.stocks)
    ]
    sheets = lay_out(pieces, stocks)
    plain = sum(not fit.marker.lettered for fit in checked.fits)
    missing = [fit for fit in checked.fits if fit.face is None and fit.marker.lettered]
    harness = checked.harness
    title = " ".join(filter(None, ("Proof:", harness.name, harness.part_number, harness.revision)))
    pictures = marker_pictures(drawn, track(sheets, "pictures"), stocks, DPI)
    write_whole(out, _page(title, pictures, missing, plain).encode(), force=force)
    return len(drawn) + len(missing)


def _page(title: str, shown: Iterable[MarkerPictures], missing: Sequence[Fit], plain: int) -> str:
    """Return the whole page.

    ``missing`` are markers of which there is nothing to show, ``plain`` how many sleeves are only cut.
    """
    cards = [(one.fit.verdict, _card(one)) for one in shown]
    cards += [(fit.verdict, _article(fit, "")) for fit in missing]
    count = Counter(verdict for verdict, _ in cards)
    boxes = "".join(
        f'<label><input type="checkbox" id="{CLASSES[verdict]}" checked> {verdict} ({count[verdict]})</label>'
        for verdict in CLASSES
    )
    boxes += '<label><input type="checkbox" id="coded"> with a code only</label>'
    also = f"; {plain} plain sleeves are only cut" if plain else ""
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1"><style>{STYLE}</style></head>\n'
        f"<body><h1>{escape(title)}</h1><p>{len(cards)} markers{also}. Pictures: the pixels of the sheets, flat, and "
        f"around the part at both ends of what it may become, seen from the front; how the lettered side shrinks is "
        f"a model of the project's own.</p>\n"
        f'<form autocomplete="off">{boxes}</form>\n<main>\n'
        + "\n".join(card for _, card in cards)
        + "\n</main></body></html>\n"
    )


def _card(one: MarkerPictures) -> str:
    scale = "" if one.on_part else " (flat on the part too)"
    figures = _figure(one.flat, f"as printed{scale}")
    for end, outside, picture in one.on_part:
        figures += _figure(picture, f"{end}: on {outside:.2f} mm outside")
    return _article(one.fit, figures + _code(one.fit, one.trials))


def _figure(picture: bytes, caption: str) -> str:
    width, height = (int.from_bytes(picture[at : at + 4], "big") for at in (16, 20))  # of the PNG's header
    source = b64encode(picture).decode("ascii")
    image = f'<img width="{width}" height="{height}" alt="{escape(caption)}"'
    image += f' style="width:calc(var(--k) * {width})"'
    return f'<figure>{image} src="data:image/png;base64,{source}"><figcaption>{escape(caption)}</figcaption></figure>'


def _article(fit: Fit, inside: str) -> str:
    marker = fit.marker
    place = " ".join(filter(None, (marker.branch if marker.branch != marker.at else "", marker.at)))
    words = " | ".join(fit.lines[:2] or marker.text)
    on = fit.tube.name if fit.tube else fit.stock
    classes = CLASSES[fit.verdict] + (" coded" if fit.code else "")
    lines = [f"{marker.kind}, {on}" + (f", cut {fit.cut_length_mm:g} mm" if fit.tube else "")]
    if fit.capital:
        heights = _span(fit.capital.low, fit.capital.high)
        lines.append(f"capitals {heights} mm, {fit.capital.required:.2f} mm required")
    if fit.seat:
        lines.append(f"on {_span(fit.seat.text_on.low, fit.seat.text_on.high)} mm: {sits_on(fit.seat)}")
    facts = "".join(f"<p>{escape(line)}</p>" for line in lines)
    why = "".join(f'<p class="why">{escape(sentence(reason))}</p>' for reason in fit.reasons)
    ways = f"<p>what would do: {escape('; or '.join(sentences(fit.ways_out)))}</p>" if fit.ways_out else ""
    return (
        f'<article class="{classes}" id="{marker.id}"><h2>{escape(place)}: {escape(words)}'
        f"<span>{marker.id} · {fit.verdict}</span></h2>{inside}{facts}{why}{ways}</article>"
    )


def _span(low: float, high: float) -> str:
    return f"{low:.2f}" if f"{low:.2f}" == f"{high:.2f}" else f"{low:.2f} to {high:.2f}"


def _code(fit: Fit, trials: Sequence[ReadingTrial]) -> str:
    """Return what is known of the code: its size, where it stands, whether it was read in the pictures."""
    code = fit.code
    if code is None:
        return ""
    level = f", correction {code.level}" if code.level else ""
    lines = [f"{code.kind} {code.payload!r}: {code.size}{level}, module {code.module_mm:.3f} mm on the part"]
    if code.rows > 1 and code.arc_deg:
        lines.append(
            f"arc {code.arc_deg:.1f}°, grid {code.grid:.2f} modules off at {fit.marker.settings.code_aim_deg:g}°, "
            f"{code.axial:.3f} off square"
        )
    lines += _tries(trials)
    return "".join(f'<p class="code">{escape(line)}</p>' for line in lines)


def _tries(trials: Sequence[ReadingTrial]) -> Iterable[str]:
    """Yield one line where the code was read in every picture, else one for each."""
    spare = [one.unused for one in trials if one.unused is not None]
    least = f", at least {min(spare):.0%} of its error correction unused" if spare else ""
    if trials and all(one.read for one in trials):
        ends = "flat" if trials[0].end == "flat" else " and ".join(dict.fromkeys(one.end for one in trials))
        aims = " and ".join(dict.fromkeys(f"{one.aim_deg:g}°" for one in trials))
        yield f"read: {ends}" + ("" if ends == "flat" else f", {aims} off the middle") + least
        return
    for one in trials:
        where = one.end if one.end == "flat" else f"{one.end}, {one.aim_deg:g}° off the middle"
        yield f"{where}: {'read' if one.read else 'NOT READ'}"
