"""Every way in which a port can be the wrong one: each its own plain line. The devices are pseudo-terminals of the system."""

from __future__ import annotations

import fcntl
import os
import sys
import termios
from collections.abc import Callable
from typing import Any

import pytest

from gen.link import Link, LinkError
from gen.link.errors import OtherFirmware, PortBusy, Silent, Unplugged
from gen.link.framing import decode
from gen.link.ports import FoundPort, find_port
from tests.support.link.answers import HELLO, answering, reply
from tests.support.link.pty_device import PtyDevice

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

OTHERS: dict[str, tuple[Callable[[bytes], bytes], type[LinkError], str]] = {
    "nothing answers": (lambda line: b"", Silent, "no answer"),
    "an echo": (lambda line: line + b"\r\n", OtherFirmware, "answers, but not as Weldbeat does"),
    "a chatterbox": (lambda line: b"$GPGGA,1234\r\n", OtherFirmware, "answers, but not as Weldbeat does"),
    "a prompt": (lambda line: b">>> " + line + b"\r\n", OtherFirmware, "runs MicroPython without Weldbeat"),
    "another program": (answering(hello=HELLO | {"program": "kiln"}), OtherFirmware, "runs another program than Weldbeat"),
    "before there was a protocol": (
        answering(hello={"program": "weldbeat", "board": "pico", "schedule": "job", "digest": "1" * 16}),
        OtherFirmware,
        "runs a firmware that is older than this program",
    ),
    "a later protocol": (answering(hello=HELLO | {"protocol": 2}), OtherFirmware, "runs a firmware that is newer"),
    "a hello without a key": (
        answering(hello={k: v for k, v in HELLO.items() if k != "boot"}),
        OtherFirmware,
        "answers with a boot that this program does not know",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", OTHERS)
def test_something_else_answers(name: str) -> None:
    answer, kind, words = OTHERS[name]
    with PtyDevice(answer) as device, pytest.raises(kind) as told, Link(device.port, patience_s=0.3):
        pass
    assert str(told.value).startswith(f"{device.port}: {words}")
    assert "\n" not in str(told.value)
    assert "allowed: " in str(told.value)


@pytest.mark.parametrize(
    ("port", "kind", "words"),
    [
        ("/dev/ttyACM99", Unplugged, "no such port"),
        ("/dev", OtherFirmware, "not a serial port"),
        (__file__, OtherFirmware, "not a serial port"),
        ("/dev/null", OtherFirmware, "not a serial port"),
    ],
)
def test_what_is_no_port(port: str, kind: type[LinkError], words: str) -> None:
    with pytest.raises(kind) as told, Link(port):
        pass
    assert str(told.value).startswith(f"{port}: {words}; allowed: ")


def test_busy() -> None:
    """A second program is told so, and the first goes on undisturbed."""
    with PtyDevice(answering(hello=HELLO)) as device, Link(device.port):
        with pytest.raises(PortBusy) as told, Link(device.port):
            pass
        assert str(told.value).startswith(f"{device.port}: busy; allowed: close the other program")
        assert len(device.lines) == 2  # an empty line and one hello


def test_unplugged() -> None:
    with PtyDevice(answering(hello=HELLO)) as device, Link(device.port) as link:
        device.unplug()
        with pytest.raises(Unplugged) as told:
            link.status()
    assert (
        str(told.value)
        == f"{device.port}: went away; allowed: plug it in again and repeat the command, see `weldbeat ports`"
    )


def test_late_and_damaged_replies_are_passed_over() -> None:
    """A reply to an earlier line, half a line and a damaged one are not taken for the answer."""

    def answer(line: bytes) -> bytes:
        if not line:
            return b'0, "result": {}} 12345678\n'
        number = decode(line)["id"]
        early = reply(number + 1, HELLO | {"boot": 1})
        damaged = reply(number, HELLO | {"boot": 2}).replace(b"pico", b"pica")
        return early + damaged + reply(number, HELLO)

    with PtyDevice(answer) as device, Link(device.port) as link:
        assert link.hello.boot == 7


def test_opening_and_closing_touches_no_control_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """DTR and RTS are never lowered, and the speed is never 1200 baud: both restart some boards. (Linux's own calls watched.)"""
    lowered: list[int] = []
    real = fcntl.ioctl

    def watched(fd: int, request: int, *rest: Any) -> Any:
        if request == termios.TIOCMBIC:
            lowered.append(request)
        return real(fd, request, *rest)

    monkeypatch.setattr(fcntl, "ioctl", watched)
    with PtyDevice(answering(hello=HELLO)) as device, Link(device.port):
        fd = os.open(device.port, os.O_RDWR | os.O_NOCTTY)
        speeds = termios.tcgetattr(fd)[4:6]
        os.close(fd)
    assert lowered == []
    assert speeds == [termios.B115200, termios.B115200]


def board_on(device: str) -> FoundPort:
    return FoundPort(device, "Board in FS mode", "E66", True)


@pytest.mark.parametrize(
    ("found", "message"),
    [
        ([], "PORT: no board found; allowed: a timer board on USB, with a cable that carries data; "),
        ([FoundPort("COM1", "modem", "", False)], "PORT: no board found; "),
        ([board_on("COM3"), board_on("COM4")], "PORT: 2 boards found; allowed: name one of COM3, COM4"),
    ],
)
def test_which_port(monkeypatch: pytest.MonkeyPatch, found: list[FoundPort], message: str) -> None:
    """PORT may be left out exactly where one board is there."""
    monkeypatch.setattr("gen.link.ports.ports", lambda: found)
    with pytest.raises(LinkError) as told:
        find_port(None)
    assert str(told.value).startswith(message)
    assert find_port("COM9") == "COM9"
    monkeypatch.setattr("gen.link.ports.ports", lambda: [board_on("COM3"), FoundPort("COM1", "modem", "", False)])
    assert find_port(None) == "COM3"
