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
)

AT_THE_ELECTRODES = CAUTIONS[-3:]  # shown before a weld


def caution_lines(width: int = 76, cautions: Sequence[str] = CAUTIONS) -> list[str]:
    """The cautions as lines of text, each beginning with a dash."""
    return [
        line
        for caution in cautions
        for line in textwrap.wrap(caution, width, initial_indent="- ", subsequent_indent="  ")
    ]
