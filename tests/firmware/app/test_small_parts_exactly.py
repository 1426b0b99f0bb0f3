"""The small parts of the application at their exact figures: one step either side of each, and against plain arithmetic.

The figures are our own design's. What a figure protects stands beside the test.
"""

from __future__ import annotations

import random
from typing import Any

import pytest

from firmware_templates.app.clock import MASK, after, elapsed
from firmware_templates.app.duty import SECONDS, DutyGuard
from firmware_templates.app.lock import MainsLock
from firmware_templates.app.plan import Plan
from firmware_templates.app.welds import Welds
from tests.support.app.fake_driver import FakeDriver
from tests.support.app.whole_numbers import Small

# -- the clock -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("now", [0, 1, 17, 1 << 29, MASK - 60_000, MASK - 1, MASK])
@pytest.mark.parametrize("ms", [1, 5, 17, 1000, 60_000])
def test_the_clock_needs_no_large_number(now: int, ms: int) -> None:
    """Modulo 2**30, and every number on the way there is small: a larger one allocates while armed."""
    assert MASK == 2**30 - 1
    later = after(Small(now), Small(ms))
    assert later == (now + ms) % 2**30
    assert elapsed(Small(later), Small(now)) == ms


# -- the lock on the mains -----------------------------------------------------------------------------------------------

SHORTEST, LONGEST = 9_523, 10_639


def lock(*lengths_us: int, begin_ms: int = 0) -> MainsLock:
    """A lock after these half-cycles, one each 10 ms."""
    made = MainsLock(Small(10_000), Small(SHORTEST), Small(LONGEST))
    made.reset(Small(begin_ms))
    feed(made, *lengths_us, begin_ms=begin_ms)
    return made


def feed(made: MainsLock, *lengths_us: int, begin_ms: int) -> None:
    for n, length in enumerate(lengths_us, 1):
        made.edge(Small(length), Small(begin_ms + 10 * n))


@pytest.mark.parametrize(("length", "locked"), [(9_400, 1), (9_399, 0), (10_200, 1), (10_201, 0)])
def test_two_percent_from_what_was_agreed(length: int, locked: int) -> None:
    """Of a pair of 19 600 us, to the microsecond: 19 200 and 20 000 agree."""
    assert lock(*[9_800] * 9, length).locked() == bool(locked)


@pytest.mark.parametrize(
    ("length", "locked"), [(SHORTEST, 1), (SHORTEST - 1, 0), (LONGEST, 1), (LONGEST + 1, 0), (9_000, 0), (12_000, 0)]
)
def test_the_band_to_the_microsecond(length: int, locked: int) -> None:
    """47 to 52.5 Hz as config.py has it."""
    assert lock(*[length] * 8).locked() == bool(locked)


def test_a_missed_edge_is_no_half_cycle() -> None:
    """It gives one of 20,000 us among seven of 10,000, and a mean of 11,250: so long a half-cycle must never be agreed."""
    made = lock(*[10_000] * 20, 20_000)
    assert not made.locked()
    for n in range(1, 30):
        feed(made, 10_000, begin_ms=210 + 10 * n)
        assert made.half_us == 10_000
    assert made.locked()
    begun = lock(20_000, *[10_000] * 7)  # the very first that is measured
    assert not begun.locked()


def test_a_slow_drift_does_not_agree() -> None:
    """Each pair is within 2 % of the one before it, and the fourth is not within 2 % of the first."""
    assert not lock(10_000, 10_000, 10_150, 10_150, 10_300, 10_300, 10_450, 10_450).locked()
    assert lock(10_000, 10_000, 10_100, 10_100, 10_200, 10_200, 10_200, 10_200).locked()


def test_the_half_cycle_is_the_mean_of_the_last_eight() -> None:
    """Whole microseconds, rounded down; nothing counts up for ever."""
    chance = random.Random(1)
    lengths = [chance.randrange(9_960, 10_040) for _ in range(60)]
    made = lock()
    for n, length in enumerate(lengths):
        made.edge(Small(length), Small(10 * n))
        assert made.half_us == (sum(lengths[n - 7 : n + 1]) // 8 if n >= 7 else lengths[0])
        assert isinstance(made.half_us, int)
        assert made.agreed < 16
    made.reset(Small(0))
    made.edge(Small(10_001), Small(10))
    made.edge(Small(9_000), Small(20))
    made.edge(Small(10_100), Small(30))
    assert made.half_us == (9_000 + 10_100) // 2


def test_it_locks_with_the_eighth_edge_again() -> None:
    """After silence and after a reset: what came before does not count, and no ninth is asked for."""
    made = lock(*[10_000] * 20)
    made.check(Small(200))
    assert made.locked()
    made.check(Small(301))
    assert not made.locked()
    feed(made, *[10_000] * 7, begin_ms=300)
    assert not made.locked()
    feed(made, 10_000, begin_ms=370)
    assert made.locked()
    made.reset(Small(400))
    feed(made, *[10_000] * 7, begin_ms=400)
    assert not made.locked()
    feed(made, 10_000, begin_ms=470)
    assert made.locked()


def test_a_long_gap_is_reported_as_a_second() -> None:
    """So that its products stay small: Small watches them here."""
    made = lock(MASK)
    assert made.previous_us == 1_000_000
    assert not made.locked()


@pytest.mark.parametrize(("length", "extra"), [(7_000, 0), (6_999, 1), (1, 1), (14_000, 0)])
def test_an_extra_edge_is_shorter_than_seven_tenths(length: int, extra: int) -> None:
    """Twenty of them are noise."""
    assert not lock(*[length] * 19).noisy()
    for number in (20, 21, 40):
        assert lock(*[length] * number).noisy() == bool(extra)


def test_one_extra_edge_is_forgiven_each_50_ms() -> None:
    """To the millisecond, and none in advance."""
    made = lock()
    for now in range(0, 500, 50):
        made.check(Small(now))
    for n in range(20):
        assert not made.noisy()
        made.edge(Small(6_999), Small(450 + n // 10))
    made.check(Small(499))
    assert made.noisy()
    made.check(Small(500))
    assert not made.noisy()
    made.edge(Small(6_999), Small(501))
    made.check(Small(549))
    assert made.noisy()
    made.check(Small(550))
    assert not made.noisy()
    made.edge(Small(6_999), Small(551))
    made.check(Small(700))  # a late step forgives one, not three
    assert not made.noisy()
    made.edge(Small(6_999), Small(701))
    assert made.noisy()
    made.reset(Small(1_000))
    assert not made.noisy()
    for n in range(20):
        assert not made.noisy()
        made.edge(Small(6_999), Small(1_001 + n // 10))
    made.check(Small(1_049))
    assert made.noisy()
    made.check(Small(1_050))
    assert not made.noisy()


def test_six_short_half_cycles_are_too_many_under_current() -> None:
    """Counted from the weld's beginning; before its first gate a single one is."""
    made = lock(*[6_999] * 19)
    assert made.noisy_under_current(True)
    made.begin_weld()
    for n in range(9):
        assert made.noisy_under_current(True) == (n >= 6)
        assert made.noisy_under_current(False) == (n >= 1)
        made.edge(Small(6_999), Small(200 + n))


def test_the_mains_is_present_for_25_ms_after_an_edge() -> None:
    """While it is locked to; the lock itself is given up much later."""
    made = lock(*[10_000] * 20)
    for now, present in ((200, True), (225, True), (226, False), (290, False)):
        made.check(Small(now))
        assert made.present(Small(now)) == present
        assert made.locked()
    assert not lock(*[10_000] * 7).present(Small(70))


def out_of_band(made: MainsLock, begin_ms: int) -> int:
    """The millisecond in which edges of 60 Hz from `begin_ms` on are first out of band; 0 where never in six seconds."""
    for now in range(begin_ms, begin_ms + 6_000):
        if now % 8 == 0:
            made.edge(Small(8_333), Small(now))
        made.check(Small(now))
        if made.out_of_band(Small(now)):
            return now
    return 0


def test_out_of_band_after_five_seconds() -> None:
    """Counted from the reset, or from where the lock was lost; seven edges that agreed are no lock."""
    assert out_of_band(lock(), 1) == 5_001
    assert out_of_band(lock(begin_ms=700), 701) == 5_701
    assert out_of_band(lock(*[10_000] * 7), 80) == 5_001
    assert out_of_band(lock(*[10_000] * 8), 88) == 5_089
    assert out_of_band(lock(*[10_000] * 20), 208) == 5_209
    silent = lock(*[10_000] * 20)
    for now in range(200, 305):
        silent.check(Small(now))
    assert out_of_band(silent, 305) == 5_313  # from the first edge after the silence
    quiet = lock()
    for now in range(4_000):
        quiet.check(Small(now))
    assert out_of_band(quiet, 4_000) == 9_001
    short = lock()
    short.check(Small(100))
    assert out_of_band(short, 100) == 5_105  # 104 ms of nothing
    assert out_of_band(lock(), 96) == 5_001  # 96 ms of nothing
    made = lock()
    for now in range(100, 5_001, 7):
        made.edge(Small(8_333), Small(now))  # the first after just 100 ms
    assert made.out_of_band(Small(5_001))


def test_silence_is_not_out_of_band() -> None:
    """An edge within the last 100 ms is asked for; and a lock that holds is never out of band."""
    made = lock()
    for now in range(8, 6_001, 8):
        made.edge(Small(8_333), Small(now))
    assert made.out_of_band(Small(6_000))
    assert made.out_of_band(Small(6_100))
    assert not made.out_of_band(Small(6_101))
    assert not made.out_of_band(Small(7_000))
    assert not lock(*[10_000] * 700).out_of_band(Small(7_000))
    assert not lock(*[10_000] * 700).out_of_band(Small(7_050))


# -- the duty guard ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rested_ms", "used"), [(0, 100), (60_999, 100), (61_000, 0), (1 << 28, 0)])
def test_a_proven_rest_is_61_seconds(rested_ms: int, used: int) -> None:
    """Anything less, and the minute counts as spent."""
    guard = DutyGuard(100)
    guard.begin(0, rested_ms)
    assert guard.used == used


def test_the_guards_seconds_run_from_where_it_began() -> None:
    """To the millisecond; a late step catches up."""
    guard = DutyGuard(100)
    guard.begin(500, 1 << 28)
    for now, seconds in ((500, 0), (1_499, 0), (1_500, 1), (2_499, 1), (2_500, 2), (7_499, 6), (7_500, 7)):
        guard.check(now)
        assert guard.seconds == seconds


def test_the_guard_forgets_each_second_in_its_turn() -> None:
    """Held against a list of what was charged when: used, allowed, and the seconds until any weld, at 200 s of chance."""
    chance = random.Random(2)
    guard = DutyGuard(1_000)
    guard.begin(0, 1 << 28)
    charged: list[int] = []
    for second in range(200):
        guard.check(1_000 * second)
        cost = chance.choice((0, 0, 3, 40, 90))
        cost = cost if guard.allows(cost) else 0
        guard.charge(cost)
        charged.append(cost)
        assert guard.used == sum(charged[-SECONDS:])
        free = 1_000 - guard.used
        assert (guard.allows(free), guard.allows(free + 1), guard.allows(0)) == (True, False, True)
        if second % 5 == 0:
            for asked in (0, 1, free, free + 1, free + 50, 300, 900, 999, 1_000, 1_001, 5_000):
                assert guard.seconds_until(asked) == seconds_until(charged, asked), (second, asked)


def seconds_until(charged: list[int], asked: int) -> int:
    """Seconds of nothing until the last 61 leave room."""
    for seconds in range(SECONDS):
        if sum([*charged, *[0] * seconds][-SECONDS:]) + asked <= 1_000:
            return seconds
    return SECONDS


# -- the plan ------------------------------------------------------------------------------------------------------------

Rows = list[tuple[str, int, int, int]]


def handed_over(
    rows: Rows, half_us: int = 10_000, positive: int = 0, times: int = 1
) -> dict[int, tuple[int, int, int]]:
    """What the firing hardware gets of a plan, prepared so many times over."""
    plan, driver = Plan(rows, Small(10_000)), FakeDriver()
    for _ in range(times):
        driver.half_cycles = {}
        plan.begin()
        fills = 0
        while not plan.ready():
            plan.fill(driver, Small(half_us), positive)  # type: ignore[arg-type]
            fills += 1
            assert len(driver.half_cycles) == min(64 * fills, plan.count)
        assert fills == -(-plan.count // 64)
        plan.fill(driver, Small(half_us), positive)  # type: ignore[arg-type]
        assert sorted(driver.half_cycles) == list(range(plan.count))
    return driver.half_cycles


@pytest.mark.parametrize("positive", [0, 1])
@pytest.mark.parametrize("half_us", [9_523, 10_000, 10_639])
@pytest.mark.parametrize("squeeze", [1, 2])
def test_each_half_cycle_of_a_plan(squeeze: int, half_us: int, positive: int) -> None:
    """From the first fired row to the last, however many unfired ones lie around and between them; the second time too."""
    inner: Rows = [("pulse", 64, 5_000, 25), ("cool", 4, -1, 0), ("upslope", 1, 0, 7), ("weld", 59, 4_001, 99)]
    around: Rows = [("squeeze", 3, -1, 0)] * squeeze
    rows = [*around, *inner, ("hold", 10, -1, 0), ("off", 50, -1, 0)]
    delays = [delay for _, number, delay, _ in inner for _ in range(number)]
    plan = Plan(rows, 10_000)
    assert (plan.count, plan.planned, plan.cost) == (128, 124, 64 * 25 + 7 + 59 * 99)
    for n, (delay_us, end_us, sign) in handed_over(rows, half_us, positive, times=2).items():
        assert delay_us == (delays[n] * half_us // 10_000 if delays[n] >= 0 else -1)
        assert end_us == half_us * 11 // 12
        assert sign == (positive + n) % 2
    assert plan.unfired_ms("squeeze", Small(half_us)) == 3 * squeeze * half_us // 1_000
    assert plan.unfired_ms("hold", Small(half_us)) == 10 * half_us // 1_000
    assert plan.unfired_ms("off", Small(half_us)) == 50 * half_us // 1_000


def test_a_plan_is_the_same_with_names_made_anew() -> None:
    """Names of phases come from storage: equal, not the same object."""
    rows: Rows = [("squeeze", 20, -1, 0), ("weld", 2, 4_000, 50), ("hold", 10, -1, 0), ("off", 50, -1, 0)]
    made_anew = [("".join(list(phase)), *figures) for phase, *figures in rows]
    assert Plan(made_anew, 10_000).unfired_ms("off", 10_000) == 500  # type: ignore[arg-type]


@pytest.mark.parametrize("before", range(3))
@pytest.mark.parametrize("after", range(4))
@pytest.mark.parametrize("delay_us", [0, 1, 4_000])
def test_a_plan_of_one_fired_row(before: int, after: int, delay_us: int) -> None:
    """With nothing around it, or with any number of unfired rows before and after it."""
    rows: Rows = [("squeeze", 1, -1, 0)] * before + [("weld", 2, delay_us, 50)] + [("off", 9, -1, 0)] * after
    plan = Plan(rows, 10_000)
    assert (plan.count, plan.planned, plan.cost) == (2, 2, 100)
    assert len(handed_over(rows)) == 2


@pytest.mark.parametrize("rows", [[], [("squeeze", 1, -1, 0)], [("squeeze", 1, -1, 0), ("off", 9, -1, 0)]])
def test_a_plan_without_a_fired_row_fires_nothing(rows: Rows) -> None:
    """What a board with damaged settings welds with."""
    plan = Plan(rows, 10_000)
    assert (plan.count, plan.planned, plan.cost) == (0, 0, 0)


# -- the last welds ------------------------------------------------------------------------------------------------------


def test_each_weld_is_reported_as_it_was() -> None:
    """Every figure in its place, six at a time from any number on, the last 64 and no more."""
    welds = Welds()
    kept: list[list[Any]] = []
    assert welds.as_json(0, 0) == "[]"
    for n in range(1, 151):
        welds.add(n % 6, n + 200, n + 100, n + 50, 2 * n, 900 + n)
        kept.append([n, n % 6, n + 200, n + 100, n + 50, 1_000 - 2 * n, 900 + n, 0])
        if n % 3:
            welds.set_correction(n % 9)
            kept[-1][-1] = n % 9
        for since in (0, 1, n - 65, n - 64, n - 63, n - 7, n - 6, n - 2, n - 1, n, n + 3):
            expected = [weld for weld in kept[-64:] if weld[0] > since][:6]
            assert welds.as_json(since, 1_000) == str(expected)


def test_a_ring_of_welds_takes_no_more_room() -> None:
    """All of it is there beforehand: nothing may allocate while armed."""
    welds = Welds()
    room = len(welds.ring)
    for n in range(200):
        welds.add(1, 2, 3, 4, n)
    assert len(welds.ring) == room
