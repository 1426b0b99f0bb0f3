"""Speed of a push, and what sixteen schedules take of a board's memory. Run on request.

    python -m tests.bench.bench_link

The board is the emitted bundle under MicroPython's Unix port on a pseudo-terminal: a 64-bit interpreter on a fast processor
with no flash to erase, so that times are those of the protocol and the host, and bytes are about twice a Pico's.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import gen.link.client
from gen.firmware import FirmwareBundle
from gen.link import Link
from gen.table import TimingRow, TimingTable
from tests.support.link.stepped_board import SteppedBoard
from tests.support.link.unix_board import UnixBoard
from tests.support.machines import fired_row, firmware, make_welder

WORST_ROWS = 200
SCHEDULES = 16
MEMORY = """
import gc, sys
sys.path.insert(0, {folder!r})
import config
from app.store import Store
class Driver:
    files = {{}}
    def read_file(self, name):
        return self.files.get(name)
    def write_file(self, name, data):
        self.files[name] = bytes(data)
        return 1
store = Store(Driver(), config)
store.start()
gc.collect()
before = gc.mem_alloc()
rows = [("squeeze", 40, -1, 0), ("weld", 1, 6000, 60)] + [("weld", 1, 5500 + i % 2, 70) for i in range({rows} - 3)]
rows += [("weld", 2, 5600, 70), ("hold", 10, -1, 0), ("off", 10, -1, 0)]
for n in range({schedules} - 1):
    if not store.put("schedule-%d" % n, rows):
        break
gc.collect()
print(len(store.schedules), gc.mem_alloc() - before, len(store.packed(1)))
"""


def table(rows: int, name: str) -> TimingTable:
    """A table of `rows` rows, every fired one different from the next."""
    fired = [fired_row("weld", 2, 6000 + i % 2, 60) for i in range(rows - 3)]
    return TimingTable(name, 50, (TimingRow("squeeze", 20), *fired, TimingRow("hold", 20), TimingRow("off", 20)))


def longest_steps(bundle: FirmwareBundle) -> None:
    """The longest single step in ready by what it answers: what a pedal pressed just then would wait for.

    In this process, under CPython. A Pico may take fifty times as long (a guess, not measured), and each copy written to
    flash 45 to 400 ms more.
    """
    board = SteppedBoard(bundle)
    gen.link.client.time = board  # type: ignore[assignment]  # its clock is the only one
    board.run(200)
    link = Link("board", opened=board).__enter__()
    worst, plain = 0.0, board.step

    def timed() -> None:
        nonlocal worst
        began = time.perf_counter()
        plain()
        worst = max(worst, time.perf_counter() - began)

    board.step = timed  # type: ignore[method-assign]
    for what, do in (
        ("nothing", lambda: board.run(2000)),
        ("status", link.status),
        (f"push of {WORST_ROWS} rows, storing included", lambda: link.push(table(WORST_ROWS, "long"))),
        (f"read of {WORST_ROWS} rows", lambda: link.read("long")),
        ("select", lambda: link.select("long")),
    ):
        worst = 0.0
        do()
        print(f"longest step while asked for {what}: {1000 * worst:.2f} ms")


def main() -> None:
    welder = make_welder(limits={"longest_weld": "9 s"})
    bundle, _ = firmware(welder, {"weld": "6 cycles"})
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with UnixBoard(folder) as board:
            bundle.write(board.flash)
            with Link(board.port) as link:
                for rows in (10, WORST_ROWS):
                    sent, began = board.to_board, time.perf_counter()
                    link.push(table(rows, f"rows-{rows}"))
                    pushed = time.perf_counter()
                    link.read(f"rows-{rows}")
                    read = time.perf_counter()
                    print(
                        f"{rows} rows: pushed in {pushed - began:.3f} s ({board.to_board - sent} bytes), "
                        f"read back in {read - pushed:.3f} s"
                    )
        for rows in (12, 60):
            program = MEMORY.format(folder=str(board.flash), rows=rows, schedules=SCHEDULES)
            command = [sys.executable, "-m", "micropython_unix", "-c", program]
            held, memory, size = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
            print(f"{held} schedules of {rows} rows: {memory} bytes of heap (64-bit), {size} bytes a settings file")
    longest_steps(bundle)


if __name__ == "__main__":
    main()
