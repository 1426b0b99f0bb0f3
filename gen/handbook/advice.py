"""Suggests a first schedule for a joint: `suggest`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from gen.handbook.rods import suggest_rods
from gen.handbook.sheets import suggest_sheets
from gen.handbook.single import suggest_stainless, suggest_zinc
from gen.handbook.suggestion import Suggestion
from gen.joint import Joint
from gen.quantities import METRIC, Measures
from gen.ranges import Figure

ZINC = (
    "zinc gives off poisonous fumes: ventilate, or grind it off well beyond the weld, or do not weld it",
    "it also dirties the electrodes: dress them often, since a dirty face welds colder and sticks",
)
BRASS = ("brass gives off its zinc as poisonous fumes before it melts: ventilate, and keep the heat short",)
SCALED = "scale is an insulator: clean to bright metal first; the figures are for clean metal only"


def suggest(joint: Joint, working_current_A: Figure, frequency_Hz: int, measures: Measures = METRIC) -> Suggestion:
    """A first schedule for `joint`. `working_current_A` is the machine's secondary current at 100 %.

    The texts are in these `measures`.
    """
    if joint.surface == "zinc" and joint.rods_mm:
        why_not = "no figures for zinc-coated rods are known here"
        helps = ("bare steel, or the zinc ground off well beyond the weld",)
        return Suggestion(joint, frequency_Hz, working_current_A, why_not, helps, cautions=ZINC)
    if joint.flat_width_mm is not None:
        why_not = "no table of a rod on a flat bar is known here"
        ways = ("the model of the joint: --model", "trials on scrap, with --between for where to begin")
        fumes = BRASS if joint.material == "brass" else ()
        return Suggestion(joint, frequency_Hz, working_current_A, why_not, ways, cautions=fumes)
    if joint.material in ("brass", "nickel") or (joint.material == "stainless_steel" and joint.rods_mm):
        why_not = f"no table of {'rods' if joint.rods_mm else 'sheets'} of {joint.metal} is known here"
        ways = ("the model of the joint: --model", "trials on scrap, with --between for where to begin")
        fumes = BRASS if joint.material == "brass" else ()
        return Suggestion(joint, frequency_Hz, working_current_A, why_not, ways, cautions=fumes)
    found = _by_table(joint)(joint, working_current_A, frequency_Hz, measures)
    also = {"zinc": ZINC, "scaled": (SCALED,), "clean": ()}[joint.surface]
    return replace(found, cautions=(*also, *found.cautions))


def _by_table(joint: Joint) -> Callable[[Joint, Figure, int, Measures], Suggestion]:
    """The function that reads the tables of this joint."""
    if joint.rods_mm:
        return suggest_rods
    if joint.surface == "zinc":
        return suggest_zinc
    return suggest_stainless if joint.material == "stainless_steel" else suggest_sheets
