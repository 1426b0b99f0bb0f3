"""Renders the firmware: a deterministic mapping of path to text, with a digest."""

from __future__ import annotations

import binascii
import hashlib
import json
import math
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path, PurePath
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined

from gen.boards import Board
from gen.cautions import caution_lines
from gen.current import PercentScale, scale_of
from gen.current_limits import LOPSIDED_DEG, current_limits
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.phase_control import delay_for_fraction_deg, volt_seconds
from gen.pio import pio_module
from gen.table import TimingRow, TimingTable, board_delay_us, heat
from gen.timing import LONGEST_S, delay_range_us, first_delay_us
from gen.units import degrees_to_us, milliseconds, us_to_degrees
from gen.words import FIRMWARE_DAMAGED

MARK = "Made by Weldbeat"  # in the header of every rendered file
SUMS = (
    "files.sha256"  # the SHA-256 of every other file, as sha256sum writes and checks them, and a comment with their own
)
_BOARD_DIGEST = re.compile(r'^BUNDLE_DIGEST = "[0-9a-f]*"$', re.MULTILINE)
HEAT_RATIO = 1.1  # between steps of the board's table of least heats
VOLT_SECONDS_STEPS = 32  # of the range of delays: some 3 degrees each, where a line is within 1/2000 of the curve
WHOLE_HALF_CYCLE = 10_000  # the board's unit: volt-seconds of a half-cycle at full conduction
STOP_REQUEST = '{"jsonrpc": "2.0", "id": 0, "method": "stop"}'


@dataclass(frozen=True)
class FirmwareBundle:
    """The board's files: text by path, in sorted order."""

    files: dict[str, str]

    @property
    def digest(self) -> str:
        """SHA-256 over paths and contents, first 16 hexadecimal digits."""
        total = hashlib.sha256()
        for path, text in sorted(self.files.items()):
            total.update(f"{path}\0{len(text)}\0{text}".encode())
        return total.hexdigest()[:16]

    @property
    def board_digest(self) -> str:
        """BUNDLE_DIGEST in the board's config.py, which the board reports: the digest with that entry empty, without `SUMS`."""
        files = self._with_board_digest("")
        return FirmwareBundle({path: text for path, text in files.items() if path != SUMS}).digest

    def _with_board_digest(self, digest: str) -> dict[str, str]:
        config = _BOARD_DIGEST.sub(f'BUNDLE_DIGEST = "{digest}"', self.files["config.py"])
        return {**self.files, "config.py": config}

    def named(self) -> FirmwareBundle:
        """The files, with the digest in config.py and their sums in `SUMS`."""
        return FirmwareBundle(self._with_board_digest(self.board_digest)).summed()

    def summed(self) -> FirmwareBundle:
        """The files, with their sums in `SUMS`."""
        files = {path: text for path, text in self.files.items() if path != SUMS}
        lines = "".join(f"{_sha256(text)}  {path}\n" for path, text in sorted(files.items()))
        return FirmwareBundle(dict(sorted({**files, SUMS: f"{lines}# {_sha256(lines)}\n"}.items())))

    def write(self, folder: Path) -> None:
        """Write every file below `folder`, which is made if it is missing."""
        for path, text in self.files.items():
            target = folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(text.encode())


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class TextChart:
    """The schedule as lines of text. One mark is `half_cycles_per_mark`."""

    half_cycles_per_mark: int
    lines: tuple[str, ...]


@cache
def program_version() -> str:
    """Version of this package, for headers and reports."""
    try:
        return version("weldbeat")
    except PackageNotFoundError:
        return "unknown"


@cache
def _templates() -> Environment:
    root = files("firmware_templates")

    def load(name: str) -> str | None:
        found = root.joinpath(name)
        return found.read_text(encoding="utf-8") if found.is_file() else None

    return Environment(
        loader=FunctionLoader(load),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def with_crc(text: str) -> str:
    """A line of the serial link without its newline: the text, a space, its CRC-32 in hex."""
    return f"{text} {binascii.crc32(text.encode()):08x}"


def duty_limit(welder: Welder) -> int:
    """The duty guard's limit in a minute, in hundredths of a half-cycle at full conduction."""
    return int(welder.allowed_duty * 2 * welder.mains.frequency_Hz * 60 * 100)


@lru_cache(maxsize=64)
def heat_steps(scale: PercentScale, frequency_Hz: int, earliest_us: int, latest_us: int) -> tuple[tuple[int, int], ...]:
    """(Delay, heat at that delay), by rising delay: the board's table to check the heat of pushed rows.

    Heat falls as the delay grows, so the heat of the first step at or after a row's delay is a lower bound of the row's
    heat. The steps are at equal ratios of heat, and below ten hundredths at every hundredth. Each is at the later of the
    delays for the two ends of the load angle's range.
    """
    delays, level = {earliest_us, latest_us}, 1.0
    while level < 100:
        share = math.sqrt(level / 100)
        delay_deg = max(delay_for_fraction_deg(share, angle) for angle in (scale.low_deg, scale.high_deg))
        delays.add(math.floor(degrees_to_us(delay_deg, frequency_Hz)))
        level = max(level + 1, level * HEAT_RATIO)
    steps: list[tuple[int, int]] = []
    for delay_us in sorted(us for us in delays if earliest_us <= us <= latest_us):
        row = TimingRow("weld", 1, delay_us, 100, scale.share(us_to_degrees(delay_us, frequency_Hz)))
        if steps and steps[-1][1] == heat(row):
            steps.pop()
        steps.append((delay_us, heat(row)))
    return tuple(steps)


def volt_seconds_step_us(earliest_us: int, latest_us: int) -> int:
    """Microseconds between two entries of the board's tables of volt-seconds."""
    return max(1, math.ceil((latest_us - earliest_us) / VOLT_SECONDS_STEPS))


def volt_seconds_steps(
    scale: PercentScale, frequency_Hz: int, earliest_us: int, latest_us: int
) -> tuple[tuple[int, ...], ...]:
    """Volt-seconds by delay at both ends of the load angle's range. The board compares the two polarities by them."""
    step_us = volt_seconds_step_us(earliest_us, latest_us)
    delays_deg = [us_to_degrees(earliest_us + n * step_us, frequency_Hz) for n in range(VOLT_SECONDS_STEPS + 1)]
    return tuple(
        tuple(round(WHOLE_HALF_CYCLE * volt_seconds(delay, angle) / 2) for delay in delays_deg)
        for angle in (scale.low_deg, scale.high_deg)
    )


def draw(table: TimingTable, width: int = 72) -> TextChart:
    """The table as text: one line a row, one mark for several half-cycles, `#` under current."""
    longest = max(row.half_cycles for row in table.rows)
    per_mark = max(1, math.ceil(longest / width))
    lines = []
    for row in table.rows:
        fired = row.firing_delay_us is not None
        marks = ("#" if fired else ".") * math.ceil(row.half_cycles / per_mark)
        ms = milliseconds(row.half_cycles, table.frequency_Hz)
        current = f"{row.current_percent:g} %" if fired else ""
        lines.append(f"{row.phase:<9} {row.half_cycles:>4} half-cycles {ms:>7g} ms {current:>6} {marks}".rstrip())
    return TextChart(per_mark, tuple(lines))


def render(table: TimingTable, welder: Welder, board: Board) -> FirmwareBundle:
    """The firmware for `table` on `welder` and `board`. Same input, same bytes."""
    pins = board.with_pins(welder.board.pins).pins
    half_us = 500_000 / welder.mains.frequency_Hz  # exact, where the nominal whole microsecond would cut the band
    limits = welder.limits
    earliest_us, latest_us = delay_range_us(welder, board)
    step_us = volt_seconds_step_us(earliest_us, latest_us)
    context: dict[str, Any] = {
        "version": program_version(),
        "table": table,
        "welder": welder,
        "board": board,
        "pin": lambda role: json.dumps(pins[role].gpio),
        "cautions": caution_lines(),
        "drawing": draw(table),
        "stop_line": with_crc(STOP_REQUEST),
        "sums": SUMS,
        "damaged_code": FIRMWARE_DAMAGED,
        "shortest_half_us": math.floor(half_us / FREQUENCY_BAND[1]),
        "longest_half_us": math.ceil(half_us / FREQUENCY_BAND[0]),
        "duty_limit": duty_limit(welder),
        "earliest_us": earliest_us,
        "latest_us": latest_us,
        "heat_steps": heat_steps(scale_of(welder), welder.mains.frequency_Hz, earliest_us, latest_us),
        "volt_seconds_step_us": step_us,
        "volt_seconds": volt_seconds_steps(scale_of(welder), welder.mains.frequency_Hz, earliest_us, latest_us),
        "flux_halves": math.ceil(welder.flux_decay_s * math.log(2) * 2 * welder.mains.frequency_Hz),
        "first_us": first_delay_us(welder),
        "current": current_limits(welder, board, earliest_us, step_us, VOLT_SECONDS_STEPS),
        "lopsided_us": round(degrees_to_us(LOPSIDED_DEG, welder.mains.frequency_Hz)),
        "contactor_closes_ms": math.ceil(welder.contactor_closes_ms),
        "contactor_opens_ms": math.ceil(welder.contactor_opens_ms),
        "longest_weld": math.floor(limits.longest_weld.half_cycles(table.frequency_Hz)),
        "least_squeeze": welder.least_squeeze_half_cycles,
        "least_cool": math.ceil(limits.least_cool.half_cycles(table.frequency_Hz)),
        "longest_time": LONGEST_S * 2 * table.frequency_Hz,
        "rows": [
            {
                "phase": row.phase,
                "half_cycles": row.half_cycles,
                "delay_us": board_delay_us(row),
                "heat": heat(row),
            }
            for row in table.rows
        ],
    }
    out = {
        name: _templates().get_template(f"{name}.j2").render(context) for name in ("boot.py", "main.py", "config.py")
    }
    drivers = files("firmware_templates").joinpath("drivers")
    out["board_io.py"] = drivers.joinpath("board_io.py").read_text(encoding="utf-8")
    out["driver.py"] = drivers.joinpath(board.family, "driver.py").read_text(encoding="utf-8")
    if drivers.joinpath(board.family, "programs.toml").is_file():
        out["pio_programs.py"] = pio_module(welder.detector.kind == "square", welder.force.source != "air")
    for file in sorted(files("firmware_templates").joinpath("app").iterdir(), key=_name):
        if PurePath(file.name).suffix == ".py":
            out[f"app/{file.name}"] = file.read_text(encoding="utf-8")
    return FirmwareBundle(dict(sorted(out.items()))).named()


def _name(file: Traversable) -> str:
    return file.name
