"""The command that says which parts suit: `choose`."""

from __future__ import annotations

import json
import math
import textwrap
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import click

from gen.boards import Board
from gen.cautions import caution_lines
from gen.cli.given import number
from gen.cli.plan import json_option, welder_option
from gen.job import board_of, find_welder
from gen.machine.welder import WELDER_FILE, Welder
from gen.schedule import Schedule
from gen.timing import compile_schedule
from gen.wiring.choice import Choice, Chosen, Load
from gen.wiring.choosing import choose
from gen.wiring.power_parts import inrush_figure

_WIDTH = 120
_WORKING = 38  # column where the working begins
_LONGEST_ROW = 20  # half-cycles followed of a long weld; after them the current repeats
_HARD = (1.05, 0.8)  # knee and remanence of the hardest core that sim.sweep draws

pace_option = click.option(
    "--pace",
    type=number(0.1, 120.0),
    metavar="NUMBER",
    default=4,
    show_default=True,
    help="Welds a minute that the heat sink is for, 0.1 to 120.",
)


@dataclass(frozen=True)
class Warmth:
    """The parts of the switch on the heat sink chosen, simulated: peak for ever at the pace, and the limit, degC."""

    part: str
    for_ever_C: float
    limit_C: float


@click.command("choose")
@welder_option
@pace_option
@json_option
def choose_command(welder: Path | None, pace: float, as_json: bool) -> None:
    """Which parts suit this machine, with the calculation: switch, heat sink, fuse, snubber and the rest.

    For the longest weld that the welder file allows, at full current.
    """
    machine = find_welder(welder)
    board = board_of(machine)
    choice, warmth = chosen_for(machine, board, pace, welder or Path(WELDER_FILE))
    if as_json:
        click.echo(json.dumps(choice_json(choice, warmth), indent=2))
    else:
        click.echo("\n".join(_lines(machine, choice, warmth)))


def chosen_for(welder: Welder, board: Board, pace: float, path: Path) -> tuple[Choice, tuple[Warmth, ...]]:
    """The parts under the longest weld allowed, and how warm the switch gets on the heat sink chosen."""
    from sim.core.impulse import inrush, sine
    from sim.core.weld_current import Assumed, weld_currents
    from sim.verdict.hot_parts import hot_parts

    allowed = math.floor(welder.limits.longest_weld.half_cycles(welder.mains.frequency_Hz))
    half_cycles = max(2, min(allowed, board.limits.half_cycles) // 2 * 2)
    phases = (
        {"squeeze": "0.2 s"},
        {"weld": f"{half_cycles} half-cycles"},
        {"hold": "0.2 s"},
        {"off": "0.2 s"},
    )
    longest = Schedule.model_validate({"name": "longest", "frequency_Hz": welder.mains.frequency_Hz, "phases": phases})
    table = compile_schedule(longest, welder, board, path)
    currents = weld_currents(table, welder, longest_row=_LONGEST_ROW)
    hard = weld_currents(table, welder, Assumed(*_HARD), longest_row=_LONGEST_ROW)
    frequency_Hz = welder.mains.frequency_Hz
    worst = inrush(
        hard.shorted, sine(welder.mains.voltage_V, frequency_Hz, frequency_Hz), 0.0
    )  # it fades in half a second
    # The simulated machine is the middle of what the readings leave open; currents go up to its upper end.
    scale = welder.machine.in_use.short_primary.high / welder.machine.in_use.short_primary.middle
    i2t = max(swing.primary_rms_A**2 * hard.half_s for swing in worst.swings) * scale**2
    weld_s = half_cycles * currents.half_s
    load = Load(
        welder.machine.in_use.working_primary,
        inrush_figure(currents.shorted_worst.primary_peak_A, worst.primary_peak_A * scale),
        i2t,
        weld_s,
        pace,
    )
    choice = choose(welder, board, load)
    if choice.sink.K_per_W is None:
        return choice, ()
    sink = welder.heat_sink.model_copy(update={"K_per_W": choice.sink.K_per_W, "J_per_K": choice.sink.J_per_K})
    ambient = welder.ambient.model_copy(update={"temperature_C": choice.sink.ambient_C})
    on_it = welder.at(welder.machine, heat_sink=sink, ambient=ambient)
    period_s = weld_s / min(1.0, weld_s * pace / 60, welder.allowed_duty)
    parts = hot_parts(weld_currents(table, on_it), on_it, 60 / period_s)
    warmth = tuple(
        Warmth(part.name, part.for_ever(60 / period_s).peak_degC, part.limit_C)
        for part in parts
        if part.name in ("case", "junction")
    )
    return choice, warmth


def choice_json(choice: Choice, warmth: tuple[Warmth, ...]) -> dict[str, Any]:
    """Everything that the command tells, for another program."""
    parts = [asdict(part) | {"yours": [asdict(y) | {"enough": y.enough} for y in part.yours]} for part in choice.parts]
    return asdict(choice) | {
        "parts": parts,
        "not_enough": list(choice.not_enough),
        "simulated_on_heat_sink": [asdict(w) for w in warmth],
    }


def _lines(welder: Welder, choice: Choice, warmth: tuple[Warmth, ...]) -> list[str]:
    load = choice.load
    lines = [
        f"Parts for {welder.mains.voltage_V:g} V, {welder.mains.frequency_Hz} Hz, welds of up to {load.weld_s:g} s at full "
        f"current, {load.welds_per_minute:g} a minute",
    ]
    for part in choice.parts:
        lines += ["", *_part_lines(part)]
        if part.part == "heat sink":
            lines += [
                f"  Simulated on it: {w.part} {w.for_ever_C:.1f} C at its peak for ever at this pace (limit {w.limit_C:g} C)"
                for w in warmth
            ]
    if choice.not_enough:
        lines += ["", "Not enough as it is", *(f"  {text}" for text in choice.not_enough)]
    lines += ["", "Before anything is bought or wired"]
    return lines + [f"  {line}" for line in caution_lines()]


def _part_lines(part: Chosen) -> list[str]:
    lines = textwrap.wrap(f"{part.part[0].upper()}{part.part[1:]}: {part.fit}.", _WIDTH, subsequent_indent="  ")
    for step in part.steps:
        text = f"{f'  {step.what}':<{_WORKING}}  {step.working} = {step.result}  [{step.source}]"
        lines += textwrap.wrap(
            text, _WIDTH, subsequent_indent=" " * (_WORKING + 2), break_long_words=False, drop_whitespace=True
        )
    for mine in part.yours:
        lines += textwrap.wrap(f"  yours: {mine.text}", _WIDTH, subsequent_indent="    ")
    for note in part.notes:
        lines += textwrap.wrap(f"  {note}", _WIDTH, subsequent_indent="    ")
    return lines
