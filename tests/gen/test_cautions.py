"""Each place's set of cautions is a value: what belongs to it and nothing else. Common practice, no source."""

from __future__ import annotations

import pytest

from gen import cautions
from gen.cautions import CAUTIONS
from gen.commissioning.values import LOGIC, OPEN, RESISTIVE, SCRAP, SHORTED, SUPPLY, UNPOWERED, Stage

DANGERS = ("implants", "eye protection", "fumes", "fingers", "rings and watches", "loose steel", "pedal", "spring off")


def test_whoever_welds_is_told_of_every_danger_at_the_electrodes() -> None:
    """Field, sparks, fumes, crushing, rings, loose steel, a tool on the pedal, rods that spring off; nothing of wiring."""
    words = " ".join(cautions.AT_THE_ELECTRODES)
    for danger in DANGERS:
        assert danger in words, danger
    assert "licensed electrician" not in words
    assert set(cautions.AT_THE_ELECTRODES) <= set(cautions.ON_THE_LABEL)


def test_whoever_wires_is_told_of_mains_and_isolating_and_not_of_fumes() -> None:
    assert cautions.BEFORE_BUYING == (cautions.MAINS, cautions.ISOLATE, cautions.NO_STOP)
    wiring = {*cautions.AT_THE_WIRES, *cautions.AT_THE_RULES, *cautions.AT_THE_PARTS}
    assert wiring == set(cautions.BEFORE_BUYING)


@pytest.mark.parametrize(
    ("stage", "wanted"),
    [
        (UNPOWERED, (cautions.MAINS, cautions.ISOLATE)),
        (SUPPLY, (cautions.MAINS,)),
        (LOGIC, (cautions.ISOLATE, cautions.NO_STOP)),
        (RESISTIVE, (cautions.ISOLATE, cautions.NO_STOP)),
        (OPEN, (cautions.ISOLATE, cautions.NO_STOP, cautions.IMPLANTS, cautions.FINGERS)),
        (SHORTED, (*cautions.ON_THE_LABEL[:4], cautions.FINGERS, cautions.RINGS)),
        (SCRAP, cautions.ON_THE_LABEL),
    ],
    ids=lambda value: value.key if isinstance(value, Stage) else "",
)
def test_each_stage_of_commissioning_has_its_own(stage: Stage, wanted: tuple[str, ...]) -> None:
    """The nearer to a weld, the more of what happens at the electrodes."""
    assert tuple(CAUTIONS[place] for place in stage.cautions) == wanted
