"""The folder of one machine: its welder file, schedules and joints, read and saved by name.

Files are authoritative. A save replaces only the text that it was edited from.
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

from gen.ask import NotTaken
from gen.errors import InputError
from gen.link import schedule_name
from gen.machine import WELDER_FILE
from gen.page.texts import text
from gen.user_files import read_text, read_toml, written
from gen.writing import write_whole

_SIZES = frozenset(("sheets_mm", "rods_mm", "sheets_in", "rods_in"))  # keys that identify a joint file
_REMEMBERED = 400  # texts kept on which forms were opened


class Changed(Exception):
    """The file has changed since the form was opened. `held`: the file now."""

    def __init__(self, held: HeldFile) -> None:
        super().__init__(held.path.name)
        self.held = held


@dataclass(frozen=True)
class HeldFile:
    """A file's text. `stamp` identifies it."""

    path: Path
    text: str

    @property
    def stamp(self) -> str:
        return hashlib.sha256(self.text.encode()).hexdigest()[:16]


class Folder:
    """One folder. Every path that it returns is a plain file in it, found by name or made of a checked name."""

    def __init__(self, place: Path) -> None:
        self.place = place.resolve()
        self.welder = self.place / WELDER_FILE
        self._saving = threading.Lock()
        self._remembering = threading.Lock()
        self._remembered: OrderedDict[str, str] = OrderedDict()

    @property
    def has_welder(self) -> bool:
        return self.welder.is_file()

    def schedules(self) -> tuple[str, ...]:
        """Names of the schedule files."""
        return tuple(path.stem for path, keys in self._tables() if "phase" in keys)

    def joints(self) -> tuple[str, ...]:
        """Names of the joint files."""
        return tuple(path.stem for path, keys in self._tables() if keys & _SIZES)

    def schedule(self, name: str) -> Path:
        """The schedule file of that name. Raises InputError where there is none."""
        return self._found(name, self.schedules())

    def joint(self, name: str) -> Path:
        """The joint file of that name. Raises InputError where there is none."""
        return self._found(name, self.joints())

    def checked_name(self, name: str) -> str:
        """The name, if a schedule may have it. Raises InputError otherwise."""
        try:
            return schedule_name(name)
        except NotTaken as error:
            raise InputError(text("files.name"), written(name), None, f"allowed: {error.allowed}") from None

    def remembered(self, stamp: str) -> str | None:
        """A text on which a form was opened. None where it is no longer kept."""
        return self._remembered.get(stamp)

    def new(self, name: str) -> Path:
        """The path of a new file. Raises InputError where the name is invalid or taken."""
        path = self.place / f"{self.checked_name(name)}.toml"
        if path.exists() or path.is_symlink() or path == self.welder:
            raise InputError(path, "is there already", None, "allowed: another name")
        return path

    def held(self, path: Path) -> HeldFile:
        """A file's present text. Raises InputError."""
        return self.remember(HeldFile(path, read_text(path)))

    def remember(self, held: HeldFile) -> HeldFile:
        """Keep a text on which a form is opened. Only the newest few hundred are kept."""
        with self._remembering:
            self._remembered[held.stamp] = held.text
            self._remembered.move_to_end(held.stamp)
            while len(self._remembered) > _REMEMBERED:
                self._remembered.popitem(last=False)
        return held

    def opened_on(self, path: Path, stamp: str) -> HeldFile:
        """The text on which a form was opened. Raises Changed where it is no longer kept."""
        now = self.held(path)
        if now.stamp == stamp:
            return now
        kept = self._remembered.get(stamp)
        if kept is None:
            raise Changed(now)
        return HeldFile(path, kept)

    def save(self, path: Path, changed: str, stamp: str) -> HeldFile:
        """Replace the text of that stamp by `changed`. Raises Changed or InputError, and then leaves the file unchanged."""
        with self._saving:
            now = self.held(path)
            if now.stamp != stamp:
                raise Changed(now)
            write_whole(path, changed)
            return self.held(path)

    def _found(self, name: str, names: tuple[str, ...]) -> Path:
        if name not in names:
            allowed = f"allowed: {', '.join(names)}" if names else "there is none in this folder yet"
            raise InputError(text("files.file"), written(name), None, f"no such file; {allowed}")
        return self.place / f"{name}.toml"

    def _tables(self) -> list[tuple[Path, frozenset[str]]]:
        """The readable TOML files of the folder, with their top-level keys."""
        found = []
        for path in sorted(self.place.glob("*.toml")):
            if path.name == WELDER_FILE or path.is_symlink():
                continue
            try:
                found.append((path, frozenset(read_toml(path))))
            except InputError:
                continue
        return found
