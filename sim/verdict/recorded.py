"""Checks of the bench's recording: counts, times, windows, polarity and pace. None reads the firmware's counters."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from gen.table import TimingTable
from gen.timing import LEAST_GATE_DEG
from gen.units import us_to_degrees
from gen.words import GATE_END_DEG
from sim.bench.recording import ObservedWeld, Recording
from sim.verdict.finding import Finding, PacedJob, SimulatedJob, judged

FIRING_ERROR_DEG = 2.0
LEAST_GATE_REST_DEG = 5.0


@dataclass(frozen=True)
class Fired:
    """One gate of a weld, compared with the timing table."""

    weld: ObservedWeld
    on_s: float
    off_s: float
    error_us: float
    """Gate edge less the ideal, which counts from the true crossing."""
    rest_us: float
    """Time from the gate's end to the next true crossing."""


def planned_delays_us(table: TimingTable) -> list[int]:
    """Firing delay of each fired half-cycle, in order, at nominal frequency."""
    return [
        row.firing_delay_us for row in table.rows if row.firing_delay_us is not None for _ in range(row.half_cycles)
    ]


def fired_half_cycles(run: SimulatedJob) -> Iterator[Fired]:
    """The gates of each weld next to the table. `half_cycles` judges gates beyond the table's number.

    Where welds correct the next, only the first is fired by the table itself; each other has no error between the earliest
    delay that it may have and the latest.
    """
    recording, nominal_s = run.recording, 0.5 / run.table.frequency_Hz
    planned = planned_delays_us(run.table)
    bounds = zip(planned_delays_us(run.job.strongest), planned_delays_us(run.job.weakest), strict=True)
    within = [(min(us, early), max(us, late)) for us, (early, late) in zip(planned, bounds, strict=True)]
    exact = [(us, us) for us in planned]
    for n, weld in enumerate(recording.welds):
        gates = [g for g in recording.gates if weld.asked_s <= g[0] < weld.ended_s]
        for (on_s, off_s), (early_us, late_us) in zip(gates, within if n else exact):
            half = recording.half_cycle_at(on_s)
            at_us = (on_s - half.start_s) * 1e6 * nominal_s / half.length_s
            error_us = (at_us - min(max(at_us, early_us), late_us)) * half.length_s / nominal_s
            yield Fired(weld, on_s, off_s, error_us, (half.start_s + half.length_s - off_s) * 1e6)


def _counted(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or f'{one}s'}"


def half_cycles(run: SimulatedJob) -> Finding:
    """Half-cycles that carried current equal those planned, in every weld."""
    wrong = [(abs(w.conducted - w.planned), w.asked_s) for w in run.recording.welds]
    wrong += [(w.gates - w.planned, w.asked_s) for w in run.recording.welds if w.gates > w.planned]
    if not wrong:
        return Finding(
            "half-cycles",
            "refuse",
            0,
            run.table.fired_half_cycles,
            "half-cycles",
            "the timing table",
            "Read the states in the report: a lockout, or a pace that leaves no time.",
            says="No weld was made.",
        )
    worst, when = max(wrong)
    return judged(
        "half-cycles",
        worst,
        0,
        "half-cycles amiss",
        "the timing table",
        "The current was not as planned: weld.csv shows which half-cycles; check latching current and gate end.",
        says=f"A weld had {_counted(worst, 'half-cycle')} of current more or fewer than planned."
        if worst
        else "Current flowed in every planned half-cycle, and in no other.",
        time_s=when if worst else None,
    )


def firing(run: SimulatedJob) -> Finding:
    """Each gate against the true crossing, which the firmware cannot see."""
    worst = max(fired_half_cycles(run), key=lambda f: abs(f.error_us), default=None)
    error_deg = us_to_degrees(abs(worst.error_us), run.table.frequency_Hz) if worst else 0.0
    return judged(
        "firing",
        error_deg,
        FIRING_ERROR_DEG,
        "degrees from ideal",
        "common practice, no source",
        "Measure the detector's edges against the true crossings and set detector.offset_rise_us and offset_fall_us.",
        says="A gate is up to {figure} degrees from its planned place; {limit} are allowed.",
        time_s=worst.on_s if worst else None,
    )


def gate_window(run: PacedJob) -> Finding:
    """The length of the gate after the latest firing delay that there may be."""
    weakest = run.job.weakest
    latest = max(weakest.impulse_rows, key=lambda row: row.firing_delay_us or 0)
    left = GATE_END_DEG - us_to_degrees(latest.firing_delay_us or 0, run.table.frequency_Hz)
    return judged(
        "gate-window",
        left,
        LEAST_GATE_DEG,
        "degrees of gate",
        "common practice, no source",
        "Raise current_percent, or use a lower tap.",
        says="The latest firing leaves {figure} degrees for the gate; it needs {limit}.",
        low=True,
        digits=2,
        half_cycle=run.begin_of(latest, weakest),
    )


def gate_end(run: SimulatedJob) -> Finding:
    """The gate is off before the next true crossing; else it would fire the next half-cycle at its zero."""
    worst = min(fired_half_cycles(run), key=lambda f: f.rest_us, default=None)
    rest = us_to_degrees(worst.rest_us, run.table.frequency_Hz) if worst else 180 - GATE_END_DEG
    return judged(
        "gate-end",
        rest,
        LEAST_GATE_REST_DEG,
        "degrees before the crossing",
        "common practice, no source",
        "The detector's offset is wrong, or the mains is outside its band: measure both.",
        says="The gate ends {figure} degrees before the mains crosses zero; {limit} are needed.",
        low=True,
        time_s=worst.on_s if worst else None,
        digits=2,
    )


def polarity(run: SimulatedJob) -> Finding:
    """Every impulse starts on the polarity opposite to the last half-cycle that conducted.

    With a detector without polarity this is checked within a weld only; between welds the delayed start limits the flux.
    """
    wrong, when = 0, None
    knows = run.welder.detector.kind == "square"
    for before, current in zip(run.recording.conductions, run.recording.conductions[1:]):
        same_weld = any(w.asked_s <= before.start_s and current.start_s < w.ended_s for w in run.recording.welds)
        if before.positive == current.positive and (same_weld or knows):
            wrong, when = wrong + 1, when if when is not None else current.start_s
    return judged(
        "polarity",
        wrong,
        0,
        "half-cycles after one of their own polarity",
        "common practice, no source",
        "The core is magnetised the same way twice: use even impulses and gaps, and a detector with polarity.",
        says=f"{_counted(wrong, 'half-cycle')} of current followed one of the same polarity."
        if wrong
        else "No half-cycle of current followed one of the same polarity.",
        time_s=when,
    )


@dataclass(frozen=True)
class WeldCount:
    """The welds of a run."""

    asked: int
    made: int
    """Those that ran to their end."""
    refused: int
    """Those that the board did not accept, or had no time for."""


def weld_count(recording: Recording) -> WeldCount:
    """Count the welds of a run."""
    asked = len(recording.presses)
    return WeldCount(asked, sum(1 for w in recording.welds if w.ending == "completed"), asked - len(recording.welds))


def completed(run: SimulatedJob) -> Finding:
    """Every weld that began ran to its end. The simulated person holds the pedal long enough."""
    early = [w.asked_s for w in run.recording.welds if w.ending != "completed"]
    return judged(
        "completed",
        len(early),
        0,
        "welds ended early",
        "the run itself",
        "See the states in the report for the reason.",
        says=f"{_counted(len(early), 'weld')} ended early." if early else "Every weld that began ran to its end.",
        time_s=early[0] if early else None,
    )


def pace(run: SimulatedJob) -> Finding:
    """Presses that came while the board was not ready."""
    longest = run.table.half_cycles * 0.5 / run.table.frequency_Hz
    refused = weld_count(run.recording).refused
    return judged(
        "pace",
        refused,
        0,
        "welds not accepted",
        "the run itself",
        f"One weld with its off time takes {longest:.2f} s, and the duty guard may ask for more rest: weld more slowly.",
        says=f"{_counted(refused, 'press', 'presses')} of the pedal began no weld, because the board was not ready."
        if refused
        else "The board was ready at every press of the pedal.",
        otherwise="caution",
    )


def open_electrodes(run: SimulatedJob) -> Finding:
    """The greatest difference between the numbers of half-cycles of each polarity in a weld with open electrodes.

    It is 0 if none latch.
    """
    worst, when = 0, None
    for weld in run.open_electrodes.welds:
        sides = [
            1 if c.positive else -1
            for c in run.open_electrodes.conductions
            if weld.asked_s <= c.start_s < weld.ended_s and c.latched
        ]
        if abs(sum(sides)) > worst:
            worst, when = abs(sum(sides)), weld.asked_s
    return judged(
        "open-electrodes",
        worst,
        1,
        "half-cycles more of one polarity",
        "textbook: a short gate below the load angle gives half-wave conduction",
        "The switch feeds direct current to the core. Check latching current and the end of the gate.",
        says=f"With open electrodes {_counted(worst, 'half-cycle')} more flowed one way than the other; one is allowed."
        if worst
        else "With open electrodes equal currents flow both ways.",
        time_s=when,
    )
