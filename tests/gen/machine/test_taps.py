"""One machine stands behind every tap: which tap is in use, or was in use at a reading, moves no figure of any other.

That a lower tap gives less follows from circuit theory: seen from the primary all but the supply goes with the square of
the turns, so that the primary current falls with every turn more, and the secondary current too where the supply's
impedance is the smaller part (maximum power, textbook). Machines are drawn at random; no source outside.
"""

from __future__ import annotations

import random
from functools import lru_cache
from itertools import pairwise
from typing import Any

import pytest

from gen.machine.derived import WORKING_OVER_RATED, Tap
from gen.machine.welder import Welder
from gen.ranges import Figure
from tests.gen.machine.test_derived import ARMS, ELECTRODES, welder_with

READINGS = ("working", "shorted", "both", "both and angle", "shorted and angle", "working and angle", "none")


def drawn(chance: random.Random, read: str) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """A transformer's tables with three or four taps, readings on any of them, and the tables beside it."""
    volts = [chance.uniform(1.2, 2.0)]
    for _ in range(chance.choice((2, 3))):
        volts.append(volts[-1] * chance.uniform(1.05, 1.3))
    names = [str(n + 1) for n in range(len(volts))]
    rating = chance.uniform(1, 6)
    t: dict[str, Any] = {"rating_kVA": rating, "taps": dict(zip(names, volts, strict=True)), "tap": names[-1]}
    top_A = rating * 1000 / 230 * chance.uniform(1.5, 2.4)

    def scaled(name: str) -> float:
        return (t["taps"][name] / volts[-1]) ** 2

    if read.startswith(("working", "both")):
        t["working_tap"] = chance.choice(names)
        t["working_current_A"] = top_A * scaled(t["working_tap"])
    if read.startswith(("shorted", "both")):
        t["shorted_tap"] = chance.choice(names)
        t["shorted_current_A"] = 1.35 * top_A * scaled(t["shorted_tap"])
    if read.endswith("angle"):
        low = chance.uniform(25, 32)
        t |= {"working_tap": t.get("working_tap", names[0]), "load_angle_min_deg": low, "load_angle_max_deg": low + 6}
    beside: dict[str, dict[str, Any]] = {"mains": {"source_resistance_ohm": 0.2, "source_inductance_mH": 0.3}}
    if chance.random() < 0.5:
        beside |= {"arms": ARMS, "electrodes": ELECTRODES}
    return t, beside


def on_each(t: dict[str, Any], beside: dict[str, dict[str, Any]]) -> dict[str, Welder]:
    """The same file with each of its taps in use, the lowest first."""
    return {tap: welder_with(t | {"tap": tap}, **beside) for tap in sorted(t["taps"], key=t["taps"].__getitem__)}


@lru_cache(maxsize=64)
def drawn_on_each(seed: int, read: str) -> dict[str, Welder]:
    """A machine drawn, with each of its taps in use."""
    return on_each(*drawn(random.Random(seed), read))


def ends(figure: Figure | None) -> tuple[float, float]:
    assert figure is not None
    return figure.low, figure.high


def currents(tap: Tap) -> list[tuple[float, float]]:
    """The ends of each current of a tap."""
    return [ends(f) for f in (tap.short_primary, tap.short_secondary, tap.working_primary, tap.working_secondary)]


@pytest.mark.parametrize("read", READINGS)
@pytest.mark.parametrize("seed", range(8))
def test_a_lower_tap_never_gives_more(seed: int, read: str) -> None:
    """Amperes on either side, their ends, and the heat in the work: each rises from tap to tap."""
    for low, high in pairwise(drawn_on_each(seed, read).values()):
        below, above = low.machine.in_use, high.machine.in_use
        for one, other in zip(currents(below), currents(above), strict=True):
            assert one[0] < other[0]
            assert one[1] < other[1]
        assert low.transformer.working_current_A <= high.transformer.working_current_A
        assert low.allowed_duty >= high.allowed_duty
        heats = []
        for welder in (low, high):
            work, amperes = welder.machine.work_secondary_uohm, welder.machine.in_use.working_secondary
            heats.append([1e-6 * w * a**2 for w, a in zip(ends(work), ends(amperes), strict=True)])
        assert heats[0][0] < heats[1][0] + 1e-6, "the work may be nothing at its least"
        assert heats[0][1] < heats[1][1]


@pytest.mark.parametrize("read", READINGS)
@pytest.mark.parametrize("seed", range(8))
def test_the_tap_in_use_moves_no_figure(seed: int, read: str) -> None:
    """Every tap reads the same whichever of them is in use, and so does the work itself."""
    told = {used: {tap.name: tap for tap in w.machine.taps} for used, w in drawn_on_each(seed, read).items()}
    first, *others = told.values()
    for other in others:
        for name, tap in first.items():
            for (what, one), (_, two) in zip(tap.figures(), other[name].figures(), strict=True):
                assert ends(one) == pytest.approx(ends(two)), (name, what)


@pytest.mark.parametrize("seed", range(8))
def test_the_load_angle_follows_from_one_impedance(seed: int) -> None:
    """An angle that was read holds on its tap; on another the supply's share alone moves it, by a few degrees."""
    t, _ = drawn(random.Random(seed), "both and angle")
    welders = drawn_on_each(seed, "both and angle")
    read = welders[t["working_tap"]]
    assert ends(read.machine.in_use.load_angle) == (t["load_angle_min_deg"], t["load_angle_max_deg"])
    for tap, welder in welders.items():
        low, high = ends(welder.machine.in_use.load_angle)
        assert t["load_angle_min_deg"] - 5 < low < high < t["load_angle_max_deg"] + 5
        if tap != t["working_tap"]:
            assert welder.machine.in_use.load_angle.source == "angle of the impedance with the work"


def test_only_what_was_read_is_called_given() -> None:
    """Not the same current on another tap, nor one that nobody read: that is typical of the rating, and wide."""
    taps = {"taps": {"1": 1.8, "2": 2.4}, "tap": "1"}
    read = {tap.name: tap for tap in welder_with(taps | {"working_current_A": 24, "working_tap": "2"}).machine.taps}
    assert read["2"].working_primary.source == "given, read within 3 %"
    assert "given" not in read["1"].working_primary.source
    nobody = welder_with(taps)
    upper = nobody.machine.taps[1].working_primary
    assert upper.source.startswith("typical: 1.3 to 3 times the current of the rating")
    assert (upper.low, upper.high) == pytest.approx([k * 3000 / 230 for k in WORKING_OVER_RATED])
    assert nobody.transformer.working_current_A == round(nobody.machine.in_use.working_primary.high, 1)
    assert any("No current was read" in line for line in nobody.wanted())
