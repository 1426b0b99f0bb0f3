"""The numbered steps from the unpowered welder to its first weld, made from the welder file.

Every limit names its source, with "from memory" where the standard was not at hand. A local code has priority over all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from gen import words
from gen.boards import Board
from gen.commissioning.cut_off import apart, dead, low_voltage, under_load
from gen.commissioning.installation import (
    RESIDUAL_LEAST,
    RESIDUAL_MS,
    earth_limit,
    loop_limit,
    residual_mA,
    to_earth_V,
)
from gen.commissioning.powered import MAINS, current_transformer, first_weld, open_electrodes, resistive, shorted
from gen.commissioning.values import (
    CONTACTS,
    LOGIC,
    SUPPLY,
    UNPOWERED,
    Contact,
    Edge,
    Step,
)
from gen.machine.welder import FREQUENCY_BAND, Welder
from gen.ranges import Figure, shown
from gen.units import us_to_degrees

# The short-circuit current computed from the reading with shorted electrodes, recorded as a separate check.
SHORT_CIRCUIT = "short-circuit-current"
# The factor that makes the board's current that of the clamp meter, kept likewise.
READING_FACTOR = "reading-factor"
# The welder file's key that the reading of a step replaces.
KEYS = {
    "voltage": "mains.voltage_V",
    "line-impedance": "mains.source_resistance_ohm",
    "offset-rise": "detector.offset_rise_us",
    "offset-fall": "detector.offset_fall_us",
    "open-electrodes": "transformer.open_current_A",
    SHORT_CIRCUIT: "transformer.shorted_current_A",
    READING_FACTOR: "current_sense.reading_factor",
}

LOCAL_CODE = "your local code decides"
# IEC 60974-4:2016 (arc welding, taken over here), as the manual of a machine tester prints it (public copy).
INSULATION_MOHM = 2.5
INSULATION_WELDING_MOHM = 5.0
SUPPLY_DROP = 0.1
OFFSET_US = 100  # 3 % of the core's flux swing where the voltage is at its peak: ours


def steps(welder: Welder, board: Board, readings: Mapping[str, float] | None = None) -> tuple[Step, ...]:
    """The steps for this machine, in order; a step's number is its place from 1.

    `readings`: of steps already passed, by name. A limit that depends on a missing reading assumes a load of 1000 W.
    Raises InputError where the welder's own limits forbid one of the shots.
    """
    found = [
        *_unpowered(welder),
        *dead(welder),
        *_supply(welder, (readings or {}).get("voltage-to-earth")),
        *apart(welder),
        *_contacts(welder),
        *low_voltage(welder, board, _to_earth(welder)),
        *_detector(welder),
        *resistive(welder, board, (readings or {}).get("load-power")),
        *under_load(welder),
        *open_electrodes(welder, (readings or {}).get("open-electrodes")),
        shorted(welder, board),
        *current_transformer(welder),
        first_weld(welder),
    ]
    return tuple(found)


def _at_most(value: float, unit: str, source: str) -> Figure:
    return Figure(-math.inf, value, unit, source)


def _at_least(value: float, unit: str, source: str) -> Figure:
    return Figure(value, math.inf, unit, source)


def _unpowered(welder: Welder) -> tuple[Step, ...]:
    arm = " and, where the secondary is earthed, to its earthed arm" if welder.protection.secondary_earthed else ""
    limit = earth_limit(welder)
    earth = Step(
        "earth",
        "Earth continuity",
        UNPOWERED,
        (
            f"Measure from the earth pin of the plug (or the incoming earth terminal) to every touchable metal part{arm}.",
            "Move the cable about meanwhile. The greatest reading counts.",
        ),
        "resistance, low-resistance ohmmeter of 0.2 A or more",
        replace(limit, source=f"{limit.source}; {LOCAL_CODE}"),
        "clean and tighten the earth connections, bare metal to bare metal, and measure again",
    )
    tester = "resistance at 500 V d.c. after a minute, insulation tester"
    source = f"IEC 60974-4, of arc welding, public copy; {LOCAL_CODE}"
    mend = "do not connect it: dry it, find what leaks, have the transformer looked at"
    between = "The least reading counts."
    insulation = (
        Step(
            "insulation",
            "Insulation, mains to earth",
            UNPOWERED,
            (
                "Disconnect the board, the switch, the varistor and the snubber: they would be damaged, or spoil the reading.",
                "Open the secondary's earth. Join the two primary leads; measure from them to the frame.",
                between,
            ),
            tester,
            _at_least(INSULATION_MOHM, "Mohm", source),
            mend,
        ),
        Step(
            "insulation-welding",
            "Insulation, mains to secondary",
            UNPOWERED,
            ("As before: from the joined primary leads to the secondary, its earth still open.", between),
            tester,
            _at_least(INSULATION_WELDING_MOHM, "Mohm", source),
            mend,
        ),
        Step(
            "insulation-secondary",
            "Insulation, secondary to earth",
            UNPOWERED,
            (
                "As before: from the secondary to the frame, its earth still open.",
                f"{between} Discharge, and put everything back as it was, the secondary's earth first.",
            ),
            tester,
            _at_least(INSULATION_MOHM, "Mohm", source),
            mend,
        ),
    )
    return earth, *insulation


def _supply(welder: Welder, read_V: float | None) -> tuple[Step, ...]:
    """The steps on the supply. `read_V`: volts from a supply conductor to earth, if measured."""
    voltage_V = welder.mains.voltage_V
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
    to_earth = Step(
        "voltage-to-earth",
        "Voltage to earth",
        SUPPLY,
        ("Measure from each conductor that will feed the machine to the earth contact. The greatest reading counts.",),
        "true RMS volts",
        _to_earth(welder),
        "too little: no earth, or another kind of supply: mains.voltage_to_earth_V in the welder file; a licensed electrician",
        tool_may_lack=True,
    )
    return (volts, to_earth, line, _loop(welder, read_V), *_residual(welder))


def _to_earth(welder: Welder) -> Figure:
    """RMS volts from an unearthed supply conductor to earth."""
    expected = to_earth_V(welder.mains)
    up_to = "" if welder.mains.voltage_to_earth_V else ", up to mains.voltage_V"
    most_V = welder.mains.voltage_V if welder.mains.voltage_to_earth_V is None else expected.middle
    source = f"{expected.source}{up_to}, within 10 %, EN 50160, from memory"
    return Figure(expected.middle * (1 - MAINS), most_V * (1 + MAINS), "V", source)


def _loop(welder: Welder, read_V: float | None) -> Step:
    limit = loop_limit(welder, read_V)
    return Step(
        "loop-impedance",
        "Loop impedance",
        SUPPLY,
        ("Measure from phase to earth. A fault to earth must open breaker or residual-current device at once.",),
        "loop impedance (phase to earth), installation tester",
        limit or _at_most(math.inf, "ohm", "IEC 60364-4-41, from memory"),
        "nothing would open in time: a licensed electrician has to mend the supply",
        tool_may_lack=True,
        lacking="" if limit else "the welder file names no breaker of IEC 60898-1",
    )


def _residual(welder: Welder) -> tuple[Step, ...]:
    """Current and time at which the residual-current device opens."""
    rated_mA = residual_mA(welder)
    named = welder.protection.residual_current_device
    lacking = "" if named else "the welder file names no residual-current device"
    source = f"IEC 61008-1, general type, {rated_mA:g} mA, from memory; {LOCAL_CODE}"
    mend = "a licensed electrician has to change it, or find what leaks behind it"

    def tested(key: str, title: str, do: str, read: str, limit: Figure) -> Step:
        tester = f"{read}, installation tester"
        return Step(key, title, SUPPLY, (do,), tester, limit, mend, tool_may_lack=True, lacking=lacking)

    return (
        tested(
            "residual-current",
            "Residual-current device, current",
            "Nothing connected behind it. Let the tester's current climb until it opens; then close it again.",
            "milliamperes at which it opens",
            Figure(rated_mA * RESIDUAL_LEAST, rated_mA, "mA", source),
        ),
        tested(
            "residual-time",
            "Residual-current device, time",
            f"At {rated_mA:g} mA, begun at either crossing of the mains. The longer time counts. Close it, try its button.",
            "milliseconds until it opens",
            _at_most(RESIDUAL_MS, "ms", source),
        ),
    )


def _contact(name: str, title: str, contact: Contact, lacking: str = "") -> Step:
    return Step(
        name,
        title,
        CONTACTS,
        (contact.act, contact.undo),
        "",
        Figure(0, 0, "", "what the board reports"),
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
        "Press the pedal and keep it down.",
        "Let go of the pedal.",
        "the board sees the pedal pressed while no foot is on it; wire a normally open contact from its pin to ground, "
        "and look for a short",
        "the board never saw the pedal pressed; check its lead, its ground and its pin",
    )
    stop = Contact(
        words.STOP_OPEN,
        False,
        "Press the stop.",
        "Release the stop.",
        "the board sees the stop open while it is not pressed; it is a normally closed contact to ground: check its lead",
        "the board never saw the stop open; a contact that is bridged or wired in parallel would never stop a weld",
    )
    hot = Contact(
        words.HOT,
        False,
        "Take the lead of the board's over-temperature contact (B2) off its terminal.",
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
    # With the stop pressed the board locks out for the stop, and not permanently for a contactor that it has not closed.
    mirror = Contact(
        words.CONTACTOR_OPEN,
        True,
        "Press the stop and keep it pressed. Then push the contactor (K1) in with an insulated tool, and hold it.",
        "Let the contactor go, and only then release the stop.",
        "the board does not see the mirror contact (K1.21, K1.22) closed while the contactor is open; check its lead, its "
        "ground and its pin; then weldbeat clear, since the board has locked out for it",
        "the board never saw the mirror contact (K1.21, K1.22) open; one that is bridged, or a lead on another contact, would "
        "never tell of a contactor that stays closed",
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
        _contact(
            "mirror-contact",
            "Mirror contact",
            mirror,
            "" if protection.mirror_contact else "the welder file has no mirror contact",
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
