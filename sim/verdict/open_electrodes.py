"""The pedal pressed with nothing between the electrodes: the transformer alone must still see whole cycles."""

from __future__ import annotations

from sim.verdict.evidence import SimulatedJob
from sim.verdict.finding import Finding, judged


def open_electrodes(run: SimulatedJob) -> Finding:
    """Difference between half-cycles of either polarity in one weld of a run with open electrodes; 0 also when none latch."""
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
        "The switch rectifies into the core. Check latching current and the end of the gate.",
        time_s=when,
    )
