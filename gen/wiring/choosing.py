"""All parts for one machine, from the calculations of its power parts and signal parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from gen.boards import Board
from gen.machine.welder import Welder
from gen.schedule import Schedule
from gen.table import TimingTable
from gen.timing import compile_schedule
from gen.wiring.choice import Choice, Load
from gen.wiring.current_part import current_transformer
from gen.wiring.cut_off_parts import isolator, residual_device, stop_button
from gen.wiring.power_parts import CLAMPING, conductors, contactor, fuse, heat_sink, inrush_figure, switch, varistor
from gen.wiring.signal_parts import (
    conduction_sense,
    detector,
    gate_drive,
    insulation,
)
from gen.wiring.snubber import alternatives, load_circuits, snubber, worst_recovery


@dataclass(frozen=True)
class Warmth:
    """A part of the switch on the chosen heat sink: simulated peak in the steady state at the pace, and its limit, degC."""

    part: str
    for_ever_C: float
    limit_C: float


class WeldSimulated(Protocol):
    """Simulated figures of one weld: inrush at the worst of the readings' uncertainty, temperatures at its middle."""

    def inrush(self, table: TimingTable, welder: Welder) -> tuple[float, float, float]:
        """On shorted electrodes: the peak of the planned start, A; then, of a start at the voltage zero from the worst
        remanence, the peak, A, and the greatest I2t of a half-cycle, A2s."""

    def warmth(self, table: TimingTable, welder: Welder, period_s: float) -> Sequence[tuple[str, float, float]]:
        """The switch's parts in the steady state of a weld every `period_s`: name, peak and limit, degC."""


def chosen_for(
    welder: Welder, board: Board, pace: float, path: Path, simulated: WeldSimulated
) -> tuple[Choice, tuple[Warmth, ...]]:
    """The parts for the longest weld allowed, at full current and `pace` welds a minute, and the switch's temperatures.

    `path` names the welder file in a message. Raises InputError.
    """
    table = longest_weld(welder, board, path)
    planned_A, worst_A, i2t_A2s = simulated.inrush(table, welder)
    weld_s = table.fired_half_cycles * (0.5 / table.frequency_Hz)
    load = Load(
        welder.machine.in_use.working_primary,
        inrush_figure(planned_A, worst_A),
        i2t_A2s,
        weld_s,
        pace,
    )
    choice = choose(welder, board, load)
    if choice.sink.K_per_W is None:
        return choice, ()
    sink = welder.heat_sink.model_copy(update={"K_per_W": choice.sink.K_per_W, "J_per_K": choice.sink.J_per_K})
    ambient = welder.ambient.model_copy(update={"temperature_C": choice.sink.ambient_C})
    on_sink = welder.at(welder.machine, heat_sink=sink, ambient=ambient)
    period_s = weld_s / min(1.0, weld_s * pace / 60, welder.allowed_duty)
    return choice, tuple(Warmth(*part) for part in simulated.warmth(table, on_sink, period_s))


def longest_weld(welder: Welder, board: Board, path: Path) -> TimingTable:
    """The longest weld that welder file and board allow, at full current. Raises InputError naming `path`."""
    frequency_Hz = welder.mains.frequency_Hz
    allowed = math.floor(welder.limits.longest_weld.half_cycles(frequency_Hz))
    half_cycles = max(2, min(allowed, board.limits.half_cycles) // 2 * 2)
    phases = (
        {"squeeze": f"{max(200, math.ceil(welder.least_squeeze_ms) + 10)} ms"},
        {"weld": f"{half_cycles} half-cycles"},
        {"hold": "0.2 s"},
        {"off": "0.2 s"},
    )
    longest = Schedule.model_validate({"name": "longest", "frequency_Hz": frequency_Hz, "phases": phases})
    return compile_schedule(longest, welder, board, path)


def choose(welder: Welder, board: Board, load: Load) -> Choice:
    """The parts for this machine under this load. `yours` of each compares the ratings in the welder file."""
    varistor_V, varistor_part = varistor(welder)
    ratings, switch_part = switch(welder, load, varistor_V * CLAMPING)
    sink, sink_part = heat_sink(welder, load)
    fuse_A, fuse_part = fuse(welder, load, ratings)
    snubber_values, snubber_part = snubber(welder, ratings)
    band, gate_part = gate_drive(welder, board)
    detector_values, detector_part = detector(welder, board)
    contactor_A, contactor_part = contactor(welder, load)
    peak_V = welder.mains.voltage_V * 2**0.5
    rise = worst_recovery(peak_V, load_circuits(welder), snubber_values.ohm, snubber_values.farad).steepest_V_per_s
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
        current_transformer(welder, board),
        contactor_part,
        isolator(welder, load),
        stop_button(),
        residual_device(welder),
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
