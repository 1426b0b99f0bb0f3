"""The cautions, shown wherever the user acts."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

CAUTIONS = (
    "Mains voltage and thousands of amperes. Wiring is for people competent to do it; follow your local code, and have a "
    "licensed electrician connect and check the supply. Earth the machine and one point of the secondary.",
    "Isolate and lock off before touching electrodes or wiring. The snubber keeps the primary live whenever the isolator is "
    "closed, and a transient can fire one half-cycle at any time.",
    "This software is no emergency stop and no isolator. Both must be hardware that works without it, and so must the stop "
    "and over-temperature contacts that cut the gate supply and the contactor.",
    "Keep people with pacemakers or other implants well away: the magnetic field is strong.",
    "Wear eye protection and gloves: hot metal is expelled. Keep what burns away, and look again half an hour later.",
    "Electrodes and work stay hot. Zinc, cadmium and chrome give off poisonous fumes: ventilate, or do not weld them.",
    "Keep fingers from between the electrodes: they close with force enough to crush. Leave no tool on or beside the pedal, "
    "where it may press it.",
    "Take off rings and watches: the field heats them, and they short what they touch. Keep loose steel out of the throat: the "
    "field pulls it in.",
    "Hold rods and sheets down: bent or hot ones spring off when the electrodes open.",
)
MAINS, ISOLATE, NO_STOP, IMPLANTS, EYES, HOT, FINGERS, RINGS, SPRINGING = CAUTIONS

# What each page shows: only the cautions that belong to it. All of them stand once on the first page of a document.
AT_THE_ELECTRODES = (IMPLANTS, EYES, HOT, FINGERS, RINGS, SPRINGING)  # shown before a weld
ON_THE_LABEL = (ISOLATE, NO_STOP, *AT_THE_ELECTRODES)
AT_NEW_ELECTRODES = (ISOLATE, HOT, FINGERS)  # shown to whoever fits them
BEFORE_BUYING = (MAINS, ISOLATE, NO_STOP)
AT_THE_WIRES = (ISOLATE,)
AT_THE_RULES = (NO_STOP,)
AT_THE_PARTS = (MAINS,)


def caution_lines(width: int = 76, cautions: Sequence[str] = CAUTIONS) -> list[str]:
    """The cautions as lines of text, each beginning with a dash."""
    return [
        line
        for caution in cautions
        for line in textwrap.wrap(caution, width, initial_indent="- ", subsequent_indent="  ")
    ]
