"""Where the files of a job go, what they are called, and which sheets each of them holds."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path

from labeler.errors import LabelerError, Problem, Where
from labeler.model import Harness, Sheet

ELSEWHERE = "choose another folder (--out)"
MOST_PAGES = 500  # of one file: a longer job is several files, so that viewers and printers take it: project choice


@dataclass(frozen=True, slots=True)
class Part:
    """A PDF of one stock, on a reel also of one tube, and the sheets on it."""

    path: Path
    sheets: tuple[Sheet, ...]

    @property
    def stock(self) -> str:
        """Return the name of its stock."""
        return self.sheets[0].stock.name


@dataclass(frozen=True, slots=True)
class Names:
    """Where the files of a job go, and what they are called."""

    folder: Path
    harness: Harness

    def of(self, unit: str, ending: str = "") -> Path:
        """Return the path of a file that is all of one unit's."""
        return self.folder / f"{self._stem(unit)}{ending}"

    def bench_sheet(self, unit: str, word: str = "") -> Path:
        """Return the path of a unit's bench sheet, or with a ``word`` behind the unit that of a work list."""
        return self.folder / f"{self._stem(unit, word)}-{'work-list' if word else 'bench-sheet'}.pdf"

    def parts(self, units: Sequence[str], sheets: Iterable[Sheet], word: str = "") -> tuple[Part, ...]:
        """Return the files of sheets, stock by stock, of flat tube on a reel also tube by tube.

        ``word`` is put behind the unit. Raises `LabelerError` where two of them would share a name.
        """
        together: dict[tuple[str, str], list[Sheet]] = {}
        for sheet in sheets:
            tube = sheet.group if sheet.stock.kind == "reel" else ""
            together.setdefault((sheet.stock.name, tube), []).append(sheet)
        of = units[0] if len(units) == 1 else f"{units[0]}-to-{units[-1]}"
        stem = self._stem(of, word)
        named = {key: "-".join(filter(None, map(_readable, key))) for key in together}
        if len(set(named.values())) < len(named):
            named = {
                key: "-".join(filter(None, (key[0] and _file_name(key[0]), key[1] and _file_name(key[1]))))
                for key in together
            }
        if len(set(named.values())) < len(named):
            text = f"the stocks {', '.join(dict.fromkeys(name for name, _ in named))} would share a file name"
            raise LabelerError(Problem(Where("layouts"), text, "rename one of the stock files"))
        return tuple(
            Part(self.folder / f"{stem}-{named[key]}{which}.pdf", those)
            for key, all_of_it in together.items()
            for which, those in _chunks(all_of_it)
        )

    def _stem(self, unit: str, word: str = "") -> str:
        return _file_name(f"{self.harness.part_number or self.harness.name}-{unit}{word}")


def _chunks(sheets: Sequence[Sheet]) -> Iterator[tuple[str, tuple[Sheet, ...]]]:
    """Yield what is put behind the name and the sheets of it, so many that no file has too many pages."""
    chunks: list[list[Sheet]] = [[]]
    pages = 0
    twice = [any(placed.piece.face.passes > 1 for placed in sheet.placed) for sheet in sheets]
    if sheets[0].stock.kind == "reel":  # the whole tube passes again
        twice = [any(twice)] * len(sheets)
    for sheet, again in zip(sheets, twice, strict=True):
        needs = 2 if again else 1
        if pages + needs > MOST_PAGES:
            chunks.append([])
            pages = 0
        chunks[-1].append(sheet)
        pages += needs
    for number, chunk in enumerate(chunks, 1):
        yield (f"-{number}-of-{len(chunks)}" if len(chunks) > 1 else ""), tuple(chunk)


def _readable(text: str) -> str:
    """Return the name of a stock or tube for a file; those of one job are compared with one another."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "-" for c in text)
    return re.sub("-+", "-", kept).strip("-")


def _file_name(text: str) -> str:
    """Keep ASCII letters, digits, dash and underscore: a name every file system takes.

    Where a sign is replaced, a digest of the whole text follows, so that two texts never share a name.
    """
    kept = _readable(text)
    if kept == text:
        return kept
    return f"{kept or 'harness'}-{blake2b(text.encode('utf-8', 'replace'), digest_size=4).hexdigest()}"


def folder_problems(folder: Path) -> Iterator[Problem]:
    """Yield a problem for a folder that cannot be made or written to, as far as that can be known before it is tried.

    Nor may its name be no text: the record could not name the files in it.
    """
    try:
        str(folder).encode()
    except UnicodeEncodeError:
        shown = str(folder).encode("utf-8", "backslashreplace").decode()
        yield Problem(Where(shown), "the folder's name is not valid text (UTF-8)", ELSEWHERE)
        return
    there = next(path for path in (folder, *folder.absolute().parents) if os.path.lexists(path))
    if not os.path.isdir(there):
        yield Problem(Where(str(there)), "is a file" if os.path.isfile(there) else "is no folder", ELSEWHERE)
    elif not os.access(there, os.W_OK | os.X_OK):
        yield Problem(Where(str(there)), "the folder cannot be written to", ELSEWHERE)


def make_folder(folder: Path, fix: str = ELSEWHERE) -> None:
    """Make a folder; raises `LabelerError`, with the next step as ``fix``, where that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        why = "is a file" if folder.is_file() else f"cannot be made ({error.strerror})"
        raise LabelerError(Problem(Where(str(folder)), why, fix)) from error
