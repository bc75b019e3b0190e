"""Killed at any moment: nothing is lost, nothing doubled, every PDF is whole and recorded, resume finishes the rest.

Slow: a few moments by ``-m slow``; ``--moments 100`` is the whole test, with 200 units.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from hashlib import sha256
from pathlib import Path

import pypdfium2 as pdfium
import pytest

from labeler.errors import LabelerError
from labeler.record import open_record
from labeler.record.store import Record
from tests.orders import resume, resume_run

LOOM = "Wire,From,From Pin,To,To Pin,Gauge\nW1,P1,1,J1,1,16 AWG\nW2,P1,2,J1,2,16 AWG\n"
WORKER = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # it is ignored where tests run in the background
from pathlib import Path
from tests.orders import print_harness
from labeler.record import open_record
import labeler.work.bench_sheet, labeler.draw.bench, labeler.draw.pdf, labeler.layout.place
import labeler.readers.table, pandas
place, out, loom, units = sys.argv[1], Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
print("ready", flush=True)
with open_record(place) as record:
    while sum(unit.state == "printed" for unit in record.units()) < units:
        print_harness(loom, out, record, leave_out=True, date="2026-03-01")
"""


LATEST_S = 0.6  # of a kill, after the start: some units are printed by then


def start(place: str, folder: Path, units: int, worker: str = WORKER) -> subprocess.Popen[str]:
    (folder / "loom.csv").write_text(LOOM)
    command = [sys.executable, "-c", worker, place, str(folder / "out"), str(folder / "loom.csv"), str(units)]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert running.stdout is not None
    assert running.stdout.readline() == "ready\n", running.communicate()
    return running


def is_whole(file: Path) -> bool:
    return file.read_bytes().rstrip().endswith(b"%%EOF") and len(pdfium.PdfDocument(str(file))) > 0


def look_over(record: Record, out: Path) -> None:
    """Check what must hold after a kill, resume what was broken off, and check again."""
    assert record.problems() == ()
    units = record.units()
    assert len({unit.serial for unit in units}) == len(units)
    prints = [job.unit for job in record.jobs() if job.state != "cancelled"]
    assert len(set(prints)) == len(prints)  # no serial twice
    on_disk = set(out.glob("*.pdf"))
    assert all(is_whole(file) for file in on_disk)
    # a sheet that exists is of a unit whose job is in the record
    assert {file.name.split("-bench")[0].split("-wrap")[0].split("-tag")[0].split("-card")[0] for file in on_disk} <= {
        f"loom-{serial}" for serial in prints
    }
    assert {Path(name) for job in record.jobs() for name in job.files} <= on_disk
    broken_off = [job for job in record.jobs() if job.state == "pending"]
    assert len(broken_off) <= 1  # one process, one job at a time
    for job in broken_off:
        assert resume(record, job.id, out).job.state == "printed"
    recorded = [Path(name) for job in record.jobs() for name in job.files]
    assert len(set(recorded)) == len(recorded)
    assert set(recorded) == set(out.glob("*.pdf"))
    assert record.problems() == ()


@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=lambda how: how.name)
def test_killed_at_random_moments(
    place: str, tmp_path: Path, request: pytest.FixtureRequest, how: signal.Signals
) -> None:
    moments: int = request.config.getoption("--moments")
    units = min(200, 3 + 2 * moments)
    out, chance = tmp_path / "out", random.Random(moments)
    resumed = killed = 0
    for _ in range(moments):
        running = start(place, tmp_path, units)
        time.sleep(chance.uniform(0, LATEST_S))
        running.send_signal(how)
        _, said = running.communicate()
        if how == signal.SIGKILL:  # an interrupt can be lost in a destructor, and the work goes on
            assert running.returncode in (-signal.SIGKILL, 0), said  # 0: all units were printed before
        killed += running.returncode != 0
        if how == signal.SIGINT and out.exists():  # it tidies up after itself
            assert [file.name for file in out.iterdir() if file.suffix != ".pdf"] == [], said
        try:
            with open_record(place, create=False) as record:
                before = sum(job.state == "pending" for job in record.jobs())
                resumed += before
                look_over(record, out)
        except Exception as error:
            if "there is no build record here" not in str(error) and "not a build record" not in str(error):
                raise  # killed before there was one
    running = start(place, tmp_path, units)
    _, said = running.communicate()
    assert running.returncode == 0, said
    with open_record(place, create=False) as record:
        look_over(record, out)
        printed = [unit for unit in record.units() if unit.state == "printed"]
        assert len(printed) == units
        for unit in printed:
            assert len(list(out.glob(f"loom-{unit.serial}-*.pdf"))) == 4, unit  # bench sheet, cards, wraps, tags
    assert killed or how == signal.SIGINT
    print(f"{how.name}: {killed} kills at {moments} moments, {units} units, {resumed} jobs resumed")


@pytest.mark.slow
def test_killed_while_units_share_sheets(place: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """Three units at a time: all three of a run are prepared, or printed, and finished as one."""
    moments: int = request.config.getoption("--moments")
    units = min(60, 3 + 3 * moments)
    out, chance, resumed = tmp_path / "out", random.Random(moments), 0
    worker = WORKER.replace("import print_harness", "import print_units")
    worker = worker.replace("print_harness(loom, out, record,", "print_units(loom, out, record, units=(None,) * 3,")
    for last in [False] * moments + [True]:
        running = start(place, tmp_path, units, worker)
        if not last:
            time.sleep(chance.uniform(0, LATEST_S))
            running.kill()
        _, said = running.communicate()
        assert running.returncode in ((0,) if last else (-signal.SIGKILL, 0)), said
        try:
            opened = open_record(place, create=False)
        except LabelerError as error:
            if "no build record here" not in str(error) and "not a build record" not in str(error):
                raise
            continue  # killed before there was one
        with opened as record:
            for job in record.jobs():
                assert len(record.run(job.id)) == 3
                assert len({one.state for one in record.run(job.id)}) == 1
            broken_off = [job.id for job in record.jobs() if job.state == "pending"]
            assert len(broken_off) in (0, 3)
            if broken_off:
                resumed += 1
                digests = record.digests(broken_off[0])
                done = resume_run(record, broken_off[-1], out)
                assert [one.job.state for one in done] == ["printed"] * 3
                sheets = [name for name in digests if "bench-sheet" not in name]
                assert all(sha256(Path(name).read_bytes()).hexdigest() == digests[name] for name in sheets)
            assert record.problems() == ()
            recorded = {Path(name) for job in record.jobs() for name in job.files}
            assert recorded == set(out.glob("*.pdf"))
            assert all(map(is_whole, recorded))
            serials = [unit.serial for unit in record.units() if unit.state == "printed"]
    assert len(set(serials)) == len(serials) >= units
    print(f"{moments} moments, {len(serials)} units, {resumed} runs resumed")
