"""An error of the program: the gate first, a restart in any case, and then a lockout that tells the error."""

from __future__ import annotations

import io
import sys
from contextlib import nullcontext
from types import SimpleNamespace
from typing import Any
from unittest.mock import patch

import pytest

from firmware_templates.app import failure
from firmware_templates.app.self_test import damaged
from gen.words import PEDAL, PROGRAM_FAILED, READY, STOP_OPEN
from sim.bench.board import BoardFault, BoardSpec
from sim.bench.chip import Flash
from sim.bench.host import Firmware
from tests.support.app.bench_runs import run, states
from tests.support.app.stored import config_of, made
from tests.support.app.talking import TalkingBoard, request

BUNDLE, _ = made()
CONFIG = config_of(BUNDLE)
TOLD = "ValueError: the ?pin?"


class Restarted(BaseException):
    """A board that restarts does not come back."""


class FailingBoard(TalkingBoard):
    """A board whose inputs raise in the weld, and whose `off` may raise too. `came` is what main.py did on its way out."""

    def __init__(self, off_raises: bool) -> None:
        self.came: list[str] = []
        self.off_raises = off_raises
        super().__init__(CONFIG)

    def inputs(self) -> int:
        if self.begun_ms is not None and self.clock_ms > self.begun_ms + 50:
            raise ValueError('the "pin"')
        return super().inputs() | (PEDAL if self.clock_ms > 1000 else 0)

    def wait_until(self, wake_ms: int) -> None:
        self.clock_ms += 10
        self.fed = 1

    def off(self) -> int:
        self.came.append("off")
        if self.off_raises and self.begun_ms is not None:
            raise OSError("off")
        return 1

    def write_file(self, name: str, data: bytes) -> int:
        self.came.append(f"write {name}")
        return super().write_file(name, data)

    def restart(self, maintain: int) -> None:
        self.came.append(f"restart {maintain}")
        raise Restarted


def opened(name: str, mode: str) -> io.BytesIO:
    """A file of the firmware on the board."""
    return io.BytesIO(BUNDLE.files[name].encode())


def run_main(board: FailingBoard) -> None:
    """The emitted main.py itself, over this board."""
    firmware = Firmware(BUNDLE)
    modules: dict[str, Any] = {
        "micropython": SimpleNamespace(
            kbd_intr=lambda code: None,
            heap_lock=lambda: board.came.append("lock"),
            heap_unlock=lambda: board.came.append("unlock"),
        ),
        "config": CONFIG,
        "app": SimpleNamespace(),
        "app.failure": firmware.failure,
        "app.self_test": SimpleNamespace(damaged=damaged, hold=None),
        "app.supervisor": firmware.supervisor,
        "driver": SimpleNamespace(Driver=lambda: board, maintenance=lambda: 0),
    }
    with patch.dict(sys.modules, modules), pytest.raises(Restarted):
        exec(compile(BUNDLE.files["main.py"], "main.py", "exec"), {"open": opened})


@pytest.mark.parametrize(("maintenance", "codes"), [(0, [-1]), (1, [-1, 3])])
def test_a_ctrl_c_ends_nothing_but_maintenance(maintenance: int, codes: list[int]) -> None:
    """It is deaf to it from the first import on, also where a later import fails, and hears it again for copying files."""
    told: list[int] = []
    board = FailingBoard(False)
    modules: dict[str, Any] = {
        "micropython": SimpleNamespace(kbd_intr=told.append, heap_lock=lambda: None, heap_unlock=lambda: None),
        "config": CONFIG,
        "app": SimpleNamespace(),
        "app.failure": Firmware(BUNDLE).failure,
        "app.self_test": SimpleNamespace(damaged=damaged, hold=None),
        "app.supervisor": Firmware(BUNDLE).supervisor,
        "driver": SimpleNamespace(Driver=lambda: board, maintenance=lambda: maintenance),
    }
    code = compile(BUNDLE.files["main.py"], "main.py", "exec")
    with patch.dict(sys.modules, {**modules, "app.self_test": None}), pytest.raises(ImportError):
        exec(code, {"open": opened})
    assert told == [-1]
    told.clear()
    with patch.dict(sys.modules, modules), nullcontext() if maintenance else pytest.raises(Restarted):
        exec(code, {"open": opened})
    assert told == codes


@pytest.mark.parametrize("off_raises", [False, True])
def test_the_way_out_of_main(off_raises: bool) -> None:
    """Off, then the heap, then the words, then the restart, which is none that was asked for; each comes if off raises too."""
    board = FailingBoard(off_raises)
    run_main(board)
    assert board.came[board.came.index("lock") :] == ["lock", "off", "unlock", "write failure", "restart 0"]
    assert board.flash.files["failure"] == TOLD.encode()


def test_the_next_start_locks_out_and_tells() -> None:
    """Until stop was pressed and released, and through further starts until then."""
    board = FailingBoard(False)
    run_main(board)
    for _ in range(2):
        again = TalkingBoard(CONFIG, Flash(board.flash.files))
        assert (again.state, again.supervisor.reason) == ("locked out", PROGRAM_FAILED)
        status = again.send(request(1, "status"))[0]["result"]
        assert (status["reason"], status["failure"]) == ("the program failed", TOLD)
        assert "press and release stop" in status["way_out"]
    for pins in (STOP_OPEN, 0):
        again.pins = pins
        again.step(60)
    assert again.supervisor.state == READY
    assert again.send(request(2, "status"))[0]["result"]["failure"] == ""
    assert TalkingBoard(CONFIG, Flash(again.flash.files)).supervisor.state == READY


def test_an_error_under_current_on_the_bench() -> None:
    """The gates end with it, and no pedal begins another weld until stop was pressed."""
    error = BoardSpec(faults=(BoardFault("exception", 1.15),))
    recording = run((0.6, 1.2), (2.6, 0.8), length_s=5, board=error, stops=((4, 0.3),))
    assert recording.gates
    assert recording.gates[-1][0] < 1.2
    after = states(recording)[states(recording).index("weld") :]
    assert after[:6] == [  # then the duty of which this start knows nothing
        "weld",
        "starting",
        "locked out: the program failed",
        "locked out: stop is open",
        "waiting for mains",
        "ready",
    ]


def test_the_words_of_an_error_are_short_and_plain() -> None:
    """Printable ASCII without quotes, of at most 80 letters, from an error and from a damaged file alike."""
    flash = Flash({})
    board = SimpleNamespace(read_file=flash.read, write_file=flash.write)
    failure.keep(board, RuntimeError('"\\\n\u00e4' + "x" * 100))  # type: ignore[arg-type]
    assert failure.kept(board) == "RuntimeError: ????" + "x" * 62  # type: ignore[arg-type]
    writes = flash.writes
    failure.keep(board, RuntimeError('"\\\n\u00e4' + "x" * 100))  # type: ignore[arg-type]
    assert flash.writes == writes  # the same error at every start does not wear out the flash
    flash.write("failure", b'\x00"\xff\\a')
    assert failure.kept(board) == "????a"  # type: ignore[arg-type]


def test_nothing_stops_the_restart() -> None:
    """Neither storage that raises, nor an error without words."""

    def broken(name: str) -> bytes:
        raise OSError

    class Wordless(Exception):
        def __str__(self) -> str:
            raise MemoryError

    failure.keep(SimpleNamespace(read_file=broken), ValueError())  # type: ignore[arg-type]
    failure.keep(SimpleNamespace(), Wordless())  # type: ignore[arg-type]


def test_what_may_stand_in_a_line_of_json() -> None:
    """Printable ASCII from the blank to the tilde, but quotes and backslash; 80 letters."""
    from firmware_templates.app.failure import plain

    everything = "".join(chr(n) for n in range(32, 127))
    assert plain(everything[:48]) == everything[:48].replace('"', "?")
    assert plain(everything[48:]) == everything[48:].replace("\\", "?")
    assert plain("\x1f\x7f\u20ac\n") == "????"
    assert plain("x" * 90) == "x" * 80
