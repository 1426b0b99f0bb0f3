"""The numbered steps that take a welder from unpowered to its first weld, made from the welder file.

Every limit names its source; "from memory" where the standard was not at hand. A local code comes before all of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from gen import words
from gen.boards import Board
from gen.commissioning.powered import MAINS, first_weld, open_electrodes, resistive, shorted
from gen.commissioning.values import (
    LOGIC,
    SUPPLY,
    UNPOWERED,
    Contact,
    Edge,
    Step,
)
from gen.machine.breaker import MAGNETIC_BANDS
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.ranges import Figure, shown
from gen.units import us_to_degrees

# What the reading with shorted electrodes comes to, kept beside it as a check of its own.
SHORT_CIRCUIT = "short-circuit-current"
# The welder file's key that the reading of a step replaces.
KEYS = {
    "voltage": "mains.voltage_V",
    "line-impedance": "mains.source_resistance_ohm",
    "offset-rise": "detector.offset_rise_us",
    "offset-fall": "detector.offset_fall_us",
    "open-electrodes": "transformer.open_current_A",
    SHORT_CIRCUIT: "transformer.shorted_current_A",
}

LOCAL_CODE = "your local code decides"
EARTH_OHM = 0.3
INSULATION_MOHM = 1.0
SUPPLY_DROP = 0.1
OFFSET_US = 100  # 3 % of the core's flux swing where the voltage is at its peak: ours


def steps(welder: Welder, board: Board, readings: Mapping[str, float] | None = None) -> tuple[Step, ...]:
    """The steps for this machine, in order; a step's number is its place from 1.

    `readings`: of steps already passed, by name; where a limit rests on one that is missing, a load of 1000 W stands in.
    Raises InputError where the welder's own limits forbid one of the shots.
    """
    found = [
        *_unpowered(welder),
        *_supply(welder),
        *_contacts(welder),
        *_detector(welder),
        *resistive(welder, board, (readings or {}).get("load-power")),
        *open_electrodes(welder, (readings or {}).get("open-electrodes")),
        shorted(welder, board),
        first_weld(welder),
    ]
    return tuple(found)


def _at_most(value: float, unit: str, source: str) -> Figure:
    return Figure(-math.inf, value, unit, source)


def _at_least(value: float, unit: str, source: str) -> Figure:
    return Figure(value, math.inf, unit, source)


def _unpowered(welder: Welder) -> tuple[Step, ...]:
    arm = " and, where the secondary is earthed, to its earthed arm" if welder.protection.secondary_earthed else ""
    earth = Step(
        "earth",
        "Earth continuity",
        UNPOWERED,
        (
            f"Measure from the earth pin of the plug (or the incoming earth terminal) to every touchable metal part{arm}.",
            "Move the cable about meanwhile. The greatest reading counts.",
        ),
        "resistance, low-resistance ohmmeter of 0.2 A or more",
        _at_most(EARTH_OHM, "ohm", f"IEC 60974-4, cable up to 5 m, from memory; {LOCAL_CODE}"),
        "clean and tighten the earth connections, bare metal to bare metal, and measure again",
    )
    insulation = Step(
        "insulation",
        "Insulation",
        UNPOWERED,
        (
            "Disconnect the board, the switch, the varistor and the snubber: they would be damaged, or spoil the reading.",
            "Open the secondary's earth. Join the two primary leads; measure from them to the frame, and to the secondary.",
            "The least reading counts. Discharge, and put everything back as it was.",
        ),
        "resistance at 500 V d.c. after a minute, insulation tester",
        _at_least(INSULATION_MOHM, "Mohm", f"IEC 60204-1, 500 V d.c., from memory; {LOCAL_CODE}"),
        "do not connect it: dry it, find what leaks, have the transformer looked at",
    )
    return earth, insulation


def _supply(welder: Welder) -> tuple[Step, ...]:
    voltage_V, breaker = welder.mains.voltage_V, welder.breaker
    volts = Step(
        "voltage",
        "Mains voltage",
        SUPPLY,
        ("Measure between the conductors that will feed the machine.",),
        "true RMS volts",
        Figure(
            voltage_V * (1 - MAINS),
            voltage_V * (1 + MAINS),
            "V",
            "mains.voltage_V within 10 %, EN 50160, from memory",
        ),
        "another outlet, or another mains.voltage_V and everything planned anew",
        tool_may_lack=True,
    )
    line = Step(
        "line-impedance",
        "Line impedance",
        SUPPLY,
        ("Measure between the same conductors. It is what the supply itself puts in the current's way.",),
        "line impedance (phase to neutral, or phase to phase), installation tester",
        _at_most(
            SUPPLY_DROP * voltage_V / welder.transformer.working_current_A,
            "ohm",
            "10 % of mains.voltage_V at the working current, as the verdict's supply-dip: common practice, no source",
        ),
        "a thicker or shorter cable, or another outlet",
        tool_may_lack=True,
    )
    known = breaker is not None and breaker.standard == "IEC 60898-1"
    trips_A = MAGNETIC_BANDS[breaker.characteristic or "B"][1] * breaker.rating_A if breaker and known else 0.0
    lacking = "" if known else "the welder file names no breaker of IEC 60898-1"
    if welder.protection.residual_current_device:
        lacking = "a residual-current device protects here; the electrician tests that instead"
    loop = Step(
        "loop-impedance",
        "Loop impedance",
        SUPPLY,
        ("Measure from phase to earth. A fault to earth must trip the breaker at once.",),
        "loop impedance (phase to earth), installation tester",
        _at_most(
            voltage_V / trips_A if trips_A else math.inf,
            "ohm",
            f"IEC 60364-4-41: mains.voltage_V over {trips_A:g} A, at which the breaker opens at once; from memory",
        ),
        "the breaker would not open in time: a licensed electrician has to mend the supply",
        tool_may_lack=True,
        lacking=lacking,
    )
    return volts, line, loop


def _contact(name: str, title: str, contact: Contact, lacking: str = "") -> Step:
    return Step(
        name,
        title,
        LOGIC,
        (contact.act, contact.undo),
        "",
        Figure(0, 0, "", "what the board tells"),
        "put the wiring right",
        needs_board=True,
        lacking=lacking,
        contact=contact,
    )


def _contacts(welder: Welder) -> tuple[Step, ...]:
    protection, force = welder.protection, welder.force
    pedal = Contact(
        words.PEDAL,
        False,
        "Press the pedal and keep it down. The board may begin a weld: with the gate lead off nothing fires.",
        "Let go of the pedal.",
        "the board sees the pedal pressed while nobody is on it; wire a normally open contact from its pin to ground, "
        "and look for a short",
        "the board never saw the pedal pressed; check its lead, its ground and its pin",
    )
    stop = Contact(
        words.STOP_OPEN,
        False,
        "Press the stop.",
        "Release the stop.",
        "the board sees the stop open while nobody presses it; it is a normally closed contact to ground: check its lead",
        "the board never saw the stop open; a contact that is bridged or wired in parallel would never stop a weld",
    )
    hot = Contact(
        words.HOT,
        False,
        "Take the lead of the over-temperature contact off its terminal.",
        "Put the lead back.",
        "the board sees the over-temperature contact open while the transformer is cold; check its lead",
        "the board never saw the over-temperature contact open; it may be bridged",
    )
    press = Contact(
        words.FORCE,
        False,
        "Close the electrodes with full force, so that the force switch closes.",
        "Open the electrodes.",
        "the board sees the force switch closed without force; look for a short, or a setting that is too low",
        "the board never saw the force switch closed; check its lead, the air and its setting",
    )
    return (
        _contact("pedal", "Pedal", pedal),
        _contact("stop", "Stop", stop),
        _contact(
            "over-temperature",
            "Over-temperature contact",
            hot,
            "" if protection.over_temperature_contact else "the welder file has no over-temperature contact",
        ),
        _contact(
            "force-switch", "Force switch", press, "" if force.force_switch else "the welder file has no force switch"
        ),
    )


def _detector(welder: Welder) -> tuple[Step, ...]:
    f, detector = welder.mains.frequency_Hz, welder.detector
    frequency = Step(
        "frequency",
        "Frequency",
        LOGIC,
        ("Nothing: the board counts it from the detector's edges.",),
        "",
        Figure(
            f * FREQUENCY_BAND[0],
            f * FREQUENCY_BAND[1],
            "Hz",
            "mains.frequency_Hz, EN 50160's band of -6 to +4 % and a little more, from memory",
        ),
        "check the detector and its lead, and mains.frequency_Hz in the welder file",
        needs_board=True,
        counted=True,
    )

    def offset(name: str, edge: Edge, given: int, lacking: str = "") -> Step:
        degrees = shown(us_to_degrees(OFFSET_US, f))
        key = KEYS[name]
        return Step(
            name,
            f"Detector's offset, {edge} edge",
            LOGIC,
            (
                "Scope with an isolated differential probe on the mains, the other channel on the detector's output.",
                "Read the edge minus the zero crossing: positive when the edge comes late. Without a scope: `parts` in the walk.",
            ),
            "microseconds, scope",
            Figure(given - OFFSET_US, given + OFFSET_US, "us", f"{key} within {OFFSET_US} us, {degrees} degrees; ours"),
            f"weldbeat calibrate {key}=READING, then build and flash anew",
            tool_may_lack=True,
            lacking=lacking,
            edge=edge,
            signed=True,
        )

    pulse = "" if detector.kind == "square" else "a pulse detector has one offset for both crossings"
    return (
        frequency,
        offset("offset-rise", "rising", detector.offset_rise_us),
        offset("offset-fall", "falling", detector.offset_fall_us, pulse),
    )
