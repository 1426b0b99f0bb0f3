"""Files whose every number is replaced in turn by one that no machine has: enormous, denormal, infinite, of another base."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.support.cli.command_line import SCHEDULE, typed

# Every key of the welder file that takes a number, with one that is allowed.
WELDER = """\
[mains]
voltage_V = 230
voltage_to_earth_V = 230
frequency_Hz = 50
earth_conductor_m = 3
earth_conductor_mm2 = 1.5
source_resistance_ohm = 0.4
source_inductance_mH = 0.3
[breaker]
characteristic = "C"
rating_A = 20
[transformer]
rating_kVA = 2.5
rating_duty_percent = 50
working_current_A = 22
load_angle_min_deg = 40
load_angle_max_deg = 65
open_current_A = 0.8
open_secondary_V = 2.4
taps = {low = 1.8, high = 2.4}
tap = "high"
working_tap = "high"
shorted_current_A = 30
shorted_tap = "high"
winding_time_constant_min = 20
mass_kg = 25
[arms]
length_mm = 250
throat_mm = 150
diameter_mm = 25
[electrodes]
diameter_mm = 16
length_mm = 60
offset_mm = 5
face_diameter_mm = 6
[switch]
latching_current_A = 0.2
holding_current_A = 0.1
turn_on_delay_us = 10
rated_current_A = 100
surge_current_A = 1500
i2t_A2s = 11000
on_state_V = 1.0
on_state_slope_mohm = 5
commutating_dv_dt_V_per_us = 500
foster = [[0.12, 0.02], [0.2, 0.3]]
case_to_sink_K_per_W = 0.2
junction_limit_C = 125
[heat_sink]
K_per_W = 1.0
J_per_K = 300
[ambient]
temperature_C = 25
[detector]
offset_rise_us = 300
offset_fall_us = 300
[force]
source = "foot_lever"
[protection]
gate_drive = "one_shot"
isolator = true
residual_current_mA = 30
[limits]
longest_weld = "3 s"
least_cool = "2 cycles"
first_delay_deg = 87
[board]
name = "pico"
pins = {gate = 10}
"""
GROOVED = WELDER.replace("face_diameter_mm = 6", "groove_radius_mm = 4")
SHEETS = "sheets_mm = [1, 1.5]\nforce_N = 1200\nface_diameter_mm = 6\npitch_mm = 30\noverlap_mm = 12\n"
RODS = "rods_mm = [5, 8]\nsetdown_percent = 30\nforce_N = 1200\ngroove_radius_mm = 4\n"
INCHES = "sheets_in = [0.04, 0.06]\nforce_lb = 270\nface_diameter_in = 0.25\npitch_in = 1.2\noverlap_in = 0.5\n"
SLOPED = SCHEDULE.replace('upslope = "5 cycles"', 'upslope = "5 cycles"\nupslope_from_percent = 50')

FIGURES = (
    "0x" + "f" * 4000,  # 10^4816: past what Python writes in decimals
    "0x" + "f" * 900,
    "1" + "0" * 310,  # an integer that no float holds
    "-1" + "0" * 310,
    str(2**63),
    str(-(2**63) - 1),
    "5e-324",  # the least denormal: its inverse is infinite
    "-5e-324",
    "1e-310",
    "1e-300",
    "1e-160",  # its square is 0
    "1e-30",
    "1e-9",
    "1e30",
    "1e160",  # its square is infinite
    "1e308",
    "-1e308",
    "1e999",
    "inf",
    "-inf",
    "nan",
    "-0.0",
    "0",
    "-1",
)
NO_NUMBER = re.compile(r"\b(nan|inf|-inf)\b")
_NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.])")


@dataclass(frozen=True)
class Spoilt:
    """A file with one of its numbers replaced: where, by what, and the text."""

    file: str
    line: str
    figure: str
    text: str

    @property
    def what(self) -> str:
        return f"{self.file}: {self.line[:60]} <- {self.figure[:30]}"


def spoilt() -> Iterator[Spoilt]:
    """Each number of each file, by each of FIGURES; a number inside of a time too."""
    originals = (
        ("welder.toml", WELDER),
        ("welder.toml", GROOVED),
        ("job.toml", SLOPED),
        ("sheets.toml", SHEETS),
        ("rods.toml", RODS),
        ("inches.toml", INCHES),
    )
    seen = set()
    for name, text in originals:
        for found in _NUMBER.finditer(text):
            line = text[: found.start()].rsplit("\n", 1)[-1] + text[found.start() :].split("\n", 1)[0]
            if (name, line, found.group(), found.start() - text.rfind("\n", 0, found.start())) in seen:
                continue
            seen.add((name, line, found.group(), found.start() - text.rfind("\n", 0, found.start())))
            for figure in FIGURES:
                yield Spoilt(name, line, figure, text[: found.start()] + figure + text[found.end() :])


GOOD = {"welder.toml": WELDER, "job.toml": SLOPED, "sheets.toml": SHEETS, "rods.toml": RODS, "inches.toml": INCHES}
# O# Of each file the commands that compute from it and write nothing, the dear one last.
COMMANDS = {
    "welder.toml": (["describe"], ["table", "job.toml"], ["suggest", "--joint", "sheets.toml"], ["choose"]),
    "job.toml": (["table", "job.toml"],),
    "sheets.toml": (["suggest", "--joint", "sheets.toml"],),
    "rods.toml": (["suggest", "--joint", "rods.toml"],),
    "inches.toml": (["suggest", "--joint", "inches.toml"],),
}
LONGEST_MESSAGE = 1500  # characters


def complaints(case: Spoilt, folder: Path, dear: bool) -> list[str]:
    """What is wrong with how each command takes the file in `folder`, where the others are good; `dear`: the slow ones too.

    Right is an answer whose figures are all numbers, or one line of bearable length and exit code 2.
    """
    for name, text in GOOD.items():
        (folder / name).write_text(text)
    (folder / case.file).write_text(case.text)
    found = []
    for line in COMMANDS[case.file]:
        if line == ["choose"] and not dear:
            continue
        try:
            outcome = typed(line)
        except Exception as error:
            found.append(f"{case.what}: {' '.join(line)}: {type(error).__name__}: {str(error)[:100]}")
            continue
        if outcome.code == 2:
            if len(outcome.err) > LONGEST_MESSAGE or "allowed: " not in outcome.err or outcome.err.count("\n") != 1:
                found.append(f"{case.what}: {' '.join(line)}: {outcome.err[:200]}")
            break  # the others read the same file
        if NO_NUMBER.search(outcome.out):
            found.append(f"{case.what}: {' '.join(line)}: prints what is no number")
    return found
