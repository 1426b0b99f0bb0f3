"""The check of a pushed table and the names of things, one step either side of every limit and word for word."""

from __future__ import annotations

import hashlib
import math
import random
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from firmware_templates.app.table_check import digest, is_name, refusal
from gen.words import FIRED_PHASES, PHASES
from tests.support.app.stored import config_of, made

Rows = list[tuple[str, int, int, int]]

CONFIG: Any = SimpleNamespace(
    MAX_ROWS=9,
    LONGEST_TIME_HALF_CYCLES=70,
    EARLIEST_DELAY_US=3000,
    LATEST_DELAY_US=8000,
    FIRST_DELAY_US=4000,
    VOLT_SECONDS_STEP_US=2500,
    VOLT_SECONDS=((9000, 5000, 1000), (8000, 5000, 2000)),
    HEAT_STEPS=((3500, 40), (4500, 30), (8000, 1)),
    FLUX_HALVES_HALF_CYCLES=8,
    LONGEST_WELD_HALF_CYCLES=40,
    LEAST_COOL_HALF_CYCLES=5,
    LEAST_SQUEEZE_HALF_CYCLES=1,
    MAX_HALF_CYCLES=60,
    DUTY_LIMIT=3000,
)
SQUEEZE, HOLD, OFF = ("squeeze", 20, -1, 0), ("hold", 10, -1, 0), ("off", 50, -1, 0)


def table(*middle: tuple[str, int, int, int]) -> Rows:
    return [SQUEEZE, *middle, HOLD, OFF]


def weld(half_cycles: int = 2, delay_us: int = 5000, heat: int = 50, phase: str = "weld") -> tuple[str, int, int, int]:
    return phase, half_cycles, delay_us, heat


def cool(half_cycles: int = 6) -> tuple[str, int, int, int]:
    return "cool", half_cycles, -1, 0


ORDER = "order of phases: "
FIRST_AND_LAST = ORDER + "squeeze first, hold and off last"
BETWEEN = ORDER + "between squeeze and hold only current, and single cool times within it"
ONE_SIDED = "one polarity ahead by %d %% of a half-cycle's volt-seconds: at most %d %% here"
CASES: list[tuple[Rows, str]] = [
    (table(weld()), ""),
    # Rows.
    (table(*[weld(heat=1)] * 6), ""),
    (table(*[weld(heat=1)] * 7), "10 rows: at most 9 here"),
    # The time of a row.
    ([("squeeze", 1, -1, 0), weld(), ("hold", 70, -1, 0), OFF], ""),
    ([("squeeze", 0, -1, 0), weld(), HOLD, OFF], "squeeze of 0 half-cycles: 1 to 70 here"),
    ([SQUEEZE, weld(), ("hold", 71, -1, 0), OFF], "hold of 71 half-cycles: 1 to 70 here"),
    (table(weld(0)), "weld of 0 half-cycles: 1 to 70 here"),
    # Gates where they belong, and nowhere else.
    ([("squeeze", 20, 0, 0), weld(), HOLD, OFF], "squeeze with a gate or heat: neither has a place there"),
    ([("squeeze", 20, -1, 1), weld(), HOLD, OFF], "squeeze with a gate or heat: neither has a place there"),
    ([("squeeze", 20, -2, 0), weld(), HOLD, OFF], "squeeze with a gate or heat: neither has a place there"),
    ([("squeeze", 20, -1, -1), weld(), HOLD, OFF], "squeeze with a gate or heat: neither has a place there"),
    ([SQUEEZE, weld(), ("hold", 10, 5000, 50), OFF], "hold with a gate or heat: neither has a place there"),
    (table(weld(), ("cool", 6, 5000, 0), weld()), "cool with a gate or heat: neither has a place there"),
    ([SQUEEZE, weld(), HOLD, ("off", 50, -1, 7)], "off with a gate or heat: neither has a place there"),
    # Delays.
    (table(weld(1), weld(1, 3000)), ""),
    (table(weld(1), weld(1, 2999)), "weld fired at 2999 us: 3000 to 8000 here"),
    (table(weld(2, 8000)), ""),
    (table(weld(2, 8001)), "weld fired at 8001 us: 3000 to 8000 here"),
    (table(weld(2, -1, 0)), "weld fired at -1 us: 3000 to 8000 here"),
    (table(weld(2, 4000)), ""),
    (table(weld(2, 3999)), "first half-cycle fired at 3999 us: at least 4000 here"),
    (table(weld(), cool(), weld(2, 3999)), "first half-cycle fired at 3999 us: at least 4000 here"),
    # Heat of a row and of a weld.
    (table(weld(heat=1)), ""),
    (table(weld(heat=0)), "weld with heat 0: 1 to 100"),
    (table(weld(heat=100)), ""),
    (table(weld(heat=101)), "weld with heat 101: 1 to 100"),
    (table(weld(1), weld(1, 3500, 40)), ""),
    (table(weld(1), weld(1, 3500, 39)), "weld fired at 3500 us with heat 39: at least 40 here"),
    (table(weld(1), weld(1, 3501, 30)), ""),
    (table(weld(1), weld(1, 3501, 29)), "weld fired at 3501 us with heat 29: at least 30 here"),
    (table(weld(2, 4500, 29)), "weld fired at 4500 us with heat 29: at least 30 here"),
    (table(weld(2, 4501, 1)), ""),
    (table(weld(30, heat=100)), ""),
    (table(weld(28, heat=100), weld(1, heat=99), weld(1, heat=100)), ""),
    (table(weld(30, heat=100), weld(2, heat=1)), "heat of 3002 in one weld: at most 3000 in a minute here"),
    (table(weld(30, heat=99), cool(), weld(2, heat=16)), "heat of 3002 in one weld: at most 3000 in a minute here"),
    # One polarity ahead of the other, of which a cycle at either end of the range may be.
    (table(weld(1, 8000), weld(1, 3000)), ""),
    (table(weld(1, 8000), weld(1, 3000), weld(1, 5500), weld(1, 5499)), ONE_SIDED % (80, 80)),
    (table(weld(1, 8000), weld(1, 3000), weld(1, 5500), weld(3, 5500)), ""),
    (table(weld(1, 8000), weld(1, 3000), weld(1, 3000), weld(1, 8000)), ""),
    # What is left of it after a cool time of 6, 8 and 16 half-cycles: 63, 50 and 25 hundredths.
    (table(weld(1, 8000), weld(1, 3000), cool(), weld(1, 8000), weld(1, 6500)), ""),
    (table(weld(1, 8000), weld(1, 3000), cool(), weld(1, 8000), weld(1, 3000)), ONE_SIDED % (130, 80)),
    (table(weld(1, 8000), weld(1, 3000), cool(8), weld(1, 8000), weld(1, 3000)), ONE_SIDED % (120, 80)),
    (table(weld(1, 8000), weld(1, 3000), cool(16), weld(1, 8000), weld(1, 3000)), ONE_SIDED % (100, 80)),
    (table(weld(1, 8000), weld(1, 3000), cool(), weld(1, 4000), weld(1, 8000)), ""),
    (table(weld(1, 8000), weld(4, 3000), weld(1, 8000)), ""),
    (table(weld(1, 8000), weld(2, 3000), weld(1, 8000)), ""),
    (table(weld(1, 8000), weld(1, 3000), weld(1, 8000), weld(3, 3000)), ONE_SIDED % (160, 80)),
    (table(weld(1, 5500), weld(1, 8000), weld(1, 3000), weld(1, 8000)), ONE_SIDED % (120, 80)),
    # Half-cycles under current, and from the first to the last.
    (table(weld(40, heat=1)), ""),
    (table(weld(42, heat=1)), "42 half-cycles under current: at most 40 here"),
    (table(weld(20, heat=1), cool(), weld(22, heat=1)), "42 half-cycles under current: at most 40 here"),
    (table(weld(2), cool(56), weld(2)), ""),
    (table(weld(2), cool(58), weld(2)), "62 half-cycles from the first fired to the last: at most 60 here"),
    # Even impulses, and even and long enough gaps.
    (table(weld(1), weld(3)), ""),
    (table(weld(3)), "impulse of 3 half-cycles: an even number"),
    (table(weld(2), weld(1)), "impulse of 3 half-cycles: an even number"),
    (table(weld(1), cool(), weld(1)), "impulse of 1 half-cycles: an even number"),
    (table(weld(2), cool(), weld(5)), "impulse of 5 half-cycles: an even number"),
    (table(weld(), cool(7), weld()), "cool of 7 half-cycles: an even number"),
    (table(weld(), cool(4), weld()), "cool of 4 half-cycles: at least 5 here"),
    (table(weld(), cool(6), weld()), ""),
    # The order of phases.
    ([], FIRST_AND_LAST),
    ([SQUEEZE, HOLD, OFF], FIRST_AND_LAST),
    ([weld(), weld(), HOLD, OFF], FIRST_AND_LAST),
    ([SQUEEZE, weld(), weld(), OFF], FIRST_AND_LAST),
    ([SQUEEZE, weld(), HOLD, HOLD], FIRST_AND_LAST),
    ([SQUEEZE, weld(), OFF, HOLD], FIRST_AND_LAST),
    (table(cool(), weld()), BETWEEN),
    (table(weld(), cool(), cool(), weld()), BETWEEN),
    (table(weld(), SQUEEZE, weld()), BETWEEN),
    (table(HOLD), BETWEEN),
    (table(OFF, weld()), BETWEEN),
    (table(weld(), cool()), ORDER + "cool just before hold"),
]  # fmt: skip


@pytest.mark.parametrize("n", range(len(CASES)))
def test_every_limit_of_a_table(n: int) -> None:
    """At the limit and one beyond it; the words name both figures."""
    rows, words = CASES[n]
    assert refusal(rows, CONFIG) == words
    # Names come from the line or from storage, and are not the module's own objects.
    assert refusal([("".join(list(phase)), *rest) for phase, *rest in rows], CONFIG) == words  # type: ignore[misc]


@pytest.mark.parametrize("phase", PHASES)
@pytest.mark.parametrize("place", [0, -2, -1])
def test_what_stands_first_and_last(phase: str, place: int) -> None:
    """Squeeze, hold and off, and no other phase in their places."""
    rows = table(weld(4), cool(), weld(4))
    rows[place] = weld(phase=phase) if phase in FIRED_PHASES else (phase, 8, -1, 0)
    right = {0: "squeeze", -2: "hold", -1: "off"}[place]
    assert refusal(rows, CONFIG) == ("" if phase == right else FIRST_AND_LAST)


@pytest.mark.parametrize("phase", FIRED_PHASES)
def test_each_phase_under_current_counts(phase: str) -> None:
    """Pulse, weld and both slopes: odd is odd, whichever it is."""
    assert refusal(table(weld(phase=phase)), CONFIG) == ""
    assert refusal(table(weld(3, phase=phase)), CONFIG) == "impulse of 3 half-cycles: an even number"


def test_what_three_impulses_leave_adds_up() -> None:
    """Of the first is left what 14 half-cycles let stay, its own two among them; of the second what 6 let stay."""
    config: Any = SimpleNamespace(**{**vars(CONFIG), "MAX_ROWS": 20})
    first = [weld(1, 8000), weld(1, 5500), cool()]  # 40 hundredths, of which 12 and 25 are left
    assert refusal(table(*first, *first, weld(1, 8000), weld(1, 5500)), config) == ""
    assert refusal(table(*first, *first, weld(1, 8000), weld(1, 5300)), config) == ONE_SIDED % (80, 80)


def test_many_short_impulses_add_up() -> None:
    """Each is half of what one may be; without a rest between them that lets it go, the third is too many."""
    short = [weld(1, 8000), weld(1, 5500), cool()]
    config: Any = SimpleNamespace(**{**vars(CONFIG), "MAX_ROWS": 90, "FLUX_HALVES_HALF_CYCLES": 1000})
    for count in range(1, 5):
        told = refusal(table(*(short * count)[:-1]), config)
        assert (told == "") == (count <= 2), told
    rested = SimpleNamespace(**{**vars(config), "FLUX_HALVES_HALF_CYCLES": 3, "MAX_HALF_CYCLES": 900})
    assert refusal(table(*(short * 19)[:-1]), rested) == ""  # type: ignore[arg-type]


def one_sided_in_words(rows: Rows, config: Any) -> str:
    """The refusal for one polarity, by brute force: every stretch of every impulse summed anew, the figures as lists."""
    for volts in config.VOLT_SECONDS:
        most = volts[0] - volts[-1]
        carried = [0, 0]
        for impulse, gap in impulses(rows):
            given = [
                between(volts, delay_us - config.EARLIEST_DELAY_US, config.VOLT_SECONDS_STEP_US) for delay_us in impulse
            ]
            leads = [given[n] - given[n + 1] for n in range(0, len(given), 2)]
            sides = [0, 0]
            for end in range(1, len(leads) + 1):
                stretches = [sum(leads[begin:end]) for begin in range(end + 1)]
                sides = [max(stretches), -min(stretches)]
                ahead = max(left + side for left, side in zip(carried, sides, strict=True))
                if ahead > most:
                    return ONE_SIDED % (ahead // 100, most // 100)
            halves_in = config.FLUX_HALVES_HALF_CYCLES
            carried = [
                dying(left, len(impulse) + gap, halves_in) + dying(side, gap, halves_in)
                for left, side in zip(carried, sides, strict=True)
            ]
    return ""


def impulses(rows: Rows) -> list[tuple[list[int], int]]:
    """The delays of each impulse, half-cycle by half-cycle, and how many without current follow it."""
    found: list[tuple[list[int], int]] = []
    delays: list[int] = []
    for phase, half_cycles, delay_us, _ in rows[1:]:
        if phase in FIRED_PHASES:
            delays += [delay_us] * half_cycles
        elif delays:
            found.append((delays, half_cycles))
            delays = []
    return found


def between(volts: tuple[int, ...], after_us: int, step_us: int) -> int:
    """On the line between two entries, rounded up."""
    low, past_us = divmod(after_us, step_us)
    if low >= len(volts) - 1:
        return volts[-1]
    return math.ceil(volts[low] + (volts[low + 1] - volts[low]) * Fraction(past_us, step_us))


def dying(ahead: int, half_cycles: int, halves_in: int) -> int:
    """Halved each so many, and in between on a line."""
    while half_cycles >= halves_in:
        ahead, half_cycles = ahead // 2, half_cycles - halves_in
    return ahead - ahead * half_cycles // (2 * halves_in)


def test_one_polarity_ahead_by_brute_force() -> None:
    """Seeded tables with runs to either side, in one impulse and over many, word for word: refused and taken."""
    chance = random.Random(5)
    told = set()
    for _ in range(600):
        changes: dict[str, Any] = {"MAX_ROWS": 90, "LONGEST_WELD_HALF_CYCLES": 900, "MAX_HALF_CYCLES": 900}
        config: Any = SimpleNamespace(
            **{
                **vars(CONFIG),
                **changes,
                "FLUX_HALVES_HALF_CYCLES": chance.choice((1, 3, 7, 40)),
                "FIRST_DELAY_US": 3000,
            }
        )
        if chance.random() < 0.5:
            config.VOLT_SECONDS = ((9990, 7000, 4000, 100), (8000, 6000, 4000, 2000))
            config.VOLT_SECONDS_STEP_US = 1666
        rows: Rows = []
        for _ in range(chance.randint(1, 6)):
            steep = chance.choice((300, 1500, 5000))
            for _ in range(chance.randint(1, 3)):
                middle = chance.randint(3000, 8000)
                near = [min(8000, max(3000, middle + chance.randint(-steep, steep))) for _ in range(2)]
                rows += [weld(1, near[0]), *([weld(2, 5000)] if chance.random() < 0.2 else []), weld(1, near[1])]
            rows.append(cool(chance.choice((6, 8, 14, 22))))
        made = table(*rows[:-1])
        words = one_sided_in_words(made, config)
        told.add(words == "")
        assert refusal([(phase, n, us, 100 if us > 0 else 0) for phase, n, us, _ in made], with_duty(config)) == words
    assert told == {True, False}


def with_duty(config: Any) -> Any:
    return SimpleNamespace(**{**vars(config), "DUTY_LIMIT": 10**6})


def test_least_cool_at_an_even_limit() -> None:
    """A gap of just the least is long enough."""
    config = SimpleNamespace(**{**vars(CONFIG), "LEAST_COOL_HALF_CYCLES": 6})
    assert refusal(table(weld(), cool(6), weld()), config) == ""  # type: ignore[arg-type]
    assert refusal(table(weld(), cool(4), weld()), config) == "cool of 4 half-cycles: at least 6 here"  # type: ignore[arg-type]


def test_a_squeeze_too_short_for_the_contactor_is_refused() -> None:
    """Just the least is long enough; one half-cycle less is not, and the emitted limit is that of the machine's file."""
    config = SimpleNamespace(**{**vars(CONFIG), "LEAST_SQUEEZE_HALF_CYCLES": 12})
    for half_cycles, told in ((12, ""), (11, "squeeze of 11 half-cycles: at least 12 here")):
        assert refusal([("squeeze", half_cycles, -1, 0), weld(), HOLD, OFF], config) == told  # type: ignore[arg-type]
    # 150 and 5 ms: 15.5 half-cycles of 10 ms
    bundle, _ = made(contactor={"closes_ms": 150, "bounce_ms": 5})
    assert config_of(bundle).LEAST_SQUEEZE_HALF_CYCLES == 16


@pytest.mark.parametrize("name", ["a", "z", "0", "9", "a-b_c", "a" * 32, "0_-", "corner-3"])
def test_what_may_name_a_schedule(name: str) -> None:
    """1 to 32 of a to z, 0 to 9, - and _; the first a letter or a figure."""
    assert is_name(name)


@pytest.mark.parametrize(
    "name", ["", "a" * 33, "-a", "_a", "A", "aB", "a b", "a.b", "a/b", 'a"', "\u00e4", "a\n", None, 1, [], ["a"], b"a"]
)
def test_what_may_not(name: Any) -> None:
    """Nothing that could be a path, end a string, or be taken for an option."""
    assert not is_name(name)


def test_the_digest_is_sha_256_of_the_lines() -> None:
    """The text as DEVELOPERS.md has it, a line a row, counted by the library."""
    rows = table(weld(), cool(), weld(4, 8000, 7))
    text = "weldbeat 1\ncorner\n60\n" + "".join(f"{a},{b},{c},{d}\n" for a, b, c, d in rows)
    assert digest("corner", 60, rows) == hashlib.sha256(text.encode()).hexdigest()[:16]
