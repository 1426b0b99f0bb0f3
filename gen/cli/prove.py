"""Commands that run the firmware on the simulated welder: `simulate` and `build`."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import click

from gen.cautions import caution_lines
from gen.cli.given import number
from gen.cli.heat import fastest_of, heat_json, heat_text, pace_of, temperatures_of
from gen.cli.job import Run, read_job, run_job
from gen.cli.plan import json_option, schedule_argument, welder_option
from gen.cli.show import finding_line, verdict_text
from gen.machine.welder import WELDER_FILE
from gen.writing import check_bundle_folder, check_targets, write_bundle, write_whole

FASTEST = math.inf  # stands for the word `max` until the schedule is known

pace_option = click.option(
    "--welds-per-minute",
    "--pace",
    "welds_per_minute",
    type=number(0.1, 120.0, {"max": FASTEST}),
    metavar="NUMBER",
    default=4,
    show_default=True,
    help="Pace at which the pedal is pressed, 0.1 to 120; max: the fastest that may go on for ever.",
)
seed_option = click.option(
    "--seed",
    type=number(0, 1_000_000),
    metavar="NUMBER",
    default=0,
    show_default=True,
    help="A whole number; another one draws other jitter, bounce and tolerances of parts.",
)


@click.command("simulate")
@schedule_argument
@welder_option
@click.option(
    "--minutes",
    type=number(0.05, 60.0),
    metavar="NUMBER",
    default=1,
    show_default=True,
    help="How long to go on welding, 0.05 to 60.",
)
@pace_option
@seed_option
@click.option(
    "--burst",
    type=number(1, 10_000),
    metavar="NUMBER",
    help="Say the rest needed after this many welds, one straight after another.",
)
@click.option("--report", type=click.Path(path_type=Path), help="Write a report, one HTML file.")
@click.option("--vcd", type=click.Path(path_type=Path), help="Write the waveforms as VCD.")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path), help="Write every conduction as CSV.")
@json_option
def simulate_command(
    schedule: Path,
    welder: Path | None,
    minutes: float,
    welds_per_minute: float,
    seed: int,
    burst: int | None,
    report: Path | None,
    vcd: Path | None,
    csv_path: Path | None,
    as_json: bool,
) -> int:
    """Run the firmware for SCHEDULE on a simulated welder and judge what it did. Exit code 1 when it is refused."""
    job = read_job(schedule, welder)
    check_targets({"--report": report, "--vcd": vcd, "--csv": csv_path}, keep=(schedule, welder or Path(WELDER_FILE)))
    fastest = fastest_of(job)
    run = run_job(job, minutes, pace_of(fastest, welds_per_minute), seed)
    hot = temperatures_of(run, burst)
    write_results(run, report, vcd, csv_path)
    if as_json:
        click.echo(json.dumps(run_json(run) | heat_json(fastest, hot, burst), indent=2))
    else:
        click.echo(verdict_text(run))
        click.echo(heat_text(run, fastest, hot, burst))
        for path in (report, vcd, csv_path):
            if path is not None:
                click.echo(f"Written: {path}")
    return 1 if run.verdict.refused else 0


@click.command("build")
@schedule_argument
@click.option(
    "-o", "--output", "folder", type=click.Path(path_type=Path), required=True, help="Folder for the firmware."
)
@welder_option
@pace_option
@json_option
def build_command(schedule: Path, folder: Path, welder: Path | None, welds_per_minute: float, as_json: bool) -> int:
    """Write the firmware for SCHEDULE into a folder. Nothing is written when the verdict refuses (exit code 1)."""
    job = read_job(schedule, welder)
    check_bundle_folder(folder, job.firmware)
    pace = pace_of(fastest_of(job), welds_per_minute) if welds_per_minute == FASTEST else welds_per_minute
    run = run_job(job, 1, pace, seed=0)
    if not run.verdict.refused:
        write_bundle(folder, run.bundle)
    if as_json:
        click.echo(json.dumps(run_json(run), indent=2))
    elif run.verdict.refused:
        click.echo(verdict_text(run))
        click.echo("Nothing was written.")
    else:
        click.echo(
            f"Verdict: {run.verdict.word}. {len(run.bundle.files)} files in {folder}, digest {run.bundle.digest}."
        )
        for finding in run.verdict.findings:
            if finding.severity != "note":
                click.echo(finding_line(finding))
        click.echo("Before it goes on the board:")
        for line in caution_lines():
            click.echo(f"  {line}")
        click.echo(f"Then, with the welder isolated: weldbeat flash {folder}")
    return 1 if run.verdict.refused else 0


def write_results(run: Run, report: Path | None, vcd: Path | None, csv_path: Path | None) -> None:
    """Write the files that were asked for, all made before the first is written."""
    made: list[tuple[Path, str]] = []
    if report is not None:
        from sim.faults.runs import SHORT_MOMENTS, Ground, strike_set
        from sim.report import ReportData, render_report

        job = run.job
        ground = Ground(job.welder, job.table, run.bundle)
        data = ReportData(
            title=job.schedule.title or job.schedule.name,
            table=job.table,
            welder=job.welder,
            board=job.board,
            bundle=run.bundle,
            recording=run.recording,
            verdict=run.verdict,
            welds_per_minute=run.welds_per_minute,
            faults=tuple(strike_set(ground, run.recording.seed, len(SHORT_MOMENTS))),
        )
        made.append((report, render_report(data)))
    if vcd is not None:
        from sim.vcd import vcd_text

        made.append((vcd, vcd_text(run.recording)))
    if csv_path is not None:
        made.append((csv_path, run.recording.weld_csv()))
    for path, text in made:
        write_whole(path, text)


def run_json(run: Run) -> dict[str, Any]:
    """The verdict for another program."""
    from sim.verdict.pace import weld_count

    count = weld_count(run.recording)
    welds = run.recording.welds
    return {
        "verdict": run.verdict.word,
        "refused": run.verdict.refused,
        "findings": [
            {
                "name": f.name,
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
        "bundle_digest": run.bundle.digest,
        "assumed": run.job.welder.assumed(),
    }
