"""Check: read, validate, plan, size, fit; the answer for every marker of a harness file."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from labeler.errors import LabelerError, Problem, SourceLocation, refuse
from labeler.fitting.film import served
from labeler.fitting.result import font_of
from labeler.harness import index
from labeler.job.fitting import Stocks, carries_code, fit_markers, names_unit
from labeler.job.order import USUAL, HarnessFile, Loading, Track, untracked
from labeler.layout.checks import stock_problems
from labeler.model import FAIL, Fit, Harness, InstallationStep, Marker, Stock
from labeler.plan import confusable, plan
from labeler.readers import read_file
from labeler.size.bundles import Sizing
from labeler.size.installation import installation_order
from labeler.tables.catalogue import Catalogue, default_settings, load_catalogue
from labeler.tables.kinds import KINDS
from labeler.tables.stocks import PAPERS
from labeler.validate import validate

SAME_MM = 0.5  # by so much may a page be off the paper it is called after
PLACEHOLDER_UNIT = "0001"  # what a check writes on the tags: no serial is given yet


@dataclass(frozen=True, slots=True)
class Checked:
    """A harness with the answer for every marker; ``notes`` are warnings."""

    sizing: Sizing
    fits: tuple[Fit, ...]
    stocks: Stocks
    notes: tuple[Problem, ...] = ()
    of_unit: tuple[Marker, ...] = ()  # as planned: the markers that say for which unit they are
    unit: str = PLACEHOLDER_UNIT  # the serial that those were written for

    @property
    def harness(self) -> Harness:
        """Return the harness."""
        return self.sizing.index.harness

    @property
    def misfits(self) -> tuple[Fit, ...]:
        """Return the markers that do not fit."""
        return tuple(fit for fit in self.fits if fit.result == FAIL)


@contextmanager
def no_collecting() -> Iterator[None]:
    """Keep the garbage collector off: the stages make very many values and no cycles worth looking for."""
    again = gc.enable if gc.isenabled() else gc.disable
    gc.disable()
    try:
        yield
    finally:
        again()


# ---------------------------------------------------------------- check


def choose_stocks(catalogue: Catalogue, loading: Loading = USUAL) -> Stocks:
    """Return the stock to print on: those named, and for the other kinds what suits the paper.

    Of wraps those named come first, and after them the others, for wires that those do not serve.
    Raises `LabelerError` for an unknown name and where a kind has no stock.
    """
    named = [catalogue.stock(name) for name in loading.stocks]
    asked = {takes: [stock for stock in named if stock.marker == takes] for takes in KINDS}
    on_paper = [stock for stock in catalogue.stocks if _on_paper(stock, loading.paper)]
    suited = {takes: [stock for stock in on_paper if stock.marker == takes] for takes in KINDS}
    found = {takes: asked[takes] or suited[takes] for takes in KINDS}
    refuse(
        Problem(
            SourceLocation("layouts"),
            f"no {takes} stock for {loading.paper}",
            "add a stock file, or name one with --stock",
        )
        for takes, stocks in found.items()
        if not stocks
    )
    others = [stock for stock in suited["wrap"] if stock not in found["wrap"]]
    wraps = [s for some in (found["wrap"], others) for s in sorted(some, key=lambda s: -s.print_zone_mm)]
    return Stocks(tuple(wraps), *(found[takes][0] for takes in ("tag", "sleeve", "insert", "flag")))


def _on_paper(stock: Stock, paper: str) -> bool:
    """Whether a stock is a sheet of this paper; what sleeves lie on only must not belong to another paper."""
    wide = {name for name, (width, _) in PAPERS.items() if abs(stock.page_width_mm - width) < SAME_MM}
    if stock.marker == "sleeve":
        return wide <= {paper}
    return paper in wide and abs(stock.page_height_mm - PAPERS[paper][1]) < SAME_MM


def _kept_elsewhere(named: Sequence[Stock], fits: Sequence[Fit], stocks: Stocks) -> Iterator[Problem]:
    """Yield a note for each stock that was asked for and serves only some of its markers, or none."""
    used = {fit.stock or (stocks.sleeve.name if fit.face else "") for fit in fits}
    wraps = [(fit.stock, fit.seat.text_diameter) for fit in fits if fit.marker.kind == "wrap" and fit.seat]
    for stock in named:
        on = [text_diameter for chosen, text_diameter in wraps if chosen != stock.name]
        if stock.marker == "wrap" and on:
            wires = served(stock)
            wanted = f"{wires.low:.2f} to {wires.high:.2f} mm" if wires.low <= wires.high else "no wire"
            text = (
                f"{stock.name} serves {wanted}: {len(on)} of {len(wraps)} wraps, on "
                f"{min(r.low for r in on):.2f} to {max(r.high for r in on):.2f} mm, are not on it"
            )
            yield Problem(SourceLocation("--stock"), text, "they are on stock that serves their wires", warning=True)
        elif stock.name not in used:
            first = next(each.name for each in named if each.marker == stock.marker)
            fix = f"choose the kind {stock.marker} in the harness file, or another --stock"
            text = f"{stock.name} takes {stock.marker}s, and no marker of this job goes on it"
            if stock.marker != "wrap" and first != stock.name:
                fix = f"name one stock for {stock.marker}s"
                text = f"{stock.name} takes {stock.marker}s, as {first} does, which is named before it"
            yield Problem(SourceLocation("--stock"), text, fix, warning=True)


@no_collecting()
def check(
    file: HarnessFile,
    loading: Loading = USUAL,
    *,
    unit: str | Callable[[Harness], str] = PLACEHOLDER_UNIT,
    only: Sequence[str] = (),
    track: Track = untracked,
    date: str = "",
) -> Checked:
    """Return the answer for every marker of a harness file, or for those of some roles ``only``.

    ``unit`` is the serial that tags and codes name, or what finds it; ``track`` is handed the markers
    while they are fitted, to show how far that has come; ``date`` stands on the tags.

    Raises `LabelerError` with every problem of the data at once; a marker that does not fit is
    no problem but an answer.
    """
    catalogue = load_catalogue()
    stocks = choose_stocks(catalogue, loading)
    harness = read_file(file.path, catalogue, default_settings(), file.settings, file.reading).checked()
    sizing = Sizing(index(harness), catalogue)
    problems = [*harness.notes, *validate(sizing.index, catalogue)]
    markers, planning = plan(sizing.index)
    markers = tuple(marker for marker in markers if not only or marker.role in only)
    problems += [*planning, *_glyph_problems(harness, markers), *confusable(markers)]
    refuse(dict.fromkeys(problems))
    serial = unit if isinstance(unit, str) else unit(harness)
    fits = fit_markers(sizing, markers, stocks, serial, track, date)
    refuse(problem for used in _used_stocks(fits, stocks) for problem in stock_problems(used))
    problems += _kept_elsewhere([catalogue.stock(name) for name in loading.stocks], fits, stocks)
    order_of(sizing, fits)  # what it needs to know is asked for now, not while drawing
    notes = tuple(dict.fromkeys(p for p in (*problems, *_empty_tags(fits)) if p.warning))
    of_unit = tuple(m for m in markers if m.role == "bag" or names_unit(m) or carries_code(m))
    return Checked(sizing, fits, stocks, notes, of_unit, serial)


def _empty_tags(fits: Iterable[Fit]) -> Iterator[Problem]:
    """Yield a warning for each bag whose tag lists nothing."""
    for fit in fits:
        if fit.marker.role == "bag" and fit.face and not (fit.face.boxes or fit.on_bench_sheet):
            text = f"bag {fit.marker.place}: nothing is listed on its tag"
            yield Problem(fit.marker.where, text, "name its branch, its connector or its contents", warning=True)


def _used_stocks(fits: Iterable[Fit], stocks: Stocks) -> Iterator[Stock]:
    """Yield the stocks that the markers that fit are printed on."""
    named = stocks.by_name()
    names = (fit.stock or stocks.sleeve.name for fit in fits if fit.face and fit.result != FAIL)
    return map(named.__getitem__, dict.fromkeys(names))


def order_of(sizing: Sizing, fits: Iterable[Fit]) -> tuple[InstallationStep, ...]:
    """Return the installation order of every branch that has a marked end, branch by branch.

    Raises `LabelerError` with every size that decides and is not known.
    """
    marked = {fit.marker.branch for fit in fits if fit.marker.role == "branch end"}
    steps: list[InstallationStep] = []
    problems: list[Problem] = []
    for branch in sizing.index.branches:
        try:
            steps += installation_order(branch, sizing) if branch.id in marked else ()
        except LabelerError as error:
            problems.extend(error.problems)
    refuse(dict.fromkeys(problems))
    return tuple(steps)


def _glyph_problems(harness: Harness, markers: Iterable[Marker]) -> Iterator[Problem]:
    """Yield every character that no font has, one problem a marker; all-ASCII texts are passed by.

    A tag is checked with what it is written from: names, descriptions, contents.
    """
    about = (harness.name, harness.part_number, harness.revision, *(c.description for c in harness.connectors))
    contents = {bag.id: tuple(item.item for item in bag.contents) for bag in harness.bags}
    shared = tuple(text for text in about if not text.isascii())
    for marker in markers:
        tag = (*shared, *contents.get(marker.place, ())) if marker.role == "bag" else ()
        text = (*marker.text, *tag)
        together = "".join(text)
        if together.isascii() and together.isprintable():
            continue
        try:
            font_of(text, marker)
        except LabelerError as error:
            yield from error.problems
