"""The interface board of one machine: its stages."""

from __future__ import annotations

from gen.machine.welder import Welder
from gen.wiring.choice import DetectorValues
from gen.wiring.interface.components import Interface
from gen.wiring.interface.contactor_stage import contactor_stage
from gen.wiring.interface.gate_stage import gate_stage, isolation_stage
from gen.wiring.interface.input_stages import contacts_read, inputs_stage, supply_stage
from gen.wiring.interface.sensing_stages import current_stage, detector_stage, sense_stage

# Drawing numbers of the stages that the wiring sheet shows as boxes. They follow the sheet's drawings.
FIRST_DRAWING = 6
DRAWINGS = {"supply": 6, "gate": 7, "contactor": 8, "isolation": 9}


def interface_for(welder: Welder, detector: DetectorValues) -> Interface:
    """The board for this machine. `detector`: the resistors before the couplers, as chosen."""
    stages = (
        supply_stage(),
        gate_stage(welder),
        contactor_stage(),
        isolation_stage(welder),
        detector_stage(welder, detector),
        sense_stage(welder, detector),
        current_stage(welder),
        inputs_stage(contacts_read(welder)),
    )
    return Interface(tuple(stage for stage in stages if stage is not None))
