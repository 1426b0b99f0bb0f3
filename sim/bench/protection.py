"""The protective hardware between the board's pins and the transformer: gate drive, its supply, contactor.

It works independently of the board. The contactor's times are the worst of the welder file's ranges.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import simpy

from gen.machine.welder import Welder
from gen.words import CONTACTOR_HELD_MS
from sim.bench.pin import Wires

PULSE_S = 0.012  # longest gate current of a bounded gate drive after the pin's rise
TRAIN_S = CONTACTOR_HELD_MS / 1000
BOUNCE_S = 0.001  # time between two edges of a bouncing contact
_NEVER = float("inf")


@dataclass(frozen=True)
class ProtectionSpec:
    """The protective hardware fitted, and its faults. The default is a plain gate driver only."""

    pulse_s: float | None = None
    """Longest gate current for one rise of the pin; None: as long as the pin is high."""
    blocks_dc: bool = False
    """The pulse limit also holds for a driver that is stuck on (pulse transformer, capacitor)."""
    stop_cuts_gate: bool = False
    """The stop contact breaks the gate driver's supply."""
    hot_cuts: bool = False
    """The over-temperature contact breaks the gate driver's supply and the contactor's coil."""
    contactor: bool = False
    closes_s: float = 0.030
    """Time from the coil's first current to the first touch of the contacts. Infinite: never."""
    bounce_s: float = 0.0
    """Duration of the contacts' bounce after that."""
    opens_s: float = 0.020
    """Time from the coil's last current to open contacts."""
    coil_open_s: float = _NEVER
    """Time from which no current flows in the coil."""
    mirror_stuck: tuple[float, int] | None = None
    """(from, level): the mirror contact is stuck at this level. 1 reports open main contacts."""
    stop_cuts_contactor: bool = False
    """The stop contact breaks the contactor's coil."""
    stuck_on_s: float | None = None
    """Time from which the gate driver's last stage conducts."""
    late: tuple[float, float, float] | None = None
    """(from, until, delay): the gate rises late by the delay, and falls on time."""
    welded_s: float = _NEVER
    """Time from which the contactor's contacts weld: at once if closed, else at the next closing."""
    isolated_s: float = _NEVER
    """Time at which the operator opens the isolator."""


def protection_of(welder: Welder) -> ProtectionSpec:
    """The hardware that a welder file names. Hardware that it does not name is not fitted."""
    p = welder.protection
    return ProtectionSpec(
        pulse_s=None if p.gate_drive in (None, "direct") else PULSE_S,
        blocks_dc=p.gate_drive in ("pulse_transformer", "capacitor"),
        stop_cuts_gate=p.stop_cuts_gate_supply,
        hot_cuts=p.over_temperature_contact,
        contactor=p.contactor,
        closes_s=welder.contactor.closes_ms / 1000,
        bounce_s=welder.contactor.bounce_ms / 1000,
        opens_s=welder.contactor.open_after_ms / 1000,
        stop_cuts_contactor=p.contactor and p.stop_cuts_contactor,
    )


class GateDrive:
    """Drives the gate of the switch from the board's gate pin, while stop and over-temperature contacts pass its supply."""

    def __init__(self, env: simpy.Environment, spec: ProtectionSpec, wires: Wires) -> None:
        self._env = env
        self._spec = spec
        self._pin = wires.gate
        self._stop = wires.stop
        self._hot = wires.hot
        self._fired = wires.fired
        self._pulse = 0
        self._stuck = 0
        self._rises = 0  # odd while the stage is driven
        wires.gate.watchers.append(self._gate)
        for contact in (wires.stop, wires.hot):
            contact.watchers.append(self._supply)
        if spec.stuck_on_s is not None:
            env.process(self._stick(spec.stuck_on_s))

    def _gate(self, level: int) -> None:
        late = self._spec.late
        if level and late and late[0] <= self._env.now < late[1]:
            self._env.process(self._rise_late(late[2]))
        else:
            self._drive()

    def _rise_late(self, delay_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(delay_s)
        if self._pin.level:
            self._drive()

    def _stick(self, time_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(time_s)
        self._stuck = 1
        self._drive()

    def _drive(self) -> None:
        """Derive the pulse from pin and fault, and the gate from the pulse."""
        asked = self._pin.level | self._stuck if self._spec.blocks_dc else self._pin.level
        if asked and not self._rises % 2:
            self._rises += 1
            self._pulse = 1
            if self._spec.pulse_s is not None:
                self._env.timeout(self._spec.pulse_s, self._rises).callbacks.append(self._end_pulse)
        elif not asked and self._rises % 2:
            self._rises += 1
            self._pulse = 0
        self._supply()

    def _end_pulse(self, end: simpy.Event) -> None:
        if end.value == self._rises:  # the drive has not fallen since
            self._pulse = 0
            self._supply()

    def _supply(self, level: int = 0) -> None:
        """Drive the gate by the present pulse and supply."""
        spec = self._spec
        cut = (spec.stop_cuts_gate and self._stop.level) or (spec.hot_cuts and self._hot.level)
        stuck = 0 if spec.blocks_dc else self._stuck
        self._fired.set(0 if cut else self._pulse | stuck)


class Contactor:
    """Isolator and contactor, between mains and switch. The pulse train holds the coil, through both contacts.

    The contacts' position follows from times. It is computed when read, and needs no event.
    """

    def __init__(self, env: simpy.Environment, spec: ProtectionSpec, wires: Wires) -> None:
        self._env = env
        self._spec = spec
        self._stop = wires.stop
        self._hot = wires.hot
        self._coil = False
        self._train_until_s = -1.0
        self._was_closed = False  # at the coil's last change
        self._since_s = -1.0
        self._welded = False
        if spec.contactor:
            wires.train.watchers.append(self._edge)
            for contact in (wires.stop, wires.hot):
                contact.watchers.append(self._contacts)
        if spec.welded_s < _NEVER:
            env.process(self._weld(spec.welded_s))
        if spec.coil_open_s < _NEVER:
            env.process(self._break(spec.coil_open_s))

    def feeds(self) -> bool:
        """True while voltage reaches the transformer."""
        now = self._env.now
        if now >= self._spec.isolated_s:
            return False
        if not self._spec.contactor:
            return True
        self._turn(self._coil and now <= self._train_until_s)
        return self._welded or self._contact(now)

    def mirror(self) -> int:
        """The mirror contact: 1 while every main contact is open. A welded main contact keeps it at 0."""
        stuck = self._spec.mirror_stuck
        if stuck is not None and self._env.now >= stuck[0]:
            return stuck[1]
        now = self._env.now
        self._turn(self._coil and now <= self._train_until_s)
        return int(not self._welded and not self._touch(now))

    def _edge(self, level: int) -> None:
        """Take the pulse train's next edge."""
        self._turn(self._whole())
        self._train_until_s = self._env.now + TRAIN_S

    def _whole(self) -> bool:
        """Whether the coil's circuit is closed."""
        spec = self._spec
        if self._env.now >= spec.coil_open_s:
            return False
        return not (spec.stop_cuts_contactor and self._stop.level) and not (spec.hot_cuts and self._hot.level)

    def _contacts(self, level: int) -> None:
        self._turn(self._whole() and self._env.now < self._train_until_s)

    def _turn(self, on: bool) -> None:
        """Switch the coil. The end of the train may be in the past."""
        now = self._env.now
        if self._coil and self._train_until_s < now:
            self._change(False, self._train_until_s)
        if on != self._coil:
            self._change(on, now)

    def _break(self, time_s: float) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(time_s)
        self._turn(False)

    def _weld(self, time_s: float) -> Generator[simpy.Event, None, None]:
        """From `time_s` the contacts weld: at once if closed, else at the next closing."""
        yield self._env.timeout(time_s)
        self._look(time_s)

    def _look(self, time_s: float) -> None:
        self._welded = self._welded or (time_s >= self._spec.welded_s and self._touch(time_s))

    def _change(self, on: bool, time_s: float) -> None:
        self._look(time_s)
        self._was_closed = self._touch(time_s)
        self._coil = on
        self._since_s = time_s

    def _touch(self, time_s: float) -> bool:
        """Whether the contacts have touched by a time at or after the coil's last change, bouncing or not."""
        if self._coil:
            return self._was_closed or time_s >= self._since_s + self._spec.closes_s
        return self._was_closed and time_s < self._since_s + self._spec.opens_s

    def _contact(self, time_s: float) -> bool:
        """Whether the contacts conduct at that time."""
        since_s = time_s - self._since_s - self._spec.closes_s
        if self._coil and not self._was_closed and since_s < self._spec.bounce_s:
            return self._touch(time_s) and int(since_s / BOUNCE_S) % 2 == 0
        return self._touch(time_s)
