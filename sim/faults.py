"""What can go wrong, as named injections: each takes a bench and gives the same bench with one fault from a moment on.

How strong and how long is drawn from a seeded chance; ranges are common practice, no source, where nothing else is said.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from sim.board import BoardFault
from sim.pedal import Press
from sim.world import Bench

STATES = ("starting", "waiting for mains", "ready", "storing", "squeeze", "weld", "hold", "off", "locked out")
UNDER_WAY = ("squeeze", "weld", "hold", "off")  # from an accepted pedal to the end of off time

Layer = Literal["firmware", "firing hardware", "table", "hardware"]
"""What is meant to carry a fault: program, PIO with its hunt and stop test, the bounded table, or hardware beyond the board."""


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


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong. `takes`: what it has for itself, so that two that take the same cannot meet.

    `states`: those that it can strike in; `elsewhere`: why not in the others. `acts`: a person has to act, since current
    may flow that no gate asked for. `not_asked`: an invariant that says nothing here, with the reason. `unseen`: what a
    fault that nothing on the board notices does meanwhile, and how it is found.
    """

    name: str
    words: str
    layer: Layer
    takes: frozenset[str]
    apply: Callable[[Strike], Bench]
    states: tuple[str, ...] = STATES
    elsewhere: str = ""
    acts: bool = False
    not_asked: dict[str, str] = field(default_factory=dict)
    unseen: str = ""


def _mains(strike: Strike, **changes: Any) -> Bench:
    return replace(strike.bench, mains=replace(strike.bench.mains, **changes))


def _detector(strike: Strike, **changes: Any) -> Bench:
    return replace(strike.bench, detector=replace(strike.bench.detector, **changes))


def _switch(strike: Strike, fault: str) -> Bench:
    return replace(strike.bench, switch=replace(strike.bench.switch, fault=fault, fault_s=max(strike.at_s, 1e-6)))


def _chain(strike: Strike, **changes: Any) -> Bench:
    return replace(strike.bench, chain=replace(strike.bench.chain, **changes))


def _board(kind: Any, least_s: float = 0, most_s: float = 0) -> Callable[[Strike], Bench]:
    def apply(strike: Strike) -> Bench:
        length_s = least_s if least_s == most_s else strike.between(least_s, most_s)
        return _happens(strike.bench, BoardFault(kind, strike.at_s, length_s))

    return apply


def _happens(bench: Bench, *faults: BoardFault) -> Bench:
    return replace(bench, board_faults=(*bench.board_faults, *faults))


# -- mains and detector


def _missing(strike: Strike) -> Bench:
    first = int(strike.at_s * 2 * strike.frequency_Hz) + 1
    return _detector(strike, missing=frozenset(range(first, first + strike.chance.choice((1, 1, 1, 2)))))


def _doubled(strike: Strike) -> Bench:
    return _detector(strike, doubled=(strike.at_s, strike.between(0.02, 0.5), strike.between(50e-6, 2e-3)))


def _noise(strike: Strike) -> Bench:
    length_s = strike.between(0.005, 0.15)
    times = [strike.at_s + strike.between(0, length_s) for _ in range(strike.chance.randrange(1, 60))]
    return _detector(strike, false_s=tuple(sorted(times)))


def _stuck_detector(level: int) -> Callable[[Strike], Bench]:
    return lambda strike: _detector(strike, stuck=(strike.at_s, strike.chance.choice((0.05, 0.3, 9.0)), level))


def _drift(strike: Strike) -> Bench:
    # An optocoupler that ages or warms moves by tens of microseconds (from memory); ten times that here.
    rate = strike.between(200, 5000) * strike.chance.choice((-1, 1))
    return _detector(strike, drift=(strike.at_s, rate, strike.between(100, 400)))


def _other_frequency(strike: Strike) -> float:
    return strike.between(40, 70)


def _step(strike: Strike) -> Bench:
    other, end_s = _other_frequency(strike), strike.at_s + strike.between(0.05, 0.5)
    points = ((strike.at_s, other), (end_s, other), (end_s + 1e-6, strike.frequency_Hz))
    return _mains(strike, frequencies=points)


def _ramp(strike: Strike) -> Bench:
    other, slope_s = _other_frequency(strike), strike.between(0.05, 1.0)
    top_s = strike.at_s + slope_s
    points = ((strike.at_s, strike.frequency_Hz), (top_s, other), (top_s + slope_s, strike.frequency_Hz))
    return _mains(strike, frequencies=points)


def _sag(strike: Strike) -> Bench:
    return _mains(strike, sags=((strike.at_s, strike.between(0.01, 0.5), strike.between(0.2, 0.9)),))


def _short_dropout(strike: Strike) -> Bench:
    return _mains(strike, sags=((strike.at_s, strike.between(0.01, 0.2), 0.0),))


def _half_wave_supply(strike: Strike) -> Bench:
    span = (strike.at_s, strike.between(0.05, 1.0), strike.chance.randrange(2))
    return _mains(strike, half_waves=(span,))


def _second(strike: Strike) -> Bench:
    return _mains(replace(strike, bench=_longer(strike.bench, 1.0)), sags=((strike.at_s, 1.0, 0.0),))


def _hour(strike: Strike) -> Bench:
    # The board stays on. Nothing changes while the mains is out, so its clock is moved on instead of counting it out.
    return _happens(_second(strike), BoardFault("leap", strike.at_s + 0.5, 3600))


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


def _bounce(strike: Strike) -> Bench:
    before, after = _cut(strike)
    presses, at_s = before, strike.at_s
    for _ in range(strike.chance.randrange(2, 8)):
        hold_s = strike.between(0.0002, 0.002)
        presses.append(Press(at_s + strike.between(0.0002, 0.002), hold_s))
        at_s = presses[-1].start_s + hold_s
    rest = [Press(max(press.start_s, at_s + 0.001), press.hold_s) for press in after]
    return _pressed(strike, presses + rest, 0.0)


def _stuck_pedal(strike: Strike) -> Bench:
    before, _ = _cut(strike)
    return _pressed(strike, [*before, Press(strike.at_s, strike.left_s)])


def _chatter(strike: Strike) -> Bench:
    before, after = _cut(strike)
    presses, at_s, end_s = before, strike.at_s, strike.at_s + strike.between(0.2, 1.0)
    longest_s = strike.between(0.003, 0.08)
    while at_s < end_s:
        open_s, hold_s = strike.between(0.001, longest_s), strike.between(0.001, longest_s)
        presses.append(Press(at_s + open_s, hold_s))
        at_s += open_s + hold_s
    rest = [Press(press.start_s, press.hold_s) for press in after if press.start_s > at_s]
    return _pressed(strike, presses + rest, 0.0)


def _release(strike: Strike) -> Bench:
    before, after = _cut(strike)
    return _pressed(strike, before + [press for press in after if press.start_s > strike.at_s])


def _stop(strike: Strike) -> Bench:
    return replace(strike.bench, stops=((strike.at_s, strike.between(0.1, 0.3)),))


def _hot(strike: Strike) -> Bench:
    return replace(strike.bench, hots=((strike.at_s, strike.between(0.1, 0.4)),))


# -- the board

_HUNG = BoardFault("hang", 0, math.inf)
BITE_S = 2.6  # from a hang to the first steps of the next start


def _hang(strike: Strike) -> Bench:
    return _happens(_longer(strike.bench, BITE_S), replace(_HUNG, at_s=strike.at_s))


def _hang_and_stop(strike: Strike) -> Bench:
    return replace(_hang(strike), stops=((strike.at_s + strike.between(0.02, 0.06), 0.5),))


def _without_stop_test(strike: Strike) -> Bench:
    return replace(_stop(strike), stop_reaches_gate=False)


def _hang_and_stop_without_test(strike: Strike) -> Bench:
    return replace(_hang_and_stop(strike), stop_reaches_gate=False)


def _soft_reset(strike: Strike) -> Bench:
    return _longer(_board("soft reset")(strike), 0.5)


def _flood(strike: Strike) -> Bench:
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


def _damage(strike: Strike) -> Bench:
    later = BoardFault("brown-out", strike.at_s + strike.between(0.0, 0.4), 0.05)
    return _happens(_longer(strike.bench, 0.6), BoardFault("damage", strike.at_s), later)


def _clock(rate: float) -> Callable[[Strike], Bench]:
    return lambda strike: replace(strike.bench, clock_rate=rate)


def _late(strike: Strike) -> Bench:
    return _chain(strike, late=(strike.at_s, strike.at_s + 9, strike.between(0.1e-3, 4e-3)))


def _named(*faults: tuple[str, str, Layer, str, Callable[[Strike], Bench]], **common: Any) -> tuple[Fault, ...]:
    return tuple(
        Fault(name, words, layer, frozenset(takes.split()), apply, **common)
        for name, words, layer, takes, apply in faults
    )


_BARE = {"flux": "the currents are not those that the board's gates ask for"}
_SUPPLY = {"flux": "the flux of a supply that comes and goes is not made by firing"}
_STAYS = "the pin stays high until boot.py; the gate drive ends the current"
_FROZEN = {**_BARE, "window": _STAYS, "mains_loss": _STAYS}

FAULTS: dict[str, Fault] = {
    fault.name: fault
    for fault in (
        *_named(
            ("missing crossing", "the detector leaves out one or two crossings", "firing hardware", "edges", _missing),
            ("doubled edges", "a false edge follows each true one", "firing hardware", "edges", _doubled),
            ("noise burst", "up to sixty false edges", "firing hardware", "edges", _noise),
            ("frequency step", "the mains jumps to 40 to 70 Hz", "firing hardware", "frequency", _step),
            ("frequency ramp", "the mains drifts to 40 to 70 Hz and back", "firing hardware", "frequency", _ramp),
            ("detector stuck high", "no edges, level high", "firing hardware", "edges", _stuck_detector(1)),
            ("detector stuck low", "no edges, level low", "firing hardware", "edges", _stuck_detector(0)),
            ("detector drift", "its edges move by up to 0.4 ms", "firing hardware", "offset", _drift),
            ("pedal bounce", "the contact bounces", "firmware", "pedal", _bounce),
            ("pedal stuck", "the contact does not open again", "firmware", "pedal", _stuck_pedal),
            ("pedal chatters", "the contact opens and closes for up to a second", "firmware", "pedal", _chatter),
            ("stop", "stop is pressed", "firing hardware", "stop", _stop),
            ("over-temperature", "the contact opens", "firmware", "hot", _hot),
            ("garbage-collection pause", "no step for up to 0.4 s", "table", "program", _board("hang", 0.02, 0.4)),
            ("interpreter hang", "no step ever again", "table", "program", _hang),
            ("exception", "a step raises", "firmware", "program", _board("exception")),
            ("watchdog bite", "the board is reset by its watchdog", "firmware", "program", _board("watchdog")),
            ("brown-out", "no supply for up to 0.5 s", "firmware", "program", _board("brown-out", 0.01, 0.5)),
            ("serial flood", "kilobytes of nonsense on the line", "firmware", "serial", _flood),
            ("settings damaged", "stored files are cut short, then a restart", "firmware", "program", _damage),
            ("clock 3 % fast", "the board's crystal is off", "firmware", "rate", _clock(1.03)),
            ("clock 3 % slow", "the board's crystal is off", "firmware", "rate", _clock(0.97)),
            (
                "stop, Python hung",
                "stop is pressed while no step is made",
                "firing hardware",
                "program stop",
                _hang_and_stop,
            ),
            (
                "stop, no stop test",
                "the firing hardware does not see stop",
                "firmware",
                "stop test",
                _without_stop_test,
            ),
            (
                "stop, hung, no test",
                "neither program nor firing hardware sees stop",
                "hardware",
                "program stop test",
                _hang_and_stop_without_test,
            ),
        ),
        *_named(
            ("sag", "20 to 90 % of the voltage is left", "firing hardware", "voltage", _sag),
            (
                "half-wave supply",
                "only one polarity of the mains comes",
                "firing hardware",
                "voltage",
                _half_wave_supply,
            ),
            ("dropout", "no mains for up to 0.2 s", "firing hardware", "voltage", _short_dropout),
            ("dropout of a second", "no mains for a second", "firing hardware", "voltage", _second),
            ("dropout of an hour", "no mains for an hour", "firing hardware", "voltage clock", _hour),
            not_asked=_SUPPLY,
        ),
        *_named(
            ("release", "the pedal is let go", "firmware", "pedal", _release),
            states=UNDER_WAY,
            elsewhere="no weld has been asked for, so there is nothing to let go of",
        ),
        *_named(
            ("soft reset in a gate", "the interpreter restarts, the pin stays", "hardware", "program", _soft_reset),
            not_asked=_FROZEN,
        ),
        *_named(
            (
                "gate wire open",
                "the switch no longer turns on",
                "firmware",
                "switch",
                lambda s: _switch(s, "gate_open"),
            ),
            not_asked=_BARE,
        ),
        *_named(
            (
                "switch half-wave",
                "one thyristor no longer turns on: direct current until the table or the breaker ends it",
                "table",
                "switch",
                lambda s: _switch(s, "half_wave"),
            ),
            not_asked=_BARE,
            unseen="The core saturates in every weld until the table or the breaker ends it, and nothing on the board sees that. "
            "Where welds turn weak, or the transformer growls or trips the breaker: stop, isolate, and read the direct current "
            "with open electrodes, as commissioning does.",
        ),
        *_named(
            ("late gate", "the driver passes each gate up to 4 ms late", "table", "driver", _late), not_asked=_BARE
        ),
        *_named(
            (
                "gate driver stuck on",
                "gate current without end",
                "hardware",
                "driver",
                lambda s: _chain(s, stuck_on_s=s.at_s),
            ),
            ("switch shorted", "it conducts for ever", "hardware", "switch", lambda s: _switch(s, "shorted")),
            not_asked=_BARE,
            acts=True,
        ),
        *_named(
            (
                "contactor welded shut",
                "its contacts stay closed",
                "firmware",
                "contactor",
                lambda s: _chain(s, welded_s=s.at_s),
            ),
        ),
    )
}


def pair_left_out(one: Fault, other: Fault) -> str:
    """Why two faults cannot meet in one run; "" when they can."""
    shared = sorted(one.takes & other.takes)
    return f"both take the {shared[0]}: only one of them can be there" if shared else ""
