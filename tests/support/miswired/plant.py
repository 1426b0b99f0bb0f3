"""The circuit in time, between the board's pins and the parts of the bench: two one-shots, a contactor, what has blown."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import replace
from functools import cache
from typing import Any

import simpy

from gen.words import CONTACTOR_OPEN, FORCE, HOT, PEDAL, STOP_OPEN
from sim.bench.detector import CrossingDetector, DetectorSpec
from sim.bench.mains import MainsSupply
from sim.bench.pin import Pin, Wires
from sim.bench.protection import TRAIN_S, ProtectionSpec
from tests.support.miswired.circuit import Circuit, Seen, Setting

_TIMES = ProtectionSpec()  # of the contactor


@cache
def _changed(setting: Setting, **what: Any) -> Setting:
    """The setting with something else done. The same few come again with every half-cycle."""
    return replace(setting, **what)


class Plant:
    """Everything that is wired, in charge of the board's inputs and of the gate of the switch."""

    def __init__(
        self,
        env: simpy.Environment,
        wires: Wires,
        mains: MainsSupply,
        spec: DetectorSpec,
        circuit: Circuit,
        one_shot_s: float,
    ) -> None:
        self._env, self._wires, self._one_shot_s = env, wires, one_shot_s
        self.circuit = circuit
        self.setting = Setting()
        self.broken: frozenset[str] = frozenset()
        self.silent = False
        """The board has no supply, no cable, or is destroyed."""
        self._settling = self._again = False
        self._edge_s = -1.0
        self._rises = 0
        self._coil = self._gate_in = self._train_in = False
        crossings = Pin(env)
        CrossingDetector(env, spec, mains, crossings)
        for pin, what in ((crossings, "positive"), (wires.gate, "gate"), (wires.train, "turn")):
            pin.watchers.append(self._follow(what))
        wires.carrying.watchers.append(self._follow("carrying"))
        self.settle()

    def feeds(self) -> bool:
        """As the bench's contactor: that no voltage reaches the switch is known from `fires`."""
        return True

    def mirror(self) -> int:
        """As the bench's contactor: 1 where the board's pin says that every main contact is open."""
        return int(not self.look().level("mirror"))

    def _follow(self, what: str) -> Callable[[int], None]:
        return lambda level: self.change(**{what: bool(level)})

    def change(self, **what: Any) -> None:
        """Hands, program or mains do something."""
        self.setting = _changed(self.setting, **what)
        self.settle()

    def look(self, **what: Any) -> Seen:
        """What the circuit does now, or with something else done."""
        return self.circuit.look(_changed(self.setting, **what) if what else self.setting, self.broken)

    def settle(self) -> None:
        """Let everything follow until nothing moves."""
        self._again = True
        if self._settling:
            return
        self._settling = True
        while self._again:
            self._again = False
            seen = self.look()
            if not self.broken >= set(seen.broken):
                self.broken |= set(seen.broken)
                self._again = True
                continue
            self._stages(seen)
            if not self._again:
                self._pins(seen)
        self._settling = False

    def _move(self, **what: Any) -> None:
        self.setting = _changed(self.setting, **what)
        self._again = True

    def _stages(self, seen: Seen) -> None:
        """The two one-shots and the coil."""
        env = self._env
        if seen.train_in != self._train_in:
            self._train_in, self._edge_s = seen.train_in, env.now
            env.process(self._later(TRAIN_S, self._train_ends))
            if not self.setting.train:
                self._move(train=True)
        if seen.gate_in != self._gate_in:
            self._gate_in = seen.gate_in
            self._rises += 1
            if seen.gate_in:
                env.process(self._later(self._one_shot_s, self._pulse_ends, self._rises))
            self._move(pulse=seen.gate_in)
        if seen.coil != self._coil:
            self._coil = seen.coil
            env.process(self._later(_TIMES.closes_s if seen.coil else _TIMES.opens_s, self._armature, seen.coil))

    def _later(self, seconds: float, then: Callable[..., None], *what: Any) -> Generator[simpy.Event, None, None]:
        yield self._env.timeout(seconds)
        then(*what)

    def _train_ends(self) -> None:
        if self.setting.train and self._env.now - self._edge_s > TRAIN_S - 1e-9:
            self.change(train=False)

    def _pulse_ends(self, rise: int) -> None:
        if rise == self._rises:
            self.change(pulse=False)

    def _armature(self, pulled: bool) -> None:
        if pulled == self._coil:
            self.change(pulled=pulled)

    def _pins(self, seen: Seen) -> None:
        wires, fires = self._wires, self.look(carrying=False).fires
        self.silent = self.silent or not (seen.alive and seen.talks)
        wires.fired.set(int(fires))
        levels = dict(seen.levels)
        for role, pin, low in (
            ("stop", wires.stop, 0),
            ("over_temperature", wires.hot, 0),
            ("pedal", wires.pedal, 1),
            ("force", wires.force, 1),
            ("detector", wires.detector, 0),
            ("conduction", wires.conduction, 0),
        ):
            if role in levels:
                pin.set(int(levels[role]) ^ low)


# What a hand does to a contact: the field of the setting, or the terminal whose lead comes off.
HANDS = {PEDAL: "pedal", STOP_OPEN: "stop", FORCE: "force", HOT: "B2.1", CONTACTOR_OPEN: "pulled"}
