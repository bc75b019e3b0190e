"""Run two versions of the program side by side and compare all that they say and draw. By hand, not by pytest:

    python tests/compare_versions.py REFERENCE_FOLDER [NEW_FOLDER] [--keep FOLDER] [--only WORD]

Each folder is a checkout (with pyproject.toml); without NEW_FOLDER it is the one this script stands in. Both run the
same commands on the same files, with the same frozen clock, the same user and a record of their own. Compared are the
exit status and every line and number of each command, and of each file that it writes: the drawing operations,
fonts, forms and pictures of every page of a PDF, the bytes of a picture, the values of JSON, the text of the rest. One
line is printed for each comparison; the exit status is 1 where something differs.
"""

from __future__ import annotations

import argparse
import hashlib
import inspect
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import textwrap
import time
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import unified_diff
from itertools import count
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
from pypdf.generic import ContentStream, DictionaryObject, IndirectObject, StreamObject

ROOT = Path(__file__).resolve().parents[1]


# ---------------------------------------------------------------- what may differ


@dataclass(frozen=True, slots=True)
class Allowed:
    """A difference that is meant: what ``pattern`` matches is taken out of both sides where it is allowed."""

    step: str  # a regular expression that the name of the step matches in full
    part: str  # "stdout", "stderr", or the name of a file: a regular expression as well
    pattern: str
    reason: str


ALLOWED: tuple[Allowed, ...] = ()

# Names that were changed, old → new: words of a command line, keys of TOML files, names in JSON.
WORDS: Mapping[str, str] = {}
KEYS: Mapping[str, str] = {}
NAMES: Mapping[str, str] = {}


def translated(text: str, keys: Mapping[str, str]) -> str:
    """Return a harness file with its keys and tables renamed: what stands before ``=`` or in ``[…]``."""
    for old, new in keys.items():
        name = rf"(?<![\w.-]){re.escape(old)}"
        text = re.sub(rf"{name}(?=\s*=)", new, text)
        text = re.sub(rf"(?m)^(\s*\[\[?[\w.]*){name}(?=[\w.]*\]\]?)", rf"\1{new}", text)
    return text


# ---------------------------------------------------------------- what is run


@dataclass(frozen=True, slots=True)
class Step:
    """One command; its files go to a folder of its name where ``out`` is among its words as ``{out}``."""

    name: str
    words: tuple[str, ...]


COMMANDS = (
    "check", "print", "reprint", "read", "diff", "fit", "bundle", "stock", "calibrate", "sleeves", "wires", "coverings",
    "choices", "scan", "proof", "record", "record list", "record show", "record find", "record used", "record void",
    "record resume", "record withdraw", "record verify", "record export", "record import", "record backup",
    "record upgrade",
)  # fmt: skip
EXAMPLES = ("survey-boat.toml", "survey-boat.csv", "misfits.toml", "survey-boat-power.toml")
RECORD = "--record record.sqlite"
# What is printed in other ways than by default: a name, and the words of `print`.
WAYS = """
letter: survey-boat.toml --paper Letter --bench short
strip: survey-boat-power.toml --stock strip-1000 --set wire_marker_kind=insert
reel: survey-boat.toml --stock reel --stock tag-roll-95x54 --printer ribbon.toml --png sheets
faces: survey-boat-power.toml --set faces=both --set heating=even --set direction=around --leave-out
coded: survey-boat.toml --set "code=Data Matrix" --set code_on=tag,sleeve --set heating=even --set code_anyway=yes
bars: survey-boat-power.toml --set "code=Code 128" --set code_payload=marker --set direction=around --leave-out
wires: survey-boat.toml --set wire_marker_kind=sleeve --set wire_marker=signal --leave-out
wrapped: survey-boat.toml --set branch_marker_kind=wrap --set "reading=away from the end" --leave-out
list: survey-boat.csv --part-number RSB-211 --revision A --used wrap-a4-25x18=A1-B3,D4
kbl: mast.kbl --bundle area
vec: mast.vec --names alias --labels
"""
# What is said about examples and markers, beside the loops in `steps`.
SAID = """
explain-j4: check survey-boat.toml --explain J4
explain-tight: check survey-boat.toml --explain A0LKFREF
explain-passed: check survey-boat.toml --explain "WINCH J5"
explain-wrap: check survey-boat.toml --explain P1:1
explain-tag: check survey-boat.toml --explain "tag K3"
explain-trunk: check survey-boat-power.toml --explain "B10 P2"
explain-splice: check survey-boat-power.toml --explain "LIGHT RETURN"
explain-fitted: check survey-boat-power.toml --explain "DECK LIGHT J11"
explain-cable: check survey-boat-power.toml --explain "THRUSTER J12"
explain-ring: check survey-boat-power.toml --explain "B16 E10"
explain-braid: check survey-boat-power.toml --explain "B11 J10"
explain-wire-sleeve: check survey-boat-power.toml --explain P2:1
explain-flag: check survey-boat-power.toml --explain P2:11
explain-misfit: check misfits.toml --explain "B21 P2"
explain-unknown: check survey-boat.toml --explain J99
check-evenly: check survey-boat-power.toml --json --set heating=any --set lettering_on=bundle --set faces=both
check-codes: check survey-boat-power.toml --json --set code=QR --set code_on=tag,sleeve,wrap,flag,insert
check-code-39: check survey-boat.toml --json --set "code=Code 39" --set code_payload=marker
check-short: check survey-boat.toml --json --set "wire_marks=by length" --set "wire_marker={circuit} {signal}"
check-printer: check survey-boat.toml --printer ribbon.toml --json
check-kbl: check mast.kbl --json
check-kbl-no-variant: check mast.kbl --json --variant none
check-vec: check mast.vec --json --labels --names description
check-xlsx: check survey-boat.xlsx --json --sheet Wires --set wire=TXL
check-wrong: check wrong.toml
check-wrong-json: check wrong.toml --json
check-missing: check nowhere.toml
read-wrong-list: read wrong.csv
read-draft: read survey-boat.xlsx --draft --sheet Wires
read-map: read wrong.csv --map columns.toml --json
read-xlsx: read survey-boat.xlsx --json --sheet Wires -o {out}.toml --part-number RSB-212 --revision B
read-kbl: read mast.kbl --json -o {out}.toml
read-kbl-said: read mast.kbl --names alias
read-vec: read mast.vec --json -o {out}.toml
read-vec-said: read mast.vec
diff: diff survey-boat.toml survey-boat-D.toml
diff-json: diff survey-boat.toml survey-boat-D.toml --json --all
diff-csv: diff survey-boat-power.toml survey-boat-power-B.toml --csv
fit: fit "WINCH UP" --over 3.4-3.8
fit-json: fit "DEPTH J4" --over 4.2 --json
fit-tube: fit "DEPTH SOUNDER J4" --over 5 --sleeve AS23053/5 --cut 30 --set heating=even --json
fit-none: fit "DEPTH SOUNDER J4" --over 90
bundle: bundle "3 x 18 AWG TXL"
bundle-json: bundle "2 x 20 AWG TXL, 4 x 1.9 mm, 7 x 0.5 mm2 ISO 6722-1 thin wall" --json
bundle-wrong: bundle "3 x 18 AWG nothing"
stocks: stock --json
stock-wrap: stock wrap-a4-25x18 --out {out}
stock-tag: stock tag-letter-98x50 --out {out}
stock-roll: stock flag-roll-80x12 --out {out}
stock-reel: stock reel --out {out}
calibrate: calibrate tag-a4-95x54 --out {out}
calibrate-printer: calibrate wrap-roll-25x18 --printer ribbon.toml --out {out}
calibrate-reel: calibrate reel --printer ribbon.toml --out {out}
choices: choices --json
choices-said: choices
sleeves: sleeves --json
sleeves-said: sleeves AS23053/5
wires: wires --json
wires-said: wires TXL
coverings: coverings --json
coverings-said: coverings
proof: proof survey-boat.toml --out {out}.html
proof-power: proof survey-boat-power.toml --out {out}.html
proof-misfits: proof misfits.toml --out {out}.html
"""
# One record, in this order: units, reprints, a void, a revision, and what the record then says of them.
RECORDED = """
print-boat: print survey-boat.toml --out {out} --png pieces
print-power: print survey-boat-power.toml --out {out} --png pieces
print-again: print survey-boat.toml --unit 0001 --out {out}
print-misfits: print misfits.toml --out {out}
print-misfits-left: print misfits.toml --leave-out --out {out}
units-separate: print survey-boat-power.toml --units 3 --out {out}
units-collated: print survey-boat-power.toml --serials 0011-0013 --order collated --out {out} --go-on
units-grouped: print survey-boat-power.toml --serials 0021-0023 --order grouped --out {out} --start wrap-a4-25x18=B3
units-boat-grouped: print survey-boat.toml --serials 0021-0023 --order grouped --out {out}
units-boat-collated: print survey-boat.toml --serials 0031-0033 --order collated --out {out}
reprint: reprint "0001 J4" --harness RSB-210 --reason "lost on deck" --out {out} --png pieces
reprint-numbered: reprint "TRUNK P2" --unit 0012 --reason smeared --numbered --out {out}
reprint-code: reprint "0001 W9X0GRQG" --harness RSB-210 --reason smeared --out {out} --go-on
reprint-branch: reprint --unit 0021 --harness RSB-240 --branch B12 --reason torn --out {out}
reprint-other-stock: reprint "0022 XRGYFAAR" --harness RSB-240 --stock wrap-letter-25x18 --reason torn --out {out}
reprint-sheet: reprint --sheet 1:2 --reason jammed --out {out}
reprint-shared-sheet: reprint --sheet 7:3 --reason jammed --out {out}
reprint-unknown: reprint "0001 J99" --reason lost --out {out}
reprint-several: reprint J4 --reason lost --out {out}
void: record void "0002 VC74G1G2" --harness RSB-240 --reason "printed askew"
void-sheet: record void --sheet 1:3 --reason "printed askew"
revision: print survey-boat-D.toml --unit 0001 --changed-since C --out {out}
revision-power: print survey-boat-power-B.toml --unit 0012 --changed-since A --out {out}
revision-same: print survey-boat-power-B.toml --unit 0012 --changed-since B --out {out}
diff-unit: diff "RSB-210 C" survey-boat-D.toml --json
diff-printed: diff "RSB-210 0021" "RSB-210 0001"
list: record list
list-json: record list --json
list-csv: record list --csv
show-unit: record show 0001 --harness RSB-210 --json
show-unit-said: record show 0012 --harness RSB-240
show-job: record show job:2 --json
show-marker: record show "0001 J4" --harness RSB-210
find: record find "WATER PROBE" --json
find-circuit: record find W831
find-nothing: record find "NO SUCH TEXT"
used: record used
used-json: record used --json
verify: record verify --json
scan: scan "0001 W9X0GRQG" "nonsense" --json
scan-against: scan --against "RSB-240 0012" "0012 9PMADUQK"
export: record export --out {out}
import: record import export/RSB-240-0012.json export/RSB-210-0001.json --record other.sqlite
import-again: record import export/RSB-240-0012.json --record other.sqlite --json
import-list: record list --record other.sqlite
withdraw-done: record withdraw 1 --reason "not broken off"
"""


def steps() -> list[Step]:
    """Return every command, in order."""
    made = [Step(f"help-{command}".replace(" ", "-"), (*command.split(), "--help")) for command in COMMANDS]
    for name in EXAMPLES:
        made += [
            Step(f"check-{name}", ("check", name)),
            Step(f"check-json-{name}", ("check", name, "--json")),
            Step(f"read-{name}", ("read", name)),
            Step(f"read-json-{name}", ("read", name, "--json", "-o", f"read-{name}.toml")),
        ]
    made += list(_listed(SAID, ""))
    for line in WAYS.strip().splitlines():
        name, words = line.split(": ", 1)
        made.append(_step(f"print-{name}", f"print {words} --out {{out}} --record {name}.sqlite"))
    return made + list(_listed(RECORDED, RECORD))


def _listed(text: str, record: str) -> Iterator[Step]:
    for line in text.strip().splitlines():
        name, words = line.split(": ", 1)
        yield _step(name, words if "--record" in words else f"{words} {record}")


def _step(name: str, words: str) -> Step:
    return Step(name, tuple(word.replace("{out}", name) for word in shlex.split(words)))


# ---------------------------------------------------------------- the files that are given

RIBBON = """\
technology = "thermal transfer"
dpi = 300
scale_x = 1.002
scale_y = 0.998
offset_x_mm = 0.4
"""
WRONG_TOML = """\
[harness]
name = "Wrong"
colour = "RD"

[[connector]]
id = "P1"
kind = "spice"
outside_mm = -3

[[circuit]]
id = "W1"
from = "P1"
size = "18 fathoms"
"""
WRONG_CSV = """\
Wire,Here,There,Thickness
W1,P1,J1,18 AWG
W2,P1,J2,20 AWG
W2,P1,J3,banana
"""
COLUMNS = """\
[columns]
id = "Wire"
from = "Here"
to = "There"
size = "Thickness"
"""


def given(folder: Path) -> None:
    """Write the files that the commands read into a folder, in the spelling of the reference."""
    back = {new: old for old, new in KEYS.items()}
    for name in EXAMPLES:
        shutil.copy(ROOT / "examples" / name, folder / name)
        if name.endswith(".toml"):
            (folder / name).write_text(translated((folder / name).read_text("utf-8"), back), "utf-8")
    boat = (folder / "survey-boat.toml").read_text("utf-8")
    edits = [
        ('revision = "C"', 'revision = "D"'),
        ('text = "WINCH J5"', 'text = "WINCH DRUM J5"'),
        ('signal = "PH"', 'signal = "ACIDITY"'),
        ('size = "14 AWG"', 'size = "12 AWG"'),
        ('{ item = "cable seal", quantity = 4 }', '{ item = "cable seal", quantity = 5 }'),
    ]
    (folder / "survey-boat-D.toml").write_text(_edited(boat, edits), "utf-8")
    power = (folder / "survey-boat-power.toml").read_text("utf-8")
    edits = [
        ('revision = "A"', 'revision = "B"'),
        ('covering = "braided sleeving"\n', ""),
        ('text = "STERN LIGHT J13"', 'text = "STERN J13"'),
        ('to = "J12:2"', 'to = "J12:3"'),
    ]
    (folder / "survey-boat-power-B.toml").write_text(_edited(power, edits), "utf-8")
    texts = {
        "mast.kbl": KBL,
        "mast.vec": VEC,
        "ribbon.toml": RIBBON,
        "wrong.toml": WRONG_TOML,
        "wrong.csv": WRONG_CSV,
        "columns.toml": COLUMNS,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
    rows = [line.split(",") for line in (folder / "survey-boat.csv").read_text("utf-8").splitlines()]
    book = openpyxl.Workbook()
    book.create_sheet("Notes", 0).append(["Wires of the sensor harness"])
    sheet = book.create_sheet("Wires")
    for row in rows:
        sheet.append([int(cell) if cell.isdecimal() else cell for cell in row])
    book.save(folder / "survey-boat.xlsx")


def _edited(text: str, edits: Sequence[tuple[str, str]]) -> str:
    for old, new in edits:
        if old not in text:
            raise SystemExit(f"an example has no {old!r} any more: mend this script")
        text = text.replace(old, new, 1)
    return text


# ---------------------------------------------------------------- running

# Runs the commands of one version, each in a process of its own that is forked once the slow libraries are there.
# The clock stands still within a command, and is a minute later for the next.
RUNNER = """
import importlib, json, os, sys, traceback
import datetime as _module

module, function = sys.argv[1].split(":")
steps = json.load(open(sys.argv[2]))
for name in ("numpy", "pandas", "openpyxl", "reportlab.pdfgen.canvas", "reportlab.platypus", "sqlalchemy", "PIL.Image",
             "fontTools.ttLib", "pypdfium2", "qrcode", "zxingcpp", "sqlite3"):
    importlib.import_module(name)

_date, _datetime = _module.date, _module.datetime


def _then():
    return _datetime.fromisoformat(os.environ["FROZEN_TIME"]).replace(tzinfo=_module.timezone.utc)


class _Alike(type):
    def __instancecheck__(cls, value):
        return isinstance(value, cls.__mro__[1])

    def __subclasscheck__(cls, other):
        return issubclass(other, cls.__mro__[1])


class date(_date, metaclass=_Alike):
    __slots__ = ()

    @classmethod
    def today(cls):
        return _date(_then().year, _then().month, _then().day)


class datetime(_datetime, metaclass=_Alike):
    __slots__ = ()

    @classmethod
    def now(cls, tz=None):
        return _then().astimezone(tz) if tz else _then().replace(tzinfo=None)

    @classmethod
    def today(cls):
        return cls.now()

    @classmethod
    def utcnow(cls):
        return cls.now()


_module.date, _module.datetime = date, datetime
for number, (name, words) in enumerate(steps):
    child = os.fork()
    if not child:
        os.environ["FROZEN_TIME"] = f"2026-03-02T{8 + number // 60:02}:{number % 60:02}:05.250"
        for stream, end in ((1, "stdout"), (2, "stderr")):
            os.dup2(os.open(os.path.join("said", f"{name}.{end}"), os.O_WRONLY | os.O_CREAT), stream)
        status = 99
        try:
            sys.argv = ["labeler", *words]
            getattr(importlib.import_module(module), function)()
            status = 0
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
        except BaseException:
            traceback.print_exc()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    _, status, used = os.wait4(child, 0)
    status = os.waitstatus_to_exitcode(status)
    with open(sys.argv[2] + ".cpu", "a") as file:
        print(f"{used.ru_utime + used.ru_stime:6.2f} s  {name}", file=file)
    with open(os.path.join("said", f"{name}.status"), "w") as file:
        file.write(str(status))
"""


def started(program: Path, folder: Path, todo: Sequence[Step]) -> subprocess.Popen[bytes]:
    """Start all commands of one version in a folder; they write what they say into ``said`` there."""
    (folder / "said").mkdir(parents=True)
    home = folder.parent / f"{folder.name}-home"
    home.mkdir()
    entry = tomllib.loads((program / "pyproject.toml").read_text("utf-8"))["project"]["scripts"]["labeler"]
    listed = home / "steps.json"
    listed.write_text(json.dumps([(step.name, step.words) for step in todo]))
    kept = {name: os.environ[name] for name in ("PATH", "LANG", "TMPDIR") if name in os.environ}
    environment = {
        **kept,
        "PYTHONPATH": str(program),
        "PYTHONHASHSEED": "0",
        "PYTHONDONTWRITEBYTECODE": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "COLUMNS": "100",
        "HOME": str(home),
        "LOGNAME": "ada",
        "USER": "ada",
    }
    command = [sys.executable, "-c", RUNNER, entry, str(listed)]
    return subprocess.Popen(command, cwd=folder, env=environment)


# ---------------------------------------------------------------- comparing

Lines = list[str]


def parts_of(folder: Path) -> dict[tuple[str, str], Path]:
    """Return the files of one version by (step, part): what it said, and what it wrote."""
    names = sorted((step.name for step in steps()), key=len, reverse=True)
    found = {}
    for path in sorted(folder.rglob("*")):
        place = path.relative_to(folder).as_posix()
        if path.is_dir() or ".sqlite" in path.name:
            continue
        if place.startswith("said/"):
            name, part = path.stem, path.suffix[1:]
        else:
            first = place.split("/")[0]
            name = first if "/" in place else first.rsplit(".", 1)[0]
            name, part = (name, place.split("/", 1)[-1]) if name in names else ("given", place)
        if name != "given":
            found[name, part] = path
    return found


def read_as_lines(path: Path, part: str, old: bool) -> Lines:
    """Return a file as lines that are equal where what it says is equal."""
    if path.suffix == ".pdf":
        return pdf_lines(path)
    data = path.read_bytes()
    if path.suffix == ".png":
        return [f"picture {hashlib.sha256(data).hexdigest()}"]
    text = data.decode("utf-8", "replace")
    if path.suffix == ".json" or (part == "stdout" and text.lstrip()[:1] in ("{", "[")):
        try:
            return _json_lines(json.loads(text, parse_float=str, parse_int=str), old)
        except ValueError:
            pass
    return (translated(text, KEYS) if old else text).splitlines()


def _json_lines(value: Any, old: bool) -> Lines:
    def renamed(value: Any) -> Any:
        if isinstance(value, dict):
            return {NAMES.get(key, key) if old else key: renamed(each) for key, each in value.items()}
        return [renamed(each) for each in value] if isinstance(value, list) else value

    return json.dumps(renamed(value), ensure_ascii=False, indent=1, sort_keys=True).splitlines()


def one_by_one(lines: Lines, places: Mapping[str, str]) -> Lines:
    """Return lines with the folders of a version by other names, and random names of jobs numbered as they come up."""
    numbers: dict[str, str] = {}
    next_one = count(1)

    def number(found: re.Match[str]) -> str:
        if found[0] not in numbers:
            numbers[found[0]] = f"random-name-{next(next_one)}"
        return numbers[found[0]]

    text = "\n".join(lines)
    for place, name in places.items():
        text = text.replace(place, name)
    return re.sub(r"\b[0-9a-f]{32}\b", number, text).splitlines()


def pdf_lines(path: Path) -> Lines:
    """Return a PDF as lines: its catalog, and of each page its boxes and every operation with what it names."""
    reader = pypdf.PdfReader(path)
    catalog: Any = reader.trailer["/Root"].get_object()
    root = {key: value for key, value in catalog.items() if key not in ("/Pages", "/Outlines")}
    made = [f"document {_told(root, ())}", f"about {_told(reader.trailer.get('/Info'), ())}"]
    made += [f"outline {line}" for line in _outline(reader, reader.outline, 0)]
    for number, page in enumerate(reader.pages, 1):
        rest = {key: value for key, value in page.items() if key not in ("/Contents", "/Parent", "/Resources")}
        made.append(f"page {number} {_told(rest, ())}")
        contents = page.get_contents()
        resources = page.get("/Resources", DictionaryObject()).get_object()
        if contents is not None:
            made += [f"page {number} {line}" for line in _operations(contents, resources, reader)]
    return made


def _outline(reader: pypdf.PdfReader, items: Sequence[Any], level: int) -> Iterator[str]:
    for item in items:
        if isinstance(item, list):
            yield from _outline(reader, item, level + 1)
        else:
            yield f"{level} {item.title!r} on page {reader.get_destination_page_number(item)}"


def _operations(stream: Any, resources: Any, reader: pypdf.PdfReader) -> Iterator[str]:
    """Yield each drawing operation; a font, form or picture is said by what it holds, not by its name."""
    kinds = {b"Tf": "/Font", b"Do": "/XObject", b"gs": "/ExtGState", b"cs": "/ColorSpace", b"scn": "/Pattern"}
    for operands, operator in ContentStream(stream, reader).operations:
        named = resources.get(kinds.get(operator, ""), DictionaryObject()).get_object()
        said = [
            _resource(named[each].get_object(), reader) if isinstance(each, str) and each in named else _plain(each)
            for each in (operands.values() if isinstance(operands, dict) else operands)
        ]
        yield f"{' '.join(said)} {operator.decode('latin-1')}"


def _resource(value: Any, reader: pypdf.PdfReader) -> str:
    if isinstance(value, StreamObject) and value.get("/Subtype") == "/Form":
        inner = value.get("/Resources", DictionaryObject()).get_object()
        box = _told({key: each for key, each in value.items() if key in ("/BBox", "/Matrix")}, ())
        drawn = "\n".join(_operations(value, inner, reader))
        return f"form {box} {hashlib.sha256(drawn.encode()).hexdigest()[:16]}"
    name = value.get("/BaseFont", value.get("/Subtype", "")) if isinstance(value, dict) else ""
    return f"<{name} {hashlib.sha256(_told(value, ()).encode()).hexdigest()[:16]}>"


def _told(value: Any, above: tuple[int, ...]) -> str:
    """Return any object of a PDF with all that it refers to, streams by their decoded bytes."""
    if isinstance(value, IndirectObject):
        if value.idnum in above:
            return "(above)"
        return _told(value.get_object(), (*above, value.idnum))
    if isinstance(value, dict):
        skipped = ("/Length", "/Filter", "/DecodeParms", "/Parent")
        pairs = dict(dict.items(value))  # as they stand: references are followed here, so that a circle ends
        inner = " ".join(f"{key} {_told(pairs[key], above)}" for key in sorted(pairs) if key not in skipped)
        data = f" {hashlib.sha256(value.get_data()).hexdigest()}" if isinstance(value, StreamObject) else ""
        return f"<<{inner}{data}>>"
    if isinstance(value, list):
        return "[" + " ".join(_told(each, above) for each in value) + "]"
    return _plain(value)


def _plain(value: Any) -> str:
    return repr(value) if isinstance(value, (str, bytes)) else str(value)


def allowed(lines: Lines, step: str, part: str) -> Lines:
    """Return lines without what may differ."""
    for each in ALLOWED:
        if re.fullmatch(each.step, step) and re.fullmatch(each.part, part):
            lines = re.sub(each.pattern, "", "\n".join(lines)).splitlines()
    return lines


def differences(old: Path, new: Path, step: str, part: str, places: Sequence[Mapping[str, str]]) -> Lines:
    """Return how two files differ, with some context; none: they are equal."""
    if old.read_bytes() == new.read_bytes():
        return []
    sides = [
        allowed(one_by_one(read_as_lines(path, part, path is old), where), step, part)
        for path, where in zip((old, new), places, strict=True)
    ]
    shown = [line[:300] for line in unified_diff(sides[0], sides[1], n=2, lineterm="")][2:]
    if not shown and sides[0] != sides[1]:
        shown = ["(equal line by line, but not in full)"]
    return [*shown[:40], f"… {len(shown) - 40} lines more"] if len(shown) > 40 else shown


def compared(old: Path, new: Path, places: Sequence[Mapping[str, str]]) -> tuple[int, int]:
    """Compare all files of two versions, print a line for each; return how many, and how many differ.

    ``equal`` is equal to the last byte, ``alike`` equal in what is said and drawn.
    """
    files = parts_of(old), parts_of(new)
    made = differ = 0
    for key in sorted(files[0].keys() | files[1].keys()):
        one, other = files[0].get(key), files[1].get(key)
        if one and other:
            found = differences(one, other, *key, places)
        else:
            found = [f"{'reference' if one else 'new'} alone has it"]
        made, differ = made + 1, differ + bool(found)
        same = not found and one and other and one.read_bytes() == other.read_bytes()
        print(f"{'DIFFERS' if found else 'equal  ' if same else 'alike  '}  {key[0]}  {key[1]}")
        print(textwrap.indent("\n".join(found), "    ") + "\n" if found else "", end="", flush=True)
    return made, differ


def reworded(words: Sequence[str]) -> tuple[str, ...]:
    """Return the words of a command as the new version spells them."""
    renamed = [WORDS.get(word, word) for word in words]
    pairs = zip(("", *words[:-1]), renamed, strict=True)
    return tuple(translated(word, KEYS) if before == "--set" else word for before, word in pairs)


def _kept(program: Path, only: str) -> tuple[Path, Path]:
    """Return the folder of what a reference says, and the file that names it once it is whole.

    The reference is run once for each state of it, of the examples, and of what is run here.
    """
    paths = [p for name in ("labeler", "layouts") for p in sorted((program / name).rglob("*")) if p.suffix != ".pyc"]
    paths += [ROOT / "examples" / name for name in EXAMPLES]
    here = (only, str(program), steps(), RUNNER, RIBBON, WRONG_TOML, WRONG_CSV, COLUMNS, KBL, VEC)
    digest = hashlib.sha256(repr(here).encode() + inspect.getsource(given).encode())
    for path in paths:
        digest.update(path.read_bytes() if path.is_file() else b"")
    told = Path(tempfile.gettempdir()).resolve() / f"labeler-reference-{digest.hexdigest()[:16]}"
    if told.is_file() and (known := Path(told.read_text("utf-8"))).is_dir():
        return known, told
    return told.with_name(f"{told.name}-{os.getpid()}") / "reference", told


def main() -> int:
    """Run both versions and compare them; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("reference", type=Path, help="a checkout")
    parser.add_argument("new", type=Path, nargs="?", default=ROOT, help="another; default: this one")
    parser.add_argument("--keep", type=Path, help="a new folder in which all that was said and written stays")
    parser.add_argument("--only", default="", help="only the steps whose names match this; what they need is not added")
    chosen = parser.parse_args()
    todo = [step for step in steps() if re.search(chosen.only, step.name)]
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as temporary:
        base = (chosen.keep or Path(temporary)).resolve()
        programs = (chosen.reference.resolve(), chosen.new.resolve())
        kept, told = _kept(programs[0], chosen.only)
        folders = (kept, base / "new")
        todos = (todo, [Step(step.name, reworded(step.words)) for step in todo])
        running = []
        for program, folder, mine in zip(programs, folders, todos, strict=True):
            if folder.exists():
                print(f"what the reference says is taken from {folder}: remove it to run the reference anew")
                continue
            folder.mkdir(parents=True)
            given(folder)
            if folder != kept:
                for path in folder.glob("*.toml"):
                    path.write_text(translated(path.read_text("utf-8"), KEYS), "utf-8")
            running.append(started(program, folder, mine))
        ended = [each.wait() for each in running]
        if any(ended):
            if not told.is_file():
                shutil.rmtree(kept.parent)
            print("one of the two versions could not be run to its end")
            return 2
        told.write_text(str(kept), "utf-8")
        places = [{str(f): "FOLDER", str(p): "PROGRAM"} for f, p in zip(folders, programs, strict=True)]
        made, differ = compared(*folders, places)
    used = os.times()
    print(f"{made} compared, {differ} differ ({len(todo)} commands of each version, {len(ALLOWED)} exceptions allowed;")
    print(f"{time.monotonic() - begun:.0f} s, {used.children_user + used.children_system + used.user:.0f} s of CPU)")
    return 1 if differ else 0


# ---------------------------------------------------------------- two small exports of a harness CAD

KBL = """\
<?xml version="1.0" encoding="UTF-8"?>
<kbl:KBL_container
  xmlns:kbl="http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema"
  xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
  id="root" version_id="2.4 SR-1">
<Connector_housing id="h"><Slots id="hs"><Cavities id="hc1"><Cavity_number>1</Cavity_number></Cavities>
<Cavities id="hc2"><Cavity_number>2</Cavity_number></Cavities><Cavities id="hc3"><Cavity_number>3</Cavity_number>
</Cavities></Slots></Connector_housing><General_wire id="gw"><Cross_section_area>
<Unit_component>mm2</Unit_component><Value_component>0.5</Value_component></Cross_section_area><Outside_diameter>
<Unit_component>cm</Unit_component><Value_component>0.16</Value_component></Outside_diameter><Cover_colour>
<Colour_type>Kennfarbe</Colour_type><Colour_value>WH</Colour_value></Cover_colour><Cover_colour>
<Colour_type>Grundfarbe</Colour_type><Colour_value>RD</Colour_value></Cover_colour></General_wire>
<General_wire id="gk"><Outside_diameter><Unit_component>mm</Unit_component><Value_component>4.1</Value_component>
</Outside_diameter><Core id="core1"><Id>1</Id><Cross_section_area><Unit_component>mm2</Unit_component>
<Value_component>0.35</Value_component></Cross_section_area><Outside_diameter><Unit_component>mm</Unit_component>
<Value_component>0</Value_component></Outside_diameter><Core_colour><Colour_type>Base Color</Colour_type>
<Colour_value>YE</Colour_value></Core_colour></Core><Core id="core2"><Id>2</Id></Core></General_wire>
<Harness id="har"><Part_number>RSB-250</Part_number><Version>A</Version><Abbreviation>/NULL</Abbreviation>
<Description>Survey boat, mast</Description><Connection id="c1"><Id>c1</Id><Signal_name>DEPTH RX</Signal_name>
<Wire>w1</Wire><Extremities id="c1e"><Position_on_wire>1</Position_on_wire><Contact_point>j4p2</Contact_point>
</Extremities><Extremities id="c1f"><Position_on_wire>0</Position_on_wire><Contact_point>p1p1</Contact_point>
</Extremities></Connection><Connection id="c2"><Id>c2</Id><Signal_name>0 V</Signal_name><Wire>k1a</Wire>
<Extremities id="c2e"><Position_on_wire>1</Position_on_wire><Contact_point>s1p1</Contact_point></Extremities>
<Extremities id="c2f"><Position_on_wire>0</Position_on_wire><Contact_point>p1p2</Contact_point></Extremities>
</Connection><Connector_occurrence id="p1"><Id>P1</Id><Alias_id id="p1a"><Alias_id>A-P1</Alias_id></Alias_id>
<Description>Hub</Description><Part>h</Part><Contact_points id="p1p1"><Id>1</Id>
<Contacted_cavity>p1c1</Contacted_cavity></Contact_points><Contact_points id="p1p2"><Id>2</Id>
<Contacted_cavity>p1c2</Contacted_cavity></Contact_points><Contact_points id="p1p3"><Id>3</Id>
<Contacted_cavity>p1c3</Contacted_cavity></Contact_points><Slots id="p1s"><Cavities id="p1c1"><Part>hc1</Part>
</Cavities><Cavities id="p1c2"><Part>hc2</Part></Cavities><Cavities id="p1c3"><Part>hc3</Part></Cavities></Slots>
</Connector_occurrence><Connector_occurrence id="j4"><Id>J4</Id><Alias_id id="j4a"><Alias_id>A-J4</Alias_id>
</Alias_id><Description>Sounder</Description><Part>h</Part><Contact_points id="j4p1"><Id>1</Id>
<Contacted_cavity>j4c1</Contacted_cavity></Contact_points><Contact_points id="j4p2"><Id>2</Id>
<Contacted_cavity>j4c2</Contacted_cavity></Contact_points><Contact_points id="j4p3"><Id>3</Id>
<Contacted_cavity>j4c3</Contacted_cavity></Contact_points><Slots id="j4s"><Cavities id="j4c1"><Part>hc1</Part>
</Cavities><Cavities id="j4c2"><Part>hc2</Part></Cavities><Cavities id="j4c3"><Part>hc3</Part></Cavities></Slots>
</Connector_occurrence><Connector_occurrence id="s1"><Id>S1</Id><Alias_id id="s1a"><Alias_id>A-S1</Alias_id>
</Alias_id><Description></Description><Usage>splice</Usage><Part>h</Part><Contact_points id="s1p1"><Id>1</Id>
<Contacted_cavity>s1c1</Contacted_cavity></Contact_points><Slots id="s1s"><Cavities id="s1c1"><Part>hc1</Part>
</Cavities></Slots></Connector_occurrence><General_wire_occurrence id="w1" xsi:type="kbl:Wire_occurrence">
<Part>gw</Part><Length_information><Length_type>DMU</Length_type><Length_value><Unit_component>mm</Unit_component>
<Value_component>843.2</Value_component></Length_value></Length_information><Length_information>
<Length_type>Production</Length_type><Length_value><Unit_component>mm</Unit_component>
<Value_component>850</Value_component></Length_value></Length_information><Length_information>
<Length_type>supplement</Length_type><Length_value><Unit_component>mm</Unit_component>
<Value_component>20</Value_component></Length_value></Length_information><Wire_number>101</Wire_number>
</General_wire_occurrence><General_wire_occurrence id="k1" xsi:type="kbl:Special_wire_occurrence"><Part>gk</Part>
<Special_wire_id>K1</Special_wire_id><Core_occurrence id="k1a"><Wire_number>201</Wire_number><Part>core1</Part>
<Length_information><Length_type>DMU</Length_type><Length_value><Unit_component>mm</Unit_component>
<Value_component>600</Value_component></Length_value></Length_information></Core_occurrence>
<Core_occurrence id="k1b"><Wire_number>202</Wire_number><Part>core2</Part></Core_occurrence>
</General_wire_occurrence><Wire_protection_occurrence id="t1"><Id>T1</Id><Part>tube</Part>
</Wire_protection_occurrence></Harness><Node id="n1"><Id>N1</Id><Referenced_components>p1</Referenced_components>
</Node><Node id="n2"><Id>N2</Id><Referenced_components>s1</Referenced_components></Node><Node id="n3"><Id>N3</Id>
<Referenced_components>j4</Referenced_components></Node><Routing id="r1"><Routed_wire>c1</Routed_wire>
<Segments>g2 g1</Segments></Routing><Routing id="r2"><Routed_wire>c2</Routed_wire><Segments>g1</Segments></Routing>
<Segment id="g1"><Id>G1</Id><Physical_length><Unit_component>mm</Unit_component>
<Value_component>500</Value_component></Physical_length><End_node>n2</End_node><Start_node>n1</Start_node>
<Cross_section_area_information><Value_determination>reserved</Value_determination><Area>
<Unit_component>mm2</Unit_component><Value_component>12.566</Value_component></Area>
</Cross_section_area_information><Protection_area id="pa"><Start_location>0</Start_location>
<End_location>1</End_location><Associated_protection>t1</Associated_protection></Protection_area></Segment>
<Segment id="g2"><Id>G2</Id><Physical_length><Unit_component>mm</Unit_component>
<Value_component>350</Value_component></Physical_length><End_node>n2</End_node><Start_node>n3</Start_node></Segment>
<Unit id="mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit><Unit id="cm">
<Si_unit_name>metre</Si_unit_name><Si_prefix>centi</Si_prefix></Unit><Unit id="mm2">
<Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix><Si_dimension>square</Si_dimension></Unit>
<Wire_protection id="tube"><Protection_type>braided sleeving</Protection_type></Wire_protection></kbl:KBL_container>
"""

VEC = """\
<?xml version="1.0" encoding="UTF-8"?>
<v:VecContent
  xmlns:v="http://www.prostep.org/ecad-if/2011/vec"
  xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
  xmlns:vec="http://www.prostep.org/ecad-if/2011/vec"
  id="root">
<VecVersion>1.2.0</VecVersion><DocumentVersion id="d1"><DocumentType>PartMaster</DocumentType>
<Specification id="housing" xsi:type="vec:ConnectorHousingSpecification"><Identification>housing</Identification>
<Slot id="slot"><Cavity id="cv1"><CavityNumber>1</CavityNumber></Cavity><Cavity id="cv2">
<CavityNumber>2</CavityNumber></Cavity><Cavity id="cv3"><CavityNumber>3</CavityNumber></Cavity></Slot>
</Specification><Specification id="cu5" xsi:type="vec:CoreSpecification"><Identification>cu5</Identification>
<CrossSectionArea><UnitComponent>mm2</UnitComponent><ValueComponent>0.5</ValueComponent></CrossSectionArea>
</Specification><Specification id="cu3" xsi:type="vec:CoreSpecification"><Identification>cu3</Identification>
<CrossSectionArea><UnitComponent>mm2</UnitComponent><ValueComponent>0.35</ValueComponent></CrossSectionArea>
</Specification><Specification id="inR" xsi:type="vec:InsulationSpecification"><Identification>inR</Identification>
<BaseColor><Key>RD</Key></BaseColor><FirstIdentificationColor><Key>WH</Key></FirstIdentificationColor>
</Specification><Specification id="inY" xsi:type="vec:InsulationSpecification"><Identification>inY</Identification>
<BaseColor><Key>YE</Key></BaseColor></Specification><Specification id="sW" xsi:type="vec:WireElementSpecification">
<Identification>sW</Identification><OutsideDiameter><UnitComponent>cm</UnitComponent>
<ValueComponent>0.16</ValueComponent></OutsideDiameter><ConductorSpecification>cu5</ConductorSpecification>
<InsulationSpecification>inR</InsulationSpecification></Specification>
<Specification id="sK1" xsi:type="vec:WireElementSpecification"><Identification>sK1</Identification>
<ConductorSpecification>cu3</ConductorSpecification><InsulationSpecification>inY</InsulationSpecification>
</Specification><Specification id="sK2" xsi:type="vec:WireElementSpecification"><Identification>sK2</Identification>
</Specification><Specification id="sR" xsi:type="vec:WireElementSpecification"><Identification>sR</Identification>
<OutsideDiameter><UnitComponent>mm</UnitComponent><ValueComponent>4.1</ValueComponent></OutsideDiameter>
<SubWireElementSpecification>sK1 sK2</SubWireElementSpecification></Specification>
<Specification id="wW" xsi:type="vec:WireSpecification"><Identification>wW</Identification>
<WireElementSpecification>sW</WireElementSpecification><WireElement id="eW">
<WireElementSpecification>sW</WireElementSpecification></WireElement></Specification>
<Specification id="wK" xsi:type="vec:WireSpecification"><Identification>wK</Identification>
<WireElementSpecification>sR</WireElementSpecification><WireElement id="eR">
<WireElementSpecification>sR</WireElementSpecification><SubWireElement id="eK1">
<WireElementSpecification>sK1</WireElementSpecification></SubWireElement><SubWireElement id="eK2">
<WireElementSpecification>sK2</WireElementSpecification></SubWireElement></WireElement></Specification>
</DocumentVersion><DocumentVersion id="d2"><DocumentNumber>D-1</DocumentNumber>
<DocumentType>harnessDescription</DocumentType><ReferencedPart>pv</ReferencedPart>
<Specification id="signals" xsi:type="vec:SignalSpecification"><Identification>signals</Identification>
<Signal id="sg1"><SignalName>DEPTH RX</SignalName></Signal><Signal id="sg2"><SignalName>0 V</SignalName></Signal>
</Specification><Specification id="topology" xsi:type="vec:TopologySpecification">
<Identification>topology</Identification><TopologyNode id="n1"/><TopologyNode id="n2"/><TopologyNode id="n3"/>
<TopologySegment id="g1"><Identification>G1</Identification><EndNode>n2</EndNode><StartNode>n1</StartNode>
<LengthInformation><Length><UnitComponent>mm</UnitComponent><ValueComponent>501</ValueComponent></Length>
<Classification>Designed</Classification></LengthInformation><LengthInformation><Length>
<UnitComponent>mm</UnitComponent><ValueComponent>500</ValueComponent></Length>
<Classification>Adapted</Classification></LengthInformation></TopologySegment><TopologySegment id="g2">
<Identification>G2</Identification><EndNode>n2</EndNode><StartNode>n3</StartNode><LengthInformation><Length>
<UnitComponent>mm</UnitComponent><ValueComponent>351</ValueComponent></Length>
<Classification>Designed</Classification></LengthInformation><LengthInformation><Length>
<UnitComponent>mm</UnitComponent><ValueComponent>350</ValueComponent></Length>
<Classification>Adapted</Classification></LengthInformation></TopologySegment></Specification>
<Specification id="places" xsi:type="vec:PlacementSpecification"><Identification>places</Identification><Placement>
<PlacedElement>p1p</PlacedElement><Location xsi:type="vec:NodeLocation"><ReferencedNode>n1</ReferencedNode>
</Location></Placement><Placement><PlacedElement>j4p</PlacedElement><Location xsi:type="vec:NodeLocation">
<ReferencedNode>n3</ReferencedNode></Location></Placement><Placement><PlacedElement>s1p</PlacedElement>
<Location xsi:type="vec:NodeLocation"><ReferencedNode>n2</ReferencedNode></Location></Placement></Specification>
<Specification id="routes" xsi:type="vec:RoutingSpecification"><Identification>routes</Identification>
<Routing id="r1"><RoutedElement>x1</RoutedElement><Path><Segment>g1 g2</Segment></Path></Routing><Routing id="r2">
<RoutedElement>x2</RoutedElement><Path><Segment>g1</Segment></Path></Routing></Specification>
<Specification id="contacts" xsi:type="vec:ContactingSpecification"><Identification>contacts</Identification>
<ContactPoint id="cp1"><CavityMounting><EquippedCavityRef>p1c1</EquippedCavityRef></CavityMounting><WireMounting>
<ReferencedWireEnd>x1e0</ReferencedWireEnd></WireMounting></ContactPoint><ContactPoint id="cp2"><CavityMounting>
<EquippedCavityRef>j4c2</EquippedCavityRef></CavityMounting><WireMounting>
<ReferencedWireEnd>x1e1</ReferencedWireEnd></WireMounting></ContactPoint><ContactPoint id="cp3"><CavityMounting>
<EquippedCavityRef>p1c2</EquippedCavityRef></CavityMounting><WireMounting>
<ReferencedWireEnd>x2e0</ReferencedWireEnd></WireMounting></ContactPoint><ContactPoint id="cp4">
<MountedTerminal>s1t</MountedTerminal><WireMounting><ReferencedWireEnd>x2e1</ReferencedWireEnd></WireMounting>
</ContactPoint></Specification><Specification id="parts" xsi:type="vec:CompositionSpecification">
<Identification>parts</Identification><Component id="p1"><Identification>P1</Identification><AliasId>
<IdentificationValue>A-P1</IdentificationValue></AliasId><Description><LanguageCode>De</LanguageCode>
<Value>-</Value></Description><Description><LanguageCode>En</LanguageCode><Value>Hub</Value></Description>
<Role id="p1r" xsi:type="vec:ConnectorHousingRole"><SlotReference id="p1s"><ReferencedSlot>slot</ReferencedSlot>
<CavityReference id="p1c1"><Identification>x1</Identification><ReferencedCavity>cv1</ReferencedCavity>
</CavityReference><CavityReference id="p1c2"><Identification>x2</Identification>
<ReferencedCavity>cv2</ReferencedCavity></CavityReference><CavityReference id="p1c3">
<Identification>x3</Identification><ReferencedCavity>cv3</ReferencedCavity></CavityReference></SlotReference></Role>
<Role id="p1p" xsi:type="vec:PlaceableElementRole"/></Component><Component id="j4">
<Identification>J4</Identification><AliasId><IdentificationValue>A-J4</IdentificationValue></AliasId><Description>
<LanguageCode>De</LanguageCode><Value>-</Value></Description><Description><LanguageCode>En</LanguageCode>
<Value>Sounder</Value></Description><Role id="j4r" xsi:type="vec:ConnectorHousingRole"><SlotReference id="j4s">
<ReferencedSlot>slot</ReferencedSlot><CavityReference id="j4c1"><Identification>x1</Identification>
<ReferencedCavity>cv1</ReferencedCavity></CavityReference><CavityReference id="j4c2">
<Identification>x2</Identification><ReferencedCavity>cv2</ReferencedCavity></CavityReference>
<CavityReference id="j4c3"><Identification>x3</Identification><ReferencedCavity>cv3</ReferencedCavity>
</CavityReference></SlotReference></Role><Role id="j4p" xsi:type="vec:PlaceableElementRole"/></Component>
<Component id="s1"><Identification>S1</Identification><Role id="s1t" xsi:type="vec:SpliceTerminalRole"/>
<Role id="s1p" xsi:type="vec:PlaceableElementRole"/></Component><Component id="w1">
<Identification>101</Identification><Role id="w1r" xsi:type="vec:WireRole"><WireSpecification>wW</WireSpecification>
<WireElementReference id="x1"><Identification>101</Identification><ReferencedWireElement>eW</ReferencedWireElement>
<Signal>sg1</Signal><WireEnd id="x1e1"><PositionOnWire>1</PositionOnWire></WireEnd><WireEnd id="x1e0">
<PositionOnWire>0</PositionOnWire></WireEnd><WireLength><LengthType>Production</LengthType><LengthValue>
<UnitComponent>mm</UnitComponent><ValueComponent>850</ValueComponent></LengthValue></WireLength>
</WireElementReference></Role></Component><Component id="k1"><Identification>K1</Identification>
<Role id="k1r" xsi:type="vec:WireRole"><Identification>K1</Identification><WireSpecification>wK</WireSpecification>
<WireElementReference id="xR"><Identification>K1</Identification><ReferencedWireElement>eR</ReferencedWireElement>
</WireElementReference><WireElementReference id="x2"><Identification>201</Identification>
<ReferencedWireElement>eK1</ReferencedWireElement><Signal>sg2</Signal><WireEnd id="x2e1">
<PositionOnWire>1</PositionOnWire></WireEnd><WireEnd id="x2e0"><PositionOnWire>0</PositionOnWire></WireEnd>
<WireLength><LengthType>Production</LengthType><LengthValue><UnitComponent>mm</UnitComponent>
<ValueComponent>600</ValueComponent></LengthValue></WireLength></WireElementReference><WireElementReference id="x3">
<Identification>202</Identification><Unconnected>true</Unconnected>
<ReferencedWireElement>eK2</ReferencedWireElement></WireElementReference></Role></Component></Specification>
</DocumentVersion><PartVersion id="pv"><PartNumber>RSB-250</PartNumber><PartVersion>A</PartVersion><Description>
<LanguageCode>En</LanguageCode><Value>Survey boat, mast</Value></Description></PartVersion>
<Unit id="mm" xsi:type="vec:SIUnit"><SiUnitName>Metre</SiUnitName><SiPrefix>Milli</SiPrefix></Unit>
<Unit id="cm" xsi:type="vec:SIUnit"><SiUnitName>Metre</SiUnitName><SiPrefix>Centi</SiPrefix></Unit>
<Unit id="mm2" xsi:type="vec:SIUnit"><Exponent>2</Exponent><SiUnitName>Metre</SiUnitName><SiPrefix>Milli</SiPrefix>
</Unit></v:VecContent>
"""


if __name__ == "__main__":
    sys.exit(main())
