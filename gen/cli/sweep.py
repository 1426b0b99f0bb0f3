"""The command that judges many machines drawn from the ranges of the welder file: `sweep`."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gen.cli.options import json_option, number, pace_asked, pace_option, schedule_argument, seed_option, welder_option
from gen.cli.said import said, say_data
from gen.errors import InputError
from gen.job import read_job
from gen.machine.welder import WELDER_FILE
from gen.ranges import shown

if TYPE_CHECKING:
    from sim.sweep import Sweep

_LEANS_SHOWN = 3
_READ_AGAIN = (
    "hardly any machine has these readings together; read working and shorted current and the load angle again, "
    "allowed: readings of one machine"
)


@click.command("sweep")
@schedule_argument
@welder_option
@click.option(
    "--machines",
    type=number(1, 100_000),
    metavar="NUMBER",
    default=1000,
    show_default=True,
    help="How many machines to draw, 1 to 100000.",
)
@pace_option
@seed_option
@click.option(
    "--workers",
    type=number(1, 64),
    metavar="NUMBER",
    help="Processors to use; otherwise all of them. The result is the same.",
)
@json_option
def sweep_command(
    schedule: Path,
    welder_path: Path | None,
    machines: int,
    welds_per_minute: float,
    seed: int,
    workers: int | None,
    as_json: bool,
) -> int:
    """Judge SCHEDULE on many machines, drawn from the ranges of the welder file's uncertain figures.

    All checks are made that need no run of the firmware. Exit code 1 if any machine is refused.
    """
    from sim.run import paced
    from sim.sweep import NoMachine, SweepPlan, sweep

    job = read_job(schedule, welder_path)
    pace = paced(job, pace_asked(welds_per_minute)).welds_per_minute
    plan = SweepPlan(job, pace, seed)
    try:
        with _progress(machines) as made:
            found = sweep(plan, machines, workers or os.cpu_count() or 1, made)
    except NoMachine:
        raise InputError(welder_path or Path(WELDER_FILE), "transformer", None, _READ_AGAIN) from None
    say_data(json.dumps(sweep_json(found, pace), indent=2) if as_json else sweep_text(found, pace))
    return 1 if found.refused else 0


@contextmanager
def _progress(machines: int) -> Iterator[Callable[[int], None]]:
    """A progress bar on standard error, if that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=machines, label="Machines", file=sys.stderr) as bar:
        yield bar.update


def sweep_text(found: Sweep, pace: float) -> str:
    """Shares, figures and correlations as text, gravest finding first."""
    lines = [
        f"{found.machines} machines at {pace:g} welds a minute: {found.refused:.1%} refused, "
        f"{found.cautioned:.1%} with cautions",
        f"  {'finding':<17}{'refused':>9}{'cautioned':>11}{'5 %':>10}{'50 %':>10}{'95 %':>10}{'limit':>10}",
    ]
    for s in found.spreads:
        figures = "".join(f"{shown(x):>10}" for x in (*s.figures, s.limit))
        lines.append(f"  {s.name:<17}{s.refused:>9.1%}{s.cautioned:>11.1%}{figures}")
        if s.leans:
            lines.append(said(f"depends on {_leaning(s.leans)}", " " * 6))
    lines.append(f"The verdict depends most on: {_leaning(found.leans) or 'nothing uncertain'}.")
    lines.append("In brackets: Spearman's rank correlation with the nearness to the limit.")
    return "\n".join(lines)


def _leaning(leans: tuple[tuple[str, float], ...]) -> str:
    return ", ".join(f"{name} ({rank:+.2f})" for name, rank in leans[:_LEANS_SHOWN])


def sweep_json(found: Sweep, pace: float) -> dict[str, Any]:
    """The sweep as data."""
    return {
        "machines": found.machines,
        "seed": found.seed,
        "welds_per_minute": pace,
        "refused": found.refused,
        "cautioned": found.cautioned,
        "leans": dict(found.leans),
        "findings": [
            {
                "name": s.name,
                "unit": s.unit,
                "limit": s.limit,
                "refused": s.refused,
                "cautioned": s.cautioned,
                "figure_5_50_95_percent": list(s.figures),
                "leans": dict(s.leans),
            }
            for s in found.spreads
        ],
        "inputs": [asdict(r) for r in found.ranges],
    }
