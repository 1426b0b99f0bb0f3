"""Steps that prove the protections independent of the program: contacts, contactor, one-shot, pulse train, snubber.

Each is measured by the operator, on 24 V or with everything off, independently of the board. Limits and their sources: as in
steps.py.
"""

from __future__ import annotations

import math

from gen.boards import Board
from gen.commissioning.values import CONTACTS, LOGIC, RESISTIVE, UNPOWERED, Step
from gen.machine.welder import Welder
from gen.ranges import Figure, shown
from gen.wiring.interface.input_stages import SERIES_OHM, WETTING_OHM
from gen.wiring.power_parts import varistor
from gen.wiring.signal_parts import PULL_OHM, gate_drive

COIL_V = 24.0
WORKS = (0.85, 1.1)  # operating range of a coil, share of its voltage: IEC 60947-4-1, from memory
DROPS = 0.1  # share of its voltage at which a d.c. contactor has dropped: IEC 60947-4-1, from memory
LED_V = 1.0  # a gate isolator's diode needs more; common practice, no source
OPEN_MOHM, BOND_OHM = 0.1, 1.0
CONTACT_PULL_OHM = WETTING_OHM + SERIES_OHM  # both in series, from the pin
FIVE_V = (4.75, 5.25)
JUNCTION_V = (0.4, 0.9)
CLAMP_V = 100.0
VARISTOR_1MA, VARISTOR_MOHM = 1.6, 2.0  # of a disc's continuous rating; data sheets, from memory
TESTER_V = (250.0, 500.0, 1000.0)
PULL = (0.5, 1.1)  # share of the resistor: parts in parallel lower it; part and meter have 5 % each
SNUBBER_UF = (0.01, 2.2)  # range of snubbers across a switch of this size; common practice, no source
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


def _quiet_mirror(welder: Welder) -> tuple[str, ...]:
    """Instructions that keep the mirror contact quiet: an open over-temperature contact has priority, and clears itself."""
    if not (welder.protection.mirror_contact and welder.protection.over_temperature_contact):
        return ()
    return (
        "First take the lead of the board's over-temperature contact (B2) off, and put it back last.",
        "Else the board takes a contactor that moves without it for one that has welded shut.",
    )


def _leads_of_closed(welder: Welder) -> str:
    """The leads to take off contacts that are closed at rest and that nobody can hold open."""
    protection = welder.protection
    leads = ["B2"] if protection.over_temperature_contact else []
    leads += ["K1.21"] if protection.mirror_contact else []
    return f", and take the board's lead{'s' * (len(leads) > 1)} off {' and '.join(leads)} meanwhile" if leads else ""


def dead(welder: Welder) -> tuple[Step, ...]:
    """Steps with ohmmeter and capacitance meter, everything off."""
    contactor = " and of the contactor K1" if welder.protection.contactor else ""
    contacts = Step(
        "open-contacts",
        "Contacts that must be open",
        UNPOWERED,
        (
            f"Measure over each pole of the isolators Q1 and Q2{contactor}: from terminal 1 to 2, and from 3 to 4.",
            "Take each fuse out and measure over its holder. The least of all readings counts.",
        ),
        "megohms, ohmmeter",
        Figure(OPEN_MOHM, math.inf, "Mohm", "an open contact, with the parts in parallel: ours"),
        "a contact that is bridged or welded cuts nothing off: find the bridge, or replace it",
    )
    clamps_V = VARISTOR_1MA * varistor(welder)[0]
    tester_V = next((volts for volts in TESTER_V if volts > clamps_V), TESTER_V[-1])
    surge = Step(
        "varistor",
        "Varistor",
        UNPOWERED,
        (
            f"With the insulation tester at {tester_V:g} V from the fuse's far side (F1.2) to the second conductor behind Q1.",
            "Q1 and K1 are open, so nothing else is between them. Here it must conduct.",
        ),
        "megohms, insulation tester",
        Figure(
            -math.inf,
            VARISTOR_MOHM,
            "Mohm",
            f"a disc passes 1 mA at 1.6 times its rating, {clamps_V:.0f} V here: data sheets, from memory",
        ),
        "a lead of the varistor: spikes of the mains would reach the switch, and could turn it on or break it",
        tool_may_lack=True,
    )
    bond = Step(
        "bond",
        "0 V to protective earth",
        UNPOWERED,
        ("Measure from 0 V of the 24 V supply to the earth bar.",),
        "ohms, ohmmeter",
        Figure(-math.inf, BOND_OHM, "ohm", "a short wire and the meter's leads: ours"),
        "the link XB: without it a fault from the mains makes the low-voltage side live, and trips nothing",
    )
    supplied = Step(
        "supply-leads",
        "Leads of the board's supply",
        UNPOWERED,
        (
            "Measure from 0 V of the 5 V converter (G2) to the board's GND, and from D3's cathode to the board's 5 V pin. The "
            "greater reading counts.",
        ),
        "ohms, ohmmeter",
        Figure(-math.inf, BOND_OHM, "ohm", "a short wire and the meter's leads: ours"),
        "a lead of G2 or D3: during this walk the computer feeds the board; without it the board would not start",
    )
    computer = Step(
        "usb-isolator",
        "USB isolator",
        UNPOWERED,
        ("Pull the cable out of the computer. Measure from its plug's shell to the board's GND.",),
        "megohms, ohmmeter",
        Figure(OPEN_MOHM, math.inf, "Mohm", "an isolator passes no direct current: ours"),
        "the isolator is bridged: a fault of the machine would reach the computer and the person who touches it",
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
        "no capacitance: a lead of R3 or C1; far too much, or a reading that does not settle: C1 is bridged",
        tool_may_lack=True,
    )
    lies = (
        f"{PULL_OHM / 1000:g} kohm of the wiring sheet, 5 % of part and 5 % of meter, less with parts in parallel: ours"
    )
    square = welder.detector.kind == "square"
    pins = (
        "the board's gate pin, contactor pin and detector pin" if square else "the board's gate pin and contactor pin"
    )
    down = Step(
        "pull-downs",
        "Pull-downs",
        UNPOWERED,
        (
            f"Measure from each of {pins} to 0 V. The greatest reading counts.",
            "They hold gate and contactor low while the board starts.",
        ),
        "ohms, ohmmeter",
        Figure(PULL_OHM * PULL[0], PULL_OHM * PULL[1], "ohm", lies),
        "a pull-down is missing or on another pin: gate or contactor could answer to noise while the board starts",
    )
    up = Step(
        "pull-ups",
        "Pull-ups",
        UNPOWERED,
        (
            f"Keep the stop pressed{_leads_of_closed(welder)}: a closed contact hides a pull-up that is missing.",
            "Measure from the pin of each contact, such as stop and pedal, to the board's 3.3 V. The greatest reading counts.",
        ),
        "ohms, ohmmeter",
        Figure(
            CONTACT_PULL_OHM * PULL[0],
            CONTACT_PULL_OHM * PULL[1],
            "ohm",
            f"{CONTACT_PULL_OHM / 1000:g} kohm of the sheet, 5 % of part, 5 % of meter, less with parts in parallel: ours",
        ),
        "a pull-up is missing: the board's own is ten times weaker, and noise could close a contact that is open",
    )
    found = (contacts, surge, bond, supplied, computer, snubber, down, up)
    return (*found, _detector_diode()) if square else found


def _detector_diode() -> Step:
    return Step(
        "detector-diode",
        "The detector's diode",
        UNPOWERED,
        ("With the meter's diode test across U1's light-emitting diode, red lead on its cathode (U1.K): D1 conducts.",),
        "volts, diode test",
        Figure(*JUNCTION_V, "V", "a silicon diode at a milliampere: textbook"),
        "D1 is missing or turned: each negative half-cycle breaks down the coupler's diode, which ages and stops",
    )


def apart(welder: Welder) -> tuple[Step, ...]:
    """The step on the board's own supply, while only the computer feeds the board."""
    apart = Step(
        "feeds-apart",
        "Two feeds of the board apart",
        CONTACTS,
        (
            "With the computer alone feeding the board measure from 0 V to the output of the 5 V converter (G2, at D3's anode).",
        ),
        _VOLTS,
        Figure(-math.inf, 1.0, "V", "D3 blocks: ours"),
        "D3 is turned or bridged: computer and converter would feed each other",
        needs_board=True,
    )
    return (apart,)


def low_voltage(welder: Welder, board: Board, to_earth: Figure) -> tuple[Step, ...]:
    """Steps with a voltmeter on the control circuit: stop and heat disconnect, and static pins have no effect.

    `to_earth`: expected volts from the line to earth.
    """
    protection = welder.protection
    where = "from 0 V to the supply terminals (24E) of the contactor stage and of the gate stage"
    cut = "put the contact into the one lead (24S, 24E) that feeds both stages, and look for a bridge over it"
    phase = Step(
        "phase",
        "Line where it belongs",
        LOGIC,
        ("Measure from the far side of F2 to the earth bar.",),
        "true RMS volts",
        to_earth,
        "L and N are exchanged on their way: the fuses would stand in the neutral, and the machine stay live with one blown",
    )
    fed = Step(
        "board-supply",
        "Supply of the board",
        LOGIC,
        ("Measure from 0 V at the board to the output of the 5 V converter (G2, at D3's anode).",),
        _VOLTS,
        Figure(*FIVE_V, "V", "5 V within 5 %, as logic supplies: common practice, no source"),
        "the 5 V converter, its feed and its ground; the board would not start without the computer",
    )
    supply = Step(
        "coil-supply",
        "Supply of contactor and gate stage",
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
        "Stop cuts contactor and gate stage",
        LOGIC,
        (f"With the stop pressed measure {where}. The greater reading counts. Release the stop.",),
        _VOLTS,
        _DROPPED,
        f"the stop would leave the contactor in: {cut}",
        lacking=stopped or _no_contactor(welder),
    )
    heat = Step(
        "heat-cuts",
        "Over-temperature contact cuts contactor and gate stage",
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
            *_quiet_mirror(welder),
            "Take the lead off the board's contactor pin and hold it on the board's 3.3 V. The contactor must drop, or stay out.",
            "Measure across its coil, from A1 to A2. Put the lead back, with the contactor open.",
        ),
        _VOLTS,
        _DROPPED,
        "a board that hangs would hold the contactor: the capacitor of its stage is bridged, or another lead is on its input",
        lacking=_no_contactor(welder),
    )
    switches = Step(
        "coil-switches",
        "Each switch of the coil opens by itself",
        LOGIC,
        (
            *_quiet_mirror(welder),
            "With K1 open measure on the contactor board from 0V to KM. Then join KM to 24E by a lead, and measure from 0V to "
            "COIL.",
            "The greater reading counts. Take the lead off.",
        ),
        _VOLTS,
        _DROPPED,
        "one of two switches in series stays closed, and the other works alone: voltage at KM: Q43 or what holds it (U5, R44 "
        "to R49); voltage at COIL: Q44 or what holds it (Q45, R82, R83)",
        lacking=_no_contactor(welder),
    )
    gate = Step(
        "gate-stands",
        "A gate pin that stands still",
        LOGIC,
        (
            "Take the lead off the board's gate pin and hold it on the board's 3.3 V.",
            "Measure across the input of the gate isolator, between its two leads. Put the lead back.",
        ),
        _VOLTS,
        Figure(-math.inf, LED_V, "V", "a gate isolator's diode needs more: common practice, no source"),
        "a pin that stands high would fire for ever: the gate stage is bridged, or is none that ends by itself",
        lacking=_no_drive(welder),
    )
    clamp = Step(
        "coil-clamp",
        "The coil's clamp",
        LOGIC,
        (
            *_quiet_mirror(welder),
            "Scope across the coil, and take the lead of the contactor pin off again: the peak as it drops, whichever way.",
        ),
        "volts, scope",
        Figure(
            COIL_V * WORKS[0], CLAMP_V, "V", "24 V and what a clamp for such a coil takes: common practice, no source"
        ),
        "the clamp across the coil is missing: the spike breaks the stage that holds it, which may then hold it for ever",
        tool_may_lack=True,
        lacking=_no_contactor(welder),
    )
    longest = gate_drive(welder, board)[0]
    pulse = Step(
        "gate-pulse",
        "The one-shot ends the gate",
        LOGIC,
        ("The same with a scope across the gate isolator's input, single shot: from its rise to its fall.",),
        "milliseconds, scope",
        Figure(longest.low, longest.high, "ms", f"{longest.source}: as the wiring sheet"),
        "too short: gates would end early, and the core saturate; too long: another resistor or capacitor of the one-shot",
        tool_may_lack=True,
        lacking=_no_drive(welder),
    )
    return phase, fed, supply, stop, heat, train, switches, clamp, gate, pulse


def under_load(welder: Welder) -> tuple[Step, ...]:
    """Steps on the stop during a weld through the load, and on the snubber's charge."""
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
