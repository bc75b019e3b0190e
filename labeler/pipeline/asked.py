"""What options name: stocks that are not known, and stocks that nothing is printed on."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from labeler.catalogue import load_catalogue
from labeler.errors import Problem, Where, nearest, refuse
from labeler.model import Sheet


def notes_on_stocks(
    start: Collection[str], used: Collection[str], send: Collection[str], sheets: Iterable[Sheet]
) -> tuple[Problem, ...]:
    """Return a note for every stock that an option names and nothing is printed on; "" names all of them.

    Raises `LabelerError` for stocks that are not known.
    """
    printed = list(dict.fromkeys(sheet.stock.name for sheet in sheets))
    known = [*printed, *(stock.name for stock in load_catalogue().stocks)]
    notes = []
    for option, names in (("--start", start), ("--used", used), ("--send", send)):
        for name in (name for name in names if name and name not in printed):
            if name in known:
                fix = f"this job prints on {', '.join(printed) or 'none'}"
                notes.append(Problem(Where(option), f"nothing is printed on {name}", fix, warning=True))
            else:
                near = nearest(name, known)
                fix = f"did you mean {near!r}?" if near else "see labeler stock"
                notes.append(Problem(Where(option), f"stock {name!r} is unknown", fix))
    refuse(notes)
    return tuple(notes)
