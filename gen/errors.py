"""The one kind of error that a user can cause and mend."""

from __future__ import annotations

from pathlib import Path
from typing import Any

# Of each part of a message, characters: what a user gave can be a file of it, and a message is read on a screen.
_LONGEST = {"key": 200, "given": 120, "allowed": 1000}


def _short(text: str, part: str) -> str:
    most = _LONGEST[part]
    return text if len(text) <= most else f"{text[: most - 3]}..."


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
