"""The parts that must be fitted to end a faulty weld, and whether the machine names them.

Verdict, build, push, flash, faults and the list of tasks all judge by this module.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gen.machine.tables import Force, Protection

HEADING = "Parts that end a faulty weld"


@dataclass(frozen=True)
class Fitted:
    """The parts that a machine names."""

    protection: Protection
    force: Force
    opens_ms: float
    """Time from the end of the contactor's coil current to open contacts."""
    gate_ends_itself: bool
    """Whether the board alone ends the gate."""
    worst_over_run: str
    """The board's worst over-run without such a part."""


@dataclass(frozen=True)
class CutOff:
    """One part that must be fitted, or a figure that it must keep to."""

    name: str
    there: float
    """The number that is fitted; or the figure."""
    wanted: float
    """The least number needed; with `at_most` the greatest figure allowed."""
    unit: str
    source: str
    """The source of the requirement."""
    says: str
    fit: str
    """What to fit, as an item of a list."""
    advice: str
    """What to do if it is missing."""
    at_most: bool = False
    must: bool = True
    """Whether nothing is built without it; else it is a caution."""

    @property
    def lacking(self) -> bool:
        """Whether it must be there and is not."""
        return self.must and (self.there > self.wanted if self.at_most else self.there < self.wanted)


def _named(*keys: str, word: str = "and") -> str:
    """The advice to name these keys of the welder file."""
    *others, last = (f"protection.{key}" for key in keys)
    return f"name it in {', '.join(others)}{f' {word} ' if others else ''}{last}"


def gate_drive(fitted: Fitted) -> CutOff:
    """Whether a part ends the gate if the board's program or its pin stops for good."""
    ends = fitted.gate_ends_itself or fitted.protection.gate_drive not in (None, "direct")
    stops = "If the board's program or its pin stays stuck,"
    return CutOff(
        "gate-drive",
        int(ends),
        1,
        "parts that end the gate's current by themselves",
        fitted.worst_over_run,
        f"{stops} the gate's current ends by itself." if ends else f"{stops} nothing ends the gate's current.",
        "a part that ends the gate's current by itself",
        "Fit a part that ends the gate current within 12 ms of the pin's rise, whatever the pin does then: a one-shot or a burst "
        f"through a pulse transformer or a capacitor; {_named('gate_drive')}.",
    )


def contactor(fitted: Fitted) -> CutOff:
    """Whether a contactor disconnects the mains after each weld, and if the board stops."""
    there = fitted.protection.contactor
    return CutOff(
        "contactor",
        int(there),
        1,
        "contactors that the board's pulse train holds",
        "common practice, no source: a semiconductor does not isolate; IEC 60947-4-1 (contactors), from memory",
        "A contactor disconnects the mains when the board's pulse train ends."
        if there
        else "No contactor disconnects the mains if the switch has shorted or the board is dead.",
        "a contactor that drops when the board's pulse train ends",
        f"Fit a contactor that drops when the board's pulse train ends; {_named('contactor')}.",
    )


def stop_contact(fitted: Fitted) -> CutOff:
    """Whether the stop's own contact breaks a circuit."""
    p = fitted.protection
    cuts = int(p.stop_cuts_gate_supply) + int(p.contactor and p.stop_cuts_contactor)
    return CutOff(
        "stop-contact",
        cuts,
        1,
        "circuits that the stop's own contact breaks",
        "IEC 60204-1 (stop category 0: power is taken away at once), from memory",
        (
            "The stop breaks neither the gate's supply nor the contactor's coil: only the board reads it.",
            "The stop's own contact breaks one of gate supply and contactor coil.",
            "The stop's own contact breaks gate supply and contactor coil.",
        )[cuts],
        "a stop whose contact breaks gate supply or contactor",
        "Take the gate driver's supply, the contactor's coil, or better both, through contacts of the stop button; "
        f"{_named('stop_cuts_gate_supply', 'stop_cuts_contactor')}.",
    )


def over_temperature(fitted: Fitted) -> CutOff:
    """Whether an over-temperature contact breaks a circuit by itself."""
    there = fitted.protection.over_temperature_contact
    return CutOff(
        "over-temperature",
        int(there),
        1,
        "over-temperature contacts that cut the current by themselves",
        "common practice, no source",
        "An over-temperature contact cuts the current by itself."
        if there
        else "No over-temperature contact cuts gate supply or contactor: the current of an overheated transformer goes on.",
        "an over-temperature contact",
        "Fit a contact that opens with heat on the winding, in the gate driver's supply and in the contactor's coil; "
        f"{_named('over_temperature_contact')}.",
    )


def disconnection(fitted: Fitted) -> CutOff:
    """Whether a person can end the current of a shorted switch, which no software and no gate supply can."""
    p = fitted.protection
    ways = int(p.isolator) + int(p.contactor and p.stop_cuts_contactor)
    return CutOff(
        "disconnection",
        ways,
        1,
        "devices that a person opens when the switch has shorted",
        "IEC 60204-1 (disconnecting device, emergency stop), from memory",
        (
            "No device that a person can open ends the current of a shorted switch.",
            "One device that a person can open ends the current of a shorted switch.",
            "Two devices that a person can open end the current of a shorted switch.",
        )[ways],
        "an isolator within reach",
        "Fit an isolator within reach of the operator, and a contactor whose coil the stop breaks; "
        f"{_named('isolator', 'contactor', 'stop_cuts_contactor')}.",
    )


def earthing(fitted: Fitted) -> CutOff:
    """Whether a fault of the transformer's insulation to the secondary is earthed or disconnected."""
    p = fitted.protection
    ways = int(p.secondary_earthed) + int(p.residual_current_device)
    return CutOff(
        "earthing",
        ways,
        1,
        "measures that keep the mains off the electrodes",
        "IEC 62135-1 (safety of resistance welding equipment), from memory",
        (
            "If the transformer's insulation fails, nothing keeps the mains off the electrodes.",
            "If the transformer's insulation fails, one measure keeps the mains off the electrodes.",
            "If the transformer's insulation fails, two measures keep the mains off the electrodes.",
        )[ways],
        "an earthed secondary or a residual-current device",
        "Earth the secondary at one point, or feed the machine through a residual-current device, as your local code requires; "
        f"{_named('secondary_earthed', 'residual_current_device', word='or')}.",
    )


def air_force(fitted: Fitted) -> CutOff | None:
    """Whether a loss of air force ends the weld; None for hand and foot lever, whose release ends it."""
    if fitted.force.source != "air":
        return None
    there = fitted.force.force_switch
    return CutOff(
        "air-force",
        int(there),
        1,
        "switches that show the force",
        "common practice, no source",
        "A force switch ends the weld if the air fails."
        if there
        else "Nothing ends the weld if the air fails: current through loose electrodes spits hot metal.",
        "a force switch",
        "Fit a pressure switch at the cylinder that closes at welding force; name it in force.force_switch.",
    )


LONGEST_OPENING_MS = 100.0  # common practice, no source: longer than a contactor with a well suppressed coil takes


def opening(fitted: Fitted) -> CutOff | None:
    """Whether the contactor opens soon; None without one."""
    if not fitted.protection.contactor:
        return None
    ms = f"{fitted.opens_ms:g} ms"
    return CutOff(
        "contactor-opening",
        fitted.opens_ms,
        LONGEST_OPENING_MS,
        "ms from the coil's last current to open contacts",
        "contactor in the welder file; the limit is common practice, no source",
        f"The contactor is open at most {ms} after the end of its coil current.",
        "a contactor that opens sooner",
        "A plain diode across a d.c. coil makes it open late. Put a Zener diode or a TVS in series with it, and set "
        "contactor.suppression.",
        at_most=True,
        must=False,
    )


def mirror_contact(fitted: Fitted) -> CutOff | None:
    """Whether the board sees that the contactor has welded shut or does not close; None without a contactor."""
    if not fitted.protection.contactor:
        return None
    there = fitted.protection.mirror_contact
    return CutOff(
        "mirror-contact",
        int(there),
        1,
        "contacts that show the board that the contactor is open",
        "IEC 60947-4-1, Annex F (mirror contacts), from memory",
        "A mirror contact shows the board that the contactor stays closed, or does not close."
        if there
        else "Nothing shows the board that the contactor has welded shut, until it must open.",
        "a mirror contact",
        "Take a contactor with a mirror contact, wire that to the board, and "
        f"{_named('mirror_contact')}; until then check once a shift that it drops.",
        must=False,
    )


ALL: tuple[Callable[[Fitted], CutOff | None], ...] = (
    gate_drive,
    contactor,
    stop_contact,
    over_temperature,
    disconnection,
    earthing,
    air_force,
    opening,
    mirror_contact,
)


def lacking(fitted: Fitted) -> tuple[CutOff, ...]:
    """The missing parts; nothing is built while there are any."""
    return tuple(one for one in (judge(fitted) for judge in ALL) if one is not None and one.lacking)
