"""The offset of a zero-crossing detector, computed from its parts: an optocoupler's LED behind a series resistor.

The LED turns on where the mains drives its threshold current through the resistor, and turns off at the same current.
So the edge at the start of a positive half-cycle is late, and the edge at its end early. The optocoupler's delay is added to
both. The result is a range, because no part's value is known exactly.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from gen.ranges import Figure, spanning
from gen.wiring.arithmetic import LED_V, LOGIC_OF_SUPPLY, MAINS_OF_NOMINAL, edge_offset_us

RESISTORS = 0.05


@dataclass(frozen=True)
class DetectorParts:
    """`series_ohm` in series with the LED, `pull_ohm` at the output; transfer ratios and delays from the data sheet."""

    series_ohm: float
    pull_ohm: float
    transfer_low_percent: float
    transfer_high_percent: float
    delay_low_us: float
    delay_high_us: float


def offset_from_parts(
    parts: DetectorParts, voltage_V: float, frequency_Hz: int, logic_V: float, *, falling: bool = False
) -> Figure:
    """The edge minus the true crossing in microseconds, for the rising or the `falling` edge.

    Raises ValueError where the mains never drives enough current through the LED.
    """
    found = []
    for led_V, switches, series, pull, percent, mains, delay_us in itertools.product(
        LED_V,
        LOGIC_OF_SUPPLY,
        _about(parts.series_ohm, RESISTORS),
        _about(parts.pull_ohm, RESISTORS),
        (parts.transfer_low_percent, parts.transfer_high_percent),
        MAINS_OF_NOMINAL,
        (parts.delay_low_us, parts.delay_high_us),
    ):
        led_A = switches * logic_V / pull / (percent / 100)
        threshold_V, peak_V = led_V + led_A * series, mains * voltage_V * math.sqrt(2)
        if threshold_V >= peak_V:
            raise ValueError("the mains never drives enough current through the LED for these parts")
        reached_us = edge_offset_us(threshold_V, peak_V, frequency_Hz)
        found.append(delay_us - reached_us if falling else delay_us + reached_us)
    return spanning(found, "us", "from its parts: data sheet's ends, resistors 5 %, mains +10 and -15 %")


def _about(value: float, uncertainty: float) -> tuple[float, float]:
    return value * (1 - uncertainty), value * (1 + uncertainty)
