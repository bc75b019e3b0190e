"""Lists of what is known: stocks, tubes, wires, choices, recorded markers; as lines and as rows for JSON."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from labeler.errors import LabelerError, Problem, SourceLocation, suggestion
from labeler.fitting.film import served
from labeler.layout.cells import blocks_of, cells, parse_cells
from labeler.model import Stock
from labeler.readers.columnmap import map_form
from labeler.readers.toml import harness_form
from labeler.tables.catalogue import SPECS, Catalogue, SettingSpec, setting_specs
from labeler.tables.colours import COLOURS
from labeler.tables.document import Form
from labeler.tables.materials import COVERINGS, FAMILIES, WIRE_TYPES
from labeler.tables.printers import PRINTER, load_printer, printer_folder, printer_profiles
from labeler.tables.stocks import STOCK
from labeler.text import FONTS, font_names, load_font
from labeler.work.bench_sheet import SAFETY_MESSAGES
from labeler.work.sleeves import from_json
from labeler.work.wording import instructions

if TYPE_CHECKING:
    from labeler.job.revising import Difference
    from labeler.record.store import Record
    from labeler.record.values import Job, MarkerRow, Recorded


Row = dict[str, Any]


def _row(value: Any) -> Row:
    """Return the fields of a value, ranges with ``min`` and ``max``."""
    return asdict(value, dict_factory=lambda items: {RANGE_NAMES.get(name, name): each for name, each in items})


RANGE_NAMES = {"low": "min", "high": "max"}


def _stocks(catalogue: Catalogue, name: str | None) -> Sequence[Stock]:
    return (catalogue.stock(name, SourceLocation("labeler list stock")),) if name else catalogue.stocks


def stock_rows(catalogue: Catalogue, name: str | None = None) -> list[Row]:
    """Return every stock, or the one of this name, with all its measures."""
    return [
        {key: value for key, value in asdict(stock).items() if key != "where"} | {"file": stock.where.source}
        for stock in _stocks(catalogue, name)
    ]


def stock_lines(catalogue: Catalogue, name: str | None = None) -> Iterable[str]:
    """Yield a line for every stock, or all the measures of one."""
    if name:
        for key, value in stock_rows(catalogue, name)[0].items():
            yield f"{key:16} {value:g}" if isinstance(value, float) else f"{key:16} {value}"
        return
    width = max(len(stock.name) for stock in catalogue.stocks)
    for stock in catalogue.stocks:
        wires = f" (wires {served(stock).low:.2f} to {served(stock).high:.2f} mm)" if stock.marker == "wrap" else ""
        yield f"{stock.name:{width}}  {stock.marker:6}  {stock.description}{wires}"


def tube_rows(catalogue: Catalogue, family: str | None = None) -> list[Row]:
    """Return every family of tube, or one, with sizes in mm and sources."""
    families = (catalogue.family(family, SourceLocation("labeler list tubes")),) if family else catalogue.families
    return list(map(_row, families))


def tube_lines(catalogue: Catalogue, family: str | None = None) -> Iterable[str]:
    """Yield the families with a line for every size: supplied, recovered, wall."""
    for row in tube_rows(catalogue, family):
        yield from _facts(row, "tubes")
        yield "  size          supplied  recovered  ratio  wall (mm)"
        for tube in row["tubes"]:
            liner = f", liner {tube['liner_mm']:.2f}" if tube["liner_mm"] else ""
            short = tube["name"].removeprefix(row["name"]).strip()
            yield (
                f"  {short:12}  {tube['expanded_id_mm']:8.2f}  {tube['recovered_id_mm']:9.2f}  "
                f"{tube['expanded_id_mm'] / tube['recovered_id_mm']:4.1f}:1  {tube['recovered_wall_mm']:.2f} "
                f"({tube['min_recovered_wall_mm']:.2f} to {tube['max_recovered_wall_mm']:.2f}){liner}"
            )


def wire_rows(catalogue: Catalogue, kind: str | None = None) -> list[Row]:
    """Return every kind of insulated wire, or one, with its diameters and source."""
    kinds = (catalogue.wire_type(kind, SourceLocation("labeler list wires")),) if kind else catalogue.wire_types
    return [
        _row(entry)
        | {
            "sizes": [
                {"size": size, "od_mm": _row(found.range_mm), "source": found.source} for size, found in entry.sizes
            ]
        }
        for entry in kinds
    ]


def wire_lines(catalogue: Catalogue, kind: str | None = None) -> Iterable[str]:
    """Yield the kinds of wire with a line for every size: nominal to maximum finished diameter."""
    for row in wire_rows(catalogue, kind):
        yield from _facts(row, "sizes")
        for size in row["sizes"]:
            yield f"  {size['size']:10}  {size['od_mm']['min']:.2f} to {size['od_mm']['max']:.2f} mm"


def _facts(row: Row, sizes: str) -> Iterable[str]:
    """Yield the name of a family of tube or a kind of wire, and what is known of it beside its sizes."""
    yield row["name"]
    for key, value in row.items():
        if key not in ("name", sizes) and value not in ("", None, (), []):
            yield f"  {key}: {_plain(value)}"


def covering_rows(catalogue: Catalogue, _: str | None = None) -> list[Row]:
    """Return every covering with its other names, its wall and source."""
    return list(map(_row, catalogue.coverings))


def covering_lines(catalogue: Catalogue, _: str | None = None) -> Iterable[str]:
    """Yield the coverings: wall, how they go on, what else they are called, source."""
    for one in catalogue.coverings:
        how = "pulled over the wires" if one.slide_on else "wound or laid around them"
        loose = "; the bundle does not fill it: measure its outside" if one.loose_fit else ""
        yield one.name
        yield f"  wall {one.wall_mm.low:g} to {one.wall_mm.high:g} mm; {how}{loose}"
        if one.aliases:
            yield f"  also: {', '.join(one.aliases)}"
        yield f"  {one.description}"
        yield f"  source: {one.source}"


def setting_rows(_: Catalogue, key: str | None = None) -> list[Row]:
    """Return every setting, those of a group, or one, with default, limits, description and reason."""
    return list(map(_row, _settings(key)))


def _settings(key: str | None) -> list[SettingSpec]:
    specs = setting_specs()
    if key is None:
        return list(specs.values())
    found = [spec for name, spec in specs.items() if key in (name, name.rpartition(".")[0])]
    if not found:
        groups = (name.rpartition(".")[0] for name in specs)
        fix = suggestion(key, [*specs, *filter(None, dict.fromkeys(groups))], "labeler list settings lists all")
        raise LabelerError(Problem(SourceLocation("labeler list settings"), f"setting {key!r} is unknown", fix))
    return found


def setting_lines(_: Catalogue, key: str | None = None) -> Iterable[str]:
    """Yield every setting, those of a group, or one: its default and limits, what it means, why."""
    for spec in _settings(key):
        limits = f" (one of {', '.join(spec.allowed)})" if spec.allowed else ""
        if not limits and spec.min is not None and spec.max is not None:
            limits = f" ({spec.min:g} to {spec.max:g})"
        yield f"{spec.key} = {_plain(spec.default)}{limits}"
        yield f"    {spec.description}"
        yield f"    set under [defaults]; again on: {', '.join(spec.levels) or 'nothing'}"
        yield f"    {spec.reason}"


def printer_rows(_: Catalogue, __: str | None = None) -> list[Row]:
    """Return the printer profiles of the user's folder, each with its file."""
    return [_row(load_printer(str(path))) | {"file": str(path)} for path in printer_profiles()]


def printer_lines(catalogue: Catalogue, _: str | None = None) -> Iterable[str]:
    """Yield a line for every printer profile."""
    rows = printer_rows(catalogue)
    width = max((len(row["name"]) for row in rows), default=0)
    for row in rows:
        facts = [
            row["technology"],
            f"{row['dpi']:g} dpi" if row["dpi"] else "",
            f"stock: {', '.join(row['stock_kinds']) or 'any'}",
            f"scale {row['scale_x']:g} x {row['scale_y']:g}",
        ]
        yield f"{row['name']:{width}}  {'; '.join(filter(None, facts))}"
    if not rows:
        yield f"no printer profiles in {printer_folder()}; see: labeler help printer-profile"


def font_rows(_: Catalogue, __: str | None = None) -> list[Row]:
    """Return the fonts that come with the program, measured."""
    return [
        {
            "name": font.name,
            "file": str(font.path),
            "capital_height_em": round(font.capital, 4),
            "stroke_ratio": round(font.stroke / font.capital, 4),
            "characters": len(font.advances),
            "fallback": font.fallback,
        }
        for font in map(load_font, font_names())
    ]


def font_lines(catalogue: Catalogue, _: str | None = None) -> Iterable[str]:
    """Yield a line for every font."""
    rows = font_rows(catalogue)
    width = max(len(row["name"]) for row in rows)
    for row in rows:
        fallback = f"; fallback: {', '.join(row['fallback'])}" if row["fallback"] else ""
        stroke = f"stroke 1/{1 / row['stroke_ratio']:.1f} of the capital height"
        yield f"{row['name']:{width}}  {stroke}, {row['characters']} characters{fallback}"


LISTS: Mapping[str, tuple[Callable[..., list[Row]], Callable[..., Iterable[str]]]] = {
    "tubes": (tube_rows, tube_lines),
    "wires": (wire_rows, wire_lines),
    "coverings": (covering_rows, covering_lines),
    "stock": (stock_rows, stock_lines),
    "settings": (setting_rows, setting_lines),
    "printers": (printer_rows, printer_lines),
    "fonts": (font_rows, font_lines),
}
"""What is known, by the name of the list: as rows for JSON, and as lines; of a catalogue, and of one name."""


def partial_sheet_rows(record: Record, catalogue: Catalogue) -> list[Row]:
    """Return the sheets that are partly used: what is gone, what is left where the stock's file is still there."""
    stocks = {stock.name: stock for stock in catalogue.stocks}
    rows = []
    for sheet in record.partial_sheets():
        row: Row = {
            "stock": sheet.stock,
            "used_cells": blocks_of(sheet.used_cells),
            "free_cells": None,
            "next_cell": "",
        }
        if sheet.stock in stocks:
            gone = {*sheet.used_cells, *parse_cells(stocks[sheet.stock].blocked_cells)}
            free = [cell.name for cell in cells(stocks[sheet.stock]) if cell.name not in gone]
            row |= {"free_cells": len(free), "next_cell": next(iter(free), "")}
        rows.append(row | {"job": sheet.job, "time": sheet.time})
    return rows


def row_json(row: MarkerRow) -> Row:
    """Return what the record keeps of a marker, with its instructions in words."""
    return asdict(row) | {"installation": instructions(from_json(row.installation)) if row.installation else ""}


def job_rows(jobs: Iterable[Job]) -> list[Row]:
    """Return recorded jobs; printer and output are objects, None where none was named."""
    return [
        asdict(job)
        | {
            name: json.loads(text) if text else None
            for name, text in (("printer", job.printer), ("output", job.output))
        }
        for job in jobs
    ]


def difference_rows(found: Iterable[Difference]) -> list[Row]:
    """Return what differs between two harnesses."""
    return [
        asdict(one) | {"old": row_json(one.old) if one.old else None, "new": row_json(one.new) if one.new else None}
        for one in found
    ]


KEPT = (
    "unit", "harness", "part_number", "revision", "state", "print_count", "void_count", "job", "sheet", "cell", "load",
    "stock", "reason",
)  # fmt: skip


def recorded_rows(found: Iterable[Recorded]) -> list[Row]:
    """Return recorded markers with their place on the sheet and how often they were printed."""
    return [
        row_json(item.row)
        | {key: getattr(item, key) for key in KEPT}
        | {"stock": item.stock.name if item.stock else None}
        for item in found
    ]


def _plain(value: object) -> str:
    if isinstance(value, tuple | list):
        return ", ".join(map(_plain, value))
    if isinstance(value, dict):
        return ", ".join(f"{key} {_plain(each)}" for key, each in value.items())
    return f"{value:g}" if isinstance(value, float) else str(value)


def file_forms() -> dict[str, Form]:
    """Return the declaration of the keys of every kind of TOML file, by the name of the kind."""
    return {
        "harness": harness_form(),
        "column map": map_form(),
        "stock": STOCK,
        "printer": PRINTER,
        "tubes": FAMILIES,
        "wire types": WIRE_TYPES,
        "coverings": COVERINGS,
        "settings": SPECS,
        "colours": COLOURS,
        "fonts": FONTS,
        "safety messages": SAFETY_MESSAGES,
    }
