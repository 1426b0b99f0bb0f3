"""The input filters of the contacts, and the 5 V supply of the board."""

from __future__ import annotations

from dataclasses import dataclass

from gen.machine.welder import Welder
from gen.wiring.interface.components import BoardStage, Component, ceramic, diode, resistor

WETTING_OHM = 2200.0  # 1.5 mA through a closed contact, enough for gold-plated contacts
SERIES_OHM = 4700.0
FARAD = 100e-9


@dataclass(frozen=True)
class ContactRead:
    """A contact that the board reads: its role, its number in part names, and its wire marker."""

    role: str
    number: int
    marker: str

    @property
    def lead(self) -> str:
        """The net of the contact's lead. The net of its pin is named after the marker."""
        return f"{self.marker}1"


CONTACTS = (
    ContactRead("stop", 0, "STOP"),
    ContactRead("pedal", 1, "PEDAL"),
    ContactRead("over_temperature", 2, "HOT"),
    ContactRead("force", 3, "FORCE"),
    ContactRead("mirror", 4, "MIRROR"),
)


def contacts_read(welder: Welder) -> tuple[ContactRead, ...]:
    """The contacts that this machine's board reads."""
    there = {"force": welder.force.force_switch, "mirror": welder.protection.mirror_contact}
    return tuple(contact for contact in CONTACTS if there.get(contact.role, True))


@dataclass(frozen=True)
class InputFilter:
    """The filter of a contact: pull-up at the lead, resistor and capacitor to the pin, clamp for a lead on 24 V."""

    pull_up: Component
    series: Component
    capacitor: Component
    clamp: Component

    @property
    def parts(self) -> tuple[Component, ...]:
        """The four parts, in the order of the board."""
        return self.pull_up, self.series, self.capacitor, self.clamp


def input_filter(contact: ContactRead) -> InputFilter:
    """The filter of one contact."""
    n, lead, pin = contact.number, contact.lead, contact.marker
    what = contact.role.replace("_", " ")
    return InputFilter(
        resistor(f"R{20 + n}", WETTING_OHM, ("3V3", lead), f"{what}: current through the contact"),
        resistor(f"R{10 + n}", SERIES_OHM, (lead, pin), f"{what}: filter, and limits a wrong lead's current"),
        ceramic(f"C{10 + n}", FARAD, (pin, "0V"), f"{what}: filter"),
        diode(f"D{10 + n}", pin, "3V3", f"{what}: clamps a lead that touches 24 V", "Schottky diode"),
    )


def inputs_stage(contacts: tuple[ContactRead, ...]) -> BoardStage:
    """A filter for each contact."""
    parts = tuple(part for contact in contacts for part in input_filter(contact).parts)
    return BoardStage("inputs", "Contacts", "The pin is low while its contact is closed.", parts)


def contacts_of(stage: BoardStage) -> tuple[ContactRead, ...]:
    """The contacts whose filters are in this stage."""
    return tuple(contact for contact in CONTACTS if input_filter(contact).series in stage.components)


def supply_stage() -> BoardStage:
    """The board's 5 V, taken before the stop contact, so that the board can report the cause of a stop."""
    return BoardStage(
        "supply",
        "Supply",
        "5 V for the timer board from the 24 V before the stop contact.",
        (
            Component(
                "D4",
                "suppressor",
                (("A", "0V"), ("K", "24V")),
                "clamps surges, and shorts a reversed supply",
                28.0,
                0.0,
                "stand-off voltage, 600 W",
            ),
            Component(
                "C21", "electrolytic capacitor", (("+", "24V"), ("-", "0V")), "steadies the input", 10e-6, 0.2, "50 V"
            ),
            Component("G2", "5 V converter", (("IN", "24V"), ("0V", "0V"), ("5V", "5V")), "24 V to 5 V"),
            Component(
                "C22", "electrolytic capacitor", (("+", "5V"), ("-", "0V")), "steadies the output", 22e-6, 0.2, "16 V"
            ),
            diode("D3", "5V", "5B", "USB and G2 do not feed each other", "Schottky diode"),
        ),
    )
