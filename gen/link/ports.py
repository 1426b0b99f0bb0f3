"""Finds boards on the serial ports, and opens one."""

from __future__ import annotations

import errno
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gen.boards import boards
from gen.link.errors import LinkError, NotSerial, PortBusy, Unplugged

if TYPE_CHECKING:
    from serial import Serial

BAUD = 115200  # ignored by USB; not 1200, which puts some boards into their boot loader
READ_S = 0.05
WRITE_S = 2.0


@dataclass(frozen=True)
class FoundPort:
    """A serial port. `board`: whether its USB vendor number is that of a timer board under MicroPython."""

    device: str
    description: str
    serial_number: str
    board: bool


def ports() -> list[FoundPort]:
    """The serial ports of this computer, boards first."""
    from serial.tools.list_ports import comports

    vendors = {vendor for board in boards().values() for vendor in board.usb_vendors}
    found = [
        FoundPort(port.device, port.description or "", port.serial_number or "", port.vid in vendors)
        for port in comports()
        if port.vid is not None or port.description not in (None, "n/a")
    ]
    return sorted(found, key=lambda port: (not port.board, port.device))


def find_port(given: str | None) -> str:
    """The port given, or that of the only board. Raises LinkError for no board or several."""
    if given is not None:
        return given
    found = [port.device for port in ports() if port.board]
    if not found:
        raise Unplugged(
            "PORT",
            "no board found",
            "allowed: a timer board on USB, with a cable that carries data; name any other port, see `weldbeat ports`",
        )
    if len(found) > 1:
        raise LinkError("PORT", f"{len(found)} boards found", f"allowed: name one of {', '.join(found)}")
    return found[0]


def only_port() -> str | None:
    """The port of the only board; None where there is none. Raises LinkError for several."""
    try:
        return find_port(None)
    except Unplugged:
        return None


def unique_name(device: str, board: str) -> str:
    """The identity of a board: its name and the serial number of its USB, if it has one."""
    number = next((port.serial_number for port in ports() if port.device == device), "")
    return f"{board} {number}" if number else board


def open_port(device: str) -> Serial:
    """Open `device` for this program alone. Raises LinkError."""
    from serial import Serial, SerialException

    try:
        return Serial(device, BAUD, timeout=READ_S, write_timeout=WRITE_S, exclusive=True)
    except (SerialException, OSError, ValueError) as error:
        raise _cannot_open(device, error) from None


def _cannot_open(device: str, error: Exception) -> LinkError:
    number, text = getattr(error, "errno", None), str(error)
    if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in text or "PermissionError" in text:
        return PortBusy(device, "busy", "allowed: close the other program that has it open, and repeat the command")
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.EIO) or "FileNotFoundError" in text:
        return Unplugged(
            device, "no such port", "allowed: plug the board in, and name a port that `weldbeat ports` lists"
        )
    if number in (errno.EACCES, errno.EPERM):
        return LinkError(
            device, "you may not open it", "allowed: on Linux, after `sudo usermod -aG dialout $USER` and a new login"
        )
    return NotSerial(device, "not a serial port", "allowed: a port that `weldbeat ports` lists")
