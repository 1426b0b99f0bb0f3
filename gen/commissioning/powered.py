"""The commissioning steps under power: a resistive load, open electrodes, shorted electrodes, the first weld.

Limits and their sources: as in steps.py.
"""

from __future__ import annotations

import math
from dataclasses import replace

from gen.boards import Board
from gen.commissioning.shots import (
    SHORTED_CYCLES,
    conducted_fraction,
    least_load_W,
    lowest,
    lowest_tap,
    shorted_fraction,
    shot,
)
from gen.commissioning.values import (
    OPEN,
    RESISTIVE,
    SCRAP,
    SHORTED,
    Stage,
    Step,
)
from gen.machine.welder import Welder
from gen.ranges import Figure, shown

MAINS = 0.1  # EN 50160, from memory
LOAD = 0.2  # plate of the load 10 %, mains 10 %, clamp meter 3 %, together; a missing half-wave changes it by 29 %
OPEN_GIVEN = 0.3
OPEN_DC = 0.2
CLAMP_ZERO_A = 0.2
EARTH_MA = (
    10.0  # IEC 60974-4:2016 (arc welding, taken over here), as the manual of a machine tester prints it (public copy)
)
OPEN_TYPICAL = (0.01, 0.15)  # share of the working current; common practice, no source
READING = 0.1  # greatest difference between meter and board
FIRST_WELD_SHARE = (0.3, 1.1)  # share of the working current: from 40 % current up to the current of the heat checks


_SENSE_SEES = (
    "Its sense across the switch must see both polarities: blind to one, the board ends the weld within three cycles.",
)


def resistive(welder: Welder, board: Board, read_W: float | None) -> tuple[Step, ...]:
    """The load and the shots through it, with the transformer disconnected. `read_W`: of the load, if measured."""
    voltage_V, least_W = welder.mains.voltage_V, least_load_W(welder)
    latching = welder.switch.latching_current_A
    power = Step(
        "load-power",
        "The load",
        RESISTIVE,
        (
            "A heater, kettle or bank of filament lamps without electronics. A small lamp draws less than the switch latches at.",
        ),
        "watts, from its plate",
        Figure(
            least_W,
            max(voltage_V * welder.transformer.working_current_A, 2 * least_W),
            "W",
            f"500 W or what latches {latching:g} A to the gate's end, whichever is more; no more than the working current",
        ),
        "take another load",
        needs_board=True,
    )
    load_W = read_W or 1000.0
    another = "" if read_W else " (another load in proportion)"
    amperes = load_W / voltage_V * conducted_fraction(shot("resistive-load", welder, board).table, 0.0)
    through = Step(
        "resistive-load",
        "The load through the switch",
        RESISTIVE,
        (
            f"Press the pedal and hold it: {SHORTED_CYCLES} cycles at 60 % current, counted by the board.",
            *(_SENSE_SEES if welder.board.conduction_sense else ()),
        ),
        "true RMS amperes held by the clamp meter",
        Figure(
            amperes * (1 - LOAD),
            amperes * (1 + LOAD),
            "A",
            f"{load_W:g} W{another} at {voltage_V:g} V through this firing delay; plate, mains and meter 20 % together",
        ),
        "nothing: gate lead, gate supply, contactor; seven tenths: one thyristor does not fire; too much: it fires early",
        needs_board=True,
        shot="resistive-load",
    )
    let_go = Step(
        "let-go",
        "Letting go",
        RESISTIVE,
        (
            "The same shot: press the pedal, and let go as soon as the load is on. It must go off at once.",
            "Letting go takes the force away: the program ends the weld, and the firing hardware gives no further gate.",
        ),
        "",
        Figure(0, 0, "", "what the board reports"),
        "let go while the load is on, within half a second; the pedal's contact must open, and its lead go to its own pin",
        needs_board=True,
        shot="resistive-load",
        let_go=True,
    )
    # With air the force stays, and a weld begun is completed.
    return (power, through) if welder.force.source == "air" else (power, through, let_go)


def open_electrodes(welder: Welder, read_A: float | None) -> tuple[Step, ...]:
    """Magnetising current, its d.c. component, and earth leakage. `read_A`: the magnetising current, if measured."""
    t = welder.transformer
    if t.open_current_A is not None:
        given = t.open_current_A
        limit = Figure(
            given * (1 - OPEN_GIVEN), given * (1 + OPEN_GIVEN), "A", "transformer.open_current_A within 30 %"
        )
    else:
        low, high = (share * t.working_current_A for share in OPEN_TYPICAL)
        limit = Figure(low, high, "A", "1 to 15 % of the working current: common practice, no source")
    through = Step(
        "open-electrodes",
        "Open electrodes",
        OPEN,
        (
            f"Press the pedal and hold it: {SHORTED_CYCLES} cycles at full current. A loud hum means half-waves: let go.",
        ),
        "true RMS amperes held by the clamp meter",
        limit,
        "too much: a shorted turn, or one thyristor does not fire and the core saturates; nothing: primary leads, tap switch",
        needs_board=True,
        shot="open-electrodes",
    )
    open_A = read_A or t.idle_current_A
    most_A = max(OPEN_DC * open_A, CLAMP_ZERO_A)
    balance = Step(
        "open-balance",
        "Open electrodes, d.c.",
        OPEN,
        (
            "The same shot with the clamp meter on d.c.: current that flows one way only is d.c., and saturates the core.",
        ),
        "mean d.c. amperes held by a d.c. clamp meter, either sign",
        Figure(
            -most_A,
            most_A,
            "A",
            f"{100 * OPEN_DC:g} % of the {shown(open_A)} A that flow with open electrodes, or {CLAMP_ZERO_A:g} A for the meter's "
            "zero: ours; half-waves alone reach most of that current and more",
        ),
        "one thyristor does not fire, or the detector's two offsets are wrong; do not go on to the shorted electrodes",
        needs_board=True,
        tool_may_lack=True,
        signed=True,
        shot="open-electrodes",
    )
    earth = Step(
        "earth-current",
        "Protective-conductor current",
        OPEN,
        (
            "The same shot with a leakage clamp round all supply conductors together, the earth conductor outside it.",
            "The clamp reads the current to earth. Do not touch frame or electrodes.",
        ),
        "true RMS milliamperes held by a leakage clamp",
        Figure(-math.inf, EARTH_MA, "mA", "IEC 60974-4, of arc welding, public copy; your local code decides"),
        "isolate: moisture, a filter with large capacitors, or insulation that gives way under voltage; find it first",
        needs_board=True,
        tool_may_lack=True,
        shot="open-electrodes",
    )
    return through, balance, earth


def shorted_stage(welder: Welder) -> Stage:
    """The stage with the name of this machine's lowest tap."""
    tap = lowest_tap(welder.transformer)
    return replace(SHORTED, state=(SHORTED.state[0].format(tap=tap or "this machine has only one"), *SHORTED.state[1:]))


def shorted(welder: Welder, board: Board) -> Step:
    """The shot on the lowest tap that measures the machine's short-circuit current."""
    found, fraction = lowest(welder).short_primary, shorted_fraction(welder, board)
    return Step(
        "shorted",
        "Shorted electrodes",
        shorted_stage(welder),
        (f"Press the pedal and hold it: {SHORTED_CYCLES} cycles at full current, and none for a minute after.",),
        "true RMS amperes held by the clamp meter",
        Figure(
            found.low * fraction.low * (1 - MAINS),
            found.high * fraction.high * (1 + MAINS),
            "A",
            f"short-circuit current: {found.source}; {fraction.source}; mains within 10 %",
        ),
        "too much: another tap is set, or the file's readings are wrong; too little: electrodes, joints of the secondary",
        needs_board=True,
        shot="shorted",
    )


def current_transformer(welder: Welder) -> tuple[Step, ...]:
    """The same shot again, for the current transformer's reading; none without a transformer."""
    if welder.current_sense is None:
        return ()
    factor = welder.current_sense.reading_factor
    return (
        Step(
            "current-transformer",
            "The current transformer",
            shorted_stage(welder),
            (
                f"The same shot: {SHORTED_CYCLES} cycles at full current, and none for a minute after. The board measures too.",
            ),
            "true RMS amperes held by the clamp meter",
            Figure(
                1 - READING,
                1 + READING,
                "",
                f"clamp meter over what the board shows with reading_factor = {factor:g}; burden, transformer, converter and "
                "meter 10 % together: common practice, no source",
            ),
            "half or double: turns or burden_ohm are not those of the parts; nothing or little: the transformer is around both "
            "conductors, the wrong one or none, or its burden is off",
            needs_board=True,
            shot="shorted",
            compared=True,
        ),
    )


def first_weld(welder: Welder) -> Step:
    """A weld on scrap, watched by the operator."""
    working = welder.machine.in_use.working_primary
    return Step(
        "first-weld",
        "First weld",
        SCRAP,
        (
            "Press the pedal and hold it through the weld and the hold time. The schedule is the one selected on the board.",
        ),
        "true RMS amperes held by the clamp meter",
        Figure(
            working.low * FIRST_WELD_SHARE[0],
            working.high * FIRST_WELD_SHARE[1],
            "A",
            "30 % of the working current (current of 40 % at least) to 110 %: heat was not judged above",
        ),
        "too much: put it into the welder file as working_current_A and simulate anew; too little: work, electrodes, leads",
        needs_board=True,
        shot="selected",
    )
