"""A small welder's transformer, for tests of the circuit alone."""

from __future__ import annotations

import math

from sim.core.transformer import MagnetisingCurve, TransformerCircuit

V, F = 230.0, 50.0
OMEGA = 2 * math.pi * F


def welder(knee: float = 1.2, remanence: float = 0.6) -> TransformerCircuit:
    """20 A at 230 V and 45 degrees, 0.8 A idle (invented)."""
    z = V / 20 / math.sqrt(2)
    curve = MagnetisingCurve.from_working_point(V, F, 0.8, knee, 0.25 * z / OMEGA)
    return TransformerCircuit(
        0.05 * z, 0.03 * z / OMEGA, 0.3 * z, 0.25 * z / OMEGA, 0.65 * z, 0.72 * z / OMEGA, curve, remanence
    )
