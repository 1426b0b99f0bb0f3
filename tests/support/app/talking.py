"""The application in this process with a serial line to talk to: no bench, no time but that of its steps."""

from __future__ import annotations

import json
from binascii import crc32
from collections import deque
from typing import Any

from firmware_templates.app.supervisor import Supervisor
from gen import words
from gen.table import TimingTable, board_delay_us, heat
from gen.words import PHASES
from sim.bench.chip import Flash

STEP_MS = 10  # one half-cycle


def request(number: int, method: str, **params: Any) -> bytes:
    """A line to the board; the parameter `first` is sent as "from"."""
    if "first" in params:
        params["from"] = params.pop("first")
    return checked(json.dumps({"jsonrpc": "2.0", "id": number, "method": method, "params": params}))


def checked(text: str) -> bytes:
    data = text.encode()
    return data + f" {crc32(data):08x}\n".encode()


def coded(table: TimingTable) -> list[list[int]]:
    """Rows as push_rows carries them."""
    return [[PHASES.index(row.phase), row.half_cycles, board_delay_us(row), heat(row)] for row in table.rows]


def push(name: str, digest: str, rows: list[list[int]], first: int = 1) -> list[bytes]:
    """The lines of a push, with ids from `first`."""
    lines = [request(first, "push_begin", name=name, digest=digest, rows_total=len(rows))]
    for at in range(0, len(rows), 8):
        lines.append(request(first + len(lines), "push_rows", first=at, rows=rows[at : at + 8]))
    return [*lines, request(first + len(lines), "push_commit")]


class TalkingBoard:
    """The driver and the loop in one. The mains is steady; a weld ends when `count` half-cycles have gone by."""

    def __init__(self, config: Any, flash: Flash | None = None) -> None:
        self.flash = flash or Flash({})
        self.pins = 0
        self.contactor = 0
        self.clock_ms = 0
        self.received: deque[int] = deque()
        self.sent: list[bytes] = []
        self.fed = 0
        self.gates: dict[int, int] = {}
        self.begun_ms: int | None = None
        self.count = 0
        self.starts = 0
        self.supervisor = Supervisor(self, config)  # type: ignore[arg-type]
        self.step(30)

    def step(self, number: int = 1) -> None:
        for _ in range(number):
            self.fed = 1
            self.supervisor.step(self.clock_ms)
            self.clock_ms += STEP_MS

    def send(self, data: bytes) -> list[dict[str, Any]]:
        """Send, step until all is read and answered, and return the answers."""
        self.received.extend(data)
        while self.received:
            self.step()
        self.step(3)
        sent, self.sent = self.sent, []
        for line in sent:
            assert line.endswith(b"\n")
            assert int(line[-9:-1], 16) == crc32(line[:-10])
        return [json.loads(line[:-10]) for line in sent]

    @property
    def state(self) -> str:
        return words.STATE_NAMES[self.supervisor.state]

    def kept(self) -> Any:
        """Everything that a line must not change by itself."""
        store, plan = self.supervisor.store, self.supervisor.plan
        return (
            dict(self.flash.files),
            store.selected,
            tuple(store.schedules),
            store.boot,
            tuple(plan.rows),
            self.flash.writes,
        )

    # -- the driver interface ------------------------------------------------------------------------------------

    def now_ms(self) -> int:
        return self.clock_ms

    def rested_ms(self) -> int:
        return 1 << 28

    def inputs(self) -> int:
        return self.pins | (0 if self.contactor else words.CONTACTOR_OPEN)

    def crossing_us(self) -> int:
        fed, self.fed = self.fed, 0
        return 10_000 if fed else 0

    def conduction_us(self, gate: int) -> int:
        return -1

    def conduction(self) -> int:
        return 0

    def current_ring(self) -> tuple[int, ...]:
        return ()

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self.gates[index] = int(delay_us >= 0)

    def start(self, count: int, half_us: int, positive: int) -> int:
        self.begun_ms, self.count = self.clock_ms, count
        self.starts += 1
        return 1

    def done(self) -> int:
        return 0 if self.begun_ms is None else min(self.count, (self.clock_ms - self.begun_ms) // 10)

    def fired(self, index: int) -> int:
        return self.gates[index]

    def off(self) -> int:
        return 1

    def alive(self, contactor: int) -> None:
        self.contactor = contactor

    def read_byte(self) -> int:
        return self.received.popleft() if self.received else -1

    def write(self, data: bytes) -> None:
        assert not self.supervisor.armed()
        self.sent.append(data)

    def read_file(self, name: str) -> bytes | None:
        assert not self.supervisor.armed()
        return self.flash.read(name)

    def write_file(self, name: str, data: bytes) -> int:
        assert not self.supervisor.armed()
        return self.flash.write(name, data)
