"""What the board holds a measured current against: limits that are burnt in with the firmware, in the board's own units.

They lie outside all that the welder file leaves open, and outside what mains and sensor may be off by. So a current
beyond them is no healthy weld of this machine, or the welder file is not this machine's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.boards import Board
from gen.current import scale_of
from gen.machine.welder import Welder
from gen.phase_control import extinction_angle_deg, rms_fraction
from gen.units import degrees_to_us, us_to_degrees

COUNTS = 4096  # range of the converter, 12 bits
GAIN_BITS = 14
SHARE_BITS = 14
BIAS_SHARE = 0.05  # error over the range: two 1 % resistors, and the converter's offset; common practice, no source
MAINS_SHARE = 0.15  # EN 50160: +10 to -15 % of the nominal voltage
SENSOR_SHARE = 0.05  # current transformer, burden and converter together; common practice, no source
POOR_CONTACT = 0.7  # least current over the least planned, with rust and scale; common practice, no source
NOISE_COUNTS = 4.0  # RMS of the noise; a smaller current cannot be measured; common practice, no source
STRAY_SHARE = 0.25  # limit of a current without a gate, over the least working current
# Of a healthy transformer, whatever its residue, the currents of one direction end up to 5 degrees later than those of the
# other; of one that unequal firing drives into saturation about 16 (seeded machines, tests/sim/core/test_lopsided.py).
LOPSIDED_DEG = 8.0
COUPLER_US = 100.0  # the latest that a coupler shows the end of a current, and the detector's own error


@dataclass(frozen=True)
class CurrentLimits:
    """Limits by delay, from the earliest on: longest current, us; least and greatest current, tenths of an ampere."""

    longest_us: tuple[int, ...]
    least_dA: tuple[int, ...]
    most_dA: tuple[int, ...]
    stray_dA: int
    gain: int
    """Tenths of an ampere for an eighth of a count, times 2 ** GAIN_BITS; 0 without a sensor."""
    bias_least: int
    bias_most: int
    planned_dA: int = 0
    """Planned current at full conduction, tenths of an ampere; 0 without a correction."""
    planned_shares: tuple[int, ...] = ()
    """Planned current by delay, over that at full conduction, times 2 ** SHARE_BITS."""


def amperes_a_count(welder: Welder, board: Board) -> float:
    """Primary amperes for a count of the converter; 0 without a current transformer."""
    sense = welder.current_sense
    if sense is None:
        return 0.0
    return board.logic_V / COUNTS * sense.turns / sense.burden_ohm * sense.reading_factor


def current_limits(welder: Welder, board: Board, earliest_us: int, step_us: int, steps: int) -> CurrentLimits:
    """The limits at `earliest_us` and each of so many steps after it. Without a sensor there are none."""
    frequency_Hz, scale, tap = welder.mains.frequency_Hz, scale_of(welder), welder.machine.in_use
    delays_deg = [us_to_degrees(earliest_us + n * step_us, frequency_Hz) for n in range(steps + 1)]
    latest = degrees_to_us(LOPSIDED_DEG, frequency_Hz) + COUPLER_US
    longest = tuple(
        math.ceil(degrees_to_us(extinction_angle_deg(delay, scale.high_deg) - delay, frequency_Hz) + latest)
        for delay in delays_deg
    )
    a_count = amperes_a_count(welder, board)
    if not a_count:
        return CurrentLimits(longest, (), (), 0, 0, 0, 0)
    low_share, high_share = (1 - MAINS_SHARE) * (1 - SENSOR_SHARE), (1 + MAINS_SHARE) * (1 + SENSOR_SHARE)
    shares = [scale.share(delay) for delay in delays_deg]
    floor_dA = 10 * a_count * NOISE_COUNTS
    planned = [10 * tap.working_primary.low * least * POOR_CONTACT * low_share for least, _ in shares]
    most = [10 * tap.short_primary.high * most * high_share for _, most in shares]
    middle, correcting = COUNTS / 2, welder.correct is not None
    return CurrentLimits(
        longest,
        tuple(math.floor(value) if value >= floor_dA else 0 for value in planned),
        tuple(math.ceil(max(value, 2 * floor_dA)) for value in most),
        math.ceil(max(10 * tap.working_primary.low * STRAY_SHARE, 2 * floor_dA)),
        round(a_count * 10 / 8 * 2**GAIN_BITS),
        round(middle - BIAS_SHARE * COUNTS),
        round(middle + BIAS_SHARE * COUNTS),
        round(10 * tap.working_primary.middle) if correcting else 0,
        tuple(round(2**SHARE_BITS * rms_fraction(delay, scale.middle_deg)) for delay in delays_deg)
        if correcting
        else (),
    )
