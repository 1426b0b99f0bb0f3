"""The machine's own current through a joint that resists."""

from __future__ import annotations

from typing import Any

import pytest

from gen.current import full_current
from gen.machine.welder import Welder
from sim.joint.machine import NoCurrentKnown, machine_amperes, machine_spans
from sim.joint.work import COARSE, Work, one_weld
from tests.support.machines import compiled, known_welder, make_welder

PHASES: tuple[dict[str, Any], ...] = (
    {"squeeze": "0.4 s"},
    {"pulse": "2 cycles", "current_percent": 60, "cool": "4 cycles"},
    {"weld": "10 cycles", "current_percent": 100},
    {"hold": "5 cycles"},
    {"off": "3 s"},
)


def _welder() -> Welder:
    return known_welder(transformer={"shorted_current_A": 30})


def test_shorted_and_working_currents_are_those_of_the_clamp_meter() -> None:
    """With no joint at all, the shorted current; with the resistance of the work that the two readings imply, the working one."""
    welder = _welder()
    amperes = machine_amperes(welder, None)
    tap, work = welder.machine.in_use, welder.machine.work_secondary_uohm
    assert tap.short_secondary is not None
    assert tap.working_secondary is not None
    assert work is not None
    assert amperes(0.0) == pytest.approx(tap.short_secondary.middle, rel=0.05)
    assert amperes(work.middle * 1e-6) == pytest.approx(tap.working_secondary.middle, rel=0.06)


def test_a_joint_that_resists_more_gets_less_and_lags_less() -> None:
    welder = _welder()
    table = compiled(welder, *PHASES)
    pulse, pause, weld = (span for span in machine_spans(table, welder) if span.length_s > 0.011)
    assert pause.amperes is None
    assert pulse.amperes is not None
    assert weld.amperes is not None
    assert weld.amperes(100e-6) > weld.amperes(400e-6) > weld.amperes(1000e-6) > 0
    assert pulse.amperes(200e-6) < weld.amperes(200e-6)


def test_full_percent_delivers_what_the_suggestion_counts_with() -> None:
    """By the compiler's own sums, which share nothing with these."""
    welder = _welder()
    table = compiled(welder, *PHASES)
    work = welder.machine.work_secondary_uohm
    assert work is not None
    tap = welder.machine.in_use
    assert tap.working_secondary is not None
    counted = full_current(tap, tap.working_secondary)
    span = next(span for span in machine_spans(table, welder) if span.length_s > 0.1)
    assert span.amperes is not None
    assert counted.low * 0.95 <= span.amperes(work.middle * 1e-6) <= counted.high * 1.05


def test_the_current_follows_the_joint_through_a_weld() -> None:
    welder = _welder()
    spans = machine_spans(compiled(welder, *PHASES), welder)
    work = Work("low_carbon_steel", 900, rods_m=(3e-3, 3e-3))
    course = one_weld(work, spans, fineness=COARSE)
    fired = course.current_A > 0
    weld = fired & (course.time_s > 0.13)
    assert course.current_A[weld].max() > course.current_A[weld].min()
    assert not fired[(course.time_s > 0.045) & (course.time_s < 0.115)].any()
    drops = course.ohm[fired]
    assert drops[0] > drops[-1]


def test_a_machine_of_unknown_secondary_is_refused() -> None:
    with pytest.raises(NoCurrentKnown):
        machine_amperes(make_welder(), None)
