"""The self-test of the start: a damaged file of the firmware, and a damaged memory of the half-cycles, are found before use.

After the habits of IEC 60730-1, Annex H (invariable and variable memory; its words from memory), without claiming a class.
Outside: sha256sum of the GNU coreutils reads the list of sums, and two builds of the real MicroPython run main.py.
"""

from __future__ import annotations

import random
import subprocess
import sys
from array import array
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gen.firmware import SUMS, FirmwareBundle
from gen.link.framing import decode
from gen.words import FILE_DAMAGED, FIRMWARE_DAMAGED, MEMORY_BAD, MEMORY_DAMAGED, REASON_NAMES
from sim.bench.board import flipped
from sim.bench.host import SELF_TEST, damaged_file
from sim.bench.world import simulate
from sim.replay.playback import INTERPRETERS, Interpreter
from tests.support.app.stored import made
from tests.support.app.weakened import answers, never
from tests.support.faults.fault_grounds import ground
from tests.support.rp2.fake_board import Board
from tests.support.stm32.stm_board import Board as StmBoard

BUNDLE, _ = made()
ASKED = b'{"jsonrpc": "2.0", "id": 1, "method": "hello"} 0\nanything else\n'


def spoilt(path: str, text: str | None) -> FirmwareBundle:
    """The firmware as it lies in a flash that has lost something: another text in the place of a file, or none."""
    files = {name: held for name, held in BUNDLE.files.items() if name != path}
    return FirmwareBundle(files if text is None else files | {path: text})


CONFIG = BUNDLE.files["config.py"]
SPOILT = {
    "a figure of the limits": ("config.py", CONFIG.replace("DUTY_LIMIT = ", "DUTY_LIMIT = 9")),
    "a file that no longer compiles": ("app/supervisor.py", BUNDLE.files["app/supervisor.py"] + "("),
    "a driver cut short": ("driver.py", BUNDLE.files["driver.py"][:4096]),
    "a file that is gone": ("app/words.py", None),
    "main.py itself": ("main.py", BUNDLE.files["main.py"] + "#\n"),
    "a file of no bytes": ("boot.py", ""),
    "the list of sums": (SUMS, BUNDLE.files[SUMS].replace("a", "b", 1)),
    "the end of the list": (SUMS, BUNDLE.files[SUMS][: BUNDLE.files[SUMS].index("\n") + 1]),
    "no list": (SUMS, None),
}


@pytest.mark.parametrize("what", SPOILT)
def test_a_damaged_file_is_named_before_anything_is_loaded(what: str, tmp_path: Path) -> None:
    """The emitted main.py itself under MicroPython. It has no module rp2, so that whatever loads the driver would fail."""
    path, text = SPOILT[what]
    assert text != BUNDLE.files[path]
    spoilt(path, text).write(tmp_path)
    command = [sys.executable, "-m", "micropython_unix", "main.py"]
    ended = subprocess.run(command, cwd=tmp_path, input=ASKED + b"\x03", capture_output=True, check=False)
    assert (ended.returncode, ended.stderr) == (0, b"")
    replies = [decode(line) for line in ended.stdout.splitlines()]
    assert replies == 2 * [{"jsonrpc": "2.0", "id": 0, "error": {"code": FIRMWARE_DAMAGED, "message": path}}]


def test_whole_files_are_run_and_without_the_test_damaged_ones_too(tmp_path: Path) -> None:
    """The same program on whole files comes to the driver; so it does on damaged ones where the test says that all is well."""
    path, text = SPOILT["a figure of the limits"]
    assert text is not None
    weak = answers("damaged", "''")(spoilt(path, text)).files
    for number, files in enumerate((BUNDLE.files, weak | {SUMS: BUNDLE.files[SUMS]})):
        FirmwareBundle(files).write(tmp_path / str(number))
        command = [sys.executable, "-m", "micropython_unix", "main.py"]
        ended = subprocess.run(command, cwd=tmp_path / str(number), input=ASKED, capture_output=True, check=False)
        assert b"driver.py" in ended.stderr + ended.stdout


@pytest.mark.parametrize("interpreter", INTERPRETERS, ids=lambda each: each.name)
def test_both_builds_find_the_same(interpreter: Interpreter, tmp_path: Path) -> None:
    """Also the 32-bit one, as on a board: nothing in the whole firmware, and a file by its name where its last byte is gone."""
    for number, path in enumerate(("", "app/line.py", "pio_programs.py", SUMS)):
        folder = tmp_path / str(number)
        (spoilt(path, BUNDLE.files[path][:-1]) if path else BUNDLE).write(folder)
        (folder / "ask.py").write_text(
            f"import sys\nsys.path[0] = ''\nfrom app.self_test import damaged\nprint([damaged(open, {SUMS!r})])\n"
        )
        assert interpreter.run(folder, ["ask.py"]).strip() == f"[{path!r}]"


def test_every_bit_that_turns_over_is_found() -> None:
    """One bit of one file, 300 times over all files: its name, and no other."""
    chance, found = random.Random(7), set()
    for _ in range(300):
        hurt = flipped(BUNDLE, chance)
        (path,) = [name for name in BUNDLE.files if hurt.files[name] != BUNDLE.files[name]]
        assert damaged_file(hurt) == path
        found.add(path)
    assert found == set(BUNDLE.files) - {SELF_TEST}
    assert damaged_file(BUNDLE) == ""


def test_another_tool_reads_the_sums(tmp_path: Path) -> None:
    """sha256sum of the GNU coreutils finds every file whole, and the one that is not."""
    BUNDLE.write(tmp_path)

    def check() -> subprocess.CompletedProcess[str]:
        return subprocess.run(["sha256sum", "--check", SUMS], cwd=tmp_path, capture_output=True, text=True, check=False)

    whole = check()
    assert whole.returncode == 0
    assert whole.stdout.splitlines() == [f"{name}: OK" for name in BUNDLE.files if name != SUMS]
    (tmp_path / "app" / "lock.py").write_text("")
    assert "app/lock.py: FAILED\n" in check().stdout


# -- the memory of the half-cycles


def sticking(at: int, bit: int, level: int) -> Callable[..., Any]:
    """A class `array` whose place `at` has a bit that sticks, in every array of more than 100 places."""

    class Sticking(array):  # type: ignore[type-arg]
        def __setitem__(self, where: Any, what: Any) -> None:
            super().__setitem__(where, what)
            if len(self) > 100:
                held = self[at] | 1 << bit if level else self[at] & ~(1 << bit)
                super().__setitem__(at, held)

    return Sticking


class OneForTwo(array):  # type: ignore[type-arg]
    """Two places that are one: an address line that sticks."""

    def __setitem__(self, where: Any, what: Any) -> None:
        super().__setitem__(where, what)
        if len(self) > 100:
            super().__setitem__(64, self[0])


BOARDS: dict[str, Callable[..., Any]] = {"rp2": Board, "stm32": StmBoard}


@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("level", [0, 1])
@pytest.mark.parametrize("bit", range(16))
def test_the_real_driver_finds_a_stuck_bit(board: str, bit: int, level: int) -> None:
    """In the buffer of the words on a Pico, of the begins and ends on a pyboard."""
    driver = BOARDS[board](array_kind=sticking(37, bit, level)).load()
    assert driver.inputs() & MEMORY_BAD


@pytest.mark.parametrize("board", BOARDS)
def test_the_real_driver_finds_two_places_that_are_one_and_passes_a_whole_memory(board: str) -> None:
    assert BOARDS[board](array_kind=OneForTwo).load().inputs() & MEMORY_BAD
    assert not BOARDS[board]().load().inputs() & MEMORY_BAD


def test_the_memory_is_tested_before_the_hardware_has_it() -> None:
    """No state machine and no DMA channel is made before the memory was tested; and the high bits of a word count."""
    for bit in range(16, 32):
        board = Board(array_kind=sticking(5, bit, 1))
        assert board.load().inputs() & MEMORY_BAD
    board, order = Board(), []

    class Noting(array):  # type: ignore[type-arg]
        def __setitem__(self, where: Any, what: Any) -> None:
            order.append([call[0] for call in board.calls])
            super().__setitem__(where, what)

    board.array_kind = Noting
    board.load()
    assert order
    assert all("sm" not in calls and "dma" not in calls for calls in order)
    assert any(call[0] == "sm" for call in board.calls)


# -- what the board does then


def test_a_simulated_board_that_starts_so_never_fires() -> None:
    """Told and for good, where the pedal is pressed twice; without the look at the bit the same board welds."""
    target = ground(0)
    bench, _ = target.plain(1, "weld")
    bench = bench.with_board(memory_bad=True)
    recording = simulate(target.bundle, target.table, bench)
    assert recording.gates == ()
    assert [change.reason for change in recording.states if change.state == "locked out"] == [
        REASON_NAMES[MEMORY_DAMAGED]
    ]
    assert recording.states[-1].state == "locked out"
    weak = never("Supervisor._trouble", "MEMORY_BAD")(target.bundle)
    assert simulate(weak, target.table, bench).gates


def test_a_simulated_board_with_a_damaged_file_never_fires() -> None:
    """A bundle with one figure changed, which runs and welds where its self-test is taken out."""
    target = ground(0)
    bench, _ = target.plain(1, "weld")
    config = target.bundle.files["config.py"].replace("DUTY_LIMIT = ", "DUTY_LIMIT = 9")
    hurt = FirmwareBundle(target.bundle.files | {"config.py": config})
    recording = simulate(hurt, target.table, bench)
    assert recording.gates == ()
    assert [change.reason for change in recording.states] == [REASON_NAMES[FILE_DAMAGED]]
    assert simulate(answers("damaged", "''")(hurt), target.table, bench).gates
