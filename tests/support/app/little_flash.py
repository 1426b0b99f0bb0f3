"""A chip of flash memory whose power can go after any byte, with littlefs on it as the board has it.

The file system is the real one, from its Python package; only the memory below it is made here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from littlefs import LittleFS, LittleFSError, UserContext, lfs

from sim.bench.chip import PowerLost

BLOCK, BLOCKS = 4096, 16
PROG, CACHE = 256, 1024  # as MicroPython makes it on this chip
ENDLESS = 1 << 40  # bytes of power


class Chip(UserContext):
    """Flash memory whose power goes after so many programmed bytes; an erase counts as one, and may be left half done."""

    def __init__(self, content: bytes, power: int) -> None:
        self.buffer = bytearray(content)
        self.power = power
        self.used = 0

    def read(self, cfg: Any, block: int, off: int, size: int) -> bytearray:
        """As the package has it, without a line in a log for each of some hundred thousand reads."""
        at = block * BLOCK + off
        return self.buffer[at : at + size]

    def prog(self, cfg: Any, block: int, off: int, data: bytes) -> int:
        at = block * BLOCK + off
        count = max(0, min(len(data), self.power - self.used))
        for n in range(count):
            self.buffer[at + n] &= data[n]  # programming only clears bits
        self.used += len(data)
        return 0 if self.used <= self.power else -5

    def erase(self, cfg: Any, block: int) -> int:
        count = BLOCK if self.used < self.power else BLOCK // 3 if self.used == self.power else 0
        self.buffer[block * BLOCK : block * BLOCK + count] = b"\xff" * count
        self.used += 1
        return 0 if self.used <= self.power else -5


class WatchedChip(Chip):
    """A chip that keeps its power, and tells what it would hold had the power gone at each byte, as `Chip` would."""

    def __init__(self, content: bytes, told: Callable[[int, bytes], None]) -> None:
        super().__init__(content, ENDLESS)
        self.told = told

    def prog(self, cfg: Any, block: int, off: int, data: bytes) -> int:
        at = block * BLOCK + off
        held = bytes(self.buffer)
        for n, byte in enumerate(data):
            self.told(self.used, held)
            if self.buffer[at + n] & ~byte:
                self.buffer[at + n] &= byte
                held = bytes(self.buffer)
            self.used += 1
        return 0

    def erase(self, cfg: Any, block: int) -> int:
        at = block * BLOCK
        count = BLOCK // 3
        self.told(self.used, bytes(self.buffer[:at]) + b"\xff" * count + bytes(self.buffer[at + count :]))
        self.buffer[at : at + BLOCK] = b"\xff" * BLOCK
        self.used += 1
        return 0


class LittleDriver:
    """Files on littlefs as MicroPython and driver.py use it."""

    def __init__(self, chip: Chip, form: bool = False) -> None:
        self.chip = chip
        self.fs = LittleFS(
            chip, block_size=BLOCK, block_count=BLOCKS, prog_size=PROG, read_size=32, cache_size=CACHE, mount=False
        )
        if form:
            self.fs.format()
        self.fs.mount()

    def read_file(self, name: str) -> bytes | None:
        try:
            file = lfs.file_open(self.fs.fs, name, "rb")
        except LittleFSError as error:
            return None if error.code == -2 else b""
        data = bytes(lfs.file_read(self.fs.fs, file, 1 << 15))
        lfs.file_close(self.fs.fs, file)
        return data

    def write_file(self, name: str, data: bytes) -> int:
        try:
            file = lfs.file_open(self.fs.fs, name, "wb")
            lfs.file_write(self.fs.fs, file, data)
            lfs.file_sync(self.fs.fs, file)
            lfs.file_close(self.fs.fs, file)
        except LittleFSError:
            assert self.chip.used > self.chip.power
            raise PowerLost from None
        return 1
