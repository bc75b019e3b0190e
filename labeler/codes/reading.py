"""Reading codes from pictures, with another library than those that make QR and bars."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

FORMATS = {"QR": "QRCodeModel2", "Data Matrix": "DataMatrix", "Code 128": "Code128", "Code 39": "Code39Std"}
"""By kind; the family name of QR would also take its small relatives, which misread damaged symbols."""

MOST_AT_ONCE = 255  # symbols that the library finds in one picture


@dataclass(frozen=True, slots=True)
class DecodedCode:
    """A symbol that was read: its kind, text, and the share of its error correction that was not needed."""

    kind: str
    text: str
    unused: float | None = None  # None where the kind has none


def read_codes(picture: Any, kinds: tuple[str, ...] = tuple(FORMATS)) -> tuple[DecodedCode, ...]:
    """Return the symbols of these kinds in a picture: an array of greys, rows from the top.

    Compare the text with what was expected: a reader that is given a damaged symbol may make one up.
    """
    import zxingcpp

    only = zxingcpp.BarcodeFormats([getattr(zxingcpp.BarcodeFormat, FORMATS[kind]) for kind in kinds])
    names = {
        "QRCode": "QR",
        "Code39": "Code 39",
        **{FORMATS[kind]: kind for kind in kinds},
    }  # it answers with the family
    found = []
    for one in zxingcpp.read_barcodes(picture, only):
        kind = names.get(one.format.name, one.format.name)
        unused = one.extra.get("UEC") if isinstance(one.extra, dict) else None
        found.append(DecodedCode(kind, one.text, float(unused) if unused is not None else None))
    return tuple(found)
