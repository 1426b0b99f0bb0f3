"""Checks of the timing table against the machine, over the frequency band and the load-angle range."""

from __future__ import annotations

import itertools
import math

from gen.machine.welder import FREQUENCY_BAND
from gen.schedule import SLOPE_END_PERCENT
from gen.table import LEVEL_PHASES
from gen.words import GATE_END_DEG
from sim.bench.circuit import Current, SeriesLoad
from sim.bench.mains import HalfCycle
from sim.verdict.finding import Finding, PacedJob, judged
from sim.verdict.recorded import planned_delays_us

LOWEST_MAINS = 0.85  # EN 50160: 230 V, +10 % and -15 % always
_SAMPLES = 40


def duty(run: PacedJob) -> Finding:
    """Duty over one minute at the pace asked, weighted by current squared, against the rating plate's at this current."""
    table, welder = run.table, run.welder
    asked = table.heating_half_cycles * run.welds_per_minute / (120 * table.frequency_Hz)
    t = welder.transformer
    most = welder.allowed_duty * 120 * table.frequency_Hz / table.heating_half_cycles
    return judged(
        "duty",
        100 * asked,
        100 * welder.allowed_duty,
        "% of a minute at full conduction",
        f"plate: {t.rating_kVA:g} kVA at {t.rating_duty_percent:g} %, equal heating I^2 x duty (RWMA practice, from memory)",
        f"Weld no faster than {math.floor(most)} a minute, or shorten the weld or lower its current.",
        digits=2,
        says="The welds of a minute heat as much as full current for {figure} % of it; the rating plate allows {limit} %.",
    )


def cool_time(run: PacedJob) -> Finding:
    """The shortest gap between impulses."""
    table = run.table
    gaps = [row for row in table.impulse_rows if row.firing_delay_us is None]
    shortest = min(gaps, key=lambda row: row.half_cycles, default=None)
    least = float(run.welder.limits.least_cool.half_cycles(table.frequency_Hz))
    return judged(
        "cool-time",
        shortest.half_cycles if shortest else table.time_of("off"),
        least,
        "half-cycles",
        "limits.least_cool in the welder file",
        "Lengthen the cool time.",
        says="The shortest pause between impulses is {figure} half-cycles; limits.least_cool requires {limit}.",
        low=True,
        half_cycle=run.begin_of(shortest) if shortest else None,
    )


def table_size(run: PacedJob) -> Finding:
    """Half-cycles from the first fired to the last, against the board's memory."""
    count = sum(row.half_cycles for row in run.table.impulse_rows)
    full = run.first_fired + run.board.limits.half_cycles  # where the board's memory ends
    return judged(
        "table-size",
        count,
        run.board.limits.half_cycles,
        "half-cycles",
        f"boards/{run.board.name}.toml",
        "Shorten the schedule.",
        says="From its first current to its last the schedule has {figure} half-cycles; the board holds {limit}.",
        half_cycle=full if full < run.table.half_cycles else None,
    )


def low_current(run: PacedJob) -> Finding:
    """The least percent current, below which a lower tap is better. A slope may end at that percentage."""
    least = min(
        (
            row
            for row in run.job.table.rows
            if row.firing_delay_us is not None
            and (row.phase in LEVEL_PHASES or row.current_percent < SLOPE_END_PERCENT)
        ),
        key=lambda row: row.current_percent,
    )
    return judged(
        "low-current",
        least.current_percent,
        SLOPE_END_PERCENT,
        "% current",
        "common practice, no source",
        "Use a lower tap and a higher percentage.",
        low=True,
        says="The least current is {figure} %; below {limit} % a lower tap is better.",
        otherwise="caution",
        half_cycle=run.begin_of(least, run.job.table),
    )


def latching(run: PacedJob) -> Finding:
    """Current reached under the gate, as a multiple of the latching current, at the worst of voltage, frequency and load."""
    welder = run.welder
    t, m = welder.transformer, welder.mains
    worst, worst_us, weakest = math.inf, 0, run.job.weakest
    corners = itertools.product(
        sorted(set(planned_delays_us(weakest))), (t.load_angle_min_deg, t.load_angle_max_deg), FREQUENCY_BAND
    )
    for delay_us, angle, scale in corners:
        half_s = 0.5 / (m.frequency_Hz * scale)
        half = HalfCycle(0, 0.0, half_s, True, LOWEST_MAINS * m.voltage_V * math.sqrt(2))
        load = SeriesLoad.from_working_point(m.voltage_V, t.working_current_A, angle, m.frequency_Hz)
        begin = delay_us * 1e-6 / scale + welder.switch.turn_on_delay_us * 1e-6
        end = GATE_END_DEG / 180 * half_s
        current = Current(load, half, begin)
        reached = max((current.at(begin + n * (end - begin) / _SAMPLES) for n in range(_SAMPLES + 1)), default=0.0)
        times = reached / welder.switch.latching_current_A if end > begin else 0.0
        if times < worst:
            worst, worst_us = times, delay_us
    return judged(
        "latching",
        worst,
        1,
        "times the latching current",
        f"switch.latching_current_A, at {LOWEST_MAINS:.0%} mains (EN 50160) and the ends of band and load-angle range",
        "Use a switch with a lower latching current, or fire earlier (more per cent).",
        low=True,
        digits=2,
        says="Under the gate the current reaches at least {figure} times the switch's latching current.",
        half_cycle=next((run.begin_of(row, weakest) for row in weakest.rows if row.firing_delay_us == worst_us), None),
    )


def not_judged(run: PacedJob) -> Finding | None:
    """Checks left out because the welder file lacks figures."""
    welder = run.welder
    electrodes = (
        "electrodes and transformer.open_secondary_V",
        welder.electrodes if welder.machine.in_use.turns_ratio else None,
    )
    missing = {
        "switch-current": ("switch.rated_current_A", welder.switch.rated_current_A),
        "switch-surge": ("switch.surge_current_A", welder.switch.surge_current_A),
        "junction": ("switch.foster", welder.switch.foster),
        "electrode-heat": electrodes,
        "electrode-peak": electrodes,
    }
    left_out = {name: key for name, (key, value) in missing.items() if value is None}
    if not left_out:
        return None
    keys = ", ".join(f"{key} for {name}" for name, key in left_out.items())
    return Finding(
        "not-judged",
        "caution",
        len(left_out),
        0,
        "checks left out",
        "the welder file",
        f"Give {keys}.",
        says="The welder file has too few figures to judge "
        f"{len(left_out)} thing{'' if len(left_out) == 1 else 's'}: {', '.join(left_out)}.",
    )
