"""The verdict: one function a check, from a recording, a table and a welder to findings."""

from __future__ import annotations

from gen.boards import Board
from gen.machine.welder import Welder
from gen.table import TimingTable
from sim.bench.recording import Recording
from sim.core.weld_current import Stress, stress_of
from sim.verdict.electrics import electric_findings
from sim.verdict.finding import Finding, Severity, Verdict, judged
from sim.verdict.fired import firing, gate_end, gate_window, half_cycles, polarity
from sim.verdict.flux import flux_balance
from sim.verdict.heat import heat_findings, hot_parts, not_judged
from sim.verdict.open_electrodes import open_electrodes
from sim.verdict.pace import completed, pace
from sim.verdict.planned import cool_time, disconnection, duty, gate_drive, latching, low_current, table_size

__all__ = ["Finding", "Severity", "Verdict", "judge", "judge_without_run", "judged"]

_GRAVEST_FIRST = ("refuse", "caution", "note")


def judge(
    recording: Recording,
    with_open_electrodes: Recording,
    table: TimingTable,
    welder: Welder,
    board: Board,
    welds_per_minute: float,
) -> Verdict:
    """Every check on a run at the pace asked, and on one with nothing between the electrodes."""
    findings = [
        check(recording, table, welder)
        for check in (half_cycles, firing, gate_window, gate_end, polarity, flux_balance)
    ]
    findings += [
        completed(recording),
        pace(recording, table),
        open_electrodes(with_open_electrodes, table, welder),
        *judge_without_run(stress_of(table, welder), table, welder, board, welds_per_minute),
    ]
    if left_out := not_judged(welder):
        findings.append(left_out)
    return Verdict(tuple(sorted(findings, key=lambda f: _GRAVEST_FIRST.index(f.severity))))


def judge_without_run(
    stress: Stress, table: TimingTable, welder: Welder, board: Board, welds_per_minute: float, *, advise: bool = True
) -> list[Finding]:
    """The checks that need no simulated run: those of the plan, of electrics and of heat (`advise` as there)."""
    return [
        duty(table, welder, welds_per_minute),
        cool_time(table, welder),
        latching(table, welder),
        low_current(table),
        table_size(table, board),
        gate_drive(welder, board),
        disconnection(welder),
        *electric_findings(stress, welder, welds_per_minute),
        *heat_findings(hot_parts(stress, welder, welds_per_minute), table, welds_per_minute, advise=advise),
    ]
