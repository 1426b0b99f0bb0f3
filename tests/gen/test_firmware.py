"""What goes onto the board: readable, the same every time, and the table in it is the table that was compiled."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gen.boards import boards
from gen.cautions import CAUTIONS, caution_lines
from gen.firmware import STOP_REQUEST, SUMS, FirmwareBundle, draw, duty_limit, program_version, render, with_crc
from gen.machine.welder import FREQUENCY_BAND
from gen.table import TimingRow, heat
from tests.support.machines import compiled, fired_row, firmware, make_welder

PULSED: tuple[dict[str, Any], ...] = (
    {"pulse": "2 cycles", "current_percent": 60, "repeat": 2, "cool": "4 cycles"},
    {"weld": "20 cycles", "current_percent": 85, "upslope": "5 cycles"},
)


def config_of(bundle: FirmwareBundle) -> dict[str, Any]:
    """The names that the board's config.py gives, by running it."""
    names: dict[str, Any] = {}
    exec(compile(bundle.files["config.py"], "config.py", "exec"), names)
    return names


@pytest.mark.parametrize("phases", [PULSED, ({"weld": "10 cycles"},)], ids=["pulsed", "plain"])
def test_the_boards_rows_are_the_table(phases: tuple[dict[str, Any], ...]) -> None:
    """Phase, half-cycles and delay of every row, and the heat that the duty guard counts."""
    bundle, table = firmware(make_welder(), *phases)
    rows = config_of(bundle)["ROWS"]
    assert [row[:3] for row in rows] == [
        (row.phase, row.half_cycles, -1 if row.firing_delay_us is None else row.firing_delay_us) for row in table.rows
    ]
    assert [row[3] for row in rows] == [heat(row) for row in table.rows]


def test_config_says_what_the_welder_file_says() -> None:
    """Detector, force, conduction sense and pins arrive as they were given; nothing is fitted that was not named."""
    welder = make_welder(
        mains={"frequency_Hz": 60},
        detector={"kind": "pulse", "offset_rise_us": -120, "offset_fall_us": -120},
        force={"source": "air", "force_switch": True},
        board={"conduction_sense": True},
    )
    bundle, table = firmware(welder, {"weld": "10 cycles"})
    config, board = config_of(bundle), boards()["pico"]
    given_by_file = {
        "DETECTOR_SQUARE": 0, "OFFSET_RISE_US": -120, "OFFSET_FALL_US": -120, "RELEASE_STOPS": 0, "FORCE_SWITCH": 1,
        "CONDUCTION_SENSE": 1, "PIN_FORCE": board.pins["force"].gpio, "PIN_CONDUCTION": board.pins["conduction"].gpio,
        "SCHEDULE": table.name, "TABLE_DIGEST": table.digest, "BOARD": "pico",
    }  # fmt: skip
    assert {key: config[key] for key in given_by_file} == given_by_file
    plain = config_of(firmware(make_welder(), {"weld": "10 cycles"})[0])
    assert (plain["PIN_FORCE"], plain["PIN_CONDUCTION"], plain["RELEASE_STOPS"]) == (None, None, 1)


@pytest.mark.parametrize("frequency_Hz", [50, 60])
def test_frequency_band_reaches_as_far_as_the_supply_does(frequency_Hz: int) -> None:
    """EN 50160: -6 % to +4 % always; what the board takes for in band holds both ends and not much more."""
    config = config_of(firmware(make_welder(mains={"frequency_Hz": frequency_Hz}), {"weld": "10 cycles"})[0])
    half_us = 500_000 / frequency_Hz
    assert config["SHORTEST_HALF_US"] <= half_us / 1.04
    assert config["LONGEST_HALF_US"] >= half_us / 0.94 - 1  # the board counts whole microseconds
    assert config["SHORTEST_HALF_US"] > half_us / 1.06
    assert config["LONGEST_HALF_US"] < half_us / 0.93
    assert FREQUENCY_BAND[0] <= 0.94 < 1.04 <= FREQUENCY_BAND[1]


def test_every_rendered_file_says_what_made_it_and_warns() -> None:
    """Version, schedule and digest, and all the cautions; no date, no path, no user, so that the bytes stay the same."""
    bundle, table = firmware(make_welder(), *PULSED)
    for name in ("boot.py", "main.py", "config.py"):
        text = bundle.files[name]
        assert text.startswith(f"# {name}: ")
        assert f'Made by Weldbeat {program_version()} for schedule "{table.name}" ({table.digest})' in text
        for line in caution_lines():
            assert f"# {line}\n" in text
    for name, text in bundle.files.items():
        assert not re.search(r"20[2-9]\d-\d\d-\d\d|/home/|/tmp/", text), name
        assert str(Path(__file__).parents[2]) not in text, name
        assert text.isascii(), name
        assert text.endswith("\n"), name
        if name != SUMS:
            compile(text, name, "exec")


def test_cautions_are_whole_when_wrapped() -> None:
    """Wrapping loses no word of them."""
    unwrapped = " ".join(line.strip() for line in caution_lines())
    assert unwrapped == " ".join(f"- {caution}" for caution in CAUTIONS)
    assert max(map(len, caution_lines())) <= 116


def test_the_schedule_is_drawn() -> None:
    """A line a row, its marks as many as its time asks for, `#` under current only."""
    bundle, table = firmware(make_welder(), *PULSED)
    drawing = draw(table, width=10)
    assert drawing.half_cycles_per_mark == 5
    for line, row in zip(drawing.lines, table.rows, strict=True):
        marks = re.search(r"(#*|\.*)$", line)
        assert marks
        assert len(marks[0]) == math.ceil(row.half_cycles / drawing.half_cycles_per_mark)
        assert marks[0][0] == ("." if row.firing_delay_us is None else "#")
        assert line.startswith(row.phase)
        assert f" {row.half_cycles} half-cycles" in line
        assert (f" {row.current_percent:g} % " in line) == (row.firing_delay_us is not None)
    assert all(f"#   {line}\n" in bundle.files["config.py"] for line in draw(table).lines)


@given(st.floats(0.1, 100), st.integers(1, 500))
def test_heat_is_rounded_so_that_the_guard_never_counts_too_little(percent: float, half_cycles: int) -> None:
    """Hundredths of a half-cycle at full current, I^2 (RWMA practice, from memory): up, and by less than one."""
    exact = percent**2 / 100
    counted = heat(fired_row("weld", half_cycles, 5000, percent))
    assert exact <= counted < exact + 1
    assert heat(TimingRow("cool", half_cycles)) == 0


def test_heat_by_hand() -> None:
    """Full current 100, 85 % 72.25 and so 73, half 25."""
    assert [heat(fired_row("weld", 1, 5000, percent)) for percent in (100, 85, 50)] == [100, 73, 25]


@pytest.mark.parametrize(
    ("frequency_Hz", "rating_kVA", "duty", "current_A", "hundredths"),
    [
        (50, 2.3, 50, 10, 6000 * 50),  # at the plate's own current, the plate's own duty
        (50, 2.3, 50, 20, 6000 * 12.5),  # twice the current, a quarter of the duty
        (60, 2.3, 50, 10, 7200 * 50),  # 7200 half-cycles a minute at 60 Hz
        (50, 2.3, 50, 5, 6000 * 100),  # never more than all the time
    ],
)
def test_duty_limit(frequency_Hz: int, rating_kVA: float, duty: float, current_A: float, hundredths: float) -> None:
    """I1^2 d1 = I2^2 d2 over one minute (RWMA practice, from memory), at 230 V: never above, and by less than one below."""
    welder = make_welder(
        mains={"frequency_Hz": frequency_Hz},
        transformer={"rating_kVA": rating_kVA, "rating_duty_percent": duty, "working_current_A": current_A},
    )
    assert hundredths - 1 < duty_limit(welder) <= hundredths
    assert config_of(firmware(welder, {"weld": "10 cycles"})[0])["DUTY_LIMIT"] == duty_limit(welder)


def test_same_input_same_bytes_and_the_digest_sees_every_byte() -> None:
    """The digest is what is compared on the board: it changes with any file's name or text."""
    one, table = firmware(make_welder(), *PULSED)
    two, _ = firmware(make_welder(), *PULSED)
    assert (one.files, one.digest) == (two.files, two.digest)
    assert list(one.files) == sorted(one.files)
    for path, text in one.files.items():
        assert FirmwareBundle({**one.files, path: text + " "}).digest != one.digest
        renamed = {**one.files, f"{path}x": text}
        del renamed[path]
        assert FirmwareBundle(renamed).digest != one.digest
    other = make_welder(detector={"offset_rise_us": 301})
    assert render(compiled(other, *PULSED), other, boards()["pico"]).digest != one.digest
    assert table.digest in one.files["config.py"]


def test_stop_line_is_whole() -> None:
    """The one line that the armed board reads: the request, a space, and its CRC-32 as zlib and any other tool counts it."""
    import zlib

    line = config_of(firmware(make_welder(), {"weld": "10 cycles"})[0])["STOP_LINE"].decode()
    text, _, crc = line.rstrip("\n").rpartition(" ")
    assert text == STOP_REQUEST
    assert int(crc, 16) == zlib.crc32(text.encode())
    # the published check value of CRC-32: that of the text 123456789
    assert with_crc("123456789") == "123456789 cbf43926"
