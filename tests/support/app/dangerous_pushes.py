"""Pushes that are well-formed and dangerous, the real MicroPython that takes or refuses them, and how dangerous each is.

What a push does is reckoned here from textbook formulas alone, on the machine as it may be at its worst; nothing of it is
shared with the board's tables or with the compiler. Sources: the current of a phase-controlled R-L load, D. W. Hart, Power
Electronics (2011), section 5.3, its root and its integrals found here by numbers; heat as the square of the current.
"""

from __future__ import annotations

import json
import math
import os
import random
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import SimpleNamespace, TracebackType
from typing import Any, Self

from gen.boards import boards
from gen.firmware import FirmwareBundle, render
from gen.machine.welder import Welder
from gen.words import FIRED_PHASES, PHASES
from tests.support.machines import compiled, make_welder

Row = list[int]  # phase, half-cycles, delay in us or -1, heat: as push_rows carries it
Rows = list[Row]
AIMS = ("heat", "one-sided", "first delay", "gap", "under current", "odd")
JUDGE = Path(__file__).with_name("push_judge.py")
FIRED = tuple(PHASES.index(phase) for phase in FIRED_PHASES)
SQUEEZE, PULSE, COOL, HOLD, OFF = (PHASES.index(phase) for phase in ("squeeze", "pulse", "cool", "hold", "off"))

MACHINES: tuple[dict[str, dict[str, Any]], ...] = (
    {},
    {"mains": {"frequency_Hz": 60}, "transformer": {"load_angle_min_deg": 20, "load_angle_max_deg": 45}},
    {"transformer": {"load_angle_min_deg": 60, "load_angle_max_deg": 78, "open_current_A": 0.3}},
    {"limits": {"first_delay_deg": 110}, "transformer": {"open_current_A": 3.0}},
)


@dataclass(frozen=True)
class Target:
    """A machine with its firmware."""

    welder: Welder
    bundle: FirmwareBundle

    @property
    def config(self) -> Any:
        """The emitted limits."""
        names: dict[str, Any] = {}
        exec(self.bundle.files["config.py"], names)
        return SimpleNamespace(**names)


@cache
def target(number: int) -> Target:
    """Machine `number`."""
    welder = make_welder(**MACHINES[number])
    return Target(welder, render(compiled(welder, {"weld": "6 cycles"}), welder, boards()["pico"]))


class Judge:
    """The board's own check under a real MicroPython, in a process of its own that reads and answers lines."""

    def __init__(self, bundle: FirmwareBundle, folder: Path) -> None:
        bundle.write(folder)
        command = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=16m", str(JUDGE)]
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "cwd": folder, "text": True}
        self._process = subprocess.Popen(command, **pipes, env=os.environ | {"MICROPYPATH": ".:.frozen"})  # type: ignore[call-overload]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._process.stdin.close()
        self._process.wait(10)
        self._process.stdout.close()

    def refusals(self, pushes: list[Rows]) -> list[str]:
        """What it says to each; "" where it takes it."""
        self._process.stdin.write(json.dumps(pushes) + "\n")
        self._process.stdin.flush()
        answers: list[str] = json.loads(self._process.stdout.readline())
        assert len(answers) == len(pushes)
        return answers


# -- what a push does ----------------------------------------------------------------------------------------------------


@cache
def half_cycle(delay_us: int, load_deg: float, frequency_Hz: int) -> tuple[float, float]:
    """(heat of full conduction, volt-seconds of a whole half-cycle) of one fired there, as shares of 1."""
    p, a = math.radians(load_deg), 2 * math.pi * frequency_Hz * delay_us * 1e-6
    a = max(a, p)  # fired before its load angle it conducts whole
    lag = math.tan(p)

    def current(t: float) -> float:
        return math.sin(t - p) - math.sin(a - p) * math.exp(-(t - a) / lag)

    low, high = a + 1e-9, math.pi + p
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if current(middle) > 0 else (low, middle)
    count = 400
    step = (high - a) / count
    squares = [current(a + n * step) ** 2 for n in range(count + 1)]
    heat = step / 3 * sum(v * (1 if n in (0, count) else 4 if n % 2 else 2) for n, v in enumerate(squares))
    return heat / (math.pi / 2), (math.cos(a) - math.cos(high)) / 2


def dangers(rows: Rows, it: Target) -> dict[str, float]:
    """How far a push goes by each aim, 1.0 being the limit that is burnt in; of `odd`, impulses and gaps that are odd."""
    config, t = it.config, it.welder.transformer
    f = config.FREQUENCY_HZ
    fired = [row for row in rows if row[0] in FIRED]
    if not fired:
        return dict.fromkeys(AIMS, 0.0)
    true = max(
        sum(row[1] * half_cycle(row[2], angle, f)[0] for row in fired) * 100
        for angle in (t.load_angle_min_deg, t.load_angle_max_deg)
    )
    told = sum(row[1] * row[3] for row in fired)
    # As often in a minute as the guard lets it; a weld alone counts as well.
    heat = max(1, config.DUTY_LIMIT // max(told, 1)) * true / config.DUTY_LIMIT
    impulses, gaps, firsts = [0], [], []
    for row in rows[1:-2]:
        if row[0] in FIRED:
            if not impulses[-1]:
                firsts.append(row[2])
            impulses[-1] += row[1]
        else:
            gaps.append(row[1])
            impulses.append(0)
    return {
        "heat": heat,
        "one-sided": max(one_sided(rows, it, angle) for angle in (t.load_angle_min_deg, t.load_angle_max_deg)),
        "first delay": config.FIRST_DELAY_US / max(min(firsts), 1) if firsts else 0.0,
        "gap": config.LEAST_COOL_HALF_CYCLES / max(min(gaps), 1) if gaps else 0.0,
        "under current": sum(row[1] for row in fired) / config.LONGEST_WELD_HALF_CYCLES,
        "odd": float(sum(n % 2 for n in (*impulses, *gaps))),
    }


def one_sided(rows: Rows, it: Target, load_deg: float) -> float:
    """What one polarity is ahead by, over what one cycle at either end of the delays may give.

    The two halves of a cycle are their mean, which only swings to and fro, and half their difference twice over, which goes
    one way. It dies away from half-cycle to half-cycle with the machine's time constant.
    """
    config = it.config
    f = config.FREQUENCY_HZ
    kept = math.exp(-0.5 / f / it.welder.flux_decay_s)
    whole = [half_cycle(us, load_deg, f)[1] for us in (config.EARLIEST_DELAY_US, config.LATEST_DELAY_US)]
    ahead, worst = 0.0, 0.0
    first: float | None = None
    for row in rows:
        if row[0] == COOL:
            ahead *= kept ** row[1]
        if row[0] not in FIRED:
            continue
        given = half_cycle(row[2], load_deg, f)[1]
        for _ in range(row[1]):
            if first is None:
                first = given
                continue
            for _ in range(2):
                ahead = ahead * kept + (first - given) / 2
            worst, first = max(worst, abs(ahead)), None
    return worst / (whole[0] - whole[1])


# -- the search ----------------------------------------------------------------------------------------------------------


def random_push(chance: random.Random, config: Any) -> Rows:
    """Well-formed, and near the limits: most figures lie on one, one beside it, or anywhere within."""
    rows: Rows = [[SQUEEZE, chance.randint(1, 50), -1, 0]]
    pattern = [_fired(chance, config) for _ in range(chance.randint(1, 4))]
    if chance.random() < 0.2:  # one half-cycle early and one late, in impulse after impulse
        uneven = [config.FIRST_DELAY_US, config.LATEST_DELAY_US - chance.randint(0, 2_000)]
        pattern = [[PULSE, 1, us, next(heat for to, heat in config.HEAT_STEPS if us <= to)] for us in uneven]
    for n in range(chance.choice((1, 1, 2, 5, 20, 60))):
        if n:
            rows.append([COOL, _near(chance, config.LEAST_COOL_HALF_CYCLES, 1, 40), -1, 0])
        rows += [list(row) for row in pattern] if chance.random() < 0.7 else [_fired(chance, config)]
    return [*rows, [HOLD, 5, -1, 0], [OFF, 50, -1, 0]]


def _fired(chance: random.Random, config: Any) -> Row:
    delay_us = chance.choice(
        (
            config.FIRST_DELAY_US,
            config.EARLIEST_DELAY_US,
            config.LATEST_DELAY_US,
            chance.randint(config.EARLIEST_DELAY_US, config.LATEST_DELAY_US),
        )
    )
    delay_us += chance.choice((0, 0, 0, -1, 1))
    least = next((heat for latest, heat in config.HEAT_STEPS if delay_us <= latest), 1)
    heat = max(0, least + chance.choice((0, 0, 0, -1, 1, chance.randint(-least, 100 - least))))
    return [chance.choice(FIRED), chance.choice((1, 1, 2, 2, 4, chance.randint(1, 120))), delay_us, heat]


def _near(chance: random.Random, limit: int, low: int, high: int) -> int:
    return max(low, chance.choice((limit, limit, limit + limit % 2, limit - 1, chance.randint(low, high))))


def changed(rows: Rows, chance: random.Random, config: Any) -> Rows:
    """A push beside another: one figure moved, or a row or an impulse put in, taken out, repeated or exchanged."""
    rows = [list(row) for row in rows]
    at = chance.randrange(1, len(rows) - 2) if len(rows) > 3 else 0
    row, what = rows[at], chance.randrange(7)
    if what == 0 and row[0] in FIRED:
        row[2] += chance.choice((-300, -30, -1, 1, 30, 300))
        row[2] = max(0, row[2])
    elif what == 1 and row[0] in FIRED:
        row[3] = max(0, row[3] + chance.choice((-5, -1, 1, 5)))
    elif what == 2:
        row[1] = max(1, row[1] + chance.choice((-2, -1, 1, 2, 10, -10)))
    elif what == 3:
        rows.insert(at, _fired(chance, config))
    elif what == 4 and len(rows) > 4:
        del rows[at]
    elif what == 5:
        end = chance.randrange(at + 1, len(rows) - 1)
        between = [[COOL, _near(chance, config.LEAST_COOL_HALF_CYCLES, 1, 40), -1, 0]] if chance.random() < 0.7 else []
        rows[end:end] = [*between, *([list(it) for it in rows[at:end]] * chance.choice((1, 1, 4)))]
    else:
        other = chance.randrange(1, len(rows) - 2) if len(rows) > 3 else at
        rows[at], rows[other] = rows[other], rows[at]
    return rows


@dataclass
class Search:
    """What was tried and taken, and the worst push taken by each aim with how far it goes."""

    tried: int = 0
    taken: int = 0
    refusals: Counter[str] = field(default_factory=Counter)
    worst: dict[str, tuple[float, Rows]] = field(default_factory=dict)


BATCH = 40
MOST_ROWS = 300  # more than any board takes


def search(number: int, pushes: int, seed: int, judge: Judge, aims: tuple[str, ...] = AIMS) -> Search:
    """Try so many pushes on machine `number`: a fifth by lot, the others climbing from the worst that was taken by one aim."""
    chance, it, found = random.Random(f"{seed} {number}"), target(number), Search()
    config = it.config
    while found.tried < pushes:
        tries: list[Rows] = []
        for _ in range(BATCH):
            aim = chance.choice(aims)
            rows = found.worst[aim][1] if aim in found.worst and chance.random() < 0.8 else random_push(chance, config)
            for _ in range(chance.choice((0, 1, 1, 2, 3))):
                rows = changed(rows, chance, config)
            if len(rows) > MOST_ROWS:
                rows = [*rows[: MOST_ROWS - 2], *rows[-2:]]
            tries.append(rows)
        for rows, refusal in zip(tries, judge.refusals(tries), strict=True):
            found.tried += 1
            if refusal:
                found.refusals[refusal.translate(str.maketrans("", "", "0123456789-"))] += 1
                continue
            found.taken += 1
            for aim, far in dangers(rows, it).items():
                if far >= found.worst.get(aim, (-1.0, []))[0]:
                    found.worst[aim] = far, rows
    return found


def allowed(aim: str) -> float:
    """How far a push may go: of heat a step of the board's table, of flux what its lines between two entries may be off by; else
    the limit itself. Nothing odd is let pass."""
    return {"heat": 1.105, "one-sided": 1.005, "odd": 0.0}.get(aim, 1.0)


def overshoots(found: Search) -> list[str]:
    """Each aim that went beyond what is allowed, in words."""
    return [f"{aim} {far:.4f}: {rows}" for aim, (far, rows) in found.worst.items() if far > allowed(aim) + 1e-9]
