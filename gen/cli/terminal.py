"""A terminal: its questions, and single keys while something else runs."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from types import TracebackType
from typing import Any, Self, TypeVar

import click

from gen.ask import Inquiry, reply_of
from gen.cli.options import taken
from gen.cli.said import WIDTH, folded, visible

T = TypeVar("T")
if sys.platform == "win32":
    import msvcrt

    class Keys:
        """Reads single keys. Use it in a `with`; `pressed` returns the keys typed since its last call."""

        def __enter__(self) -> Self:
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            return None

        def pressed(self) -> str:
            """Keys typed; "" for none."""
            found = ""
            while sys.stdin.isatty() and msvcrt.kbhit():
                found += msvcrt.getwch()
            return found

else:
    import os
    import select
    import termios
    import tty

    class Keys:
        """Reads single keys. Use it in a `with`; `pressed` returns the keys typed since its last call."""

        def __enter__(self) -> Self:
            self._saved = None
            if sys.stdin.isatty():
                self._saved = termios.tcgetattr(sys.stdin)
                tty.setcbreak(sys.stdin)
            return self

        def __exit__(
            self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
        ) -> None:
            if self._saved is not None:
                termios.tcsetattr(sys.stdin, termios.TCSADRAIN, self._saved)

        def pressed(self) -> str:
            """Keys typed; "" for none, and without a terminal."""
            if self._saved is None or not select.select([sys.stdin], [], [], 0)[0]:
                return ""
            return os.read(sys.stdin.fileno(), 64).decode(errors="replace")


class Asked:
    """Asks at a terminal. Implements gen.ask.Ask and gen.ask.Inquirer. `indent` is put before each question."""

    def __init__(self, indent: str = "") -> None:
        self._indent = indent

    def yes(self, question: str) -> bool:
        return click.confirm(visible(f"{self._indent}{question}"))

    def answer(self, question: str, read: Callable[[Any], T], typical: Any = None) -> T:
        found: T = click.prompt(visible(f"{self._indent}{question}"), default=typical, value_proc=taken(read))
        return found

    def put(self, inquiry: Inquiry) -> Any:
        """Print the question with its choices, and read the answer."""
        click.echo(visible("\n".join(["", _line(inquiry.text), *_about(inquiry), ""])))
        hint = " [do not know]" if inquiry.meanwhile else ""
        return click.prompt(
            visible(f"{'Number or words' if inquiry.choices else 'Answer'}, or back{hint}"),
            default="" if inquiry.meanwhile else None,
            show_default=False,
            value_proc=taken(partial(reply_of, inquiry)),
        )

    def tell(self, text: str) -> None:
        """Print a text on its own lines."""
        click.echo(visible("\n".join(["", _line(text)])))


def _about(inquiry: Inquiry) -> list[str]:
    """The purpose of a question, where to find the answer, and its choices by number."""
    about = (("For", inquiry.purpose), ("Where", inquiry.where), ("Unknown", inquiry.meanwhile))
    lines = [_line(f"{name + ':':<9}{text}", "  ", 11) for name, text in about if text]
    lines += [_line(f"{number:>3}  {choice.text}", "  ", 7) for number, choice in enumerate(inquiry.choices, 1)]
    if inquiry.choices and inquiry.meanwhile:
        lines.append(f"  {len(inquiry.choices) + 1:>3}  do not know")
    return lines


def _line(text: str, indent: str = "", hang: int = 0) -> str:
    """A text folded to a console, its later lines indented by `hang` columns."""
    return folded(text, indent, " " * hang, WIDTH - 1)
