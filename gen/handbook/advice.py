"""From what is this joint to a first schedule: `suggest`."""

from __future__ import annotations

from dataclasses import replace

from gen.figures import Figure
from gen.handbook.rods import suggest_rods
from gen.handbook.sheets import suggest_sheets
from gen.handbook.suggestion import Suggestion
from gen.joint import Joint

ZINC = (
    "zinc gives off poisonous fumes: ventilate, or grind it off well beyond the weld, or do not weld it",
    "it also wants more current and dirties the electrodes; by how much is not known here",
)
SCALED = "scale is an insulator: clean to bright metal first; the figures are for clean metal only"


def suggest(joint: Joint, working_current_A: Figure, frequency_Hz: int) -> Suggestion:
    """A first schedule for `joint` on a machine with this secondary working current at full conduction."""
    if joint.surface == "zinc":
        why_not = "not known: no figures for zinc-coated steel are known here"
        helps = ("bare steel, or the zinc ground off well beyond the weld",)
        return Suggestion(joint, frequency_Hz, working_current_A, why_not, helps, cautions=ZINC)
    found = (suggest_sheets if joint.sheets_mm else suggest_rods)(joint, working_current_A, frequency_Hz)
    return replace(found, cautions=(SCALED, *found.cautions)) if joint.surface == "scaled" else found
