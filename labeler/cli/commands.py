"""Commands and groups of commands: an example on every help screen, and commands under headings in order of use."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import click

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 80}


class LabelerCommand(click.Command):
    """A command with an example at the end of its help screen."""

    def __init__(self, *args: Any, example: str = "", **named: Any) -> None:
        super().__init__(*args, **named)
        self.example = example

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the example."""
        _write_example(self.example, formatter)


class LabelerGroup(click.Group):
    """A group with an example, and its commands under headings; ``sections`` holds their names by heading."""

    command_class = LabelerCommand

    def __init__(
        self, *args: Any, example: str = "", sections: Mapping[str, Sequence[str]] | None = None, **named: Any
    ) -> None:
        super().__init__(*args, **named)
        self.example = example
        self.sections = sections or {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of the commands in the order of the headings."""
        return [name for names in self.sections.values() for name in names]

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that is named. For an unknown name the commands inside groups are suggested, too."""
        try:
            return super().resolve_command(ctx, args)
        except click.exceptions.NoSuchCommand:
            inside = [f"{name} {inner}" for name, each in self.commands.items() for inner in _inside(each)]
            raise click.exceptions.NoSuchCommand(args[0], possibilities=[*self.commands, *inside], ctx=ctx) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands under their headings; all descriptions begin in one column."""
        width = max(map(len, self.list_commands(ctx)))
        for heading, names in self.sections.items():
            with formatter.section(heading):
                rows = [(f"{name:{width}}", self.commands[name].get_short_help_str(limit=200)) for name in names]
                formatter.write_dl(rows)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the example."""
        _write_example(self.example, formatter)


def _inside(command: click.Command) -> list[str]:
    return list(command.commands) if isinstance(command, click.Group) else []


def _write_example(example: str, formatter: click.HelpFormatter) -> None:
    if example:
        with formatter.section("Example"):
            formatter.write(f"{'':{formatter.current_indent}}{example}\n")


def command(name: str, *, example: str) -> Callable[[Callable[..., Any]], LabelerCommand]:
    """Return the decorator of a command."""
    return click.command(name, cls=LabelerCommand, example=example)


def group(
    name: str, *, sections: Mapping[str, Sequence[str]], example: str
) -> Callable[[Callable[..., Any]], LabelerGroup]:
    """Return the decorator of a group with its commands under headings."""
    return click.group(name, cls=LabelerGroup, sections=sections, example=example)
