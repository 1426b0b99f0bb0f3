"""The one kind of error that a user can cause and mend."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

# Of each part of a message, characters: what a user gave can be a file of it, and a message is read on a screen.
_LONGEST = {"key": 200, "given": 120, "allowed": 1000}


def _short(text: str, part: str) -> str:
    most = _LONGEST[part]
    return text if len(text) <= most else f"{text[: most - 3]}..."


def meant(word: str, names: Iterable[str]) -> str:
    """Of these names the one that a mistyped word most likely stands for, as a question; "" where none is near."""
    bare = {_bare(name): name for name in names}  # dashes and endings are alike everywhere, and say nothing
    near = difflib.get_close_matches(_bare(word[:100]), list(bare), 1, 0.6)
    return f"did you mean {bare[near[0]]}?" if near else ""


def _bare(name: str) -> str:
    return name.lstrip("-").removesuffix(".toml")


class InputError(ValueError):
    """Bad input, reported in one line: where it stands, the value, and what is allowed. A long part is cut short.

    The command line prints it and ends with exit code 2, before anything is written.
    """

    def __init__(self, where: str | Path, key: str, given: Any, allowed: str) -> None:
        self.where = Path(where).name if isinstance(where, Path) else where
        self.key = _short(key, "key")
        self.given = given
        self.allowed = _short(allowed, "allowed")
        shown = "" if given is None else f": {_short(repr(given), 'given')} given"
        super().__init__(f"{self.where}: {self.key}{shown}; {self.allowed}")
