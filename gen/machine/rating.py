"""The rating of a transformer without a plate, from its measured size, mass and wire.

A transformer obeys three rules, each with a wide range. The rating is the range that they have in common:

- volts a turn: Et = K sqrt(Q), Q in kVA, K 0.75 to 0.85 for a single-phase core type and 1.0 to 1.2 for a shell type
  (A. K. Sawhney, A Course in Electrical Machine Design, and other texts; from public copies). Et is the mains voltage
  over the turns, or the open volts of a secondary of one turn, or follows from the core: Et = 4.44 f B A.
- the primary's wire: 2 to 3.5 A for each mm2 in a dry winding cooled by air (design texts, from memory).
- the mass: 60 to 200 VA for each kilogram (makers' lists of small dry transformers, common practice, no source).

All give a continuous power (100 % duty).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from gen.machine.inductance import FLUX_DENSITY_T
from gen.ranges import Figure, shown, spanning

TURN_VOLTS_PER_ROOT_KVA = (0.75, 1.2)
WIRE_A_PER_MM2 = (2.0, 3.5)
VA_PER_KG = (60.0, 200.0)
STACKING = (0.90, 0.97)  # iron's share of the measured section, the rest varnish and air (design texts, from memory)


@dataclass(frozen=True)
class RatedWinding:
    """The measurements of a transformer; None where not measured."""

    core_mm: tuple[float, float] | None = None
    """Width of the limb inside the coil, and thickness of the stack."""
    mass_kg: float | None = None
    wire_mm2: float | None = None
    turns: float | None = None
    open_secondary_V: float | None = None


def rating_of(winding: RatedWinding, voltage_V: float, frequency_Hz: float) -> Figure | None:
    """The continuous power in kVA; None where nothing was measured.

    Where the rules contradict one another, the lower end is the least of all.
    """
    found = [
        f for f in (_by_turn(winding, voltage_V, frequency_Hz), _by_wire(winding, voltage_V), _by_mass(winding)) if f
    ]
    if not found:
        return None
    low, high = max(f.low for f in found), min(f.high for f in found)
    source = "; ".join(f"{f.source}: {f.text}" for f in found)
    return Figure(min(low, high), high if low <= high else min(f.high for f in found), "kVA", source)


def _by_turn(winding: RatedWinding, voltage_V: float, frequency_Hz: float) -> Figure | None:
    if winding.turns is not None:
        volts, what = [voltage_V / winding.turns], "turns"
    elif winding.open_secondary_V is not None:
        volts, what = [winding.open_secondary_V], "open volts of one turn"
    elif winding.core_mm is not None:
        section_m2 = winding.core_mm[0] * winding.core_mm[1] * 1e-6
        peak_V = 2 * math.pi * frequency_Hz * section_m2 / math.sqrt(2)
        volts = [peak_V * b * share for b, share in zip(FLUX_DENSITY_T, STACKING, strict=True)]
        what = "core"
    else:
        return None
    powers = ((turn / k) ** 2 for turn in volts for k in TURN_VOLTS_PER_ROOT_KVA)
    span = shown(volts[0]) if len(volts) == 1 else f"{shown(volts[0])} to {shown(volts[1])}"
    return spanning(powers, "kVA", f"{what}, {span} V a turn, Et = K sqrt(Q)")


def _by_wire(winding: RatedWinding, voltage_V: float) -> Figure | None:
    if winding.wire_mm2 is None:
        return None
    powers = (density * winding.wire_mm2 * voltage_V / 1000 for density in WIRE_A_PER_MM2)
    return spanning(powers, "kVA", "primary's wire, 2 to 3.5 A/mm2")


def _by_mass(winding: RatedWinding) -> Figure | None:
    if winding.mass_kg is None:
        return None
    return spanning((each * winding.mass_kg / 1000 for each in VA_PER_KG), "kVA", "mass, 60 to 200 VA/kg")
