"""What current transformer and converter tell of healthy welds: `python -m tests.campaigns.measured_currents 100`; 0.3 s a weld.

Prints the errors of the current, and of the work's resistance from the end of the current alone, from the current with the mains
voltage known to 1 %, and with it taken as nominal.
"""

from __future__ import annotations

import cmath
import math
import random
import sys

import numpy as np

from tests.support.measured_currents import (
    VOLTMETER,
    commissioned_at_several_delays,
    commissioned_by_current,
    errors_by_current,
    errors_by_loop,
    measured,
    transformer,
)
from tests.support.measured_welds import VOLTAGE_V, Errors, cycle_errors, machine


def main(welds: int = 100, first: int = 0) -> None:
    """Print it all."""
    raw: list[float] = []
    right: list[float] = []
    found: dict[str, list[float]] = {}
    held: dict[str, list[bool]] = {"impedance": [], "angle": []}
    wide: dict[str, list[float]] = {"impedance, %": [], "angle, degrees": []}
    for seed in range(first, first + welds):
        chance = random.Random(seed)
        made = machine(chance, Errors())
        spec = transformer(made, chance)
        known = commissioned_by_current(made, spec, chance, Errors())
        weld = measured(made, spec, chance, Errors())
        raw += [gate.current_A / gate.true_A - 1 for gate in weld.gates]
        if known is None:
            continue
        right += [known.factor * gate.current_A / gate.true_A - 1 for gate in weld.gates]
        read_V = weld.voltage_V * (1 + chance.uniform(-VOLTMETER, VOLTMETER))
        timed = cycle_errors([gate.seen for gate in weld.gates], known.loop)[1:]
        by_current = errors_by_current(weld, known, read_V)
        found.setdefault("from the end of the current", []).extend(timed)
        found.setdefault("from current and voltage, to 1 %", []).extend(by_current)
        both = [0.2 * one + 0.8 * other for one, other in zip(timed, by_current, strict=True)]
        found.setdefault("one part of the first to four of the second", []).extend(both)
        several = commissioned_at_several_delays(made, spec, random.Random(seed + 1_000_000), Errors())
        if several is not None:
            by_several = errors_by_loop(weld, *several, read_V)
            found.setdefault(
                "the same after a shorted weld at five delays, as `calibrate --loop` and `weld show`", []
            ).extend(by_several)
            true_ohm, true_deg = cmath.polar(complex(made.loop.resistance_ohm, made.reactance_ohm))
            true_deg = math.degrees(true_deg)
            loop = several[0]
            held["impedance"].append(loop.impedance_min_ohm <= true_ohm <= loop.impedance_max_ohm)
            held["angle"].append(loop.angle_min_deg <= true_deg <= loop.angle_max_deg)
            wide["impedance, %"].append(50 * (loop.impedance_max_ohm - loop.impedance_min_ohm) / true_ohm)
            wide["angle, degrees"].append((loop.angle_max_deg - loop.angle_min_deg) / 2)
        found.setdefault("from the current at nominal voltage", []).extend(errors_by_current(weld, known, VOLTAGE_V))
    for name, values in (("as made", raw), ("set right by a clamp meter of 2 %", right)):
        a = 100 * np.abs(values)
        print(
            f"current {name}: {len(a)} half-cycles, typical {np.median(a):.1f} %, 95 % within {np.quantile(a, 0.95):.1f} %, "
            f"worst {a.max():.1f} %, within 3 %: {100 * np.mean(a <= 3):.0f} in 100"
        )
    for name, values in found.items():
        told = np.isfinite(values)
        a = 100 * np.abs(np.array(values)[told])
        print(
            f"resistance {name}: {len(values)} cycles, none told in {np.sum(~told)}, typical {np.median(a):.1f} %, "
            f"95 % within {np.quantile(a, 0.95):.0f} %, worst {a.max():.0f} %, within 5 %: {100 * np.mean(a <= 5):.0f} in 100"
        )
    for name, each in held.items():
        print(f"loop: the range of its {name} holds the truth in {100 * np.mean(each):.0f} of 100 shorted welds")
    for name, values in wide.items():
        print(
            f"loop: half of the range of its {name}: typical {np.median(values):.1f}, 95 % {np.quantile(values, 0.95):.1f}"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
