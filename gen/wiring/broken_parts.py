"""The consequence, by name, of each part of the upgrade that is open, shorted or drifted.

The failure modes are those of ISO 13849-2, Annex D, for discrete parts, from memory. Its fault exclusions (a metal-film
resistor that never shorts) are not used. A short in a part of three pins or more is that of its worst two pins; an open
MOSFET of the coil is that of its gate.
The consequence follows from the part's place in its stage. An open R7 leaves the detector's pin to the board's own pull-down,
and its edges move. The tests check parts of two pins with the circuit solver:
all parts of the gate stage, of the detector and of the inputs, and those of both switches of the coil.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from gen.boards import Board
from gen.machine.welder import Welder
from gen.wiring.choice import Choice
from gen.wiring.interface import Component, interface_for
from gen.wiring.interface.gate_stage import couplers
from gen.wiring.interface.input_stages import CONTACTS, ContactRead, input_filter
from gen.wiring.netlist import Part
from gen.wiring.upgrade import upgrade

Mode = Literal["open", "shorted", "drifted"]
MODES: tuple[Mode, ...] = ("open", "shorted", "drifted")
LINK_MODES: tuple[Mode, ...] = ("open",)


_Three = tuple[str, str, str]


def _table(text: str) -> dict[str, _Three]:
    """Read lines of part names, a colon, and the consequences of open, shorted and drifted."""
    found: dict[str, _Three] = {}
    for line in text.strip().splitlines():
        names, outcome = line.split(":")
        is_open, shorted, drifted = outcome.split()
        found |= dict.fromkeys(names.split(), (is_open, shorted, drifted))
    return found


# Input filters, by the role of the contact: the reading of an open and of a closed contact.
_READS: dict[str, tuple[str, str]] = {
    "stop": ("stop-open", "stop-closed"),
    "pedal": ("pedal-open", "pedal-closed"),
    "over_temperature": ("hot-open", "hot-closed"),
    "force": ("force-open", "force-closed"),
    "mirror": ("mirror", "mirror"),
}


def _filter_entries(contact: ContactRead) -> dict[str, _Three]:
    parts, (reads_open, reads_closed) = input_filter(contact), _READS[contact.role]
    return {
        parts.pull_up.name: ("pull-up", "board-dead", "none"),
        parts.series.name: (reads_open, "surge", "none"),
        parts.capacitor.name: ("surge", reads_closed, "none"),
        parts.clamp.name: ("surge", reads_open, "none"),
    }


# By stage of the interface board and part name. The pulse transformer's isolation has a table of its own.
STAGE_PARTS: dict[str, dict[str, _Three]] = {
    "inputs": {name: entry for contact in CONTACTS for name, entry in _filter_entries(contact).items()},
    "supply": _table("""
        D4: surge board-dead surge
        C21: none board-dead none
        G2: board-dead board-stands board-dead
        C22: none board-dead none
        D3: board-dead feeds none
    """),
    "gate": _table("""
        R8: pull-down no-gate none
        R31: no-gate surge none
        Q31 R32: no-gate no-gate none
        C31: no-gate no-end short-gate
        R33: no-end no-gate short-gate
        D31: surge no-gate none
        R34: no-gate no-end short-gate
        R35: no-end no-gate short-gate
        U4: no-gate no-end short-gate
        R36: none no-gate none
        R37: no-gate no-gate none
        Q33: no-gate no-end no-gate
        R38: no-gate no-gate no-gate
        Q32: no-gate spare none
        C32: none not-closing none
    """),
    "contactor": _table("""
        R9: pull-down not-closing none
        R41: not-closing surge none
        R40: not-closing surge none
        Z41: surge not-closing none
        C44: none not-closing none
        Q41: not-closing not-closing none
        R42: not-closing slow none
        Q42: not-closing not-closing none
        R43: not-closing slow none
        C41 C42: not-closing not-closing slow
        D41 D42 D43: not-closing not-closing none
        D44: not-closing none none
        C43: none not-closing slow
        R44: not-closing half slow
        R45: half-slow not-closing slow
        R46: not-closing half half
        R47: half not-closing half
        U5: not-closing half-slow half
        R48: not-closing half none
        R49: half not-closing none
        Q43: half half none
        R84: none not-closing none
        Q45: not-closing half none
        R81: not-closing not-closing slow
        R82: half not-closing none
        R83: not-closing half none
        Q44: half half none
        C45: none not-closing none
    """),
    "detector": _table("""
        R1 R2: detector-low offset offset
        D1: diode detector-low none
        U1: detector-low detector-high offset
        R7: offset detector-low offset
    """),
    "sense": _table("""
        R5 R6: sense-dead none sense-late
        U3: sense-dead sense-stuck sense-late
        R15: sense-stuck sense-dead sense-late
        C15: surge sense-stuck none
        R16: none sense-late none
        C16: none none none
    """),
    "current": _table("""
        R71: amps-high amps-middle amps-off
        R72: amps-low amps-high amps-bias
        R73: amps-high amps-low amps-bias
        C71: amps-hum amps-low none
        R74: amps-middle surge none
        C72: amps-hum amps-low none
        D71: surge amps-high none
        D72: surge amps-low none
    """),
}
_PULSE_DETECTOR = _table("""
    R1 R2: detector-high offset offset
    U1: detector-high detector-low offset
    R7: detector-low detector-high offset
""")
_PULSE_TRANSFORMER = _table("""
    R51 R52 R53: no-gate no-gate short-gate
    R54: no-gate no-gate short-gate
    C51: no-gate no-gate short-gate
    R55 R56: no-gate no-gate none
    R57: surge no-gate none
    Q34: no-gate no-gate none
    D51 Z51: surge short-gate none
    T2: no-gate no-gate short-gate
""")
POWER_PARTS: dict[str, _Three] = _table("""
    Q0: no-mains no-mains sag
    Q1: no-gate isolator none
    Q2: board-dead isolator none
    F1: no-gate no-fuse none
    F2 F3: board-dead no-fuse none
    RV1: varistor no-gate varistor
    K1: not-closing held slow
    MC1: mirror mirror mirror
    T1: no-gate shorted-turn shorted-turn
    E1 E2: no-gate none none
    R3: snubber snubber none
    C1: snubber snubber snubber
    R4: bleeder snubber bleeder
    XE XB EN H1 XS: earth none none
    G1: board-dead board-dead not-closing
    S1: stop-open stop-bridged none
    B1: not-closing heat-bridged none
    B2: hot-open hot-closed none
    S2: pedal-open pedal-closed none
    S3: force-open force-closed none
    D2: clamp not-closing slow
    A1: board-dead board-stands clock
    A4: none usb none
    T3: amps-middle amps-middle amps-off
    PC: none none none
""")


@dataclass(frozen=True)
class BrokenPart:
    """One part in one failure mode. `where`: its stage of the interface board, or the power drawing."""

    name: str
    title: str
    where: str
    mode: Mode
    consequence: str
    """A name in sim.faults.consequences, which describes the consequence and simulates it."""


def broken_parts(welder: Welder, board: Board, choice: Choice) -> tuple[BrokenPart, ...]:
    """Every part of this machine's interface board and power drawing in each of its failure modes.

    Raises KeyError for a part that has no entry, and Wrong where the machine must not be wired.
    """
    p = welder.protection
    leaves_out = {
        *(("gate", "isolation") if p.gate_drive in (None, "direct") else ()),
        *(() if p.contactor else ("contactor",)),
    }
    found = []
    for stage in interface_for(welder, choice.detector).stages:
        for part in stage.components if stage.name not in leaves_out else ():
            if part.generic != "pin":
                found += _each(part.name, part.purpose, stage.title, MODES, entry_of(stage.name, part, welder))
    for drawn in upgrade(welder, board, choice).parts:
        if not drawn.on_board and drawn.fitted:
            modes = LINK_MODES if drawn.link or drawn.name in ("XE", "EN", "H1") else MODES
            found += _each(drawn.name, drawn.title, "Power drawing", modes, power_entry(drawn, welder))
    if p.contactor and p.mirror_contact:
        found += _each("MC1", "mirror contact of K1", "Power drawing", ("open", "shorted"), POWER_PARTS["MC1"])
    if p.contactor:
        return tuple(found)
    # Without a contactor a dead supply of both stages stops the gate only.
    return tuple(
        replace(b, consequence="no-gate") if b.consequence == "not-closing" else b for b in found if b.name != "D2"
    )


def _each(name: str, title: str, where: str, modes: tuple[Mode, ...], entry: _Three) -> list[BrokenPart]:
    return [BrokenPart(name, title, where, mode, entry[MODES.index(mode)]) for mode in modes]


def entry_of(stage: str, part: Component, welder: Welder) -> _Three:
    """The consequences of a part of the interface board, open, shorted and drifted. Raises KeyError where it has none."""
    if stage == "isolation":
        return _isolation_entry(part, welder)
    if stage == "detector" and welder.detector.kind == "pulse":
        return _PULSE_DETECTOR[part.name]
    return STAGE_PARTS[stage][part.name]


def _isolation_entry(part: Component, welder: Welder) -> _Three:
    """The entry of a gate isolation part. A lost gate leaves a pair its other thyristor, and a triac nothing."""
    lost = "half-wave" if welder.switch.kind == "scr_pair" else "no-gate"
    pulsed = welder.protection.gate_drive == "pulse_transformer"
    if part.name in ("R62", "R63"):
        return "surge", lost, "none"
    if part.name in ("D61", "D62"):
        return lost, "surge" if pulsed else lost, "none"
    if pulsed:
        return _PULSE_TRANSFORMER[part.name]
    if part.name == "R61":
        return "no-gate", "surge", "late-gate"
    if part.name in ("R64", "R65"):  # they share the voltage between two couplers
        return "spare", "spare", "none"
    single = couplers(welder) == 1
    return {
        "U21": ("no-gate", "shorted" if single else "spare", "late-gate"),
        "U22": ("no-gate", "spare", "late-gate"),
    }[part.name]


def power_entry(part: Part, welder: Welder) -> _Three:
    """The consequences of a part of the power drawing. Raises KeyError where it has none."""
    if part.name in ("V1", "V2"):
        return ("half-wave" if welder.switch.kind == "scr_pair" else "no-gate"), "shorted", "late-gate"
    return POWER_PARTS[part.name]
