"""Which cases of many are tried every time; the rest are slow."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def spread(cases: Iterable[Any], everyday: int) -> list[Any]:
    """Return all cases as parameters: so many of them, equally far apart, for every day, and the others marked slow."""
    listed = list(cases)
    kept = {n * len(listed) // everyday for n in range(everyday)}
    return [
        case if n in kept else pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.slow)
        for n, case in enumerate(listed)
    ]


def chosen(cases: Iterable[Any], slow: Iterable[Any]) -> list[Any]:
    """Return all cases as parameters, those that are named marked slow."""
    named = list(slow)
    return [pytest.param(case, marks=pytest.mark.slow) if case in named else case for case in cases]
