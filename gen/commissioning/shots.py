"""The welds of a commissioning: three short schedules, and the machine configuration of each."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from gen.boards import Board
from gen.current import scale_of
from gen.current_limits import LOPSIDED_DEG
from gen.firmware import render
from gen.job import Job
from gen.machine.derived import Machine, Tap, load_angles
from gen.machine.tables import Transformer
from gen.machine.welder import Welder
from gen.phase_control import rms_fraction
from gen.ranges import Figure, spanning
from gen.schedule import Hold, Off, Schedule, Squeeze, Weld
from gen.table import TimingTable
from gen.timing import compile_schedule
from gen.units import Duration, parse_duration, us_to_degrees
from gen.words import GATE_END_DEG, SHOT_NAME

LEAST_LOAD_W = 500.0
SHORTED_CYCLES = 25
MINUTE = "60 s"  # off time, in which the board accepts no pedal: it keeps two shots a minute apart
ShotName = Literal["resistive-load", "open-electrodes", "shorted"]


@dataclass(frozen=True)
class Shot:
    """One weld of a commissioning: its schedule, and the welder in the state of that step, for judging the weld beforehand."""

    schedule: Schedule
    table: TimingTable
    meets: Welder

    def job(self, board: Board) -> Job:
        """The job that is simulated before the shot."""
        return Job(self.schedule, self.meets, board, self.table, render(self.table, self.meets, board))


def shot(name: ShotName, welder: Welder, board: Board) -> Shot:
    """The weld of the step `name`: resistive-load, open-electrodes or shorted. Raises InputError where limits forbid it."""
    percent, off = (60.0, "5 s") if name == "resistive-load" else (100.0, MINUTE if name == "shorted" else "5 s")
    schedule = Schedule(
        name=SHOT_NAME + name,
        frequency_Hz=welder.mains.frequency_Hz,
        phases=(
            Squeeze(squeeze=_time(f"{max(500, math.ceil(welder.least_squeeze_ms) + 10)} ms")),
            Weld(weld=_time(f"{SHORTED_CYCLES} cycles"), current_percent=percent),
            Hold(hold=_time("10 cycles")),
            Off(off=_time(off)),
        ),
    )
    table = compile_schedule(schedule, welder, board, Path(f"{schedule.name}.toml"))
    return Shot(schedule, table, with_shorted_electrodes(welder) if name == "shorted" else welder)


def _time(text: str) -> Duration:
    return parse_duration(text)


def lowest_tap(transformer: Transformer) -> str:
    """The tap with the lowest open secondary voltage; "" without taps."""
    volts = transformer.tap_volts
    return min(volts, key=lambda tap: volts[tap]) if volts else ""


def lowest(welder: Welder) -> Tap:
    """The machine's lowest tap."""
    name = lowest_tap(welder.transformer)
    return next(tap for tap in welder.machine.taps if tap.name == name)


def shorted_job(job: Job) -> Job:
    """The job on shorted electrodes and the tap in use, for judging a weld that measures the loop."""
    meets = with_shorted_electrodes(job.welder, job.welder.machine.in_use)
    return Shot(job.schedule, job.table, meets).job(job.board)


def may_last_too_long(welder: Welder) -> bool:
    """Whether load angles in this file may make the board end a weld on shorted electrodes, whose current lasts longer."""
    if load_angles(welder.transformer)[2] or not welder.board.conduction_sense:
        return False
    return welder.machine.short_angle.high > scale_of(welder).high_deg + LOPSIDED_DEG


def with_shorted_electrodes(welder: Welder, tap: Tap | None = None) -> Welder:
    """The machine with shorted electrodes, so that its working current is the short-circuit current.

    `tap`: its lowest one where None.
    """
    machine, tap = welder.machine, tap or lowest(welder)
    used = machine.in_use.turns_ratio
    k = (tap.turns_ratio.middle / used.middle) ** 2 if tap.turns_ratio and used else 1.0
    none = Figure(0.0, 0.0, "ohm", "electrodes pressed together")
    in_use = replace(
        tap,
        working_primary=tap.short_primary,
        working_secondary=tap.short_secondary,
        load_angle=machine.short_angle,
    )
    settled: Machine = replace(
        machine,
        leakage_resistance=_times(machine.leakage_resistance, k),
        leakage_reactance=_times(machine.leakage_reactance, k),
        loop_resistance=_times(machine.loop_resistance, k) if machine.loop_resistance else None,
        loop_reactance=_times(machine.loop_reactance, k) if machine.loop_reactance else None,
        work_resistance=none,
        work_secondary_uohm=replace(none, unit="micro-ohm") if machine.work_secondary_uohm else None,
        taps=(in_use,),
    )
    return welder.at(settled)


def _times(figure: Figure, k: float) -> Figure:
    """The figure referred to a tap with another turns ratio."""
    return replace(figure, low=figure.low * k, high=figure.high * k)


def least_load_W(welder: Welder) -> float:
    """The least usable load: 500 W, or more where its current at the gate's end would not latch."""
    at_the_end = math.sqrt(2) * math.sin(math.radians(GATE_END_DEG))
    return max(LEAST_LOAD_W, welder.mains.voltage_V * welder.switch.latching_current_A / at_the_end)


def conducted_fraction(table: TimingTable, load_angle_deg: float) -> float:
    """RMS current of a load with this angle over the weld of `table`, as a fraction of that at full conduction."""
    fired = [row for row in table.rows if row.firing_delay_us is not None]
    squares = sum(
        row.half_cycles * rms_fraction(us_to_degrees(row.firing_delay_us or 0, table.frequency_Hz), load_angle_deg) ** 2
        for row in fired
    )
    return math.sqrt(squares / sum(row.half_cycles for row in fired))


def shorted_fraction(welder: Welder, board: Board) -> Figure:
    """The share of the short-circuit current in the shot with shorted electrodes, over the range of its angle.

    100 % fires slightly beyond the greatest load angle, so a short circuit with a smaller angle draws slightly less.
    """
    table, angle = shot("shorted", welder, board).table, welder.machine.short_angle
    fractions = (conducted_fraction(table, a) for a in (angle.low, angle.middle, angle.high))
    return spanning(fractions, "", f"the firing delay at a short-circuit angle of {angle.text}")


def short_circuit_A(reading_A: float, welder: Welder, board: Board) -> Figure:
    """The short-circuit current at full conduction, from a reading of that shot."""
    fraction = shorted_fraction(welder, board)
    return Figure(reading_A / fraction.high, reading_A / fraction.low, "A", f"{reading_A:g} A read, {fraction.source}")
