"""The command that injects every fault: `faults`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gen.cli.options import USER_PATH, json_option, number, schedule_argument, seed_option, welder_option
from gen.cli.said import folded, say, say_data, say_long
from gen.cli.show import cut_off_json, cut_off_lines
from gen.commissioning import steps
from gen.errors import InputError
from gen.job import Job, read_job
from gen.machine.welder import WELDER_FILE
from gen.user_files import Wrong
from gen.wiring import broken_parts, chosen_for
from gen.writing import check_targets, write_whole

if TYPE_CHECKING:
    from sim.faults.part_runs import BrokenMachine, PartRow
    from sim.faults.runs import FaultRuns
    from sim.faults.senses import SenseOutcome
    from sim.verdict import Finding

_HARDWARE = (
    "No software stops a shorted switch, or a gate driver stuck on: the current flows until contactor or isolator breaks "
    "it. A semiconductor never isolates. A part that the welder file's [protection] does not name counts as not there."
)


@click.command("faults")
@schedule_argument
@welder_option
@seed_option
@click.option(
    "--replay",
    type=number(0, 100_000),
    metavar="RUN",
    help="Print the events of one run of the table, and write its waveforms.",
)
@click.option("--vcd", type=USER_PATH, help="With --replay: the file of the waveforms; otherwise fault-RUN.vcd.")
@click.option(
    "--parts",
    "by_part",
    is_flag=True,
    help="Break each part of interface board and power drawing instead: open, shorted, drifted, in each state of a weld.",
)
@json_option
def faults_command(
    schedule: Path, welder_path: Path | None, seed: int, by_part: bool, as_json: bool, **replays: Any
) -> int:
    """Inject every fault into a run of SCHEDULE on this machine, and say what protects against it: board or hardware.

    Exit code 1 if neither the board nor hardware that the welder file names protects against a fault, and if the file lacks
    a part that must end a faulty weld. `build`, `push` and `flash` refuse such a machine too.
    """
    replay, vcd = replays["replay"], replays["vcd"]
    if vcd is not None and replay is None:
        raise InputError("command line", "--vcd", None, "it belongs to --replay; allowed: both or neither")
    if by_part and replay is not None:
        raise InputError("command line", "--parts", None, "it has no runs for --replay; allowed: one of both")
    job = read_job(schedule, welder_path)
    if by_part:
        return _parts(job, welder_path or Path(WELDER_FILE), seed, as_json)
    if replay is not None:
        target = vcd or Path(f"fault-{replay}.vcd")
        check_targets({"--vcd": target}, keep=(schedule, welder_path or Path(WELDER_FILE)))
        return _replay(job, seed, replay, target)
    from sim.faults.runs import FaultTarget, inject_all
    from sim.faults.senses import inject_sense_faults
    from sim.verdict.cut_off import findings_of, fitted_of

    rows = inject_all(FaultTarget(job), seed)
    senses = inject_sense_faults(job, seed)
    ends = findings_of(fitted_of(job.welder, job.board))
    if as_json:
        say_data(json.dumps(faults_json(rows, ends, seed) | {"senses": senses_json(senses)}, indent=2))
    else:
        say_long("\n".join([faults_text(rows, ends), *senses_lines(senses)]))
    return 1 if _refused(rows, ends) else 0


def _refused(rows: list[FaultRuns], ends: Sequence[Finding]) -> bool:
    return not all(row.safe for row in rows) or any(finding.severity == "refuse" for finding in ends)


def _replay(job: Job, seed: int, run: int, target: Path) -> int:
    from sim.faults.runs import FaultTarget, numbered_case, run_case, set_size
    from sim.faults.text import recording_text
    from sim.vcd import vcd_text

    ground = FaultTarget(job)
    case = numbered_case(ground, run, seed) if run < set_size() else None
    if case is None:
        raise InputError(
            "command line", "--replay", run, "no such run; allowed: a run of the table that `weldbeat faults` prints"
        )
    outcome = run_case(ground, case)
    write_whole(target, vcd_text(outcome.recording))
    say(f"Run {run}, seed {seed}: {' and '.join(case.faults)}, in {outcome.state}")
    say(recording_text(outcome))
    say(f"Written: {target}")
    return 0 if outcome.safe else 1


def faults_text(rows: list[FaultRuns], ends: Sequence[Finding]) -> str:
    """The table, a line a fault with its gravest run, and the refusals. `ends`: findings on parts that end a faulty weld."""
    from sim.faults.text import finding_of, over_run_figure, verdict_word
    from sim.verdict.finding import cut_off_named

    runs = sum(len(row.outcomes) for row in rows)
    lines = [
        f"{len(rows)} faults, {runs} runs. Over-run: the greatest number of unwanted half-cycles.",
        "Run: the gravest run, for --replay.",
        "",
        f"{'fault':<24}{'over-run':>8}  {'safe':<8}{'run':>4}  board's reaction; protection",
    ]
    for row in rows:
        run, worst = row.worst
        carried = row.ended_by if row.safe else "nothing in the welder file"
        start = f"{row.fault.name:<24}{over_run_figure(row):>8}  {verdict_word(row):<8}{run:>4}  "
        lines.append(folded(f"{worst.did}; {carried}", start, " " * len(start)))
    found = [finding_of(row) for row in rows]
    for severity, word in (("refuse", "Refused"), ("caution", "Caution")):
        for f in found:
            if f.severity == severity:
                lines += ["", folded(f"{word}, {f.name}: {f.advice}", "", "  ")]
    there = cut_off_named(ends)
    lines += cut_off_lines([finding for finding in ends if finding.severity != "passed"], there)
    return "\n".join([*lines, "", folded(_HARDWARE)])


def senses_lines(senses: Sequence[SenseOutcome]) -> list[str]:
    """The faults of the senses that are fitted, and what the board did; nothing where there is none."""
    if not senses:
        return []
    lines = ["", "Faults of the senses, a weld each:"]
    for outcome in senses:
        longer = " THE WELD WAS LONGER." if outcome.longer else ""
        lines.append(folded(f"{outcome.did}{longer}", f"{outcome.fault.name}: ", "  "))
    return lines


def senses_json(senses: Sequence[SenseOutcome]) -> list[dict[str, object]]:
    """The faults of the senses as data."""
    return [
        {
            "name": outcome.fault.name,
            "what": outcome.fault.words,
            "reason": outcome.reason,
            "found_by": outcome.fault.found_by,
            "longer": outcome.longer,
        }
        for outcome in senses
    ]


def faults_json(rows: list[FaultRuns], ends: Sequence[Finding], seed: int) -> dict[str, Any]:
    """The faults as data, with every run."""
    from sim.faults.text import finding_of

    return {
        "seed": seed,
        "refused": _refused(rows, ends),
        "cut_off": cut_off_json(ends),
        "faults": [
            {
                "name": row.fault.name,
                "what": row.fault.words,
                "severity": finding_of(row).severity,
                "safe": row.safe,
                "over_run_half_cycles": row.worst[1].unwanted,
                "ends": not row.worst[1].lasts,
                "carried_by": row.ended_by,
                "advice": finding_of(row).advice,
                "runs": [
                    {
                        "run": run,
                        "struck_at_s": outcome.case.at_s,
                        "struck_in": outcome.state,
                        "did": outcome.did,
                        "over_run_half_cycles": outcome.unwanted,
                        "carried_by": outcome.ended_by,
                        "violations": [f"{v.invariant}: {v.what}" for v in outcome.violations],
                    }
                    for run, outcome in row.outcomes
                ],
            }
            for row in rows
        ],
    }


_PACE = 4.0  # welds a minute that the parts are chosen for; no part's place depends on it


def _parts(job: Job, path: Path, seed: int, as_json: bool) -> int:
    from sim import parts
    from sim.faults.part_runs import break_machine

    choice, _ = chosen_for(job.welder, job.board, _PACE, path, parts)
    try:
        found = broken_parts(job.welder, job.board, choice)
    except Wrong as wrong:
        raise InputError(path, wrong.key, wrong.given, str(wrong)) from None
    keys = [step.key for step in steps(job.welder, job.board) if not step.lacking]
    broken = break_machine(job, found, keys, seed)
    if as_json:
        say_data(json.dumps(parts_json(broken, seed), indent=2))
    else:
        say_long("\n".join(parts_lines(broken)))
    return 0 if broken.safe else 1


_HEADINGS = {
    "person": "These need a person",
    "nobody": "There is no sign, and no commissioning step finds it",
    "step": "Only a commissioning step finds it",
    "work": "No weld is made, which the person sees at the work",
    "hardware": "Hardware ends it, and the board does not lock out",
    "board": "The board locks out",
}


def parts_lines(broken: BrokenMachine) -> list[str]:
    """Every consequence with its parts, grouped by who notices it, the worst first."""
    bounds = broken.bounds
    lines = [
        f"{broken.part_count} parts, {len(broken.parts)} ways of breaking, {broken.case_count} cases with the states of a weld, "
        f"{broken.run_count} simulations: one for each consequence and state. A lockout is counted in half-cycles from the "
        "fault's beginning, the wait for the next pedal included.",
        "",
        f"Bound on unwanted current with the pedal released, in half-cycles in a row: {bounds.hardware} where hardware ends "
        f"it, {bounds.person} where a person does at stop and isolator, {bounds.table} where a broken pedal circuit starts "
        "one weld.",
        f"Worst over-run of this machine: {broken.worst_text}.",
    ]
    lines = [line for text in lines for line in folded(text).split("\n")]
    for notices, heading in _HEADINGS.items():
        rows = [row for row in broken.rows if row.notices == notices]
        if rows:
            lines += ["", heading]
        for row in rows:
            lines += _row_lines(row)
    return [*lines, "", *folded(_HARDWARE).split("\n")]


def _row_lines(row: PartRow) -> list[str]:
    outside = "" if row.within else " BEYOND THE BOUND."
    words = row.consequence.words
    said = [f"{words[:1].upper()}{words[1:]}. {row.result_text}{outside}", f"Parts: {row.parts_text}"]
    if row.steps:
        said.append(f"Commissioning steps that find it: {', '.join(row.steps)}")
    lines = [folded(said[0], "  ", "    "), *(folded(line, "    ", "      ") for line in said[1:])]
    return [line for text in lines for line in text.split("\n")]


def parts_json(broken: BrokenMachine, seed: int) -> dict[str, Any]:
    """The broken parts as data, with every run."""
    return {
        "seed": seed,
        "refused": not broken.safe,
        "parts": broken.part_count,
        "ways": len(broken.parts),
        "cases": broken.case_count,
        "bounds_half_cycles": asdict(broken.bounds),
        "consequences": [
            {
                "name": row.key,
                "what": row.consequence.words,
                "notices": row.notices,
                "over_run_half_cycles": row.over_run,
                "released_half_cycles": row.released,
                "ends": not row.lasts,
                "bound_half_cycles": row.bound,
                "within_bound": row.within,
                "reason": row.consequence.unseen,
                "steps": list(row.steps),
                "parts": [
                    {"name": part.name, "title": part.title, "where": part.where, "mode": part.mode}
                    for part in row.parts
                ],
                "runs": [
                    {
                        "struck_in": outcome.state,
                        "did": outcome.did,
                        "over_run_half_cycles": outcome.over_run,
                        "carried_by": outcome.ended_by,
                        "by_hand": outcome.by_hand,
                        "noticed_after_half_cycles": outcome.noticed_after,
                    }
                    for outcome in row.outcomes
                ],
            }
            for row in broken.rows
        ],
    }
