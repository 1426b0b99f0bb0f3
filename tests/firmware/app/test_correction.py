"""The correction from weld to weld: whatever was measured, no delay leaves its bound; and what is taken from a weld, and when.

The bound is held against the analysis of phase_control (Hart, section 5.3), which shares nothing with the board's table.
"""

from __future__ import annotations

import random
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest

from gen.boards import boards
from gen.firmware import render
from gen.phase_control import rms_fraction
from gen.words import (
    COMPLETED,
    CORRECTED,
    CURVE_KEPT,
    FIRED_PHASES,
    KEPT_BY_LIMITS,
    KEPT_EXPULSION,
    KEPT_NOT_COMPLETED,
    KEPT_NOT_MEASURED,
    KEPT_OUTSIDE,
    KEPT_TOO_SHORT,
    KEPT_UNEVEN,
    NO_REASON,
    RELEASED,
    SWITCH_SHORTED,
)
from sim.bench.host import Firmware
from tests.support.app.stored import rows_of
from tests.support.app.weakened import Change, answers, begins, sets, together
from tests.support.app.whole_numbers import Small
from tests.support.machines import compiled, make_welder

CORRECTING: dict[str, Any] = {
    "current_sense": {"turns": 1000, "burden_ohm": 20},
    "board": {"conduction_sense": True},
    "correct": {"within_percent": 8},
}
WELDER = make_welder(**CORRECTING)
ANGLE_DEG = (WELDER.transformer.load_angle_min_deg + WELDER.transformer.load_angle_max_deg) / 2
PLAIN: tuple[dict[str, Any], ...] = ({"weld": "8 cycles", "current_percent": 75},)
SCHEDULES: tuple[tuple[dict[str, Any], ...], ...] = (
    PLAIN,
    ({"weld": "8 cycles", "current_percent": 100},),
    ({"weld": "8 cycles", "current_percent": 42},),
    ({"weld": "8 cycles", "current_percent": 6},),
    (
        {"pulse": "2 cycles", "current_percent": 66, "repeat": 3, "cool": "4 cycles"},
        {"weld": "9 cycles", "current_percent": 80, "upslope": "4 cycles", "downslope": "3 cycles"},
    ),
)
ROWS = [rows_of(compiled(WELDER, *phases)) for phases in SCHEDULES]


@cache
def application(change: Change | None = None) -> Any:
    """The emitted application of a machine that corrects, whole or changed."""
    bundle = render(compiled(WELDER, *PLAIN), WELDER, boards()["pico"])
    return Firmware(bundle if change is None else change(bundle))


class Weld:
    """A weld by some rows, and the correction that looks at it."""

    def __init__(self, rows: Any, change: Change | None = None, **limits: Any) -> None:
        firmware = application(change)
        self.config = SimpleNamespace(**{**vars(firmware.config), **limits})
        self.correction = firmware.supervisor.Correction(self.config)
        self.plan = firmware.supervisor.Plan
        self.rows = rows

    def drew(self, currents_dA: list[int], expelled: int = 0) -> int:
        """What the correction makes of these currents, fired by the rows as they are corrected now."""
        fired, _ = self.correction.rows(self.rows, True)
        curve = SimpleNamespace(currents=currents_dA, count=len(currents_dA))
        return int(self.correction.update(self.plan(fired, self.config.NOMINAL_HALF_US), curve, expelled))

    def next_rows(self, whole: bool = True) -> Any:
        return self.correction.rows(self.rows, whole)[0]


def gates(rows: Any) -> list[int]:
    """The delay of each gate."""
    return [delay_us for phase, halves, delay_us, _ in rows if phase in FIRED_PHASES for _ in range(halves)]


def planned_dA(delay_us: int) -> float:
    """What the welder file plans at a delay of 50 Hz."""
    return 10 * WELDER.machine.in_use.working_primary.middle * rms_fraction(delay_us * 0.018, ANGLE_DEG)


def amiss(weld: Weld, made: Any) -> str:
    """What is wrong with the rows that a weld is to be fired by, against the table that they come from; "" for nothing."""
    table, now, config = gates(weld.rows), gates(made), weld.config
    if len(now) != len(table) or [r for r in made if r[2] < 0] != [r for r in weld.rows if r[2] < 0]:
        return "other half-cycles than the table has"
    if min(now) < config.EARLIEST_DELAY_US or max(now) > config.LATEST_DELAY_US:
        return "fired beyond the earliest or the latest delay"
    for n, (was_us, now_us) in enumerate(zip(table, now, strict=True)):
        current, was = planned_dA(now_us), planned_dA(was_us)
        late = now_us in (config.LATEST_DELAY_US, config.FIRST_DELAY_US, config.EARLIEST_DELAY_US)
        if not 0.919 * was <= current <= 1.081 * was and not (late and current < was):
            return f"gate {n} fired for {current / was:.3f} of the table's current"
    return ""


def hostile(chance: random.Random) -> list[int]:
    """Any currents: all that the curve's 16 bits can hold, in any number."""
    count = chance.choice((0, 1, 5, 16, 60, CURVE_KEPT))
    kind = chance.randrange(4)
    if kind == 0:
        return [chance.randint(-1, 32767) for _ in range(count)]
    if kind == 1:
        return [chance.choice((-1, 0, 1, 32767))] * count
    # So near the plan that it is believed, and yet anything within the band.
    level = chance.uniform(0.4, 2.0)
    return [round(150 * level * chance.uniform(0.96, 1.04)) for _ in range(count)]


def hostile_welds(seeds: range, change: Change | None = None) -> set[str]:
    """What is amiss after any welds in a row, each fired as the one before says."""
    found = set()
    for seed in seeds:
        chance = random.Random(seed)
        weld = Weld(ROWS[seed % len(ROWS)], change)
        for _ in range(4):
            if weld.drew(hostile(chance)) == CORRECTED:
                found.add(amiss(weld, weld.next_rows()))
    return found


def test_whatever_was_measured_the_delays_stay_in_their_bound() -> None:
    """Any currents, weld after weld: the table's half-cycles, never before the earliest, each within 8 % of its current."""
    assert hostile_welds(range(120)) == {""}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (sets("Correction.update", "permille", "asked", of="max"), "fired for"),
        (sets("delay_for", "delay_us", "2000"), "beyond the earliest"),
        (begins("corrected", "rows = rows[:2] + rows[1:]"), "other half-cycles"),
    ],
)
def test_without_its_bounds_they_do_not(change: Change, words: str) -> None:
    """The same welds with a bound taken out, and the board's own limits with it."""
    bare = together(change, answers("refusal", '""'))
    assert any(words in what for what in hostile_welds(range(60), bare))


def test_the_boards_own_limits_judge_the_corrected_rows() -> None:
    """Heat, volt-seconds, the first delay and the digest, each tightened so that only the correction breaks it."""
    low = [round(0.93 * planned_dA(us)) for us in gates(ROWS[0])]
    assert Weld(ROWS[0]).drew(low) == CORRECTED
    config = Weld(ROWS[0]).config
    heat = sum(row[1] * row[3] for row in ROWS[0])
    first = (config.FIRST_DELAY_US - config.EARLIEST_DELAY_US) // config.VOLT_SECONDS_STEP_US
    uneven = tuple(0 if n == first else 10_000 for n in range(33))  # of a delay that the table itself has not
    for limits in ({"DUTY_LIMIT": heat}, {"VOLT_SECONDS": (uneven,)}, {"MAX_ROWS": 4}):
        weld = Weld(ROWS[0], **limits)
        weld.correction.permille = 1070
        assert weld.correction.rows(ROWS[0], True) == (ROWS[0], KEPT_BY_LIMITS)
        assert weld.correction.permille == 1000
    weld = Weld(ROWS[0])
    weld.correction.permille = 1070
    assert weld.correction.rows(ROWS[0], False) == (ROWS[0], KEPT_BY_LIMITS)


def test_a_gate_fired_earlier_counts_more_heat() -> None:
    """As much as a schedule compiled for that delay would count, or a step of the board's table more."""
    weld = Weld(ROWS[0])
    weld.correction.permille = 1080
    made = weld.next_rows()
    stronger = rows_of(compiled(WELDER, {"weld": "8 cycles", "current_percent": 81}))
    (exact,) = {row[3] for row in stronger if row[1] > 1 and row[2] > 0}
    (counted,) = {row[3] for row in made if row[1] > 1 and row[2] > 0}
    assert exact <= counted <= 1.12 * exact
    weld.correction.permille = 950
    assert [row[3] for row in weld.next_rows()] == [row[3] for row in ROWS[0]]


@pytest.mark.parametrize("drawn", [0.85, 0.97, 1.0, 1.06, 1.3])
def test_the_next_weld_is_fired_for_the_planned_current(drawn: float) -> None:
    """The current that flows at the new delays, as the mains is now, is the planned one within 0.5 %, or the bound's 8 %."""
    for rows in (ROWS[0], ROWS[4]):
        weld = Weld(rows)
        for _ in range(3):  # nothing adds up
            fired = weld.next_rows()
            assert weld.drew([int(drawn * planned_dA(us)) for us in gates(fired)]) == CORRECTED
        now = sum(drawn * planned_dA(us) for us in gates(weld.next_rows())[2:])
        was = sum(planned_dA(us) for us in gates(rows)[2:])
        assert now / was == pytest.approx(
            drawn * min(max(1 / drawn, 0.92), 1.08), abs=0.012 if rows is ROWS[4] else 0.005
        )


def sound() -> list[int]:
    return [int(0.95 * planned_dA(us)) for us in gates(ROWS[0])]


@pytest.mark.parametrize(
    ("currents", "expelled", "came"),
    [
        (sound(), 0, CORRECTED),
        (sound(), 12, KEPT_EXPULSION),
        (sound()[:15], 0, KEPT_NOT_MEASURED),
        ([*sound()[:9], -1, *sound()[10:]], 0, KEPT_NOT_MEASURED),
        ([-1, -1, *sound()[2:]], 0, CORRECTED),
        ([round(value * (1.045 if n % 2 else 0.96)) for n, value in enumerate(sound())], 0, CORRECTED),
        ([round(value * (1.055 if n % 2 else 0.95)) for n, value in enumerate(sound())], 0, KEPT_UNEVEN),
        ([value if n % 2 else 0 for n, value in enumerate(sound())], 0, KEPT_UNEVEN),
        ([*sound()[:8], 20, 20, *sound()[10:]], 0, KEPT_OUTSIDE),
        ([*sound()[:8], 900, 900, *sound()[10:]], 0, KEPT_OUTSIDE),
        ([0] * 16, 0, KEPT_OUTSIDE),
    ],
)
def test_a_weld_that_looked_bad_changes_nothing(currents: list[int], expelled: int, came: int) -> None:
    """What an earlier weld asked for stands."""
    weld = Weld(ROWS[0])
    weld.correction.permille = 1033
    assert weld.drew(currents, expelled) == came
    assert (weld.correction.permille == 1033) == (came != CORRECTED)


def test_a_weld_too_short_to_tell_changes_nothing() -> None:
    """Four gates after the first two are asked for; and none that is fired so late that its current is noise."""
    rows = [rows_of(compiled(WELDER, {"weld": f"{cycles} cycles", "current_percent": 75})) for cycles in (2, 3)]
    came = [Weld(made).drew([round(planned_dA(us)) for us in gates(made)]) for made in rows]
    assert came == [KEPT_TOO_SHORT, CORRECTED]
    assert Weld(ROWS[3], LEAST_DA=(0,) * 33).drew([20] * 16) == KEPT_TOO_SHORT


def test_nothing_grows_beyond_a_small_integer() -> None:
    """The greatest currents, the longest weld, the widest grid: a 32-bit MicroPython would have to allocate above 2**30."""
    weld = Weld(ROWS[0])
    for name, value in vars(weld.config).items():
        if type(value) is int and value < 1 << 30:  # not the addresses of registers
            setattr(weld.config, name, Small(value))
    weld.config.PLANNED_DA = Small(32_767)
    weld.config.PLANNED_SHARES = tuple(Small(value) for value in weld.config.PLANNED_SHARES)
    weld.config.LEAST_DA, weld.config.MOST_DA = (Small(1),) * 33, (Small(32_767),) * 33
    rows = tuple(
        (phase, Small(300 if phase in FIRED_PHASES and n else n), Small(us), Small(heat))
        for phase, n, us, heat in ROWS[0]
    )
    weld.rows = rows
    assert weld.drew([Small(32_767)] * CURVE_KEPT) == CORRECTED
    for permille in (920, 1080):
        weld.correction.permille = Small(permille)
        weld.next_rows()


@pytest.mark.parametrize(
    ("ending", "reason", "fired", "came"),
    [
        (COMPLETED, NO_REASON, 16, CORRECTED),
        (RELEASED, NO_REASON, 16, KEPT_NOT_COMPLETED),
        (COMPLETED, SWITCH_SHORTED, 16, KEPT_NOT_COMPLETED),
        (COMPLETED, NO_REASON, 15, KEPT_NOT_COMPLETED),
    ],
)
def test_only_a_whole_weld_without_a_fault_updates_the_correction(
    ending: int, reason: int, fired: int, came: int
) -> None:
    """A fault found in hold counts as well: the weld's ending stays. The timer's own part of it, on a timer of its parts."""
    weld, told = Weld(ROWS[0]), []
    timer = SimpleNamespace(
        correction_due=True,
        config=weld.config,
        ending=ending,
        reason=reason,
        fired=fired,
        plan=weld.plan(ROWS[0], 10_000),
        curve=SimpleNamespace(currents=sound(), count=16),
        ammeter=SimpleNamespace(expelled=0),
        correction=weld.correction,
        store=SimpleNamespace(selected="test", rows=lambda name: ROWS[0], whole=lambda name: True),
        last_welds=SimpleNamespace(set_correction=told.append),
    )
    application().supervisor.Supervisor._correct_next(timer)
    assert told == [came]
    assert (gates(timer.plan.rows) == gates(ROWS[0])) == (came != CORRECTED)
