"""What each fault does to a bench: a strike gives the same bench with one thing wrong from a moment on.

How strong and how long is drawn from a seeded chance; ranges are common practice, no source, where nothing else is said.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from sim.bench.board import BoardFault
from sim.bench.pedal import Press
from sim.bench.world import Bench


@dataclass(frozen=True)
class Strike:
    """A bench, the moment at which it is struck, and what draws the rest. `first`: the press under way or the next one."""

    bench: Bench
    at_s: float
    chance: random.Random

    @property
    def frequency_Hz(self) -> float:
        return self.bench.mains.frequency_Hz

    @property
    def left_s(self) -> float:
        return self.bench.length_s - self.at_s

    def between(self, low: float, high: float) -> float:
        return self.chance.uniform(low, high)


def _mains(strike: Strike, **changes: Any) -> Bench:
    return replace(strike.bench, mains=replace(strike.bench.mains, **changes))


def _detector(strike: Strike, **changes: Any) -> Bench:
    return replace(strike.bench, detector=replace(strike.bench.detector, **changes))


def switch(strike: Strike, fault: str) -> Bench:
    return replace(strike.bench, switch=replace(strike.bench.switch, fault=fault, fault_s=max(strike.at_s, 1e-6)))


def protection(strike: Strike, **changes: Any) -> Bench:
    return replace(strike.bench, protection=replace(strike.bench.protection, **changes))


def board(kind: Any, least_s: float = 0, most_s: float = 0) -> Callable[[Strike], Bench]:
    def apply(strike: Strike) -> Bench:
        length_s = least_s if least_s == most_s else strike.between(least_s, most_s)
        return _happens(strike.bench, BoardFault(kind, strike.at_s, length_s))

    return apply


def _happens(bench: Bench, *faults: BoardFault) -> Bench:
    return bench.with_board(faults=(*bench.board.faults, *faults))


# -- mains and detector


def missing(strike: Strike) -> Bench:
    first = int(strike.at_s * 2 * strike.frequency_Hz) + 1
    return _detector(strike, missing=frozenset(range(first, first + strike.chance.choice((1, 1, 1, 2)))))


def doubled(strike: Strike) -> Bench:
    return _detector(strike, doubled=(strike.at_s, strike.between(0.02, 0.5), strike.between(50e-6, 2e-3)))


def noise(strike: Strike) -> Bench:
    length_s = strike.between(0.005, 0.15)
    times = [strike.at_s + strike.between(0, length_s) for _ in range(strike.chance.randrange(1, 60))]
    return _detector(strike, false_s=tuple(sorted(times)))


def stuck_detector(level: int) -> Callable[[Strike], Bench]:
    return lambda strike: _detector(strike, stuck=(strike.at_s, strike.chance.choice((0.05, 0.3, 9.0)), level))


def drift(strike: Strike) -> Bench:
    # An optocoupler that ages or warms moves by tens of microseconds (from memory); ten times that here.
    rate = strike.between(200, 5000) * strike.chance.choice((-1, 1))
    return _detector(strike, drift=(strike.at_s, rate, strike.between(100, 400)))


def _other_frequency(strike: Strike) -> float:
    return strike.between(40, 70)


def step(strike: Strike) -> Bench:
    other, end_s = _other_frequency(strike), strike.at_s + strike.between(0.05, 0.5)
    points = ((strike.at_s, other), (end_s, other), (end_s + 1e-6, strike.frequency_Hz))
    return _mains(strike, frequencies=points)


def ramp(strike: Strike) -> Bench:
    other, slope_s = _other_frequency(strike), strike.between(0.05, 1.0)
    top_s = strike.at_s + slope_s
    points = ((strike.at_s, strike.frequency_Hz), (top_s, other), (top_s + slope_s, strike.frequency_Hz))
    return _mains(strike, frequencies=points)


def sag(strike: Strike) -> Bench:
    return _mains(strike, sags=((strike.at_s, strike.between(0.01, 0.5), strike.between(0.2, 0.9)),))


def short_dropout(strike: Strike) -> Bench:
    return _mains(strike, sags=((strike.at_s, strike.between(0.01, 0.2), 0.0),))


def half_wave_supply(strike: Strike) -> Bench:
    span = (strike.at_s, strike.between(0.05, 1.0), strike.chance.randrange(2))
    return _mains(strike, half_waves=(span,))


def second(strike: Strike) -> Bench:
    return _mains(replace(strike, bench=_longer(strike.bench, 1.0)), sags=((strike.at_s, 1.0, 0.0),))


def hour(strike: Strike) -> Bench:
    # The board stays on. Nothing changes while the mains is out, so its clock is moved on instead of counting it out.
    return _happens(second(strike), BoardFault("leap", strike.at_s + 0.5, 3600))


def _longer(bench: Bench, s: float) -> Bench:
    return replace(bench, length_s=bench.length_s + s)


# -- the person


def _pressed(strike: Strike, presses: list[Press], bounce_ms: float | None = None) -> Bench:
    pedal = strike.bench.pedal
    return replace(
        strike.bench,
        pedal=replace(pedal, presses=tuple(presses), bounce_ms=pedal.bounce_ms if bounce_ms is None else bounce_ms),
    )


def _cut(strike: Strike) -> tuple[list[Press], list[Press]]:
    """The presses before the moment, the one under way ended there, and what is left of it and those after."""
    before, after = [], []
    for press in strike.bench.pedal.presses:
        end_s = press.start_s + press.hold_s
        if press.start_s < strike.at_s:
            before.append(Press(press.start_s, min(press.hold_s, strike.at_s - press.start_s)))
        if end_s > strike.at_s:
            start_s = max(press.start_s, strike.at_s)
            after.append(Press(start_s, end_s - start_s))
    return before, after


def bounce(strike: Strike) -> Bench:
    before, after = _cut(strike)
    presses, at_s = before, strike.at_s
    for _ in range(strike.chance.randrange(2, 8)):
        hold_s = strike.between(0.0002, 0.002)
        presses.append(Press(at_s + strike.between(0.0002, 0.002), hold_s))
        at_s = presses[-1].start_s + hold_s
    rest = [Press(max(press.start_s, at_s + 0.001), press.hold_s) for press in after]
    return _pressed(strike, presses + rest, 0.0)


def stuck_pedal(strike: Strike) -> Bench:
    before, _ = _cut(strike)
    return _pressed(strike, [*before, Press(strike.at_s, strike.left_s)])


def chatter(strike: Strike) -> Bench:
    before, after = _cut(strike)
    presses, at_s, end_s = before, strike.at_s, strike.at_s + strike.between(0.2, 1.0)
    longest_s = strike.between(0.003, 0.08)
    while at_s < end_s:
        open_s, hold_s = strike.between(0.001, longest_s), strike.between(0.001, longest_s)
        presses.append(Press(at_s + open_s, hold_s))
        at_s += open_s + hold_s
    rest = [Press(press.start_s, press.hold_s) for press in after if press.start_s > at_s]
    return _pressed(strike, presses + rest, 0.0)


def release(strike: Strike) -> Bench:
    before, after = _cut(strike)
    return _pressed(strike, before + [press for press in after if press.start_s > strike.at_s])


def stop(strike: Strike) -> Bench:
    return replace(strike.bench, stops=((strike.at_s, strike.between(0.1, 0.3)),))


def hot(strike: Strike) -> Bench:
    earlier = tuple((from_s, min(length_s, strike.at_s - from_s)) for from_s, length_s in strike.bench.hots)
    return replace(strike.bench, hots=(*earlier, (strike.at_s, strike.between(0.1, 0.4))))


# -- the board

_HUNG = BoardFault("hang", 0, math.inf)
BITE_S = 2.6  # from a hang to the first steps of the next start


def hang(strike: Strike) -> Bench:
    return _happens(_longer(strike.bench, BITE_S), replace(_HUNG, at_s=strike.at_s))


def hang_and_stop(strike: Strike) -> Bench:
    return replace(hang(strike), stops=((strike.at_s + strike.between(0.02, 0.06), 0.5),))


def without_stop_test(strike: Strike) -> Bench:
    return stop(strike).with_board(stop_reaches_gate=False)


def hang_and_stop_without_test(strike: Strike) -> Bench:
    return hang_and_stop(strike).with_board(stop_reaches_gate=False)


def soft_reset(strike: Strike) -> Bench:
    return _longer(board("soft reset")(strike), 0.5)


def flood(strike: Strike) -> Bench:
    chance = strike.chance
    data = b"".join(
        chance.choice(
            (
                bytes(chance.randrange(256) for _ in range(chance.randrange(1, 80))),
                b'{"jsonrpc": "2.0", "id": 1, "method": "status"} 00000000\n',
                b"\n" * chance.randrange(1, 20),
                b'{"jsonrpc": "2.0", "id": 0, "method": "sto',
            )
        )
        for _ in range(chance.randrange(20, 80))
    )
    return replace(strike.bench, serial=(*strike.bench.serial, (strike.at_s, data)))


def damage(strike: Strike) -> Bench:
    later = BoardFault("brown-out", strike.at_s + strike.between(0.0, 0.4), 0.05)
    return _happens(_longer(strike.bench, 0.6), BoardFault("damage", strike.at_s), later)


def clock(rate: float) -> Callable[[Strike], Bench]:
    return lambda strike: strike.bench.with_board(clock_rate=rate)


def late(strike: Strike) -> Bench:
    return protection(strike, late=(strike.at_s, strike.at_s + 9, strike.between(0.1e-3, 4e-3)))
