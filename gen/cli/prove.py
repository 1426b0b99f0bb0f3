"""The commands that run the firmware on the simulated welder: `simulate` and `build`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gen.cautions import caution_lines
from gen.cli.options import (
    USER_PATH,
    json_option,
    number,
    pace_asked,
    pace_option,
    schedule_argument,
    seed_option,
    welder_option,
)
from gen.cli.said import say, say_data, say_long
from gen.cli.show import cut_off_json, cut_off_lines, finding_lines, heat_json, heat_text, verdict_text
from gen.job import read_job
from gen.machine.welder import WELDER_FILE
from gen.writing import check_bundle_folder, check_targets, write_bundle, write_whole

if TYPE_CHECKING:
    from sim.run import Run


@click.command("simulate")
@schedule_argument
@welder_option
@click.option(
    "--minutes",
    type=number(0.05, 60.0),
    metavar="NUMBER",
    default=1,
    show_default=True,
    help="How long to simulate, 0.05 to 60.",
)
@pace_option
@seed_option
@click.option(
    "--burst",
    type=number(1, 10_000),
    metavar="NUMBER",
    help="Print the rest needed after this many welds without a pause.",
)
@click.option("--report", type=USER_PATH, help="Write a report, one HTML file.")
@click.option("--vcd", type=USER_PATH, help="Write the waveforms as VCD.")
@click.option("--csv", "csv_path", type=USER_PATH, help="Write every conduction as CSV.")
@click.option("--all", "everything", is_flag=True, help="Print every check, and the temperatures.")
@json_option
def simulate_command(
    schedule: Path,
    welder_path: Path | None,
    minutes: float,
    welds_per_minute: float,
    seed: int,
    burst: int | None,
    report: Path | None,
    vcd: Path | None,
    csv_path: Path | None,
    everything: bool,
    as_json: bool,
) -> int:
    """Run the firmware for SCHEDULE on a simulated welder and judge the run. Exit code 1 if it is refused."""
    job = read_job(schedule, welder_path)
    check_targets(
        {"--report": report, "--vcd": vcd, "--csv": csv_path}, keep=(schedule, welder_path or Path(WELDER_FILE))
    )
    from sim.run import run as run_job
    from sim.verdict.heat import temperatures

    run = run_job(job, pace_asked(welds_per_minute), seed, minutes)
    with_parts = everything or as_json or burst is not None  # otherwise no temperature is printed
    hot = temperatures(run, run.weld_count.made, burst) if with_parts else ()
    write_results(run, None if report is None else (report, reported(run)), vcd, csv_path)
    if as_json:
        say_data(json.dumps(run_json(run) | heat_json(run.fastest, hot, burst), indent=2))
    else:
        say_long(f"{verdict_text(run, everything)}\n{heat_text(run, hot, burst, everything)}")
        for path in (report, vcd, csv_path):
            if path is not None:
                say(f"Written: {path}")
    return 1 if run.verdict.refused else 0


@click.command("build")
@schedule_argument
@click.option("-o", "--output", "folder", type=USER_PATH, required=True, help="Folder for the firmware.")
@welder_option
@pace_option
@json_option
def build_command(
    schedule: Path, folder: Path, welder_path: Path | None, welds_per_minute: float, as_json: bool
) -> int:
    """Write the firmware for SCHEDULE into a folder. If the verdict refuses, nothing is written (exit code 1)."""
    job = read_job(schedule, welder_path)
    check_bundle_folder(folder, job.bundle)
    from sim.run import run as run_job
    from sim.verdict.finding import summarised

    run = run_job(job, pace_asked(welds_per_minute), seed=0)
    if not run.verdict.refused:
        write_bundle(folder, job.bundle)
    if as_json:
        say_data(json.dumps(run_json(run), indent=2))
    elif run.verdict.refused:
        say(verdict_text(run))
        say("Nothing was written.")
    else:
        say(f"Verdict: {run.verdict.word}. {len(job.bundle.files)} files in {folder}, digest {job.bundle.digest}.")
        found = summarised(run.verdict, run.welds_per_minute)
        for finding in found.cautions:
            say("\n".join(finding_lines(finding)))
        say("\n".join(cut_off_lines(found.cut_off, found.named)))
        say("")
        say("Before it goes on the board:")
        for line in caution_lines():
            say(f"  {line}")
        say(f"Then, with the welder isolated: weldbeat flash {folder}")
    return 1 if run.verdict.refused else 0


def reported(run: Run) -> str:
    """The report of a run, with the effect of each fault on the same job."""
    from sim.faults.runs import SHORT_MOMENTS, FaultTarget, inject_all
    from sim.report import render_report

    return render_report(run, tuple(inject_all(FaultTarget(run.job), run.recording.seed, len(SHORT_MOMENTS))))


def write_results(run: Run, report: tuple[Path, str] | None, vcd: Path | None, csv_path: Path | None) -> None:
    """Write the files asked for; all texts are made before the first is written. `report`: its path and text."""
    made: list[tuple[Path, str]] = [] if report is None else [report]
    if vcd is not None:
        from sim.vcd import vcd_text

        made.append((vcd, vcd_text(run.recording)))
    if csv_path is not None:
        made.append((csv_path, run.recording.weld_csv()))
    for path, text in made:
        write_whole(path, text)


def run_json(run: Run) -> dict[str, Any]:
    """The verdict for another program."""
    count = run.weld_count
    welds = run.recording.welds
    return {
        "verdict": run.verdict.word,
        "refused": run.verdict.refused,
        "cut_off": cut_off_json(run.verdict.findings),
        "findings": [
            {
                "name": f.name,
                "subject": f.subject,
                "says": f.says,
                "severity": f.severity,
                "figure": f.figure,
                "limit": 0 if f.limit is None else f.limit,
                "unit": f.unit_text,
                "source": f.source,
                "advice": f.advice,
                "time_s": f.time_s,
            }
            for f in run.verdict.findings
        ],
        "half_cycles": {
            "planned": sum(w.planned for w in welds),
            "fired": sum(w.gates for w in welds),
            "conducted": sum(w.conducted for w in welds),
        },
        "welds": {"asked": count.asked, "made": count.made, "refused": count.refused},
        "welds_per_minute": run.welds_per_minute,
        "table_digest": run.job.table.digest,
        "bundle_digest": run.job.bundle.digest,
        "assumed": run.job.welder.assumed(),
    }
