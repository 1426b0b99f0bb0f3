"""A group of commands that are loaded when asked for, and listed in the order in which they are used."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click

# Section, then command: its module and what the list says of it.
Sections = Mapping[str, Mapping[str, tuple[str, str]]]


class Listed(click.Group):
    """`sections` in working order; a command NAME is NAME_command in its module of gen.cli."""

    def __init__(self, *args: Any, sections: Sections, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.sections = sections

    def _modules(self) -> dict[str, str]:
        return {name: module for commands in self.sections.values() for name, (module, _) in commands.items()}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._modules())

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        module = self._modules().get(cmd_name)
        if module is None:
            return None
        command: click.Command = getattr(importlib.import_module(f"gen.cli.{module}"), f"{cmd_name}_command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for section, commands in self.sections.items():
            with formatter.section(section):
                formatter.write_dl([(name, words) for name, (_, words) in commands.items()])
