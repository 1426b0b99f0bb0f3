"""What stands in the way of flashing is reported before the board is touched, with the way on; and rows back into a file.

The boards are MicroPython's Unix port, whose version and name are changed from outside; no source outside for the messages.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gen.boards import boards
from gen.errors import InputError
from gen.link import LinkError
from gen.link.client import BoardSchedule, wire_rows
from gen.link.errors import OtherFirmware, Silent, Unplugged
from gen.link.flashing import _again, _check, _inspect, flash, read_bundle
from gen.link.ports import FoundPort
from gen.link.rebuilding import digest_under, rebuilt
from gen.timing import compile_schedule
from tests.support.link.answers import HELLO, answering
from tests.support.link.link_shop import MISSING, shop, typed
from tests.support.link.pty_device import PtyDevice
from tests.support.link.unix_board import UnixBoard
from tests.support.machines import make_schedule, make_welder

PICO = boards()["pico"]
needs_micropython = pytest.mark.skipif(MISSING, reason="micropython_unix is not installed")


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    before = Path.cwd()
    folder = tmp_path_factory.mktemp("shop")
    shop(folder)
    yield folder
    os.chdir(before)


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Iterator[UnixBoard]:
    with UnixBoard(tmp_path_factory.mktemp("board")) as board:
        yield board


@needs_micropython
def test_micropython_that_is_too_old(blank: UnixBoard, here: Path) -> None:
    """It says which is needed, where it comes from and how it gets onto the board."""
    with pytest.raises(LinkError) as told:
        _inspect(blank.port, PICO.model_copy(update={"micropython_min": "9.9"}))
    assert re.fullmatch(
        r"\S+: runs MicroPython \d+\.\d+\.\d+, which is too old; allowed: MicroPython 9\.9 or newer; get the newest RPI_PICO "
        r"\.uf2 from micropython\.org/download, hold BOOTSEL .*, and copy the file onto the drive that appears",
        str(told.value),
    )


@needs_micropython
def test_another_board(blank: UnixBoard, here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """MicroPython names the chip after "with": a firmware for another one is not copied."""
    machine = '["micropython", [1, 29, 0], "Raspberry Pi Pico 2 with RP2350", []]'
    monkeypatch.setattr("gen.link.flashing._mpremote", lambda *_: machine)
    with pytest.raises(
        LinkError, match="is another board: Raspberry Pi Pico 2 with RP2350; allowed: Raspberry Pi Pico, for"
    ):
        _inspect(blank.port, PICO)
    monkeypatch.setattr("gen.link.flashing._mpremote", lambda *_: machine.replace("RP2350", "RP2040"))
    assert _inspect(blank.port, PICO).micropython == (1, 29, 0)


@needs_micropython
def test_a_file_that_arrives_changed_is_noticed(blank: UnixBoard, here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every file is read back as its SHA-256, counted by the board; the board stays off."""
    real = Path.write_bytes

    def spoiled(path: Path, data: bytes) -> int:
        return real(path, data.replace(b"AT_ONCE = 64", b"AT_ONCE = 65") if path.name == "line.py" else data)

    bundle = read_bundle(here / "firmware")
    on_board = _inspect(blank.port, PICO)
    monkeypatch.setattr(Path, "write_bytes", spoiled)
    with pytest.raises(
        LinkError, match=r"flashing was not finished: app/line\.py did not arrive as it was sent; the board is off"
    ):
        flash(blank.port, bundle, on_board)
    assert not (blank.flash / "main.py").exists()
    assert (blank.flash / "app" / "line.py").exists()
    _check(blank.port, {"boot.py": bundle.files["boot.py"]})


def test_firmware_from_before_the_link(here: Path) -> None:
    """It cannot be asked to make way: the message says how to clear the board instead."""
    with PtyDevice(answering(hello={"program": "weldbeat", "board": "pico"})) as device:
        outcome = typed(["flash", "firmware", device.port, "--yes"])
    assert outcome.code == 2
    assert "runs a firmware that is older than this program; it cannot be asked to stop" in outcome.err
    assert "hold BOOTSEL while you plug it in" in outcome.err
    assert outcome.err.count("\n") == 1


def test_a_changed_firmware_is_not_flashed(here: Path) -> None:
    """A limit edited by hand would be in no verdict."""
    config = here / "firmware" / "config.py"
    text = config.read_text()
    config.write_text(re.sub(r"^DUTY_LIMIT = \d+", "DUTY_LIMIT = 99999999", text, flags=re.M))
    assert config.read_text() != text
    outcome = typed(["flash", "firmware"])
    config.write_text(text)
    assert (outcome.code, outcome.out) == (2, "")
    assert '"firmware" given; was changed after it was built; allowed: ' in outcome.err


def test_push_to_another_kind_of_board(here: Path) -> None:
    with PtyDevice(answering(hello=HELLO | {"board": "pico-w"})) as device:
        outcome = typed(["push", "job.toml", device.port])
    assert (outcome.code, outcome.out) == (2, "")
    assert "is a pico-w, the welder file names pico" in outcome.err


def test_push_that_the_verdict_refuses(here: Path) -> None:
    """Nothing is sent, no port is even opened."""
    outcome = typed(["push", "job.toml", "/dev/nowhere", "--welds-per-minute", "100"])
    assert (outcome.code, outcome.err) == (1, "")
    assert outcome.out.startswith("Verdict: refused")
    assert outcome.out.endswith("Nothing was sent.\n")


def test_ports(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What answers on each board's port; other ports are listed and left alone."""
    status: dict[str, Any] = {
        "state": "ready", "reason": "none", "way_out": "", "mains_mHz": 50000, "welds": 0, "last": "none", "fired": 0,
        "planned": 40, "duty_left_half_cycles": 10, "duty_wait_s": 0, "selected": "job", "inputs": 0,
    }  # fmt: skip
    with PtyDevice(answering(hello=HELLO, status=status)) as device, PtyDevice(lambda line: b"") as other:
        found = [
            FoundPort(device.port, "Board in FS mode", "E66", True),
            FoundPort("/dev/ttyACM7", "Board in FS mode", "E67", True),
            FoundPort(other.port, "USB modem", "", False),
        ]
        monkeypatch.setattr("gen.cli.link.serial_ports", lambda: found)
        lines = typed(["ports"]).out.splitlines()
        assert other.lines == []
    assert lines == [
        f"{device.port}: Board in FS mode",
        "  Weldbeat 0.1.0 on pico, schedule job, ready",
        "/dev/ttyACM7: Board in FS mode",
        "  no such port",
        f"{other.port}: USB modem",
        "  not asked: no timer board",
    ]


# -- rows back into a file ----------------------------------------------------------------------------------------------


@st.composite
def middles(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Phases between squeeze and hold as users write them: percentages with a decimal, slopes, pulses, cool times."""

    def percent(low: float = 45) -> float:
        return draw(st.integers(round(low * 10), 1000)) / 10

    phases: list[dict[str, Any]] = []
    for _ in range(draw(st.integers(0, 2))):
        pulse = {"pulse": f"{draw(st.integers(1, 5))} cycles", "current_percent": percent()}
        phases.append(pulse | {"cool": f"{draw(st.integers(2, 9))} cycles", "repeat": draw(st.integers(1, 3))})
    weld: dict[str, Any] = {"weld": f"{draw(st.integers(12, 40))} cycles", "current_percent": percent(60)}
    if draw(st.booleans()):
        weld |= {"upslope": f"{draw(st.integers(1, 5))} cycles", "upslope_from_percent": draw(st.integers(30, 55))}
    if draw(st.booleans()):
        weld |= {"downslope": f"{draw(st.integers(1, 5))} cycles", "downslope_to_percent": draw(st.integers(30, 55))}
    return [*phases, weld]


WELDER = make_welder()


@settings(max_examples=40, deadline=None)
@given(middles())
def test_rows_make_a_file_with_the_same_digest(phases: list[dict[str, Any]]) -> None:
    """Any schedule that compiles can be fetched from its rows alone."""
    table = compile_schedule(make_schedule(*phases), WELDER, PICO, Path("test.toml"))
    held = BoardSchedule(table.name, table.frequency_Hz, table.digest, tuple(wire_rows(table)))
    assert digest_under(rebuilt(held, WELDER), table.name, WELDER) == table.digest


def test_rows_from_no_schedule() -> None:
    """A delay that no percentage gives, a weld that only climbs: told by row, and no file."""
    table = compile_schedule(
        make_schedule({"weld": "10 cycles", "current_percent": 80}), WELDER, PICO, Path("test.toml")
    )
    rows = wire_rows(table)
    fired = next(i for i, row in enumerate(rows) if row.delay_us >= 0)
    odd = [row._replace(delay_us=100) if i == fired else row for i, row in enumerate(rows)]
    climbing = [row._replace(phase=3) if row.delay_us >= 0 else row for row in rows]
    for changed in (odd, climbing):
        with pytest.raises(
            InputError, match=rf"test: row {fired + 1} on the board \(\w+, \d+ half-cycles, firing delay \d+ us\)"
        ):
            rebuilt(BoardSchedule("test", 50, "0" * 16, tuple(changed)), WELDER)


class Clock:
    """Time that passes when somebody waits."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr("gen.link.flashing.time", clock)
    monkeypatch.setattr("gen.link.flashing.ports", lambda: [])
    return clock


def test_a_slow_board_is_asked_on(clock: Clock) -> None:
    """One that answers after 70 s is waited for, and every few seconds somebody hears why."""

    def attempt(device: str) -> None:
        clock.sleep(1.0)
        if clock.now_s < 70:
            raise Silent(device, "no MicroPython answers", "allowed: a board")

    heard: list[str] = []
    assert _again("COM7", "", attempt, heard.append) == "COM7"
    assert 70 <= clock.now_s < 72
    assert len(heard) == 11
    assert heard[0] == "waiting for the board, 6 s: its port is there (no MicroPython answers)"


def test_a_board_that_moved_to_another_port_is_found(clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """By its serial number; until it is back, the missing port is reported."""
    moved = FoundPort("COM9", "board", "E66038", True)

    monkeypatch.setattr(
        "gen.link.flashing.ports",
        lambda: [moved] if clock.now_s > 20 else [replace(moved, device="COM1", serial_number="other")],
    )

    def attempt(device: str) -> None:
        if device != "COM9":
            raise Unplugged(device, "is not there", "allowed: plug it in")

    heard: list[str] = []
    assert _again("COM7", "E66038", attempt, heard.append) == "COM9"
    assert "its port is not there yet" in heard[0]


def test_a_board_that_does_not_come_back_says_what_to_do(clock: Clock) -> None:
    """After two minutes, with what was seen last."""

    def silent(device: str) -> None:
        raise Silent(device, "no MicroPython answers", "allowed: a board")

    with pytest.raises(LinkError) as told:
        _again("COM7", "", silent)
    assert 120 < clock.now_s < 121
    assert str(told.value) == (
        "COM7: did not come back after a restart (no MicroPython answers); "
        "allowed: unplug the board, plug it in again, and repeat the command"
    )


def test_another_program_that_answers_is_reported_at_once(clock: Clock) -> None:
    """Three times running: a banner that a board prints as it starts is no such answer, and waiting would change nothing."""
    asked: list[str] = []

    def other(device: str) -> None:
        asked.append(device)
        if len(asked) == 2:
            raise Silent(device, "nothing answers", "allowed: a board")
        raise OtherFirmware(device, "runs MicroPython 1.20.0, which is too old", "allowed: a newer one")

    with pytest.raises(OtherFirmware, match="too old"):
        _again("COM7", "", other)
    assert len(asked) == 5
    assert clock.now_s < 3
