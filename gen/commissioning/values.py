"""Commissioning as values: stages, steps with their limits, and the judging of a reading.

The steps of a machine are made in gen.commissioning.steps; the sheet prints them, gen.commissioning.walk goes through them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from gen.commissioning.shots import ShotName
from gen.ranges import Figure, shown

Outcome = Literal["passed", "failed", "not checked"]
Edge = Literal["rising", "falling"]

NO_BOARD = "no board was there to ask"
NO_TOOL = "no instrument for it"

NOT_DONE = (
    "It measures nothing itself: it believes the readings that you type and what the board tells.",
    "It cannot see a wire, and does not know whether what a step wants off is off.",
    "It is no inspection: your local code says what must be checked, by whom and how often, and comes before every limit here.",
    "It speaks of one machine on one day: after a change of wiring, parts or firmware, walk it anew.",
)


@dataclass(frozen=True)
class Stage:
    """Steps that want the same things off and on."""

    key: Literal["unpowered", "supply", "contacts", "logic", "resistive", "open", "shorted", "scrap"]
    title: str
    state: tuple[str, ...]
    """What is off and on, in words."""
    cautions: tuple[int, ...]
    """Places in gen.cautions.CAUTIONS."""


UNPOWERED = Stage(
    "unpowered",
    "Unpowered",
    (
        "Off: power circuit (Q1) and control circuit (Q2), both locked off, the machine proved dead; a plug lies pulled in your "
        "sight.",
        "Capacitors discharged, electrodes and work cold.",
    ),
    (0, 1),
)
SUPPLY = Stage(
    "supply",
    "The supply, at the outlet",
    (
        "Off: the machine, not connected to the outlet.",
        "On: the outlet. These readings are for a licensed electrician with an installation tester.",
    ),
    (0,),
)
CONTACTS = Stage(
    "contacts",
    "The board's contacts",
    (
        "Off: power circuit (Q1) and control circuit (Q2), both locked off.",
        "On: the board, from the computer by the USB isolator. It has no mains, and begins nothing.",
    ),
    (1, 2),
)
LOGIC = Stage(
    "logic",
    "Control circuit only",
    (
        "Off: the power circuit, its isolator (Q1) locked off and proved dead. The gate lead is off the switch.",
        "On: the control circuit by its own isolator (Q2): detector, 24 V supply and board. The computer by the USB isolator.",
        "Live with Q1 off: Q2, its fuses, the 24 V supply and the detector.",
    ),
    (1, 2),
)
RESISTIVE = Stage(
    "resistive",
    "A resistive load in the transformer's place",
    (
        "Lock off Q1 and Q2 first. Both primary leads of the transformer are off; the load is on the switch instead.",
        "The gate lead is on the switch. Clamp meter on one supply conductor: true RMS, with hold.",
        "On: Q1 and Q2, only now. Hands off the load: it stays live through the snubber.",
    ),
    (1, 2),
)
OPEN = Stage(
    "open",
    "Transformer with open electrodes",
    (
        "Lock off Q1 and Q2 first. The load is off, the transformer's primary back on, on the tap in use.",
        "Electrodes apart so that they cannot touch, nothing between them. Clamp meter as before, on a low range.",
        "On: Q1 and Q2, only now.",
    ),
    (1, 2, 3, 6),
)
SHORTED = Stage(
    "shorted",
    "Electrodes shorted, lowest tap",
    (
        "Lock off Q1 and Q2 first. The lowest tap is set: {tap}.",
        "Electrodes bare and clean, pressed together under full force, nothing between them. Clamp meter as before.",
        "On: Q1 and Q2, only now. One shot a minute: the board rests for a minute after it and takes no pedal.",
    ),
    (1, 2, 3, 4, 6, 7),
)
SCRAP = Stage(
    "scrap",
    "First weld, on scrap",
    (
        "Lock off Q1 and Q2 first. The tap for the schedule is set, clean scrap of the joint lies between the electrodes.",
        "Goggles and gloves on, what burns out of the way, a fire extinguisher at hand, the place ventilated.",
        "On: Q1 and Q2, only now.",
    ),
    (1, 2, 3, 4, 5, 6, 7, 8),
)


@dataclass(frozen=True)
class Contact:
    """An input that the board reports: its level at rest, how to work it, and what is wrong where it does not follow."""

    bit: int
    at_rest: bool
    act: str
    undo: str
    wrong_at_rest: str
    never: str


@dataclass(frozen=True)
class Step:
    """One step, with the limit that its reading has to keep to.

    Nothing decides by the texts: `title`, `do`, `read`, `mend`, and the reason in `lacking`.
    """

    key: str
    """Names the step in the records, for good."""
    title: str
    stage: Stage
    do: tuple[str, ...]
    read: str
    """What to read, and with what; "" where the board reports it."""
    limit: Figure
    mend: str
    """What to do where it fails."""
    needs_board: bool = False
    tool_may_lack: bool = False
    lacking: str = ""
    """Why this machine cannot have it checked; "" where it can."""
    contact: Contact | None = None
    shot: ShotName | Literal["selected"] | None = None
    """The weld that it makes: one of gen.commissioning.shots, or the schedule selected on the board."""
    let_go: bool = False
    """Whether the pedal is let go in that weld, which must end it: the board's log says so, and nothing is read."""
    stops: bool = False
    """Whether the stop is pressed in that weld, which must end it: the board's log says so. A reading follows."""
    counted: bool = False
    """Whether the board counts the reading itself: the mains frequency."""
    edge: Edge | None = None
    """The edge of the detector whose offset it reads."""
    signed: bool = False
    """Whether the reading may lie below 0."""
    compared: bool = False
    """Whether it is what was read over what the board's current transformer showed in that weld that is judged and kept."""

    @property
    def read_unit(self) -> str:
        """The unit of what is read."""
        return "A" if self.compared else self.limit.unit

    @property
    def limit_text(self) -> str:
        """The limit in words, without its source; "" where no figure is read."""
        low, high, unit = self.limit.low, self.limit.high, self.limit.unit
        if self.contact is not None or self.let_go:
            return ""
        if math.isinf(high):
            return f"at least {shown(low)} {unit}"
        return f"at most {shown(high)} {unit}" if math.isinf(low) else self.limit.text


@dataclass(frozen=True)
class Judged:
    """What came of a step, and why it was not passed."""

    outcome: Outcome
    why: str = ""
    beyond: bool = False
    """Whether it failed because its reading is beyond the limit of the step."""


def judge(step: Step, reading: float | None) -> Judged:
    """Whether a reading is within the step's limit. None: there was nothing to read it with."""
    if reading is None:
        return Judged("not checked", step.lacking or NO_TOOL)
    if step.limit.low <= reading <= step.limit.high:
        return Judged("passed")
    given = f"{shown(reading)} {step.limit.unit}".rstrip()
    why = f"{given}, the limit is {step.limit_text}; {step.mend}"
    return Judged("failed", why, beyond=True)


def is_done(step: Step, outcome: str | None, has_board: bool) -> bool:
    """Whether a walk may go on past a step whose last outcome was this (None: not tried).

    What was left out for want of a board is to be made up for once there is one.
    """
    if outcome == "not checked":
        return bool(step.lacking) or not (step.needs_board and has_board)
    return outcome == "passed"
