"""Commands that look at plans: `boards` and `table`."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.boards import Board, boards
from gen.cli.job import Job, read_job
from gen.cli.show import table_text
from gen.errors import InputError
from gen.table import TimingTable
from gen.units import milliseconds

schedule_argument = click.argument("schedule", type=click.Path(path_type=Path))
welder_option = click.option(
    "--welder", type=click.Path(path_type=Path), help="The welder file. Otherwise welder.toml in the current folder."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON, for another program to read.")


@click.command("boards")
@json_option
def boards_command(as_json: bool) -> None:
    """The timer boards and what each can do."""
    if as_json:
        click.echo(json.dumps([board_json(board) for board in boards().values()], indent=2))
        return
    for board in boards().values():
        c = board.capabilities
        title = f"{board.name}: {board.title} ({board.chip})"
        click.echo(f"{title}, MicroPython {board.micropython_min} or newer, {board.micropython_file}")
        click.echo(f"  welds: {'yes' if board.welds else 'no, bench and lamp only'}")
        percent = "yes" if c.random_phase_firing else "no"
        click.echo(f"  percent current: {percent}; gate within {board.limits.timing_error_us:g} us of ideal")
        click.echo(f"  half-cycles counted in hardware: {'yes' if c.hardware_bounded_count else 'no'}")
        most = board.limits
        click.echo(f"  longest schedule: {most.rows} rows, {most.half_cycles} half-cycles from first to last fired")
        click.echo(f"  pins (GPIO): {', '.join(f'{role} {pin.gpio}' for role, pin in board.pins.items())}")


def board_json(board: Board) -> dict[str, Any]:
    """A board for another program."""
    return board.model_dump(exclude={"header", "roles"}) | {
        "pins": {role: asdict(pin) for role, pin in board.pins.items()}
    }


@click.command("table")
@schedule_argument
@welder_option
@click.option("--csv", "as_csv", is_flag=True, help="Print CSV.")
@json_option
def table_command(schedule: Path, welder: Path | None, as_csv: bool, as_json: bool) -> None:
    """SCHEDULE as its timing table: phase, half-cycles, time, firing delay, and what was rounded."""
    if as_csv and as_json:
        raise InputError("command line", "--csv and --json", None, "allowed: one of them")
    job = read_job(schedule, welder)
    if as_json:
        click.echo(json.dumps(table_json(job), indent=2))
    elif as_csv:
        click.echo(table_csv(job.table), nl=False)
    else:
        click.echo(table_text(job))


def table_json(job: Job) -> dict[str, Any]:
    """The table for another program."""
    table = job.table
    return {
        "schedule": table.name,
        "board": job.board.name,
        "frequency_Hz": table.frequency_Hz,
        "digest": table.digest,
        "rows": [
            {
                "phase": row.phase,
                "half_cycles": row.half_cycles,
                "firing_delay_us": row.firing_delay_us,
                "current_percent": row.current_percent if row.firing_delay_us is not None else None,
            }
            for row in table.rows
        ],
        "half_cycles": table.half_cycles,
        "fired_half_cycles": table.fired_half_cycles,
        "slope_step": table.slope_step,
        "notes": list(table.notes),
    }


def table_csv(table: TimingTable) -> str:
    """The table as CSV, with running totals."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["phase", "half_cycles", "ms", "firing_delay_us", "current_percent", "total_half_cycles", "total_ms"]
    )
    total = 0
    for row in table.rows:
        total += row.half_cycles
        fired = row.firing_delay_us is not None
        ms, total_ms = (f"{milliseconds(n, table.frequency_Hz):.3f}" for n in (row.half_cycles, total))
        delay, current = (row.firing_delay_us, f"{row.current_percent:g}") if fired else ("", "")
        writer.writerow([row.phase, row.half_cycles, ms, delay, current, total, total_ms])
    return out.getvalue()
