"""Commands to look something up, and to set up: lists, schemas, help on files, calibration, sample files."""

from __future__ import annotations

import shlex
import textwrap
from pathlib import Path

import click

from labeler.cli.commands import command, group
from labeler.cli.options import FORCE, JSON, NAMED, OUTPUT, REPORTS, options, parse_measure, parse_printer
from labeler.cli.terminal import print_json, print_lines, report
from labeler.errors import nearest

# ---------------------------------------------------------------- lists

LISTS = {  # name of the list: its argument, what it lists, the example
    "tubes": ("FAMILY", "List the heat-shrink tubes with their sizes and sources.", "AS23053/5"),
    "wires": ("TYPE", "List the wire types with their diameters and sources.", "TXL"),
    "coverings": ("", "List the protective coverings with their walls and sources.", ""),
    "stock": ("NAME", "List the stock to print on.", "wrap-a4-25x18"),
    "settings": ("KEY", "List the settings with their defaults, limits and reasons.", "sleeve"),
    "printers": ("", "List the printer profiles.", ""),
    "fonts": ("", "List the fonts.", ""),
}


@group("list", sections={"Lists": tuple(LISTS)}, example="labeler list stock")
def list_group() -> None:
    """List tubes, wires, coverings, stock, settings, printers or fonts."""


def _list_command(name: str, argument: str, words: str, example: str) -> click.Command:
    """Return the command of one list: all of it, or what the argument names."""

    def show(as_json: bool, named: str | None = None) -> None:
        from labeler.answers.listing import LISTS
        from labeler.tables.catalogue import load_catalogue

        rows, lines = LISTS[name]
        if as_json:
            print_json({"schema": f"{name} 1", name: rows(load_catalogue(), named)})
        else:
            print_lines(lines(load_catalogue(), named))

    show.__doc__ = words
    decorated = JSON(show)
    if argument:
        decorated = click.argument("named", metavar=f"[{argument}]", required=False)(decorated)
    return command(name, example=f"labeler list {name} {example}".rstrip())(decorated)


for _name, (_argument, _words, _example) in LISTS.items():
    list_group.add_command(_list_command(_name, _argument, _words, _example))


# ---------------------------------------------------------------- calibration


@group("calibrate", sections={"Calibrate": ("printer", "stock")}, example="labeler calibrate stock wrap-a4-25x18")
def calibrate_group() -> None:
    """Draw test pages for printers and stock."""


@calibrate_group.command("printer", example="labeler calibrate printer office --stock tag-a4-95x54")
@click.argument("printer", metavar="PRINTER", callback=parse_printer)
@click.option("--stock", metavar="NAME", help="Stock whose page size to use for the test page.")
@click.option("--measured-x", metavar="MM", callback=parse_measure, help="Measured length of the horizontal ruler.")
@click.option("--measured-y", metavar="MM", callback=parse_measure, help="Measured length of the vertical ruler.")
@options(OUTPUT, FORCE, REPORTS)
def calibrate_printer_command(
    printer: str, stock: str | None, measured_x: float | None, measured_y: float | None, output: Path, force: bool
) -> None:
    """Draw a test page with rulers, or store what they measure in a profile.

    First print the page: give --stock. Then measure its rulers: give --measured-x, --measured-y, or both.
    """
    from labeler.job import single_pages
    from labeler.tables.printers import Printer, load_printer, measured, printer_file

    path = printer_file(printer)
    known = path.is_file()
    profile = load_printer(printer) if known else Printer(path.stem)
    if measured_x is None and measured_y is None:
        if not stock:
            raise click.UsageError("give --stock to draw the test page, or --measured-x and --measured-y")
        print_lines(single_pages.draw_calibration(stock, profile, output, force=force))
        if not known:
            report(f"{path}: there is no such profile yet: the page is drawn without a correction")
        return
    if stock:
        raise click.UsageError("give either --stock or --measured-x and --measured-y")
    corrected = measured(profile, measured_x, measured_y)
    single_pages.store_printer(corrected, path)
    along = f"lengths x {corrected.scale_x:g} along the page (before {profile.scale_x:g})"
    report(f"{path}: {along}, x {corrected.scale_y:g} up the page (before {profile.scale_y:g})")


@calibrate_group.command("stock", example="labeler calibrate stock wrap-a4-25x18")
@click.argument("name", metavar="NAME")
@options(OUTPUT, FORCE, REPORTS)
def calibrate_stock_command(name: str, output: Path, force: bool) -> None:
    """Draw an empty stock, to compare with the real sheet.

    The drawing is a PDF and a PNG file. Lay a print of it over the sheet and hold both against the light.
    """
    from labeler.job.single_pages import draw_stock

    print_lines(draw_stock(name, output, force=force))


# ---------------------------------------------------------------- files that people write

SCHEMAS = (
    "harness", "column-map", "stock", "printer", "tubes", "wire-types", "coverings", "settings", "colours", "fonts",
    "safety-messages",
)  # fmt: skip
TOPICS = {
    "harness-file": "the harness file (TOML)",
    "settings": "the settings, for [defaults] and --set",
    "stock-file": "a stock file: what is printed on",
    "printer-profile": "a printer profile",
    "column-map": "a column map of a wire list",
    "tables": "own tables of tubes, wire types and coverings",
}


@command("schema", example="labeler schema harness > harness.schema.json")
@click.argument("kind", metavar="KIND", type=click.Choice(SCHEMAS))
def schema_command(kind: str) -> None:
    """Print the JSON Schema of a kind of file.

    KIND is harness, column-map, stock, printer, tubes, wire-types, coverings, settings, colours, fonts or
    safety-messages. Editors use a schema to complete and check keys.
    """
    from labeler.answers.listing import file_forms
    from labeler.tables.json_schema import json_schema

    name = kind.replace("-", " ")
    print_json(json_schema(file_forms()[name], f"labeler {name} file"))


@command("help", example="labeler help harness-file")
@click.argument("topic", metavar="[TOPIC]", nargs=-1)
@click.pass_context
def help_command(ctx: click.Context, topic: tuple[str, ...]) -> None:
    """Explain the keys of a kind of file, or a command.

    Without TOPIC the command lists the topics.
    """
    if not topic:
        formatter = ctx.make_formatter()
        with formatter.section("Topics"):
            formatter.write_dl(list(TOPICS.items()))
        click.echo(f"{formatter.getvalue()}\nThe name of a command is a topic too: labeler help print")
    elif topic[0] in TOPICS and len(topic) == 1:
        click.echo(_topic_text(topic[0]).rstrip())
    else:
        click.echo(_command_help(ctx.find_root(), topic))


TOPIC_WIDTH, KEY_WIDTH, INDENT = 79, 25, "  "


def _topic_text(topic: str) -> str:
    """Return the text of a topic: for each table of the file a paragraph and its keys."""
    from labeler.answers.help_topics import sections

    lines: list[str] = []
    for section in sections(topic):
        lines += [section.title] if section.title else []
        indent = INDENT if section.title else ""
        lines += textwrap.wrap(section.text, TOPIC_WIDTH, initial_indent=indent, subsequent_indent=indent)
        width = min(max((len(name) for name, _ in section.keys), default=0), KEY_WIDTH)
        for name, text in section.keys:
            first = f"{INDENT}{name:{width}}  "
            if len(name) > width:
                lines.append(first.rstrip())
                first = " " * (len(INDENT) + width + 2)
            rest = " " * len(first)
            lines += textwrap.wrap(
                text, TOPIC_WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
            )
        lines.append("")
    return "\n".join(lines)


def _command_help(root: click.Context, words: tuple[str, ...]) -> str:
    """Return the help screen of the command that words name. Raises `click.UsageError` for another name."""
    ctx = root
    for word in words:
        known = list(ctx.command.commands) if isinstance(ctx.command, click.Group) else []
        if word not in known:
            near = nearest(word, [*known, *(TOPICS if ctx is root else ())])
            raise click.UsageError(f"no topic {' '.join(words)!r}." + (f" Did you mean {near!r}?" if near else ""))
        assert isinstance(ctx.command, click.Group)
        ctx = click.Context(ctx.command.commands[word], parent=ctx, info_name=word)
    return ctx.get_help()


@command("example", example="labeler example boat")
@click.argument("folder", metavar="FOLDER", type=NAMED)
@options(FORCE, REPORTS)
def example_command(folder: Path, force: bool) -> None:
    """Write sample files to FOLDER.

    The files are a harness file, its circuits as a wire list, a column map for the list, a printer profile and a
    stock file.
    """
    from labeler.job.samples import HARNESS, write_samples

    print_lines(write_samples(folder, force=force))
    report("Next:")
    harness = folder / HARNESS
    for name in ("check", "proof", "print"):
        report(f"  labeler {name} {shlex.quote(str(harness))}")


LOOKUP = (list_group, calibrate_group, schema_command, help_command, example_command)
