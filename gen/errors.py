"""The one kind of error that a user can cause and mend."""

from __future__ import annotations

from pathlib import Path
from typing import Any


class InputError(ValueError):
    """Bad input, reported in one line: where it stands, the value, and what is allowed.

    The command line prints it and ends with exit code 2, before anything is written.
    """

    def __init__(self, where: str | Path, key: str, given: Any, allowed: str) -> None:
        self.where = Path(where).name if isinstance(where, Path) else where
        self.key = key
        self.given = given
        self.allowed = allowed
        shown = "" if given is None else f": {given!r} given"
        super().__init__(f"{self.where}: {key}{shown}; {allowed}")
