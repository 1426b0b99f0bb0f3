"""The machines of the fault campaign, and its numbered runs. All machines are invented.

Every run has two welds of a short schedule; the fault begins in the first. Of six runs in a row four have one fault in the
weld time, one has two faults there, and one has a fault in another state.
"""

from __future__ import annotations

import itertools
import random
from functools import cache
from typing import Any

from gen.words import STATE_NAMES
from sim.faults.catalogue import FAULTS, Fault
from sim.faults.runs import Case, FaultTarget, case_of
from tests.support.machines import job_of, make_welder

SEEDS = 16  # of the bench: lateness, jitter, bounce and tolerances of parts

SENSE = {"conduction_sense": True}
ONE_A_MINUTE: dict[str, dict[str, Any]] = {
    "force": {"source": "foot_lever"},
    "transformer": {"rating_kVA": 0.34, "rating_duty_percent": 30},
}
"""1.5 A rated at 30 %, 20 A working: 0.16 % of a minute, which is one of the campaign's welds and not two."""
LARGE = {"rating_kVA": 20, "working_current_A": 45}
BARE = {
    "gate_drive": "direct",
    "contactor": False,
    "stop_cuts_gate_supply": False,
    "stop_cuts_contactor": False,
    "over_temperature_contact": False,
}
# Machine, and whether the board knows of its rest after a reset.
MACHINES: tuple[tuple[dict[str, dict[str, Any]], bool], ...] = (
    ({"force": {"source": "foot_lever"}}, False),
    ({"force": {"source": "hand"}, "board": SENSE, "protection": {"gate_drive": "pulse_transformer"}}, True),
    ({"force": {"source": "air"}, "detector": {"kind": "pulse"}, "board": SENSE}, True),
    ({"force": {"source": "air", "force_switch": True}, "mains": {"frequency_Hz": 60}}, False),
    (
        {
            "force": {"source": "hand"},
            "mains": {"frequency_Hz": 60, "voltage_V": 120},
            "detector": {"kind": "pulse", "offset_rise_us": -150, "offset_fall_us": -150},
            "protection": {"gate_drive": "capacitor"},
        },
        True,
    ),
    (
        {
            "force": {"source": "foot_lever"},
            "switch": {"kind": "triac"},
            "transformer": LARGE,
            "board": SENSE,
            "detector": {"offset_rise_us": 120, "offset_fall_us": 60},
        },
        True,
    ),
    (ONE_A_MINUTE, False),
)
# The same, with an isolator and nothing else: what the board can do alone.
ALONE: dict[str, dict[str, Any]] = {"force": {"source": "foot_lever"}, "protection": BARE}

WELD: tuple[dict[str, Any], ...] = (
    {"pulse": "1 cycle", "repeat": 2, "cool": "2 cycles"},
    {"weld": "5 cycles", "current_percent": 80, "upslope": "2 cycles"},
)


@cache
def ground(number: int) -> FaultTarget:
    """Machine `number` of the campaign with its schedule."""
    tables, knows_rest = MACHINES[number]
    return ground_of(tables, knows_rest=knows_rest)


def ground_of(tables: dict[str, dict[str, Any]], *, knows_rest: bool = False, again: bool = True) -> FaultTarget:
    """Any machine with the campaign's schedule."""
    welder = make_welder(**tables)
    return FaultTarget(job_of(welder, *WELD), again=again, knows_rest=knows_rest)


def pairs() -> tuple[list[tuple[str, str]], list[tuple[str, str, str]]]:
    """Every pair of faults that is run, and every one left out with its reason."""
    run, left_out = [], []
    for one, other in itertools.combinations(FAULTS, 2):
        why = pair_left_out(FAULTS[one], FAULTS[other])
        if why:
            left_out.append((one, other, why))
        else:
            run.append((one, other))
    return run, left_out


def pair_left_out(one: Fault, other: Fault) -> str:
    """Why two faults cannot meet in one run; "" when they can."""
    shared = sorted(one.takes & other.takes)
    return f"both take the {shared[0]}: only one of them can be there" if shared else ""


_PAIRS = pairs()[0]
_ELSEWHERE = [(name, state) for name, fault in FAULTS.items() for state in fault.states if state != "weld"]


def numbered(number: int) -> tuple[FaultTarget, Case] | None:
    """Run `number` of the campaign. None where a machine does not come through the state."""
    chance = random.Random(f"campaign {number}")
    struck, turn = divmod(number, 6)
    state = "weld"
    names: tuple[str, ...]
    if turn < 4:
        names = (list(FAULTS)[(4 * struck + turn) % len(FAULTS)],)
    elif turn == 4:
        names = _PAIRS[struck % len(_PAIRS)]
    else:
        name, state = _ELSEWHERE[struck % len(_ELSEWHERE)]
        names = (name,)
    machine = ground(chance.randrange(len(MACHINES)))
    # Half of those that strike an idle board strike just before the pedal: what is prepared then is what is fired.
    part = chance.uniform(0.7, 1) if state == "ready" and chance.random() < 0.5 else None
    case = case_of(machine, names, state, chance.randrange(SEEDS), chance, part)
    return None if case is None else (machine, case)


def why_empty(name: str, state: str) -> str:
    """Why a fault does not strike in a state; "" where it does."""
    assert state in STATE_NAMES
    return "" if state in FAULTS[name].states else FAULTS[name].elsewhere
