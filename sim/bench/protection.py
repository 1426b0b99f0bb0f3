"""The hardware between the board's pins and the transformer, which works without the board: gate drive, supply, contactor.

Its times are common practice, no source: a contactor of this size takes a fraction of a half-cycle more or less to move.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass

import simpy

from gen.machine.welder import Welder
from sim.bench.pin import Pin

PULSE_S = 0.012  # a bounded gate drive ends its current so long after the pin's rise, at the latest
TRAIN_S = 0.060  # without an edge for so long, the pulse train has ended and the contactor's coil with it
OPENS_S = 0.020
CLOSES_S = 0.030
_ALWAYS = float("inf")


@dataclass(frozen=True)
class ProtectionSpec:
    """What is fitted, and what of it fails when. The default is a plain gate driver and nothing else. Times in seconds.

    `pulse_s`: longest gate current for one rise of the pin; None: as long as the pin is high. `blocks_dc`: a driver stuck on
    passes no more than that pulse either (pulse transformer, capacitor). `hot_cuts`: the over-temperature contact breaks
    gate supply and coil. `stuck_on`: the gate driver's last stage conducts from here on. `late`: (from, until, delay): the
    gate rises late and falls on time. `welded_s`: from then on the contactor's contacts weld
    where they are closed, and as soon as they close. `isolated_s`: the person opens the isolator.
    """

    pulse_s: float | None = None
    blocks_dc: bool = False
    stop_cuts_gate: bool = False
    hot_cuts: bool = False
    contactor: bool = False
    stop_cuts_contactor: bool = False
    stuck_on_s: float | None = None
    late: tuple[float, float, float] | None = None
    welded_s: float = _ALWAYS
    isolated_s: float = _ALWAYS


def protection_of(welder: Welder) -> ProtectionSpec:
    """The hardware that a welder file says is fitted; what it does not say is not there."""
    p = welder.protection
    return ProtectionSpec(
        pulse_s=None if p.gate_drive in (None, "direct") else PULSE_S,
        blocks_dc=p.gate_drive in ("pulse_transformer", "capacitor"),
        stop_cuts_gate=p.stop_cuts_gate_supply,
        hot_cuts=p.over_temperature_contact,
        contactor=p.contactor,
        stop_cuts_contactor=p.contactor and p.stop_cuts_contactor,
    )


class Chain:
    """Follows the gate pin, the pulse train, and the stop and over-temperature contacts; drives the switch's gate."""

    def __init__(
        self, env: simpy.Environment, spec: ProtectionSpec, stop: Pin, hot: Pin, to_switch: Callable[[int], None]
    ) -> None:
        self._env = env
        self._spec = spec
        self._stop = stop
        self._hot = hot
        self._to_switch = to_switch
        self._pin = 0
        self._pulse = 0
        self._stuck = 0
        self._rises = 0
        self._coil = False
        self._train_until_s = -1.0
        self._was_closed = False  # when the coil last changed
        self._since_s = -1.0
        for pin in (stop, hot):
            pin.watchers.append(self._contacts)
        if spec.stuck_on_s is not None:
            env.process(self._stick(spec.stuck_on_s))
        self._welded = False
        if spec.welded_s < _ALWAYS:
            env.process(self._weld(spec.welded_s))

    # -- the gate

    def gate(self, level: int) -> None:
        """The board's gate pin."""
        self._pin = level
        late = self._spec.late
        if level and late and late[0] <= self._env.now < late[1]:
            self._env.process(self._rise_late(late[2]))
        else:
            self._drive()

    def _rise_late(self, delay_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(delay_s)
        if self._pin:
            self._drive()

    def _stick(self, time_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(time_s)
        self._stuck = 1
        self._drive()

    def _drive(self) -> None:
        """Take pin and fault to the pulse, and the pulse to the gate."""
        asked = self._pin | self._stuck if self._spec.blocks_dc else self._pin
        if asked and not self._rises % 2:
            self._rises += 1
            self._pulse = 1
            if self._spec.pulse_s is not None:
                self._env.process(self._end_pulse(self._spec.pulse_s, self._rises))
        elif not asked and self._rises % 2:
            self._rises += 1
            self._pulse = 0
        self._supply()

    def _end_pulse(self, length_s: float, rise: int) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(length_s)
        if self._rises == rise:  # the drive has not fallen since
            self._pulse = 0
            self._supply()

    def _supply(self) -> None:
        cut = (self._spec.stop_cuts_gate and self._stop.level) or (self._spec.hot_cuts and self._hot.level)
        stuck = 0 if self._spec.blocks_dc else self._stuck
        self._to_switch(0 if cut else self._pulse | stuck)

    # -- the contactor

    def train(self, contactor: int) -> None:
        """The board has given the pulse train its next edge, or (0) has held it still."""
        if contactor:
            self._turn(self._whole())
            self._train_until_s = self._env.now + TRAIN_S

    def _whole(self) -> bool:
        spec = self._spec
        return not (spec.stop_cuts_contactor and self._stop.level) and not (spec.hot_cuts and self._hot.level)

    def _contacts(self, level: int) -> None:
        self._supply()
        self._turn(self._whole() and self._env.now < self._train_until_s)

    def _turn(self, on: bool) -> None:
        """Switch the coil; the end of the train may lie some time back."""
        now = self._env.now
        if self._coil and self._train_until_s < now:
            self._change(False, self._train_until_s)
        if on != self._coil:
            self._change(on, now)

    def _weld(self, time_s: float) -> Generator[simpy.Event, None, None]:
        """Contacts that are open when it strikes weld at the next closing, and are then looked at before they open."""
        yield self._env.timeout(time_s)
        self._look(time_s)

    def _look(self, time_s: float) -> None:
        self._welded = self._welded or (time_s >= self._spec.welded_s and self._contact(time_s))

    def _change(self, on: bool, time_s: float) -> None:
        self._look(time_s)
        self._was_closed = self._contact(time_s)
        self._coil = on
        self._since_s = time_s

    def _contact(self, time_s: float) -> bool:
        """Whether the contacts are closed at a time at or after the coil's last change."""
        if self._coil:
            return self._was_closed or time_s >= self._since_s + CLOSES_S
        return self._was_closed and time_s < self._since_s + OPENS_S

    def feeds(self) -> bool:
        """True while voltage reaches the transformer through isolator and contactor."""
        now = self._env.now
        if now >= self._spec.isolated_s:
            return False
        if not self._spec.contactor:
            return True
        self._turn(self._coil and now <= self._train_until_s)
        return self._welded or self._contact(now)
