"""Puts a built firmware onto a board, through `mpremote`.

`main.py` is removed first and copied last, after every other file was checked. If flashing is interrupted the board starts
nothing, and the same command can be repeated.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

from gen.boards import Board, boards
from gen.errors import InputError
from gen.firmware import MARK, FirmwareBundle
from gen.link.client import Link
from gen.link.errors import LinkError, NotSerial, OtherFirmware, OtherProtocol, PortBusy, Silent, Unplugged
from gen.link.messages import Hello, Schedules
from gen.link.ports import ports
from gen.machine.cut_off import Fitted
from gen.machine.tables import Force, Protection
from gen.user_files import read_text, validated, written
from gen.words import CONTACTOR_HELD_MS
from gen.writing import files_below

SETTINGS = ("settings.a", "settings.b")  # where the board keeps pushed schedules
_DAMAGED = "settings damaged"  # the board's reason
_NEW_MAIN = "main.new"
_MOST_FILES = 100  # a firmware has some twenty
_INSPECT_S = 15.0
_COPY_S = 180.0
_LONGEST_S = 120.0  # for a restart, even of a board that erases and writes its whole flash
_REPORT_S = 5.0  # between two reports while waiting
_SURE = 3  # answers of another program in a row: a board prints other text while it starts
_MOST_PRINTED = 1_000_000  # characters: the names of a board's files are one line

_INSPECT = """\
import json, os, sys
found = {}
def look(folder):
    for entry in os.ilistdir(folder or '.'):
        if entry[1] & 0x4000:
            if entry[0] not in ('.', '..'):
                look(folder + entry[0] + '/')
        else:
            found[folder + entry[0]] = 1
look('')
i = sys.implementation
print(json.dumps([i.name, list(i.version[:3]), getattr(i, '_machine', sys.platform), sorted(found)]))
"""
_PREPARE = """\
import os
for name in {gone}:
    try:
        os.remove(name)
    except OSError:
        pass
for name in {folders}:
    try:
        os.mkdir(name)
    except OSError:
        pass
"""


class _Inspected(NamedTuple):
    """The output of `_INSPECT`: name and version of the interpreter, the machine, and the paths of the board's files."""

    name: Annotated[str, Field(max_length=100)]
    version: Annotated[tuple[Annotated[int, Field(ge=0, lt=1000)], ...], Field(min_length=1, max_length=4)]
    machine: Annotated[str, Field(max_length=200)]
    files: Annotated[tuple[Annotated[str, Field(max_length=300)], ...], Field(max_length=10_000)]


_INSPECTED = TypeAdapter(_Inspected, config=ConfigDict(strict=True))


@dataclass(frozen=True)
class OnBoard:
    """The program that a board runs: Weldbeat with `hello` and `schedules`, or bare MicroPython with its files."""

    hello: Hello | None = None
    schedules: Schedules | None = None
    damaged: bool = False
    """Whether its settings are damaged and have to be removed."""
    micropython: tuple[int, ...] = ()
    """Version."""
    machine: str = ""
    files: tuple[str, ...] = ()


def read_bundle(folder: Path) -> FirmwareBundle:
    """The firmware that `weldbeat build` wrote into `folder`. Raises InputError if it is no firmware, or was changed."""
    allowed = "allowed: a folder that `weldbeat build` wrote, unchanged"
    if not folder.is_dir():
        raise InputError("command line", "BUNDLE", written(str(folder)), f"no such folder; {allowed}")
    files: dict[str, str] = {}
    for path in islice(files_below(folder), _MOST_FILES + 1):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink() or len(files) == _MOST_FILES:
            why = "is a link" if path.is_symlink() else f"is one file more than {_MOST_FILES}"
            raise InputError("command line", "BUNDLE", written(str(folder)), f"{name} in it {why}; {allowed}")
        try:
            files[name] = read_text(path, "a file of a firmware")
        except InputError as error:
            raise InputError(
                "command line", "BUNDLE", written(str(folder)), f"{name} in it: {error.key}; {allowed}"
            ) from None
    if MARK not in files.get("main.py", "") or "config.py" not in files:
        raise InputError("command line", "BUNDLE", written(str(folder)), f"holds no firmware; {allowed}")
    bundle = FirmwareBundle(dict(sorted(files.items())))
    if _setting(bundle, "BUNDLE_DIGEST") != bundle.board_digest:
        raise InputError("command line", "BUNDLE", written(str(folder)), f"was changed after it was built; {allowed}")
    return bundle


def bundle_board(bundle: FirmwareBundle) -> Board:
    """The board that a firmware was built for."""
    name = _setting(bundle, "BOARD")
    if name not in boards():
        raise InputError("BUNDLE", "board", written(name), "allowed: a board of this program, see `weldbeat boards`")
    return boards()[name]


def bundle_schedule(bundle: FirmwareBundle) -> str:
    """The name of the schedule that a firmware was built with."""
    return _setting(bundle, "SCHEDULE")


def bundle_fitted(bundle: FirmwareBundle) -> Fitted:
    """The parts against a faulty weld that a firmware's machine names. Raises InputError."""
    config = bundle.files["config.py"]
    if not re.search(r'^FITTED = "', config, re.MULTILINE) or "\nCONTACTOR_OPENS_MS = " not in config:
        allowed = "allowed: what `weldbeat build` of this version writes; build it anew"
        raise InputError("BUNDLE", "config.py", None, f"does not say what ends a faulty weld; {allowed}")
    over_run = bundle_board(bundle).over_run
    named: dict[str, Any] = dict.fromkeys(_setting(bundle, "FITTED").split(), True)
    switch = re.search(r"^FORCE_SWITCH = 1$", config, re.MULTILINE) is not None
    protection = named | {"gate_drive": _setting(bundle, "GATE_DRIVE")}
    force = {"source": _setting(bundle, "FORCE_SOURCE"), "force_switch": switch}
    return Fitted(
        validated(Protection, protection, Path("config.py")),
        validated(Force, force, Path("config.py")),
        max(0.0, float(re.findall(r"^CONTACTOR_OPENS_MS = (\d+)$", config, re.MULTILINE)[0]) - CONTACTOR_HELD_MS),
        over_run.gate_ends_itself,
        f"boards/{bundle_board(bundle).name}.toml: {over_run.worst}",
    )


def _setting(bundle: FirmwareBundle, key: str) -> str:
    found = re.search(rf'^{key} = "(.*)"$', bundle.files["config.py"], re.MULTILINE)
    return found[1] if found else ""


def look(port: str, board: Board) -> OnBoard:
    """The program of the board at `port`; the board is not disturbed. Raises LinkError if no firmware can be put there."""
    try:
        with Link(port) as link:
            return OnBoard(link.hello, link.schedules(), link.status().reason == _DAMAGED)
    except NotSerial:
        raise
    except OtherProtocol as error:
        raise LinkError(port, error.key, f"it cannot be asked to stop; {_erase(board)}") from None
    except (OtherFirmware, Silent):
        pass
    return _inspect(port, board)


def _inspect(port: str, board: Board) -> OnBoard:
    try:
        lines = _mpremote(port, ["exec", _INSPECT], _INSPECT_S).strip().splitlines()
        inspected = _INSPECTED.validate_json(lines[-1] if lines else "")
    except (LinkError, ValidationError):
        in_a_weld = "a board in a weld answers when its off time is over"
        raise Silent(
            port, "no MicroPython answers", f"{in_a_weld}; {_put_micropython(board)}; {_erase(board)}"
        ) from None
    on_board = OnBoard(micropython=inspected.version, machine=inspected.machine, files=inspected.files)
    oldest = tuple(int(part) for part in board.micropython_min.split("."))
    if on_board.micropython[: len(oldest)] < oldest:
        found = ".".join(str(part) for part in inspected.version)
        raise OtherFirmware(port, f"runs MicroPython {found}, which is too old", _put_micropython(board))
    machine = inspected.machine
    if " with " in machine and board.chip not in machine.split(" with ")[-1].split():
        raise OtherFirmware(
            port, f"is another board: {machine}", f"allowed: {board.title}, for which this firmware was built"
        )
    return on_board


def _put_micropython(board: Board) -> str:
    return (
        f"allowed: MicroPython {board.micropython_min} or newer; get the newest {board.micropython_file} {board.file_kind} from "
        f"micropython.org/download, {board.put_micropython}"
    )


def _erase(board: Board) -> str:
    return f"where another program holds the board: {board.erase}, and flash again"


def flash(
    port: str,
    bundle: FirmwareBundle,
    on_board: OnBoard,
    forget_schedules: bool = False,
    progress: Callable[[str], None] = lambda line: None,
) -> Hello:
    """Put `bundle` onto the board that `look` found at `port`, start it, and return its first answer.

    `progress` takes one line for each step. Raises LinkError, which says how to go on.
    """
    board = bundle_board(bundle)
    number = next((found.serial_number for found in ports() if found.device == port), "")
    if on_board.hello is not None:
        progress("asking the board to stop")
        with Link(port) as link:
            link.maintain()
        port = _again(port, number, lambda device: _inspect(device, board), progress)
    go_on = "the board is off until this is done; repeat the same command"
    try:
        _copy(port, bundle, forget_schedules or on_board.damaged, progress)
        _mpremote(port, ["reset"], _INSPECT_S)
    except LinkError as error:
        raise LinkError(error.where, f"flashing was not finished: {error.key}", go_on) from None
    except KeyboardInterrupt:
        raise LinkError(port, "flashing was not finished", go_on) from None
    progress("restarting")

    def greeted(device: str) -> Hello:
        with Link(device, patience_s=1.0) as link:
            return link.hello

    hello: list[Hello] = []
    port = _again(port, number, lambda device: hello.append(greeted(device)), progress)
    if hello[0].bundle != bundle.board_digest:
        raise OtherFirmware(port, f"reports firmware {hello[0].bundle}, not {bundle.board_digest} as copied", go_on)
    return hello[0]


def _again(
    port: str, number: str, attempt: Callable[[str], object], progress: Callable[[str], None] = lambda line: None
) -> str:
    """Repeat `attempt` until the board answers after a restart. Returns its port, which may have a new name.

    Waiting is reported to `progress`. It ends after `_LONGEST_S`, or when another program answers.
    """
    began = reported = time.monotonic()
    time.sleep(0.3)  # the board answers before it restarts
    others = 0
    while True:
        found = ports()
        device = next((it.device for it in found if number and it.serial_number == number), port)
        try:
            attempt(device)
            return device
        except LinkError as error:
            now = time.monotonic()
            others = others + 1 if isinstance(error, OtherFirmware) else 0
            if others >= _SURE:
                raise
            there = not found or any(it.device == device for it in found)
            if now - began > _LONGEST_S:
                raise LinkError(device, f"did not come back after a restart ({error.key})", _way_back(there)) from None
            if now - reported > _REPORT_S:
                reported = now
                seen = f"its port is there ({error.key})" if there else "its port is not there yet"
                progress(f"waiting for the board, {now - began:.0f} s: {seen}")
        time.sleep(0.2)


def _way_back(there: bool) -> str:
    if there:
        return "allowed: unplug the board, plug it in again, and repeat the command"
    return "allowed: unplug the board, plug it in again, find its port with `weldbeat ports`, and repeat the command"


def _copy(port: str, bundle: FirmwareBundle, forget_schedules: bool, progress: Callable[[str], None]) -> None:
    from tempfile import TemporaryDirectory

    gone = ["main.py", _NEW_MAIN, *(SETTINGS if forget_schedules else [])]
    folders = sorted({path.rpartition("/")[0] for path in bundle.files} - {""})
    others = [path for path in bundle.files if path != "main.py"]
    with TemporaryDirectory() as name:
        bundle.write(Path(name))
        commands = ["exec", _PREPARE.format(gone=gone, folders=folders)]
        for path in others:
            commands += ["+", "fs", "cp", str(Path(name, path)), f":{path}"]
        progress(f"{len(bundle.files)} files to copy; main.py is removed first")
        _mpremote(port, commands, _COPY_S, lambda line: _report_copy(line, progress))
        _check(port, {path: bundle.files[path] for path in others})
        _mpremote(port, ["fs", "cp", str(Path(name, "main.py")), f":{_NEW_MAIN}"], _COPY_S)
        _check(port, {_NEW_MAIN: bundle.files["main.py"]})
        _mpremote(port, ["exec", f"import os\nos.rename('{_NEW_MAIN}', 'main.py')"], _INSPECT_S)
        progress("main.py copied last; every file checked by its SHA-256")


def _report_copy(line: str, progress: Callable[[str], None]) -> None:
    if line.startswith("cp "):
        progress(f"  {line.rpartition(' :')[2]}")


def _check(port: str, files: dict[str, str]) -> None:
    """Compare the files on the board with those sent. Raises LinkError."""
    output = _mpremote(port, ["fs", "sha256sum", *(f":{path}" for path in files)], _COPY_S)
    found = re.findall(r"\b[0-9a-f]{64}\b", output)
    expected = [hashlib.sha256(text.encode()).hexdigest() for text in files.values()]
    for path, is_there, should_be in zip(files, found or [""], expected, strict=False):
        if is_there != should_be:
            raise LinkError(port, f"{path} did not arrive as it was sent", "allowed: repeat the command")
    if len(found) != len(expected):
        raise LinkError(port, "not every file could be checked", "allowed: repeat the command")


def _mpremote(
    port: str, words: list[str], timeout_s: float, each_line: Callable[[str], None] = lambda line: None
) -> str:
    """The output of `mpremote`. Raises LinkError if it failed or took longer than `timeout_s`."""
    command = [sys.executable, "-m", "mpremote", "connect", port, "resume", *words]
    printed: list[str] = []
    most = _MOST_PRINTED
    with subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    ) as process:
        timer = threading.Timer(timeout_s, process.kill)
        timer.start()
        try:
            while line := process.stdout.readline(most + 1) if process.stdout else "":
                most -= len(line)
                if most < 0:
                    process.kill()
                    raise LinkError(port, "prints without end", "allowed: unplug the board, plug it in, and try again")
                printed.append(line.rstrip())
                each_line(printed[-1])
        finally:
            timer.cancel()
            if process.poll() is None and sys.exc_info()[0] is not None:
                process.kill()
    if process.returncode != 0:
        raise _failure(port, printed, process.returncode)
    return "\n".join(printed)


def _failure(port: str, printed: list[str], code: int) -> LinkError:
    text = next((line for line in reversed(printed) if line.strip()), "no output")
    if "failed to access" in text or "in use" in text:
        return PortBusy(
            port, "busy or gone", "allowed: plug the board in, close other programs that use it, repeat the command"
        )
    if code < 0 or "could not enter raw repl" in text:
        return Silent(port, "no MicroPython answers", "allowed: a board with MicroPython")
    if "SerialException" in text or "Input/output error" in text or "disconnected" in text:
        return Unplugged(port, "went away", "allowed: plug it in again and repeat the command")
    return LinkError(port, f"mpremote: {text[:120]}", "allowed: repeat the command")


def now_on(on_board: OnBoard) -> str:
    """The program of a board, in words."""
    if on_board.hello is not None:
        return f"runs Weldbeat {on_board.hello.version}, schedule {on_board.hello.selected}"
    return f"MicroPython {'.'.join(str(part) for part in on_board.micropython)} on {on_board.machine}"


def replaced(on_board: OnBoard, forget_schedules: bool) -> list[str]:
    """The files that flashing replaces or removes, in words."""
    if on_board.damaged:
        return ["Will be replaced: its firmware, and its settings, which are damaged."]
    if on_board.schedules is not None:
        names = ", ".join(held.name for held in on_board.schedules.names)
        if forget_schedules:
            return [f"Will be removed: its firmware, and its schedules ({names}); `weldbeat pull` fetches one."]
        return [f"Will be replaced: its firmware. Its schedules stay ({names}) where the new limits allow them."]
    if on_board.files:
        return [
            f"Will be replaced or left beside it: {', '.join(on_board.files[:12])}{' ...' if len(on_board.files) > 12 else ''}"
        ]
    return ["The board holds no files."]
