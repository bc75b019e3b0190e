"""Eight benches on one record: no error reaches a user, nothing is lost, the counts add up.

Slow: a few seconds by ``-m slow``; ``--seconds 30`` is the whole test.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from labeler.record import open_record

BENCHES = 8
WORKER = """
import json, random, sys, time
from pathlib import Path
from tests.orders import print_harness, reprint
from labeler.record import open_record
place, out, loom, seconds, seed = sys.argv[1], Path(sys.argv[2]), sys.argv[3], float(sys.argv[4]), int(sys.argv[5])
chance, done = random.Random(seed), {"print": [], "reprint": [], "list": 0, "void": []}
with open_record(place) as record:
    done["print"].append(print_harness(loom, out, record, leave_out=True).job.unit)
    end = time.monotonic() + seconds  # all is loaded now
    while time.monotonic() < end:
        what = chance.choice(("print", "reprint", "reprint", "list", "void"))
        if what == "print":
            done[what].append(print_harness(loom, out, record, leave_out=True).job.unit)
        elif what == "reprint":
            item = record.find(chance.choice(done["print"]) + " J1:1")[0]
            done[what].append(reprint(record, [item], out, reason="lost").job.id)
        elif what == "void":
            item = record.find(chance.choice(done["print"]) + " P1:2")[0]
            if item.state == "printed":
                record.void(item.unit, item.row.id, "torn")
                done[what].append(item.unit)
        else:
            done[what] += bool(record.jobs()) and bool(record.units())
print(json.dumps(done))
"""
LOOM = "Wire,From,From Pin,To,To Pin,Gauge\nW1,P1,1,J1,1,16 AWG\nW2,P1,2,J1,2,16 AWG\n"


@pytest.mark.slow
def test_eight_benches_on_one_record(place: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    (tmp_path / "loom.csv").write_text(LOOM)
    seconds = str(request.config.getoption("--seconds"))
    words = [sys.executable, "-c", WORKER, place, str(tmp_path / "out"), str(tmp_path / "loom.csv"), seconds]
    running = [
        subprocess.Popen([*words, str(n)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for n in range(BENCHES)
    ]
    said = [bench.communicate() for bench in running]
    assert [error for _, error in said if error] == []
    done = [json.loads(out) for out, _ in said]
    serials = [serial for bench in done for serial in bench["print"]]
    reprints = [job for bench in done for job in bench["reprint"]]
    voids = Counter(serial for bench in done for serial in bench["void"])
    assert len(set(serials)) == len(serials)
    assert len(set(reprints)) == len(reprints)
    with open_record(place) as record:
        assert record.problems() == ()
        jobs = record.jobs()
        assert Counter(job.state for job in jobs) == {"printed": len(serials) + len(reprints)}
        assert sorted(job.unit for job in jobs if job.kind == "print") == sorted(serials)
        assert sorted(job.id for job in jobs if job.kind == "reprint") == sorted(reprints)
        files = [name for job in jobs for name in job.files]
        assert len(set(files)) == len(files)
        assert all(Path(name).is_file() for name in files)
        for serial in serials:
            again = Counter(job.unit for job in jobs if job.kind == "reprint")[serial]
            assert record.find(f"{serial} J1:1")[0].print_count == 1 + again
            assert record.find(f"{serial} P1:2")[0].void_count == voids[serial]
    print(f"{len(serials)} prints, {len(reprints)} reprints, {sum(voids.values())} voids by {BENCHES} benches")
