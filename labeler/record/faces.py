"""A face and a stock as text, and back: the form in which the record keeps what was drawn.

Form 1 of a face is one JSON array without blanks, in this order::

    [1, width, height, [run, ...], repeats, repeat pitch]
    [1, width, height, [run, ...], repeats, repeat pitch, [box, ...], symbol or null]
    [1, width, height, [run, ...], repeats, repeat pitch, [box, ...], symbol or null, passes]

The second is used only where there is a box or a symbol, the third where there are two passes. The
parts are

    run     [text, font, size, x, y, stretch], and the turn in degrees after it where it is not 0
    box     [x, y, width, height]
    symbol  [symbology, data, modules in a row, rows, "hexadecimal", x, y, module x, module y], and
            repeats, step x, step y after them where there are several

Lengths are whole nanometres and stretch is in millionths, so that no digit depends on how a
float is printed. The hexadecimal number is the symbol's modules, row after row, dark is 1.
A form that changes gets the next number; texts of older forms stay readable.

A stock is a JSON object of `Stock`'s fields by name with ``"form": 1``; the place of the layout
file is not part of what was drawn and is left out. A field that is missing has its default.
"""

from __future__ import annotations

import json
from dataclasses import fields, replace
from hashlib import blake2b
from json.encoder import encode_basestring_ascii as quoted
from math import isfinite
from typing import Any

from labeler.errors import LabelerError, Problem, SourceLocation
from labeler.model import Box, Face, Piece, Placed, Run, Sheet, Stock, Symbol

FORM = 1
MILLIONTH = 1e6  # nanometres in a millimetre
RECORD = SourceLocation("build record")


def digest_of(text: str) -> bytes:
    """Return the 16 bytes by which a face's or a stock's text is known."""
    return blake2b(text.encode(), digest_size=16).digest()


# ---------------------------------------------------------------- rounding


def rounded(value_mm: float) -> float:
    """Round a length to the nearest nanometre, mm; exact again when repeated, up to 1e9 mm."""
    return round(value_mm * MILLIONTH) / MILLIONTH


def canonical(face: Face) -> Face:
    """Round every length of a face to whole nanometres: draw this, and the record holds the same.

    Raises LabelerError for a face that cannot be kept: a length that is no number, say.
    """
    return face if _is_canonical(face) else face_from_text(face_to_text(face))


def _is_canonical(face: Face) -> bool:
    """Whether a face without boxes and code has whole nanometres throughout: the many wraps do."""
    if face.boxes or face.symbol is not None:
        return False
    lengths = [face.width_mm, face.height_mm, face.repeat_pitch_mm]
    for r in face.runs:
        lengths += (r.size_mm, r.x_mm, r.y_mm, r.stretch)
    return all(map(isfinite, lengths)) and [rounded(length) for length in lengths] == lengths


def canonical_sheet(sheet: Sheet) -> Sheet:
    """Return the sheet with canonical faces and places; what `Record.prepare` keeps, to the digit."""
    return replace(sheet, placed=tuple(map(_canonical_placed, sheet.placed)))


def _canonical_placed(p: Placed) -> Placed:
    x, y, face = rounded(p.x_mm), rounded(p.y_mm), canonical(p.piece.face)
    if face is p.piece.face:
        return p if x == p.x_mm and y == p.y_mm else Placed(p.piece, p.cell, x, y)
    piece = p.piece
    return Placed(Piece(piece.marker, face, piece.stock, piece.load, piece.label), p.cell, x, y)


# ---------------------------------------------------------------- face to text


def face_to_text(face: Face) -> str:
    """Return the face in form 1. Raises LabelerError for a length that is no number."""
    try:
        return _face_text(face)
    except (ValueError, OverflowError) as error:
        words = " ".join(run.text for run in face.runs)
        message = f'the face "{words}" cannot be kept: {error}'
        raise LabelerError(Problem(RECORD, message, "report its marker's file")) from error


def _face_text(face: Face) -> str:
    # Written by hand: one call per face must stay near two microseconds.
    m = MILLIONTH
    runs = ",".join(
        [
            f"[{quoted(r.text)},{quoted(r.font)},{round(r.size_mm * m)},"
            f"{round(r.x_mm * m)},{round(r.y_mm * m)},{round(r.stretch * m)}{f',{r.turn}' if r.turn else ''}]"
            for r in face.runs
        ]
    )
    text = (
        f"[{FORM},{round(face.width_mm * m)},{round(face.height_mm * m)},"
        f"[{runs}],{face.repeats},{round(face.repeat_pitch_mm * m)}"
    )
    if not face.boxes and face.symbol is None and face.passes == 1:
        return text + "]"
    boxes = ",".join(f"[{_whole(b.x_mm, b.y_mm, b.width_mm, b.height_mm)}]" for b in face.boxes)
    passes = f",{face.passes}" if face.passes != 1 else ""
    return f"{text},[{boxes}],{_symbol_text(face.symbol)}{passes}]"


def _whole(*lengths: float) -> str:
    return ",".join(str(round(length * MILLIONTH)) for length in lengths)


def _symbol_text(s: Symbol | None) -> str:
    if s is None:
        return "null"
    bits = "".join(s.rows)
    width = len(s.rows[0]) if s.rows else 0
    if not bits or len(bits) != width * len(s.rows) or bits.strip("01"):
        raise ValueError(f"the rows of the {s.symbology} symbol are not equally long rows of 0 and 1")
    place = _whole(s.x_mm, s.y_mm, s.module_x_mm, s.module_y_mm)
    if s.repeats != 1:
        place += f",{s.repeats},{_whole(s.step_x_mm, s.step_y_mm)}"
    return f'[{quoted(s.symbology)},{quoted(s.data)},{width},{len(s.rows)},"{int(bits, 2):x}",{place}]'


# ---------------------------------------------------------------- text to face


def face_from_text(text: str) -> Face:
    """Return the face that `face_to_text` wrote.

    Raises LabelerError where the text is damaged or of a form this version does not know.
    """
    try:
        form, *parts = json.loads(text)
        _check_form("face", form)
        return _face(parts)
    except (ValueError, TypeError) as error:
        raise damaged("a face", str(error)) from error


def _face(parts: list[Any]) -> Face:
    m = MILLIONTH
    width, height, runs, repeats, pitch, *more = parts
    absent: tuple[Any, ...] = ((), None, 1)
    boxes, symbol, passes = (*more, *absent[len(more) :])
    return Face(
        width / m,
        height / m,
        tuple(map(_run, runs)),
        int(repeats),
        pitch / m,
        tuple([Box(x / m, y / m, w / m, h / m) for x, y, w, h in boxes]),
        _symbol(symbol) if symbol else None,
        int(passes),
    )


def _run(parts: list[Any]) -> Run:
    text, font, size, x, y, stretch, *turned = parts
    (turn,) = turned or (0,)
    if turn not in (0, 90, 180, 270):
        raise ValueError(f"a line turned by {turn}")
    m = MILLIONTH
    return Run(text, font, size / m, x / m, y / m, stretch / m, turn)


def _symbol(parts: list[Any]) -> Symbol:
    symbology, data, width, count, modules, x, y, module_x, module_y, *repeat = parts
    repeats, step_x, step_y = repeat or (1, 0, 0)
    bits = f"{int(modules, 16):0{width * count}b}"
    rows = tuple(bits[start : start + width] for start in range(0, len(bits), width))
    m = MILLIONTH
    places = x / m, y / m, module_x / m, module_y / m
    return Symbol(symbology, data, rows, *places, int(repeats), step_x / m, step_y / m)


# ---------------------------------------------------------------- stock


def stock_to_text(stock: Stock) -> str:
    """Return the stock as drawn, as a JSON object with sorted keys; its `where` is left out."""
    kept = {f.name: getattr(stock, f.name) for f in fields(Stock) if f.name != "where"}
    return json.dumps({"form": FORM, **kept}, sort_keys=True, separators=(",", ":"))


def stock_from_text(text: str) -> Stock:
    """Return the stock that `stock_to_text` wrote.

    Raises LabelerError where the text is damaged or of a form this version does not know.
    """
    try:
        kept = json.loads(text)
        _check_form("stock", kept.pop("form"))
        return Stock(**kept)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise damaged("a stock", str(error)) from error


# ---------------------------------------------------------------- what can be wrong


def damaged(what: str, why: str) -> LabelerError:
    """Return the error for a part of the record that does not read back as it was written."""
    message = f"{what} in it does not read back as it was written ({why})"
    return LabelerError(Problem(RECORD, message, "restore the record from its latest copy"))


def _check_form(what: str, form: object) -> None:
    if form != FORM:
        message = f"a {what} in it is of form {form!r}, this version reads form {FORM}"
        raise LabelerError(Problem(RECORD, message, "use the version that wrote it, or a newer one"))
