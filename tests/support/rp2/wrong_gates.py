"""Simulated gates that are wrong in one thing each: what the comparison with the emitted words must notice."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import simpy

from sim.bench.gate import LATENCY_US, GateUnit, Word
from sim.bench.pin import Pin


class Late(GateUnit):
    """Every gate 3 us late."""

    def _word(self, delay_us: int, end_us: int, positive: int) -> Word:
        word = super()._word(delay_us, end_us, positive)
        return replace(word, blank_us=word.blank_us + 3)


class Longer(GateUnit):
    """Every gate 3 us longer."""

    def _word(self, delay_us: int, end_us: int, positive: int) -> Word:
        word = super()._word(delay_us, end_us, positive)
        return replace(word, gate_us=word.gate_us and word.gate_us + 3)


class UnfiredTakeNoTime(GateUnit):
    """A half-cycle that is not fired is over at its edge."""

    def _word(self, delay_us: int, end_us: int, positive: int) -> Word:
        word = super()._word(delay_us, end_us, positive)
        return word if word.gate_us else replace(word, blank_us=-LATENCY_US)


class OffsetsExchanged(GateUnit):
    """Rise for fall."""

    def _word(self, delay_us: int, end_us: int, positive: int) -> Word:
        word, other = (super(OffsetsExchanged, self)._word(delay_us, end_us, side) for side in (positive, 1 - positive))
        return replace(word, blank_us=other.blank_us)


class LeadInNotLeftOut(GateUnit):
    """What is reported of a half-cycle is that of an earlier one."""

    def fired(self, index: int) -> int:
        return super().fired(index - self._lead_in)


class _Run(GateUnit):
    """Runs something else than it was started with; this base class runs what it was started with."""

    def _run(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Generator[simpy.Event, object, None]:
        return super()._run(*self._instead(words, edge, first_us, later_us))

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        return words, edge, first_us, later_us


class LastWordLost(_Run):
    """The weld is a half-cycle short."""

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        return words[:-1], edge, first_us, later_us


class OneLeadIn(_Run):
    """One half-cycle is let pass where the polarity asks for two."""

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        left_out, self._lead_in = self._lead_in - 1, 1
        return words[left_out:], edge, first_us, later_us


class WindowsTooLong(_Run):
    """Ten times as long as they are."""

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        return words, edge, 10 * first_us, 10 * later_us


class LaterWindowsAsTheFirst(_Run):
    """All as long as the first."""

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        return words, edge, first_us, first_us


class FirstWindowTooShort(_Run):
    """Half a half-cycle, where the edge may be more than a whole one away."""

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        return words, edge, first_us * 5 // 11, later_us


class LaterWindowsTooShort(_Run):
    """A tenth of what they are."""

    def _instead(self, words: list[Word], edge: int, first_us: int, later_us: int) -> Any:
        return words, edge, first_us, later_us // 10


class StopNotTested(GateUnit):
    """Asks a stop circuit that is never open."""

    def start(self, count: int, half_us: int, positive: int) -> int:
        self._stop = Pin(self._clock.env)
        return super().start(count, half_us, positive)


class PedalNotTested(GateUnit):
    """Asks a pedal that is never let go."""

    def start(self, count: int, half_us: int, positive: int) -> int:
        self._pedal = None
        return super().start(count, half_us, positive)


class OffLeavesTheGateOn(GateUnit):
    """Does not lower the pin."""

    def off(self) -> int:
        gate = self._gate
        self._gate = SimpleNamespace(level=gate.level, set=lambda level: None)  # type: ignore[assignment]
        told = super().off()
        self._gate = gate
        return told


class CutShortNotCounted(GateUnit):
    """Forgets the half-cycle whose gate it cuts."""

    def off(self) -> int:
        ended = len(self._results)
        told = super().off()
        del self._results[ended:]
        return told
