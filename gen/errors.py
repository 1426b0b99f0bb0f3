"""The error for bad input, which the user can correct."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

# The most characters of each part of a message, which is read on a screen; a value given may be as long as a file.
_LONGEST = {"key": 200, "given": 120, "allowed": 1000}


def _short(text: str, part: str) -> str:
    most = _LONGEST[part]
    return text if len(text) <= most else f"{text[: most - 3]}..."


def meant(word: str, names: Iterable[str]) -> str:
    """A question that proposes the name nearest to a mistyped word; "" if none is near."""
    bare = {_bare(name): name for name in names}  # without dashes and endings, which are common to many
    near = difflib.get_close_matches(_bare(word[:100]), list(bare), 1, 0.6)
    return f"did you mean {bare[near[0]]}?" if near else ""


def _bare(name: str) -> str:
    return name.lstrip("-").removesuffix(".toml")


class InputError(ValueError):
    """Bad input, reported in one line: its place, the value given, and what is allowed. Long parts are cut.

    The command line prints it and ends with exit code 2, before anything is written.
    """

    def __init__(self, where: str | Path, key: str, given: Any, allowed: str) -> None:
        self.where = Path(where).name if isinstance(where, Path) else where
        self.key = _short(key, "key")
        self.given = given
        self.allowed = _short(allowed, "allowed")
        shown = "" if given is None else f": {_short(repr(given), 'given')} given"
        super().__init__(f"{self.where}: {self.key}{shown}; {self.allowed}")
