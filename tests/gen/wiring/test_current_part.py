"""The current transformer that `choose` names: on the bench it shows the greatest current whole, and the next would not.

The reference is the bench's own transformer with a core, which shares no code with the sums.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from gen.boards import boards
from gen.machine.welder import Welder
from gen.wiring.arithmetic import E24
from gen.wiring.choice import Chosen
from gen.wiring.current_part import TURNS, current_transformer, greatest_peak_A
from sim.bench.ammeter import AmmeterSpec
from sim.bench.board import BoardSpec
from sim.bench.circuit import SeriesLoad
from tests.support.app.bench_runs import run
from tests.support.machines import make_welder

MACHINES: tuple[dict[str, Any], ...] = (
    {},
    {"transformer": {"working_current_A": 60, "shorted_current_A": 80}},
    {"transformer": {"working_current_A": 9}, "mains": {"frequency_Hz": 60}},
)


def chosen(welder: Welder) -> tuple[float, float, Chosen]:
    """Turns and burden as the part's own words name them."""
    part = current_transformer(welder, boards()["pico"])
    turns, burden = re.search(r"1 to (\d+) .* (\S+) ohm burden", part.fit).groups()  # type: ignore[union-attr]
    return float(turns), float(burden), part


@pytest.mark.parametrize("tables", MACHINES)
def test_it_shows_the_greatest_peak_and_uses_the_range(tables: dict[str, Any]) -> None:
    """1.485 V, half of 3.3 V less 5 % of drift, hold the peak; the next greater burden would leave less than a tenth of room."""
    welder = make_welder(**tables)
    turns, burden, _ = chosen(welder)
    peak_V = greatest_peak_A(welder) / turns * burden
    assert peak_V <= 0.9 * 1.485
    steps = sorted(n * 10**power for n in E24 for power in (-1, 0, 1))
    greater = min(step for step in steps if step > burden * 1.001)
    assert peak_V / burden * greater > 0.9 * 1.485
    assert turns in TURNS


def test_on_the_bench_shorted_electrodes_do_not_rail_it() -> None:
    """The machine's upper end of the shorted current at the mains' upper end, through a core with the knee that was asked for."""
    welder = make_welder()
    turns, burden, part = chosen(welder)
    knee_Vs = float(part.steps[-1].result.split(" mVs")[0]) / 1000
    fitted = make_welder(current_sense={"turns": turns, "burden_ohm": burden})
    short_A = welder.machine.in_use.short_primary.high * 1.15
    load = SeriesLoad.from_working_point(230, short_A, 60, 50)
    spec = AmmeterSpec(turns, burden, knee_Vs=knee_Vs, error=0.05, bias=2048 + 200)
    recording = run((0.6, 1.5), welder=fitted, load=load, board=BoardSpec(ammeter=spec), length_s=1.6)
    assert recording.conducted > 4
    assert min(recording.samples) > 0
    assert max(recording.samples) < 4095
    saturated = replace(spec, knee_Vs=knee_Vs / 15)
    less = run((0.6, 1.5), welder=fitted, load=load, board=BoardSpec(ammeter=saturated), length_s=1.6)
    assert max(less.samples) - 2248 < 0.99 * (max(recording.samples) - 2248)


def test_what_is_fitted_is_judged() -> None:
    """A burden that is too large for the shorted current is reported; the one that is named is enough."""
    turns, burden, _ = chosen(make_welder())
    enough = make_welder(current_sense={"turns": turns, "burden_ohm": burden})
    assert [yours.enough for yours in current_transformer(enough, boards()["pico"]).yours] == [True]
    too_much = make_welder(current_sense={"turns": turns, "burden_ohm": 2 * burden})
    assert [yours.enough for yours in current_transformer(too_much, boards()["pico"]).yours] == [False]
    assert current_transformer(make_welder(), boards()["pico"]).yours == ()
