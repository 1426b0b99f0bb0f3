"""The steps that prove what ends the current without the program: contacts, contactor, one-shot, pulse train, snubber.

Each is read where the person stands, on 24 V or with everything off, so that it holds whatever the board does. Limits and
their sources: as in steps.py.
"""

from __future__ import annotations

import math

from gen.boards import Board
from gen.commissioning.values import LOGIC, RESISTIVE, UNPOWERED, Step
from gen.machine.welder import Welder
from gen.ranges import Figure, shown
from gen.wiring.signal_parts import PULL_OHM, gate_drive

COIL_V = 24.0
WORKS = (0.85, 1.1)  # of a coil's voltage: IEC 60947-4-1, from memory
DROPS = 0.1  # at which a d.c. contactor has dropped: IEC 60947-4-1, from memory
LED_V = 1.0  # a gate isolator's diode lights above it; common practice, no source
OPEN_MOHM = 0.1
PULL = (0.5, 1.1)  # of the resistor: what lies beside it, and 5 % of it with 5 % of the meter
SNUBBER_UF = (0.01, 2.2)  # of snubbers across a switch of this size; common practice, no source
DISCHARGED_V, DISCHARGED_S = 60.0, 5.0  # IEC 60204-1, 6.2.4, from memory
_VOLTS = "d.c. volts"
_WORKING = Figure(
    COIL_V * WORKS[0], COIL_V * WORKS[1], "V", "85 to 110 % of 24 V, on which a coil works: IEC 60947-4-1, from memory"
)
_DROPPED = Figure(
    -math.inf, COIL_V * DROPS, "V", "10 % of 24 V, at which a d.c. contactor has dropped: IEC 60947-4-1, from memory"
)


def _no_contactor(welder: Welder) -> str:
    return "" if welder.protection.contactor else "the welder file has no contactor"


def _no_drive(welder: Welder) -> str:
    bounded = welder.protection.gate_drive not in (None, "direct")
    return "" if bounded else "the welder file has no gate drive that ends by itself"


def dead(welder: Welder) -> tuple[Step, ...]:
    """What an ohmmeter and a capacitance meter tell with everything off."""
    contacts = Step(
        "contactor-open",
        "Contactor, dropped",
        UNPOWERED,
        (
            "Measure over each pole of the contactor: from terminal 1 to 2, and from 3 to 4. The lesser reading counts.",
            "The coil has no voltage, so both must be open.",
        ),
        "megohms, ohmmeter",
        Figure(OPEN_MOHM, math.inf, "Mohm", "an open contact, what lies beside it included: ours"),
        "a contact that is bridged or welded: nothing would ever cut the transformer off; find the bridge, or replace it",
        lacking=_no_contactor(welder),
    )
    snubber = Step(
        "snubber",
        "Snubber",
        UNPOWERED,
        ("Measure the capacitance from one side of the switch to the other. It is that printed on C1.",),
        "microfarads, capacitance meter",
        Figure(
            *SNUBBER_UF, "uF", "snubbers of such switches: common practice, no source; its own value is printed on it"
        ),
        "nothing: a lead of R3 or C1; far too much, or none that settles: C1 is bridged",
        tool_may_lack=True,
    )
    pulls = Step(
        "pulls",
        "Pull-downs",
        UNPOWERED,
        (
            "Measure from the board's gate pin to 0 V, and from its contactor pin to 0 V. The greater reading counts.",
            "R8 and R9 hold both low while the board starts.",
        ),
        "ohms, ohmmeter",
        Figure(
            PULL_OHM * PULL[0],
            PULL_OHM * PULL[1],
            "ohm",
            f"{PULL_OHM / 1000:g} kohm of the wiring sheet, 5 % of part and 5 % of meter, less what lies beside it: ours",
        ),
        "a pull-down is missing or on another pin: gate or contactor could answer to noise while the board starts",
    )
    return contacts, snubber, pulls


def low_voltage(welder: Welder, board: Board) -> tuple[Step, ...]:
    """What a voltmeter tells on 24 V: stop and heat cut, and pins that stand still do nothing."""
    protection = welder.protection
    where = "from 0 V to terminal A1 of the contactor, and to the supply terminal of the gate stage"
    cut = "put the contact into the one lead (24S, 24E) that feeds both, and look for a bridge over it"
    supply = Step(
        "coil-supply",
        "Supply of coil and gate stage",
        LOGIC,
        (f"Measure {where}. The lesser reading counts.",),
        _VOLTS,
        _WORKING,
        "24 V supply, its fuses, stop and over-temperature contact at rest, or a lead that is on the wrong terminal",
        lacking=_no_contactor(welder),
    )
    stopped = (
        ""
        if protection.stop_cuts_gate_supply and protection.stop_cuts_contactor
        else ("the welder file has no stop contact in coil and gate supply")
    )
    heated = "" if protection.over_temperature_contact else "the welder file has no over-temperature contact"
    stop = Step(
        "stop-cuts",
        "Stop cuts coil and gate stage",
        LOGIC,
        (f"With the stop pressed measure {where}. The greater reading counts. Release the stop.",),
        _VOLTS,
        _DROPPED,
        f"the stop would leave the contactor in: {cut}",
        lacking=stopped or _no_contactor(welder),
    )
    heat = Step(
        "heat-cuts",
        "Over-temperature contact cuts coil and gate stage",
        LOGIC,
        (
            f"Take the lead of the contact in the supply (B1) off its terminal and measure {where}.",
            "The greater reading counts. Put the lead back.",
        ),
        _VOLTS,
        _DROPPED,
        f"heat would leave the contactor in: {cut}",
        lacking=heated or _no_contactor(welder),
    )
    train = Step(
        "train-stops",
        "A stopped pulse train drops the contactor",
        LOGIC,
        (
            "Take the lead off the board's contactor pin and hold it on the board's 3.3 V. The contactor must drop, or stay out.",
            "Measure across its coil, from A1 to A2. Put the lead back.",
        ),
        _VOLTS,
        _DROPPED,
        "a board that hangs would hold the contactor: the capacitor of its stage is bridged, or another lead is on its input",
        lacking=_no_contactor(welder),
    )
    gate = Step(
        "gate-stands",
        "A gate pin that stands still",
        LOGIC,
        (
            "Take the lead off the board's gate pin and hold it on the board's 3.3 V.",
            "Measure from 0 V to the gate stage's output. Put the lead back.",
        ),
        _VOLTS,
        Figure(-math.inf, LED_V, "V", "a gate isolator's diode needs more: common practice, no source"),
        "a pin that stands high would fire for ever: the gate stage is bridged, or is none that ends by itself",
        lacking=_no_drive(welder),
    )
    longest = gate_drive(welder, board)[0]
    pulse = Step(
        "gate-pulse",
        "The one-shot ends the gate",
        LOGIC,
        ("The same with a scope on the gate stage's output, single shot: from its rise to its fall.",),
        "milliseconds, scope",
        Figure(longest.low, longest.high, "ms", f"{longest.source}: as the wiring sheet"),
        "too short: gates would end early, and the core saturate; too long: another resistor or capacitor of the one-shot",
        tool_may_lack=True,
        lacking=_no_drive(welder),
    )
    return supply, stop, heat, train, gate, pulse


def under_load(welder: Welder) -> tuple[Step, ...]:
    """Stop in a weld through the load, and what the snubber keeps."""
    protection = welder.protection
    stopped = (
        ""
        if protection.contactor and protection.stop_cuts_contactor
        else "the welder file has no stop contact in the coil"
    )
    stop = Step(
        "stop-drops",
        "Stop drops the contactor",
        RESISTIVE,
        (
            "The same shot: press the pedal, and the stop as soon as the load is on. The load goes off, the contactor drops.",
            "Keep the stop pressed, and measure across the contactor's coil, from A1 to A2. Then release it.",
        ),
        _VOLTS,
        _DROPPED,
        "press the stop while the load is on, within half a second; else the stop's two contacts and their leads",
        needs_board=True,
        shot="resistive-load",
        stops=True,
        lacking=stopped,
    )
    discharge = Step(
        "discharge",
        "The snubber discharges",
        RESISTIVE,
        (
            f"Open Q1 and Q2. {shown(DISCHARGED_S)} s later put the meter from one side of the switch to the other.",
            "Do so three times, since what stays depends on the moment. The greatest of the first readings counts.",
        ),
        _VOLTS,
        Figure(-math.inf, DISCHARGED_V, "V", "60 V or less within 5 s: IEC 60204-1, 6.2.4, from memory"),
        "the bleeder R4 is missing or open: C1 keeps its charge for minutes; short it by 1 kohm before touching anything",
    )
    return stop, discharge
