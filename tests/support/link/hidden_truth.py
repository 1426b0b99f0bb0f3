"""What the simulated machine really is. Invented. Only the bench beside this file knows it: neither the firmware, nor the
commissioning, nor the calibration can import it, and test_commission.py holds them to that.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from sim.core.transformer import MagnetisingCurve, TransformerCircuit


@dataclass(frozen=True)
class Truth:
    """A machine, its outlet and its wiring. The faults that a commissioning is for are the fields from `pedal_inverted` on."""

    mains_V: float = 233.6
    mains_Hz: float = 50.04
    earth_ohm: float = 0.084
    insulation_Mohm: float = 41.0
    insulation_welding_Mohm: float = 87.0
    insulation_secondary_Mohm: float = 63.0
    to_earth_V: float = 232.9
    earth_mA: float = 1.3
    residual_mA: float = 22.5
    residual_ms: float = 38.0
    line_ohm: float = 0.41
    loop_ohm: float = 0.63
    rise_us: float = 338.0
    fall_us: float = 271.0
    plate_W: float = 1000.0
    load_over_plate: float = 0.97
    idle_A: float = 0.86
    shorted_A: float = 27.3
    shorted_deg: float = 60.0
    work_ohm: float = 3.0
    pedal_inverted: bool = False
    off: tuple[str, ...] = ()  # terminals that nobody put their lead on
    joined: tuple[tuple[str, str], ...] = ()  # terminals that are bridged
    lead_works_loose: str = ""  # title of the step in which one thyristor's gate lead comes off
    one_shot_ms: float = 10.8
    switch_stays: bool = False  # one of the two switches of the coil stays closed
    misses_the_stop: bool = False
    hits_the_stop: bool = False
    holds_on: bool = False
    ammeter_shows: float = 0.96  # of the true current, where a current transformer is fitted

    def circuit(self, *, work: bool) -> TransformerCircuit:
        """The transformer with its electrodes shorted, or with the work between them."""
        omega = 2 * math.pi * self.mains_Hz
        short = cmath.rect(self.mains_V / self.shorted_A, math.radians(self.shorted_deg))
        source = complex(0.37, 0.14)
        half = (short - source) / 2
        return TransformerCircuit(
            source_ohm=source.real,
            source_H=source.imag / omega,
            primary_ohm=half.real,
            primary_H=half.imag / omega,
            secondary_ohm=half.real + (self.work_ohm if work else 0.0),
            secondary_H=half.imag / omega,
            curve=MagnetisingCurve.from_working_point(
                self.mains_V, self.mains_Hz, self.idle_A, 1.2, 4 * short.imag / omega
            ),
            remanence=0.5,
        )
