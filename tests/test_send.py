"""Send: what arrives at a real print service, and what happens where there is none or it refuses."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pypdfium2 as pdfium
import pytest

from labeler.errors import LabelerError
from labeler.job.order import Output
from labeler.record import open_record
from labeler.send import queue_problems
from tests.orders import print_harness, reprint
from tests.places import EXAMPLES

BOAT = str(EXAMPLES / "survey-boat.toml")
BINARIES = Path("/usr/lib/cups")
PATIENCE_S = 20.0

# A printer that keeps what it is given: the data as they came, the title and the options beside them.
KEEPER = """#!/bin/sh
[ $# -eq 0 ] && { echo 'file keep:/x "keeps files" "keeps files"'; exit 0; }
place=${DEVICE_URI#keep:}/$1
printf '%s' "$3" > "$place.title"
printf '%s' "$5" > "$place.options"
if [ -n "$6" ]; then cat "$6"; else cat; fi > "$place.part"
mv "$place.part" "$place.data"
"""
SERVICE = """Listen {socket}
Browsing Off
WebInterface No
DefaultAuthType None
<Location />
  Order allow,deny
  Allow all
</Location>
<Location /admin>
  Order allow,deny
  Allow all
</Location>
<Policy default>
  <Limit All>
    Order deny,allow
    Allow all
  </Limit>
</Policy>
"""
FOLDERS = """ServerBin {here}/bin
ServerRoot {here}/etc
RequestRoot {here}/spool
CacheDir {here}/cache
StateDir {here}/state
TempDir {here}/spool
AccessLog {here}/access.log
ErrorLog {here}/error.log
PageLog {here}/page.log
"""


def program(name: str) -> str | None:
    return shutil.which(name, path=f"{os.environ['PATH']}:/usr/sbin:/sbin")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Start a print service of its own with one printer, "bench"; return the folder where that keeps its jobs."""
    cupsd, lpadmin = program("cupsd"), program("lpadmin")
    if not (cupsd and lpadmin and program("lp") and (BINARIES / "daemon").is_dir()):
        pytest.skip("no CUPS here: apt-get install cups-daemon cups-client")
    here = tmp_path_factory.mktemp("cups")
    for name in ("bin/backend", "etc", "spool", "cache", "state", "out"):
        (here / name).mkdir(parents=True)
    for name in ("daemon", "filter"):
        if (BINARIES / name).is_dir():
            (here / "bin" / name).symlink_to(BINARIES / name)
    backend = here / "bin" / "backend" / "keep"
    backend.write_text(KEEPER)
    backend.chmod(stat.S_IRWXU)  # closed to others: the service then runs it as its own user
    socket = f"{here}/sock"
    (here / "etc" / "cupsd.conf").write_text(SERVICE.format(socket=socket))
    (here / "etc" / "cups-files.conf").write_text(FOLDERS.format(here=here))
    words = [cupsd, "-f", "-c", f"{here}/etc/cupsd.conf", "-s", f"{here}/etc/cups-files.conf"]
    with pytest.MonkeyPatch.context() as patch, (here / "out.log").open("wb") as log:
        patch.setenv("CUPS_SERVER", socket)
        service = subprocess.Popen(words, stdout=log, stderr=log)
        try:
            add = [lpadmin, "-p", "bench", "-E", "-v", f"keep:{here}/out", "-m", "raw"]
            if not waited_for(lambda: subprocess.run(add, capture_output=True).returncode == 0):
                pytest.skip(f"CUPS does not start here: {(here / 'out.log').read_text('utf-8', 'replace')[-300:]}")
            yield here / "out"
        finally:
            service.terminate()
            service.wait(PATIENCE_S)


def waited_for(done: object) -> bool:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if done():  # type: ignore[operator]
            return True
        time.sleep(0.1)
    return False


def arrived(kept: Path, after: set[str], count: int) -> list[Path]:
    """Wait for so many new jobs and return them in their order."""

    def new() -> list[Path]:
        return sorted((p for p in kept.glob("*.data") if p.name not in after), key=lambda p: int(p.stem))

    assert waited_for(lambda: len(new()) >= count), f"{len(new())} of {count} jobs"
    return new()


def test_what_arrives_is_the_file_unscaled_with_its_own_page_size(kept: Path, tmp_path: Path) -> None:
    before = {path.name for path in kept.iterdir()}
    with open_record(tmp_path / "r.sqlite") as record:
        out = Output(tmp_path, send={"": "bench"})
        printed = print_harness(BOAT, tmp_path, record, out=out, paper="Letter")
        assert [job.state for job in record.jobs()] == ["printed"]
    sheets = [path for path in printed.files if "bench-sheet" not in path.name]
    jobs = arrived(kept, before, len(sheets))
    assert [job.read_bytes() for job in jobs] == [path.read_bytes() for path in sheets]
    for job, path in zip(jobs, sheets, strict=True):
        options = job.with_suffix(".options").read_text().split()
        assert "print-scaling=none" in options
        assert "sides=one-sided" in options
        width, height = pdfium.PdfDocument(job.read_bytes())[0].get_size()
        # PWG 5101.1: na_letter is 8.5 x 11 in = 612 x 792 pt; the card is 215.9 x 139.7 mm = 612 x 396 pt
        (media,) = [word.partition("=")[2] for word in options if word.startswith("media=")]
        expected = {612 * 792: "na_letter_8.5x11in", 612 * 396: "Custom.215.9x139.7mm"}
        assert media == expected[round(width) * round(height)], path
        assert "unit 0001" in job.with_suffix(".title").read_text()


def test_pages_of_a_reel_go_in_jobs_of_one_size_in_their_order(kept: Path, tmp_path: Path) -> None:
    before = {path.name for path in kept.iterdir()}
    with open_record(tmp_path / "r.sqlite") as record:
        out = Output(tmp_path, send={"reel": "bench"})
        printed = print_harness(BOAT, tmp_path, record, stock=("reel",), only=("branch end",), out=out)
    expected = [(f"{s.width_mm:g}x{round(s.height_mm, 2):g}mm") for s in printed.sheets]
    runs = [size for i, size in enumerate(expected) if i == 0 or size != expected[i - 1]]
    jobs = arrived(kept, before, len(runs))
    found = []
    pages = 0
    for job in jobs:
        options = job.with_suffix(".options").read_text().split()
        found += [word.removeprefix("media=Custom.") for word in options if word.startswith("media=")]
        document = pdfium.PdfDocument(job.read_bytes())
        assert len({page.get_size() for page in document}) == 1
        pages += len(document)
    assert found == runs
    assert pages == len(printed.sheets)


def test_a_reprint_is_sent_too(kept: Path, tmp_path: Path) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        print_harness(BOAT, tmp_path, record, only=("bag",))
        before = {path.name for path in kept.iterdir()}
        out = Output(tmp_path, send={"": "bench"})
        again = reprint(record, record.find("0001 K4"), tmp_path, reason="lost", out=out)
    (job,) = arrived(kept, before, 1)
    assert job.read_bytes() == again.files[-1].read_bytes()  # the first is the work list


def nothing_is_printed(tmp_path: Path, match: str) -> None:
    with open_record(tmp_path / "r.sqlite") as record:
        with pytest.raises(LabelerError, match=match):
            print_harness(BOAT, tmp_path / "out", record, out=Output(tmp_path, send={"": "nobody"}))
        assert [job for job in record.jobs() if job.state != "cancelled"] == []
    assert not [path for path in tmp_path.rglob("*") if path.suffix == ".pdf"]


def test_a_printer_that_is_not_there(kept: Path, tmp_path: Path) -> None:
    nothing_is_printed(tmp_path, r"printer 'nobody' takes no job .*; known are: bench")


def test_no_print_service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    nothing_is_printed(tmp_path, r"there is no print service here \(the command lp is missing\)")
    assert queue_problems([]) == ()


def test_a_job_that_is_refused_half_way_is_taken_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A stand-in for lp takes two jobs and refuses the third."""
    folder = tmp_path / "bin"
    folder.mkdir()
    count = tmp_path / "count"
    scripts = {
        "lpstat": "echo 'nobody accepting requests since today'",
        "lp": f"cat > /dev/null; echo x >> {count}; n=$(wc -l < {count}); "
        '[ "$n" -gt 2 ] && { echo "lp: out of paper" >&2; exit 1; }; echo "request id is nobody-$n (1 file(s))"',
        "cancel": f'echo "$1" >> {tmp_path}/cancelled',
    }
    for name, script in scripts.items():
        (folder / name).write_text(f"#!/bin/sh\n{script}\n")
        (folder / name).chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}:{os.environ['PATH']}")
    nothing_is_printed(tmp_path, "printer 'nobody' did not take the job: lp: out of paper")
    assert (tmp_path / "cancelled").read_text().split() == ["nobody-1", "nobody-2"]
