"""All parts for one machine: composes the sums of power and signal parts."""

from __future__ import annotations

from gen.boards import Board
from gen.machine.welder import Welder
from gen.wiring.arithmetic import recovery
from gen.wiring.choice import Choice, Load
from gen.wiring.power_parts import CLAMPING, conductors, contactor, fuse, heat_sink, switch, varistor
from gen.wiring.signal_parts import (
    conduction_sense,
    detector,
    gate_drive,
    insulation,
)
from gen.wiring.snubber import alternatives, load_circuits, snubber


def choose(welder: Welder, board: Board, load: Load) -> Choice:
    """What suits this machine under this load. Nothing is bought or drawn here; `yours` compares what the file gives."""
    varistor_V, varistor_part = varistor(welder)
    ratings, switch_part = switch(welder, load, varistor_V * CLAMPING)
    sink, sink_part = heat_sink(welder, load)
    fuse_A, fuse_part = fuse(welder, load, ratings)
    snubber_values, snubber_part = snubber(welder, ratings)
    band, gate_part = gate_drive(welder, board)
    detector_values, detector_part = detector(welder, board)
    contactor_A, contactor_part = contactor(welder, load)
    peak_V = welder.mains.voltage_V * 2**0.5
    rise = max(
        recovery(peak_V, henry, ohm, snubber_values.ohm, snubber_values.farad).steepest_V_per_s
        for henry, ohm in load_circuits(welder)
    )
    parts = (
        switch_part,
        alternatives(ratings, rise / 1e6),
        sink_part,
        fuse_part,
        snubber_part,
        varistor_part,
        gate_part,
        detector_part,
        conduction_sense(welder, board, detector_values),
        contactor_part,
        insulation(welder),
        conductors(welder, load),
    )
    return Choice(
        load,
        parts,
        ratings,
        snubber_values,
        detector_values,
        sink,
        varistor_V,
        fuse_A,
        contactor_A,
        band,
    )
