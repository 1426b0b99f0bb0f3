"""Prints every text that goes to a terminal, with its control characters made visible."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

import click

WIDTH = 80  # columns of every terminal


def visible(text: str) -> str:
    """The text with every character shown as its code that prints nothing, moves the cursor or reverses the direction.

    Names, titles and notes are from files, boards and records. An escape in one of them must not command the terminal.
    """
    return "".join(c if c.isprintable() or c in "\n\xa0\u202f" else ascii(c)[1:-1] for c in text)


def say(text: object = "") -> None:
    """Print a text of one or more lines. Lines wider than a terminal are folded."""
    click.echo(visible(_narrow(str(text))))


def say_data(text: str, nl: bool = True) -> None:
    """Print data for another program or a file, without folding."""
    click.echo(visible(text), nl=nl)


def say_object(content: Mapping[str, Any]) -> None:
    """Print one JSON object, for another program."""
    say_data(json.dumps(content, indent=2))


def say_wrong(text: str) -> None:
    """Print an error on standard error, on one line."""
    click.echo(visible(text), err=True)


def _narrow(text: str) -> str:
    """The text with lines that are too wide folded; their continuation is indented further."""
    lines = []
    for line in text.split("\n"):
        indent = line[: len(line) - len(line.lstrip())]
        lines.append(folded(line.lstrip(), indent, f"{indent}  ") if len(line) > WIDTH else line)
    return "\n".join(lines)


def say_over(text: str) -> None:
    """Print a line in place of the cursor's line."""
    click.echo(f"\r\x1b[K{visible(text)}", nl=False)


def say_long(text: str) -> None:
    """Print a long text: by pages on a terminal too small for it, elsewhere as it is."""
    if sys.stdout.isatty() and text.count("\n") + 2 > shutil.get_terminal_size().lines:
        click.echo_via_pager(visible(_narrow(text)) + "\n")
    else:
        say(text)


def folded(text: str, indent: str = "", hang: str | None = None, width: int = WIDTH) -> str:
    """A sentence in lines of at most `width` columns. Later lines begin with `hang`; None: with `indent`."""
    return textwrap.fill(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_long_words=False,
        break_on_hyphens=False,
    )


def said(text: str, indent: str = "  ") -> str:
    """A sentence as indented lines, the later ones indented further."""
    return folded(text, indent, f"{indent}  ")


def said_all(heading: str, lines: Iterable[str]) -> list[str]:
    """A heading with sentences under it; empty without sentences."""
    found = [said(line) for line in lines]
    return ["", heading, *found] if found else []
