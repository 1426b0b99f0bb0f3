"""Reports of the sense across the switch on a bench with errors: a seeded hundredth of the campaign, and ngspice."""

from __future__ import annotations

import math
import random
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from sim.bench.circuit import Current, SeriesLoad
from sim.bench.mains import HalfCycle
from tests.campaigns.measured_welds import healthy, one_sided_after
from tests.support.measured_welds import Errors, joint_curve


def test_the_course_of_the_resistance_is_known_better_than_its_height() -> None:
    """With every error: typical 9 %, but after one factor for the weld 95 cycles in 100 are within 4 %. No false alarm.

    The 5 % that one would wish for in each cycle is not reached: the coupler's age and the fifth harmonic stand in its way.
    """
    found = healthy(10, 0, Errors())
    assert np.median(np.abs(found.errors)) < 0.15
    assert np.quantile(np.abs(found.shape), 0.95) < 0.04
    assert found.alarms == 0


def test_without_errors_the_resistance_is_within_5_per_cent() -> None:
    """What the method leaves by itself: holding current, the coupler's threshold, rounding, a joint that moves in a cycle."""
    exact = Errors(mains=0, fifth_percent=0, coupler=False, clamp=0, detector=False)
    found = healthy(6, 100, exact)
    assert np.quantile(np.abs(found.errors), 0.95) < 0.05


def test_one_direction_blocked_is_found_within_two_cycles() -> None:
    assert max(one_sided_after(seed) for seed in range(10)) <= 4


def test_the_joint_dips_rises_and_falls() -> None:
    """The shape alone (Dickinson, Franklin and Stanya, Welding Journal 59, 1980, from memory)."""
    for seed in range(20):
        curve = joint_curve(random.Random(seed), 1.0)
        times = np.linspace(0, 0.5, 200)
        ohms = np.array([curve.ohm(time) for time in times])
        dip = int(np.argmin(ohms[: len(ohms) // 6]))
        peak = dip + int(np.argmax(ohms[dip:]))
        assert 0 < dip < peak < len(ohms) - 1
        assert ohms[0] > ohms[dip] < ohms[peak] > ohms[-1]


NETLIST = """* a switch that closes at the gate into a resistance and an inductance
B1 in 0 V={peak}*(sin(6.283185307*50*time)+{share}*sin(5*6.283185307*50*time+{phase}))
VC c 0 PWL(0 0 {gate:.9f} 0 {closed:.9f} 1)
S1 in a c 0 sw
.model sw sw(vt=0.5 vh=0 ron=1e-4 roff=1e9)
R1 a b {ohm}
L1 b 0 {henry} ic=0
.control
tran 1u 15m 0 1u uic
wrdata {data} i(L1)
quit
.endc
.end
"""


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed (apt-get install ngspice)")
@pytest.mark.parametrize(
    ("delay_deg", "angle_deg", "percent", "phase_deg"),
    [(60, 45, 5, 0), (90, 60, 5, 130), (120, 35, 5, 250), (75, 50, 0, 0)],
)
def test_the_end_of_a_current_by_ngspice(
    delay_deg: float, angle_deg: float, percent: float, phase_deg: float, tmp_path: Path
) -> None:
    """The bench's closed form with a fifth harmonic against ngspice's steps: end and peak of the same current."""
    z, angle = 8.0, math.radians(angle_deg)
    load = SeriesLoad(z * math.cos(angle), z * math.sin(angle) / (100 * math.pi))
    gate_s = delay_deg / 18_000
    half = HalfCycle(0, 0.0, 0.01, True, 230 * math.sqrt(2), ((5, percent, phase_deg),) if percent else ())
    current = Current(load, half, gate_s)
    end_s = current.extinction(0.0, gate_s + 2e-4)
    data = tmp_path / "current.txt"
    net = NETLIST.format(
        peak=230 * math.sqrt(2), share=percent / 100, phase=math.radians(phase_deg), gate=gate_s, closed=gate_s + 1e-7,
        ohm=load.resistance_ohm, henry=load.inductance_H, data=data,
    )  # fmt: skip
    (tmp_path / "net.cir").write_text(net)
    subprocess.run(["ngspice", "-b", "net.cir"], cwd=tmp_path, check=True, capture_output=True, timeout=60)
    times, amperes = np.loadtxt(data, usecols=(0, 1)).T
    flowing = (times > gate_s + 1e-4) & (amperes <= 0)
    assert times[flowing][0] == pytest.approx(end_s, abs=5e-6)
    before = amperes[times < end_s]
    assert before.max() == pytest.approx(current.rms_and_peak(end_s)[1], rel=0.003)
