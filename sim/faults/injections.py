"""What each fault does to a bench. Each function returns the injection's bench with one fault that begins at `at_s`.

Strength and length are drawn from a seeded generator. Ranges are common practice, no source, unless one is named.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from sim.bench.board import BoardFault
from sim.bench.pedal import Press
from sim.bench.sense import SenseSpec
from sim.bench.world import Bench


@dataclass(frozen=True)
class Injection:
    """A fault about to be injected."""

    bench: Bench
    """The bench without it."""
    at_s: float
    """Time at which it begins."""
    chance: random.Random
    """Draws its strength and length."""

    @property
    def frequency_Hz(self) -> float:
        return self.bench.mains.frequency_Hz

    @property
    def left_s(self) -> float:
        return self.bench.length_s - self.at_s

    def between(self, low: float, high: float) -> float:
        return self.chance.uniform(low, high)


def _mains(injection: Injection, **changes: Any) -> Bench:
    return replace(injection.bench, mains=replace(injection.bench.mains, **changes))


def _detector(injection: Injection, **changes: Any) -> Bench:
    return replace(injection.bench, detector=replace(injection.bench.detector, **changes))


def switch(injection: Injection, fault: str) -> Bench:
    return replace(
        injection.bench, switch=replace(injection.bench.switch, fault=fault, fault_s=max(injection.at_s, 1e-6))
    )


def protection(injection: Injection, **changes: Any) -> Bench:
    return replace(injection.bench, protection=replace(injection.bench.protection, **changes))


def mirror(injection: Injection) -> Bench:
    return protection(injection, mirror_stuck=(injection.at_s, injection.chance.randrange(2)))


def board(kind: Any, least_s: float = 0, most_s: float = 0) -> Callable[[Injection], Bench]:
    def apply(injection: Injection) -> Bench:
        length_s = least_s if least_s == most_s else injection.between(least_s, most_s)
        return _happens(injection.bench, BoardFault(kind, injection.at_s, length_s))

    return apply


def _happens(bench: Bench, *faults: BoardFault) -> Bench:
    return bench.with_board(faults=(*bench.board.faults, *faults))


# -- mains and detector


def missing(injection: Injection) -> Bench:
    first = int(injection.at_s * 2 * injection.frequency_Hz) + 1
    return _detector(injection, missing=frozenset(range(first, first + injection.chance.choice((1, 1, 1, 2)))))


def doubled(injection: Injection) -> Bench:
    return _detector(injection, doubled=(injection.at_s, injection.between(0.02, 0.5), injection.between(50e-6, 2e-3)))


def noise(injection: Injection) -> Bench:
    length_s = injection.between(0.005, 0.15)
    times = [injection.at_s + injection.between(0, length_s) for _ in range(injection.chance.randrange(1, 60))]
    return _detector(injection, false_s=tuple(sorted(times)))


def stuck_detector(level: int) -> Callable[[Injection], Bench]:
    return lambda injection: _detector(
        injection, stuck=(injection.at_s, injection.chance.choice((0.05, 0.3, 9.0)), level)
    )


def drift(injection: Injection) -> Bench:
    # Ageing and heat move an optocoupler's edge by tens of microseconds (from memory); ten times that here.
    rate = injection.between(200, 5000) * injection.chance.choice((-1, 1))
    return _detector(injection, drift=(injection.at_s, rate, injection.between(100, 400)))


def _other_frequency(injection: Injection) -> float:
    return injection.between(40, 70)


def step(injection: Injection) -> Bench:
    other, end_s = _other_frequency(injection), injection.at_s + injection.between(0.05, 0.5)
    points = ((injection.at_s, other), (end_s, other), (end_s + 1e-6, injection.frequency_Hz))
    return _mains(injection, frequencies=points)


def ramp(injection: Injection) -> Bench:
    other, slope_s = _other_frequency(injection), injection.between(0.05, 1.0)
    top_s = injection.at_s + slope_s
    points = ((injection.at_s, injection.frequency_Hz), (top_s, other), (top_s + slope_s, injection.frequency_Hz))
    return _mains(injection, frequencies=points)


def sag(injection: Injection) -> Bench:
    return _mains(injection, sags=((injection.at_s, injection.between(0.01, 0.5), injection.between(0.2, 0.9)),))


def short_dropout(injection: Injection) -> Bench:
    return _mains(injection, sags=((injection.at_s, injection.between(0.01, 0.2), 0.0),))


def half_wave_supply(injection: Injection) -> Bench:
    span = (injection.at_s, injection.between(0.05, 1.0), injection.chance.randrange(2))
    return _mains(injection, half_waves=(span,))


def second(injection: Injection) -> Bench:
    return _mains(replace(injection, bench=_longer(injection.bench, 1.0)), sags=((injection.at_s, 1.0, 0.0),))


def hour(injection: Injection) -> Bench:
    # The board stays on. Nothing changes while the mains is out, so its clock leaps instead.
    return _happens(second(injection), BoardFault("leap", injection.at_s + 0.5, 3600))


def _longer(bench: Bench, s: float) -> Bench:
    return replace(bench, length_s=bench.length_s + s)


# -- the person


def _pressed(injection: Injection, presses: list[Press], bounce_ms: float | None = None) -> Bench:
    pedal = injection.bench.pedal
    return replace(
        injection.bench,
        pedal=replace(pedal, presses=tuple(presses), bounce_ms=pedal.bounce_ms if bounce_ms is None else bounce_ms),
    )


def _cut(injection: Injection) -> tuple[list[Press], list[Press]]:
    """The presses before and after the fault begins. A press under way is split there."""
    before, after = [], []
    for press in injection.bench.pedal.presses:
        end_s = press.start_s + press.hold_s
        if press.start_s < injection.at_s:
            before.append(Press(press.start_s, min(press.hold_s, injection.at_s - press.start_s)))
        if end_s > injection.at_s:
            start_s = max(press.start_s, injection.at_s)
            after.append(Press(start_s, end_s - start_s))
    return before, after


def bounce(injection: Injection) -> Bench:
    before, after = _cut(injection)
    presses, at_s = before, injection.at_s
    for _ in range(injection.chance.randrange(2, 8)):
        hold_s = injection.between(0.0002, 0.002)
        presses.append(Press(at_s + injection.between(0.0002, 0.002), hold_s))
        at_s = presses[-1].start_s + hold_s
    rest = [Press(max(press.start_s, at_s + 0.001), press.hold_s) for press in after]
    return _pressed(injection, presses + rest, 0.0)


def stuck_pedal(injection: Injection) -> Bench:
    before, _ = _cut(injection)
    return _pressed(injection, [*before, Press(injection.at_s, injection.left_s)])


def chatter(injection: Injection) -> Bench:
    before, after = _cut(injection)
    presses, at_s, end_s = before, injection.at_s, injection.at_s + injection.between(0.2, 1.0)
    longest_s = injection.between(0.003, 0.08)
    while at_s < end_s:
        open_s, hold_s = injection.between(0.001, longest_s), injection.between(0.001, longest_s)
        presses.append(Press(at_s + open_s, hold_s))
        at_s += open_s + hold_s
    rest = [Press(press.start_s, press.hold_s) for press in after if press.start_s > at_s]
    return _pressed(injection, presses + rest, 0.0)


def release(injection: Injection) -> Bench:
    before, after = _cut(injection)
    return _pressed(injection, before + [press for press in after if press.start_s > injection.at_s])


def stop(injection: Injection) -> Bench:
    return replace(injection.bench, stops=((injection.at_s, injection.between(0.1, 0.3)),))


def blip(injection: Injection) -> Bench:
    # Long enough to pass the contact's filter, shorter than a hand can press.
    return replace(injection.bench, stops=((injection.at_s, injection.between(0.5e-3, 2e-3)),))


def hot(injection: Injection) -> Bench:
    earlier = tuple((from_s, min(length_s, injection.at_s - from_s)) for from_s, length_s in injection.bench.hots)
    return replace(injection.bench, hots=(*earlier, (injection.at_s, injection.between(0.1, 0.4))))


# -- the board

_HUNG = BoardFault("hang", 0, math.inf)
BITE_S = 2.6  # from a hang to the first steps of the next start


def hang(injection: Injection) -> Bench:
    return _happens(_longer(injection.bench, BITE_S), replace(_HUNG, at_s=injection.at_s))


def hang_and_release(injection: Injection) -> Bench:
    later_s = injection.at_s + injection.between(0.005, 0.06)
    return release(replace(injection, bench=hang(injection), at_s=later_s))


def hang_and_stop(injection: Injection) -> Bench:
    return replace(hang(injection), stops=((injection.at_s + injection.between(0.02, 0.06), 0.5),))


def without_stop_test(injection: Injection) -> Bench:
    return stop(injection).with_board(stop_reaches_gate=False)


def hang_and_stop_without_test(injection: Injection) -> Bench:
    return hang_and_stop(injection).with_board(stop_reaches_gate=False)


def soft_reset(injection: Injection) -> Bench:
    return _longer(board("soft reset")(injection), 0.5)


def flood(injection: Injection) -> Bench:
    chance = injection.chance
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
    return replace(injection.bench, serial=(*injection.bench.serial, (injection.at_s, data)))


def restarted_after(kind: Any) -> Callable[[Injection], Bench]:
    """A fault that only the self-test of the next start can find."""

    def apply(injection: Injection) -> Bench:
        later = BoardFault("brown-out", injection.at_s + injection.between(0.0, 0.4), 0.05)
        return _happens(_longer(injection.bench, 0.6), BoardFault(kind, injection.at_s), later)

    return apply


def clock(rate: float) -> Callable[[Injection], Bench]:
    return lambda injection: injection.bench.with_board(clock_rate=rate)


def late(injection: Injection) -> Bench:
    return protection(injection, late=(injection.at_s, injection.at_s + 9, injection.between(0.1e-3, 4e-3)))


# -- what only a broken part does

_EVER_S = 99.0


def dead_detector(level: int) -> Callable[[Injection], Bench]:
    return lambda injection: _detector(injection, stuck=(injection.at_s, _EVER_S, level))


def stays_stopped(injection: Injection) -> Bench:
    return replace(injection.bench, stops=((injection.at_s, _EVER_S),))


def stays_hot(injection: Injection) -> Bench:
    earlier = tuple((from_s, min(length_s, injection.at_s - from_s)) for from_s, length_s in injection.bench.hots)
    return replace(injection.bench, hots=(*(span for span in earlier if span[1] > 0), (injection.at_s, _EVER_S)))


def bridged_stop(injection: Injection) -> Bench:
    return protection(replace(injection, bench=stop(injection)), stop_cuts_gate=False, stop_cuts_contactor=False)


def bridged_heat(injection: Injection) -> Bench:
    return protection(replace(injection, bench=hot(injection)), hot_cuts=False)


def pulse(longest_s: float | None) -> Callable[[Injection], Bench]:
    """From the start of the run on, not from `at_s`."""
    return lambda injection: protection(injection, pulse_s=longest_s)


def force(level: int) -> Callable[[Injection], Bench]:
    def apply(injection: Injection) -> Bench:
        before = tuple(change for change in injection.bench.forces if change[0] < injection.at_s)
        return replace(injection.bench, forces=(*before, (injection.at_s, level)))

    return apply


def sense(**changes: Any) -> Callable[[Injection], Bench]:
    """From the start of the run on, not from `at_s`."""
    return lambda injection: replace(injection.bench, sense=SenseSpec(**changes))


def ammeter(**changes: Any) -> Callable[[Injection], Bench]:
    """From the start of the run on, not from `at_s`."""

    def apply(injection: Injection) -> Bench:
        return injection.bench.with_board(ammeter=replace(injection.bench.board.ammeter, **changes))

    return apply
