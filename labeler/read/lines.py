"""On which line each key of a TOML text stands; the standard reader does not say.

The text must be valid TOML (parsed before), so the scan only has to know where values end.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_SKIP = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_KEY = re.compile(r'[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.S,
)
_BARE = re.compile(r"[^\s,\]}#][^,\]}#\n]*")


class _Scan:
    """One pass over the text; ``lines`` fills up."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.counted = 0
        self.lines: dict[Path, int] = {(): 1}
        self.counts: dict[Path, int] = {}  # arrays of tables: how many so far

    def run(self) -> dict[Path, int]:
        table: Path = ()
        self._skip()
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip()
        return self.lines

    def _skip(self, pattern: re.Pattern[str] = _SKIP) -> None:
        found = pattern.match(self.text, self.at)
        self.at = found.end() if found else self.at + 1

    def _note(self, path: Path) -> None:
        """Keep the line of this place, unless the path was met before."""
        self.line += self.text.count("\n", self.counted, self.at)
        self.counted = self.at
        self.lines.setdefault(path, self.line)

    def _header(self) -> Path:
        """Read ``[a.b]`` or ``[[a.b]]``; an array of tables opens its next element."""
        start = self.at
        many = self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        keys = self._keys()
        self.at += 2 if many else 1
        path = self._resolved(keys[:-1])
        path += (keys[-1],)
        if many:
            self.counts[path] = self.counts.get(path, 0) + 1
            self._note(path)
            path += (self.counts[path] - 1,)
        elif path in self.counts:
            path += (self.counts[path] - 1,)
        end, self.at = self.at, start
        self._note(path)
        self.at = end
        return path

    def _resolved(self, keys: list[str]) -> Path:
        """Return the path to a table; in an array of tables its last element is meant."""
        path: Path = ()
        for key in keys:
            path += (key,)
            if path in self.counts:
                path += (self.counts[path] - 1,)
        return path

    def _keys(self) -> list[str]:
        """Read a dotted key."""
        keys: list[str] = []
        while True:
            self._skip(_BLANK)
            found = _KEY.match(self.text, self.at)
            if not found:
                return keys or [""]
            keys.append(_plain(found[0]))
            self.at = found.end()
            self._skip(_BLANK)
            if self.text[self.at : self.at + 1] != ".":
                return keys
            self.at += 1

    def _pair(self, table: Path) -> None:
        """Read ``key = value``."""
        start = self.at
        keys = self._keys()
        end, self.at = self.at, start
        for depth in range(1, len(keys) + 1):
            self._note(table + tuple(keys[:depth]))
        self.at = end + 1  # past the equals sign
        self._value(table + tuple(keys))

    def _value(self, path: Path) -> None:
        self._skip()
        sign = self.text[self.at : self.at + 1]
        if sign == "[":
            self._array(path)
        elif sign == "{":
            self._inline(path)
        else:
            self._skip(_STRING if sign in "\"'" and sign else _BARE)

    def _array(self, path: Path) -> None:
        self.at += 1
        index = 0
        self._skip()
        while self.text[self.at : self.at + 1] not in ("]", ""):
            self._note((*path, index))
            self._value((*path, index))
            index += 1
            self._comma()
        self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        self._skip()
        while self.text[self.at : self.at + 1] not in ("}", ""):
            self._pair(path)
            self._comma()
        self.at += 1

    def _comma(self) -> None:
        self._skip()
        if self.text[self.at : self.at + 1] == ",":
            self.at += 1
            self._skip()


def _plain(key: str) -> str:
    """Return a key without its quotes."""
    if key.startswith("'"):
        return key[1:-1]
    if not key.startswith('"'):
        return key
    if "\\" not in key:
        return key[1:-1]
    import tomllib

    return next(iter(tomllib.loads(f"{key} = 0")))


def line_index(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every table, key and array element: ``("circuit", 3, "size")`` → 12."""
    return _Scan(text).run()


def line_of(lines: dict[Path, int], path: Path) -> int:
    """Return the line of a place, or of the nearest table around it."""
    while path not in lines:
        path = path[:-1]
    return lines[path]
