"""`ngspice -b` on a circuit written as cards: a second solver that shares no code with ours."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed (apt-get install ngspice)"
)


def transient(cards: str, step_s: float, end_s: float, saved: str, folder: Path) -> npt.NDArray[np.float64]:
    """From the given initial conditions to `end_s`, at most `step_s` at once: rows of time and value, two a saved quantity."""
    (folder / "circuit.cir").write_text(
        f"""circuit
{cards}
.options reltol=1e-4 method=gear
.control
tran {step_s:.9g} {end_s:.9g} 0 {step_s:.9g} uic
wrdata out.txt {saved}
quit
.endc
.end
"""
    )
    done = subprocess.run(["ngspice", "-b", "circuit.cir"], cwd=folder, capture_output=True, text=True, timeout=120)
    assert "aborted" not in done.stdout + done.stderr
    return np.loadtxt(folder / "out.txt").T


def thyristor_pair(gates: list[str], behind: str) -> str:
    """Two thyristors in antiparallel from node b, through the ammeter VS, to `behind`. `gates`: the pairs of a PWL source.

    Each is a one-way conductance of 1000 S under a latch that its gate sets and its own current holds.
    """
    return f"""VG gate 0 PWL({" ".join(gates)})
VS b c 0
BT c {behind} I = 1000*(V(cp)*max(V(c,{behind}), 0) - V(cn)*max(V({behind},c), 0))
BP lp 0 V = min(max(V(gate), 100*i(VS)), 1)
BN ln 0 V = min(max(V(gate), -100*i(VS)), 1)
RP lp cp 1k
CP cp 0 1n
RN ln cn 1k
CN cn 0 1n
RB b 0 1e6
CB b 0 1n"""
