"""Put one fault after another into the program and see whether the tests catch it. By hand, not by pytest:

    python tests/faults.py [--against FOLDER] [--only ID …] [--jobs 2] [--limit SECONDS] [--nearest] [--out FILE]

Each fault is one line that is changed: a formula, a tolerance, an order, a default. It is put into a copy of the
checkout; the tests whose names lie nearest are run first, with ``-x``, and the whole suite (but what is slow) only
where those pass. A fault is caught where a test fails; the fault ``none`` changes nothing and must not be. One line
is printed for each, a table at the end; the exit status is 1 where a fault is not caught or cannot be put in.

A fault names no module: its text is looked for in all of ``labeler/`` and must be there exactly once. Where code was
rewritten, add a second pair of texts to the fault: the first pair that is found is taken.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

ROOT = Path(__file__).resolve().parents[1]
LEFT_OUT = (".git", "__pycache__", ".hypothesis", ".venv", ".mypy_cache", ".ruff_cache", ".pytest_cache", "out")
PASSED, FAILED, BROKEN, NONE_THERE = 0, 1, 2, 5  # exit statuses of pytest; broken: a test file was not even read
LIMIT_S = 900.0  # of one fault, on a machine that others use too


@dataclass(frozen=True, slots=True)
class Fault:
    """A line that is wrong. ``near`` are words in the names of the test files that are run first."""

    id: str
    breaks: str
    near: str
    ways: tuple[tuple[str, str], ...]  # text that stands there once → what stands there instead


def fault(id: str, breaks: str, near: str, *ways: tuple[str, str]) -> Fault:
    """Return a fault; ``ways`` are the text and its replacement, and the same for code that was rewritten."""
    return Fault(id, breaks, near, ways)


FAULTS = (
    # ------------------------------------------------------------ formulas: bundles
    fault("hand-laid", "the smaller of trade rule and packing is taken", "bundle size",
          ("return max(factor * math.hypot(*wires),", "return min(factor * math.hypot(*wires),")),
    fault("hull-radii", "the outline is taken around twice as thick wires", "bundle",
          ("girth([wire / 2 for wire in packing.wires_mm]", "girth([wire for wire in packing.wires_mm]")),
    fault("hull-least", "the longest outline is taken for the shortest", "bundle",
          ("packing.shortest or packing.centres)", "packing.centres)")),
    # ------------------------------------------------------------ formulas: shrinking
    fault("wall-section", "the section of the wall is taken inside the tube", "shrink",
          ("recovered_section = (recovered_mm + wall_mm) * wall_mm",
           "recovered_section = (recovered_mm - wall_mm) * wall_mm")),
    fault("along-sign", "tube grows longer where it should shrink", "shrink",
          ("along = 1 + change * recovery", "along = 1 - change * recovery")),
    fault("volume", "the wall's volume is not kept where the length changes", "shrink",
          ("(recovered_section - flowed_mm2) * (1 + change) / along)", "(recovered_section - flowed_mm2))")),
    fault("recovered-limit", "the tolerance of the recovered diameter is missing", "shrink docs",
          ("Range(tube.recovered_mm * (1 - recovered_under), tube.recovered_mm)",
           "Range(tube.recovered_mm, tube.recovered_mm)"),
          ("Range(self.recovered_mm * (1 - recovered_under), self.recovered_mm)",
           "Range(self.recovered_mm, self.recovered_mm)")),
    fault("arc-face", "the arc is that of the face shrunk most", "shrink geometry",
          ("2 * face.high / at.outside_mm", "2 * face.low / at.outside_mm")),
    fault("lay-flat", "a whole wall too much in the lay-flat width", "shrink",
          ("return pi * (supplied_mm + wall_mm) / 2", "return pi * (supplied_mm + 2 * wall_mm) / 2")),
    fault("cut-longer", "a cut is shortened where it should be lengthened", "shrink stepped docs",
          ("return sum(length / along for length, along in parts)",
           "return sum(length * along for length, along in parts)")),
    # ------------------------------------------------------------ formulas: reading, wires, codes
    fault("half-angle", "the visual angle is not halved", "legib",
          ("tan(radians(angle_arcmin / 60) / 2)", "tan(radians(angle_arcmin / 60))")),
    fault("film-once", "the film of a wrap counts on one side alone", "legib wrap",
          ("(label_mm - print_around_mm) / pi - 2 * film_mm", "(label_mm - print_around_mm) / pi - film_mm")),
    fault("copies-gap", "the last copy of a wrap needs a gap below it", "legib wrap",
          ("floor((zone_mm + gap_mm) / (block_mm + gap_mm) + 1e-9)", "floor(zone_mm / (block_mm + gap_mm) + 1e-9)")),
    fault("mark-interval", "marks along a wire stand too far apart", "plan mark",
          ("ceil(span / INTERVAL_MM - 1e-9)", "int(span / INTERVAL_MM - 1e-9)")),
    fault("contrast-order", "light on dark has another contrast than dark on light", "legib plan colour fit",
          ("lighter, darker = max(one, other), min(one, other)", "lighter, darker = one, other")),
    fault("aim", "the aim error of a reader is left out", "curvature code",
          ("first, last = aim - arc / 2, aim + arc / 2", "first, last = -arc / 2, arc / 2")),
    fault("axial-mean", "axial non-uniformity over the larger module", "curvature code",
          ("/ ((x_mm + y_mm) / 2)", "/ max(x_mm, y_mm)")),
    fault("gauge", "AWG diameters off by one step in the exponent", "wire",
          ("92 ** ((36 - gauge) / 39)", "92 ** ((35 - gauge) / 39)")),
    fault("check-sign", "another check character", "check plan",
          ("ALPHABET[(37 - product) % 36]", "ALPHABET[(36 - product) % 36]")),
    # ------------------------------------------------------------ size
    fault("covering-both", "a covering counts on one side alone", "size branches docs",
          ("bundle_mm.high + 2 * wall.high)", "bundle_mm.high + wall.high)"),
          ("bare.high + 2 * wall_mm.high)", "bare.high + wall_mm.high)")),
    fault("slip", "the tube is chosen to pass the smallest bundle", "size fit",
          ("seat.passes.high * (1 + settings.slip), seat.closes_on.low * (1 - settings.grip)\n    found:",
           "seat.passes.low * (1 + settings.slip), seat.closes_on.low * (1 - settings.grip)\n    found:")),
    fault("grip", "the tube is chosen to grip the largest bundle", "size fit",
          ("seat.closes_on.low * (1 - settings.grip)\n    found:",
           "seat.closes_on.high * (1 - settings.grip)\n    found:")),
    fault("preferred", "tubes at the edge of their range come first", "size tube",
          ("(not _middling(t, seat.closes_on, settings.preferred_share)",
           "(_middling(t, seat.closes_on, settings.preferred_share)")),
    fault("jacket-once", "a jacketed cable counts once for each core", "size thread",
          ("for name in dict.fromkeys(c.cable for c in circuits) if name in jackets",
           "for name in (c.cable for c in circuits) if name in jackets"),
          ("cables = dict.fromkeys(circuit.cable for circuit in circuits)",
           "cables = [circuit.cable for circuit in circuits]")),
    fault("way-on", "the sleeve is threaded from the worst end", "ways thread",
          ("return min(ways, key=effort, default=None)", "return max(ways, key=effort, default=None)")),
    fault("obstacle", "what is fitted is not passed", "ways thread size",
          ("if way and way.obstacle_mm > most:", "if way and way.obstacle_mm < most:"),
          ("if way and way.obstacle_mm > over:", "if way and way.obstacle_mm < over:")),
    fault("inner-splice-size", "a splice inside a branch is not passed", "size thread ways branch docs",
          ("return max(bundles + known)", "return max(bundles)"),
          ("splices = [outside for name in names if (outside := index.connectors[name].outside_mm)]",
           "splices = list[float]()")),
    fault("text-on", "lettering stands on the other side of a covering's edge", "stepped size",
          ('straddles and settings.lettering_on == "bundle" else',
           'straddles and settings.lettering_on != "bundle" else'),
          ("(bare if on_bundle else covered).closes_on,\n",
           "(bare if straddles and not on_bundle else covered).closes_on,\n")),
    fault("crimped", "crimped contacts count without the wires beside them", "size thread ways",
          ("return max(contact, bare + among - without)", "return contact")),
    fault("thread-order", "the order of threading is turned round", "thread bench",
          ("placed.append((way, place / last,", "placed.append((way, 1 - place / last,"),
          ("placed.append((way, number / last, _step(", "placed.append((way, 1 - number / last, _step(")),
    # ------------------------------------------------------------ branches, plan
    fault("own-circuits", "all of a branch's circuits lie at each of its ends", "branches size",
          ('if branch.circuits or not own or kind == "junction" else own',
           'if branch.circuits or not own or kind == "junction" else circuits')),
    fault("inner-splices", "splices at ends are taken for inner ones", "branches thread",
          ('c.kind == "splice" and c.id not in at)', 'c.kind == "splice" and c.id in at)')),
    fault("to-junction", "circuits that pass a branch by run through it", "branches",
          ("{name: reached - direct or reached for", "{name: reached or reached - direct for")),
    fault("local-remote", "near and far end exchanged on wire markers", "plan docs",
          ('near, far: f"{near}/{far}"', 'near, far: f"{far}/{near}"')),
    fault("id-start", "ids no longer depend on the revision", "plan",
          ('f"{harness.part_number or harness.name}|{harness.revision}|"',
           'f"{harness.part_number or harness.name}||"')),
    fault("pin-order", "pins of a tag sorted as text: 10 before 2", "plan tags",
          ('(int(cavity), "") if cavity.isdecimal()', '(0, cavity) if cavity.isdecimal()'),
          ("return int(self.cavity) if numbered else", "return 0 if numbered else")),
    fault("marker-template", "another field in a wire marker", "plan",
          ('"remote": far,\n        "signal"', '"remote": near,\n        "signal"')),
    # ------------------------------------------------------------ fit
    fault("pre-stretch", "letters come out wider than allowed", "fit",
          ("stretch = max(sqrt(on.squeeze.low * on.squeeze.high), own",
           "stretch = min(sqrt(on.squeeze.low * on.squeeze.high), own"),
          ("stretch = max(sqrt(squeeze.low * squeeze.high), own",
           "stretch = min(sqrt(squeeze.low * squeeze.high), own")),
    fault("needed-flat", "the height asked for is held before shrinking alone", "fit",
          ("required_mm=max(needed.required_mm / low, least)", "required_mm=max(needed.required_mm, least)"),
          ("zone = flat_zone(font, settings, needed, on.face_scale, letters, stretch)",
           "zone = replace(flat_zone(font, settings, needed, on.face_scale, letters, stretch),"
           " required_mm=flat_zone(font, settings, needed, ONE, letters, stretch).required_mm)")),
    fault("film-arc", "the arc of a wrap on the thickest wire", "fit wrap",
          ("arc_per_mm = 2 / (on_mm.low + 2 * film_mm)", "arc_per_mm = 2 / (on_mm.high + 2 * film_mm)"),
          ("2 / (seat.text_on.low + 2 * stock.film_mm)", "2 / (seat.text_on.high + 2 * stock.film_mm)")),
    fault("turned", "what must be turned to read fits, and what need not is tight", "fit",
          ("    elif setting.turned:\n", "    elif not setting.turned:\n")),
    fault("distance", "reading distances of wires and branches exchanged", "fit",
          ("settings.wire_reading_distance_mm if marker.on_wire else settings.reading_distance_mm",
           "settings.reading_distance_mm if marker.on_wire else settings.wire_reading_distance_mm")),
    fault("best-tube", "of tubes that do not fit the worst answer is given", "fit",
          ("key=lambda a: (VERDICTS.index(a.verdict),", "key=lambda a: (-VERDICTS.index(a.verdict),")),
    fault("first-cut", "cut lengths begin below the shortest", "fit strip",
          ("ceil(round(max(settings.shortest_cut_mm, at_least_mm) / step, 9))",
           "ceil(round(min(settings.shortest_cut_mm, at_least_mm) / step, 9))")),
    fault("end-margins", "one end margin of two along the tube", "fit",
          ("taken = 2 * settings.end_margin_mm + rest", "taken = settings.end_margin_mm + rest")),
    fault("rest-side", "the plain part of a stepped sleeve at the wrong end", "stepped",
          ('rest_right = ground.rest_towards_end == (', 'rest_right = ground.rest_towards_end != ('),
          ("(section is None or section.towards_end) == (settings.reading",
           "(section is None or section.towards_end) != (settings.reading")),
    fault("two-sleeves", "two sleeves may overlap on a short branch", "along",
          ("taken[fit.marker.at], branch.length_mm - sum(others)", "taken[fit.marker.at], branch.length_mm"),
          ("if reaches[at] <= length - others + EPS:", "if reaches[at] <= length + EPS:")),
    fault("module-scale", "modules of a code are printed too small for a tube that shrinks", "code",
          ("rules.dpi / MM_PER_INCH / scale - 1e-6", "rules.dpi / MM_PER_INCH * scale - 1e-6"),
          ("settings.code_module_mm * settings.printer_dpi / MM_PER_INCH / scale",
           "settings.code_module_mm * settings.printer_dpi / MM_PER_INCH * scale")),
    # ------------------------------------------------------------ codes, layout, drawing
    fault("payload-order", "unit and marker exchanged in a code", "payload scan",
          ('"unit and marker": "{unit} {marker}"', '"unit and marker": "{marker} {unit}"')),
    fault("qr-level", "a lower error correction than asked for", "code",
          ("for higher in LEVELS[LEVELS.index(least) + 1 :]:", "for higher in LEVELS[: LEVELS.index(least)]:")),
    fault("upside-down", "modules of a code drawn one too high", "code draw",
          ('f"{column} {count - row - high} {wide} {high} re"', 'f"{column} {count - row} {wide} {high} re"')),
    fault("card-gap", "no gap between sleeves on a card", "layout",
          ("at = slot.end + self.gap if slot.placed else self.left", "at = slot.end if slot.placed else self.left"),
          ("at = slot.end + gap if slot.placed else left", "at = slot.end if slot.placed else left")),
    fault("start-cell", "the first free cell is left out", "layout",
          ("range(row * stock.columns + column))", "range(row * stock.columns + column + 1))")),
    fault("used-after", "cells used before are forgotten", "layout handing used",
          ("if len(those) == 1 else set())", "if len(those) > 1 else set())")),
    fault("leader", "a strip begins without its leader", "strip layout",
          ("        x = stock.leader_mm\n", "        x = 0.0\n")),
    fault("whole-points", "places on a page rounded to whole points", "draw geometry",
          ('return f"{x_mm * self.per_mm:.3f} {y_mm * self.per_mm:.3f}"',
           'return f"{x_mm * self.per_mm:.0f} {y_mm * self.per_mm:.0f}"'),
          ('return f"{points(x_mm):.3f} {points(y_mm):.3f}"', 'return f"{points(x_mm):.0f} {points(y_mm):.0f}"')),
    fault("second-pass", "the second face of a sleeve is not printed", "draw pass face",
          ("if placed.piece.face.passes > 1)", "if placed.piece.face.passes > 2)")),
    fault("copies-up", "copies of a wrap run up instead of down", "draw rendered wrap",
          ("{y - copy * apart:.3f} Tm", "{y + copy * apart:.3f} Tm"),
          ("{start} {y - step:.3f} Tm", "{start} {y + step:.3f} Tm")),
    fault("tube-total", "the total of tube counts each cut once", "bench",
          ("0.0) + cut.quantity * cut.cut_length_mm", "0.0) + cut.cut_length_mm")),
    fault("proof-aim", "the picture of a part is turned the wrong way", "proof shrink onpart",
          ("np.arcsin(np.clip(level / radius, -1, 1)) - view.aim",
           "np.arcsin(np.clip(level / radius, -1, 1)) + view.aim")),
    # ------------------------------------------------------------ read
    fault("centimetres", "centimetres are read as decimetres", "values",
          ('"cm": 10.0,', '"cm": 100.0,')),
    fault("mixed-fraction", "1 1/4 in is read as 1/4 in", "values",
          ("return int(match[1] or 0) + int(match[2]) / int(match[3])", "return int(match[2]) / int(match[3])")),
    fault("bare-sizes", "mm2 columns are taken for AWG", "values csv",
          ("4 <= value <= 40 and value not in COMMON_MM2", "4 <= value <= 40")),
    fault("colon-names", "names with colons are parted at the first", "values toml",
          ('connector, colon, cavity = text.strip().rpartition(":")',
           'connector, colon, cavity = text.strip().partition(":")')),
    fault("end-settings", "an end does not take the settings of its branch", "toml",
          ("own_or_branch = settings or branch_settings", "own_or_branch = settings"),
          ('parts(end, END, own["settings"])', "parts(end, END, base)")),
    fault("set-wins", "the file's defaults win over --set", "toml cli",
          ("with_settings(with_settings(settings, defaults), changes)",
           "with_settings(with_settings(settings, changes), defaults)"),
          ('with_settings(with_settings(settings, one["defaults"].values), changes)',
           'with_settings(with_settings(settings, changes), one["defaults"].values)')),
    fault("kbl-ends", "the ends of a wire of a KBL are exchanged", "cad",
          ("sorted(zip(positions, given, strict=True), key=lambda pair: pair[0])]",
           "sorted(zip(positions, given, strict=True), key=lambda pair: -pair[0])]"),
          ('key=lambda end: measure(end.said("Position_on_wire")) or 0.0)',
           'key=lambda end: -(measure(end.said("Position_on_wire")) or 0.0))')),
    fault("vec-length", "the designed length of a VEC wins over the adapted", "cad",
          ('key=lambda pair: pair[0] != "adapted"', 'key=lambda pair: pair[0] == "adapted"')),
    # ------------------------------------------------------------ record
    fault("void-after", "what was printed before it was declared void is good", "record. record/",
          ("row.job_id > (last_void.after_job if", "row.job_id >= (last_void.after_job if")),
    fault("serial-zeros", "a unit is found with its zeros alone", "record. record/",
          ('digits = serial.lstrip("0") or "0"', 'digits = serial.rstrip("0") or "0"')),
    fault("micrometres", "faces are kept to a micrometre", "record. record/",
          ("MILLIONTH = 1e6", "MILLIONTH = 1e3")),
    fault("withdrawn-cells", "cells of a job that was withdrawn count as used", "handing used",
          ("asked.where(c.job_id.not_in(gone))", "asked.where(c.job_id.in_(gone) | c.job_id.not_in(gone))"),
          ("statement.where(c.job_id.not_in(withdrawn_jobs()))", "statement")),
    fault("revision-of", "markers of another revision count as built", "revis",
          ("and revision in (None, item.revision):", "and revision != item.revision:")),
)  # fmt: skip

# Faults that the tests nearest to them did not catch at first: they are tried where they are named with --only.
GAPS = (
    fault("edge-margin", "one margin of two across the tube", "fit geometry",
          ("across_mm=flat - 2 * edge_margin", "across_mm=flat - edge_margin"),
          ("flat - 2 * settings.edge_margin_mm, settings)", "flat - settings.edge_margin_mm, settings)")),
    fault("prepared", "a marker counts as printed when all its prints are", "record. handing shared",
          ('return "printed" if any(row.confirmed for row in good)',
           'return "printed" if all(row.confirmed for row in good)')),
    fault("printer-scale", "a printer's correction acts about the wrong point", "pens raster draw printers",
          ("(1 - printer.scale_y) * self.height_mm / 2", "(1 - printer.scale_y) * self.height_mm")),
    fault("hull-inside", "circles inside the outline count", "bundle",
          ("if apart <= abs(more):", "if apart < -abs(more):")),
    fault("two-sides", "lettered side and back exchange their shares", "shrink",
          ("(scale - (1 - share) * full_scale) / share)", "(scale - share * full_scale) / (1 - share))")),
    fault("quiet-one-side", "the quiet zone of a code on one side alone", "code",
          ("high = y if code.linear else (rows + 2 * quiet) * y", "high = y if code.linear else (rows + quiet) * y"),
          ("high = y if code.linear else (fit.rows + 2 * quiet) * y",
           "high = y if code.linear else (fit.rows + quiet) * y")),
    fault("strokes", "the printer's dots count for the thicker stroke", "fit setting legib draw docs",
          ("(font.stroke * min(1.0, stretch))", "(font.stroke * max(1.0, stretch))")),
    fault("diff-colour", "another colour of tube is no change", "revis",
          ('TOLD = ("kind", "label", "tube", "colour", "cut_length_mm")',
           'TOLD = ("kind", "label", "tube", "cut_length_mm")')),
    fault("line-order", "the history of a marker in the wrong order of jobs", "record. record/ lost keep",
          ("return statement.order_by(job.c.unit_id, job.c.id,",
           "return statement.order_by(job.c.unit_id, job.c.id.desc(),")),
)  # fmt: skip


# ---------------------------------------------------------------- putting a fault in


def place_of(one: Fault, tree: Path) -> tuple[Path, str]:
    """Return the file of a fault and what it holds with the fault; raises ValueError where it has no one place."""
    counts = []
    for text, instead in one.ways:
        found = [path for path in sorted((tree / "labeler").rglob("*.py")) if text in path.read_text("utf-8")]
        times = sum(path.read_text("utf-8").count(text) for path in found)
        if times == 1:
            return found[0], found[0].read_text("utf-8").replace(text, instead)
        counts.append(f"{text!r} stands there {times} times")
    raise ValueError("; ".join(counts))


def nearest(one: Fault, tree: Path) -> list[str]:
    """Return the test files whose names hold one of the fault's words, in the order of these words."""
    files = sorted((tree / "tests").rglob("test_*.py"))
    names = [file for word in one.near.split() for file in files if word in str(file.relative_to(tree / "tests"))]
    return [str(name.relative_to(tree)) for name in dict.fromkeys(names)]


@dataclass(frozen=True, slots=True)
class Result:
    """What became of a fault: ``caught``, ``not caught``, ``too slow``, or ``no place``: it could not be tried."""

    fault: Fault
    what: str
    seconds: float
    by: str = ""


def tried(one: Fault, tree: Path, limit_s: float, nearest_alone: bool) -> Result:
    """Put a fault into a tree, run the tests, and take it out again."""
    begun = time.monotonic()
    path, before = None, ""
    if one.ways:
        try:
            path, after = place_of(one, tree)
        except ValueError as error:
            return Result(one, "no place", 0.0, str(error))
        before = path.read_text("utf-8")
        path.write_text(after, "utf-8")
    try:
        near = nearest(one, tree)
        rounds = [near] if near else []
        if not nearest_alone or not near:
            rounds.append([*(f"--ignore={name}" for name in near), "tests"])
        for words in rounds:
            left = limit_s - (time.monotonic() - begun)
            status, said = _pytest(words, tree, left)
            if status is None:
                return Result(one, "too slow", time.monotonic() - begun, "killed at the limit")
            if status not in (PASSED, FAILED, BROKEN, NONE_THERE):
                return Result(one, "no place", time.monotonic() - begun, f"pytest: {_failed(said)}")
            if status in (FAILED, BROKEN):
                return Result(one, "caught", time.monotonic() - begun, _failed(said))
        return Result(one, "not caught", time.monotonic() - begun)
    finally:
        if path is not None:
            path.write_text(before, "utf-8")
        shutil.rmtree(tree / ".hypothesis", ignore_errors=True)


def _pytest(words: Sequence[str], tree: Path, limit_s: float) -> tuple[int | None, str]:
    """Return pytest's exit status and what it said; None where it was killed at the limit."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *words]
    if "slow" in (tree / "pyproject.toml").read_text("utf-8"):  # a mark that is declared there
        command += ["-m", "not slow"]
    kept = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "PYTEST_ADDOPTS")}
    environment = {**kept, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1", "OPENBLAS_NUM_THREADS": "1"}
    with tempfile.TemporaryFile("w+") as said:
        running = subprocess.Popen(
            command, cwd=tree, env=environment, stdout=said, stderr=subprocess.STDOUT, start_new_session=True
        )
        status: int | None = None
        try:
            status = running.wait(max(limit_s, 1.0))
        except subprocess.TimeoutExpired:
            pass
        finally:
            if status is None:
                os.killpg(running.pid, signal.SIGKILL)  # the group that was started here, with what it started
                running.wait()
        said.seek(0)
        return status, said.read()


def _failed(said: str) -> str:
    """Return the test that failed, or the last line of what pytest said."""
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", said, re.M)
    return found[1] if found else (said.strip().splitlines() or ["?"])[-1][:100]


# ---------------------------------------------------------------- all of them


def copied(against: Path, into: Path) -> Path:
    """Return a copy of a checkout."""
    return Path(shutil.copytree(against, into, ignore=shutil.ignore_patterns(*LEFT_OUT)))


def results(todo: Sequence[Fault], against: Path, jobs: int, limit_s: float, nearest_alone: bool) -> Iterator[Result]:
    """Yield what became of each fault, in their order, with so many at once."""
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(jobs) as pool:
        trees: SimpleQueue[Path] = SimpleQueue()
        for number in range(jobs):
            trees.put(copied(against, Path(folder) / f"tree-{number}"))

        def work(one: Fault) -> Result:
            tree = trees.get()
            try:
                return tried(one, tree, limit_s, nearest_alone)
            finally:
                trees.put(tree)

        yield from pool.map(work, todo)


def main() -> int:
    """Try the faults that were asked for; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--against", type=Path, default=ROOT, help="a checkout; default: this one")
    parser.add_argument("--only", nargs="+", metavar="ID", help="these faults")
    parser.add_argument("--jobs", type=int, default=2, help="faults at once")
    parser.add_argument("--limit", type=float, default=LIMIT_S, help="seconds for one fault")
    parser.add_argument("--nearest", action="store_true", help="the nearest tests alone")
    parser.add_argument("--places", action="store_true", help="only see whether each fault has one place")
    parser.add_argument("--out", type=Path, help="write the table there too")
    chosen = parser.parse_args()
    known = {one.id: one for one in (*FAULTS, *GAPS, Fault("none", "nothing", "", ()))}
    unknown = [name for name in chosen.only or () if name not in known]
    if unknown:
        parser.error(f"no such fault: {', '.join(unknown)}")
    todo = [known[name] for name in chosen.only] if chosen.only else list(FAULTS)
    if chosen.places:
        return _places(todo, chosen.against.resolve())
    lines = []
    count = {"caught": 0, "not caught": 0, "too slow": 0, "no place": 0}
    for result in results(todo, chosen.against.resolve(), chosen.jobs, chosen.limit, chosen.nearest):
        count[result.what] += 1
        lines.append(
            f"{result.what:10}  {result.seconds:5.0f} s  {result.fault.id:18}  {result.fault.breaks:60}  {result.by}"
        )
        print(lines[-1], flush=True)
    lines.append(f"{len(todo)} faults: " + ", ".join(f"{number} {what}" for what, number in count.items() if number))
    print(lines[-1])
    if chosen.out:
        chosen.out.write_text("\n".join(lines) + "\n", "utf-8")
    good = all(one.id == "none" for one in todo) if count["not caught"] else True
    return 0 if good and not count["no place"] and not count["too slow"] else 1


def _places(todo: Sequence[Fault], tree: Path) -> int:
    wrong = 0
    for one in todo:
        try:
            path, _ = place_of(one, tree)
            print(f"{one.id:18}  {path.relative_to(tree)}  first: {' '.join(nearest(one, tree)) or 'all'}")
        except ValueError as error:
            wrong += 1
            print(f"{one.id:18}  NO PLACE  {error}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
