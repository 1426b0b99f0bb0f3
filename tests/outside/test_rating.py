"""The rating of a transformer without a plate, against worked examples of designs that we did not make."""

from __future__ import annotations

import math

import pytest

from gen.machine.rating import RatedWinding, rating_of


def holds(winding: RatedWinding, kVA: float, voltage_V: float = 230, frequency_Hz: float = 50) -> bool:
    found = rating_of(winding, voltage_V, frequency_Hz)
    assert found is not None
    return found.low * (1 - 1e-9) <= kVA <= found.high * (1 + 1e-9)


def test_a_limb_of_twenty_kVA() -> None:
    """A design example on a public page (Industrial Monitor Direct, "Per-turn voltage formula ... 20 kVA example").

    Three limbs of 6.67 kVA, 60 Hz, 60 cm2 of iron (77 x 77 mm) at 1.6 T: 2.43 V a turn. A limb by itself is a single-phase
    core type to our rules.
    """
    assert holds(RatedWinding(core_mm=(77, 77)), 6.67, 277, 60)
    assert holds(RatedWinding(open_secondary_V=2.43), 6.67, 277, 60)
    assert holds(RatedWinding(turns=277 / 2.43), 6.67, 277, 60)


def test_a_shell_type_by_the_texts_constant() -> None:
    """Et = K sqrt(Q), K 1.0 to 1.2 of a single-phase shell type and 0.75 to 0.85 of a core type (Sawhney; public copies)."""
    for k in (0.75, 0.85, 1.0, 1.2):
        for kVA in (0.5, 2, 10):
            assert holds(RatedWinding(open_secondary_V=k * math.sqrt(kVA)), kVA)


def test_by_hand() -> None:
    """2.5 mm wire is 4.91 mm2: 9.8 to 17.2 A, 2.26 to 3.95 kVA at 230 V; 25 kg: 1.5 to 5 kVA; 96 turns: 3.99 to 10.2 kVA."""
    wire = rating_of(RatedWinding(wire_mm2=math.pi / 4 * 2.5**2), 230, 50)
    assert wire is not None
    assert (wire.low, wire.high) == pytest.approx((2.258, 3.951), rel=1e-3)
    mass = rating_of(RatedWinding(mass_kg=25), 230, 50)
    assert mass is not None
    assert (mass.low, mass.high) == pytest.approx((1.5, 5))
    turns = rating_of(RatedWinding(turns=96), 230, 50)
    assert turns is not None
    assert (turns.low, turns.high) == pytest.approx(((230 / 96 / 1.2) ** 2, (230 / 96 / 0.75) ** 2))
    both = rating_of(RatedWinding(wire_mm2=math.pi / 4 * 2.5**2, mass_kg=25), 230, 50)
    assert both is not None
    assert (both.low, both.high) == (wire.low, wire.high)
    assert rating_of(RatedWinding(), 230, 50) is None


def test_rules_that_contradict_leave_the_lesser() -> None:
    """Thin wire on a large core carries what the wire does, at most."""
    found = rating_of(RatedWinding(wire_mm2=1.0, turns=60), 230, 50)
    assert found is not None
    assert (found.low, found.high) == pytest.approx((0.805, 0.805))
