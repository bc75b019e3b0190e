"""Matched printed identification for a wiring harness, checked to read after shrinking.

The functions for scripts are in `labeler.api`. Each name here is imported when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from labeler.api import bundle, check, find, fit, print_units, read, reprint
    from labeler.errors import LabelerError, Problem
    from labeler.record import open_record

    __version__: str

__all__ = [
    "LabelerError",
    "Problem",
    "__version__",
    "bundle",
    "check",
    "find",
    "fit",
    "open_record",
    "print_units",
    "read",
    "reprint",
]

_MODULES = {"LabelerError": "labeler.errors", "Problem": "labeler.errors", "open_record": "labeler.record"}


def __getattr__(name: str) -> object:
    """Return a public name, imported now from the module that holds it."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if name == "__version__":
        from importlib.metadata import version

        found: object = version("labeler")
    else:
        from importlib import import_module

        found = getattr(import_module(_MODULES.get(name, "labeler.api")), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """Return the names of the package, those that are not imported yet too."""
    return sorted(globals().keys() | set(__all__))
