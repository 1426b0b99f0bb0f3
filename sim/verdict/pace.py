"""Checks of the pace asked: welds made against welds asked for."""

from __future__ import annotations

from dataclasses import dataclass

from sim.bench.recording import Recording
from sim.verdict.evidence import SimulatedJob
from sim.verdict.finding import Finding, judged


@dataclass(frozen=True)
class WeldCount:
    """Welds asked for at this pace, those that ran to their end, and those that the board did not accept or had no time for."""

    asked: int
    made: int
    refused: int


def weld_count(recording: Recording) -> WeldCount:
    """Count the welds of a run."""
    asked = len(recording.presses)
    return WeldCount(asked, sum(1 for w in recording.welds if w.ending == "completed"), asked - len(recording.welds))


def completed(run: SimulatedJob) -> Finding:
    """Every weld that began ran to its end; the simulated person held the pedal long enough."""
    early = [w.asked_s for w in run.recording.welds if w.ending != "completed"]
    return judged(
        "completed",
        len(early),
        0,
        "welds ended early",
        "the run itself",
        "See the states in the report for the reason.",
        time_s=early[0] if early else None,
    )


def pace(run: SimulatedJob) -> Finding:
    """Presses that came while the board was not ready."""
    longest = run.table.half_cycles * 0.5 / run.table.frequency_Hz
    return judged(
        "pace",
        weld_count(run.recording).refused,
        0,
        "welds not accepted",
        "the run itself",
        f"One weld with its off time takes {longest:.2f} s, and the duty guard may ask for more rest: weld more slowly.",
        otherwise="caution",
    )
