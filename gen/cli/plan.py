"""The commands `boards` and `table`."""

from __future__ import annotations

import csv
import io
import json
import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from gen.boards import Board, boards
from gen.cli.options import json_option, schedule_argument, welder_option
from gen.cli.said import say, say_data
from gen.cli.show import table_text
from gen.current import delivered
from gen.errors import InputError
from gen.job import Job, read_job
from gen.ranges import Figure
from gen.table import TimingRow, TimingTable
from gen.units import milliseconds
from gen.user_files import written


def _board_name(text: str) -> str:
    """The type of a board's name on the command line."""
    if text not in boards():
        raise click.BadParameter(f"{written(text)} given; allowed: {', '.join(boards())}")
    return text


@click.command("boards")
@click.argument("name", required=False, type=_board_name)
@json_option
def boards_command(name: str | None, as_json: bool) -> None:
    """The timer boards and what each can do; with NAME one board's pins, what they do at start-up, and its faults."""
    if as_json:
        data: Any = board_json(boards()[name]) if name else [board_json(board) for board in boards().values()]
        say_data(json.dumps(data, indent=2))
        return
    for line in (
        board_lines(boards()[name]) if name else [line for board in boards().values() for line in summary(board)]
    ):
        say(line)


def summary(board: Board) -> list[str]:
    """A board in a few lines: what it can do."""
    c, most = board.capabilities, board.limits
    title = f"{board.name}: {board.title} ({board.chip})"
    lines = [f"{title}, MicroPython {board.micropython_min} or newer, {board.micropython_file}"]
    if not board.welds:
        return [*lines, *_wrapped("welds: no; ", board.why_not)]
    lines.append(f"  welds: yes; percent current: {'yes' if c.random_phase_firing else 'no'}")
    lines.append(
        f"  gate within {most.timing_error_us:g} us of ideal, {most.least_blank_us} us or more after the detector's edge"
    )
    lines.append(f"  longest schedule: {most.rows} rows, {most.half_cycles} half-cycles from first to last fired")
    return lines + _wrapped("pins (GPIO): ", ", ".join(f"{role} {pin.gpio}" for role, pin in board.pins.items()))


def board_lines(board: Board) -> list[str]:
    """One board in full, for the builder."""
    o = board.over_run
    lines = summary(board)
    lines += _wrapped("half-cycles counted without the program: ", o.count_bounded_by or "no")
    itself = "yes" if o.gate_ends_itself else "no; welder.toml names the hardware that does (protection.gate_drive)"
    lines += _wrapped("ends the gate by itself within 12 ms: ", itself)
    lines += _wrapped("without it: ", o.worst)
    lines.append(
        f"Pins, {board.logic_V:g} V logic; others that can take the role in brackets; from power-up until the program sets it:"
    )
    for role, pin in board.pins.items():
        others = f" [{', '.join(str(gpio) for gpio in pin.alternatives)}]" if pin.alternatives else ""
        lines.append(f"  {role:<17}{pin.label + others:<28}{pin.at_boot}")
    if board.at_boot.moves:
        moving = ", ".join(f"{board.gpio_prefix}{gpio}" for gpio in board.at_boot.moves)
        lines += _wrapped("move or are taken at start-up, and never switch a gate or contactor: ", moving)
    for erratum in board.errata:
        lines += _wrapped(f"{erratum.name}: ", f"{erratum.what}; {erratum.remedy}")
        if erratum.roles:
            lines.append(f"    (here: {', '.join(board.pins[role].label + ' ' + role for role in erratum.roles)})")
    lines += _wrapped(
        "MicroPython: ",
        f"{board.micropython_file} {board.file_kind} from micropython.org/download; {board.put_micropython}",
    )
    return lines


def _wrapped(what: str, text: str) -> list[str]:
    """`text` after its name, broken into lines."""
    return textwrap.wrap(what + text, 78, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)


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
def table_command(schedule: Path, welder_path: Path | None, as_csv: bool, as_json: bool) -> None:
    """SCHEDULE as its timing table: phase, half-cycles, time, firing delay, and what was rounded."""
    if as_csv and as_json:
        raise InputError("command line", "--csv and --json", None, "allowed: one of them")
    job = read_job(schedule, welder_path)
    if as_json:
        say_data(json.dumps(table_json(job), indent=2))
    elif as_csv:
        say_data(table_csv(job.table), nl=False)
    else:
        say(table_text(job))


def table_json(job: Job) -> dict[str, Any]:
    """The table for another program."""
    table, tap = job.table, job.welder.machine.in_use
    return {
        "schedule": table.name,
        "board": job.board.name,
        "frequency_Hz": table.frequency_Hz,
        "delivers_in": "secondary" if tap.working_secondary else "primary",
        "digest": table.digest,
        "rows": [
            {
                "phase": row.phase,
                "half_cycles": row.half_cycles,
                "firing_delay_us": row.firing_delay_us,
                "current_percent": row.current_percent if row.firing_delay_us is not None else None,
                "delivers_A": _ends(tap.working, row) if row.firing_delay_us is not None else None,
            }
            for row in table.rows
        ],
        "half_cycles": table.half_cycles,
        "fired_half_cycles": table.fired_half_cycles,
        "slope_step": table.slope_step,
        "notes": list(table.notes),
    }


def _ends(working: Figure, row: TimingRow) -> list[float]:
    """Least and most amperes that a row delivers."""
    current = delivered(working, row.share)
    return [round(current.low, 2), round(current.high, 2)]


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
