"""A board: the emitted files under a real MicroPython for Unix, on a pseudo-terminal of its own, with an unreal welder.

The folder `flash` stands for the board's file system. The process is started again whenever it ends, as a board restarts.
"""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import threading
import tty
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

HARDWARE = Path(__file__).parent / "board"


class UnixBoard:
    """`port` is what a program on this computer opens; `folder` holds the board's flash and state."""

    def __init__(self, folder: Path, heap: str = "400k") -> None:
        self.flash = folder / "flash"
        self._state = folder / "state"
        self._heap = heap
        self.flash.mkdir(parents=True, exist_ok=True)
        self._state.mkdir(exist_ok=True)
        os.mkfifo(self._state / "inputs")
        self._control = os.open(self._state / "inputs", os.O_RDWR)
        self._inner, self._inner_far = _terminal()
        self._outer: int | None
        self._outer, self._outer_far = _terminal()
        self.port = os.ttyname(self._outer_far)
        self.starts = 0
        self.to_board = 0  # bytes that have gone to the board
        self.unplug_when: Callable[[], bool] | None = None  # asked at each piece that goes to the board
        self._process: subprocess.Popen[bytes] | None = None
        self._running = True
        self._threads = [threading.Thread(target=self._keep_running), threading.Thread(target=self._carry)]

    def __enter__(self) -> Self:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._running = False
        self.power_cut()
        for thread in self._threads:
            thread.join(10)
        cable = [] if self._outer is None else [self._outer, self._outer_far]
        for end in (self._control, self._inner, self._inner_far, *cable):
            os.close(end)

    def inputs(self, bits: int) -> None:
        """Set the contacts: PEDAL, STOP_OPEN."""
        os.write(self._control, bytes([48 + bits]))

    def power_cut(self) -> None:
        """Take the power away for a moment."""
        if self._process is not None:
            self._process.kill()

    def _keep_running(self) -> None:
        environment = os.environ | {"BOARD_HARDWARE": str(HARDWARE), "BOARD_STATE": str(self._state)}
        command = [
            sys.executable,
            "-m",
            "micropython_unix",
            "-X",
            f"heapsize={self._heap}",
            "-i",
            str(HARDWARE / "start.py"),
        ]
        while self._running:
            self.starts += 1
            self._process = subprocess.Popen(
                command,
                cwd=self.flash,
                env=environment,
                stdin=self._inner_far,
                stdout=self._inner_far,
                stderr=self._inner_far,
            )
            while self._running and self._process.poll() is None:
                try:
                    self._process.wait(0.05)
                except subprocess.TimeoutExpired:
                    continue
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()

    def plug_in(self) -> None:
        """Make a new port after the old one went away."""
        self.unplug_when = None
        self._outer, self._outer_far = _terminal()
        self.port = os.ttyname(self._outer_far)

    def _carry(self) -> None:
        """Carry bytes between the process's terminal and ours; the pair of terminals is the cable."""
        while self._running:
            outer = self._outer
            ends = [self._inner] if outer is None else [self._inner, outer]
            ready = select.select(ends, [], [], 0.02)[0]
            if outer is not None and outer in ready:
                data = os.read(outer, 4096)
                self.to_board += len(data)
                os.write(self._inner, data)
                if self.unplug_when is not None and self.unplug_when():
                    far = self._outer_far  # plug_in may put new ends there as soon as the old one is closed
                    self._outer = None
                    os.close(far)
                    os.close(outer)
                    continue
            if self._inner in ready:
                data = os.read(self._inner, 4096)
                if self._outer is not None:
                    os.write(self._outer, data)


def _terminal() -> tuple[int, int]:
    """Both ends of a pseudo-terminal that carries bytes as they are."""
    ours, far = pty.openpty()
    tty.setraw(far)
    return ours, far
