"""The values of commissioning: stages, steps with their limits, and the judgement of a reading.

gen.commissioning.steps makes a machine's steps, the sheet prints them, and gen.commissioning.walk performs them.
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
    "It measures nothing itself: it believes the readings that you type and what the board reports.",
    "It cannot see a wire, and does not know whether what a step wants off is off.",
    "It is no inspection: your local code says what must be checked, by whom and how often, and comes before every limit here.",
    "It speaks of one machine on one day: after a change of wiring, parts or firmware, walk it anew.",
)


@dataclass(frozen=True)
class Stage:
    """A group of steps that require the same states off and on."""

    key: Literal["unpowered", "supply", "contacts", "logic", "resistive", "open", "shorted", "scrap"]
    title: str
    state: tuple[str, ...]
    """The required states, off and on, in words."""
    cautions: tuple[int, ...]
    """Indices into gen.cautions.CAUTIONS."""


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
    """An input that the board reports: its level at rest, how to operate it, and the fault where it does not respond."""

    bit: int
    at_rest: bool
    act: str
    undo: str
    wrong_at_rest: str
    never: str


@dataclass(frozen=True)
class Step:
    """One step, with the limit on its reading.

    No decision depends on the texts `title`, `do`, `read`, `mend`, or on the words of `lacking`.
    """

    key: str
    """The step's permanent name in the records."""
    title: str
    stage: Stage
    do: tuple[str, ...]
    read: str
    """The quantity to read, and the instrument; "" where the board reports it."""
    limit: Figure
    mend: str
    """The remedy if the step fails."""
    needs_board: bool = False
    tool_may_lack: bool = False
    lacking: str = ""
    """Why this machine has no such check; "" where it has."""
    contact: Contact | None = None
    shot: ShotName | Literal["selected"] | None = None
    """The weld of the step: one of gen.commissioning.shots, or the schedule selected on the board."""
    let_go: bool = False
    """Whether the pedal is released during the weld, which must end it. The board's log proves it, and nothing is read."""
    stops: bool = False
    """Whether the stop is pressed during the weld, which must end it. The board's log proves it, and a reading follows."""
    counted: bool = False
    """Whether the board measures the reading itself: the mains frequency."""
    edge: Edge | None = None
    """The detector's edge whose offset is read."""
    signed: bool = False
    """Whether the reading may be negative."""
    compared: bool = False
    """Whether it is what was read over what the board's current transformer showed in that weld that is judged and kept."""

    @property
    def read_unit(self) -> str:
        """The unit of the reading."""
        return "A" if self.compared else self.limit.unit

    @property
    def limit_text(self) -> str:
        """The limit in words, without its source; "" where no value is read."""
        low, high, unit = self.limit.low, self.limit.high, self.limit.unit
        if self.contact is not None or self.let_go:
            return ""
        if math.isinf(high):
            return f"at least {shown(low)} {unit}"
        return f"at most {shown(high)} {unit}" if math.isinf(low) else self.limit.text


@dataclass(frozen=True)
class Judged:
    """The outcome of a step, and the reason why it was not passed."""

    outcome: Outcome
    why: str = ""
    beyond: bool = False
    """Whether it failed because the reading is beyond the step's limit."""


def judge(step: Step, reading: float | None) -> Judged:
    """The judgement of a reading by the step's limit. Reading None: no instrument was available."""
    if reading is None:
        return Judged("not checked", step.lacking or NO_TOOL)
    if step.limit.low <= reading <= step.limit.high:
        return Judged("passed")
    given = f"{shown(reading)} {step.limit.unit}".rstrip()
    why = f"{given}, the limit is {step.limit_text}; {step.mend}"
    return Judged("failed", why, beyond=True)


def is_done(step: Step, outcome: str | None, has_board: bool) -> bool:
    """Whether a walk may continue past a step with this last outcome (None: not tried).

    A step left out for want of a board is due once a board is connected.
    """
    if outcome == "not checked":
        return bool(step.lacking) or not (step.needs_board and has_board)
    return outcome == "passed"
