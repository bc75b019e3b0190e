"""Codes on their parts are read: random markers, seats and printers, photographed from the front and off the middle.

    LABELER_DECODE=1000 python -m pytest -m slow -s tests/codes/test_decode.py

tries so many accepted ones instead of 300, the everyday run 40, and prints the decode rate by grid deviation.
"""

from __future__ import annotations

import os
from collections import Counter

import numpy as np
import pytest

from labeler.codes.reading import read_codes
from tests.onpart import Trial, flat_picture, photographed, trials

COUNT = int(os.environ.get("LABELER_DECODE", "300"))
EVERYDAY = 40
BANDS = ((0.2, "to 0.2"), (0.38, "0.2 to 0.38"), (0.6, "0.38 to 0.6"), (float("inf"), "over 0.6"))
Rates = dict[tuple[str, float], list[int]]  # by band and aim: read, tried


def band(grid: float) -> str:
    return next(name for limit, name in BANDS if grid <= limit)


def decode(trial: Trial, rates: Rates, camera: np.random.Generator) -> None:
    fit = trial.fit
    assert fit.code is not None
    flat = flat_picture(fit)
    for end in ("low", "high"):
        for aim in (0.0, 10.0):
            found = read_codes(photographed(fit, flat, end, aim, camera), (fit.code.symbology,))
            tally = rates.setdefault((band(fit.code.grid_nonuniformity), aim), [0, 0])
            tally[0] += trial.payload in [one.text for one in found]
            tally[1] += 1


def shown(rates: Rates) -> str:
    lines = []
    for _, name in BANDS:
        for aim in (0.0, 10.0):
            read, tried = rates.get((name, aim), [0, 0])
            if tried:
                lines.append(f"  grid {name:12}  aim {aim:2.0f}°  {read:5} of {tried:5}  {read / tried:7.2%}")
    return "\n".join(lines)


@pytest.mark.parametrize("count", [EVERYDAY, pytest.param(COUNT, marks=pytest.mark.slow)])
def test_accepted_codes_are_read_on_the_part(count: int) -> None:
    """At both ends of the interval, at 0° and at 10°: at least 99 % each."""
    camera, kinds = np.random.default_rng(38), Counter[str]()
    rates: Rates = {}
    for trial in trials(38):
        if trial.fit.result == "fail":
            continue
        assert trial.fit.code is not None
        assert trial.fit.code.failures == ()
        kinds[f"{trial.fit.code.symbology} on {trial.fit.marker.kind}s"] += 1
        decode(trial, rates, camera)
        if kinds.total() == count:
            break
    print(f"\naccepted: {dict(kinds)}\n{shown(rates)}")
    assert len(kinds) >= 4  # a QR has no room on the wires that wraps serve, and bars hardly any
    for aim in (0.0, 10.0):
        read, tried = map(sum, zip(*(tally for (_, at), tally in rates.items() if at == aim), strict=True))
        assert tried == 2 * count
        assert read / tried >= 0.99


@pytest.mark.slow
def test_refused_codes_are_read_less_the_farther_off_they_are() -> None:
    """Asked for all the same: the rate by grid deviation shows where the limit stands. Flatly refused are not drawn."""
    camera, tried = np.random.default_rng(60), 0
    rates: Rates = {}
    for trial in trials(60, {"code.allow_failed": True}):
        code = trial.fit.code
        assert code is not None
        no_room = any(fault.kind in ("code too high", "code too long") for fault in code.failures)
        if not code.failures or code.rows == 1 or code.arc_deg > 150 or no_room:
            continue  # bars, what leaves the view, and what has no room: cut off, it cannot be read
        assert trial.fit.result != "pass"
        decode(trial, rates, camera)
        tried += 1
        if tried == COUNT // 6:
            break
    print(f"\nrefused, printed all the same:\n{shown(rates)}")
    shares = {name: rates[name, 10.0][0] / rates[name, 10.0][1] for _, name in BANDS if (name, 10.0) in rates}
    assert shares["over 0.6"] < 0.9 <= shares.get("to 0.2", 1.0)
