"""The filters of the contacts, each part open, shorted and drifted: the pin's level is what the table of broken parts says.

Outside: a pin reads low below 0.8 V and high above 2.0 V (STM32F405 data sheet, table 44, TTL; RP2040 and RP2350, from
memory), and bears 3.8 V (RP2040, from memory). A drifted part has half or twice its value (ISO 13849-2, Annex D, from
memory). What each reading does to a weld, and who notices, is in tests/sim/faults/test_broken_parts.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from gen.wiring.broken_parts import MODES, STAGE_PARTS
from gen.wiring.interface.input_stages import ContactRead, input_filter
from gen.wiring.interface.nodal import Nodal, Source, times_after
from tests.support.wiring.broken_parts import BrokenTogether, together
from tests.support.wiring.interface_trials import CONTACTS_READ, contact_parts, steps

LOW_V, HIGH_V, MOST_V = 0.8, 2.0, 3.8
MOST_A = 0.03  # of a clamp into 3V3: what a board takes at least, from memory
LEAST_A = 0.0005  # through a contact: half of what one with gold wants, from memory
BURST_S = 20e-6  # of noise that closes a lead: common practice, no source
LEAKY_OHM = 33_000.0  # of a hot clamp: 0.1 mA, from memory
CLOSED, OPEN = Source(np.array([12.0])), Source(np.array([0.0]))
NAMES = {"stop": "stop", "pedal": "pedal", "over_temperature": "hot", "force": "force"}  # in the table
SUPPLY, FOREIGN = Source(np.array([3.3])), Source(np.array([24.0]))


@dataclass(frozen=True)
class Shown:
    """What pin and contact show with one break: volts with the contact open, closed, at a burst, and with a lead on 24 V."""

    open_V: float
    closed_V: float
    burst_V: float
    foreign_V: float
    foreign_A: float
    wetting_A: float

    @property
    def said(self) -> str:
        """In the words of the table, but for the contact's name."""
        reads = level(self.open_V), level(self.closed_V)
        if self.wetting_A > 0.1:
            return "board-dead"
        if reads[0] == reads[1]:
            return reads[0]
        assert reads == ("open", "closed")
        if level(self.burst_V) != "open" or self.foreign_V > MOST_V or self.foreign_A > MOST_A:
            return "surge"
        return "pull-up" if self.wetting_A < LEAST_A else "none"


def level(volts: float) -> str:
    return "closed" if volts < LOW_V else "open" if volts > HIGH_V else "undefined"


def broken_filter(contact: ContactRead) -> BrokenTogether:
    parts = input_filter(contact)
    values = [(part, part.value) for part in parts.parts if part.value is not None]
    drifts = {f"{part.name} x{k}": (part.name, k * value) for part, value in values for k in (0.5, 2)}
    drifts[f"{parts.clamp.name} leaky"] = f"{parts.clamp.name} A-K", LEAKY_OHM
    whole = (*parts.parts, *contact_parts(contact.lead, contact.marker))
    return together(whole, {part.name for part in parts.parts}, more=drifts)


def shown(contact: ContactRead) -> dict[str, Shown]:
    """What each break shows, by its name."""
    broken, lead, pin = broken_filter(contact), contact.lead, contact.marker
    pull_up, series, *_ = (part.name for part in input_filter(contact).parts)

    def at_rest(**sources: Source) -> Nodal:
        found = Nodal(broken.components, broken.draws, {"3V3": SUPPLY, **sources})
        found.settle()
        return found

    is_open, is_closed, foreign = at_rest(HAND=OPEN), at_rest(HAND=CLOSED), at_rest(HAND=OPEN, **{lead: FOREIGN})
    burst = Source(np.array([12.0]), steps([(0, 0), (1e-5, 1), (1e-5 + BURST_S, 0)], 1e-7))
    moments = times_after((1e-5, 1e-5 + BURST_S), 5e-5, 5e-6, 1e-6)
    noisy = Nodal(broken.components, broken.draws, {"3V3": SUPPLY, "HAND": burst}).run(moments, (pin,))[pin]
    columns = (
        is_open.voltage(pin),
        is_closed.voltage(pin),
        noisy.min(axis=0),
        foreign.voltage(pin),
        (24.0 - foreign.voltage(pin)) / broken.draws.get(f"{series}.value", 0.0),
        (3.3 - is_closed.voltage(lead)) / broken.draws[f"{pull_up}.value"],
    )
    return {name: Shown(*(float(each) for each in row)) for name, *row in zip(broken.names, *columns)}


@pytest.mark.parametrize("contact", CONTACTS_READ, ids=lambda contact: contact.role)
def test_each_broken_part_of_a_filter_reads_as_its_entry_says(contact: ContactRead) -> None:
    """The mirror contact's too: stuck at either level is one entry."""
    found = shown(contact)
    assert len(found) == 4 * 2 + 3 * 2 + 1
    for name, one in found.items():
        part, how = name.split()
        entry = STAGE_PARTS["inputs"][part][MODES.index(how if how in MODES else "drifted")]  # type: ignore[arg-type]
        said = one.said
        if said in ("open", "closed"):
            said = "mirror" if contact.role == "mirror" else f"{NAMES[contact.role]}-{said}"
        assert entry == said, (name, one)


def test_a_lead_on_24_volts_heats_no_pull_up_beyond_its_rating() -> None:
    """0.25 W at the pull-up, which then joins 24 V and 3V3; by Ohm's law."""
    for contact in CONTACTS_READ:
        pull_up = input_filter(contact).pull_up
        assert (24.0 * 1.1 - 3.2) ** 2 / (pull_up.value or 0.0) < float(pull_up.rating.split()[0])
