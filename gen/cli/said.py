"""The one place from which text goes to a terminal, cleaned of what would command it."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

import click

WIDTH = 80  # columns: what every terminal has


def visible(text: str) -> str:
    """The text with every character that prints nothing, moves the cursor or turns the direction of reading shown as its code.

    Names, titles and notes come from files, boards and records; an escape in one of them is data, not a command.
    """
    return "".join(c if c.isprintable() or c in "\n\xa0\u202f" else ascii(c)[1:-1] for c in text)


def say(text: object = "") -> None:
    """Print a text of one or more lines, those that are wider than a terminal folded."""
    click.echo(visible(_narrow(str(text))))


def say_data(text: str, nl: bool = True) -> None:
    """Print what another program reads, or what stands so in a file: not folded."""
    click.echo(visible(text), nl=nl)


def say_object(content: Mapping[str, Any]) -> None:
    """Print one JSON object, for another program."""
    say_data(json.dumps(content, indent=2))


def say_wrong(text: str) -> None:
    """Print what is wrong, on one line, where errors go."""
    click.echo(visible(text), err=True)


def _narrow(text: str) -> str:
    """The text with each line that is too wide folded, the rest of it a little further in."""
    lines = []
    for line in text.split("\n"):
        indent = line[: len(line) - len(line.lstrip())]
        lines.append(folded(line.lstrip(), indent, f"{indent}  ") if len(line) > WIDTH else line)
    return "\n".join(lines)


def say_over(text: str) -> None:
    """Print a line in place of the one that the cursor stands in."""
    click.echo(f"\r\x1b[K{visible(text)}", nl=False)


def say_long(text: str) -> None:
    """Print a long text: on a terminal that it does not fit into a page at a time, elsewhere as it is."""
    if sys.stdout.isatty() and text.count("\n") + 2 > shutil.get_terminal_size().lines:
        click.echo_via_pager(visible(_narrow(text)) + "\n")
    else:
        say(text)


def folded(text: str, indent: str = "", hang: str | None = None, width: int = WIDTH) -> str:
    """A sentence in lines of so many columns; the later ones begin with `hang`, otherwise as the first does."""
    return textwrap.fill(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_long_words=False,
        break_on_hyphens=False,
    )


def said(text: str, indent: str = "  ") -> str:
    """A sentence as indented lines, the later ones a little further in."""
    return folded(text, indent, f"{indent}  ")


def said_all(heading: str, lines: Iterable[str]) -> list[str]:
    """A heading with sentences under it; nothing where there are none."""
    found = [said(line) for line in lines]
    return ["", heading, *found] if found else []
