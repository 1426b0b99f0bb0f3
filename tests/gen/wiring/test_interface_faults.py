"""Single faults of gate board and charge pump: what the document says of them is what the circuit does.

All of both stages' faults, with those that do drive gate or coil, are in `python -m tests.campaigns.interface`.
"""

from __future__ import annotations

import pytest

from gen.wiring.interface import BoardStage, interface_for
from tests.support.machines import known_welder
from tests.support.wiring.broken_parts import at_rest, breaks
from tests.support.wiring.interface_trials import COIL, gate_parts
from tests.support.wiring.upgrade_machines import chosen

WELDER = known_welder()
CHOICE = chosen(WELDER)


def contactor() -> BoardStage:
    stage = interface_for(WELDER, CHOICE.detector).stage("contactor")
    assert stage is not None
    return stage


PUMP = ("C41", "C42", "C43", "D41", "D42")  # C42, D43 and D44 are as C41, D41 and D42


@pytest.mark.parametrize("pin_V", [0.0, 3.3])
def test_no_broken_capacitor_or_diode_of_the_pump_holds_the_coil(pin_V: float) -> None:
    """Open or shorted, with the pin still at either level; a shorted output transistor shows that it would be seen."""
    levels = {"24E": 24.0, "PULSE": pin_V}
    for broken in breaks(contactor().components):
        if broken.name.split()[0] in PUMP:
            assert at_rest((*broken.components, COIL), levels, "COIL") < 0.5, broken.name
        if broken.name == "Q43 D-S":
            assert at_rest((*broken.components, COIL), levels, "COIL") > 20


GATE = ("Q31", "Q32", "Q33", "C31", "R33")


def test_no_single_fault_lights_the_coupler_while_the_pin_is_low() -> None:
    """Two transistors are in series; with both shorted it does light."""
    levels = {"24E": 24.0, "GATE": 0.0}
    shorted = []
    for broken in breaks(gate_parts(WELDER, CHOICE)):
        if broken.name.split()[0] in GATE:
            lit = at_rest(broken.components, levels, "FIRE") - at_rest(broken.components, levels, "FIRE0")
            assert lit < 0.9, broken.name
        if broken.name in ("Q33 E-C", "Q32 D-S"):
            shorted.append(broken.components[-1])
    one, other = shorted
    both = (*gate_parts(WELDER, CHOICE), one, other)
    assert at_rest(both, levels, "FIRE") - at_rest(both, levels, "FIRE0") > 0.9
