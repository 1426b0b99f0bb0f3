"""The transformer against ngspice: the same machines written as netlists and run by `ngspice -b`.

The core is a behavioural source: its flux is the voltage on a 1 F capacitor charged by the winding's voltage, its
current a pwl() of that. As with solve_ivp, both sides are given the same curve: the solution is checked, and not the curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from sim.core.impulse import Firing, gate_windows, run, sine
from sim.core.transformer import MagnetisingCurve, TransformerCircuit
from tests.support.ngspice import needs_ngspice, thyristor_pair, transient

# Fixed before the first comparison was run.
RMS, PEAK, EXTINCTION_DEG = 0.005, 0.01, 0.5
VOLTAGE_V, FREQUENCY_HZ, HALF_CYCLES = 230.0, 50.0, 4
STEP_S = 2e-6

pytestmark = needs_ngspice


def machine(
    load_angle_deg: float, source: float = 0.0, idle_A: float = 0.8, knee: float = 1.2, remanence: float = 0.0
) -> TransformerCircuit:
    """About 20 A at 230 V, with this load angle, part of its impedance in the source."""
    z, angle, w = VOLTAGE_V / 20, math.radians(load_angle_deg), 2 * math.pi * FREQUENCY_HZ
    r, x = z * math.cos(angle), z * math.sin(angle)
    curve = MagnetisingCurve.from_working_point(VOLTAGE_V, FREQUENCY_HZ, idle_A, knee, 0.25 * z / w)
    return TransformerCircuit(
        source * r, source * x / w, 0.25 * r, 0.2 * x / w, (0.75 - source) * r, (0.8 - source) * x / w, curve, remanence
    )


@dataclass(frozen=True)
class Netlist:
    """What to fire into which machine. `residue` as a fraction of the knee."""

    circuit: TransformerCircuit
    delays_deg: tuple[float | None, ...]
    until_deg: float = 165.0
    residue: float = 0.0
    closed: bool = True
    remanent: bool = False


LINEAR = {"knee": 50.0, "idle_A": 0.02}
CASES = {
    "linear from 87 degrees": Netlist(machine(45, **LINEAR), (87, 87, 87, 87)),
    "linear below the load angle with a long gate": Netlist(machine(60, **LINEAR), (40, 40, 40, 40)),
    "linear with source impedance": Netlist(machine(50, source=0.3, **LINEAR), (70, 80, 90, 100)),
    "saturating at zero delay": Netlist(machine(40), (0, 0, 0, 0)),
    "saturating at zero delay with source impedance": Netlist(machine(40, source=0.3), (0, 45, 45, 45)),
    "from 87 degrees on an adverse residue": Netlist(machine(45), (87, 60, 60, 60), residue=0.8),
    "from 87 degrees on a kind residue": Netlist(machine(45), (87, 60, 60, 60), residue=-0.8),
    "from 87 degrees on a residue that stays, air in the core": Netlist(
        replace(machine(45, source=0.05), curve=MagnetisingCurve.from_working_point(230, 50, 0.8, 1.2, 0.5e-3)),
        (87, 60, 60, 60),
        residue=0.5,
        remanent=True,
    ),
    "a missed firing": Netlist(machine(55), (87, 70, None, 70)),
    "open electrodes, long gate": Netlist(machine(45), (87, 70, 70, 70), closed=False),
    "open electrodes, short gate": Netlist(machine(45, knee=1.1), (60, 60, 60, 60), until_deg=66, closed=False),
    "open electrodes, switched on at zero on a residue": Netlist(
        machine(45, source=0.1, remanence=0.6), (0,), residue=0.6, closed=False
    ),
}


def cards(case: Netlist, gates: tuple[Firing, ...]) -> str:
    """The circuit, for ngspice."""
    c = case.circuit
    flux = case.residue * c.curve.knee_Vs
    held = 0.0 if case.closed and not case.remanent else c.curve.current(flux)
    (knee, amps), far = c.curve.knees[-1], 100.0
    points = [(-knee - far * c.curve.saturated_H, -amps - far), (-knee, -amps)]
    points += [(-f, -i) for f, i in points[::-1]]
    table = ", ".join(f"{f:.12g}, {i - held:.12g}" for f, i in points)
    levels = ["0 0"]
    for g in gates:
        levels += [f"{max(g.on_s, 2e-7) - 1e-7:.9g} 0 {max(g.on_s, 2e-7):.9g} 1 {g.off_s:.9g} 1 {g.off_s + 1e-7:.9g} 0"]
    secondary = f"""\
R2 p q {c.secondary_ohm:.12g}
L2 q 0 {c.secondary_H:.12g} ic={held - c.curve.current(flux):.12g}
"""
    return f"""\
V1 s 0 SIN(0 {VOLTAGE_V * math.sqrt(2):.12g} {FREQUENCY_HZ:g})
R1 s a {c.source_ohm + c.primary_ohm:.12g}
L1 a b {c.source_H + c.primary_H:.12g} ic=0
{thyristor_pair(levels, "p")}
RM p 0 1e6
CM p 0 1n
BM p 0 I = pwl(V(flux), {table})
BF 0 flux I = V(p)
CF flux 0 1 ic={flux:.12g}
RF flux 0 1e12
{secondary if case.closed else ""}"""


@pytest.mark.parametrize("name", CASES)
def test_against_ngspice(name: str, tmp_path: Path) -> None:
    """Peaks, RMS and extinction of each swing, and the greatest flux."""
    case = CASES[name]
    supply = sine(VOLTAGE_V, FREQUENCY_HZ, HALF_CYCLES)
    gates = gate_windows(supply, case.delays_deg, case.until_deg)
    residue_Vs = case.residue * case.circuit.curve.knee_Vs
    found = run(case.circuit, supply, gates, residue_Vs, case.closed, remanent=case.remanent)
    end_s = (HALF_CYCLES + 1) * 0.5 / FREQUENCY_HZ
    saved = f"i(VS) V(flux) {'i(L2)' if case.closed else 'V(gate)'}"
    t, i1, _, flux, _, i2 = transient(cards(case, gates), STEP_S, end_s, saved, tmp_path)
    assert np.abs(flux).max() == pytest.approx(found.peak_flux_Vs, rel=PEAK)
    # a swing: a stretch of one sign above a thousandth of the peak
    sign = np.where(np.abs(i1) > 1e-3 * np.abs(i1).max(), np.sign(i1), 0)
    edges = [0, *(np.flatnonzero(np.diff(sign)) + 1), len(sign)]
    stretches = [(a, b) for a, b in zip(edges, edges[1:], strict=False) if sign[a] and t[b - 1] - t[a] > 1e-4]
    assert [sign[a] > 0 for a, _ in stretches] == [s.positive for s in found.swings]
    half = 0.5 / FREQUENCY_HZ
    for (a, b), swing in zip(stretches, found.swings, strict=True):
        origin = swing.half_cycle * half
        assert np.abs(i1[a:b]).max() == pytest.approx(swing.primary_peak_A, rel=PEAK)
        assert math.sqrt(np.trapezoid(i1[a:b] ** 2, t[a:b]) / half) == pytest.approx(swing.primary_rms_A, rel=RMS)
        last = i1[b - 1] / (i1[b - 2] - i1[b - 1]) * (t[b - 1] - t[b - 2])  # from the last point kept to zero
        assert (t[b - 1] + last - origin) / half * 180 == pytest.approx(swing.end_deg, abs=EXTINCTION_DEG)
        if case.closed:
            assert np.abs(i2[a:b]).max() == pytest.approx(swing.secondary_peak_A, rel=PEAK)
