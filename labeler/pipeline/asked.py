"""What options name: stocks that are not known or that nothing is printed on, sheets that are partly used."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

from labeler.catalogue import load_catalogue
from labeler.errors import Problem, Where, nearest, refuse
from labeler.model import Sheet, Stock

if TYPE_CHECKING:
    from labeler.record.store import Record


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


def partly_used(record: Record, stocks: Mapping[str, Stock], given: Collection[str]) -> dict[str, tuple[str, ...]]:
    """Return which cells of the stocks' last sheets the record knows to be gone, but for stocks that are ``given``.

    A sheet that has no cell left is none to go on with. Raises `LabelerError` where a stock has no such cells: its
    file has changed since.
    """
    from labeler.layout import blocks_of, cells, parse_cells
    from labeler.record.used import used_cells

    known, problems = {}, []
    for name, gone in used_cells(record).items():
        if name not in stocks or name in given:
            continue
        every = {cell.name for cell in cells(stocks[name])}
        if not every.issuperset(gone):
            what = blocks_of([cell for cell in gone if cell not in every])
            text = f"of the partly used sheet of {name} the cells {what} are gone, which the stock has no more"
            fix = f"say which are gone (--used {name}=…), or begin a new sheet (--start {name}=A1)"
            problems.append(Problem(Where(record.name), text, fix))
        elif every - {*gone, *parse_cells(stocks[name].used)}:
            known[name] = gone
    refuse(problems)
    return known
