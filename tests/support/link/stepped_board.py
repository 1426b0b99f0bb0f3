"""The emitted application in this process, stepped by whoever reads from it: a board and its cable with faults on demand.

It is a port as `Link` uses one, and its clock is the only one: `clock` stands in for the module `time` in the client.
"""

from __future__ import annotations

from typing import Any

from gen import words
from gen.firmware import FirmwareBundle
from sim.bench.host import Firmware

MASK = (1 << 30) - 1
STEP_MS = 5
HALF_MS = 10


class PowerCut(Exception):
    """Ends the program in the middle of what it does."""


class SteppedBoard:
    """A board at a steady 50 Hz. `files` is its flash; `firmware` the module state since the last start."""

    def __init__(self, bundle: FirmwareBundle) -> None:
        self.bundle = bundle
        self.now = 0
        self.files: dict[str, bytes] = {}
        self.pedal = 0
        self.sent: list[bytes] = []  # lines to the board, as they were meant
        # Faults, each for once: what happens to the next line to the board, and to the next reply.
        self.line_fault = ""  # "lost", "damaged"
        self.reply_lost = False
        self.cut_after: int | None = None  # bytes of files written: then the power goes
        self.bad_writes = 0  # files that the flash will not take
        self.restarts = 0
        self.lengths_us: list[int] = []  # of the current of each gate, as they are timed; none: no sense
        self.start()

    def start(self) -> None:
        """Power up."""
        self.to_board = bytearray()
        self.from_board = bytearray()
        self.firmware = Firmware(self.bundle)
        self.supervisor: Any = self.firmware.supervisor.Supervisor(_Driver(self), self.firmware.config)

    def step(self) -> None:
        """One step of the program, five milliseconds."""
        try:
            self.supervisor.step(self.now & MASK)
        except PowerCut:
            self.restarts += 1
            self.start()
        self.now += STEP_MS

    def run(self, ms: int) -> None:
        """Let time pass."""
        for _ in range(ms // STEP_MS):
            self.step()

    # -- as a port -----------------------------------------------------------------------------------------------

    @property
    def in_waiting(self) -> int:
        return len(self.from_board)

    def read(self, size: int = 1, /) -> bytes:
        if not self.from_board:
            self.step()
        data = bytes(self.from_board[:size])
        del self.from_board[:size]
        return data

    def write(self, data: bytes, /) -> int:
        if b"hello" not in data and len(data) > 1:
            self.sent.append(data)
            fault, self.line_fault = self.line_fault, ""
            if fault == "lost":
                return len(data)
            if fault == "damaged":
                data = data[:20] + bytes([data[20] ^ 1]) + data[21:]
        self.to_board += data
        return len(data)

    def close(self) -> None:
        pass

    # -- as the module `time` ------------------------------------------------------------------------------------

    def monotonic(self) -> float:
        return self.now / 1000

    def sleep(self, seconds: float) -> None:
        self.run(int(seconds * 1000))


class _Driver:
    """The driver interface over a board, for one start of it."""

    def __init__(self, board: SteppedBoard) -> None:
        self._board = board
        self._edge = board.now
        self._began = 0
        self._count = 0
        self._ended = 0
        self._fires: dict[int, int] = {}
        self._contactor = 0

    def now_ms(self) -> int:
        return self._board.now & MASK

    def rested_ms(self) -> int:
        return MASK

    def inputs(self) -> int:
        return self._board.pedal | (0 if self._contactor else words.CONTACTOR_OPEN)

    def crossing_us(self) -> int:
        if self._board.now - self._edge < HALF_MS:
            return 0
        self._edge += HALF_MS
        return 1000 * HALF_MS

    def conduction_us(self, gate: int) -> int:
        lengths = self._board.lengths_us
        return lengths[gate] if gate < len(lengths) else -1

    def conduction(self) -> int:
        return words.BLOCKING | words.CONDUCTING if self._board.lengths_us else words.NOT_FITTED

    def current_ring(self) -> tuple[int, ...]:
        return ()

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self._fires[index] = int(delay_us >= 0)

    def start(self, count: int, half_us: int, positive: int) -> int:
        self._began = self._board.now
        self._count = count
        return 1

    def done(self) -> int:
        if self._count:
            return min(self._count, (self._board.now - self._began) // HALF_MS)
        return self._ended

    def fired(self, index: int) -> int:
        return self._fires[index]

    def off(self) -> int:
        self._ended = self.done()
        self._count = 0
        return 1

    def alive(self, contactor: int) -> None:
        self._contactor = contactor

    def read_byte(self) -> int:
        return self._board.to_board.pop(0) if self._board.to_board else -1

    def write(self, data: bytes) -> None:
        lost, self._board.reply_lost = self._board.reply_lost, False
        if not lost:
            self._board.from_board += data

    def read_file(self, name: str) -> bytes | None:
        return self._board.files.get(name)

    def write_file(self, name: str, data: bytes) -> int:
        if self._board.cut_after is not None:
            written, self._board.cut_after = self._board.cut_after, None
            self._board.files[name] = data[:written]
            raise PowerCut
        if self._board.bad_writes:
            self._board.bad_writes -= 1
            return 0
        self._board.files[name] = data
        return 1

    def restart(self, maintain: int) -> None:
        pass
