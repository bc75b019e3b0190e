"""A reader of Data Matrix ECC 200 symbols, module for module, that shares nothing with the encoder.

Written after ISO/IEC 16022:2006 from memory: placement by its Annex F (the "utah" shapes and the four corners),
sizes by Table 7, Reed-Solomon over GF(256) with polynomial 301 by Annex E, encodations by 5.2.
It corrects nothing: a codeword that is wrong is an error.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

# rows, columns: data codewords, error codewords, regions down, regions across (Table 7; one block up to 48 x 48)
SIZES: dict[tuple[int, int], tuple[int, int, int, int]] = {
    **{(10, 10): (3, 5, 1, 1), (12, 12): (5, 7, 1, 1), (14, 14): (8, 10, 1, 1), (16, 16): (12, 12, 1, 1)},
    **{(18, 18): (18, 14, 1, 1), (20, 20): (22, 18, 1, 1), (22, 22): (30, 20, 1, 1), (24, 24): (36, 24, 1, 1)},
    **{(26, 26): (44, 28, 1, 1), (32, 32): (62, 36, 2, 2), (36, 36): (86, 42, 2, 2), (40, 40): (114, 48, 2, 2)},
    **{(44, 44): (144, 56, 2, 2), (48, 48): (174, 68, 2, 2), (8, 18): (5, 7, 1, 1), (8, 32): (10, 11, 1, 2)},
    **{(12, 26): (16, 14, 1, 1), (12, 36): (22, 18, 1, 2), (16, 36): (32, 24, 1, 2), (16, 48): (49, 28, 1, 2)},
}
UTAH = ((-2, -2), (-2, -1), (-1, -2), (-1, -1), (-1, 0), (0, -2), (0, -1), (0, 0))
SHIFT_2 = "!\"#$%&'()*+,-./:;<=>?@[\\]^_"


def read(rows: Sequence[str]) -> str:
    """Return what a symbol says. Raises ValueError for a frame, a codeword or a text that is not as it must be."""
    return text_of(codewords_of(rows))


def codewords_of(rows: Sequence[str]) -> list[int]:
    """Return the data codewords of a symbol, whose error codewords agree with them."""
    size = len(rows), len(rows[0])
    data, error, down, across = SIZES[size]
    high, wide = size[0] // down, size[1] // across
    for r, row in enumerate(rows):
        for c, module in enumerate(row):
            if c % wide == 0 or r % high == high - 1:  # the solid sides of each region: left and below
                expected = "1"
            elif r % high == 0:
                expected = "10"[c % wide % 2]  # alternating from the left, dark first
            elif c % wide == wide - 1:
                expected = "01"[r % high % 2]  # alternating, light at the top
            else:
                continue
            if module != expected:
                raise ValueError(f"frame is wrong at row {r}, column {c}")
    inside = [
        [module for c, module in enumerate(row) if c % wide not in (0, wide - 1)]
        for r, row in enumerate(rows)
        if r % high not in (0, high - 1)
    ]
    words = [0] * (data + error)
    for (r, c), (word, bit) in places(len(inside), len(inside[0])).items():
        words[word] |= int(inside[r][c]) << (7 - bit)
    wrong = [power for power in range(1, error + 1) if evaluated(words, power)]
    if wrong:
        raise ValueError(f"syndromes {wrong} are not zero")
    return words[:data]


def places(high: int, wide: int) -> dict[tuple[int, int], tuple[int, int]]:
    """Return which bit (0: highest) of which codeword stands in each module of a mapping matrix (Annex F.1)."""
    found: dict[tuple[int, int], tuple[int, int]] = {}

    def put(shape: Sequence[tuple[int, int]], word: int) -> None:
        for bit, (r, c) in enumerate(shape):
            if r < 0:
                r, c = r + high, c + 4 - (high + 4) % 8
            if c < 0:
                c, r = c + wide, r + 4 - (wide + 4) % 8
            found[r, c] = word, bit

    h, w, word, row, col = high, wide, 0, 4, 0
    corners = {
        1: ((h - 1, 0), (h - 1, 1), (h - 1, 2), (0, w - 2), (0, w - 1), (1, w - 1), (2, w - 1), (3, w - 1)),
        2: ((h - 3, 0), (h - 2, 0), (h - 1, 0), (0, w - 4), (0, w - 3), (0, w - 2), (0, w - 1), (1, w - 1)),
        3: ((h - 3, 0), (h - 2, 0), (h - 1, 0), (0, w - 2), (0, w - 1), (1, w - 1), (2, w - 1), (3, w - 1)),
        4: ((h - 1, 0), (h - 1, w - 1), (0, w - 3), (0, w - 2), (0, w - 1), (1, w - 3), (1, w - 2), (1, w - 1)),
    }
    while row < high or col < wide:
        corner = 0
        if (row, col) == (high, 0):
            corner = 1
        elif (row, col) == (high - 2, 0) and wide % 8:
            corner = 2 if wide % 4 else 3
        elif (row, col) == (high + 4, 2) and not wide % 8:
            corner = 4
        if corner:
            put(corners[corner], word)
            word += 1
        while True:
            if row < high and col >= 0 and (row, col) not in found:
                put([(row + r, col + c) for r, c in UTAH], word)
                word += 1
            row, col = row - 2, col + 2
            if not (row >= 0 and col < wide):
                break
        row, col = row + 1, col + 3
        while True:
            if row >= 0 and col < wide and (row, col) not in found:
                put([(row + r, col + c) for r, c in UTAH], word)
                word += 1
            row, col = row + 2, col - 2
            if not (row < high and col >= 0):
                break
        row, col = row + 3, col + 1
    return found


def evaluated(words: Sequence[int], power: int) -> int:
    """Return the polynomial with these coefficients, highest first, at 2 to the ``power`` in GF(256) / 301."""
    value = 0
    for word in words:
        for _ in range(power):
            value = value << 1 ^ (301 if value & 128 else 0)
        value ^= word
    return value


def text_of(words: Sequence[int]) -> str:
    """Return the text of data codewords (5.2.3 to 5.2.9); only characters of ASCII."""
    said: list[str] = []
    at = 0
    while at < len(words):
        word, at = words[at], at + 1
        if 1 <= word <= 128:
            said.append(chr(word - 1))
        elif word == 129:
            check_padding(words, at)
            break
        elif 130 <= word <= 229:
            said.append(f"{word - 130:02}")
        elif word == 231:
            at = base_256(words, at, said)
        elif word in (230, 238, 239):
            at = triplets(words, at, said, word)
        elif word == 240:
            at = edifact(words, at, said)
        else:
            raise ValueError(f"codeword {word} is not expected here")
    return "".join(said)


def check_padding(words: Sequence[int], at: int) -> None:
    """Raise ValueError unless what follows the first pad is the 253-state sequence of pads (Annex B.1)."""
    for place in range(at + 1, len(words) + 1):
        expected = 129 + 149 * place % 253 + 1
        if words[place - 1] != (expected if expected <= 254 else expected - 254):
            raise ValueError(f"pad {words[place - 1]} at {place}")


def base_256(words: Sequence[int], at: int, said: list[str]) -> int:
    """Read bytes (5.2.9, randomised by the 255-state sequence of Annex B.2); return where they end."""

    def plain(place: int) -> int:
        return (words[place] - (149 * (place + 1) % 255 + 1)) % 256

    count, at = plain(at), at + 1
    if count >= 250:
        count, at = 250 * (count - 249) + plain(at), at + 1
    end = at + count if count else len(words)
    said.append(bytes(plain(place) for place in range(at, end)).decode("ascii"))
    return end


def triplets(words: Sequence[int], at: int, said: list[str], mode: int) -> int:
    """Read C40, Text or X12 (5.2.5 to 5.2.7) to its unlatch or to the end; return where ASCII goes on."""
    values: list[int] = []
    while len(words) - at >= 2 and words[at] != 254:
        whole = words[at] * 256 + words[at + 1] - 1
        values += (whole // 1600, whole // 40 % 40, whole % 40)
        at += 2
    said.extend(signs_x12(values) if mode == 238 else signs_c40(values, mode == 239))
    return at + 1 if at < len(words) and words[at] == 254 else at


def signs_x12(values: Sequence[int]) -> Iterator[str]:
    for value in values:
        yield "\r*> "[value] if value < 4 else basic(value)


def basic(value: int) -> str:
    return chr(48 + value - 4) if value < 14 else chr(65 + value - 14)


def signs_c40(values: Sequence[int], is_text: bool) -> Iterator[str]:
    shift = 0
    for value in values:
        if shift == 0 and value < 3:
            shift = value + 1
            continue
        if shift == 0:
            sign = " " if value == 3 else basic(value)
            yield sign.lower() if is_text else sign
        elif shift == 1:
            yield chr(value)
        elif shift == 2:
            yield SHIFT_2[value]
        else:
            sign = chr(96 + value)
            yield sign.upper() if is_text else sign
        shift = 0


def edifact(words: Sequence[int], at: int, said: list[str]) -> int:
    """Read EDIFACT (5.2.8), four signs in three codewords, to its unlatch or to the end; return where ASCII goes on."""
    while len(words) - at > 2:
        whole = words[at] << 16 | words[at + 1] << 8 | words[at + 2]
        for place in range(4):
            value = whole >> (18 - 6 * place) & 63
            if value == 31:
                return at + min(place + 1, 3)
            said.append(chr(value if value & 32 else value | 64))
        at += 3
    return at
