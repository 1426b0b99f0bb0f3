"""The settings, kept through any loss of power: two copies, each with a sequence number and a CRC-32.

A change is written over the older copy and read back. It counts only if read back as written. So one whole copy always exists,
of the old settings or of the new. Nothing here is called while armed.
"""

from binascii import crc32

from .table_check import digest, is_name, refusal
from .words import LASTING, MOST_SCHEDULES, PHASES

TYPE_CHECKING = False
if TYPE_CHECKING:
    from interface import Config, Driver, Rows

FILES = ("settings.a", "settings.b")
MOST_BYTES = 16384  # limit of the body, so that old settings, new settings and the read-back fit in memory
ROW_BYTES = 6

# The progress of a change.
UNDER_WAY = 0
STORED = 1
FAILED = 2  # and undone

_HEAD = "weldbeat 1 %d %d"


class Store:
    """Named schedules, which of them is selected, how often the board was started, and a lockout that outlasts the power."""

    def __init__(self, driver: "Driver", config: "Config") -> None:
        self.driver = driver
        self.config = config
        self.selected = ""
        self.boot = 0
        self.lockout = 0  # the reason of one that outlasts the power
        self.bundle = config.BUNDLE_DIGEST
        self.schedules: list[tuple[str, str, bytes]] = []  # name, digest, packed rows
        self.sequence = 0  # number of the newer copy; 0: nothing is stored
        self.newer = 1  # which of FILES it is
        self.before = (self.selected, self.schedules, self.lockout)
        self.copies = 0  # copies written of the present change

    def start(self) -> bool:
        """Read the settings and count this start. False if they are damaged, or cannot be stored for the first time."""
        copies = (self.driver.read_file(FILES[0]), self.driver.read_file(FILES[1]))
        for i in range(2):
            if self._take(copies[i], self.sequence):
                self.newer = i
        if self.sequence:
            self.boot = self.boot % 999999999 + 1
            if self.bundle == self.config.BUNDLE_DIGEST:
                self.write()  # over the older copy, or the damaged one
                return True
        else:
            self.boot = 1
        self._take_over()
        if self.sequence == 0 and copies != (None, None):  # a partial file may be the remainder of settings
            self.selected = ""
            self.schedules = []
            return False
        self.write()
        self.write()
        return self.sequence > 0

    def _take_over(self) -> None:
        """Take over the settings of another firmware: select this firmware's schedule, drop those beyond its limits."""
        config = self.config
        kept = []
        for schedule in self.schedules:
            if schedule[0] != config.SCHEDULE and not refusal(unpacked(schedule[2]), config):
                kept.append(schedule)
        rows = packed(config.ROWS)
        self.bundle = config.BUNDLE_DIGEST
        self.selected = config.SCHEDULE
        self.schedules = kept + [(config.SCHEDULE, digest(config.SCHEDULE, config.FREQUENCY_HZ, config.ROWS), rows)]
        while self.full():
            self.schedules = self.schedules[1:]

    # -- reading -------------------------------------------------------------------------------------------------

    def names(self) -> "list[tuple[str, str]]":
        """Name and digest of each schedule."""
        return [(schedule[0], schedule[1]) for schedule in self.schedules]

    def find(self, name: object) -> int:
        """Index of a schedule, or -1."""
        for i in range(len(self.schedules)):
            if self.schedules[i][0] == name:
                return i
        return -1

    def rows(self, name: str) -> "Rows":
        """Rows of a schedule; () if it does not exist."""
        i = self.find(name)
        return () if i < 0 else unpacked(self.schedules[i][2])

    def digest(self, name: str) -> str:
        """Digest of a schedule, computed from the rows held; "" if it does not exist."""
        return "" if self.find(name) < 0 else digest(name, self.config.FREQUENCY_HZ, self.rows(name))

    def whole(self, name: str) -> bool:
        """True while the rows held of a schedule match the digest that it was stored with."""
        i = self.find(name)
        return i >= 0 and self.digest(name) == self.schedules[i][1]

    def full(self) -> bool:
        """True when the settings exceed the room."""
        return len(self.schedules) > MOST_SCHEDULES or len(self._body()) > MOST_BYTES

    # -- changing: each change is pending until `store_on` reports its end ------------------------------------------

    def _begin(self) -> None:
        self.before = (self.selected, self.schedules, self.lockout)
        self.copies = 0

    def put(self, name: str, rows: "Rows") -> bool:
        """Add or replace a schedule. False, with nothing changed, where it does not fit."""
        self._begin()
        added = (name, digest(name, self.config.FREQUENCY_HZ, rows), packed(rows))
        self.schedules = [schedule for schedule in self.schedules if schedule[0] != name] + [added]
        if self.full():
            self.undo()
            return False
        return True

    def select(self, name: str) -> None:
        """Weld with this schedule from now on."""
        self._begin()
        self.selected = name

    def remove(self, name: str) -> None:
        """Remove a schedule."""
        self._begin()
        self.schedules = [schedule for schedule in self.schedules if schedule[0] != name]

    def hold(self, reason: int) -> None:
        """Record a lockout that outlasts the power; 0 deletes it."""
        self._begin()
        self.lockout = reason

    def undo(self) -> None:
        """Restore the settings before the last change."""
        self.selected, self.schedules, self.lockout = self.before

    def store_on(self) -> int:
        """Write one copy of the change, and return its progress. Each copy takes a call of its own, since it takes long."""
        stored = self.write()
        self.copies += 1
        if self.copies > 1:
            # The first copy holds the change. If the second failed, the next start writes it again.
            return STORED
        if stored:
            return UNDER_WAY
        self.undo()
        return FAILED

    def write(self) -> bool:
        """Write the settings over the older copy and read them back. True if equal; that copy is then the newer."""
        older = 1 - self.newer
        data = self.packed(self.sequence + 1)
        if not self.driver.write_file(FILES[older], data):
            return False
        back = self.driver.read_file(FILES[older])
        if back != data or not self._take(back, self.sequence):
            return False
        self.newer = older
        return True

    # -- the file ------------------------------------------------------------------------------------------------

    def _body(self) -> bytes:
        parts = [_text(self.bundle), _text(self.selected), _number(self.boot, 4), _number(len(self.schedules), 1)]
        for name, letters, rows in self.schedules:
            parts += [_text(name), _text(letters), _number(len(rows) // ROW_BYTES, 2), rows]
        if self.lockout:
            parts.append(_number(self.lockout, 1))
        return b"".join(parts)

    def packed(self, sequence: int) -> bytes:
        """A whole file."""
        body = self._body()
        head = (_HEAD % (sequence, len(body))).encode()
        return head + (" %08x\n" % (crc32(body, crc32(head)) & 0xFFFFFFFF)).encode() + body

    def _take(self, data: "bytes | None", above: int) -> bool:
        """Take the settings from a file's content if it is whole and its sequence number is greater than `above`."""
        end = -1 if data is None else data.find(b"\n")
        if data is None or end < 0:
            return False
        try:
            words = data[:end].decode().split(" ")
            sequence, length = int(words[2]), int(words[3])
            head = (_HEAD % (sequence, length)).encode()
            body = data[end + 1 :]
            right = head + (" %08x" % (crc32(body, crc32(head)) & 0xFFFFFFFF)).encode()
            if data[:end] != right or len(body) != length or sequence <= above:
                return False
            reader = _Reader(body)
            bundle, selected, boot = reader.text(), reader.text(), reader.number(4)
            schedules = []
            for _ in range(reader.number(1)):
                schedules.append((reader.text(), reader.text(), reader.take(reader.number(2) * ROW_BYTES)))
            lockout = 0
            if reader.at < length:  # a board without one writes none
                lockout = reader.number(1)
                if lockout not in LASTING:
                    return False
        except (ValueError, IndexError):
            return False
        if reader.at != length or not is_name(selected) or selected not in [schedule[0] for schedule in schedules]:
            return False
        self.sequence = sequence
        self.bundle = bundle
        self.selected = selected
        self.boot = boot
        self.lockout = lockout
        self.schedules = schedules
        return True


def packed(rows: "Rows") -> bytes:
    """Rows in the file's format: phase, half-cycles (2 bytes), delay plus 1 (2 bytes), heat."""
    data = bytearray()
    for phase, half_cycles, delay_us, heat in rows:
        data += _number(PHASES.index(phase), 1) + _number(half_cycles, 2) + _number(delay_us + 1, 2) + _number(heat, 1)
    return bytes(data)


def unpacked(data: bytes) -> "Rows":
    """The rows from the file's format. Raises IndexError for an unknown phase."""
    rows = []
    for at in range(0, len(data), ROW_BYTES):
        half_cycles, delay_us = data[at + 1] | data[at + 2] << 8, (data[at + 3] | data[at + 4] << 8) - 1
        rows.append((PHASES[data[at]], half_cycles, delay_us, data[at + 5]))
    return tuple(rows)


def _text(text: str) -> bytes:
    return bytes([len(text)]) + text.encode()


def _number(value: int, length: int) -> bytes:
    return value.to_bytes(length, "little")


class _Reader:
    """Reads fields from a body. Raises IndexError where it ends too soon."""

    def __init__(self, body: bytes) -> None:
        self.body = body
        self.at = 0

    def take(self, length: int) -> bytes:
        self.at += length
        if self.at > len(self.body):
            raise IndexError
        return self.body[self.at - length : self.at]

    def number(self, length: int) -> int:
        return int.from_bytes(self.take(length), "little")

    def text(self) -> str:
        return self.take(self.number(1)).decode()
