"""The one place from which text goes to a terminal, cleaned of what would command it."""

from __future__ import annotations

import click


def visible(text: str) -> str:
    """The text with every character that prints nothing, moves the cursor or turns the direction of reading shown as its code.

    Names, titles and notes come from files, boards and records; an escape in one of them is data, not a command.
    """
    return "".join(c if c.isprintable() or c in "\n\xa0\u202f" else ascii(c)[1:-1] for c in text)


def say(text: object = "", err: bool = False, nl: bool = True) -> None:
    """Print a text of one or more lines."""
    click.echo(visible(str(text)), err=err, nl=nl)


def say_over(text: str) -> None:
    """Print a line in place of the one that the cursor stands in."""
    click.echo(f"\r\x1b[K{visible(text)}", nl=False)
