"""The driver for a part of the application that is tried alone, and lines for it, with a checksum that is not the project's."""

from __future__ import annotations

from binascii import crc32

STOP = b'{"jsonrpc": "2.0", "id": 0, "method": "stop"} 273b6c09\n'


def with_crc(text: str) -> bytes:
    return f"{text} {crc32(text.encode()):08x}\n".encode()


class FakeDriver:
    """Keeps what the application hands over."""

    def __init__(self, received: bytes = b"") -> None:
        self.received = list(received)
        self.sent: list[bytes] = []
        self.half_cycles: dict[int, tuple[int, int, int]] = {}

    def read_byte(self) -> int:
        return self.received.pop(0) if self.received else -1

    def write(self, data: bytes) -> None:
        self.sent.append(data)

    def set_half_cycle(self, index: int, delay_us: int, end_us: int, positive: int) -> None:
        self.half_cycles[index] = (delay_us, end_us, positive)
