"""Single faults of gate board and charge pump: what the document says of them is what the circuit does.

All of both stages' faults, with those that do drive gate or coil, are in `python -m tests.campaigns.interface`.
"""

from __future__ import annotations

import pytest

from gen.wiring.interface import BoardStage, interface_for
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import SWINGS, BrokenTogether, all_at_rest, breaks, together
from tests.support.wiring.interface_trials import COIL, gate_parts
from tests.support.wiring.upgrade_machines import chosen

WELDER = known_welder()
CHOICE = chosen(WELDER)


def contactor() -> BoardStage:
    stage = interface_for(WELDER, CHOICE.detector).stage("contactor")
    assert stage is not None
    return stage


@pytest.mark.parametrize("pin_V", [0.0, 3.3])
def test_no_broken_part_of_the_pump_holds_the_coil(pin_V: float) -> None:
    """Each part open or shorted, between any two pins, with the pin still at either level."""
    parts = (*contactor().components, COIL)
    broken = together(parts, {part.name for part in parts}, leaving=SWINGS)
    assert len(broken.names) > 90
    for name, volts in all_at_rest(broken, {"24E": 24.0, "PULSE": pin_V}, "COIL").items():
        assert volts < 0.5, name


def test_both_switches_shorted_do_hold_the_coil() -> None:
    """So one that holds it would be seen."""
    (bridge,) = (b.components[-1] for b in breaks(contactor().components) if b.name == "Q43 D-S")
    broken = together((*contactor().components, COIL, bridge), {"Q44"})
    assert all_at_rest(broken, {"24E": 24.0, "PULSE": 0.0}, "COIL")["Q44 D-S"] > 20


GATE = ("Q31", "Q32", "Q33", "C31", "R33")


def test_no_single_fault_lights_the_coupler_while_the_pin_is_low() -> None:
    """Two transistors are in series; with both shorted it does light."""
    levels = {"24E": 24.0, "GATE": 0.0}
    parts = gate_parts(WELDER, CHOICE)
    (bridge,) = (b.components[-1] for b in breaks(parts) if b.name == "Q33 E-C")

    def lit(broken: BrokenTogether) -> dict[str, float]:
        at, back = (all_at_rest(broken, levels, net) for net in ("FIRE", "FIRE0"))
        return {name: at[name] - back[name] for name in at}

    single = lit(together(parts, GATE))
    assert len(single) > 20
    assert max(single.values()) < 0.9, single
    assert lit(together((*parts, bridge), {"Q32"}))["Q32 D-S"] > 0.9
