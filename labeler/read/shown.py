"""A number of a workbook as its cell shows it: zeros before it, words around it."""

from __future__ import annotations

import re

_WORDS = r'(?:"[^"]*"|\\.|[ $€£+()])*'
_PLAIN = re.compile(rf"({_WORDS})(0+|#|(?:#,)?##0)((?:\.[0#]+)?)({_WORDS})")
_UNSEEN = re.compile(r"\[[^\]]*\]|_.|\*.")  # colours and places, room for a sign, filling
_PARTED = re.compile(r"[0#?](?:[-:]|\\.|\"[^\"]*\")+[0#?]")  # digits with something between: 000-00


def as_shown(number: int | float, form: str) -> str:
    """Return a number as written under a number format, with all of its digits.

    Zeros before it (``000``) and words around it (``0" cm"``) are shown; decimals are those of the
    number, since a format may round. Raises ValueError for formats that part its digits (``000-00``).
    """
    plain = str(int(number)) if float(number).is_integer() and abs(number) < 1e15 else repr(number)
    section = _UNSEEN.sub("", form.split(";")[0])
    found = _PLAIN.fullmatch(section)
    if number < 0 or not found:
        if _PARTED.search(section):
            raise ValueError(
                f"shows its number {plain} by the format {form}; format it as text and write what it shows"
            )
        return plain
    before, digits, _, after = found.groups()
    whole, point, rest = plain.partition(".")
    if set(digits) == {"0"}:
        whole = whole.zfill(len(digits))
    return f"{_words(before)}{whole}{point}{rest}{_words(after)}".strip()


def _words(text: str) -> str:
    return "".join(quoted or escaped or sign for quoted, escaped, sign in re.findall(r'"([^"]*)"|\\(.)|([^"\\])', text))
