"""Send: hand a file to the system's print service, unscaled and with its own page size.

The service is the one behind the command ``lp`` (CUPS on Linux and macOS). Media and scaling are
given by the standard names of print jobs (PWG 5101.1 for sizes, PWG 5100.13 for print-scaling).
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress

from labeler.errors import LabelerError, Problem, SourceLocation

TIMEOUT_S = 60.0  # a service that has not answered by then will not: project choice
STANDARD_MEDIA = {(210.0, 297.0): "iso_a4_210x297mm", (215.9, 279.4): "na_letter_8.5x11in"}  # PWG 5101.1

_REQUEST = re.compile(r"request id is (\S+)")


def queue_problems(queues: Iterable[str]) -> Sequence[Problem]:
    """Return why jobs cannot be sent to these printers; empty, they take jobs."""
    named = tuple(dict.fromkeys(queues))
    if named and not (shutil.which("lp") and shutil.which("lpstat")):
        text = "there is no print service here (the command lp is missing)"
        return (Problem(SourceLocation("--send-to"), text, "print the PDF files by hand, at 100 %, or install CUPS"),)
    return tuple(problem for queue in named for problem in _queue_problems(queue))


def _queue_problems(queue: str) -> Iterator[Problem]:
    answer = _run(["lpstat", "-a", queue])
    if answer.returncode:
        known = _run(["lpstat", "-e"]).stdout.split()
        fix = f"known are: {', '.join(known)}" if known else "the print service knows no printer; see lpstat -e"
        says = " ".join(answer.stderr.split()) or "unknown"
        yield Problem(SourceLocation("--send-to"), f"printer {queue!r} takes no job ({says})", fix)
    elif "not accepting" in answer.stdout:
        text = f"printer {queue!r} takes no jobs now ({' '.join(answer.stdout.split())})"
        yield Problem(SourceLocation("--send-to"), text, "let it take jobs again (cupsaccept), or name another")


def send(data: bytes, queue: str, title: str, width_mm: float, height_mm: float) -> str:
    """Hand over a PDF whose pages are all of one size; return the service's name of the job.

    Raises `LabelerError` where the service does not take it.
    """
    options = [f"media={media(width_mm, height_mm)}", "print-scaling=none", "fit-to-page=false", "sides=one-sided"]
    words = ["lp", "-d", queue, "-t", title, *(word for option in options for word in ("-o", option)), "--", "-"]
    answer = _run(words, data)
    named = _REQUEST.search(answer.stdout)
    if answer.returncode or not named:
        says = " ".join((answer.stderr or answer.stdout).split()) or f"status {answer.returncode}"
        text = f"printer {queue!r} did not take the job: {says}"
        raise LabelerError(Problem(SourceLocation("--send-to"), text, "see lpstat -t; nothing was recorded as printed"))
    return named[1]


def media(width_mm: float, height_mm: float) -> str:
    """Return the name of a page size.

    >>> media(210, 297), media(62, 10.9)
    ('iso_a4_210x297mm', 'Custom.62x10.9mm')
    """
    return STANDARD_MEDIA.get((width_mm, height_mm)) or f"Custom.{round(width_mm, 2):g}x{round(height_mm, 2):g}mm"


def take_back(jobs: Iterable[str]) -> None:
    """Ask the service to drop jobs that it has taken; what is printed already stays printed."""
    for job in jobs:
        with suppress(LabelerError, OSError):
            _run(["cancel", job])


def _run(words: Sequence[str], data: bytes = b"") -> subprocess.CompletedProcess[str]:
    """Run a command of the print service, in English, so that its answers can be read."""
    steady: Mapping[str, str] = {**os.environ, "LC_ALL": "C", "LANGUAGE": "C"}
    try:
        done = subprocess.run(
            words,
            input=data,
            capture_output=True,
            timeout=TIMEOUT_S,
            env=steady,
            check=False,
            start_new_session=True,  # Ctrl-C is for this program, which takes back what was sent
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise LabelerError(
            Problem(SourceLocation("--send-to"), f"{words[0]}: {error}", "see whether the service runs")
        ) from error
    text = (done.stdout.decode("utf-8", "replace"), done.stderr.decode("utf-8", "replace"))
    return subprocess.CompletedProcess(words, done.returncode, *text)
